"""Choices with a level saving: closed forms against rows of sums, and edges."""

from __future__ import annotations

import math

import numpy as np
import numpy_financial as npf
import pytest
import pyxirr
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.money.flows import internal_rate, payback, present_worth
from gudgeon.money.level import (
    LONGEST,
    annuity,
    cost_per_part,
    discounted_payback,
    level_flows,
    level_worth,
    payments,
    price_allowed,
    running_total,
    saved_needed,
    simple_payback,
    volume_needed,
    whole_parts,
    yearly_saving,
)

outlays = st.floats(100.0, 1e6)
yearlies = st.floats(-1e5, 1e6)
resales = st.floats(0.0, 1e5)
rates = st.floats(-0.2, 0.6)
spans = st.floats(1.0, 30.0)
whole_spans = st.integers(1, 30)


# --- closed form against the row of sums and against libraries -------------------------------


@given(outlays, yearlies, resales, rates, spans)
def test_closed_form_is_the_row_of_sums(
    outlay: float, yearly: float, resale: float, rate: float, years: float
) -> None:
    times, flows = level_flows(outlay, yearly, resale, years)
    size = outlay + (abs(yearly) * years + resale) * max(1.0, (1.0 + rate) ** -years)
    found = float(level_worth(outlay, yearly, resale, rate, years))
    assert_allclose(found, present_worth(rate, flows, times), rtol=0, atol=1e-9 * size)


@given(outlays, yearlies, resales, rates, whole_spans)
def test_whole_years_agree_with_two_libraries(
    outlay: float, yearly: float, resale: float, rate: float, years: int
) -> None:
    assume(abs(rate) > 1e-6)  # numpy-financial loses digits close to zero
    size = outlay + (abs(yearly) * years + resale) * max(1.0, (1.0 + rate) ** -years)
    found = float(level_worth(outlay, yearly, resale, rate, years))
    expected = -outlay - npf.pv(rate, years, yearly, resale)
    assert_allclose(found, expected, rtol=0, atol=1e-6 * size)
    assert_allclose(-outlay - pyxirr.pv(rate, years, yearly, resale), found, atol=1e-6 * size)


@given(st.floats(0.0, 0.5), st.integers(1, 40))
def test_annuity_is_continuous_at_the_end_of_a_year(rate: float, years: int) -> None:
    before = annuity(rate, years - 1e-9)
    assert_allclose([before, annuity(rate, years + 1e-9)], annuity(rate, years), atol=1e-7)


def test_annuity_without_interest_is_the_years() -> None:
    assert_allclose(annuity(0.0, [0.0, 3.0, 4.5]), [0.0, 3.0, 4.5])
    assert_allclose(annuity(1e-12, 30.0), 30.0, rtol=1e-9)


def test_part_year_brings_its_share_at_its_end() -> None:
    times, flows = level_flows(100.0, 40.0, 10.0, 2.25)
    assert times == [0.0, 1.0, 2.0, 2.25]
    assert flows == [-100.0, 40.0, 40.0, 20.0]


def test_draws_go_through_in_one_call() -> None:
    random = np.random.default_rng(5)
    columns = [
        random.uniform(1e3, 1e5, 300),
        random.uniform(-1e3, 1e5, 300),
        random.uniform(0, 1e4, 300),
        random.uniform(0, 0.3, 300),
        random.uniform(1, 12, 300),
    ]
    batch = level_worth(*columns)
    singles = [float(level_worth(*row)) for row in zip(*columns, strict=True)]
    assert_allclose(batch, singles, rtol=1e-12)


# --- payback --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volume", "net", "years"), [(1200, 30000.0, 0.83), (680, 16350.0, 1.52), (345, 7556.25, 3.30)]
)
def test_saving_and_payback_worked_by_hand(volume: int, net: float, years: float) -> None:
    """21 min at 75 an hour is 26.25 a part; 1500 a year comes off; 24900 is laid out."""
    yearly = yearly_saving(21 * 60, 75.0, volume, 1500.0)
    assert_allclose(yearly, net)
    assert_allclose(simple_payback(24900.0, yearly), years, atol=0.005)


@given(outlays, st.floats(1.0, 1e6), st.floats(0.0, 0.5))
def test_paybacks_agree_with_the_row_of_sums(outlay: float, yearly: float, rate: float) -> None:
    assume(outlay / yearly < 200.0)
    simple = float(simple_payback(outlay, yearly))
    row = [-outlay, *[yearly] * 260]
    assert_allclose(simple, payback(row), rtol=1e-9)
    found = discounted_payback(outlay, yearly, rate)
    if math.isfinite(found) and found < 250.0:
        assert_allclose(found, payback(row, rate), rtol=1e-9)
        if rate > 1e-4:  # closer to zero the library loses digits or fails
            assert_allclose(
                payments(outlay, yearly, rate), npf.nper(rate, yearly, -outlay), rtol=1e-6
            )
    else:
        assert payback(row, rate) == math.inf or found >= 250.0


