"""Tilted planes and the tool point: by hand, against another method, and back again."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.kinematics.inverse import poses_facing
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.frames import (
    askew,
    joint_point,
    plane_frame,
    poses_for_plane,
    program_point,
    tool_point_joint,
    tool_point_program,
    turn_vector,
    work_point,
)

from ..kinematics.strategies import angles, chains, points

# Tilt along X, rotary along Z, lines that miss each other; both carry the work as ISO 841 has it.
UNIT = WorkChain(
    (
        TurningAxis("tilt", AxisLine((0.0, -130.0, -405.0), (1.0, 0.0, 0.0)), -1),
        TurningAxis("rotary", AxisLine((-381.0, -129.98, 0.0), (0.0, 0.0, 1.0)), -1),
    )
)
# Both lines through the zero, and positive turns the work right-handed: easy by hand.
PLAIN = WorkChain(
    (
        TurningAxis("tilt", AxisLine((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), 1),
        TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), 1),
    )
)
FLAT = plane_frame((0, 0, 0), (0, 0, 0), "XYZ")
ORDERS = ["".join(o) for o in itertools.product("XYZ", repeat=3) if o[0] != o[1] != o[2]]
nan, deg = math.nan, math.radians


def limited(chain: WorkChain, tilt: tuple[float, float], rotary: tuple[float, float]) -> WorkChain:
    return WorkChain(
        tuple(
            replace(axis, low_rad=deg(low), high_rad=deg(high))
            for axis, (low, high) in zip(chain.axes, (tilt, rotary), strict=True)
        )
    )


def in_degrees(pose) -> tuple[float, float]:
    tilt, rotary = (round(math.degrees(a), 7) + 0.0 for a in pose)
    return tilt, rotary


def halted(*arguments) -> Halt:
    with pytest.raises(Halt) as caught:
        poses_for_plane(*arguments)
    return caught.value


# --- the plane itself


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("fixed", [False, True])
def test_every_rotation_order_agrees_with_another_method(order, fixed):
    """scipy: capital letters turn about moved axes, small ones about fixed axes."""
    turns = (0.3, -1.1, 2.0)
    frame = plane_frame((1, 2, 3), turns, order, fixed)
    expected = Rotation.from_euler(order.lower() if fixed else order, turns).as_matrix()
    assert_allclose(frame.rotation, expected, atol=1e-15)
    assert_allclose(frame.normal, expected[:, 2], atol=1e-15)


@pytest.mark.parametrize("order", ["XY", "XYZX", "xyz", "XYA", ""])
def test_an_order_that_is_none_is_refused(order):
    with pytest.raises(ValueError, match="order must be three of X Y Z"):
        plane_frame((0, 0, 0), (0, 0, 0), order)


def test_no_plane_no_angles_is_plain_addition():
    """By hand: offset + origin + point, and the length on Z."""
    frame = plane_frame((1.0, 2.0, 3.0), (0, 0, 0), "ZXZ")
    there = joint_point(frame, (10.0, 20.0, 30.0), UNIT, (0.0, 0.0), (0.5, 0.25, 0.125), 100.0)
    assert_allclose(there, (11.5, 22.25, 133.125), atol=1e-12)


def test_a_point_of_a_plane_on_the_side():
    """By hand: the plane turned -90 about X has its Z along +Y.

    (4, 5, 6) of it is (4, 6, -5) in the offset; with (10, 20, 30) and (1, 2, 3) it is (15, 28, 28).
    A turn by +90 about X takes (x, y, z) to (x, -z, y): (15, -28, 28), and 100 of length.
    """
    frame = plane_frame((1, 2, 3), (deg(-90), 0, 0), "XYZ")
    there = joint_point(frame, (10, 20, 30), PLAIN, (deg(90), 0.0), (4, 5, 6), 100.0)
    assert_allclose(there, (15, -28, 128), atol=1e-12)
    assert_allclose(turn_vector(frame, PLAIN, (deg(90), 0.0), (0, 0, 7)), (0, 0, 7), atol=1e-12)


def test_a_pose_turned_about_z_turns_the_plane_in_the_table():
    """By hand: level plane, work turned +90 about Z: the plane's X runs along the machine's Y."""
    pose = (0.0, deg(90))
    assert_allclose(turn_vector(FLAT, PLAIN, pose, (1, 0, 0)), (0, 1, 0), atol=1e-15)
    assert_allclose(turn_vector(FLAT, PLAIN, pose, (0, 1, 0)), (-1, 0, 0), atol=1e-15)
    assert_allclose(joint_point(FLAT, (10, 0, 5), PLAIN, pose, (1, 2, 0), 0), (-2, 11, 5))


@given(chains(), points, st.tuples(angles, angles, angles), points, angles, angles, points)
def test_back_from_the_machine_to_the_plane(chain, origin, turns, offset, tilt, rotary, point):
    frame = plane_frame(origin, turns, "ZYX", stated_at=(0.4, -1.3))
    there = joint_point(frame, offset, chain, (tilt, rotary), point, 77.0)
    back = program_point(frame, offset, chain, (tilt, rotary), there, 77.0)
    assert_allclose(back, point, atol=2e-11)


@given(chains(), st.tuples(angles, angles, angles), points, points, angles, angles)
def test_directions_turn_as_points_do(chain, turns, one, other, tilt, rotary):
    frame = plane_frame((7, 8, 9), turns, "XZX", stated_at=(0.2, 0.1))
    pose = (tilt, rotary)
    ends = [joint_point(frame, (1, 2, 3), chain, pose, p, 50.0) for p in (one, other)]
    run = turn_vector(frame, chain, pose, np.subtract(other, one))
    assert_allclose(run, np.subtract(ends[1], ends[0]), atol=2e-11)
    x = turn_vector(frame, chain, pose, (1, 0, 0))
    y = turn_vector(frame, chain, pose, (0, 1, 0))
    z = turn_vector(frame, chain, pose, (0, 0, 1))
    assert_allclose(np.cross(x, y), z, atol=1e-14)  # an arc's sweep keeps its sign


@given(chains(), points, points, angles, angles)
def test_a_plane_holds_at_the_angles_it_is_stated_at(chain, offset, point, tilt, rotary):
    """Standing at those very angles, the coordinates are the machine's."""
    frame = plane_frame((1, 2, 3), (0, 0, 0), "XYZ", stated_at=(tilt, rotary))
    there = joint_point(frame, offset, chain, (tilt, rotary), point, 10.0)
    assert_allclose(there, offset + point + (1, 2, 13), atol=2e-11)


