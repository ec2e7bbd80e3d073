"""More whole cases of our own: other layouts, units, yaws and edges, each with figures by hand.

The expected figures come from the formula of the cases' conventions (pose matrices written out by
hand), from closed forms, or from brute force over all poses, none of them from this project.
"""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.findings import Findings
from gudgeon.questions import find_questions

HERE = Path(__file__).parent
CASE_1 = (HERE / "case-1.toml").read_text(encoding="utf-8")
CASE_5 = (HERE / "case-5.toml").read_text(encoding="utf-8")
TOUCHES = (HERE / "case-1-readings.csv").read_text(encoding="utf-8")


@functools.cache
def ask(question: str, cell: str) -> Answer:
    loaded = load(HERE / f"own-{cell}.toml")
    assert loaded.cell is not None
    assert all(fault.level == "warning" for fault in loaded.faults)
    return find_questions()[question].answer(Findings(loaded.cell))


def ask_text(folder: Path, question: str, text: str, touches: str = TOUCHES) -> Answer:
    """Ask about a case that was changed."""
    (folder / "cell.toml").write_text(text, encoding="utf-8")
    (folder / "case-1-readings.csv").write_text(touches, encoding="utf-8")
    loaded = load(folder / "cell.toml")
    assert loaded.cell is not None, loaded.faults
    return find_questions()[question].answer(Findings(loaded.cell))


def changed(text: str, *pairs: tuple[str, str]) -> str:
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return text


def rows(answer: Answer, table: str) -> list[dict[str, Any]]:
    found = answer.table(table)
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.rows]


def value(answer: Answer, name: str) -> float:
    found = answer.figure(name).value
    assert found is not None
    return found


# --- inches, tilt along Y called A, yaw 270 deg, moving column, touches without radius ----------


@pytest.mark.parametrize(
    ("name", "inches", "u"),
    [
        ("tilt_x", -14.9, 0.5**0.5),
        ("tilt_z", -16.2, 1.5**0.5),
        ("platter_x", -14.868, 0.5),
        ("platter_y", -8.037, 0.5),
        ("axis_offset", 0.032, 0.75**0.5),  # rotary minus tilt line, along X
        ("face_height", -1.1, 0.5**0.5),
    ],
)
def test_lines_of_a_tilt_along_y(name: str, inches: float, u: float) -> None:
    """Half sums and half differences of touches that are sure to 0.0001 in."""
    figure = ask("turns", "inch-along-y").figure(name)
    assert figure.value == pytest.approx(inches, abs=1e-6)
    assert figure.plus_minus == pytest.approx(2.0 * u * 1e-4, rel=1e-3)


@pytest.mark.parametrize(
    ("face", "tilt", "turn", "place"),
    [
        ("top", 0.0, 0.0, (-13.951975, -7.870013, -16.05)),
        ("left", 90.0, 90.0, (-15.25, -9.153025, -15.298987)),
        ("slant", 45.0, 200.0, (-16.547081, -7.376224, -15.047894)),
    ],
)
def test_offsets_of_a_tilt_along_y(
    face: str, tilt: float, turn: float, place: tuple[float, ...]
) -> None:
    """Zero = c + Ry(tilt) [Rz(-turn) w + (0.032, 0, -1.1)], w turned by its seat."""
    [row] = [r for r in rows(ask("offsets", "inch-along-y"), "offsets") if r["face"] == face]
    assert (row["tilt"], row["turn"]) == pytest.approx((tilt, turn))
    assert [row[axis] for axis in "xyz"] == pytest.approx(place, abs=2e-6)


def test_limits_of_a_unit_turned_by_270_deg_before_a_travelling_column() -> None:
    """Its left side shows to the rear: -8.04 + 13 + 1 - 19.5; a column carries no guard in X."""
    fits = ask("fits", "inch-along-y")
    limits = [value(fits, f"safe_{name}") for name in ("x_min", "x_max", "y_min", "y_max")]
    assert limits == pytest.approx([-30.0, 0.0, -13.54, 0.0], abs=1e-6)


