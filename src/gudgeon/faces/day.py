"""The command ``gudgeon day``: keep the morning's check, correct a row, list what is kept."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from gudgeon.cell.day_store import (
    Kept,
    StoreError,
    add_rows,
    correct_row,
    store_beside,
    stored,
)
from gudgeon.cell.days import day_row, read_days
from gudgeon.cell.faults import as_text
from gudgeon.cell.files import LARGEST_FILE
from gudgeon.cell.model import Cell, DayRow
from gudgeon.cell.odd_days import day_apart, odd_days

__all__ = ["DayError", "keep", "listed"]

_WORDS: Final = {
    "name": "check",
    "check": "check",
    "x": "x",
    "y": "y",
    "z": "z",
    "t": "temperature",
    "temperature": "temperature",
    "u": "u",
    "date": "day",
    "day": "day",
    "time": "time",
    "who": "who",
    "remark": "remark",
}
"""What may stand before ``=`` on the command line."""

_LENGTHS: Final = ("x", "y", "z", "u")


class DayError(Exception):
    """The row cannot be kept; the text says why and what to write."""


def keep(cell: Cell, path: Path, words: Sequence[str], correct: int | None) -> str:
    """Keep what the words say, and return what was done as text.

    Parameters
    ----------
    cell : Cell
    path : Path
        The cell file; the store lies beside it.
    words : sequence of str
        One table of days, or one check as ``x=... y=... z=... t=...``.
    correct : int, optional
        Number of the row whose place the check takes.

    Raises
    ------
    DayError
        If nothing was kept.
    """
    mark = hashlib.sha256(path.read_bytes()).hexdigest()
    store = store_beside(path)
    try:
        old = None
        if correct is not None:
            old = next((one.row for one in stored(store) if one.row.row == correct), None)
        single = all("=" in word for word in words)
        rows, warned = ([_one(cell, words, old)], "") if single else _many(cell, words)
        _known_checks(cell, rows)
        if correct is not None:
            if len(rows) != 1:
                raise DayError("one row is corrected at a time; write x=... y=... z=...")
            done = correct_row(store, correct, rows[0], mark)
            return (
                f"kept: row {done.row} in the place of row {correct}, which stays and is marked\n"
                f"{_line(cell, done)}\n{_apart(cell, [done], correct)}"
            )
        added, double = add_rows(store, rows, mark)
    except StoreError as problem:
        raise DayError(str(problem)) from None
    text = "".join(f"kept: {_line(cell, row)}\n" for row in added[-10:])
    if len(added) > 10:
        text = f"kept: {len(added)} rows, the last ten being\n{text}"
    text += "".join(f"there already, not kept again: {_line(cell, row)}\n" for row in double)
    text += warned or _apart(cell, added)
    return text + f"in    {store.name}\nnow   gudgeon ask drifted {path.name}\n"


def _apart(cell: Cell, added: Sequence[DayRow], corrected: int | None = None) -> str:
    """Return a word for each row just kept whose day lies far from all others."""
    before = [row.day for row in cell.days if row.dated and row.row != corrected]
    days = [*before, *(row.day for row in added if row.dated)]
    odd = odd_days(days)
    others = [day for i, day in enumerate(days) if i not in odd]
    text = ""
    for i in odd:
        if i >= len(before):
            row = [one for one in added if one.dated][i - len(before)]
            fault = day_apart(row.day, others, ())
            text += (
                f"look  {fault.what}\n      a slip is mended with  --correct {row.row} day=...\n"
            )
    return text


def listed(cell: Cell, path: Path) -> str:
    """Return every kept row as text, corrected ones marked; raises `DayError`."""
    try:
        rows = stored(store_beside(path))
    except StoreError as problem:
        raise DayError(str(problem)) from None
    if not rows:
        return "no checks are kept yet\n"
    return "".join(f"{_line(cell, one.row)}{_marked(one)}\n" for one in rows)


def _marked(one: Kept) -> str:
    return "" if one.corrected_by is None else f"  corrected by row {one.corrected_by}"


def _one(cell: Cell, words: Sequence[str], old: DayRow | None) -> DayRow:
    """Return the check that the words say; what they leave out is that of the row corrected."""
    found: dict[str, str] = {}
    for word in words:
        key, _, value = word.partition("=")
        name = _WORDS.get(key.strip().lower())
        if name is None:
            raise DayError(f'"{key}" is not known; write one of: {", ".join(_WORDS)}')
        if name in found:
            raise DayError(f'"{key}" is given twice')
        found[name] = value
    units = cell.shop.units
    if old is not None:
        found = {**_as_words(old, 25.4 if units == "in" else 1.0), **found}
    now = datetime.now(tz=UTC).astimezone()
    if not found.get("day"):
        found["day"] = now.date().isoformat()
        found.setdefault("time", now.strftime("%H:%M"))
    if not found.get("check") and len(cell.checks) == 1:
        found["check"] = cell.checks[0].name or ""
    if units is None and any(found.get(name) for name in _LENGTHS):
        raise DayError(
            'it is not known whether x, y, z are mm or inch; write units = "mm" in [shop]'
        )
    scale = dict.fromkeys(_LENGTHS, 25.4 if units == "in" else 1.0)
    row = day_row(found, scale, 0)
    if isinstance(row, str):
        raise DayError(f"{row}; nothing was kept")
    return row


def _as_words(row: DayRow, length: float) -> dict[str, str]:
    from datetime import date

    numbers = {
        **dict(zip("xyz", row.place_mm, strict=True)),
        "u": row.u_mm,
        "temperature": row.temperature_c,
    }
    day = date.fromordinal(row.day).isoformat() if row.dated else str(row.day)
    return {
        "day": day,
        "time": row.time,
        "check": row.check,
        "who": row.who,
        "remark": row.remark,
        **{
            name: f"{value / (1.0 if name == 'temperature' else length):.9g}"
            for name, value in numbers.items()
            if value is not None
        },
    }


def _many(cell: Cell, words: Sequence[str]) -> tuple[list[DayRow], str]:
    if len(words) != 1:
        raise DayError("give one table, or one check as  x=... y=... z=... t=...")
    file = Path(words[0])
    try:
        with file.open("rb") as opened:
            raw = opened.read(LARGEST_FILE + 1)
    except OSError as problem:
        why = problem.strerror or problem
        raise DayError(f"cannot read {file.name}: {why}; or write x=... y=... z=...") from None
    if len(raw) > LARGEST_FILE:
        raise DayError(f"{file.name} is larger than {LARGEST_FILE // 1000} kB")
    rows, faults = read_days(raw.decode("utf-8-sig", "replace"), file.name, cell.shop.units)
    wrong = [fault for fault in faults if fault.level == "error"]
    if wrong:
        raise DayError(f"nothing was kept, because of this:\n{as_text(wrong)}")
    return list(rows), as_text(faults) if faults else ""


def _known_checks(cell: Cell, rows: Sequence[DayRow]) -> None:
    """Stop at a check that the cell does not name; a slip would begin a record of its own."""
    names = [check.name or "" for check in cell.checks]
    if not names:
        return
    for row in rows:
        if row.check not in names and not (row.check == "" and len(names) == 1):
            known = ", ".join(f'"{name}"' for name in names)
            raise DayError(f'the check "{row.check}" is none of {known}; write  name=...')


def _line(cell: Cell, row: DayRow) -> str:
    from datetime import date

    inch = cell.shop.units == "in"
    day = date.fromordinal(row.day).isoformat() if row.dated else f"day {row.day}"
    scale, places, unit = (25.4, 4, "in") if inch else (1.0, 3, "mm")
    place = "  ".join(
        f"{letter} {value / scale:.{places}f}"
        for letter, value in zip("XYZ", row.place_mm, strict=True)
        if value is not None
    )
    warm = "" if row.temperature_c is None else f"  {row.temperature_c:.1f} degC"
    parts = [f"{row.row:>5}  {day}", row.time, row.check, f"{place} {unit}{warm}", row.remark]
    return "  ".join(part for part in parts if part)
