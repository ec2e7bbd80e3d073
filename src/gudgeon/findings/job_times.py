"""Times that an order is made of: each job by itself, turning, travel, changes, loading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

from gudgeon.findings.control import offset_name
from gudgeon.findings.gather import Lacking
from gudgeon.findings.jobs import Job, JobFindings
from gudgeon.findings.legs import (
    CHANGE,
    CLAMP,
    INDEX,
    TRAVEL,
    Angles,
    ChangeRule,
    Point,
    Spent,
    spent,
)
from gudgeon.findings.timed import SAME_RAD
from gudgeon.findings.timed_ground import Duration
from gudgeon.findings.timed_program import ProgramTime, ProgramTimeFindings
from gudgeon.quantity.amount import Amount

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import SafeBox
    from gudgeon.findings.timed_steps import Use

__all__ = [
    "CARRIED_OVER",
    "ENTERED",
    "FROM_PROGRAM",
    "JobTimeFindings",
    "OwnTime",
    "ShopTimes",
    "as_pose",
]

Pose = tuple[float, float]

ENTERED: Final = "entered"
FROM_PROGRAM: Final = "program"
CARRIED_OVER: Final = "program, other stations"

SAME_POSE: Final = 1e-4
"""Angles of a program nearer to a job's than this are its pose [rad]."""

WHOLE: Final = math.radians(1.0)
"""A pose for a change is rounded to whole degrees where its range has room for that."""

INSIDE: Final = math.radians(0.1)
"""How far inside the end of a range such a pose stays; ranges are told to a tenth of a degree."""


@dataclass(frozen=True, slots=True)
class OwnTime:
    """How long one job takes by itself.

    Attributes
    ----------
    amount : Amount
        [s]
    cut : Amount
        What of it wears the tool [s].
    source : str
        `ENTERED` (the operation's own entry), `FROM_PROGRAM` or `CARRIED_OVER` (other stations).
    """

    amount: Amount
    cut: Amount
    source: str


class ShopTimes:
    """Times of the shop, by cause; each is worked out once."""

    def __init__(self, findings: JobTimeFindings) -> None:
        self._findings = findings
        self._indexes: dict[tuple[Angles, Angles], Spent] = {}
        self._by_turns: dict[tuple[Pose, ...], Spent] = {}
        self._travels: dict[tuple[Point, Point], Spent] = {}

    def index(self, start: Angles, end: Angles) -> Spent:
        """Return an index from pose to pose; see `legs.Times`."""
        if (start, end) not in self._indexes:
            # Nothing but how far the axes turn counts; equal turns are timed once.
            poses = as_pose(start), as_pose(end)
            turns = self._findings.turns_between(*poses)
            if turns not in self._by_turns:
                self._by_turns[turns] = self._index(*poses)
            self._indexes[start, end] = self._by_turns[turns]
        return self._indexes[start, end]

    def _index(self, start: Pose, end: Pose) -> Spent:
        whole = self._findings.index_time(start, end)
        clamp = self._findings.clamp_time(start, end)
        turn = max(whole.value - clamp.value, 0.0)
        wide = math.sqrt(max(whole.plus_minus**2 - clamp.plus_minus**2, 0.0))
        return spent(INDEX, turn, wide) + spent(CLAMP, clamp.value, clamp.plus_minus)

    def travel(self, start: Point, end: Point) -> Spent:
        """Return the way of the gauge point: up, over, down."""
        key = start, end
        if key not in self._travels:
            way = self._findings.travel_time(start, end)
            self._travels[key] = spent(TRAVEL, way.value, way.plus_minus)
        return self._travels[key]

    @cached_property
    def change(self) -> Spent:
        """A tool change by itself."""
        time = self._findings.tool_change_time().time
        return spent(CHANGE, time.value, time.plus_minus)


