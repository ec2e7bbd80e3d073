"""Where the minutes of a part come from: entered, or the order of a load; which of them counts."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Money
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.cash_minutes import PartTime, entries_agree, unit_times
from gudgeon.quantity.amount import Amount
from gudgeon.questions import order, pays

MIN = 60.0
ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Load:
    """What an order of a load would say."""

    seconds_per_part: float
    plus_minus: float = 30.0
    with_loading: bool = True


class WithOrder(Findings):
    """Findings in which the order of a load is known, or not."""

    told: PartTime | None = None
    asked = 0
    spans = 0

    @property
    def load_time(self) -> PartTime | None:  # type: ignore[override]
        self.asked += 1
        return self.told

    @property
    def load_time_span(self) -> tuple[PartTime, PartTime | None] | None:  # type: ignore[override]
        self.spans += 1
        return None if self.told is None else (self.told, self.told)


class Between(WithOrder):
    """Findings in which a part takes 11 to 16 min, 13 in the best order."""

    told = Load(13.0 * MIN)

    @property
    def load_time_span(self) -> tuple[PartTime, PartTime | None] | None:  # type: ignore[override]
        return Load(11.0 * MIN, 30.0), Load(16.0 * MIN, 30.0)


def known(money: Money, load: PartTime | None) -> WithOrder:
    findings = WithOrder(Cell(money=money, currency="EUR"))
    findings.told = load
    return findings


def ask(money: Money, load: PartTime | None) -> Answer:
    return pays.answer(known(money, load))


def minutes(value: float, plus_minus: float | None = None) -> Amount:
    return Amount(value * MIN, None if plus_minus is None else plus_minus * MIN)


BASE = Money(
    investment=Amount(24900.0),
    running_cost=Amount(1500.0),
    shop_rate=Amount(75.0),
    volume=Amount(1200.0),
    time_per_part_now=minutes(30.0, 2.0),
)
BOTH = replace(BASE, time_per_part=minutes(12.0, 1.0))


# --- the order fills what is left out ---------------------------------------------------------


def test_without_an_entry_the_order_of_the_load_gives_the_minutes() -> None:
    found = ask(BASE, Load(12.0 * MIN))
    entered = ask(replace(BASE, time_per_part=minutes(12.0, 0.5)), None)
    assert found.figure("npv").value == entered.figure("npv").value
    assert found.figure("npv").plus_minus == entered.figure("npv").plus_minus
    figure = found.figure("time_per_part")
    assert figure.value == pytest.approx(12.0) and figure.plus_minus == pytest.approx(0.5)
    assert "order of the load" in figure.note
    assert entered.figure("time_per_part").note == "as entered"
    assert any("12.0 min +- 0.5 min by the order" in text for text in found.assumed)
    assert not any("time_per_part" in text for text in found.cautions)


def test_loading_left_out_is_told() -> None:
    found = ask(BASE, Load(12.0 * MIN, with_loading=False))
    assert any("without loading (shift.load_part)" in text for text in found.assumed)


def test_without_entry_and_order_the_time_is_asked_for_as_before() -> None:
    with pytest.raises(Lacking) as caught:
        _ = known(BASE, None).cash
    assert [item.where for item in caught.value.missing] == ["cell.toml: money.time_per_part"]
    assert "order" in caught.value.missing[0].how_to_get_it


def test_with_an_order_only_the_time_today_is_asked_for() -> None:
    found = ask(replace(BASE, time_per_part_now=None), Load(700.0))
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.missing[0].where == "cell.toml: money.time_per_part_now"


def test_a_wide_range_of_the_order_is_narrowed_with_a_stopwatch() -> None:
    found = ask(replace(BASE, volume=Amount(350.0, 1.0)), Load(12.0 * MIN, 8.0 * MIN))
    assert "cell.toml: timing.stopwatch" in {item.where for item in found.missing}
    origin = [column.name for column in found.table("tornado").columns].index("range")
    told = {row[0]: row[origin] for row in found.table("tornado").rows}
    assert told["time a part with the unit"] == "worked out"
    assert told["outlay"] == "usual" and told["volume"] == "entered"


def test_the_order_is_not_asked_where_nothing_hangs_on_it() -> None:
    saved = replace(BASE, time_per_part_now=None, saved_per_part=minutes(15.0))
    findings = known(saved, Load(1.0))
    pays.answer(findings)
    assert findings.asked == findings.spans == 0
    findings = known(BASE, Load(700.0))
    pays.answer(findings)
    assert findings.asked == 1


def test_an_order_is_sought_only_where_the_entries_lie_outside_its_quick_bounds() -> None:
    for entered, asked in ((11.0, 0), (12.0, 0), (16.0, 0), (8.0, 1), (18.0, 1)):
        money = replace(BASE, time_per_part=minutes(entered, 1.0))
        bounds = (Load(11.0 * MIN, 30.0), Load(16.0 * MIN, 30.0))
        assert entries_agree(money, *bounds) is (asked == 0)
        assert entries_agree(money, bounds[0], None) is (entered > 9.0)
        unloaded = Load(16.0 * MIN, 30.0, with_loading=False)
        assert entries_agree(money, bounds[0], unloaded) is (entered > 9.0)
        findings = Between(Cell(money=money, currency="EUR"))
        pays.answer(findings)
        assert findings.asked == asked
    saved = replace(BASE, saved_per_part=minutes(18.0, 1.0))  # 12 min are left
    assert entries_agree(saved, Load(12.0 * MIN), Load(12.5 * MIN))
    assert not entries_agree(saved, Load(15.0 * MIN), None)


# --- two that contradict each other -----------------------------------------------------------


@pytest.mark.parametrize(
    ("load", "used", "told"),
    [
        (Load(12.5 * MIN), 12.0, ""),  # within the ranges: as entered
        (Load(20.0 * MIN), 20.0, "the longer is used"),
        (Load(5.0 * MIN), 12.0, "the longer is used"),
        (Load(5.0 * MIN, with_loading=False), 12.0, ""),  # it only tells what it takes at least
        (Load(20.0 * MIN, with_loading=False), 20.0, "the longer is used"),
        (Load(20.0 * MIN, 9.0 * MIN), 12.0, ""),
        (None, 12.0, ""),
    ],
)
def test_the_longer_of_two_that_contradict_each_other_counts(load, used, told) -> None:
    found = ask(BOTH, load)
    assert found.figure("time_per_part").value == pytest.approx(used)
    assert found.figure("hours_saved").value == pytest.approx((30.0 - used) / 60.0 * 1200.0)
    said = [text for text in found.cautions if "money.time_per_part says" in text]
    assert [told in text for text in said] == ([True] if told else [])
    if told:
        assert "12.0 min +- 1.0 min" in said[0] and 'ask "order"' in said[0]


SAVED = replace(BASE, saved_per_part=minutes(18.0, 1.0))


@pytest.mark.parametrize(
    ("load", "hours", "told"),
    [
        (Load(12.5 * MIN), 18.0, False),
        (Load(20.0 * MIN), 10.0, True),
        (Load(5.0 * MIN), 18.0, True),
        (Load(5.0 * MIN, with_loading=False), 18.0, False),
        (None, 18.0, False),
    ],
)
def test_a_saving_is_held_against_the_time_today_and_the_order(load, hours, told) -> None:
    found = ask(SAVED, load)
    assert found.figure("hours_saved").value == pytest.approx(hours / 60.0 * 1200.0)
    assert any("the smaller saving is used" in text for text in found.cautions) is told


def test_all_three_entered_and_an_order_that_takes_longer() -> None:
    """30 min today less 20 min by the order is less than 18 min entered as saved."""
    money = replace(BOTH, saved_per_part=minutes(18.0, 1.0))
    found = ask(money, Load(20.0 * MIN))
    assert found.figure("hours_saved").value == pytest.approx(10.0 / 60.0 * 1200.0)
    assert len([text for text in found.cautions if text.startswith("money.")]) == 2


def test_an_order_without_loading_never_counts_as_too_short() -> None:
    short = Load(5.0 * MIN, with_loading=False)
    for money in (BOTH, SAVED):
        found = unit_times(money, short)
        assert not found.cautions and not found.worked_out


times = st.floats(60.0, 3000.0)


@given(times, times, st.floats(0.0, 300.0), st.floats(0.0, 300.0), st.booleans())
def test_what_is_used_never_promises_more_than_what_contradicts_it(
    entered, load, half, load_half, with_loading
) -> None:
    money = replace(BASE, time_per_part=Amount(entered, half))
    found = unit_times(money, Load(load, load_half, with_loading))
    used = dict(found.inputs)["time_per_part"].value
    assert used in (entered, load)
    if found.cautions:
        assert used == max(entered, load)
        assert abs(entered - load) > math.hypot(half, load_half)
    else:
        assert used == entered and not found.worked_out
        assert load - entered <= math.hypot(half, load_half)


# --- with a whole shop ------------------------------------------------------------------------


def demo(time_per_part: Amount | None) -> Findings:
    cell = load(ROOT / "demo" / "alder-ford.toml").cell
    assert cell is not None
    return Findings(replace(cell, money=replace(cell.money, time_per_part=time_per_part)))


def test_the_minutes_are_those_that_the_order_tells() -> None:
    findings = demo(None)
    mine, theirs = pays.answer(findings), order.answer(findings)
    told, found = mine.figure("time_per_part"), theirs.figure("part_time")
    assert told.value == pytest.approx(found.value)
    assert told.plus_minus == pytest.approx(found.plus_minus)
    assert told.unit == found.unit == "min"


def test_a_shop_that_enters_what_the_order_would_take_is_not_kept_waiting() -> None:
    findings = demo(minutes(2.2, 0.3))
    assert not any("time_per_part" in text for text in pays.answer(findings).cautions)
    assert "ordering" not in vars(findings)


def test_a_shop_that_enters_far_less_is_told_and_the_order_counts() -> None:
    findings = demo(minutes(1.0, 0.1))
    found = pays.answer(findings)
    assert any("the longer is used" in text for text in found.cautions)
    assert found.figure("time_per_part").value == pytest.approx(
        findings.load_time.seconds_per_part / MIN  # type: ignore[union-attr]
    )
