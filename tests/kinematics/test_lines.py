"""Two lines: hand cases, laws, and exact fractions as another method."""

from __future__ import annotations

import doctest
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.kinematics import lines
from gudgeon.kinematics.chain import AxisLine
from gudgeon.kinematics.lines import PARALLEL_SINE, distance_to_line, passing, point_at_height

from .strategies import points, units


def test_examples_in_the_docstrings_run() -> None:
    failed, tried = doctest.testmod(lines)
    assert tried and not failed


def test_a_rotary_line_behind_the_tilt_line() -> None:
    """By hand: x cross z is -y, so a rotary line further back (+y) counts negative."""
    found = passing([5, 2, 3], [1, 0, 0], [9, 2.25, -7], [0, 0, 1])
    assert float(found.miss_mm) == -0.25
    assert_allclose(found.foot_a_mm, [9, 2, 3])
    assert_allclose(found.foot_b_mm, [9, 2.25, 3])
    assert_allclose(found.angle_rad, math.pi / 2)


def test_edges_of_a_box() -> None:
    """By hand: diagonals of the lower and the upper face miss by the height; a x b points down."""
    found = passing([0, 0, 0], [1, 1, 0], [0, 2, 4], [1, -1, 0])
    assert_allclose(found.miss_mm, -4)
    assert_allclose(found.foot_a_mm, [1, 1, 0], atol=1e-12)
    assert_allclose(found.foot_b_mm, [1, 1, 4], atol=1e-12)


@pytest.mark.parametrize("sign", [1, -1])
def test_parallel_lines(sign: int) -> None:
    found = passing([1, 1, 9], [0, 0, 1], [4, 5, 2], [0, 0, sign])
    assert bool(found.parallel)
    assert_allclose(found.miss_mm, 5.0)
    assert_allclose(found.foot_b_mm, [4, 5, 9])
    assert_allclose(found.angle_rad, 0.0 if sign > 0 else math.pi)


@given(points, units, points, units)
def test_the_link_is_square_to_both_and_joins_the_lines(p, a, q, b):
    assume(np.linalg.norm(np.cross(a, b)) > 0.01)
    found = passing(p, a, q, b)
    link = found.foot_b_mm - found.foot_a_mm
    assert_allclose([link @ a, link @ b], 0.0, atol=1e-6)
    assert_allclose(distance_to_line(AxisLine(tuple(p), tuple(a)), found.foot_a_mm), 0, atol=1e-6)
    assert_allclose(distance_to_line(AxisLine(tuple(q), tuple(b)), found.foot_b_mm), 0, atol=1e-6)
    side = np.cross(a, b) / np.linalg.norm(np.cross(a, b))
    assert_allclose(found.miss_mm, link @ side, atol=1e-6)


@given(points, units, points, units)
def test_exchanging_the_lines_keeps_the_miss(p, a, q, b):
    """Both r and a x b change sign, so the signed miss does not."""
    assume(np.linalg.norm(np.cross(a, b)) > 0.01)
    one, two = passing(p, a, q, b), passing(q, b, p, a)
    assert_allclose(one.miss_mm, two.miss_mm, atol=1e-6)
    assert_allclose(one.foot_a_mm, two.foot_b_mm, atol=1e-5)
    turned = passing(p, -a, q, b)
    assert_allclose(turned.miss_mm, -one.miss_mm, atol=1e-6)


def test_rounding_close_to_parallel() -> None:
    """States the accuracy promised beside PARALLEL_SINE; exact fractions are the judge."""
    random = np.random.default_rng(5)
    worst = 0.0
    for _ in range(100):
        a = random.normal(size=3)
        a /= np.linalg.norm(a)
        side = np.cross(a, random.normal(size=3))
        b = a + 3 * PARALLEL_SINE * side / np.linalg.norm(side)
        p, q = random.uniform(-10, 10, 3), random.uniform(-1000, 1000, 3)
        fa, fb = ([Fraction(float(v)) for v in vector] for vector in (a, b))
        r = [Fraction(float(y)) - Fraction(float(x)) for x, y in zip(p, q, strict=True)]
        n = [fa[i - 2] * fb[i - 1] - fa[i - 1] * fb[i - 2] for i in range(3)]
        along = sum(x * y for x, y in zip(r, n, strict=True))
        exact = math.copysign(math.sqrt(along**2 / sum(x * x for x in n)), along)
        worst = max(worst, abs(float(passing(p, a, q, b).miss_mm) - exact))
    assert worst < 1e-5


def test_a_batch_needs_no_loop() -> None:
    random = np.random.default_rng(6)
    p, a, q, b = random.normal(size=(4, 20, 3))
    batch = passing(p, a, q, b).miss_mm
    singles = [float(passing(*one).miss_mm) for one in zip(p, a, q, b, strict=True)]
    assert_allclose(batch, singles, rtol=1e-12)


@given(points, st.floats(-500, 500))
def test_point_at_a_height(start, height):
    line = AxisLine(tuple(start), (0.6, 0.0, 0.8))
    found = point_at_height(line, height)
    assert_allclose(found[2], height, atol=1e-9)
    assert_allclose(distance_to_line(line, found), 0.0, atol=1e-8)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="direction_a has no length"):
        passing([0, 0, 0], [0, 0, 0], [0, 0, 0], [1, 0, 0])
    with pytest.raises(ValueError, match="point_b_mm needs three"):
        passing([0, 0, 0], [1, 0, 0], [0, 0], [1, 0, 0])
    with pytest.raises(ValueError, match="not finite"):
        passing([0, 0, math.nan], [1, 0, 0], [0, 0, 0], [1, 0, 0])
    with pytest.raises(ValueError, match="level line"):
        point_at_height(AxisLine((0, 0, 0), (1, 0, 0)), 4.0)
