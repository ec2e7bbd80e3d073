"""Spread: how the uncertainty of inputs becomes the uncertainty of a result.

The law of propagation of uncertainty and its second-order terms (JCGM 100:2008, 5.1 and 5.2),
effective degrees of freedom and coverage factors (JCGM 100:2008, annex G), type B evaluation
(JCGM 100:2008, 4.3), propagation of distributions by Monte Carlo (JCGM 101:2008), and the decision
against a limit (JCGM 106:2012).  Functions here know no units: an uncertainty has the unit of its
value.  ``u`` is always a standard uncertainty, k = 1.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Arcsine",
    "CurvedTrapezoid",
    "Distribution",
    "MonteCarlo",
    "Normal",
    "Rectangular",
    "Spread",
    "Student",
    "Triangular",
    "acceptance_limit",
    "correlations",
    "coverage_factor",
    "effective_dof",
    "en_number",
    "half_width_u",
    "jacobian",
    "mean_of_sets",
    "monte_carlo",
    "probability_below",
    "propagate",
    "resolution_u",
    "second_order",
    "shortest_interval",
]

Floats = NDArray[np.float64]
Function = Callable[[NDArray[Any]], Any]
"""Takes inputs of shape (n,) and returns a number or an array of shape (m,)."""

COMPLEX_STEP: Final = 1e-30
"""Step of the complex-step derivative: so small that its square vanishes against any input."""

AGREEMENT: Final = 1e-4
"""Complex-step and central derivatives must agree so well, else the former is not trusted.