# --- poses


def test_the_two_poses_of_a_side():
    """By hand: +Y comes up by turning the work +90 about X, which this tilt calls -90.

    Half a turn of the rotary first, and it is the other way.
    """
    frame = plane_frame((0, 0, 0), (deg(-90), 0, 0), "XYZ")
    assert halted(frame, UNIT, None, (0.0, 0.0), 4).code is Code.PLANE_TWO_WAYS
    assert halted(frame, UNIT, None, (0.0, 0.0), 4).column == 4
    assert in_degrees(poses_for_plane(frame, UNIT, "tilt positive", (0, 0))) == (90, 180)
    assert in_degrees(poses_for_plane(frame, UNIT, "tilt negative", (0, 0))) == (-90, 0)
    assert in_degrees(poses_for_plane(frame, UNIT, "nearest", (0, 0))) == (-90, 0)
    assert in_degrees(poses_for_plane(frame, UNIT, "nearest", (deg(80), deg(170)))) == (90, 180)


def test_one_way_within_the_limits_is_taken_whatever_the_choice():
    frame = plane_frame((0, 0, 0), (deg(-60), 0, 0), "XYZ")
    unit = limited(UNIT, (-120, 30), (-360, 360))
    for choice in (None, "tilt positive", "tilt negative"):
        assert in_degrees(poses_for_plane(frame, unit, choice, (0, 0))) == (-60, 0)
    halt = halted(frame, limited(UNIT, (-30, 30), (0, 360)), "nearest", (0, 0), 9)
    assert (halt.code, halt.column) == (Code.PLANE_UNREACHABLE, 9)


@pytest.mark.parametrize(("now", "expected"), [(350, 390), (0, 30), (-200, -330), (180, 30)])
def test_nearest_counts_whole_turns_too(now, expected):
    """A side 30 deg round: 30, 390 and -330 are the same pose; the one least far away is taken."""
    frame = plane_frame((0, 0, 0), (deg(30), deg(-90), 0), "ZXZ")
    unit = limited(UNIT, (-120, 0), (-400, 400))
    assert in_degrees(poses_for_plane(frame, unit, "nearest", (0, deg(now)))) == (-90, expected)
    assert in_degrees(poses_for_plane(frame, unit, None, (0, deg(now)))) == (-90, 30)


def test_nearest_stays_within_the_limits():
    """From -190 the nearest of 30 and -330 is -330, which lies beyond -200."""
    frame = plane_frame((0, 0, 0), (deg(30), deg(-90), 0), "ZXZ")
    unit = limited(UNIT, (-120, 0), (-200, 200))
    assert in_degrees(poses_for_plane(frame, unit, "nearest", (0, deg(-190)))) == (-90, 30)


def test_nearest_on_an_endless_axis_goes_on_counting():
    frame = plane_frame((0, 0, 0), (deg(-90), 0, 0), "XYZ")
    pose = poses_for_plane(frame, UNIT, "nearest", (deg(-80), deg(3590)))
    assert in_degrees(pose) == (-90, 3600)


