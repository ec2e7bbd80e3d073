"""The inverse: every pose it gives must face the spindle, and it must give every pose."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.kinematics.inverse import poses_facing
from gudgeon.kinematics.naming import angle_between

from .strategies import angles, chains, units

UNIT = WorkChain(
    (
        TurningAxis("tilt", AxisLine((0, -130, -405), (1, 0, 0)), -1),
        TurningAxis("rotary", AxisLine((-381, -130, 0), (0, 0, 1)), -1),
    )
)


def limited(low: float, high: float, rotary: tuple[float, float] | None = None) -> WorkChain:
    tilt = replace(UNIT.axes[0], low_rad=math.radians(low), high_rad=math.radians(high))
    turn = UNIT.axes[1]
    if rotary:
        turn = replace(turn, low_rad=math.radians(rotary[0]), high_rad=math.radians(rotary[1]))
    return WorkChain((tilt, turn))


def degrees(found) -> list[tuple[float, ...]]:
    return [tuple(round(math.degrees(a), 6) + 0.0 for a in p.angles_rad) for p in found.poses]


@given(chains(), units, units)
def test_every_pose_given_brings_the_normal_there(chain, normal, toward):
    found = poses_facing(chain, normal, toward)
    for pose in found.poses:
        assert angle_between(chain.directions(pose.angles_rad, normal), toward) < 1e-6
    assert (not found.poses) == (found.shortfall_rad > 0.0)


@given(chains(), units, angles, angles)
def test_the_pose_one_came_from_is_among_them(chain, normal, tilt, rotary):
    """Take a pose, see where the normal points, ask for that direction: the pose comes back."""
    a, b = (np.array(axis.line.direction) for axis in chain.axes)
    toward = chain.directions([tilt, rotary], normal)
    # Near an axis the angle loses its meaning and near the double root its digits.
    middle = chain.directions([0.0, rotary], normal)
    assume(np.linalg.norm(np.cross(normal, b)) > 0.05)
    assume(np.linalg.norm(np.cross(middle, a)) > 0.05)
    assume(abs(np.dot(middle, np.cross(a, b))) > 0.02)
    found = poses_facing(chain, normal, toward)
    assert len(found.poses) == 2
    apart = [
        max(
            abs(math.remainder(got - want, 2 * math.pi))
            for got, want in zip(pose.angles_rad, (tilt, rotary), strict=True)
        )
        for pose in found.poses
    ]
    assert min(apart) < 1e-6
    assert all(-math.pi < angle <= math.pi for pose in found.poses for angle in pose.angles_rad)


def test_half_a_turn_is_written_with_plus() -> None:
    """Found by a random run: rounding left it a hair beyond half a turn."""
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((0, 0, 0), (0, 1, 0)), 1),
            TurningAxis("rotary", AxisLine((0, 0, 0), (0, 0, 1)), 1),
        )
    )
    toward = chain.directions([-6.283185307179585, 1.0], [0.0, 1.0, 0.0])
    for pose in poses_facing(chain, [0.0, 1.0, 0.0], toward).poses:
        assert all(-math.pi < angle <= math.pi for angle in pose.angles_rad)


@given(chains(apart_sine=0.3), units, units)
def test_no_pose_comes_nearer_than_the_shortfall(chain, normal, toward):
    """Against brute force: a grid of carried turns; the carrying axis closes what it can."""
    found = poses_facing(chain, normal, toward)
    a = np.array(chain.axes[0].line.direction)
    turns = np.linspace(0.0, 2.0 * np.pi, 721)
    middles = chain.directions(np.stack([0.0 * turns, turns], axis=1), normal)
    off = np.arctan2(np.linalg.norm(np.cross(middles, a), axis=-1), middles @ a)
    off -= angle_between(a, toward)
    best = float(np.min(np.abs(off)))
    # The grid misses the best by half a step at most; lines crossing zero count as reached.
    if np.min(off) < 0.0 < np.max(off):
        best = 0.0
    assert found.shortfall_rad <= best + 1e-9
    assert found.shortfall_rad >= best - np.pi / 720.0


def test_a_normal_on_the_rotary_axis_leaves_the_rotary_free() -> None:
    found = poses_facing(UNIT, [0, 0, 1])
    assert degrees(found) == [(0.0, 0.0)]
    assert found.poses[0].free == (False, True)


def test_a_wished_direction_along_the_tilt_line_leaves_the_tilt_free() -> None:
    found = poses_facing(UNIT, [0, 1, 0], toward=[1, 0, 0])
    assert degrees(found) == [(0.0, 90.0)]
    assert found.poses[0].free == (True, False)


def test_what_the_limits_forbid_is_told_apart() -> None:
    """The underside cannot come up on a unit of -95 to 100 deg."""
    found = poses_facing(limited(-95, 100), [0, 0, -1])
    assert found.poses == ()
    assert [round(math.degrees(p.angles_rad[0])) for p in found.outside] == [180]
    assert found.shortfall_rad == 0.0


def test_only_the_pose_within_the_limits_is_given() -> None:
    assert degrees(poses_facing(limited(-30, 110), [0, -1, 0])) == [(90.0, 0.0)]
    assert len(degrees(poses_facing(limited(-90, 90), [0, -1, 0]))) == 2  # ends belong to it


def test_turns_by_360_deg_within_the_limits_are_all_given() -> None:
    found = degrees(poses_facing(limited(0, 100, (-360, 360)), [1, 0, 0]))
    assert found == [(90.0, 90.0), (90.0, -270.0)]
    endless = degrees(poses_facing(limited(0, 100, (-99999, 99999)), [1, 0, 0]))
    assert endless == [(90.0, 90.0)]


def test_a_free_axis_stands_inside_its_limits() -> None:
    assert degrees(poses_facing(limited(-95, 95, (30, 200)), [0, 0, 1])) == [(0.0, 30.0)]


def test_a_single_axis_reaches_only_what_lies_around_it() -> None:
    single = WorkChain((TurningAxis("rotary", AxisLine((0, 0, 0), (1, 0, 0)), -1),))
    assert degrees(poses_facing(single, [0, -1, 0])) == [(90.0,)]
    found = poses_facing(single, [0.5, 0, math.sqrt(0.75)])
    assert found.poses == ()
    assert_allclose(math.degrees(found.shortfall_rad), 30.0, atol=1e-9)


def test_axes_at_45_deg_leave_the_ends_out() -> None:
    """A carried axis leaning 45 deg: the platter's side can be lifted by 90 deg, not more."""
    slanted = WorkChain(
        (
            TurningAxis("tilt", AxisLine((0, 0, 0), (0, math.sqrt(0.5), math.sqrt(0.5))), 1),
            TurningAxis("rotary", AxisLine((0, 0, 0), (0, 0, 1)), 1),
        )
    )
    assert poses_facing(slanted, [0, 0, 1], [0, 1, 0]).poses  # half a turn of the 45 deg axis
    beyond = poses_facing(slanted, [0, 0, 1], [0, math.cos(0.2), -math.sin(0.2)])
    assert beyond.poses == ()
    assert_allclose(beyond.shortfall_rad, 0.2, atol=1e-12)


