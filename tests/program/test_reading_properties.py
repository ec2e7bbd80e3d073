"""Laws of reading: what must not matter does not, and what is not known stays not known."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from math import cos, hypot, radians, sin
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gudgeon.program.doubts import Code, Grade
from gudgeon.program.moves import PLANES
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, FeedKind, Kind, Track
from tests.program.nist import NIST, SYSTEMS

HERE = replace(
    NIST,
    offsets={name: (10.0 * i, -20.0, -300.0, 0.0, 0.0) for i, name in enumerate(SYSTEMS)},
)
BEGIN = ["G21 G90 G17 G94 G54", "G0 X0. Y0. Z50. A0."]
MICRONS = st.integers(-200_000, 200_000)
MANY = settings(max_examples=60)

Words = list[tuple[str, str]]
"""Letter and number of each word of a block."""


@dataclass(frozen=True)
class Move:
    """One motion in absolute program coordinates, in micrometres.

    `at` holds the axes the block names; `centre` the way from the start to the centre of an arc,
    in the plane XY; `hole` the level R and the bottom of a drilled hole.
    """

    word: str
    at: dict[str, int]
    centre: tuple[int, int] | None = None
    hole: tuple[int, int] | None = None


@st.composite
def paths(draw: st.DrawFn, arcs: bool = True, holes: bool = True) -> list[Move]:
    """Draw a path of rapids, lines, arcs and holes that begins at X0 Y0 Z50."""
    now = {"X": 0, "Y": 0, "Z": 50_000, "A": 0}
    kinds = ["G0", "G1", "G1", *(["G2", "G3"] if arcs else []), *(["G81"] if holes else [])]
    path = []
    for _ in range(draw(st.integers(1, 8))):
        word = draw(st.sampled_from(kinds))
        axes = draw(st.sets(st.sampled_from("XYZA"), min_size=1))
        at = {letter: draw(MICRONS) for letter in "XYZA" if letter in axes}
        move = Move(word, at)
        if word in ("G2", "G3"):
            centre, begin, sweep = draw(arc_shapes())
            end = [round(c + hypot(*centre) * f(radians(begin + sweep)))
                   for c, f in zip(centre, (cos, sin), strict=True)]  # fmt: skip
            at = {"X": now["X"] + end[0], "Y": now["Y"] + end[1]}
            if "Z" in axes:
                at["Z"] = now["Z"] + draw(st.integers(-5_000, 5_000))
            move = Move(word, at, centre)
        elif word == "G81":
            bottom = draw(st.integers(-50_000, 0))
            level = bottom + draw(st.integers(0, 60_000))
            move = Move(word, {"X": draw(MICRONS), "Y": draw(MICRONS)}, hole=(level, bottom))
            now["Z"] = level
        now.update(move.at)
        path.append(move)
    return path


@st.composite
def arc_shapes(draw: st.DrawFn) -> tuple[tuple[int, int], float, float]:
    """Draw the centre from the start, the angle of the start about it, and a turn [deg]."""
    begin, radius = draw(st.integers(0, 359)), draw(st.integers(2_000, 80_000))
    centre = round(-radius * cos(radians(begin))), round(-radius * sin(radians(begin)))
    actual = np.degrees(np.arctan2(-centre[1], -centre[0]))
    return centre, float(actual), draw(st.integers(20, 340))


def number(microns: int, inch: bool = False) -> str:
    return f"{microns / 25_400:.12f}" if inch else f"{microns / 1_000:.3f}"


def blocks(path: list[Move], *, step: bool = False, inch: bool = False) -> list[Words]:
    """Return the words of each block; steps count from where the move before ended."""
    now = {"X": 0, "Y": 0, "Z": 50_000, "A": 0}
    found: list[Words] = []
    for move in path:
        words = [("G", move.word[1:])]
        for letter, value in move.at.items():
            given = value - now[letter] if step else value
            words.append((letter, number(given, inch and letter != "A")))
        if move.centre is not None:
            words += [(a, number(c, inch)) for a, c in zip("IJ", move.centre, strict=True)]
        if move.hole is not None:
            level, bottom = move.hole
            words += [("R", number(level - now["Z"] if step else level, inch))]
            words += [("Z", number(bottom - level if step else bottom, inch)), ("G", "99")]
        now.update(move.at)
        found.append(words)
        if move.hole is not None:
            now["Z"] = move.hole[0]
            found.append([("G", "80")])
    return found


def lines_of(written: list[Words]) -> list[str]:
    return [" ".join(letter + value for letter, value in words) for words in written]


def run(lines: list[str], begin: list[str] | None = None, **changes: Any) -> Track:
    text = "\n".join([*(BEGIN if begin is None else begin), "F100.", *lines, "M2"])
    return read(text.encode(), replace(HERE, **changes))


def ends(track: Track) -> np.ndarray[Any, Any]:
    return track.segments["end"][track.segments["kind"] <= Kind.ARC]


def same_motion(one: Track, other: Track, within: float = 0.0) -> None:
    """Kinds, ends, feeds and circles agree; lines and columns may not."""
    assert not one.doubts and not other.doubts
    for field in ("kind", "feed_kind", "flags"):
        assert one.segments[field].tolist() == other.segments[field].tolist()
    np.testing.assert_allclose(one.segments["end"], other.segments["end"], rtol=0, atol=within)
    np.testing.assert_allclose(one.segments["feed"], other.segments["feed"], rtol=1e-9)
    for field in ("centre", "normal", "sweep"):
        np.testing.assert_allclose(one.arcs[field], other.arcs[field], rtol=0, atol=10 * within)


# --- what must not matter -------------------------------------------------------------------------


def disguised(words: Words, chance: random.Random) -> str:
    """Write the same block in another way (NISTIR 6556, 3.3 and 3.3.6)."""
    words = list(words)
    chance.shuffle(words)
    parts = []
    for letter, value in words:
        sign = "-" if value.startswith("-") else chance.choice(["", "+"])
        digits = value.lstrip("-")
        if letter != "N":
            digits = "0" * chance.randrange(3) + digits
        if "." in digits:
            digits = (digits.rstrip("0") if chance.random() < 0.5 else digits) or "0."
        text = (
            chance.choice([letter, letter.lower()]) + (sign if letter not in "G" else "") + digits
        )
        blank = chance.choice(["", " ", "\t", "  "])
        parts.append("".join(one + (blank if chance.random() < 0.2 else "") for one in text))
        if chance.random() < 0.2:
            parts.append(chance.choice(["(note)", "(G0 X5)", "( #1=2 % / ; )", "()"]))
    if chance.random() < 0.5:
        parts.insert(0, f"N{chance.randrange(99_999)} ")
    glue = chance.choice(["", " "])
    return chance.choice(["", " ", "\t"]) + glue.join(parts) + chance.choice(["", " ", "\r"])


@MANY
@given(paths(), st.randoms(use_true_random=False))
def test_blanks_case_order_labels_comments_and_zeros_mean_nothing(
    path: list[Move], chance: random.Random
) -> None:
    written = blocks(path)
    plain = run(lines_of(written))
    other = run([disguised(words, chance) for words in written])
    same_motion(plain, other)
    assert plain.segments["line"].tolist() == other.segments["line"].tolist()
    assert plain.segments["force"].tolist() == other.segments["force"].tolist()


@MANY
@given(paths(), st.lists(st.sampled_from(["", "(a)", "N5", "  ", "/G1 X99."]), max_size=5))
def test_empty_blocks_mean_nothing(path: list[Move], between: list[str]) -> None:
    plain = lines_of(blocks(path))
    padded = [one for line in plain for one in (*between, line)]
    same_motion(run(plain), run(padded))


@MANY
@given(paths())
def test_steps_and_positions_are_the_same_path(path: list[Move]) -> None:
    """G91 with the differences of G90, arcs and holes too."""
    positions = run(lines_of(blocks(path)))
    steps = run(["G91", *lines_of(blocks(path, step=True))])
    same_motion(positions, steps, within=1e-9)


@MANY
@given(paths(), st.tuples(MICRONS, MICRONS, MICRONS))
def test_steps_from_elsewhere_are_the_path_shifted(
    path: list[Move], by: tuple[int, int, int]
) -> None:
    begin = [BEGIN[0], "G0 X{} Y{} Z{} A0.".format(*map(number, (by[0], by[1], 50_000 + by[2])))]
    lines = ["G91", *lines_of(blocks(path, step=True))]
    here, there = run(lines), run(lines, begin)
    shift = np.array([*by, 0.0, 0.0]) / 1_000
    np.testing.assert_allclose(ends(there), ends(here) + shift, rtol=0, atol=1e-9)


@MANY
@given(paths(), st.booleans())
def test_inches_and_millimetres_are_the_same_path(path: list[Move], step: bool) -> None:
    """25.4 mm to the inch; angles and the feed of what turns alone are not scaled."""
    mode = ["G91"] if step else []
    metric = run([*mode, *lines_of(blocks(path, step=step))])
    # A feed of 100 in inches is another feed where axes slide; both are given their own.
    lines = ["G20", f"F{100 / 25.4:.12f}", *mode, *lines_of(blocks(path, step=step, inch=True))]
    inches = run(lines)
    # What turns alone, also where X 0 is written beside A and does not move, takes F in degrees.
    alone = inches.segments["feed_kind"] == FeedKind.RAD_PER_S
    inches.segments["feed"][alone] *= 25.4
    same_motion(metric, inches, within=1e-8)


@MANY
@given(paths(), st.tuples(MICRONS, MICRONS, MICRONS))
def test_another_offset_shifts_everything_alike(path: list[Move], by: tuple[int, int, int]) -> None:
    lines = lines_of(blocks(path))
    moved = tuple(a + b / 1_000 for a, b in zip((0.0, -20.0, -300.0), by, strict=True))
    here, there = run(lines), run(lines, offsets={**HERE.offsets, "G54": (*moved, 0.0, 0.0)})
    shift = np.array([*by, 0.0, 0.0]) / 1_000
    np.testing.assert_allclose(ends(there), ends(here) + shift, rtol=0, atol=1e-9)
    np.testing.assert_allclose(
        there.arcs["centre"], here.arcs["centre"] + shift[:3], rtol=0, atol=1e-9
    )
    np.testing.assert_allclose(there.arcs["sweep"], here.arcs["sweep"], rtol=0, atol=1e-9)


@MANY
@given(paths(), st.data())
def test_a_part_of_the_program_may_stand_elsewhere(path: list[Move], data: st.DataObject) -> None:
    """M98, G65 and a jump there and back give the rows of the program in one piece."""
    lines = lines_of(blocks(path))
    first = data.draw(st.integers(0, len(lines)))
    past = data.draw(st.integers(first, len(lines)))
    whole, part = run(lines), lines[first:past]
    called = ["M2", "O77", *part, "M99"]
    for call in ("M98 P77", "G65 P77", "M98 P77 L1"):
        same_motion(whole, run([*lines[:first], call, *lines[past:], *called]))
    jumps = [*lines[:first], "GOTO1", "N2", *lines[past:], "M2", "N1", *part, "GOTO2"]
    same_motion(whole, run(jumps))
    other = "\n".join([*part, "M99"]).encode()
    text = "\n".join([*BEGIN, "F100.", *lines[:first], "M98 P77", *lines[past:], "M2"]).encode()
    same_motion(whole, read(text, HERE, called=lambda number: other if number == 77 else None))


@MANY
@given(st.integers(0, 12), MICRONS, st.integers(1, 5_000))
def test_a_loop_is_its_blocks_written_out(times: int, begin: int, step: int) -> None:
    loop = [
        f"#1={number(begin)}",
        "#2=0",
        f"WHILE[#2 LT {times}]DO1",
        "G1 X#1 Y[#2*2.]",
        "IF[#2 GT 3]GOTO5",
        "Z[-#2]",
        "N5 #2=#2+1",
        f"#1=#1+{number(step)}",
        "END1",
    ]
    flat = []
    for turn in range(times):
        flat.append(f"G1 X{(begin + turn * step) / 1000:.3f} Y{turn * 2.0}")
        flat += [f"Z{-turn}."] if turn <= 3 else []
    same_motion(run(loop), run(flat), within=1e-9)


# --- arcs -----------------------------------------------------------------------------------------


@MANY
@given(
    st.integers(0, 2),
    arc_shapes(),
    st.booleans(),
    st.integers(-20_000, 20_000),
    st.booleans(),
    st.booleans(),
)
def test_arcs_keep_their_radius(
    plane: int,
    shape: tuple[tuple[int, int], float, float],
    clockwise: bool,
    rise: int,
    step: bool,
    by_radius: bool,
) -> None:
    """In every plane, helical or not, by centre or by radius: the circle leads to the row's end."""
    centre, begin, turn = shape
    sweep = -turn if clockwise else turn
    u, v, w = PLANES[plane]
    start = (0.0, 0.0, 50.0)
    radius = hypot(*centre) / 1_000
    angle = radians(begin + sweep)
    reach = [c / 1_000 + radius * f(angle) for c, f in zip(centre, (cos, sin), strict=True)]
    end = list(start)
    end[u], end[v], end[w] = start[u] + reach[0], start[v] + reach[1], start[w] + rise / 1_000
    written = [e - s for e, s in zip(end, start, strict=True)] if step else end
    words = "".join(f" {letter}{value:.6f}" for letter, value in zip("XYZ", written, strict=True))
    if by_radius:
        assume(abs(turn - 180) > 2)
        words += f" R{radius if turn < 180 else -radius:.6f}"
    else:
        words += f" {'IJK'[u]}{centre[0] / 1_000:.6f} {'IJK'[v]}{centre[1] / 1_000:.6f}"
    mode = "G91" if step else "G90"
    track = run([f"G{17 + plane} {mode} G{2 if clockwise else 3}{words}"])
    assert not track.doubts
    (circle,), row = track.arcs, track.segments[track.segments["kind"] == Kind.ARC][0]
    assert circle["normal"].tolist() == [float(axis == w) for axis in range(3)]
    assert np.degrees(circle["sweep"]) == pytest.approx(sweep, abs=0.2)
    machine = [one + zero for one, zero in zip(start, (0.0, -20.0, -300.0), strict=True)]
    for share in (0.0, 0.25, 0.5, 1.0):
        arm_u, arm_v = machine[u] - circle["centre"][u], machine[v] - circle["centre"][v]
        a = circle["sweep"] * share
        along = cos(a) * arm_u - sin(a) * arm_v, sin(a) * arm_u + cos(a) * arm_v
        assert hypot(*along) == pytest.approx(radius, abs=2e-3)
    assert circle["centre"][u] + along[0] == pytest.approx(row["end"][u], abs=3e-3)
    assert circle["centre"][v] + along[1] == pytest.approx(row["end"][v], abs=3e-3)
    assert row["end"][w] - machine[w] == pytest.approx(rise / 1_000, abs=1e-9)


