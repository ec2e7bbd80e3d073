"""Where do the two axis lines run, and how surely?

What it answers
---------------
Where the tilt line and the rotary line stand in machine coordinates, how far they miss each other
(signed: + or - says on which side), how high the platter face stands over the tilt line, and how
much of a part point's place is unsure because of it.  Touches, indicator sweeps, bores, balls and
levels go into one least-squares fit; touches and bores are worked out by the closed forms of the
trade too, and both are shown side by side.  How many of the unknowns the readings fix is told, what
those left open can cost, and which readings would cure it.  A reading that does not fit is named
with the reason and with what it would have to say, and so are the next readings that would help
most, with their minutes.

Why it matters
--------------
Every work offset of a tilted face is counted from these two lines.  Half of an error in them comes
out as a step between faces that should be flush, and no tool offset can take it away in all poses.

When it can mislead
-------------------
Every +- holds the truth 95 times in 100.  It is worked out from the stated uncertainty of a reading
and from how the readings scatter, never less than stated: it does not know a loose gib, a warm
spindle or a probe that was set wrong, except where more readings than unknowns show it.  How well
the axes come to an angle counts only if it is entered (tilt_index_u, rotary_index_u).  The hand
method takes the lines as square and parallel to the machine; what the fit had to hold is listed.  A
face touched far from the height of the tilt axis brings an error of the tilt angle in with that
lever.  Touches with the radius already taken off along the approach are turned back to the tip's
centre first, so a wrong stylus radius still hurts on a slanted face.

Sources
-------
JCGM 100:2008 (law of propagation, 5.1 and 5.2; coverage factor, annex G); ISO 230-7 for the
notation of location errors (meaning of the letters from memory); the closed forms and the order of
touching: common practice, no source.
"""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Answer, Column, Figure, Missing, Table, Verdict
from gudgeon.centre.fit import Held, LineFit
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.bad_readings import rows_of
from gudgeon.findings.part_points import WANTED_MM
from gudgeon.findings.procedure import touch_orders
from gudgeon.findings.touching import TEMPERATURE_SPAN_C, LineStudy
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.ties import firm
from gudgeon.questions._shared import cannot_tell, figure
from gudgeon.questions._turns_names import plain_name
from gudgeon.questions._turns_show import (
    Found,
    base_length,
    entries_table,
    found_of,
    hand_and_fit,
    held_table,
    how_to_touch,
    line_figures,
    next_table,
    notation_table,
    readings_table,
)
from gudgeon.questions._turns_told import (
    bad_table,
    not_told_table,
    rank_figure,
    rank_words,
    residual_picture,
)
from gudgeon.questions._turns_view import single_view, views

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "turns"
ASKS: Final = "Where do the two axis lines run, and how surely?"
PLACE: Final = 50

CAST_IRON: Final = 1.1e-5
"""Growth of cast iron [1/K]; handbook value from memory."""

PICTURE_PLATTER_MM: Final = 200.0
"""Platter drawn where its diameter is not given."""

_SOURCES: Final = (
    "JCGM 100:2008, 5.1 and 5.2: law of propagation of uncertainty; annex G: coverage factor",
    "Weighted least squares with all touches; half sums and half differences by hand: "
    "common practice, no source",
    "ISO 230-7: notation of location errors (meaning of the letters from memory)",
)

_CAUTIONS: Final = (
    "Lock the spindle while a probe or indicator stands in it, and take the program's spindle "
    "start out: a turning probe breaks and a flung stylus hurts.",
    "Set the tilt brake before touching, as the unit's manual says; hands and hoses stay clear of "
    "cradle and platter while anything turns.",
)


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        study = findings.line_study
    except Lacking as lacking:
        wanted = Lacking((*lacking.missing, *_no_readings(findings)))
        return cannot_tell(NAME, wanted, about="where the axis lines run")
    orders = touch_orders(study.frame, findings.senses, findings.cell.unit.tilt_range)
    procedure = how_to_touch(orders)
    fit = study.fit
    if fit is None:
        return _untouched(findings, study, procedure)
    if study.fatal:
        return _contradicted(findings, study, fit)
    by_hand = study.hand is not None and study.hand.complete and not study.at_odds
    if not study.determined and not by_hand:
        return _half_touched(findings, study, fit, procedure)
    try:
        return _found(findings, study, fit, procedure)
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="where the axis lines run")


