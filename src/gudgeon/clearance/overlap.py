"""How deep bodies overlap in one pose: a figure for a person, not a proof.

The depth of two convex pieces is the shortest way that parts them: the least, over all directions,
of the sum of their supports.  Directions square to faces and edges are tried, and the best of them
are improved.  Bodies of several pieces overlap as deep as the deepest pair of pieces.
"""

from __future__ import annotations

from collections.abc import Callable
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
    seen = 0
    for i, j in _near(every, nodes, centres, carriers):
        one, other = int(nodes["piece"][i]), int(nodes["piece"][j])
        if allowed[every.pieces["body"][one], every.pieces["body"][other]]:
            continue
        seen += 1
        if seen > _MOST_PAIRS:
            break
        found = _depth(every, one, places[carriers[one]], other, places[carriers[other]])
        if found > depth:
            depth, names = found, every.names(one, other)
    return depth, names


def _near(
    every: Assembly, nodes: NDArray[np.void], centres: Floats, carriers: NDArray[np.int64]
) -> list[tuple[int, int]]:
    """Return pairs of leaves whose balls meet, the deepest first."""
    found = []
    own = carriers[nodes["piece"]]
    for a, b in every.pairs:
        ones, others = np.flatnonzero(own == a), np.flatnonzero(own == b)
        for i in ones:
            reach = nodes["radius"][others] + nodes["radius"][i]
            deep = reach - np.linalg.norm(centres[others] - centres[i], axis=1)
            found += [(float(deep[k]), int(i), int(others[k])) for k in np.flatnonzero(deep > 0.0)]
    return [(i, j) for _, i, j in sorted(found, reverse=True)]


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


def _depth(
    every: Assembly,
    one: int,
    place: tuple[Floats, Floats],
    other: int,
    there: tuple[Floats, Floats],
) -> float:
    a, first = _support(every, one, place)
    b, second = _support(every, other, there)

    def spread(d: Floats) -> float:
        size = float(np.linalg.norm(d))
        return np.inf if size == 0.0 else (a(d) + b(-d)) / size

    # A goes by this much along d to part from B: both ways are tried.
    tried = [*first, *second, *(np.cross(u, v) for u, v in product(first[:8], second[:8]))]
    ways = [
        s * d / np.linalg.norm(d) for d in tried if np.linalg.norm(d) > 1e-9 for s in (1.0, -1.0)
    ]
    ways.sort(key=spread)
    if not ways or spread(ways[0]) <= 0.0:
        return 0.0
    from scipy.optimize import minimize

    best = spread(ways[0])
    for d in ways[:_IMPROVED]:
        best = min(best, float(minimize(spread, d, method="Nelder-Mead").fun))
        if best <= 0.0:
            return 0.0
    return best


def _support(
    every: Assembly, number: int, place: tuple[Floats, Floats]
) -> tuple[Callable[[Floats], float], list[Floats]]:
    """Return the support of a piece in T, and directions worth trying."""
    piece, (turn, shift) = every.pieces[number], place
    points = every.points[piece["first"] : piece["first"] + piece["count"]] @ turn.T + shift
    rounding = float(piece["round"])
    if piece["kind"] == CONE:
        axis = turn @ piece["axis"]
        radii = np.array([piece["r0"], piece["r1"]])

        def cone(d: Floats) -> float:
            square = float(np.linalg.norm(np.cross(d, axis)))
            return float((points @ d + radii * square).max()) + rounding * float(np.linalg.norm(d))

        aside = np.cross(axis, [1.0, 0.0, 0.0] if abs(axis[0]) < 0.9 else [0.0, 1.0, 0.0])
        across = np.cross(axis, aside)
        ring = [np.cos(t) * aside + np.sin(t) * across for t in np.arange(8) * np.pi / 8.0]
        return cone, [axis, *ring]

    def hull(d: Floats) -> float:
        return float((points @ d).max()) + rounding * float(np.linalg.norm(d))

    return hull, _normals(points)


def _normals(points: Floats) -> list[Floats]:
    if len(points) == 3:
        return [np.cross(points[1] - points[0], points[2] - points[0])]
    from scipy.spatial import ConvexHull, QhullError

    try:
        faces = ConvexHull(points).equations[:, :3]
    except (QhullError, ValueError):
        return list(np.eye(3))
    return list(np.unique(faces.round(9), axis=0))
