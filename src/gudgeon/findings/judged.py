"""A value against its limit, both with their uncertainty, and how that uncertainty is found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from gudgeon.quantity.amount import Amount

__all__ = ["Judged", "Read", "State", "judge", "values_with_spread"]

Floats = NDArray[np.float64]
Read = Callable[[Amount], float]
State = Literal["holds", "fails", "unsure"]

ROUNDING: Final = 1e-9
"""A value this share above its limit still stands on it: rounding, not load."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A value and the limit that it must keep.

    Attributes
    ----------
    value, plus_minus : float
        Worst value and its expanded uncertainty (k = 2).
    limit : float
    limit_kind : "max" or "min"
    margin_plus_minus : float
        Expanded uncertainty of limit minus value, the limit's own included.
    """

    value: float
    plus_minus: float
    limit: float
    limit_kind: Literal["max", "min"]
    margin_plus_minus: float

    @property
    def margin(self) -> float:
        """How far inside the limit; negative outside."""
        inside = self.limit - self.value
        return inside if self.limit_kind == "max" else -inside

    @property
    def state(self) -> State:
        """Whether it holds for sure, fails for sure, or the uncertainty spans the limit."""
        rounding = ROUNDING * abs(self.limit)
        if self.margin - self.margin_plus_minus >= -rounding:
            return "holds"
        return "fails" if self.margin + self.margin_plus_minus < -rounding else "unsure"


def values_with_spread(work: Callable[[Read], Sequence[float] | Floats]) -> tuple[Floats, Floats]:
    """Return the values of `work` and their expanded uncertainties (k = 2).

    Parameters
    ----------
    work : callable
        Works values out from amounts, taking each amount through the ``read`` that it is given.
        An amount object stands for one input wherever it is read.

    Notes
    -----
    Law of propagation with whole steps of one standard uncertainty (JCGM 100:2008, 5.1.3 note 2).
    Of the two steps the one that changes more counts: a greatest value has corners, where a slope
    would be too small.
    """
    inputs: dict[int, Amount] = {}

    def collect(amount: Amount) -> float:
        inputs[id(amount)] = amount
        return amount.value

    def stepped(key: int, step: float) -> Floats:
        def read(amount: Amount) -> float:
            return amount.value + (step if id(amount) == key else 0.0)

        return np.asarray(work(read), np.float64)

    values = np.asarray(work(collect), np.float64)
    squares = np.zeros_like(values)
    for key, amount in list(inputs.items()):
        if amount.u == 0.0:
            continue
        both = np.stack([stepped(key, amount.u), stepped(key, -amount.u)])
        # Infinite minus infinite: no limit either way, so no change.
        with np.errstate(invalid="ignore"):
            change = np.nan_to_num(np.abs(both - values), nan=0.0, posinf=0.0).max(axis=0)
        squares += change**2
    return values, 2.0 * np.sqrt(squares)


def judge(
    value: Callable[[Read], float],
    limit: Callable[[Read], float],
    limit_kind: Literal["max", "min"] = "max",
) -> Judged:
    """Judge one value against one limit; see `values_with_spread`."""

    def work(read: Read) -> list[float]:
        here, bound = value(read), limit(read)
        return [here, bound, bound - here]

    values, spreads = values_with_spread(work)
    return Judged(
        value=float(values[0]),
        plus_minus=float(spreads[0]),
        limit=float(values[1]),
        limit_kind=limit_kind,
        margin_plus_minus=float(spreads[2]),
    )
