"""Question fits: acceptance figures, laws of placing, and what is said when something lacks."""

from __future__ import annotations

import math
import tomllib
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load, load_text
from gudgeon.cell.model import Cell
from gudgeon.findings import Findings
from gudgeon.quantity.amount import Amount
from gudgeon.questions import changes, fits

CASES = Path(__file__).parents[1] / "cases"

BASE = """
[machine]
layout = "moving table"
travel_x = ["-762 mm", "0 mm"]
travel_y = ["-406 mm", "0 mm"]
travel_z = ["-508 mm", "0 mm"]
gauge_to_table = "620 mm"
table_x = ["-850 mm", "90 mm"]
table_y = ["-420 mm", "10 mm"]
slots_along = "X"
slot_positions = ["-330 mm", "-205 mm", "-80 mm"]
guard_right = "654 mm"
guard_left = "640 mm"
column_behind = "497 mm"
door_front = "600 mm"
margin_x = "20 mm"
margin_y = "25 mm"

[machine.changer]
y = "0 mm"
z = "0 mm"
arm_half_depth = "95 mm"
pull_down = "105 mm"

[unit]
kind = "tilt and rotary"
tilt_range = ["-95 deg", "100 deg"]
tilt_axis_height = "215 mm"
face_height = "25 mm"
axis_offset = "0 mm"
body_right = "330 mm"
body_left = "230 mm"
body_rear = "110 mm"
body_front = "110 mm"
lug_rows = ["-50 mm", "0 mm", "50 mm"]
lug_play = "0 mm"

[[unit.boxes]]
name = "tilt motor"
x = ["230 mm", "330 mm"]
y = ["-60 mm", "20 mm"]
z = ["-60 mm", "140 mm"]
turns_with = "base"

[[unit.hoses]]
name = "drive cable"
connector_y = "90 mm"
anchor_y = "15 mm"
free_length = "60 mm"

[unit.flange]
pitch_circle = "150 mm"
holes = ["0 deg", "120 deg", "240 deg"]
pilot_diameter = "50.02 mm"
pilot_kind = "bore"
pilot_depth = "12 mm"

[placement]
tilt_along = "X"
yaws = ["0 deg"]
centre_x = "-381 mm"
centre_y = "-130 mm"
riser = "0 mm"
reach_x = "150 mm"
reach_y = "120 mm"
clearance = "0 mm"

[fixture]
shape = "cylinder"
radius = "195 mm"
bottom = "0 mm"
height = "44.87 mm"
min_web = "6 mm"

[fixture.flange]
pitch_circle = "150 mm"
holes = ["0 deg", "120 deg", "240 deg"]
hole_diameter = "13.5 mm"
pilot_diameter = "50 mm"
pilot_kind = "boss"
pilot_depth = "8 mm"

[fixture.bolts]
size = "M12"

[[tools]]
number = 1
length = "185 mm"

[control]
tilt_letter = "A"
rotary_letter = "C"
tilt_sense = -1
rotary_sense = -1
"""


def cell(*changes: tuple[str, str]) -> Cell:
    """Return the base cell with lines of its text replaced."""
    text = BASE
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return loaded.cell


def ask(*changes: tuple[str, str]) -> Answer:
    return fits.answer(Findings(cell(*changes)))


def case(number: int) -> Answer:
    loaded = load(CASES / f"case-{number}.toml")
    assert loaded.cell is not None
    return fits.answer(Findings(loaded.cell))


def expected(number: int) -> dict[str, dict[str, Any]]:
    data = tomllib.loads((CASES / f"expected-{number}.toml").read_text(encoding="utf-8"))
    return {row["id"]: row for row in data["expect"]}


def column(answer: Answer, table: str, name: str) -> list[Any]:
    found = answer.table(table)
    index = [head.name for head in found.columns].index(name)
    return [row[index] for row in found.rows]


# --- acceptance figures --------------------------------------------------------------------------


def test_case_1_only_one_of_nine_places_works() -> None:
    answer, want = case(1), expected(1)
    got = dict(
        zip(
            column(answer, "placements", "offset"),
            column(answer, "placements", "reasons"),
            strict=True,
        )
    )
    wanted = {
        float(key.removeprefix("placement.offset_")): ", ".join(row["value"])
        for key, row in want.items()
        if key.startswith("placement.offset_")
    }
    assert got == wanted
    assert [o for o, r in got.items() if r == "ok"] == want["placement.only_offset"]["value"]


