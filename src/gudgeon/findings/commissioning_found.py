"""What is read with an indicator on the bare platter: plain data."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.lines import LineFrame
from gudgeon.findings.commissioning_limits import AngleLimit

__all__ = ["Dial", "DialCheck", "Squaring", "Stop"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stop:
    """One reading: where the indicator stands over the platter.

    Attributes
    ----------
    name : str
        Such as "X+ end".
    tilt_rad, turn_rad : float
    toward : str
        Machine direction in which the plunger moves into the face.
    at_mm : tuple of 3 floats
        Where its tip stands, from the middle of the platter face in that pose, T [mm].
    """

    name: str
    tilt_rad: float
    turn_rad: float
    toward: str
    at_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Dial:
    """A run from one stop, where the dial is set to zero, to another.

    Attributes
    ----------
    start, end : Stop
    expected_mm, plus_minus_mm : float or None
        What the dial shows at the end, by the axis lines as touched, and its U at 95 % with the
        dial's own; ``None`` where the touches do not tell.
    """

    start: Stop
    end: Stop
    expected_mm: float | None
    plus_minus_mm: float | None

    @property
    def length_mm(self) -> float:
        """How far the indicator moves."""
        return math.dist(self.start.at_mm, self.end.at_mm)


@dataclass(frozen=True, slots=True)
class DialCheck:
    """A figure from one run or several: the sum of what they show, each with its weight.

    Attributes
    ----------
    name : str
        ``"tram"``, ``"rise"``, ``"lean_along"``, ``"lean_across"``, ``"upright +"``,
        ``"upright -"``.
    runs : tuple of Dial
    weights : tuple of float
    expected_mm, plus_minus_mm : float or None
    limit : AngleLimit
    limit_mm : float
        The figure may be so much, either way.
    mm_per_rad : float
        By how much the figure grows with the angle that it shows.
    mm_per_tilt : float
        By how much it grows with the programmed tilt [mm/rad].
    """

    name: str
    runs: tuple[Dial, ...]
    weights: tuple[float, ...]
    expected_mm: float | None
    plus_minus_mm: float | None
    limit: AngleLimit
    limit_mm: float
    mm_per_rad: float
    mm_per_tilt: float


@dataclass(frozen=True, slots=True)
class Squaring:
    """All that is read with an indicator on the bare platter.

    Attributes
    ----------
    radius_mm : float
        Where the dial stands while the platter turns, clear of holes and rim.
    chord_mm : tuple of (aside, length)
        A straight run over the face beside the middle, clear of holes and pilot.
    over_holes : bool
        There is no such run: the plunger has to be lifted over holes.
    round_limit : AngleLimit
        Of the platter face to its own axis.
    round_limit_mm : float
        The same from one side of the circle to the other.
    stops : tuple of Stop
        Four places round the platter, the dial set to zero at the first.
    level : tuple of Dial
        From the first of them to each of the others, the dial over one and the same mark.
    checks : tuple of DialCheck
    one_way : bool
        The unit tilts one way only, so that tram and rise of the tilt line do not part.
    measured : bool
        The axis lines were touched.
    diameter_assumed : bool
    limits : dict of str to AngleLimit
    placed : bool
        The place of the unit in T is known.
    frame : LineFrame
    values : ndarray
        Parameters of the lines as they are believed.
    """

    radius_mm: float
    chord_mm: tuple[float, float]
    over_holes: bool
    round_limit: AngleLimit
    round_limit_mm: float
    stops: tuple[Stop, ...]
    level: tuple[Dial, ...]
    checks: tuple[DialCheck, ...]
    one_way: bool
    measured: bool
    diameter_assumed: bool
    limits: dict[str, AngleLimit]
    placed: bool
    frame: LineFrame
    values: Floats

    def at(self, stop: Stop) -> Floats | None:
        """Return where the tip stands at a stop, T [mm]; ``None`` where nobody knows the place."""
        if not self.placed:
            return None
        chain = self.frame.chain(self.values)
        angles = [stop.tilt_rad, stop.turn_rad][2 - len(chain.axes) :]
        middle = chain.points(angles, self.frame.platter_origin(self.values))
        return np.asarray(middle + np.asarray(stop.at_mm))

    def check(self, name: str) -> DialCheck | None:
        """Return the check called `name`, if this unit has it."""
        return next((one for one in self.checks if one.name == name), None)
