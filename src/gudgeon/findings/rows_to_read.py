"""The readings to take in this cell, row by row: those of the hand method, then the next best."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gudgeon.cell.blank_table import RowToRead
from gudgeon.centre.readings import Reading
from gudgeon.findings.gather import Lacking
from gudgeon.findings.procedure import TouchOrder, touch_orders

if TYPE_CHECKING:
    from gudgeon.findings import Findings
    from gudgeon.findings.next_readings import NextReading
    from gudgeon.findings.touching import LineStudy

__all__ = ["Proposal", "proposed_rows", "rows_to_read", "steps_to_take"]


@dataclass(frozen=True, slots=True)
class Proposal:
    """Why a row is to be read.

    Attributes
    ----------
    how : str
        The order that it belongs to.
    minutes : float or None
        What all rows of that order take.
    """

    how: str
    minutes: float | None


NOWHERE: Final = (math.nan, math.nan, math.nan)


def rows_to_read(findings: Findings) -> tuple[RowToRead, ...]:
    """Return the readings of the hand method that are still lacking, then the next best ones.

    Raises
    ------
    Lacking
        If a sense, or the direction of the unit on the table, is not known.
    """
    return tuple(proposed_rows(findings))


def proposed_rows(findings: Findings) -> dict[RowToRead, Proposal]:
    """Return the rows of `rows_to_read` with the order that each belongs to; raises like it."""
    orders, plan = _orders_and_plan(findings)
    rows: dict[RowToRead, Proposal] = {}
    for order in orders:
        for row in order.rows:
            rows.setdefault(row, Proposal(order.how, None))
    zeros = 0
    for step in plan:
        named = {reading.zero for reading in step.readings if reading.zero}
        zeros += 1 if named else 0
        for reading in step.readings:
            row = _row(reading, f"sweep {zeros}" if named else "")
            rows.setdefault(row, Proposal(step.how, step.minutes))
    return rows


def steps_to_take(findings: Findings) -> tuple[str, ...]:
    """Return the orders that belong to `rows_to_read`; raises `Lacking` like it."""
    orders, plan = _orders_and_plan(findings)
    return (*(order.how for order in orders), *(step.how for step in plan))


def _orders_and_plan(
    findings: Findings,
) -> tuple[tuple[TouchOrder, ...], tuple[NextReading, ...]]:
    study = findings.line_study
    orders = touch_orders(study.frame, findings.senses, findings.cell.unit.tilt_range)
    try:
        plan = findings.next_readings
    except Lacking:
        plan = ()
    return _lacking(orders, study), plan


def _lacking(orders: tuple[TouchOrder, ...], study: LineStudy) -> tuple[TouchOrder, ...]:
    if study.determined:
        return ()
    if study.hand is None:
        return orders
    wanted = tuple(order for order in orders if order.needed in study.hand.lacking)
    return wanted or orders


def _row(reading: Reading, zero: str) -> RowToRead:
    """Return what is to be typed in for an expected reading."""
    toward, near = "", NOWHERE
    if reading.toward is not None:
        k = max(range(3), key=lambda j: abs(reading.toward[j]) if reading.toward else 0.0)
        toward = "XYZ"[k] + ("+" if reading.toward[k] > 0.0 else "-")
        x, y, z = (math.nan if j == k else round(reading.position_mm[j], 3) for j in range(3))
        near = (x, y, z)
    if reading.feature == "level":
        return RowToRead("level", "level", toward, reading.tilt_rad, reading.rotary_rad)
    if reading.feature.startswith("ball"):
        kind, near = "ball", NOWHERE
    elif reading.toward is None:
        kind, near = "bore", (math.nan, math.nan, round(reading.position_mm[2], 3))
    else:
        kind = "sweep" if zero else "touch"
    pose = reading.tilt_rad, reading.rotary_rad
    return RowToRead(kind, reading.feature, toward, *pose, zero if kind == "sweep" else "", near)
