"""Least-squares fit of both axis lines to all touches at once, with what the touches determine.

Positions (tilt line, rotary line, face height) are freed first.  Angles, slopes of the face and the
offset of a bore are freed one after the other in the order of `FREED_IN_ORDER`, each only if the
touches tell it apart from those already free and fix it well enough to be worth having; all others
are held at nominal and named.  The covariance is that of the stated noise (JCGM 100:2008, 5.1; the
weighted normal equations); where the residuals are clearly larger than the stated noise it is
scaled up, never down.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.lines import LineFrame
from gudgeon.centre.readings import GLANCING, Model, Reading
from gudgeon.centre.solve import NotDetermined, complex_derivatives, solve
from gudgeon.quantity.spread import coverage_factor

__all__ = [
    "ANGLE_WORTH",
    "FREED_IN_ORDER",
    "POSITION_WORTH_MM",
    "Held",
    "Known",
    "LineFit",
    "chi_square_99",
    "fit_lines",
    "other_senses",
]

Floats = NDArray[np.float64]

FREED_IN_ORDER: Final = (
    "bore_x",
    "bore_y",
    "pin_x",
    "pin_y",
    "rotary_roll",
    "rotary_pitch",
    "rotary_yaw",
    "tilt_yaw",
    "tilt_pitch",
    "slope_x",
    "slope_y",
)
"""The last in this row is the first to be held where the touches do not suffice."""

ANGLE_WORTH: Final = 5e-4
"""An angle is freed if the touches fix it better than this (k = 1) [rad].

