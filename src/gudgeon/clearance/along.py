"""The compiled loop over the segments of a path and the pairs of carriers."""

from __future__ import annotations

from typing import Any, Final

import numba
import numpy as np

from gudgeon.clearance import gjk, parted, pieces, poses, sweep, within
from gudgeon.clearance.compiled import compiled, mark_of
from gudgeon.clearance.sweep import CLOSER, DONE, OUT, gap
from gudgeon.clearance.within import inside

__all__ = ["AT_PAIR", "AT_STATUS", "MARK", "RESULT", "STATE", "along"]

AT_PAIR: Final = OUT
AT_STATUS: Final = OUT + 1
AT_LOWER: Final = OUT + 2
AT_NET: Final = OUT + 3
AT_INSIDE: Final = OUT + 4
RESULT: Final = OUT + 5
"""Row of the nearest pair: `sweep.gap`'s out, then pair, status, lower less uncertainty, upper less
uncertainty, probe inside (-1: none)."""

STATE: Final = 5
"""Of each pair at rest: tilt, rotary, cut and need at which it is proven, and whether it is."""

_LARGEST: Final = 512


MARK: Final = mark_of(gjk, parted, pieces, poses, sweep, within)
"""The same for every compiled loop: the dispatcher keeps one kind of left-out argument at hand, and
a loop with another default is looked up slowly at each call (0.7 ms instead of 3 us measured).
"""


@numba.njit
def _still(lines, mask, q0, q1):  # type: ignore[no-untyped-def]
    """Whether the angles alone say how a pair stands, and they do not change."""
    for k in range(3):
        if mask[k] != 0.0:
            return False
    for k in range(2):
        if lines[k, 6] != 0.0 and q0[3 + k] != q1[3 + k]:
            return False
    return True


@numba.njit
def _all_pairs(  # type: ignore[no-untyped-def]
    pieces,
    points,
    nodes,
    roots,
    lines,
    masks,
    unsure,
    q0,
    q1,
    h,
    real,
    allowed,
    cut,
    need,
    enough,
    exact,
    tol,
    budget,
    state,
    arrays,
    work,
    out,
    result,
):
    """Judge one motion for all pairs; `result` gets the nearest one.  Returns status, lower."""
    status, lower, best = DONE, np.inf, np.inf
    none = np.zeros(3)
    for p in range(len(roots)):
        own = h
        boxed = False
        for k in range(3):
            if h[k] * masks[p, k] != 0.0:
                boxed = True
        if not boxed:
            own = none
        elif masks[p, 0] * masks[p, 1] * masks[p, 2] == 0.0:
            own = h * masks[p]
        still = _still(lines[p], masks[p], q0, q1)
        tilt = q0[3] if lines[p, 0, 6] != 0.0 else 0.0
        rotary = q0[4] if lines[p, 1, 6] != 0.0 else 0.0
        if still and not exact:
            was = state[p]
            if (
                was[4] != 0.0 and was[0] == tilt and was[1] == rotary and was[2] == cut
                and was[3] >= need
            ):  # fmt: skip
                lower = min(lower, was[3])
                continue
        cap = np.inf if exact else need + unsure[p]
        out[1] = best + unsure[p] if exact else np.inf
        ended = gap(
            pieces, points, nodes, roots[p, 0], roots[p, 1], lines[p], masks[p], q0, q1, own, real,
            allowed, cap, tol, -np.inf if exact else enough + unsure[p], budget, arrays, work, out,
        )  # fmt: skip
        if exact and ended == CLOSER:
            lower = -np.inf
        elif ended == DONE:
            # Adding and taking off what is unsure must not cost the last digit.
            rest = out[0] - unsure[p]
            lower = min(lower, max(rest, need) if not exact and out[0] >= cap else rest)
            if still and not exact and out[0] >= cap:
                state[p, 0], state[p, 1], state[p, 2], state[p, 3] = tilt, rotary, cut, need
                state[p, 4] = 1.0
        else:
            lower = -np.inf
        if out[1] - unsure[p] < best:
            best = out[1] - unsure[p]
            for k in range(OUT):
                result[k] = out[k]
            result[AT_PAIR] = p
            result[AT_NET] = best
        if ended > status or (ended == CLOSER and status != CLOSER):
            status = ended
        if ended == CLOSER:
            status = CLOSER
            break
    return status, lower


