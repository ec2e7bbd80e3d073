"""Question fits, by proofs: what costs a station, what wins it back, and laws of moving the unit.

Figures by hand stand beside the tests; the acceptance case with its couplings is in tests/cases.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from numpy.testing import assert_allclose

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load_text
from gudgeon.cell.model import Cell
from gudgeon.findings import Findings
from gudgeon.findings.place_found import ProvenPlace
from gudgeon.quantity.amount import Amount
from gudgeon.questions import fits

CASE = Path(__file__).parents[1] / "cases" / "case-5-coupling.toml"
TEXT = CASE.read_text(encoding="utf-8")
ELBOW = (
    ('name = "straight coupling"', 'name = "elbow"'),
    ('y = ["-198 mm", "-185 mm"]', 'y = ["-190 mm", "-185 mm"]'),
)
SEATS = """slots_along = "X"
slot_positions = ["-300 mm", "-200 mm", "-100 mm"]
table_x = ["-900 mm", "138 mm"]
table_y = ["-420 mm", "20 mm"]
guard_right = "640 mm"
guard_left = "640 mm"
column_behind = "520 mm"
door_front = "600 mm"
margin_y = "10 mm"
nose_diameter"""
LUGS = """axis_offset = "0 mm"
lug_rows = ["-60 mm", "0 mm", "60 mm"]
lug_columns = ["-60 mm", "0 mm", "60 mm"]
lug_play = "0 mm"
"""
WITH_SEATS = (("nose_diameter", SEATS), ('axis_offset = "0 mm"\n', LUGS))


def cell(*changes: tuple[str, str]) -> Cell:
    text = TEXT.partition("[[unit.alternatives]]")[0] + "[placement]"
    text += TEXT.partition("[placement]")[2]
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return loaded.cell


def ask(*changes: tuple[str, str]) -> Answer:
    return fits.answer(Findings(cell(*changes)))


def lost(answer: Answer) -> list[tuple[Any, ...]]:
    tables = {table.name: table for table in answer.tables}
    return list(tables["stations_lost"].rows) if "stations_lost" in tables else []


def judged(findings: Findings, yaw: float, x: float, y: float) -> ProvenPlace:
    return findings._proven(findings._judge(yaw, (x, y), None), (x, y))


# --- what costs a station --------------------------------------------------------------------


def test_with_the_elbow_all_is_reached_and_nothing_is_warned_of() -> None:
    answer = ask(*ELBOW)
    assert answer.figure("stations_proven").value == 16
    assert not lost(answer)
    assert answer.verdict is Verdict.YES_IF  # the tool change upright
    # hypot(190, 30) below the axis, floor at 195.
    assert_allclose(answer.figure("own_gap").value, 195 - math.hypot(190, 30), atol=2e-3)
    assert "own_gap-front" in [picture.name for picture in answer.pictures]


def test_the_clearance_asked_decides() -> None:
    """The elbow leaves 2.646 mm on its way: 2.6 is kept, 2.7 is not."""
    for asked, reached in (("2.6 mm", 16), ("2.7 mm", 8)):
        answer = ask(*ELBOW, ('clearance = "2 mm"', f'clearance = "{asked}"'))
        assert answer.figure("stations_proven").value == reached


def test_contact_is_a_danger_even_where_no_clearance_is_asked() -> None:
    """A coupling that just reaches the floor at tilt -90: hypot(y, z) = 195 at its worst."""
    y = math.sqrt(195.0**2 - 30.0**2)
    change = ('y = ["-198 mm", "-185 mm"]', f'y = ["{-y!r} mm", "-185 mm"]')
    less = ('y = ["-198 mm", "-185 mm"]', f'y = ["{-y + 0.01!r} mm", "-185 mm"]')
    none = ('clearance = "2 mm"', 'clearance = "0 mm"')
    assert ask(change, none).figure("stations_proven").value == 8
    assert ask(less, none).figure("stations_proven").value == 16


def test_parts_that_touch_at_rest_are_joined_not_judged() -> None:
    """The hub's box put through the yoke: no alarm, but told."""
    answer = ask(*ELBOW, ('x = ["-60 mm", "60 mm"]', 'x = ["-160 mm", "60 mm"]'),
                 ('y = ["-185 mm", "-150 mm"]', 'y = ["-85 mm", "-50 mm"]'))  # fmt: skip
    assert any("left yoke arm with hub" in text for text in answer.assumed)


