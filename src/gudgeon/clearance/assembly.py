"""The bodies of a scene as the compiled loops take them: flat arrays, pairs of carriers, probes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.cores import core
from gudgeon.clearance.pieces import HULL, Solid, build, joined
from gudgeon.clearance.scene import Body, Carrier, Role, Scene
from gudgeon.kinematics.chain import AxisLine, turn_about

__all__ = ["Assembly", "assemble", "turned"]

Floats = NDArray[np.float64]
Point = tuple[float, float, float]

# A only slides, B turns too; on the tilt everything is told in its own frame.
_PAIRS: Final = (
    (Carrier.HEAD, Carrier.TABLE),
    (Carrier.HEAD, Carrier.TILT),
    (Carrier.HEAD, Carrier.ROTARY),
    (Carrier.HEAD, Carrier.BASE),
    (Carrier.TABLE, Carrier.TILT),
    (Carrier.TABLE, Carrier.ROTARY),
    (Carrier.BASE, Carrier.TABLE),
    (Carrier.BASE, Carrier.TILT),
    (Carrier.BASE, Carrier.ROTARY),
    (Carrier.TILT, Carrier.ROTARY),
)


@dataclass(frozen=True, slots=True)
class Assembly:
    """All bodies of a scene with a tool.

    Attributes
    ----------
    bodies : tuple of Body
    pieces, points, nodes : ndarray
        See `pieces`; `body` of a piece counts `bodies`.
    roots : ndarray of int, shape (pairs, 2)
    pairs : tuple of (Carrier, Carrier)
    lines : ndarray, shape (pairs, 2, 7)
    masks : ndarray, shape (pairs, 3)
    unsure : ndarray, shape (pairs,)
        [mm]
    probes : ndarray of PROBE
    allows : ndarray of uint8, shape (cuts, bodies, bodies)
        Pairs that may touch: nothing cut, any stock, then station by station.
    stations : dict of name to row of `allows`
    table_axes : ndarray, shape (3,)
    scene_lines : ndarray, shape (2, 7)
    """

    bodies: tuple[Body, ...]
    pieces: NDArray[np.void]
    points: Floats
    nodes: NDArray[np.void]
    roots: NDArray[np.int64]
    pairs: tuple[tuple[Carrier, Carrier], ...]
    lines: Floats
    masks: Floats
    unsure: Floats
    probes: NDArray[np.void]
    allows: NDArray[np.uint8]
    stations: dict[str, int]
    table_axes: Floats
    scene_lines: Floats

    def cut(self, station: str | None) -> int:
        """Return the row of `allows` for what is being cut.

        A station without a stock of its own allows the stock of no station alone.
        """
        if station is None:
            return 0
        return 1 if station == "*" else self.stations.get(station, self.stations.get("", 0))

    def names(self, a: float, b: float) -> tuple[str, str]:
        """Return the names of the bodies of two pieces."""
        return tuple(  # type: ignore[return-value]
            self.bodies[int(self.pieces[int(piece)]["body"])].name for piece in (a, b)
        )

    def frame(self, pair: int, joint: Floats) -> tuple[Floats, Floats]:
        """Return R, t that take points of A's frame into T."""
        carrier = self.pairs[pair][0]
        if carrier is Carrier.HEAD:
            return np.eye(3), joint[:3]
        if carrier is Carrier.BASE:
            return np.eye(3), self.table_axes * joint[:3]
        if carrier is Carrier.TILT:
            return turned(self.scene_lines[0], joint[3])
        return np.eye(3), np.zeros(3)

    def in_table_frame(self, pair: int, joint: Floats, out: Floats) -> tuple[Point, Point]:
        """Return the two nearest points of a result in T [mm]."""
        turn, shift = self.frame(pair, joint)
        one, other = (turn @ out[at : at + 3] + shift for at in (6, 9))
        return tuple(one.tolist()), tuple(other.tolist())