def _along(  # type: ignore[no-untyped-def]
    pieces,
    points,
    nodes,
    roots,
    lines,
    masks,
    unsure,
    probes,
    allows,
    start,
    ends,
    cuts,
    good,
    needs,
    enoughs,
    h,
    exact,
    tol,
    budget,
    chunks,
    state,
    known,
    status,
    lower,
    arrays,
    work,
    result,
    mark=MARK,
):
    """Judge the segments of a path; status[i] and lower[i] are set for each.

    Parameters
    ----------
    pieces, points, nodes : ndarray
        Of all bodies.
    roots, lines, masks, unsure : ndarray
        One row a pair of carriers; see `sweep.gap`.
    probes : ndarray of PROBE
    allows : ndarray of uint8, shape (cuts, bodies, bodies)
    start : ndarray, shape (5,)
    ends : ndarray, shape (n, 5)
    cuts : ndarray of int, shape (n,)
        Row of `allows` in force.
    good : ndarray of bool, shape (n,)
        Segment from and to finite places.
    needs, enoughs : ndarray, shape (n,)
        Proven at this gap; stopped at a pose with a gap below this.
    h : ndarray, shape (3,)
        X, Y, Z lie anywhere within +-h of the segment (a rapid that may go a dog-leg).
    exact : bool
    tol, budget, chunks : float, int, bool
    state : ndarray, shape (pairs, STATE)
    known : ndarray of int, shape (2,)
        Whether it is known that nothing stands inside a surface at `start`, and under which cut.
    status, lower : ndarray, shape (n,)
    arrays, work : tuples of ndarray
    result : ndarray, shape (RESULT,)
        Of the last segment judged by itself.
    """
    n = len(ends)
    out = np.empty(OUT)
    q0, q1, at, own = start.copy(), start.copy(), np.zeros(3), np.zeros(3)
    size, wait, left = _LARGEST, 1, 0
    i = 0
    while i < n:
        for k in range(5):
            q0[k] = start[k] if i == 0 else ends[i - 1, k]
        result[:] = np.inf
        result[AT_INSIDE] = -1.0
        if not good[i]:
            status[i], lower[i] = 2, -np.inf
            result[AT_STATUS], result[AT_LOWER] = 2.0, -np.inf
            known[0] = 0
            i += 1
            continue
        allowed = allows[cuts[i]]
        if not known[0] or known[1] != cuts[i]:
            probe = inside(
                pieces, points, probes, lines, masks, q0, allowed, at, arrays[5][0],
                arrays[6][0], arrays[8],
            )  # fmt: skip
            if probe >= 0:
                status[i], lower[i] = 1, -np.inf
                result[AT_STATUS], result[AT_LOWER], result[AT_INSIDE] = 1.0, -np.inf, probe
                result[AT_PAIR], result[AT_NET] = probes[probe].pair, 0.0
                result[1] = result[2] = 0.0
                for k in range(3):
                    result[6 + k] = result[9 + k] = at[k]
                    result[12 + k] = 0.0
                known[0] = 0
                i += 1
                continue
            known[0], known[1] = 1, cuts[i]
        if chunks and left == 0:
            # How far angles and allowed touches stay as they are.
            j = i
            need = -np.inf
            least, most = q0[:3].copy(), q0[:3].copy()
            while (
                j < n and j - i < size and good[j] and cuts[j] == cuts[i]
                and ends[j, 3] == q0[3] and ends[j, 4] == q0[4]
            ):  # fmt: skip
                need = max(need, needs[j])
                for k in range(3):
                    least[k] = min(least[k], ends[j, k])
                    most[k] = max(most[k], ends[j, k])
                j += 1
            if j - i > 1:
                for k in range(3):
                    q1[k] = 0.5 * (least[k] + most[k])
                    own[k] = max(most[k] - q1[k], q1[k] - least[k]) * (1.0 + 1e-15)
                q1[3], q1[4] = q0[3], q0[4]
                ended, low = _all_pairs(
                    pieces, points, nodes, roots, lines, masks, unsure, q1, q1, own, False, allowed,
                    cuts[i], need, -np.inf, False, 0.0, 20000, state, arrays, work, out, result,
                )  # fmt: skip
                if ended == DONE and low >= need:
                    for m in range(i, j):
                        status[m], lower[m] = 0, low
                    size = min(2 * size, _LARGEST)
                    wait = 1
                    i = j
                    continue
                size = min(size, j - i)
                if size > 4:
                    size //= 4
                    continue
                size, left, wait = 8, 8 * wait, min(2 * wait, 8)
        if left > 0:
            left -= 1
        result[:] = np.inf
        result[AT_INSIDE] = -1.0
        for k in range(5):
            q1[k] = ends[i, k]
        ended, low = _all_pairs(
            pieces, points, nodes, roots, lines, masks, unsure, q0, q1, h, True, allowed,
            cuts[i], needs[i], enoughs[i], exact, tol, budget, state, arrays, work, out, result,
        )  # fmt: skip
        if ended == DONE and low >= needs[i]:
            status[i] = 0
        elif ended == CLOSER or result[AT_NET] < enoughs[i] or result[AT_NET] <= 0.0:
            status[i] = 1
        else:
            status[i] = 2
        # Where it is proven not to touch at all nothing has come inside either.
        known[0] = 1 if status[i] == 0 or low > 0.0 else 0
        lower[i] = low
        result[AT_STATUS], result[AT_LOWER] = status[i], low
        i += 1


along: Any = compiled(_along)
