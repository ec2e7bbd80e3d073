"""Hostile and half-sensible programs and random controls, from a source of choices.

Shared by the property tests and by the fuzzing harness (fuzz/read_program.py).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import isnan, nan
from typing import Any, TypeVar

import numpy as np

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.program.dialect import (
    CORE,
    Dialect,
    Limits,
    Meaning,
    PlaneWord,
    Role,
    ToolPointWord,
    TurningRule,
    Variable,
    Write,
)
from gudgeon.program.doubts import Grade
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Flag, Kind, Track
from tests.program import test_sample_programs as samples

__all__ = ["SAMPLES", "any_dialect", "any_text", "check_track", "mutated", "read_both_ways"]

Pick = Callable[[int], int]
"""Returns a whole number from 0 to below its argument."""

T = TypeVar("T")

LIMITS = Limits(blocks=600, rows=600, depth=4, brackets=6, line_characters=400)
UNKNOWN = (nan,) * 5
CHAIN = WorkChain(
    (
        TurningAxis("tilt", AxisLine((10.0, 20.0, 30.0), (1.0, 0.0, 0.0)), -1),
        TurningAxis("rotary", AxisLine((10.0, 20.0, 40.0), (0.0, 0.0, 1.0)), -1),
    )
)
WORDS = {
    **CORE,
    ("G", 541): Role(Meaning.FAMILY),
    ("G", 310): Role(Meaning.PROBE),
    ("G", 520): Role(Meaning.SHIFT_LOCAL),
    ("G", 682): Role(Meaning.TILTED_PLANE),
    ("G", 690): Role(Meaning.TILTED_OFF),
    ("G", 531): Role(Meaning.TURN_TO_PLANE),
    ("G", 434): Role(Meaning.TOOL_POINT),
}
SAMPLES = tuple(
    text.encode()
    for text in (
        samples.S01, samples.S02, samples.S03, samples.S04, samples.S05, samples.S06,
    )
)  # fmt: skip

BEGIN = "G21G90G17G54G94F100.S100\nG0X0.Y0.Z50.A0.C0.\n"
ENDS = (
    "",
    "\nM30",
    "\nM30\n%",
    "\nM30\nO100\nG1X1.\nM99\nO101\n#3=#1+1\nX#3\nX#2\nM99\nO102\nM98P102\nM99",
)
BLOCKS = """\
G0 X{n} Y{n}|G0 Z{n}|G1 X{n} F{p}|G1 Y{n} Z{n} F{p}|X{n} Y{n}|G1 X{n} A{n} C{n} F{p}|A{n} C{n}
C-{p}|G2 X{n} Y{n} I{n} J{n} F{p}|G2 X{n} Y{n} R{n} F{p}|G3 I{n} J0. F{p}|G2 X{n} R{n}
G91 G3 X10. Y10. I10. J0. F{p}|G91 G2 X4. Z{n} R2. F9.|G3 X{n} Y{n} Z{n} I5. J0.|G17|G18|G19|G20
G21|G90|G91|G90 G54|G55|G54.1 P7|G59|G43 H1|G43 H2 Z{n}|G44 H1|G49|G43|G41 D1 G1 X{n} F{p}|G42 D2
G40|G40 G1 X{n} Y{n}|G81 X{n} Y{n} Z-{p} R{n} F{p}|G98 G83 X{n} Z-{p} R2. Q{p} L2 F{p}
G99 G73 X{n} Z-{p} R2. Q1. F{p}|M3\\nG84 X{n} Z-{p} R2. F{p}|G82 X1. Z-{p} R{n} P{p} F10.
M3\\nG87 X1. Z-{p} R1. I1. J1. K-1. Q1. F10.|M3\\nG76 X1. Z-{p} R1. Q.5 F10.|G88 X1. Z-1. R1.
M4\\nG86 X1. Z-{p} R{n} L{k} F{p}|G80|G28 X0 Y0|G28|G91 G28 Z0|G30 Z{n} C{n}|G53 G0 X{n}|G53 Z{n}
G92 X{n} Z{n}|G92 C{n}|G92.1|G92.2|G92.3|G52 X{n}|G93 G1 X{n} F{p}|G94 F{p}|G95 F{p}
G10 L2 P1 X{n} Y{n}|G10 L2 P{k} Z{n}|G10 L10 P1 R{n}|G10 L12 P1 R{n}|G10 L20 P7 X{n}|G4 P{p}
G4 X{p}|G4 P-1.|M3 S{p}|M4|M5|T{k} M6|M6|M8|M0|M1|G31 X{n} F10.|G68.2 X{n} Y{n} Z{n} I{n} J{n} K{n}
G68.2 X0. Y0. Z0. I0. J90. K0.\\nG53.1|G53.1|G69|G43.4 H1|#1={n}|#2=#1+{n}|#500={n}
#3=#5041|#4=[#1 MOD {n}]
#5=FIX[{n}]|#6=ATAN[{n}]/[{n}]|#7=SQRT[{n}]|#8=#1/{n}|#9=EXP[{n}]|#10=#9*#9|#1=#1 AND {n}
#1=#5021|#1=#5001|#1=#2201|#5041=1.|#1=#1 AND 2 OR 3|#1=ROUND[{n}]|X[ROUND[{n}]]|#1=-{n}**2
G1 X#1 F{p}|G0 Y[#2*2]|Z#3|G1 X#{k}|C[#1*360]|WHILE[#1LT{n}]DO1|#1=#1+1|END1|DO2|END2
IF[#1GT{n}]GOTO10|IF[#2EQ{n}]THEN#1=1|N10|N20 G1 X{n}|GOTO20|GOTO[#1]|M98 P100|M98 P100 L{k}
M98 P1000|M98 P102|G65 P100 A{n} B{n}|G65 P101 A#1 B#500|G65 P101 D1. A2.|M99|M99 P10|/G1 X{n}
/2 G0 Z{n}|(comment)|( a ( b )|(open|G1 X{n} ; say|#[#1]={n}|#3=6 G1 X#3 F10.|G61|G64|M97|M30|%|O7
G0 G1|G17 G18|X1. X2.|G28 G1 X1.|Q1.|N5 N6|SPINDLE|G1 X1,5|E1.|[1]|X[[[[[[[[1]]]]]]]]|G40 G80 G90
""".replace("\n", "|").split("|")[:-1]
NUMBERS = """\
0 -0. 0. 1e3 999999999999999. -999999999999999. .0001 360. -360. #1 #500 #9 [#1] [EXP[700]] +5. 5
[-EXP[700]] [10**300] 370. -.5 1234567 -7 180. 90. .5 20. -20. 1.2.3 . - [1/3] [#500*0]
""".split()  # noqa: SIM905
NUMBERS.append("9" * 300)
TOKENS = [f"G{g}" for g in (0, 1, 2, 3, 4, 10, 17, 20, 21, 28, 40, 41, 43, 49, 53, 54, 65, 68.2)]
TOKENS += ["G73", "G81", "G83"]
TOKENS += [f"{a}{n}" for a in "XYZABCIJKRQPLFSTHDNOUVWE" for n in ("0", "1.", "-2.5", "#1", "[1]")]
TOKENS += [f"M{m}" for m in (0, 1, 2, 3, 6, 30, 98, 99)]
TOKENS += """\
WHILE DO1 END1 IF [ ] GOTO THEN # = % ( ) / ; . - + MOD ** EQ LT SIN[ ATAN[ ,
""".split()  # noqa: SIM905
TOKENS += ["\n"] * 40 + [" "] * 10 + ["\t", "\r", "\0", "\xe9", "\x7f", "\x1a"]


def one_of(pick: Pick, choices: Sequence[T]) -> T:
    """Return one of the choices."""
    return choices[pick(len(choices))]


def number(pick: Pick) -> str:
    """Return the value of a word, mostly a sensible one."""
    kind = pick(10)
    if kind < 5:
        return f"{pick(41) - 20}."
    if kind < 8:
        return f"{(pick(100_001) - 50_000) / 1000:.3f}"
    return one_of(pick, NUMBERS)


def block(pick: Pick) -> str:
    """Return one block."""
    text = one_of(pick, BLOCKS).replace("\\n", "\n")
    while "{" in text:
        at = text.index("{")
        value = {
            "n": lambda: number(pick),
            "p": lambda: one_of(pick, ("1.", "2.5", "5.", "100.", "1000.", "1")),
            "k": lambda: one_of(pick, ("0", "1", "2", "3", "7", "100", "1000000000")),
        }[text[at + 1]]()
        text = text[:at] + value + text[at + 3 :]
    return text


def any_text(pick: Pick) -> bytes:
    """Return a program: blocks that mostly make sense, or a soup of tokens."""
    begin = BEGIN if pick(8) else ""
    if pick(4):
        parts = [block(pick) for _ in range(1 + pick(24))]
        text = begin + "\n".join(parts) + one_of(pick, ENDS)
    else:
        text = begin + "".join(one_of(pick, TOKENS) for _ in range(1 + pick(60)))
    return text.encode("latin-1")


def mutated(pick: Pick, text: bytes) -> bytes:
    """Return a text with a few bytes changed, taken out, put in or doubled."""
    spoiled = bytearray(text)
    for _ in range(1 + pick(5)):
        place = pick(max(1, len(spoiled)))
        match pick(5):
            case 0:
                spoiled[place : place + 1] = bytes([pick(256)])
            case 1:
                spoiled[place:place] = b"XYZGNFIJRACMHDPQLKSTO0159.-+ ()#[]/%;\n\r\tx\x00"[
                    pick(44) :
                ][:1]
            case 2:
                del spoiled[place : place + 1 + pick(4)]
            case 3:
                length = 1 + pick(30)
                spoiled[place:place] = spoiled[place : place + length]
            case _:
                spoiled[place:place] = f"\n{block(pick)}\n".encode("latin-1")
    return bytes(spoiled)


def any_dialect(pick: Pick) -> Dialect:
    """Return a control with rules declared at random, or not declared."""

    def rule(*choices: Any) -> Any:
        return one_of(pick, choices)

    ways = tuple(TurningRule)
    return replace(
        samples.MACHINE,
        words=rule(dict(CORE), WORDS, WORDS),
        missing_point=rule("unit", "unit", "least", None),
        turning=(one_of(pick, ways), one_of(pick, ways)),
        start=rule((0.0,) * 5, (0.0,) * 5, UNKNOWN),
        offsets=rule(
            samples.MACHINE.offsets,
            samples.MACHINE.offsets,
            {"G54": (1.0, 2.0, 3.0, 0.5, nan)},
        ),
        lengths=rule({1: 120.0, 2: 85.5}, {}),
        radii=rule({1: 3.0, 2: 0.5}, {}),
        writes=rule(
            {
                2: Write("offset"),
                10: Write("length"),
                12: Write("radius"),
                20: Write("family", ("G", 541)),
            },
            {},
        ),
        references=rule(samples.MACHINE.references, {1: (0.0, nan, 0.0, 0.0, 0.0)}, {}),
        change_at=rule(UNKNOWN, (0.0, 0.0, 0.0, nan, 0.0)),
        variables=rule(
            {},
            {
                5021: Variable("machine position", axis=0),
                5001: Variable("work position", axis=2),
                2201: Variable("value", value=12.5),
                2202: Variable("offset", axis=3, offset="G55"),
            },
        ),
        length_without_register=rule(None, "error"),
        length_moves_step=rule(None, True, False),
        dwell_p=rule(None, "s", "ms"),
        fix_rounds=rule(None, "down", "zero"),
        round_in_words=rule(None, "whole"),
        atan_range=rule(None, "0..360", "-180..180"),
        mod_rule=rule(None, "floor", "truncate", "whole"),
        logic_rule=rule(None, "truth", "bits"),
        equal_within=rule(None, 0.0, 0.001),
        after_cycle_off=rule(None, "error", "rapid", "motion before"),
        repeat_zero=rule(None, "error", "remember"),
        step_from=rule(None, "first level", "level now"),
        turn_in_cycle=rule(None, True, False),
        bore_shift=rule(None, (1.0, 0.0)),
        back_bore=rule(None, "I J K", "Q"),
        block_skip=rule(None, True, False),
        semicolon_comment=rule(True, False),
        assignment_in_motion=rule(None, True),
        packed_calls=rule(True, False),
        arc_without_end=rule(None, "circle", "error"),
        peck_clear_mm=rule(0.0, 0.5),
        chip_break_mm=rule(0.0, 0.2),
        cutter_corner=rule(None, "arc", "sharp"),
        cutter_lead=rule(None, "square to next", "square to lead", "tangent"),
        planes=rule({}, {("G", 682): PlaneWord(("X", "Y", "Z"), ("I", "J", "K"), "ZXZ")}),
        tool_points=rule({}, {("G", 434): ToolPointWord(True)}),
        plane_choice=rule(None, "tilt positive", "tilt negative", "nearest"),
        chain=rule(None, CHAIN),
        limits=LIMITS,
    )


def check_track(track: Track, text: bytes, dialect: Dialect) -> None:
    """Check what holds of everything read, whatever the text."""
    assert isinstance(track, Track)
    rows, limits = track.segments, dialect.limits
    assert len(rows) <= limits.rows and track.blocks <= limits.blocks + 1
    assert len(track.doubts) <= 1_001
    if track.ended is Ended.STOPPED:
        assert track.doubts and track.doubts[-1].grade is not Grade.NOTE
    lines = 1 + max(text.count(b"\n"), text.count(b"\r"))
    for doubt in (*track.doubts, *track.unread):
        assert 0 <= doubt.line <= lines and doubt.column >= 0, doubt
        assert all(isinstance(value, (str, int, float)) for _, value in doubt.detail), doubt
    if not len(rows):
        return
    assert rows["line"].min() >= 0 and rows["line"].max() <= lines
    assert rows["force"].min() >= 0 and rows["force"].max() < len(track.in_force)
    assert rows["arc"].min() >= -1 and rows["arc"].max() < len(track.arcs)
    assert rows["doubt"].min() >= -1 and rows["doubt"].max() < max(1, len(track.doubts))
    assert not np.isinf(rows["end"]).any() and not np.isinf(rows["feed"]).any()
    for row in rows[rows["kind"] == Kind.ARC]:
        # Without a circle a doubt says why.
        assert row["arc"] >= 0 or row["doubt"] >= 0
    if not any(map(isnan, dialect.start)):
        unknown = np.isnan(rows["end"]).any(axis=1)
        assert (rows["doubt"][unknown] >= 0).all(), "not known, and no doubt says why"
        assert not unknown.any() or track.worst is not None
    assert (rows["flags"] < 2 * max(Flag)).all()


def resolved(track: Track) -> list[Any]:
    """Return the rows with what is in force in place of its index; NaN as text."""
    rows = track.segments
    found: list[Any] = [repr(rows[name].tolist()) for name in rows.dtype.names if name != "force"]
    forces = [repr(force) for force in track.in_force]
    found.append([forces[index] for index in rows["force"]])
    return found


def read_both_ways(text: bytes, dialect: Dialect) -> Track:
    """Read with and without the compiled reader; the same must come out."""
    full, quick = (read(text, dialect, quick=way) for way in (False, True))
    check_track(full, text, dialect)
    assert resolved(full) == resolved(quick)
    assert repr(full.arcs.tolist()) == repr(quick.arcs.tolist())
    ends = [
        # A path under cutter radius may turn out to be impossible a few blocks later, or earlier.
        (t.doubts, t.ended, t.last_line, t.unread, 0 if _by_cutter(t) else t.blocks)
        for t in (full, quick)
    ]
    assert repr(ends[0]) == repr(ends[1])
    return full


def _by_cutter(track: Track) -> bool:
    return bool(track.doubts) and track.doubts[-1].code.value.startswith("cutter")
