"""Moves by hand: rapids, feeds, corners, arcs, pauses, feed rules."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from gudgeon.timing import profile
from gudgeon.timing.clock import time_moves
from gudgeon.timing.limits import AxisLimits, MixedFeed, Rules
from gudgeon.timing.moves import FeedKind, Kind, Lever, Moves
from gudgeon.timing.over_work import over_work
from tests.timing.made import DEGREE, arc, circle, feeds, limits, timed, total

JERKS = [np.inf, 50000.0]


# --- one move


@pytest.mark.parametrize("jerk", JERKS)
@pytest.mark.parametrize("way", [0.01, 3.0, 100.0, 2000.0])
def test_one_move_is_the_closed_form(way: float, jerk: float) -> None:
    for feed in (1.0, 80.0, 1e9):
        found = total(feeds([[way]], feed), axes=limits(j=jerk))
        told = profile.rest_to_rest_s(way, min(feed, 500.0), 2500.0, jerk)
        assert_allclose(found, told, rtol=1e-12)


def test_limits_are_projected_on_the_direction() -> None:
    axes = AxisLimits(np.array([100.0, 300.0, 50.0, 1.0, 2.0]), np.full(5, 20.0), np.full(5, 400.0))
    deltas = np.array([30.0, -40.0, 12.0, 0.0, 0.0])
    found = total(feeds([deltas]), axes=axes)
    told = profile.straight_s(deltas, axes.speed, axes.acceleration, axes.jerk)
    assert_allclose(found, told, rtol=1e-12)


@pytest.mark.parametrize("jerk", JERKS)
def test_rapids_straight_and_dog_leg(jerk: float) -> None:
    axes = AxisLimits(
        np.array([400.0, 300.0, 200.0, 1.0, 2.0]),
        np.array([2000.0, 1000.0, 3000.0, 5.0, 10.0]),
        np.full(5, jerk),
    )
    deltas = np.array([250.0, 100.0, -300.0, 90.0, 0.0])
    rapid = feeds([deltas], kind=Kind.RAPID, feed_kind=FeedKind.NONE)
    given = (np.array([*deltas[:3], 90.0 * DEGREE, 0.0]), axes.speed, axes.acceleration, axes.jerk)
    assert_allclose(total(rapid, Rules(), axes), profile.slowest_axis_s(*given), rtol=1e-12)
    straight = Rules(straight_rapids=True)
    assert_allclose(total(rapid, straight, axes), profile.straight_s(*given), rtol=1e-12)


# --- several moves


def test_exact_stop_is_rest_to_rest_at_each_move_and_settles() -> None:
    moves = feeds([[10.0, 0.0], [30.0, 0.0], [30.0, 5.0]], 50.0)
    found = timed(moves, Rules(look_ahead=False, settle_s=0.15))
    alone = profile.rest_to_rest_s([10.0, 20.0, 5.0], 50.0, 2500.0)
    assert_allclose(found.seconds, alone + 0.15, rtol=1e-12)
    assert_allclose(found.settling, 0.15)
    assert np.all(found.stood)


def test_a_corner_by_hand() -> None:
    """90 deg, tolerance 0.01: R = 0.01 cos 45 / (1 - cos 45), v^2 = a R; two ramps each side."""
    tolerance, way, a, f = 0.01, 20.0, 2500.0, 60.0
    half = math.cos(math.pi / 4.0)
    corner = math.sqrt(a * tolerance * half / (1.0 - half))
    found = timed(feeds([[way, 0.0], [way, way]], f), Rules(corner_tolerance_mm=tolerance))
    ramps = (f + f - corner) / a
    steady = (way - f * f / (2 * a) - (f * f - corner**2) / (2 * a)) / f
    assert_allclose(found.speed_end, [corner, 0.0], rtol=1e-12)
    assert_allclose(found.seconds, ramps + steady, rtol=1e-12)


def test_with_jerk_a_corner_by_hand() -> None:
    """The same corner: from rest up to the feed, down to the corner, and mirrored."""
    tolerance, way, a, j, f = 0.01, 20.0, 2500.0, 50000.0, 60.0
    half = math.cos(math.pi / 4.0)
    corner = math.sqrt(a * tolerance * half / (1.0 - half))
    rules = Rules(corner_tolerance_mm=tolerance)
    found = timed(feeds([[way, 0.0], [way, way]], f), rules, limits(j=j))
    ramps = profile.change_s(0.0, f, a, j) + profile.change_s(f, corner, a, j)
    gone = profile.change_distance(0.0, f, a, j) + profile.change_distance(f, corner, a, j)
    assert_allclose(found.speed_end, [corner, 0.0], rtol=1e-12)
    assert_allclose(found.seconds, ramps + (way - gone) / f, rtol=1e-12)


def test_straight_back_and_no_tolerance_stop() -> None:
    back = timed(feeds([[20.0], [0.0]], 50.0))
    alone = profile.rest_to_rest_s(20.0, 50.0, 2500.0)
    assert_allclose(back.seconds, alone, rtol=1e-12)
    sharp = timed(feeds([[20.0, 0.0], [20.0, 20.0]], 50.0), Rules(corner_tolerance_mm=0.0))
    assert_allclose(sharp.seconds, alone, rtol=1e-12)


def test_stops_that_are_forced() -> None:
    """A flag, a pause, and between rapids and feeds; settling once at each."""
    kinds = [Kind.FEED, Kind.FEED, Kind.PAUSE, Kind.FEED, Kind.RAPID, Kind.RAPID]
    moves = feeds(
        [[10.0], [20.0], [20.0], [40.0], [60.0], [80.0]],
        [50.0, 50.0, 3.0, 50.0, 0.0, 0.0],
        kind=kinds,
        feed_kind=[FeedKind.MM_PER_S] * 2
        + [FeedKind.SECONDS, FeedKind.MM_PER_S]
        + [FeedKind.NONE] * 2,
        stop=[True, False, False, False, False, False],
    )
    found = timed(moves, Rules(settle_s=0.1))
    assert found.stood.tolist() == [True, True, False, True, False, True]
    feed = profile.rest_to_rest_s([10.0, 10.0, 20.0], 50.0, 2500.0) + 0.1
    rapid = profile.rest_to_rest_s(40.0, 500.0, 2500.0) + 0.1
    assert_allclose(found.seconds[[0, 1, 3]], feed, rtol=1e-12)
    assert found.seconds[2] == 3.0
    assert_allclose(found.seconds[4:].sum(), rapid, rtol=1e-12)


def test_a_flag_on_a_block_without_motion_stops_too() -> None:
    moves = feeds([[10.0], [10.0], [20.0]], 50.0, stop=[False, True, False])
    found = timed(moves, Rules(settle_s=0.1))
    assert found.stood.tolist() == [True, False, True]
    assert found.seconds[1] == 0.0
    through = timed(feeds([[10.0], [10.0], [20.0]], 50.0))
    assert_allclose(through.seconds.sum(), profile.rest_to_rest_s(20.0, 50.0, 2500.0), rtol=1e-12)


def test_ends_that_differ_by_rounding_are_no_motion() -> None:
    """Between two lines, and between an arc and a line that leaves it: no corner of its own."""
    clean = feeds([[10.0, 0.0], [20.0, 0.0], [20.0, 9.0]], 50.0)
    noisy = feeds([[10.0, 0.0], [10.0, 3e-11], [20.0, 0.0], [20.0 - 2e-12, 0.0], [20.0, 9.0]], 50.0)
    assert_allclose(total(noisy), total(clean), rtol=1e-9)
    assert timed(noisy).seconds[1] == 0.0


def test_rapids_stop_at_corners() -> None:
    rapid = feeds([[30.0, 0.0], [30.0, 40.0]], kind=Kind.RAPID, feed_kind=FeedKind.NONE)
    told = profile.rest_to_rest_s([30.0, 40.0], 500.0, 2500.0)
    assert_allclose(timed(rapid).seconds, told, rtol=1e-12)


# --- arcs and curves


@pytest.mark.parametrize("plane", [0, 1, 2])
@pytest.mark.parametrize("radius", [0.5, 5.0, 400.0])
def test_an_arc_keeps_to_the_pull_towards_its_centre(radius: float, plane: int) -> None:
    sweep = 1.7 * math.pi
    found = total(arc(radius, sweep, plane=plane))
    top = min(500.0, math.sqrt(2500.0 * radius))
    assert_allclose(found, profile.rest_to_rest_s(radius * sweep, top, 2500.0), rtol=1e-12)


def test_a_helix_by_hand() -> None:
    """3-4-5: around 30, up 40; the speed around is 3/5 of that along."""
    found = total(arc(15.0 / math.pi, 2.0 * math.pi, 30.0, rise=40.0))
    # Along Z the axis gives 2500 for 4/5 of the path, and less in the plane does not hold it back.
    assert_allclose(found, profile.rest_to_rest_s(50.0, 30.0, 2500.0 / 0.8), rtol=1e-12)


@pytest.mark.parametrize("tolerance", [0.005, 0.01, 0.05])
@pytest.mark.parametrize("chord", [0.1, 0.2, 0.35, 0.5])
@pytest.mark.parametrize("radius", [1.0, 2.0, 5.0, 20.0])
def test_chorded_circles_take_as_long_as_the_circle(
    radius: float, chord: float, tolerance: float
) -> None:
    """Closed form: the circumference at min(F, sqrt(a r)), with one ramp up and one down."""
    points = circle(radius, chord)
    for feed in (500.0, 2000.0, 6000.0, 15000.0):
        speed = min(feed / 60.0, math.sqrt(2500.0 * radius))
        told = 6.0 * math.pi * radius / speed + speed / 2500.0
        moves = feeds(points, feed / 60.0, start=(radius, 0.0))
        found = total(moves, Rules(corner_tolerance_mm=tolerance))
        assert 0.95 < found / told < 1.05


def test_a_chorded_circle_between_two_lines() -> None:
    """Along a tangent in and out, as programs have it: still the circle's time."""
    radius, chord, lead = 1.0, 0.2, 30.0
    points = np.vstack([[radius, 0.0], circle(radius, chord, 1.0), [radius, lead]])
    moves = feeds(points, 100.0, start=(radius, -lead))
    found = timed(moves)
    speed = math.sqrt(2500.0 * radius)
    assert_allclose(found.seconds[1:-1].sum(), 2 * math.pi * radius / speed, rtol=0.05)


