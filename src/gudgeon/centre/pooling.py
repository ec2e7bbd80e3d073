"""How much the readings really scatter, from the stated noise and the residuals together.

The stated noise is taken as if it had been seen in `STATED_DOF` further readings: with few readings
the statement rules, with many the residuals.  With chi-square c from n degrees of freedom and m =
`STATED_DOF`, the scale is s^2 = (m + c) / (m + n).  Only the part c is uncertain, with n degrees of
freedom, so that the scale has n (m + c)^2 / c^2 effective ones (Welch and Satterthwaite, JCGM
100:2008, G.4.1), and the coverage factor is Student's for those.

The expanded uncertainty is never less than what the stated noise alone gives: small residuals are
more often luck, or readings too much alike, than a better probe.

Simulated (400,000 draws each), 95 % intervals hold the truth in 95.9 to 96.7 % of cases where the
statement is right, for any n; in 93.3 % (n = 8), 93.8 % (n = 12) and 94.6 % (n = 40) where the
noise is really 1.5 times the stated.  With m = 1 it is 96.0 to 97.4 and 94.6 to 94.9 %; with m = 6
95.9 to 96.3 and 91.8 to 94.1 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from gudgeon.quantity.spread import coverage_factor, effective_dof

__all__ = ["FEW", "STATED_DOF", "Pooled", "chi_square_99", "pooled"]

STATED_DOF: Final = 3.0
"""Degrees of freedom of a stated noise, chosen by the simulation above.

By JCGM 100:2008, G.4.2 it says that the statement is itself uncertain by about 40 %.
"""

FEW: Final = 3
"""Least degrees of freedom from which residuals may speak against the stated noise."""

Z_99: Final = 2.326347874
"""99 % point of the normal distribution."""


@dataclass(frozen=True, slots=True)
class Pooled:
    """Scale of the noise.

    Attributes
    ----------
    scale : float
        Factor on the stated standard uncertainties, at least 1.
    k95 : float
        Coverage factor for 95 % on top of it.
    dof : float
        Effective degrees of freedom; infinite where the stated noise alone counts.
    noise_ratio : float
        Residuals over stated noise where they are clearly larger (99 %), else 1.
    """

    scale: float
    k95: float
    dof: float
    noise_ratio: float


def pooled(chi_square: float, dof: int) -> Pooled:
    """Return the scale that stated noise and residuals give together.

    Parameters
    ----------
    chi_square : float
        Sum of squared weighted residuals.
    dof : int
        Its degrees of freedom.
    """
    normal = coverage_factor(math.inf)
    if dof <= 0:
        return Pooled(1.0, normal, math.inf, 1.0)
    scale = math.sqrt((STATED_DOF + chi_square) / (STATED_DOF + dof))
    # Shares of the variance, as standard uncertainties: the stated part is taken as certain.
    parts = [math.sqrt(STATED_DOF), math.sqrt(chi_square)]
    freedom = effective_dof(parts, [math.inf, float(dof)])
    expanded = coverage_factor(freedom) * scale
    ratio = 1.0
    if dof >= FEW and chi_square > chi_square_99(dof):
        ratio = math.sqrt(chi_square / dof)
    if expanded <= normal:
        return Pooled(1.0, normal, math.inf, ratio)
    return Pooled(max(scale, 1.0), expanded / max(scale, 1.0), freedom, ratio)


def chi_square_99(dof: int) -> float:
    """Return the 99 % point of chi-square (Wilson and Hilferty's approximation, within 1 %)."""
    part = 2.0 / (9.0 * dof)
    return float(dof * (1.0 - part + Z_99 * math.sqrt(part)) ** 3)
