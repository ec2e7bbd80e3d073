"""Certified gap over a box of joint positions: any X, Y, Z and any angles between two corners.

X, Y, Z are taken into the shape of A exactly (a sum of convex shapes).  Angles are divided into
cells a0..a1, c0..c1 of half widths ha and hc.  Over a cell a point of B goes where
f(a, c) = A(a) C(c) p takes it.  For any c the point lies within ha^2/2 max|f_aa| of the chord from
f(a0, c) to f(a1, c) (`sweep`: the chord of a scalar product with any direction), and each end of
that chord within hc^2/2 max|f_cc| of the chord between its own two corners of the cell.  A point of
a chord is a mean of its ends, so that f lies within the sum of both of the hull of the four corners
f(a0, c0) .. f(a1, c1): no mixed derivative enters.  |f_aa| is the distance from the tilt line, at
most rt + rr min(hc, 2) with rt that at the middle pose; |f_cc| is rr, the distance from the rotary
line, wherever the tilt stands.  No two points of a circle are farther apart than 2 r, so that
neither needs more than 2 in place of ha^2/2 or hc^2/2.  A point within rn of the centre of its node
has rt and rr larger by rn at most.  The error falls with the square of the cell where a corner
passes; where a wide face does it falls with its width times the angle, and the face is divided too.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from gudgeon.clearance.along import MARK
from gudgeon.clearance.compiled import compiled
from gudgeon.clearance.parted import parted
from gudgeon.clearance.poses import from_box, from_line, moved, pose
from gudgeon.clearance.sweep import (
    BUDGET,
    CLOSER,
    CONTACT,
    DONE,
    MAY,
    SLOP,
    TURNED,
    rule_of,
    witness,
)

__all__ = ["ANGLES", "BOX_OUT", "STACK", "gap_box"]

STACK: Final = 8192
ANGLES: Final = 24
"""Place in out of the tilt and rotary of the witness."""
BOX_OUT: Final = 26


def _gap_box(  # type: ignore[no-untyped-def]
    pieces,
    points,
    nodes,
    ra,
    rb,
    lines,
    mask,
    low,
    high,
    allowed,
    cap,
    tol,
    enough,
    budget,
    sa,
    sb,
    st,
    work,
    out,
    mark=MARK,
):
    """Judge every joint position between low and high; see `sweep.gap` for the parameters.

    sa, sb (STACK,), st (STACK, 4) : scratch; out (BOX_OUT,): as there, and the witness's angles.
    """
    R, T, Q = np.empty((4, 3, 3)), np.zeros((4, 3)), np.empty((3, 3))
    Rm, Tm = np.empty((1, 3, 3)), np.zeros((1, 3))
    p, h, middle, tmp = np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3)
    big = 0.0
    for k in range(3):
        middle[k] = mask[k] * 0.5 * (low[k] + high[k])
        h[k] = mask[k] * 0.5 * (high[k] - low[k]) * (1.0 + 1e-15)
        big += max(abs(low[k]), abs(high[k]), abs(lines[0, k]), abs(lines[1, k])) + h[k]
    rounding = SLOP + TURNED * (max(abs(low[3]), abs(high[3])) + max(abs(low[4]), abs(high[4])))
    best, floor = out[1], np.inf
    pops = top = 0
    sa[0], sb[0] = ra, rb
    st[0, 0], st[0, 1], st[0, 2], st[0, 3] = low[3], high[3], low[4], high[4]
    if lines[0, 6] == 0.0:
        st[0, 0] = st[0, 1] = 0.0
    if lines[1, 6] == 0.0:
        st[0, 2] = st[0, 3] = 0.0
    now = np.full(4, np.nan)
    count = 1
    while top >= 0:
        a, b = sa[top], sb[top]
        a0, a1, c0, c1 = st[top, 0], st[top, 1], st[top, 2], st[top, 3]
        top -= 1
        pops += 1
        limit = min(best - tol, cap)
        if pops > budget or top > STACK - 8:
            out[0], out[1], out[5] = -np.inf, best, pops
            return BUDGET
        na, nb = nodes[a], nodes[b]
        rule = rule_of(allowed, na, nb)
        if rule == MAY:
            continue
        if rule == CONTACT:
            limit = min(limit, 0.0)
        am, cm = 0.5 * (a0 + a1), 0.5 * (c0 + c1)
        if a0 != now[0] or a1 != now[1] or c0 != now[2] or c1 != now[3]:
            now[0], now[1], now[2], now[3] = a0, a1, c0, c1
            pose(lines, am, cm, Rm[0], Tm[0], Q)
            count = 0
            for i in range(2 if a1 > a0 else 1):
                for j in range(2 if c1 > c0 else 1):
                    pose(lines, now[i], now[2 + j], R[count], T[count], Q)
                    count += 1
            for k in range(3):
                Tm[0, k] -= middle[k]
                for i in range(count):
                    T[i, k] -= middle[k]
        moved(Rm[0], Tm[0], nb.centre, p)
        ha, hc = 0.5 * (a1 - a0), 0.5 * (c1 - c0)
        rr = rt = 0.0
        if hc > 0.0:
            rr = from_line(lines[1], nb.centre[0], nb.centre[1], nb.centre[2])
        if ha > 0.0:
            for k in range(3):
                tmp[k] = p[k] + middle[k]
            rt = from_line(lines[0], tmp[0], tmp[1], tmp[2])
        turn_c = min(rr * hc, 2.0 * rr)
        turn_a = (rt + turn_c) * min(ha, 2.0)
        way = turn_c + turn_a
        point_c = (rr + nb.radius) * min(hc, 2.0)
        point_a = (rt + nb.radius + point_c) * min(ha, 2.0)
        bend = min(0.5 * ha * ha, 2.0) * (rt + turn_c + nb.radius)
        bend += min(0.5 * hc * hc, 2.0) * (rr + nb.radius)
        scale = big + na.radius + nb.radius
        for k in range(3):
            scale += abs(na.centre[k]) + abs(nb.centre[k]) + 2.0 * abs(p[k])
        slop = rounding * scale
        away = from_box(na.centre, h, p[0], p[1], p[2])
        if away - way - na.radius - nb.radius - slop > limit:
            continue
        ia, ib = na.piece, nb.piece
        reach = point_a + point_c
        rounds = (pieces[ia].round if ia >= 0 else 0.0) + (pieces[ib].round if ib >= 0 else 0.0)
        vx, vy, vz = na.centre[0] - p[0], na.centre[1] - p[1], na.centre[2] - p[2]
        less = rounds + bend
        low_here, _, _ = parted(
            pieces, points, na, nb, h, vx, vy, vz, R, T, count, limit + less, ia < 0 or ib < 0,
            2.0 * slop, work,
        )  # fmt: skip
        low_here -= less
        if low_here > limit:
            continue
        divide = reach > na.radius + nb.radius
        if ia >= 0 and ib >= 0:
            _, up, _ = parted(
                pieces, points, na, nb, h, vx, vy, vz, Rm, Tm, 1, np.inf, False, slop, work
            )
            up -= rounds
            if up < best and (rule != CONTACT or up <= 0.0):
                best = up
                out[1], out[2], out[3], out[4] = up, 0.0, ia, ib
                out[24], out[25] = am, cm
                witness(work, pieces[ia].round, pieces[ib].round, out)
                if best < enough or best <= 0.0:
                    out[0], out[5] = -np.inf, pops
                    return CLOSER
            if low_here > min(best - tol, cap) or (rule == CONTACT and low_here > 0.0):
                continue
            if reach < 0.25 * tol or (ha < 1e-12 and hc < 1e-12):
                floor = min(floor, low_here)
                continue
            divide = True
        for side in range(2):
            top += 1
            sa[top], sb[top] = a, b
            st[top, 0], st[top, 1], st[top, 2], st[top, 3] = a0, a1, c0, c1
            if divide:
                by_tilt = point_a >= point_c
                if by_tilt:
                    st[top, 0] = am if side else a0
                    st[top, 1] = a1 if side else am
                else:
                    st[top, 2] = cm if side else c0
                    st[top, 3] = c1 if side else cm
            elif ia >= 0 or (ib < 0 and nb.radius >= na.radius):
                sb[top] = nb.left if side else nb.right
            else:
                sa[top] = na.left if side else na.right
    if floor <= 0.0:
        floor = -np.inf
    out[0] = min(floor, min(best - tol, cap))
    out[1], out[5] = best, pops
    return DONE


gap_box: Any = compiled(_gap_box)
