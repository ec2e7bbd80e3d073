"""Entries that give bodies their shape, for everything that may not touch.

Frames are those of `gudgeon.cell.model`; "fixture" is the platter frame turned by the fixture's
clocking, "part" the frame of a part at each station that holds it.

Nothing here reads, checks or computes.
"""

from __future__ import annotations

from dataclasses import dataclass

from gudgeon.cell.entry import Shape, entry
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["Model", "Solid", "ToolStep", "Window"]

Range = tuple[Amount, Amount]
Point = tuple[Amount, Amount, Amount]

CARRIERS = ("table", "cradle", "platter", "head", "machine")
FRAMES = ("machine", "tilt axis", "platter face", "fixture", "part", "gauge point")
COUNTS = ("fixture", "part", "stock", "unit", "guard", "table")

_CARRIED = (
    "what carries it; machine: it stands on the floor (left out: the platter for what is measured "
    "from platter face, fixture or part, the head from the gauge point)"
)
_MEASURED = "origin of its positions: machine coordinates, unit frame, platter frame ..."
_COUNTS = "what it counts as; the flutes may be in stock on feed moves, and never in a part"


@dataclass(frozen=True, slots=True)
class Window:
    """[[fixture.windows]]: where a part stands in the fixture, as a box.

    It is cut out of the fixture's outline and is stock of its station: the flutes may be in it
    while that station is cut, and nowhere else in the fixture.
    """

    station: str | None = entry(Kind.TEXT, "name of the station whose part stands in it")
    x: Range | None = entry(Kind.LENGTH, "ends in x, fixture frame", Shape.RANGE)
    y: Range | None = entry(Kind.LENGTH, "ends in y, fixture frame", Shape.RANGE)
    z: Range | None = entry(Kind.LENGTH, "ends over the platter face", Shape.RANGE)


@dataclass(frozen=True, slots=True)
class ToolStep:
    """[[tools.steps]]: a length of the tool of one shape, instead of the diameters above.

    A cutter of several diameters, a slim holder, an extension: one step for each, in any order.
    """

    low: Amount | None = entry(Kind.LENGTH, "its lower end over the tip", low=0.0)
    high: Amount | None = entry(Kind.LENGTH, "its upper end over the tip", low=0.0)
    diameter: Amount | None = entry(Kind.LENGTH, "its diameter (at the lower end)", low=0.0)
    high_diameter: Amount | None = entry(
        Kind.LENGTH, "diameter at the upper end, if it is a cone", low=0.0
    )
    counts_as: str | None = entry(
        Kind.TEXT, "only flutes of a cutter may touch stock", choices=("cutter", "shank", "holder")
    )


@dataclass(frozen=True, slots=True)
class Solid:
    """[[solids]]: a body of simple shape: a clamp, a vise, a guard, a part of the unit."""

    name: str | None = entry(Kind.TEXT, "what it is")
    shape: str | None = entry(
        Kind.TEXT,
        "box: x, y, z; cylinder and cone: start, end, diameters; prism: outline and z",
        choices=("box", "cylinder", "cone", "prism"),
    )
    counts_as: str | None = entry(Kind.TEXT, _COUNTS, choices=COUNTS)
    carried_by: str | None = entry(Kind.TEXT, _CARRIED, choices=CARRIERS)
    measured_from: str | None = entry(Kind.TEXT, _MEASURED, choices=FRAMES)
    station: str | None = entry(Kind.TEXT, "station of stock or part")
    part: str | None = entry(Kind.TEXT, 'name of the part, if measured from "part"')
    x: Range | None = entry(Kind.LENGTH, "box: ends in x", Shape.RANGE)
    y: Range | None = entry(Kind.LENGTH, "box: ends in y", Shape.RANGE)
    z: Range | None = entry(Kind.LENGTH, "box and prism: ends in z", Shape.RANGE)
    start: Point | None = entry(Kind.LENGTH, "cylinder, cone: middle of one end", Shape.POINT)
    end: Point | None = entry(Kind.LENGTH, "cylinder, cone: middle of the other end", Shape.POINT)
    diameter: Amount | None = entry(Kind.LENGTH, "diameter (cone: at start)", low=0.0)
    end_diameter: Amount | None = entry(Kind.LENGTH, "cone: diameter at the other end", low=0.0)
    outline_x: tuple[Amount, ...] = entry(
        Kind.LENGTH, "prism: x of each corner of its outline, going round", Shape.LIST
    )
    outline_y: tuple[Amount, ...] = entry(
        Kind.LENGTH, "prism: y of each corner of its outline", Shape.LIST
    )


@dataclass(frozen=True, slots=True)
class Model:
    """[[models]]: a body drawn in CAD: an STL, OBJ, 3MF or GLB file beside the cell file."""

    name: str | None = entry(Kind.TEXT, "what it is")
    file: str | None = entry(Kind.TEXT, "its file, beside the cell file")
    unit: str | None = entry(
        Kind.TEXT,
        "length unit of the numbers in the file (STL and OBJ carry none; left out: that of 3MF, "
        "metres for GLB)",
        choices=("mm", "in", "m", "cm"),
    )
    up: str | None = entry(
        Kind.TEXT,
        "axis of the file that points up (left out: Y for GLB, as its standard says, else Z)",
        choices=("Y", "Z"),
    )
    counts_as: str | None = entry(Kind.TEXT, _COUNTS, choices=COUNTS)
    carried_by: str | None = entry(Kind.TEXT, _CARRIED, choices=CARRIERS)
    measured_from: str | None = entry(Kind.TEXT, _MEASURED, choices=FRAMES)
    station: str | None = entry(Kind.TEXT, "station of stock or part")
    part: str | None = entry(Kind.TEXT, 'name of the part, if measured from "part"')
    at: Point | None = entry(Kind.LENGTH, "where its origin stands (0, 0, 0)", Shape.POINT)
    turn: Amount | None = entry(
        Kind.ANGLE, "turn of the model about z, counter-clockwise, before it is moved to at"
    )