def test_case_1_safe_travel_and_tool_change() -> None:
    answer, want = case(1), expected(1)
    for name, key in (
        ("safe_x_min", "safe.x_min"),
        ("safe_x_max", "safe.x_max"),
        ("safe_y_min", "safe.y_min"),
        ("safe_y_max", "safe.y_max"),
        ("tool_change_tip", "tool_change.tip_lowest_z"),
        ("tool_change_flat", "tool_change.flat_clearance"),
        ("tool_change_upright", "tool_change.upright_clearance"),
    ):
        assert_allclose(answer.figure(name).value, want[key]["value"], atol=want[key]["tol"])
    assert answer.verdict is Verdict.YES_IF
    rows = zip(
        column(answer, "tool_change", "tilt"), column(answer, "tool_change", "allowed"), strict=True
    )
    # tests/cases/expected-1.toml, tool_change.allowed_poses, of A0 and A90; at A-90 the load hangs
    # beside the spindle line: `changes` proves it.
    assert {tilt for tilt, allowed in rows if allowed == "yes"} == {-90.0, 0.0}
    assert answer.figure("stations_reached").value == 4.0


def test_case_4_flange() -> None:
    answer, want = case(4), expected(4)
    for name, key in (
        ("flange_angle_play", "flange.angle_play"),
        ("flange_bolts_matching", "flange.bolts_matching"),
        ("redrill_centres", "flange.redrill_centres"),
        ("redrill_web", "flange.redrill_web"),
    ):
        assert_allclose(answer.figure(name).value, want[key]["value"], atol=want[key]["tol"])
    assert_allclose(
        column(answer, "flange", "clocking"), want["flange.clockings"]["value"], atol=0.1
    )
    assert column(answer, "flange", "platter_holes") == ["0, 120, 240", "50, 170, 290"]
    loaded = load(CASES / "case-4.toml")
    assert loaded.cell is not None
    match = Findings(loaded.cell).flange_match
    assert match.redrill_possible is want["flange.redrill_possible"]["value"]
    # Nothing is known of the table, so the place stays open, the flange is answered.
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "3 of 6" in answer.headline


def test_case_5_heights_and_tool_changes() -> None:
    """The case's "flat" is the lying tower, tilt 90; the platter then stands upright."""
    answer, want = case(5), expected(5)
    for name, key in (
        ("highest_flat", "height.upright_A0"),
        ("highest_upright", "height.flat_A90"),
        ("equal_height_tilt", "height.equal_end_tilt"),
        ("highest_on_the_way", "height.peak_on_path"),
        ("peak_tilt", "height.peak_at_tilt"),
        ("highest_upright_turning", "height.flat_turning_C"),
        ("tool_change_upright_turning", "tool_change.T2.flat_while_C_turns"),
    ):
        assert_allclose(answer.figure(name).value, want[key]["value"], atol=want[key]["tol"])
    rows = answer.table("tool_change").rows
    for tool in ("T1", "T2", "T3"):
        for pose, key in (("flat", "upright"), ("upright", "flat")):
            (room,) = {r[5] for r in rows if r[0] == tool and r[2] == pose and r[4] != "turning"}
            assert_allclose(room, want[f"tool_change.{tool}.{key}"]["value"], atol=0.1)


# --- one condition at a time ---------------------------------------------------------------------


def test_the_base_cell_fits_if_tools_are_changed_where_it_is_proven() -> None:
    answer = ask()
    assert answer.verdict is Verdict.YES_IF
    proven = "the unit at A -14 to 71.3 or A -95 to -72.5 deg, any turn"
    assert f"tools are changed with {proven}" in answer.headline
    assert f"tools are changed with {proven}" in answer.next_step
    assert "only" not in answer.headline
    assert answer.missing == ()
    assert answer.fix == "Use a T1 shorter by 80.01 mm: then it may be changed at tilt 90 deg too."
    told = changes.answer(Findings(cell()))
    assert proven.removeprefix("the unit at ") in told.headline
    assert answer.table("ranges") == told.table("ranges")


def test_where_no_place_is_entered_the_heights_say_where_tools_are_changed() -> None:
    answer = ask(('centre_x = "-381 mm"\ncentre_y = "-130 mm"\n', ""))
    assert "flat (tilt 0 deg) only" in answer.headline
    assert (
        answer.fix
        == "Keep every tool shorter than 105.0 mm: then tools may be changed in every pose."
    )


