"""Single times of a cell: against closed forms, with their ranges, and what each one asks for."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.cell.files import load, load_text
from gudgeon.findings import Findings, Lacking
from gudgeon.timing.limits import MixedFeed

DEMO = Path(__file__).parents[2] / "demo"

MACHINE = """
[machine]
travel_z = ["-400 mm", "0 mm"]
[machine.motion]
rapid_x = "500 mm/s"
rapid_y = "400 mm/s"
rapid_z = "300 mm/s"
acceleration_x = "2500 mm/s2"
acceleration_z = "2000 mm/s2"
jerk_x = "1e9 m/s3"
"""
UNIT = """
[unit]
kind = "tilt and rotary"
tilt_range = ["-110 deg", "110 deg"]
[unit.motion]
tilt_speed = "60 deg/s"
rotary_speed = "150 deg/s"
tilt_acceleration = "300 deg/s2"
rotary_acceleration = "600 deg/s2"
tilt_jerk = "1e12 deg/s3"
rotary_jerk = "1e12 deg/s3"
tilt_unclamp = "0.3 s"
tilt_clamp = "0.5 s"
rotary_unclamp = "0.4 s"
rotary_clamp = "0.6 s"
"""
CONTROL = """
[control]
rapids = "each axis alone"
rotary_turns = "shortest way"
"""
TIMING = """
[timing]
corners = "exact stop"
tool_change = "4 s +- 0.3 s"
spindle_start = "1.5 s +- 0.4 s"
spindle_stop = "1 s"
"""
WHOLE = MACHINE + UNIT + CONTROL + TIMING


def deg(*angles: float) -> tuple[float, float]:
    tilt, turn = angles
    return math.radians(tilt), math.radians(turn)


def findings(text: str = WHOLE) -> Findings:
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return Findings(loaded.cell)


def without(key: str, text: str = WHOLE) -> str:
    kept = [line for line in text.splitlines() if not line.startswith(f"{key} =")]
    assert len(kept) < len(text.splitlines())
    return "\n".join(kept)


def test_an_index_is_unclamp_turn_and_clamp() -> None:
    found = findings().index_time(deg(0, 0), deg(0, 90))

    assert found.value == pytest.approx(1.85, abs=1e-6)  # MT-043: 0.4 + 0.85 + 0.6
    assert found.plus_minus == 0.0
    assert found.assumed == ()


def test_of_two_axes_each_alone_the_slower_counts() -> None:
    found = findings().index_time(deg(0, 0), deg(90, 90))

    # 90 deg of the tilt: 90/60 + 60/300; the longest of each clamp
    assert found.value == pytest.approx(0.4 + 1.7 + 0.6, abs=1e-6)


def test_two_axes_on_a_straight_line_take_no_less() -> None:
    text = WHOLE.replace("each axis alone", "straight")

    assert findings(text).index_time(deg(0, 0), deg(90, 90)).value == pytest.approx(
        0.4 + 1.7 + 0.6, abs=1e-6
    )
    # on a line no limit of either axis is passed, so it takes no less than each alone
    alone = findings().index_time(deg(0, 0), deg(60, 90)).value
    assert findings(text).index_time(deg(0, 0), deg(60, 90)).value >= alone


def test_rapids_of_several_axes_that_are_not_entered_widen_the_range() -> None:
    free = findings(without("rapids"))
    alone, line = findings(), findings(WHOLE.replace("each axis alone", "straight"))
    poses = deg(0, 0), deg(10, 90)
    ends = [one.index_time(*poses).value for one in (alone, line)]
    found = free.index_time(*poses)

    assert found.value == pytest.approx(sum(ends) / 2.0)
    assert found.plus_minus == pytest.approx(abs(ends[1] - ends[0]) / 2.0)
    assert any("control.rapids" in text for text in found.assumed)


def test_the_rotary_goes_the_way_the_control_says() -> None:
    shortest = findings().index_time(deg(0, 10), deg(0, 350)).value
    written = findings(WHOLE.replace("shortest way", "as written"))

    assert shortest == pytest.approx(1.0 + 2.0 * math.sqrt(20.0 / 600.0), abs=1e-6)
    assert written.index_time(deg(0, 10), deg(0, 350)).value == pytest.approx(
        1.0 + 340.0 / 150.0 + 0.25, abs=1e-6
    )


def test_a_way_round_that_is_not_known_widens_the_range_and_is_told() -> None:
    found = findings(without("rotary_turns")).index_time(deg(0, 10), deg(0, 350))
    ends = (1.0 + 2.0 * math.sqrt(20.0 / 600.0), 1.0 + 340.0 / 150.0 + 0.25)

    assert found.value == pytest.approx(sum(ends) / 2.0, abs=1e-6)
    assert found.plus_minus == pytest.approx((ends[1] - ends[0]) / 2.0, abs=1e-6)
    assert any("control.rotary_turns" in text for text in found.assumed)


def test_standing_still_takes_no_time() -> None:
    assert findings().index_time(deg(30, 40), deg(30, 40)).value == 0.0
    assert findings().index_time(deg(30, 0), deg(30, 360)).value == 0.0
    assert findings().travel_time((1.0, 2.0, 3.0), (1.0, 2.0, 3.0)).value == 0.0


def test_settling_counts_once_an_index() -> None:
    text = WHOLE + 'settle = "0.2 s +- 0.1 s"\n'
    found = findings(text).index_time(deg(0, 0), deg(0, 90))

    assert found.value == pytest.approx(2.05, abs=1e-6)
    assert found.plus_minus == pytest.approx(0.1, abs=1e-9)


def test_a_speed_with_a_range_gives_a_time_with_a_range() -> None:
    text = WHOLE.replace('"150 deg/s"', '"150 deg/s +- 15 deg/s"')
    found = findings(text).index_time(deg(0, 0), deg(0, 180))
    slow, fast = (1.0 + 180.0 / v + v / 600.0 for v in (135.0, 165.0))

    assert found.value == pytest.approx((slow + fast) / 2.0, abs=1e-6)
    assert found.plus_minus == pytest.approx((slow - fast) / 2.0, abs=1e-6)


def test_reasons_that_differ_are_added_as_the_root_of_squares() -> None:
    text = WHOLE.replace('"150 deg/s"', '"150 deg/s +- 15 deg/s"')
    text = text.replace('rotary_clamp = "0.6 s"', 'rotary_clamp = "0.6 s +- 0.2 s"')
    one = findings(WHOLE.replace('"150 deg/s"', '"150 deg/s +- 15 deg/s"'))
    poses = deg(0, 0), deg(0, 180)

    assert findings(text).index_time(*poses).plus_minus == pytest.approx(
        math.hypot(one.index_time(*poses).plus_minus, 0.2)
    )


BOTH = """
[[control.words]]
word = "M68"
means = "no motion"
brakes = "clamps both"
[[control.words]]
word = "M69"
means = "no motion"
brakes = "frees both"
"""


def test_a_word_that_works_both_brakes_takes_the_longer_at_any_index() -> None:
    text = WHOLE.replace('tilt_clamp = "0.5 s"', 'tilt_clamp = "0.9 s"') + BOTH

    assert findings(text).index_time(deg(0, 0), deg(0, 90)).value == pytest.approx(
        0.4 + 0.85 + 0.9, abs=1e-6
    )
    alone = BOTH.replace("both", "rotary")
    assert findings(text.replace(BOTH, alone)).index_time(deg(0, 0), deg(0, 90)).value == (
        pytest.approx(1.85, abs=1e-6)
    )


def test_an_acceleration_left_out_is_told_with_a_wide_range() -> None:
    sure = findings().index_time(deg(0, 0), deg(0, 90))
    found = findings(without("rotary_acceleration")).index_time(deg(0, 0), deg(0, 90))

    assert found.plus_minus > 0.1
    assert found.value - found.plus_minus < sure.value < found.value + found.plus_minus
    [told] = [text for text in found.assumed if "rotary_acceleration" in text]
    assert "common practice, no source" in told
    assert "150" in told
    assert "2400" in told


def test_a_jerk_left_out_can_only_make_it_longer() -> None:
    sure = findings().index_time(deg(0, 0), deg(0, 90))
    found = findings(without("rotary_jerk")).index_time(deg(0, 0), deg(0, 90))

    assert found.value - found.plus_minus == pytest.approx(sure.value, abs=1e-6)
    # a ramp of 0.1 s: D/V + V/A + A/J
    assert found.value + found.plus_minus == pytest.approx(sure.value + 0.1, abs=1e-6)


def test_clamps_left_out_count_nothing_and_are_told() -> None:
    text = without("rotary_clamp", without("rotary_unclamp"))
    found = findings(text).index_time(deg(0, 0), deg(0, 90))

    assert found.value == pytest.approx(0.85, abs=1e-6)
    assert any("unit.motion.rotary_unclamp, unit.motion.rotary_clamp" in t for t in found.assumed)


@pytest.mark.parametrize(
    ("key", "where"),
    [
        ("rotary_speed", "unit.motion.rotary_speed"),
        ("tilt_speed", "unit.motion.tilt_speed"),
    ],
)
def test_a_speed_left_out_is_asked_for_by_the_axis_that_moves(key: str, where: str) -> None:
    free = findings(without(key))
    other, own = deg(0, 90), deg(90, 0)
    if key == "rotary_speed":
        other, own = own, other

    assert free.index_time(deg(0, 0), other).value > 1.0
    with pytest.raises(Lacking) as lacking:
        free.index_time(deg(0, 0), own)
    assert [one.where for one in lacking.value.missing] == [f"cell.toml: {where}"]


def test_one_entry_stands_for_the_rapids_of_x_y_and_z() -> None:
    text = without("rapid_x", without("rapid_y", without("rapid_z")))

    with pytest.raises(Lacking) as lacking:
        findings(text).travel_time((0.0, 0.0, 0.0), (9.0, 9.0, 0.0), 0.0)
    assert [one.where for one in lacking.value.missing] == ["cell.toml: machine.motion.rapid_x"]


def test_limits_of_every_axis_with_y_and_z_as_x() -> None:
    limits = findings(without("rapid_z")).axis_limits

    assert limits.speed[:3].tolist() == [500.0, 400.0, 500.0]
    assert limits.acceleration[:3].tolist() == [2500.0, 2500.0, 2000.0]
    assert limits.speed[3:] == pytest.approx([math.radians(60), math.radians(150)])


def test_the_override_of_rapids_slows_all_axes() -> None:
    text = WHOLE.replace("[machine.motion]", '[machine.motion]\nrapid_share = "50 %"')

    assert findings(text).axis_limits.speed[0] == pytest.approx(250.0)
    assert findings(text).axis_limits.speed[4] == pytest.approx(math.radians(75))


def test_travel_goes_up_over_and_down() -> None:
    found = findings().travel_time((0.0, 0.0, -100.0), (100.0, 0.0, -100.0))
    z = 100.0 / 300.0 + 300.0 / 2000.0
    x = 0.4  # MT-000

    assert found.value == pytest.approx(2.0 * z + x, abs=1e-6)


def test_a_plane_below_the_top_saves_time_and_never_lies_below_an_end() -> None:
    ends = (0.0, 0.0, -100.0), (100.0, 0.0, -60.0)
    top, plane, low = (findings().travel_time(*ends, z).value for z in (None, -50.0, -500.0))
    level = findings().travel_time(*ends, -60.0).value

    assert plane < top
    assert low == level < plane


def test_travel_to_the_top_asks_for_the_travel_of_z() -> None:
    with pytest.raises(Lacking) as lacking:
        findings(without("travel_z")).travel_time((0.0, 0.0, -9.0), (9.0, 0.0, -9.0))
    assert lacking.value.missing[0].where == "cell.toml: machine.travel_z"


def test_a_change_is_its_time_and_that_of_the_spindle() -> None:
    found = findings().tool_change_time()

    assert found.time.value == pytest.approx(6.5)
    assert found.time.plus_minus == pytest.approx(0.5)  # 0.3 and 0.4
    assert found.pose is None


def test_a_change_without_a_proven_place_is_made_where_the_unit_stands_and_told() -> None:
    found = findings().tool_change_time(deg(90, 0), deg(90, 90))

    assert found.turning_s == pytest.approx(1.85, abs=1e-6)
    assert not found.proven
    assert any('ask "changes"' in text for text in found.time.assumed)


def test_a_change_time_left_out_is_asked_for() -> None:
    with pytest.raises(Lacking) as lacking:
        findings(without("tool_change")).tool_change_time()
    assert lacking.value.missing[0].where == "cell.toml: timing.tool_change"


def test_a_change_turns_to_a_proven_pose_and_back(monkeypatch: pytest.MonkeyPatch) -> None:
    loaded = load(DEMO / "alder-ford.toml")
    assert loaded.cell is not None
    own = Findings(loaded.cell)
    stand, then = deg(90, 0), deg(90, 90)

    monkeypatch.setattr(own, "_change_places", lambda *_: ([deg(0, 0)], True))
    found = own.tool_change_time(stand, then)
    there, back = own.index_time(stand, deg(0, 0)), own.index_time(deg(0, 0), then)

    assert found.pose == deg(0, 0)
    assert found.turning_s == pytest.approx(there.value + back.value)
    assert found.proven


def ranged(
    *boxes: tuple[tuple[float, float], tuple[float, float]], clear: bool = False
) -> Findings:
    """Return findings in which tools may be changed within these tilts and turns [deg]."""
    own = findings()
    made = [
        SimpleNamespace(
            low=np.array([0.0, 0.0, 0.0, *deg(tilts[0], turns[0])]),
            high=np.array([0.0, 0.0, 0.0, *deg(tilts[1], turns[1])]),
        )
        for tilts, turns in boxes
    ]
    own.__dict__["changing"] = SimpleNamespace(together=SimpleNamespace(clear=clear), ranges=made)
    own.__dict__["ranges"] = SimpleNamespace(endless=True)
    return own


def test_a_change_is_made_at_the_nearest_end_of_a_proven_range() -> None:
    own = ranged(((-10, 20), (300, 330)))
    found = own.tool_change_time(deg(60, -80), deg(60, -80))  # -80 deg is 280 deg

    assert found.pose == pytest.approx(deg(20, -60))
    there = own.index_time(deg(60, -80), deg(20, -60)).value
    assert found.turning_s == pytest.approx(2.0 * there)


def test_a_change_turns_no_further_than_to_where_it_goes_anyway() -> None:
    own = ranged(((-10, 20), (-180, 180)))
    found = own.tool_change_time(deg(60, 0), deg(0, 90))

    # the tilt stops where it is clear first or goes on to its end: one way, at most two indexes
    assert found.pose is not None
    assert found.pose == pytest.approx(deg(0, 90))
    assert found.turning_s == pytest.approx(own.index_time(deg(60, 0), deg(0, 90)).value)


def test_no_turn_is_asked_for_where_every_pose_is_clear() -> None:
    own = ranged(clear=True)

    assert own.tool_change_time(deg(60, 0)).turning_s == 0.0
    assert own.tool_change_time(deg(60, 0)).pose is None


def test_what_the_control_does_is_taken_as_entered() -> None:
    rules = findings().motion_rules
    assert (rules.look_ahead, rules.straight_rapids, rules.window) == (False, False, 0)

    text = WHOLE.replace('"exact stop"', '"look ahead"')
    text += 'look_ahead = 12\ncorner_tolerance = "0.03 mm"\nmixed_feed = "all axes"\n'
    rules = findings(text).motion_rules
    assert (rules.look_ahead, rules.window) == (True, 12)
    assert rules.corner_tolerance_mm == pytest.approx(0.03)
    assert rules.mixed_feed is MixedFeed.ALL_AXES


@given(st.floats(0.0, 180.0), st.floats(0.0, 180.0), st.floats(1.0, 4.0))
def test_a_faster_unit_never_indexes_slower(tilt: float, turn: float, share: float) -> None:
    slow = findings(WHOLE.replace('"shortest way"', '"as written"'))
    motion = slow.cell.unit.motion
    assert motion.rotary_speed is not None
    faster = replace(motion.rotary_speed, value=motion.rotary_speed.value * share)
    unit = replace(slow.cell.unit, motion=replace(motion, rotary_speed=faster))
    fast = Findings(replace(slow.cell, unit=unit))
    poses = deg(0, 0), deg(tilt, turn)

    assert fast.index_time(*poses).value <= slow.index_time(*poses).value + 1e-12
