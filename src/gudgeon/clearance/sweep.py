"""Certified gap between two sets of convex pieces over one motion."""
from __future__ import annotations

from math import cos, sin, sqrt
import numpy as np
from numba import njit

from gudgeon.clearance.gjk import nearest
from gudgeon.clearance.pieces import support

ITERATIONS = 60
DONE, CLOSER, BUDGET = 0, 1, 2


@njit(cache=True)
def pose(lines, a, c, R, T):
    """R, T of the work at joint angles; lines: [point, direction, sense] of tilt and rotary, (2, 7)."""
    _turn(lines[1], c, R)
    x, y, z = lines[1, 0], lines[1, 1], lines[1, 2]
    T[0] = x - (R[0, 0] * x + R[0, 1] * y + R[0, 2] * z)
    T[1] = y - (R[1, 0] * x + R[1, 1] * y + R[1, 2] * z)
    T[2] = z - (R[2, 0] * x + R[2, 1] * y + R[2, 2] * z)
    if lines[0, 6] != 0.0:
        Q = np.empty((3, 3))
        _turn(lines[0], a, Q)
        P = Q @ R
        x, y, z = T[0] - lines[0, 0], T[1] - lines[0, 1], T[2] - lines[0, 2]
        for i in range(3):
            T[i] = lines[0, i] + Q[i, 0] * x + Q[i, 1] * y + Q[i, 2] * z
            for j in range(3):
                R[i, j] = P[i, j]


@njit(cache=True)
def _turn(line, angle, R):
    x, y, z, sense = line[3], line[4], line[5], line[6]
    s, h = sin(sense * angle), sin(0.5 * sense * angle)
    v = 2.0 * h * h
    R[0, 0], R[0, 1], R[0, 2] = 1.0 - v * (y * y + z * z), v * x * y - s * z, v * x * z + s * y
    R[1, 0], R[1, 1], R[1, 2] = v * x * y + s * z, 1.0 - v * (x * x + z * z), v * y * z - s * x
    R[2, 0], R[2, 1], R[2, 2] = v * x * z - s * y, v * y * z + s * x, 1.0 - v * (x * x + y * y)


@njit(cache=True)
def _moved(R, T, p, out):
    out[0] = R[0, 0] * p[0] + R[0, 1] * p[1] + R[0, 2] * p[2] + T[0]
    out[1] = R[1, 0] * p[0] + R[1, 1] * p[1] + R[1, 2] * p[2] + T[1]
    out[2] = R[2, 0] * p[0] + R[2, 1] * p[1] + R[2, 2] * p[2] + T[2]


@njit(cache=True)
def _support_b(pieces, points, ib, R, T, dx, dy, dz, local, out):
    bx = R[0, 0] * dx + R[1, 0] * dy + R[2, 0] * dz
    by = R[0, 1] * dx + R[1, 1] * dy + R[2, 1] * dz
    bz = R[0, 2] * dx + R[1, 2] * dy + R[2, 2] * dz
    support(pieces[ib], points, bx, by, bz, local)
    _moved(R, T, local, out)


