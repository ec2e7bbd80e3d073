"""Cash: what the unit and its rivals are worth, how surely, and what would turn the decision."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.findings.base import FindingsBase
from gudgeon.findings.cash_facts import (
    NOTHING,
    SURE,
    UNIT,
    AtVolume,
    BreakEven,
    Cash,
    Curve,
    Flip,
    Levers,
    Option,
)
from gudgeon.findings.cash_inputs import RIVALS, Input, Stakes, stakes
from gudgeon.findings.cash_minutes import PartTime, entries_agree
from gudgeon.money.chance import (
    DRAWS,
    Spread,
    chance_each_best,
    draw,
    half_width,
    share_above_zero,
)
from gudgeon.money.flips import bent_flip, straight_flip, swings
from gudgeon.money.flows import (
    annual_equivalent,
    internal_rate,
    profitability_index,
)
from gudgeon.money.level import (
    annuity,
    cost_per_part,
    discounted_payback,
    level_flows,
    level_worth,
    price_allowed,
    running_total,
    saved_needed,
    simple_payback,
    volume_needed,
    whole_parts,
    yearly_saving,
)
from gudgeon.quantity.amount import Amount

__all__ = ["CashFindings"]

Floats = NDArray[np.float64]
Values = Mapping[str, ArrayLike]

BENT: Final = {"years": (0.25, 50.0), "discount": (-0.5, 5.0)}
"""Inputs on which the worth does not depend along a straight line, and where to look."""


class CashFindings(FindingsBase):
    """Findings on money."""

    @property
    def load_time(self) -> PartTime | None:
        """Time of a part by the order of a load; ``None`` where no order is worked out."""
        return None

    @property
    def load_time_span(self) -> tuple[PartTime, PartTime | None] | None:
        """The same at least and in the order of the file, without seeking an order."""
        return None

    @cached_property
    def _part_time(self) -> PartTime | None:
        """What the order says of a part, where anything hangs on it.

        What is entered is held against the quick bounds first: only where it lies outside of them
        is an order sought.
        """
        money = self.cell.money
        if money.time_per_part_now is None and money.saved_per_part is not None:
            return None  # the saving is entered, and nothing is there to hold it against
        if money.time_per_part is None and money.saved_per_part is None:
            return self.load_time
        span = self.load_time_span
        if span is None or entries_agree(money, *span):
            return None
        return self.load_time

    @cached_property
    def break_even(self) -> BreakEven:
        """Volumes from which it pays; needs no volume.

        Raises
        ------
        Lacking
            If saved time, outlay or shop rate is missing.
        """
        found = stakes(self.cell.money, self.gather(), self._part_time, with_volume=False)
        return _break_even(found, _best_values(found))

    @cached_property
    def cash(self) -> Cash:
        """Worth, payback, chances, swings and flips.

        Raises
        ------
        Lacking
            If saved time, volume, outlay or shop rate is missing.
        """
        money = self.cell.money
        found = stakes(money, self.gather(), self._part_time)
        seed = 1 if money.seed is None else money.seed
        best = _best_values(found)
        drawn = draw({one.name: one.spread for one in found.everything}, seed=seed)
        names = [UNIT, *found.rivals]
        worths = {name: _worth(name, drawn) for name in names}
        # Doing nothing first, the unit last: a tie goes to what asks for less.
        order = [NOTHING, *reversed(found.rivals), UNIT]
        table = [worths.get(name, np.zeros(DRAWS)) for name in order]
        chances = dict(zip(order, chance_each_best(table).tolist(), strict=True))
        options = [_option(name, best, drawn, worths[name], float(chances[name])) for name in names]
        options.append(_nothing(best, float(chances[NOTHING])))
        tornado = swings(
            lambda values: _worth(UNIT, values), {one.name: one.spread for one in found.deciding}
        )
        return Cash(
            options=tuple(options),
            stakes=found,
            break_even=_break_even(found, best),
            swings=tuple(tornado),
            flips=_flips(found.deciding, best, rivals=()),
            rival_flips=_flips(found.everything, best, tuple(found.rivals)) if found.rivals else (),
            levers=_levers(best, drawn, found),
            volumes=_at_volumes(money.volumes, best, drawn, found),
            seed=seed,
            draws=DRAWS,
        )


def _best_values(found: Stakes) -> dict[str, float]:
    return {one.name: one.spread.value for one in found.everything}


def _key(option: str, entry: str) -> str:
    """Return the name of an input of `option`."""
    if option == UNIT:
        return "investment" if entry == "price" else entry
    return f"{option}.{entry}"


def _saved_s(option: str, values: Values) -> Floats:
    """Return the time that `option` saves on a part [s]."""
    direct: ArrayLike | None = values.get(_key(option, "saved_per_part"))
    if direct is not None:
        return np.asarray(direct, dtype=np.float64)
    now, then = values["time_per_part_now"], values[_key(option, "time_per_part")]
    return np.asarray(np.asarray(now) - np.asarray(then), dtype=np.float64)


def _yearly(option: str, values: Values) -> Floats:
    return yearly_saving(
        _saved_s(option, values),
        values["shop_rate"],
        values["volume"],
        values.get(_key(option, "running_cost"), 0.0),
    )


def _worth(option: str, values: Values) -> Floats:
    """Return the worth today of `option` for every entry of `values`."""
    return level_worth(
        values[_key(option, "price")],
        _yearly(option, values),
        values.get(_key(option, "resale"), 0.0),
        values["discount"],
        values["years"],
    )


def _option(
    name: str, best: dict[str, float], drawn: dict[str, Floats], worths: Floats, chance: float
) -> Option:
    outlay = best[_key(name, "price")]
    yearly = float(_yearly(name, best))
    resale = best.get(_key(name, "resale"), 0.0)
    years, rate = best["years"], best["discount"]
    worth = float(_worth(name, best))
    times, flows = level_flows(outlay, yearly, resale, years)
    early, late = np.quantile(
        simple_payback(drawn[_key(name, "price")], _yearly(name, drawn)),
        [0.05, 0.95],
        method="higher",  # never interpolated towards "never"
    )
    low, high = np.quantile(worths, [0.05, 0.95])
    return Option(
        name=name,
        words="the unit" if name == UNIT else RIVALS[name],
        outlay=outlay,
        yearly=yearly,
        resale=resale,
        worth=worth,
        worth_half=half_width(worths),
        worth_low=float(low),
        worth_high=float(high),
        saved_s=float(_saved_s(name, best)),
        part_cost=_part_cost(name, best, outlay, resale),
        rate=internal_rate(flows, times) if outlay > 0.0 else None,
        payback=float(simple_payback(outlay, yearly)),
        payback_early=float(early),
        payback_late=float(late),
        discounted=discounted_payback(outlay, yearly, rate),
        index=profitability_index(outlay, worth),
        annual=annual_equivalent(worth, rate, years),
        chance_pays=share_above_zero(worths),
        chance_best=chance,
        times=tuple(times),
        flows=tuple(flows),
        curve=_curve(name, best, drawn),
    )


def _nothing(best: dict[str, float], chance: float) -> Option:
    """Return the option of going on as today: no outlay, no saving."""
    zeros = (0.0, 0.0)
    ends = (0.0, best["years"])
    cost = None
    if "time_per_part_now" in best:
        cost = float(cost_per_part(best["time_per_part_now"], best["shop_rate"], 0.0, 1.0))
    return Option(
        name=NOTHING,
        words="going on as today",
        outlay=0.0,
        yearly=0.0,
        resale=0.0,
        worth=0.0,
        worth_half=0.0,
        worth_low=0.0,
        worth_high=0.0,
        saved_s=0.0,
        part_cost=cost,
        rate=None,
        payback=0.0,
        payback_early=0.0,
        payback_late=0.0,
        discounted=0.0,
        index=None,
        annual=0.0,
        chance_pays=0.0,
        chance_best=chance,
        times=ends,
        flows=zeros,
        curve=Curve(ends, zeros, zeros, zeros, zeros),
    )


def _part_cost(name: str, best: dict[str, float], outlay: float, resale: float) -> float | None:
    """Return the full cost of a part; ``None`` where time or volume is not known."""
    if "time_per_part_now" not in best or best["volume"] <= 0.0:
        return None
    time_s = best["time_per_part_now"] - float(_saved_s(name, best))
    rate, years = best["discount"], best["years"]
    outlay_only = float(level_worth(outlay, 0.0, resale, rate, years))
    fixed = best.get(_key(name, "running_cost"), 0.0) - annual_equivalent(outlay_only, rate, years)
    return float(cost_per_part(time_s, best["shop_rate"], fixed, best["volume"]))


def _curve(name: str, best: dict[str, float], drawn: dict[str, Floats]) -> Curve:
    years = best["years"]
    times = [float(year) for year in range(math.floor(years) + 1)]
    if years > times[-1]:
        times.append(years)
    times.append(years)  # once more: after the sale

    def cash(values: Values, at: float, sold: bool) -> Floats:
        outlay, resale = values[_key(name, "price")], values.get(_key(name, "resale"), 0.0)
        in_hand = running_total(outlay, _yearly(name, values), values["years"], at)
        return np.asarray(in_hand + np.asarray(resale) * (1.0 if sold else 0.0))

    last = len(times) - 1
    lows, middles, highs, bests = [], [], [], []
    for place, at in enumerate(times):
        low, middle, high = np.quantile(cash(drawn, at, place == last), [0.05, 0.5, 0.95])
        lows.append(float(low))
        middles.append(float(middle))
        highs.append(float(high))
        bests.append(float(cash(best, at, place == last)))
    return Curve(tuple(times), tuple(bests), tuple(lows), tuple(middles), tuple(highs))


def _break_even(found: Stakes, best: dict[str, float]) -> BreakEven:
    outlay, running = best["investment"], best["running_cost"]
    rate, years = best["discount"], best["years"]
    worth_per_part = yearly_saving(_saved_s(UNIT, best), best["shop_rate"], 1.0, 0.0)
    fixed = -level_worth(outlay, 0.0, best.get("resale", 0.0), rate, years)

    def volume(fixed: ArrayLike, years_worth: ArrayLike) -> float:
        return whole_parts(float(volume_needed(fixed, worth_per_part, years_worth, running)))

    return BreakEven(
        paid=volume(fixed, annuity(rate, years)),
        paid_simple=volume(outlay, years),
        covered=volume(0.0, 1.0),
        stakes=found,
    )


def _levers(best: dict[str, float], drawn: dict[str, Floats], found: Stakes) -> Levers:
    """Return what would make it pay in 95 % of the draws; exact, as each draw has its own root."""
    fixed = -level_worth(
        drawn["investment"], 0.0, drawn.get("resale", 0.0), drawn["discount"], drawn["years"]
    )
    years_worth = annuity(drawn["discount"], drawn["years"])
    saved = _saved_s(UNIT, drawn)
    worth_per_part = yearly_saving(saved, drawn["shop_rate"], 1.0, 0.0)
    running = drawn["running_cost"]

    def sure(roots: Floats) -> float:
        return float(np.quantile(roots, SURE, method="higher"))

    volume = whole_parts(sure(volume_needed(fixed, worth_per_part, years_worth, running)))
    saved_s = sure(saved_needed(fixed, drawn["shop_rate"], drawn["volume"], years_worth, running))
    allowed = price_allowed(drawn["investment"], _worth(UNIT, drawn))
    spread = next(one.spread for one in found.shared if one.name == "volume")
    saved_most = float(np.quantile(saved, 0.975))
    now = best.get("time_per_part_now", math.inf)
    return Levers(
        volume=volume,
        saved_s=saved_s,
        outlay=float(np.quantile(allowed, 1.0 - SURE, method="lower")),
        volume_plausible=volume <= spread.upper,
        saved_plausible=saved_s <= min(saved_most, now),
    )


def _flips(
    inputs: Sequence[Input], best: dict[str, float], rivals: Sequence[str]
) -> tuple[Flip, ...]:
    """Return where each input turns the decision, nearest first.

    Without `rivals` the opponent is doing nothing; with them, all of them and doing nothing.
    """
    found = []
    for one in inputs:

        def margins(values: Floats, name: str = one.name) -> list[Floats]:
            changed: dict[str, ArrayLike] = {**best, name: values}
            worth = np.broadcast_to(_worth(UNIT, changed), values.shape)
            against = [np.asarray(worth - _worth(rival, changed)) for rival in rivals]
            return [worth, *against]

        value, spread = one.spread.value, one.spread
        if one.name in BENT:
            low, high = BENT[one.name]
            at = bent_flip(margins, value, low=low, high=high)
        else:
            at = straight_flip(margins, value, low=spread.low, high=spread.high)
        if at is not None:
            away = abs(at - value) / spread.u if spread.u > 0.0 else math.inf
            found.append(Flip(one, at, away))

    def nearness(flip: Flip) -> tuple[float, float]:
        value = flip.input.spread.value
        return flip.away, abs(flip.at - value) / abs(value) if value != 0.0 else math.inf

    return tuple(sorted(found, key=nearness))


def _at_volumes(
    volumes: Sequence[Amount], best: dict[str, float], drawn: dict[str, Floats], found: Stakes
) -> tuple[AtVolume, ...]:
    """Return the unit at each volume asked about; the others keep the draws of the first."""
    main = next(one.spread for one in found.shared if one.name == "volume")
    asked = [*volumes] or _usual_volumes(main.value)
    if all(volume.value != main.value for volume in asked):
        asked.insert(0, Amount(main.value))
    rows = []
    for volume in asked:
        at: dict[str, float] = {**best, "volume": volume.value}
        rows.append(
            AtVolume(
                volume=volume.value,
                yearly=float(_yearly(UNIT, at)),
                payback=float(simple_payback(at["investment"], _yearly(UNIT, at))),
                discounted=discounted_payback(
                    at["investment"], float(_yearly(UNIT, at)), at["discount"]
                ),
                worth=float(_worth(UNIT, at)),
                chance_pays=share_above_zero(
                    _worth(UNIT, {**drawn, "volume": _drawn_volume(volume, main, drawn["volume"])})
                ),
            )
        )
    return tuple(rows)


def _usual_volumes(main: float) -> list[Amount]:
    """Return half, all and one and a half of the volume, where no others were asked about."""
    return [Amount(main * 0.5), Amount(main), Amount(main * 1.5)] if main > 0.0 else []


def _drawn_volume(volume: Amount, main: Spread, draws: Floats) -> Floats:
    """Return draws of another volume: its own range if stated, else as wide in share as the main.

    The same draws are stretched, so that two volumes differ by the volume and not by chance.
    """
    if volume.plus_minus is None or volume.value == main.value or main.u == 0.0:
        share = volume.value / main.value if main.value > 0.0 else 0.0
        return draws * share if share > 0.0 else np.full(draws.shape, volume.value)
    return np.maximum(volume.value + (draws - main.value) * (volume.u / main.u), 0.0)
