"""Drawings as they go on paper: checked, in the font of the sheets, at a width in millimetres."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from typing import Any, Final

from gudgeon.answer import Picture
from gudgeon.faces.report import SVG, DrawingError, drawing_markup
from gudgeon.faces.wording import clean, typeset

__all__ = ["FONT", "Room", "drawn", "on_paper"]

FONT: Final = "Atkinson Hyperlegible Next"

STEPS: Final = (1.0, 2.0, 5.0)
"""Scales of reduction are 1, 2 or 5 times a power of ten: ISO 5455:1979, from memory."""

TINY_MM: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Room:
    """Width and height that a drawing may take [mm]."""

    wide: float
    high: float


def on_paper(picture: Picture, room: Room, scale: float | None, prefix: str) -> dict[str, Any]:
    """Return a drawing as data for the templates: its title, markup, width and scale in words.

    Parameters
    ----------
    picture : Picture
    room : Room
    scale : float or None
        Millimetres on paper for one of the thing; where it does not fit the next smaller scale of
        the series is taken, and told.  ``None``: as wide as there is room for.
    prefix : str
        Makes the ids of the drawing its own on a page with others.

    Returns
    -------
    dict
        ``left_out`` says why a picture cannot be shown; it is empty where it can.
    """
    title = clean(typeset(picture.title))
    try:
        svg, wide_px, high_px, px_per_mm = drawn(picture, prefix)
    except DrawingError as problem:
        return {"title": title, "left_out": f"This picture was left out: {clean(str(problem))}"}
    most = min(room.wide, room.high * wide_px / high_px)
    words, width = "", most
    if scale is not None and px_per_mm is None:
        left = f"This picture was left out: {picture.name} does not say its own scale"
        return {"title": title, "left_out": left}
    if scale is not None and px_per_mm is not None:
        thing_mm = wide_px / px_per_mm
        taken = _fitting(scale, most / thing_mm)
        width = thing_mm * taken
        words = f"Scale {_ratio(taken)} on this paper"
        if taken < scale:
            words += f"; {_ratio(scale)} does not fit"
        words += ". Print at 100 %, not fitted to the page."
    return {"title": title, "left_out": "", "svg": svg, "width": round(width, 6), "scale": words}


def drawn(picture: Picture, prefix: str) -> tuple[str, float, float, float | None]:
    """Return the markup of a picture, its width and height [px], and its pixels per mm.

    Raises
    ------
    DrawingError
        If it is no plain drawing, or has no size.
    """
    root = ET.fromstring(str(drawing_markup(picture, prefix)))
    try:
        _, _, wide, high = (float(word) for word in root.get("viewBox", "").split())
    except ValueError:
        raise DrawingError(f"picture {picture.name}: it has no size") from None
    if not (wide > 0.0 and high > 0.0):
        raise DrawingError(f"picture {picture.name}: its size is nought")
    per_mm = root.get("data-px-per-mm")
    root.set("width", f"{wide:g}")
    root.set("height", f"{high:g}")
    root.set("font-family", f"{FONT}, Helvetica, Arial, sans-serif")
    root.set("color", "#000000")
    ET.register_namespace("", SVG)
    return ET.tostring(root, encoding="unicode"), wide, high, float(per_mm) if per_mm else None


def _fitting(scale: float, most: float) -> float:
    """Return `scale` if it is at most `most`, else the greatest of the series that is."""
    if scale <= most * (1.0 + TINY_MM):
        return scale
    decade = math.floor(math.log10(1.0 / most)) - 1
    sizes = [step * 10.0**power for power in range(decade, decade + 4) for step in STEPS]
    return 1.0 / min(size for size in sizes if 1.0 / size <= most)


def _ratio(scale: float) -> str:
    return f"1:{1.0 / scale:g}" if scale <= 1.0 else f"{scale:g}:1"
