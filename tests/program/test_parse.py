"""Lines taken apart: words, columns, comments, flow, and every byte that is no program."""

from __future__ import annotations

import contextlib
import math
import time
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gudgeon.program.blocks import Block
from gudgeon.program.dialect import Dialect, Limits
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.parse import parse_block

PLAIN = Dialect()


class Nothing:
    """All variables are empty."""

    def variable(self, number: int, column: int) -> float | None:
        return None


class Sevens:
    """Variable n holds 7 n."""

    def variable(self, number: int, column: int) -> float | None:
        return 7.0 * number


def read(line: str | bytes, dialect: Dialect = PLAIN) -> Block:
    return parse_block(line.encode() if isinstance(line, str) else line, dialect)


def words(line: str | bytes, dialect: Dialect = PLAIN) -> list[tuple[str, float | None]]:
    return [
        (w.letter, w.number if w.worked is None else w.worked.value(Nothing()))
        for w in read(line, dialect).words
    ]


def halted(line: str | bytes, dialect: Dialect = PLAIN) -> tuple[Code, int]:
    with pytest.raises(Halt) as caught:
        read(line, dialect)
    return caught.value.code, caught.value.column


def detail(line: str | bytes) -> dict[str, str | float]:
    with pytest.raises(Halt) as caught:
        read(line)
    return dict(caught.value.detail)


# --- words --------------------------------------------------------------------


def test_blanks_and_case_mean_nothing() -> None:
    """NISTIR 6556, 3.3 (GC-093, n4)."""
    assert (
        words("g0x +0. 12 34y 7") == words("g0 x+0.1234 y7") == [("G", 0), ("X", 0.1234), ("Y", 7)]
    )
    assert [w.column for w in read("g0x +0. 12 34y 7").words] == [1, 3, 14]


@pytest.mark.parametrize("line", ["N30G21G90X1.5", " n30 g21\tg90 x1.5 ", "G21 N30 G90 X1.5"])
def test_the_label_stands_anywhere(line: str) -> None:
    block = read(line)
    assert [(w.letter, w.number) for w in block.words] == [("G", 21), ("G", 90), ("X", 1.5)]
    assert block.label == 30
    assert line[block.label_column - 1] in "Nn"
    assert all(line[w.column - 1].upper() == w.letter for w in block.words)


@pytest.mark.parametrize(
    ("text", "value", "point"),
    [
        ("+.5", 0.5, True),
        ("5.", 5.0, True),
        ("-0", -0.0, False),
        ("-0.", -0.0, True),
        ("007", 7.0, False),
        ("- 1 2", -12.0, False),
        ("0.1234567890123456789", 0.1234567890123456789, True),
        ("12345678901234567890", 12345678901234567890.0, False),
        ("." + "0" * 400 + "1", 0.0, True),
        ("1" + "0" * 200, 1e200, False),
    ],
)
def test_forms_of_numbers(text: str, value: float, point: bool) -> None:
    (word,) = read(f"X{text}").words
    assert word.number == value
    assert math.copysign(1.0, word.number) == math.copysign(1.0, value)
    assert word.has_point is point


@given(
    st.from_regex(r"[+-]?([0-9]{1,25}(\.[0-9]{0,25})?|\.[0-9]{1,25})", fullmatch=True),
    st.booleans(),
)
def test_a_number_is_the_nearest_float(text: str, with_care: bool) -> None:
    text = "".join(c for c in text if c in "+-.0123456789")
    (word,) = read(f"X{text}{'()()' if with_care else ''}").words
    assert (word.number, word.has_point) == (float(text), "." in text)


@pytest.mark.parametrize(
    "line",
    ["X", "XY5", "X.", "X-", "X1.2.3", "X--1", "X" + "9" * 400, "X1(a)2", "X+", "X()", "Y1 X"],
)
def test_a_letter_without_a_number(line: str) -> None:
    code, column = halted(line)
    assert code in (Code.NUMBER, Code.EXPRESSION)
    assert column >= 1


