"""Programs that an adversary of the reader wrote: what was once guessed, skipped or lost."""

from __future__ import annotations

from dataclasses import replace
from math import isnan, nan, radians

import pytest

from gudgeon.program.dialect import Dialect, PlaneWord, ToolPointWord, TurningRule, Write
from gudgeon.program.doubts import Code
from gudgeon.program.reader import read
from gudgeon.program.track import Flag, Kind, Track
from tests.program.soup import CHAIN, WORDS
from tests.program.test_sample_programs import MACHINE
from tests.questions.test_read import CONTROL as CELL
from tests.questions.test_read import HOME, answered

HEAD = "G21 G90 G17 G94 G54\n"
AT_WORK = "G43 H1 G0 X0. Y0. Z20. F100.\n"
CONTROL = replace(
    MACHINE,
    words=WORDS,
    back_bore="I J K",
    radii={1: 5.0},
    writes={2: Write("offset"), 10: Write("length")},
    planes={("G", 682): PlaneWord(("X", "Y", "Z"), ("I", "J", "K"), "ZXZ")},
    tool_points={("G", 434): ToolPointWord(frame_at_zero=True)},
    chain=CHAIN,
    cutter_corner="arc",
    cutter_lead="square to next",
    after_cycle_off="motion before",
)
LOST = replace(CONTROL, start=(nan, nan, nan, 0.0, 0.0))


def run(text: str, dialect: Dialect = CONTROL) -> Track:
    return read((HEAD + text + "\nM30\n").encode(), dialect)


def last(track: Track) -> tuple[object, ...]:
    doubt = track.doubts[-1]
    return doubt.code, doubt.line, doubt.column


@pytest.mark.parametrize(
    ("text", "code", "line", "column"),
    [
        # K counts repeats on many controls, I and J shrink pecks, Q makes tapping peck.
        ("G91 G99 G81 X10. R-15. Z-5. K3", Code.WORD_UNUSED, 3, 29),
        ("G83 X10. R3. Z-5. Q1. I2.", Code.WORD_UNUSED, 3, 23),
        ("M3\nG84 X10. R3. Z-5. Q1.", Code.WORD_UNUSED, 4, 19),
        # Words of a cycle without axis words: drilled again, kept, or an alarm.
        ("G81 X0. R3. Z-5.\nR10.\nX10.", Code.WORD_UNUSED, 4, 1),
        ("G81 X0. R3. Z-5.\nG83 Q2. R10.\nX10.", Code.WORD_UNUSED, 4, 5),
        ("G81 X0. R3. Z-5.\nL3", Code.WORD_UNUSED, 4, 1),
        # A depth in Z is no depth in Y, and a level in the plane is none of the machine.
        ("G81 X0. R3. Z-5.\nG18 X20.", Code.CYCLE_STEP, 4, 5),
        ("G68.2 X0 Y0 Z0\nG81 X1. R3. Z-5.\nG69\nX10.", Code.CYCLE_STEP, 6, 1),
        ("G92 X5.\nG52 X1.", Code.SHIFT_TWICE, 4, 1),
        ("G52 X1.\nG92.1", Code.SHIFT_TWICE, 4, 1),
        ("G10 L2 P0 X1.", Code.WRITE_UNKNOWN, 3, 8),
        ("G41 D1 G1 X10. Y10.\nY20.\nT2 M6\nG40 X0.", Code.CUTTER_WORD, 5, 4),
        # The old Q in new units.
        ("G83 X0. R3. Z-5. Q2.\nG20 X1. R.1 Z-.2", Code.CYCLE_STEP, 4, 5),
        # Zero of C lies at 15 deg in G55.
        ("G55\nG68.2 X0 Y0 Z0\nG0 X1.", Code.PLANE_ZERO, 5, 4),
        ("G55\nG68.2 X0 Y0 Z0\nG53.1", Code.PLANE_ZERO, 5, 1),
        ("G55\nG43.4 H1\nG0 X1. Y1. C10.", Code.PLANE_ZERO, 5, 4),
        ("G68.2 X0 Y0 Z0 K30.\nG18 G41 D1 G1 X10. Z5.", Code.CUTTER_WORD, 4, 5),
    ],
)
def test_what_controls_take_in_different_ways_is_not_guessed(
    text: str, code: Code, line: int, column: int
) -> None:
    assert last(run(AT_WORK + text)) == (code, line, column)


