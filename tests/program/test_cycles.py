"""Canned cycles: published lists of moves, one hole of each kind, faults in the words, laws."""

from __future__ import annotations

from math import inf, isnan, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.program.cycles import (
    PECKS,
    Step,
    approach,
    check_cycle,
    hole_steps,
    return_level,
    shift_of,
    spindle_fault,
)
from gudgeon.program.dialect import CYCLES, Meaning
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.track import Flag, Kind

LETTER = {Kind.RAPID: "T", Kind.LINE: "F"}


def moves(steps: list[Step]) -> list[str]:
    """Write steps short: T traverse, F feed, S spindle, P dwell."""
    short = []
    for step in steps:
        if step.kind is Kind.SPINDLE:
            short.append(f"S {step.spindle}")
        elif step.kind is Kind.DWELL:
            short.append(f"P {step.seconds:g}")
        elif step.shift != (0.0, 0.0):
            short.append(f"{LETTER[step.kind]} {step.at:g} at {step.shift[0]:g},{step.shift[1]:g}")
        else:
            short.append(f"{LETTER[step.kind]} {step.at:g}")
    return short


def drill(
    at: tuple[float, float, float],
    holes: list[tuple[float, float]],
    r: float,
    z: float,
    *,
    to_initial: bool,
) -> list[str]:
    """Position as NISTIR 6556, 3.5.16.1 says and drill each hole."""
    x, y, now = at
    initial, done = now, []
    for hole_x, hole_y in holes:
        level = approach(now, r)
        if level != now:
            done.append(f"T {x:g} {y:g} {level:g}")
        x, y = hole_x, hole_y
        done.append(f"T {x:g} {y:g} {level:g}")
        steps = hole_steps(Meaning.DRILL, level, r, z, to_initial=to_initial, initial=initial)
        done += [f"{LETTER[step.kind]} {x:g} {y:g} {round(step.at, 9):g}" for step in steps]
        now = steps[-1].at
    return done


# --- published lists ----------------------------------------------------------------------------


def test_drilling_back_to_the_first_level() -> None:
    """NISTIR 6556, 3.5.16.2, example 1: from 1 2 3, G90 G81 G98 X4 Y5 Z1.5 R2.8."""
    assert drill((1, 2, 3), [(4, 5)], 2.8, 1.5, to_initial=True) == [
        "T 4 5 3",
        "T 4 5 2.8",
        "F 4 5 1.5",
        "T 4 5 3",
    ]


def test_drilling_three_holes_in_steps() -> None:
    """NISTIR 6556, 3.5.16.2, example 2: from 1 2 3, G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3."""
    assert drill((1, 2, 3), [(5, 7), (9, 12), (13, 17)], 4.8, 4.2, to_initial=True) == [
        "T 1 2 4.8",
        "T 5 7 4.8",
        "F 5 7 4.2",
        "T 5 7 4.8",
        "T 9 12 4.8",
        "F 9 12 4.2",
        "T 9 12 4.8",
        "T 13 17 4.8",
        "F 13 17 4.2",
        "T 13 17 4.8",
    ]


def test_drilling_back_to_r() -> None:
    """NISTIR 6556, 3.5.20, on example 1."""
    assert drill((1, 2, 3), [(4, 5)], 2.8, 1.5, to_initial=False)[-1] == "T 4 5 2.8"


def test_drilling_from_below_r() -> None:
    """NISTIR 6556, 3.5.16.1: first up to R; the old level lies below R, so R is where it ends."""
    assert drill((1, 2, 2), [(4, 5)], 2.8, 1.5, to_initial=True) == [
        "T 1 2 2.8",
        "T 4 5 2.8",
        "F 4 5 1.5",
        "T 4 5 2.8",
    ]


def test_second_hole_from_the_first_level_needs_its_own_way_down() -> None:
    assert drill((0, 0, 50), [(1, 0), (2, 0)], 3, -5, to_initial=True)[4:] == [
        "T 2 0 50",
        "T 2 0 3",
        "F 2 0 -5",
        "T 2 0 50",
    ]


