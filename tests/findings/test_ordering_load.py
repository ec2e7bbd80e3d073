"""The times of a load, added up by hand; what would shorten it; what turns the order."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from gudgeon.cell.model import Station
from gudgeon.cell.model_control import Position, WordMeaning
from gudgeon.findings import Findings
from gudgeon.findings.effort import Effort
from gudgeon.findings.gather import Lacking
from gudgeon.findings.job_times import CARRIED_OVER, ENTERED, FROM_PROGRAM
from gudgeon.findings.programs import ProgramText
from gudgeon.quantity.amount import Amount
from tests.questions.order_shop import cut, shop
from tests.questions.trunnions import STATIONS, deg, mm

QUICK = Effort(rounds=1_500, bound=0.0)
ONE = (STATIONS[0],)


def load(*operations, programs=(), effort=QUICK, **changes) -> Findings:
    return Findings(shop(*operations, **changes), programs, effort)


def timed(name: str, tool: int = 1, face: str = "front", seconds: float = 10.0, **more):
    return cut(name, tool, face, takes=Amount(seconds, 1.0), **more)


# --- times --------------------------------------------------------------------------------------


def test_one_cut_added_up_by_hand() -> None:
    """By hand: one index of 90 deg there and back, 1 s and two clamps of 0.25 s each way.

    The way: from over the rotary line at the top of Z over to the zero and down, and back; rapids
    of 100 mm/s, X and Y each alone.
    """
    findings = load(timed("mill"), stations=ONE)
    found = findings.ordering
    assert found.causes["cutting"].value == 10.0
    assert found.causes["indexing"].value == pytest.approx(2.0, abs=1e-4)
    assert found.causes["clamping"].value == pytest.approx(1.0)
    assert found.causes["tool changes"].value == 0.0
    x, y, z = findings.offsets.zeros[1].point_mm or (0, 0, 0)
    cx, cy, _ = findings.axis_lines.chain.axes[-1].line.point_mm
    way = max(abs(x - cx), abs(y - cy)) + (0.0 - (z + 101.0))
    assert found.causes["travel"].value == pytest.approx(2.0 * way / 100.0, rel=1e-3)
    assert found.causes["loading"].value == 50.0
    assert found.loading == found.causes["loading"]
    assert found.load.value == pytest.approx(sum(time.value for time in found.causes.values()))
    assert found.machine.value == pytest.approx(found.round.seconds)


def test_two_tools_are_two_changes_a_load() -> None:
    found = load(timed("mill", 1), timed("drill", 2), stations=ONE).ordering
    assert found.changes == 2
    assert found.causes["tool changes"].value == pytest.approx(16.0)
    assert found.causes["tool changes"].plus_minus == pytest.approx(1.0)  # off alike: they add up


def test_ranges_of_causes_are_put_together_as_different_reasons() -> None:
    found = load(timed("mill", 1), timed("drill", 2), stations=ONE).ordering
    assert found.causes["cutting"].plus_minus == pytest.approx(math.hypot(1.0, 1.0))
    widths = [time.plus_minus or 0.0 for name, time in found.causes.items() if name != "loading"]
    assert found.machine.plus_minus == pytest.approx(math.hypot(*widths))
    assert found.load.plus_minus == pytest.approx(math.hypot(*widths, 5.0))


def test_the_range_of_one_operation_counts_at_all_its_stations() -> None:
    found = load(timed("mill"), stations=STATIONS).ordering
    assert found.causes["cutting"].plus_minus == pytest.approx(4.0)
    assert found.causes["loading"].value == pytest.approx(4 * 30.0 + 20.0)
    assert found.causes["loading"].plus_minus == pytest.approx(20.0)
    assert found.parts == 4


def test_steps_follow_each_other_without_a_gap() -> None:
    found = load(timed("mill", 1), timed("drill", 2, "top"), timed("ream", 3)).ordering
    at = 0.0
    for step in found.steps:
        assert step.start_s == pytest.approx(at + step.leg.spent.total)
        assert step.own is not None
        at = step.start_s + step.own.amount.value
        assert step.end_s == pytest.approx(at)
    assert at + found.home.spent.total == pytest.approx(found.round.seconds)


def test_what_comes_first_is_kept() -> None:
    found = load(
        timed("finish", 1, stage="finish"),
        timed("rough", 2, stage="rough"),
        timed("seat", 3, "top", stage="datum"),
        timed("tap", 4, "right", after=("finish",)),
    ).ordering
    place = {step.job.label: k for k, step in enumerate(found.steps)}
    for first, then, _ in found.jobs.before:
        assert place[found.jobs.jobs[first].label] < place[found.jobs.jobs[then].label]
    assert len(place) == 16


def test_the_order_of_the_file_is_what_is_saved_against() -> None:
    """By hand: the file goes T1, T2, T1: three changes; two are enough."""
    found = load(timed("a", 1), timed("b", 2), timed("c", 1, "front"), stations=ONE).ordering
    assert found.file_s is not None
    assert found.saved_s == pytest.approx(found.file_s - found.round.seconds)
    assert found.saved_s is not None and found.saved_s >= 0.0
    against = load(timed("a", 1, after=("b",)), timed("b", 2), stations=ONE).ordering
    assert against.saved_s is None


def test_an_unknown_time_leaves_the_order_but_not_the_time_of_a_part() -> None:
    findings = load(timed("mill"), cut("drill", 2), stations=ONE)
    found = findings.ordering
    assert found.unknown == (1,)
    assert found.causes["cutting"].value == 10.0
    assert findings.load_time is None
    assert found.missing[0].where == "cell.toml: operations[2].takes"


def test_the_time_of_a_part() -> None:
    findings = load(timed("mill"), stations=STATIONS)
    part = findings.load_time
    assert part is not None
    assert part.parts == 4
    assert part.with_loading
    assert part.seconds_per_part == pytest.approx(findings.ordering.load.value / 4)
    plain = load(timed("mill"), stations=STATIONS, shift={"load_part": None}).load_time
    assert plain is not None
    assert not plain.with_loading
    assert plain.seconds_per_part == pytest.approx(part.seconds_per_part - 140.0 / 4)


def test_no_time_of_a_part_where_no_order_is_possible() -> None:
    assert load(timed("a", after=("a",)), stations=ONE).load_time is None
    assert load(timed("a"), timed("b", 2), timing={"tool_change": None}).load_time is None
    assert load().load_time is None


def test_what_the_times_lack_is_named_together() -> None:
    with pytest.raises(Lacking) as caught:
        _ = load(
            timed("a"),
            timed("b", 2),
            timing={"tool_change": None},
            unit={"motion": shop().unit.motion.__class__()},
        ).ordering
    where = {item.where for item in caught.value.missing}
    assert {"cell.toml: timing.tool_change", "cell.toml: unit.motion.tilt_speed"} <= where


def test_parts_are_loaded_near_zero_where_no_pose_is_entered() -> None:
    unit = {"tilt_range": (deg(20), deg(100))}
    findings = load(timed("a"), stations=ONE, shift={"load_pose": None}, unit=unit)
    assert findings.load_pose == pytest.approx((math.radians(20), 0.0))
    assert any("shift.load_pose" in text for text in findings.ordering.told)


# --- times from programs ------------------------------------------------------------------------

PROGRAM = b"""G21 G90 G17 G94 G40 G49 G80
G53 G0 Z0.
T1 M6
S1000 M3
G55 G0 A90. C0.
G0 X0. Y0.
G43 H1 Z10.
G1 Z0. F600.
G1 X60. F600.
G0 Z10.
G53 G0 Z0.
M5
M30
"""


def program(text: bytes = PROGRAM) -> ProgramText:
    return ProgramText("made.nc", text)


def test_an_operation_without_a_time_takes_what_the_program_spends() -> None:
    """By hand: 10 mm down and 60 mm across at F600 are 7 s at feed."""
    findings = load(cut("mill"), stations=ONE, programs=(program(),))
    (own,) = findings.own_times
    assert own is not None
    assert own.source == FROM_PROGRAM
    assert own.cut.value == pytest.approx(7.0, rel=0.02)
    assert own.amount.value >= own.cut.value


def test_an_entered_time_goes_before_the_program() -> None:
    (own,) = load(timed("mill"), stations=ONE, programs=(program(),)).own_times
    assert own is not None
    assert (own.source, own.amount.value) == (ENTERED, 10.0)


def test_stations_that_no_program_cuts_take_the_mean() -> None:
    own = load(cut("mill"), programs=(program(),)).own_times
    assert [one.source if one else None for one in own] == [FROM_PROGRAM] + 3 * [CARRIED_OVER]
    assert own[3] is not None and own[0] is not None
    assert own[3].amount.value == own[0].amount.value


def test_operations_that_share_tool_and_offset_share_its_time() -> None:
    alone = load(cut("mill"), stations=ONE, programs=(program(),)).own_times[0]
    both = load(cut("mill"), cut("chamfer"), stations=ONE, programs=(program(),)).own_times
    assert alone is not None
    for one in both:
        assert one is not None
        assert one.amount.value == pytest.approx(alone.amount.value / 2.0)


def test_a_tool_that_the_program_does_not_use_stays_unknown() -> None:
    assert load(cut("mill", 5), stations=ONE, programs=(program(),)).own_times == (None,)


# --- against the program of calls, timed as any program is ---------------------------------------

BRAKES = (
    WordMeaning("M68", "no motion", brakes="clamps both"),
    WordMeaning("M69", "no motion", brakes="frees both"),
)
TOOL_AND_TIME = {1: (1, 10.0), 2: (2, 12.0), 3: (3, 9.0), 4: (1, 7.0)}


def subprogram(number: int) -> bytes:
    """Go to the zero, stay there for the time of the cut, and leave."""
    tool, seconds = TOOL_AND_TIME[number]
    return f"O{number}\nG0 X0. Y0.\nG43 H{tool} Z0.\nG4 P{seconds}\nG53 G0 Z0.\nM99\n".encode()


def test_the_load_takes_what_its_program_takes_block_by_block() -> None:
    """The legs of the order against the moves of the written program, timed by the other way.

    By hand: the program lets go and clamps once more at its start (0.5 s), for it cannot know the
    pose; and it does not bring X and Y back over the rotary line at its end.
    """
    cuts = [
        timed(f"op {number}", tool, face, seconds, call=f"M98 P{number}")
        for (number, (tool, seconds)), face in zip(
            TOOL_AND_TIME.items(), ("front", "front", "top", "right"), strict=True
        )
    ]
    plain = load(*cuts, stations=ONE)
    x, y, _ = plain.axis_lines.chain.axes[-1].line.point_mm
    last = plain.ordering.steps[-1]
    start = Position(mm(x), mm(y), mm(0), deg(0), deg(0))
    control = {
        "words": BRAKES,
        "dwell_p": "seconds",
        "start": start,
        "tool_at_start": last.job.tool,
    }
    findings = load(*cuts, stations=ONE, control=control)
    text = findings.skeleton.text.encode()
    (timed_program,) = load(
        *cuts, stations=ONE, control=control, programs=(ProgramText("load.nc", text, subprogram),)
    ).program_times
    assert timed_program.short == ()
    assert last.way.point_mm is not None
    home = max(abs(last.way.point_mm[0] - x), abs(last.way.point_mm[1] - y)) / 100.0
    assert findings.ordering.machine.value == pytest.approx(
        timed_program.total.value - 0.5 + home, abs=1e-3
    )


# --- mends and turns ----------------------------------------------------------------------------


def saved(findings: Findings, words: str) -> float:
    return max((mend.saved_s for mend in findings.order_mends if words in mend.words), default=0.0)


def test_half_the_clamping_saves_half_of_it() -> None:
    findings = load(timed("a"), timed("b", 1, "right"), stations=ONE)
    assert saved(findings, "half the time") == pytest.approx(
        0.5 * findings.ordering.causes["clamping"].value
    )


def test_a_second_pose_saves_what_an_order_with_it_saves() -> None:
    """By hand: right at A90 C90 and at A-90 C-90; nothing is nearer there."""
    unit = {"tilt_range": (deg(-95), deg(95))}
    findings = load(timed("a"), timed("b", 1, "right"), stations=ONE, unit=unit)
    allowed = load(
        timed("a"), timed("b", 1, "right", other_poses=("right",)), stations=ONE, unit=unit
    )
    expected = findings.ordering.round.seconds - allowed.ordering.round.seconds
    assert saved(findings, '"b" in its second pose') == pytest.approx(expected, abs=1e-6)


def test_a_rule_let_go_saves_what_an_order_without_it_saves() -> None:
    """T1, T2, T1 as ruled is one change more than T1, T1, T2."""
    cuts = [timed("a", 1), timed("b", 2, after=("a",)), timed("c", 1, "top", after=("b",))]
    findings = load(*cuts, stations=ONE)
    free = load(*cuts[:2], timed("c", 1, "top"), stations=ONE)
    expected = findings.ordering.round.seconds - free.ordering.round.seconds
    assert saved(findings, '"c" wait for "b"') == pytest.approx(max(expected, 0.0), abs=1e-6)


def test_mends_are_ranked() -> None:
    findings = load(timed("a", 1), timed("b", 2, "right"), timed("c", 3, "top"))
    times = [mend.saved_s for mend in findings.order_mends]
    assert times == sorted(times, reverse=True)
    assert len(times) >= 2


def test_the_time_of_a_change_at_which_the_order_turns() -> None:
    """Three tools on two faces: with slow changes tool by tool, with quick ones pose by pose.

    By hand: tool by tool there are three changes and three indexes, pose by pose four and one.
    Just under and just over the time that is told the other order and this one must win.
    """
    cuts = [
        timed(f"{face} {tool}", tool, face) for face in ("front", "right") for tool in (1, 2, 3)
    ]
    slow = load(*cuts, stations=ONE, timing={"tool_change": Amount(30.0)})
    turn = slow.order_turn
    assert turn is not None
    assert turn.below
    assert (slow.ordering.changes, turn.changes) == (3, 4)
    for off, changes in ((-0.05, turn.changes), (0.05, slow.ordering.changes)):
        near = load(*cuts, stations=ONE, timing={"tool_change": Amount(turn.value + off)})
        assert near.ordering.changes == changes


def test_the_speed_of_turning_at_which_the_order_turns() -> None:
    """The same six cuts: where turning takes longer, pose by pose comes to be shorter."""
    cuts = [
        timed(f"{face} {tool}", tool, face) for face in ("front", "right") for tool in (1, 2, 3)
    ]
    findings = load(*cuts, stations=ONE, timing={"tool_change": Amount(5.0)})
    turn = findings.index_turn
    assert turn is not None
    own = findings.ordering
    assert not turn.below
    assert turn.changes != own.changes
    motion = findings.cell.unit.motion
    for off, changes in ((-0.02, own.changes), (0.02, turn.changes)):
        slower = {
            name: Amount(math.pi / 2.0 / (turn.value + off))
            for name in ("tilt_speed", "rotary_speed")
        }
        near = load(
            *cuts,
            stations=ONE,
            timing={"tool_change": Amount(5.0)},
            unit={"motion": replace(motion, **slower)},
        )
        assert near.ordering.changes == changes


def test_an_empty_station_filled_shares_what_a_load_takes_once() -> None:
    stations = (STATIONS[0], replace(STATIONS[1], empty=True))
    findings = load(timed("a"), stations=stations)
    full = load(timed("a"), stations=STATIONS[:2])
    part, more = findings.load_time, full.load_time
    assert part is not None and more is not None
    assert saved(findings, "load 2 too") == pytest.approx(
        part.seconds_per_part - more.seconds_per_part
    )


def test_one_tool_has_nothing_to_turn() -> None:
    assert load(timed("a"), timed("b"), stations=ONE).order_turn is None


# --- a station without a part --------------------------------------------------------------------


def test_an_empty_station_is_neither_cut_nor_loaded() -> None:
    stations = (STATIONS[0], replace(STATIONS[1], empty=True))
    found = load(timed("a"), stations=stations).ordering
    assert found.parts == 1
    assert found.causes["loading"].value == 50.0
    assert isinstance(stations[1], Station)
