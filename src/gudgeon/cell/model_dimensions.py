"""Entries for the accuracy of the part: features, dimensions of the drawing, causes of error.

Nothing here reads, checks or computes.
"""

from __future__ import annotations

from dataclasses import dataclass

from gudgeon.cell.entry import Shape, entry
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["Accuracy", "DrawingDimension", "Feature"]

Point = tuple[Amount, Amount, Amount]
Range = tuple[Amount, Amount]
Direction = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Feature:
    """[[parts.features]]: a surface or hole that is cut, and in which pose."""

    name: str | None = entry(Kind.TEXT, "name of the feature")
    face: str | None = entry(Kind.TEXT, "name of the face in whose pose it is cut")
    at: Point | None = entry(
        Kind.LENGTH,
        "a point of it, part frame (the zero of its face if left out)",
        Shape.POINT,
    )
    kind: str | None = entry(
        Kind.TEXT,
        "plane: cut by the tool's end; edge: cut by its side; hole: drilled or bored (a plane if "
        "left out)",
        choices=("plane", "edge", "hole"),
    )
    normal: Direction | None = entry(
        Kind.DIRECTION, "outward direction, part frame (that of its face if left out)"
    )
    tool: int | None = entry(Kind.INTEGER, "tool number", low=0)
    clamping: str | None = entry(
        Kind.TEXT, "name of the clamping in which it is cut (all in one if left out)"
    )


@dataclass(frozen=True, slots=True)
class DrawingDimension:
    """[[dimensions]]: a dimension of the drawing with its tolerance."""

    name: str | None = entry(Kind.TEXT, "name of the dimension")
    part: str | None = entry(
        Kind.TEXT, "name of the part (if there is only one with features: left out)"
    )
    feature: str | None = entry(Kind.TEXT, "feature that is measured")
    measured_from: str | None = entry(
        Kind.TEXT,
        'feature it is measured from; "datum", or left out: what was there before the part was '
        "clamped",
    )
    kind: str | None = entry(
        Kind.TEXT,
        "what the tolerance is for (distance if left out); position: diameter of its zone",
        choices=("distance", "position", "square", "parallel", "angle"),
    )
    along: Direction | None = entry(
        Kind.DIRECTION,
        "direction of a distance, axis of a position, or normal of the datum, part frame (worked "
        "out from the features if left out)",
    )
    nominal: Amount | None = entry(Kind.LENGTH, "nominal size, only to be shown", low=0.0)
    tolerance: Amount | None = entry(
        Kind.LENGTH,
        "distance: allowed either way; position: diameter of the zone; square and parallel: "
        "width of the zone",
        above=0.0,
    )
    limits: Range | None = entry(
        Kind.LENGTH, "distance: lowest and highest deviation, instead of tolerance", Shape.RANGE
    )
    tolerance_angle: Amount | None = entry(Kind.ANGLE, "angle: allowed either way", above=0.0)
    over: Amount | None = entry(
        Kind.LENGTH,
        "square and parallel: length of the surface (100 mm if left out)",
        above=0.0,
    )
    stations: tuple[str, ...] = entry(
        Kind.TEXT, "stations where it counts (all that hold the part if left out)", Shape.LIST
    )


@dataclass(frozen=True, slots=True)
class Accuracy:
    """[accuracy]: how large the causes of error are; index errors stand in [readings]."""

    share: Amount | None = entry(
        Kind.SHARE,
        "share of the parts that must be in tolerance (99.73 % if left out)",
        above=0.0,
        high=1.0,
    )
    approach: str | None = entry(
        Kind.TEXT,
        "whether each pose is always come to from the same side (both if left out)",
        choices=("one side", "both sides"),
    )
    tilt_lost_motion: Amount | None = entry(
        Kind.ANGLE, "what a reversal of the tilt swallows (10 arcsec if left out)", low=0.0
    )
    rotary_lost_motion: Amount | None = entry(
        Kind.ANGLE, "what a reversal of the platter swallows (10 arcsec if left out)", low=0.0
    )
    linear_repeat: Amount | None = entry(
        Kind.LENGTH,
        "standard uncertainty (k = 1) of one positioning of X, Y or Z (0.002 mm if left out)",
        low=0.0,
    )
    clamping: Amount | None = entry(
        Kind.LENGTH,
        "standard uncertainty (k = 1) of the part's seat in its clamping (0.01 mm if left out)",
        low=0.0,
    )
    clamping_base: Amount | None = entry(
        Kind.LENGTH, "distance between the seats of the part (50 mm if left out)", above=0.0
    )
    zeros: str | None = entry(
        Kind.TEXT,
        "where the zero of each face comes from (from the lines if left out)",
        choices=("from the lines", "probed in each pose"),
    )
    station_u: Amount | None = entry(
        Kind.LENGTH,
        "standard uncertainty (k = 1) of a station's place on the platter (0.01 mm if left out)",
        low=0.0,
    )
    probing_u: Amount | None = entry(
        Kind.LENGTH,
        "standard uncertainty (k = 1) of a zero that is probed (reading_u, else 0.003 mm)",
        low=0.0,
    )
    tool_length_u: Amount | None = entry(
        Kind.LENGTH, "standard uncertainty (k = 1) of a tool length (0.005 mm if left out)", low=0.0
    )
    tool_diameter_u: Amount | None = entry(
        Kind.LENGTH,
        "standard uncertainty (k = 1) of a cutter's diameter (0.01 mm if left out)",
        low=0.0,
    )
    spindle_growth: Amount | None = entry(
        Kind.LENGTH,
        "how far the spindle may grow or shrink between two poses, either way (0.005 mm if left "
        "out)",
        low=0.0,
    )
    temperature: Range | None = entry(
        Kind.TEMPERATURE,
        "lowest and highest temperature of the machine while cutting (2 degC either side of that "
        "at the readings, else of 20 degC)",
        Shape.RANGE,
    )
    part_apart: Amount | None = entry(
        Kind.NUMBER,
        "degC by which the part may be warmer or colder than the machine (2 if left out)",
        low=0.0,
        high=200.0,
    )
    part_growth: Amount | None = entry(
        Kind.NUMBER,
        "expansion of the part, micrometre a metre and degC (11.5, steel, if left out)",
        low=0.0,
        high=200.0,
    )
    machine_growth: Amount | None = entry(
        Kind.NUMBER,
        "expansion of the machine, micrometre a metre and degC (11.5, steel and iron, if left out)",
        low=0.0,
        high=200.0,
    )
