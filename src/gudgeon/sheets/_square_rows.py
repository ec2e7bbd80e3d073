"""Tables of dial readings under the names by which they are typed into the readings."""

from __future__ import annotations

from dataclasses import dataclass

from gudgeon.cell.blank_table import RowToRead, blank_cells
from gudgeon.findings import Findings
from gudgeon.findings.commissioning_found import Dial, Squaring, Stop
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._said import sure
from gudgeon.sheets.shape import Grid, Head

__all__ = ["Row", "readings_grid"]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table of readings: where the dial stands, and what it shows.

    Attributes
    ----------
    stop : Stop
    zero : str
        Name of the zero.
    sets : bool
        The dial is set to zero here.
    run : Dial or None
        The run that ends here.
    """

    stop: Stop
    zero: str
    sets: bool
    run: Dial | None = None


def readings_grid(
    findings: Findings, found: Squaring, name: str, title: str, rows: list[Row]
) -> Grid:
    """Return a table that is typed into the readings as it stands, with the same names."""
    asked = [
        RowToRead("sweep", "face", row.stop.toward, row.stop.tilt_rad, row.stop.turn_rad, row.zero)
        for row in rows
    ]
    heads, texts = blank_cells(asked, findings.cell)
    names = [head for head, _ in heads]
    digits = 2 if findings.units.inch else 1
    unit = findings.units.unit(Kind.LENGTH)
    for row, text in zip(rows, texts, strict=True):
        at = found.at(row.stop)
        text[names.index("id")] = f"{row.zero} {row.stop.name}"
        for k, axis in enumerate("xyz"):
            if at is not None:
                shown = findings.units.shown(Kind.LENGTH, float(at[k]))
                text[names.index(f"{axis}_{unit}")] = f"{shown:.{digits}f}"
        text[names.index(f"dial_{unit}")] = "0" if row.sets else ""
        text[names.index("remark")] = "set zero" if row.sets else _remark(findings, row.run)
    kept = [k for k, head in enumerate(names) if head not in ("T_C", "date", "tool")]
    blank = {f"dial_{unit}", *(() if found.placed else (f"{a}_{unit}" for a in "xyz"))}
    return Grid(
        name,
        title,
        tuple(
            Head(names[k], names[k].split("_")[0], _unit_of(names[k]), names[k] in blank)
            for k in kept
        ),
        tuple(tuple(text[k] for k in kept) for text in texts),
    )


def _unit_of(head: str) -> str:
    return head.split("_")[1] if "_" in head else ""


def _remark(findings: Findings, run: Dial | None) -> str:
    if run is None or run.expected_mm is None or run.plus_minus_mm is None:
        return "expect 0"
    return f"expect {sure(findings, run.expected_mm, run.plus_minus_mm)}"