def turned(line: Floats, angle: float) -> tuple[Floats, Floats]:
    """Return R, t of a turn about a line as in `scene.Lines`; sense 0 turns nothing."""
    point, direction = (tuple(line[at : at + 3].tolist()) for at in (0, 3))
    pose = turn_about(AxisLine(point, direction), float(line[6]) * angle)
    return pose[:3, :3], pose[:3, 3]


def assemble(scene: Scene, tool: Sequence[Body]) -> Assembly:
    """Put the bodies of a scene and a tool into flat arrays."""
    bodies = (*scene.bodies, *tool)
    cores: frozenset[int] = frozenset()
    if any(body.role is Role.PART for body in bodies):
        cutters = [body for body in tool if body.role is Role.CUTTER]
        cores = frozenset(range(len(bodies), len(bodies) + len(cutters)))
        bodies += tuple(replace(one, solids=core(one.solids, scene.below_mm)) for one in cutters)
    parts, points, nodes = [], [], []
    roots: dict[Carrier, int] = {}
    spans: dict[int, tuple[int, int]] = {}
    piece_at = point_at = node_at = 0
    for carrier in Carrier:
        solids: list[Solid] = []
        for number, body in enumerate(bodies):
            if body.carrier is not carrier:
                continue
            # Triangles first, so that a surface is one run of pieces.
            own, corners = joined(sorted(body.solids, key=lambda one: not _flat(one[0])))
            own["body"] = number
            before = sum(len(one) for one, _ in solids)
            spans[number] = piece_at + before, piece_at + before + len(own)
            solids.append((own, corners))
        pieces, corners = joined(solids)
        if not len(pieces):
            continue
        tree = build(pieces, corners)
        roots[carrier] = node_at
        pieces["first"] += point_at
        for name, shift in (("left", node_at), ("right", node_at), ("piece", piece_at)):
            tree[name][tree[name] >= 0] += shift
        parts.append(pieces)
        points.append(corners)
        nodes.append(tree)
        piece_at, point_at, node_at = (
            piece_at + len(pieces), point_at + len(corners), node_at + len(tree)
        )  # fmt: skip
    pieces, corners = joined([])
    tree = build(pieces, corners)[:0]
    pairs = tuple((a, b) for a, b in _PAIRS if a in roots and b in roots)
    made = np.array(scene.table_axes, dtype=np.float64)
    masks = np.array([_mask(a, b, made) for a, b in pairs]).reshape(-1, 3)
    every = np.concatenate([pieces, *parts])
    places = np.ascontiguousarray(np.concatenate([corners, *points]))
    stations = sorted({body.station for body in bodies if body.role in (Role.STOCK, Role.PART)})
    return Assembly(
        bodies=bodies,
        pieces=every,
        points=places,
        nodes=np.concatenate([tree, *nodes]),
        roots=np.array([(roots[a], roots[b]) for a, b in pairs], dtype=np.int64).reshape(-1, 2),
        pairs=pairs,
        lines=np.array([_lines(a, b, scene) for a, b in pairs]).reshape(-1, 2, 7),
        masks=masks,
        unsure=np.array(
            [scene.unsure_mm if b in (Carrier.TILT, Carrier.ROTARY) else 0.0 for _, b in pairs]
        ),
        probes=_probes(bodies, spans, pairs, every, places),
        allows=_allows(scene, bodies, cores, stations),
        stations={name: 2 + row for row, name in enumerate(stations)},
        table_axes=made,
        scene_lines=np.asarray(scene.lines.rows, dtype=np.float64),
    )


def _mask(a: Carrier, b: Carrier, made: Floats) -> Floats:
    if a is Carrier.HEAD:
        return 1.0 - made if b is Carrier.BASE else np.ones(3)
    return made.copy() if a is Carrier.BASE else np.zeros(3)


def _lines(a: Carrier, b: Carrier, scene: Scene) -> Floats:
    lines = np.array(scene.lines.rows, dtype=np.float64)
    if b not in (Carrier.TILT, Carrier.ROTARY) or a is Carrier.TILT:
        lines[0, 6] = 0.0
    if b is not Carrier.ROTARY:
        lines[1, 6] = 0.0
    return lines


