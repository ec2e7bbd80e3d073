"""Highest points and reaches of a tilting load: hand cases, brute force, laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.kinematics.chain import AxisLine, turn_about
from gudgeon.placing.swept import DOWN, FRONT, REAR, UP, Section, Solid, joined

lengths = st.floats(-300.0, 300.0)
points = st.lists(st.tuples(lengths, lengths), min_size=1, max_size=6).map(tuple)
ranges = st.tuples(st.floats(-3.0, 3.0), st.floats(-3.0, 3.0)).map(sorted)
directions = st.sampled_from([UP, DOWN, REAR, FRONT])

TOWER = Solid(
    "tower",
    "platter",
    0.0,
    225.0,
    None,
    ((87.7, 87.7), (-87.7, 87.7), (-87.7, -87.7), (87.7, -87.7)),
)


def test_a_square_tower_stands_highest_between_the_ends_of_its_way() -> None:
    """Corner at (87.7, 225): radius hypot, peak at atan(87.7/225), same height at twice that."""
    section = TOWER.section(0.0, 0.0)
    peak = section.highest(0.0, math.pi / 2.0)

    assert_allclose(section.height(0.0), 225.0)
    assert_allclose(section.height(math.pi / 2.0), 87.7)
    assert_allclose(peak.reach_mm, math.hypot(87.7, 225.0), rtol=1e-12)
    assert_allclose(math.degrees(peak.tilt_rad), 21.2947, atol=1e-4)
    back = section.equal_height(0.0, math.pi / 2.0)
    assert back is not None
    assert_allclose(math.degrees(back), 42.5895, atol=1e-4)
    assert_allclose(section.height(back), 225.0)
    assert_allclose(TOWER.section(None, 0.0).height(math.pi / 2.0), 87.7 * math.sqrt(2.0))


def test_the_way_back_of_the_height_runs_both_ways_and_may_be_missing() -> None:
    section = TOWER.section(0.0, 0.0)
    back = section.equal_height(0.0, -math.pi / 2.0)
    assert back is not None and back < 0.0
    assert section.equal_height(0.0, math.radians(30.0)) is None  # still above at the end
    assert section.equal_height(math.radians(30.0), math.pi / 2.0) is None  # falls at once


@given(points, st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
@settings(max_examples=150, deadline=None)
def test_equal_height_is_equal_and_the_way_there_higher(corners, start, end) -> None:
    section = Section(corners)
    back = section.equal_height(start, end)
    if back is None:
        return
    assert min(start, end) <= back <= max(start, end)
    assert_allclose(section.height(back), section.height(start), atol=1e-6)
    ways = np.linspace(start, back, 50)[1:-1]
    assert max(section.height(tilt) for tilt in ways) > section.height(start) - 1e-6


@given(points, ranges, directions)
@settings(max_examples=200, deadline=None)
def test_no_sampled_tilt_reaches_further_than_the_closed_form(corners, ends, toward) -> None:
    section = Section(corners)
    low, high = ends
    best = section.furthest(toward, low, high)
    tilts = np.linspace(low, high, 400)
    y, z = np.array(corners).T[:, :, None]
    across, up = y * np.cos(tilts) - z * np.sin(tilts), z * np.cos(tilts) + y * np.sin(tilts)
    sampled = np.max(across * math.cos(toward) + up * math.sin(toward))

    assert sampled <= best.reach_mm + 1e-6
    assert low <= best.tilt_rad <= high
    assert_allclose(section.reach(toward, best.tilt_rad), best.reach_mm, atol=1e-6)
    # Steps of 0.015 rad at a radius of 425 mm miss a peak by 0.012 mm at most.
    assert best.reach_mm <= sampled + 0.02


@given(points, ranges)
@settings(max_examples=150, deadline=None)
def test_no_sampled_tilt_stands_lower_than_the_closed_form(corners, ends) -> None:
    section = Section(corners)
    low, high = ends
    best = section.lowest_top(low, high)

    assert low <= best.tilt_rad <= high
    assert min(section.height(t) for t in np.linspace(low, high, 300)) >= best.reach_mm - 1e-6


@given(points, st.floats(-200.0, 200.0), st.floats(-3.0, 3.0))
@settings(max_examples=60, deadline=None)
def test_heights_agree_with_the_pose_map(corners, tilt_y, tilt) -> None:
    """The same corner turned by the chain of `gudgeon.kinematics`."""
    turn = turn_about(AxisLine((0.0, tilt_y, 0.0), (1.0, 0.0, 0.0)), tilt)
    solid = Solid("s", "platter", -50.0, 120.0, None, tuple((y, z) for y, z in corners))
    section = solid.section(0.0, tilt_y)
    ys = [y for _, y in corners]
    whole = [turn @ [0.0, y, z, 1.0] for y in ys for z in (-50.0, 120.0)]

    assert_allclose(section.height(tilt), max(p[2] for p in whole), atol=1e-6)
    assert_allclose(section.reach(REAR, tilt) + tilt_y, max(p[1] for p in whole), atol=1e-6)
    assert_allclose(-section.reach(FRONT, tilt) + tilt_y, min(p[1] for p in whole), atol=1e-6)


@given(st.floats(-4.0, 4.0))
def test_a_turning_square_stays_within_its_swing(turn) -> None:
    still, swing = TOWER.plan(turn), TOWER.plan(None)

    assert swing[1] >= still[1] - 1e-9 and swing[3] >= still[3] - 1e-9
    assert_allclose(still[1], 87.7 * (abs(math.cos(turn)) + abs(math.sin(turn))), rtol=1e-12)


def test_what_the_cradle_carries_does_not_turn() -> None:
    box = Solid("cover", "cradle", 0.0, 10.0, None, ((0.0, -30.0), (50.0, 40.0)))
    assert box.plan(1.0) == box.plan(None) == (0.0, 50.0, -30.0, 40.0)


def test_a_round_section_reaches_its_radius_everywhere() -> None:
    section = Section(((0.0, 0.0),), 80.0)
    assert_allclose([section.height(t) for t in (0.0, 1.0, 2.0)], 80.0)
    assert_allclose(section.highest(-1.0, 1.0).reach_mm, 80.0)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="at least one point"):
        Section(())
    with pytest.raises(ValueError, match="low first"):
        TOWER.section(0.0, 0.0).highest(1.0, 0.0)
    with pytest.raises(ValueError, match="radius or corners"):
        Solid("s", "base", 0.0, 1.0)
    with pytest.raises(ValueError, match="at least one"):
        joined([])
