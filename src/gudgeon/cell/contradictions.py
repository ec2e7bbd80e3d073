"""Contradictions between entries on geometry and sums: one small function a code.

Each yields its faults, with both places, and stays silent where an entry that it needs is absent.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from gudgeon.cell.faults import Fault
from gudgeon.cell.model import Cell, Pair, Range
from gudgeon.cell.places import Path, Source
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = [
    "bolt_too_thick",
    "bottom_above_top",
    "centre_outside",
    "change_outside_travel",
    "investment_against_items",
    "mass_twice",
    "pilot_wider",
    "pose_outside",
    "rival_saving",
    "saving_against_times",
    "slot_outside",
    "stickout_longer",
    "taller_than_daylight",
]

_SAME = 1e-6  # mm and rad; a value exactly on a limit is inside


def _units(cell: Cell) -> Units:
    return Units(inch=cell.shop.units == "in", currency=cell.currency)


def _length(cell: Cell, value: float) -> str:
    return _units(cell).text(Kind.LENGTH, value)


def _outside(value: float, ends: Range) -> bool:
    return value < ends[0].value - _SAME or value > ends[1].value + _SAME


def taller_than_daylight(cell: Cell, source: Source) -> Iterator[Fault]:
    """C041: the unit does not go under the spindle at the top of Z."""
    machine, unit = cell.machine, cell.unit
    if machine.gauge_to_table is None or machine.travel_z is None:
        return
    heights = {
        "body_height": unit.body_height,
        "tilt_axis_height": unit.tilt_axis_height,
    }
    known = {key: height.value for key, height in heights.items() if height is not None}
    if not known:
        return
    key = max(known, key=lambda name: known[name])
    riser = cell.placement.riser.value if cell.placement.riser else 0.0
    daylight = machine.gauge_to_table.value + machine.travel_z[1].value
    excess = known[key] + riser - daylight
    if excess <= _SAME:
        return
    places = [
        source.value(("machine", "gauge_to_table")),
        source.value(("machine", "travel_z")),
        source.value(("unit", key)),
    ]
    if riser:
        places.append(source.value(("placement", "riser")))
    with_riser = " with its riser" if riser else ""
    yield Fault(
        "C041",
        "error",
        "the unit is taller than the daylight above the table",
        tuple(places),
        f"The unit{with_riser} needs {_length(cell, known[key] + riser)}; "
        f"{_length(cell, daylight)} are free at the top of Z. It is {_length(cell, excess)} too "
        "tall, without part or tool.",
        "measure both again; the daylight runs from the table top to the gauge point of the empty "
        "spindle at the top of Z",
    )


def centre_outside(cell: Cell, source: Source) -> Iterator[Fault]:
    """C042: the unit's middle stands where the table or the travel is not."""
    for axis in ("x", "y"):
        centre: Amount | None = getattr(cell.placement, f"centre_{axis}")
        if centre is None:
            continue
        for key, what in ((f"table_{axis}", "the table top"), (f"travel_{axis}", "the travel")):
            ends: Range | None = getattr(cell.machine, key)
            if ends is None or not _outside(centre.value, ends):
                continue
            low, high = (_length(cell, end.value) for end in ends)
            yield Fault(
                "C042",
                "warning",
                f"the middle of the unit stands outside {what} in {axis.upper()}",
                (
                    source.value(("machine", key)),
                    source.value(("placement", f"centre_{axis}")),
                ),
                f"{_length(cell, centre.value)} does not lie between {low} and {high}. "
                "The spindle cannot be brought over the rotary axis, or the unit hangs in the air.",
                f"enter the machine {axis.upper()} that is displayed with the spindle over the "
                "middle of the unit",
            )


def slot_outside(cell: Cell, source: Source) -> Iterator[Fault]:
    """C043: a T-slot beside the table."""
    machine = cell.machine
    if machine.slots_along is None:
        return
    key = "table_y" if machine.slots_along == "X" else "table_x"
    ends: Range | None = getattr(machine, key)
    if ends is None:
        return
    for number, slot in enumerate(machine.slot_positions):
        if not _outside(slot.value, ends):
            continue
        low, high = (_length(cell, end.value) for end in ends)
        yield Fault(
            "C043",
            "error",
            "a T-slot lies outside the table top",
            (
                source.value(("machine", key)),
                source.value(("machine", "slot_positions", number)),
            ),
            f"The slots run along {machine.slots_along}, so {_length(cell, slot.value)} is their "
            f"machine {key[-1].upper()}; the table top runs from {low} to {high}.",
            "measure the slot again, or mend slots_along if the slots run the other way",
        )