UPRIGHT = (
    ('pull_down = "105 mm"', 'pull_down = "0 mm"'),
    (
        "[control]",
        '[[parts]]\nname = "p"\n[[parts.faces]]\nname = "f"\nzero = ["0 mm", "0 mm", "0 mm"]\n'
        'pose = ["90 deg", "0 deg"]\n[[stations]]\nat = ["0 mm", "0 mm", "0 mm"]\n[control]',
    ),
)
"""One face, cut with the platter upright."""


@pytest.mark.parametrize(
    ("reason", "change"),
    [
        ("travel", ('reach_y = "120 mm"', 'reach_y = "131 mm"')),
        ("travel", ('travel_x = ["-762 mm"', 'travel_x = ["-530 mm"')),
        ("cable", ('free_length = "60 mm"', 'free_length = "54 mm"')),
        ("slots", ('centre_y = "-130 mm"', 'centre_y = "-131 mm"')),
        ("table edge", ('table_y = ["-420 mm", "10 mm"]', 'table_y = ["-420 mm", "-21 mm"]')),
        ("table edge", ('table_x = ["-850 mm", "90 mm"]', 'table_x = ["-850 mm", "-52 mm"]')),
        # Needed X from -531 on; the right end at -51 may come to 654 - 20 from the spindle line.
        ("guard", ('guard_right = "654 mm"', 'guard_right = "499 mm"')),
        ("guard", ('guard_left = "640 mm"', 'guard_left = "399 mm"')),
        # Needed Y from -250; the swept load reaches 207.138 behind the tilt axis.
        ("guard", ('column_behind = "497 mm"', 'column_behind = "351.138 mm"')),
        ("guard", ('door_front = "600 mm"', 'door_front = "361.138 mm"')),
        # Top of Z less tool against the load upright: 620 - 185 - (215 + 195) = 25.
        ("head room", ('clearance = "0 mm"', 'clearance = "26 mm"')),
        ("head room", ('arm_half_depth = "95 mm"', 'arm_half_depth = "111 mm"')),
    ],
)
def test_each_condition_breaks_at_its_own_limit(reason, change) -> None:
    """One millimetre beyond the limit is not good, and is told by that millimetre."""
    answer = ask(*([change] if "clearance" not in change[0] else [change, *UPRIGHT]))
    worst = min(row[2] for row in answer.table("conditions").rows if row[0] == reason)
    assert_allclose(worst, -1.0, atol=2e-3)
    assert answer.verdict is Verdict.NO
    broken = {row[0] for row in answer.table("conditions").rows if row[4] == "no"}
    assert broken == {reason}


def test_exactly_on_a_limit_is_inside() -> None:
    answer = ask(('reach_y = "120 mm"', 'reach_y = "130 mm"'))
    assert answer.figure("least_margin").value == 0.0
    assert answer.verdict is Verdict.YES_IF


def test_a_place_that_does_not_work_names_the_nearest_that_does() -> None:
    answer = ask(('centre_y = "-130 mm"', 'centre_y = "-205 mm"'))
    assert answer.verdict is Verdict.NO
    assert "drive cable is 70.000 mm too short" in answer.headline
    assert answer.fix is not None and "Y -130.000 mm" in answer.fix
    assert answer.next_step == answer.fix


def test_if_no_place_works_the_least_change_is_named() -> None:
    answer = ask(('free_length = "60 mm"', 'free_length = "30 mm"'))
    assert answer.verdict is Verdict.NO
    assert answer.fix is not None and "25.000 mm more free length" in answer.fix


def test_without_a_declared_place_the_best_seat_is_judged() -> None:
    answer = ask(('centre_x = "-381 mm"\ncentre_y = "-130 mm"\n', ""))
    assert answer.verdict is Verdict.YES_IF
    assert answer.figure("offset").value == 75.0
    assert any("best seat" in text for text in answer.assumed)
    # Along the slots every bound counts; the middle of what is left is taken.
    room = Findings(cell(('centre_x = "-381 mm"\ncentre_y = "-130 mm"\n', ""))).places.places[0]
    low, high = room.room[0]
    assert_allclose(answer.figure("centre_x").value, (low + high) / 2.0)


def test_room_along_the_slots_is_exact() -> None:
    """Travel asks for -612 .. -150, the table for -620 .. -240: the middle is -426."""
    findings = Findings(cell(('centre_x = "-381 mm"\n', "")))
    (place, *_) = findings.places.places
    assert_allclose(place.room, [(-612.0, -240.0)])
    assert_allclose(place.x_mm, -426.0)


def test_a_slide_along_the_slot_mends_a_declared_place() -> None:
    answer = ask(('centre_x = "-381 mm"', 'centre_x = "-200 mm"'))
    assert answer.verdict is Verdict.NO
    assert answer.fix is not None and "X -426.000 mm" in answer.fix


