"""Compiled search for one allowed order: chains of changes, each mended by exchanges of segments.

One round changes the order in one of three ways: nodes are taken out and put back elsewhere, a run
is moved (both as in `gudgeon.order.rebuild`), or two short neighbouring segments change places.
Then exchanges of two neighbouring segments follow for as long as they shorten the path.  That
exchange keeps every segment's direction, so costs may differ both ways; of all exchanges of three
steps it is the only one that does (L. M. Gambardella and M. Dorigo, INFORMS Journal on Computing
12, 2000, for orders with precedence).  It is searched from step to step along near nodes for as
long as the steps taken out cost more than those put in (S. Lin and B. W. Kernighan 1973), only
from nodes whose own steps have changed.  A longer result is taken with a chance that falls from
round to round (simulated annealing).

In all functions `sequence` (n,) holds the nodes of a path from node 0 to node n - 1, `place` (n,)
where each of them stands, and `early`, `late` in the form of `rebuild` the *next* nodes before and
after each: those with no other between them, which is enough, for everything between two nodes in
one segment or the other is looked at as well.
"""

from __future__ import annotations

from typing import Final

import numba
import numpy as np

from gudgeon.order import compiled as chances
from gudgeon.order import rebuild
from gudgeon.order.compiled import chance, compiled, mark_of, pick
from gudgeon.order.rebuild import length, move_run, put_back, sort_taken, take_out

__all__ = ["MARK", "anneal", "may_exchange", "mend"]

LONGEST: Final = 8
"""Longest of two segments that change places at random."""

MARK: Final = mark_of(chances, rebuild)


@numba.njit
def may_exchange(sequence, place, early, late, i, j, k):  # type: ignore[no-untyped-def]
    """Whether segments i to j - 1 and j to k - 1 may change places."""
    if j - i <= k - j:
        for at in range(i, j):
            node = sequence[at]
            for other in late[1][late[0][node] : late[0][node + 1]]:
                if j <= place[other] < k:
                    return False
    else:
        for at in range(j, k):
            node = sequence[at]
            for other in early[1][early[0][node] : early[0][node + 1]]:
                if i <= place[other] < j:
                    return False
    return True


@numba.njit
def _exchange(sequence, place, room, i, j, k):  # type: ignore[no-untyped-def]
    """Let segments i to j - 1 and j to k - 1 change places."""
    first = j - i
    for at in range(i, j):
        room[at - i] = sequence[at]
    for at in range(j, k):
        node = sequence[at]
        sequence[at - first] = node
        place[node] = at - first
    for at in range(first):
        node = room[at]
        sequence[k - first + at] = node
        place[node] = k - first + at


@numba.njit
def _shorten(  # type: ignore[no-untyped-def]
    cost, near, early, late, sequence, place, room, tail, least, ends
):
    """Make one exchange that takes out the step from `tail`; return what it saves, or 0.

    The six ends of the steps that changed are left in `ends`.
    """
    last = len(sequence) - 1
    p = place[tail]
    if p == last:
        return 0.0
    head = sequence[p + 1]
    for b in near[tail]:
        saved = cost[tail, head] - cost[tail, b]
        if saved <= least:
            break
        q = place[b] - 1
        if q < 0 or q == p:
            continue
        middle = sequence[q]
        out = saved + cost[middle, b]
        for c in near[middle]:
            saved = out - cost[middle, c]
            if saved <= least:
                break
            r = place[c] - 1
            # Rising all round is the one way that leaves a single path.
            if r < 0 or not (p < q < r or q < r < p or r < p < q):
                continue
            far = sequence[r]
            saved += cost[far, c] - cost[far, head]
            if saved <= least:
                continue
            i, k = min(p, q, r) + 1, max(p, q, r) + 1
            j = p + q + r + 3 - i - k
            if may_exchange(sequence, place, early, late, i, j, k):
                ends[0], ends[1], ends[2] = tail, head, middle
                ends[3], ends[4], ends[5] = b, far, c
                _exchange(sequence, place, room, i, j, k)
                return saved
    return 0.0


@numba.njit
def mend(  # type: ignore[no-untyped-def]
    cost, near, early, late, sequence, place, room, queue, waits, count, least
):
    """Exchange segments until no node in the queue, nor one they touch, starts a better path.

    `queue` (n,) holds `count` nodes, for which `waits` (n,) is true; both end empty.
    """
    size = len(sequence)
    ends = np.empty(6, np.int64)
    front = 0
    while count > 0:
        tail = queue[front]
        front = front + 1 if front + 1 < size else 0
        count -= 1
        waits[tail] = False
        while _shorten(cost, near, early, late, sequence, place, room, tail, least, ends) > 0.0:
            for node in ends:
                if not waits[node]:
                    waits[node] = True
                    queue[(front + count) % size] = node
                    count += 1


