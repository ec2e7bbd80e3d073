"""One row of the table of readings as the engines see it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

__all__ = ["BALL", "GLANCING", "Reading"]

BALL: Final = "ball "
"""What the name of a ball's feature begins with."""

GLANCING: Final = 0.25
"""A surface whose normal makes less than this cosine with the approach is not used: the tip slides
along it, and the reading says little (about 75 deg; common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One touch, one row of an indicator sweep or of a level, or a centre found by a cycle.

    Attributes
    ----------
    row : int
        Line of the table of readings, to name it.
    feature : str
        ``"face"``, ``"bore"``, ``"pin"``, ``"level"`` (a level laid on the face), or
        ``"ball <name>"``: the centre of a ball fixed on the platter, `toward` ``None``.
    toward : tuple of 3 floats or None
        Unit vector of the approach in T, along a machine axis; ``None`` for a centre (x and y).
        A row of an indicator sweep points along the plunger into the surface, and its position is
        the machine coordinate less the dial's reading along it.
    tilt_rad, rotary_rad : float
        Programmed angles.
    position_mm : tuple of 3 floats
        In T [mm]; NaN where it was not noted.
    radius_mm : float
        Stylus radius still contained in the position; 0 if it is the surface.
    u_mm : float
        Standard uncertainty of the counting coordinate.
    zero : str
        Name of an unknown zero that rows share: those of one indicator sweep, or of one level.
        Parameter ``zero_<name>``, added along `toward` [mm] (to the inclination of a level [rad]).
    seat : int
        Number of the positioning of tilt and rotary: rows with one number were read without an
        axis moving in between and share its index error; -1: its own.
    angle_rad : float
        Feature ``"level"``: inclination read, positive where the face rises along `toward`; `u_mm`
        is then in rad and the position unused.
    step : float
        Read-out step [mm; rad for a level]; step / sqrt 12 is added in quadrature to `u_mm`.
    temperature_c : float
        NaN where it was not noted.
    day : str
        ISO date, or empty.
    tool : str
        Stylus, indicator or edge finder, or empty.
    """

    row: int
    feature: str
    toward: tuple[float, float, float] | None
    tilt_rad: float
    rotary_rad: float
    position_mm: tuple[float, float, float]
    radius_mm: float
    u_mm: float
    zero: str = ""
    seat: int = -1
    angle_rad: float = math.nan
    step: float = 0.0
    temperature_c: float = math.nan
    day: str = ""
    tool: str = ""

    @property
    def spread(self) -> float:
        """Standard uncertainty with the read-out step counted in [mm; rad for a level]."""
        return math.hypot(self.u_mm, self.step / math.sqrt(12.0))
