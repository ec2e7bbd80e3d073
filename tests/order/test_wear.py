"""Tools, sisters and runs without a person: closed forms, and a plain count beside it."""

from __future__ import annotations

import math
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.order.wear import End, Load, Spread, per_shift, ranged, unattended

INF = math.inf


def load(*takes: tuple[int, float], cycle: float = 1000.0) -> Load:
    """Return a load whose cuts begin 10 s apart."""
    return Load(
        cycle, [10.0 * k for k in range(len(takes))], [t for _, t in takes], [f for f, _ in takes]
    )


# --- closed forms


@pytest.mark.parametrize(
    ("hours", "loads", "done", "end"),
    [
        (10.0, 100, 36, End.TIME),  # 36,000 s / 1000 s
        (10.0, 36, 36, End.LOADS),
        (10.0, 4, 4, End.LOADS),
        (0.1, 4, 0, End.TIME),
        (0.0, 4, 0, End.TIME),
        (INF, 7, 7, End.LOADS),
    ],
)
def test_without_lives_it_is_the_lesser_of_time_and_loads(
    hours: float, loads: int, done: int, end: End
) -> None:
    """min(hours / cycle, loads), whole; the last load that ends with the time is done."""
    run = unattended(load((0, 100.0)), [()], seconds=3600.0 * hours, loads=loads)
    assert (run.loads, run.end) == (done, end)
    assert run.seconds == (1000.0 * done if end is End.LOADS else 3600.0 * hours)


def test_nothing_stated_ends_nothing() -> None:
    run = unattended(load((0, 100.0)), [(INF,)])
    assert (run.end, run.seconds, run.family) == (End.NEVER, INF, None)


def test_change_between_loads_counts_between_only() -> None:
    """By hand: 3 loads of 1000 s with 2 changes of 60 s; in 3119 s the third is not done."""
    assert unattended(load((0, 1.0)), [()], loads=3, change_s=60.0).seconds == 3120.0
    assert unattended(load((0, 1.0)), [()], seconds=3119.0, change_s=60.0).loads == 2
    assert unattended(load((0, 1.0)), [()], seconds=3120.0, change_s=60.0).loads == 3


def test_one_cut_a_load_lasts_life_over_cut_for_each_sister() -> None:
    """By hand: 250 s and 199 s at 50 s a load: 5 + 3 loads; the ninth load's cut cannot begin."""
    run = unattended(load((0, 50.0)), [(250.0, 199.0)])
    assert (run.loads, run.end, run.family, run.cut) == (8, End.TOOL, 0, 0)
    assert run.seconds == 8000.0
    assert run.used_s == ((250.0, 150.0),)


def test_a_sister_takes_over_within_a_load() -> None:
    """By hand: cuts of 30, 20, 30; life 100: 30 20 30 (20 left) | 30..: sister 30 20 30 | 20 left.

    The first tool cuts 30 + 20 + 30 and stops before the next 30; the sister does that one, 20, 30
    and has 20 left, so the third load ends at its first cut.
    """
    run = unattended(load((0, 30.0), (0, 20.0), (0, 30.0)), [(100.0, 100.0)])
    assert (run.loads, run.cut, run.seconds) == (2, 0, 2000.0)
    assert run.used_s == ((80.0, 80.0),)


def test_the_tool_that_ends_a_run_is_named_with_the_time_in_the_load() -> None:
    """By hand: family 1 has 2 x 40 s in each load and 200 s of life: two loads, then its second."""
    run = unattended(
        load((0, 5.0), (1, 40.0), (0, 5.0), (1, 40.0)), [(1000.0,), (200.0,)], seconds=10_000.0
    )
    assert (run.loads, run.end, run.family, run.cut) == (2, End.TOOL, 1, 3)
    assert run.seconds == 2030.0


def test_a_cut_longer_than_every_life_never_begins() -> None:
    run = unattended(load((0, 60.0)), [(50.0, 59.9)])
    assert (run.loads, run.seconds, run.family) == (0, 0.0, 0)


def test_lives_that_cuts_fill_exactly_are_used_up() -> None:
    """Sums of 0.1 miss 1 by rounding; ten such cuts still fit."""
    assert unattended(load((0, 0.1)), [(1.0,)]).loads == 10
    assert unattended(load((0, 0.1), (0, 0.2)), [(0.3 * 7,)]).loads == 7


def test_a_million_loads_are_no_longer_to_count() -> None:
    run = unattended(load((0, 0.001), (1, 0.002)), [(1000.0,), (9999.0,)])
    assert (run.loads, run.family) == (1_000_000, 0)


# --- beside a plain count


