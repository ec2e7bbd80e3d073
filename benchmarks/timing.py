"""Seconds of moves: speed of look-ahead beside a plain loop, and chorded circles beside circles."""

from __future__ import annotations

import itertools
import math
import statistics
import time
from collections.abc import Callable

import numpy as np

from gudgeon.timing.clock import time_moves
from gudgeon.timing.limits import AxisLimits, Rules
from gudgeon.timing.moves import FeedKind, Kind, Moves

MOVES = 1_000_000
FEW = 20_000
ACCELERATION = 2500.0
TOLERANCE = 0.01


def axes(jerk: float = math.inf) -> AxisLimits:
    return AxisLimits(np.full(5, 500.0), np.full(5, ACCELERATION), np.full(5, jerk))


def feeds(points: np.ndarray, feed: float) -> Moves:
    """Feed moves through points of X, Y or X, Y, Z; the first one is the start."""
    ends = np.zeros((len(points), 5))
    ends[:, : points.shape[1]] = points
    count = np.ones(len(points) - 1, dtype=np.uint8)
    return Moves(ends[0], ends[1:], Kind.FEED * count, feed * count, FeedKind.MM_PER_S * count)


def seconds(moves: Moves, jerk: float = math.inf) -> float:
    found = time_moves(moves, axes(jerk), Rules(corner_tolerance_mm=TOLERANCE))
    assert found is not None
    return float(found.seconds.sum())


def surface(count: int) -> np.ndarray:
    """Rows over a wavy surface in short chords, as finishing programs have them."""
    along = np.arange(count + 1)
    row, place = np.divmod(along, 2000)
    x = np.where(row % 2 == 0, place, 1999 - place) * 0.15
    y = row * 0.4
    return np.column_stack([x, y, 4.0 * np.sin(0.11 * x) * np.cos(0.07 * y)])


def stairs(count: int) -> np.ndarray:
    """Go along X and Y by turns, to one side or the other: corners only."""
    draws = np.random.default_rng(1)
    size = 10.0 ** draws.uniform(-1.0, 1.5, count)
    turn = draws.choice([-1.0, 1.0], count)
    steps = np.zeros((count, 2))
    steps[0::2, 0] = size[0::2]
    steps[1::2, 1] = (size * turn)[1::2]
    return np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])


def plain_loop(points: list[list[float]], feed: float) -> float:
    """Time corners by the same rules in plain Python: two passes, no curves."""
    a = ACCELERATION
    ways, caps = [], [0.0]
    before = None
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        way = math.hypot(x1 - x0, y1 - y0)
        u = (x1 - x0) / way, (y1 - y0) / way
        if before is not None:
            back, v = before
            half = 0.5 * math.acos(max(-1.0, min(1.0, u[0] * v[0] + u[1] * v[1])))
            base = math.sqrt(way**2 + back**2 + 2.0 * way * back * math.cos(2.0 * half))
            rounded = TOLERANCE * math.cos(half) / (1.0 - math.cos(half))
            caps.append(min(feed, math.sqrt(a * min(rounded, 0.5 * base / math.sin(2.0 * half)))))
        before = way, u
        ways.append(way)
    caps.append(0.0)
    for i in range(len(ways) - 1, -1, -1):
        caps[i] = min(caps[i], math.sqrt(caps[i + 1] ** 2 + 2.0 * a * ways[i]))
    total = 0.0
    for i, way in enumerate(ways):
        v0 = caps[i]
        v1 = caps[i + 1] = min(caps[i + 1], math.sqrt(v0**2 + 2.0 * a * way))
        top = min(feed, math.sqrt(0.5 * (v0**2 + v1**2) + a * way))
        total += (2.0 * top - v0 - v1) / a + (way - (2 * top**2 - v0**2 - v1**2) / (2 * a)) / top
    return total


def median_s(work: Callable[[], object], runs: int = 7) -> float:
    """Return the median of seconds of one core: others at work on the computer do not count."""
    work()
    taken = []
    for _ in range(runs):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def rate(name: str, moves: Moves, jerk: float = math.inf, least: float = 0.0) -> str:
    found = len(moves.kind) / median_s(lambda: seconds(moves, jerk)) / 1e6
    asked = f"   asked {least:g}: {'met' if found >= least else 'MISSED'}" if least else ""
    return f"{name:<48}{found:>12.1f} M moves/s{asked}"


def circle(radius: float, chord: float, feed: float) -> float:
    """Return the time of three turns in chords over that of the circle with its ramps."""
    step = 2.0 * math.asin(0.5 * chord / radius)
    angles = np.append(np.arange(0.0, 6.0 * math.pi, step), 6.0 * math.pi)
    points = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    speed = min(feed, math.sqrt(ACCELERATION * radius))
    return seconds(feeds(points, feed)) / (6.0 * math.pi * radius / speed + speed / ACCELERATION)


def rows() -> list[str]:
    few = stairs(FEW)
    listed, moves = few.tolist(), feeds(few, 80.0)
    np.testing.assert_allclose(seconds(moves), plain_loop(listed, 80.0), rtol=1e-9)
    ours, theirs = median_s(lambda: seconds(moves)), median_s(lambda: plain_loop(listed, 80.0), 3)
    times = f"{theirs / ours:,.0f}"
    told = [
        f"{f'look-ahead, {FEW:,} corners':<34}{1e3 * ours:>10.2f} ms   "
        f"{'plain Python loop':<34}{1e3 * theirs:>10.2f} ms   {'1/' + times:>8}",
        rate("look-ahead, corners", feeds(stairs(MOVES), 80.0), least=10.0),
        rate("look-ahead, chords of a surface", feeds(surface(MOVES), 80.0), least=10.0),
        rate("  with limited jerk", feeds(surface(MOVES), 80.0), 50000.0),
    ]
    ratios = [
        circle(radius, chord, feed / 60.0)
        for radius in (1.0, 2.0, 5.0, 20.0)
        for chord in (0.1, 0.2, 0.3, 0.5)
        for feed in (500.0, 2000.0, 6000.0, 15000.0)
    ]
    low, high = min(ratios), max(ratios)
    met = "met" if low >= 0.95 and high <= 1.05 else "MISSED"
    told.append(
        f"{'chorded circles over circles, r 1 to 20 mm':<48}{low:>8.3f} to {high:.3f}"
        f"   asked 0.95 to 1.05: {met}"
    )
    return told


def main() -> int:
    print("seconds of moves")
    for told in rows():
        print(told, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
