"""How deep bodies overlap in one pose: a figure for a person, not a proof.

The depth of two convex pieces is the shortest way that parts them: the least, over all directions,
of the sum of their supports.  Directions square to faces and edges are tried, and the best of them
are improved.  Bodies of several pieces overlap as deep as the deepest pair of pieces.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.assembly import Assembly, turned
from gudgeon.clearance.pieces import CONE
from gudgeon.clearance.scene import Carrier

__all__ = ["deepest"]

Floats = NDArray[np.float64]

_MOST_PAIRS: Final = 400


def deepest(every: Assembly, joint: Floats) -> tuple[float, tuple[str, str]]:
    """Return the depth of the deepest overlap [mm] and the names of the pair; 0 if none."""
    depth, names = 0.0, ("", "")
    places = {carrier: _place(every, carrier, joint) for carrier in Carrier}
    nodes = every.nodes[every.nodes["piece"] >= 0]
    centres = np.empty((len(nodes), 3))
    carriers = np.array([every.bodies[body].carrier for body in every.pieces["body"]])
    for carrier in Carrier:
        own = carriers[nodes["piece"]] == carrier
        turn, shift = places[carrier]
        centres[own] = nodes["centre"][own] @ turn.T + shift
    known: dict[int, _Piece] = {}

    def piece(number: int) -> _Piece:
        if number not in known:
            known[number] = _Piece(every, number, places[carriers[number]])
        return known[number]

    for most, i, j in _near(every, nodes, centres, carriers)[:_MOST_PAIRS]:
        if most <= depth:
            break  # no two pieces overlap deeper than the balls about them
        one, other = int(nodes["piece"][i]), int(nodes["piece"][j])
        found = _depth(piece(one), piece(other))
        if found > depth:
            depth, names = found, every.names(one, other)
    return depth, names


def _near(
    every: Assembly, nodes: NDArray[np.void], centres: Floats, carriers: NDArray[np.int64]
) -> list[tuple[float, int, int]]:
    """Return how deep balls of leaves overlap, and which: the deepest first."""
    found: list[tuple[float, int, int]] = []
    own, bodies, radii = carriers[nodes["piece"]], nodes["body"], nodes["radius"]
    for a, b in every.pairs:
        ones, others = np.flatnonzero(own == a), np.flatnonzero(own == b)
        for some, rest in ((ones, others), (others, ones)):
            # What lies beside everything of the other side is left out.
            low = (centres[rest] - radii[rest, None]).min(axis=0)
            high = (centres[rest] + radii[rest, None]).max(axis=0)
            reach = radii[some, None]
            meets = (centres[some] + reach > low) & (centres[some] - reach < high)
            kept = some[meets.all(axis=1)]
            if some is ones:
                ones = kept
            else:
                others = kept
        if not (len(ones) and len(others)):
            continue
        swapped = len(others) < len(ones)
        few, many = (others, ones) if swapped else (ones, others)
        for i in few:
            deep = radii[many] + radii[i] - np.linalg.norm(centres[many] - centres[i], axis=1)
            judged = (deep > 0.0) & (every.allows[0][bodies[i], bodies[many]] == 0)
            # The deepest of each are enough to choose the deepest of all from.
            at = np.flatnonzero(judged)
            at = at[np.argsort(-deep[at], kind="stable")[:_MOST_PAIRS]]
            for k in at.tolist():
                pair = (int(many[k]), int(i)) if swapped else (int(i), int(many[k]))
                found.append((float(deep[k]), *pair))
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


class _Piece:
    """A piece in T, and directions worth trying; of a hull the axis is nought."""

    def __init__(self, every: Assembly, number: int, place: tuple[Floats, Floats]) -> None:
        piece, (turn, shift) = every.pieces[number], place
        first, count = int(piece["first"]), int(piece["count"])
        self.points = np.ascontiguousarray(every.points[first : first + count] @ turn.T + shift)
        self.rounding = float(piece["round"])
        self.axis, self.radii = np.zeros(3), np.zeros(count)
        if piece["kind"] == CONE:
            self.axis = turn @ piece["axis"]
            self.radii = np.array([float(piece["r0"]), float(piece["r1"])])
            aside = np.cross(self.axis, np.eye(3)[int(np.abs(self.axis).argmin())])
            aside /= np.linalg.norm(aside)
            across = np.cross(self.axis, aside)
            angles = np.arange(8)[:, None] * np.pi / 8.0
            self.ways = np.vstack([self.axis, np.cos(angles) * aside + np.sin(angles) * across])
        else:
            self.ways = _normals(self.points)


def _depth(a: _Piece, b: _Piece) -> float:
    # Numba is loaded when something overlaps, so that other commands start quickly.
    from gudgeon.clearance.parting import least_parting

    edges = np.cross(a.ways[:8, None], b.ways[None, :8]).reshape(-1, 3)
    ways = np.vstack([a.ways, b.ways, edges])
    size = np.linalg.norm(ways, axis=1)
    ways = ways[size > 1e-9] / size[size > 1e-9, None]
    if not len(ways):
        return 0.0
    return float(
        least_parting(
            a.points, a.axis, a.radii, b.points, b.axis, b.radii, a.rounding + b.rounding, ways
        )
    )


def _normals(points: Floats) -> Floats:
    if len(points) < 3:
        return np.eye(3)
    if len(points) == 3:
        across = np.cross(points[1] - points[0], points[2] - points[0])
        return np.vstack([across, np.roll(points, 1, axis=0) - points])
    from scipy.spatial import ConvexHull, QhullError

    try:
        faces = ConvexHull(points).equations[:, :3]
    except (QhullError, ValueError):
        return np.eye(3)
    normals: Floats = np.unique(faces.round(9), axis=0)
    return normals
