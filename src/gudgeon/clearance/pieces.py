"""Convex pieces of the bodies as flat arrays, and their bounding tree.

A piece is the hull of some points, or a cone frustum (two discs on one axis); either may be rounded
by a radius.  All in mm, in the frame of the body that carries it.
"""
from __future__ import annotations

from dataclasses import dataclass
import numpy as np
from numba import njit

HULL, CONE = 0, 1

PIECE = np.dtype(
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
NODE = np.dtype(
    [
        ("centre", np.float64, (3,)),
        ("radius", np.float64),
        ("left", np.int32),
        ("right", np.int32),
        ("piece", np.int32),
    ],
    align=True,
)


@njit(cache=True)
def support(piece, points, dx, dy, dz, out):
    """Farthest point of a piece along (dx, dy, dz), its own frame, without the rounding; returns d.p."""
    first = piece.first
    if piece.kind == CONE:
        ux, uy, uz = piece.axis[0], piece.axis[1], piece.axis[2]
        # Part square to the axis through cross products: it keeps its digits where d runs along.
        cx, cy, cz = dy * uz - dz * uy, dz * ux - dx * uz, dx * uy - dy * ux
        square = np.sqrt(cx * cx + cy * cy + cz * cz)
        p, q = points[first], points[first + 1]
        low = p[0] * dx + p[1] * dy + p[2] * dz + piece.r0 * square
        high = q[0] * dx + q[1] * dy + q[2] * dz + piece.r1 * square
        radius, at, value = piece.r0, p, low
        if high > low:
            radius, at, value = piece.r1, q, high
        if square > 0.0:
            scale = radius / square
            out[0] = at[0] + scale * (uy * cz - uz * cy)
            out[1] = at[1] + scale * (uz * cx - ux * cz)
            out[2] = at[2] + scale * (ux * cy - uy * cx)
        else:
            out[0], out[1], out[2] = at[0], at[1], at[2]
        return value
    best, value = first, -np.inf
    for i in range(first, first + piece.count):
        along = points[i, 0] * dx + points[i, 1] * dy + points[i, 2] * dz
        if along > value:
            best, value = i, along
    out[0], out[1], out[2] = points[best, 0], points[best, 1], points[best, 2]
    return value


Solid = tuple[np.ndarray, np.ndarray]
"""Pieces and their points; `first` counts from the start of these points."""


@dataclass(frozen=True)
class Pieces:
    pieces: np.ndarray
    points: np.ndarray
    nodes: np.ndarray

    @property
    def empty(self):
        return not len(self.pieces)


def ball_of(piece, points):
    """Centre and radius of a ball that holds the piece."""
    p = points[piece["first"] : piece["first"] + piece["count"]]
    middle = 0.5 * (p.min(axis=0) + p.max(axis=0))
    if piece["kind"] == CONE:
        p0, p1 = p
        # Along the axis: the ball through both rims.
        length = np.linalg.norm(p1 - p0)
        r0, r1 = piece["r0"], piece["r1"]
        s = 0.5 * length + (0.5 * (r1 * r1 - r0 * r0) / length if length > 0 else 0.0)
        s = min(max(s, 0.0), length)
        middle = p0 + (p1 - p0) * (s / length if length > 0 else 0.0)
        radius = max(np.hypot(s, r0), np.hypot(length - s, r1))
    else:
        radius = np.linalg.norm(p - middle, axis=1).max()
    return middle, (radius + piece["round"]) * (1 + 1e-12) + 1e-12


def build(pieces, points):
    """Bounding tree over pieces by halves along the longest side."""
    n = len(pieces)
    middles, radii = np.empty((n, 3)), np.empty(n)
    kind = pieces["kind"]
    tri = (kind == HULL) & (pieces["count"] == 3)
    if tri.any():
        first = pieces["first"][tri]
        p = np.stack([points[first], points[first + 1], points[first + 2]], axis=1)
        m = 0.5 * (p.min(axis=1) + p.max(axis=1))
        middles[tri] = m
        radii[tri] = (np.linalg.norm(p - m[:, None], axis=2).max(axis=1) + pieces["round"][tri]) * (1 + 1e-12) + 1e-12
    for i in np.flatnonzero(~tri):
        middles[i], radii[i] = ball_of(pieces[i], points)
    nodes = np.zeros(max(1, 2 * n - 1), dtype=NODE)
    if n:
        _grow(nodes, middles, radii, np.arange(n))
    return nodes


@njit(cache=True)
def _grow(nodes, middles, radii, order):
    n = len(order)
    stack = np.empty((200, 3), dtype=np.int64)
    top = 0
    stack[0, 0], stack[0, 1], stack[0, 2] = 0, n, 0
    used = 1
    while top >= 0:
        low, high, at = stack[top, 0], stack[top, 1], stack[top, 2]
        top -= 1
        lo = np.full(3, np.inf)
        hi = np.full(3, -np.inf)
        for i in range(low, high):
            for k in range(3):
                lo[k] = min(lo[k], middles[order[i], k] - radii[order[i]])
                hi[k] = max(hi[k], middles[order[i], k] + radii[order[i]])
        centre = 0.5 * (lo + hi)
        radius = 0.0
        for i in range(low, high):
            m = middles[order[i]]
            d = np.sqrt((m[0] - centre[0]) ** 2 + (m[1] - centre[1]) ** 2 + (m[2] - centre[2]) ** 2)
            radius = max(radius, d + radii[order[i]])
        node = nodes[at]
        node.radius = radius * (1.0 + 1e-12)
        for k in range(3):
            node.centre[k] = centre[k]
        node.piece = -1
        if high - low == 1:
            node.piece = order[low]
            node.radius = radii[order[low]]
            for k in range(3):
                node.centre[k] = middles[order[low], k]
            node.left = node.right = -1
            continue
        size = hi - lo
        k = 0
        if size[1] > size[k]:
            k = 1
        if size[2] > size[k]:
            k = 2
        part = order[low:high]
        part[:] = part[np.argsort(middles[part, k])]
        half = (low + high) // 2
        node.left, node.right = used, used + 1
        used += 2
        stack[top + 1, 0], stack[top + 1, 1], stack[top + 1, 2] = low, half, node.left
        stack[top + 2, 0], stack[top + 2, 1], stack[top + 2, 2] = half, high, node.right
        top += 2


def box(x, y, z, body=0, rounding=0.0):
    corners = np.array([[a, b, c] for a in x for b in y for c in z], float)
    return hull(corners, body, rounding)


def hull(corners, body=0, rounding=0.0):
    piece = np.zeros(1, PIECE)
    piece["kind"], piece["count"], piece["body"], piece["round"] = HULL, len(corners), body, rounding
    return piece, np.asarray(corners, float)


def cone(p0, p1, r0, r1, body=0, rounding=0.0):
    piece = np.zeros(1, PIECE)
    p0, p1 = np.asarray(p0, float), np.asarray(p1, float)
    piece["kind"], piece["count"], piece["body"] = CONE, 2, body
    piece["r0"], piece["r1"], piece["round"] = r0, r1, rounding
    piece["axis"][0] = (p1 - p0) / np.linalg.norm(p1 - p0)
    return piece, np.array([p0, p1])


def triangles(corners, body=0):
    n = len(corners)
    pieces = np.zeros(n, PIECE)
    pieces["count"], pieces["body"] = 3, body
    pieces["first"] = 3 * np.arange(n)
    return pieces, np.asarray(corners, float).reshape(-1, 3)


def gather(*parts):
    pieces, points, shift = [], [], 0
    for piece, pts in parts:
        piece = piece.copy()
        piece["first"] += shift
        shift += len(pts)
        pieces.append(piece)
        points.append(pts)
    if not pieces:
        return Pieces(np.zeros(0, PIECE), np.zeros((0, 3)), np.zeros(1, NODE))
    p, q = np.concatenate(pieces), np.ascontiguousarray(np.concatenate(points))
    return Pieces(p, q, build(p, q))
