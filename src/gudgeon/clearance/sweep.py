"""Certified gap between two sets of convex pieces over one motion.

A at most slides (it is grown by a box), B turns and slides.  For a piece of B over a time interval
the swept volume lies within the hull of its two end poses grown by `sagitta`; the hull of two poses
has the larger of two support values as its support, so that `parted` needs nothing else.

Sagitta.  A point p of the work goes along f(t) = A(a(t)) C(c(t)) p - q(t) with a, c, q linear in
time.  For any unit vector d the scalar d.f differs from its chord by at most max|d.f''| dt^2 / 8,
so |f - chord| <= max|f''| dt^2 / 8.  With w the point after C alone, rr its distance from the
rotary line and rt the distance from the tilt line::

    f'' = a'^2 ut x (ut x (f - pt)) + 2 a'c' ut x A(ur x (w - pr)) + c'^2 A(ur x (ur x (w - pr)))

whose terms have the lengths a'^2 rt, at most 2 |a'c'| rr, and c'^2 rr.  rr does not change on the
way; rt changes by C alone, by at most rr dc.  Over the interval da = |a'| dt, dc = |c'| dt this is
(da^2 rt + 2 da dc rr + dc^2 rr) / 8, for any size of da and dc.  A point within rn of the centre of
its node has rr and rt each larger by at most rn.

Seen from B.  Where a small A follows a large face of B at a near-constant gap, the hull of the two
poses of the face is a wedge, and the bound falls with dt alone.  In B's frame the face rests and A
goes along z(t) = C(-c) A(-a) x, x = p + q, which is as sharp there as the other is where B is the
small one; the better of the two counts.  With v = q' and y = A(-a) x (the sense left out)::

    y' = A(-a) v - a' ut x (y - pt)          |y'| <= |v| + |a'| rt
    |y''| <= 2 |a'| |v| + a'^2 rt            |z''| <= |y''| + 2 |c'| |y'| + c'^2 rr

with rt the distance of x from the tilt line, which is convex along a straight x and so largest at
one of its ends, and rr the distance of y from the rotary line: that of z at the start (C does not
change it) and no more than the way of y beyond that.  Over the interval, with s the length of the
slide, (da^2 rt + 2 da s + 2 dc (s + da rt) + dc^2 rr) / 8.  Where A is grown by a box the box
would turn too; it is then left at the first bound.

Rounding.  With u = 2^-53 and directions of length 1 to 4 u, no entry of a turn is wrong by more
than 35 u, a turn as a matrix by 84 u, two after each other by 177 u; a point p of the work is then
misplaced by at most 177 u |p| + 84 u |pt| + 252 u |pr| (pt, pr: points on the lines), and some 30 u
of |p|, |q| and the supports are added by slides, dot products, the length of d and a vertex chosen
for a direction that is itself rounded.  In all that is less than 4e-14 times the sum of these
lengths (`SLOP`).  An angle is interpolated to 6 u of itself, which shifts a point by that part of
its distance from the line: `TURNED` times the angles, times the same sum.  A pose turned back takes
same matrices once more, with p - T in place of p: twice the bound.  In 60,000 draws over six
decades, against 64-bit mantissas, the largest error seen was a hundredth of the bound.
"""

from __future__ import annotations

from math import sqrt
from typing import Final

import numba
import numpy as np

from gudgeon.clearance.parted import parted
from gudgeon.clearance.poses import from_box, from_line, moved, pose, turned_back

__all__ = [
    "BUDGET", "CLOSER", "CONTACT", "DONE", "MAY", "OUT", "SLOP", "STACK", "TURNED", "gap",
    "rule_of", "sweep_arrays", "witness",
]  # fmt: skip

DONE: Final = 0
CLOSER: Final = 1
BUDGET: Final = 2

MAY: Final = 1
"""Of two bodies: they may touch."""
CONTACT: Final = 2
"""Of two bodies: they may come near but not touch, whatever clearance is asked."""

STACK: Final = 2048
OUT: Final = 24
"""out: 0 lower, 1 upper (best so far), 2 time, 3 and 4 pieces, 5 steps, 6-8 and 9-11 points of A
and B in A's frame, 12-14 slide of A within its box."""

SLOP: Final = 4e-14
"""Rounding of a bound, as a part of the sum of the lengths that enter it."""

