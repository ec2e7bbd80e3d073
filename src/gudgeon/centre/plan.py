"""Which few readings, of all that could be taken, make the worst part point surest.

The readings at hand are an information matrix (weighted derivatives, J^T J; JCGM 100:2008, 5.1);
each reading that could be taken is a block of weighted derivative rows that would be added.  No
fit is repeated: a block changes the covariance by an update of its own rank (`Offers`).

Readings are first taken one by one where the mean variance over the part points falls most
(I-optimal design), each time followed by exchanges: one in, one out, as long as the worst point
gets better.  Taking greedily what lowers the worst point most is short-sighted, because often no
single reading lowers it at all; it is tried beside, and the better of both is kept.  Where a figure
is wanted, the set that reaches it in the fewest minutes is looked for: readings are left out, or
exchanged for quicker ones, as long as the figure is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.centre.offers import BETTER, Chosen, Offer, Offers

__all__ = ["Offer", "Plan", "Planner", "best_readings", "in_order"]

Floats = NDArray[np.float64]

MOST_EXCHANGES: Final = 40
"""Exchanges at most for one set; they end by themselves long before (bounds the time)."""

BEGINNINGS: Final = 12
"""Offers that are tried as the first, for small sets."""

BEGUN_MOST: Final = 6
"""Largest set for which that is done (bounds the time)."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What to take, in order.

    Attributes
    ----------
    chosen : tuple of int
        Index into the offers.
    u_before : float
        Standard uncertainty of the worst point, in its worst direction.
    u_after : tuple of float
        The same after each reading chosen.
    minutes : tuple of float
        What each takes in this order, what must be done before it included.
    """

    chosen: tuple[int, ...]
    u_before: float
    u_after: tuple[float, ...]
    minutes: tuple[float, ...]

    @property
    def u_last(self) -> float:
        """Standard uncertainty of the worst point with all of them."""
        return self.u_after[-1] if self.u_after else self.u_before


def best_readings(
    information: ArrayLike,
    slopes: ArrayLike,
    offers: Sequence[Offer],
    *,
    most: int,
    wanted_u: float = 0.0,
) -> Plan:
    """Return the few offers after which the worst point is surest, or the quickest that suffice.

    Parameters
    ----------
    information : array_like, shape (p, p)
        Of all that is known already; positive definite.
    slopes : array_like, shape (m, 3, q)
        Derivatives of the points by the first `q` <= p parameters.
    offers : sequence of Offer
    most : int
        Offers chosen at most.
    wanted_u : float
        Standard uncertainty of the worst point that is enough; nothing more is taken then.
    """
    return Planner(information, slopes, offers).best(most=most, wanted_u=wanted_u)


def in_order(
    information: ArrayLike, slopes: ArrayLike, offers: Sequence[Offer], chosen: Sequence[int]
) -> Plan:
    """Return the chosen offers in the order to take them, with the figure after each.

    What shares a set-up stays together; beside that the most telling comes first.
    """
    return Planner(information, slopes, offers).in_order(chosen)


class Planner:
    """Makes plans from one state of knowledge; one that makes several is quicker than several.

    Arguments are those of `best_readings`.
    """

    def __init__(self, information: ArrayLike, slopes: ArrayLike, offers: Sequence[Offer]) -> None:
        self.offers = Offers(np.asarray(information, float), np.asarray(slopes, float), offers)
        self.count = len(offers)
        self._exchanged: dict[Chosen, Chosen] = {}

    def best(self, *, most: int, wanted_u: float = 0.0) -> Plan:
        """Return what `best_readings` does."""
        worst = self.offers.worst
        before = worst(())
        most = min(most, self.count)
        if before <= wanted_u or most < 1:
            return Plan((), before, (), ())
        sets: list[Chosen] = []
        for by_minutes in (False, True):
            chosen: Chosen = ()
            while len(chosen) < most:
                chosen = self.exchange(self.grow(chosen, by_minutes))
                sets.append(chosen)
                if worst(chosen) <= wanted_u:
                    break
        sets.extend(self.short_sighted(most, wanted_u))
        sets.extend(self.other_beginnings(len(sets[-1])))
        enough = [one for one in dict.fromkeys(sets) if worst(one) <= wanted_u]
        if enough:
            trimmed = dict.fromkeys(self.quicken(one, wanted_u) for one in enough)
            taken = min(
                trimmed, key=lambda one: (_firm(self.offers.minutes(one)), _firm(worst(one)))
            )
        else:
            taken = min(sets, key=lambda one: (_firm(worst(one)), len(one)))
        return self.in_order(taken)

    def in_order(self, chosen: Sequence[int]) -> Plan:
        """Return what `in_order` does."""
        offers = self.offers
        left = sorted(chosen)
        order: list[int] = []
        after: list[float] = []
        minutes: list[float] = []
        done: set[str] = set()
        while left:
            gains = offers.mean_drop(_and(order))
            extra = [offers.extra(i, done) for i in left]
            last = offers.all[order[-1]] if order else None
            same = [k for k, i in enumerate(left) if last and _shared(offers.all[i], last)]
            among = same or list(range(len(left)))
            best = max(among, key=lambda k: (_firm(float(gains[left[k]])), -k))
            i = left.pop(best)
            minutes.append(extra[best])
            done.update(name for name, _ in offers.all[i].setups)
            order.append(i)
            after.append(offers.worst(_and(order)))
        return Plan(tuple(order), offers.worst(()), tuple(after), tuple(minutes))

    # Moves ------------------------------------------------------------------------------------

    def grow(self, chosen: Chosen, by_minutes: bool) -> Chosen:
        """Add the offer that lowers the mean variance most, or most for its minutes."""
        offers = self.offers
        left = np.array([i for i in range(self.count) if i not in chosen], dtype=np.intp)
        drop = offers.mean_drop(chosen)[left]
        if by_minutes:
            done = offers.done(chosen)
            share = np.clip(drop / offers.mean(chosen), 0.0, 1.0 - 1e-12)
            each = np.array([max(offers.extra(i, done), 1e-3) for i in left])
            drop = -np.log1p(-share) / each
        return _and(chosen, int(left[_first_best(-drop)]))

    def exchange(self, chosen: Chosen) -> Chosen:
        """Swap one in and one out as long as the worst point gets better."""
        came = [chosen]
        now = self.offers.worst(chosen)
        for _ in range(MOST_EXCHANGES):
            if chosen in self._exchanged or len(chosen) >= self.count:
                break
            rests = [chosen[:k] + chosen[k + 1 :] for k in range(len(chosen))]
            among = np.ones((len(rests), self.count), dtype=bool)
            among[:, list(chosen)] = False
            worst = self.offers.worst_with(rests, among)
            k, i = divmod(_first_best(worst.ravel()), self.count)
            best = float(worst[k, i])
            if best >= now * (1.0 - BETTER):
                break
            now, chosen = best, _and(rests[k], i)
            came.append(chosen)
        chosen = self._exchanged.get(chosen, chosen)
        self._exchanged.update(dict.fromkeys(came, chosen))
        return chosen

    def short_sighted(self, most: int, wanted_u: float) -> list[Chosen]:
        """Return the sets that taking whatever lowers the worst point most gives, exchanged too."""
        chosen: Chosen = ()
        sets = []
        while len(chosen) < most:
            among = np.ones((1, self.count), dtype=bool)
            among[:, list(chosen)] = False
            chosen = _and(chosen, _first_best(self.offers.worst_with([chosen], among)[0]))
            sets.append(chosen)
            if self.offers.worst(chosen) <= wanted_u:
                break
        return [*sets, self.exchange(chosen)]

    def other_beginnings(self, many: int) -> list[Chosen]:
        """Return sets of `many` that begin with another offer than the first choice, exchanged."""
        if many > BEGUN_MOST:
            return []
        sets = []
        for first in np.argsort(-self.offers.mean_drop(()), kind="stable")[:BEGINNINGS]:
            chosen: Chosen = (int(first),)
            while len(chosen) < many:
                chosen = self.grow(chosen, by_minutes=False)
            sets.append(self.exchange(chosen))
        return sets

    def quicken(self, chosen: Chosen, wanted_u: float) -> Chosen:
        """Leave out or exchange for something quicker, as long as the wanted figure is kept."""
        offers = self.offers
        for _ in range(MOST_EXCHANGES):
            now = offers.minutes(chosen)
            found: list[tuple[float, float, Chosen]] = []
            rests, masks = [], []
            for k in range(len(chosen)):
                rest = chosen[:k] + chosen[k + 1 :]
                if rest and offers.worst(rest) <= wanted_u:
                    found.append((_firm(offers.minutes(rest)), _firm(offers.worst(rest)), rest))
                    continue
                done, before = offers.done(rest), offers.minutes(rest)
                among = [
                    i not in chosen and before + offers.extra(i, done) < now - BETTER
                    for i in range(self.count)
                ]
                if any(among):
                    rests.append(rest)
                    masks.append(among)
            if rests:
                worst = offers.worst_with(rests, np.array(masks), wanted_u)
                for k, i in np.argwhere(worst <= wanted_u):
                    one = _and(rests[k], int(i))
                    found.append((_firm(offers.minutes(one)), _firm(float(worst[k, i])), one))
            if not found or min(found)[0] >= now - BETTER:
                return chosen
            chosen = min(found)[2]
        return chosen


def _shared(a: Offer, b: Offer) -> bool:
    """Whether all that must be done for `a` was done for `b`."""
    done = {name for name, _ in b.setups}
    return bool(a.setups) and all(name in done for name, _ in a.setups)


def _firm(value: float) -> float:
    """Round to nine digits: rounding must not decide between equal choices."""
    return float(f"{value:.9g}")


def _and(chosen: Sequence[int], *more: int) -> Chosen:
    """Return offers in rising order, the further ones among them."""
    return tuple(sorted((*chosen, *more)))


def _first_best(scores: Floats) -> int:
    """Return the first of the lowest scores; rounding does not decide."""
    low = float(np.min(scores))
    return int(np.flatnonzero(scores <= low + 1e-9 * abs(low))[0])
