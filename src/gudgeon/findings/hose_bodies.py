"""The space that each hose may fill, as a body on the table."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell, Hose
from gudgeon.findings.bodies import most
from gudgeon.findings.frames import Frame
from gudgeon.kinematics.chain import WorkChain

if TYPE_CHECKING:
    from gudgeon.clearance.scene import Body, Scene

__all__ = [
    "HANGS",
    "connector_chain",
    "hose_ends",
    "hose_name",
    "hose_space",
    "turning_ranges",
    "without_hoses",
]

Floats = NDArray[np.float64]

HANGS: Final = ", where it may hang"
"""What follows a hose's name in that of the body that stands for it."""


def hose_name(cell: Cell, hose: Hose) -> str:
    """Return the name of a hose, or its number."""
    return hose.name or f"hose {cell.unit.hoses.index(hose) + 1}"


def without_hoses(scene: Scene) -> Scene:
    """Return a scene without the spaces of hoses, or itself where it has none."""
    from gudgeon.clearance.scene import Role

    solid = tuple(body for body in scene.bodies if body.role is not Role.HOSE)
    return scene if len(solid) == len(scene.bodies) else replace(scene, bodies=solid)


def turning_ranges(cell: Cell, *, tilts: bool) -> tuple[Floats, Floats]:
    """Return the lowest and highest tilt and turn [rad]; half a turn or a whole one if not entered.

    A rotary that goes further than one whole turn repeats itself: its range is one whole turn.
    """
    unit = cell.unit
    low, high = np.zeros(2), np.zeros(2)
    if tilts:
        low[0], high[0] = -math.pi, math.pi
        if unit.tilt_range is not None:
            low[0], high[0] = (end.value for end in unit.tilt_range)
    turns = unit.rotary_range
    low[1], high[1] = 0.0, 2.0 * math.pi
    if turns is not None and turns[1].value - turns[0].value < 2.0 * math.pi - 1e-9:
        low[1], high[1] = turns[0].value, turns[1].value
    return low, high


def connector_chain(chain: WorkChain, hose: Hose) -> WorkChain:
    """Return the axes that carry the connector of a hose."""
    kept = {"base": 0, "cradle": 1, "platter": len(chain.axes)}[hose.turns_with or "base"]
    return WorkChain(chain.axes[:kept])


def hose_ends(hose: Hose, frame: Frame) -> tuple[Floats, Floats, float] | None:
    """Return connector and anchor in T, both angles zero, and how unsure they are [mm].

    ``None`` where a coordinate is not entered.
    """
    connector = (hose.connector_x, hose.connector_y, hose.connector_z)
    anchor = (hose.anchor_x, hose.anchor_y, hose.anchor_z)
    places = [[item for item in end if item is not None] for end in (connector, anchor)]
    if any(len(place) < 3 for place in places):
        return None
    start, end = ([item.value for item in place] for place in places)
    unsure = math.sqrt(sum((item.plus_minus or 0.0) ** 2 for place in places for item in place))
    return frame.points(start), np.array(end), unsure


def hose_space(
    hose: Hose,
    name: str,
    frame: Frame,
    chain: WorkChain,
    ranges: tuple[Floats, Floats],
    unsure_mm: float,
    length_mm: float | None = None,
) -> Body | None:
    """Return the space that a hose can fill over all tilts and turns.

    Parameters
    ----------
    hose : Hose
    name : str
    frame : Frame
        The unit's.
    chain : WorkChain
        Tilt and rotary.
    ranges : tuple of (low, high), shape (2,) each
        Of tilt and turn [rad].
    unsure_mm : float
        How far the connector may stand from where the frame puts it.
    length_mm : float or None
        Taken for its length where given: a tie leaves less of it free.

    Returns
    -------
    Body or None
        ``None`` where its length, or a coordinate of its ends, is not entered.
    """
    from gudgeon.clearance.hanging import hanging
    from gudgeon.clearance.scene import Body, Carrier, Role

    ends = hose_ends(hose, frame)
    if ends is None or hose.length is None:
        return None
    connector, anchor, off = ends
    carrying = connector_chain(chain, hose)
    rows = [0 if axis.role == "tilt" else 1 for axis in carrying.axes]
    thick = most(hose.diameter) / 2.0 if hose.diameter else 0.0
    pieces = hanging(
        carrying,
        connector,
        anchor,
        ranges[0][rows],
        ranges[1][rows],
        most(hose.length) if length_mm is None else length_mm,
        thick + off + unsure_mm,
    )
    return Body(name + HANGS, Carrier.TABLE, Role.HOSE, pieces)
