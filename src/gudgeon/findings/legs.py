"""What lies between two cuts: travel, index, clamps and the tool change, each with its seconds.

A leg starts where one cut ended and ends where the next begins.  Its parts follow each other: the
longer reckoning, for what a program does at once it may as well do one after the other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.jobs import same_pose

__all__ = [
    "CAUSES",
    "CHANGE",
    "CLAMP",
    "CUTTING",
    "INDEX",
    "NOTHING",
    "TRAVEL",
    "ChangeRule",
    "Leg",
    "Spent",
    "State",
    "Times",
    "Turns",
    "leg",
    "spent",
    "together",
]

Floats = NDArray[np.float64]
Angles = tuple[float, ...]
Point = tuple[float, float, float]

CAUSES: Final = ("cutting", "tool changes", "indexing", "clamping", "travel")
CUTTING, CHANGE, INDEX, CLAMP, TRAVEL = range(len(CAUSES))


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds by cause.

    Attributes
    ----------
    seconds : tuple of float
        For each of `CAUSES` [s].
    plus_minus : tuple of float
        Half width of the 95 % interval of each [s].
    """

    seconds: tuple[float, ...] = (0.0,) * len(CAUSES)
    plus_minus: tuple[float, ...] = (0.0,) * len(CAUSES)

    @property
    def total(self) -> float:
        """Seconds of all causes together [s]."""
        return sum(self.seconds)

    def __add__(self, other: Spent) -> Spent:
        return together(self, other)


NOTHING: Final = Spent()


def together(*parts: Spent) -> Spent:
    """Return the sum of parts.

    What is off in one is off in the others alike, for the axes and the changer are the same: ranges
    of one cause add up.
    """
    return Spent(
        tuple(map(sum, zip(*(part.seconds for part in parts), strict=True))),
        tuple(map(sum, zip(*(part.plus_minus for part in parts), strict=True))),
    )


def spent(cause: int, seconds: float, plus_minus: float | None = None) -> Spent:
    """Return seconds of one cause."""
    values, widths = [0.0] * len(CAUSES), [0.0] * len(CAUSES)
    values[cause], widths[cause] = seconds, plus_minus or 0.0
    return Spent(tuple(values), tuple(widths))


class Times(Protocol):
    """Where the seconds come from."""

    def index(self, start: Angles, end: Angles) -> Spent:
        """Return an index from pose to pose, clamps included."""
        ...

    def travel(self, start: Point, end: Point) -> Spent:
        """Return the way of the gauge point between two places: up, over, down."""
        ...

    @property
    def change(self) -> Spent:
        """Return a tool change by itself: spindle stopped, changed, started."""
        ...


@dataclass(frozen=True, slots=True)
class ChangeRule:
    """Where tools are changed.

    Attributes
    ----------
    poses : callable
        Poses in which every tool may be changed on the way between two poses; never none.
    place : tuple of (x, y, z)
        Where the gauge point stands at a change [mm]; ``None`` for what the change leaves.
    top_mm : float or None
        Top of Z, where the spindle goes before the unit turns; ``None``: not known, that way is
        left out.
    """

    poses: Callable[[Angles, Angles], Sequence[Angles]]
    place: tuple[float | None, float | None, float | None] = (None, None, None)
    top_mm: float | None = None

    @property
    def anywhere(self) -> ChangeRule:
        """The rule without its restriction."""
        return replace(self, poses=lambda start, end: (start, end))


@dataclass(frozen=True, slots=True)
class State:
    """Where a cut begins or ends.

    Attributes
    ----------
    tool : int
    angles : tuple of float
        Programmed pose.
    point : tuple of 3 floats or None
        Gauge point with the tool on the zero [mm]; ``None`` where it is not known.
    """

    tool: int
    angles: Angles
    point: Point | None


@dataclass(frozen=True, slots=True)
class Leg:
    """What lies between two cuts.

    Attributes
    ----------
    spent : Spent
    change_pose : tuple of float or None
        Where the tool is changed; ``None``: it is not.
    at_once_s : float
        What would be saved if X and Y moved while the unit turns [s].
    """

    spent: Spent
    change_pose: Angles | None
    at_once_s: float = 0.0


Turns = dict[tuple[Angles, Angles], tuple[Spent, Angles]]
"""Turns to the best pose for a change and on, and that pose, by the poses before and after."""


def leg(
    start: State, end: State, times: Times, rule: ChangeRule, turns: Turns | None = None
) -> Leg:
    """Return what lies between two cuts, the tool changed in the pose that costs least.

    The unit turns with Z at the top.  Two cuts with one tool at one zero in one pose follow each
    other without a way.

    Parameters
    ----------
    start, end : State
    times : Times
    rule : ChangeRule
    turns : dict, optional
        Turns of changes that were worked out before with the same times and rule; more are added.
    """
    if start == end:
        return Leg(NOTHING, None)
    if start.tool != end.tool:
        return _with_change(start, end, times, rule, {} if turns is None else turns)
    if same_pose(start.angles, end.angles):
        return Leg(_travel(start.point, end.point, times), None)
    index = times.index(start.angles, end.angles)
    over = _travel(_top(start.point, rule), _top(end.point, rule), times)
    whole = together(
        index,
        _travel(start.point, _top(start.point, rule), times),
        over,
        _travel(_top(end.point, rule), end.point, times),
    )
    return Leg(whole, None, min(over.total, index.seconds[INDEX]))


def _with_change(start: State, end: State, times: Times, rule: ChangeRule, turns: Turns) -> Leg:
    key = start.angles, end.angles
    if key not in turns:
        turns[key] = _best_turns(start.angles, end.angles, times, rule)
    turning, pose = turns[key]
    place = _change_place(start, end, rule)
    way = _travel(start.point, place, times), _travel(place, end.point, times)
    return Leg(together(turning, *way, times.change), pose)


def _best_turns(start: Angles, end: Angles, times: Times, rule: ChangeRule) -> tuple[Spent, Angles]:
    best: tuple[Spent, Angles] | None = None
    for pose in rule.poses(start, end):
        turning = together(_index(start, pose, times), _index(pose, end, times))
        if best is None or turning.total < best[0].total - 1e-9:
            best = turning, pose
    assert best is not None
    return best


def _change_place(start: State, end: State, rule: ChangeRule) -> Point | None:
    """Return where the gauge point stands at the change; what it leaves stays as it was."""
    known = start.point or end.point
    if known is None:
        return None
    x, y, z = (own if own is not None else at for own, at in zip(rule.place, known, strict=True))
    return x, y, z


def _top(point: Point | None, rule: ChangeRule) -> Point | None:
    """Return the place over a point at the top of Z."""
    if point is None or rule.top_mm is None:
        return None
    return point[0], point[1], max(rule.top_mm, point[2])


def _index(start: Angles, end: Angles, times: Times) -> Spent:
    return NOTHING if same_pose(start, end) else times.index(start, end)


def _travel(start: Point | None, end: Point | None, times: Times) -> Spent:
    return NOTHING if start is None or end is None else times.travel(start, end)
