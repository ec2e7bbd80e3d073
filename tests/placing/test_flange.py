"""Flange match: hand cases, laws over all clockings, brute force, drilling again, pilots."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.placing.flange import (
    best_clockings,
    bolts_at,
    pair_half_angle,
    redrill_all,
    redrill_missing,
    repeat_angle,
)
from gudgeon.placing.pilot import pilot_fit

TURN = 2.0 * math.pi
SIX = tuple(math.radians(60.0 * i) for i in range(6))
UNEVEN = tuple(math.radians(angle) for angle in (0, 50, 120, 170, 240, 290))

# Tenths of a degree: ranges then often meet exactly at their ends, which is the hard case.
tenths = st.integers(0, 3599).map(lambda n: math.radians(n / 10.0))
holes = st.lists(tenths, min_size=1, max_size=6).map(tuple)
plays = st.integers(1, 100).map(lambda n: math.radians(n / 10.0))


def test_three_uneven_pairs_against_six_even_holes() -> None:
    """Worked by hand: pitch circle 150, hole 13.5, bolt 12 mm, so 0.75 mm of play."""
    half = pair_half_angle(75.0, 75.0, 0.75)
    found = best_clockings(UNEVEN, SIX, half)

    assert_allclose(math.degrees(half), math.degrees(0.75 / 75.0), rtol=1e-4)
    assert found.bolts == 3
    assert_allclose(math.degrees(found.repeat_rad), 60.0)
    assert_allclose([math.degrees(c.middle_rad) for c in found.clockings], [0.0, 50.0], atol=1e-9)
    assert [[p for p, _ in c.pairs] for c in found.clockings] == [[0, 2, 4], [1, 3, 5]]
    for clocking in found.clockings:
        assert_allclose(clocking.high_rad - clocking.low_rad, 2.0 * half, rtol=1e-9)


def test_drilling_the_missing_holes_again_runs_into_the_old_ones() -> None:
    """10 deg apart on a radius of 75: 150 sin(5 deg) = 13.07 mm, less than the hole of 13.5."""
    found = best_clockings(UNEVEN, SIX, pair_half_angle(75.0, 75.0, 0.75))
    for clocking in found.clockings:
        again = redrill_missing(UNEVEN, SIX, clocking, (75.0, 75.0), 13.5)
        assert len(again.new_holes_rad) == 3
        assert_allclose(again.centres_mm, 150.0 * math.sin(math.radians(5.0)), rtol=1e-12)
        assert_allclose(again.web_mm, again.centres_mm - 13.5)


def test_missing_holes_are_drilled_where_the_platter_has_them() -> None:
    """Fixture turned by 50: platter holes 0, 120, 240 lie over 310, 70, 190 of the fixture."""
    found = best_clockings(UNEVEN, SIX, pair_half_angle(75.0, 75.0, 0.75))
    again = redrill_missing(UNEVEN, SIX, found.clockings[1], (75.0, 75.0), 13.5)
    angles = sorted(math.degrees(angle) for angle in again.new_holes_rad)
    assert_allclose(angles, [70.0, 190.0, 310.0])


def test_a_whole_new_set_stands_half_way_between_the_old_holes() -> None:
    """Platter holes stand at 0 and 50 modulo 60: the widest gap is 50 deg, its middle 25."""
    fresh = redrill_all(UNEVEN, SIX, (75.0, 75.0), 13.5)

    assert_allclose(math.degrees(fresh.clocking_rad), 25.0)
    assert_allclose(fresh.centres_mm, 150.0 * math.sin(math.radians(12.5)), rtol=1e-12)


@given(holes, holes, st.floats(0.0, TURN))
@settings(max_examples=60, deadline=None)
def test_no_other_clocking_leaves_more_between_new_and_old_holes(one, two, other) -> None:
    fresh = redrill_all(one, two, (60.0, 60.0), 10.0)

    def nearest(clocking: float) -> float:
        return min(abs(math.remainder(p - clocking - f, TURN)) for p in one for f in two)

    assert nearest(other) <= nearest(fresh.clocking_rad) + 1e-6


def test_different_pitch_circles_cost_play() -> None:
    assert pair_half_angle(75.0, 75.5, 0.4) < 0.0
    assert_allclose(pair_half_angle(75.0, 75.4, 0.4), 0.0, atol=1e-6)
    # Law of cosines the long way round.
    half = pair_half_angle(75.0, 75.4, 0.75)
    apart = math.sqrt(75.0**2 + 75.4**2 - 2.0 * 75.0 * 75.4 * math.cos(half))
    assert_allclose(apart, 0.75, rtol=1e-6)


def test_holes_as_wide_as_the_bolt_still_go_on_at_the_exact_angle() -> None:
    found = best_clockings(SIX, tuple(a + math.radians(30.0) for a in SIX), 0.0)

    assert found.bolts == 6
    assert_allclose(math.degrees(found.clockings[0].middle_rad) % 60.0, 30.0)


def test_a_bolt_thicker_than_its_hole_never_goes_in() -> None:
    assert best_clockings(SIX, SIX, -1.0).bolts == 0
    assert bolts_at(SIX, SIX, -1.0, 0.0) == ()


def test_a_hole_takes_one_bolt_only() -> None:
    """Two fixture holes within the play of one platter hole: one bolt, not two."""
    assert len(bolts_at((0.0,), (0.0, 0.01), 0.1, 0.0)) == 1
    assert len(bolts_at((0.0, 0.01), (0.005,), 0.1, 0.0)) == 1
    # A greedy choice of the nearest would leave one hole out here.
    assert len(bolts_at((0.0, 0.12), (0.05, -0.06), 0.1, 0.0)) == 2


@pytest.mark.parametrize(
    ("angles", "repeat"),
    [
        ((0, 90, 180, 270), 90),
        ((0, 60, 180, 240), 180),
        ((0, 50, 120, 170, 240, 290), 120),
        ((7,), 360),
    ],
)
def test_repeat_of_a_pattern(angles, repeat) -> None:
    assert_allclose(math.degrees(repeat_angle([math.radians(a) for a in angles])), repeat)


def test_rounded_angles_of_a_seven_hole_flange_still_repeat() -> None:
    angles = [math.radians(round(360.0 / 7.0 * i, 2)) for i in range(7)]
    found = best_clockings(angles, angles, 0.01)

    assert_allclose(repeat_angle(angles), TURN / 7.0)
    assert (found.bolts, len(found.clockings)) == (7, 1)


@given(holes, holes, plays, st.floats(0.0, TURN))
@settings(max_examples=150, deadline=None)
def test_no_sampled_clocking_beats_the_sweep(platter, fixture, half, clocking) -> None:
    found = best_clockings(platter, fixture, half)

    assert len(bolts_at(platter, fixture, half, clocking)) <= found.bolts
    for best in found.clockings:
        assert len(bolts_at(platter, fixture, half, best.middle_rad)) == found.bolts
        assert len(bolts_at(platter, fixture, half, best.low_rad)) == found.bolts
        assert len(bolts_at(platter, fixture, half, best.high_rad)) == found.bolts


@given(holes, holes, plays, st.floats(-4.0, 4.0))
@settings(max_examples=80, deadline=None)
def test_turning_the_platter_turns_the_clockings_with_it(platter, fixture, half, turn) -> None:
    one = best_clockings(platter, fixture, half)
    two = best_clockings([angle + turn for angle in platter], fixture, half)

    assert one.bolts == two.bolts
    for clocking in one.clockings:
        assert len(
            bolts_at([a + turn for a in platter], fixture, half, clocking.middle_rad + turn)
        ) == (one.bolts)


@given(holes, holes, plays)
@settings(max_examples=80, deadline=None)
def test_swapping_the_flanges_changes_no_count(platter, fixture, half) -> None:
    assert (
        best_clockings(platter, fixture, half).bolts == best_clockings(fixture, platter, half).bolts
    )


def test_pilots() -> None:
    """Bore 50.02 and boss 50.00: goes in, 0.01 off centre at most."""
    fits = pilot_fit(("bore", 50.02, 12.0), ("boss", 50.0, 8.0))
    assert (fits.state, fits.depth_left_mm) == ("fits", 4.0)
    assert_allclose([fits.gap_mm, fits.off_centre_mm], [0.02, 0.01], atol=1e-12)
    assert pilot_fit(("boss", 50.0, 8.0), ("bore", 50.02, 12.0)) == fits
    assert pilot_fit(("bore", 50.0, None), ("boss", 50.02, None)).state == "tight"
    assert pilot_fit(("bore", 50.02, 8.0), ("boss", 50.0, 12.0)).state == "bottoms"
    assert pilot_fit(("bore", 50.5, None), ("boss", 50.0, 12.0)).state == "wide"
    assert pilot_fit(("bore", 50.0, None), ("bore", 50.0, None)).state == "two bores"
    assert pilot_fit(("boss", 50.0, None), ("boss", 50.0, None)).state == "two bosses"
    assert pilot_fit(("bore", 50.0, None), ("boss", 50.0, None)).state == "fits"
    with pytest.raises(ValueError, match="bore or a boss"):
        pilot_fit(("hole", 50.0, None), ("boss", 50.0, None))
