"""Letters and senses: every verdict, every mend, and the tables against the pose map."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Control, Jog, Placement
from gudgeon.findings import Findings, Lacking
from gudgeon.kinematics.naming import nearest_side, side_direction
from gudgeon.questions import axes
from gudgeon.questions._axis_tables import turn_words
from gudgeon.questions.axes import answer

from .trunnions import cell, change, deg, jog

GOOD = (jog("A", 5, "Z+", "Y+"), jog("C", 5, "X+", "Y-"))
"""Tilt along X and rotary along Z as ISO 841 has them (sense -1): the top goes to the back."""


def with_control(**entries: Any) -> Cell:
    return replace(cell(), control=Control(**entries))


def ask(asked: Cell) -> Answer:
    return answer(Findings(asked))


def rows(found: Answer, name: str) -> list[dict[str, Any]]:
    table = found.table(name)
    keys = [column.name for column in table.columns]
    return [dict(zip(keys, row, strict=True)) for row in table.rows]


# --- 1. Verdicts --------------------------------------------------------------------------


def test_declared_and_seen_as_the_standard_has_it_is_a_yes() -> None:
    found = ask(change(cell(), "control", jogs=GOOD))
    assert found.verdict is Verdict.YES
    assert "A is the tilt along X" in found.headline and "C is the rotary" in found.headline
    assert found.figure("tilt_sense").value == -1 and found.figure("rotary_sense").value == -1


def test_jogs_alone_are_enough() -> None:
    found = ask(with_control(jogs=GOOD))
    assert found.verdict is Verdict.YES
    senses = Findings(with_control(jogs=GOOD)).senses
    assert (senses.tilt, senses.rotary, senses.tilt_letter) == (-1, -1, "A")
    assert senses.from_jogs and not senses.letters_assumed


def test_declared_but_never_seen_is_a_yes_that_orders_the_test_program() -> None:
    found = ask(cell())
    assert found.verdict is Verdict.YES
    assert "nobody has yet seen" in found.next_step
    assert any("nobody reported a jog" in text for text in found.assumed)


def test_a_minus_jog_counts_the_other_way() -> None:
    backwards = (jog("A", -5, "Z+", "Y-"), jog("C", -5, "Y-", "X+"))
    senses = Findings(with_control(jogs=backwards)).senses
    assert (senses.tilt, senses.rotary) == (-1, -1)


@pytest.mark.parametrize(
    ("letter", "by", "watched", "moved"),
    [
        (letter, by, w, m)
        for letter, by in (("A", 5.0), ("C", -5.0))
        for w, m in itertools.product([a + s for a in "XYZ" for s in "+-"], repeat=2)
        if w[0] != m[0]
    ],
)
def test_every_sighting_gives_the_sense_that_moves_the_mark_so(letter, by, watched, moved) -> None:
    """Work turned by sense x angle about the machine axis takes the mark where it was seen."""
    seen = Findings(with_control(jogs=(jog(letter, by, watched, moved),))).jogs_seen[0]
    turned = np.abs(np.cross(side_direction(watched), side_direction(moved)))
    if turned[1]:  # about Y: neither axis of this unit
        assert seen.role is None and seen.fault
        return
    assert seen.role == ("tilt" if turned[0] else "rotary")
    step = Rotation.from_rotvec(turned * seen.sense * math.radians(by))
    mark = side_direction(watched)
    assert nearest_side(step.apply(mark) - mark)[0] == moved


def test_a_sense_that_the_jog_disproves_is_a_no_with_both_ways_out() -> None:
    found = ask(change(cell(), "control", jogs=GOOD, tilt_sense=1))
    assert found.verdict is Verdict.NO
    assert "shows sense -1" in found.headline and "tilt_sense says +1" in found.headline
    assert "tilt_sense = -1" in found.fix and "control's parameters" in found.fix
    assert any("licensed" in text for text in found.cautions)
    assert found.figure("contradictions").value == 1
    assert found.figure("tilt_sense").value is None
    with pytest.raises(Lacking, match="agreement"):
        _ = Findings(change(cell(), "control", jogs=GOOD, tilt_sense=1)).senses


def test_following_the_mend_settles_it() -> None:
    wrong = change(cell(), "control", jogs=GOOD, tilt_sense=1, rotary_sense=1)
    assert ask(wrong).verdict is Verdict.NO
    mended = change(wrong, "control", tilt_sense=-1, rotary_sense=-1)
    assert ask(mended).verdict is Verdict.YES


def test_swapped_letters_are_a_no() -> None:
    swapped = (jog("C", 5, "Z+", "Y+"), jog("A", 5, "X+", "Y-"))
    found = ask(change(cell(), "control", jogs=swapped))
    assert found.verdict is Verdict.NO
    assert "C turned the tilt axis along X" in found.headline
    assert 'tilt_letter = "C"' in found.fix and 'rotary_letter = "A"' in found.fix


def test_two_jogs_of_one_letter_that_disagree_are_a_no() -> None:
    found = ask(with_control(jogs=(*GOOD, jog("A", 5, "Z+", "Y-"))))
    assert found.verdict is Verdict.NO and "opposite senses" in found.headline


def test_a_jog_about_neither_axis_contradicts_the_placement() -> None:
    found = ask(with_control(jogs=(jog("B", 5, "Z+", "X+"), GOOD[1])))
    assert found.verdict is Verdict.NO
    assert "tilt_along" in found.fix


def test_without_placement_the_jog_shows_along_which_axis_it_tilts() -> None:
    asked = replace(with_control(jogs=(jog("B", 5, "Z+", "X-"), GOOD[1])), placement=Placement())
    found = ask(asked)
    assert found.verdict is Verdict.YES
    assert rows(found, "axis_map")[0]["along"] == "Y"
    assert Findings(asked).tilt_axis_yaw_rad == pytest.approx(math.pi / 2)


def test_a_jog_that_is_missing_is_ordered_in_exact_words() -> None:
    found = ask(with_control(jogs=GOOD[:1]))
    assert found.verdict is Verdict.CANNOT_TELL
    assert len(found.missing) == 1 and "rotary" in found.missing[0].what
    order = found.next_step
    for word in ("unit empty", "everything clear", "hand on the stop", "plus 5 deg", "X+"):
        assert word in order
    assert any("First motion" in text for text in found.cautions)
    assert rows(found, "axis_map")[0]["sense"] == -1  # what is known is shown


def test_a_jog_that_tells_nothing_is_named() -> None:
    odd = (Jog("A", deg(5), "Z+", None), jog("C", 0, "X+", "Y-"), jog("C", 5, "X+", "X-"))
    found = ask(with_control(jogs=odd))
    assert found.verdict is Verdict.CANNOT_TELL
    faults = " ".join(item.why for item in found.missing)
    assert "lacks moved" in faults and "by zero" in faults and "no turn moves" in faults
    declared = ask(change(cell(), "control", jogs=odd))
    assert declared.verdict is Verdict.YES and len(declared.missing) == 3


def test_nothing_known_asks_for_the_direction_first() -> None:
    found = ask(Cell())
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.missing[0].where == "cell.toml: placement.tilt_along"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"tilt_sense": 1}, "plus A turns the work with the right-hand rule"),
        ({"rotary_sense": 1}, "plus C turns the work with the right-hand rule"),
        ({"tilt_letter": "B"}, "is B, not A"),
        ({"rotary_letter": "B"}, "is B, not C"),
    ],
)
def test_what_the_standard_does_not_have_is_a_condition(changes, words) -> None:
    found = ask(change(cell(), "control", **changes))
    assert found.verdict is Verdict.YES_IF
    assert words in found.headline and "post" in found.headline


def test_an_askew_unit_is_a_condition() -> None:
    asked = change(cell(), "placement", tilt_along=None, yaw=deg(30))
    found = ask(asked)
    assert found.verdict is Verdict.YES_IF and "askew to X" in found.headline


def test_both_axes_with_one_letter_is_a_no() -> None:
    found = ask(change(cell(), "control", rotary_letter="A"))
    assert found.verdict is Verdict.NO and "Both axes" in found.headline


def test_one_axis_alone() -> None:
    asked = change(cell(), "unit", kind="rotary only")
    asked = replace(asked, control=Control(jogs=(jog("A", 5, "Z+", "Y+"),)))
    found = ask(asked)
    assert found.verdict is Verdict.YES
    assert [row["letter"] for row in rows(found, "axis_map")] == ["A"]
    assert {row["command"]: row["up"] for row in rows(found, "what_comes_up")} == {
        "A90": "front (Y-)", "A-90": "back (Y+)", "A180": "bottom (Z-)",
    }  # fmt: skip


@pytest.mark.parametrize("along", ["X", "Y", "Z"])
@pytest.mark.parametrize("sense", [1, -1])
def test_how_a_turn_looks(along: str, sense: int) -> None:
    """Look from above, the right or the front: does the turn run from one's right to one's up?"""
    eye, right, up = {
        "Z": ([0, 0, 1], [1, 0, 0], [0, 1, 0]),  # head towards the back of the machine
        "X": ([1, 0, 0], [0, 1, 0], [0, 0, 1]),
        "Y": ([0, -1, 0], [1, 0, 0], [0, 0, 1]),
    }[along]
    assert np.allclose(np.cross(right, up), eye)  # the viewer looks against `eye`
    step = Rotation.from_rotvec(0.1 * sense * side_direction(along + "+")).apply(right)
    counter = step @ np.array(up) > 0
    assert turn_words(along, sense).startswith("counter" if counter else "clockwise")


# --- 2. Tables ----------------------------------------------------------------------------


def test_what_comes_up_is_what_the_acceptance_case_says() -> None:
    """Case 1: front at A90 C0, right at A90 C90; platter faces Y+ at A90 (conventions, 4)."""
    got = {row["command"]: row for row in rows(ask(cell()), "what_comes_up")}
    assert got["A90 C0"]["up"] == "front (Y-)" and got["A90 C0"]["platter"] == "back (Y+)"
    assert got["A90 C90"]["up"] == "right (X+)"
    assert got["A-90 C0"]["up"] == "back (Y+)"
    assert got["A0 C90"]["up"] == "top (Z+)" and got["A0 C90"]["front"] == "right (X+)"


def test_tilt_along_y_sense_plus_lifts_the_left_side() -> None:
    """Cases' convention 4: tilt along Y, sense +1, +90: -X points up, the platter faces +X."""
    asked = change(cell(), "placement", tilt_along="Y")
    asked = change(asked, "control", tilt_letter="B", tilt_sense=1)
    got = {row["command"]: row for row in rows(ask(asked), "what_comes_up")}
    assert got["B90 C0"]["up"] == "left (X-)" and got["B90 C0"]["platter"] == "right (X+)"


