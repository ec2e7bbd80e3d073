"""Reading a program under a cell: the dialect that the cell makes, and the answer."""

from __future__ import annotations

import json
import math
import re
import string
from dataclasses import fields
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load, load_text
from gudgeon.cell.model import Cell
from gudgeon.faces.plain import answer_text
from gudgeon.faces.wording import plain_data
from gudgeon.findings import Findings
from gudgeon.findings import control as module
from gudgeon.findings.control import COMPUTED, ENTERED, ControlFinding
from gudgeon.program.dialect import (
    CORE,
    Dialect,
    Family,
    Meaning,
    Role,
    TurningRule,
    Write,
    key,
)
from gudgeon.program.doubts import Code, Doubt
from gudgeon.questions._read import ASKS, read_program
from gudgeon.questions._read_words import SAID, said
from tests.faces.test_schema import SCHEMA

DEMO = Path(__file__).parents[2] / "demo"

HOME = """
[[control.references]]
number = 1
x = "0 mm"
y = "0 mm"
z = "0 mm"
tilt = "0 deg"
rotary = "0 deg"
[[control.offsets]]
word = "G54"
x = "100 mm"
y = "50 mm"
z = "-200 mm"
[[tools]]
number = 1
name = "drill"
length = "120 mm"
"""
CONTROL = """
[control]
tilt_letter = "A"
rotary_letter = "C"
missing_point = "one unit"
tilt_turns = "as written"
rotary_turns = "as written"
"""


def cell(text: str = CONTROL + HOME) -> Cell:
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return loaded.cell


def control(text: str, program: bytes = b"") -> ControlFinding:
    return Findings(cell(text)).control_for(program)


def answered(program: str, text: str = CONTROL + HOME, **more: object) -> Answer:
    found = read_program(Findings(cell(text)), program.encode(), "part.nc", **more)  # type: ignore[arg-type]
    errors = Draft202012Validator(SCHEMA).iter_errors(
        json.loads(json.dumps(plain_data(found.as_data()), allow_nan=False))
    )
    assert list(errors) == []
    for row in answer_text(found, ASKS).splitlines():
        assert len(row) <= 80
    return found


def rows(answer: Answer, name: str) -> list[dict[str, object]]:
    table = answer.table(name)
    return [dict(zip([c.name for c in table.columns], row, strict=True)) for row in table.rows]


# --- the cell becomes a dialect ------------------------------------------------------------------


def test_an_empty_cell_knows_the_core_and_no_rule() -> None:
    found = control("[shop]\nunits = 'mm'\n").dialect
    assert found.words == CORE
    assert found.axes == {"X": 0, "Y": 1, "Z": 2}
    assert found.turning == (TurningRule.UNKNOWN, TurningRule.UNKNOWN)
    assert found.missing_point is None
    assert found.block_skip is None
    assert found.writes == {2: Write("offset")}
    assert all(math.isnan(value) for value in found.start)


def test_every_rule_comes_through_in_the_units_of_the_dialect() -> None:
    found = control(
        """[control]
        missing_point = "least increment"
        least_increment = "0.01 mm"
        least_increment_inch = "0.001 in"
        least_angle = "0.01 deg"
        rotary_turns = "by the sign"
        at_start = ["G21", "G90", "G054"]
        tool_at_start = 7
        block_skip = "on"
        dwell_p = "milliseconds"
        fix_rounds = "towards zero"
        equal_within = 1e-6
        packed_calls = true
        comment = ";"
        peck_clearance = "0.05 in"
        arc_tolerance_inch = "0.0005 in"
        repeat_letter = "K"
        bore_shift = "Y-"
        cutter_corner = "sharp"
        length_moves_step = false
        """
    ).dialect
    assert found.missing_point == "least"
    assert (found.least_mm, found.least_inch) == pytest.approx((0.01, 0.001))
    assert found.least_deg == pytest.approx(0.01)
    assert found.turning[1] is TurningRule.BY_SIGN
    assert found.at_start == (("G", 210), ("G", 900), ("G", 540))
    assert (found.tool_at_start, found.block_skip, found.dwell_p) == (7, True, "ms")
    assert (found.fix_rounds, found.equal_within, found.packed_calls) == ("zero", 1e-6, True)
    assert found.semicolon_comment
    assert found.peck_clear_mm == pytest.approx(1.27)
    assert found.arc_tolerance_inch == pytest.approx(0.0005)
    assert (found.repeat_letter, found.bore_shift) == ("K", (0.0, -1.0))
    assert (found.cutter_corner, found.length_moves_step) == ("sharp", False)