def test_nearest_that_hangs_on_how_one_measures_is_not_decided():
    """By hand: the poses of a plane leaning 30 deg are (-30, 0) and (30, 180).

    From (-20, 80) they are (10, 80) and (50, 100) away: the first by any measure.  From (-20, 100):
    (10, 100) and (50, 80): the first by the sum, the second by the larger.  From (0, 90): a tie.
    """
    frame = plane_frame((0, 0, 0), (deg(-30), 0, 0), "XYZ")
    unit = limited(UNIT, (-120, 120), (0, 359))
    pose = poses_for_plane(frame, unit, "nearest", (deg(-20), deg(80)))
    assert in_degrees(pose) == (-30, 0)
    for now in ((-20, 100), (0, 90)):
        halt = halted(frame, unit, "nearest", [deg(a) for a in now])
        assert halt.code is Code.PLANE_TWO_WAYS


def test_an_axis_that_may_stand_anywhere_stays():
    """A level plane, turned about its own normal, asks for no turn of the rotary."""
    frame = plane_frame((0, 0, 0), (0, 0, deg(25)), "XYZ")
    for choice in (None, "nearest", "tilt positive"):
        assert in_degrees(poses_for_plane(frame, UNIT, choice, (deg(70), deg(123)))) == (0, 123)
    tilt, rotary = poses_for_plane(frame, UNIT, None, (0.0, nan))
    assert tilt == 0.0
    assert math.isnan(rotary)


def test_what_is_not_known_decides_nothing():
    frame = plane_frame((0, 0, 0), (deg(-90), 0, 0), "XYZ")
    halt = halted(frame, UNIT, "nearest", (0.0, nan), 3)
    assert (halt.code, halt.column) == (Code.POSITION_UNKNOWN, 3)
    assert halt.detail == (("axis", "rotary"),)
    unknown = plane_frame((0, 0, 0), (nan, 0, 0), "XYZ")
    assert all(map(math.isnan, poses_for_plane(unknown, UNIT, "tilt positive", (0, 0))))
    assert math.isnan(askew(unknown, UNIT, (0, 0)))
    assert math.isnan(askew(frame, UNIT, (nan, 0)))
    assert math.isnan(joint_point(frame, (nan, 0, 0), UNIT, (0, 0), (0, 0, 0), 0)[0])
    assert all(map(math.isnan, joint_point(frame, (0, 0, 0), UNIT, (0, math.inf), (0, 0, 0), 0)))


def test_other_chains():
    level, side = FLAT, plane_frame((0, 0, 0), (deg(-90), 0, 0), "XYZ")
    sideways = plane_frame((0, 0, 0), (0, deg(90), 0), "XYZ")
    tilt_only, bare = WorkChain(UNIT.axes[:1]), WorkChain(())
    assert in_degrees(poses_for_plane(side, tilt_only, None, (0, deg(5)))) == (-90, 5)
    assert halted(sideways, tilt_only, None, (0, 0)).code is Code.PLANE_UNREACHABLE
    assert poses_for_plane(level, bare, None, (0.25, 0.5)) == (0.25, 0.5)
    assert halted(side, bare, None, (0, 0)).code is Code.PLANE_UNREACHABLE
    parallel = WorkChain((UNIT.axes[1], replace(UNIT.axes[1], role="tilt")))
    assert halted(side, parallel, None, (0, 0)).code is Code.NOT_DECLARED
    # The tilt's angle goes to the tilt, in whichever order the axes stand.
    swapped = WorkChain((UNIT.axes[1], UNIT.axes[0]))
    point = tool_point_joint(swapped, None, (1, 2, 3), (0.3, 0.0), 0.0)
    assert_allclose(point, UNIT.points([0.3, 0.0], (1, 2, 3)), atol=1e-12)


@given(
    st.tuples(angles, angles, angles),
    st.sampled_from(["tilt positive", "tilt negative"]),
    st.sampled_from([1, -1]),
    st.sampled_from([1, -1]),
    st.sampled_from([(1.0, 0.0, 0.0), (0.0, 1.0, 0.0)]),
)
def test_the_pose_brings_the_plane_to_the_spindle(turns, choice, one, other, along):
    tilt = replace(UNIT.axes[0], sense=one, line=AxisLine((3.0, 4.0, 5.0), along))
    chain = WorkChain((tilt, replace(UNIT.axes[1], sense=other)))
    frame = plane_frame((1, 2, 3), turns, "ZXZ", stated_at=(0.1, 0.2))
    lean = askew(frame, chain, (0.0, 0.0))
    pose = poses_for_plane(frame, chain, choice, (0.0, 0.7))
    # The inverse takes planes that lean less than 1e-7 rad for level ones.
    assert askew(frame, chain, pose) < (1e-9 if lean > 1e-6 else 1.1e-7)
    assert pose[0] * (1 if choice == "tilt positive" else -1) >= -1e-9


