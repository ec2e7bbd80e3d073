"""What is known of the cash once it is worked out: plain data for the question "does it pay"."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from gudgeon.findings.cash_inputs import Input, Stakes
from gudgeon.money.flips import Swing
from gudgeon.money.flows import InternalRate
from gudgeon.money.level import whole_parts

__all__ = [
    "NOTHING",
    "SURE",
    "UNIT",
    "AtVolume",
    "BreakEven",
    "Cash",
    "Curve",
    "Flip",
    "Levers",
    "Option",
]

UNIT: Final = "unit"
NOTHING: Final = "nothing"

SURE: Final = 0.95
"""The share of draws that counts as sure."""


@dataclass(frozen=True, slots=True)
class Curve:
    """Cash in hand by year, not discounted; the worth at the end comes in at the last point.

    Attributes
    ----------
    times : tuple of float
        Years; the last stands twice, before and after the sale.
    best : tuple of float
        At the best values.
    low, middle, high : tuple of float
        5, 50 and 95 % of the draws.
    """

    times: tuple[float, ...]
    best: tuple[float, ...]
    low: tuple[float, ...]
    middle: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Option:
    """One way to make the parts, against going on as today.

    Attributes
    ----------
    name, words : str
        ``"unit"``, ``"dedicated"``, ``"vise_work"`` or ``"nothing"``, and how the shop says it.
    outlay, yearly, resale, worth : float
        Outlay, net saving a year, worth at the end, worth today of it all (NPV).
    worth_half : float
        Half the width of the middle 95 % of the worth.
    worth_low, worth_high : float
        5 and 95 % of the worth.
    saved_s : float
        Time saved a part [s].
    part_cost : float or None
        Cost of one part, outlay and upkeep spread over the years; ``None`` if the time a part or
        the volume is not known.
    rate : InternalRate or None
        ``None`` without outlay.
    payback, payback_early, payback_late : float
        Outlay over yearly saving [years], with 5 and 95 % of the draws; ``inf``: never.
    discounted : float
        The same with discounted savings.
    index : float or None
        Worth today of what comes in, over the outlay.
    annual : float
        The worth as a level sum a year.
    chance_pays, chance_best : float
        Share of draws with a worth above zero; with the highest worth of all options.
    times, flows : tuple of float
        Cash flow: years and sums.
    curve : Curve
        Cash in hand.
    """

    name: str
    words: str
    outlay: float
    yearly: float
    resale: float
    worth: float
    worth_half: float
    worth_low: float
    worth_high: float
    saved_s: float
    part_cost: float | None
    rate: InternalRate | None
    payback: float
    payback_early: float
    payback_late: float
    discounted: float
    index: float | None
    annual: float
    chance_pays: float
    chance_best: float
    times: tuple[float, ...]
    flows: tuple[float, ...]
    curve: Curve


@dataclass(frozen=True, slots=True)
class Flip:
    """Where one input turns the decision.

    Attributes
    ----------
    input : Input
        The input.
    at : float
        Value at which the decision turns, in the base unit.
    away : float
        Distance from the best value in standard uncertainties; ``inf`` for an exact input.
    """

    input: Input
    at: float
    away: float

    @property
    def rounded(self) -> float:
        """`at`, but a volume rounded up to a whole part."""
        return whole_parts(self.at) if self.input.name == "volume" else self.at


@dataclass(frozen=True, slots=True)
class AtVolume:
    """The unit at one yearly volume."""

    volume: float
    yearly: float
    payback: float
    discounted: float
    worth: float
    chance_pays: float


@dataclass(frozen=True, slots=True)
class Levers:
    """What would make it pay in 95 % of the draws, each alone, if it were kept for certain.

    Attributes
    ----------
    volume : float
        Least volume, whole parts a year; ``inf`` if none.
    saved_s : float
        Least time saved a part [s]; ``inf`` if none.
    outlay : float
        Highest outlay; not above zero if none.
    volume_plausible, saved_plausible : bool
        The value lies within the range of the input.
    """

    volume: float
    saved_s: float
    outlay: float
    volume_plausible: bool
    saved_plausible: bool


@dataclass(frozen=True, slots=True)
class BreakEven:
    """Yearly volumes at the best values of everything else, rounded up to whole parts.

    Attributes
    ----------
    paid : float
        Worth today is zero; ``inf`` if no volume is enough.
    paid_simple : float
        The outlay comes back within the years, not discounted, resale left out.
    covered : float
        The saving just covers the running cost.
    stakes : Stakes
        What it rests on.
    """

    paid: float
    paid_simple: float
    covered: float
    stakes: Stakes


@dataclass(frozen=True, slots=True)
class Cash:
    """Everything that the question "does it pay" shows.

    Attributes
    ----------
    options : tuple of Option
        The unit, its rivals, and doing nothing, in this order.
    stakes : Stakes
        Inputs, assumptions and what would sharpen them.
    break_even : BreakEven
        Volumes.
    swings : tuple of Swing
        Of the unit's worth for each input, widest first.
    flips, rival_flips : tuple of Flip
        Where the unit starts or ceases to pay; to be the best choice.  Nearest first.
    levers : Levers
        What would make it sure.
    volumes : tuple of AtVolume
        The unit at each volume asked about.
    seed, draws : int
        Of the random draws.
    """

    options: tuple[Option, ...]
    stakes: Stakes
    break_even: BreakEven
    swings: tuple[Swing, ...]
    flips: tuple[Flip, ...]
    rival_flips: tuple[Flip, ...]
    levers: Levers
    volumes: tuple[AtVolume, ...]
    seed: int
    draws: int

    @property
    def unit(self) -> Option:
        """The unit itself."""
        return self.options[0]

    @property
    def best(self) -> Option:
        """The option with the highest worth; doing nothing wins a tie."""
        return max(reversed(self.options), key=lambda option: option.worth)

    def input(self, name: str) -> Input:
        """Return the input called `name`; KeyError if there is none."""
        for one in self.stakes.everything:
            if one.name == name:
                return one
        raise KeyError(name)

    def entered(self, name: str) -> float | None:
        """Return the best value of an input; ``None`` if it was not entered."""
        return next((i.spread.value for i in self.stakes.everything if i.name == name), None)

    def origin(self, name: str) -> str:
        """Return whether an input was worked out; "entered" where it was not, or is none."""
        return next((i.origin for i in self.stakes.everything if i.name == name), "entered")
