"""The morning checks kept beside the cell file, in SQLite; what a person kept, not a cache.

A row is never changed or removed: a correction adds a new row and marks the old one with the
number of its successor.  Each call is one transaction; several writers wait for each other.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from gudgeon.cell.model_drift import DayRow
from gudgeon.cell.store_file import StoreError, opened

__all__ = [
    "VERSION",
    "Kept",
    "StoreError",
    "add_rows",
    "correct_row",
    "store_beside",
    "stored",
    "stored_rows",
]

VERSION: Final = 1
"""Version of the tables; a file of a later one is refused."""

_TABLES: Final = """
CREATE TABLE checks (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    day INTEGER NOT NULL,
    dated INTEGER NOT NULL,
    time TEXT NOT NULL,
    name TEXT NOT NULL,
    x_mm REAL, y_mm REAL, z_mm REAL,
    temperature_c REAL, u_mm REAL,
    who TEXT NOT NULL, remark TEXT NOT NULL,
    cell TEXT NOT NULL,
    corrected_by INTEGER REFERENCES checks (number)
)
"""


@dataclass(frozen=True, slots=True)
class Kept:
    """A row as it is kept.

    Attributes
    ----------
    row : DayRow
        `DayRow.row` is its number.
    cell : str
        Hash of the cell file at that time.
    corrected_by : int or None
        Number of the row that took its place.
    """

    row: DayRow
    cell: str
    corrected_by: int | None


def store_beside(cell: Path) -> Path:
    """Return where the checks of a cell file are kept."""
    return cell.with_name(f"{cell.stem}.days.sqlite")


def stored(path: Path) -> tuple[Kept, ...]:
    """Return every row in the order of its number, corrected ones too.

    Raises
    ------
    StoreError
        If the file is not such a store, of a later version, or held by another for long.
    """
    if not path.exists():
        return ()
    with _opened(path, write=False) as base:
        found = base.execute(
            "SELECT number, day, dated, time, name, x_mm, y_mm, z_mm, temperature_c, u_mm,"
            " who, remark, cell, corrected_by FROM checks ORDER BY number"
        ).fetchall()
    return tuple(
        Kept(
            DayRow(n, day, bool(dated), time, name, (x, y, z), warm, u, who, remark),
            cell,
            successor,
        )
        for n, day, dated, time, name, x, y, z, warm, u, who, remark, cell, successor in found
    )


def stored_rows(path: Path) -> tuple[DayRow, ...]:
    """Return the rows that count, in the order of their days; raises as `stored`."""
    rows = [one.row for one in stored(path) if one.corrected_by is None]
    return tuple(sorted(rows, key=lambda row: (row.day, row.time, row.row)))


def add_rows(
    path: Path, rows: Sequence[DayRow], cell: str
) -> tuple[tuple[DayRow, ...], tuple[DayRow, ...]]:
    """Keep rows, all or none.

    Parameters
    ----------
    path : Path
        The store; made if it is not there.
    rows : sequence of DayRow
    cell : str
        Hash of the cell file.

    Returns
    -------
    added, double : tuple of DayRow
        With their numbers; `double` were there already and are not kept again.

    Raises
    ------
    StoreError
        As `stored`; or if day numbers and dates would be mixed.
    """
    added: list[DayRow] = []
    double: list[DayRow] = []
    with _opened(path, write=True) as base:
        for row in rows:
            twin = base.execute(
                "SELECT number FROM checks WHERE corrected_by IS NULL AND day IS ? AND time IS ?"
                " AND name IS ? AND x_mm IS ? AND y_mm IS ? AND z_mm IS ?",
                (row.day, row.time, row.check, *row.place_mm),
            ).fetchone()
            if twin is not None:
                double.append(replace(row, row=int(twin[0])))
                continue
            added.append(replace(row, row=_insert(base, row, cell)))
    return tuple(added), tuple(double)


def correct_row(path: Path, number: int, row: DayRow, cell: str) -> DayRow:
    """Keep `row` in the place of row `number`, which stays and is marked; raises as `stored`."""
    if not path.exists():
        raise StoreError(f"no checks are kept in {path.name} yet")
    with _opened(path, write=True) as base:
        old = base.execute("SELECT corrected_by FROM checks WHERE number = ?", (number,)).fetchone()
        if old is None:
            raise StoreError(f"there is no row {number} in {path.name}")
        if old[0] is not None:
            raise StoreError(f"row {number} was corrected already, by row {old[0]}")
        new = _insert(base, row, cell)
        base.execute("UPDATE checks SET corrected_by = ? WHERE number = ?", (new, number))
    return replace(row, row=new)


def _insert(base: sqlite3.Connection, row: DayRow, cell: str) -> int:
    other = base.execute(
        "SELECT 1 FROM checks WHERE corrected_by IS NULL AND dated <> ? LIMIT 1", (int(row.dated),)
    ).fetchone()
    if other is not None:
        raise StoreError("the kept checks have dates, and this one a day number, or the reverse")
    done = base.execute(
        "INSERT INTO checks (day, dated, time, name, x_mm, y_mm, z_mm, temperature_c, u_mm, who,"
        " remark, cell) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            row.day,
            int(row.dated),
            row.time,
            row.check,
            *row.place_mm,
            row.temperature_c,
            row.u_mm,
            row.who,
            row.remark,
            cell,
        ),
    )
    assert done.lastrowid is not None
    return done.lastrowid


def _opened(path: Path, *, write: bool) -> contextlib.AbstractContextManager[sqlite3.Connection]:
    return opened(path, write=write, version=VERSION, tables=_TABLES, holds="morning checks")
