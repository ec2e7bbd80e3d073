"""A test piece unfolded: its top in the middle, the four sides folded out, every land to scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.drawing.plan import Plan

__all__ = ["NetLand", "piece_net", "unfolded"]

Floats = NDArray[np.float64]

NUMBER_UP: Final = 0.27
"""How far over a cross in the middle of a land its number stands, as a share of the land."""

ROOM: Final = 0.06
"""Free paper round the net, as a share of its width."""


@dataclass(frozen=True, slots=True, eq=False)
class NetLand:
    """A land on the drawing.

    Attributes
    ----------
    words : str
        Its number.
    normal : ndarray, shape (3,)
        Which side it is on, frame of the block.
    corners : ndarray, shape (2, 3)
        Two opposite corners [mm].
    points : ndarray, shape (k, 3)
        Where it is measured [mm].
    by_side : bool
        Cut by the tool's side: drawn white; else gray.
    """

    words: str
    normal: Floats
    corners: Floats
    points: Floats
    by_side: bool


def unfolded(normal: Floats, high: float, half: float, point: Floats) -> tuple[float, float]:
    """Return where a point of a side lies on the net, the middle of the top at the origin [mm].

    Parameters
    ----------
    normal : ndarray, shape (3,)
        Of the side: one of +-x, +-y, +z.
    high, half : float
        Height of the top, and half the width of the block.
    point : ndarray, shape (3,)
        Frame of the block.
    """
    x, y, z = (float(c) for c in point)
    down = half + (high - z)
    if normal[2] > 0.5:
        return x, y
    if abs(normal[0]) > 0.5:
        return (down if normal[0] > 0.0 else -down), y
    return x, (down if normal[1] > 0.0 else -down)


def piece_net(
    name: str,
    half: float,
    high: float,
    lands: Sequence[NetLand],
    sides: Sequence[tuple[Floats, str]],
    *,
    inch: bool = False,
) -> str:
    """Draw the net.

    Parameters
    ----------
    name : str
        Name of the drawing.
    half, high : float
        Half the width of the block, and its height [mm].
    lands : sequence of NetLand
    sides : sequence of (ndarray, str)
        Normal and words of each side.
    inch : bool
        Mark the scale bar in inches.

    Returns
    -------
    str
        SVG.
    """
    reach = half + high
    room = ROOM * 2.0 * reach
    plan = Plan(name, -reach - room, -reach - room, reach + room, reach + room, inch=inch)
    for low, right in (((-half, -half), (half, half)), ((-reach, -half), (-half, half)),
                       ((half, -half), (reach, half)), ((-half, half), (half, reach)),
                       ((-half, -reach), (half, -half))):  # fmt: skip
        plan.rectangle(low[0], low[1], right[0], right[1], style="bold")
    for land in lands:
        ends = [unfolded(land.normal, high, half, corner) for corner in land.corners]
        xs, ys = sorted(p[0] for p in ends), sorted(p[1] for p in ends)
        fill = "paper" if land.by_side else "tint"
        plan.rectangle(xs[0], ys[0], xs[1], ys[1], fill=fill)
    for land in lands:
        for point in land.points:
            plan.cross(unfolded(land.normal, high, half, point), 6)
        x, y = unfolded(land.normal, high, half, np.mean(land.corners, axis=0))
        if len(land.points) == 1:
            # The cross stands in the middle: the number above it.
            y += NUMBER_UP * float(np.ptp(land.corners, axis=0).max())
        plan.text((x, y), land.words)
    for normal, words in sides:
        # In the free strip at the foot of a side; of the top in its middle, at the screw.
        at = np.array([0.0, 0.0, 0.0]) if normal[2] < 0.5 else np.array([0.0, 0.0, high])
        x, y = unfolded(normal, high, half, at)
        if normal[2] < 0.5:
            x, y = 0.9 * x, 0.9 * y
        turn = 90.0 if abs(normal[0]) > 0.5 else 0.0
        plan.text((x, y), words, small=True, turn_deg=turn)
    return plan.svg()