def test_uncertainty_across_a_limit_is_not_decided() -> None:
    answer = ask(('free_length = "60 mm"', 'free_length = "56 mm"'),
                 ('centre_y = "-130 mm"', 'centre_y = "-130 mm +- 2 mm"'),
                 ('lug_play = "0 mm"', 'lug_play = "5 mm"'))  # fmt: skip
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "placement.centre_y" in answer.missing[0].where
    (row,) = [row for row in answer.table("conditions").rows if row[0] == "cable"]
    assert_allclose([row[2], row[3]], [1.0, 2.0])


def test_uncertainty_of_heights_follows_the_slopes() -> None:
    """Face height +-0.2: flat by as much, the swept rim by 0.2 x 69.87 / 207.14."""
    answer = ask(('face_height = "25 mm"', 'face_height = "25 mm +- 0.2 mm"'))
    assert_allclose(answer.figure("highest_flat").plus_minus, 0.2)
    share = 69.87 / math.hypot(195.0, 69.87)
    assert_allclose(answer.figure("safe_y_min").plus_minus, 0.2 * share, rtol=1e-3)


# --- flange --------------------------------------------------------------------------------------

EVEN = 'holes = ["0 deg", "120 deg", "240 deg"]\nhole_diameter'


@pytest.mark.parametrize(
    ("change", "verdict", "words"),
    [
        ((EVEN, EVEN.replace("120", "130").replace("240", "255")), Verdict.NO, "1 of 3 bolts"),
        (('"50 mm"\npilot_kind = "boss"', '"50.1 mm"\npilot_kind = "boss"'), Verdict.NO, "bigger"),
        (
            ('"50 mm"\npilot_kind = "boss"', '"49 mm"\npilot_kind = "boss"'),
            Verdict.YES_IF,
            "indicator",
        ),
        (('pilot_depth = "8 mm"', 'pilot_depth = "14 mm"'), Verdict.NO, "longer than its bore"),
        (('pilot_kind = "boss"', 'pilot_kind = "bore"'), Verdict.YES_IF, "a plug centres"),
        (('pilot_kind = "bore"', 'pilot_kind = "boss"'), Verdict.NO, "both pilots are bosses"),
        ((EVEN, EVEN.replace("0 deg", "5 deg", 1)), Verdict.NO, "bolts of the flange"),
    ],
)
def test_flanges_that_do_not_simply_match(change, verdict, words) -> None:
    answer = ask(change)
    assert answer.verdict is verdict
    assert words in answer.headline + answer.next_step


def test_a_turned_pattern_asks_for_its_clocking() -> None:
    turned = EVEN.replace("240", "270").replace("120", "150").replace('"0 deg"', '"30 deg"')
    answer = ask((EVEN, turned))
    assert answer.verdict is Verdict.YES_IF
    assert_allclose(answer.figure("flange_clocking").value, 90.0)
    assert "clocked to 90 deg" in answer.headline
    # Once the clocking is entered, nothing is left to say about it.
    answer = ask((EVEN, turned), ('min_web = "6 mm"', 'min_web = "6 mm"\nclocking = "90 deg"'))
    assert "clocked" not in answer.headline + answer.next_step
    assert answer.figure("flange_bolts_here").value == 3.0


def test_a_declared_clocking_counts_for_the_joint() -> None:
    loaded = load(CASES / "case-4.toml").cell
    assert loaded is not None
    turned = replace(loaded, fixture=replace(loaded.fixture, clocking=Amount(math.radians(20.0))))
    match = Findings(turned).flange_match
    assert (match.bolts_matching, match.bolts_here) == (3, 0)


def test_clearance_holes_on_both_sides_add_their_play() -> None:
    one = ask().figure("flange_angle_play").value
    two = ask(('pitch_circle = "150 mm"', 'pitch_circle = "150 mm"\nhole_diameter = "13.5 mm"'))
    assert one is not None
    assert_allclose(two.figure("flange_angle_play").value, 2.0 * one, rtol=1e-4)


# --- tool changes --------------------------------------------------------------------------------


def test_no_restriction_where_none_is_needed() -> None:
    """Tip at 620 - 185 - 10 = 425 over a peak of 422.1; 10 lower only flat and upright are free."""
    low = ask(('pull_down = "105 mm"', 'pull_down = "20 mm"'))
    assert low.verdict is Verdict.YES_IF
    assert "with the unit at A -55.1 to 79.7, A -95 to -64 or A 85.4 to 100 deg" in low.headline
    answer = ask(('pull_down = "105 mm"', 'pull_down = "10 mm"'))
    assert answer.verdict is Verdict.YES
    assert answer.fix is None
    assert any("every tilt and turn" in text for text in answer.assumed)
    assert not any("only" in text for text in (answer.headline, answer.next_step))


