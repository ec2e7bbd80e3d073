"""Work offsets: the pose formula of the acceptance cases, hand values, laws, and every verdict."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.model import Cell, Part, Station, Tool
from gudgeon.findings import Findings, Lacking
from gudgeon.questions import offsets
from gudgeon.questions.offsets import answer

from .trunnions import FACES, cell, change, deg, face, findings, mm, point

EXPECTED = Path(__file__).parents[1] / "cases" / "expected-1.toml"


def ask(asked: Cell) -> Answer:
    return answer(Findings(asked))


def measured(asked: Cell) -> Findings:
    """Return findings with the same lines, as if they had been touched."""
    found = Findings(asked)
    found.__dict__["axis_lines"] = replace(found.axis_lines, measured=True)
    return found


def zeros(asked: Cell) -> dict[tuple[str, str], np.ndarray]:
    return {(z.station, z.face): np.array(z.point_mm) for z in Findings(asked).offsets.zeros}


def rows(found: Answer, name: str = "offsets") -> list[dict[str, object]]:
    table = found.table(name)
    keys = [column.name for column in table.columns]
    return [dict(zip(keys, row, strict=True)) for row in table.rows]


# --- 1. The zeros are right ---------------------------------------------------------------


def test_case_1_all_twelve_offsets() -> None:
    """The acceptance case's own figures, its lines entered as its centre.* figures give them."""
    expected = {
        row["id"].split(".")[1:][0] + row["id"].split(".part")[1]: row
        for row in tomllib.loads(EXPECTED.read_text(encoding="utf-8"))["expect"]
        if ".part" in row["id"]
    }
    got = rows(ask(cell()))
    assert len(got) == len(expected) == 12
    for row in got:
        want = expected[f"{row['face']}{row['station']}"]
        assert_allclose([row["x"], row["y"], row["z"]], want["value"], atol=want["tol"])


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([1, -1]),
    st.sampled_from([1, -1]),
    st.floats(-95, 95),
    st.floats(-180, 180),
    st.floats(-1, 1),
    st.floats(-60, 60),
    st.tuples(*[st.floats(-150, 150)] * 3),
)
def test_the_cases_pose_formula_along_x(s_t, s_p, t, p, e, d, w):
    """Conventions of the cases, 5: m = c + Rx(s_t t) [ Rz(s_p p) w + (0, e, d) ]."""
    asked = change(cell(), "unit", axis_offset=mm(e), face_height=mm(d))
    asked = change(asked, "control", tilt_sense=s_t, rotary_sense=s_p)
    asked = replace(
        asked,
        stations=(Station(name="1", at=point(*w)),),
        parts=(Part(name="p", faces=(face("f", (0, 0, 0), None, (t, p)),)),),
    )
    # The unit frame's origin lies on the rotary line: the tilt line is e in front of it.
    c = np.array([-381.246, -129.965 - e, -619.982 + 215.0])
    inner = Rotation.from_euler("z", s_p * p, degrees=True).apply(w) + np.array([0, e, d])
    want = c + Rotation.from_euler("x", s_t * t, degrees=True).apply(inner)
    assert_allclose(zeros(asked)["1", "f"], want, atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from([1, -1]),
    st.sampled_from([1, -1]),
    st.floats(-95, 95),
    st.floats(-180, 180),
    st.floats(-1, 1),
    st.floats(-40, 40),
    st.tuples(*[st.floats(-150, 150)] * 3),
)
def test_the_cases_pose_formula_along_y(s_t, s_p, t, p, e, d, w):
    """Conventions of the cases, 5, tilt along Y: m = c + Ry(s_t t) [ Rz(s_p p) w + (e, 0, d) ].

    The offset e is counted along machine X there; here along the unit frame's y, which looks
    towards X- when the tilt lies along Y.
    """
    asked = change(cell(), "unit", axis_offset=mm(-e), face_height=mm(d))
    asked = change(asked, "placement", tilt_along="Y")
    asked = change(asked, "control", tilt_sense=s_t, rotary_sense=s_p, tilt_letter="B")
    asked = replace(
        asked,
        stations=(Station(name="1", at=point(*w)),),
        parts=(Part(name="p", faces=(face("f", (0, 0, 0), None, (t, p)),)),),
    )
    c = np.array([-381.246 - e, -129.965, -619.982 + 215.0])
    inner = Rotation.from_euler("z", s_p * p, degrees=True).apply(w) + np.array([e, 0, d])
    want = c + Rotation.from_euler("y", s_t * t, degrees=True).apply(inner)
    assert_allclose(zeros(asked)["1", "f"], want, atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([90.0, -90.0, 180.0, 37.0, 0.0]),
    st.sampled_from([1, -1]),
    st.sampled_from([1, -1]),
    st.floats(-95, 95),
    st.floats(-180, 180),
    st.floats(-1, 1),
    st.tuples(*[st.floats(-150, 150)] * 3),
)
def test_any_yaw_is_the_unit_frame_turned_with_senses_about_machine_axes(yaw, s_t, s_p, t, p, e, w):
    """The same formula in the unit frame, turned by the yaw; stations are given along the machine.

    The sense is declared about the positive machine axis nearest to the line, so it counts the
    other way about the unit's own x where that points backwards.
    """
    asked = change(cell(), "unit", axis_offset=mm(e))
    asked = change(asked, "placement", tilt_along=None, yaw=deg(yaw))
    asked = change(asked, "control", tilt_sense=s_t, rotary_sense=s_p)
    asked = replace(
        asked,
        stations=(Station(name="1", at=point(*w)),),
        parts=(Part(name="p", faces=(face("f", (0, 0, 0), None, (t, p)),)),),
    )
    backwards = yaw in (180.0, -90.0)
    about_own_x = -s_t if backwards else s_t
    on_unit = Rotation.from_euler("z", -yaw, degrees=True).apply(w)
    inner = Rotation.from_euler("z", s_p * p, degrees=True).apply(on_unit) + np.array(
        [0, e, 25.012]
    )
    tilted = Rotation.from_euler("x", about_own_x * t, degrees=True).apply(inner) - [0, e, 0]
    origin = np.array([-381.246, -129.965, -619.982 + 215.0])
    want = origin + Rotation.from_euler("z", yaw, degrees=True).apply(tilted)
    assert_allclose(zeros(asked)["1", "f"], want, atol=1e-9)


