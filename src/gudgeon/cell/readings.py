"""From a table of readings (CSV) to `Touch` rows, as tolerant of spreadsheets as is safe.

`COLUMNS` declares what a column may be called; the reference page is made from it.  Everything that
is not certain is told: a header without a unit, an unknown column, a row that stands twice.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from gudgeon.cell import reading_faults as told
from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model import Cell, Touch
from gudgeon.cell.places import Source

__all__ = ["COLUMNS", "ROWS_MOST", "Column", "read_readings"]

ROWS_MOST: Final = 5000
"""Rows read; a day of touching gives a hundred."""

TRAVEL_PLAY_MM: Final = 1.0
"""Room beyond the travel that is entered before a reading is told; travels are rounded."""

DIRECTIONS: Final = ("X+", "X-", "Y+", "Y-", "Z+", "Z-")


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
        ``"length"``, ``"angle"`` or empty.  A length may end in ``_mm`` or ``_in``, an angle in
        ``_deg``.
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
        "what was touched: face (or platter face), bore or pin; bore centre or pin centre if x and "
        "y are a measured centre (also meant by a bore or pin with x, y and no side)",
    ),
    Column("kind", ("kind",), "", "touch (one coordinate counts) or bore (x and y of a centre)"),
    Column(
        "side",
        ("side",),
        "",
        "side of the feature on which the tip stood, such as Z+; the direction that the surface "
        "looks to",
    ),
    Column(
        "toward",
        ("toward", "towards", "approach", "axis"),
        "",
        "direction in which the tip moved into the surface, such as -Z; the opposite of side",
    ),
    Column("tilt", ("tilt",), "angle", "displayed tilt; the letter of the axis will do"),
    Column("rotary", ("rotary", "turn"), "angle", "displayed turn; the letter of the axis will do"),
    Column("x", ("x",), "length", "machine X of the tip centre, tool length taken off"),
    Column("y", ("y",), "length", "machine Y"),
    Column("z", ("z",), "length", "machine Z"),
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
    Column("temperature", ("t", "temperature"), "", "temperature; kept for later, not used yet"),
    Column("remark", ("remark", "remarks", "note", "comment"), "", "anything; not used"),
)
"""The columns, in the order of the reference page."""

_BY_HEADER: Final = {header: column for column in COLUMNS for header in column.headers}
_BY_NAME: Final = {column.name: column for column in COLUMNS}
_UNITS: Final = {"mm": 1.0, "in": 25.4, "inch": 25.4, "deg": math.pi / 180.0}
_FEATURES: Final = {"face": "face", "platter face": "face", "bore": "bore", "pin": "pin"}
_NUMBER: Final = re.compile(r"[+-]?(\d{1,9}(\.\d{0,12})?|\.\d{1,12})([eE][+-]?\d{1,2})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class _Use:
    """One column of the file at hand."""

    place: int
    column: Column
    factor: float
    header: str


@dataclass(slots=True)
class _Table:
    file: str
    cell: Cell
    source: Source
    lines: list[str]
    faults: list[Fault]
    uses: dict[str, _Use]
    width: int = 0  # names in the first row

    def at(self, line: int, use: _Use | None = None) -> Place:
        text = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        return Place(self.file, line, text, note="" if use is None else f"column {use.header}")


class _RowFaultError(Exception):
    """The row at hand cannot be used; carries the fault."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.what)
        self.fault = fault


