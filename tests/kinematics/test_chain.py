"""The pose map against scipy and pytransform3d on random lines and poses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain, turn_about

from .strategies import angles, chains, points, units


@given(units, points, st.floats(-20.0, 20.0), points)
def test_turning_about_a_line_is_scipys_rotation_about_its_point(direction, start, angle, point):
    got = (turn_about(AxisLine(tuple(start), tuple(direction)), angle) @ [*point, 1.0])[:3]
    want = Rotation.from_rotvec(angle * direction).apply(point - start) + start
    assert_allclose(got, want, atol=1e-8)


@given(chains(), angles, angles, points)
def test_pose_map_is_pytransform3ds_product_of_exponentials(chain, tilt, rotary, point):
    """Screw motions: s = (axis, point x axis), product exp(S1 t1) exp(S2 t2)."""
    from pytransform3d.transformations import transform_from_exponential_coordinates

    want = np.eye(4)
    for axis, angle in zip(chain.axes, (tilt, rotary), strict=True):
        direction, start = np.array(axis.line.direction), np.array(axis.line.point_mm)
        screw = np.concatenate([direction, np.cross(start, direction)])
        want = want @ transform_from_exponential_coordinates(screw * axis.sense * angle)
    assert_allclose(chain.points([tilt, rotary], point), (want @ [*point, 1.0])[:3], atol=1e-7)


@given(chains(), angles, angles, points, points)
def test_distances_and_handedness_stay(chain, tilt, rotary, one, two):
    moved = chain.points([tilt, rotary], np.array([one, two]))
    assert_allclose(np.linalg.norm(moved[0] - moved[1]), np.linalg.norm(one - two), atol=1e-8)
    assert_allclose(np.linalg.det(chain.matrices([tilt, rotary])[:3, :3]), 1.0, atol=1e-12)


@given(chains(), angles)
def test_a_point_of_the_tilt_line_stays_while_the_tilt_turns(chain, tilt):
    line = chain.axes[0].line
    on_it = np.array(line.point_mm) + 73.0 * np.array(line.direction)
    assert_allclose(chain.points([tilt, 0.0], on_it), on_it, atol=1e-9)


@given(chains(), angles, angles, points)
def test_the_rotary_axis_is_carried_by_the_tilt(chain, tilt, rotary, point):
    """Turning the rotary keeps the distance to the rotary line where the tilt has taken it."""
    axis = chain.axes[1].line
    line_now = chain.points([tilt, 0.0], axis.point_mm)
    direction_now = chain.directions([tilt, 0.0], axis.direction)
    before = chain.points([tilt, 0.0], point) - line_now
    after = chain.points([tilt, rotary], point) - line_now
    assert_allclose(after @ direction_now, before @ direction_now, atol=1e-8)


def test_a_batch_equals_single_calls() -> None:
    random = np.random.default_rng(3)
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((1, 2, 3), (1, 0, 0)), -1),
            TurningAxis("rotary", AxisLine((4, 5, 6), (0, 0, 1)), +1),
        )
    )
    poses, spots = random.normal(size=(7, 2)), random.normal(size=(7, 3))
    singles = [chain.points(a, p) for a, p in zip(poses, spots, strict=True)]
    assert_allclose(chain.points(poses, spots), singles, atol=1e-14)


def test_a_lost_sense_or_a_wrong_number_of_angles_is_named() -> None:
    line = AxisLine((0, 0, 0), (1, 0, 0))
    with pytest.raises(ValueError, match="sense must be"):
        TurningAxis("tilt", line, 0)
    chain = WorkChain((TurningAxis("tilt", line, 1),))
    with pytest.raises(ValueError, match="needs 1 entries"):
        chain.points([0.0, 0.0], [0, 0, 0])


def test_small_angles_keep_their_digits() -> None:
    """1 - cos(1e-7) is 5e-15; the naive difference would be off by 8 per cent."""
    got = turn_about(AxisLine((0, 0, 0), (0, 0, 1)), 1e-7)
    assert_allclose(1.0 - got[0, 0], 5e-15, rtol=0.03)
