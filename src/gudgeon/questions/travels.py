"""Which travel is safe?

What it answers
---------------
The largest limits of machine X and Y in which the unit with its load meets no guard, column or
door, for every tilt and turn at once; what stops each limit, in which pose, and by how much it
falls short of the machine's travel.  How low each tool may stand while X, Y, tilt and turn go
anywhere.  How far each hose is stretched at worst.  A warm-up path from corner to corner and
through both turning axes, in the control's own words, read back and proven before it is offered.

Why it matters
--------------
The travel that the machine came with knows nothing of the unit.  The corner that pinches is found
by a jog with the door open, or by a proof: the limits below are entered once and then hold for
every program.

When it can mislead
-------------------
Only what is entered is judged: a fitting that sticks out and was not entered is not seen, and what
is left out is listed.  A hose is judged by the distance between its ends and, where its length is
entered, by all the space that it can fill; gravity and stiffness, which keep most hoses out of
most of that space, count for nothing.  A hose on the cradle or platter is not judged against what
turns with it.  The limits keep the unit off the machine; they do not keep a tool below its plane
off the work.

Sources
-------
Certified gaps over boxes of joint positions (see the page on clearance): lower bounds by supporting
planes, interval bounds of turning; nothing is sampled.  A hose of length L between two ends lies in
the ellipsoid |p - a| + |p - b| <= L.  Least distance of the ends of a hose with a least bend
radius: Schur's theorem on the arc of that radius (from memory), a U where it is long; clearance
asked where none is entered: common practice, no source.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from gudgeon.answer import Answer, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.hoses import HangingFinding, HoseFinding
from gudgeon.findings.travel import PlaneFinding, TravelFinding
from gudgeon.findings.written import Written
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._proof_views import angle_text, pair_text, pose_views, tie_words
from gudgeon.questions._shared import as_order, cannot_tell
from gudgeon.questions._travels_show import (
    hanging_table,
    hose_table,
    limit_figures,
    limit_table,
    plan_picture,
    plane_figures,
    plane_table,
    warm_up_table,
)

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap
    from gudgeon.clearance.scene import Body

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "travels"
ASKS: Final = "Which travel is safe?"
PLACE: Final = 60

SOURCES: Final = (
    "certified gaps over boxes of joint positions: supporting planes and interval bounds of "
    "turning; no sampling",
    "the ends of a hose and its least bend radius: Schur's theorem (from memory); a U where it is "
    "long: common practice, no source",
)


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        limits = findings.safe_limits
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="which travel is safe")
    hoses = findings.hoses_stretched
    try:
        planes, lacking_tools = findings.planes, None
    except Lacking as lacking:
        planes, lacking_tools = (), lacking
    hanging = findings.hoses_hanging
    warm = Written("warm-up", "") if lacking_tools else findings.warm_up
    told = _Told(findings, limits, planes, hoses, hanging, warm)
    if lacking_tools is not None:
        return cannot_tell(
            NAME,
            lacking_tools,
            about="how low the tools may come",
            so_far=told.answer(Verdict.YES, "", "-"),
        )
    return told.judged()


class _Told:
    """What the parts of the answer add up to."""

    def __init__(
        self,
        findings: Findings,
        limits: TravelFinding,
        planes: tuple[PlaneFinding, ...],
        hoses: tuple[HoseFinding, ...],
        hanging: tuple[HangingFinding, ...],
        warm: Written,
    ) -> None:
        self.findings, self.limits, self.planes = findings, limits, planes
        self.hoses, self.hanging, self.warm = hoses, hanging, warm

    def judged(self) -> Answer:
        """Return the answer with its verdict."""
        torn = [hose for hose in self.hoses if hose.margin_mm <= 0.0]
        units = self.findings.units
        if self.limits.box is None:
            pair = pair_text(self.limits.failed)
            return self.answer(
                Verdict.NO,
                f"No place of the table is safe for all tilts and turns: {pair} meet.",
                "Move the unit on the table, or take off what meets: ask fits for the places that "
                "work.",
            )
        if torn:
            worst = min(torn, key=lambda hose: hose.margin_mm)
            short = units.text(Kind.LENGTH, -worst.margin_mm)
            at = " at " + ", ".join(map(angle_text, worst.longest_at)) if worst.longest_at else ""
            return self.answer(
                Verdict.NO,
                f"{worst.name} is too short by {short}{at}: it tears within the travel.",
                f"Fit a longer {worst.name}, or move its anchor nearer.",
                fix=f"A {worst.name} longer by {short} and its bends"
                + (
                    f": {units.text(Kind.LENGTH, worst.length_mm - worst.margin_mm, limit='min')} "
                    "or more."
                    if worst.length_mm is not None
                    else "."
                ),
            )
        keep = self._conditions()
        if keep:
            return self.answer(
                Verdict.YES_IF,
                f"Safe for all tilts and turns, if {_listed(keep)}.",
                as_order(f"keep to this: {_listed(keep)}"),
                fix=self._other_hose(),
            )
        return self.answer(
            Verdict.YES,
            "The whole travel of X and Y is proven safe for all tilts and turns: no restriction "
            f"needed{self._plane_words()}.",
            "Run the warm-up program below with rapid override low, a hand on feed hold."
            if self.warm.lines
            else "Leave the travel limits as they are.",
        )

    def _plane_words(self) -> str:
        known = [plane for plane in self.planes if plane.z_mm is not None]
        if not known:
            return ""
        worst = max(known, key=lambda plane: plane.z_mm or 0.0)
        z = self.findings.units.text(Kind.LENGTH, worst.z_mm or 0.0, limit="min")
        return f"; with {worst.hand.name} cross the work at Z {z} or above"

    def _conditions(self) -> list[str]:
        units, box = self.findings.units, self.limits.box
        assert box is not None
        keep = []
        for joint, letter in enumerate("XY"):
            if box.stop(joint, -1) is None and box.stop(joint, 1) is None:
                continue
            low = units.text(Kind.LENGTH, float(box.low[joint]), limit="min")
            high = units.text(Kind.LENGTH, float(box.high[joint]), limit="max")
            keep.append(f"{letter} stays from {low} to {high}")
        itself = self.limits.itself
        if hasattr(itself, "pair"):
            keep.append(
                f"nothing turns: {pair_text(itself) or 'the unit and itself'} are not proven apart "  # type: ignore[arg-type]
                "in any pose tried"
            )
        elif itself.stops:
            words = []
            for joint, name in ((3, "tilt"), (4, "turn")):
                if itself.stop(joint, -1) is not None or itself.stop(joint, 1) is not None:
                    low_deg = angle_text(float(itself.low[joint])).removesuffix(" deg")
                    words.append(
                        f"{name} from {low_deg} to {angle_text(float(itself.high[joint]))}"
                    )
            keep.append(
                f"{' and '.join(words)} (beyond, {pair_text(itself.stops[0][1])} come too near)"
            )
        for plane in self.planes:
            if plane.z_mm is not None:
                continue
            if plane.poses is None:
                keep.append(f"{plane.hand.name} never crosses the work: it is too long")
                continue
            low, high = (angle_text(float(end[3])) for end in (plane.poses.low, plane.poses.high))
            keep.append(
                f"{plane.hand.name} crosses the work only at tilt {low.removesuffix(' deg')} to "
                f"{high}" + ("" if _any_turn(plane) else ", turned as in the table")
            )
        for hose in self.hoses:
            if hose.kinks and hose.bend_mm is not None:
                at = " at " + ", ".join(map(angle_text, hose.shortest_at))
                keep.append(
                    f"{hose.name} does not kink: its ends come as near as "
                    f"{units.text(Kind.LENGTH, hose.shortest_mm)}{at if hose.shortest_at else ''}, "
                    f"its bend needs {units.text(Kind.LENGTH, hose.bend_mm)}"
                )
        keep += [tie_words(self.findings, hang) for hang in self.hanging if hang.meets]
        return keep

    def _other_hose(self) -> str | None:
        """Return which length of a hose would neither tear nor kink."""
        units = self.findings.units
        for hose in self.hoses:
            if hose.kinks and hose.shorter_mm is not None:
                low, high = hose.shorter_mm
                least = units.text(Kind.LENGTH, low, limit="min")
                most = units.text(Kind.LENGTH, high, limit="max")
                return f"A {hose.name} between {least} and {most} long neither tears nor kinks."
            if hose.kinks:
                return f"An anchor of {hose.name} further off, with a hose as much longer."
        return None

    def answer(
        self, verdict: Verdict, headline: str, next_step: str, fix: str | None = None
    ) -> Answer:
        """Return all that is known under a verdict."""
        findings, limits = self.findings, self.limits
        scene = findings.scene
        tables = [
            limit_table(findings, limits),
            plane_table(findings, self.planes),
            hose_table(findings, self.hoses),
            hanging_table(findings, self.hanging),
            warm_up_table(self.warm),
        ]
        plan = plan_picture(findings, limits)
        title, gap, tool = self._tightest()
        cautions = []
        if self.warm.lines:
            cautions.append(
                "First run of the warm-up: spindle stopped, rapid override at its lowest, a hand "
                "on feed hold."
                + (
                    f" Take the tool out first: {_listed(list(self.warm.without))} would touch."
                    if self.warm.empty_spindle
                    else ""
                )
            )
        return Answer(
            question=NAME,
            verdict=verdict,
            headline=headline or "So far:",
            next_step=next_step,
            figures=(*limit_figures(findings, limits), *plane_figures(findings, self.planes)),
            tables=tuple(table for table in tables if table is not None),
            pictures=(
                *((plan,) if plan is not None else ()),
                *pose_views(findings, "tightest", title, gap, tool),
            ),
            flips=self._flips(),
            fix=fix,
            assumed=self._assumed(),
            missing=self._missing(),
            cautions=tuple(cautions),
            sources=(*SOURCES, *scene.sources),
        )

    def _tightest(self) -> tuple[str, Gap | None, tuple[Body, ...]]:
        """Return the pose that is drawn: what stops a limit, else what stops the longest tool."""
        box = self.limits.box
        if box is None:
            return "Where it meets", self.limits.failed, ()
        for (joint, _), gap in box.stops:
            if math.isfinite(gap.upper_mm):
                return f"Where {'XY'[joint]} ends", gap, ()
        for plane in self.planes:
            if plane.stop is not None and math.isfinite(plane.stop.upper_mm):
                return f"What stops {plane.hand.name}", plane.stop, plane.hand.bodies
        return "", None, ()

    def _flips(self) -> str | None:
        box, ranges = self.limits.box, self.findings.ranges
        if box is None or not box.stops:
            return None
        (joint, sign), gap = box.stops[0]
        end = float((box.low if sign < 0 else box.high)[joint])
        travel = float((ranges.low if sign < 0 else ranges.high)[joint])
        short = self.findings.units.text(Kind.LENGTH, abs(travel - end))
        return (
            f"The whole {'XY'[joint]} travel would be free if {gap.pair[0] or 'what stops it'} "
            f"stood {short} further off."
        )

    def _assumed(self) -> tuple[str, ...]:
        findings = self.findings
        told = [*findings.ranges.assumed, *findings.asked_told, *findings.scene.assumed]
        told += findings.scene.left_out
        told += findings.hoses_left_out
        told += [
            f"{plane.hand.name} is taken as a thick round bar: {plane.hand.guessed.what} is not "
            "entered."
            for plane in self.planes
            if plane.hand.guessed is not None
        ]
        told += [
            f"{tool.name or f'T{tool.number}'} is not judged: its length is not entered."
            for tool in findings.cell.tools
            if tool.length is None
        ]
        if self.warm.refused:
            told.append(f"No warm-up program is offered: {self.warm.refused}.")
        return tuple(dict.fromkeys(told))

    def _missing(self) -> tuple[Missing, ...]:
        wanted = [*self.findings.scene.missing]
        wanted += [plane.hand.guessed for plane in self.planes if plane.hand.guessed is not None]
        first: dict[str, Missing] = {}
        for item in wanted:
            first.setdefault(item.where, item)
        return tuple(first.values())


def _any_turn(plane: PlaneFinding) -> bool:
    assert plane.poses is not None
    return float(plane.poses.high[4] - plane.poses.low[4]) >= 2.0 * math.pi - 1e-9


def _listed(words: list[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]
