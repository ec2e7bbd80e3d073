"""Curves over two axes, and ranges beside each other; labels stand at the lines themselves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, TypeAlias

from gudgeon.drawing.svg import LARGE_PX, SMALL_PX, Sheet, text_width, wrap

__all__ = ["Bars", "Chart"]

TICKS: Final = 5  # about as many as a reader takes in at a glance
LABEL_MOST_PX: Final = 170.0
LINE_PX: Final = 14.0  # one line of a label
LEAD_PX: Final = 16.0  # thin line from the end of a curve to its label
SAMPLE_PX: Final = 18.0  # piece of the curve's own line before its label
_At: TypeAlias = Callable[[float, float], tuple[float, float]]

TINY: Final = 1e-200  # smaller numbers are nought; their logarithms are not worth the trouble
FLAT: Final = 1e-12  # a span below this share of its size counts as none


@dataclass(frozen=True, slots=True)
class _Curve:
    xs: tuple[float, ...]
    ys: tuple[float, ...]
    label: str
    style: str


@dataclass(frozen=True, slots=True)
class _Band:
    xs: tuple[float, ...]
    lows: tuple[float, ...]
    highs: tuple[float, ...]
    label: str


class Chart:
    """Curves, bands and limits over two axes.

    Curves are told apart by line style and by the label at their end.  A point that is not finite
    breaks its curve.  Every method that draws returns the chart.

    Parameters
    ----------
    name : str
        Name of the chart; ids inside the picture carry it.
    x_label, y_label : str
        Words of the axes, with the unit.
    width_px, height_px : int
        Size of the picture.
    """

    def __init__(
        self, name: str, x_label: str, y_label: str, *, width_px: int = 720, height_px: int = 340
    ) -> None:
        self._name = name
        self._x_label, self._y_label = x_label, y_label
        self._width, self._height = float(width_px), float(height_px)
        self._curves: list[_Curve] = []
        self._bands: list[_Band] = []
        self._levels: list[tuple[float, str]] = []
        self._uprights: list[tuple[float, str]] = []
        self._marks: list[tuple[float, float, str]] = []

    def curve(
        self, xs: Iterable[float], ys: Iterable[float], label: str, style: str = "bold"
    ) -> Chart:
        """Add a curve through points of equal number.

        Raises
        ------
        ValueError
            If `xs` and `ys` differ in length.
        """
        x, y = _columns(self._name, xs, ys)
        self._curves.append(_Curve(x, y, label, style))
        return self

    def band(
        self, xs: Iterable[float], lows: Iterable[float], highs: Iterable[float], label: str
    ) -> Chart:
        """Add a tinted range between two curves; points that are not finite are left out."""
        x, low, high = _columns(self._name, xs, lows, highs)
        self._bands.append(_Band(x, low, high, label))
        return self

    def level(self, y: float, label: str) -> Chart:
        """Add a limit: a dashed line across, with its label."""
        self._levels.append((float(y), label))
        return self

    def upright(self, x: float, label: str) -> Chart:
        """Add a dashed line from bottom to top, with its label."""
        self._uprights.append((float(x), label))
        return self

    def mark(self, x: float, y: float, label: str) -> Chart:
        """Add a ringed point with its label."""
        self._marks.append((float(x), float(y), label))
        return self

    def svg(self) -> str:
        """Return the chart as one SVG element."""
        x_axis = _Axis.over(
            [x for c in self._curves for x in c.xs]
            + [x for b in self._bands for x in b.xs]
            + [x for x, _ in self._uprights]
            + [x for x, _, _ in self._marks],
            snug=True,
            turns="deg" in self._x_label,
        )
        y_axis = _Axis.over(
            [y for c in self._curves for y in c.ys]
            + [y for b in self._bands for y in (*b.lows, *b.highs)]
            + [y for y, _ in self._levels]
            + [y for _, y, _ in self._marks],
        )
        sheet = Sheet(self._name, self._width, self._height)
        ends = [c.label for c in self._curves] + [b.label for b in self._bands]
        room = max(
            (text_width(line, SMALL_PX) for w in ends for line in wrap(w, SMALL_PX, LABEL_MOST_PX)),
            default=0.0,
        )
        left = 14.0 + max(text_width(tick, SMALL_PX) for tick in y_axis.words())
        right = self._width - max(18.0, room + LEAD_PX + SAMPLE_PX + 12.0)
        top, bottom = 40.0, self._height - 48.0
        sheet.clip(left, top - 2.0, right + 1.0, bottom + 2.0)

        def at(x: float, y: float) -> tuple[float, float]:
            return (
                left + x_axis.share(x) * (right - left),
                bottom - y_axis.share(y) * (bottom - top),
            )

        self._axes(sheet, x_axis, y_axis, (left, top, right, bottom))
        for band in self._bands:
            self._draw_band(sheet, band, at)
        for level, label in self._levels:
            if math.isfinite(level):
                y = at(0.0, level)[1]
                sheet.polyline([(left, y), (right, y)], style="hidden")
                sheet.text(left + 6.0, y - 9.0, label, anchor="start", size_px=SMALL_PX)
        for x_value, label in self._uprights:
            if math.isfinite(x_value):
                x = at(x_value, 0.0)[0]
                sheet.polyline([(x, bottom), (x, top)], style="hidden")
                anchor = "end" if x > (left + right) / 2.0 else "start"
                shift = -5.0 if anchor == "end" else 5.0
                sheet.text(x + shift, top + 8.0, label, anchor=anchor, size_px=SMALL_PX)
        for curve in self._curves:
            for run in _runs(curve.xs, curve.ys):
                pixels = [at(x, y) for x, y in run]
                if len(pixels) == 1:
                    sheet.circle(*pixels[0], 2.0, fill="solid")
                sheet.polyline(pixels, style=curve.style)
        self._end_labels(sheet, at, right)
        for x_value, y_value, label in self._marks:
            if math.isfinite(x_value) and math.isfinite(y_value):
                x, y = at(x_value, y_value)
                sheet.circle(x, y, 4.5, style="bold", fill="paper", clipped=False)
                usual = "end" if x > (left + right) / 2.0 else "start"
                places = [
                    (anchor, -9.0 if anchor == "end" else 9.0, lift)
                    for anchor in (usual, "start" if usual == "end" else "end")
                    for lift in (-10.0, 13.0)
                ]
                wide = text_width(label, SMALL_PX)
                inside = [
                    (anchor, shift, lift)
                    for anchor, shift, lift in places
                    if left <= x + shift - (wide if anchor == "end" else 0.0)
                    and top <= y + lift <= bottom - 8.0
                ]
                anchor, shift, lift = min(
                    inside or places[:1],
                    key=lambda place: self._crossed(at, x, y, wide, place),
                )
                sheet.text(x + shift, y + lift, label, anchor=anchor, size_px=SMALL_PX)
        if not any(math.isfinite(y) for c in self._curves for y in c.ys) and not (
            self._bands or self._marks
        ):
            sheet.text((left + right) / 2.0, (top + bottom) / 2.0, "nothing to draw yet")
        return sheet.svg()

    def _crossed(
        self, at: _At, x: float, y: float, wide: float, place: tuple[str, float, float]
    ) -> int:
        """Count the pixels of curves and levels that a label beside (x, y) would cover."""
        anchor, shift, lift = place
        low = x + shift - (wide if anchor == "end" else 0.0)
        crossed = 0
        for curve in self._curves:
            for run in _runs(curve.xs, curve.ys):
                pixels = [at(*point) for point in run]
                for (ax, ay), (bx, by) in itertools.pairwise(pixels):
                    steps = max(1, int(max(abs(bx - ax), abs(by - ay)) / 2.0))
                    for i in range(steps + 1):
                        px, py = ax + (bx - ax) * i / steps, ay + (by - ay) * i / steps
                        crossed += low <= px <= low + wide and abs(py - y - lift) <= 0.6 * SMALL_PX
        for level, _ in self._levels:
            if math.isfinite(level):
                crossed += int(wide) * (abs(at(0.0, level)[1] - y - lift) <= 0.6 * SMALL_PX)
        return crossed

    def _axes(
        self,
        sheet: Sheet,
        x_axis: _Axis,
        y_axis: _Axis,
        frame: tuple[float, float, float, float],
    ) -> None:
        left, top, right, bottom = frame
        for value, word in zip(y_axis.ticks, y_axis.words(), strict=True):
            y = bottom - y_axis.share(value) * (bottom - top)
            sheet.polyline([(left, y), (right, y)], style="faint")
            sheet.text(left - 6.0, y, word, anchor="end", size_px=SMALL_PX, avoid=False)
        for value, word in zip(x_axis.ticks, x_axis.words(), strict=True):
            x = left + x_axis.share(value) * (right - left)
            sheet.polyline([(x, bottom), (x, bottom + 5.0)], clipped=False)
            sheet.text(x, bottom + 15.0, word, size_px=SMALL_PX, avoid=False)
        if y_axis.low < 0.0 < y_axis.high:
            y = bottom - y_axis.share(0.0) * (bottom - top)
            sheet.polyline([(left, y), (right, y)])
        sheet.polyline([(left, top), (left, bottom), (right, bottom)], clipped=False)
        sheet.text(4.0, 14.0, self._y_label, anchor="start", most_px=self._width - 8.0)
        sheet.text(right, bottom + 34.0, self._x_label, anchor="end", most_px=self._width - 30.0)

    @staticmethod
    def _draw_band(sheet: Sheet, band: _Band, at: _At) -> None:
        rows = [
            row
            for row in zip(band.xs, band.lows, band.highs, strict=True)
            if all(math.isfinite(value) for value in row)
        ]
        if len(rows) < 2:
            return
        under = [at(x, low) for x, low, _ in rows]
        over = [at(x, high) for x, _, high in rows]
        sheet.bare([*under, *reversed(over)], "tint")
        sheet.polyline(under, style="faint")
        sheet.polyline(over, style="faint")

    def _end_labels(self, sheet: Sheet, at: _At, right: float) -> None:
        """Write the labels beside the ends, in the order of the ends, each with its line."""
        ends: list[tuple[float, float, str, str | None]] = []
        for band in self._bands:
            middles = [(low + high) / 2.0 for low, high in zip(band.lows, band.highs, strict=True)]
            ends += _end(band.xs, middles, at, band.label, None)
        for curve in self._curves:
            ends += _end(curve.xs, curve.ys, at, curve.label, curve.style)
        ends.sort(key=lambda end: end[1])
        tall = [LINE_PX * len(wrap(end[2], SMALL_PX, LABEL_MOST_PX)) for end in ends]
        for (x, y, label, style), middle in zip(
            ends, _apart([end[1] for end in ends], tall), strict=True
        ):
            start = min(x, right)
            sheet.polyline(
                [(start + 2.0, y), (start + LEAD_PX, middle)], style="faint", clipped=False
            )
            if style is not None:
                sample = [(start + LEAD_PX, middle), (start + LEAD_PX + SAMPLE_PX, middle)]
                sheet.polyline(sample, style=style, clipped=False)
            sheet.text(
                start + LEAD_PX + SAMPLE_PX + 4.0,
                middle,
                label,
                anchor="start",
                size_px=SMALL_PX,
                most_px=LABEL_MOST_PX,
                avoid=False,
            )


def _end(
    xs: Iterable[float], ys: Iterable[float], at: _At, label: str, style: str | None
) -> list[tuple[float, float, str, str | None]]:
    """Return where a line ends on paper, with its label; nothing for an empty or nameless one."""
    points = [(x, y) for x, y in zip(xs, ys, strict=True) if math.isfinite(x + y)]
    if not points or not label:
        return []
    # Of several points at the right end the last one drawn is the end.
    x, y = at(*max(reversed(points), key=lambda point: point[0]))
    return [(x, y, label, style)]


def _apart(middles: list[float], tall: list[float]) -> list[float]:
    """Move labels, given from top to bottom, as little as needed for none to cover another."""
    groups: list[tuple[list[int], float]] = []  # indices of touching labels, top of the group
    for i, middle in enumerate(middles):
        groups.append(([i], middle - tall[i] / 2.0))
        while len(groups) > 1:
            (upper, top), (lower, below) = groups[-2], groups[-1]
            if top + sum(tall[j] for j in upper) <= below:
                break
            both = upper + lower
            height = sum(tall[j] for j in both)
            centre = sum(middles[j] for j in both) / len(both)
            groups[-2:] = [(both, centre - height / 2.0)]
    placed = [0.0] * len(middles)
    for members, top in groups:
        for i in members:
            placed[i] = top + tall[i] / 2.0
            top += tall[i]
    return placed


class Bars:
    """Ranges below each other on one axis: which assumption matters most.

    Parameters
    ----------
    name : str
        Name of the chart; ids inside the picture carry it.
    x_label : str
        Words of the axis, with the unit.
    width_px : int
        Width of the picture; its height follows the number of rows.
    """

    ROW_PX: Final = 34.0

    def __init__(self, name: str, x_label: str, *, width_px: int = 720) -> None:
        self._name, self._x_label = name, x_label
        self._width = float(width_px)
        self._rows: list[tuple[str, float, float, float | None]] = []
        self._uprights: list[tuple[float, str]] = []

    def row(self, label: str, low: float, high: float, middle: float | None = None) -> Bars:
        """Add a range from `low` to `high` (either order), with a stroke at `middle`."""
        least, most = sorted((float(low), float(high)))
        self._rows.append((label, least, most, None if middle is None else float(middle)))
        return self

    def upright(self, x: float, label: str) -> Bars:
        """Add a dashed line from bottom to top, with its label."""
        self._uprights.append((float(x), label))
        return self

    def svg(self) -> str:
        """Return the chart as one SVG element."""
        values = [v for _, low, high, mid in self._rows for v in (low, high, mid) if v is not None]
        axis = _Axis.over(values + [x for x, _ in self._uprights])
        most = 0.36 * self._width
        labels = [wrap(label, SMALL_PX, most) for label, *_ in self._rows]
        widest = max((text_width(w, SMALL_PX) for lines in labels for w in lines), default=0.0)
        step = max([self.ROW_PX, *(10.0 + 14.0 * len(lines) for lines in labels)])
        left, right = widest + 16.0, self._width - 24.0
        top = 34.0 if self._uprights else 14.0
        bottom = top + step * max(1, len(self._rows))
        sheet = Sheet(self._name, self._width, bottom + 46.0)
        sheet.clip(left - 1.0, top - 2.0, right + 1.0, bottom + 2.0)

        def at(value: float) -> float:
            return left + axis.share(value) * (right - left)

        for value, word in zip(axis.ticks, axis.words(), strict=True):
            sheet.polyline([(at(value), top), (at(value), bottom)], style="faint")
            sheet.text(at(value), bottom + 13.0, word, size_px=SMALL_PX, avoid=False)
        sheet.polyline([(left, bottom), (right, bottom)], clipped=False)
        for index, (label, low, high, middle) in enumerate(self._rows):
            y = top + step * (index + 0.5)
            sheet.text(
                left - 10.0, y, label, anchor="end", size_px=SMALL_PX, most_px=most, avoid=False
            )
            if not (math.isfinite(low) and math.isfinite(high)):
                sheet.text(left + 6.0, y, "no number", anchor="start", size_px=SMALL_PX)
                continue
            a, b = at(low), at(high)
            half = 7.0
            corners = [(a, y - half), (b, y - half), (b, y + half), (a, y + half)]
            sheet.polyline(corners, closed=True, fill="paper")
            sheet.polyline(corners, closed=True, fill="hatch")
            if middle is not None and math.isfinite(middle):
                sheet.polyline(
                    [(at(middle), y - half - 3.0), (at(middle), y + half + 3.0)], style="bold"
                )
        for x, label in self._uprights:
            if math.isfinite(x):
                sheet.polyline([(at(x), top), (at(x), bottom)], style="hidden")
                anchor = "end" if at(x) > (left + right) / 2.0 else "start"
                sheet.text(at(x), top - 12.0, label, anchor=anchor, size_px=SMALL_PX)
        sheet.text(right, bottom + 32.0, self._x_label, anchor="end", size_px=LARGE_PX)
        return sheet.svg()


@dataclass(frozen=True, slots=True)
class _Axis:
    """Round ticks over the span of some values."""

    low: float
    high: float
    ticks: tuple[float, ...]
    step: float

    @classmethod
    def over(cls, values: Iterable[float], *, snug: bool = False, turns: bool = False) -> _Axis:
        """Return the axis for `values`.

        A snug one ends at the values, else at round ticks; one of `turns` steps in shares of a
        right angle.
        """
        finite = [
            0.0 if abs(value) < TINY else float(value) for value in values if math.isfinite(value)
        ]
        low, high = (min(finite), max(finite)) if finite else (0.0, 1.0)
        size = max(abs(low), abs(high))
        if high - low <= FLAT * size or high == low:
            pad = 0.1 * size if size > 0.0 else 1.0
            low, high = low - pad, high + pad
        rough = (high - low) / (TICKS + 3 if snug else TICKS)
        power = 10.0 ** math.floor(math.log10(rough))
        step = next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= rough * 0.999)
        if turns and 5.0 <= rough <= 90.0:
            step = next(angle for angle in (5.0, 10.0, 15.0, 30.0, 45.0, 90.0) if angle >= rough)
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        ticks = tuple(i * step for i in range(first, last + 1))
        if snug:
            slack = 1e-9 * (high - low)
            inside = tuple(t for t in ticks if low - slack <= t <= high + slack)
            return cls(low, high, inside, step)
        return cls(ticks[0], ticks[-1], ticks, step)

    def share(self, value: float) -> float:
        """Return where `value` lies between the ends, 0 to 1."""
        return (value - self.low) / (self.high - self.low)

    def words(self) -> list[str]:
        """Return the ticks as text, all with the same decimals."""
        places = max(0, min(9, -math.floor(math.log10(self.step) + 1e-9)))
        if places < 9 and abs(round(self.step, places) - self.step) > 1e-6 * self.step:
            places += 1  # a step such as 2.5 or 0.25
        words = [f"{tick + 0.0:,.{places}f}" for tick in self.ticks]
        return [word.lstrip("-") if float(word.replace(",", "")) == 0.0 else word for word in words]


def _columns(name: str, *columns: Iterable[float]) -> tuple[tuple[float, ...], ...]:
    found = tuple(tuple(float(value) for value in column) for column in columns)
    if len({len(column) for column in found}) != 1:
        raise ValueError(f"chart {name}: columns of {[len(c) for c in found]} values")
    return found


def _runs(xs: tuple[float, ...], ys: tuple[float, ...]) -> list[list[tuple[float, float]]]:
    """Split a curve where a point is not finite."""
    runs: list[list[tuple[float, float]]] = [[]]
    for x, y in zip(xs, ys, strict=True):
        if math.isfinite(x) and math.isfinite(y):
            runs[-1].append((x, y))
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if run]
