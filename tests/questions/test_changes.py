"""Tool changes: acceptance cases 1 and 5, the map against heights worked out another way."""

from __future__ import annotations

import dataclasses
import functools
import itertools
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Hose
from gudgeon.clearance.envelope import SafeBox, all_of
from gudgeon.clearance.prove import Gap
from gudgeon.findings import Findings
from gudgeon.findings.cleared_change import highest_of
from gudgeon.findings.hoses import HangingFinding, all_ranges, covered
from gudgeon.quantity.amount import Amount
from gudgeon.questions import changes
from gudgeon.questions._change_ranges import range_words

ROOT = Path(__file__).parents[2]


@functools.cache
def cell_of(name: str) -> Cell:
    found = load(ROOT / name).cell
    assert found is not None
    return found


def case(number: int) -> Cell:
    return cell_of(f"tests/cases/case-{number}.toml")


def over_everything(cell: Cell) -> Cell:
    """Return the cell with travel so wide that the spindle comes over all of the load."""
    wide = (Amount(-1200.0), Amount(600.0))
    machine = dataclasses.replace(cell.machine, travel_x=wide, travel_y=wide)
    return dataclasses.replace(cell, machine=machine)


@functools.cache
def answered(number: int) -> Answer:
    return changes.answer(Findings(case(number)))


def with_changer(cell: Cell, **entries: Amount | None) -> Cell:
    changer = dataclasses.replace(cell.machine.changer, **entries)
    return dataclasses.replace(cell, machine=dataclasses.replace(cell.machine, changer=changer))


def room(found: Answer, tool: str, tilt: float, *, turning: bool = False) -> tuple[float, str]:
    table = found.table("change_room")
    rows = [
        (float(str(row[4])), str(row[5]))
        for row in table.rows
        if row[0] == tool and row[2] == tilt and (row[3] == "turning") == turning
    ]
    assert rows
    return min(rows)


@pytest.mark.parametrize(
    ("tool", "tilt", "turning", "expected"),
    [
        # tests/cases/expected-5.toml, tool_change.*: computed outside this project, tolerance 0.1;
        # "flat" is the tower lying, tilt 90.
        ("T1", 90.0, False, 82.3),
        ("T1", 0.0, False, -55.0),
        ("T2", 90.0, False, 25.8),
        ("T2", 0.0, False, -111.5),
        ("T3", 90.0, False, 122.3),
        ("T3", 0.0, False, -15.0),
        ("T2", 90.0, True, -10.5),
    ],
)
def test_case_5_room_under_each_tool(
    tool: str, tilt: float, turning: bool, expected: float
) -> None:
    value, allowed = room(answered(5), tool, tilt, turning=turning)
    assert value == pytest.approx(expected, abs=0.1)
    assert allowed == ("yes" if expected > 0.0 else "no")


def test_case_1_figures_and_allowed_poses() -> None:
    found = answered(1)
    # tests/cases/expected-1.toml, tool_change.*
    assert found.figure("tip_lowest_z").value == pytest.approx(-290.0, abs=0.01)
    assert room(found, "T1", 0.0)[0] == pytest.approx(45.1, abs=0.1)
    assert room(found, "T1", 90.0)[0] == pytest.approx(-80.0, abs=0.1)
    assert [t for t in (0.0, 90.0) if room(found, "T1", t)[1] == "yes"] == [0.0]
    assert found.verdict is Verdict.YES_IF
    assert "A0" in found.next_step


def test_case_5_is_changed_lying_and_not_while_it_turns() -> None:
    found = answered(5)
    assert found.verdict is Verdict.YES_IF
    assert "A90 C0" in found.next_step
    assert any("turn" in text for text in found.cautions)
    assert found.fix is not None
    assert "every tilt and turn" in found.fix


def test_no_restriction_where_none_is_needed() -> None:
    found = changes.answer(Findings(cell_of("demo/juniper-street.toml")))
    assert found.verdict is Verdict.YES
    assert "No restriction needed" in found.headline
    assert found.figure("clear_share").value == pytest.approx(100.0)


