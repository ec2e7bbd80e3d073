"""Which few readings, of all that could be taken, make the worst part point surest.

The readings at hand are an information matrix (weighted derivatives, J^T J; JCGM 100:2008, 5.1);
each reading that could be taken is a block of weighted derivative rows that would be added.  No
fit is repeated: a block changes the covariance by an update of its own rank (Sherman, Morrison and
Woodbury's identity).

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

from gudgeon.centre.design import largest_of, updated

__all__ = ["Offer", "Plan", "best_readings", "in_order"]

Floats = NDArray[np.float64]

MOST_EXCHANGES: Final = 40
"""Exchanges at most for one set; they end by themselves long before (bounds the time)."""

FIRST_POINTS: Final = 24
"""Points looked at first, those that are worst without the offer; no offer is judged by them."""

FIRST_OFFERS: Final = 6
"""Offers looked at first; they give the limit that the others must beat."""

BEGINNINGS: Final = 12
"""Offers that are tried as the first, for small sets."""

BEGUN_MOST: Final = 6
"""Largest set for which that is done (bounds the time)."""

BETTER: Final = 1e-6
"""Relative gain below which an exchange is not made, so that rounding cannot decide."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A reading, or a row of readings taken in one go, that could be taken.

    Attributes
    ----------
    rows : ndarray, shape (k, p)
        Derivatives of its residuals over their standard uncertainty, uncorrelated (`whitened`).
    minutes : float
        What it takes by itself.
    setups : tuple of (str, float)
        Name and minutes of what must be done before it; done once for all that share it.
    """

    rows: Floats
    minutes: float = 1.0
    setups: tuple[tuple[str, float], ...] = ()


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
    job = _Job(np.asarray(information, float), np.asarray(slopes, float), offers)
    start = job.state(())
    before = job.worst(start)
    if before <= wanted_u or not offers or most < 1:
        return Plan((), before, (), ())
    sets: list[tuple[int, ...]] = []
    for by_minutes in (False, True):
        chosen: tuple[int, ...] = ()
        for _ in range(min(most, len(offers))):
            further = job.grow(chosen, by_minutes)
            if further is None:
                break
            chosen = job.exchange(further)
            sets.append(chosen)
            if job.worst_of(chosen) <= wanted_u:
                break
    sets.extend(job.short_sighted(min(most, len(offers)), wanted_u))
    if sets:
        sets.extend(job.other_beginnings(len(sets[-1])))
    enough = [one for one in sets if job.worst_of(one) <= wanted_u]
    if enough:
        trimmed = [job.quicken(one, wanted_u) for one in dict.fromkeys(enough)]
        taken = min(trimmed, key=lambda one: (_firm(job.minutes(one)), _firm(job.worst_of(one))))
    else:
        taken = min(sets, key=lambda one: (_firm(job.worst_of(one)), len(one)), default=())
    return in_order(job.information, job.slopes, offers, taken)


def in_order(
    information: ArrayLike, slopes: ArrayLike, offers: Sequence[Offer], chosen: Sequence[int]
) -> Plan:
    """Return the chosen offers in the order to take them, with the figure after each.

    What shares a set-up stays together; beside that the most telling comes first.
    """
    job = _Job(np.asarray(information, float), np.asarray(slopes, float), offers)
    left = sorted(chosen)
    order: list[int] = []
    after: list[float] = []
    minutes: list[float] = []
    state = job.state(())
    before = job.worst(state)
    done: set[str] = set()
    while left:
        gains = job.mean_drop(state, left)
        extra = [job.extra(i, done) for i in left]
        same = [k for k, i in enumerate(left) if order and _shared(offers[i], offers[order[-1]])]
        among = same or list(range(len(left)))
        best = max(among, key=lambda k: (_firm(float(gains[k])), -k))
        i = left.pop(best)
        state = job.with_rows(state, offers[i].rows)
        minutes.append(extra[best])
        done.update(name for name, _ in offers[i].setups)
        order.append(i)
        after.append(job.worst(state))
    return Plan(tuple(order), before, tuple(after), tuple(minutes))


def _shared(a: Offer, b: Offer) -> bool:
    """Whether all that must be done for `a` was done for `b`."""
    done = {name for name, _ in b.setups}
    return bool(a.setups) and all(name in done for name, _ in a.setups)


def _firm(value: float) -> float:
    """Return `value` to nine digits: rounding must not decide between equal choices."""
    return float(f"{value:.9g}")


@dataclass(frozen=True, slots=True)
class _State:
    """Covariance of all parameters, and its product with the points' slopes."""

    covariance: Floats
    spread: Floats  # (m, 6): xx, yy, zz, xy, xz, yz of each point