def test_tilt_along_y_by_hand() -> None:
    """Cases' convention 4: tilt along Y, sense +1, +90: platter faces +X, the -X face comes up.

    By hand: a point 10 left of the rotary line and 5 over the face, face 20 over the tilt line at
    (-100, -50, -300), ends 25 to the right of it and 10 above.
    """
    asked = change(cell(), "unit", axis_offset=None, face_height=mm(20), tilt_axis_height=mm(200))
    asked = change(asked, "machine", gauge_to_table=mm(500))
    asked = change(asked, "placement", tilt_along="Y", centre_x=mm(-100), centre_y=mm(-50))
    asked = change(asked, "control", tilt_sense=1, rotary_sense=1, tilt_letter="B")
    asked = replace(
        asked,
        stations=(Station(name="1", at=point(-10, 0, 5)),),
        parts=(Part(name="p", faces=(face("left", (0, 0, 0), (-1, 0, 0), (90, 0)),)),),
    )
    found = Findings(asked).offsets.zeros[0]
    assert_allclose(found.point_mm, [-75.0, -50.0, -290.0], atol=1e-9)
    assert found.off_up_rad == pytest.approx(0.0, abs=1e-9)


def test_poses_worked_out_from_the_normals_are_the_declared_ones() -> None:
    bare = tuple(replace(item, pose=None) for item in FACES)
    asked = replace(cell(), parts=(Part(name="clamp body", faces=bare),))
    want, got = zeros(cell()), zeros(asked)
    for key, value in want.items():
        assert_allclose(got[key], value, atol=1e-9)
    used = [r for r in rows(ask(asked), "poses") if r["used"] == "yes"]
    assert [(r["face"], r["tilt"], r["turn"]) for r in used] == [
        ("top", "0", "any"),
        ("front", "90", "0"),
        ("right", "90", "90"),
    ]


