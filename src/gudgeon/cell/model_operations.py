"""Entries of [[operations]]: what is cut, how hard it pushes, how long, and what comes first."""

from __future__ import annotations

from dataclasses import dataclass

from gudgeon.cell.entry import Shape, entry
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["Operation"]


@dataclass(frozen=True, slots=True)
class Operation:
    """[[operations]]: a cut, with its forces, its time and what must come before it."""

    name: str | None = entry(Kind.TEXT, "what is cut")
    tool: int | None = entry(Kind.INTEGER, "tool number", low=0)
    part: str | None = entry(Kind.TEXT, "name of the part")
    face: str | None = entry(Kind.TEXT, "name of the face; gives the pose")
    pose: tuple[Amount, Amount] | None = entry(
        Kind.ANGLE, "programmed tilt and turn, if no face is named", Shape.PAIR
    )
    at: tuple[Amount, Amount, Amount] | None = entry(
        Kind.LENGTH, "where it cuts with both angles zero, x y z", Shape.POINT
    )
    measured_from: str | None = entry(
        Kind.TEXT,
        "origin of at: the unit frame (tilt axis) or the platter frame (platter face)",
        choices=("tilt axis", "platter face"),
    )
    # --- how hard it pushes
    thrust: Amount | None = entry(Kind.FORCE, "force down along the spindle", low=0.0)
    side_force: Amount | None = entry(
        Kind.FORCE, "force square to the spindle, in any direction", low=0.0
    )
    lever: Amount | None = entry(
        Kind.LENGTH,
        "distance of the cut from the rotary line (worked out from at if left out)",
        low=0.0,
    )
    drill_diameter: Amount | None = entry(Kind.LENGTH, "drill diameter", above=0.0)
    feed_per_turn: Amount | None = entry(Kind.LENGTH, "feed a turn of the drill", above=0.0)
    cutting_pressure: Amount | None = entry(
        Kind.STRESS, "specific cutting force of the material", above=0.0
    )
    pressure_at_1mm: Amount | None = entry(
        Kind.STRESS, "specific cutting force at 1 mm chip thickness (kc1.1 of tables)", above=0.0
    )
    pressure_exponent: Amount | None = entry(
        Kind.NUMBER, "exponent of the chip thickness (m of tables)", low=0.0, high=1.0
    )
    depth: Amount | None = entry(Kind.LENGTH, "depth of cut along the spindle", above=0.0)
    width: Amount | None = entry(Kind.LENGTH, "width of cut across the spindle", above=0.0)
    teeth: int | None = entry(Kind.INTEGER, "teeth of the cutter", low=1)
    feed_per_tooth: Amount | None = entry(Kind.LENGTH, "feed a tooth", above=0.0)
    speed: Amount | None = entry(Kind.SPIN, "spindle speed of this cut", above=0.0)
    spindle_power: Amount | None = entry(
        Kind.POWER, "power read off the machine while it cuts, idling taken off", low=0.0
    )
    # --- how long it takes, and what comes first
    takes: Amount | None = entry(
        Kind.TIME, "time in the cut at one station, without change and index", low=0.0
    )
    call: str | None = entry(Kind.TEXT, 'block that runs it in a program, such as "M98 P2002"')
    after: tuple[str, ...] = entry(
        Kind.TEXT, "names of operations on the same part that must be done before", Shape.LIST
    )
    stage: str | None = entry(
        Kind.TEXT,
        "datum before all of the same part, rough before finish on the same face of it",
        choices=("datum", "rough", "finish"),
    )
    other_poses: tuple[str, ...] = entry(
        Kind.TEXT,
        "how else it may be cut: names of other faces of the part in whose pose it is reached; its "
        "own: the second pose that brings it up too",
        Shape.LIST,
    )
    stations: tuple[str, ...] = entry(
        Kind.TEXT, "names of the stations where it is cut (all of the part if left out)", Shape.LIST
    )
