"""Worth, internal rate and payback of rows of sums."""

from __future__ import annotations

import math

import numpy as np
import numpy_financial as npf
import pytest
import pyxirr
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.money.flows import (
    annual_equivalent,
    internal_rate,
    payback,
    present_worth,
    profitability_index,
    sign_changes,
    zoom,
)

sums = st.floats(-1e5, 1e5).map(lambda value: round(value, 2))
rates = st.floats(-0.4, 1.5)
outlays = st.floats(100.0, 1e6)
gains = st.lists(st.floats(0.0, 1e5).map(lambda value: round(value, 2)), min_size=1, max_size=20)


# --- against two libraries ------------------------------------------------------------------


@given(rates, st.lists(sums, min_size=1, max_size=25))
def test_worth_agrees_with_two_libraries(rate: float, flows: list[float]) -> None:
    size = sum(abs(flow) * (1.0 + rate) ** -i for i, flow in enumerate(flows))
    found = present_worth(rate, flows)
    assert_allclose(found, npf.npv(rate, flows), rtol=0, atol=1e-9 * (1.0 + size))
    assert_allclose(found, pyxirr.npv(rate, flows), rtol=0, atol=1e-9 * (1.0 + size))
    years = list(range(len(flows)))
    assert_allclose(present_worth(rate, flows, years), found, rtol=0, atol=1e-9 * (1.0 + size))


@given(outlays, gains)
def test_internal_rate_agrees_with_two_libraries(outlay: float, gain: list[float]) -> None:
    assume(sum(gain) > 0.05 * outlay)
    flows = [-outlay, *gain]
    found = internal_rate(flows)
    assert found.rate is not None
    assert not found.several_possible
    assert_allclose(found.rate, npf.irr(flows), atol=1e-7)
    other = pyxirr.irr(flows)
    if other is not None:
        assert_allclose(found.rate, other, atol=1e-6)


@given(outlays, st.floats(10.0, 1e5), st.floats(0.0, 1e5), st.floats(1.05, 20.0))
def test_worth_at_the_internal_rate_is_zero_in_part_years_too(
    outlay: float, yearly: float, resale: float, years: float
) -> None:
    whole = math.floor(years)
    times = [*range(whole + 1), years]
    flows = [-outlay, *[yearly] * whole, yearly * (years - whole) + resale]
    assume(years > whole)
    found = internal_rate(flows, times)
    assume(found.rate is not None)
    assert found.rate is not None
    size = sum(abs(f) * (1.0 + found.rate) ** -t for f, t in zip(flows, times, strict=True))
    assert abs(present_worth(found.rate, flows, times)) < 1e-6 * size


# --- worked by hand -------------------------------------------------------------------------


def test_two_roots_are_both_given_and_told() -> None:
    """-100, +230, -132: (v - 1/1.1)(v - 1/1.2) = 0, so 10 % and 20 %."""
    found = internal_rate([-100.0, 230.0, -132.0])
    assert found.several_possible
    assert_allclose(found.rates, [0.10, 0.20], atol=1e-9)
    assert_allclose(found.rate, 0.10, atol=1e-9)


def test_a_tiny_last_sum_does_not_hide_the_rate() -> None:
    """The library's polynomial roots lose this one, 6 after two years on 100: sqrt(0.06) - 1."""
    found = internal_rate([-100.0, 0.0, 6.0, 1e-45])
    assert_allclose(found.rate, 0.06**0.5 - 1.0, atol=1e-12)


@pytest.mark.parametrize("flows", [[100.0, 20.0], [-100.0, -20.0], [0.0, 0.0], [-100.0, 0.0]])
def test_without_a_change_of_sign_there_is_no_rate(flows: list[float]) -> None:
    found = internal_rate(flows)
    assert found.rate is None
    assert found.rates == ()
    assert not found.several_possible


def test_two_changes_of_sign_may_still_have_no_root() -> None:
    """-100, +100, -100 has complex roots only."""
    found = internal_rate([-100.0, 100.0, -100.0])
    assert found.rate is None
    assert found.several_possible


def test_part_years_with_several_changes_of_sign_are_refused() -> None:
    with pytest.raises(ValueError, match="whole years"):
        internal_rate([-100.0, 230.0, -132.0], [0.0, 1.0, 1.5])


def test_zeros_are_skipped_in_counting_signs() -> None:
    assert sign_changes([-5.0, 0.0, 0.0, 3.0, 0.0, -1.0]) == 2


def test_payback_within_the_year() -> None:
    """100 out, 40 a year: 60 after one year, so 2.5 years; at 10 %: 36.364 + 33.058 + 30.053."""
    assert payback([-100.0, 40.0, 40.0, 40.0]) == pytest.approx(2.5)
    assert payback([-100.0, 40.0, 40.0, 40.0, 40.0], 0.10) == pytest.approx(
        3.0 + (100.0 - 99.4740796) / 27.3205382, abs=1e-6
    )


def test_payback_is_the_first_time_even_if_money_goes_out_again() -> None:
    assert payback([-100.0, 150.0, -80.0, 200.0]) == pytest.approx(100.0 / 150.0)


def test_payback_without_outlay_is_at_once_and_can_be_never() -> None:
    assert payback([0.0, 5.0]) == 0.0
    assert payback([]) == 0.0
    assert payback([-1.0, -1.0]) == math.inf


@given(outlays, gains, st.floats(0.0, 1.0))
def test_discounted_payback_is_never_earlier(outlay: float, gain: list[float], rate: float) -> None:
    flows = [-outlay, *gain]
    assert payback(flows, rate) >= payback(flows) - 1e-9


@given(outlays, gains, rates)
def test_index_above_one_means_worth_above_zero(
    outlay: float, gain: list[float], rate: float
) -> None:
    worth = present_worth(rate, [-outlay, *gain])
    index = profitability_index(outlay, worth)
    assert index is not None
    assert_allclose(index, present_worth(rate, [0.0, *gain]) / outlay, rtol=1e-9, atol=1e-12)
    assume(abs(worth) > 1e-6 * outlay)
    assert (index > 1.0) == (worth > 0.0)


def test_no_index_without_an_outlay() -> None:
    assert profitability_index(0.0, 50.0) is None


@given(st.floats(-1e6, 1e6), st.floats(0.001, 0.5), st.integers(1, 30))
def test_annual_equivalent_has_the_same_worth(worth: float, rate: float, years: int) -> None:
    level = annual_equivalent(worth, rate, years)
    again = present_worth(rate, [0.0, *[level] * years])
    assert_allclose(again, worth, rtol=1e-9, atol=1e-6)


# --- the search -----------------------------------------------------------------------------


def test_zoom_finds_every_crossing_to_the_last_digits() -> None:
    found = zoom(np.sin, 0.5, 10.0)
    assert_allclose(found, [math.pi, 2 * math.pi, 3 * math.pi], rtol=1e-14)


def test_zoom_finds_nothing_where_nothing_crosses() -> None:
    assert zoom(lambda x: x * x + 1.0, -5.0, 5.0) == []
