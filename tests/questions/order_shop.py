"""A small shop built in code for the tests of the order: speeds a hand can reckon with."""

from __future__ import annotations

import math
from typing import Any

from gudgeon.cell.model import (
    Cell,
    Control,
    LinearMotion,
    Operation,
    Shift,
    Timing,
    Tool,
    TurningMotion,
)
from gudgeon.cell.model_control import WordMeaning
from gudgeon.quantity.amount import Amount
from tests.questions.trunnions import cell, change, deg, mm

S = Amount


def cut(name: str, tool: int = 1, face: str | None = "front", **more: Any) -> Operation:
    return Operation(name=name, tool=tool, face=face, **more)


def shop(*operations: Operation, **changes: Any) -> Cell:
    """Return a cell whose axes need no time to speed up: 100 mm/s, 90 deg/s, 0.5 s to clamp."""
    fast, spin = 1e9, 1e6
    usual = cell(
        operations=operations,
        tools=tuple(Tool(number=k, name=f"tool {k}", length=mm(100.0 + k)) for k in range(1, 7)),
        timing=Timing(tool_change=S(8.0, 0.5), spindle_start=S(0.0), spindle_stop=S(0.0)),
        shift=Shift(load_part=S(30.0, 5.0), load_once=S(20.0), load_pose=(deg(0), deg(0))),
        control=Control(
            tilt_letter="A",
            rotary_letter="C",
            tilt_sense=-1,
            rotary_sense=-1,
            rapids="each axis alone",
            tilt_turns="as written",
            rotary_turns="as written",
            missing_point="one unit",
            words=(WordMeaning("M68", "no motion"), WordMeaning("M69", "no motion")),
        ),
    )
    usual = change(
        usual,
        "machine",
        motion=LinearMotion(
            rapid_x=S(100.0),
            rapid_y=S(100.0),
            rapid_z=S(100.0),
            acceleration_x=S(fast),
            acceleration_y=S(fast),
            acceleration_z=S(fast),
            jerk_x=S(math.inf),
            jerk_y=S(math.inf),
            jerk_z=S(math.inf),
        ),
    )
    quarter = math.pi / 2.0
    usual = change(
        usual,
        "unit",
        motion=TurningMotion(
            tilt_speed=S(quarter),
            rotary_speed=S(quarter),
            tilt_acceleration=S(spin),
            rotary_acceleration=S(spin),
            tilt_jerk=S(math.inf),
            rotary_jerk=S(math.inf),
            tilt_clamp=S(0.25),
            tilt_unclamp=S(0.25),
            rotary_clamp=S(0.25),
            rotary_unclamp=S(0.25),
        ),
    )
    for section, value in changes.items():
        if isinstance(value, dict):
            usual = change(usual, section, **value)
        else:
            from dataclasses import replace

            usual = replace(usual, **{section: value})
    return usual
