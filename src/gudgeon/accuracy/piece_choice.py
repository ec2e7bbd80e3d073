"""Which lands to cut so that what is measured tells what is off, and what the figures then say.

Everything is linear in small errors: a measured figure is nominal + B d + noise, d the deviations
(true minus believed).  Lands are chosen one measure after the other, each time the one that makes
the deviations surest: with a wide prior P on d, the next measure takes P to
P - P B' (N + B P B')^-1 B P (law of propagation; the same step as a Kalman filter's, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.piece import Measure, Slopes

__all__ = [
    "SEEN",
    "Chosen",
    "Deviation",
    "Noise",
    "Parting",
    "alike",
    "choose",
    "estimate_deviations",
    "single_fits",
    "table_of",
]

Floats = NDArray[np.float64]

SEEN: Final = 0.5
"""A deviation is seen if the piece leaves less than this share of what was possible before."""

ALIKE: Final = 0.5
"""Two deviations that are not seen go together if what is left of them correlates by this."""

GAIN: Final = 0.08
"""A measure that sharpens the product of all deviations by less than this share is not taken."""

NEW_POSE: Final = 0.25
"""A pose that was not needed yet costs as much as this share of a measure more."""


@dataclass(frozen=True, slots=True, eq=False)
class Deviation:
    """Something that may be off.

    Attributes
    ----------
    name : str
    prior : float
        How far it may be off by mistake, k = 1 [mm or rad].
    worth : float
        Surer than this is of no use, k = 1.
    weights : ndarray, shape (sources,)
        How far each source of `Slopes` is off for a deviation of 1.
    told : bool
        False: it only adds to the doubt, and nothing is said of it.
    """

    name: str
    prior: float
    worth: float
    weights: Floats
    told: bool = True


@dataclass(frozen=True, slots=True)
class Noise:
    """How sure one measured figure is, k = 1 [mm].

    Attributes
    ----------
    across, height : float
        Measuring a thickness, and a height.
    land : float
        Positioning of one land across itself, the same at all its points.
    """

    across: float
    height: float
    land: float

    def of(self, measure: Measure) -> Floats:
        """Return the covariance of a measure's points."""
        count = len(measure.rows)
        own = self.height if len(measure.lands) == 1 else self.across
        shared = len(measure.lands) * self.land**2
        return own**2 * np.eye(count) + shared * np.ones((count, count))


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """The measures to take.

    Attributes
    ----------
    measures : tuple of Measure
    table : ndarray, shape (figures, deviations)
        What each figure shows for a deviation of 1, the points of the measures in order.
    noise : ndarray, shape (figures, figures)
        Covariance of cutting and measuring.
    left : ndarray, shape (deviations, deviations)
        Covariance of the deviations that remains.
    """

    measures: tuple[Measure, ...]
    table: Floats
    noise: Floats
    left: Floats


@dataclass(frozen=True, slots=True)
class Parting:
    """Deviations that the piece cannot tell apart.

    Attributes
    ----------
    names : tuple of str
    extra : Measure or None
        The further measure that would part them best; ``None`` if none at hand does.
    """

    names: tuple[str, ...]
    extra: Measure | None


def table_of(slopes: Slopes, measure: Measure, deviations: Sequence[Deviation]) -> Floats:
    """Return what each point of a measure shows for each deviation of 1."""
    weights = np.stack([one.weights for one in deviations], axis=1)
    rows = np.stack([slopes.matrix[list(row)].sum(axis=0) for row in measure.rows])
    return np.asarray(rows @ weights)


def choose(
    slopes: Slopes,
    candidates: Sequence[Measure],
    deviations: Sequence[Deviation],
    noise: Noise,
    *,
    enough: int,
    most: int,
    allowed: Callable[[Measure], bool],
) -> Chosen:
    """Return the measures to take, one after the other the most telling.

    Parameters
    ----------
    slopes : Slopes
    candidates : sequence of Measure
    deviations : sequence of Deviation
    noise : Noise
    enough : int
        So many are taken, each for the sake of all deviations; more only for those that are not
        `SEEN` by then.
    most : int
        Measures at most.
    allowed : callable
        Whether both lands may be cut; asked only of what is about to be taken.
    """
    tables = [table_of(slopes, one, deviations) for one in candidates]
    noises = [noise.of(one) for one in candidates]
    told = np.array([one.told for one in deviations])
    worth = np.array([one.worth for one in deviations])
    left = np.diag([one.prior**2 for one in deviations])
    open_ones = list(range(len(candidates)))
    prior = np.array([one.prior for one in deviations])
    reached = left
    for table, own in zip(tables, noises, strict=True):
        reached = _updated(reached, table, own)
    # What not even all lands together would tell is no reason to go on.
    within_reach = told & (np.sqrt(np.diag(reached)) <= SEEN * prior)
    taken: list[int] = []
    stands: set[int] = set()
    while len(taken) < most:
        aim = told
        if len(taken) >= enough:
            aim = within_reach & (np.sqrt(np.diag(left)) > SEEN * prior)
            if not np.any(aim):
                break
        before = np.log(np.diag(left)[aim] + worth[aim] ** 2)
        ranked = []
        for i in open_ones:
            after = _variances(left, tables[i], noises[i])
            gain = 0.5 * float(np.sum(before - np.log(after[aim] + worth[aim] ** 2)))
            new = len({land.way.stand for land in candidates[i].lands} - stands)
            ranked.append((gain / (1.0 + NEW_POSE * new), i))
        # Rounded, so that rounding does not choose between equals.
        ranked.sort(key=lambda item: (-round(item[0], 6), item[1]))
        for gain, i in ranked:
            if gain < GAIN:
                return _chosen(candidates, taken, tables, noises, left)
            if allowed(candidates[i]):
                break
            open_ones.remove(i)
        else:
            break
        left = _updated(left, tables[i], noises[i])
        taken.append(i)
        stands |= {land.way.stand for land in candidates[i].lands}
        key = candidates[i].lands[0].spot.key
        open_ones = [j for j in open_ones if candidates[j].lands[0].spot.key != key]
    return _chosen(candidates, taken, tables, noises, left)


