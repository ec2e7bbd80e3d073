"""Offers, and what the worst point comes to with some of them taken.

A block of derivative rows changes the covariance by an update of its own rank (Sherman, Morrison
and Woodbury's identity), worked through for all offers and several states at a time; what was
worked out once is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.design import largest_of, updated

__all__ = ["BETTER", "Chosen", "Offer", "Offers", "State"]

Floats = NDArray[np.float64]
Chosen = tuple[int, ...]
"""Offers taken, by index, in rising order."""

FIRST_POINTS: Final = 24
"""Points looked at first, those that are worst without the offer; no offer is judged by them."""

FIRST_OFFERS: Final = 6
"""Offers looked at first; they give the limit that the others must beat."""

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
class State:
    """Covariance of all parameters, and what it makes of the points.

    Attributes
    ----------
    covariance : ndarray, shape (p, p)
    spread : ndarray, shape (6, m)
        xx, yy, zz, xy, xz, yz of each point.
    """

    covariance: Floats
    spread: Floats


class Offers:
    """What can be taken, from one state of knowledge; what was worked out is kept."""

    def __init__(self, information: Floats, slopes: Floats, offers: Sequence[Offer]) -> None:
        count = len(information)
        self.all = tuple(offers)
        many = slopes.shape[2]
        self.flat = np.zeros((3 * len(slopes), count))
        self.flat[:, :many] = slopes.reshape(-1, many)
        self.points = self.flat.reshape(-1, 3, count)
        self.mean_of = self.flat.T @ self.flat / len(slopes)
        base = np.asarray(np.linalg.inv(information))
        self.base = 0.5 * (base + base.T)
        # Offers with the same number of rows are worked through together.
        by_size: dict[int, list[int]] = {}
        for i, one in enumerate(self.all):
            by_size.setdefault(len(one.rows), []).append(i)
        self._groups = [
            (np.array(at, dtype=np.intp), np.array([self.all[i].rows for i in at]))
            for _, at in sorted(by_size.items())
        ]
        self._states: dict[Chosen, State] = {}
        self._worst: dict[Chosen, float] = {}
        self._drops: dict[Chosen, Floats] = {}

    def state(self, chosen: Chosen) -> State:
        """Return what is known with some offers taken."""
        if chosen not in self._states:
            covariance = self.base
            if chosen:
                covariance = updated(covariance, np.vstack([self.all[i].rows for i in chosen]))
            self._states[chosen] = self._made(covariance)
        return self._states[chosen]

    def _made(self, covariance: Floats) -> State:
        moved = (self.flat @ covariance).reshape(self.points.shape)
        v = moved @ np.swapaxes(self.points, 1, 2)
        six = np.stack(
            [v[:, 0, 0], v[:, 1, 1], v[:, 2, 2], v[:, 0, 1], v[:, 0, 2], v[:, 1, 2]], axis=0
        )
        return State(covariance, six)

    def worst(self, chosen: Chosen) -> float:
        """Return the standard uncertainty of the worst point with some offers taken."""
        if chosen not in self._worst:
            largest = float(np.max(largest_of(*self.state(chosen).spread)))
            self._worst[chosen] = float(np.sqrt(max(largest, 0.0)))
        return self._worst[chosen]

    def mean(self, chosen: Chosen) -> float:
        """Return the mean variance over the points."""
        return float(np.sum(self.mean_of * self.state(chosen).covariance))

    def mean_drop(self, chosen: Chosen) -> Floats:
        """Return by how much each offer lowers the mean variance over the points."""
        if chosen not in self._drops:
            drop = np.zeros(len(self.all))
            covariance = self.state(chosen).covariance
            for at, rows in self._groups:
                gain = _gain(rows, covariance)
                drop[at] = np.sum((gain @ self.mean_of) * gain, axis=(1, 2))
            self._drops[chosen] = drop
        return self._drops[chosen]

    def worst_with(
        self, bases: Sequence[Chosen], among: NDArray[np.bool_], up_to: float | None = None
    ) -> Floats:
        """Return the worst point's standard uncertainty with each offer beside each base.

        Parameters
        ----------
        bases : sequence of tuple of int
            What is taken already, b of them.
        among : ndarray of bool, shape (b, n)
            Offers that count beside each.
        up_to : float, optional
            Where given, all that reach it are told; else only the lowest of all (and what comes
            within rounding of it).  The others are infinite.

        Returns
        -------
        ndarray, shape (b, n)
        """
        states = [self.state(one) for one in bases]
        covariance = np.stack([one.covariance for one in states])
        spread = np.stack([one.spread for one in states], axis=1)  # (6, b, m)
        pairs = []
        for at, rows in self._groups:
            base, offer = np.nonzero(among[:, at])
            if len(base):
                # Of all bases and offers at once; the few that do not count cost less than to sort.
                gain = _gain(rows, covariance[:, None])
                pairs.append((base, at[offer], gain[base, offer]))
        found = np.full(among.shape, np.inf)
        many = len(self.points)
        if many <= 2 * FIRST_POINTS:
            for base, offer, gain in pairs:
                found[base, offer] = _worst_of(gain @ self.flat.T, spread[:, base])
            return found
        # A lower bound first: the points that are worst without the offer.
        now = largest_of(*spread)
        first = np.argsort(-now, axis=1, kind="stable")[:, :FIRST_POINTS]
        flat = self.points[first].reshape(len(states), -1, self.flat.shape[1])
        few = np.take_along_axis(spread, first[None], axis=2)
        bound = np.full(among.shape, np.inf)
        for base, offer, gain in pairs:
            for b in np.unique(base):
                mine = base == b
                moved = gain[mine] @ flat[b].T
                bound[b, offer[mine]] = _worst_of(moved, few[:, base[mine]])
        limit = np.inf if up_to is None else up_to
        # Then the most hopeful in full, which gives the limit for the others.
        hopeful = np.zeros(bound.shape, dtype=bool)
        hopeful.flat[np.argsort(bound, axis=None, kind="stable")[:FIRST_OFFERS]] = True
        for wanted in (hopeful, ~hopeful):
            if up_to is None:
                limit = min(limit, float(np.min(found)))
            for base, offer, gain in pairs:
                take = wanted[base, offer] & (bound[base, offer] <= limit * (1.0 + 2.0 * BETTER))
                if np.any(take):
                    moved = gain[take] @ self.flat.T
                    found[base[take], offer[take]] = _worst_of(moved, spread[:, base[take]])
        return found

    # Minutes ----------------------------------------------------------------------------------

    def extra(self, i: int, done: set[str]) -> float:
        """Return the minutes of an offer, with what must still be done before it."""
        offer = self.all[i]
        return offer.minutes + sum(t for name, t in offer.setups if name not in done)

    def done(self, chosen: Chosen) -> set[str]:
        """Return what was done for a set."""
        return {name for i in chosen for name, _ in self.all[i].setups}

    def minutes(self, chosen: Chosen) -> float:
        """Return the minutes of a set."""
        setups = {name: t for i in chosen for name, t in self.all[i].setups}
        return sum(self.all[i].minutes for i in chosen) + sum(setups.values())


def _gain(rows: Floats, covariance: Floats) -> Floats:
    """Return the vectors by whose squares variances fall, shape (..., k, p)."""
    product = rows @ covariance
    size = rows.shape[-2]
    if size == 1:
        inner = np.sum(product * rows, axis=-1, keepdims=True) + 1.0
        return np.asarray(product / np.sqrt(inner))
    inner = product @ np.swapaxes(rows, -1, -2) + np.eye(size)
    return np.asarray(np.linalg.solve(np.linalg.cholesky(inner), product))


def _worst_of(moved: Floats, six: Floats) -> Floats:
    """Return the largest standard uncertainty over some points, for each of some offers.

    Takes what each offer moves, shape (n, k, 3 m), and the points' spread before, (6, n, m).
    """
    x, y, z = moved[..., 0::3], moved[..., 1::3], moved[..., 2::3]
    top = largest_of(
        six[0] - np.sum(x * x, axis=1),
        six[1] - np.sum(y * y, axis=1),
        six[2] - np.sum(z * z, axis=1),
        six[3] - np.sum(x * y, axis=1),
        six[4] - np.sum(x * z, axis=1),
        six[5] - np.sum(y * z, axis=1),
    )
    return np.asarray(np.sqrt(np.clip(np.max(top, axis=1), 0.0, None)))
