"""Motions of a track proven: in chunks, one by one, and anywhere between their ends."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.cleared_depth import worst_overlap
from gudgeon.findings.cleared_fed import Profile
from gudgeon.findings.cleared_found import Cleared, Found, Judged, or_inf
from gudgeon.findings.cleared_kept import Kept
from gudgeon.findings.cleared_motion import Motions
from gudgeon.findings.gather import Lacking
from gudgeon.findings.hose_bodies import without_hoses
from gudgeon.findings.scene import SceneFindings
from gudgeon.program.dialect import AXES, Dialect
from gudgeon.program.track import Track

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap, Prover
    from gudgeon.clearance.scene import Body

__all__ = ["MotionJudge"]

Floats = NDArray[np.float64]

EXACT_MOST: Final = 400
"""Up to so many motions each gets its own smallest gap; in a longer program the tightest do."""

TIGHTEST_MOST: Final = 60
CLOSE_MM: Final = 1e-3
"""Where more blocks than that are equally tight, their gap is known as close as this."""

FAR_MM: Final = 2000.0
"""A gap beyond this is not looked for: nothing on such a machine is farther."""

SLICE: Final = 4096
"""Motions proven between two looks at the progress."""

SAVED_EVERY: Final = 50_000
"""Motions proven until what is proven is written down: all that a stopped computer may lose."""

OVERLAPS_MOST: Final = 8
"""Crashes whose depth is worked out: it is for the eye, and slow."""

CHORDS_MOST: Final = 4
"""First motions of one such block, an arc, whose depth is worked out; then every so many."""

CHORDS_APART: Final = 16


class MotionJudge:
    """Judges the motions of one track."""

    def __init__(
        self,
        findings: SceneFindings,
        done: Cleared,
        dialect: Dialect,
        track: Track,
        provers: dict[int | None, Prover | None] | None = None,
    ) -> None:
        self.stations: Mapping[str, str] = {}
        self.limits: tuple[Floats, Floats] = (np.full(AXES, np.nan), np.full(AXES, np.nan))
        self.findings, self.done, self.dialect, self.track = findings, done, dialect, track
        self.provers: dict[int | None, Prover | None] = {} if provers is None else provers
        self.bodies: dict[int | None, tuple[Body, ...] | None] = {}
        self.missing: list[Missing] = []
        self.depths = True
        self.deep: dict[int, int] = {}
        self.profiles: Mapping[int, Profile | None] = {}
        self.parts: dict[tuple[int | None, bool, bool], Prover] = {}
        self.solid = without_hoses(done.scene.scene)
        done.judged = np.full(len(track.segments), -1, dtype=np.int64)

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

                self.provers[number] = Prover(self.solid, bodies)
        return self.provers[number]

    @property
    def rapids(self) -> str | None:
        """Path of a rapid of several axes; ``None`` where it is not declared."""
        return self.findings.cell.control.rapids

    def prove(self, motions: Motions, chosen: NDArray[np.bool_], kept: Kept | None) -> None:
        """Prove the chosen motions, a slice at a time."""
        done = self.done
        total = int(chosen.sum())
        exact = total <= EXACT_MOST
        indices = np.flatnonzero(chosen)
        gone = saved = 0
        for group in groups(motions, indices):
            prover = self.prover(motions.tool[int(motions.force[group[0]])])
            assert prover is not None
            ready = kept is not None and kept.has(group)
            single = group
            if not exact and not ready:
                single = self._in_chunks(prover, motions, group, kept)
            elif not exact and ready:
                assert kept is not None
                single = kept.open_ones(group)
                self._mark_clear(motions, np.setdiff1d(group, single))
            for i in single.tolist():
                self._single(prover, motions, i, exact=exact, kept=kept)
            self._boxed(prover, motions, group, exact=exact)
            gone += len(group)
            if kept is not None and gone - saved >= SAVED_EVERY:
                saved = gone
                kept.save()
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
        if motions.boxed[i] and self.rapids == "each axis alone":
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
            found = self.from_gap(gap, exact=exact)
            if found.judged is not Judged.CLEAR and row in motions.if_above:
                found = self._going_up(prover, motions, i, found, exact=exact)
            if found.in_cut:
                motions.cutting[i] = motions.own[i]
            if found.judged is Judged.CRASH:
                found = self._with_overlap(prover, motions, i, found)
            if exact and found.judged is Judged.CLEAR:
                found = self._of_what_moves(motions, i, found)
            if kept is not None:
                kept.keep(i, found)
        elif found.in_cut:
            motions.cutting[i] = motions.own[i]
        if motions.other_way[i] and found.judged is not Judged.CLEAR:
            found = replace(
                found, judged=Judged.ONLY_AS_WRITTEN, note=f"the other way: {found.judged.value}"
            )
        if found.judged is Judged.CLEAR:
            done.proven += 1
        done.note(row, found)

    def _going_up(
        self, prover: Prover, motions: Motions, i: int, found: Found, *, exact: bool
    ) -> Found:
        """Return the finding of a rapid in a column that was fed through, if it is free above.

        What the cutter passes on its way up and has not cut itself must be clear of all stock.
        """
        from gudgeon.clearance.prove import Status

        tool = motions.tool[int(motions.force[i])]
        profile = None if tool is None else self.profiles.get(tool)
        if profile is None:
            return found
        up_from = motions.if_above[int(motions.row[i])]
        at = motions.start[i].copy()
        rise = max(float(motions.start[i, 2]), float(motions.end[i, 2])) - up_from
        at[2] = up_from
        above = self._above(profile, rise).motion(at, at, self.done.need_mm)
        if above.status != Status.PROVEN:
            return found
        gap = prover.motion(
            motions.start[i],
            motions.end[i],
            self.done.need_mm,
            cutting=motions.stations[int(motions.own[i])],
            exact=exact,
        )
        return replace(self.from_gap(gap, exact=exact), in_cut=True)

    def _above(self, profile: Profile, rise: float) -> Prover:
        """Return a prover with all stock and what a cutter goes up through, no tool."""
        from gudgeon.clearance.prove import Prover
        from gudgeon.clearance.scene import Body, Carrier, Role
        from gudgeon.findings.bodies import T, round_bar

        stock = tuple(b for b in self.solid.bodies if b.role is Role.STOCK)
        ends = [0.0, 0.0, profile.top_mm], [0.0, 0.0, profile.top_mm + rise]
        bar = round_bar(T, *ends, profile.radius_mm, profile.radius_mm)
        way = Body("way up", Carrier.HEAD, Role.SHANK, (bar,))
        return Prover(replace(self.solid, bodies=stock), [way])

    def from_gap(self, gap: Gap, *, exact: bool) -> Found:
        """Return what a proof means; a gap of nothing is a crash until its depth is known."""
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
        by_name = {body.name: body for body in self.solid.bodies}
        if not turns and found.pair and all(name in by_name for name in found.pair):
            gap = self._gap_of(motions, i, (tool, True, False), station)
            other = self.from_gap(gap, exact=True)
            found = replace(other, in_cut=found.in_cut) if other.judged is Judged.CLEAR else found
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

            scene = self.solid
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
        row = int(motions.row[i])
        self.deep[row] = self.deep.get(row, 0) + 1
        many = self.deep[row] > CHORDS_MOST and self.deep[row] % CHORDS_APART > 0
        if not self.depths or len(self.deep) > OVERLAPS_MOST or many:
            return replace(found, margin_mm=float("nan"), exact=False)
        station = motions.station(i)
        if station is not None:
            tool = self.tool_bodies(motions.tool[int(motions.force[i])]) or ()
            if any(body.role == "cutter" and body.name in found.pair for body in tool):
                return found
            from gudgeon.clearance.prove import Prover

            prover = Prover(self.solid, [body for body in tool if body.role != "cutter"])
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
        done, rapids = self.done, self.rapids
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
            found = self.from_gap(gap, exact=exact and rapids is not None)
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
            if motions.other_way[i] and found.judged is not Judged.CLEAR:
                found = replace(
                    found,
                    judged=Judged.ONLY_AS_WRITTEN,
                    note=f"the other way: {found.judged.value}",
                )
            if found.judged is Judged.CLEAR:
                done.proven += 1
            done.note(row, found)

    def smallest(self, motions: Motions, chosen: NDArray[np.bool_], kept: Kept | None) -> None:
        """Find the smallest gap of what is clear; in a long program by raising what is asked."""
        done = self.done
        exact = {r: f for r, f in done.rows.items() if f.judged is Judged.CLEAR and f.exact}
        clear = chosen & (done.judged[motions.row] == Judged.CLEAR.rank)
        if int(chosen.sum()) > EXACT_MOST and clear.any():
            if kept is None or kept.tight is None:
                tight = self._tightest(motions, np.flatnonzero(clear))
                if kept is not None:
                    kept.keep_tight(*tight)
                    kept.save()
            else:
                tight = kept.tight
            done.others_mm, found = tight
            for i, one in found.items():
                row = int(motions.row[i])
                # Several motions of an arc share a row: the tightest counts.
                if row not in exact or one.margin_mm < exact[row].margin_mm:
                    exact[row] = done.rows[row] = one
        gaps = [(f.margin_mm, r) for r, f in exact.items() if f.margin_mm == f.margin_mm]
        if gaps:
            done.smallest_mm, done.smallest_row = min(gaps)
            # Among those left there may be one as close as this to the tightest that is known.
            done.smallest_mm = min(done.smallest_mm, done.others_mm, key=or_inf)

    def _tightest(
        self, motions: Motions, indices: NDArray[np.int64]
    ) -> tuple[float, dict[int, Found]]:
        """Return the gaps of the tightest motions, and what no other motion is closer than.

        What is not proven at the smallest gap seen so far may be tighter: some of it is looked at,
        the rest tried again, until nothing is left.
        """
        need, asked, step = self.done.need_mm, self.done.need_mm, max(self.done.need_mm, 1.0)
        left = indices
        while asked < FAR_MM:
            asked += step
            step *= 2.0
            left = self._not_at(motions, indices, asked)
            if len(left):
                break
        found: dict[int, Found] = {}
        others = before = asked
        while len(left):
            some = left[:: math.ceil(len(left) / TIGHTEST_MOST)]
            found |= {i: self._exactly(motions, i) for i in some.tolist()}
            if len(some) == len(left):
                break
            others = min((f.margin_mm for f in found.values() if f.exact), default=need) - CLOSE_MM
            if others <= need or others >= before:
                others = need  # what stays undecided is proven at the clearance asked
                break
            before = others
            left = self._not_at(motions, left, others)
        return others, {i: one for i, one in found.items() if one.exact}

    def _exactly(self, motions: Motions, i: int) -> Found:
        prover = self.prover(motions.tool[int(motions.force[i])])
        assert prover is not None
        gap = prover.motion(
            motions.start[i],
            motions.end[i],
            self.done.need_mm,
            cutting=motions.station(i),
            exact=True,
            bulge_mm=float(motions.bulge_mm[i]),
        )
        return self.from_gap(gap, exact=True)

    def _not_at(
        self, motions: Motions, indices: NDArray[np.int64], asked: float
    ) -> NDArray[np.int64]:
        """Return the motions that are not proven with so much clearance."""
        left = []
        stations: list[str | None] = [*motions.stations, None]
        for group in groups(motions, indices):
            prover = self.prover(motions.tool[int(motions.force[group[0]])])
            assert prover is not None
            need = asked + motions.bulge_mm[group]
            cutting = [stations[int(c)] for c in motions.cutting[group]]
            path = prover.path(motions.start[group[0]], motions.end[group], need, cutting=cutting)
            proven = np.zeros(len(group), dtype=bool)
            proven[: path.done] = path.status[: path.done] == 0
            left.append(group[~proven])
        return np.concatenate(left) if left else np.empty(0, dtype=np.int64)


def groups(motions: Motions, indices: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Split motions where the chain breaks, the tool changes or a slice is full."""
    if not len(indices):
        return []
    tool = np.array([-1 if t is None else t for t in motions.tool])[motions.force[indices]]
    apart = (motions.start[indices[1:]] != motions.end[indices[:-1]]).any(axis=1)
    breaks = (np.diff(tool) != 0) | apart
    breaks |= motions.other_way[indices[1:]] | motions.other_way[indices[:-1]]
    pieces = np.split(indices, np.flatnonzero(breaks) + 1)
    return [piece[k : k + SLICE] for piece in pieces for k in range(0, len(piece), SLICE)]
