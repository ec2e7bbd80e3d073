"""Every entry of a cell file, in the order of the file, which is the order of the job.

Inside, every quantity is an `Amount` in the base unit of its kind (mm, rad, kg, N, N m, s ...), or
``None`` where the file is silent.  Positions are in the table frame T (machine coordinates) unless
an entry says "unit frame" or "platter frame":

* unit frame: origin where the rotary axis line crosses the height of the tilt axis line (for a unit
  without tilt: the middle of the platter face on its axis), x along the tilt axis line (without
  tilt: along the rotary axis line, out of the platter face), z up; at yaw 0 its x, y, z are those
  of T.
* platter frame: origin where the rotary axis line pierces the platter face; with both programmed
  angles zero its x, y, z are those of the machine, whichever way round the unit stands.  For a unit
  without tilt: z out of the platter face (unit frame x), x along unit frame y, y up, as seen by one
  who looks at the face.

Nothing here reads, checks or computes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.entry import Shape, entry, section, sections
from gudgeon.cell.model_bodies import Model as Model
from gudgeon.cell.model_bodies import Solid as Solid
from gudgeon.cell.model_bodies import ToolStep as ToolStep
from gudgeon.cell.model_bodies import Window as Window
from gudgeon.cell.model_control import Control as Control
from gudgeon.cell.model_control import Jog as Jog
from gudgeon.cell.model_dimensions import Accuracy as Accuracy
from gudgeon.cell.model_dimensions import DrawingDimension as DrawingDimension
from gudgeon.cell.model_dimensions import Feature as Feature
from gudgeon.cell.model_drift import Check as Check
from gudgeon.cell.model_drift import DayRow as DayRow
from gudgeon.cell.model_drift import Drift as Drift
from gudgeon.cell.model_drift import MadeRow as MadeRow
from gudgeon.cell.model_operations import Operation as Operation
from gudgeon.cell.model_piece import Piece as Piece
from gudgeon.cell.model_readings import Readings as Readings
from gudgeon.cell.model_readings import Touch as Touch
from gudgeon.cell.model_times import LinearMotion as LinearMotion
from gudgeon.cell.model_times import Night as Night
from gudgeon.cell.model_times import Shift as Shift
from gudgeon.cell.model_times import Stopwatch as Stopwatch
from gudgeon.cell.model_times import Timing as Timing
from gudgeon.cell.model_times import TurningMotion as TurningMotion
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

Range = tuple[Amount, Amount]
Point = tuple[Amount, Amount, Amount]
Pair = tuple[Amount, Amount]


@dataclass(frozen=True, slots=True)
class Shop:
    """[shop]: who asks, and in which units the answers are shown."""

    name: str | None = entry(Kind.TEXT, "name of the shop or of this cell")
    units: str | None = entry(Kind.TEXT, "units of the answers", choices=("mm", "in"))
    clearance: Amount | None = entry(
        Kind.LENGTH, "clearance asked of every motion (1 mm if left out)", low=0.0
    )


@dataclass(frozen=True, slots=True)
class Changer:
    """[machine.changer]: what happens at a tool change."""

    x: Amount | None = entry(Kind.LENGTH, "machine X at a tool change, if the change moves X")
    y: Amount | None = entry(Kind.LENGTH, "machine Y at a tool change, if the change moves Y")
    z: Amount | None = entry(Kind.LENGTH, "machine Z at a tool change")
    arm_half_depth: Amount | None = entry(
        Kind.LENGTH,
        "the arm with its tools sweeps this far either side of the spindle line, along Y",
        above=0.0,
    )
    arm_half_width: Amount | None = entry(
        Kind.LENGTH,
        "the arm with its tools sweeps this far either side of the spindle line, along X",
        above=0.0,
    )
    pull_down: Amount | None = entry(
        Kind.LENGTH, "how far a tool is pulled down out of the spindle", low=0.0
    )


@dataclass(frozen=True, slots=True)
class Machine:
    """[machine]: the 3-axis vertical mill as it stands."""

    name: str | None = entry(Kind.TEXT, "how the shop calls the machine")
    layout: str | None = entry(
        Kind.TEXT,
        "what moves: the table in X and Y; the column in X and Y; or the table in X, the head in Y",
        choices=("moving table", "moving column", "bridge"),
    )
    travel_x: Range | None = entry(Kind.LENGTH, "lowest and highest machine X", Shape.RANGE)
    travel_y: Range | None = entry(Kind.LENGTH, "lowest and highest machine Y", Shape.RANGE)
    travel_z: Range | None = entry(Kind.LENGTH, "lowest and highest machine Z", Shape.RANGE)
    gauge_to_table: Amount | None = entry(
        Kind.LENGTH,
        "height of the gauge point (empty spindle) over the table top when Z displays 0",
        above=0.0,
    )
    table_x: Range | None = entry(Kind.LENGTH, "ends of the table top, machine X", Shape.RANGE)
    table_y: Range | None = entry(Kind.LENGTH, "ends of the table top, machine Y", Shape.RANGE)
    slots_along: str | None = entry(
        Kind.TEXT, "direction in which the T-slots run", choices=("X", "Y")
    )
    slot_positions: tuple[Amount, ...] = entry(
        Kind.LENGTH, "middle of each T-slot: machine Y if they run along X, else X", Shape.LIST
    )
    slot_width: Amount | None = entry(Kind.LENGTH, "throat width of the T-slots", above=0.0)
    table_load: Amount | None = entry(
        Kind.MASS, "greatest mass that the table may carry (machine's manual)", above=0.0
    )
    guard_right: Amount | None = entry(
        Kind.LENGTH, "fixed guard or door to the right of the spindle line", above=0.0
    )
    guard_left: Amount | None = entry(
        Kind.LENGTH, "fixed guard to the left of the spindle line", above=0.0
    )
    column_behind: Amount | None = entry(
        Kind.LENGTH, "column or cover behind the spindle line", above=0.0
    )
    door_front: Amount | None = entry(
        Kind.LENGTH, "door or cover in front of the spindle line", above=0.0
    )
    margin_x: Amount | None = entry(Kind.LENGTH, "room to keep to guards in X", low=0.0)
    margin_y: Amount | None = entry(Kind.LENGTH, "room to keep to column and door in Y", low=0.0)
    nose_diameter: Amount | None = entry(Kind.LENGTH, "diameter of the spindle nose", above=0.0)
    changer: Changer = section(Changer, "what happens at a tool change")
    motion: LinearMotion = section(LinearMotion, "how fast X, Y and Z move")
    spindle_power: Amount | None = entry(
        Kind.POWER, "rated power of the spindle (machine's manual)", above=0.0
    )


@dataclass(frozen=True, slots=True)
class Flange:
    """[unit.flange] and [fixture.flange]: the two faces that are bolted together."""

    pitch_circle: Amount | None = entry(Kind.LENGTH, "pitch circle diameter", above=0.0)
    holes: tuple[Amount, ...] = entry(
        Kind.ANGLE, "angle of each hole, counter-clockwise seen from above", Shape.LIST
    )
    hole_diameter: Amount | None = entry(
        Kind.LENGTH, "diameter of the clearance holes (leave out for threads)", above=0.0
    )
    pilot_diameter: Amount | None = entry(Kind.LENGTH, "diameter of the pilot", above=0.0)
    pilot_kind: str | None = entry(
        Kind.TEXT, "whether the pilot is a bore or a boss", choices=("bore", "boss")
    )
    pilot_depth: Amount | None = entry(
        Kind.LENGTH, "depth of the pilot bore, or height of the boss", above=0.0
    )


@dataclass(frozen=True, slots=True)
class Bolts:
    """[fixture.bolts] and [placement.bolts]: how a joint is clamped."""

    size: str | None = entry(Kind.TEXT, 'thread, such as "M12" or "1/2-13"')
    diameter: Amount | None = entry(Kind.LENGTH, "nominal diameter", above=0.0)
    pitch: Amount | None = entry(Kind.LENGTH, "thread pitch", above=0.0)
    count: int | None = entry(
        Kind.INTEGER, "bolts that go in (for the fixture: if fewer than match)", low=1
    )
    strength: str | None = entry(
        Kind.TEXT, "property class of the bolts", choices=("8.8", "10.9", "12.9")
    )
    proof_stress: Amount | None = entry(
        Kind.STRESS, "proof stress of the bolts, where they have no metric class", above=0.0
    )
    torque: Amount | None = entry(Kind.TORQUE, "tightening torque", above=0.0)
    nut_factor: Amount | None = entry(
        Kind.NUMBER, "nut factor K in torque = K x diameter x preload", above=0.0, high=1.0
    )
    friction: Amount | None = entry(Kind.NUMBER, "friction of the joint faces", above=0.0, high=1.0)
    spread_across: Amount | None = entry(
        Kind.LENGTH, "distance between the outermost bolts, across the tilt axis", above=0.0
    )
    spread_along: Amount | None = entry(
        Kind.LENGTH, "distance between the outermost bolts, along the tilt axis", above=0.0
    )


@dataclass(frozen=True, slots=True)
class Box:
    """[[unit.boxes]]: a part of the unit as a box in the unit frame (a motor, a cover)."""

    name: str | None = entry(Kind.TEXT, "what it is")
    x: Range | None = entry(Kind.LENGTH, "ends along the tilt axis, unit frame", Shape.RANGE)
    y: Range | None = entry(Kind.LENGTH, "ends across the tilt axis, unit frame", Shape.RANGE)
    z: Range | None = entry(Kind.LENGTH, "ends in height over the tilt axis", Shape.RANGE)
    turns_with: str | None = entry(
        Kind.TEXT, "what carries it", choices=("base", "cradle", "platter")
    )


@dataclass(frozen=True, slots=True)
class Alternative:
    """[[unit.alternatives]]: what could stand in the place of one of the boxes (an elbow).

    Judged one by one, never fitted together with the box that it replaces.
    """

    name: str | None = entry(Kind.TEXT, "what it is")
    instead_of: str | None = entry(Kind.TEXT, "name of the box that it replaces")
    x: Range | None = entry(Kind.LENGTH, "ends along the tilt axis, unit frame", Shape.RANGE)
    y: Range | None = entry(Kind.LENGTH, "ends across the tilt axis, unit frame", Shape.RANGE)
    z: Range | None = entry(Kind.LENGTH, "ends in height over the tilt axis", Shape.RANGE)


@dataclass(frozen=True, slots=True)
class Hose:
    """[[unit.hoses]]: a hose or cable between the unit and an anchor.

    Only the directions that are given count; a direction left out is taken as no distance.
    """

    name: str | None = entry(Kind.TEXT, "what it is")
    connector_x: Amount | None = entry(Kind.LENGTH, "its connector on the unit, unit frame x")
    connector_y: Amount | None = entry(Kind.LENGTH, "its connector on the unit, unit frame y")
    connector_z: Amount | None = entry(Kind.LENGTH, "its connector on the unit, unit frame z")
    anchor_x: Amount | None = entry(Kind.LENGTH, "its anchor on the table, machine X")
    anchor_y: Amount | None = entry(Kind.LENGTH, "its anchor on the table, machine Y")
    anchor_z: Amount | None = entry(Kind.LENGTH, "its anchor on the table, machine Z")
    free_length: Amount | None = entry(
        Kind.LENGTH, "greatest distance that it may span (free length less its bends)", above=0.0
    )
    turns_with: str | None = entry(
        Kind.TEXT, "what carries its connector", choices=("base", "cradle", "platter")
    )
    length: Amount | None = entry(
        Kind.LENGTH,
        "its whole length; with all of connector and anchor: all it can reach counts as a body",
        above=0.0,
    )
    diameter: Amount | None = entry(Kind.LENGTH, "its outside diameter", above=0.0)
    min_bend: Amount | None = entry(Kind.LENGTH, "least bend radius (maker's data)", above=0.0)


@dataclass(frozen=True, slots=True)
class Mass:
    """[[unit.masses]] and [[fixture.masses]]: something that turns and weighs."""

    name: str | None = entry(Kind.TEXT, "what it is")
    each: Amount | None = entry(Kind.MASS, "mass of one", low=0.0)
    count: int | None = entry(Kind.INTEGER, "how many (1 if left out)", low=0)
    at: Point | None = entry(
        Kind.LENGTH, "centre of mass with both angles zero, x y z", Shape.POINT
    )
    measured_from: str | None = entry(
        Kind.TEXT,
        "origin of at: the unit frame (tilt axis) or the platter frame (platter face)",
        choices=("tilt axis", "platter face"),
    )
    turns_with: str | None = entry(
        Kind.TEXT, "cradle: tilts only; platter: tilts and turns", choices=("cradle", "platter")
    )
    loaded: bool | None = entry(
        Kind.YES_NO, "true for parts, which come and go one by one; false for what stays"
    )


@dataclass(frozen=True, slots=True)
class Unit:
    """[unit]: the tilting rotary unit by itself, from its data sheet or measured."""

    name: str | None = entry(Kind.TEXT, "how the shop calls the unit")
    kind: str | None = entry(
        Kind.TEXT,
        "two axes, or one rotary axis lying along the table",
        choices=("tilt and rotary", "rotary only"),
    )
    tilt_range: Range | None = entry(Kind.ANGLE, "lowest and highest programmed tilt", Shape.RANGE)
    rotary_range: Range | None = entry(
        Kind.ANGLE, "lowest and highest programmed turn (leave out if endless)", Shape.RANGE
    )
    tilt_axis_height: Amount | None = entry(
        Kind.LENGTH, "tilt axis line (single axis: rotary line) over the unit's base", above=0.0
    )
    face_height: Amount | None = entry(
        Kind.LENGTH, "platter face over the tilt axis line at tilt zero; negative if below"
    )
    axis_offset: Amount | None = entry(
        Kind.LENGTH,
        "rotary line minus tilt line at tilt zero, along unit frame y: Y+ for a tilt along X, "
        "X- for one along Y",
    )
    platter_diameter: Amount | None = entry(Kind.LENGTH, "diameter of the platter", above=0.0)
    body_right: Amount | None = entry(Kind.LENGTH, "body reaches this far towards unit frame +x")
    body_left: Amount | None = entry(Kind.LENGTH, "body reaches this far towards unit frame -x")
    body_front: Amount | None = entry(Kind.LENGTH, "body reaches this far towards unit frame -y")
    body_rear: Amount | None = entry(Kind.LENGTH, "body reaches this far towards unit frame +y")
    body_height: Amount | None = entry(
        Kind.LENGTH, "highest fixed point of the body over its base", above=0.0
    )
    touching: str | None = entry(
        Kind.TEXT,
        "what of the standing body counts: its outline up to body_height, or only its boxes, "
        "solids and models",
        choices=("outline", "bodies"),
    )
    lug_rows: tuple[Amount, ...] = entry(
        Kind.LENGTH, "rows of clamping lugs along the tilt axis: unit frame y of each", Shape.LIST
    )
    lug_columns: tuple[Amount, ...] = entry(
        Kind.LENGTH, "rows of lugs across the tilt axis: unit frame x of each", Shape.LIST
    )
    lugs_needed: int | None = entry(
        Kind.INTEGER, "rows of lugs that must sit over a T-slot at once (1 if left out)", low=1
    )
    lug_play: Amount | None = entry(
        Kind.LENGTH, "how far a lug row may sit beside the middle of a slot", low=0.0
    )
    mass: Amount | None = entry(Kind.MASS, "mass of the unit without fixture", above=0.0)
    rated_load_flat: Amount | None = entry(
        Kind.MASS, "greatest load on the platter lying flat (data sheet)", above=0.0
    )
    rated_load_upright: Amount | None = entry(
        Kind.MASS, "greatest load on the platter standing upright (data sheet)", above=0.0
    )
    rated_tilt_torque: Amount | None = entry(
        Kind.TORQUE, "greatest unbalance torque of the tilt drive (data sheet)", above=0.0
    )
    rated_rotary_torque: Amount | None = entry(
        Kind.TORQUE, "greatest unbalance torque of the rotary drive (data sheet)", above=0.0
    )
    tilt_brake_torque: Amount | None = entry(
        Kind.TORQUE, "holding torque of the tilt brake or clamp", above=0.0
    )
    rotary_brake_torque: Amount | None = entry(
        Kind.TORQUE, "holding torque of the rotary brake or clamp", above=0.0
    )
    brake_safety: Amount | None = entry(Kind.NUMBER, "safety factor on the brakes", low=1.0)
    flange: Flange = section(Flange, "holes and pilot of the platter")
    boxes: tuple[Box, ...] = sections(Box, "parts of the unit that stand out: motors, covers")
    alternatives: tuple[Alternative, ...] = sections(
        Alternative, "what could be fitted instead of one of the boxes"
    )
    hoses: tuple[Hose, ...] = sections(Hose, "hoses and cables")
    masses: tuple[Mass, ...] = sections(Mass, "cradle and platter, if their unbalance is known")
    motion: TurningMotion = section(TurningMotion, "how fast the turning axes move")


@dataclass(frozen=True, slots=True)
class Placement:
    """[placement]: where the unit stands on the table, or shall stand."""

    tilt_along: str | None = entry(
        Kind.TEXT, "machine axis along which the tilt axis lies", choices=("X", "Y")
    )
    yaw: Amount | None = entry(
        Kind.ANGLE, "turn of the unit frame about Z, counter-clockwise from above"
    )
    yaws: tuple[Amount, ...] = entry(
        Kind.ANGLE, "yaws that may be considered (0, 90, 180, 270 deg if left out)", Shape.LIST
    )
    centre_x: Amount | None = entry(Kind.LENGTH, "machine X of the unit frame's origin")
    centre_y: Amount | None = entry(Kind.LENGTH, "machine Y of the unit frame's origin")
    riser: Amount | None = entry(Kind.LENGTH, "thickness of a plate under the unit", low=0.0)
    risers: tuple[Amount, ...] = entry(
        Kind.LENGTH, "thickness of each riser plate at hand, to be tried", Shape.LIST, low=0.0
    )
    reach_x: Amount | None = entry(
        Kind.LENGTH, "X needed either side of the unit: outermost zero plus approach", low=0.0
    )
    reach_y: Amount | None = entry(
        Kind.LENGTH, "Y needed either side of the tilt axis: outermost zero plus approach", low=0.0
    )
    approach: Amount | None = entry(
        Kind.LENGTH, "tool's approach beyond a zero, added where reach is worked out", low=0.0
    )
    overhang: Amount | None = entry(
        Kind.LENGTH, "how far the body may stand over the table's edge", low=0.0
    )
    clearance: Amount | None = entry(Kind.LENGTH, "head room that must remain", low=0.0)
    bolts: Bolts = section(Bolts, "bolts that hold the unit on the table")


@dataclass(frozen=True, slots=True)
class Fixture:
    """[fixture]: what is bolted on the platter, without the parts."""

    name: str | None = entry(Kind.TEXT, "how the shop calls it")
    mass: Amount | None = entry(Kind.MASS, "its mass without parts", low=0.0)
    mass_centre: Point | None = entry(Kind.LENGTH, "its centre of mass, platter frame", Shape.POINT)
    shape: str | None = entry(
        Kind.TEXT,
        "outline of fixture with parts, turned about the rotary line or square",
        choices=("cylinder", "square"),
    )
    radius: Amount | None = entry(
        Kind.LENGTH, "cylinder: radius of everything about the rotary line", above=0.0
    )
    half_width: Amount | None = entry(
        Kind.LENGTH, "square: half its width over flats, parts included", above=0.0
    )
    bottom: Amount | None = entry(Kind.LENGTH, "lower end over the platter face (0 if left out)")
    height: Amount | None = entry(Kind.LENGTH, "upper end over the platter face, parts included")
    touching: str | None = entry(
        Kind.TEXT,
        "what of fixture and parts counts: the outline less its windows, or only solids and models",
        choices=("outline", "bodies"),
    )
    clocking: Amount | None = entry(
        Kind.ANGLE, "turn of the fixture and its stations on the platter, counter-clockwise"
    )
    clamp_torque: Amount | None = entry(
        Kind.TORQUE, "tightening torque of the clamps or vises that hold the parts", above=0.0
    )
    min_web: Amount | None = entry(
        Kind.LENGTH, "least material to leave between two holes when drilling again", low=0.0
    )
    flange: Flange = section(Flange, "holes and pilot of the fixture's foot")
    bolts: Bolts = section(Bolts, "bolts between fixture and platter")
    masses: tuple[Mass, ...] = sections(Mass, "masses, instead of mass and stations")
    windows: tuple[Window, ...] = sections(Window, "where the parts stand in the outline")


@dataclass(frozen=True, slots=True)
class Station:
    """[[stations]]: a place for one part, in the order in which they are loaded."""

    name: str | None = entry(Kind.TEXT, "name of the station")
    part: str | None = entry(
        Kind.TEXT, "name of the part that it holds (if there is only one: left out)"
    )
    at: Point | None = entry(Kind.LENGTH, "part origin, platter frame", Shape.POINT)
    turn: Amount | None = entry(
        Kind.ANGLE, "turn of the part about the platter's z, counter-clockwise"
    )
    faces: tuple[str, ...] = entry(
        Kind.TEXT, "faces of the part cut at this station (all if left out)", Shape.LIST
    )
    empty: bool | None = entry(Kind.YES_NO, "true if no part is loaded here: its cuts are skipped")


@dataclass(frozen=True, slots=True)
class PartFace:
    """[[parts.faces]]: a side that is machined in one pose, with its zero."""

    name: str | None = entry(Kind.TEXT, "name of the face")
    zero: Point | None = entry(Kind.LENGTH, "zero of the face, part frame", Shape.POINT)
    normal: tuple[float, float, float] | None = entry(
        Kind.DIRECTION, 'outward direction, part frame: "Z+" or [0, 0, 1]'
    )
    pose: Pair | None = entry(
        Kind.ANGLE, "programmed tilt and turn (worked out if left out)", Shape.PAIR
    )


@dataclass(frozen=True, slots=True)
class Part:
    """[[parts]]: a workpiece."""

    name: str | None = entry(Kind.TEXT, "name of the part")
    mass: Amount | None = entry(Kind.MASS, "mass of one blank", low=0.0)
    mass_centre: Point | None = entry(Kind.LENGTH, "its centre of mass, part frame", Shape.POINT)
    faces: tuple[PartFace, ...] = sections(PartFace, "sides that are machined")
    features: tuple[Feature, ...] = sections(Feature, "surfaces and holes that dimensions link")


@dataclass(frozen=True, slots=True)
class Tool:
    """[[tools]]: a tool in its holder."""

    number: int | None = entry(Kind.INTEGER, "tool number", low=0)
    name: str | None = entry(Kind.TEXT, "what it is")
    length: Amount | None = entry(Kind.LENGTH, "gauge point to tip", above=0.0)
    cutter_diameter: Amount | None = entry(Kind.LENGTH, "cutter diameter", above=0.0)
    stickout: Amount | None = entry(Kind.LENGTH, "tip to holder", above=0.0)
    holder_diameter: Amount | None = entry(Kind.LENGTH, "holder diameter", above=0.0)
    flute_length: Amount | None = entry(
        Kind.LENGTH, "tip to the end of the flutes (the stickout if left out)", above=0.0
    )
    shank_diameter: Amount | None = entry(
        Kind.LENGTH, "shank above the flutes (the cutter diameter if left out)", above=0.0
    )
    steps: tuple[ToolStep, ...] = sections(ToolStep, "the tool as cones and cylinders")
    life: Amount | None = entry(Kind.TIME, "time in the cut until it is worn", above=0.0)
    sisters: tuple[int, ...] = entry(
        Kind.INTEGER, "numbers of tools alike that take over when it is worn", Shape.LIST, low=0
    )


@dataclass(frozen=True, slots=True)
class MoneyItem:
    """[[money.items]]: one thing that has to be bought or paid once."""

    name: str | None = entry(Kind.TEXT, "what it is")
    price: Amount | None = entry(Kind.MONEY, "its price", low=0.0)


@dataclass(frozen=True, slots=True)
class Rival:
    """[money.dedicated] and [money.vise_work]: another way to make the same parts."""

    price: Amount | None = entry(Kind.MONEY, "outlay at the start", low=0.0)
    running_cost: Amount | None = entry(
        Kind.MONEY_PER_YEAR, "upkeep, space, interest-free", low=0.0
    )
    time_per_part: Amount | None = entry(Kind.TIME, "paid minutes a part", low=0.0)
    saved_per_part: Amount | None = entry(
        Kind.TIME, "time saved a part against the present way, instead of time_per_part"
    )
    resale: Amount | None = entry(Kind.MONEY, "worth at the end of the years", low=0.0)


@dataclass(frozen=True, slots=True)
class Money:
    """[money]: what it costs and what it saves."""

    investment: Amount | None = entry(Kind.MONEY, "whole outlay at the start", low=0.0)
    items: tuple[MoneyItem, ...] = sections(MoneyItem, "the outlay item by item")
    running_cost: Amount | None = entry(
        Kind.MONEY_PER_YEAR, "yearly cost of unit and drives", low=0.0
    )
    time_per_part_now: Amount | None = entry(Kind.TIME, "paid time a part today", above=0.0)
    time_per_part: Amount | None = entry(Kind.TIME, "paid time a part with the unit", low=0.0)
    saved_per_part: Amount | None = entry(Kind.TIME, "time saved a part, instead of the two above")
    shop_rate: Amount | None = entry(
        Kind.MONEY_PER_HOUR, "what an hour of machine and person is worth", above=0.0
    )
    volume: Amount | None = entry(Kind.PER_YEAR, "parts a year", low=0.0)
    volumes: tuple[Amount, ...] = entry(
        Kind.PER_YEAR, "volumes to compare, best guess first if volume is left out", Shape.LIST
    )
    years: Amount | None = entry(Kind.NUMBER, "years looked at (5 if left out)", low=1.0, high=50.0)
    discount: Amount | None = entry(
        Kind.SHARE, "yearly discount rate (8 % if left out)", above=-0.5
    )
    resale: Amount | None = entry(Kind.MONEY, "worth of the unit at the end of the years", low=0.0)
    dedicated: Rival = section(Rival, "buying a dedicated machine instead")
    vise_work: Rival = section(Rival, "second vise set-ups on the machine as it is")
    seed: int | None = entry(Kind.INTEGER, "seed of the random draws (1 if left out)", low=0)


@dataclass(frozen=True, slots=True)
class Program:
    """[[programs]]: an NC program that runs in this cell."""

    file: str | None = entry(Kind.TEXT, "its file, beside the cell file")
    clearance: Amount | None = entry(
        Kind.LENGTH, "clearance asked of its motion ([shop] clearance if left out)", low=0.0
    )


@dataclass(frozen=True, slots=True)
class Cell:
    """A whole cell file; what is not known is ``None``."""

    shop: Shop = section(Shop, "who asks")
    machine: Machine = section(Machine, "the mill")
    unit: Unit = section(Unit, "the tilting rotary unit")
    placement: Placement = section(Placement, "where the unit stands")
    fixture: Fixture = section(Fixture, "what is bolted on the platter")
    stations: tuple[Station, ...] = sections(Station, "places for parts, in loading order")
    parts: tuple[Part, ...] = sections(Part, "workpieces")
    tools: tuple[Tool, ...] = sections(Tool, "tools")
    operations: tuple[Operation, ...] = sections(Operation, "cuts: forces, times, what comes first")
    control: Control = section(Control, "letters, senses, words")
    programs: tuple[Program, ...] = sections(Program, "NC programs that run in this cell")
    solids: tuple[Solid, ...] = sections(Solid, "further bodies that nothing may touch")
    models: tuple[Model, ...] = sections(Model, "bodies drawn in CAD")
    timing: Timing = section(Timing, "what takes time")
    shift: Shift = section(Shift, "when a person is there")
    money: Money = section(Money, "cost and saving")
    readings: Readings = section(Readings, "what was touched")
    dimensions: tuple[DrawingDimension, ...] = sections(
        DrawingDimension, "dimensions of the drawing"
    )
    accuracy: Accuracy = section(Accuracy, "how large the causes of error are")
    test_piece: Piece = section(Piece, "the first test piece, as measured")
    checks: tuple[Check, ...] = sections(Check, "readings taken every morning")
    drift: Drift = section(Drift, "the morning checks, and what was made since")
    currency: str = field(default="")  # as written with the sums, such as "EUR"
    touches: tuple[Touch, ...] = field(default=())  # rows of the readings file
    days: tuple[DayRow, ...] = field(default=())  # morning checks, from table and store
    made: tuple[MadeRow, ...] = field(default=())  # rows of the table of what was made
    meshes: tuple[Mesh, ...] = field(default=())  # surfaces of the models' files
    file: str = field(default="cell.toml")  # name shown in messages


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """The surface in one model's file; see `gudgeon.cell.models_files`.

    Attributes
    ----------
    number : int
        Which of the cell's models, from 0.
    parts : tuple of ndarray, shape (n, 3, 3)
        Triangles of each connected closed surface, facing outwards, model's coordinates [mm].
    open_points : ndarray, shape (m, 3)
        Corners of the convex hull of all that is not closed [mm]; empty if there is none.
    digest : str
        Hash of the file's bytes.
    turned : bool
        Some of its triangles face inwards in the file.
    """

    number: int
    parts: tuple[NDArray[np.float64], ...]
    open_points: NDArray[np.float64]
    digest: str
    turned: bool = False
