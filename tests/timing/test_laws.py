"""What holds for any moves: splitting, stopping, larger limits, sums."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.timing.limits import AxisLimits, MixedFeed, Rules
from gudgeon.timing.moves import FeedKind, Kind, Moves
from tests.timing.made import DEGREE, circle, feeds, limits, timed, total

JERKS = [np.inf, 50000.0]


@st.composite
def programs(draw: st.DrawFn, *, turning: bool = True, rapids: bool = True) -> Moves:
    """Draw moves of all sizes, some straight on, some back, some without motion, some stops."""
    seed = draw(st.integers(0, 2**32 - 1))
    count = draw(st.integers(1, 30))
    sharp = draw(st.sampled_from([0.02, 0.3, 3.0]))
    random = np.random.default_rng(seed)
    size = 10.0 ** random.uniform(-2.0, 2.0, (count, 1))
    # Directions that wander: from curves to corners, in 2, 3 or 5 axes.
    steps = np.cumsum(random.normal(0.0, sharp, (count, 5)), axis=0)
    steps[:, 0] += 1.0
    axes = draw(st.sampled_from([2, 3, 5] if turning else [2, 3]))
    steps[:, axes:] = 0.0
    steps /= np.linalg.norm(steps, axis=1, keepdims=True)
    again = random.random(count) < 0.2
    again[0] = False
    for i in np.flatnonzero(again):
        steps[i] = steps[i - 1] * random.choice([1.0, 1.0, -1.0])
    size[random.random(count) < 0.05] = 0.0
    kind = np.where(random.random(count) < (0.2 if rapids else 0.0), Kind.RAPID, Kind.FEED)
    feed = np.where(random.random(count) < 0.5, 60.0, 10.0 ** random.uniform(-1, 3, count))
    return feeds(np.cumsum(steps * size, axis=0), feed, kind=kind, stop=random.random(count) < 0.05)


def uneven(jerk: float) -> AxisLimits:
    return AxisLimits(
        np.array([400.0, 350.0, 250.0, 60.0 * DEGREE, 120.0 * DEGREE]),
        np.array([3000.0, 2000.0, 2500.0, 300.0 * DEGREE, 700.0 * DEGREE]),
        jerk * np.array([1.0, 1.0, 0.7, DEGREE, DEGREE]),
    )


def cut(moves: Moves, at: np.ndarray) -> Moves:
    """Cut every move into two at shares of its way."""
    before = np.vstack([moves.start, moves.end[:-1]])
    middle = before + at[:, None] * (moves.end - before)
    end = np.empty((2 * len(at), 5))
    end[0::2], end[1::2] = middle, moves.end
    stop = np.zeros(2 * len(at), dtype=bool)
    stop[1::2] = moves.stop
    feed = np.repeat(moves.feed, 2)
    return Moves(
        moves.start, end, np.repeat(moves.kind, 2), feed, np.repeat(moves.feed_kind, 2), stop=stop
    )


@pytest.mark.parametrize("jerk", JERKS)
@pytest.mark.parametrize("straight", [True, False])
@settings(deadline=None, max_examples=60)
@given(programs(), st.integers(0, 1000))
def test_cutting_moves_in_two_changes_nothing(
    straight: bool, jerk: float, moves: Moves, seed: int
) -> None:
    at = np.random.default_rng(seed).uniform(0.05, 0.95, len(moves.kind))
    rules = Rules(straight_rapids=straight)
    whole = timed(moves, rules, uneven(jerk))
    parts = timed(cut(moves, at), rules, uneven(jerk))
    # With jerk, cutting offers other places where a rise may end: once in some thousand programs.
    assert_allclose(parts.seconds.sum(), whole.seconds.sum(), rtol=1e-9 if jerk == np.inf else 0.05)
    pairs = parts.seconds[0::2] + parts.seconds[1::2]
    if jerk == np.inf and straight:
        assert_allclose(pairs, whole.seconds, rtol=1e-6, atol=1e-9)
        assert_allclose(parts.speed_end[1::2], whole.speed_end, rtol=1e-6, atol=1e-4)


@settings(deadline=None, max_examples=100)
@given(
    st.lists(st.floats(0.01, 50.0), min_size=1, max_size=20),
    st.floats(1.0, 600.0),
    st.floats(1e3, 1e6),
)
def test_pieces_of_a_straight_line_with_jerk_are_the_line(
    pieces: list[float], feed: float, jerk: float
) -> None:
    ends = np.cumsum(pieces)[:, None] * [0.6, 0.0, 0.8]
    found = total(feeds(ends, feed), Rules(), uneven(jerk))
    whole = total(feeds(ends[-1:], feed), Rules(), uneven(jerk))
    assert_allclose(found, whole, rtol=1e-9)


@pytest.mark.parametrize("jerk", JERKS)
@settings(deadline=None, max_examples=100)
@given(programs())
def test_stopping_is_never_faster(jerk: float, moves: Moves) -> None:
    stops = timed(moves, Rules(look_ahead=False), uneven(jerk))
    ahead = timed(moves, Rules(), uneven(jerk))
    # With jerk a rise through many moves has the least acceleration of them.
    least = 1e-9 if jerk == np.inf else 0.03
    assert ahead.seconds.sum() <= stops.seconds.sum() * (1 + least)


@pytest.mark.parametrize("jerk", JERKS)
@settings(deadline=None, max_examples=100)
@given(programs(), st.floats(0.0, 0.1), st.floats(1.0, 5.0))
def test_a_larger_tolerance_is_never_slower(
    jerk: float, moves: Moves, tolerance: float, times: float
) -> None:
    fine = total(moves, Rules(corner_tolerance_mm=tolerance), uneven(jerk))
    coarse = total(moves, Rules(corner_tolerance_mm=tolerance * times), uneven(jerk))
    assert coarse <= fine * (1 + (1e-9 if jerk == np.inf else 0.05))


@settings(deadline=None, max_examples=100)
@given(programs(), st.integers(0, 2), st.integers(0, 4), st.floats(1.0, 4.0))
def test_larger_limits_are_never_slower(moves: Moves, which: int, axis: int, times: float) -> None:
    axes = uneven(np.inf)
    given_limits = [np.array(a) for a in (axes.speed, axes.acceleration)]
    given_limits[which % 2][axis] *= times
    better = AxisLimits(*given_limits, axes.jerk)
    for rules in (Rules(), Rules(look_ahead=False), Rules(window=3)):
        assert total(moves, rules, better) <= total(moves, rules, axes) * (1 + 1e-9)


@pytest.mark.parametrize("jerk", JERKS)
@settings(deadline=None, max_examples=60)
@given(programs(turning=False, rapids=False))
def test_no_faster_than_the_feed_and_no_faster_than_without_jerk(jerk: float, moves: Moves) -> None:
    found = timed(moves, Rules(), limits(j=jerk))
    path = np.linalg.norm(np.diff(np.vstack([moves.start, moves.end]), axis=0), axis=1)
    assert np.all(found.seconds >= path / moves.feed * (1 - 1e-9) - 1e-12)
    assert np.all((found.speed_end <= moves.feed * (1 + 1e-6))[path > 0.0])
    assert_allclose(found.length, path, rtol=1e-12)
    assert found.speed_end[-1] == 0.0
    assert np.all(np.isfinite(found.seconds))
    assert found.seconds.sum() >= total(moves) * (1 - 1e-9)


@settings(deadline=None, max_examples=60)
@given(programs(rapids=False))
def test_speeds_and_seconds_fit_the_limits_along_each_move(moves: Moves) -> None:
    """From the speeds alone: no move is quicker than its own acceleration lets it be."""
    axes = uneven(np.inf)
    found = timed(moves, Rules(), axes)
    steps = np.diff(np.vstack([moves.start, moves.end]), axis=0)
    scale = np.array([1, 1, 1, 1 / DEGREE, 1 / DEGREE])
    way = np.linalg.norm(steps * scale, axis=1)
    moved = way > 0.0
    before = np.concatenate([[0.0], found.speed_end[:-1]])[moved]
    after, way, took = found.speed_end[moved], way[moved], found.seconds[moved]
    part = np.abs(steps[moved]) / way[:, None]
    with np.errstate(divide="ignore"):
        a = np.min(axes.acceleration / part, axis=1)
        v = np.min(axes.speed / part, axis=1)
    assert np.all(np.abs(after**2 - before**2) <= 2 * a * way * (1 + 1e-6) + 1e-6)
    assert np.all(np.maximum(before, after) <= v * (1 + 1e-9))
    assert np.all(np.abs(after - before) <= a * took * (1 + 1e-6) + 1e-6)


def reference(points: np.ndarray, feed: float, a: float, tolerance: float) -> float:
    """Seconds of a path in X, Y by a plain loop: passes in Python, no chords of curves."""
    steps = np.diff(points, axis=0)
    way = np.hypot(*steps.T)
    unit = steps / way[:, None]
    cap = [0.0]
    for i in range(len(way) - 1):
        half = 0.5 * np.arccos(np.clip(unit[i] @ unit[i + 1], -1.0, 1.0))
        rounded = tolerance * np.cos(half) / (1.0 - np.cos(half)) if half > 0 else np.inf
        chord = np.hypot(*(points[i + 2] - points[i]))
        kappa = 2.0 * np.sin(2.0 * half) / chord
        cap.append(min(feed, np.sqrt(a * min(rounded, 1.0 / kappa))))
    cap.append(0.0)
    v = np.array(cap)
    for i in range(len(way) - 1, -1, -1):
        v[i] = min(v[i], np.sqrt(v[i + 1] ** 2 + 2 * a * way[i]))
    seconds = 0.0
    for i in range(len(way)):
        v[i + 1] = min(v[i + 1], np.sqrt(v[i] ** 2 + 2 * a * way[i]))
        top = min(feed, np.sqrt(0.5 * (v[i] ** 2 + v[i + 1] ** 2) + a * way[i]))
        ramps = (2 * top**2 - v[i] ** 2 - v[i + 1] ** 2) / (2 * a)
        seconds += (2 * top - v[i] - v[i + 1]) / a + (way[i] - ramps) / top
    return float(seconds)


@pytest.mark.parametrize("seed", range(5))
def test_against_a_plain_loop(seed: int) -> None:
    """Right angles are no curve, and along X or Y the acceleration is that of the axis."""
    random = np.random.default_rng(seed)
    size = 10.0 ** random.uniform(-1.0, 1.5, 60)
    angle = np.where(np.arange(60) % 2 == 0, 0.0, random.choice([-0.5, 0.5], 60) * np.pi)
    points = np.vstack(
        [[0.0, 0.0], np.cumsum(size[:, None] * np.stack([np.cos(angle), np.sin(angle)], 1), axis=0)]
    )
    found = total(feeds(points[1:], 80.0))
    assert_allclose(found, reference(points, 80.0, 2500.0, 0.01), rtol=1e-9)


def test_turning_and_linear_axes_alike() -> None:
    """One degree counts as one millimetre: the same path drawn by tilt and turn."""
    points = np.vstack([circle(3.0, 0.4, 1.0), [[9.0, 4.0], [1.0, -5.0]]])
    turned = np.zeros((len(points), 5))
    turned[:, 3:] = points
    flat = total(feeds(points, 20.0, start=(3.0, 0.0)))
    axes = limits()
    moves = feeds(
        turned,
        20.0 * DEGREE,
        start=(0, 0, 0, 3.0, 0.0),
        feed_kind=FeedKind.RAD_PER_S,
    )
    assert_allclose(total(moves, axes=axes), flat, rtol=1e-9)
    mixed = Rules(mixed_feed=MixedFeed.ALL_AXES)
    alike = np.zeros((len(points), 5))
    alike[:, [0, 4]] = points
    moves = feeds(alike, 20.0, start=(3.0, 0, 0, 0, 0.0))
    assert_allclose(total(moves, mixed, axes), flat, rtol=1e-9)
