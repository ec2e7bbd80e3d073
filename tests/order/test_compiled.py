"""Chance inside compiled loops: even, of a stated seed, never stuck."""

from __future__ import annotations

import numpy as np

from gudgeon.order.compiled import chance, pick, seeded


def test_a_seed_gives_the_same_numbers_again_and_another_gives_others() -> None:
    first, again, other = seeded(1), seeded(1), seeded(2)
    drawn = [chance(first) for _ in range(5)]
    assert drawn == [chance(again) for _ in range(5)]
    assert drawn[0] != chance(other)


def test_any_whole_number_is_a_seed() -> None:
    for seed in (-1, 0, 2**70):
        state = seeded(seed)
        assert state[0] != 0
        assert chance(state) != chance(state)


def test_draws_are_even() -> None:
    """20,000 draws of ten values: each 2000, standard deviation 42 (binomial); allowed five."""
    state = seeded(3)
    counts = np.bincount([pick(state, 10) for _ in range(20_000)], minlength=10)
    assert len(counts) == 10
    assert np.all(np.abs(counts - 2000) < 5 * 42)