def test_a_station_exactly_on_a_travel_limit_is_inside() -> None:
    """Zeros at A90 stand at most 120 mm before the axis at Y -200."""
    inside = ask(*ELBOW, ('travel_y = ["-406 mm", "0 mm"]', 'travel_y = ["-406 mm", "-40 mm"]'))
    findings = Findings(cell(*ELBOW))
    highest = max(zero.point_mm[1] for zero in findings.zeros_on_unit)
    edge = -200.0 + highest
    for limit, reached in ((edge, True), (edge - 0.001, False)):
        changed = cell(*ELBOW)
        machine = replace(changed.machine, travel_y=(Amount(-406.0), Amount(limit)))
        place = Findings(replace(changed, machine=machine)).proven_here
        assert place is not None and (place.reached == 16) is reached
    assert inside.figure("stations_proven").value <= 16


@pytest.mark.parametrize(
    ("margin", "beyond", "kept"),
    [(20.0, 0.0, True), (20.0, -0.001, False), (0.0, 2.001, True), (0.0, 1.999, False)],
)
def test_guards_keep_their_margin_or_else_the_clearance_asked(margin, beyond, kept) -> None:
    """The unit reaches 230 mm to the right; zeros stand on the axis and 87.7 mm beside it.

    The spindle line of the leftmost zero stands at x = -381 - 87.7 at most: there the guard must
    leave 230 + 87.7 and its margin; without a margin the clearance asked, 2 mm.
    """
    findings = Findings(cell(*ELBOW))
    leftmost = min(zero.point_mm[0] for zero in findings.zeros_on_unit)
    distance = 230.0 - leftmost + margin + beyond
    changed = cell(*ELBOW)
    machine = replace(
        changed.machine,
        guard_right=Amount(distance),
        margin_x=Amount(margin) if margin else None,
    )
    place = Findings(replace(changed, machine=machine)).proven_here
    assert place is not None
    assert (not place.lost) is kept
    if not kept:
        assert {one.reason for one in place.lost} == {"guard"}


def test_a_holder_that_meets_the_work_costs_the_station_and_another_tool_wins_it() -> None:
    """Tip on the tower's side at station 1, 40 mm over the face: a rim stands up beside it."""
    rim = (
        "[placement]",
        """[[unit.boxes]]
name = "rim"
x = ["-120 mm", "120 mm"]
y = ["-140 mm", "-100 mm"]
z = ["-10 mm", "10 mm"]
turns_with = "cradle"

[placement]""",
    )
    operations = """[[operations]]
name = "drill"
tool = 3
part = "low 1"
face = "outside"

[[tools]]"""
    # Upright the rim reaches 140 over the axis, 52.3 above the tower's side at 87.7, and ends 30
    # beside station 1.  T3 sticks out 40: its holder, radius 25, passes with 5; with 45 it does
    # not.  T1 and T2 stick out more than 52.3 and stay above the rim.
    fat = ('stickout = "40 mm"\nholder_diameter = "50 mm"',
           'stickout = "40 mm"\nholder_diameter = "90 mm"')  # fmt: skip
    short = (('y = ["-185 mm", "-150 mm"]', 'y = ["-150 mm", "-145 mm"]'),
             ('y = ["-198 mm", "-185 mm"]', 'y = ["-155 mm", "-150 mm"]'))  # fmt: skip
    clear = ask(*short, rim, ("[[tools]]", operations))
    assert not [row for row in lost(clear) if row[0] == "1"]
    answer = ask(*short, rim, ("[[tools]]", operations), fat)
    assert [row[:3] for row in lost(answer) if row[0] == "1"] == [
        ("1", "outside", "tool on its way")
    ]
    assert any("T3 holder" in str(row[3]) for row in lost(answer))
    rows = answer.table("changes").rows
    assert rows[0][0] == "tool" and "station 1" in str(rows[0][1])
    assert answer.fix is not None and answer.fix.startswith("Use T")


def test_a_load_that_meets_the_table_is_won_back_by_a_riser() -> None:
    """The lying tower reaches 87.7 below an axis 80 mm over the table; corners 124 on the way."""
    low = (
        ('tilt_axis_height = "210 mm"', 'tilt_axis_height = "80 mm"'),
        ('z = ["-210 mm", "-195 mm"]', 'z = ["-80 mm", "-79 mm"]'),
        ('x = ["-150 mm", "150 mm"]', 'x = ["-150 mm", "-149 mm"]'),
        ('y = ["-185 mm", "-150 mm"]', 'y = ["-60 mm", "-50 mm"]'),
        ('y = ["-198 mm", "-185 mm"]', 'y = ["-61 mm", "-60 mm"]'),
    )
    plates = ('centre_x = "-381 mm"', 'risers = ["5 mm", "60 mm"]\ncentre_x = "-381 mm"')
    answer = ask(*low, plates)
    assert {row[2] for row in lost(answer)} == {"load over the table"}
    (change,) = answer.table("changes").rows
    assert (change[0], change[2], change[3]) == ("riser", 16.0, 16.0)
    assert "60.000 mm" in str(change[4])
    # What the plate needs: the tower turned by 45 deg under way reaches hypot(87.7, 87.7).
    found = ask(*low, ('centre_x = "-381 mm"', 'riser = "60 mm"\ncentre_x = "-381 mm"'))
    assert found.figure("stations_proven").value == 16


