"""How near and how far a turning point comes to a fixed one, over all angles within limits.

Used for hoses and cables: their connector turns with the unit, their anchor stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.kinematics.chain import WorkChain

__all__ = ["Span", "reaches", "span"]

Floats = NDArray[np.float64]

MOST_CELLS: Final = 400_000


@dataclass(frozen=True, slots=True)
class Span:
    """Bounds of the distance between two points, and where it comes near them.

    Attributes
    ----------
    least_mm, most_mm : float
        The distance is nowhere less and nowhere more.
    least_at, most_at : tuple of floats
        Angles at which it is within the tolerance of that [rad].
    """

    least_mm: float
    most_mm: float
    least_at: tuple[float, ...]
    most_at: tuple[float, ...]


def span(
    chain: WorkChain,
    point_mm: ArrayLike,
    fixed_mm: ArrayLike,
    low_rad: ArrayLike,
    high_rad: ArrayLike,
    tol_mm: float = 0.05,
    counts: ArrayLike = (True, True, True),
) -> Span:
    """Return bounds of the distance of a point carried by a chain from a fixed point.

    Parameters
    ----------
    chain : WorkChain
        Turning axes that carry the point, the carrying one first.
    point_mm : array_like, shape (3,)
        The point in T, all angles zero.
    fixed_mm : array_like, shape (3,)
        The other, in T.
    low_rad, high_rad : array_like, shape (number of axes,)
        Limits of the programmed angles.
    tol_mm : float
        The bounds are within this of true distances, unless too many cells are needed; they hold
        in any case.
    counts : array_like of 3 bools
        Directions that count.

    Notes
    -----
    Branch and bound: over a cell of angles the point stays within the sum of radius times half
    width of each axis about its place in the middle, and the distance changes by no more.  The
    radius about a carrying axis counts the greatest distance that the carried one gives it.
    """
    mask = np.asarray(counts, dtype=np.float64)
    fixed = np.asarray(fixed_mm, dtype=np.float64)
    if not chain.axes:
        apart = float(np.linalg.norm((np.asarray(point_mm, dtype=np.float64) - fixed) * mask))
        return Span(apart, apart, (), ())
    radii = reaches(chain, point_mm)

    def distances(angles: Floats) -> Floats:
        places = chain.points(angles, point_mm)
        return np.asarray(np.linalg.norm((places - fixed) * mask, axis=-1))

    found = []
    for sign in (-1.0, 1.0):
        lows = np.atleast_2d(np.asarray(low_rad, dtype=np.float64))
        highs = np.atleast_2d(np.asarray(high_rad, dtype=np.float64))
        best, at, bound = -inf, lows[0], inf
        settled = -inf
        while len(lows):
            middles, halves = 0.5 * (lows + highs), 0.5 * (highs - lows)
            values = sign * distances(middles)
            k = int(np.argmax(values))
            if values[k] > best:
                best, at = float(values[k]), middles[k]
            uppers = values + halves @ radii
            open_ = uppers > best + tol_mm
            if np.any(~open_):
                settled = max(settled, float(np.max(uppers[~open_])))
            lows, highs, halves, uppers = lows[open_], highs[open_], halves[open_], uppers[open_]
            if len(lows) > MOST_CELLS:
                settled = max(settled, float(np.max(uppers)))
                break
            if not len(lows):
                break
            widest = np.argmax(halves * radii, axis=1)
            rows = np.arange(len(lows))
            cut = 0.5 * (lows + highs)[rows, widest]
            left_high, right_low = highs.copy(), lows.copy()
            left_high[rows, widest] = cut
            right_low[rows, widest] = cut
            lows, highs = np.concatenate([lows, right_low]), np.concatenate([left_high, highs])
        bound = max(settled, best) if settled > -inf else best
        found.append((bound, at))
    (least, least_at), (most, most_at) = found
    return Span(
        max(-least, 0.0),
        most,
        tuple(float(angle) for angle in least_at),
        tuple(float(angle) for angle in most_at),
    )


def reaches(chain: WorkChain, point_mm: ArrayLike) -> Floats:
    """Return the greatest distance of the point from each line, whatever the axes behind it do."""
    point = np.asarray(point_mm, dtype=np.float64)
    radii = np.zeros(len(chain.axes))
    wander = 0.0
    for k in reversed(range(len(chain.axes))):
        line = chain.axes[k].line
        arm = point - np.asarray(line.point_mm)
        radii[k] = float(np.linalg.norm(np.cross(line.direction, arm))) + wander
        wander += 2.0 * radii[k]
    return radii