def test_tool_changes_over_a_clocked_square_tower() -> None:
    """Corners turned by clocking, turn and tilt; the face height is the touched one."""
    found = {
        (row["tilt"], row["turn"]): (row["clearance"], row["allowed"])
        for row in rows(ask("fits", "inch-along-y"), "tool_change")
    }
    assert found[0.0, "0 deg, 90 deg, 200 deg"] == (pytest.approx(0.6, abs=1e-6), "yes")
    assert found[90.0, "200 deg"] == (pytest.approx(1.556632, abs=2e-6), "yes")
    assert found[-90.0, "turning"] == (pytest.approx(0.725359, abs=2e-6), "yes")
    assert found[45.0, "200 deg"] == (pytest.approx(-0.546099, abs=2e-6), "no")


# --- tall tower on a bridge mill, face below the axis, rotary line beside the tilt line ----------


def test_safe_travel_on_a_bridge() -> None:
    """The table makes X: -450 + 310 + 15 - 700 and -450 - 280 - 15 + 690; the head makes Y."""
    fits = ask("fits", "tower-on-bridge")
    limits = [value(fits, f"safe_{name}") for name in ("x_min", "x_max", "y_min", "y_max")]
    assert limits == pytest.approx([-825.0, -55.0, -520.0, 0.0])


def test_heights_of_a_tall_tower_below_the_axis() -> None:
    """Rim at (124, 255) from the tilt line: 240 + 255, 240 + 124, 240 + hypot."""
    fits = ask("fits", "tower-on-bridge")
    assert value(fits, "highest_flat") == pytest.approx(495.0)
    assert value(fits, "highest_upright") == pytest.approx(364.0)
    assert value(fits, "highest_on_the_way") == pytest.approx(523.5507, abs=1e-3)
    assert value(fits, "peak_tilt") == pytest.approx(25.9325, abs=1e-3)  # atan(124 / 255)
    rooms = {row["tilt"]: row["clearance"] for row in rows(fits, "tool_change")}
    assert rooms == pytest.approx({0.0: -50.0, 90.0: 81.0})


def test_uneven_flanges_on_different_circles() -> None:
    """Play (0.75 + 0.5) mm less what the circles differ: three bolts, every 40 and 80 deg."""
    fits = ask("fits", "tower-on-bridge")
    assert value(fits, "flange_bolts_matching") == 3
    assert value(fits, "flange_angle_play") == pytest.approx(0.818, abs=1e-3)
    best = [row["clocking"] for row in rows(fits, "flange") if row["which"] == "best"]
    assert best == pytest.approx([0.0, 40.0, 120.0, 160.0, 240.0, 280.0])


def test_torques_of_a_tower_beside_its_axis() -> None:
    """Fully loaded: 693.5 kg mm level (14 mm offset and what turns), 2595 kg mm upright."""
    table = rows(ask("holds", "tower-on-bridge"), "tilt_torque")
    assert table[-1]["torque"] == pytest.approx(26.3414, abs=1e-3)
    assert table[-1]["worst_tilt"] == pytest.approx(104.963, abs=1e-2)
    # Worst of the rotary line: with one part on, 397 kg mm beside it.
    assert [row["rotary_torque"] for row in table] == pytest.approx(
        [1.3724, 3.8892, 1.3724, 2.2705], abs=1e-3
    )


def test_brakes_with_a_side_force() -> None:
    """Lever 205 and 14 mm about the tilt line: (200 - 25.448 - 3.08) / 0.205; rotary 110, 110."""
    found = {row["brake"]: row for row in rows(ask("holds", "tower-on-bridge"), "operations")}
    assert found["tilt"]["thrust_limit"] == pytest.approx(836.4, abs=0.1)
    assert found["tilt"]["demand"] == pytest.approx(161.778, abs=1e-3)
    assert found["rotary"]["thrust_limit"] == pytest.approx(891.4, abs=0.1)


