"""Outlines of solid bodies seen along an axis of the machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.clearance.scene import Body, Carrier, Scene
from gudgeon.kinematics.chain import AxisLine, turn_about

if TYPE_CHECKING:
    from gudgeon.clearance.pieces import Solid

__all__ = ["Seen", "View", "outline", "posed", "seen"]

Floats = NDArray[np.float64]

RIM: Final = 48
"""Points of a round rim."""

SURFACE_LEAST: Final = 5
"""A body of more triangles than this is a surface and drawn by its silhouette edges."""

EDGES_MOST: Final = 4000
"""With more silhouette edges than this only the outline of the whole is drawn."""


@dataclass(frozen=True, slots=True)
class View:
    """A direction of looking.

    Attributes
    ----------
    name : str
        Such as "from the front".
    across, up : int
        Machine axes that lie right and up on the paper.
    toward : tuple of 3 floats
        Direction from the drawing to the eye.
    """

    name: str
    across: int
    up: int
    toward: tuple[float, float, float]

    def flat(self, points: ArrayLike) -> Floats:
        """Return points in the paper [mm], shape (..., 2)."""
        return np.asarray(points, dtype=np.float64)[..., [self.across, self.up]]


@dataclass(frozen=True, slots=True)
class Seen:
    """What is drawn of one body.

    Attributes
    ----------
    body : Body
    outlines : tuple of ndarray, shape (n, 2)
        Convex outlines to be filled [mm].
    edges : ndarray, shape (m, 2, 2)
        Lines to be drawn [mm].
    near : float
        How near the eye it comes [mm].
    """

    body: Body
    outlines: tuple[Floats, ...]
    edges: Floats
    near: float


def posed(scene: Scene, carrier: Carrier, joint: ArrayLike) -> tuple[Floats, Floats]:
    """Return R, t that take a body's points into T: ``points @ R.T + t``.

    Parameters
    ----------
    scene : Scene
    carrier : Carrier
    joint : array_like, shape (5,)
        Displayed X, Y, Z, tilt, rotary [mm, rad].
    """
    at = np.asarray(joint, dtype=np.float64)
    whole = np.eye(4)
    turns = {Carrier.TILT: (0,), Carrier.ROTARY: (0, 1)}.get(carrier, ())
    for row in turns:
        x, y, z, u, v, w, sense = scene.lines.rows[row].tolist()
        if sense != 0.0:
            whole = whole @ turn_about(AxisLine((x, y, z), (u, v, w)), sense * at[3 + row])
    shift = whole[:3, 3].copy()
    if carrier is Carrier.HEAD:
        shift += at[:3]
    elif carrier is Carrier.BASE:
        shift += at[:3] * np.array(scene.table_axes, dtype=np.float64)
    return whole[:3, :3], shift


def outline(points: Floats) -> Floats:
    """Return the convex hull of points in the paper, counter-clockwise (monotone chain)."""
    rows = np.unique(np.round(points, 6), axis=0)
    if len(rows) < 3:
        return rows

    def side(ordered: Floats) -> list[Floats]:
        kept: list[Floats] = []
        for point in ordered:
            while len(kept) > 1:
                (ax, ay), (bx, by) = kept[-1] - kept[-2], point - kept[-2]
                if ax * by - ay * bx > 0.0:
                    break
                kept.pop()
            kept.append(point)
        return kept[:-1]

    return np.array([*side(rows), *side(rows[::-1])])


def seen(body: Body, turn: Floats, shift: Floats, view: View) -> Seen:
    """Return what is drawn of a body that stands at R, t."""
    toward = np.asarray(view.toward)
    outlines: list[Floats] = []
    edges: list[Floats] = []
    near = -np.inf
    for solid in body.solids:
        pieces, points = solid
        placed = points @ turn.T + shift
        near = max(near, float(np.max(placed @ toward)))
        triangles = (pieces["kind"] == 0) & (pieces["count"] == 3)
        if np.count_nonzero(triangles) > SURFACE_LEAST:
            first = pieces["first"][triangles]
            corners = np.stack([placed[first], placed[first + 1], placed[first + 2]], axis=1)
            lines = _silhouette(corners, toward)
            outlines.append(outline(view.flat(corners.reshape(-1, 3))))
            if len(lines) <= EDGES_MOST:
                edges.append(view.flat(lines))
        else:
            triangles[:] = False
        outlines += [
            outline(view.flat(_rim(solid, int(i), turn, placed)))
            for i in np.flatnonzero(~triangles)
        ]
    drawn = np.concatenate(edges) if edges else np.zeros((0, 2, 2))
    return Seen(body, tuple(item for item in outlines if len(item) > 2), drawn, near)


def _rim(solid: Solid, number: int, turn: Floats, placed: Floats) -> Floats:
    """Return points whose hull is a piece: its corners or rims, rounding included."""
    pieces, _ = solid
    piece = pieces[number]
    first, count = int(piece["first"]), int(piece["count"])
    points = placed[first : first + count]
    if int(piece["kind"]) == 1:
        axis = turn @ np.asarray(piece["axis"])
        side = np.eye(3)[int(np.argmin(np.abs(axis)))]
        u = np.cross(axis, side)
        u = u / np.linalg.norm(u)
        angles = np.linspace(0.0, 2.0 * np.pi, RIM, endpoint=False)
        ring = np.outer(np.cos(angles), u) + np.outer(np.sin(angles), np.cross(axis, u))
        points = np.concatenate(
            [points[0] + float(piece["r0"]) * ring, points[1] + float(piece["r1"]) * ring]
        )
    wide = float(piece["round"])
    if wide > 0.0:
        angles = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
        circle = np.column_stack([np.cos(angles), np.sin(angles), 0.0 * angles]) * wide
        rolled = [circle[:, order] for order in ([0, 1, 2], [0, 2, 1], [2, 0, 1])]
        points = np.concatenate([(points[:, None] + ring).reshape(-1, 3) for ring in rolled])
    return np.asarray(points)


def _silhouette(corners: Floats, toward: Floats) -> Floats:
    """Return edges between a triangle that faces the eye and one that does not, and open edges."""
    _, index = np.unique(np.round(corners.reshape(-1, 3), 5), axis=0, return_inverse=True)
    index = index.reshape(-1, 3)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    facing = normals @ toward > 0.0
    ends = np.concatenate([index[:, [0, 1]], index[:, [1, 2]], index[:, [2, 0]]])
    places = np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]])
    faces = np.tile(facing, 3)
    _, edge, number = np.unique(
        np.sort(ends, axis=1), axis=0, return_index=True, return_inverse=True
    )
    number = number.reshape(-1)
    count = np.bincount(number)
    toward_eye = np.bincount(number, weights=faces)
    shown = (count == 1) | ((toward_eye > 0) & (toward_eye < count))
    return np.asarray(places[edge[shown]])
