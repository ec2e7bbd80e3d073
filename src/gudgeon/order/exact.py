"""The shortest sequence, proven: dynamic programming over what is done and where it ended.

What can be done at some time is a set of groups that holds with each group all that come before it
(M. Held and R. M. Karp 1962 for sets; only those that the precedence allows are ever made).  A
state is such a set and the node at which it ended; the states of one size are made from those of
the size below.  With few groups, or many pairs in `before`, there are few states.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numba
import numpy as np

from gudgeon.order.compiled import compiled
from gudgeon.order.problem import Found, Problem

__all__ = ["STATES", "exact"]

STATES: Final = 300_000
"""States if not told: about 1 s, and 20 MB."""


def exact(
    problem: Problem,
    *,
    states: int = STATES,
    keep_going: Callable[[], bool] | None = None,
) -> Found | None:
    """Return the shortest allowed sequence, if it is found with so many states.

    Parameters
    ----------
    problem : Problem
    states : int
        Most states that are kept in all [no unit]; each takes about 30 bytes and a word of 64
        bits for each 64 groups.
    keep_going : callable, optional
        Asked after each size of sets; where it says no, nothing is returned.

    Returns
    -------
    Found or None
        Proven shortest; its order is empty and its seconds inf where no sequence is allowed.
        None if there are more states.  `rounds` counts the states.
    """
    count, groups = problem.nodes, problem.groups
    words = (groups + 63) // 64
    need = np.zeros((groups, words), dtype=np.uint64)
    for a, b in np.argwhere(problem.closure).tolist():
        need[b, a // 64] |= np.uint64(1 << a % 64)
    group = np.concatenate([[-1], problem.group, [-1]])
    cost = np.array(problem.cost)
    layers: list[Any] = [
        (np.zeros((1, words), np.uint64), np.zeros(1, np.int64), np.zeros(1), np.zeros(1, np.int64))
    ]
    made = 0
    for _ in range(groups):
        if keep_going is not None and not keep_going():
            return None
        layer = _grown(cost, group, need, *layers[-1][:3], states - made)
        if len(layer[1]) > states - made:
            return None
        made += len(layer[1])
        layers.append(layer)
    last, value = layers[-1][1:3]
    total = value + cost[last, count + 1]
    if not len(total) or np.isinf(total.min()):
        return Found((), np.inf, made)
    at = int(np.argmin(total))
    order = []
    for _, ended, _, came in reversed(layers[1:]):
        order.append(int(ended[at]) - 1)
        at = int(came[at])
    found = tuple(reversed(order))
    return Found(found, problem.seconds(found), made)


@numba.njit
def _slot(table, done, last, words, node, size):  # type: ignore[no-untyped-def]
    """Return the slot of a state in an open table: where it stands or would stand."""
    key = np.uint64(node + 1) * np.uint64(0x9E3779B97F4A7C15)
    for word in words:
        key = (key ^ word) * np.uint64(0xBF58476D1CE4E5B9)
        key ^= key >> np.uint64(29)
    slot = np.int64(key & np.uint64(size - 1))
    while table[slot] >= 0:
        at = table[slot]
        if last[at] == node:
            same = True
            for w in range(len(words)):
                if done[at, w] != words[w]:
                    same = False
                    break
            if same:
                break
        slot = (slot + 1) & (size - 1)
    return slot


@compiled
def _grown(cost, group, need, done, last, value, most):  # type: ignore[no-untyped-def]
    """Return the states with one group more, and from which each came; stops above `most`."""
    words = done.shape[1]
    size = 1024
    table = np.full(size, -1, np.int64)
    room = 512
    new_done = np.empty((room, words), np.uint64)
    new_last = np.empty(room, np.int64)
    new_value = np.empty(room)
    came = np.empty(room, np.int64)
    count = 0
    key = np.empty(words, np.uint64)
    for state in range(len(last)):
        for node in range(1, len(group) - 1):
            step = cost[last[state], node]
            own = group[node]
            if step == np.inf:
                continue
            bit = np.uint64(1) << np.uint64(own % 64)
            if done[state, own // 64] & bit:
                continue
            allowed = True
            for w in range(words):
                if need[own, w] & ~done[state, w]:
                    allowed = False
                    break
            if not allowed:
                continue
            key[:] = done[state]
            key[own // 64] |= bit
            slot = _slot(table, new_done, new_last, key, node, size)
            at = table[slot]
            if at >= 0:
                if value[state] + step < new_value[at]:
                    new_value[at] = value[state] + step
                    came[at] = state
                continue
            if count == room:
                # The table stays at least half empty.
                new_done = np.concatenate((new_done, np.empty((room, words), np.uint64)))
                new_last = np.concatenate((new_last, np.empty(room, np.int64)))
                new_value = np.concatenate((new_value, np.empty(room)))
                came = np.concatenate((came, np.empty(room, np.int64)))
                room *= 2
                size *= 2
                table = np.full(size, -1, np.int64)
                for k in range(count):
                    table[_slot(table, new_done, new_last, new_done[k], new_last[k], size)] = k
                slot = _slot(table, new_done, new_last, key, node, size)
            table[slot] = count
            new_done[count] = key
            new_last[count] = node
            new_value[count] = value[state] + step
            came[count] = state
            count += 1
            if count > most:
                return new_done[:count], new_last[:count], new_value[:count], came[:count]
    return new_done[:count], new_last[:count], new_value[:count], came[:count]
