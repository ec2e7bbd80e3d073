"""Outside values of topic 13 against the charts and comparisons of the daily checks.

Left out: CC-062 (zone rules; from memory, and nobody recomputed them).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.special import chdtri

from gudgeon.drift import charts, compare
from gudgeon.quantity.spread import coverage_factor
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


def one_outlier(row: dict[str, Any]) -> object:
    x = row["inputs"]["x"]
    return compare.outlier_statistic(x), compare.outlier_limit(len(x), two_sided=False)


def outlier_limits(row: dict[str, Any]) -> object:
    n = row["inputs"]["n"]
    return (
        compare.outlier_limit(n, 0.05, two_sided=False),
        compare.outlier_limit(n, 0.01, two_sided=False),
        compare.outlier_limit(n, 0.05),
    )


def share(groups: int, of: int) -> Check:
    return lambda _: compare.largest_share_limit(groups, of - 1)


def chi_squared(dof: int) -> Check:
    # The library function whose counterpart `explain` takes its chances from.
    return lambda _: tuple(chdtri(dof, 1.0 - p) for p in (0.025, 0.95, 0.975))


def student(dof: int) -> Check:
    return lambda _: tuple(coverage_factor(dof, 2.0 * p - 1.0) for p in (0.90, 0.95, 0.975, 0.995))


def two_means(row: dict[str, Any]) -> object:
    return compare.two_means(row["inputs"]["before"], row["inputs"]["after"])


CHECKS: dict[str, Check] = {
    **{f"CC-{n:03d}": chart_factors for n in (*range(2, 11), 15, 20, 25)},
    # The row was formed from the printed d2 of three decimals.
    "CC-030": lambda _: 3.0 / round(charts.factors(2).d2, 3),
    "CC-040": lambda row: sums(row)[0],
    "CC-041": lambda row: sums(row)[1],
    "CC-042": lambda row: bool(np.max(sums(row)) > row["inputs"]["H"]),
    "CC-043": lambda row: charts.cumulative(inputs(row)["x"], inputs(row)["target"]),
    "CC-050": averages,
    "CC-051": ewma_reach,
    "CC-052": ewma_outside,
    "CC-060": lambda row: charts.individuals(row["inputs"]["x"]),
    "CC-061": lambda _: charts.beyond(3.0),
    "CC-070": one_outlier,
    **{f"CC-{n:03d}": outlier_limits for n in range(80, 90)},
    "CC-090": share(3, 3),
    "CC-091": share(4, 3),
    "CC-092": share(5, 5),
    "CC-093": share(10, 3),
    **{f"CC-{100 + i}": chi_squared(k) for i, k in enumerate((1, 2, 3, 5, 10, 20))},
    **{f"CC-{110 + i}": student(k) for i, k in enumerate((1, 2, 4, 9, 19))},
    "CC-120": two_means,
    "CC-121": lambda _: compare.en_number(16.0 - 12.0, 3.0, 2.0),
    "CC-122": lambda row: compare.slope(row["inputs"]["x"], row["inputs"]["y"]),
}


def test_every_row_is_compared() -> None:
    assert set(CHECKS) == set(ROWS)


@pytest.mark.parametrize("name", CHECKS)
def test_value_agrees(name: str) -> None:
    row = ROWS[name]
    found = np.atleast_1d(np.asarray(CHECKS[name](row), dtype=np.float64))
    wanted = np.atleast_1d(np.asarray(row["expected"], dtype=np.float64))
    assert found.shape == wanted.shape
    assert np.all(np.abs(found - wanted) <= np.asarray(row["tolerance"])), (found, wanted)
