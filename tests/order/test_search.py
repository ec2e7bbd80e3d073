"""The search: allowed, never worse than its start, the same again, and short."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st

from gudgeon.order import rebuild
from gudgeon.order.compiled import seeded
from gudgeon.order.problem import Problem
from gudgeon.order.search import CHUNK, _arrays, search
from tests.order.problems import random_problem, shortest_of_all


@pytest.mark.parametrize("seed", range(40))
def test_small_problems_end_at_the_shortest_of_all(seed: int) -> None:
    """Every sequence is tried; alternatives, precedence and shut steps in all mixtures."""
    problem = random_problem(
        seed, 1 + seed % 6, pairs=(seed % 4) / 5, shut=(0.0, 0.15)[seed % 2], more=(seed % 3) / 4
    )
    found = search(problem, rounds=2000)
    assert found.seconds == pytest.approx(shortest_of_all(problem), abs=1e-9)


@effort(max_examples=30)
@given(st.integers(0, 10**6), st.integers(1, 30), st.floats(0.0, 0.5), st.integers(0, 300))
def test_what_is_found_is_allowed_and_never_worse_than_the_start(
    seed: int, groups: int, pairs: float, rounds: int
) -> None:
    """`Problem.seconds` refuses a sequence that is not allowed."""
    problem = random_problem(seed, groups, pairs=pairs)
    start, found = search(problem, rounds=0), search(problem, rounds=rounds)
    assert found.seconds == problem.seconds(found.order)
    assert found.seconds <= start.seconds


@pytest.mark.parametrize("single", [True, False])
def test_each_single_round_keeps_what_must_come_first(single: bool) -> None:
    """Every sequence on the way is looked at, also those that are worse."""
    problem = random_problem(5, 25, pairs=0.15, more=0.0 if single else 0.4)
    own, state = _arrays(problem, 1), seeded(1)
    now = rebuild.first_sequence(own.cost, own.group, own.first, own.nodes, own.early, state)
    best, values = now.copy(), np.full(2, rebuild.length(own.cost, now))
    seen = set()
    for step in range(400):
        rebuild.anneal(
            own.cost, own.back, own.group, own.first, own.nodes, own.early, own.late, own.near,
            now, best, values, state, step, step + 1, 400, 300.0, 300.0,
        )  # fmt: skip
        assert problem.seconds(now[1:-1] - 1) == pytest.approx(values[0])
        assert problem.seconds(best[1:-1] - 1) == pytest.approx(values[1])
        seen.add(tuple(now))
    assert len(seen) > 100


def test_the_same_seed_and_rounds_give_the_same_again() -> None:
    problem = random_problem(7, 40, pairs=0.05)
    assert search(problem, seed=3, rounds=3000) == search(problem, seed=3, rounds=3000)


def test_looks_between_rounds_change_nothing_and_can_stop() -> None:
    problem = random_problem(8, 30)
    plain = search(problem, rounds=5 * CHUNK)
    shares: list[float] = []
    assert search(problem, rounds=5 * CHUNK, keep_going=lambda: True, told=shares.append) == plain
    assert shares == [0.2, 0.4, 0.6, 0.8, 1.0]
    answers = itertools.chain([True, True], itertools.repeat(False))
    stopped = search(problem, rounds=5 * CHUNK, keep_going=lambda: next(answers))
    assert stopped.rounds == 2 * CHUNK
    assert problem.seconds(stopped.order) == stopped.seconds


def test_no_open_sequence_is_told_and_not_made_up() -> None:
    far = np.inf
    problem = Problem(
        [[far, far, 1.0], [far, far, 1.0], [far, far, far]], [1] * 3, [1] * 3, [1] * 3, range(3)
    )
    found = search(problem, rounds=500)
    assert found.order == ()
    assert found.seconds == far


def runs(labels: list[int]) -> int:
    return 1 + sum(a != b for a, b in itertools.pairwise(labels))


def tools_and_poses() -> Iterator[tuple[int, int]]:
    yield from itertools.product(range(6), range(8))


def test_a_load_of_tools_and_poses_ends_in_whole_runs() -> None:
    """By hand: 6 tools at 8 poses, 10 s a change, 1 s an index, all free: 6 x 10 + 6 x 7 x 1."""
    jobs = list(tools_and_poses())
    between = [
        [10.0 * (a[0] != b[0]) + (a[0] == b[0]) * (a[1] != b[1]) for b in jobs] for a in jobs
    ]
    start = np.full(len(jobs), 10.0)
    problem = Problem(between, np.zeros(48), start, np.zeros(48), range(48))
    found = search(problem)
    assert found.seconds == 102.0
    assert runs([jobs[k][0] for k in found.order]) == 6


def test_a_run_whose_every_operation_has_a_second_way_changes_over_as_a_whole() -> None:
    """By hand: 12 operations, either all by tool 0 (one change) or by twelve tools of their own."""
    tool = np.array([[0, k] for k in range(1, 13)]).ravel()
    between = np.where(tool[:, None] == tool, 0.0, 10.0)
    problem = Problem(
        between, np.tile([3.0, 2.0], 12), np.full(24, 10.0), np.zeros(24), np.repeat(range(12), 2)
    )
    assert search(problem).seconds == 10.0 + 12 * 3.0


def test_a_run_is_moved_to_its_best_place() -> None:
    """Beside every move of a single operation, on ten matrices without any structure."""
    empty = (np.zeros(10, np.int64), np.zeros(0, np.int64))
    group = np.array([-1, *range(9), -1])
    state, start = seeded(1), np.arange(11)
    for seed in range(10):
        cost = np.random.default_rng(seed).integers(0, 100, (11, 11)).astype(float)
        least = np.inf
        for taken, to in itertools.product(range(1, 10), repeat=2):
            rest = np.delete(start, taken)
            least = min(least, rebuild.length(cost, np.insert(rest, to, taken)))
        ended = []
        for _ in range(400):
            sequence, marks = start.copy(), np.zeros(11, np.int64)
            place, room = np.empty(9, np.int64), np.empty(9, np.int64)
            if rebuild.move_run(
                cost, group, empty, empty, sequence, place, marks, room, np.array([100]), state
            ):
                ended.append(rebuild.length(cost, sequence))
        assert min(ended) <= least


def test_rounds_below_zero_are_refused() -> None:
    with pytest.raises(ValueError, match="rounds"):
        search(random_problem(1, 3), rounds=-1)


def test_nodes_chosen_for_a_fixed_order_are_the_best() -> None:
    """Beside every choice, on 20 problems of six groups."""
    for seed in range(20):
        problem = random_problem(seed, 6, more=0.7, pairs=0.0)
        own = _arrays(problem, 1)
        members = [np.flatnonzero(problem.group == g) for g in range(6)]
        sequence = np.array([0, *(m[0] + 1 for m in members), problem.nodes + 1])
        found = rebuild.choose_nodes(
            own.cost, own.group, own.first, own.nodes, sequence, np.empty((2, 3)),
            np.zeros((8, 3), np.int64),
        )  # fmt: skip
        least = min(problem.seconds(choice) for choice in itertools.product(*members))
        assert found == pytest.approx(least)
        assert problem.seconds(sequence[1:-1] - 1) == pytest.approx(least)
