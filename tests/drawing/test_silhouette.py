"""Outlines of bodies: known shapes, posed by the axis lines, hulls against the points."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.clearance.pieces import box, cone, hull, triangles
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene
from gudgeon.drawing.silhouette import View, outline, posed, seen

FRONT = View("from the front", 0, 2, (0.0, -1.0, 0.0))
ABOVE = View("from above", 0, 1, (0.0, 0.0, 1.0))
STILL = np.eye(3), np.zeros(3)


def scene() -> Scene:
    rows = np.zeros((2, 7))
    rows[0] = [0.0, 10.0, 20.0, 1.0, 0.0, 0.0, -1.0]
    rows[1] = [5.0, 10.0, 0.0, 0.0, 0.0, 1.0, 1.0]
    return Scene((), Lines(rows), table_axes=(True, True, False))


def area(corners: np.ndarray) -> float:
    x, y = corners.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def body(*solids: object) -> Body:
    return Body("b", Carrier.TABLE, Role.UNIT, solids)  # type: ignore[arg-type]


def test_a_box_is_a_rectangle_in_every_view() -> None:
    block = body(box((0, 60), (-40, 40), (0, 50)))
    (front,) = seen(block, *STILL, FRONT).outlines
    (above,) = seen(block, *STILL, ABOVE).outlines
    assert area(front) == pytest.approx(60.0 * 50.0)
    assert area(above) == pytest.approx(60.0 * 80.0)


def test_a_bar_is_a_circle_from_above_and_a_trapezium_from_the_front() -> None:
    bar = body(cone((0, 0, 0), (0, 0, 30), 20.0, 10.0))
    (above,) = seen(bar, *STILL, ABOVE).outlines
    assert area(above) == pytest.approx(math.pi * 400.0, rel=0.01)
    (front,) = seen(bar, *STILL, FRONT).outlines
    assert area(front) == pytest.approx(30.0 * (40.0 + 20.0) / 2.0, rel=1e-6)


def test_rounding_is_drawn() -> None:
    (above,) = seen(
        body(hull([(0.0, 0.0, 0.0), (100.0, 0.0, 0.0)], 0, 10.0)), *STILL, ABOVE
    ).outlines
    assert area(above) == pytest.approx(100.0 * 20.0 + math.pi * 100.0, rel=0.05)


def test_a_turned_box_shows_its_diagonal() -> None:
    block, turn = body(box((-10, 10), (-10, 10), (-10, 10))), math.sqrt(0.5)
    rotation = np.array([[turn, -turn, 0.0], [turn, turn, 0.0], [0.0, 0.0, 1.0]])
    (front,) = seen(block, rotation, np.zeros(3), FRONT).outlines
    assert float(np.ptp(front[:, 0])) == pytest.approx(20.0 * math.sqrt(2.0))


def test_bodies_stand_where_their_axes_take_them() -> None:
    joint = [1.0, 2.0, 3.0, math.pi / 2.0, math.pi / 2.0]
    for carrier, point, expected in (
        (Carrier.TABLE, (7.0, 8.0, 9.0), (7.0, 8.0, 9.0)),
        (Carrier.HEAD, (0.0, 0.0, -50.0), (1.0, 2.0, -47.0)),
        # What stands on the floor moves with X and Y of the table, as seen from the table.
        (Carrier.BASE, (0.0, 0.0, 0.0), (1.0, 2.0, 0.0)),
        # Left-handed about x through y 10, z 20: y goes to -z.
        (Carrier.TILT, (0.0, 15.0, 20.0), (0.0, 10.0, 15.0)),
        # Right-handed about z first: x to y.
        (Carrier.ROTARY, (10.0, 10.0, 20.0), (5.0, 10.0, 15.0)),
    ):
        turn, shift = posed(scene(), carrier, joint)
        np.testing.assert_allclose(np.array(point) @ turn.T + shift, expected, atol=1e-9)


def test_a_surface_is_drawn_by_its_silhouette() -> None:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=30.0)
    found = seen(body(triangles(ball.triangles.reshape(-1, 3))), *STILL, FRONT)
    (whole,) = found.outlines
    assert area(whole) == pytest.approx(math.pi * 900.0, rel=0.02)
    # All lines of a ball's silhouette lie near its rim, and they go round once.
    radii = np.linalg.norm(found.edges.reshape(-1, 2), axis=1)
    assert radii.min() > 27.0
    length = float(np.linalg.norm(found.edges[:, 0] - found.edges[:, 1], axis=1).sum())
    assert length == pytest.approx(2.0 * math.pi * 30.0, rel=0.1)


def test_an_open_surface_shows_its_edge() -> None:
    flat = trimesh.creation.box((20.0, 20.0, 20.0))
    side = flat.triangles[np.argsort(-flat.face_normals[:, 2])[:2]]
    many = np.concatenate([side + np.array([40.0 * k, 0.0, 0.0]) for k in range(4)])
    found = seen(body(triangles(many.reshape(-1, 3))), *STILL, ABOVE)
    assert len(found.edges) == 16


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=3, max_size=40))
def test_the_outline_holds_every_point_and_turns_left(points: list[tuple[int, int]]) -> None:
    rows = np.array(points, dtype=np.float64)
    hulled = outline(rows)
    if len(hulled) < 3:
        return
    sides = np.roll(hulled, -1, axis=0) - hulled
    arms = rows[:, None, :] - hulled[None]
    across = sides[None, :, 0] * arms[..., 1] - sides[None, :, 1] * arms[..., 0]
    assert across.min() >= -1e-6
    assert {tuple(corner) for corner in hulled} <= {tuple(row) for row in rows}
