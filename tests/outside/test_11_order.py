"""Outside values of topic 11: published instances against the search for the shortest path."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from gudgeon.order.paths import closure, is_allowed, length, shortest_path
from tests.order.instances import INSTANCES, NOT_AT_HAND, best_known, read_instance
from tests.outside import rows

ROWS = rows("11-order")
LENGTHS = {name: row for name, row in ROWS.items() if "least length" in row["what"]}
READABLE = sorted(name for name, row in LENGTHS.items() if "inputs" in row)

ROUNDS = 20_000
"""About 0.1 s each; the table of whole searches is that of ``benchmarks/order_paths.py``."""

REACHED = ("ESC07", "ESC11", "ESC12", "ESC25", "br17.10", "br17.12")
"""Those of up to 27 nodes must end at the least length known."""

needs_instances = pytest.mark.skipif(not INSTANCES.is_dir(), reason=NOT_AT_HAND)

_NOT_CARRIED = "the instance is not among the shared data"
LEFT_OUT = {name: _NOT_CARRIED for name in LENGTHS if name not in READABLE}


def instance(row: dict[str, Any]) -> tuple[Any, Any]:
    return read_instance(INSTANCES / f"{row['inputs']['instance']}.sop")


@needs_instances
@pytest.mark.parametrize("name", READABLE)
def test_lengths_of_instances(name: str) -> None:
    """Never below the best known where that is proven; small ones on it, all near it."""
    row = LENGTHS[name]
    cost, before = instance(row)
    assert len(cost) == row["inputs"]["nodes"]
    found = shortest_path(cost, before, rounds=ROUNDS)
    assert is_allowed(before, found.order)
    assert found.length == length(cost, found.order)
    lower, known = best_known()[row["inputs"]["instance"]]
    assert known == row["expected"]
    assert lower <= found.length <= 1.05 * known
    if row["inputs"]["instance"] in REACHED:
        assert found.length == row["expected"]


@needs_instances
def test_a_minus_one_means_that_the_column_comes_before_the_row() -> None:
    """SO-050; in ESC07 every other node comes before the last, and after the first."""
    assert ROWS["SO-050"]["expected"] == "j must come before i"
    cost, before = read_instance(INSTANCES / "ESC07.sop")
    assert cost[8, 0] == -1
    assert before[0, 8]
    assert before[:8, 8].all()
    assert before[0, 1:].all()


@needs_instances
def test_a_forbidden_order_is_refused() -> None:
    """SO-051."""
    row = ROWS["SO-051"]
    _, before = instance(row)
    assert row["expected"] == "error"
    assert not is_allowed(before, row["inputs"]["order"])


@needs_instances
def test_every_allowed_order_of_the_smallest() -> None:
    """SO-052: all orders are tried, and the search ends on one of the two best."""
    allowed, best, one = ROWS["SO-052"]["expected"]
    cost, before = instance(ROWS["SO-052"])
    orders = [(0, *middle, 8) for middle in itertools.permutations(range(1, 8))]
    kept = [order for order in orders if is_allowed(before, order)]
    assert len(kept) == allowed
    lengths = np.array([length(cost, order) for order in kept])
    shortest = [order for order, one in zip(kept, lengths, strict=True) if one == lengths.min()]
    assert len(shortest) == best
    assert tuple(one) in shortest
    for seed in range(5):
        assert shortest_path(cost, before, seed=seed, rounds=500).order in shortest


@needs_instances
def test_entries_of_an_instance_after_closure() -> None:
    """SO-053."""
    cost, before = instance(ROWS["SO-053"])
    closed = closure(len(cost), np.argwhere(before))
    assert [len(cost), int(closed.sum())] == ROWS["SO-053"]["expected"]


def test_every_row_is_checked_or_left_out_with_a_reason() -> None:
    asked = {*READABLE, "SO-050", "SO-051", "SO-052", "SO-053"}
    assert set(ROWS) == asked | set(LEFT_OUT)
    assert not asked & set(LEFT_OUT)
    assert len(LEFT_OUT) == 7
