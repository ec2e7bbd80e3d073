"""Whether a program is free of collision: every motion judged by proofs, every change, both ends.

A motion counts as clear only where the engine proves the clearance asked; what is not known (a
position, a tool, a word) is told as not judged, never as clear.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.cleared_change import ChangeFound, change_judged
from gudgeon.findings.cleared_kept import Kept, key_of
from gudgeon.findings.cleared_motion import Motions, motions_of
from gudgeon.findings.control import ControlFinding, ControlFindings, offset_name
from gudgeon.findings.gather import Lacking
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.scene import SceneFinding, SceneFindings
from gudgeon.program.dialect import AXES, Dialect
from gudgeon.program.doubts import Grade
from gudgeon.program.reader import read
from gudgeon.program.summary import MOVES, row_reach
from gudgeon.program.track import Ended, Kind, Track

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap, Prover
    from gudgeon.clearance.scene import Body

__all__ = ["USUAL_CLEARANCE_MM", "Cleared", "ClearedFindings", "Found", "Judged"]

Floats = NDArray[np.float64]

USUAL_CLEARANCE_MM: Final = 1.0
"""Clearance asked where the cell states none (common practice, no source)."""

EXACT_MOST: Final = 400
"""Up to so many motions each gets its own smallest gap; in a longer program the tightest do."""

TIGHTEST_MOST: Final = 60
SLICE: Final = 20_000
"""Motions proven between two looks at the progress."""

OVERLAPS_MOST: Final = 8
"""Crashes whose depth is worked out: it is for the eye, and slow."""

TOUCHES_LOOKED: Final = 201
DEPTHS_LOOKED: Final = 9
_LIMIT_SLACK: Final = 1e-6


class Judged(StrEnum):
    """How a row was judged, the worst last."""

    CLEAR = "clear"
    ONLY_STRAIGHT = "clear if rapids are straight"
    ONLY_AS_WRITTEN = "clear one way round only"
    NOT_JUDGED = "not judged"
    UNDECIDED = "cannot tell"
    DANGER = "danger"
    LIMIT = "travel limit"
    UNSAFE_START = "unsafe start pose"
    UNSAFE_END = "unsafe end pose"
    CRASH = "crash"

    @property
    def rank(self) -> int:
        """The worse, the larger."""
        return _RANKS[self]


_RANKS: Final = {judged: rank for rank, judged in enumerate(Judged)}


@dataclass(frozen=True, slots=True)
class Found:
    """What was found about a row.

    Attributes
    ----------
    judged : Judged
    margin_mm : float
        Smallest gap where `exact`, else a bound: it is no smaller.  Negative: how deep it overlaps.
        NaN where nothing is known.
    exact : bool
    pair : tuple of two names
        Empty where nothing came near.
    joint : tuple of 5 floats
        Where it is tightest; empty where not known.
    points : tuple of two points
        Nearest points there, T [mm]; empty where not known.
    note : str
    limit : tuple of axis and position, or None
        The axis that leaves its travel, and where it would stand [mm or rad].
    without_flutes_mm : float
        Of a feed move: smallest gap of all but the flutes, which may be in the stock.
    """

    judged: Judged
    margin_mm: float = float("nan")
    exact: bool = False
    pair: tuple[str, ...] = ()
    joint: tuple[float, ...] = ()
    points: tuple[tuple[float, float, float], ...] = ()
    note: str = ""
    limit: tuple[int, float] | None = None
    without_flutes_mm: float = float("nan")


@dataclass(slots=True)
class Cleared:
    """A program judged.

    Attributes
    ----------
    program : ProgramText
    control : ControlFinding
    track : Track
    scene : SceneFinding
    need_mm : float
        Clearance asked.
    need_given : bool
    rows : dict of row to Found
        Every row that is not clear, and of the others those whose gap is known.
    judged : ndarray, shape (rows,)
        Rank of each row; -1 where nothing moves.
    motions : int
    proven : int
        Motions proven clear.
    smallest_mm : float
        No clear motion has a smaller gap than this; NaN where none is proven.
    smallest_row : int
    cancelled : bool
    kept : bool
        The proof was found on disk, whole.
    tools_missing : dict of tool to missing entries
    any_station : bool
    next_run : tuple of (row, Found)
        What the next run does from the end pose of this one, where it is not clear.
    stop_row : int
        First row that hangs on a doubt; -1 for none.
    missing : tuple of Missing
    called : dict of number to text
    """

    program: ProgramText
    control: ControlFinding
    track: Track
    scene: SceneFinding
    need_mm: float
    need_given: bool
    rows: dict[int, Found] = field(default_factory=dict)
    judged: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    motions: int = 0
    proven: int = 0
    smallest_mm: float = float("nan")
    smallest_row: int = -1
    cancelled: bool = False
    kept: bool = False
    tools_missing: dict[int, tuple[Missing, ...]] = field(default_factory=dict)
    any_station: bool = False
    next_run: tuple[tuple[int, Found], ...] = ()
    next_track: Track | None = None
    stop_row: int = -1
    missing: list[Missing] = field(default_factory=list)
    called: dict[int, bytes] = field(default_factory=dict)

    def note(self, row: int, found: Found) -> None:
        """Keep what was found about a row: the worse, then the tighter."""
        known = self.rows.get(row)
        if known is not None:
            worse = found.judged.rank - known.judged.rank
            # Not a number counts as nothing known.
            if worse < 0 or (worse == 0 and not found.margin_mm < _or_inf(known.margin_mm)):
                return
        self.rows[row] = found
        self.judged[row] = max(self.judged[row], found.judged.rank)


def _or_inf(value: float) -> float:
    return float("inf") if value != value else value


class ClearedFindings(SceneFindings, ControlFindings):
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
            need_mm=USUAL_CLEARANCE_MM if asked is None else asked,
            need_given=asked is not None,
            called=called,
        )
        judge = _Judge(self, done, control.dialect, track)
        judge.whole()
        done.missing += judge.missing
        if not done.cancelled and track.ended in (
            Ended.BY_WORD,
            Ended.AT_PERCENT,
            Ended.TEXT_OUT,
            Ended.REPEATS,
        ):
            self._next_run(done, judge, fetched)
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

    def _next_run(self, done: Cleared, judge: _Judge, fetched: object) -> None:
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
        again = read(done.program.text, dialect, called=fetched)  # type: ignore[arg-type]
        second = replace(done, track=again, rows={}, missing=[], next_run=())
        other = _Judge(self, second, dialect, again, provers=judge.provers)
        other.depths = False
        differs = _differing(track, again)
        other.whole(only=differs, keep=False)
        done.next_track = again
        bad = [
            (row, found)
            for row, found in sorted(second.rows.items())
            if found.judged.rank > Judged.NOT_JUDGED.rank
            and found.judged is not Judged.LIMIT
            # What is wrong in any run is told once.
            and done.rows.get(row, Found(Judged.CLEAR)).judged.rank < found.judged.rank
        ]
        done.next_run = tuple(bad)
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


class _Judge:
    """Goes through one track."""

    def __init__(
        self,
        findings: ClearedFindings,
        done: Cleared,
        dialect: Dialect,
        track: Track,
        provers: dict[int | None, Prover | None] | None = None,
    ) -> None:
        self.findings, self.done, self.dialect, self.track = findings, done, dialect, track
        self.provers: dict[int | None, Prover | None] = {} if provers is None else provers
        self.bodies: dict[int | None, tuple[Body, ...] | None] = {}
        self.missing: list[Missing] = []
        self.depths = True
        self.parts: dict[tuple[int | None, bool, bool], Prover] = {}
        done.judged = np.full(len(track.segments), -1, dtype=np.int64)

    # --- the tool -------------------------------------------------------------------------------

    def tool_of(self, row: int) -> int | None:
        """Return the tool in the spindle in a row."""
        if row < 0 or not self.track.in_force:
            return self.dialect.tool_at_start
        index = int(self.track.segments[row]["force"])
        return self.track.in_force[index].tool

    def tool_bodies(self, number: int | None) -> tuple[Body, ...] | None:
        """Return what hangs in the spindle; ``None`` where it is not known."""
        if number not in self.bodies:
            try:
                self.bodies[number] = None if number is None else self.findings.tool_bodies(number)
            except Lacking as lacking:
                self.bodies[number] = None
                if number is not None:
                    self.done.tools_missing[number] = lacking.missing
        return self.bodies[number]

    def prover(self, number: int | None) -> Prover | None:
        """Return the prover with a tool in the spindle."""
        if number not in self.provers:
            bodies = self.tool_bodies(number)
            if bodies is None:
                self.provers[number] = None
            else:
                from gudgeon.clearance.prove import Prover

                self.provers[number] = Prover(self.done.scene.scene, bodies)
        return self.provers[number]

    # --- the whole ------------------------------------------------------------------------------

    def whole(self, only: NDArray[np.bool_] | None = None, *, keep: bool = True) -> None:
        """Judge every row, or those marked."""
        done, track = self.done, self.track
        wide = {
            n: _wide_above(self.tool_bodies(n))
            for n in {-1 if f.tool is None else f.tool for f in track.in_force}
            if n >= 0
        }
        motions = motions_of(track, self.dialect, self.findings.stations_by_offset(), wide)
        done.stop_row = first_doubtful(track)
        done.motions = len(motions)
        done.any_station = motions.any_station
        chosen = np.ones(len(motions), dtype=bool) if only is None else only[motions.row]
        chosen &= self._may_be_judged(motions, chosen)
        kept: Kept | None = None
        if keep and done.program.keep is not None:
            tools = {t: self.tool_bodies(t) for t in set(motions.tool)}
            key = key_of(motions, done.scene.scene, tools, done.need_mm, self._rapids)
            kept = Kept(done.program.keep, key)
            done.kept = kept.found_any
        try:
            self._prove(motions, chosen, kept)
        except KeyboardInterrupt:
            done.cancelled = True
        if kept is not None:
            kept.save()
        self._limits(only)
        self._changes(only)
        self._start_pose(motions)
        marked = done.judged[done.judged >= 0]
        if only is None and not done.cancelled and len(marked):
            self._smallest(motions, chosen, kept)

    @property
    def _rapids(self) -> str | None:
        return self.findings.cell.control.rapids

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

    # --- motions --------------------------------------------------------------------------------

    def _prove(self, motions: Motions, chosen: NDArray[np.bool_], kept: Kept | None) -> None:
        done = self.done
        total = int(chosen.sum())
        exact = total <= EXACT_MOST
        indices = np.flatnonzero(chosen)
        gone = 0
        for group in _groups(motions, indices):
            prover = self.prover(motions.tool[int(motions.force[group[0]])])
            assert prover is not None
            ready = kept is not None and kept.has(group)
            single = group
            if not exact and not ready and self._rapids != "each axis alone":
                single = self._in_chunks(prover, motions, group, kept)
            elif not exact and ready:
                assert kept is not None
                single = kept.open_ones(group)
                self._mark_clear(motions, np.setdiff1d(group, single))
            for i in single.tolist():
                self._single(prover, motions, i, exact=exact, kept=kept)
            self._boxed(prover, motions, group, exact=exact)
            gone += len(group)
            told = done.program.proving
            if told is not None and not told(gone / max(total, 1)):
                done.cancelled = True
                return

    def _in_chunks(
        self, prover: Prover, motions: Motions, group: NDArray[np.int64], kept: Kept | None
    ) -> NDArray[np.int64]:
        """Prove a chain together; return the motions that are left."""
        if bool(motions.other_way[group[0]]):
            return group
        need = self.done.need_mm + motions.bulge_mm[group]
        stations: list[str | None] = [*motions.stations, None]
        cutting = [stations[int(c)] for c in motions.cutting[group]]
        path = prover.path(motions.start[group[0]], motions.end[group], need, cutting=cutting)
        proven = np.zeros(len(group), dtype=bool)
        proven[: path.done] = path.status[: path.done] == 0
        self._mark_clear(motions, group[proven])
        if kept is not None:
            kept.proven(group[proven])
        return group[~proven]

    def _mark_clear(self, motions: Motions, which: NDArray[np.int64]) -> None:
        done = self.done
        rows = motions.row[which]
        done.judged[rows] = np.maximum(done.judged[rows], Judged.CLEAR.rank)
        done.proven += len(which)

    def _single(
        self, prover: Prover, motions: Motions, i: int, *, exact: bool, kept: Kept | None
    ) -> None:
        done, bulge = self.done, float(motions.bulge_mm[i])
        row = int(motions.row[i])
        if motions.boxed[i] and self._rapids == "each axis alone":
            return  # judged as a box
        found = kept.found(i) if kept is not None else None
        if found is None:
            gap = prover.motion(
                motions.start[i],
                motions.end[i],
                done.need_mm,
                cutting=motions.station(i),
                exact=exact,
                bulge_mm=bulge,
            )
            found = self._from_gap(gap, exact=exact)
            if found.judged is Judged.CRASH:
                found = self._with_overlap(prover, motions, i, found)
            if exact and found.judged is Judged.CLEAR:
                found = self._of_what_moves(motions, i, found)
            if kept is not None:
                kept.keep(i, found)
        if motions.other_way[i] and found.judged is not Judged.CLEAR:
            found = replace(
                found, judged=Judged.ONLY_AS_WRITTEN, note=f"the other way: {found.judged.value}"
            )
        if found.judged is Judged.CLEAR:
            done.proven += 1
        done.note(row, found)

    def _from_gap(self, gap: Gap, *, exact: bool) -> Found:
        from gudgeon.clearance.prove import Status

        known = np.isfinite(gap.upper_mm)
        near = {
            "pair": tuple(gap.pair) if known else (),
            "joint": tuple(float(v) for v in gap.joint) if known else (),
            "points": tuple(gap.points) if known else (),
        }
        if gap.status == Status.PROVEN:
            if exact and known:
                return Found(Judged.CLEAR, gap.upper_mm, True, **near)  # type: ignore[arg-type]
            return Found(Judged.CLEAR, max(gap.lower_mm, self.done.need_mm), False, **near)  # type: ignore[arg-type]
        if gap.status == Status.CLOSER:
            judged = Judged.CRASH if gap.upper_mm <= 0.0 else Judged.DANGER
            return Found(judged, max(gap.upper_mm, 0.0), exact, **near)  # type: ignore[arg-type]
        return Found(
            Judged.UNDECIDED,
            gap.lower_mm if np.isfinite(gap.lower_mm) else float("nan"),
            False,
            note="too close to the clearance asked to decide",
            **near,  # type: ignore[arg-type]
        )

    def _of_what_moves(self, motions: Motions, i: int, found: Found) -> Found:
        """Return the gap of bodies that this motion moves to each other; the others stay clear."""
        tool = motions.tool[int(motions.force[i])]
        station = motions.station(i)
        turns = bool((motions.start[i, 3:] != motions.end[i, 3:]).any())
        by_name = {body.name: body for body in self.done.scene.scene.bodies}
        if not turns and found.pair and all(name in by_name for name in found.pair):
            gap = self._gap_of(motions, i, (tool, True, False), station)
            other = self._from_gap(gap, exact=True)
            found = other if other.judged is Judged.CLEAR else found
        if station is not None:
            gap = self._gap_of(motions, i, (tool, not turns, True), None)
            found = replace(found, without_flutes_mm=float(gap.upper_mm))
        return found

    def _gap_of(
        self, motions: Motions, i: int, which: tuple[int | None, bool, bool], station: str | None
    ) -> Gap:
        """Return the gap with some bodies left out: (tool, what stands still, the flutes)."""
        tool, still, no_flutes = which
        if which not in self.parts:
            from gudgeon.clearance.prove import Prover
            from gudgeon.clearance.scene import Carrier

            scene = self.done.scene.scene
            if still:
                work = [
                    body.name
                    for body in scene.bodies
                    if body.carrier in (Carrier.TABLE, Carrier.TILT, Carrier.ROTARY)
                ]
                pairs = {frozenset((a, b)) for a in work for b in work if a != b}
                scene = replace(scene, apart=scene.apart | pairs)
            bodies = [
                body
                for body in self.tool_bodies(tool) or ()
                if not (no_flutes and body.role == "cutter")
            ]
            self.parts[which] = Prover(scene, bodies)
        return self.parts[which].motion(
            motions.start[i],
            motions.end[i],
            self.done.need_mm,
            cutting=station,
            exact=True,
            bulge_mm=float(motions.bulge_mm[i]),
        )

    def _with_overlap(self, prover: Prover, motions: Motions, i: int, found: Found) -> Found:
        """Return a crash with how deep it goes at worst; contact alone is a danger."""
        crashes = sum(f.judged is Judged.CRASH for f in self.done.rows.values())
        if self.depths is False or crashes >= OVERLAPS_MOST:
            return replace(found, margin_mm=float("nan"), exact=False)
        station = motions.station(i)
        if station is not None:
            tool = self.tool_bodies(motions.tool[int(motions.force[i])]) or ()
            if any(body.role == "cutter" and body.name in found.pair for body in tool):
                return found
            from gudgeon.clearance.prove import Prover

            prover = Prover(self.done.scene.scene, [body for body in tool if body.role != "cutter"])
        depth, joint, pair = worst_overlap(prover, motions.start[i], motions.end[i], found.joint)
        if depth <= 0.0:
            return replace(found, judged=Judged.DANGER, margin_mm=0.0)
        at = prover.motion(np.array(joint), np.array(joint), 0.0)
        points = tuple(at.points) if np.isfinite(at.upper_mm) else found.points
        return replace(found, margin_mm=-depth, joint=joint, pair=pair, exact=True, points=points)

    def _boxed(
        self, prover: Prover, motions: Motions, group: NDArray[np.int64], *, exact: bool
    ) -> None:
        """Judge rapids whose axes may each come in its own time: anywhere between start and end."""
        done, rapids = self.done, self._rapids
        if rapids == "straight":
            return
        for i in group[motions.boxed[group]].tolist():
            row = int(motions.row[i])
            if rapids is None and done.judged[row] > Judged.ONLY_STRAIGHT.rank:
                continue
            fully = exact and rapids is not None
            if (motions.start[i, 3:] == motions.end[i, 3:]).all():
                gap = prover.motion(
                    motions.start[i], motions.end[i], done.need_mm, exact=fully, dogleg=True
                )
            else:
                low = np.minimum(motions.start[i], motions.end[i])
                high = np.maximum(motions.start[i], motions.end[i])
                gap = prover.box(low, high, done.need_mm, exact=fully)
            found = self._from_gap(gap, exact=exact and rapids is not None)
            if rapids is None:
                if found.judged is not Judged.CLEAR:
                    done.note(
                        row,
                        replace(
                            found,
                            judged=Judged.ONLY_STRAIGHT,
                            note=f"each axis in its own time: {found.judged.value}",
                        ),
                    )
                continue
            if found.judged is Judged.CLEAR:
                done.proven += 1
            done.note(row, found)

    # --- limits, changes, ends ------------------------------------------------------------------

    def _limits(self, only: NDArray[np.bool_] | None) -> None:
        track, done = self.track, self.done
        low_end, high_end = self.findings.joint_limits
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
            found = change_judged(
                self.done.scene.scene,
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
        gap = prover.motion(start, start, self.done.need_mm)
        found = self._from_gap(gap, exact=False)
        if found.judged.rank >= Judged.DANGER.rank:
            row = int(motions.row[0])
            self.done.rows[row] = replace(
                found, judged=Judged.UNSAFE_START, note="where the program starts"
            )
            self.done.judged[row] = Judged.UNSAFE_START.rank

    # --- the tightest ---------------------------------------------------------------------------

    def _smallest(self, motions: Motions, chosen: NDArray[np.bool_], kept: Kept | None) -> None:
        """Find the smallest gap of what is clear; in a long program by raising what is asked."""
        done = self.done
        exact = {r: f for r, f in done.rows.items() if f.judged is Judged.CLEAR and f.exact}
        clear = chosen & (done.judged[motions.row] == Judged.CLEAR.rank)
        if int(chosen.sum()) > EXACT_MOST and clear.any():
            indices = np.flatnonzero(clear)
            asked, step = done.need_mm, max(done.need_mm, 1.0)
            while len(indices):
                asked += step
                step *= 2.0
                left = self._not_at(motions, indices, asked)
                if len(left) > 0 or asked > 2000.0:
                    break
            low, high = max(done.need_mm, asked - step / 2.0), asked
            while len(left) > TIGHTEST_MOST and high - low > 0.05:
                middle = 0.5 * (low + high)
                fewer = self._not_at(motions, left, middle)
                if len(fewer):
                    left, high = fewer, middle
                else:
                    low = middle
            for i in left[:TIGHTEST_MOST].tolist():
                prover = self.prover(motions.tool[int(motions.force[i])])
                assert prover is not None
                gap = prover.motion(
                    motions.start[i],
                    motions.end[i],
                    done.need_mm,
                    cutting=motions.station(i),
                    exact=True,
                    bulge_mm=float(motions.bulge_mm[i]),
                )
                found = self._from_gap(gap, exact=True)
                row = int(motions.row[i])
                if found.exact and row not in exact:
                    exact[row] = found
                    done.rows[row] = found
        gaps = [(f.margin_mm, r) for r, f in exact.items() if f.margin_mm == f.margin_mm]
        if gaps:
            done.smallest_mm, done.smallest_row = min(gaps)

    def _not_at(
        self, motions: Motions, indices: NDArray[np.int64], asked: float
    ) -> NDArray[np.int64]:
        """Return the motions that are not proven with so much clearance."""
        left = []
        stations: list[str | None] = [*motions.stations, None]
        for group in _groups(motions, indices):
            prover = self.prover(motions.tool[int(motions.force[group[0]])])
            assert prover is not None
            need = asked + motions.bulge_mm[group]
            cutting = [stations[int(c)] for c in motions.cutting[group]]
            path = prover.path(motions.start[group[0]], motions.end[group], need, cutting=cutting)
            proven = np.zeros(len(group), dtype=bool)
            proven[: path.done] = path.status[: path.done] == 0
            left.append(group[~proven])
        return np.concatenate(left) if left else np.empty(0, dtype=np.int64)


def first_doubtful(track: Track) -> int:
    """Return the first row that hangs on a doubt; -1 if there is none.

    Reading that stopped leaves no rows behind its stop; a doubt that let it go on marks its row.
    """
    grave = np.array([d.grade is not Grade.NOTE for d in track.doubts] or [False])
    which = track.segments["doubt"]
    marked = np.flatnonzero((which >= 0) & grave[np.clip(which, 0, len(grave) - 1)])
    return int(marked[0]) if len(marked) else -1


def _groups(motions: Motions, indices: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Split motions where the chain breaks, the tool changes or a slice is full."""
    if not len(indices):
        return []
    tool = np.array([-1 if t is None else t for t in motions.tool])[motions.force[indices]]
    apart = (motions.start[indices[1:]] != motions.end[indices[:-1]]).any(axis=1)
    breaks = (np.diff(tool) != 0) | apart
    breaks |= motions.other_way[indices[1:]] | motions.other_way[indices[:-1]]
    pieces = np.split(indices, np.flatnonzero(breaks) + 1)
    return [piece[k : k + SLICE] for piece in pieces for k in range(0, len(piece), SLICE)]


