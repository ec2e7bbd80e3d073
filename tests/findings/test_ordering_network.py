"""Legs between cuts, and the shortest round among them, against every order tried."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.findings import network as network_module
from gudgeon.findings.effort import Effort
from gudgeon.findings.jobs import OWN, Job, Way
from gudgeon.findings.legs import (
    CHANGE,
    CLAMP,
    INDEX,
    NOTHING,
    TRAVEL,
    ChangeRule,
    Spent,
    State,
    leg,
    spent,
)
from gudgeon.findings.network import Network, Variation, best_round, varied
from gudgeon.order.problem import Bound

QUICK = Effort(rounds=2_000, bound=0.0)
TOP = 100.0


@dataclass
class Plain:
    """Seconds that a hand can check: 1 s a degree, 1 s to clamp, 1 s a mm along X, Y and Z."""

    change_s: float = 10.0

    def index(self, start, end) -> Spent:
        turn = sum(abs(math.degrees(b - a)) for a, b in zip(start, end, strict=True))
        return spent(INDEX, turn, 0.1 * turn) + spent(CLAMP, 1.0)

    def travel(self, start, end) -> Spent:
        if start == end:
            return NOTHING
        return spent(TRAVEL, sum(abs(b - a) for a, b in zip(start, end, strict=True)))

    @property
    def change(self) -> Spent:
        return spent(CHANGE, self.change_s, 1.0)


def at(tool: int, tilt: float, turn: float = 0.0, point=None) -> State:
    return State(tool, (math.radians(tilt), math.radians(turn)), point)


def rule(*poses: tuple[float, float], place=(None, None, TOP)) -> ChangeRule:
    radians = [tuple(math.radians(angle) for angle in pose) for pose in poses]
    return ChangeRule(lambda start, end: radians or (start, end), place, TOP)


# --- legs ----------------------------------------------------------------------------------------


def test_the_same_place_costs_nothing() -> None:
    here = at(1, 90.0, 0.0, (1.0, 2.0, 3.0))
    assert leg(here, here, Plain(), rule()).spent == NOTHING


def test_with_one_tool_in_one_pose_there_is_only_the_way() -> None:
    found = leg(at(1, 90, 0, (0.0, 0.0, 5.0)), at(1, 90, 0, (3.0, 0.0, 6.0)), Plain(), rule())
    assert found.spent.seconds == spent(TRAVEL, 4.0).seconds
    assert found.change_pose is None


def test_the_unit_turns_with_z_at_the_top() -> None:
    """By hand: 90 up, 3 over, 95 down; 90 deg and the clamp. At once: the 3 are hidden."""
    found = leg(at(1, 0, 0, (0.0, 0.0, 10.0)), at(1, 90, 0, (3.0, 0.0, 5.0)), Plain(), rule())
    assert found.spent.seconds[TRAVEL] == 90.0 + 3.0 + 95.0
    assert found.spent.seconds[INDEX] == pytest.approx(90.0)
    assert found.spent.seconds[CLAMP] == 1.0
    assert found.at_once_s == 3.0
    assert varied(found, Variation(at_once=True)) == pytest.approx(found.spent.total - 3.0)
    far = leg(at(1, 0, 0, (0.0, 0.0, TOP)), at(1, 90, 0, (200.0, 0.0, TOP)), Plain(), rule())
    assert far.at_once_s == pytest.approx(90.0)  # no more than the turn itself


def test_a_turn_without_known_places_counts_the_turn_alone() -> None:
    found = leg(at(1, 0), at(1, 90), Plain(), rule())
    assert found.spent.total == pytest.approx(91.0)


def test_a_tool_is_changed_where_the_turns_are_shortest() -> None:
    """By hand, from A0 to A90: at A30 no detour; at A-10 one of 20 deg; at A95 one of 10 deg."""
    start, end = at(1, 0), at(2, 90)
    assert leg(start, end, Plain(), rule((-10, 0), (30, 0), (95, 0))).change_pose == pytest.approx(
        (math.radians(30), 0.0)
    )
    found = leg(start, end, Plain(), rule((-10, 0), (95, 0)))
    assert found.change_pose == pytest.approx((math.radians(95), 0.0))
    assert found.spent.seconds[INDEX] == pytest.approx(100.0)
    assert found.spent.seconds[CLAMP] == 2.0
    assert found.spent.seconds[CHANGE] == 10.0


def test_a_change_may_ask_for_a_place_of_its_own() -> None:
    """By hand: from z 10 to the change at y 7, z 100: 90 + 7; back down to z 20: 7 + 80."""
    start, end = at(1, 0, 0, (0.0, 0.0, 10.0)), at(2, 0, 0, (0.0, 0.0, 20.0))
    found = leg(start, end, Plain(), rule(place=(None, 7.0, TOP)))
    assert found.spent.seconds[TRAVEL] == 97.0 + 87.0
    assert found.spent.seconds[INDEX] == 0.0


def test_ranges_of_one_cause_add_up() -> None:
    twice = spent(INDEX, 1.0, 0.25) + spent(INDEX, 2.0, 0.5)
    assert (twice.seconds[INDEX], twice.plus_minus[INDEX]) == (3.0, 0.75)


# --- the shortest round -------------------------------------------------------------------------


def job(number: int, tool: int, *tilts: float) -> Job:
    ways = tuple(Way("f", (math.radians(tilt), 0.0), None, None, OWN) for tilt in tilts)
    return Job(number, f"op {number}", "1", "p", "f", tool, ways[:1], ways[1:])


def network(jobs, before=(), *, spare=frozenset(), times=None, load=0.0) -> Network:
    return Network(
        jobs,
        before,
        [5.0] * len(jobs),
        {},
        times or Plain(),
        rule(),
        at(-1, load),
        spare_for=spare,
    )


def by_hand(net: Network, variation: Variation | None = None) -> float:
    """Return the shortest of all rounds, each summed up leg by leg."""
    ways: dict[int, list[int]] = {}
    for node, (k, _) in enumerate(net.nodes):
        ways.setdefault(k, []).append(node)
    best = math.inf
    for order in itertools.permutations(ways):
        place = {k: i for i, k in enumerate(order)}
        if any(place[a] > place[b] for a, b in net.before):
            continue
        for nodes in itertools.product(*(ways[k] for k in order)):
            best = min(best, net.seconds(nodes, variation or Variation()))
    return best


def test_a_load_ends_with_the_tool_that_the_next_begins_with() -> None:
    """By hand: T1 and T2 once each are two changes, wherever one begins."""
    net = network([job(0, 1, 0), job(1, 2, 0)])
    found = best_round(net, QUICK)
    assert found.seconds == pytest.approx(10.0 + 2 * 10.0)
    assert sum(one.change_pose is not None for one in net.legs(found.nodes)) == 2


def test_one_tool_is_never_changed() -> None:
    net = network([job(0, 1, 0), job(1, 1, 30)])
    assert best_round(net, QUICK).seconds == pytest.approx(10.0 + 2 * 31.0)


def test_loading_starts_and_ends_in_its_pose() -> None:
    """By hand: loaded at A50, cut at A0 and A80: 50 + 80 + 30 deg, three clamps."""
    net = network([job(0, 1, 0), job(1, 1, 80)], load=50.0)
    assert best_round(net, QUICK).seconds == pytest.approx(10.0 + 160.0 + 3.0)


def test_a_further_way_is_taken_where_it_helps() -> None:
    jobs = [job(0, 1, 0), job(1, 1, 90, -5)]
    assert best_round(network(jobs), QUICK).seconds == pytest.approx(10.0 + 182.0)
    free = network(jobs, spare=frozenset({1}))
    assert best_round(free, QUICK).seconds == pytest.approx(10.0 + 12.0)


def test_a_pair_may_be_let_go() -> None:
    """By hand: A0 T1, A9 T2, A0 T1 where the middle one must be second; else the tools pair up."""
    jobs = [job(0, 1, 0), job(1, 2, 9), job(2, 1, 0)]
    net = network(jobs, [(0, 1), (1, 2)])
    kept = best_round(net, QUICK)
    free = best_round(net, QUICK, without=frozenset({(1, 2)}))
    assert kept.seconds == pytest.approx(15.0 + 20.0 + 20.0)
    assert free.seconds == pytest.approx(15.0 + 20.0 + 20.0)
    dear = replace(Variation(), change_more_s=30.0)
    assert best_round(net, QUICK, dear).seconds == pytest.approx(15.0 + 80.0 + 20.0)


def test_what_is_handed_in_is_never_made_worse() -> None:
    jobs = [job(k, k % 3, 10.0 * (k * 7 % 5)) for k in range(9)]
    net = network(jobs)
    lazy = Effort(rounds=1, bound=0.0)
    best = best_round(net, QUICK)
    assert best_round(net, lazy, hint=best.nodes).seconds <= best.seconds + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_the_best_of_all_orders_is_found(seed: int) -> None:
    chance = np.random.default_rng(seed)
    count = int(chance.integers(2, 6))
    jobs = [
        job(
            k,
            int(chance.integers(1, 4)),
            *(float(t) for t in chance.integers(-9, 10, int(chance.integers(1, 3)))),
        )
        for k in range(count)
    ]
    pairs = [(a, b) for a in range(count) for b in range(a + 1, count) if chance.random() < 0.25]
    variation = Variation(
        change_more_s=float(chance.integers(-10, 20)),
        index_share=float(chance.choice([1.0, 0.5])),
        clamp_share=float(chance.choice([1.0, 0.0])),
    )
    net = network(jobs, pairs, spare=frozenset({0}), load=float(chance.integers(-9, 10)))
    found = best_round(net, QUICK, variation)
    assert found.seconds == pytest.approx(by_hand(net, variation), abs=1e-6)
    assert net.seconds(found.nodes, variation) == pytest.approx(found.seconds, abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_a_bound_is_never_above_the_best_of_all_orders(seed: int) -> None:
    chance = np.random.default_rng(seed)
    count = int(chance.integers(2, 6))
    jobs = [
        job(k, int(chance.integers(1, 5)), float(chance.integers(-90, 90))) for k in range(count)
    ]
    net = network(jobs, [(0, 1)], load=float(chance.integers(-90, 90)))
    best = by_hand(net)
    found = best_round(net, Effort(rounds=200, bound=0.2))
    assert found.low_s is not None
    assert found.low_s <= best + 1e-6
    assert found.seconds >= best - 1e-6
    if found.proven:
        assert found.seconds == pytest.approx(best, abs=2e-3)


def test_of_many_tools_the_loosened_bound_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    """A load too large to bound tool by tool: as if it were, and for many draws."""
    monkeypatch.setattr(network_module, "EACH_MOST", 0)
    chance = np.random.default_rng(7)
    for _ in range(6):
        jobs = [job(k, k % 4, float(chance.integers(-90, 90))) for k in range(5)]
        net = network(jobs)
        found = best_round(net, Effort(rounds=500, bound=0.2))
        assert found.low_s is not None
        best = by_hand(net)
        assert best - 40.0 <= found.low_s <= best + 1e-6  # short by a few changes at most


def test_the_loosened_bound_counts_no_change_at_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: T1, T2, T2, T1 in one pose is two changes; each tool may stand at the end."""
    bounded = []

    def low(problem, *more):
        bounded.append(problem)
        return Bound(0.0, False, None)

    monkeypatch.setattr(network_module, "EACH_MOST", 0)
    monkeypatch.setattr(network_module, "_low", low)
    jobs = [job(0, 1, 0), job(1, 2, 0), job(2, 1, 0), job(3, 2, 0)]
    net = network(jobs, [(0, 1), (1, 2), (0, 3)])
    assert set(net.last_tools) == {1, 2}
    found = best_round(net, Effort(rounds=500, bound=0.5))
    assert found.seconds == pytest.approx(20.0 + 20.0)
    (loosened,) = bounded
    assert loosened.seconds(found.nodes) <= found.seconds + 1e-9


def test_the_search_goes_on_until_it_is_told_to_stop() -> None:
    jobs = [job(k, k % 3, 10.0 * (k * 7 % 5)) for k in range(12)]
    net = network(jobs)
    looks: list[int] = []

    def again() -> bool:
        looks.append(1)
        return len(looks) < 8

    short = best_round(net, Effort(rounds=5, bound=0.0))
    longer = best_round(net, Effort(rounds=5, bound=0.0, keep_going=again))
    assert longer.seconds <= short.seconds + 1e-9
    assert len(looks) >= 8


def test_the_same_seed_finds_the_same_round() -> None:
    jobs = [job(k, k % 4, 10.0 * (k * 7 % 5)) for k in range(14)]
    assert best_round(network(jobs), QUICK) == best_round(network(jobs), QUICK)


def test_progress_is_told_over_all_tools_that_may_be_last() -> None:
    shares: list[float] = []
    jobs = [job(k, k % 3, 10.0 * (k * 7 % 5)) for k in range(9)]
    best_round(network(jobs), Effort(rounds=4_000, bound=0.0, told=shares.append))
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)
