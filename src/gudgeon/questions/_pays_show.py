"""What the question "does it pay" shows beside its sentences: figures, tables and pictures."""

from __future__ import annotations

import math

from gudgeon.answer import Column, Figure, Picture, Table
from gudgeon.drawing.chart import Bars, Chart
from gudgeon.findings.cash_facts import NOTHING, SURE, UNIT, BreakEven, Cash, Flip, Option
from gudgeon.findings.cash_inputs import Input
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.questions._shared import figure

__all__ = ["figures", "pictures", "shown", "shown_turn", "tables", "volume_figures", "years_text"]


# --- figures ------------------------------------------------------------------------------


def figures(cash: Cash, units: Units) -> tuple[Figure, ...]:
    """Return the figures, most important first."""
    unit, even = cash.unit, cash.break_even
    low, high = (units.text(Kind.MONEY, worth) for worth in (unit.worth_low, unit.worth_high))
    years = cash.input("years").spread.value
    span = f"90 % of the draws: {years_text(unit.payback_early)} to {years_text(unit.payback_late)}"
    return (
        figure(
            units,
            Kind.MONEY,
            "npv",
            f"worth today over {years:g} years (NPV)",
            unit.worth,
            plus_minus=unit.worth_half,
            limit=0.0,
            limit_kind="min",
            note=f"90 % of the draws: {low} to {high}",
        ),
        figure(
            units,
            Kind.SHARE,
            "probability_pays",
            "certainty that it pays",
            unit.chance_pays,
            limit=SURE,
            limit_kind="min",
            note="share of the draws with a worth above zero",
        ),
        _year_figure("payback_years", "payback, simple", unit.payback, span),
        _year_figure(
            "discounted_payback_years",
            "payback, discounted",
            unit.discounted,
            "the saving goes on beyond the years looked at; resale not counted",
        ),
        figure(
            units,
            Kind.SHARE,
            "irr",
            "internal rate of return, a year",
            unit.rate.rate if unit.rate is not None else None,
            note=_rate_note(unit),
        ),
        *volume_figures(even),
        figure(
            units,
            Kind.MONEY_PER_YEAR,
            "saving_per_year",
            "saving a year, running cost taken off",
            unit.yearly,
        ),
        *_part_figure(cash, units),
        Figure(
            "hours_saved",
            "hours freed a year",
            unit.saved_s / 3600.0 * cash.input("volume").spread.value,
            "h/yr",
        ),
        figure(units, Kind.MONEY, "investment", "outlay at the start", unit.outlay),
        Figure(
            "profitability_index",
            "worth today of what comes in, over the outlay",
            unit.index,
            note="" if unit.index is not None else "no outlay",
        ),
        figure(
            units,
            Kind.MONEY_PER_YEAR,
            "annual_equivalent",
            "the worth as a level sum a year",
            unit.annual,
        ),
        figure(
            units,
            Kind.SHARE,
            "probability_best",
            "certainty that it is the best of the choices",
            unit.chance_best,
            note="share of the draws in which no other choice is worth more",
        ),
        _sure_volume(cash),
    )


def _part_figure(cash: Cash, units: Units) -> tuple[Figure, ...]:
    """Return the time a part with the unit and where it comes from, if it is known."""
    value = cash.entered("time_per_part")
    if value is None:
        return ()
    one = cash.input("time_per_part")
    by_order = one.origin != "entered"
    return (
        figure(
            units,
            Kind.TIME,
            "time_per_part",
            one.label,
            value,
            plus_minus=2.0 * one.spread.u,
            note='by the order of the load: ask "order"' if by_order else "as entered",
        ),
    )


def _sure_volume(cash: Cash) -> Figure:
    volume = cash.levers.volume
    return Figure(
        "volume_to_be_sure",
        "volume that pays with 95 % certainty",
        volume if math.isfinite(volume) else None,
        "parts/yr",
        note="if it is kept for certain" if math.isfinite(volume) else "no volume is enough",
    )


