"""What the question "has anything moved" shows beside its sentences: figures and tables."""

from __future__ import annotations

import math

import numpy as np

from gudgeon.answer import Column, Figure, Table
from gudgeon.drift.ahead import deviates
from gudgeon.drift.charts import (
    cusum,
    cusum_limit,
    ewma,
    ewma_limits,
    ewma_run_length,
    factors,
    individuals,
)
from gudgeon.drift.watch import ALARM, FALSE_RATE, WATCHED_DAYS
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.drifted_parts import MEASURE_FROM
from gudgeon.findings.drifting import DriftFinding, Moved
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.ties import firm
from gudgeon.questions._drifted_words import PARTS, pose_text, when, which_part
from gudgeon.questions._shared import figure

__all__ = [
    "causes_table",
    "changes_table",
    "charts_table",
    "checks_table",
    "dimensions_table",
    "faces_table",
    "figures",
    "first_checks_table",
    "mornings_table",
    "redo_table",
    "suspects_table",
]

MORNINGS_SHOWN = 12

ALLOWANCE = 0.5
WEIGHT = 0.2
WIDTH = 3.0

SAID = {
    "steady": "nothing new",
    "again": "take it again",
    "moved": "has moved",
    "drifting": "is drifting",
    "bad": "the reading before was a bad one",
}


def figures(findings: Findings, found: DriftFinding) -> tuple[Figure, ...]:
    """Return the figures, what moved first."""
    units, judged = findings.units, found.watch
    limit = findings.cell.drift.limit
    told: list[Figure] = []
    if found.outstanding:
        newest = found.outstanding[-1]
        size = np.nan_to_num(np.abs(newest.step_mm))
        check = int(np.argmax(np.max(size, axis=1)))
        for axis in range(3):
            by = newest.step_mm[check, axis]
            if np.isnan(by):
                continue
            told.append(
                figure(
                    units,
                    Kind.LENGTH,
                    f"moved_{'xyz'[axis]}",
                    f"{'XYZ'[axis]} has moved by",
                    float(by),
                    plus_minus=float(newest.expanded_mm[check, axis]),
                    note=f"{found.checks[check] or 'the check'}; U at 95 %, the day unsure",
                )
            )
        axis = int(np.argmax(size[check]))
        worst = size[check, axis]
        told.append(
            figure(
                units,
                Kind.LENGTH,
                "largest_shift",
                "largest shift of a coordinate",
                float(worst),
                plus_minus=float(newest.expanded_mm[check, axis]),
                limit=None if limit is None else limit.value,
                limit_kind=None if limit is None else "max",
            )
        )
    told.append(
        figure(
            units,
            Kind.LENGTH,
            "visible_step",
            "a step of this size in one coordinate shows by the third morning",
            found.visible_mm,
            note="95 times of 100; a smaller one takes longer",
        )
    )
    told.append(
        Figure(
            "scatter",
            "scatter of the checks, as a multiple of the stated uncertainty",
            float(judged.estimate.noise),
            note=f"{judged.estimate.dof:.0f} degrees of freedom",
        )
    )
    warmest = int(np.argmax(np.abs(judged.estimate.slope)))
    check, axis = found.series[warmest]
    told.append(
        figure(
            units,
            Kind.LENGTH,
            "per_kelvin",
            f"motion with temperature for 1 degC, {'XYZ'[axis]} of {found.checks[check] or 'it'}",
            float(judged.estimate.slope[warmest]),
            plus_minus=float(2.0 * judged.estimate.slope_u[warmest]),
            note=f"from {found.noted} rows with a temperature",
        )
    )
    told.append(
        Figure(
            "mornings",
            "mornings judged",
            len(set(found.days)),
            note="an alarm for nothing within 40 of them: 5 of 100 shops at most (simulated)",
        )
    )
    told.append(
        Figure(
            "evidence",
            "evidence for a step this morning",
            float(min(judged.mornings[-1].evidence, 1e9)),
            limit=float(ALARM),
            limit_kind="max",
            note="the limit is the alarm",
        )
    )
    return tuple(told)


