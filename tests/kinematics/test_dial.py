"""The dial over a plane: closed forms, and a ray against a face that was carried point by point."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.kinematics.dial import dial_reading


def test_a_nearer_surface_pushes_the_plunger_in() -> None:
    over = dial_reading([0, 0, 10], [0, 0, -1], [0, 0, 9.9], [0, 0, 1])
    assert float(over) == pytest.approx(-0.1, abs=1e-12)
    pushed = dial_reading([0, 0, 10], [0, 0, -1], [0, 0, 10.1], [0, 0, 1])
    assert float(pushed) == pytest.approx(0.1, abs=1e-12)


def test_a_slope_reads_as_rise_over_run_on_every_side() -> None:
    # A wall that looks to Y- and leans: further along X+ it stands nearer.
    normal = np.array([-0.02, -1.0, 0.0])
    ends = [[0.0, -5.0, 0.0], [40.0, -5.0, 0.0]]
    first, last = dial_reading(ends, [0.0, 1.0, 0.0], [0.0, -5.0, 0.0], normal)
    assert first == pytest.approx(0.0, abs=1e-12)
    assert last == pytest.approx(0.8, abs=1e-12)


def test_a_plunger_that_slides_or_comes_from_behind_is_refused() -> None:
    with pytest.raises(ValueError, match="outer side"):
        dial_reading([0, 0, 0], [1, 0, 0], [0, 0, 0], [0, 0, 1])
    with pytest.raises(ValueError, match="outer side"):
        dial_reading([0, 0, 0], [0, 0, 1], [0, 0, 0], [0, 0, 1])


small = st.floats(-3e-3, 3e-3)


@given(st.lists(small, min_size=4, max_size=4), st.sampled_from([1, -1]), st.sampled_from([1, -1]))
def test_it_meets_the_face_where_three_of_its_points_put_it(
    leans: list[float], tilt_sense: int, turn_sense: int
) -> None:
    tilt = np.array([1.0, leans[0], leans[1]])
    turn = np.array([leans[2], leans[3], 1.0])
    tilt, turn = tilt / np.linalg.norm(tilt), turn / np.linalg.norm(turn)
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((0.0, 3.0, -2.0), tuple(tilt)), tilt_sense),
            TurningAxis("rotary", AxisLine((5.0, 1.0, 0.0), tuple(turn)), turn_sense),
        )
    )
    # Three points of a face square to the rotary line, carried one by one.
    across = np.cross(turn, [1.0, 0.0, 0.0])
    middle = np.array([5.0, 1.0, 0.0]) + 30.0 * turn
    corners = np.array([middle, middle + 60.0 * across, middle + 60.0 * np.cross(across, turn)])
    angles = np.array([tilt_sense * np.pi / 2.0, 1.1])
    a, b, c = (chain.matrices(angles) @ np.append(p, 1.0) for p in corners)
    out = chain.directions(angles, turn)
    toward = np.array([0.0, 1.0, 0.0])
    assert out[1] < -0.9
    at = np.array([20.0, -40.0, 15.0])
    # at + s toward = a + u (b - a) + v (c - a)
    matrix = np.column_stack([toward, -(b - a)[:3], -(c - a)[:3]])
    s = np.linalg.solve(matrix, a[:3] - at)[0]
    assert float(dial_reading(at, toward, a[:3], out)) == pytest.approx(-s, abs=1e-9)
