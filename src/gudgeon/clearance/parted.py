"""How far two convex pieces are parted, one of them in several poses at once.

`low` is certified: it is the distance of two parallel planes that part the pieces, less a bound of
what rounding can do (`slop_mm`).  `up` is the distance of two real points.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numba
import numpy as np

from gudgeon.clearance.gjk import nearest
from gudgeon.clearance.poses import moved, support

__all__ = ["parted", "work_arrays"]

_ITERATIONS: Final = 60


def work_arrays() -> tuple[np.ndarray, ...]:
    """Return the arrays that one proof works in: simplex, supports, slides, weights, places."""
    # S, SA, SB, SH, lam, w, keep, oa, ob, oh, tmp, t
    return (
        np.zeros((4, 3)), np.zeros((4, 3)), np.zeros((4, 3)), np.zeros((4, 3)), np.zeros(4),
        np.zeros(4), np.zeros(4, np.int64), np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3),
        np.zeros(3),
    )  # fmt: skip


@numba.njit
def _support_b(node, pieces, points, R, T, dx, dy, dz, local, out):  # type: ignore[no-untyped-def]
    bx = R[0, 0] * dx + R[1, 0] * dy + R[2, 0] * dz
    by = R[0, 1] * dx + R[1, 1] * dy + R[2, 1] * dz
    bz = R[0, 2] * dx + R[1, 2] * dy + R[2, 2] * dz
    if node.piece >= 0:
        support(pieces[node.piece], points, bx, by, bz, local)
    else:
        local[0] = node.centre[0] + (node.half[0] if bx > 0.0 else -node.half[0])
        local[1] = node.centre[1] + (node.half[1] if by > 0.0 else -node.half[1])
        local[2] = node.centre[2] + (node.half[2] if bz > 0.0 else -node.half[2])
    moved(R, T, local, out)


@numba.njit
def parted(pieces, points, na, nb, h, vx, vy, vz, R, T, count, limit, futile, slop, work):  # type: ignore[no-untyped-def]
    """Part A, at rest and grown by the box +-h, from the hull of B in several poses.

    Parameters
    ----------
    na, nb : records of NODE
        The piece of a node that has one, without its rounding; else the node's box.
    vx, vy, vz : float
        About from B to A: where to look first.
    R, T : ndarray, shapes (n, 3, 3) and (n, 3)
        Poses of B, the first `count` of them.
    count : int
    limit : float
        Stop as soon as `low` is more.
    futile : bool
        Stop also as soon as `up` shows that it never will be.
    slop : float
        Bound of the rounding of a difference of support values [mm].
    work : tuple of ndarray
        `work_arrays`; keeps the simplex of the nearest points.

    Returns
    -------
    low, up, share : float
        Bounds of the distance without rounding radii (low: minus infinity where they meet), and
        the mean number of the pose, weighted as the point of B is: of two the share of the second.
    """
    S, SA, SB, SH, lam, w, keep, oa, ob, oh, tmp, t = work
    if not vx * vx + vy * vy + vz * vz > 1e-20:
        vx, vy, vz = 1.0, 0.0, 0.0
    n = 0
    low, up, share = -np.inf, np.inf, 0.0
    for turn in range(_ITERATIONS):
        size = sqrt(vx * vx + vy * vy + vz * vz)
        dx, dy, dz = vx / size, vy / size, vz / size
        if na.piece >= 0:
            support(pieces[na.piece], points, -dx, -dy, -dz, oa)
        else:
            oa[0] = na.centre[0] - (na.half[0] if dx > 0.0 else -na.half[0])
            oa[1] = na.centre[1] - (na.half[1] if dy > 0.0 else -na.half[1])
            oa[2] = na.centre[2] - (na.half[2] if dz > 0.0 else -na.half[2])
        oh[0] = -h[0] if dx > 0.0 else h[0]
        oh[1] = -h[1] if dy > 0.0 else h[1]
        oh[2] = -h[2] if dz > 0.0 else h[2]
        oa[0] += oh[0]
        oa[1] += oh[1]
        oa[2] += oh[2]
        time = 0.0
        _support_b(nb, pieces, points, R[0], T[0], dx, dy, dz, tmp, ob)
        along = ob[0] * dx + ob[1] * dy + ob[2] * dz
        for m in range(1, count):
            x, y, z = ob[0], ob[1], ob[2]
            _support_b(nb, pieces, points, R[m], T[m], dx, dy, dz, tmp, ob)
            other = ob[0] * dx + ob[1] * dy + ob[2] * dz
            if other > along:
                along, time = other, float(m)
            else:
                ob[0], ob[1], ob[2] = x, y, z
        bound = oa[0] * dx + oa[1] * dy + oa[2] * dz - along - slop
        if bound > low:
            low = bound
            if low > limit:
                return low, up, share
        if turn > 0 and (size - bound - slop <= 1e-9 or size - bound <= 1e-12 * size):
            break
        # A vertex that is there already brings nothing new.
        wx, wy, wz = oa[0] - ob[0], oa[1] - ob[1], oa[2] - ob[2]
        known = False
        for i in range(n):
            if S[i, 0] == wx and S[i, 1] == wy and S[i, 2] == wz:
                known = True
        if known:
            break
        S[n, 0], S[n, 1], S[n, 2] = wx, wy, wz
        for k in range(3):
            SA[n, k] = oa[k]
            SB[n, k] = ob[k]
            SH[n, k] = oh[k]
        lam[n] = time
        n += 1
        inside, n = nearest(S, n, w, keep, t)
        vx = vy = vz = share = 0.0
        for i in range(n):
            k = keep[i]
            if k != i:
                for m in range(3):
                    SA[i, m] = SA[k, m]
                    SB[i, m] = SB[k, m]
                    SH[i, m] = SH[k, m]
                lam[i] = lam[k]
            vx += w[i] * S[i, 0]
            vy += w[i] * S[i, 1]
            vz += w[i] * S[i, 2]
            share += w[i] * lam[i]
        up = sqrt(vx * vx + vy * vy + vz * vz)
        if inside or up <= 1e-13 or up <= slop:
            return -np.inf, 0.0, share
        if futile and up <= limit:
            return low, up, share
    return low, up, share