def _wide_above(bodies: tuple[Body, ...] | None) -> bool:
    """Tell whether nothing of a tool above its cutter is thinner than the cutter."""
    if bodies is None:
        return False
    from gudgeon.findings.bodies import bounds_of

    cutter = [bounds_of(b) for b in bodies if b.role == "cutter"]
    above = [bounds_of(b) for b in bodies if b.role in ("shank", "holder")]
    if not cutter:
        return False
    radius = max(float(high[0]) for _, high in cutter)
    # The cutter's own bodies stack too: only the widest counts, and all must be of one width.
    same = all(float(high[0]) >= radius - 1e-9 for _, high in [*cutter, *above])
    return same and bool(above)


def worst_overlap(
    prover: Prover, start: Floats, end: Floats, seen: tuple[float, ...]
) -> tuple[float, tuple[float, ...], tuple[str, str]]:
    """Return how deep bodies overlap at worst on a motion that crashes: depth, joint, pair.

    By close samples and a search about the deepest: no less than this.
    """

    def at(share: float) -> Floats:
        return start + share * (end - start)

    def depth(share: float) -> float:
        return prover.overlap_mm(at(share))[0]

    # Where bodies touch at all is told by the engine in no time; the depth takes its time.
    shares = np.linspace(0.0, 1.0, TOUCHES_LOOKED)
    touching = [s for s in shares.tolist() if _touches(prover, at(s))]
    if not touching:
        touching = [_share_of(start, end, seen)]
    step = 1.0 / (TOUCHES_LOOKED - 1)
    tried = np.linspace(touching[0], touching[-1], min(len(touching), DEPTHS_LOOKED)).tolist()
    depths = [depth(s) for s in tried]
    best = int(np.argmax(depths))
    low = tried[best - 1] if best > 0 else max(0.0, tried[0] - step)
    high = tried[best + 1] if best < len(tried) - 1 else min(1.0, tried[-1] + step)
    found, where = depths[best], tried[best]
    ratio = 0.5 * (5.0**0.5 - 1.0)
    one, two = high - ratio * (high - low), low + ratio * (high - low)
    d_one, d_two = depth(one), depth(two)
    for _ in range(9):
        for d, s in ((d_one, one), (d_two, two)):
            if d > found:
                found, where = d, s
        if d_one >= d_two:
            high, two, d_two = two, one, d_one
            one = high - ratio * (high - low)
            d_one = depth(one)
        else:
            low, one, d_one = one, two, d_two
            two = low + ratio * (high - low)
            d_two = depth(two)
    joint = tuple(float(v) for v in at(where))
    if found <= 0.0 and len(seen) == AXES:
        found, joint = prover.overlap_mm(seen)[0], seen
    return found, joint, prover.overlap_mm(joint)[1]


def _touches(prover: Prover, joint: Floats) -> bool:
    return prover.motion(joint, joint, 0.0).upper_mm <= 0.0


def _share_of(start: Floats, end: Floats, joint: tuple[float, ...]) -> float:
    span = end - start
    length = float(span @ span)
    if len(joint) != AXES or length <= 0.0:
        return 0.0
    return min(1.0, max(0.0, float((np.asarray(joint) - start) @ span) / length))