def test_an_exponent_is_the_word_e() -> None:
    assert words("X1E5") == [("X", 1), ("E", 5)]


def test_every_letter_starts_a_word() -> None:
    for letter in "ABCDEFGHIJKLMOPQRSTUVWXYZ":
        assert words(f"{letter}1") == [(letter, 1)]


@pytest.mark.parametrize("line", ["", " \t ", "()", "(only this)", "\r", ";", "/"])
def test_a_block_may_be_empty(line: str) -> None:
    block = read(line)
    assert (block.words, block.label, block.assignments, block.control) == ([], None, [], None)


def test_a_program_number_is_a_word() -> None:
    assert words("O0001 (UNIT SWITCH)") == [("O", 1)]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("#2", 14.0),
        ("##1", 49.0),
        ("#[1+1]", 14.0),
        ("[1+2*3]", 7.0),
        ("-#1", -7.0),
        ("-[1]", -1.0),
        ("+#1", 7.0),
        (" asin[0.5]", 30.0),
        ("-sqrt[16]", -4.0),
        ("[#1(seven)+1]", 8.0),
    ],
)
def test_values_that_are_worked_out(text: str, value: float) -> None:
    block = read(f"G1 X{text} Y2")
    assert [w.letter for w in block.words] == ["G", "X", "Y"]
    worked = block.words[1].worked
    assert worked is not None
    assert math.isnan(block.words[1].number)
    assert worked.value(Sevens()) == pytest.approx(value, abs=1e-12)


def test_an_empty_variable_leaves_the_word_unwritten() -> None:
    assert words("X#1 Y-#2") == [("X", None), ("Y", None)]


@pytest.mark.parametrize(
    "line", ["X#1+2", "X[1]*2", "#<name>=5", "X#<name>", "X1=2", "G0,X1", "]", "X1/2"]
)
def test_what_starts_no_word(line: str) -> None:
    code, column = halted(line)
    assert code in (Code.CHARACTER, Code.EXPRESSION)
    assert 1 <= column <= len(line)


@pytest.mark.parametrize(
    "line", ["DPRNT[X#1[53]]", "POPEN", "ELSE", "ENDIF", "hello world", "XFOO[1]"]
)
def test_names_that_are_not_known(line: str) -> None:
    assert halted(line) == (Code.FUNCTION_UNKNOWN, 1)


@pytest.mark.parametrize("line", ["N1.5", "N-5", "N10 N20", "N", "N#1", "/0", "/12"])
def test_labels_and_levels_are_whole(line: str) -> None:
    assert halted(line)[0] in (Code.NOT_WHOLE, Code.WORD_TWICE, Code.NUMBER)


@pytest.mark.parametrize(
    ("line", "level"),
    [("/G1", 1), ("/2G1", 2), ("N5/3 G1", 3), (" / N5 G1", 1), ("/9 IF[1]GOTO5", 9)],
)
def test_block_skip(line: str, level: int) -> None:
    block = read(line)
    assert block.skip == level
    assert line[block.skip_column - 1] == "/"


def test_block_skip_stands_first() -> None:
    assert halted("G1 /X1") == (Code.CHARACTER, 4)
    assert halted("//G1") == (Code.CHARACTER, 2)


@pytest.mark.parametrize("line", ["%", " % ", "%\r", "%(end)"])
def test_percent(line: str) -> None:
    assert read(line).percent


def test_percent_stands_alone() -> None:
    assert halted("%123") == (Code.CHARACTER, 1)
    assert halted("G1 %") == (Code.CHARACTER, 4)
    assert not read("G1").percent


# --- comments and bytes -------------------------------------------------------


