"""The question `order`: verdicts, what they rest on, tables, pictures, and the program of calls."""

from __future__ import annotations

import functools
import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell, Night, Tool
from gudgeon.cell.model_control import WordMeaning
from gudgeon.findings import Findings
from gudgeon.findings.effort import Effort
from gudgeon.quantity.amount import Amount
from gudgeon.questions import order
from gudgeon.questions._order_tables import seconds_text
from tests.questions.order_shop import cut, shop
from tests.questions.trunnions import STATIONS, deg

ROOT = Path(__file__).parents[2]
QUICK = Effort(rounds=1_500, bound=0.3)
ONE = (STATIONS[0],)


def ask(*operations, **changes) -> Answer:
    return order.answer(Findings(shop(*operations, **changes), (), QUICK))


def timed(name: str, tool: int = 1, face: str = "front", seconds: float = 10.0, **more):
    return cut(name, tool, face, takes=Amount(seconds, 1.0), **more)


@functools.cache
def demo(name: str) -> Answer:
    cell = load(ROOT / "demo" / f"{name}.toml").cell
    assert cell is not None
    return order.answer(Findings(cell))


# --- verdicts -----------------------------------------------------------------------------------


def test_one_tool_without_a_change_is_a_plain_yes() -> None:
    told = ask(timed("mill"))
    assert told.verdict is Verdict.YES
    assert told.headline.startswith("A load of 4 parts takes ")
    assert told.headline.endswith("no order is shorter.")
    assert told.figure("changes").value == 0.0


def test_where_a_change_is_clear_has_to_be_known() -> None:
    told = ask(timed("mill"), timed("drill", 2))
    assert told.verdict is Verdict.YES_IF
    assert "if tools may be changed where the unit stands" in told.headline
    assert any('ask "changes"' in text for text in told.assumed)


def test_a_circle_is_a_no_that_names_it() -> None:
    told = ask(timed("a", after=("b",)), timed("b", after=("a",)), stations=ONE)
    assert told.verdict is Verdict.NO
    assert '"a at 1"' in told.headline
    assert '"b at 1"' in told.headline


def test_a_cut_in_no_pose_is_a_no_that_names_it() -> None:
    told = ask(timed("mill"), timed("top", 1, "top"), unit={"tilt_range": (deg(-10), deg(10))})
    assert told.verdict is Verdict.NO
    assert "mill at 1" in told.headline
    assert len(told.table("unreached").rows) == 4


def test_a_missing_time_is_named_and_the_way_between_is_told_all_the_same() -> None:
    told = ask(timed("mill"), cut("drill", 2), stations=ONE)
    assert told.verdict is Verdict.CANNOT_TELL
    assert told.missing[0].where.endswith("operations[2].takes")
    assert 'time of "drill"' in told.headline
    assert told.figure("load_time").value is None
    between = told.figure("between").value
    assert between is not None
    assert between > 16.0
    assert len(told.table("sequence").rows) == 3


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"timing": {"tool_change": None}}, "timing.tool_change"),
        ({"stations": ()}, "stations"),
        ({"control": {"tilt_sense": None}}, "control.tilt_sense"),
        ({"machine": {"motion": shop().machine.motion.__class__()}}, "machine.motion.rapid_x"),
    ],
)
def test_what_is_missing_is_named(changes: dict, where: str) -> None:
    told = ask(timed("mill"), timed("drill", 2), **changes)
    assert told.verdict is Verdict.CANNOT_TELL
    assert any(item.where.endswith(where) for item in told.missing)


def test_only_what_moves_has_to_be_known() -> None:
    """One tool, one pose, that of loading: no change and no turn is asked for."""
    still = shop().unit.motion.__class__()
    told = ask(timed("top", 1, "top"), timing={"tool_change": None}, unit={"motion": still})
    assert told.verdict is Verdict.YES
    assert told.figure("indexing").value == 0.0
    assert not any("changes" in text for text in told.assumed)
    turned = ask(timed("mill", 1, "front"), unit={"motion": still})
    assert [item.where for item in turned.missing] == ["cell.toml: unit.motion.tilt_speed"]
    both = ask(timed("mill"), timed("drill", 2, "right"), unit={"motion": still})
    assert {item.where for item in both.missing} == {
        "cell.toml: unit.motion.tilt_speed",
        "cell.toml: unit.motion.rotary_speed",
    }


def test_what_would_turn_the_order_is_told() -> None:
    cuts = [
        timed(f"{face} {tool}", tool, face) for face in ("front", "right") for tool in (1, 2, 3)
    ]
    told = ask(*cuts, stations=ONE, timing={"tool_change": Amount(5.0)})
    assert told.flips is not None
    assert "With under 3.6 s a tool change another order wins, with 4 tool changes" in told.flips
    assert "If the unit turned at under 59 % of its speed another order would win" in told.flips