# --- one hole of each kind ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cycle", "words", "expected"),
    [
        (Meaning.DRILL, {"dwell_s": 2.0}, ["T 2", "F -4", "T 10"]),
        # NISTIR 6556, 3.5.16.3 to .7 and .10.
        (Meaning.COUNTERBORE, {"dwell_s": 2.0}, ["T 2", "F -4", "P 2", "T 10"]),
        (Meaning.COUNTERBORE, {}, ["T 2", "F -4", "T 10"]),
        (
            Meaning.PECK,
            {"peck": 2.5, "clear": 0.5},
            ["T 2", "F -0.5", "T 2", "T 0", "F -3", "T 2", "T -2.5", "F -4", "T 10"],
        ),
        (Meaning.TAP, {"spindle": 1}, ["T 2", "F -4", "S 0", "S -1", "F 10", "S 1"]),
        (Meaning.BORE_FEED_OUT, {"dwell_s": 2.0}, ["T 2", "F -4", "F 10"]),
        (Meaning.BORE_DWELL_OUT, {"dwell_s": 2.0}, ["T 2", "F -4", "P 2", "F 10"]),
        (
            Meaning.BORE_STOP_OUT,
            {"dwell_s": 2.0, "spindle": -1},
            ["T 2", "F -4", "P 2", "S 0", "T 10", "S -1"],
        ),
        # From memory (common trade use).
        (
            Meaning.CHIP_BREAK,
            {"peck": 2.5, "chip_break": 0.25},
            ["T 2", "F -0.5", "T -0.25", "F -3", "T -2.75", "F -4", "T 10"],
        ),
        (
            Meaning.LEFT_TAP,
            {"spindle": -1, "dwell_s": 1.0},
            ["T 2", "F -4", "S 0", "P 1", "S 1", "F 10", "S -1"],
        ),
        (
            Meaning.FINE_BORE,
            {"spindle": 1, "shift": (0.0, 0.3)},
            ["T 2", "F -4", "S 0", "T -4 at 0,0.3", "T 10 at 0,0.3", "T 10", "S 1"],
        ),
    ],
)
def test_steps_of_a_hole(cycle: Meaning, words: dict[str, float], expected: list[str]) -> None:
    """From 10, R 2, Z -4, back to 10."""
    steps = hole_steps(cycle, 10.0, 2.0, -4.0, to_initial=True, initial=10.0, **words)

    assert moves(steps) == expected


def test_back_boring_with_a_top() -> None:
    """NISTIR 6556, 3.5.16.8: aside, oriented stop, down, onto the axis, up to K, and back."""
    steps = hole_steps(
        Meaning.BACK_BORE, 10.0, 2.0, -20.0, to_initial=False, initial=10.0,
        spindle=1, shift=(-1.5, 0.0), top=-16.0,
    )  # fmt: skip

    assert moves(steps) == [
        "T 2", "T 2 at -1.5,0", "S 0", "T -20 at -1.5,0", "T -20", "S 1", "F -16", "F -20",
        "S 0", "T -20 at -1.5,0", "T 2 at -1.5,0", "T 2", "S 1",
    ]  # fmt: skip


def test_back_boring_with_an_amount() -> None:
    """From memory (common trade use): R beyond the hole, Z the top, always back to the start."""
    steps = hole_steps(
        Meaning.BACK_BORE, 10.0, -20.0, -16.0, to_initial=False, initial=10.0,
        spindle=1, shift=(-1.5, 0.0), dwell_s=1.0,
    )  # fmt: skip

    assert moves(steps) == [
        "S 0", "T 10 at -1.5,0", "T -20 at -1.5,0", "T -20", "S 1", "F -16", "P 1",
        "S 0", "T -16 at -1.5,0", "T 10 at -1.5,0", "T 10", "S 1",
    ]  # fmt: skip