def volume_figures(even: BreakEven) -> tuple[Figure, ...]:
    """Return the break-even volumes."""

    def volume(name: str, label: str, value: float, note: str) -> Figure:
        if math.isinf(value):
            return Figure(name, label, None, "parts/yr", note="never: no time is saved on a part")
        return Figure(name, label, value, "parts/yr", note=note)

    return (
        volume(
            "break_even_volume",
            "break-even volume",
            even.paid,
            "worth today is zero; rounded up to a whole part",
        ),
        volume(
            "break_even_volume_simple",
            "break-even volume, not discounted",
            even.paid_simple,
            "outlay back within the years, resale left out; rounded up",
        ),
        volume(
            "volume_to_cover_running_cost",
            "volume that covers the running cost",
            even.covered,
            "below it the unit costs more than it saves; rounded up",
        ),
    )


def _rate_note(unit: Option) -> str:
    if unit.rate is None:
        return "no outlay: there is no rate"
    if unit.rate.rate is None:
        return "none exists: the sums never change sign"
    return (
        "several are possible; nearest to zero"
        if unit.rate.several_possible
        else "the only rate at which the worth is zero"
    )


def _year_figure(name: str, label: str, years: float, note: str) -> Figure:
    if math.isinf(years):
        return Figure(name, label, None, "yr", note="never")
    return Figure(name, label, years, "yr", note=note)


# --- tables -------------------------------------------------------------------------------


def tables(cash: Cash, units: Units) -> tuple[Table, ...]:
    """Return the tables."""
    return (
        _choices(cash, units),
        _cash_flow(cash, units),
        _volumes(cash, units),
        _tornado(cash, units),
    )


def _choices(cash: Cash, units: Units) -> Table:
    money, yearly = units.unit(Kind.MONEY), units.unit(Kind.MONEY_PER_YEAR)
    costed = any(option.part_cost is not None for option in cash.options)
    rows = tuple(
        (
            option.words,
            option.outlay,
            option.yearly,
            _finite(option.payback) if option.name != NOTHING else None,
            option.worth,
            option.worth_low,
            option.worth_high,
            _share(option.rate.rate if option.rate else None),
            *((option.part_cost,) if costed else ()),
            100.0 * option.chance_pays if option.name != NOTHING else None,
            100.0 * option.chance_best,
        )
        for option in cash.options
    )
    return Table(
        "choices",
        "The choices side by side",
        (
            Column("choice", "choice"),
            Column("outlay", "outlay", money),
            Column("saving_per_year", "net saving", yearly),
            Column("payback_years", "payback", "yr"),
            Column("npv", "worth today", money),
            Column("npv_low", "5 % of draws", money),
            Column("npv_high", "95 % of draws", money),
            Column("irr", "internal rate", "%"),
            *((Column("cost_per_part", "cost a part", money),) if costed else ()),
            Column("probability_pays", "pays", "%"),
            Column("probability_best", "is best", "%"),
        ),
        rows,
    )


def _cash_flow(cash: Cash, units: Units) -> Table:
    unit = cash.unit
    money = units.unit(Kind.MONEY)
    rate = cash.input("discount").spread.value
    rivals = [option for option in cash.options if option.name not in (UNIT, NOTHING)]
    rows = []
    discounted = 0.0
    in_hand = 0.0
    for place, (at, flow) in enumerate(zip(unit.times, unit.flows, strict=True)):
        discounted += flow * (1.0 + rate) ** -at
        in_hand += flow
        # The curve holds the last year twice; the table shows it after the sale.
        point = place if place < len(unit.times) - 1 else -1
        rows.append(
            (
                at,
                flow,
                in_hand,
                discounted,
                unit.curve.low[point],
                unit.curve.middle[point],
                unit.curve.high[point],
                *(option.curve.best[point] for option in rivals),
            )
        )
    return Table(
        "cash_flow",
        "Cash by year, the unit against going on as today",
        (
            Column("year", "end of year", "yr"),
            Column("flow", "flow", money),
            Column("in_hand", "in hand", money),
            Column("discounted", "in hand, discounted", money),
            Column("low", "5 % of draws", money),
            Column("middle", "50 % of draws", money),
            Column("high", "95 % of draws", money),
            *(Column(option.name, f"in hand: {option.words}", money) for option in rivals),
        ),
        tuple(rows),
    )


