"""Cutter radius compensation as programs use it: leads, corners, what stands between."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gudgeon.program.doubts import Code
from gudgeon.program.reader import read
from gudgeon.program.track import Ended, Flag, Kind, Track
from tests.program.test_sample_programs import MACHINE

MILL = replace(MACHINE, radii={1: 5.0, 2: 0.0}, cutter_corner="arc", cutter_lead="square to next")
HEAD = "G21 G90 G17 G94 G54 F300.\nG0 X-20. Y0. Z0.\n"
SQUARE = "G41 D1 G1 X0. Y0.\nY40.\nX40.\nY0.\nX-5.\nG40 X-20. Y-20.\n"


def run(text: str, dialect: object = MILL) -> Track:
    return read((HEAD + text + "M30\n").encode(), dialect)  # type: ignore[arg-type]


def plane(track: Track) -> list[tuple[str, float, float]]:
    names = {Kind.RAPID: "rapid", Kind.LINE: "line", Kind.ARC: "arc"}
    rows = [row for row in track.segments if row["kind"] in names]
    return [
        (names[Kind(row["kind"])], *(row["end"][:2] - [100.0, 50.0]).round(9).tolist())
        for row in rows
    ]


def test_round_a_square_with_arcs_at_the_corners() -> None:
    track = run(SQUARE)
    assert track.worst is None
    assert plane(track) == [
        ("rapid", -20.0, 0.0),
        ("line", -5.0, 0.0),
        ("line", -5.0, 40.0),
        ("arc", 0.0, 45.0),
        ("line", 40.0, 45.0),
        ("arc", 45.0, 40.0),
        ("line", 45.0, 0.0),
        ("arc", 40.0, -5.0),
        ("line", -5.0, -5.0),
        ("line", -20.0, -20.0),
    ]
    cutting = track.segments["flags"][2:-1] & Flag.CUTTER
    assert cutting.all()
    arcs = track.arcs[track.segments["arc"][track.segments["kind"] == Kind.ARC]]
    assert np.degrees(arcs["sweep"]) == pytest.approx(-90.0)


def test_the_column_and_line_of_a_corner_are_those_of_the_block_after_it() -> None:
    track = run(SQUARE)
    lines = [int(row["line"]) for row in track.segments if row["kind"] == Kind.ARC]
    assert lines == [5, 6, 7]


def test_a_dive_and_a_coolant_word_between_happen_where_the_cutter_stands() -> None:
    text = SQUARE.replace("X40.\n", "X40.\nM8\nZ-3.\n")
    track = run(text)
    assert track.worst is None
    other = next(row for row in track.segments if row["kind"] == Kind.OTHER)
    assert (other["end"][:3] - [100.0, 50.0, -200.0]).tolist() == pytest.approx([40.0, 45.0, 0.0])
    at = next(i for i, row in enumerate(track.segments) if row["line"] == 7)
    assert (track.segments["end"][at][:3] - [100.0, 50.0, -200.0]) == pytest.approx(
        [40.0, 45.0, -3.0]
    )


def test_radius_zero_leaves_the_path_as_programmed() -> None:
    assert plane(run(SQUARE.replace("D1", "D2"))) == plane(
        run(SQUARE.replace("G41 D1", "").replace("G40", ""))
    )


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        (SQUARE.replace("D1", "D9"), Code.RADIUS_UNKNOWN, 3),
        (SQUARE.replace("D1", ""), Code.RADIUS_UNKNOWN, 3),
        (SQUARE.replace("X40.\n", "G81 X40. Z-1. R1.\n"), Code.CYCLE_NOT_HERE, 5),
        (SQUARE.replace("X40.\n", "G18 X40.\n"), Code.CUTTER_WORD, 5),
        (SQUARE.replace("X40.\n", "G28 X40.\n"), Code.RETURN_NOT_ALONE, 5),
        (
            SQUARE.replace("Y40.\nX40.\n", "Y40.\nG3 X6. Y40. I3. J0.\nG1 X40.\n"),
            Code.CUTTER_GOUGE,
            5,
        ),
    ],
)
def test_what_stops_a_stretch(text: str, code: Code, line: int) -> None:
    track = run(text)
    assert (track.doubts[-1].code, track.doubts[-1].line) == (code, line)
    assert track.ended is Ended.STOPPED


def test_an_undeclared_corner_is_a_doubt_and_takes_the_stretch_away() -> None:
    track = run(SQUARE, replace(MILL, cutter_corner=None))
    assert track.doubts[-1].code is Code.CUTTER_CORNER
    assert track.doubts[-1].line == 5
    assert plane(track) == [("rapid", -20.0, 0.0)]


def test_a_program_that_ends_with_the_radius_in_force_ends_set_off() -> None:
    track = run("G41 D1 G1 X0. Y0.\nY40.\n")
    assert track.worst is None
    assert plane(track)[-1] == ("line", -5.0, 40.0)


def test_two_stretches_one_after_the_other() -> None:
    track = run(SQUARE + "G0 X-20. Y0.\n" + SQUARE)
    assert track.worst is None
    first = plane(run(SQUARE))
    assert plane(track) == first + first
