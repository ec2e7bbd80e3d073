"""The compiled pass over all moves with limited jerk: speeds at junctions and seconds.

A rise of speed begins and ends without acceleration and may run through many moves; its shape is
the seven-phase one of `profile`.  Forward and backward, a rise goes on until it touches a limit of
speed: there it has ended, and another may begin.  Between two such points there is one rise, a
steady stretch and one fall; acceleration and jerk of each are the least of the moves it runs
through.  For moves that go straight on this is the closed form.  In general it takes longer than
need be, as the acceleration falls to zero wherever a limit is touched.  Inside a rise that ends at
one limit the speed at a corner may be above the corner's own, though a rise that ended right there
would keep it; then one ends there, and all is done once more.  Of 4,000 drawn programs with uneven
axes the worst took 1.6 % longer than with a stop at each move, or changed by 2.5 % when every move
was cut in two; with unlimited jerk neither happens.
"""

from __future__ import annotations

from math import asinh, sinh, sqrt
from typing import Final

import numpy as np

from gudgeon.timing.compiled import compiled, inner

__all__ = ["see_so_far_smoothly", "smooth_pass"]

_AGAIN: Final = 20
"""Beginnings anew per move at most: far more than were ever needed.  What is left then is passed
a little too fast."""


@inner
def _rise_s(change, a, j):  # type: ignore[no-untyped-def]
    if change <= 0.0:
        return 0.0
    if change >= a * a / j:
        return change / a + a / j
    return 2.0 * sqrt(change / j)


@inner
def _slope(change, a, j):  # type: ignore[no-untyped-def]
    """Return by how much the seconds of a rise grow with its change of speed."""
    if change <= 0.0:
        return 0.0
    return 1.0 / a if change >= a * a / j else 1.0 / sqrt(change * j)


@inner
def _reach(v0, way, a, j):  # type: ignore[no-untyped-def]
    """Return the speed that a rise from v0 ends with after a way."""
    half = 0.5 * a * a / j
    if way >= (v0 + half) * 2.0 * a / j:
        root = sqrt((v0 - half) ** 2 + 2.0 * a * way)
        return root - half
    # Way = (v0 + v1) sqrt((v1 - v0)/j): a cubic in the root of the change, with one real answer.
    q = way * sqrt(j)
    if v0 <= 0.0:
        return np.cbrt(q) ** 2
    third = 2.0 * v0 / 3.0
    root = 2.0 * sqrt(third) * sinh(asinh(q / (2.0 * third * sqrt(third))) / 3.0)
    return v0 + root * root


@inner
def _peak(way, v0, v1, most, au, ju, ad, jd):  # type: ignore[no-untyped-def]
    """Return the greatest speed between two speeds a way apart, and the ways of rise and fall."""
    low = max(v0, v1)
    high = max(most, low)
    rise = 0.5 * (v0 + high) * _rise_s(high - v0, au, ju)
    fall = 0.5 * (v1 + high) * _rise_s(high - v1, ad, jd)
    if rise + fall <= way:
        return high, rise, fall
    rise = 0.5 * (v0 + low) * _rise_s(low - v0, au, ju)
    fall = 0.5 * (v1 + low) * _rise_s(low - v1, ad, jd)
    if rise + fall >= way:
        return low, rise, fall
    x = min(high, _reach(low, 0.5 * (way - rise - fall), min(au, ad), min(ju, jd)))
    for _ in range(80):
        up = _rise_s(x - v0, au, ju)
        down = _rise_s(x - v1, ad, jd)
        rise = 0.5 * (v0 + x) * up
        fall = 0.5 * (v1 + x) * down
        over = rise + fall - way
        if over > 0.0:
            high = min(high, x)
        else:
            low = max(low, x)
        if abs(over) <= 4e-16 * way:
            break
        slope = 0.5 * (up + down)
        slope += 0.5 * ((v0 + x) * _slope(x - v0, au, ju) + (v1 + x) * _slope(x - v1, ad, jd))
        step = x - over / slope
        if not low < step < high:
            step = 0.5 * (low + high)
        if abs(step - x) <= 2e-16 * x:
            break
        x = step
    # A ramp's way grows endlessly fast from nothing: the last digit of the peak matters there.
    # From the peak just below, what is left of the way goes steadily and costs no digits.
    down = 2.3e-16 * x
    while rise + fall > way and x > low:
        x = max(low, x - down)
        down *= 4.0
        rise = 0.5 * (v0 + x) * _rise_s(x - v0, au, ju)
        fall = 0.5 * (v1 + x) * _rise_s(x - v1, ad, jd)
    return x, rise, fall