def test_limits_clip_the_usual_poses() -> None:
    asked = change(cell(), "unit", tilt_range=(deg(-30), deg(110)), rotary_range=(deg(0), deg(200)))
    commands = [row["command"] for row in rows(ask(asked), "what_comes_up")]
    assert "A-30 C0" in commands and not any("C-90" in command for command in commands)


def test_a_standard_program_runs_the_same_on_a_standard_unit() -> None:
    own = [r for r in rows(ask(cell()), "old_program") if r["written_for"].endswith("this one")]
    assert len(own) == 4 and all(row["same"] for row in own)
    other = [r for r in rows(ask(cell()), "old_program") if r["command"].startswith("B")]
    assert all(not row["same"] and "alarm" in row["here"] for row in other)


def test_an_old_program_on_a_unit_wired_the_other_way() -> None:
    """Sense +1: A+90 lifts the back instead of the front; A-90 is what was meant."""
    found = ask(change(cell(), "control", tilt_sense=1))
    row = next(r for r in rows(found, "old_program") if r["command"] == "A+90")
    assert (row["means"], row["here"]) == ("front (Y-) comes up", "back (Y+) comes up")
    assert row["instead"] == "A-90"


def test_the_command_to_write_instead_does_what_was_meant() -> None:
    """Tilt along Y named A with sense +1 (a real muddle): follow every proposal and compare."""
    asked = change(cell(), "placement", tilt_along="Y")
    asked = change(asked, "control", tilt_sense=1, rotary_sense=1)
    findings = Findings(asked)
    up = {"front (Y-)": "Y-", "back (Y+)": "Y+", "left (X-)": "X-", "right (X+)": "X+"}
    tried = 0
    for row in rows(ask(asked), "old_program"):
        if not row["instead"] or "comes up" not in row["means"]:
            continue
        words = row["instead"].split(" (")[0].split()
        angles = dict.fromkeys("AC", 0.0) | {w[0]: math.radians(float(w[1:])) for w in words}
        side = side_direction(up[row["means"].replace(" comes up", "")])
        now = findings.turning_only.directions([angles["A"], angles["C"]], side)
        assert nearest_side(now)[0] == "Z+", row
        tried += 1
    assert tried >= 4


