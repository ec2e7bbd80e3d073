"""The same problem as a circuit with constraints, for a solver that proves how short it can be.

The solver is CP-SAT of the open library OR-tools (optional: extra ``bound``).  It runs on one
thread, with a stated seed, and stops by its own count of work, not by the clock: the same input
gives the same bound on every run of the same version.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.order.problem import Problem

__all__ = ["MOST_STEPS", "Solved", "is_at_hand", "solve"]

MOST_STEPS: Final = 25_000
"""Steps between nodes above which the model itself takes too long to build."""

SCALE: Final = 1_000_000
"""Costs are whole microseconds, rounded down, so that a bound stays one."""


@dataclass(frozen=True, slots=True)
class Solved:
    """What the solver found.

    Attributes
    ----------
    least : float
        No sequence over the given steps is shorter [s]; inf where there is proven to be none.
    order : tuple of int
        The best sequence of nodes that it met; empty where it met none.
    """

    least: float
    order: tuple[int, ...]


def is_at_hand() -> bool:
    """Return whether the solver is installed."""
    try:
        from ortools.sat.python import cp_model  # noqa: F401
    except ImportError:
        return False
    return True


def solve(
    problem: Problem, cost: NDArray[np.float64], *, work: float, hint: Sequence[int] = ()
) -> Solved:
    """Prove a bound over the steps that are finite in `cost`.

    Parameters
    ----------
    problem : Problem
    cost : ndarray, shape (n + 2, n + 2)
        As `Problem.cost`, perhaps with more steps shut.
    work : float
        Limit in the solver's own count, which is near seconds on a quiet computer.
    hint : sequence of int
        A sequence of nodes to begin with.

    Raises
    ------
    ImportError
        If the solver is not installed.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    end = problem.nodes + 1
    group = problem.group.tolist()
    place = [model.new_int_var(0, problem.groups - 1, "") for _ in range(problem.groups)]
    used: dict[int, list[cp_model.IntVar]] = {}
    circuit: list[tuple[int, int, cp_model.LiteralT]] = []
    for node, own in enumerate(group, start=1):
        done = model.new_bool_var("")
        used.setdefault(own, []).append(done)
        circuit.append((node, node, ~done))
    for choices in used.values():
        model.add_exactly_one(choices)
    way = [0, *(node + 1 for node in hint), end]
    taken = set(itertools.pairwise(way)) if hint else set()
    steps: dict[tuple[int, int], cp_model.IntVar] = {}
    for a, b in np.argwhere(np.isfinite(cost)).tolist():
        step = steps[a, b] = model.new_bool_var("")
        circuit.append((a, b if b < end else 0, step))
        if a == 0:
            model.add(place[group[b - 1]] == 0).only_enforce_if(step)
        elif b == end:
            model.add(place[group[a - 1]] == problem.groups - 1).only_enforce_if(step)
        else:
            model.add(place[group[b - 1]] == place[group[a - 1]] + 1).only_enforce_if(step)
        if taken:
            model.add_hint(step, (a, b) in taken)
    model.add_circuit(circuit)
    for first, second in problem.before.tolist():
        model.add(place[second] >= place[first] + 1)
    whole = np.floor(np.where(np.isfinite(cost), cost, 0.0) * SCALE).astype(np.int64)
    model.minimize(sum(int(whole[a, b]) * step for (a, b), step in steps.items()))

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.linearization_level = 2
    solver.parameters.max_deterministic_time = work
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return Solved(np.inf, ())
    order: list[int] = []
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        follows = {a: b for (a, b), step in steps.items() if solver.boolean_value(step)}
        at = follows[0]
        while at != end:
            order.append(at - 1)
            at = follows[at]
    least = solver.best_objective_bound / SCALE
    return Solved(least if least > 0.0 else 0.0, tuple(order))