# --- where reading stops --------------------------------------------------------------------------

STOPPERS = {
    "G123": Code.WORD_UNKNOWN,
    "G1 X1. M97": Code.WORD_UNKNOWN,
    "G0 U5.": Code.WORD_UNKNOWN,
    "G0 C5.": Code.AXIS_UNKNOWN,
    "G0 G1 X5.": Code.GROUP_TWICE,
    "G0 X5. X6.": Code.WORD_TWICE,
    "G0 X5. Q1.": Code.WORD_UNUSED,
    "G0 X[1/0]": Code.DOMAIN,
    "G0 X5. (": Code.COMMENT_OPEN,
    "IF[#500 GT 1]GOTO7": Code.UNKNOWN_BRANCH,
    "WHILE[#500 GT 1]DO1": Code.LOOP_SHAPE,
    "GOTO7777": Code.LABEL_MISSING,
    "M98 P7777": Code.PROGRAM_MISSING,
    "G2 X5. Y5. I1. J1. R5.": Code.ARC_NO_CENTRE,
    "#5221=1": Code.SYSTEM_WRITE,
    "G0 X.": Code.NUMBER,
    "G0 X5.;5": Code.SEMICOLON,
    "\x7f": Code.NOT_TEXT,
}


@MANY
@given(paths(), st.sampled_from(sorted(STOPPERS)), st.data())
def test_reading_stops_exactly_there(path: list[Move], stopper: str, data: st.DataObject) -> None:
    """Rows are those of the program cut before the block; nothing of the block is carried out."""
    lines = lines_of(blocks(path))
    at = data.draw(st.integers(0, len(lines)))
    stopped = run([*lines[:at], stopper, *lines[at:]])
    cut = run(lines[:at])
    assert (stopped.ended, stopped.last_line) == (Ended.STOPPED, 4 + at)
    last = stopped.doubts[-1]
    assert (last.code, last.line) == (STOPPERS[stopper], 4 + at)
    assert last.grade is not Grade.NOTE
    before = cut.segments[:-1]  # without its end
    assert str(stopped.segments.tolist()) == str(before.tolist())
    assert str(stopped.arcs.tolist()) == str(cut.arcs.tolist())
    assert [stopped.in_force[i] for i in stopped.segments["force"]] == [
        cut.in_force[i] for i in before["force"]
    ]


