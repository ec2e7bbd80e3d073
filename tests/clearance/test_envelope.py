"""Search with proofs on made-up proofs whose answer is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.clearance.envelope import (
    Cell,
    ClearMap,
    SafeBox,
    all_of,
    clear_map,
    grow,
    largest_box,
    lowest_z,
    rectangles,
)
from gudgeon.clearance.prove import Gap, Status

LOW = np.array([-100.0, -50.0, -80.0, -1.0, 0.0])
HIGH = np.array([0.0, 0.0, 0.0, 1.0, 6.0])
TOL = (0.01,) * 5
NO_POINTS = ((0.0,) * 3, (0.0,) * 3)


def gap(status: Status, joint: np.ndarray | None = None) -> Gap:
    at = tuple((np.zeros(5) if joint is None else joint).tolist())
    return Gap(status, 1.0, 1.0, at, ("a", "b"), NO_POINTS)


def clear_where(low: np.ndarray, high: np.ndarray):  # type: ignore[no-untyped-def]
    """Return a proof that holds exactly in a box."""

    def prove(lo: np.ndarray, hi: np.ndarray) -> Gap:
        inside = bool(np.all(lo >= low) and np.all(hi <= high))
        return gap(Status.PROVEN if inside else Status.CLOSER, 0.5 * (lo + hi))

    return prove


def test_box_grows_to_what_is_clear_and_tells_what_stops_it() -> None:
    clear_low, clear_high = LOW.copy(), HIGH.copy()
    clear_low[0], clear_high[1] = -61.7, -12.3
    found = largest_box(
        clear_where(clear_low, clear_high), LOW, HIGH, [-30, -30, -80, -1, 0],
        [-30, -30, 0, 1, 6], (0, 1), TOL,
    )  # fmt: skip
    assert isinstance(found, SafeBox)
    assert -61.7 <= found.low[0] <= -61.69
    assert found.high[0] == 0.0
    assert found.low[1] == -50.0
    assert -12.31 <= found.high[1] <= -12.3
    assert {side for side, _ in found.stops} == {(0, -1), (1, 1)}
    assert found.stop(0, -1) is not None
    assert found.stop(0, 1) is None


def test_of_two_boxes_the_larger_is_taken() -> None:
    # Clear is an L: a long low bar and a short high one; X first takes the bar, Y first the post.
    bar = clear_where(np.array([-100.0, -50.0, -80, -1, 0]), np.array([0.0, -30.0, 0, 1, 6]))
    post = clear_where(np.array([-20.0, -50.0, -80, -1, 0]), np.array([0.0, 0.0, 0, 1, 6]))

    def prove(lo: np.ndarray, hi: np.ndarray) -> Gap:
        first = bar(lo, hi)
        return first if first.status is Status.PROVEN else post(lo, hi)

    found = largest_box(prove, LOW, HIGH, [-10, -40, -80, -1, 0], [-10, -40, 0, 1, 6], (0, 1), TOL)
    assert isinstance(found, SafeBox)
    assert (found.high - found.low)[:2] == pytest.approx([100.0, 20.0], abs=0.03)


def test_undecided_counts_as_not_clear() -> None:
    def prove(lo: np.ndarray, hi: np.ndarray) -> Gap:
        return gap(Status.PROVEN if lo[0] >= -40.0 else Status.UNDECIDED)

    found = grow(prove, LOW, HIGH, [0, 0, 0, 0, 0], [0, 0, 0, 0, 0], ((0, -1),), TOL)
    assert isinstance(found, SafeBox)
    assert -40.0 <= found.low[0] <= -39.99


def test_a_seed_that_is_not_clear_is_told() -> None:
    found = grow(clear_where(HIGH, HIGH), LOW, HIGH, LOW, LOW, ((0, 1),), TOL)
    assert isinstance(found, Gap)


@settings(max_examples=60, deadline=None)
@given(z=st.floats(-79.0, -0.5))
def test_lowest_z_is_clear_and_tight(z: float) -> None:
    low = LOW.copy()
    low[2] = z
    found = lowest_z(clear_where(low, HIGH), LOW, HIGH, 0.0, -80.0, 0.05)
    assert found.z_mm is not None
    assert z <= found.z_mm <= z + 0.05
    assert found.stop is not None


def test_lowest_z_at_the_floor_and_not_at_the_top() -> None:
    assert lowest_z(clear_where(LOW, HIGH), LOW, HIGH, 0.0, -80.0).z_mm == -80.0
    found = lowest_z(clear_where(LOW - 200.0, HIGH - 200.0), LOW, HIGH, 0.0, -80.0)
    assert found.z_mm is None
    assert found.stop is not None


tilts, turns = np.linspace(-1.0, 1.0, 9), np.linspace(0.0, 6.0, 5)


@settings(max_examples=60, deadline=None)
@given(ends=st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(0, 6), st.floats(0, 6)))
def test_map_is_clear_exactly_where_whole_cells_are(ends: tuple[float, ...]) -> None:
    low, high = LOW.copy(), HIGH.copy()
    low[3], high[3] = min(ends[:2]), max(ends[:2])
    low[4], high[4] = min(ends[2:]), max(ends[2:])
    found = clear_map(clear_where(low, high), LOW, HIGH, tilts, turns)
    for i in range(8):
        for j in range(4):
            whole = (
                tilts[i] >= low[3]
                and tilts[i + 1] <= high[3]
                and turns[j] >= low[4]
                and turns[j + 1] <= high[4]
            )
            assert (found.cells[i, j] == Cell.CLEAR) == whole
    total = sum(
        (r.tilt_rad[1] - r.tilt_rad[0]) * (r.turn_rad[1] - r.turn_rad[0]) for r in rectangles(found)
    )
    assert total == pytest.approx(2.0 * 6.0)


def test_cells_that_nobody_could_decide_stay_open() -> None:
    found = clear_map(lambda lo, hi: gap(Status.UNDECIDED), LOW, HIGH, tilts, turns)
    assert np.all(found.cells == Cell.CANNOT_TELL)
    assert found.worst is None


def test_joined_maps_are_clear_where_both_are() -> None:
    kinds = np.array([[0, 1, 2]], dtype=np.uint8)
    one = ClearMap(np.array([0.0, 1.0]), np.arange(4.0), kinds, None)
    joined = [
        ClearMap(one.tilts, one.turns, np.full((1, 3), k, np.uint8), None)
        .joined(one)
        .cells.tolist()
        for k in (0, 1, 2)
    ]
    assert joined == [[[0, 1, 2]], [[1, 1, 1]], [[2, 1, 2]]]
    with pytest.raises(ValueError, match="different cells"):
        one.joined(ClearMap(one.tilts, one.turns[:2], kinds[:, :1], None))


def test_all_of_fails_with_the_one_that_fails() -> None:
    good, bad = clear_where(LOW, HIGH), clear_where(HIGH, HIGH)
    assert all_of([good, good])(LOW, HIGH).status is Status.PROVEN
    assert all_of([good, bad])(LOW, HIGH).status is Status.CLOSER
    assert all_of([])(LOW, HIGH).lower_mm == math.inf
