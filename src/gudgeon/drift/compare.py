"""Plain comparisons of a laboratory: outlier, unequal scatter, two means or results, a trend."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri, stdtr, stdtrit

__all__ = [
    "en_number",
    "largest_share_limit",
    "outlier_limit",
    "outlier_statistic",
    "slope",
    "two_means",
]


def outlier_statistic(values: ArrayLike) -> float:
    """Return the greatest distance from the mean in standard deviations (Grubbs).

    Raises
    ------
    ValueError
        If there are fewer than three values, or they are all the same.
    """
    x = np.asarray(values, dtype=np.float64)
    spread = float(np.std(x, ddof=1)) if len(x) > 2 else 0.0
    if spread == 0.0:
        raise ValueError("an outlier shows only among three values that differ")
    return float(np.max(np.abs(x - np.mean(x)))) / spread


def outlier_limit(n: int, rate: float = 0.05, *, two_sided: bool = True) -> float:
    """Return what `outlier_statistic` exceeds with the chance `rate` where there is none.

    From Student's t with n - 2 degrees of freedom (Grubbs; NIST/SEMATECH e-Handbook 1.3.5.17.1).
    """
    if n < 3:
        raise ValueError(f"an outlier shows only among three values, got {n}")
    t = float(stdtrit(n - 2, 1.0 - rate / (2.0 * n if two_sided else n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def largest_share_limit(groups: int, dof: float, rate: float = 0.05) -> float:
    """Return what the largest of `groups` variances exceeds of their sum with chance `rate`.

    Cochran's criterion (ISO 5725-2); `dof` is that of each variance: readings less one.
    """
    if groups < 2:
        raise ValueError(f"a share needs two groups, got {groups}")
    f = float(fdtri(dof, (groups - 1) * dof, 1.0 - rate / groups))
    return f / (f + groups - 1)


def two_means(before: ArrayLike, after: ArrayLike) -> tuple[float, float, float]:
    """Return t, degrees of freedom and two-sided p of two means with unequal scatter (Welch)."""
    a, b = np.asarray(before, dtype=np.float64), np.asarray(after, dtype=np.float64)
    one, two = float(np.var(a, ddof=1)) / len(a), float(np.var(b, ddof=1)) / len(b)
    t = float(np.mean(a) - np.mean(b)) / math.sqrt(one + two)
    dof = (one + two) ** 2 / (one**2 / (len(a) - 1) + two**2 / (len(b) - 1))
    return t, dof, 2.0 * float(stdtr(dof, -abs(t)))


def en_number(difference: float, expanded_one: float, expanded_two: float) -> float:
    """Return the En number of two results; up to 1 they agree (ISO 13528, from memory)."""
    return abs(difference) / math.hypot(expanded_one, expanded_two)


def slope(x: ArrayLike, y: ArrayLike) -> tuple[float, float, float]:
    """Return slope, its standard uncertainty and t of a straight line through points."""
    a, b = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    apart = a - np.mean(a)
    across = float(apart @ apart)
    found = float(apart @ (b - np.mean(b))) / across
    left = b - np.mean(b) - found * apart
    u = math.sqrt(float(left @ left) / (len(a) - 2) / across)
    return found, u, found / u if u > 0.0 else math.copysign(math.inf, found)
