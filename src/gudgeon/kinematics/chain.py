"""The chain of turning axes that carries the work, and where it takes a point.

Conventions (design, section 4): everything stands in the table frame T.  An axis line is a point
and a unit direction in T with all programmed angles at zero.  Sense +1 turns the WORK right-handed
about the direction for a positive programmed angle; -1 turns it the other way.  Letters of the
control never appear here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["AxisLine", "TurningAxis", "WorkChain", "turn_about", "turned"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AxisLine:
    """A straight line about which a table turns.

    Attributes
    ----------
    point_mm : tuple of 3 floats
        Any point on the line, table frame [mm].
    direction : tuple of 3 floats
        Unit direction, table frame [no unit].
    """

    point_mm: tuple[float, float, float]
    direction: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class TurningAxis:
    """One turning axis of the unit.

    Attributes
    ----------
    role : str
        ``"tilt"`` or ``"rotary"``.
    line : AxisLine
        Where it turns, with every programmed angle at zero.
    sense : int
        +1 or -1, see the module.
    low_rad, high_rad : float
        Limits of the programmed angle [rad]; infinite for an endless axis.
    """

    role: str
    line: AxisLine
    sense: int
    low_rad: float = -np.inf
    high_rad: float = np.inf

    def __post_init__(self) -> None:
        if self.sense not in (1, -1):
            raise ValueError(f"sense must be +1 or -1, got {self.sense}")


@dataclass(frozen=True, slots=True)
class WorkChain:
    """The turning axes from the table to the work, the carrying one first (tilt, then rotary)."""

    axes: tuple[TurningAxis, ...]

    def matrices(self, angles_rad: ArrayLike) -> Floats:
        """Return the pose maps W as homogeneous matrices.

        Parameters
        ----------
        angles_rad : array_like, shape (..., number of axes)
            Programmed angles in the order of `axes` [rad].

        Returns
        -------
        ndarray, shape (..., 4, 4)
            ``W @ [x, y, z, 1]`` takes a work point, given with all angles at zero, to where it
            stands in the pose.  The carried axis turns first: W = Turn(tilt) Turn(rotary).
        """
        angles = self._angles(angles_rad)
        pose = np.broadcast_to(np.eye(4), (*angles.shape[:-1], 4, 4))
        for i, axis in enumerate(self.axes):
            pose = pose @ turn_about(axis.line, axis.sense * angles[..., i])
        return pose

    def points(self, angles_rad: ArrayLike, points_mm: ArrayLike) -> Floats:
        """Return where work points stand in the poses [mm]; leading shapes broadcast.

        Parameters
        ----------
        angles_rad : array_like, shape (..., number of axes)
        points_mm : array_like, shape (..., 3)
            Work points in T with all angles at zero [mm].
        """
        angles = self._angles(angles_rad)
        points = np.asarray(points_mm, dtype=np.float64)
        for i, axis in reversed(list(enumerate(self.axes))):
            start = np.asarray(axis.line.point_mm)
            arm = points - start
            points = start + turned(axis.line.direction, axis.sense * angles[..., i], arm)
        return points

    def directions(self, angles_rad: ArrayLike, directions: ArrayLike) -> Floats:
        """Return how directions of the work point in the poses; leading shapes broadcast."""
        angles = self._angles(angles_rad)
        vectors = np.asarray(directions, dtype=np.float64)
        for i, axis in reversed(list(enumerate(self.axes))):
            vectors = turned(axis.line.direction, axis.sense * angles[..., i], vectors)
        return vectors

    def _angles(self, angles_rad: ArrayLike) -> Floats:
        angles = np.asarray(angles_rad, dtype=np.float64)
        if angles.ndim == 0 or angles.shape[-1] != len(self.axes):
            raise ValueError(
                f"angles_rad needs {len(self.axes)} entries in its last dimension, "
                f"its shape is {angles.shape}"
            )
        return angles


def turned(direction: ArrayLike, angle_rad: ArrayLike, arms: Floats) -> Floats:
    """Return vectors turned right-handed about a unit direction (Rodrigues' formula).

    Parameters
    ----------
    direction : array_like, shape (3,)
    angle_rad : array_like, shape (...)
    arms : ndarray, shape (..., 3)
        Leading shapes broadcast.
    """
    x, y, z = np.asarray(direction, dtype=np.float64).tolist()
    angle_rad = np.asarray(angle_rad, dtype=np.float64)
    # Coordinate by coordinate: twice as quick as cross products of whole arrays.
    u, v, w = arms[..., 0], arms[..., 1], arms[..., 2]
    sine = np.sin(angle_rad)
    # 1 - cos as 2 sin^2(half) keeps its digits for small angles.
    versine = 2.0 * np.sin(0.5 * angle_rad) ** 2
    across = (y * w - z * v, z * u - x * w, x * v - y * u)
    second = (
        y * across[2] - z * across[1],
        z * across[0] - x * across[2],
        x * across[1] - y * across[0],
    )
    return np.stack(
        np.broadcast_arrays(
            *(
                arm + sine * one + versine * two
                for arm, one, two in zip((u, v, w), across, second, strict=True)
            )
        ),
        axis=-1,
    )


def turn_about(line: AxisLine, angle_rad: ArrayLike) -> Floats:
    """Return homogeneous matrices that turn right-handed about a line.

    Parameters
    ----------
    line : AxisLine
    angle_rad : array_like, shape (...)
        Angle, right-handed about the direction [rad].

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Notes
    -----
    Rotation by the axis-angle formula R = I + sin K + (1 - cos) K^2, with K the cross-product
    matrix of the direction (Rodrigues' rotation formula); the point on the line stays.
    """
    angle = np.asarray(angle_rad, dtype=np.float64)
    x, y, z = line.direction
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    sine = np.sin(angle)[..., None, None]
    # 1 - cos as 2 sin^2(half) keeps its digits for small angles.
    versine = (2.0 * np.sin(0.5 * angle) ** 2)[..., None, None]
    rotation = np.eye(3) + sine * cross + versine * (cross @ cross)
    point = np.asarray(line.point_mm, dtype=np.float64)
    matrix = np.zeros((*angle.shape, 4, 4))
    matrix[..., :3, :3] = rotation
    matrix[..., :3, 3] = point - rotation @ point
    matrix[..., 3, 3] = 1.0
    return matrix
