"""Is it strong enough, loaded as planned?

What it answers
---------------
Whether table, platter, drives, brakes and bolts bear the fixture with its parts, at every angle and
at every stage of loading, and how hard each operation may push.  One after the other: the mass on
the table; the load on the platter, flat and upright; the torque of the weight about the tilt line
and about the tilted rotary line, part by part in loading order and for the worst order there could
be; the brakes against every operation, in every pose in which it may be cut; the bolts between
fixture and platter and between unit and table against slip, lifting off and stretch.

How hard an operation pushes is what was measured and entered (`thrust`, `side_force`).  Else it is
worked out, with a range that is told: from the load of the spindle (`spindle_power`, `speed` and
the tool's diameter), or from the specific cutting force of the material with what the cutter cuts.

Why it matters
--------------
A tilt drive that is overloaded by a full fixture loses its place or wears out early.  A brake that
gives way under a drill spoils the part and breaks the drill.  A fixture that slips on its bolts
moves every zero by an amount that nobody sees.

When it can mislead
-------------------
The forces are those that were entered, or what the spindle load or a table of the material makes of
them, with a wide range that is told: a dull tool, a crash or a hard spot pushes more.  Torques of
starting and stopping the axes and the moving table are not counted.  A pilot, dowel or key is not
counted on either, and neither is weight that happens to help.  The clamping of the parts in the
fixture and the stiffness of the whole are not judged.  Ratings are taken as the data sheet states
them; some sheets state them for one speed or one height only.

Sources
-------
Statics in closed form; standard gravity 9.80665 m/s2 (ISO 80000-3).  Stress areas and proof loads
of bolts: ISO 898-1, read in a public table.  Preload from torque T = K d F: engineering handbooks.
Spread of a torque wrench: greatest preload 1.6 times the least, read on a public page on bolting.
Friction and nut factor where none is entered: common practice, no source.  Drilling thrust and
torque: tool handbooks.  Forces of cutters: tangential force from power, P = M w, or from the
exponential law of the specific cutting force (production textbooks), tooth by tooth; what the
cutter pushes across and along the spindle besides: common practice, no source.  Uncertainty:
JCGM 100:2008.
"""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Answer, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.ties import firm
from gudgeon.questions._holds_checks import try_all
from gudgeon.questions._holds_pictures import pictures
from gudgeon.questions._holds_shape import Check, Mend, Tried
from gudgeon.questions._holds_shown import figures, known, tables
from gudgeon.questions._shared import as_order

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "holds"
ASKS: Final = "Is it strong enough, loaded as planned?"
PLACE: Final = 30

SOURCES: Final = (
    "standard gravity 9.80665 m/s2: ISO 80000-3",
    "stress areas, proof and breaking loads of bolts: ISO 898-1 (read in a public table)",
    "preload from torque, T = K d F: engineering handbooks",
    "spread of a torque wrench, greatest to least preload 1.6: read on a public page on bolting",
    "drilling thrust and torque from the specific cutting force: tool handbooks",
    "forces of cutters: P = M w; exponential law of the specific cutting force (textbooks)",
    "uncertainty: JCGM 100:2008",
)

HEAVY_KG: Final = 20.0
"""From here on a load wants lifting gear (common practice, no source)."""

SWINGS_NM: Final = 1.0
"""A load that pulls with less than this does not swing by itself against a drive's friction."""


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    tried = try_all(findings)
    verdict = _verdict(tried)
    conditions = _conditions(tried)
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=_headline(tried, verdict, conditions),
        next_step=_next_step(findings, tried, verdict, conditions),
        figures=figures(findings),
        tables=tables(findings),
        pictures=pictures(findings),
        flips=_flips(tried),
        fix=_fix(tried, verdict),
        assumed=_assumed(findings),
        missing=_missing(tried),
        cautions=_cautions(findings),
        sources=SOURCES,
    )


# --- verdict and sentences ------------------------------------------------------------------


def _of(tried: Tried, *states: str) -> list[Check]:
    """Return the checks in these states, the hardest-used first."""
    found = [check for check in tried.checks if check.state in states]
    return sorted(found, key=lambda check: -firm(check.share))


def _open(tried: Tried) -> list[Check]:
    """Return the checks that nobody can decide, nor settle by a condition that keeps the plan."""
    return [c for c in _of(tried, "unsure") if c.mend is None or not c.mend.keeps_plan]


def _verdict(tried: Tried) -> Verdict:
    failed = _of(tried, "fails")
    if any(check.mend is None for check in failed):
        return Verdict.NO
    open_still = bool(tried.missing or _open(tried))
    if failed:
        # A condition that mends what fails is no promise while other checks are open.
        return Verdict.NO if open_still else Verdict.YES_IF
    if open_still:
        return Verdict.CANNOT_TELL
    return Verdict.YES_IF if _conditions(tried) else Verdict.YES


def _conditions(tried: Tried) -> tuple[str, ...]:
    """Return every condition to keep, as it continues "Yes, if ..."."""
    mends: list[Mend] = [c.mend for c in _of(tried, "fails") if c.mend is not None]
    mends += [c.mend for c in _of(tried, "unsure") if c.mend is not None and c.mend.keeps_plan]
    mends += tried.conditions
    fewest = min((m.parts for m in mends if m.parts is not None), default=None)
    words = [m.words for m in mends if m.parts is None or m.parts == fewest]
    return tuple(dict.fromkeys(words))


