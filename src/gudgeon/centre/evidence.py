"""Readings as a linear problem near a solution, and how well an explanation of misfit does.

Near the solution the model is linear to well below a micrometre, so that leaving rows out, letting
them shift together, or putting corrected ones in their place is a matter of small matrices: the
residuals of all rows, projected on what the parameters cannot follow, tell what every such change
would bring (partitioned least squares; Cook and Weisberg's deletion formulas in matrix form).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.fit import Known, LineFit
from gudgeon.centre.readings import SLOPES, Model, Reading

__all__ = ["Bank", "misfit", "priors_of"]

Floats = NDArray[np.float64]

NOISE: Final = 1.3
"""Scale on which the stated noise is believed: people state it too small more often than too large
(common practice, no source)."""

BELIEF: Final = 12.0
"""Readings' worth of belief in it."""

ANGLE_PRIOR: Final = 5e-4
"""How far an angle that the touches do not fix may be off nominal, k = 1 [rad]."""

MOST_LEAN: Final = 1e-3
"""How far lines and face may lean, k = 1, even where the touches fix it [rad]: three arc minutes.
Without it one bad row out of few can hide behind a lean that no unit has."""

MOST_YAW: Final = 5e-3
"""How far the unit may be turned on the table against what was entered, k = 1 [rad]."""

PLACE_PRIOR_MM: Final = 0.5
"""The same for the place of a bore or pin on the platter."""

EXACT: Final = 1e-4
"""Standard uncertainty of an entry that states none [mm]."""

NOTHING: Final = 1e-9
"""Share below which a direction counts as not checked by anything."""


def misfit(chi_square: float | Floats, dof: float | Floats) -> Floats:
    """Return -2 ln likelihood of a chi-square where the scale of the noise is itself uncertain.

    With the scale drawn from a scaled inverse chi-square distribution (`BELIEF` degrees of freedom,
    `NOISE` squared) the likelihood is that of Student's distribution; for much belief this becomes
    chi-square over noise squared.
    """
    inside = np.log1p(np.maximum(chi_square, 0.0) / (BELIEF * NOISE**2))
    return np.asarray((BELIEF + np.asarray(dof)) * inside)


def priors_of(
    fit: LineFit, known: Mapping[str, Known], extra: Mapping[str, float]
) -> tuple[Known, ...]:
    """Return what holds the parameters that the touches alone do not: entries, usual squareness."""
    found = [known[item.name] for item in fit.held if item.reason == "entry" and item.name in known]
    for item in fit.held:
        if item.reason == "entry" or item.name not in fit.parameters or item.name in extra:
            continue
        u = ANGLE_PRIOR if item.is_angle else PLACE_PRIOR_MM
        found.append(Known({item.name: 1.0}, 0.0, u))
    for name in fit.free:
        if name.endswith(("_yaw", "_pitch", "_roll")) or name in SLOPES:
            u = MOST_YAW if name.endswith("_yaw") else MOST_LEAN
            found.append(Known({name: 1.0}, 0.0, u))
    for name, u in extra.items():
        if math.isfinite(u) and name in fit.parameters:
            found.append(Known({name: 1.0}, 0.0, u))
    return tuple(found)