def test_a_polygon_is_no_curve() -> None:
    """A dodecagon with long sides: its corners count as corners."""
    radius = 100.0
    points = circle(radius, 2.0 * radius * math.sin(math.pi / 12.0), 1.0)
    found = timed(feeds(points, 100.0, start=(radius, 0.0)))
    cosine = math.cos(math.pi / 12.0)
    corner = math.sqrt(0.01 * cosine / (1.0 - cosine))
    a = found.speed_end[:-1] ** 2 / corner**2
    assert np.all(a >= 2500.0 * (1 - 1e-9))
    assert np.all(a <= 2500.0 * math.sqrt(2.0))


# --- what F counts


@pytest.mark.parametrize(
    ("rule", "seconds"), [(MixedFeed.LINEAR_AXES, 1.0), (MixedFeed.ALL_AXES, math.sqrt(5.0))]
)
def test_mixed_move_of_10_mm_and_20_degrees(rule: MixedFeed, seconds: float) -> None:
    moves = feeds([[10.0, 0.0, 0.0, 0.0, 20.0]], 600.0 / 60.0)
    quick = limits(v=1e6, a=1e12)
    assert_allclose(total(moves, Rules(mixed_feed=rule), quick), seconds, rtol=1e-6)


def lever(count: int, length: float = 50.0) -> Lever:
    return Lever(
        np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]),
        np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
        np.array([-1.0, -1.0]),
        np.full(count, length),
    )


