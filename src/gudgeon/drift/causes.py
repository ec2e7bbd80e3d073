"""Which part of the unit has moved, as far as checks in several poses can tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

__all__ = ["Cause", "Explained", "explain", "telling_pair"]

Floats = NDArray[np.float64]

LEAST_U_MM: Final = 1e-6
"""Smallest standard uncertainty of a step that counts: a nanometre."""


@dataclass(frozen=True, slots=True, eq=False)
class Cause:
    """A motion that might explain a step.

    Attributes
    ----------
    name : str
    effect : ndarray, shape (number of checks, 3, p)
        Motion of each check for each unit of each of its numbers.
    """

    name: str
    effect: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """How well one cause explains the step.

    Attributes
    ----------
    name : str
    chance : float
        Of misfits this large or larger if it is the cause; 1 where nothing is left to misfit.
    values : ndarray, shape (p,)
        Its numbers [mm or rad].
    u : ndarray, shape (p,)
        Standard uncertainties; infinite where the checks do not fix a number.
    tested : bool
        The checks could have disproved it.
    """

    name: str
    chance: float
    values: Floats
    u: Floats
    tested: bool


def explain(step: Floats, u: Floats, causes: tuple[Cause, ...]) -> tuple[Explained, ...]:
    """Weigh each cause by itself against the step of all checks; the most likely first.

    Parameters
    ----------
    step, u : ndarray, shape (number of checks, 3)
        NaN where a coordinate is not read; standard uncertainties [mm].
    causes : tuple of Cause

    Notes
    -----
    Weighted least squares; the chance is that of chi-squared.  Among causes that the checks cannot
    tell apart the order is that of `causes`.
    """
    seen = ~np.isnan(step) & np.isfinite(u)
    # A step that a record puts beyond any doubt has no spread left to divide by.
    u = np.maximum(u, LEAST_U_MM)
    found = []
    for cause in causes:
        a = cause.effect[seen] / u[seen][:, None]
        y = step[seen] / u[seen]
        values, _, rank, _ = np.linalg.lstsq(a, y, rcond=1e-9)
        left = y - a @ values
        dof = len(y) - int(rank)
        chance = float(chdtrc(dof, float(left @ left))) if dof > 0 else 1.0
        inverse = np.linalg.pinv(a.T @ a, rcond=1e-12, hermitian=True)
        fixed = np.linalg.norm(np.linalg.pinv(a, rcond=1e-9) @ a - np.eye(len(values)), axis=1)
        spread = np.where(fixed < 1e-6, np.sqrt(np.clip(np.diag(inverse), 0.0, None)), np.inf)
        numbers = np.asarray(values, dtype=np.float64)
        spread = np.asarray(spread, dtype=np.float64)
        found.append(Explained(cause.name, chance, numbers, spread, dof > 0))
    order = sorted(range(len(found)), key=lambda i: -round(found[i].chance, 6))
    return tuple(found[i] for i in order)


def telling_pair(effects: Floats, prior_mm: float, u_mm: float) -> tuple[int, int]:
    """Return the two poses in which a check tells most about what has moved.

    Parameters
    ----------
    effects : ndarray, shape (number of poses, 3, p)
        Motion of the check in each pose for each unit of all motions that are thought of [mm].
    prior_mm : float
        How far each may have moved, standard deviation.
    u_mm : float
        Standard uncertainty of one coordinate.

    Notes
    -----
    Least mean variance of the motions after both readings; of equals the first.
    """
    poses, _, count = effects.shape
    best, found = np.inf, (0, 0)
    for i in range(poses):
        for j in range(i, poses):
            rows = np.vstack([effects[i], effects[j]]) / u_mm
            left = np.linalg.inv(rows.T @ rows + np.eye(count) / prior_mm**2)
            if np.trace(left) < best * (1.0 - 1e-9):
                best, found = float(np.trace(left)), (i, j)
    return found
