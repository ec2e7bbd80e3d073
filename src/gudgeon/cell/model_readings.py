"""Entries of [readings], and one row of the table of readings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from gudgeon.cell.entry import Shape, entry
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["GEAR", "WIDER", "Readings", "Touch"]

GEAR: Final = ("probe", "edge finder", "indicator", "ball", "level", "bore gauge")
"""What a shop may have to take readings with."""

WIDER: Final = ("clocking", "scales", "harmonics", "mill")
"""Groups of parameters that a fit of the readings can be asked to find as well."""


@dataclass(frozen=True, slots=True)
class Readings:
    """[readings]: what was touched, and how well."""

    file: str | None = entry(Kind.TEXT, "table of readings (CSV), beside the cell file")
    wanted: Amount | None = entry(
        Kind.LENGTH, "greatest part-point error (95 %) that the work can bear", above=0.0
    )
    ball_diameter: Amount | None = entry(
        Kind.LENGTH, "diameter of the stylus ball or edge finder", low=0.0
    )
    compensated: bool | None = entry(
        Kind.YES_NO, "true if the readings already have the radius taken off"
    )
    reading_u: Amount | None = entry(
        Kind.LENGTH, "standard uncertainty (k = 1) of one reading", above=0.0
    )
    level_u: Amount | None = entry(
        Kind.ANGLE,
        "standard uncertainty (k = 1) of one reading of the level, also as a slope (0.02 mm/m)",
        above=0.0,
    )
    step: Amount | None = entry(
        Kind.LENGTH, "smallest step of the read-out (none counted if left out)", low=0.0
    )
    tilt_index_u: Amount | None = entry(
        Kind.ANGLE,
        "standard uncertainty (k = 1) with which the tilt comes to an angle (0 if left out)",
        low=0.0,
    )
    rotary_index_u: Amount | None = entry(
        Kind.ANGLE,
        "standard uncertainty (k = 1) with which the platter comes to an angle (0 if left out)",
        low=0.0,
    )
    pin_diameter: Amount | None = entry(
        Kind.LENGTH, "diameter of the pin or bore that was touched", above=0.0
    )
    temperature: Amount | None = entry(Kind.TEMPERATURE, "temperature at the readings")
    have: tuple[str, ...] = entry(
        Kind.TEXT,
        "what there is to take readings with (a probe or edge finder if left out)",
        Shape.LIST,
        choices=GEAR,
    )
    minutes_per_reading: Amount | None = entry(
        Kind.TIME, "time that one reading takes, moving there included", above=0.0
    )
    include: tuple[str, ...] = entry(
        Kind.TEXT,
        "what the fit shall find too: zeros of the angles, their scales, errors that come back "
        "with each turn, scales and squareness of the mill",
        Shape.LIST,
        choices=WIDER,
    )
    mill_scale_u: Amount | None = entry(
        Kind.SHARE, "standard uncertainty (k = 1) of the mill's scales, such as 0.002 %", above=0.0
    )
    mill_square_u: Amount | None = entry(
        Kind.ANGLE, "standard uncertainty (k = 1) of the mill's squareness", above=0.0
    )


@dataclass(frozen=True, slots=True)
class Touch:
    """One row of a readings file, converted to mm and rad; see `gudgeon.cell.readings`.

    Attributes
    ----------
    row : int
        Line number in the file, for messages.
    name : str
        The person's own mark of the row.
    kind : str
        ``"touch"`` (one coordinate counts), ``"sweep"`` (the same, read off an indicator whose
        zero is not known), ``"bore"`` (centre x and y of a bore or pin), ``"ball"`` (centre of a
        ball fixed on the platter, what of x, y, z was noted) or ``"level"`` (an inclination).
    feature : str
        ``"face"`` (platter face), ``"bore"``, ``"pin"`` or ``"ball <name>"``.
    toward : str
        Machine direction in which the tip, or the plunger, moved into the surface: "X+" ...
        "Z-"; of a level the direction in which a positive reading rises.  For kind ``"bore"``
        and ``"ball"`` empty.
    tilt_rad, rotary_rad : float
        Pose as displayed.
    position_mm : tuple of 3 floats or None
        Tip centre (or surface, if compensated) in machine coordinates, tool length taken off.
    radius_mm : float
        Stylus radius.
    compensated : bool
        The radius is already taken off along `toward`.
    u_mm : float
        Standard uncertainty of the reading (k = 1); of a level in rad.
    zero : str
        Name of the zero that rows of one sweep share; empty: its zero is known.
    seat : int
        Number of the positioning of the axes; rows that follow each other in one pose have one.
    dial_mm : float
        Reading of the indicator, positive with the plunger pushed in.
    angle_rad : float
        Reading of the level; NaN for all others.
    step_mm : float
        Step of the read-out; 0 if none is stated.
    temperature_c : float
        NaN if it was not noted.
    day : str
        ISO date, or empty.
    tool : str
        What it was read with, as written.
    """

    row: int
    name: str
    kind: str
    feature: str
    toward: str
    tilt_rad: float
    rotary_rad: float
    position_mm: tuple[float | None, float | None, float | None]
    radius_mm: float
    compensated: bool
    u_mm: float
    zero: str = ""
    seat: int = -1
    dial_mm: float = 0.0
    angle_rad: float = math.nan
    step_mm: float = 0.0
    temperature_c: float = math.nan
    day: str = ""
    tool: str = ""