@given(chains(), st.tuples(angles, angles, angles), angles, angles)
def test_any_chain_faces_the_plane_or_says_why_not(chain, turns, tilt, rotary):
    frame = plane_frame((1, 2, 3), turns, "XYZ")
    try:
        pose = poses_for_plane(frame, chain, "nearest", (tilt, rotary))
    except Halt as halt:
        found = poses_facing(chain, frame.normal).poses
        assert halt.code is (Code.PLANE_TWO_WAYS if found else Code.PLANE_UNREACHABLE)
    else:
        assert askew(frame, chain, pose) < 1e-6


@given(st.floats(-150.0, 150.0), st.floats(-300.0, 300.0), st.floats(0.0, 60.0))
def test_drilling_a_tower_face_runs_along_its_normal(lean, round_, deep):
    """Only Z of the machine moves, and over the work the tip runs down the face's normal."""
    assume(abs(lean) > 0.1)
    frame = plane_frame((5.0, -40.0, 60.0), (deg(round_), deg(lean), 0.0), "ZXZ")
    offset = (-380.0, -128.0, -300.0)
    pose = poses_for_plane(frame, UNIT, "tilt negative", (0.0, 0.0))
    above = joint_point(frame, offset, UNIT, pose, (12.0, -7.0, 2.0), 150.0)
    bottom = joint_point(frame, offset, UNIT, pose, (12.0, -7.0, 2.0 - deep), 150.0)
    assert_allclose(np.subtract(above, bottom), (0.0, 0.0, deep), atol=1e-6)
    ends = [work_point(UNIT, pose, np.subtract(p, (0, 0, 150.0))) for p in (above, bottom)]
    normal = Rotation.from_euler("ZXZ", (deg(round_), deg(lean), 0.0)).as_matrix()[:, 2]
    assert_allclose(np.subtract(*ends), deep * normal, atol=1e-9)


def test_askew_is_the_angle_to_the_spindle():
    """By hand: with the unit level, a plane leaning 30 deg leans 30 deg; upside down it is pi."""
    frame = plane_frame((0, 0, 0), (0, deg(30), 0), "XYZ")
    assert_allclose(askew(frame, UNIT, (0.0, 1.0)), deg(30), rtol=1e-14)
    assert_allclose(askew(FLAT, UNIT, (math.pi, 0.0)), math.pi, rtol=1e-14)
    assert_allclose(askew(FLAT, UNIT, (1e-7, 0.0)), 1e-7, rtol=1e-6)


# --- tool point


def test_the_tip_of_a_tool_on_a_turned_work_point():
    """By hand: +90 about Z takes (10, 0, 5) to (0, 10, 5); the tool is 80 long."""
    pose = (0.0, deg(90))
    assert_allclose(tool_point_joint(PLAIN, None, (10, 0, 5), pose, 80.0), (0, 10, 85), atol=1e-12)
    # Stated as it stood at 90 deg, the same numbers are where it stands.
    assert_allclose(tool_point_joint(PLAIN, pose, (10, 0, 5), pose, 80.0), (10, 0, 85), atol=1e-12)
    assert_allclose(work_point(PLAIN, pose, (0, 10, 5)), (10, 0, 5), atol=1e-12)


@given(chains(), points, angles, angles, st.one_of(st.none(), st.tuples(angles, angles)))
@example(PLAIN, np.array([1.0, 2.0, 3.0]), 0.0, 0.0, None)
def test_the_tool_point_and_back(chain, point, tilt, rotary, reference):
    there = tool_point_joint(chain, reference, point, (tilt, rotary), 123.0)
    back = tool_point_program(chain, reference, there, (tilt, rotary), 123.0)
    assert_allclose(back, point, atol=2e-11)
    stands = chain.points([tilt, rotary], work_point(chain, reference or (0.0, 0.0), point))
    assert_allclose(there, np.add(stands, (0, 0, 123.0)), atol=2e-11)


huge = st.floats(allow_nan=True, allow_infinity=True)
triples = st.tuples(huge, huge, huge)
CHOICES = st.sampled_from([None, "nearest", "tilt negative"])


@given(triples, triples, triples, st.tuples(huge, huge), huge, CHOICES)
def test_no_number_raises_anything_but_a_halt(origin, turns, point, pose, length, choice):
    frame = plane_frame(origin, turns, "ZYZ")
    joint_point(frame, point, UNIT, pose, point, length)
    program_point(frame, point, UNIT, pose, point, length)
    askew(frame, UNIT, pose)
    try:
        poses_for_plane(frame, limited(UNIT, (-120, 120), (-1e9, 1e9)), choice, pose)
    except Halt as halt:
        assert halt.code in (Code.PLANE_TWO_WAYS, Code.POSITION_UNKNOWN, Code.PLANE_UNREACHABLE)
