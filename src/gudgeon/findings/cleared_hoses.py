"""Motions and tool changes of a program judged against the spaces that hoses may fill.

Such a space is no body: the hose hangs somewhere in it.  What is clear of all bodies and not proven
clear of a space is clear if that hose is tied, and the tie is proven against the same motions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Hose
from gudgeon.findings.bodies import most
from gudgeon.findings.cleared_change import change_judged
from gudgeon.findings.cleared_found import Found, Judged, or_inf
from gudgeon.findings.cleared_motion import Motions
from gudgeon.findings.cleared_proofs import MotionJudge, groups
from gudgeon.findings.hose_bodies import hose_name, hose_space
from gudgeon.findings.hoses import HangingFinding, HoseFindings, tied_mm

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap, Prover
    from gudgeon.clearance.scene import Body

__all__ = ["HoseJudge", "Reached", "ties"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Reached:
    """Something that the program does where a hose may hang.

    Attributes
    ----------
    row : int
    tool : int or None
        In the spindle.
    keeps_clear : callable
        Given the body that stands for the hose, whether it is proven to keep clear of that.
    gap : Gap or None
        The proof that failed; ``None`` for a tool change.
    what : str
        What the hose may reach.
    """

    row: int
    keeps_clear: Callable[[Body], bool]
    gap: Gap | None
    what: str


class HoseJudge(MotionJudge):
    """Judges the motions of one track against the spaces of hoses, too."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.reached: dict[str, list[Reached]] = {}
        self._seen: dict[int | None, dict[int, tuple[Body, Prover]]] = {}

    @property
    def hoses(self) -> tuple[Body, ...]:
        """Spaces that hoses may fill."""
        from gudgeon.clearance.scene import Role

        return tuple(b for b in self.done.scene.scene.bodies if b.role is Role.HOSE)

    def under(self, tool: int | None, hoses: Sequence[Body]) -> Prover:
        """Return a prover of nothing but pairs with one of these spaces."""
        from gudgeon.clearance.prove import Prover

        held = self.tool_bodies(tool) or ()
        others = {body.name for body in (*self.solid.bodies, *held)}
        pairs = {frozenset(pair) for pair in combinations(sorted(others), 2)}
        whole = replace(
            self.solid, bodies=(*self.solid.bodies, *hoses), apart=self.solid.apart | pairs
        )
        return Prover(whole, held)

    def prove_hoses(self, motions: Motions, chosen: NDArray[np.bool_]) -> None:
        """Prove the chosen motions against the spaces of all hoses, a slice at a time."""
        hoses, done = self.hoses, self.done
        if not hoses:
            return
        provers: dict[tuple[int | None, str], Prover] = {}
        wide = motions.boxed & (self.rapids != "straight")
        for group in groups(motions, np.flatnonzero(chosen)):
            tool = motions.tool[int(motions.force[group[0]])]
            if (tool, "") not in provers:
                provers[tool, ""] = self.under(tool, hoses)
                for hose in hoses:
                    provers[tool, hose.name] = self.under(tool, (hose,))
            need = done.need_mm + motions.bulge_mm[group]
            together = provers[tool, ""]
            path = together.path(motions.start[group[0]], motions.end[group], need)
            proven = np.zeros(len(group), dtype=bool)
            if not motions.other_way[group[0]]:
                proven[: path.done] = path.status[: path.done] == 0
            proven &= ~wide[group]
            for i in group[~proven].tolist():
                if wide[i] and self._gap_under(together, motions, i, wide=True).status == 0:
                    continue
                for hose in hoses:
                    self._motion_under(provers[tool, hose.name], motions, i, hose, bool(wide[i]))
            told = done.program.proving
            if told is not None and not told(1.0):
                done.cancelled = True
                return

    def start_under_hoses(self, row: int, joint: Floats) -> None:
        """Judge the pose in which the program starts against each space."""
        tool = self.dialect.tool_at_start

        def proof(body: Body) -> Gap:
            return self.under(tool, (body,)).motion(joint, joint, self.done.need_mm)

        for hose in self.hoses:
            self._note(row, hose, proof(hose), lambda body: proof(body).status == 0)

    def change_under_hoses(
        self, row: int, tool: int, bodies: Sequence[Body], joint: Floats
    ) -> None:
        """Judge a tool change against each space."""
        cell = self.findings.cell

        def judged(body: Body) -> str:
            alone = replace(self.solid, bodies=(body,))
            changer, need = cell.machine.changer, self.done.need_mm
            return change_judged(alone, bodies, changer, joint, need, cell.file).judged

        for hose in self.hoses:
            if judged(hose) in ("clear", "not judged"):
                continue
            what = f"T{tool} at its change"
            self._keep(hose, Reached(row, lambda body: judged(body) == "clear", None, what))
            place = tuple(float(value) for value in joint)
            found = Found(Judged.IF_TIED, pair=(hose.name, f"T{tool}"), joint=place)
            self.done.hung.setdefault(row, found)

    def note_hung(self) -> None:
        """Mark what is clear of all bodies and may meet a hose."""
        for row, found in self.done.hung.items():
            if self.done.judged[row] <= Judged.CLEAR.rank:
                self.done.rows.pop(row, None)
                self.done.note(row, found)

    # --- how it is worked out -------------------------------------------------------------------

    def _gap_under(self, prover: Prover, motions: Motions, i: int, *, wide: bool) -> Gap:
        start, end, need = motions.start[i], motions.end[i], self.done.need_mm
        if wide and (start[3:] != end[3:]).any():
            return prover.box(np.minimum(start, end), np.maximum(start, end), need)
        bulge = float(motions.bulge_mm[i])
        return prover.motion(start, end, need, bulge_mm=bulge, dogleg=wide)

    def _motion_under(
        self, prover: Prover, motions: Motions, i: int, hose: Body, wide: bool
    ) -> None:
        gap = self._gap_under(prover, motions, i, wide=wide)
        tool = motions.tool[int(motions.force[i])]
        seen = self._seen.setdefault(tool, {})

        def clear_of(body: Body) -> bool:
            # One prover serves all motions that are tried against the same space.
            if id(body) not in seen:
                seen.clear()
                seen[id(body)] = body, self.under(tool, (body,))
            return self._gap_under(seen[id(body)][1], motions, i, wide=wide).status == 0

        self._note(int(motions.row[i]), hose, gap, clear_of)

    def _note(self, row: int, hose: Body, gap: Gap, keeps_clear: Callable[[Body], bool]) -> None:
        if gap.status == 0:
            return
        what = next((name for name in gap.pair if name and name != hose.name), "what moves")
        self._keep(hose, Reached(row, keeps_clear, gap, what))
        found = replace(self.from_gap(gap, exact=False), judged=Judged.IF_TIED, note="")
        known = self.done.hung.get(row)
        if known is None or or_inf(found.margin_mm) < or_inf(known.margin_mm):
            self.done.hung[row] = found

    def _keep(self, hose: Body, one: Reached) -> None:
        self.reached.setdefault(hose.name, []).append(one)


