"""Which body moves with which axis, and what a jog or a pose shows."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from numpy.testing import assert_allclose

from gudgeon.kinematics.bodies import LAYOUTS, Body, MachineTree
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.kinematics.naming import (
    along_positive,
    angle_between,
    axis_of_letter,
    letter_about,
    nearest_side,
    side_brought_to,
    side_direction,
    turn_seen,
)

from .strategies import angles, chains, points, units


def trunnion(along: tuple[float, float, float], tilt_sense: int, rotary_sense: int) -> WorkChain:
    return WorkChain(
        (
            TurningAxis("tilt", AxisLine((0, 0, 0), along), tilt_sense),
            TurningAxis("rotary", AxisLine((0, 0, 0), (0, 0, 1)), rotary_sense),
        )
    )


ALONG_X = trunnion((1, 0, 0), -1, -1)


@pytest.mark.parametrize(
    ("layout", "axis", "body", "direction"),
    [
        ("moving table", "X", Body.TABLE, [-1, 0, 0]),
        ("moving table", "Y", Body.TABLE, [0, -1, 0]),
        ("moving table", "Z", Body.HEAD, [0, 0, 1]),
        ("moving column", "X", Body.HEAD, [1, 0, 0]),
        ("moving column", "Y", Body.HEAD, [0, 1, 0]),
        ("bridge", "X", Body.TABLE, [-1, 0, 0]),
        ("bridge", "Y", Body.HEAD, [0, 1, 0]),
    ],
)
def test_a_plus_command_moves_the_slide_this_way(layout, axis, body, direction) -> None:
    """ISO 841: the work-carrying slide goes the other way."""
    got_body, got = MachineTree(layout, ALONG_X).slide(axis)
    assert got_body is body
    assert_allclose(got, direction)


@given(chains(), points, points, points, angles, angles)
def test_head_against_work_is_the_same_in_every_layout(chain, tip, mark, machine, tilt, rotary):
    """Which slide moves is invisible to the cut: displayed X, Y, Z are tool against work."""
    pose = [tilt, rotary]
    gaps = [
        tree.on_the_floor(Body.HEAD, tip, machine, pose)
        - tree.on_the_floor(Body.ROTARY, mark, machine, pose)
        for tree in (MachineTree(layout, chain) for layout in LAYOUTS)
    ]
    assert_allclose(gaps[0], tip + machine - chain.points(pose, mark), atol=1e-8)
    assert_allclose(gaps[1], gaps[0], atol=1e-8)
    assert_allclose(gaps[2], gaps[0], atol=1e-8)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_what_is_bolted_to_the_base_does_not_move_on_the_floor(layout) -> None:
    tree = MachineTree(layout, ALONG_X)
    door, machine = np.array([654.0, 0, 0]), np.array([-300.0, -100.0, -50.0])
    assert_allclose(tree.on_the_floor(Body.BASE, door, machine, [0, 0]), door)
    # Seen from the table, the base moves by what the table makes, and nothing else.
    made = [axis in LAYOUTS[layout] for axis in "XYZ"]
    assert_allclose(tree.points(Body.BASE, door, machine, [0, 0]), door + machine * made)


def test_a_guard_right_of_the_spindle_keeps_its_distance_on_a_moving_table() -> None:
    """Cases' convention 9: a thing at x_obj meets the wall W when x_obj - X = W."""
    tree = MachineTree("moving table", ALONG_X)
    wall = tree.points(Body.BASE, [654.0, 0, 0], [-685.0, 0, 0], [0, 0])
    assert_allclose(wall[0], -685.0 + 654.0)


def test_tilt_carries_the_cradle_only_and_rotary_what_is_on_it() -> None:
    tree = MachineTree("moving table", ALONG_X)
    pose = np.deg2rad([90.0, 90.0])
    mark = [10.0, 0.0, 0.0]
    assert_allclose(tree.points(Body.TILT, mark, [0, 0, 0], pose), [10, 0, 0], atol=1e-12)
    # C+90 with sense -1 takes X+ to Y-, then A+90 with sense -1 lifts Y- to Z+.
    assert_allclose(tree.points(Body.ROTARY, mark, [0, 0, 0], pose), [0, 0, 10], atol=1e-12)
    assert tree.carried_by(Body.ROTARY) == ("X", "Y", "tilt", "rotary")
    assert tree.carried_by(Body.TILT) == ("X", "Y", "tilt")
    assert tree.carried_by(Body.HEAD) == ("Z",)
    assert tree.carried_by(Body.BASE) == ()


