"""One axis: closed forms against an independent library, integration and the laws of motion."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.timing import profile

CASES = 5000

sizes = st.floats(1e-3, 1e4)
jerks = st.one_of(sizes.map(lambda j: 10.0 * j), st.just(np.inf))


def drawn(count: int, seed: int = 5) -> np.ndarray:
    """Distances, speeds, accelerations, jerks over five decades: every branch comes up."""
    random = np.random.default_rng(seed)
    return 10.0 ** random.uniform([-2, 0, 1, 2], [3, 3, 4, 6], (count, 4))


def test_rest_to_rest_against_a_library_5000_times() -> None:
    ruckig = pytest.importorskip("ruckig", reason="the reference library is not installed")
    cases = drawn(CASES)
    ours = profile.rest_to_rest_s(*cases.T)
    theirs = np.empty(CASES)
    maker, asked = ruckig.Ruckig(1), ruckig.InputParameter(1)
    for i, (d, v, a, j) in enumerate(cases.tolist()):
        asked.target_position = [d]
        asked.max_velocity, asked.max_acceleration, asked.max_jerk = [v], [a], [j]
        found = ruckig.Trajectory(1)
        assert maker.calculate(asked, found) == ruckig.Result.Working
        theirs[i] = found.duration
    assert_allclose(ours, theirs, rtol=1e-12)


def test_position_against_a_library() -> None:
    ruckig = pytest.importorskip("ruckig", reason="the reference library is not installed")
    maker, asked = ruckig.Ruckig(1), ruckig.InputParameter(1)
    for d, v, a, j in drawn(200, 6).tolist():
        asked.target_position = [d]
        asked.max_velocity, asked.max_acceleration, asked.max_jerk = [v], [a], [j]
        found = ruckig.Trajectory(1)
        maker.calculate(asked, found)
        times = np.linspace(0.0, found.duration, 23)
        theirs = [found.at_time(t)[0][0] for t in times.tolist()]
        assert_allclose(profile.position(times, d, v, a, j), theirs, rtol=1e-9, atol=1e-9 * d)


def test_change_of_speed_against_a_library() -> None:
    """From speed to speed with no place asked: the library's velocity control."""
    ruckig = pytest.importorskip("ruckig", reason="the reference library is not installed")
    maker, asked = ruckig.Ruckig(1), ruckig.InputParameter(1)
    asked.control_interface = ruckig.ControlInterface.Velocity
    for v0, v1, a, j in drawn(500, 7).tolist():
        asked.current_velocity, asked.target_velocity = [v0], [v1]
        asked.max_acceleration, asked.max_jerk = [a], [j]
        found = ruckig.Trajectory(1)
        assert maker.calculate(asked, found) == ruckig.Result.Working
        assert_allclose(profile.change_s(v0, v1, a, j), found.duration, rtol=1e-12)
        way = found.at_time(found.duration)[0][0]
        assert_allclose(profile.change_distance(v0, v1, a, j), way, rtol=1e-9)


@pytest.mark.parametrize(("jerk", "seconds"), [(50000.0, 0.453112887414928), (np.inf, 0.4)])
def test_worked_example(jerk: float, seconds: float) -> None:
    assert_allclose(profile.rest_to_rest_s(100.0, 500.0, 2500.0, jerk), seconds, rtol=1e-14)


@given(sizes, sizes, sizes, jerks)
def test_what_position_says_keeps_all_limits(d: float, v: float, a: float, j: float) -> None:
    total = float(profile.rest_to_rest_s(d, v, a, j))
    t = np.linspace(0.0, total, 401)
    s = profile.position(t, d, v, a, j)
    step = t[1]
    speeds = np.diff(s) / step
    tops = profile.peak_speed(d, v, a, j)
    rounding = 1e-12 * d
    assert s[0] == 0.0
    assert_allclose(s[-1], d, rtol=1e-12)
    assert np.all(speeds >= -rounding / step)
    assert np.all(speeds <= tops + rounding / step)
    assert tops <= v
    # Differences of means over steps cannot exceed the limit of the derivative.
    assert np.all(np.abs(np.diff(speeds)) / step <= a * (1 + 1e-9) + 4 * rounding / step**2)
    if np.isfinite(j):
        jolts = np.abs(np.diff(speeds, 2)) / step**2
        assert np.all(jolts <= j * (1 + 1e-9) + 8 * rounding / step**3)


@given(sizes, sizes, sizes, jerks, st.floats(1.0, 10.0))
def test_larger_limits_are_never_slower(d: float, v: float, a: float, j: float, k: float) -> None:
    here = profile.rest_to_rest_s(d, v, a, j)
    for better in ((d, k * v, a, j), (d, v, k * a, j), (d, v, a, k * j), (d / k, v, a, j)):
        assert profile.rest_to_rest_s(*better) <= here * (1 + 1e-12)
    assert here >= d / v * (1 - 1e-15)


@given(sizes, sizes, sizes, jerks)
def test_two_ramps_and_what_lies_between_make_the_whole(
    d: float, v: float, a: float, j: float
) -> None:
    top = profile.peak_speed(d, v, a, j)
    ramp, way = profile.change_s(0.0, top, a, j), profile.change_distance(0.0, top, a, j)
    total = 2.0 * ramp + (d - 2.0 * way) / top
    assert_allclose(profile.rest_to_rest_s(d, v, a, j), total, rtol=1e-9)
    assert 2.0 * way <= d * (1 + 1e-9)


def test_several_axes() -> None:
    """X30 (V 400, A 2000) and 90 deg (V 60, A 300): 1.7 s each way of moving, by hand."""
    limits = ([400.0, 60.0], [2000.0, 300.0])
    assert_allclose(profile.slowest_axis_s([30.0, -90.0], *limits), 1.7, rtol=1e-14)
    assert_allclose(profile.straight_s([30.0, -90.0], *limits), 1.7, rtol=1e-14)
    # Straight, the axis with more speed but less acceleration holds the other back.
    limits = ([100.0, 10.0], [10.0, 100.0])
    deltas = [[100.0, 10.0], [0.0, 0.0], [0.0, 5.0]]
    apart = profile.slowest_axis_s(deltas, *limits)
    together = profile.straight_s(deltas, *limits)
    assert_allclose(apart, [2.0 * np.sqrt(10.0), 0.0, 0.6], rtol=1e-14)
    assert_allclose(together, [2.0 * np.sqrt(10.0), 0.0, 0.6], rtol=1e-14)
    limits = ([10.0, 10.0], [10.0, 100.0])
    assert profile.straight_s([9.0, 10.0], *limits) > profile.slowest_axis_s([9.0, 10.0], *limits)


def test_nothing_to_move_takes_no_time() -> None:
    for jerk in (np.inf, 100.0):
        assert profile.rest_to_rest_s(0.0, 1.0, 1.0, jerk) == 0.0
        assert profile.peak_speed(0.0, 1.0, 1.0, jerk) == 0.0
        assert profile.peak_acceleration(0.0, 1.0, 1.0, jerk) == 0.0
        assert profile.position(1.0, 0.0, 1.0, 1.0, jerk) == 0.0
        assert profile.change_s(3.0, 3.0, 1.0, jerk) == 0.0


def test_a_limit_of_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        profile.rest_to_rest_s(1.0, 0.0, 1.0)
