"""Touches as the engines see them, and what the model of the unit predicts for each.

A touch counts one machine coordinate: the one along which the tip approached.  Its residual is the
measured less the predicted coordinate, so that a residual can be read against the display.  The two
other coordinates only say where the surface was touched.

Model: a work point p of the platter stands at Turn(tilt) Turn(rotary) p.  The platter face is the
plane z = face + slope_x x + slope_y y in the frame of the rotary line; a bore or pin is a cylinder
whose axis is parallel to the rotary line at (centre_x, centre_y) from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.lines import LineFrame, level_direction, upright_direction

__all__ = ["GLANCING", "SLOPES", "Model", "Reading"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

GLANCING: Final = 0.25
"""A surface whose normal makes less than this cosine with the approach is not used: the tip slides
along it, and the reading says little (about 75 deg; common practice, no source)."""

SLOPES = ("slope_x", "slope_y")
"""Slopes of the platter face in the frame of the rotary line, no unit."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One touch, or the centre of a bore or pin found by the control's cycle.

    Attributes
    ----------
    row : int
        Line of the table of readings, to name it.
    feature : str
        ``"face"``, ``"bore"`` or ``"pin"``.
    toward : tuple of 3 floats or None
        Unit vector of the approach in T, along a machine axis; ``None`` for a centre (x and y).
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
        Parameter ``zero_<name>``, added to the counting coordinate [mm] (level: [rad]).
    seat : int
        Number of the positioning of tilt and rotary: rows with one number were read without an
        axis moving in between and share its index error; -1: its own.
    angle_rad : float
        Feature ``"level"``: inclination read, positive where the face rises along `toward`; `u_mm`
        is then in rad and the position unused.
    step : float
        Read-out step [mm]; step / sqrt 12 is added in quadrature to `u_mm`.
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


