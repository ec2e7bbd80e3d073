"""Convex pieces of the bodies as flat arrays, and their bounding tree.

A piece is the hull of some points, or a cone frustum (two discs on one axis); either may be rounded
by a radius.  All in mm, in the frame of the body that carries it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "CONE", "HULL", "NODE", "PIECE", "Pieces", "Solid", "box", "build", "cone", "gather", "hull",
    "triangles",
]  # fmt: skip

Floats = NDArray[np.float64]

HULL: Final = 0
CONE: Final = 1

PIECE: Final = np.dtype(
    [
        ("kind", np.int8),
        ("first", np.int32),
        ("count", np.int32),
        ("body", np.int32),
        ("r0", np.float64),
        ("r1", np.float64),
        ("round", np.float64),
        ("axis", np.float64, (3,)),
    ],
    align=True,
)
"""`first`, `count`: which points; `r0`, `r1`: radii of a cone's ends; `round`: grown by so much."""

NODE: Final = np.dtype(
    [
        ("centre", np.float64, (3,)),
        ("radius", np.float64),
        ("half", np.float64, (3,)),
        ("left", np.int32),
        ("right", np.int32),
        ("piece", np.int32),
        ("body", np.int32),
    ],
    align=True,
)
"""A ball and a box about its centre that both hold all pieces below; `body` is -1 where they belong
to several."""

Solid: TypeAlias = tuple[NDArray[np.void], Floats]
"""Pieces and their points; `first` counts from the start of these points."""

