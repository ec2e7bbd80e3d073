"""A map of tilt and turn: one rectangle a cell, told apart by hatch and letter, never by colour."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from gudgeon.drawing.svg import SMALL_PX, Sheet

__all__ = ["KINDS", "pose_map"]

KINDS: Final[dict[int, tuple[str, str | None, str]]] = {
    0: ("", "paper", "blank: clear"),
    1: ("n", "hatch", "n, hatched: not clear"),
    2: ("?", "tint", "?, grey: cannot tell"),
}
"""Letter, fill and words by kind of cell."""

LEFT_PX: Final = 72.0
TOP_PX: Final = 18.0
WIDE_PX: Final = 560.0
HIGH_PX: Final = 330.0
FOOT_PX: Final = 64.0
LABELS: Final = 13


def pose_map(
    name: str,
    tilts_rad: Sequence[float],
    turns_rad: Sequence[float],
    cells: Sequence[Sequence[int]],
    marks: Sequence[tuple[float, float, str]] = (),
    *,
    tilt_words: str = "tilt",
    turn_words: str = "turn",
) -> str:
    """Return the map as SVG: tilt to the right, turn up, both in degrees.

    Parameters
    ----------
    name : str
        Name of the drawing.
    tilts_rad, turns_rad : sequence of n + 1 and m + 1 floats
        Edges of the cells, rising [rad].
    cells : sequence of n rows of m
        Kinds as in `KINDS`.
    marks : sequence of (tilt, turn, words)
        Poses to mark with a cross [rad].
    tilt_words, turn_words : str
        Names of the two axes.

    Raises
    ------
    ValueError
        If the edges do not rise, or a row has another length.
    """
    n, m = len(tilts_rad) - 1, len(turns_rad) - 1
    if len(cells) != n or any(len(row) != m for row in cells):
        raise ValueError(f"map {name}: {n} x {m} cells are needed")
    for edges in (tilts_rad, turns_rad):
        if any(not b > a for a, b in pairwise(edges)):
            raise ValueError(f"map {name}: the edges of the cells do not rise")
    sheet = Sheet(name, LEFT_PX + WIDE_PX + 24.0, TOP_PX + HIGH_PX + FOOT_PX)

    def x(tilt: float) -> float:
        return LEFT_PX + WIDE_PX * (tilt - tilts_rad[0]) / (tilts_rad[-1] - tilts_rad[0])

    def y(turn: float) -> float:
        return TOP_PX + HIGH_PX * (turns_rad[-1] - turn) / (turns_rad[-1] - turns_rad[0])

    for i in range(n):
        for j in range(m):
            letter, fill, _ = KINDS[int(cells[i][j])]
            left, right = x(tilts_rad[i]), x(tilts_rad[i + 1])
            bottom, top = y(turns_rad[j]), y(turns_rad[j + 1])
            corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
            sheet.polyline(corners, closed=True, style="faint", fill=fill)
            if letter:
                middle = 0.5 * (left + right), 0.5 * (top + bottom)
                sheet.text(*middle, letter, size_px=SMALL_PX, avoid=False)
    frame = [(x(a), y(c)) for a, c in _corners(tilts_rad, turns_rad)]
    sheet.polyline(frame, closed=True, style="bold")
    for edge in _some(tilts_rad):
        sheet.text(x(edge), TOP_PX + HIGH_PX + 14.0, _degrees(edge), size_px=SMALL_PX, avoid=False)
    for edge in _some(turns_rad):
        sheet.text(
            LEFT_PX - 6.0,
            y(edge),
            _degrees(edge),
            anchor="end",
            size_px=SMALL_PX,
            avoid=False,
        )
    sheet.text(LEFT_PX + WIDE_PX / 2.0, TOP_PX + HIGH_PX + 30.0, f"{tilt_words}, deg")
    sheet.text(14.0, TOP_PX + HIGH_PX / 2.0, f"{turn_words}, deg", turn_deg=90.0)
    used = sorted({int(kind) for row in cells for kind in row})
    words = "; ".join(KINDS[kind][2] for kind in used)
    sheet.text(LEFT_PX, TOP_PX + HIGH_PX + 48.0, words, anchor="start", size_px=SMALL_PX)
    for tilt, turn, told in marks:
        if not (tilts_rad[0] <= tilt <= tilts_rad[-1] and turns_rad[0] <= turn <= turns_rad[-1]):
            continue
        px, py = x(tilt), y(turn)
        sheet.polyline([(px - 6.0, py), (px + 6.0, py)], style="bold")
        sheet.polyline([(px, py - 6.0), (px, py + 6.0)], style="bold")
        sheet.text(px, py - 13.0, told, size_px=SMALL_PX)
    return sheet.svg()


def _corners(tilts: Sequence[float], turns: Sequence[float]) -> list[tuple[float, float]]:
    return [
        (tilts[0], turns[0]),
        (tilts[-1], turns[0]),
        (tilts[-1], turns[-1]),
        (tilts[0], turns[-1]),
    ]


def _some(edges: Sequence[float]) -> list[float]:
    """Return so many edges that their numbers do not crowd."""
    step = max(1, math.ceil((len(edges) - 1) / (LABELS - 1)))
    return list(edges[::step])


def _degrees(angle: float) -> str:
    return f"{round(math.degrees(angle), 1) + 0.0:g}"
