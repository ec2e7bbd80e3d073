"""From tables of days (CSV) to rows: the morning checks, and what was made on which day."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping, Sequence
from typing import Final

from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model_drift import DayRow, MadeRow
from gudgeon.cell.odd_days import day_apart, odd_days
from gudgeon.cell.table_rows import rows_of

__all__ = ["DAY_COLUMNS", "MADE_COLUMNS", "day_of", "day_row", "read_days", "read_made"]

ROWS_MOST: Final = 5000
"""Rows read of each table; a check every morning gives 250 a year."""

DAY_COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "day": ("date", "day"),
    "time": ("time",),
    "check": ("check", "name", "feature", "id"),
    "x": ("x",),
    "y": ("y",),
    "z": ("z",),
    "temperature": ("t", "temperature", "temp"),
    "u": ("u", "sigma"),
    "who": ("who", "by"),
    "remark": ("remark", "note", "comment"),
}
"""Columns of the table of checks and how they may be called."""

MADE_COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "day": ("date", "day"),
    "first": ("first", "serial", "from", "number"),
    "last": ("last", "to"),
}
"""Columns of the table of what was made."""

_UNITS: Final = {"mm": 1.0, "in": 25.4, "inch": 25.4}
_NUMBER: Final = re.compile(r"[+-]?(\d{1,9}(\.\d{0,12})?|\.\d{1,12})([eE][+-]?\d{1,2})?", re.ASCII)


def read_days(text: str, file: str, units: str | None) -> tuple[tuple[DayRow, ...], list[Fault]]:
    """Return the checks of a table in the order of their days, and the faults.

    Parameters
    ----------
    text : str
        The table.
    file : str
        Its name in messages.
    units : str or None
        Unit of lengths whose header names none: "mm" or "in".
    """
    lines, rows, uses, faults = _table(text, file, units, DAY_COLUMNS, ("day",), "checks")
    if uses is not None and not {"x", "y", "z"} & set(uses):
        faults.append(_no_column("x_mm, y_mm and z_mm", Place(file, rows[0][0], lines[0])))
        uses = None
    found: list[DayRow] = []
    seen: dict[tuple[object, ...], int] = {}
    for line, cells in rows[1:] if uses else ():
        assert uses is not None
        words = {
            name: cells[place] if place < len(cells) else "" for name, (place, _) in uses.items()
        }
        scale = {name: factor for name, (_, factor) in uses.items()}
        row = day_row(words, scale, line)
        at = Place(file, line, lines[line - 1])
        if isinstance(row, str):
            faults.append(_bad_row(row, at))
            continue
        key = (row.day, row.time, row.check, row.place_mm)
        if key in seen:
            faults.append(_twice(Place(file, seen[key], lines[seen[key] - 1]), at))
            continue
        seen[key] = line
        found.append(row)
    if len({row.dated for row in found}) > 1:
        odd = next(row for row in found if not row.dated)
        faults.append(
            _bad_row("a day number among dates", Place(file, odd.row, lines[odd.row - 1]))
        )
    faults += _apart([(row.day, row.row) for row in found if row.dated], file, lines)
    return tuple(sorted(found, key=lambda row: (row.day, row.time, row.row))), faults


def read_made(text: str, file: str) -> tuple[tuple[MadeRow, ...], list[Fault]]:
    """Return the table of what was made in the order of its days, and the faults."""
    lines, rows, uses, faults = _table(text, file, "mm", MADE_COLUMNS, ("day", "first"), "parts")
    found: list[MadeRow] = []
    dated: list[tuple[int, int]] = []
    for line, cells in rows[1:] if uses else ():
        assert uses is not None
        words = {
            name: cells[place] if place < len(cells) else "" for name, (place, _) in uses.items()
        }
        day = day_of(words["day"])
        at = Place(file, line, lines[line - 1])
        if day is None:
            faults.append(_bad_row(f'"{words["day"][:20]}" is no date', at))
            continue
        if not words["first"]:
            faults.append(_bad_row("no serial number", at))
            continue
        last = words.get("last", "") or words["first"]
        found.append(MadeRow(line, day[0], _plain(words["first"]), _plain(last)))
        dated += [(day[0], line)] if day[1] else []
    faults += _apart(dated, file, lines)
    return tuple(sorted(found, key=lambda row: (row.day, row.row))), faults


def _apart(days: Sequence[tuple[int, int]], file: str, lines: Sequence[str]) -> list[Fault]:
    """Return the days that lie far from the others, each with its rows."""
    odd = odd_days([day for day, _ in days])
    others = [day for i, (day, _) in enumerate(days) if i not in odd]
    found: dict[int, list[Place]] = {}
    for i in odd:
        day, line = days[i]
        found.setdefault(day, []).append(Place(file, line, lines[line - 1]))
    return [day_apart(day, others, tuple(places)) for day, places in found.items()]


def day_of(words: str) -> tuple[int, bool] | None:
    """Return the day meant by "2026-03-02" or by a plain day number, and whether it is a date."""
    words = words.strip()
    if re.fullmatch(r"\d{1,5}", words, re.ASCII):
        return int(words), False
    found = re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?", words, re.ASCII)
    if found is None:
        return None
    try:
        return datetime.date(int(found[1]), int(found[2]), int(found[3])).toordinal(), True
    except ValueError:
        return None


def day_row(words: Mapping[str, str], scale: Mapping[str, float], line: int) -> DayRow | str:
    """Return one check, or what is wrong with it.

    Parameters
    ----------
    words : mapping
        Text of each column of `DAY_COLUMNS` that is there.
    scale : mapping
        Millimetres in the unit of each column.
    line : int
        Line of the table, or number in the store.
    """
    day = day_of(words.get("day", ""))
    if day is None:
        return f'"{words.get("day", "")[:20]}" is no date'
    numbers: dict[str, float | None] = {}
    for name in ("x", "y", "z", "temperature", "u"):
        text = words.get(name, "").strip().replace("\u2212", "-")
        if not text:
            numbers[name] = None
            continue
        if not _NUMBER.fullmatch(text):
            hint = "; write a point, not a comma" if "," in text else ""
            return f'"{text[:20]}" under {name} is no number{hint}'
        numbers[name] = float(text) * scale.get(name, 1.0)
        if abs(numbers[name] or 0.0) > 1e6:
            return f'"{text[:20]}" under {name} is out of all measure'
    if numbers["x"] is None and numbers["y"] is None and numbers["z"] is None:
        return "no coordinate was read"
    u = numbers["u"]
    if u is not None and u <= 0.0:
        return "the standard uncertainty must be above zero"
    warm = numbers["temperature"]
    if warm is not None and not -40.0 <= warm <= 120.0:
        return f"{warm:g} degC is no temperature of a shop"
    return DayRow(
        row=line,
        day=day[0],
        dated=day[1],
        time=_plain(words.get("time", "")),
        check=_plain(words.get("check", "")),
        place_mm=(numbers["x"], numbers["y"], numbers["z"]),
        temperature_c=warm,
        u_mm=u,
        who=_plain(words.get("who", "")),
        remark=_plain(words.get("remark", "")),
    )


_Table = tuple[
    list[str], list[tuple[int, list[str]]], dict[str, tuple[int, float]] | None, list[Fault]
]


def _table(
    text: str,
    file: str,
    units: str | None,
    columns: Mapping[str, tuple[str, ...]],
    needed: tuple[str, ...],
    what: str,
) -> _Table:
    """Split a table into rows, and find its columns."""
    text = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    rows, _ = rows_of(text)
    if len(rows) < 2:
        return lines, rows, None, [_no_rows(file, what)]
    at = Place(file, rows[0][0], lines[rows[0][0] - 1])
    faults: list[Fault] = []
    uses: dict[str, tuple[int, float]] = {}
    names = {header: name for name, headers in columns.items() for header in headers}
    for place, words in enumerate(rows[0][1]):
        if not words:
            continue
        name, unit = _split(words)
        if name not in names or names[name] in uses:
            faults.append(_unknown(words, list(columns), at))
            continue
        factor = 1.0
        if names[name] in ("x", "y", "z", "u"):
            factor = _UNITS[unit or units or "mm"]
            if not unit and units is None:
                faults.append(_no_unit(words, at))
        uses[names[name]] = (place, factor)
    for need in needed:
        if need not in uses:
            faults.append(_no_column(columns[need][0], at))
    if any(fault.level == "error" for fault in faults):
        return lines, rows, None, faults
    if len(rows) > ROWS_MOST + 1:
        place = rows[ROWS_MOST + 1][0]
        faults.append(_bad_row(f"more than {ROWS_MOST} rows", Place(file, place, lines[place - 1])))
        rows = rows[: ROWS_MOST + 1]
    return lines, rows, uses, faults


def _split(words: str) -> tuple[str, str]:
    """Split "x_mm" or "x [mm]" into name and unit; a temperature's "_c" is left out."""
    low = words.strip().lower()
    low = re.sub(r"[\s_]*[\[(]?\s*(deg ?)?c\s*[\])]?$", "", low) if low[:1] == "t" else low
    found = re.fullmatch(r"(.*?)[\s_]*(?:[\[(]\s*|_|\s)(mm|in|inch)\s*[\])]?", low)
    return (found[1].strip(), found[2]) if found else (low, "")