def _no_readings(findings: Findings) -> tuple[Missing, ...]:
    """Return the readings as missing, if there are none; their order follows from the senses."""
    if findings.cell.touches:
        return ()
    return (
        Missing(
            "a table of readings",
            f"{findings.cell.file}: readings.file",
            "both axis lines are worked out from touches",
            "when the rest is entered, ask again: the touches are named one by one",
        ),
    )


def _untouched(findings: Findings, study: LineStudy, procedure: Table) -> Answer:
    lacking = Lacking(findings.touches_lacking(study))
    first = lacking.missing[0]
    so_far = cannot_tell(NAME, lacking, about="where the axis lines run")
    assumed: tuple[str, ...] = ()
    try:
        lines = findings.axis_lines
        found = found_of(lines.frame, lines.values, lines.covariance)
        figures = tuple(
            line_figures(findings.units, lines.frame, found, (), "from the entries, not touched")
        )
        assumed = ("The figures come from the entries of the cell file; nothing was touched.",)
    except Lacking:
        figures = ()
    return Answer(
        question=NAME,
        verdict=Verdict.CANNOT_TELL,
        headline="Cannot tell yet where the axis lines run: nothing has been touched; begin with "
        f"{first.what.removeprefix('touch of ')}.",
        next_step=first.how_to_get_it,
        figures=figures,
        tables=(procedure,),
        assumed=assumed,
        missing=so_far.missing,
        cautions=_CAUTIONS,
        sources=_SOURCES,
    )


def _contradicted(findings: Findings, study: LineStudy, fit: LineFit) -> Answer:
    first = study.fatal[0]
    return Answer(
        question=NAME,
        verdict=Verdict.NO,
        headline=f"No: touches and cell contradict each other. {first.text}",
        next_step=first.mend,
        tables=(readings_table(findings, fit), _contradictions(study)),
        flips=f"With {first.where.split(': ')[-1]} and the touches in agreement the lines can be "
        "told.",
        fix=first.mend,
        assumed=("The touches are believed to be those of this cell file.",),
        cautions=_CAUTIONS,
        sources=_SOURCES,
    )


def _contradictions(study: LineStudy) -> Table:
    columns = (
        Column("lines", "lines of the readings"),
        Column("what", "what does not fit"),
        Column("mend", "what to do"),
    )
    rows = tuple(
        (", ".join(str(row) for row in item.rows), item.text, item.mend)
        for item in study.contradictions
    )
    return Table(
        "contradictions", "Where touches and cell file contradict each other", columns, rows
    )


def _half_touched(findings: Findings, study: LineStudy, fit: LineFit, procedure: Table) -> Answer:
    """Answer for touches that leave a position open."""
    units = findings.units
    missing = list(findings.touches_lacking(study))
    left_open = study.open_positions
    weak = [item for item in left_open if item.reason == "weak"]
    if left_open and all(item.name == "face" for item in left_open):
        faces = [item for item in missing if "platter face" in item.what]
        missing = faces[:1] or missing  # the lines are there: any touch of the face will do
    if study.at_odds:
        missing.insert(0, findings.touches_to_repeat(study))
    elif weak:
        worst = max(weak, key=lambda item: item.u)
        spread = units.text(Kind.LENGTH, 2.0 * worst.u)
        unsure = plain_name(worst.name, findings.has_tilt)
        missing.insert(
            0,
            Missing(
                "touches in poses far apart",
                findings.cell.readings.file or f"{findings.cell.file}: readings.file",
                f"the poses lie so close together that the {unsure} is known only to +- {spread}",
                procedure.rows[0][2] if isinstance(procedure.rows[0][2], str) else "",
            ),
        )
    if not missing:
        names = ", ".join(plain_name(item.name, findings.has_tilt) for item in left_open)
        missing.append(
            Missing(
                "touches of the hand method",
                findings.cell.readings.file or f"{findings.cell.file}: readings.file",
                f"the touches do not fix: {names}",
                str(procedure.rows[0][2]),
            )
        )
    found = found_of(fit.frame, fit.line_values, fit.line_covariance, fit.k95)
    open_names = {item.name for item in left_open}
    figures = tuple(
        item
        for item in line_figures(units, fit.frame, found, fit.free, "by fit of the touches so far")
        if not _hangs_on(item.name, open_names)
    )
    names = " and ".join(plain_name(item.name, findings.has_tilt) for item in left_open[:2])
    headline = f"Cannot tell yet: the touches so far do not fix the {names}."
    rank = findings.rank_told
    tables = [readings_table(findings, fit)]
    if study.suspects:
        tables.append(bad_table(findings, study.suspects))
    if rank is not None:
        figures = (*figures, rank_figure(rank))
    # Beside a reading that is wrong no plan is worth anything: it is put right first.
    further = None if study.suspects else next_table(findings)
    tables += [further] if further else []
    if study.at_odds:
        headline = f"Cannot tell yet: {missing[0].why}."
    return Answer(
        question=NAME,
        verdict=Verdict.CANNOT_TELL,
        headline=headline,
        next_step=missing[0].how_to_get_it,
        figures=figures,
        tables=(*tables, procedure),
        missing=tuple(missing),
        assumed=_assumed(findings, study, fit, wanted_given=True),
        cautions=_cautions(findings),
        sources=_SOURCES,
    )