@given(st.floats(1e-7, 1e-3))
def test_a_slightly_leaning_platter_still_gets_its_pose_when_allowed(lean):
    """A fitted rotary line leans a little: exactly +Z is then out of reach, nearly is not."""
    leaning = WorkChain(
        (
            UNIT.axes[0],
            replace(UNIT.axes[1], line=AxisLine((0, 0, 0), (math.sin(lean), 0.0, math.cos(lean)))),
        )
    )
    normal = leaning.axes[1].line.direction
    assert poses_facing(leaning, normal).poses == ()
    found = poses_facing(leaning, normal, tolerance_rad=2e-3)
    assert len(found.poses) == 1
    assert_allclose(found.shortfall_rad, lean, rtol=1e-6)
    assert abs(found.poses[0].angles_rad[0]) < 1e-6


@pytest.mark.parametrize(
    ("chain", "normal", "words"),
    [
        (WorkChain(()), [0, 0, 1], "one or two axes"),
        (UNIT, [0, 0, 0], "normal has no length"),
        (UNIT, [0, 1], "three finite components"),
        (WorkChain((UNIT.axes[0], UNIT.axes[0])), [0, 0, 1], "parallel"),
    ],
)
def test_what_cannot_be_asked_is_named(chain, normal, words) -> None:
    with pytest.raises(ValueError, match=words):
        poses_facing(chain, normal)
