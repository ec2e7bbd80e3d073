"""Least squares: the one solver behind every fit, with covariance and what the data determine.

The steps are those of the Levenberg-Marquardt routine of MINPACK, through scipy; exact derivatives
go in, and what the data determine is judged here from the scaled derivatives at the solution.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["RANK", "Fitted", "NotDetermined", "complex_derivatives", "solve"]

Floats = NDArray[np.float64]
Residuals = Callable[[NDArray[Any]], NDArray[Any]]

RANK: Final = 1e-9
"""Singular values of the scaled derivatives below this share of the largest count as zero."""

EPS: Final = 1e-15
"""Relative change at which the steps end: as far as rounding lets them go."""

MOST_STEPS: Final = 2000
"""More steps than the hardest reference problem needs by a factor of ten; bounds the time."""


class NotDetermined(ValueError):  # noqa: N818 - says what is the case, as `Lacking` does
    """The data cannot determine the parameters, such as a circle through points on a line."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """Result of `solve`.

    Attributes
    ----------
    values : ndarray, shape (p,)
    cofactor : ndarray, shape (p, p)
        Inverse of J^T J.  With residuals in units of their standard uncertainty it is the
        covariance; with raw residuals multiply by `variance`.
    residuals : ndarray, shape (n,)
        At `values`.
    leverage : ndarray, shape (n,)
        Share of each residual that the fit itself absorbs, 0 to 1 (diagonal of the hat matrix).
    derivatives : ndarray, shape (n, p)
    steps : int
    """

    values: Floats
    cofactor: Floats
    residuals: Floats
    leverage: Floats
    derivatives: Floats
    steps: int

    @property
    def dof(self) -> int:
        """Residuals less parameters."""
        return len(self.residuals) - len(self.values)

    @property
    def sum_of_squares(self) -> float:
        """Sum of squared residuals."""
        return float(self.residuals @ self.residuals)

    @property
    def variance(self) -> float:
        """Sum of squares over degrees of freedom; infinite without any."""
        return self.sum_of_squares / self.dof if self.dof > 0 else np.inf


def solve(
    residuals: Residuals,
    start: ArrayLike,
    derivatives: Callable[[Floats], Floats] | None = None,
    tolerance: float = EPS,
    most_steps: int = MOST_STEPS,
) -> Fitted:
    """Minimise the sum of squared residuals.

    Parameters
    ----------
    residuals : callable
        Takes parameters of shape (p,), returns shape (n,).  Without `derivatives` it must take
        complex parameters (complex-step derivatives, exact to rounding).
    start : array_like, shape (p,)
    derivatives : callable, optional
        Returns shape (n, p).
    tolerance : float
        Relative change of parameters and of the sum of squares at which the steps end.
    most_steps : int
        Steps after which it ends wherever it is.

    Raises
    ------
    NotDetermined
        If fewer residuals than parameters are given, or the parameters are not independent at
        the solution.
    ValueError
        If the residuals at `start` are not finite.
    """
    x = np.array(start, dtype=np.float64)
    slope = derivatives or (lambda at: complex_derivatives(residuals, at))
    r = np.asarray(residuals(x), dtype=np.float64)
    if not np.all(np.isfinite(r)):
        raise ValueError("the residuals at the start are not finite")
    if len(r) < len(x):
        raise NotDetermined(f"{len(r)} data cannot determine {len(x)} parameters")
    # Imported here: a tenth of a second that only the questions with readings need to pay.
    from scipy.optimize import least_squares

    with np.errstate(all="ignore"):
        found = least_squares(
            residuals,
            x,
            slope,
            method="lm",
            x_scale="jac",
            ftol=tolerance,
            xtol=tolerance,
            gtol=tolerance,
            max_nfev=most_steps,
        )
    x = np.asarray(found.x, dtype=np.float64)
    return _finish(x, np.asarray(found.fun), np.asarray(found.jac), int(found.nfev))


def _finish(x: Floats, r: Floats, jac: Floats, steps: int) -> Fitted:
    scale = _column_sizes(jac)
    u, s, vt = np.linalg.svd(jac / scale, full_matrices=False)
    if len(s) == 0 or s[-1] <= RANK * s[0]:
        raise NotDetermined("the data do not determine all parameters")
    half = vt.T / s
    cofactor = half @ half.T / np.outer(scale, scale)
    return Fitted(x, cofactor, r, np.asarray(np.sum(u**2, axis=1)), jac, steps)


def complex_derivatives(
    residuals: Residuals, at: Floats, columns: Sequence[int] | None = None
) -> Floats:
    """Return derivatives by complex steps, shape (n, p); of some parameters only if asked."""
    found = []
    for i in range(len(at)) if columns is None else columns:
        shifted = at.astype(np.complex128)
        shifted[i] += 1e-30j
        found.append(np.asarray(residuals(shifted)).imag / 1e-30)
    return np.column_stack(found)


def _column_sizes(jac: Floats) -> Floats:
    sizes = np.linalg.norm(jac, axis=0)
    return np.where(sizes > 0.0, sizes, 1.0)