def _volumes(cash: Cash, units: Units) -> Table:
    return Table(
        "volumes",
        "The unit at other volumes",
        (
            Column("volume", "volume", units.unit(Kind.PER_YEAR)),
            Column("saving_per_year", "net saving", units.unit(Kind.MONEY_PER_YEAR)),
            Column("payback_years", "payback", "yr"),
            Column("discounted_payback_years", "discounted", "yr"),
            Column("npv", "worth today", units.unit(Kind.MONEY)),
            Column("probability_pays", "pays", "%"),
        ),
        tuple(
            (
                row.volume,
                row.yearly,
                _finite(row.payback),
                _finite(row.discounted),
                row.worth,
                100.0 * row.chance_pays,
            )
            for row in cash.volumes
        ),
    )


def _tornado(cash: Cash, units: Units) -> Table:
    money = units.unit(Kind.MONEY)
    turns = {flip.input.name: flip for flip in cash.flips}
    rows = []
    for swing in cash.swings:
        one = cash.input(swing.name)
        turn = turns.get(swing.name)
        rows.append(
            (
                one.label,
                shown(one, one.spread.value, units),
                shown(one, swing.low, units),
                shown(one, swing.high, units),
                one.origin if one.stated else "usual",
                swing.worth_low,
                swing.worth_high,
                swing.width,
                shown_turn(turn, units) if turn else "never",
                turn.away / 2.0 if turn and math.isfinite(turn.away) else None,
            )
        )
    return Table(
        "tornado",
        "What moves the result: each input over its range, the others as entered",
        (
            Column("input", "input"),
            Column("value", "value"),
            Column("low", "low end"),
            Column("high", "high end"),
            Column("range", "range is"),
            Column("npv_low", "worth at low end", money),
            Column("npv_high", "worth at high end", money),
            Column("swing", "swing", money),
            Column("flip", "worth is zero at"),
            Column("flip_ranges", "ranges away"),
        ),
        tuple(rows),
    )


# --- pictures -----------------------------------------------------------------------------


def pictures(cash: Cash, units: Units) -> tuple[Picture, ...]:
    """Return the pictures."""
    return (_cash_picture(cash, units), _tornado_picture(cash, units))


def _cash_picture(cash: Cash, units: Units) -> Picture:
    money = units.unit(Kind.MONEY)
    title = "Cash in hand over the years, not discounted"
    chart = Chart("pays-cash", "years", f"cash in hand, {money}")
    curve = cash.unit.curve
    chart.band(curve.times, curve.low, curve.high, "the unit, 90 % of the draws")
    chart.curve(curve.times, curve.best, "the unit")
    styles = iter(("axis", "thin"))
    for option in cash.options:
        if option.name not in (UNIT, NOTHING):
            chart.curve(option.curve.times, option.curve.best, option.words, next(styles))
    chart.level(0.0, "going on as today")
    if math.isfinite(cash.unit.payback) and 0.0 < cash.unit.payback <= curve.times[-1]:
        chart.mark(cash.unit.payback, 0.0, f"paid back: {years_text(cash.unit.payback)}")
    return Picture("cash", title, chart.svg())


def _tornado_picture(cash: Cash, units: Units) -> Picture:
    money = units.unit(Kind.MONEY)
    bars = Bars("pays-tornado", f"worth today, {money}")
    for swing in cash.swings:
        one = cash.input(swing.name)
        ends = f"{shown(one, swing.low, units)} to {shown(one, swing.high, units)}"
        bars.row(f"{one.label}: {ends}", swing.worth_low, swing.worth_high, cash.unit.worth)
    bars.upright(0.0, "pays to the right")
    return Picture("tornado", "What moves the result most", bars.svg())


def shown(one: Input, base: float, units: Units) -> str:
    """Return a value of an input as text in the shop's units."""
    if one.name == "years":
        return f"{base:.1f} yr"
    if one.kind is Kind.MONEY_PER_HOUR:
        return units.text(one.kind, base, 1)
    return units.text(one.kind, base)


def shown_turn(turn: Flip, units: Units) -> str:
    """Return where the decision turns as text; a volume is rounded up to a whole part."""
    return shown(turn.input, turn.rounded, units)


def years_text(years: float) -> str:
    """Return a number of years as text; never, if it is endless."""
    if math.isinf(years):
        return "never"
    return f"{years:.2f} years" if years < 10.0 else f"{years:.0f} years"


def _finite(years: float) -> float | str:
    return "never" if math.isinf(years) else years


def _share(share: float | None) -> float | None:
    return None if share is None else 100.0 * share