def _chosen(
    candidates: Sequence[Measure],
    taken: Sequence[int],
    tables: Sequence[Floats],
    noises: Sequence[Floats],
    left: Floats,
) -> Chosen:
    columns = left.shape[0]
    table = np.concatenate([tables[i] for i in taken]) if taken else np.zeros((0, columns))
    noise = np.zeros((len(table), len(table)))
    row = 0
    for i in taken:
        size = len(noises[i])
        noise[row : row + size, row : row + size] = noises[i]
        row += size
    return Chosen(tuple(candidates[i] for i in taken), table, noise, left)


def _gain_matrix(left: Floats, table: Floats, noise: Floats) -> Floats:
    across = left @ table.T
    return np.asarray(np.linalg.solve(noise + table @ across, across.T).T)


def _variances(left: Floats, table: Floats, noise: Floats) -> Floats:
    across = left @ table.T
    drop = np.sum(_gain_matrix(left, table, noise) * across, axis=1)
    return np.asarray(np.clip(np.diag(left) - drop, 0.0, None))


def _updated(left: Floats, table: Floats, noise: Floats) -> Floats:
    # Joseph's form keeps it positive where a measure is much surer than the prior.
    gain = _gain_matrix(left, table, noise)
    kept = np.eye(len(left)) - gain @ table
    return np.asarray(kept @ left @ kept.T + gain @ noise @ gain.T)


def alike(
    chosen: Chosen,
    slopes: Slopes,
    candidates: Sequence[Measure],
    deviations: Sequence[Deviation],
    noise: Noise,
) -> tuple[Parting, ...]:
    """Return what the piece does not tell apart, and the measure that would part it best.

    Deviations that are not `SEEN` are grouped by what is left of them together; every candidate,
    allowed or not, is tried as a further measure.
    """
    prior = np.array([one.prior for one in deviations])
    spread = np.sqrt(np.diag(chosen.left))
    unseen = [i for i, one in enumerate(deviations) if one.told and spread[i] > SEEN * one.prior]
    found: list[Parting] = []
    done: set[int] = set()
    for i in unseen:
        if i in done:
            continue
        group = [
            j
            for j, one in enumerate(deviations)
            if one.told
            and j not in done
            and abs(chosen.left[i, j]) > ALIKE * spread[i] * spread[j]
            and spread[j] > 0.25 * prior[j]
        ]
        done |= set(group)
        best, least = None, 0.8 * spread[i]
        for one in candidates:
            after = math.sqrt(
                _variances(chosen.left, table_of(slopes, one, deviations), noise.of(one))[i]
            )
            if after < least - 1e-9:
                best, least = one, after
        found.append(Parting(tuple(deviations[j].name for j in group), best))
    return tuple(found)


def estimate_deviations(
    chosen: Chosen, deviations: Sequence[Deviation], measured: Floats
) -> tuple[Floats, Floats]:
    """Return the likeliest deviations and their covariance, from figures less nominal [mm].

    Weighted least squares with the priors of the deviations; a figure that is NaN was not taken.
    """
    given = np.isfinite(measured)
    table, noise = chosen.table[given], chosen.noise[np.ix_(given, given)]
    prior = np.diag([one.prior**2 for one in deviations])
    gain = _gain_matrix(prior, table, noise)
    return np.asarray(gain @ measured[given]), _updated(prior, table, noise)


def single_fits(
    chosen: Chosen, deviations: Sequence[Deviation], spread: Floats, measured: Floats
) -> list[tuple[float, int, float]]:
    """Return how well each deviation alone explains the figures, the best first.

    Parameters
    ----------
    chosen : Chosen
    deviations : sequence of Deviation
    spread : ndarray, shape (figures, figures)
        Covariance of the figures where nothing is wrong.
    measured : ndarray, shape (figures,)
        Figures less nominal [mm]; NaN was not taken.

    Returns
    -------
    list of (float, int, float)
        Chi squared that remains, number of the deviation, and its size.
    """
    given = np.isfinite(measured)
    inverse = np.linalg.inv(spread[np.ix_(given, given)])
    y = measured[given]
    whole = float(y @ inverse @ y)
    found = []
    for i, one in enumerate(deviations):
        column = chosen.table[given, i]
        strength = float(column @ inverse @ column)
        if not one.told or strength <= 0.0:
            continue
        size = float(column @ inverse @ y) / strength
        found.append((whole - size**2 * strength, i, size))
    return sorted(found)
