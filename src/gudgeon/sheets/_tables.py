"""Numbers, tables and gaps as they are printed: what several sheets share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, TypeVar

from gudgeon.answer import Cell, Missing, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets.shape import Grid, Head, Words

__all__ = ["Gaps", "amount_text", "as_grid", "cell_text", "known", "number_text"]

T = TypeVar("T")

DECIMALS: Final = {"mm": 3, "in": 4, "degC": 1, "N*m": 1, "lbf*ft": 1, "s": 0, "min": 1, "%": 0}
"""Decimals of a number in a table, by its unit; other numbers are shown as short as they are."""


def known(work: Callable[[], T]) -> T | None:
    """Return a finding, or ``None`` if it lacks entries."""
    try:
        return work()
    except Lacking:
        return None


def number_text(value: float, unit: str = "") -> str:
    """Return a number as it stands under a head with this unit."""
    places = DECIMALS.get(unit)
    if places is None:
        return f"{round(value, 3) + 0.0:g}"
    return f"{round(value, places) + 0.0:.{places}f}"


def cell_text(value: Cell, unit: str = "") -> str:
    """Return an entry of a table as text; nothing known is a stroke."""
    if value is None or value == "":
        return "-"
    return number_text(value, unit) if isinstance(value, float | int) else str(value)


def amount_text(findings: Findings, kind: Kind, amount: Amount | None) -> tuple[str, str]:
    """Return an entry and its +- as texts without unit; empty where there is none."""
    if amount is None:
        return "", ""
    units = findings.units
    unit = units.unit(kind)
    sure = amount.plus_minus
    return (
        number_text(units.shown(kind, amount.value), unit),
        number_text(units.shown(kind, sure), unit) if sure else "",
    )


def as_grid(
    table: Table,
    title: str,
    heads: Sequence[tuple[str, str]],
    blank: Sequence[Head] = (),
) -> Grid:
    """Return columns of an answer's table under short heads, with columns to write into.

    Parameters
    ----------
    table : Table
    title : str
    heads : sequence of (str, str)
        Name of the column, and what stands over it.
    blank : sequence of Head
    """
    places = {column.name: k for k, column in enumerate(table.columns)}
    units = {column.name: column.unit for column in table.columns}
    return Grid(
        table.name,
        title,
        (*(Head(name, label, units[name]) for name, label in heads), *blank),
        tuple(
            (
                *(cell_text(row[places[name]], units[name]) for name, _ in heads),
                *("" for _ in blank),
            )
            for row in table.rows
        ),
    )


class Gaps:
    """What a sheet lacks, each told once."""

    def __init__(self) -> None:
        self.missing: list[Missing] = []

    def words(self, what: str, missing: Sequence[Missing]) -> Words:
        """Return that something cannot be stated yet, and the one entry that settles it.

        Parameters
        ----------
        what : str
            Such as "The work offsets".
        missing : sequence of Missing
            The most telling first; never empty.
        """
        known = {item.where for item in self.missing}
        self.missing += [item for item in missing if item.where not in known]
        return Words(f"{what} cannot be told yet. First find out: {missing[0].what}.", "lack")
