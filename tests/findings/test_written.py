"""Programs of our own: when they are refused, what they say, and in which order they go."""

from __future__ import annotations

import functools
import itertools
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Solid
from gudgeon.cell.model_control import WordMeaning
from gudgeon.cell.model_drift import Check, DayRow
from gudgeon.findings import Findings
from gudgeon.findings.written import ControlWords, Written, remark_rows
from gudgeon.quantity.amount import Amount
from gudgeon.sheets._programs import listing, steps_by_hand

ROOT = Path(__file__).parents[2]


@functools.cache
def cell_of(name: str) -> Cell:
    found = load(ROOT / name).cell
    assert found is not None
    return found


def case_1(**control: Any) -> Cell:
    usual = cell_of("tests/cases/case-1.toml")
    return replace(usual, control=replace(usual.control, **control))


def half_filled() -> Findings:
    return Findings(cell_of("demo/half-filled.toml"))


def all_of(cell: Cell) -> list[Written]:
    findings = Findings(cell)
    return [findings.jog_test, findings.warm_up, findings.check_path]


def check(name: str, tilt: float, turn: float, at: tuple[float, float, float] | None) -> Check:
    pose = Amount(math.radians(tilt)), Amount(math.radians(turn))
    where = None if at is None else (Amount(at[0]), Amount(at[1]), Amount(at[2]))
    return Check(name=name, feature="ball", pose=pose, at=where)


def with_checks(*checks: Check, **control: Any) -> Cell:
    return replace(case_1(**control), checks=checks)


def post(x: float, y: float, height: float) -> Solid:
    """Return a post on the table of case 1, its foot 600 mm under the gauge point at Z 0."""
    return Solid(
        name="post",
        counts_as="fixture",
        carried_by="table",
        measured_from="machine",
        x=(Amount(x - 10.0), Amount(x + 10.0)),
        y=(Amount(y - 10.0), Amount(y + 10.0)),
        z=(Amount(-600.0), Amount(-600.0 + height)),
    )


# --- refused --------------------------------------------------------------------------------------


def test_nothing_is_offered_without_bodies_and_the_entry_is_named() -> None:
    findings = half_filled()
    for written in (findings.jog_test, findings.warm_up):
        assert not written.lines and not written.proof
        assert "cannot be proven" in written.refused and "control.tilt_sense" in written.refused
        assert written.missing[0].where.endswith("control.tilt_sense")
    assert findings.check_path.missing[0].where.endswith("checks")


def test_the_jog_test_is_told_as_steps_by_hand_where_no_program_is() -> None:
    written = half_filled().jog_test
    orders = [order for order, _ in written.by_hand]
    assert any(order.startswith("Jog A by +5 deg") for order in orders)
    assert any(order.startswith("Jog C by +5 deg") for order in orders)
    assert all("Write down" in see for order, see in written.by_hand if "by +5 deg" in order)
    assert [step.order for step in steps_by_hand(written)] == orders
    assert Findings(case_1()).jog_test.by_hand == ()
    assert half_filled().warm_up.by_hand == ()


def test_by_hand_a_known_sense_says_what_must_be_seen() -> None:
    cell = replace(case_1(), machine=replace(case_1().machine, travel_x=None))
    written = Findings(cell).jog_test
    assert not written.lines
    sees = [see for order, see in written.by_hand if order.startswith("Jog A by")]
    assert sees == [
        "The mark must go to the back (Y+). If it does not, stop: sense or letter is wrong."
    ]


def test_jogs_that_contradict_the_declaration_give_no_program_and_no_steps() -> None:
    from tests.questions.trunnions import jog

    written = Findings(case_1(jogs=(jog("A", 5, "Z+", "Y-"),))).jog_test
    assert not written.lines and not written.by_hand
    assert "contradict" in written.refused


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((WordMeaning(word="G53", means="not known"),), "read back"),
        ((WordMeaning(word="G53", means="no motion"),), "as"),
        ((WordMeaning(word="G0", means="line"),), ""),
        ((WordMeaning(word="G90", means="incremental"),), ""),
        ((WordMeaning(word="M0", means="no motion"),), "reads as something else"),
        ((WordMeaning(word="M30", means="stop"),), "end"),
        (
            (WordMeaning(word="M68", means="stop", brakes="clamps both"),),
            "reads as something else",
        ),
        (
            (
                WordMeaning(word="M10", means="no motion", brakes="clamps tilt"),
                WordMeaning(word="M10", means="no motion", brakes="frees tilt"),
            ),
            "another clamp",
        ),
    ],
)
def test_words_that_mean_something_else_refuse_every_program(
    words: tuple[WordMeaning, ...], told: str
) -> None:
    findings = Findings(case_1(words=words))
    for written in (findings.jog_test, findings.warm_up):
        assert not written.lines, [line for line, _ in written.lines]
        assert told in written.refused


