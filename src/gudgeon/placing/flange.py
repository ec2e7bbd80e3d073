"""Which bolts go in when two flanges with different holes are put together.

Both pitch circles share one centre (the pilot, or careful setting); the fixture may be turned by
any clocking.  A bolt goes in where the two hole centres are no further apart than the radial play.
All clockings are covered exactly: for each pair of holes those that let the bolt in form one
interval, and a sweep over the ends of the intervals finds where most pairs agree.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

__all__ = [
    "Clocking",
    "Match",
    "Redrill",
    "best_clockings",
    "bolts_at",
    "pair_half_angle",
    "redrill_all",
    "redrill_missing",
    "repeat_angle",
]

TURN: Final = 2.0 * math.pi
SAME: Final = 1e-9
"""Angles closer than this are one [rad]: 0.0001 mm on a circle of 100 m, far above rounding."""
REPEAT_SLACK: Final = 4e-4
"""Drawings round angles such as 360/7 deg to 0.01 deg; 0.02 deg is inside any bolt's play [rad]."""


@dataclass(frozen=True, slots=True)
class Clocking:
    """A range of clockings in which the same bolts go in.

    Attributes
    ----------
    low_rad, high_rad : float
        Ends of the range, fixture turned counter-clockwise on the platter [rad].
    pairs : tuple of (int, int)
        Number of the platter hole and of the fixture hole of each bolt, from 0.
    """

    low_rad: float
    high_rad: float
    pairs: tuple[tuple[int, int], ...]

    @property
    def middle_rad(self) -> float:
        """The clocking with the same room both ways [rad], 0 or more."""
        middle = (self.low_rad + self.high_rad) / 2.0
        return 0.0 if abs(middle) < SAME else middle


@dataclass(frozen=True, slots=True)
class Match:
    """The most bolts that ever go in, and every range of clockings where they do.

    Attributes
    ----------
    bolts : int
        The most bolts at once.
    repeat_rad : float
        The fixture looks the same after this turn; clockings are counted modulo it [rad].
    clockings : tuple of Clocking
        All ranges with that many bolts, in rising order; empty if no bolt ever goes in.
    """

    bolts: int
    repeat_rad: float
    clockings: tuple[Clocking, ...]


@dataclass(frozen=True, slots=True)
class Redrill:
    """What drilling the fixture again would leave.

    Attributes
    ----------
    clocking_rad : float
        Clocking at which the new holes are drilled [rad].
    new_holes_rad : tuple of float
        Angles of the new holes on the fixture [rad].
    centres_mm : float
        Least distance of a new hole to another hole, centre to centre [mm]; infinite if there is
        no other hole.
    web_mm : float
        Material left there; negative: the holes run into each other [mm].
    """

    clocking_rad: float
    new_holes_rad: tuple[float, ...]
    centres_mm: float
    web_mm: float


def pair_half_angle(platter_radius_mm: float, fixture_radius_mm: float, play_mm: float) -> float:
    """Return how far two hole centres may be apart in angle for the bolt to go in [rad].

    Parameters
    ----------
    platter_radius_mm, fixture_radius_mm : float
        Half of each pitch circle [mm].
    play_mm : float
        Greatest distance of the two hole centres: half of (hole - bolt), added up over both
        flanges where both have clearance holes [mm].

    Returns
    -------
    float
        Half width of the range of angles; negative if the bolt never goes in.

    Notes
    -----
    Law of cosines on the triangle centre - hole - hole.  For equal circles this is
    2 asin(play / (2 r)), the usual play / r to the third order.
    """
    if min(platter_radius_mm, fixture_radius_mm) <= 0.0:
        raise ValueError("pitch circles must be above 0")
    step = abs(platter_radius_mm - fixture_radius_mm)
    if play_mm < 0.0 or step > play_mm * (1.0 + SAME):
        return -1.0
    # sin^2(half) form: keeps its digits for the small angles that occur here.
    square = (play_mm**2 - step**2) / (4.0 * platter_radius_mm * fixture_radius_mm)
    return 2.0 * math.asin(math.sqrt(min(1.0, max(0.0, square))))


