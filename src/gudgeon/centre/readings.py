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
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.errors import straightened, turned_to
from gudgeon.centre.lines import LineFrame, level_direction, upright_direction

__all__ = ["BALL", "GLANCING", "SLOPES", "Model", "Reading"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

BALL: Final = "ball "
"""What the name of a ball's feature begins with."""

LEAST_U: Final = 1e-6
"""Standard uncertainty of a reading that states none: a nanometre, so that it weighs as exact."""

GLANCING: Final = 0.25
"""A surface whose normal makes less than this cosine with the approach is not used: the tip slides
along it, and the reading says little (about 75 deg; common practice, no source)."""

SLOPES = ("slope_x", "slope_y")
"""Slopes of the platter face in the frame of the rotary line, no unit."""


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


@dataclass(frozen=True, slots=True)
class _State:
    """Parameters, and what follows from them for every reading: angles [rad], places [mm]."""

    v: Numbers
    tilt: Numbers
    rotary: Numbers
    place: Numbers
    zero: Numbers


class Model:
    """Predicts readings from parameters; takes real or complex parameters.

    Parameters
    ----------
    frame : LineFrame
    readings : tuple of Reading
    optional : tuple of str
        Those of `gudgeon.centre.errors.OPTIONAL` that are parameters.

    Attributes
    ----------
    parameters : tuple of str
        Lines, slopes of the face, then ``<feature>_x``, ``<feature>_y``, ``<feature>_radius`` for
        each bore or pin that was touched, ``ball <name>_x``, ``_y``, ``_z`` for each ball (frame
        of the rotary line), ``zero_<name>`` for each shared zero, and the optional ones.
    residual_rows : list of int
        Index of the reading behind each residual: a bore's centre has two, a ball's up to three.
    residual_kinds : tuple of str
        ``"mm"``, or ``"rad"`` for a level.
    u_mm : ndarray, shape (n,)
        Standard uncertainty of each residual, its read-out step counted in; rad for a level.
    """

    def __init__(
        self, frame: LineFrame, readings: tuple[Reading, ...], optional: tuple[str, ...] = ()
    ) -> None:
        self.frame = frame
        self.readings = readings
        self.optional = optional
        self.features = tuple(
            name for name in ("bore", "pin") if any(r.feature == name for r in readings)
        )
        self.balls = _in_order(r.feature for r in readings if r.feature.startswith(BALL))
        self.zeros = _in_order(r.zero for r in readings if r.zero)
        named = [f"{name}_{part}" for name in self.features for part in ("x", "y", "radius")]
        named += [f"{name}_{part}" for name in self.balls for part in "xyz"]
        named += [f"zero_{name}" for name in self.zeros]
        self.parameters = (*frame.parameters, *SLOPES, *named, *optional)
        parts = [(i, part) for i, r in enumerate(readings) for part in _coordinates(r)]
        self.residual_rows = [i for i, _ in parts]
        self.residual_kinds = tuple(
            "rad" if readings[i].feature == "level" else "mm" for i in self.residual_rows
        )
        self._part = np.array([part for _, part in parts], dtype=np.intp)
        self.u_mm = np.array(
            [
                max(math.hypot(readings[i].u_mm, readings[i].step / math.sqrt(12.0)), LEAST_U)
                for i in self.residual_rows
            ]
        )
        self._at = {name: i for i, name in enumerate(self.parameters)}
        self._two = len(frame.axes) == 2
        # Machine axes as rows in the line frame: row k is machine axis k.
        self._machine = frame.basis
        self._place = np.array([r.position_mm for r in readings], dtype=np.float64).reshape(-1, 3)
        self._place = self._place - np.asarray(frame.origin_mm)
        self._way = np.array([r.toward or (0.0, 0.0, 0.0) for r in readings]).reshape(-1, 3)
        self._side_of = np.sign(np.sum(self._way, axis=1))
        self._toward = self._way @ self._machine
        # A touch counts along the positive machine axis of its approach.
        self._along = np.abs(self._way) @ self._machine
        self._radius = np.array([r.radius_mm for r in readings])
        self._inclined = np.array([r.angle_rad for r in readings])
        self._tilt = np.array([r.tilt_rad for r in readings])
        self._rotary = np.array([r.rotary_rad for r in readings])
        # Index into the parameters, with a zero that is always nought behind the last of them.
        nought = len(self.parameters)
        self._zero_at = np.array(
            [self._at[f"zero_{r.zero}"] if r.zero else nought for r in readings], dtype=np.intp
        )
        kinds = [_kind(r) for r in readings]
        self._groups = [
            (kind, np.array([i for i, k in enumerate(kinds) if k == kind], dtype=np.intp))
            for kind in _in_order(kinds)
        ]
        first: dict[int, int] = {}
        for at, i in enumerate(self.residual_rows):
            first.setdefault(i, at)
        self._first = np.array([first.get(i, 0) for i in range(len(readings))], dtype=np.intp)
        self._rows_of = np.array(self.residual_rows, dtype=np.intp)

    def start(self) -> Floats:
        """Return the nominal parameters: all zero."""
        return np.zeros(len(self.parameters))

    def residuals(self, values: Numbers, turned: tuple[complex, complex] = (0.0, 0.0)) -> Numbers:
        """Return measured less predicted coordinates [mm; rad for a level], shape (n,).

        Parameters
        ----------
        values : ndarray, shape (p,)
        turned : tuple of 2 numbers
            By how much tilt and rotary axis stand beyond what was programmed, everywhere [rad].
        """
        s = self._state(np.asarray(values), turned)
        out = np.zeros(len(self.residual_rows), dtype=np.result_type(s.v, s.tilt, s.rotary))
        for (what, name), rows in self._groups:
            first = self._first[rows]
            if what == "face":
                out[first] = self._face(s, rows)
            elif what == "side":
                out[first] = self._side(s, name, rows)
            elif what == "centre":
                x_y = self._centre(s, name, rows)
                out[first], out[first + 1] = x_y[:, 0], x_y[:, 1]
            elif what == "level":
                out[first] = self._level(s, rows)
            elif what == "ball":
                apart = np.zeros((len(self.readings), 3), dtype=out.dtype)
                apart[rows] = self._ball(s, name, rows)
                here = np.isin(self._rows_of, rows)
                out[here] = apart[self._rows_of[here], self._part[here]]
        return out

    def index_slopes(self, values: Floats) -> Floats:
        """Return how each residual moves with its own tilt and rotary angle, shape (n, 2).

        The angle is the one at which the axis really stands [mm/rad; none for a level].
        """
        step = 1e-30
        columns = [
            np.asarray(self.residuals(values, turned)).imag / step
            for turned in ((1j * step, 0.0), (0.0, 1j * step))
        ]
        return np.column_stack(columns)

    def outward(self, values: Floats, index: int) -> float:
        """Return the cosine between the approach and the outward normal of the face.

        Negative for a touch from outside; positive means that the face looks the other way.
        """
        return float(self.normal(values, index) @ (self._machine @ self._toward[index]))

    def normal(self, values: Floats, index: int) -> Floats:
        """Return the outward normal of the face that reading `index` touches, in T."""
        normal = self._face_normal(self._state(values), np.array([index]))[0]
        return np.asarray(self._machine @ normal, dtype=np.float64)

    def upright(self, values: Floats, index: int) -> float:
        """Return how upright the bore or pin of reading `index` stands: cosine to machine Z."""
        name = self.readings[index].feature
        return float(self._axis_of(self._state(values), name, np.array([index]))[1][0, 2])

    def along(self, values: Floats, index: int) -> float:
        """Return the cosine between the approach of reading `index` and its bore or pin."""
        name = self.readings[index].feature
        direction = self._axis_of(self._state(values), name, np.array([index]))[1][0]
        return abs(float(direction @ self._toward[index]))

    def _state(self, v: Numbers, turned: tuple[complex, complex] = (0.0, 0.0)) -> _State:
        """Return angles and places as they really are under the parameters."""
        tilt_sense = self.frame.axes[0].sense if self._two else 0
        tilt = turned_to("tilt", self._tilt, v, self._at) + turned[0]
        rotary = turned_to("rotary", self._rotary, v, self._at) + turned[1]
        place = straightened(self._place, v, self._at)
        zero = np.append(v, 0.0)[self._zero_at]
        if self.zeros:
            place = place + zero[:, None] * self._way
        return _State(v, tilt_sense * tilt, self.frame.axes[-1].sense * rotary, place, zero)

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

    def _turned(self, s: _State, vector: Numbers, rows: NDArray[np.intp]) -> Numbers:
        """Turn one direction of the platter by rotary and tilt angle of each row."""
        axis = self._platter(s.v)[1][:, 2]
        turned = _turn(np.broadcast_to(vector, (len(rows), 3)), axis, s.rotary[rows])
        if self._two:
            turned = _turn(turned, level_direction(s.v[2], s.v[3]), s.tilt[rows])
        return turned

    def _point(self, s: _State, off: Numbers, rows: NDArray[np.intp]) -> Numbers:
        """Return where the point `off` from the rotary line's crossing stands in each row."""
        crossing, basis = self._platter(s.v)
        spread = np.broadcast_to(off, (len(rows), 3))
        point = crossing + _turn(spread, basis[:, 2], s.rotary[rows])
        if self._two:
            on_line = np.array([0.0 * s.v[0], s.v[0], s.v[1]])
            line = level_direction(s.v[2], s.v[3])
            point = on_line + _turn(point - on_line, line, s.tilt[rows])
        return point

    def _face_normal(self, s: _State, rows: NDArray[np.intp]) -> Numbers:
        slope_x, slope_y = s.v[self._at["slope_x"]], s.v[self._at["slope_y"]]
        local = np.array([-slope_x, -slope_y, 1.0 + 0.0 * slope_x])
        local = local / np.sqrt(np.sum(local**2))
        outward = self.frame.face_side if not self._two else 1.0
        return self._turned(s, self._platter(s.v)[1] @ local * outward, rows)

    def _face(self, s: _State, rows: NDArray[np.intp]) -> Numbers:
        normal = self._face_normal(s, rows)
        origin = self._point(s, self._platter(s.v)[1][:, 2] * s.v[self._at["face"]], rows)
        distance = _dot(normal, self._known(s, rows, origin) - origin) - self._radius[rows]
        return np.asarray(distance / _dot(normal, self._along[rows]))

    def _axis_of(self, s: _State, name: str, rows: NDArray[np.intp]) -> tuple[Numbers, Numbers]:
        """Return a point (at the height of the face) and the direction of a bore or pin."""
        _, basis = self._platter(s.v)
        at = self._at[f"{name}_x"]
        off = basis @ np.array([s.v[at], s.v[at + 1], s.v[self._at["face"]]])
        return self._point(s, off, rows), self._turned(s, basis[:, 2], rows)

    def _centre(self, s: _State, name: str, rows: NDArray[np.intp]) -> Numbers:
        point, direction = self._axis_of(s, name, rows)
        off = self._known(s, rows, point) - point
        # Follow the bore's axis to the height at which it was measured.
        off = off - direction * (off[:, 2] / direction[:, 2])[:, None]
        return np.asarray(off @ self._machine[:2].T)

    def _side(self, s: _State, name: str, rows: NDArray[np.intp]) -> Numbers:
        point, direction = self._axis_of(s, name, rows)
        outside = 1.0 if name == "pin" else -1.0
        reach = s.v[self._at[f"{name}_radius"]] + outside * self._radius[rows]
        along = self._along[rows]
        off = self._known(s, rows, point) - point
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

    def _ball(self, s: _State, name: str, rows: NDArray[np.intp]) -> Numbers:
        """Return how far the ball's centre was found from where it should stand, machine axes."""
        at = self._at[f"{name}_x"]
        point = self._point(s, self._platter(s.v)[1] @ s.v[at : at + 3], rows)
        return np.asarray(s.place[rows] - point @ self._machine.T)

    def _level(self, s: _State, rows: NDArray[np.intp]) -> Numbers:
        """Return inclination read less that of the face in the upright plane of the approach."""
        normal = self._face_normal(s, rows)
        rise = -_dot(normal, self._toward[rows]) / normal[:, 2]
        return np.asarray(self._inclined[rows] + s.zero[rows] - np.arctan(rise))

    def _known(self, s: _State, rows: NDArray[np.intp], instead: Numbers) -> Numbers:
        """Return the places of the rows in the line frame; unknown parts taken from `instead`."""
        machine = s.place[rows]
        filled = np.where(np.isnan(machine), instead @ self._machine.T, machine)
        return np.asarray(filled @ self._machine)

    def _noted(self, rows: NDArray[np.intp], direction: Numbers) -> NDArray[np.bool_]:
        """Whether the other coordinate across the bore or pin was noted too."""
        other = np.cross(np.real(direction), self._along[rows]) @ self._machine.T
        return np.asarray(~np.any(np.isnan(self._place[rows]) & (np.abs(other) > 0.5), axis=1))


def _kind(reading: Reading) -> tuple[str, str]:
    """Return how a reading is predicted, and of what."""
    feature = reading.feature
    if feature in ("face", "level"):
        return feature, feature
    if feature.startswith(BALL):
        return "ball", feature
    return "centre" if reading.toward is None else "side", feature


def _coordinates(reading: Reading) -> tuple[int, ...]:
    """Return the machine axes that a reading counts; 0 stands for the one of its approach."""
    what, _ = _kind(reading)
    if what == "ball":
        return tuple(k for k in range(3) if not math.isnan(reading.position_mm[k]))
    return (0, 1) if what == "centre" else (0,)


def _in_order(items: Iterable[Any]) -> tuple[Any, ...]:
    """Return each item once, in the order of its first appearance."""
    return tuple(dict.fromkeys(items))


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
