"""How deep bodies overlap in one pose: a figure for a person, not a proof.

The depth of two convex pieces is the shortest way that parts them: the least, over all directions,
of the sum of their supports.  Directions square to faces and edges are tried, and the best of them
are improved.  Bodies of several pieces overlap as deep as the deepest pair of pieces.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.assembly import Assembly, turned
from gudgeon.clearance.pieces import CONE
from gudgeon.clearance.scene import Carrier

__all__ = ["deepest"]

Floats = NDArray[np.float64]

_MOST_PAIRS: Final = 400
_IMPROVED: Final = 4

_TURNS: Final = np.arange(12) * (np.pi / 6.0)
_CIRCLE: Final = np.column_stack([np.cos(_TURNS), np.sin(_TURNS)])
_RING_FIRST: Final = 0.2
_RING_LAST: Final = 1e-4
"""Rings about a direction, first and last [rad]: the spread is stationary at its least, so what is
left over goes with the square."""


def deepest(every: Assembly, joint: Floats) -> tuple[float, tuple[str, str]]:
    """Return the depth of the deepest overlap [mm] and the names of the pair; 0 if none."""
    depth, names = 0.0, ("", "")
    allowed = every.allows[0]
    places = {carrier: _place(every, carrier, joint) for carrier in Carrier}
    nodes = every.nodes[every.nodes["piece"] >= 0]
    centres = np.empty((len(nodes), 3))
    carriers = np.array([every.bodies[body].carrier for body in every.pieces["body"]])
    for carrier in Carrier:
        own = carriers[nodes["piece"]] == carrier
        turn, shift = places[carrier]
        centres[own] = nodes["centre"][own] @ turn.T + shift
    shapes: dict[int, _Shape] = {}

    def shape(number: int) -> _Shape:
        if number not in shapes:
            shapes[number] = _Shape(every, number, places[carriers[number]])
        return shapes[number]

    seen = 0
    for deep, i, j in _near(every, nodes, centres, carriers):
        if deep <= depth:
            break  # no pair is deeper than its balls
        one, other = int(nodes["piece"][i]), int(nodes["piece"][j])
        if allowed[every.pieces["body"][one], every.pieces["body"][other]]:
            continue
        first, second = shape(one), shape(other)
        upright = min(
            float((first.high - second.low).min()), float((second.high - first.low).min())
        )
        if upright <= depth:
            continue  # nor deeper than its upright boxes
        seen += 1
        if seen > _MOST_PAIRS:
            break
        found = _depth(first, second, depth)
        if found > depth:
            depth, names = found, every.names(one, other)
    return depth, names


def _near(
    every: Assembly, nodes: NDArray[np.void], centres: Floats, carriers: NDArray[np.int64]
) -> list[tuple[float, int, int]]:
    """Return pairs of leaves whose balls meet, and how deep [mm], the deepest first."""
    found = []
    own = carriers[nodes["piece"]]
    for a, b in every.pairs:
        ones, others = np.flatnonzero(own == a), np.flatnonzero(own == b)
        for i in ones:
            reach = nodes["radius"][others] + nodes["radius"][i]
            deep = reach - np.linalg.norm(centres[others] - centres[i], axis=1)
            found += [(float(deep[k]), int(i), int(others[k])) for k in np.flatnonzero(deep > 0.0)]
    return sorted(found, reverse=True)


def _place(every: Assembly, carrier: Carrier, joint: Floats) -> tuple[Floats, Floats]:
    tilt = turned(every.scene_lines[0], joint[3])
    if carrier is Carrier.HEAD:
        return np.eye(3), joint[:3]
    if carrier is Carrier.BASE:
        return np.eye(3), every.table_axes * joint[:3]
    if carrier is Carrier.TILT:
        return tilt
    if carrier is Carrier.ROTARY:
        turn, shift = turned(every.scene_lines[1], joint[4])
        return tilt[0] @ turn, tilt[0] @ shift + tilt[1]
    return np.eye(3), np.zeros(3)


def _depth(one: _Shape, other: _Shape, beaten: float) -> float:
    """Return the depth of two pieces; 0 too where it is known to be no more than `beaten`."""
    a, b, first, second = one.support, other.support, one.ways, other.ways

    def spreads(ways: Floats) -> Floats:
        size = np.sqrt(np.einsum("ij,ij->i", ways, ways))
        return np.asarray(np.where(size > 0.0, (a(ways) + b(-ways)) / size, np.inf))

    # A goes by this much along d to part from B: both ways are tried.
    tried = np.array(
        [*first, *second, *(np.cross(u, v) for u, v in product(first[:8], second[:8]))]
    )
    size = np.linalg.norm(tried, axis=1)
    tried = tried[size > 1e-9] / size[size > 1e-9, None]
    ways = np.concatenate([tried, -tried])
    if not len(ways):
        return 0.0
    found = spreads(ways)
    order = np.argsort(found, kind="stable")
    best = float(found[order[0]])
    # Every way that was tried is an upper bound of the depth.
    if best <= beaten:
        return 0.0
    for d in ways[order[:_IMPROVED]]:
        best = min(best, _improved(spreads, d, beaten))
        if best <= beaten:
            return 0.0
    return best


def _improved(spreads: Callable[[Floats], Floats], way: Floats, beaten: float) -> float:
    """Return the least spread near a direction: rings about the best so far, ever smaller."""
    best, angle = float(spreads(way[None])[0]), _RING_FIRST
    while angle > _RING_LAST and best > beaten:
        aside = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
        aside /= np.linalg.norm(aside)
        ring = way + np.tan(angle) * (_CIRCLE @ np.stack([aside, np.cross(way, aside)]))
        ring /= np.linalg.norm(ring, axis=1)[:, None]
        found = spreads(ring)
        at = int(np.argmin(found))
        if found[at] < best:
            best, way = float(found[at]), ring[at]
        else:
            angle *= 0.5
    return best


class _Shape:
    """A piece where it stands in T: its support, its upright box, and directions worth trying."""

    def __init__(self, every: Assembly, number: int, place: tuple[Floats, Floats]) -> None:
        piece, (turn, shift) = every.pieces[number], place
        own = every.points[piece["first"] : piece["first"] + piece["count"]]
        self.points = own @ turn.T + shift
        self.rounding = float(piece["round"])
        self.axis: Floats | None = turn @ piece["axis"] if piece["kind"] == CONE else None
        self.radii = np.array([piece["r0"], piece["r1"]])
        self.high, self.low = self.support(np.eye(3)), -self.support(-np.eye(3))

    def support(self, ways: Floats) -> Floats:
        """Return how far the piece reaches along directions, shape (n, 3)."""
        far = ways @ self.points.T
        if self.axis is not None:
            square = np.einsum("ij,ij->i", ways, ways) - (ways @ self.axis) ** 2
            far = far + self.radii * np.sqrt(np.maximum(square, 0.0))[:, None]
        return np.asarray(far.max(axis=1) + self.rounding * np.linalg.norm(ways, axis=1))

    @cached_property
    def ways(self) -> list[Floats]:
        """Directions square to its faces."""
        if self.axis is None:
            return _normals(self.points)
        aside = np.cross(self.axis, np.eye(3)[int(np.argmin(np.abs(self.axis)))])
        across = np.cross(self.axis, aside)
        turns = np.arange(8) * np.pi / 8.0
        return [self.axis, *(np.cos(t) * aside + np.sin(t) * across for t in turns)]


def _normals(points: Floats) -> list[Floats]:
    if len(points) == 3:
        return [np.cross(points[1] - points[0], points[2] - points[0])]
    from scipy.spatial import ConvexHull, QhullError

    try:
        faces = ConvexHull(points).equations[:, :3]
    except (QhullError, ValueError):
        return list(np.eye(3))
    return list(np.unique(faces.round(9), axis=0))
