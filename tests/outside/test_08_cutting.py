"""Topic 08: what the product computes against the outside rows on cutting."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gudgeon.strength import cutting, milling
from tests.outside import rows

ROWS = rows("08-cutting")
M_PER_MIN = 1000.0 / 60.0
MM_PER_MIN = 1.0 / 60.0
RPM = 2.0 * math.pi / 60.0

NOT_CHECKED = {"CF-048": "no answer speaks of the finish of ball-ended cutters"}


def given(row: str) -> dict[str, Any]:
    return dict(ROWS[row]["inputs"])


def force_law(row: str) -> list[float]:
    i = given(row)
    return [
        cutting.cutting_force(i["kc11"], i["m"], i["b"], i["h"]),
        cutting.specific_cutting_force(i["kc11"], i["m"], i["h"]),
    ]


def published_table(row: str) -> list[float]:
    """Lay the law through the ends of a published row; it must give what lies between."""
    feeds, forces = given(row)["fz"], ROWS[row]["expected"]
    exponent = math.log(forces[0] / forces[-1]) / math.log(feeds[-1] / feeds[0])
    kc11 = forces[0] * feeds[0] ** exponent
    return [cutting.specific_cutting_force(kc11, exponent, feed) for feed in feeds]


def face_milling(row: str) -> float:
    i = given(row)
    power = cutting.milling_power(i["kc"], i["ap"], i["ae"], i["vf"] * MM_PER_MIN, i["eta"])
    return power / 1000.0


def speed_and_tooth(row: str) -> list[float]:
    spin = cutting.spindle_speed(80.0 * M_PER_MIN, 250.0)
    return [spin / RPM, cutting.feed_per_tooth(280.0 * MM_PER_MIN, spin, 12)]


CHECKED: dict[str, Callable[[str], Any]] = {
    **{f"CF-{n:03d}": force_law for n in range(10, 14)},
    "CF-020": face_milling,
    "CF-021": speed_and_tooth,
    **{f"CF-{n:03d}": published_table for n in range(30, 40)},
    "CF-040": lambda row: cutting.drilling_torque(2000.0, 10.0, 0.2),
    "CF-041": lambda row: cutting.drilling_power(2000.0, 10.0, 0.2, 80.0 * M_PER_MIN) / 1000.0,
    "CF-042": lambda row: cutting.drilling_thrust(
        2000.0, 10.0, 0.2, math.radians(given(row)["kr"])
    ),
    "CF-043": lambda row: cutting.spindle_speed(80.0 * M_PER_MIN, 10.0) / RPM,
    "CF-044": lambda row: cutting.removal_rate(2.0, 80.0, 280.0) / 1000.0,
    "CF-045": lambda row: cutting.chip_thickness_most(0.1, 20.0, 5.0),
    "CF-046": lambda row: cutting.chip_thickness_mean(0.1, 20.0, 5.0),
    "CF-047": lambda row: cutting.spindle_torque(1680.0, 101.9 * RPM),
}


def power_tooth_by_tooth(row: str) -> float:
    """Add up the teeth of the facing cutter of CF-021 in the middle of the cut."""
    i = given(row)
    spin = cutting.spindle_speed(80.0 * M_PER_MIN, 250.0)
    tooth = cutting.feed_per_tooth(i["vf"] * MM_PER_MIN, spin, 12)
    teeth = milling.teeth_sum(milling.Engagement.of(250.0, i["ae"], 0.5), 12, 0.0)
    force = milling.tooth_force(i["kc"], 0.0, i["ap"], tooth) * teeth.mean
    return force * spin * 0.125 / i["eta"] / 1000.0


def thickest_chip_of_the_teeth(row: str) -> float:
    i = given(row)
    engagement = milling.Engagement.of(i["D"], i["ae"])
    return float(i["fz"] * milling.teeth_sum(engagement, 1, 0.0).peak)


def mean_chip_of_the_teeth(row: str) -> float:
    engagement = milling.Engagement.of(20.0, 5.0)
    mean = milling.mean_sine_power(1.0, engagement.enter_rad, engagement.leave_rad)
    return 0.1 * mean / engagement.arc_rad


AGAIN: dict[str, Callable[[str], Any]] = {
    "CF-020": power_tooth_by_tooth,
    "CF-042": lambda row: cutting.drilling_thrust_of(5.0, 10.0, math.radians(given(row)["kr"])),
    "CF-045": thickest_chip_of_the_teeth,
    "CF-046": mean_chip_of_the_teeth,
    "CF-047": lambda row: 0.125 * milling.rim_force(1680.0, 101.9 * RPM, 250.0),
}
"""The same rows by another function of the product."""


def test_every_row_is_checked_or_said_why_not() -> None:
    assert set(CHECKED) | set(NOT_CHECKED) == set(ROWS)
    assert not set(CHECKED) & set(NOT_CHECKED)


@pytest.mark.parametrize(
    ("row", "work"),
    [*sorted(CHECKED.items()), *sorted(AGAIN.items())],
    ids=lambda one: str(one)[:9],
)
def test_row(row: str, work: Callable[[str], Any]) -> None:
    found = np.atleast_1d(np.asarray(work(row), np.float64))
    expected = np.atleast_1d(np.asarray(ROWS[row]["expected"], np.float64))
    tolerance = ROWS[row]["tolerance"]
    if isinstance(tolerance, str):
        limits = float(tolerance.removeprefix("relative ")) * np.abs(expected)
    else:
        limits = np.broadcast_to(np.asarray(tolerance, np.float64), expected.shape)
    assert found.shape == expected.shape
    assert np.all(np.abs(found - expected) <= limits + 1e-12), ROWS[row]["what"]
