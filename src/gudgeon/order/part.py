"""A bound from some of the groups only, solved exactly.

What must come first often makes a tool come twice; a tree does not see that, but the operations of
one or two parts, taken alone, show it.  Left-out groups are not forgotten: each is entered once, so
the least priced step into it counts in full, and what is above that on every step is *left over*
(never below zero).  A sequence of all groups, with the others skipped, is a sequence of those that
are kept; between two of them it leaves over at least the shortest way.  So the least of all steps
plus the shortest sequence of the kept groups over such ways is a bound.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from gudgeon.order.problem import Problem, UnreachableError

__all__ = ["Parts", "bound_by_parts"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

GAIN_S: Final = 1e-3
"""A further part must raise the bound by so much to be kept [s]."""

FAILS: Final = 4
"""Parts in a row that raise nothing, after which no other is tried."""

ALIKE: Final = 2
"""Of parts whose operations take the same times so many are tried."""


class Parts:
    """A problem from which groups can be left out.

    Parameters
    ----------
    problem : Problem
    cost : ndarray, shape (n + 2, n + 2)
        As `Problem.cost`, perhaps with more steps shut.
    prices : ndarray, shape (n + 2,)
        Of the nodes; that of the end is 0.

    Attributes
    ----------
    always : float
        Least of all steps into the groups and to the end [s].
    """

    def __init__(self, problem: Problem, cost: Floats, prices: Floats) -> None:
        self.problem = problem
        priced = (cost + prices[:, None] - prices)[:-1, 1:]
        own = np.append(problem.group, problem.groups)
        least = np.full(problem.groups + 1, np.inf)
        np.minimum.at(least, own, priced.min(axis=0))
        left = np.full(cost.shape, np.inf)
        left[:-1, 1:] = priced - least[own]
        # Rounding must not leave a way shorter than nothing.
        ways = np.maximum(left, 0.0)
        for node in range(1, len(ways) - 1):  # R. W. Floyd 1962
            np.minimum(ways, ways[:, node, None] + ways[node], out=ways)
        self.ways = ways
        self.always = float(least.sum() - prices[0])

    def kept(self, groups: Sequence[int]) -> tuple[Problem, Ints]:
        """Return the problem of some groups, with its nodes as nodes of the whole."""
        chosen = np.array(sorted(groups))
        number = np.full(self.problem.groups, -1)
        number[chosen] = np.arange(len(chosen))
        nodes = np.flatnonzero(number[self.problem.group] >= 0)
        ways = self.ways
        at = nodes + 1
        first = np.argwhere(self.problem.closure[np.ix_(chosen, chosen)])
        part = Problem(
            ways[np.ix_(at, at)],
            np.zeros(len(nodes)),
            ways[0, at],
            ways[at, -1],
            number[self.problem.group[nodes]],
            first,
        )
        return part, nodes


def bound_by_parts(
    parts: Parts,
    solve: Callable[[Problem, tuple[int, ...]], float],
    hint: Sequence[int],
    is_open: Callable[[float], bool],
) -> float:
    """Return the best bound by parts that hang together through what must come first.

    They are joined one by one for as long as that raises the bound.

    Parameters
    ----------
    parts : Parts
    solve : callable
        Gets a problem and an allowed sequence of it, returns a bound of its length [s].
    hint : sequence of int
        An allowed sequence of the whole problem.
    is_open : callable
        Gets a bound; whether to look for a better one.
    """
    problem = parts.problem
    pairs = coo_array(
        (np.ones(len(problem.before)), tuple(problem.before.T)),
        shape=(problem.groups, problem.groups),
    )
    count, part_of = connected_components(pairs, directed=False)
    members = _unlike(problem, [np.flatnonzero(part_of == k).tolist() for k in range(count)])

    def tried(groups: list[int]) -> float:
        try:
            part, nodes = parts.kept(groups)
        except UnreachableError:  # by the steps that are still open
            return np.inf
        place = {int(node): k for k, node in enumerate(nodes)}
        return parts.always + solve(part, tuple(place[node] for node in hint if node in place))

    single: list[tuple[float, int]] = []
    best = 0.0
    for k, own in enumerate(members):
        if is_open(best):
            single.append((tried(own), k))
            best = max(best, single[-1][0])
    single.sort(reverse=True)
    kept: list[int] = []
    fails = 0
    reached = 0.0
    for value, k in single:
        if fails >= FAILS or not is_open(best):
            break
        got = tried(kept + members[k]) if kept else value
        if got > reached + GAIN_S:
            kept, reached, fails = kept + members[k], got, 0
        else:
            fails += 1
        best = max(best, reached)
    return best


def _unlike(problem: Problem, members: list[list[int]]) -> list[list[int]]:
    """Return the parts of more than one group, of those that look alike the first few."""
    seen: dict[tuple[float, ...], int] = {}
    chosen = []
    for groups in members:
        looks = tuple(sorted(problem.own[np.isin(problem.group, groups)].round(6).tolist()))
        seen[looks] = seen.get(looks, 0) + 1
        if len(groups) > 1 and seen[looks] <= ALIKE:
            chosen.append(groups)
    return chosen
