"""How accurate will each dimension be?

What it answers
---------------
For each dimension of the drawing between features that are cut in different poses: the error to
expect, within what 95 % of the parts will lie, how many per cent of them are in tolerance, which
cause has most of it, and what would mend it cheapest.  Every cause is carried through the exact
pose map, once by the law of propagation and once by Monte Carlo; both stand side by side.

Why it matters
--------------
Errors of the axis lines double between faces that are cut from opposite sides and cancel between
features of one pose; a part that is measured one feature at a time looks good and is scrap across.
Before any metal is cut, a pose can still be changed for nothing.

When it can mislead
-------------------
Deflection under the cut, a dull tool, burrs and the measuring of the part itself are not counted,
and sizes that the file does not state are taken as usual in the trade: the table of causes tells
which matter.  Poses are taken to be visited once each, in the order of the faces in the file; a
program that goes tool by tool positions more often.  What no touch of the lines shows is counted
with one minute of arc for a lean.

Sources
-------
JCGM 100:2008 (law of propagation, effective degrees of freedom); JCGM 101:2008 (Monte Carlo);
JCGM 106:2012 (share in tolerance); ISO 1101 for the zones of position, squareness and parallelism
(from memory); sizes taken as usual, and what a mend leaves: common practice, no source.
"""

from __future__ import annotations

import math
from typing import Final

from gudgeon.accuracy.job import CAUSES
from gudgeon.answer import Answer, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.accuracy import AccuracyFinding, DimensionFound
from gudgeon.findings.accuracy_mends import Mend
from gudgeon.findings.reading_ground import RUNOUT_U_MM
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._accurate_show import (
    budget_table,
    dimensions_table,
    figures,
    kind_of,
    mends_table,
    per_cent,
    pictures,
    width,
)
from gudgeon.questions._shared import cannot_tell

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "accurate"
ASKS: Final = "How accurate will each dimension be?"
PLACE: Final = 110

_SOURCES: Final = (
    "JCGM 100:2008, 5.1 and annex G: law of propagation, effective degrees of freedom",
    "JCGM 101:2008: propagation of distributions by Monte Carlo",
    "JCGM 106:2012, 7.2: share in tolerance",
    "Sizes of causes that are not entered, and what a mend leaves: common practice, no source",
)


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        found = findings.accuracy
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="how accurate the part will be")
    worst = _worst(found)
    mends = findings.accuracy_mends(found, worst, _lines_left(findings))
    short = [one for one in found.dimensions if one.toleranced and one.inside < found.share - 1e-12]
    if not found.entered or not worst.toleranced:
        verdict, headline, step = _untoleranced(findings, found, worst)
    elif short:
        verdict, headline, step = _short(findings, found, worst, len(short), mends)
    else:
        verdict, headline, step = _kept(findings, found, worst)
    fix = None
    if mends and (short or not worst.toleranced):
        best = mends[0]
        fix = (
            f"{best.order} {worst.name} then comes within +-{width(findings, worst, best.after)} "
            f"instead of +-{width(findings, worst, best.before)}"
            + (
                ""
                if math.isnan(best.inside_after)
                else f", {per_cent(best.inside_after)} in tolerance"
            )
            + "."
        )
    tables = [dimensions_table(findings, found), budget_table(findings, worst)]
    if mends:
        tables.append(mends_table(findings, worst, mends))
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=step,
        figures=figures(findings, found, worst),
        tables=tuple(tables),
        pictures=pictures(findings, found),
        flips=_flips(findings, found, worst),
        fix=fix,
        assumed=_assumed(findings, found),
        missing=_wanted(findings, found),
        cautions=_cautions(findings, found),
        sources=_SOURCES,
    )


def _worst(found: AccuracyFinding) -> DimensionFound:
    """Return the dimension that decides: least in tolerance, else the widest."""
    return min(
        found.dimensions,
        key=lambda one: (
            not one.toleranced,
            one.inside if one.toleranced else 0.0,
            one.outcome.dimension.kind == "angle",
            -round(one.plus_minus, 9),
        ),
    )


def _lines_left(findings: Findings) -> float | None:
    """Return which share of the line error the next best readings leave."""
    steps = findings.next_readings
    if not steps or steps[0].before_mm <= 0.0:
        return None
    return steps[-1].after_mm / steps[0].before_mm


def _cause(one: DimensionFound) -> str:
    greatest = one.outcome.greatest
    if greatest is None:
        return "nothing that is counted is unsure"
    share = round(100.0 * one.outcome.shares[greatest])
    return f"{share} % of its variance is {CAUSES[greatest][0]}"


def _untoleranced(
    findings: Findings, found: AccuracyFinding, worst: DimensionFound
) -> tuple[Verdict, str, str]:
    what = "no dimension is entered" if not found.entered else "no tolerance is entered"
    headline = (
        f"Yes, if the drawing allows +-{width(findings, worst, worst.plus_minus)} in the "
        f"{kind_of(worst)} {worst.first} to {worst.second} ({_cause(worst)}); {what}."
    )
    step = (
        "Enter [[dimensions]] with feature, measured_from and tolerance, and [[parts.features]] "
        "for what is not a face."
    )
    return Verdict.YES_IF, headline, step


