"""A choice with one outlay, the same saving every year, and a worth at the end.

Everything broadcasts, so that one call serves twenty thousand draws.  A last part of a year brings
its share of the yearly sum at its end.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.money.flows import payback

__all__ = [
    "LONGEST",
    "annuity",
    "cost_per_part",
    "discounted_payback",
    "level_flows",
    "level_worth",
    "payments",
    "price_allowed",
    "running_total",
    "saved_needed",
    "simple_payback",
    "volume_needed",
    "whole_parts",
    "yearly_saving",
]

Floats = NDArray[np.float64]

SECONDS_PER_HOUR: Final = 3600.0

SMALL_RATE: Final = 1e-12
"""Below this rate a thousand years of interest change a count of payments by a billionth."""

LONGEST: Final = 1000.0
"""A payback beyond this many years is called never."""


def yearly_saving(
    saved_s: ArrayLike, rate_per_hour: ArrayLike, volume: ArrayLike, running_cost: ArrayLike
) -> Floats:
    """Return what a choice saves a year, its own running cost taken off.

    Parameters
    ----------
    saved_s : array_like
        Paid time saved on each part; negative if it takes longer [s].
    rate_per_hour : array_like
        Worth of an hour of machine and person.
    volume : array_like
        Parts a year.
    running_cost : array_like
        Upkeep a year.
    """
    hours = np.asarray(saved_s) * np.asarray(volume) / SECONDS_PER_HOUR
    return np.asarray(hours * np.asarray(rate_per_hour) - np.asarray(running_cost))


def annuity(rate: ArrayLike, years: ArrayLike) -> Floats:
    r"""Return the worth today of 1 at the end of each year.

    Notes
    -----
    :math:`(1 - (1 + i)^{-n}) / i` for :math:`n` whole years; the last part of a year adds its
    share, discounted from its end.  At rate zero it is the number of years.
    """
    i = np.asarray(rate, dtype=np.float64)
    span = np.asarray(years, dtype=np.float64)
    whole = np.floor(span)
    growth = np.log1p(i)
    level = np.where(i == 0.0, whole, -np.expm1(-whole * growth) / np.where(i == 0.0, 1.0, i))
    return np.asarray(level + (span - whole) * np.exp(-span * growth))


def level_worth(
    outlay: ArrayLike, yearly: ArrayLike, resale: ArrayLike, rate: ArrayLike, years: ArrayLike
) -> Floats:
    """Return the worth today (net present value) of a choice.

    Parameters
    ----------
    outlay : array_like
        Paid at time 0.
    yearly : array_like
        Net saving a year.
    resale : array_like
        Worth at the end of the years.
    rate : array_like
        Discount rate a year, above -1.
    years : array_like
        Years looked at, not negative.
    """
    end = np.exp(-np.asarray(years, dtype=np.float64) * np.log1p(rate))
    return np.asarray(
        -np.asarray(outlay) + np.asarray(yearly) * annuity(rate, years) + np.asarray(resale) * end
    )


def level_flows(
    outlay: float, yearly: float, resale: float, years: float
) -> tuple[list[float], list[float]]:
    """Return times [years] and sums of a choice, year by year, as `level_worth` counts them."""
    whole = math.floor(years)
    times = [float(year) for year in range(whole + 1)]
    flows = [-outlay, *[yearly] * whole]
    if years > whole:
        times.append(years)
        flows.append(yearly * (years - whole))
    flows[-1] += resale
    return times, flows


def running_total(
    outlay: ArrayLike, yearly: ArrayLike, years: ArrayLike, upto: ArrayLike
) -> Floats:
    """Return the cash in hand at `upto` years, not discounted, resale left out."""
    return np.asarray(-np.asarray(outlay) + np.asarray(yearly) * np.minimum(upto, years))


def simple_payback(outlay: ArrayLike, yearly: ArrayLike) -> Floats:
    """Return outlay over yearly saving [years]; ``inf`` where the saving is not above zero.

    The saving is taken to go on beyond the years looked at; beyond `LONGEST` it is ``inf`` too.
    """
    spent = np.maximum(np.asarray(outlay, dtype=np.float64), 0.0)
    saving = np.asarray(yearly, dtype=np.float64)
    with np.errstate(over="ignore"):
        ratio = spent / np.where(saving > 0.0, saving, 1.0)
    found = np.where(saving > 0.0, ratio, np.where(spent > 0.0, np.inf, 0.0))
    return np.asarray(np.where(found > LONGEST, np.inf, found))


def discounted_payback(outlay: float, yearly: float, rate: float) -> float:
    """Return when the discounted savings have paid back the outlay [years], or ``inf``.

    The saving goes on as in `simple_payback`; within a year it flows evenly.
    """
    if outlay <= 0.0:
        return 0.0
    count = payments(outlay, yearly, rate)
    if not count <= LONGEST:
        return math.inf
    return payback([-outlay, *[yearly] * (math.ceil(count) + 1)], rate)


def payments(outlay: float, yearly: float, rate: float) -> float:
    r"""Return how many level payments repay `outlay`, the last one in part; ``inf`` if none do.

    Notes
    -----
    :math:`-\ln(1 - P i / a) / \ln(1 + i)`, the annuity solved for the years.  (The ``nper`` of
    numpy-financial 1.0 has the wrong sign at rate zero and warns close to it.)
    """
    if yearly <= 0.0 or outlay * rate >= yearly:
        return math.inf
    if abs(rate) < SMALL_RATE:
        return outlay / yearly
    return -math.log1p(-outlay * rate / yearly) / math.log1p(rate)


def volume_needed(
    fixed: ArrayLike, worth_per_part: ArrayLike, years_worth: ArrayLike, running_cost: ArrayLike
) -> Floats:
    """Return the yearly volume at which the worth today is zero, unrounded.

    Parameters
    ----------
    fixed : array_like
        Outlay less the worth today of the resale.
    worth_per_part : array_like
        Saving a part in money; at or below zero no volume is enough and ``inf`` is returned.
    years_worth : array_like
        `annuity` of the years.
    running_cost : array_like
        A year.
    """
    worth = np.asarray(worth_per_part, dtype=np.float64)
    yearly = np.maximum(np.asarray(fixed) / np.asarray(years_worth) + running_cost, 0.0)
    enough = np.where(yearly > 0.0, np.inf, 0.0)
    return np.asarray(np.where(worth > 0.0, yearly / np.where(worth > 0.0, worth, 1.0), enough))


def saved_needed(
    fixed: ArrayLike,
    rate_per_hour: ArrayLike,
    volume: ArrayLike,
    years_worth: ArrayLike,
    running_cost: ArrayLike,
) -> Floats:
    """Return the time saved a part at which the worth today is zero [s]; see `volume_needed`."""
    per_second = np.asarray(rate_per_hour) * np.asarray(volume) / SECONDS_PER_HOUR
    return volume_needed(fixed, per_second, years_worth, running_cost)


def price_allowed(outlay: ArrayLike, worth: ArrayLike) -> Floats:
    """Return the outlay at which the worth today is zero."""
    return np.asarray(np.asarray(outlay) + np.asarray(worth))


def whole_parts(volume: float) -> float:
    """Round a break-even volume up to a whole part; ``inf`` stays.

    A billionth of the volume is let go, so that rounding inside the sums does not ask for one more.
    """
    return volume if math.isinf(volume) else float(math.ceil(volume * (1.0 - 1e-9)))


def cost_per_part(
    time_s: ArrayLike, rate_per_hour: ArrayLike, fixed: ArrayLike, parts: ArrayLike
) -> Floats:
    """Return the cost of one part: its own time, and its share of what is paid once.

    Parameters
    ----------
    time_s : array_like
        Paid time a part [s].
    rate_per_hour : array_like
        Worth of an hour.
    fixed : array_like
        Paid once for `parts` parts: a set-up for a lot, or upkeep and write-off for a year.
    parts : array_like
        Above zero.
    """
    own = np.asarray(time_s) / SECONDS_PER_HOUR * np.asarray(rate_per_hour)
    return np.asarray(own + np.asarray(fixed) / np.asarray(parts))