def _hangs_on(figure_name: str, open_names: set[str]) -> bool:
    """Whether a figure needs a position that is open."""
    needs = {
        "tilt_x": {"tilt_y"},
        "tilt_y": {"tilt_y"},
        "tilt_z": {"tilt_z"},
        "platter_x": {"rotary_x", "rotary_y"},
        "platter_y": {"rotary_x", "rotary_y"},
        "axis_offset": {"tilt_y", "rotary_y"},
        "miss": {"tilt_y", "rotary_y", "rotary_x"},
        "face_height": {"face", "tilt_z"},
        "rotary_x": {"face", "rotary_y"},
        "rotary_y": {"face", "rotary_y"},
        "rotary_z": {"rotary_z"},
    }
    return bool(needs.get(figure_name, set()) & open_names)


def _found(findings: Findings, study: LineStudy, fit: LineFit, procedure: Table) -> Answer:
    units, cell = findings.units, findings.cell
    lines = findings.axis_lines
    by_fit = study.determined
    source = "by least squares of all touches" if by_fit else "by hand"
    found = found_of(lines.frame, lines.values, lines.covariance, lines.k95)
    wanted_given = cell.readings.wanted is not None
    wanted = findings.wanted_mm
    error = findings.part_point_error
    kept = error.plus_minus_mm <= wanted * (1.0 + 1e-9)
    concentric = [h for h in fit.held if h.name in ("bore_x", "bore_y", "pin_x", "pin_y")]
    sign = [item for item in study.contradictions if item.kind == "face_sign"]
    figures = [
        *line_figures(units, lines.frame, found, fit.free if by_fit else (), source),
        figure(
            units,
            Kind.LENGTH,
            "part_point_error",
            "worst part point, 95 %, from the lines alone",
            error.plus_minus_mm,
            limit=wanted,
            limit_kind="max",
            note=error.label,
        ),
        _noise_figure(fit),
        _coverage_figure(lines.k95, lines.dof),
    ]
    rank = findings.rank_told
    tables = [readings_table(findings, fit)]
    if study.suspects:
        tables.insert(0, bad_table(findings, study.suspects))
    if rank is not None:
        figures.append(rank_figure(rank))
        tables.append(not_told_table(findings, rank))
    hand = study.hand
    if hand is not None and hand.complete:
        by_hand = found_of(study.frame, hand.values, hand.covariance)
        fitted = found_of(study.frame, fit.line_values, fit.line_covariance, fit.k95)
        tables.insert(0, hand_and_fit(units, study.frame, by_hand, fitted))
    if fit.held:
        tables.append(held_table(findings, fit.held))
    entered = entries_table(findings, found) if findings.has_tilt else None
    tables += [entered] if entered else []
    # Beside a reading that is wrong no plan is worth anything: it is put right first.
    further = None if study.suspects else next_table(findings)
    tables += [further] if further else []
    if findings.has_tilt:
        tables.append(notation_table(findings, lines.frame, found, set(fit.free)))
    if sign:
        tables.append(_contradictions(study))
    platter = cell.unit.platter_diameter
    view = views if findings.has_tilt else single_view
    pictures = (
        view(
            units,
            lines.frame,
            lines.values,
            lines.covariance,
            platter.value if platter else PICTURE_PLATTER_MM,
        ),
        residual_picture(findings, fit),
    )

    text = units.text
    spread = text(Kind.LENGTH, error.plus_minus_mm)
    limit = text(Kind.LENGTH, wanted)
    conditions = []
    if sign:
        conditions.append("the sign of unit.face_height is put right")
    bad = bool(study.suspects)
    conditions += findings.touches_trusted_if
    taken = () if bad else findings.next_readings
    next_best = taken[0] if taken else None
    worst_lean = _worst_lean(findings, fit, error.plus_minus_mm, wanted) if kept else None
    leaning = findings.error_with_open_angles_mm
    if worst_lean and leaning is not None and leaning > wanted * (1.0 + 1e-9):
        # Usual squareness would use up more than is wanted, so it is no plain yes.
        conditions.append(
            f"the lines lie square and parallel to the machine, which no touch shows yet "
            f"({worst_lean[0]} at most {worst_lean[1]})"
        )
    if not kept:
        verdict = Verdict.NO
        headline = (
            f"Not surely enough: the axis lines leave +- {spread} at the worst part point, "
            f"{limit} is wanted."
        )
        step = next_best.how if next_best else str(procedure.rows[0][2])
        if fit.suspicious:  # more touches beside a wrong one do not help
            again = findings.touches_to_repeat(study)
            headline += f" {again.why[:1].upper()}{again.why[1:]}."
            step = again.how_to_get_it
    elif conditions:
        verdict = Verdict.YES_IF
        headline = f"Yes, if {' and '.join(conditions)}: +- {spread} at the worst part point."
        if sign:
            step = sign[0].mend
        elif bad:
            step = findings.touches_to_repeat(study).how_to_get_it
        elif concentric or next_best is None:
            step = str(procedure.rows[-1][2])
        else:
            step = next_best.how
    else:
        verdict = Verdict.YES
        headline = _headline(findings, found, spread, limit)
        step = 'Ask "offsets" for the work offsets from these lines' + (
            ", and put the touched values in place of the entries." if entered else "."
        )
    fix = None
    open_angles = any(h.reason != "entry" and not h.name.endswith("_radius") for h in fit.held)
    useful = verdict is not Verdict.YES or open_angles
    if useful and next_best is not None and taken[-1].after_mm < next_best.before_mm:
        fix = (
            f"{next_best.how} "
            + (f"With the {len(taken) - 1} after it in the table it " if len(taken) > 1 else "It ")
            + "brings the worst part point, unmeasured angles included, from "
            f"{text(Kind.LENGTH, next_best.before_mm)} to {text(Kind.LENGTH, taken[-1].after_mm)}."
        )
    if verdict is not Verdict.YES:
        tables.append(procedure)
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=step,
        figures=tuple(figures),
        tables=tuple(tables),
        pictures=pictures,
        flips=_flips(findings, fit, error.plus_minus_mm, wanted),
        fix=fix,
        assumed=_assumed(findings, study, fit, wanted_given),
        cautions=_cautions(findings),
        sources=_SOURCES,
    )