def _short(
    findings: Findings,
    found: AccuracyFinding,
    worst: DimensionFound,
    count: int,
    mends: tuple[Mend, ...],
) -> tuple[Verdict, str, str]:
    free = [mend for mend in mends if mend.cures and mend.effort == "free"]
    deciding = (
        f"{worst.name} keeps its tolerance on {per_cent(worst.inside)} of the parts "
        f"(+-{width(findings, worst, worst.plus_minus)}; {_cause(worst)})"
    )
    if free:
        after = free[0].inside_after
        headline = (
            f"Yes, if {free[0].condition}: {worst.name} is then in tolerance on "
            f"{per_cent(after)} of the parts, otherwise on {per_cent(worst.inside)}."
        )
        return Verdict.YES_IF, headline, free[0].order
    more = ""
    if count > 1:
        more = f", and {count - 1} more fall{'s' if count == 2 else ''} short"
    headline = f"No: {deciding}{more}; {per_cent_plain(found.share)} is wanted."
    if mends:
        step = mends[0].order
    else:
        step = "Ask for a wider tolerance, or cut both features in one pose."
    return Verdict.NO, headline, step


def _kept(
    findings: Findings, found: AccuracyFinding, worst: DimensionFound
) -> tuple[Verdict, str, str]:
    tight = (
        f"{worst.name}, the tightest, comes within +-{width(findings, worst, worst.plus_minus)}, "
        f"{per_cent(worst.inside)} in tolerance"
    )
    conditions = findings.touches_trusted_if if found.measured else ()
    if conditions:
        headline = f"Yes, if {' and '.join(conditions)}: {tight}."
        step = 'Ask "turns" and take the readings that it names.'
        return Verdict.YES_IF, headline, step
    judged = {one.name for one in found.dimensions}
    names = [one.name or f"dimension {i}" for i, one in enumerate(findings.cell.dimensions, 1)]
    unjudged = [name for name in names if name not in judged]
    if unjudged:
        left = f"{', '.join(unjudged[:3])}{' and more' * (len(unjudged) > 3)}"
        headline = f"Yes, if {left}, which could not be worked out, will do as well: {tight}."
        step = f"Correct the entries of {left}: the cautions say what they lack."
        return Verdict.YES_IF, headline, step
    without = [one.name for one in found.dimensions if not one.toleranced]
    if without:
        headline = f"Yes for every dimension with a tolerance: {tight}."
        step = f"Enter a tolerance for {', '.join(without[:3])}."
        return Verdict.YES, headline, step
    return Verdict.YES, f"Yes: {tight}.", "Cut one part, measure it, and compare with the table."


def per_cent_plain(share: float) -> str:
    """Return the wanted share as it was entered."""
    return f"{100.0 * share:.6g} %"


def _flips(findings: Findings, found: AccuracyFinding, worst: DimensionFound) -> str | None:
    """Return the tolerance at which the deciding dimension would just be kept."""
    from statistics import NormalDist

    outcome = worst.outcome
    dimension = outcome.dimension
    if not worst.toleranced or dimension.directions != 1 or dimension.low != -dimension.high:
        return None
    if found.share >= 1.0:
        return None  # no tolerance keeps every part of a normal distribution
    z = NormalDist().inv_cdf(0.5 * (1.0 + found.share))
    needed = abs(float(outcome.mean[0])) + z * outcome.u
    return (
        f"At a tolerance of about +-{width(findings, worst, needed)} {worst.name} is just kept on "
        f"{per_cent_plain(found.share)} of the parts."
    )


def _assumed(findings: Findings, found: AccuracyFinding) -> tuple[str, ...]:
    items = []
    if found.usual:
        items.append(f"Not entered, taken as usual: {'; '.join(found.usual)}.")
    items += [
        "Each pose is visited once, in the order of the faces in the file; an axis that does not "
        "turn between two faces keeps its error.",
        "Scales and squareness of the mill count from where the lines were touched.",
    ]
    if any("open angles" in one.outcome.shares for one in found.dimensions):
        items.append(
            "What no touch of the lines shows counts with one minute of arc (k = 1) for a lean "
            f"and {findings.units.text(Kind.LENGTH, RUNOUT_U_MM)} for a run-out."
        )
    if any(one.setting.job.cuts[0].tool == "one tool" for one in found.dimensions):
        items.append("Features for which no tool is entered are cut with one and the same tool.")
    if not found.measured:
        items.append("The axis lines come from entries with the +- stated there, not from touches.")
    return tuple(items)


def _wanted(findings: Findings, found: AccuracyFinding) -> tuple[Missing, ...]:
    """Return what would sharpen the answer."""
    file = findings.cell.file
    items = []
    if not found.entered:
        items.append(
            Missing(
                "dimensions of the drawing",
                f"{file}: dimensions",
                "without tolerances only the error itself can be told",
                "add [[dimensions]] with feature, measured_from, kind and tolerance",
            )
        )
    return tuple(items)


def _cautions(findings: Findings, found: AccuracyFinding) -> tuple[str, ...]:
    items = list(found.left_out)
    apart = [one.name for one in found.dimensions if not one.agree]
    if apart:
        items.append(
            f"Linear and Monte Carlo differ by more than 5 % for {', '.join(apart[:4])}: the Monte "
            "Carlo is believed, because one rectangular cause, few readings or the bend of the "
            "pose map weighs there."
        )
    return tuple(items)
