"""Which readings are bad, why, and what they would have been."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.evidence import Bank, misfit, priors_of
from gudgeon.centre.fit import Known, LineFit, chi_square_99, fit_lines
from gudgeon.centre.groups import Groups
from gudgeon.centre.many import most_telling
from gudgeon.centre.mistakes import Correction, corrections, differ
from gudgeon.centre.readings import Model, Reading
from gudgeon.centre.removal import BAD_READING, Explanation, Removal
from gudgeon.centre.suspect import Cause, Suspect
from gudgeon.centre.usable import impossible, needed, upright, usable

__all__ = ["Cause", "Suspect", "find_suspects"]

Floats = NDArray[np.float64]

FOUND: Final = 6.0
"""By how much (-2 ln of the odds) bad readings must explain the misfit better than chance: 20:1."""

NAMED: Final = 2.0
"""By how much a correction must do better than "reason unknown"; its chance is in it already."""

APART: Final = 6.0
"""Explanations that are less apart than this are told side by side: 20:1."""

CONSIDERED: Final = 8
"""Explanations for which reasons are looked for."""

SET_ASIDE: Final = 25.0
"""Chi-square up to which a correction of a reading that was set aside is told: five sigma."""

TELLING: Final = 3.0
"""A step of so many standard uncertainties shows in a reading."""

ROUNDS: Final = 3
"""Times that the model is made linear anew."""


def find_suspects(
    fit: LineFit,
    known: Mapping[str, Known] | None = None,
    *,
    extra: Mapping[str, float] = MappingProxyType({}),
    inch: bool = False,
) -> tuple[Suspect, ...]:
    """Return the readings that are bad, each with the reason if there is one.

    None, though the fit is `suspicious`: nothing that could be undone or left out explains it.

    Parameters
    ----------
    fit : LineFit
    known, extra : mapping, optional
        What the fit was given.
    inch : bool
        Whether the display shows inches, for the digits.

    Notes
    -----
    Rows are left out singly, in pairs and in threes, more by growing the best; positionings may
    have stopped wrong and the unit may have moved between two rows (`Removal`).  For every set that
    explains the readings, each catalogue entry is tried on each bad row and put beside "off by any
    amount".  A reading that nothing else checks is never called bad, and never called good either.
    Of a table of many readings those that fit worst are looked at one by one (`most_telling`);
    groups that were treated wrongly alike are looked for among all.
    """
    if not fit.free or fit.dof < 1:
        return ()

    def studied(anew: LineFit) -> _Study:
        priors = priors_of(anew, known or {}, extra)
        looked_at, others = most_telling(anew)
        return _Study(anew, looked_at, (*priors, *others), inch, (anew.used, priors))

    def corrected(readings: tuple[Reading, ...]) -> _Study:
        return studied(
            fit_lines(fit.frame, readings, known, extra=extra, index_u_rad=fit.index_u_rad)
        )

    study = studied(fit)
    found = study.suspects(corrected)
    return (*found, *study.set_aside(fit.set_aside))


@dataclass(frozen=True, slots=True)
class _Named:
    """An explanation with the reasons of its readings, and its score with them."""

    explanation: Explanation
    rows: frozenset[int]
    score: float
    causes: Mapping[int, tuple[tuple[float, Correction], ...]]
    unknown: Mapping[int, float]


class _Study:
    """Search among one set of readings."""

    def __init__(
        self,
        fit: LineFit,
        readings: tuple[Reading, ...],
        priors: tuple[Known, ...],
        inch: bool,
        whole: tuple[tuple[Reading, ...], tuple[Known, ...]],
    ) -> None:
        self.fit, self.readings, self.priors, self.inch = fit, readings, priors, inch
        self.whole = whole
        self.optional = tuple(name for name in fit.parameters if name in OPTIONAL)
        self.catalogue: dict[int, tuple[Correction, ...]] = {}
        self.values = upright(fit)
        self.gone = frozenset(impossible(fit, readings))
        self.removal, self.ranked = self._settle()

    def _settle(self) -> tuple[Removal, list[Explanation]]:
        """Make the model linear where the best explanation puts the lines, and search again."""
        before: frozenset[int] | None = None
        while True:
            for _ in range(ROUNDS):
                removal = Removal(
                    Bank(self.fit, self.readings, self.values, self.priors), self.gone
                )
                ranked = removal.search()
                self.values = removal.solution(ranked[0])[1]
                rows = removal.rows(ranked[0])
                if rows == before:
                    break
                before = rows
            return removal, ranked

    def suspects(
        self, corrected: Callable[[tuple[Reading, ...]], _Study] | None = None
    ) -> tuple[Suspect, ...]:
        """Return what is bad among the readings.

        Parameters
        ----------
        corrected : callable, optional
            Returns the study of all readings with a group of them corrected; without it no groups
            are tried.
        """
        nothing = self.removal.nothing
        best = self.ranked[0]
        odd = nothing.score - best.score > FOUND
        if not odd and not self.gone:
            return ()
        named = self._named() if odd else [self._name(nothing)]
        plain = len(named[0].rows) == 1 and named[0].causes and self._settled(named[0])
        if odd and corrected is not None and not plain:
            # All readings: a group may be larger than what is looked at one by one.
            readings, priors = self.whole
            gone = frozenset(impossible(self.fit, readings))
            group = Groups(self.fit, readings, priors, gone).best(named[0].score)
            if group is not None and group[0] < named[0].score:
                _, rows, correction = group
                changed = list(readings)
                for row, reading in zip(rows, correction.readings, strict=True):
                    changed[row] = reading
                rest = corrected(tuple(changed))
                old = tuple(readings[row] for row in rows)
                off = self._furthest(old, rest.values)
                margin = 0.5 * (named[0].score - group[0])
                whole = Suspect(old[0], off, correction.reason, old, correction.readings, margin)
                return (whole, *rest.suspects())
        first = named[0]
        close = [
            item
            for item in named
            if item is first
            or (
                item.score - first.score < APART
                and self._single(item)
                and not any(other.rows < item.rows for other in named if other.score <= item.score)
            )
        ]
        sure = frozenset.intersection(*(item.rows for item in close)) if close else frozenset()
        found: list[Suspect] = []
        told: set[tuple[int, ...]] = set()
        for item in close:
            later = [other.score for other in named if other.rows != item.rows]
            margin = 0.5 * (min(later, default=nothing.score) - first.score)
            for suspect, rows in self._told(item, margin):
                if rows not in told:
                    told.add(rows)
                    unsure = suspect.either or not sure.issuperset(rows)
                    found.append(replace(suspect, either=unsure))
        return tuple(found)

    def _furthest(self, readings: tuple[Reading, ...], values: Floats) -> float:
        """Return by how much that one of some readings is off that lies furthest from the lines."""
        model = self.removal.bank.model_of(readings)
        off = np.asarray(model.residuals(values), dtype=np.float64)
        here = [k for k, row in enumerate(model.residual_rows) if row < len(readings)]
        return float(max((off[k] for k in here), key=abs))

    def _settled(self, item: _Named) -> bool:
        """Whether an explanation leaves no more misfit than the stated noise may make."""
        freedom = self.removal.dof - item.explanation.freedom
        return freedom > 0 and item.explanation.chi_square <= chi_square_99(freedom)

    def _single(self, item: _Named) -> bool:
        """Whether an explanation is about readings one by one: the plainer kind is told first."""
        return all(self.removal.elements[i].kind == "reading" for i in item.explanation.chosen)

    # --- single readings --------------------------------------------------------------------------

    def _named(self) -> list[_Named]:
        """Look for reasons for the rows of the better explanations, best first."""
        best: dict[frozenset[int], Explanation] = {}
        for item in self.ranked:
            if item.score - self.ranked[0].score < 4.0 * APART and item.chosen:
                best.setdefault(self.removal.rows(item), item)
        found = [self._name(item) for item in list(best.values())[:CONSIDERED]]
        found.sort(key=lambda item: item.score)
        return found

    def _name(self, item: Explanation) -> _Named:
        removal = self.removal
        chosen = [(i, removal.elements[i]) for i in item.chosen]
        rows = {e.rows[0]: i for i, e in chosen if e.kind == "reading"}
        rows |= {row: -1 for row in self.gone}
        _, values, covariance = removal.solution(item)
        score = item.score
        causes: dict[int, tuple[tuple[float, Correction], ...]] = {}
        unknown: dict[int, float] = {}
        for row, at in rows.items():
            others = frozenset(r for r in rows if r != row)
            rest = replace(item, chosen=tuple(i for i in item.chosen if i != at))
            chi_square, values, covariance = removal.without(others | {row}, rest)
            kept = removal.tried([rest.chosen]) if rest.chosen else []
            price = kept[0].price if kept else 0.0
            freedom = kept[0].freedom if kept else 0
            tried = self._corrected(row, values, covariance, chi_square)
            scored = []
            for left, correction in tried:
                full = float(misfit(left, max(removal.dof - freedom, 0)))
                total = full + price - 2.0 * math.log(BAD_READING) + correction.cost
                scored.append((total, correction))
            scored.sort(key=lambda pair: pair[0])
            # Without a reason: as left out, at the price of being off by any amount.
            alone = item.score if at >= 0 else item.score + 4.0 * APART
            if scored and scored[0][0] < alone - NAMED:
                causes[row] = tuple(scored)
                score += scored[0][0] - alone
            unknown[row] = alone
        everything = frozenset(rows) | removal.rows(item)
        return _Named(item, everything, score, causes, unknown)

    def _corrected(
        self, row: int, values: Floats, covariance: Floats, chi_square: float
    ) -> list[tuple[float, Correction]]:
        """Return chi-square with each correction of a row that could be so, the others' given."""
        reading = self.readings[row]
        if row not in self.catalogue:
            entries = self._catalogue(reading, row)
            model = self.removal.bank.model_of(tuple(item.readings[0] for item in entries))
            good = usable(model, upright(self.fit))
            self.catalogue[row] = tuple(
                item for item, fits in zip(entries, good, strict=False) if fits
            )
        tried = self.catalogue[row]
        if not tried:
            return []
        # A reading that was set aside stands last, and says nothing as it stands.
        start = min(len(self.readings), len(self.removal.bank.readings))
        changed = tuple(item.readings[0] for item in tried)
        bank = Bank(self.fit, self.readings[:start], values, (), changed)
        found: list[tuple[float, Correction]] = []
        sizes = {len(at) for at in bank.at[start:]}
        # A correction that would make the reading say less is worth less: spread of the reading
        # as it stands, against which that of each correction counts.
        plain = math.inf
        if row < start:
            own = self._spread(bank, np.array([bank.at[row]]), covariance)
            plain = float(np.linalg.slogdet(own)[1][0])
        for size in sizes:
            picks = [k for k in range(len(tried)) if len(bank.at[start + k]) == size]
            at = np.array([bank.at[start + k] for k in picks])
            spread = self._spread(bank, at, covariance)
            vague = np.maximum(np.linalg.slogdet(spread)[1] - plain, 0.0)
            off = bank.residuals[at]
            more = np.sum(off * np.linalg.solve(spread, off[:, :, None])[:, :, 0], axis=1)
            found += [
                (
                    chi_square + float(more[n]),
                    replace(tried[k], cost=tried[k].cost + float(vague[n])),
                )
                for n, k in enumerate(picks)
                if more[n] < 50.0 * size
            ]
        return found

    def _spread(self, bank: Bank, at: NDArray[np.intp], covariance: Floats) -> Floats:
        """Return the covariance with which each reading is foreseen, shape (m, k, k)."""
        rows = bank.slopes[at]
        turns = bank.turns[at] * np.asarray(self.fit.index_u_rad)
        spread = rows @ covariance @ rows.transpose(0, 2, 1) + turns @ turns.transpose(0, 2, 1)
        own = np.arange(at.shape[1])
        spread[:, own, own] += bank.u[at] ** 2
        return np.asarray(spread)

    def _catalogue(self, reading: Reading, row: int) -> tuple[Correction, ...]:
        """Return the corrections of a reading; its neighbours are those of its line."""
        others = [item for k, item in enumerate(self.readings) if k != row]
        near = tuple(sorted(others, key=lambda item: abs(item.row - reading.row))[:2])
        features = {item.feature for item in self.readings}
        return corrections(reading, near, features, self.inch)

    def _off(
        self, row: int, values: Floats, explanation: Explanation | None = None
    ) -> tuple[float, float]:
        """Return by how much a reading is off at given parameters: length, and in units of u.

        What an explanation says of several rows together is taken off.
        """
        bank = self.removal.bank
        at = bank.at[row]
        off = bank.residuals[at] + bank.slopes[at] @ (values - bank.values)
        for i in explanation.chosen if explanation else ():
            element = self.removal.elements[i]
            if explanation and element.kind != "reading" and row in element.rows:
                for column in self.removal.columns_of(i):
                    size = self.removal.size(explanation, column)
                    off = off - size * self.removal.columns[at, column]
        worst = int(np.argmax(np.abs(off / bank.u[at])))
        return float(off[worst]), float(off[worst] / bank.u[at][worst])

    def _told(self, item: _Named, margin: float) -> list[tuple[Suspect, tuple[int, ...]]]:
        """Return the suspects of one explanation."""
        removal = self.removal
        _, values, _ = removal.solution(item.explanation)
        found: list[tuple[Suspect, tuple[int, ...]]] = []
        done: set[tuple[int, ...]] = set()
        elements = [removal.elements[i] for i in item.explanation.chosen]
        singles = {e.rows[0] for e in elements if e.kind == "reading"} | self.gone
        for row in sorted(singles):
            off = self._off(row, values, item.explanation)[0]
            reading = self.readings[row]
            scored = item.causes.get(row, ())
            if not scored:
                found.append((Suspect(reading, off, "", (reading,), (), margin), (row,)))
                continue
            first = scored[0][1]
            also = [
                Cause(other.reason, other.readings)
                for score, other in scored[1:]
                if score - scored[0][0] < APART
                and item.unknown[row] - score > NAMED
                and not _alike(other, first)
            ]
            second = min(
                [s for s, other in scored[1:] if not _alike(other, first)] + [item.unknown[row]]
            )
            sure = min(margin, 0.5 * (second - scored[0][0]))
            found.append(
                (
                    Suspect(
                        reading,
                        off,
                        first.reason,
                        (reading,),
                        first.readings,
                        sure,
                        False,
                        tuple(also),
                    ),
                    (row,),
                )
            )
        for element in elements:
            if element.kind == "reading" or element.rows in done:
                continue
            done.add(element.rows)
            rows = element.rows
            readings = tuple(self.readings[row] for row in rows)
            off = max((self._off(row, values) for row in rows), key=lambda pair: abs(pair[1]))[0]
            suspect = Suspect(readings[0], off, element.kind, readings, (), margin)
            halves = self._witnesses(item.explanation, rows) if element.kind == "moved" else None
            if halves is not None:
                after, before = halves
                suspect = Suspect(
                    readings[0],
                    off,
                    "halves",
                    tuple(self.readings[row] for row in after),
                    (),
                    margin,
                    True,
                    (Cause("moved", ()),),
                    tuple(self.readings[row] for row in before),
                    self._telling(after, values),
                )
            elif element.kind == "moved":
                against = tuple(r for k, r in enumerate(self.readings) if k not in rows)
                suspect = replace(suspect, against=against, retake=self._telling(rows, values))
            elif element.kind == "halves":
                against = tuple(
                    r
                    for k, r in enumerate(self.readings)
                    if k not in rows and (r.feature, r.toward) == _class(readings[0])
                )
                suspect = replace(
                    suspect,
                    against=against,
                    retake=self._telling(rows, values),
                    either=len(against) - len(rows) < 2,
                )
            elif element.kind in ("tilt", "rotary"):
                turn = self._turn(item.explanation, element.columns)
                name = f"{element.kind}_rad"
                suspect = replace(
                    suspect,
                    off_rad=turn,
                    corrected=tuple(
                        replace(r, **{name: getattr(r, name) + turn}) for r in readings
                    ),
                )
            found.append((suspect, rows))
        return found

    def _witnesses(
        self, item: Explanation, later: tuple[int, ...]
    ) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
        """Return the rows that tell of a step, after it and before it, where nothing decides.

        ``None`` where rows of several kinds tell of it, or more on one side, or where the days
        noted beside them part them too: then the order in time speaks for a unit that moved.
        """
        bank, removal = self.removal.bank, self.removal
        at = [k for row in later for k in bank.at[row]]
        steps = [i for i in item.chosen if removal.elements[i].kind == "moved"]
        steps = [i for i in steps if removal.elements[i].rows == later]
        columns = [c for i in steps for c in removal.columns_of(i)]
        sizes = np.array([removal.size(item, c) for c in columns])
        shifts = bank.shifts()
        step = np.linalg.lstsq(shifts[at], removal.columns[np.ix_(at, columns)] @ sizes)[0]
        shown = np.abs(shifts @ step) / bank.u[: len(shifts)]
        told = [
            row
            for row in range(len(self.readings))
            if row not in self.gone and any(shown[k] > TELLING for k in bank.at[row])
        ]
        after = tuple(row for row in told if row in later)
        before = tuple(row for row in told if row not in later)
        days = [{self.readings[row].day for row in part} for part in (before, after)]
        dated = not any("" in part for part in days) and max(days[0], default="") < min(
            days[1], default=""
        )
        kinds = {_class(self.readings[row]) for row in told}
        if len(kinds) != 1 or abs(len(after) - len(before)) > 1 or dated:
            return None
        return after, before

    def _turn(self, explanation: Explanation, columns: tuple[int, ...]) -> float:
        """Return by how far an axis really stood beyond what was programmed [rad]."""
        return -float(self.removal.size(explanation, columns[0]))

    def _telling(self, rows: Iterable[int], values: Floats) -> Reading:
        """Return the row that lies furthest from where the others put it, in units of u."""
        return self.readings[max(rows, key=lambda row: abs(self._off(row, values)[1]))]

    # --- several rows together --------------------------------------------------------------------

    def set_aside(self, readings: tuple[Reading, ...]) -> tuple[Suspect, ...]:
        """Return those readings that could not be used as they stand, but with a correction."""
        found = []
        values = self.values
        bank = Bank(self.fit, self.readings, values, self.priors)
        _, _, _, covariance = bank.solve(
            [k for k in bank.base if bank.model.residual_rows[k] not in self.gone]
        )
        for reading in readings:
            extended = self._with(reading)
            if extended is None:
                continue
            scored = extended._corrected(len(self.readings), values, covariance, 0.0)
            best = sorted(((left + c.cost, c) for left, c in scored), key=lambda pair: pair[0])
            best = [pair for pair in best if pair[0] - pair[1].cost < SET_ASIDE]
            if not best:
                continue
            first = best[0][1]
            also = tuple(
                Cause(c.reason, c.readings)
                for score, c in best[1:]
                if score - best[0][0] < APART and not _alike(c, first)
            )
            later = [s for s, c in best[1:] if not _alike(c, first)]
            margin = 0.5 * (min(later, default=best[0][0] + 4.0 * APART) - best[0][0])
            found.append(
                Suspect(
                    reading, math.nan, first.reason, (reading,), first.readings, margin, False, also
                )
            )
        return tuple(found)

    def _with(self, reading: Reading) -> _Study | None:
        """Return the study with one more row, its search not done; ``None`` for a new feature."""
        more = object.__new__(_Study)
        more.catalogue = {}
        more.fit, more.priors, more.inch = self.fit, self.priors, self.inch
        more.readings = (*self.readings, reading)
        more.values, more.gone, more.optional = self.values, self.gone, self.optional
        more.removal = self.removal
        model = Model(self.fit.frame, more.readings, self.optional)
        known = set(self.fit.parameters)
        return more if known.issuperset(model.parameters) else None


def _class(reading: Reading) -> tuple[object, ...]:
    return reading.feature, reading.toward


def _alike(one: Correction, other: Correction) -> bool:
    """Whether two corrections of a reading are the same, or the same where it counts."""
    a, b = one.readings[0], other.readings[0]
    if not differ(a, b):
        return True
    places = zip(needed(a), needed(b), strict=True)
    return (
        one.reason == other.reason
        and a.toward == b.toward
        and not differ(replace(a, position_mm=b.position_mm), b)
        and len(needed(a)) > 0
        and all(abs(x - y) < 1e-6 for x, y in places)
    )