About 100 arcsec, more than the squareness error to expect of a unit in use (common practice, no
source): a wider answer would only blur the positions.
"""

POSITION_WORTH_MM: Final = 0.5
"""A position less sure than this (k = 1) counts as not determined: a steel rule does better."""

DEPENDENT: Final = 1e-7
"""A column of derivatives whose part square to the others is below this share is not separable."""

EXACT_MM: Final = 1e-4
"""Standard uncertainty of an entry that states none: held, but kept as a number for the solver."""

FEW: Final = 3
"""Least degrees of freedom from which residuals may speak against the stated noise."""

Z_99: Final = 2.326347874
"""99 % point of the normal distribution."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is known from elsewhere, used only where the touches do not determine it.

    Attributes
    ----------
    weights : dict
        Parameter name -> factor; ``{"face": 1, "tilt_z": -1}`` is the height of the face.
    value : float
        Of the weighted sum, line frame [mm].
    u : float
        k = 1; zero is taken as `EXACT_MM`.
    """

    weights: Mapping[str, float]
    value: float
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class Held:
    """A parameter that the touches did not fix.

    Attributes
    ----------
    name : str
    reason : str
        ``"untouched"`` (no reading depends on it), ``"entangled"`` (readings depend on it only
        together with others), ``"weak"`` (they would fix it only to `u`), ``"entry"`` (taken from
        elsewhere).
    u : float
        Standard uncertainty that the touches would give; NaN if none.
    """

    name: str
    reason: str
    u: float = math.nan

    @property
    def is_angle(self) -> bool:
        """Whether it is a lean of a line or a slope of the face, not a place or a radius."""
        places = ("bore_x", "bore_y", "pin_x", "pin_y")
        return self.name not in places and not self.name.endswith("_radius")


@dataclass(frozen=True, slots=True)
class LineFit:
    """Result of `fit_lines`.

    Attributes
    ----------
    frame : LineFrame
    parameters : tuple of str
        Of the model: lines, slopes, features.
    values : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        k = 1, noise as stated, or scaled up so that two standard uncertainties still cover 95 %.
    free : tuple of str
    held : tuple of Held
        Kept at nominal or at an entry.
    undetermined : tuple of Held
        Positions that neither touches nor entries give; their values mean nothing.
    used : tuple of Reading
    set_aside : tuple of Reading
        Touches that could not be used: glancing, or of a kind that the model does not know.
    residuals_mm : ndarray, shape (n,)
        Measured less fitted coordinate.
    weighted : ndarray, shape (n,)
        Residual over its own standard uncertainty; NaN where the fit follows a reading exactly.
    residual_rows : tuple of int
        Index into `used` for each residual.
    slopes : ndarray, shape (n, p)
        Derivatives of the residuals over their standard uncertainty.
    dof : int
    chi_square : float
    noise_ratio : float
        Residuals over stated noise; above 1 only where they are clearly larger.
    dof_effective : float
        Effective degrees of freedom of the scale of `covariance`.
    k95 : float
        Coverage factor: `k95` standard uncertainties hold the truth 95 times in 100.
    index_u_rad : tuple of 2 floats
        Standard uncertainty of one positioning of tilt and rotary axis that was counted.
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
    residual_rows: tuple[int, ...]
    slopes: Floats
    dof: int
    chi_square: float
    noise_ratio: float
    dof_effective: float = math.inf
    k95: float = 2.0
    index_u_rad: tuple[float, float] = (0.0, 0.0)

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

        With the noise taken from few residuals, Student's factor keeps two u at 95 %.
        """
        if not self.suspicious:
            return 1.0
        return self.noise_ratio * coverage_factor(self.dof) / coverage_factor(math.inf)

    def shift_if(self, name: str) -> Floats:
        """Return how all values move for each unit by which a held parameter is really off.

        The fit then follows the readings with the parameters that are free.
        """
        at = self.parameters.index(name)
        shift = np.zeros(len(self.values))
        shift[at] = 1.0
        if self.free:
            free = [self.parameters.index(item) for item in self.free]
            rows = self.slopes
            shift[free] = -np.linalg.lstsq(rows[:, free], rows[:, at], rcond=None)[0]
        return shift

    def information(self, readings: tuple[Reading, ...] = ()) -> Floats:
        """Return weighted derivatives of the readings used and of more, shape (n, p).

        Raises
        ------
        ValueError
            If a further reading brings a feature that the fit does not know.
        """
        model = Model(self.frame, (*self.used, *readings))
        if model.parameters != self.parameters:
            raise ValueError("the reading brings a feature that the fit does not know")
        return _weighted(model, self.values)


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

    Raises
    ------
    ValueError
        If there are no readings.
    """
    if not readings:
        raise ValueError("no readings to fit")
    elsewhere = dict(known or {})
    used, set_aside = _usable(frame, readings)
    if not used:
        used, set_aside = readings, ()
    model = Model(frame, used)
    start = _start(model, elsewhere)
    must = [name for name in model.parameters if _is_position(name)]

    free, held, undetermined, observed = _free_positions(model, start, must, elsewhere)
    try:
        values, _ = _solve(model, start, free, observed)
    except NotDetermined:
        # Formally independent, but not where the solution lies: nothing can be said.
        undetermined += [Held(name, "entangled") for name in free if not name.endswith("_radius")]
        values, free, observed = start, [], {}
    weighted = _weighted(model, values)
    for name in FREED_IN_ORDER:
        if name not in model.parameters:
            continue
        verdict = _worth(model, weighted, free, observed, name)
        if verdict is None:
            free = [*free, name]
        else:
            held.append(verdict)
    held.extend(
        _worth(model, weighted, free, observed, name) or Held(name, "entangled")
        for name in model.parameters
        if name not in free and name not in must and name not in FREED_IN_ORDER
    )
    while True:
        try:
            values, fitted = _solve(model, values, free, observed)
            break
        except NotDetermined:
            # Angles told apart only by the small angles themselves: hold the last one freed.
            held.append(Held(free[-1], "entangled"))
            free = free[:-1]
    return _result(model, values, fitted, free, held, undetermined, used, set_aside, observed)