def test_moves_with_a_stopped_spindle_say_so() -> None:
    steps = hole_steps(
        Meaning.BORE_STOP_OUT, 2.0, 2.0, -4.0, to_initial=False, initial=2.0, spindle=1
    )
    feed, stop, out, start = steps

    assert feed.flags == stop.flags == start.flags == Flag.IN_CYCLE
    assert out.flags == Flag.IN_CYCLE | Flag.SPINDLE_STOPPED


# --- pecks --------------------------------------------------------------------------------------


def feeds(cycle: Meaning, r: float, z: float, peck: float) -> list[float]:
    steps = hole_steps(cycle, r, r, z, to_initial=False, initial=r, peck=peck)
    return [step.at for step in steps if step.kind is Kind.LINE]


@pytest.mark.parametrize("cycle", [Meaning.PECK, Meaning.CHIP_BREAK])
@pytest.mark.parametrize(
    ("r", "z", "peck", "count"),
    [
        (1, -9, 3, 4),  # NISTIR 6556, 3.5.16.4: ten by threes
        (0, -9, 3, 3),
        (1.1, 0, 0.1, 11),  # 1.1 / 0.1 is 11.000000000000002
        (0.3 * 25.4, 0, 0.1 * 25.4, 3),
        (100.1, 99.4, 0.1, 7),
        (0, -9, 20, 1),
        (0, 0, 3, 1),
        (0, -9, inf, 1),
    ],
)
def test_number_of_pecks(cycle: Meaning, r: float, z: float, peck: float, count: int) -> None:
    depths = feeds(cycle, r, z, peck)

    assert len(depths) == count
    assert depths[-1] == z


@given(
    st.sampled_from([Meaning.PECK, Meaning.CHIP_BREAK]),
    st.floats(-500, 500),
    st.floats(0, 300),
    st.floats(0.05, 400),
    st.floats(0, 5),
)
def test_no_peck_is_deeper_than_asked_and_none_is_nothing(
    cycle: Meaning, r: float, depth: float, peck: float, back: float
) -> None:
    z = r - depth
    steps = hole_steps(
        cycle, r, r, z, to_initial=False, initial=r, peck=peck, clear=back, chip_break=back
    )
    reached = r
    at = r
    for step in steps:
        if step.kind is Kind.LINE:
            assert step.at <= reached
            assert reached - step.at <= peck + 2e-6
            assert depth <= 1e-6 or reached - step.at > 0.9e-6
            reached = step.at
        else:
            # No rapid goes below what is cut, nor above R.
            assert reached <= step.at <= r
            assert step.at >= at or step.at >= reached
        at = step.at
    assert reached == z
    assert at == r


@pytest.mark.parametrize("cycle", [Meaning.PECK, Meaning.CHIP_BREAK])
@pytest.mark.parametrize(("depth", "peck"), [(1000.0, 1e-3), (1e300, 1.0), (inf, inf), (5, 1e-300)])
def test_endless_pecks_are_refused_both_times(cycle: Meaning, depth: float, peck: float) -> None:
    with pytest.raises(Halt) as caught:
        hole_steps(cycle, 0.0, 0.0, -depth, to_initial=False, initial=0.0, peck=peck, column=9)
    assert (caught.value.code, caught.value.column) == (Code.TOO_MUCH, 9)
    assert caught.value.detail == (("limit", PECKS),)

    with pytest.raises(Halt) as caught:
        check_cycle(cycle, 0.0, -depth, peck=peck, columns={"peck": 7})
    assert (caught.value.code, caught.value.column) == (Code.TOO_MUCH, 7)


def test_as_many_pecks_as_allowed() -> None:
    assert len(feeds(Meaning.CHIP_BREAK, 0.0, -PECKS * 0.5, 0.5)) == PECKS


# --- laws of every cycle ------------------------------------------------------------------------

ONE_HOLE = sorted(CYCLES - {Meaning.BORE_BY_HAND, Meaning.BACK_BORE})


