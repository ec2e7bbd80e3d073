"""How short a sequence can be at most, and whether the one at hand is proven shortest.

In turn, until the gap is closed: the priced tree of `gudgeon.order.tree`; the same again without
the steps that no better sequence can use; some parts alone (`gudgeon.order.part`); the exact sweep
of `gudgeon.order.exact`, which drops what cannot end below the best known; and CP-SAT
(`gudgeon.order.circuit`) where it is installed.
Each is a bound by itself; the best counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.order import circuit
from gudgeon.order.exact import Weights, sweep
from gudgeon.order.part import Parts, bound_by_parts
from gudgeon.order.problem import Bound, Problem
from gudgeon.order.search import search
from gudgeon.order.tree import raise_prices

__all__ = ["SAME_S", "bound"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SAME_S: Final = 1e-3
"""Two lengths that differ by no more count as the same [s]."""

_ASKED_S: Final = SAME_S / 2.0
"""A sequence counts as shorter than the best known from here on [s]."""

_ROUNDING: Final = 1e-9
"""Share of a bound that is taken off for rounding: some hundred sums of doubles."""

_SEARCHED: Final = 3_000
"""Rounds of search where no sequence is handed in."""

_PRICED: Final = 400
"""Rounds of prices at each pass."""

_PASSES: Final = 3

_STATES: Final = 150_000
"""States of the sweep for one unit of effort."""

_PART_STATES: Final = 30_000
"""States of the sweep of some parts alone for one unit of effort."""

_PART_SEARCHED: Final = 500
"""Rounds of search for some parts alone."""

_WORK: Final = 0.5
"""Count of work of the solver for one unit of effort."""


def bound(
    problem: Problem,
    *,
    effort: float = 1.0,
    hint: Sequence[int] | None = None,
    keep_going: Callable[[], bool] | None = None,
) -> Bound:
    """Return how short a sequence can be at most.

    Parameters
    ----------
    problem : Problem
    effort : float
        1 takes 1 to 3 s, about in proportion; 0 only the priced tree (below 1 s).
    hint : sequence of int, optional
        The best sequence of nodes known.  The nearer it is, the more is proven.
    keep_going : callable, optional
        Asked now and then; where it says no, what is known so far is returned.

    Returns
    -------
    Bound
        Not longer than any allowed sequence: rounding is taken off.

    Raises
    ------
    ValueError
        If `hint` is no allowed sequence, or `effort` is below zero.
    """
    if not effort >= 0.0:
        raise ValueError("effort must not be below zero")
    order = tuple(hint) if hint else search(problem, rounds=_SEARCHED).order
    upper = problem.seconds(order) if order else np.inf
    if np.isinf(upper):
        order = ()
    low, weights, cost = _priced(problem, upper)

    def is_open() -> bool:
        return upper - low > SAME_S and (keep_going is None or keep_going())

    if effort > 0.0 and is_open() and order:
        by_parts = bound_by_parts(
            Parts(problem, cost, weights.prices),
            lambda part, known: _solved(part, known, int(effort * _PART_STATES)),
            order,
            lambda reached: reached < upper - SAME_S and is_open(),
        )
        low = max(low, _less(min(by_parts, upper - _ASKED_S)))
    if effort > 0.0 and is_open():
        states = int(effort * _STATES)
        below = upper - _ASKED_S
        swept = sweep(
            problem, states=states, below=below, weights=weights, cost=cost, keep_going=keep_going
        )
        if swept.found is not None and swept.found.order:
            order, upper = swept.found.order, swept.found.seconds
        low = max(low, _less(min(swept.least, below, upper)))
    if (
        effort > 0.0
        and is_open()
        and np.count_nonzero(np.isfinite(cost)) <= circuit.MOST_STEPS
        and circuit.is_at_hand()
    ):
        solved = circuit.solve(problem, cost, work=effort * _WORK, hint=order)
        # Steps that are shut in `cost` lead to nothing shorter than this.
        low = max(low, _less(min(solved.least, upper - _ASKED_S)))
        if solved.order:
            seconds = problem.seconds(solved.order)
            if seconds < upper:
                order, upper = solved.order, seconds
    low = min(low, upper)
    return Bound(low, bool(order) and upper - low <= SAME_S, order or None)


def _solved(problem: Problem, known: tuple[int, ...], states: int) -> float:
    """Return a bound of some parts alone."""
    upper = min(problem.seconds(known), search(problem, rounds=_PART_SEARCHED).seconds)
    low, weights, cost = _priced(problem, upper)
    if upper - low <= SAME_S:
        return low
    below = upper - _ASKED_S
    swept = sweep(problem, states=states, below=below, weights=weights, cost=cost)
    return max(low, min(swept.least, below))


def _less(seconds: float) -> float:
    """Return a bound with what rounding may have added taken off; never below zero."""
    return max(0.0, seconds - _ROUNDING * abs(seconds)) if np.isfinite(seconds) else seconds


def _priced(problem: Problem, upper: float) -> tuple[float, Weights, Floats]:
    """Return the bound by priced trees, its weights, and the costs of the steps still needed."""
    cost = np.array(problem.cost)
    group = np.concatenate([[-1], problem.group, [-1]])
    nodes = np.argsort(problem.group, kind="stable") + 1
    first = np.searchsorted(np.sort(problem.group), np.arange(problem.groups + 1))
    prices = np.zeros(len(group))
    below = upper - _ASKED_S
    towards = upper
    if np.isinf(upper):
        towards = float(np.where(np.isfinite(cost), cost, 0.0).max(axis=0).sum())
    low = 0.0
    for _ in range(_PASSES):
        found, prices, vertex, weight = raise_prices(
            cost, group, first, nodes, prices, towards, _PRICED
        )
        low = max(low, _less(min(found, below)))
        if found >= below or not np.isfinite(found):
            break
        useless = found + _left_over(cost, group, prices, vertex, weight) >= below + 1e-6
        if not np.any(useless & np.isfinite(cost)):
            break
        cost[useless] = np.inf
    return low, _as_weights(problem, prices, vertex, weight), cost


def _left_over(cost: Floats, group: Ints, prices: Floats, vertex: Ints, weight: Floats) -> Floats:
    """Return by how much each step makes the priced bound longer at least; shape as `cost`."""
    own = group + 1
    own[-1] = vertex.shape[1] - 1
    rest = cost + prices[:, None] - prices
    for level, weights in zip(vertex, weight, strict=True):
        at = level[own]
        rest -= np.where(at[:, None] != at, weights[at], 0.0)
    return rest


def _as_weights(problem: Problem, prices: Floats, vertex: Ints, weight: Floats) -> Weights:
    """Return the sets of groups with their weights; those that hold the end stay to the end."""
    holds: list[Any] = []
    each: list[float] = []
    always = 0.0
    for level, weights in zip(vertex, weight, strict=True):
        for number in range(1, int(level.max()) + 1):
            if weights[number] != 0.0:
                inside = level[1:-1] == number
                if inside.any():
                    holds.append(inside)
                    each.append(float(weights[number]))
                else:
                    always += float(weights[number])
    table = np.array(holds, dtype=bool).reshape(len(holds), problem.groups)
    return Weights(prices, table, np.array(each), always)
