"""Rows that were all treated wrongly alike: a feature, an approach, a sweep, a positioning."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.evidence import Bank, misfit
from gudgeon.centre.fit import Known, LineFit
from gudgeon.centre.freeing import starting_values
from gudgeon.centre.mistakes import Correction, of_a_group, of_a_seat
from gudgeon.centre.readings import Reading
from gudgeon.centre.removal import BAD_SEAT
from gudgeon.centre.usable import upright, usable

__all__ = ["Groups"]

Floats = NDArray[np.float64]

BAD_GROUP: Final = 0.005
"""Chance that a whole group of rows was treated wrongly alike."""

ROUNDS: Final = 8
"""Times that the model is made linear anew, at most: far from the lines each halves what is left,
or more."""

SETTLED: Final = 0.5
"""Share of what was left before from which on it goes no further."""


class Groups:
    """Groups of rows of a set, and what may have been done wrongly to each.

    Parameters
    ----------
    fit : LineFit
    readings : tuple of Reading
    priors : tuple of Known
    gone : frozenset of int
        Readings that cannot be right and are left out.
    """

    def __init__(
        self,
        fit: LineFit,
        readings: tuple[Reading, ...],
        priors: tuple[Known, ...],
        gone: frozenset[int],
    ) -> None:
        self.fit, self.readings, self.priors, self.gone = fit, readings, priors, gone
        self.bank = Bank(fit, readings, upright(fit), priors)
        residual_rows = self.bank.model.residual_rows
        kept = [k for k in self.bank.base if residual_rows[k] not in gone]
        self.dof = self.bank.solve(kept)[1]

    def best(self, best: float) -> tuple[float, tuple[int, ...], Correction] | None:
        """Return the best correction of rows that were all treated wrongly alike."""
        found: tuple[float, tuple[int, ...], Correction] | None = None
        for rows, chance, tried in self._groups():
            # What is left without them bounds what any correction of them can reach.
            whole = len(rows) == len(self.readings)
            left = 0.0 if whole else self._without(frozenset(rows) | self.gone)
            for correction in tried:
                price = -2.0 * math.log(chance) + correction.cost
                limit = found[0] if found else best
                if float(misfit(left, self.dof)) + price >= limit:
                    continue
                score = price + self._refitted(rows, correction)
                if score < limit:
                    found = (score, rows, correction)
        return found

    def _refitted(self, rows: tuple[int, ...], correction: Correction) -> float:
        """Return the misfit with some rows corrected and the model made linear anew."""
        changed = list(self.readings)
        for row, reading in zip(rows, correction.readings, strict=True):
            changed[row] = reading
        good = usable(self.bank.model_of(tuple(changed)), upright(self.fit))
        if not all(good[row] for row in rows):
            return math.inf
        # Not from the fit: rows that are metres off have taken it anywhere.
        values = starting_values(self.bank.model_of(tuple(changed)), {})
        left, dof = math.inf, 0
        for _ in range(ROUNDS):
            bank = Bank(self.fit, tuple(changed), values, self.priors)
            before = left
            left, dof, change, _ = bank.solve(bank.base)
            values = values + change
            if left > SETTLED * before:
                break
        return float(misfit(left, dof))

    def _without(self, rows: frozenset[int]) -> float:
        """Return chi-square without some rows, the model made linear anew."""
        values, left = starting_values(self.bank.model, {}), math.inf
        for _ in range(ROUNDS):
            bank = Bank(self.fit, self.readings, values, self.priors)
            chosen = [k for k in bank.base if bank.model.residual_rows[k] not in rows]
            before = left
            left, _, change, _ = bank.solve(chosen)
            values = values + change
            if left > SETTLED * before:
                break
        return left

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
                single: tuple[int, ...] = (0, 1, 2) if kind == "all" else ()
                if kind == "axis" and readings[0].toward is not None:
                    single = (int(np.argmax(np.abs(readings[0].toward))),)
                found.append((rows, BAD_GROUP, of_a_group(readings, kind == "zero", single)))
        return found