@pytest.mark.parametrize(
    "text",
    [
        "G81 X0. R3. Z-5.\nM98 P50 L2\nM30\nO50 X1.\nM99",
        "G81 X0. R3. Z-5.\nG54.1 P7\nG80",
        "G81 X0. R3. Z-5.\nF50.\nX1.",
        "G81 X0. R3. Z-5.\nG18\nG80\nG17 G81 X1. R3. Z-5.",
        "G83 X0. R3. Z-5. Q2.\nG20 X1. R.1 Z-.2 Q.1",
        "G52 X1.\nG52 X0.\nG92 X5.\nG92.1\nG52 X3.",
    ],
)
def test_and_no_needless_alarm_beside_it(text: str) -> None:
    assert run(AT_WORK + text).worst is None


def test_a_length_taken_away_stays_so_when_its_register_is_written() -> None:
    # G44: the length counts negative; Z0 is -200 - 50.
    track = run("G0 Z0.\nG44 H1\nG10 L10 P1 R50.\nZ0.")
    assert track.segments["end"][-2][2] == -250.0
    track = run("G0 Z0.\nG44 H1\nG43 H1\nG10 L10 P1 R50.\nZ0.")
    assert track.segments["end"][-2][2] == -150.0


@pytest.mark.parametrize(
    ("rule", "end", "either"),
    [
        (TurningRule.AS_WRITTEN, 10.0, 0),
        (TurningRule.SHORTEST, 370.0, 0),
        (TurningRule.POSITIVE, 370.0, 0),
        (TurningRule.UNKNOWN, 10.0, int(Flag.EITHER_WAY)),
    ],
)
def test_machine_coordinates_of_a_turning_axis_follow_its_rule(
    rule: TurningRule, end: float, either: int
) -> None:
    start = (0.0, 0.0, 0.0, 0.0, radians(350.0))
    track = run("G53 G0 C10.", replace(CONTROL, start=start, turning=(rule, rule)))
    row = track.segments[track.segments["kind"] == Kind.RAPID][0]
    assert row["end"][4] == pytest.approx(radians(end))
    assert row["flags"] & Flag.EITHER_WAY == either


@pytest.mark.parametrize(
    "text",
    ["G68.2 X0 Y0 Z0\nG0 X1. Y1.", "G43.4 H1\nG0 X1. Y1.", "G43.4 H1\nG0 X1. Y1. C20."],
)
def test_a_commanded_axis_that_the_turned_work_loses_is_told(text: str) -> None:
    # Z was never set, and the work's coordinates mix the three: X and Y are lost with it.
    track = run(text, LOST)
    row = track.segments[track.segments["kind"] == Kind.RAPID][-1]
    assert isnan(row["end"][0])
    assert last(track)[:2] == (Code.POSITION_UNKNOWN, 3)
    assert row["doubt"] == 0


def test_back_boring_in_other_planes_takes_i_j_k_along_x_y_z() -> None:
    head = "M3 S100\nG0 X0. Y0. Z0. F100.\n"
    for plane, (x, y, z), side, top in (
        ("G18 G0 Y50.\nG87 X5. Z6. Y-10. R3. I1. J2. K4.", (5.0, -10.0, 6.0), (1.0, 0.0, 4.0), 2.0),
        ("G19 G0 X50.\nG87 Y5. Z6. X-10. R3. I2. J1. K4.", (-10.0, 5.0, 6.0), (0.0, 1.0, 4.0), 2.0),
    ):
        track = run(head + plane)
        assert track.worst is None
        rows = track.segments[(track.segments["flags"] & Flag.IN_CYCLE) != 0]
        work = rows["end"][:, :3] - (100.0, 50.0, -200.0)
        stopped = work[(rows["flags"] & Flag.SPINDLE_STOPPED) != 0]
        drill = 1 if side[1] == 0.0 else 0
        assert stopped[0] == pytest.approx([x + side[0], y + side[1], z + side[2]])
        lines = work[rows["kind"] == Kind.LINE]
        assert lines[0][drill] == pytest.approx(top)


def test_it_is_told_that_a_tool_change_leaves_the_axes() -> None:
    told = "A tool change leaves the axes where they stand ([machine.changer] is not given)."
    assert told in answered("G21 G90\nT1 M6\nM30\n").assumed
    assert told not in answered("G21 G90\nM30\n").assumed
    changer = '\n[machine.changer]\nz = "0 mm"\n'
    assert told not in answered("G21 G90\nT1 M6\nM30\n", CELL + HOME + changer).assumed
