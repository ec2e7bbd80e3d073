"""Where an indicator may stand on the bare platter, clear of rim, holes and pilot."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from gudgeon.findings.gear import platter_radius

if TYPE_CHECKING:
    from gudgeon.cell.model import Cell

__all__ = ["EDGE_MM", "HOLE_MM", "clear_chord", "clear_radius"]

EDGE_MM: Final = 5.0
"""The tip stays so far from the rim, from holes and from the pilot."""

HOLE_MM: Final = 8.0
"""Radius of the platter's holes where none is entered."""


def clear_radius(cell: Cell) -> float:
    """Return the widest circle on the platter clear of rim, holes and pilot [mm]."""
    outer = platter_radius(cell) - EDGE_MM
    flange = cell.unit.flange
    if flange.pitch_circle is None or not flange.holes:
        return _rounded(cell, outer)
    middle = 0.5 * flange.pitch_circle.value
    hole = HOLE_MM if flange.hole_diameter is None else 0.5 * flange.hole_diameter.value
    inner_edge, outer_edge = middle - hole - EDGE_MM, middle + hole + EDGE_MM
    if outer >= outer_edge or outer <= inner_edge:
        return _rounded(cell, outer)
    return _rounded(cell, inner_edge)


def clear_chord(cell: Cell) -> tuple[float, float]:
    """Return how far beside the middle the longest straight run lies, and its length [mm].

    It is clear of rim, pilot and holes on both sides of the middle and in both directions, so that
    one figure serves every run.
    """
    rim = platter_radius(cell) - EDGE_MM
    flange = cell.unit.flange
    pilot = 0.0 if flange.pilot_diameter is None else 0.5 * flange.pilot_diameter.value
    places = np.zeros((0, 2))
    hole = HOLE_MM if flange.hole_diameter is None else 0.5 * flange.hole_diameter.value
    if flange.pitch_circle is not None and flange.holes:
        angles = np.array([one.value for one in flange.holes])
        places = 0.5 * flange.pitch_circle.value * np.stack([np.cos(angles), np.sin(angles)], 1)
    best = (0.0, 0.0)
    for aside in np.arange(math.ceil(pilot + EDGE_MM), rim):
        half = math.sqrt(rim**2 - aside**2)
        for along, across in ((0, 1), (1, 0)):
            for side in (aside, -aside):
                near = np.abs(places[:, across] - side) < hole + EDGE_MM
                if np.any(near):
                    # Between the holes nearest to the middle of the run on its line.
                    reach = np.abs(places[near, along]) - (hole + EDGE_MM)
                    half = min(half, float(reach.min()))
        if 2.0 * half > best[1]:
            best = (float(aside), 2.0 * half)
    return _rounded(cell, best[0], up=True), _rounded(cell, best[1])


def _rounded(cell: Cell, length_mm: float, up: bool = False) -> float:
    """Return a length that a shop can set: whole millimetres, or twentieths of an inch."""
    step = 1.27 if cell.shop.units == "in" else 1.0
    count = length_mm / step
    return (math.ceil(count - 1e-9) if up else math.floor(count + 1e-9)) * step
