"""Sums of times set right by what a stopwatch said at the machine."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.timed_ground import Spread

if TYPE_CHECKING:
    from gudgeon.quantity.amount import Amount
    from gudgeon.timing.calibrate import Calibration

__all__ = ["MODEL_STRAY", "READING_S", "Read", "Stopwatch", "own_reading", "set_right"]

Floats = NDArray[np.float64]

READING_S: Final = 1.0
"""Half range (k = 2) of a reading that has none written [s] (common practice, no source)."""

MODEL_STRAY: Final = 0.1
"""Half range (k = 2) by which a program that was not timed may still be off, as a share of what
moves; twice the standard share of `timing.calibrate` (no source)."""


@dataclass(frozen=True, slots=True)
class Read:
    """One reading beside the sum that was worked out.

    Attributes
    ----------
    program : str
    taken : Amount
        By the stopwatch [s].
    sum_s, plus_minus : float
        As worked out, with its range [s].
    """

    program: str
    taken: Amount
    sum_s: float
    plus_minus: float

    @property
    def half_s(self) -> float:
        """Half range of the reading [s]."""
        return READING_S if self.taken.plus_minus is None else max(self.taken.plus_minus, 1e-3)

    @property
    def off_share(self) -> float:
        """By how much of the time taken the sum was too long; negative: too short."""
        return (self.sum_s - self.taken.value) / self.taken.value

    @property
    def agrees(self) -> bool:
        """Whether sum and reading lie within their ranges of each other."""
        return abs(self.sum_s - self.taken.value) <= math.hypot(self.half_s, self.plus_minus)


@dataclass(frozen=True, slots=True)
class Stopwatch:
    """What the stopwatch readings of a cell say.

    Attributes
    ----------
    fit : Calibration
    readings : tuple of Read
    told : tuple of str
        By how much the sums were off; readings that could not be used.
    """

    fit: Calibration
    readings: tuple[Read, ...]
    told: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        """Whether every sum agrees with its reading."""
        return all(one.agrees for one in self.readings)

    def of(self, program: str) -> Read | None:
        """Return the surest reading of a program itself."""
        own = [one for one in self.readings if one.program == program]
        return min(own, key=lambda one: one.half_s, default=None)


def set_right(moving_s: Floats, stops: Floats, fit: Calibration) -> Spread:
    """Return the seconds of what moves, as the readings have it.

    Parameters
    ----------
    moving_s, stops : ndarray
        Seconds without settling, and full stops, of each part of a program.
    fit : Calibration

    Notes
    -----
    The two numbers of the fit are not sure together: the shares are along the axes of their
    covariance, so that any sum of parts gets its own range.
    """
    value = fit.scale * moving_s + fit.per_stop_s * stops
    spread = Spread(value)
    sizes, ways = np.linalg.eigh(fit.covariance)
    for number, (size, way) in enumerate(zip(sizes, ways.T, strict=True)):
        half = 2.0 * math.sqrt(max(float(size), 0.0))
        spread.add(
            f"stopwatch {number}", np.zeros_like(value), half * (way[0] * moving_s + way[1] * stops)
        )
    spread.add("stray", np.zeros_like(value), MODEL_STRAY * value)
    return spread


def own_reading(spread: Spread, other_s: float, read: Read) -> Spread | None:
    """Return what moves in a program that was timed itself: together it took what was read.

    ``None`` where what does not move is longer than the reading by itself.

    Parameters
    ----------
    spread : Spread
        Of what moves.
    other_s : float
        What else the program takes, as entered [s].
    read : Read
    """
    whole = float(spread.value.sum())
    left = read.taken.value - other_s
    if whole <= 0.0 or left <= 0.0:
        return None
    right = Spread(spread.value * (left / whole))
    right.add("reading", np.zeros_like(right.value), right.value * (read.half_s / left))
    return right