def test_a_changer_clear_of_the_load_needs_no_restriction() -> None:
    """The load sweeps 207 behind the tilt axis at -280: it ends at -73, the zone begins at -50."""
    answer = ask(
        ('arm_half_depth = "95 mm"', 'arm_half_depth = "50 mm"'),
        ('centre_y = "-130 mm"', 'centre_y = "-280 mm"'),
        ('free_length = "60 mm"', 'free_length = "600 mm"'),
    )
    assert answer.verdict is Verdict.YES
    assert set(column(answer, "tool_change", "allowed")) == {"yes"}
    assert answer.figure("tool_change_upright").value == pytest.approx(-80.0)


def test_a_changer_that_moves_nothing_works_beside_the_motor() -> None:
    still = ('y = "0 mm"\nz = "0 mm"\narm_half_depth = "95 mm"', 'z = "0 mm"')
    proven = ask(still)
    assert proven.verdict is Verdict.YES_IF
    assert "with the spindle at X -381.000 mm, Y -406.000 mm" in proven.next_step
    assert "Y -406.000 mm" in changes.answer(Findings(cell(still))).headline
    # By the heights alone, where no place is entered for a proof:
    answer = ask(still, ('centre_x = "-381 mm"\ncentre_y = "-130 mm"\n', ""))
    assert answer.verdict is Verdict.YES_IF
    assert "clear of tilt motor" in answer.next_step
    assert "25.000 mm into it" in answer.next_step  # -405 + 140 against -290


def test_a_tilt_that_passes_under_the_spindle_too_high_is_told() -> None:
    """Peak 422.1 over the table; 620 - 422.1 = 197.9 is left for a tool."""
    assert "beside the load" not in ask().next_step
    answer = ask(('length = "185 mm"', 'length = "199 mm"'))
    assert "beside the load while it tilts" in answer.next_step
    assert "197.8 mm" in answer.next_step  # 197.89: a limit is rounded to the safe side


# --- half-known input ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("removed", "where", "verdict"),
    [
        ('travel_x = ["-762 mm", "0 mm"]\n', "machine.travel_x", Verdict.CANNOT_TELL),
        ('travel_z = ["-508 mm", "0 mm"]\n', "machine.travel_z", Verdict.CANNOT_TELL),
        ('reach_x = "150 mm"\n', "placement.reach_x", Verdict.CANNOT_TELL),
        ('face_height = "25 mm"\n', "unit.face_height", Verdict.CANNOT_TELL),
        ('height = "44.87 mm"\n', "fixture.height", Verdict.CANNOT_TELL),
        ('[[tools]]\nnumber = 1\nlength = "185 mm"\n', "tools", Verdict.CANNOT_TELL),
        ('tilt_axis_height = "215 mm"\n', "unit.tilt_axis_height", Verdict.CANNOT_TELL),
        ('table_x = ["-850 mm", "90 mm"]\n', "machine.table_x", Verdict.YES_IF),
        ('body_rear = "110 mm"\n', "unit.body_rear", Verdict.YES_IF),
        ('hole_diameter = "13.5 mm"\n', "fixture.flange.hole_diameter", Verdict.CANNOT_TELL),
        ('free_length = "60 mm"\n', "unit.hoses.free_length", Verdict.YES_IF),
        ('slot_positions = ["-330 mm", "-205 mm", "-80 mm"]\n', "slot_positions", Verdict.YES_IF),
        ('lug_rows = ["-50 mm", "0 mm", "50 mm"]\n', "unit.lug_rows", Verdict.YES_IF),
        ('arm_half_depth = "95 mm"\n', "machine.changer.arm_half_depth", Verdict.CANNOT_TELL),
    ],
)  # fmt: skip
def test_what_lacks_is_told_and_never_passed(removed, where, verdict) -> None:
    answer = ask((removed, ""))
    assert any(item.where.endswith(where) for item in answer.missing), answer.missing
    assert answer.verdict is verdict
    assert all(item.how_to_get_it and item.why for item in answer.missing)
    if verdict is Verdict.CANNOT_TELL and answer.tables:
        assert "ok" not in column(answer, "placements", "reasons") or "flange" in where


