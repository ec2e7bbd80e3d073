"""Outlines cut and parted: windows out of the fixture, an outline with corners inwards in parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.cell.model import Window
from gudgeon.findings.bodies import block, grown, least, most, prism
from gudgeon.findings.frames import Frame

if TYPE_CHECKING:
    from gudgeon.clearance.pieces import Solid as Pieces

__all__ = ["convex_parts", "windowed"]

Floats = NDArray[np.float64]

SLIVER_MM: Final = 1e-9
"""Less than this beside a window is no material but rounding."""


def windowed(
    frame: Frame, outline: Floats, ends: tuple[float, float], windows: Sequence[Window]
) -> tuple[list[Pieces], dict[str, list[Pieces]]]:
    """Return an upright outline less its windows as convex pieces, and the windows by station.

    What is not sure about a window is taken to the safe side: less is cut out of the fixture,
    and more counts as stock.

    Parameters
    ----------
    frame : Frame
        The fixture's.
    outline : ndarray, shape (n, 2)
        Convex, counter-clockwise [mm].
    ends : tuple of (bottom, top)
        [mm]
    windows : sequence of Window
        With all their ends.
    """
    low = np.array([*outline.min(axis=0), ends[0]])
    high = np.array([*outline.max(axis=0), ends[1]])
    holes: list[Floats] = []
    stock: dict[str, list[Pieces]] = {}
    for window in windows:
        assert window.x is not None and window.y is not None and window.z is not None
        sides = (window.x, window.y, window.z)
        inner = np.array([(most(a), least(b)) for a, b in sides])
        inner = np.clip(inner, low[:, None], high[:, None])
        # No slivers where a window ends on a side of the outline but for rounding.
        inner[:, 0] = np.where(inner[:, 0] - low < SLIVER_MM, low, inner[:, 0])
        inner[:, 1] = np.where(high - inner[:, 1] < SLIVER_MM, high, inner[:, 1])
        if np.all(inner[:, 0] < inner[:, 1]):
            holes.append(inner)
        x, y, z = (grown(side) for side in sides)
        stock.setdefault(window.station or "", []).append(block(frame, x, y, z))
    pieces = []
    for box in _less(np.column_stack([low, high]), holes):
        plan = _cut(outline, box[:2])
        if len(plan) > 2:
            pieces.append(prism(frame, plan, box[2, 0], box[2, 1]))
    return pieces, stock


def convex_parts(outline: ArrayLike) -> list[Floats]:
    """Return an outline as convex parts: itself, or the triangles of its ears.

    An outline that crosses itself has no ears left at some point; its hull then counts.
    """
    points = np.asarray(outline, dtype=np.float64)
    if _area(points) < 0.0:
        points = points[::-1]
    turns = _turns(points)
    if np.all(turns >= 0.0):
        return [points]
    parts: list[Floats] = []
    rest = list(range(len(points)))
    while len(rest) > 3:
        for at in range(len(rest)):
            a, b, c = (points[rest[(at + k) % len(rest)]] for k in (-1, 0, 1))
            if _turn(a, b, c) < 0.0:
                continue
            others = [points[i] for i in rest if not _one_of(points[i], (a, b, c))]
            if any(min(_turn(a, b, p), _turn(b, c, p), _turn(c, a, p)) >= 0.0 for p in others):
                continue
            parts.append(np.array([a, b, c]))
            rest.pop(at)
            break
        else:
            return [points]
    parts.append(points[rest])
    return parts


def _one_of(point: Floats, corners: tuple[Floats, ...]) -> bool:
    return any(np.array_equal(point, corner) for corner in corners)


def _turn(a: Floats, b: Floats, c: Floats) -> float:
    return float((b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]))


def _turns(points: Floats) -> Floats:
    count = len(points)
    return np.array(
        [_turn(points[i - 1], points[i], points[(i + 1) % count]) for i in range(count)]
    )


def _area(points: Floats) -> float:
    x, y = points.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def _less(whole: Floats, holes: Sequence[Floats]) -> list[Floats]:
    """Return an upright box less others as boxes that do not overlap, shape (3, 2) each."""
    boxes = [whole]
    for hole in holes:
        kept: list[Floats] = []
        for box in boxes:
            if np.any(hole[:, 0] >= box[:, 1]) or np.any(hole[:, 1] <= box[:, 0]):
                kept.append(box)
                continue
            # Slice off what lies beside the hole, axis by axis.
            rest = box.copy()
            for axis in range(3):
                if rest[axis, 0] < hole[axis, 0]:
                    part = rest.copy()
                    part[axis, 1] = hole[axis, 0]
                    kept.append(part)
                    rest[axis, 0] = hole[axis, 0]
                if rest[axis, 1] > hole[axis, 1]:
                    part = rest.copy()
                    part[axis, 0] = hole[axis, 1]
                    kept.append(part)
                    rest[axis, 1] = hole[axis, 1]
        boxes = kept
    return boxes


def _cut(outline: Floats, sides: Floats) -> Floats:
    """Return a convex outline cut to an upright rectangle (Sutherland and Hodgman's method)."""
    points = outline
    for axis in range(2):
        for limit, sign in ((sides[axis, 0], 1.0), (sides[axis, 1], -1.0)):
            kept = []
            for start, end in zip(points, np.roll(points, -1, axis=0), strict=True):
                one, other = sign * (start[axis] - limit), sign * (end[axis] - limit)
                if one >= 0.0:
                    kept.append(start)
                if (one > 0.0 > other) or (one < 0.0 < other):
                    kept.append(start + (end - start) * (one / (one - other)))
            points = np.array(kept).reshape(-1, 2)
            if not len(points):
                return points
    return np.asarray(points)
