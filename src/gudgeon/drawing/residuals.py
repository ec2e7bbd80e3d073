"""Readings about a fit: each one's residual in standard uncertainties, in the order of the rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gudgeon.drawing.svg import SMALL_PX, Sheet, digits

__all__ = ["Residual", "residual_plot"]

WIDTH_PX: Final = 720.0
HEIGHT_PX: Final = 300.0
LEFT: Final = 58.0
RIGHT: Final = 20.0
TOP: Final = 34.0
BOTTOM: Final = 60.0
BAND: Final = 2.0
"""Half the width of the band that holds about 95 readings of 100."""

BEYOND: Final = 8.0
"""What lies further out is drawn at the edge, with its number."""

MARK_PX: Final = 4.2
NUMBERED_MOST: Final = 24
"""Rows up to which each has its number below the chart."""


@dataclass(frozen=True, slots=True)
class Residual:
    """One mark.

    Attributes
    ----------
    row : int
        Line of the table.
    weighted : float
        Residual over its standard uncertainty.
    group : str
        What was read; each has its own mark.
    bad : bool
        Does not fit: drawn filled, with its line.
    """

    row: int
    weighted: float
    group: str
    bad: bool


def residual_plot(name: str, residuals: Sequence[Residual]) -> str:
    """Return the chart as one SVG element.

    Raises
    ------
    ValueError
        If a residual is not finite.
    """
    sheet = Sheet(name, WIDTH_PX, HEIGHT_PX)
    right, bottom = WIDTH_PX - RIGHT, HEIGHT_PX - BOTTOM
    furthest = max((abs(one.weighted) for one in residuals), default=0.0)
    reach = max(3.0, min(math.ceil(furthest), BEYOND))
    step = (right - LEFT) / max(len(residuals), 1)

    def y_of(value: float) -> float:
        middle = (TOP + bottom) / 2.0
        return middle - value / (reach + 0.4) * (bottom - TOP) / 2.0

    corners = [(LEFT, y_of(BAND)), (right, y_of(BAND)), (right, y_of(-BAND)), (LEFT, y_of(-BAND))]
    sheet.bare(corners, "tint")
    for value in range(-int(reach), int(reach) + 1):
        if reach <= 4.0 or value % 2 == 0:
            sheet.polyline([(LEFT, y_of(value)), (right, y_of(value))], style="faint")
            words = f"{value:+d}" if value else "0"
            sheet.text(LEFT - 8.0, y_of(value), words, anchor="end", size_px=SMALL_PX, avoid=False)
    sheet.polyline([(LEFT, y_of(0.0)), (right, y_of(0.0))])
    every = math.ceil(len(residuals) / NUMBERED_MOST)
    groups = list(dict.fromkeys(one.group for one in residuals))
    last = -every
    for place, one in enumerate(residuals):
        x = LEFT + step * (place + 0.5)
        far = abs(one.weighted) > reach
        y = y_of(math.copysign(reach, one.weighted) if far else one.weighted)
        sheet.polyline([(x, y_of(0.0)), (x, y)], style="faint")
        _mark(sheet, x, y, groups.index(one.group), solid=one.bad)
        if one.bad or far:
            up = -1.0 if one.weighted > 0.0 else 1.0
            words = f"line {one.row}" + (f": {digits(one.weighted, 2)}" if far else "")
            half = 0.5 * len(words) * 7.0
            middle = min(max(x, LEFT + half), right - half)
            sheet.text(middle, y + up * 12.0, words, size_px=SMALL_PX, bold=one.bad)
        if place - last >= every and (place == 0 or residuals[place - 1].row != one.row):
            last = place
            sheet.text(x, bottom + 10.0, str(one.row), size_px=SMALL_PX, avoid=False)
    sheet.text(right, bottom + 27.0, "line of the table of readings", anchor="end", avoid=False)
    x = LEFT
    for index, group in enumerate(groups):
        _mark(sheet, x + 6.0, HEIGHT_PX - 12.0, index, solid=False)
        sheet.text(x + 16.0, HEIGHT_PX - 12.0, group, anchor="start", size_px=SMALL_PX)
        x += 40.0 + 8.0 * len(group)
    words = "measured - fitted, in standard uncertainties; the tint holds 95 of 100"
    sheet.text(LEFT, 14.0, words, anchor="start", size_px=SMALL_PX)
    return sheet.svg()


def _mark(sheet: Sheet, x: float, y: float, which: int, *, solid: bool) -> None:
    """Draw the mark of the group: circle, square, triangle, diamond, cross."""
    size, fill = MARK_PX, "solid" if solid else "paper"
    shapes: dict[int, list[tuple[float, float]]] = {
        1: [(-1, -1), (1, -1), (1, 1), (-1, 1)],
        2: [(0, -1.3), (1.2, 0.9), (-1.2, 0.9)],
        3: [(0, -1.4), (1.4, 0), (0, 1.4), (-1.4, 0)],
    }
    kind = which % 5
    if kind == 0:
        sheet.circle(x, y, size, fill=fill, clipped=False)
    elif kind == 4:
        for dx, dy in ((1, 1), (1, -1)):
            ends = [(x - dx * size, y - dy * size), (x + dx * size, y + dy * size)]
            sheet.polyline(ends, style="bold" if solid else "thin", clipped=False)
    else:
        corners = [(x + dx * size, y + dy * size) for dx, dy in shapes[kind]]
        sheet.polyline(corners, closed=True, fill=fill, clipped=False)