def test_lengths_in_another_unit_are_another_position() -> None:
    written = Findings(case_1(words=(WordMeaning(word="G21", means="inch"),))).warm_up
    assert not written.lines and "another position" in written.refused


def test_what_stands_in_the_way_is_named_with_the_block() -> None:
    cell = replace(case_1(), machine=replace(case_1().machine, nose_diameter=Amount(80.0)))
    crowded = replace(cell, solids=(post(-500.0, -45.0, 601.0),))
    warm = Findings(crowded).warm_up
    assert not warm.lines
    assert "post" in warm.refused and "not proven clear" in warm.refused
    assert listing(warm).refused == warm.refused and listing(warm).lines == ()


# --- what they say --------------------------------------------------------------------------------


def test_start_and_cautions_stand_in_the_program_where_there_are_comments() -> None:
    for style, begins, ends in (("( )", "(", ")"), (";", "; ", "")):
        for written in all_of(with_checks(check("ball", 0, 0, (50, 0, 5)), comment=style)):
            assert written.lines, written.refused
            remarks = [line for line, words in written.lines if not words]
            assert all(line.startswith(begins) and line.endswith(ends) for line in remarks)
            text = " ".join(line.strip("(); ") for line in remarks).lower()
            for sentence in (written.title, *written.start.split(". "), *written.cautions):
                for part in sentence.replace(";", "").lower().split(". "):
                    assert part.rstrip(".") in text.replace("caution: ", "").replace("  ", " ")
            assert all(len(line) <= 60 for line in remarks)
    for written in all_of(with_checks(check("ball", 0, 0, (50, 0, 5)))):
        assert all(words for _, words in written.lines) and written.cautions


def test_every_program_stops_the_spindle_goes_up_and_waits_before_it_moves_else() -> None:
    for written in all_of(with_checks(check("ball", 0, 0, (50, 0, 5)))):
        assert [line for line, _ in written.lines[:4]] == ["G21 G90", "M5", "G53 G0 Z0.", "M0"]


def test_cautions_are_there_where_the_hazard_is_and_only_there() -> None:
    ball = check("ball", 0, 0, (50, 0, 5))
    hosed = with_checks(ball)
    plain = replace(hosed, unit=replace(hosed.unit, hoses=()))
    braked = replace(plain, unit=replace(plain.unit, tilt_brake_torque=Amount(300.0, None)))
    words = (
        WordMeaning(word="M68", means="no motion", brakes="clamps both"),
        WordMeaning(word="M69", means="no motion", brakes="frees both"),
    )
    declared = replace(braked, control=replace(braked.control, words=words))
    for cell, hoses, clamps in (
        (hosed, True, False),
        (plain, False, False),
        (braked, False, True),
        (declared, False, False),
    ):
        for written in all_of(cell):
            assert written.lines, written.refused
            told = " ".join(written.cautions)
            assert ("hose and cable" in told) is hoses
            assert ("no words for the clamps" in told) is clamps
            assert "manuals" in told and "swing" in told
            assert ("moves" in told or "by hand" in told) is (written.name == "check-path")


def test_the_tool_that_would_touch_is_taken_out_first() -> None:
    warm = Findings(cell_of("tests/cases/case-5.toml")).warm_up
    assert warm.empty_spindle and warm.without == ("T2",)
    assert "Take the tool out first: T2 would touch." in warm.cautions
    assert "Leave the spindle empty." in warm.start and "put in" not in warm.start
    other = Findings(case_1()).warm_up
    assert not other.empty_spindle and not any("Take the tool" in one for one in other.cautions)


def test_clamps_open_before_a_turn_and_close_before_every_stop() -> None:
    words = (
        WordMeaning(word="M68", means="no motion", brakes="clamps both"),
        WordMeaning(word="M69", means="no motion", brakes="frees both"),
    )
    for written in all_of(with_checks(check("ball", 30, 60, (50, 0, 5)), words=words)):
        closed: bool | None = None
        for line, _ in written.lines:
            if line in ("M68", "M69"):
                closed = line == "M68"
            elif re.search(r" [AC]-?\d", line):
                assert closed is False
            elif line in ("M0", "M30"):
                assert closed is not False