def test_comments_are_left_out() -> None:
    assert words("G1 (to the left) X1") == [("G", 1), ("X", 1)]
    assert words("(a)G1(b;c%)X1(d)") == [("G", 1), ("X", 1)]
    assert words("G1 (caf\xe9)".encode("latin-1")) == [("G", 1)]
    assert words("G1 X1 (\N{DEGREE SIGN}\N{LATIN SMALL LETTER SHARP S}) Y2") == [
        ("G", 1),
        ("X", 1),
        ("Y", 2),
    ]


def test_columns_count_bytes_as_written() -> None:
    line = b"(\xdf\xc3\x9f) g1 (\xb5) x2"  # \xdf would become two letters in capitals
    assert [w.column for w in read(line).words] == [line.index(b"g") + 1, line.index(b"x") + 1]


@pytest.mark.parametrize(
    ("line", "code", "column"),
    [
        ("( a ( b )", Code.COMMENT_NESTED, 5),  # NISTIR 6556, 3.3.4 (n9)
        ("G1 (open", Code.COMMENT_OPEN, 4),
        ("G1 (a) (open", Code.COMMENT_OPEN, 8),
        ("G1 (a))", Code.CHARACTER, 7),
        ("G1 X1;Y2", Code.SEMICOLON, 6),
        ("G1 X1 ;(open", Code.SEMICOLON, 7),
        (b"G1\x00", Code.NOT_TEXT, 3),
        (b"G1 (\x00)", Code.NOT_TEXT, 5),
        (b"G1\x80", Code.NOT_TEXT, 3),
        (b"G1\x1bX1", Code.NOT_TEXT, 3),
        (b"G1\rX1", Code.NOT_TEXT, 3),
        (b"\xef\xbb\xbfG1", Code.NOT_TEXT, 1),
        ("G1 X1 ?", Code.CHARACTER, 7),
        ("G1 X1 'a", Code.CHARACTER, 7),
    ],
)
def test_lines_that_are_refused(line: str | bytes, code: Code, column: int) -> None:
    assert halted(line) == (code, column)


def test_what_a_refused_line_tells() -> None:
    assert detail(b"G1\x80") == {"byte": 0x80}
    assert detail("G1 ?") == {"found": "?"}
    assert detail("G1 XY") == {"word": "X"}
    assert detail("POPEN") == {"name": "POPEN"}


def test_semicolons() -> None:
    assert words("G1 X1 ; ") == [("G", 1), ("X", 1)]
    assert words("G1 X1 ; (nothing)") == [("G", 1), ("X", 1)]
    comment = replace(PLAIN, semicolon_comment=True)
    assert words("G1 ; X2 (open \xe9", comment) == [("G", 1)]
    assert halted(b"G1 ; \x00", comment) == (Code.NOT_TEXT, 6)


def test_long_lines_are_refused_before_any_work() -> None:
    short = replace(PLAIN, limits=Limits(line_characters=10))
    assert words("X123456789", short) == [("X", 123456789)]
    assert halted("X1234567890", short) == (Code.LINE_TOO_LONG, 0)
    assert detail(b"(" * 10_001) == {"characters": 10_001, "limit": 10_000}


# --- assignments and flow -----------------------------------------------------


def assigned(line: str) -> list[tuple[float | None, float | None, int]]:
    return [
        (made.target.value(Sevens()), made.value.value(Sevens()), made.column)
        for made in read(line).assignments
    ]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("#1=5", [(1, 5, 1)]),
        ("#3=15 #3=6", [(3, 15, 1), (3, 6, 7)]),  # NISTIR 6556, 3.3.5 (GC-094): the last one holds
        ("N5 # 1 = # 1 + 1", [(1, 8, 4)]),
        ("##1=2", [(7, 2, 1)]),
        ("#[#1+1]=[2]*3", [(8, 6, 1)]),
        ("#1=-.5", [(1, -0.5, 1)]),
        ("#1=#0", [(1, 0, 1)]),
        ("#1=2 GT 1", [(1, 1, 1)]),
    ],
)
def test_assignments(line: str, expected: list[tuple[float, float, int]]) -> None:
    """The target's value is the number of the variable that is set."""
    assert assigned(line) == expected


