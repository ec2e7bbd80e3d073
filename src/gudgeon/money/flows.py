"""Worth today, internal rate and payback of any row of yearly sums.

The first sum stands at time 0, the next ones at the ends of the following years; ``times`` is given
only where they stand elsewhere, as a last part of a year does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy_financial as npf
from numpy.typing import NDArray

__all__ = [
    "InternalRate",
    "annual_equivalent",
    "internal_rate",
    "payback",
    "present_worth",
    "profitability_index",
    "sign_changes",
    "zoom",
]

Floats = NDArray[np.float64]

LOWEST_RATE: Final = -0.9999
"""A yearly loss of 99.99 %; below it the sums at later years blow up."""

HIGHEST_RATE: Final = 1e6
"""A million-fold gain a year: higher internal rates say nothing."""

LARGEST_EXPONENT: Final = 600.0
"""Keeps powers of later years below the largest float."""


@dataclass(frozen=True, slots=True)
class InternalRate:
    """The yearly rate at which the worth today is zero, and whether it is the only one.

    Attributes
    ----------
    rate : float or None
        The root nearest to zero, as numpy-financial picks it; ``None`` if there is none.
    rates : tuple of float
        All real roots above -1, lowest first.
    several_possible : bool
        The sums change sign more than once, so that by Descartes' rule there may be more than one
        root; the rate is then no measure of merit, the worth today is.
    """

    rate: float | None
    rates: tuple[float, ...]
    several_possible: bool


def present_worth(
    rate: float, flows: Sequence[float], times: Sequence[float] | None = None
) -> float:
    """Return the worth today of `flows` (net present value).

    Parameters
    ----------
    rate : float
        Discount rate a year, above -1.
    flows : sequence of float
        The first at time 0.
    times : sequence of float, optional
        When each sum flows [years]; the ends of years 0, 1, 2 ... if left out.
    """
    if times is None:
        return float(npf.npv(rate, np.asarray(flows, dtype=np.float64)))
    late = np.asarray(times, dtype=np.float64)
    return float(np.sum(np.asarray(flows) * np.exp(-late * np.log1p(rate))))


def sign_changes(flows: Sequence[float]) -> int:
    """Return how often `flows` change sign; zeros are skipped."""
    signs = np.sign([flow for flow in flows if flow != 0.0])
    return int(np.count_nonzero(signs[1:] != signs[:-1]))


def internal_rate(flows: Sequence[float], times: Sequence[float] | None = None) -> InternalRate:
    """Find the rate or rates at which the worth today of `flows` is zero.

    Parameters
    ----------
    flows, times
        As for `present_worth`.

    Raises
    ------
    ValueError
        If `times` are not whole years and the sums change sign more than once: all roots can then
        not be listed.

    Notes
    -----
    With one change of sign the root is the only one above -1 (Descartes' rule of signs) and is
    searched for: the roots of the polynomial lose it where the last sums are tiny.  With more
    changes and whole years all roots of the polynomial in 1/(1 + rate) are found, and
    numpy-financial's ``irr`` gives the one nearest to zero.
    """
    changes = sign_changes(flows)
    if changes == 0:
        return InternalRate(None, (), False)
    amounts = np.asarray(flows, dtype=np.float64)
    late = np.arange(len(flows), dtype=np.float64) if times is None else np.asarray(times)
    if changes == 1:
        lowest = max(float(np.log1p(LOWEST_RATE)), -LARGEST_EXPONENT / float(late[-1]))
        logs = zoom(
            lambda x: np.asarray(amounts @ np.exp(-np.outer(late, x))),
            lowest,
            float(np.log1p(HIGHEST_RATE)),
        )
        rates = tuple(float(np.expm1(x)) for x in logs)
        return InternalRate(rates[0] if rates else None, rates, False)
    if not np.array_equal(late, np.arange(len(flows))):
        raise ValueError("times must be whole years where the sums change sign repeatedly")
    roots = np.roots(amounts[::-1])
    real = np.unique(roots.real[(roots.imag == 0.0) & (roots.real > 0.0)])
    nearest = float(npf.irr(amounts))
    return InternalRate(
        rate=None if np.isnan(nearest) else nearest,
        rates=tuple(sorted(float(1.0 / root - 1.0) for root in real)),
        several_possible=True,
    )


def payback(flows: Sequence[float], rate: float = 0.0) -> float:
    """Return when the outlay has come back for the first time [years].

    A year's sum, discounted from its end, counts as flowing evenly within the year.  ``inf`` if it
    never comes back within the years given; 0 if nothing was laid out.

    Parameters
    ----------
    flows : sequence of float
        At the ends of years 0, 1, 2 ...
    rate : float, optional
        Discount rate a year; 0 gives the simple payback.
    """
    years = np.arange(len(flows), dtype=np.float64)
    sums = np.cumsum(np.asarray(flows, dtype=np.float64) * np.exp(-years * np.log1p(rate)))
    if len(sums) == 0 or sums[0] >= 0.0:
        return 0.0
    back = np.flatnonzero(sums >= 0.0)
    if len(back) == 0:
        return float("inf")
    year = int(back[0])
    return float(year - 1 + sums[year - 1] / (sums[year - 1] - sums[year]))


def profitability_index(outlay: float, worth: float) -> float | None:
    """Return the worth today of all that comes after the outlay, over the outlay.

    Parameters
    ----------
    outlay : float
        Paid at time 0.
    worth : float
        Worth today with the outlay taken off, see `present_worth`.

    Returns
    -------
    float or None
        Above 1 it pays.  ``None`` without an outlay.
    """
    return (worth + outlay) / outlay if outlay > 0.0 else None


def annual_equivalent(worth: float, rate: float, years: float) -> float:
    """Return the level sum at each year's end that is worth `worth` today."""
    return float(-npf.pmt(rate, years, worth))


def zoom(curve: Callable[[Floats], Floats], low: float, high: float) -> list[float]:
    """Return where `curve` crosses zero between `low` and `high`, lowest first.

    The range is cut into 400 steps; each step with a change of sign is cut again until it is as
    narrow as rounding allows.  Crossings closer together than a step are not seen.  (A library's
    root finder would cost more at start-up than this whole question.)
    """
    found = []
    for left, right in _steps_with_crossing(curve, low, high, 400):
        a, b = left, right
        while b - a > 4.0 * np.spacing(max(abs(a), abs(b), 1e-12)):
            inner = _steps_with_crossing(curve, a, b, 20)
            if not inner or inner[0] == (a, b):
                break
            a, b = inner[0]
        found.append((a + b) / 2.0)
    return found


def _steps_with_crossing(
    curve: Callable[[Floats], Floats], low: float, high: float, steps: int
) -> list[tuple[float, float]]:
    at = np.linspace(low, high, steps + 1)
    over = np.asarray(curve(at)) >= 0.0
    turns = np.flatnonzero(over[1:] != over[:-1])
    return [(float(at[i]), float(at[i + 1])) for i in turns]