def test_no_rule_of_the_dialect_is_out_of_a_cells_reach() -> None:
    """A field that the reader gains must come from the cell, or stand here with its reason."""
    fixed = {"local_count", "arguments", "limits"}  # the same on every control that has them
    source = Path(module.__file__ or "").read_text(encoding="utf-8")
    for field in fields(Dialect):
        assert field.name in fixed or re.search(rf"\b{field.name}\b", source), field.name


def test_words_are_added_replaced_and_taken_away() -> None:
    found = control(
        """[control]
        end_word = "M17"
        metric_word = "G71"
        [[control.words]]
        word = "M88"
        means = "no motion"
        [[control.words]]
        word = "G61"
        means = "not known"
        [[control.words]]
        word = "G30.1"
        means = "return to reference"
        number = 4
        """
    ).dialect.words
    assert found[key("M17")] == Role(Meaning.END)
    assert key("M30") not in found
    assert found[key("M2")] == Role(Meaning.END)
    assert found[key("G71")] == Role(Meaning.METRIC)
    assert key("G21") not in found
    assert found[key("M88")] == Role(Meaning.NO_MOTION)
    assert key("G61") not in found
    assert found[key("G30.1")] == Role(Meaning.RETURN_TO, 4)


def test_offset_words_in_order_and_a_family_implied() -> None:
    found = control('[control]\noffset_words = ["G57", "G54", "G54.1 P3", "G54.1 P12"]\n').dialect
    assert found.offset_names == ("G57", "G54")
    assert found.words[key("G57")] == Role(Meaning.OFFSET, 1)
    assert key("G55") not in found.words
    assert found.families == {key("G54.1"): Family("P", 12)}
    assert found.words[key("G54.1")].meaning is Meaning.FAMILY


def test_less_than_a_turn_needs_no_rule_and_a_whole_one_does() -> None:
    found = control(
        '[unit]\ntilt_range = ["-30 deg", "110 deg"]\nrotary_range = ["0 deg", "360 deg"]\n'
    ).dialect
    assert found.turning == (TurningRule.AS_WRITTEN, TurningRule.UNKNOWN)


def test_lengths_are_those_of_the_tools_unless_entered() -> None:
    text = """
    [[tools]]
    number = 1
    length = "120 mm"
    [[tools]]
    number = 2
    length = "80 mm"
    [[tools]]
    number = 3
    [[control.lengths]]
    register = 2
    length = "81.5 mm"
    """
    found = control(text)
    assert found.dialect.lengths == {1: 120.0, 2: 81.5}
    assert found.lengths_from == {1: "length of tool 1", 2: ENTERED}


def test_lengths_touched_off_hold_the_surface_and_cancel_in_z() -> None:
    text = """
    [control]
    lengths_from = "work"
    length_reference = "-300 mm"
    [[tools]]
    number = 1
    length = "120 mm"
    """
    assert control(text).dialect.lengths == {1: -180.0}
    without = text.replace('length_reference = "-300 mm"', "")
    assert control(without).dialect.lengths == {}, "without the surface nothing is known"


@pytest.mark.parametrize("demo", ["alder-ford", "juniper-street"])
def test_offsets_not_entered_are_those_of_the_question_offsets(demo: str) -> None:
    loaded = load(DEMO / f"{demo}.toml")
    assert loaded.cell is not None
    findings = Findings(loaded.cell)
    found = findings.control_for(b"G54 X1")
    zeros = {zero.word: zero.point_mm for zero in findings.offsets.zeros}
    for word in ("G54", "G54.1 P2"):
        assert found.dialect.offsets[word][:3] == zeros[word]
        assert found.dialect.offsets[word][3:] == (0.0, 0.0)
        assert found.offsets_from[word] == COMPUTED


