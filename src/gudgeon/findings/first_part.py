"""How far the first good part may be off, so that the parts after it stay in tolerance.

What all parts of one set-up share is seen on the first part; what differs from part to part is in
it and in each later part anew.  Where a first part is off by e, a later one is off by e with twice
the variance of one part; nothing is taken as known of the set-up, for it is on trial.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gudgeon.findings.accuracy import DimensionFound

if TYPE_CHECKING:
    from gudgeon.findings import Findings

__all__ = ["FirstSize", "first_part"]


@dataclass(frozen=True, slots=True, eq=False)
class FirstSize:
    """One toleranced dimension of the first part.

    Attributes
    ----------
    found : DimensionFound
    scatter : float
        95 % of what a later part may differ from the first one [mm; rad for an angle].
    low, high : float
        Error that the first part may have; `low` over `high`: the scatter alone is too much.  Of
        two directions `high` is the radius, and `low` is 0.
    """

    found: DimensionFound
    scatter: float
    low: float
    high: float

    @property
    def possible(self) -> bool:
        """Whether any first part leaves room for the scatter."""
        return self.low <= self.high


def first_part(findings: Findings) -> tuple[FirstSize, ...]:
    """Return every toleranced dimension, at the station where it is worst; raises `Lacking`."""
    found = []
    for one in findings.accuracy.dimensions:
        if not one.toleranced:
            continue
        outcome = one.outcome
        scatter = one.plus_minus * math.sqrt(2.0 * max(1.0 - outcome.set_up_share, 0.0))
        low = 0.0 if outcome.dimension.directions == 2 else outcome.dimension.low + scatter
        found.append(FirstSize(one, scatter, low, outcome.dimension.high - scatter))
    return tuple(found)
