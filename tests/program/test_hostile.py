"""Programs that ask too much: each ends with a clear code, in bounded memory.

Sizes are large enough that work which grows with the square of the text would not end here; the
limits are small where only they end the reading.
"""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from gudgeon.program.dialect import Dialect, Limits
from gudgeon.program.doubts import Code, Grade, Halt
from gudgeon.program.parse import parse_block
from gudgeon.program.reader import read
from gudgeon.program.source import Source
from gudgeon.program.track import Ended, Kind, Track
from tests.program.test_sample_programs import MACHINE

BEGIN = b"G21 G90 G17 G54 G94 F100.\nG0 X0. Y0. Z0.\n"
SMALL = replace(MACHINE, limits=Limits(blocks=5_000, rows=5_000), repeat_zero="error")
MEGABYTE = 1_000_000


@contextmanager
def memory(megabytes: float) -> Iterator[None]:
    """Fail if more memory is taken at any time than so many megabytes."""
    tracemalloc.start()
    try:
        yield
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < megabytes * MEGABYTE


def stopped(text: bytes, dialect: Dialect = MACHINE, quick: bool | None = False) -> Code:
    """Return the code of the doubt that ended the reading."""
    track = read(text, dialect, quick=quick)
    assert track.ended is Ended.STOPPED
    assert track.doubts[-1].grade is not Grade.NOTE
    return track.doubts[-1].code


@pytest.mark.parametrize(
    "line",
    [
        b"G2 X[10**300] R8.",
        b"X[EXP[700]]",
        b"F1" + b"0" * 300,
        b"G92 X[-EXP[700]]",
        b"G2 I[EXP[700]]",
    ],
)
def test_a_number_beyond_any_control_is_no_number(line: bytes) -> None:
    """Found by fuzzing: the square of a far end of an arc overflowed."""
    track = read(BEGIN + line + b"\nM30", MACHINE)

    assert track.ended is Ended.STOPPED
    assert [(doubt.code, doubt.line) for doubt in track.doubts] == [(Code.NUMBER, 3)]


# --- not a program --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (bytes(range(256)) * 100, Code.NOT_TEXT),
        (b"\x7fELF\x02\x01\x01\x00" + bytes(1000), Code.NOT_TEXT),
        (b"\x89PNG\r\n\x1a\n" + bytes(1000), Code.NOT_TEXT),
        (b"\0" * MEGABYTE, Code.LINE_TOO_LONG),
        (b"\0\n" * 1000, Code.NOT_TEXT),
        ("G0 X1.\nM30\n".encode("utf-16"), Code.NOT_TEXT),
        ("G0 X1.\nM30\n".encode("utf-16-le"), Code.NOT_TEXT),
        ("G0 X1\u00bd\n".encode(), Code.NOT_TEXT),
        (b"", Code.NO_END),
        (b"%", Code.NO_END),
        (b"\xef\xbb\xbf", Code.NO_END),
        (b"\r" * 1000, Code.NO_END),
        (b"\n" * 4000, Code.NO_END),
    ],
)
@pytest.mark.parametrize("quick", [False, True])
def test_what_is_no_program(text: bytes, code: Code, quick: bool) -> None:
    assert stopped(text, quick=quick) is code


@pytest.mark.parametrize("byte", [b"X", b"(", b"[", b" ", b"0", b"#", b"\0", b"N", b"O", b"\xff"])
def test_one_endless_line(byte: bytes) -> None:
    """A hundred times larger takes a hundred times the text itself, and nothing else."""
    text = BEGIN + byte * MEGABYTE
    with memory(0.7):
        assert stopped(text) is Code.LINE_TOO_LONG


def test_lines_of_blanks_take_four_bytes_each() -> None:
    with memory(10.0):
        assert Source(b"\n" * MEGABYTE, MACHINE).count == MEGABYTE


def test_lines_are_where_they_begin() -> None:
    """Also past the piece in which line ends are looked for, and without an end at the last."""
    text = b"G0 X1.\n" * 700_000 + b"M30"
    source = Source(text, MACHINE)
    assert source.count == 700_001
    assert (source.line(0), source.line(699_999), source.line(700_000)) == (
        b"G0 X1.",
        b"G0 X1.",
        b"M30",
    )
    assert source.line_at(len(text) - 1) == 700_000
    assert [Source(one, MACHINE).count for one in (b"", b"\n", b"a", b"a\n", b"a\nb")] == [
        1, 1, 1, 1, 2,
    ]  # fmt: skip