class Bank:
    """Readings, and corrected ones that may take their places, linear near one solution.

    Parameters
    ----------
    fit : LineFit
        Frame, parameters and index noise.
    readings : tuple of Reading
    values : ndarray, shape (p,)
        Where the model is made linear.
    priors : tuple of Known
    corrected : tuple of Reading, optional

    Attributes
    ----------
    at : list of lists of int
        Residuals of each of `readings`, then of each of `corrected`.
    residuals, u : ndarray, shape (N,)
        At `values`, in mm or rad.
    slopes : ndarray, shape (N, p)
    """

    def __init__(
        self,
        fit: LineFit,
        readings: tuple[Reading, ...],
        values: Floats,
        priors: tuple[Known, ...],
        corrected: tuple[Reading, ...] = (),
    ) -> None:
        self.readings = readings
        self.values = values
        self._optional = tuple(name for name in fit.parameters if name in OPTIONAL)
        self._frame = fit.frame
        self._index = fit.index_u_rad
        self._everything = (*readings, *corrected)
        model = Model(fit.frame, self._everything, self._optional)
        if model.parameters != fit.parameters:
            raise ValueError("the readings bring other features than the fit knows")
        self.model = model
        self.at: list[list[int]] = [[] for _ in self._everything]
        for k, row in enumerate(model.residual_rows):
            self.at[row].append(k)
        self.residuals = np.asarray(model.residuals(values), dtype=np.float64)
        self.slopes = model.derivatives(values)
        self.u = model.u_mm
        self.turns = model.index_slopes(values)
        rows, target = [], []
        for item in priors:
            sure = item.u if item.u > 0.0 else EXACT
            weights = [item.weights.get(name, 0.0) / sure for name in fit.parameters]
            rows.append(weights)
            target.append(float(np.dot(weights, values)) - item.value / sure)
        self._prior_rows = np.array(rows).reshape(-1, len(values))
        self._prior_off = np.array(target)
        used = np.linalg.norm(self.slopes, axis=0) + np.linalg.norm(self._prior_rows, axis=0)
        self._scale = np.where(used > 0.0, used, 1.0)

    @property
    def base(self) -> list[int]:
        """Residuals of the readings as they are."""
        return [k for row in range(len(self.readings)) for k in self.at[row]]

    def model_of(self, readings: tuple[Reading, ...]) -> Model:
        """Return a model of these readings, with the parameters of the fit."""
        return Model(self._frame, (*readings, *self.readings), self._optional)

    def shifts(self) -> Floats:
        """Return how the residuals of the readings move with a shift of the unit, shape (n, 3)."""
        count = len(self.base)
        out = np.zeros((count, 3))
        for k in range(3):
            moved = []
            for r in self.readings:
                place = list(r.position_mm)
                place[k] += 0.01
                moved.append(replace(r, position_mm=(place[0], place[1], place[2])))
            model = Model(self._frame, tuple(moved), self._optional)
            new = np.asarray(model.residuals(self.values), dtype=np.float64)
            out[:, k] = (new - self.residuals[:count]) / 0.01
        return out

    def whiten(self, chosen: list[int], columns: Floats) -> Floats:
        """Return `columns` (rows as `chosen`) with independent noise of spread 1."""
        if not any(u > 0.0 for u in self._index):
            return np.asarray(columns / self.u[chosen][:, None])
        noise = np.diag(self.u[chosen] ** 2)
        turns = self.turns[chosen] * np.asarray(self._index)
        rows = [self.model.residual_rows[k] for k in chosen]
        seats = [
            self._everything[row].seat if self._everything[row].seat >= 0 else -1 - row
            for row in rows
        ]
        same = np.equal.outer(np.array(seats), np.array(seats))
        noise = noise + np.where(same, turns @ turns.T, 0.0)
        return np.asarray(np.linalg.solve(np.linalg.cholesky(noise), columns))

    def solve(
        self, chosen: list[int], columns: Floats | None = None
    ) -> tuple[float, int, Floats, Floats]:
        """Return chi-square, degrees of freedom, change of the parameters and its covariance.

        Parameters
        ----------
        chosen : list of int
            Residuals to use.
        columns : ndarray, shape (len(chosen), k), optional
            Further free parameters, as their effect on the residuals.
        """
        slopes = self.slopes[chosen] / self._scale
        if columns is not None and columns.shape[1]:
            slopes = np.column_stack([slopes, columns])
        both = self.whiten(chosen, np.column_stack([slopes, self.residuals[chosen]]))
        extra = slopes.shape[1] - len(self._scale)
        prior = np.pad(self._prior_rows / self._scale, ((0, 0), (0, extra)))
        rows = np.vstack([both[:, :-1], prior])
        off = np.concatenate([both[:, -1], self._prior_off])
        u, s, vt = np.linalg.svd(rows, full_matrices=False)
        keep = s > NOTHING * max(float(s[0]), 1.0)
        u, s, vt = u[:, keep], s[keep], vt[keep]
        inside = u.T @ off
        rest = off - u @ inside
        half = vt.T / s
        count = len(self._scale)
        change = -(half @ inside)[:count] / self._scale
        covariance = (half @ half.T)[:count, :count] / np.outer(self._scale, self._scale)
        return float(rest @ rest), len(off) - int(keep.sum()), change, covariance

    def projected(self, columns: Floats) -> tuple[Floats, Floats, Floats, int]:
        """Return what `columns` could still explain: Gram matrix, products, sizes, dof.

        Parameters
        ----------
        columns : ndarray, shape (n, K)
            Effects on the residuals of the readings as they are.

        Returns
        -------
        gram : ndarray, shape (K, K)
            Of the columns after the parameters have followed them as far as they can.
        products : ndarray, shape (K,)
            With the residuals of the fit.
        sizes : ndarray, shape (K,)
            Squared lengths of the columns before.
        dof : int
        """
        chosen = self.base
        both = self.whiten(
            chosen,
            np.column_stack([self.slopes[chosen] / self._scale, self.residuals[chosen], columns]),
        )
        count = len(self._scale)
        rows = np.vstack([both[:, :count], self._prior_rows / self._scale])
        rest = np.vstack([both[:, count:], np.zeros((len(self._prior_off), 1 + columns.shape[1]))])
        rest[len(chosen) :, 0] = self._prior_off
        sizes = np.sum(rest[:, 1:] ** 2, axis=0)
        u, s, _ = np.linalg.svd(rows, full_matrices=False)
        u = u[:, s > NOTHING * max(float(s[0]), 1.0)]
        rest = rest - u @ (u.T @ rest)
        gram = rest.T @ rest
        return gram[1:, 1:], gram[1:, 0], sizes, len(rows) - u.shape[1]
