"""A sequence to be found: which operations, in which ways, what must come first, what it costs.

An operation at a station is a *group*; each way to do it (a pose, a tool) is a *node*.  Exactly one
node of each group is done.  All costs are seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Bound",
    "CycleError",
    "Found",
    "Problem",
    "UnreachableError",
    "checked_pairs",
    "closed",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_NO_PAIRS: Final = np.zeros((0, 2), dtype=np.int64)


class CycleError(ValueError):
    """What must come first goes round in a circle.

    Attributes
    ----------
    groups : tuple of int
        The circle: each must come before the next, and the last before the first.
    """

    def __init__(self, groups: Sequence[int]) -> None:
        self.groups = tuple(groups)
        way = " before ".join(map(str, (*self.groups, self.groups[0])))
        super().__init__(f"what must come first goes round in a circle: group {way}")


class UnreachableError(ValueError):
    """Groups that no sequence can contain.

    Attributes
    ----------
    groups : tuple of int
        Those of which no node can follow or be followed by anything.
    """

    def __init__(self, groups: Sequence[int]) -> None:
        self.groups = tuple(groups)
        super().__init__(f"no sequence can contain group {', '.join(map(str, self.groups))}")


@dataclass(frozen=True, slots=True)
class Found:
    """The best sequence that a search found.

    Attributes
    ----------
    order : tuple of int
        Nodes, one of each group; empty where none was found.
    seconds : float
        From the start to the end, `Problem.own` included [s]; inf where none was found.
    rounds : int
        Rounds that were run.
    """

    order: tuple[int, ...]
    seconds: float
    rounds: int


@dataclass(frozen=True, slots=True)
class Bound:
    """How short a sequence can be at most.

    Attributes
    ----------
    seconds : float
        No allowed sequence is shorter [s]; inf where it is proven that there is none.
    proven : bool
        Whether `order` is proven to be as short as any (to 1e-3 s).
    order : tuple of int, or None
        The best sequence met on the way or handed in; None where none is known.
    """

    seconds: float
    proven: bool
    order: tuple[int, ...] | None


@dataclass(frozen=True, eq=False, init=False)
class Problem:
    """Nodes in groups, seconds between them, and which group must come before which.

    Parameters
    ----------
    between : array_like, shape (n, n)
        From the end of node i to the start of node j [s]; inf: j must not follow i.  What stands
        on the diagonal or between nodes of one group is never used.
    own : array_like, shape (n,)
        Time in the node [s].
    start : array_like, shape (n,)
        From the state at the start to the start of the node [s]; inf: not the first.
    finish : array_like, shape (n,)
        From the end of the node to the state at the end [s]; inf: not the last.
    group : array_like of int, shape (n,)
        Group of each node, numbered 0 to m - 1 without a gap.
    before : array_like of int, shape (k, 2)
        Group a of each pair (a, b) is done before group b.

    Raises
    ------
    CycleError
        If `before` goes round in a circle.
    UnreachableError
        If a group can be in no sequence for want of a finite way in or out.
    ValueError
        If a shape is wrong, a time is not a number or negative, or a group has no node.

    Examples
    --------
    Two operations, the second of which can be done in either of two poses:

    >>> far = float("inf")
    >>> problem = Problem(
    ...     between=[[0, 5, 9], [5, 0, 0], [9, 0, 0]],
    ...     own=[10, 8, 6],
    ...     start=[1, 1, 1],
    ...     finish=[0, 0, far],
    ...     group=[0, 1, 1],
    ...     before=[(0, 1)],
    ... )
    >>> problem.seconds((0, 1))
    24.0
    >>> problem.seconds((1, 0))
    Traceback (most recent call last):
    ValueError: group 0 must come before group 1, but comes after it
    """

    between: Floats
    own: Floats
    start: Floats
    finish: Floats
    group: Ints
    before: Ints = field(default_factory=_NO_PAIRS.copy)

    def __init__(
        self,
        between: ArrayLike,
        own: ArrayLike,
        start: ArrayLike,
        finish: ArrayLike,
        group: ArrayLike,
        before: ArrayLike = (),
    ) -> None:
        count = np.asarray(own).shape[0] if np.asarray(own).ndim == 1 else -1
        if count < 1:
            raise ValueError("own must have shape (n,) with at least one node")
        numbers: dict[str, Any] = {
            "between": _seconds("between", between, (count, count)),
            "own": _seconds("own", own, (count,)),
            "start": _seconds("start", start, (count,)),
            "finish": _seconds("finish", finish, (count,)),
            "group": _groups(group, count),
        }
        if not np.all(np.isfinite(numbers["own"])):
            raise ValueError("own holds a time that is not finite")
        numbers["before"] = checked_pairs(before, int(numbers["group"].max()) + 1)
        for name, value in numbers.items():
            value.setflags(write=False)
            object.__setattr__(self, name, value)
        self._reach()

    @property
    def nodes(self) -> int:
        """Number of nodes."""
        return len(self.own)

    @property
    def groups(self) -> int:
        """Number of groups, which is the length of every sequence."""
        return int(self.group.max()) + 1

    @property
    def is_single(self) -> bool:
        """Whether each group has one node only."""
        return self.groups == self.nodes

    @cached_property
    def closure(self) -> Bools:
        """Whether group a comes before group b, directly or by others; shape (m, m)."""
        return closed(self.groups, self.before)

    @cached_property
    def cost(self) -> Floats:
        """Seconds as one matrix of arcs, shape (n + 2, n + 2): node 0 the start, n + 1 the end.

        The time in a node stands on the arcs that lead to it.  Arcs that no allowed sequence can
        use are inf: back against `before`, past a group that must lie between, within a group.
        """
        count = self.nodes
        cost = np.full((count + 2, count + 2), np.inf)
        cost[1:-1, 1:-1] = self.between + self.own
        cost[0, 1:-1] = self.start + self.own
        cost[1:-1, -1] = self.finish
        first = self.closure
        between = (first.astype(np.float32) @ first.astype(np.float32)) > 0.5
        shut = first.T | between | np.eye(self.groups, dtype=bool)
        late, early = np.any(first, axis=0), np.any(first, axis=1)
        cost[1:-1, 1:-1][shut[np.ix_(self.group, self.group)]] = np.inf
        cost[0, 1:-1][np.asarray(late)[self.group]] = np.inf
        cost[1:-1, -1][np.asarray(early)[self.group]] = np.inf
        cost.setflags(write=False)
        return cost

    def seconds(self, order: Sequence[int]) -> float:
        """Return how long a sequence of nodes takes [s]; inf where a step of it is not allowed.

        Raises
        ------
        ValueError
            If a group is missing or done twice, or comes before one that must precede it.
        """
        nodes = np.asarray(order, dtype=np.int64)
        if nodes.ndim != 1 or (len(nodes) and (nodes.min() < 0 or nodes.max() >= self.nodes)):
            raise ValueError(f"order must name nodes from 0 to {self.nodes - 1}")
        done = self.group[nodes]
        times = np.bincount(done, minlength=self.groups)
        if np.any(times != 1):
            which = int(np.flatnonzero(times != 1)[0])
            raise ValueError(f"group {which} is done {times[which]} times instead of once")
        place = np.argsort(done)
        wrong = np.flatnonzero(place[self.before[:, 0]] > place[self.before[:, 1]])
        if len(wrong):
            a, b = self.before[wrong[0]]
            raise ValueError(f"group {a} must come before group {b}, but comes after it")
        total = self.start[nodes[0]] + self.between[nodes[:-1], nodes[1:]].sum()
        return float(total + self.own[nodes].sum() + self.finish[nodes[-1]])

    def _reach(self) -> None:
        """Raise where a group cannot be entered, or not be left."""
        into: Bools = np.isfinite(np.min(self.cost[:-1, 1:-1], axis=0))
        out: Bools = np.isfinite(np.min(self.cost[1:-1, 1:], axis=1))
        usable = np.bincount(self.group[into & out], minlength=self.groups)
        unusable = np.flatnonzero(usable == 0).tolist()
        if unusable:
            raise UnreachableError(unusable)


def _seconds(name: str, value: ArrayLike, shape: tuple[int, ...]) -> Floats:
    """Return times as an array of its own, or say what is wrong with them."""
    seconds = np.array(value, dtype=np.float64)
    if seconds.shape != shape:
        raise ValueError(f"{name} must have shape {shape}, but it has {seconds.shape}")
    if np.any(np.isnan(seconds)):
        raise ValueError(f"{name} holds a value that is not a number")
    if np.any(seconds < 0.0):
        raise ValueError(f"{name} holds a time below zero")
    return seconds


def _groups(value: ArrayLike, count: int) -> Ints:
    group = np.array(value)
    if group.shape != (count,):
        raise ValueError(f"group must have shape {(count,)}, but it has {group.shape}")
    if group.dtype.kind not in "iu" or group.min() < 0:
        raise ValueError("group must hold whole numbers from 0")
    nodes = np.bincount(group)
    if np.any(nodes == 0):
        raise ValueError(f"group {int(np.flatnonzero(nodes == 0)[0])} has no node")
    return group.astype(np.int64)


def checked_pairs(value: ArrayLike, groups: int) -> Ints:
    """Return pairs (a, b), a before b, sorted and each once.

    Raises
    ------
    CycleError
        If they go round in a circle.
    ValueError
        If they are not pairs of whole numbers from 0 to groups - 1.
    """
    pairs = np.array(value)
    if pairs.size == 0:
        return _NO_PAIRS.copy()
    if pairs.ndim != 2 or pairs.shape[1] != 2:
        raise ValueError(f"before must have shape (k, 2), but it has {pairs.shape}")
    if pairs.dtype.kind not in "iu" or pairs.min() < 0 or pairs.max() >= groups:
        raise ValueError(f"before must hold groups from 0 to {groups - 1}")
    pairs = np.unique(pairs.astype(np.int64), axis=0)
    ring = _ring(groups, pairs)
    if ring:
        raise CycleError(ring)
    return pairs


def _ring(groups: int, pairs: Ints) -> list[int]:
    """Return a circle in the pairs, or nothing."""
    follow: list[list[int]] = [[] for _ in range(groups)]
    left = np.bincount(pairs[:, 1], minlength=groups)
    for a, b in pairs.tolist():
        follow[a].append(b)
    free = [k for k in range(groups) if left[k] == 0]
    while free:
        for b in follow[free.pop()]:
            left[b] -= 1
            if left[b] == 0:
                free.append(b)
    held = [k for k in range(groups) if left[k] > 0]
    if not held:
        return []
    # What is left may also hang behind the circle; going backwards never leaves it.
    came: dict[int, int] = {b: a for a, b in pairs.tolist() if left[a] > 0 and left[b] > 0}
    way, at = [], held[0]
    while at not in way:
        way.append(at)
        at = came[at]
    return way[way.index(at) :][::-1]


def closed(groups: int, pairs: Ints) -> Bools:
    """Return which group comes before which, directly or by others."""
    first = np.zeros((groups, groups), dtype=bool)
    first[pairs[:, 0], pairs[:, 1]] = True
    for k in range(groups):
        first[first[:, k]] |= first[k]
    return first