def test_shapes_broadcast_over_machine_positions_and_poses() -> None:
    tree = MachineTree("bridge", ALONG_X)
    for body in Body:
        got = tree.points(body, np.zeros((4, 3)), np.zeros((5, 1, 3)), np.zeros((5, 1, 2)))
        assert got.shape == (5, 4, 3)


def test_unknown_layouts_and_bodies_are_refused() -> None:
    with pytest.raises(ValueError, match="layout must be one of"):
        MachineTree("knee", ALONG_X)
    single = MachineTree("bridge", WorkChain(ALONG_X.axes[1:]))
    with pytest.raises(ValueError, match="no tilt axis"):
        single.points(Body.TILT, [0, 0, 0], [0, 0, 0], [0])
    with pytest.raises(ValueError, match="no tilt axis"):
        single.carried_by(Body.TILT)
    with pytest.raises(ValueError, match="a slide is"):
        single.slide("A")


SIDES = [axis + sign for axis in "XYZ" for sign in "+-"]


@pytest.mark.parametrize(
    ("watched", "moved"),
    [(w, m) for w, m in itertools.product(SIDES, SIDES) if w[0] != m[0]],
)
def test_the_turn_read_from_a_mark_moves_the_mark_so(watched: str, moved: str) -> None:
    """All 24 sightings: a small turn about the found direction moves the mark the seen way."""
    x, y, z = turn_seen(watched, moved)
    chain = WorkChain((TurningAxis("tilt", AxisLine((0, 0, 0), (x, y, z)), 1),))
    start = side_direction(watched)
    step = chain.points([0.01], start) - start
    assert nearest_side(step)[0] == moved


def test_a_mark_cannot_move_along_its_own_side() -> None:
    with pytest.raises(ValueError, match="cannot be turned"):
        turn_seen("Z+", "Z-")


@pytest.mark.parametrize(
    ("chain", "pose_deg", "up", "platter_faces"),
    [
        # Cases' convention 4: tilt along X, sense -1, A+90: -Y points up, platter faces +Y.
        (trunnion((1, 0, 0), -1, -1), (90, 0), "Y-", "Y+"),
        # Tilt along Y, sense +1, +90: -X points up, platter faces +X.
        (trunnion((0, 1, 0), +1, +1), (90, 0), "X-", "X+"),
        (trunnion((1, 0, 0), +1, -1), (90, 0), "Y+", "Y-"),
        (trunnion((1, 0, 0), -1, -1), (90, 90), "X+", "Y+"),
        (trunnion((1, 0, 0), -1, +1), (90, 90), "X-", "Y+"),
        (trunnion((1, 0, 0), -1, -1), (0, 90), "Z+", "Z+"),
    ],
)
def test_which_side_comes_up(chain, pose_deg, up, platter_faces) -> None:
    pose = np.deg2rad(pose_deg)
    assert nearest_side(side_brought_to(chain, pose))[0] == up
    assert nearest_side(chain.directions(pose, [0, 0, 1]))[0] == platter_faces


@given(units)
def test_a_direction_and_its_opposite_name_the_same_axis(direction):
    assert letter_about(direction) == letter_about(-direction)
    assert_allclose(along_positive(direction), along_positive(-direction))
    assert along_positive(direction) @ axis_of_letter(letter_about(direction)) > 0.5


def test_halfway_between_x_and_y_the_earlier_counts() -> None:
    for yaw in (45.0, 135.0, 225.0, 315.0):
        direction = [math.cos(math.radians(yaw)), math.sin(math.radians(yaw)), 0.0]
        assert letter_about(direction) == "A"


def test_bad_words_are_refused() -> None:
    with pytest.raises(ValueError, match="letter must be"):
        axis_of_letter("U")
    with pytest.raises(ValueError, match="side must be"):
        side_direction("X")
    with pytest.raises(ValueError, match="without length"):
        nearest_side([0, 0, 0])
    assert_allclose(angle_between([1, 0, 0], [-1, 1e-9, 0]), math.pi - 1e-9)