def whole() -> Cell:
    """Return acceptance case 1: its bodies are entered, so that a program can be proven."""
    found = load(Path(__file__).parents[1] / "cases" / "case-1.toml").cell
    assert found is not None
    return found


def test_the_test_program_speaks_the_controls_words() -> None:
    asked = change(
        whole(), "control", rapid_word="G100", stop_word="M10", end_word="M99", comment=";"
    )
    blocks = [row["block"] for row in rows(ask(asked), "test_program")]
    assert blocks[0].startswith("; Test of the turning axes")
    assert any(b.startswith("G53 G100 A5. ;") for b in blocks)
    assert any(b.startswith("G53 G100 C0. ;") for b in blocks)
    assert any(b.startswith("M10 ; Z+ side must") for b in blocks) and blocks[-1] == "M99 ; end"
    usual = [row["block"] for row in rows(ask(whole()), "test_program")]
    assert usual[:3] == ["G21 G90", "M5", "G53 G0 Z0."] and usual[-1] == "M30"
    inch = [r["block"] for r in rows(ask(change(whole(), "shop", units="in")), "test_program")]
    assert inch[0] == "G20 G90"


def test_the_test_program_comes_back_to_zero_and_says_what_must_be_seen() -> None:
    program = rows(ask(change(whole(), "control", comment="( )")), "test_program")
    texts = [row["block"] for row in program]
    for letter in "AC":
        moves = [t.split(" (")[0] for t in texts if t.startswith(f"G53 G0 {letter}")]
        assert moves == [f"G53 G0 {letter}5.", f"G53 G0 {letter}0."]
    assert any("Z+ SIDE MUST HAVE GONE TO Y+" in t for t in texts)
    assert any("X+ SIDE MUST HAVE GONE TO Y-" in t for t in texts)
    assert any("top (Z+) went to back (Y+)" in row["watch"] for row in program)


