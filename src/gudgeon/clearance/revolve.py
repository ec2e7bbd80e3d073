"""What turns, at every turn at once: bodies of revolution about the rotary line.

Over a whole turn of the rotary axis a body sweeps a body of revolution.  Put in its place, on the
tilt, it takes one angle out of a proof.  What is built here holds the swept space and may be larger
(a hole about the line is filled, a waist is spanned): what is clear of it is clear, what meets it
has to be looked at again with the body itself.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.pieces import CONE, Solid, cone
from gudgeon.clearance.scene import Body, Carrier, Scene

__all__ = ["revolved", "turns_whole"]

Floats = NDArray[np.float64]

SLICES: Final = 96
"""Slices of the profile of a body made of many pieces."""

FEW: Final = 8
"""A body of no more pieces is taken piece by piece."""

OUTWARD: Final = 1e-9
"""Added to each radius and end against the rounding of the profile, relative and in mm."""


def turns_whole(low_rad: float, high_rad: float) -> bool:
    """Return whether a range of turn covers every turn."""
    return high_rad - low_rad >= 2.0 * np.pi - 1e-9


def revolved(scene: Scene) -> Scene:
    """Return a scene in which each body on the rotary is a body of revolution on the tilt."""
    line = np.asarray(scene.lines.rows[1], dtype=np.float64)
    if line[6] == 0.0:
        return scene
    bodies = tuple(
        replace(body, carrier=Carrier.TILT, solids=_swept(body, line[:3], line[3:6]))
        if body.carrier is Carrier.ROTARY
        else body
        for body in scene.bodies
    )
    return replace(scene, bodies=bodies)


def _swept(body: Body, point: Floats, along: Floats) -> tuple[Solid, ...]:
    """Return frusta that hold what a body sweeps in a whole turn about a line."""
    if sum(len(pieces) for pieces, _ in body.solids) > FEW:
        return _sliced(body.solids, point, along)
    solids: list[Solid] = []
    for pieces, corners in body.solids:
        for piece in pieces:
            z, r, rounding = _profile(piece, corners, point, along)
            solids += _frusta(z, r, rounding, point, along)
    return tuple(solids)


def _profile(
    piece: np.void, corners: Floats, point: Floats, along: Floats
) -> tuple[Floats, Floats, float]:
    """Return heights along the line and radii about it whose hull holds the piece's profile."""
    first, count = int(piece["first"]), int(piece["count"])
    arms = corners[first : first + count] - point
    z = arms @ along
    r = np.linalg.norm(np.cross(along, arms), axis=1)
    if piece["kind"] == CONE:
        cosine = min(abs(float(piece["axis"] @ along)), 1.0)
        sine = float(np.linalg.norm(np.cross(piece["axis"], along)))
        radii = np.array([piece["r0"], piece["r1"]])
        # A disc square to its axis: so far along the line, and no further out than this.
        z = np.concatenate([z - radii * sine, z + radii * sine])
        r = np.concatenate([r + radii, r + radii])
        if cosine == 1.0 and sine == 0.0:
            z, r = z[:2], r[:2]
    return z, r, float(piece["round"])


def _frusta(z: Floats, r: Floats, rounding: float, point: Floats, along: Floats) -> list[Solid]:
    """Return the body of revolution of the upper hull of a profile, as frusta end to end."""
    order = np.lexsort((-r, z))
    hull: list[tuple[float, float]] = []
    for k in order.tolist():
        at = float(z[k]), float(r[k])
        if hull and at[0] == hull[-1][0]:
            continue  # the widest of one height comes first
        while len(hull) > 1 and _turns_left(hull[-2], hull[-1], at):
            hull.pop()
        hull.append(at)
    if len(hull) == 1:
        hull.append((hull[0][0], hull[0][1]))
    size = 1.0 + max(abs(value) for at in hull for value in at) + float(np.abs(point).max())
    out = OUTWARD * size
    solids = []
    for (z0, r0), (z1, r1) in pairwise(hull):
        low, high = point + (z0 - out) * along, point + (z1 + out) * along
        piece, ends = cone(low, high, r0 + out, r1 + out, 0, rounding)
        piece["axis"][0] = along  # of a thin disc the rounded ends tell it badly
        solids.append((piece, ends))
    return solids


def _turns_left(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    """Return whether b lies on or under the line from a to c."""
    return (b[0] - a[0]) * (c[1] - a[1]) >= (b[1] - a[1]) * (c[0] - a[0])


def _extents(part: Solid, point: Floats, along: Floats) -> tuple[Floats, Floats, Floats]:
    """Return least and greatest height along the line, and greatest radius, of each piece."""
    pieces, corners = part
    first, count = pieces["first"], pieces["count"]
    owner = np.repeat(np.arange(len(pieces)), count)
    begin = np.cumsum(count) - count
    index = first[owner] + np.arange(len(owner)) - begin[owner]
    arms = corners[index] - point
    z, r = arms @ along, np.linalg.norm(np.cross(along, arms), axis=1)
    # A disc square to its axis: so far along the line, and no further out than its radius.
    disc = np.where(index == first[owner], pieces["r0"][owner], pieces["r1"][owner])
    disc = np.where(pieces["kind"][owner] == CONE, disc, 0.0)
    tilted = disc * np.linalg.norm(np.cross(pieces["axis"], along), axis=1)[owner]
    return (
        np.minimum.reduceat(z - tilted, begin) - pieces["round"],
        np.maximum.reduceat(z + tilted, begin) + pieces["round"],
        np.maximum.reduceat(r + disc, begin) + pieces["round"],
    )


def _sliced(parts: tuple[Solid, ...], point: Floats, along: Floats) -> tuple[Solid, ...]:
    """Return discs, one a slice of height, that hold what many pieces sweep."""
    low, high, wide = (
        np.concatenate(rows)
        for rows in zip(*(_extents(part, point, along) for part in parts), strict=True)
    )
    edges = np.linspace(low.min(), high.max(), SLICES + 1)
    solids: list[Solid] = []
    for start, end in pairwise(edges):
        within = (low <= end) & (high >= start)
        if within.any():
            radius = float(wide[within].max())
            solids += _frusta(np.array([start, end]), np.array([radius, radius]), 0.0, point, along)
    return tuple(solids)
