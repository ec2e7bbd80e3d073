"""Surfaces of bodies as triangles, for showing them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from gudgeon.clearance.scene import Body

__all__ = ["body_triangles", "reduced"]

Floats = NDArray[np.float64]

SIDES: Final = 36
"""Sides of a round bar."""


def body_triangles(body: Body) -> Floats:
    """Return the surface of a body; hulls and bars facing outwards.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        In body coordinates [mm]; by what a piece is rounded is left off.
    """
    from gudgeon.clearance.pieces import CONE

    found: list[Floats] = []
    for pieces, points in body.solids:
        flat = (pieces["kind"] != CONE) & (pieces["count"] == 3)
        if flat.any():
            first = pieces["first"][flat]
            found.append(points[first[:, None] + np.arange(3)])
        for piece in pieces[~flat]:
            corners = points[piece["first"] : piece["first"] + piece["count"]]
            if piece["kind"] == CONE:
                found.append(_bar(corners[0], corners[1], float(piece["r0"]), float(piece["r1"]),
                                  np.asarray(piece["axis"], dtype=np.float64)))  # fmt: skip
            else:
                found.append(_hull(corners))
    return np.concatenate(found) if found else np.zeros((0, 3, 3))


def reduced(triangles: Floats, most: int) -> tuple[Floats, float]:
    """Return fewer triangles for showing, and how far a corner was moved [mm].

    Corners are drawn together in cubes, the smallest cubes that bring the number down to `most`;
    triangles that fall flat are left out.
    """
    if len(triangles) <= most:
        return triangles, 0.0
    corners = triangles.reshape(-1, 3)
    low = corners.min(axis=0)
    size = float(np.ptp(corners, axis=0).max())
    for cubes in (int(400 * 0.85**step) for step in range(32)):
        side = size / cubes
        cell = np.floor((corners - low) / side).astype(np.int64)
        _, which = np.unique(_one_number(cell, cubes + 1), return_inverse=True)
        count = np.bincount(which).astype(np.float64)
        middle = np.stack([np.bincount(which, corners[:, k]) / count for k in range(3)], axis=1)
        three = which.reshape(-1, 3)
        kept = (
            (three[:, 0] != three[:, 1])
            & (three[:, 1] != three[:, 2])
            & (three[:, 0] != three[:, 2])
        )
        three_sorted = np.sort(three[kept], axis=1)
        _, once = np.unique(_one_number(three_sorted, len(middle)), return_index=True)
        if len(once) <= most:
            moved = float(np.linalg.norm(middle[which] - corners, axis=1).max())
            return middle[three[kept][once]], moved
    return np.zeros((0, 3, 3)), size


def _one_number(rows: NDArray[np.int64], most: int) -> NDArray[np.int64]:
    """Return one number for each row of three below `most`, in the order of the rows."""
    return (rows[:, 0] * most + rows[:, 1]) * most + rows[:, 2]


def _hull(corners: Floats) -> Floats:
    from scipy.spatial import ConvexHull, QhullError

    if len(corners) < 3:
        return np.zeros((0, 3, 3))
    try:
        hull = ConvexHull(corners)
    except QhullError:  # flat, or a line
        return _flat(corners)
    triangles = corners[hull.simplices]
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    inwards = np.einsum("ij,ij->i", normals, hull.equations[:, :3]) < 0.0
    triangles[inwards] = triangles[inwards][:, ::-1]
    return np.asarray(triangles)


def _flat(corners: Floats) -> Floats:
    """Return both sides of a flat set of points; nothing if they lie on one line."""
    from scipy.spatial import ConvexHull, QhullError

    middle = corners.mean(axis=0)
    _, spread, axes = np.linalg.svd(corners - middle)
    if len(spread) < 2 or spread[1] <= 1e-9 * max(spread[0], 1.0):
        return np.zeros((0, 3, 3))
    try:
        ring = corners[ConvexHull((corners - middle) @ axes[:2].T).vertices]
    except QhullError:
        return np.zeros((0, 3, 3))
    fan = np.stack([np.broadcast_to(ring[0], ring[1:-1].shape), ring[1:-1], ring[2:]], axis=1)
    return np.concatenate([fan, fan[:, ::-1]])


def _bar(start: Floats, end: Floats, r0: float, r1: float, axis: Floats) -> Floats:
    """Return a cone frustum between two discs."""
    other = np.eye(3)[int(np.argmin(np.abs(axis)))]
    u = np.cross(axis, other)
    u /= np.linalg.norm(u)
    v = np.cross(axis, u)
    turn = np.arange(SIDES) * (2.0 * math.pi / SIDES)
    ring = np.cos(turn)[:, None] * u + np.sin(turn)[:, None] * v
    a, b = start + r0 * ring, end + r1 * ring
    a2, b2 = np.roll(a, -1, axis=0), np.roll(b, -1, axis=0)
    low, high = np.broadcast_to(start, a.shape), np.broadcast_to(end, b.shape)
    sides = [
        np.stack([a, a2, b2], axis=1),
        np.stack([a, b2, b], axis=1),
        np.stack([low, a2, a], axis=1),
        np.stack([high, b, b2], axis=1),
    ]
    surface = np.concatenate(sides)
    area = np.linalg.norm(
        np.cross(surface[:, 1] - surface[:, 0], surface[:, 2] - surface[:, 0]), axis=1
    )
    return np.asarray(surface[area > 1e-12])
