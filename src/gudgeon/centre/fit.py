"""Least-squares fit of both axis lines to all readings at once, with what they determine.

Which parameters are free is judged in `gudgeon.centre.freeing`; all others are held at nominal and
named.  The covariance is that of the weighted normal equations (JCGM 100:2008, 5.1), the scale of
the readings' noise is pooled from what was stated and from the residuals (`gudgeon.centre.pooling`)
and never less than stated; what is known from elsewhere keeps its own uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.freeing import (
    ANGLE_WORTH,
    FREED_IN_ORDER,
    POSITION_WORTH_MM,
    Held,
    free_positions,
    is_position,
    only_serves,
    starting_values,
    usable,
    worth,
)
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.pooling import chi_square_99, pooled
from gudgeon.centre.readings import Model, Reading
from gudgeon.centre.solve import Fitted, NotDetermined
from gudgeon.centre.weighing import EXACT_MM, ROUGH, Known, Weighed, whitening
from gudgeon.quantity.spread import coverage_factor

__all__ = [
    "ANGLE_WORTH",
    "EXACT_MM",
    "FREED_IN_ORDER",
    "GAIN_WORTH",
    "POSITION_WORTH_MM",
    "Held",
    "Known",
    "LineFit",
    "chi_square_99",
    "fit_lines",
    "other_senses",
]

Floats = NDArray[np.float64]

GAIN_WORTH: Final = 10.0
"""A position less sure than so many readings' noises counts as not determined: the poses are wrong.