def mass_twice(cell: Cell, source: Source) -> Iterator[Fault]:
    """C045: the fixture's mass in two ways."""
    fixture = cell.fixture
    if not fixture.masses or (fixture.mass is None and fixture.mass_centre is None):
        return
    key = "mass" if fixture.mass is not None else "mass_centre"
    yield Fault(
        "C045",
        "error",
        f"the mass of the fixture stands in two ways: {key} and [[fixture.masses]]",
        (source.value(("fixture", key)), source.key(("fixture", "masses", 0))),
        "Added up it would count twice; the masses list stands for fixture and parts together.",
        "take mass and mass_centre out, or take the [[fixture.masses]] out",
    )


def saving_against_times(cell: Cell, source: Source) -> Iterator[Fault]:
    """C046: the time saved is not the difference of the two times."""
    money = cell.money
    yield from _saving(
        cell, source, money.time_per_part, money.saved_per_part, ("money",), "C046", "the unit"
    )


def rival_saving(cell: Cell, source: Source) -> Iterator[Fault]:
    """C054: the same for another way of making the parts."""
    for key, what in (("dedicated", "the dedicated machine"), ("vise_work", "vise work")):
        rival = getattr(cell.money, key)
        path: Path = ("money", key)
        yield from _saving(
            cell, source, rival.time_per_part, rival.saved_per_part, path, "C054", what
        )


def _saving(
    cell: Cell,
    source: Source,
    then: Amount | None,
    saved: Amount | None,
    path: Path,
    code: str,
    what: str,
) -> Iterator[Fault]:
    now = cell.money.time_per_part_now
    if now is None or then is None or saved is None:
        return
    difference = now.value - then.value
    # Times are rounded by people: half a second, 1 %, and what they stated themselves.
    doubt = 0.5 + 0.01 * abs(difference)
    doubt += sum(amount.plus_minus or 0.0 for amount in (now, then, saved))
    if abs(difference - saved.value) <= doubt:
        return
    units = _units(cell)
    yield Fault(
        code,
        "error",
        f"the time saved a part by {what} contradicts the times a part",
        (
            source.value(("money", "time_per_part_now")),
            source.value((*path, "time_per_part")),
            source.value((*path, "saved_per_part")),
        ),
        f"{units.text(Kind.TIME, now.value)} less {units.text(Kind.TIME, then.value)} is "
        f"{units.text(Kind.TIME, difference)}, not {units.text(Kind.TIME, saved.value)}.",
        "take saved_per_part out, or mend the time that is wrong",
    )


def investment_against_items(cell: Cell, source: Source) -> Iterator[Fault]:
    """C047: the outlay is not the sum of its items."""
    money = cell.money
    if money.investment is None or not money.items:
        return
    if any(item.price is None for item in money.items):
        return
    prices = [item.price for item in money.items if item.price is not None]
    total = sum(price.value for price in prices)
    doubt = 0.5 + 0.001 * total + (money.investment.plus_minus or 0.0)
    doubt += sum(price.plus_minus or 0.0 for price in prices)
    if abs(total - money.investment.value) <= doubt:
        return
    units = _units(cell)
    yield Fault(
        "C047",
        "error",
        "the investment is not the sum of its items",
        (source.value(("money", "investment")), source.key(("money", "items", 0))),
        f"The items add up to {units.text(Kind.MONEY, total)}; the investment is "
        f"{units.text(Kind.MONEY, money.investment.value)}.",
        "take investment out to use the sum of the items, or add the item that is missing",
    )


def pose_outside(cell: Cell, source: Source) -> Iterator[Fault]:
    """C048: a pose that the unit cannot take.

    A warning only: the questions still tell which faces can be reached.
    """
    poses: list[tuple[Pair | None, Path, str]] = []
    for number, part in enumerate(cell.parts):
        for place, face in enumerate(part.faces):
            path: Path = ("parts", number, "faces", place, "pose")
            poses.append((face.pose, path, f"the face {face.name or place + 1}"))
    for number, cut in enumerate(cell.operations):
        path = ("operations", number, "pose")
        poses.append((cut.pose, path, f"the operation {cut.name or number + 1}"))
    poses.append((cell.shift.load_pose, ("shift", "load_pose"), "loading"))
    for pose, path, what in poses:
        if pose is None:
            continue
        for place, role in enumerate(("tilt", "rotary")):
            if role == "tilt" and cell.unit.kind == "rotary only":
                continue
            ends: Range | None = getattr(cell.unit, f"{role}_range")
            if ends is None or not _outside(pose[place].value, ends):
                continue
            yield _pose_fault(source, path, place, role, pose[place].value, ends, what)


