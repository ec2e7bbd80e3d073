"""The search for the next few readings, against all subsets and against doing it step by step."""

from __future__ import annotations

import itertools
import time

import numpy as np
import pytest

from gudgeon.centre.design import largest_spread, whitened
from gudgeon.centre.offers import Offers
from gudgeon.centre.plan import Offer, Plan, Planner, best_readings, in_order


def job(seed: int, offers: int = 12, points: int = 20, parameters: int = 9, seen: int = 6):
    chance = np.random.default_rng(seed)
    known = chance.normal(size=(3, parameters))
    information = 0.01 * np.eye(parameters) + known.T @ known
    slopes = chance.normal(size=(points, 3, seen))
    made = []
    for _ in range(offers):
        rows = chance.normal(size=(chance.integers(1, 4), parameters)) * chance.uniform(0.5, 3.0)
        minutes, pose = float(chance.uniform(0.5, 3.0)), f"pose {chance.integers(4)}"
        made.append(Offer(rows, minutes, ((pose, 2.0),)))
    return information, slopes, made


def worst(information, slopes, offers, chosen) -> float:
    """Return the worst point by inverting everything anew."""
    total = information + sum(offers[i].rows.T @ offers[i].rows for i in chosen)
    count = slopes.shape[2]
    covariance = np.linalg.inv(total)[:count, :count]
    spread = slopes @ covariance @ np.swapaxes(slopes, 1, 2)
    return float(np.sqrt(np.linalg.eigvalsh(spread)[:, -1].max()))


def minutes_of(offers, chosen) -> float:
    setups = {name: t for i in chosen for name, t in offers[i].setups}
    return sum(offers[i].minutes for i in chosen) + sum(setups.values())


def plain_greedy(information, slopes, offers, most) -> list[int]:
    chosen: list[int] = []
    for _ in range(most):
        left = [i for i in range(len(offers)) if i not in chosen]
        chosen.append(min(left, key=lambda i: worst(information, slopes, offers, [*chosen, i])))
    return chosen


@pytest.mark.parametrize("seed", range(20))
def test_three_of_twelve_are_the_best_of_all_subsets_and_never_worse_than_plain_greedy(
    seed,
) -> None:
    information, slopes, offers = job(seed)
    found = best_readings(information, slopes, offers, most=3)
    assert len(set(found.chosen)) == 3
    best = min(
        worst(information, slopes, offers, some) for some in itertools.combinations(range(12), 3)
    )
    greedy = worst(information, slopes, offers, plain_greedy(information, slopes, offers, 3))
    assert found.u_last <= greedy * (1.0 + 1e-9)
    assert found.u_last == pytest.approx(best, rel=1e-6)


def test_plain_greedy_is_short_sighted_where_the_search_is_not() -> None:
    shortfall = []
    for seed in range(20):
        information, slopes, offers = job(seed)
        greedy = worst(information, slopes, offers, plain_greedy(information, slopes, offers, 3))
        shortfall.append(greedy / best_readings(information, slopes, offers, most=3).u_last)
    assert max(shortfall) > 1.2  # so the comparison above says something


@pytest.mark.parametrize("seed", range(6))
def test_each_figure_is_that_of_the_readings_so_far(seed) -> None:
    information, slopes, offers = job(seed, offers=30, points=80)
    found = best_readings(information, slopes, offers, most=5)
    assert found.u_before == pytest.approx(worst(information, slopes, offers, ()))
    for k, u in enumerate(found.u_after, start=1):
        assert u == pytest.approx(worst(information, slopes, offers, found.chosen[:k]), rel=1e-7)
    assert sum(found.minutes) == pytest.approx(minutes_of(offers, found.chosen))


@pytest.mark.parametrize("seed", range(12))
def test_what_is_wanted_is_reached_in_nearly_the_fewest_minutes(seed) -> None:
    information, slopes, offers = job(seed, offers=9)
    wanted = 1.2 * best_readings(information, slopes, offers, most=4).u_last
    found = best_readings(information, slopes, offers, most=4, wanted_u=wanted)
    assert worst(information, slopes, offers, found.chosen) <= wanted
    fewest = min(
        minutes_of(offers, some)
        for k in range(1, 5)
        for some in itertools.combinations(range(9), k)
        if worst(information, slopes, offers, some) <= wanted
    )
    assert minutes_of(offers, found.chosen) <= 1.25 * fewest
    for k in range(len(found.chosen)):  # nothing in it that could be left out
        rest = found.chosen[:k] + found.chosen[k + 1 :]
        assert worst(information, slopes, offers, rest) > wanted


def test_nothing_is_taken_where_nothing_is_needed_or_offered() -> None:
    information, slopes, offers = job(3)
    before = worst(information, slopes, offers, ())
    assert best_readings(information, slopes, offers, most=3, wanted_u=before * 1.001).chosen == ()
    assert best_readings(information, slopes, [], most=3) == Plan((), pytest.approx(before), (), ())
    assert best_readings(information, slopes, offers, most=0).u_last == pytest.approx(before)
    assert len(best_readings(information, slopes, offers[:2], most=6).chosen) == 2


