"""Where the turning side stands, and how far its points reach: compiled pieces of the loops."""

from __future__ import annotations

from math import sin, sqrt

import numba
import numpy as np

from gudgeon.clearance.pieces import CONE

__all__ = ["from_box", "from_line", "moved", "pose", "support", "turned_back"]


@numba.njit
def pose(lines, a, c, R, T, Q):  # type: ignore[no-untyped-def]
    """Set R, T of the work at tilt a and rotary c; lines: point, direction, sense of both, (2, 7).

    Q (3, 3) is scratch.  With the tilt line's turn A and the rotary line's C, a point goes to
    A(C(p)): the tilt carries the rotary.
    """
    _turn(lines[1], c, R)
    x, y, z = lines[1, 0], lines[1, 1], lines[1, 2]
    T[0] = x - (R[0, 0] * x + R[0, 1] * y + R[0, 2] * z)
    T[1] = y - (R[1, 0] * x + R[1, 1] * y + R[1, 2] * z)
    T[2] = z - (R[2, 0] * x + R[2, 1] * y + R[2, 2] * z)
    if lines[0, 6] != 0.0:
        _turn(lines[0], a, Q)
        x, y, z = T[0] - lines[0, 0], T[1] - lines[0, 1], T[2] - lines[0, 2]
        for i in range(3):
            T[i] = lines[0, i] + Q[i, 0] * x + Q[i, 1] * y + Q[i, 2] * z
        for j in range(3):
            x, y, z = R[0, j], R[1, j], R[2, j]
            for i in range(3):
                R[i, j] = Q[i, 0] * x + Q[i, 1] * y + Q[i, 2] * z


@numba.njit
def _turn(line, angle, R):  # type: ignore[no-untyped-def]
    """Set R to the turn about a line's direction (Rodrigues; 1 - cos by the half angle)."""
    x, y, z, sense = line[3], line[4], line[5], line[6]
    s, h = sin(sense * angle), sin(0.5 * sense * angle)
    v = 2.0 * h * h
    R[0, 0], R[0, 1], R[0, 2] = 1.0 - v * (y * y + z * z), v * x * y - s * z, v * x * z + s * y
    R[1, 0], R[1, 1], R[1, 2] = v * x * y + s * z, 1.0 - v * (x * x + z * z), v * y * z - s * x
    R[2, 0], R[2, 1], R[2, 2] = v * x * z - s * y, v * y * z + s * x, 1.0 - v * (x * x + y * y)


@numba.njit
def moved(R, T, p, out):  # type: ignore[no-untyped-def]
    """Set out to R p + T."""
    out[0] = R[0, 0] * p[0] + R[0, 1] * p[1] + R[0, 2] * p[2] + T[0]
    out[1] = R[1, 0] * p[0] + R[1, 1] * p[1] + R[1, 2] * p[2] + T[1]
    out[2] = R[2, 0] * p[0] + R[2, 1] * p[1] + R[2, 2] * p[2] + T[2]


@numba.njit
def turned_back(R, T, B, S):  # type: ignore[no-untyped-def]
    """Set B, S to the pose that undoes R, T."""
    for i in range(3):
        for j in range(3):
            B[i, j] = R[j, i]
        S[i] = -(R[0, i] * T[0] + R[1, i] * T[1] + R[2, i] * T[2])


@numba.njit
def from_line(line, x, y, z):  # type: ignore[no-untyped-def]
    """Return the distance of a point from a line."""
    ax, ay, az = x - line[0], y - line[1], z - line[2]
    cx, cy = ay * line[5] - az * line[4], az * line[3] - ax * line[5]
    cz = ax * line[4] - ay * line[3]
    return sqrt(cx * cx + cy * cy + cz * cz)


@numba.njit
def from_box(centre, half, x, y, z):  # type: ignore[no-untyped-def]
    """Return the distance of a point from a box about a centre."""
    gx = max(abs(x - centre[0]) - half[0], 0.0)
    gy = max(abs(y - centre[1]) - half[1], 0.0)
    gz = max(abs(z - centre[2]) - half[2], 0.0)
    return sqrt(gx * gx + gy * gy + gz * gz)


@numba.njit
def support(piece, points, dx, dy, dz, out):  # type: ignore[no-untyped-def]
    """Set out to the farthest point of a piece along d, its own frame, without the rounding."""
    first = piece.first
    if piece.kind == CONE:
        ux, uy, uz = piece.axis[0], piece.axis[1], piece.axis[2]
        # Part square to the axis through cross products: it keeps its digits where d runs along.
        cx, cy, cz = dy * uz - dz * uy, dz * ux - dx * uz, dx * uy - dy * ux
        square = sqrt(cx * cx + cy * cy + cz * cz)
        p, q = points[first], points[first + 1]
        low = p[0] * dx + p[1] * dy + p[2] * dz + piece.r0 * square
        high = q[0] * dx + q[1] * dy + q[2] * dz + piece.r1 * square
        radius, at = piece.r0, p
        if high > low:
            radius, at = piece.r1, q
        out[0], out[1], out[2] = at[0], at[1], at[2]
        if square > 0.0:
            scale = radius / square
            out[0] += scale * (uy * cz - uz * cy)
            out[1] += scale * (uz * cx - ux * cz)
            out[2] += scale * (ux * cy - uy * cx)
        return
    best, value = first, -np.inf
    for i in range(first, first + piece.count):
        along = points[i, 0] * dx + points[i, 1] * dy + points[i, 2] * dz
        if along > value:
            best, value = i, along
    out[0], out[1], out[2] = points[best, 0], points[best, 1], points[best, 2]
