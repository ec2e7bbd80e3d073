"""How long an order is sought."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

__all__ = ["USUAL_EFFORT", "Effort"]


@dataclass(frozen=True, slots=True)
class Effort:
    """How long an order is sought.

    Attributes
    ----------
    rounds : int
        Rounds of the search for each tool that may be the last.
    bound : float
        Effort for the bound, about in seconds; 0: none is sought.
    keep_going : callable, optional
        Returns False to stop; what was found until then is answered.  Where it is given the search
        begins again and again, each time with twice the rounds, until it says so.
    bound_going : callable, optional
        The same for the bound.
    told : callable, optional
        Gets the share that is done, 0 to 1; not used together with `keep_going`.
    seed : int
        Of the search's chance.
    """

    rounds: int
    bound: float
    keep_going: Callable[[], bool] | None = None
    bound_going: Callable[[], bool] | None = None
    told: Callable[[float], None] | None = None
    seed: int = 1


USUAL_EFFORT: Final = Effort(rounds=4_000, bound=0.3)
"""What an answer takes when nobody asked for more."""
