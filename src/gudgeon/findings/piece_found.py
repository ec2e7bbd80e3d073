"""What is found of a test piece: poses, lands, figures, and what figures then tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.piece import Block, Land, Stand
from gudgeon.accuracy.piece_choice import (
    Chosen,
    Parting,
    estimate_deviations,
    single_fits,
)
from gudgeon.answer import Missing
from gudgeon.cell.model import Tool
from gudgeon.findings.piece_deviations import Named

__all__ = ["Figure", "LandCut", "PieceFinding", "Pose"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """A pose in which lands are cut.

    Attributes
    ----------
    angles_rad : tuple of float
        Programmed, in the chain's order.
    minus : tuple of str
        ``"tilt"``, ``"rotary"``: the axes that are brought there turning to minus; the others come
        turning to plus.
    zero_mm : ndarray, shape (3,)
        Where the middle of the platter face stands by the axis lines, T.
    lands : tuple of LandCut
    """

    angles_rad: tuple[float, ...]
    minus: tuple[str, ...]
    zero_mm: Floats
    lands: tuple[LandCut, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LandCut:
    """One land.

    Attributes
    ----------
    number : int
        As it is stamped beside the land, in the order of cutting.
    land : Land
    low_mm, high_mm : ndarray, shape (3,)
        Ends of the land from the pose's zero, along X, Y, Z; the same along the axis across it.
    finish : float
        Where its surface is finished along that axis [mm].
    across : int
        Which axis: 0, 1, 2 for X, Y, Z.
    at_mm : ndarray, shape (k, 3)
        Where its measuring points ought to stand in the pose, from the zero.
    """

    number: int
    land: Land
    low_mm: Floats
    high_mm: Floats
    finish: float
    across: int
    at_mm: Floats

    def proud_mm(self, point: int) -> float:
        """Return how far the land as finished stands proud at a measuring point."""
        normal = float(self.land.way.across[self.across])
        return (self.finish - float(self.at_mm[point, self.across])) / normal


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """One figure to measure.

    Attributes
    ----------
    name : str
        Such as ``"m3a"``.
    lands : tuple of int
        Numbers of the lands: across both, or over the platter face.
    point_mm : ndarray, shape (3,)
        Where, platter frame (on the first land).
    normal : ndarray, shape (3,)
        Of the first land.
    expected_mm : float
        Its size where everything is as believed; a level land on lines that lean is a little off
        nominal.
    limit_mm : float
        U at 95 % of what is believed, cut and measured: more means that something is off.
    row : ndarray, shape (deviations,)
        What it shows for each deviation of 1.
    """

    name: str
    lands: tuple[int, ...]
    point_mm: Floats
    normal: Floats
    expected_mm: float
    limit_mm: float
    row: Floats


@dataclass(frozen=True, slots=True, eq=False)
class PieceFinding:
    """The test piece.

    Attributes
    ----------
    block : Block
    tools : tuple of Tool
        The first cuts all lands, the others one land of the top each; empty: none is entered.
    stands : tuple of Stand
        Poses that were to choose from.
    poses : tuple of Pose
    figures : tuple of Figure
    deviations : tuple of Named
        All that may be off, in the order of the figures' rows.
    left : ndarray, shape (deviations,)
        How surely the piece tells each, k = 2 [mm or rad].
    partings : tuple of Parting
        What it does not tell apart.
    chosen : Chosen
    spread : ndarray, shape (figures, figures)
        Covariance of the figures where nothing is wrong.
    proven : bool
        Every land is proven clear with all bodies that are entered.
    not_judged : tuple of str
        Bodies for which the proof does not hold, as sentences; empty where nothing is proven.
    left_out : tuple of (tuple of float, str)
        Poses in which nothing can be cut, and why.
    missing : tuple of Missing
        What would let it be proven.
    assumed : tuple of str
        Sentences.
    usual : tuple of str
        Sizes of causes that were taken as usual.
    """

    block: Block
    tools: tuple[Tool, ...]
    stands: tuple[Stand, ...]
    poses: tuple[Pose, ...]
    figures: tuple[Figure, ...]
    deviations: tuple[Named, ...]
    left: Floats
    partings: tuple[Parting, ...]
    chosen: Chosen
    spread: Floats
    proven: bool
    not_judged: tuple[str, ...]
    left_out: tuple[tuple[tuple[float, ...], str], ...]
    missing: tuple[Missing, ...]
    assumed: tuple[str, ...]
    usual: tuple[str, ...]

    def number_of(self, land: Land) -> int:
        """Return the number of a land."""
        return next(one.number for pose in self.poses for one in pose.lands if one.land is land)

    def estimated(self, measured_mm: Floats) -> list[tuple[Named, float, float]]:
        """Return each deviation with its likeliest size and U at 95 %, from figures less expected.

        All at once, by weighted least squares with what each may be off by mistake; a figure that
        is NaN was not measured [mm or rad].
        """
        values, covariance = estimate_deviations(
            self.chosen, [one.deviation for one in self.deviations], measured_mm
        )
        sure = 2.0 * np.sqrt(np.diag(covariance))
        return [
            (one, float(value), float(u))
            for one, value, u in zip(self.deviations, values, sure, strict=True)
            if one.deviation.told
        ]

    def culprits(self, measured_mm: Floats) -> list[tuple[float, Named, float]]:
        """Return what alone would explain figures less expected, the likeliest first.

        Each with the chi squared that remains, and the size it must have [mm or rad].
        """
        fits = single_fits(
            self.chosen, [one.deviation for one in self.deviations], self.spread, measured_mm
        )
        return [(chi, self.deviations[i], size) for chi, i, size in fits]
