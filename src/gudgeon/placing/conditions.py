"""Conditions on the place of the unit: each gives its margin, and where along an axis it holds.

The place is the machine X and Y of the unit frame's origin at one yaw.  Every condition is exact:
a bound on one coordinate, a circle round an anchor, a rectangle that must be kept out of, or a
number that the place does not change.  The room along one axis is then a set of intervals.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

__all__ = [
    "EVERYWHERE",
    "ROUNDING",
    "Bound",
    "Condition",
    "Fixed",
    "Intervals",
    "Keepout",
    "Tether",
    "along",
    "holds",
    "overlap",
]

Place = tuple[float, float]
Intervals = tuple[tuple[float, float], ...]

ROUNDING: Final = 1e-9
"""Far below what a shop can measure: margins this close to zero are zero [mm]."""
EVERYWHERE: Final[Intervals] = ((-math.inf, math.inf),)


class Condition(Protocol):
    """What every condition offers.

    Attributes
    ----------
    reason : str
        Stable word: "travel", "head room", "cable", "table edge", "guard" or "slots".
    note : str
        What is judged, in the shop's words.
    touching : bool
        Whether a margin of exactly zero is still good.
    """

    @property
    def reason(self) -> str: ...  # noqa: D102
    @property
    def note(self) -> str: ...  # noqa: D102
    @property
    def touching(self) -> bool: ...  # noqa: D102

    def margin(self, place: Place) -> float:
        """Return the room left at a place [mm]; negative where the condition is broken."""
        ...

    def room(self, axis: int, place: Place) -> Intervals:
        """Return where along one axis it holds, the other coordinate kept; closed intervals."""
        ...


def holds(condition: Condition, place: Place) -> bool:
    """Return whether a condition is kept; exactly zero counts as the condition says."""
    margin = condition.margin(place)
    return margin >= -ROUNDING if condition.touching else margin > ROUNDING


@dataclass(frozen=True, slots=True)
class Fixed:
    """A margin that the place on the table does not change."""

    reason: str
    note: str
    margin_mm: float
    touching: bool = True

    def margin(self, place: Place) -> float:
        """Return the margin [mm]."""
        return self.margin_mm

    def room(self, axis: int, place: Place) -> Intervals:
        """Return everywhere or nowhere."""
        return EVERYWHERE if holds(self, place) else ()


@dataclass(frozen=True, slots=True)
class Bound:
    """One coordinate must stay on one side: sign * (coordinate - bound) >= 0."""

    reason: str
    note: str
    axis: int
    sign: int
    bound_mm: float
    touching: bool = True

    def margin(self, place: Place) -> float:
        """Return the distance to the bound, inwards [mm]."""
        return self.sign * (place[self.axis] - self.bound_mm)

    def room(self, axis: int, place: Place) -> Intervals:
        """Return the half line, or everywhere or nowhere along the other axis."""
        if axis != self.axis:
            return EVERYWHERE if holds(self, place) else ()
        if self.sign > 0:
            return ((self.bound_mm, math.inf),)
        return ((-math.inf, self.bound_mm),)


@dataclass(frozen=True, slots=True)
class Tether:
    """A hose of limited span between the unit and a fixed anchor.

    Attributes
    ----------
    apart_mm : tuple of (float or None, float or None)
        Connector less anchor in X and Y with the unit at the origin [mm]; ``None``: that direction
        is not counted.
    height_mm : float
        Distance in height [mm]; 0 if not counted.
    free_mm : float
        Greatest span [mm].
    """

    reason: str
    note: str
    apart_mm: tuple[float | None, float | None]
    height_mm: float
    free_mm: float
    touching: bool = True

    def span(self, place: Place) -> float:
        """Return the distance that the hose has to span [mm]."""
        return math.hypot(
            self.height_mm,
            *(place[i] + apart for i, apart in enumerate(self.apart_mm) if apart is not None),
        )

    def margin(self, place: Place) -> float:
        """Return the length to spare [mm]."""
        return self.free_mm - self.span(place)

    def room(self, axis: int, place: Place) -> Intervals:
        """Return the chord of the circle round the anchor."""
        apart = self.apart_mm[axis]
        if apart is None:
            return EVERYWHERE if holds(self, place) else ()
        other = self.apart_mm[1 - axis]
        across = math.hypot(self.height_mm, 0.0 if other is None else place[1 - axis] + other)
        if across > self.free_mm + ROUNDING:
            return ()
        half = math.sqrt(max(0.0, self.free_mm**2 - across**2))
        return ((-apart - half, -apart + half),)


@dataclass(frozen=True, slots=True)
class Keepout:
    """The unit's origin must stay out of a rectangle (ends may be infinite)."""

    reason: str
    note: str
    low_mm: tuple[float, float]
    high_mm: tuple[float, float]
    touching: bool = False

    def margin(self, place: Place) -> float:
        """Return the distance to the nearest side by which it is out; negative inside [mm]."""
        return max(
            max(low - at, at - high)
            for low, at, high in zip(self.low_mm, place, self.high_mm, strict=True)
        )

    def room(self, axis: int, place: Place) -> Intervals:
        """Return the two half lines beside the rectangle, or everywhere."""
        other = 1 - axis
        if max(self.low_mm[other] - place[other], place[other] - self.high_mm[other]) > ROUNDING:
            return EVERYWHERE
        sides = (-math.inf, self.low_mm[axis]), (self.high_mm[axis], math.inf)
        return tuple((low, high) for low, high in sides if low < high)


