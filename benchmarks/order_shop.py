"""Orders of invented loads beside a general routing library in the same time, and how near a bound.

    python benchmarks/order_shop.py              2 loads of each size, 3 s a search
    python benchmarks/order_shop.py 10 3         3 loads of each size, 10 s a search
    python benchmarks/order_shop.py proofs 20    only the bounds, on so many small loads

The loads are those of ``shop_cases.py``.  The library is the routing solver of OR-tools on one
thread: one vehicle from start to end, one mandatory disjunction a group, a dimension that counts
places for what must come first, guided local search.  It runs with each of three ways to its first
sequence, and once from the same first sequence as ours; *each of them gets the whole time*, and the
best of the four is what ours is compared with.  What is compared is the time that an order can
change: all but the shortest cut of each group.
"""

from __future__ import annotations

import itertools
import sys
import time
from typing import Final

import numpy as np
from shop_cases import shop_case

from gudgeon.order.bound import bound
from gudgeon.order.problem import Problem
from gudgeon.order.search import search

SIZES: Final = (50, 80, 120, 160, 240, 320)
FIRST_SEED: Final = 100
SCALE: Final = 10_000
"""The library counts in whole numbers: 0.1 ms."""

STRATEGIES: Final = (
    "PARALLEL_CHEAPEST_INSERTION",
    "LOCAL_CHEAPEST_INSERTION",
    "LOCAL_CHEAPEST_ARC",
    "OURS",
)
"""Of ten ways to a first sequence those that found one at all (tried on loads of 50 and 160)."""


def needed(problem: Problem) -> list[tuple[int, int]]:
    """Return the pairs that do not follow from others."""
    first = problem.closure
    through = (first.astype(np.float32) @ first.astype(np.float32)) > 0.5
    return [tuple(pair) for pair in np.argwhere(first & ~through).tolist()]


