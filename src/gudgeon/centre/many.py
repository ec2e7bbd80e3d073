"""Tables of many readings: those that fit worst as they are, all others as what they tell."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from gudgeon.centre.fit import LineFit
from gudgeon.centre.readings import Model, Reading
from gudgeon.centre.weighing import Known, whitening

__all__ = ["MANY", "most_telling"]

MANY: Final = 80
"""Readings among which bad ones are looked for; effort grows with the third power."""


def most_telling(fit: LineFit) -> tuple[tuple[Reading, ...], tuple[Known, ...]]:
    """Return the readings to look at, in order, and what all others say.

    All of them up to `MANY`; else those off by most standard uncertainties, with at least one of
    each feature and of each shared zero.

    Notes
    -----
    With J and r weighted derivatives and residuals of the others at the solution v, J = Q R: their
    part of chi-square is |R (w - v) + Q' r|^2 + |r|^2 - |Q' r|^2 for parameters w near v.  The
    last two terms go into rows that hang on no parameter, so that degrees of freedom and
    chi-square stay those of all readings.
    """
    readings = fit.used
    if len(readings) <= MANY:
        return readings, ()
    off = np.zeros(len(readings))
    np.maximum.at(off, list(fit.residual_rows), np.abs(np.nan_to_num(fit.weighted)))
    chosen: set[int] = set()
    met: set[str] = set()
    for i, reading in enumerate(readings):
        marks = {f"feature {reading.feature}", f"zero {reading.zero}"}
        if not marks <= met:
            met |= marks
            chosen.add(i)
    for i in np.argsort(-off, kind="stable"):
        if len(chosen) >= MANY:
            break
        chosen.add(int(i))
    # One positioning may be read in both parts; what they then share is left out of account.
    others = tuple(reading for i, reading in enumerate(readings) if i not in chosen)
    if not others:
        return readings, ()
    model = Model(fit.frame, others, fit.optional)
    values = fit.values[[fit.parameters.index(name) for name in model.parameters]]
    weights = whitening(model, values, fit.index_u_rad)
    r = weights @ np.asarray(model.residuals(values), dtype=np.float64)
    q, upper = np.linalg.qr(weights @ model.derivatives(values))
    told = q.T @ r
    known = [
        Known(
            dict(zip(model.parameters, (float(w) for w in row), strict=True)),
            float(row @ values - told[i]),
            1.0,
        )
        for i, row in enumerate(upper)
    ]
    left, spare = float(r @ r - told @ told), len(r) - len(upper)
    if spare > 0:
        size = math.sqrt(max(left, 0.0) / spare)
        known += [Known({}, size, 1.0)] * spare
    return tuple(readings[i] for i in sorted(chosen)), tuple(known)