def test_a_tool_change_that_is_not_known_is_a_condition_not_a_pass() -> None:
    changer = BASE[BASE.index("[machine.changer]") : BASE.index("[unit]")]
    motor = BASE[BASE.index("[[unit.boxes]]") : BASE.index("[[unit.hoses]]")]
    answer = ask((changer, ""), (motor, ""))
    assert answer.verdict is Verdict.YES_IF
    assert "proven clear by hand" in answer.headline
    assert any(item.where.endswith("machine.changer.z") for item in answer.missing)


def test_yaws_without_lugs_are_asked_for_not_refused() -> None:
    answer = ask(
        ('centre_x = "-381 mm"\ncentre_y = "-130 mm"\n', ""),
        ('yaws = ["0 deg"]', 'yaws = ["90 deg"]'),
    )
    assert answer.verdict is Verdict.CANNOT_TELL
    assert answer.missing[0].where.endswith("unit.lug_columns")


def test_an_unknown_sense_takes_the_worse_way() -> None:
    changes = (
        ("tilt_sense = -1\nrotary_sense = -1\n", ""),
        ('axis_offset = "0 mm"', 'axis_offset = "40 mm"'),
        ('tilt_range = ["-95 deg", "100 deg"]', 'tilt_range = ["0 deg", "60 deg"]'),
    )
    unknown = Findings(cell(*changes)).heights
    ways = []
    for sense in (1, -1):
        known = (("tilt_sense = -1", f"tilt_sense = {sense}"), *changes[1:])
        ways.append(Findings(cell(*known)).heights.way_mm)
    assert ways[0] != pytest.approx(ways[1])
    assert unknown.way_mm == pytest.approx(max(ways))


def test_an_empty_cell_names_what_to_enter_first() -> None:
    answer = fits.answer(Findings(Cell()))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert answer.missing
    assert answer.cautions == ()  # nothing is to be lifted yet


def test_a_single_rotary_axis_is_judged_too() -> None:
    answer = ask(
        ('kind = "tilt and rotary"', 'kind = "rotary only"'),
        ('face_height = "25 mm"\n', ""),
        ('tilt_range = ["-95 deg", "100 deg"]\n', ""),
        ('axis_offset = "0 mm"\n', ""),
        ('tilt_letter = "A"\nrotary_letter = "C"', 'rotary_letter = "A"'),
        ("tilt_sense = -1\n", ""),
        ('radius = "195 mm"', 'radius = "100 mm"'),
    )
    assert answer.verdict in (Verdict.YES, Verdict.YES_IF)
    assert_allclose(answer.figure("highest_on_the_way").value, 315.0)


# --- laws ----------------------------------------------------------------------------------------


def turned(one: Cell) -> Cell:
    """Turn the whole shop by +90 deg about Z: (x, y) -> (-y, x)."""
    m, p = one.machine, one.placement

    def flip(ends: Any) -> Any:
        return None if ends is None else (Amount(-ends[1].value), Amount(-ends[0].value))

    def minus(value: Any) -> Any:
        return None if value is None else Amount(-value.value)

    machine = replace(
        m,
        travel_x=flip(m.travel_y), travel_y=m.travel_x,
        table_x=flip(m.table_y), table_y=m.table_x,
        slots_along="Y", slot_positions=tuple(Amount(-s.value) for s in m.slot_positions),
        guard_right=m.door_front, column_behind=m.guard_right,
        guard_left=m.column_behind, door_front=m.guard_left,
        margin_x=m.margin_y, margin_y=m.margin_x,
        changer=replace(
            m.changer, x=minus(m.changer.y), y=m.changer.x,
            arm_half_width=m.changer.arm_half_depth, arm_half_depth=m.changer.arm_half_width,
        ),
    )  # fmt: skip
    quarter = math.pi / 2.0
    placement = replace(
        p,
        tilt_along="Y", yaw=Amount(quarter), yaws=tuple(Amount(y.value + quarter) for y in p.yaws),
        centre_x=minus(p.centre_y), centre_y=p.centre_x, reach_x=p.reach_y, reach_y=p.reach_x,
    )  # fmt: skip
    hoses = tuple(
        replace(hose, anchor_x=minus(hose.anchor_y), anchor_y=hose.anchor_x)
        for hose in one.unit.hoses
    )
    return replace(one, machine=machine, placement=placement, unit=replace(one.unit, hoses=hoses))


shifts = st.floats(-60.0, 60.0)


