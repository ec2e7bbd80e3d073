"""The worked examples of NISTIR 6556 (The NIST RS274NGC Interpreter, Version 3, 2000).

Retyped from the report, with the section of each.  The control is declared as it describes it.
"""

from __future__ import annotations

from dataclasses import replace
from math import asin, degrees, hypot, sqrt

import pytest

from gudgeon.program.doubts import Code, Grade
from gudgeon.program.reader import read
from gudgeon.program.track import Kind
from tests.program.nist import NIST, clean, end, is_error, moves, moving, stops, xyz


def test_one_hole_absolute() -> None:
    """3.5.16.2, example 1."""
    track = clean("F100\nG90 G81 G98 X4 Y5 Z1.5 R2.8", (1.0, 2.0, 3.0))
    assert moves(track) == [
        ("T", 4.0, 5.0, 3.0),
        ("T", 4.0, 5.0, 2.8),
        ("F", 4.0, 5.0, 1.5),
        ("T", 4.0, 5.0, 3.0),
    ]


def test_three_holes_in_steps() -> None:
    """3.5.16.2, example 2, with the third repeat by the same rule."""
    track = clean("F100\nG91 G81 G98 X4 Y5 Z-0.6 R1.8 L3", (1.0, 2.0, 3.0))
    expected = [("T", 1.0, 2.0, 4.8)]
    for x, y in ((5.0, 7.0), (9.0, 12.0), (13.0, 17.0)):
        expected += [("T", x, y, 4.8), ("F", x, y, 4.2), ("T", x, y, 4.8)]
    found = moves(track)
    assert [one[0] for one in found] == [one[0] for one in expected]
    for one, other in zip(found, expected, strict=True):
        assert one[1:] == pytest.approx(other[1:], abs=1e-12)


def test_centre_and_radius_of_an_arc() -> None:
    """3.5.3.2."""
    (circle,) = clean("F100\nG17 G2 x 10 y 16 i 3 j 4 z 9", (7.0, 7.0, 9.0)).arcs
    x, y, _ = circle["centre"]
    assert (x, y) == pytest.approx((10.0, 11.0))
    assert hypot(7.0 - x, 7.0 - y) == pytest.approx(5.0)
    assert hypot(10.0 - x, 16.0 - y) == pytest.approx(5.0)


def test_blanks_within_numbers() -> None:
    """3.3."""
    assert moves(clean("g0x +0. 12 34y 7")) == moves(clean("g0 x+0.1234 y7"))
    assert moves(clean("g0x +0. 12 34y 7")) == [("T", 0.1234, 7.0, 0.0)]


def test_expression() -> None:
    """3.3.2.3."""
    assert end(clean("g0 x[2.0 / 3 * 1.5 - 5.5 / 11.0]"))[0] == pytest.approx(0.5, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "down", "zero"),
    [("FIX[2.8]", 2, 2), ("FIX[-2.8]", -3, -2), ("FUP[2.8]", 3, 3), ("FUP[-2.8]", -2, -3)],
)
def test_whole_parts(text: str, down: float, zero: float) -> None:
    """3.3.2.4; controls that round towards zero declare so, others stay in doubt."""
    assert end(clean(f"g0 x[{text}]"))[0] == down
    assert end(clean(f"g0 x[{text}]", fix_rounds="zero"))[0] == zero
    if down != zero:
        assert stops(f"g0 x[{text}]", fix_rounds=None)[1] is Code.ROUNDING_RULE


def test_values_count_from_the_next_block() -> None:
    """3.3.3; elsewhere such a block is refused."""
    track = clean("#3=15\n#3=6 G1 x#3 f9\ny#3")
    assert end(track)[:2] == [15.0, 6.0]
    assert stops("#3=6 G1 x#3", assignment_in_motion=None)[1] is Code.ASSIGNMENT_IN_MOTION


def test_number_sign_binds_first() -> None:
    """3.3.2.2: #1+2 is the value of variable 1, and 2; #[1+2] is that of variable 3."""
    track = clean("#1=10\n#3=70\ng0 x[#1+2] y#[1+2]")
    assert end(track)[:2] == [12.0, 70.0]


def test_nested_comment() -> None:
    """3.3.4."""
    assert is_error(Code.COMMENT_NESTED, "( a ( b )") == "error"


def test_order_of_words_means_nothing() -> None:
    """3.3.6."""
    one, other = (
        clean(f"{block}\nx#3 y#4")
        for block in ("#4=-7.0 g1 #3=15 g40 (foo) f9", "g40 g1 #3=15 (foo) #4=-7.0 f9")
    )
    assert str(one.segments.tolist()) == str(other.segments.tolist())
    assert end(one)[:2] == [15.0, -7.0]


