"""What a dimension will come to: linear and by Monte Carlo, side by side, and which cause has most.

Linear: law of propagation (JCGM 100:2008, 5.1), effective degrees of freedom and coverage factor
(annex G).  Monte Carlo: JCGM 101:2008, through the same exact function.  Share in tolerance: the
normal distribution against both limits (JCGM 106:2012, 7.2), and the draws counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.dimensions import Dimension, dimension_errors
from gudgeon.accuracy.job import CAUSES, Job, Source, sources_of
from gudgeon.quantity.spread import (
    COMPLEX_STEP,
    Distribution,
    Normal,
    Rectangular,
    Student,
    coverage_factor,
    effective_dof,
    monte_carlo,
    probability_below,
    shortest_interval,
)

__all__ = [
    "AGREE",
    "Drawn",
    "Outcome",
    "after_first_part",
    "draw_out",
    "estimate",
    "rescaled",
    "share_inside",
    "within_circle",
]

Floats = NDArray[np.float64]

AGREE: Final = 0.05
"""Linear and Monte Carlo agree if their 95 % widths differ by no more than this share."""

COUNT: Final = 10_000
"""Draws; the 95 % width is then sure to about one per cent."""

P_95: Final = 0.95
TRACE: Final = 1e-9
"""A variable with less of the variance than this is rounding."""

NODES: Final = 200
"""Steps of the numerical integral over a circle."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One dimension, linear.

    Attributes
    ----------
    dimension : Dimension
    mean : ndarray, shape (d,)
        Expected error [mm or rad].
    covariance : ndarray, shape (d, d)
        k = 1.
    plus_minus : float
        95 %: half width about the mean; for two directions the radius about nominal that holds
        95 %.
    inside : float
        Share of the parts in tolerance; NaN without a tolerance.
    shares : dict
        Cause -> share of the variance, largest first; they sum to 1.
    set_up_share : float
        Share of the variance that all parts of one set-up have in common.
    parts : dict
        Cause -> its part of the covariance.
    dofs : dict
        Cause -> degrees of freedom behind its size.
    """

    dimension: Dimension
    mean: Floats
    covariance: Floats
    plus_minus: float
    inside: float
    shares: dict[str, float]
    set_up_share: float
    parts: dict[str, Floats]
    dofs: dict[str, float]

    @property
    def u(self) -> float:
        """Standard uncertainty; of two directions the larger."""
        return math.sqrt(max(float(np.max(np.linalg.eigvalsh(self.covariance))), 0.0))

    @property
    def greatest(self) -> str | None:
        """The cause with the largest share; ``None`` if nothing is unsure."""
        return next(iter(self.shares), None)


@dataclass(frozen=True, slots=True)
class Drawn:
    """The same by Monte Carlo.

    Attributes
    ----------
    mean : ndarray, shape (d,)
    plus_minus : float
        Half the shortest 95 % interval; for two directions the radius that holds 95 %.
    inside : float
        Share of the draws in tolerance; NaN without one.
    """

    mean: Floats
    plus_minus: float
    inside: float

    def agrees(self, with_linear: Outcome) -> bool:
        """Whether both methods tell the same width, within `AGREE`."""
        most = max(self.plus_minus, with_linear.plus_minus)
        return abs(self.plus_minus - with_linear.plus_minus) <= AGREE * most


def estimate(job: Job, dimensions: Sequence[Dimension]) -> tuple[Outcome, ...]:
    """Return every dimension by the law of propagation."""
    sources = sources_of(job)
    function = dimension_errors(job, sources, dimensions)
    mean = _value(function, np.zeros(len(sources)))
    slopes = slopes_of(function, len(sources), len(mean))
    found = []
    row = 0
    for one in dimensions:
        rows = slice(row, row + one.directions)
        row += one.directions
        found.append(_outcome(one, mean[rows], slopes[rows], sources))
    return tuple(found)


def slopes_of(function: Callable[[Any], Any], count: int, size: int) -> Floats:
    """Return the derivatives by all variables at zero, shape (size, count), in one call.

    Complex steps as in `gudgeon.quantity.spread.jacobian`, all variables at once: the exact map
    holds no absolute value, so each derivative is exact.
    """
    if count == 0:
        return np.zeros((size, 0))
    steps = 1j * COMPLEX_STEP * np.eye(count)
    return np.asarray(function(steps).imag.T / COMPLEX_STEP)


def _value(function: Callable[[Any], Any], at: Floats) -> Floats:
    return np.asarray(function(at), dtype=np.float64)


def _outcome(one: Dimension, mean: Floats, slopes: Floats, sources: Sequence[Source]) -> Outcome:
    total = float(np.sum(slopes**2))
    parts: dict[str, Floats] = {}
    dofs: dict[str, float] = {}
    for source, column in zip(sources, slopes.T, strict=True):
        part = np.outer(column, column)
        if np.trace(part) > TRACE * total:
            parts[source.cause] = parts.get(source.cause, 0.0 * part) + part
            dofs[source.cause] = min(dofs.get(source.cause, math.inf), source.dof)
    return _of_parts(one, mean, parts, dofs)


def _of_parts(
    one: Dimension, mean: Floats, parts: Mapping[str, Floats], dofs: Mapping[str, float]
) -> Outcome:
    covariance = sum(parts.values(), np.zeros((len(mean), len(mean))))
    total = float(np.trace(covariance))
    shares = {cause: float(np.trace(part)) / total for cause, part in parts.items() if total > 0.0}
    ordered = dict(sorted(shares.items(), key=lambda item: -round(item[1], 9)))
    if one.directions == 2:
        plus_minus = _radius(mean, covariance)
    elif total > 0.0:
        causes = list(ordered)
        freedom = effective_dof(
            np.sqrt([ordered[cause] for cause in causes]), [dofs[cause] for cause in causes]
        )
        plus_minus = coverage_factor(max(freedom, 1.0), P_95) * math.sqrt(total)
    else:
        plus_minus = 0.0
    shared = sum(share for cause, share in ordered.items() if CAUSES[cause][1])
    return Outcome(
        one,
        mean,
        covariance,
        plus_minus,
        share_inside(one, mean, covariance),
        ordered,
        shared,
        dict(parts),
        dict(dofs),
    )


def rescaled(
    outcome: Outcome,
    factors: Mapping[str, float],
    *,
    mean: Floats | None = None,
    added: Mapping[str, float] | None = None,
) -> Outcome:
    """Return the outcome with causes made smaller or larger, and more added.

    Exact to first order: each cause's standard deviation is proportional to its size.

    Parameters
    ----------
    outcome : Outcome
    factors : mapping of str to float
        Cause -> factor on its size.
    mean : ndarray, shape (d,), optional
        Another expected error.
    added : mapping of str to float, optional
        Cause -> standard uncertainty that comes on top, each direction.
    """
    parts = {
        cause: part * factors.get(cause, 1.0) ** 2
        for cause, part in outcome.parts.items()
        if factors.get(cause, 1.0) > 0.0
    }
    dofs = dict(outcome.dofs)
    size = len(outcome.mean)
    for cause, u in (added or {}).items():
        parts[cause] = parts.get(cause, np.zeros((size, size))) + u**2 * np.eye(size)
        dofs.setdefault(cause, math.inf)
    return _of_parts(outcome.dimension, outcome.mean if mean is None else mean, parts, dofs)


def after_first_part(outcome: Outcome, measured_u: float) -> Outcome:
    """Return what is left once a first part was measured and the offsets were corrected.

    What all parts of a set-up share is then gone, up to the uncertainty of the measurement.
    """
    factors = {cause: 0.0 for cause, (_, shared) in CAUSES.items() if shared}
    nothing = np.zeros(len(outcome.mean))
    return rescaled(outcome, factors, mean=nothing, added={"probing": measured_u})


def share_inside(one: Dimension, mean: Floats, covariance: Floats) -> float:
    """Return the share of normally spread errors inside the tolerance; NaN without one."""
    if not math.isfinite(one.high) and not math.isfinite(one.low):
        return math.nan
    if one.directions == 2:
        return within_circle(one.high, mean, covariance)
    u = math.sqrt(max(float(covariance[0, 0]), 0.0))
    value = float(mean[0])
    if u == 0.0:
        return 1.0 if one.low <= value <= one.high else 0.0
    return probability_below(one.high, value, u) - probability_below(one.low, value, u)


def within_circle(radius: float, mean: Floats, covariance: Floats) -> float:
    """Return the probability that a normally spread point lies in a circle about zero.

    The density along the wider direction, times the normal share of the chord across it,
    integrated by Gauss-Legendre over the circle.
    """
    variances, axes = np.linalg.eigh(covariance)
    narrow, wide = (math.sqrt(max(float(v), 0.0)) for v in variances)
    centre = mean @ axes
    if wide == 0.0:
        return 1.0 if float(np.hypot(*centre)) <= radius else 0.0
    low = max(-radius, float(centre[1]) - 9.0 * wide)
    high = min(radius, float(centre[1]) + 9.0 * wide)
    if high <= low:
        return 0.0
    nodes, weights = _gauss()
    x = 0.5 * (high + low) + 0.5 * (high - low) * nodes
    chord = np.sqrt(np.clip(radius**2 - x**2, 0.0, None))
    density = np.exp(-0.5 * ((x - centre[1]) / wide) ** 2) / (wide * math.sqrt(2.0 * math.pi))
    if narrow == 0.0:
        across = np.where(abs(float(centre[0])) <= chord, 1.0, 0.0)
    else:
        scaled = np.sqrt(0.5) / narrow
        across = 0.5 * np.array(
            [
                math.erf(scaled * (half - centre[0])) + math.erf(scaled * (half + centre[0]))
                for half in chord.tolist()
            ]
        )
    total = float(np.sum(weights * density * across))
    return min(1.0, max(0.0, 0.5 * (high - low) * total))


@cache
def _gauss() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return nodes, weights


def _radius(mean: Floats, covariance: Floats) -> float:
    """Return the radius about zero that holds 95 %, by bisection."""
    spread = math.sqrt(max(float(np.trace(covariance)), 0.0))
    low, high = 0.0, float(np.hypot(*mean)) + 4.0 * spread
    if spread == 0.0:
        return high
    for _ in range(34):
        middle = 0.5 * (low + high)
        if within_circle(middle, mean, covariance) < P_95:
            low = middle
        else:
            high = middle
    return high


def draw_out(
    job: Job, dimensions: Sequence[Dimension], *, seed: int, count: int = COUNT
) -> tuple[Drawn, ...]:
    """Return every dimension by Monte Carlo through the exact pose map.

    Parameters
    ----------
    job : Job
    dimensions : sequence of Dimension
    seed : int
        The same seed gives the same draws.
    count : int
        Number of draws.
    """
    sources = sources_of(job)
    function = dimension_errors(job, sources, dimensions)
    end = math.sqrt(3.0)
    inputs: list[Distribution] = [
        Rectangular(-end, end)
        if source.rectangular
        else Normal(0.0, 1.0)
        if math.isinf(source.dof)
        else Student(0.0, 1.0, source.dof)
        for source in sources
    ]
    if sources:
        draws = monte_carlo(
            lambda *columns: function(np.stack(columns, axis=-1)), inputs, seed=seed, count=count
        ).draws
    else:
        draws = _value(function, np.zeros(0))[None, :].repeat(2, axis=0)
    found = []
    row = 0
    for one in dimensions:
        part = draws[:, row : row + one.directions]
        row += one.directions
        found.append(_drawn(one, part))
    return tuple(found)


def _drawn(one: Dimension, draws: Floats) -> Drawn:
    given = math.isfinite(one.low) or math.isfinite(one.high)
    if one.directions == 2:
        radii = np.hypot(draws[:, 0], draws[:, 1])
        inside = float(np.mean(radii <= one.high)) if given else math.nan
        return Drawn(np.mean(draws, axis=0), float(np.quantile(radii, P_95)), inside)
    column = draws[:, 0]
    low, high = shortest_interval(column, P_95)
    inside = float(np.mean((column >= one.low) & (column <= one.high))) if given else math.nan
    return Drawn(np.mean(draws, axis=0), 0.5 * (high - low), inside)
