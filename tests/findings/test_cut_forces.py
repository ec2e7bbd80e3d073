"""Cutting forces of operations: which entry is used, how wide, what is open, what they load."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.model import Cell, Operation, Tool
from gudgeon.findings import Findings
from gudgeon.findings.cut_estimates import Push
from gudgeon.findings.cut_forces import CutForces, forces_of
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.show import Units
from gudgeon.questions.holds import answer
from gudgeon.strength import cutting
from tests.questions.towers import a, at, change, deg, tower

RPM = 2.0 * math.pi / 60.0
CUTTER = (Tool(number=1, cutter_diameter=a(16.0)), Tool(number=2))
PLACED: dict[str, Any] = {
    "pose": (deg(30.0), deg(40.0)),
    "at": at(10.0, -80.0, 170.0),
    "measured_from": "platter face",
}
MILL = Operation(
    name="mill",
    tool=1,
    depth=a(2.0),
    width=a(6.0),
    teeth=3,
    feed_per_tooth=a(0.08),
    pressure_at_1mm=a(2220.0),
    pressure_exponent=a(0.14),
    speed=a(3000.0 * RPM),
    **PLACED,
)
DRILL = Operation(
    name="drill",
    drill_diameter=a(10.0),
    feed_per_turn=a(0.2),
    cutting_pressure=a(2000.0),
    speed=a(800.0 * RPM),
    **PLACED,
)


def forces(operation: Operation, rated: float | None = None) -> CutForces:
    limit = None if rated is None else a(rated)
    return forces_of(operation, "operations[1]", CUTTER, "cell.toml", Units(), limit)


def value(push: Push | None) -> float:
    assert push is not None
    return push.value


def spread(push: Push | None) -> float:
    assert push is not None and push.plus_minus is not None
    return push.plus_minus


def cell(*operations: Operation, **entries: Any) -> Cell:
    return replace(tower(), operations=operations, tools=CUTTER, **entries)


def ask(*operations: Operation) -> Answer:
    return answer(Findings(cell(*operations)))


# --- sizes ------------------------------------------------------------------------------------


def test_a_cutter_by_the_law_by_hand() -> None:
    """One of three teeth in 75.5 deg: kc1.1 ap (fz sin)^0.86 at the end, times sqrt(1 + 0.4^2)."""
    found = forces(MILL)
    arc = math.acos(1.0 - 2.0 * 6.0 / 16.0)
    rim = 2220.0 * 2.0 * (0.08 * math.sin(arc)) ** 0.86
    assert found.way == "law" and found.work == "mills" and found.lifts
    assert value(found.side) == pytest.approx(rim * math.sqrt(1.16), rel=1e-6)
    assert value(found.thrust) == pytest.approx(0.4 * rim, rel=1e-6)
    assert value(found.twist) == pytest.approx(rim * 8.0 / 1000.0, rel=1e-6)
    assert spread(found.side) > 0.4 * value(found.side)
    assert found.chip.most_mm == pytest.approx(0.08 * math.sin(arc))
    assert found.chip.mean_mm == pytest.approx(0.08 * 0.75 / arc)
    assert found.chip.pressure_mpa == pytest.approx(2220.0 * (0.06 / arc) ** -0.14)


def test_law_and_spindle_load_agree_where_the_power_is_that_of_the_law() -> None:
    """Power balance through both ways; nine tenths of the reading reach the cutter."""
    by_law = forces(MILL)
    assert by_law.chip.power_w is not None
    reading = a(by_law.chip.power_w / 0.9)
    by_power = forces(replace(MILL, spindle_power=reading))
    assert by_power.way == "power" and not by_power.cautions
    assert value(by_power.side) == pytest.approx(value(by_law.side), rel=1e-6)
    assert value(by_power.twist) == pytest.approx(value(by_law.twist), rel=1e-6)
    # The load narrows it, and its own range counts.
    assert spread(by_power.side) < 0.7 * spread(by_law.side)
    sure = replace(MILL, spindle_power=Amount(reading.value, 0.02 * reading.value))
    assert spread(forces(sure).side) < spread(by_power.side)


def test_a_thin_cut_by_power_needs_no_table() -> None:
    """2 P / (w D) = 0.9 * 1000 / (100 pi * 8 mm) = 358.1 N on the rim; unknown arc: twice it."""
    bare = Operation(name="m", tool=1, width=a(6.0), spindle_power=a(1000.0), speed=a(3000.0 * RPM))
    found = forces(bare)
    rim = 0.9 * 1000.0 / (100.0 * math.pi * 0.008)
    assert value(found.twist) == pytest.approx(2.0 * rim * 0.008)
    assert spread(found.side) > 0.5 * value(found.side)
    assert found.open is not None and found.open.where == "cell.toml: operations[1].teeth"


def test_a_drill_by_every_way_is_the_same_drill() -> None:
    """CF-040: 5 N m; CF-042: 857.17 N; CF-010's law at the chip of the lips gives kc = 2000."""
    fixed = forces(DRILL)
    assert value(fixed.twist) == pytest.approx(5.0)
    assert value(fixed.thrust) == pytest.approx(857.1673007021124)
    assert spread(fixed.thrust) == pytest.approx(0.5 * 857.167, rel=0.02)
    chip = 0.1 * math.sin(math.radians(59.0))
    law = replace(
        DRILL,
        cutting_pressure=None,
        pressure_at_1mm=a(2000.0 * chip**0.2),
        pressure_exponent=a(0.2),
    )
    assert value(forces(law).thrust) == pytest.approx(857.1673007021124)
    load = a(cutting.drilling_power(2000.0, 10.0, 0.2, 400.0 * RPM * 10.0) / 0.9)
    loaded = forces(replace(law, spindle_power=load))
    assert loaded.way == "power" and loaded.side is None
    assert value(loaded.twist) == pytest.approx(5.0)
    assert value(loaded.thrust) == pytest.approx(857.1673007021124)


