"""Bodies and axis lines of the unit put elsewhere, and guards with their margin kept."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.place_ways import is_unit
from gudgeon.placing.limits import clean_turn

if TYPE_CHECKING:
    from gudgeon.clearance.scene import Body, Lines, Scene

__all__ = ["KEPT_MM", "pulled_back", "put_elsewhere", "turned_body", "turned_lines"]

Floats = NDArray[np.float64]

KEPT_MM: Final = 1e-6
"""A margin that is entered is kept if it is kept to this; it stands in the body already."""


def put_elsewhere(
    scene: Scene, turn_rad: float, from_mm: tuple[float, float], to_mm: tuple[float, float]
) -> Scene:
    """Return the scene with the unit and its load turned about one point and carried to another.

    What is fixed to the table beside the unit is judged against what turns, as everywhere.
    """
    motion = _turn(turn_rad, from_mm, to_mm)
    bodies = tuple(_moved(body, *motion) if is_unit(body) else body for body in scene.bodies)
    return replace(scene, bodies=bodies, lines=_moved_lines(scene.lines, *motion))


def turned_body(body: Body, turn_rad: float, about_mm: tuple[float, float]) -> Body:
    """Return a body turned about an upright line through a point."""
    if turn_rad == 0.0:
        return body
    return _moved(body, *_turn(turn_rad, about_mm, about_mm))


def _moved(body: Body, turn: Floats, shift: Floats) -> Body:
    solids = []
    for pieces, points in body.solids:
        moved = pieces.copy()
        moved["axis"] = pieces["axis"] @ turn.T
        solids.append((moved, np.ascontiguousarray(points @ turn.T + shift)))
    return replace(body, solids=tuple(solids))


def turned_lines(lines: Lines, turn_rad: float, about_mm: tuple[float, float]) -> Lines:
    """Return axis lines turned about an upright line through a point."""
    return _moved_lines(lines, *_turn(turn_rad, about_mm, about_mm))


def _moved_lines(lines: Lines, turn: Floats, shift: Floats) -> Lines:
    rows = np.array(lines.rows, dtype=np.float64)
    rows[:, :3] = rows[:, :3] @ turn.T + shift
    rows[:, 3:6] = rows[:, 3:6] @ turn.T
    return replace(lines, rows=rows)


def _turn(
    turn_rad: float, from_mm: tuple[float, float], to_mm: tuple[float, float]
) -> tuple[Floats, Floats]:
    cosine, sine = clean_turn(turn_rad)
    turn = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])
    return turn, np.array([*to_mm, 0.0]) - turn @ np.array([*from_mm, 0.0])


def pulled_back(body: Body) -> Body:
    """Return a guard a hair farther away: a margin that is just kept is kept."""
    solids = []
    for pieces, points in body.solids:
        low, high = points.min(axis=0), points.max(axis=0)
        # A guard is a half space: along one axis alone it lies wholly on one side.
        axis = int(np.argmin((low < 0.0) & (high > 0.0)))
        away = np.zeros(3)
        away[axis] = KEPT_MM * np.sign(points[:, axis].mean())
        solids.append((pieces, points + away))
    return replace(body, solids=tuple(solids))