def test_the_small_turn_keeps_to_the_limits() -> None:
    asked = change(whole(), "unit", tilt_range=(deg(-90), deg(0)))
    program = rows(ask(asked), "test_program")
    assert "G53 G0 A-5." in [row["block"] for row in program]
    # Minus moves the top the other way: to the front.
    assert any("top (Z+) went to front (Y-)" in row["watch"] for row in program)


def test_without_bodies_the_test_is_told_as_steps_by_hand() -> None:
    steps = rows(ask(cell()), "test_by_hand")
    jogs = [row for row in steps if row["do"].startswith("Jog A by +5 deg")]
    assert len(jogs) == 1 and "back (Y+)" in jogs[0]["see"]
    with pytest.raises(KeyError):
        ask(cell()).table("test_program")


def test_the_picture_is_drawn_even_when_nothing_is_known() -> None:
    found = ask(with_control())
    assert found.pictures[0].svg.startswith("<svg") and "A ?" not in found.pictures[0].svg
    assert "? ?" in found.pictures[0].svg


def test_the_module_reads_as_the_users_page() -> None:
    assert axes.__doc__ is not None
    assert axes.__doc__.splitlines()[0] == axes.ASKS
    for heading in ("What it answers", "Why it matters", "When it can mislead", "Sources"):
        assert f"{heading}\n{'-' * len(heading)}\n" in axes.__doc__
