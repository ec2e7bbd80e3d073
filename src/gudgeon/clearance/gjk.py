"""Distance between two convex solids, with a lower bound that holds whatever the iteration does.

For any direction d of length 1, ``min over A of d.a - max over B of d.b`` is never more than the
distance of A and B: a plane square to d parts them by so much.  The iteration of Gilbert, Johnson
and Keerthi (1988, from memory) is used only to find a good d; `lower` always comes from the two
support values along the last d, less a bound of their rounding.  The simplex step is the usual
distance from the origin to a point, segment, triangle or tetrahedron.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numba
import numpy as np

__all__ = ["nearest"]

_POINT: Final = 1e-28
"""A segment of a square length below this is a point [mm^2]."""


@numba.njit
def _on_segment(s, w):  # type: ignore[no-untyped-def]
    """Weights of the point of segment s[0], s[1] nearest to the origin, into w."""
    dx, dy, dz = s[1, 0] - s[0, 0], s[1, 1] - s[0, 1], s[1, 2] - s[0, 2]
    length = dx * dx + dy * dy + dz * dz
    along = -(s[0, 0] * dx + s[0, 1] * dy + s[0, 2] * dz)
    if length <= _POINT or along <= 0.0:
        w[0], w[1] = 1.0, 0.0
    elif along >= length:
        w[0], w[1] = 0.0, 1.0
    else:
        w[1] = along / length
        w[0] = 1.0 - w[1]


@numba.njit
def _on_triangle(a, b, c, w):  # type: ignore[no-untyped-def]
    """Weights of the point of a triangle nearest to the origin (Voronoi regions), into w[:3]."""
    abx, aby, abz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    acx, acy, acz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    d1 = -(abx * a[0] + aby * a[1] + abz * a[2])
    d2 = -(acx * a[0] + acy * a[1] + acz * a[2])
    if d1 <= 0.0 and d2 <= 0.0:
        w[0], w[1], w[2] = 1.0, 0.0, 0.0
        return
    d3 = -(abx * b[0] + aby * b[1] + abz * b[2])
    d4 = -(acx * b[0] + acy * b[1] + acz * b[2])
    if d3 >= 0.0 and d4 <= d3:
        w[0], w[1], w[2] = 0.0, 1.0, 0.0
        return
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v = d1 / (d1 - d3) if d1 > d3 else 0.0
        w[0], w[1], w[2] = 1.0 - v, v, 0.0
        return
    d5 = -(abx * c[0] + aby * c[1] + abz * c[2])
    d6 = -(acx * c[0] + acy * c[1] + acz * c[2])
    if d6 >= 0.0 and d5 <= d6:
        w[0], w[1], w[2] = 0.0, 0.0, 1.0
        return
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        v = d2 / (d2 - d6) if d2 > d6 else 0.0
        w[0], w[1], w[2] = 1.0 - v, 0.0, v
        return
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 >= d3 and d5 >= d6:
        e = (d4 - d3) + (d5 - d6)
        v = (d4 - d3) / e if e > 0.0 else 0.0
        w[0], w[1], w[2] = 0.0, 1.0 - v, v
        return
    e = va + vb + vc
    if e <= 0.0:
        w[0], w[1], w[2] = 1.0, 0.0, 0.0
        return
    w[1], w[2] = vb / e, vc / e
    w[0] = 1.0 - w[1] - w[2]


@numba.njit
def _volume(a, b, c):  # type: ignore[no-untyped-def]
    return (
        a[0] * (b[1] * c[2] - b[2] * c[1])
        + a[1] * (b[2] * c[0] - b[0] * c[2])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
    )


@numba.njit
def _weights(s, w):  # type: ignore[no-untyped-def]
    """Weights of the origin in a tetrahedron that holds it."""
    w[0], w[1] = _volume(s[1], s[2], s[3]), -_volume(s[0], s[2], s[3])
    w[2], w[3] = _volume(s[0], s[1], s[3]), -_volume(s[0], s[1], s[2])
    total = w[0] + w[1] + w[2] + w[3]
    for i in range(4):
        w[i] = max(w[i] / total, 0.0) if total != 0.0 else 0.25


@numba.njit
def nearest(s, n, w, keep, t):  # type: ignore[no-untyped-def]
    """Find the point of a simplex nearest to the origin.

    Parameters
    ----------
    s : ndarray, shape (4, 3)
        Vertices; those with weight are packed to the front.
    n : int
        How many are in use.
    w : ndarray, shape (4,)
        Weights, out.
    keep : ndarray of int, shape (4,)
        Old places of the packed vertices, out.
    t : ndarray, shape (3,)
        Scratch.

    Returns
    -------
    whether the origin lies in the simplex, number of vertices with weight
    """
    for i in range(4):
        w[i] = 0.0
    if n == 1:
        w[0] = 1.0
    elif n == 2:
        _on_segment(s, w)
    elif n == 3:
        _on_triangle(s[0], s[1], s[2], w)
    else:
        best = np.inf
        inside = True
        any_face = False
        for face in range(4):
            i, j, k = (face + 1) % 4, (face + 2) % 4, (face + 3) % 4
            abx, aby, abz = s[j, 0] - s[i, 0], s[j, 1] - s[i, 1], s[j, 2] - s[i, 2]
            acx, acy, acz = s[k, 0] - s[i, 0], s[k, 1] - s[i, 1], s[k, 2] - s[i, 2]
            nx, ny, nz = aby * acz - abz * acy, abz * acx - abx * acz, abx * acy - aby * acx
            there = (
                nx * (s[face, 0] - s[i, 0])
                + ny * (s[face, 1] - s[i, 1])
                + nz * (s[face, 2] - s[i, 2])
            )
            here = -(nx * s[i, 0] + ny * s[i, 1] + nz * s[i, 2])
            # A flat tetrahedron tells no side: every face is then looked at.
            size = sqrt(nx * nx + ny * ny + nz * nz)
            flat = abs(there) <= 1e-12 * size * (
                abs(s[face, 0]) + abs(s[face, 1]) + abs(s[face, 2]) + 1e-300
            )
            if flat or here * there <= 0.0:
                if flat or here * there < 0.0:
                    inside = False
                any_face = True
                _on_triangle(s[i], s[j], s[k], t)
                px = t[0] * s[i, 0] + t[1] * s[j, 0] + t[2] * s[k, 0]
                py = t[0] * s[i, 1] + t[1] * s[j, 1] + t[2] * s[k, 1]
                pz = t[0] * s[i, 2] + t[1] * s[j, 2] + t[2] * s[k, 2]
                far = px * px + py * py + pz * pz
                if far < best:
                    best = far
                    w[0] = w[1] = w[2] = w[3] = 0.0
                    w[i], w[j], w[k] = t[0], t[1], t[2]
        if inside or not any_face:
            _weights(s, w)
            for i in range(4):
                keep[i] = i
            return True, 4
    count = 0
    for i in range(n):
        if w[i] > 0.0:
            keep[count] = i
            if count != i:
                s[count] = s[i]
                w[count] = w[i]
            count += 1
    for i in range(count, 4):
        w[i] = 0.0
    return False, count
