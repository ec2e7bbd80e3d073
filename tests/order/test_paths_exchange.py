"""Exchanges of segments, one by one: every allowed one is found, no other is made."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from gudgeon.order import exchange
from gudgeon.order.paths import SEARCHES, _rows, _Search, _through, closure, is_allowed, length
from tests.order.test_paths import Bools, Floats, random_path

Ints = NDArray[np.int64]


def neighbours(before: Bools) -> tuple[tuple[Ints, Ints], tuple[Ints, Ints]]:
    direct = before & ~_through(before)
    return _rows(direct.T), _rows(direct)


def an_allowed_order(seed: int, before: Bools) -> Ints:
    draws = np.random.default_rng(seed)
    order: list[int] = []
    while len(order) < len(before):
        free = [
            k
            for k in range(len(before))
            if k not in order and not before[:, k][_not(order, before)].any()
        ]
        order.append(int(draws.choice(free)))
    return np.array(order)


def _not(order: list[int], before: Bools) -> Bools:
    left = np.ones(len(before), dtype=bool)
    left[order] = False
    return left


def ended(before: Bools) -> Bools:
    """Return the same with node 0 first and the last node last."""
    whole = before.copy()
    whole[0, 1:] = True
    whole[:-1, -1] = True
    return whole


@pytest.mark.parametrize("seed", range(12))
def test_an_exchange_may_be_made_exactly_when_the_new_order_is_allowed(seed: int) -> None:
    """All pairs of neighbouring segments of an order of 12, both ways of looking."""
    size = 12
    _, before = random_path(seed, size, (0.15, 0.25, 0.4)[seed % 3])
    before = ended(before)
    early, late = neighbours(before)
    order = an_allowed_order(seed, before)
    place = np.argsort(order)
    said = set()
    for i, j, k in itertools.combinations(range(1, size), 3):
        new = np.concatenate([order[:i], order[j:k], order[i:j], order[k:]])
        may = exchange.may_exchange(order, place, early, late, i, j, k)
        assert may == is_allowed(before, new.tolist())
        said.add(may)
    assert said == {True, False}


@pytest.mark.parametrize("seed", range(12))
def test_mending_leaves_no_exchange_that_saves(seed: int) -> None:
    """With every node looked at and all nodes near; every exchange is then tried by hand."""
    size = 14
    cost, before = random_path(seed, size, (0.0, 0.1, 0.3)[seed % 3], whole=False)
    before = ended(before)
    early, late = neighbours(before)
    near = np.argsort(np.where(np.eye(size, dtype=bool), np.inf, cost), axis=1)[:, :-1]
    order = an_allowed_order(seed, before)
    was = length(cost, order.tolist())
    place, room = np.argsort(order), np.empty(size, np.int64)
    queue, waits = np.arange(size), np.ones(size, dtype=bool)
    exchange.mend(cost, near, early, late, order, place, room, queue, waits, size, 1e-12)
    assert is_allowed(before, order.tolist())
    assert not waits.any()
    np.testing.assert_array_equal(place[order], np.arange(size))
    least = length(cost, order.tolist())
    assert least < was
    for i, j, k in itertools.combinations(range(1, size), 3):
        new = np.concatenate([order[:i], order[j:k], order[i:j], order[k:]]).tolist()
        assert not is_allowed(before, new) or length(cost, new) > least - 1e-9


def test_each_single_round_keeps_what_must_come_first() -> None:
    """Every path on the way is looked at, also those that are longer, of all three ways."""
    cost, before = random_path(5, 27, 0.12)
    before = ended(before)
    for shares in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 0.0), (0.3, 0.3, 0.5)):
        one = _Search.start(cost, before, 3, 0)
        seen = set()
        for step in range(300):
            exchange.anneal(
                *one.tables, one.now, one.best, one.values, one.state,
                step, step + 1, 300, 50.0, 50.0, shares, *one.limits,
            )  # fmt: skip
            assert is_allowed(before, one.now.tolist())
            assert length(cost, one.now.tolist()) == one.values[0]
            assert length(cost, one.best.tolist()) == one.values[1] <= one.values[0]
            seen.add(tuple(one.now.tolist()))
        assert len(seen) > 20


def test_searches_side_by_side_differ() -> None:
    cost, before = random_path(6, 40, 0.05)
    ends = set()
    for number in range(SEARCHES):
        one = _Search.start(cost, ended(before), 1, number)
        one.run(0, 300, 300)
        ends.add(tuple(one.now.tolist()))
    assert len(ends) == SEARCHES


def test_an_exchange_in_an_asymmetric_ring_by_hand() -> None:
    """0 3 1 2 4 costs 40; letting (3) and (1 2) change places makes every step cost 1."""
    cost: Floats = np.full((5, 5), 10.0)
    cost[np.arange(4), np.arange(1, 5)] = 1.0
    for pairs, ends in (([], [0, 1, 2, 3, 4]), ([(3, 2)], [0, 3, 1, 2, 4])):
        before = ended(closure(5, pairs))
        early, late = neighbours(before)
        order = np.array([0, 3, 1, 2, 4])
        near = np.argsort(cost + 100 * np.eye(5), axis=1, kind="stable")[:, :4]
        exchange.mend(
            cost, near, early, late, order, np.argsort(order), np.empty(5, np.int64),
            np.arange(5), np.ones(5, dtype=bool), 5, 1e-12,
        )  # fmt: skip
        assert order.tolist() == ends


def test_a_disturbed_path_is_mostly_mended_back() -> None:
    """Of 200 disturbed ones more than 60 end on the shortest length again."""
    cost, before = random_path(5, 27, 0.12)
    one = _Search.start(cost, ended(before), 3, 0)
    one.run(0, 2000, 2000)
    back, best = 0, one.best.copy()
    for _ in range(200):
        one.now[:], one.values[:] = best, length(cost, best.tolist())
        exchange.anneal(
            *one.tables, one.now, one.best, one.values, one.state,
            0, 1, 1, 1e9, 1e9, (0.0, 1.0, 0.0), *one.limits,
        )  # fmt: skip
        back += one.values[0] == one.values[1]
    assert back > 60