def test_a_face_takes_the_tilt_that_another_face_uses_already() -> None:
    """The back is declared at A-90; the front then comes up at A-90 C180, not at A90 C0."""
    faces = (
        face("back", (0, 20, 20), (0, 1, 0), (-90, 0)),
        face("front", (0, -20, 20), (0, -1, 0)),
    )
    asked = replace(cell(), parts=(Part(name="p", faces=faces),))
    front = Findings(asked).offsets.zeros[1]
    assert_allclose(np.degrees(front.angles_rad), [-90.0, 180.0], atol=1e-9)


def test_a_leaning_rotary_line_carries_the_platter_with_it() -> None:
    """A seat straight above the platter's middle stays on the rotary line, at every turn."""
    faces = tuple(face(f"c{c}", (0, 0, 0), None, (0, c)) for c in (0, 90, 180))
    asked = replace(
        cell(),
        stations=(Station(name="1", at=point(0, 0, 100)),),
        parts=(Part(name="p", faces=faces),),
    )
    found = Findings(asked)
    lines = found.axis_lines
    values = lines.values.copy()
    values[lines.parameters.index("rotary_roll")] = 0.002
    values[lines.parameters.index("rotary_pitch")] = -0.003
    found.__dict__["axis_lines"] = replace(lines, values=values)
    direction = np.array(lines.chain_of(values).axes[-1].line.direction)
    assert direction[2] < 1.0
    want = lines.platter_origin_of(values) + 100.0 * direction
    for zero in found.offsets.zeros:
        assert_allclose(zero.point_mm, want, atol=1e-9)


def test_a_turned_station_and_a_clocked_fixture_turn_the_part() -> None:
    """By hand: a part turned by 90 and a fixture clocked by 90: its Y- face looks to Y+."""
    asked = replace(
        cell(),
        stations=(Station(name="1", at=point(10, 0, 0), turn=deg(90)),),
        parts=(Part(name="p", faces=(face("f", (0, -20, 5), (0, -1, 0), None),)),),
    )
    asked = change(asked, "fixture", clocking=deg(90))
    asked = change(asked, "unit", axis_offset=None, face_height=mm(0))
    found = Findings(asked).offsets
    # Zero: part (0,-20,5) turned by 90 is (20,0,5); at (10,0,0) makes (30,0,5); clocked (0,30,5).
    # The face looks to Y+, so it comes up at A-90 C0 or at A90 C180: -90 needs the least turn.
    (zero,) = found.zeros
    assert_allclose(np.degrees(zero.angles_rad), [-90.0, 0.0], atol=1e-9)
    origin = np.array([-381.246, -129.965, -404.982])
    assert_allclose(zero.point_mm, origin + np.array([0.0, -5.0, 30.0]), atol=1e-9)
    assert any("clocking" in text for text in found.assumed)


