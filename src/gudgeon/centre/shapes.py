"""Circle, sphere, plane, line and cylinder fitted to touched points.

All fits minimise the sum of squared distances from the points to the shape (geometric fit): that is
what a bore touched at three or more points means.  Distances between points are in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.centre.solve import NotDetermined, solve

__all__ = [
    "CylinderFit",
    "FlatFit",
    "RoundFit",
    "fit_circle",
    "fit_cylinder",
    "fit_height_plane",
    "fit_line",
    "fit_plane",
    "fit_sphere",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RoundFit:
    """A fitted circle or sphere.

    Attributes
    ----------
    centre_mm : ndarray, shape (2,) or (3,)
    radius_mm : float
    residuals_mm : ndarray, shape (n,)
        Distance of each point from the shape, positive outside.
    cofactor : ndarray
        Covariance of centre and radius for a radial standard uncertainty of 1 in each point.
    """

    centre_mm: Floats
    radius_mm: float
    residuals_mm: Floats
    cofactor: Floats

    @property
    def rms_mm(self) -> float:
        """Root mean square residual."""
        return float(np.sqrt(np.mean(self.residuals_mm**2)))


@dataclass(frozen=True, slots=True)
class FlatFit:
    """A fitted plane (normal) or line (direction) through `point_mm`, the mean of the points."""

    point_mm: Floats
    direction: Floats
    residuals_mm: Floats

    @property
    def peak_to_valley_mm(self) -> float:
        """Flatness of a plane; for a line twice the greatest distance."""
        return float(np.ptp(self.residuals_mm))


@dataclass(frozen=True, slots=True)
class CylinderFit:
    """A fitted cylinder, its axis given at a height.

    Attributes
    ----------
    point_mm : ndarray, shape (2,)
        x and y of the axis at the asked height.
    slopes : ndarray, shape (2,)
        dx/dz and dy/dz of the axis.
    """

    point_mm: Floats
    slopes: Floats
    radius_mm: float
    residuals_mm: Floats
    cofactor: Floats


def fit_circle(points_mm: ArrayLike) -> RoundFit:
    """Fit a circle to points in a plane, shape (n, 2), n >= 3.

    Raises
    ------
    NotDetermined
        If the points lie on one line, or fewer than three differ.
    """
    return _fit_round(_points(points_mm, 2, 3))


def fit_sphere(points_mm: ArrayLike) -> RoundFit:
    """Fit a sphere to points in space, shape (n, 3), n >= 4; raises `NotDetermined`."""
    return _fit_round(_points(points_mm, 3, 4))


def fit_plane(points_mm: ArrayLike) -> FlatFit:
    """Fit a plane by the distances square to it, shape (n, 3), n >= 3; raises `NotDetermined`.

    The normal's largest component is positive.
    """
    points = _points(points_mm, 3, 3)
    middle = points.mean(axis=0)
    _, sizes, rows = np.linalg.svd(points - middle, full_matrices=False)
    if sizes[1] <= 1e-9 * max(float(sizes[0]), 1e-300):
        raise NotDetermined("the points lie on one line")
    normal = _signed(rows[2])
    return FlatFit(middle, normal, (points - middle) @ normal)


def fit_line(points_mm: ArrayLike) -> FlatFit:
    """Fit a straight line in space by the distances square to it, n >= 2; raises `NotDetermined`.

    Residuals are signed by the side on which the widest scatter lies, so that peak to valley is
    the width of the band in that plane.
    """
    points = _points(points_mm, 3, 2)
    middle = points.mean(axis=0)
    _, sizes, rows = np.linalg.svd(points - middle)
    if sizes[0] <= 1e-12 * max(float(np.max(np.abs(points))), 1e-300):
        raise NotDetermined("the points are one and the same")
    return FlatFit(middle, _signed(rows[0]), (points - middle) @ rows[1])


def fit_height_plane(points_mm: ArrayLike) -> tuple[Floats, Floats]:
    """Fit z = a + b x + c y by the distances along z; return (a, b, c) and the residuals."""
    points = _points(points_mm, 3, 3)
    terms = np.column_stack([np.ones(len(points)), points[:, :2]])
    fitted = solve(lambda v: terms @ v - points[:, 2], np.zeros(3), derivatives=lambda _: terms)
    return fitted.values, -fitted.residuals


def fit_cylinder(points_mm: ArrayLike, at_height_mm: float = 0.0) -> CylinderFit:
    """Fit a cylinder whose axis is not level, shape (n, 3), n >= 5; raises `NotDetermined`."""
    points = _points(points_mm, 3, 5)
    flat = fit_circle(points[:, :2])
    heights = points[:, 2] - at_height_mm

    def residuals(v: NDArray[Any]) -> NDArray[Any]:
        axis = np.array([v[2], v[3], 1.0]) / np.sqrt(v[2] ** 2 + v[3] ** 2 + 1.0)
        off = np.column_stack([points[:, 0] - v[0], points[:, 1] - v[1], heights + 0.0 * v[0]])
        square = off - np.outer(off @ axis, axis)
        return np.asarray(np.sqrt(np.sum(square**2, axis=1)) - v[4])

    fitted = solve(residuals, [*flat.centre_mm, 0.0, 0.0, flat.radius_mm])
    v = fitted.values
    return CylinderFit(v[:2], v[2:4], float(v[4]), fitted.residuals, fitted.cofactor)


def _fit_round(points: Floats) -> RoundFit:
    middle = points.mean(axis=0)
    off = points - middle
    sizes = np.linalg.svd(off, compute_uv=False)
    if sizes[-1] <= 1e-9 * max(float(sizes[0]), 1e-300):
        raise NotDetermined("the points lie on one line or in one plane")
    # Start: |p|^2 = 2 c.p + (r^2 - |c|^2) is linear in c and the bracket.
    terms = np.column_stack([2.0 * off, np.ones(len(off))])
    first = np.linalg.lstsq(terms, np.sum(off**2, axis=1), rcond=None)[0]
    radius = float(np.sqrt(first[-1] + first[:-1] @ first[:-1]))

    def residuals(v: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(np.sqrt(np.sum((off - v[:-1]) ** 2, axis=1)) - v[-1])

    fitted = solve(residuals, [*first[:-1], radius])
    return RoundFit(
        fitted.values[:-1] + middle,
        float(fitted.values[-1]),
        fitted.residuals,
        fitted.cofactor,
    )


def _points(points_mm: ArrayLike, size: int, least: int) -> Floats:
    points = np.asarray(points_mm, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != size or not np.all(np.isfinite(points)):
        raise ValueError(f"points must be finite, of shape (n, {size}), but have {points.shape}")
    if len(points) < least:
        raise NotDetermined(f"{len(points)} points are too few, {least} are needed")
    return points


def _signed(direction: Floats) -> Floats:
    """Return `direction` with its largest component positive."""
    return np.asarray(direction * np.sign(direction[np.argmax(np.abs(direction))]))