@numba.njit
def _disturb(cost, early, late, sequence, place, room, shut, state):  # type: ignore[no-untyped-def]
    """Let two short neighbouring segments change places; whether any were found that may."""
    inner = len(sequence) - 2
    for _ in range(30):
        i = 1 + pick(state, inner)
        j = i + 1 + pick(state, LONGEST)
        k = j + 1 + pick(state, LONGEST)
        if k > inner + 1:
            continue
        if (
            cost[sequence[i - 1], sequence[j]] >= shut
            or cost[sequence[k - 1], sequence[i]] >= shut
            or cost[sequence[j - 1], sequence[k]] >= shut
        ):
            continue
        if may_exchange(sequence, place, early, late, i, j, k):
            _exchange(sequence, place, room, i, j, k)
            return True
    return False


@compiled
def anneal(  # type: ignore[no-untyped-def]
    cost, back, near, around, group, first, nodes, early, late, early_next, late_next,
    now, best, values, state, begin, end, rounds, hot, cold, shares, shut, least, mark=MARK,
):  # fmt: skip
    """Run rounds begin to end - 1 of `rounds`; `now` and `best` are changed in place.

    Parameters
    ----------
    cost, back : ndarray, shape (n, n)
        Cost of each step, and the same with rows and columns exchanged.
    near : ndarray of int, shape (n, k)
        Nodes that may follow each, nearest first.
    around : ndarray of int, shape (n - 2, k)
        Groups near each group, itself first; group g is node g + 1.
    group, first, nodes, early, late
        As in `rebuild`, one node a group.
    early_next, late_next
        As `early` and `late`, but of nodes, and only those with no other between.
    values : ndarray, shape (2,)
        Lengths of `now` and `best`.
    hot, cold : float
        Temperature of the first and of the last round.
    shares : tuple of float
        Of rounds that move a run, that disturb and mend, and of all others that mend too.
    shut : float
        Steps that cost so much are not allowed.
    least : float
        Savings no larger do not count.
    """
    size = len(now)
    groups = size - 2
    trial = now.copy()
    place = np.empty(groups, np.int64)
    was = np.empty(groups, np.int64)
    taken = np.empty(rebuild.MOST_TAKEN + rebuild.MOST_STRING, np.int64)
    marks = np.zeros(groups + 2, np.int64)
    room = np.empty(size, np.int64)
    blink = np.array([pick(state, 2 * rebuild.BLINK)])
    most = min(rebuild.MOST_TAKEN, max(1, groups // 2))
    stands = np.empty(size, np.int64)
    follows = np.full(size, -1, np.int64)
    queue = np.empty(size, np.int64)
    waits = np.zeros(size, np.bool_)
    for k in range(size - 1):
        follows[now[k]] = now[k + 1]
    for step in range(begin, end):
        heat = hot * (cold / hot) ** (step / rounds)
        trial[:] = now
        way = chance(state)
        mends = way < shares[1] or chance(state) < shares[2]
        if way < shares[1]:
            for k in range(size):
                stands[trial[k]] = k
            if not _disturb(cost, early_next, late_next, trial, stands, room, shut, state):
                continue
        elif way < shares[1] + shares[0]:
            if not move_run(cost, group, early, late, trial, place, marks, room, blink, state):
                continue
        else:
            for k in range(1, groups + 1):
                place[group[trial[k]]] = k
            was[:] = place
            count = take_out(group, around, trial, place, taken, state, most, 0.7)
            sort_taken(taken, count, was, early, late, state)
            for k in range(count):
                put_back(
                    cost, back, group, first, nodes, early, late, trial, place, taken[k],
                    groups - count + k, blink, state,
                )  # fmt: skip
        if mends:
            count = 0
            for k in range(size):
                node = trial[k]
                stands[node] = k
                if k + 1 < size and follows[node] != trial[k + 1]:
                    for other in (node, trial[k + 1]):
                        if not waits[other]:
                            waits[other] = True
                            queue[count] = other
                            count += 1
            mend(cost, near, early_next, late_next, trial, stands, room, queue, waits, count, least)
        new = length(cost, trial)
        if new < values[0] - heat * np.log(max(chance(state), 1e-300)):
            now[:] = trial
            values[0] = new
            for k in range(size - 1):
                follows[now[k]] = now[k + 1]
            if new < values[1] - least:
                best[:] = trial
                values[1] = new
