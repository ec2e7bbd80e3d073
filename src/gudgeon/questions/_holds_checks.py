"""What `holds` checks, one after the other: weight, brakes (`_holds_brakes`), bolted joints."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from gudgeon.answer import Missing
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.clamping import Joint
from gudgeon.findings.judged import Judged
from gudgeon.findings.loads import NO_TORQUE_NM, TorqueStages
from gudgeon.findings.masses import Staged
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.questions._holds_brakes import brake_checks
from gudgeon.questions._holds_shape import Check, Mend, Tried, degrees
from gudgeon.strength.gravity import GRAVITY, MM_PER_M

__all__ = ["try_all"]


def try_all(findings: Findings) -> Tried:
    """Make every check that the entries allow."""
    checks: list[Check] = []
    missing: list[Missing] = []
    conditions: list[Mend] = []

    def lacks(items: Iterable[Missing]) -> None:
        known = {item.where for item in missing}
        missing.extend(item for item in items if item.where not in known)

    def attempt(work: Callable[[], Iterable[Check]]) -> None:
        try:
            checks.extend(work())
        except Lacking as lacking:
            lacks(lacking.missing)

    def torques(stages: TorqueStages) -> Iterable[Check]:
        check = _torque(findings, stages)
        if check.state == "holds" and not stages.any_order_holds:
            conditions.append(_order_condition(findings, stages))
        return [check]

    attempt(lambda: torques(findings.level_torque))
    if findings.has_tilt:
        attempt(lambda: torques(findings.rotary_torque))
    attempt(lambda: brake_checks(findings, lacks, conditions.append))
    attempt(lambda: _fixture_joint(findings, lacks))
    attempt(lambda: [_mass(findings, findings.table_load, "machine.table_load", "the table")])
    if findings.has_tilt:
        attempt(lambda: [_platter(findings, findings.platter_load_flat, "flat")])
    if not findings.has_tilt or max(map(abs, findings.level_span_rad)) > 1e-9:
        attempt(lambda: [_platter(findings, findings.platter_load_upright, "upright")])
    attempt(lambda: _table_joint(findings, lacks))
    return Tried(tuple(checks), tuple(missing), tuple(conditions))


# --- weight ---------------------------------------------------------------------------------


def _platter(findings: Findings, staged: Staged, word: str) -> Check:
    return _mass(findings, staged, f"unit.rated_load_{word}", f"the platter {word}")


def _mass(findings: Findings, staged: Staged, key: str, where: str) -> Check:
    units, full = findings.units, staged.full
    over = full.value - full.limit
    return Check(
        line=f"{where} carries {units.text(Kind.MASS, full.value)} of "
        f"{units.text(Kind.MASS, full.limit)}",
        state=full.state,
        share=full.value / full.limit,
        flips=f"{where} is at its limit with {units.text(Kind.MASS, abs(over))} "
        f"{'less' if over > 0.0 else 'more'} on it",
        mend=_fewer(findings, staged) if full.state != "holds" else None,
        fix=f"Take {units.text(Kind.MASS, over, limit='min')} off: a lighter fixture, or fewer "
        "parts."
        if over > 0.0
        else "",
        doubt=Missing(
            "closer masses of unit, fixture and parts",
            f"{findings.cell.file}: {key}",
            f"their uncertainty reaches past the limit of {where}",
            "weigh what stands on it and enter the masses with a smaller +-",
        )
        if full.state == "unsure"
        else None,
    )


def _fewer(findings: Findings, staged: Staged) -> Mend | None:
    most, planned = staged.most_parts, len(staged.values) - 1
    if not most or most >= planned:
        return None
    return Mend(f"at most {most} of {planned} parts are on", parts=most)


def _torque(findings: Findings, stages: TorqueStages) -> Check:
    units, staged = findings.units, stages.torque
    worst, stage = staged.worst, staged.worst_stage
    planned = len(staged.values) - 1
    when = "fully loaded" if stage == planned else f"with {stage} of {planned} parts on"
    if planned == 0:
        when = "as it stands"
    limit = worst.limit
    share = worst.value / limit
    over_nm = worst.value - limit
    mend = _torque_mend(findings, stages) if worst.state != "holds" else None
    if worst.value <= NO_TORQUE_NM:
        flips = f"nothing hangs on the {stages.role} drive: the load is balanced about its line"
    elif worst.state == "holds":
        flips = (
            f"the {stages.role} drive is at its rating with a load {1.0 / share:.2f} times as heavy"
        )
    else:
        flips = (
            f"the {stages.role} drive would hold with a rating of "
            f"{units.text(Kind.TORQUE, worst.value + worst.margin_plus_minus, limit='min')}"
        )
    return Check(
        line=f"{when}, the load's weight asks {units.text(Kind.TORQUE, worst.value)} of the "
        f"{stages.role} drive, rated {units.text(Kind.TORQUE, limit)} ({share:.1%})",
        state=worst.state,
        share=share,
        flips=flips,
        mend=mend,
        fix=_torque_fix(findings, stages, over_nm) if worst.state == "fails" else "",
        doubt=Missing(
            f"closer masses and places for the {stages.role} axis",
            f"{findings.cell.file}: fixture.mass_centre",
            f"their uncertainty reaches past the rating of the {stages.role} drive",
            "weigh fixture and part, find their centres of mass, enter them with a smaller +-",
        )
        if worst.state == "unsure"
        else None,
    )


def _torque_mend(findings: Findings, stages: TorqueStages) -> Mend | None:
    """Return the plain condition that costs least.

    A tilt to stay within, if no cut needs more; another order, if only a stage on the way is too
    much; else fewer parts.
    """
    staged = stages.torque
    planned = len(staged.values) - 1
    within = _common_tilt(stages)
    cuts = [cut for cut in findings.operation_cuts_known if not cut.borrowed]
    if within is not None and cuts and all(_inside(c.tilt_rad, within) for c in cuts):
        words = f"the tilt stays between {degrees(within[0])} and {degrees(within[1])}"
        return Mend(words)
    if staged.full.state == "holds":
        better = findings.better_order
        if better is not None and better[1] <= 1.0:
            return Mend(
                f"the parts go on in the order {', '.join(better[0])}, and come off in reverse",
                keeps_plan=True,
            )
    most = staged.most_parts
    if most and most < planned:
        return Mend(f"at most {most} of {planned} parts are on", parts=most)
    if within is not None and staged.full.state == "holds" and within[1] - within[0] > 0.0:
        return Mend(
            f"the tilt stays between {degrees(within[0])} and {degrees(within[1])} while only some "
            "of the parts are on"
        )
    return None


def _common_tilt(stages: TorqueStages) -> tuple[float, float] | None:
    lows, highs = [], []
    for within in stages.within_rad:
        if within is None:
            return None
        lows.append(within[0])
        highs.append(within[1])
    return max(lows), min(highs)


def _inside(angle: float, within: tuple[float, float]) -> bool:
    return within[0] - 1e-9 <= angle <= within[1] + 1e-9


def _torque_fix(findings: Findings, stages: TorqueStages, over_nm: float) -> str:
    units, staged = findings.units, stages.torque
    better = findings.better_order
    if staged.full.state == "holds" and better is not None and better[1] < 1.0:
        return (
            f"Load in the order {', '.join(better[0])}: the drives then reach at most "
            f"{better[1]:.0%} of their ratings."
        )
    moment = over_nm * MM_PER_M / GRAVITY
    arm = 100.0
    side = "beyond the tilt line" if stages.role == "tilt" else "opposite the heavy side"
    parts = ""
    most = staged.most_parts
    if most and most < len(staged.values) - 1:
        parts = f"Load {most} parts instead of {len(staged.values) - 1}, or hang"
    return (
        f"{parts or 'Hang'} a counterweight of at least "
        f"{units.text(Kind.MASS, moment / arm, decimals=2, limit='min')} at "
        f"{units.text(Kind.LENGTH, arm, decimals=1)} {side}."
    )


def _order_condition(findings: Findings, stages: TorqueStages) -> Mend:
    units = findings.units
    return Mend(
        "the parts go on in the order of the stations and come off in reverse (another order can "
        f"ask up to {units.text(Kind.TORQUE, stages.any_order_nm)} of the {stages.role} drive)",
        keeps_plan=True,
    )


# --- joints ---------------------------------------------------------------------------------


def _fixture_joint(findings: Findings, lacks: Callable[[Iterable[Missing]], None]) -> list[Check]:
    joint = findings.fixture_joint
    lacks(findings.cuts_lacking.missing)
    lacks(findings.fixture_cuts_lacking.missing)
    return _joint(findings, joint, "fixture.bolts", "the fixture", lacks)


def _table_joint(findings: Findings, lacks: Callable[[Iterable[Missing]], None]) -> list[Check]:
    return _joint(findings, findings.table_joint, "placement.bolts", "the unit on the table", lacks)


def _joint(
    findings: Findings,
    joint: Joint,
    key: str,
    what: str,
    lacks: Callable[[Iterable[Missing]], None],
) -> list[Check]:
    units, file = findings.units, findings.cell.file
    needed, most = joint.torque_needed_nm, joint.torque_most_nm
    tighter, least_torque = None, ""
    window = -1.0 if needed is None or most is None else units.shown(Kind.TORQUE, most - needed)
    if needed is not None and most is not None and window >= 0.1:
        places = 0 if window >= 2.0 else 1 if window >= 0.2 else 2
        least_torque = units.text(Kind.TORQUE, needed, decimals=places, limit="min")
        most_torque = units.text(Kind.TORQUE, most, decimals=places, limit="max")
        tighter = Mend(
            f"the {joint.count} bolts of {what} are tightened to {least_torque} or a little more, "
            f"at most {most_torque}",
            keeps_plan=True,
        )
    fix = (
        f"Tighten the bolts of {what} to {least_torque}."
        if tighter
        else f"Hold {what} with more, bigger or stronger bolts, or pin it with a close dowel."
    )
    doubt = Missing(
        f"preload of the bolts of {what}",
        f"{file}: {key}.nut_factor",
        "the spread of a torque wrench reaches past the limit",
        "tighten a sample bolt in a load cell or by measured stretch; enter nut_factor with +-",
    )
    found = []
    if any(check.parting is None for check in joint.checks):
        lacks([_tipping_open(joint, key, what, file)])
    least = joint.least
    if least is not None and least.safety is not None:
        safety = least.safety
        low = max(safety.value - safety.plus_minus, 1e-9)
        found.append(
            Check(
                line=f'{what} holds "{least.name}" against slip {safety.value:.2f} times over'
                f" ({low:.2f} with loosely tightened bolts)",
                state=safety.state,
                share=1.0 / max(safety.value, 1e-9),
                flips=f'{what} begins to slip under "{least.name}" if friction or preload '
                f"is {1.0 / safety.value:.2f} times as high as entered",
                mend=tighter if safety.state != "holds" else None,
                fix=fix,
                doubt=doubt if safety.state == "unsure" else None,
            )
        )
    parted = joint.parted
    if parted is not None and parted.parting is not None:
        pull = parted.parting
        found.append(
            Check(
                line=f'"{parted.name}" pulls {units.text(Kind.FORCE, pull.value)} on a bolt of '
                f"{what}, clamped with {units.text(Kind.FORCE, pull.limit)}",
                state=pull.state,
                share=pull.value / pull.limit,
                flips=f"{what} lifts off when a bolt clamps less than "
                + units.text(Kind.FORCE, pull.value),
                mend=tighter if pull.state != "holds" else None,
                fix=fix,
                doubt=doubt if pull.state == "unsure" else None,
            )
        )
    if joint.stretch is None:
        lacks(
            [
                Missing(
                    f"property class of the bolts of {what}",
                    f"{file}: {key}.strength",
                    "their stretch cannot be judged without it",
                    'read the class on the bolt head, such as "8.8", or enter proof_stress '
                    "from the bolts' standard",
                )
            ]
        )
    else:
        found.append(_stretch(joint, joint.stretch, what, units, doubt))
    return found


def _tipping_open(joint: Joint, key: str, what: str, file: str) -> Missing:
    """Return what keeps tipping from being judged: bolts in one line, or a cut without a place."""
    fewest = 4 if key.startswith("placement") else 3
    if joint.count < fewest:
        return Missing(
            f"{fewest} or more bolts of {what}, not in one line",
            f"{file}: {key}.count",
            "what tips the joint finds no hold that can be counted on in so few bolts",
            f"hold {what} with {fewest} or more bolts, well spread, and enter their count",
        )
    return Missing(
        f"height and place of every cut for the bolts of {what}",
        f"{file}: operations.at",
        "what tips the joint follows from where it is pushed",
        "measure from the rotary line and the platter face to the cut, and enter at",
    )


def _stretch(joint: Joint, stretch: Judged, what: str, units: Units, doubt: Missing) -> Check:
    needed, most = joint.torque_needed_nm, joint.torque_most_nm or 0.0
    mend = None
    if stretch.state != "holds" and most > 0.0 and (needed is None or needed <= most):
        mend = Mend(
            f"the bolts of {what} are tightened to at most "
            + units.text(Kind.TORQUE, most, decimals=0, limit="max"),
            keeps_plan=True,
        )
    return Check(
        line=f"a bolt of {what} carries up to "
        f"{units.text(Kind.FORCE, stretch.value + stretch.plus_minus)} of its proof load "
        + units.text(Kind.FORCE, stretch.limit),
        state=stretch.state,
        share=stretch.value / stretch.limit,
        flips=f"a bolt of {what} may stretch for good above "
        + units.text(Kind.TORQUE, most, decimals=0, limit="max"),
        mend=mend,
        fix=f"Use a higher property class for {what}, or less torque.",
        doubt=doubt if stretch.state == "unsure" else None,
    )