def plain(one: Load, lives: list[list[float]], seconds: float, loads: int, change: float) -> Any:
    """Count cut by cut in whole numbers, one load after the other."""
    left = [list(own) for own in lives]
    for number in range(loads):
        start = number * (one.cycle_s + change)
        for at, takes, own in zip(one.at_s, one.takes_s, one.family, strict=True):
            if start + at > seconds:
                return number, End.TIME
            if not left[own]:
                continue
            while left[own] and left[own][0] < takes:
                left[own].pop(0)
            if not left[own]:
                return number, End.TOOL
            left[own][0] -= takes
        if start + one.cycle_s > seconds:
            return number, End.TIME
    return loads, End.LOADS


@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 30)), min_size=1, max_size=6),
    st.lists(st.lists(st.integers(1, 200), max_size=3), min_size=3, max_size=3),
    st.integers(0, 5000),
    st.integers(0, 40),
    st.integers(0, 50),
)
def test_the_same_as_a_plain_count(
    cuts: Any, lives: Any, seconds: int, loads: int, change: int
) -> None:
    one = load(*cuts, cycle=100.0)
    run = unattended(one, lives, seconds=seconds, loads=loads, change_s=change)
    assert (run.loads, run.end) == plain(one, lives, seconds, loads, change)


@given(
    st.lists(st.tuples(st.integers(0, 1), st.integers(1, 30)), min_size=1, max_size=5),
    st.lists(st.lists(st.integers(1, 200), min_size=1, max_size=2), min_size=2, max_size=2),
    st.floats(0.0, 0.5), st.floats(0.0, 0.5), st.floats(0.0, 0.5),
    st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0),
)  # fmt: skip
def test_no_run_within_the_spread_lies_outside_the_range(
    cuts: Any, lives: Any, a: float, b: float, c: float, u: float, v: float, w: float
) -> None:
    one = load(*cuts)
    found = ranged(one, lives, Spread(a, b, c), seconds=20_000.0, loads=30)
    inside = unattended(
        one.stretched(1.0 + u * a, 1.0 + v * b),
        [[life * (1.0 + w * c) for life in own] for own in lives],
        seconds=20_000.0,
        loads=30,
    )
    assert found.loads[0] <= inside.loads <= found.loads[1]
    assert found.seconds[0] - 1e-6 <= inside.seconds <= found.seconds[1] + 1e-6


def test_a_range_by_hand() -> None:
    """Life 1000 s +- 20 %, 100 s a load +- 25 %: 800 / 125 = 6 to 1200 / 75 = 16 loads."""
    found = ranged(load((0, 100.0)), [(1000.0,)], Spread(cycle=0.1, takes=0.25, life=0.2))
    assert found.run.loads == 10
    assert found.loads == (6, 16)
    assert found.seconds == (6 * 900.0, pytest.approx(16 * 1100.0))


def test_every_reason_within_the_spread_is_told() -> None:
    """10 loads of time; the tool lasts 11, or 8 at the low end of its life."""
    found = ranged(load((0, 100.0)), [(1100.0,)], Spread(life=0.2), seconds=10_000.0)
    assert found.run.end is End.TIME
    assert found.ends == ((End.TIME, None), (End.TOOL, 0))


# --- shifts


def test_loads_of_a_shift() -> None:
    """By hand: 8 h at 90 % are 25,920 s; a load of 1000 s and 80 s of loading: 24 exactly."""
    shift = per_shift(1000.0, 80.0, 8 * 3600.0, 0.9)
    assert shift.loads == 24
    assert shift.mean_loads == pytest.approx(24.0)
    assert shift.every_s == 1080.0
    assert per_shift(1000.0, 81.0, 8 * 3600.0, 0.9).loads == 23


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: load((0, -1.0)), "takes_s holds"),
        (lambda: Load(0.0, [], [], []), "cycle_s must be"),
        (lambda: Load(10.0, [1.0], [1.0, 2.0], [0]), "same shape"),
        (lambda: Load(10.0, [11.0], [1.0], [0]), "begins after the load ends"),
        (lambda: Load(10.0, [1.0], [1.0], [-1]), "numbered from 0"),
        (lambda: unattended(load((1, 1.0)), [()]), "family 1"),
        (lambda: unattended(load((0, 1.0)), [()], seconds=-1.0), "below zero"),
        (lambda: unattended(load((0, 1.0)), [(-1.0,)]), "life below zero"),
        (lambda: ranged(load((0, 1.0)), [()], Spread(life=-0.1)), "shares"),
        (lambda: per_shift(0.0, 1.0, 1.0), "cycle_s"),
        (lambda: per_shift(1.0, 1.0, 1.0, 1.1), "share_running"),
    ],
)
def test_wrong_numbers_are_named(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_cuts_are_taken_in_the_order_of_time() -> None:
    one = Load(100.0, [50.0, 0.0], [5.0, 30.0], [0, 1])
    assert one.family.tolist() == [1, 0]
    assert np.all(np.diff(one.at_s) > 0)
    lives = dict(product([0, 1], [(20.0,)]))
    assert unattended(one, [lives[0], lives[1]]).family == 1
