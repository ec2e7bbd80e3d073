"""Canned cycles: the motion of one hole along the drilling axis, step by step.

Levels are machine coordinates of the drilling axis [mm].  The reader positions in the plane: it
rises first where `approach` says so, moves over the hole, and then takes `hole_steps`.  Cycles that
NISTIR 6556, 3.5.16 describes follow it; the others are from memory (common trade use).
"""

from __future__ import annotations

from math import isnan, nan
from typing import NamedTuple

from gudgeon.program.cycle_words import (
    NOISE,
    PECKS,
    check_cycle,
    peck_count,
    shift_of,
    spindle_fault,
)
from gudgeon.program.dialect import Meaning
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.track import Flag, Kind

__all__ = [
    "PECKS",
    "Step",
    "approach",
    "check_cycle",
    "hole_steps",
    "return_level",
    "shift_of",
    "spindle_fault",
]


class Step(NamedTuple):
    """One step of a cycle.

    Attributes
    ----------
    kind : Kind
        RAPID, LINE, DWELL or SPINDLE.
    at : float
        Level of the drilling axis after the step [mm]; NaN when not known.
    flags : Flag
    spindle : int or None
        Of SPINDLE: +1 clockwise, -1 the other way, 0 stopped.
    seconds : float
        Of DWELL, as given by the caller; else 0.
    shift : pair of float
        Where the tool stands in the plane, counted from the axis of the hole [mm].
    """

    kind: Kind
    at: float
    flags: Flag = Flag.IN_CYCLE
    spindle: int | None = None
    seconds: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)


class _Hole:
    """Collects the steps; knows where the tool stands and whether the spindle turns."""

    def __init__(self, at: float) -> None:
        self.steps: list[Step] = []
        self.at = at
        self.shift = (0.0, 0.0)
        self.flags = Flag.IN_CYCLE

    def rapid(self, at: float) -> None:
        self._move(Kind.RAPID, at)

    def feed(self, at: float) -> None:
        self._move(Kind.LINE, at)

    def aside(self, shift: tuple[float, float]) -> None:
        self.shift = shift
        self._move(Kind.RAPID, self.at)

    def dwell(self, seconds: float | None) -> None:
        if seconds is not None:
            self.steps.append(
                Step(Kind.DWELL, self.at, self.flags, seconds=seconds, shift=self.shift)
            )

    def spindle(self, way: int) -> None:
        self.flags = Flag.IN_CYCLE if way else Flag.IN_CYCLE | Flag.SPINDLE_STOPPED
        self.steps.append(Step(Kind.SPINDLE, self.at, Flag.IN_CYCLE, spindle=way, shift=self.shift))

    def _move(self, kind: Kind, at: float) -> None:
        self.at = at
        self.steps.append(Step(kind, at, self.flags, shift=self.shift))


def return_level(r: float, initial: float, *, to_initial: bool) -> float:
    """Return the level at which a hole ends [mm]; NaN when not known.

    R, or, with `to_initial`, the level before the run of cycles unless R is above it (NISTIR 6556,
    3.5.20).
    """
    if not to_initial:
        return r
    if isnan(initial) or isnan(r):
        return nan
    return max(initial, r)


def approach(now: float, r: float) -> float:
    """Return the level at which to move over the hole [mm]; NaN when not known.

    Below R the drilling axis first rises to R; else it stays (NISTIR 6556, 3.5.16.1).
    """
    if isnan(now) or isnan(r):
        return nan
    return r if r - now > NOISE else now


