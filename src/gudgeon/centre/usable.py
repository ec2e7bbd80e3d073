"""Which readings can be used as they stand: noted, met squarely enough, and from outside."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.fit import LineFit
from gudgeon.centre.readings import GLANCING, Model, Reading

__all__ = ["impossible", "needed", "upright", "usable"]

Floats = NDArray[np.float64]

FORCED_MOST: Final = 3
"""Impossible touches up to which they are taken for single mistakes, not for a wrong sense."""


def upright(fit: LineFit) -> Floats:
    """Return the fit's parameters with all small angles zero, where bad readings bend nothing."""
    lengths = ("_x", "_y", "_z", "_radius", "face")
    return np.array(
        [
            value if name.endswith(lengths) and not name.startswith(("slope", "mill")) else 0.0
            for name, value in zip(fit.parameters, fit.values, strict=True)
        ]
    )


def needed(reading: Reading) -> tuple[float, ...]:
    """Return what must be a number in a reading."""
    if reading.feature == "level":
        return (reading.angle_rad,)
    if reading.toward is None:
        return reading.position_mm[:2] if not reading.feature.startswith("ball ") else ()
    return tuple(
        c for c, t in zip(reading.position_mm, reading.toward, strict=True) if abs(t) > 0.5
    )


def usable(model: Model, values: Floats) -> list[bool]:
    """Whether each reading meets its surface squarely enough, and from outside."""
    normals, upright = model.normals(values), model.upright_directions(values)
    found = []
    for reading, normal, axis in zip(model.readings, normals, upright, strict=True):
        good = not any(math.isnan(c) for c in needed(reading))
        if reading.feature == "level" or reading.feature.startswith("ball "):
            pass
        elif reading.toward is None:
            good = good and abs(float(axis[2])) >= GLANCING
        elif reading.feature == "face":
            good = good and float(normal @ reading.toward) <= -GLANCING
        else:
            good = good and abs(float(axis @ reading.toward)) <= 1.0 - GLANCING
        found.append(good)
    return found


def impossible(fit: LineFit, readings: tuple[Reading, ...]) -> list[int]:
    """Return touches of the face from the side on which it cannot be, if they are few."""
    model = Model(fit.frame, readings)
    zero = model.start()
    found = [
        i
        for i, r in enumerate(readings)
        if r.feature == "face" and r.toward is not None and model.outward(zero, i) >= GLANCING
    ]
    return found if len(found) <= FORCED_MOST else []
