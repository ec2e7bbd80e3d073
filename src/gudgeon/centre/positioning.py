"""Accuracy and repeatability of positioning of an axis (ISO 230-2:2014, formulas from memory).

Each target is approached several times from below ("up") and from above ("down").  Deviations are
position reached less target; the unit of the results is that of the deviations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["PositioningTest", "positioning"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PositioningTest:
    """Figures of a positioning test; arrays have one entry for each target.

    Attributes
    ----------
    mean_up, mean_down : ndarray
        Mean unidirectional deviation.
    spread_up, spread_down : ndarray
        Estimated standard deviation (n - 1).
    reversals : ndarray
        Mean up less mean down: lost motion.
    """

    mean_up: Floats
    mean_down: Floats
    spread_up: Floats
    spread_down: Floats

    @property
    def reversals(self) -> Floats:
        """Reversal error at each target."""
        return np.asarray(self.mean_up - self.mean_down)

    @property
    def reversal(self) -> float:
        """Reversal error of the axis: the largest magnitude."""
        return float(np.max(np.abs(self.reversals)))

    @property
    def mean_reversal(self) -> float:
        """Mean reversal error, signed."""
        return float(np.mean(self.reversals))

    @property
    def mean(self) -> Floats:
        """Mean bidirectional deviation at each target."""
        return np.asarray(0.5 * (self.mean_up + self.mean_down))

    @property
    def repeatability_up(self) -> float:
        """Largest 4 s of the approaches from below."""
        return float(np.max(4.0 * self.spread_up))

    @property
    def repeatability_down(self) -> float:
        """Largest 4 s of the approaches from above."""
        return float(np.max(4.0 * self.spread_down))

    @property
    def repeatability(self) -> float:
        """Bidirectional repeatability: largest of 2 s + 2 s + reversal, 4 s up and 4 s down."""
        both = 2.0 * self.spread_up + 2.0 * self.spread_down + np.abs(self.reversals)
        return max(float(np.max(both)), self.repeatability_up, self.repeatability_down)

    @property
    def systematic_up(self) -> float:
        """Range of the means from below."""
        return float(np.ptp(self.mean_up))

    @property
    def systematic_down(self) -> float:
        """Range of the means from above."""
        return float(np.ptp(self.mean_down))

    @property
    def systematic(self) -> float:
        """Bidirectional systematic deviation: range of all means."""
        return float(np.ptp([*self.mean_up, *self.mean_down]))

    @property
    def mean_range(self) -> float:
        """Range of the mean bidirectional deviations."""
        return float(np.ptp(self.mean))

    @property
    def accuracy_up(self) -> float:
        """Range of mean +- 2 s from below."""
        return _range(self.mean_up, self.spread_up)

    @property
    def accuracy_down(self) -> float:
        """Range of mean +- 2 s from above."""
        return _range(self.mean_down, self.spread_down)

    @property
    def accuracy(self) -> float:
        """Bidirectional accuracy of positioning: range of mean +- 2 s, both ways together."""
        means = np.concatenate([self.mean_up, self.mean_down])
        return _range(means, np.concatenate([self.spread_up, self.spread_down]))


def positioning(up: ArrayLike, down: ArrayLike) -> PositioningTest:
    """Return the figures of a positioning test.

    Parameters
    ----------
    up, down : array_like, shape (targets, runs)
        Deviations of the approaches from below and from above.

    Raises
    ------
    ValueError
        If the shapes differ, or there are fewer than two runs.
    """
    above, below = np.asarray(up, dtype=np.float64), np.asarray(down, dtype=np.float64)
    if above.ndim != 2 or above.shape != below.shape or above.shape[1] < 2:
        raise ValueError("as many runs, at least two, from below as from above at each target")
    return PositioningTest(
        above.mean(axis=1),
        below.mean(axis=1),
        above.std(axis=1, ddof=1),
        below.std(axis=1, ddof=1),
    )


def _range(means: Floats, spreads: Floats) -> float:
    return float(np.max(means + 2.0 * spreads) - np.min(means - 2.0 * spreads))
