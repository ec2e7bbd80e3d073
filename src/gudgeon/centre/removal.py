"""Which rows, left out or let free to shift together, bring all others to agreement.

Every *element* is something that may have gone wrong, as columns of effects on the residuals: one
coordinate of a reading, all of a reading, the stop of an axis at one positioning, a shift of the
unit during one positioning or from one row on, rows that lie apart from others of their kind.
Singles and the best pairs are tried, larger sets by growing the best ones; a set is scored by what
is left of the misfit plus the price of its freedom (the marginal likelihood with a scale-free prior
of how far a bad reading is
off), so that a set of any size is compared with any other and with none.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.evidence import Bank, misfit
from gudgeon.centre.fit import chi_square_99
from gudgeon.centre.mistakes import UNKNOWN

__all__ = ["BAD_READING", "DECADES", "Element", "Explanation", "Removal"]

Floats = NDArray[np.float64]

BAD_READING: Final = 0.01
"""Chance that a reading is bad (common practice, no source)."""

BAD_SEAT: Final = 0.001
"""Chance that a positioning stopped wrong or stood bumped: for each of the ways."""

MOVED: Final = 0.01
"""Chance that the unit was bumped once, somewhere between two rows."""

DECADES: Final = math.log(1e6)
"""How far off a bad reading may be: any size over six decades, each as likely (natural log)."""

MOST_ROWS: Final = 0.5
"""Share of the readings up to which rows may be bad."""

MOST_ELEMENTS: Final = 10
"""Things that may have gone wrong at once; beyond that nothing would be told by naming them."""

TRIPLES_FROM: Final = 12
"""Best pairs from which sets of three are grown."""

PAIRS: Final = 400
"""Pairs of single columns that are looked at more closely."""

WIDE: Final = 8
"""Elements of more columns that are paired with all others."""

DEPENDENT: Final = 1e-6
"""Elements that do the same are not taken together."""


@dataclass(frozen=True, slots=True)
class Element:
    """Something that may have gone wrong.

    Attributes
    ----------
    kind : str
        ``"reading"``, ``"tilt"``, ``"rotary"``, ``"shift"``, ``"moved"`` or ``"halves"``.
    rows : tuple of int
        Readings concerned.
    columns : tuple of int
        Its columns in `Removal.columns`.
    price : float
        -2 ln of its chance.
    """

    kind: str
    rows: tuple[int, ...]
    columns: tuple[int, ...]
    price: float


@dataclass(frozen=True, slots=True)
class Explanation:
    """A set of elements.

    Attributes
    ----------
    chosen : tuple of int
        Indices of elements.
    score : float
        -2 ln of the posterior, up to a constant: lower is better.
    chi_square : float
        Of what is left.
    price : float
        Part of `score` that pays for the elements' freedom and rarity.
    freedom : int
        Columns that it takes.
    """

    chosen: tuple[int, ...]
    score: float
    chi_square: float
    price: float
    freedom: int


class Removal:
    """All elements of a set of readings.

    Parameters
    ----------
    bank : Bank
    gone : frozenset of int
        Readings that cannot be right and are left out from the beginning.
    """

    def __init__(self, bank: Bank, gone: frozenset[int]) -> None:
        self.bank = bank
        self.gone = gone
        count = len(bank.base)
        columns: list[Floats] = list(np.eye(count))
        elements: list[Element] = []
        one = -2.0 * math.log(BAD_READING * UNKNOWN)
        for row in range(len(bank.readings)):
            at = bank.at[row]
            if row in gone:
                continue
            parts = [(k,) for k in at] if len(at) > 1 else []
            elements += [Element("reading", (row,), part, one) for part in [*parts, tuple(at)]]
        seats = self._seats()
        shifts = bank.shifts()

        def add(kind: str, rows: tuple[int, ...], effect: Floats, price: float) -> None:
            here = [k for row in rows if row not in gone for k in bank.at[row]]
            masked = np.zeros_like(effect)
            masked[here] = effect[here]
            start = len(columns)
            columns.extend(masked.T)
            places = tuple(range(start, start + effect.shape[1]))
            elements.append(Element(kind, rows, places, price))

        seat_price = -2.0 * math.log(BAD_SEAT)
        for rows in seats:
            if sum(len(bank.at[row]) for row in rows if row not in gone) < 2:
                continue
            add("tilt", rows, bank.turns[:count, :1], seat_price)
            add("rotary", rows, bank.turns[:count, 1:], seat_price)
            if len(rows) < len(bank.readings):
                for k in range(3):
                    add("shift", rows, shifts[:, k : k + 1], seat_price)
        ends = list(itertools.accumulate(len(rows) for rows in seats))[:-1]
        for end in ends:
            if min(end, len(bank.readings) - end) >= 3:
                rows = tuple(range(end, len(bank.readings)))
                price = -2.0 * math.log(MOVED / len(ends))
                for k in range(3):
                    add("moved", rows, shifts[:, k : k + 1], price)
                add("moved", rows, shifts, price)
        for rows, price in self._clusters():
            if bank.readings[rows[0]].toward is not None:
                add("halves", rows, np.ones((count, 1)), price)
                continue
            for k in range(3):
                add("halves", rows, shifts[:, k : k + 1], price)
            add("halves", rows, shifts, price)
        forced = [k for row in gone for k in bank.at[row]]
        self.columns = np.column_stack(columns)
        gram, products, sizes, _ = bank.projected(self.columns)
        chosen = [k for k in bank.base if bank.model.residual_rows[k] not in gone]
        self.chi_square, self.dof, _, _ = bank.solve(chosen)
        if forced:
            # Without the rows that are gone: partial out their columns.
            part = np.linalg.pinv(gram[np.ix_(forced, forced)], rcond=1e-9)
            products = products - gram[:, forced] @ (part @ products[forced])
            gram = gram - gram[:, forced] @ part @ gram[forced]
        # One more that does nothing, to fill sets up to one width.
        spare = len(sizes)
        self._gram = np.pad(gram, ((0, 1), (0, 1)))
        self._gram[spare, spare] = 1.0
        self._products = np.append(products, 0.0)
        self._spare = spare
        told = np.diag(gram) > DEPENDENT * np.maximum(sizes, 1e-300)
        self.elements = tuple(
            element for element in elements if any(told[list(element.columns)]) and sizes.size
        )
        self.untold = frozenset(
            row
            for row in range(len(bank.readings))
            if row not in gone and not any(told[bank.at[row]])
        )
        self._columns = [tuple(c for c in e.columns if told[c]) for e in self.elements]

    def _seats(self) -> list[tuple[int, ...]]:
        """Part the rows into positionings, in order."""
        seats: list[list[int]] = []
        last: object = None
        for row, reading in enumerate(self.bank.readings):
            own = ("own", row)
            key = reading.seat if reading.seat >= 0 else own
            if not seats or key != last:
                seats.append([])
            seats[-1].append(row)
            last = key
        return [tuple(rows) for rows in seats]

    def _clusters(self) -> list[tuple[tuple[int, ...], float]]:
        """Return rows of one kind that lie together, apart from the others of their kind."""
        kinds: dict[tuple[object, ...], list[int]] = {}
        for row, reading in enumerate(self.bank.readings):
            if row not in self.gone:
                kinds.setdefault((reading.feature, reading.toward), []).append(row)
        chosen = [k for k in self.bank.base if self.bank.model.residual_rows[k] not in self.gone]
        _, _, change, _ = self.bank.solve(chosen)
        found = []
        for rows in kinds.values():
            # Any of the 2^n ways to part them might have been.
            price = -2.0 * math.log(MOVED) + 2.0 * math.log(2.0) * len(rows)
            parts: set[tuple[int, ...]] = set()
            for off in self._offs(rows, change).T:
                order = [rows[k] for k in np.argsort(off, kind="stable")]
                for cut in range(2, len(rows) - 1):
                    part = order[:cut] if 2 * cut <= len(rows) else order[cut:]
                    parts.add(tuple(sorted(part)))
            found += [(part, price) for part in sorted(parts)]
        return found

    def _offs(self, rows: list[int], change: Floats) -> Floats:
        """Return how far rows of one kind lie off, shape (n, k): one column to sort them by each.

        A touch counts along its approach; a centre along each coordinate, and along the direction
        in which the centres lie furthest apart.
        """
        at = self.bank.at
        width = max(len(at[row]) for row in rows)
        off = np.zeros((len(rows), width))
        for i, row in enumerate(rows):
            here = at[row]
            off[i, : len(here)] = self.bank.residuals[here] + self.bank.slopes[here] @ change
        if width == 1:
            return off
        _, _, ways = np.linalg.svd(off - np.mean(off, axis=0), full_matrices=False)
        return np.column_stack([off, off @ ways[0]])

    @property
    def nothing(self) -> Explanation:
        """That all readings are good."""
        score = float(misfit(self.chi_square, self.dof))
        return Explanation((), score, self.chi_square, 0.0, 0)

    def rows(self, explanation: Explanation) -> frozenset[int]:
        """Return the readings that an explanation calls bad."""
        return frozenset(row for i in explanation.chosen for row in self.elements[i].rows)

    def tried(self, sets: list[tuple[int, ...]]) -> list[Explanation]:
        """Return what each set of elements explains; sets that overlap are left out."""
        if not sets:
            return []
        picks = [tuple(c for i in chosen for c in self._columns[i]) for chosen in sets]
        width = max(map(len, picks))
        index = np.array([(*pick, *([self._spare] * (width - len(pick)))) for pick in picks])
        sizes = np.array([len(pick) for pick in picks])
        gram = self._gram[index[:, :, None], index[:, None, :]]
        filled = np.arange(width)[None, :] >= sizes[:, None]
        gram = np.where(filled[:, :, None] | filled[:, None, :], 0.0, gram)
        gram[:, np.arange(width), np.arange(width)] += filled
        products = self._products[index]
        own = np.diagonal(gram, axis1=1, axis2=2)
        signs, logs = np.linalg.slogdet(gram)
        alone = np.sum(np.log(np.maximum(own, 1e-300)), axis=1)
        apart = (signs > 0.0) & (logs - alone > math.log(DEPENDENT))
        safe = np.where(apart[:, None, None], gram, np.eye(width))
        off = np.linalg.solve(safe, products[:, :, None])[:, :, 0]
        left = np.maximum(self.chi_square - np.sum(products * off, axis=1), 0.0)
        # Price of freedom: spread of each column's size over the width of its prior.
        spread = 1.0 / np.sqrt(np.maximum(own, 1e-300))
        density = -np.log(2.0 * DECADES * np.maximum(np.abs(off), spread))
        density = np.where(filled, 0.0, density)
        price = -sizes * math.log(2.0 * math.pi) + logs - 2.0 * np.sum(density, axis=1)
        price = price + np.array([sum(self.elements[i].price for i in one) for one in sets])
        score = misfit(left, np.maximum(self.dof - sizes, 0)) + price
        good = apart & (sizes <= self.dof)
        return [
            Explanation(sets[k], float(score[k]), float(left[k]), float(price[k]), int(sizes[k]))
            for k in np.flatnonzero(good)
        ]

    def search(self, forbidden: frozenset[int] = frozenset()) -> list[Explanation]:
        """Return the better explanations, best first, with that of nothing wrong among them.

        Parameters
        ----------
        forbidden : frozenset of int
            Readings that are to be kept.
        """
        allowed = [
            i for i, item in enumerate(self.elements) if not forbidden.intersection(item.rows)
        ]
        alone = self.tried([(i,) for i in allowed])
        found = [self.nothing, *alone]
        best = min(found, key=lambda item: item.score)
        if not best.chosen and self.dof > 0 and self.chi_square <= chi_square_99(self.dof):
            return found  # no more misfit than noise makes, and nothing single in it
        pairs = self.tried(self._pairs(allowed, alone))
        pairs.sort(key=lambda item: item.score)
        found += pairs[:PAIRS]
        grown = pairs[:TRIPLES_FROM]
        most = min(int(MOST_ROWS * len(self.bank.readings)), MOST_ELEMENTS)
        for size in range(3, most + 1):
            sets = {
                tuple(sorted((*item.chosen, i)))
                for item in grown
                for i in allowed
                if i not in item.chosen
            }
            larger = sorted(self.tried(sorted(sets)), key=lambda item: item.score)
            if not larger:
                break
            before = min(item.score for item in found)
            found += larger[:TRIPLES_FROM]
            if size > 3 and larger[0].score > before:
                break
            grown = larger[: TRIPLES_FROM if size == 3 else 4]
        found.sort(key=lambda item: item.score)
        return found

    def columns_of(self, element: int) -> tuple[int, ...]:
        """Return the columns of an element that something checks."""
        return self._columns[element]

    def size(self, explanation: Explanation, column: int) -> float:
        """Return how large one column of an explanation comes out."""
        pick = [c for i in explanation.chosen for c in self._columns[i]]
        gram = self._gram[np.ix_(pick, pick)]
        return float(np.linalg.solve(gram, self._products[pick])[pick.index(column)])

    def _pairs(self, allowed: list[int], alone: list[Explanation]) -> list[tuple[int, ...]]:
        """Return the pairs of elements that leave least: all of one column each are compared."""
        narrow = [i for i in allowed if len(self._columns[i]) == 1]
        at = [self._columns[i][0] for i in narrow]
        gram, products = self._gram[np.ix_(at, at)], self._products[at]
        own = np.diag(gram)
        apart = np.outer(own, own) - gram**2
        safe = apart > DEPENDENT * np.outer(own, own)
        squares = np.outer(products**2, own)
        gain = squares + squares.T - 2.0 * np.outer(products, products) * gram
        gain = np.where(safe, gain / np.where(safe, apart, 1.0), -1.0)
        first, second = np.triu_indices(len(at), 1)
        order = np.argsort(-gain[first, second])[:PAIRS]
        found = {tuple(sorted((narrow[first[k]], narrow[second[k]]))) for k in order}
        wide = [e.chosen[0] for e in sorted(alone, key=lambda item: item.score)]
        wide = [i for i in wide if len(self._columns[i]) > 1][:WIDE]
        found |= {tuple(sorted((i, j))) for i in wide for j in allowed if i != j}
        return sorted(found)

    def solution(self, explanation: Explanation) -> tuple[float, Floats, Floats]:
        """Return chi-square, parameters and their covariance with an explanation granted."""
        rows = self.gone | {
            row
            for i in explanation.chosen
            if self.elements[i].kind == "reading"
            for row in self.elements[i].rows
        }
        return self.without(rows, explanation)

    def without(
        self, rows: frozenset[int], explanation: Explanation
    ) -> tuple[float, Floats, Floats]:
        """Return the same with whole readings left out besides what is shifted together."""
        residual_rows = self.bank.model.residual_rows
        chosen = [k for k in self.bank.base if residual_rows[k] not in rows]
        free = [
            c
            for i in explanation.chosen
            if self.elements[i].kind != "reading"
            for c in self.elements[i].columns
        ]
        columns = self.columns[np.ix_(chosen, free)]
        chi_square, _, change, covariance = self.bank.solve(chosen, columns)
        return chi_square, self.bank.values + change, covariance
