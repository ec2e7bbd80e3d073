"""A strip of paper to plot readings on by hand: limits to scale, mornings to come left free."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gudgeon.drawing.svg import SMALL_PX, Sheet

__all__ = ["Strip", "strips"]

WIDE_PX: Final = 720.0
HIGH_PX: Final = 132.0
"""Height of one strip between its outer lines: at a page's width about 33 mm."""

LEFT_PX: Final = 132.0
RIGHT_PX: Final = 118.0
HEAD_PX: Final = 20.0
FOOT_PX: Final = 26.0
OVER: Final = 1.6
"""A strip reaches this many times as far from the middle as its limits."""

LINES: Final = 12
"""At most so many lines, one for each step of the scale."""


@dataclass(frozen=True, slots=True)
class Strip:
    """One coordinate.

    Attributes
    ----------
    name : str
        Words over it.
    low, middle, high : float
        Lowest and highest reading that is in order, and the one that is expected, in the unit.
    unit : str
    decimals : int
        Of the numbers beside it.
    before : tuple of float
        Readings of the mornings before, oldest first.
    """

    name: str
    low: float
    middle: float
    high: float
    unit: str
    decimals: int
    before: tuple[float, ...] = ()


def strips(name: str, rows: Sequence[Strip], mornings: int) -> str:
    """Draw strips under each other, each with room for some mornings.

    Parameters
    ----------
    name : str
    rows : sequence of Strip
        One at least; each with ``low < middle < high``.
    mornings : int
        Columns left free behind the readings before.

    Raises
    ------
    ValueError
        If limits do not enclose the middle.
    """
    step = HEAD_PX + HIGH_PX + FOOT_PX
    sheet = Sheet(name, WIDE_PX, step * len(rows) + 6.0)
    for number, row in enumerate(rows):
        if not row.low < row.middle < row.high:
            raise ValueError(f"strip {row.name}: {row.low}, {row.middle}, {row.high}")
        _draw(sheet, row, number * step + HEAD_PX, mornings)
    return sheet.svg()


def scale_step(span: float) -> float:
    """Return a round step of which at most `LINES` go into a span: 1, 2 or 5 of a decimal place."""
    rough = span / LINES
    power = 10.0 ** math.floor(math.log10(rough))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * (1.0 - 1e-9))


def _draw(sheet: Sheet, row: Strip, top: float, mornings: int) -> None:
    reach = OVER * max(row.high - row.middle, row.middle - row.low)
    low, high = row.middle - reach, row.middle + reach
    left, right, bottom = LEFT_PX, WIDE_PX - RIGHT_PX, top + HIGH_PX

    def y(value: float) -> float:
        return bottom - (value - low) / (high - low) * HIGH_PX

    sheet.text(
        4.0, top - 9.0, f"{row.name}, {row.unit}", anchor="start", size_px=SMALL_PX, bold=True
    )
    step = scale_step(high - low)
    first = math.ceil(low / step - 1e-9)
    for k in range(first, math.floor(high / step + 1e-9) + 1):
        sheet.polyline([(left, y(k * step)), (right, y(k * step))], style="faint")
        if k % 2 == 0:
            words = f"{k * step + 0.0:+.{row.decimals}f}"
            sheet.text(left - 6.0, y(k * step), words, anchor="end", size_px=SMALL_PX, avoid=False)
    columns = len(row.before) + mornings
    wide = (right - left) / columns
    for k in range(columns + 1):
        bold = k == len(row.before) and row.before
        at = left + k * wide
        sheet.polyline([(at, top), (at, bottom)], style="thin" if bold else "faint")
    fine = row.decimals + 1  # a limit lies between what can be read
    for value, words, style in (
        (row.high, f"highest {row.high + 0.0:+.{fine}f}", "bold"),
        (row.low, f"lowest {row.low + 0.0:+.{fine}f}", "bold"),
        (row.middle, "expected", "axis"),
    ):
        sheet.polyline([(left, y(value)), (right, y(value))], style=style)
        sheet.text(right + 6.0, y(value), words, anchor="start", size_px=SMALL_PX, avoid=False)
    corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
    sheet.polyline(corners, closed=True)
    for k, value in enumerate(row.before):
        if low <= value <= high:
            sheet.circle(left + (k + 0.5) * wide, y(value), 2.6, fill="solid")
    if row.before:
        at = left + len(row.before) * wide / 2.0
        sheet.text(at, bottom + 9.0, "before", size_px=SMALL_PX, avoid=False)
    for k in range(mornings):
        at = left + (len(row.before) + k + 0.5) * wide
        sheet.text(at, bottom + 9.0, str(k + 1), size_px=SMALL_PX, avoid=False)
