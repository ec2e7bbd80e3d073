"""What a set of readings leaves open, in terms of the lines.

The derivatives of all readings are scaled so that a step of 1 is the least that a shop would call
worth knowing: `POSITION_WORTH_MM` for a place, `ANGLE_WORTH` for an angle.  What only serves the
readings (radii, shared zeros, balls) is projected out.  A direction along which such a step moves
the readings by less than one standard uncertainty is not fixed by them: not at all where they do
not move, weakly where they move too little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.fit import LineFit
from gudgeon.centre.freeing import ANGLE_WORTH, DEPENDENT, POSITION_WORTH_MM, is_place, only_serves

__all__ = ["USUAL_ANGLE", "USUAL_PLACE_MM", "OpenDirection", "RankReport", "rank_report"]

Floats = NDArray[np.float64]

USUAL_ANGLE: Final = 3e-4
"""How far an angle that nobody measured is usually off [rad]: about one minute of arc.

Common practice, no source.
"""

USUAL_PLACE_MM: Final = 1.0
"""How far a line that nobody measured is usually off its drawing; common practice, no source."""

USUAL_RUNOUT_MM: Final = 0.02
"""How far a bore usually runs off centre; common practice, no source."""


@dataclass(frozen=True, slots=True)
class OpenDirection:
    """A combination of parameters that the readings do not fix.

    Attributes
    ----------
    parts : tuple of (str, float)
        Parameters that move together and by how much in `shift`, the most telling first.
    reason : str
        ``"untouched"`` (no reading depends on it), ``"entangled"`` (the parts cannot be told
        apart), ``"weak"`` (they are told apart, but worse than is worth having).
    u : float
        Standard uncertainty of the first part along this direction [mm or rad]; infinite if the
        readings do not move at all.
    shift : ndarray, shape (p,)
        A step of the usual size in all parameters of the fit, with what only serves the readings
        following: the readings look the same after it.
    held : str
        First of `parts` that the fit holds at nominal, or an empty text.
    """

    parts: tuple[tuple[str, float], ...]
    reason: str
    u: float
    shift: Floats
    held: str

    def cost_mm(self, slopes: Floats) -> float:
        """Return how far the worst point moves by `shift` [mm].

        Parameters
        ----------
        slopes : ndarray, shape (m, 3, q)
            Derivatives of the points by the parameters of the lines, the first q of the fit.
        """
        moved = slopes @ self.shift[: slopes.shape[-1]]
        return float(np.max(np.linalg.norm(moved, axis=-1)))


@dataclass(frozen=True, slots=True)
class RankReport:
    """How many of the parameters that matter are fixed.

    Attributes
    ----------
    total : int
        Lines, slopes of the face, offset of each bore or pin: 13 for two axes and one bore.
    fixed : int
    open : tuple of OpenDirection
        As many as are not fixed; those that the readings do not move at all first.
    gains : dict
        Position that is free -> its standard uncertainty over the middle one of the readings.
    """

    total: int
    fixed: int
    open: tuple[OpenDirection, ...]
    gains: dict[str, float]

    @property
    def full(self) -> bool:
        """Whether all are fixed."""
        return not self.open


def usual_size(name: str) -> float:
    """Return how far a parameter that nobody measured is usually off [mm or rad]."""
    if name in ("bore_x", "bore_y", "pin_x", "pin_y"):
        return USUAL_RUNOUT_MM
    return USUAL_PLACE_MM if is_place(name) else USUAL_ANGLE


def rank_report(fit: LineFit) -> RankReport:
    """Return what the readings of a fit, and entries that it used, fix.

    Parameters
    ----------
    fit : LineFit
        Stated uncertainties of optional errors are left out: they fix nothing by themselves.
    """
    parameters = fit.parameters
    asked = [i for i, n in enumerate(parameters) if not only_serves(n) and n not in OPTIONAL]
    serving = [i for i, n in enumerate(parameters) if only_serves(n)]
    # A stated uncertainty is a row for one parameter that is no place.
    entries = [
        row for row in fit.known_slopes if any(is_place(parameters[i]) for i in np.flatnonzero(row))
    ]
    rows = np.vstack([fit.slopes, np.array(entries).reshape(-1, len(parameters))])
    worth = np.array([POSITION_WORTH_MM if is_place(n) else ANGLE_WORTH for n in parameters])
    scaled = rows * worth
    follow = _follow(scaled[:, serving], scaled[:, asked])
    left = scaled[:, asked] - scaled[:, serving] @ follow
    _, found, vt = np.linalg.svd(left, full_matrices=True)
    sizes = np.zeros(len(asked))
    sizes[: len(found)] = found
    nothing = DEPENDENT * max(float(sizes[0]), 1.0)
    null = vt[sizes <= nothing]
    weak = [k for k in range(len(asked)) if nothing < sizes[k] < 1.0]
    directions = [(row, 0.0) for row in _plainest(null)]
    directions += [(vt[k], float(sizes[k])) for k in reversed(weak)]
    opened = [
        _direction(fit, asked, serving, follow, worth, (row, size)) for row, size in directions
    ]
    return RankReport(len(asked), len(asked) - len(opened), tuple(opened), _gains(fit))


def _follow(serving: Floats, asked: Floats) -> Floats:
    """Return by how much what serves follows each asked parameter, shape (s, a)."""
    if serving.shape[1] == 0:
        return np.zeros((0, asked.shape[1]))
    return np.asarray(np.linalg.lstsq(serving, asked, rcond=DEPENDENT)[0])


def _plainest(null: Floats) -> Floats:
    """Return a basis of the null space with as few parameters in each vector as can be had.

    Reduced row echelon form, pivoting on the largest entry, the last parameters first, so that
    each vector moves one parameter of its own.
    """
    rows = null[:, ::-1].copy()
    for k in range(len(rows)):
        size = np.abs(rows[k:])
        column = int(np.argmax(np.max(size, axis=0) > 0.1 * np.max(size)))
        pivot = k + int(np.argmax(size[:, column]))
        rows[[k, pivot]] = rows[[pivot, k]]
        rows[k] /= rows[k, column]
        for other in range(len(rows)):
            if other != k:
                rows[other] -= rows[other, column] * rows[k]
    return np.asarray(rows[:, ::-1])


def _direction(
    fit: LineFit,
    asked: list[int],
    serving: list[int],
    follow: Floats,
    worth: Floats,
    found: tuple[Floats, float],
) -> OpenDirection:
    row, size = found
    row = np.where(np.abs(row) > 1e-6 * np.max(np.abs(row)), row, 0.0)
    shift = np.zeros(len(fit.parameters))
    shift[asked] = row * worth[asked]
    shift[serving] = -(follow @ row) * worth[serving]
    sizes = np.array([usual_size(name) for name in fit.parameters])
    part_of = np.abs(shift[asked]) / sizes[asked]
    # The step goes as far as the part that first reaches its usual size.
    shift = shift / np.max(part_of)
    order = [asked[k] for k in np.argsort(-part_of, kind="stable") if part_of[k] > 1e-3]
    parts = tuple((fit.parameters[i], float(shift[i])) for i in order)
    # In units of `worth` the row has a standard uncertainty of 1 / size.
    u = abs(float(row[asked.index(order[0])])) * worth[order[0]] / size if size > 0.0 else np.inf
    if size > 0.0:
        reason = "weak"
    else:
        moves = np.any(fit.slopes[:, order] != 0.0)
        reason = "entangled" if moves else "untouched"
    held = [item.name for item in (*fit.held, *fit.undetermined)]
    first = next((name for name, _ in parts if name in held), "")
    return OpenDirection(parts, reason, float(u), shift, first)


def _gains(fit: LineFit) -> dict[str, float]:
    noise = [r.spread for r in fit.used if r.feature != "level" and r.spread > 0.0]
    if not noise:
        return {}
    typical = float(np.median(noise))
    return {
        name: float(np.sqrt(fit.covariance[i, i])) / (fit.scale * typical)
        for i, name in enumerate(fit.parameters)
        if name in fit.free and is_place(name) and not only_serves(name)
    }
