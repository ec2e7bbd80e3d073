"""Which reading does not fit the others, and by how much it lies off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from gudgeon.centre.fit import Known, LineFit, chi_square_99, fit_lines
from gudgeon.centre.readings import Model, Reading

__all__ = ["Suspect", "find_suspects"]

NEAR: Final = 4.0
"""A reading lies off by a known length if it does so within so many standard uncertainties."""

WORST_FEW: Final = 4
"""Readings that are left out one by one where a reading is off by far."""

SLIPS_MM: Final = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 0.254, 2.54, 25.4)
"""What one wrong digit on a display or in a notebook makes, in mm and in inches."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A reading without which all the others agree.

    Attributes
    ----------
    reading : Reading
    off_mm : float
        Measured less what the others predict, along the counting coordinate.
    reason : str
        ``"radius"`` (off by one or two stylus radii), ``"digit"`` (off by a round length), or
        ``""``.
    """

    reading: Reading
    off_mm: float
    reason: str


def find_suspects(fit: LineFit, known: Mapping[str, Known] | None = None) -> tuple[Suspect, ...]:
    """Return every reading whose removal alone would bring the rest within the stated noise.

    More than one: the readings cannot say which is wrong.  None, though the fit is `suspicious`:
    no single reading explains it.

    Parameters
    ----------
    fit : LineFit
    known : mapping, optional
        Entries that the fit was given.

    Notes
    -----
    For a linear fit, leaving out one reading lowers chi-square by the square of its weighted
    residual, and the reading then lies off by residual / (1 - leverage); both are exact to first
    order here.  A reading that is off by far bends the fit beyond that, so where none is found the
    worst few are really left out.
    """
    if not fit.suspicious or fit.dof < 2:
        return ()
    found = []
    for i, reading in enumerate(fit.used):
        at = [k for k, row in enumerate(fit.residual_rows) if row == i]
        weighted = fit.weighted[at]
        if np.any(np.isnan(weighted)):
            continue
        left = fit.chi_square - float(weighted @ weighted)
        dof = fit.dof - len(at)
        if dof < 1 or left > chi_square_99(dof):
            continue
        worst = int(np.argmax(np.abs(weighted)))
        residual = float(fit.residuals_mm[at[worst]])
        remaining = (residual / (reading.u_mm * float(weighted[worst]))) ** 2
        off = residual / remaining
        near = NEAR * reading.u_mm / math.sqrt(remaining)
        found.append(Suspect(reading, off, _reason(abs(off), near, reading.radius_mm)))
    found = found or _left_out(fit, known)
    found.sort(key=lambda item: -abs(item.off_mm) / item.reading.u_mm)
    return tuple(found)


def _left_out(fit: LineFit, known: Mapping[str, Known] | None) -> list[Suspect]:
    """Fit again without each of the worst readings."""
    found = []
    order = np.argsort(-np.abs(np.nan_to_num(fit.weighted)))
    worst = list(dict.fromkeys(fit.residual_rows[int(k)] for k in order))[:WORST_FEW]
    for i in worst:
        reading = fit.used[i]
        without = fit_lines(fit.frame, (*fit.used[:i], *fit.used[i + 1 :]), known)
        if without.dof < 1 or without.chi_square > chi_square_99(without.dof):
            continue
        model = Model(fit.frame, (*without.used, reading))
        if model.parameters != without.parameters or without.undetermined:
            continue
        last = model.residuals(without.values)[
            [r == len(without.used) for r in model.residual_rows]
        ]
        off = float(last[int(np.argmax(np.abs(last)))])
        near = NEAR * 2.0 * reading.u_mm
        found.append(Suspect(reading, off, _reason(abs(off), near, reading.radius_mm)))
    return found


def _reason(off: float, near: float, radius: float) -> str:
    if radius > 0.0 and min(abs(off - radius), abs(off - 2.0 * radius)) <= near < 0.25 * radius:
        return "radius"
    if any(abs(off - slip) <= near < 0.25 * slip for slip in SLIPS_MM):
        return "digit"
    return ""