A function that takes an absolute value drops the imaginary part without a word; the central
difference (relative error about 1e-10) shows it.
"""

NOUGHT: Final = 1e-15
"""An input smaller than this, and no surer, is a rounded zero: it sets no step."""

ROUNDING: Final = 1e-6
"""Share of the largest contribution below which a central difference may be mere rounding."""


@dataclass(frozen=True, slots=True)
class Spread:
    """A result with its covariance.

    Attributes
    ----------
    values : ndarray, shape (m,)
    covariance : ndarray, shape (m, m)
        k = 1.
    """

    values: Floats
    covariance: Floats

    @property
    def u(self) -> Floats:
        """Standard uncertainties, shape (m,)."""
        return np.sqrt(np.clip(np.diag(self.covariance), 0.0, None))


def jacobian(function: Function, values: ArrayLike, u: ArrayLike | None = None) -> Floats:
    """Return the derivatives of `function` at `values`, shape (m, n).

    Parameters
    ----------
    function : callable
        Numbers of shape (n,) in, a number or shape (m,) out.
    values : array_like, shape (n,)
    u : array_like, shape (n,), optional
        Standard uncertainties; they set the step where an input is near zero.

    Notes
    -----
    Complex-step derivative, Im f(x + ih) / h, exact to rounding where the function is analytic;
    where the function does not take complex numbers, or does not agree with central differences,
    the central differences are returned.
    """
    x = np.asarray(values, dtype=np.float64)
    scale = np.abs(x) if u is None else np.maximum(np.abs(x), np.asarray(u, dtype=np.float64))
    # Cube root of the rounding unit balances rounding and truncation of a central difference.
    steps = np.cbrt(np.finfo(np.float64).eps) * np.where(scale > NOUGHT, scale, 1.0)
    central = np.column_stack(
        [
            (_real(function(x + step)) - _real(function(x - step))) / (2.0 * np.max(step))
            for step in np.diag(steps)
        ]
    )
    exact = _complex_step(function, x)
    if exact is None or exact.shape != central.shape:
        return central
    # Compare contributions over the steps, not derivatives, so that columns are commensurate; a
    # column that contributes next to nothing is only rounding in the central difference.
    share = np.abs(central * steps)
    floor = ROUNDING * np.max(share, axis=1, keepdims=True)
    agree = np.abs((exact - central) * steps) <= AGREEMENT * share + floor + 1e-300
    return exact if bool(np.all(agree)) else central


def propagate(function: Function, values: ArrayLike, covariance: ArrayLike) -> Spread:
    """Carry a covariance through a function to first order (JCGM 100:2008, 5.2.2).

    Parameters
    ----------
    function : callable
        Numbers of shape (n,) in, a number or shape (m,) out.
    values : array_like, shape (n,)
    covariance : array_like, shape (n, n) or (n,)
        Covariance (k = 1); a vector is taken as standard uncertainties of independent inputs.

    Raises
    ------
    ValueError
        If the shapes do not match.
    """
    x = np.asarray(values, dtype=np.float64)
    given = np.asarray(covariance, dtype=np.float64)
    matrix = np.diag(given**2) if given.ndim == 1 else given
    if x.ndim != 1 or matrix.shape != (len(x), len(x)):
        raise ValueError(f"values {x.shape} and covariance {given.shape} do not belong together")
    slopes = jacobian(function, x, np.sqrt(np.clip(np.diag(matrix), 0.0, None)))
    return Spread(_real(function(x)), slopes @ matrix @ slopes.T)


def second_order(function: Function, values: ArrayLike, u: ArrayLike) -> tuple[float, float, float]:
    """Return value, shift of the mean and standard uncertainty with second-order terms.

    Adds ``sum_ij (f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2`` to the variance (JCGM 100:2008, 5.1.2
    note; inputs independent and normal) and returns ``sum_i f_ii u_i^2 / 2`` as shift of the mean.

    Parameters
    ----------
    function : callable
        Numbers of shape (n,) in, one number out.
    values, u : array_like, shape (n,)
    """
    x = np.asarray(values, dtype=np.float64)
    s = np.asarray(u, dtype=np.float64)
    slope = jacobian(function, x, s)[0]
    curved = np.zeros((len(x), len(x)))
    third = np.zeros_like(curved)
    for j, spread in enumerate(s):
        if spread == 0.0:
            continue
        step = np.zeros_like(x)
        step[j] = 0.1 * spread
        ahead, behind = jacobian(function, x + step, s)[0], jacobian(function, x - step, s)[0]
        curved[:, j] = (ahead - behind) / (2.0 * step[j])
        third[:, j] = (ahead - 2.0 * slope + behind) / step[j] ** 2
    weights = np.outer(s**2, s**2)
    variance = np.sum((slope * s) ** 2)
    variance += np.sum((0.5 * curved**2 + slope[:, None] * third) * weights)
    shift = 0.5 * float(np.sum(np.diag(curved) * s**2))
    return float(_real(function(x))[0]), shift, math.sqrt(max(float(variance), 0.0))


def mean_of_sets(observations: ArrayLike) -> Spread:
    """Return means and covariance of the means of quantities observed together.

    Parameters
    ----------
    observations : array_like, shape (number of sets, number of quantities)
        At least two sets (type A evaluation: JCGM 100:2008, 4.2 and 5.2.3).
    """
    sets = np.asarray(observations, dtype=np.float64)
    if sets.ndim != 2 or len(sets) < 2:
        raise ValueError("at least two sets of observations are needed")
    apart = sets - sets.mean(axis=0)
    return Spread(sets.mean(axis=0), apart.T @ apart / (len(sets) * (len(sets) - 1)))


def correlations(covariance: ArrayLike) -> Floats:
    """Return the correlation matrix; rows without spread get zeros off the diagonal."""
    matrix = np.asarray(covariance, dtype=np.float64)
    u = np.sqrt(np.diag(matrix))
    safe = np.where(u > 0.0, u, 1.0)
    result = matrix / np.outer(safe, safe)
    np.fill_diagonal(result, 1.0)
    return np.asarray(result)


def half_width_u(half_width: float, shape: str = "rectangular") -> float:
    """Return the standard uncertainty of a quantity known to lie within +- `half_width`.

    `shape` is ``"rectangular"`` (a/sqrt 3), ``"triangular"`` (a/sqrt 6) or ``"arcsine"``
    (a/sqrt 2): JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.
    """
    divisors = {"rectangular": 3.0, "triangular": 6.0, "arcsine": 2.0}
    if shape not in divisors:
        raise ValueError(f"shape must be one of {sorted(divisors)}, got {shape!r}")
    return half_width / math.sqrt(divisors[shape])


def resolution_u(step: float) -> float:
    """Return the standard uncertainty of a display that counts in `step` (JCGM 100, F.2.2.1)."""
    return half_width_u(0.5 * step)


def effective_dof(contributions: ArrayLike, dofs: ArrayLike) -> float:
    """Return the effective degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1).

    Parameters
    ----------
    contributions : array_like, shape (n,)
        Each input's share of the combined standard uncertainty, ``|f_i| u_i``.
    dofs : array_like, shape (n,)
        Infinite where the input's uncertainty itself is certain.
    """
    shares = np.asarray(contributions, dtype=np.float64) ** 2
    freedom = np.asarray(dofs, dtype=np.float64)
    below = float(np.sum(shares**2 / freedom))
    return float(np.sum(shares)) ** 2 / below if below > 0.0 else math.inf


def coverage_factor(dof: float, probability: float = 0.95) -> float:
    """Return k so that +- k u covers `probability`, from Student's t (JCGM 100:2008, G.3).

    Raises
    ------
    ValueError
        If `dof` is not above zero or `probability` not between 0 and 1.
    """
    if not dof > 0.0 or not 0.0 < probability < 1.0:
        raise ValueError(f"no coverage factor for {dof} degrees of freedom, {probability}")
    upper = 0.5 * (1.0 + probability)
    if math.isinf(dof):
        return NormalDist().inv_cdf(upper)
    # Only needed where the noise itself was estimated, so it may cost its start-up time here.
    from scipy.special import stdtrit

    return float(stdtrit(dof, upper))


def acceptance_limit(limit: float, expanded_u: float) -> float:
    """Return the greatest measured value that proves conformity to an upper `limit`.

    Guard band of one expanded uncertainty (ISO 14253-1; JCGM 106:2012, 8.3.2).
    """
    return limit - expanded_u


def en_number(difference: float, expanded_one: float, expanded_two: float) -> float:
    """Return the En number of two results; up to 1 they agree (ISO 13528, from memory).

    Parameters
    ----------
    difference : float
    expanded_one, expanded_two : float
        Their expanded uncertainties (k = 2), not both zero.
    """
    return abs(difference) / math.hypot(expanded_one, expanded_two)


def probability_below(limit: float, value: float, u: float) -> float:
    """Return the probability that the true value lies below `limit` (JCGM 106:2012, 7.2)."""
    if u == 0.0:
        return 1.0 if value <= limit else 0.0
    return NormalDist(value, u).cdf(limit)


class Distribution(Protocol):
    """A distribution that can be drawn from (JCGM 101:2008, 6.4)."""

    def draw(self, chance: np.random.Generator, count: int) -> Floats:
        """Return `count` independent draws."""
        ...


@dataclass(frozen=True, slots=True)
class Normal:
    """Best estimate and standard uncertainty, nothing else known (6.4.7)."""

    mean: float
    u: float

    def draw(self, chance: np.random.Generator, count: int) -> Floats:
        """Return `count` independent draws."""
        return chance.normal(self.mean, self.u, count)


@dataclass(frozen=True, slots=True)
class Student:
    """Estimate and standard uncertainty from few observations: scaled t (6.4.9)."""

    mean: float
    u: float
    dof: float

    def draw(self, chance: np.random.Generator, count: int) -> Floats:
        """Return `count` independent draws."""
        return self.mean + self.u * chance.standard_t(self.dof, count)


@dataclass(frozen=True, slots=True)
class Rectangular:
    """Known to lie between two ends (6.4.2)."""

    low: float
    high: float

    def draw(self, chance: np.random.Generator, count: int) -> Floats:
        """Return `count` independent draws."""
        return chance.uniform(self.low, self.high, count)


@dataclass(frozen=True, slots=True)
class Triangular:
    """Sum of two equal rectangular quantities (6.4.5)."""

    low: float
    high: float

    def draw(self, chance: np.random.Generator, count: int) -> Floats:
        """Return `count` independent draws."""
        return chance.triangular(self.low, 0.5 * (self.low + self.high), self.high, count)


@dataclass(frozen=True, slots=True)
class Arcsine:
    """Cycles between two ends (6.4.6)."""

    low: float
    high: float

    def draw(self, chance: np.random.Generator, count: int) -> Floats:
        """Return `count` independent draws."""
        swing = np.sin(2.0 * np.pi * chance.random(count))
        return np.asarray(0.5 * (self.low + self.high) + 0.5 * (self.high - self.low) * swing)


@dataclass(frozen=True, slots=True)
class CurvedTrapezoid:
    """Lies between two ends that are themselves known only to +- `end_half_width` (6.4.3)."""

    low: float
    high: float
    end_half_width: float

    def draw(self, chance: np.random.Generator, count: int) -> Floats:
        """Return `count` independent draws."""
        start = self.low + self.end_half_width * chance.uniform(-1.0, 1.0, count)
        end = self.low + self.high - start
        return np.asarray(start + (end - start) * chance.random(count))


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """Result of a Monte Carlo propagation; the draws are kept."""

    draws: Floats

    @property
    def mean(self) -> float:
        """Estimate of the result."""
        return float(np.mean(self.draws))

    @property
    def u(self) -> float:
        """Standard uncertainty of the result."""
        return float(np.std(self.draws, ddof=1))

    def interval(self, probability: float = 0.95) -> tuple[float, float]:
        """Return the shortest interval that covers `probability`."""
        return shortest_interval(self.draws, probability)


def monte_carlo(
    function: Callable[..., Any],
    inputs: Sequence[Distribution],
    *,
    seed: int,
    count: int = 200_000,
) -> MonteCarlo:
    """Propagate distributions through `function` (JCGM 101:2008, clause 7).

    Parameters
    ----------
    function : callable
        Takes one array of draws for each input, returns the array of results.
    inputs : sequence of Distribution
        Independent inputs.
    seed : int
        The same seed gives the same draws.
    count : int
        Number of draws; 1e6 is usual for a 95 % interval (7.2.1).
    """
    chance = np.random.default_rng(seed)
    return MonteCarlo(
        np.asarray(function(*(item.draw(chance, count) for item in inputs)), dtype=np.float64)
    )


def shortest_interval(draws: ArrayLike, probability: float = 0.95) -> tuple[float, float]:
    """Return the shortest interval that holds `probability` of the draws (JCGM 101:2008, 5.3.4)."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"probability must lie between 0 and 1, got {probability}")
    ordered = np.sort(np.asarray(draws, dtype=np.float64))
    inside = max(1, min(len(ordered) - 1, round(probability * len(ordered))))
    widths = ordered[inside:] - ordered[: len(ordered) - inside]
    first = int(np.argmin(widths))
    return float(ordered[first]), float(ordered[first + inside])


def _real(result: Any) -> Floats:
    return np.atleast_1d(np.asarray(result, dtype=np.float64))


def _complex_step(function: Function, x: Floats) -> Floats | None:
    """Return complex-step derivatives, or ``None`` if the function refuses complex numbers."""
    columns = []
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for i in range(len(x)):
            shifted = x.astype(np.complex128)
            shifted[i] += 1j * COMPLEX_STEP
            try:
                result = np.atleast_1d(np.asarray(function(shifted)))
            except (TypeError, ValueError, Warning):
                return None
            if not np.iscomplexobj(result):
                return None
            columns.append(np.asarray(result.imag, dtype=np.float64) / COMPLEX_STEP)
    return np.column_stack(columns)