def test_every_clear_cell_is_clear_by_the_heights_too() -> None:
    """Heights of turned corners, worked out without the engine, over random poses of each cell."""
    findings = Findings(over_everything(case(5)))
    found, scene = findings.changing, findings.scene.scene
    rng = np.random.default_rng(7)
    looked = 0
    for item in found.maps:
        tip = found.z_mm - item.hand.length_mm - found.down_mm
        cells = item.map.cells
        for i in range(cells.shape[0]):
            for j in range(cells.shape[1]):
                corners = [
                    (a, c)
                    for a in item.map.tilts[i : i + 2].tolist()
                    for c in item.map.turns[j : j + 2].tolist()
                ]
                inside = [
                    (
                        float(rng.uniform(*item.map.tilts[i : i + 2])),
                        float(rng.uniform(*item.map.turns[j : j + 2])),
                    )
                    for _ in range(3)
                ]
                room_mm = min(tip - highest_of(scene, a, c)[0] for a, c in corners + inside)
                if cells[i, j] == 0:
                    looked += 1
                    assert room_mm >= found.need_mm
    assert looked > 20


def test_the_range_round_the_best_pose_ends_where_the_corner_rises() -> None:
    findings = Findings(over_everything(case(5)))
    park = findings.changing.park
    assert park is not None
    scene = findings.scene.scene
    tip = findings.changing.tip_mm
    low, high = park.stops.low, park.stops.high
    for tilt in np.linspace(low[3], high[3], 9):
        for turn in np.linspace(low[4], high[4], 9):
            assert tip - highest_of(scene, tilt, turn)[0] >= findings.changing.need_mm - 1e-9
    # A little beyond its lower tilt, at the worst turn, it is no longer kept.
    beyond = low[3] - math.radians(0.1)
    worst = max(highest_of(scene, beyond, turn)[0] for turn in (low[4], high[4]))
    assert tip - worst < findings.changing.need_mm


def test_the_ways_hold_the_tool_over_the_work() -> None:
    found = answered(1)
    table = found.table("change_ways")
    assert {str(row[0]) for row in table.rows} == {"top", "front", "right"}
    assert all(str(row[4]).startswith("proven") for row in table.rows)


def test_an_arm_swings_lower_than_it_may() -> None:
    # The arm is as low as the tool's tip: with it, the room of the whole load counts, not only
    # that under the spindle line.  Beside the load at Y 0 the tool alone is free when upright.
    cell = with_changer(case(1), arm_half_depth=None)
    alone = changes.answer(Findings(cell))
    assert room(alone, "T1", -90.0)[0] >= room(answered(1), "T1", -90.0)[0] - 0.1
    assert any("arm" in text for text in alone.assumed)
    wide = with_changer(case(1), arm_half_depth=Amount(400.0))
    swung = changes.answer(Findings(wide))
    assert room(swung, "T1", -90.0)[0] == pytest.approx(-80.0, abs=0.1)


def test_no_pose_at_all_is_a_no() -> None:
    cell = with_changer(case(5), pull_down=Amount(260.0))
    changer = dataclasses.replace(cell.machine.changer, x=Amount(-381.0), y=Amount(-200.0))
    cell = dataclasses.replace(cell, machine=dataclasses.replace(cell.machine, changer=changer))
    found = changes.answer(Findings(cell))
    assert found.verdict is Verdict.NO
    assert "No pose is clear" in found.headline


def test_missing_changer_is_asked_for() -> None:
    found = changes.answer(Findings(with_changer(case(5), pull_down=None)))
    assert found.verdict is Verdict.CANNOT_TELL
    assert "machine.changer.pull_down" in found.missing[0].where


def test_a_tool_without_diameters_counts_thick_and_is_told() -> None:
    found = answered(1)
    assert any("thick round bar" in text for text in found.assumed)
    assert any("cutter_diameter" in item.where for item in found.missing)


