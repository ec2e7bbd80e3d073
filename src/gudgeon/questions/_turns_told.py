"""What the readings do not tell, which of them are bad, and how they lie about the fit."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Column, Figure, Picture, Table
from gudgeon.centre.fit import LineFit
from gudgeon.centre.suspects import Suspect
from gudgeon.drawing.residuals import Residual, residual_plot
from gudgeon.findings import Findings
from gudgeon.findings.bad_readings import instead, reason_words, rows_of
from gudgeon.findings.next_readings import RankTold
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._turns_names import plain_name

__all__ = ["bad_table", "not_told_table", "rank_figure", "rank_words", "residual_picture"]

LENGTH: Final = Kind.LENGTH
NAMED_MOST: Final = 3
"""Unknowns that one sentence names."""


def rank_figure(rank: RankTold) -> Figure:
    """Return how many of the unknowns are fixed."""
    return Figure(
        "unknowns_fixed",
        f"unknowns that the readings fix, of {rank.of}",
        rank.fixed,
        limit=rank.of,
        limit_kind="min",
        note="the others are in the table of what the readings do not tell",
    )


def rank_words(findings: Findings, rank: RankTold) -> str:
    """Return the rank as one sentence: what is not known, what it can cost, and what cures it."""
    text = findings.units.text
    names = [plain_name(part.name, findings.has_tilt) for part in rank.open_parts]
    shown = "; ".join(names[:NAMED_MOST])
    if len(names) > NAMED_MOST:
        shown += f"; and {len(names) - NAMED_MOST} more"
    said = f"{rank.fixed} of {rank.of} unknowns are fixed by the readings; not known: {shown}."
    if not math.isnan(rank.cost_mm):
        said += (
            f" With these as usual the worst part point can be {text(LENGTH, rank.cost_mm)} off."
        )
    if rank.cure and not math.isnan(rank.cured_mm):
        count = sum(max(len(step.readings), 1) for step in rank.cure)
        one = count == 1
        said += (
            f" {count} more reading{'' if one else 's'} ({rank.cure[0].what}"
            f"{'' if one else ' and on'}) bring{'s' if one else ''} it to "
            f"{text(LENGTH, rank.cured_mm)}."
        )
    return said


def not_told_table(findings: Findings, rank: RankTold) -> Table:
    """Return every unknown that the readings do not fix, what it can cost and what cures it."""
    units = findings.units
    rows = []
    for part in rank.open_parts:
        with_what = ", ".join(plain_name(name, findings.has_tilt) for name in part.only_with)
        rows.append(
            (
                plain_name(part.name, findings.has_tilt),
                f"only together with: {with_what}" if with_what else "no reading shows it",
                None if math.isnan(part.cost_mm) else units.shown(LENGTH, part.cost_mm),
            )
        )
    columns = (
        Column("what", "not known"),
        Column("why", "because"),
        Column("cost", "worst part point off by, if it is as usual", units.unit(LENGTH)),
    )
    cure = "; ".join(step.what for step in rank.cure)
    title = f"What the readings do not tell ({rank.fixed} of {rank.of} unknowns are fixed)"
    return Table("not_told", f"{title}; cure: {cure}" if cure else title, columns, tuple(rows))


def bad_table(findings: Findings, suspects: tuple[Suspect, ...]) -> Table:
    """Return the readings that do not fit, the reason, and what they would have to say."""
    units = findings.units
    touches = {touch.row: touch for touch in findings.cell.touches}
    letters = findings.senses.tilt_letter, findings.senses.rotary_letter
    rows = []
    for item in suspects:
        corrected = " / ".join(
            words
            for before, after in zip(item.readings, item.corrected, strict=False)
            if (words := instead(units, touches, before, after, letters))
        )
        # A digit may be wrong in more than one way.
        reasons = dict.fromkeys(reason_words(cause.reason) for cause in item.also)
        reasons.pop(reason_words(item.reason), None)
        others = " or ".join(reasons)
        reason = reason_words(item.reason) + (f"; or {others}" if others else "")
        what = "take it again"
        if item.reason == "halves":
            again = item.retake.row if item.retake is not None else item.reading.row
            against = ", ".join(str(reading.row) for reading in item.against)
            reason = f"these agree among themselves, and so do lines {against}: ambiguous"
            if any(cause.reason == "moved" for cause in item.also):
                reason += f"; perhaps {reason_words('moved')}"
            what = f"take line {again} again: it decides"
        elif item.either:
            what = "take it again: it is this one or another that is marked so"
        elif corrected:
            what = "put it right if your notes say so, else take it again"
        off = None
        if math.isnan(item.reading.angle_rad):
            off = units.shown(LENGTH, item.off_mm) + 0.0
        rows.append((", ".join(map(str, rows_of(item))), off, reason, corrected, what))
    columns = (
        Column("lines", "lines"),
        Column("off", "lies off", units.unit(LENGTH)),
        Column("reason", "most likely because"),
        Column("instead", "would then have to be"),
        Column("do", "what to do"),
    )
    return Table("bad_readings", "Readings that do not fit the others", columns, tuple(rows))


def residual_picture(findings: Findings, fit: LineFit) -> Picture:
    """Return the readings about the fit, in standard uncertainties."""
    bad = {row for item in findings.line_study.suspects for row in rows_of(item)}
    drawn = []
    for at, i in enumerate(fit.residual_rows):
        reading, weighted = fit.used[i], float(fit.weighted[at])
        if not math.isnan(weighted):
            group = reading.feature.split(" ")[0]
            drawn.append(Residual(reading.row, weighted, group, reading.row in bad))
    title = "Readings about the fit, line by line, in standard uncertainties"
    return Picture("residuals", title, residual_plot("turns-residuals", drawn))