TURNED: Final = 1e-15
"""The same by a radian of the joint position."""


def sweep_arrays() -> tuple[np.ndarray, ...]:
    """Return the stack and poses that one proof works in."""
    # sa, sb, st, R, T, Rm, Tm, W0, Q, p0, p1, pm, B, S, z0, z1
    three = np.zeros(3)
    return (
        np.empty(STACK, np.int32), np.empty(STACK, np.int32), np.empty((STACK, 2)),
        np.zeros((2, 3, 3)), np.zeros((2, 3)), np.zeros((1, 3, 3)), np.zeros((1, 3)),
        three.copy(), np.zeros((3, 3)), three.copy(), three.copy(), three.copy(),
        np.zeros((2, 3, 3)), np.zeros((2, 3)), three.copy(), three.copy(),
    )  # fmt: skip


@numba.njit
def witness(work, round_a, round_b, out):  # type: ignore[no-untyped-def]
    """Write the nearest points of A and B, and A's slide within its box, into out[6:15].

    Rounded pieces are as much nearer to each other as their radii, along the line of their cores.
    """
    SA, SB, SH, w = work[1], work[2], work[3], work[5]
    for k in range(3):
        a = b = s = 0.0
        for i in range(4):
            if w[i] > 0.0:
                a += w[i] * SA[i, k]
                b += w[i] * SB[i, k]
                s += w[i] * SH[i, k]
        out[6 + k], out[9 + k], out[12 + k] = a, b, s
    away = 0.0
    for k in range(3):
        away += (out[9 + k] - out[6 + k]) ** 2
    if away > 0.0:
        for k in range(3):
            step = (out[9 + k] - out[6 + k]) / sqrt(away)
            out[6 + k] += round_a * step
            out[9 + k] -= round_b * step


@numba.njit
def rule_of(allowed, na, nb):  # type: ignore[no-untyped-def]
    """Return what is asked of all that two nodes hold: MAY, CONTACT or 0."""
    return allowed[na.body, nb.body] if na.body >= 0 and nb.body >= 0 else 0


