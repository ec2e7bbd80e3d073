"""What the machinist is told to touch: only what the unit can reach, and enough for both lines."""

from __future__ import annotations

import re

import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load_text
from gudgeon.findings import Findings
from gudgeon.questions import turns

CELL = """
[shop]
units = "mm"
[unit]
kind = "tilt and rotary"
tilt_range = ["{low} deg", "{high} deg"]
[placement]
tilt_along = "X"
[control]
tilt_letter = "A"
rotary_letter = "C"
tilt_sense = {sense}
rotary_sense = -1
[readings]
file = "r.csv"
ball_diameter = "6 mm"
compensated = false
reading_u = "0.003 mm"
"""
TILT_Y, TILT_Z, FACE = -200.0, -440.0, 25.0
ROTARY_X, ROTARY_Y, BORE, BALL = -380.0, -199.9, 30.0, 3.0


def answered(low: int, high: int, sense: int = -1, rows: tuple[str, ...] = ()) -> Answer:
    text = CELL.format(low=low, high=high, sense=sense)
    table = "\n".join(["what,tilt_deg,rotary_deg,side,x_mm,y_mm,z_mm", *rows])
    if not rows:
        text = text.replace('file = "r.csv"\n', "")
    loaded = load_text(text, readings=lambda name, at: table)
    assert loaded.cell is not None, loaded.faults
    return turns.answer(Findings(loaded.cell))


@pytest.mark.parametrize(
    ("low", "high"), [(-110, 110), (-30, 110), (-110, 30), (0, 90), (-90, 0), (-20, 60), (0, 45)]
)
def test_no_touch_is_asked_for_at_a_tilt_that_the_unit_lacks(low: int, high: int) -> None:
    answer = answered(low, high)
    assert len(answer.missing) == 5
    for item in answer.missing:
        for angle in re.findall(r"\bA (-?[\d.]+)", f"{item.what} {item.how_to_get_it}"):
            assert low <= float(angle) <= high, item


def test_both_ways_are_asked_for_where_the_unit_reaches_them() -> None:
    asked = " ".join(item.what for item in answered(-90, 90).missing)
    assert "(A 90)" in asked
    assert "(A -90)" in asked


@pytest.mark.parametrize("sense", [-1, 1])
@pytest.mark.parametrize("up", [1, -1])
def test_the_touches_of_a_unit_that_tilts_one_way_fix_both_lines(up: int, sense: int) -> None:
    """Face and bore, level and upright: y + e, z -+ e, y +- d and z + d are four equations."""
    out = -sense * up  # the face looks to Y+ or Y-
    tilt, side = 90 * up, "Y+" if out > 0 else "Y-"
    aside = ROTARY_Y - TILT_Y
    bore_z = TILT_Z - out * aside  # +z has gone to out * y, so +y has gone to -out * z
    inner = BORE - BALL
    rows = [
        f"face,{tilt},0,{side},{ROTARY_X},{TILT_Y + out * (FACE + BALL)},{TILT_Z}",
        f"face,0,0,Z+,{ROTARY_X},{ROTARY_Y},{TILT_Z + FACE + BALL}",
        f"bore,{tilt},0,Z+,,,{bore_z - inner}",
        f"bore,{tilt},0,Z-,,,{bore_z + inner}",
    ]
    for turn in (0, 180):
        rows += [
            f"bore,0,{turn},X+,{ROTARY_X - inner},,",
            f"bore,0,{turn},X-,{ROTARY_X + inner},,",
            f"bore,0,{turn},Y+,,{ROTARY_Y - inner},",
            f"bore,0,{turn},Y-,,{ROTARY_Y + inner},",
        ]
    answer = answered(min(0, tilt), max(0, tilt), sense, tuple(rows))
    assert answer.verdict in (Verdict.YES, Verdict.YES_IF), answer.headline
    found = {figure.name: figure.value for figure in answer.figures}
    assert found["tilt_y"] == pytest.approx(TILT_Y, abs=1e-4)
    assert found["tilt_z"] == pytest.approx(TILT_Z, abs=1e-4)
    assert found["face_height"] == pytest.approx(FACE, abs=1e-4)
    assert found["platter_y"] == pytest.approx(ROTARY_Y, abs=1e-4)
