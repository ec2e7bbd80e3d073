"""What the model of the unit predicts for each reading.

A touch counts one machine coordinate: the one along which the tip approached.  Its residual is the
measured less the predicted coordinate, so that a residual can be read against the display.  The two
other coordinates only say where the surface was touched.

Model: a work point p of the platter stands at Turn(tilt) Turn(rotary) p.  The platter face is the
plane z = face + slope_x x + slope_y y in the frame of the rotary line; a bore or pin is a cylinder
whose axis is parallel to the rotary line at (centre_x, centre_y) from it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.errors import straightened, turned_to
from gudgeon.centre.lines import LineFrame, level_direction, upright_direction
from gudgeon.centre.reading import BALL, GLANCING, Reading

__all__ = ["BALL", "GLANCING", "SLOPES", "Model", "Reading"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

STEP: Final = 1e-30
"""Complex step, small enough that its square vanishes."""

LEAST_U: Final = 1e-6
"""Standard uncertainty of a reading that states none: a nanometre, so that it weighs as exact."""

SLOPES = ("slope_x", "slope_y")
"""Slopes of the platter face in the frame of the rotary line, no unit."""


@dataclass(frozen=True, slots=True)
class _State:
    """B sets of parameters, and what follows from them for all n readings; line frame.

    Attributes
    ----------
    v : ndarray, shape (p, B, 1)
    place : ndarray, shape (n, 3) or (B, n, 3)
        Machine coordinates, counted from the frame's origin [mm].
    zero : ndarray, shape (n, B)
    crossing : ndarray, shape (B, n, 3)
        Where the rotary line's crossing stands in the pose of each reading.
    axes : tuple of 3 ndarrays, shape (B, n, 3)
        Directions of the platter's x, y and z there.
    """

    v: Numbers
    place: Numbers
    zero: Numbers
    crossing: Numbers
    axes: tuple[Numbers, Numbers, Numbers]


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
        self.u_mm = np.array([max(readings[i].spread, LEAST_U) for i in self.residual_rows])
        self._at = {name: i for i, name in enumerate(self.parameters)}
        self._two = len(frame.axes) == 2
        # Machine axes as rows in the line frame: row k is machine axis k.
        self._machine = frame.basis
        self._back = frame.basis.T
        self._place = np.array([r.position_mm for r in readings], dtype=np.float64).reshape(-1, 3)
        self._place = self._place - np.asarray(frame.origin_mm)
        self._whole = not np.any(np.isnan(self._place))
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
        """Return measured less predicted coordinates [mm; rad for a level].

        Parameters
        ----------
        values : ndarray, shape (p,) or (B, p)
            One set of parameters, or several at once.
        turned : tuple of 2 numbers
            By how much tilt and rotary axis stand beyond what was programmed, everywhere [rad].

        Returns
        -------
        ndarray, shape (n,) or (B, n)
        """
        v = np.asarray(values)
        s = self._state(np.atleast_2d(v), turned)
        out = np.zeros((s.v.shape[1], len(self.residual_rows)), dtype=s.crossing.dtype)
        for (what, name), rows in self._groups:
            first = self._first[rows]
            if what == "face":
                out[:, first] = self._face(s, rows)
            elif what == "side":
                out[:, first] = self._side(s, name, rows)
            elif what == "centre":
                x_y = self._centre(s, name, rows)
                out[:, first], out[:, first + 1] = x_y[..., 0], x_y[..., 1]
            elif what == "level":
                out[:, first] = self._level(s, rows)
            elif what == "ball":
                apart = np.zeros((len(out), len(self.readings), 3), dtype=out.dtype)
                apart[:, rows] = self._ball(s, name, rows)
                here = np.isin(self._rows_of, rows)
                out[:, here] = apart[:, self._rows_of[here], self._part[here]]
        return np.asarray(out[0] if v.ndim == 1 else out)

    def derivatives(self, values: Floats, columns: Sequence[int] | None = None) -> Floats:
        """Return derivatives of the residuals by all or some parameters, shape (n, p).

        By complex steps, all at once.
        """
        chosen = list(range(len(values))) if columns is None else list(columns)
        if not chosen:
            return np.zeros((len(self.residual_rows), 0))
        steps = np.zeros((len(chosen), len(values)), dtype=np.complex128)
        steps[np.arange(len(chosen)), chosen] = 1j * STEP
        return np.asarray(self.residuals(values + steps).imag.T / STEP)

    def index_slopes(self, values: Floats) -> Floats:
        """Return how each residual moves with its own tilt and rotary angle, shape (n, 2).

        The angle is the one at which the axis really stands [mm/rad; none for a level].
        """
        columns = [
            np.asarray(self.residuals(values, turned)).imag / STEP
            for turned in ((1j * STEP, 0.0), (0.0, 1j * STEP))
        ]
        return np.column_stack(columns)

    def normals(self, values: Floats) -> Floats:
        """Return the outward normal of the face in the pose of each reading, in T, shape (m, 3)."""
        rows = np.arange(len(self.readings))
        return np.asarray(self._face_normal(self._state(values[None, :]), rows)[0]) @ self._back

    def upright_directions(self, values: Floats) -> Floats:
        """Return where bores and pins point in the pose of each reading, in T, shape (m, 3)."""
        return np.asarray(self._state(values[None, :]).axes[2][0]) @ self._back

    def outward(self, values: Floats, index: int) -> float:
        """Return the cosine between the approach and the outward normal of the face.

        Negative for a touch from outside; positive means that the face looks the other way.
        """
        return float(self.normals(values)[index] @ self._way[index])

    def _state(self, values: Numbers, turned: tuple[complex, complex] = (0.0, 0.0)) -> _State:
        """Return angles and places as they really are under parameters of shape (B, p)."""
        v = values.T[:, :, None]
        rotary = turned_to("rotary", self._rotary, v, self._at) + turned[1]
        rotary = self.frame.axes[-1].sense * rotary
        place = straightened(self._place, v, self._at)
        zero = np.concatenate([v[:, :, 0], np.zeros_like(v[:1, :, 0])])[self._zero_at]
        if self.zeros:
            place = place + zero.T[:, :, None] * self._way
        crossing, (x, y, z) = self._platter(v)
        cosine, sine = np.cos(rotary)[..., None], np.sin(rotary)[..., None]
        # Turning about z leaves z and the crossing where they are.
        moved = [cosine * x + sine * y, cosine * y - sine * x, z, crossing]
        if self._two:
            tilt = turned_to("tilt", self._tilt, v, self._at) + turned[0]
            tilt = self.frame.axes[0].sense * tilt
            on_line = _vector(0.0 * v[0], v[0], v[1])
            moved[3] = crossing - on_line
            line = _components(level_direction(v[2], v[3]))
            together = np.stack(np.broadcast_arrays(*moved), axis=-2)
            together = _turn(together, line[..., None, :], tilt[..., None])
            moved = [together[..., k, :] for k in range(4)]
            moved[3] = moved[3] + on_line
        shape = (v.shape[1], len(self.readings), 3)
        kind = np.result_type(*moved)
        x, y, z, crossing = (np.broadcast_to(one, shape).astype(kind) for one in moved)
        return _State(v, place, zero, crossing, (x, y, z))

    # What stands where: arrays of shape (B, number of rows, 3), real or complex ---------------

    def _platter(self, v: Numbers) -> tuple[Numbers, tuple[Numbers, Numbers, Numbers]]:
        """Return crossing point and axes of the frame of the rotary line, angles zero."""
        zero = 0.0 * v[0]
        if self._two:
            roll, pitch = v[6], v[7]
            x = _vector(np.cos(pitch), np.sin(roll) * np.sin(pitch), -np.cos(roll) * np.sin(pitch))
            y = _vector(zero, np.cos(roll), np.sin(roll))
            return _vector(v[4], v[5], zero), (x, y, _components(upright_direction(roll, pitch)))
        z = _components(level_direction(v[2], v[3]))
        x = _vector(-np.sin(v[3]), np.cos(v[3]), zero)
        return _vector(zero, v[0], v[1]), (x, _cross(z, x), z)

    def _point(self, s: _State, off: tuple[Numbers, ...], rows: NDArray[np.intp]) -> Numbers:
        """Return where the point with coordinates `off` on the platter stands in each row."""
        return np.asarray(s.crossing[:, rows] + self._direction(s, off, rows))

    def _direction(self, s: _State, along: tuple[Numbers, ...], rows: NDArray[np.intp]) -> Numbers:
        """Return where a vector fixed on the platter points in each row."""
        x, y, z = (axis[:, rows] for axis in s.axes)
        a, b, c = (part[..., None] for part in along)
        return np.asarray(x * a + y * b + z * c)

    def _face_normal(self, s: _State, rows: NDArray[np.intp]) -> Numbers:
        slope_x, slope_y = s.v[self._at["slope_x"]], s.v[self._at["slope_y"]]
        length = np.sqrt(slope_x**2 + slope_y**2 + 1.0)
        outward = self.frame.face_side if not self._two else 1.0
        scale = outward / length
        return self._direction(s, (-slope_x * scale, -slope_y * scale, scale), rows)

    def _face(self, s: _State, rows: NDArray[np.intp]) -> Numbers:
        normal = self._face_normal(s, rows)
        origin = s.crossing[:, rows] + s.axes[2][:, rows] * s.v[self._at["face"]][..., None]
        distance = _dot(normal, self._known(s, rows, origin) - origin) - self._radius[rows]
        return np.asarray(distance / _dot(normal, self._along[rows]))

    def _axis_of(self, s: _State, name: str, rows: NDArray[np.intp]) -> tuple[Numbers, Numbers]:
        """Return a point (at the height of the face) and the direction of a bore or pin."""
        at = self._at[f"{name}_x"]
        off = (s.v[at], s.v[at + 1], s.v[self._at["face"]])
        return self._point(s, off, rows), s.axes[2][:, rows]

    def _centre(self, s: _State, name: str, rows: NDArray[np.intp]) -> Numbers:
        point, direction = self._axis_of(s, name, rows)
        off = self._known(s, rows, point) - point
        # Follow the bore's axis to the height at which it was measured.
        off = off - direction * (off[..., 2] / direction[..., 2])[..., None]
        return np.asarray(off @ self._machine[:2].T)

    def _side(self, s: _State, name: str, rows: NDArray[np.intp]) -> Numbers:
        point, direction = self._axis_of(s, name, rows)
        outside = 1.0 if name == "pin" else -1.0
        reach = s.v[self._at[f"{name}_radius"]] + outside * self._radius[rows]
        along = self._along[rows]
        off = self._known(s, rows, point) - point
        across = off - direction * _dot(direction, off)[..., None]
        # Both coordinates across the bore were noted: distance from its axis.
        distance = np.sqrt(_dot(across, across))
        safe = np.where(np.abs(distance) > 1e-9, distance, 1.0)
        square = _dot(across / safe[..., None], along)
        full = (distance - reach) / np.where(np.abs(square) > 1e-9, square, 1.0)
        # Only the counting coordinate was noted: taken as touched on the middle.
        flat = np.sqrt(1.0 - _dot(direction, along) ** 2)
        side = -outside * self._side_of[rows]
        middle = (_dot(across, along) / flat - side * reach) / flat
        return np.asarray(np.where(self._noted(rows, direction), full, middle))

    def _ball(self, s: _State, name: str, rows: NDArray[np.intp]) -> Numbers:
        """Return how far the ball's centre was found from where it should stand, machine axes."""
        at = self._at[f"{name}_x"]
        point = self._point(s, (s.v[at], s.v[at + 1], s.v[at + 2]), rows)
        return np.asarray(s.place[..., rows, :] - point @ self._machine.T)

    def _level(self, s: _State, rows: NDArray[np.intp]) -> Numbers:
        """Return inclination read less that of the face in the upright plane of the approach."""
        normal = self._face_normal(s, rows)
        rise = -_dot(normal, self._toward[rows]) / normal[..., 2]
        return np.asarray(self._inclined[rows] + s.zero[rows].T - np.arctan(rise))

    def _known(self, s: _State, rows: NDArray[np.intp], instead: Numbers) -> Numbers:
        """Return the places of the rows in the line frame; unknown parts taken from `instead`."""
        machine = s.place[..., rows, :]
        if not self._whole:
            machine = np.where(np.isnan(machine), instead @ self._machine.T, machine)
        return np.asarray(machine @ self._machine)

    def _noted(self, rows: NDArray[np.intp], direction: Numbers) -> NDArray[np.bool_]:
        """Whether the other coordinate across the bore or pin was noted too."""
        other = np.cross(np.real(direction), self._along[rows]) @ self._machine.T
        return np.asarray(~np.any(np.isnan(self._place[rows]) & (np.abs(other) > 0.5), axis=-1))


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


def _components(parts: Numbers) -> Numbers:
    """Return vectors of shape (B, 1, 3) from components of shape (3, B, 1)."""
    return np.moveaxis(parts, 0, -1)


def _vector(x: Numbers, y: Numbers, z: Numbers) -> Numbers:
    return np.stack([x, y, z], axis=-1)


def _cross(a: Numbers, b: Numbers) -> Numbers:
    """Return a x b; the library's own is ten times slower on so few rows."""
    return np.stack(
        [
            a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1],
            a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2],
            a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0],
        ],
        axis=-1,
    )


def _turn(vectors: Numbers, axis: Numbers, angles: Numbers) -> Numbers:
    """Turn vectors right-handed about a unit direction (Rodrigues' rotation formula)."""
    sine, versine = np.sin(angles)[..., None], (2.0 * np.sin(0.5 * angles) ** 2)[..., None]
    along = _dot(axis, vectors)[..., None]
    return np.asarray(vectors + sine * _cross(axis, vectors) + versine * (axis * along - vectors))