def _pose_fault(
    source: Source, path: Path, place: int, role: str, angle: float, ends: Range, what: str
) -> Fault:
    low, high = (f"{math.degrees(end.value):g} deg" for end in ends)
    turned = next(
        (
            angle + turns * 2.0 * math.pi
            for turns in (1, -1, 2, -2)
            if not _outside(angle + turns * 2.0 * math.pi, ends)
        ),
        None,
    )
    do = f"enter a pose within the range, or mend {role}_range from the data sheet"
    if turned is not None:
        do = f'write "{math.degrees(turned):g} deg", which is the same place, or mend {role}_range'
    return Fault(
        "C048",
        "warning",
        f"the pose of {what} lies outside the {role} range",
        (source.value(("unit", f"{role}_range")), source.value((*path, place))),
        f"{math.degrees(angle):g} deg does not lie between {low} and {high}; the unit would stop "
        "at its limit with an alarm.",
        do,
    )


def stickout_longer(cell: Cell, source: Source) -> Iterator[Fault]:
    """C049: a tool that sticks out further than it is long."""
    for number, tool in enumerate(cell.tools):
        if tool.length is None or tool.stickout is None:
            continue
        if tool.stickout.value <= tool.length.value + _SAME:
            continue
        yield Fault(
            "C049",
            "error",
            f"tool {tool.number if tool.number is not None else number + 1} sticks out further "
            "than it is long",
            (
                source.value(("tools", number, "length")),
                source.value(("tools", number, "stickout")),
            ),
            f"Tip to holder is {_length(cell, tool.stickout.value)}; gauge point to tip is only "
            f"{_length(cell, tool.length.value)}.",
            "measure both again; length runs from the gauge point of the spindle to the tip",
        )


def pilot_wider(cell: Cell, source: Source) -> Iterator[Fault]:
    """C050: a pilot that reaches into its own ring of holes."""
    for section in ("unit", "fixture"):
        flange = getattr(cell, section).flange
        if flange.pitch_circle is None or flange.pilot_diameter is None:
            continue
        hole = flange.hole_diameter.value if flange.hole_diameter else 0.0
        room = flange.pitch_circle.value - hole
        if flange.pilot_diameter.value < room - _SAME:
            continue
        yield Fault(
            "C050",
            "error",
            f"the pilot of the {section} reaches into its ring of holes",
            (
                source.value((section, "flange", "pitch_circle")),
                source.value((section, "flange", "pilot_diameter")),
            ),
            f"The pilot measures {_length(cell, flange.pilot_diameter.value)}; within the holes "
            f"there are {_length(cell, room)}.",
            "measure again; both are diameters, not radii",
        )


def change_outside_travel(cell: Cell, source: Source) -> Iterator[Fault]:
    """C056: a tool change where the machine cannot go."""
    for axis in ("x", "y", "z"):
        at: Amount | None = getattr(cell.machine.changer, axis)
        ends: Range | None = getattr(cell.machine, f"travel_{axis}")
        if at is None or ends is None or not _outside(at.value, ends):
            continue
        low, high = (_length(cell, end.value) for end in ends)
        yield Fault(
            "C056",
            "warning",
            f"the tool change stands outside the travel in {axis.upper()}",
            (
                source.value(("machine", f"travel_{axis}")),
                source.value(("machine", "changer", axis)),
            ),
            f"{_length(cell, at.value)} does not lie between {low} and {high}. Head room at the "
            "change would be told wrongly.",
            f"enter the machine {axis.upper()} that is displayed during a change, or mend "
            f"travel_{axis} if the machine does go there",
        )


def bolt_too_thick(cell: Cell, source: Source) -> Iterator[Fault]:
    """C057: a bolt that does not go through its own hole."""
    bolt, hole = cell.fixture.bolts.diameter, cell.fixture.flange.hole_diameter
    if bolt is None or hole is None or bolt.value <= hole.value + _SAME:
        return
    yield Fault(
        "C057",
        "error",
        "the bolts of the fixture are thicker than its clearance holes",
        (
            source.value(("fixture", "flange", "hole_diameter")),
            source.value(("fixture", "bolts", "diameter")),
        ),
        f"A bolt of {_length(cell, bolt.value)} does not go through a hole of "
        f"{_length(cell, hole.value)}.",
        "measure both again; take hole_diameter out if the fixture's holes are threaded",
    )


def bottom_above_top(cell: Cell, source: Source) -> Iterator[Fault]:
    """C058: a fixture whose lower end lies over its upper end."""
    bottom, height = cell.fixture.bottom, cell.fixture.height
    if height is None or (bottom.value if bottom else 0.0) < height.value:
        return
    places = [source.value(("fixture", "height"))]
    if bottom is not None:
        places.append(source.value(("fixture", "bottom")))
    low = bottom.value if bottom else 0.0
    yield Fault(
        "C058",
        "error",
        "the fixture ends below where it begins",
        tuple(places),
        f"Its lower end stands {_length(cell, low)} over the platter face, its upper end "
        f"{_length(cell, height.value)}.",
        "measure height from the platter face to the highest point, parts included",
    )
