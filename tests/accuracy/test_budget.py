"""Shares, circles, Monte Carlo beside the law of propagation, and what mends leave.

That the propagation itself meets GUM H.1 to H.3 and the examples of JCGM 101 is compared in
tests/outside/test_05_uncertainty.py: the same functions of `gudgeon.quantity.spread` are called.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from gudgeon.accuracy.budget import (
    after_first_part,
    draw_out,
    estimate,
    rescaled,
    share_inside,
    slopes_of,
    within_circle,
)
from gudgeon.accuracy.dimensions import Dimension, dimension_errors
from gudgeon.accuracy.job import CAUSES, Factor, Sizes, sources_of
from gudgeon.quantity.spread import jacobian
from tests.accuracy.jobs import EXACT, Y, Z, hole, job, opposite_faces, plane, visit

WIDTH = Dimension("width", "distance", 1, 0, Y, low=-0.03, high=0.03)
EVERYTHING = Sizes(
    index_u=(2e-5, 3e-5),
    lost_half=(2e-5, 2e-5),
    linear_u=0.002,
    square_u=2e-5,
    scale_u=1e-5,
    clamping_u=0.01,
    place_u=0.01,
    length_u=0.003,
    diameter_u=0.01,
    growth_half=0.005,
    machine_half=2.0,
    part_half=2.0,
)
LINES = (Factor("lines", np.diag([0.004, 0.003, 0.004, 0.004, 2e-5])),)


def whole_job(**rest):
    return opposite_faces(factors=LINES, sizes=EVERYTHING, warm_lever=(5.0, 5.0, 200.0), **rest)


def test_shares_sum_to_one_and_are_sorted() -> None:
    found = estimate(whole_job(), [WIDTH])[0]
    shares = list(found.shares.values())
    assert sum(shares) == pytest.approx(1.0)
    assert shares == sorted(shares, reverse=True)
    assert found.greatest in CAUSES
    assert 0.0 < found.set_up_share < 1.0


def test_linear_and_monte_carlo_agree() -> None:
    dimensions = [
        WIDTH,
        Dimension("parallel", "parallel", 1, 0, -Y, 100.0, -0.02, 0.02),
        Dimension("to datum", "distance", 1, None, Y, low=-0.05, high=0.05),
    ]
    linear = estimate(whole_job(), dimensions)
    drawn = draw_out(whole_job(), dimensions, seed=1)
    for one, other in zip(linear, drawn, strict=True):
        assert other.agrees(one), one.dimension.name
        assert other.plus_minus == pytest.approx(one.plus_minus, rel=0.04)
        assert other.inside == pytest.approx(one.inside, abs=0.01)
    again = draw_out(whole_job(), dimensions, seed=1)
    assert [one.plus_minus for one in again] == [one.plus_minus for one in drawn]


def test_derivatives_at_once_are_those_one_by_one() -> None:
    one = whole_job()
    sources = sources_of(one)
    parallel = Dimension("parallel", "parallel", 1, 0, -Y, 100.0)
    function = dimension_errors(one, sources, [WIDTH, parallel])
    expected = jacobian(function, np.zeros(len(sources)), np.ones(len(sources)))
    assert slopes_of(function, len(sources), 3) == pytest.approx(expected, rel=1e-5, abs=1e-9)
    assert np.max(np.abs(expected)) > 1e-3


def test_a_single_rectangular_cause_makes_the_two_differ() -> None:
    """95 % of a rectangle of half width a is 0.95 a; 1.96 standard deviations are 1.13 a."""
    cut = plane("top", (0.0, 100.0, 0.0), Z, 0)
    one = job((cut,), (visit(0, 0),), sizes=replace(EXACT, lost_half=(1e-4, 0.0)))
    height = Dimension("h", "distance", 0, None, Z)
    linear, drawn = estimate(one, [height])[0], draw_out(one, [height], seed=1)[0]
    assert not drawn.agrees(linear)
    assert drawn.plus_minus == pytest.approx(0.95 * 0.01, rel=0.02)
    assert linear.plus_minus == pytest.approx(1.96 / math.sqrt(3.0) * 0.01, rel=1e-3)


def test_the_bend_of_the_map_is_seen_by_the_draws_only() -> None:
    """A face turned by an angle error t sinks by h (1 - cos t): mean h u^2 / 2."""
    cut = plane("top", (0.0, 0.0, 100.0), Z, 0)
    one = job((cut,), (visit(0, 0),), sizes=replace(EXACT, index_u=(0.02, 0.0)))
    height = Dimension("h", "distance", 0, None, Z)
    linear, drawn = estimate(one, [height])[0], draw_out(one, [height], seed=1)[0]
    assert linear.plus_minus == pytest.approx(0.0, abs=1e-6)
    assert float(drawn.mean[0]) == pytest.approx(-100.0 * 0.02**2 / 2.0, rel=0.05)
    assert not drawn.agrees(linear)


def test_few_readings_widen_the_factor() -> None:
    """Student's t for 4 degrees of freedom: 2.776 (JCGM 100:2008, table G.2)."""
    few = (Factor("lines", np.array([[0.0], [0.005], [0.0], [0.0], [0.0]]), 4.0),)
    found = estimate(opposite_faces(factors=few), [WIDTH])[0]
    assert found.u == pytest.approx(0.01)
    assert found.plus_minus == pytest.approx(0.02776, rel=1e-3)
    drawn = draw_out(opposite_faces(factors=few), [WIDTH], seed=1)[0]
    assert drawn.plus_minus == pytest.approx(0.02776, rel=0.03)