@given(
    st.sampled_from(ONE_HOLE),
    st.floats(-300, 300),
    st.floats(0, 100),
    st.floats(-50, 50),
    st.booleans(),
)
def test_every_hole_is_fed_from_r_to_the_bottom_and_left_at_its_level(
    cycle: Meaning, r: float, depth: float, above: float, to_initial: bool
) -> None:
    spindle = -1 if cycle is Meaning.LEFT_TAP else 1
    z, initial = r - depth, r + above
    start = approach(initial, r)

    steps = hole_steps(
        cycle, start, r, z, to_initial=to_initial, initial=initial,
        peck=7.0, spindle=spindle, shift=(0.5, 0.0),
    )  # fmt: skip

    level = max(r, initial) if to_initial else r
    assert steps[-1].at == level == return_level(r, initial, to_initial=to_initial)
    assert steps[-1].shift == (0.0, 0.0)
    assert min(step.at for step in steps) == z
    assert max(step.at for step in steps) <= max(start, level, r)
    assert all(step.flags & Flag.IN_CYCLE for step in steps)
    turns = [step.spindle for step in steps if step.kind is Kind.SPINDLE]
    assert not turns or turns[-1] == spindle
    # What is below R is reached first by feeding.
    cut = r - 1e-6
    for step in steps:
        if step.kind is Kind.LINE:
            cut = min(cut, step.at)
        assert step.at >= cut or step.kind is Kind.LINE


def test_level_within_rounding_of_r_is_r() -> None:
    """A level that inches or sums of steps left a hair off R makes no move of its own."""
    assert approach(2.0 - 1e-9, 2.0) == 2.0 - 1e-9
    steps = hole_steps(Meaning.DRILL, 2.0 - 1e-9, 2.0, 0.0, to_initial=False, initial=2.0)
    assert moves(steps) == ["F 0", "T 2"]


# --- not known ----------------------------------------------------------------------------------


@pytest.mark.parametrize("cycle", ONE_HOLE)
@pytest.mark.parametrize("lost", ["start", "r", "z", "initial", "peck", "clear", "chip_break"])
def test_what_is_not_known_spreads_and_ends(cycle: Meaning, lost: str) -> None:
    words = {"start": 10.0, "r": 2.0, "z": -4.0, "initial": 10.0}
    words |= {"peck": 2.5, "clear": 0.5, "chip_break": 0.5, lost: nan}

    steps = hole_steps(cycle, to_initial=True, spindle=1, shift=(1.0, 0.0), **words)

    assert len(steps) < 20
    assert isnan(steps[-1].at) == (lost in ("r", "initial"))
    if lost in ("r", "z"):
        assert any(isnan(step.at) for step in steps if step.kind in LETTER)
    if lost == "start":
        assert steps[0].kind is Kind.RAPID and steps[0].at == 2.0
    uses = {
        "peck": {Meaning.PECK, Meaning.CHIP_BREAK},
        "clear": {Meaning.PECK},
        "chip_break": {Meaning.CHIP_BREAK},
    }
    if lost in uses:
        assert any(isnan(step.at) for step in steps) == (cycle in uses[lost])


@pytest.mark.parametrize(("now", "r"), [(nan, 1.0), (1.0, nan)])
def test_level_of_positioning_not_known(now: float, r: float) -> None:
    assert isnan(approach(now, r))


def test_return_to_r_does_not_need_the_first_level() -> None:
    assert return_level(2.0, nan, to_initial=False) == 2.0
    assert isnan(return_level(2.0, nan, to_initial=True))
    assert isnan(return_level(nan, 2.0, to_initial=True))


# --- faults in the words ------------------------------------------------------------------------

COLUMNS = {"cycle": 1, "r": 10, "z": 20, "repeats": 30, "peck": 40, "dwell": 50, "top": 60}


