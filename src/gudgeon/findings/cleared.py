"""Whether a program is free of collision: every motion judged by proofs, every change, both ends.

A motion counts as clear only where the engine proves the clearance asked; what is not known (a
position, a tool, a word) is told as not judged, never as clear.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.cleared_found import Cleared, Found, Judged
from gudgeon.findings.cleared_hoses import ties
from gudgeon.findings.cleared_judge import Judge
from gudgeon.findings.control import ControlFindings, offset_name
from gudgeon.findings.gather import Lacking
from gudgeon.findings.hoses import HoseFindings
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.proofs import CONTACT_MM, USUAL_CLEARANCE_MM
from gudgeon.program.dialect import AXES
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Kind, Track

__all__ = ["Cleared", "ClearedFindings", "Found", "Judged"]

Floats = NDArray[np.float64]


class ClearedFindings(HoseFindings, ControlFindings):
    """Programs judged against the bodies of the cell."""

    def cleared(self, program: ProgramText) -> Cleared:
        """Judge a program.

        Raises
        ------
        Lacking
            What the bodies of the cell lack.
        """
        scene = self.scene
        control = self.control_for(program.text)
        called: dict[int, bytes] = {}

        def fetched(number: int) -> bytes | None:
            if number not in called and program.called is not None:
                text = program.called(number)
                if text is not None:
                    called[number] = text
            return called.get(number)

        track = read(program.text, control.dialect, called=fetched, progress=program.reading)
        asked = self.clearance_mm(program)
        done = Cleared(
            program=program,
            control=control,
            track=track,
            scene=scene,
            need_mm=max(USUAL_CLEARANCE_MM if asked is None else asked, CONTACT_MM),
            need_given=asked is not None,
            called=called,
        )
        judge = Judge(self, done, control.dialect, track)
        judge.stations, judge.limits = self.stations_by_offset(), self.joint_limits
        judge.whole()
        done.missing += judge.missing
        if not done.cancelled and track.ended in (
            Ended.BY_WORD,
            Ended.AT_PERCENT,
            Ended.TEXT_OUT,
            Ended.REPEATS,
        ):
            self._next_run(done, judge, fetched)
        if not done.cancelled:
            done.ties = ties(self, judge.reached)
        return done

    def clearance_mm(self, program: ProgramText) -> float | None:
        """Return the clearance asked of a program; ``None`` where nobody stated one."""
        if program.clearance_mm is not None:
            return program.clearance_mm
        own = self.cell.shop.clearance
        return None if own is None else own.value

    @property
    def joint_limits(self) -> tuple[Floats, Floats]:
        """Lowest and highest joint position allowed, shape (5,) each; NaN where not given."""
        machine, unit = self.cell.machine, self.cell.unit
        tilt = unit.tilt_range if self.has_tilt else None
        low, high = np.full(AXES, np.nan), np.full(AXES, np.nan)
        for axis, ends in enumerate(
            (machine.travel_x, machine.travel_y, machine.travel_z, tilt, unit.rotary_range)
        ):
            if ends is not None:
                low[axis], high[axis] = ends[0].value, ends[1].value
        return low, high

    def stations_by_offset(self) -> dict[str, str]:
        """Return the station cut under each work offset, where there is only one."""
        try:
            zeros = self.offsets.zeros
        except Lacking:
            return {}
        found: dict[str, str] = {}
        for zero in zeros:
            if zero.word is not None:
                name = offset_name(zero.word)
                found[name] = zero.station if found.get(name, zero.station) == zero.station else ""
        return {name: station for name, station in found.items() if station}

    def _next_run(
        self, done: Cleared, judge: Judge, fetched: Callable[[int], bytes | None]
    ) -> None:
        """Judge what the program does when it is started from the pose in which it ends."""
        track = done.track
        if not len(track.segments) or done.stop_row >= 0:
            return
        end = np.asarray(track.segments["end"][-1])
        tool = judge.tool_of(len(track.segments) - 1)
        if np.isnan(end).any():
            return
        last = len(track.segments) - 1
        same = np.allclose(end, np.asarray(track.start), atol=1e-9, equal_nan=False)
        if same and tool == done.control.dialect.tool_at_start:
            return
        if len(done.program.text) > 20_000_000:
            done.missing.append(
                Missing(
                    "the next run from the end pose",
                    done.program.name,
                    "so long a program is not read twice",
                    "end the program in the pose in which it starts",
                )
            )
            return
        dialect = replace(
            done.control.dialect,
            start=tuple(float(v) for v in end),
            tool_at_start=tool,
        )
        again = read(done.program.text, dialect, called=fetched)
        second = replace(done, track=again, rows={}, missing=[], next_run=(), hung={})
        other = Judge(self, second, dialect, again, provers=judge.provers)
        other.stations, other.limits = judge.stations, judge.limits
        other.depths = False
        differs = _differing(track, again)
        other.whole(only=differs, keep=False)
        done.next_track = again
        known: dict[tuple[int, int], int] = {}
        for row, found in done.rows.items():
            place = _place(track, row)
            known[place] = max(known.get(place, 0), found.judged.rank)
        bad = [
            (row, found)
            for row, found in sorted(second.rows.items())
            if found.judged.rank > Judged.NOT_JUDGED.rank
            and found.judged is not Judged.LIMIT
            # What is wrong in any run is told once.
            and known.get(_place(again, row), 0) < found.judged.rank
        ]
        done.next_run = tuple(bad)
        told = {_place(track, row) for row in done.hung}
        hung = [row for row in sorted(second.hung) if _place(again, row) not in told]
        for name, reached in other.reached.items():
            judge.reached.setdefault(name, []).extend(reached)
        if hung:
            line = int(again.segments[hung[0]]["line"])
            done.hung.setdefault(
                last,
                replace(
                    second.hung[hung[0]],
                    note=f"the next run starts here, and line {line} reaches it",
                ),
            )
            judge.note_hung()
        if bad:
            row, worst = next(
                ((r, f) for r, f in bad if again.segments[r]["kind"] == Kind.TOOL_CHANGE), bad[0]
            )
            line = int(again.segments[row]["line"])
            what = "tool change" if again.segments[row]["kind"] == Kind.TOOL_CHANGE else "move"
            done.note(
                last,
                replace(
                    worst,
                    judged=Judged.UNSAFE_END,
                    joint=tuple(float(v) for v in end) if not worst.joint else worst.joint,
                    note=f"the next run starts here: its {what} in line {line}: "
                    f"{worst.judged.value}",
                ),
            )


def _place(track: Track, row: int) -> tuple[int, int]:
    return int(track.segments[row]["source"]), int(track.segments[row]["line"])


def _differing(one: Track, other: Track) -> NDArray[np.bool_]:
    """Tell which rows of the second reading start, end or cut with something else."""
    count = len(other.segments)
    differs = np.ones(count, dtype=bool)
    shared = min(count, len(one.segments))
    if not shared:
        return differs
    a, b = one.segments[:shared], other.segments[:shared]
    if not np.array_equal(a["line"], b["line"]):
        return differs
    ends = ~np.isclose(a["end"], b["end"], atol=1e-9, rtol=0.0, equal_nan=True).all(axis=1)
    tools_a = _tools(one, a["force"])
    tools_b = _tools(other, b["force"])
    other_tool = tools_a != tools_b
    starts = np.concatenate(([True], ends[:-1]))
    before = np.concatenate(([True], other_tool[:-1]))
    differs[:shared] = ends | starts | other_tool | before
    return differs


def _tools(track: Track, force: NDArray[np.int32]) -> NDArray[np.int64]:
    tools = np.array([-1 if f.tool is None else f.tool for f in track.in_force] or [-1])
    return tools[np.clip(force, 0, len(tools) - 1)]
