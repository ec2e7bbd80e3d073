"""Whether something stands wholly inside a closed surface, where every distance looks fine.

Winding number: the sum of the signed solid angles of all triangles over 4 pi is 1 inside and 0
outside (solid angle of a triangle: Van Oosterom and Strackee 1983, from memory).  While nothing
touches the surface it cannot change, so one pose of a motion that is proven otherwise is enough.
"""

from __future__ import annotations

from math import atan2, pi, sqrt
from typing import Final

import numba
import numpy as np

from gudgeon.clearance.poses import pose
from gudgeon.clearance.sweep import MAY

__all__ = ["PROBE", "inside"]

PROBE: Final = np.dtype(
    [
        ("pair", np.int32),
        ("mesh_in_a", np.int8),
        ("mesh", np.int32),
        ("body", np.int32),
        ("first", np.int32),
        ("end", np.int32),
        ("point", np.float64, (3,)),
        ("least", np.float64, (3,)),
        ("most", np.float64, (3,)),
    ],
    align=True,
)
"""One point of a connected part of `body` against the closed triangles first:end of body `mesh`,
which lie within the box least..most; both in body coordinates."""


@numba.njit
def _winding(pieces, points, first, end, x, y, z):  # type: ignore[no-untyped-def]
    total = 0.0
    for i in range(first, end):
        at = pieces[i].first
        ax, ay, az = points[at, 0] - x, points[at, 1] - y, points[at, 2] - z
        bx, by, bz = points[at + 1, 0] - x, points[at + 1, 1] - y, points[at + 1, 2] - z
        cx, cy, cz = points[at + 2, 0] - x, points[at + 2, 1] - y, points[at + 2, 2] - z
        a = sqrt(ax * ax + ay * ay + az * az)
        b = sqrt(bx * bx + by * by + bz * bz)
        c = sqrt(cx * cx + cy * cy + cz * cz)
        over = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        under = a * b * c + (ax * bx + ay * by + az * bz) * c
        under += (bx * cx + by * cy + bz * cz) * a + (cx * ax + cy * ay + cz * az) * b
        total += 2.0 * atan2(over, under)
    return total / (4.0 * pi)


@numba.njit
def inside(pieces, points, probes, lines, masks, q, allowed, at, R, T, Q):  # type: ignore[no-untyped-def]
    """Return the first probe that stands inside a closed surface at joint position q, or -1.

    `at` (3,) gets its place in the frame of A.
    """
    for i in range(len(probes)):
        probe = probes[i]
        if allowed[probe.mesh, probe.body] == MAY:
            continue
        p = probe.pair
        pose(lines[p], q[3], q[4], R, T, Q)
        x, y, z = probe.point[0], probe.point[1], probe.point[2]
        if probe.mesh_in_a:
            at[0] = R[0, 0] * x + R[0, 1] * y + R[0, 2] * z + T[0] - masks[p, 0] * q[0]
            at[1] = R[1, 0] * x + R[1, 1] * y + R[1, 2] * z + T[1] - masks[p, 1] * q[1]
            at[2] = R[2, 0] * x + R[2, 1] * y + R[2, 2] * z + T[2] - masks[p, 2] * q[2]
            x, y, z = at[0], at[1], at[2]
        else:
            at[0], at[1], at[2] = x, y, z
            x += masks[p, 0] * q[0] - T[0]
            y += masks[p, 1] * q[1] - T[1]
            z += masks[p, 2] * q[2] - T[2]
            x, y, z = (
                R[0, 0] * x + R[1, 0] * y + R[2, 0] * z,
                R[0, 1] * x + R[1, 1] * y + R[2, 1] * z,
                R[0, 2] * x + R[1, 2] * y + R[2, 2] * z,
            )
        if (
            x < probe.least[0] or y < probe.least[1] or z < probe.least[2]
            or x > probe.most[0] or y > probe.most[1] or z > probe.most[2]
        ):  # fmt: skip
            continue
        if abs(_winding(pieces, points, probe.first, probe.end, x, y, z)) > 0.5:
            return i
    return -1
