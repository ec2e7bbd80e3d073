"""Pictures of `holds`: torque and thrust over the tilt, and the bolts of the fixture."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from gudgeon.answer import Picture
from gudgeon.drawing.chart import Chart
from gudgeon.drawing.plan import Plan
from gudgeon.findings import Findings
from gudgeon.findings.clamping import Joint
from gudgeon.findings.loads import BrakeCheck, TorqueStages
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._holds_shown import DEG, known

__all__ = ["pictures"]

CURVE_STEPS: Final = 181
FAR_THRUST: Final = 4.0
"""The thrust picture ends at this many times the greatest planned thrust or least limit."""


def pictures(findings: Findings) -> tuple[Picture, ...]:
    """Return every picture that the entries allow."""
    found: list[Picture] = []
    level = known(lambda: findings.level_torque)
    if level is not None:
        found.append(_torque_picture(findings, level))
    checks = known(lambda: findings.brake_checks)
    if checks is not None:
        thrust = _thrust_picture(findings, checks[0])
        if thrust is not None:
            found.append(thrust)
    joint = known(lambda: findings.fixture_joint)
    match = known(lambda: findings.flange_match)
    if joint is not None and match is not None and match.bolts_here:
        found.append(_bolt_picture(findings, joint))
    return tuple(found)


def _torque_picture(findings: Findings, stages: TorqueStages) -> Picture:
    units, staged = findings.units, stages.torque
    last = len(staged.values) - 1
    low, high = findings.level_span_rad
    angles = np.linspace(low, high, CURVE_STEPS)
    axis = "programmed tilt" if findings.has_tilt else "programmed turn"
    chart = Chart(
        "holds-torque",
        f"{axis} (deg)",
        f"torque of the weight ({units.unit(Kind.TORQUE)})",
    )
    styles = {0: "thin", last: "bold"}
    for stage in sorted({0, last // 2, staged.worst_stage, last}):
        values = [units.shown(Kind.TORQUE, v) for v in findings.torque_curve(stage, angles)]
        label = "all parts on" if stage == last and last else f"{stage or 'no'} parts on"
        chart.curve(
            (angles * DEG).tolist(),
            values,
            "as it stands" if last == 0 else label,
            styles.get(stage, "hidden"),
        )
    chart.level(units.shown(Kind.TORQUE, staged.limit), "rating")
    return Picture("torque", f"Weight about the {stages.role} line", chart.svg())


def _thrust_picture(findings: Findings, checks: tuple[BrakeCheck, ...]) -> Picture | None:
    """Show the thrust limit over the tilt at the place of the thrust with the least room."""
    units, role = findings.units, findings.level_role
    limited = [c for c in checks if c.role == role and c.cut.place is not None and c.thrust_limit_n]
    if not limited:
        return None

    def room(check: BrakeCheck) -> float:
        planned = check.cut.thrust.value if check.cut.thrust else 0.0
        return (check.thrust_limit_n or 0.0) - planned

    tightest = min([c for c in limited if c.cut.thrust] or limited, key=room)
    cut = tightest.cut
    low, high = findings.level_span_rad
    angles = np.linspace(low, high, CURVE_STEPS)
    limits = findings.thrust_curve(tightest, angles)
    planned = cut.thrust.value if cut.thrust else 0.0
    top = FAR_THRUST * max(tightest.thrust_limit_n or 0.0, planned)
    shown = [
        units.shown(Kind.FORCE, v) if math.isfinite(v) and v <= top else math.nan
        for v in limits.tolist()
    ]
    axis = "programmed tilt" if findings.has_tilt else "programmed turn"
    chart = Chart("holds-thrust", f"{axis} (deg)", f"greatest thrust ({units.unit(Kind.FORCE)})")
    chart.curve((angles * DEG).tolist(), shown, f"limit for {cut.operation}")
    if cut.thrust:
        chart.mark(cut.tilt_rad * DEG, units.shown(Kind.FORCE, planned), "planned")
    return Picture(
        "thrust_limit",
        f"What the {role} brake leaves for a thrust; no limit straight over the line",
        chart.svg(),
    )


def _bolt_picture(findings: Findings, joint: Joint) -> Picture:
    units, match = findings.units, findings.flange_match
    radius, fixture = match.pitch_circle_mm / 2.0, match.fixture_circle_mm / 2.0
    reach = max(radius, fixture) + 2.0 * match.hole_mm
    clocking = match.here or match.clockings[0]
    turn = clocking.middle_rad
    plan = Plan("holds-bolts", -reach, -reach, reach, reach, inch=units.inch, width_px=480)
    plan.circle((0.0, 0.0), radius, style="axis")
    used = {pair[0] for pair in clocking.pairs}

    def at(angle: float, circle: float) -> tuple[float, float]:
        return circle * math.cos(angle), circle * math.sin(angle)

    for hole in match.fixture_holes:
        plan.circle(at(hole + turn, fixture), match.hole_mm / 2.0, style="thin")
    for i, hole in enumerate(match.platter_holes):
        fill = "solid" if i in used else None
        plan.circle(at(hole, radius), match.bolt_mm / 2.0, style="bold", fill=fill)
    plan.cross((0.0, 0.0))
    words = f"{joint.count} bolts, {units.text(Kind.FORCE, joint.preload[0])} each"
    plan.text((0.0, -0.35 * radius), words, small=True)
    return Picture("fixture_bolts", "Bolts that hold the fixture (filled)", plan.svg())
