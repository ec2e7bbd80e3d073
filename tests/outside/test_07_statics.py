"""Topic 07: what the product computes against the outside rows on bolts and statics."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gudgeon.quantity.show import MM_PER_INCH, N_PER_LBF, NM_PER_LBFFT
from gudgeon.strength import bolts, brake, gravity, solids
from tests.outside import rows

ROWS = rows("07-statics")
CLASSES = ("8.8", "10.9", "12.9")
PROOF = {10: "M5", 11: "M6", 12: "M8", 13: "M10", 14: "M12", 15: "M14"}
BREAKING = {20: "M5", 21: "M6", 22: "M8", 23: "M10", 24: "M12", 25: "M14", 26: "M16", 27: "M20"}
BREAKING[28] = "M24"
SLOTS = {60: 6, 61: 8, 62: 10, 63: 12, 64: 16, 65: 20, 66: 24}

NOT_CHECKED = {
    **{
        f"ST-{n:03d}": "the pitch of the slots is measured and entered, never looked up"
        for n in (72, 73, 74, 75, 76, 81)
    },
    "ST-119": "clamp straps have no entries in a cell file, so nothing computes with them",
}


def given(row: str) -> dict[str, Any]:
    return dict(ROWS[row]["inputs"])


def thread(name: str) -> bolts.Thread:
    found = bolts.thread_called(name)
    assert found is not None
    return found


def stress_area(row: str) -> float:
    """Return the area; the coarse pitch comes from the product's own table."""
    own = thread(f"M{given(row)['d']:g}")
    assert own.pitch_mm == given(row)["pitch"]
    return own.stress_area_mm2


def tightening(row: str) -> float:
    values = given(row)
    return bolts.tightening_torque(values["F"], values["K"], values["d"])


def standing(mass_kg: float, arm_mm: float) -> np.ndarray:
    return gravity.static_moments([mass_kg], [[0.0, arm_mm, 0.0]], [False], 0.0)[0]


SIX = bolts.bolt_circle(6, 60.0)
BAR = solids.square_bar(50.0)
UNBALANCE = float(gravity.tilt_torque(standing(12.0, 85.0), 0.0))

CHECKED: dict[str, Callable[[str], Any]] = {
    **{f"ST-{n:03d}": stress_area for n in range(9)},
    **{
        f"ST-{n:03d}": lambda row, name=name: [bolts.proof_load(thread(name), c) for c in CLASSES]
        for n, name in PROOF.items()
    },
    **{
        f"ST-{n:03d}": lambda row, name=name: [
            bolts.ultimate_load(thread(name), c) for c in CLASSES
        ]
        for n, name in BREAKING.items()
    },
    "ST-030": lambda row: bolts.proof_stress("8.8", 20.0),
    **{f"ST-{n:03d}": tightening for n in range(31, 36)},
    **{
        # Only the throat: the recess of a slot is no business of any answer.
        f"ST-{n:03d}": lambda row, bolt=bolt: [
            throat for throat, made_for in bolts.SLOT_BOLT_MM.items() if made_for == bolt
        ]
        for n, bolt in SLOTS.items()
    },
    "ST-092": lambda row: bolts.FRICTION_UNKNOWN,
    "ST-100": lambda row: 6 * bolts.slip_capacity(25275.0, 0.12),
    # The moment at which the worst bolt is used up: capacity over the demand of 1 N m.
    "ST-101": lambda row: (
        bolts.slip_capacity(25275.0, 0.12) / bolts.slip_demand(0.0, 1.0, count=6, radius_mm=60.0)
    ),
    "ST-102": lambda row: [
        bolts.overturning_load(given(row)["M"], SIX, about_rad=math.pi / 2.0),
        bolts.overturning_load(given(row)["M"], SIX, about_rad=0.0),
    ],
    "ST-103": lambda row: UNBALANCE,
    "ST-104": lambda row: gravity.tilt_torque(standing(12.0, 85.0), math.radians(60.0)),
    "ST-105": lambda row: brake.brake_demand(0.0, (given(row)["F"], given(row)["r"])),
    "ST-106": lambda row: brake.brake_margin_factor(
        given(row)["T_brake"], brake.brake_demand(UNBALANCE, (800.0, 90.0))
    ),
    "ST-107": lambda row: solids.cantilever_deflection(1000.0, 200.0, 210000.0, BAR[0]),
    "ST-108": lambda row: solids.bending_stress(1000.0, 200.0, BAR[1]),
    "ST-109": lambda row: solids.beam_deflection(1000.0, 400.0, 210000.0, BAR[0]),
    "ST-110": lambda row: solids.centre_of_mass(
        [body[0] for body in given(row)["bodies"]], [body[1:] for body in given(row)["bodies"]]
    ),
    "ST-111": lambda row: [
        solids.cylinder_inertia(20.0, 100.0),
        solids.cylinder_inertia_across(20.0, 100.0, 40.0),
    ],
    "ST-112": lambda row: solids.block_inertia(8.0, 120.0, 80.0),
    "ST-113": lambda row: solids.about_parallel_line(
        solids.block_inertia(8.0, 120.0, 80.0), 8.0, 150.0
    ),
    "ST-114": lambda row: solids.cylinder_inertia(5.0, 100.0, 50.0),
    "ST-115": lambda row: solids.spin_up_torque(
        given(row)["J"], given(row)["n"] * 2.0 * math.pi / 60.0, given(row)["t"]
    ),
    "ST-116": lambda row: solids.tipping_safety(10.0 * gravity.GRAVITY, 80.0, 60.0, 60.0),
    "ST-117": lambda row: gravity.GRAVITY,
    "ST-118": lambda row: [MM_PER_INCH, N_PER_LBF, NM_PER_LBFFT],
}


def test_every_row_is_checked_or_said_why_not() -> None:
    assert set(CHECKED) | set(NOT_CHECKED) == set(ROWS)
    assert not set(CHECKED) & set(NOT_CHECKED)


@pytest.mark.parametrize("row", sorted(CHECKED))
def test_row(row: str) -> None:
    found = np.atleast_1d(np.asarray(CHECKED[row](row), np.float64))
    expected = np.atleast_1d(np.asarray(ROWS[row]["expected"], np.float64))
    if row in {f"ST-{n:03d}" for n in SLOTS}:
        expected = expected[:1]
    tolerance = ROWS[row]["tolerance"]
    if isinstance(tolerance, str):
        limits = float(tolerance.removeprefix("relative ")) * np.abs(expected)
    else:
        limits = np.full(expected.shape, float(tolerance))
    assert found.shape == expected.shape
    assert np.all(np.abs(found - expected) <= limits + 1e-12), ROWS[row]["what"]