def test_an_empty_shop_is_asked_for_its_operations_first() -> None:
    told = ask()
    assert told.verdict is Verdict.CANNOT_TELL
    assert told.missing[0].where.endswith("operations")


# --- figures and tables -------------------------------------------------------------------------


def test_causes_add_up_to_the_load() -> None:
    told = ask(timed("mill"), timed("drill", 2))
    rows = told.table("causes").rows
    assert rows[-1][0] == "together"
    assert sum(float(row[1]) for row in rows[:-1]) == pytest.approx(float(rows[-1][1]), abs=0.3)
    load_time = told.figure("load_time").value
    assert load_time is not None
    assert load_time * 60.0 == pytest.approx(float(rows[-1][1]), abs=0.06)
    part = told.figure("part_time").value
    assert part == pytest.approx(load_time / 4.0)


def test_the_sequence_runs_on_to_the_end_of_the_load() -> None:
    told = ask(timed("mill"), timed("drill", 2))
    rows = told.table("sequence").rows
    assert [row[0] for row in rows] == list(range(1, 10))
    running = [float(row[-1]) for row in rows]
    assert running == sorted(running)
    run = told.figure("run_time").value
    assert run is not None
    assert running[-1] == pytest.approx(run, abs=0.01)
    sums = sum(float(row[8]) + float(row[9] or 0.0) for row in rows)
    assert sums / 60.0 == pytest.approx(run, abs=0.02)


def test_the_loading_map_leaves_empty_places_out_of_the_count() -> None:
    stations = (STATIONS[0], replace(STATIONS[1], empty=True), *STATIONS[2:])
    told = ask(timed("mill"), stations=stations)
    rows = {row[1]: row for row in told.table("loading").rows}
    assert [rows[name][0] for name in "1234"] == [1, None, 2, 3]
    assert rows["2"][5] == "stays empty"
    assert rows["1"][6] == "front G55"
    assert any("Nothing is cut at 2" in text for text in told.assumed)


def test_without_a_loading_time_that_is_said() -> None:
    told = ask(timed("mill"), shift={"load_part": None})
    assert "without loading" in told.headline
    assert told.figure("load_time").value == told.figure("run_time").value
    assert any(item.where.endswith("shift.load_part") for item in told.missing)


def test_the_bound_is_told_honestly() -> None:
    cell = shop(timed("mill"), timed("drill", 2), timed("ream", 3, "right"))
    none = order.answer(Findings(cell, (), Effort(rounds=500, bound=0.0)))
    assert none.figure("bound").value is None
    assert none.figure("bound").note == "none was sought"
    assert "no order is shorter" not in none.headline
    proven = order.answer(Findings(cell, (), QUICK))
    assert proven.figure("bound").value == pytest.approx(
        float(proven.figure("run_time").value or 0.0), abs=1e-3
    )


def test_pictures_are_drawings_that_can_be_read() -> None:
    told = ask(timed("mill"), timed("drill", 2), timed("top", 3, "top"))
    assert [picture.name for picture in told.pictures] == ["time", "causes", "poses"]
    for picture in told.pictures:
        words = " ".join(node.text or "" for node in ET.fromstring(picture.svg).iter())
        assert words.strip()


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(4.26, "4.3 s"), (47.4, "47 s"), (99.6, "1.7 min"), (1280.0, "21.3 min"), (27000.0, "7.5 h")],
)
def test_times_are_said_as_a_person_says_them(seconds: float, words: str) -> None:
    assert seconds_text(seconds) == words


# --- tools, visits, shifts ----------------------------------------------------------------------


def tools(**lives: float) -> tuple[Tool, ...]:
    return tuple(
        replace(tool, life=Amount(lives[f"t{tool.number}"]), sisters=(5,))
        if f"t{tool.number}" in lives
        else tool
        for tool in shop().tools
    )


def test_a_sister_that_has_to_be_loaded_is_a_condition() -> None:
    told = ask(timed("mill"), tools=tools(t1=25.0))
    assert told.verdict is Verdict.YES_IF
    assert "if T1's sister T5 is loaded" in told.headline


def test_a_tool_that_has_to_be_changed_within_the_load_is_a_condition() -> None:
    told = ask(timed("mill"), tools=tools(t1=15.0))
    assert told.verdict is Verdict.YES_IF
    assert 'if T1 is changed for a fresh one before "mill at' in told.headline


def test_the_list_of_tools() -> None:
    told = ask(timed("mill"), timed("drill", 2), tools=tools(t1=100.0))
    rows = {row[0]: row for row in told.table("tools").rows}
    assert rows["T1"][2:] == (1.7, 0.67, 2, 8, "T5", 5)
    assert rows["T2"][2:] == (None, 0.67, None, None, None, None)


