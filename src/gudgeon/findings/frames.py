"""Where the frames of the cell stand in T, and how surely: unit frame, platter frame, parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.centre.positions import POSITIONS, positions
from gudgeon.findings.lines import AxisLinesFinding
from gudgeon.findings.part_points import PartPointFindings, worst_u
from gudgeon.quantity.spread import jacobian

__all__ = ["Frame", "FrameFindings"]

Floats = NDArray[np.float64]

POSES: Final = 24
"""Angles tried on each axis for the worst point of a turning body."""

BETWEEN: Final = 1.0 / np.cos(2.0 * np.pi / POSES)
"""Standard uncertainty between the angles tried, at most, as a multiple of the largest found.

The variance of a point along any direction is a trigonometric polynomial of degree 2 in each
angle.  Such a polynomial, not negative, sampled at N angles stays below the largest sample over
cos(pi 2 / N) (Ehlich and Zeller's bound, from memory); two angles, square root of the variance.
"""


@dataclass(frozen=True, slots=True)
class Frame:
    """A right-handed frame in T, both angles zero.

    Attributes
    ----------
    origin : ndarray, shape (3,)
        [mm]
    axes : ndarray, shape (3, 3)
        Its x, y, z as columns.
    """

    origin: Floats
    axes: Floats

    def points(self, local: ArrayLike) -> Floats:
        """Return local points in T [mm], shape (..., 3)."""
        return np.asarray(self.origin + np.asarray(local, dtype=np.float64) @ self.axes.T)

    def within(self, origin: ArrayLike, turn: ArrayLike) -> Frame:
        """Return a frame that is given in this one."""
        return Frame(self.points(origin), self.axes @ np.asarray(turn, dtype=np.float64))


class FrameFindings(PartPointFindings):
    """Frames of the unit as the axis lines place them."""

    @property
    def unit_frame(self) -> Frame:
        """The unit frame where the axis lines put it; raises `Lacking`."""
        return self._unit_on(self.axis_lines, self.axis_lines.values)

    @property
    def platter_frame(self) -> Frame:
        """The platter frame where the axis lines put it; raises `Lacking`."""
        lines = self.axis_lines
        return Frame(lines.platter_origin_of(lines.values), self._platter_on(lines.values))

    def _unit_on(self, lines: AxisLinesFinding, values: Floats) -> Frame:
        """Return the unit frame for values of the lines' parameters: x along the level line."""
        nominal = self.unit_axes
        x = np.asarray(lines.chain_of(values).axes[0].line.direction)
        x = x * np.sign(x @ nominal[:, 0])
        z = np.array([0.0, 0.0, 1.0])
        z = z - x * (z @ x)
        z = z / np.linalg.norm(z)
        axes = np.column_stack([x, np.cross(z, x), z])
        at = positions(lines.frame, values)
        if self.has_tilt:
            names = ("platter_x", "platter_y", "tilt_z")
            return Frame(at[[POSITIONS.index(name) for name in names]], axes)
        return Frame(np.asarray(at[:3]), axes)

    @property
    def unit_unsure_mm(self) -> float:
        """How far the unit frame's origin may stand from where it is told, k = 2 [mm]."""
        lines = self.axis_lines
        slopes = jacobian(
            lambda values: self._unit_on(lines, values).origin, lines.values, _steps(lines)
        )
        return 2.0 * float(worst_u(slopes.reshape(1, 3, -1), lines.covariance)[0])

    def turning_unsure_mm(self, on_platter: Floats, on_cradle: Floats) -> float:
        """Return how far any of the points may stand from where the lines say, k = 2 [mm].

        Over every pose of a whole turn of each axis.

        Parameters
        ----------
        on_platter, on_cradle : ndarray, shape (n, 3) and (m, 3)
            Points in T with both angles zero [mm].
        """
        lines = self.axis_lines
        if not np.any(lines.covariance) or not len(on_platter) + len(on_cradle):
            return 0.0
        platter, unit = self.platter_frame, self.unit_frame
        rest_p = (on_platter - platter.origin) @ platter.axes
        rest_c = (on_cradle - unit.origin) @ unit.axes
        angles = np.linspace(0.0, 2.0 * np.pi, POSES, endpoint=False)
        count = len(lines.chain.axes)
        if count == 2:
            poses = np.stack(np.meshgrid(angles, angles, indexing="ij"), axis=-1).reshape(-1, 1, 2)
            tilts = np.stack([angles, 0.0 * angles], axis=-1)[:, None, :]
        else:
            poses = angles.reshape(-1, 1, 1)
            tilts = poses

        def places(values: Floats) -> Floats:
            chain = lines.chain_of(values)
            origin = lines.platter_origin_of(values)
            one = chain.points(poses, origin + rest_p @ self._platter_on(values).T)
            other = chain.points(tilts, self._unit_on(lines, values).points(rest_c))
            return np.concatenate([one.ravel(), other.ravel()])

        slopes = jacobian(places, lines.values, _steps(lines)).reshape(-1, 3, len(lines.values))
        return float(2.0 * np.max(worst_u(slopes, lines.covariance)) * BETWEEN)


def _steps(lines: AxisLinesFinding) -> Floats:
    spread = np.sqrt(np.diag(lines.covariance))
    return np.asarray(np.where(spread > 0.0, spread, 1e-4))