@given(shifts, shifts, st.floats(300.0, 700.0), st.floats(300.0, 700.0), st.floats(-40.0, 40.0),
       st.booleans(), st.booleans())  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_turning_the_whole_shop_changes_no_verdict(
    dx, dy, right, rear, offset, zeros, all_yaws
) -> None:
    base = cell(
        ("[control]", '[[parts]]\nname = "p"\n[[parts.faces]]\nname = "f"\n'
         'zero = ["30 mm", "7 mm", "0 mm"]\nnormal = "Y-"\n'
         '[[stations]]\nat = ["20 mm", "-45 mm", "11 mm"]\n[control]'),
        ('lug_play = "0 mm"', 'lug_columns = ["-90 mm", "35 mm"]\nlug_play = "0 mm"'),
    )  # fmt: skip
    placement = replace(
        base.placement,
        centre_x=Amount(-381.0 + dx), centre_y=Amount(-205.0 + dy),
        reach_x=None if zeros else base.placement.reach_x,
        reach_y=None if zeros else base.placement.reach_y,
        yaws=() if all_yaws else base.placement.yaws,
    )  # fmt: skip
    machine = replace(base.machine, guard_right=Amount(right), column_behind=Amount(rear))
    unit = replace(base.unit, axis_offset=Amount(offset))
    one = Findings(replace(base, placement=placement, machine=machine, unit=unit))
    two = Findings(turned(one.cell))

    a, b = one.declared_place, two.declared_place
    assert a is not None and b is not None
    assert a.reasons == b.reasons
    assert_allclose(
        sorted(m.margin_mm for m in a.margins), sorted(m.margin_mm for m in b.margins), atol=1e-6
    )
    assert a.safe.x is not None and b.safe.y is not None
    assert a.safe.y is not None and b.safe.x is not None
    assert_allclose(b.safe.y, a.safe.x, atol=1e-6)
    assert_allclose(b.safe.x, (-a.safe.y[1], -a.safe.y[0]), atol=1e-6)

    def facts(findings: Findings) -> list[Any]:
        return sorted(
            (p.reasons, p.stations, round(p.tightest.margin_mm, 5) if p.tightest else 0.0)
            for p in findings.places.places
        )

    assert facts(one) == facts(two)


def test_guards_that_stay_put_are_judged_where_the_unit_stands() -> None:
    """Moving column: right end at -51, wall at +654 of the spindle line at X 0: no limit."""
    answer = ask(('layout = "moving table"', 'layout = "moving column"'))
    assert answer.figure("safe_x_min").value == -762.0
    assert_allclose(answer.figure("safe_y_min").value, -394.862, atol=3e-3)
    rows = {row[1]: row[2] for row in answer.table("conditions").rows}
    assert_allclose(rows["right guard"], 654.0 - 20.0 + 51.0)
    assert any("does not come nearer" in text for text in answer.assumed)


def test_zeros_stand_where_the_unit_is_turned_to() -> None:
    """Half a turn of the unit mirrors needed travel; senses stay with the unit."""
    extra = (
        ("[control]", '[[parts]]\nname = "p"\n[[parts.faces]]\nname = "f"\n'
         'zero = ["0 mm", "0 mm", "0 mm"]\npose = ["90 deg", "0 deg"]\n'
         '[[stations]]\nat = ["40 mm", "15 mm", "5 mm"]\n[control]'),
        ('reach_x = "150 mm"\nreach_y = "120 mm"\n', ""),
    )  # fmt: skip
    findings = Findings(cell(*extra))
    straight, back = findings.needs(0.0), findings.needs(math.pi)
    assert straight[0] is not None and straight[1] is not None
    assert back[0] is not None and back[1] is not None
    # Tilt +90 with sense -1 turns the work by -90 about x: (15, 25 + 5) -> y = 30, z = -15.
    assert_allclose((straight[0].low_mm, straight[1].low_mm), (40.0, 30.0), atol=1e-9)
    assert_allclose((back[0].low_mm, back[1].low_mm), (-40.0, -30.0), atol=1e-9)
    assert_allclose(findings.zeros_on_unit[0].point_mm[2], -15.0, atol=1e-9)
    # A quarter turn takes (40, 30) to (-30, 40).
    quarter = findings.needs(math.pi / 2.0)
    assert quarter[0] is not None and quarter[1] is not None
    assert_allclose((quarter[0].low_mm, quarter[1].low_mm), (-30.0, 40.0), atol=1e-9)


