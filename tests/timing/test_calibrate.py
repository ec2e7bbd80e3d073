"""Stopwatch readings: what they fix, how well, and when they contradict."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.timing.calibrate import Fixed, Timing, calibrate

SCALE, STOP = 1.12, 0.08
MIXES = [(300.0, 100.0, 20.0), (60.0, 900.0, 5.0), (500.0, 2000.0, 90.0)]


def taken(mixes: list[tuple[float, float, float]], off: list[float] | None = None) -> list[Timing]:
    shares = off or [0.0] * len(mixes)
    return [
        Timing(m, n, o, (SCALE * m + STOP * n) * (1.0 + share) + o)
        for (m, n, o), share in zip(mixes, shares, strict=True)
    ]


@pytest.mark.parametrize("count", [2, 3])
def test_different_mixes_fix_both(count: int) -> None:
    found = calibrate(taken(MIXES[:count]))
    assert found.fixed is Fixed.SCALE_AND_STOP
    assert_allclose([found.scale, found.per_stop_s], [SCALE, STOP], rtol=1e-9)
    assert_allclose(found.residual_s, 0.0, atol=1e-9)
    assert found.degrees == count - 2
    assert not found.contradict
    seconds, u = found.predict(*MIXES[2])
    assert_allclose(seconds, SCALE * 500 + STOP * 2000 + 90, rtol=1e-9)
    assert 0.05 * 720.0 < u < 0.5 * 720.0


def test_by_how_much_the_plain_sums_were_off() -> None:
    found = calibrate([Timing(100.0, 0.0, 20.0, 160.0)])
    assert_allclose(found.worst_share, 40.0 / 160.0)
    assert_allclose(found.scale, 1.4)


def test_one_reading_fixes_the_scale_alone() -> None:
    found = calibrate([Timing(100.0, 50.0, 10.0, 125.0)], per_stop_s=0.1)
    assert found.fixed is Fixed.SCALE
    assert_allclose(found.scale, 1.1)
    assert found.per_stop_s == 0.1
    assert found.degrees == 0
    assert found.covariance[1, 1] == 0.0


def test_like_mixes_fix_the_scale_alone() -> None:
    found = calibrate(taken([(100.0, 50.0, 0.0), (220.0, 111.0, 0.0)]), per_stop_s=STOP)
    assert found.fixed is Fixed.SCALE
    assert_allclose(found.scale, SCALE, rtol=1e-9)
    assert found.degrees == 1


def test_no_stops_at_all() -> None:
    found = calibrate(taken([(100.0, 0.0, 0.0), (220.0, 0.0, 3.0)]))
    assert found.fixed is Fixed.SCALE
    assert_allclose(found.scale, SCALE, rtol=1e-9)


def test_nothing_read_or_nothing_moved() -> None:
    for readings in ([], [Timing(0.0, 0.0, 30.0, 31.0)]):
        found = calibrate(readings, per_stop_s=0.2)
        assert found.fixed is Fixed.NOTHING
        assert (found.scale, found.per_stop_s) == (1.0, 0.2)
        assert found.predict(10.0, 5.0, 1.0) == (12.0, pytest.approx(0.05 * 11.0))


def test_contradicting_readings_are_told_and_widen_the_range() -> None:
    one, other = Timing(100.0, 0.0, 0.0, 100.0), Timing(100.0, 0.0, 0.0, 150.0)
    found = calibrate([one, other])
    assert found.contradict
    seconds, u = found.predict(100.0, 0.0)
    assert seconds - 2 * u < 100.0
    assert seconds + 2 * u > 150.0
    assert not calibrate([one, Timing(100.0, 0.0, 0.0, 103.0)]).contradict


def test_a_reading_shorter_than_its_fixed_parts_contradicts() -> None:
    assert calibrate([Timing(10.0, 0.0, 100.0, 60.0)]).contradict


def test_fewer_seconds_with_more_stops_leave_the_stops_as_entered() -> None:
    found = calibrate([Timing(100.0, 0.0, 0.0, 130.0), Timing(100.0, 1000.0, 0.0, 90.0)], 0.01)
    assert found.fixed is Fixed.SCALE
    assert found.per_stop_s == 0.01
    assert found.contradict


def test_ranges_hold_the_truth_as_often_as_they_say() -> None:
    """Programs that stray by 5 % as assumed: +-2 u holds in about 95 of 100."""
    random = np.random.default_rng(12)
    held = 0
    for _ in range(600):
        found = calibrate(taken(MIXES, random.normal(0.0, 0.05, 3).tolist()))
        truth = (SCALE * 200.0 + STOP * 600.0) * (1.0 + random.normal(0.0, 0.05)) + 7.0
        seconds, u = found.predict(200.0, 600.0, 7.0)
        held += abs(seconds - truth) <= 2.0 * u
    assert 0.92 < held / 600 < 0.99


@given(st.floats(0.5, 2.0), st.floats(0.0, 0.5), st.floats(0.0, 50.0))
def test_any_truth_is_found_again(scale: float, stop: float, other: float) -> None:
    readings = [
        Timing(m, n, other, scale * m + stop * n + other)
        for m, n in ((300.0, 30.0), (60.0, 500.0), (200.0, 10.0))
    ]
    found = calibrate(readings)
    assert_allclose(found.scale, scale, rtol=1e-6)
    assert_allclose(found.per_stop_s, stop, atol=1e-6)


@pytest.mark.parametrize("wrong", [Timing(1.0, 0.0, 0.0, 0.0), Timing(-1.0, 0.0, 0.0, 1.0)])
def test_wrong_readings_are_refused(wrong: Timing) -> None:
    with pytest.raises(ValueError, match="must"):
        calibrate([wrong])
