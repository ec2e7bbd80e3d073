"""One row of a table of readings: from words to a `Touch`, or the fault that it has."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from gudgeon.cell import reading_faults as told
from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model import Cell, Touch
from gudgeon.cell.places import Source
from gudgeon.cell.reading_columns import Column
from gudgeon.cell.reading_numbers import MOST, as_day, as_number, decimal_degrees, plain

__all__ = ["RowFaultError", "Table", "Use", "is_blank", "read_row"]

DIRECTIONS: Final = ("X+", "X-", "Y+", "Y-", "Z+", "Z-")
KINDS: Final = ("touch", "sweep", "bore", "ball", "level")
COLDEST_C: Final = -30.0
WARMEST_C: Final = 60.0  # no shop measures at 68 deg Celsius; 68 deg Fahrenheit is 20

_FEATURES: Final = {"face": "face", "platter face": "face", "bore": "bore", "pin": "pin"}
_SIGNS: Final = {
    "angle": ("deg", "\u00b0"),
    "tilt": ("mm/m", "in/ft", "arcsec", "deg", "\u00b0"),
    "temperature": ("\u00b0c", "degc", "\u00b0f", "degf"),
}
_READ: Final = ("x", "y", "z", "dial", "angle")
"""Columns that are blank in a row that nobody has read yet."""


@dataclass(frozen=True, slots=True)
class Use:
    """One column of the file at hand."""

    place: int
    column: Column
    factor: float
    header: str
    unit: str = ""


@dataclass(slots=True)
class Table:
    """The table at hand: its lines for messages, its columns, and what was told so far."""

    file: str
    cell: Cell
    source: Source
    lines: list[str]
    faults: list[Fault]
    uses: dict[str, Use]
    width: int = 0  # names in the first row
    comma: bool = False  # numbers have decimal commas

    def at(self, line: int, use: Use | None = None) -> Place:
        """Return the place of a line."""
        text = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        return Place(self.file, line, text, note="" if use is None else f"column {use.header}")


class RowFaultError(Exception):
    """The row at hand cannot be used; carries the fault."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.what)
        self.fault = fault


def _words(table: Table, cells: list[str]) -> dict[str, str]:
    return {
        name: (cells[use.place] if use.place < len(cells) else "")
        for name, use in table.uses.items()
    }


def is_blank(table: Table, cells: list[str]) -> bool:
    """Whether a row names a reading that nobody has taken yet."""
    words = _words(table, cells)
    return bool(words.get("what") or words.get("kind")) and not any(
        words.get(name) for name in _READ
    )


def read_row(table: Table, line: int, cells: list[str], lacking: dict[str, int]) -> Touch:
    """Read one row.

    Parameters
    ----------
    table : Table
    line : int
        Number of the row's first line.
    cells : list of str
    lacking : dict
        Entry that neither row nor cell file gives -> first line that needs it; added to.

    Raises
    ------
    RowFaultError
    """
    words = _words(table, cells)
    if any(cells[table.width :]):
        raise RowFaultError(told.cells_too_many(table.at(line)))
    kind, feature = _feature(table, line, words)
    toward = "" if kind in ("bore", "ball") else _toward(table, line, words, kind)
    tilt = _angle(table, line, words, "tilt")
    rotary = _angle(table, line, words, "rotary")
    x, y, z = (_number(table, line, words, axis) for axis in "xyz")
    dial, angle = (_number(table, line, words, name) for name in ("dial", "angle"))
    _read_at_all(table, line, kind, toward, (x, y, z), angle)
    radius, compensated, u = _how_well(table, line, words, kind, lacking)
    step = _positive(table, line, words, "step", zero=True)
    if step is None and table.cell.readings.step is not None:
        step = table.cell.readings.step.value
    zero = _name(words.get("zero", ""))
    return Touch(
        row=line,
        name=_name(words.get("name", "")),
        kind=kind,
        feature=feature,
        toward=toward,
        tilt_rad=tilt,
        rotary_rad=rotary,
        position_mm=(x, y, z),
        radius_mm=radius,
        compensated=compensated,
        u_mm=u,
        zero=zero,
        dial_mm=dial or 0.0,
        angle_rad=angle if kind == "level" and angle is not None else math.nan,
        step_mm=0.0 if kind == "level" else step or 0.0,
        temperature_c=_temperature(table, line, words),
        day=_day(table, line, words),
        tool=_name(words.get("tool", "")),
    )


