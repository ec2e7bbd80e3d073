"""Whole bars cut into shares, one below the other: which cause has most of what.

Every share carries a number that stands in the list below, so the picture reads in black and
white.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from gudgeon.drawing.svg import SMALL_PX, Sheet, text_width, wrap

__all__ = ["Shares"]

FILLS: Final = ("hatch", "paper", "tint")
LEAST_PX: Final = 1.0
"""A share that would be drawn narrower than this joins the rest."""


class Shares:
    """Bars of equal length, each divided among numbered causes.

    Parameters
    ----------
    name : str
        Name of the chart; ids inside the picture carry it.
    width_px : int
        Width of the picture; its height follows the rows.
    """

    ROW_PX: Final = 34.0

    def __init__(self, name: str, *, width_px: int = 720) -> None:
        self._name = name
        self._width = float(width_px)
        self._rows: list[tuple[str, dict[str, float], str]] = []

    def row(self, label: str, shares: Mapping[str, float], end: str = "") -> Shares:
        """Add a bar: cause -> share of the whole (they sum to 1), and words at its end."""
        kept = {cause: share for cause, share in shares.items() if math.isfinite(share)}
        self._rows.append((label, kept, end))
        return self

    @property
    def causes(self) -> tuple[str, ...]:
        """Causes in the order of their numbers: by their sum over all bars."""
        sums: dict[str, float] = {}
        for _, shares, _ in self._rows:
            for cause, share in shares.items():
                sums[cause] = sums.get(cause, 0.0) + share
        return tuple(sorted(sums, key=lambda cause: (-round(sums[cause], 9), cause)))

    def svg(self) -> str:
        """Return the picture as one SVG element."""
        causes = self.causes
        most = 0.28 * self._width
        labels = [wrap(label, SMALL_PX, most) for label, _, _ in self._rows]
        ends = [text_width(end, SMALL_PX) for _, _, end in self._rows]
        left = 16.0 + max((text_width(w, SMALL_PX) for ws in labels for w in ws), default=0.0)
        right = self._width - 14.0 - max(ends, default=0.0)
        step = max([self.ROW_PX, *(12.0 + 14.0 * len(words) for words in labels)])
        top = 22.0
        bottom = top + step * max(1, len(self._rows))
        drawn = [c for c in causes if any(s.get(c, 0.0) >= 0.005 for _, s, _ in self._rows)]
        lines = math.ceil(len(drawn) / 2)
        sheet = Sheet(self._name, self._width, bottom + 34.0 + 17.0 * lines)
        for tenth in range(0, 101, 25):
            x = left + (right - left) * tenth / 100.0
            sheet.polyline([(x, top - 4.0), (x, bottom)], style="faint", clipped=False)
            sheet.text(x, top - 12.0, f"{tenth} %", size_px=SMALL_PX, avoid=False)
        for number, (label, shares, end) in enumerate(self._rows):
            y = top + step * (number + 0.5)
            sheet.text(
                left - 8.0, y, label, anchor="end", size_px=SMALL_PX, most_px=most, avoid=False
            )
            sheet.text(right + 6.0, y, end, anchor="start", size_px=SMALL_PX, avoid=False)
            self._bar(sheet, causes, shares, (left, right), y)
        for place, cause in enumerate(drawn):
            column, line = divmod(place, lines)
            sheet.text(
                14.0 + column * 0.5 * self._width,
                bottom + 24.0 + 17.0 * line,
                f"{causes.index(cause) + 1}  {cause}",
                anchor="start",
                size_px=SMALL_PX,
                avoid=False,
            )
        return sheet.svg()

    @staticmethod
    def _bar(
        sheet: Sheet,
        causes: tuple[str, ...],
        shares: Mapping[str, float],
        ends: tuple[float, float],
        y: float,
    ) -> None:
        left, right = ends
        half = 9.0
        at = left
        for cause in causes:
            wide = shares.get(cause, 0.0) * (right - left)
            if wide < LEAST_PX:
                continue
            fill = FILLS[causes.index(cause) % len(FILLS)]
            corners = [(at, y - half), (at + wide, y - half), (at + wide, y + half), (at, y + half)]
            sheet.polyline(corners, closed=True, fill="paper", clipped=False)
            sheet.polyline(corners, closed=True, fill=fill, clipped=False)
            word = str(causes.index(cause) + 1)
            room = text_width(word, SMALL_PX) + 6.0
            if wide >= room:
                middle = at + 0.5 * wide
                box = [
                    (middle - 0.5 * room, y - 7.0),
                    (middle + 0.5 * room, y - 7.0),
                    (middle + 0.5 * room, y + 7.0),
                    (middle - 0.5 * room, y + 7.0),
                ]
                if fill == "hatch":
                    sheet.polyline(box, closed=True, style="faint", fill="paper", clipped=False)
                sheet.text(middle, y, word, size_px=SMALL_PX, avoid=False)
            at += wide
        if at < right - LEAST_PX and shares:
            rest = [(at, y - half), (right, y - half), (right, y + half), (at, y + half)]
            sheet.polyline(rest, closed=True, fill="paper", clipped=False)
