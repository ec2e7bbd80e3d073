"""The exact pose map and its inverse for many axis lines at once.

The same turns as in `gudgeon.kinematics.chain` (Rodrigues' formula), but the lines themselves may
differ from draw to draw; leading shapes broadcast, and complex numbers pass through where exact
derivatives are taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Lines", "to_machine", "to_platter"]

# Complex where derivatives are taken.
Numbers = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Lines:
    """Axis lines and platter frame in T, all angles zero.

    Attributes
    ----------
    points : ndarray, shape (..., k, 3)
        A point on each line, the carrying axis first [mm].
    directions : ndarray, shape (..., k, 3)
        Unit directions.
    origin : ndarray, shape (..., 3)
        Where the rotary line pierces the platter face [mm].
    axes : ndarray, shape (..., 3, 3)
        x, y, z of the platter frame as columns.
    """

    points: Numbers
    directions: Numbers
    origin: Numbers
    axes: Numbers

    def moved(self, by: Numbers) -> Lines:
        """Return all of it moved by a vector, shape (..., 3) [mm]."""
        return Lines(self.points + by[..., None, :], self.directions, self.origin + by, self.axes)


def to_machine(lines: Lines, turns: Numbers, local: Numbers) -> Numbers:
    """Return where points of the platter frame stand in T.

    Parameters
    ----------
    lines : Lines
        Shape (...).
    turns : ndarray, shape (..., n, k)
        Right-handed turns of the work about each line [rad].
    local : ndarray, shape (..., n, 3)
        Points in the platter frame [mm].
    """
    points = lines.origin[..., None, :] + _columns(lines.axes, local)
    for i in reversed(range(lines.points.shape[-2])):
        start = lines.points[..., None, i, :]
        points = start + _turned(lines.directions[..., None, i, :], turns[..., i], points - start)
    return points


def to_platter(lines: Lines, turns: Numbers, machine: Numbers) -> Numbers:
    """Return which points of the platter frame stand at points of T; the inverse of `to_machine`.

    Parameters
    ----------
    lines : Lines
    turns : ndarray, shape (..., n, k)
        [rad]
    machine : ndarray, shape (..., n, 3)
        [mm]
    """
    points = machine
    for i in range(lines.points.shape[-2]):
        start = lines.points[..., None, i, :]
        points = start + _turned(lines.directions[..., None, i, :], -turns[..., i], points - start)
    arms = points - lines.origin[..., None, :]
    return np.asarray(np.sum(arms[..., :, None] * lines.axes[..., None, :, :], axis=-2))


def _columns(axes: Numbers, local: Numbers) -> Numbers:
    return np.asarray(np.sum(axes[..., None, :, :] * local[..., None, :], axis=-1))


def _turned(direction: Numbers, angle: Numbers, arms: Numbers) -> Numbers:
    x, y, z = (direction[..., i] for i in range(3))
    u, v, w = (arms[..., i] for i in range(3))
    sine = np.sin(angle)
    versine = 2.0 * np.sin(0.5 * angle) ** 2
    a, b, c = y * w - z * v, z * u - x * w, x * v - y * u
    return np.stack(
        np.broadcast_arrays(
            u + sine * a + versine * (y * c - z * b),
            v + sine * b + versine * (z * a - x * c),
            w + sine * c + versine * (x * b - y * a),
        ),
        axis=-1,
    )
