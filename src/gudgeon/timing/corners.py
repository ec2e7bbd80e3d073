"""The compiled loop over corners: where a control must stop, and how fast it may pass the rest.

A corner between two straight moves is rounded by an arc that leaves it by the corner tolerance
(junction deviation): with half the change of direction b, R = tolerance cos b / (1 - cos b), and
v^2 = a R.  That alone is too fast on short chords, whose arcs would overlap; so the curvature of
the circle through the ends of both chords counts too (K. Menger's curvature): v^2 kappa <= a.  On a
row of corners that turn to the same side by like curvature the chords stand for a curve, and the
curvature alone counts.  The acceleration is what the axes have in every direction of the plane of
both moves.

Rapids do not round corners: they stop there, and where a rapid follows a feed move or the other way
round.  Moves that go straight on, in one direction, are one move.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np

from gudgeon.timing.compiled import compiled, inner
from gudgeon.timing.moves import Kind

__all__ = ["corners"]

_RAPID: Final = int(Kind.RAPID)
_ARC: Final = int(Kind.ARC)
_PAUSE: Final = int(Kind.PAUSE)

_STRAIGHT: Final = 1e-9
"""A change of direction that moves nothing by more [mm] is rounding alone."""

_HALF_TURN: Final = 0.0961
"""Squared sine of half the greatest change of direction (36 deg) between chords of a curve."""

_BACK: Final = 1.0 - 1e-12
"""From here on (within 2e-6 rad) the way leads straight back: a stop, not rounding's choice."""

_SAGITTA: Final = 0.04
"""Chords that leave their curve by no more [mm] stand for it, whatever the corner tolerance: the
coarsest that programs are written with (common practice, no source)."""

_TOLERANCES: Final = 4.0
"""... and those that leave it by no more than so many corner tolerances."""

_POLYGON: Final = 0.5
"""Sides that leave the circle by more [mm] are those of a polygon; speed rises along them."""


@inner
def _plane(old, head, i, square, inverse):  # type: ignore[no-untyped-def]
    """Return what the plane of the old direction and that of a move asks of the axes.

    The acceleration in every direction of the plane is 2 sqrt(s (1 - s) / what is returned), with s
    the squared sine of half the turn.
    """
    worst = 0.0
    for k in range(5):
        # Along the mean direction (of length 2 cos) and across it (2 sin).
        across = head[i, k] - old[k]
        along = head[i, k] + old[k]
        part = across * across * (1.0 - square) + along * along * square
        worst = max(worst, part * inverse[1, k] * inverse[1, k])
    return worst


@inner
def _round(square, before, after, plane, tolerance):  # type: ignore[no-untyped-def]
    """Return of a corner the square of its curvature and two squares of the speed.

    That by the curvature alone, and that by the corner tolerance too; and whether the corner may be
    one of a curve.
    """
    rest = 1.0 - square
    both = square * rest
    base = before * before + after * after + 2.0 * before * after * (1.0 - 2.0 * square)
    # kappa = 2 sin(turn) / base, acceleration / kappa = sqrt(base / plane) / 2.
    kappa = 16.0 * both / base if base > 0.0 else 0.0
    curved = 0.5 * sqrt(base / plane)
    rounded = 0.0
    if square < _BACK:
        cosine = sqrt(rest)
        # 1 - cos as sin^2 / (1 + cos) keeps its digits.
        rounded = 2.0 * sqrt(both / plane) * tolerance * cosine * (1.0 + cosine) / square
    longer = max(before, after) ** 2
    may = square <= _HALF_TURN and longer * longer * kappa <= (8.0 * _POLYGON) ** 2
    return kappa, curved, min(rounded, curved), may


@inner
def _curve(at, first, last, kappa, square, before, after, tolerance, cap, most):  # type: ignore[no-untyped-def]
    """Let the curvature alone count at a corner of a curve, and along its two chords."""
    longer = max(before, after) ** 2
    if longer * longer * kappa <= (8.0 * max(_SAGITTA, _TOLERANCES * tolerance)) ** 2:
        cap[at] = square
    for i in range(first, last):
        # As fast as from rest to rest at least.
        limit = max(square, most[i, 1] * (before if i < at else after))
        if most[i, 0] * most[i, 0] > limit:
            most[i, 0] = sqrt(limit)