def checks_table(findings: Findings, found: DriftFinding) -> Table:
    """Return what to read next, and what to expect."""
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    columns = [Column("check", "check"), Column("pose", "pose")]
    for letter in "xyz":
        columns += [Column(letter, letter.upper(), unit), Column(f"{letter}_pm", "+-", unit)]
    columns.append(Column("degree", "at", "degC"))
    rows = []
    for k, name in enumerate(found.checks):
        row: list[str | float | None] = [name or "the check", pose_text(found, k)]
        for axis in range(3):
            value, spread = found.expected_mm[k, axis], found.expected_u_mm[k, axis]
            known = not np.isnan(value)
            row += [
                round(units.shown(Kind.LENGTH, float(value)), 5) if known else None,
                round(units.shown(Kind.LENGTH, float(spread)), 5) if known else None,
            ]
        rows.append((*row, round(found.next_c, 1)))
    return Table(
        "checks", "What to read next morning, and what to expect", tuple(columns), tuple(rows)
    )


def first_checks_table(findings: Findings) -> Table | None:
    """Return what the axis lines let expect of checks whose place is entered."""
    checks = findings.first_checks
    if not checks:
        return None
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    columns = [Column("check", "check"), Column("pose", "pose")]
    for letter in "xyz":
        columns += [Column(letter, letter.upper(), unit), Column(f"{letter}_pm", "+-", unit)]
    rows = []
    for one in checks:
        tilt, turn = (math.degrees(angle) for angle in one.pose_rad)
        row: list[str | float | None] = [
            one.name or "the check",
            f"tilt {tilt:g}, turn {turn:g} deg",
        ]
        for value, spread in zip(one.expected_mm, one.expanded_mm, strict=True):
            row += [round(units.shown(Kind.LENGTH, float(v)), 5) for v in (value, spread)]
        rows.append(tuple(row))
    title = "What the axis lines let expect of the first check (95 %)"
    return Table("first_checks", title, tuple(columns), tuple(rows))


def changes_table(findings: Findings, found: DriftFinding) -> Table | None:
    """Return every change, put right or not."""
    changes = [*found.past, *found.outstanding]
    if not changes:
        return None
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    columns = (
        Column("what", "what"),
        Column("when", "when"),
        Column("days", "first check after it (95 %)"),
        Column("check", "check"),
        *(
            column
            for axis in "xyz"
            for column in (
                Column(axis, axis.upper(), unit),
                Column(f"{axis}_pm", "+- (95 %)", unit),
            )
        ),
        Column("part", "what has moved"),
        Column("right", "put right"),
    )
    rows: list[tuple[str | float | None, ...]] = []
    for moved in changes:
        for k, name in enumerate(found.checks):
            numbers: list[float | None] = []
            for axis in range(3):
                by, sure = moved.step_mm[k, axis], moved.expanded_mm[k, axis]
                shown = [units.shown(Kind.LENGTH, float(v)) for v in (by, sure)]
                numbers += [None if np.isnan(by) else round(v, 5) for v in shown]
            rows.append(
                (
                    "step" if moved.change.kind == "step" else "slow drift, so far",
                    when(found, moved),
                    _days(found, moved),
                    name or "the check",
                    *numbers,
                    which_part(moved),
                    "not yet" if moved.put_right is None else found.day_text(moved.put_right),
                )
            )
    return Table("changes", "What has moved, and when", columns, tuple(rows))


def _days(found: DriftFinding, moved: Moved) -> str:
    days = [found.day_text(day) for day in moved.set_days]
    return ", ".join(days) if len(days) <= 4 else f"{days[0]} to {days[-1]} ({len(days)} checks)"


def causes_table(findings: Findings, moved: Moved) -> Table | None:
    """Return which part may have moved."""
    if not moved.causes:
        return None
    units = findings.units
    columns = (
        Column("part", "part"),
        Column("verdict", "the checks say"),
        Column("chance", "chance of such a misfit", "%"),
        Column("by", "it would have moved by"),
    )
    rows = []
    for one in moved.causes:
        kind = Kind.ANGLE if one.name.endswith("zero") else Kind.LENGTH
        by = ", ".join(
            units.text(kind, float(v), 4 if kind is Kind.ANGLE else None, sign=True)
            if np.isfinite(u)
            else "not shown"
            for v, u in zip(one.values, one.u, strict=True)
        )
        plausible = one in moved.plausible
        says = "may be" if plausible else "ruled out"
        if plausible and not one.tested:
            says = "may be; this check cannot rule it out"
        rows.append((PARTS[one.name], says, round(100.0 * one.chance, 1), by if plausible else ""))
    return Table("causes", "Which part may have moved", columns, tuple(rows))


