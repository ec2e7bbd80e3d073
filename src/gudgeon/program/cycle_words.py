"""The words of a canned cycle, checked before any motion is worked out.

NISTIR 6556, 3.5.16 where it speaks; fine boring, chip breaking and the left hand from memory
(common trade use).
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil, isinf, isnan
from types import MappingProxyType
from typing import Final

from gudgeon.program.dialect import Meaning
from gudgeon.program.doubts import Code, Halt

__all__ = ["NOISE", "PECKS", "check_cycle", "peck_count", "shift_of", "spindle_fault"]

PECKS: Final = 100_000
"""More pecks than this in one hole are a slip or hostile."""

NOISE: Final = 1e-6
"""Levels nearer than this [mm] are one: a peck of this size is rounding, not cutting."""

WHOLE_WITHIN: Final = 1e-4
"""A number that must be whole may miss it by so much (NISTIR 6556, 3.3.2)."""

_SPINDLE: Final[Mapping[Meaning, frozenset[int]]] = {
    # NISTIR 6556, 3.5.16.5, .7 and .8; the left hand and fine boring alike.
    Meaning.TAP: frozenset({1}),
    Meaning.LEFT_TAP: frozenset({-1}),
    Meaning.BORE_STOP_OUT: frozenset({1, -1}),
    Meaning.FINE_BORE: frozenset({1, -1}),
    Meaning.BACK_BORE: frozenset({1, -1}),
}

_PECKING: Final = frozenset({Meaning.PECK, Meaning.CHIP_BREAK})
_NOWHERE: Final[Mapping[str, int]] = MappingProxyType({})


def spindle_fault(cycle: Meaning, spindle: int) -> bool:
    """Return whether a cycle may not start with the spindle as it is.

    Parameters
    ----------
    cycle : Meaning
    spindle : int
        +1 clockwise, -1 the other way, 0 stopped.
    """
    allowed = _SPINDLE.get(cycle)
    return allowed is not None and spindle not in allowed


def check_cycle(
    cycle: Meaning,
    r: float | None,
    z: float | None,
    *,
    repeats: float = 1.0,
    repeat_zero: str | None = "error",
    peck: float | None = None,
    dwell_s: float | None = None,
    spindle: int = 0,
    top: float | None = None,
    columns: Mapping[str, int] = _NOWHERE,
    depth_letter: str = "Z",
) -> int:
    """Check the words of a cycle and return the number of holes.

    Parameters
    ----------
    cycle : Meaning
    r, z : float or None
        Levels [mm]; None when the word was never given, NaN when not known.
    repeats : float
    repeat_zero : str or None
        As `Dialect.repeat_zero`.
    peck : float or None
        Depth of a peck [mm].
    dwell_s : float or None
    spindle : int
        As it turns before the cycle.
    top : float or None
        Back boring with K: top of the counterbore [mm].
    columns : mapping of str to int
        Columns of the words by "r", "z", "repeats", "peck", "dwell", "cycle", "top".
    depth_letter : str
        Letter of the drilling axis.

    Raises
    ------
    Halt
        CYCLE_NO_DEPTH, CYCLE_R_BELOW_Z, CYCLE_REPEATS, CYCLE_REPEAT_ZERO, CYCLE_PECK,
        DWELL_NEGATIVE, SPINDLE_NEEDED, CYCLE_BY_HAND; UNKNOWN_BRANCH for repeats not known;
        TOO_MUCH for too many pecks.
    """
    here = columns.get("cycle", 0)
    if cycle is Meaning.BORE_BY_HAND:
        raise Halt(Code.CYCLE_BY_HAND, here)
    if r is None:
        raise Halt(Code.CYCLE_NO_DEPTH, here, word="R")
    if z is None:
        raise Halt(Code.CYCLE_NO_DEPTH, here, word=depth_letter)
    _check_levels(cycle, r, z, top, columns)
    if cycle in _PECKING:
        if peck is None:
            raise Halt(Code.CYCLE_NO_DEPTH, here, word="Q")
        if peck <= 0.0:
            raise Halt(Code.CYCLE_PECK, columns.get("peck", here))
        peck_count(r - z, peck, columns.get("peck", here))
    if dwell_s is not None and dwell_s < 0.0:
        raise Halt(Code.DWELL_NEGATIVE, columns.get("dwell", here))
    if spindle_fault(cycle, spindle):
        raise Halt(Code.SPINDLE_NEEDED, here)
    return _whole_repeats(repeats, repeat_zero, columns.get("repeats", here))


def shift_of(
    cycle: Meaning,
    *,
    form: str | None,
    direction: tuple[float, float] | None,
    q: float | None = None,
    i: float | None = None,
    j: float | None = None,
    column: int = 0,
) -> tuple[float, float] | None:
    """Return how far a boring cycle moves the tool off the wall; None for the other cycles.

    Parameters
    ----------
    cycle : Meaning
    form, direction
        `Dialect.back_bore` and `Dialect.bore_shift`.
    q : float or None
        Distance [mm].
    i, j : float or None
        Increments along the two axes of the plane [mm].
    column : int
        Of the cycle's word.

    Returns
    -------
    pair of float or None
        In the plane, from the axis of the hole [mm].

    Raises
    ------
    Halt
        CYCLE_SHIFT: not declared, and controls differ; CYCLE_NO_DEPTH: a word is missing;
        CYCLE_PECK: Q below zero.
    """
    if cycle is Meaning.BACK_BORE and form == "I J K":
        if i is None or j is None:
            raise Halt(Code.CYCLE_NO_DEPTH, column, word="I" if i is None else "J")
        return i, j
    if cycle is not Meaning.FINE_BORE and cycle is not Meaning.BACK_BORE:
        return None
    if direction is None or (cycle is Meaning.BACK_BORE and form != "Q"):
        raise Halt(Code.CYCLE_SHIFT, column, cycle=cycle.value)
    if q is None:
        raise Halt(Code.CYCLE_NO_DEPTH, column, word="Q")
    if q < 0.0:
        raise Halt(Code.CYCLE_PECK, column)
    return q * direction[0], q * direction[1]


def peck_count(depth: float, peck: float, column: int) -> int:
    """Return the number of pecks; 0 when it is not known.

    Parameters
    ----------
    depth : float
        From R to the bottom [mm].
    peck : float
        Above 0 [mm].
    column : int
        Of the peck, for the Halt.

    Raises
    ------
    Halt
        TOO_MUCH: more than `PECKS`.
    """
    if isnan(depth) or isnan(peck):
        return 0
    # Rounding must not add a peck of nothing at the bottom.
    depth -= NOISE
    if depth <= 0.0:
        return 1
    if isinf(depth) or depth > PECKS * peck:
        raise Halt(Code.TOO_MUCH, column, limit=PECKS)
    return max(1, ceil(depth / peck))


def _check_levels(
    cycle: Meaning, r: float, z: float, top: float | None, columns: Mapping[str, int]
) -> None:
    column = columns.get("r", columns.get("cycle", 0))
    if cycle is Meaning.BACK_BORE and top is None:
        # R beyond the hole, Z the top of the counterbore.
        if z < r - NOISE:
            raise Halt(Code.CYCLE_R_BELOW_Z, column)
        return
    if r < z - NOISE:
        raise Halt(Code.CYCLE_R_BELOW_Z, column)
    if top is not None and (top < z - NOISE or top > r + NOISE):
        raise Halt(Code.CYCLE_R_BELOW_Z, columns.get("top", column))


def _whole_repeats(repeats: float, zero: str | None, column: int) -> int:
    if isnan(repeats):
        raise Halt(Code.UNKNOWN_BRANCH, column, word="repeats")
    if not abs(repeats) < 1e15 or abs(repeats - round(repeats)) > WHOLE_WITHIN:
        raise Halt(Code.CYCLE_REPEATS, column)
    count = round(repeats)
    if count == 0 and zero is None:
        raise Halt(Code.CYCLE_REPEAT_ZERO, column)
    if count < 0 or (count == 0 and zero != "remember"):
        raise Halt(Code.CYCLE_REPEATS, column)
    return count
