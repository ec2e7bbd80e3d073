"""A control as NISTIR 6556 (The NIST RS274NGC Interpreter, Version 3) describes it, as data."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import degrees
from typing import Any

from gudgeon.program.dialect import CORE, Dialect, Meaning, Role, TurningRule, Variable, Write, key
from gudgeon.program.doubts import Code, Grade
from gudgeon.program.reader import read
from gudgeon.program.track import Kind, Track

SYSTEMS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
ZERO = (0.0,) * 5

NIST = Dialect(
    words={
        **CORE,
        key("G38.2"): Role(Meaning.PROBE),
        key("G59.1"): Role(Meaning.OFFSET, 7),
        key("G59.2"): Role(Meaning.OFFSET, 8),
        key("G59.3"): Role(Meaning.OFFSET, 9),
        key("G61.1"): Role(Meaning.EXACT_STOP),
        key("M60"): Role(Meaning.STOP),
    },
    axes={"X": 0, "Y": 1, "Z": 2, "A": 3, "B": 4},
    missing_point="unit",
    turning=(TurningRule.AS_WRITTEN, TurningRule.AS_WRITTEN),
    offset_names=SYSTEMS,
    offsets=dict.fromkeys(SYSTEMS, ZERO),
    writes={2: Write("offset")},
    lengths={1: 120.0, 2: 1.0},
    radii={1: 3.0},
    length_without_register="error",
    length_moves_step=False,
    references={1: ZERO, 2: ZERO},
    start=ZERO,
    at_start=tuple(map(key, ("G21", "G90", "G17", "G94", "G54", "G40", "G49", "G80", "G98", "G1"))),
    variables={
        # Table 2: nine systems of six axes each; and, from memory, the position in the work offset.
        **{
            5221 + 20 * number + axis: Variable("offset", axis=axis, offset=name)
            for number, name in enumerate(SYSTEMS)
            for axis in range(5)
        },
        5420: Variable("work position", axis=0),
    },
    dwell_p="s",
    fix_rounds="down",
    round_in_words="whole",
    atan_range="-180..180",
    mod_rule="floor",
    logic_rule="truth",
    after_cycle_off="error",
    repeat_zero="error",
    step_from="level now",
    turn_in_cycle=False,
    back_bore="I J K",
    block_skip=True,
    assignment_in_motion=True,
    arc_without_end="error",
)


def run(program: str, start: Iterable[float] = (), **changes: Any) -> Track:
    """Read a program from a position; its end is added."""
    at = (*start, *ZERO)[:5]
    return read(f"{program}\nM2\n".encode(), replace(NIST, start=at, **changes))


def clean(program: str, start: Iterable[float] = (), **changes: Any) -> Track:
    """Read a program that must leave no doubt."""
    track = run(program, start, **changes)
    assert not track.doubts
    return track


def stops(program: str, start: Iterable[float] = (), **changes: Any) -> tuple[Grade, Code]:
    """Return why reading stops."""
    track = run(program, start, **changes)
    assert track.worst is not None, "nothing is in doubt"
    return track.worst.grade, track.worst.code


def is_error(code: Code, program: str, start: Iterable[float] = (), **changes: Any) -> str:
    """Return "error" if reading stops with this code, as an alarm of the control."""
    assert stops(program, start, **changes) == (Grade.ERROR, code)
    return "error"


def moving(track: Track) -> list[Any]:
    """Return the rows that move."""
    return [row for row in track.segments if row["kind"] <= Kind.ARC]


def xyz(row: Any) -> list[float]:
    """Return where a row ends [mm]."""
    return [float(one) for one in row["end"][:3]]


def moves(track: Track) -> list[tuple[Any, ...]]:
    """Return ``("T", x, y, z)`` for a rapid, ``("F", ...)`` for a line."""
    return [("TFA"[row["kind"]], *xyz(row)) for row in moving(track)]


def end(track: Track) -> list[float]:
    """Return where the program ends [mm, mm, mm, deg, deg]."""
    x, y, z, a, b = map(float, track.segments["end"][-1])
    return [x, y, z, degrees(a), degrees(b)]
