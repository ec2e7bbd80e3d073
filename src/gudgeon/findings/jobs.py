"""What a load consists of: each operation at each station, the ways to do it, what comes first.

A job is one operation at one station.  Its ways are the poses in which it may be cut; the zero of
each way is that of the face in whose pose it is cut.  What must come first holds for each part, and
a part is what one station holds.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from typing import Final

import numpy as np

from gudgeon.cell.model import Operation, Station
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.offsets import OffsetFindings, OffsetsFinding, ZeroFound

__all__ = ["OTHER_FACE", "OWN", "SECOND", "Job", "JobFindings", "JobsFinding", "Way", "same_pose"]

OWN: Final = "own"
OTHER_FACE: Final = "other face"
SECOND: Final = "second pose"

SAME_RAD: Final = 1e-6
"""Angles nearer to each other than this are one pose."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way to do a job.

    Attributes
    ----------
    face : str
        Face in whose pose it is cut; empty where the operation states its own pose.
    angles_rad : tuple of float
        Programmed angles in the chain's order.
    word : str or None
        Work offset of that face at that station; ``None`` where it has none.
    point_mm : tuple of 3 floats or None
        The zero in T in this pose; ``None`` where the operation names no face [mm].
    kind : str
        `OWN`, `OTHER_FACE` or `SECOND`.
    """

    face: str
    angles_rad: tuple[float, ...]
    word: str | None
    point_mm: tuple[float, float, float] | None
    kind: str


@dataclass(frozen=True, slots=True)
class Job:
    """One operation at one station.

    Attributes
    ----------
    number : int
        Place of the operation in the file, from 0.
    operation, station, part, face : str
        Names; `face` is empty where the operation states its own pose.
    tool : int
    ways : tuple of Way
        That of its own face first; never empty.
    spare : tuple of Way
        Poses that would do as well, but that the cell does not allow for it.
    """

    number: int
    operation: str
    station: str
    part: str
    face: str
    tool: int
    ways: tuple[Way, ...]
    spare: tuple[Way, ...] = ()

    @property
    def label(self) -> str:
        """Operation and station."""
        return f"{self.operation} at {self.station}"


@dataclass(frozen=True, slots=True)
class JobsFinding:
    """All jobs of a load.

    Attributes
    ----------
    jobs : tuple of Job
        In the order of the file: operations, each at its stations in loading order.
    before : tuple of (int, int, str)
        Job that comes before another, and why ("after", "datum" or "rough").
    ring : tuple of str
        Jobs each of which must come before the next, and the last before the first; empty unless
        what must come first is impossible.
    unreached : tuple of (str, str)
        Jobs that can be done in no pose, and why.
    stations : tuple of str
        Loaded stations, in loading order.
    empty : tuple of str
        Stations where no part is loaded.
    told : tuple of str
        What was taken for granted.
    """

    jobs: tuple[Job, ...]
    before: tuple[tuple[int, int, str], ...]
    ring: tuple[str, ...]
    unreached: tuple[tuple[str, str], ...]
    stations: tuple[str, ...]
    empty: tuple[str, ...]
    told: tuple[str, ...]


class JobFindings(OffsetFindings):
    """Facts about what a load consists of."""

    @cached_property
    def jobs(self) -> JobsFinding:
        """Every job of a load.

        Raises
        ------
        Lacking
            Where operations, their tools or faces, stations or what the work offsets need are
            missing.
        """
        gather = self.gather()
        gather.need(
            self.cell.operations,
            "operations",
            "the operations that are cut",
            why="an order is found among them",
            how="add an [[operations]] table for each cut: name, tool, part, face, takes",
        )
        gather.need(
            self.cell.stations,
            "stations",
            "where the parts sit on the platter",
            why="each operation is cut at every station that holds its part",
            how="add a [[stations]] table for each place, with at = [x, y, z] from the middle of "
            "the platter face",
        )
        gather.stop()
        loaded = [
            (number, station)
            for number, station in enumerate(self.cell.stations, start=1)
            if not station.empty
        ]
        gather.need(
            loaded or None,
            "stations[1].empty",
            "a station with a part in it",
            why="every station is entered as empty",
            how="take out  empty = true  at each station that is loaded",
        )
        zeros = self._zeros_of_jobs(gather)
        gather.stop()
        return self._jobs(loaded, zeros, gather)

    def _zeros_of_jobs(self, gather: Gather) -> OffsetsFinding | None:
        """Return the work offsets; ``None`` where no operation names a face, or they lack."""
        if all(operation.face is None for operation in self.cell.operations):
            return None
        try:
            return self.offsets
        except Lacking as lacking:
            gather.also(lacking)
            return None

    def _jobs(
        self,
        loaded: list[tuple[int, Station]],
        zeros: OffsetsFinding | None,
        gather: Gather,
    ) -> JobsFinding:
        jobs: list[Job] = []
        unreached: list[tuple[str, str]] = []
        told: list[str] = []
        at = {(zero.station, zero.face): zero for zero in zeros.zeros} if zeros else {}
        for number, operation in enumerate(self.cell.operations):
            name, key = called(operation, number), f"operations[{number + 1}]"
            tool = gather.need(
                operation.tool,
                f"{key}.tool",
                f'tool of "{name}"',
                why="tool changes are counted by it",
                how="write the number of the tool that cuts it, such as  tool = 1",
            )
            gather.need(
                operation.face if operation.pose is None else True,
                f"{key}.face",
                f'face that "{name}" cuts',
                why="the pose follows from it",
                how='name the face, or write  pose = ["90 deg", "0 deg"]',
            )
            where = self._stations_of(number, operation, loaded, gather)
            if operation.tool is None or (operation.face is None and operation.pose is None):
                continue
            for station, part in where:
                ways, spare, why = self._ways_to_do(number, operation, station, part, at, gather)
                if ways:
                    jobs.append(
                        Job(
                            number,
                            name,
                            station,
                            part,
                            operation.face or "",
                            tool,
                            ways,
                            spare,
                        )
                    )
                elif why:
                    unreached.append((f"{name} at {station}", why))
            if not where and not gather.missing:
                told.append(f'"{name}" is cut at no station that is loaded: it is left out.')
        gather.stop()
        if not jobs and not unreached:
            gather.need(
                None,
                "operations",
                "an operation on a part that is loaded",
                why="no operation is cut at any station that holds a part",
                how="compare the parts, faces and stations of the operations with [[stations]]",
            )
        before, more = self._what_first(jobs, gather)
        gather.stop()
        return JobsFinding(
            jobs=tuple(jobs),
            before=before,
            ring=_ring(jobs, before),
            unreached=tuple(unreached),
            stations=tuple(station.name or str(number) for number, station in loaded),
            empty=tuple(
                station.name or str(number)
                for number, station in enumerate(self.cell.stations, start=1)
                if station.empty
            ),
            told=tuple(told + more),
        )

    def _stations_of(
        self,
        number: int,
        operation: Operation,
        loaded: list[tuple[int, Station]],
        gather: Gather,
    ) -> list[tuple[str, str]]:
        """Return names of the loaded stations where an operation is cut, each with its part."""
        parts, key = self.cell.parts, f"operations[{number + 1}]"
        every = {station.name or str(n) for n, station in enumerate(self.cell.stations, start=1)}
        for wanted in operation.stations:
            gather.need(
                wanted if wanted in every else None,
                f"{key}.stations",
                f"station {wanted!r} among the stations",
                why="the operation is to be cut there",
                how=f"name one of: {', '.join(sorted(every))}",
            )
        wanted_part = operation.part or (parts[0].name if len(parts) == 1 else None)
        if len(parts) > 1:
            gather.need(
                wanted_part,
                f"{key}.part",
                f'part that "{called(operation, number)}" is cut on',
                why="it is cut at every station that holds it",
                how="name one of: " + ", ".join(str(part.name) for part in parts),
            )
        found = []
        for n, station in loaded:
            name = station.name or str(n)
            part = station.part or (parts[0].name if len(parts) == 1 else None)
            if operation.stations and name not in operation.stations:
                continue
            if parts and part != wanted_part:
                continue
            if operation.face is not None and station.faces and operation.face not in station.faces:
                continue
            found.append((name, part or ""))
        return found

    def _ways_to_do(
        self,
        number: int,
        operation: Operation,
        station: str,
        part: str,
        at: dict[tuple[str, str], ZeroFound],
        gather: Gather,
    ) -> tuple[tuple[Way, ...], tuple[Way, ...], str]:
        """Return the ways to do it, those that would do but are not allowed, and why there is none.

        The reason is empty where something is missing instead (it is then in `gather`).
        """
        key = f"operations[{number + 1}]"
        if operation.face is None:
            assert operation.pose is not None
            angles = tuple(angle.value for angle in operation.pose)[0 if self.has_tilt else 1 :]
            beyond = self._beyond(angles, 0.0 if self.has_tilt else operation.pose[0].value)
            if beyond:
                return (), (), f"its pose is beyond the range of the {' and '.join(beyond)}"
            return (Way("", _clean(angles), None, None, OWN),), (), ""
        faces = [operation.face, *(f for f in operation.other_poses if f != operation.face)]
        ways: list[Way] = []
        spare: list[Way] = []
        why = ""
        for face in faces:
            zero = at.get((station, face))
            if zero is None:
                known = sorted({name for place, name in at if place == station})
                other = face != operation.face
                gather.need(
                    None,
                    f"{key}.{'other_poses' if other else 'face'}",
                    f"face {face!r} among the faces of {part or 'the part'} at station {station}",
                    why="the pose follows from the face",
                    how="name one of: " + (", ".join(known) or "the faces of the part"),
                )
                continue
            own = face == operation.face
            if zero.angles_rad is None:
                short = zero.facing.shortfall_rad if zero.facing else 0.0
                why = why or _no_pose(zero, short)
            elif zero.beyond:
                why = why or f"its pose is beyond the range of the {' and '.join(zero.beyond)}"
            else:
                kind = OWN if own else OTHER_FACE
                ways.append(Way(face, _clean(zero.angles_rad), zero.word, zero.point_mm, kind))
            if own:
                seconds = list(self._second_poses(zero))
                (ways if face in operation.other_poses else spare).extend(seconds)
        return tuple(ways), tuple(spare), "" if ways else why

    def _second_poses(self, zero: ZeroFound) -> Iterator[Way]:
        """Yield the other poses within range that bring the same face up, their zeros moved."""
        if zero.facing is None or zero.angles_rad is None or zero.point_mm is None:
            return
        chain = self.axis_lines.chain
        back = np.linalg.inv(chain.matrices(zero.angles_rad))
        local = (back @ np.array([*zero.point_mm, 1.0]))[:3]
        for pose in zero.facing.poses:
            if same_pose(pose.angles_rad, zero.angles_rad) or any(pose.free):
                continue
            at = chain.points(pose.angles_rad, local)
            if self._outside(at):
                continue
            x, y, z = at.tolist()
            yield Way(zero.face, _clean(pose.angles_rad), None, (x, y, z), SECOND)

    def _what_first(
        self, jobs: list[Job], gather: Gather
    ) -> tuple[tuple[tuple[int, int, str], ...], list[str]]:
        """Return which job comes before which, and what was taken for granted."""
        operations = self.cell.operations
        names = {called(operation, number) for number, operation in enumerate(operations)}
        done_at = {(job.operation, job.station) for job in jobs}
        found: dict[tuple[int, int], str] = {}
        told: list[str] = []
        for j, job in enumerate(jobs):
            own = operations[job.number]
            for first in own.after:
                gather.need(
                    first if first in names else None,
                    f"operations[{job.number + 1}].after",
                    f"operation {first!r} among the operations",
                    why=f'"{job.operation}" is to come after it',
                    how=f"name one of: {', '.join(sorted(names))}",
                )
                if first in names and (first, job.station) not in done_at:
                    told.append(
                        f'"{job.operation}" comes after "{first}", which is not cut at the same '
                        "station: it is taken as done in an earlier load."
                    )
            for i, other in enumerate(jobs):
                if other.station != job.station or i == j:
                    continue
                theirs = operations[other.number]
                if other.operation in own.after:
                    found.setdefault((i, j), "after")
                elif theirs.stage == "datum" and own.stage != "datum":
                    found.setdefault((i, j), "datum")
                elif theirs.stage == "rough" and own.stage == "finish" and _same_face(other, job):
                    found.setdefault((i, j), "rough")
            if job.operation in own.after:
                found.setdefault((j, j), "after")
        return tuple((i, j, why) for (i, j), why in found.items()), list(dict.fromkeys(told))


def called(operation: Operation, number: int) -> str:
    """Return the name of an operation, or its place in the file."""
    return operation.name or f"operation {number + 1}"


def same_pose(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Return whether two programmed poses are one, whole turns told apart."""
    return all(abs(a - b) < SAME_RAD for a, b in zip(one, other, strict=True))


def _same_face(one: Job, other: Job) -> bool:
    if one.face or other.face:
        return one.face == other.face
    return same_pose(one.ways[0].angles_rad, other.ways[0].angles_rad)


def _ring(jobs: list[Job], before: tuple[tuple[int, int, str], ...]) -> tuple[str, ...]:
    """Return jobs that wait for each other in a circle; none if there is no such circle."""
    after: dict[int, set[int]] = {}
    for first, then, _ in before:
        after.setdefault(then, set()).add(first)
    try:
        TopologicalSorter(after).prepare()
    except CycleError as circle:
        return tuple(jobs[k].label for k in circle.args[1][:-1])
    return ()


def _clean(angles: tuple[float, ...]) -> tuple[float, ...]:
    """Return angles without the dust of rounding, so that equal poses are equal."""
    return tuple(round(angle, 12) + 0.0 for angle in angles)


def _no_pose(zero: ZeroFound, shortfall_rad: float) -> str:
    outside = zero.facing is not None and bool(zero.facing.outside)
    if outside:
        return "every pose that brings the face up is beyond a limit of the unit"
    return f"no pose brings the face up; {math.degrees(shortfall_rad):.1f} deg are missing at best"
