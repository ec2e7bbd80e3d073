"""Days of a table that lie far from all others: a slip in the year, or in the month.

There is no clock to judge by: a day is judged against the other days of the same record.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Sequence
from typing import Final

from gudgeon.cell.faults import Fault, Place

__all__ = ["day_apart", "odd_days"]

NEAR: Final = 31
"""Rows before and after a slip of the day lie so near to each other, at most [days]."""

OUTSIDE: Final = 90
"""So far outside of both the slip lies, at least [days]: a month typed wrongly may be less, and
may as well be a row entered late."""

YEAR: Final = 300
"""A gap of so many days parts what belongs together from what does not [days]."""

FEW: Final = 2
"""So many different days on one side of such a gap may be slips."""


def odd_days(days: Sequence[int]) -> tuple[int, ...]:
    """Return the places of the days that lie far from the others.

    Parameters
    ----------
    days : sequence of int
        Ordinal days in the order in which they were written.

    Notes
    -----
    Either a day stands between rows that lie near each other, and is far from both; or it lies,
    with at most one other, beyond a gap of most of a year from all others, which are more rows.
    A pause as long as that looks the same, so it is told and not refused.
    """
    odd: set[int] = set()
    runs = [list(run) for _, run in itertools.groupby(range(len(days)), key=lambda i: days[i])]
    for before, run, after in zip(runs, runs[1:], runs[2:], strict=False):
        low, high = sorted((days[before[0]], days[after[0]]))
        outside = max(low - days[run[0]], days[run[0]] - high)
        if high - low <= NEAR and outside >= OUTSIDE:
            odd.update(run)
    for sign in (1, -1):
        left = [i for i in range(len(days)) if i not in odd]
        ranked = sorted({sign * days[i] for i in left})
        for few in range(1, min(FEW, len(ranked) - 1) + 1):
            if ranked[-few] - ranked[-few - 1] < YEAR:
                continue
            beyond = [i for i in left if sign * days[i] >= ranked[-few]]
            if len(left) - len(beyond) > max(len(beyond), FEW):
                odd.update(beyond)
    return tuple(sorted(odd))


def day_apart(day: int, others: Sequence[int], places: tuple[Place, ...]) -> Fault:
    """K087: a day far from all others.

    Parameters
    ----------
    day : int
        Ordinal day.
    others : sequence of int
        Those that it is far from.
    places : tuple of Place
        Rows of that day.
    """
    nearest = min(others, key=lambda one: abs(one - day))
    date, other = (datetime.date.fromordinal(one).isoformat() for one in (day, nearest))
    apart = abs(day - nearest)
    far = f"{apart} days" if apart < YEAR else f"{apart / 365.25:.1f} years"
    side = "after" if day > nearest else "before"
    return Fault(
        "K087",
        "warning",
        f"the day {date} lies {far} {side} the nearest other one, {other}",
        places,
        "A slip in the year or month puts a row at the wrong end of the record; what moved, and "
        "when, is told from the order of the days.",
        f"if it is a slip write the right day, such as {other}; if not leave it",
    )