def test_share_in_tolerance_with_a_shifted_mean() -> None:
    """Limits at +3 and -1 standard deviations from the mean: 0.99865 - 0.15866."""
    one = Dimension("d", "distance", 0, None, Y, low=-2.0, high=2.0)
    assert share_inside(one, np.array([-1.0]), np.array([[1.0]])) == pytest.approx(
        0.84000, abs=1e-5
    )
    free = replace(one, low=-math.inf, high=math.inf)
    assert math.isnan(share_inside(free, np.zeros(1), np.eye(1)))
    assert share_inside(one, np.array([3.0]), np.zeros((1, 1))) == 0.0


def test_circle_of_equal_spread_is_that_of_rayleigh() -> None:
    for radius in (0.5, 1.0, 2.5, 4.0):
        expected = 1.0 - math.exp(-0.5 * radius**2)
        assert within_circle(radius, np.zeros(2), np.eye(2)) == pytest.approx(expected, abs=1e-6)


def test_circle_off_centre_and_stretched_against_draws() -> None:
    covariance = np.array([[1.0, 0.6], [0.6, 2.0]])
    mean = np.array([0.7, -0.4])
    points = np.random.default_rng(5).multivariate_normal(mean, covariance, 200_000)
    for radius in (1.0, 2.0, 3.5):
        counted = float(np.mean(np.hypot(*points.T) <= radius))
        assert within_circle(radius, mean, covariance) == pytest.approx(counted, abs=0.004)
    flat = np.diag([1.0, 0.0])
    assert within_circle(1.959964, np.zeros(2), flat) == pytest.approx(0.95, abs=1e-4)
    assert within_circle(1.0, np.array([3.0, 0.0]), np.zeros((2, 2))) == 0.0


def test_position_of_a_bored_hole() -> None:
    """Equal spread both ways: 95 % lie within 2.4477 standard deviations (Rayleigh)."""
    cuts = (hole("bore", (0.0, 0.0, 0.0), Z, 0),)
    one = job(cuts, (visit(0, 0),), sizes=replace(EXACT, linear_u=0.004))
    place = Dimension("place", "position", 0, None, Z, low=-0.01, high=0.01)
    found = estimate(one, [place])[0]
    assert found.plus_minus == pytest.approx(0.004 * 2.44775, rel=1e-3)
    assert found.inside == pytest.approx(1.0 - math.exp(-0.5 * 2.5**2), abs=1e-5)


def test_a_cause_made_smaller_is_the_same_as_a_smaller_size() -> None:
    found = estimate(whole_job(), [WIDTH])[0]
    scaled = rescaled(found, {"tool length": 0.4, "lost motion": 0.0})
    sizes = replace(EVERYTHING, length_u=0.4 * 0.003, lost_half=(0.0, 0.0))
    fresh = estimate(replace(whole_job(), sizes=sizes), [WIDTH])[0]
    assert scaled.plus_minus == pytest.approx(fresh.plus_minus, rel=1e-6)
    assert scaled.inside == pytest.approx(fresh.inside, rel=1e-6)
    assert "lost motion" not in scaled.shares


def test_a_first_part_leaves_what_scatters_and_its_own_measurement() -> None:
    sizes = replace(EXACT, length_u=0.02, linear_u=0.003, warmer=50.0, part_per_k=23e-6)
    found = estimate(opposite_faces(sizes=sizes), [WIDTH])[0]
    after = after_first_part(found, 0.004)
    assert after.u == pytest.approx(math.sqrt(2 * 0.003**2 + 0.004**2))
    assert float(after.mean[0]) == 0.0
    assert abs(float(found.mean[0])) > 0.01


def test_only_causes_with_a_size_are_variables() -> None:
    assert sources_of(opposite_faces()) == ()
    found = estimate(opposite_faces(), [WIDTH])[0]
    assert (found.plus_minus, found.greatest, found.inside) == (0.0, None, 1.0)
    assert draw_out(opposite_faces(), [WIDTH], seed=1)[0].plus_minus == 0.0
    assert {source.cause for source in sources_of(whole_job())} >= {"index", "lost motion", "lines"}