def test_one_rotary_axis_along_x() -> None:
    """By hand: platter z out of the face along X+, x along Y, y up.

    A point at platter (0, 0, 50) with its face up (platter y) needs no turn; the face towards
    Y- (platter -x) comes up at A+90 with sense -1.
    """
    asked = change(cell(), "unit", kind="rotary only", tilt_range=None, axis_offset=None)
    asked = change(asked, "control", tilt_letter=None, tilt_sense=None, rotary_letter="A")
    faces = (face("up", (0, 12, 0), (0, 1, 0)), face("near", (-15, 0, 0), (-1, 0, 0)))
    asked = replace(
        asked,
        stations=(Station(name="1", at=point(0, 0, 50)),),
        parts=(Part(name="p", faces=faces),),
    )
    up, near = Findings(asked).offsets.zeros
    origin = np.array([-381.246, -129.965, -404.982])
    assert_allclose(np.degrees(up.angles_rad), [0.0], atol=1e-9)
    assert_allclose(up.point_mm, origin + np.array([50, 0, 12]), atol=1e-9)
    assert_allclose(np.degrees(near.angles_rad), [90.0], atol=1e-9)
    assert_allclose(near.point_mm, origin + np.array([50, 0, 15]), atol=1e-9)
    end = replace(asked, parts=(Part(name="p", faces=(face("end", (0, 0, 9), (0, 0, 1)),)),))
    lost = ask(end)
    assert lost.verdict is Verdict.NO and "90.0 deg short" in lost.headline


# --- 2. The uncertainty is right ----------------------------------------------------------


def doubtful() -> Cell:
    asked = change(cell(), "unit", face_height=mm(25.012, 0.02), axis_offset=mm(0.023, 0.006))
    asked = change(asked, "placement", centre_x=mm(-381.246, 0.008), centre_y=mm(-129.965, 0.01))
    stations = (Station(name="1", at=point(-120, -90, 0, 0.012), turn=deg(10, 0.1)),)
    return change(replace(asked, stations=stations), "fixture", clocking=deg(5, 0.01))


def test_uncertainty_against_drawing_every_entry_at_random() -> None:
    """JCGM 101 style check: 400 cells drawn from the stated +- (k = 2) spread as u says."""
    asked = doubtful()
    random = np.random.default_rng(11)

    def drawn(amount):
        return mm(amount.value + random.normal(0.0, amount.u))

    poses = (deg(37), deg(-64))
    one = (replace(FACES[1], pose=poses),)
    asked = replace(asked, parts=(Part(name="p", faces=one),))
    spread = []
    for _ in range(400):
        unit, place, station = asked.unit, asked.placement, asked.stations[0]
        each = change(
            asked, "unit",
            face_height=drawn(unit.face_height), axis_offset=drawn(unit.axis_offset),
        )  # fmt: skip
        each = change(
            each, "placement", centre_x=drawn(place.centre_x), centre_y=drawn(place.centre_y)
        )
        each = change(each, "fixture", clocking=drawn(asked.fixture.clocking))
        seat = Station(name="1", at=tuple(drawn(v) for v in station.at), turn=drawn(station.turn))
        spread.append(zeros(replace(each, stations=(seat,)))["1", "front"])
    u = Findings(asked).offsets.zeros[0].u_mm
    # 400 draws know a standard deviation to 3.5 % (1 / sqrt(800)); four of these are allowed.
    assert_allclose(np.std(spread, axis=0), u, rtol=0.15)


def test_uncertainty_of_the_offset_line_does_not_touch_the_level_pose() -> None:
    """At tilt zero the tilt line has no say: its doubt must not show (hand: (I - R) d = 0)."""
    asked = change(cell(), "unit", axis_offset=mm(0.023, 1.0))
    found = {z.face: z for z in Findings(asked).offsets.zeros if z.station == "1"}
    assert_allclose(found["top"].u_mm, 0.0, atol=1e-9)
    # At 90 deg the work point hangs on the tilt line y and z: the offset e counts in both.
    assert_allclose(found["front"].u_mm, [0.0, 0.5, 0.5], atol=1e-6)


def test_no_stated_uncertainty_shows_none() -> None:
    found = ask(cell())
    assert found.figure("worst_uncertainty").value is None
    assert all(row["plus_minus"] is None for row in rows(found))
    known = ask(doubtful())
    assert known.figure("worst_uncertainty").value == pytest.approx(
        max(row["plus_minus"] for row in rows(known)), abs=1e-6
    )


# --- 3. Words, lengths, units -------------------------------------------------------------


