"""The compiled passes over all moves: speeds at junctions and seconds, with unlimited jerk.

Backward, each junction is no faster than lets the axes slow down for what follows; forward, no
faster than they can get up to.  Between two junctions a move speeds up, goes steadily and slows
down with the one acceleration that the axes have in its direction.  This is the shortest time
there is under these limits, and cutting a straight move in two changes nothing.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np

from gudgeon.timing.compiled import compiled, inner
from gudgeon.timing.moves import Kind

__all__ = ["dog_legs", "plain_pass", "see_so_far"]

_RAPID: Final = int(Kind.RAPID)


@compiled
def see_so_far(length, most, window, cap):  # type: ignore[no-untyped-def]
    """Lower cap so that the axes can stop within the moves that the control sees.

    Parameters
    ----------
    length, most, cap : as in `measure` and `corners`
    window : int
        Moves seen from the end of the one before; above zero.
    """
    ahead = 0.0  # what the moves seen can take off the square of the speed
    end = len(length)
    for i in range(len(length) - 1, -1, -1):
        own = 2.0 * most[i, 1] * length[i] if length[i] > 0.0 else 0.0
        ahead += own
        if end - i > window:
            end -= 1
            if length[end] > 0.0:
                ahead -= 2.0 * most[end, 1] * length[end]
        # Never below what the first of them can take: rounding of the running sum.
        cap[i] = min(cap[i], max(ahead, own))


@compiled
def plain_pass(length, most, cap, seconds, speed):  # type: ignore[no-untyped-def]
    """Fill seconds and speed after each move; cap is used up.

    Parameters
    ----------
    length, most, cap : as in `measure` and `corners`
    seconds, speed : ndarray, shape (n,)
        Out.  [s], [mm/s]
    """
    n = len(length)
    following = 0.0
    cap[n] = 0.0
    for i in range(n - 1, -1, -1):
        if length[i] > 0.0:
            top = most[i, 0] * most[i, 0]
            cap[i + 1] = following = min(following, top)
            following = min(min(cap[i], top), following + 2.0 * most[i, 1] * length[i])
        else:
            following = min(cap[i], following)
        cap[i] = following
    v0 = sqrt(cap[0])
    square = cap[0]
    for i in range(n):
        if length[i] <= 0.0:
            square = min(square, cap[i + 1])
            v0 = speed[i] = sqrt(square)
            seconds[i] = 0.0
            continue
        a = most[i, 1]
        gain = 2.0 * a * length[i]
        after = min(cap[i + 1], square + gain)
        v1 = sqrt(after)
        top = most[i, 0]
        peak = 0.5 * (gain + square + after)
        if peak <= top * top:
            turn = sqrt(peak)
            seconds[i] = (2.0 * turn - v0 - v1) / a
        else:
            steady = length[i] - (2.0 * top * top - square - after) / (2.0 * a)
            seconds[i] = (2.0 * top - v0 - v1) / a + steady / top
        speed[i] = v1
        v0 = v1
        square = after


@inner
def _alone(distance, v, a, j):  # type: ignore[no-untyped-def]
    """As `profile.rest_to_rest_s`, for one number."""
    if distance <= 0.0:
        return 0.0
    rise = a / j
    change = v / a + rise if v >= a * rise else 2.0 * sqrt(v / j)
    if distance >= v * change:
        return distance / v + change
    if distance >= 2.0 * a * rise * rise:
        return rise + sqrt(rise * rise + 4.0 * distance / a)
    return np.cbrt(32.0 * distance / j)


@compiled
def dog_legs(kind, start, end, halt, speed, acceleration, jerk, seconds):  # type: ignore[no-untyped-def]
    """Shorten the seconds of rapids to those in which every axis runs in its own time.

    Parameters
    ----------
    kind, start, end, halt : as in `moves.Moves` and `corners`
    speed, acceleration, jerk : ndarray, shape (5,)
    seconds : ndarray, shape (n,)
        In: those of straight rapids; out: pieces of one rapid share its time alike.
    """
    first = -1
    total = 0.0
    for i in range(len(kind)):
        if kind[i] != _RAPID:
            continue
        if first < 0:
            first = i
            total = 0.0
        total += seconds[i]
        if not halt[i]:
            continue
        longest = 0.0
        for k in range(5):
            before = start[k] if first == 0 else end[first - 1, k]
            way = abs(end[i, k] - before)
            longest = max(longest, _alone(way, speed[k], acceleration[k], jerk[k]))
        if total > 0.0:
            for m in range(first, i + 1):
                if kind[m] == _RAPID:
                    seconds[m] *= longest / total
        first = -1
