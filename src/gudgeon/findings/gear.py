"""What there is to read with, where the unit stands, and one reading that could be taken."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.readings import Reading
from gudgeon.kinematics.chain import WorkChain

__all__ = [
    "INDICATOR_U_MM",
    "Candidate",
    "Gear",
    "Setting",
    "covered_mm",
    "gear_of",
    "on_face",
    "platter_radius",
    "pose_of",
]

Floats = NDArray[np.float64]

READING_U_MM: Final = 0.005
"""Standard uncertainty of a touch where none is entered; common practice, no source."""

INDICATOR_U_MM: Final = 0.002
"""The same of one reading of an indicator."""

LEVEL_U_RAD: Final = 2e-5
"""The same of a machinist's level: 0.02 mm over a metre, one division."""

PLATTER_RADIUS_MM: Final = 100.0
"""Where the diameter of the platter is not entered."""

STYLUS_REACH_MM: Final = 100.0
"""How far stylus and holder reach down beside a face; more, where touches at hand went deeper."""

MINUTES: Final = {"touch": 1.0, "bore": 2.0, "ball": 2.0, "sweep": 3.0, "level": 4.0}
"""Each takes where ``readings.minutes_per_reading`` is left out (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Gear:
    """What there is to read with, and how well.

    Attributes
    ----------
    have : tuple of str
        Of `gudgeon.cell.model_readings.GEAR`.
    touch_u_mm, indicator_u_mm, level_u_rad : float
        Standard uncertainty of one reading.
    step_mm : float
        Read-out step of the touches.
    radius_mm : float
        Of the stylus ball.
    reach_mm : float
        How far down beside a face the stylus reaches.
    minutes : float or None
        Of one reading, where entered.
    bare : bool
        The fixture is off the platter, or there is none.
    """

    have: tuple[str, ...]
    touch_u_mm: float
    indicator_u_mm: float
    level_u_rad: float
    step_mm: float
    radius_mm: float
    reach_mm: float
    minutes: float | None
    bare: bool

    def minutes_of(self, kind: str, readings: int) -> float:
        """Return the minutes of one candidate of so many readings."""
        if self.minutes is None:
            return MINUTES[kind]
        return self.minutes * (readings if kind in ("sweep", "level") else 1)


@dataclass(frozen=True, slots=True)
class Setting:
    """Where the unit stands, as far as it is known, and how it is spoken of.

    Attributes
    ----------
    frame : LineFrame
    chain : WorkChain
    origin_mm : ndarray, shape (3,)
        Where the rotary line pierces the platter face, both angles zero.
    platter : ndarray, shape (3, 3)
        Axes of the platter, both angles zero, as columns.
    features : tuple of str
        Bores, pins and balls that were read already.
    sizes : dict
        Their radius [mm].
    offsets : dict
        How far each stands from the rotary line, both angles zero, in T [mm].
    balls : dict
        Where each ball stands, both angles zero, in T [mm].
    new_ball : bool
        The ball is not on the platter yet.
    """

    frame: LineFrame
    chain: WorkChain
    origin_mm: Floats
    platter: Floats
    features: tuple[str, ...]
    sizes: dict[str, float]
    offsets: dict[str, Floats]
    balls: dict[str, Floats]
    new_ball: bool


@dataclass(frozen=True, slots=True)
class Candidate:
    """A reading, or a row of readings with one zero, that could be taken.

    Attributes
    ----------
    kind : str
        ``"touch"``, ``"bore"``, ``"sweep"``, ``"ball"`` or ``"level"``.
    what, how : str
        What is read, and an order.
    readings : tuple of Reading
        As expected.
    minutes : float
    setups : tuple of (str, float)
        Name and minutes of what must be done before.
    one_zero : bool
        The readings share a zero that is not known.
    """

    kind: str
    what: str
    how: str
    readings: tuple[Reading, ...]
    minutes: float
    setups: tuple[tuple[str, float], ...]
    one_zero: bool = False


def gear_of(cell: Cell, used: tuple[Reading, ...], setting: Setting) -> Gear:
    """Return what the shop reads with, from its entries and from the readings at hand."""
    given = cell.readings
    touches = [r for r in used if r.feature != "level"]
    u = min((r.u_mm for r in touches), default=READING_U_MM)
    if given.reading_u is not None:
        u = given.reading_u.value
    ball = given.ball_diameter.value / 2.0 if given.ball_diameter is not None else 0.0
    radius = platter_radius(cell)
    reach = STYLUS_REACH_MM
    for r in touches:
        place = np.asarray(r.position_mm)
        if r.feature != "face" or r.toward is None or abs(r.toward[2]) > 0.5 or np.isnan(place[2]):
            continue
        middle = setting.chain.points(pose_of(setting, r.tilt_rad, r.rotary_rad), setting.origin_mm)
        along = float((place - middle)[~np.isnan(place)] @ on_face(setting.frame)[~np.isnan(place)])
        rim = math.sqrt(max(radius**2 - along**2, 0.0))
        reach = max(reach, float(middle[2] + rim - place[2]))
    covered = covered_mm(cell)
    bare = covered == 0.0 or not used
    for r in touches:
        place = np.asarray(r.position_mm)
        if r.feature in ("bore", "pin"):
            bare = True
        elif r.feature == "face" and not np.any(np.isnan(place)):
            middle = setting.chain.points(
                pose_of(setting, r.tilt_rad, r.rotary_rad), setting.origin_mm
            )
            bare = bare or float(np.linalg.norm(place - middle)) < covered
    return Gear(
        have=given.have or ("probe",),
        touch_u_mm=u,
        indicator_u_mm=min(u, INDICATOR_U_MM),
        level_u_rad=LEVEL_U_RAD if given.level_u is None else given.level_u.value,
        step_mm=0.0 if given.step is None else given.step.value,
        radius_mm=max((r.radius_mm for r in touches), default=ball),
        reach_mm=reach,
        minutes=None
        if given.minutes_per_reading is None
        else _minutes(given.minutes_per_reading.value),
        bare=bare,
    )


def _minutes(seconds: float) -> float:
    return seconds / 60.0


def platter_radius(cell: Cell) -> float:
    """Return the radius of the platter, as entered or assumed [mm]."""
    diameter = cell.unit.platter_diameter
    return PLATTER_RADIUS_MM if diameter is None else diameter.value / 2.0


def covered_mm(cell: Cell) -> float:
    """Return the radius around the rotary line that the fixture covers; 0 without one."""
    fixture = cell.fixture
    if fixture.radius is not None:
        return fixture.radius.value
    return 0.0 if fixture.half_width is None else math.sqrt(2.0) * fixture.half_width.value


def on_face(frame: LineFrame) -> Floats:
    """Return a level direction that lies on the platter face in every pose, in T.

    Along the tilt line; for a single axis, whose face stands upright, across its line.
    """
    along = np.asarray(frame.along)
    return along if len(frame.axes) == 2 else np.array([-along[1], along[0], 0.0])


def pose_of(setting: Setting, tilt: float, turn: float) -> Floats:
    """Return the angles that the chain takes [rad]."""
    return np.array([tilt, turn] if len(setting.frame.axes) == 2 else [turn])
