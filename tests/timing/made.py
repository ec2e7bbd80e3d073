"""Moves and limits for the tests."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from gudgeon.timing.clock import Timed, time_moves
from gudgeon.timing.limits import AxisLimits, Rules
from gudgeon.timing.moves import Arcs, FeedKind, Kind, Moves

DEGREE = math.pi / 180.0


def limits(v: float = 500.0, a: float = 2500.0, j: float = np.inf) -> AxisLimits:
    """Alike for X, Y, Z in mm, and for the turning axes in degrees."""
    scale = np.array([1.0, 1.0, 1.0, DEGREE, DEGREE])
    return AxisLimits(v * scale, a * scale, j * scale)


def feeds(
    points: ArrayLike,
    feed: float | ArrayLike = np.inf,
    *,
    start: ArrayLike = (0.0,) * 5,
    kind: int | ArrayLike = Kind.FEED,
    feed_kind: int | ArrayLike = FeedKind.MM_PER_S,
    stop: ArrayLike = (),
) -> Moves:
    """Make moves through points of any number of axes; turning axes in degrees."""
    given = np.atleast_2d(np.asarray(points, dtype=float))
    end = np.zeros((len(given), 5))
    end[:, : given.shape[1]] = given
    end[:, 3:] *= DEGREE
    begin = np.zeros(5)
    begin[: len(np.atleast_1d(start))] = start
    begin[3:] *= DEGREE
    count = len(end)
    return Moves(
        begin,
        end,
        np.broadcast_to(np.asarray(kind, np.uint8), count),
        np.broadcast_to(np.asarray(feed, float), count),
        np.broadcast_to(np.asarray(feed_kind, np.uint8), count),
        stop=np.asarray(stop, dtype=bool),
    )


def arc(
    radius: float, sweep: float, feed: float = np.inf, *, rise: float = 0.0, plane: int = 2
) -> Moves:
    """One arc about an axis through zero that starts on the next axis."""
    u, v = (plane + 1) % 3, (plane + 2) % 3
    start, end = np.zeros(5), np.zeros(5)
    start[u] = radius
    end[u], end[v], end[plane] = radius * math.cos(sweep), radius * math.sin(sweep), rise
    normal = np.eye(3)[[plane]]
    return Moves(
        start,
        end[None],
        np.array([Kind.ARC], np.uint8),
        np.array([feed]),
        np.array([FeedKind.MM_PER_S], np.uint8),
        arc=np.array([0], np.int32),
        arcs=Arcs(np.zeros((1, 3)), normal, np.array([sweep])),
    )


def circle(radius: float, chord: float, turns: float = 3.0) -> np.ndarray:
    """Points of a circle about zero as chords; the last one may be shorter.  Starts at (r, 0)."""
    step = 2.0 * math.asin(0.5 * chord / radius)
    angles = np.append(np.arange(step, 2.0 * math.pi * turns, step), 2.0 * math.pi * turns)
    return np.column_stack([radius * np.cos(angles), radius * np.sin(angles)])


def timed(moves: Moves, rules: Rules | None = None, axes: AxisLimits | None = None) -> Timed:
    """Time moves, by default looking ahead with unlimited jerk."""
    found = time_moves(moves, axes or limits(), rules or Rules())
    assert found is not None
    return found


def total(moves: Moves, rules: Rules | None = None, axes: AxisLimits | None = None) -> float:
    """Return the seconds of all moves together."""
    return float(timed(moves, rules, axes).seconds.sum())