def test_pairs_name_every_two_tools() -> None:
    table = answered(5).table("change_pairs")
    assert {frozenset((row[0], row[1])) for row in table.rows} == {
        frozenset(("T1", "T2")),
        frozenset(("T1", "T3")),
        frozenset(("T2", "T3")),
    }


def test_pictures_show_the_map_and_the_pose() -> None:
    names = [picture.name for picture in answered(5).pictures]
    assert names[0] == "change_map"
    assert len(names) == 3


# --- pairs and ways -----------------------------------------------------------------------------


def of_tools(cell: Cell, *numbers: int) -> Cell:
    return dataclasses.replace(
        cell, tools=tuple(tool for tool in cell.tools if tool.number in numbers)
    )


def test_a_pair_goes_by_the_longer_tool_whichever_comes_and_goes() -> None:
    """T2 is the longest of case 5, T3 the shortest: heights worked out without the engine."""
    cell = over_everything(case(5))
    findings = Findings(of_tools(cell, 2, 3))
    found, scene = findings.changing, findings.scene.scene
    long, short = found.maps
    assert (long.hand.name, short.hand.name) == ("T2", "T3")
    assert np.count_nonzero(short.map.cells == 0) > np.count_nonzero(long.map.cells == 0)
    assert np.array_equal(long.map.joined(short.map).cells, short.map.joined(long.map).cells)
    rng = np.random.default_rng(3)
    for i, j in np.argwhere(found.together.cells == 0):
        a = float(rng.uniform(*found.together.tilts[i : i + 2]))
        c = float(rng.uniform(*found.together.turns[j : j + 2]))
        for item in found.maps:
            tip = found.z_mm - item.hand.length_mm - found.down_mm
            assert tip - highest_of(scene, a, c)[0] >= found.need_mm
    # Where only the short one is clear the pair is not: the witness is of the long one.
    only = (short.map.cells == 0) & (long.map.cells != 0)
    assert only.any()
    assert not np.any(found.together.cells[only] == 0)


def test_the_order_of_the_tools_does_not_matter() -> None:
    cell = case(5)
    back = dataclasses.replace(cell, tools=cell.tools[::-1])
    one, other = Findings(cell).changing, Findings(back).changing
    assert np.array_equal(one.together.cells, other.together.cells)
    assert one.park is not None
    assert other.park is not None
    assert one.park.tilt_rad == other.park.tilt_rad


def test_every_way_is_clear_by_the_heights_too() -> None:
    findings = Findings(over_everything(case(5)))
    found, scene = findings.changing, findings.scene.scene
    park = found.park
    assert park is not None
    tip = float(findings.ranges.high[2]) - found.maps[0].hand.length_mm
    proven = [way for way in found.ways if way.gap is None]
    assert proven
    for way in proven:
        if way.place_mm is not None:
            continue  # beside the work its height does not count
        start = np.array([way.pose.tilt_rad, way.pose.turn_rad])
        end = np.array([park.tilt_rad, park.turn_rad])
        by_tilt, by_turn = np.array([end[0], start[1]]), np.array([start[0], end[1]])
        corners = {"tilt": [start, by_tilt, end], "turn only": [start, by_turn, end]}
        legs = corners.get(way.steps[1] if len(way.steps) > 1 else "", [start, end])
        for one, other in itertools.pairwise(legs):
            for share in np.linspace(0.0, 1.0, 40):
                tilt, turn = one + share * (other - one)
                assert tip - highest_of(scene, tilt, turn)[0] >= findings.asked_mm


def test_the_shortest_way_round_is_taken() -> None:
    findings = Findings(case(5))
    near = findings._same_turn_near(math.radians(350.0), math.radians(10.0))
    assert near == pytest.approx(math.radians(-10.0))
    assert findings._same_turn_near(math.radians(10.0), math.radians(350.0)) == pytest.approx(
        math.radians(370.0)
    )


def test_ways_are_told_as_orders() -> None:
    table = changes.answer(Findings(over_everything(case(5)))).table("change_ways")
    for row in table.rows:
        assert str(row[3]).startswith("Z to the top")
        assert str(row[4]).startswith(("proven", "not proven"))


