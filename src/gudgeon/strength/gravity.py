r"""Torque of the load's weight about the tilt line and about the rotary line.

Frame (nominal geometry, the tilt line is level): x along the tilt line, z up, angles at zero.
Points are given from the rotary line in x and y and from the height of the tilt line in z.  The
rotary line stands `axis_offset` from the tilt line in y.  A positive angle turns right-handed about
z (turn) or about x (tilt); senses of the control are applied by the caller.

What turns with the platter first turns by :math:`\varphi`, then everything tilts by
:math:`\theta`.  A mass then stands level from the tilt line by

.. math:: y' = (e + x \sin\varphi + y \cos\varphi) \cos\theta - z \sin\theta .

So four sums say all about a load, whatever it is made of; they add when loads add:
``[still, x, y, z]`` = mass times (what of y' does not turn, x, y, z), in kg mm.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "GRAVITY",
    "WorstTorque",
    "any_order_rotary_torque",
    "any_order_tilt_torque",
    "rotary_torque",
    "standing_at",
    "static_moments",
    "tilt_torque",
    "tilts_within",
    "worst_rotary_torque",
    "worst_tilt_torque",
]

Floats = NDArray[np.float64]
Range = tuple[float, float]

GRAVITY: Final = 9.80665
"""Standard acceleration of free fall [m/s2]: CGPM 1901, resolution 2; ISO 80000-3."""

MM_PER_M: Final = 1000.0

TIE: Final = 1e-10
"""Share of the largest moment by which equal ones are told apart: far above rounding, far below
anything that matters."""

SETS_MOST: Final = 150
"""Up to this many parts the worst loading order is found exactly; the work grows as its square."""


@dataclass(frozen=True, slots=True)
class WorstTorque:
    """Greatest torque of each load, and a tilt where it arises.

    Attributes
    ----------
    torque_nm : ndarray, shape (...)
        Size of the torque, never negative [N m].
    tilt_rad : ndarray, shape (...)
        A tilt inside the range at which it arises [rad].
    """

    torque_nm: Floats
    tilt_rad: Floats


def static_moments(
    mass_kg: ArrayLike, points_mm: ArrayLike, turns: ArrayLike, axis_offset_mm: float
) -> Floats:
    """Return the four sums of each mass; add rows to join loads.

    Parameters
    ----------
    mass_kg : array_like, shape (n,)
    points_mm : array_like, shape (n, 3)
        Centres of mass with both angles zero, see the module [mm].
    turns : array_like of bool, shape (n,)
        True for what turns with the platter, false for what only tilts.
    axis_offset_mm : float
        Rotary line minus tilt line, along y [mm].

    Returns
    -------
    ndarray, shape (n, 4)
        ``[still, x, y, z]`` [kg mm].
    """
    mass = np.asarray(mass_kg, np.float64).reshape(-1)
    points = np.asarray(points_mm, np.float64).reshape(len(mass), 3)
    turning = np.asarray(turns, bool).reshape(len(mass))
    x, y, z = (mass[:, None] * points).T
    still = mass * axis_offset_mm + np.where(turning, 0.0, y)
    return np.stack([still, np.where(turning, x, 0.0), np.where(turning, y, 0.0), z], axis=-1)


def standing_at(
    points_mm: ArrayLike, tilt_rad: float, turn_rad: float, axis_offset_mm: float
) -> Floats:
    """Return where points that turn with the platter stand, counted from the tilt line [mm].

    Parameters
    ----------
    points_mm : array_like, shape (..., 3)
        With both angles zero, see the module.
    tilt_rad, turn_rad : float
    axis_offset_mm : float
        Rotary line minus tilt line, along y [mm].

    Returns
    -------
    ndarray, shape (..., 3)
        x along the tilt line, y level from it, z over it.
    """
    x, y, z = np.moveaxis(np.asarray(points_mm, np.float64), -1, 0)
    across = axis_offset_mm + x * np.sin(turn_rad) + y * np.cos(turn_rad)
    return np.stack(
        [
            x * np.cos(turn_rad) - y * np.sin(turn_rad),
            across * np.cos(tilt_rad) - z * np.sin(tilt_rad),
            across * np.sin(tilt_rad) + z * np.cos(tilt_rad),
        ],
        axis=-1,
    )


def tilt_torque(
    moments: ArrayLike, tilt_rad: ArrayLike, turn_rad: ArrayLike | None = None
) -> Floats:
    """Return the size of the torque about the tilt line in one pose, or at its worst turn [N m].

    Parameters
    ----------
    moments : array_like, shape (..., 4)
        Sums of the load [kg mm].
    tilt_rad : array_like, shape (...)
    turn_rad : array_like, shape (...), optional
        Turn of the platter; left out: the worst of all turns.
    """
    sums = np.asarray(moments, np.float64)
    still, x, y, z = np.moveaxis(sums, -1, 0)
    tilt = np.asarray(tilt_rad, np.float64)
    level = still * np.cos(tilt) - z * np.sin(tilt)
    if turn_rad is None:
        # The turning share may point either way, so it always adds.
        size = np.abs(level) + np.hypot(x, y) * np.abs(np.cos(tilt))
    else:
        turn = np.asarray(turn_rad, np.float64)
        size = np.abs(level + (x * np.sin(turn) + y * np.cos(turn)) * np.cos(tilt))
    return np.asarray(size * GRAVITY / MM_PER_M)


def worst_tilt_torque(
    moments: ArrayLike, tilt_range_rad: Range, turn_range_rad: Range | None = None
) -> WorstTorque:
    """Find the greatest torque about the tilt line over all poses, in closed form.

    The torque is A cos(tilt) - B sin(tilt) with A linear in one cosine of the turn.  So A is taken
    at its two ends, and each of the two cosines of the tilt at its crest, if inside, and at the
    ends of the range.

    Parameters
    ----------
    moments : array_like, shape (..., 4)
    tilt_range_rad : (low, high)
    turn_range_rad : (low, high), optional
        Left out for an endless rotary axis.

    Returns
    -------
    WorstTorque
    """
    sums = np.asarray(moments, np.float64)
    still, x, y, z = np.moveaxis(sums, -1, 0)
    low, high = tilt_range_rad
    best = np.full(still.shape, -1.0)
    where = np.zeros(still.shape)
    for turning in _cosine_ends(np.hypot(x, y), np.arctan2(x, y), turn_range_rad):
        level = still + turning
        crest = np.arctan2(-z, level)
        inside = crest + np.pi * np.ceil((low - crest) / np.pi)
        for tilt in (np.full(crest.shape, low), np.full(crest.shape, high), inside):
            size = np.abs(level * np.cos(tilt) - z * np.sin(tilt))
            size = np.where(tilt <= high, size, -1.0)
            # A hair more than equal, so that of two equal poses the first is kept.
            better = size > best * (1.0 + 1e-12) + 1e-12
            best, where = np.where(better, size, best), np.where(better, tilt, where)
    return WorstTorque(torque_nm=best.clip(0.0) * GRAVITY / MM_PER_M, tilt_rad=where)


def tilts_within(
    moments: ArrayLike,
    torque_nm: float,
    tilt_range_rad: Range,
    turn_range_rad: Range | None = None,
) -> tuple[Range, ...]:
    """Return the stretches of tilt in which no turn exceeds a torque, ends included.

    Parameters
    ----------
    moments : array_like, shape (4,)
    torque_nm : float
        Torque to stay within, such as the rating [N m].
    tilt_range_rad : (low, high)
    turn_range_rad : (low, high), optional
        Left out for an endless rotary axis.

    Returns
    -------
    tuple of (low, high)
        In rising order; empty if every tilt exceeds it.
    """
    still, x, y, z = (float(value) for value in np.asarray(moments, np.float64))
    low, high = tilt_range_rad
    allowed = torque_nm * MM_PER_M / GRAVITY
    ends = _cosine_ends(np.hypot(x, y), np.arctan2(x, y), turn_range_rad)
    levels = [still + float(turning) for turning in ends]

    def exceeds(tilt: float) -> bool:
        return any(
            abs(level * np.cos(tilt) - z * np.sin(tilt)) > allowed * (1.0 + 1e-12) + 1e-12
            for level in levels
        )

    # Between two neighbouring crossings the answer cannot change.
    cuts = {low, high}
    for level in levels:
        crest, size = float(np.arctan2(-z, level)), float(np.hypot(level, z))
        if size <= allowed:
            continue
        half = float(np.arccos(allowed / size))
        for first in (crest - half, crest + half):
            turns = np.arange(np.ceil((low - first) / np.pi), np.floor((high - first) / np.pi) + 1)
            cuts.update(float(first + np.pi * k) for k in turns)
    marks = sorted(cuts)
    stretches: list[Range] = []
    for left, right in itertools.pairwise(marks):
        if exceeds(0.5 * (left + right)):
            continue
        if stretches and stretches[-1][1] == left:
            stretches[-1] = (stretches[-1][0], right)
        else:
            stretches.append((left, right))
    if len(marks) == 1 and not exceeds(low):
        return ((low, low),)
    return tuple(stretches)


def worst_rotary_torque(
    moments: ArrayLike, tilt_range_rad: Range, turn_range_rad: Range | None = None
) -> Floats:
    """Return the greatest torque about the tilted rotary line over all poses [N m].

    It is g |sin(tilt)| times the static moment of what turns, level in the platter's plane.

    Parameters
    ----------
    moments : array_like, shape (..., 4)
    tilt_range_rad : (low, high)
    turn_range_rad : (low, high), optional
        Left out for an endless rotary axis.
    """
    sums = np.asarray(moments, np.float64)
    x, y = sums[..., 1], sums[..., 2]
    # x cos(turn) - y sin(turn) = r cos(turn + angle of (x, y)).
    ends = _cosine_ends(np.hypot(x, y), -np.arctan2(y, x), turn_range_rad)
    arm = np.maximum(np.abs(ends[0]), np.abs(ends[1]))
    return np.asarray(arm * _greatest_sine(tilt_range_rad) * GRAVITY / MM_PER_M)


def any_order_tilt_torque(
    stays: ArrayLike,
    parts: ArrayLike,
    tilt_range_rad: Range,
    turn_range_rad: Range | None = None,
) -> float:
    """Return a torque about the tilt line that no choice of loaded parts exceeds [N m].

    Exact where the axis offset of the parts is nil, else safe by their offset's whole share.

    Parameters
    ----------
    stays : array_like, shape (4,)
        Sums of what is never taken off [kg mm].
    parts : array_like, shape (n, 4)
        Sums of each part [kg mm].
    tilt_range_rad : (low, high)
    turn_range_rad : (low, high), optional
        Left out for an endless rotary axis.
    """
    base = np.asarray(stays, np.float64)
    each = np.asarray(parts, np.float64).reshape(-1, 4)
    if len(each) > SETS_MOST:
        torques = worst_tilt_torque(np.vstack([base, each]), tilt_range_rad, turn_range_rad)
        return float(torques.torque_nm.sum())
    turning = each * np.array([0.0, 1.0, 1.0, 1.0])
    sums = base + _extreme_sets(each[:, 1:]) @ turning
    worst = worst_tilt_torque(sums, tilt_range_rad, turn_range_rad).torque_nm.max()
    offset_share = np.abs(each[:, 0]).sum() * GRAVITY / MM_PER_M
    return float(worst + offset_share + _tie_share(each[:, 1:]))


def any_order_rotary_torque(
    stays: ArrayLike,
    parts: ArrayLike,
    tilt_range_rad: Range,
    turn_range_rad: Range | None = None,
) -> float:
    """Return the greatest torque about the rotary line over every choice of parts [N m].

    Parameters are those of `any_order_tilt_torque`.
    """
    base = np.asarray(stays, np.float64)
    each = np.asarray(parts, np.float64).reshape(-1, 4)
    if len(each) > SETS_MOST:
        rows = np.vstack([base, each])
        return float(worst_rotary_torque(rows, tilt_range_rad, turn_range_rad).sum())
    flat = each[:, 1:] * np.array([1.0, 1.0, 0.0])
    sums = base + _extreme_sets(flat) @ each
    worst = worst_rotary_torque(sums, tilt_range_rad, turn_range_rad).max()
    return float(worst + _tie_share(flat))


def rotary_torque(moments: ArrayLike, tilt_rad: ArrayLike, turn_rad: ArrayLike) -> Floats:
    """Return the size of the torque about the tilted rotary line in one pose [N m].

    Parameters
    ----------
    moments : array_like, shape (..., 4)
    tilt_rad, turn_rad : array_like, shape (...)
    """
    sums = np.asarray(moments, np.float64)
    turn = np.asarray(turn_rad, np.float64)
    arm = sums[..., 1] * np.cos(turn) - sums[..., 2] * np.sin(turn)
    return np.asarray(np.abs(arm * np.sin(tilt_rad)) * GRAVITY / MM_PER_M)


def _cosine_ends(size: Floats, peak: Floats, span: Range | None) -> tuple[Floats, Floats]:
    """Return least and greatest ``size * cos(angle - peak)`` over a span (all angles if None)."""
    if span is None or span[1] - span[0] >= 2.0 * np.pi:
        return -size, size

    def holds(angle: Floats) -> NDArray[np.bool_]:
        first = angle + 2.0 * np.pi * np.ceil((span[0] - angle) / (2.0 * np.pi))
        return np.asarray(first <= span[1])

    ends = np.stack([size * np.cos(end - peak) for end in span])
    least = np.where(holds(np.asarray(peak + np.pi)), -size, ends.min(axis=0))
    most = np.where(holds(np.asarray(peak)), size, ends.max(axis=0))
    return least, most


def _greatest_sine(span: Range) -> float:
    ends = _cosine_ends(np.asarray(1.0), np.asarray(0.5 * np.pi), span)
    return float(max(abs(ends[0]), abs(ends[1])))


def _tie_share(vectors: Floats) -> float:
    """Return the most that parting ties can hide of a torque, added for safety [N m].

    Each vector is shifted by less than `TIE` of the largest; the best choice of the shifted ones
    lies below the best of the true ones by at most twice the sum of the shifts.
    """
    if len(vectors) <= 2:
        return 0.0
    return 2.0 * len(vectors) * TIE * float(np.abs(vectors).max()) * GRAVITY / MM_PER_M


def _extreme_sets(vectors: Floats) -> Floats:
    """Return, as rows of 0 and 1, every choice of vectors that can be the farthest in a direction.

    The sums of all choices fill a zonotope; a linear (or convex) measure is greatest at one of its
    corners, and each corner touches a direction square to two of the vectors.  A tiny fixed shift
    of the vectors, `TIE` of their size, parts ties; `_tie_share` is what that can cost.
    """
    count = len(vectors)
    if count <= 2:
        return np.array([[i >> k & 1 for k in range(count)] for i in range(1 << count)], np.float64)
    shift = np.modf(np.outer(np.arange(1.0, count + 1), np.sqrt([2.0, 3.0, 5.0])))[0] - 0.5
    apart = vectors + TIE * float(np.abs(vectors).max()) * shift
    first, second = np.triu_indices(count, 1)
    normals = np.cross(apart[first], apart[second])
    base = (apart @ np.vstack([normals, -normals]).T > 0.0).T
    first, second = np.tile(first, 2), np.tile(second, 2)
    rows = np.arange(len(base))
    sets = []
    for one in (False, True):
        for two in (False, True):
            choice = base.copy()
            choice[rows, first], choice[rows, second] = one, two
            sets.append(choice)
    return np.asarray(np.unique(np.vstack(sets), axis=0), np.float64)