def test_how_deep_a_drill_goes_is_no_depth_of_cut() -> None:
    deep = replace(DRILL, depth=a(30.0))
    assert forces(deep).depth is None
    assert value(forces(deep).thrust) == value(forces(DRILL).thrust)
    assert forces(MILL).depth == MILL.depth


def test_an_exponent_left_out_is_assumed_with_a_range() -> None:
    known, open_ = forces(MILL), forces(replace(MILL, pressure_exponent=None))
    assert spread(open_.side) / value(open_.side) > spread(known.side) / value(known.side)
    stated = forces(replace(MILL, pressure_exponent=a(0.25)))
    assert value(open_.side) == pytest.approx(value(stated.side))


def test_what_is_entered_as_a_force_goes_before_all_else() -> None:
    found = forces(replace(MILL, side_force=a(500.0, 50.0), spindle_power=a(800.0)))
    assert value(found.side) == 500.0 and spread(found.side) == pytest.approx(50.0)
    assert not found.estimated and found.open is None
    # What else it does stays in step with what was measured.
    assert value(found.thrust) == pytest.approx(0.4 * 500.0 / math.sqrt(1.16), rel=1e-6)
    assert value(found.twist) == pytest.approx(500.0 / math.sqrt(1.16) * 0.008, rel=1e-6)
    drilled = forces(replace(DRILL, thrust=a(700.0)))
    assert value(drilled.thrust) == 700.0 and value(drilled.twist) == pytest.approx(5.0)


factors = st.floats(1.0, 5.0)


@given(factors, st.sampled_from(["depth", "feed_per_tooth", "pressure_at_1mm"]))
def test_more_of_anything_is_never_less_force(more, entry) -> None:
    one = forces(MILL)
    bigger = replace(MILL, **{entry: a(more * getattr(MILL, entry).value)})
    for push in ("thrust", "side", "twist"):
        low, high = value(getattr(one, push)), value(getattr(forces(bigger), push))
        assert high >= low * (1.0 - 1e-9)


