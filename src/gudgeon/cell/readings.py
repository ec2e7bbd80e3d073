"""From a table of readings (CSV) to `Touch` rows, as tolerant of spreadsheets as is safe.

Everything that is not certain is told: a header without a unit, an unknown column, a row that
stands twice.  Commas are decimal commas where something else parts the columns and no number has a
point.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Final

from gudgeon.cell import reading_faults as told
from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model import Cell, Touch
from gudgeon.cell.odd_days import day_apart, odd_days
from gudgeon.cell.places import Source
from gudgeon.cell.reading_columns import BY_HEADER, BY_NAME, COLUMNS, UNITS, split_header
from gudgeon.cell.reading_rows import RowFaultError, Table, Use, is_blank, read_row
from gudgeon.cell.table_rows import rows_of

__all__ = ["ROWS_MOST", "read_readings"]

ROWS_MOST: Final = 5000
"""Rows read; a day of touching gives a hundred."""

TRAVEL_PLAY_MM: Final = 1.0
"""Room beyond the travel that is entered before a reading is told; travels are rounded."""


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
    table = Table(file, cell, source, text.split("\n"), [], {})
    rows, separator = rows_of(text)
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
    table.comma = separator != "," and _decimal_commas(table, body)
    blank = [line for line, cells in body if is_blank(table, cells)]
    if blank:
        table.faults.append(told.not_read_yet(blank, len(body), table.at(blank[0])))
        body = [row for row in body if row[0] not in set(blank)]
    touches: list[Touch] = []
    slips: list[Fault] = []
    seen: dict[tuple[object, ...], Touch] = {}
    lacking: dict[str, int] = {}
    for line, cells in body:
        try:
            touch = read_row(table, line, cells, lacking)
        except RowFaultError as problem:
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
    table.faults += _days_apart(table, touches)
    for entry, line in lacking.items():
        table.faults.append(told.entry_missing(entry, table.at(line), source.key(("readings",))))
    return _belonging(touches), tuple(table.faults)


def _days_apart(table: Table, touches: list[Touch]) -> list[Fault]:
    """Return the days that lie far from the others, each with its rows."""
    dated = [touch for touch in touches if touch.day]
    days = [date.fromisoformat(touch.day).toordinal() for touch in dated]
    odd = odd_days(days)
    others = [day for i, day in enumerate(days) if i not in odd]
    found: dict[int, list[Place]] = {}
    for i in odd:
        at = table.at(dated[i].row, table.uses["date"])
        found.setdefault(days[i], []).append(at)
    return [day_apart(day, others, tuple(places)) for day, places in found.items()]


def _belonging(touches: list[Touch]) -> tuple[Touch, ...]:
    """Give rows in one pose that follow each other one seat, and rows of one sweep one zero."""
    found: list[Touch] = []
    for touch in touches:
        before = found[-1] if found else None
        still = before is not None and _pose(before) == _pose(touch)
        seat = 0 if before is None else before.seat + (0 if still else 1)
        zero = touch.zero
        if touch.kind == "sweep" and not zero:
            goes_on = before is not None and (before.kind, before.feature) == (
                "sweep",
                touch.feature,
            )
            zero = before.zero if before is not None and goes_on else f"sweep {touch.row}"
        elif touch.kind == "level" and zero:
            zero = f"level {zero}"  # never one with the zero of a dial
        found.append(replace(touch, seat=seat, zero=zero))
    return tuple(found)


def _pose(touch: Touch) -> tuple[object, ...]:
    return round(touch.tilt_rad, 9), round(touch.rotary_rad, 9), touch.day


def _decimal_commas(table: Table, body: list[tuple[int, list[str]]]) -> bool:
    """Whether commas are decimal commas: not where numbers of the same table have points."""
    places = [use.place for use in table.uses.values() if use.column.measure]
    values = [cells[place] for _, cells in body for place in places if place < len(cells)]
    return not any("." in value for value in values)


def _outside_travel(table: Table, touch: Touch) -> list[Fault]:
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


def _read_header(table: Table, line: int, header: list[str]) -> bool:
    """Fill ``table.uses``; false if no row can be read."""
    letters = _letters(table.cell)
    table.width = len(header)
    named: set[str] = set()
    bare: list[str] = []
    lengths: list[str] = []
    errors = len(table.faults)
    for place, words in enumerate(header):
        if not words:
            continue
        name, unit = split_header(words)
        column = BY_HEADER.get(name)
        if name.upper() in letters:
            column = BY_NAME[letters[name.upper()]]
        if column is None:
            known = [header for column in COLUMNS for header in column.headers]
            table.faults.append(told.unknown_column(words, known, table.at(line), _endings(table)))
            continue
        if column.name in named:
            table.faults.append(told.column_twice(words, table.at(line)))
            continue
        named.add(column.name)
        sizes = UNITS[column.measure]
        if unit and unit not in sizes:
            wanted = [size for size in sizes if size.isascii()]
            table.faults.append(told.wrong_unit(words, wanted, table.at(line)))
            continue
        factor = 1.0
        if unit:
            factor = sizes[unit]
        elif column.measure == "length":
            factor = sizes[table.cell.shop.units or "mm"]
            lengths.append(words)
        elif column.measure in ("angle", "tilt"):
            factor = sizes["deg"]
        if not unit and column.measure not in ("", "temperature"):
            bare.append(words)
        table.uses[column.name] = Use(place, column, factor, words, unit)
    if bare:
        units = table.cell.shop.units
        if lengths and units is None:
            table.faults.append(told.no_unit_anywhere(lengths, table.at(line)))
        else:
            table.faults.append(told.unit_taken(bare, units or "mm", table.at(line)))
    for need in ("tilt", "rotary"):
        if need not in named and not (need == "tilt" and table.cell.unit.kind == "rotary only"):
            shown = next((letter for letter, role in letters.items() if role == need), need)
            table.faults.append(told.no_column(f"{shown}_deg", f"{need} angle", table.at(line)))
    if not {"x", "y", "z", "angle"} & named:
        table.faults.append(told.no_column("x_mm, y_mm and z_mm", "position", table.at(line)))
    if not {"what", "kind"} & named:
        table.faults.append(told.no_column("what", "feature that was touched", table.at(line)))
    return not any(fault.level == "error" for fault in table.faults[errors:])


def _endings(table: Table) -> list[tuple[str, str]]:
    """Return each header that carries a unit with the ending to write."""
    endings = {
        "length": f"_{table.cell.shop.units or 'mm'}",
        "angle": "_deg",
        "tilt": "_mm/m",
        "temperature": "_C",
        "": "",
    }
    return [(name, endings[column.measure]) for column in COLUMNS for name in column.headers]


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


def _same(touch: Touch) -> tuple[object, ...]:
    """Return all that makes a reading; two rows alike in this are one reading typed twice."""
    return (
        touch.kind,
        touch.feature,
        touch.toward,
        *_pose(touch),
        touch.position_mm,
        touch.compensated,
        touch.dial_mm,
        None if touch.kind != "level" else touch.angle_rad,
        touch.zero,
    )
