"""Where two straight lines pass each other: how far apart, where, and at which angle.

The tilt line and the rotary line cross on the drawing and miss each other on the real unit.  The
signed miss between them is the axis offset that every tilted zero carries.

Lengths in mm, angles in rad; arrays of lines broadcast over their leading shapes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.kinematics.chain import AxisLine

__all__ = ["PARALLEL_SINE", "Passing", "distance_to_line", "passing", "point_at_height"]

Floats = NDArray[np.float64]

PARALLEL_SINE: Final = 1e-6
"""Lines that enclose an angle with a smaller sine are treated as parallel.

At this sine the rounding of coordinates near 1000 mm (1e-13 mm) is blown up to about 1e-7 mm,
still a thousandth of what a shop can measure; nearer to parallel it would grow on as 1/sine.
"""


@dataclass(frozen=True, slots=True)
class Passing:
    """How line B passes line A.

    Attributes
    ----------
    miss_mm : ndarray, shape (...)
        Shortest distance, positive if B lies from A towards ``direction_a x direction_b`` [mm];
        for parallel lines the plain distance, never negative.
    foot_a_mm, foot_b_mm : ndarray, shape (..., 3)
        Where the shortest link stands on A and on B [mm].  For parallel lines the link at the
        given point of A.
    angle_rad : ndarray, shape (...)
        Angle between the directions, 0 to pi [rad].
    parallel : ndarray of bool, shape (...)
        Whether the feet are not unique.
    """

    miss_mm: Floats
    foot_a_mm: Floats
    foot_b_mm: Floats
    angle_rad: Floats
    parallel: NDArray[np.bool_]


def passing(
    point_a_mm: ArrayLike, direction_a: ArrayLike, point_b_mm: ArrayLike, direction_b: ArrayLike
) -> Passing:
    """Find the shortest link between two infinite lines.

    Parameters
    ----------
    point_a_mm, point_b_mm : array_like, shape (..., 3)
        Any point of each line [mm].
    direction_a, direction_b : array_like, shape (..., 3)
        Direction of each line, of any length but zero.

    Returns
    -------
    Passing

    Raises
    ------
    ValueError
        If an argument is not (..., 3), not finite, or a direction has no length.

    Notes
    -----
    With unit directions a, b, n = a x b and r from A's point to B's: the miss is r.n/|n|; the feet
    stand at s = det(r, b, n)/|n|^2 along A and t = det(r, a, n)/|n|^2 along B, from the condition
    that r + t b - s a is parallel to n (E. W. Weisstein, "Line-Line Distance", MathWorld).

    Examples
    --------
    A rotary line 0.02 mm behind a tilt line along X:

    >>> found = passing([0, -130, -405], [1, 0, 0], [-381, -129.98, 0], [0, 0, 1])
    >>> print(round(float(found.miss_mm), 6), found.foot_a_mm)
    -0.02 [-381. -130. -405.]
    """
    start_a, start_b = _vectors("point_a_mm", point_a_mm), _vectors("point_b_mm", point_b_mm)
    a, b = _units("direction_a", direction_a), _units("direction_b", direction_b)
    start_a, start_b, a, b = np.broadcast_arrays(start_a, start_b, a, b)
    r = start_b - start_a
    n = np.cross(a, b)
    sine = np.linalg.norm(n, axis=-1)
    parallel = sine < PARALLEL_SINE
    divisor = np.where(parallel, 1.0, sine)  # parallel entries are replaced below

    along_a = np.where(parallel, 0.0, _dot(np.cross(r, b), n) / divisor**2)
    beside = -_dot(r, b)  # drops a perpendicular from A's point onto B
    along_b = np.where(parallel, beside, _dot(np.cross(r, a), n) / divisor**2)
    apart = np.linalg.norm(r + beside[..., None] * b, axis=-1)
    return Passing(
        miss_mm=np.where(parallel, apart, _dot(r, n) / divisor),
        foot_a_mm=start_a + along_a[..., None] * a,
        foot_b_mm=start_b + along_b[..., None] * b,
        angle_rad=np.arctan2(sine, _dot(a, b)),
        parallel=parallel,
    )


def distance_to_line(line: AxisLine, points_mm: ArrayLike) -> Floats:
    """Return the distance of points from a line, shape (...) [mm]; `points_mm` is (..., 3)."""
    points = _vectors("points_mm", points_mm)
    across = np.cross(points - np.asarray(line.point_mm), _units("direction", line.direction))
    return np.asarray(np.linalg.norm(across, axis=-1))


def point_at_height(line: AxisLine, z_mm: float) -> Floats:
    """Return the point of a line at height `z_mm` in T, shape (3,) [mm].

    Raises
    ------
    ValueError
        If the line is level.
    """
    direction = _units("direction", line.direction)
    if abs(direction[2]) < PARALLEL_SINE:
        raise ValueError("a level line does not reach another height")
    start = np.asarray(line.point_mm, dtype=np.float64)
    return np.asarray(start + (z_mm - start[2]) / direction[2] * direction)


def _vectors(name: str, value: ArrayLike) -> Floats:
    vectors = np.asarray(value, dtype=np.float64)
    if vectors.ndim == 0 or vectors.shape[-1] != 3:
        raise ValueError(f"{name} needs three components last, its shape is {vectors.shape}")
    if not np.all(np.isfinite(vectors)):
        raise ValueError(f"{name} has a component that is not finite")
    return vectors


def _units(name: str, value: ArrayLike) -> Floats:
    vectors = _vectors(name, value)
    # Largest component first: squaring very long or short vectors would overflow or vanish.
    largest = np.max(np.abs(vectors), axis=-1, keepdims=True)
    if np.any(largest == 0.0):
        raise ValueError(f"{name} has no length")
    scaled = vectors / largest
    return np.asarray(scaled / np.linalg.norm(scaled, axis=-1, keepdims=True))


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.sum(a * b, axis=-1))