def _read_at_all(
    table: Table,
    line: int,
    kind: str,
    toward: str,
    position: tuple[float | None, ...],
    angle: float | None,
) -> None:
    """Refuse a row whose own value is blank."""
    if kind == "level":
        if angle is None:
            at = table.at(line, table.uses.get("angle"))
            raise RowFaultError(told.no_coordinate("angle of the level", at))
        return
    if kind == "ball":
        if all(value is None for value in position):
            raise RowFaultError(told.no_coordinate("X, Y and Z", table.at(line)))
        return
    for axis in "xy" if kind == "bore" else toward[0].lower():
        if position["xyz".index(axis)] is None:
            at = table.at(line, table.uses.get(axis))
            raise RowFaultError(told.no_coordinate(axis.upper(), at))


def _how_well(
    table: Table, line: int, words: Mapping[str, str], kind: str, lacking: dict[str, int]
) -> tuple[float, bool, float]:
    """Return radius, whether it is taken off, and the standard uncertainty."""
    given = table.cell.readings
    compensated = _compensated(table, line, words)
    radius = _positive(table, line, words, "radius", zero=True)
    u = _positive(table, line, words, "u", zero=False)
    if kind == "level":
        u = _positive(table, line, words, "u_angle", zero=False)
        u = given.level_u.value if u is None and given.level_u is not None else u
    elif u is None and given.reading_u is not None:
        u = given.reading_u.value
    if kind == "touch":
        compensated = given.compensated if compensated is None else compensated
        if radius is None and given.ball_diameter is not None:
            radius = given.ball_diameter.value / 2.0
        if compensated is None:
            lacking.setdefault("compensated", line)
        if radius is None and compensated is not True:
            lacking.setdefault("ball_diameter", line)
    elif kind == "sweep":
        # The radius of the indicator's tip goes into the zero that is not known anyway.
        compensated = radius is None if compensated is None else compensated
    else:
        compensated = True  # a centre: the radius has cancelled out
    if u is None:
        lacking.setdefault("level_u" if kind == "level" else "reading_u", line)
    return radius or 0.0, bool(compensated), u or 0.0


def _name(words: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in words)
    return shown[:40]


def _feature(table: Table, line: int, words: Mapping[str, str]) -> tuple[str, str]:
    what = re.sub(r"[\s_]+", " ", words.get("what", "")).lower()
    kind = words.get("kind", "").lower()
    kind = "ball" if kind == "sphere" else kind
    if kind not in ("", *KINDS):
        at = table.at(line, table.uses["kind"])
        raise RowFaultError(told.unknown_feature(words["kind"], KINDS, at))
    if kind == "level" or (not kind and what == "level"):
        return "level", "level"
    round_one = re.fullmatch(r"(?:ball|sphere)\b\s*(.*)", what)
    if kind == "ball" or (not kind and round_one):
        name = round_one[1] if round_one else what
        return "ball", f"ball {_name(name)[:20] or '1'}"
    centre = what.endswith((" centre", " center"))
    what = what.rsplit(" ", 1)[0] if centre else what
    if what not in _FEATURES:
        at = table.at(line, table.uses["what"])
        known = (*_FEATURES, "ball 1", "level")
        raise RowFaultError(told.unknown_feature(words["what"], known, at))
    feature = _FEATURES[what]
    blank = not words.get("side") and not words.get("toward")
    if feature != "face" and not kind and blank and words.get("x") and words.get("y"):
        centre = True  # no side, and both x and y: only a centre can be meant
    if feature == "face" and (centre or kind == "bore"):
        raise RowFaultError(told.face_centre(table.at(line)))
    if centre or kind == "bore":
        return "bore", feature
    return ("sweep" if kind == "sweep" or (not kind and words.get("dial")) else "touch"), feature