def by_library(problem: Problem, strategy: str, limit_s: float) -> float:
    """Return the seconds of the sequence that the library finds; inf where it finds none."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    end = problem.nodes + 1
    manager = pywrapcp.RoutingIndexManager(end + 1, 1, [0], [end])
    routing = pywrapcp.RoutingModel(manager)
    cost = np.where(np.isfinite(problem.cost), problem.cost, 1e6)
    matrix = np.rint(cost * SCALE).astype(np.int64).tolist()
    routing.SetArcCostEvaluatorOfAllVehicles(routing.RegisterTransitMatrix(matrix))
    ones = routing.RegisterUnaryTransitVector([1] * (end + 1))
    routing.AddDimension(ones, 0, end + 1, True, "place")
    place = routing.GetDimensionOrDie("place")
    members = [np.flatnonzero(problem.group == g) + 1 for g in range(problem.groups)]
    for nodes in members:
        if len(nodes) > 1:
            routing.AddDisjunction([manager.NodeToIndex(int(n)) for n in nodes], -1, 1)
    for a, b in needed(problem):
        for u, v in itertools.product(members[a], members[b]):
            # Holds where both nodes are used.  As plain constraints of the solver the same leaves
            # most ways to a first sequence without one, and the search slower.
            place.AddNodePrecedence(manager.NodeToIndex(int(u)), manager.NodeToIndex(int(v)), 1)
    settings = pywrapcp.DefaultRoutingSearchParameters()
    settings.local_search_metaheuristic = (
        routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    )
    settings.time_limit.FromMilliseconds(round(1000 * limit_s))
    if strategy == "OURS":
        routing.CloseModelWithParameters(settings)
        way = [int(node) + 1 for node in search(problem, rounds=0).order]
        begin = routing.ReadAssignmentFromRoutes([way], True)
        found = routing.SolveFromAssignmentWithParameters(begin, settings) if begin else None
    else:
        settings.first_solution_strategy = getattr(
            routing_enums_pb2.FirstSolutionStrategy, strategy
        )
        found = routing.SolveWithParameters(settings)
    if found is None:
        return np.inf
    order, at = [], found.Value(routing.NextVar(routing.Start(0)))
    while not routing.IsEnd(at):
        order.append(manager.IndexToNode(at) - 1)
        at = found.Value(routing.NextVar(at))
    return problem.seconds(order)


def by_ours(problem: Problem, limit_s: float) -> float:
    """Return the seconds of our sequence; as many rounds as fit, late ones are stopped.

    Both sides have the same time of the processor, which other work on the computer does not
    shorten.
    """
    begin = time.process_time()
    tried = 4000
    first = search(problem, rounds=tried)
    speed = tried / (time.process_time() - begin)
    stop = begin + limit_s
    rounds = int(0.9 * speed * (stop - time.process_time()))
    found = search(problem, rounds=rounds, keep_going=lambda: time.process_time() < stop)
    return min(first.seconds, found.seconds)


def change_over(problem: Problem, seconds: float) -> float:
    """Return what is left without the shortest cut of each group."""
    least = np.full(problem.groups, np.inf)
    np.minimum.at(least, problem.group, problem.own)
    return seconds - float(least.sum())


def beside_library(limit_s: float, loads: int) -> None:
    """Print the table of loads."""
    search(shop_case(20, 1), rounds=10)  # compiled before the clock runs
    print(f"change-over time of a load [s], {limit_s:g} s a search")
    print(
        f"{'operations':>10}{'ways':>6}{'ours':>10}{'0.02 M':>10}{'library':>10}"
        f"{'better':>9}   library's first sequence; each of the four"
    )
    better = []
    for size, number in itertools.product(SIZES, range(loads)):
        problem = shop_case(size, FIRST_SEED + number + 10 * size)
        begin = time.process_time()
        theirs = [change_over(problem, by_library(problem, s, limit_s)) for s in STRATEGIES]
        used_s = min(limit_s, (time.process_time() - begin) / len(STRATEGIES))
        ours = change_over(problem, by_ours(problem, used_s))
        short = change_over(problem, search(problem).seconds)
        best = min(theirs)
        better.append(1.0 - ours / best)
        each = " ".join(f"{one:.1f}" for one in theirs)
        print(
            f"{problem.groups:>10}{problem.nodes:>6}{ours:>10.2f}{short:>10.2f}{best:>10.2f}"
            f"{100 * better[-1]:>8.1f}%   {STRATEGIES[int(np.argmin(theirs))]}; {each}",
            flush=True,
        )
    print(
        f"better in the mean {100 * np.mean(better):.1f} % "
        f"({100 * min(better):.1f} to {100 * max(better):.1f} %); at least 5 % is asked"
    )


def proofs(loads: int) -> None:
    """Print how many loads of each size are proven shortest, and the gap of the others."""
    print("bounds with effort 1 after the search as it is")
    print(f"{'operations':>10}{'loads':>7}{'proven':>8}{'gap, % of change-over':>24}{'s':>8}")
    for size in (12, 25, 50, 80, 120, 320):
        gaps, proven, took = [], 0, 0.0
        count = max(1, loads if size <= 120 else loads // 4)
        for number in range(count):
            problem = shop_case(size, FIRST_SEED + number)
            found = search(problem)
            begin = time.perf_counter()
            told = bound(problem, hint=found.order)
            took += time.perf_counter() - begin
            proven += told.proven
            if not told.proven and told.order is not None:
                seconds = problem.seconds(told.order)
                gaps.append((seconds - told.seconds) / change_over(problem, seconds))
        said = (
            f"{100 * np.mean(gaps):.1f} mean, {100 * max(gaps):.1f} most" if gaps else "none open"
        )
        print(f"{size:>10}{count:>7}{proven:>8}{said:>24}{took / count:>8.2f}", flush=True)


def main(words: list[str]) -> None:
    """Run what the words ask for."""
    if words[:1] == ["proofs"]:
        proofs(int(words[1]) if len(words) > 1 else 10)
        return
    limit_s = float(words[0]) if words else 3.0
    beside_library(limit_s, int(words[1]) if len(words) > 1 else 2)
    proofs(10)


if __name__ == "__main__":
    main(sys.argv[1:])