Tilts of -90, 0 and 90 give 1.2, of 0, 45 and 90 give 3.4, of 0, 15 and 30 give 35 (touches square
to the face): nothing that a shop would do on purpose lies between 10 and 30.
"""

GAIN_FROM_MM: Final = 0.02
"""Below this standard uncertainty the gain does not matter: no indicator on a platter sees it."""


NORMAL_95: Final = coverage_factor(math.inf)
"""Coverage factor for 95 % where the noise is known."""


@dataclass(frozen=True, slots=True)
class LineFit:
    """Result of `fit_lines`.

    Attributes
    ----------
    frame : LineFrame
    parameters : tuple of str
        Of the model: lines, slopes, features, balls, zeros, optional errors.
    values : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        k = 1, the readings' noise at `scale` times the stated; zero for what is held.
    free : tuple of str
    held : tuple of Held
        Kept at nominal or at an entry.
    undetermined : tuple of Held
        Positions that neither readings nor entries give; their values mean nothing, free or not.
    used : tuple of Reading
    set_aside : tuple of Reading
        Readings that could not be used: glancing, or of a kind that the model does not know.
    residuals_mm : ndarray, shape (n,)
        Measured less fitted coordinate; for a level in rad (`residual_kinds`).
    weighted : ndarray, shape (n,)
        Residual over its own standard uncertainty; its square is what chi-square loses without
        it.  NaN where the fit follows a reading exactly.
    off_mm : ndarray, shape (n,)
        Measured less what all others predict, to first order; NaN as in `weighted`.
    residual_rows : tuple of int
        Index into `used` for each residual.
    residual_kinds : tuple of str
        ``"mm"`` or ``"rad"`` for each residual.
    slopes : ndarray, shape (n, p)
        Derivatives of the residuals, made independent with standard uncertainty 1.
    known_slopes : ndarray, shape (m, p)
        The same of what was known from elsewhere and used: entries, stated uncertainties.
    dof : int
    chi_square : float
    noise_ratio : float
        Residuals over stated noise; above 1 only where they are clearly larger.
    scale : float
        Factor on the stated noise that `covariance` contains, at least 1.
    dof_effective : float
        Effective degrees of freedom of `scale`; infinite where the stated noise alone counts.
    k95 : float
        Coverage factor: `k95` standard uncertainties hold the truth 95 times in 100.
    index_u_rad : tuple of 2 floats
        Standard uncertainty of one positioning of tilt and rotary axis that was counted.
    optional : tuple of str
        Optional errors that are parameters.
    """

    frame: LineFrame
    parameters: tuple[str, ...]
    values: Floats
    covariance: Floats
    free: tuple[str, ...]
    held: tuple[Held, ...]
    undetermined: tuple[Held, ...]
    used: tuple[Reading, ...]
    set_aside: tuple[Reading, ...]
    residuals_mm: Floats
    weighted: Floats
    off_mm: Floats
    residual_rows: tuple[int, ...]
    residual_kinds: tuple[str, ...]
    slopes: Floats
    known_slopes: Floats
    dof: int
    chi_square: float
    noise_ratio: float
    scale: float = 1.0
    dof_effective: float = math.inf
    k95: float = NORMAL_95
    index_u_rad: tuple[float, float] = (0.0, 0.0)
    optional: tuple[str, ...] = ()

    @property
    def line_values(self) -> Floats:
        """Values of the lines alone, in the order of ``frame.parameters``."""
        return self.values[: len(self.frame.parameters)]

    @property
    def line_covariance(self) -> Floats:
        """Covariance of the lines alone."""
        count = len(self.frame.parameters)
        return self.covariance[:count, :count]

    @property
    def suspicious(self) -> bool:
        """Whether the residuals are clearly larger than the stated noise."""
        return self.noise_ratio > 1.0

    @property
    def widening(self) -> float:
        """Factor on every uncertainty where the residuals are clearly larger than stated; else 1.

        Student's factor is in it, so that two u stay at 95 %.
        """
        if not self.suspicious:
            return 1.0
        return self.scale * self.k95 / NORMAL_95

    def shift_if(self, name: str) -> Floats:
        """Return how all values move for each unit by which a held parameter is really off.

        The fit then follows the readings with the parameters that are free.
        """
        at = self.parameters.index(name)
        shift = np.zeros(len(self.values))
        shift[at] = 1.0
        if self.free:
            free = [self.parameters.index(item) for item in self.free]
            rows = np.vstack([self.slopes, self.known_slopes])
            shift[free] = -np.linalg.lstsq(rows[:, free], rows[:, at], rcond=None)[0]
        return shift

    def information(self, readings: tuple[Reading, ...] = ()) -> Floats:
        """Return weighted derivatives of the readings used and of more, shape (n, p).

        Those used come first; rows of `known_slopes` are not among them.

        Raises
        ------
        ValueError
            If a further reading brings a feature that the fit does not know.
        """
        model = Model(self.frame, (*self.used, *readings), self.optional)
        if model.parameters != self.parameters:
            raise ValueError("the reading brings a feature that the fit does not know")
        return Weighed(model, self.index_u_rad, self.values).slopes(self.values)


def fit_lines(
    frame: LineFrame,
    readings: tuple[Reading, ...],
    known: Mapping[str, Known] | None = None,
    *,
    extra: Mapping[str, float] = MappingProxyType({}),
    index_u_rad: tuple[float, float] = (0.0, 0.0),
) -> LineFit:
    """Fit the axis lines to the touches.

    Parameters
    ----------
    frame : LineFrame
        Origin within a few metres of the unit.
    readings : tuple of Reading
        At least one.
    known : mapping, optional
        Name of an entry -> what it says; used in this order, and only as far as needed.
    extra : mapping, optional
        Name of an optional error (`gudgeon.centre.errors.OPTIONAL`), an angle or a slope -> its
        standard uncertainty about zero [rad, or a ratio], with which it is freed; infinite: none
        is known, freed only if the readings fix it.
    index_u_rad : tuple of 2 floats
        Standard uncertainty of one positioning of tilt and rotary axis, shared by the readings of
        one `Reading.seat`.

    Raises
    ------
    ValueError
        If there are no readings, or `extra` names what is no such parameter or not above zero.
    """
    if not readings:
        raise ValueError("no readings to fit")
    strange = [name for name in extra if name not in (*OPTIONAL, *FREED_IN_ORDER)]
    if strange or not all(u > 0.0 for u in extra.values()):
        raise ValueError(f"no optional parameter: {strange or 'uncertainty not above zero'}")
    optional = tuple(name for name in OPTIONAL if name in extra)
    elsewhere = dict(known or {})
    used, set_aside = usable(Model(frame, readings))
    if not used:
        used, set_aside = readings, ()
    model = Model(frame, used, optional)
    start = starting_values(model, elsewhere)
    weighed = Weighed(model, index_u_rad, start)
    free, held, undetermined, weighed.known = free_positions(weighed, start, elsewhere)
    try:
        values, _ = weighed.solve(start, free, ROUGH)
    except NotDetermined:
        # Formally independent, but not where the solution lies: nothing can be said.
        undetermined += [
            Held(name, "entangled")
            for name in free
            if not only_serves(name) and name not in {item.name for item in undetermined}
        ]
        values, free, weighed.known = start, [], {}
    weighed.weights = whitening(model, values, index_u_rad)
    free, also_held = _free_others(weighed, values, free, extra)
    held += also_held
    while True:
        try:
            values, fitted = weighed.solve(values, free)
            break
        except NotDetermined:
            # Angles told apart only by the small angles themselves: hold the last one freed.
            held.append(Held(free[-1], "entangled"))
            weighed.known.pop(_stated(free[-1]), None)
            free = free[:-1]
    return _result(weighed, values, fitted, free, held, undetermined, (used, set_aside))


def other_senses(
    frame: LineFrame,
    readings: tuple[Reading, ...],
    known: Mapping[str, Known] | None = None,
    *,
    extra: Mapping[str, float] = MappingProxyType({}),
    index_u_rad: tuple[float, float] = (0.0, 0.0),
) -> dict[tuple[int, ...], LineFit]:
    """Return the fit for every combination of senses other than the declared one."""
    fits = {}
    count = len(frame.axes)
    for pattern in range(1, 2**count):
        flips = tuple(-1 if pattern >> k & 1 else 1 for k in range(count))
        axes = tuple(
            replace(axis, sense=axis.sense * flip)
            for axis, flip in zip(frame.axes, flips, strict=True)
        )
        fits[tuple(a.sense for a in axes)] = fit_lines(
            replace(frame, axes=axes), readings, known, extra=extra, index_u_rad=index_u_rad
        )
    return fits


def _stated(name: str) -> str:
    """Return the key of the row that holds a stated uncertainty."""
    return f"stated {name}"


def _free_others(
    weighed: Weighed, values: Floats, free: list[str], extra: Mapping[str, float]
) -> tuple[list[str], list[Held]]:
    """Free what is not a position, as far as the readings and stated uncertainties reach."""
    slopes = weighed.slopes(values)
    names = weighed.model.parameters
    held: list[Held] = []
    free = list(free)
    stated = [name for name, u in extra.items() if math.isfinite(u) and name in names]
    for name in stated:
        if np.any(slopes[:, weighed.at[name]]):
            weighed.known[_stated(name)] = Known({name: 1.0}, 0.0, extra[name])
            free.append(name)
        else:
            held.append(Held(name, "untouched", extra[name]))
    for name in (*FREED_IN_ORDER, *weighed.model.optional):
        if name in stated or name not in names:
            continue
        verdict = worth(weighed, slopes, free, name)
        if verdict is None:
            free.append(name)
        else:
            held.append(verdict)
    return free, held


def _result(
    weighed: Weighed,
    values: Floats,
    fitted: Fitted | None,
    free: list[str],
    held: list[Held],
    undetermined: list[Held],
    readings: tuple[tuple[Reading, ...], tuple[Reading, ...]],
) -> LineFit:
    model, parameters = weighed.model, weighed.model.parameters
    covariance = np.zeros((len(values), len(values)))
    count = len(model.residual_rows)
    single, off = np.full(count, np.nan), np.full(count, np.nan)
    dof, chi_square = 0, 0.0
    if fitted is not None:
        dof, chi_square = fitted.dof, fitted.sum_of_squares
    scale = pooled(chi_square, dof)
    weak: list[Held] = []
    open_names = {item.name for item in undetermined}
    if fitted is not None:
        at = [weighed.at[name] for name in free]
        # What the readings' own noise contributes grows with its scale, the rest does not.
        effect = fitted.cofactor @ fitted.derivatives[:count].T
        shares = fitted.cofactor + (scale.scale**2 - 1.0) * (effect @ effect.T)
        covariance[np.ix_(at, at)] = shares
        single, off = _one_by_one(weighed.weights, fitted, count)
        spread = np.sqrt(np.diag(shares))
        noise = _typical_noise(weighed)
        # Poses can only be blamed for what comes from the readings.
        gains = np.sqrt(np.sum(effect**2, axis=1)) / noise
        for name, u, gain in zip(free, spread, gains, strict=True):
            if not is_position(name) or only_serves(name) or name in open_names:
                continue
            badly_posed = gain > GAIN_WORTH and u > GAIN_FROM_MM
            if u > POSITION_WORTH_MM or badly_posed:
                weak.append(Held(name, "weak", float(u)))
    return LineFit(
        frame=model.frame,
        parameters=parameters,
        values=values,
        covariance=covariance,
        free=tuple(free),
        held=tuple(held),
        undetermined=(*undetermined, *weak),
        used=readings[0],
        set_aside=readings[1],
        residuals_mm=np.asarray(model.residuals(values), dtype=np.float64),
        weighted=single,
        off_mm=off,
        residual_rows=tuple(model.residual_rows),
        residual_kinds=model.residual_kinds,
        slopes=weighed.slopes(values),
        known_slopes=weighed.known_rows(),
        dof=dof,
        chi_square=chi_square,
        noise_ratio=scale.noise_ratio,
        scale=scale.scale,
        dof_effective=scale.dof,
        k95=scale.k95,
        index_u_rad=weighed.index_u_rad,
        optional=model.optional,
    )


def _one_by_one(weights: Floats, fitted: Fitted, count: int) -> tuple[Floats, Floats]:
    """Return each residual over its standard uncertainty, and how far it lies off the others.

    With V the covariance of the noise and S that of the residuals, leaving out residual i moves
    it to (V^-1 r)_i / (V^-1 S V^-1)_ii and lowers chi-square by (V^-1 r)_i^2 / (V^-1 S V^-1)_ii.
    """
    jacobian = fitted.derivatives
    sizes = np.linalg.norm(jacobian, axis=0)
    basis, _ = np.linalg.qr(jacobian / np.where(sizes > 0.0, sizes, 1.0))
    left = weights.T @ basis[:count]
    whole = np.sum(weights**2, axis=0)
    own = whole - np.sum(left**2, axis=1)
    pull = weights.T @ fitted.residuals[:count]
    # Where the fit follows a reading exactly, its residual says nothing.
    sure = own > 1e-6 * whole
    single, off = np.full(count, np.nan), np.full(count, np.nan)
    single[sure] = pull[sure] / np.sqrt(own[sure])
    off[sure] = pull[sure] / own[sure]
    return single, off


def _typical_noise(weighed: Weighed) -> float:
    """Return the middle standard uncertainty of what counts a length, index error included."""
    model = weighed.model
    u = model.u_mm
    if any(one > 0.0 for one in weighed.index_u_rad):
        u = np.linalg.norm(np.linalg.inv(weighed.weights), axis=1)
    lengths = [kind == "mm" for kind in model.residual_kinds]
    return float(np.median(u[lengths])) if any(lengths) else math.inf
