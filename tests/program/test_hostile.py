"""Programs that ask too much: each ends with a clear code, in bounded memory."""

from __future__ import annotations

import pytest

from gudgeon.program.doubts import Code
from gudgeon.program.reader import read
from gudgeon.program.track import Ended
from tests.program.test_sample_programs import MACHINE

BEGIN = b"G21 G90 G17 G54 G94 F100.\nG0 X0. Y0. Z0.\n"


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
