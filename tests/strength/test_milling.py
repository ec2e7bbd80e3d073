"""Forces of milling cutters: closed forms, balance of power, a second simulation, laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad

from gudgeon.strength import cutting, milling
from gudgeon.strength.milling import Engagement, teeth_sum

# --- by hand ----------------------------------------------------------------------------------


def test_one_tooth_in_a_full_slot() -> None:
    """Pressure the same everywhere: the force follows sin, its mean over a turn is 1/pi."""
    found = teeth_sum(Engagement.of(20.0, 20.0), 1, 0.0)
    assert_allclose([found.mean, found.peak, found.resultant], [1.0 / math.pi, 1.0, 1.0])


def test_four_teeth_in_a_full_slot_push_steadily() -> None:
    """Two teeth cut at a time, sin and cos: the rims add up to sqrt 2, the vectors always to 1."""
    found = teeth_sum(Engagement.of(20.0, 20.0), 4, 0.0)
    assert_allclose(found.peak, math.sqrt(2.0), rtol=1e-5)
    assert_allclose(found.resultant, 1.0, rtol=1e-8)
    assert_allclose(found.mean, 4.0 / math.pi)


def test_a_thin_cut_ends_where_the_chip_is_thickest() -> None:
    """CF-045: fz 0.1, D 20, ae 5: one of two teeth, greatest chip 0.0866 mm."""
    engagement = Engagement.of(20.0, 5.0)
    assert_allclose(engagement.arc_rad, math.pi / 3.0)
    most = cutting.chip_thickness_most(0.1, 20.0, 5.0)
    found = teeth_sum(engagement, 2, 0.0)
    assert_allclose(0.1 * found.peak, most, rtol=1e-8)
    assert engagement.teeth_in_cut(2) == engagement.teeth_in_cut(6) == 1
    assert engagement.teeth_in_cut(7) == 2
    assert Engagement.of(20.0, 20.0).teeth_in_cut(2) == 1
    assert Engagement.of(20.0, 20.0).teeth_in_cut(3) == 2
    assert Engagement.of(20.0, 1.0).teeth_in_cut(1) == 1


def test_force_on_the_rim_from_the_power() -> None:
    """1.68 kW at 101.9 rpm are 157.4 N m (CF-047); over a 125 mm radius 1259.5 N."""
    spin = 101.9 * 2.0 * math.pi / 60.0
    force = milling.rim_force(1680.0, spin, 250.0)
    assert_allclose(force * 0.125, cutting.spindle_torque(1680.0, spin))
    assert_allclose(force, 157.43688188089354 / 0.125)


def test_thrust_of_a_drill_from_its_torque() -> None:
    """CF-040 and CF-042: 5 N m and 857.17 N belong to the same 10 mm drill."""
    assert_allclose(cutting.drilling_thrust_of(5.0, 10.0), 857.1673007021124)
    assert_allclose(cutting.drilling_chip(0.2, math.pi / 2.0), 0.1)


# --- laws -------------------------------------------------------------------------------------

shares = st.floats(0.02, 1.0)
asides = st.floats(0.0, 1.0)
teeth = st.integers(1, 12)
exponents = st.floats(0.0, 0.5)


@given(shares, asides, teeth, st.floats(0.02, 0.3), st.floats(0.5, 8.0), st.floats(500.0, 4000.0))
def test_mean_force_times_speed_is_the_power_of_the_volume(share, aside, z, fz, ap, kc) -> None:
    """P = kc ap ae vf (CF-020), wherever the cutter stands over the width."""
    diameter, spin = 16.0, 400.0
    engagement = Engagement.of(diameter, share * diameter, aside)
    mean = milling.tooth_force(kc, 0.0, ap, fz) * teeth_sum(engagement, z, 0.0).mean
    feed = fz * z * spin / (2.0 * math.pi)
    by_volume = cutting.milling_power(kc, ap, share * diameter, feed)
    assert_allclose(mean * spin * diameter / 2000.0, by_volume, rtol=1e-9)
    assert_allclose(milling.rim_force(by_volume, spin, diameter), mean, rtol=1e-9)


@given(st.floats(0.0, 1.0), st.floats(0.0, 3.0), st.floats(0.05, 1.0))
def test_integral_of_the_sine_against_quadrature(power, enter, span) -> None:
    leave = min(math.pi, enter + span * (math.pi - enter))
    by_sums = quad(lambda a: math.sin(a) ** power, enter, leave, limit=200)[0]
    assert_allclose(milling.mean_sine_power(power, enter, leave), by_sums, rtol=1e-6, atol=1e-8)


def simulated(
    engagement: Engagement, z: int, exponent: float, radial: float, lag: float = 0.0
) -> tuple[float, float]:
    """Greatest torque and greatest force, tooth by tooth in X and Y; a helix lags by `lag`."""
    slices = np.linspace(0.0, lag, 41) if lag else np.zeros(1)
    turned = np.linspace(0.0, 2.0 * math.pi, 4001)
    fx = fy = rims = np.zeros_like(turned)
    for tooth in range(z):
        for behind in slices:
            angle = (turned + tooth * 2.0 * math.pi / z - behind) % (2.0 * math.pi)
            cuts = (angle > engagement.enter_rad) & (angle < engagement.leave_rad)
            ft = np.where(cuts, np.abs(np.sin(angle)) ** (1.0 - exponent), 0.0) / slices.size
            fr = radial * ft
            fx = fx - ft * np.cos(angle) - fr * np.sin(angle)
            fy = fy + ft * np.sin(angle) - fr * np.cos(angle)
            rims = rims + ft
    return float(rims.max()), float(np.hypot(fx, fy).max())


@settings(max_examples=25, deadline=None)
@given(shares, asides, teeth, exponents, st.floats(0.0, 0.8))
def test_peaks_against_a_simulation_in_x_and_y(share, aside, z, exponent, radial) -> None:
    engagement = Engagement.of(1.0, share, aside)
    found = teeth_sum(engagement, z, exponent)
    rims, force = simulated(engagement, z, exponent, radial)
    factor = milling.resultant_factor(radial)
    # The simulation steps past the very end of a thin cut.
    assert_allclose(found.peak, rims, rtol=0.02)
    assert_allclose(found.resultant * factor, force, rtol=0.02)


@settings(max_examples=15, deadline=None)
@given(shares, teeth, exponents, st.floats(0.1, 2.0))
def test_a_helix_only_smooths_the_peaks(share, z, exponent, lag) -> None:
    engagement = Engagement.of(1.0, share)
    found = teeth_sum(engagement, z, exponent)
    rims, force = simulated(engagement, z, exponent, 0.0, lag)
    assert rims <= found.peak * (1.0 + 1e-5)
    assert force <= found.resultant * (1.0 + 1e-5)


@given(shares, asides, teeth, exponents)
def test_means_peaks_and_sides_agree(share, aside, z, exponent) -> None:
    found = teeth_sum(Engagement.of(1.0, share, aside), z, exponent)
    assert found.mean <= found.peak * (1.0 + 1e-9)
    assert found.resultant <= found.peak * (1.0 + 1e-9)
    other = teeth_sum(Engagement.of(1.0, share, 1.0 - aside), z, exponent)
    assert_allclose(
        [found.mean, found.peak, found.resultant],
        [other.mean, other.peak, other.resultant],
        rtol=1e-4,
    )


@given(shares, st.floats(1.0, 3.0), teeth, exponents)
def test_a_wider_cut_never_turns_easier(share, wider, z, exponent) -> None:
    narrow = teeth_sum(Engagement.of(1.0, share), z, exponent)
    wide = teeth_sum(Engagement.of(1.0, share * wider), z, exponent)
    assert wide.peak >= narrow.peak * (1.0 - 1e-5)
    assert wide.mean >= narrow.mean * (1.0 - 1e-9)


@given(st.floats(1.0, 4.0), st.floats(0.0, 0.9), st.floats(0.01, 0.5))
def test_more_depth_or_feed_is_never_less_force(more, exponent, feed) -> None:
    one = milling.tooth_force(2000.0, exponent, 1.0, feed)
    assert_allclose(milling.tooth_force(2000.0, exponent, more, feed), more * one)
    assert milling.tooth_force(2000.0, exponent, 1.0, more * feed) >= one * (1.0 - 1e-12)


# --- wrong input ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Engagement.of(0.0, 1.0), "diameter and width"),
        (lambda: Engagement.of(10.0, 1.0, 1.5), "aside"),
        (lambda: teeth_sum(Engagement.of(10.0, 1.0), 0, 0.2), "teeth"),
        (lambda: milling.rim_force(100.0, 0.0, 10.0), "speed and diameter"),
        (lambda: cutting.drilling_thrust_of(1.0, 0.0), "diameter_mm"),
    ],
)
def test_wrong_argument_is_named(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()