def repeat_angle(holes_rad: Sequence[float], slack_rad: float = REPEAT_SLACK) -> float:
    """Return the smallest turn that takes a hole pattern onto itself [rad], at most 360 deg.

    Parameters
    ----------
    holes_rad : sequence of float
        Angles of the holes [rad].
    slack_rad : float
        How far a hole may miss its neighbour's place [rad].
    """
    count = len(holes_rad)
    for parts in range(count, 1, -1):
        if count % parts == 0:
            turn = TURN / parts
            if all(
                min(_apart(hole + turn, other) for other in holes_rad) < slack_rad
                for hole in holes_rad
            ):
                return turn
    return TURN


def bolts_at(
    platter_rad: Sequence[float],
    fixture_rad: Sequence[float],
    half_rad: float,
    clocking_rad: float,
) -> tuple[tuple[int, int], ...]:
    """Return the pairs (platter hole, fixture hole) whose bolts go in at one clocking.

    Each hole takes one bolt: a largest matching is found by augmenting paths, with the holes that
    meet best tried first.
    """
    if half_rad < 0.0:
        return ()
    wishes: list[list[int]] = []
    for hole in fixture_rad:
        apart = [(_apart(hole + clocking_rad, other), i) for i, other in enumerate(platter_rad)]
        wishes.append([i for gap, i in sorted(apart) if gap <= half_rad + SAME])
    taken: dict[int, int] = {}

    def place(fixture_hole: int, seen: set[int]) -> bool:
        for platter_hole in wishes[fixture_hole]:
            if platter_hole not in seen:
                seen.add(platter_hole)
                if platter_hole not in taken or place(taken[platter_hole], seen):
                    taken[platter_hole] = fixture_hole
                    return True
        return False

    for fixture_hole in range(len(fixture_rad)):
        place(fixture_hole, set())
    return tuple(sorted(taken.items()))


def best_clockings(
    platter_rad: Sequence[float], fixture_rad: Sequence[float], half_rad: float
) -> Match:
    """Return the most bolts that go in over all clockings, and where.

    Parameters
    ----------
    platter_rad, fixture_rad : sequence of float
        Angle of each hole, counter-clockwise from above, each flange in its own zero [rad].
    half_rad : float
        From `pair_half_angle`.
    """
    repeat = repeat_angle(fixture_rad)
    if half_rad < 0.0 or not platter_rad or not fixture_rad:
        return Match(0, repeat, ())
    # Rounded angles repeat only nearly: then the whole turn is swept, and folded at the end.
    sweep = repeat if repeat_angle(fixture_rad, SAME) == repeat else TURN
    ends: list[float] = []
    for platter in platter_rad:
        for fixture in fixture_rad:
            middle = platter - fixture
            ends += [(middle - half_rad) % sweep, (middle + half_rad) % sweep]
    ends.sort()
    marks = [ends[0]]
    for end in ends[1:]:
        if end - marks[-1] > 2.0 * SAME:
            marks.append(end)
    if len(marks) > 1 and marks[0] + sweep - marks[-1] <= 2.0 * SAME:
        marks.pop()
    # Between two neighbouring ends nothing changes; at an end the closed intervals of both sides
    # count, so the ends are looked at too (play zero: only there does a bolt go in).
    spans = list(zip(marks, [*marks[1:], marks[0] + sweep], strict=True))
    looks = [(mark, mark) for mark in marks] + spans
    found = [
        (low, high, bolts_at(platter_rad, fixture_rad, half_rad, (low + high) / 2.0))
        for low, high in looks
    ]
    most = max(len(pairs) for _, _, pairs in found)
    if most == 0:
        return Match(0, repeat, ())
    best = sorted((item for item in found if len(item[2]) == most), key=lambda item: item[:2])
    return Match(most, repeat, _folded(_merged(best, sweep), repeat))