def with_lever(moves: Moves, **change: object) -> Moves:
    names = ("start", "end", "kind", "feed", "feed_kind", "arc", "stop", "arcs")
    given = {name: getattr(moves, name) for name in names}
    return Moves(**given, lever=lever(len(moves.kind)), **change)  # type: ignore[arg-type]


def test_feed_over_the_work_on_a_turning_table() -> None:
    """The tip stands 30 mm from the rotary line while 90 deg pass beneath: a quarter circle."""
    moves = with_lever(
        feeds([[30.0, 0.0, 50.0, 0.0, 90.0]], 10.0, start=(30.0, 0.0, 50.0, 0.0, 0.0))
    )
    quarter = 15.0 * math.pi
    length, bound = over_work(moves)
    assert length[0] <= quarter <= length[0] + bound[0]
    assert bound[0] < 2e-4 * quarter
    rules = Rules(mixed_feed=MixedFeed.OVER_THE_WORK)
    assert_allclose(total(moves, rules, limits(v=1e6, a=1e12)), 4.71239, rtol=1e-4)


def test_path_over_the_work_against_fine_sampling() -> None:
    from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((5.0, -20.0, 3.0), (1.0, 0.0, 0.0)), -1),
            TurningAxis("rotary", AxisLine((-8.0, -19.0, 0.0), (0.0, 0.0, 1.0)), 1),
        )
    )
    arms = Lever(
        np.array([axis.line.point_mm for axis in chain.axes]),
        np.array([axis.line.direction for axis in chain.axes]),
        np.array([axis.sense for axis in chain.axes], float),
        np.array([60.0]),
    )
    random = np.random.default_rng(8)
    for _ in range(20):
        q0 = random.uniform(-100.0, 100.0, 5) * [1, 1, 1, DEGREE, DEGREE]
        q1 = q0 + random.uniform(-60.0, 60.0, 5) * [1, 1, 1, DEGREE, DEGREE]
        one = np.ones(1, np.uint8)
        moves = Moves(q0, q1[None], one, np.ones(1), one, lever=arms)
        length, bound = over_work(moves)
        q = q0 + np.linspace(0.0, 1.0, 20001)[:, None] * (q1 - q0)
        tip = q[:, :3] - [0.0, 0.0, 60.0]
        back = np.linalg.inv(chain.matrices(q[:, 3:]))
        path = np.einsum("nij,nj->ni", back[:, :3, :3], tip) + back[:, :3, 3]
        fine = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
        assert length[0] <= fine * (1 + 1e-12)
        assert fine <= length[0] + bound[0]
        assert bound[0] < 0.02 * fine