def _headline(tried: Tried, verdict: Verdict, conditions: tuple[str, ...]) -> str:
    failed, unsure = _of(tried, "fails"), _of(tried, "unsure")
    unjudged = _still_open(tried)
    if verdict is Verdict.NO:
        hopeless = [check for check in failed if check.mend is None]
        if hopeless:
            return f"No: {hopeless[0].line}."
        also = f" Still to be told: {unjudged}." if unjudged else ""
        return f"Not as planned: {failed[0].line}; it takes this: {' and '.join(conditions)}.{also}"
    if verdict is Verdict.YES_IF:
        wanted = " and ".join(conditions)
        reason = (failed or unsure or _of(tried, "holds"))[0].line
        return f"Yes, if {wanted}: as planned, {reason}."
    if verdict is Verdict.YES:
        hardest = _of(tried, "holds")[0]
        return f"Yes: everything holds; used hardest: {hardest.line}."
    holding = _of(tried, "holds")
    far = f" What could be judged holds; used hardest: {holding[0].line}." if holding else ""
    if _open(tried):
        return f"Cannot tell yet: {_open(tried)[0].line}, too close for what is known.{far}"
    return f"Cannot tell yet whether it holds: {unjudged}.{far}"


def _still_open(tried: Tried) -> str:
    if not tried.missing:
        return ""
    more = len(tried.missing) - 1
    also = f" and {more} more {'entry' if more == 1 else 'entries'}" if more else ""
    return f"{tried.missing[0].what}{also} missing"


def _next_step(
    findings: Findings, tried: Tried, verdict: Verdict, conditions: tuple[str, ...]
) -> str:
    if verdict is Verdict.NO:
        hopeless = [check for check in _of(tried, "fails") if check.mend is None]
        if hopeless:
            return hopeless[0].fix or "Change the load or the cut and ask again."
        return (
            f"Write on the set-up sheet: {'; '.join(conditions)}. Then get what is listed as "
            "missing, and ask again."
        )
    if verdict is Verdict.CANNOT_TELL:
        return as_order(_missing(tried)[0].how_to_get_it)
    tight = ""
    joint = known(lambda: findings.fixture_joint)
    if joint is not None:
        tight = (
            f"Tighten the {joint.count} fixture bolts to "
            f"{findings.units.text(Kind.TORQUE, joint.clamping.torque.value, decimals=0)} with a "
            "torque wrench, then run"
        )
    run = f"{tight or 'Run'} the loaded fixture once slowly through all its angles."
    if verdict is Verdict.YES_IF:
        return f"Write on the set-up sheet: {'; '.join(conditions)}."
    return run


def _flips(tried: Tried) -> str | None:
    ranked = _of(tried, "fails") or _of(tried, "unsure") or _of(tried, "holds")
    if not ranked:
        return None
    words = ranked[0].flips
    return f"{words[:1].upper()}{words[1:]}."


def _fix(tried: Tried, verdict: Verdict) -> str | None:
    if verdict is Verdict.YES:
        return None
    for check in [*_of(tried, "fails"), *_of(tried, "unsure")]:
        if check.fix:
            return check.fix
    return None


def _missing(tried: Tried) -> tuple[Missing, ...]:
    """Return what is missing and what would settle a doubt, each entry once."""
    wanted = [check.doubt for check in _open(tried) if check.doubt is not None]
    found: dict[str, Missing] = {}
    for item in (*wanted, *tried.missing):
        found.setdefault(item.where, item)
    return tuple(found.values())


def _assumed(findings: Findings) -> tuple[str, ...]:
    told = [*findings.loads_assumed, *findings.cuts_assumed]
    for work in (lambda: findings.fixture_joint, lambda: findings.table_joint):
        joint = known(work)
        if joint is not None:
            told += joint.clamping.assumed
    if known(lambda: findings.fixture_joint) is not None:
        told.append("The fixture is held by friction alone; pilot and dowels are not counted on.")
    if known(lambda: findings.brake_checks) is not None:
        told.append("Weight and cut push the same way; weight that helps is not credited.")
    if findings.cell.placement.riser is not None and findings.cell.placement.riser.value > 0.0:
        told.append("The riser plate's own mass is not in the table load.")
    told.append("Starting, stopping and crashes are not counted.")
    return tuple(told)


def _cautions(findings: Findings) -> tuple[str, ...]:
    units, unit = findings.units, findings.cell.unit
    told: list[str] = []
    heavy = []
    if unit.mass is not None and unit.mass.value >= HEAVY_KG:
        heavy.append(f"the unit ({units.text(Kind.MASS, unit.mass.value)})")
    try:
        load = max(
            (item.count * item.mass.value for item in findings.weighed if not item.in_unit),
            default=0.0,
        )
    except Lacking:
        load = 0.0
    if load >= HEAVY_KG:
        heavy.append(f"the load ({units.text(Kind.MASS, load)})")
    if heavy:
        told.append(
            f"Lift {' and '.join(heavy)} with a hoist at the proper lifting points; nobody stands "
            "or reaches under a hanging load."
        )
    rest = known(lambda: findings.level_torque)
    if rest is not None and rest.torque.worst.value >= SWINGS_NM:
        told.append(
            f"If brake or drive lets go, the load swings by itself with up to "
            f"{units.text(Kind.TORQUE, rest.torque.worst.value)}: block the cradle before reaching "
            "in, loading, or working on drive or brake."
        )
    if unit.tilt_brake_torque is not None or unit.rotary_brake_torque is not None:
        told.append(
            "A brake holds its rated torque only at its rated oil or air pressure, or voltage: "
            "check that it is there, and what happens when it fails."
        )
    table = known(lambda: findings.table_joint)
    if table is not None and table.slot_bolt is not None:
        told.append(
            f"The table bolts are too thick for the T-slot, which is made for M{table.slot_bolt}: "
            "use bolts and T-nuts that fit, or the slot's lips may break."
        )
    if told:
        told.append(
            "The manuals of mill and unit, local rules, and whoever is licensed for lifting gear, "
            "drives and pressure go before this answer."
        )
    return (*findings.cuts_contradicted, *told)
