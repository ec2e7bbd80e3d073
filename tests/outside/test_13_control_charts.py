"""Outside values of topic 13 against the charts and comparisons of the daily checks.

Left out: CC-062 (zone rules; from memory, and nobody recomputed them).  Rows that no answer needs
are listed with the reason.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.special import chdtri

from gudgeon.drift import charts
from gudgeon.quantity.spread import coverage_factor, en_number
from tests.outside import rows

ROWS = rows("13-control-charts")
Check = Callable[[dict[str, Any]], object]


def inputs(row: dict[str, Any]) -> dict[str, Any]:
    given = dict(row["inputs"])
    if str(given.get("data", "")).startswith("as "):
        given = {**inputs(ROWS[given.pop("data")[3:]]), **given}
    return given


def chart_factors(row: dict[str, Any]) -> object:
    f = charts.factors(row["inputs"]["n"])
    return (
        f.a2,
        f.range_low,
        f.range_high,
        f.d2,
        f.d3,
        f.c4,
        f.a3,
        f.spread_low,
        f.spread_high,
    )


def sums(row: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    g = inputs(ROWS["CC-040"])
    return charts.cusum(g["x"], g["target"], g["K"])


def averages(_: dict[str, Any]) -> np.ndarray:
    g = inputs(ROWS["CC-050"])
    return charts.ewma(g["x"], g["lambda"], g["start"])


def ewma_reach(row: dict[str, Any]) -> tuple[float, float]:
    g = inputs(ROWS["CC-050"])
    return charts.ewma_limits(g["start"], ROWS["CC-051"]["inputs"]["s"], g["lambda"])


def ewma_outside(row: dict[str, Any]) -> bool:
    upper, lower = ewma_reach(row)
    return bool(np.any((averages(row) > upper) | (averages(row) < lower)))


def chi_squared(dof: int) -> Check:
    # The library function whose counterpart `explain` takes its chances from.
    return lambda _: tuple(chdtri(dof, 1.0 - p) for p in (0.025, 0.95, 0.975))


def student(dof: int) -> Check:
    return lambda _: tuple(coverage_factor(dof, 2.0 * p - 1.0) for p in (0.90, 0.95, 0.975, 0.995))


OUTLIERS = (
    "a bad reading is judged by the evidence of the whole record, not by its mean and scatter"
)
GROUPS = "the readings of a feature share one stated scatter; no answer compares that of groups"

NOT_CHECKED = {
    "CC-043": "no answer shows the plain sum: it wanders where nothing moves",
    "CC-070": OUTLIERS,
    "CC-120": "a step is judged with temperature and day unsure, not as two plain means",
    "CC-122": "motion with temperature is found along with steps and trends, not from one line",
    **{f"CC-{n:03d}": OUTLIERS for n in range(80, 90)},
    **{f"CC-{n:03d}": GROUPS for n in range(90, 94)},
}

CHECKS: dict[str, Check] = {
    **{f"CC-{n:03d}": chart_factors for n in (*range(2, 11), 15, 20, 25)},
    # The row was formed from the printed d2 of three decimals.
    "CC-030": lambda _: 3.0 / round(charts.factors(2).d2, 3),
    "CC-040": lambda row: sums(row)[0],
    "CC-041": lambda row: sums(row)[1],
    "CC-042": lambda row: bool(np.max(sums(row)) > row["inputs"]["H"]),
    "CC-050": averages,
    "CC-051": ewma_reach,
    "CC-052": ewma_outside,
    "CC-060": lambda row: charts.individuals(row["inputs"]["x"]),
    # A moving average of the newest value only is the chart of single values.
    "CC-061": lambda _: (1.0 / charts.ewma_run_length(1.0, 3.0), charts.ewma_run_length(1.0, 3.0)),
    **{f"CC-{100 + i}": chi_squared(k) for i, k in enumerate((1, 2, 3, 5, 10, 20))},
    **{f"CC-{110 + i}": student(k) for i, k in enumerate((1, 2, 4, 9, 19))},
    "CC-121": lambda _: en_number(16.0 - 12.0, 3.0, 2.0),
}


def test_every_row_is_compared_or_said_why_not() -> None:
    assert set(CHECKS) | set(NOT_CHECKED) == set(ROWS)
    assert not set(CHECKS) & set(NOT_CHECKED)


@pytest.mark.parametrize("name", CHECKS)
def test_value_agrees(name: str) -> None:
    row = ROWS[name]
    found = np.atleast_1d(np.asarray(CHECKS[name](row), dtype=np.float64))
    wanted = np.atleast_1d(np.asarray(row["expected"], dtype=np.float64))
    assert found.shape == wanted.shape
    assert np.all(np.abs(found - wanted) <= np.asarray(row["tolerance"])), (found, wanted)