def test_words_are_given_in_the_order_of_stations_and_faces() -> None:
    words = tuple(f"P{i}" for i in range(1, 13))
    got = rows(answer(measured(change(cell(), "control", offset_words=words))))
    assert [row["word"] for row in got] == list(words)
    assert [(row["station"], row["face"]) for row in got[:4]] == [
        ("1", "top"), ("1", "front"), ("1", "right"), ("2", "top"),
    ]  # fmt: skip


def test_too_few_words_are_told() -> None:
    found = answer(measured(change(cell(), "control", offset_words=("G54", "G55"))))
    assert found.verdict is Verdict.YES_IF
    assert "10 more offset words" in found.headline
    assert found.figure("words_short").value == 10
    usual = answer(measured(cell()))  # not declared: the control surely has more than six
    assert usual.verdict is Verdict.YES
    assert any("offset_words" in item.where for item in usual.missing)


def test_lengths_from_the_work_take_the_reference_off_z() -> None:
    asked = change(cell(), "control", lengths_from="work", length_reference=mm(-600))
    for row, plain in zip(rows(ask(asked)), rows(ask(cell())), strict=True):
        assert row["z"] == pytest.approx(plain["z"] + 600.0)
        assert (row["x"], row["y"]) == (plain["x"], plain["y"])
    assert any("length_reference" in text for text in ask(asked).assumed)


def test_without_the_reference_x_and_y_still_stand() -> None:
    found = ask(change(cell(), "control", lengths_from="work"))
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.missing[0].where.endswith("control.length_reference")
    assert len(rows(found)) == 12


def test_an_inch_shop_reads_inches() -> None:
    metric, inch = rows(ask(cell())), ask(change(cell(), "shop", units="in"))
    assert inch.table("offsets").columns[5].unit == "in"
    for row, plain in zip(rows(inch), metric, strict=True):
        assert row["x"] * 25.4 == pytest.approx(plain["x"], abs=2e-5)


# --- 4. Verdicts --------------------------------------------------------------------------


def test_touched_lines_inside_the_travel_are_a_yes() -> None:
    found = answer(measured(cell()))
    assert found.verdict is Verdict.YES
    assert found.figure("offsets_count").value == 12
    assert found.figure("outside_travel").value == 0
    assert found.pictures[0].svg.startswith("<svg")


def test_nominal_lines_are_a_yes_only_if_touched_before_finishing() -> None:
    found = ask(cell())
    assert found.verdict is Verdict.YES_IF
    assert "not touched" in found.headline
    assert any("readings" in item.where for item in found.missing)


def test_a_zero_exactly_on_the_limit_is_inside_and_beyond_it_is_not() -> None:
    edge = float(zeros(cell())["4", "top"][1])
    on_it = change(cell(), "machine", travel_y=(mm(-406), mm(edge)))
    assert ask(on_it).figure("outside_travel").value == 0
    found = ask(change(cell(), "machine", travel_y=(mm(-406), mm(edge - 0.001))))
    assert found.verdict is Verdict.NO
    assert found.figure("outside_travel").value == 1
    assert "top at station 4" in found.headline or "4 top by 0.001 mm" in found.headline


@pytest.mark.parametrize(("margin", "struck"), [(None, 1), (0.0, 1), (5.0, 0)])
def test_contact_with_a_guard_is_a_danger_but_the_end_of_a_margin_is_not(margin, struck) -> None:
    """The outermost zero exactly at the end of what the guard leaves; as `fits` judges it."""
    on_it = change(cell(), "unit", body_front=mm(110))
    found = Findings(on_it)
    reach = found.unit_extent[0].turned(found.declared_yaw_rad)
    outermost = max(zeros(cell()).values(), key=lambda point: point[1])[1]
    centre = found.declared_centre[0][1]
    distance = outermost - centre + reach.front
    asked = change(
        on_it,
        "machine",
        door_front=mm(distance + (margin or 0.0)),
        margin_y=None if margin is None else mm(margin),
    )
    answered = ask(asked)
    got = answered.figure("outside_safe_limits").value
    assert (got > 0) is bool(struck)
    if struck:
        assert "just touches it in Y" in answered.headline


