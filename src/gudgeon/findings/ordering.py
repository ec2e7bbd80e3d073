"""The order of a load: the shortest that is found, what it takes by cause, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from gudgeon.answer import Missing
from gudgeon.findings.effort import Effort
from gudgeon.findings.gather import Lacking
from gudgeon.findings.job_times import (
    CARRIED_OVER,
    ENTERED,
    JobTimeFindings,
    OwnTime,
    as_pose,
)
from gudgeon.findings.jobs import SAME_RAD, Job, JobsFinding, Way, called
from gudgeon.findings.legs import CAUSES, CUTTING, Angles, Leg, Spent, State
from gudgeon.findings.network import Network, Round, best_round
from gudgeon.quantity.amount import Amount

__all__ = ["LoadTime", "OrderFinding", "OrderFindings", "Step"]


@dataclass(frozen=True, slots=True)
class Step:
    """One job in its place in the order.

    Attributes
    ----------
    job : Job
    way : Way
    leg : Leg
        What lies before it.
    own : OwnTime or None
        ``None`` where it is not known.
    start_s, end_s : float
        From the start of the load [s].
    """

    job: Job
    way: Way
    leg: Leg
    own: OwnTime | None
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class LoadTime:
    """How long a part takes, loading included.

    Attributes
    ----------
    seconds_per_part : float
        [s]
    plus_minus : float
        k = 2 [s].
    parts : int
        Parts of a load.
    with_loading : bool
        False where the time of loading is not entered: it is then left out.
    """

    seconds_per_part: float
    plus_minus: float
    parts: int
    with_loading: bool


@dataclass(frozen=True, slots=True)
class OrderFinding:
    """The order of a load and its times.

    Attributes
    ----------
    jobs : JobsFinding
    network : Network
    round : Round
    steps : tuple of Step
    home : Leg
        From the last cut back to loading.
    causes : dict of str to Amount
        Seconds by cause: `CAUSES`, and "loading" where its time is entered [s].
    machine : Amount
        From start to end of the run, without loading [s].
    load : Amount
        With loading, where its time is entered [s].
    loading : Amount or None
        [s]
    file_s : float or None
        Run in the order of the file [s]; ``None`` where that order is not allowed.
    unknown : tuple of int
        Operations, by their place in the file from 0, whose own time is not known.
    load_pose : tuple of float
        Programmed angles.
    restricted : bool
        Tools may be changed in some poses only.
    changes_known : bool
        It is proven where tools may be changed.
    told : tuple of str
    missing : tuple of Missing
        What would sharpen or complete it.
    """

    jobs: JobsFinding
    network: Network
    round: Round
    steps: tuple[Step, ...]
    home: Leg
    causes: dict[str, Amount]
    machine: Amount
    load: Amount
    loading: Amount | None
    file_s: float | None
    unknown: tuple[int, ...]
    load_pose: Angles
    restricted: bool
    changes_known: bool
    told: tuple[str, ...]
    missing: tuple[Missing, ...]

    @property
    def parts(self) -> int:
        """Parts of a load."""
        return len(self.jobs.stations)

    @property
    def changes(self) -> int:
        """Tool changes of a load, that between two loads included."""
        return sum(leg.change_pose is not None for leg in self.legs)

    @property
    def legs(self) -> tuple[Leg, ...]:
        """All legs, the way back to loading last."""
        return (*(step.leg for step in self.steps), self.home)

    @property
    def saved_s(self) -> float | None:
        """Seconds saved against the order of the file."""
        return None if self.file_s is None else self.file_s - self.round.seconds


class OrderFindings(JobTimeFindings):
    """Facts about the order in which a load is cut."""

    @cached_property
    def ordering(self) -> OrderFinding:
        """The order of a load.

        Raises
        ------
        Lacking
            What the jobs, the speeds of the axes or the tool change lack.
        ValueError
            If what must come first goes round in a circle, or nothing can be cut: ask `jobs` first.
        """
        gather = self.gather()
        jobs = self.jobs
        wanted: list[Callable[[], object]] = [lambda: self.ground(self._order_axes(jobs))]
        if _changes_tools(jobs):
            wanted.insert(0, self.tool_change_time)
        for want in wanted:
            try:
                want()
            except Lacking as lacking:
                gather.also(lacking)
        gather.stop()
        if jobs.ring or not jobs.jobs:
            raise ValueError("no order is possible; jobs.ring or jobs.unreached says why")
        return self._order_of(jobs)

    @property
    def load_time(self) -> LoadTime | None:
        """Time of a part as the order gives it; ``None`` where it is not known."""
        try:
            jobs = self.jobs
            if jobs.ring or jobs.unreached or not jobs.jobs:
                return None
            found = self.ordering
        except Lacking:
            return None
        if found.unknown:
            return None
        return LoadTime(
            found.load.value / found.parts,
            (found.load.plus_minus or 0.0) / found.parts,
            found.parts,
            found.loading is not None,
        )

    @property
    def load_time_span(self) -> tuple[LoadTime, LoadTime | None] | None:
        """Time of a part at least, and in the order of the file; quick: no order is sought.

        Tools are taken to be changed wherever the unit stands.  The second is ``None`` where the
        order of the file is not allowed, the whole where the times are not known.
        """
        try:
            jobs = self.jobs
            if jobs.ring or jobs.unreached or not jobs.jobs or None in self.own_times:
                return None
            network = self.network_with(unproven=True)
            order = self._file_order_of(network)
            file_s = None if order is None else network.seconds(order)
            cutting = self._cutting
        except Lacking:
            return None
        loading, parts = self._load_seconds, len(jobs.stations)
        extra, known = (0.0, False) if loading is None else (loading.value, True)
        half = 2.0 * cutting.u / parts

        def a_part(run_s: float) -> LoadTime:
            return LoadTime((run_s + extra) / parts, half, parts, known)

        return a_part(cutting.value), None if file_s is None else a_part(file_s)

    # --- what it is made of ---------------------------------------------------------------------

    @cached_property
    def network(self) -> Network:
        """Every leg between the jobs of a load, each worked out when it is asked for."""
        return self.network_with()

    def network_with(
        self,
        spare_for: frozenset[int] = frozenset(),
        *,
        change_anywhere: bool = False,
        unproven: bool = False,
    ) -> Network:
        """Return the legs between the jobs where more is allowed than the cell states.

        `unproven`: as if tools might be changed anywhere, without asking what is proven of it.
        """
        jobs, rule = self.jobs, self.change_unproven if unproven else self.change_rule
        return Network(
            jobs.jobs,
            [(first, then) for first, then, _ in jobs.before],
            [0.0 if own is None else own.amount.value for own in self.own_times],
            {
                tool.number: tool.length.value
                for tool in self.cell.tools
                if tool.number is not None and tool.length is not None
            },
            self.order_times,
            rule.anywhere if change_anywhere else rule,
            State(-1, self.load_pose, self._load_place),
            spare_for=spare_for,
            known=None if change_anywhere or not spare_for else self.network.known,
        )

    # --- how it is put together -----------------------------------------------------------------

    def _order_of(self, jobs: JobsFinding) -> OrderFinding:
        network = self.network
        best = best_round(network, self._told_effort(self.effort), hint=self._file_order or ())
        legs = network.legs(best.nodes)
        steps: list[Step] = []
        at = 0.0
        for node, leg in zip(best.nodes, legs[:-1], strict=True):
            k, way = network.nodes[node]
            own = self.own_times[k]
            start = at + leg.spent.total
            at = start + (0.0 if own is None else own.amount.value)
            steps.append(Step(jobs.jobs[k], way, leg, own, start, at))
        loading = self._load_seconds
        causes = self._order_causes(legs)
        if loading is not None:
            causes["loading"] = loading
        machine = _together([time for name, time in causes.items() if name != "loading"])
        file_order = self._file_order
        return OrderFinding(
            jobs=jobs,
            network=network,
            round=best,
            steps=tuple(steps),
            home=legs[-1],
            causes=causes,
            machine=machine,
            load=machine if loading is None else _together([machine, loading]),
            loading=loading,
            file_s=None if file_order is None else network.seconds(file_order),
            unknown=tuple(
                dict.fromkeys(
                    job.number
                    for job, own in zip(jobs.jobs, self.own_times, strict=True)
                    if own is None
                )
            ),
            load_pose=self.load_pose,
            restricted=self.changes_restricted,
            changes_known=self.changes_known,
            told=self._order_told(jobs),
            missing=self._order_missing(jobs),
        )

    def _told_effort(self, effort: Effort) -> Effort:
        """Return the effort with what tells its share and hears a stop, where nobody else does."""
        if self.told is None or effort.keep_going is not None:
            return effort

        def going() -> bool:
            self.going(1.0)  # the search is done, and what the bound takes cannot be told
            return True

        return replace(effort, told=self.going, bound_going=effort.bound_going or going)

    def _order_causes(self, legs: Sequence[Leg]) -> dict[str, Amount]:
        """Return seconds by cause; what is off in one cut of an operation is off in all alike."""
        way = Spent()
        for leg in legs:
            way += leg.spent
        times = {
            name: Amount(way.seconds[k], way.plus_minus[k] or None) for k, name in enumerate(CAUSES)
        }
        return {**times, CAUSES[CUTTING]: self._cutting}

    @property
    def _cutting(self) -> Amount:
        """Known times of all cuts of a load together [s]."""
        cuts: dict[int, tuple[float, float]] = {}
        for job, own in zip(self.jobs.jobs, self.own_times, strict=True):
            if own is not None:
                value, width = cuts.get(job.number, (0.0, 0.0))
                cuts[job.number] = (
                    value + own.amount.value,
                    width + (own.amount.plus_minus or 0.0),
                )
        return _together([Amount(value, width or None) for value, width in cuts.values()])

    @cached_property
    def _file_order(self) -> tuple[int, ...] | None:
        """The order of the file; None: not allowed."""
        return self._file_order_of(self.network)

    @staticmethod
    def _file_order_of(network: Network) -> tuple[int, ...] | None:
        """Nodes in the order of the file, each operation at all its stations; None: not allowed."""
        first: dict[int, int] = {}
        for node, (k, _) in enumerate(network.nodes):
            first.setdefault(k, node)
        if any(then < before for before, then in network.before):
            return None
        return tuple(first[k] for k in range(len(network.jobs)))

    def _order_axes(self, jobs: JobsFinding) -> tuple[int, ...]:
        """Return the axes that move within a load: only their speeds are asked for."""
        poses = [as_pose(way.angles_rad) for job in jobs.jobs for way in job.ways]
        poses.append(as_pose(self.load_pose))
        turning = [
            axis
            for axis, angles in zip((3, 4), zip(*poses, strict=True), strict=True)
            if max(angles) - min(angles) > SAME_RAD
        ]
        placed = any(way.point_mm is not None for job in jobs.jobs for way in job.ways)
        return (*((0, 1, 2) if placed else ()), *turning)

    def _order_told(self, jobs: JobsFinding) -> tuple[str, ...]:
        told = [*jobs.told]
        sources = {own.source for own in self.own_times if own is not None}
        if sources - {ENTERED}:
            told.append(
                "Operations without a time of their own take what the programs spend with their "
                "tool under their work offset; where several share both, alike."
            )
            told += [
                f"{program.name} takes longer than was counted: {why}."
                for program in self._programs_timed
                for why in program.short
            ]
        if CARRIED_OVER in sources:
            told.append("Where no program cuts an operation, it takes the mean of other stations.")
        told.append("What lies between two cuts is counted one after the other.")
        if self.cell.shift.load_pose is None:
            told.append(
                f"Parts are loaded at {self.pose_words(self.load_pose)} (shift.load_pose is not "
                "entered)."
            )
        if _changes_tools(jobs):
            told += self._change_told_of_order
        if any(job.tool not in self.network.lengths for job in jobs.jobs):
            told.append("Ways of tools without a length are left out.")
        axes = self._order_axes(jobs)
        told += self.ground(axes, ("rapids",))[2]
        told += self._clamps_left_out([axis for axis in axes if axis >= 3])
        return tuple(dict.fromkeys(told))

    @property
    def _change_told_of_order(self) -> tuple[str, ...]:
        """What is taken for granted of the tool changes."""
        told = self.tool_change_time().time.assumed
        try:
            changing = self.changing
        except Lacking:
            return (
                "Tools are changed in the pose in which the unit stands: where that is clear is "
                'not known (ask "changes").',
                *told,
            )
        if changing.together.clear or changing.ranges or changing.beside is not None:
            return told
        return (
            "No pose is proven in which tools may be changed: they are taken to be changed where "
            'the unit stands (ask "changes").',
            *told,
        )

    def _order_missing(self, jobs: JobsFinding) -> tuple[Missing, ...]:
        """Return what would complete the times: the operation with the most cuts first."""
        file = self.cell.file
        count: dict[int, int] = {}
        for job, own in zip(jobs.jobs, self.own_times, strict=True):
            if own is None:
                count[job.number] = count.get(job.number, 0) + 1
        found = []
        for number in sorted(count, key=lambda k: (-count[k], k)):
            name = called(self.cell.operations[number], number)
            found.append(
                Missing(
                    f'time of "{name}"',
                    f"{file}: operations[{number + 1}].takes",
                    "the time of a load is not known without it",
                    "time it at the machine at one station, or enter a program that cuts it under "
                    "[[programs]]",
                )
            )
        if self.cell.shift.load_part is None:
            found.append(
                Missing(
                    "time to load one part",
                    f"{file}: shift.load_part",
                    "a part takes its loading too",
                    "time one part: out, cleaned, in, clamped",
                )
            )
        return tuple(found)


def _changes_tools(jobs: JobsFinding) -> bool:
    return len({job.tool for job in jobs.jobs}) > 1


def _together(times: Sequence[Amount]) -> Amount:
    """Return the sum of times that are off for different reasons."""
    width = float(np.linalg.norm([2.0 * time.u for time in times])) if times else 0.0
    return Amount(sum(time.value for time in times), width or None)