# --- depth ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("opening", ["[", "SIN[", "#[", "#", "[-", "ATAN[1]/["])
def test_brackets_within_brackets(opening: str) -> None:
    deep = replace(MACHINE, limits=Limits(line_characters=3 * MEGABYTE))
    line = b"X" + opening.encode() * (2 * MEGABYTE // len(opening))
    assert stopped(BEGIN + line, deep) is Code.TOO_DEEP


def test_a_long_flat_expression_is_worked_out() -> None:
    wide = replace(MACHINE, limits=Limits(line_characters=MEGABYTE))
    track = read(BEGIN + b"X[" + b"0.001+" * 100_000 + b"0]\nM30", wide)
    assert track.segments["end"][2][0] == pytest.approx(200.0)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (b"M98 P1\nM30\nO1\nM98 P1\nM99", Code.TOO_DEEP),
        (b"M98 P1\nM30\nO1\nM98 P2\nM99\nO2\nM98 P1\nM99", Code.TOO_DEEP),
        (b"#1=1\nG65 P1 A#1\nM30\nO1\n#2=#1\nG65 P1 A[#1+1] B#2\nM99", Code.TOO_DEEP),
        (b"DO1\n" * 10_000 + b"M30", Code.LOOP_SHAPE),
        (b"".join(b"DO%d\n" % i for i in range(9_000)) + b"M30", Code.LOOP_SHAPE),
        (b"DO1\n" * 500 + b"END1\n" * 500 + b"M30", Code.LOOP_SHAPE),
        (
            b"".join(b"DO%d\n" % i for i in range(1, 90))
            + b"".join(b"END%d\n" % i for i in range(89, 0, -1))
            + b"M30",
            Code.TOO_DEEP,
        ),
        (b"DO1\nDO1\nEND1\nEND1\nM30", Code.LOOP_SHAPE),
        (b"DO1\nDO2\nEND1\nEND2\nM30", Code.LOOP_SHAPE),
        (b"END1\n" * 10_000 + b"M30", Code.LOOP_SHAPE),
        (b"GOTO10\nDO1\nN10\nEND1\nM30", Code.LOOP_SHAPE),
        (b"M98P1\nM30\nO1\nDO1\nM99\nO2\nEND1\nM99", Code.LOOP_SHAPE),
    ],
)
def test_calls_and_loops_within_each_other(text: bytes, code: Code) -> None:
    assert stopped(BEGIN + text, SMALL) is code


def test_deep_ifs_are_only_as_deep_as_brackets() -> None:
    condition = b"[" * 30 + b"1 EQ 1" + b"]" * 30
    track = read(BEGIN + b"IF" + condition + b"THEN#1=5\nX#1\nM30", MACHINE)
    assert not track.doubts and track.segments["end"][-1][0] == 105.0
    assert stopped(BEGIN + b"IF" + b"[" * 60 + b"1" + b"]" * 60 + b"GOTO1") is Code.TOO_DEEP


def test_locals_come_back_from_deep_calls() -> None:
    """#1 of each level is its own; 15 levels deep and back."""
    text = BEGIN + b"#1=0\nG65 P1 A1.\nX#1\nM30\nO1\nIF[#1 GE 15]GOTO9\nG65 P1 A[#1+1]\nN9 X#1\nM99"
    track = read(text, MACHINE)
    assert not track.doubts
    moved = [row["end"][0] - 100.0 for row in track.segments if row["kind"] == Kind.RAPID]
    assert moved[1:] == [*range(15, -1, -1)]


