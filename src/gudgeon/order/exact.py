"""The shortest sequence, proven: dynamic programming over what is done and where it ended.

What can be done at some time is a set of groups that holds with each group all that come before it
(M. Held and R. M. Karp 1962 for sets; only those that the precedence allows are ever made).  A
state is such a set and the node at which it ended; the states of one size are made from those of
the size below.  With few groups, or many pairs in `before`, there are few states.  `sweep` makes
fewer still: it drops a state once what lies ahead of it, bounded by the weights of `Weights`,
cannot end below a sequence that is known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numba
import numpy as np
from numpy.typing import NDArray

from gudgeon.order.compiled import compiled
from gudgeon.order.problem import Found, Problem

__all__ = ["STATES", "Swept", "Weights", "exact", "sweep"]

STATES: Final = 300_000
"""States if not told: about 1 s, and 20 MB."""

Floats = NDArray[np.float64]
Words = NDArray[np.uint64]


@dataclass(frozen=True, slots=True)
class Weights:
    """What the rest of any sequence costs at least.

    After the node `b`, with the groups of D done, the rest costs at least the weights of all sets
    that hold none of D, less ``prices[b]``.

    Attributes
    ----------
    prices : ndarray, shape (n + 2,)
        Of the start, each node and the end.
    holds : ndarray of bool, shape (k, m)
        Groups of each set.
    weight : ndarray, shape (k,)
        Weight of each set; below zero at most where it is a single group [s].
    always : float
        Further weight that stays to the end: of sets of the end alone [s].
    """

    prices: Floats
    holds: NDArray[np.bool_]
    weight: Floats
    always: float


@dataclass(frozen=True, slots=True)
class Swept:
    """What is known after a sweep.

    Attributes
    ----------
    found : Found or None
        A sequence below the cut, proven shortest; None if there is none or states ran out.
    least : float
        No sequence is shorter than this or the cut, whichever is less [s].
    complete : bool
        Whether the states sufficed.
    """

    found: Found | None
    least: float
    complete: bool


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
        Most states that are kept in all [no unit]; each takes about 40 bytes and a word of 64
        bits for each 64 groups.
    keep_going : callable, optional
        Asked after each size of sets; where it says no, nothing is returned.

    Returns
    -------
    Found or None
        Proven shortest; its order is empty and its seconds inf where no sequence is allowed.
        None if there are more states.  `rounds` counts the states.
    """
    swept = sweep(problem, states=states, keep_going=keep_going)
    if swept.found is None and swept.complete:
        return Found((), np.inf, 0)
    return swept.found


def sweep(
    problem: Problem,
    *,
    states: int,
    below: float = np.inf,
    weights: Weights | None = None,
    cost: Floats | None = None,
    keep_going: Callable[[], bool] | None = None,
) -> Swept:
    """Look for the shortest sequence below a cut.

    Parameters
    ----------
    problem : Problem
    states : int
        Most states that are kept in all.
    below : float
        Only sequences that are shorter are looked for [s].
    weights : Weights, optional
        What lies ahead at least; without it nothing is dropped early.
    cost : ndarray, shape (n + 2, n + 2), optional
        Instead of `Problem.cost`: with inf on further steps that no sequence below the cut uses.
    keep_going : callable, optional
        Asked after each size of sets.
    """
    count, groups = problem.nodes, problem.groups
    words = (groups + 63) // 64
    if weights is None:
        none = np.zeros((0, groups), dtype=bool)
        weights = Weights(np.zeros(count + 2), none, np.zeros(0), 0.0)
    cost = np.array(problem.cost if cost is None else cost)
    group = np.concatenate([[-1], problem.group, [-1]])
    need = _masks(problem.closure.T, words)
    sets = _masks(weights.holds, words)
    of_group, of_set = np.nonzero(weights.holds.T)
    begins = np.searchsorted(of_group, np.arange(groups + 1))
    chain = (begins, np.ascontiguousarray(of_set))
    ahead = np.array([float(weights.weight.sum()) + weights.always])
    layers: list[Any] = [
        (np.zeros((1, words), np.uint64), np.zeros(1, np.int64), np.zeros(1), ahead, ahead * 0)
    ]
    made, least = 0, float(ahead[0] - weights.prices[0])
    for _ in range(groups):
        if keep_going is not None and not keep_going():
            return Swept(None, least, False)
        done, last, value, ahead, came = _grown(
            cost, group, need, sets, weights.weight, chain, weights.prices, below,
            *layers[-1][:4], states - made,
        )  # fmt: skip
        if len(last) > states - made:
            return Swept(None, least, False)
        if not len(last):
            return Swept(None, np.inf, True)
        # Every sequence below the cut goes through one of these.
        least = max(least, float(np.min(value + ahead - weights.prices[last])))
        made += len(last)
        layers.append((done, last, value, ahead, came))
    last, value = layers[-1][1:3]
    total = value + cost[last, count + 1]
    at = int(np.argmin(total))
    if not total[at] < below:
        return Swept(None, np.inf, True)
    order = []
    for _, ended, _, _, came in reversed(layers[1:]):
        order.append(int(ended[at]) - 1)
        at = int(came[at])
    found = tuple(reversed(order))
    seconds = problem.seconds(found)
    return Swept(Found(found, seconds, made), seconds, True)


def _masks(table: NDArray[np.bool_], words: int) -> Words:
    """Return each row of a table as bits of whole words."""
    bits = np.zeros((len(table), words * 64), dtype=np.uint64)
    bits[:, : table.shape[1]] = table
    powers = np.uint64(1) << np.arange(64, dtype=np.uint64)
    return np.asarray((bits.reshape(len(table), words, 64) * powers).sum(axis=2, dtype=np.uint64))


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


@numba.njit
def _lost(done, sets, weight, chain, own):  # type: ignore[no-untyped-def]
    """Return the weight of the sets that hold a group and none of those done."""
    lost = 0.0
    for k in chain[1][chain[0][own] : chain[0][own + 1]]:
        free = True
        for w in range(len(done)):
            if done[w] & sets[k, w]:
                free = False
                break
        if free:
            lost += weight[k]
    return lost


@compiled
def _grown(  # type: ignore[no-untyped-def]
    cost, group, need, sets, weight, chain, prices, below, done, last, value, ahead, most
):
    """Return the states with one group more, and from which each came; stops above `most`."""
    words = done.shape[1]
    size = 1024
    table = np.full(size, -1, np.int64)
    room = 512
    new_done = np.empty((room, words), np.uint64)
    new_last = np.empty(room, np.int64)
    new_value = np.empty(room)
    new_ahead = np.empty(room)
    came = np.empty(room, np.int64)
    count = 0
    key = np.empty(words, np.uint64)
    for state in range(len(last)):
        before = -1
        rest = 0.0
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
            if own != before:
                rest = ahead[state] - _lost(done[state], sets, weight, chain, own)
                before = own
            if value[state] + step + rest - prices[node] >= below:
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
                new_ahead = np.concatenate((new_ahead, np.empty(room)))
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
            new_ahead[count] = rest
            came[count] = state
            count += 1
            if count > most:
                break
        if count > most:
            break
    return new_done[:count], new_last[:count], new_value[:count], new_ahead[:count], came[:count]