def hole_steps(
    cycle: Meaning,
    start: float,
    r: float,
    z: float,
    *,
    to_initial: bool,
    initial: float,
    peck: float | None = None,
    dwell_s: float | None = None,
    clear: float = 0.0,
    chip_break: float = 0.0,
    spindle: int = 0,
    shift: tuple[float, float] | None = None,
    top: float | None = None,
    column: int = 0,
) -> list[Step]:
    """Return the steps of one hole, from the level of positioning to the level of return.

    Parameters
    ----------
    cycle : Meaning
        One of `CYCLES`, past `check_cycle`.
    start : float
        Level over the hole, as `approach` gave it [mm].
    r, z : float
        Level R and the bottom [mm].
    to_initial : bool
        G98: return to `initial` unless R is above; else to R.
    initial : float
        Level before the run of cycles [mm].
    peck : float or None
        Depth of a peck, above 0 [mm].
    dwell_s : float or None
        At the bottom; no dwell when None, nor in cycles whose word takes none.
    clear : float
        Full pecking: rapid back down to so much above the last depth [mm].
    chip_break : float
        Chip breaking: back by so much after each peck [mm].
    spindle : int
        As it turns before the cycle; it turns so again after.
    shift : pair of float or None
        As `shift_of` gave it.
    top : float or None
        Back boring with K: top of the counterbore [mm]; None: the form with Q, see
        `Dialect.back_bore`.
    column : int
        For a Halt.

    Returns
    -------
    list of Step
        A level that is not known is NaN.

    Raises
    ------
    Halt
        TOO_MUCH: more than `PECKS` pecks; CYCLE_BY_HAND; CYCLE_SHIFT: no `shift` where one is
        needed; CYCLE_NO_DEPTH: no `peck` where one is needed.
    ValueError
        `cycle` is no cycle.
    """
    level = return_level(r, initial, to_initial=to_initial)
    hole = _Hole(start)
    if cycle is Meaning.BACK_BORE:
        if shift is None:
            raise Halt(Code.CYCLE_SHIFT, column, cycle=cycle.value)
        if top is None:
            # R lies beyond the hole: nothing stops there, and the way out is the first level.
            _back_bore(hole, r, z, initial, shift, dwell_s, spindle)
        else:
            _down_to_r(hole, r)
            _back_bore(hole, z, top, level, shift, None, spindle, to_bottom=True)
        return hole.steps

    _down_to_r(hole, r)
    match cycle:
        case Meaning.DRILL | Meaning.COUNTERBORE:
            hole.feed(z)
            if cycle is Meaning.COUNTERBORE:
                hole.dwell(dwell_s)
            hole.rapid(level)
        case Meaning.PECK | Meaning.CHIP_BREAK:
            if peck is None:
                raise Halt(Code.CYCLE_NO_DEPTH, column, word="Q")
            back = None if cycle is Meaning.PECK else chip_break
            _peck(hole, r, z, peck, clear, back, column)
            hole.dwell(dwell_s)
            hole.rapid(level)
        case Meaning.TAP | Meaning.LEFT_TAP:
            way = 1 if cycle is Meaning.TAP else -1
            hole.feed(z)
            hole.spindle(0)
            hole.dwell(dwell_s)
            hole.spindle(-way)
            hole.feed(level)
            hole.spindle(way)
        case Meaning.BORE_FEED_OUT | Meaning.BORE_DWELL_OUT:
            hole.feed(z)
            if cycle is Meaning.BORE_DWELL_OUT:
                hole.dwell(dwell_s)
            hole.feed(level)
        case Meaning.BORE_STOP_OUT:
            hole.feed(z)
            hole.dwell(dwell_s)
            hole.spindle(0)
            hole.rapid(level)
            hole.spindle(spindle)
        case Meaning.FINE_BORE:
            if shift is None:
                raise Halt(Code.CYCLE_SHIFT, column, cycle=cycle.value)
            hole.feed(z)
            hole.dwell(dwell_s)
            hole.spindle(0)
            hole.aside(shift)
            hole.rapid(level)
            hole.aside((0.0, 0.0))
            hole.spindle(spindle)
        case Meaning.BORE_BY_HAND:
            raise Halt(Code.CYCLE_BY_HAND, column)
        case _:
            raise ValueError(f"{cycle} is no cycle")
    return hole.steps


def _down_to_r(hole: _Hole, r: float) -> None:
    # Also when a level is not known: NaN is near nothing.
    if not abs(hole.at - r) <= NOISE:
        hole.rapid(r)


def _peck(
    hole: _Hole,
    r: float,
    z: float,
    peck: float,
    clear: float,
    chip_break: float | None,
    column: int,
) -> None:
    """Feed down peck by peck; the last ends at Z exactly.

    NISTIR 6556, 3.5.16.4 takes the tool out to the level of return between the pecks, common
    practice (no source) to R, as here: the same column of air, so that only the time differs.
    """
    count = peck_count(r - z, peck, column)
    if not count:
        hole.feed(nan)
    for number in range(1, count):
        depth = r - number * peck
        hole.feed(depth)
        if chip_break is None:
            hole.rapid(r)
            # NaN stays NaN: min() keeps its first argument.
            hole.rapid(min(depth + clear, r))
        else:
            hole.rapid(min(depth + chip_break, r))
    hole.feed(z)


def _back_bore(
    hole: _Hole,
    bottom: float,
    top: float,
    level: float,
    shift: tuple[float, float],
    dwell_s: float | None,
    spindle: int,
    *,
    to_bottom: bool = False,
) -> None:
    """Go through the hole off its axis with the spindle stopped, cut upward, and come out so.

    NISTIR 6556, 3.5.16.8 moves aside first and stops the spindle then, and feeds back down before
    it moves aside (`to_bottom`); the form with Q moves aside at the top (from memory).
    """
    if to_bottom:
        hole.aside(shift)
        hole.spindle(0)
    else:
        hole.spindle(0)
        hole.aside(shift)
    hole.rapid(bottom)
    hole.aside((0.0, 0.0))
    hole.spindle(spindle)
    hole.feed(top)
    hole.dwell(dwell_s)
    if to_bottom:
        hole.feed(bottom)
    hole.spindle(0)
    hole.aside(shift)
    hole.rapid(level)
    hole.aside((0.0, 0.0))
    hole.spindle(spindle)