@pytest.mark.parametrize(
    ("cycle", "words", "code", "column"),
    [
        # NISTIR 6556, 3.5.16 and its sub-sections.
        (Meaning.DRILL, {"r": -5.0}, Code.CYCLE_R_BELOW_Z, 10),
        (Meaning.DRILL, {"repeats": 0.0}, Code.CYCLE_REPEATS, 30),
        (Meaning.DRILL, {"repeats": -1.0}, Code.CYCLE_REPEATS, 30),
        (Meaning.DRILL, {"repeats": -1.0, "repeat_zero": "remember"}, Code.CYCLE_REPEATS, 30),
        (Meaning.DRILL, {"repeats": 1.5}, Code.CYCLE_REPEATS, 30),
        (Meaning.DRILL, {"repeats": inf}, Code.CYCLE_REPEATS, 30),
        (Meaning.DRILL, {"repeats": 0.0, "repeat_zero": None}, Code.CYCLE_REPEAT_ZERO, 30),
        (Meaning.DRILL, {"repeats": nan}, Code.UNKNOWN_BRANCH, 30),
        (Meaning.PECK, {"peck": 0.0}, Code.CYCLE_PECK, 40),
        (Meaning.PECK, {"peck": -1.0}, Code.CYCLE_PECK, 40),
        (Meaning.CHIP_BREAK, {"peck": 0.0}, Code.CYCLE_PECK, 40),
        (Meaning.PECK, {}, Code.CYCLE_NO_DEPTH, 1),
        (Meaning.DRILL, {"r": None}, Code.CYCLE_NO_DEPTH, 1),
        (Meaning.DRILL, {"z": None}, Code.CYCLE_NO_DEPTH, 1),
        (Meaning.COUNTERBORE, {"dwell_s": -0.5}, Code.DWELL_NEGATIVE, 50),
        (Meaning.TAP, {"spindle": 0}, Code.SPINDLE_NEEDED, 1),
        (Meaning.TAP, {"spindle": -1}, Code.SPINDLE_NEEDED, 1),
        (Meaning.LEFT_TAP, {"spindle": 1}, Code.SPINDLE_NEEDED, 1),
        (Meaning.BORE_STOP_OUT, {"spindle": 0}, Code.SPINDLE_NEEDED, 1),
        (Meaning.BORE_BY_HAND, {"spindle": 1}, Code.CYCLE_BY_HAND, 1),
        # Back boring: bottom, top and R in this order; or R, then Z.
        (Meaning.BACK_BORE, {"spindle": 1, "top": -5.0}, Code.CYCLE_R_BELOW_Z, 60),
        (Meaning.BACK_BORE, {"spindle": 1, "top": 3.0}, Code.CYCLE_R_BELOW_Z, 60),
        (Meaning.BACK_BORE, {"spindle": 1}, Code.CYCLE_R_BELOW_Z, 10),
    ],
)
def test_faulty_words_are_named_with_their_place(
    cycle: Meaning, words: dict[str, float | str | None], code: Code, column: int
) -> None:
    """R 2 and Z -4 unless said otherwise."""
    with pytest.raises(Halt) as caught:
        check_cycle(cycle, columns=COLUMNS, **({"r": 2.0, "z": -4.0} | words))

    assert (caught.value.code, caught.value.column) == (code, column)


def test_missing_depth_is_named_by_the_letter_of_the_axis() -> None:
    with pytest.raises(Halt) as caught:
        check_cycle(Meaning.DRILL, 2.0, None, depth_letter="Y")
    assert caught.value.detail == (("word", "Y"),)


@pytest.mark.parametrize(
    ("cycle", "words", "count"),
    [
        (Meaning.DRILL, {}, 1),
        (Meaning.DRILL, {"repeats": 3.00000001}, 3),
        (Meaning.DRILL, {"repeats": 0.0, "repeat_zero": "remember"}, 0),
        (Meaning.DRILL, {"r": -4.0}, 1),
        (Meaning.DRILL, {"r": nan}, 1),
        (Meaning.DRILL, {"z": nan}, 1),
        (Meaning.PECK, {"peck": nan}, 1),
        (Meaning.COUNTERBORE, {"dwell_s": nan}, 1),
        (Meaning.TAP, {"spindle": 1}, 1),
        (Meaning.LEFT_TAP, {"spindle": -1}, 1),
        (Meaning.BORE_STOP_OUT, {"spindle": -1}, 1),
        (Meaning.BACK_BORE, {"spindle": 1, "top": -3.0}, 1),
        (Meaning.BACK_BORE, {"spindle": 1, "r": -9.0}, 1),
    ],
)
def test_good_words_give_the_number_of_holes(
    cycle: Meaning, words: dict[str, float | str | None], count: int
) -> None:
    assert check_cycle(cycle, columns=COLUMNS, **({"r": 2.0, "z": -4.0} | words)) == count


