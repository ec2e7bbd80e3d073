"""Entries of [[checks]] and [drift], and the rows of their tables."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from gudgeon.cell.entry import Shape, entry
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["Check", "DayRow", "Drift", "MadeRow"]


@dataclass(frozen=True, slots=True)
class Check:
    """[[checks]]: a reading that is taken every morning, to see whether anything has moved."""

    name: str | None = entry(Kind.TEXT, "name of the check, as in the table of days")
    feature: str | None = entry(
        Kind.TEXT,
        "what is read: the centre of a ball on the platter, of its bore or pin, or its face",
        choices=("ball", "bore", "pin", "face"),
    )
    pose: tuple[Amount, Amount] | None = entry(
        Kind.ANGLE, "programmed tilt and turn at the reading", Shape.PAIR
    )
    at: tuple[Amount, Amount, Amount] | None = entry(
        Kind.LENGTH, "its place in the platter frame, if known", Shape.POINT
    )


@dataclass(frozen=True, slots=True)
class Drift:
    """[drift]: the morning checks, and what was made since."""

    days: str | None = entry(
        Kind.TEXT, "table of the morning checks (CSV), beside the cell file, if not kept by  day"
    )
    production: str | None = entry(
        Kind.TEXT, "table of what was made (CSV): date, first serial number, last serial number"
    )
    corrected: tuple[datetime.date, ...] = entry(
        Kind.DATE,
        "days on which lines or offsets were set anew, before that day's check",
        Shape.LIST,
    )
    reading_u: Amount | None = entry(
        Kind.LENGTH, "standard uncertainty (k = 1) of one coordinate of a check", above=0.0
    )
    limit: Amount | None = entry(Kind.LENGTH, "greatest shift that the work can bear", above=0.0)
    per_kelvin: Amount | None = entry(
        Kind.LENGTH, "plausible motion of a check for 1 degC (k = 1)", above=0.0
    )


@dataclass(frozen=True, slots=True)
class DayRow:
    """One reading of a check.

    Attributes
    ----------
    row : int
        Line of the table, or number in the store.
    day : int
        Proleptic ordinal of the date, or a plain day number.
    dated : bool
        `day` is a date.
    time : str
        As written, "HH:MM"; may be empty.
    check : str
        Name of the check; may be empty where there is only one.
    place_mm : tuple of 3 floats or None
        Machine coordinates; ``None`` where it was not read.
    temperature_c : float or None
    u_mm : float or None
        Standard uncertainty of one coordinate.
    who, remark : str
    """

    row: int
    day: int
    dated: bool
    time: str
    check: str
    place_mm: tuple[float | None, float | None, float | None]
    temperature_c: float | None
    u_mm: float | None
    who: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True)
class MadeRow:
    """One row of the table of what was made.

    Attributes
    ----------
    row : int
        Line of the table.
    day : int
        As in `DayRow`.
    first, last : str
        Serial numbers.
    """

    row: int
    day: int
    first: str
    last: str
