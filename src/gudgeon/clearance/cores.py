"""The core of a cutter: what of it must stay out of the finished part.

A cutter that makes a surface touches it, so that nothing can be asked of the gap between the two.
Its core, smaller all round by `depth_mm`, must not touch the part at all; then nowhere does the
cutter go deeper than that square to its own side, and no edge of it by more than 1.5 times as much.
"""

from __future__ import annotations

from math import hypot

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.pieces import CONE, Solid, cone, hull

__all__ = ["core"]

Floats = NDArray[np.float64]


def core(solids: tuple[Solid, ...], depth_mm: float) -> tuple[Solid, ...]:
    """Return what is left of convex solids when `depth_mm` is taken off all round."""
    found: list[Solid] = []
    for pieces, points in solids:
        for piece in pieces:
            own = points[piece["first"] : piece["first"] + piece["count"]]
            left = min(depth_mm, float(piece["round"]))
            rounding, depth = float(piece["round"]) - left, depth_mm - left
            if piece["kind"] == CONE:
                found += _frustum(piece, own, depth, rounding)
            else:
                found += _hull(own, depth, rounding)
    return tuple(found)


def _frustum(piece: np.void, ends: Floats, depth: float, rounding: float) -> list[Solid]:
    """Shift the side and both ends of a frustum inward; nothing if nothing is left."""
    if depth <= 0.0:
        whole = cone(ends[0], ends[1], float(piece["r0"]), float(piece["r1"]), rounding=rounding)
        return [whole]
    length = float(np.linalg.norm(ends[1] - ends[0]))
    if length <= 2.0 * depth:
        return []
    r0, slope = float(piece["r0"]), (float(piece["r1"]) - float(piece["r0"])) / length
    side = r0 - depth * hypot(1.0, slope)
    low, high = depth, length - depth
    if slope > 0.0:
        low = max(low, -side / slope)
    elif slope < 0.0:
        high = min(high, -side / slope)
    if high <= low or side + slope * 0.5 * (low + high) < 0.0:
        return []
    along = (ends[1] - ends[0]) / length
    r0, r1 = (max(side + slope * at, 0.0) for at in (low, high))
    return [cone(ends[0] + low * along, ends[0] + high * along, r0, r1, rounding=rounding)]


def _hull(points: Floats, depth: float, rounding: float) -> list[Solid]:
    """Draw a hull together about its middle, by `depth` at its nearest face."""
    if depth <= 0.0:
        return [hull(points, rounding=rounding)]
    from scipy.spatial import ConvexHull, QhullError

    middle = points.mean(axis=0)
    try:
        faces = ConvexHull(points).equations
    except (QhullError, ValueError):
        return []  # flat: it has no inside
    nearest = float(-(faces[:, :3] @ middle + faces[:, 3]).max())
    if nearest <= depth:
        return []
    return [hull(middle + (points - middle) * (1.0 - depth / nearest), rounding=rounding)]