def suspects_table(found: DriftFinding, moved: Moved) -> Table:
    """Return what was made meanwhile."""
    rows = tuple((found.day_text(day), one, two) for day, one, two in moved.suspects.rows)
    columns = (Column("day", "day"), Column("first", "first"), Column("last", "last"))
    return Table("suspects", "Made meanwhile: look at these again", columns, rows)


def faces_table(findings: Findings, moved: Moved) -> Table | None:
    """Return how far off the cuts are, face by face, for the likeliest part."""
    best = next((one for one in moved.plausible if np.all(np.isfinite(one.u))), None)
    if best is None:
        return None
    try:
        shifts = findings.face_shifts(best.name, best.values)
    except Lacking:
        return None
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    columns = (
        Column("station", "station"),
        Column("face", "face"),
        *(Column(axis, f"cut off by, part {axis}", unit) for axis in "xyz"),
        Column("depth", "too high (+) or too deep (-)", unit),
    )
    shown = units.shown
    rows = tuple(
        (
            one.station,
            one.face,
            *(round(shown(Kind.LENGTH, v), 5) + 0.0 for v in one.by_mm),
            None if one.depth_mm is None else round(shown(Kind.LENGTH, one.depth_mm), 5) + 0.0,
        )
        for one in shifts
    )
    return Table("faces", f"What it does to the parts, if it was {PARTS[best.name]}", columns, rows)


def dimensions_table(findings: Findings, moved: Moved) -> Table | None:
    """Return what it does to the dimensions of the drawing, worst first."""
    best = next((one for one in moved.plausible if np.all(np.isfinite(one.u))), None)
    if best is None or not findings.cell.dimensions:
        return None
    try:
        shifts = findings.dimension_shifts(findings.face_shifts(best.name, best.values))
    except Lacking:
        return None
    if not shifts:
        return None
    units = findings.units
    columns = (
        Column("dimension", "dimension"),
        Column("station", "station"),
        Column("by", "comes out off by", units.unit(Kind.LENGTH)),
        Column("share", "of its tolerance", "%"),
        Column("suspect", "suspect"),
    )
    ranked = sorted(shifts, key=lambda one: -firm(one.share or 0.0))
    rows = tuple(
        (
            one.name,
            one.station,
            round(units.shown(Kind.LENGTH, one.by_mm), 5) + 0.0,
            None if one.share is None else round(min(100.0 * one.share, 1e6), 1),
            "no tolerance entered"
            if one.share is None
            else "out by the shift alone"
            if one.share >= 1.0
            else "measure it"
            if one.share >= MEASURE_FROM
            else "hardly",
        )
        for one in ranked
    )
    return Table("dimensions", "What it does to the dimensions of the drawing", columns, rows)


def redo_table(findings: Findings, moved: Moved) -> Table:
    """Return what to do after a bump, in order."""
    columns = (Column("order", "order"), Column("what", "do"), Column("why", "because"))
    steps: list[tuple[str, str]] = [
        ("Take the morning's check again, the probe looked at first.", "a loose stylus moves too"),
        (
            "Stop cutting; keep what was made since the last good check apart.",
            "its faces may be off their places",
        ),
    ]
    names = {one.name for one in moved.plausible} or set(PARTS)
    if "unit" in names:
        steps.append(
            (
                "Look at the clamps of the unit and its stops; tighten to the stated torque.",
                "the whole unit may have moved on the table",
            )
        )
    if "seat" in names:
        steps.append(
            (
                "Look whether the ball, and the fixture, sit firmly; indicate the fixture.",
                "it may have moved on the platter",
            )
        )
    if "tilt zero" in names or "rotary zero" in names:
        steps.append(
            ("Indicate the platter level, and the fixture parallel.", "a zero may have jumped")
        )
    lines = names & {"unit", "rotary line", "tilt line"}
    if lines:
        steps.append(
            (
                'Touch the axis lines again, in the order that "turns" tells.',
                "every work offset counts from them",
            )
        )
    stale = _stale_words(findings, names)
    if stale:
        steps.append((f"Enter these work offsets anew: {stale}.", "their zeros have moved"))
    steps += [
        (
            "Measure the first part from after it, face by face.",
            "it shows what the shift did, and whether it is outside the tolerance",
        ),
        (
            "Write the day under  corrected  in [drift], and go on checking.",
            "the record begins anew from there",
        ),
    ]
    rows = tuple((i, what, why) for i, (what, why) in enumerate(steps, start=1))
    return Table("redo", "What to do again, in this order", columns, rows)