def test_the_same_job_gives_the_same_readings_in_whatever_order_they_are_offered() -> None:
    information, slopes, offers = job(5, offers=20)
    first = best_readings(information, slopes, offers, most=4)
    assert first == best_readings(information, slopes, offers, most=4)
    turned = best_readings(information, slopes, offers[::-1], most=4)
    assert sorted(19 - i for i in turned.chosen) == sorted(first.chosen)


def test_what_was_worked_out_for_one_plan_does_not_change_the_next() -> None:
    information, slopes, offers = job(5, offers=20)
    planner = Planner(information, slopes, offers)
    wanted = 1.1 * planner.best(most=4).u_last
    for most, u in ((6, 0.0), (2, 0.0), (5, wanted), (4, 0.9 * wanted), (4, 0.0)):
        fresh = best_readings(information, slopes, offers, most=most, wanted_u=u)
        assert planner.best(most=most, wanted_u=u) == fresh
    planner = Planner(information, slopes, offers)
    first = planner.exchange((0, 1, 2))
    assert first != (0, 1, 2)
    assert planner.exchange((0, 1, 2)) == first == planner.exchange(first)


@pytest.mark.parametrize("points", [20, 90])
def test_the_worst_point_with_each_offer_is_that_of_inverting_everything_anew(points) -> None:
    information, slopes, offers = job(4, offers=15, points=points)
    bases = [(0, 3), (1, 7), (2,)]
    among = np.ones((3, 15), dtype=bool)
    among[0, [0, 3, 5]] = among[1, [1, 7]] = among[2, 2] = False
    want = np.full((3, 15), np.inf)
    for b, i in np.argwhere(among):
        want[b, i] = worst(information, slopes, offers, [*bases[b], i])
    told = Offers(information, slopes, offers).worst_with(bases, among)
    assert np.argmin(told) == np.argmin(want)
    assert told.min() == pytest.approx(want.min(), rel=1e-7)
    limit = float(np.median(want))
    told = Offers(information, slopes, offers).worst_with(bases, among, limit)
    np.testing.assert_allclose(told[want <= limit], want[want <= limit], rtol=1e-7)
    assert np.all(told[want > limit * 1.001] > limit)


def test_a_setup_is_paid_once_and_its_readings_stay_together() -> None:
    information, slopes, _ = job(1)
    rows = np.random.default_rng(2).normal(size=(6, 1, 9))
    offers = [
        Offer(one, 1.0, (("tilted" if i % 2 else "level", 5.0),)) for i, one in enumerate(rows)
    ]
    found = in_order(information, slopes, offers, range(6))
    poses = [i % 2 for i in found.chosen]
    assert poses in ([0, 0, 0, 1, 1, 1], [1, 1, 1, 0, 0, 0])
    assert found.minutes == (6.0, 1.0, 1.0, 6.0, 1.0, 1.0)


def test_the_largest_spread_is_the_largest_eigenvalue() -> None:
    chance = np.random.default_rng(7)
    half = chance.normal(size=(500, 3, 3)) * 10.0 ** chance.uniform(-4, 3, size=(500, 1, 1))
    half[:50, :, 1:] = 0.0  # rank one
    half[50:60] = np.eye(3)
    half[60] = 0.0
    some = half @ np.swapaxes(half, 1, 2)
    want = np.linalg.eigvalsh(some)[:, -1]
    np.testing.assert_allclose(largest_spread(some), want, rtol=1e-12, atol=1e-300)


def test_an_open_zero_and_a_shared_error_count_as_if_they_were_parameters() -> None:
    chance = np.random.default_rng(8)
    rows = chance.normal(size=(4, 5))
    index, zero = chance.normal(size=(4, 2)), np.ones((4, 1))
    made = whitened(rows, index, zero)
    # The same by hand: both as further parameters, the shared errors known to one standard
    # uncertainty, the zero not at all; then taken out again (Schur's complement).
    wide = np.hstack([rows, index, zero])
    full = wide.T @ wide + np.diag([0.0] * 5 + [1.0, 1.0, 0.0])
    a, b, c = full[:5, :5], full[:5, 5:], full[5:, 5:]
    np.testing.assert_allclose(made.T @ made, a - b @ np.linalg.solve(c, b.T), atol=1e-12)
    np.testing.assert_allclose(whitened(rows), rows)


def test_two_hundred_offers_and_three_hundred_points_take_less_than_two_seconds() -> None:
    information, slopes, offers = job(1, offers=200, points=300, parameters=20, seen=9)
    start = time.process_time()  # other jobs on the computer do not count
    best_readings(information, slopes, offers, most=6)
    assert time.process_time() - start < 2.0


@pytest.mark.parametrize("seed", range(4))
def test_no_single_exchange_would_make_a_larger_set_better(seed) -> None:
    information, slopes, offers = job(seed, offers=20, points=15, parameters=12)
    found = best_readings(information, slopes, offers, most=8)
    assert len(found.chosen) == 8
    for k in range(8):
        rest = found.chosen[:k] + found.chosen[k + 1 :]
        for i in set(range(20)) - set(found.chosen):
            assert worst(information, slopes, offers, (*rest, i)) >= found.u_last * (1.0 - 2e-6)
