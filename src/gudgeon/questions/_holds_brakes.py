"""What `holds` says of the brakes against the weight and every cut."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Final

from gudgeon.answer import Missing
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.judged import Judged
from gudgeon.findings.loads import NO_TORQUE_NM, BrakeCheck
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.questions._holds_shape import Check, Mend

__all__ = ["brake_checks"]

PLAIN_CUT: Final = 0.5
"""Asking for less than this share of the planned thrust is another plan, not a condition."""


def brake_checks(
    findings: Findings,
    lacks: Callable[[Iterable[Missing]], None],
    keeps: Callable[[Mend], None],
) -> Iterable[Check]:
    """Return the checks of the brakes.

    Tells `lacks` what single operations lack, and `keeps` which conditions are needed although
    the plan holds.
    """
    units = findings.units
    found: list[Check] = []
    try:
        found.append(_at_rest(findings, findings.brake_at_rest))
    except Lacking as lacking:
        lacks(lacking.missing)
    try:
        checks, gaps = findings.brake_checks
    except Lacking as lacking:
        lacks(lacking.missing)
    else:
        lacks(gaps.missing)
        for check in checks:
            if check.demand is not None and not check.cut.borrowed:
                found.append(_brake(check, check.demand, units, findings.cell.file))
        found = _other_poses(checks, found, keeps)
    lacks(_idle(findings))
    return found


def _other_poses(
    checks: tuple[BrakeCheck, ...], found: list[Check], keeps: Callable[[Mend], None]
) -> list[Check]:
    """Return the checks, a failing cut mended by another pose in which the brakes surely hold it.

    A pose in which they do not, of a cut that holds in its own, is a condition to keep.
    """
    states: dict[tuple[str, str], set[str]] = {}
    for check in checks:
        if check.demand is not None:
            key = (check.cut.own_name, check.cut.borrowed)
            states.setdefault(key, set()).add(check.demand.state)
    mends: dict[str, Mend] = {}
    for (name, face), seen in states.items():
        if not face:
            continue
        own_holds = states.get((name, "")) == {"holds"}
        if own_holds and seen != {"holds"}:
            keeps(Mend(f'"{name}" is not cut in the pose of "{face}"', keeps_plan=True))
        elif not own_holds and seen == {"holds"}:
            mends.setdefault(
                name, Mend(f'"{name}" is cut in the pose of "{face}"', keeps_plan=True)
            )
    return [
        replace(check, mend=mends[check.cut], fix=f"See that {mends[check.cut].words}.")
        if check.cut in mends and check.state != "holds"
        else check
        for check in found
    ]


def _idle(findings: Findings) -> list[Missing]:
    """Return what would settle the operations whose force nobody can tell, each entry once."""
    wanted: dict[str, list[tuple[str, Missing]]] = {}
    for cut in findings.operation_cuts_known:
        gap = cut.forces.open
        if cut.pushes or gap is None:
            continue
        alike = wanted.setdefault(gap.where.rpartition(".")[2], [])
        if cut.operation not in [name for name, _ in alike]:
            alike.append((cut.operation, gap))
    found = []
    for alike in wanted.values():
        first = alike[0][1]
        more = f" (and {len(alike) - 1} more)" if len(alike) > 1 else ""
        found.append(replace(first, what=f"{first.what}{more}"))
    return found


def _at_rest(findings: Findings, held: Judged) -> Check:
    units, role = findings.units, findings.level_role
    return Check(
        line=f"the {role} brake, with its safety, may hold "
        f"{units.text(Kind.TORQUE, held.limit)}; the weight alone asks "
        f"{units.text(Kind.TORQUE, held.value)}",
        state=held.state,
        share=held.value / held.limit,
        flips=f"the weight alone uses up the {role} brake at {units.text(Kind.TORQUE, held.limit)}",
        fix=f"Balance the load about the {role} line: lower the fixture or hang a counterweight.",
        doubt=_brake_doubt(findings.cell.file, role) if held.state == "unsure" else None,
    )


def _brake(check: BrakeCheck, demand: Judged, units: Units, file: str) -> Check:
    cut, forces = check.cut, check.cut.forces
    mend, fix = None, ""
    if demand.state != "holds":
        mend, fix = _lighter(check, demand, units)
    doubt = None
    if demand.state == "unsure":
        doubt = _brake_doubt(file, check.role)
        if forces.estimated and forces.open is not None:
            doubt = replace(
                forces.open,
                why=f"its estimate reaches past what the {check.role} brake may hold",
            )
    return Check(
        line=f'"{cut.name}" asks {_asked(units, demand)} of the {check.role} brake, which may hold '
        f"{units.text(Kind.TORQUE, demand.limit)} with its safety",
        state=demand.state,
        share=demand.value / demand.limit,
        flips=_limit_words(check, demand, units),
        mend=mend,
        fix=fix,
        doubt=doubt,
        cut=cut.own_name,
    )


def _limit_words(check: BrakeCheck, demand: Judged, units: Units) -> str:
    """Return at which value of what the shop can set the brake is at its limit."""
    cut, forces, limit = check.cut, check.cut.forces, check.thrust_limit_n
    at = f'"{cut.name}" is at the limit of the {check.role} brake '
    pushed = demand.value - check.gravity_nm
    times = 0.0
    if pushed > NO_TORQUE_NM:
        times = max(0.0, demand.limit - check.gravity_nm) / pushed
    if times > 0.0 and forces.depth is not None:
        depth = units.text(Kind.LENGTH, times * forces.depth.value, limit="max")
        return f"{at}at a depth of cut of {depth}"
    if times > 0.0 and forces.power is not None:
        power = units.text(Kind.POWER, times * forces.power.value, limit="max")
        return f"{at}at a spindle load of {power}"
    if limit is not None and limit > 0.0 and cut.thrust:
        return f"{at}at a thrust of {units.text(Kind.FORCE, limit, limit='max')}"
    if times > 0.0:
        return f"{at}with forces {times:.2f} times as high"
    return f"{at}at {units.text(Kind.TORQUE, demand.limit)}"


def _lighter(check: BrakeCheck, demand: Judged, units: Units) -> tuple[Mend | None, str]:
    """Return the condition under which a cut surely holds, if there is one, and the fix."""
    cut, forces, sure = check.cut, check.cut.forces, check.thrust_sure_n
    thrust = cut.thrust.value if cut.thrust else 0.0
    if forces.work == "mills" and forces.estimated:
        return _shallower(check, demand, units)
    if demand.state == "unsure":
        if sure is None or thrust <= 0.0:
            return None, f'Cut "{cut.name}" in a pose with a shorter lever, or lighter.'
        return None, (
            f'Take less feed or a pilot hole for "{cut.name}", so that its thrust surely stays '
            f"under {units.text(Kind.FORCE, sure, limit='max')}."
        )
    if sure is not None and thrust > 0.0 and PLAIN_CUT * thrust <= sure < thrust:
        floor = units.text(Kind.FORCE, sure, limit="max")
        mend = Mend(f'the thrust of "{cut.name}" stays under {floor}')
        return mend, f'Drill "{cut.name}" with less feed or a pilot hole, under {floor}.'
    return None, f'Cut "{cut.name}" in a pose with a shorter lever, or lighter.'


def _shallower(check: BrakeCheck, demand: Judged, units: Units) -> tuple[Mend | None, str]:
    """Return how light a cutter must cut so that the estimate surely holds."""
    cut, forces = check.cut, check.cut.forces
    pushed = demand.value - check.gravity_nm
    # The doubt of the estimate shrinks with the cut: both are in proportion to it.
    room = demand.limit - check.gravity_nm
    times = room / (pushed + demand.margin_plus_minus) if pushed > NO_TORQUE_NM else 0.0
    plain = f'Cut "{cut.name}" in a pose with a shorter lever, or lighter.'
    if times <= 0.0:
        return None, plain
    if forces.depth is not None:
        most = units.text(Kind.LENGTH, times * forces.depth.value, limit="max")
        words, fix = f'"{cut.name}" cuts no deeper than {most}', f"no deeper than {most}"
    elif forces.power is not None:
        most = units.text(Kind.POWER, times * forces.power.value, limit="max")
        words = f'the spindle load of "{cut.name}" stays under {most}'
        fix = f"with a spindle load under {most}"
    else:
        return None, plain
    mend = Mend(words) if times >= PLAIN_CUT and demand.state == "fails" else None
    return mend, f'Cut "{cut.name}" {fix}, in more passes.'


def _asked(units: Units, demand: Judged) -> str:
    value = units.text(Kind.TORQUE, demand.value)
    if demand.state != "unsure":
        return value
    return f"{value} (+- {units.text(Kind.TORQUE, demand.plus_minus)})"


def _brake_doubt(file: str, role: str) -> Missing:
    return Missing(
        f"closer holding torque of the {role} brake, or closer forces",
        f"{file}: unit.{role}_brake_torque",
        "the uncertainty reaches past what the brake may hold",
        "test the brake with a bar and a scale, and enter the torque with a smaller +-",
    )
