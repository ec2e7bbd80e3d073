"""What is unsure is added to what is asked and taken off again: that costs no last digit."""

from __future__ import annotations

import numpy as np
import pytest

from gudgeon.clearance.pieces import box, cone
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene

LINES = Lines(np.array([(0, 0, 0, 1, 0, 0, 1), (0, 0, 0, 0, 0, 1, 1)], dtype=np.float64))
WALL = Body("wall", Carrier.ROTARY, Role.FIXTURE, (box((-10, 10), (-10, 10), (-10, 10)),))
PIN = Body("pin", Carrier.HEAD, Role.HOLDER, (cone((0, 0, -100), (0, 0, 0), 5, 5),))


@pytest.mark.parametrize("unsure", [0.0, 0.001, 0.003, 0.011, 1.0 / 3.0])
def test_far_off_is_proven_whatever_is_unsure(unsure: float) -> None:
    """(1 + u) - u is less than 1 in floats for many u."""
    made = Prover(Scene((WALL,), LINES, unsure_mm=unsure), [PIN])
    start, end = (400, 0, 50, 0, 0), (300, 0, 50, 0, 0)
    found = made.motion(start, end, 1.0)
    assert found.status is Status.PROVEN
    assert found.lower_mm >= 1.0
    path = made.path(start, [end, start, end], 1.0)
    assert path.status.tolist() == [Status.PROVEN] * 3


def test_a_hair_too_near_is_not_proven() -> None:
    made = Prover(Scene((WALL,), LINES, unsure_mm=0.003), [PIN])
    place = (16.003 - 1e-6, 0, 50, 0, 0)
    assert made.motion(place, place, 1.0).status is Status.CLOSER
