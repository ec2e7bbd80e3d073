"""A drawing to scale: millimetres of the shop in, true proportions and a scale bar out."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from gudgeon.drawing.svg import LARGE_PX, SMALL_PX, Sheet, digits

if TYPE_CHECKING:
    from gudgeon.drawing.svg import Point

__all__ = ["Plan"]

MM_PER_INCH: Final = 25.4  # exact: NIST SP 811 (2008), appendix B
MARGIN_PX: Final = 26.0
FOOT_PX: Final = 40.0  # strip under the drawing for the scale bar
OFF_PX: Final = 5.0  # from a line to words that begin or end at it
LEAD_LEAST_PX: Final = 3.0  # a label that moved less needs no line
TALLEST: Final = 0.62  # height of the drawing in widths; a sheet must fit on paper
ARC_STEP_RAD: Final = math.radians(3.0)


class Plan:
    """Lines, bodies and labels in world millimetres: x right, y up, one scale for both.

    What lies outside the extents is cut off at the frame; labels outside are drawn at its edge.
    Every method that draws returns the plan, so that calls can be chained.

    Parameters
    ----------
    name : str
        Name of the drawing; ids inside the picture carry it.
    left_mm, bottom_mm, right_mm, top_mm : float
        The part of the world that is shown.
    inch : bool
        Mark the scale bar in inches.
    width_px : int
        Width of the picture.

    Raises
    ------
    ValueError
        If an extent is empty or a number is not finite.
    """

    def __init__(
        self,
        name: str,
        left_mm: float,
        bottom_mm: float,
        right_mm: float,
        top_mm: float,
        *,
        inch: bool = False,
        width_px: int = 720,
    ) -> None:
        extents = (float(left_mm), float(bottom_mm), float(right_mm), float(top_mm))
        if not all(math.isfinite(value) for value in extents):
            raise ValueError(f"plan {name}: extents must be finite, got {extents}")
        self._left, self._bottom, self._right, self._top = extents
        wide, high = self._right - self._left, self._top - self._bottom
        if not (wide > 0.0 and high > 0.0):
            raise ValueError(f"plan {name}: extents are empty: {wide} x {high} mm")
        self._inch = inch
        room = float(width_px) - 2.0 * MARGIN_PX
        self._scale = min(room / wide, TALLEST * width_px / high)
        self._x0 = MARGIN_PX + (room - wide * self._scale) / 2.0
        self._y0 = MARGIN_PX + high * self._scale
        self._sheet = Sheet(
            name,
            width_px,
            high * self._scale + 2.0 * MARGIN_PX + FOOT_PX,
            px_per_mm=self._scale,
        )
        edge = MARGIN_PX / 2.0
        self._frame = (
            self._x0 - edge,
            MARGIN_PX - edge,
            self._x0 + wide * self._scale + edge,
            self._y0 + edge,
        )
        self._sheet.clip(*self._frame)
        self._scale_bar()

    def line(self, p: Point, q: Point, style: str = "thin") -> Plan:
        """Draw a straight line from `p` to `q`."""
        self._sheet.polyline([self._px(p), self._px(q)], style=style)
        return self

    def path(
        self,
        points: Iterable[Point],
        *,
        closed: bool = False,
        style: str = "thin",
        fill: str | None = None,
    ) -> Plan:
        """Draw straight lines through `points`; `fill` needs no closing line."""
        self._sheet.polyline([self._px(p) for p in points], closed=closed, style=style, fill=fill)
        return self

    def circle(
        self, centre: Point, radius_mm: float, *, style: str = "thin", fill: str | None = None
    ) -> Plan:
        """Draw a circle."""
        x, y = self._px(centre)
        self._sheet.circle(x, y, radius_mm * self._scale, style=style, fill=fill)
        return self

    def arc(
        self,
        centre: Point,
        radius_mm: float,
        start_rad: float,
        end_rad: float,
        style: str = "thin",
    ) -> Plan:
        """Draw an arc from `start_rad` to `end_rad`, counter-clockwise if the end is greater."""
        turn = float(end_rad) - float(start_rad)
        count = max(2, min(720, math.ceil(abs(turn) / ARC_STEP_RAD)))
        angles = [float(start_rad) + turn * i / count for i in range(count + 1)]
        return self.path(
            [
                (centre[0] + radius_mm * math.cos(a), centre[1] + radius_mm * math.sin(a))
                for a in angles
            ],
            style=style,
        )

    def rectangle(
        self,
        left: float,
        bottom: float,
        right: float,
        top: float,
        *,
        style: str = "thin",
        fill: str | None = None,
    ) -> Plan:
        """Draw an upright rectangle."""
        corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
        return self.path(corners, closed=True, style=style, fill=fill)

    def cross(self, centre: Point, size_px: float = 8) -> Plan:
        """Mark a point with a cross whose size does not follow the scale."""
        x, y = self._px(centre)
        half = size_px / 2.0
        self._sheet.polyline([(x - half, y), (x + half, y)])
        self._sheet.polyline([(x, y - half), (x, y + half)])
        return self

    def arrow(self, p: Point, q: Point, style: str = "thin") -> Plan:
        """Draw an arrow from `p` to `q`."""
        a, b = self._px(p), self._px(q)
        self._sheet.polyline([a, b], style=style)
        if self._shows(b):
            self._sheet.head(b[0], b[1], b[0] - a[0], b[1] - a[1])
        return self

    def text(
        self,
        at: Point,
        words: str,
        *,
        anchor: str = "middle",
        small: bool = False,
        turn_deg: float = 0,
        lead: bool = False,
    ) -> Plan:
        """Write `words` with the middle of their height at `at`; `turn_deg` counter-clockwise.

        A blank before (after) the words keeps them a little off a line that they begin (end) at.
        With `lead` words that had to give way to others keep a faint line to `at`.
        """
        x, y = self._px(at)
        off = OFF_PX * (words.startswith(" ") - words.endswith(" "))
        x += off * math.cos(math.radians(turn_deg))
        y -= off * math.sin(math.radians(turn_deg))
        x = min(max(x, self._frame[0]), self._frame[2])
        y = min(max(y, self._frame[1]), self._frame[3])
        size = SMALL_PX if small else LARGE_PX
        moved = self._sheet.text(x, y, words, anchor=anchor, size_px=size, turn_deg=turn_deg)
        if lead and math.hypot(*moved) > LEAD_LEAST_PX:
            ends = [(x, y), (x + moved[0], y + moved[1])]
            self._sheet.polyline(ends, style="faint", clipped=False)
        return self

    def dimension(self, p: Point, q: Point, words: str, *, offset_px: float = 0) -> Plan:
        """Draw a dimension line between `p` and `q`, moved sideways by `offset_px`.

        A positive offset moves it to the left as seen going from `p` to `q`.
        """
        (ax, ay), (bx, by) = self._px(p), self._px(q)
        length = math.hypot(bx - ax, by - ay)
        if length == 0.0:
            return self.text(p, words, small=True)
        ux, uy = (bx - ax) / length, (by - ay) / length
        nx, ny = uy, -ux  # to the left on paper, where y points down
        cx, cy = ax + nx * offset_px, ay + ny * offset_px
        dx, dy = bx + nx * offset_px, by + ny * offset_px
        if offset_px:
            over = math.copysign(4.0, offset_px)
            for (sx, sy), (ex, ey) in (((ax, ay), (cx, cy)), ((bx, by), (dx, dy))):
                ends = [(sx, sy), (ex + nx * over, ey + ny * over)]
                self._sheet.polyline(ends, style="faint", clipped=False)
        self._sheet.polyline([(cx, cy), (dx, dy)], clipped=False)
        if length > 22.0:
            self._sheet.head(cx, cy, -ux, -uy)
            self._sheet.head(dx, dy, ux, uy)
        else:  # too short for heads inside: oblique ticks
            for x, y in ((cx, cy), (dx, dy)):
                self._sheet.polyline([(x - 3, y + 3), (x + 3, y - 3)], clipped=False)
        self._sheet.grow(min(cx, dx) - 5, min(cy, dy) - 5, max(cx, dx) + 5, max(cy, dy) + 5)
        turn = math.degrees(math.atan2(-uy, ux))
        if turn > 90.0 + 1e-9 or turn <= -90.0 + 1e-9:  # read from below or from the right
            turn -= math.copysign(180.0, turn)
        lift = 9.0
        up = math.radians(turn + 90.0)
        mx, my = (cx + dx) / 2.0 + lift * math.cos(up), (cy + dy) / 2.0 - lift * math.sin(up)
        self._sheet.text(mx, my, words, size_px=SMALL_PX, turn_deg=turn)
        return self

    def svg(self) -> str:
        """Return the picture as one SVG element, with its scale bar."""
        return self._sheet.svg()

    def _scale_bar(self) -> None:
        unit = MM_PER_INCH if self._inch else 1.0
        wide, high = self._right - self._left, self._top - self._bottom
        bar = _round_length(0.3 * min(wide, 1.5 * high) / unit)
        half = bar * unit * self._scale / 2.0
        left, y = self._frame[0], self._frame[3] + 18.0
        for start, fill in ((left, "solid"), (left + half, "paper")):
            box = [(start, y), (start + half, y), (start + half, y + 5), (start, y + 5)]
            self._sheet.polyline(box, closed=True, fill=fill, clipped=False)
        words = f"scale bar {digits(bar)} {'in' if self._inch else 'mm'}"
        self._sheet.text(left + 2.0 * half + 8, y + 2.5, words, anchor="start", size_px=SMALL_PX)

    def _px(self, point: Point) -> tuple[float, float]:
        x, y = float(point[0]), float(point[1])
        if not (math.isfinite(x) and math.isfinite(y)):
            raise ValueError(f"plan {self._sheet.name}: a point is not finite: ({x}, {y})")
        return (
            self._x0 + (x - self._left) * self._scale,
            self._y0 - (y - self._bottom) * self._scale,
        )

    def _shows(self, pixel: tuple[float, float]) -> bool:
        left, top, right, bottom = self._frame
        return left <= pixel[0] <= right and top <= pixel[1] <= bottom


def _round_length(most: float) -> float:
    """Return the greatest of 1, 2, 5 times a power of ten that is not above `most`."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most * (1.0 + 1e-12))