def test_an_assignment_beside_motion() -> None:
    """NISTIR 6556, 3.3.3 (GC-092, n7): the reader sees both and decides on their order."""
    block = read("#3=6 G1 x#3")
    assert assigned("#3=6 G1 x#3") == [(3, 6, 1)]
    assert [w.letter for w in block.words] == ["G", "X"]
    assert [w.letter for w in read("#1=5 G EXP[0] M FIX[1]").words] == ["G", "M"]
    assert assigned("#1=6 GE EXP[0]") == [(1, 1, 1)]


@pytest.mark.parametrize("line", ["#1", "#=5", "#1=", "#1+2=5", "#-1=5", "#1==2", "#SIN[0]=1"])
def test_assignments_that_cannot_be_read(line: str) -> None:
    assert halted(line)[0] == Code.EXPRESSION


@pytest.mark.parametrize(
    ("line", "kind", "condition", "target", "loop"),
    [
        ("GOTO20", "goto", None, 20, 0),
        ("goto #1", "goto", None, 7, 0),
        ("GOTO [#1 + 3]", "goto", None, 10, 0),
        ("IF[#1EQ2]GOTO20", "if goto", 0, 20, 0),
        ("IF [[#1 MOD 2] EQ 1] GOTO 20", "if goto", 1, 20, 0),
        ("WHILE[#1LT40]DO1", "while", 1, None, 1),
        ("while [ #1 lt 4 ] do 2", "while", 0, None, 2),
        ("DO3", "do", None, None, 3),
        ("END 1", "end", None, None, 1),
        ("IF[#1NE2]THEN#5=1", "if then", 1, None, 0),
    ],
)
def test_control(
    line: str, kind: str, condition: float | None, target: float | None, loop: int
) -> None:
    for text, label in ((line, None), (f"N7 {line}", 7), (f"{line} N7", 7), (f"{line}(x)", None)):
        block = read(text)
        control = block.control
        assert control is not None
        assert block.label == label
        assert block.words == []
        assert (control.kind, control.loop) == (kind, loop)
        found = control.condition and control.condition.value(Sevens())
        assert found == condition
        assert (control.target and control.target.value(Sevens())) == target
        assert text[control.column - 1 : control.column + 1].upper() == line[:2].upper()
        assert len(block.assignments) == (kind == "if then")


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("IF #1EQ2 GOTO 5", Code.EXPRESSION),
        ("IF [1] G1", Code.EXPRESSION),
        ("IF [1] THEN G1", Code.EXPRESSION),
        ("IF [1] THEN #1=1 #2=2", Code.EXPRESSION),
        ("IF [1] GOTO", Code.NUMBER),
        ("WHILE [1]", Code.EXPRESSION),
        ("WHILE #1 DO1", Code.EXPRESSION),
        ("DO", Code.NUMBER),
        ("END1.5", Code.NOT_WHOLE),
        ("GOTO 5 G1", Code.EXPRESSION),
        ("G1 GOTO 5", Code.EXPRESSION),
        ("#1=1 GOTO 5", Code.ASSIGNMENT_IN_MOTION),
        ("GOTO 5 GOTO 6", Code.EXPRESSION),
    ],
)
def test_control_that_cannot_be_read(line: str, code: Code) -> None:
    assert halted(line)[0] == code


def test_words_that_look_like_control() -> None:
    """I with the function FIX or FUP is no IF."""
    assert words("I FIX[2.8]") == [("I", 2)]
    assert words("IFUP[2.8]") == [("I", 3)]


# --- laws ---------------------------------------------------------------------

pieces = st.lists(
    st.tuples(
        st.sampled_from("ABCDEFGHIJKLMOPQRSTUVWXYZ"),
        st.sampled_from(["1", "-2.5", "+.5", "00", "-0.", "#7", "[1+2]", "-[3*#7]", "SIN[30]"]),
    ),
    max_size=6,
)


