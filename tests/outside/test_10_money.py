"""Outside values of topic 10 against the product's money sums."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from numpy.testing import assert_allclose

from gudgeon.money.flips import straight_flip
from gudgeon.money.flows import (
    annual_equivalent,
    internal_rate,
    payback,
    present_worth,
    profitability_index,
)
from gudgeon.money.level import (
    annuity,
    cost_per_part,
    level_worth,
    payments,
    volume_needed,
    whole_parts,
)
from tests.outside import rows

ROWS = rows("10-money")
FLOWS = ROWS["MO-001"]["inputs"]["flows"]
RATE = ROWS["MO-001"]["inputs"]["rate"]
WORTH = ROWS["MO-001"]["expected"]


def root(row: dict[str, Any]) -> float:
    found = internal_rate(row["inputs"]["flows"]).rate
    assert found is not None
    return found


def resale_that_evens_out(outlay: float, yearly: float, rate: float, years: float) -> float:
    """Return the resale that makes the worth zero: a future value with its sign turned."""
    found = straight_flip(
        lambda resale: [level_worth(outlay, yearly, resale, rate, years)],
        0.0,
        low=-math.inf,
        high=math.inf,
    )
    assert found is not None
    return found


CHECKED: dict[str, Callable[[dict[str, Any]], Any]] = {
    "MO-001": lambda row: present_worth(row["inputs"]["rate"], row["inputs"]["flows"]),
    **{f"MO-01{n}": root for n in range(5)},
    # Payments flow out, so the level sum that repays a debt counts negative there.
    "MO-020": lambda row: -annual_equivalent(200_000, 0.075 / 12, 180),
    "MO-021": lambda row: payments(8000, 150, 0.07 / 12),
    "MO-022": lambda row: -resale_that_evens_out(-100, 100, 0.05 / 12, 120),
    "MO-023": lambda row: float(level_worth(0, 100, -15692.93, 0.05 / 12, 120)),
    "MO-024": lambda row: 2500 - 12 * annual_equivalent(2500, 0.0824 / 12, 12),
    "MO-030": lambda row: payback(row["inputs"]["flows"]),
    "MO-031": lambda row: payback(FLOWS, RATE),
    "MO-032": lambda row: "never" if math.isinf(payback([-100, 20, 20, 20])) else "back",
    "MO-033": lambda row: profitability_index(-FLOWS[0], WORTH),
    "MO-034": lambda row: present_worth(root(ROWS["MO-010"]), ROWS["MO-010"]["inputs"]["flows"]),
    "MO-035": lambda row: annual_equivalent(WORTH, RATE, 4),
    # Two hours at 75 saved by each batch, against 900 a year; no outlay.
    "MO-060": lambda row: whole_parts(float(volume_needed(0, 150, annuity(0.08, 5), 900))),
    "MO-061": lambda row: float(cost_per_part(6 * 60, 75, 90 / 60 * 75, 16)),
}

_TAX = "tax depreciation is left to the shop's books; the row is from memory besides"
_LEARNING = "no learning curve in the product: a cell states times as timed"
LEFT_OUT = {
    "MO-040": _TAX,
    "MO-041": _TAX,
    "MO-050": _LEARNING,
    "MO-051": _LEARNING,
    "MO-052": _LEARNING,
    "MO-053": _LEARNING,
    "MO-054": _LEARNING,
}


@pytest.mark.parametrize("name", sorted(CHECKED))
def test_row(name: str) -> None:
    row = ROWS[name]
    found = CHECKED[name](row)
    if isinstance(row["expected"], str):
        assert found == row["expected"]
    else:
        assert_allclose(found, row["expected"], rtol=0, atol=row["tolerance"])


def test_every_row_is_checked_or_left_out_with_a_reason() -> None:
    assert set(ROWS) == set(CHECKED) | set(LEFT_OUT)
    assert not set(CHECKED) & set(LEFT_OUT)
