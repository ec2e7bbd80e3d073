"""Small drawings of the faces: the scale beside a figure, and the shape of each verdict."""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Figure, Verdict
from gudgeon.drawing.svg import SMALL_PX, Sheet, text_width
from gudgeon.faces.wording import finite, worded

__all__ = ["gauge_svg", "verdict_svg"]

SVG: Final = "http://www.w3.org/2000/svg"
WIDE: Final = 270.0
EDGE: Final = 12.0
LINE: Final = 20.0
HALF: Final = 9.0
NEAR: Final = 3.0  # nought is shown if it is no farther off than this many spans
TINY: Final = 1e-200  # a smaller span is none
ROOM: Final = 0.18  # of the span, left free at both ends

_SHAPES: Final[dict[Verdict, str]] = {
    Verdict.YES: '<circle cx="12" cy="12" r="10" fill="currentColor"/>',
    Verdict.YES_IF: '<circle cx="12" cy="12" r="10"/>'
    '<path d="M12 2a10 10 0 0 0 0 20z" fill="currentColor"/>',
    Verdict.NO: '<circle cx="12" cy="12" r="10"/><path d="M5 12h14" stroke-width="4"/>',
    Verdict.CANNOT_TELL: '<circle cx="12" cy="12" r="10" stroke-dasharray="4.2 3.66"/>',
}


def verdict_svg(verdict: Verdict) -> str:
    """Return the shape that stands for a verdict in black and white."""
    return (
        f'<svg class="shape" xmlns="{SVG}" viewBox="0 0 24 24" aria-hidden="true" fill="none" '
        f'stroke="currentColor" stroke-width="2">{_SHAPES[verdict]}</svg>'
    )


def gauge_svg(figure: Figure) -> str:
    """Return the scale of `figure` as SVG; empty without a limit: a scale shows the room to it."""
    value, limit = finite(figure.value), finite(figure.limit)
    spread = finite(figure.plus_minus) or 0.0
    if value is None or limit is None:
        return ""
    low, high = _ends(value, spread, limit, figure.limit_kind)
    sheet = Sheet(f"{figure.name} scale", WIDE, LINE + 26.0, paper=False)

    def at(number: float) -> float:
        return EDGE + (number - low) / (high - low) * (WIDE - 2.0 * EDGE)

    if limit is not None:
        bad = (at(limit), at(high)) if figure.limit_kind == "max" else (at(low), at(limit))
        corners = [(bad[0], LINE - HALF), (bad[1], LINE - HALF)]
        corners += [(bad[1], LINE + HALF), (bad[0], LINE + HALF)]
        sheet.bare(corners, "hatch")
    sheet.polyline([(at(low), LINE), (at(high), LINE)])
    if low <= 0.0 <= high:
        sheet.polyline([(at(0.0), LINE), (at(0.0), LINE + 5.0)])
    if limit is not None:
        sheet.polyline([(at(limit), LINE - 13.0), (at(limit), LINE + 13.0)], style="bold")
    if spread > 0.0:
        ends = at(value - spread), at(value + spread)
        sheet.polyline([(ends[0], LINE), (ends[1], LINE)], style="bold")
        for x in ends:
            sheet.polyline([(x, LINE - 5.0), (x, LINE + 5.0)], style="thin")
    sheet.circle(at(value), LINE, 4.5, style="bold", fill="paper")
    said = worded(figure)
    marks = [(value, said.number)]
    if limit is not None:
        marks.insert(0, (limit, said.bound))
    if low <= 0.0 <= high and 0.0 not in (value, limit):
        marks.append((0.0, "0"))
    taken: list[tuple[float, float]] = []
    for mark, words in marks:
        half = 0.5 * text_width(words, SMALL_PX) + 3.0
        span = (at(mark) - half, at(mark) + half)
        if all(span[1] < left or right < span[0] for left, right in taken):
            taken.append(span)
            sheet.text(at(mark), LINE + 20.0, words, size_px=SMALL_PX, avoid=False)
    return sheet.svg()


def _ends(
    value: float, spread: float, limit: float | None, kind: str | None
) -> tuple[float, float]:
    """Return the ends of the scale: all that is shown, room at both ends, nought if it is near."""
    shown = [value - spread, value + spread, value if limit is None else limit]
    low, high = min(shown), max(shown)
    span = high - low
    if span <= 1e-9 * max(abs(low), abs(high)) or span < TINY:
        span = abs(high) if abs(high) > TINY else 1.0
        low, high = low - 0.5 * span, high + 0.5 * span
    if low > 0.0 and low <= NEAR * span:
        low = 0.0
    elif high < 0.0 and -high <= NEAR * span:
        high = 0.0
    room = ROOM * (high - low)
    low, high = (low if low == 0.0 else low - room), (high if high == 0.0 else high + room)
    if limit is not None:  # the bad side is always wide enough to be seen
        if kind == "max":
            high = max(high, limit + room)
        else:
            low = min(low, limit - room)
    return low, high
