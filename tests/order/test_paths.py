"""The shortest path under precedence: allowed, exact on small ones, the same again."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from numpy.typing import NDArray

from gudgeon.order import paths
from gudgeon.order.paths import closure, is_allowed, length, shortest_path
from gudgeon.order.problem import CycleError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def random_path(
    seed: int, size: int, pairs: float, *, shut: float = 0.0, whole: bool = True
) -> tuple[Floats, Bools]:
    """Return costs and the closure of what must come first, as many of all pairs as asked."""
    draws = np.random.default_rng(seed)
    cost = (
        draws.integers(0, 40, (size, size)).astype(float) if whole else draws.random((size, size))
    )
    cost[draws.random(cost.shape) < shut] = np.inf
    way = 1 + draws.permutation(size - 2)
    some = np.argwhere(np.triu(draws.random((size - 2, size - 2)) < pairs, 1))
    return cost, closure(size, way[some] if len(some) else [])


def least(cost: Floats, before: Bools) -> float:
    """Return the shortest length by dynamic programming over the sets of nodes already met.

    M. Held and R. M. Karp, Journal of SIAM 10 (1962), with sets that are closed under what must
    come first only.
    """
    size = len(cost)
    needs = [sum(1 << int(a) for a in np.flatnonzero(before[:, b])) for b in range(size)]
    reached = {(1, 0): 0.0}
    for _ in range(size - 1):
        further: dict[tuple[int, int], float] = {}
        for (met, at), so_far in reached.items():
            for to in range(1, size):
                if (
                    met >> to & 1
                    or needs[to] & ~met
                    or (to == size - 1) != (met.bit_count() == size - 1)
                ):
                    continue
                key, now = (met | 1 << to, to), so_far + cost[at, to]
                if now < further.get(key, np.inf):
                    further[key] = now
        reached = further
    return min(reached.values(), default=np.inf)


@effort(max_examples=60, deadline=None)
@given(
    st.integers(0, 10**6),
    st.integers(2, 9),
    st.floats(0.0, 0.6),
    st.sampled_from([0.0, 0.3]),
    st.booleans(),
)
def test_small_ones_end_at_the_least_length(
    seed: int, size: int, pairs: float, shut: float, whole: bool
) -> None:
    """Against dynamic programming; shut steps may leave no path at all."""
    cost, before = random_path(seed, size, pairs, shut=shut, whole=whole)
    found = shortest_path(cost, before, rounds=1500, seed=seed)
    assert is_allowed(before, found.order)
    assert found.length == pytest.approx(least(cost, before), rel=1e-12)
    assert found.length == length(cost, found.order)


@effort(max_examples=25, deadline=None)
@given(
    st.integers(0, 10**6), st.integers(4, 40), st.floats(0.0, 0.3), st.sampled_from([1, 77, 400])
)
def test_what_is_found_is_allowed_never_worse_than_the_start_and_the_same_again(
    seed: int, size: int, pairs: float, rounds: int
) -> None:
    cost, before = random_path(seed, size, pairs)
    start = shortest_path(cost, before, seed=seed, rounds=0)
    found = shortest_path(cost, before, seed=seed, rounds=rounds)
    assert is_allowed(before, start.order)
    assert is_allowed(before, found.order)
    assert found.length == length(cost, found.order) <= start.length == length(cost, start.order)
    assert found == shortest_path(cost, before, seed=seed, rounds=rounds)


def test_other_seeds_go_other_ways() -> None:
    cost, before = random_path(4, 60, 0.02)
    ends = {shortest_path(cost, before, seed=seed, rounds=50).order for seed in range(5)}
    assert len(ends) > 1


def test_a_constant_on_every_step_changes_the_length_and_nothing_else() -> None:
    """Every path has n - 1 steps; negative costs are costs as well."""
    cost, before = random_path(9, 11, 0.1)
    for more in (-1000.0, 64.0):
        found = shortest_path(cost + more, before, rounds=3000)
        assert found.length == least(cost, before) + 10 * more


def test_the_search_ends_when_told_to_and_keeps_its_best() -> None:
    cost, before = random_path(1, 30, 0.05)
    asked = itertools.count()
    found = shortest_path(cost, before, rounds=10**9, keep_going=lambda: next(asked) < 2)
    assert found.rounds == 2 * paths.CHUNK
    assert is_allowed(before, found.order)
    none = shortest_path(cost, before, keep_going=lambda: False)
    assert none == shortest_path(cost, before, rounds=0)


def test_one_allowed_order_needs_no_search() -> None:
    cost, before = random_path(3, 12, 1.0)
    found = shortest_path(cost, before)
    assert found.rounds == 0
    assert found.length == least(cost, before)


def test_what_is_not_closed_is_closed_first() -> None:
    cost, before = random_path(8, 20, 0.2)
    direct = before & ~((before.astype(int) @ before) > 0)
    assert direct.sum() < before.sum()
    assert shortest_path(cost, direct, rounds=200) == shortest_path(cost, before, rounds=200)


def test_no_path_of_allowed_steps_is_told_as_endless() -> None:
    cost = np.ones((6, 6))
    cost[:, 3] = np.inf
    assert shortest_path(cost, closure(6, []), rounds=500).length == np.inf


def test_a_rare_path_of_allowed_steps_is_found() -> None:
    """One way only is open: 0, 1, ... 29; the walls outweigh everything else."""
    cost = np.full((30, 30), np.inf)
    cost[np.arange(29), np.arange(1, 30)] = 1e6
    assert shortest_path(cost, closure(30, []), rounds=2000).order == tuple(range(30))


def test_closure_names_the_circle() -> None:
    with pytest.raises(CycleError) as caught:
        closure(6, [(1, 2), (2, 3), (3, 1), (3, 4)])
    assert sorted(caught.value.groups) == [1, 2, 3]


@pytest.mark.parametrize(
    ("order", "allowed"),
    [
        ((0, 1, 2, 3), True),
        ((0, 2, 1, 3), False),
        ((0, 1, 1, 3), False),
        ((0, 1, 3), False),
        ((1, 0, 2, 3), True),
    ],
)
def test_orders_are_judged_by_what_must_come_first(order: tuple[int, ...], allowed: bool) -> None:
    assert is_allowed(closure(4, [(1, 2)]), order) is allowed


def test_length_refuses_what_is_no_order() -> None:
    cost = np.arange(16.0).reshape(4, 4)
    assert length(cost, (0, 2, 1, 3)) == 2 + 9 + 7
    with pytest.raises(ValueError, match="every node once"):
        length(cost, (0, 1, 1, 3))


@pytest.mark.parametrize(
    ("cost", "before", "said"),
    [
        (np.ones((3, 2)), np.zeros((3, 3)), "shape"),
        (np.ones((1, 1)), np.zeros((1, 1)), "shape"),
        (np.ones((3, 3)), np.zeros((2, 2)), "before must have shape"),
        (np.full((3, 3), np.nan), np.zeros((3, 3)), "not a number"),
        (np.full((3, 3), -np.inf), np.zeros((3, 3)), "minus infinity"),
        (np.ones((3, 3)), np.eye(3)[[1, 0, 2]] * [1, 0, 0], "nothing can come before node 0"),
        (np.ones((3, 3)), np.eye(3)[[0, 2, 1]] * [[0], [0], [1]], "nor after node n - 1"),
    ],
)
def test_what_cannot_be_a_problem_is_refused(cost: Floats, before: Bools, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        shortest_path(cost, before)


def test_rounds_below_zero_are_refused() -> None:
    with pytest.raises(ValueError, match="rounds"):
        shortest_path(np.ones((4, 4)), np.zeros((4, 4)), rounds=-1)
