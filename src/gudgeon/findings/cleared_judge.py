"""Goes through one track: motions, ends of travel, tool changes, the pose at the start."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.cleared_change import ChangeFound, change_judged
from gudgeon.findings.cleared_fed import profile_of
from gudgeon.findings.cleared_found import Found, Judged
from gudgeon.findings.cleared_hoses import HoseJudge
from gudgeon.findings.cleared_kept import Kept, key_of
from gudgeon.findings.cleared_motion import Motions, motions_of
from gudgeon.program.doubts import Grade
from gudgeon.program.summary import MOVES, row_reach
from gudgeon.program.track import Kind, Track

__all__ = ["Judge"]

Floats = NDArray[np.float64]

_LIMIT_SLACK: Final = 1e-6


class Judge(HoseJudge):
    """Judges every row of one track."""

    def tool_of(self, row: int) -> int | None:
        """Return the tool in the spindle in a row."""
        if row < 0 or not self.track.in_force:
            return self.dialect.tool_at_start
        index = int(self.track.segments[row]["force"])
        return self.track.in_force[index].tool

    def whole(self, only: NDArray[np.bool_] | None = None, *, keep: bool = True) -> None:
        """Judge every row, or those marked."""
        done, track = self.done, self.track
        profiles = {
            n: profile_of(self.tool_bodies(n))
            for n in {-1 if f.tool is None else f.tool for f in track.in_force}
            if n >= 0
        }
        self.profiles = profiles
        motions = motions_of(track, self.dialect, self.stations, profiles)
        done.stop_row = first_doubtful(track)
        done.motions = len(motions)
        done.any_station = motions.any_station
        chosen = np.ones(len(motions), dtype=bool) if only is None else only[motions.row]
        chosen &= self._may_be_judged(motions, chosen)
        kept: Kept | None = None
        if keep and done.program.keep is not None:
            tools = {t: self.tool_bodies(t) for t in set(motions.tool)}
            key = key_of(motions, done.scene.scene, tools, done.need_mm, self.rapids, chosen)
            kept = Kept(done.program.keep, key, len(motions))
            done.kept = kept.count_of(np.flatnonzero(chosen))
            done.kept_whole = done.kept == int(chosen.sum()) > 0
        try:
            self.prove(motions, chosen, kept)
            if not done.cancelled:
                self.prove_hoses(motions, chosen)
        except KeyboardInterrupt:
            done.cancelled = True
        if kept is not None:
            kept.save()
        self._limits(only)
        self._changes(only)
        self._start_pose(motions)
        self.note_hung()
        marked = done.judged[done.judged >= 0]
        if only is None and not done.cancelled and len(marked):
            self.smallest(motions, chosen, kept)

    def _may_be_judged(self, motions: Motions, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Mark rows that cannot be judged, and return the motions that can."""
        done = self.done
        unknown = np.isnan(motions.start).any(axis=1) | np.isnan(motions.end).any(axis=1)
        no_tool = np.array([self.tool_bodies(t) is None for t in motions.tool], dtype=bool)
        toolless = no_tool[motions.force] if len(motions) else np.empty(0, dtype=bool)
        doubtful = (
            motions.row >= done.stop_row if done.stop_row >= 0 else np.zeros(len(motions), bool)
        )
        still = (np.abs(motions.end - motions.start) <= 0.0).all(axis=1) if len(motions) else None
        if still is not None:
            chosen = chosen & ~still
        for mask, note in (
            (doubtful, "what the control does is not known from here on"),
            (unknown, "where the axes stand is not known"),
            (toolless, "the tool is not known"),
        ):
            for i in np.flatnonzero(mask & chosen).tolist():
                tool = motions.tool[int(motions.force[i])]
                words = f"T{tool} is not in the list" if mask is toolless and tool else note
                done.note(int(motions.row[i]), Found(Judged.NOT_JUDGED, note=words))
        return chosen & ~(unknown | toolless | doubtful)

    def _limits(self, only: NDArray[np.bool_] | None) -> None:
        track, done = self.track, self.done
        low_end, high_end = self.limits
        if not len(track.segments):
            return
        start = np.concatenate(
            (np.asarray(track.start, dtype=np.float64)[None, :], track.segments["end"][:-1])
        )
        low, high, _ = row_reach(track, track.segments, start)
        moving = np.isin(track.segments["kind"], [int(k) for k in MOVES])
        # Only a row that goes there is told, not those that leave it again.
        with np.errstate(invalid="ignore"):
            over = np.maximum(high - high_end, low_end - low)
            start_over = np.maximum(start - high_end, low_end - start)
            out = (over > _LIMIT_SLACK) & ~(start_over >= over - _LIMIT_SLACK)
        for row in np.flatnonzero(moving & out.any(axis=1)).tolist():
            if only is not None and not only[row]:
                continue
            if 0 <= done.stop_row <= row:
                continue
            axis = int(np.argmax(out[row]))
            upper = high[row, axis] - high_end[axis] > _LIMIT_SLACK
            at = float(high[row, axis] if upper else low[row, axis])
            known = done.rows.get(row, Found(Judged.CLEAR))
            worse = known.judged.rank < Judged.LIMIT.rank
            done.rows[row] = replace(
                known, judged=Judged.LIMIT if worse else known.judged, limit=(axis, at)
            )
            done.judged[row] = max(done.judged[row], Judged.LIMIT.rank)

    def _changes(self, only: NDArray[np.bool_] | None) -> None:
        for row in np.flatnonzero(self.track.segments["kind"] == Kind.TOOL_CHANGE).tolist():
            if (only is not None and not only[row]) or 0 <= self.done.stop_row <= row:
                continue
            tools = [self.tool_of(row - 1), self.tool_of(row)]
            joint = np.asarray(self.track.segments[row]["end"], dtype=np.float64)
            self._change(row, joint, tools)

    def _change(self, row: int, joint: Floats, tools: list[int | None]) -> None:
        worst: ChangeFound | None = None
        for tool in dict.fromkeys(tools):
            if tool is None:
                # Nothing is told of an empty spindle; an unknown one is not judged.
                continue
            bodies = self.tool_bodies(tool)
            if bodies is None:
                self.done.note(row, Found(Judged.NOT_JUDGED, note=f"T{tool} is not in the list"))
                continue
            self.change_under_hoses(row, tool, bodies, joint)
            found = change_judged(
                self.solid,
                bodies,
                self.findings.cell.machine.changer,
                joint,
                self.done.need_mm,
                self.findings.cell.file,
            )
            if worst is None or found.worse_than(worst):
                worst = found
        if worst is None:
            if tools[0] is None and tools[1] is None:
                self.done.note(row, Found(Judged.NOT_JUDGED, note="the tool is not known"))
            return
        self.missing += [m for m in worst.missing if m not in self.missing]
        self.done.note(
            row,
            Found(
                Judged(worst.judged),
                worst.margin_mm,
                True,
                worst.pair,
                tuple(float(v) for v in joint),
                worst.points,
                worst.note,
            ),
        )

    def _start_pose(self, motions: Motions) -> None:
        """Judge the pose in which the program starts."""
        start = np.asarray(self.track.start, dtype=np.float64)
        prover = self.prover(self.dialect.tool_at_start)
        if np.isnan(start).any() or prover is None or not len(motions):
            return
        self.start_under_hoses(int(motions.row[0]), start)
        gap = prover.motion(start, start, self.done.need_mm)
        found = self.from_gap(gap, exact=False)
        if found.judged is Judged.CRASH:
            depth, pair = prover.overlap_mm(start)
            if depth > 0.0:
                found = replace(found, margin_mm=-depth, pair=pair, exact=True)
        if found.judged.rank >= Judged.DANGER.rank:
            row = int(motions.row[0])
            self.done.rows[row] = replace(
                found, judged=Judged.UNSAFE_START, note="where the program starts"
            )
            self.done.judged[row] = Judged.UNSAFE_START.rank


def first_doubtful(track: Track) -> int:
    """Return the first row that hangs on a doubt; -1 if there is none.

    Reading that stopped leaves no rows behind its stop; a doubt that let it go on marks its row.
    """
    grave = np.array([d.grade is not Grade.NOTE for d in track.doubts] or [False])
    which = track.segments["doubt"]
    marked = np.flatnonzero((which >= 0) & grave[np.clip(which, 0, len(grave) - 1)])
    return int(marked[0]) if len(marked) else -1
