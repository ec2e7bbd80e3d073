"""How deep bodies overlap: the shortest way that parts them."""

from __future__ import annotations

import numpy as np
import pytest

from gudgeon.clearance.pieces import Solid, box, cone, hull, triangles
from gudgeon.clearance.prove import Prover
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene

LINES = Lines(np.array([(0, 0, 0, 1, 0, 0, 1), (0, 0, 0, 0, 0, 1, 1)], dtype=np.float64))


def depth(work: Solid, head: Solid, place: tuple[float, ...] = (0, 0, 0, 0, 0)) -> float:
    made = Prover(
        Scene((Body("work", Carrier.ROTARY, Role.FIXTURE, (work,)),), LINES),
        [Body("head", Carrier.HEAD, Role.HOLDER, (head,))],
    )
    return made.overlap_mm(place)[0]


def test_two_crossing_cylinders() -> None:
    along, across = cone((-40, 0, 0), (40, 0, 0), 5, 5), cone((0, -40, 0), (0, 40, 0), 3, 3)
    assert depth(along, across, (0, 0, 4, 0, 0)) == pytest.approx(4.0, abs=1e-3)
    assert depth(along, across, (0, 0, 8.01, 0, 0)) == 0.0


def test_two_balls_and_a_ball_in_a_box() -> None:
    one, other = hull([(0, 0, 0)], rounding=6.0), hull([(3, 4, 0)], rounding=5.0)
    assert depth(one, other) == pytest.approx(6.0, abs=1e-3)
    block = box((-20, 20), (-30, 30), (-40, 40))
    assert depth(block, hull([(15, 0, 0)], rounding=2.0)) == pytest.approx(7.0, abs=1e-3)


def test_edges_of_two_boxes_that_meet_askew() -> None:
    """Turned by 45 degrees about X below, about Y above: the two upper edges cross."""
    below = hull([(x, y, z) for x in (-50, 50) for y, z in ((-10, 0), (0, 10), (10, 0), (0, -10))])
    above = hull([(x, y, z) for y in (-50, 50) for x, z in ((-10, 0), (0, 10), (10, 0), (0, -10))])
    assert depth(below, above, (0, 0, 18, 0, 0)) == pytest.approx(2.0, abs=1e-3)


def test_a_pin_through_a_sheet_of_triangles() -> None:
    steps = np.linspace(-60.0, 60.0, 13)
    corners = [[(x, y, 0.0), (x + 10.0, y, 0.0), (x, y + 10.0, 0.0)] for x in steps for y in steps]
    found = depth(triangles(np.array(corners)), cone((0, 0, -7), (0, 0, 30), 4, 4), (3, 3, 0, 0, 0))
    assert found == pytest.approx(7.0, abs=0.5)
