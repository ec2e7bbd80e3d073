"""How much the record speaks for a change at each row, temperature and noise being unknown.

Model of each series (one coordinate of one check): mean, plus slope times temperature, plus the
changes already known, plus perhaps one more change; noise is the stated uncertainty times one
factor shared by all series.  The evidence for a change is a ratio of marginal likelihoods: means
have flat priors, the factor the scale-invariant prior 1/s, the slope a normal prior of plausible
size, and the change a mixture of normal priors.  With these priors the ratio does not depend on the
means or on how noisy the shop really is, and without a change its expectation is one, at every row
and given all rows before (a test martingale in the invariants: right-invariant priors on location
and scale; from memory).  The temperature slope is invariant only as far as its prior is wide.

Where no temperature was noted it is a slowly varying random course of plausible size, times the
plausible slope, as part of the noise; how large is averaged over, not picked.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.drift.fit import SIZES, Estimate, Fit
from gudgeon.drift.record import Record, filled_temperature

__all__ = ["Estimate", "Evidence"]

Floats = NDArray[np.float64]

GUESSED_SHARES: Final = (1.0, 2.0)
"""Where temperatures are not told: how much of the plausible motion they may have made."""

GUESSED_WEIGHTS: Final = (0.7, 0.3)
"""How probable each share is beforehand; evidence is averaged over them.

No smaller share: a shop that has been steady so far may still lose its heating tomorrow, and
picking the share that fits best alarmed for nothing in 37 of 100 simulated shops.
"""

UNTOLD: Final = 0.5
"""Where more than this share of the temperatures is missing they are taken as not told."""

NOT_RULED_OUT: Final = 0.05
"""Numbers are told with the largest share that has at least this probability."""


class Evidence:
    """The record with changes already known, ready to be asked for one more.

    Parameters
    ----------
    record : Record
    known : sequence of ndarray, shape (n,)
        One column for each change already known: 0 and 1 for a step, days since for a trend.
    """

    def __init__(self, record: Record, known: tuple[Floats, ...] = ()) -> None:
        self.record = record
        n = len(record)
        filled, unsure = filled_temperature(record.day, record.temperature)
        self.middle_c = float(np.mean(filled)) if n else 20.0
        warm = filled - self.middle_c
        common = np.column_stack([np.ones(n), *known, warm])
        self._common, self._unsure = common, unsure
        missing = int(np.isnan(record.temperature).sum())
        self.untold = missing > UNTOLD * n
        self._apart: list[tuple[Floats, list[Fit]]] = []
        share = 1.0
        if self.untold:
            share = self._series_apart()
        self._told = Fit(record, common, unsure, share)

    def _series_apart(self) -> float:
        """Fit each series by itself with each share; return the largest one not ruled out."""
        record = self.record
        largest = 0
        for j in range(record.value.shape[1]):
            if np.all(np.isnan(record.value[:, j])):
                continue
            alone = record.series(np.array([j]))
            fits = [Fit(alone, self._common, self._unsure, share) for share in GUESSED_SHARES]
            logs = np.array([one.likely for one in fits]) + np.log(np.array(GUESSED_WEIGHTS))
            logs = logs - np.logaddexp.reduce(logs)
            self._apart.append((logs, fits))
            told = np.flatnonzero(logs >= np.log(NOT_RULED_OUT))
            largest = max(largest, int(told[-1]))
        return GUESSED_SHARES[largest]

    @property
    def dof(self) -> int:
        """Degrees of freedom behind the noise."""
        return self._told.dof

    @property
    def share(self) -> float:
        """How much of the plausible motion by unknown temperatures the numbers allow for."""
        return self._told.share

    def log_ratios(self, columns: Floats, sizes: tuple[float, ...] = SIZES) -> Floats:
        """Return the logarithm of the evidence for each column as one more change.

        Parameters
        ----------
        columns : ndarray, shape (n, m)
            Shapes of the change, of size 1.
        sizes : tuple of float
            Mixture of sizes, in stated uncertainties.

        Returns
        -------
        ndarray, shape (m,)
            0: the record says nothing either way.
        """
        if not self._apart:
            return self._told.log_ratios(columns, sizes)
        # The same unknown temperature moves all series: their evidence does not multiply.  A mean
        # of ratios of expectation one has it too, however they hang together.
        each = [
            np.logaddexp.reduce(
                [log + fit.log_ratios(columns, sizes) for log, fit in zip(logs, fits, strict=True)]
            )
            for logs, fits in self._apart
        ]
        return np.asarray(np.logaddexp.reduce(each) - np.log(len(each)))

    def change_u(self, column: Floats) -> Floats:
        """Return how surely one more change of that shape would be known, shape (d,) [mm]."""
        return self._told.change_u(column)

    def estimate(self) -> Estimate:
        """Return what the fit says with the known changes."""
        return self._told.estimate(self.middle_c)

    def ahead(self, changes: Floats, day: float) -> tuple[Floats, Floats]:
        """Return what to expect on a later day of unknown temperature, and its uncertainty [mm].

        Parameters
        ----------
        changes : ndarray, shape (k,)
            The columns of the changes on that day.
        day : float

        Returns
        -------
        expected, u : ndarray, shape (d,)
            The last days count most: weather lasts (best linear prediction).
        """
        return self._told.ahead(changes, day, self.middle_c)
