"""Distance of a turning point from a fixed one: closed forms and dense samples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.clearance.tether import span
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

X = TurningAxis("tilt", AxisLine((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), 1)
Z = TurningAxis("rotary", AxisLine((10.0, 20.0, 0.0), (0.0, 0.0, 1.0)), -1)


def test_a_point_that_stands_has_one_distance() -> None:
    found = span(WorkChain(()), (3.0, 4.0, 0.0), (0.0, 0.0, 12.0), (), ())
    assert (found.least_mm, found.most_mm) == (13.0, 13.0)


def test_only_the_directions_that_count() -> None:
    found = span(
        WorkChain(()), (3.0, 4.0, 0.0), (0.0, 0.0, 12.0), (), (), counts=(False, True, False)
    )
    assert found.most_mm == 4.0


def test_a_whole_turn_about_one_line() -> None:
    # A circle of radius 50 about the origin, a fixed point 80 out in its plane: 30 to 130.
    found = span(WorkChain((X,)), (0.0, 50.0, 0.0), (0.0, 80.0, 0.0), [-math.pi], [math.pi])
    assert 30.0 - 0.06 <= found.least_mm <= 30.0
    assert 130.0 <= found.most_mm <= 130.0 + 0.06
    assert abs(found.most_at[0]) == pytest.approx(math.pi, abs=0.05)


def test_part_of_a_turn_ends_at_its_limits() -> None:
    # From 0 to 90 deg it goes from 30 away to sqrt(50^2 + 80^2).
    found = span(WorkChain((X,)), (0.0, 50.0, 0.0), (0.0, 80.0, 0.0), [0.0], [math.pi / 2.0])
    far = math.hypot(50.0, 80.0)
    assert far <= found.most_mm <= far + 0.06
    assert 30.0 - 0.06 <= found.least_mm <= 30.0


coordinate = st.floats(-150.0, 150.0)


@settings(max_examples=25, deadline=None)
@given(
    point=st.tuples(coordinate, coordinate, coordinate),
    fixed=st.tuples(coordinate, coordinate, coordinate),
    ends=st.tuples(st.floats(-3.0, 3.0), st.floats(-3.0, 3.0)),
)
def test_no_sampled_pose_leaves_the_bounds(
    point: tuple[float, ...], fixed: tuple[float, ...], ends: tuple[float, float]
) -> None:
    chain = WorkChain((X, Z))
    low, high = (min(ends), -1.0), (max(ends), 2.0)
    found = span(chain, point, fixed, low, high, tol_mm=0.5)
    grid = np.stack(
        np.meshgrid(np.linspace(low[0], high[0], 60), np.linspace(low[1], high[1], 60)), axis=-1
    )
    apart = np.linalg.norm(chain.points(grid, point) - np.asarray(fixed), axis=-1)
    assert found.least_mm <= apart.min() + 1e-9
    assert found.most_mm >= apart.max() - 1e-9
    # The bounds are not idle: they are reached at the poses named.
    for at, told in ((found.least_at, found.least_mm), (found.most_at, found.most_mm)):
        true = float(np.linalg.norm(chain.points(at, point) - np.asarray(fixed)))
        assert abs(true - told) <= 0.5 + 1e-9