@given(factors)
def test_more_power_is_in_proportion_and_more_speed_the_other_way(more) -> None:
    loaded = replace(MILL, spindle_power=a(900.0))
    one = value(forces(loaded).side)
    assert value(forces(replace(loaded, spindle_power=a(900.0 * more))).side) == pytest.approx(
        more * one
    )
    faster = replace(loaded, speed=a(3000.0 * RPM * more))
    assert value(forces(faster).side) == pytest.approx(one / more)


# --- contradictions and gaps ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("operation", "rated", "words"),
    [
        (replace(MILL, side_force=a(3000.0)), None, "side_force is used"),
        (replace(DRILL, thrust=a(200.0)), None, "thrust is used"),
        (replace(MILL, spindle_power=a(6000.0)), None, "the first is used"),
        (replace(MILL, width=a(20.0)), None, "which is used"),
        (replace(MILL, depth=a(20.0)), 3000.0, "it would stall"),
        (replace(DRILL, pressure_at_1mm=a(3000.0)), None, "the first is used"),
    ],
)
def test_contradictions_are_told_with_what_is_used(operation, rated, words) -> None:
    told = forces(operation, rated).cautions
    assert len(told) == 1 and words in told[0] and operation.name in told[0]
    assert not any(forces(one, 7500.0).cautions for one in (MILL, DRILL))
    assert told[0] in answer(Findings(_with_rated(operation, rated))).cautions


def _with_rated(operation: Operation, rated: float | None) -> Cell:
    whole = cell(operation)
    return whole if rated is None else change(whole, "machine.spindle_power", a(rated))


BARE = Operation(name="cut", **PLACED)


@pytest.mark.parametrize(
    ("operation", "asked"),
    [
        (BARE, "operations[1].spindle_power"),
        (replace(BARE, spindle_power=a(500.0), tool=1), "operations[1].speed"),
        (replace(BARE, spindle_power=a(500.0), speed=a(100.0)), "operations[1].tool"),
        (replace(BARE, spindle_power=a(500.0), speed=a(100.0), tool=1), "operations[1].width"),
        (replace(BARE, spindle_power=a(500.0), speed=a(9.0), tool=2), "tools[2].cutter_diameter"),
        (replace(BARE, spindle_power=a(500.0), speed=a(9.0), tool=7), "tools"),
        (replace(MILL, teeth=None), "operations[1].spindle_power"),
        (replace(MILL, teeth=None, speed=None), "operations[1].teeth"),
        (replace(MILL, pressure_at_1mm=None, speed=None), "operations[1].pressure_at_1mm"),
        (replace(DRILL, feed_per_turn=None, speed=None), "operations[1].feed_per_turn"),
        (replace(DRILL, drill_diameter=None), "operations[1].drill_diameter"),
        (replace(DRILL, cutting_pressure=None), "operations[1].spindle_power"),
    ],
)
def test_the_one_entry_that_settles_the_force_is_named(operation, asked) -> None:
    """Where two entries would each settle it, the reading of the spindle load goes first."""
    found = forces(operation)
    assert found.thrust is None and found.side is None
    assert found.open is not None and found.open.where == f"cell.toml: {asked}"
    told = ask(operation)
    assert told.verdict is Verdict.CANNOT_TELL
    assert asked.split("].")[-1] in " ".join(item.where for item in told.missing)


ENTRIES: dict[str, Any] = {
    "thrust": a(300.0),
    "side_force": a(300.0, 20.0),
    "tool": 1,
    "drill_diameter": a(8.0, 9.0),
    "feed_per_turn": a(0.1, 0.3),
    "cutting_pressure": a(1800.0, 4000.0),
    "pressure_at_1mm": a(2000.0, 300.0),
    "pressure_exponent": a(0.9, 0.4),
    "depth": a(2.0, 5.0),
    "width": a(5.0, 12.0),
    "teeth": 4,
    "feed_per_tooth": a(0.1, 0.3),
    "speed": a(100.0, 300.0),
    "spindle_power": a(0.0, 100.0),
}


