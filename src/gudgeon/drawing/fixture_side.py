"""One side of a fixture to scale, as one sees it: bodies, stations, the way round of parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.clearance.scene import Body, Role
from gudgeon.drawing.plan import Plan
from gudgeon.drawing.silhouette import Seen, View, seen

__all__ = ["Mark", "fixture_side"]

Floats = NDArray[np.float64]

FACING: Final = View("as one sees it", 0, 2, (0.0, -1.0, 0.0))

ROOM: Final = 0.08
"""Free paper round the bodies, as a share of their size."""

LEAST_MM: Final = 60.0
"""A drawing shows at least this much to each side of a station."""


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
    faces : tuple of (str, (float, float))
        Words at points of its part [mm].
    """

    at_mm: tuple[float, float]
    words: str
    station: str
    faces: tuple[tuple[str, tuple[float, float]], ...] = ()


def fixture_side(
    name: str, bodies: Sequence[Body], axes: Floats, marks: Sequence[Mark], *, inch: bool = False
) -> str:
    """Draw a side.

    Parameters
    ----------
    name : str
        Name of the drawing.
    bodies : sequence of Body
        In the platter frame [mm].
    axes : ndarray, shape (3, 3)
        Right, into the paper and up as rows, platter frame.
    marks : sequence of Mark
    inch : bool
        Scale bar in inches.
    """
    shapes = [seen(body, axes, np.zeros(3), FACING) for body in bodies]
    corners = [item for shape in shapes for item in shape.outlines]
    points = np.array([mark.at_mm for mark in marks]).reshape(-1, 2)
    around = [points - LEAST_MM, points + LEAST_MM] if not corners else [points]
    spread = np.concatenate([*corners, *around])
    low, high = spread.min(axis=0), spread.max(axis=0)
    room = ROOM * float(np.max(high - low))
    plan = Plan(name, low[0] - room, low[1] - room, high[0] + room, high[1] + room, inch=inch)
    loaded = {mark.station for mark in marks}
    for shape in sorted(shapes, key=lambda one: one.near):
        _draw(plan, shape, loaded)
    for mark in marks:
        plan.cross(mark.at_mm)
        plan.text(mark.at_mm, f" {mark.words}", anchor="start", lead=True)
    for mark in marks:
        for words, at in mark.faces:
            plan.text(at, words, small=True, lead=True)
    return plan.svg()


def _draw(plan: Plan, shape: Seen, loaded: set[str]) -> None:
    stock = shape.body.role in (Role.STOCK, Role.PART) and shape.body.station in loaded
    for corners in shape.outlines:
        plain = "faint" if len(shape.edges) else "thin"
        plan.path(corners, closed=True, style="bold" if stock else plain, fill="paper")
        if stock:
            plan.path(corners, closed=True, style="bold", fill="tint")
    for start, end in shape.edges:
        plan.line(start, end)
