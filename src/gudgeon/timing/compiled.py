"""How loops are compiled, and the measure of length that all of them share."""

from __future__ import annotations

from math import pi
from typing import Any, Final

import numba

__all__ = ["DEGREES", "compiled", "inner"]

DEGREES: Final = 180.0 / pi
"""One degree counts as one millimetre where both make one path (common practice, no source)."""

_NO_NAN: Final = {"nnan", "nsz"}
"""No number here is NaN (moves are checked), which spares a branch in each comparison; order and
rounding of sums stay as written."""


def compiled(function: Any) -> Any:
    """Return a loop compiled, free of the interpreter's lock, and kept on disk where that works.

    A compiled loop takes in no function of another file: what is kept on disk counts by the age of
    the loop's own file only.
    """
    try:
        return numba.njit(function, cache=True, nogil=True, error_model="numpy", fastmath=_NO_NAN)
    except RuntimeError:  # no place on this computer where compiled code can be kept
        return numba.njit(function, nogil=True, error_model="numpy", fastmath=_NO_NAN)


def inner(function: Any) -> Any:
    """Return a function compiled for loops of its own file."""
    return numba.njit(function, error_model="numpy", fastmath=_NO_NAN)
