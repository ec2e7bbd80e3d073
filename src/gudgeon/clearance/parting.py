"""The shortest way that parts two convex pieces, searched in a compiled loop."""

from __future__ import annotations

from math import cos, pi, sin, sqrt
from typing import Any, Final

import numba
import numpy as np

from gudgeon.clearance.compiled import compiled

__all__ = ["least_parting"]

_STARTS: Final = 8
_AROUND: Final = 8
_ROUNDS: Final = 300
_FINEST: Final = 1e-7


@numba.njit
def _reach(points, axis, radii, x, y, z):  # type: ignore[no-untyped-def]
    """Return how far a piece reaches along a unit direction, without rounding radii."""
    cx, cy, cz = y * axis[2] - z * axis[1], z * axis[0] - x * axis[2], x * axis[1] - y * axis[0]
    square = sqrt(cx * cx + cy * cy + cz * cz)
    best = -np.inf
    for i in range(len(points)):
        along = points[i, 0] * x + points[i, 1] * y + points[i, 2] * z + square * radii[i]
        best = max(best, along)
    return best


def _least_parting(pa, axis_a, radii_a, pb, axis_b, radii_b, rounding, ways):  # type: ignore[no-untyped-def]
    """Return the least sum of supports of A along d and B along -d; 0 where they are apart.

    Parameters
    ----------
    pa, axis_a, radii_a, pb, axis_b, radii_b : ndarray
        Points (n, 3); of a cone its unit axis and the radii about its two points, else noughts.
    rounding : float
        Sum of the rounding radii of both [mm].
    ways : ndarray, shape (m, 3)
        Unit directions to start from, either way.
    """
    count = 2 * len(ways)
    values = np.empty(count)
    for k in range(count):
        s = 1.0 if k % 2 == 0 else -1.0
        x, y, z = s * ways[k // 2, 0], s * ways[k // 2, 1], s * ways[k // 2, 2]
        values[k] = _reach(pa, axis_a, radii_a, x, y, z) + rounding
        values[k] += _reach(pb, axis_b, radii_b, -x, -y, -z)
    best = np.inf
    for _start in range(min(_STARTS, count)):
        k = int(np.argmin(values))
        value, s = values[k], 1.0 if k % 2 == 0 else -1.0
        values[k] = np.inf
        x, y, z = s * ways[k // 2, 0], s * ways[k // 2, 1], s * ways[k // 2, 2]
        step = 0.2
        for _round in range(_ROUNDS):
            if value <= 0.0:
                return 0.0
            if step < _FINEST:
                break
            # Two directions square to d.
            if abs(x) < 0.6:
                ux, uy, uz = 0.0, z, -y
            else:
                ux, uy, uz = -z, 0.0, x
            size = sqrt(ux * ux + uy * uy + uz * uz)
            ux, uy, uz = ux / size, uy / size, uz / size
            wx, wy, wz = y * uz - z * uy, z * ux - x * uz, x * uy - y * ux
            least, nx, ny, nz = value, x, y, z
            for turn in range(_AROUND):
                a = step * cos(2.0 * pi * turn / _AROUND)
                b = step * sin(2.0 * pi * turn / _AROUND)
                tx, ty, tz = x + a * ux + b * wx, y + a * uy + b * wy, z + a * uz + b * wz
                size = sqrt(tx * tx + ty * ty + tz * tz)
                tx, ty, tz = tx / size, ty / size, tz / size
                there = _reach(pa, axis_a, radii_a, tx, ty, tz) + rounding
                there += _reach(pb, axis_b, radii_b, -tx, -ty, -tz)
                if there < least:
                    least, nx, ny, nz = there, tx, ty, tz
            if least < value:
                value, x, y, z = least, nx, ny, nz
                step *= 1.3
            else:
                step *= 0.4
        best = min(best, value)
    return max(best, 0.0)


least_parting: Any = compiled(_least_parting)
