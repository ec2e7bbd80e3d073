"""What the measured test piece tells: which figures are off, and what is the likeliest cause."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.piece_deviations import Named
from gudgeon.findings.piece_found import Figure, PieceFinding

if TYPE_CHECKING:
    from gudgeon.findings import Findings

__all__ = ["PieceMeasured", "piece_key", "piece_measured"]

Floats = NDArray[np.float64]

EXPLAINS: Final = 3.0
"""One error explains the figures if what is left of chi squared is no more than so many standard
deviations over its degrees of freedom (mean n, variance 2 n)."""

ALMOST: Final = 3.0
"""Errors whose chi squared is no more than this over that of the likeliest cannot be told from
it."""


@dataclass(frozen=True, slots=True, eq=False)
class PieceMeasured:
    """The figures that were entered.

    Attributes
    ----------
    other_piece : bool
        They belong to another test piece, or do not say to which; nothing else is told then.
    unknown : tuple of str
        Figures that this piece does not have, or that have no size.
    off_mm : ndarray, shape (figures,)
        Measured less expected; NaN where not measured.
    outside : tuple of Figure
        Those outside their limits.
    single : tuple of (Named, float)
        Errors that explain the figures each on its own, with its size, the likeliest first; empty
        where none does or nothing is outside.
    several : tuple of (Named, float, float)
        All errors at once that are surely there: size and U at 95 %.
    """

    other_piece: bool
    unknown: tuple[str, ...]
    off_mm: Floats
    outside: tuple[Figure, ...]
    single: tuple[tuple[Named, float], ...]
    several: tuple[tuple[Named, float, float], ...]

    @property
    def count(self) -> int:
        """How many figures were measured."""
        return int(np.isfinite(self.off_mm).sum())

    @property
    def good(self) -> bool:
        """Whether every figure of the piece was measured and keeps its limit."""
        whole = bool(np.all(np.isfinite(self.off_mm))) and len(self.off_mm) > 0
        return not self.other_piece and not self.outside and whole


def piece_key(piece: PieceFinding) -> str:
    """Return a short key of the lands, their poses and their order, to tell two pieces apart."""
    words = [f"{piece.block.half:.3f} {piece.block.low:.3f} {piece.block.high:.3f}"]
    for pose in piece.poses:
        angles = " ".join(f"{math.degrees(angle):.3f}" for angle in pose.angles_rad)
        words.append(f"{angles} {' '.join(pose.minus)}")
        for one in pose.lands:
            words.append(f"{one.number} {one.land.spot.key} {one.land.way.kind}")
    words += [f"{figure.name} {figure.lands}" for figure in piece.figures]
    return hashlib.blake2b("\n".join(words).encode(), digest_size=3).hexdigest()


def piece_measured(findings: Findings) -> PieceMeasured | None:
    """Return what the entered figures tell; ``None`` where none is entered.

    Raises
    ------
    Lacking
        What the test piece lacks.
    """
    given = findings.cell.test_piece
    if not given.measured:
        return None
    piece = findings.test_piece
    off = np.full(len(piece.figures), np.nan)
    if given.key != piece_key(piece):
        return PieceMeasured(True, (), off, (), (), ())
    at = {figure.name: i for i, figure in enumerate(piece.figures)}
    unknown = []
    for number, one in enumerate(given.measured, start=1):
        if one.figure not in at or one.size is None:
            unknown.append(one.figure or f"no. {number}")
            continue
        i = at[one.figure]
        off[i] = one.size.value - piece.figures[i].expected_mm
    outside = tuple(
        figure
        for figure, value in zip(piece.figures, off, strict=True)
        if abs(value) > figure.limit_mm
    )
    if not outside:
        return PieceMeasured(False, tuple(unknown), off, (), (), ())
    fits = piece.culprits(off)
    free = max(int(np.isfinite(off).sum()) - 1, 1)
    most = free + EXPLAINS * math.sqrt(2.0 * free)
    single = tuple(
        (named, size) for chi, named, size in fits if chi <= most and chi <= fits[0][0] + ALMOST
    )
    several = tuple((named, value, u) for named, value, u in piece.estimated(off) if abs(value) > u)
    return PieceMeasured(False, tuple(unknown), off, outside, single, several)