def other_senses(
    frame: LineFrame, readings: tuple[Reading, ...], known: Mapping[str, Known] | None = None
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
        fits[tuple(a.sense for a in axes)] = fit_lines(replace(frame, axes=axes), readings, known)
    return fits


def _is_position(name: str) -> bool:
    return name in ("tilt_y", "tilt_z", "rotary_x", "rotary_y", "rotary_z", "face") or (
        name.endswith("_radius")
    )


def _usable(
    frame: LineFrame, readings: tuple[Reading, ...]
) -> tuple[tuple[Reading, ...], tuple[Reading, ...]]:
    """Part the readings into those whose approach meets the surface squarely enough, and others."""
    model = Model(frame, readings)
    zero = model.start()
    keep: list[Reading] = []
    aside: list[Reading] = []
    for i, reading in enumerate(readings):
        place = np.asarray(reading.position_mm)
        if reading.feature == "face":
            good = (
                reading.toward is not None
                and abs(model.outward(zero, i)) >= GLANCING
                and not np.any(np.isnan(place) & (np.abs(model.normal(zero, i)) > 1e-6))
            )
        elif reading.toward is None:
            good = not np.any(np.isnan(place[:2])) and abs(model.upright(zero, i)) >= GLANCING
        else:
            k = int(np.argmax(np.abs(reading.toward)))
            good = not math.isnan(place[k]) and model.along(zero, i) <= 1.0 - GLANCING
        (keep if good else aside).append(reading)
    return tuple(keep), tuple(aside)


def _start(model: Model, known: Mapping[str, Known]) -> Floats:
    """Return parameters near the solution: the middle of what was touched."""
    values = model.start()
    at = {name: i for i, name in enumerate(model.parameters)}
    single = {}
    for item in known.values():
        if len(item.weights) == 1:
            ((name, factor),) = item.weights.items()
            single[name] = item.value / factor
    two = len(model.frame.axes) == 2
    for feature in model.features:
        here = [r for r in model.readings if r.feature == feature]
        places = np.array([r.position_mm for r in here]) - model.frame.origin_mm
        middle = np.array(
            [np.mean(c[~np.isnan(c)]) if not np.all(np.isnan(c)) else 0.0 for c in places.T]
        )
        local = model.frame.basis.T @ middle
        if two:
            values[at["rotary_x"]], values[at["rotary_y"]] = local[0], local[1]
        radius = f"{feature}_radius"
        spread = [float(np.ptp(c[~np.isnan(c)])) for c in places.T if not np.all(np.isnan(c))]
        values[at[radius]] = single.get(radius, max(0.5 * max(spread, default=0.0), 1.0))
    return values


def _weighted(model: Model, values: Floats) -> Floats:
    """Return derivatives of all residuals over their standard uncertainty, shape (n, p)."""
    return np.asarray(complex_derivatives(model.residuals, values) / model.u_mm[:, None])


def _rows(
    model: Model, weighted: Floats, names: list[str], observed: Mapping[str, Known]
) -> Floats:
    """Return weighted derivatives for the named parameters, entries used as readings included."""
    rows = weighted[:, [model.parameters.index(name) for name in names]]
    extra = [
        [item.weights.get(name, 0.0) / _sure(item) for name in names] for item in observed.values()
    ]
    return np.vstack([rows, np.array(extra).reshape(-1, len(names))])


def _sure(item: Known) -> float:
    return max(item.u, EXACT_MM)


def _free_positions(
    model: Model, start: Floats, must: list[str], known: Mapping[str, Known]
) -> tuple[list[str], list[Held], list[Held], dict[str, Known]]:
    """Decide which positions the touches fix, which an entry must give, and which nobody gives."""
    free = list(must)
    held: list[Held] = []
    observed: dict[str, Known] = {}
    weighted = _weighted(model, start)
    for entry, item in known.items():
        if not any(name in model.parameters for name in item.weights):
            continue
        before = _rows(model, weighted, free, observed)
        after = _rows(model, weighted, free, {**observed, entry: item})
        if _rank(after) > _rank(before):
            observed[entry] = item
            held.append(Held(entry, "entry", item.u))
    entangled = _entangled(_rows(model, weighted, free, observed), free)
    untouched = {
        name
        for name, column in zip(free, _rows(model, weighted, free, observed).T, strict=True)
        if not np.any(np.abs(column) > 0.0)
    }
    undetermined = [
        Held(name, "untouched" if name in untouched else "entangled") for name in entangled
    ]
    free = [name for name in free if name not in entangled]
    # A radius that no side touch needs is nobody's loss.
    undetermined = [item for item in undetermined if not item.name.endswith("_radius")]
    return free, held, undetermined, observed


def _scaled(rows: Floats) -> Floats:
    sizes = np.linalg.norm(rows, axis=0)
    return np.asarray(rows / np.where(sizes > 0.0, sizes, 1.0))


def _rank(rows: Floats) -> int:
    if rows.shape[1] == 0:
        return 0
    sizes = np.linalg.svd(_scaled(rows), compute_uv=False)
    return int(np.sum(sizes > DEPENDENT * max(float(sizes[0]), 1.0)))


def _entangled(rows: Floats, names: list[str]) -> list[str]:
    """Return the names that take part in what the rows leave open (null space)."""
    if not names:
        return []
    _, _, vt = np.linalg.svd(_scaled(rows), full_matrices=True)
    open_part = vt[_rank(rows) :]
    return [name for name, c in zip(names, open_part.T, strict=True) if np.any(np.abs(c) > 1e-6)]


def _worth(
    model: Model, weighted: Floats, free: list[str], observed: Mapping[str, Known], name: str
) -> Held | None:
    """Return why a parameter is held, or ``None`` if it is worth freeing."""
    rows = _rows(model, weighted, [*free, name], observed)
    column, others = rows[:, -1], rows[:, :-1]
    size = float(np.linalg.norm(column))
    if size == 0.0:
        return Held(name, "untouched")
    if others.shape[1]:
        sizes = np.linalg.norm(others, axis=0)
        basis, _ = np.linalg.qr(others / np.where(sizes > 0.0, sizes, 1.0))
        column = column - basis @ (basis.T @ column)
        column = column - basis @ (basis.T @ column)
    square = float(np.linalg.norm(column))
    if square <= DEPENDENT * size or rows.shape[1] > rows.shape[0]:
        return Held(name, "entangled")
    u = 1.0 / square
    limit = POSITION_WORTH_MM if name in ("bore_x", "bore_y", "pin_x", "pin_y") else ANGLE_WORTH
    return None if u <= limit else Held(name, "weak", u)


def _solve(
    model: Model, start: Floats, free: list[str], observed: Mapping[str, Known]
) -> tuple[Floats, Any]:
    """Solve for the named parameters; the others stay where they are."""
    at_all = {name: i for i, name in enumerate(model.parameters)}
    at = [at_all[name] for name in free]
    if not at:
        return start, None

    def residuals(part: NDArray[Any]) -> NDArray[Any]:
        full = start.astype(part.dtype)
        full[at] = part
        extra = [
            (sum(full[at_all[n]] * w for n, w in item.weights.items()) - item.value) / _sure(item)
            for item in observed.values()
        ]
        return np.concatenate([model.residuals(full) / model.u_mm, np.array(extra)])

    fitted = solve(residuals, start[at])
    values = start.copy()
    values[at] = fitted.values
    return values, fitted


def _result(
    model: Model,
    values: Floats,
    fitted: Any,
    free: list[str],
    held: list[Held],
    undetermined: list[Held],
    used: tuple[Reading, ...],
    set_aside: tuple[Reading, ...],
    observed: Mapping[str, Known],
) -> LineFit:
    covariance = np.zeros((len(values), len(values)))
    count = len(model.residual_rows)
    residuals = np.asarray(model.residuals(values), dtype=np.float64)
    weighted, dof, chi_square = np.full(count, np.nan), 0, 0.0
    if fitted is not None:
        at = [model.parameters.index(name) for name in free]
        covariance[np.ix_(at, at)] = fitted.cofactor
        left = 1.0 - fitted.leverage[:count]
        # Where the fit follows a reading exactly, its residual says nothing.
        sure = left > 1e-6
        weighted[sure] = residuals[sure] / (model.u_mm[sure] * np.sqrt(left[sure]))
        dof, chi_square = fitted.dof, fitted.sum_of_squares
    ratio = 1.0
    if dof >= FEW and chi_square > chi_square_99(dof):
        ratio = math.sqrt(chi_square / dof)
        # With the noise taken from few residuals, Student's factor keeps two u at 95 %.
        covariance = covariance * (ratio * coverage_factor(dof) / coverage_factor(math.inf)) ** 2
    weak = [
        Held(name, "weak", float(math.sqrt(covariance[i, i])))
        for i, name in enumerate(model.parameters)
        if name in free
        and _is_position(name)
        and not name.endswith("_radius")
        and math.sqrt(covariance[i, i]) > POSITION_WORTH_MM
    ]
    return LineFit(
        frame=model.frame,
        parameters=model.parameters,
        values=values,
        covariance=covariance,
        free=tuple(free),
        held=tuple(held),
        undetermined=(*undetermined, *weak),
        used=used,
        set_aside=set_aside,
        residuals_mm=residuals,
        weighted=weighted,
        residual_rows=tuple(model.residual_rows),
        slopes=_weighted(model, values),
        dof=dof,
        chi_square=chi_square,
        noise_ratio=ratio,
    )


def chi_square_99(dof: int) -> float:
    """Return the 99 % point of chi-square (Wilson and Hilferty's approximation, within 1 %)."""
    part = 2.0 / (9.0 * dof)
    return float(dof * (1.0 - part + Z_99 * math.sqrt(part)) ** 3)