def test_axis_words_after_the_end_of_cycles() -> None:
    """3.5.15."""
    assert is_error(Code.MOTION_OFF, "f9\ng81 x1 z-1 r1\ng80\nx1") == "error"
    assert is_error(Code.MOTION_OFF, "g80\nx1") == "error"


def test_no_repeats() -> None:
    """3.5.16."""
    assert is_error(Code.CYCLE_REPEATS, "f9\ng81 x1 z-1 r1 l0") == "error"


def test_r_below_the_bottom() -> None:
    """3.5.16."""
    assert is_error(Code.CYCLE_R_BELOW_Z, "f9\ng81 x1 z2 r1") == "error"


def test_length_register_nought() -> None:
    """3.5.11."""
    track = clean("g43 h1 g0 z5\ng43 h0 z5")
    assert [row[3] for row in moves(track)] == [125.0, 5.0]


def test_a_program_line_by_line() -> None:
    """Table 10.  The arc ends at Y1, where it began; its centre lies on the far side of the chord.

    The third block calls its tool in the block that changes it; length 1.0 comes into force.  The
    step of X in the last block is taken twice, R and Z count as steps.
    """
    text = (
        "g1 x3 y1 f20.0\n"
        "g2 x[6-[4*3/2]] r 7.01 z0.5\n"
        "m6 t2 g43 h2\n"
        "g1 x asin[0.5]\n"
        "g91 g81 x3 y2 z-0.8 r1.5 l2\n"
    )
    track = read((text + "m2\n").encode(), NIST)
    assert not track.doubts
    first, arc, cut, *holes = moving(track)

    assert (Kind(first["kind"]), xyz(first)) == (Kind.LINE, [3.0, 1.0, 0.0])
    assert (Kind(arc["kind"]), xyz(arc)) == (Kind.ARC, [0.0, 1.0, 0.5])
    (circle,) = track.arcs
    # From (3, 1) to (0, 1) clockwise by the short way: the centre at 1 + sqrt(7.01^2 - 1.5^2).
    assert circle["centre"][:2] == pytest.approx([1.5, 1.0 + sqrt(7.01**2 - 1.5**2)], abs=1e-12)
    assert circle["centre"][1] == pytest.approx(7.8476, abs=5e-5)
    assert circle["sweep"] == pytest.approx(-2.0 * asin(1.5 / 7.01), abs=1e-12)

    force = track.in_force[int(cut["force"])]
    assert (force.tool, force.length_register, force.length_mm) == (2, 2, 1.0)
    # Printed positions are those of the program: Z stays where the tool stands while the length
    # comes into force, so that it reads 0.5 - 1.0 then.
    assert xyz(cut) == pytest.approx([30.0, 1.0, 0.5])
    assert xyz(cut)[2] - force.length_mm == pytest.approx(-0.5)
    printed = [
        ("T", 30.0, 1.0, 1.0),
        ("T", 33.0, 3.0, 1.0),
        ("F", 33.0, 3.0, 0.2),
        ("T", 33.0, 3.0, 1.0),
        ("T", 36.0, 5.0, 1.0),
        ("F", 36.0, 5.0, 0.2),
        ("T", 36.0, 5.0, 1.0),
    ]
    found = [("TF"[row["kind"]], *xyz(row)) for row in holes]
    assert [one[0] for one in found] == [one[0] for one in printed]
    for one, other in zip(found, printed, strict=True):
        assert one[1:3] == pytest.approx(other[1:3])
        assert one[3] - force.length_mm == pytest.approx(other[3])


def test_misspelt_function() -> None:
    """Table 10: the reading stops there; the line stays where it is."""
    track = read(b"g1 x asim[0.5]\nm2\n", NIST)
    worst = track.worst
    assert worst is not None
    assert worst.code in (Code.FUNCTION_UNKNOWN, Code.NUMBER)
    assert (worst.line, len(track.segments)) == (1, 0)
    assert worst.grade in (Grade.ERROR, Grade.CANNOT_TELL)


def test_two_thousand_straight_cuts() -> None:
    """5.3 times a file of 2000 cuts in 2004 lines; here: all of them are there."""
    cuts = "".join(f"g1 x{i % 7} y{i % 5}.{i % 10} f20.\n" for i in range(2000))
    track = read(f"%\ng21 g90\n{cuts}m2\n%".encode(), replace(NIST))
    assert len(moving(track)) == 2000
    assert degrees(track.segments["end"][-1][3]) == 0.0
