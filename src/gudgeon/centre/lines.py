"""The numbers that place the axis lines, and the chain that they make.

All numbers stand in the *line frame*: x along the first axis line as it lies nominally (level), z
up, y completing a right-handed frame, origin near the middle of the platter.  For a unit with
tilt and rotary axis the lines are

* tilt line: crosses the plane x = 0 at (0, ``tilt_y``, ``tilt_z``); its direction is x turned about
  y by ``tilt_pitch``, then about z by ``tilt_yaw``;
* rotary line: crosses the plane z = 0 at (``rotary_x``, ``rotary_y``, 0); its direction is z turned
  about y by ``rotary_pitch``, then about x by ``rotary_roll``;
* platter face: met by the rotary line at the distance ``face`` from that crossing.

For a unit with one rotary axis along the table the first two numbers and the two angles place the
rotary line as above, and ``face`` is counted along it from the plane x = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

__all__ = ["ONE_AXIS", "TWO_AXES", "LineFrame"]

Floats = NDArray[np.float64]
# Complex numbers pass through the model where exact derivatives are taken.
Numbers = NDArray[Any]

TWO_AXES = (
    "tilt_y",
    "tilt_z",
    "tilt_pitch",
    "tilt_yaw",
    "rotary_x",
    "rotary_y",
    "rotary_roll",
    "rotary_pitch",
    "face",
)
"""Parameters of a unit with tilt and rotary axis, in order; mm and rad."""

ONE_AXIS = ("rotary_y", "rotary_z", "rotary_pitch", "rotary_yaw", "face")
"""Parameters of a single rotary axis lying along the table, in order; mm and rad."""


@dataclass(frozen=True, slots=True)
class LineFrame:
    """Where the line frame stands in T, and the senses and limits of the axes.

    Attributes
    ----------
    origin_mm : tuple of 3 floats
        Origin of the line frame, table frame T [mm].
    along : tuple of 3 floats
        Unit direction of x of the line frame: the first axis line as it lies nominally.
    axes : tuple of TurningAxis
        Roles, senses and limits; tilt first.  Their lines are not used.
    face_side : float
        Single axis only: +1 if the platter face looks along x of the line frame, -1 if against.
    """

    origin_mm: tuple[float, float, float]
    along: tuple[float, float, float]
    axes: tuple[TurningAxis, ...]
    face_side: float = 1.0

    @classmethod
    def of_chain(cls, chain: WorkChain) -> tuple[LineFrame, Floats]:
        """Return the frame of a nominal chain, and the parameters that give this chain back.

        The face stands at the rotary line's crossing (parameter ``face`` zero): a chain does not
        know its platter face.  Directions must be the nominal ones: first axis level, second one
        upright.
        """
        first = chain.axes[0].line
        if len(chain.axes) == 1:
            frame = cls(first.point_mm, first.direction, chain.axes)
            return frame, np.zeros(len(ONE_AXIS))
        second = chain.axes[1].line
        tilt = np.asarray(first.point_mm)
        crossing = np.array([second.point_mm[0], second.point_mm[1], tilt[2]])
        origin = (float(crossing[0]), float(crossing[1]), float(crossing[2]))
        frame = cls(origin, first.direction, chain.axes)
        values = np.zeros(len(TWO_AXES))
        values[0:2] = (frame.basis.T @ (tilt - crossing))[1:3]
        return frame, values

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the parameters in order."""
        return TWO_AXES if len(self.axes) == 2 else ONE_AXIS

    @property
    def basis(self) -> Floats:
        """Columns: x, y, z of the line frame in T, shape (3, 3)."""
        x, y, z = self.along
        return np.array([[x, 0.0 - y, 0.0], [y, x, 0.0], [z, 0.0, 1.0]])

    def to_frame(self, points_mm: ArrayLike) -> Floats:
        """Return table-frame points in the line frame [mm], shape (..., 3)."""
        return (np.asarray(points_mm, dtype=np.float64) - self.origin_mm) @ self.basis

    def to_table(self, points_mm: ArrayLike) -> Floats:
        """Return line-frame points in T [mm], shape (..., 3)."""
        return np.asarray(points_mm, dtype=np.float64) @ self.basis.T + self.origin_mm

    def chain(self, values: ArrayLike) -> WorkChain:
        """Return the chain that the parameters describe.

        Parameters
        ----------
        values : array_like, shape (number of parameters,)
            In the order of `parameters` [mm, rad].
        """
        v = np.asarray(values, dtype=np.float64)
        first_point = self.to_table([0.0, v[0], v[1]])
        first_direction = self.basis @ level_direction(v[2], v[3])
        lines = [_line(first_point, first_direction)]
        if len(self.axes) == 2:
            second_direction = self.basis @ upright_direction(v[6], v[7])
            lines.append(_line(self.to_table([v[4], v[5], 0.0]), second_direction))
        axes = tuple(
            TurningAxis(axis.role, line, axis.sense, axis.low_rad, axis.high_rad)
            for axis, line in zip(self.axes, lines, strict=True)
        )
        return WorkChain(axes)

    def platter_origin(self, values: ArrayLike) -> Floats:
        """Return where the rotary line pierces the platter face, both angles zero, in T [mm]."""
        v = np.asarray(values, dtype=np.float64)
        if len(self.axes) == 2:
            local = np.array([v[4], v[5], 0.0]) + v[8] * upright_direction(v[6], v[7])
        else:
            local = np.array([0.0, v[0], v[1]]) + v[4] * level_direction(v[2], v[3])
        return self.to_table(local)

    def face_height(self, values: ArrayLike) -> float:
        """Return the height of the platter face over the tilt line, taken at the rotary line [mm].

        For a single axis: distance of the face from the plane x = 0, along the line.
        """
        v = np.asarray(values, dtype=np.float64)
        if len(self.axes) == 1:
            return float(v[4])
        pierced = np.array([v[4], v[5], 0.0]) + v[8] * upright_direction(v[6], v[7])
        slope = level_direction(v[2], v[3])
        return float(pierced[2] - (v[1] + slope[2] / slope[0] * pierced[0]))


def level_direction(pitch: Any, yaw: Any) -> Numbers:
    """Return x turned about y by `pitch`, then about z by `yaw`; real or complex [rad]."""
    flat = np.cos(pitch)
    return np.array([np.cos(yaw) * flat, np.sin(yaw) * flat, -np.sin(pitch)])


def upright_direction(roll: Any, pitch: Any) -> Numbers:
    """Return z turned about y by `pitch`, then about x by `roll`; real or complex [rad]."""
    upright = np.cos(pitch)
    return np.array([np.sin(pitch), -np.sin(roll) * upright, np.cos(roll) * upright])


def _line(point: Floats, direction: Floats) -> AxisLine:
    p, d = [float(c) for c in point], [float(c) for c in direction]
    return AxisLine((p[0], p[1], p[2]), (d[0], d[1], d[2]))