@settings(max_examples=60, deadline=None)
@given(st.sets(st.sampled_from(sorted(ENTRIES))))
def test_any_entries_in_any_ranges_give_forces_or_name_what_is_missing(names) -> None:
    operation = Operation(name="cut", **{name: ENTRIES[name] for name in names}, **PLACED)
    found = forces(operation, 5000.0)
    for push in (found.thrust, found.side, found.twist):
        if push is not None:
            assert push.value >= 0.0 and math.isfinite(push.value)
            assert push.plus_minus is None or math.isfinite(push.plus_minus)
    if found.thrust is None and found.side is None:
        assert found.open is not None
    told = ask(operation)
    assert told.verdict in Verdict


# --- what they load ---------------------------------------------------------------------------


def vectors(operation: Operation, given_: CutForces) -> tuple[float, float]:
    """Torques on both brakes from force vectors and the spindle's torque, worst signs."""
    whole = tower()
    assert whole.unit.face_height is not None and operation.pose is not None
    senses = whole.control.tilt_sense or 0, whole.control.rotary_sense or 0
    chain = WorkChain(
        (
            TurningAxis("tilt", AxisLine((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), senses[0]),
            TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), senses[1]),
        )
    )
    pose = [angle.value for angle in operation.pose]
    x, y, z = (one.value for one in operation.at or ())
    cut = chain.points(pose, [x, y, z + whole.unit.face_height.value])
    line = chain.directions(pose, [0.0, 0.0, 1.0])
    ways = np.linspace(0.0, 2.0 * np.pi, 3601)
    level = np.stack([np.cos(ways), np.sin(ways), 0.0 * ways], axis=-1)
    side = value(given_.side) if given_.side else 0.0
    found = []
    for axis in ([1.0, 0.0, 0.0], line):
        down = np.cross(cut, [0.0, 0.0, -value(given_.thrust)]) @ axis
        aside = np.cross(cut, side * level) @ axis
        spindle = np.array([0.0, 0.0, -1000.0 * value(given_.twist)]) @ axis
        found.append((abs(down) + np.abs(aside).max() + abs(spindle)) / 1000.0)
    return found[0], found[1]


@settings(max_examples=25, deadline=None)
@given(
    st.tuples(st.floats(-95.0, 95.0), st.floats(-180.0, 180.0)),
    st.tuples(st.floats(-150.0, 150.0), st.floats(-150.0, 150.0), st.floats(0.0, 200.0)),
    st.sampled_from([MILL, DRILL]),
)
def test_brakes_feel_force_and_torque_as_the_pose_turns_them(pose, place, kind) -> None:
    operation = replace(kind, pose=(deg(pose[0]), deg(pose[1])), at=at(*place))
    findings = Findings(cell(operation))
    checks, gaps = findings.brake_checks
    assert not gaps.missing
    expected = dict(zip(("tilt", "rotary"), vectors(operation, forces(operation)), strict=True))
    seen = {check.role for check in checks}
    assert "tilt" in seen
    for check in checks:
        assert check.demand is not None
        asked = check.demand.value - check.gravity_nm
        assert asked == pytest.approx(expected[check.role], rel=1e-5, abs=1e-4)


def test_a_drill_over_the_level_platter_loads_the_rotary_brake_with_its_torque_alone() -> None:
    flat = replace(DRILL, pose=(deg(0.0), deg(0.0)), at=at(0.0, 0.0, 120.0))
    checks = {check.role: check for check in Findings(cell(flat)).brake_checks[0]}
    rotary = checks["rotary"].demand
    assert rotary is not None and rotary.value == pytest.approx(5.0)
    assert rotary.plus_minus == pytest.approx(1.5)
    upright = replace(flat, pose=(deg(90.0), deg(0.0)), at=at(0.0, 0.0, 0.0))
    alone = {c.role: c for c in Findings(cell(upright)).brake_checks[0]}["rotary"]
    assert alone.demand is not None
    assert alone.demand.value == pytest.approx(alone.gravity_nm)


