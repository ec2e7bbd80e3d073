"""The shortest sequence that a search finds: order and alternatives together.

A long chain of small changes, compiled; what one change does stands in `gudgeon.order.rebuild`.
The same seed and rounds give the same sequence again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.order import rebuild
from gudgeon.order.compiled import seeded
from gudgeon.order.problem import Found, Problem

__all__ = ["ROUNDS", "search"]

ROUNDS: Final = 20_000
"""Rounds if not told: 0.1 to 1 s.  Of twelve invented loads of 45 to 322 operations nine ended
within 0.2 % of the change-over time found in 10 s, two 1 and 2 % above it, the largest 7 %
(`benchmarks/order_shop.py`); from 200 operations 100,000 are worth their time."""

CHUNK: Final = 1_000
"""Rounds between two looks at whether to go on."""

NEAR: Final = 60
"""Groups near each one that are looked at."""

HOT: Final = 2.0
COLD: Final = 0.004
"""First and last temperature, as shares of the mean step of the first sequence.  Tried: 0.3 to 5
and 0.003 to 0.05, on loads of 50 to 320 operations and on published instances of 40 to 150 nodes.
Loads want a cold end, for their steps are of two sizes (changes of tools, and travel)."""

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def search(
    problem: Problem,
    *,
    seed: int = 1,
    rounds: int = ROUNDS,
    keep_going: Callable[[], bool] | None = None,
    told: Callable[[float], None] | None = None,
) -> Found:
    """Search for the shortest allowed sequence.

    Parameters
    ----------
    problem : Problem
    seed : int
        Other seeds may find other sequences.
    rounds : int
        Changes that are tried, 3 to 35 us each with 50 to 320 operations.  They also set how
        slowly the search cools down, so twice the rounds is more than a repeated search.
    keep_going : callable, optional
        Asked every `CHUNK` rounds; the best so far is returned once it says no.
    told : callable, optional
        Gets the share of the rounds that are done, 0 to 1.

    Returns
    -------
    Found
        The best sequence met; its order is empty and its seconds inf if none was met that uses
        allowed steps only.  That there is none is not proven by this.

    Raises
    ------
    ValueError
        If `rounds` is below zero.
    """
    if rounds < 0:
        raise ValueError("rounds must not be below zero")
    own = _arrays(problem, seed)
    state = seeded(seed)
    now = rebuild.first_sequence(own.cost, own.group, own.first, own.nodes, own.early, state)
    best = now.copy()
    values = np.full(2, rebuild.length(own.cost, now))
    done = 0
    if problem.groups > 1 or not problem.is_single:
        mean = _mean_step(problem, own, now)
        while done < rounds and (keep_going is None or keep_going()):
            until = min(done + CHUNK, rounds)
            rebuild.anneal(
                own.cost, own.back, own.group, own.first, own.nodes, own.early, own.late,
                own.near, now, best, values, state, done, until, rounds, HOT * mean, COLD * mean,
            )  # fmt: skip
            done = until
            if told is not None:
                told(done / rounds)
    order = tuple(int(node) - 1 for node in best[1:-1])
    seconds = problem.seconds(order)
    return Found(order if np.isfinite(seconds) else (), seconds, done)


@dataclass(frozen=True, slots=True)
class _Arrays:
    """A problem as the compiled search takes it; see there."""

    cost: Floats
    back: Floats
    group: Ints
    first: Ints
    nodes: Ints
    early: tuple[Ints, Ints]
    late: tuple[Ints, Ints]
    near: Ints


def _arrays(problem: Problem, seed: int) -> _Arrays:
    cost = np.array(problem.cost)
    shut = np.isinf(cost)
    # One shut step costs more than any sequence of open ones.
    cost[shut] = 1.0 + 2.0 * np.where(shut, 0.0, cost).max(axis=0).sum()
    nodes = np.argsort(problem.group, kind="stable")
    first = np.searchsorted(problem.group[nodes], np.arange(problem.groups + 1))
    apart = np.minimum(problem.between, problem.between.T)[np.ix_(nodes, nodes)]
    apart = np.minimum.reduceat(np.minimum.reduceat(apart, first[:-1], axis=0), first[:-1], axis=1)
    np.fill_diagonal(apart, -1.0)
    ties = np.random.default_rng(abs(seed)).random(apart.shape)
    return _Arrays(
        cost=cost,
        back=np.ascontiguousarray(cost.T),
        group=np.concatenate([[-1], problem.group, [-1]]),
        first=first,
        nodes=nodes + 1,
        early=_rows(problem.closure.T),
        late=_rows(problem.closure),
        near=np.ascontiguousarray(np.lexsort((ties, apart), axis=1)[:, :NEAR]),
    )


def _mean_step(problem: Problem, own: _Arrays, sequence: Ints) -> float:
    """Return the mean open step without the time in the nodes; never zero."""
    steps = own.cost[sequence[:-1], sequence[1:]]
    steps[:-1] -= problem.own[sequence[1:-1] - 1]
    open_ = np.isfinite(problem.cost[sequence[:-1], sequence[1:]])
    return max(float(steps[open_].sum()) / len(steps), 1e-6)


def _rows(table: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Return where each row of a table begins, and the true columns of all rows."""
    rows, columns = np.nonzero(table)
    return np.searchsorted(rows, np.arange(len(table) + 1)), np.ascontiguousarray(columns)