def read_readings(
    text: str, file: str, cell: Cell, source: Source
) -> tuple[tuple[Touch, ...], tuple[Fault, ...]]:
    """Read a table of readings.

    Parameters
    ----------
    text : str
        The file.
    file : str
        Its name in messages.
    cell : Cell
        The cell without touches: its units, letters and [readings] fill what rows leave out.
    source : Source
        Places of the cell file, for faults that are mended there.

    Returns
    -------
    touches : tuple of Touch
        Rows without faults, in mm and rad, duplicates counted once.
    faults : tuple of Fault
    """
    text = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    table = _Table(file, cell, source, text.split("\n"), [], {})
    rows = _rows(text)
    if not rows:
        return (), (told.no_rows(Place(file)),)
    (header_line, header), *body = rows
    if not _read_header(table, header_line, header):
        return (), tuple(table.faults)
    if not body:
        return (), (*table.faults, told.no_rows(Place(file)))
    if len(body) > ROWS_MOST:
        table.faults.append(told.too_many_rows(table.at(body[ROWS_MOST][0]), ROWS_MOST))
        body = body[:ROWS_MOST]
    touches: list[Touch] = []
    slips: list[Fault] = []
    seen: dict[tuple[object, ...], Touch] = {}
    lacking: dict[str, int] = {}
    for line, cells in body:
        try:
            touch = _touch(table, line, cells, lacking)
        except _RowFaultError as problem:
            slips.append(problem.fault)
            continue
        key = _same(touch)
        if key in seen:
            first = table.at(seen[key].row)
            table.faults.append(told.row_twice((first, table.at(line))))
        else:
            seen[key] = touch
            touches.append(touch)
            slips += _outside_travel(table, touch)
    table.faults += told.together(slips)
    for entry, line in lacking.items():
        table.faults.append(told.entry_missing(entry, table.at(line), source.key(("readings",))))
    return tuple(touches), tuple(table.faults)


def _outside_travel(table: _Table, touch: Touch) -> list[Fault]:
    """Tell a touch where the machine cannot have stood; Z is that of the tip, and is not judged."""
    machine = table.cell.machine
    travels = machine.travel_x, machine.travel_y
    inch = table.cell.shop.units == "in"

    def shown(value: float) -> str:
        return f"{value / 25.4:g} in" if inch else f"{value:g} mm"

    found = []
    for axis, travel, value in zip("xy", travels, touch.position_mm[:2], strict=True):
        if travel is None or value is None:
            continue
        low, high = (end.value for end in travel)
        if low - TRAVEL_PLAY_MM <= value <= high + TRAVEL_PLAY_MM:
            continue
        at = table.at(touch.row, table.uses.get(axis))
        section = table.source.value(("machine", f"travel_{axis}"))
        words = axis.upper(), shown(value), shown(low), shown(high)
        found.append(told.outside_travel(*words, at, section))
    return found


def _rows(text: str) -> list[tuple[int, list[str]]]:
    """Return line number and trimmed cells of every row that is not empty and no remark."""
    head = next((line for line in text.split("\n") if line.strip(" ;,\t")), "")
    separator = max((",", ";", "\t"), key=head.count)
    if head.lower().startswith("sep=") and len(head.strip()) == 5:
        separator = head.strip()[4]  # a spreadsheet's own note
        text = text.replace(head, "", 1)
    reader = csv.reader(io.StringIO(text), delimiter=separator, skipinitialspace=True)
    rows: list[tuple[int, list[str]]] = []
    before = 0
    try:
        for cells in reader:
            line, before = before + 1, reader.line_num
            cells = [cell.strip() for cell in cells]
            if any(cells) and not cells[0].startswith("#"):
                rows.append((line, cells))
    except csv.Error:
        pass  # an overlong field: what came before is used, the rest told as a short row
    return rows


def _read_header(table: _Table, line: int, header: list[str]) -> bool:
    """Fill ``table.uses``; false if no row can be read."""
    letters = _letters(table.cell)
    table.width = len(header)
    named: set[str] = set()
    bare: list[str] = []
    errors = len(table.faults)
    for place, words in enumerate(header):
        if not words:
            continue
        name, unit = _split_header(words)
        column = _BY_HEADER.get(name)
        if name.upper() in letters:
            column = _BY_NAME[letters[name.upper()]]
        if column is None:
            known = [header for column in COLUMNS for header in column.headers]
            table.faults.append(told.unknown_column(words, known, table.at(line), _endings(table)))
            continue
        if column.name in named:
            table.faults.append(told.column_twice(words, table.at(line)))
            continue
        named.add(column.name)
        wanted = {"length": ("mm", "in", "inch"), "angle": ("deg",), "": ()}[column.measure]
        if unit and unit not in wanted:
            table.faults.append(told.wrong_unit(words, wanted, table.at(line)))
            continue
        factor = 1.0
        if unit:
            factor = _UNITS[unit]
        elif column.measure == "angle":
            factor = _UNITS["deg"]
            bare.append(words)
        elif column.measure == "length":
            factor = _UNITS[table.cell.shop.units or "mm"]
            bare.append(words)
        table.uses[column.name] = _Use(place, column, factor, words)
    if bare:
        lengths = [words for words in bare if _split_header(words)[0] in ("x", "y", "z", "r", "u")]
        units = table.cell.shop.units
        if lengths and units is None:
            table.faults.append(told.no_unit_anywhere(lengths, table.at(line)))
        else:
            table.faults.append(told.unit_taken(bare, units or "mm", table.at(line)))
    for need in ("tilt", "rotary"):
        if need not in named and not (need == "tilt" and table.cell.unit.kind == "rotary only"):
            shown = next((letter for letter, role in letters.items() if role == need), need)
            table.faults.append(told.no_column(f"{shown}_deg", f"{need} angle", table.at(line)))
    if not {"x", "y", "z"} & named:
        table.faults.append(told.no_column("x_mm, y_mm and z_mm", "position", table.at(line)))
    if "what" not in named:
        table.faults.append(told.no_column("what", "feature that was touched", table.at(line)))
    return not any(fault.level == "error" for fault in table.faults[errors:])


