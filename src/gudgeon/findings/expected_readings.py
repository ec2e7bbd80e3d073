"""What each reading to be taken should show, so that a gross error is seen at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.blank_table import RowToRead
from gudgeon.findings.accuracy_job import factors_of
from gudgeon.findings.first_checks import READING_U_MM
from gudgeon.findings.gather import Lacking
from gudgeon.findings.reading_ground import RUNOUT_U_MM, usual_u
from gudgeon.quantity.spread import jacobian

if TYPE_CHECKING:
    from gudgeon.findings import Findings

__all__ = ["ENTERED_MM", "Expected", "expected_readings"]

Floats = NDArray[np.float64]

ENTERED_MM: Final = 1.0
"""Lines that come from entries, not from touches, count as good to so much (common practice, no
source): only gross errors are looked for."""


@dataclass(frozen=True, slots=True)
class Expected:
    """One coordinate that the display should show.

    Attributes
    ----------
    letter : str
        ``"X"``, ``"Y"`` or ``"Z"``.
    value_mm, plus_minus_mm : float
        Machine coordinate of the tip's middle, tool length taken off; 95 %.
    """

    letter: str
    value_mm: float
    plus_minus_mm: float


def expected_readings(
    findings: Findings, rows: Sequence[RowToRead]
) -> tuple[tuple[Expected, ...], ...]:
    """Return what each row should show; empty where that cannot be told.

    A dial and a level show what they were set to, a ball stands wherever it was fixed, and of a
    bore or pin without a diameter only the middle is known: nothing is told of those.
    """
    try:
        lines = findings.axis_lines
    except Lacking:
        return tuple(() for _ in rows)
    given = findings.cell.readings
    reading = READING_U_MM if given.reading_u is None else given.reading_u.value
    columns = [factor.columns for factor in factors_of(lines, findings.line_study.fit)]
    covariance = sum((part @ part.T for part in columns), np.zeros_like(lines.covariance))
    variances = np.diag(covariance)
    steps = np.where(variances > 0.0, np.sqrt(np.clip(variances, 0.0, None)), 1e-4)
    found = []
    for row in rows:
        what = []
        for k in _counting(row):
            out = _beyond(findings, row, k)
            if math.isnan(out):
                continue

            def place(values: Floats, row: RowToRead = row, k: int = k, out: float = out) -> Floats:
                return np.array([_coordinate(findings, values, row, k, out)])

            slopes = jacobian(place, lines.values, steps)
            square = (slopes @ covariance @ slopes.T).item() + reading**2
            square += (usual_u("slope_x") * _aside(findings, row, k)) ** 2
            if row.feature in ("bore", "pin"):
                square += RUNOUT_U_MM**2
            sure = lines.k95 * math.sqrt(square)
            if not lines.measured:
                sure = max(sure, ENTERED_MM)
            what.append(Expected("XYZ"[k], place(lines.values).item(), sure))
        found.append(tuple(what))
    return tuple(found)


def _counting(row: RowToRead) -> tuple[int, ...]:
    """Return the machine axes that count in a row."""
    if row.kind == "bore":
        return (0, 1)
    if row.kind == "touch" and row.toward and row.feature in ("face", "bore", "pin"):
        return ("XYZ".index(row.toward[0]),)
    return ()


def _beyond(findings: Findings, row: RowToRead, k: int) -> float:
    """Return how far the tip's middle stands beyond what is touched; NaN if not known.

    Of the face: along its normal.  Of a bore or pin: along the axis that counts, from its middle.
    """
    given = findings.cell.readings
    radius = 0.0
    if not given.compensated and given.ball_diameter is not None:
        radius = 0.5 * given.ball_diameter.value
    if row.feature == "face":
        return radius
    if row.kind == "bore":
        return 0.0
    flange, way = findings.cell.unit.flange, 1.0 if row.toward[1] == "+" else -1.0
    if row.feature == "pin":
        pin = given.pin_diameter
        return math.nan if pin is None else -way * (0.5 * pin.value + radius)
    if flange.pilot_kind != "bore" or flange.pilot_diameter is None:
        return math.nan
    return way * (0.5 * flange.pilot_diameter.value - radius)


def _aside(findings: Findings, row: RowToRead, k: int) -> float:
    """Return how far from the rotary line the face is touched [mm]: it may not be square to it."""
    if row.feature != "face":
        return 0.0
    lines = findings.axis_lines
    pose = [row.tilt_rad, row.rotary_rad] if findings.has_tilt else [row.rotary_rad]
    at = lines.chain.points(np.array(pose), lines.platter_origin_of(lines.values))
    off = np.asarray(row.near_mm) - at
    off[k] = 0.0
    return float(np.linalg.norm(np.nan_to_num(off)))


def _coordinate(findings: Findings, values: Floats, row: RowToRead, k: int, out: float) -> float:
    """Return the coordinate for values of the lines' parameters."""
    lines = findings.axis_lines
    chain = lines.chain_of(values)
    pose = [row.tilt_rad, row.rotary_rad] if findings.has_tilt else [row.rotary_rad]
    at = chain.points(np.array(pose), lines.platter_origin_of(values))
    if row.feature != "face":
        return float(at[k]) + out
    line = np.asarray(chain.axes[-1].line.direction)
    line = line * math.copysign(1.0, float(line @ findings.platter_axes[:, 2]))
    normal = chain.directions(np.array(pose), line)
    near = np.where(np.isnan(row.near_mm), at, np.asarray(row.near_mm))
    rest = sum(float(normal[j] * (near[j] - at[j])) for j in range(3) if j != k)
    return float(at[k] + (out - rest) / normal[k])