class _Job:
    """One search: everything that stays the same during it."""

    def __init__(self, information: Floats, slopes: Floats, offers: Sequence[Offer]) -> None:
        count = len(information)
        self.information = information
        self.slopes = slopes
        self.offers = offers
        self.count = slopes.shape[2]
        self.flat = np.zeros((3 * len(slopes), count))
        self.flat[:, : self.count] = slopes.reshape(-1, self.count)
        self.mean_of = self.flat.T @ self.flat / len(slopes)
        self.base = np.asarray(np.linalg.inv(information))
        self.base = 0.5 * (self.base + self.base.T)
        # Offers with the same number of rows are worked through together.
        self.sizes: dict[int, NDArray[np.intp]] = {}
        for size in sorted({len(one.rows) for one in offers}):
            self.sizes[size] = np.array(
                [i for i, one in enumerate(offers) if len(one.rows) == size]
            )
        self._stack = {
            size: np.array([offers[i].rows for i in at]).reshape(len(at), size, count)
            for size, at in self.sizes.items()
        }
        self._known: dict[tuple[int, ...], float] = {}

    # States -----------------------------------------------------------------------------------

    def state(self, chosen: Sequence[int]) -> _State:
        """Return what is known with some offers taken."""
        if not chosen:
            return self._made(self.base)
        rows = np.vstack([self.offers[i].rows for i in chosen])
        return self._made(updated(self.base, rows))

    def with_rows(self, state: _State, rows: Floats) -> _State:
        """Return what is known with further rows."""
        return self._made(updated(state.covariance, rows))

    def _made(self, covariance: Floats) -> _State:
        s = self.flat.reshape(-1, 3, len(covariance))
        v = s @ covariance @ np.swapaxes(s, 1, 2)
        six = np.stack(
            [v[:, 0, 0], v[:, 1, 1], v[:, 2, 2], v[:, 0, 1], v[:, 0, 2], v[:, 1, 2]], axis=1
        )
        return _State(covariance, six)

    def worst(self, state: _State) -> float:
        """Return the standard uncertainty of the worst point."""
        return float(np.sqrt(max(float(np.max(largest_of(*state.spread.T))), 0.0)))

    def worst_of(self, chosen: Sequence[int]) -> float:
        """Return the same for some offers taken."""
        key = tuple(sorted(chosen))
        if key not in self._known:
            self._known[key] = self.worst(self.state(key))
        return self._known[key]

    def _gains(
        self, state: _State, among: NDArray[np.bool_]
    ) -> list[tuple[NDArray[np.intp], Floats]]:
        """Return, by number of rows, offers and the vectors by whose squares variances fall."""
        out = []
        for size, at in self.sizes.items():
            keep = among[at]
            if not np.any(keep):
                continue
            rows = self._stack[size][keep]
            product = rows @ state.covariance
            inner = product @ np.swapaxes(rows, 1, 2) + np.eye(size)
            gain = np.linalg.solve(np.linalg.cholesky(inner), product)
            out.append((at[keep], np.asarray(gain, dtype=np.float64)))
        return out

    def mean_drop(self, state: _State, offers: Sequence[int]) -> Floats:
        """Return by how much each offer lowers the mean variance over the points."""
        among = np.zeros(len(self.offers), dtype=bool)
        among[list(offers)] = True
        drop = np.zeros(len(self.offers))
        for at, gain in self._gains(state, among):
            drop[at] = np.einsum("nkp,pq,nkq->n", gain, self.mean_of, gain)
        return drop[list(offers)]

    def worst_with(
        self, state: _State, among: NDArray[np.bool_], up_to: float | None = None
    ) -> Floats:
        """Return the worst point's standard uncertainty with each offer; infinite for others.

        Exact for the best offer, and for all below `up_to`; for the others at least a lower bound
        that is no better than the best: the points that are worst now are looked at first.
        """
        worst = np.full(len(self.offers), np.inf)
        gains = self._gains(state, among)
        points = np.arange(len(self.slopes), dtype=np.intp)
        few = points
        if len(points) > 2 * FIRST_POINTS:
            now = largest_of(*state.spread.T)
            few = np.sort(np.argsort(-now, kind="stable")[:FIRST_POINTS])
        for at, gain in gains:
            worst[at] = self._worst_at(state, gain, few)
        if few is points:
            return worst
        exact = np.full(len(self.offers), np.inf)
        limit = np.inf if up_to is None else up_to
        # First the most hopeful, which gives the limit for the others.
        hopeful = np.zeros(len(self.offers), dtype=bool)
        hopeful[np.argsort(worst, kind="stable")[:FIRST_OFFERS]] = True
        for wanted in (hopeful, ~hopeful):
            if up_to is None:
                limit = min(limit, float(np.min(exact)))
            for at, gain in gains:
                take = wanted[at] & (worst[at] <= limit)
                if np.any(take):
                    exact[at[take]] = self._worst_at(state, gain[take], points)
        return np.where(np.isfinite(exact), exact, worst)

    def _worst_at(self, state: _State, gain: Floats, points: NDArray[np.intp]) -> Floats:
        """Return the largest standard uncertainty over some points, for each of some offers."""
        many, size, count = gain.shape
        flat = self.flat.reshape(-1, 3, count)[points].reshape(-1, count)
        moved = (gain.reshape(-1, count) @ flat.T).reshape(many, size, -1, 3)
        x, y, z = moved[..., 0], moved[..., 1], moved[..., 2]
        six = state.spread[points].T[:, None, :]
        top = largest_of(
            six[0] - np.sum(x * x, axis=1),
            six[1] - np.sum(y * y, axis=1),
            six[2] - np.sum(z * z, axis=1),
            six[3] - np.sum(x * y, axis=1),
            six[4] - np.sum(x * z, axis=1),
            six[5] - np.sum(y * z, axis=1),
        )
        return np.asarray(np.sqrt(np.clip(np.max(top, axis=1), 0.0, None)))

    # Minutes ----------------------------------------------------------------------------------

    def extra(self, i: int, done: set[str]) -> float:
        """Return the minutes of an offer, with what must still be done before it."""
        offer = self.offers[i]
        return offer.minutes + sum(t for name, t in offer.setups if name not in done)

    def minutes(self, chosen: Sequence[int]) -> float:
        """Return the minutes of a set."""
        setups = {name: t for i in chosen for name, t in self.offers[i].setups}
        return sum(self.offers[i].minutes for i in chosen) + sum(setups.values())

    # Moves ------------------------------------------------------------------------------------

    def grow(self, chosen: tuple[int, ...], by_minutes: bool) -> tuple[int, ...] | None:
        """Add the offer that lowers the mean variance most, or most for its minutes."""
        left = [i for i in range(len(self.offers)) if i not in chosen]
        if not left:
            return None
        state = self.state(chosen)
        drop = self.mean_drop(state, left)
        mean = float(np.sum(self.mean_of * state.covariance))
        if by_minutes:
            done = {name for i in chosen for name, _ in self.offers[i].setups}
            share = np.clip(drop / mean, 0.0, 1.0 - 1e-12)
            each = np.array([max(self.extra(i, done), 1e-3) for i in left])
            drop = -np.log1p(-share) / each
        return (*chosen, left[_first_best(-drop)])

    def exchange(self, chosen: tuple[int, ...]) -> tuple[int, ...]:
        """Swap one in and one out as long as the worst point gets better."""
        now = self.worst_of(chosen)
        for _ in range(MOST_EXCHANGES):
            best: tuple[float, tuple[int, ...]] | None = None
            for k in range(len(chosen)):
                rest = chosen[:k] + chosen[k + 1 :]
                among = np.ones(len(self.offers), dtype=bool)
                among[list(chosen)] = False
                if not np.any(among):
                    return chosen
                worst = self.worst_with(self.state(rest), among)
                i = _first_best(worst)
                if best is None or worst[i] < best[0] * (1.0 - BETTER):
                    best = (float(worst[i]), (*rest, i))
            if best is None or best[0] >= now * (1.0 - BETTER):
                return chosen
            now, chosen = best
        return chosen

    def short_sighted(self, most: int, wanted_u: float) -> list[tuple[int, ...]]:
        """Return the sets that taking whatever lowers the worst point most gives, exchanged too."""
        chosen: tuple[int, ...] = ()
        sets = []
        for _ in range(most):
            among = np.ones(len(self.offers), dtype=bool)
            among[list(chosen)] = False
            chosen = (*chosen, _first_best(self.worst_with(self.state(chosen), among)))
            sets.append(chosen)
            if self.worst_of(chosen) <= wanted_u:
                break
        if sets:
            sets.append(self.exchange(sets[-1]))
        return sets

    def other_beginnings(self, many: int) -> list[tuple[int, ...]]:
        """Return sets of `many` that begin with another offer than the first choice, exchanged."""
        if many > BEGUN_MOST:
            return []
        everyone = list(range(len(self.offers)))
        drop = self.mean_drop(self.state(()), everyone)
        sets = []
        for first in np.argsort(-drop, kind="stable")[:BEGINNINGS]:
            chosen: tuple[int, ...] = (int(first),)
            while len(chosen) < many:
                further = self.grow(chosen, by_minutes=False)
                if further is None:
                    break
                chosen = further
            sets.append(self.exchange(chosen))
        return sets

    def quicken(self, chosen: tuple[int, ...], wanted_u: float) -> tuple[int, ...]:
        """Leave out or exchange for something quicker, as long as the wanted figure is kept."""
        for _ in range(MOST_EXCHANGES):
            now = self.minutes(chosen)
            best: tuple[float, float, tuple[int, ...]] | None = None
            for k in range(len(chosen)):
                rest = chosen[:k] + chosen[k + 1 :]
                if rest and self.worst_of(rest) <= wanted_u:
                    found = (_firm(self.minutes(rest)), _firm(self.worst_of(rest)), rest)
                    best = found if best is None or found < best else best
                    continue
                done = {name for i in rest for name, _ in self.offers[i].setups}
                before = self.minutes(rest)
                among = np.array(
                    [
                        i not in chosen and before + self.extra(i, done) < now - BETTER
                        for i in range(len(self.offers))
                    ]
                )
                if not np.any(among):
                    continue
                worst = self.worst_with(self.state(rest), among, wanted_u)
                for i in np.flatnonzero(worst <= wanted_u):
                    one = (*rest, int(i))
                    found = (_firm(self.minutes(one)), _firm(float(worst[i])), one)
                    best = found if best is None or found < best else best
            if best is None or best[0] >= now - BETTER:
                return chosen
            chosen = best[2]
        return chosen


def _first_best(scores: Floats) -> int:
    """Return the first of the lowest scores; rounding does not decide."""
    low = float(np.min(scores))
    return int(np.flatnonzero(scores <= low + 1e-9 * abs(low))[0])
