"""The compiled loop that measures moves: length, directions and limits along each.

All lengths here are those of the joint path, with one degree counted as one millimetre
(`compiled.DEGREES`); for moves without turning they are plain millimetres.  The feed is turned into
speed along that path, so that moves of every sort run into each other in one measure.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np

from gudgeon.timing.compiled import DEGREES, compiled
from gudgeon.timing.limits import MixedFeed
from gudgeon.timing.moves import FeedKind, Kind

__all__ = ["measure"]

_RAPID: Final = int(Kind.RAPID)
_ARC: Final = int(Kind.ARC)
_PAUSE: Final = int(Kind.PAUSE)
_MM: Final = int(FeedKind.MM_PER_S)
_RAD: Final = int(FeedKind.RAD_PER_S)
_ALL: Final = int(MixedFeed.ALL_AXES)
_WORK: Final = int(MixedFeed.OVER_THE_WORK)

_NOTHING: Final = 1e-9
"""Shorter moves [mm] are rounding of sums: they have no direction."""


@compiled
def measure(  # type: ignore[no-untyped-def]
    low,
    high,
    start,
    end,
    kind,
    feed,
    feed_kind,
    arc,
    slot,
    centre,
    normal,
    sweep,
    inverse,
    mixed,
    feed_most,
    work,
    length,
    head,
    tail,
    most,
):
    """Fill the rows low to high of length, head, tail and most.

    Parameters
    ----------
    low, high : int
    start, end, kind, feed, feed_kind, arc, centre, normal, sweep
        As in `moves.Moves`.
    slot : ndarray of int32, shape (n,)
        Row of `tail` of an arc.
    inverse : ndarray, shape (3, 5)
        1/speed, 1/acceleration, 1/jerk of the axes; turning axes in degrees.
    mixed : int
        `MixedFeed`.
    feed_most : float
        [mm/s]
    work : ndarray, shape (n,) or (0,)
        Length of the tool's path over the work [mm].
    length : ndarray, shape (n,)
        Out: [mm]; 0 where nothing moves.
    head : ndarray, shape (n, 5)
        Out: unit direction at the start.
    tail : ndarray, shape (arcs, 5)
        Out: unit direction at the end of arcs; other moves keep theirs.
    most : ndarray, shape (n, 3)
        Out: greatest speed, acceleration, jerk along the move; infinite where nothing moves.

    Returns
    -------
    int
        The first move with a feed in rad/s that turns nothing or an arc of radius zero; -1: none.
    """
    d = np.zeros(5)
    e = np.zeros(5)
    for i in range(low, high):
        most[i, 0] = most[i, 1] = most[i, 2] = np.inf
        length[i] = 0.0
        if kind[i] == _PAUSE:
            continue
        total = 0.0
        for k in range(5):
            here = start[k] if i == 0 else end[i - 1, k]
            step = end[i, k] - here
            if k > 2:
                step *= DEGREES
            d[k] = step
            total += step * step
        turning = d[3] * d[3] + d[4] * d[4]
        speed = acceleration = jerk = np.inf
        if kind[i] == _ARC:
            # The circle goes from the start; along its normal and in the turning axes evenly.
            m = arc[i]
            theta = abs(sweep[m])
            way = 1.0 if sweep[m] > 0.0 else -1.0
            n0, n1, n2 = normal[m, 0], normal[m, 1], normal[m, 2]
            axial = d[0] * n0 + d[1] * n1 + d[2] * n2
            radius = 0.0
            for side in range(2):
                a0 = (start[0] if i == 0 else end[i - 1, 0]) if side == 0 else end[i, 0]
                a1 = (start[1] if i == 0 else end[i - 1, 1]) if side == 0 else end[i, 1]
                a2 = (start[2] if i == 0 else end[i - 1, 2]) if side == 0 else end[i, 2]
                a0, a1, a2 = a0 - centre[m, 0], a1 - centre[m, 1], a2 - centre[m, 2]
                up = a0 * n0 + a1 * n1 + a2 * n2
                a0, a1, a2 = a0 - up * n0, a1 - up * n1, a2 - up * n2
                size = sqrt(a0 * a0 + a1 * a1 + a2 * a2)
                if size <= 0.0:
                    return i
                radius += 0.5 * size
                t0 = way * (n1 * a2 - n2 * a1) / size
                t1 = way * (n2 * a0 - n0 * a2) / size
                t2 = way * (n0 * a1 - n1 * a0) / size
                if side == 0:
                    head[i, 0], head[i, 1], head[i, 2] = t0, t1, t2
                else:
                    tail[slot[i], 0], tail[slot[i], 1], tail[slot[i], 2] = t0, t1, t2
            around = radius * theta
            linear = sqrt(around * around + axial * axial)
            whole = sqrt(linear * linear + turning)
            if whole <= _NOTHING:
                continue
            share = around / whole
            for k in range(3):
                along = axial * normal[m, k] / whole
                head[i, k] = share * head[i, k] + along
                tail[slot[i], k] = share * tail[slot[i], k] + along
                # The greatest part that the axis takes anywhere on the whole circle.
                e[k] = share * sqrt(max(0.0, 1.0 - normal[m, k] ** 2)) + abs(along)
            for k in range(3, 5):
                e[k] = d[k] / whole
                head[i, k] = tail[slot[i], k] = e[k]
            # Towards the centre: v^2/r within the acceleration of the axes in the plane.
            pull = 0.0
            for k in range(3):
                pull = max(pull, sqrt(max(0.0, 1.0 - normal[m, k] ** 2)) * inverse[1, k])
            speed = sqrt(radius / pull) / share if share > 0.0 else np.inf
        else:
            if total <= _NOTHING * _NOTHING:
                continue
            linear = whole = sqrt(total)
            if turning > 0.0:
                linear = sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
            shrink = 1.0 / whole
            for k in range(5):
                head[i, k] = e[k] = d[k] * shrink
        length[i] = whole
        v = a = j = 0.0
        for k in range(5 if turning > 0.0 else 3):
            part = abs(e[k])
            v = max(v, part * inverse[0, k])
            a = max(a, part * inverse[1, k])
            j = max(j, part * inverse[2, k])
        speed = min(speed, 1.0 / v)
        acceleration = 1.0 / a
        if j > 0.0:
            jerk = 1.0 / j
        if kind[i] != _RAPID:
            if feed_kind[i] == _MM:
                counted = whole
                if turning > 0.0 and mixed != _ALL:
                    if mixed == _WORK:
                        counted = work[i]
                    elif linear > 0.0:
                        counted = linear
                if counted > 0.0:
                    speed = min(speed, min(feed[i], feed_most) * (whole / counted))
            elif feed_kind[i] == _RAD:
                if turning <= 0.0:
                    return i
                speed = min(speed, feed[i] * DEGREES * (whole / sqrt(turning)))
            else:
                speed = min(speed, feed[i] * whole)
        most[i, 0] = speed
        most[i, 1] = acceleration
        most[i, 2] = jerk
    return -1
