"""Control charts: sums, moving averages and limits, with how often they alarm for nothing.

CUSUM, EWMA and individuals charts as in the usual textbooks (recursions and limits checked against
published examples); run lengths by Markov chains (Brook and Evans 1972; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, ndtr

__all__ = [
    "Factors",
    "cusum",
    "cusum_limit",
    "cusum_run_length",
    "ewma",
    "ewma_limits",
    "ewma_run_length",
    "factors",
    "individuals",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Factors:
    """Factors of charts for samples of `n` normal readings (Shewhart).

    Attributes
    ----------
    d2, d3 : float
        Mean and standard deviation of the range, in standard deviations of one reading.
    c4 : float
        Mean of the sample's standard deviation, in the same.
    a2, a3 : float
        Three-sigma limits of the mean, from mean range and from mean standard deviation.
    range_low, range_high : float
        Limits of the range (D3, D4), in mean ranges.
    spread_low, spread_high : float
        Limits of the standard deviation (B3, B4), in mean standard deviations.
    """

    d2: float
    d3: float
    c4: float
    a2: float
    a3: float
    range_low: float
    range_high: float
    spread_low: float
    spread_high: float


@lru_cache(maxsize=64)
def factors(n: int) -> Factors:
    """Return the chart factors for samples of `n`, by numerical integration of the range.

    Raises
    ------
    ValueError
        If `n` is below 2.
    """
    if n < 2:
        raise ValueError(f"a range needs two readings, got {n}")
    x = np.linspace(-8.5, 8.5, 501)
    step = x[1] - x[0]
    below = ndtr(x)
    d2 = float(np.sum(1.0 - below**n - (1.0 - below) ** n) * step)
    low, high = below[:, None], below[None, :]
    both = 1.0 - high**n - (1.0 - low) ** n + np.clip(high - low, 0.0, 1.0) ** n
    # Half of the diagonal belongs to the triangle low < high.
    inside = np.triu(both) - 0.5 * np.diag(np.diag(both))
    d3 = math.sqrt(2.0 * float(np.sum(inside)) * step**2 - d2**2)
    c4 = math.sqrt(2.0 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))
    wide = 3.0 * d3 / d2
    spread = 3.0 * math.sqrt(1.0 - c4**2) / c4
    return Factors(
        d2,
        d3,
        c4,
        3.0 / (d2 * math.sqrt(n)),
        3.0 / (c4 * math.sqrt(n)),
        max(0.0, 1.0 - wide),
        1.0 + wide,
        max(0.0, 1.0 - spread),
        1.0 + spread,
    )


def individuals(values: ArrayLike) -> tuple[float, float, float, float]:
    """Return mean, mean moving range of two, and upper and lower three-sigma limit.

    Raises
    ------
    ValueError
        If there are fewer than two values.
    """
    x = np.asarray(values, dtype=np.float64)
    if len(x) < 2:
        raise ValueError("a moving range needs two values")
    mean, moving = float(np.mean(x)), float(np.mean(np.abs(np.diff(x))))
    reach = 3.0 / factors(2).d2 * moving
    return mean, moving, mean + reach, mean - reach


def cusum(values: ArrayLike, target: float, allowance: float) -> tuple[Floats, Floats]:
    """Return the upper and the lower tabular cumulative sum, both counted upwards from zero."""
    x = np.asarray(values, dtype=np.float64)
    upper, lower = np.zeros(len(x)), np.zeros(len(x))
    up = down = 0.0
    for i, one in enumerate(x.tolist()):
        up = max(0.0, up + one - target - allowance)
        down = max(0.0, down + target - allowance - one)
        upper[i], lower[i] = up, down
    return upper, lower


def ewma(values: ArrayLike, weight: float, start: float) -> Floats:
    """Return the exponentially weighted moving average: `weight` for the newest value."""
    found, level = [], start
    for one in np.asarray(values, dtype=np.float64).tolist():
        level = weight * one + (1.0 - weight) * level
        found.append(level)
    return np.array(found)


def ewma_limits(
    target: float, sigma: float, weight: float, width: float = 3.0, count: int | None = None
) -> tuple[float, float]:
    """Return upper and lower limit: after `count` values, or steady (``None``)."""
    growing = 1.0 if count is None else 1.0 - (1.0 - weight) ** (2 * count)
    reach = width * sigma * math.sqrt(weight / (2.0 - weight) * growing)
    return target + reach, target - reach


def cusum_run_length(allowance: float, limit: float, shift: float = 0.0, cells: int = 150) -> float:
    """Return the mean run length of a two-sided CUSUM of unit normal values.

    By a Markov chain: the sum's range cut into `cells`.
    """

    def one_sided(drift: float) -> float:
        width = 2.0 * limit / (2.0 * cells - 1.0)
        at = np.arange(cells) * width
        ends = at[None, :] - at[:, None] - drift
        moves = ndtr(ends + width / 2.0) - ndtr(ends - width / 2.0)
        # Whatever falls below zero starts anew at zero.
        moves[:, 0] = ndtr(width / 2.0 - at - drift)
        return float(np.linalg.solve(np.eye(cells) - moves, np.ones(cells))[0])

    return 1.0 / (1.0 / one_sided(shift - allowance) + 1.0 / one_sided(-shift - allowance))


def cusum_limit(allowance: float, run_length: float) -> float:
    """Return the limit at which a two-sided CUSUM alarms for nothing once in `run_length`."""
    low, high = 0.1, 30.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if cusum_run_length(allowance, middle, cells=60) < run_length:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def ewma_run_length(weight: float, width: float, shift: float = 0.0, cells: int = 151) -> float:
    """Return the mean run length of an EWMA with steady limits, by a Markov chain."""
    reach = width * math.sqrt(weight / (2.0 - weight))
    step = 2.0 * reach / cells
    at = -reach + (np.arange(cells) + 0.5) * step
    middle = (at[None, :] - (1.0 - weight) * at[:, None]) / weight - shift
    half = 0.5 * step / weight
    moves = ndtr(middle + half) - ndtr(middle - half)
    lengths = np.linalg.solve(np.eye(cells) - moves, np.ones(cells))
    return float(lengths[cells // 2])