@inner
def _within(way, v0, change, a, j):  # type: ignore[no-untyped-def]
    """Return seconds and speed of a rise from v0 when it has come a way."""
    total = _rise_s(change, a, j)
    if total <= 0.0 or way <= 0.0:
        return 0.0, v0
    steep = min(a, sqrt(change * j))
    bend = steep / j
    low, high = 0.0, total
    whole = 0.5 * (2.0 * v0 + change) * total
    if way >= whole:
        return total, v0 + change
    t = total * way / whole
    v = v0
    for _ in range(100):
        if t < bend:
            v = v0 + 0.5 * j * t * t
            s = v0 * t + j * t * t * t / 6.0
        elif t <= total - bend:
            u = t - 0.5 * bend
            v = v0 + steep * u
            s = v0 * t + steep * (0.5 * u * u + bend * bend / 24.0)
        else:
            left = total - t
            v = v0 + change - 0.5 * j * left * left
            s = whole - ((v0 + change) * left - j * left * left * left / 6.0)
        over = s - way
        if over > 0.0:
            high = t
        else:
            low = t
        if abs(over) <= 1e-15 * whole:
            break
        step = t - over / v if v > 0.0 else 0.5 * (low + high)
        if not low < step < high:
            step = 0.5 * (low + high)
        if abs(step - t) <= 2e-16 * total:
            break
        t = step
    return t, v


@inner
def _between(first, last, v0, v1, up, length, most, seconds, speed):  # type: ignore[no-untyped-def]
    """Fill seconds and speeds of the moves first to last (not included) of one rise and fall.

    `up` is the move with the peak.
    """
    way = 0.0
    au = ju = ad = jd = np.inf
    for i in range(first, last):
        if length[i] > 0.0:
            way += length[i]
            if i <= up:
                au, ju = min(au, most[i, 1]), min(ju, most[i, 2])
            if i >= up:
                ad, jd = min(ad, most[i, 1]), min(jd, most[i, 2])
    if way <= 0.0:
        for i in range(first, last):
            seconds[i] = 0.0
            speed[i] = v0
        return
    top, rise, fall = _peak(way, v0, v1, most[up, 0], au, ju, ad, jd)
    rise_s = _rise_s(top - v0, au, ju)
    fall_s = _rise_s(top - v1, ad, jd)
    steady = max(0.0, way - rise - fall)
    total = rise_s + fall_s + (steady / top if top > 0.0 else 0.0)
    gone = 0.0
    before = 0.0
    for i in range(first, last):
        gone += length[i]
        if i == last - 1:
            t, v = total, v1
        elif gone < rise:
            t, v = _within(gone, v0, top - v0, au, ju)
        elif gone <= rise + steady:
            t, v = rise_s + (gone - rise) / top, top
        else:
            t, v = _within(way - gone, v1, top - v1, ad, jd)
            t = total - t
        seconds[i] = max(0.0, t - before)
        before = max(t, before)
        speed[i] = v


@inner
def _too_fast(first, last, length, cap, speed):  # type: ignore[no-untyped-def]
    """Return the junction inside one rise and fall passed too fast by the largest ratio; or -1."""
    worst = 1.0 + 1e-9
    at = -1
    for i in range(first, last - 1):
        if length[i] > 0.0 and speed[i] > worst * cap[i + 1]:
            worst = speed[i] / cap[i + 1]
            at = i + 1
    return at