def _cautions(findings: Findings) -> tuple[str, ...]:
    """Return the standing cautions, and the temperature where it went too far."""
    span = findings.readings_span_c
    if span <= TEMPERATURE_SPAN_C:
        return _CAUTIONS
    return (
        f"The temperature went by {span:.1f} K while reading: machine and unit grew by about "
        f"{1e3 * CAST_IRON * span * 500.0:.0f} um over half a metre. Read again with the shop at "
        "rest, or read the first row once more at the end.",
        *_CAUTIONS,
    )


def _coverage_figure(k95: float, dof: float) -> Figure:
    """Return the factor that makes 95 % of a standard uncertainty."""
    if math.isinf(dof):
        note = "normal distribution: the noise counts as stated"
    else:
        note = f"Student's distribution with {dof:.0f} effective degrees of freedom"
    return Figure("coverage_factor", "standard uncertainties in each +-, for 95 %", k95, note=note)


def _headline(findings: Findings, found: Found, spread: str, limit: str) -> str:
    text = findings.units.text
    if not findings.has_tilt:
        where = f"{text(Kind.LENGTH, found.values['rotary_z'])} machine Z"
        return (
            f"Yes: the rotary line stands at {where}; no part point is unsure by more than "
            f"{spread} ({limit} is wanted)."
        )
    miss = abs(found.values["axis_offset"])
    return (
        f"Yes: the two lines miss each other by {text(Kind.LENGTH, miss)}, the platter face stands "
        f"{text(Kind.LENGTH, found.values['face_height'], sign=True)} over the tilt line, and no "
        f"part point is unsure by more than {spread} ({limit} is wanted)."
    )