def test_feeds_of_other_kinds() -> None:
    quick = limits(v=1e6, a=1e12)
    inverse = feeds([[10.0, 5.0, 0.0, 30.0]], 0.25, feed_kind=FeedKind.PER_S)
    assert_allclose(total(inverse, axes=quick), 4.0, rtol=1e-6)
    turning = feeds([[0.0, 0.0, 0.0, 30.0, -40.0]], 10.0 * DEGREE, feed_kind=FeedKind.RAD_PER_S)
    assert_allclose(total(turning, axes=quick), 5.0, rtol=1e-6)
    assert_allclose(total(feeds([[10.0]], 100.0), Rules(feed_most=2.0), quick), 5.0, rtol=1e-6)


def test_a_feed_above_the_axes_is_cut_down() -> None:
    moves = feeds([[10.0, 0.0, 0.0, 0.0, 20.0]], 100.0)
    axes = AxisLimits(np.full(5, 500.0), np.full(5, 1e9), np.full(5, np.inf))
    slow = AxisLimits(
        np.array([500.0, 500.0, 500.0, 1.0, 5.0 * DEGREE]), np.full(5, 1e9), np.full(5, np.inf)
    )
    assert_allclose(total(moves, axes=axes), 0.1, rtol=1e-4)
    assert_allclose(total(moves, axes=slow), 4.0, rtol=1e-4)