def test_slip_with_the_hung_load_and_both_forces() -> None:
    """V = hypot(33 g + 650, 220), T = (220 + 650) 0.11 + 3.889, three bolts on radius 80."""
    table = {row["case"]: row for row in rows(ask("holds", "tower-on-bridge"), "slip")}
    assert table["bore"]["demand"] == pytest.approx(747.7, abs=0.1)
    assert table["bore"]["safety"] == pytest.approx(4.754, abs=1e-3)


def test_poses_are_the_fewest_tilts_then_the_least_turn() -> None:
    """Every station at tilt 90; places from m = c + Rx(90) [Rz(turn) w + (0, 14, -55)]."""
    found = {
        row["station"]: (row["tilt"], row["turn"], row["x"], row["y"], row["z"])
        for row in rows(ask("offsets", "tower-on-bridge"), "offsets")
    }
    assert found == {
        "low": pytest.approx((90.0, 90.0, -450.0, -279.0, -326.0)),
        "middle": pytest.approx((90.0, -90.0, -450.0, -379.0, -326.0)),
        "high": pytest.approx((90.0, 0.0, -450.0, -479.0, -326.0)),
    }


# --- one drill: limits and what is asked for ------------------------------------------------------

ONE_DRILL = (HERE / "own-one-drill.toml").read_text(encoding="utf-8")


def test_a_thrust_to_keep_is_rounded_down(tmp_path: Path) -> None:
    """(100 / 1.5 - 9.807) / 0.1 = 568.6 N: "under 569 N" would be too much."""
    holds = ask("holds", "one-drill")
    assert holds.verdict is Verdict.YES_IF
    assert "stays under 568 N" in holds.headline
    less = changed(ONE_DRILL, ('thrust = "800 N"', 'thrust = "568.6 N"'))
    assert ask_text(tmp_path, "holds", less).verdict is Verdict.YES


def test_a_thrust_to_keep_leaves_the_doubt_of_the_brake(tmp_path: Path) -> None:
    """((100 - 10) / 1.5 - 9.807) / 0.1 = 501.9 N is sure, 568.6 N is not."""
    text = changed(ONE_DRILL, ('tilt_brake_torque = "100 N*m"', _UNSURE_BRAKE))
    assert "stays under 501 N" in ask_text(tmp_path, "holds", text).headline
    near = changed(text, ('thrust = "800 N"', 'thrust = "550 N"'))
    holds = ask_text(tmp_path, "holds", near)
    assert holds.verdict is Verdict.CANNOT_TELL
    assert "under 501 N" in str(holds.fix)


_UNSURE_BRAKE = 'tilt_brake_torque = "100 N*m +- 10 N*m"'


def test_limits_exactly_met_hold(tmp_path: Path) -> None:
    """20 kg at 50 mm ask 9.80665 N m of the drive; with 400 N they use 49.80665 of the brake."""
    exact = changed(
        ONE_DRILL,
        ('thrust = "800 N"', 'thrust = "400 N"'),
        ('rated_tilt_torque = "50 N*m"', 'rated_tilt_torque = "9.80665 N*m"'),
        ('tilt_brake_torque = "100 N*m"', 'tilt_brake_torque = "74.709975 N*m"'),
    )
    assert ask_text(tmp_path, "holds", exact).verdict is Verdict.YES
    over = changed(exact, ('"9.80665 N*m"', '"9.806 N*m"'))
    assert ask_text(tmp_path, "holds", over).verdict is Verdict.NO


def test_two_bolts_hold_no_tipping_that_can_be_counted_on(tmp_path: Path) -> None:
    text = changed(ONE_DRILL, ('thrust = "800 N"', 'thrust = "400 N"'), ("count = 4", "count = 2"))
    holds = ask_text(tmp_path, "holds", text)
    assert holds.verdict is Verdict.CANNOT_TELL
    assert holds.missing[0].where.endswith("placement.bolts.count")


# --- one rotary axis ------------------------------------------------------------------------------


