"""Rows of a table as a spreadsheet writes it: what parts the cells is found from the file."""

from __future__ import annotations

import csv
import io

__all__ = ["rows_of"]


def rows_of(text: str) -> tuple[list[tuple[int, list[str]]], str]:
    """Return line number and trimmed cells of every row but remarks, and what parts the cells.

    Parameters
    ----------
    text : str
        Lines end in a line feed.
    """
    named = (line for line in text.split("\n") if not line.lstrip().startswith("#"))
    head = next((line for line in named if line.strip(" ;,\t")), "")
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
    return rows, separator
