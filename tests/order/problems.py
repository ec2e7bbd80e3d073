"""Small problems at random, and the shortest sequence by trying all."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from gudgeon.order.problem import Problem


def random_problem(
    seed: int, groups: int, *, more: float = 0.4, pairs: float = 0.3, shut: float = 0.0
) -> Problem:
    """Return a problem whose groups have one to three nodes, some steps not allowed.

    `more`: chance of a further node; `pairs`: chance that a lower group comes before a higher one
    (numbers then shuffled); `shut`: chance that a step is not allowed.
    """
    rng = np.random.default_rng(seed)
    nodes = [1 + int(rng.binomial(2, more)) for _ in range(groups)]
    group = np.repeat(np.arange(groups), nodes)
    count = len(group)
    between = rng.integers(0, 50, (count, count)).astype(float)
    between[rng.random((count, count)) < shut] = np.inf
    names = rng.permutation(groups)
    before = [
        (names[a], names[b])
        for a, b in itertools.combinations(range(groups), 2)
        if rng.random() < pairs
    ]
    own = rng.integers(1, 20, count).astype(float)
    start, finish = rng.integers(0, 30, (2, count)).astype(float)
    return Problem(between, own, start, finish, group, np.array(before, dtype=np.int64))


def all_sequences(problem: Problem) -> Iterator[tuple[int, ...]]:
    """Return every sequence that keeps what must come first."""
    members = [np.flatnonzero(problem.group == g).tolist() for g in range(problem.groups)]
    for order in itertools.permutations(range(problem.groups)):
        place = np.argsort(order)
        if np.all(place[problem.before[:, 0]] < place[problem.before[:, 1]]):
            yield from itertools.product(*(members[g] for g in order))


def shortest_of_all(problem: Problem) -> float:
    """Return the least seconds of all sequences; inf where none is allowed."""
    return min(problem.seconds(order) for order in all_sequences(problem))