def test_the_move_of_the_unit_that_is_proposed_brings_every_zero_inside() -> None:
    asked = change(cell(), "placement", centre_x=mm(-60), centre_y=mm(-350))
    found = ask(asked)
    assert found.verdict is Verdict.NO
    words = found.fix.split()
    dx = float(words[words.index("X:") - 3]) if "X:" in words else float(words[4])
    dy = float(words[words.index("Y:") - 3])
    moved = change(asked, "placement", centre_x=mm(-60 + dx), centre_y=mm(-350 + dy))
    assert ask(moved).figure("outside_travel").value == 0
    less = change(asked, "placement", centre_x=mm(-60 + dx + 0.01), centre_y=mm(-350 + dy - 0.01))
    assert ask(less).figure("outside_travel").value > 0


def test_stations_too_far_apart_for_any_place_are_told() -> None:
    asked = change(cell(), "machine", travel_x=(mm(-500), mm(-300)))
    found = ask(asked)
    assert found.verdict is Verdict.NO and "no place serves them all" in found.fix


def test_a_wrong_sense_shows_as_a_face_that_looks_down() -> None:
    """Break it on purpose: sense +1 where the poses were declared for -1."""
    found = ask(change(cell(), "control", tilt_sense=1))
    assert found.verdict is Verdict.NO
    assert "away from the spindle" in found.headline
    assert "axes" in found.next_step
    turned = ask(change(cell(), "control", rotary_sense=1))
    assert turned.verdict is Verdict.NO and "right at station 1" in turned.headline


def test_a_face_cut_on_its_side_is_only_a_caution() -> None:
    faces = (replace(FACES[1], pose=(deg(0), deg(0))),)
    found = answer(measured(replace(cell(), parts=(Part(name="p", faces=faces),))))
    assert found.verdict is Verdict.YES
    assert any("side of the tool" in text for text in found.cautions)


def test_a_pose_beyond_the_limits_is_a_no() -> None:
    asked = change(cell(), "unit", tilt_range=(deg(-30), deg(60)))
    found = ask(asked)
    assert found.verdict is Verdict.NO and "beyond the limits of the tilt" in found.headline
    bare = tuple(replace(item, pose=None) for item in FACES)
    lost = ask(replace(asked, parts=(Part(name="p", faces=bare),)))
    assert lost.verdict is Verdict.NO and "beyond a limit" in lost.headline
    assert [row["x"] is None for row in rows(lost)[:3]] == [False, True, True]


def test_uncertainty_above_what_is_wanted_is_a_condition() -> None:
    asked = doubtful()
    fine = replace(asked, readings=replace(asked.readings, wanted=mm(0.5)))
    coarse = replace(asked, readings=replace(asked.readings, wanted=mm(0.001)))
    assert answer(measured(fine)).verdict is Verdict.YES
    found = answer(measured(coarse))
    assert found.verdict is Verdict.YES_IF
    assert found.figure("worst_uncertainty").limit == pytest.approx(0.001)


def test_a_tool_too_long_for_a_zero_is_named() -> None:
    asked = replace(cell(), tools=(Tool(number=7, length=mm(300)), Tool(number=8, length=mm(90))))
    found = ask(asked)
    assert any("Tool 7 is too long" in text for text in found.cautions)
    by_word = {row["word"]: row["tools"] for row in rows(found, "reach")}
    assert by_word["G55"] == "T7 too long" and by_word["G56"] == "none"