def test_an_entered_offset_goes_before_a_computed_one() -> None:
    text = (DEMO / "juniper-street.toml").read_text(encoding="utf-8")
    text = text.replace('word = "G54.1 P7"', 'word = "G054.1P2"')
    found = Findings(cell(text)).control_for(b"G54.1 P2")
    assert found.offsets_from["G54.1 P2"] == ENTERED
    assert found.dialect.offsets["G54.1 P2"][0] == pytest.approx(-26.5 * 25.4)


@pytest.mark.parametrize(
    ("program", "works"),
    [
        (b"G55", True),
        (b"g 0 5 5", True),
        (b"G54.1 P1", True),
        (b"G[53+2]", True),
        (b"M98 P1000", True),
        (b"G53 X1", False),
        (b"G54 X1", False),
    ],
)
def test_offsets_are_worked_out_only_where_they_may_be_used(program: bytes, works: bool) -> None:
    text = (DEMO / "juniper-street.toml").read_text(encoding="utf-8")
    text = text.replace('word = "G54.1 P7"', 'word = "G54"')
    found = Findings(cell(text)).control_for(program)
    assert (COMPUTED in found.offsets_from.values()) == works


def test_references_start_and_change() -> None:
    text = """
    [machine.changer]
    z = "0 mm"
    [[control.references]]
    number = 1
    x = "1 mm"
    tilt = "90 deg"
    [[control.references]]
    number = 2
    z = "-5 mm"
    [control.start]
    x = "7 mm"
    """
    found = control(text).dialect
    assert found.references[1][0] == 1.0
    assert found.references[1][3] == pytest.approx(math.pi / 2)
    assert found.references[2][2] == -5.0
    assert math.isnan(found.references[2][0])
    assert found.start[0] == 7.0, "what is entered goes before reference 1"
    assert found.start[3] == pytest.approx(math.pi / 2)
    assert found.change_at[2] == 0.0
    assert math.isnan(found.change_at[0])


def test_variables_writes_planes_and_tool_points() -> None:
    found = control(
        """
        [[control.variables]]
        number = 5041
        means = "work position"
        axis = "tilt"
        [[control.variables]]
        number = 5221
        means = "offset"
        word = "g54"
        axis = "Y"
        [[control.writes]]
        l = 20
        target = "family"
        family = "G54.1"
        [[control.tilted_planes]]
        word = "G68.2"
        off_word = "G69"
        turn_word = "G53.1"
        order = "ZXZ"
        about = "turned axes"
        [[control.tool_points]]
        word = "G43.4"
        frame = "angles zero"
        chord = "0.02 mm"
        """
    ).dialect
    assert (found.variables[5041].what, found.variables[5041].axis) == ("work position", 3)
    assert (found.variables[5221].offset, found.variables[5221].axis) == ("G54", 1)
    assert found.writes == {20: Write("family", key("G54.1"))}
    plane = found.planes[key("G68.2")]
    assert (plane.origin, plane.angles, plane.order) == (tuple("XYZ"), tuple("IJK"), "ZXZ")
    assert not plane.fixed_axes
    assert found.words[key("G53.1")].meaning is Meaning.TURN_TO_PLANE
    assert found.words[key("G69")].meaning is Meaning.TILTED_OFF
    assert found.tool_points[key("G43.4")].chord_mm == 0.02
    assert found.chain is None, "no axis line is known"


# --- the words of the doubts ---------------------------------------------------------------------


def test_every_code_has_its_sentence_and_no_other() -> None:
    assert set(SAID) == set(Code)


@pytest.mark.parametrize("code", Code)
def test_sentences_keep_the_house_form(code: Code) -> None:
    words = SAID[code]
    for text in (words.reason, words.mend):
        assert text.isascii()
        assert not text.endswith((".", "?", "!"))
        assert len(text) < 130
    if words.entry:
        assert words.entry.startswith("control.")
        assert hasattr(Cell().control, words.entry.removeprefix("control."))