def redrill_missing(
    platter_rad: Sequence[float],
    fixture_rad: Sequence[float],
    clocking: Clocking,
    radii_mm: tuple[float, float],
    hole_mm: float,
) -> Redrill:
    """Return what is left if the fixture gets the holes that are missing at one clocking.

    Parameters
    ----------
    platter_rad, fixture_rad : sequence of float
        Angles of the holes [rad].
    clocking : Clocking
        The bolts that go in already keep their holes.
    radii_mm : tuple of 2 floats
        Half of the platter's pitch circle, on which the new holes stand, and of the fixture's [mm].
    hole_mm : float
        Diameter of the holes, old and new [mm].
    """
    used = {platter for platter, _ in clocking.pairs}
    new = [
        (hole - clocking.middle_rad) % TURN for i, hole in enumerate(platter_rad) if i not in used
    ]
    centres = _least_distance(new, fixture_rad, radii_mm)
    return Redrill(clocking.middle_rad, tuple(new), centres, centres - hole_mm)


def redrill_all(
    platter_rad: Sequence[float],
    fixture_rad: Sequence[float],
    radii_mm: tuple[float, float],
    hole_mm: float,
) -> Redrill:
    """Return the clocking at which a whole new set of holes leaves the most material.

    The distance to the nearest old hole rises and falls in straight lines of the clocking, so the
    best one stands half way between two neighbouring differences of hole angles: exact.
    """
    if not platter_rad or not fixture_rad:
        raise ValueError("both flanges need holes")
    repeat = repeat_angle(fixture_rad)
    marks = sorted({(p - f) % repeat for p in platter_rad for f in fixture_rad})
    gaps = list(zip(marks, [*marks[1:], marks[0] + repeat], strict=True))
    low, high = max(gaps, key=lambda gap: round(gap[1] - gap[0], 9))
    clocking = ((low + high) / 2.0) % repeat
    new = [(hole - clocking) % TURN for hole in platter_rad]
    centres = _least_distance(new, fixture_rad, radii_mm)
    return Redrill(clocking, tuple(new), centres, centres - hole_mm)


def _merged(
    best: list[tuple[float, float, tuple[tuple[int, int], ...]]], repeat: float
) -> tuple[Clocking, ...]:
    """Join neighbouring ranges (also over the end of the repeat) where the same bolts go in."""
    joined: list[Clocking] = []
    for low, high, pairs in best:
        last = joined[-1] if joined else None
        if last is not None and low - last.high_rad <= 4.0 * SAME:
            if pairs == last.pairs:
                joined[-1] = Clocking(last.low_rad, max(high, last.high_rad), pairs)
                continue
            if high == low:  # an end belongs to the wider range beside it
                continue
            if last.low_rad == last.high_rad:
                joined[-1] = Clocking(low, high, pairs)
                continue
        joined.append(Clocking(low, high, pairs))
    if len(joined) > 1:
        first, last = joined[0], joined[-1]
        # Turned by one repeat, the fixture's holes are renumbered: compare platter holes only.
        if first.low_rad + repeat - last.high_rad <= 4.0 * SAME and len(first.pairs) == len(
            last.pairs
        ):
            joined[0] = Clocking(last.low_rad - repeat, first.high_rad, first.pairs)
            joined.pop()
    return tuple(sorted(joined, key=lambda item: item.middle_rad))


def _folded(found: tuple[Clocking, ...], repeat: float) -> tuple[Clocking, ...]:
    """Keep the first of clockings that differ by whole repeats of the fixture."""
    kept: list[Clocking] = []
    for clocking in found:
        apart = (math.remainder(clocking.middle_rad - item.middle_rad, repeat) for item in kept)
        if all(abs(gap) > REPEAT_SLACK for gap in apart):
            kept.append(clocking)
    return tuple(kept)


def _apart(a: float, b: float) -> float:
    """Return the angle between two directions, 0 to 180 deg [rad]."""
    return abs((a - b + math.pi) % TURN - math.pi)


def _least_distance(
    new: Sequence[float], old: Sequence[float], radii_mm: tuple[float, float]
) -> float:
    """Return the least distance of new holes to old ones and to each other [mm]."""
    new_radius, old_radius = radii_mm
    distances = [
        math.hypot(
            new_radius - old_radius,
            2.0 * math.sqrt(new_radius * old_radius) * math.sin(_apart(a, b) / 2.0),
        )
        for a in new
        for b in old
    ]
    distances += [
        2.0 * new_radius * math.sin(_apart(a, b) / 2.0) for i, a in enumerate(new) for b in new[:i]
    ]
    return min(distances, default=math.inf)
