"""One pose of a cell in two views to scale, with the gap between two bodies dimensioned."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.answer import Picture
from gudgeon.clearance.scene import Body, Role, Scene
from gudgeon.drawing.plan import Plan
from gudgeon.drawing.silhouette import Seen, View, posed, seen
from gudgeon.drawing.svg import SMALL_PX, text_width

__all__ = ["pose_pictures"]

Floats = NDArray[np.float64]

FRONT: Final = View("from the front", 0, 2, (0.0, -1.0, 0.0))
ABOVE: Final = View("from above", 0, 1, (0.0, 0.0, 1.0))
RIGHT: Final = View("from the right", 1, 2, (1.0, 0.0, 0.0))

LEAST_MM: Final = 120.0
"""A view shows at least this far to each side of the gap."""

MOST_MM: Final = 700.0

LONG_GAP: Final = 0.5
"""A gap longer than this share of half the sheet holds its own words."""

DRAWN_PX: Final = 640.0
"""Width of what is drawn, about."""

SHORTENED: Final = 0.98
"""A gap that shows shorter than this share of itself is not drawn in true length."""


def pose_pictures(
    name: str,
    title: str,
    scene: Scene,
    tool: Sequence[Body],
    joint: ArrayLike,
    pair: tuple[str, str],
    points: Sequence[Sequence[float]],
    gap_text: str,
    *,
    inch: bool = False,
) -> tuple[Picture, ...]:
    """Draw one pose in two views: from the front, and from above or the right.

    The second view is the one that shows more of the gap.  The two bodies of the pair are drawn
    on top, bold; all else is thin.  Guards that would cover the whole sheet are left off.

    Parameters
    ----------
    name : str
        Stable name; the pictures are called ``name-front`` and ``name-above`` or ``name-right``.
    title : str
        Such as "Tightest pose, N1200"; the view is added.
    scene : Scene
    tool : sequence of Body
        What the head carries.
    joint : array_like, shape (5,)
        Displayed X, Y, Z [mm], tilt, rotary [rad].
    pair : tuple of two names
        The bodies between which the gap is.
    points : two points in T [mm]
        Nearest points of the two.
    gap_text : str
        The gap with its unit.
    inch : bool
        Scale bar in inches.

    Returns
    -------
    tuple of Picture
        Empty where a number is not finite: there is no such pose.
    """
    at, ends = np.asarray(joint, dtype=np.float64), np.asarray(points, dtype=np.float64)
    if not (np.all(np.isfinite(at)) and np.all(np.isfinite(ends))):
        return ()
    gap = ends[1] - ends[0]
    # Of the two other views the one that shows more of the gap; the right one shows heights.
    second = RIGHT if np.hypot(gap[1], gap[2]) >= np.hypot(gap[0], gap[1]) else ABOVE
    return tuple(
        Picture(
            f"{name}-{view.name.split()[-1]}",
            f"{title}, {view.name}",
            _draw(
                f"{name}-{view.name.split()[-1]}", view, scene, tool, at, pair, ends, gap_text, inch
            ),
        )
        for view in (FRONT, second)
    )


def _draw(
    name: str,
    view: View,
    scene: Scene,
    tool: Sequence[Body],
    joint: Floats,
    pair: tuple[str, str],
    ends: Floats,
    gap_text: str,
    inch: bool,
) -> str:
    shapes = [
        seen(body, *posed(scene, body.carrier, joint), view) for body in (*scene.bodies, *tool)
    ]
    p, q = view.flat(ends)
    middle = 0.5 * (p + q)
    gap = float(np.linalg.norm(ends[1] - ends[0]))
    half = _half(shapes, pair, middle, gap)
    left, right = middle[0] - 1.45 * half, middle[0] + 1.45 * half
    bottom, top = middle[1] - half, middle[1] + half
    plan = Plan(name, left, bottom, right, top, inch=inch)
    window = np.array([[left, bottom], [right, top]])
    in_pair = [shape for shape in shapes if shape.body.name in pair]
    others = [shape for shape in shapes if shape.body.name not in pair]
    for shape in sorted(others, key=lambda item: item.near):
        if shape.body.role is Role.GUARD and _covers(shape, window):
            continue
        _body(plan, shape, "thin", "paper", window)
    for shape in sorted(in_pair, key=lambda item: -_area(item)):
        of_head = shape.body.role in (Role.CUTTER, Role.SHANK, Role.HOLDER, Role.NOSE)
        _body(plan, shape, "bold", "hatch" if of_head else "tint", window)
    for shape in sorted(in_pair, key=lambda item: _area(item)):
        _name(plan, shape, window)
    drawn = float(np.linalg.norm(q - p))
    true = drawn >= SHORTENED * gap or not gap_text[:1].isdigit()  # "touches" has no length
    words = gap_text if true else f"{gap_text} (not in true length here)"
    plan.cross(p, 6)
    if drawn > LONG_GAP * half:
        plan.cross(q, 6)
        plan.dimension(p, q, words)
    else:
        # Too short for words along it: they stand aside, with a line to the gap.
        aside = middle + np.array([0.4 * half, 0.1 * half])
        plan.line((middle[0], middle[1]), (aside[0], aside[1]), style="thin")
        if drawn > 0.02 * half:
            plan.cross(q, 6)
            plan.dimension(p, q, "")
        plan.text((aside[0], aside[1]), f" {words}", small=True, anchor="start")
    return plan.svg()


def _half(shapes: Sequence[Seen], pair: tuple[str, str], middle: Floats, gap: float) -> float:
    """Return half the height of the sheet: enough of the smaller body of the pair."""
    sizes = []
    for shape in shapes:
        if shape.body.name in pair and shape.outlines:
            corners = np.concatenate(shape.outlines)
            sizes.append(float(np.max(np.abs(corners - middle))))
    smaller = min(sizes, default=0.0)
    return float(min(max(LEAST_MM, 1.1 * smaller, 0.75 * gap), MOST_MM + 0.75 * gap))


def _body(plan: Plan, shape: Seen, style: str, fill: str, window: Floats) -> None:
    surface = len(shape.edges) > 0
    for corners in shape.outlines:
        near = clipped(corners, window)
        if len(near) > 2:
            plan.path(near, closed=True, style="faint" if surface else style, fill=fill)
    for start, end in shape.edges:
        inside = np.all(np.maximum(start, end) >= window[0]) and np.all(
            np.minimum(start, end) <= window[1]
        )
        if inside:
            plan.line(start, end, style=style)


def _covers(shape: Seen, window: Floats) -> bool:
    return any(
        np.all(corners.min(axis=0) <= window[0]) and np.all(corners.max(axis=0) >= window[1])
        for corners in shape.outlines
    )


def _area(shape: Seen) -> float:
    if not shape.outlines:
        return 0.0
    corners = np.concatenate(shape.outlines)
    return float(np.prod(corners.max(axis=0) - corners.min(axis=0)))


def _name(plan: Plan, shape: Seen, window: Floats) -> None:
    """Write the name of a body on what shows of its largest outline; beside it where too narrow."""
    parts = [
        part for part in (clipped(item, window, 0.0) for item in shape.outlines) if len(part) > 2
    ]
    if not parts:
        return
    best = max(parts, key=lambda part: float(np.prod(part.max(axis=0) - part.min(axis=0))))
    x, y = best.mean(axis=0).tolist()
    wide = text_width(shape.body.name, SMALL_PX) * float(window[1, 0] - window[0, 0]) / DRAWN_PX
    left, right = float(best[:, 0].min()), float(best[:, 0].max())
    if right - left >= wide or left - wide < window[0, 0]:
        plan.text((x, y), shape.body.name, small=True, lead=True)
    else:
        plan.text((left, y), f"{shape.body.name} ", small=True, anchor="end", lead=True)


def clipped(corners: Floats, window: Floats, share: float = 0.3) -> Floats:
    """Return a convex outline cut to a window larger than the sheet by a share of it.

    Sutherland and Hodgman's method (1974, from memory), so that a wall of metres has no corner
    far off the paper.
    """
    room = share * (window[1] - window[0])
    points = corners
    for axis, limit, sign in (
        (0, window[0, 0] - room[0], 1.0),
        (0, window[1, 0] + room[0], -1.0),
        (1, window[0, 1] - room[1], 1.0),
        (1, window[1, 1] + room[1], -1.0),
    ):
        kept = []
        for start, end in zip(points, np.roll(points, -1, axis=0), strict=True):
            one, other = sign * (start[axis] - limit), sign * (end[axis] - limit)
            if one >= 0.0:
                kept.append(start)
            if (one >= 0.0) != (other >= 0.0):
                kept.append(start + (end - start) * (one / (one - other)))
        points = np.array(kept).reshape(-1, 2)
        if not len(points):
            break
    return np.asarray(points)