@pytest.mark.parametrize("code", Code)
def test_a_doubt_without_its_details_still_reads(code: Code) -> None:
    names = {
        name
        for text in (SAID[code].reason, SAID[code].mend)
        for _, name, _, _ in string.Formatter().parse(text)
        if name
    }
    assert "{" not in said(Doubt(code, 1)).reason
    filled = said(Doubt(code, 1, 1, tuple((name, "M88") for name in names)))
    assert all("M88" in filled.reason + filled.mend for _ in names)


# --- the answer ----------------------------------------------------------------------------------

GOOD = """%
G21 G90 G17
G53 G0 Z0
T1 M6
S1000 M3
G54 G0 X10 Y0
G43 H1 Z50
G1 Z-5 F300
G1 X40 F600
G53 G0 Z0
M30
%
"""


def test_a_program_read_whole_is_a_yes_with_its_ranges() -> None:
    found = answered(GOOD)
    assert found.verdict is Verdict.YES
    assert found.headline.startswith("Read whole: ")
    assert found.headline.endswith(" 6 moves, cutting in 1 pose; it ends at line 11.")
    assert found.figure("feed_path").value == pytest.approx(85.0)
    assert found.figure("largest_feed").value == pytest.approx(600.0)
    assert found.figure("largest_feed").unit == "mm/min"
    (pose,) = rows(found, "poses")
    assert (pose["x_lowest"], pose["x_highest"]) == (110.0, 140.0)
    assert pose["z_lowest"] == pytest.approx(-200 + 120 - 5)
    assert pose["tip_lowest"] == pytest.approx(-205.0)
    (tool,) = [row for row in rows(found, "tools") if row["tool"] == "T1"]
    assert (tool["name"], tool["register"], tool["length"]) == ("drill", "H1", 120.0)
    assert tool["note"] == ""
    (offset,) = rows(found, "offsets")
    assert (offset["word"], offset["from"], offset["x"]) == ("G54", ENTERED, 100.0)
    (end,) = rows(found, "ends")
    assert (end["x"], end["z"], end["tool"], end["spindle"]) == (140.0, 0.0, "T1", "stopped")
    assert [picture.name for picture in found.pictures] == ["plan_1", "front_1"]
    assert found.missing == ()


def test_an_inch_shop_reads_inches() -> None:
    found = answered(GOOD, '[shop]\nunits = "in"\n' + CONTROL + HOME)
    assert found.figure("feed_path").value == pytest.approx(85.0 / 25.4)
    assert found.figure("largest_feed").unit == "in/min"
    assert rows(found, "poses")[0]["x_lowest"] == pytest.approx(110.0 / 25.4, abs=1e-6)


def test_an_alarm_is_a_no_with_place_line_and_mend() -> None:
    found = answered("G21 G90 G17 G54 G94\nG0 X0 Y0 Z0\nG2 X40 Y20 R30 F200\nG2 X40 Y20 R5\nM30\n")
    assert found.verdict is Verdict.NO
    assert 'line 4, column 12, "G2 X40 Y20 R5": full circle given with R.' in found.headline
    assert found.fix == "In line 4: use I and J."


def test_what_is_not_known_is_told_with_the_entry_that_settles_it() -> None:
    found = answered("G21 G90 G17 G54\n#1=#5041\nG0 X#1\nM77\nM30\n")
    assert found.verdict is Verdict.CANNOT_TELL
    assert "line 2" in found.headline
    assert "system variable not described" in found.headline
    assert found.missing[0].where == "cell.toml: control.variables"
    assert "describe #5041" in found.missing[0].how_to_get_it


def test_words_further_on_are_told_in_the_same_run() -> None:
    found = answered("G21 G90 G17 G54\nM77\nG0 X1\nM78\nM30\n")
    assert found.verdict is Verdict.CANNOT_TELL
    assert "M77" in found.headline
    assert any("M78" in str(row["what"]) for row in rows(found, "also_not_understood"))


def test_leaving_the_travel_is_a_no_with_its_line() -> None:
    text = '[machine]\ntravel_x = ["0 mm", "139.9 mm"]\n' + CONTROL + HOME
    found = answered(GOOD, text)
    assert found.verdict is Verdict.NO
    assert "X leaves its travel in line 9: 140.000 mm at worst" in found.headline
    assert found.figure("beyond_travel").value == 2.0
    assert "left in line 9" in str(rows(found, "ranges")[0]["note"])
    exact = answered(GOOD, text.replace("139.9", "140"))
    assert exact.verdict is Verdict.YES, "exactly on a limit is inside"


