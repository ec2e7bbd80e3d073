"""Cells built in code for the tests of axes and offsets."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from gudgeon.cell.model import (
    Cell,
    Control,
    Jog,
    Machine,
    Part,
    PartFace,
    Placement,
    Station,
    Unit,
)
from gudgeon.findings import Findings
from gudgeon.quantity.amount import Amount


def mm(value: float, plus_minus: float | None = None) -> Amount:
    return Amount(value, plus_minus)


def deg(value: float, plus_minus: float | None = None) -> Amount:
    return Amount(math.radians(value), None if plus_minus is None else math.radians(plus_minus))


def point(x: float, y: float, z: float, plus_minus: float | None = None) -> Any:
    return mm(x, plus_minus), mm(y, plus_minus), mm(z, plus_minus)


def face(
    name: str, zero: Any, normal: Any = None, pose: tuple[float, float] | None = None
) -> PartFace:
    return PartFace(
        name=name,
        zero=point(*zero),
        normal=normal,
        pose=None if pose is None else (deg(pose[0]), deg(pose[1])),
    )


FACES = (
    face("top", (0, 0, 40), (0, 0, 1), (0, 0)),
    face("front", (0, -20, 20), (0, -1, 0), (90, 0)),
    face("right", (30, 0, 20), (1, 0, 0), (90, 90)),
)
STATIONS = tuple(
    Station(name=str(i + 1), at=point(x, y, 0))
    for i, (x, y) in enumerate([(-120, -90), (-40, -30), (40, 30), (120, 90)])
)


def jog(letter: str, by: float, watched: str, moved: str) -> Jog:
    return Jog(letter, deg(by), watched, moved)


def cell(**changes: Any) -> Cell:
    """Return acceptance case 1 with its axis lines entered instead of touched."""
    usual = Cell(
        machine=Machine(
            travel_x=(mm(-762), mm(0)),
            travel_y=(mm(-406), mm(0)),
            travel_z=(mm(-508), mm(0)),
            gauge_to_table=mm(619.982),
        ),
        unit=Unit(
            kind="tilt and rotary",
            tilt_range=(deg(-95), deg(100)),
            tilt_axis_height=mm(215),
            face_height=mm(25.012),
            axis_offset=mm(0.023),
        ),
        placement=Placement(tilt_along="X", centre_x=mm(-381.246), centre_y=mm(-129.965)),
        stations=STATIONS,
        parts=(Part(name="clamp body", faces=FACES),),
        control=Control(tilt_letter="A", rotary_letter="C", tilt_sense=-1, rotary_sense=-1),
    )
    return replace(usual, **changes)


def change(usual: Cell, section: str, **entries: Any) -> Cell:
    return replace(usual, **{section: replace(getattr(usual, section), **entries)})


def findings(usual: Cell | None = None) -> Findings:
    return Findings(cell() if usual is None else usual)
