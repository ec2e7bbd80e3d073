"""Does it pay: the whole way from the entries to the answer."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import numpy_financial as npf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.model import Cell, Money, MoneyItem, Rival, Shop
from gudgeon.findings import Findings, Lacking
from gudgeon.quantity.amount import Amount
from gudgeon.questions import pays

HEADINGS = ("What it answers", "Why it matters", "When it can mislead", "Sources")


def exact(value: float) -> Amount:
    return Amount(value, 0.0)


BASE = Money(
    investment=Amount(24900.0),
    running_cost=Amount(1500.0),
    saved_per_part=Amount(21 * 60.0),
    shop_rate=Amount(75.0),
    volume=Amount(1200.0),
)
EXACT = Money(
    investment=exact(24900.0),
    running_cost=exact(1500.0),
    saved_per_part=exact(21 * 60.0),
    shop_rate=exact(75.0),
    volume=exact(345.0),
    years=exact(5.0),
    discount=exact(0.08),
)
DEDICATED = Rival(
    price=Amount(160_000.0),
    running_cost=Amount(6000.0),
    saved_per_part=Amount(23 * 60.0),
    resale=Amount(80_000.0),
)
VISE = Rival(price=Amount(1900.0), running_cost=Amount(0.0), saved_per_part=Amount(3 * 60.0))


def ask(money: Money, currency: str = "EUR") -> Answer:
    return pays.answer(Findings(Cell(money=money, currency=currency)))


def value(answer: Answer, name: str) -> float:
    found = answer.figure(name).value
    assert found is not None
    return found


def column(answer: Answer, table: str, name: str) -> list[Any]:
    found = answer.table(table)
    place = [column.name for column in found.columns].index(name)
    return [row[place] for row in found.rows]


# --- the acceptance case and the libraries ----------------------------------------------------


def test_paybacks_of_three_volumes() -> None:
    """Whole acceptance case 1: 30000, 16350 and 7556 a year give 0.83, 1.52 and 3.30 years."""
    volumes = (Amount(1200.0), Amount(680.0), Amount(345.0))
    answer = ask(replace(BASE, volume=None, volumes=volumes))
    assert answer.verdict is Verdict.YES
    assert column(answer, "volumes", "volume") == [1200.0, 680.0, 345.0]
    assert_allclose(column(answer, "volumes", "payback_years"), [0.83, 1.52, 3.30], atol=0.01)
    assert_allclose(column(answer, "volumes", "saving_per_year"), [30000, 16350, 7556.25])
    assert value(answer, "payback_years") == pytest.approx(0.83)
    chances = column(answer, "volumes", "probability_pays")
    assert chances[0] > chances[1] > chances[2] > 50.0


def test_without_other_volumes_half_and_half_as_much_again_are_shown() -> None:
    answer = ask(BASE)
    assert column(answer, "volumes", "volume") == [600.0, 1200.0, 1800.0]
    assert column(answer, "volumes", "probability_pays")[1] == value(answer, "probability_pays")
    elsewhere = ask(replace(BASE, volumes=(Amount(345.0),)))
    assert column(elsewhere, "volumes", "volume") == [1200.0, 345.0]


def test_figures_agree_with_the_library() -> None:
    answer = ask(replace(EXACT, resale=exact(4000.0)))
    flows = [-24900.0, *[7556.25] * 4, 11556.25]
    assert_allclose(value(answer, "npv"), npf.npv(0.08, flows), rtol=1e-12)
    assert_allclose(value(answer, "irr"), 100.0 * npf.irr(flows), rtol=1e-9)
    assert_allclose(
        value(answer, "annual_equivalent"), -npf.pmt(0.08, 5, npf.npv(0.08, flows)), rtol=1e-9
    )
    assert answer.figure("npv").plus_minus == 0.0
    assert_allclose(column(answer, "cash_flow", "flow"), flows)
    assert_allclose(column(answer, "cash_flow", "discounted")[-1], npf.npv(0.08, flows))
    assert_allclose(column(answer, "cash_flow", "in_hand")[-1], sum(flows))
    assert_allclose(column(answer, "cash_flow", "middle"), column(answer, "cash_flow", "in_hand"))


@settings(max_examples=25, deadline=None)
@given(
    st.floats(1000.0, 1e5),
    st.floats(0.0, 5000.0),
    st.floats(1.0, 60.0),
    st.floats(20.0, 200.0),
    st.integers(1, 5000),
    st.integers(1, 12),
    st.floats(0.01, 0.3),
)
def test_any_case_agrees_with_the_library(
    outlay: float,
    running: float,
    minutes: float,
    per_hour: float,
    volume: int,
    years: int,
    rate: float,
) -> None:
    money = replace(
        EXACT,
        investment=exact(outlay),
        running_cost=exact(running),
        saved_per_part=exact(minutes * 60.0),
        shop_rate=exact(per_hour),
        volume=exact(float(volume)),
        years=exact(float(years)),
        discount=exact(rate),
    )
    answer = ask(money)
    yearly = minutes / 60.0 * per_hour * volume - running
    expected = npf.npv(rate, [-outlay, *[yearly] * years])
    assert_allclose(value(answer, "npv"), expected, rtol=1e-9, atol=1e-6 * outlay)
    # Without any range the verdict is plain.
    assert answer.verdict is (Verdict.YES if expected > 0.0 else Verdict.NO)
    even = value(answer, "break_even_volume")
    assert ask(replace(money, volume=exact(even + 0.5))).verdict is Verdict.YES
    assert ask(replace(money, volume=exact(even - 1.5))).verdict is Verdict.NO if even > 2 else True


def test_two_times_and_items_add_up_to_the_same() -> None:
    whole = ask(BASE)
    parted = ask(
        replace(
            BASE,
            investment=None,
            items=(
                MoneyItem(name="unit", price=Amount(20_000.0)),
                MoneyItem(name="fixture", price=Amount(4900.0)),
            ),
            saved_per_part=None,
            time_per_part_now=Amount(30 * 60.0),
            time_per_part=Amount(9 * 60.0),
        )
    )
    assert_allclose(value(parted, "npv"), value(whole, "npv"))
    assert value(parted, "investment") == 24900.0
    # Splitting the outlay must not narrow its range.
    ends = [
        (row[2], row[3])
        for answer in (whole, parted)
        for row in answer.table("tornado").rows
        if row[0] == "outlay"
    ]
    assert ends == [("22,410 EUR", "27,390 EUR")] * 2
    cost = column(parted, "choices", "cost_per_part")
    assert cost[-1] == pytest.approx(37.5)
    assert cost[0] == pytest.approx(37.5 - value(whole, "annual_equivalent") / 1200.0)


# --- verdicts ---------------------------------------------------------------------------------


def test_between_sure_and_hopeless_the_volume_to_keep_is_named_and_suffices() -> None:
    answer = ask(replace(BASE, volume=Amount(345.0)))
    assert answer.verdict is Verdict.YES_IF
    keep = value(answer, "volume_to_be_sure")
    assert f"at least {keep:,.0f} parts/yr" in answer.headline
    kept = ask(replace(BASE, volume=exact(keep)))
    assert kept.verdict is Verdict.YES
    assert ask(replace(BASE, volume=exact(keep - 2.0))).verdict is not Verdict.YES
    assert answer.fix is not None
    assert f"{keep - 345:,.0f} more parts" in answer.fix


def test_minutes_are_named_where_the_volume_is_settled() -> None:
    money = replace(BASE, volume=Amount(310.0, 10.0), years=exact(5.0), discount=exact(0.08))
    answer = ask(money)
    assert answer.verdict is Verdict.YES_IF
    found = re.search(r"at least ([0-9.]+) min a part", answer.headline)
    assert found is not None
    minutes = float(found[1])
    assert ask(replace(money, saved_per_part=exact(60.0 * minutes))).verdict is Verdict.YES
    less = ask(replace(money, saved_per_part=exact(60.0 * (minutes - 0.2))))
    assert less.verdict is not Verdict.YES


def test_where_neither_would_do_the_costliest_range_is_to_be_narrowed() -> None:
    narrow = ask(
        replace(
            BASE,
            volume=Amount(300.0, 5.0),
            saved_per_part=Amount(1230.0, 30.0),
            shop_rate=Amount(75.0, 25.0),
        )
    )
    assert narrow.verdict is Verdict.CANNOT_TELL
    assert narrow.missing[0].where == "cell.toml: money.shop_rate"
    assert narrow.next_step.startswith("Divide last year's cost")


def test_the_stopwatch_is_asked_for_where_the_time_decides() -> None:
    money = replace(
        BASE,
        volume=exact(270.0),
        saved_per_part=None,
        time_per_part_now=Amount(1500.0, 240.0),
        time_per_part=exact(300.0),
        investment=Amount(24900.0, 3500.0),
        years=exact(5.0),
    )
    answer = ask(money)
    assert answer.verdict is Verdict.CANNOT_TELL
    assert answer.missing[0].where == "cell.toml: money.time_per_part_now"
    assert answer.next_step.startswith("Time three parts with a stopwatch")


@pytest.mark.parametrize(
    "change",
    [
        {"volume": Amount(0.0)},
        {"saved_per_part": Amount(0.0)},
        {"saved_per_part": Amount(-60.0)},
        {"volume": Amount(50.0)},  # saving 1312 a year, running cost 1500
    ],
)
def test_saving_below_running_cost_never_pays(change: dict[str, Amount]) -> None:
    answer = ask(replace(BASE, **change))
    assert answer.verdict is Verdict.NO
    assert "never pays" in answer.headline
    assert answer.figure("payback_years").value is None
    assert answer.figure("payback_years").note == "never"
    assert answer.figure("discounted_payback_years").value is None
    assert answer.figure("irr").value is None
    assert column(answer, "choices", "payback_years")[0] == "never"
    json.dumps(answer.as_data(), allow_nan=False)


def test_at_volume_zero_the_break_even_volume_is_offered() -> None:
    answer = ask(replace(BASE, volume=Amount(0.0)))
    assert answer.flips is not None
    assert "295 parts/yr" in answer.flips
    assert answer.fix is not None


def test_paid_back_after_the_years_looked_at_is_no_and_says_when() -> None:
    answer = ask(replace(EXACT, volume=exact(200.0)))
    assert answer.verdict is Verdict.NO
    assert value(answer, "payback_years") == pytest.approx(24900.0 / 3750.0)
    assert "only after" in answer.headline
    assert any("beyond the years" in text for text in answer.cautions)


def test_a_free_unit_has_no_rate_and_is_back_at_once() -> None:
    answer = ask(replace(BASE, investment=exact(0.0)))
    assert answer.verdict is Verdict.YES
    assert value(answer, "payback_years") == 0.0
    assert answer.figure("irr").value is None
    assert answer.figure("profitability_index").value is None


def test_each_lever_alone_makes_it_just_sure() -> None:
    money = replace(BASE, volume=Amount(345.0), investment=Amount(24900.0, 1500.0))
    levers = Findings(Cell(money=money)).cash.levers

    def chance(**change: Amount) -> float:
        return Findings(Cell(money=replace(money, **change))).cash.unit.chance_pays

    assert chance(volume=exact(levers.volume)) >= 0.95 > chance(volume=exact(levers.volume - 2.0))
    saved = levers.saved_s
    assert chance(saved_per_part=exact(saved + 0.01)) >= 0.95
    assert chance(saved_per_part=exact(0.99 * saved)) < 0.95
    # The outlay that is allowed keeps nothing of its own range.
    assert levers.outlay < 24900.0
    assert chance(investment=exact(levers.outlay)) == pytest.approx(0.95, abs=0.01)
    assert chance(investment=exact(1.05 * levers.outlay)) < 0.945


def test_doing_nothing_is_the_best_where_all_lose() -> None:
    answer = ask(replace(BASE, volume=Amount(0.0), vise_work=VISE))
    assert column(answer, "choices", "probability_best") == [0.0, 0.0, 100.0]
    assert "But" not in answer.headline


# --- rivals -----------------------------------------------------------------------------------


def test_rivals_stand_beside_it_and_chances_add_up() -> None:
    answer = ask(replace(BASE, dedicated=DEDICATED, vise_work=VISE))
    assert column(answer, "choices", "choice") == [
        "the unit",
        "a dedicated machine",
        "more vise work",
        "going on as today",
    ]
    assert sum(column(answer, "choices", "probability_best")) == pytest.approx(100.0)
    worth = column(answer, "choices", "npv")
    yearly = 23 / 60 * 75 * 1200 - 6000
    assert worth[1] == pytest.approx(npf.npv(0.08, [-160_000, *[yearly] * 4, yearly + 80_000]))
    assert worth[3] == 0.0
    assert "But" not in answer.headline


def test_a_better_rival_is_said_in_the_headline_and_settled_first() -> None:
    better = replace(VISE, saved_per_part=Amount(20 * 60.0))
    answer = ask(replace(BASE, vise_work=better))
    assert answer.verdict is Verdict.YES
    worth = column(answer, "choices", "npv")
    assert f"But more vise work would be worth {worth[1] - worth[0]:,.0f} EUR more." in (
        answer.headline
    )
    assert answer.next_step.startswith("Settle more vise work first")
    assert answer.flips is not None
    assert "becomes the best choice" in answer.flips


def test_rival_flip_is_where_both_are_worth_the_same() -> None:
    rival = replace(VISE, saved_per_part=None, time_per_part=Amount(20 * 60.0))
    money = replace(BASE, time_per_part_now=Amount(30 * 60.0), vise_work=rival)
    cash = Findings(Cell(money=money)).cash
    flip = next(flip for flip in cash.rival_flips if flip.input.name == "volume")
    even = Findings(Cell(money=replace(money, volume=Amount(flip.at)))).cash
    assert even.options[0].worth == pytest.approx(even.options[1].worth)
    assert even.options[1].saved_s == 600.0


def test_every_flip_ends_the_worth() -> None:
    cash = Findings(Cell(money=replace(BASE, resale=Amount(3000.0)))).cash
    assert len(cash.flips) >= 6
    entries = {"saved_per_part", "investment", "running_cost", "shop_rate", "volume", "resale"}
    for flip in cash.flips:
        assert flip.input.name in entries | {"years", "discount"}
        there = replace(BASE, resale=Amount(3000.0))
        there = replace(there, **{flip.input.name: Amount(flip.at)})
        assert Findings(Cell(money=there)).cash.unit.worth == pytest.approx(0.0, abs=1e-4)
    assert [f.away for f in cash.flips] == sorted(f.away for f in cash.flips)


def test_a_rival_half_entered_is_left_out_and_told() -> None:
    answer = ask(replace(BASE, dedicated=Rival(price=Amount(160_000.0))))
    assert len(answer.table("choices").rows) == 2
    assert any("dedicated" in text and "left out" in text for text in answer.assumed)
    assert any(item.where.endswith("money.dedicated.time_per_part") for item in answer.missing)
    assert any("more vise work was not compared" in text for text in answer.assumed)


def test_a_rival_with_a_time_needs_the_time_today() -> None:
    rival = Rival(price=Amount(100.0), time_per_part=Amount(600.0))
    answer = ask(replace(BASE, vise_work=rival))
    assert any(item.where.endswith("money.time_per_part_now") for item in answer.missing)


def test_rivals_do_not_move_the_draws_of_the_unit() -> None:
    alone = ask(BASE)
    beside = ask(replace(BASE, dedicated=DEDICATED, vise_work=VISE))
    for name in ("npv", "probability_pays"):
        assert alone.figure(name) == beside.figure(name)


# --- ranges -----------------------------------------------------------------------------------


def test_uncertainty_follows_the_law_of_propagation() -> None:
    """With one uncertain input the worth is normal with u = slope x u."""
    answer = ask(replace(EXACT, investment=Amount(24900.0, 2000.0)))
    assert answer.figure("npv").plus_minus == pytest.approx(2000.0 * 1.96 / 2.0, rel=0.03)


def test_ranges_that_are_not_entered_are_told() -> None:
    told = " ".join(ask(BASE).assumed)
    for words in ("volume +-25 %", "years looked at: 5", "8 % a year", "no source", "seed 1"):
        assert words in told
    assert "+-25 %" not in " ".join(ask(EXACT).assumed)


def test_seed_repeats_and_changes_the_draws() -> None:
    assert ask(BASE) == ask(BASE)
    one, other = ask(BASE).figure("npv"), ask(replace(BASE, seed=7)).figure("npv")
    assert one.value == other.value
    assert one.plus_minus != other.plus_minus
    assert_allclose(one.plus_minus or 0.0, other.plus_minus or 0.0, rtol=0.05)


def test_unstated_running_cost_is_told_and_only_ever_lowers_the_worth() -> None:
    answer = ask(replace(EXACT, running_cost=None))
    assert value(answer, "saving_per_year") == pytest.approx(9056.25)
    assert any("running cost" in text for text in answer.assumed)
    assert any(item.where.endswith("money.running_cost") for item in answer.missing)
    high = column(answer, "choices", "npv_high")[0]
    assert high < value(answer, "npv")


def test_tornado_is_sorted_and_holds_every_input() -> None:
    answer = ask(replace(BASE, resale=Amount(3000.0), dedicated=DEDICATED))
    swings = column(answer, "tornado", "swing")
    assert swings == sorted(swings, reverse=True)
    assert len(swings) == 8
    assert all(swing >= 0.0 for swing in swings)


# --- missing and odd entries -------------------------------------------------------------------


def test_missing_entries_are_named_together_most_telling_first() -> None:
    answer = ask(Money())
    assert answer.verdict is Verdict.CANNOT_TELL
    assert [item.where for item in answer.missing] == [
        "cell.toml: money.saved_per_part",
        "cell.toml: money.volume",
        "cell.toml: money.investment",
        "cell.toml: money.shop_rate",
    ]
    assert "stopwatch" in answer.next_step
    assert all(item.why and item.how_to_get_it for item in answer.missing)


@pytest.mark.parametrize(
    ("known", "asked"),
    [("time_per_part_now", "time_per_part"), ("time_per_part", "time_per_part_now")],
)
def test_the_other_of_two_times_is_asked_for(known: str, asked: str) -> None:
    money = replace(BASE, saved_per_part=None, **{known: Amount(1200.0)})
    with pytest.raises(Lacking) as caught:
        _ = Findings(Cell(money=money)).cash
    assert [item.where for item in caught.value.missing] == [f"cell.toml: money.{asked}"]


def test_an_item_without_a_price_is_asked_for() -> None:
    items = (MoneyItem(name="unit", price=Amount(9000.0)), MoneyItem(name="wiring"))
    answer = ask(replace(BASE, investment=None, items=items))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert answer.missing[0].what == "price of wiring"


def test_without_a_volume_the_break_even_volume_is_still_told() -> None:
    answer = ask(replace(BASE, volume=None))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert value(answer, "break_even_volume") == value(ask(BASE), "break_even_volume") == 295.0
    assert "from 295 parts/yr on it pays" in answer.headline
    assert value(answer, "volume_to_cover_running_cost") == math.ceil(1500 / 26.25)
    assert value(answer, "break_even_volume_simple") == math.ceil((24900 / 5 + 1500) / 26.25)


def test_without_a_volume_and_a_saving_no_volume_is_promised() -> None:
    answer = ask(replace(BASE, volume=None, saved_per_part=Amount(0.0)))
    assert answer.figure("break_even_volume").value is None
    assert "at no volume" in answer.headline


def test_contradicting_times_use_the_smaller_saving_and_say_so() -> None:
    times = {"time_per_part_now": Amount(1800.0), "time_per_part": Amount(720.0)}
    answer = ask(replace(BASE, **times))  # 18 min by the times, 21 min entered
    assert value(answer, "hours_saved") == pytest.approx(18 / 60 * 1200)
    assert any("the smaller is used" in text for text in answer.cautions)
    other = ask(replace(BASE, **{**times, "time_per_part": Amount(300.0)}))
    assert value(other, "hours_saved") == pytest.approx(21 / 60 * 1200)
    assert any("the smaller is used" in text for text in other.cautions)


def test_contradicting_outlays_use_the_larger_and_say_so() -> None:
    items = (MoneyItem(name="all", price=Amount(30_000.0)),)
    answer = ask(replace(BASE, items=items))
    assert value(answer, "investment") == 30_000.0
    assert any("the larger" in text for text in answer.cautions)
    assert value(ask(replace(BASE, items=(MoneyItem(price=Amount(9.0)),))), "investment") == 24900.0


def test_more_hours_than_a_year_has_are_told() -> None:
    money = replace(BASE, time_per_part_now=Amount(3600.0), volume=Amount(9000.0))
    assert any("than a year has" in text for text in ask(money).cautions)


def test_part_years_and_a_single_year_are_answered() -> None:
    for years in (1.0, 3.5):
        answer = ask(replace(BASE, years=Amount(years)))
        assert column(answer, "cash_flow", "year")[-1] == years
        assert_allclose(column(answer, "cash_flow", "discounted")[-1], value(answer, "npv"))


# --- shape ------------------------------------------------------------------------------------


@pytest.mark.parametrize("currency", ["EUR", "USD"])
def test_all_sums_are_in_the_currency_of_the_cell(currency: str) -> None:
    answer = ask(replace(BASE, dedicated=DEDICATED), currency)
    text = json.dumps(answer.as_data(), allow_nan=False)
    other = {"EUR": "USD", "USD": "EUR"}[currency]
    assert answer.figure("npv").unit == currency
    assert other not in text
    assert "money/yr" not in text


def test_words_are_plain_ascii_and_pictures_are_there() -> None:
    for money in (BASE, replace(BASE, volume=Amount(345.0)), Money(), replace(BASE, volume=None)):
        answer = ask(money)
        data = answer.as_data()
        data.pop("pictures")
        assert json.dumps(data, ensure_ascii=False).isascii()
    names = [picture.name for picture in ask(BASE).pictures]
    assert names == ["cash", "tornado"]
    assert all(picture.svg.startswith("<svg") for picture in ask(BASE).pictures)


def test_a_shop_in_inches_reads_the_same_sums() -> None:
    inch = pays.answer(Findings(Cell(shop=Shop(units="in"), money=BASE, currency="USD")))
    assert value(inch, "npv") == value(ask(BASE), "npv")


def test_question_module_keeps_its_shape() -> None:
    assert pays.__doc__ is not None
    assert pays.__doc__.splitlines()[0] == pays.ASKS
    for heading in HEADINGS:
        assert f"{heading}\n{'-' * len(heading)}\n" in pays.__doc__
