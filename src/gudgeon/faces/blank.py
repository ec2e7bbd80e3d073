"""The printed table of readings: one page to fill in by hand at the machine."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from gudgeon.cell.blank_table import HeadCell
from gudgeon.faces.report import MARK

__all__ = ["blank_page"]

_STYLE: Final = """\
body { font: 11pt/1.3 sans-serif; margin: 8mm; color: #000; background: #fff; }
h1 { font-size: 14pt; margin: 0 0 2mm; }
p { margin: 0 0 3mm; max-width: 70em; }
table { border-collapse: collapse; width: 100%; }
th, td { border: 0.3mm solid #000; padding: 1.2mm 1.5mm; text-align: left; }
th { font-weight: 600; }
td { height: 6mm; }
td.blank { min-width: 18mm; background: #fff; }
td.given { background: #eee; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
@page { size: landscape; margin: 8mm; }
"""


def blank_page(
    name: str, head: Sequence[HeadCell], rows: Sequence[Sequence[str]], steps: Sequence[str]
) -> str:
    """Return the table as one HTML page that prints; it holds no script and loads nothing.

    Parameters
    ----------
    name : str
        Of the cell, for the title.
    head : sequence of (str, bool)
        Name of each column, and whether it is to be filled in.
    rows : sequence of sequences of str
    steps : sequence of str
        What to do, in order.
    """
    title = escape(f"Readings to take: {name}")
    top = "".join(f"<th>{escape(words)}</th>" for words, _ in head)
    body = []
    for row in rows:
        cells = [
            f'<td class="{"blank" if blank and not words else "given"}">{escape(words)}</td>'
            for words, (_, blank) in zip(row, head, strict=True)
        ]
        body.append(f"<tr>{''.join(cells)}</tr>")
    orders = "".join(f"<li>{escape(step)}</li>" for step in steps)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n{MARK}\n'
        f"<title>{title}</title>\n<style>\n{_STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>\n"
        "<p>Take the readings in this order, and write down what the control displays, tool length "
        "taken off. Of x, y and z the one along toward counts; note the others too where the tip "
        "stood. A row that was not taken stays blank. Lock the spindle; hands stay clear of cradle "
        "and platter while anything turns.</p>\n"
        f"<ol>{orders}</ol>\n"
        f"<table>\n<thead><tr>{top}</tr></thead>\n<tbody>\n" + "\n".join(body) + "\n</tbody>\n"
        "</table>\n</body>\n</html>\n"
    )