def test_a_sense_is_about_the_machine_axis_not_about_the_turned_unit() -> None:
    """Yaw 180: the unit's x is machine -X, so sense -1 about X is +1 about the unit's own x."""
    findings = Findings(
        cell(
            ('tilt_along = "X"', 'tilt_along = "X"\nyaw = "180 deg"'),
            (
                "[control]",
                '[[parts]]\nname = "p"\n[[parts.faces]]\nname = "f"\n'
                'zero = ["0 mm", "0 mm", "0 mm"]\npose = ["90 deg", "0 deg"]\n'
                '[[stations]]\nat = ["40 mm", "15 mm", "5 mm"]\n[control]',
            ),
        )
    )
    assert findings.unit_senses == (1, -1)
    # In T at zero: (40, 15, 30); work turned by -90 about X: y = 30, z = -15.
    assert_allclose(findings.zeros_on_unit[0].point_mm, (40.0, 30.0, -15.0), atol=1e-9)


def test_an_axis_offset_moves_tilt_line_and_sweep() -> None:
    """The tilt line stands at unit y = -40: the rims stand at -155 and 235 from it."""
    change = (
        ('axis_offset = "0 mm"', 'axis_offset = "40 mm"'),
        ('tilt_range = ["-95 deg", "100 deg"]', 'tilt_range = ["-180 deg", "180 deg"]'),
    )
    findings = Findings(cell(*change))
    extent = findings.load_extent
    rim = math.hypot(235.0, 69.87)
    assert_allclose((extent.rear, extent.front), (rim - 40.0, rim + 40.0))
    place = findings.declared_place
    assert place is not None
    assert (place.tilt_mm, place.offset_mm) == (-170.0, 35.0)
    across = Findings(cell(*change, ('tilt_along = "X"', 'tilt_along = "Y"'))).declared_place
    assert across is not None
    assert across.tilt_mm == -381.0 + 40.0
    assert across.offset_mm == -130.0 + 205.0  # the tilt line lies across the slots


def test_the_range_of_tilt_follows_the_sense() -> None:
    """Programmed 0 to 60, sense -1: the front rim at -155 rises, at 60 it is the highest."""
    findings = Findings(
        cell(
            ('axis_offset = "0 mm"', 'axis_offset = "40 mm"'),
            ('tilt_range = ["-95 deg", "100 deg"]', 'tilt_range = ["0 deg", "60 deg"]'),
        )
    )
    sixty = math.radians(60.0)
    want = 215.0 + 69.87 * math.cos(sixty) + 155.0 * math.sin(sixty)
    assert_allclose((findings.heights.any_mm, findings.heights.way_mm), want)
    assert_allclose(findings.heights.peak_tilt_rad, sixty)


def test_approach_is_added_to_the_zeros() -> None:
    """One zero at machine (-341, -100); the travel begins 330 left of and ends 10 above it."""
    changes = (
        ("[control]", '[[parts]]\nname = "p"\n[[parts.faces]]\nname = "f"\n'
         'zero = ["0 mm", "0 mm", "0 mm"]\npose = ["90 deg", "0 deg"]\n'
         '[[stations]]\nat = ["40 mm", "15 mm", "5 mm"]\n[control]'),
    )  # fmt: skip
    just = ('reach_x = "150 mm"\nreach_y = "120 mm"\n', 'approach = "100 mm"\n')
    over = (just[0], 'approach = "101 mm"\n')
    good, bad = ask(*changes, just), ask(*changes, over)
    assert good.figure("stations_reached").value == 1.0
    assert bad.figure("stations_reached").value == 0.0
    assert good.figure("least_margin").value == pytest.approx(0.0, abs=1e-9)
    (row,) = [row for row in bad.table("conditions").rows if row[4] == "no"]
    assert_allclose(row[2], -1.0)
    assert "highest Y needed" in row[1]


def test_pictures_are_drawings_that_parse() -> None:
    for answer in (ask(), case(1), case(4), case(5)):
        for picture in answer.pictures:
            ET.fromstring(picture.svg)
    assert [picture.name for picture in ask().pictures] == [
        "table_plan",
        "flange_match",
        "tilt_side",
    ]


def test_an_inch_shop_reads_inches() -> None:
    loaded = load_text('[shop]\nunits = "in"\n' + BASE)
    assert loaded.cell is not None
    answer = fits.answer(Findings(loaded.cell))
    assert answer.figure("centre_x").unit == "in"
    assert_allclose(answer.figure("centre_x").value, -15.0)
    assert " mm" not in answer.headline + answer.next_step + (answer.fix or "")


def test_the_answer_is_plain_ascii() -> None:
    for answer in (ask(), case(1), case(4), case(5)):
        text = " ".join((answer.headline, answer.next_step, *answer.assumed, *answer.cautions))
        assert text.isascii()