def test_an_offset_nobody_entered_is_named() -> None:
    found = answered(GOOD.replace("G54", "G55"))
    assert found.verdict is Verdict.CANNOT_TELL
    assert "values of G55 are not stated" in found.headline
    assert any(item.where == "cell.toml: control.offsets" for item in found.missing)


def test_another_register_than_the_tools_is_told() -> None:
    text = CONTROL + HOME + '[[control.lengths]]\nregister = 9\nlength = "121 mm"\n'
    found = answered(GOOD.replace("H1", "H9"), text)
    assert found.verdict is Verdict.YES
    (tool,) = [row for row in rows(found, "tools") if row["tool"] == "T1"]
    assert "register 9 is not that of the tool" in str(tool["note"])
    assert any("length register 9" in caution for caution in found.cautions)


def test_cutting_while_an_axis_turns_is_told_with_its_line() -> None:
    found = answered(GOOD.replace("G1 X40 F600", "G1 X40 A10 F600"))
    figure = found.figure("turning_feeds")
    assert (figure.value, figure.note) == (1.0, "first in line 9")


def test_a_way_round_that_is_not_stated_is_a_caution_with_its_entry() -> None:
    text = CONTROL.replace('rotary_turns = "as written"\n', "") + HOME
    found = answered(GOOD.replace("G54 G0 X10", "G54 G0 C200 X10"), text)
    assert found.verdict is Verdict.YES
    assert found.figure("either_way").value == 1.0
    assert any(item.where == "cell.toml: control.rotary_turns" for item in found.missing)
    assert any("either way round" in caution for caution in found.cautions)


def test_called_programs_are_read_and_named() -> None:
    program = GOOD.replace("G1 X40 F600", "M98 P1234")
    sub = b"O1234\nG1 X40 F600\nM99\n"
    asked: list[int] = []

    def called(number: int) -> bytes | None:
        asked.append(number)
        return sub if number == 1234 else None

    found = answered(program, called=called, names={1234: "1234.nc"})
    assert found.verdict is Verdict.YES
    assert asked == [1234]
    assert found.figure("calls").value == 1.0
    assert any("O1234 is 1234.nc" in text for text in found.assumed)
    assert found.figure("largest_feed").note == "line 2 of O1234"
    lost = answered(program)
    assert lost.verdict is Verdict.CANNOT_TELL
    assert "1234" in lost.headline


def test_stopping_the_reading_is_no_verdict() -> None:
    found = answered(GOOD, progress=lambda share: False)
    assert found.verdict in (Verdict.YES, Verdict.CANNOT_TELL)


@pytest.mark.parametrize("text", [b"\x00\xff" * 200, b"G", b"%", b"(", b"#1=[[[[", b"\r\r\rM30"])
def test_no_text_makes_it_fail(text: bytes) -> None:
    found = read_program(Findings(cell()), text, "x.nc")
    assert found.headline
    assert answer_text(found, ASKS)


def test_a_long_line_is_quoted_around_its_column() -> None:
    found = answered("G21 G90 G17 G54\nG0 " + "(" + "x" * 200 + ") X1 Y2 M77\nM30\n")
    assert '..."' not in found.headline or "M77" in found.headline
    assert len(found.headline) < 250