_EVENTS = {
    "unit": ("unit shifted",),
    "rotary line": ("rotary line",),
    "tilt line": ("tilt line",),
    "tilt zero": ("tilt zero",),
    "rotary zero": ("rotary zero",),
    "seat": ("fixture seated",),
}


def _stale_words(findings: Findings, names: set[str]) -> str:
    """Return the offsets that go stale with any of the parts."""
    try:
        offsets = findings.offsets
    except Lacking:
        return ""
    standing = [zero for zero in offsets.zeros if zero.angles_rad is not None]
    heads = tuple(head for name in sorted(names) for head in _EVENTS.get(name, ()))
    stale = {i for event in offsets.events if event.name.startswith(heads) for i in event.stale}
    if len(stale) == len(standing) and len(standing) > 4:
        return f"all {len(standing)}, {standing[0].label} to {standing[-1].label}"
    return ", ".join(standing[i].label for i in sorted(stale))


def mornings_table(found: DriftFinding) -> Table:
    """Return what was said on the last mornings."""
    columns = (
        Column("day", "day"),
        Column("said", "said"),
        Column("evidence", f"evidence, alarm at {ALARM:g}"),
    )
    rows = tuple(
        (
            found.day_text(found.days[one.row]),
            SAID[one.said] + (" (set aside)" if one.row in found.watch.bad else ""),
            round(min(one.evidence, 1e9), 2),
        )
        for one in found.watch.mornings[-MORNINGS_SHOWN:]
    )
    return Table("mornings", "What was said on the last mornings", columns, rows)


def charts_table(found: DriftFinding) -> Table:
    """Return the usual control charts of each series since the last change."""
    judged = found.watch
    kept = np.array(judged.kept)
    first = (
        int(np.searchsorted(kept, max(one.row for one in judged.changes)))
        if (judged.changes)
        else 0
    )
    standard = deviates(found.record.rows(kept), judged.columns, first)
    count = len(found.series)
    quiet = WATCHED_DAYS / FALSE_RATE
    limit = cusum_limit(ALLOWANCE, quiet * count)
    reach = ewma_limits(0.0, 1.0, WEIGHT, WIDTH)[0]
    rows = []
    for j, (check, axis) in enumerate(found.series):
        one = standard[~np.isnan(standard[:, j]), j]
        if len(one) < 2:
            continue
        upper, lower = cusum(one, 0.0, ALLOWANCE)
        average = ewma(one, WEIGHT, 0.0)
        _, moving, _, _ = individuals(one)
        rows.append(
            (
                f"{found.checks[check] or 'check'} {'XYZ'[axis]}",
                round(float(max(upper[-1], lower[-1])), 2),
                round(limit, 2),
                round(float(average[-1]), 2),
                round(reach, 2),
                round(moving / factors(2).d2, 2),
            )
        )
    columns = (
        Column("series", "coordinate"),
        Column("cusum", "CUSUM now"),
        Column("cusum_limit", "its limit"),
        Column("ewma", "EWMA now"),
        Column("ewma_limit", "its limits, +-"),
        Column("short", "scatter from morning to morning"),
    )
    often = ewma_run_length(WEIGHT, WIDTH) / count
    return Table(
        "charts",
        "Control charts: each reading against what was expected, in sigma; where nothing moves, "
        f"one of the sums passes its limit once in {quiet:.0f} mornings, one of the averages once "
        f"in {often:.0f}",
        columns,
        tuple(rows),
    )
