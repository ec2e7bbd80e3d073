"""Topic 12: what the product computes against the outside rows on times of motion."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gudgeon.timing import profile
from gudgeon.timing.clock import time_moves
from gudgeon.timing.limits import AxisLimits, Rules
from gudgeon.timing.moves import FeedKind, Kind, Moves
from tests.outside import rows

ROWS = rows("12-motion-timing")

BRANCHES = {
    # Numbers for which each formula holds: D, V, A, J.
    "MT-030": (100.0, 50.0, 100.0, 400.0),
    "MT-031": (100.0, 20.0, 100.0, 400.0),
    "MT-032": (20.0, 500.0, 100.0, 400.0),
    "MT-033": (1.0, 500.0, 100.0, 400.0),
}


def rest_to_rest(row: str) -> float:
    i = ROWS[row]["inputs"]
    return float(profile.rest_to_rest_s(i["D"], i["V"], i["A"], i.get("J", np.inf)))


def formula(row: str) -> tuple[float, float]:
    """Return what the profile gives where the formula holds, and what the formula gives."""
    d, v, a, j = BRANCHES[row]
    told = {
        "MT-030": d / v + v / a + a / j,
        "MT-031": d / v + 2 * np.sqrt(v / j),
        "MT-032": a / j + np.sqrt((a / j) ** 2 + 4 * d / a),
        "MT-033": np.cbrt(32 * d / j),
    }
    holds = {
        "MT-030": v >= a * a / j and d >= v * (v / a + a / j),
        "MT-031": v < a * a / j and d >= 2 * v * np.sqrt(v / j),
        "MT-032": 2 * a**3 / j**2 <= d < v * (v / a + a / j),
        "MT-033": d < 2 * a**3 / j**2 and d < 2 * v * np.sqrt(v / j),
    }
    assert holds[row]
    return float(profile.rest_to_rest_s(d, v, a, j)), float(told[row])


def only_jerk(row: str) -> list[float]:
    given = (ROWS[row]["inputs"]["D"], 1e9, 1e9, ROWS[row]["inputs"]["J"])
    return [float(profile.peak_speed(*given)), float(profile.peak_acceleration(*given))]


def several_moves(row: str) -> float:
    """Time twelve moves of 4.0 s in all, each to an exact stop."""
    ends = np.zeros((12, 5))
    ends[:, 0] = 10.0 * np.arange(1, 13)
    count = np.ones(12, dtype=np.uint8)
    moves = Moves(
        np.zeros(5), ends, Kind.FEED * count, np.full(12, np.inf), FeedKind.MM_PER_S * count
    )
    # 10 mm in 1/3 s with speed never reached: 2 sqrt(D/A) = 1/3.
    axes = AxisLimits(np.full(5, 1e6), np.full(5, 360.0), np.full(5, np.inf))
    found = time_moves(moves, axes, Rules(look_ahead=False, settle_s=0.15))
    assert found is not None
    return float(found.seconds.sum())


CHECKED: dict[str, Callable[[str], Any]] = {
    **{f"MT-{n:03d}": rest_to_rest for n in (*range(6), *range(10, 20))},
    "MT-040": only_jerk,
    "MT-041": lambda row: profile.slowest_axis_s([30.0, 90.0], [400.0, 60.0], [2000.0, 300.0]),
    "MT-042": several_moves,
    "MT-043": lambda row: 0.4 + float(profile.trapezoid_s(90.0, 150.0, 600.0)) + 0.6,
    "MT-044": lambda row: profile.change_distance(500.0, 0.0, 2500.0),
}


def test_every_row_is_checked() -> None:
    assert set(CHECKED) | set(BRANCHES) == set(ROWS)
    assert not set(CHECKED) & set(BRANCHES)


@pytest.mark.parametrize("row", sorted(CHECKED))
def test_row(row: str) -> None:
    found = np.atleast_1d(np.asarray(CHECKED[row](row), np.float64))
    expected = np.atleast_1d(np.asarray(ROWS[row]["expected"], np.float64))
    assert found.shape == expected.shape
    assert np.all(np.abs(found - expected) <= ROWS[row]["tolerance"] + 1e-12), ROWS[row]["what"]


@pytest.mark.parametrize("row", sorted(BRANCHES))
def test_formula(row: str) -> None:
    found, told = formula(row)
    assert found == pytest.approx(told, rel=1e-14)