@pytest.mark.parametrize("demo", ["alder-ford", "juniper-street"])
def test_programs_of_the_demo_shops_are_read_whole(demo: str) -> None:
    loaded = load(DEMO / f"{demo}.toml")
    assert loaded.cell is not None
    found = read_program(
        Findings(loaded.cell),
        (DEMO / f"{demo}.nc").read_bytes(),
        f"{demo}.nc",
        lambda number: (DEMO / f"O{number}.nc").read_bytes(),
    )
    assert found.verdict is Verdict.YES
    # Worked out by hand from the text of the programs.
    if demo == "alder-ford":
        # Four outsides of 5 + 140 + 35 + 140; two pockets of 6 + 9 + 18 pi + 9; four holes of
        # 27 in five pecks, four of which begin the clearance of 1 higher.
        by_hand = 4 * 320.0 + 2 * (24.0 + 18.0 * math.pi) + 4 * 31.0
        assert len(rows(found, "poses")) == 5
    else:
        # Two ends of .15 + .25 + two quarters of radius .25 + .94; five holes.
        by_hand = 2 * (0.15 + 0.25 + 0.25 * math.pi + 0.94) + 3 * 0.6 + 2 * 0.6
        assert len(rows(found, "poses")) == 2
    assert found.figure("feed_path").value == pytest.approx(by_hand, abs=1e-6)


# --- what breaking the code on purpose showed to be untested -------------------------------------


def test_computed_offsets_and_touched_off_lengths_cancel_in_z() -> None:
    """Where the gauge point stands does not hang on what lengths are counted from."""
    gauge = (DEMO / "alder-ford.toml").read_text(encoding="utf-8")
    work = gauge.replace(
        'lengths_from = "gauge"', 'lengths_from = "work"\nlength_reference = "-312.5 mm"'
    )
    both = [control(text, b"G54").dialect for text in (gauge, work)]
    one, other = (found.offsets["G54"][2] + found.lengths[2] for found in both)
    assert one == pytest.approx(other, abs=1e-9)
    assert both[1].offsets["G54"][2] == pytest.approx(both[0].offsets["G54"][2] + 312.5)


def test_a_unit_without_tilt_has_no_tilt_to_wonder_about() -> None:
    text = '[unit]\nkind = "rotary only"\n[control]\ntilt_letter = "B"\nrotary_letter = "A"\n'
    found = control(text).dialect
    assert found.axes == {"X": 0, "Y": 1, "Z": 2, "A": 4}
    assert found.start[3] == 0.0
    assert math.isnan(found.start[4])


JOGS = """
[[control.jogs]]
letter = "A"
by = "5 deg"
watched = "Z+"
moved = "Y+"
[[control.jogs]]
letter = "C"
by = "5 deg"
watched = "X+"
moved = "Y-"
"""


def test_letters_that_were_jogged_count_and_usual_ones_do_not() -> None:
    placed = '[placement]\ntilt_along = "X"\n'
    assert control(placed + JOGS).dialect.axes == {"X": 0, "Y": 1, "Z": 2, "A": 3, "C": 4}
    senses = "[control]\ntilt_sense = -1\nrotary_sense = -1\n"
    assert control(placed + senses).dialect.axes == {"X": 0, "Y": 1, "Z": 2}


def test_details_of_words_and_families() -> None:
    found = control(
        """
        [control]
        offset_words = ["G54", "G54.1 P12", "G54.1 P3"]
        [[control.words]]
        word = "G154"
        means = "work offset"
        number = 4
        [[control.tilted_planes]]
        word = "G68.3"
        order = "XYZ"
        about = "fixed axes"
        [[control.tool_points]]
        word = "G43.4"
        off_word = "G49.1"
        frame = "where switched on"
        """
    ).dialect
    assert found.families[key("G54.1")].count == 12
    assert found.offset_names == ("G54", "", "", "G154")
    assert found.planes[key("G68.3")].fixed_axes
    assert found.words[key("G49.1")].meaning is Meaning.TOOL_POINT_OFF
    assert not found.tool_points[key("G43.4")].frame_at_zero


def test_a_tilted_plane_gets_the_axis_lines_where_they_are_known() -> None:
    text = (DEMO / "alder-ford.toml").read_text(encoding="utf-8")
    plane = '[[control.tilted_planes]]\nword = "G68.2"\norder = "ZXZ"\nabout = "turned axes"\n\n'
    assert control(text).dialect.chain is None
    found = control(text.replace("[money]", plane + "[money]", 1))
    assert found.dialect.chain is not None
    assert [axis.role for axis in found.dialect.chain.axes] == ["tilt", "rotary"]


