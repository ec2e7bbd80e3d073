"""Does everything still stand where it was set?

What it answers
---------------
Whether the unit, its platter or what is fixed on it has moved since the work offsets were set: what
moved and by how much, between which two mornings, and whether it was a bump, a slow drift, the
temperature or one bad reading.  Then which parts were made meanwhile, how far off their faces are,
and what to do again, in order.  It rests on one reading taken every morning in two minutes; the
answer names it and the numbers to expect.

"Yes" means that nothing has moved, "no" that something has.

``gudgeon day CELL x=... y=... z=... t=...`` keeps a check beside the cell file; a wrong one is put
right with ``--correct ROW``, and both stay.  A table does as well (``days`` under ``[drift]``):
date or day number, check, x, y, z, t in degC, and u, who, remark where wanted.  ``production``
names the table of what was made: date, first, last.  ``corrected`` lists the days on which lines or
offsets were set anew.

Before the first mornings, a check with ``at`` (its place in the platter frame: from the rotary
line, heights from the platter face) is carried through the axis lines into its pose, to expect.

Why it matters
--------------
A crash that nobody owns up to, a loosened clamp or a warm shop shift every zero at once.  The day
on which it happened decides how many parts have to be looked at again.

When it can mislead
-------------------
Only what the check feels is judged: a fixture that shifts on the platter does not show in the
platter's own bore.  With one check in one pose it cannot be told which part has moved; two poses, a
half turn and a tilt apart, tell most.  A shift smaller than the figure "shows by the third morning"
takes longer or stays hidden.  A bump on the very day on which the temperature jumps is told with a
wider uncertainty.  Without noted temperatures only a step larger than what the shop's warmth may
do is called one; for a smaller shift the answer is that it cannot be told from temperature.

Sources
-------
Evidence of a step summed over the days on which it may have happened (Shiryaev-Roberts; limit set
on simulated shops), tabular CUSUM with run lengths by a Markov chain, EWMA: statistics' common
stock, from memory.  Suspect parts: from the day of the last good check (included) to the day of the
correction (not included): common practice, no source.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from gudgeon.answer import Answer, Column, Missing, Table, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.drifting import MOST_ROWS, POSE_MINUTES, DriftFinding, Moved
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._drifted_pictures import pictures
from gudgeon.questions._drifted_tables import (
    causes_table,
    changes_table,
    charts_table,
    checks_table,
    dimensions_table,
    faces_table,
    figures,
    first_checks_table,
    mornings_table,
    redo_table,
    suspects_table,
)
from gudgeon.questions._drifted_words import about_warmth, moved_by, when, which_part
from gudgeon.questions._shared import cannot_tell

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "drifted"
ASKS: Final = "Does everything still stand where it was set?"
PLACE: Final = 120

_SOURCES: Final = (
    "Sum of the evidence for a step over the days (Shiryaev-Roberts), limit set on simulated "
    "shops; CUSUM, EWMA: from memory",
    "Suspect parts from the last good check to the correction: common practice, no source",
)


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        found = findings.drift
    except Lacking as lacking:
        return _no_checks(findings, lacking)
    if found.outstanding:
        return _moved(findings, found)
    if found.watch.doubtful is not None:
        return _again(findings, found)
    if found.blinded:
        return _as_well_warmth(findings, found)
    set_anew = max((one.toordinal() for one in findings.cell.drift.corrected), default=0)
    if found.dated and set_anew > found.days[-1]:
        return _not_checked_since(findings, found, set_anew)
    return _steady(findings, found)


def _no_checks(findings: Findings, lacking: Lacking) -> Answer:
    """Answer for too few mornings: name the check."""
    tables, cautions = [_suggested(findings)], []
    try:
        first = first_checks_table(findings)
        tables += [first] if first else []
    except Lacking as lines:
        what = ", ".join(item.what for item in lines.missing)
        cautions.append(f"What [[checks]] at lets expect is not told yet: {what} missing.")
    so_far = Answer(
        question=NAME,
        verdict=Verdict.CANNOT_TELL,
        headline="...",
        next_step="...",
        tables=tuple(tables),
        missing=lacking.missing,
        cautions=tuple(cautions),
        sources=_SOURCES,
    )
    return cannot_tell(NAME, lacking, about="whether anything has moved", so_far=so_far)


def _suggested(findings: Findings) -> Table:
    """Return the two-minute check that tells most."""
    columns = (Column("what", "read"), Column("pose", "pose"), Column("minutes", "minutes", "min"))
    try:
        poses = findings.telling_poses
    except Lacking:
        poses = ((0.0, 0.0),)
    what = "centre of a ball fixed on the platter, or of its bore with a touch on its face"
    rows = tuple(
        (what, f"tilt {math.degrees(a):g}, turn {math.degrees(c):g} deg", POSE_MINUTES)
        for a, c in poses
    )
    return Table("suggested", "The morning check that tells most", columns, rows)


def _assumed(findings: Findings, found: DriftFinding) -> tuple[str, ...]:
    told = ["The noise of the checks is independent from one morning to the next."]
    if len(found.days) == MOST_ROWS:
        told.append(f"The newest {MOST_ROWS} checks are judged; older ones take no part.")
    if found.unstated:
        told.append(
            "The uncertainty of a coordinate is taken as "
            f"{findings.units.text(Kind.LENGTH, 0.005)} where none is stated; only its share "
            "between the coordinates matters."
        )
    if findings.cell.drift.per_kelvin is None:
        by = findings.units.text(Kind.LENGTH, findings.check_slope_u, 4)
        told.append(
            f"A check may move by about {by} for 1 degC (k = 1), before the days say more: "
            "expansion of steel over the height of the gauge point."
        )
    with_pose = {check.name or "" for check in findings.cell.checks if check.pose is not None}
    if any(name not in with_pose for name in found.checks):
        told.append("A check without a pose under [[checks]] is taken at tilt 0, turn 0.")
    return tuple(told)


def _cautions(found: DriftFinding) -> tuple[str, ...]:
    told = []
    if found.noted == 0:
        told.append(
            "No temperature was noted: small steps and slow drift cannot be told from warming of "
            "the shop; what it may have done is allowed for."
        )
    elif found.noted < len(found.days):
        count = len(found.days) - found.noted
        told.append(
            f"{count} check{'s' * (count != 1)} without a temperature: it is guessed from the days "
            "around, and counts as less sure."
        )
    if len(found.checks) == 1:
        told.append(
            "One check in one pose does not tell which part has moved; a second pose would."
        )
    return tuple(told)


def _tables(findings: Findings, found: DriftFinding) -> list[Table]:
    tables = [checks_table(findings, found)]
    changes = changes_table(findings, found)
    tables += [changes] if changes else []
    return [*tables, mornings_table(found), charts_table(found)]


def _bad_told(found: DriftFinding) -> str:
    days = [found.day_text(found.days[row]) for row in found.watch.bad]
    if not days:
        return ""
    return f" The check of {' and of '.join(days)} was a bad reading and is set aside."


def _steady(findings: Findings, found: DriftFinding) -> Answer:
    units = findings.units
    since = found.days[0]
    if found.past:
        since = max(moved.put_right or 0 for moved in found.past)
    count = sum(day >= since for day in found.days)
    span = found.days[-1] - since
    words = (
        f"Nothing has moved since {found.day_text(since)}, as far as {count} "
        f"check{'s' * (count != 1)} over {span} day{'s' * (span != 1)} tell"
    )
    visible = "any size"
    if found.visible_mm is not None:
        visible = units.text(Kind.LENGTH, found.visible_mm)
        words += f"; a step of {visible} would have shown by its third morning"
    words += "."
    limit = findings.cell.drift.limit
    verdict, flips, fix = Verdict.YES, None, None
    if limit is not None and (found.visible_mm or math.inf) > limit.value:
        bearable = units.text(Kind.LENGTH, limit.value)
        verdict = Verdict.YES_IF
        words += f" The work can bear only {bearable}."
        fix = "Read the check twice each morning, or with a better probe."
        if found.watch.untold:
            fix = "Note the temperature with each check."
        words += " Yes, if a shift that takes longer to show is of no consequence for some days."
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=words + _bad_told(found),
        next_step="Take the check again next morning before the first part, and keep it with its "
        "temperature.",
        figures=figures(findings, found),
        tables=tuple(_tables(findings, found)),
        pictures=pictures(findings, found),
        flips=flips or f"A step of {visible} in one coordinate, staying for three mornings.",
        fix=fix,
        assumed=_assumed(findings, found),
        cautions=_cautions(found),
        sources=_SOURCES,
    )


def _not_checked_since(findings: Findings, found: DriftFinding, set_anew: int) -> Answer:
    """Answer for lines or offsets that were set anew, and no check since."""
    day = found.day_text(set_anew)
    return Answer(
        question=NAME,
        verdict=Verdict.CANNOT_TELL,
        headline=f"Cannot tell yet whether anything has moved since lines or offsets were set anew "
        f"on {day}: the newest check is of {found.day_text(found.days[-1])}.{_bad_told(found)}",
        next_step="Take the check now and keep it with its temperature; if the day of the setting "
        "is wrong, put it right under  corrected  in [drift].",
        figures=figures(findings, found),
        tables=tuple(_tables(findings, found)),
        pictures=pictures(findings, found),
        assumed=_assumed(findings, found),
        missing=(
            Missing(
                "a check since",
                f"{findings.cell.file}: drift.days",
                "what was read before the setting says nothing of the time after it",
                "take the check and keep it with  gudgeon day",
            ),
        ),
        cautions=_cautions(found),
        sources=_SOURCES,
    )


def _as_well_warmth(findings: Findings, found: DriftFinding) -> Answer:
    """Answer for what a steady shop would call a change, and temperature may have done."""
    units = findings.units
    since = found.day_text(found.days[found.blinded[-1].row])
    visible = "a step of any size"
    if found.visible_mm is not None:
        visible = f"only a step of {units.text(Kind.LENGTH, found.visible_mm)} or more"
    return Answer(
        question=NAME,
        verdict=Verdict.CANNOT_TELL,
        headline=f"The readings have shifted since about {since}, and a step cannot be told from "
        "temperature: note the temperature with each check. Without it "
        f"{visible} would show by its third morning.{_bad_told(found)}",
        next_step="Take the check again now, keep it with its temperature, and once more when the "
        "shop is warmer or colder by some degrees.",
        figures=figures(findings, found),
        tables=tuple(_tables(findings, found)),
        pictures=pictures(findings, found),
        flips="A thermometer: the same temperature on both sides of the shift makes it a step.",
        fix="Hang a thermometer beside the unit and note it every morning.",
        assumed=_assumed(findings, found),
        missing=(
            Missing(
                "the temperature of the checks",
                findings.cell.drift.days or f"{findings.cell.file}: drift.days",
                "a shift of this size may be a warmer or colder shop",
                "add a column t to the table, or t=... to  gudgeon day; a temperature of past days "
                "may be taken from any log of the shop",
            ),
        ),
        cautions=_cautions(found),
        sources=_SOURCES,
    )


def _again(findings: Findings, found: DriftFinding) -> Answer:
    row = found.watch.doubtful
    assert row is not None
    units = findings.units
    day = found.day_text(found.days[row])
    left = found.record.value[row] - _expected(found, row)
    j = int(np.argmax(np.abs(np.nan_to_num(left / found.record.u[row]))))
    check, axis = found.series[j]
    by = units.text(Kind.LENGTH, float(left[j]), sign=True)
    name = found.checks[check] or "the check"
    return Answer(
        question=NAME,
        verdict=Verdict.YES_IF,
        headline=f"Take it again before cutting: {'XYZ'[axis]} of {name} on {day} lies {by} from "
        "what was expected, which may be one bad reading. Yes, if it comes back when taken again "
        "now; else it has moved.",
        next_step=f"Clean ball and stylus, take {name} again now, and keep it as a further row of "
        f"{day}.",
        figures=figures(findings, found),
        tables=tuple(_tables(findings, found)),
        pictures=pictures(findings, found),
        flips="The same shift, read a second time.",
        assumed=_assumed(findings, found),
        cautions=_cautions(found),
        sources=_SOURCES,
    )


def _expected(found: DriftFinding, row: int) -> np.ndarray:
    """Return what was expected of a row that is not in the estimate."""
    warm = found.record.temperature[row]
    warm_c = found.watch.estimate.middle_c if np.isnan(warm) else float(warm)
    return found.watch.estimate.expected(found.watch.columns[:, -1], warm_c)[0]


def _moved(findings: Findings, found: DriftFinding) -> Answer:
    units, cell = findings.units, findings.cell
    newest = found.outstanding[-1]
    drifting = newest.change.kind == "trend"
    size = float(np.nanmax(np.abs(newest.step_mm)))
    sure = float(np.nanmax(np.abs(newest.step_mm) + newest.expanded_mm))
    limit = cell.drift.limit
    bearable = limit is not None and sure <= limit.value and not drifting
    more = len(found.outstanding) - 1
    what = "It is drifting" if drifting else "It has moved"
    words = f"{what}: {moved_by(units, newest)}, {when(found, newest)}"
    words += f", after {more} earlier change{'s' * (more != 1)} not put right." if more else "."
    words += f" {about_warmth(units, newest)}"
    suspects = newest.suspects.rows
    oldest = found.outstanding[0]
    if suspects:
        rows = oldest.suspects.rows
        words += f" Suspect parts: {rows[0][1]} to {rows[-1][2]}."
    words += _bad_told(found)
    tables = _tables(findings, found)
    redo = redo_table(findings, newest)
    dimensions = dimensions_table(findings, newest)
    causes, faces = causes_table(findings, newest), faces_table(findings, newest)
    tables = [
        redo,
        *tables[:2],
        *([causes] if causes else []),
        *([dimensions] if dimensions else []),
        *([faces] if faces else []),
        *([suspects_table(found, oldest)] if oldest.suspects.rows else []),
        *tables[2:],
    ]
    verdict = Verdict.NO
    if bearable and limit is not None:
        verdict = Verdict.YES_IF
        words += (
            f" Yes, if the work bears it: at most {units.text(Kind.LENGTH, sure)}, within the "
            f"{units.text(Kind.LENGTH, limit.value)} entered."
        )
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=words,
        next_step=str(redo.rows[0][1]) + (f" {redo.rows[1][1]}" if verdict is Verdict.NO else ""),
        figures=figures(findings, found),
        tables=tuple(tables),
        pictures=pictures(findings, found),
        flips=f"A check that comes back to within {units.text(Kind.LENGTH, size / 2)} when taken "
        "again.",
        fix=f"Set right what moved ({which_part(newest)}), then set lines and offsets anew.",
        assumed=_assumed(findings, found),
        missing=_would_tell(findings, newest),
        cautions=(*_cautions(found), *_step_cautions(newest)),
        sources=_SOURCES,
    )


def _step_cautions(moved: Moved) -> tuple[str, ...]:
    told = []
    if moved.change.rows[0] <= 1:
        told.append(
            "It stands apart from the very first checks only: the first reading may be the bad one."
        )
    if 0.1 < moved.change.step_probability < 0.9:
        chance = round(100.0 * moved.change.step_probability)
        told.append(f"Step or slow drift is not clear yet: {chance} % for a step.")
    return tuple(told)


def _would_tell(findings: Findings, moved: Moved) -> tuple[Missing, ...]:
    """Return what would tell more about what has moved."""
    cell = findings.cell
    told = []
    if not moved.suspects.rows:
        told.append(
            Missing(
                "what was made on which day",
                f"{cell.file}: drift.production",
                "the suspect serial numbers follow from it",
                "write a table with date, first and last serial number, and name it there",
            )
        )
    if len(moved.plausible) > 1:
        told.append(
            Missing(
                "the check in a second pose",
                f"{cell.file}: checks",
                "parts that move alike in one pose move apart in another",
                "add it under [[checks]] and take both every morning",
            )
        )
    return tuple(told)
