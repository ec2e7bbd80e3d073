"""A sheet of SVG in pixels: strokes, fills and labels that stay on the sheet.

`Plan` and the charts draw on a `Sheet`.  It keeps the rules that all pictures share: one ink,
white paper, no script, no outside font, text escaped, ids that carry the drawing's name, and the
same marks in give the same bytes out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final, Literal, TypeAlias
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Point: TypeAlias = Sequence[float] | NDArray[np.float64]

__all__ = [
    "LARGE_PX",
    "SMALL_PX",
    "STYLES",
    "Anchor",
    "Fill",
    "Sheet",
    "Style",
    "digits",
    "legal",
    "number",
    "text_width",
    "wrap",
]

Style = Literal["thin", "bold", "hidden", "axis", "faint"]
Fill = Literal["paper", "tint", "hatch", "solid"]
Anchor = Literal["start", "middle", "end"]

INK: Final = "#16202b"
PAPER: Final = "#ffffff"
FONT: Final = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
LARGE_PX: Final = 13.0
SMALL_PX: Final = 11.0
LINE_STEP: Final = 1.25  # line spacing in heights of the letters
WORDS_MOST: Final = 400  # characters of one label; a name from a file may be any length

STYLES: Final[dict[str, str]] = {
    "thin": 'stroke-width="1.1"',
    "bold": 'stroke-width="2.4"',
    "hidden": 'stroke-width="1.2" stroke-dasharray="6 4"',
    "axis": 'stroke-width="1" stroke-dasharray="14 4 2 4"',
    "faint": 'stroke-width="0.8" stroke-opacity="0.45"',
}
"""Line styles; they differ in weight and dashes, never in colour."""

# Wide for a browser's usual sans-serif, so that an estimate errs towards room to spare.
_NARROW: Final = frozenset("iljtfrI.,:;'|!()[] ")
_WIDE: Final = frozenset("mwMWG@%OQ&")


def number(value: float) -> str:
    """Return `value` for an attribute: at most two decimals, never an exponent.

    Raises
    ------
    ValueError
        If `value` is not finite: a drawing must never hide a sum that failed.
    """
    value = float(value)
    if not math.isfinite(value):
        raise ValueError(f"a drawing needs finite numbers, got {value}")
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def digits(value: float, significant: int = 4) -> str:
    """Return `value` as a person reads it: few digits, thousands apart, no exponent."""
    if not math.isfinite(value):
        return "no number"
    if value == 0.0:
        return "0"
    places = max(0, min(6, significant - 1 - math.floor(math.log10(abs(value)))))
    text = f"{round(value, places) + 0.0:,.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def legal(words: object) -> str:
    """Return text with every character that XML 1.0 forbids, and line breaks, taken out."""
    text = " ".join(str(words).split())
    return "".join(
        char if (char.isprintable() and not 0xD800 <= ord(char) <= 0xDFFF) else "?"
        for char in text[:WORDS_MOST]
    )


def text_width(words: str, size_px: float) -> float:
    """Estimate the width of a line of text [px], on the wide side."""
    ems = 0.0
    for char in words:
        if char in _NARROW:
            ems += 0.34
        elif char in _WIDE or ord(char) > 0x2000:
            ems += 0.95
        else:
            ems += 0.68 if char.isupper() else 0.59
    return ems * size_px


def wrap(words: str, size_px: float, most_px: float) -> list[str]:
    """Break `words` into lines of at most `most_px`; a word that is too long is cut in two."""
    lines: list[str] = []
    line = ""
    for word in legal(words).split(" "):
        rest = word
        while text_width(rest, size_px) > most_px and len(rest) > 1:
            keep = max(1, int(len(rest) * most_px / text_width(rest, size_px)))
            while keep > 1 and text_width(rest[:keep], size_px) > most_px:
                keep -= 1
            if line:
                lines.append(line)
                line = ""
            lines.append(rest[:keep])
            rest = rest[keep:]
        longer = f"{line} {rest}".strip()
        if line and text_width(longer, size_px) > most_px:
            lines.append(line)
            longer = rest
        line = longer
    return [*lines, line] if line or not lines else lines


class Sheet:
    """White paper of `width_px` by `height_px`; x right, y down.

    Parameters
    ----------
    name : str
        Name of the drawing; ids and the accessible title come from it.
    width_px, height_px : float
        Size asked for.  The sheet grows where labels need more room.
    paper : bool
        Lay white paper under the drawing; without it the page shines through.
    px_per_mm : float or None
        Scale of what is drawn, for those who print it to another; ``None``: it has none.
    """

    def __init__(
        self,
        name: str,
        width_px: float,
        height_px: float,
        *,
        paper: bool = True,
        px_per_mm: float | None = None,
    ) -> None:
        self.name = legal(name)
        self.slug = re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower()[:60] or "drawing"
        self.width_px = float(width_px)
        self.height_px = float(height_px)
        self._paper = paper
        self._px_per_mm = px_per_mm
        self._extent = [0.0, 0.0, self.width_px, self.height_px]
        self._clip: tuple[float, float, float, float] | None = None
        self._under: list[str] = []
        self._over: list[str] = []
        self._labels: list[tuple[float, float, float, float]] = []
        self._hatched = False

    def clip(self, left: float, top: float, right: float, bottom: float) -> None:
        """Cut every stroke that is drawn with ``clipped=True`` to this frame."""
        self._clip = (left, top, right, bottom)

    def grow(self, left: float, top: float, right: float, bottom: float) -> None:
        """Make the sheet large enough for this box."""
        box = self._extent
        self._extent = [
            min(box[0], left),
            min(box[1], top),
            max(box[2], right),
            max(box[3], bottom),
        ]

    def ink(self, style: str, fill: str | None = None) -> str:
        """Return the attributes of a stroke style and a fill."""
        if style not in STYLES:
            raise ValueError(f"no line style {style!r}; use one of {', '.join(STYLES)}")
        if fill is None:
            return f'{STYLES[style]} fill="none"'
        if fill == "hatch":
            self._hatched = True
            return f'{STYLES[style]} fill="url(#{self.slug}-hatch)"'
        try:
            filled = {
                "paper": f'fill="{PAPER}"',
                "tint": 'fill="currentColor" fill-opacity="0.09"',
                "solid": 'fill="currentColor"',
            }[fill]
        except KeyError:
            raise ValueError(f"no fill {fill!r}; use paper, tint, hatch or solid") from None
        return f"{STYLES[style]} {filled}"

    def polyline(
        self,
        points: Iterable[Point],
        *,
        closed: bool = False,
        style: str = "thin",
        fill: str | None = None,
        clipped: bool = True,
    ) -> None:
        """Draw straight strokes through pixel points; fewer than two draw nothing."""
        steps = [f"{number(p[0])} {number(p[1])}" for p in points]
        if len(steps) < 2:
            return
        path = "M" + " L".join(steps) + ("Z" if closed else "")
        self._put(f'<path d="{path}" {self.ink(style, fill)}/>', clipped)

    def circle(
        self,
        x: float,
        y: float,
        radius: float,
        *,
        style: str = "thin",
        fill: str | None = None,
        clipped: bool = True,
    ) -> None:
        """Draw a circle."""
        self._put(
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(abs(radius))}" '
            f"{self.ink(style, fill)}/>",
            clipped,
        )

    def bare(self, points: Iterable[Point], fill: str) -> None:
        """Fill a shape without an outline."""
        path = "M" + " L".join(f"{number(p[0])} {number(p[1])}" for p in points) + "Z"
        filled = self.ink("thin", fill).split(" ", 1)[1]
        self._put(f'<path d="{path}" stroke="none" {filled}/>', True)

    def head(self, x: float, y: float, towards_x: float, towards_y: float) -> None:
        """Draw an arrow head with its tip at (x, y), pointing along the given direction."""
        length = math.hypot(towards_x, towards_y)
        if length == 0.0:
            return
        ux, uy = towards_x / length, towards_y / length
        back, half = 8.0, 2.8
        points = [
            (x, y),
            (x - back * ux - half * uy, y - back * uy + half * ux),
            (x - back * ux + half * uy, y - back * uy - half * ux),
        ]
        self.polyline(points, closed=True, fill="solid", clipped=False)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        anchor: str = "middle",
        size_px: float = LARGE_PX,
        turn_deg: float = 0.0,
        most_px: float | None = None,
        bold: bool = False,
        avoid: bool = True,
    ) -> tuple[float, float]:
        """Write `words` with the middle of their height at `y`; return how far they had to move.

        A label longer than `most_px` is broken into lines.  One that would leave the sheet sideways
        slides inwards; one that would cover an earlier one moves across by whole lines.  The sheet
        grows to hold it.
        """
        if anchor not in ("start", "middle", "end"):
            raise ValueError(f"no anchor {anchor!r}; use start, middle or end")
        lines = wrap(words, size_px, most_px or 0.6 * self.width_px)
        if lines == [""]:
            return 0.0, 0.0
        at = x, y
        wide = max(text_width(line, size_px) for line in lines)
        step = LINE_STEP * size_px
        high = step * len(lines)
        left = {"start": 0.0, "middle": -wide / 2.0, "end": -wide}[anchor]
        turn = math.radians(turn_deg)
        corners = [(left + i * wide, -high / 2.0 + j * high) for i in (0, 1) for j in (0, 1)]
        turned = [
            (
                a * math.cos(turn) + b * math.sin(turn),
                -a * math.sin(turn) + b * math.cos(turn),
            )
            for a, b in corners
        ]
        x0, x1 = min(p[0] for p in turned), max(p[0] for p in turned)
        y0, y1 = min(p[1] for p in turned), max(p[1] for p in turned)
        x += max(0.0, 2.0 - (x + x0)) - max(0.0, x + x1 - self.width_px + 2.0)
        if avoid:
            across = (step * math.sin(turn), step * math.cos(turn))
            dx, dy = self._free_shift((x + x0, y + y0, x + x1, y + y1), across)
            x, y = x + dx, y + dy
        self._labels.append((x + x0, y + y0, x + x1, y + y1))
        self.grow(x + x0 - 2.0, y + y0 - 2.0, x + x1 + 2.0, y + y1 + 2.0)
        # The baseline stands a third of the letters' height below their middle.
        first = y - high / 2.0 + step / 2.0 + 0.34 * size_px
        spans = "".join(
            f'<tspan x="{number(x)}" y="{number(first + i * step)}">{escape(line)}</tspan>'
            for i, line in enumerate(lines)
        )
        rotation = (
            f' transform="rotate({number(-turn_deg)} {number(x)} {number(y)})"' if turn_deg else ""
        )
        weight = ' font-weight="700"' if bold else ""
        halo = (
            f'stroke="{PAPER}" stroke-width="3" stroke-linejoin="round" paint-order="stroke"'
            if self._paper
            else 'stroke="none"'
        )
        self._over.append(
            f'<text font-size="{number(size_px)}" text-anchor="{anchor}"{weight}{rotation} '
            f'fill="currentColor" {halo}>{spans}</text>'
        )
        return x - at[0], y - at[1]

    def svg(self) -> str:
        """Return the sheet as one SVG element that stands alone."""
        left, top, right, bottom = self._extent
        wide, high = right - left, bottom - top
        shown = self.width_px
        defs = ""
        if self._hatched:
            defs += (
                # Oblique within an upright tile: printers show the seams of turned ones.
                f'<pattern id="{self.slug}-hatch" patternUnits="userSpaceOnUse" width="10" '
                'height="10"><path d="M-2 2 L2 -2 M-2 12 L12 -2 M8 12 L12 8" '
                'stroke="currentColor" stroke-width="1.3"/></pattern>'
            )
        clip = ""
        if self._clip is not None:
            x0, y0, x1, y1 = self._clip
            defs += (
                f'<clipPath id="{self.slug}-frame"><rect x="{number(x0)}" y="{number(y0)}" '
                f'width="{number(x1 - x0)}" height="{number(y1 - y0)}"/></clipPath>'
            )
            clip = f' clip-path="url(#{self.slug}-frame)"'
        per_mm = self._px_per_mm
        scale = "" if per_mm is None else f'data-px-per-mm="{per_mm:.9g}" '
        under = "\n".join(self._under)
        over = "\n".join(self._over)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" '
            f'aria-label={quoteattr(self.name)} width="{number(shown)}" '
            f'height="{number(shown * high / wide)}" '
            f'viewBox="{number(left)} {number(top)} {number(wide)} {number(high)}" '
            f'{scale}color="{INK}" font-family="{FONT}" font-size="{number(LARGE_PX)}">\n'
            f"<title>{escape(self.name)}</title>\n"
            + (f"<defs>{defs}</defs>\n" if defs else "")
            + (
                f'<rect x="{number(left)}" y="{number(top)}" width="{number(wide)}" '
                f'height="{number(high)}" fill="{PAPER}" stroke="none"/>\n'
                if self._paper
                else ""
            )
            + f'<g stroke="currentColor" stroke-linejoin="round"{clip}>\n{under}\n</g>\n'
            f'<g stroke="currentColor" stroke-linejoin="round">\n{over}\n</g>\n</svg>'
        )

    def _put(self, markup: str, clipped: bool) -> None:
        (self._under if clipped else self._over).append(markup)

    def _free_shift(
        self, box: tuple[float, float, float, float], across: tuple[float, float]
    ) -> tuple[float, float]:
        """Return how far a label must move across its lines to cover no earlier one."""
        x0, y0, x1, y1 = box

        def covers(dx: float, dy: float) -> bool:
            return any(
                x0 + dx < b[2] and b[0] < x1 + dx and y0 + dy < b[3] and b[1] < y1 + dy
                for b in self._labels
            )

        for count in range(6):
            for sign in (1.0, -1.0):
                dx, dy = sign * count * across[0], sign * count * across[1]
                inside = x0 + dx >= 2.0 and x1 + dx <= self.width_px - 2.0
                if inside and not covers(dx, dy):
                    return dx, dy
        return 0.0, 0.0
