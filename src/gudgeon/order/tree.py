"""Compiled bound: the shortest tree that reaches every group, with prices on the nodes.

Whatever the sequence, every group is entered once, all are reached from the start, and a node is
left as often as it is entered.  The first two make a tree from the start (shortest one: J. Edmonds
1967, Y. Chu and T. Liu 1965); the third is priced (M. Held and R. M. Karp 1970 for tours; here for
paths with a direction, and with nodes of which one a group is used).  For prices p the tree under
``cost[a, b] + p[a] - p[b]``, less the price of the start, is never longer than any sequence.

The tree's dual comes with it: a *weight* for each of some sets of groups, each set holding or
leaving out another as a whole, so that on every step from outside into sets the priced cost covers
the weights of all sets that are entered.  Only a single group's weight can be below
zero: it is entered once, no more.
"""

from __future__ import annotations

from typing import Final

import numba
import numpy as np

from gudgeon.order.compiled import compiled

__all__ = ["least_tree", "raise_prices"]

PATIENCE: Final = 12
"""Rounds without a better bound after which the steps of the prices are halved."""

_OLD_SHARE: Final = 0.35
"""Of a step, what stays of the one before it (common practice, no source)."""


@numba.njit
def _groups_apart(cost, group, first, nodes, prices):  # type: ignore[no-untyped-def]
    """Return the least priced step between any two groups, and the nodes at its ends.

    The start is vertex 0, group g vertex g + 1, the end the last one.
    """
    groups = len(first) - 1
    size = groups + 2
    apart = np.full((size, size), np.inf)
    tails = np.zeros((size, size), np.int32)
    heads = np.zeros((size, size), np.int32)
    end = len(group) - 1
    for a in range(end):
        u = group[a] + 1
        for b in range(1, end + 1):
            v = group[b] + 1 if b < end else size - 1
            if u == v:
                continue
            step = cost[a, b] + prices[a] - prices[b]
            if step < apart[u, v]:
                apart[u, v] = step
                tails[u, v] = a
                heads[u, v] = b
    return apart, tails, heads


@numba.njit
def _rings(into, size):  # type: ignore[no-untyped-def]
    """Return the vertex each becomes when rings are drawn together, and how many there are."""
    seen = np.full(size, -1, np.int64)
    ring = np.full(size, -1, np.int64)
    rings = 0
    for v in range(1, size):
        at = v
        while at != 0 and seen[at] < 0:
            seen[at] = v
            at = into[at]
        if at != 0 and seen[at] == v and ring[at] < 0:
            here = at
            while True:
                ring[here] = rings
                here = into[here]
                if here == at:
                    break
            rings += 1
    becomes = np.full(size, -1, np.int64)
    of_ring = np.full(rings, -1, np.int64)
    count = 0
    for v in range(size):
        if ring[v] < 0:
            becomes[v] = count
            count += 1
        else:
            if of_ring[ring[v]] < 0:
                of_ring[ring[v]] = count
                count += 1
            becomes[v] = of_ring[ring[v]]
    return becomes, count


