"""Figures and tables of `holds`, each left out where its finding lacks entries."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, TypeVar

from gudgeon.answer import Column, Figure, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.clamping import Joint, SlipCheck
from gudgeon.findings.loads import BrakeCheck, TorqueStages
from gudgeon.findings.masses import Staged
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.quantity.ties import firm
from gudgeon.questions._holds_forces import force_table
from gudgeon.questions._shared import figure

__all__ = ["DEG", "figures", "known", "tables"]

T = TypeVar("T")

NO_LIMIT: Final = "none from the brake"
DEG: Final = math.degrees(1.0)


def known(work: Callable[[], T]) -> T | None:
    """Return a finding, or ``None`` if it lacks entries."""
    try:
        return work()
    except Lacking:
        return None


def tidy(value: float) -> float:
    """Return a value without the rounding noise of sines and square roots."""
    return round(value, 6) + 0.0


def doubt(plus_minus: float) -> float | None:
    """Return an uncertainty, or ``None`` where there is none but rounding noise."""
    return plus_minus if plus_minus > 1e-9 else None


# --- figures --------------------------------------------------------------------------------


def figures(findings: Findings) -> tuple[Figure, ...]:
    """Return every figure that the entries allow."""
    units = findings.units
    found: list[Figure] = []
    level = known(lambda: findings.level_torque)
    if level is not None:
        found += _level_figures(findings, level)
    if findings.has_tilt:
        rotary = known(lambda: findings.rotary_torque)
        if rotary is not None:
            rated = findings.cell.unit.rated_rotary_torque is not None
            found += _rotary_figures(units, rotary, rated)
    found += _brake_figures(findings)
    joint = known(lambda: findings.fixture_joint)
    if joint is not None:
        found += _joint_figures(units, joint, "bolts", "fixture on the platter")
    for name, label, work in (
        ("table_load", "mass on the table, fully loaded", lambda: findings.table_load),
        ("platter_load_flat", "load on the platter, flat", lambda: findings.platter_load_flat),
        (
            "platter_load_upright",
            "load on the platter, upright",
            lambda: findings.platter_load_upright,
        ),
    ):
        staged = known(work)
        if staged is not None and (findings.has_tilt or name != "platter_load_flat"):
            found.append(_mass_figure(units, staged, name, label))
    table = known(lambda: findings.table_joint)
    if table is not None:
        found += _joint_figures(units, table, "table_bolts", "unit on the table")
    return tuple(found)


def _mass_figure(units: Units, staged: Staged, name: str, label: str) -> Figure:
    full = staged.full
    return figure(
        units,
        Kind.MASS,
        name,
        label,
        full.value,
        plus_minus=doubt(full.plus_minus),
        limit=full.limit,
        limit_kind="max",
    )


def _level_figures(findings: Findings, stages: TorqueStages) -> list[Figure]:
    units, staged, role = findings.units, stages.torque, stages.role
    where = _worst_pose(findings, stages)
    worst, full = staged.worst, staged.full
    planned = len(staged.values) - 1
    most = staged.most_parts
    within = stages.within_rad[-1]
    ends = [] if within is None else [abs(end) for end in within]
    # Only an end that the rating sets is a limit of the angle; the others are ends of the axis.
    limited = full.state != "holds" and within is not None
    found = [
        figure(
            units,
            Kind.TORQUE,
            f"{role}_torque",
            f"greatest torque of the weight about the {role} line, all planned stages",
            worst.value,
            plus_minus=doubt(worst.plus_minus),
            limit=worst.limit,
            limit_kind="max",
            note=f"{staged.worst_stage} of {planned} parts on, at {where}",
        ),
        figure(
            units,
            Kind.SHARE,
            f"{role}_share",
            f"the same, share of the {role} drive's rating",
            worst.value / worst.limit,
            limit=1.0,
            limit_kind="max",
        ),
        figure(
            units,
            Kind.TORQUE,
            f"{role}_torque_full",
            f"torque about the {role} line, fully loaded",
            full.value,
            plus_minus=doubt(full.plus_minus),
            limit=full.limit,
            limit_kind="max",
        ),
        figure(
            units,
            Kind.TORQUE,
            f"{role}_torque_any_order",
            "the same, whatever part goes on or comes off first",
            stages.any_order_nm,
            limit=full.limit,
            limit_kind="max",
            note="no choice of loaded parts asks more",
        ),
    ]
    if planned:
        found.append(
            Figure(
                name="most_parts",
                label="most parts within the rating, in loading order",
                value=None if most is None else float(most),
                note="not even the empty fixture" if most is None else f"of {planned}",
            )
        )
    if limited:
        found.append(
            figure(
                units,
                Kind.ANGLE,
                "full_load_angle_limit",
                "fully loaded, tilt either way up to which the rating holds",
                min(ends),
                note="beyond it the drive is overloaded",
            )
        )
    return found


def _worst_pose(findings: Findings, stages: TorqueStages) -> str:
    """Return the angle of the greatest torque with its letter, both ways where both are alike."""
    control, stage = findings.cell.control, stages.torque.worst_stage
    letter = (control.tilt_letter if findings.has_tilt else control.rotary_letter) or "angle "
    angle = stages.tilt_rad[stage]
    low, high = findings.level_span_rad
    here, mirrored = findings.torque_curve(stage, [angle, -angle])
    shown = round(angle * DEG, 1) + 0.0
    words = f"{letter}{shown:g}"
    both = abs(angle) > 1e-9 and low <= -angle <= high and math.isclose(here, mirrored)
    return f"{words} or {letter}{-shown:g}" if both else words


def _rotary_figures(units: Units, stages: TorqueStages, rated: bool) -> list[Figure]:
    worst = stages.torque.worst
    return [
        figure(
            units,
            Kind.TORQUE,
            "rotary_torque",
            "greatest torque of the weight about the tilted rotary line",
            worst.value,
            plus_minus=doubt(worst.plus_minus),
            limit=worst.limit if rated else None,
            limit_kind="max" if rated else None,
            note=f"{stages.torque.worst_stage} of {len(stages.torque.values) - 1} parts on",
        ),
        figure(
            units,
            Kind.TORQUE,
            "rotary_torque_any_order",
            "the same, whatever part goes on or comes off first",
            stages.any_order_nm,
            limit=worst.limit if rated else None,
            limit_kind="max" if rated else None,
        ),
    ]


def _brake_figures(findings: Findings) -> list[Figure]:
    units, found = findings.units, []
    rest = known(lambda: findings.brake_at_rest)
    if rest is not None:
        found.append(
            figure(
                units,
                Kind.TORQUE,
                "brake_at_rest",
                f"the weight alone on the {findings.level_role} brake",
                rest.value,
                plus_minus=doubt(rest.plus_minus),
                limit=rest.limit,
                limit_kind="max",
                note="limit: brake torque over its safety factor",
            )
        )
    checks = known(lambda: findings.brake_checks)
    if checks is not None:
        own = [c for c in checks[0] if not c.cut.borrowed]
        judged = [c for c in own if c.demand is not None and c.demand.limit > 0.0]
        worst = max(
            judged, key=lambda c: c.demand.value / c.demand.limit if c.demand else 0.0, default=None
        )
        if worst is not None and worst.demand is not None:
            found.append(
                figure(
                    units,
                    Kind.TORQUE,
                    "brake_demand",
                    f"hardest cut on a brake: {worst.cut.name}, {worst.role} brake",
                    worst.demand.value,
                    plus_minus=doubt(worst.demand.plus_minus),
                    limit=worst.demand.limit,
                    limit_kind="max",
                    note="weight and cut pushing the same way",
                )
            )
    return found


def _joint_figures(units: Units, joint: Joint, prefix: str, what: str) -> list[Figure]:
    found = [
        Figure(f"{prefix}_count", f"bolts of the {what}", float(joint.count)),
        figure(
            units,
            Kind.FORCE,
            f"{prefix}_preload",
            f"preload of one bolt, {what}",
            joint.preload[0],
            plus_minus=doubt(joint.preload[1]),
            note="from the tightening torque",
        ),
        figure(
            units,
            Kind.FORCE,
            f"{prefix}_capacity",
            "push along the faces that one bolt holds",
            joint.capacity[0],
            plus_minus=doubt(joint.capacity[1]),
        ),
    ]
    least, parted = joint.least, joint.parted
    if least is not None and least.safety is not None:
        found.append(
            figure(
                units,
                Kind.NUMBER,
                f"{prefix}_slip_safety",
                f"least safety against slip: {least.name}",
                least.safety.value,
                plus_minus=doubt(least.safety.plus_minus),
                limit=1.0,
                limit_kind="min",
                note="the low side of the range must reach the limit",
            )
        )
    if parted is not None and parted.parting is not None:
        found.append(
            figure(
                units,
                Kind.FORCE,
                f"{prefix}_pull",
                f"greatest pull of tipping on one bolt: {parted.name}",
                parted.parting.value,
                plus_minus=doubt(parted.parting.plus_minus),
                limit=joint.preload[0] - joint.preload[1],
                limit_kind="max",
                note="limit: what a loosely tightened bolt clamps",
            )
        )
    if joint.stretch is not None:
        found.append(
            figure(
                units,
                Kind.FORCE,
                f"{prefix}_load",
                "greatest load of one bolt",
                joint.stretch.value,
                plus_minus=doubt(joint.stretch.plus_minus),
                limit=joint.stretch.limit,
                limit_kind="max",
                note="limit: proof load of its class",
            )
        )
    return found


# --- tables ---------------------------------------------------------------------------------


def tables(findings: Findings) -> tuple[Table, ...]:
    """Return every table that the entries allow."""
    found: list[Table] = []
    level = known(lambda: findings.level_torque)
    if level is not None:
        found.append(_torque_table(findings, level))
    checks = known(lambda: findings.brake_checks)
    if checks is not None and checks[0]:
        found.append(_operation_table(findings, checks[0]))
    forces = force_table(findings)
    if forces is not None:
        found.append(forces)
    for name, title, work in (
        ("slip", "Bolts between fixture and platter", lambda: findings.fixture_joint),
        ("table_slip", "Bolts between unit and table", lambda: findings.table_joint),
    ):
        joint = known(work)
        if joint is not None:
            found.append(_slip_table(findings.units, joint, name, title))
    return tuple(found)


def _torque_table(findings: Findings, stages: TorqueStages) -> Table:
    units = findings.units
    rotary = known(lambda: findings.rotary_torque) if findings.has_tilt else None
    torque, angle = units.unit(Kind.TORQUE), units.unit(Kind.ANGLE)
    columns = [
        Column("parts", "parts on"),
        Column("last", "last put on"),
        Column("torque", f"{stages.role} torque", torque),
        Column("percent", "of the rating", "%"),
        Column("worst_tilt", "at", angle),
        Column("tilt_from", "rating holds from", angle),
        Column("tilt_to", "to", angle),
    ]
    if rotary is not None:
        columns.append(Column("rotary_torque", "rotary torque", torque))
    names = ("none", *findings.part_names)
    rows = []
    for stage, value in enumerate(stages.torque.values.tolist()):
        within = stages.within_rad[stage]
        row: list[str | float | None] = [
            float(stage),
            names[stage],
            units.shown(Kind.TORQUE, tidy(value)),
            tidy(100.0 * value / stages.torque.limit),
            tidy(stages.tilt_rad[stage] * DEG),
            None if within is None else tidy(within[0] * DEG),
            None if within is None else tidy(within[1] * DEG),
        ]
        if rotary is not None:
            row.append(units.shown(Kind.TORQUE, tidy(float(rotary.torque.values[stage]))))
        rows.append(tuple(row))
    return Table(
        f"{stages.role}_torque",
        f"Weight about the {stages.role} line, part by part",
        tuple(columns),
        tuple(rows),
    )


def _operation_table(findings: Findings, checks: tuple[BrakeCheck, ...]) -> Table:
    units = findings.units
    torque, force = units.unit(Kind.TORQUE), units.unit(Kind.FORCE)
    columns = (
        Column("operation", "operation"),
        Column("brake", "brake"),
        Column("tilt", "tilt", "deg"),
        Column("turn", "turn", "deg"),
        Column("gravity", "weight", torque),
        Column("lever", "lever", units.unit(Kind.LENGTH)),
        Column("thrust_limit", "thrust limit", force),
        Column("thrust", "thrust", force),
        Column("side_force", "side force", force),
        Column("margin", "thrust left", force),
        Column("demand", "asked of the brake", torque),
        Column("allowed", "it may hold", torque),
    )
    rows = []
    for check, name in _worst_of_each(checks):
        cut, limit, demand = check.cut, check.thrust_limit_n, check.demand
        thrust = cut.thrust.value if cut.thrust else None
        rows.append(
            (
                name,
                check.role,
                tidy(cut.tilt_rad * DEG) if findings.has_tilt else None,
                tidy(cut.turn_rad * DEG),
                units.shown(Kind.TORQUE, tidy(check.gravity_nm)),
                units.shown(Kind.LENGTH, tidy(check.lever_mm)),
                NO_LIMIT if limit is None else units.shown(Kind.FORCE, limit),
                None if thrust is None else units.shown(Kind.FORCE, thrust),
                units.shown(Kind.FORCE, cut.side_force.value) if cut.side_force else None,
                None
                if thrust is None or limit is None
                else units.shown(Kind.FORCE, limit - thrust),
                None if demand is None else units.shown(Kind.TORQUE, demand.value),
                None if demand is None else units.shown(Kind.TORQUE, demand.limit),
            )
        )
    return Table("operations", "Cuts against the brakes", columns, tuple(rows))


def _worst_of_each(checks: tuple[BrakeCheck, ...]) -> list[tuple[BrakeCheck, str]]:
    """Return for each operation, pose and brake the station that asks most, and the row's name."""
    groups: dict[tuple[int, str, str], list[BrakeCheck]] = {}
    for check in checks:
        key = (check.cut.number, check.role, check.cut.borrowed)
        groups.setdefault(key, []).append(check)
    found = []
    for group in groups.values():
        worst = max(group, key=lambda c: (firm(_asks(c)), -firm(c.thrust_limit_n or math.inf)))
        alike = all(math.isclose(_asks(c), _asks(worst), rel_tol=1e-6) for c in group)
        alone = worst.cut.operation
        if worst.cut.borrowed:
            alone += f', pose of "{worst.cut.borrowed}"'
        found.append((worst, alone if alike else worst.cut.name))
    return found


