"""A complete invented cell, built in code, for the tests of holds."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from typing import Any

from gudgeon.cell.model import (
    Bolts,
    Cell,
    Control,
    Fixture,
    Flange,
    Machine,
    Mass,
    Operation,
    Part,
    PartFace,
    Placement,
    Station,
    Unit,
)
from gudgeon.quantity.amount import Amount


def a(value: float, plus_minus: float | None = None) -> Amount:
    return Amount(value, plus_minus)


def deg(value: float) -> Amount:
    return Amount(math.radians(value))


def at(*values: float) -> Any:
    return tuple(Amount(value) for value in values)


RING = tuple(deg(60.0 * i) for i in range(6))


def bolts(**entries: Any) -> Bolts:
    usual = Bolts(size="M12", strength="8.8", torque=a(70.0), nut_factor=a(0.2), friction=a(0.12))
    return replace(usual, **entries)


def tower(**entries: Any) -> Cell:
    """Four parts of 1 kg around a tower of 14 kg, loaded opposite sides first."""
    turns = {"front": 0.0, "back": 180.0, "right": 90.0, "left": 270.0}
    stations = tuple(
        Station(
            name=name,
            at=at(65.0 * math.sin(math.radians(turn)), -65.0 * math.cos(math.radians(turn)), 110.0),
            turn=deg(turn),
        )
        for name, turn in turns.items()
    )
    cell = Cell(
        machine=Machine(table_load=a(400.0), slot_width=a(14.0)),
        unit=Unit(
            kind="tilt and rotary",
            tilt_range=(deg(-100.0), deg(100.0)),
            tilt_axis_height=a(180.0),
            face_height=a(25.0),
            axis_offset=a(0.0),
            mass=a(86.0),
            rated_load_flat=a(60.0),
            rated_load_upright=a(35.0),
            rated_tilt_torque=a(45.0),
            rated_rotary_torque=a(20.0),
            tilt_brake_torque=a(220.0),
            rotary_brake_torque=a(120.0),
            brake_safety=a(1.5),
            flange=Flange(pitch_circle=a(150.0), holes=RING),
            masses=(
                Mass(
                    name="cradle",
                    each=a(24.0),
                    at=at(0.0, 2.0, -12.0),
                    measured_from="tilt axis",
                    turns_with="cradle",
                ),
            ),
        ),
        placement=Placement(
            tilt_along="X", bolts=bolts(count=4, spread_across=a(200.0), spread_along=a(300.0))
        ),
        fixture=Fixture(
            mass=a(14.0),
            mass_centre=at(0.0, 0.0, 70.0),
            clocking=deg(0.0),
            flange=Flange(pitch_circle=a(150.0), holes=RING, hole_diameter=a(13.5)),
            bolts=bolts(),
        ),
        stations=stations,
        parts=(
            Part(
                name="bracket",
                mass=a(1.0),
                mass_centre=at(0.0, -15.0, 20.0),
                faces=(
                    PartFace(name="outside", zero=at(0.0, -30.0, 20.0), normal=(0.0, -1.0, 0.0)),
                    PartFace(name="top", zero=at(0.0, -15.0, 60.0), normal=(0.0, 0.0, 1.0)),
                ),
            ),
        ),
        operations=(
            Operation(
                name="drill",
                part="bracket",
                face="outside",
                at=at(25.0, -95.0, 150.0),
                measured_from="platter face",
                thrust=a(500.0),
            ),
            Operation(
                name="mill",
                pose=(deg(30.0), deg(40.0)),
                at=at(10.0, -80.0, 170.0),
                measured_from="platter face",
                side_force=a(300.0),
                thrust=a(100.0),
            ),
        ),
        control=Control(tilt_letter="A", rotary_letter="C", tilt_sense=-1, rotary_sense=-1),
    )
    return replace(cell, **entries)


def change(node: Any, path: str, value: Any) -> Any:
    """Return a copy with one entry changed, such as ``"parts.0.mass"``."""
    head, _, rest = path.partition(".")
    if isinstance(node, tuple):
        i = int(head)
        return (*node[:i], change(node[i], rest, value) if rest else value, *node[i + 1 :])
    return replace(node, **{head: change(getattr(node, head), rest, value) if rest else value})


def entry_paths(node: Any, prefix: str = "") -> list[str]:
    """Return the path of every entry that is filled in."""
    found = []
    for item in fields(node):
        value = getattr(node, item.name)
        path = f"{prefix}{item.name}"
        if is_dataclass(value) and not isinstance(value, Amount):
            found += entry_paths(value, f"{path}.")
        elif isinstance(value, tuple) and value and is_dataclass(value[0]):
            if isinstance(value[0], Amount):
                found.append(path)
            else:
                for i, one in enumerate(value):
                    found += entry_paths(one, f"{path}.{i}.")
        elif value not in (None, ()) and item.name not in ("currency", "file", "touches"):
            found.append(path)
    return found