def _noise_figure(fit: LineFit) -> Figure:
    shown = math.sqrt(fit.chi_square / fit.dof) if fit.dof > 0 else None
    if shown is None:
        note = "as many unknowns as readings: nothing checks them"
    elif fit.suspicious:
        note = "the readings scatter clearly more than stated; every +- here was widened by it"
    else:
        note = f"{fit.dof} readings more than unknowns; about 1 is expected"
    return Figure("scatter", "scatter of the readings over the stated one", shown, note=note)


def _flips(findings: Findings, fit: LineFit, error: float, wanted: float) -> str | None:
    """Return the least unmeasured angle, or the scatter, that would turn the verdict."""
    text = findings.units.text
    if error > wanted:
        return (
            f"A wanted part-point error of {text(Kind.LENGTH, error)} or more would be kept; or "
            f"readings {error / wanted:.1f} times as sure."
        )
    scatter = f"readings {wanted / error:.1f} times as unsure as stated" if error > 0.0 else None
    worst = _worst_lean(findings, fit, error, wanted)
    if worst is not None:
        return f"No longer a yes with the {worst[0]} by more than {worst[1]} (not measured)" + (
            f", or with {scatter}." if scatter else "."
        )
    return f"No longer a yes with {scatter}." if scatter else None


def _worst_lean(
    findings: Findings, fit: LineFit, error: float, wanted: float
) -> tuple[str, str] | None:
    """Return the unmeasured angle that costs most, and how far off it may be, in words."""
    worst: tuple[float, Held] | None = None
    for item in fit.held:
        if item.reason == "entry" or not item.is_angle:
            continue
        effect = findings.effect_of(item.name, 1e-4) / 1e-4
        if effect > 0.0 and (worst is None or firm(effect) > firm(worst[0])):
            worst = (effect, item)
    if worst is None:
        return None
    text, base = findings.units.text, base_length(findings.units)
    lean = text(Kind.LENGTH, base * (wanted - error) / worst[0], limit="max")
    return plain_name(worst[1].name, findings.has_tilt), f"{lean} over {text(Kind.LENGTH, base, 0)}"


def _assumed(
    findings: Findings, study: LineStudy, fit: LineFit, wanted_given: bool
) -> tuple[str, ...]:
    units = findings.units
    told = []
    rank = findings.rank_told
    if rank is not None:
        told.append(rank_words(findings, rank))
    if not wanted_given:
        told.append(
            f"A part-point error of {units.text(Kind.LENGTH, WANTED_MM)} is good enough "
            "(readings.wanted is not given)."
        )
    angles = [h for h in fit.held if h.reason != "entry" and not h.name.endswith("_radius")]
    if angles:
        told.append(
            "Not measured and taken as zero: "
            + ", ".join(plain_name(item.name, findings.has_tilt) for item in angles)
            + "."
        )
    entries = [h for h in fit.held if h.reason == "entry"]
    if entries:
        told.append(
            "Taken from the cell file because the touches do not give it: "
            + ", ".join(item.name for item in entries)
            + "."
        )
    if any(math.isnan(c) for r in fit.used if r.feature == "pin" for c in r.position_mm[:2]):
        told.append("Touches of the pin without a second coordinate were made on its middle.")
    if study.determined or (study.hand and study.hand.complete and not study.at_odds):
        told.append("Part points tried: " + findings.part_point_error.points)
    if study.suspects:
        rows = ", ".join(str(row) for item in study.suspects for row in rows_of(item))
        told.append(f"What does not fit (line {rows}) was used like all others.")
    elif fit.suspicious:
        told.append("No single reading explains the scatter; all were used.")
    if fit.suspicious:
        told.append(
            f"The readings scatter {fit.noise_ratio:.1f} times as much as stated; every +- was "
            "widened by it."
        )
    if study.fit is not None and study.fit.set_aside:
        rows = ", ".join(str(reading.row) for reading in study.fit.set_aside)
        told.append(f"Readings that could not be used: line {rows}.")
    noted = findings.cell.readings.temperature is not None or any(
        not math.isnan(touch.temperature_c) for touch in findings.cell.touches
    )
    if not noted:
        told.append("Machine and unit had one and the same temperature while touching.")
    return tuple(told)