def test_a_slack_hose_is_a_tie_and_no_touch() -> None:
    """That a hose may hang under the arm refuses no pose: a tie settles it for all of them."""
    entries = {"connector_x": 0.0, "connector_y": 0.0, "connector_z": -60.0, "anchor_x": -381.0}
    entries |= {"anchor_y": -130.0, "anchor_z": -560.0}
    amounts = {key: Amount(value) for key, value in entries.items()}

    def asked(length: float) -> Answer:
        hose = Hose(name="oil hose", turns_with="cradle", length=Amount(length), **amounts)
        unit = dataclasses.replace(case(1).unit, hoses=(hose,))
        return changes.answer(Findings(dataclasses.replace(case(1), unit=unit)))

    short, long = asked(220.0), asked(400.0)
    # The other range tilts the connector up beside the arm: it is told in the table alone, since
    # nobody has to tie a hose for poses that are not needed.
    assert short.headline == answered(1).headline.replace(" or A -95 to -72.8", "")
    assert [str(row[5]) == "free" for row in short.table("ranges").rows] == [True, False]
    assert "oil hose" in str(short.table("ranges").rows[1][5])
    assert long.verdict is Verdict.YES_IF
    assert long.headline.startswith(short.headline.removesuffix("."))
    assert "oil hose is tied" in long.headline
    assert long.table("change_map").rows == answered(1).table("change_map").rows


# --- every proven range ---------------------------------------------------------------------------


@functools.cache
def ranged(name: str) -> Findings:
    return Findings(cell_of(name))


def proof_of(findings: Findings) -> Callable[[SafeBox, float, float], Gap]:
    """Return the proof that every tool may be changed in a slice of tilt of a range."""
    every = all_of(
        [findings._change_proof(hand, findings.change_need_mm) for hand in findings.tools_in_hand]
    )

    def prove(box: SafeBox, start: float, end: float) -> Gap:
        low, high = box.low.copy(), box.high.copy()
        low[3], high[3] = start, end
        return every(low, high)

    return prove


@pytest.mark.parametrize(
    ("name", "ranges"),
    [
        ("demo/alder-ford.toml", [(64.7, 100.0), (-100.0, 4.1), (10.8, 57.3)]),
        ("tests/cases/case-1.toml", [(-13.6, 70.7), (-95.0, -72.8)]),
    ],
)
def test_each_end_of_each_range_is_proven_inside_and_not_outside(
    name: str, ranges: list[tuple[float, float]]
) -> None:
    """One end in the way of a tilt at a time; what lies beyond an end of travel is not asked."""
    findings = ranged(name)
    prove, step = proof_of(findings), math.radians(0.06)
    rows = changes.answer(findings).table("ranges").rows
    assert [(row[0], row[1]) for row in rows] == ranges
    refuted = 0
    for box, told in zip(findings.changing.ranges, ranges, strict=True):
        for sign, edge, limit, words in (
            (-1, box.low[3], findings.ranges.low[3], told[0]),
            (1, box.high[3], findings.ranges.high[3], told[1]),
        ):
            # What is told lies inside, by less than a tenth of a degree.
            assert -1e-6 <= sign * (math.degrees(edge) - words) < 0.1
            inside = sorted((float(edge), float(edge) - sign * step))
            assert prove(box, *inside).status == 0
            if edge == limit:
                continue
            assert box.stop(3, sign) is not None
            beyond = sorted((float(edge), float(edge) + 2.0 * sign * step))
            refuted += prove(box, *beyond).status == 1
    assert refuted == {"demo/alder-ford.toml": 4, "tests/cases/case-1.toml": 3}[name]