@pytest.mark.parametrize(
    ("section", "entry", "where"),
    [
        ("control", "tilt_sense", "control.tilt_sense"),
        ("unit", "face_height", "unit.face_height"),
        ("placement", "centre_x", "placement.centre_x"),
        ("machine", "gauge_to_table", "machine.gauge_to_table"),
    ],
)
def test_a_missing_entry_is_named_with_how_to_get_it(section, entry, where) -> None:
    found = ask(change(cell(), section, **{entry: None}))
    assert found.verdict is Verdict.CANNOT_TELL
    named = {item.where: item for item in found.missing}
    assert f"cell.toml: {where}" in named
    assert all(item.how_to_get_it and item.why for item in found.missing)


def test_an_empty_cell_names_everything_at_once() -> None:
    found = ask(Cell())
    wanted = {item.where.split(": ")[1] for item in found.missing}
    assert found.verdict is Verdict.CANNOT_TELL
    assert {
        "stations", "parts", "control.tilt_sense", "control.rotary_sense", "placement.tilt_along",
    } <= wanted  # fmt: skip


def test_faces_without_zero_or_direction_and_unknown_parts_are_named() -> None:
    faces = (replace(FACES[0], zero=None), replace(FACES[1], normal=None, pose=None))
    asked = replace(cell(), parts=(Part(name="p", faces=faces), Part(name="q")))
    named = {item.where.split(": ")[1] for item in ask(asked).missing}
    assert "stations[1].part" in named
    stations = (Station(name="1", part="p", at=None), Station(name="2", part="none", at=None))
    named = {item.where.split(": ")[1] for item in ask(replace(asked, stations=stations)).missing}
    assert {"stations[1].at", "parts.faces[1].zero", "parts.faces[2].normal"} <= named
    assert "stations[2].part" in named


def test_only_the_faces_named_at_a_station_are_counted() -> None:
    stations = (Station(name="1", at=point(0, 0, 0), faces=("front",)),)
    assert [row["face"] for row in rows(ask(replace(cell(), stations=stations)))] == ["front"]
    odd = (Station(name="1", at=point(0, 0, 0), faces=("back",)),)
    found = ask(replace(cell(), stations=odd))
    assert found.verdict is Verdict.CANNOT_TELL and "'back'" in found.missing[0].what


# --- 5. What goes stale -------------------------------------------------------------------


def stale(found: Answer) -> dict[str, dict[str, object]]:
    return {str(row["event"]): row for row in rows(found, "goes_stale")}


def test_what_goes_stale_is_acted_out() -> None:
    words = tuple(f"P{i}" for i in range(1, 13))
    got = stale(ask(change(cell(), "control", offset_words=words)))
    assert got["unit shifted in X"]["stale"] == "all 12"
    assert got["unit shifted in X"]["axes"] == "X"
    assert got["unit shifted in X"]["most"] == pytest.approx(0.01)
    # The tilt line has no say at tilt zero; at 90 deg a shift d moves a zero by sqrt(2) d.
    assert got["tilt line elsewhere, sideways"]["stale"] == "8 at A90"
    assert got["tilt line elsewhere, sideways"]["most"] == pytest.approx(
        0.01 * math.sqrt(2), abs=1e-6
    )
    assert got["seat of station 2, in height"]["stale"] == "P4 P5 P6"
    assert got["tool length reference changed"]["stale"] == "none"


def test_touched_off_lengths_make_every_z_depend_on_the_reference() -> None:
    asked = change(cell(), "control", lengths_from="work", length_reference=mm(-600))
    row = stale(ask(asked))["tool length reference changed"]
    assert (row["stale"], row["axes"]) == ("all 12", "Z")


# --- 6. House rules -----------------------------------------------------------------------


def test_the_module_reads_as_the_users_page() -> None:
    assert offsets.__doc__ is not None
    assert offsets.__doc__.splitlines()[0] == offsets.ASKS
    for heading in ("What it answers", "Why it matters", "When it can mislead", "Sources"):
        assert f"{heading}\n{'-' * len(heading)}\n" in offsets.__doc__


def test_lacking_is_raised_by_the_finding_itself() -> None:
    with pytest.raises(Lacking):
        _ = findings(Cell()).offsets
