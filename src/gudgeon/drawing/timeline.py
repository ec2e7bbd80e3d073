"""Bars over time in rows: what runs when.  Kinds of bars differ in fill, never in colour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from gudgeon.drawing.svg import SMALL_PX, Fill, Sheet, text_width, wrap

__all__ = ["Timeline"]

STEPS_S: Final = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0)
"""Steps of the time axis that a person counts in [s]."""

TICKS: Final = 10
LEAST_PX: Final = 0.6
"""A bar is drawn at least so wide, or many short ones would vanish."""


@dataclass(frozen=True, slots=True)
class _Bar:
    row: str
    start_s: float
    end_s: float
    fill: Fill
    words: str


class Timeline:
    """Rows of bars on one axis of time, to scale.

    Parameters
    ----------
    name : str
        Name of the drawing; ids inside it carry it.
    width_px : int
        Width of the picture; its height follows the number of rows.
    """

    ROW_PX: Final = 34.0

    def __init__(self, name: str, *, width_px: int = 720) -> None:
        self._name = name
        self._width = float(width_px)
        self._rows: list[str] = []
        self._bars: list[_Bar] = []
        self._kinds: list[tuple[Fill, str]] = []

    def row(self, label: str) -> Timeline:
        """Add a row below the others."""
        if label not in self._rows:
            self._rows.append(label)
        return self

    def kind(self, fill: Fill, words: str) -> Timeline:
        """Say below the drawing what bars of one fill are."""
        self._kinds.append((fill, words))
        return self

    def bar(
        self, row: str, start_s: float, end_s: float, *, fill: Fill = "paper", words: str = ""
    ) -> Timeline:
        """Add a bar [s]; its words are written where they fit.

        Raises
        ------
        ValueError
            If it ends before it starts, or a time is not finite.
        """
        if not (math.isfinite(start_s) and math.isfinite(end_s) and end_s >= start_s):
            raise ValueError(f"timeline {self._name}: a bar from {start_s} to {end_s} s")
        self.row(row)
        self._bars.append(_Bar(row, float(start_s), float(end_s), fill, words))
        return self

    def svg(self) -> str:
        """Return the drawing as one SVG element."""
        end = max((bar.end_s for bar in self._bars), default=0.0) or 1.0
        most = 0.28 * self._width
        labels = [wrap(label, SMALL_PX, most) for label in self._rows]
        left = 18.0 + max((text_width(w, SMALL_PX) for ws in labels for w in ws), default=0.0)
        right, top = self._width - 24.0, 12.0
        bottom = top + self.ROW_PX * max(1, len(self._rows))
        sheet = Sheet(self._name, self._width, bottom + 44.0 + 20.0 * (len(self._kinds) > 0))

        def at(seconds: float) -> float:
            return left + (right - left) * seconds / end

        self._axis(sheet, end, at(0.0), at(end), (top, bottom))
        for number, label in enumerate(self._rows):
            y = top + self.ROW_PX * (number + 0.5)
            sheet.text(
                left - 8.0, y, label, anchor="end", size_px=SMALL_PX, most_px=most, avoid=False
            )
            sheet.polyline([(left, y + 17.0), (right, y + 17.0)], style="faint", clipped=False)
        for bar in self._bars:
            y = top + self.ROW_PX * (self._rows.index(bar.row) + 0.5)
            self._draw(sheet, at(bar.start_s), at(bar.end_s), y, bar)
        self._legend(sheet, left, bottom + 48.0)
        return sheet.svg()

    def _axis(
        self, sheet: Sheet, end: float, left: float, right: float, heights: tuple[float, float]
    ) -> None:
        top, bottom = heights
        step = next((s for s in STEPS_S if end / s <= TICKS), 3600.0 * math.ceil(end / 36000.0))
        in_minutes = step >= 60.0
        for k in range(math.floor(end / step + 1e-9) + 1):
            x = left + (right - left) * k * step / end
            words = f"{k * step / 60.0:g}" if in_minutes else f"{k * step:g}"
            sheet.polyline([(x, top), (x, bottom + 4.0)], style="faint", clipped=False)
            sheet.text(x, bottom + 14.0, words, size_px=SMALL_PX, avoid=False)
        sheet.polyline([(left, bottom), (right, bottom)], clipped=False)
        unit = "min" if in_minutes else "s"
        sheet.text(right, bottom + 29.0, f"time, {unit}", anchor="end", size_px=SMALL_PX)

    @staticmethod
    def _draw(sheet: Sheet, start: float, end: float, y: float, bar: _Bar) -> None:
        end, half = max(end, start + LEAST_PX), 10.0
        corners = [(start, y - half), (end, y - half), (end, y + half), (start, y + half)]
        sheet.polyline(corners, closed=True, fill="paper", clipped=False)
        if bar.fill != "paper":
            sheet.polyline(corners, closed=True, fill=bar.fill, clipped=False)
        if bar.words and bar.fill == "paper" and text_width(bar.words, SMALL_PX) + 4 < end - start:
            sheet.text(0.5 * (start + end), y, bar.words, size_px=SMALL_PX, avoid=False)

    def _legend(self, sheet: Sheet, x: float, y: float) -> None:
        for fill, words in self._kinds:
            corners = [(x, y - 6.0), (x + 22.0, y - 6.0), (x + 22.0, y + 6.0), (x, y + 6.0)]
            sheet.polyline(corners, closed=True, fill=fill, clipped=False)
            sheet.text(x + 28.0, y, words, anchor="start", size_px=SMALL_PX, avoid=False)
            x += 28.0 + text_width(words, SMALL_PX) + 18.0
