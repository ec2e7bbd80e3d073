"""The record of daily checks as the engine sees it, and temperatures that nobody noted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Record", "filled_temperature"]

Floats = NDArray[np.float64]

SWING_K: Final = 5.0
"""Standard deviation of a temperature that nobody noted (common practice, no source)."""

LEAST_SWING_K: Final = 3.0
"""The same where too few were noted to show more."""

LASTING_DAYS: Final = 20.0
"""Weather lasts: correlation time of the shop's temperature (common practice, no source)."""

OWN_SHARE: Final = 0.1
"""Share of the variance that one day has for itself."""


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """Checks in the order in which they were taken; a series is one coordinate of one check.

    Attributes
    ----------
    day : ndarray, shape (n,)
        Day number, not falling; rows of one day share it [d].
    value : ndarray, shape (n, d)
        Readings [mm]; NaN where a coordinate was not taken.
    u : ndarray, shape (n, d)
        Stated standard uncertainties, above zero [mm].
    temperature : ndarray, shape (n,)
        [degC]; NaN where it was not noted.
    slope_u : ndarray, shape (d,)
        How much a coordinate may plausibly move with temperature, standard deviation [mm/K].

    Raises
    ------
    ValueError
        If shapes do not match, days fall, or an uncertainty is not above zero.
    """

    day: Floats
    value: Floats
    u: Floats
    temperature: Floats
    slope_u: Floats

    def __post_init__(self) -> None:
        n, d = self.value.shape
        if self.day.shape != (n,) or self.temperature.shape != (n,):
            raise ValueError("day and temperature need one entry for each row")
        if self.u.shape != (n, d) or self.slope_u.shape != (d,):
            raise ValueError("u needs the shape of value, slope_u one entry for each series")
        if np.any(np.diff(self.day) < 0.0):
            raise ValueError("days must not fall")
        if not np.all(self.u > 0.0) or not np.all(self.slope_u > 0.0):
            raise ValueError("uncertainties must be above zero")

    def __len__(self) -> int:
        return len(self.day)

    def rows(self, which: NDArray[np.intp]) -> Record:
        """Return the record of some of the rows."""
        return Record(
            self.day[which],
            self.value[which],
            self.u[which],
            self.temperature[which],
            self.slope_u,
        )

    def series(self, which: NDArray[np.intp]) -> Record:
        """Return the record of some of the series."""
        return Record(
            self.day,
            self.value[:, which],
            self.u[:, which],
            self.temperature,
            self.slope_u[which],
        )


def filled_temperature(day: Floats, temperature: Floats) -> tuple[Floats, Floats | None]:
    """Return temperatures with gaps filled from the days around, and what that leaves unsure.

    Parameters
    ----------
    day, temperature : ndarray, shape (n,)
        NaN where it was not noted.

    Returns
    -------
    filled : ndarray, shape (n,)
        [degC]; 20 throughout where nothing was noted.
    covariance : ndarray, shape (n, n), or None
        Of the filled ones [K^2]; zero in the rows of noted ones; ``None`` if all were noted.

    Notes
    -----
    Mean and covariance of a stationary process with exponential correlation, given the noted days
    (common practice, no source).
    """
    gap = np.isnan(temperature)
    if not gap.any():
        return temperature, None
    apart = np.abs(day[:, None] - day[None, :])
    known = temperature[~gap]
    swing = SWING_K if len(known) < 2 else max(float(np.std(known)), LEAST_SWING_K)
    lasting = (1.0 - OWN_SHARE) * np.exp(-apart / LASTING_DAYS) + OWN_SHARE * (apart == 0.0)
    lasting = swing**2 * lasting
    filled = np.where(gap, 20.0, temperature)
    covariance = np.zeros_like(lasting)
    inside = lasting[np.ix_(gap, gap)]
    if len(known):
        middle = float(np.mean(known))
        across = lasting[np.ix_(gap, ~gap)]
        # Rows of one day share all of it; a little more on the diagonal keeps it invertible.
        own = lasting[np.ix_(~gap, ~gap)] + 1e-6 * swing**2 * np.eye(len(known))
        weights = np.linalg.solve(own, across.T).T
        filled[gap] = middle + weights @ (known - middle)
        inside = inside - weights @ across.T
    covariance[np.ix_(gap, gap)] = inside
    return filled, covariance