# --- what is not known ----------------------------------------------------------------------------

UNKNOWNS = ("#500", "[#500*0]", "-#500", "[#5999+1]", "[SIN[#500]]", "[[#500 GT 1]*3]")


@MANY
@given(paths(arcs=False, holes=False), st.sampled_from(UNKNOWNS), st.booleans(), st.data())
def test_the_unknown_spreads_and_nothing_else_changes(
    path: list[Move], unknown: str, step: bool, data: st.DataObject
) -> None:
    written = blocks(path, step=step)
    at = data.draw(st.integers(0, len(written) - 1))
    place = data.draw(st.integers(1, len(written[at]) - 1))
    letter = written[at][place][0]
    axis = "XYZA".index(letter)
    spoiled = [list(words) for words in written]
    spoiled[at][place] = (letter, unknown)
    mode = ["G91"] if step else []
    known, found = run([*mode, *lines_of(written)]), run([*mode, *lines_of(spoiled)])

    expected = known.segments["end"].copy()
    doubtful = False
    first = len(known.segments) - len(written) - 1  # the end has a row of its own
    for index, words in enumerate(written):
        named = letter in [one for one, _ in words]
        doubtful = index == at or (doubtful and (step or not named))
        if doubtful:
            expected[first + index, axis] = np.nan
    expected[-1, axis] = np.nan if doubtful else expected[-1, axis]
    np.testing.assert_array_equal(found.segments["end"], expected)
    assert found.ended is Ended.BY_WORD
    worst = found.worst
    assert worst is not None and worst.grade is Grade.CANNOT_TELL and worst.line == 4 + step + at
    blind = np.isnan(expected).any(axis=1)
    assert {found.doubts[i] for i in found.segments["doubt"][blind]} == {worst}
    assert (found.segments["doubt"][~blind] == -1).all()