@compiled
def corners(kind, stop, length, head, tail, slot, most, inverse, tolerance, look_ahead, cap, halt):  # type: ignore[no-untyped-def]
    """Fill cap and halt; lower the greatest speed of chords of a curve in `most`.

    Parameters
    ----------
    kind, stop : as in `moves.Moves`
    length, head, tail, slot, most, inverse : as in `measure`
    tolerance : float
        [mm]
    look_ahead : bool
    cap : ndarray, shape (n + 1,)
        Out: square of the greatest speed before each move, and after the last [mm2/s2]; infinite
        where nothing but the moves' own limits counts.
    halt : ndarray of bool, shape (n,)
        Out: the axes, having moved, stand still after this move.
    """
    n = len(kind)
    last = -1  # the last move that moved since a stop
    # The straight that it belongs to: its length, its first and its longest move.
    run, first, lead = 0.0, 0, 0
    # The corner before that straight (at < 0: none), whose straight after still grows: squared sine
    # of half its turn, its plane, straight before, first move of that, same side as `back`;
    # `lines`: no arc meets there.
    at, square, plane, before, begin, same = -1, 0.0, 0.0, 0.0, 0, False
    # The corner before that one, not yet judged: also its squared curvature, whether it may be one
    # of a curve, and whether it is one together with the corner before it.
    back, b_kappa, b_curved, b_before, b_after = -1, 0.0, 0.0, 0.0, 0.0
    b_begin, b_end, b_may, b_like = 0, 0, False, False
    toward = np.zeros(5)
    here = np.zeros(5)
    old = np.zeros(5)  # direction at the end of the last move
    stops = arcs = lines = False
    cap[0] = 0.0
    for i in range(n + 1):
        # What happens at this move: the straight goes on, a corner, or a stop before it.
        ends = i == n
        moves = not ends and length[i] > 0.0
        corner = False
        halts = last >= 0 and (ends or stops)
        if not ends:
            cap[i + 1] = np.inf
            halt[i] = False
            halts = halts or (last >= 0 and kind[i] == _PAUSE)
        gap = 0.0
        if moves and last >= 0 and not halts:
            rapid = kind[i] == _RAPID
            if not look_ahead or rapid != (kind[last] == _RAPID):
                halts = True
            else:
                arcs = kind[i] == _ARC or kind[last] == _ARC
                for k in range(5):
                    here[k] = head[i, k] - old[k]
                    gap += here[k] * here[k]
                straight = False
                if not arcs:
                    drift = gap
                    if lead != last:
                        drift = 0.0
                        for k in range(5):
                            drift += (head[i, k] - head[lead, k]) ** 2
                    shorter = min(length[lead], length[i])
                    straight = drift * shorter * shorter < _STRAIGHT * _STRAIGHT
                if straight:
                    run += length[i]
                    if length[i] > length[lead]:
                        lead = i
                elif rapid:
                    halts = True
                else:
                    corner = True
        if corner or halts:
            # The straight after the corner `at` is known now, so the one before that is judged.
            if at >= 0:
                kappa, curved, cap[at], may = _round(square, before, run, plane, tolerance)
                like = same and back >= 0 and may and b_may
                like = like and 0.25 * kappa <= b_kappa <= 4.0 * kappa
                if b_like or like:
                    _curve(
                        back, b_begin, b_end, b_kappa, b_curved, b_before, b_after, tolerance,
                        cap, most,
                    )  # fmt: skip
                back, b_kappa, b_curved, b_before, b_after = at, kappa, curved, before, run
                b_begin, b_end, b_may, b_like = begin, i, may, like
            if halts:
                if b_like:
                    _curve(
                        back, b_begin, b_end, b_kappa, b_curved, b_before, b_after, tolerance,
                        cap, most,
                    )  # fmt: skip
                at = back = -1
                b_like = False
                halt[last] = True
                cap[last + 1] = 0.0
                last = -1
            else:
                same = at >= 0 and lines and not arcs
                lines = not arcs
                at = -1
                if gap >= 1e-24:  # else an arc begins or ends along a tangent
                    along = size = 0.0
                    for k in range(5):
                        along += here[k] * toward[k]
                        size += toward[k] * toward[k]
                        toward[k] = here[k]
                    same = same and along > 0.0 and along * along > 0.25 * gap * size
                    square = min(1.0, 0.25 * gap)
                    plane = _plane(old, head, i, square, inverse)
                    at, before, begin = last + 1, run, first
                run, first, lead = length[i], i, i
        if ends:
            break
        if moves:
            if last < 0:
                run, first, lead = length[i], i, i
            last = i
            for k in range(5):
                old[k] = tail[slot[i], k] if kind[i] == _ARC else head[i, k]
        stops = kind[i] == _PAUSE or stop[i]
        if stops:
            cap[i + 1] = 0.0
