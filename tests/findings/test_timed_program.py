"""Times of programs: sums worked out by hand, the split, and what could not be counted."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.cell.files import load
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.timed_program import ProgramTime
from gudgeon.findings.timed_words import Cause
from gudgeon.program.reader import read
from gudgeon.program.track import Track
from tests.findings.test_timed import CONTROL, MACHINE, TIMING, UNIT, findings, without

DEMO = Path(__file__).parents[2] / "demo"

READ = """
tilt_letter = "A"
rotary_letter = "C"
missing_point = "one unit"
dwell_p = "milliseconds"
arc_without_end = "circle"
[control.start]
x = "0 mm"
y = "0 mm"
z = "0 mm"
tilt = "0 deg"
rotary = "0 deg"
[[control.offsets]]
word = "G54"
x = "0 mm"
y = "0 mm"
z = "0 mm"
"""
BRAKES = """
[[control.words]]
word = "M68"
means = "no motion"
brakes = "clamps both"
[[control.words]]
word = "M69"
means = "no motion"
brakes = "frees both"
"""
TOOLS = """
[[tools]]
number = 1
length = "100 mm"
"""
CELL = MACHINE + UNIT + CONTROL + READ + TIMING + TOOLS
AHEAD = CELL.replace('"exact stop"', '"look ahead"')
HEAD = "G21 G90 G17 G94 G40 G49 G80 G54\n"

V, A = 10.0, 2500.0
"""F600 and the acceleration of X."""


def timed(program: str, text: str = CELL) -> ProgramTime:
    own = Findings(findings(text).cell, [ProgramText("part.nc", (HEAD + program).encode())])
    [found] = own.program_times
    return found


def seconds(program: str, text: str = CELL) -> float:
    return timed(program, text).total.value


def rest(distance: float, speed: float, acceleration: float) -> float:
    """Return the time of a trapezoid from rest to rest, worked out anew."""
    if distance * acceleration >= speed**2:
        return distance / speed + speed / acceleration
    return 2.0 * math.sqrt(distance / acceleration)


def test_a_program_by_hand_move_by_move() -> None:
    found = timed("G0 X100.\nZ-30.\nG1 X110. F600.\nG4 P500\nG1 X120.\nG0 Z0.\nM30\n")
    by_hand = {
        Cause.RAPIDS: 0.4 + 2.0 * rest(30.0, 300.0, 2000.0),  # MT-000
        Cause.CUTTING: 2.0 * rest(10.0, V, A),
        Cause.DWELL: 0.5,
    }

    assert found.total.value == pytest.approx(sum(by_hand.values()), abs=1e-6)
    for cause, part in found.by_cause.items():
        assert part.value == pytest.approx(by_hand.get(cause, 0.0), abs=1e-6), cause
    assert found.short == ()
    assert found.missing == ()


def test_a_program_by_hand_with_change_spindle_and_index() -> None:
    found = timed("T1 M6\nS1000 M3\nG0 C90.\nG1 X10. F600.\nM5\nM0\nM1\nM30\n")
    by_hand = {
        Cause.TOOL_CHANGE: 4.0,
        Cause.SPINDLE: 1.5 + 1.0,
        Cause.INDEXING: 0.85,  # MT-003
        Cause.CLAMPING: 0.4 + 0.6,
        Cause.CUTTING: rest(10.0, V, A),
    }

    assert found.total.value == pytest.approx(sum(by_hand.values()), abs=1e-6)
    for cause, part in found.by_cause.items():
        assert part.value == pytest.approx(by_hand.get(cause, 0.0), abs=1e-6), cause
    assert (found.stops, found.optional_stops) == (1, 1)


def test_a_rapid_of_unlike_axes_lasts_as_long_as_the_slower() -> None:
    text = CELL.replace('"500 mm/s"', '"400 mm/s"').replace('"2500 mm/s2"', '"2000 mm/s2"')
    found = timed("G0 X30. A90.\nM30\n", text)

    assert found.by_cause[Cause.INDEXING].value == pytest.approx(1.7, abs=1e-6)  # MT-041


def test_a_feed_over_the_work_counts_the_way_round_the_rotary_line() -> None:
    loaded = load(DEMO / "alder-ford.toml")
    assert loaded.cell is not None
    cell = replace(loaded.cell, timing=replace(loaded.cell.timing, mixed_feed="over the work"))
    own = Findings(cell)
    x, y = own.axis_lines.platter_origin_of(own.axis_lines.values)[:2]
    text = f"G21 G90 G94 G17\nG53 G0 X{x + 80.0:.4f} Y{y:.4f} Z0.\nG91 G1 X.0001 C90. F600.\nM30\n"
    track = read(text.encode(), own.control_for(text.encode()).dialect)
    cut = own.program_time(track, "part.nc").by_cause[Cause.CUTTING]

    # a quarter of a circle of 80 mm at 10 mm/s; starting and stopping add a little
    assert cut.value == pytest.approx(80.0 * math.pi / 2.0 / 10.0, rel=0.01)


def test_settling_of_twelve_moves() -> None:
    step = V * (4.0 / 12.0 - V / A)
    blocks = "".join(f"G1 X{step * ((i + 1) % 2):.9f} F600.\n" for i in range(12))
    text = CELL.replace("[timing]", '[timing]\nsettle = "0.15 s"')

    assert seconds(blocks, text) == pytest.approx(5.8, abs=1e-6)  # MT-042


def test_ranges_of_what_is_counted_grow_with_how_often_it_is() -> None:
    once, thrice = timed("T1 M6\nM30\n"), timed("T1 M6\nT1 M6\nT1 M6\nM30\n")

    assert once.total.plus_minus == pytest.approx(0.3)
    assert thrice.total.value == pytest.approx(12.0)
    assert thrice.total.plus_minus == pytest.approx(0.9)  # the same clock was off each time


def test_the_parts_of_a_range_add_up_as_root_of_squares() -> None:
    found = timed("T1 M6\nS1000 M3\nM30\n")

    assert found.total.plus_minus == pytest.approx(math.hypot(0.3, 0.4))


def test_ways_to_the_change_count_as_change() -> None:
    text = CELL.replace("[machine.motion]", '[machine.changer]\nz = "0 mm"\n[machine.motion]')
    found = timed("G0 Z-30.\nT1 M6\nM30\n", text)

    up = rest(30.0, 300.0, 2000.0)
    assert found.by_cause[Cause.TOOL_CHANGE].value == pytest.approx(4.0 + up, abs=1e-6)
    assert found.by_cause[Cause.RAPIDS].value == pytest.approx(up, abs=1e-6)


def test_words_that_work_the_brakes_take_their_time_where_they_stand() -> None:
    program = "M69\nG0 C90.\nM68\nM30\n"
    found = timed(program, CELL + BRAKES)

    assert found.by_cause[Cause.CLAMPING].value == pytest.approx(0.4 + 0.6)
    assert found.by_cause[Cause.OTHER].value == 0.0
    without_words = timed("M8\nG0 C90.\nM9\nM30\n", CELL + BRAKES)
    assert without_words.by_cause[Cause.CLAMPING].value == 0.0


def test_a_verb_without_a_word_of_its_own_stands_about_the_turns() -> None:
    frees = "[[control.words]]" + BRAKES.split("[[control.words]]")[2]
    found = timed("M69\nG0 C90.\nM30\n", CELL + frees)

    assert found.by_cause[Cause.CLAMPING].value == pytest.approx(0.4 + 0.6)


def test_what_is_clamped_already_takes_no_time() -> None:
    once = timed("M69\nG0 C90.\nM68\nM30\n", CELL + BRAKES)
    again = timed("M69\nM69\nG0 C90.\nM68\nM68\nM30\n", CELL + BRAKES)

    assert again.total.value == pytest.approx(once.total.value)


def test_clamps_stand_about_an_unbroken_run_of_turns() -> None:
    one = timed("G0 C10.\nC20.\nC30.\nM30\n").by_cause[Cause.CLAMPING].value
    two = timed("G0 C10.\nC20.\nX5.\nC30.\nM30\n").by_cause[Cause.CLAMPING].value
    both = timed("G0 A10. C20.\nM30\n").by_cause[Cause.CLAMPING].value

    assert one == pytest.approx(1.0)
    assert two == pytest.approx(2.0)
    assert both == pytest.approx(1.0)  # at once: the longer counts


def test_feed_a_turn_goes_by_the_spindle() -> None:
    program = "S600 M3\nG95 F.1\nG1 X5.\nM30\n"

    assert timed(program).by_cause[Cause.CUTTING].value == pytest.approx(rest(5.0, 1.0, A))


def test_inverse_time_takes_what_it_says() -> None:
    text = CELL.replace("2500 mm/s2", "1e7 mm/s2")
    program = "G93\nG1 X5. C10. F30.\nM30\n"
    text = text.replace("600 deg/s2", "1e7 deg/s2")

    assert timed(program, text).by_cause[Cause.CUTTING].value == pytest.approx(2.0, abs=1e-3)


@pytest.mark.parametrize(("rule", "expected"), [("linear axes", 1.0), ("all axes", math.sqrt(5.0))])
def test_mixed_feed_counts_what_the_cell_says(rule: str, expected: float) -> None:
    text = CELL.replace("[timing]", f'[timing]\nmixed_feed = "{rule}"')
    text = text.replace("2500 mm/s2", "1e7 mm/s2").replace("600 deg/s2", "1e7 deg/s2")

    assert timed("G1 X10. C20. F600.\nM30\n", text).by_cause[Cause.CUTTING].value == pytest.approx(
        expected, abs=1e-3
    )


def test_mixed_feed_that_is_not_entered_holds_both() -> None:
    text = CELL.replace("2500 mm/s2", "1e7 mm/s2").replace("600 deg/s2", "1e7 deg/s2")
    cut = timed("G1 X10. C20. F600.\nM30\n", text)
    found = cut.by_cause[Cause.CUTTING]

    assert found.value - found.plus_minus == pytest.approx(1.0, abs=1e-3)
    assert found.value + found.plus_minus == pytest.approx(math.sqrt(5.0), abs=1e-3)
    assert any("timing.mixed_feed" in text for text in cut.assumed)


def test_exact_stop_in_force_stops_a_control_that_looks_ahead() -> None:
    blocks = "".join(f"X{3.0 * i}\n" for i in range(1, 9))
    stops = seconds(f"G1 F600.\n{blocks}M30\n")
    ahead = seconds(f"G1 F600.\n{blocks}M30\n", AHEAD)

    assert stops == pytest.approx(8.0 * rest(3.0, V, A), abs=1e-6)
    assert ahead == pytest.approx(rest(24.0, V, A), abs=1e-6)
    assert seconds(f"G61 G1 F600.\n{blocks}M30\n", AHEAD) == pytest.approx(stops)
    assert ahead < seconds(f"G1 F600.\nX3.\nM8\n{blocks}M30\n", AHEAD) < stops


def test_corners_that_are_not_entered_hold_both() -> None:
    program = "G1 X3. F600.\nX6.\nX9.\nM30\n"
    ends = seconds(program, AHEAD), seconds(program)
    found = timed(program, without("corners", CELL)).total

    assert found.value == pytest.approx(sum(ends) / 2.0)
    assert found.plus_minus == pytest.approx((ends[1] - ends[0]) / 2.0)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-80, 80), st.floats(-80, 80)), min_size=1, max_size=6),
    st.floats(0.05, 0.95),
    st.floats(60.0, 6000.0),
)
def test_a_move_split_in_two_takes_as_long(
    points: list[tuple[float, float]], share: float, feed: float
) -> None:
    here = (0.0, 0.0)
    whole, split = f"G1 F{feed:.3f}\n", f"G1 F{feed:.3f}\n"
    for x, y in points:
        middle = [a + share * (b - a) for a, b in zip(here, (x, y), strict=True)]
        split += f"X{middle[0]:.14f} Y{middle[1]:.14f}\n"
        for_both = f"X{x:.14f} Y{y:.14f}\n"
        whole, split, here = whole + for_both, split + for_both, (x, y)
    first, second = seconds(whole + "M30\n", AHEAD), seconds(split + "M30\n", AHEAD)

    assert second == pytest.approx(first, rel=1e-6)
    assert seconds(whole + "M30\n") >= first * (1.0 - 1e-9)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.sampled_from(range(12)), max_size=14))
def test_the_splits_add_up(chosen: list[int]) -> None:
    blocks = (
        "G0 X30.", "G1 X3. Y4. F900.", "G2 X10. Y0. I5. F700.", "G0 A30. C-50.", "T1 M6",
        "S900 M3", "M5", "M8", "G4 P300", "G1 C10. F90.", "G54 G0 Z5.", "G1 X1. C77. F200.",
    )  # fmt: skip
    lines = [blocks[i] for i in chosen]
    lines = ["G1 X0. Y0. F500.\n" + b if b.startswith("G2") else b for b in lines]
    found = timed("\n".join([*lines, "M30\n"]), AHEAD)
    whole = found.total.value

    assert sum(part.value for part in found.by_cause.values()) == pytest.approx(whole)
    assert sum(part.value for part in found.by_tool.values()) == pytest.approx(whole)
    every = [found.in_the_cut(lambda use, u=u: use is u).value for u in found.uses]
    inside = [Cause.CUTTING, Cause.RAPIDS, Cause.DWELL, Cause.PROBING]
    assert sum(every) == pytest.approx(sum(found.by_cause[cause].value for cause in inside))


def test_uses_tell_tool_offset_and_pose() -> None:
    found = timed("T1 M6\nG0 C370.\nG1 X10. F600.\nG0 C730.\nG1 X0.\nM30\n")
    cut = [use for use in found.uses if found.at_feed(lambda u, use=use: u is use).value > 0.0]

    [use] = cut  # whole turns apart the work stands the same
    assert (use.tool, use.offset) == (1, "G54")
    assert use.turn_rad == pytest.approx(math.radians(10.0), abs=1e-6)
    assert found.at_feed(lambda u: u.tool == 1).value == pytest.approx(2.0 * rest(10.0, V, A))


def test_a_cut_while_an_axis_turns_has_no_pose() -> None:
    found = timed("G1 X10. C20. F600.\nM30\n")
    [use] = [u for u in found.uses if found.at_feed(lambda o, u=u: o is u).value > 0.0]

    assert math.isnan(use.turn_rad)


# --- what could not be counted ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("program", "reason"),
    [
        ("G95 F.1\nG1 X5.\nM30\n", "without a known feed"),
        ("G1 X5. F600.\nNOT A WORD\nG1 X9.\nM30\n", "up to line"),
        ("G55 G0 X5.\nG1 X9. F600.\nM30\n", "not known"),
    ],
)
def test_what_was_not_understood_makes_the_sum_a_lower_bound(program: str, reason: str) -> None:
    found = timed(program)

    assert any(reason in text for text in found.short), found.short


def test_a_dwell_of_unknown_unit_is_told() -> None:
    found = timed("G4 P500\nM30\n", without("dwell_p", CELL))

    assert any("dwell" in text for text in found.short)
    assert found.total.value == 0.0


def test_changes_without_a_time_are_told_and_asked_for() -> None:
    found = timed("T1 M6\nG0 X100.\nM30\n", without("tool_change", CELL))

    assert found.total.value == pytest.approx(0.4, abs=1e-6)
    assert "1 tool change" in found.short[0]
    assert [one.where for one in found.missing] == ["cell.toml: timing.tool_change"]


def test_only_axes_that_move_are_asked_for() -> None:
    text = without("tilt_speed", without("rotary_speed", CELL))

    assert seconds("G0 X100.\nM30\n", text) == pytest.approx(0.4, abs=1e-6)
    with pytest.raises(Lacking) as lacking:
        seconds("G0 C90.\nM30\n", text)
    assert [one.where for one in lacking.value.missing] == ["cell.toml: unit.motion.rotary_speed"]


def test_after_a_probing_move_times_go_on_from_its_programmed_end() -> None:
    text = CELL + '[[control.words]]\nword = "G31"\nmeans = "probe"\n'
    text = text.replace("[timing]", '[timing]\nprobe_touch = "0.7 s"')
    found = timed("S1\nG31 Z-10. F600.\nG0 Z0.\nM30\n", text)

    assert found.by_cause[Cause.PROBING].value == pytest.approx(0.7 + rest(10.0, V, 2000.0))
    assert found.by_cause[Cause.RAPIDS].value == pytest.approx(rest(10.0, 300.0, 2000.0), abs=1e-6)
    assert any("probing" in told for told in found.assumed)
    assert found.short == ()


def test_a_program_without_motion_takes_no_time() -> None:
    assert seconds("M30\n") == 0.0
    assert timed("").total.value == 0.0


def test_a_turn_that_may_go_either_way_is_told() -> None:
    found = timed("G0 C200.\nM30\n", without("rotary_turns", CELL))

    assert any("either way" in told for told in found.assumed)


def test_arcs_take_their_length() -> None:
    text = AHEAD.replace("2500 mm/s2", "1e7 mm/s2")
    found = timed("G0 X10.\nG3 I-10. F600.\nM30\n", text)

    assert found.by_cause[Cause.CUTTING].value == pytest.approx(2.0 * np.pi, rel=1e-3)


# --- times taken at the machine -----------------------------------------------------------------

LONG = "G1 X300. F600.\nX0.\nM30\n"
MANY = "G1 F600.\n" + "".join(f"X{3 * (i % 2)}.\n" for i in range(1, 41)) + "M30\n"


def with_readings(*readings: tuple[str, str], more: str = "") -> Findings:
    """Return findings of two programs and what a stopwatch said of them."""
    text = CELL + "".join(
        f'[[timing.stopwatch]]\nprogram = "{name}.nc"\nseconds = "{seconds}"\n'
        for name, seconds in readings
    )
    programs = {"long": LONG, "many": MANY, "more": more}
    return Findings(
        findings(text).cell,
        [ProgramText(f"{name}.nc", (HEAD + one).encode()) for name, one in programs.items() if one],
    )


def sums() -> tuple[float, float]:
    return seconds(LONG), seconds(MANY)


def by_name(own: Findings) -> dict[str, ProgramTime]:
    return {one.name: one for one in own.program_times}


def test_a_program_that_was_timed_takes_what_was_read() -> None:
    plain = sums()[0]
    found = by_name(with_readings(("long", f"{1.1 * plain:.3f} s +- 0.4 s")))["long.nc"]

    assert found.total.value == pytest.approx(1.1 * plain, abs=1e-3)
    assert found.total.plus_minus == pytest.approx(0.4, abs=1e-6)
    assert found.by_cause[Cause.CUTTING].value == pytest.approx(1.1 * plain, abs=1e-3)
    assert any("off by 9.1% (too short)" in text for text in found.assumed), found.assumed


def test_two_readings_give_scale_and_time_of_a_stop() -> None:
    long, many = sums()
    scale, stop = 1.05, 0.2
    own = with_readings(
        ("long", f"{scale * long + 2 * stop:.4f} s"),
        ("many", f"{scale * many + 40 * stop:.4f} s"),
        more="G1 X60. F600.\nX30.\nX0.\nM30\n",
    )
    plain = seconds("G1 X60. F600.\nX30.\nX0.\nM30\n")
    watch, found = own.stopwatch, by_name(own)["more.nc"]

    assert watch is not None
    assert watch.fit.scale == pytest.approx(scale, abs=1e-4)
    assert watch.fit.per_stop_s == pytest.approx(stop, abs=1e-3)
    assert found.total.value == pytest.approx(scale * plain + 3 * stop, abs=1e-2)
    assert found.total.plus_minus > 0.05 * found.total.value
    assert any("0.200 s at each full stop" in text for text in found.assumed), found.assumed


def test_settling_as_entered_is_part_of_the_time_of_a_stop() -> None:
    long, many = sums()
    text = CELL.replace("[timing]", '[timing]\nsettle = "0.1 s"')
    for name, whole in (("long", long + 2 * 0.2), ("many", many + 40 * 0.2)):
        text += f'[[timing.stopwatch]]\nprogram = "{name}.nc"\nseconds = "{whole:.4f} s"\n'
    programs = [
        ProgramText(f"{name}.nc", (HEAD + one).encode())
        for name, one in (("long", LONG), ("many", MANY))
    ]
    watch = Findings(findings(text).cell, programs).stopwatch

    assert watch is not None
    assert watch.fit.scale == pytest.approx(1.0, abs=1e-4)
    assert watch.fit.per_stop_s == pytest.approx(0.2, abs=1e-3)


def test_an_index_and_a_way_are_set_right_too() -> None:
    long, many = sums()
    own = with_readings(("long", f"{1.2 * long:.4f} s"), ("many", f"{1.2 * many:.4f} s"))
    plain = findings(CELL)

    turned = own.index_time((0.0, 0.0), (0.0, math.pi / 2.0))
    assert turned.value == pytest.approx(1.0 + 1.2 * 0.85, abs=2e-3)  # the clamps stay as entered
    assert turned.plus_minus == pytest.approx(0.1 * 1.2 * 0.85, rel=0.5)
    ends = (0.0, 0.0, -100.0), (100.0, 0.0, -100.0)
    assert own.travel_time(*ends).value == pytest.approx(
        1.2 * plain.travel_time(*ends).value, rel=2e-3
    )


def test_a_reading_that_agrees_leaves_surer_sums_alone() -> None:
    long, _ = sums()
    own = with_readings(("long", f"{long + 0.05:.3f} s +- 0.5 s"))

    assert by_name(own)["many.nc"].total.value == pytest.approx(sums()[1])
    assert own.stopwatch is not None
    assert own.stopwatch.agrees


def test_a_reading_that_cannot_be_used_is_told() -> None:
    text = CELL + '[[timing.stopwatch]]\nprogram = "gone.nc"\nseconds = "9 s"\n'
    found = timed(LONG, text)

    assert any('"gone.nc" was not handed in' in told for told in found.assumed)
    assert found.total.value == pytest.approx(sums()[0])


def test_pauses_longer_than_the_time_taken_are_told() -> None:
    own = Findings(
        findings(CELL + '[[timing.stopwatch]]\nprogram = "part.nc"\nseconds = "3 s"\n').cell,
        [ProgramText("part.nc", (HEAD + "T1 M6\nG0 X1.\nM30\n").encode())],
    )

    [found] = own.program_times
    assert found.total.value > 4.0
    assert any("longer than the time taken" in told for told in found.assumed)


def shops() -> Iterator[tuple[Findings, Track]]:
    for name in ("alder-ford", "juniper-street"):
        loaded = load(DEMO / f"{name}.toml")
        assert loaded.cell is not None

        def called(number: int) -> bytes | None:
            file = DEMO / f"O{number}.nc"
            return file.read_bytes() if file.exists() else None

        own = Findings(loaded.cell)
        text = (DEMO / f"{name}.nc").read_bytes()
        yield own, read(text, own.control_for(text).dialect, called=called)


def test_every_entry_taken_away_leaves_a_time_or_is_named() -> None:
    for own, track in shops():
        cell = own.cell
        whole = own.program_time(track, "part.nc").total
        for path in ("machine.motion", "unit.motion", "timing"):
            part = cell
            for name in path.split("."):
                part = getattr(part, name)
            for one in fields(part):
                if getattr(part, one.name) in (None, ()):
                    continue
                less = replace(part, **{one.name: None if one.name != "stopwatch" else ()})
                for name in reversed(path.split(".")[:-1]):
                    less = replace(getattr(cell, name), **{path.split(".")[-1]: less})
                without_it = Findings(replace(cell, **{path.split(".")[0]: less}))
                try:
                    found = without_it.program_time(track, "part.nc")
                except Lacking as lacking:
                    wanted = f"{cell.file}: {path}.{one.name}"
                    assert [item.where for item in lacking.missing] == [wanted]
                    continue
                assert found.total.value == pytest.approx(whole.value, rel=0.25), one.name
                assert found.total.plus_minus < 0.3 * whole.value
