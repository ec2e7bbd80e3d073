"""The shortest path through all nodes when some must come before others (sequential ordering).

The path begins at node 0, ends at node n - 1 and meets every node once.  What one round of the
search does stands in `gudgeon.order.exchange`; here the problem is brought into the form of the
compiled loops, and two searches with chances of their own run side by side.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.order import exchange, rebuild
from gudgeon.order.compiled import seeded
from gudgeon.order.problem import checked_pairs, closed

__all__ = ["ROUNDS", "Path", "closure", "is_allowed", "length", "shortest_path"]

ROUNDS: Final = 100_000
"""Rounds of each search if not told."""

SEARCHES: Final = 2
"""Searches side by side, however many cores there are: the result must not depend on them."""

CHUNK: Final = 5_000
"""Rounds between two looks at whether to go on."""

NEAR: Final = 10
"""Nodes that may follow each that are looked at when steps are exchanged."""

AROUND: Final = 60
"""Nodes near each that are taken out with it."""

COOLING: Final = 400_000
"""Most rounds from hot to cold; where more are asked for, equal coolings follow each other, for
another way to the cold was worth more than a slower one."""

HOT: Final = 1.2
COLD: Final = 0.1
"""First and last temperature of a cooling, as shares of the mean step of the first path."""

SHARES: Final = (0.05, 0.6, 0.2)
"""Shares of rounds that move a run, that disturb and mend, and of all others that mend too."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Path:
    """The best path that a search found.

    Attributes
    ----------
    order : tuple of int
        Every node once, from node 0 to node n - 1.
    length : float
        Sum of its steps, exact for whole numbers below 2**53; inf where no path of allowed steps
        was met, which does not prove that there is none.
    rounds : int
        Rounds that each search ran.
    """

    order: tuple[int, ...]
    length: float
    rounds: int


def closure(nodes: int, before: ArrayLike) -> Bools:
    """Return which node comes before which, directly or by others.

    Parameters
    ----------
    nodes : int
    before : array_like of int, shape (k, 2)
        Node a of each pair (a, b) comes before node b.

    Returns
    -------
    ndarray of bool, shape (nodes, nodes)
        Whether a comes before b, at [a, b].

    Raises
    ------
    CycleError
        If the pairs go round in a circle, which it names.
    ValueError
        If they are not pairs of nodes.

    Examples
    --------
    >>> closure(3, [(0, 1), (1, 2)]).astype(int).tolist()
    [[0, 1, 1], [0, 0, 1], [0, 0, 0]]
    """
    return closed(nodes, checked_pairs(before, nodes))


def is_allowed(before: ArrayLike, order: Sequence[int]) -> bool:
    """Return whether an order meets every node once and keeps what must come first.

    Parameters
    ----------
    before : array_like of bool, shape (n, n)
        Whether node a must come before node b, at [a, b]; need not be closed.
    order : sequence of int
    """
    first = np.asarray(before, dtype=bool)
    if sorted(order) != list(range(len(first))):
        return False
    place = np.argsort(order)
    a, b = np.nonzero(first)
    return bool(np.all(place[a] < place[b]))


def length(cost: ArrayLike, order: Sequence[int]) -> float:
    """Return the sum of the steps of an order.

    Raises
    ------
    ValueError
        If the order does not meet every node once.
    """
    table = np.asarray(cost)
    if sorted(order) != list(range(len(table))):
        raise ValueError("order must meet every node once")
    nodes = np.asarray(order, dtype=np.int64)
    return float(table[nodes[:-1], nodes[1:]].sum())