# --- the control sees only so far


@pytest.mark.parametrize("jerk", JERKS)
def test_a_short_look_ahead_slows_down_short_moves(jerk: float) -> None:
    """Ends of 0.5 mm each, 4 seen: no faster than stops within 2 mm."""
    points = np.arange(1, 401)[:, None] * 0.5
    axes = limits(j=jerk)
    seen = timed(feeds(points, 500.0), Rules(window=4), axes)
    if jerk == np.inf:
        assert_allclose(seen.speed_end[50], math.sqrt(2.0 * 2500.0 * 2.0), rtol=1e-9)
    # Up to where the last fall begins; within it the acceleration need not be zero at an end.
    way = profile.change_distance(0.0, seen.speed_end, 2500.0, jerk)
    assert np.all(way[:390] <= 2.0 + 1e-9)
    times = [total(feeds(points, 500.0), Rules(window=w), axes) for w in (1, 4, 30, 1000, 0)]
    assert np.all(np.diff(times) <= 1e-9)
    assert_allclose(times[-1], times[-2], rtol=1e-9)
    assert times[1] > 1.5 * times[-1]


# --- wrong input, long runs


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"feed": [np.nan]}, "move 0 has no feed above zero"),
        ({"feed": [0.0]}, "move 0 has no feed above zero"),
        ({"kind": [9]}, "move 0 is of no known kind"),
        ({"kind": [Kind.ARC]}, "move 0 is an arc without a circle"),
        ({"kind": [Kind.PAUSE]}, "move 0 is a pause without seconds"),
        ({"feed_kind": [4]}, "move 0 has a feed kind"),
        ({"end": [[np.nan] * 5]}, "move 0 ends at a value that is not finite"),
        ({"end": [[0.0] * 4]}, r"end must have shape \(1, 5\)"),
        ({"start": [np.inf] * 5}, "start holds"),
        ({"stop": [True, False]}, r"stop must have shape \(1,\)"),
        ({"lever": lever(2)}, "a length for each of 1 moves"),
    ],
)
def test_moves_that_make_no_sense_are_refused(change: dict[str, object], words: str) -> None:
    good = {"start": [0.0] * 5, "end": [[1.0] * 5], "kind": [1], "feed": [1.0], "feed_kind": [1]}
    with pytest.raises(ValueError, match=words):
        Moves(**(good | change))  # type: ignore[arg-type]


def test_what_only_the_numbers_show_is_refused() -> None:
    with pytest.raises(ValueError, match=r"move 1 .*turns nothing"):
        timed(feeds([[1.0], [2.0]], 1.0, feed_kind=[FeedKind.MM_PER_S, FeedKind.RAD_PER_S]))
    with pytest.raises(ValueError, match="lever"):
        timed(feeds([[1.0, 0, 0, 0, 1.0]], 1.0), Rules(mixed_feed=MixedFeed.OVER_THE_WORK))
    with pytest.raises(ValueError, match="acceleration must be above zero"):
        limits(a=0.0)
    with pytest.raises(ValueError, match="settle_s"):
        Rules(settle_s=-1.0)


def test_nothing_to_do_and_giving_up() -> None:
    assert len(timed(feeds(np.empty((0, 5)))).seconds) == 0
    still = timed(feeds([[0.0], [0.0]], 1.0), Rules(settle_s=1.0))
    assert still.seconds.tolist() == [0.0, 0.0]
    assert time_moves(feeds([[1.0]]), limits(), Rules(), cancelled=lambda: True) is None
    shares: list[float] = []
    time_moves(feeds([[1.0]]), limits(), Rules(), told=shares.append)
    assert shares[0] == 0.0
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
