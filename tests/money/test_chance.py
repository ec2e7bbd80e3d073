"""Draws: their spread, limits and seed; chances against the normal law."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import norm, truncnorm

from gudgeon.money.chance import (
    Spread,
    chance_each_best,
    draw,
    half_width,
    share_above_zero,
)

COUNT = 20_000


def test_draws_have_the_spread_that_was_stated() -> None:
    drawn = draw({"volume": Spread(700.0, 50.0)}, seed=3)["volume"]
    assert_allclose(np.mean(drawn), 700.0, atol=4 * 50.0 / COUNT**0.5)
    assert_allclose(np.std(drawn), 50.0, rtol=0.03)
    assert half_width(drawn) == pytest.approx(1.96 * 50.0, rel=0.03)


@pytest.mark.parametrize(
    ("value", "u", "low"), [(0.0, 5.0, 0.0), (4.0, 5.0, 0.0), (30.0, 5.0, 0.0)]
)
def test_draws_are_cut_at_the_limit_as_the_truncated_normal(
    value: float, u: float, low: float
) -> None:
    drawn = draw({"cost": Spread(value, u, low)}, seed=4)["cost"]
    law = truncnorm((low - value) / u, np.inf, loc=value, scale=u)
    assert drawn.min() >= low
    assert_allclose(np.mean(drawn), law.mean(), atol=4 * law.std() / COUNT**0.5)
    assert_allclose(np.quantile(drawn, [0.05, 0.5, 0.95]), law.ppf([0.05, 0.5, 0.95]), atol=0.25)


def test_same_seed_same_draws_other_seed_other_draws() -> None:
    spreads = {"a": Spread(1.0, 0.1), "b": Spread(2.0, 0.1)}
    first, again, other = (draw(spreads, seed=seed, count=50) for seed in (1, 1, 2))
    assert np.array_equal(first["a"], again["a"])
    assert not np.array_equal(first["a"], other["a"])
    assert abs(np.corrcoef(first["a"], first["b"])[0, 1]) < 0.5


def test_an_input_more_leaves_the_draws_of_the_others() -> None:
    few = draw({"a": Spread(1.0, 0.1)}, seed=1, count=50)
    more = draw({"a": Spread(1.0, 0.1), "b": Spread(2.0, 0.1)}, seed=1, count=50)
    assert np.array_equal(few["a"], more["a"])


def test_an_exact_input_does_not_vary() -> None:
    assert np.all(draw({"a": Spread(3.0, 0.0)}, seed=1)["a"] == 3.0)


@pytest.mark.parametrize("spread", [Spread(-1.0, 0.1, 0.0), Spread(1.0, -0.1), Spread(np.nan, 0.1)])
def test_a_range_that_is_none_is_refused(spread: Spread) -> None:
    with pytest.raises(ValueError, match="volume"):
        draw({"volume": spread}, seed=1)


def test_ends_of_a_range_stop_at_the_limits() -> None:
    spread = Spread(1.0, 2.0, 0.0, 4.0)
    assert (spread.lower, spread.upper) == (0.0, 4.0)
    assert (Spread(1.0, 2.0).lower, Spread(1.0, 2.0).upper) == (-3.0, 5.0)


@given(st.floats(-2.0, 2.0))
def test_share_above_zero_follows_the_normal_law(distance: float) -> None:
    drawn = draw({"worth": Spread(distance, 1.0)}, seed=8)["worth"]
    assert_allclose(share_above_zero(drawn), norm.cdf(distance), atol=0.015)


def test_exactly_zero_does_not_pay() -> None:
    assert share_above_zero([0.0, 0.0, 1.0, -1.0]) == 0.25


def test_chances_of_being_best_add_up_and_a_tie_goes_to_the_first() -> None:
    worths = [[0.0, 0.0, 0.0, 0.0], [1.0, -1.0, 0.0, 2.0], [0.5, -2.0, 0.0, 3.0]]
    assert_allclose(chance_each_best(worths), [0.5, 0.25, 0.25])