@njit(cache=True)
def gjk(
    ap, apts, ia, ca, h, bp, bpts, ib, p0, p1, R0, T0, R1, T1, both, limit, slop,
    S, SA, SB, lam, w, keep, oa, ob, tmp,
):
    """(lower, upper, share): lower bound of the distance of the cores, an upper bound, the time share.

    ia < 0: the point ca stands for A; ib < 0: the points p0, p1 stand for B.
    Rounding radii are the caller's.  Stops as soon as lower > limit.
    """
    # Start: middle against middle.
    if ia >= 0:
        first = ap[ia].first
        vx, vy, vz = apts[first, 0], apts[first, 1], apts[first, 2]
    else:
        vx, vy, vz = ca[0], ca[1], ca[2]
    vx, vy, vz = vx - 0.5 * (p0[0] + p1[0]), vy - 0.5 * (p0[1] + p1[1]), vz - 0.5 * (p0[2] + p1[2])
    if vx * vx + vy * vy + vz * vz < 1e-20:
        vx = 1.0
    n = 0
    lower, upper, share = -np.inf, np.inf, 0.0
    for turn in range(ITERATIONS):
        size = sqrt(vx * vx + vy * vy + vz * vz)
        dx, dy, dz = vx / size, vy / size, vz / size
        if ia >= 0:
            support(ap[ia], apts, -dx, -dy, -dz, oa)
        else:
            oa[0], oa[1], oa[2] = ca[0], ca[1], ca[2]
        oa[0] -= h[0] if dx > 0.0 else -h[0]
        oa[1] -= h[1] if dy > 0.0 else -h[1]
        oa[2] -= h[2] if dz > 0.0 else -h[2]
        time = 0.0
        if ib >= 0:
            _support_b(bp, bpts, ib, R0, T0, dx, dy, dz, tmp, ob)
        else:
            ob[0], ob[1], ob[2] = p0[0], p0[1], p0[2]
        along = ob[0] * dx + ob[1] * dy + ob[2] * dz
        if both:
            x, y, z = ob[0], ob[1], ob[2]
            if ib >= 0:
                _support_b(bp, bpts, ib, R1, T1, dx, dy, dz, tmp, ob)
            else:
                ob[0], ob[1], ob[2] = p1[0], p1[1], p1[2]
            other = ob[0] * dx + ob[1] * dy + ob[2] * dz
            if other > along:
                along, time = other, 1.0
            else:
                ob[0], ob[1], ob[2] = x, y, z
        bound = oa[0] * dx + oa[1] * dy + oa[2] * dz - along - slop
        if bound > lower:
            lower = bound
            if lower > limit:
                return lower, upper, share
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
        lam[n] = time
        n += 1
        inside, n = nearest(S, n, w, keep)
        if inside:
            return -np.inf, 0.0, w[0] * lam[0] + w[1] * lam[1] + w[2] * lam[2] + w[3] * lam[3]
        vx = vy = vz = share = 0.0
        for i in range(n):
            k = keep[i]
            if k != i:
                for m in range(3):
                    SA[i, m] = SA[k, m]
                    SB[i, m] = SB[k, m]
                lam[i] = lam[k]
            vx += w[i] * S[i, 0]
            vy += w[i] * S[i, 1]
            vz += w[i] * S[i, 2]
            share += w[i] * lam[i]
        upper = sqrt(vx * vx + vy * vy + vz * vz)
        if upper <= 1e-13 or upper <= slop:
            return -np.inf, 0.0, share
    return lower, upper, share


@njit(cache=True)
def _from_line(line, x, y, z):
    ax, ay, az = x - line[0], y - line[1], z - line[2]
    cx, cy, cz = ay * line[5] - az * line[4], az * line[3] - ax * line[5], ax * line[4] - ay * line[3]
    return sqrt(cx * cx + cy * cy + cz * cz)


