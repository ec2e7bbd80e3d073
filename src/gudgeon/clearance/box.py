"""Certified gap over a box of joint positions: any X, Y, Z and any angles within limits."""
from __future__ import annotations

from math import sqrt
import numpy as np
from numba import njit

from gudgeon.clearance.sweep import BUDGET, CLOSER, DONE, _from_line, _moved, _witness, gjk, pose


@njit(cache=True)
def gap_box(
    ap, apts, anodes, bp, bpts, bnodes, lines, mask, low, high, allowed, cap, tol, enough, budget, out,
):
    """Like `sweep.gap`, for every joint position between low and high.

    X, Y, Z are taken into the shape of A exactly; angles are divided until the way that points of B
    can go is small against the gap.  out[12:17] gets the joint position of the witness.
    """
    STACK = 8192
    sa = np.empty(STACK, np.int32)
    sb = np.empty(STACK, np.int32)
    st = np.empty((STACK, 4))
    S, SA, SB = np.empty((4, 3)), np.empty((4, 3)), np.empty((4, 3))
    lam, w, keep = np.zeros(4), np.zeros(4), np.zeros(4, np.int64)
    oa, ob, tmp = np.zeros(3), np.zeros(3), np.zeros(3)
    R, T, p = np.empty((3, 3)), np.zeros(3), np.zeros(3)
    h, middle = np.zeros(3), np.zeros(3)
    big = 0.0
    for k in range(3):
        middle[k] = mask[k] * 0.5 * (low[k] + high[k])
        h[k] = abs(mask[k]) * 0.5 * (high[k] - low[k])
        big = max(big, abs(low[k]), abs(high[k]), abs(lines[0, k]), abs(lines[1, k]))
    tilts, turns = lines[0, 6] != 0.0, lines[1, 6] != 0.0
    best, floor = np.inf, np.inf
    pops = top = 0
    sa[0], sb[0] = 0, 0
    st[0, 0], st[0, 1], st[0, 2], st[0, 3] = low[3], high[3], low[4], high[4]
    if not tilts:
        st[0, 0] = st[0, 1] = 0.0
    if not turns:
        st[0, 2] = st[0, 3] = 0.0
    now_a, now_c = np.nan, np.nan
    while top >= 0:
        a, b = sa[top], sb[top]
        a0, a1, c0, c1 = st[top, 0], st[top, 1], st[top, 2], st[top, 3]
        top -= 1
        pops += 1
        limit = min(best - tol, cap)
        if pops > budget or top > STACK - 8:
            out[0], out[1], out[5] = -np.inf, best, pops
            return BUDGET
        am, cm = 0.5 * (a0 + a1), 0.5 * (c0 + c1)
        if am != now_a or cm != now_c:
            pose(lines, am, cm, R, T)
            for k in range(3):
                T[k] -= middle[k]
            now_a, now_c = am, cm
        na, nb = anodes[a], bnodes[b]
        _moved(R, T, nb.centre, p)
        ha, hc = 0.5 * (a1 - a0), 0.5 * (c1 - c0)
        rr = rt = 0.0
        if hc > 0.0:
            rr = _from_line(lines[1], nb.centre[0], nb.centre[1], nb.centre[2])
        if ha > 0.0:
            for k in range(3):
                tmp[k] = p[k] + middle[k]
            rt = _from_line(lines[0], tmp[0], tmp[1], tmp[2])
        # Turning by c first and then by a: |move| <= rr |dc| + (distance from the tilt line then) |da|.
        turn_c, turn_a = rr * hc, (rt + min(rr * hc, 2.0 * rr)) * ha
        centre_way = min(turn_c, 2.0 * rr) + min(turn_a, 2.0 * (rt + min(rr * hc, 2.0 * rr)))
        point_c = (rr + nb.radius) * hc
        point_a = (rt + nb.radius + (rr + nb.radius) * hc) * ha
        scale = big + na.radius + nb.radius + abs(na.centre[0]) + abs(na.centre[1]) + abs(na.centre[2])
        scale += abs(p[0]) + abs(p[1]) + abs(p[2]) + h[0] + h[1] + h[2]
        slop = 4e-14 * scale
        gx = max(abs(p[0] - na.centre[0]) - h[0], 0.0)
        gy = max(abs(p[1] - na.centre[1]) - h[1], 0.0)
        gz = max(abs(p[2] - na.centre[2]) - h[2], 0.0)
        apart = sqrt(gx * gx + gy * gy + gz * gz)
        if apart - centre_way - na.radius - nb.radius - slop > limit:
            continue
        ia, ib = na.piece, nb.piece
        if ia >= 0 and ib >= 0 and allowed[ap[ia].body, bp[ib].body]:
            continue
        less = ap[ia].round if ia >= 0 else na.radius
        less += (bp[ib].round + point_a + point_c) if ib >= 0 else (nb.radius + centre_way)
        if ia >= 0 or ib >= 0:
            lo, up, share = gjk(
                ap, apts, ia, na.centre, h, bp, bpts, ib, p, p, R, T, R, T, False,
                limit + less, slop, S, SA, SB, lam, w, keep, oa, ob, tmp,
            )
            lo -= less
            if lo > limit:
                continue
        angular = centre_way if ib < 0 else point_a + point_c
        if ia < 0 or ib < 0:
            if angular > na.radius + nb.radius:
                split_angle = True
            else:
                split_angle = False
        else:
            # Both are pieces: what is true at the middle pose?
            lo_mid, up, share = gjk(
                ap, apts, ia, na.centre, h, bp, bpts, ib, p, p, R, T, R, T, False,
                np.inf, slop, S, SA, SB, lam, w, keep, oa, ob, tmp,
            )
            up -= ap[ia].round + bp[ib].round
            if up < best:
                best = up
                out[1], out[3], out[4] = up, ia, ib
                _witness(SA, SB, w, out)
                for k in range(3):
                    # Where within the box: the corner that the support took, by weight.
                    out[12 + k] = 0.5 * (low[k] + high[k])
                out[15], out[16] = am, cm
                if best < enough:
                    out[0], out[5] = min(floor, best), pops
                    return CLOSER
            if lo > min(best - tol, cap):
                continue
            if angular < 0.25 * tol:
                floor = min(floor, lo)
                continue
            split_angle = True
        if split_angle:
            wide_a = point_a if ib >= 0 else turn_a
            wide_c = point_c if ib >= 0 else turn_c
            if wide_a >= wide_c:
                sa[top + 1], sb[top + 1] = a, b
                st[top + 1, 0], st[top + 1, 1], st[top + 1, 2], st[top + 1, 3] = a0, am, c0, c1
                sa[top + 2], sb[top + 2] = a, b
                st[top + 2, 0], st[top + 2, 1], st[top + 2, 2], st[top + 2, 3] = am, a1, c0, c1
            else:
                sa[top + 1], sb[top + 1] = a, b
                st[top + 1, 0], st[top + 1, 1], st[top + 1, 2], st[top + 1, 3] = a0, a1, c0, cm
                sa[top + 2], sb[top + 2] = a, b
                st[top + 2, 0], st[top + 2, 1], st[top + 2, 2], st[top + 2, 3] = a0, a1, cm, c1
        elif ia >= 0 or (ib < 0 and nb.radius >= na.radius):
            for side in range(2):
                sa[top + 1 + side], sb[top + 1 + side] = a, nb.left if side else nb.right
                st[top + 1 + side] = st[top + 1 + side]
                st[top + 1 + side, 0], st[top + 1 + side, 1] = a0, a1
                st[top + 1 + side, 2], st[top + 1 + side, 3] = c0, c1
        else:
            for side in range(2):
                sa[top + 1 + side], sb[top + 1 + side] = na.left if side else na.right, b
                st[top + 1 + side, 0], st[top + 1 + side, 1] = a0, a1
                st[top + 1 + side, 2], st[top + 1 + side, 3] = c0, c1
        top += 2
    out[0] = min(floor, min(best - tol, cap))
    out[1], out[5] = best, pops
    return DONE