_OUTWARD: Final = 1.0 + 1e-12


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces of several bodies with their tree; node 0 is the root.

    Attributes
    ----------
    pieces : ndarray of PIECE, shape (n,)
    points : ndarray, shape (m, 3)
    nodes : ndarray of NODE, shape (2 n - 1,)
    """

    pieces: NDArray[np.void]
    points: Floats
    nodes: NDArray[np.void]

    @property
    def empty(self) -> bool:
        """Whether there is nothing to touch."""
        return not len(self.pieces)


def hull(corners: ArrayLike, body: int = 0, rounding: float = 0.0) -> Solid:
    """Return the convex hull of points, grown by a radius."""
    points = np.array(corners, dtype=np.float64).reshape(-1, 3)
    piece = np.zeros(1, PIECE)
    piece["kind"], piece["count"] = HULL, len(points)
    piece["body"], piece["round"] = body, rounding
    return piece, points


def box(x: ArrayLike, y: ArrayLike, z: ArrayLike, body: int = 0, rounding: float = 0.0) -> Solid:
    """Return a box between two values of each of x, y and z."""
    ranges = [np.asarray(side, dtype=np.float64) for side in (x, y, z)]
    return hull(np.stack(np.meshgrid(*ranges, indexing="ij"), axis=-1), body, rounding)


def cone(
    p0: ArrayLike, p1: ArrayLike, r0: float, r1: float, body: int = 0, rounding: float = 0.0
) -> Solid:
    """Return a cone frustum between two discs; of no length it becomes a flat disc along Z.

    Parameters
    ----------
    p0, p1 : array_like, shape (3,)
        Middles of the discs.
    r0, r1 : float
        Their radii.
    body : int
    rounding : float
        The frustum is grown by this radius.
    """
    ends = np.array([p0, p1], dtype=np.float64)
    piece = np.zeros(1, PIECE)
    piece["kind"], piece["count"], piece["body"] = CONE, 2, body
    piece["r0"], piece["r1"], piece["round"] = r0, r1, rounding
    along = ends[1] - ends[0]
    length = float(np.linalg.norm(along))
    piece["axis"][0] = along / length if length > 0.0 else (0.0, 0.0, 1.0)
    return piece, ends


def triangles(corners: ArrayLike, body: int = 0) -> Solid:
    """Return each triangle of a surface, shape (n, 3, 3), as a piece of its own."""
    points = np.array(corners, dtype=np.float64).reshape(-1, 3)
    count = len(points) // 3
    pieces = np.zeros(count, PIECE)
    pieces["count"], pieces["body"] = 3, body
    pieces["first"] = 3 * np.arange(count)
    return pieces, points


def gather(*solids: Solid) -> Pieces:
    """Put solids together and grow the tree over them."""
    pieces, points = joined(solids)
    return Pieces(pieces, points, build(pieces, points))


def joined(solids: Sequence[Solid]) -> Solid:
    """Return the pieces of all solids as one, in their order."""
    if not solids:
        return np.zeros(0, PIECE), np.zeros((0, 3))
    pieces, shift = [], 0
    for some, points in solids:
        some = some.copy()
        some["first"] += shift
        shift += len(points)
        pieces.append(some)
    every = np.concatenate([np.asarray(points, dtype=np.float64) for _, points in solids])
    return np.concatenate(pieces), np.ascontiguousarray(every)


def balls(pieces: NDArray[np.void], points: Floats) -> tuple[Floats, Floats]:
    """Return centres and radii of balls that hold each piece."""
    middles, radii = np.empty((len(pieces), 3)), np.empty(len(pieces))
    flat = (pieces["kind"] == HULL) & (pieces["count"] == 3)
    if flat.any():
        corners = points[pieces["first"][flat][:, None] + np.arange(3)]
        middle = 0.5 * (corners.min(axis=1) + corners.max(axis=1))
        middles[flat] = middle
        radii[flat] = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
    for i in np.flatnonzero(~flat):
        middles[i], radii[i] = _ball(pieces[i], points)
    # Outward by more than these few operations can round.
    slop = 1e-15 * (np.abs(middles).sum(axis=1) + radii)
    return middles, (radii + pieces["round"]) * _OUTWARD + 8.0 * slop


def extents(pieces: NDArray[np.void], points: Floats) -> tuple[Floats, Floats]:
    """Return the least and the most coordinates of each piece, shape (n, 3)."""
    if not len(pieces):
        return np.empty((0, 3)), np.empty((0, 3))
    order = np.argsort(pieces["first"], kind="stable")
    own = pieces[order]
    starts = np.cumsum(own["count"]) - own["count"]
    owner = np.repeat(np.arange(len(own)), own["count"])
    at = np.arange(len(owner)) - starts[owner] + own["first"][owner]
    wide = np.zeros((len(owner), 3))
    round_ = own["kind"] == CONE
    # An axis that is rounded to full length may still leave this much of a square root.
    aside = np.sqrt(np.clip(1.0 - own["axis"][round_] ** 2, 0.0, 1.0)) + 3e-8
    wide[starts[round_]] = own["r0"][round_, None] * aside
    wide[starts[round_] + 1] = own["r1"][round_, None] * aside
    least, most = np.empty((len(own), 3)), np.empty((len(own), 3))
    least[order] = np.minimum.reduceat(points[at] - wide, starts)
    most[order] = np.maximum.reduceat(points[at] + wide, starts)
    slop = pieces["round"][:, None] + 4e-16 * (np.abs(least) + np.abs(most) + 1.0)
    return least - slop, most + slop


def _ball(piece: np.void, points: Floats) -> tuple[Floats, float]:
    own: Floats = points[piece["first"] : piece["first"] + piece["count"]]
    if piece["kind"] == CONE:
        p0, p1 = own
        r0, r1 = float(piece["r0"]), float(piece["r1"])
        length = float(np.linalg.norm(p1 - p0))
        # Centre on the axis, as far from one rim as from the other.
        along = 0.5 * length + (0.5 * (r1 * r1 - r0 * r0) / length if length > 0.0 else 0.0)
        along = min(max(along, 0.0), length)
        middle = p0 + (p1 - p0) * (along / length if length > 0.0 else 0.0)
        return middle, max(float(np.hypot(along, r0)), float(np.hypot(length - along, r1)))
    middle = 0.5 * (own.min(axis=0) + own.max(axis=0))
    return middle, float(np.linalg.norm(own - middle, axis=1).max())


def build(pieces: NDArray[np.void], points: Floats) -> NDArray[np.void]:
    """Return the tree over pieces: halves along the longest side, bodies kept together."""
    nodes = np.zeros(max(1, 2 * len(pieces) - 1), dtype=NODE)
    if len(pieces):
        # Numba is loaded when the first tree is grown, so that other commands start quickly.
        from gudgeon.clearance.tree import grow

        middles, radii = balls(pieces, points)
        least, most = extents(pieces, points)
        grow(nodes, middles, radii, least, most, np.ascontiguousarray(pieces["body"]))
    return nodes
