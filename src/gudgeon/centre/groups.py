"""Rows that were all treated wrongly alike: a feature, an approach, a sweep, a positioning."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.evidence import Bank, misfit
from gudgeon.centre.fit import Known, LineFit
from gudgeon.centre.mistakes import Correction, of_a_group, of_a_seat
from gudgeon.centre.readings import Reading
from gudgeon.centre.removal import BAD_SEAT, Removal
from gudgeon.centre.usable import upright, usable

__all__ = ["Groups"]

Floats = NDArray[np.float64]

BAD_GROUP: Final = 0.005
"""Chance that a whole group of rows was treated wrongly alike."""


class Groups:
    """Groups of rows of a set, and what may have been done wrongly to each.

    Parameters
    ----------
    fit : LineFit
    readings : tuple of Reading
    priors : tuple of Known
    removal : Removal
        Of the same readings.
    """

    def __init__(
        self,
        fit: LineFit,
        readings: tuple[Reading, ...],
        priors: tuple[Known, ...],
        removal: Removal,
    ) -> None:
        self.fit, self.readings, self.priors, self.removal = fit, readings, priors, removal

    def best(self, best: float) -> tuple[float, tuple[int, ...], Correction] | None:
        """Return the best correction of rows that were all treated wrongly alike."""
        removal = self.removal
        found: tuple[float, tuple[int, ...], Correction] | None = None
        for rows, chance, tried in self._groups():
            whole = len(rows) == len(self.readings)
            if not whole:
                # What is left without them bounds what any correction of them can reach.
                left, values, _ = removal.without(frozenset(rows) | removal.gone, removal.nothing)
            else:
                left, values = 0.0, upright(self.fit)
            for correction in tried:
                price = -2.0 * math.log(chance) + correction.cost
                limit = found[0] if found else best
                if float(misfit(left, removal.dof)) + price >= limit:
                    continue
                score = price + self._refitted(rows, correction, values)
                if score < limit:
                    found = (score, rows, correction)
        return found

    def _refitted(self, rows: tuple[int, ...], correction: Correction, values: Floats) -> float:
        """Return the misfit with some rows corrected and the model made linear anew."""
        changed = list(self.readings)
        for row, reading in zip(rows, correction.readings, strict=True):
            changed[row] = reading
        good = usable(self.removal.bank.model_of(tuple(changed)), upright(self.fit))
        if not all(good[row] for row in rows):
            return math.inf
        left, dof = math.inf, 0
        for _ in range(2):
            bank = Bank(self.fit, tuple(changed), values, self.priors)
            left, dof, change, _ = bank.solve(bank.base)
            values = values + change
        return float(misfit(left, dof))

    def _groups(self) -> list[tuple[tuple[int, ...], float, tuple[Correction, ...]]]:
        """Return groups of rows, the chance that one is treated wrongly, and what undoes it."""
        found = []
        by: dict[tuple[str, object], list[int]] = {}
        for row, reading in enumerate(self.readings):
            by.setdefault(("all", ""), []).append(row)
            by.setdefault(("feature", reading.feature), []).append(row)
            by.setdefault(("toward", (reading.feature, reading.toward)), []).append(row)
            if reading.toward is not None:
                way = tuple(abs(c) for c in reading.toward)
                by.setdefault(("axis", (reading.feature, way)), []).append(row)
            if reading.zero:
                by.setdefault(("zero", reading.zero), []).append(row)
            if reading.seat >= 0:
                by.setdefault(("seat", reading.seat), []).append(row)
        seen: set[tuple[int, ...]] = set()
        for (kind, _), members in by.items():
            rows = tuple(members)
            if len(rows) < 2:
                continue
            readings = tuple(self.readings[row] for row in rows)
            if kind == "seat":
                near = tuple(
                    self.readings[k]
                    for k in (rows[0] - 1, rows[-1] + 1)
                    if 0 <= k < len(self.readings)
                )
                found.append((rows, 4.0 * BAD_SEAT, of_a_seat(readings, near)))
            elif rows not in seen:
                seen.add(rows)
                found.append((rows, BAD_GROUP, of_a_group(readings, kind == "zero")))
        return found