@numba.njit
def least_tree(cost, group, first, nodes, prices):  # type: ignore[no-untyped-def]
    """Return the shortest tree under prices: its length, degrees, sets and weights.

    Returns
    -------
    length : float
        inf where some group cannot be reached.
    degree : ndarray, shape (n + 2,)
        Steps of the tree out of each node, less those into it.
    vertex : ndarray of int, shape (levels, m + 2)
        The set of each vertex on each level; every set of a level lies within one of the next.
    weight : ndarray, shape (levels, m + 2)
        Weight of each set of a level, by its number.
    """
    apart, tails, heads = _groups_apart(cost, group, first, nodes, prices)
    vertices = len(first) + 1
    size = vertices
    vertex = np.zeros((vertices, vertices), np.int64)
    weight = np.zeros((vertices, vertices))
    tail = np.zeros((vertices, vertices), np.int32)
    head = np.zeros((vertices, vertices), np.int32)
    drawn = np.zeros((vertices, vertices), np.int64)
    for v in range(vertices):
        vertex[0, v] = v
    degree = np.zeros(len(group))
    total = 0.0
    level = 0
    into = np.zeros(vertices, np.int64)
    while True:
        for v in range(1, size):
            least = np.inf
            for u in range(size):
                if u != v and apart[u, v] < least:
                    least = apart[u, v]
                    into[v] = u
            if least == np.inf:
                return np.inf, degree, vertex[: level + 1], weight[: level + 1]
            total += least
            weight[level, v] = least
            tail[level, v] = tails[into[v], v]
            head[level, v] = heads[into[v], v]
        becomes, count = _rings(into, size)
        if count == size:
            break
        merged = np.full((count, count), np.inf)
        new_tails = np.zeros((count, count), np.int32)
        new_heads = np.zeros((count, count), np.int32)
        for u in range(size):
            for v in range(1, size):
                a, b = becomes[u], becomes[v]
                rest = apart[u, v] - weight[level, v]
                if a != b and rest < merged[a, b]:
                    merged[a, b] = rest
                    new_tails[a, b] = tails[u, v]
                    new_heads[a, b] = heads[u, v]
        drawn[level, :size] = becomes
        level += 1
        for v in range(vertices):
            vertex[level, v] = becomes[vertex[level - 1, v]]
        apart, tails, heads, size = merged, new_tails, new_heads, count
    # From the last level down: a ring is entered once, at the vertex that its step leads to.
    for below in range(level - 1, -1, -1):
        sizes = 0
        for v in range(vertices):
            sizes = max(sizes, vertex[below, v] + 1)
        for v in range(1, sizes):
            above = drawn[below, v]
            node = head[below + 1, above]
            own = vertices - 1 if node == len(group) - 1 else group[node] + 1
            if vertex[below, own] == v:
                tail[below, v] = tail[below + 1, above]
                head[below, v] = head[below + 1, above]
    for v in range(1, vertices):
        degree[tail[0, v]] += 1.0
        degree[head[0, v]] -= 1.0
    return total, degree, vertex[: level + 1], weight[: level + 1]


@compiled
def raise_prices(cost, group, first, nodes, prices, upper, rounds):  # type: ignore[no-untyped-def]
    """Raise the bound by better prices (subgradient steps); return bound, prices, sets, weights.

    Parameters
    ----------
    prices : ndarray, shape (n + 2,)
        To begin with; that of the end must be 0.
    upper : float
        Length of a sequence, towards which the steps are sized.
    """
    end = len(group) - 1
    best, best_prices = -np.inf, prices.copy()
    length, degree, vertex, weight = least_tree(cost, group, first, nodes, prices)
    best_vertex, best_weight = vertex, weight
    prices = prices.copy()
    way = np.zeros(len(group))
    stretch = 1.0
    since = 0
    for _ in range(rounds):
        bound = length - prices[0]
        if bound > best:
            best, best_vertex, best_weight = bound, vertex, weight
            best_prices[:] = prices
            since = 0
        else:
            since += 1
            if since >= PATIENCE:
                stretch *= 0.6
                since = 0
                prices[:] = best_prices
                way[:] = 0.0
        if bound == np.inf or upper - best < 1e-6 * max(1.0, abs(upper)):
            break
        square = 0.0
        degree[0] -= 1.0
        degree[end] = 0.0
        for a in range(len(group)):
            way[a] = degree[a] + _OLD_SHARE * way[a]
            square += degree[a] * degree[a]
        if square == 0.0:
            break  # the tree is a sequence
        size = stretch * (upper - bound) / square
        for a in range(end):
            prices[a] += size * way[a]
        length, degree, vertex, weight = least_tree(cost, group, first, nodes, prices)
    return best, best_prices, best_vertex, best_weight
