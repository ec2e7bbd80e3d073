"""Figures, tables and pictures of the question `travels`."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Cell, Column, Figure, Picture, Table
from gudgeon.drawing.plan import Plan
from gudgeon.findings import Findings
from gudgeon.findings.hoses import HangingFinding, HoseFinding
from gudgeon.findings.travel import PlaneFinding, TravelFinding
from gudgeon.findings.written import Written
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._proof_views import angle_text, pair_text
from gudgeon.questions._shared import figure

__all__ = [
    "hanging_table",
    "hose_table",
    "limit_figures",
    "limit_table",
    "plan_picture",
    "plane_figures",
    "plane_table",
    "warm_up_table",
]

ROOM: Final = 0.08
SIDES: Final = ((0, -1), (0, 1), (1, -1), (1, 1))


def limit_figures(findings: Findings, limits: TravelFinding) -> list[Figure]:
    """Return the proven limits of X and Y."""
    box, ranges, units = limits.box, findings.ranges, findings.units
    if box is None:
        return []
    found = []
    for joint, sign in SIDES:
        end = (box.low if sign < 0 else box.high)[joint]
        travel = float((ranges.low if sign < 0 else ranges.high)[joint])
        stop = box.stop(joint, sign)
        note = "end of the machine's travel"
        if stop is not None:
            short = units.text(Kind.LENGTH, abs(float(end) - travel))
            note = f"{pair_text(stop)}; {short} short of the machine's travel"
        letter, side = "xy"[joint], "min" if sign < 0 else "max"
        found.append(
            figure(
                units,
                Kind.LENGTH,
                f"safe_{letter}_{side}",
                f"{'lowest' if sign < 0 else 'highest'} safe {letter.upper()}",
                float(end),
                note=note,
            )
        )
    return found


def limit_table(findings: Findings, limits: TravelFinding) -> Table | None:
    """Return each limit with what stops it and by how much it falls short of the travel."""
    box, ranges, units = limits.box, findings.ranges, findings.units
    if box is None:
        return None
    unit = units.unit(Kind.LENGTH)
    rows: list[tuple[Cell, ...]] = []
    for joint, sign in SIDES:
        end = float((box.low if sign < 0 else box.high)[joint])
        travel = float((ranges.low if sign < 0 else ranges.high)[joint])
        stop = box.stop(joint, sign)
        known = stop is not None and math.isfinite(stop.upper_mm)
        rows.append(
            (
                f"{'XY'[joint]} {'lowest' if sign < 0 else 'highest'}",
                units.shown(Kind.LENGTH, end),
                units.shown(Kind.LENGTH, travel),
                units.shown(Kind.LENGTH, abs(end - travel)),
                pair_text(stop) or "-",
                round(math.degrees(stop.joint[3]), 2) + 0.0 if known and stop else None,
                round(math.degrees(stop.joint[4]), 2) + 0.0 if known and stop else None,
            )
        )
    return Table(
        "limits",
        "Limits of X and Y for all tilts and turns",
        (
            Column("side", "side"),
            Column("safe", "proven safe", unit),
            Column("travel", "machine's travel", unit),
            Column("short", "falls short by", unit),
            Column("stopped_by", "stopped by"),
            Column("tilt", "at tilt", "deg"),
            Column("turn", "at turn", "deg"),
        ),
        tuple(rows),
    )


def plane_figures(findings: Findings, planes: tuple[PlaneFinding, ...]) -> list[Figure]:
    """Return the lowest plane of the tool that needs the highest one."""
    known = [plane for plane in planes if plane.z_mm is not None]
    if not known:
        return []
    worst = max(known, key=lambda plane: plane.z_mm or 0.0)
    return [
        figure(
            findings.units,
            Kind.LENGTH,
            "retract_z",
            "lowest machine Z over which X and Y are free",
            worst.z_mm,
            note=f"with {worst.hand.name}, length "
            f"{findings.units.text(Kind.LENGTH, worst.hand.length_mm)}; every tilt and turn",
        )
    ]


def plane_table(findings: Findings, planes: tuple[PlaneFinding, ...]) -> Table | None:
    """Return the retract plane of each tool."""
    if not planes:
        return None
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    rows: list[tuple[Cell, ...]] = []
    for plane in planes:
        if plane.z_mm is not None:
            poses = "every tilt and turn"
        elif plane.poses is None:
            poses = "none found"
        else:
            poses = _range_text(plane.poses.low[3], plane.poses.high[3], "tilt") + (
                ", "
                + (
                    "any turn"
                    if plane.poses.high[4] - plane.poses.low[4] >= 2.0 * math.pi - 1e-9
                    else _range_text(plane.poses.low[4], plane.poses.high[4], "turn")
                )
            )
        rows.append(
            (
                plane.hand.name,
                units.shown(Kind.LENGTH, plane.hand.length_mm),
                None if plane.z_mm is None else units.shown(Kind.LENGTH, plane.z_mm),
                poses,
                pair_text(plane.stop) or "-",
            )
        )
    return Table(
        "planes",
        "Lowest machine Z at which X and Y go anywhere",
        (
            Column("tool", "tool"),
            Column("length", "length", unit),
            Column("z", "lowest Z", unit),
            Column("poses", "free at"),
            Column("stopped_by", "stopped by"),
        ),
        tuple(rows),
    )


def _range_text(low: float, high: float, words: str) -> str:
    return f"{words} {angle_text(low).removesuffix(' deg')} to {angle_text(high)}"


def hose_table(findings: Findings, hoses: tuple[HoseFinding, ...]) -> Table | None:
    """Return how far each hose is stretched."""
    if not hoses:
        return None
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    rows: list[tuple[Cell, ...]] = [
        (
            hose.name,
            units.shown(Kind.LENGTH, hose.longest_mm),
            units.shown(Kind.LENGTH, hose.free_mm),
            units.shown(Kind.LENGTH, hose.margin_mm),
            units.shown(Kind.LENGTH, hose.shortest_mm),
            None if hose.bend_mm is None else units.shown(Kind.LENGTH, hose.bend_mm),
            _pose_text(hose.longest_at),
            _pose_text(hose.shortest_at),
        )
        for hose in hoses
    ]
    return Table(
        "hoses",
        "Hoses and cables over all tilts and turns",
        (
            Column("hose", "hose"),
            Column("longest", "stretched to", unit),
            Column("free", "free length", unit),
            Column("margin", "left", unit),
            Column("shortest", "ends as near as", unit),
            Column("bend", "its bend needs", unit),
            Column("at", "stretched most at"),
            Column("near_at", "ends nearest at"),
        ),
        tuple(rows),
    )


def _pose_text(angles: tuple[float, ...]) -> str:
    return ", ".join(angle_text(angle) for angle in angles) or "any pose"


def hanging_table(findings: Findings, hanging: tuple[HangingFinding, ...]) -> Table | None:
    """Return what each hose may meet where it hangs, and the tie that settles it."""
    if not hanging:
        return None
    units = findings.units
    rows: list[tuple[Cell, ...]] = [
        (
            hose.name,
            ", ".join(dict.fromkeys(what for what, _ in hose.meets)) or "nothing: it hangs free",
            None
            if hose.tie_mm is None
            else float(units.text(Kind.LENGTH, hose.tie_mm, limit="max").split()[0]),
        )
        for hose in hanging
    ]
    return Table(
        "hoses_hanging",
        "Hoses hanging anywhere that their length lets them reach, within the safe limits",
        (
            Column("hose", "hose"),
            Column("meets", "may reach"),
            Column("tie", "free with no more untied than", units.unit(Kind.LENGTH)),
        ),
        tuple(rows),
    )


def warm_up_table(warm: Written) -> Table | None:
    """Return the warm-up program, line by line."""
    if not warm.lines:
        return None
    return Table(
        "warm_up_program",
        "Warm-up through the safe travel, read back and proven"
        + (" for the empty spindle" if warm.empty_spindle else ""),
        (Column("line", "program"), Column("does", "what it does")),
        tuple(warm.lines),
    )


def plan_picture(findings: Findings, limits: TravelFinding) -> Picture | None:
    """Return travel and safe limits from above, to scale."""
    box, ranges = limits.box, findings.ranges
    if box is None:
        return None
    (x0, y0), (x1, y1) = ranges.low[:2].tolist(), ranges.high[:2].tolist()
    if x1 - x0 < 1.0 or y1 - y0 < 1.0:
        return None
    edge = ROOM * max(x1 - x0, y1 - y0)
    plan = Plan(
        "travels-plan", x0 - edge, y0 - edge, x1 + edge, y1 + edge, inch=findings.units.inch
    )
    plan.rectangle(x0, y0, x1, y1, style="hidden", fill="hatch")
    left, bottom = box.low[:2].tolist()
    right, top = box.high[:2].tolist()
    plan.rectangle(left, bottom, right, top, style="bold", fill="paper")
    plan.text((0.5 * (left + right), 0.5 * (bottom + top)), "proven for all tilts and turns")
    units = findings.units
    x, y = 0.5 * (left + right), 0.5 * (bottom + top)
    lift = 0.35 * edge
    # A blank keeps words a little off the line that they begin or end at.
    for at, anchor, text in (
        ((left, y), "start", f" X {units.text(Kind.LENGTH, left, limit='min')}"),
        ((right, y), "end", f"X {units.text(Kind.LENGTH, right, limit='max')} "),
        ((x, bottom + lift), "middle", f"Y {units.text(Kind.LENGTH, bottom, limit='min')}"),
        ((x, top - lift), "middle", f"Y {units.text(Kind.LENGTH, top, limit='max')}"),
    ):
        plan.text(at, text, anchor=anchor, small=True)
    return Picture(
        "safe_plan",
        "Machine X to the right, Y up; dashed: travel, bold: safe, hatched: not proven",
        plan.svg(),
    )