class JobTimeFindings(ProgramTimeFindings, JobFindings):
    """Facts about the times between and in the jobs of a load."""

    @cached_property
    def order_times(self) -> ShopTimes:
        """Seconds of travel, index and change of this cell."""
        return ShopTimes(self)

    @cached_property
    def own_times(self) -> tuple[OwnTime | None, ...]:
        """How long each job takes by itself; ``None`` where that is not known.

        The operation's own entry; else what the programs spend with its tool under its work
        offset; else the mean of the stations at which they show it.
        """
        jobs, operations = self.jobs.jobs, self.cell.operations
        entered = [operations[job.number].takes for job in jobs]
        found = [None if takes is None else OwnTime(takes, takes, ENTERED) for takes in entered]
        open_jobs = [k for k, takes in enumerate(entered) if takes is None]
        if not open_jobs or not self._programs_timed:
            return tuple(found)
        sharing: dict[tuple[int, str | None, Angles], list[int]] = {}
        for k in open_jobs:
            way = jobs[k].ways[0]
            sharing.setdefault((jobs[k].tool, way.word, way.angles_rad), []).append(k)
        for members in sharing.values():
            own = self._from_programs(jobs[members[0]], len(members))
            for k in members:
                found[k] = own
        for k in open_jobs:
            if found[k] is None:
                found[k] = _mean([found[i] for i in open_jobs if jobs[i].number == jobs[k].number])
        return tuple(found)

    @cached_property
    def _programs_timed(self) -> tuple[ProgramTime, ...]:
        """The programs that could be timed; none where the speeds are not known."""
        try:
            return self.program_times
        except Lacking:
            return ()

    def _from_programs(self, job: Job, share: int) -> OwnTime | None:
        """Return what the programs spend on a job, shared alike by so many."""
        way = job.ways[0]
        others = {offset_name(own.word) for one in self.jobs.jobs for own in one.ways if own.word}

        def this(use: Use) -> bool:
            if use.tool != job.tool:
                return False
            if way.word is not None:
                return use.offset == offset_name(way.word)
            if use.offset in others:
                return False
            pose = as_pose(way.angles_rad)
            apart = math.remainder(use.turn_rad - pose[1], 2.0 * math.pi)
            return abs(use.tilt_rad - pose[0]) < SAME_POSE and abs(apart) < SAME_POSE

        took = [program.in_the_cut(this) for program in self._programs_timed]
        fed = [program.at_feed(this) for program in self._programs_timed]
        value, cut = sum(one.value for one in took), sum(one.value for one in fed)
        if not cut > 0.0:
            return None
        return OwnTime(
            Amount(value / share, sum(one.plus_minus for one in took) / share or None),
            Amount(cut / share, sum(one.plus_minus for one in fed) / share or None),
            FROM_PROGRAM,
        )

    def turns_between(self, start: Pose, end: Pose) -> tuple[Pose, ...]:
        """Return how far tilt and rotary turn, and the other way round where it may be that."""
        return tuple(
            (round(tilt, 9), round(turn, 9)) for tilt, turn in self._ways_round(start, end)
        )

    def clamp_time(self, start: Pose, end: Pose) -> Duration:
        """Return what of an index is spent on letting go and clamping."""
        ways = self._ways_round(start, end)
        moving = [axis for axis in (3, 4) if any(way[axis - 3] > SAME_RAD for way in ways)]
        verbs = ("unclamp", "clamp")
        amounts = [self.longest_clamp(verb, self._worked_with(verb, moving)) for verb in verbs]
        known = [amount for amount in amounts if amount is not None]
        return Duration(
            sum(amount.value for amount in known), math.hypot(*(2.0 * one.u for one in known))
        )

    @property
    def _load_seconds(self) -> Amount | None:
        """Time of loading all parts of a load [s]; ``None`` where it is not entered."""
        shift, count = self.cell.shift, len(self.jobs.stations)
        if shift.load_part is None:
            return None
        each, once = shift.load_part, shift.load_once or Amount(0.0)
        value = count * each.value + once.value
        return Amount(value, math.hypot(count * 2.0 * each.u, 2.0 * once.u) or None)

    @property
    def load_pose(self) -> Angles:
        """Pose in which the parts are loaded; both angles as near to zero as they come."""
        entered = self.cell.shift.load_pose
        axes = self.turning_only.axes
        if entered is not None:
            return tuple(angle.value for angle in entered)[2 - len(axes) :]
        return tuple(min(max(0.0, axis.low_rad), axis.high_rad) for axis in axes)

    @property
    def _load_place(self) -> Point | None:
        """Where the gauge point stands while parts are loaded: over the rotary line, Z at the top.

        ``None`` where the lines or the top of Z are not known: the way is then left out.
        """
        top = self.cell.machine.travel_z
        if top is None:
            return None
        try:
            x, y, _ = self.axis_lines.chain.axes[-1].line.point_mm
        except Lacking:
            return None
        return x, y, top[1].value

    @property
    def change_unproven(self) -> ChangeRule:
        """The rule as if tools might be changed wherever the unit stands; needs no proof."""
        changer, travel = self.cell.machine.changer, self.cell.machine.travel_z
        x, y, z = (None if at is None else at.value for at in (changer.x, changer.y, changer.z))
        top = z if travel is None else travel[1].value
        return ChangeRule(lambda start, end: (start, end), (x, y, top if z is None else z), top)

    @cached_property
    def change_rule(self) -> ChangeRule:
        """Where tools are changed; where they stand if nothing is known of it."""
        free = self.change_unproven
        place = free.place
        try:
            found = self.changing
        except Lacking:
            return free
        if found.together.clear or not found.ranges:
            if not found.together.clear and found.beside is not None:
                return replace(free, place=(*found.beside, place[2]))
            return free
        park = None if found.park is None else (found.park.tilt_rad, found.park.turn_rad)
        count = len(self.turning_only.axes)

        def poses(start: Angles, end: Angles) -> Sequence[Angles]:
            near = [
                self._nearest_in(box, as_pose(pose))
                for box in found.ranges
                for pose in (start, end)
            ]
            if park is not None:
                near.append(park)
            return list(dict.fromkeys(pose[2 - count :] for pose in near))

        return ChangeRule(poses, place, free.top_mm)

    @property
    def changes_restricted(self) -> bool:
        """Whether tools may be changed in some poses only; False where that is not known."""
        try:
            return bool(self.changing.ranges) and not self.changing.together.clear
        except Lacking:
            return False

    @property
    def changes_known(self) -> bool:
        """Whether it is proven where tools may be changed."""
        try:
            found = self.changing
        except Lacking:
            return False
        return found.together.clear or bool(found.ranges) or found.beside is not None

    def _nearest_in(self, box: SafeBox, pose: Pose) -> Pose:
        """Return the pose of a range nearest to another, in whole degrees if it has room."""
        tilt = _into(pose[0], float(box.low[3]), float(box.high[3]))
        if self.every_turn(box):
            return tilt, pose[1]
        middle = 0.5 * float(box.low[4] + box.high[4])
        turns = 0.0
        if self.ranges.endless:
            turns = 2.0 * math.pi * round((middle - pose[1]) / (2.0 * math.pi))
        turn = _into(pose[1] + turns, float(box.low[4]), float(box.high[4]))
        return tilt, turn - turns

    @property
    def pose_letters(self) -> tuple[str, str]:
        """Letters of tilt and rotary; words where they are not known."""
        try:
            senses = self.senses
        except Lacking:
            return "tilt ", "turn "
        return senses.tilt_letter or "tilt ", senses.rotary_letter

    def pose_words(self, angles: Angles) -> str:
        """Return a pose in the control's letters, such as "A90 C-45"."""
        return " ".join(
            f"{letter}{round(math.degrees(angle), 3) + 0.0:g}"
            for letter, angle in zip(self.pose_letters[2 - len(angles) :], angles, strict=True)
        )


def _mean(known: Sequence[OwnTime | None]) -> OwnTime | None:
    """Return the mean of the times that are known, with the widest range."""
    own = [one for one in known if one is not None and one.source == FROM_PROGRAM]
    if not own:
        return None

    def middle(amounts: list[Amount]) -> Amount:
        values = [amount.value for amount in amounts]
        wide = max(2.0 * one.u for one in amounts) + 0.5 * (max(values) - min(values))
        return Amount(sum(values) / len(values), wide or None)

    return OwnTime(
        middle([one.amount for one in own]), middle([one.cut for one in own]), CARRIED_OVER
    )


def as_pose(angles: Angles) -> Pose:
    """Return tilt and turn of a chain's angles; a single axis has no tilt."""
    return (angles[0], angles[1]) if len(angles) == 2 else (0.0, angles[0])


def _into(angle: float, low: float, high: float) -> float:
    """Return the angle of a range nearest to another, in whole degrees where there is room."""
    if low <= angle <= high:
        return angle
    whole = (
        WHOLE * math.ceil((low + INSIDE) / WHOLE)
        if angle < low
        else WHOLE * math.floor((high - INSIDE) / WHOLE)
    )
    return whole if low <= whole <= high else min(max(angle, low), high)
