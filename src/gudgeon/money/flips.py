"""Which input moves the result most, and at which value the decision turns."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.money.chance import Spread
from gudgeon.money.flows import zoom

__all__ = ["Swing", "bent_flip", "straight_flip", "swings"]

Floats = NDArray[np.float64]
Worth = Callable[[Mapping[str, ArrayLike]], Floats]


@dataclass(frozen=True, slots=True)
class Swing:
    """Worth of a choice with one input at the ends of its range, all others at their best values.

    Attributes
    ----------
    name : str
        Name of the input.
    low, high : float
        Ends of its 95 % range.
    worth_low, worth_high : float
        Worth today with the input at `low` and at `high`.
    """

    name: str
    low: float
    high: float
    worth_low: float
    worth_high: float

    @property
    def width(self) -> float:
        """How far the worth moves, never negative."""
        return abs(self.worth_high - self.worth_low)


def swings(worth: Worth, spreads: Mapping[str, Spread]) -> list[Swing]:
    """Return the swing of each input, widest first (the rows of a tornado chart)."""
    best = {name: spread.value for name, spread in spreads.items()}
    found = []
    for name, spread in spreads.items():
        ends = np.array([spread.lower, spread.upper])
        low, high = np.broadcast_to(worth({**best, name: ends}), (2,))
        found.append(Swing(name, spread.lower, spread.upper, float(low), float(high)))
    return sorted(found, key=lambda swing: -swing.width)


def straight_flip(
    margins: Callable[[Floats], Sequence[Floats]], at: float, *, low: float, high: float
) -> float | None:
    """Return the value nearest to `at` where a choice starts or ceases to be the best.

    For inputs that every margin depends on along a straight line, so that two evaluations suffice.

    Parameters
    ----------
    margins : callable
        For an array of values: worth of the choice less the worth of each opponent.  The choice is
        the best where all margins are above zero.
    at : float
        Best value of the input.
    low, high : float
        Physical limits of the input.

    Returns
    -------
    float or None
        ``None`` if no possible value of this input turns the decision.
    """
    step = max(abs(at), 1.0)
    best_from, best_to = -math.inf, math.inf
    for at_ends in margins(np.array([at, at + step])):
        first, second = (float(value) for value in at_ends)
        slope = (second - first) / step
        # A slope of a billionth of the margin is rounding, not a dependence.
        if abs(slope) * step <= 1e-9 * max(abs(first), abs(second)) or slope == 0.0:
            if first <= 0.0:
                return None
            continue
        root = at - first / slope
        if slope > 0.0:
            best_from = max(best_from, root)
        else:
            best_to = min(best_to, root)
    if best_from > best_to:
        return None
    ends = [end for end in (best_from, best_to) if math.isfinite(end) and low <= end <= high]
    return min(ends, key=lambda end: abs(end - at)) if ends else None


def bent_flip(
    margins: Callable[[Floats], Sequence[Floats]], at: float, *, low: float, high: float
) -> float | None:
    """As `straight_flip`, for any dependence, by searching between `low` and `high` (finite)."""
    if not low < high:
        return None
    found = zoom(lambda values: np.min(np.asarray(margins(values)), axis=0), low, high)
    return min(found, key=lambda value: abs(value - at)) if found else None
