"""Compiled search: take some operations out of a sequence and put them back where they fit best.

One round either takes out *strings* of operations that lie near each other in cost and puts each
back at its best place by its best node (the idea of ruin and recreate, G. Schrimpf et al. 2000, and
of strings with "blinks", J. Christiaens and G. Vanden Berghe 2020), or moves a whole *run* - what
lies between two dear steps, such as all that one tool does in one pose - to its best place.  Then
the nodes of all groups are chosen anew by a shortest path through the sequence of groups, so that
order and alternatives improve together.  Worse sequences are taken with a chance that falls from
round to round (simulated annealing).  No move ever leaves the allowed sequences.

Arrays of all functions here: `cost` (n + 2, n + 2) as `Problem.cost` with a large number for what
is not allowed, `group` (n + 2,) of each node (-1: start, end), `first` (m + 1,) and `nodes` the
nodes of group g as ``nodes[first[g]:first[g + 1]]``; `early` and `late` in the same form the groups
that come before and after each group, closed.  `sequence` (m + 2,) holds nodes from start to end.
"""

from __future__ import annotations

from typing import Final

import numba
import numpy as np

from gudgeon.order import compiled as chances
from gudgeon.order.compiled import chance, compiled, mark_of, pick

__all__ = [
    "MARK",
    "anneal",
    "choose_nodes",
    "first_sequence",
    "length",
    "move_run",
    "put_back",
    "sort_taken",
    "take_out",
]

MOST_STRING: Final = 10
"""Longest string that is taken out at once."""

MOST_TAKEN: Final = 20
"""Operations after which no further string is taken out."""

BLINK: Final = 100
"""One place in so many is overlooked, so that not every rebuild ends the same."""

RUN_SHARE: Final = 0.3
"""Share of the rounds that move a run."""

MARK: Final = mark_of(chances)


@compiled
def length(cost, sequence):  # type: ignore[no-untyped-def]
    """Add up the steps of a sequence."""
    total = 0.0
    for k in range(len(sequence) - 1):
        total += cost[sequence[k], sequence[k + 1]]
    return total


@numba.njit
def choose_nodes(cost, group, first, nodes, sequence, value, came):  # type: ignore[no-untyped-def]
    """Choose the nodes that make a sequence of groups shortest, in place; return its length.

    `value` (2, w) and `came` (m + 2, w) are room to work in, w the most nodes of a group.
    """
    last = len(sequence) - 1
    now, many = 0, 1
    value[0, 0] = 0.0
    was = -1
    for k in range(1, last + 1):
        own = group[sequence[k]]
        count = 1 if own < 0 else first[own + 1] - first[own]
        for b in range(count):
            node = sequence[k] if own < 0 else nodes[first[own] + b]
            best, at = np.inf, 0
            for a in range(many):
                tail = sequence[0] if was < 0 else nodes[first[was] + a]
                through = value[now, a] + cost[tail, node]
                if through < best:
                    best, at = through, a
            value[1 - now, b] = best
            came[k, b] = at
        now, many, was = 1 - now, count, own
    at = 0
    for k in range(last, 0, -1):
        if k < last:
            sequence[k] = nodes[first[group[sequence[k]]] + at]
        at = came[k, at]
    return value[now, 0]


@compiled
def first_sequence(cost, group, first, nodes, early, state, mark=MARK):  # type: ignore[no-untyped-def]
    """Go to the nearest operation that is allowed next, again and again; return the sequence."""
    groups = len(first) - 1
    left = np.empty(groups, np.int64)
    done = np.zeros(groups, np.bool_)
    for g in range(groups):
        left[g] = early[0][g + 1] - early[0][g]
    sequence = np.zeros(groups + 2, np.int64)
    for k in range(1, groups + 1):
        best, at, ties = np.inf, -1, 0
        for g in range(groups):
            if done[g] or left[g] > 0:
                continue
            for node in nodes[first[g] : first[g + 1]]:
                step = cost[sequence[k - 1], node]
                if step == best:
                    ties += 1
                if step < best or (step == best and pick(state, ties + 1) == 0):
                    if step < best:
                        ties = 0
                    best, at = step, node
        sequence[k] = at
        chosen = group[at]
        done[chosen] = True
        for g in range(groups):
            for other in early[1][early[0][g] : early[0][g + 1]]:
                if other == chosen:
                    left[g] -= 1
    sequence[groups + 1] = len(group) - 1
    return sequence