# --- without end ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        b"WHILE[1 EQ 1]DO1\nEND1\nM30",
        b"DO1\n#1=#1+1\nEND1\nM30",
        b"N1\nGOTO1\nM30",
        b"N1 G0 X1.\nN2\nIF[1 EQ 1]GOTO1\nM30",
        b"M98 P1 L999999999\nM30\nO1\nM99",
        b"M98 P1 L99999999\nM30\nO1\nM99",
        b"M98 P1 L4000\nM30\nO1\n\nM99",
        b"G65 P1 L4000\nM30\nO1\n#1=1\nM99",
        b"N1\nM99 P1",
        b"M98 P1\nM30\nN5\nO1\nN1\nGOTO1",
        b"\n" * 6_000 + b"M30",
    ],
)
@pytest.mark.parametrize("quick", [False, True])
def test_blocks_without_end(text: bytes, quick: bool) -> None:
    found = stopped(BEGIN + text, SMALL, quick)
    assert found is Code.NOT_WHOLE if b"L999999999" in text else found is Code.ENDLESS


@pytest.mark.parametrize(
    "text",
    [
        b"G91 G81 X1. Z-1. R-1. L1000000000",
        b"G91 G81 X1. Z-1. R-1. L999999999999999",
        b"G91 G99 G83 X1. Z-1000. R-1. Q.001",
        b"G91 G73 X1. Z-500. R-1. Q.5 L900",
        b"N1 G91 G81 X1. Z-1. R-1. L4\nGOTO1",
    ],
)
def test_motion_without_end(text: bytes) -> None:
    with memory(20.0):
        assert stopped(BEGIN + text + b"\nM30", SMALL) is Code.TOO_MUCH


def test_repeats_beyond_the_limit_are_told_before_a_row_is_made() -> None:
    """With the limits of every day, which hold gigabytes."""
    with memory(1.0):
        code = stopped(BEGIN + b"G91 G81 X1. Z-1. R-1. L1000000000\nM30", MACHINE)
        assert code is Code.TOO_MUCH
        assert stopped(BEGIN + b"M98 P1 L99999999\nM30\nO1\nM99") is Code.ENDLESS


def test_new_settings_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """A new speed, a new unknown shift: each would be kept for good."""
    monkeypatch.setattr("gudgeon.program.run._FORCES_KEPT", 500)
    for line in (b"S#1 M3", b"G92 X#1", b"G92 X[#1+#500]"):
        text = BEGIN + b"#1=0\nWHILE[1 EQ 1]DO1\n#1=#1+1\n" + line + b"\nEND1\nM30"
        assert stopped(text, SMALL) is Code.TOO_MUCH


def test_unknown_variables_without_end() -> None:
    text = BEGIN + b"#1=5000\nWHILE[1 EQ 1]DO1\n#1=#1+1\nX#[#1]\nEND1\nM30"
    with memory(10.0):
        assert stopped(text, SMALL) in (Code.TOO_MUCH, Code.ENDLESS)


# --- many names -----------------------------------------------------------------------------------


def test_numbers_of_a_thousand_digits() -> None:
    long = b"9" * 1000
    for line in (b"O" + long, b"N" + long, b"GOTO" + long, b"#" + long + b"=1", b"M98 P" + long):
        assert stopped(BEGIN + line + b"\nM98 P" + long + b"\nM30") in (
            Code.NUMBER, Code.NO_END, Code.LABEL_MISSING, Code.VARIABLE_NUMBER, Code.CALL_FORM,
            Code.NOT_WHOLE,
        )  # fmt: skip


@pytest.mark.parametrize(
    "filler",
    [b"N%d X1.\n", b"(N%d) N7 X1.\n", b"O%d\nX1.\nM99\n", b"N5 ( DO1 END%d )\n", b"DO%d\nEND1\n"],
)
def test_places_take_little_memory(filler: bytes) -> None:
    """A place takes 12 bytes, 60 while they are sorted; a list of lines for each number, 200."""
    source = Source(b"".join(filler % (i + 9_000) for i in range(10_000)), MACHINE)
    assert source.count >= 10_000
    with memory(1.2):
        assert source.program(1) == []
        assert source.end_of_loop(0) is None
        with pytest.raises(Halt):
            source.label(1, 0, 1)


def jumps(count: int, fill: int) -> bytes:
    """Write many jumps among many labels, programs and loops."""
    filler = b"O%d\nN1 X1.\nDO1\nN2\nEND1\nM99\n"
    text = BEGIN + b"#1=0\nN1 #1=#1+1\nIF[#1 LT %d]GOTO1\nM30\n" % count
    return text + b"".join(filler % (i + 10) for i in range(fill))