class Model:
    """Predicts readings from parameters; takes real or complex parameters.

    Parameters
    ----------
    frame : LineFrame
    readings : sequence of Reading

    Attributes
    ----------
    parameters : tuple of str
        Lines, slopes of the face, then ``<feature>_x``, ``<feature>_y``, ``<feature>_radius`` for
        each bore or pin that was touched.
    residual_rows : list of int
        Index of the reading behind each residual (a centre has two).
    """

    def __init__(self, frame: LineFrame, readings: tuple[Reading, ...]) -> None:
        self.frame = frame
        self.readings = readings
        self.features = tuple(
            name for name in ("bore", "pin") if any(r.feature == name for r in readings)
        )
        named = [f"{name}_{part}" for name in self.features for part in ("x", "y", "radius")]
        self.parameters = (*frame.parameters, *SLOPES, *named)
        self.residual_rows = [
            i for i, r in enumerate(readings) for _ in range(2 if r.toward is None else 1)
        ]
        self.u_mm = np.array([readings[i].u_mm for i in self.residual_rows])
        self._at = {name: i for i, name in enumerate(self.parameters)}
        self._two = len(frame.axes) == 2
        # Machine axes as rows in the line frame: row k is machine axis k.
        self._machine = frame.basis
        self._place = np.array([r.position_mm for r in readings], dtype=np.float64).reshape(-1, 3)
        self._place = self._place - np.asarray(frame.origin_mm)
        toward = np.array([r.toward or (0.0, 0.0, 0.0) for r in readings]).reshape(-1, 3)
        self._side_of = np.sign(np.sum(toward, axis=1))
        self._toward = toward @ self._machine
        # A touch counts along the positive machine axis of its approach.
        self._along = np.abs(toward) @ self._machine
        self._radius = np.array([r.radius_mm for r in readings])
        tilt_sense = frame.axes[0].sense if self._two else 0
        self._tilt = tilt_sense * np.array([r.tilt_rad for r in readings])
        self._rotary = frame.axes[-1].sense * np.array([r.rotary_rad for r in readings])
        self._groups = [
            (
                "face",
                np.array([i for i, r in enumerate(readings) if r.feature == "face"], dtype=np.intp),
            )
        ]
        for name in self.features:
            for kind in (True, False):
                rows = [
                    i
                    for i, r in enumerate(readings)
                    if r.feature == name and (r.toward is None) is kind
                ]
                self._groups.append((name, np.array(rows, dtype=np.intp)))
        first: dict[int, int] = {}
        for at, i in enumerate(self.residual_rows):
            first.setdefault(i, at)
        self._first = np.array([first[i] for i in range(len(readings))], dtype=np.intp)

    def start(self) -> Floats:
        """Return the nominal parameters: all zero."""
        return np.zeros(len(self.parameters))

    def residuals(self, values: Numbers) -> Numbers:
        """Return measured less predicted coordinates [mm], shape (number of residuals,)."""
        v = np.asarray(values)
        out = np.zeros(len(self.residual_rows), dtype=v.dtype)
        for name, rows in self._groups:
            if len(rows) == 0:
                continue
            first = self._first[rows]
            if name == "face":
                out[first] = self._face(v, rows)
            elif self.readings[rows[0]].toward is None:
                x_y = self._centre(v, name, rows)
                out[first], out[first + 1] = x_y[:, 0], x_y[:, 1]
            else:
                out[first] = self._side(v, name, rows)
        return out

    def outward(self, values: Floats, index: int) -> float:
        """Return the cosine between the approach and the outward normal of the face.

        Negative for a touch from outside; positive means that the face looks the other way.
        """
        return float(self.normal(values, index) @ (self._machine @ self._toward[index]))

    def normal(self, values: Floats, index: int) -> Floats:
        """Return the outward normal of the face that reading `index` touches, in T."""
        normal = self._face_normal(values, np.array([index]))[0]
        return np.asarray(self._machine @ normal, dtype=np.float64)

    def upright(self, values: Floats, index: int) -> float:
        """Return how upright the bore or pin of reading `index` stands: cosine to machine Z."""
        name = self.readings[index].feature
        return float(self._axis_of(values, name, np.array([index]))[1][0, 2])

    def along(self, values: Floats, index: int) -> float:
        """Return the cosine between the approach of reading `index` and its bore or pin."""
        name = self.readings[index].feature
        direction = self._axis_of(values, name, np.array([index]))[1][0]
        return abs(float(direction @ self._toward[index]))

    # What stands where: arrays of shape (number of rows, 3), real or complex -----------------

    def _platter(self, v: Numbers) -> tuple[Numbers, Numbers]:
        """Return crossing point and axes (columns) of the frame of the rotary line, angles zero."""
        zero = 0.0 * v[0]
        if self._two:
            roll, pitch = v[6], v[7]
            x = np.array(
                [np.cos(pitch), np.sin(roll) * np.sin(pitch), -np.cos(roll) * np.sin(pitch)]
            )
            y = np.array([zero, np.cos(roll), np.sin(roll)])
            z = upright_direction(roll, pitch)
            return np.array([v[4], v[5], zero]), np.column_stack([x, y, z])
        z = level_direction(v[2], v[3])
        x = np.array([-np.sin(v[3]), np.cos(v[3]), zero])
        return np.array([zero, v[0], v[1]]), np.column_stack([x, np.cross(z, x), z])

    def _turned(self, v: Numbers, vector: Numbers, rows: NDArray[np.intp]) -> Numbers:
        """Turn one direction of the platter by rotary and tilt angle of each row."""
        axis = self._platter(v)[1][:, 2]
        turned = _turn(np.broadcast_to(vector, (len(rows), 3)), axis, self._rotary[rows])
        if self._two:
            turned = _turn(turned, level_direction(v[2], v[3]), self._tilt[rows])
        return turned

    def _point(self, v: Numbers, off: Numbers, rows: NDArray[np.intp]) -> Numbers:
        """Return where the point `off` from the rotary line's crossing stands in each row."""
        crossing, basis = self._platter(v)
        spread = np.broadcast_to(off, (len(rows), 3))
        point = crossing + _turn(spread, basis[:, 2], self._rotary[rows])
        if self._two:
            on_line = np.array([0.0 * v[0], v[0], v[1]])
            line = level_direction(v[2], v[3])
            point = on_line + _turn(point - on_line, line, self._tilt[rows])
        return point

    def _face_normal(self, v: Numbers, rows: NDArray[np.intp]) -> Numbers:
        slope_x, slope_y = v[self._at["slope_x"]], v[self._at["slope_y"]]
        local = np.array([-slope_x, -slope_y, 1.0 + 0.0 * slope_x])
        local = local / np.sqrt(np.sum(local**2))
        outward = self.frame.face_side if not self._two else 1.0
        return self._turned(v, self._platter(v)[1] @ local * outward, rows)

    def _face(self, v: Numbers, rows: NDArray[np.intp]) -> Numbers:
        normal = self._face_normal(v, rows)
        origin = self._point(v, self._platter(v)[1][:, 2] * v[self._at["face"]], rows)
        distance = _dot(normal, self._known(rows, origin) - origin) - self._radius[rows]
        return np.asarray(distance / _dot(normal, self._along[rows]))

    def _axis_of(self, v: Numbers, name: str, rows: NDArray[np.intp]) -> tuple[Numbers, Numbers]:
        """Return a point (at the height of the face) and the direction of a bore or pin."""
        _, basis = self._platter(v)
        at = self._at[f"{name}_x"]
        off = basis @ np.array([v[at], v[at + 1], v[self._at["face"]]])
        return self._point(v, off, rows), self._turned(v, basis[:, 2], rows)

    def _centre(self, v: Numbers, name: str, rows: NDArray[np.intp]) -> Numbers:
        point, direction = self._axis_of(v, name, rows)
        off = self._known(rows, point) - point
        # Follow the bore's axis to the height at which it was measured.
        off = off - direction * (off[:, 2] / direction[:, 2])[:, None]
        return np.asarray(off @ self._machine[:2].T)

    def _side(self, v: Numbers, name: str, rows: NDArray[np.intp]) -> Numbers:
        point, direction = self._axis_of(v, name, rows)
        outside = 1.0 if name == "pin" else -1.0
        reach = v[self._at[f"{name}_radius"]] + outside * self._radius[rows]
        along = self._along[rows]
        off = self._known(rows, point) - point
        across = off - direction * _dot(direction, off)[:, None]
        # Both coordinates across the bore were noted: distance from its axis.
        distance = np.sqrt(_dot(across, across))
        safe = np.where(np.abs(distance) > 1e-9, distance, 1.0)
        square = _dot(across / safe[:, None], along)
        full = (distance - reach) / np.where(np.abs(square) > 1e-9, square, 1.0)
        # Only the counting coordinate was noted: taken as touched on the middle.
        flat = np.sqrt(1.0 - _dot(direction, along) ** 2)
        side = -outside * self._side_of[rows]
        middle = (_dot(across, along) / flat - side * reach) / flat
        return np.asarray(np.where(self._noted(rows, direction), full, middle))

    def _known(self, rows: NDArray[np.intp], instead: Numbers) -> Numbers:
        """Return the places of the rows in the line frame; unknown parts taken from `instead`."""
        machine = self._place[rows]
        filled = np.where(np.isnan(machine), instead @ self._machine.T, machine)
        return np.asarray(filled @ self._machine)

    def _noted(self, rows: NDArray[np.intp], direction: Numbers) -> NDArray[np.bool_]:
        """Whether the other coordinate across the bore or pin was noted too."""
        other = np.cross(np.real(direction), self._along[rows]) @ self._machine.T
        return np.asarray(~np.any(np.isnan(self._place[rows]) & (np.abs(other) > 0.5), axis=1))


def _dot(a: Numbers, b: Numbers) -> Numbers:
    return np.asarray(np.sum(a * b, axis=-1))


def _cross(a: Numbers, vectors: Numbers) -> Numbers:
    """Return a x v for each row; the library's own is ten times slower on so few rows."""
    x, y, z = vectors[:, 0], vectors[:, 1], vectors[:, 2]
    return np.stack([a[1] * z - a[2] * y, a[2] * x - a[0] * z, a[0] * y - a[1] * x], axis=1)


def _turn(vectors: Numbers, axis: Numbers, angles: Floats) -> Numbers:
    """Turn vectors right-handed about a unit direction (Rodrigues' rotation formula)."""
    sine, versine = np.sin(angles)[:, None], (2.0 * np.sin(0.5 * angles) ** 2)[:, None]
    along = _dot(axis, vectors)[:, None]
    return np.asarray(vectors + sine * _cross(axis, vectors) + versine * (axis * along - vectors))
