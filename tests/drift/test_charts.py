"""Charts: run lengths that textbooks print, and that the two ways of counting agree."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gudgeon.drift import charts

# Allowance 1/2, limit 4 and 5: mean run lengths of the two-sided scheme by shift (tables of
# textbooks on quality control; from memory, and recomputed here by two methods).
TABLE = [
    (4.0, 0.0, 168.0),
    (4.0, 1.0, 8.38),
    (4.0, 2.0, 3.34),
    (5.0, 0.0, 465.0),
    (5.0, 1.0, 10.4),
    (5.0, 2.0, 4.01),
]


def siegmund(allowance: float, limit: float, shift: float = 0.0) -> float:
    """Return the mean run length of a two-sided CUSUM by Siegmund's approximation (from memory)."""

    def one_sided(drift: float) -> float:
        b = limit + 1.166
        if abs(drift) < 1e-9:
            return b * b
        return (math.exp(-2.0 * drift * b) + 2.0 * drift * b - 1.0) / (2.0 * drift * drift)

    return 1.0 / (1.0 / one_sided(shift - allowance) + 1.0 / one_sided(-shift - allowance))


@pytest.mark.parametrize(("limit", "shift", "length"), TABLE)
def test_run_lengths_of_the_cumulative_sum(limit: float, shift: float, length: float) -> None:
    assert charts.cusum_run_length(0.5, limit, shift) == pytest.approx(length, rel=0.01)
    assert siegmund(0.5, limit, shift) == pytest.approx(length, rel=0.05)


def test_run_length_of_the_moving_average() -> None:
    """Weight 0.1 and width 2.814 alarm once in 500 (textbook value, from memory)."""
    assert charts.ewma_run_length(0.1, 2.814) == pytest.approx(500.0, rel=0.01)
    assert charts.ewma_run_length(0.1, 2.814, 1.0) == pytest.approx(10.3, rel=0.02)


def test_a_moving_average_of_the_newest_only_is_a_chart_of_single_values() -> None:
    """Three sigma either way: 2.7 in a thousand (normal distribution), once in 370."""
    assert charts.ewma_run_length(1.0, 3.0) == pytest.approx(1.0 / 0.0026998, rel=1e-4)


def test_run_length_by_playing_it_through() -> None:
    chance = np.random.default_rng(3)
    lengths = []
    for _ in range(300):
        upper, lower = charts.cusum(chance.normal(1.0, 1.0, 200), 0.0, 0.5)
        lengths.append(1 + int(np.argmax(np.maximum(upper, lower) > 4.0)))
    assert np.mean(lengths) == pytest.approx(charts.cusum_run_length(0.5, 4.0, 1.0), rel=0.1)


def test_the_limit_is_the_run_length_turned_round() -> None:
    limit = charts.cusum_limit(0.5, 465.0)
    assert limit == pytest.approx(5.0, abs=0.03)


def test_limits_of_the_moving_average_widen() -> None:
    early, steady = charts.ewma_limits(0.0, 1.0, 0.2, 3.0, 1), charts.ewma_limits(0.0, 1.0, 0.2)
    assert early[0] == pytest.approx(0.6)
    assert steady[0] == pytest.approx(1.0)
    assert early[1] == -early[0]


def test_what_cannot_be_told_is_refused() -> None:
    with pytest.raises(ValueError, match="two readings"):
        charts.factors(1)
    with pytest.raises(ValueError, match="two values"):
        charts.individuals([1.0])
