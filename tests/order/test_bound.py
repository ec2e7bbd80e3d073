"""Bounds: never above the shortest sequence, and how near, by three ways."""

from __future__ import annotations

import sys

import networkx as nx
import numpy as np
import pytest
from benchmarks.shop_cases import shop_case
from scipy.optimize import linear_sum_assignment

from gudgeon.order import circuit
from gudgeon.order.bound import SAME_S, _as_weights, _left_over, _priced, bound
from gudgeon.order.exact import exact, sweep
from gudgeon.order.part import Parts, bound_by_parts
from gudgeon.order.problem import Problem
from gudgeon.order.search import _arrays, search
from gudgeon.order.tree import raise_prices
from tests.order.problems import all_sequences, random_problem, shortest_of_all

with_solver = pytest.mark.skipif(not circuit.is_at_hand(), reason="OR-tools is not installed")


def case(seed: int) -> Problem:
    """Return one of many small problems of all mixtures."""
    return random_problem(
        seed,
        2 + seed % 8,
        pairs=(seed % 5) / 8,
        more=(seed % 3) / 4,
        shut=(0.0, 0.0, 0.1)[seed % 3],
    )


def least_of(problem: Problem) -> float:
    found = exact(problem)
    assert found is not None
    return found.seconds


def least_of_known(part: Problem, known: tuple[int, ...]) -> float:
    assert len(known) == part.groups
    part.seconds(known)
    return least_of(part)


@pytest.mark.parametrize("part", range(10))
def test_no_bound_is_above_the_shortest_sequence(part: int) -> None:
    """400 problems, each by the tree alone and with the sweep; hints good, bad and none."""
    proven = 0
    for seed in range(part * 40, part * 40 + 40):
        problem = case(seed)
        least = least_of(problem)
        hint = search(problem, rounds=(0, 5, 500)[seed % 3]).order
        low = bound(problem, effort=0.0, hint=hint)
        assert low.seconds <= least
        # So few states that many sweeps stop on the way.
        full = bound(problem, effort=(0.0002, 0.01)[seed % 2], hint=hint)
        assert full.seconds <= least
        for one in (low, full):
            if one.proven:
                assert one.order is not None
                assert problem.seconds(one.order) <= least + SAME_S
                proven += 1
            elif one.order is not None:
                assert problem.seconds(one.order) - one.seconds > SAME_S
    assert proven > 20


@with_solver
def test_no_bound_of_the_solver_is_above_the_shortest_sequence() -> None:
    for seed in range(100, 140):
        problem = case(seed)
        least = least_of(problem)
        solved = circuit.solve(problem, problem.cost, work=5.0)
        assert solved.least <= least + 1e-9
        if np.isfinite(least):
            assert solved.least >= least - 1e-4
            assert problem.seconds(solved.order) == pytest.approx(least, abs=1e-4)
        else:
            assert solved.order == ()


@with_solver
def test_a_solver_that_is_stopped_early_still_tells_a_bound() -> None:
    problem = random_problem(3, 14, pairs=0.1)
    found = search(problem)
    for work in (1e-6, 1e-3, 1e-2, 1e-1):
        solved = circuit.solve(problem, problem.cost, work=work, hint=found.order)
        assert solved.least <= found.seconds


def test_without_the_solver_the_own_bounds_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ortools.sat.python", None)
    assert not circuit.is_at_hand()
    problem = random_problem(3, 20, pairs=0.0)
    found = search(problem)
    told = bound(problem, effort=0.001, hint=found.order)
    assert 0.5 * found.seconds < told.seconds <= found.seconds


def test_the_tree_is_the_shortest_one() -> None:
    """Beside networkx's shortest arborescence, on 60 problems with prices at random."""
    for seed in range(60):
        problem = random_problem(seed, 2 + seed % 9, more=0.0, pairs=(seed % 4) / 8)
        own = _arrays(problem, 1)
        rng = np.random.default_rng(seed)
        prices = np.append(rng.uniform(-20.0, 20.0, problem.nodes + 1), 0.0)
        cost = np.array(problem.cost)
        found, _, _, _ = raise_prices(cost, own.group, own.first, own.nodes, prices, np.inf, 1)
        graph = nx.DiGraph()
        for a, b in np.argwhere(np.isfinite(problem.cost)).tolist():
            # All the same further, so that no weight is below zero.
            graph.add_edge(a, b, weight=problem.cost[a, b] + prices[a] - prices[b] + 100.0)
        tree = nx.minimum_spanning_arborescence(graph)
        least = sum(step["weight"] - 100.0 for _, _, step in tree.edges(data=True))
        assert found == pytest.approx(least - prices[0], abs=1e-9)