@pytest.mark.parametrize("low", [-180.0, -360.0, -90.0])
def test_the_warm_up_turns_within_the_range_that_is_entered(low: float) -> None:
    usual = case_1()
    turns = Amount(math.radians(low)), Amount(math.radians(low + 360.0))
    warm = Findings(replace(usual, unit=replace(usual.unit, rotary_range=turns))).warm_up
    found = [float(word) for line, _ in warm.lines for word in re.findall(r"C(-?\d+\.?\d*)", line)]
    assert min(found) == pytest.approx(low) and max(found) == pytest.approx(low + 360.0)


def test_the_jog_test_is_proven_for_a_wrong_sense_too() -> None:
    """With -90 to 0 deg as the tilt's range, a wrong sense would swing it past zero."""
    usual = case_1()
    tilts = Amount(math.radians(-90.0)), Amount(0.0)
    written = Findings(replace(usual, unit=replace(usual.unit, tilt_range=tilts))).jog_test
    assert written.lines
    # Near the column that is not clear: Y has to stand elsewhere.
    assert "Bring Y into the range" in written.start
    assert written.start_high[1] < Findings(usual).jog_test.start_high[1]


def test_what_only_a_wrong_sense_would_meet_refuses_the_jog_test() -> None:
    """A post under the front of the load, 5 mm free: by hand, A+5 deg lifts the front off it.

    A-5 deg lowers it by 195 sin 5 deg, about 17 mm.
    """
    written = Findings(replace(case_1(), solids=(post(-381.0, -310.0, 215.0),))).jog_test
    assert not written.lines and "post" in written.refused
    behind = Findings(replace(case_1(), solids=(post(-381.0, 80.0, 215.0),))).jog_test
    assert behind.lines, behind.refused  # clear of the load's edge on either side


@pytest.mark.parametrize(("gap_mm", "offered"), [(0.5, False), (1.5, True)])
def test_the_clearance_asked_is_kept(gap_mm: float, offered: bool) -> None:
    """A post beside the load, which is round and ends at X -186.2; 1 mm is asked."""
    beside = post(-381.246 + 195.0 + gap_mm + 10.0, -130.0, 260.0)
    written = Findings(replace(case_1(), solids=(beside,))).jog_test
    assert bool(written.lines) is offered
    assert offered or "post" in written.refused


def test_what_is_told_of_the_start_is_what_was_proven() -> None:
    for written in all_of(with_checks(check("ball", 0, 0, (50, 0, 5)))):
        for joint, letter in enumerate("XY"):
            found = re.search(rf"Bring {letter} into the range (\S+) mm to (\S+) mm", written.start)
            assert found is not None
            assert float(found[1]) == written.start_low[joint]
            assert float(found[2]) == written.start_high[joint]


def test_after_a_stop_at_a_check_the_spindle_may_stand_beside_it() -> None:
    findings = Findings(with_checks(check("ball", 0, 0, (50, 0, 5)), check("b", 30, 0, (50, 0, 5))))
    start, end = findings.free_start, findings._last_pose()
    places, _ = findings._check_places()
    blocks = findings._check_blocks(findings._in_order(places, end), end, start)
    track = findings._read_lines(findings.control_words.lines(blocks))
    boxes = findings._boxes_of(track, blocks, start, {})
    over_at = next(k for k, (words, _, _) in enumerate(boxes) if words.startswith("over"))
    target = next(block.move for block in blocks if block.words.startswith("over"))
    words, low, high = boxes[over_at + 2]
    assert words.startswith("pose of")
    for joint in (0, 1):
        assert low[joint] == pytest.approx(target[joint] - 50.8)
        assert high[joint] == pytest.approx(min(target[joint] + 50.8, start.high[joint]))


def test_remarks_are_plain_and_short() -> None:
    rows = remark_rows("Grüße (50 %); go on " + "x" * 70, ("(", ")"))
    assert all(row.isascii() and row.count("(") == row.count(")") == 1 for row in rows)
    assert all("%" not in row and ";" not in row and len(row) <= 58 for row in rows)
    assert remark_rows("words", ()) == []


def test_numbers_carry_a_point_and_no_idle_zeros() -> None:
    metric, inch = (
        ControlWords(
            case_1().control, Findings(case_1()).control_for(b"").dialect, ("A", "C"), inch=i
        )
        for i in (False, True)
    )
    assert [metric.number(0, value) for value in (-685.0, 12.7, 0.0004, -0.0004)] == [
        *("-685.", "12.7", "0.", "0.")
    ]
    assert inch.number(2, -25.4) == "-1." and inch.number(0, 0.00254) == "0.0001"
    assert metric.number(3, math.radians(-90.0)) == "-90."
    assert inch.as_written(0, 25.4 * 0.12344) == pytest.approx(25.4 * 0.1234)


