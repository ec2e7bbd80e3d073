"""How loops are compiled, and when what is kept of them on disk no longer counts."""

from __future__ import annotations

import hashlib
import inspect
from types import ModuleType
from typing import Any

import numba

__all__ = ["compiled", "mark_of"]


def mark_of(*modules: ModuleType) -> int:
    """Return a number that changes with the source of modules (0 where it is not at hand).

    Part of the key under which a compiled loop is kept on disk: Numba itself looks at the age of
    the loop's own file only, not at those of the functions that it takes in.
    """
    try:
        source = "".join(map(inspect.getsource, modules))
    except OSError:  # installed without its source: then it does not change either
        source = ""
    return int(hashlib.sha256(source.encode()).hexdigest()[:15], 16)


def compiled(function: Any) -> Any:
    """Return a loop compiled and, where there is a place for it, kept on disk."""
    try:
        return numba.njit(function, cache=True)
    except RuntimeError:  # no place on this computer where compiled code can be kept
        return numba.njit(function)