def shortest_path(
    cost: ArrayLike,
    before: ArrayLike,
    *,
    seed: int = 1,
    rounds: int = ROUNDS,
    keep_going: Callable[[], bool] | None = None,
) -> Path:
    """Search for the shortest allowed path from node 0 to node n - 1.

    The same seed and rounds give the same path again, unless `keep_going` ends the search.

    Parameters
    ----------
    cost : array_like, shape (n, n)
        Cost of the step from node i to node j, at [i, j], of any sign; inf: j must not follow i.
        Steps that `before` shuts out anyway, and the diagonal, are never used.
    before : array_like of bool, shape (n, n)
        Whether node a must come before node b, at [a, b]; closed here if it is not.
    seed : int
        Other seeds may find other paths.
    rounds : int
        Rounds of each of the two searches, 2 to 10 us each with 50 to 150 nodes.  They also set
        how slowly a search cools down: up to `COOLING`, after which it is heated again.
    keep_going : callable, optional
        Asked every `CHUNK` rounds; the best so far is returned once it says no.

    Returns
    -------
    Path

    Raises
    ------
    CycleError
        If no order is allowed, for what must come first goes round in a circle.
    ValueError
        If a shape is wrong, a cost is not a number or minus infinity, rounds are below zero, or
        something must come before node 0 or after node n - 1.

    Examples
    --------
    >>> cost = [[0, 1, 5, 9], [9, 0, 1, 4], [9, 1, 0, 1], [9, 9, 9, 0]]
    >>> shortest_path(cost, closure(4, [])).order
    (0, 1, 2, 3)
    >>> shortest_path(cost, closure(4, [(2, 1)]))
    Path(order=(0, 2, 1, 3), length=10.0, rounds=0)
    """
    if rounds < 0:
        raise ValueError("rounds must not be below zero")
    table, first = _checked(cost, before)
    size = len(table)
    order: Sequence[int]
    done = 0
    if size < 4 or _is_forced(first):
        order = np.argsort(first.sum(axis=0), kind="stable").tolist()
    else:
        searches = [_Search.start(table, first, seed, k) for k in range(SEARCHES)]
        cooling = -(-rounds // max(1, -(-rounds // COOLING)))
        with ThreadPoolExecutor(SEARCHES) as pool:
            while done < rounds and (keep_going is None or keep_going()):
                begin = done % cooling
                end = min(begin + CHUNK, cooling, begin + rounds - done)
                list(
                    pool.map(
                        _Search.run, searches, *([k] * SEARCHES for k in (begin, end, cooling))
                    )
                )
                done += end - begin
        order = min(searches, key=lambda one: one.values[1]).best.tolist()
    found = length(_shut(table, first), order)
    return Path(tuple(order), found, done)


@dataclass(frozen=True, slots=True)
class _Search:
    """One search as the compiled loop takes it; see `exchange.anneal`."""

    tables: tuple[object, ...]
    now: Ints
    best: Ints
    values: Floats
    state: NDArray[np.uint64]
    heat: tuple[float, float]
    limits: tuple[float, float]

    @classmethod
    def start(cls, table: Floats, first: Bools, seed: int, number: int) -> _Search:
        """Bring a problem into the form of the compiled loop, and go a first way through it."""
        size = len(table)
        open_ = _shut(table, first)
        shut = np.isinf(open_)
        # One shut step costs more than any path of open ones saves.
        spread = np.where(shut, 0.0, np.abs(open_)).max(axis=0).sum()
        wall = 1.0 + 2.0 * float(spread)
        walled = np.where(shut, wall, open_)
        inner = first[1:-1, 1:-1]
        group = np.concatenate([[-1], np.arange(size - 2), [-1]])
        numbers = np.arange(size - 1), np.arange(1, size - 1)
        early, late = _rows(inner.T), _rows(inner)
        direct = first & ~_through(first)
        state = seeded(SEARCHES * seed + number)
        now = rebuild.first_sequence(walled, group, *numbers, early, state)
        apart = np.minimum(walled, walled.T)[1:-1, 1:-1].copy()
        np.fill_diagonal(apart, -np.inf)
        around = np.argsort(apart, axis=1, kind="stable")[:, :AROUND]
        steps = walled[now[:-1], now[1:]]
        usual = np.sort(open_, axis=1)[:-1, : min(NEAR, size)]
        usual = usual[np.isfinite(usual)]
        mean = max(
            float(np.abs(steps[steps < wall]).sum()) / size, 1e-9 * float(usual.std()) or 1.0
        )
        tables = (
            walled, np.ascontiguousarray(walled.T), _near(open_), np.ascontiguousarray(around),
            group, *numbers, early, late, _rows(direct.T), _rows(direct),
        )  # fmt: skip
        return cls(
            tables=tables,
            now=now,
            best=now.copy(),
            values=np.full(2, rebuild.length(walled, now)),
            state=state,
            heat=(HOT * mean, COLD * mean),
            limits=(wall, 1e-9 * mean),
        )

    def run(self, begin: int, end: int, rounds: int) -> None:
        """Run some of the rounds."""
        exchange.anneal(
            *self.tables, self.now, self.best, self.values, self.state,
            begin, end, rounds, *self.heat, SHARES, *self.limits,
        )  # fmt: skip


def _checked(cost: ArrayLike, before: ArrayLike) -> tuple[Floats, Bools]:
    """Return costs and the closure of what must come first, or say what is wrong with them."""
    table = np.array(cost, dtype=np.float64)
    first = np.array(before, dtype=bool)
    size = len(table) if table.ndim else 0
    if size < 2 or table.shape != (size, size):
        raise ValueError(f"cost must have shape (n, n) with n of 2 or more, not {table.shape}")
    if first.shape != (size, size):
        raise ValueError(f"before must have shape {(size, size)}, but it has {first.shape}")
    np.fill_diagonal(table, 0.0)
    if np.any(np.isnan(table)) or np.any(table == -np.inf):
        raise ValueError("cost holds a value that is not a number, or minus infinity")
    first = closure(size, np.argwhere(first))
    if first[:, 0].any() or first[-1].any():
        raise ValueError("nothing can come before node 0, nor after node n - 1")
    first[0, 1:] = True
    first[:-1, -1] = True
    return table, first


def _is_forced(first: Bools) -> bool:
    """Whether one order only is allowed."""
    return int(first.sum()) == len(first) * (len(first) - 1) // 2


def _through(first: Bools) -> Bools:
    """Whether a third node must lie between two."""
    whole = first.astype(np.float32)
    between: Bools = (whole @ whole) > 0.5
    return between


def _shut(table: Floats, first: Bools) -> Floats:
    """Return costs with inf where no allowed path can go."""
    return np.where(first.T | _through(first) | np.eye(len(first), dtype=bool), np.inf, table)


def _near(open_: Floats) -> Ints:
    """Return the nodes that may follow each, nearest first, filled up with the last of them."""
    size = len(open_)
    near = np.empty((size, min(NEAR, size)), np.int64)
    for node, row in enumerate(open_):
        after = np.argsort(row, kind="stable")[: near.shape[1]]
        after = after[np.isfinite(row[after])]
        near[node] = np.resize(after, near.shape[1]) if len(after) else node
        near[node, len(after) :] = after[-1] if len(after) else node
    return near


def _rows(table: Bools) -> tuple[Ints, Ints]:
    """Return where each row of a table begins, and the true columns of all rows."""
    rows, columns = np.nonzero(table)
    return np.searchsorted(rows, np.arange(len(table) + 1)), np.ascontiguousarray(columns)