def _endings(table: _Table) -> list[tuple[str, str]]:
    """Return each header that carries a unit with the ending to write."""
    endings = {"length": f"_{table.cell.shop.units or 'mm'}", "angle": "_deg", "": ""}
    return [(name, endings[column.measure]) for column in COLUMNS for name in column.headers]


def _split_header(words: str) -> tuple[str, str]:
    """Split "X_mm", "x [mm]" or "x (mm)" into name and unit."""
    found = re.fullmatch(
        r"(.*?)[\s_]*(?:[\[(]\s*|_|\s)(mm|in|inch|deg)\s*[\])]?", words.strip().lower()
    )
    return (found[1].strip(), found[2]) if found else (words.strip().lower(), "")


def _letters(cell: Cell) -> dict[str, str]:
    """Return which column each letter of the control heads."""
    tilt, rotary = cell.control.tilt_letter, cell.control.rotary_letter
    if cell.unit.kind == "rotary only":
        return {rotary: "rotary"} if rotary else {"A": "rotary", "B": "rotary"}
    letters = {"A": "tilt", "B": "tilt", "C": "rotary"}
    if tilt or rotary:
        letters = {letter: role for letter, role in letters.items() if role not in _known(cell)}
    return {**letters, **({tilt: "tilt"} if tilt else {}), **({rotary: "rotary"} if rotary else {})}


def _known(cell: Cell) -> set[str]:
    return {
        role
        for role, letter in (
            ("tilt", cell.control.tilt_letter),
            ("rotary", cell.control.rotary_letter),
        )
        if letter
    }


# --- one row ------------------------------------------------------------------------------------


def _touch(table: _Table, line: int, cells: list[str], lacking: dict[str, int]) -> Touch:
    words = {
        name: (cells[use.place] if use.place < len(cells) else "")
        for name, use in table.uses.items()
    }
    if any(cells[table.width :]):
        raise _RowFaultError(told.cells_too_many(table.at(line)))
    kind, feature = _feature(table, line, words)
    toward = "" if kind == "bore" else _toward(table, line, words)
    tilt = _angle(table, line, words, "tilt")
    rotary = _angle(table, line, words, "rotary")
    x, y, z = (_number(table, line, words, axis) for axis in "xyz")
    position = (x, y, z)
    for axis in "xy" if kind == "bore" else toward[0].lower():
        if position["xyz".index(axis)] is None:
            raise _RowFaultError(
                told.no_coordinate(axis.upper(), table.at(line, table.uses.get(axis)))
            )
    compensated = _compensated(table, line, words)
    radius = _number(table, line, words, "radius")
    u = _number(table, line, words, "u")
    for name, use_value, rule in (("radius", radius, 0.0), ("u", u, None)):
        if use_value is not None and (use_value < 0.0 or (rule is None and use_value == 0.0)):
            at = table.at(line, table.uses[name])
            raise _RowFaultError(told.not_positive(words[name], at))
    given = table.cell.readings
    if compensated is None:
        compensated = given.compensated
    if radius is None and given.ball_diameter is not None:
        radius = given.ball_diameter.value / 2.0
    if u is None and given.reading_u is not None:
        u = given.reading_u.value
    if kind == "bore":
        # A measured centre: the radius has cancelled out.
        compensated, radius = True, radius or 0.0
    if compensated is None:
        lacking.setdefault("compensated", line)
    if radius is None and compensated is not True:
        lacking.setdefault("ball_diameter", line)
    if u is None:
        lacking.setdefault("reading_u", line)
    return Touch(
        row=line,
        name=_name(words.get("name", "")),
        kind=kind,
        feature=feature,
        toward=toward,
        tilt_rad=tilt,
        rotary_rad=rotary,
        position_mm=position,
        radius_mm=radius or 0.0,
        compensated=bool(compensated),
        u_mm=u or 0.0,
    )


