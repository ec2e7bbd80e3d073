"""What an indicator shows over a flat surface.

The indicator stands at a point of T; its plunger moves along `toward` into the surface.  The
reading is positive with the plunger pushed in.  Only differences count: where the zero is set,
somebody chooses at the machine.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["GLANCING", "dial_reading"]

Floats = NDArray[np.float64]

GLANCING = 0.05
"""A plunger that meets the surface at a smaller sine slides along it: no reading."""


def dial_reading(
    at_mm: ArrayLike, toward: ArrayLike, point_mm: ArrayLike, normal: ArrayLike
) -> Floats:
    """Return the reading over a plane, zero where the plane passes through `at_mm`.

    Parameters
    ----------
    at_mm : array_like, shape (..., 3)
        Where the indicator stands, T [mm].
    toward : array_like, shape (..., 3)
        Unit direction in which the plunger moves into the surface.
    point_mm, normal : array_like, shape (..., 3)
        A point of the plane and its outward direction, of any length but zero.

    Returns
    -------
    ndarray, shape (...)
        [mm]

    Raises
    ------
    ValueError
        If the plunger slides along the plane or comes from behind it.

    Notes
    -----
    The line ``at + s toward`` meets the plane where ``(at + s toward - point) . normal = 0``; the
    reading is ``-s``, for a surface that comes nearer pushes the plunger in.

    Examples
    --------
    A surface that rises by 1 in 100 towards X+, read from above, 50 mm further along X:

    >>> print(dial_reading([50.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 0.0, 0.0], [-0.01, 0.0, 1.0]))
    0.5
    """
    at, into = np.asarray(at_mm, np.float64), np.asarray(toward, np.float64)
    point, out = np.asarray(point_mm, np.float64), np.asarray(normal, np.float64)
    meets = np.sum(into * out, axis=-1) / np.linalg.norm(out, axis=-1)
    if np.any(meets > -GLANCING):
        raise ValueError("the plunger must move into the surface from its outer side")
    return np.asarray(np.sum((at - point) * out, axis=-1) / np.sum(into * out, axis=-1))