@MANY
@given(paths(), st.sampled_from(UNKNOWNS))
def test_an_unknown_feed_leaves_the_path(path: list[Move], unknown: str) -> None:
    lines = lines_of(blocks(path))
    known, found = run(lines), run([f"F{unknown}", *lines])
    np.testing.assert_array_equal(found.segments["end"], known.segments["end"])
    at_feed = (known.segments["kind"] == Kind.LINE) | (known.segments["kind"] == Kind.ARC)
    assert np.isnan(found.segments["feed"][at_feed]).all()
    assert (found.segments["doubt"][at_feed] >= 0).all()
    assert found.worst is not None and found.worst.grade is Grade.CANNOT_TELL


@MANY
@given(paths(holes=False), st.sampled_from("IJR"), st.sampled_from(UNKNOWNS))
def test_an_unknown_centre_leaves_no_circle(path: list[Move], letter: str, unknown: str) -> None:
    arcs = [index for index, move in enumerate(path) if move.centre is not None]
    assume(arcs)
    at = arcs[0]
    spoiled = blocks(path)
    if letter == "R":
        words = [one for one in spoiled[at] if one[0] not in "IJ"] + [("R", unknown)]
    else:
        words = [(one, unknown if one == letter else value) for one, value in spoiled[at]]
    spoiled[at] = words
    known, found = run(lines_of(blocks(path))), run(lines_of(spoiled))
    np.testing.assert_array_equal(found.segments["end"], known.segments["end"])
    (row,) = [row for row in found.segments if row["line"] == 4 + at]
    assert row["kind"] == Kind.ARC and row["arc"] == -1
    assert found.doubts[row["doubt"]].grade is Grade.CANNOT_TELL
    assert len(found.arcs) == len(known.arcs) - 1


