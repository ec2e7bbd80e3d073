"""How many of the unknowns that matter a fit has fixed.

What matters are the lines, the slopes of the face and the place of each bore or pin: 13 for two
axes and one bore.  Radii, shared zeros, balls and the optional errors only serve the readings.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.fit import LineFit
from gudgeon.centre.freeing import only_serves

__all__ = ["fixed_unknowns", "unknowns"]

OWN_SHARE: Final = 0.1
"""A combination of weak places with less than this share of one of their variances is fixed."""


def unknowns(fit: LineFit) -> tuple[str, ...]:
    """Return the parameters that matter, in the order of the fit."""
    return tuple(n for n in fit.parameters if not only_serves(n) and n not in OPTIONAL)


def fixed_unknowns(fit: LineFit) -> int:
    """Return how many of `unknowns` the readings fix, with the entries that the fit used.

    Places that the readings show only together with each other count as far as they can be told
    apart: of a tilt line and a face that only go up together, one is not fixed.
    """
    names = unknowns(fit)
    held = {item.name for item in fit.held if item.name in names}
    lost = {item.name for item in fit.undetermined if item.name not in fit.free}
    left = len(names) - len(held | lost)
    weak = [
        fit.parameters.index(item.name)
        for item in fit.undetermined
        if item.reason == "weak" and item.name in fit.free
    ]
    if weak:
        covariance = fit.covariance[np.ix_(weak, weak)]
        u = np.sqrt(np.diag(covariance))
        shares = np.linalg.eigvalsh(covariance / np.outer(u, u))
        left -= int(np.sum(shares > OWN_SHARE))
    return left
