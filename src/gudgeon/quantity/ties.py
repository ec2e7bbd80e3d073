"""Ties broken the same way on every computer."""

from __future__ import annotations

__all__ = ["firm"]


def firm(value: float) -> float:
    """Return `value` without the digits that rounding may change from computer to computer.

    Nine decimals and nine significant digits stay.  Where the worst of several is looked for,
    equal ones then fall on the first in order, so the same cell gets the same words everywhere.

    Examples
    --------
    >>> firm(0.1 + 0.2) == firm(0.3)
    True
    """
    return float(f"{round(float(value), 9):.9g}")
