"""Words that change when an axis stops, or what is clamped: kept with the rows that they govern."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gudgeon.program.dialect import CORE, Dialect, Meaning, Role, key
from gudgeon.program.reader import read
from gudgeon.program.track import Flag, Kind, Track

BOTH = Flag.CLAMPS_TILT | Flag.CLAMPS_ROTARY
WORDS = {
    **CORE,
    key("M68"): Role(Meaning.NO_MOTION, int(BOTH)),
    key("M69"): Role(Meaning.NO_MOTION, int(Flag.FREES_ROTARY)),
}
DIALECT = Dialect(
    words=WORDS,
    axes={"X": 0, "Y": 1, "Z": 2, "A": 3, "C": 4},
    missing_point="unit",
    offsets={"G54": (0.0,) * 5},
    start=(0.0,) * 5,
)
HEAD = "G21 G90 G17 G94 G54 F600.\n"


def track(text: str, dialect: Dialect = DIALECT, **more: bool) -> Track:
    return read((HEAD + text).encode(), dialect, **more)


def exact(found: Track) -> list[bool]:
    rows = found.segments[found.segments["kind"] == Kind.LINE]
    return [found.in_force[i].exact_stop for i in rows["force"]]


@pytest.mark.parametrize("quick", [False, True])
def test_exact_stop_holds_from_its_word_to_path_mode(quick: bool) -> None:
    text = "G1 X1.\nG61\nX2.\nX3.\nG64 X4.\nG61 X5.\nM30\n"

    assert exact(track(text, quick=quick)) == [False, True, True, False, True]


def test_exact_stop_may_be_in_force_when_a_program_starts() -> None:
    at_start = (*DIALECT.at_start, key("G61"))

    assert exact(track("G1 X1.\nG64\nX2.\nM30\n", replace(DIALECT, at_start=at_start))) == [
        True,
        False,
    ]


def test_a_word_that_clamps_says_so_in_its_row() -> None:
    found = track("M69\nG0 C90.\nM8 M68\nM68 M8 M69\nM8\nM30\n")
    rows = found.segments[found.segments["kind"] == Kind.OTHER]

    assert found.worst is None
    assert rows["flags"].tolist() == [
        Flag.FREES_ROTARY,
        BOTH,
        BOTH | Flag.FREES_ROTARY,
        0,
    ]
