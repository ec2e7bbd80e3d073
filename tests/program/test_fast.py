"""The compiled reader: plain blocks read by it and by the full reader come out the same.

The truth is the full reader; a few closed forms stand first, so that not both can be wrong alike.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from math import inf, nan, nextafter, pi, radians

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gudgeon.program import fast, reader, scan
from gudgeon.program.dialect import CORE, UNKNOWN, Dialect, Meaning, Role, TurningRule, Write, key
from gudgeon.program.state import State
from gudgeon.program.track import FeedKind, Flag, InForce, Kind, Rows, Track

ZERO = (100.0, -200.0, -300.0, 0.25, -0.5)
AXES = {"X": 0, "Y": 1, "Z": 2, "A": 3, "C": 4}
PLAIN = Dialect(
    axes=AXES,
    offsets={"G54": ZERO, "G55": (1.0, 2.0, 3.0, 0.0, 0.0)},
    lengths={1: 100.0, 2: 87.5},
    radii={1: 4.0},
    writes={2: Write("offset")},
    missing_point="unit",
    turning=(TurningRule.AS_WRITTEN, TurningRule.SHORTEST),
    start=(0.0, 0.0, 0.0, 0.0, 0.0),
    chip_break_mm=0.5,
    peck_clear_mm=0.5,
    after_cycle_off="rapid",
    length_moves_step=True,
    arc_tolerance_mm=0.01,
)
READY = InForce(unit="mm", absolute=True, plane=0, offset="G54", offset_values=ZERO)


def state(**changes: object) -> State:
    return State(position=[0.0] * 5, force=READY._replace(**changes), feed=60.0)


def run(
    text: str | bytes,
    at: State | None = None,
    dialect: Dialect = PLAIN,
    blocks_limit: int = 10**9,
    rows_limit: int = 10**9,
) -> tuple[Rows, State, tuple[int, int, int]]:
    """Run plain blocks from the first byte."""
    rows = Rows(1)
    at = state() if at is None else at
    assert fast.may_run(at, dialect)
    data = np.frombuffer(text.encode() if isinstance(text, str) else text, dtype=np.uint8)
    done = fast.run_plain(
        data, 0, 1, at, dialect, rows, blocks_limit=blocks_limit, rows_limit=rows_limit, source=7
    )
    return rows, at, done


# --- closed forms ---------------------------------------------------------------------------


def test_lines_and_rapids_by_hand() -> None:
    text = "G1 X10. Y-2.5 F120.\n\n(to the corner) g0 z+5\r\nA90.\nN7C-.5X1."
    rows, after, done = run(text)
    assert done == (len(text), 6, 5)
    segments = rows.segments[: rows.count]
    assert segments["kind"].tolist() == [Kind.LINE, Kind.RAPID, Kind.RAPID, Kind.RAPID]
    assert segments["line"].tolist() == [1, 3, 4, 5]
    assert segments["column"].tolist() == [4, 20, 1, 3]
    assert segments["feed"].tolist() == [2.0, 0.0, 0.0, 0.0]
    assert set(segments["source"].tolist()) == {7}
    assert set(segments["arc"].tolist()) == set(segments["doubt"].tolist()) == {-1}
    end = (101.0, -202.5, -295.0, radians(90.0) + 0.25, radians(-0.5) - 0.5)
    assert segments["end"][-1] == pytest.approx(end, abs=1e-12)
    assert after.position == segments["end"][-1].tolist()
    assert (after.motion, after.feed, after.feed_mm) == (Meaning.RAPID, 120.0, 1.0)


def test_quarter_circle_in_each_plane() -> None:
    """From (0, 0) about (10, 0) clockwise to (10, 10): a quarter."""
    for plane, (u, v, w) in enumerate(((0, 1, 2), (2, 0, 1), (1, 2, 0))):
        begun = state(plane=plane, absolute=False)
        letters = "XYZ"
        text = f"G2{letters[u]}10.{letters[v]}10.{letters[w]}1.{'IJK'[u]}10."
        rows, _, _ = run(text, begun)
        assert rows.arc_count == rows.count == 1
        circle = rows.arcs[0]
        centre, normal = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]
        centre[u], normal[w] = 10.0, 1.0
        assert circle["centre"].tolist() == centre
        assert circle["normal"].tolist() == normal
        assert circle["sweep"] == pytest.approx(-0.5 * pi, abs=1e-15)
        assert rows.segments[0]["end"][[u, v, w]].tolist() == [10.0, 10.0, 1.0]


def test_inch_scales_lengths_and_feed_but_no_angle() -> None:
    """One inch is 25.4 mm, exact (NIST SP 811:2008, appendix B)."""
    rows, after, _ = run("G1 X1. F60.\nA90.", state(unit="in", offset_values=(0.0,) * 5))
    assert rows.segments["end"][:2].tolist() == [[25.4, 0, 0, 0, 0], [25.4, 0, 0, 0.5 * pi, 0]]
    assert rows.segments["feed"][:2].tolist() == [25.4, radians(1.0)]
    assert rows.segments["feed_kind"][:2].tolist() == [FeedKind.MM_PER_S, FeedKind.RAD_PER_S]
    assert after.feed_mm == 25.4


def test_least_increments_where_the_point_is_missing() -> None:
    counted = replace(PLAIN, missing_point="least")
    rows, _, _ = run("G0X1000Y1000.A90000", state(offset_values=(0.0,) * 5), counted)
    assert rows.segments["end"][0].tolist() == [1.0, 1000.0, 0.0, 0.5 * pi, 0.0]
    undeclared = replace(PLAIN, missing_point=None)
    assert run("G0X0Y-0\nX1", state(), undeclared)[2] == (8, 2, 1)


def test_half_a_turn_by_the_shortest_way_is_flagged() -> None:
    rows, _, _ = run("G0C90.\nC-90.\nC-90.", state(offset_values=(0.0,) * 5))
    assert rows.segments["flags"][:3].tolist() == [0, Flag.EITHER_WAY, 0]


def test_minus_zero_says_which_way_round() -> None:
    """C-0 by the sign: from 90 degrees back to 0, C0 on to 360."""
    signed = replace(PLAIN, turning=(TurningRule.BY_SIGN,) * 2)
    for text, end in (("C-0.", 0.0), ("C-0", 0.0), ("C0.", 2.0 * pi), ("C+0", 2.0 * pi)):
        rows, _, _ = run(f"G0C90.\n{text}", state(offset_values=(0.0,) * 5), signed)
        assert rows.segments["end"][1][4] == pytest.approx(end, abs=1e-12)


@given(st.from_regex(r"[+-]?([0-9]{1,18}\.?|[0-9]{0,9}\.[0-9]{1,9})", fullmatch=True))
@example("9007199254740993")
@example("-0.")
@example("123456789012345.678")
def test_numbers_are_those_of_float(text: str) -> None:
    """Bit for bit, or the block is handed over."""
    rows, _, done = run(f"X{text}", _at_zero())
    if done[2]:
        here, there = rows.segments["end"][0][0], float(text)
        assert here == there
    else:
        assert len(text.strip("+-").replace(".", "")) > 15 or abs(float(text)) > 2**53


def _at_zero() -> State:
    at = state(offset_values=(0.0,) * 5)
    at.motion = Meaning.RAPID
    return at


# --- what is handed over --------------------------------------------------------------------

HARD = [
    "M8", "S1000", "T1", "G43H1", "G55", "G54", "G81Z-1.R1.", "G80", "G4P1.", "G28X0.", "G53X1.",
    "G10L2P1X1.", "G92X0.", "G20", "G91", "G18", "G93", "G41D1", "#1=2", "X#1", "X[1+2]", "/X1.",
    "%", "O12", "X1.;", ";", "IF[1EQ1]GOTO1", "END1", "X", "X-", "X.", "X1.2.3", "X1. 2", "X1-2",
    "X 1 2", "X1.X2.", "G0G1X1.", "G90G90X1.", "G1.5", "G-1", "G1X1.F0", "F-1.", "F0", "N", "N1.",
    "N-1", "N+1", "N1N2", "N123456789", "(open", "(a(b)", "(a\x01b)", "\x00", "X1.\x80", "(\xe9)",
    "X1.\rY1.", "B1.", "U1.", "E1.", "X1e3", "X(1)2", "I1.", "R1.", "G1X1.I1.", "G0X1.R1.", "G2",
    "G2X1.", "G2X1.I1.R1.", "G2X10.K1.", "G2I1.", "G2X11.A1.I5.", "G2X10.I4.", "G2X10.R1.",
    "G2X-100.Y200.R5.", "G3X10.R-", "D1", "H1", "P1.", "Q1.", "L1", "G200.", "G1e1",
    "X1234567890123456789.", "X18446744073709551617.", "G38.2X1.",
]  # fmt: skip


@pytest.mark.parametrize("block", HARD)
def test_hard_block_is_left_untouched(block: str) -> None:
    """Nothing of it is done, also when plain words stand before it."""
    for before in ("", "N5 ", "Y3. F7. " if "Y" not in block and "F" not in block else ""):
        begun = state()
        begun.motion = Meaning.LINE
        begun.position = [-100.0, 200.0, 300.0, 0.0, 0.0]
        rows, after, done = run(f"X1.\n{before}{block}\nX2.\n".encode("latin-1"), begun)
        assert done == (4, 2, 1)
        assert rows.count == 1
        assert rows.arc_count == 0
        assert after.position == [101.0, 200.0, 300.0, 0.0, 0.0]
        assert (after.motion, after.feed) == (Meaning.LINE, 60.0)


@pytest.mark.parametrize(
    "changes",
    [
        {"unit": None},
        {"absolute": None},
        {"feed_mode": "turn"},
        {"feed_mode": "inverse"},
        {"cutter_side": 1},
        {"cycle": "drilling"},
        {"plane_tilted": True},
        {"tool_point": True},
        {"length_mm": nan},
        {"offset_values": (nan, 0.0, 0.0, 0.0, 0.0)},
    ],
)
def test_modes_that_need_the_full_reader(changes: dict[str, object]) -> None:
    assert not fast.may_run(state(**changes), PLAIN)


def test_waiting_length_needs_the_full_reader() -> None:
    waiting = state()
    waiting.step_waits = True
    assert not fast.may_run(waiting, PLAIN)


def test_what_was_never_set_is_handed_over() -> None:
    unset = state()
    unset.feed = nan
    assert run("G1X1.", unset)[2][2] == 0
    assert run("G0X1.", unset)[2][2] == 1
    assert run("X1.", state())[2][2] == 0
    assert run("G2X1.Y1.I1.", state(plane=None))[2][2] == 0
    unknown = State(position=[nan] * 5, force=READY._replace(absolute=False))
    assert run("G0X1.", unknown)[2][2] == 0


def test_limits_are_kept() -> None:
    text = "G0X1.\n\nX2.\nX3.\n"
    assert run(text, blocks_limit=2)[2] == (7, 3, 2)
    assert run(text, rows_limit=2)[2] == (11, 4, 3)
    short = replace(PLAIN, limits=replace(PLAIN.limits, line_characters=8))
    assert run("G0X1.   \nX2.      \n", None, short)[2] == (9, 2, 1)


def test_cause_of_an_unknown_coordinate_goes_on() -> None:
    """Rows carry the first cause among coordinates that are still unknown."""
    begun = state()
    begun.position[1] = begun.position[3] = nan
    begun.causes[1], begun.causes[3] = 5, 6
    rows, after, _ = run("G0X1.\nY1.\nX2.\nA0.\nX1.", begun)
    assert rows.segments["doubt"][: rows.count].tolist() == [5, 6, 6, -1, -1]
    assert after.causes == [-1] * 5


def test_words_of_another_control() -> None:
    """Meaning is data: here G7 is a rapid, G0 unknown, and W turns."""
    words = {word: role for word, role in CORE.items() if word != key("G0")}
    other = replace(PLAIN, words=words | {key("G7"): Role(Meaning.RAPID)}, axes={"W": 4, "X": 0})
    rows, _, done = run("G7W90.\nG0X1.", state(offset_values=(0.0,) * 5), other)
    assert done[2] == 1
    assert rows.segments["end"][0][4] == 0.5 * pi
    assert run("G7X1.I1.", None, replace(PLAIN, axes={"X": 0, "I": 4}))[2][2] == 0


def test_long_text_grows_the_rows() -> None:
    count = 5000
    text = "".join(f"X{number}.\n" for number in range(count))
    begun = _at_zero()
    rows, _, done = run(text, begun)
    assert done[2] == rows.count == count
    assert rows.segments["end"][:count, 0].tolist() == list(range(count))
    circles = "G2Y1.J.5\n" * count
    rows, _, done = run(circles, state(absolute=False))
    assert done[2] == rows.arc_count == count
    assert rows.segments["arc"][:count].tolist() == list(range(count))
    assert len(rows.segments) <= count + 1


# --- fast and full ---------------------------------------------------------------------------


def same(quick: Track, full: Track) -> None:
    """Compare two readings: all alike bit for bit, but for the last digit of a circle."""
    assert quick.doubts == full.doubts
    assert quick.unread == full.unread
    assert (quick.ended, quick.last_line, quick.blocks) == (
        full.ended,
        full.last_line,
        full.blocks,
    )
    assert len(quick.segments) == len(full.segments)
    for name in full.segments.dtype.names or ():
        if name != "force":
            np.testing.assert_array_equal(quick.segments[name], full.segments[name], name)
    for here, there in zip(quick.segments["force"], full.segments["force"], strict=True):
        # Compared as text: NaN in an offset is not equal to itself.
        assert here == there or str(quick.in_force[here]) == str(full.in_force[there])
    for name in ("centre", "normal", "sweep"):
        np.testing.assert_allclose(quick.arcs[name], full.arcs[name], rtol=0, atol=1e-12)


class Writer:
    """Writes programs of all plain features, with a hard block here and there.

    Most of them run to their end: a program that stops early shows little.
    """

    def __init__(self, seed: int, points: bool = True) -> None:
        self.draw = np.random.default_rng(seed)
        self.points = points
        self.after_arc = False

    def one(self, *choices: str) -> str:
        return choices[self.draw.integers(len(choices))]

    def number(self, size: float = 100.0) -> str:
        value = float(self.draw.uniform(-size, size))
        text = f"{value:.{self.draw.integers(0, 5)}f}"
        kind = self.draw.integers(8)
        if kind == 0 and "." in text:
            text = text.replace("0.", ".", 1) if text.strip("-").startswith("0.") else text
        elif kind == 1 and value > 0:
            text = f"+0{text}"
        return text if "." in text or (kind == 2 and not self.points) else f"{text}."

    def shuffled(self, words: list[str]) -> str:
        self.draw.shuffle(words)
        text = self.one("", " ", "", "  ", "\t").join(words)
        return text.lower() if self.draw.random() < 0.1 else text

    def arc(self, step: bool) -> list[str]:
        """Return an arc whose end lies on the circle to within the rounding."""
        radius, turn = self.draw.uniform(1.0, 50.0), self.draw.uniform(-pi, pi)
        sweep = self.draw.uniform(0.1, 6.0)
        start = np.round([radius * np.cos(turn), radius * np.sin(turn)], 4)
        end = np.round([radius * np.cos(turn + sweep), radius * np.sin(turn + sweep)], 4)
        words = [f"{one}{x:.4f}" for one, x in zip("XY", end - start if step else end, strict=True)]
        counter = self.draw.random() < 0.5
        if self.draw.random() < 0.4:
            # The short way or the long way, on either side: all are circles.
            words.append(f"R{self.one('', '-')}{radius + 0.001:.4f}")
            counter = self.draw.random() < 0.5
        else:
            words += [f"I{-start[0]:.4f}", f"J{-start[1]:.4f}"]
        words.append(self.one("G3", "G03", "g3.") if counter else self.one("G2", "G02"))
        if self.draw.random() < 0.2:
            words.append(f"Z{self.number(5.0)}")
        self.after_arc = True
        lines = [self.shuffled(words)]
        if not step:
            lines.insert(0, f"{self.one('G0', 'G1')}X{start[0]:.4f}Y{start[1]:.4f}")
        return lines

    def line(self) -> str:
        kind = self.draw.integers(20)
        if kind == 0 and not self.after_arc:
            return self.one("", "(note)", "N10", "F200.", "G1", "G0", "  \t", "F33")
        letters = [one for one in "XYZ" if self.draw.random() < 0.5]
        if self.draw.random() < 0.15:
            letters += [one for one in "AC" if self.draw.random() < 0.7]
        words = [f"{one}{self.number(720.0 if one in 'AC' else 100.0)}" for one in letters]
        if self.after_arc or self.draw.random() < 0.3:
            words.append(self.one("G0", "G1", "G01", "g00", "G1.0"))
        self.after_arc = False
        if self.draw.random() < 0.1:
            words.append(f"F{self.draw.integers(1, 5000)}{self.one('', '.', '.5')}")
        if self.draw.random() < 0.05:
            words.append(self.one("G17", "G94", "G40", "G61", "G64"))
        if self.draw.random() < 0.05:
            words.append("(in the middle)")
        if self.draw.random() < 0.1:
            words.append(f"N{self.draw.integers(1, 99999)}")
        return self.shuffled(words)

    def plain(self, step: bool = False) -> list[str]:
        return self.arc(step) if self.draw.random() < 0.12 else [self.line()]

    def steps(self, begin: str, end: str, step: bool) -> list[str]:
        lines = [begin]
        for _ in range(self.draw.integers(1, 30)):
            lines += self.plain(step)
        return [*lines, end]

    def hard(self) -> list[str]:
        self.after_arc = False
        kind = self.draw.integers(8)
        if kind == 0:
            return self.steps("G91", "G90G1", step=True)
        if kind == 1:
            return self.steps("G20", "G21G0", step=False)
        block = self.one(
            "M8", "M3S900", "S1200.", "#1=#2+3.", "#100=5.", "G4P.5", "G54", "G43H1Z5.", "G49Z0.",
            "G43H2G90Z5.", "G81X0.Y0.Z-5.R2.F50.\nX1.\nX2.\nG80", "G18\nG0X5.Z0.\nG2X7.Z1.R2.\nG17",
            "G92X0.", "T2M6", "G53Z0.", "G90G28X0.Y0.", "G90G55", "G40G80G90", "M1", "X[1.+2.]",
            "G1X#100F99.", "IF[1EQ2]GOTO9999", "G10L2P1X5.Y5.Z5.", "G98", "G95F.1\nG1X1.\nG94F60.",
            "G0X0.Y0.Z0.\nG83Z-9.R1.Q2.F100.\nG0X1.", "G18G0X0.Y0.Z0.\nG3X4.I2.\nG17",
            "G19\nG0Y1.Z1.\nG2Y4.Z4.R9.\nG17", "G93\nG1X1.F20.\nG94F100.", "G1C90.\nA10.C5.",
        ).replace("G2X7.Z1.R2.\nG17", "G2X7.Z1.R2.\nG17")  # fmt: skip
        return [f"G0 {block}" if block[0] in "SX" else block, self.one("G0", "G1")]

    def program(self, lines: int, hard: float) -> bytes:
        text = ["%", "O1", "G21G17G90G94G40G49G80", "T1M6", "G54", "G0X0.Y0.A0.C0."]
        text += ["G43H1Z50.F500."]
        while len(text) < lines:
            text += self.hard() if self.draw.random() < hard else self.plain()
        text += ["M30", "%"]
        return self.one("\n", "\r\n").join(text).encode()


KINDS = [
    PLAIN,
    replace(PLAIN, missing_point="least", turning=(TurningRule.POSITIVE, TurningRule.BY_SIGN)),
    replace(PLAIN, missing_point=None, turning=(TurningRule.UNKNOWN,) * 2, start=UNKNOWN),
    replace(
        PLAIN,
        offsets={"G54": ZERO, "G55": (0.0, nan, 0.0, nan, 0.0)},
        references={1: (0.0, 0.0, nan, nan, nan)},
        turning=(TurningRule.SHORTEST, TurningRule.UNKNOWN),
        start=UNKNOWN,
    ),
]


def test_fast_and_full_read_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """At least 1e5 blocks; most of them by the compiled reader."""
    quick_blocks = 0
    real = fast.run_plain

    def counted(*words: object, **named: object) -> tuple[int, int, int]:
        nonlocal quick_blocks
        found = real(*words, **named)  # type: ignore[arg-type]
        quick_blocks += found[2]
        return found

    monkeypatch.setattr(fast, "run_plain", counted)
    blocks = arcs = 0
    seed = 0
    while blocks < 100_000:
        dialect = KINDS[seed % len(KINDS)]
        writer = Writer(seed, points=dialect.missing_point is None)
        text = writer.program(int(writer.draw.integers(50, 2000)), writer.draw.choice([0.0, 0.01]))
        quick = reader.read(text, dialect, quick=True)
        full = reader.read(text, dialect, quick=False)
        same(quick, full)
        blocks += full.blocks
        arcs += len(full.arcs)
        seed += 1
    assert quick_blocks > 0.8 * blocks
    assert arcs > 3_000


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 3), st.data())
def test_spoiled_programs_read_alike(seed: int, kind: int, data: st.DataObject) -> None:
    """Bytes changed, taken out and put in: the same rows, doubts and end."""
    text = bytearray(Writer(seed).program(20, 0.15))
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(text) - 1))
        byte = data.draw(st.sampled_from(b"XYZGNFIJRAC0159.-+ ()#[]/%;\n\r\tMx\x00\xe9"))
        match data.draw(st.integers(0, 2)):
            case 0:
                text[place] = byte
            case 1:
                text.insert(place, byte)
            case _:
                del text[place]
    spoiled = bytes(text)
    same(
        reader.read(spoiled, KINDS[kind], quick=True),
        reader.read(spoiled, KINDS[kind], quick=False),
    )


# --- how it is compiled ------------------------------------------------------------------------


def test_short_programs_do_not_import_the_compiler() -> None:
    code = (
        "import sys; from gudgeon.program.reader import read;"
        "from gudgeon.program.dialect import Dialect; import gudgeon.program.fast;"
        "read(b'G21G90G0X1.\\nM30\\n', Dialect()); assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_compiled_code_is_kept_and_tied_to_what_it_takes_in() -> None:
    """One compilation serves every call; a change of the arcs or turning rules makes a new one."""
    run("G0X1.")
    run("G1X1.", state(unit="in"), KINDS[1])
    assert len(scan.plain_blocks.signatures) == 1
    assert str(scan._MARK) in str(scan.plain_blocks.signatures[0])
    assert scan.plain_blocks.stats.cache_path is not None


def test_without_a_place_for_compiled_code(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read-only installation and home: compiled each time, but it works."""
    from numba.core import caching

    monkeypatch.setattr(caching.CacheImpl, "_locator_classes", [])
    made = scan._compiled(scan._lines_left)
    assert made(np.frombuffer(b"a\nb", dtype=np.uint8), 0) == 2


@pytest.mark.parametrize("value", [nextafter(0.1, inf), 1e15, 123456.789])
def test_position_survives_the_way_through_the_loop(value: float) -> None:
    begun = state()
    begun.position[0] = value
    _, after, _ = run("G0Y1.", begun)
    assert after.position[0] == value