def _asks(check: BrakeCheck) -> float:
    return check.demand.value if check.demand is not None else check.gravity_nm


def _slip_table(units: Units, joint: Joint, name: str, title: str) -> Table:
    force = units.unit(Kind.FORCE)
    columns = (
        Column("case", "case"),
        Column("push", "push", force),
        Column("twist", "twist", units.unit(Kind.TORQUE)),
        Column("demand", "worst bolt", force),
        Column("capacity", "one bolt holds", force),
        Column("safety", "safety"),
        Column("pull", "pull of tipping", force),
    )
    groups: dict[str, list[SlipCheck]] = {}
    for check in joint.checks:
        groups.setdefault(check.operation, []).append(check)
    worst = [
        max(group, key=lambda c: (firm(c.demand_n), firm(c.pull_n or 0.0)))
        for group in groups.values()
    ]
    rows = tuple(
        (
            check.operation,
            units.shown(Kind.FORCE, tidy(check.push_n)),
            units.shown(Kind.TORQUE, tidy(check.twist_nm)),
            units.shown(Kind.FORCE, tidy(check.demand_n)),
            units.shown(Kind.FORCE, joint.capacity[0]),
            None if check.safety is None else check.safety.value,
            None if check.pull_n is None else units.shown(Kind.FORCE, check.pull_n),
        )
        for check in worst
    )
    return Table(name, title, columns, rows)