def ties(findings: HoseFindings, reached: dict[str, list[Reached]]) -> tuple[HangingFinding, ...]:
    """Return for each hose what it may reach, and the tie with which it is proven not to.

    A hose that is tied fills no more than a part of its space: what is proven clear of the whole
    stays so, and only what is not is proven again.
    """
    from gudgeon.clearance.scene import Role

    cell, found = findings.cell, []
    bodies = iter([b for b in findings.scene.scene.bodies if b.role is Role.HOSE])
    for hose in cell.unit.hoses:
        if _space(findings, hose, None) is None or hose.length is None:
            continue
        called = next(bodies).name
        all_ = reached.get(called, [])
        if not all_:
            continue
        first = list(all_)

        def meets(
            length: float, hose: Hose = hose, called: str = called, first: list[Reached] = first
        ) -> bool:
            body = _space(findings, hose, length)
            assert body is not None
            # Under its name stands what it is bolted to.
            body = replace(body, name=called)
            for number, one in enumerate(first):
                if not one.keeps_clear(body):
                    first.insert(0, first.pop(number))  # the next tie most likely fails here too
                    return True
            return False

        name = hose_name(cell, hose)
        longest = max(
            (one.longest_mm for one in findings.hoses_stretched if one.name == name), default=None
        )
        tie = None if longest is None else tied_mm(most(hose.length), longest, meets)
        told: dict[str, Gap | None] = {}
        for one in all_:
            told.setdefault(one.what, one.gap)
        found.append(HangingFinding(name, tuple(told.items()), tie))
    return tuple(found)


def _space(findings: HoseFindings, hose: Hose, length_mm: float | None) -> Body | None:
    """Return the space that a hose of a length may fill, as the scene holds that of all of it."""
    return hose_space(
        hose,
        hose_name(findings.cell, hose),
        findings.unit_frame,
        findings.axis_lines.chain,
        findings.turn_limits,
        findings.hose_unsure_mm(hose),
        length_mm,
    )
