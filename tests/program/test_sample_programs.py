"""Six sample programs with the moves and the verdict expected of each.

The texts are retyped from the sample set handed to the project, with its invented machine.
"""

from __future__ import annotations

from dataclasses import replace
from math import degrees, inf, isnan, radians

import pytest

from gudgeon.program.dialect import Dialect, Family, TurningRule
from gudgeon.program.doubts import Code, Grade
from gudgeon.program.reader import read
from gudgeon.program.track import FeedKind, Kind, Track

MACHINE = Dialect(
    axes={"X": 0, "Y": 1, "Z": 2, "A": 3, "C": 4},
    missing_point="unit",
    turning=(TurningRule.AS_WRITTEN, TurningRule.AS_WRITTEN),
    offsets={
        "G54": (100.0, 50.0, -200.0, 0.0, 0.0),
        "G55": (-30.0, 20.0, -250.0, 0.0, radians(15.0)),
        "G54.1 P7": (12.5, -8.0, -180.0, 0.0, 0.0),
    },
    families={("G", 541): Family("P", 48)},
    lengths={1: 120.0, 2: 85.5},
    references={1: (0.0,) * 5},
    start=(0.0,) * 5,
    block_skip=True,
    dwell_p="ms",
    length_without_register="error",
)

S01 = """%
O0001 (UNIT SWITCH)
G21 G90 G17 G94
G54
G43 H1
G0 X10. Y0. Z50. A90. C0.
G20
G1 X1. A45. F10.
G91 G1 Y1. C10.
G21 G90
G1 X0. C20. F100.
M30
%
"""
S02 = """%
o2(no spaces)
n30g21g90g17g54
n10g0x10y10.z5a10
n20g1x1y-.5z-1.f100.a10.
n20m30
%
"""
S03 = """G21 G90 G17 G54 G94
G0 X0. Y0. Z0.
G2 X10. Y10. R10. F200.
G3 X20. Y20. R-10.
G2 X40. Y20. R10.
G2 X40. Y20. R5.
M30
"""
S04 = """G21 G90 G17 G94 G54
G43 H2 G0 X5. Y5. Z10.
G91 G28 Z20.
G28 X0. Y0.
G90 G53 G0 X-12.5 Y-7.
G90 G28 C30.
G91 G53 X1.
M30
"""
S05 = """G21 G90 G17 G94 G54
G0 X0. Y0. Z20.
G91 G99 G81 X10. R-15. Z-8. L3 F100.
G90 G98 G81 X50. Y5. R3. Z-4.
G80
G0 Z50.
M30
"""
S06 = """G21 G90 G17 G54 F300.
#1=0
#100=2.5
G0 X0. Y0. Z1.
WHILE [#1 LT 4] DO1
IF [[#1 MOD 2] EQ 1] GOTO 20
G1 X[#1*10.+#100] Y[-#1]
N20 #1=#1+1
END1
#3=#9
G1 X#3 Y[SQRT[16]+ATAN[1]/[1]]
#101=#5041
G1 Z#101
M30
"""

MOTION = {Kind.RAPID: "rapid", Kind.LINE: "line", Kind.ARC: "arc"}


def moves(track: Track) -> list[tuple[object, ...]]:
    """Return kind, line, X, Y, Z, A, C in mm and degrees, and the feed in mm a minute."""
    found: list[tuple[object, ...]] = []
    for row in track.segments:
        if row["kind"] in MOTION:
            x, y, z, a, c = (float(one) for one in row["end"])
            feed = float(row["feed"]) * 60.0 if row["feed_kind"] == FeedKind.MM_PER_S else 0.0
            kind = MOTION[Kind(row["kind"])]
            found.append((kind, int(row["line"]), x, y, z, degrees(a), degrees(c), feed))
    return found


def expect(track: Track, expected: list[tuple[object, ...]]) -> None:
    found = moves(track)
    assert [one[:2] for one in found] == [one[:2] for one in expected]
    for one, other in zip(found, expected, strict=True):
        assert one[2:] == pytest.approx(other[2:], abs=1e-9, nan_ok=True), one


def verdict(track: Track) -> tuple[object, ...]:
    worst = track.worst
    return ("ok",) if worst is None else (worst.grade, worst.line, worst.column, worst.code)


def test_unit_switch_does_not_scale_angles() -> None:
    track = read(S01.encode(), MACHINE)
    expect(
        track,
        [
            ("rapid", 6, 110, 50, -30, 90, 0, 0),
            ("line", 8, 125.4, 50, -30, 45, 0, 254),
            ("line", 9, 125.4, 75.4, -30, 45, 10, 254),
            ("line", 11, 100, 75.4, -30, 45, 20, 100),
        ],
    )
    assert verdict(track) == ("ok",)


def test_missing_points_as_units() -> None:
    track = read(S02.encode(), MACHINE)
    expect(
        track,
        [("rapid", 4, 110, 60, -195, 10, 0, 0), ("line", 5, 101, 49.5, -201, 10, 0, 100)],
    )
    assert verdict(track) == ("ok",)