def test_offsets_of_a_single_axis() -> None:
    """Ry(30) brings the clocked Y+ side up; 100 mm over the line, 115 mm before the face."""
    offsets = ask("offsets", "single-axis")
    [row] = rows(offsets, "offsets")
    assert [row[key] for key in ("turn", "x", "y", "z")] == pytest.approx(
        [-30.0, -388.0, -235.0, -340.0]
    )
    assert offsets.verdict is Verdict.YES_IF


def test_a_clocked_square_on_a_single_axis_has_its_own_corners() -> None:
    """At -30 deg its flat is up: 600 - 250 - 160 - 80; at 45 deg a corner, 80 (cos + sin 15)."""
    rooms = {
        row["tilt"]: row["clearance"] for row in rows(ask("fits", "single-axis"), "tool_change")
    }
    assert rooms == pytest.approx({-30.0: 110.0, 45.0: 92.0204}, abs=1e-3)


def test_brake_of_a_single_axis() -> None:
    """1.0048 + 500 x 0.042426 + 120 x 0.084853 N m."""
    [row] = rows(ask("holds", "single-axis"), "operations")
    assert row["demand"] == pytest.approx(32.4004, abs=1e-3)


# --- money ----------------------------------------------------------------------------------------


def test_a_saving_below_the_running_cost_never_pays() -> None:
    """5 min x 150 at 60 an hour is 750 a year; 4.9173 years' worth of -450 on top of 18000."""
    pays = ask("pays", "never-pays")
    assert pays.verdict is Verdict.NO
    assert "never pays" in pays.headline
    assert value(pays, "npv") == pytest.approx(-20212.80, abs=0.01)
    assert pays.figure("payback_years").value is None
    assert value(pays, "break_even_volume") == 973  # (18000 / 4.9173 + 1200) / 5, rounded up
    assert value(pays, "break_even_volume_simple") == 840
    back = {row["volume"]: row["payback_years"] for row in rows(pays, "volumes")}
    assert back[150.0] == back[240.0] == back[0.0] == "never"
    assert back[2000.0] == pytest.approx(18000.0 / 8800.0)


# --- what the touches say, everywhere ---------------------------------------------------------


def test_holds_and_fits_use_the_touched_face(tmp_path: Path) -> None:
    """Nobody is asked for a face height that was touched: 10 kg at 20 + 25.012 mm."""
    text = changed(
        CASE_1,
        ('height = "44.87 mm"', 'height = "44.87 mm"\nmass = "10 kg"\nmass_centre = '
         '["0 mm", "0 mm", "20 mm"]'),
        ('name = "clamp body"', 'name = "clamp body"\nmass = "0 kg"\nmass_centre = '
         '["0 mm", "0 mm", "0 mm"]'),
        ('body_right', 'rated_tilt_torque = "60 N*m"\nbody_right'),
    )  # fmt: skip
    holds = ask_text(tmp_path, "holds", text)
    assert not [item for item in holds.missing if item.where.endswith("unit.face_height")]
    # hypot(0.023, 45.012) mm x 10 kg x g
    assert value(holds, "tilt_torque") == pytest.approx(4.4142, abs=1e-3)


def test_touches_far_at_odds_give_no_lines_by_hand_either(tmp_path: Path) -> None:
    """One side of the pin 3 mm off moves the rotary line 0.75 mm: no +-0.009 mm is left."""
    touches = TOUCHES.replace("-310.236", "-313.236")
    for question in ("turns", "offsets"):
        answer = ask_text(tmp_path, question, CASE_1, touches)
        assert answer.verdict is Verdict.CANNOT_TELL
        assert "line 5 and 6" in answer.next_step


def test_offsets_carry_the_condition_of_a_pin_touched_at_one_turn(tmp_path: Path) -> None:
    touches = "\n".join(TOUCHES.splitlines()[:8]) + "\n"
    answer = ask_text(tmp_path, "offsets", CASE_1, touches)
    assert answer.verdict is Verdict.YES_IF
    assert "runs true" in answer.headline