def test_the_weights_never_claim_more_than_a_step_costs() -> None:
    """On every step the priced cost covers the weights of all sets that it enters."""
    for seed in range(40):
        problem = random_problem(seed, 3 + seed % 12, pairs=0.1)
        own = _arrays(problem, 1)
        cost = np.array(problem.cost)
        found, prices, vertex, weight = raise_prices(
            cost, own.group, own.first, own.nodes, np.zeros(problem.nodes + 2), 400.0, 60
        )
        left = _left_over(cost, own.group, prices, vertex, weight)
        assert left[np.isfinite(left)].min() > -1e-9
        assert weight[1:].min(initial=0.0) > -1e-9
        assert weight.sum() - prices[0] == pytest.approx(found)


def test_what_lies_ahead_is_bounded_at_every_point_of_every_sequence() -> None:
    for seed in range(12):
        problem = random_problem(seed, 5, pairs=0.2)
        _, weights, cost = _priced(problem, np.inf)
        for order in all_sequences(problem):
            way = [0, *(node + 1 for node in order), problem.nodes + 1]
            steps = cost[way[:-1], way[1:]]
            done = np.zeros(problem.groups, dtype=bool)
            for k in range(len(order) + 1):
                if k:
                    done[problem.group[order[k - 1]]] = True
                free = ~(weights.holds & done).any(axis=1)
                least = weights.weight[free].sum() + weights.always - weights.prices[way[k]]
                assert steps[k:].sum() >= least - 1e-9


def test_steps_are_shut_only_where_no_better_sequence_uses_them() -> None:
    """All shorter sequences than a middling one keep their steps."""
    shut = 0
    for seed in range(20):
        problem = random_problem(seed, 5, pairs=0.1)
        lengths = {order: problem.seconds(order) for order in all_sequences(problem)}
        upper = float(np.quantile(list(lengths.values()), 0.02))
        _, _, cost = _priced(problem, upper)
        shut += np.count_nonzero(np.isinf(cost) & np.isfinite(problem.cost))
        for order, seconds in lengths.items():
            if seconds < upper - SAME_S:
                way = np.array([0, *(node + 1 for node in order), problem.nodes + 1])
                assert np.isfinite(cost[way[:-1], way[1:]]).all()
    assert shut > 20


def test_a_sweep_with_weights_finds_the_same_with_fewer_states() -> None:
    fewer = 0
    for seed in range(30):
        problem = random_problem(seed, 9, pairs=0.1, more=0.2)
        least = least_of(problem)
        _, weights, cost = _priced(problem, least + 5.0)
        swept = sweep(problem, states=10**6, below=least + 5.0, weights=weights, cost=cost)
        assert swept.found is not None
        assert swept.found.seconds == pytest.approx(least)
        none = sweep(problem, states=10**6, below=least - 0.01, weights=weights)
        assert none.complete and none.found is None
        plain = exact(problem)
        assert plain is not None
        fewer += plain.rounds > 4 * swept.found.rounds
    assert fewer > 20


def test_priced_trees_are_not_below_the_assignment() -> None:
    """One node a group: the assignment of followers is no better a bound (within 1 %)."""
    for seed in range(10):
        problem = random_problem(seed, 15, more=0.0, pairs=0.05)
        cost = np.where(np.isfinite(problem.cost), problem.cost, 1e6)
        np.fill_diagonal(cost, 1e6)
        rows, columns = linear_sum_assignment(cost[:-1, 1:])
        by_followers = cost[:-1, 1:][rows, columns].sum()
        least = search(problem).seconds
        low = bound(problem, effort=0.0, hint=search(problem).order).seconds
        assert by_followers <= least + 1e-9
        assert low > by_followers - 0.01 * least