def _allows(
    scene: Scene, bodies: tuple[Body, ...], cores: frozenset[int], stations: list[str]
) -> NDArray[np.uint8]:
    """Return what is asked of each two bodies: nothing cut, any stock, then station by station.

    A core of a cutter takes the place of the cutter against the part that is being finished, and
    must not touch it; it is not asked about anywhere else.
    """
    from gudgeon.clearance.sweep import CONTACT, MAY

    count = len(bodies)
    allows = np.zeros((2 + len(stations), count, count), dtype=np.uint8)
    for i, j in product(range(count), repeat=2):
        one, other = bodies[i], bodies[j]
        if frozenset((one.name, other.name)) in scene.apart:
            allows[:, i, j] = MAY
            continue
        cored = i in cores or j in cores
        if cored:
            allows[:, i, j] = MAY
        for target in (one, other):
            if {one.role, other.role} == {Role.CUTTER, target.role}:
                rows = [1, 2 + stations.index(target.station)] if target.station in stations else []
                if target.role is Role.STOCK:
                    allows[rows, i, j] = MAY
                elif target.role is Role.PART:
                    allows[rows, i, j] = CONTACT if cored else MAY
    return allows


def _probes(
    bodies: tuple[Body, ...],
    spans: dict[int, tuple[int, int]],
    pairs: tuple[tuple[Carrier, Carrier], ...],
    pieces: NDArray[np.void],
    points: Floats,
) -> NDArray[np.void]:
    """Return a point of each connected part against each closed surface it could be inside of."""
    from gudgeon.clearance.within import PROBE

    surfaces = {}
    for number, (first, end) in spans.items():
        flat = _triangles(pieces[first:end])
        run = len(flat) if flat.all() else int(np.argmin(flat))
        if bodies[number].closed and run:
            corners = points[pieces["first"][first : first + run, None] + np.arange(3)]
            corners = corners.reshape(-1, 3)
            surfaces[number] = (first, first + run, corners.min(axis=0), corners.max(axis=0))
    kept: dict[int, Floats] = {}
    found = []
    for at, pair in enumerate(pairs):
        for mesh, body in product(surfaces, range(len(bodies))):
            sides = bodies[mesh].carrier, bodies[body].carrier
            if sides not in (pair, pair[::-1]) or sides[0] is sides[1]:
                continue
            if body not in kept:
                kept[body] = np.concatenate(
                    [np.empty((0, 3)), *(_one_of_each(solid) for solid in bodies[body].solids)]
                )
            first, end, least, most = surfaces[mesh]
            in_a = sides[0] is pair[0]
            found += [(at, in_a, mesh, body, first, end, one, least, most) for one in kept[body]]
    return np.array(found, dtype=PROBE)


def _one_of_each(solid: Solid) -> Floats:
    """Return one point of each connected part of a solid."""
    pieces, points = solid
    flat = _triangles(pieces)
    own: Floats = points[pieces["first"][~flat]]
    if not flat.any():
        return own
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    corners = points[pieces["first"][flat][:, None] + np.arange(3)]
    _, number = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    number = number.reshape(-1, 3)
    count = int(number.max()) + 1
    ends = number.ravel(), np.roll(number, 1, axis=1).ravel()
    joins = coo_array((np.ones(number.size, dtype=np.int8), ends), shape=(count, count))
    _, part = connected_components(joins, directed=False)
    _, first = np.unique(part[number[:, 0]], return_index=True)
    return np.concatenate([own, corners[first, 0]])


def _triangles(pieces: NDArray[np.void]) -> NDArray[np.bool_]:
    flat: NDArray[np.bool_] = (pieces["kind"] == HULL) & (pieces["count"] == 3)
    return flat


def _flat(pieces: NDArray[np.void]) -> bool:
    return bool(_triangles(pieces).all())