def test_every_range_is_clear_by_the_heights_too() -> None:
    """Heights of turned corners, worked out without the engine, over a grid of each range."""
    findings = Findings(over_everything(case(5)))
    found, scene = findings.changing, findings.scene.scene
    assert len(found.ranges) == 5
    for box in found.ranges:
        for tilt in np.linspace(box.low[3], box.high[3], 7):
            for turn in np.linspace(box.low[4], box.high[4], 9):
                room_mm = found.tip_mm - highest_of(scene, tilt, turn)[0]
                assert room_mm >= found.need_mm - 1e-9
        beyond = box.low[3] - math.radians(0.1)
        worst = max(highest_of(scene, beyond, turn)[0] for turn in (box.low[4], box.high[4]))
        assert found.tip_mm - worst < found.need_mm


def test_every_clear_cell_lies_in_a_range_and_no_range_in_another() -> None:
    for name in ("demo/alder-ford.toml", "tests/cases/case-1.toml", "tests/cases/case-5.toml"):
        findings = ranged(name)
        found = findings.changing
        for i, j in np.argwhere(found.together.cells == 0):
            low, high = found.low.copy(), found.high.copy()
            low[3], high[3] = found.together.tilts[i : i + 2]
            low[4], high[4] = found.together.turns[j : j + 2]
            assert any(findings._within(low, high, box) for box in found.ranges)
        for one, other in itertools.permutations(found.ranges[1:], 2):
            assert not findings._within(one.low, one.high, other)


def test_ranges_are_told_in_one_sentence_and_turns_with_their_tilt() -> None:
    assert changes.answer(ranged("demo/alder-ford.toml")).headline == (
        "Tools may be changed, if the unit stands at A 64.7 to 100, A -100 to 4.1 or "
        "A 10.8 to 57.3 deg, any turn."
    )
    # Four in the headline: the fifth shares poses with the first and stands in the table.
    assert answered(5).headline == (
        "Tools may be changed, if the unit stands at A 87.1 to 100 deg with C -10 to 10 deg, or "
        "A 88.6 to 100 deg with C 75 to 105, C 165 to 195 or C 255 to 285 deg."
    )
    assert len(answered(5).table("ranges").rows) == 5


def test_more_ranges_than_a_sentence_holds_are_counted() -> None:
    findings = Findings(case(5))
    found = findings.changing
    box = found.ranges[0]

    def at(tilt: float) -> SafeBox:
        low, high = box.low.copy(), box.high.copy()
        low[3], high[3] = math.radians(tilt), math.radians(tilt + 5.0)
        return SafeBox(low, high, box.stops)

    many = dataclasses.replace(
        found, ranges=(box, *(at(tilt) for tilt in (-90.0, -70.0, -50.0, -30.0, -10.0)))
    )
    findings.__dict__["change_told"] = (True,) * 6
    words = range_words(findings, many)
    assert words.count("A ") == 4
    assert words.endswith("(2 more in the table of ranges)")
    findings.__dict__["change_told"] = (True, False, True, True, False, True)
    words = range_words(findings, many)
    assert "A -90" not in words
    assert "A -10" in words
    assert "more" not in words


def test_a_tie_covers_every_range_that_is_told() -> None:
    free = HangingFinding("oil hose", (), None)
    by = HangingFinding("oil hose", (("T1", None),), 300.0)
    for found, suits in (
        (free, True),
        (HangingFinding("oil hose", (("T2", None),), 310.0), True),
        (HangingFinding("oil hose", (("T1", None),), 290.0), False),
        (HangingFinding("oil hose", (("T1", None),), None), False),
        (HangingFinding("air hose", (("T1", None),), 310.0), False),
    ):
        assert covered([found], [by]) is suits
        assert covered([found], [free]) is (found is free)
    by_hand = HangingFinding("oil hose", (("T1", None), ("T2", None)), None)
    assert covered([by], [by_hand])
    assert not covered([HangingFinding("oil hose", (("arm", None),), 300.0)], [by_hand])
    joined = all_ranges([free, by, HangingFinding("oil hose", (("T2", None),), 290.0)])
    assert joined == (HangingFinding("oil hose", (("T1", None), ("T2", None)), 290.0),)
    assert all_ranges([by, by_hand])[0].tie_mm is None