@given(pieces, st.data())
def test_any_way_of_writing_gives_the_same_words(
    written: list[tuple[str, str]], data: st.DataObject
) -> None:
    plain = "".join(letter + value for letter, value in written)
    other = "".join(data.draw(st.sampled_from([c, c.lower(), c + " ", f"\t{c}"])) for c in plain)

    def values(line: str) -> list[tuple[str, str, bool]]:
        return [
            (
                w.letter,
                repr(w.number if w.worked is None else w.worked.value(Sevens())),
                w.has_point,
            )
            for w in read(line).words
        ]

    assert values(other) == values(plain)
    assert [letter for letter, _, _ in values(plain)] == [letter for letter, _ in written]
    spaced = "N12 " + " (c) ".join(letter + value for letter, value in written)
    assert values(spaced) == values(plain)
    assert read(spaced).label == 12
    assert [spaced[w.column - 1] for w in read(spaced).words] == [letter for letter, _ in written]


@given(pieces.filter(lambda p: all(v[-1].isdigit() and "#" not in v for _, v in p)))
def test_the_quick_and_the_careful_path_agree(written: list[tuple[str, str]]) -> None:
    """An empty second comment sends the same block the careful way."""
    line = "N9 " + " ".join(letter + value for letter, value in written)
    assert read(line) == read(line + " (a) (b)")


SHARDS = st.lists(
    st.sampled_from(
        b"G1|X|#|[|]|1|.5|-|(|)|IF|GOTO|WHILE|DO1|END|THEN|=|EQ|AND|ATAN|/|,|N|O|%| |\t|;|\xff|"
        b"\x00|e|+|**|MOD|SIN[|\r".split(b"|")
    ),
    max_size=40,
).map(b"".join)


@given(st.binary(max_size=200) | SHARDS | st.text(max_size=100).map(str.encode))
@example(b"\xdf" * 50)
@example(b"IF[1]")
@example(b"#")
@example(b"-")
def test_only_a_halt_escapes(line: bytes) -> None:
    try:
        block = read(line)
    except Halt as stop:
        assert 0 <= stop.column <= len(line) + 1
    else:
        for word in block.words:
            assert chr(line[word.column - 1]).upper() == word.letter
            assert (word.worked is None) == math.isfinite(word.number)


@given(SHARDS)
def test_no_character_is_skipped_silently(line: bytes) -> None:
    """What is read out of a plain line says as much as the line: letters and digits count up."""
    try:
        block = read(line)
    except Halt:
        return
    if b"(" in line or b";" in line or block.assignments or block.control or block.percent:
        return
    bare = [w for w in block.words if w.worked is None]
    if len(bare) < len(block.words):
        return
    letters = sum(chr(c).isalpha() and c < 128 for c in line)
    assert len(bare) + (block.label is not None) == letters
    assert (block.skip is not None) == (b"/" in line)


@pytest.mark.parametrize(
    ("head", "again", "tail"),
    [
        *((b"", piece, b"") for piece in (b"1", b"X", b"(", b"X1", b"()", b"#", b"[", b" ", b";")),
        *((b"", piece, b"") for piece in (b"#1=1", b"X[", b"AAAA1", b"#1=[", b"-", b"/", b"1 ")),
        *((b"X", piece, b"?") for piece in (b"9", b"-", b"1.X", b"1X", b" ", b"1(a)X")),
        *((b"#1=", piece, b"") for piece in (b"1+", b"-", b"ATAN[1]/[", b"1AND", b"ABS[")),
    ],
)
def test_hostile_lines_take_no_time(head: bytes, again: bytes, tail: bytes) -> None:
    line = head + again * (9_900 // len(again)) + tail
    started = time.perf_counter()
    with contextlib.suppress(Halt):
        read(line)
    assert time.perf_counter() - started < 1.0  # takes some 10 ms; quadratic work would show
