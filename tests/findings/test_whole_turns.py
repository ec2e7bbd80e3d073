"""Proofs over a whole turn: what turns beside what is carried by the tilt alone."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Solid
from gudgeon.clearance.envelope import SafeBox
from gudgeon.clearance.prove import Prover, Status
from gudgeon.findings import Findings
from gudgeon.quantity.amount import Amount

CASE = Path(__file__).parents[1] / "cases" / "case-1.toml"


def ends(low: float, high: float) -> tuple[Amount, Amount]:
    return Amount(low), Amount(high)


def with_ear(gap_mm: float) -> Cell:
    """Return case 1 with an ear of the cradle beside the platter and a pin that turns past it.

    The pin ends 85 mm out; the ear begins `gap_mm` farther out than that.
    """
    cell = load(CASE).cell
    assert cell is not None
    ear = Solid(
        name="ear",
        counts_as="unit",
        carried_by="cradle",
        measured_from="tilt axis",
        x=ends(85.0 + gap_mm, 100.0),
        y=ends(-5.0, 5.0),
        z=ends(60.0, 90.0),
    )
    pin = Solid(
        name="pin",
        counts_as="fixture",
        carried_by="platter",
        measured_from="tilt axis",
        x=ends(-85.0, -75.0),
        y=ends(-1.0, 1.0),
        z=ends(65.0, 80.0),
    )
    fixture = replace(cell.fixture, touching="bodies")
    return replace(cell, solids=(ear, pin), fixture=fixture)


@pytest.mark.parametrize(("gap_mm", "clear"), [(0.5, False), (3.0, True)])
def test_a_pin_that_turns_past_an_ear_of_the_cradle(gap_mm: float, clear: bool) -> None:
    """By hand: half a turn brings the pin's end, 85 mm out, to the ear."""
    findings = Findings(with_ear(gap_mm))
    scene = findings.scene.scene
    low, high = findings.ranges.low.copy(), findings.ranges.high.copy()
    low[:3] = high[:3] = (-300.0, -150.0, 0.0)
    low[3] = high[3] = 0.3
    gap = findings.proof(scene, (), 1.0)(low, high)
    assert (gap.status is Status.PROVEN) is clear
    there = low.copy()
    there[4] = math.pi
    exact = Prover(scene).motion(there, there, np.inf, exact=True)
    assert set(exact.pair) == {"ear", "pin"}
    assert exact.upper_mm == pytest.approx(gap_mm, abs=0.05)  # the lines are touched, not declared
    if not clear:
        assert set(gap.pair) == {"ear", "pin"}
        assert not gap.lower_mm > 1.0
    itself = findings.safe_limits.itself
    whole = isinstance(itself, SafeBox) and not itself.stops
    assert whole is clear