@njit(cache=True)
def gap(
    ap, apts, anodes, bp, bpts, bnodes, lines, mask, q0, q1, h, allowed, cap, tol, enough, budget, out,
):
    """Gap over one motion from joint position q0 to q1 (straight in joint space), A grown by the box h.

    out: (20,) lower, upper, time, pieceA, pieceB, pops, points a(3) b(3).
    Returns status.  Pairs of bodies with allowed[bodyA, bodyB] true may touch.
    """
    STACK = 4096
    sa = np.empty(STACK, np.int32)
    sb = np.empty(STACK, np.int32)
    st = np.empty((STACK, 2))
    S, SA, SB = np.empty((4, 3)), np.empty((4, 3)), np.empty((4, 3))
    lam, w, keep = np.zeros(4), np.zeros(4), np.zeros(4, np.int64)
    oa, ob, tmp = np.zeros(3), np.zeros(3), np.zeros(3)
    R0, R1, T0, T1 = np.empty((3, 3)), np.empty((3, 3)), np.zeros(3), np.zeros(3)
    Rm, Tm = np.empty((3, 3)), np.zeros(3)
    p0, p1, pm = np.zeros(3), np.zeros(3), np.zeros(3)
    none = np.zeros(3)
    turns = (lines[0, 6] != 0.0 and q0[3] != q1[3]) or (lines[1, 6] != 0.0 and q0[4] != q1[4])
    slides = False
    for k in range(3):
        if mask[k] != 0.0 and q0[k] != q1[k]:
            slides = True
    moves = turns or slides
    boxed = h[0] != 0.0 or h[1] != 0.0 or h[2] != 0.0
    big = 0.0
    for k in range(3):
        big = max(big, abs(q0[k]), abs(q1[k]), abs(lines[0, k]), abs(lines[1, k]))
    best = np.inf
    floor = np.inf
    pops = 0
    top = 0
    sa[0], sb[0], st[0, 0], st[0, 1] = 0, 0, 0.0, 1.0
    now0, now1 = -1.0, -1.0
    pose(lines, q0[3], q0[4], R0, T0)
    if not turns:
        for i in range(3):
            for j in range(3):
                R1[i, j] = R0[i, j]
    W0 = T0.copy()
    while top >= 0:
        a, b, t0, t1 = sa[top], sb[top], st[top, 0], st[top, 1]
        top -= 1
        pops += 1
        limit = min(best - tol, cap)
        if pops > budget or top > STACK - 8:
            out[0], out[1], out[5] = -np.inf, best, pops
            return BUDGET
        if t0 != now0 or t1 != now1:
            if turns:
                pose(lines, q0[3] + t0 * (q1[3] - q0[3]), q0[4] + t0 * (q1[4] - q0[4]), R0, T0)
                pose(lines, q0[3] + t1 * (q1[3] - q0[3]), q0[4] + t1 * (q1[4] - q0[4]), R1, T1)
            else:
                for k in range(3):
                    T0[k] = W0[k]
                    T1[k] = W0[k]
            for k in range(3):
                T0[k] -= mask[k] * (q0[k] + t0 * (q1[k] - q0[k]))
                T1[k] -= mask[k] * (q0[k] + t1 * (q1[k] - q0[k]))
            now0, now1 = t0, t1
        na, nb = anodes[a], bnodes[b]
        _moved(R0, T0, nb.centre, p0)
        if moves:
            _moved(R1, T1, nb.centre, p1)
        else:
            p1[0], p1[1], p1[2] = p0[0], p0[1], p0[2]
        half = 0.5 * sqrt((p1[0] - p0[0]) ** 2 + (p1[1] - p0[1]) ** 2 + (p1[2] - p0[2]) ** 2)
        sigma = 0.0  # how far a point of the node leaves the chord of its own path
        bend = 0.0  # of the node's centre
        if turns:
            da = abs(q1[3] - q0[3]) * (t1 - t0) if lines[0, 6] != 0.0 else 0.0
            dc = abs(q1[4] - q0[4]) * (t1 - t0) if lines[1, 6] != 0.0 else 0.0
            rr = _from_line(lines[1], nb.centre[0], nb.centre[1], nb.centre[2]) if dc != 0.0 else 0.0
            rt = 0.0
            if da != 0.0:
                for k in range(3):
                    tmp[k] = p0[k] + mask[k] * (q0[k] + t0 * (q1[k] - q0[k]))
                rt = _from_line(lines[0], tmp[0], tmp[1], tmp[2]) + rr * dc
            bend = 0.125 * (da * da * rt + 2.0 * da * dc * rr + dc * dc * rr)
            rn = nb.radius
            sigma = 0.125 * (
                da * da * (rt + rn + rn * dc) + (2.0 * da * dc + dc * dc) * (rr + rn)
            )
        scale = big + na.radius + nb.radius + abs(na.centre[0]) + abs(na.centre[1]) + abs(na.centre[2])
        scale += abs(p0[0]) + abs(p0[1]) + abs(p0[2]) + abs(p1[0]) + abs(p1[1]) + abs(p1[2])
        slop = 4e-14 * scale
        # Ball against ball.
        gx = max(abs(0.5 * (p0[0] + p1[0]) - na.centre[0]) - h[0], 0.0)
        gy = max(abs(0.5 * (p0[1] + p1[1]) - na.centre[1]) - h[1], 0.0)
        gz = max(abs(0.5 * (p0[2] + p1[2]) - na.centre[2]) - h[2], 0.0)
        apart = sqrt(gx * gx + gy * gy + gz * gz)
        if apart - half - bend - na.radius - nb.radius - slop > limit:
            continue
        ia, ib = na.piece, nb.piece
        if ia >= 0 and ib >= 0 and allowed[ap[ia].body, bp[ib].body]:
            continue
        if ia < 0 or ib < 0:
            # A leaf against the middle of a node: long pieces fill their ball badly.
            if ia >= 0 or ib >= 0:
                less = (ap[ia].round if ia >= 0 else na.radius) + (bp[ib].round if ib >= 0 else nb.radius)
                less += sigma if ib >= 0 else bend
                low, up, share = gjk(
                    ap, apts, ia, na.centre, h, bp, bpts, ib, p0, p1, R0, T0, R1, T1, moves,
                    limit + less, slop, S, SA, SB, lam, w, keep, oa, ob, tmp,
                )
                if low - less > limit:
                    continue
            if turns and half > na.radius + nb.radius:
                mid = 0.5 * (t0 + t1)
                sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = a, b, t0, mid
                sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = a, b, mid, t1
                top += 2
                continue
            if ia >= 0 or (ib < 0 and nb.radius >= na.radius):
                l, r = nb.left, nb.right
                # The nearer child first.
                _moved(R0, T0, bnodes[l].centre, pm)
                dl = (pm[0] - na.centre[0]) ** 2 + (pm[1] - na.centre[1]) ** 2 + (pm[2] - na.centre[2]) ** 2
                _moved(R0, T0, bnodes[r].centre, pm)
                dr = (pm[0] - na.centre[0]) ** 2 + (pm[1] - na.centre[1]) ** 2 + (pm[2] - na.centre[2]) ** 2
                if dl < dr:
                    l, r = r, l
                sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = a, l, t0, t1
                sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = a, r, t0, t1
            else:
                l, r = na.left, na.right
                c = anodes[l].centre
                dl = (p0[0] - c[0]) ** 2 + (p0[1] - c[1]) ** 2 + (p0[2] - c[2]) ** 2
                c = anodes[r].centre
                dr = (p0[0] - c[0]) ** 2 + (p0[1] - c[1]) ** 2 + (p0[2] - c[2]) ** 2
                if dl < dr:
                    l, r = r, l
                sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = l, b, t0, t1
                sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = r, b, t0, t1
            top += 2
            continue
        rounds = ap[ia].round + bp[ib].round
        low, up, share = gjk(
            ap, apts, ia, na.centre, h, bp, bpts, ib, p0, p1, R0, T0, R1, T1, moves,
            limit + rounds + sigma, slop, S, SA, SB, lam, w, keep, oa, ob, tmp,
        )
        low -= rounds + sigma
        if low > limit:
            continue
        if boxed:
            # No single pose stands for a box: the caller divides it.
            out[0], out[1], out[2], out[3], out[4], out[5] = low, up - rounds, t0, ia, ib, pops
            return CLOSER
        if not turns:
            up -= rounds
            if up < best:
                best = up
                out[1], out[2], out[3], out[4] = up, share, ia, ib
                _witness(SA, SB, w, out)
                if best < enough:
                    out[0], out[5] = min(floor, best), pops
                    return CLOSER
            if low < best - tol:
                floor = min(floor, low)
            continue
        mid = 0.5 * (t0 + t1)
        pose(lines, q0[3] + mid * (q1[3] - q0[3]), q0[4] + mid * (q1[4] - q0[4]), Rm, Tm)
        for k in range(3):
            Tm[k] -= mask[k] * (q0[k] + mid * (q1[k] - q0[k]))
        _moved(Rm, Tm, nb.centre, pm)
        low_mid, up, share = gjk(
            ap, apts, ia, na.centre, h, bp, bpts, ib, pm, pm, Rm, Tm, Rm, Tm, False,
            np.inf, slop, S, SA, SB, lam, w, keep, oa, ob, tmp,
        )
        up -= rounds
        if up < best:
            best = up
            out[1], out[2], out[3], out[4] = up, mid, ia, ib
            _witness(SA, SB, w, out)
            if best < enough:
                out[0], out[5] = min(floor, best), pops
                return CLOSER
        if low > min(best - tol, cap):
            continue
        if t1 - t0 < 1e-12 or 2.0 * half + 2.0 * sigma + 2.0 * nb.radius * (da + dc) < 0.25 * tol:
            floor = min(floor, low)
            continue
        sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = a, b, t0, mid
        sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = a, b, mid, t1
        top += 2
    out[0] = min(floor, min(best - tol, cap))
    out[1], out[5] = best, pops
    return DONE


@njit(cache=True)
def _witness(SA, SB, w, out):
    for k in range(3):
        a = b = 0.0
        for i in range(4):
            if w[i] > 0.0:
                a += w[i] * SA[i, k]
                b += w[i] * SB[i, k]
        out[6 + k], out[9 + k] = a, b
