"""How much each reading weighs: its own noise, and the index error that a positioning shares.

Every time tilt and rotary axis are positioned they stop a little off (standard uncertainties s_a
and s_c).  All rows read before an axis moves again share that error, so their residuals have the
covariance diag(u^2) + s_a^2 j_a j_a' + s_c^2 j_c j_c', with j the movement of each residual per
radian.  Residuals are multiplied by the inverse of its Cholesky factor; what comes out is
independent with standard uncertainty 1, so that chi-square and leverage keep their meaning.

What is known from elsewhere enters as further rows of the same weight (JCGM 100:2008, 5.2.5 has the
same in another dress: a correlated input is expressed through uncorrelated ones).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.readings import Model
from gudgeon.centre.solve import Fitted, solve

__all__ = ["EXACT_MM", "ROUGH", "Known", "Weighed", "whitening"]

Floats = NDArray[np.float64]

EXACT_MM: Final = 1e-4
"""Standard uncertainty of an entry that states none: held, but kept as a number for the solver."""

MOST_STEPS: Final = 50
"""Steps of one fit.  Good readings need 5, mirrored ones 12 (300 simulated sets); rows that are
metres off lead nowhere in 2000, and are named from where the lines may stand, not from the fit."""

CLOSE: Final = 1e-12
"""Relative change at which a fit ends: picometres."""

ROUGH: Final = 1e-6
"""The same where only the derivatives at the solution are wanted."""


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

    @property
    def sure(self) -> float:
        """Standard uncertainty that counts."""
        return self.u if self.u > 0.0 else EXACT_MM


def whitening(model: Model, values: Floats, index_u_rad: tuple[float, float]) -> Floats:
    """Return the matrix that makes residuals independent with spread 1, shape (n, n).

    Parameters
    ----------
    model : Model
    values : ndarray, shape (p,)
        Where the movement of the residuals with the axes is taken.
    index_u_rad : tuple of 2 floats
        Standard uncertainty of one positioning of tilt and rotary axis.
    """
    found = np.diag(1.0 / model.u_mm)
    if not any(u > 0.0 for u in index_u_rad):
        return found
    moved = model.index_slopes(values) * np.asarray(index_u_rad)
    seats: dict[tuple[bool, int], list[int]] = {}
    for at, row in enumerate(model.residual_rows):
        seat = model.readings[row].seat
        seats.setdefault((seat >= 0, seat if seat >= 0 else row), []).append(at)
    for rows in seats.values():
        here = moved[rows]
        covariance = np.diag(model.u_mm[rows] ** 2) + here @ here.T
        found[np.ix_(rows, rows)] = np.linalg.inv(np.linalg.cholesky(covariance))
    return found


class Weighed:
    """A model with the weights of its readings and what is known from elsewhere.

    Parameters
    ----------
    model : Model
    index_u_rad : tuple of 2 floats
    values : ndarray, shape (p,)
        Parameters at which the weights are taken.
    known : mapping, optional
        Name -> row to add.
    """

    def __init__(
        self,
        model: Model,
        index_u_rad: tuple[float, float],
        values: Floats,
        known: Mapping[str, Known] | None = None,
    ) -> None:
        self.model = model
        self.index_u_rad = index_u_rad
        self.known = dict(known or {})
        self.at = {name: i for i, name in enumerate(model.parameters)}
        self.weights = whitening(model, values, index_u_rad)

    def slopes(self, values: Floats) -> Floats:
        """Return weighted derivatives of the residuals of the readings, shape (n, p)."""
        return np.asarray(self.weights @ self.model.derivatives(values))

    def known_rows(self, known: Mapping[str, Known] | None = None) -> Floats:
        """Return weighted derivatives of what is known from elsewhere, shape (m, p)."""
        items = (self.known if known is None else known).values()
        rows = np.zeros((len(items), len(self.at)))
        for row, item in zip(rows, items, strict=True):
            for name, weight in item.weights.items():
                if name in self.at:
                    row[self.at[name]] = weight / item.sure
        return rows

    def columns(
        self, slopes: Floats, names: Sequence[str], known: Mapping[str, Known] | None = None
    ) -> Floats:
        """Return the columns of `names`, rows from elsewhere included."""
        at = [self.at[name] for name in names]
        return np.asarray(np.vstack([slopes[:, at], self.known_rows(known)[:, at]]))

    def solve(
        self, start: Floats, free: Sequence[str], tolerance: float = CLOSE
    ) -> tuple[Floats, Fitted | None]:
        """Solve for the named parameters; the others stay where they are.

        Raises
        ------
        NotDetermined
            If they are not independent at the solution.
        """
        at = [self.at[name] for name in free]
        if not at:
            return start, None
        extra = self.known_rows()
        target = np.array([item.value / item.sure for item in self.known.values()])

        def residuals(part: NDArray[Any]) -> NDArray[Any]:
            full = start.astype(part.dtype)
            full[at] = part
            return np.concatenate(
                [self.weights @ self.model.residuals(full), extra @ full - target]
            )

        def derivatives(part: Floats) -> Floats:
            full = start.copy()
            full[at] = part
            moved = self.model.derivatives(full, at)
            return np.vstack([self.weights @ moved, extra[:, at]])

        fitted = solve(residuals, start[at], derivatives, tolerance, MOST_STEPS)
        values = start.copy()
        values[at] = fitted.values
        return values, fitted