def test_the_spindles_torque_twists_the_fixture_where_the_platter_lies_level() -> None:
    """Over the middle nothing else twists: 5 N m level, none upright."""
    flat = replace(DRILL, pose=(deg(0.0), deg(0.0)), at=at(0.0, 0.0, 120.0))
    assert Findings(cell(flat)).fixture_joint.checks[0].twist_nm == pytest.approx(5.0)
    assert Findings(cell(flat)).table_joint.checks[0].twist_nm == pytest.approx(5.0)
    up = replace(flat, pose=(deg(90.0), deg(0.0)))
    twisted = Findings(cell(up)).fixture_joint.checks[0].twist_nm
    measured = replace(up, drill_diameter=None, feed_per_turn=None, thrust=a(857.1673007021124))
    alone = Findings(cell(measured)).fixture_joint.checks[0]
    assert twisted == pytest.approx(alone.twist_nm)
    # Upright it tips the foot instead: M / (3 r) on the worst of six bolts 75 mm from the middle.
    tipped = Findings(cell(up)).fixture_joint.checks[0].pull_n
    assert tipped is not None and alone.pull_n is not None
    assert tipped - alone.pull_n == pytest.approx(5000.0 / (3.0 * 75.0))


def test_a_cutter_that_may_pull_upwards_loosens_the_fixture() -> None:
    flat = replace(MILL, pose=(deg(0.0), deg(0.0)))
    found = Findings(cell(flat)).fixture_joint.checks[0]
    own = forces(flat)
    pushed = replace(flat, thrust=a(value(own.thrust)), side_force=a(value(own.side)))
    other = Findings(cell(pushed)).fixture_joint.checks[0]
    assert found.pull_n is not None and other.pull_n is not None
    assert found.pull_n - other.pull_n == pytest.approx(value(own.thrust) / 6.0)


def test_forces_of_one_estimate_are_unsure_together() -> None:
    """Thrust and side force grow with the same law: on the tilt brake their ranges add."""
    check = next(c for c in Findings(cell(MILL)).brake_checks[0] if c.role == "tilt")
    assert check.demand is not None
    own = forces(MILL)
    side_nm = check.demand.value - check.gravity_nm - value(own.thrust) * check.lever_mm / 1000.0
    law = 0.4 * (check.demand.value - check.gravity_nm)
    axial = 0.75 * value(own.thrust) * check.lever_mm / 1000.0
    radial = 0.09 / math.sqrt(1.16) * side_nm
    expected = math.sqrt(law**2 + axial**2 + radial**2)
    assert check.demand.plus_minus == pytest.approx(expected, rel=1e-3)


# --- in the answer ----------------------------------------------------------------------------


def test_the_answer_tells_where_forces_come_from_and_what_flips_it() -> None:
    light = ask(replace(MILL, depth=a(0.5)))
    assert light.verdict is Verdict.YES
    table = light.table("forces")
    names = [column.name for column in table.columns]
    row = dict(zip(names, table.rows[0], strict=True))
    assert "specific cutting force" in str(row["rests_on"]) and row["teeth"] == 1.0
    assert any('"mill" are estimated by the law' in text for text in light.assumed)
    heavy = ask(replace(MILL, depth=a(12.0)))
    assert heavy.verdict is Verdict.NO and heavy.flips is not None
    assert "at a depth of cut of" in heavy.flips
    assert heavy.fix is not None and "no deeper than" in heavy.fix


