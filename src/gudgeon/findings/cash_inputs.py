"""What `[money]` says, as inputs with ranges; what it does not say, assumed aloud or asked for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from gudgeon.answer import Missing
from gudgeon.cell.model import Money, Rival
from gudgeon.findings.cash_minutes import USUAL_SHARE, PartTime, UnitTimes, unit_times
from gudgeon.findings.gather import Gather
from gudgeon.money.chance import Spread
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["RIVALS", "Input", "Stakes", "saving_and_price", "stakes"]

RIVALS: Final = {"dedicated": "a dedicated machine", "vise_work": "more vise work"}
"""Other ways to make the parts, in the order in which they are shown."""

YEARS_USUAL: Final = 5.0
DISCOUNT_USUAL: Final = 0.08

UNKNOWN_RUNNING: Final = 0.10
"""An unstated running cost may be anything from nothing to this share of the outlay a year."""

HOURS_PER_YEAR: Final = 8760.0


@dataclass(frozen=True, slots=True)
class _Usual:
    """Half width of the range of an input that states none, and how the shop can narrow it."""

    share: float
    label: str
    kind: Kind
    low: float
    how: str


_USUAL: Final = {
    "investment": _Usual(
        0.10,
        "outlay",
        Kind.MONEY,
        0.0,
        "ask for a written quote of everything, delivered and wired",
    ),
    "price": _Usual(0.10, "outlay", Kind.MONEY, 0.0, "ask for a written quote"),
    "running_cost": _Usual(
        0.30,
        "running cost",
        Kind.MONEY_PER_YEAR,
        0.0,
        "add up one year of upkeep, space, insurance and repairs",
    ),
    "saved_per_part": _Usual(
        USUAL_SHARE["saved_per_part"],
        "time saved a part",
        Kind.TIME,
        -math.inf,
        "time three parts with a stopwatch",
    ),
    "time_per_part_now": _Usual(
        USUAL_SHARE["time_per_part_now"],
        "time a part today",
        Kind.TIME,
        0.0,
        "time three parts with a stopwatch",
    ),
    "time_per_part": _Usual(
        USUAL_SHARE["time_per_part"],
        "time a part",
        Kind.TIME,
        0.0,
        "plan one load minute by minute: loading, cutting, indexing, tool changes",
    ),
    "shop_rate": _Usual(
        0.10, "shop rate", Kind.MONEY_PER_HOUR, 0.0, "divide last year's cost by the hours sold"
    ),
    "volume": _Usual(
        0.25,
        "volume",
        Kind.PER_YEAR,
        0.0,
        "ask the customer for a yearly call-off in writing",
    ),
    "years": _Usual(
        0.20, "years looked at", Kind.NUMBER, 0.25, "ask the customer how long the part will run"
    ),
    "discount": _Usual(
        0.25, "discount rate", Kind.SHARE, -0.5, "ask whoever lends the money for the rate"
    ),
    "resale": _Usual(0.50, "worth at the end", Kind.MONEY, 0.0, "look up what used ones sell for"),
}


@dataclass(frozen=True, slots=True)
class Input:
    """One number that the result rests on.

    Attributes
    ----------
    name : str
        Such as ``"volume"``, or ``"dedicated.price"`` for a rival's.
    label : str
        In the shop's words.
    kind : Kind
        Decides its unit; years are a plain number.
    spread : Spread
        Best value, standard uncertainty and physical limits, in the base unit.
    stated : bool
        The range was written in the cell file.
    how : str
        How to narrow it.
    origin : "entered" or "worked out"
        Where its value comes from.
    """

    name: str
    label: str
    kind: Kind
    spread: Spread
    stated: bool
    how: str
    origin: str = "entered"

    @property
    def entry(self) -> str:
        """Where it is narrowed in the cell file."""
        return f"money.{self.name}" if self.origin == "entered" else "timing.stopwatch"


@dataclass(frozen=True, slots=True)
class Stakes:
    """All that `[money]` says, ready for the sums.

    Attributes
    ----------
    unit, shared : tuple of Input
        Inputs of the unit alone; inputs that all choices share.
    rivals : dict
        Inputs of each rival that can be compared, by its name.
    assumed, cautions : tuple of str
        What was taken for granted, and what looks wrong.
    sharpen : tuple of Missing
        Entries that would add a rival or replace an assumption.
    """

    unit: tuple[Input, ...]
    shared: tuple[Input, ...]
    rivals: dict[str, tuple[Input, ...]]
    assumed: tuple[str, ...]
    cautions: tuple[str, ...]
    sharpen: tuple[Missing, ...]

    @property
    def deciding(self) -> tuple[Input, ...]:
        """Inputs that the worth of the unit rests on."""
        return self.unit + self.shared

    @property
    def everything(self) -> tuple[Input, ...]:
        """All inputs; those of the unit first, so that rivals do not change its draws."""
        return self.deciding + tuple(one for inputs in self.rivals.values() for one in inputs)


def saving_and_price(
    money: Money, gather: Gather, load: PartTime | None = None, *, with_volume: bool
) -> None:
    """Note in `gather` which essential entries are missing, the most telling first."""
    now, with_unit = money.time_per_part_now, money.time_per_part
    if money.saved_per_part is None:
        if now is None and with_unit is None and load is None:
            gather.need(
                money.saved_per_part,
                "money.saved_per_part",
                "time saved a part",
                why="all of the saving hangs on it",
                how="time three parts as you make them now with a stopwatch, then plan one load "
                "with the unit minute by minute; enter the difference",
            )
        elif now is None:
            gather.need(
                now,
                "money.time_per_part_now",
                "time a part today",
                why="the saving is this time less the time with the unit",
                how="time three parts with a stopwatch, set-ups included",
            )
        elif load is None:
            gather.need(
                with_unit,
                "money.time_per_part",
                "time a part with the unit",
                why="the saving is the time today less this time",
                how="plan one load minute by minute: loading, cutting, indexing, tool changes; "
                'divide by its parts, or enter what "order" asks for, which then works it out',
            )
    if with_volume:
        gather.need(
            money.volume or money.volumes,
            "money.volume",
            "parts a year",
            why="the saving comes with every part, the outlay only once",
            how="count the parts of the last twelve months, or ask the customer for a yearly "
            "call-off in writing",
        )
    if money.investment is None and not money.items:
        gather.need(
            money.investment,
            "money.investment",
            "whole outlay at the start",
            why="it has to be earned back",
            how="ask for a written quote of unit, drives, wiring, fixture and fitting",
        )
    if money.investment is None:
        for place, item in enumerate(money.items, start=1):
            gather.need(
                item.price,
                f"money.items[{place}].price",
                f"price of {item.name or f'item {place}'}",
                why="the outlay is the sum of all items",
                how="ask for a written quote",
            )
    gather.need(
        money.shop_rate,
        "money.shop_rate",
        "what an hour of machine and person is worth",
        why="it turns saved time into money",
        how="divide last year's cost of machine and person by the hours sold",
    )


def stakes(
    money: Money, gather: Gather, load: PartTime | None = None, *, with_volume: bool = True
) -> Stakes:
    """Return the inputs of the sums.

    Parameters
    ----------
    money : Money
        As read.
    gather : Gather
        Collects what is missing.
    load : PartTime, optional
        What the order of a load says of the time of a part.
    with_volume : bool
        False where the volume is what is looked for; it then counts as zero.

    Raises
    ------
    Lacking
        If saved time, outlay, shop rate or (if asked for) volume is missing.
    """
    saving_and_price(money, gather, load, with_volume=with_volume)
    gather.stop()
    notes = _Notes(gather.file)
    outlay = _outlay(money, notes)
    running = money.running_cost
    if running is None:
        notes.assume(
            "running cost: none entered; counted as 0, with draws up to about "
            f"{100.0 * UNKNOWN_RUNNING:.0f} % of the outlay a year (common practice, no source)"
        )
        notes.want(
            "money.running_cost",
            "yearly cost of unit and drives",
            "it comes off the saving every year",
            _USUAL["running_cost"].how,
        )
        running = Amount(0.0, UNKNOWN_RUNNING * outlay.value)
    unit = [
        notes.input("investment", outlay),
        notes.input("running_cost", running),
        *notes.times(unit_times(money, load)),
    ]
    if money.resale is None:
        notes.assume("worth of the unit at the end of the years: none entered; counted as 0")
    else:
        unit.append(notes.input("resale", money.resale))
    if money.years is None:
        notes.assume(f"years looked at: {YEARS_USUAL:g} (none entered)")
    if money.discount is None:
        notes.assume(f"discount rate: {100.0 * DISCOUNT_USUAL:.0f} % a year (none entered)")
    assert money.shop_rate is not None  # gathered above
    volume = money.volume or (money.volumes[0] if money.volumes else Amount(0.0))
    shared = [
        notes.input("shop_rate", money.shop_rate),
        notes.input("volume", volume),
        notes.input("years", money.years or Amount(YEARS_USUAL)),
        notes.input("discount", money.discount or Amount(DISCOUNT_USUAL)),
    ]
    rivals: dict[str, tuple[Input, ...]] = {}
    known = {one.name for one in unit}
    for name in RIVALS:
        inputs = _rival(name, getattr(money, name), money, notes, known)
        if inputs:
            rivals[name] = inputs
            known.update(one.name for one in inputs)
    now = money.time_per_part_now
    if now is not None and now.value / 3600.0 * volume.value > HOURS_PER_YEAR:
        notes.cautions.append(
            f"{volume.value:,.0f} parts a year at {now.value / 60.0:.1f} min each are more hours "
            "than a year has: check both entries"
        )
    notes.tell_ranges()
    return Stakes(
        unit=tuple(unit),
        shared=tuple(shared),
        rivals=rivals,
        assumed=tuple(notes.assumed),
        cautions=tuple(notes.cautions),
        sharpen=tuple(notes.sharpen),
    )


class _Notes:
    """What has to be told beside the numbers, collected while they are read."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.assumed: list[str] = []
        self.cautions: list[str] = []
        self.sharpen: list[Missing] = []
        self._ranges: list[str] = []

    def assume(self, text: str) -> None:
        self.assumed.append(text)

    def want(self, key: str, what: str, why: str, how: str) -> None:
        self.sharpen.append(Missing(what, f"{self.file}: {key}", why, how))

    def input(self, name: str, amount: Amount) -> Input:
        """Return `amount` as an input, with the usual range if it states none."""
        owner, _, short = name.rpartition(".")
        usual = _USUAL[short]
        stated = amount.plus_minus is not None
        half = (
            amount.plus_minus if amount.plus_minus is not None else usual.share * abs(amount.value)
        )
        if not stated and half > 0.0 and not owner:
            self._ranges.append(f"{usual.label} +-{100.0 * usual.share:.0f} %")
        label = usual.label
        if name == "time_per_part":
            label = "time a part with the unit"
        elif owner:
            label = f"{usual.label}, {RIVALS[owner]}"
        return Input(
            name=name,
            label=label,
            kind=usual.kind,
            # A best value beyond a limit is refused when the file is read.
            spread=Spread(amount.value, half / 2.0, min(usual.low, amount.value)),
            stated=stated,
            how=usual.how,
        )

    def times(self, found: UnitTimes) -> list[Input]:
        """Return the times of a part as inputs, and tell where they come from."""
        self.assumed += found.assumed
        self.cautions += found.cautions
        inputs = [self.input(name, amount) for name, amount in found.inputs]
        if not found.worked_out:
            return inputs
        stopwatch = (
            "time one whole program with a stopwatch and enter it under [[timing.stopwatch]]"
        )
        return [
            replace(one, origin="worked out", how=stopwatch) if one.name == "time_per_part" else one
            for one in inputs
        ]

    def tell_ranges(self) -> None:
        """Tell the ranges that were put in for the shop."""
        if self._ranges:
            self.assumed.append(
                "ranges (95 %) where none is entered: "
                + ", ".join(self._ranges)
                + " (common practice, no source)"
            )
        self.assumed.append(
            "the inputs vary independently of each other, each about its best value"
        )