@numba.njit
def gap(  # type: ignore[no-untyped-def]
    pieces,
    points,
    nodes,
    ra,
    rb,
    lines,
    mask,
    q0,
    q1,
    h,
    real,
    allowed,
    cap,
    tol,
    enough,
    budget,
    arrays,
    work,
    out,
):
    """Judge one motion from joint position q0 to q1, straight in joint space.

    Parameters
    ----------
    pieces, points, nodes : ndarray
        Of all bodies.
    ra, rb : int
        Roots of the trees of A and B.
    lines : ndarray, shape (2, 7)
        Lines that turn B; sense 0 where they do not.
    mask : ndarray, shape (3,)
        1 where X, Y, Z slide B (by minus the displayed value) against A.
    q0, q1 : ndarray, shape (5,)
        Joint positions.
    h : ndarray, shape (3,)
        A is grown by the box +-h.
    real : bool
        Every place in the box is asked about; else (a chunk) only proof counts, and the loop ends
        where none is found.
    allowed : ndarray of uint8, shape (bodies, bodies)
        MAY, CONTACT or 0 (the clearance asked).
    cap : float
        Gaps above this need not be known better.
    tol : float
        A smallest gap is found to within this.
    enough : float
        Stop at a pose where the gap is smaller.
    budget : int
        Most steps.
    arrays, work : tuples of ndarray
    out : ndarray, shape (OUT,)
        out[1] on entry: smallest gap known already.

    Returns
    -------
    DONE, CLOSER or BUDGET
    """
    sa, sb, st, R, T, Rm, Tm, W0, Q, p0, p1, pm, B, S, z0, z1 = arrays
    R0, R1, T0, T1 = R[0], R[1], T[0], T[1]
    tmp = work[10]
    turns = (lines[0, 6] != 0.0 and q0[3] != q1[3]) or (lines[1, 6] != 0.0 and q0[4] != q1[4])
    slides = False
    for k in range(3):
        if mask[k] != 0.0 and q0[k] != q1[k]:
            slides = True
    moves = turns or slides
    boxed = h[0] != 0.0 or h[1] != 0.0 or h[2] != 0.0
    big = h[0] + h[1] + h[2]
    for k in range(3):
        big += max(abs(q0[k]), abs(q1[k]), abs(lines[0, k]), abs(lines[1, k]))
    rounding = SLOP + TURNED * (max(abs(q0[3]), abs(q1[3])) + max(abs(q0[4]), abs(q1[4])))
    best = out[1]
    floor = np.inf
    pops = top = 0
    sa[0], sb[0], st[0, 0], st[0, 1] = ra, rb, 0.0, 1.0
    now0 = now1 = -1.0
    pose(lines, q0[3], q0[4], R0, T0, Q)
    if not turns:
        for i in range(3):
            W0[i] = T0[i]
            for j in range(3):
                R1[i, j] = R0[i, j]
    while top >= 0:
        a, b, t0, t1 = sa[top], sb[top], st[top, 0], st[top, 1]
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
        if t0 != now0 or t1 != now1:
            if turns:
                da, dc = q1[3] - q0[3], q1[4] - q0[4]
                pose(lines, q0[3] + t0 * da, q0[4] + t0 * dc, R0, T0, Q)
                pose(lines, q0[3] + t1 * da, q0[4] + t1 * dc, R1, T1, Q)
            else:
                for k in range(3):
                    T0[k] = T1[k] = W0[k]
            for k in range(3):
                T0[k] -= mask[k] * (q0[k] + t0 * (q1[k] - q0[k]))
                T1[k] -= mask[k] * (q0[k] + t1 * (q1[k] - q0[k]))
            now0, now1 = t0, t1
        moved(R0, T0, nb.centre, p0)
        if moves:
            moved(R1, T1, nb.centre, p1)
        else:
            p1[0], p1[1], p1[2] = p0[0], p0[1], p0[2]
        scale = big + na.radius + nb.radius
        for k in range(3):
            scale += abs(na.centre[k]) + abs(nb.centre[k]) + abs(p0[k]) + abs(p1[k])
        slop = rounding * scale
        half = 0.5 * sqrt((p1[0] - p0[0]) ** 2 + (p1[1] - p0[1]) ** 2 + (p1[2] - p0[2]) ** 2)
        sagitta = 0.0  # how far a point of the node leaves the chord of its own way
        bend = 0.0  # the same of the node's centre
        da = dc = 0.0
        if turns:
            da = abs(q1[3] - q0[3]) * (t1 - t0) if lines[0, 6] != 0.0 else 0.0
            dc = abs(q1[4] - q0[4]) * (t1 - t0) if lines[1, 6] != 0.0 else 0.0
            rr = rt = 0.0
            if dc != 0.0:
                rr = slop + from_line(lines[1], nb.centre[0], nb.centre[1], nb.centre[2])
            if da != 0.0:
                for k in range(3):
                    tmp[k] = p0[k] + mask[k] * (q0[k] + t0 * (q1[k] - q0[k]))
                rt = slop + from_line(lines[0], tmp[0], tmp[1], tmp[2]) + rr * dc
            rn = nb.radius
            bend = 0.125 * (da * da * rt + 2.0 * da * dc * rr + dc * dc * rr)
            sagitta = bend + 0.125 * rn * (da * da * (1.0 + dc) + 2.0 * da * dc + dc * dc)
        x, y, z = 0.5 * (p0[0] + p1[0]), 0.5 * (p0[1] + p1[1]), 0.5 * (p0[2] + p1[2])
        away = from_box(na.centre, h, x, y, z)
        if away - half - bend - na.radius - nb.radius - slop > limit:
            continue
        ia, ib = na.piece, nb.piece
        mid = 0.5 * (t0 + t1)
        rounds = (pieces[ia].round if ia >= 0 else 0.0) + (pieces[ib].round if ib >= 0 else 0.0)
        vx = na.centre[0] - x
        vy = na.centre[1] - y
        vz = na.centre[2] - z
        low, up, share = parted(
            pieces, points, na, nb, h, vx, vy, vz, R, T, 2 if moves else 1,
            limit + rounds + sagitta, ia < 0 or ib < 0, slop, work,
        )  # fmt: skip
        low -= rounds + sagitta
        if low > limit:
            continue
        if turns and not boxed and ia >= 0 and ib >= 0:
            for m in range(2):
                turned_back(R[m], T[m], B[m], S[m])
            moved(B[0], S[0], na.centre, z0)
            moved(B[1], S[1], na.centre, z1)
            slide = rt = 0.0
            for k in range(3):
                slide += (mask[k] * (q1[k] - q0[k]) * (t1 - t0)) ** 2
            slide = sqrt(slide) + slop
            if da != 0.0:
                for t in (t0, t1):
                    for k in range(3):
                        tmp[k] = na.centre[k] + mask[k] * (q0[k] + t * (q1[k] - q0[k]))
                    rt = max(rt, from_line(lines[0], tmp[0], tmp[1], tmp[2]))
                rt += na.radius + slop
            way = slide + da * rt
            rr = 0.0
            if dc != 0.0:
                rr = from_line(lines[1], z0[0], z0[1], z0[2]) + na.radius + slop + way
            seen = 0.125 * (da * da * rt + 2.0 * da * slide + 2.0 * dc * way + dc * dc * rr)
            vx = nb.centre[0] - 0.5 * (z0[0] + z1[0])
            vy = nb.centre[1] - 0.5 * (z0[1] + z1[1])
            vz = nb.centre[2] - 0.5 * (z0[2] + z1[2])
            other, _, _ = parted(
                pieces, points, nb, na, h, vx, vy, vz, B, S, 2,
                limit + rounds + seen, False, 2.0 * slop, work,
            )  # fmt: skip
            low = max(low, other - rounds - seen)
            if low > limit:
                continue
        if ia < 0 or ib < 0:
            if turns and half + bend > na.radius + nb.radius:
                # Time before space: the count of triangles then hardly matters.
                sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = a, b, t0, mid
                sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = a, b, mid, t1
            elif ia >= 0 or (ib < 0 and nb.radius >= na.radius):
                near, far = nb.left, nb.right
                moved(R0, T0, nodes[near].centre, pm)
                dn = _square(pm, na.centre)
                moved(R0, T0, nodes[far].centre, pm)
                if _square(pm, na.centre) < dn:
                    near, far = far, near
                sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = a, far, t0, t1
                sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = a, near, t0, t1
            else:
                near, far = na.left, na.right
                if _square(p0, nodes[far].centre) < _square(p0, nodes[near].centre):
                    near, far = far, near
                sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = far, b, t0, t1
                sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = near, b, t0, t1
            top += 2
            continue
        if boxed and not real:
            out[0], out[1], out[5] = -np.inf, best, pops
            return CLOSER
        time = share
        if turns:
            time = mid
            pose(
                lines, q0[3] + mid * (q1[3] - q0[3]), q0[4] + mid * (q1[4] - q0[4]), Rm[0], Tm[0], Q
            )
            for k in range(3):
                Tm[0, k] -= mask[k] * (q0[k] + mid * (q1[k] - q0[k]))
            moved(Rm[0], Tm[0], nb.centre, pm)
            vx, vy, vz = na.centre[0] - pm[0], na.centre[1] - pm[1], na.centre[2] - pm[2]
            _, up, _ = parted(
                pieces, points, na, nb, h, vx, vy, vz, Rm, Tm, 1, np.inf, False, slop, work
            )
        up -= rounds
        if up < best and (rule != CONTACT or up <= 0.0):
            best = up
            out[1], out[2], out[3], out[4] = up, time, ia, ib
            witness(work, pieces[ia].round, pieces[ib].round, out)
            if best < enough or best <= 0.0:
                out[0], out[5] = -np.inf, pops
                return CLOSER
        if low > min(best - tol, cap) or (rule == CONTACT and low > 0.0):
            continue
        if (
            not turns
            or t1 - t0 < 1e-12
            or 2.0 * (half + sagitta + nb.radius * (da + dc)) < 0.25 * tol
        ):
            floor = min(floor, low)
            continue
        sa[top + 1], sb[top + 1], st[top + 1, 0], st[top + 1, 1] = a, b, t0, mid
        sa[top + 2], sb[top + 2], st[top + 2, 0], st[top + 2, 1] = a, b, mid, t1
        top += 2
    if floor <= 0.0:
        floor = -np.inf  # no distance is below zero: a bound of zero leaves room for a touch
    out[0] = min(floor, min(best - tol, cap))
    out[1], out[5] = best, pops
    return DONE


@numba.njit
def _square(p, q):  # type: ignore[no-untyped-def]
    return (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2
