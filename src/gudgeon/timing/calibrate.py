"""Setting the sums right by times taken at the machine.

A program's time is modelled as scale * moving + per_stop * stops + other.  The scale takes up what
the axes really do (limits that are not the sheet's, overrides), the time per stop what a control
spends at each block end; the rest (pauses, tool changes, clamps) is taken as entered.  One
stopwatch reading fixes the scale alone; two or more of different mix fix both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, t

__all__ = ["Calibration", "Fixed", "Timing", "calibrate"]

_STRAY: Final = 0.05
"""Standard share by which such a model misses a program it was not fitted to (no source)."""

_TELLS: Final = 0.25
"""Readings that leave the scale more uncertain than this (one standard uncertainty) are too much
alike to tell it from the time per stop."""

_CERTAIN: Final = 0.95


class Fixed(Enum):
    """What the readings fix."""

    NOTHING = "nothing"
    SCALE = "scale"
    SCALE_AND_STOP = "scale and stop"


@dataclass(frozen=True, slots=True)
class Timing:
    """One program as summed up and as timed.

    Attributes
    ----------
    moving_s : float
        Sum of the moves without settling [s].
    stops : float
        Full stops (settled ends of moves).
    other_s : float
        Everything else, taken as entered [s].
    taken_s : float
        By the stopwatch [s].
    u_s : float
        Standard uncertainty of the stopwatch reading [s], above zero.
    """

    moving_s: float
    stops: float
    other_s: float
    taken_s: float
    u_s: float = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """What the readings say.

    Attributes
    ----------
    fixed : Fixed
    scale : float
        Factor on the moving time [no unit]; 1 where nothing is fixed.
    per_stop_s : float
        Seconds of each full stop.
    covariance : ndarray, shape (2, 2)
        Of scale and seconds per stop; zero for what is not fixed.
    residual_s : ndarray, shape (readings,)
        Taken less modelled [s].
    worst_share : float
        Greatest residual as a share of the time taken, before the readings were used (the model
        with scale 1 and the time per stop as entered): by how much the plain sums were off.
    contradict : bool
        The readings differ by more than their uncertainty and what such a model strays: one of
        them, or an entry, is wrong.
    degrees : int
        Readings less what is fixed.
    """

    fixed: Fixed
    scale: float
    per_stop_s: float
    covariance: NDArray[np.float64]
    residual_s: NDArray[np.float64]
    worst_share: float
    contradict: bool
    degrees: int

    def predict(self, moving_s: float, stops: float, other_s: float = 0.0) -> tuple[float, float]:
        """Return seconds of a program and their standard uncertainty.

        The uncertainty holds that of the readings and, for the part that is modelled, a stray of
        5 % of the time (no source): more readings do not make the model better than it is.  Where
        readings contradict, it is wide enough to hold them.
        """
        modelled = self.scale * moving_s + self.per_stop_s * stops
        row = np.array([moving_s, stops])
        variance = float(row @ self.covariance @ row) + (_STRAY * modelled) ** 2
        return modelled + other_s, float(np.sqrt(variance))


def calibrate(readings: Sequence[Timing], per_stop_s: float = 0.0) -> Calibration:
    """Fit scale and seconds per stop to stopwatch readings by weighted least squares.

    Parameters
    ----------
    readings : sequence of Timing
    per_stop_s : float
        As entered; kept where the readings cannot tell it from the scale [s].

    Returns
    -------
    Calibration

    Raises
    ------
    ValueError
        A reading that is not above zero, or sums that are negative.

    Notes
    -----
    The weight of a reading is 1/(u^2 + (0.05 modelled)^2).  Seconds per stop below zero make no
    sense: then they are kept as entered and the scale alone is fitted, as with readings too much
    alike.  Readings contradict where chi-squared is above its 95 % point (the covariance then
    grows by chi-squared per degree and the square of Student's t over 1.96), or where the scale
    comes out at zero or below.  As many readings as unknowns leave no check.
    """
    for reading in readings:
        if not (reading.taken_s > 0.0 and reading.u_s > 0.0):
            raise ValueError("a stopwatch reading and its uncertainty must be above zero")
        if min(reading.moving_s, reading.stops, reading.other_s) < 0.0:
            raise ValueError("the sums of a program must not be negative")
    useful = [one for one in readings if one.moving_s > 0.0]
    taken = np.array([one.taken_s for one in useful])
    rows = np.array([[one.moving_s, one.stops] for one in useful]).reshape(-1, 2)
    other = np.array([one.other_s for one in useful])
    plain = rows[:, 0] + per_stop_s * rows[:, 1]
    worst = float(np.max(np.abs(taken - plain - other) / taken, initial=0.0))
    if not useful:
        return Calibration(
            Fixed.NOTHING, 1.0, per_stop_s, np.zeros((2, 2)), np.zeros(0), worst, False, 0
        )
    u = np.array([one.u_s for one in useful])
    weight = 1.0 / np.hypot(u, _STRAY * np.maximum(taken - other, 0.0))
    aim = (taken - other) * weight
    both = rows * weight[:, None]
    size = np.linalg.norm(both, axis=0)
    if len(useful) > 1 and size[1] > 0.0:
        unit = both / size
        alike = float(unit[:, 0] @ unit[:, 1])
        # u of the scale: 1/(its column's part across the other).
        across = size[0] * np.sqrt(max(0.0, 1.0 - alike * alike))
        if across * _TELLS > 1.0:
            found = np.linalg.lstsq(unit, aim, rcond=None)[0] / size
            if found[1] >= 0.0:
                return _told(found, both, aim, weight, Fixed.SCALE_AND_STOP, worst)
    left = aim - per_stop_s * both[:, 1]
    scale = float(both[:, 0] @ left / (both[:, 0] @ both[:, 0]))
    return _told(np.array([scale, per_stop_s]), both, aim, weight, Fixed.SCALE, worst)


def _told(
    found: NDArray[np.float64],
    both: NDArray[np.float64],
    aim: NDArray[np.float64],
    weight: NDArray[np.float64],
    fixed: Fixed,
    worst: float,
) -> Calibration:
    unknown = 1 if fixed is Fixed.SCALE else 2
    normal = both[:, :unknown].T @ both[:, :unknown]
    covariance = np.zeros((2, 2))
    covariance[:unknown, :unknown] = np.linalg.inv(normal)
    residual = aim - both @ found
    degrees = len(aim) - unknown
    squares = float(residual @ residual)
    contradict = bool(found[0] <= 0.0)
    if degrees:
        if squares > chi2.ppf(_CERTAIN, degrees):
            contradict = True
        grown = max(1.0, squares / degrees) * (float(t.ppf(0.975, degrees)) / 1.96) ** 2
        covariance *= grown if contradict else 1.0
    return Calibration(
        fixed,
        float(found[0]),
        float(found[1]),
        covariance,
        residual / weight,
        worst,
        contradict,
        degrees,
    )