def _toward(table: Table, line: int, words: Mapping[str, str], kind: str) -> str:
    found: dict[str, str] = {}
    for name in ("toward", "side"):
        text = words.get(name, "").upper().replace("\u2212", "-").replace(" ", "")
        if not text:
            continue
        if text[0] in "+-":
            text = text[1:] + text[0]
        if text not in DIRECTIONS[: 4 if kind == "level" else 6]:
            at = table.at(line, table.uses[name])
            raise RowFaultError(told.unknown_direction(words[name], at))
        opposite = text[0] + ("-" if text[1] == "+" else "+")
        found[name] = text if name == "toward" or kind == "level" else opposite
    if not found:
        raise RowFaultError(told.no_side(table.at(line)))
    if len(set(found.values())) > 1:
        raise RowFaultError(told.side_contradicts(words["side"], words["toward"], table.at(line)))
    return next(iter(found.values()))


def _number(table: Table, line: int, words: Mapping[str, str], name: str) -> float | None:
    """Return a value in base units; ``None`` where the row is blank."""
    if not words.get(name, ""):
        return None
    use = table.uses[name]
    at = table.at(line, use)
    # The sign behind the value may only say what the head of the column says.
    same = [sign for sign in _SIGNS.get(use.column.measure, ()) if _alike(sign, use)]
    text = plain(words[name], comma=table.comma, units=tuple(same))
    if use.column.measure in ("angle", "tilt"):
        degrees = decimal_degrees(text)
        if degrees is not None:
            raise RowFaultError(told.minutes_and_seconds(words[name], degrees, at))
    if "," in text:
        raise RowFaultError(told.comma(text, at))
    number = as_number(text)
    if number is None or abs(number * use.factor) > MOST:
        raise RowFaultError(told.not_a_number(text, use.header, at))
    return number * use.factor


def _alike(sign: str, use: Use) -> bool:
    """Whether a sign behind a value is the unit of its column."""
    if use.column.measure == "temperature":
        return sign[-1] == (use.unit or "c")[-1]
    unit = use.unit or "deg"
    return sign == unit or {sign, unit} == {"deg", "\u00b0"}


def _positive(
    table: Table, line: int, words: Mapping[str, str], name: str, *, zero: bool
) -> float | None:
    """Return a value that cannot be negative, and zero only if so said."""
    value = _number(table, line, words, name)
    if value is not None and (value < 0.0 or (value == 0.0 and not zero)):
        raise RowFaultError(told.not_positive(words[name], table.at(line, table.uses[name])))
    return value


def _angle(table: Table, line: int, words: Mapping[str, str], name: str) -> float:
    if name not in table.uses:
        return 0.0
    value = _number(table, line, words, name)
    if value is None:
        use = table.uses[name]
        raise RowFaultError(told.no_angle(use.header, table.at(line, use)))
    return value


def _temperature(table: Table, line: int, words: Mapping[str, str]) -> float:
    value = _number(table, line, words, "temperature")
    if value is None:
        return math.nan
    use = table.uses["temperature"]
    if use.unit.endswith("f"):
        value = (value - 32.0) / 1.8
    if not COLDEST_C <= value <= WARMEST_C:
        at = table.at(line, use)
        raise RowFaultError(told.no_temperature(words["temperature"], at))
    return value


def _day(table: Table, line: int, words: Mapping[str, str]) -> str:
    text = words.get("date", "")
    if not text:
        return ""
    day = as_day(text)
    if day is None:
        raise RowFaultError(told.no_date(text, table.at(line, table.uses["date"])))
    return day


def _compensated(table: Table, line: int, words: Mapping[str, str]) -> bool | None:
    text = words.get("compensated", "").lower()
    if not text:
        return None
    known = {"1": True, "0": False, "true": True, "false": False, "yes": True, "no": False}
    if text not in known:
        at = table.at(line, table.uses["compensated"])
        raise RowFaultError(told.unknown_feature(words["compensated"], ("1", "0"), at))
    return known[text]