def test_the_depth_that_is_told_holds_for_sure_and_a_bit_more_does_not() -> None:
    heavy = ask(replace(MILL, depth=a(12.0)))
    assert heavy.fix is not None
    depth = float(heavy.fix.partition("no deeper than ")[2].partition(" mm")[0])
    states = []
    for share in (0.999, 1.05):
        checks = Findings(cell(replace(MILL, depth=a(share * depth)))).brake_checks[0]
        states.append({c.demand.state for c in checks if c.demand and c.role == "tilt"})
    assert states == [{"holds"}, {"unsure"}]


def test_a_spindle_load_a_little_too_high_is_a_condition_to_keep() -> None:
    """At 0.9 kW the brake gives way for sure; what it surely holds is over half of that."""
    exact = replace(MILL, spindle_power=Amount(900.0, 1.0), at=at(0.0, 0.0, 175.0))
    found = ask(exact)
    assert found.verdict is Verdict.YES_IF, found.headline
    assert 'the spindle load of "mill" stays under' in found.headline


# --- stations and other poses -----------------------------------------------------------------


def test_empty_stations_and_stations_left_out_are_not_cut() -> None:
    whole = tower()
    drill = replace(whole.operations[0], at=None)
    all_four = replace(whole, operations=(drill,))
    assert len(Findings(all_four).cuts) == 4
    empty = change(all_four, "stations.1.empty", True)
    found = Findings(empty)
    assert {cut.name for cut in found.cuts} == {f"drill, {s}" for s in ("front", "right", "left")}
    assert "No part is loaded at: back; no operation cuts there." in found.masses_assumed
    some = replace(all_four, operations=(replace(drill, stations=("left", "back")),))
    assert [cut.name for cut in Findings(some).cuts] == ["drill, back", "drill, left"]


def test_an_empty_station_leaves_the_tower_out_of_balance() -> None:
    """Three of four parts of 1 kg, 80 mm from the rotary line, upright: the fourth is missing."""
    whole = Findings(tower())
    empty = Findings(change(tower(), "stations.3.empty", True))
    assert whole.part_names == ("front", "back", "right", "left")
    assert empty.part_names == ("front", "back", "right")
    assert whole.rotary_torque.torque.full.value == pytest.approx(0.0, abs=1e-9)
    assert empty.rotary_torque.torque.full.value == pytest.approx(0.08 * 9.80665)
    assert len(empty.platter_load_flat.values) == 4


def with_other_pose(thrust: float, level_first: bool) -> Answer:
    """Ask about a drill into the outside (tilt 90) that may be set as the top too (level)."""
    whole = tower()
    face, other = ("outside", "top") if not level_first else ("top", "outside")
    drill = replace(
        whole.operations[0], face=face, other_poses=(other,), thrust=a(thrust), stations=("front",)
    )
    return answer(Findings(replace(whole, operations=(drill,))))


def test_another_pose_in_which_the_brake_holds_is_the_condition() -> None:
    light = with_other_pose(300.0, level_first=False)
    assert light.verdict is Verdict.YES
    heavy = with_other_pose(1200.0, level_first=False)
    assert heavy.verdict is Verdict.YES_IF
    assert '"drill, front" is cut in the pose of "top"' in heavy.headline
    names = [row[0] for row in heavy.table("operations").rows]
    assert any('pose of "top"' in str(name) for name in names)


def test_another_pose_that_does_not_hold_either_is_no_way_out() -> None:
    found = with_other_pose(4000.0, level_first=False)
    assert found.verdict is Verdict.NO
    assert 'in the pose of "top"' not in found.headline + str(found.fix) + found.next_step


def test_another_pose_in_which_it_does_not_hold_is_left_out() -> None:
    heavy = with_other_pose(1200.0, level_first=True)
    assert heavy.verdict is Verdict.YES_IF
    assert '"drill, front" is not cut in the pose of "outside"' in heavy.headline
    limit = heavy.figure("brake_demand").limit
    value_ = heavy.figure("brake_demand").value
    assert value_ is not None and limit is not None and value_ <= limit
