"""The best pose for a tool change, what is clear round it, and the shortest proven way there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.shape import WorkPose
from gudgeon.findings.travel import TravelFindings

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import ClearMap, Proof, SafeBox
    from gudgeon.clearance.prove import Gap

__all__ = ["Park", "ParkingFindings", "Way"]

Floats = NDArray[np.float64]
Legs = list[tuple[tuple[float, float], tuple[float, float]]]
"""Poses from and to, tilt and turn [rad]."""

WHOLE_RAD: Final = 1e-9
"""Angles nearer to each other than this are one."""

MOST_GROWN: Final = 12
"""More areas of a map than these are told as their cells are."""

PARK_TOL: Final = (0.005, 0.005, 0.05, math.radians(0.05), math.radians(0.05))
"""The range round the best pose ends so near to where the proof fails; it is told to 0.1 deg."""


@dataclass(frozen=True, slots=True)
class Way:
    """How to come from a pose that is worked in to the pose for the change.

    Attributes
    ----------
    pose : WorkPose
    steps : tuple of str
        "Z", "X Y", "turn" (both axes together), "tilt" and "turn only", in the order in which they
        are made.
    gap : Gap or None
        What stops it; ``None`` where it is proven for every tool.
    place_mm : tuple of (x, y), or None
        Where X and Y have to go before the unit turns; ``None``: they may stand anywhere.
    """

    pose: WorkPose
    steps: tuple[str, ...]
    gap: Gap | None
    place_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Park:
    """Where to change tools and end programs.

    Attributes
    ----------
    tilt_rad, turn_rad : float
    low, high : ndarray, shape (5,)
        The box of joint positions round it in which every tool may be changed.
    stops : SafeBox
    name : str
        The pose that is worked in, if it is one; else empty.
    place_mm : tuple of (x, y) or None
        Where the table has to stand; ``None``: anywhere the change leaves it.
    """

    tilt_rad: float
    turn_rad: float
    stops: SafeBox
    name: str
    place_mm: tuple[float, float] | None


class ParkingFindings(TravelFindings):
    """Where the unit waits for a tool change, and how it comes there."""

    def _park(
        self, every: Proof, soon: Proof, together: ClearMap, low: Floats, high: Floats
    ) -> Park | None:
        """Return the pose nearest to those that are worked in, with all that is clear round it.

        The range round it is grown with a proof that gives up `soon`: near its ends nearly
        nothing is left to spare, and long work there would win hundredths of a degree.
        """
        from gudgeon.clearance.envelope import Cell, SafeBox, grow

        worked = self.work_poses
        candidates: list[tuple[float, float, str]] = [
            (pose.tilt_rad, self._turn_within(pose.turn_rad), pose.name) for pose in worked
        ]
        candidates += [
            (tilt, self._turn_within(turn), name)
            for name, tilt, turn in self._named_poses
            if turn is not None
        ]
        middles_a = 0.5 * (together.tilts[:-1] + together.tilts[1:])
        middles_c = 0.5 * (together.turns[:-1] + together.turns[1:])
        # An end of the tilt is a pose that a shop can name; a middle of a cell is the last resort.
        candidates += [
            (float(a), self._turn_within(float(c)), "")
            for a in together.tilts
            for c in together.turns
        ]
        candidates += [
            (float(middles_a[i]), self._turn_within(float(middles_c[j])), "")
            for i, j in np.argwhere(together.cells == Cell.CLEAR)
        ]
        best: tuple[tuple[bool, float, float], tuple[float, float, str]] | None = None
        for tilt, turn, name in candidates:
            cost = self._turning_cost(tilt, turn)
            key = (not name, round(cost, 6), abs(tilt))
            if best is not None and key >= best[0]:
                continue
            lo, hi = low.copy(), high.copy()
            lo[3:] = hi[3:] = tilt, turn
            if every(lo, hi).status == 0:
                best = (key, (tilt, turn, name))
        if best is None:
            return None
        tilt, turn, name = best[1]
        lo, hi = low.copy(), high.copy()
        lo[3:], hi[3:] = self.ranges.low[3:], self.ranges.high[3:]
        if self.ranges.endless:
            lo[4], hi[4] = turn - math.pi, turn + math.pi
        s_lo, s_hi = low.copy(), high.copy()
        s_lo[3:] = s_hi[3:] = tilt, turn
        tilt_first, turn_first = ((3, -1), (3, 1)), ((4, -1), (4, 1))
        widest = grow(soon, lo, hi, s_lo, s_hi, turn_first, PARK_TOL)
        if not isinstance(widest, SafeBox):  # the pose alone is proven, by longer work
            return Park(tilt, turn, SafeBox(s_lo, s_hi, _all_round(every(s_lo, s_hi))), name, None)
        # Half of the turns that are clear here leave some room for the tilt, and the other way.
        half_lo, half_hi = s_lo.copy(), s_hi.copy()
        half_lo[4], half_hi[4] = 0.5 * (turn + widest.low[4]), 0.5 * (turn + widest.high[4])
        grown = max(
            (
                found
                for start, end, sides in (
                    (s_lo, s_hi, (*turn_first, *tilt_first)),
                    (s_lo, s_hi, (*tilt_first, *turn_first)),
                    (half_lo, half_hi, (*tilt_first, *turn_first)),
                )
                for found in (grow(soon, lo, hi, start, end, sides, PARK_TOL),)
                if isinstance(found, SafeBox)
            ),
            key=lambda box: _leeway(box, (tilt, turn)),
        )
        return Park(tilt, turn, grown, name, None)

    def _clear_ranges(
        self, soon: Proof, together: ClearMap, park: Park, low: Floats, high: Floats
    ) -> tuple[SafeBox, ...]:
        """Return the boxes in which every tool may be changed, that round the best pose first.

        The clear areas of the map end at edges of cells: each is grown to where the proof fails,
        the tilt first.  What lies inside another box is left out; boxes that touch stay two, each
        by its own proof.
        """
        from gudgeon.clearance.envelope import Cell, SafeBox, grow, rectangles

        areas = [area for area in rectangles(together) if area.cell is Cell.CLEAR]
        areas.sort(key=lambda area: -float(np.ptp(area.tilt_rad) * np.ptp(area.turn_rad)))
        found = [park.stops]
        for number, area in enumerate(areas):
            s_lo, s_hi = low.copy(), high.copy()
            (s_lo[3], s_hi[3]), (s_lo[4], s_hi[4]) = area.tilt_rad, area.turn_rad
            if any(self._within(s_lo, s_hi, box) for box in found):
                continue
            lo, hi = s_lo.copy(), s_hi.copy()
            lo[3], hi[3] = self.ranges.low[3], self.ranges.high[3]
            if not self.ranges.endless:
                lo[4], hi[4] = self.ranges.low[4], self.ranges.high[4]
            elif hi[4] - lo[4] < 2.0 * math.pi - WHOLE_RAD:
                middle = 0.5 * (lo[4] + hi[4])
                lo[4], hi[4] = middle - math.pi, middle + math.pi
            sides = ((3, -1), (3, 1), (4, -1), (4, 1)) if number < MOST_GROWN else ()
            # Its cells are proven one by one; only what is added has to be.
            box = grow(soon, lo, hi, s_lo, s_hi, sides, PARK_TOL, known=True)
            assert isinstance(box, SafeBox)
            found = [found[0]] + [
                one for one in found[1:] if not self._within(one.low, one.high, box)
            ]
            if not any(self._within(box.low, box.high, one) for one in found):
                found.append(box)
        return tuple(found)

    def _within(self, low: Floats, high: Floats, box: SafeBox) -> bool:
        """Return whether a range of tilt and turn lies inside a box, a whole turn on counted."""
        if low[3] < box.low[3] - WHOLE_RAD or high[3] > box.high[3] + WHOLE_RAD:
            return False
        if self.every_turn(box):
            return True
        whole = 2.0 * math.pi
        shifts = [whole * k for k in (-2, -1, 0, 1, 2)] if self.ranges.endless else [0.0]
        return any(
            low[4] + shift >= box.low[4] - WHOLE_RAD and high[4] + shift <= box.high[4] + WHOLE_RAD
            for shift in shifts
        )

    def every_turn(self, box: SafeBox) -> bool:
        """Return whether a box holds every turn that the platter can make."""
        if self.ranges.endless:
            return bool(box.high[4] - box.low[4] >= 2.0 * math.pi - WHOLE_RAD)
        return bool(
            box.low[4] <= self.ranges.low[4] + WHOLE_RAD
            and box.high[4] >= self.ranges.high[4] - WHOLE_RAD
        )

    def _turning_cost(self, tilt: float, turn: float) -> float:
        """Return the longest turn from any pose that is worked in [rad]."""
        costs = [
            abs(tilt - pose.tilt_rad) + self._turn_apart(turn, pose.turn_rad)
            for pose in self.work_poses
        ]
        return max(costs, default=abs(tilt))

    def _turn_apart(self, one: float, other: float) -> float:
        apart = abs(one - other)
        if self.ranges.endless:
            apart %= 2.0 * math.pi
            apart = min(apart, 2.0 * math.pi - apart)
        return apart

    def _turn_within(self, turn: float) -> float:
        if self.ranges.endless:
            turn %= 2.0 * math.pi
        return float(np.clip(turn, self.ranges.low[4], self.ranges.high[4]))

    def _beside(self, every: Proof, low: Floats, high: Floats) -> tuple[float, float] | None:
        """Return a place of the spindle at which every pose is clear, nearest to the work."""
        ends = [
            (low[k],) if low[k] == high[k] else (low[k], 0.5 * (low[k] + high[k]), high[k])
            for k in range(2)
        ]
        places = [(float(x), float(y)) for x, y in product(*ends)]
        if len(places) == 1:
            return None
        x, y, _ = self.axis_lines.chain.axes[-1].line.point_mm
        for place in sorted(places, key=lambda p: math.hypot(p[0] - x, p[1] - y)):
            lo, hi = low.copy(), high.copy()
            lo[:2] = hi[:2] = place
            lo[3:], hi[3:] = self.ranges.low[3:], self.ranges.high[3:]
            if every(lo, hi).status == 0:
                return place
        return None

    def _ways(self, park: Park) -> tuple[Way, ...]:
        """Return the shortest proven way from every pose that is worked in, Z to the top first.

        Turning both axes at once wherever X and Y stand is the shortest; one after the other takes
        longer, and needs less room; the last resort is to move X and Y first.
        """
        from gudgeon.clearance.envelope import all_of

        proofs = all_of(
            [self.head_proof(hand.bodies, self.asked_mm) for hand in self.tools_in_hand]
        )
        box = self.safe_limits.box
        low, high = self.ranges.low.copy(), self.ranges.high.copy()
        if box is not None:
            low[:2], high[:2] = box.low[:2], box.high[:2]
        low[2] = high[2] = self.ranges.high[2]
        places = self._aside(low, high)

        def failed(legs: Legs, at: tuple[float, float] | None) -> Gap | None:
            for start, end in legs:
                lo, hi = low.copy(), high.copy()
                if at is not None:
                    lo[:2] = hi[:2] = at
                # The box holds every path between the two poses, whichever axis turns first.
                lo[3:], hi[3:] = np.minimum(start, end), np.maximum(start, end)
                gap = proofs(lo, hi)
                if gap.status != 0:
                    return gap
            return None

        found = []
        for pose in self.work_poses or self._usual_poses:
            turn = self._turn_within(pose.turn_rad)
            start, end = (
                (pose.tilt_rad, turn),
                (park.tilt_rad, self._same_turn_near(park.turn_rad, turn)),
            )
            still = abs(end[0] - start[0]) < 1e-9 and abs(end[1] - start[1]) < 1e-9
            whole = [(start, end)]
            first = failed(whole, None)
            if still or first is None:
                found.append(Way(pose, ("Z",) if still else ("Z", "turn"), first))
                continue
            by_tilt, by_turn = (end[0], start[1]), (start[0], end[1])
            tries: list[tuple[tuple[str, ...], Legs, tuple[float, float] | None]] = [
                (("Z", "tilt", "turn"), [(start, by_tilt), (by_tilt, end)], None),
                (("Z", "turn only", "tilt"), [(start, by_turn), (by_turn, end)], None),
            ]
            # On the way to the place X and Y are anywhere, in the pose that is left.
            if failed([(start, start)], None) is None:
                tries += [(("Z", "X Y", "turn"), whole, place) for place in places]
            way = next(
                (
                    Way(pose, steps, None, place)
                    for steps, legs, place in tries
                    if failed(legs, place) is None
                ),
                None,
            )
            found.append(way or Way(pose, ("Z", "turn"), first))
        return tuple(found)

    @property
    def _usual_poses(self) -> tuple[WorkPose, ...]:
        """Flat and upright, for a cell that names no pose to work in."""
        return tuple(
            WorkPose(name, tilt, turn) for name, tilt, turn in self._named_poses if turn is not None
        )

    def _same_turn_near(self, turn: float, other: float) -> float:
        """Return the turn that is the same on the platter and nearest to another."""
        if not self.ranges.endless:
            return turn
        return turn + 2.0 * math.pi * round((other - turn) / (2.0 * math.pi))

    def _aside(self, low: Floats, high: Floats) -> list[tuple[float, float]]:
        """Return corners of the safe limits, the nearest to the work first."""
        x, y, _ = self.axis_lines.chain.axes[-1].line.point_mm
        corners = [(float(a), float(b)) for a in (low[0], high[0]) for b in (low[1], high[1])]
        return sorted(
            dict.fromkeys(corners), key=lambda place: math.hypot(place[0] - x, place[1] - y)
        )

    @property
    def _named_poses(self) -> tuple[tuple[str, float, float | None], ...]:
        """Poses for which the room is told: flat, upright, those worked in, each also turning."""
        low, high = self.ranges.low[3] - 1e-9, self.ranges.high[3] + 1e-9
        found: dict[tuple[float, float | None], str] = {}
        worked = self.work_poses
        turns = tuple({round(pose.turn_rad, 6): pose.turn_rad for pose in worked}.values()) or (
            0.0,
        )
        if self.has_tilt:
            for name, tilt in (("flat", 0.0), ("upright", math.pi / 2), ("upright", -math.pi / 2)):
                if low <= tilt <= high:
                    for turn in turns:
                        found.setdefault((tilt, turn), name)
                    found.setdefault((tilt, None), name)
        for pose in worked:
            found.setdefault((pose.tilt_rad, pose.turn_rad), pose.name)
        if not found:
            found[(0.0, None)] = "any turn"
        return tuple((name, tilt, turn) for (tilt, turn), name in found.items())


def _leeway(box: SafeBox, pose: tuple[float, float]) -> tuple[float, float]:
    """Return how far a pose lies inside a range on its nearest stopped sides, and its size.

    A range that begins where the pose stands leaves nothing for an angle that is a little off.
    """
    inside = 1.0
    for joint, at in zip((3, 4), pose, strict=True):
        rooms = [
            room
            for sign, room in ((-1, at - box.low[joint]), (1, box.high[joint] - at))
            if box.stop(joint, sign) is not None
        ]
        inside *= float(min(rooms, default=box.high[joint] - box.low[joint])) + 1e-6
    return inside, float(np.prod(box.high[3:] - box.low[3:] + 1e-6))


def _all_round(gap: Gap) -> tuple[tuple[tuple[int, int], Gap], ...]:
    """Return that tilt and turn are stopped at once on either side."""
    return tuple(((joint, sign), gap) for joint in (3, 4) for sign in (-1, 1))