# --- the path over the checks ---------------------------------------------------------------------


def test_checks_come_in_the_order_in_which_the_unit_turns_least() -> None:
    poses = [(60.0, 90.0), (0.0, 0.0), (60.0, 0.0), (30.0, 90.0), (0.0, 180.0)]
    cell = with_checks(
        *(check(f"ball {k}", *pose, (40, 0, 5)) for k, pose in enumerate(poses)),
        rotary_turns="as written",
    )
    written = Findings(cell).check_path
    assert written.lines, written.refused
    names = [
        match[1] for _, words in written.lines if (match := re.match(r'Read "ball (\d)"', words))
    ]
    assert sorted(names) == list("01234")

    def cost(order: tuple[int, ...]) -> float:
        way = [poses[k] for k in order] + [end]
        return sum(abs(a[0] - b[0]) + abs(a[1] - b[1]) for a, b in itertools.pairwise(way))

    end = tuple(math.degrees(angle) for angle in Findings(cell)._last_pose())
    least = min(cost(order) for order in itertools.permutations(range(5)))
    assert cost(tuple(map(int, names))) == pytest.approx(least)


def test_a_check_is_where_it_was_read_of_late_else_where_the_lines_put_it() -> None:
    rows = tuple(
        DayRow(row, row, False, "", "ball", (-350.0 + (row > 5), -150.0, -300.0), None, None)
        for row in range(1, 11)
    )
    entered = with_checks(check("ball", 0, 0, (50, 0, 5)))
    by_lines = Findings(entered).first_checks[0].expected_mm
    assert over(Findings(entered).check_path) == pytest.approx(by_lines[:2], abs=1e-3)
    assert over(Findings(replace(entered, days=rows)).check_path) == (-349.0, -150.0)


def over(written: Written) -> tuple[float, float]:
    line = next(line for line, words in written.lines if words.startswith('over "'))
    found = re.search(r"X(\S+) Y(\S+)", line)
    assert found is not None
    return float(found[1]), float(found[2])


def test_a_check_without_pose_or_place_is_told_and_left_out() -> None:
    ball = check("ball", 0, 0, (50, 0, 5))
    lost = check("lost", 0, 0, None)
    unposed = replace(ball, name="unposed", pose=None)
    written = Findings(with_checks(ball, lost, unposed)).check_path
    assert written.lines
    assert any('"lost" is not on the path: place of "lost"' in one for one in written.cautions)
    assert any('"unposed" is not on the path' in one for one in written.cautions)
    alone = Findings(with_checks(lost)).check_path
    assert not alone.lines and alone.missing[0].where.endswith("checks[1].at")


def test_what_may_hang_in_the_spindle_is_as_long_as_can_be_proven() -> None:
    """A post 420 mm high beside the load; the gauge point is 600 mm over its foot.

    By hand: 180 mm are free over the post, less the clearance of 1 mm; of 200, 150, 100 and 50 mm
    the second is the longest that passes.
    """
    usual = with_checks(check("ball", 0, 0, (50, 0, 5)))
    usual = replace(usual, tools=(), machine=replace(usual.machine, nose_diameter=Amount(60.0)))
    free = Findings(usual).check_path
    assert "longer than 200 mm" in free.start
    crowded = replace(usual, solids=(post(-215.0, -265.0, 420.0),))
    written = Findings(crowded).check_path
    assert "longer than 150 mm" in written.start, written.refused


def test_a_place_out_of_the_travel_refuses_the_path() -> None:
    rows = tuple(
        DayRow(row, row, False, "", "ball", (50.0, -150.0, -300.0), None, None) for row in (1, 2)
    )
    written = Findings(replace(with_checks(check("ball", 0, 0, None)), days=rows)).check_path
    assert not written.lines and "leaves the travel of X" in written.refused


@pytest.mark.parametrize("name", ["demo/alder-ford.toml", "demo/juniper-street.toml"])
def test_the_demo_shops_get_their_programs(name: str) -> None:
    findings = Findings(cell_of(name))
    for written in (findings.jog_test, findings.warm_up):
        found = listing(written)
        assert found.lines and found.start and found.cautions and not found.refused
        assert written.proof.startswith("Read back word by word. Proven clear by")
    assert bool(findings.check_path.lines) is bool(findings.cell.checks)