def _outlay(money: Money, notes: _Notes) -> Amount:
    """Return the outlay: as entered, else the sum of the items."""
    prices = [item.price for item in money.items if item.price is not None]
    total = sum(price.value for price in prices)
    if money.investment is not None:
        if prices and abs(total - money.investment.value) > 0.005 * max(total, 1.0):
            larger = max(total, money.investment.value)
            notes.cautions.append(
                f"money.investment says {money.investment.value:,.0f}, the items add up to "
                f"{total:,.0f}: the larger, {larger:,.0f}, is used; correct one of them"
            )
            if total > money.investment.value:
                return Amount(total, _sum_of_ranges(prices))
        return money.investment
    return Amount(total, _sum_of_ranges(prices))


def _sum_of_ranges(prices: list[Amount]) -> float | None:
    """Return the range of a sum of prices; ``None`` if no item states one.

    Quotes tend to be short or ample together, so the ranges are added, not their squares: that
    errs to the wide side, and splitting an outlay into items does not narrow it.
    """
    if all(price.plus_minus is None for price in prices):
        return None
    usual = _USUAL["investment"].share
    return sum(
        price.plus_minus if price.plus_minus is not None else usual * price.value
        for price in prices
    )


def _rival(
    name: str, rival: Rival, money: Money, notes: _Notes, known: set[str]
) -> tuple[Input, ...]:
    """Return the inputs of one rival; none, with a word about it, if it cannot be compared."""
    words = RIVALS[name]
    entered = [rival.price, rival.running_cost, rival.time_per_part, rival.saved_per_part]
    if all(entry is None for entry in entered):
        notes.assume(f"{words} was not compared: nothing is entered in [money.{name}]")
        return ()
    lacks: list[tuple[str, str, str]] = []
    if rival.price is None:
        lacks.append((f"money.{name}.price", f"outlay for {words}", _USUAL["price"].how))
    if rival.saved_per_part is None and rival.time_per_part is None:
        lacks.append(
            (
                f"money.{name}.time_per_part",
                f"time a part with {words}",
                _USUAL["time_per_part_now"].how,
            )
        )
    elif rival.saved_per_part is None and money.time_per_part_now is None:
        lacks.append(
            ("money.time_per_part_now", "time a part today", _USUAL["time_per_part_now"].how)
        )
    if lacks:
        notes.assume(f"{words} was left out: {lacks[0][1]} is missing")
        for key, what, how in lacks:
            notes.want(key, what, f"without it {words} cannot be compared", how)
        return ()
    found = []
    if rival.price is not None:
        found.append(notes.input(f"{name}.price", rival.price))
    if rival.saved_per_part is not None:
        found.append(notes.input(f"{name}.saved_per_part", rival.saved_per_part))
    elif rival.time_per_part is not None and money.time_per_part_now is not None:
        found.append(notes.input(f"{name}.time_per_part", rival.time_per_part))
        if "time_per_part_now" not in known:
            # The unit does without it; the rivals that need it share one draw.
            found.append(notes.input("time_per_part_now", money.time_per_part_now))
    if rival.running_cost is not None:
        found.append(notes.input(f"{name}.running_cost", rival.running_cost))
    else:
        notes.assume(f"running cost of {words}: none entered; counted as 0")
    if rival.resale is not None:
        found.append(notes.input(f"{name}.resale", rival.resale))
    return tuple(found)
