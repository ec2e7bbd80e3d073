"""Torque of the weight: closed forms, laws, and brute force over poses and loading orders."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.strength import gravity
from gudgeon.strength.gravity import GRAVITY

G = GRAVITY / 1000.0  # N m of 1 kg mm

masses = st.floats(0.0, 40.0)
places = st.tuples(*[st.floats(-300.0, 300.0)] * 3)
loads = st.lists(st.tuples(masses, places, st.booleans()), min_size=1, max_size=6)
offsets = st.floats(-40.0, 40.0)
angles = st.floats(-math.pi, math.pi)
spans = st.tuples(angles, angles).map(sorted).map(tuple)
some_spans = st.one_of(st.none(), spans)


def moments(load, offset):
    mass, points, turns = zip(*load, strict=True)
    return gravity.static_moments(mass, points, turns, offset)


def torque_by_forces(load, offset, tilt, turn):
    """Moments of the weights about both lines from forces and levers, through the pose map."""
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((0.0, -offset, 0.0), (1.0, 0.0, 0.0)), 1),
            TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), 1),
        )
    )
    rotary = chain.directions([tilt, turn], [0.0, 0.0, 1.0])
    foot = chain.points([tilt, turn], [0.0, 0.0, 0.0])
    about_tilt = about_rotary = 0.0
    for mass, point, turns in load:
        at = chain.points([tilt, turn if turns else 0.0], point)
        weight = np.array([0.0, 0.0, -mass * GRAVITY])
        about_tilt += np.cross(at - [0.0, -offset, 0.0], weight)[0]
        if turns:
            about_rotary += np.cross(at - foot, weight) @ rotary
    return abs(about_tilt) / 1000.0, abs(about_rotary) / 1000.0


# --- closed forms -----------------------------------------------------------------------------


def test_a_mass_above_the_line_asks_nothing_flat_and_everything_upright() -> None:
    """12 kg, 85 mm over the line: m g e at 90 deg; nothing at 0."""
    load = gravity.static_moments([12.0], [[0.0, 0.0, 85.0]], [True], 0.0)[0]
    assert_allclose(gravity.tilt_torque(load, [0.0, math.pi / 2]), [0.0, 10.002783], atol=1e-12)


def test_a_mass_beside_the_line_asks_everything_flat() -> None:
    load = gravity.static_moments([12.0], [[0.0, 85.0, 0.0]], [False], 0.0)[0]
    assert_allclose(gravity.tilt_torque(load, [0.0, math.pi / 2]), [10.002783, 0.0], atol=1e-12)


def test_turning_mass_meets_the_level_twice_a_turn() -> None:
    load = gravity.static_moments([1.0], [[100.0, 0.0, 0.0]], [True], 0.0)[0]
    assert_allclose(gravity.tilt_torque(load, 0.0, 0.0), 0.0, atol=1e-12)
    assert_allclose(gravity.tilt_torque(load, 0.0, math.pi / 2), 100.0 * G)


def test_axis_offset_moves_turning_masses_off_the_tilt_line() -> None:
    load = gravity.static_moments([2.0], [[0.0, 0.0, 0.0]], [True], 30.0)[0]
    assert_allclose(gravity.worst_tilt_torque(load, (0.0, 0.0)).torque_nm, 60.0 * G)


def test_worst_between_the_ends_of_the_range_is_found() -> None:
    """Arm (y, z) = (30, -40): 50 at atan2(40, 30), inside -10 to 90 deg but at no end."""
    load = gravity.static_moments([1.0], [[0.0, 30.0, -40.0]], [False], 0.0)[0]
    found = gravity.worst_tilt_torque(load, (math.radians(-10.0), math.radians(90.0)))
    assert_allclose(found.torque_nm, 50.0 * G)
    assert_allclose(found.tilt_rad, math.atan2(40.0, 30.0))


def test_tilts_within_a_rating_of_the_acceptance_case() -> None:
    """42 kg of case 4: sin a = 22.9 / 23.536."""
    load = gravity.static_moments(
        [18.0, 12.0, 12.0], [[0, 0, 30], [0, 0, 60], [0, 0, 95]], [True] * 3, 0.0
    ).sum(axis=0)
    limit = math.asin(22.9 / (2400.0 * G))
    found = gravity.tilts_within(load, 22.9, (math.radians(-95.0), math.radians(100.0)))
    assert_allclose(found, [(-limit, limit)])
    over = math.radians(150.0)
    found = gravity.tilts_within(load, 22.9, (-over, over))
    behind = math.pi - limit
    assert_allclose(found, [(-over, -behind), (-limit, limit), (behind, over)])


def test_rating_met_exactly_is_inside() -> None:
    load = gravity.static_moments([1.0], [[0.0, 0.0, 100.0]], [True], 0.0)[0]
    whole = (-math.pi / 2, math.pi / 2)
    assert gravity.tilts_within(load, 100.0 * G, whole) == (whole,)
    assert gravity.tilts_within(load, 0.0, (0.1, 0.2)) == ()
    assert gravity.tilts_within(load, 100.0 * G, (0.3, 0.3)) == ((0.3, 0.3),)


def test_a_rotary_axis_with_ends_is_not_asked_beyond_them() -> None:
    load = gravity.static_moments([1.0], [[0.0, 100.0, 0.0]], [True], 0.0)[0]
    upright = (0.0, math.pi / 2)
    assert_allclose(gravity.worst_rotary_torque(load, upright), 100.0 * G)
    quarter = (0.0, math.radians(30.0))
    assert_allclose(gravity.worst_rotary_torque(load, upright, quarter), 50.0 * G)


# --- laws and brute force ---------------------------------------------------------------------


@given(loads, offsets, angles, angles)
def test_sums_agree_with_forces_and_levers(load, offset, tilt, turn) -> None:
    about_tilt, about_rotary = torque_by_forces(load, offset, tilt, turn)
    sums = moments(load, offset).sum(axis=0)
    assert_allclose(gravity.tilt_torque(sums, tilt, turn), about_tilt, atol=1e-9)
    assert_allclose(gravity.rotary_torque(sums, tilt, turn), about_rotary, atol=1e-9)


@given(places, offsets, angles, angles)
def test_a_point_stands_where_the_pose_map_takes_it(point, offset, tilt, turn) -> None:
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((0.0, -offset, 0.0), (1.0, 0.0, 0.0)), 1),
            TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), 1),
        )
    )
    expected = chain.points([tilt, turn], point) + np.array([0.0, offset, 0.0])
    assert_allclose(gravity.standing_at(point, tilt, turn, offset), expected, atol=1e-9)


@settings(max_examples=60)
@given(loads, offsets, spans, some_spans)
def test_no_sampled_pose_exceeds_the_closed_form_and_one_comes_near(
    load, offset, tilts, turns
) -> None:
    sums = moments(load, offset).sum(axis=0)
    found = gravity.worst_tilt_torque(sums, tilts, turns)
    tilt = np.linspace(*tilts, 181)[:, None]
    turn = np.linspace(*(turns or (-math.pi, math.pi)), 181)
    sampled = gravity.tilt_torque(sums, tilt, turn)
    assert sampled.max() <= found.torque_nm + 1e-9
    assert sampled.max() >= found.torque_nm * (1.0 - 2e-3) - 1e-9
    assert tilts[0] <= found.tilt_rad <= tilts[1]
    rotary = gravity.worst_rotary_torque(sums, tilts, turns)
    sampled = gravity.rotary_torque(sums, tilt, turn)
    assert sampled.max() <= rotary + 1e-9
    assert sampled.max() >= rotary * (1.0 - 2e-3) - 1e-9


@settings(max_examples=60)
@given(loads, offsets, spans, some_spans, st.floats(0.0, 200.0))
def test_tilts_within_are_those_and_no_others(load, offset, tilts, turns, rating) -> None:
    sums = moments(load, offset).sum(axis=0)
    stretches = gravity.tilts_within(sums, rating, tilts, turns)
    for tilt in np.linspace(*tilts, 41):
        worst = float(gravity.worst_tilt_torque(sums, (tilt, tilt), turns).torque_nm)
        if abs(worst - rating) < 1e-6 * max(rating, 1.0):
            continue
        inside = any(low - 1e-9 <= tilt <= high + 1e-9 for low, high in stretches)
        assert inside == (worst < rating)


@given(loads, offsets, angles)
def test_the_worst_turn_at_one_tilt_is_that_of_a_range_of_one_tilt(load, offset, tilt) -> None:
    sums = moments(load, offset).sum(axis=0)
    expected = gravity.worst_tilt_torque(sums, (tilt, tilt)).torque_nm
    assert_allclose(gravity.tilt_torque(sums, tilt), expected, rtol=1e-9, atol=1e-9)


@given(loads, offsets, spans, st.floats(0.0, 1.0))
def test_splitting_a_mass_changes_nothing(load, offset, tilts, share) -> None:
    mass, place, turns = load[0]
    split = [(mass * share, place, turns), (mass * (1.0 - share), place, turns), *load[1:]]
    whole = gravity.worst_tilt_torque(moments(load, offset).sum(axis=0), tilts).torque_nm
    parted = gravity.worst_tilt_torque(moments(split, offset).sum(axis=0), tilts).torque_nm
    assert_allclose(parted, whole, rtol=1e-9, atol=1e-9)


@given(loads, spans)
def test_the_mirrored_load_as_counterweight_balances_everything(load, tilts) -> None:
    mirrored = [(m, (-x, -y, -z), turns) for m, (x, y, z), turns in load]
    sums = moments([*load, *mirrored], 0.0).sum(axis=0)
    assert_allclose(gravity.worst_tilt_torque(sums, tilts).torque_nm, 0.0, atol=1e-9)
    assert_allclose(gravity.worst_rotary_torque(sums, tilts), 0.0, atol=1e-9)


@given(loads, offsets, angles, angles, st.floats(0.1, 5.0))
def test_twice_the_mass_asks_twice_the_torque(load, offset, tilt, turn, factor) -> None:
    heavier = [(m * factor, place, turns) for m, place, turns in load]
    one = gravity.tilt_torque(moments(load, offset).sum(axis=0), tilt, turn)
    other = gravity.tilt_torque(moments(heavier, offset).sum(axis=0), tilt, turn)
    assert_allclose(other, factor * one, rtol=1e-9, atol=1e-9)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.floats(0.1, 5.0), places), min_size=1, max_size=7),
    places,
    spans,
    st.sampled_from([0.0, 15.0]),
)
def test_worst_order_is_the_worst_of_all_subsets(parts, fixture, tilts, offset) -> None:
    """All 2^n choices; exact without axis offset, never too small with one."""
    each = moments([(m, p, True) for m, p in parts], offset)
    stays = moments([(8.0, fixture, True)], offset)[0]
    choices = [
        stays + np.sum([each[i] for i in chosen], axis=0)
        for n in range(len(parts) + 1)
        for chosen in itertools.combinations(range(len(parts)), n)
    ]
    tilt = gravity.worst_tilt_torque(np.array(choices), tilts).torque_nm.max()
    rotary = gravity.worst_rotary_torque(np.array(choices), tilts).max()
    found = gravity.any_order_tilt_torque(stays, each, tilts)
    assert found >= tilt - 1e-12 * (1.0 + tilt)
    size = 1e-8 * (1.0 + np.abs(each).max())
    if offset == 0.0:
        assert_allclose(found, tilt, rtol=0.0, atol=size)
    turned = gravity.any_order_rotary_torque(stays, each, tilts)
    assert turned >= rotary - 1e-12 * (1.0 + rotary)
    assert_allclose(turned, rotary, rtol=0.0, atol=size)


@pytest.mark.parametrize("count", [4, 8, 12])
def test_worst_order_of_a_symmetric_tower(count: int) -> None:
    """Parts evenly around a ring: the worst choice is the half that lies on one side.

    Ties everywhere, the case that a careless corner search misses.  The sum of the half ring is
    r / sin(pi / n) for even n.
    """
    turn = 2.0 * np.pi * np.arange(count) / count
    ring = np.stack([100.0 * np.cos(turn), 100.0 * np.sin(turn), 0.0 * turn], axis=-1)
    each = gravity.static_moments(np.ones(count), ring, [True] * count, 0.0)
    found = gravity.any_order_rotary_torque(np.zeros(4), each, (0.0, math.pi / 2))
    assert_allclose(found, 100.0 / math.sin(math.pi / count) * G)


def test_very_many_parts_get_a_safe_bound() -> None:
    chance = np.random.default_rng(5)
    points = chance.uniform(-100.0, 100.0, (gravity.SETS_MOST + 1, 3))
    each = gravity.static_moments(np.ones(len(points)), points, [True] * len(points), 0.0)
    span = (-1.0, 1.0)
    few = gravity.any_order_tilt_torque(np.zeros(4), each[:40], span)
    assert gravity.any_order_tilt_torque(np.zeros(4), each, span) >= few
    few = gravity.any_order_rotary_torque(np.zeros(4), each[:40], span)
    assert gravity.any_order_rotary_torque(np.zeros(4), each, span) >= few