@MANY
@given(st.sampled_from("XYRZP"), st.sampled_from(UNKNOWNS), st.booleans())
def test_an_unknown_word_of_a_cycle(letter: str, unknown: str, to_first: bool) -> None:
    """The levels that hang on it are not known; where the holes are, is."""
    words = {"X": "4.", "Y": "5.", "R": "2.", "Z": "-3.", "P": "1."}
    mode = "G98" if to_first else "G99"
    known, found = (
        run([f"{mode} G82 " + " ".join(a + v for a, v in given.items()), "X9. Y9.", "G80"])
        for given in (words, words | {letter: unknown})
    )
    if letter == "P":
        np.testing.assert_array_equal(found.segments["end"], known.segments["end"])
        assert np.isnan(found.segments["feed"]).sum() == 2
    else:
        axis = {"X": 0, "Y": 1}.get(letter, 2)
        others = [one for one in range(5) if one != axis]
        assert np.isnan(found.segments["end"][:, axis]).any()
        if axis == 2:
            assert {tuple(row) for row in found.segments["end"][:, :2].tolist()} == {
                tuple(row) for row in known.segments["end"][:, :2].tolist()
            }
        else:
            np.testing.assert_array_equal(
                found.segments["end"][:, others], known.segments["end"][:, others]
            )
            # The second hole is written in full, so it is known again.
            assert not np.isnan(found.segments["end"][-1]).any()
    assert found.worst is not None and found.worst.grade is Grade.CANNOT_TELL
    blind = np.isnan(found.segments["end"]).any(axis=1)
    assert (found.segments["doubt"][blind] >= 0).all()


@pytest.mark.parametrize(("moves", "z"), [(True, 165.0 - 300.0), (False, 45.0 - 300.0)])
def test_a_step_after_a_new_length(moves: bool, z: float) -> None:
    """The step takes the length along or not; the next one counts from where the first ended."""
    track = run(["G43 H1", "G91 G0 Z-5.", "Z-1."], length_moves_step=moves)
    assert not track.doubts
    assert ends(track)[-2:, 2].tolist() == pytest.approx([z, z - 1.0])


def test_a_step_after_a_new_length_is_not_guessed() -> None:
    lines = ["G43 H1", "G91 G0 Z-5.", "G90 Z5."]
    track = run(lines, length_moves_step=None)
    assert [doubt.code for doubt in track.doubts] == [Code.LENGTH_THEN_STEP]
    assert np.isnan(ends(track)[-2:, 2]).tolist() == [True, False]
    track = run(lines[:2], length_moves_step=True, lengths={})
    assert [doubt.code for doubt in track.doubts] == [Code.LENGTH_UNKNOWN]
    assert np.isnan(ends(track)[-1, 2])
    assert track.segments["doubt"][-1] == 0
