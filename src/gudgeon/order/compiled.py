"""How loops are compiled, and chance of a stated seed inside them."""

from __future__ import annotations

import hashlib
import inspect
from types import ModuleType
from typing import Any, Final

import numba
import numpy as np

__all__ = ["chance", "compiled", "mark_of", "pick", "seeded"]

_MASK: Final = (1 << 64) - 1


def mark_of(*modules: ModuleType) -> int:
    """Return a number that changes with the source of modules (0 where it is not at hand).

    A compiled loop that takes in functions of other files gets it as an argument with a default:
    what is kept on disk counts by the age of the loop's own file only.
    """
    try:
        source = "".join(map(inspect.getsource, modules))
    except OSError:  # installed without its source: then it does not change either
        source = ""
    return int(hashlib.sha256(source.encode()).hexdigest()[:15], 16)


def compiled(function: Any) -> Any:
    """Return a loop compiled, free of the interpreter's lock, and kept on disk where that works."""
    try:
        return numba.njit(function, cache=True, nogil=True)
    except RuntimeError:  # no place on this computer where compiled code can be kept
        return numba.njit(function, nogil=True)


def seeded(seed: int) -> np.ndarray[tuple[int], np.dtype[np.uint64]]:
    """Return the state of chance for a seed, shape (1,); any whole number is a seed.

    The state is never zero, which the generator could not leave.
    """
    state = (seed + 1) * 0x9E3779B97F4A7C15 & _MASK  # the golden ratio: near seeds, far states
    return np.array([state or 1], dtype=np.uint64)


@numba.njit
def _next(state):  # type: ignore[no-untyped-def]
    """Draw 64 bits (xorshift64*, S. Vigna 2016, from memory)."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return x * np.uint64(0x2545F4914F6CDD1D)


@numba.njit
def chance(state):  # type: ignore[no-untyped-def]
    """Draw a number from 0 (can be) to 1 (cannot be)."""
    return np.float64(_next(state) >> np.uint64(11)) * 1.1102230246251565e-16


@numba.njit
def pick(state, count):  # type: ignore[no-untyped-def]
    """Draw a whole number from 0 to count - 1."""
    return np.int64(chance(state) * count)
