"""A table of readings to be taken: named row by row, the values left blank.

What `gudgeon.cell.readings` reads back once the values are typed in.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

from gudgeon.cell.model import Cell

__all__ = ["HeadCell", "RowToRead", "blank_cells", "blank_table"]

HeadCell = tuple[str, bool]
"""Name of a column, and whether it is left blank to be filled in."""


@dataclass(frozen=True, slots=True)
class RowToRead:
    """One reading that somebody is to take.

    Attributes
    ----------
    kind, feature, toward : str
        As in `gudgeon.cell.model.Touch`.
    tilt_rad, rotary_rad : float
    zero : str
        Name of the zero that it shares with others; empty: its own is known.
    near_mm : tuple of 3 floats
        Where the tip is to stand about, T; NaN where it does not matter or is to be read.
    """

    kind: str
    feature: str
    toward: str
    tilt_rad: float
    rotary_rad: float
    zero: str = ""
    near_mm: tuple[float, float, float] = (math.nan, math.nan, math.nan)


def blank_cells(rows: Sequence[RowToRead], cell: Cell) -> tuple[list[HeadCell], list[list[str]]]:
    """Return the columns and the rows as words, in the units and letters of the cell.

    Columns for an indicator or a level only where a row needs them.
    """
    unit = cell.shop.units or "mm"
    size = 25.4 if unit == "in" else 1.0
    two = cell.unit.kind != "rotary only"
    tilt, rotary = cell.control.tilt_letter or "tilt", cell.control.rotary_letter or "rotary"
    kinds = {row.kind for row in rows}
    head: list[HeadCell] = [("id", False), ("kind", False), ("what", False), ("toward", False)]
    head += [(f"{tilt}_deg", False)] if two else []
    head += [(f"{rotary}_deg", False)]
    head += [(f"{axis}_{unit}", True) for axis in "xyz"]
    if "sweep" in kinds:
        head += [(f"dial_{unit}", True), ("zero", False)]
    if "level" in kinds:
        head += [("angle_mm/m", True)]
    head += [("T_C", True), ("date", True), ("tool", True), ("remark", False)]
    table = []
    for number, row in enumerate(rows, start=1):
        said = {
            "id": str(number),
            "kind": row.kind,
            "what": {"face": "platter face"}.get(row.feature, row.feature),
            "toward": row.toward,
            f"{tilt}_deg": _degrees(row.tilt_rad),
            f"{rotary}_deg": _degrees(row.rotary_rad),
            "zero": row.zero,
            "remark": _near(row, size, unit),
        }
        table.append([said.get(name, "") for name, _ in head])
    return head, table


def blank_table(rows: Sequence[RowToRead], cell: Cell) -> str:
    """Return the table as CSV."""
    head, table = blank_cells(rows, cell)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([name for name, _ in head])
    writer.writerows(table)
    return out.getvalue()


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.9g}" if angle else "0"


def _near(row: RowToRead, size: float, unit: str) -> str:
    digits = 1 if unit == "mm" else 2
    spots = [
        f"{axis} {value / size:.{digits}f}"
        for axis, value in zip("XYZ", row.near_mm, strict=True)
        if not math.isnan(value)
    ]
    return f"near {' '.join(spots)}" if spots else ""