def overlap(one: Intervals, two: Intervals) -> Intervals:
    """Return what two sets of closed intervals have in common."""
    both = (
        (max(a_low, b_low), min(a_high, b_high)) for a_low, a_high in one for b_low, b_high in two
    )
    return tuple(sorted((low, high) for low, high in both if low <= high + ROUNDING))


def along(
    conditions: Sequence[Condition], axis: int, place: Place, wished: float | None
) -> tuple[float, Intervals]:
    """Choose the coordinate along one axis, and return where all conditions hold.

    The wished coordinate is taken if it is inside; else the middle of the longest interval.  If no
    place is good for all conditions, the middle between the tightest bounds is taken, where the
    worst of them is broken least.

    Parameters
    ----------
    conditions : sequence of Condition
    axis : int
        0 for X, 1 for Y: the direction in which the unit can be slid.
    place : tuple of (x, y)
        The other coordinate counts [mm].
    wished : float or None
        Declared coordinate along the axis [mm].

    Returns
    -------
    coordinate : float
    room : tuple of (low, high)
        Closed intervals; empty if there is none.
    """
    room: Intervals = EVERYWHERE
    for condition in conditions:
        room = overlap(room, condition.room(axis, place))
    if wished is not None and any(
        low - ROUNDING <= wished <= high + ROUNDING for low, high in room
    ):
        trial = (wished, place[1]) if axis == 0 else (place[0], wished)
        if all(holds(condition, trial) for condition in conditions):
            return wished, room
    if room:
        low, high = max(room, key=lambda interval: interval[1] - interval[0])
        return _middle(low, high, wished), room
    if wished is not None:
        return wished, room
    # Nothing is good everywhere: stand between the tightest ends of what can be good at all.
    lows, highs = [-math.inf], [math.inf]
    for condition in conditions:
        some = condition.room(axis, place)
        if some:
            lows.append(min(low for low, _ in some))
            highs.append(max(high for _, high in some))
    return _middle(max(lows), min(highs), None), room


def _middle(low: float, high: float, wished: float | None) -> float:
    """Return the middle; of an open-ended interval its end, or the wished place, or zero."""
    if math.isfinite(low) and math.isfinite(high):
        return (low + high) / 2.0
    if math.isfinite(low):
        return max(low, wished) if wished is not None else low
    if math.isfinite(high):
        return min(high, wished) if wished is not None else high
    return 0.0 if wished is None else wished
