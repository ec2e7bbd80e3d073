"""The one shape in which every question answers.

Faces (terminal, report, later the page) know this shape and nothing else.  An `Answer` is plain
data: it can be compared, saved as JSON (schema ``gudgeon.answer/1``) and printed.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any, Final, Literal

__all__ = ["SCHEMA", "Answer", "Column", "Figure", "Missing", "Picture", "Table", "Verdict"]

SCHEMA: Final = "gudgeon.answer/1"

Cell = str | float | int | bool | None
"""What may stand in one place of a table."""


class Verdict(StrEnum):
    """What the shop may do next.  There is no fifth word."""

    YES = "yes"
    YES_IF = "yes_if"
    NO = "no"
    CANNOT_TELL = "cannot_tell"

    @property
    def words(self) -> str:
        """The verdict as it is shown to a person."""
        return {
            Verdict.YES: "Yes",
            Verdict.YES_IF: "Yes, if ...",
            Verdict.NO: "No",
            Verdict.CANNOT_TELL: "Cannot tell yet",
        }[self]


@dataclass(frozen=True, slots=True)
class Figure:
    """One number with all that a reader needs to trust it.

    Attributes
    ----------
    name : str
        Stable name for programs, such as ``"tilt_y"``.
    label : str
        In the shop's words.
    value : float or None
        ``None`` where there is no such number ("no limit from the brake"); the note says why.
    plus_minus : float or None
        Expanded uncertainty, k = 2, in the same unit; ``None`` where none is stated.
    unit : str
        Printed unit, such as ``"mm"``; empty for a plain number.
    limit : float or None
        The value that must be kept, in the same unit.
    limit_kind : "max", "min" or None
        Whether `limit` is the most or the least allowed.
    note : str
        Where it came from, or what it means.
    """

    name: str
    label: str
    value: float | None
    unit: str = ""
    plus_minus: float | None = None
    limit: float | None = None
    limit_kind: Literal["max", "min"] | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if (self.limit is None) != (self.limit_kind is None):
            raise ValueError(f"figure {self.name}: limit and limit_kind come together")


@dataclass(frozen=True, slots=True)
class Column:
    """Head of one column of a `Table`."""

    name: str
    label: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text and numbers; numbers are in the unit of their column."""

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"table {self.name}: a row has {len(row)} entries")


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing to scale as a complete SVG element, readable in black and white."""

    name: str
    title: str
    svg: str


@dataclass(frozen=True, slots=True)
class Missing:
    """An entry or reading that is still needed, and how to get it."""

    what: str
    where: str
    why: str
    how_to_get_it: str


@dataclass(frozen=True, slots=True)
class Answer:
    """A verdict, the sentence that states it, and what it rests on.

    See design: `figures` and `tables` are found by their stable names; `missing` is filled when
    the verdict is ``cannot_tell`` (the most telling entry first) and may be filled otherwise with
    what would sharpen the answer.
    """

    question: str
    verdict: Verdict
    headline: str
    next_step: str
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    pictures: tuple[Picture, ...] = ()
    flips: str | None = None
    fix: str | None = None
    assumed: tuple[str, ...] = ()
    missing: tuple[Missing, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        # Programmer errors, not user errors: a question module broke its word.
        if self.verdict is Verdict.CANNOT_TELL and not self.missing:
            raise ValueError("cannot_tell must name what to measure or enter next")
        if not self.headline or not self.next_step:
            raise ValueError("an answer without a headline and a next step helps nobody")
        for group in (self.figures, self.tables, self.pictures):
            names = [item.name for item in group]
            if len(set(names)) != len(names):
                raise ValueError(f"two entries share a name: {sorted(names)}")

    def figure(self, name: str) -> Figure:
        """Return the figure called `name`; KeyError if there is none."""
        for found in self.figures:
            if found.name == name:
                return found
        raise KeyError(name)

    def table(self, name: str) -> Table:
        """Return the table called `name`; KeyError if there is none."""
        for found in self.tables:
            if found.name == name:
                return found
        raise KeyError(name)

    def as_data(self) -> dict[str, Any]:
        """Return plain data of schema ``gudgeon.answer/1``, ready for JSON."""
        data = asdict(self)
        data["verdict"] = self.verdict.value
        return {"schema": SCHEMA, **data}
