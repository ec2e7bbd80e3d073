"""Tool-point control while axes turn: chords of the slides' curve, within a proven bound.

Frames, angles and unknowns as in `gudgeon.program.frames`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.kinematics.chain import WorkChain, turned
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.frames import chain_angles, chain_columns, known_or_nan, tool_point_joint
from gudgeon.program.track import AXES

__all__ = ["tool_point_chords"]

Floats = NDArray[np.float64]

_SLAB: Final = 1 << 15
"""Chords worked out at a time, so that passing arrays stay small."""

_PLACES: Final = 1 << 12
"""At most so many places where the bend of a path is looked at."""


def tool_point_chords(
    chain: WorkChain,
    start_angles: Sequence[float],
    end_angles: Sequence[float],
    start_work_mm: Sequence[float],
    end_work_mm: Sequence[float],
    length_mm: float,
    chord_mm: float,
    limit: int,
    column: int = 0,
) -> Floats:
    """Return the joint positions of a straight run of the tip over the turning work.

    The tip runs evenly along a straight line over the work while the angles run evenly from start
    to end; the slides then run a curve, which is replaced by chords of equal time.  Rapids under
    tool-point control are taken the same way; controls differ there (common practice, no source).

    Parameters
    ----------
    chain : WorkChain
    start_angles, end_angles : pair of floats
        Joint angles (tilt, rotary) [rad].
    start_work_mm, end_work_mm : 3 floats
        Tip over the work, in T with all angles at zero; see `work_point` [mm].
    length_mm : float
        Tool length in force [mm].
    chord_mm : float
        Largest distance of the tip, as the chords take it over the work, from where it should be at
        the same moment [mm].
    limit : int
        Most chords allowed.
    column : int
        Place for a `Halt`.

    Returns
    -------
    ndarray, shape (chords, 5)
        Joint position at the end of each chord, the last exactly the end [mm, mm, mm, rad, rad].
        One chord when nothing turns, or when something is not known.

    Raises
    ------
    Halt
        TOO_MUCH: more chords than `limit`.

    Notes
    -----
    With t from 0 to 1 the tip belongs at X(t) = W(angles(t)) p(t) in the machine, p straight.  The
    chords run the angles as they should run and X straight from X(t0) to X(t0 + h).  W keeps
    distances, so over the work the tip is off by exactly the distance of the chord from X at the
    same t: the error of linear interpolation, at most h^2/8 max |X''| for a vector too (a component
    along the unit vector of the error obeys the scalar theorem; Davis, Interpolation and
    Approximation, from memory).

    Bounds on derivatives follow the chain from the carried axis outward.  For u(t) carried by a
    turn at even rate w about a line at distance D of u, Leibniz' rule gives
    |u_new^(j)| <= w^j D + sum over k < j of binomial(j, k) w^k |u^(j-k)|, since each derivative
    of the turn is w times a quarter turn of the part square to the line.  D is bounded with a
    hull: u stays within r of a segment that it follows evenly.  Distance from a line is convex, so
    D is at most r plus the larger distance of the segment's ends; after the turn u stays within
    that D of the segment's drop onto the line.  These hold for the whole move.  They are then
    sharpened: on a piece of half-width e about t_m, |X''| <= |X''(t_m)| + e max |X'''|, with
    X''(t_m) worked out exactly.  Nothing is sampled on trust.
    """
    start, end = [known_or_nan(a) for a in start_angles], [known_or_nan(a) for a in end_angles]
    last = (*tool_point_joint(chain, None, end_work_mm, end, length_mm), *end)
    known = [*chain_angles(chain, start), *chain_angles(chain, end), *start_work_mm, *end_work_mm]
    with np.errstate(over="ignore", invalid="ignore"):  # numbers too large end in a halt or NaN
        count = 1.0
        if all(map(math.isfinite, known)):
            count = _chord_count(chain, start, end, start_work_mm, end_work_mm, chord_mm)
        if not count <= limit:
            raise Halt(Code.TOO_MUCH, column, limit=limit)
        chords = int(count)
        joints = np.empty((chords, AXES))
        first, step = np.asarray(start), np.subtract(end, start)
        tip, run = np.asarray(start_work_mm), np.subtract(end_work_mm, start_work_mm)
        for low in range(0, chords - 1, _SLAB):
            t = np.arange(low + 1, min(low + _SLAB, chords - 1) + 1)[:, None] / chords
            angles = first + t * step
            slab = joints[low : low + len(t)]
            slab[:, :3] = chain.points(angles[:, chain_columns(chain)], tip + t * run)
            slab[:, 2] += length_mm
            slab[:, 3:] = angles
    joints[-1] = last
    return joints


def _chord_count(
    chain: WorkChain,
    start: Sequence[float],
    end: Sequence[float],
    start_work_mm: Sequence[float],
    end_work_mm: Sequence[float],
    chord_mm: float,
) -> float:
    """Return a whole number of equal chords that keeps the bound; infinite if none does."""
    angles = np.asarray(chain_angles(chain, start))
    rates = np.asarray(chain_angles(chain, end)) - angles
    tip, run = np.asarray(start_work_mm), np.subtract(end_work_mm, start_work_mm)
    second, third = _derivative_bounds(chain, angles, rates, tip, tip + run)
    if second == 0.0:
        return 1.0
    if not (chord_mm > 0.0 and math.isfinite(second + third)):
        return math.inf
    # An eighth of a radian a piece leaves little to the third derivative; more pieces than chords
    # would cost more than they save.
    pieces = int(min(np.ceil(8.0 * np.abs(rates).sum()), _chords(second, chord_mm), _PLACES))
    middles = (np.arange(pieces) + 0.5) / pieces
    bend = _second_derivatives(chain, angles, rates, tip, run, middles).max()
    return _chords(min(second, bend + 0.5 * third / pieces), chord_mm)


def _chords(second: float, chord_mm: float) -> float:
    return max(1.0, float(np.ceil(math.sqrt(second / 8.0 / chord_mm))))


def _derivative_bounds(
    chain: WorkChain, angles: Floats, rates: Floats, one: Floats, other: Floats
) -> tuple[float, float]:
    """Return bounds of |X''| and |X'''| over the whole move; see `tool_point_chords`."""
    radius = 0.0
    bounds = [0.0, float(np.linalg.norm(other - one)), 0.0, 0.0]  # the first is not used
    for axis, angle, rate in reversed(list(zip(chain.axes, angles, rates, strict=True))):
        point, direction = np.asarray(axis.line.point_mm), np.asarray(axis.line.direction)
        if rate == 0.0:
            one, other = (
                point + turned(direction, axis.sense * angle, end - point) for end in (one, other)
            )
            continue
        feet = [point + ((end - point) @ direction) * direction for end in (one, other)]
        apart = [float(np.linalg.norm(u - v)) for u, v in zip((one, other), feet, strict=True)]
        radius += max(apart)
        one, other = feet
        w = abs(float(rate))
        powers = (1.0, w, w * w, w * w * w)  # ** would raise where a product overflows
        bounds[0] = radius
        bounds = [
            sum(math.comb(j, k) * powers[k] * bounds[j - k] for k in range(j + 1)) for j in range(4)
        ]
    return bounds[2], bounds[3]


def _second_derivatives(
    chain: WorkChain, angles: Floats, rates: Floats, tip: Floats, run: Floats, t: Floats
) -> Floats:
    """Return |X''| at the times t, shape of t; X as in `tool_point_chords`."""
    at = tip + t[:, None] * run
    first = np.broadcast_to(run, at.shape)
    second = np.zeros_like(at)
    for axis, angle, rate in reversed(list(zip(chain.axes, angles, rates, strict=True))):
        point, direction = np.asarray(axis.line.point_mm), np.asarray(axis.line.direction)
        turn = axis.sense * (angle + t * rate)
        spin = axis.sense * rate * direction
        arm, first, second = (turned(direction, turn, v) for v in (at - point, first, second))
        at = point + arm
        whirl = np.cross(spin, arm)
        second = np.cross(spin, whirl + 2.0 * first) + second
        first = whirl + first
    return np.asarray(np.linalg.norm(second, axis=-1))