def test_missing_points_as_least_increments() -> None:
    track = read(S02.encode(), replace(MACHINE, missing_point="least"))
    expect(
        track,
        [
            ("rapid", 4, 100.010, 60, -199.995, 0.010, 0, 0),
            ("line", 5, 100.001, 49.5, -201, 10, 0, 100),
        ],
    )
    assert verdict(track) == ("ok",)


def test_missing_points_with_no_rule_are_not_guessed() -> None:
    track = read(S02.encode(), replace(MACHINE, missing_point=None))
    assert verdict(track) == (Grade.CANNOT_TELL, 4, 6, Code.POINT_MISSING)


def test_arcs_by_radius_and_the_full_circle_refused() -> None:
    track = read(S03.encode(), MACHINE)
    expect(
        track,
        [
            ("rapid", 2, 100, 50, -200, 0, 0, 0),
            ("arc", 3, 110, 60, -200, 0, 0, 200),
            ("arc", 4, 120, 70, -200, 0, 0, 200),
            ("arc", 5, 140, 70, -200, 0, 0, 200),
        ],
    )
    centres = [tuple(arc["centre"][:2]) for arc in track.arcs]
    assert centres == [
        pytest.approx((110.0, 50.0)),
        pytest.approx((120.0, 60.0)),
        pytest.approx((130.0, 70.0)),
    ]
    assert [degrees(arc["sweep"]) for arc in track.arcs] == pytest.approx([-90, 270, -180])
    assert verdict(track) == (Grade.ERROR, 6, 14, Code.ARC_FULL_WITH_R)


def test_returns_and_machine_coordinates() -> None:
    track = read(S04.encode(), MACHINE)
    expect(
        track,
        [
            ("rapid", 2, 105, 55, -104.5, 0, 0, 0),
            ("rapid", 3, 105, 55, -84.5, 0, 0, 0),
            ("rapid", 3, 105, 55, 0, 0, 0, 0),
            ("rapid", 4, 105, 55, 0, 0, 0, 0),
            ("rapid", 4, 0, 0, 0, 0, 0, 0),
            ("rapid", 5, -12.5, -7, 0, 0, 0, 0),
            ("rapid", 6, -12.5, -7, 0, 0, 30, 0),
            ("rapid", 6, -12.5, -7, 0, 0, 0, 0),
        ],
    )
    assert verdict(track) == (Grade.CANNOT_TELL, 7, 5, Code.MACHINE_STEP)


def test_cycle_with_repeats_and_both_returns() -> None:
    track = read(S05.encode(), MACHINE)
    expect(
        track,
        [
            ("rapid", 2, 100, 50, -180, 0, 0, 0),
            ("rapid", 3, 110, 50, -180, 0, 0, 0),
            ("rapid", 3, 110, 50, -195, 0, 0, 0),
            ("line", 3, 110, 50, -203, 0, 0, 100),
            ("rapid", 3, 110, 50, -195, 0, 0, 0),
            ("rapid", 3, 120, 50, -195, 0, 0, 0),
            ("line", 3, 120, 50, -203, 0, 0, 100),
            ("rapid", 3, 120, 50, -195, 0, 0, 0),
            ("rapid", 3, 130, 50, -195, 0, 0, 0),
            ("line", 3, 130, 50, -203, 0, 0, 100),
            ("rapid", 3, 130, 50, -195, 0, 0, 0),
            ("rapid", 4, 150, 55, -195, 0, 0, 0),
            ("rapid", 4, 150, 55, -197, 0, 0, 0),
            ("line", 4, 150, 55, -204, 0, 0, 100),
            ("rapid", 4, 150, 55, -180, 0, 0, 0),
            ("rapid", 6, 150, 55, -150, 0, 0, 0),
        ],
    )
    assert verdict(track) == ("ok",)


def test_loop_branch_empty_variable_and_unknown_system_variable() -> None:
    track = read(S06.encode(), MACHINE)
    nan = inf - inf
    expect(
        track,
        [
            ("rapid", 4, 100, 50, -199, 0, 0, 0),
            ("line", 7, 102.5, 50, -199, 0, 0, 300),
            ("line", 7, 122.5, 48, -199, 0, 0, 300),
            ("line", 11, 122.5, 99, -199, 0, 0, 300),
            ("line", 13, 122.5, 99, nan, 0, 0, 300),
        ],
    )
    worst = track.worst
    assert worst is not None
    assert (worst.grade, worst.line, worst.code) == (Grade.CANNOT_TELL, 12, Code.SYSTEM_VARIABLE)
    assert dict(worst.detail) == {"number": 5041}
    last = [row for row in track.segments if row["kind"] == Kind.LINE][-1]
    assert isnan(last["end"][2])
    assert track.doubts[last["doubt"]] is worst
