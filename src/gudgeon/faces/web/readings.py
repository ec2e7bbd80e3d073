"""The table of readings as it is written, what to read next, and rows added one after the other."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gudgeon.cell.blank_table import RowToRead, blank_cells, blank_table
from gudgeon.cell.edit import Change, changed
from gudgeon.cell.files import write_text_safely
from gudgeon.cell.journal import ChangedMeanwhile, Journal, digest_of
from gudgeon.cell.reading_columns import BY_HEADER, split_header
from gudgeon.cell.readings_grow import RowError, head_and_rows, with_row, without_last
from gudgeon.faces.web.wire import NextReading, ReadingsView
from gudgeon.findings.gather import Lacking
from gudgeon.findings.rows_to_read import proposed_rows

if TYPE_CHECKING:
    from gudgeon.cell.model import Cell
    from gudgeon.findings import Findings

__all__ = ["add_reading", "readings_view", "take_back_reading"]

NEXT_MOST: Final = 24
"""Proposed rows that are sent."""


def readings_view(findings: Findings, cell_file: Path) -> ReadingsView:
    """Return the table with what to read next.

    Raises
    ------
    OSError, UnicodeDecodeError
        If a table that is named cannot be read.
    """
    cell, notes = findings.cell, []
    name = cell.readings.file
    if name is None:
        digest = digest_of(cell_file.read_bytes())
        head = _new_head(cell)
        rows: list[list[str]] = []
        notes.append(f"The first row makes the table {_new_name(cell_file)} beside the cell file.")
    else:
        data = (cell_file.parent / name).read_bytes()
        digest = digest_of(data)
        head, rows = head_and_rows(data.decode("utf-8-sig"))
    proposed: list[NextReading] = []
    try:
        orders = proposed_rows(findings)
    except Lacking as lacking:
        first = lacking.missing[0]
        notes.append(f"What to read next cannot be told without the {first.what}.")
    else:
        if not orders and rows:
            notes.append("No further reading would help by more than it takes.")
        proposed = [
            _next(row, cell, head, one.how, one.minutes)
            for row, one in list(orders.items())[:NEXT_MOST]
        ]
    return ReadingsView(
        digest=digest,
        file=name,
        columns=head,
        rows=rows,
        next=proposed,
        notes=notes,
    )


def add_reading(
    cell: Cell, cell_file: Path, store: Path, seen: str, row: Mapping[str, str]
) -> None:
    """Add one row to the table, which is made if the cell names none.

    Raises
    ------
    RowError
        If it is no row of this table.
    ChangedMeanwhile, OSError, StoreError
        As `Journal.change`.
    """
    name = cell.readings.file
    if name is not None:
        journal = Journal(cell_file.parent / name, store)
        journal.change(seen, lambda text: with_row(text, row), "a reading")
        return
    now = digest_of(cell_file.read_bytes())
    if now != seen:
        raise ChangedMeanwhile(now)
    made = _new_name(cell_file)
    # The table first: a cell that names a table which is not there could not be read.
    write_text_safely(cell_file.parent / made, with_row(blank_table((), cell), row))
    Journal(cell_file, store).change(
        seen, lambda old: changed(old, [Change("readings.file", made)]), "readings.file"
    )


def take_back_reading(cell: Cell, cell_file: Path, store: Path, seen: str) -> None:
    """Take the last row out of the table; raises as `add_reading`."""
    name = cell.readings.file
    if name is None:
        raise RowError("there is no table of readings yet")
    Journal(cell_file.parent / name, store).change(seen, without_last, "the last reading")


def _new_name(cell_file: Path) -> str:
    base, number = f"{cell_file.stem}-readings", 1
    name = f"{base}.csv"
    while (cell_file.parent / name).exists():
        number += 1
        name = f"{base}-{number}.csv"
    return name


def _new_head(cell: Cell) -> list[str]:
    return [name for name, _ in blank_cells((), cell)[0]]


def _next(
    row: RowToRead, cell: Cell, head: list[str], how: str, minutes: float | None
) -> NextReading:
    """Return a proposed row under the names that the columns of this table have."""
    names, (words,) = blank_cells((row,), cell)
    said = {name: text for (name, blank), text in zip(names, words, strict=True) if not blank}
    by_meaning = {_meaning(name, cell): text for name, text in said.items() if text}
    cells = {}
    for column in head:
        meaning = _meaning(column, cell)
        text = by_meaning.get(meaning, "")
        if not text and meaning == "side" and "toward" in by_meaning:
            text = _opposite(by_meaning["toward"])
        if text and meaning != "name":
            cells[column] = text
    tilt = cell.control.tilt_letter or "tilt"
    turn = cell.control.rotary_letter or "rotary"
    pose: dict[str, float | str] = {}
    for letter in (tilt, turn):
        angle = said.get(f"{letter}_deg")
        if angle is not None:
            pose[letter] = angle
    feature = " ".join(word for word in (said.get("what", ""), said.get("toward", "")) if word)
    remark = said.get("remark", "").rstrip(".")
    return NextReading(
        feature=f"{row.kind}: {feature}",
        pose=pose,
        why=" ".join(
            part for part in (how, remark and f"{remark[0].upper()}{remark[1:]}.") if part
        ),
        minutes=minutes,
        row=cells,
    )


def _meaning(column: str, cell: Cell) -> str:
    """Return what a column of a table of readings is, such as ``"tilt"``; empty if unknown."""
    name, _ = split_header(column)
    if name.upper() == cell.control.tilt_letter:
        return "tilt"
    if name.upper() == cell.control.rotary_letter:
        return "rotary"
    found = BY_HEADER.get(name.lower())
    return found.name if found is not None else ""


def _opposite(direction: str) -> str:
    """Return the side from which a tip comes that moves in a direction."""
    return direction.translate(str.maketrans("+-", "-+"))
