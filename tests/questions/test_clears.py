"""The question clears: one small shop with a block on the platter, gaps known by hand.

The block is 80 mm square and 100 mm high on a platter face at machine Z -400 (tilt axis there too),
about X -300, Y -200.  Tool 1: 100 mm long, cutter 10 mm, holder 40 mm from 50 mm above the tip.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import math
from importlib.resources import files

import jsonschema
import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load_text
from gudgeon.cell.model import Cell
from gudgeon.findings import Findings
from gudgeon.findings.programs import ProgramText
from gudgeon.questions.clears import answer as ask

CELL = """
[shop]
units = "mm"
clearance = "1 mm"
[machine]
layout = "moving table"
travel_x = ["-600 mm", "0 mm"]
travel_y = ["-400 mm", "0 mm"]
travel_z = ["-500 mm", "0 mm"]
gauge_to_table = "600 mm"
nose_diameter = "80 mm"
[machine.changer]
z = "0 mm"
pull_down = "110 mm"
[unit]
kind = "tilt and rotary"
tilt_range = ["-100 deg", "100 deg"]
tilt_axis_height = "200 mm"
axis_offset = "0 mm"
face_height = "0 mm"
[placement]
tilt_along = "X"
centre_x = "-300 mm"
centre_y = "-200 mm"
[fixture]
shape = "square"
half_width = "40 mm"
bottom = "0 mm"
height = "100 mm"
[[tools]]
number = 1
length = "100 mm"
cutter_diameter = "10 mm"
stickout = "50 mm"
holder_diameter = "40 mm"
[[tools]]
number = 2
length = "180 mm"
cutter_diameter = "10 mm"
stickout = "60 mm"
holder_diameter = "40 mm"
[control]
tilt_letter = "A"
rotary_letter = "C"
tilt_sense = -1
rotary_sense = -1
missing_point = "one unit"
rapids = "straight"
rotary_turns = "as written"
tool_at_start = 1
[control.start]
x = "-300 mm"
y = "-200 mm"
z = "0 mm"
tilt = "0 deg"
rotary = "0 deg"
[[control.offsets]]
word = "G54"
x = "-300 mm"
y = "-200 mm"
z = "-300 mm"
"""
HEAD = "G21 G90 G17 G54 G43 H1\n"
"""Work zero: top of the block, middle.  Tip at Z of the program."""


@functools.cache
def cell(changed: tuple[tuple[str, str], ...] = ()) -> Cell:
    text = CELL
    for old, new in changed:
        assert old in text
        text = text.replace(old, new)
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return loaded.cell


class Memory:
    """Keeps proofs in a dictionary."""

    def __init__(self) -> None:
        self.held: dict[str, bytes] = {}
        self.loads: list[bool] = []

    def load(self, key: str) -> bytes | None:
        self.loads.append(key in self.held)
        return self.held.get(key)

    def save(self, key: str, data: bytes) -> None:
        self.held[key] = data


def asked(
    program: str, *changed: tuple[str, str], keep: Memory | None = None, stop: bool = False
) -> Answer:
    text = ProgramText(
        "part.nc",
        program.encode(),
        keep=keep,
        proving=(lambda _: False) if stop else None,
    )
    return ask(Findings(cell(changed), [text]))


def rows(answer: Answer) -> dict[int, dict[str, object]]:
    table = answer.table("blocks")
    names = [column.name for column in table.columns]
    return {int(str(row[1])): dict(zip(names, row, strict=True)) for row in table.rows}


BACK_2 = "G0 Z110\nG0 X0 Y0 A0 C0\nM30\n"
BACK = "G0 Z200\nG0 X0 Y0 A0 C0\nM30\n"


def test_a_clear_program_is_proven_with_its_gap() -> None:
    got = asked(f"{HEAD}G0 Z200\nG0 X60 Y0\nG0 Z7\nG0 X20\nG0 Z100\n{BACK}")
    assert got.verdict is Verdict.YES
    # The cutter 7 mm over the top; X60 first: beside the block by 60 - 5 - 40 = 15 mm.
    assert got.figure("smallest_margin").value == pytest.approx(7.0, abs=0.01)
    assert rows(got)[4]["margin"] == pytest.approx(16.553, abs=0.01)  # hypot(15, 7)
    assert "no restriction needed" in got.headline


def test_the_answer_keeps_the_schema() -> None:
    text = files("gudgeon").joinpath("schemas/answer-1.json").read_text(encoding="utf-8")
    validator = jsonschema.Draft202012Validator(json.loads(text))
    for program in (f"{HEAD}G0 Z-20\nM30\n", f"{HEAD}G0 Z100\nM30\n", "nonsense\n"):
        data = asked(program).as_data()
        assert list(validator.iter_errors(json.loads(json.dumps(data)))) == []


def test_contact_is_a_danger_and_a_hair_above_the_clearance_is_clear() -> None:
    assert rows(asked(f"{HEAD}G0 Z0\nG0 Z100\nM30\n"))[2]["verdict"] == "danger"
    assert rows(asked(f"{HEAD}G0 Z0.99\nG0 Z100\nM30\n"))[2]["verdict"] == "danger"
    assert asked(f"{HEAD}G0 Z1.01\nG0 Z100\n{BACK}").verdict is Verdict.YES


def test_a_rapid_into_the_block_tells_how_deep() -> None:
    got = asked(f"{HEAD}G0 Z-8\nG0 Z100\nM30\n")
    assert got.verdict is Verdict.NO
    assert rows(got)[2]["verdict"] == "crash"
    assert rows(got)[2]["margin"] == pytest.approx(-8.0, abs=0.05)
    assert got.figure("worst_overlap").value == pytest.approx(8.0, abs=0.05)


def test_flutes_may_cut_on_feed_moves_and_may_go_out_again_by_rapid() -> None:
    program = f"{HEAD}G0 Z5\nG1 Z-20 F100\nG0 Z5\nG0 Z-19\nG1 Z-25\nG0 Z100\n{BACK}"
    assert asked(program).verdict is Verdict.YES


def test_a_rapid_deeper_than_the_hole_crashes() -> None:
    got = asked(f"{HEAD}G0 Z5\nG1 Z-20 F100\nG0 Z5\nG0 Z-21\nG0 Z100\n{BACK}")
    assert rows(got)[5]["verdict"] == "crash"


def test_a_hole_beside_is_not_this_hole() -> None:
    got = asked(f"{HEAD}G0 Z5\nG1 Z-20 F100\nG0 Z5\nG0 X20\nG0 Z-19\nG0 Z100\n{BACK}")
    assert rows(got)[6]["verdict"] == "crash"


def test_holder_may_not_touch_on_feed_moves() -> None:
    got = asked(f"{HEAD}G0 Z5\nG1 Z-49.5 F100\nG1 Z-50.5\nG1 Z5\nG0 Z100\n{BACK}")
    found = rows(got)
    assert found[3]["verdict"] == "danger" and found[4]["verdict"] == "crash"
    assert found[3]["margin"] == pytest.approx(0.5, abs=0.01)
    assert "holder" in str(found[4]["pair"])


def test_drilling_cycle_with_pecks_is_clear() -> None:
    got = asked(f"{HEAD}M3 S1000\nG0 Z20\nG83 G98 X10 Y0 Z-30 R2 Q8 F100\nG80\nG0 Z100\n{BACK}")
    assert got.verdict is Verdict.YES


def test_a_turn_clear_at_both_ends_crashes_half_way() -> None:
    # The corner of the block reaches 56.57 mm, the flat 40; the tip is 45 + 5 - 5 mm off.
    got = asked(f"{HEAD}G0 Z100\nG0 X50 Y0\nG0 Z-30\nG0 C90\nG0 Z100\n{BACK}")
    found = rows(got)
    assert found[5]["verdict"] == "crash"
    assert found[4]["margin"] == pytest.approx(5.0, abs=0.01)
    assert math.fmod(abs(float(str(found[5]["rotary"]))), 90.0) == pytest.approx(45.0, abs=1.5)


def test_the_other_way_round_is_judged_where_the_rule_is_not_declared() -> None:
    # The short way passes no corner of the block, the long way all four.
    program = f"{HEAD}G0 Z100\nG0 X50 Y0\nG0 Z-30\nG0 C10\nG0 C0\nG0 Z100\n{BACK}"
    assert asked(program).verdict is Verdict.YES
    got = asked(program, ('rotary_turns = "as written"\n', ""))
    assert got.verdict is Verdict.YES_IF
    # From C10 to C0 rules differ; from C0 to C10 none does.
    assert rows(got)[6]["verdict"] == "clear one way round only"
    assert any("rotary_turns" in missing.where for missing in got.missing)


def test_rapids_that_may_not_be_straight() -> None:
    # From one side to the rear: the straight line passes the corner by 42.43 - 40 ... and the
    # other ways go through the block.
    program = f"{HEAD}G0 Z100\nG0 X95 Y0\nG0 Z-20\nG0 X0 Y95\nG0 Z100\n{BACK}"
    assert asked(program).verdict is Verdict.YES
    got = asked(program, ('rapids = "straight"\n', ""))
    assert got.verdict is Verdict.YES_IF
    assert rows(got)[5]["verdict"] == "clear if rapids are straight"
    assert "control.rapids" in got.next_step
    alone = asked(program, ('rapids = "straight"', 'rapids = "each axis alone"'))
    assert alone.verdict is Verdict.NO
    assert rows(alone)[5]["verdict"] in ("crash", "danger")


def test_rapids_clear_either_way_need_no_declaration() -> None:
    program = f"{HEAD}G0 Z100\nG0 X95 Y20\n{BACK}"
    assert asked(program, ('rapids = "straight"\n', "")).verdict is Verdict.YES


def test_an_arc_round_the_block_is_judged_along_its_curve() -> None:
    # The holder stands beside the block, 85 - 20 - 56.57 = 8.43 mm from its corners.
    program = f"{HEAD}G0 Z100\nG0 X85 Y0\nG0 Z-80\nG3 X-85 Y0 I-85 J0 F500\nG0 Z100\n{BACK}"
    got = asked(program)
    assert got.verdict is Verdict.YES
    assert rows(got)[5]["margin"] == pytest.approx(85.0 - 20.0 - 40.0 * math.sqrt(2.0), abs=0.02)
    assert "holder" in str(rows(got)[5]["pair"])
    assert rows(asked(program.replace("85", "77.4")))[5]["verdict"] == "danger"
    assert rows(asked(program.replace("85", "76.4")))[5]["verdict"] == "crash"


def test_a_tool_that_is_not_listed_is_never_clear() -> None:
    got = asked(f"{HEAD}G0 Z100\nT9 M6\nG43 H1 G0 Z100\n{BACK}")
    assert got.verdict is Verdict.CANNOT_TELL
    assert "T9" in str(rows(got)[4]["note"])
    assert any("tool 9" in missing.what for missing in got.missing)


def test_a_start_that_is_not_known_is_not_judged_until_it_is() -> None:
    lines = CELL[CELL.index("[control.start]") : CELL.index("[[control.offsets]]")]
    got = asked(f"{HEAD}G0 Z100\nG0 X0 Y0 A0 C0\nG0 Z50\nM30\n", (lines, ""))
    assert got.verdict is Verdict.CANNOT_TELL
    found = rows(got)
    assert found[2]["verdict"] == "not judged" and found[4]["verdict"] == "clear"
    assert any("control.start" in missing.where for missing in got.missing)


def test_an_unsafe_start_pose() -> None:
    got = asked(f"{HEAD}G0 Z100\n{BACK}", ('z = "0 mm"\ntilt', 'z = "-210 mm"\ntilt'))
    assert got.verdict is Verdict.NO
    assert got.figure("unsafe_starts").value == 1.0
    # The tip stands at -310, the top of the block at -300.
    assert rows(got)[2]["margin"] == pytest.approx(-10.0, abs=0.05)


def test_nothing_is_judged_behind_a_word_that_is_not_understood() -> None:
    got = asked(f"{HEAD}G0 Z100\nG777 X5\nG0 Z-50\nM30\n")
    assert got.verdict is Verdict.CANNOT_TELL
    assert "line 3" in got.headline
    assert 4 not in rows(got)


def test_a_crash_before_the_doubt_is_told_all_the_same() -> None:
    assert asked(f"{HEAD}G0 Z-50\nG777 X5\nM30\n").verdict is Verdict.NO


def test_end_of_travel_is_inside_and_beyond_is_told_once() -> None:
    assert asked(f"{HEAD}G0 Z100\nG0 X300\nG0 X0\n{BACK}").verdict is Verdict.YES
    got = asked(f"{HEAD}G0 Z100\nG0 X300.01\nG0 X0\n{BACK}")
    assert got.verdict is Verdict.NO
    assert [row[0] for row in got.table("beyond_travel").rows] == ["line 3"]


def test_tool_changes_are_judged_as_bodies() -> None:
    # T1 pulled down: tip at -210, the block's top at -300: 90 mm. T2: -290: 10 mm.
    got = asked(f"{HEAD}G0 Z200\nT2 M6\nG43 H2 G0 Z100\n{BACK_2}")
    assert rows(got)[3]["margin"] == pytest.approx(10.0, abs=0.01)
    assert got.verdict is Verdict.YES
    low = ('pull_down = "110 mm"', 'pull_down = "125 mm"')
    assert asked(f"{HEAD}G0 Z200\nT2 M6\nG43 H2 G0 Z100\n{BACK_2}", low).verdict is Verdict.NO


def test_beside_the_load_a_change_needs_the_arm() -> None:
    low = ('pull_down = "110 mm"', 'pull_down = "125 mm"')
    program = f"{HEAD}G0 Z200\nG0 X-290\nT2 M6\nG43 H2 G0 Z110\nM30\n"
    arm = (low[0], f'{low[1]}\narm_half_depth = "60 mm"\narm_half_width = "60 mm"')
    assert rows(asked(program, low))[4]["verdict"] == "crash"
    assert rows(asked(program, arm))[4]["verdict"] == "clear"


def test_without_the_pull_down_a_change_is_not_judged() -> None:
    got = asked(f"{HEAD}G0 Z200\nT2 M6\nG43 H2 G0 Z100\nM30\n", ('pull_down = "110 mm"\n', ""))
    assert got.verdict is Verdict.CANNOT_TELL
    assert any("pull_down" in missing.where for missing in got.missing)


def test_the_next_run_starts_where_this_one_ends() -> None:
    # Behind the upright block there is room; tilted to A60 it leans over just that place.
    program = f"{HEAD}G0 Z200\nG0 X0 Y100\nG0 Z-80\nG0 Z200\nG0 A60\nM30\n"
    got = asked(program)
    assert got.figure("unsafe_ends").value == 1.0
    assert got.verdict is Verdict.NO
    assert got.table("next_run").rows
    assert asked(program.replace("G0 A60\n", "G0 A60\nG0 A0\n")).verdict is Verdict.YES


def test_what_was_proven_is_kept_and_anything_used_makes_it_new() -> None:
    memory = Memory()
    program = f"{HEAD}G0 Z200\nG0 Z7\n{BACK}"
    first = asked(program, keep=memory)
    again = asked(program, keep=memory)
    assert memory.loads[0] is False and memory.loads[-1] is True
    assert dataclasses.replace(again, cautions=()) == dataclasses.replace(first, cautions=())
    for changed in (
        ('clearance = "1 mm"', 'clearance = "2 mm"'),
        ('half_width = "40 mm"', 'half_width = "40.1 mm"'),
        ('length = "100 mm"', 'length = "100.1 mm"'),
        ('centre_x = "-300 mm"', 'centre_x = "-300.1 mm"'),
        ('rapids = "straight"', 'rapids = "each axis alone"'),
    ):
        asked(program, changed, keep=memory)
        assert memory.loads[-1] is False, changed
    asked(program.replace("Z7", "Z7.1"), keep=memory)
    assert memory.loads[-1] is False


def test_half_a_file_of_proofs_is_not_believed() -> None:
    memory = Memory()
    program = f"{HEAD}G0 Z200\nG0 Z-7\n{BACK}"
    first = asked(program, keep=memory)
    for key, data in list(memory.held.items()):
        memory.held[key] = data[: len(data) // 2]
    assert asked(program, keep=memory).verdict == first.verdict


def test_cancelled_is_told_and_goes_on_later() -> None:
    memory = Memory()
    # The tool change parts the motion into two slices.
    program = f"{HEAD}G0 Z200\nT2 M6\nG43 H2 G0 Z100\n{BACK_2}"
    stopped = asked(program, keep=memory, stop=True)
    assert stopped.verdict is Verdict.CANNOT_TELL
    assert "stopped" in stopped.headline
    assert asked(program, keep=memory).verdict is Verdict.YES


def test_without_a_program_it_says_how_to_ask() -> None:
    got = ask(Findings(cell()))
    assert got.verdict is Verdict.CANNOT_TELL
    assert "gudgeon ask clears PROGRAM CELL" in got.next_step


def test_a_long_program_is_proven_in_chunks_and_its_tightest_block_is_found() -> None:
    lines = [HEAD, "G0 Z100"]
    for k in range(1500):
        turn = 0.05 * k
        dip = 2.5 if k == 777 else 20.0 + 5.0 * math.sin(turn)
        lines.append(f"G1 X{30 * math.cos(turn):.3f} Y{30 * math.sin(turn):.3f} Z{dip:.3f} F900")
    text = "\n".join(lines) + "\n" + BACK
    got = asked(text)
    assert got.verdict is Verdict.YES
    # The flutes may cut, the rapids may not: the tightest gap is none of a flute in stock.
    smallest = got.figure("smallest_margin").value
    assert smallest is not None and smallest > 1.0
    crash = "\n".join([*lines[:700], "G0 Z-3", *lines[700:]]) + "\n" + BACK
    # Right behind a feed the flutes stand in what they cut; deeper than that a rapid may not go.
    found = [row for row in rows(asked(crash)).values() if row["motion"] == "rapid"]
    assert "crash" in {str(row["verdict"]) for row in found}