@inner
def _go(start, stop, step, same, length, most, cap, found, fresh):  # type: ignore[no-untyped-def]
    """Rise as fast as can be, forward or backward, from a junction where the limit is touched.

    From the junction `same` on, stop where all is as it was before; return that junction.
    """
    here = start
    v0 = cap[start]  # where the rise began
    way = 0.0
    a = j = np.inf
    found[start] = v0
    fresh[start] = True
    while here != stop:
        after = here + step
        i = min(here, after)
        limit = cap[after]
        v = found[here]
        if length[i] > 0.0:
            way += length[i]
            a, j = min(a, most[i, 1]), min(j, most[i, 2])
            v = limit if v0 >= limit else _reach(v0, way, a, j)
        if v >= limit:
            if fresh[after] and found[after] == limit and (after - same) * step >= 0:
                return after
            v0, v, way, a, j = limit, limit, 0.0, np.inf, np.inf
            fresh[after] = True
        else:
            fresh[after] = False
        found[after] = v
        here = after
    return here


@compiled
def see_so_far_smoothly(length, most, window, cap, lowest):  # type: ignore[no-untyped-def]
    """As `passes.see_so_far`, with the least acceleration and jerk of the moves seen.

    `lowest`, ndarray of int64, shape (2, n): room to work in; rows of moves, each the lowest in
    acceleration (in jerk) from there to the end of what is seen.
    """
    n = len(length)
    way = 0.0
    end = n
    stop = n
    # Moves join at the far side of each row and leave at its near side.
    near = np.zeros(2, dtype=np.int64)
    far = np.zeros(2, dtype=np.int64)
    for i in range(n - 1, -1, -1):
        if end - i > window:
            end -= 1
            way -= length[end]
        way = max(0.0, way) + length[i]
        for k in range(2):
            while near[k] < far[k] and lowest[k, near[k]] >= end:
                near[k] += 1
            if length[i] > 0.0:
                while near[k] < far[k] and most[lowest[k, far[k] - 1], k + 1] >= most[i, k + 1]:
                    far[k] -= 1
                lowest[k, far[k]] = i
                far[k] += 1
        if near[0] < far[0]:
            a, j = most[lowest[0, near[0]], 1], most[lowest[1, near[1]], 2]
            v = _reach(0.0, way, a, j)
        else:
            v = 0.0
        # With a stop among them the pass backward does it all.
        if stop - i > window:
            cap[i] = min(cap[i], v * v)
        if cap[i] == 0.0:
            stop = i


@compiled
def smooth_pass(length, most, cap, ahead, back, fresh, knots, seconds, speed):  # type: ignore[no-untyped-def]
    """Fill seconds and speed after each move; cap is used up.

    Parameters
    ----------
    length, most, cap : as in `measure` and `corners`; some jerk may be infinite
    ahead, back : ndarray, shape (n + 1,)
        Room to work in.
    fresh : ndarray of bool, shape (2, n + 1)
        Room to work in.
    knots : ndarray of int64, shape (n + 1,)
        Room to work in.
    seconds, speed : ndarray, shape (n,)
        Out.  [s], [mm/s]
    """
    n = len(length)
    for i in range(n + 1):
        cap[i] = sqrt(cap[i])
    for i in range(n):
        cap[i] = min(cap[i], most[i, 0])
        cap[i + 1] = min(cap[i + 1], most[i, 0])
    cap[0] = 0.0
    cap[n] = 0.0
    begin = 0
    for end in range(1, n + 1):
        if cap[end] > 0.0:
            continue
        _go(begin, end, 1, n + 1, length, most, cap, ahead, fresh[0])
        _go(end, begin, -1, -1, length, most, cap, back, fresh[1])
        left = _AGAIN * (end - begin)
        known = 0
        knots[0] = i = begin
        up = -1
        while i < end:
            one, two = ahead[i + 1], back[i + 1]
            if up < 0 and length[i] > 0.0 and two <= one:
                up = i
            i += 1
            if not (one <= two and fresh[0, i]) and not (two <= one and fresh[1, i]) and i < end:
                continue
            first = knots[known]
            up = max(up, first)
            v0 = min(ahead[first], back[first])
            _between(first, i, v0, min(one, two), up, length, most, seconds, speed)
            up = -1
            at = _too_fast(first, i, length, cap, speed) if left > 0 else -1
            if at < 0:
                known += 1
                knots[known] = i
                continue
            # Once more, from the last point that this does not change.
            left -= 1
            cap[at] = min(ahead[at], back[at])
            _go(first, end, 1, i, length, most, cap, ahead, fresh[0])
            i = _go(i, begin, -1, first, length, most, cap, back, fresh[1])
            while knots[known] > i:
                known -= 1
            i = knots[known]
        begin = end