@numba.njit
def take_out(group, near, sequence, place, taken, state, most, share):  # type: ignore[no-untyped-def]
    """Take out strings around groups that lie near a drawn one; return how many groups.

    `place` (m,) becomes -1 for those in `taken`; the sequence closes up.
    """
    groups = len(place)
    wanted = 1 + pick(state, most)
    longest = 1 + pick(state, min(MOST_STRING, max(1, groups // 3)))
    seed = pick(state, groups)
    count = 0
    for k in range(near.shape[1]):
        middle = near[seed, k]
        if place[middle] < 0 or (k > 0 and chance(state) > share):
            continue
        size = 1 + pick(state, longest)
        begin = max(1, place[middle] - pick(state, size))
        for at in range(begin, min(begin + size, groups + 1)):
            own = group[sequence[at]]
            if place[own] >= 0 and count < len(taken):
                place[own] = -1
                taken[count] = own
                count += 1
        if count >= wanted:
            break
    to = 1
    for k in range(1, groups + 1):
        own = group[sequence[k]]
        if place[own] >= 0:
            sequence[to] = sequence[k]
            place[own] = to
            to += 1
    sequence[to] = sequence[groups + 1]
    return count


@numba.njit
def sort_taken(taken, count, was, early, late, state):  # type: ignore[no-untyped-def]
    """Bring the groups that were taken out into the sequence in which they are put back."""
    way = chance(state)
    keys = np.empty(count)
    for k in range(count):
        own = taken[k]
        if way < 0.4:
            keys[k] = chance(state)
        elif way < 0.7:
            keys[k] = was[own]
        elif way < 0.85:
            keys[k] = -was[own]
        else:
            bound = early[0][own + 1] - early[0][own] + late[0][own + 1] - late[0][own]
            keys[k] = -bound + 0.5 * chance(state)
    for k in range(1, count):
        key, own = keys[k], taken[k]
        j = k - 1
        while j >= 0 and keys[j] > key:
            keys[j + 1], taken[j + 1] = keys[j], taken[j]
            j -= 1
        keys[j + 1], taken[j + 1] = key, own


@numba.njit
def put_back(  # type: ignore[no-untyped-def]
    cost, back, group, first, nodes, early, late, sequence, place, own, many, blink, state
):
    """Put one group back at its best place by its best node; `many` groups are in the sequence."""
    low, high = 0, many + 1
    for other in early[1][early[0][own] : early[0][own + 1]]:
        low = max(low, place[other])
    for other in late[1][late[0][own] : late[0][own + 1]]:
        if place[other] >= 0:
            high = min(high, place[other])
    width = high - low
    turn = pick(state, width)
    best, at, with_ = np.inf, low, nodes[first[own]]
    for node in nodes[first[own] : first[own + 1]]:
        to, from_ = back[node], cost[node]
        for half in range(2):
            begin = low + turn if half == 0 else low
            end = high if half == 0 else low + turn
            for k in range(begin, end):
                blink[0] -= 1
                if blink[0] < 0:
                    blink[0] = pick(state, 2 * BLINK)
                    continue
                a, b = sequence[k], sequence[k + 1]
                more = to[a] + from_[b] - cost[a, b]
                if more < best:
                    best, at, with_ = more, k, node
    for k in range(many + 1, at, -1):
        node = sequence[k]
        sequence[k + 1] = node
        if group[node] >= 0:
            place[group[node]] = k + 1
    sequence[at + 1] = with_
    place[own] = at + 1


@numba.njit
def move_run(cost, group, early, late, sequence, place, marks, room, blink, state):  # type: ignore[no-untyped-def]
    """Move what lies between two dear steps to its best other place; whether there was one."""
    groups = len(place)
    middle = 1 + pick(state, groups)
    cut = pick(state, groups + 1)
    dear = cost[sequence[cut], sequence[cut + 1]]
    i = j = middle
    while i > 1 and cost[sequence[i - 1], sequence[i]] < dear:
        i -= 1
    while j < groups and cost[sequence[j], sequence[j + 1]] < dear:
        j += 1
    if chance(state) < 0.25:  # a part of it only
        i = middle - pick(state, middle - i + 1)
        j = middle + pick(state, j - middle + 1)
    size = j - i + 1
    if size >= groups:
        return False
    marks[1] += 2  # of early ones: marks[1] + 2; of late ones: + 3
    mark = marks[1]
    for k in range(i, j + 1):
        own = group[sequence[k]]
        for other in early[1][early[0][own] : early[0][own + 1]]:
            marks[2 + other] = mark
    low = i - 1
    while low > 0 and marks[2 + group[sequence[low]]] != mark:
        low -= 1
    for k in range(i, j + 1):
        own = group[sequence[k]]
        for other in late[1][late[0][own] : late[0][own + 1]]:
            marks[2 + other] = mark + 1
    high = j + 1
    while high <= groups and marks[2 + group[sequence[high]]] != mark + 1:
        high += 1
    if low == i - 1 and high == j + 1:
        return False
    head, tail = sequence[i], sequence[j]
    best, at = np.inf, -1
    slots = (i - 1 - low) + (high - j - 1)
    turn = pick(state, slots)
    for s in range(slots):
        slot = s + turn if s + turn < slots else s + turn - slots
        k = low + slot if slot < i - 1 - low else slot - (i - 1 - low) + j + 1
        blink[0] -= 1
        if blink[0] < 0:
            blink[0] = pick(state, 2 * BLINK)
            continue
        a, b = sequence[k], sequence[k + 1]
        more = cost[a, head] + cost[tail, b] - cost[a, b]
        if more < best:
            best, at = more, k
    if at < 0:
        return False
    for k in range(size):
        room[k] = sequence[i + k]
    if at < i:
        for k in range(i - 1, at, -1):
            sequence[k + size] = sequence[k]
        to = at + 1
    else:
        for k in range(j + 1, at + 1):
            sequence[k - size] = sequence[k]
        to = at - size + 1
    for k in range(size):
        sequence[to + k] = room[k]
    return True


@compiled
def anneal(  # type: ignore[no-untyped-def]
    cost, back, group, first, nodes, early, late, near,
    now, best, values, state, begin, end, rounds, hot, cold, mark=MARK,
):  # fmt: skip
    """Run rounds begin to end - 1 of `rounds`; `now` and `best` are changed in place.

    Parameters
    ----------
    back : ndarray, shape (n + 2, n + 2)
        `cost` with rows and columns exchanged.
    near : ndarray of int, shape (m, k)
        Of each group itself and those that lie near it, nearest first.
    now, best : ndarray of int, shape (m + 2,)
        Sequences.
    values : ndarray, shape (2,)
        Their lengths.
    hot, cold : float
        Temperature of the first and the last round [s].
    """
    groups = len(first) - 1
    single = len(nodes) == groups
    trial = now.copy()
    place = np.empty(groups, np.int64)
    was = np.empty(groups, np.int64)
    taken = np.empty(MOST_TAKEN + MOST_STRING, np.int64)
    marks = np.zeros(groups + 2, np.int64)
    room = np.empty(groups, np.int64)
    blink = np.array([pick(state, 2 * BLINK)])
    widest = 1
    for g in range(groups):
        widest = max(widest, first[g + 1] - first[g])
    value = np.empty((2, widest))
    came = np.zeros((groups + 2, widest), np.int64)
    most = min(MOST_TAKEN, max(1, groups // 2))
    for step in range(begin, end):
        heat = hot * (cold / hot) ** (step / rounds)
        trial[:] = now
        if chance(state) < RUN_SHARE:
            if not move_run(cost, group, early, late, trial, place, marks, room, blink, state):
                continue
        else:
            for k in range(1, groups + 1):
                place[group[trial[k]]] = k
            was[:] = place
            count = take_out(group, near, trial, place, taken, state, most, 0.7)
            sort_taken(taken, count, was, early, late, state)
            for k in range(count):
                put_back(
                    cost, back, group, first, nodes, early, late, trial, place, taken[k],
                    groups - count + k, blink, state,
                )  # fmt: skip
        if single:
            new = length(cost, trial)
        else:
            new = choose_nodes(cost, group, first, nodes, trial, value, came)
        if new < values[0] - heat * np.log(max(chance(state), 1e-300)):
            now[:] = trial
            values[0] = new
            if new < values[1] - 1e-9:
                best[:] = trial
                values[1] = new