def test_offsets_name_a_zero_at_which_the_unit_meets_the_guard(tmp_path: Path) -> None:
    """Safe X begins at -685 + 250 = -435: two of four stations stand beyond it."""
    text = changed(CASE_1, ('guard_right = "654 mm"', 'guard_right = "404 mm"'))
    answer = ask_text(tmp_path, "offsets", text)
    assert answer.verdict is Verdict.NO
    assert value(answer, "outside_travel") == 0
    # Zeros at X -501.2, -471.2: top, front and right of station 1.
    assert value(answer, "outside_safe_limits") == 3
    assert "66.246 mm in X" in answer.headline


def test_a_touched_place_need_not_lie_in_the_middle_of_a_slot(tmp_path: Path) -> None:
    """The platter centre is touched at Y -129.965; the seat puts it at -130, bolts have play."""
    text = changed(CASE_1, ('centre_x = "-381 mm"\ncentre_y = "-130 mm"\n', ""))
    touched = ask_text(tmp_path, "fits", text)
    assert touched.verdict is Verdict.YES_IF
    assert not any("lugs miss" in item for item in (touched.headline, touched.next_step))
    off = changed(CASE_1, ('centre_y = "-130 mm"', 'centre_y = "-131 mm"'))
    assert ask_text(tmp_path, "fits", off).verdict is Verdict.NO


def test_a_declared_pose_beyond_the_tilt_is_cut_elsewhere(tmp_path: Path) -> None:
    text = changed(CASE_1, ('["-95 deg", "100 deg"]', '["-10 deg", "60 deg"]'))
    fits = ask_text(tmp_path, "fits", text)
    assert "front of station 1" in fits.next_step
    assert "cut elsewhere" in fits.next_step


# --- tool changes ---------------------------------------------------------------------------------

POSES = """
[[operations]]
name = "square"
pose = ["90 deg", "0 deg"]

[[operations]]
name = "on edge"
pose = ["90 deg", "45 deg"]

[control]"""


def test_a_pose_that_is_safe_at_one_turn_only_is_told_with_its_turn(tmp_path: Path) -> None:
    """T2 has 25.8 mm over the flat tower, -10.5 mm over its edge."""
    text = changed(CASE_5, ("\n[control]", POSES), ("[placement]", _REACH))
    answer = ask_text(tmp_path, "fits", text)
    assert answer.verdict is Verdict.YES_IF
    assert "A 87.1 to 100 deg with C -10 to 10 deg" in answer.headline + answer.next_step


def test_room_that_is_not_sure_is_not_allowed(tmp_path: Path) -> None:
    """Tip at 620 - 70 - 110 = 440 over a tower of 435: 5 mm clear, known to +-8 mm."""
    text = changed(
        CASE_5,
        ('length = "186.5 mm"', 'length = "70 mm +- 8 mm"'),
        ('stickout = "110 mm"', 'stickout = "40 mm"'),
    )
    table = rows(ask_text(tmp_path, "fits", text), "tool_change")
    found = {(row["tool"], row["tilt"], row["turn"]): row for row in table}
    assert found["T2", 0.0, "0 deg"]["clearance"] == pytest.approx(5.0)
    assert found["T2", 0.0, "0 deg"]["allowed"] == "no"
    assert found["T2", 90.0, "0 deg"]["allowed"] == "yes"


@pytest.mark.parametrize(("pull", "allowed"), [("98.5 mm", "no"), ("97.49 mm", "yes")])
def test_contact_is_no_room(tmp_path: Path, pull: str, allowed: str) -> None:
    """620 - 86.5 - 98.5 = 435 is exactly the top of the tower; proofs keep 1 mm unless told."""
    text = changed(
        CASE_5,
        ('length = "186.5 mm"', 'length = "86.5 mm"'),
        ('stickout = "110 mm"', 'stickout = "40 mm"'),
        ('pull_down = "110 mm"', f'pull_down = "{pull}"'),
    )
    table = rows(ask_text(tmp_path, "fits", text), "tool_change")
    [row] = [row for row in table if (row["tool"], row["tilt"]) == ("T2", 0.0)]
    assert row["allowed"] == allowed


_REACH = '[placement]\nreach_x = "150 mm"\nreach_y = "150 mm"'
