"""The flow of a program: loops, jumps, calls, macros, skips and ends."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gudgeon.program.dialect import Dialect, Limits
from gudgeon.program.doubts import Code
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Flag, Kind, Track
from tests.program.test_sample_programs import MACHINE

HEAD = "G21 G90 G17 G94 G54 G0 Y0.\n"


def run(text: str, dialect: Dialect = MACHINE, **others: bytes) -> Track:
    files = {int(name[1:]): body for name, body in others.items()}
    return read((HEAD + text).encode(), dialect, called=files.get)


def xs(track: Track) -> list[float]:
    """Return X of each rapid after the head, in the work offset [mm]."""
    rows = [row for row in track.segments if row["kind"] == Kind.RAPID and row["line"] > 1]
    return [float(row["end"][0]) - 100.0 for row in rows]


AT_ZERO = replace(MACHINE, start=(100.0, 0.0, 0.0, 0.0, 0.0))


def last(track: Track) -> tuple[object, ...]:
    doubt = track.doubts[-1]
    return doubt.code, doubt.line, doubt.column


def test_nested_loops_and_a_jump_out_of_both() -> None:
    text = """#1=0
WHILE [#1 LT 3] DO1
#2=0
WHILE [#2 LT 3] DO2
X[#1*10+#2]
IF [[#1 EQ 1] AND [#2 EQ 1]] GOTO 99
#2=#2+1
END2
#1=#1+1
END1
N99 X77.
M30
"""
    assert xs(run(text)) == [0, 1, 2, 10, 11, 77]
    assert run(text).worst is None


def test_a_loop_that_is_never_entered_and_one_without_condition() -> None:
    text = "WHILE [1 EQ 2] DO1\nX1.\nEND1\n#1=0\nDO2\n#1=#1+1\nX#1\n"
    text += "IF [#1 GE 3] GOTO 5\nEND2\nN5 X9.\nM30\n"
    assert xs(run(text)) == [1, 2, 3, 9]


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("END1\nM30\n", Code.LOOP_SHAPE, 2),
        ("WHILE [1 EQ 1] DO1\nX1.\nM30\n", Code.LOOP_SHAPE, 2),
        ("GOTO 5\nWHILE [1 EQ 1] DO1\nN5 X1.\nEND1\nM30\n", Code.LOOP_SHAPE, 2),
        ("DO1\nDO2\nEND1\nEND2\nM30\n", Code.LOOP_SHAPE, 2),
        ("GOTO 5\nM30\n", Code.LABEL_MISSING, 2),
        ("GOTO 5\nN5 X1.\nN5 X2.\nM30\n", Code.LABEL_TWICE, 2),
        ("IF [#500 EQ 1] GOTO 5\nN5 X1.\nM30\n", Code.UNKNOWN_BRANCH, 2),
        ("WHILE [#500 EQ 1] DO1\nEND1\nM30\n", Code.UNKNOWN_BRANCH, 2),
        ("M98 P77\nM30\n", Code.PROGRAM_MISSING, 2),
        ("M98\nM30\n", Code.CALL_FORM, 2),
        ("M98 P#500\nM30\n", Code.UNKNOWN_BRANCH, 2),
        ("M98 P30077\nM30\n", Code.CALL_FORM, 2),
        ("G65 P77 X1. X2.\nM30\n", Code.CALL_FORM, 2),
        ("X1.\n", Code.NO_END, 2),
        ("X1.\nO55\nX2.\nM30\n", Code.NO_END, 3),
        ("/X1.\nM30\n", Code.SKIP_SWITCH, 2),
        ("#1=1 #2=2\nM30\n", Code.ASSIGNMENT_IN_MOTION, 2),
        ("X1. #2=2\nM30\n", Code.ASSIGNMENT_IN_MOTION, 2),
        ("M6\nM30\n", Code.TOOL_UNSET, 2),
        ("T1\nT2 M6\nM30\n", Code.TOOL_WAITS, 3),
        ("G0 G92 X1.\nM30\n", Code.AXIS_WORDS_CLASH, 2),
        ("G4 P1. Y1.\nM30\n", Code.WORD_UNUSED, 2),
        ("X1. M88\nM30\n", Code.WORD_UNKNOWN, 2),
        ("X1. V2.\nM30\n", Code.WORD_UNKNOWN, 2),
        ("B2.\nM30\n", Code.AXIS_UNKNOWN, 2),
        ("X1. Q2.\nM30\n", Code.WORD_UNUSED, 2),
    ],
)
def test_what_stops_the_flow(text: str, code: Code, line: int) -> None:
    track = run(text, replace(MACHINE, block_skip=None))
    assert last(track)[:2] == (code, line)


def test_subprograms_in_the_text_and_beside_it_with_repeats() -> None:
    text = "M98 P10 L2\nM98 P20\nX9.\nM30\nO10\nG91 X1.\nM99\n"
    track = run(text, AT_ZERO, p20=b"%\nO20 (beside)\nG91 X5.\nM98 P10\nG90 M99\n%\n")
    assert xs(track) == [1, 2, 7, 8, 9]
    assert track.worst is None
    assert [int(row["source"]) for row in track.segments if row["kind"] == 0] == [
        *[0, 0, 0, 20, 0, 0]
    ]


def test_a_return_to_a_block_number() -> None:
    text = "M98 P10\nX1.\nN7 X2.\nM30\nO10\nX5.\nM99 P7\n"
    assert xs(run(text)) == [5, 2]


def test_locals_of_a_macro_are_its_own_and_commons_are_shared() -> None:
    text = (
        "#1=5\n#100=0\nG65 P10 A3. B#1\nX#1\nX#100\nX#2\nM30\nO10\nX#1\nX#2\n#1=77\n#100=8\nM99\n"
    )
    # #2 is empty in the caller: X#2 is no word, and the block moves nothing.
    assert xs(run(text)) == [3, 5, 5, 8]


def test_a_plain_call_shares_the_locals() -> None:
    assert xs(run("#1=5\nM98 P10\nX#1\nM30\nO10\n#1=6\nM99\n")) == [6]


def test_packed_calls_where_declared() -> None:
    text = "M98 P30010\nM30\nO10\nG91 X1.\nM99\n"
    assert xs(run(text, replace(AT_ZERO, packed_calls=True))) == [1, 2, 3]


def test_block_skip_as_declared() -> None:
    text = "/X1.\n/2 X2.\nX3.\nM30\n"
    assert xs(run(text, replace(MACHINE, block_skip=True))) == [3]
    assert xs(run(text, replace(MACHINE, block_skip=False))) == [1, 2, 3]


def test_a_return_in_the_main_program_starts_it_again() -> None:
    track = run("X1.\nM99\n")
    assert track.ended is Ended.REPEATS and track.worst is None


def test_endless_loops_and_calls_end_by_the_limit() -> None:
    small = replace(MACHINE, limits=Limits(blocks=500, rows=1000, depth=5))
    assert last(run("DO1\nEND1\nM30\n", small))[0] is Code.ENDLESS
    assert last(run("N1 GOTO 1\nM30\n", small))[0] is Code.ENDLESS
    assert last(run("M98 P10\nM30\nO10\nM98 P10\nM99\n", small))[0] is Code.TOO_DEEP
    assert last(run("G65 P10\nM30\nO10\nG65 P10\nM99\n", small))[0] is Code.TOO_DEEP
    many = run("G91 G81 X1. Z-1. R-1. L999999 F100.\nM30\n", small)
    assert last(many)[0] is Code.TOO_MUCH and len(many.segments) <= 1000


def test_an_endless_loop_of_long_bodies_ends_by_its_rounds() -> None:
    few = replace(MACHINE, limits=Limits(jumps=50))
    track = run("DO1\n" + "X1.\n" * 20 + "END1\nM30\n", few)
    assert last(track)[0] is Code.ENDLESS and track.blocks < 1_200


def test_stops_are_told_apart() -> None:
    track = run("M0\nM1\nM2\n")
    flags = [int(row["flags"]) for row in track.segments if row["kind"] == Kind.STOP]
    assert flags == [0, Flag.OPTIONAL, Flag.END]
    assert track.ended is Ended.BY_WORD


def test_words_further_on_are_told_too_after_a_stop() -> None:
    track = run("M88\nX1. M77\nG999\nM88\nM77\nM30\n")
    assert [(one.line, dict(one.detail)["word"]) for one in track.unread] == [
        (3, "M77"),
        (4, "G999"),
    ]


def test_reading_can_be_cancelled() -> None:
    text = (HEAD + "X1.\n" * 10 + "M30\n").encode()
    shares: list[float] = []
    track = read(text, MACHINE, progress=lambda share: bool(shares.append(share)))
    assert track.ended is Ended.CANCELLED and shares == [0.0]


def test_tools_called_early_and_late() -> None:
    track = run("T1 M6\nT2\nX1.\nM6\nT1 M6\nM30\n")
    tools = [track.in_force[row["force"]].tool for row in track.segments if row["kind"] == 4]
    assert tools == [1, 2, 1] and track.worst is None