def test_a_zero_deep_inside_the_outline_is_not_lost_but_told() -> None:
    answer = ask(*ELBOW, ('half_width = "87.7 mm"', 'half_width = "120 mm"'))
    assert not [row for row in lost(answer) if row[2] == "tool on its way"]
    assert any("inside the outline of the load" in text for text in answer.assumed)


def test_missing_senses_are_asked_for_and_nothing_is_called_proven() -> None:
    answer = ask(*ELBOW, ("tilt_sense = -1\n", ""))
    assert "stations_proven" not in [figure.name for figure in answer.figures]


# --- laws of moving the unit -------------------------------------------------------------------


@pytest.mark.parametrize("at", [(-381.0, -200.0), (-200.0, -300.0), (-600.0, -90.0)])
@pytest.mark.parametrize("layout", ["moving table", "moving column", "bridge"])
def test_moving_the_joints_is_moving_the_unit(at, layout) -> None:
    """A place judged by shifted joint positions, and the same place entered."""
    seats = (*ELBOW, *WITH_SEATS, ('layout = "moving table"', f'layout = "{layout}"'))
    start = cell(*seats, ('guard_right = "640 mm"', 'guard_right = "500 mm"'))
    shifted = judged(Findings(start), 0.0, *at)
    placement = replace(start.placement, centre_x=Amount(at[0]), centre_y=Amount(at[1]))
    entered = Findings(replace(start, placement=placement)).proven_here
    assert entered is not None
    assert [(one.station, one.reason) for one in shifted.lost] == [
        (one.station, one.reason) for one in entered.lost
    ]


@pytest.mark.parametrize("at", [(-381.0, -200.0), (-250.0, -120.0), (-620.0, -310.0)])
def test_half_a_turn_of_the_unit_is_half_a_turn_of_the_shop(at) -> None:
    """Yaw 180 deg: as if guards and travels stood on the other side."""
    start = cell(*ELBOW, *WITH_SEATS, ('guard_right = "640 mm"', 'guard_right = "400 mm"'))
    turned = judged(Findings(start), math.pi, *at)
    old = start.machine

    def other(ends: Any) -> Any:
        return (Amount(-ends[1].value), Amount(-ends[0].value))

    machine = replace(
        old,
        travel_x=other(old.travel_x),
        travel_y=other(old.travel_y),
        table_x=other(old.table_x),
        table_y=other(old.table_y),
        guard_right=old.guard_left,
        guard_left=old.guard_right,
        column_behind=old.door_front,
        door_front=old.column_behind,
    )
    placement = replace(start.placement, centre_x=Amount(-at[0]), centre_y=Amount(-at[1]))
    mirrored = Findings(replace(start, machine=machine, placement=placement)).proven_here
    assert mirrored is not None
    assert [(one.station, one.reason) for one in turned.lost] == [
        (one.station, one.reason) for one in mirrored.lost
    ]


def test_a_sweep_of_two_hundred_places_is_ranked() -> None:
    findings = Findings(cell(*ELBOW, *WITH_SEATS, ('centre_x = "-381 mm"\n', "")))
    places = findings.proven_places
    assert len(places) >= 100
    order = [(not place.works, -place.reached) for place in places]
    assert order == sorted(order)
    assert {round(math.degrees(place.yaw_rad)) for place in places} == {0, 90, 180, 270}
    assert places[0].reached == 16


def test_another_place_is_named_where_it_reaches_more() -> None:
    """At Y -300 the zeros before the axis leave the travel of Y."""
    answer = ask(
        *ELBOW,
        *WITH_SEATS,
        ('centre_y = "-200 mm"', 'centre_y = "-300 mm"'),
        ('travel_y = ["-406 mm", "0 mm"]', 'travel_y = ["-380 mm", "0 mm"]'),
    )
    rows = answer.table("changes").rows
    assert rows[0][0] == "place" and rows[0][2] == 16.0