def test_visits_shifts_and_nights_are_figures() -> None:
    shift = {"hours": Amount(8 * 3600.0), "night": Night(hours=Amount(10 * 3600.0))}
    told = ask(timed("mill"), tools=tools(t1=100.0), shift=shift)
    assert told.figure("visit").value == pytest.approx(told.figure("run_time").value, abs=1e-3)
    assert told.figure("visit").note == "ends when all loads are done"
    shift_parts = told.figure("parts_per_shift").value
    assert shift_parts is not None
    assert shift_parts % 4 == 0
    assert told.figure("parts_per_night").value == 4.0
    assert "T1 is the first tool worn" in told.figure("first_tool").label
    assert told.flips is not None
    assert "an hour apart" in told.flips


def test_a_night_that_a_tool_ends_tells_what_a_sister_adds() -> None:
    shift = {"night": Night(hours=Amount(24 * 3600.0), loads=100)}
    told = ask(timed("mill"), tools=tools(t1=80.0), shift=shift)
    assert told.fix is not None
    assert "A further sister of T1 adds 8 parts a night." in told.fix
    assert "T1 is worn" in told.figure("parts_per_night").note


def test_no_runs_are_told_where_a_time_is_missing() -> None:
    told = ask(timed("mill"), cut("drill", 2))
    assert all(figure.name not in ("visit", "parts_per_shift") for figure in told.figures)


# --- the program of calls -----------------------------------------------------------------------


def called(name: str, number: int, tool: int = 1, face: str = "front", **more):
    return timed(name, tool, face, call=f"M98 P{number}", **more)


def blocks(told: Answer) -> list[str]:
    return [str(row[0]) for row in told.table("calls").rows]


def test_the_program_comes_to_each_call_with_its_tool_offset_and_pose() -> None:
    told = ask(called("mill", 2001), called("drill", 2002, 2, "top"), stations=ONE)
    text = blocks(told)
    assert text[-1] == "M30"
    for call, tool, word, pose in (
        ("M98 P2001", "T1 M6", "G55", "A90."),
        ("M98 P2002", "T2 M6", "G54", "A0."),
    ):
        at = text.index(call)
        assert text[at - 1] == word
        assert tool in text[:at]
        assert any(pose in line for line in text[:at])
        assert text[at + 1] == "G90 G53 G0 Z0."


def test_the_program_needs_no_travel_of_x_and_y() -> None:
    machine = {"travel_x": None, "travel_y": None}
    told = ask(called("mill", 2001), stations=ONE, machine=machine)
    assert blocks(told)[-1] == "M30"


@pytest.mark.parametrize(("style", "told"), [("( )", "(MILL FL AT 1)"), (";", "; mill fl at 1")])
def test_comments_are_written_as_the_control_reads_them(style: str, told: str) -> None:
    """Signs that would end a comment, or that no control knows, are left out."""
    answer = ask(called("mill (fl\u00e4%)", 2001), stations=ONE, control={"comment": style})
    assert f"M98 P2001 {told}" in blocks(answer)


def test_clamps_are_written_where_their_words_are_declared() -> None:
    words = (
        WordMeaning("M68", "no motion", brakes="clamps both"),
        WordMeaning("M69", "no motion", brakes="frees both"),
    )
    told = ask(called("mill", 2001), stations=ONE, control={"words": words})
    text = blocks(told)
    for k, line in enumerate(text):
        if line.startswith("G53") and ("A" in line or "C" in line):
            assert (text[k - 1], text[k + 1]) == ("M69", "M68")
    assert not any("clamps" in text for text in told.cautions)
    plain = ask(called("mill", 2001), stations=ONE)
    assert any("no words for the clamps" in text for text in plain.cautions)


def test_the_spindle_is_started_where_its_speed_is_entered() -> None:
    """By hand: 2 pi rad/s are 60 turns a minute."""
    spin = Amount(2.0 * math.pi * 20.0)
    told = ask(called("mill", 2001, speed=spin), called("drill", 2002, 2), stations=ONE)
    text = blocks(told)
    assert text[text.index("M98 P2001") - 1] == "S1200 M3"
    assert not text[text.index("M98 P2002") - 1].startswith("S")
    (caution,) = [text for text in told.cautions if "starts no spindle" in text]
    assert '"drill"' in caution
    assert '"mill"' not in caution
    both = ask(called("mill", 2001, speed=spin), called("bore", 2003, speed=spin), stations=ONE)
    assert sum(line.startswith("S1200") for line in blocks(both)) == 2  # one may have stopped it


def refused(told: Answer) -> str:
    assert all(table.name != "calls" for table in told.tables)
    (found,) = [text for text in told.cautions if "No program of calls" in text]
    return found


