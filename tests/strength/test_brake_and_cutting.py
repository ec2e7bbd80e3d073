"""Brakes and cutting forces: edges and laws beside the outside rows."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.strength import brake, cutting, solids


@pytest.mark.parametrize(
    ("tilt", "limit"), [(30.0, 1704.0), (45.0, 1151.0), (60.0, 906.0), (90.0, 760.0)]
)
def test_thrust_limits_of_the_acceptance_case(tilt: float, limit: float) -> None:
    """Case 4: brake 180 N m, safety 1.5, 42 kg with 2400 kg mm, cut 127 mm over the tilt line."""
    share = math.sin(math.radians(tilt))
    found = brake.force_limit(180.0, 1.5, 2.4 * 9.80665 * share, 127.0 * share)
    assert found == pytest.approx(limit, abs=2.0)


def test_no_lever_no_limit_and_nothing_left_is_nought() -> None:
    assert brake.force_limit(180.0, 1.5, 0.0, 0.0) is None
    assert brake.force_limit(180.0, 1.5, 0.0, 127.0 * math.sin(1e-17)) is None
    assert brake.force_limit(180.0, 1.5, 150.0, 100.0) == 0.0
    assert brake.brake_margin_factor(100.0, 0.0) == math.inf
    with pytest.raises(ValueError, match="safety"):
        brake.force_limit(180.0, 0.5, 0.0, 100.0)


@given(
    st.floats(10.0, 500.0),
    st.floats(1.0, 3.0),
    st.floats(-100.0, 100.0),
    st.floats(1.0, 300.0),
    st.floats(-20.0, 20.0),
)
def test_at_its_limit_the_cut_uses_the_brake_up(torque, safety, gravity, lever, other) -> None:
    """Weight that helps (either sign) is never credited."""
    limit = brake.force_limit(torque, safety, gravity, lever, other)
    assert limit is not None
    demand = brake.brake_demand(gravity, (limit, -lever)) + abs(other)
    if limit > 0.0:
        assert_allclose(demand, torque / safety)
    else:
        assert demand >= torque / safety - 1e-9


def test_chip_thickness_of_wide_and_full_cuts() -> None:
    assert cutting.chip_thickness_most(0.1, 20.0, 10.0) == 0.1
    assert cutting.chip_thickness_most(0.1, 20.0, 20.0) == 0.1
    # Slotting: the mean of fz sin over half a turn is 2 fz / pi.
    assert_allclose(cutting.chip_thickness_mean(0.1, 20.0, 20.0), 0.2 / math.pi)


@given(st.floats(0.05, 0.999))
def test_mean_chip_is_the_mean_of_the_sine(share) -> None:
    angle = math.acos(1.0 - 2.0 * share)
    mean = np.trapezoid(np.sin(np.linspace(0.0, angle, 2001)), dx=1.0 / 2000.0)
    assert_allclose(cutting.chip_thickness_mean(1.0, 1.0, share), mean, rtol=1e-5)


@given(st.floats(500.0, 4000.0), st.floats(2.0, 30.0), st.floats(0.02, 0.5))
def test_a_bigger_drill_pushes_in_proportion_and_twists_by_the_square(kc, size, feed) -> None:
    assert_allclose(
        cutting.drilling_thrust(kc, 2 * size, feed), 2 * cutting.drilling_thrust(kc, size, feed)
    )
    assert_allclose(
        cutting.drilling_torque(kc, 2 * size, feed), 4 * cutting.drilling_torque(kc, size, feed)
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cutting.specific_cutting_force(2000.0, 0.2, 0.0), "thickness_mm"),
        (lambda: cutting.spindle_speed(1000.0, 0.0), "diameter_mm"),
        (lambda: solids.centre_of_mass([0.0], [[1.0, 2.0, 3.0]]), "add up to nothing"),
    ],
)
def test_wrong_argument_is_named(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_nothing_pushes_nothing_tips() -> None:
    assert solids.tipping_safety(100.0, 80.0, 0.0, 60.0) == math.inf