def _plain(words: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in words.strip())
    return shown[:40]


# --- the faults -----------------------------------------------------------------------------------


def _no_rows(file: str, what: str) -> Fault:
    """K080: nothing in the table."""
    return Fault(
        "K080",
        "error",
        f'the table "{file}" has no rows',
        (Place(file),),
        f"The first row names the columns, each further row is one day of {what}.",
        "add the rows, or put # before its line under [drift]",
    )


def _unknown(words: str, known: list[str], at: Place) -> Fault:
    """K081: a column that is not known, or stands twice."""
    return Fault(
        "K081",
        "warning",
        f'the column "{words[:30]}" is not used',
        (at,),
        "Its numbers take no part; a slip in a name would go unseen.",
        "call the columns " + ", ".join(known) + ", or take it out",
    )


def _no_column(words: str, at: Place) -> Fault:
    """K082: a column is missing."""
    return Fault(
        "K082",
        "error",
        f"the column {words} is missing",
        (at,),
        "Without it no row of the table can be used.",
        f"name the column {words} in the first row",
    )


def _no_unit(words: str, at: Place) -> Fault:
    """K083: a length without a unit."""
    return Fault(
        "K083",
        "error",
        f'the column "{words[:30]}" has no unit, and [shop] has no units',
        (at,),
        "Taken in the wrong unit the numbers would be 25.4 times off.",
        f"write {words[:30]}_mm or {words[:30]}_in",
    )


def _bad_row(what: str, at: Place) -> Fault:
    """K084: a row that cannot be read."""
    return Fault(
        "K084",
        "error",
        f"this row cannot be used: {what}",
        (at,),
        "A row that is left out without a word could hide the very day that matters.",
        "correct the row, such as  2026-03-02,ball,-380.012,-215.003,-402.118,20.5",
    )


def _twice(first: Place, again: Place) -> Fault:
    """K085: the same check twice."""
    return Fault(
        "K085",
        "warning",
        "two rows are the same in day, check and every coordinate",
        (first, again),
        "One reading typed twice counts once; two readings never agree in every digit.",
        "take one of them out",
    )