def test_an_offset_in_force_from_the_start_is_worked_out_too() -> None:
    text = (DEMO / "alder-ford.toml").read_text(encoding="utf-8")
    at_start = 'block_skip = "off"\nat_start = ["G21", "G90", "G54"]'
    found = control(text.replace('block_skip = "off"', at_start), b"G0 X1")
    assert found.offsets_from["G54"] == COMPUTED


def test_a_reading_that_was_stopped_is_no_yes() -> None:
    body = "G1 X1 F100\n" * 300_000
    found = answered(GOOD.replace("G1 X40 F600\n", body), progress=lambda share: False)
    assert found.verdict is Verdict.CANNOT_TELL
    assert "stopped after line" in found.headline
    assert found.missing


def test_a_long_line_is_cut_on_both_sides() -> None:
    found = answered("G21 G90 G17 G54\n(" + "x" * 100 + ")M77(" + "y" * 100 + ")\nM30\n")
    quoted = found.headline.split('"')[1]
    assert quoted.startswith("...x")
    assert quoted.endswith("y...")
    assert "M77" in quoted
    assert len(quoted) <= 66


def test_nothing_is_asked_for_that_the_program_does_not_need() -> None:
    text = CONTROL.replace('rotary_turns = "as written"\n', "") + HOME
    assert answered(GOOD, text).missing == (), "no turn, so no way round"


def test_an_unknown_start_is_named_though_all_was_read() -> None:
    text = CONTROL + HOME.replace('tilt = "0 deg"\n', "")
    found = answered(GOOD, text)
    assert found.verdict is Verdict.YES
    assert found.figure("unknown_moves").value == 6.0
    assert found.missing[0].where == "cell.toml: control.start"


def test_axes_are_called_by_their_letters() -> None:
    text = CONTROL + HOME.replace('rotary = "0 deg"\n', "")
    found = answered(GOOD.replace("M30", "G28 C0\nM30"), text)
    assert found.verdict is Verdict.CANNOT_TELL
    assert "not stated in C" in found.headline


def test_offsets_tell_what_the_program_wrote_and_what_nobody_knows() -> None:
    written = GOOD.replace("G54 G0", "G10 L2 P2 X5. Y5. Z-200.\nG55 G0")
    (offset,) = rows(answered(written), "offsets")
    assert (offset["word"], offset["from"], offset["x"]) == ("G55", "written by the program", 5.0)
    (offset,) = rows(answered(GOOD.replace("G54", "G56")), "offsets")
    assert (offset["from"], offset["x"]) == ("not stated", None)


def test_each_axis_has_its_own_note_and_the_tilt_its_limits() -> None:
    text = '[unit]\ntilt_range = ["-10 deg", "30 deg"]\n' + CONTROL + HOME
    found = answered(GOOD.replace("G54 G0 X10", "G54 G0 A31 X10"), text)
    assert found.verdict is Verdict.NO
    assert "A leaves its travel in line 6: 31.00 deg at worst" in found.headline
    notes = {row["axis"]: row["note"] for row in rows(found, "ranges")}
    assert notes == {"X": "", "Y": "", "Z": "", "A": "left in line 6", "C": ""}


def test_stops_and_tools_are_told_by_kind() -> None:
    found = answered(GOOD.replace("M30", "M0\nM1\nM30").replace("T1 M6", "T8 M6"))
    assert [(row["line"], row["kind"]) for row in rows(found, "stops")] == [
        ("11", "stop"),
        ("12", "optional stop"),
        ("13", "end of the program"),
    ]
    (tool,) = [row for row in rows(found, "tools") if row["tool"] == "T8"]
    assert "not in the list of tools" in str(tool["note"])
    assert rows(found, "poses")[0]["tip_lowest"] is None


def test_two_lengths_of_one_tool_are_not_shown_as_one() -> None:
    text = CONTROL + HOME + '[[control.lengths]]\nregister = 9\nlength = "121 mm"\n'
    program = GOOD.replace("G1 X40 F600", "G43 H9 G1 Z-5.\nG1 X40 F600")
    (tool,) = [row for row in rows(answered(program, text), "tools") if row["tool"] == "T1"]
    assert (tool["register"], tool["length"]) == ("H1, H9", None)
