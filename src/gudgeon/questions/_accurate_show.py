"""Tables, figures and pictures of the question "accurate"."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.accuracy.job import CAUSES
from gudgeon.answer import Column, Figure, Picture, Table
from gudgeon.drawing.chart import Bars
from gudgeon.drawing.shares import Shares
from gudgeon.findings import Findings
from gudgeon.findings.accuracy import AccuracyFinding, DimensionFound
from gudgeon.findings.accuracy_mends import Mend
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._shared import figure

__all__ = [
    "budget_table",
    "dimensions_table",
    "figures",
    "kind_of",
    "mends_table",
    "per_cent",
    "pictures",
    "width",
]

MOST_BARS: Final = 14
ARC_SECOND: Final = math.pi / 648000.0

_WHAT: Final = {
    "distance": "distance",
    "position": "position",
    "square": "squareness",
    "parallel": "parallelism",
    "angle": "angle",
}

_EFFORT: Final = {
    "free": "free",
    "minutes": "minutes",
    "money": "money",
    "ask": "ask the customer",
}


def kind_of(one: DimensionFound) -> str:
    """Return what kind of dimension it is, in words."""
    return _WHAT[one.outcome.dimension.kind]


def _kind_with_length(findings: Findings, one: DimensionFound) -> str:
    dimension = one.outcome.dimension
    if dimension.kind in ("square", "parallel"):
        return f"{kind_of(one)} over {findings.units.text(Kind.LENGTH, dimension.over, 1)}"
    return kind_of(one) + (" (arcsec)" if is_angle(one) else "")


def is_angle(one: DimensionFound) -> bool:
    """Whether its error is an angle."""
    return one.outcome.dimension.kind == "angle"


def per_cent(share: float) -> str:
    """Return a share in tolerance as text; never rounded up to all."""
    if math.isnan(share):
        return "-"
    if share > 0.9999:
        return "over 99.99 %"
    places = 2 if share > 0.99 else 1
    shown = math.floor(share * 100.0 * 10**places) / 10**places
    return f"{shown:.{places}f} %"


def width(findings: Findings, one: DimensionFound, value: float) -> str:
    """Return a width of the dimension as text."""
    if is_angle(one):
        return f"{value / ARC_SECOND:.0f} arcsec"
    return findings.units.text(Kind.LENGTH, value)


def figures(
    findings: Findings, found: AccuracyFinding, worst: DimensionFound
) -> tuple[Figure, ...]:
    """Return the deciding figures."""
    units = findings.units
    items = [
        Figure(
            "dimensions",
            "dimensions worked out",
            float(len(found.dimensions)),
            note="" if found.entered else "every pair of features; no dimension is entered",
        )
    ]
    if worst.toleranced:
        items.append(
            Figure(
                "least_in_tolerance",
                "least share of parts in tolerance",
                math.floor(worst.inside * 1e4) / 1e2,
                unit="%",
                limit=found.share * 100.0,
                limit_kind="min",
                note=f"{worst.name}, station {worst.station}",
            )
        )
    kind = Kind.ANGLE if is_angle(worst) else Kind.LENGTH
    bound = worst.outcome.dimension.high if worst.toleranced else None
    if bound is not None and not math.isfinite(bound):
        bound = None
    items += [
        figure(
            units,
            kind,
            "worst_plus_minus",
            f"{worst.name}: 95 % of the parts lie within +-",
            worst.plus_minus,
            limit=bound,
            limit_kind=None if bound is None else "max",
            note=f"{kind_of(worst)}, station {worst.station}; linear "
            f"{width(findings, worst, worst.outcome.plus_minus)}, Monte Carlo "
            f"{width(findings, worst, worst.drawn.plus_minus)}",
        ),
        Figure(
            "shared_share",
            "of its variance, the same on all parts of one set-up",
            round(100.0 * worst.outcome.set_up_share, 1),
            unit="%",
            note="a first part that is measured shows it",
        ),
    ]
    return tuple(items)


def dimensions_table(findings: Findings, found: AccuracyFinding) -> Table:
    """Every dimension with both methods side by side."""
    units = findings.units
    length = units.unit(Kind.LENGTH)
    places = units.decimals(Kind.LENGTH) + 1

    def shown(one: DimensionFound, value: float) -> float | None:
        if not math.isfinite(value):
            return None
        if is_angle(one):
            return round(value / ARC_SECOND, 1)
        return round(units.shown(Kind.LENGTH, value), places) + 0.0

    rows = []
    for one in found.dimensions:
        outcome = one.outcome
        mean = float(outcome.mean[0]) if len(outcome.mean) == 1 else math.hypot(*outcome.mean)
        low, high = outcome.dimension.low, outcome.dimension.high
        tolerance = "-"
        if one.toleranced:
            ends = [shown(one, end) for end in (low, high)]
            if ends[0] is not None and ends[1] is not None and ends[0] == -ends[1]:
                tolerance = f"+-{ends[1]:g}"
            else:
                tolerance = " to ".join("any" if end is None else f"{end:+g}" for end in ends)
            if len(outcome.mean) == 2:
                tolerance = f"radius {ends[1]:g}"
        rows.append(
            (
                one.name,
                _kind_with_length(findings, one),
                one.station,
                shown(one, mean),
                shown(one, outcome.plus_minus),
                shown(one, one.drawn.plus_minus),
                tolerance,
                per_cent(outcome.inside),
                per_cent(one.drawn.inside),
                "" if outcome.greatest is None else CAUSES[outcome.greatest][0],
            )
        )
    return Table(
        "dimensions",
        "Each dimension at its worst station: expected error and 95 % of the parts",
        (
            Column("name", "Dimension"),
            Column("kind", "Kind"),
            Column("station", "Station"),
            Column("mean", "Expected", length),
            Column("plus_minus", "+- linear", length),
            Column("plus_minus_drawn", "+- Monte Carlo", length),
            Column("tolerance", "Tolerance"),
            Column("inside", "In tolerance"),
            Column("inside_drawn", "Monte Carlo"),
            Column("cause", "Most of it from"),
        ),
        tuple(rows),
    )


def budget_table(findings: Findings, one: DimensionFound) -> Table:
    """Return causes of one dimension, largest first; the shares sum to 100 %."""
    outcome = one.outcome
    unit = "arcsec" if is_angle(one) else findings.units.unit(Kind.LENGTH)

    def shown(value: float) -> float:
        if is_angle(one):
            return round(value / ARC_SECOND, 2)
        return round(findings.units.shown(Kind.LENGTH, value), 6)

    total = math.sqrt(sum(float(part.trace()) for part in outcome.parts.values()))
    rows = tuple(
        (
            CAUSES[cause][0],
            shown(total * math.sqrt(share)),
            round(100.0 * share, 2),
            "all parts of a set-up" if CAUSES[cause][1] else "part to part",
        )
        for cause, share in outcome.shares.items()
    )
    return Table(
        "budget",
        f"What {one.name} comes from, station {one.station}",
        (
            Column("cause", "Cause"),
            Column("u", "Standard uncertainty", unit),
            Column("share", "Share of variance", "%"),
            Column("same", "The same on"),
        ),
        rows,
    )


def mends_table(findings: Findings, target: DimensionFound, mends: tuple[Mend, ...]) -> Table:
    """Return what would help, cheapest first."""
    return Table(
        "mends",
        f"What would narrow {target.name}, cheapest first",
        (
            Column("what", "What to do"),
            Column("effort", "Costs"),
            Column("before", "+- now"),
            Column("after", "+- then"),
            Column("inside", "In tolerance then"),
            Column("cures", "All dimensions kept"),
        ),
        tuple(
            (
                mend.order,
                _EFFORT[mend.effort],
                width(findings, target, mend.before),
                width(findings, target, mend.after),
                per_cent(mend.inside_after),
                "-" if not target.toleranced else "yes" if mend.cures else "no",
            )
            for mend in mends
        ),
    )


def pictures(findings: Findings, found: AccuracyFinding) -> tuple[Picture, ...]:
    """Return budget bars, and widths against tolerances."""
    drawn = sorted(
        found.dimensions,
        key=lambda one: (1.0 if math.isnan(one.inside) else one.inside, -one.plus_minus),
    )[:MOST_BARS]
    shares = Shares("accurate-budget")
    for one in drawn:
        end = f"\u00b1{width(findings, one, one.plus_minus)}"
        named = {CAUSES[cause][0]: share for cause, share in one.outcome.shares.items()}
        shares.row(one.name, named, end)
    items = [
        Picture("budget", "Error budget of each dimension: shares of its variance", shares.svg())
    ]
    against = [
        one
        for one in drawn
        if one.toleranced and one.outcome.dimension.high > one.outcome.dimension.low
    ]
    if against:
        bars = Bars("accurate-tolerance", "width (95 %) in shares of the tolerance")
        for one in against:
            low, high = _in_tolerances(one)
            bars.row(
                f"{one.name}, {per_cent(one.inside)} in tolerance", low, high, (low + high) / 2
            )
        bars.upright(-1.0, "lower limit").upright(1.0, "upper limit")
        items.append(
            Picture("tolerance", "Where 95 % of the parts lie between the limits", bars.svg())
        )
    return tuple(items)


def _in_tolerances(one: DimensionFound) -> tuple[float, float]:
    """Return both ends of the 95 % range, -1 and +1 being the limits."""
    outcome = one.outcome
    low, high = outcome.dimension.low, outcome.dimension.high
    if len(outcome.mean) == 2:
        return -one.plus_minus / high, one.plus_minus / high
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    mean = float(outcome.mean[0])
    return (mean - one.plus_minus - middle) / half, (mean + one.plus_minus - middle) / half
