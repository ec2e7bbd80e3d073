"""What is said of readings that do not fit the others."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gudgeon.centre.readings import Reading

__all__ = ["Cause", "Suspect"]


@dataclass(frozen=True, slots=True)
class Cause:
    """A reason and the readings as they would then have been."""

    reason: str
    corrected: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Suspect:
    """Readings that do not fit the others.

    Attributes
    ----------
    reading : Reading
        The first of `readings`.
    off_mm : float
        Measured less what the others predict, along the counting coordinate that is off by most
        standard uncertainties; rad for a level.
    reason : str
        Of `gudgeon.centre.mistakes.CHANCES`; ``"tilt"`` or ``"rotary"`` (the axis stood off by
        `off_rad` while all of them were read), ``"shift"`` (the unit stood off while they were
        read), ``"moved"`` (it moved before the first of them: these agree among themselves, and so
        do those in `against`), ``"halves"`` (they agree among themselves, and so do those in
        `against`; `retake` decides; with ``"moved"`` in `also` where they are the later ones), or
        ``""``: bad, reason unknown.
    readings : tuple of Reading
        All rows concerned; usually one.
    corrected : tuple of Reading
        What they would have been, in the same order; empty without a reason that gives it.
    margin : float
        Natural log of the odds against the next best that was considered.
    either : bool
        True: this or another suspect that is marked so, not known which.
    also : tuple of Cause
        Other reasons, with their corrections, that fit the readings as well.
    against : tuple of Reading
    retake : Reading or None
        The row that tells most when it is taken again.
    off_rad : float
    """

    reading: Reading
    off_mm: float
    reason: str
    readings: tuple[Reading, ...] = ()
    corrected: tuple[Reading, ...] = ()
    margin: float = math.inf
    either: bool = False
    also: tuple[Cause, ...] = ()
    against: tuple[Reading, ...] = ()
    retake: Reading | None = None
    off_rad: float = 0.0