@pytest.mark.parametrize("yearly", [0.0, -5.0])
def test_never_paid_back_without_a_saving(yearly: float) -> None:
    assert simple_payback(100.0, yearly) == math.inf
    assert discounted_payback(100.0, yearly, 0.08) == math.inf


def test_never_paid_back_where_interest_eats_the_saving() -> None:
    """8 a year on 100 at 8 % is just the interest."""
    assert discounted_payback(100.0, 8.0, 0.08) == math.inf
    assert discounted_payback(100.0, 8.1, 0.08) < 100.0
    assert simple_payback(100.0, 8.0) == pytest.approx(12.5)


def test_beyond_a_thousand_years_is_never() -> None:
    assert simple_payback(100.0, 100.0 / LONGEST * 1.01) < LONGEST
    assert simple_payback(100.0, 100.0 / LONGEST * 0.99) == math.inf
    assert simple_payback(1e300, 1e-300) == math.inf
    assert discounted_payback(100.0, 1e-4, 0.0) == math.inf


def test_nothing_laid_out_is_back_at_once() -> None:
    assert simple_payback(0.0, -5.0) == 0.0
    assert discounted_payback(0.0, -5.0, 0.08) == 0.0


def test_cash_in_hand_stops_with_the_work() -> None:
    assert_allclose(running_total(100.0, 30.0, 4.0, [0.0, 2.0, 9.0]), [-100.0, -40.0, 20.0])


# --- what would make it even ----------------------------------------------------------------


@given(
    outlays,
    st.floats(0.0, 1e4),
    resales,
    st.floats(0.0, 0.4),
    spans,
    st.floats(60.0, 7200.0),
    st.floats(10.0, 300.0),
)
def test_worth_is_zero_at_the_break_even_volume_and_time_and_price(
    outlay: float,
    running: float,
    resale: float,
    rate: float,
    years: float,
    saved: float,
    per_hour: float,
) -> None:
    fixed = -float(level_worth(outlay, 0.0, resale, rate, years))
    assume(fixed / float(annuity(rate, years)) + running > 1.0)
    a_part = float(yearly_saving(saved, per_hour, 1.0, 0.0))
    volume = float(volume_needed(fixed, a_part, annuity(rate, years), running))
    at_even = level_worth(
        outlay, yearly_saving(saved, per_hour, volume, running), resale, rate, years
    )
    assert_allclose(at_even, 0.0, atol=1e-7 * (outlay + resale + running * years))
    again = saved_needed(fixed, per_hour, volume, annuity(rate, years), running)
    assert_allclose(again, saved, rtol=1e-9)
    worth = level_worth(outlay, a_part * 2.0 * volume - running, resale, rate, years)
    most = price_allowed(outlay, worth)
    even = level_worth(most, a_part * 2.0 * volume - running, resale, rate, years)
    assert_allclose(even, 0.0, atol=1e-7 * float(np.abs(most)))


def test_no_volume_is_enough_if_a_part_saves_nothing() -> None:
    assert volume_needed(100.0, 0.0, 4.0, 10.0) == math.inf
    assert volume_needed(100.0, -2.0, 4.0, 10.0) == math.inf
    assert saved_needed(100.0, 75.0, 0.0, 4.0, 10.0) == math.inf


def test_no_volume_is_needed_if_resale_covers_everything() -> None:
    assert volume_needed(-100.0, 5.0, 4.0, 10.0) == 0.0
    assert volume_needed(-100.0, 0.0, 4.0, 10.0) == 0.0


def test_volume_is_rounded_up_but_not_for_rounding_noise() -> None:
    assert whole_parts(57.01) == 58.0
    assert whole_parts(6.0 + 1e-13) == 6.0
    assert whole_parts(math.inf) == math.inf


def test_cost_of_a_part_spreads_what_is_paid_once() -> None:
    assert_allclose(cost_per_part(360.0, 75.0, 112.5, 16), 14.53125)


def test_internal_rate_of_a_level_choice_ends_its_worth() -> None:
    times, flows = level_flows(24900.0, 7556.25, 3000.0, 5.0)
    found = internal_rate(flows, times).rate
    assert found is not None
    assert_allclose(level_worth(24900.0, 7556.25, 3000.0, found, 5.0), 0.0, atol=1e-6)