def test_a_program_is_refused_where_a_call_is_missing_or_none() -> None:
    assert "operations[2].call" in refused(
        ask(called("mill", 2001), timed("drill", 2), stations=ONE)
    )
    told = ask(replace(timed("mill"), call="G1 X10. F100."), stations=ONE)
    assert "no call" in refused(told) or "read back" in refused(told)
    told = ask(replace(timed("mill"), call="M98 P1\nM98 P2"), stations=ONE)
    assert "more than one block" in refused(told)


def test_a_program_is_refused_where_a_word_reads_as_something_else() -> None:
    """The work offset's word taken for machine coordinates; no word left to change a tool."""
    told = ask(called("mill", 2001), stations=ONE, control={"machine_word": "G55"})
    assert "line" in refused(told)
    words = (WordMeaning("M6", "no motion"),)
    told = ask(called("mill", 2001), stations=ONE, control={"words": words})
    assert "to change a tool" in refused(told)


def test_a_program_is_refused_where_the_offsets_have_run_out() -> None:
    assert "no work offset" in refused(ask(called("mill", 2001)))  # four stations, three faces


def test_nobody_is_told_of_a_program_that_nobody_asked_for() -> None:
    assert not any("program of calls" in text for text in ask(timed("mill")).cautions)


def test_a_tool_that_the_block_changes_is_found_out() -> None:
    """A call that brings another tool is no call of a subprogram alone."""
    told = ask(replace(timed("mill"), call="T5 M6"), stations=ONE)
    assert refused(told)


# --- any shop -----------------------------------------------------------------------------------


@st.composite
def shops(draw: st.DrawFn):
    """Draw a few operations with whatever may be entered about them, and stations."""
    count = draw(st.integers(1, 4))
    names = [f"op {k}" for k in range(count)]
    faces = ("top", "front", "right")
    operations = []
    for name in names:
        takes = draw(st.none() | st.floats(0.1, 500.0))
        operations.append(
            cut(
                name,
                draw(st.integers(1, 3)),
                draw(st.sampled_from(faces)),
                takes=None if takes is None else Amount(takes, draw(st.none() | st.just(1.0))),
                stage=draw(st.sampled_from((None, None, "datum", "rough", "finish"))),
                after=tuple(draw(st.lists(st.sampled_from(names), max_size=1))),
                other_poses=tuple(draw(st.lists(st.sampled_from(faces), max_size=2))),
                stations=tuple(draw(st.lists(st.sampled_from("12"), max_size=1))),
                call=draw(st.sampled_from((None, "M98 P1", "G65 P2 A1.", "M98", "(", "%"))),
            )
        )
    stations = tuple(
        replace(station, empty=draw(st.booleans()) or None) for station in STATIONS[:2]
    )
    tools = tuple(
        replace(tool, life=Amount(draw(st.floats(1.0, 2000.0))), sisters=(4,))
        if draw(st.booleans())
        else tool
        for tool in shop().tools
    )
    unit = {"tilt_range": (deg(draw(st.sampled_from((-95, -10)))), deg(100))}
    return shop(*operations, stations=stations, tools=tools, unit=unit)


@settings(max_examples=25, deadline=None)
@given(shops())
def test_any_shop_gets_an_answer_that_keeps_its_rules(cell: Cell) -> None:
    findings = Findings(cell, (), Effort(rounds=300, bound=0.05))
    told = order.answer(findings)
    if told.verdict in (Verdict.NO, Verdict.CANNOT_TELL):
        assert told.missing or told.verdict is Verdict.NO
        if not any(table.name == "sequence" for table in told.tables):
            return
    found = findings.ordering
    place = {step.job.label: k for k, step in enumerate(found.steps)}
    assert len(place) == len(found.jobs.jobs)
    for first, then, _ in found.jobs.before:
        assert place[found.jobs.jobs[first].label] < place[found.jobs.jobs[then].label]
    for step in found.steps:
        assert step.way in step.job.ways
    if found.saved_s is not None:
        assert found.saved_s >= -1e-6
    if found.round.low_s is not None:
        assert found.round.low_s <= found.round.seconds + 1e-9
    for figure in told.figures:
        assert figure.value is None or figure.value >= 0.0


# --- the demo shops -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_the_demo_shops_get_an_order_that_is_proven(name: str) -> None:
    told = demo(name)
    assert told.verdict in (Verdict.YES, Verdict.YES_IF)
    assert "no order is shorter" in told.headline
    assert told.figure("bound").value == pytest.approx(
        float(told.figure("run_time").value or 0.0), abs=1e-3
    )
    saved = told.figure("saved").value
    assert saved is not None
    assert saved >= -1e-9


def test_the_same_shop_gets_the_same_answer() -> None:
    cell = load(ROOT / "demo" / "alder-ford.toml").cell
    assert cell is not None
    assert order.answer(Findings(cell)).as_data() == demo("alder-ford").as_data()