def test_prices_close_most_of_the_gap_where_nothing_must_come_first() -> None:
    """Ten problems of 25 single nodes: within 2 % in the mean."""
    gaps = []
    for seed in range(10):
        problem = random_problem(seed, 25, more=0.0, pairs=0.0)
        found = search(problem, rounds=5000)
        low = bound(problem, effort=0.0, hint=found.order).seconds
        gaps.append(1.0 - low / found.seconds)
    assert min(gaps) >= 0.0
    assert np.mean(gaps) < 0.02


def test_no_sequence_is_told_as_such() -> None:
    far = np.inf
    problem = Problem(
        [[far, far, 1.0], [far, far, 1.0], [far, far, far]], [1] * 3, [1] * 3, [1] * 3, range(3)
    )
    told = bound(problem)
    assert (told.seconds, told.proven, told.order) == (far, False, None)


def test_a_single_operation_is_proven() -> None:
    told = bound(Problem([[0.0]], [5.0], [1.0], [2.0], [0]))
    assert told.proven
    assert told.order == (0,)
    assert told.seconds == pytest.approx(8.0, abs=SAME_S)


@with_solver
def test_a_load_of_fifty_operations_is_proven_and_the_same_again() -> None:
    problem = shop_case(50, 3)
    found = search(problem)
    told = bound(problem, hint=found.order)
    assert told.proven
    assert told == bound(problem, hint=found.order)


def test_it_can_be_stopped() -> None:
    problem = shop_case(50, 0)
    found = search(problem)
    told = bound(problem, hint=found.order, keep_going=lambda: False)
    assert not told.proven
    assert 0.9 * found.seconds < told.seconds < found.seconds


def test_wrong_arguments_are_named() -> None:
    problem = random_problem(1, 4, pairs=1.0)
    with pytest.raises(ValueError, match="effort"):
        bound(problem, effort=-1.0)
    order = search(problem).order
    with pytest.raises(ValueError, match="must come before"):
        bound(problem, hint=order[::-1])


def test_small_problems_beside_trying_all() -> None:
    for seed in range(20):
        problem = random_problem(seed, 5, pairs=0.2)
        told = bound(problem, effort=0.1)
        assert told.proven
        assert told.seconds == pytest.approx(shortest_of_all(problem), abs=SAME_S)


def test_weights_of_the_end_stay_to_the_end() -> None:
    problem = random_problem(2, 6)
    own = _arrays(problem, 1)
    found, prices, vertex, weight = raise_prices(
        np.array(problem.cost), own.group, own.first, own.nodes, np.zeros(problem.nodes + 2),
        200.0, 5,
    )  # fmt: skip
    weights = _as_weights(problem, prices, vertex, weight)
    assert weights.weight.sum() + weights.always - prices[0] == pytest.approx(found)


def test_no_bound_by_parts_is_above_the_shortest_sequence() -> None:
    """150 problems, with all steps and without those that no better sequence uses."""
    better = 0
    for seed in range(150):
        problem = random_problem(seed, 4 + seed % 6, pairs=0.05 + seed % 4 / 12, more=seed % 3 / 4)
        best = exact(problem)
        assert best is not None
        upper = best.seconds + 10 * (seed % 5)
        low, weights, cost = _priced(problem, upper)
        for steps, least in (
            (np.array(problem.cost), best.seconds),
            (cost, max(best.seconds, upper - SAME_S)),
        ):
            parts = Parts(problem, steps, weights.prices)
            got = bound_by_parts(parts, least_of_known, best.order, lambda reached: True)
            assert got <= least + 1e-6
            better += got > low + 0.1
    assert better > 30


def test_a_tool_that_must_come_twice_is_seen_by_parts() -> None:
    """A load whose tools return: the tree misses a whole change, two parts alone show it."""
    problem = shop_case(25, 101)
    found = search(problem)
    low, weights, cost = _priced(problem, found.seconds)
    parts = Parts(problem, cost, weights.prices)

    def solve(part: Problem, known: tuple[int, ...]) -> float:
        best = exact(part)
        return 0.0 if best is None else best.seconds

    got = bound_by_parts(parts, solve, found.order, lambda reached: True)
    assert low + 5.0 < got <= found.seconds