@pytest.mark.parametrize("cycle", sorted(CYCLES))
def test_only_cycles_that_hang_on_the_spindle_ask_for_it(cycle: Meaning) -> None:
    asks = {
        Meaning.TAP, Meaning.LEFT_TAP, Meaning.BORE_STOP_OUT, Meaning.FINE_BORE, Meaning.BACK_BORE
    }  # fmt: skip

    assert spindle_fault(cycle, 0) == (cycle in asks)


# --- off the wall -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cycle", "form", "direction", "words", "shift"),
    [
        (Meaning.FINE_BORE, None, (0.0, -1.0), {"q": 0.3}, (0.0, -0.3)),
        (Meaning.BACK_BORE, "Q", (1.0, 0.0), {"q": 4.0}, (4.0, 0.0)),
        (Meaning.BACK_BORE, "I J K", None, {"i": -4.0, "j": 0.5}, (-4.0, 0.5)),
        (Meaning.DRILL, None, None, {}, None),
    ],
)
def test_shift_off_the_wall(
    cycle: Meaning,
    form: str | None,
    direction: tuple[float, float] | None,
    words: dict[str, float],
    shift: tuple[float, float] | None,
) -> None:
    assert shift_of(cycle, form=form, direction=direction, **words) == shift


@pytest.mark.parametrize(
    ("cycle", "form", "direction", "words", "code"),
    [
        (Meaning.FINE_BORE, "I J K", None, {"q": 0.3, "i": 1.0, "j": 1.0}, Code.CYCLE_SHIFT),
        (Meaning.BACK_BORE, None, (1.0, 0.0), {"q": 0.3, "i": 1.0, "j": 1.0}, Code.CYCLE_SHIFT),
        (Meaning.BACK_BORE, "Q", None, {"q": 0.3}, Code.CYCLE_SHIFT),
        (Meaning.BACK_BORE, "I J K", None, {"i": 1.0}, Code.CYCLE_NO_DEPTH),
        (Meaning.BACK_BORE, "I J K", None, {"j": 1.0}, Code.CYCLE_NO_DEPTH),
        (Meaning.FINE_BORE, None, (1.0, 0.0), {}, Code.CYCLE_NO_DEPTH),
        (Meaning.FINE_BORE, None, (1.0, 0.0), {"q": -0.1}, Code.CYCLE_PECK),
    ],
)
def test_shift_that_cannot_be_told_is_refused(
    cycle: Meaning,
    form: str | None,
    direction: tuple[float, float] | None,
    words: dict[str, float],
    code: Code,
) -> None:
    with pytest.raises(Halt) as caught:
        shift_of(cycle, form=form, direction=direction, column=3, **words)

    assert (caught.value.code, caught.value.column) == (code, 3)


@pytest.mark.parametrize(
    ("cycle", "code"),
    [
        (Meaning.FINE_BORE, Code.CYCLE_SHIFT),
        (Meaning.BACK_BORE, Code.CYCLE_SHIFT),
        (Meaning.BORE_BY_HAND, Code.CYCLE_BY_HAND),
        (Meaning.PECK, Code.CYCLE_NO_DEPTH),
    ],
)
def test_steps_without_what_they_need_are_never_guessed(cycle: Meaning, code: Code) -> None:
    with pytest.raises(Halt) as caught:
        hole_steps(cycle, 10.0, 2.0, -4.0, to_initial=True, initial=10.0, spindle=1)
    assert caught.value.code is code


def test_a_word_that_is_no_cycle_is_refused() -> None:
    with pytest.raises(ValueError, match="no cycle"):
        hole_steps(Meaning.RAPID, 10.0, 2.0, -4.0, to_initial=True, initial=10.0)
