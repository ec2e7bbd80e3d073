"""Where the minutes of a part come from: entered, or worked out from the order of a load."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Protocol

from gudgeon.cell.model import Money
from gudgeon.quantity.amount import Amount

__all__ = ["USUAL_SHARE", "PartTime", "UnitTimes", "entries_agree", "unit_times"]

USUAL_SHARE: Final = {"saved_per_part": 0.20, "time_per_part_now": 0.15, "time_per_part": 0.15}
"""Half width of the range of a time that states none, as a share of it (common practice)."""

ROUNDING_S: Final = 0.5
"""Two entered times that differ by less say the same."""


class PartTime(Protocol):
    """What the order of a load says of one part."""

    @property
    def seconds_per_part(self) -> float:
        """Time of a load over its parts [s]."""

    @property
    def plus_minus(self) -> float:
        """Expanded uncertainty (k = 2) [s]."""

    @property
    def with_loading(self) -> bool:
        """False where the time of loading is not entered, so left out."""


@dataclass(frozen=True, slots=True)
class UnitTimes:
    """The time that a part saves, as inputs.

    Attributes
    ----------
    inputs : tuple of (name, Amount)
        ``saved_per_part``, or ``time_per_part_now`` and ``time_per_part``.
    worked_out : bool
        ``time_per_part`` comes from the order of the load.
    assumed, cautions : tuple of str
    """

    inputs: tuple[tuple[str, Amount], ...]
    worked_out: bool = False
    assumed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def unit_times(money: Money, load: PartTime | None) -> UnitTimes:
    """Return the saved time, or the two times it is the difference of.

    Of two that contradict each other by more than their ranges the one that promises less is used,
    and that is told.

    Parameters
    ----------
    money : Money
        With the saved time, or the time today and one of the two others.
    load : PartTime or None
        What the order of the load says; ``None`` where there is none.
    """
    now, saved = money.time_per_part_now, money.saved_per_part
    if saved is not None and money.time_per_part is None:
        return _saved_against_load(saved, now, load)
    entered = money.time_per_part
    with_unit, worked_out, cautions = _longer(entered, load)
    assumed = _told(load) if worked_out and load is not None else ()
    if now is None or with_unit is None:
        assert saved is not None  # asked for before
        return UnitTimes((("saved_per_part", saved),), cautions=cautions)
    difference = now.value - with_unit.value
    if saved is not None and abs(difference - saved.value) > ROUNDING_S:
        cautions = (
            *cautions,
            f"money.saved_per_part says {_minutes(saved)}, the two times give "
            f"{difference / 60.0:.1f} min: the smaller is used; correct one of them",
        )
    if saved is not None and difference >= saved.value - ROUNDING_S:
        return UnitTimes((("saved_per_part", saved),), cautions=cautions)
    times = (("time_per_part_now", now), ("time_per_part", with_unit))
    return UnitTimes(times, worked_out, assumed, cautions)


def entries_agree(money: Money, least: PartTime, in_file_order: PartTime | None) -> bool:
    """Return whether what is entered lies between a part's least time and that of the file's order.

    Where the order of the file is not allowed only the least counts.
    """
    promised = money.time_per_part
    if (
        promised is None
        and money.saved_per_part is not None
        and money.time_per_part_now is not None
    ):
        promised = Amount(
            money.time_per_part_now.value - money.saved_per_part.value,
            math.hypot(
                _half(money.saved_per_part, "saved_per_part"),
                _half(money.time_per_part_now, "time_per_part_now"),
            ),
        )
    if promised is None:
        return True
    half = _half(promised, "time_per_part")
    low = least.seconds_per_part - math.hypot(half, least.plus_minus)
    if promised.value < low:
        return False
    if in_file_order is None or not in_file_order.with_loading:
        return True
    high = in_file_order.seconds_per_part + math.hypot(half, in_file_order.plus_minus)
    return promised.value <= high


def _longer(
    entered: Amount | None, load: PartTime | None
) -> tuple[Amount | None, bool, tuple[str, ...]]:
    """Return the time a part with the unit, whether it was worked out, and what is told."""
    if load is None:
        return entered, False, ()
    worked_out = Amount(load.seconds_per_part, load.plus_minus)
    if entered is None:
        return worked_out, True, ()
    doubt = math.hypot(_half(entered, "time_per_part"), load.plus_minus)
    apart = load.seconds_per_part - entered.value
    # Without the time of loading the order tells only what a part takes at least.
    if apart > doubt or (apart < -doubt and load.with_loading):
        told = (
            f"money.time_per_part says {_minutes(entered)}, the order of the load takes "
            f"{_minutes(worked_out)} a part: the longer is used, as it promises less; "
            'ask "order" and correct what is wrong',
        )
        return (worked_out, True, told) if apart > 0.0 else (entered, False, told)
    return entered, False, ()


def _saved_against_load(saved: Amount, now: Amount | None, load: PartTime | None) -> UnitTimes:
    """Return the entered saving unless time today and order of the load promise clearly less."""
    alone = UnitTimes((("saved_per_part", saved),))
    if now is None or load is None:
        return alone
    worked_out = Amount(load.seconds_per_part, load.plus_minus)
    difference = now.value - load.seconds_per_part
    doubt = math.hypot(
        _half(saved, "saved_per_part"), _half(now, "time_per_part_now"), load.plus_minus
    )
    apart = difference - saved.value
    if abs(apart) <= doubt or (apart > 0.0 and not load.with_loading):
        return alone
    told = (
        f"money.saved_per_part says {_minutes(saved)}, the time today less the "
        f"{_minutes(worked_out)} a part of the order of the load is {difference / 60.0:.1f} min: "
        'the smaller saving is used; ask "order" and correct what is wrong',
    )
    if apart > 0.0:
        return UnitTimes(alone.inputs, cautions=told)
    times = (("time_per_part_now", now), ("time_per_part", worked_out))
    return UnitTimes(times, True, _told(load), told)


def _told(load: PartTime) -> tuple[str, ...]:
    amount = Amount(load.seconds_per_part, load.plus_minus)
    loading = "loading included" if load.with_loading else "without loading (shift.load_part)"
    return (
        f"time a part with the unit: {_minutes(amount)} by the order of the load, {loading}; "
        'machine and person are paid for all of it (ask "order" how it is made up)',
    )


def _half(amount: Amount, name: str) -> float:
    if amount.plus_minus is not None:
        return amount.plus_minus
    return USUAL_SHARE[name] * abs(amount.value)


def _minutes(amount: Amount) -> str:
    text = f"{amount.value / 60.0:.1f} min"
    return text if not amount.plus_minus else f"{text} +- {amount.plus_minus / 60.0:.1f} min"
