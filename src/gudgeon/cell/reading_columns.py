"""What the columns of a table of readings may be called, and which units they may carry.

The reference page on readings is made from `COLUMNS`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

__all__ = ["BY_HEADER", "BY_NAME", "COLUMNS", "UNITS", "Column", "split_header"]


@dataclass(frozen=True, slots=True)
class Column:
    """What one column of a readings table may hold.

    Attributes
    ----------
    name : str
        Its name here.
    headers : tuple of str
        How it may be called; capitals do not matter.
    measure : str
        ``"length"``, ``"angle"``, ``"tilt"`` (a small angle), ``"temperature"`` or empty; see
        `UNITS` for the units that may stand behind the name.
    doc : str
        What it is.
    """

    name: str
    headers: tuple[str, ...]
    measure: str
    doc: str


COLUMNS: Final = (
    Column("name", ("id", "row", "name", "no"), "", "your own mark of the row"),
    Column(
        "what",
        ("what", "feature"),
        "",
        "what was read: face (or platter face), bore or pin; bore centre or pin centre if x and "
        "y are a measured centre (also meant by a bore or pin with x, y and no side); ball with "
        "its name, such as ball 1; level",
    ),
    Column(
        "kind",
        ("kind",),
        "",
        "touch (one coordinate counts), sweep (one coordinate and the dial of an indicator), bore "
        "(x and y of a centre), ball (x, y, z of a ball fixed on the platter; sphere will do) or "
        "level; worked out from what and from what is filled in if left out",
    ),
    Column(
        "side",
        ("side",),
        "",
        "side of the feature on which the tip stood, such as Z+; the direction that the surface "
        "looks to; of a level the side that stands higher when it shows more",
    ),
    Column(
        "toward",
        ("toward", "towards", "approach", "axis"),
        "",
        "direction in which the tip or plunger moved into the surface, such as -Z; the opposite "
        "of side; of a level the same as side",
    ),
    Column("tilt", ("tilt",), "angle", "displayed tilt; the letter of the axis will do"),
    Column("rotary", ("rotary", "turn"), "angle", "displayed turn; the letter of the axis will do"),
    Column("x", ("x",), "length", "machine X of the tip centre, tool length taken off"),
    Column("y", ("y",), "length", "machine Y"),
    Column("z", ("z",), "length", "machine Z"),
    Column(
        "dial",
        ("dial", "indicator"),
        "length",
        "what the indicator showed, positive with its plunger pushed in; 0 if left out",
    ),
    Column(
        "zero",
        ("zero", "set", "sweep"),
        "",
        "name of the zero that several rows share: rows of one sweep, the indicator not set anew "
        "in between; sweep rows that follow each other share one if left out. A level without a "
        "name shows true level at 0",
    ),
    Column("angle", ("angle", "level"), "tilt", "what the level showed"),
    Column(
        "radius", ("r", "radius"), "length", "radius of the tip, if not [readings] ball_diameter"
    ),
    Column(
        "compensated",
        ("comp", "compensated"),
        "",
        "1 if the radius is already taken off, 0 if not; else [readings] compensated",
    ),
    Column(
        "u", ("u", "sigma"), "length", "standard uncertainty (k = 1), if not [readings] reading_u"
    ),
    Column(
        "u_angle",
        ("u angle", "u_angle", "angle_u", "level_u"),
        "tilt",
        "standard uncertainty (k = 1) of a level, if not [readings] level_u",
    ),
    Column(
        "step", ("step", "resolution"), "length", "step of the read-out, if not [readings] step"
    ),
    Column(
        "temperature", ("t", "temp", "temperature"), "temperature", "temperature at this reading"
    ),
    Column("date", ("date", "day"), "", "the day, year first: 2026-03-04; a time may follow"),
    Column("tool", ("tool", "read with"), "", "what it was read with, in your own words"),
    Column("remark", ("remark", "remarks", "note", "comment"), "", "anything; not used"),
)
"""The columns, in the order of the reference page."""

BY_HEADER: Final = {header: column for column in COLUMNS for header in column.headers}
BY_NAME: Final = {column.name: column for column in COLUMNS}

_DEG: Final = math.pi / 180.0
_SMALL: Final = {"mm/m": 1e-3, "arcsec": _DEG / 3600.0, "in/ft": 1.0 / 12.0}
UNITS: Final[dict[str, dict[str, float]]] = {
    "length": {"mm": 1.0, "in": 25.4, "inch": 25.4},
    "angle": {"deg": _DEG, "\u00b0": _DEG},
    "tilt": {"deg": _DEG, "\u00b0": _DEG, **_SMALL},
    "temperature": {"c": 1.0, "degc": 1.0, "\u00b0c": 1.0, "f": 1.0, "degf": 1.0, "\u00b0f": 1.0},
    "": {},
}
"""Units of each measure with their size in mm or rad; a temperature in F is turned elsewhere."""

_ANY_UNIT: Final = r"mm/m|in/ft|arcsec|mm|inch|in|deg|\u00b0"


def split_header(words: str) -> tuple[str, str]:
    """Split "X_mm", "x [mm]" or "x (mm)" into name and unit.

    Examples
    --------
    >>> split_header("Angle [mm/m]"), split_header("T_C"), split_header("C")
    (('angle', 'mm/m'), ('t', 'c'), ('c', ''))
    """
    plain = words.strip().lower()
    if plain in BY_HEADER:
        return plain, ""
    behind = r"[\s_]*(?:[\[(]\s*|_|\s)"
    found = re.fullmatch(rf"(.*?){behind}({_ANY_UNIT})\s*[\])]?", plain) or re.fullmatch(
        rf"(t|temp|temperature){behind}((?:deg|\u00b0)?[cf])\s*[\])]?", plain
    )
    return (found[1].strip(), found[2]) if found else (plain, "")
