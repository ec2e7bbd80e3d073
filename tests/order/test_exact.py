"""The exact way, beside trying every sequence."""

from __future__ import annotations

import numpy as np
import pytest

from gudgeon.order.exact import exact
from gudgeon.order.problem import Problem
from tests.order.problems import random_problem, shortest_of_all


@pytest.mark.parametrize("seed", range(40))
def test_the_same_as_trying_every_sequence(seed: int) -> None:
    problem = random_problem(
        seed, 1 + seed % 6, pairs=(seed % 4) / 5, shut=(0.0, 0.15)[seed % 2], more=(seed % 3) / 4
    )
    found = exact(problem)
    assert found is not None
    least = shortest_of_all(problem)
    assert found.seconds == pytest.approx(least, abs=1e-9)
    if np.isfinite(least):
        assert problem.seconds(found.order) == found.seconds
    else:
        assert found.order == ()


def test_free_groups_make_as_many_states_as_sets_and_ends() -> None:
    """By hand: 8 free groups of one node: sum of k C(8, k) = 8 x 2^7 = 1024."""
    problem = random_problem(1, 8, more=0.0, pairs=0.0)
    found = exact(problem)
    assert found is not None
    assert found.rounds == 1024
    assert exact(problem, states=1023) is None
    assert exact(problem, states=1024) == found


def test_two_long_chains_need_few_states() -> None:
    """By hand: steps across cost 1 and along a chain 3, so the chains go turn about.

    The chains of 70 alternate: start 0, 139 steps of 1.  States are pairs of lengths and an end.
    """
    chain = np.repeat([0, 1], 70)
    between = np.where(chain[:, None] == chain, 3.0, 1.0)
    before = [(k, k + 1) for k in range(139) if k != 69]
    zero = np.zeros(140)
    found = exact(Problem(between, zero, zero, zero, range(140), before))
    assert found is not None
    assert found.seconds == 139.0
    assert found.rounds == 2 * 70 * 70 + 2 * 70, "ends in either chain, or only one is begun"


def test_it_can_be_stopped() -> None:
    answers = iter([True, True, False])
    assert exact(random_problem(2, 8), keep_going=lambda: next(answers)) is None
