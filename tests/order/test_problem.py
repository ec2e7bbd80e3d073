"""A problem of order: what is refused, and what a sequence costs."""

from __future__ import annotations

import doctest
from typing import Any

import numpy as np
import pytest

from gudgeon.order import problem as module
from gudgeon.order.problem import CycleError, Problem, UnreachableError

INF = float("inf")


def given(**change: Any) -> Problem:
    """Three groups, the last with two nodes; group 0 before group 1."""
    good: dict[str, Any] = {
        "between": np.arange(16.0).reshape(4, 4),
        "own": [100.0, 200.0, 300.0, 400.0],
        "start": [1.0, 2.0, 3.0, 4.0],
        "finish": [5.0, 6.0, 7.0, 8.0],
        "group": [0, 1, 2, 2],
        "before": [(0, 1)],
    }
    return Problem(**(good | change))


def test_examples_in_the_docstrings_run() -> None:
    failed, tried = doctest.testmod(module)
    assert tried > 0
    assert failed == 0


def test_a_sequence_costs_what_its_steps_cost() -> None:
    """By hand: 1 + 100 + 3 + 400 + 13 + 200 + 6."""
    assert given().seconds((0, 3, 1)) == 723.0


def test_the_matrix_says_the_same_as_the_sum() -> None:
    problem = given()
    way = np.array([0, 1, 4, 2, 5])
    assert problem.cost[way[:-1], way[1:]].sum() == 723.0


def test_the_matrix_shuts_what_the_order_forbids() -> None:
    problem = given(before=[(0, 1), (1, 2)])
    cost = problem.cost
    assert cost[2, 1] == INF, "back"
    assert cost[1, 3] == INF and cost[1, 4] == INF, "past what lies between"
    assert cost[3, 4] == INF, "to another node of the same group"
    assert cost[0, 2] == INF and cost[1, 5] == INF, "the second is not first, the first not last"
    assert cost[1, 2] == 1.0 + 200.0
    assert cost[0, 5] == INF


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"own": [1.0, 2.0]}, r"between must have shape \(2, 2\)"),
        ({"own": 3.0}, "own must have shape"),
        ({"start": [1.0, np.nan, 3.0, 4.0]}, "start holds a value that is not a number"),
        ({"finish": [1.0, -1.0, 3.0, 4.0]}, "finish holds a time below zero"),
        ({"own": [1.0, INF, 3.0, 4.0]}, "own holds a time that is not finite"),
        ({"group": [0, 1, 3, 3]}, "group 2 has no node"),
        ({"group": [0.0, 1.0, 2.0, 2.0]}, "whole numbers"),
        ({"group": [0, 1, 2]}, r"group must have shape \(4,\)"),
        ({"before": [(0, 3)]}, "groups from 0 to 2"),
        ({"before": [0, 1]}, r"before must have shape \(k, 2\)"),
    ],
)
def test_wrong_numbers_are_named(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        given(**change)


def test_a_circle_is_named_and_nothing_beside_it() -> None:
    pairs = [(0, 1), (1, 3), (3, 4), (4, 1), (4, 2)]
    with pytest.raises(CycleError) as caught:
        Problem(np.ones((5, 5)), np.ones(5), np.ones(5), np.ones(5), range(5), pairs)
    ring = caught.value.groups
    assert sorted(ring) == [1, 3, 4]
    assert all(pair in pairs for pair in zip(ring, (*ring[1:], ring[0]), strict=True))


def test_a_group_before_itself_is_a_circle() -> None:
    with pytest.raises(CycleError, match="group 1 before 1"):
        given(before=[(1, 1)])


def test_a_group_without_a_way_in_or_out_is_named() -> None:
    between = np.ones((4, 4))
    between[:, 2:] = INF
    with pytest.raises(UnreachableError) as caught:
        given(between=between, start=[1.0, 1.0, INF, INF])
    assert caught.value.groups == (2,)
    between = np.ones((4, 4))
    between[1] = INF
    with pytest.raises(UnreachableError, match="group 1"):
        given(between=between, finish=[1.0, INF, 1.0, 1.0])


def test_one_way_of_a_group_may_be_closed() -> None:
    between = np.ones((4, 4))
    between[:, 2] = INF
    assert given(between=between, start=[1.0, 1.0, INF, 1.0]).groups == 3


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ((1, 0, 2), "group 0 must come before group 1"),
        ((0, 1), "group 2 is done 0 times"),
        ((0, 1, 2, 3), "group 2 is done 2 times"),
        ((0, 1, 7), "nodes from 0 to 3"),
    ],
)
def test_a_forbidden_order_is_refused(order: tuple[int, ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        given().seconds(order)


def test_closure_reaches_through_others() -> None:
    problem = given(before=[(0, 1), (1, 2)])
    assert problem.closure.tolist() == [
        [False, True, True],
        [False, False, True],
        [False, False, False],
    ]


def test_a_single_operation_is_a_sequence() -> None:
    problem = Problem([[0.0]], [5.0], [1.0], [2.0], [0])
    assert problem.seconds((0,)) == 8.0
    assert problem.is_single