def _name(words: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in words)
    return shown[:40]


def _feature(table: _Table, line: int, words: Mapping[str, str]) -> tuple[str, str]:
    what = re.sub(r"[\s_]+", " ", words.get("what", "")).lower()
    kind = words.get("kind", "").lower()
    if kind == "sphere" or what in ("sphere", "ball"):
        raise _RowFaultError(told.sphere(table.at(line)))
    centre = what.endswith((" centre", " center"))
    what = what.rsplit(" ", 1)[0] if centre else what
    if what not in _FEATURES:
        at = table.at(line, table.uses["what"])
        raise _RowFaultError(told.unknown_feature(words["what"], tuple(_FEATURES), at))
    if kind not in ("", "touch", "bore"):
        at = table.at(line, table.uses["kind"])
        raise _RowFaultError(told.unknown_feature(words["kind"], ("touch", "bore"), at))
    feature = _FEATURES[what]
    blank = not words.get("side") and not words.get("toward")
    if feature != "face" and not kind and blank and words.get("x") and words.get("y"):
        centre = True  # no side, and both x and y: only a centre can be meant
    if feature == "face" and (centre or kind == "bore"):
        raise _RowFaultError(told.face_centre(table.at(line)))
    return ("bore" if centre or kind == "bore" else "touch"), feature


def _toward(table: _Table, line: int, words: Mapping[str, str]) -> str:
    found: dict[str, str] = {}
    for name in ("toward", "side"):
        text = words.get(name, "").upper().replace("\u2212", "-").replace(" ", "")
        if not text:
            continue
        if text[0] in "+-":
            text = text[1:] + text[0]
        if text not in DIRECTIONS:
            at = table.at(line, table.uses[name])
            raise _RowFaultError(told.unknown_direction(words[name], at))
        opposite = text[0] + ("-" if text[1] == "+" else "+")
        found[name] = text if name == "toward" else opposite
    if not found:
        raise _RowFaultError(told.no_side(table.at(line)))
    if len(set(found.values())) > 1:
        raise _RowFaultError(told.side_contradicts(words["side"], words["toward"], table.at(line)))
    return next(iter(found.values()))


def _number(table: _Table, line: int, words: Mapping[str, str], name: str) -> float | None:
    """Return a value in base units; ``None`` where the row is blank."""
    text = words.get(name, "").replace("\u2212", "-")
    if not text:
        return None
    use = table.uses[name]
    at = table.at(line, use)
    if "," in text:
        raise _RowFaultError(told.comma(text, at))
    if not _NUMBER.fullmatch(text):
        raise _RowFaultError(told.not_a_number(text, use.header, at))
    value = float(text) * use.factor
    if abs(value) > 1e6:
        raise _RowFaultError(told.not_a_number(text, use.header, at))
    return value


def _angle(table: _Table, line: int, words: Mapping[str, str], name: str) -> float:
    if name not in table.uses:
        return 0.0
    value = _number(table, line, words, name)
    if value is None:
        use = table.uses[name]
        raise _RowFaultError(told.no_angle(use.header, table.at(line, use)))
    return value


def _compensated(table: _Table, line: int, words: Mapping[str, str]) -> bool | None:
    text = words.get("compensated", "").lower()
    if not text:
        return None
    known = {"1": True, "0": False, "true": True, "false": False, "yes": True, "no": False}
    if text not in known:
        at = table.at(line, table.uses["compensated"])
        raise _RowFaultError(told.unknown_feature(words["compensated"], ("1", "0"), at))
    return known[text]


def _same(touch: Touch) -> tuple[object, ...]:
    """Return all that makes a reading; two rows alike in this are one reading typed twice."""
    pose = (round(touch.tilt_rad, 9), round(touch.rotary_rad, 9))
    return (touch.kind, touch.feature, touch.toward, *pose, touch.position_mm, touch.compensated)
