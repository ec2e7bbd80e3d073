"""The space that a hose can fill while its connector turns with the unit and its anchor stays.

A hose of length L from a to b: the parts of it before and behind a point p of it are no shorter
than the straight lines, so |p - a| + |p - b| <= L.  That is an ellipsoid with a and b as foci.
With d = |a - b| its half axes are A = L / 2 along the line and B = sqrt(L^2 - d^2) / 2 across.  For
any r from B to A it lies in the segment of half length A - r about its middle, grown by r: with c
the cosine between a direction and the line, sqrt(A^2 c^2 + B^2 (1 - c^2)) <= (A - r) c + r, since
the difference of the squares is convex in c, not positive at c = 0, and zero at c = 1.  So that
segment holds every way in which the hose can hang, loop or stand up.

While a goes along its path, the ends of the segment do so too, on a smaller scale.  The path is
taken in cells of the angles: within a cell a point stands no farther from the hull of the cell's
corners than da^2 rt / 8 + dc^2 rr / 8 (linear interpolation along one angle and then the other; rt,
rr: greatest distances of the point from the lines), and its distance from the anchor is no less
than that of the middle less rt da / 2 + rr dc / 2.
"""

from __future__ import annotations

import math
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.clearance.pieces import Solid, hull
from gudgeon.clearance.tether import reaches
from gudgeon.kinematics.chain import WorkChain

__all__ = ["hanging", "sag"]

Floats = NDArray[np.float64]

STEP_ONE: Final = math.radians(8.0)
STEP_TWO: Final = math.radians(15.0)
"""Widths of the cells of angle, for one axis and for two."""

OUTWARD_MM: Final = 1e-6
"""Against rounding of the places."""


def sag(length_mm: float, apart_mm: float) -> float:
    """Return how far a hose can come from the straight line between its ends [mm].

    ``sqrt(L^2 - d^2) / 2``; zero where the ends are farther apart than it is long.
    """
    return 0.5 * math.sqrt(max(length_mm**2 - apart_mm**2, 0.0))


def hanging(
    chain: WorkChain,
    connector_mm: ArrayLike,
    anchor_mm: ArrayLike,
    low_rad: ArrayLike,
    high_rad: ArrayLike,
    length_mm: float,
    grown_mm: float,
) -> tuple[Solid, ...]:
    """Return convex pieces that hold a hose, whatever the angles within limits.

    Parameters
    ----------
    chain : WorkChain
        Turning axes that carry the connector, the carrying one first; none: it stands still.
    connector_mm : array_like, shape (3,)
        In T with all angles zero.
    anchor_mm : array_like, shape (3,)
        In T.
    low_rad, high_rad : array_like, shape (number of axes,)
        Limits of the programmed angles.
    length_mm : float
        Its whole length, connector to anchor.
    grown_mm : float
        Half its diameter and what is unsure of its ends.
    """
    anchor = np.asarray(anchor_mm, dtype=np.float64)
    if not chain.axes:
        start = np.asarray(connector_mm, dtype=np.float64)[None]
        apart = float(np.linalg.norm(start - anchor))
        return (_piece(start, anchor, apart, length_mm, grown_mm),)
    radii = reaches(chain, connector_mm)
    step = STEP_ONE if len(chain.axes) == 1 else STEP_TWO
    edges = [
        np.linspace(low, high, max(1, math.ceil((high - low) / step)) + 1)
        for low, high in zip(np.atleast_1d(low_rad), np.atleast_1d(high_rad), strict=True)
    ]
    solids = []
    for cell in product(*(range(len(ends) - 1) for ends in edges)):
        sides = [(float(ends[i]), float(ends[i + 1])) for ends, i in zip(edges, cell, strict=True)]
        widths = np.array([b - a for a, b in sides])
        corners = chain.points(np.array(list(product(*sides))), connector_mm)
        middle = chain.points(np.array([0.5 * (a + b) for a, b in sides]), connector_mm)
        near = float(np.linalg.norm(middle - anchor)) - 0.5 * float(widths @ radii)
        bulge = 0.125 * float(widths**2 @ radii)
        solids.append(_piece(corners, anchor, max(near, 0.0), length_mm, grown_mm + bulge))
    return tuple(solids)


def _piece(
    starts: Floats, anchor: Floats, near_mm: float, length_mm: float, grown_mm: float
) -> Solid:
    """Return what holds a hose whose connector is in a hull of places, and no nearer than told."""
    wide = sag(length_mm, near_mm)
    half = 0.5 * length_mm - wide
    share = min(2.0 * half / near_mm, 1.0) if near_mm > 0.0 else 1.0
    middles, arms = 0.5 * (starts + anchor), 0.5 * share * (starts - anchor)
    return hull(np.vstack([middles + arms, middles - arms]), 0, wide + grown_mm + OUTWARD_MM)
