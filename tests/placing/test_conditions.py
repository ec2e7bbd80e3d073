"""Conditions of a place, their room along an axis, walls, and lugs over slots."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.placing.conditions import Bound, Fixed, Keepout, Tether, along, holds, overlap
from gudgeon.placing.limits import Extent, Wall, comes_nearer, safe_range
from gudgeon.placing.slots import QUARTERS, quarter_of, row_places, seats, seats_at

lengths = st.floats(-400.0, 400.0)
maybe = st.one_of(st.none(), lengths)
signs = st.sampled_from([1, -1])
axes = st.sampled_from([0, 1])
places = st.tuples(lengths, lengths)
pairs = st.tuples(lengths, lengths).map(sorted)

bounds = st.builds(Bound, st.just("travel"), st.just(""), axes, signs, lengths)
tethers = st.builds(
    Tether, st.just("cable"), st.just(""), st.tuples(maybe, maybe), lengths, st.floats(1.0, 900.0)
)
keepouts = st.builds(
    lambda x, y: Keepout("head room", "", (x[0], y[0]), (x[1], y[1])), pairs, pairs
)
fixed = st.builds(Fixed, st.just("guard"), st.just(""), lengths)
conditions = st.one_of(bounds, tethers, keepouts, fixed)


@given(conditions, places, axes)
@settings(max_examples=300, deadline=None)
def test_room_along_an_axis_is_where_the_margin_allows(condition, place, axis) -> None:
    """Inside the intervals the condition holds, outside it does not (ends apart)."""
    room = condition.room(axis, place)
    at = place[axis]
    ends = [end for interval in room for end in interval]
    if any(abs(at - end) < 1e-6 for end in ends) or abs(condition.margin(place)) < 1e-6:
        return

    inside = any(low <= at <= high for low, high in room)

    assert inside == holds(condition, place)


@given(st.lists(conditions, min_size=1, max_size=5), places, axes, maybe)
@settings(max_examples=200, deadline=None)
def test_the_chosen_place_is_good_whenever_there_is_one(rules, place, axis, wished) -> None:
    at, room = along(rules, axis, place, wished)
    there = (at, place[1]) if axis == 0 else (place[0], at)
    wide = [high - low for low, high in room]
    if room and max(wide) > 1e-6 and all(math.isfinite(w) for w in wide):
        assert all(holds(rule, there) for rule in rules)
    if wished is not None:
        asked = (wished, place[1]) if axis == 0 else (place[0], wished)
        if all(holds(rule, asked) for rule in rules):
            assert at == wished


def test_overlap_of_intervals() -> None:
    one = ((0.0, 10.0), (20.0, 30.0))
    assert overlap(one, ((5.0, 25.0),)) == ((5.0, 10.0), (20.0, 25.0))
    assert overlap(one, ((10.0, 20.0),)) == ((10.0, 10.0), (20.0, 20.0))
    assert overlap(one, ((11.0, 19.0),)) == ()


def test_the_middle_of_the_longest_room_is_taken() -> None:
    rules = [
        Bound("travel", "", 0, 1, -100.0),
        Bound("travel", "", 0, -1, 100.0),
        Keepout("head room", "", (20.0, -math.inf), (40.0, math.inf)),
    ]
    at, room = along(rules, 0, (0.0, 0.0), None)

    assert room == ((-100.0, 20.0), (40.0, 100.0))
    assert_allclose(at, -40.0)
    assert along(rules, 0, (0.0, 0.0), 30.0)[0] == pytest.approx(-40.0)
    assert along(rules, 0, (0.0, 0.0), 55.0)[0] == 55.0


def test_exactly_on_a_limit_is_inside_and_touching_a_box_is_not_clear() -> None:
    assert holds(Bound("travel", "", 1, 1, 5.0), (0.0, 5.0))
    assert not holds(Keepout("head room", "", (0.0, 0.0), (5.0, 5.0)), (5.0, 2.0))
    assert not holds(Fixed("head room", "", 0.0, touching=False), (0.0, 0.0))


def test_hose_spans_only_the_directions_that_are_given() -> None:
    """3, 4, 12: spans 5 in plan, 13 in space."""
    assert Tether("cable", "", (3.0, 4.0), 0.0, 6.0).span((0.0, 0.0)) == 5.0
    assert Tether("cable", "", (3.0, 4.0), 12.0, 6.0).span((0.0, 0.0)) == 13.0
    assert Tether("cable", "", (None, 4.0), 0.0, 6.0).span((99.0, 0.0)) == 4.0


def test_right_guard_and_column_limit_a_moving_table() -> None:
    """End at -51, guard 654, room 20: X >= -51 + 20 - 654; rear 207.138 and column 497 likewise."""
    extent = Extent(right=330.0, left=230.0, rear=207.138, front=200.0)
    x = (Wall("right", 654.0, 20.0, True), Wall("left", 640.0, 20.0, True))
    y = (Wall("rear", 497.0, 25.0, True),)

    assert safe_range((-762.0, 0.0), -381.0, x, extent) == (-685.0, 0.0)
    assert_allclose(safe_range((-406.0, 0.0), -130.0, y, extent), (-394.862, 0.0))


@given(st.floats(100.0, 900.0), st.floats(0.0, 50.0), lengths, st.floats(-500.0, 0.0))
def test_at_the_safe_end_the_room_is_just_kept(distance, margin, reach, centre) -> None:
    """Put the spindle at the limit and measure: wall less end of the unit is the margin."""
    extent = Extent(reach, reach, reach, reach)
    for side, sign in (("right", 1), ("left", -1)):
        wall = Wall(side, distance, margin, True)
        low, high = safe_range((-1e6, 1e6), centre, (wall,), extent)
        spindle = low if sign > 0 else high
        room = sign * ((spindle + sign * distance) - (centre + sign * reach))
        assert_allclose(room, margin, atol=1e-9)


def test_walls_that_no_travel_brings_nearer_limit_nothing() -> None:
    wall = Wall("right", 100.0, 20.0, False)
    assert safe_range((-500.0, 0.0), -300.0, (wall,), Extent(330, 0, 0, 0)) == (-500.0, 0.0)
    sides = ("right", "left", "rear", "front")
    assert [comes_nearer("moving table", side) for side in sides] == [True] * 4
    assert [comes_nearer("bridge", side) for side in sides] == [True, True, False, False]
    assert [comes_nearer("moving column", side) for side in sides] == [False, False, True, False]
    with pytest.raises(ValueError, match="layout must be"):
        comes_nearer("table", "right")


@given(lengths, lengths, lengths, lengths, st.integers(0, 3))
def test_extent_turns_with_the_unit(right, left, rear, front, quarters) -> None:
    extent = Extent(right, left, rear, front).turned(quarters * math.pi / 2.0)
    ring = [right, rear, left, front]
    want = [ring[(i - quarters) % 4] for i in range(4)]
    assert [extent.right, extent.rear, extent.left, extent.front] == want


def test_extent_askew_holds_every_corner() -> None:
    extent = Extent(30.0, 20.0, 10.0, 5.0).turned(math.radians(30.0))
    c, s = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
    xs = [x * c - y * s for x in (30, -20) for y in (10, -5)]
    ys = [x * s + y * c for x in (30, -20) for y in (10, -5)]
    assert_allclose(
        [extent.right, -extent.left, extent.rear, -extent.front],
        [max(xs), min(xs), max(ys), min(ys)],
    )


def test_an_unknown_side_stays_unknown_wherever_it_shows() -> None:
    extent = Extent(30.0, 20.0, 10.0, -math.inf).turned(math.pi / 2.0)
    assert extent.right == -math.inf
    assert (extent.rear, extent.left, extent.front) == (30.0, 10.0, 20.0)


def test_three_rows_on_three_slots_give_nine_places() -> None:
    found = seats((-330.0, -205.0, -80.0), (-50.0, 0.0, 50.0), 1, 0.0)
    offsets = sorted(seat.across_mm + 205.0 for seat in found)
    assert offsets == [-175.0, -125.0, -75.0, -50.0, 0.0, 50.0, 75.0, 125.0, 175.0]


def test_two_rows_need_slots_at_their_own_distance() -> None:
    slots = (-315.0, -215.0, -115.0)
    assert [seat.across_mm for seat in seats(slots, (-100.0, 100.0), 2, 0.0)] == [-215.0]
    assert seats(slots, (-95.0, 100.0), 2, 0.0) == ()
    # 5 mm short, shared between both rows: 2.5 mm of play each.
    (found,) = seats(slots, (-95.0, 100.0), 2, 2.5)
    assert_allclose(found.across_mm, -217.5)
    assert found.pairs == ((0, 0), (2, 1))
    assert seats(slots, (-95.0, 100.0), 2, 2.4) == ()


def test_one_slot_holds_one_row() -> None:
    assert seats((0.0,), (0.0, 1.0), 2, 5.0) == ()
    assert seats_at((0.0,), (0.0, 1.0), 5.0, 0.0) == ((0, 0),)


@given(
    st.lists(lengths, min_size=1, max_size=4, unique=True),
    st.lists(lengths, min_size=1, max_size=3, unique=True),
    st.integers(1, 3),
    st.floats(0.0, 20.0),
    lengths,
)
@settings(max_examples=150, deadline=None)
def test_every_seat_is_one_and_no_sampled_place_needs_another(
    slots, rows, needed, play, at
) -> None:
    found = seats(slots, rows, needed, play)
    for seat in found:
        assert len(seats_at(slots, rows, play, seat.across_mm)) >= needed
    if not found and needed <= 2:
        assert len(seats_at(slots, rows, max(play - 1e-3, 0.0), at)) < needed


@pytest.mark.parametrize("slots_along", ["X", "Y"])
@pytest.mark.parametrize("quarter", [0, 1, 2, 3])
def test_rows_across_the_slots_follow_the_turned_unit(slots_along, quarter) -> None:
    """Turn two points of the unit by hand and read the coordinate across the slots."""
    c, s = round(math.cos(QUARTERS[quarter])), round(math.sin(QUARTERS[quarter]))
    row, column = 70.0, 30.0
    if slots_along == "X":
        want = c * row if s == 0 else s * column
    else:
        want = c * column if s == 0 else -s * row
    assert row_places(quarter, slots_along, (row,), (column,)) == (want,)


def test_quarters() -> None:
    assert [quarter_of(math.radians(a)) for a in (0, 90, 180, 270, 360, -90, 37)] == [
        0, 1, 2, 3, 0, 3, None,
    ]  # fmt: skip
