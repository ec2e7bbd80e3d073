"""One side of a fixture to scale, as one sees it: bodies, stations, the way round of parts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.scene import Body, Role
from gudgeon.drawing.plan import FOOT_PX, MARGIN_PX, TALLEST, Plan
from gudgeon.drawing.silhouette import Seen, View, seen

__all__ = ["Edge", "Mark", "fixture_side"]

Floats = NDArray[np.float64]

FACING: Final = View("as one sees it", 0, 2, (0.0, -1.0, 0.0))

ROOM: Final = 0.08
"""Free paper round the bodies, as a share of their size."""

PX_MM: Final = 170.0 / 720.0
"""Paper for one pixel where words are to have their usual size."""

BESIDE_PX: Final = 9.0
"""Words stand so far off the face they name."""

LEAST_PX: Final = 240.0
"""A narrower drawing has no room for its scale bar and its words."""

SCALES: Final = tuple(
    step / power for power in (1, 10, 100, 1000) for step in (5.0, 4.0, 2.5, 2.0, 1.0)
)
"""Usual scales, 5:1 to 1:1000, the largest first."""

LEAST_MM: Final = 60.0
"""A drawing shows at least this much to each side of a station."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A face that is seen from the side.

    Attributes
    ----------
    words : str
    at_mm : tuple of (float, float)
        Its zero.
    out : tuple of (int, int)
        Where it looks: (1, 0) to the right, (0, 1) up.
    """

    words: str
    at_mm: tuple[float, float]
    out: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Mark:
    """A station on the drawing.

    Attributes
    ----------
    at_mm : tuple of (float, float)
        To the right and up.
    words : str
        Its number and name.
    station : str
        Whose stock is drawn bold.
    faces : tuple of Edge
        Faces that look sideways.
    facing : str
        The face that looks at the one who looks; empty where there is none.
    """

    at_mm: tuple[float, float]
    words: str
    station: str
    faces: tuple[Edge, ...] = ()
    facing: str = ""


def fixture_side(
    name: str,
    bodies: Sequence[Body],
    axes: Floats,
    marks: Sequence[Mark],
    paper_mm: tuple[float, float],
    *,
    inch: bool = False,
) -> tuple[str, float]:
    """Draw a side for a piece of paper, with words of their usual size on it.

    Parameters
    ----------
    name : str
        Name of the drawing.
    bodies : sequence of Body
        In the platter frame [mm].
    axes : ndarray, shape (3, 3)
        Right, into the paper and up as rows, platter frame.
    marks : sequence of Mark
    paper_mm : tuple of (float, float)
        Width and height that it may take.
    inch : bool
        Scale bar in inches.

    Returns
    -------
    tuple of (str, float)
        The SVG, and the scale at which it is meant to be printed: the largest usual one at which
        it fits.
    """
    shapes = [seen(body, axes, np.zeros(3), FACING) for body in bodies]
    corners = [item for shape in shapes for item in shape.outlines]
    points = np.array([mark.at_mm for mark in marks]).reshape(-1, 2)
    around = [points - LEAST_MM, points + LEAST_MM] if not corners else [points]
    spread = np.concatenate([*corners, *around])
    low, high = spread.min(axis=0), spread.max(axis=0)
    room = ROOM * float(np.max(high - low))
    low, high = low - room, high + room
    scale = _scale(high - low, paper_mm)
    wide, tall = ((high - low) * scale / PX_MM).tolist()
    width = math.ceil(max(wide + 2.0 * MARGIN_PX, tall / TALLEST, LEAST_PX))
    plan = Plan(name, low[0], low[1], high[0], high[1], inch=inch, width_px=width)
    loaded = {mark.station for mark in marks}
    for shape in sorted(shapes, key=lambda one: one.near):
        _draw(plan, shape, loaded)
    for mark in marks:
        plan.cross(mark.at_mm)
        plan.text(mark.at_mm, f" {mark.words}", anchor="start", lead=True)
    off = BESIDE_PX * PX_MM / scale
    for mark in marks:
        if mark.facing:
            below = mark.at_mm[0], mark.at_mm[1] - 1.7 * off
            plan.text(below, mark.facing, small=True)
        for edge in mark.faces:
            at = edge.at_mm[0] + off * edge.out[0], edge.at_mm[1] + off * edge.out[1]
            anchor = {1: "start", -1: "end", 0: "middle"}[edge.out[0]]
            plan.text(at, edge.words, small=True, anchor=anchor, lead=True)
    return plan.svg(), scale


def _scale(size_mm: Floats, paper_mm: tuple[float, float]) -> float:
    """Return the largest usual scale at which something fits with its margins."""
    edges = 2.0 * MARGIN_PX * PX_MM, (2.0 * MARGIN_PX + FOOT_PX) * PX_MM
    most = min(
        (room - edge) / float(size)
        for room, edge, size in zip(paper_mm, edges, size_mm, strict=True)
    )
    return next((scale for scale in SCALES if scale <= most), SCALES[-1])


def _draw(plan: Plan, shape: Seen, loaded: set[str]) -> None:
    stock = shape.body.role in (Role.STOCK, Role.PART) and shape.body.station in loaded
    for corners in shape.outlines:
        plain = "faint" if len(shape.edges) else "thin"
        plan.path(corners, closed=True, style="bold" if stock else plain, fill="paper")
        if stock:
            plan.path(corners, closed=True, style="bold", fill="tint")
    for start, end in shape.edges:
        plan.line(start, end)
