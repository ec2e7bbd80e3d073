"""The way over the morning's checks, in the control's words, read back and proven.

Z stays at its top: the program turns the unit into the pose of each check, goes over it and waits.
The reading itself is taken by hand, and so are the ways down and up again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from gudgeon.answer import Missing
from gudgeon.cell.model_drift import Check
from gudgeon.findings.drifting import DriftFindings
from gudgeon.findings.gather import Lacking
from gudgeon.findings.proofs import UNKNOWN_RADIUS_MM
from gudgeon.findings.written import TILT, TURN, Block, Written, X, Y
from gudgeon.findings.written_proof import Hand, NotOfferedError, Start, WrittenFindings
from gudgeon.program.dialect import TurningRule
from gudgeon.quantity.kinds import Kind

__all__ = ["CheckPathFindings"]

USUAL_LENGTH_MM: Final = 200.0
"""Length tried for what reads a check where no tool is listed (common practice, no source)."""

SHARES: Final = (1.0, 0.75, 0.5, 0.25)
"""Of the greatest length: what hangs no longer is tried where all of it would touch."""

START_SHARES: Final = (1.0, 0.4)
"""Of the safe travel of X and Y, about its middle, in which the path may be started."""

NEAR_MM: Final = 50.8
"""Moved by hand at a check, X and Y stay so near to it."""

LAST_MORNINGS: Final = 5
"""A check without an entered place stands where it was read on the last mornings."""

FULL_TURN: Final = 2.0 * math.pi


@dataclass(frozen=True, slots=True)
class _Place:
    """A check that the path goes over."""

    name: str
    pose_rad: tuple[float, float]
    xy_mm: tuple[float, float]


class CheckPathFindings(WrittenFindings, DriftFindings):
    """The path over the morning's checks."""

    @cached_property
    def check_path(self) -> Written:
        """Over every check whose pose and place are known; the rest is told under cautions."""
        program = Written("check-path", "Path over the morning's checks")
        if not self.cell.checks:
            return self.cannot_be_proven(program, Lacking((self._no_checks,)))
        try:
            places, left_out = self._check_places()
            program = replace(
                program,
                cautions=(
                    *left_out,
                    "At each stop you move X, Y and Z by hand. Nothing proves that. Go slowly.",
                    *self.usual_cautions,
                ),
            )
            end = self._last_pose()
            places = self._in_order(places, end)
            free = self.free_start
            starts = [
                self.narrowed(start, share)
                for share in START_SHARES
                for start in (free, self._from_pose(free, end))
            ]
            found = program
            for hand in self._reading_hands:
                for start in starts:
                    blocks = self._check_blocks(places, end, start)
                    found = self.offered(program, blocks, start, hands=(hand,))
                    if not found.refused:
                        return found
            # What stops the shortest in the narrowest start stops all.
            return found
        except (Lacking, NotOfferedError) as problem:
            return self.cannot_be_proven(program, problem)

    # --- places -----------------------------------------------------------------------------------

    @property
    def _no_checks(self) -> Missing:
        return Missing(
            "a check to read every morning",
            f"{self.cell.file}: checks",
            "the path goes over the checks",
            "glue a ball onto the rim of the platter, and enter it under [[checks]] with name, "
            "feature, pose and at",
        )

    def _check_places(self) -> tuple[list[_Place], list[str]]:
        """Return the checks with pose and place, and sentences about the rest; `Lacking`."""
        places, left_out, missing = [], [], []
        for number, check in enumerate(self.cell.checks, start=1):
            name = check.name or f"check {number}"
            lacks = self._lacking(check, number, name)
            if lacks is not None:
                missing.append(lacks)
                left_out.append(f'"{name}" is not on the path: {lacks.what} is missing.')
                continue
            assert check.pose is not None
            pose = (check.pose[0].value if self.has_tilt else 0.0, check.pose[1].value)
            places.append(_Place(name, pose, self._place_over(check)))
        if not places:
            raise Lacking(tuple(missing))
        return places, left_out

    def _lacking(self, check: Check, number: int, name: str) -> Missing | None:
        where = f"{self.cell.file}: checks[{number}]"
        if check.pose is None:
            return Missing(
                f'pose of "{name}"',
                f"{where}.pose",
                "the path turns the unit into it",
                "enter tilt and turn at the reading",
            )
        if check.at is None and not self._read_places(check):
            return Missing(
                f'place of "{name}"',
                f"{where}.at",
                "the path goes over it",
                "enter its place in the platter frame, or read it once by hand and keep it with  "
                f"gudgeon day {self.cell.file}",
            )
        return None

    def _read_places(self, check: Check) -> list[tuple[float, float]]:
        """Return where it was read, machine X and Y, oldest first."""
        return [
            (row.place_mm[0], row.place_mm[1])
            for row in self.cell.days
            if self._check_name(row) == (check.name or "")
            and row.place_mm[0] is not None
            and row.place_mm[1] is not None
        ]

    def _place_over(self, check: Check) -> tuple[float, float]:
        """Return machine X and Y over a check: as read of late, else through the axis lines."""
        if read := self._read_places(check)[-LAST_MORNINGS:]:
            x, y = np.median(np.array(read), axis=0).tolist()
            return x, y
        placed = [one for one in self.cell.checks if one.at is not None]
        expected = self.first_checks[placed.index(check)].expected_mm
        return float(expected[0]), float(expected[1])

    # --- order and ends ---------------------------------------------------------------------------

    def _last_pose(self) -> tuple[float, float]:
        """Return where the path ends: where tools may be changed, else flat."""
        low, high = self.ranges.low, self.ranges.high
        flat = (
            float(np.clip(0.0, low[3], high[3])),
            0.0 if self.ranges.endless else float(np.clip(0.0, low[4], high[4])),
        )
        try:
            park = self.changing.park
        except Lacking:
            return flat
        return flat if park is None else (park.tilt_rad, park.turn_rad)

    @property
    def _last_words(self) -> str:
        """What the last pose is."""
        try:
            allowed = self.changing.park is not None or self.changing.together.clear
        except Lacking:
            allowed = False
        return "tools may be changed here" if allowed else "flat"

    def _from_pose(self, free: Start, pose: tuple[float, float]) -> Start:
        """Return the start with the unit in one pose: that in which the path ends."""
        low, high = free.low.copy(), free.high.copy()
        words = self.control_words
        for joint, angle in zip((TILT, TURN), pose, strict=True):
            low[joint] = high[joint] = words.as_written(joint, angle)
        return Start(low, high, tuple(joint for joint in free.free if joint in (X, Y)))

    def _in_order(self, places: Sequence[_Place], end: tuple[float, float]) -> list[_Place]:
        """Return the checks in the order in which the unit turns least to the last pose."""
        poses = list(dict.fromkeys(one.pose_rad for one in places))
        if len(poses) > 1:
            stops = [*poses, end]
            cost = np.zeros((len(stops) + 1, len(stops) + 1))
            for i, a in enumerate(stops, start=1):
                for j, b in enumerate(stops, start=1):
                    cost[i, j] = self._turned_between(a, b)
            before = np.zeros(cost.shape, dtype=bool)
            before[0, 1:] = before[:-1, -1] = True
            from gudgeon.order.paths import shortest_path  # loads a compiler

            poses = [poses[node - 1] for node in shortest_path(cost, before).order[1:-1]]
        return sorted(places, key=lambda one: poses.index(one.pose_rad))

    def _turned_between(self, one: tuple[float, float], other: tuple[float, float]) -> float:
        by = abs(one[1] - other[1])
        rules = self.control_words.dialect.turning
        if self.ranges.endless and rules[1] is TurningRule.SHORTEST:
            by = abs(math.remainder(by, FULL_TURN))
        return abs(one[0] - other[0]) + by

    # --- blocks -----------------------------------------------------------------------------------

    @cached_property
    def _reading_hands(self) -> tuple[Hand, ...]:
        """What may hang in the spindle to read with: round bars, the longest first."""
        from gudgeon.clearance.pieces import cone
        from gudgeon.clearance.scene import Body, Carrier, Role
        from gudgeon.findings.bodies import bounds_of

        radius, longest = UNKNOWN_RADIUS_MM, USUAL_LENGTH_MM
        for k, hand in enumerate(self.listed_hands):
            for body in hand.bodies:
                if body.role is Role.NOSE:
                    continue
                low, high = bounds_of(body)
                radius = max(radius, float(np.abs([low[:2], high[:2]]).max()))
                longest = -float(low[2]) if k == 0 else max(longest, -float(low[2]))
        unit = 6.35 if self.units.inch else 5.0
        radius = math.ceil(radius / unit - 1e-9) * unit
        found = []
        for share in SHARES:
            length = max(math.floor(share * longest / unit + 1e-9), 1) * unit
            bar = cone((0.0, 0.0, -length), (0.0, 0.0, 0.0), radius, radius)
            body = Body("what reads the check", Carrier.HEAD, Role.HOLDER, (bar,))
            places = 2 if self.units.inch else 0
            long = self.units.text(Kind.LENGTH, length, places, limit="max")
            thick = self.units.text(Kind.LENGTH, 2.0 * radius, places, limit="max")
            found.append(
                Hand(
                    f"anything in the spindle no longer than {long} and no thicker than {thick}",
                    (body, *self.tool_bodies(None)),
                    f"Hang nothing into the spindle that is longer than {long} or thicker than "
                    f"{thick}.",
                )
            )
        return tuple(found)

    def _check_blocks(
        self, places: Sequence[_Place], end: tuple[float, float], start: Start
    ) -> list[Block]:
        words = self.control_words
        blocks = self.first_blocks(start)
        near = self.units.text(Kind.LENGTH, NEAR_MM, 2 if words.inch else 0, limit="max")
        at: tuple[float, float] | None = None
        top = next(block for block in blocks if block.move)
        for place in places:
            blocks += self._turned(at, place.pose_rad, f'pose of "{place.name}"')
            at = place.pose_rad
            x, y = place.xy_mm
            blocks += [
                words.to_machine({X: x, Y: y}, f'over "{place.name}"'),
                words.stop(
                    f'Read "{place.name}" by hand. Move X and Y no more than {near}. Raise Z to '
                    "its top. Then start again.",
                    f"read {place.name} by hand, Z to the top, start",
                    by_hand_mm=NEAR_MM,
                ),
                top,
            ]
        blocks += self._turned(at, end, self._last_words)
        return [*blocks, replace(words.end(), words=f"end: {self._last_words}")]

    def _turned(
        self, now: tuple[float, float] | None, wanted: tuple[float, float], told: str
    ) -> list[Block]:
        """Return an index of what has to turn; none where nothing has."""
        move = {
            joint: angle
            for joint, angle, before in zip(
                (TILT, TURN), wanted, now or (math.nan, math.nan), strict=True
            )
            if not abs(angle - before) <= 1e-9 and (joint == TURN or self.has_tilt)
        }
        return self.control_words.index(move, told) if move else []
