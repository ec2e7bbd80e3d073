"""A row added to a table of readings as it stands, or its last row taken back; all else is kept."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from typing import Final

from gudgeon.cell.table_rows import rows_of

__all__ = ["RowError", "head_and_rows", "with_row", "without_last"]

_POINT: Final = re.compile(r"^([+-]?\d+),(\d+)$")


class RowError(ValueError):
    """A row that cannot be added or taken back; the text says why."""


def head_and_rows(text: str) -> tuple[list[str], list[list[str]]]:
    """Return the names of the columns and the rows as written, remarks left out."""
    rows, _ = rows_of(_plain(text))
    if not rows:
        return [], []
    head = rows[0][1]
    return head, [cells + [""] * (len(head) - len(cells)) for _, cells in rows[1:]]


def with_row(text: str, row: Mapping[str, str]) -> str:
    """Return the table with one more row.

    Parameters
    ----------
    text : str
        The table; what parts its cells, its line ends and its decimal commas are kept.
    row : mapping of str to str
        Cells by the names of columns; columns left out stay blank.  A decimal comma becomes a
        point where commas part the cells.

    Raises
    ------
    RowError
        If a name is no column, a cell holds a line end, or nothing is in the row.
    """
    rows, separator = rows_of(_plain(text))
    if not rows:
        raise RowError("the table has no first row with the names of its columns")
    head = rows[0][1]
    for name, cell in row.items():
        if name not in head:
            raise RowError(f'"{name[:40]}" is no column of the table; it has {", ".join(head)}')
        if not cell.isprintable():
            raise RowError(f'"{name}": a cell holds plain text in one line')
    cells = [row.get(name, "").strip() for name in head]
    if separator == ",":
        # Beside commas that part the cells a decimal comma could be read in two ways.
        cells = [_POINT.sub(r"\1.\2", cell) for cell in cells]
    if not any(cells):
        raise RowError("the row is empty")
    if cells[0].startswith("#"):
        raise RowError(f'"{head[0]}": a row that begins with # would be taken for a remark')
    ending = "\r\n" if "\r\n" in text else "\n"
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator=ending).writerow(cells)
    glue = "" if text.endswith(("\n", "\r")) else ending
    return text + glue + out.getvalue()


def without_last(text: str) -> str:
    """Return the table without its last row; remarks and blank lines behind it stay.

    Raises
    ------
    RowError
        If there is no row.
    """
    plain = _plain(text)
    rows, _ = rows_of(plain)
    if len(rows) < 2:
        raise RowError("there is no row to take back")
    first, cells = rows[-1]
    lines = text.splitlines(keepends=True)
    numbers = plain.split("\n")
    # A cell in quotation marks may run over several lines; they end where the row reads the same.
    for last in range(first, len(numbers) + 1):
        read, _ = rows_of("\n".join([*numbers[: rows[0][0]], *numbers[first - 1 : last]]))
        if read and read[-1][1] == cells:
            return "".join([*lines[: first - 1], *lines[last:]])
    raise RowError("the last row cannot be told from what is around it; take it out by hand")


def _plain(text: str) -> str:
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
