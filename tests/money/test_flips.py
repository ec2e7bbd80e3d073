"""Where a decision turns, and how far each input moves it."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import ArrayLike

from gudgeon.money.chance import Spread
from gudgeon.money.flips import bent_flip, straight_flip, swings

FREE = {"low": -math.inf, "high": math.inf}


@given(st.floats(-50.0, 50.0), st.floats(0.1, 20.0), st.floats(-100.0, 100.0))
def test_one_line_turns_where_it_crosses(root: float, slope: float, at: float) -> None:
    found = straight_flip(lambda x: [slope * (x - root)], at, **FREE)
    assert found == pytest.approx(root, abs=1e-6)


def test_of_several_opponents_the_first_one_met_counts() -> None:
    """Best between 2 and 9: from 8 the nearer end is 9, from 3 it is 2."""

    def margins(x: np.ndarray) -> list[np.ndarray]:
        return [x - 2.0, 9.0 - x, x + 50.0]

    assert straight_flip(margins, 8.0, **FREE) == pytest.approx(9.0)
    assert straight_flip(margins, 3.0, **FREE) == pytest.approx(2.0)


def test_from_outside_it_turns_where_the_last_opponent_is_beaten() -> None:
    assert straight_flip(lambda x: [x - 2.0, x - 7.0], 0.0, **FREE) == pytest.approx(7.0)


def test_no_value_turns_it() -> None:
    assert straight_flip(lambda x: [x - 2.0, 1.0 - x], 0.0, **FREE) is None  # never both
    assert straight_flip(lambda x: [x - 2.0, np.full_like(x, -1.0)], 0.0, **FREE) is None
    assert straight_flip(lambda x: [np.full_like(x, 3.0)], 0.0, **FREE) is None
    assert straight_flip(lambda x: [x + 5.0], 1.0, low=0.0, high=math.inf) is None


def test_a_bend_is_searched_and_the_nearest_crossing_given() -> None:
    assert bent_flip(lambda x: [np.cos(x)], 4.0, low=0.0, high=10.0) == pytest.approx(1.5 * math.pi)
    assert bent_flip(lambda x: [x * x + 1.0], 4.0, low=0.0, high=10.0) is None
    assert bent_flip(lambda x: [x], 4.0, low=1.0, high=1.0) is None


@given(st.floats(-20.0, 20.0))
def test_both_ways_of_looking_agree_on_a_line(root: float) -> None:
    def margins(x: np.ndarray) -> list[np.ndarray]:
        return [3.0 * (x - root), 3.0 * (x - root) + 1.0]

    straight = straight_flip(margins, 25.0, **FREE)
    assert bent_flip(margins, 25.0, low=-30.0, high=30.0) == pytest.approx(straight, abs=1e-9)


def test_swings_are_ordered_by_what_each_range_does() -> None:
    def worth(values: Mapping[str, ArrayLike]) -> np.ndarray:
        return np.asarray(values["a"]) * 10.0 - np.asarray(values["b"])

    spreads = {"b": Spread(5.0, 1.0, 4.0), "a": Spread(2.0, 0.5), "idle": Spread(1.0, 9.0)}
    first, second, last = swings(worth, spreads)
    assert (first.name, second.name, last.name) == ("a", "b", "idle")
    assert_allclose([first.low, first.high], [1.0, 3.0])
    assert_allclose([first.worth_low, first.worth_high], [5.0, 25.0])
    assert_allclose([second.low, second.worth_low], [4.0, 16.0])  # cut at its limit
    assert second.width == pytest.approx(3.0)
    assert last.width == 0.0