def test_a_jump_does_not_look_through_the_text(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work counted: lines cleaned of comments for the places, once each, however many jumps."""
    looked = 0
    real = Source._without_comments

    def counted(self: Source, needle: object) -> Iterator[tuple[int, bytes]]:
        nonlocal looked
        for one in real(self, needle):  # type: ignore[arg-type]
            looked += 1
            yield one

    monkeypatch.setattr(Source, "_without_comments", counted)
    found = []
    for count in (10, 400):
        looked = 0
        track = read(jumps(count, 2_000), SMALL, quick=False)
        assert track.ended is Ended.BY_WORD
        found.append(looked)
    assert found[0] == found[1] <= 6 * 2_000 + 20


def test_a_place_is_found_in_a_few_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Found by measuring: a whole number of another kind had the array converted each time."""
    real, looked = np.searchsorted, 0

    def watched(rising: Any, value: Any, side: Any = "left") -> Any:
        nonlocal looked
        looked += 1
        assert value.dtype == rising.dtype
        assert rising.flags.c_contiguous
        return real(rising, value, side)

    monkeypatch.setattr(np, "searchsorted", watched)
    track = read(jumps(20, 50) + b"M98P59\n", SMALL, quick=False)
    assert track.ended is Ended.BY_WORD
    assert looked > 100


def test_many_ends_without_their_loop() -> None:
    """Each END looked through all open loops; now through a bounded number."""
    text = BEGIN + b"M30\n" + b"DO1\n" * 20_000 + b"END2\n" * 20_000
    assert Source(text, MACHINE).end_of_loop(5) is None


def test_two_labels_alike_are_told_at_once() -> None:
    text = BEGIN + b"GOTO5\n" + b"N5\n" * 30_000
    assert stopped(text) is Code.LABEL_TWICE
    text = BEGIN + b"M98 P5\nM30\n" + b"O5\nM99\n" * 20_000
    assert stopped(text) is Code.LABEL_TWICE


def test_blocks_kept_for_loops_are_bounded() -> None:
    """Lines of ten thousand characters, thousands of words each, run through once."""
    lines = b"".join(b"N%d " % i + b"M8" * 4_000 + b"\n" for i in range(60))
    with memory(22.0):
        track = read(BEGIN + lines + b"M30", MACHINE, quick=False)
    assert track.ended is Ended.BY_WORD


# --- one line -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "line",
    [
        b"(a)" * 30_000,
        b"()" * 45_000 + b"X1.",
        b"X1. " + b"(" + b" " * 90_000,
        b" " * 90_000 + b"X1.",
        b"N" + b" " * 90_000 + b"1",
        b"X" + b"1" * 90_000,
        b"X1" + b".1" * 45_000,
        b"#1=1" * 20_000,
        b"#" * 90_000,
        b"X-" * 45_000,
        b"M8" * 45_000,
        b"A1" * 45_000,
        b"/" * 90_000,
        b"[" * 30 + b"1" + b"+1" * 40_000,
        b"IF" * 45_000,
        b"X[1" + b" " * 90_000 + b"]",
        b";" + b"(a)" * 30_000,
    ],
)
def test_a_hostile_line_is_read_once(line: bytes) -> None:
    """Ninety thousand characters; work that grew with the square would take minutes."""
    wide = replace(MACHINE, limits=Limits(line_characters=100_000))
    track = read(BEGIN + line + b"\nM30", wide, quick=False)
    assert isinstance(track, Track)
    assert len(track.segments) <= 4


def test_the_length_of_a_line_is_judged_first() -> None:
    with pytest.raises(Halt) as caught:
        parse_block(b"X1" * 6_000, MACHINE)
    assert caught.value.code is Code.LINE_TOO_LONG


def test_words_past_a_stop_are_told_in_bounded_number() -> None:
    text = BEGIN + b"M97\n" + b"".join(b"M%d\n" % (i + 100) for i in range(10_000))
    assert 10 <= len(read(text, MACHINE).unread) <= 100
