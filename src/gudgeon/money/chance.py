"""Draws from the ranges of the inputs (JCGM 101:2008, propagation of distributions)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["DRAWS", "Spread", "chance_each_best", "draw", "half_width", "share_above_zero"]

Floats = NDArray[np.float64]

DRAWS: Final = 20_000
"""At this number a probability of 95 % is itself known to +-0.3 % (k = 2, binomial)."""

REDRAWS: Final = 60
"""Half of all draws at least lie inside the limits, so 60 rounds leave none of 2^60 outside."""


@dataclass(frozen=True, slots=True)
class Spread:
    """What is known of one input: normal about `value`, cut off at what is possible.

    Attributes
    ----------
    value : float
        Best value, within the limits.
    u : float
        Standard uncertainty (k = 1); 0 for an input known exactly.
    low, high : float
        Physical limits; ``inf`` where there is none.
    """

    value: float
    u: float
    low: float = -np.inf
    high: float = np.inf

    @property
    def lower(self) -> float:
        """Low end of the 95 % range, within the limits."""
        return max(self.low, self.value - 2.0 * self.u)

    @property
    def upper(self) -> float:
        """High end of the 95 % range, within the limits."""
        return min(self.high, self.value + 2.0 * self.u)


def draw(spreads: Mapping[str, Spread], *, seed: int, count: int = DRAWS) -> dict[str, Floats]:
    """Return `count` independent draws of each input; the same seed gives the same draws.

    Each input has its own stream, in the order of `spreads`, so that an input added at the end
    leaves the draws of the others as they were.

    Raises
    ------
    ValueError
        If a best value lies outside its limits or an uncertainty is negative.
    """
    streams = np.random.SeedSequence(seed).spawn(len(spreads))
    drawn = {}
    for (name, spread), stream in zip(spreads.items(), streams, strict=True):
        if not (spread.low <= spread.value <= spread.high and spread.u >= 0.0):
            raise ValueError(f"{name}: {spread} is no range about its best value")
        random = np.random.default_rng(stream)
        if spread.u == 0.0:
            drawn[name] = np.full(count, spread.value)
            continue
        values = random.normal(spread.value, spread.u, count)
        for _ in range(REDRAWS):
            out = (values < spread.low) | (values > spread.high)
            if not out.any():
                break
            values[out] = random.normal(spread.value, spread.u, int(out.sum()))
        drawn[name] = np.clip(values, spread.low, spread.high)
    return drawn


def share_above_zero(worths: ArrayLike) -> float:
    """Return the share of draws in which the worth is above zero."""
    return float(np.mean(np.asarray(worths) > 0.0))


def chance_each_best(worths: ArrayLike) -> Floats:
    """Return for each choice the share of draws in which it is worth most.

    Parameters
    ----------
    worths : array_like, shape (choices, draws)
        A tie counts for the choice that stands first: list the one that asks for least first.
    """
    table = np.asarray(worths, dtype=np.float64)
    counts = np.bincount(np.argmax(table, axis=0), minlength=table.shape[0])
    return np.asarray(counts / table.shape[1], dtype=np.float64)


def half_width(values: ArrayLike) -> float:
    """Return half the width of the middle 95 % of the draws (the k = 2 of a lopsided range)."""
    low, high = np.quantile(np.asarray(values), [0.025, 0.975])
    return float(high - low) / 2.0
