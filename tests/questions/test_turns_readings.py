"""The question `turns`: sweeps, balls, levels, bad rows, and what readings leave open."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from gudgeon.answer import Answer, Table, Verdict
from gudgeon.cell.files import load_text
from gudgeon.cell.model import Cell, Readings, Touch
from gudgeon.centre.readings import Reading
from gudgeon.findings import Findings
from gudgeon.quantity.amount import Amount
from gudgeon.questions import turns
from tests.centre.simulate import TRUE, Unit, frame
from tests.questions.trunnions import cell

ORIGIN = (-381.0, -130.0, -400.0)
TRUE_TILT = (ORIGIN[1] + TRUE[0], ORIGIN[2] + TRUE[1])


def row_of(reading: Reading) -> Touch:
    """Return a reading as it stands in a table, its dial at 0."""
    toward = ""
    if reading.toward is not None:
        k = int(np.argmax(np.abs(reading.toward)))
        toward = "XYZ"[k] + ("+" if reading.toward[k] > 0.0 else "-")
    kind = "touch" if toward else "bore"
    kind = "sweep" if reading.zero else kind
    kind = "ball" if reading.feature.startswith("ball") else kind
    kind = "level" if reading.feature == "level" else kind
    x, y, z = (None if math.isnan(c) else float(c) for c in reading.position_mm)
    return Touch(
        row=reading.row,
        name="",
        kind=kind,
        feature=reading.feature,
        toward=toward,
        tilt_rad=reading.tilt_rad,
        rotary_rad=reading.rotary_rad,
        position_mm=(x, y, z),
        radius_mm=reading.radius_mm,
        compensated=False,
        u_mm=reading.u_mm,
        zero=reading.zero,
        seat=reading.seat,
        angle_rad=reading.angle_rad,
        temperature_c=reading.temperature_c,
    )


def unit_of(seed: int = 3, **more: Any) -> Unit:
    return Unit(frame(origin=ORIGIN), seed=seed, **more)


def cell_of(readings: Any, **given: Any) -> Cell:
    base = cell(readings=Readings(file="touches.csv", **given))
    return replace(base, touches=tuple(row_of(one) for one in readings))


def ask(one: Cell) -> Answer:
    return turns.answer(Findings(one))


def table(found: Answer, name: str) -> Table:
    return next(item for item in found.tables if item.name == name)


def names(found: Answer) -> set[str]:
    return {item.name for item in found.tables}


def inside(found: Answer, name: str, true: float) -> bool:
    told = found.figure(name)
    assert told.value is not None
    assert told.plus_minus is not None
    return abs(told.value - true) <= told.plus_minus


def test_balls_alone_give_both_lines_and_the_face_from_its_entry() -> None:
    unit = unit_of()
    balls = [unit.sphere(t, c) for t in (-80, 0, 80) for c in (0, 120, 240)]
    found = ask(cell_of(balls))
    assert found.verdict in (Verdict.YES, Verdict.YES_IF)
    assert inside(found, "tilt_y", TRUE_TILT[0])
    assert inside(found, "tilt_z", TRUE_TILT[1])
    assert any("unit.face_height" in words for words in found.assumed)
    assert {row[3] for row in table(found, "readings").rows} == {"X", "Y", "Z"}


def test_balls_without_a_face_ask_for_the_face() -> None:
    unit = unit_of()
    balls = [unit.sphere(t, c) for t in (-80, 0, 80) for c in (0, 120, 240)]
    one = cell_of(balls)
    one = replace(one, unit=replace(one.unit, face_height=None))
    found = ask(one)
    assert found.verdict is Verdict.CANNOT_TELL
    assert len(found.missing) == 1
    assert "platter face" in found.missing[0].what
    assert inside(found, "tilt_z", TRUE_TILT[1])


def test_an_indicator_and_a_level_show_what_touches_left_open() -> None:
    unit = unit_of()
    faces = [unit.face(t, 0, x, 0) for t in (90, -90) for x in (60, -60)] + [unit.face(0, 0, 0, 0)]
    bores = [unit.bore(0, c) for c in (0, 90, 180, 270)]
    few = ask(cell_of([*faces, *bores]))
    open_before = {row[0] for row in table(few, "not_told").rows}
    swept = [unit.swept_face(0, c, 60, 0, zero_mm=0.37) for c in (0, 90, 180, 270)]
    levels = [unit.level(way, u_rad=1e-5) for way in ("X+", "Y+")]
    more = ask(cell_of([*faces, *bores, *swept, *levels]))
    open_after = (
        {row[0] for row in table(more, "not_told").rows} if "not_told" in names(more) else set()
    )
    slopes = {words for words in open_before if words.startswith("rotary line leaning")}
    assert slopes
    assert not slopes & open_after
    shown = table(more, "readings").rows
    assert sum(row[4] is None for row in shown) == 2, "a level has no residual in mm"
    assert not more.figure("scatter").note.startswith("the readings scatter clearly")


def test_the_dial_counts_against_the_approach() -> None:
    """A plunger pushed in by 0.2 and an axis 0.2 further back are the same reading."""
    unit = unit_of()
    rows = [row_of(one) for one in unit.full()]
    pushed = []
    for touch in rows:
        if touch.kind != "touch":
            pushed.append(touch)
            continue
        k, sign = "XYZ".index(touch.toward[0]), 1.0 if touch.toward[1] == "+" else -1.0
        place = [c for c in touch.position_mm]
        place[k] = (place[k] or 0.0) + sign * 0.2
        x, y, z = place
        pushed.append(replace(touch, position_mm=(x, y, z), dial_mm=0.2))
    one = cell_of(unit.full()[:0])
    plain = ask(replace(one, touches=tuple(rows)))
    dialled = ask(replace(one, touches=tuple(pushed)))
    assert dialled.figure("tilt_z").value == pytest.approx(plain.figure("tilt_z").value, abs=1e-9)
    assert dialled.figure("face_height").value == pytest.approx(
        plain.figure("face_height").value, abs=1e-9
    )


def test_what_is_open_is_counted_and_the_cure_is_named() -> None:
    """Faces at one turn and the bore at one depth: lean and slope of the face are one."""
    unit = unit_of()
    places = ((60, 0), (-60, 0), (0, 50))
    rows = [unit.face(t, 0, x, y) for t in (90, -90, 0) for x, y in places]
    rows += [unit.bore(0, c) for c in (0, 90, 180, 270)]
    found = ask(cell_of(rows))
    fixed = found.figure("unknowns_fixed")
    assert (fixed.value, fixed.limit) == (11, 13)
    told = next(words for words in found.assumed if words.startswith("11 of 13"))
    assert "worst part point can be" in told
    assert "bring it to" in told or "brings it to" in told
    assert len(table(found, "not_told").rows) == 2
    assert "unknowns_fixed" not in {item.name for item in ask(cell_of(unit.full())).figures}


def test_a_bad_row_stands_with_its_reason_and_what_it_would_have_to_be() -> None:
    unit = unit_of()
    rows = list(unit.full())
    x, y, z = rows[2].position_mm
    rows[2] = replace(rows[2], position_mm=(x, -y, z))
    found = ask(cell_of(rows))
    (bad,) = table(found, "bad_readings").rows
    assert bad[0] == str(rows[2].row)
    assert "wrong sign" in str(bad[2])
    assert bad[3] == f"Y {y:.3f} mm"
    assert "next_readings" not in names(found), "no plan beside a wrong reading"


def test_few_readings_widen_the_factor_and_many_do_not() -> None:
    unit = unit_of()
    found = ask(cell_of(unit.full()))
    factor = found.figure("coverage_factor").value
    assert factor is not None
    assert 2.0 <= factor < 2.3
    assert "degrees of freedom" in found.figure("coverage_factor").note


def test_index_errors_widen_what_hangs_on_them() -> None:
    unit = unit_of()
    rows = [replace(one, seat=i) for i, one in enumerate(unit.full())]
    sure = ask(cell_of(rows))
    unsure = ask(cell_of(rows, tilt_index_u=Amount(2e-4), rotary_index_u=Amount(2e-4)))
    before, after = (a.figure("tilt_z").plus_minus for a in (sure, unsure))
    assert before is not None
    assert after is not None
    assert after > 1.3 * before


def test_a_scale_that_is_asked_for_is_found() -> None:
    unit = unit_of()
    one = cell_of(unit.full(), include=("clocking", "mill"))
    fit = Findings(one).line_study.fit
    assert fit is not None
    assert {"mill_scale_x", "mill_square_yz", "rotary_zero"} <= set(fit.optional)
    assert fit.parameters != Findings(cell_of(unit.full())).line_study.fit.parameters  # type: ignore[union-attr]


def test_a_warm_shop_is_told_and_a_steady_one_is_not() -> None:
    rows = [replace(one, temperature_c=20.0) for one in unit_of().full()]
    steady = ask(cell_of(rows))
    assert not any("temperature" in words for words in (*steady.cautions, *steady.assumed))
    rows[-1] = replace(rows[-1], temperature_c=23.5)
    warm = ask(cell_of(rows))
    assert "went by 3.5 K" in warm.cautions[0]


def test_the_miss_is_signed_in_the_notation_of_machines() -> None:
    found = ask(cell_of(unit_of().full()))
    last = table(found, "iso_230_7").rows[-1]
    assert str(last[0]).startswith("EY0")
    assert isinstance(last[2], float)
    assert last[2] == pytest.approx(TRUE[5] - TRUE[0], abs=0.02), "negative: not a distance"


SINGLE = """\
[shop]
units = "mm"
[unit]
kind = "rotary only"
platter_diameter = "200 mm"
[placement]
yaw = "0 deg"
[control]
rotary_letter = "A"
rotary_sense = 1
[readings]
file = "r.csv"
ball_diameter = "6 mm"
compensated = false
reading_u = "0.004 mm"
"""
PIN = """\
what,A_deg,toward,x_mm,y_mm,z_mm
pin,0,Y+,30,-111.02,55.0
pin,0,Y-,30,-88.98,55.0
pin,0,Z-,30,-100.00,66.031
pin,180,Y+,30,-111.01,55.0
pin,180,Y-,30,-88.99,55.0
pin,180,Z-,30,-100.00,66.009
pin,0,Y+,60,-111.02,55.0
pin,0,Y-,60,-88.98,55.0
pin,0,Z-,60,-100.00,66.030
pin,180,Z-,60,-100.00,66.010
platter face,0,X-,13.0,-100,55
"""


def test_a_single_axis_is_found_and_drawn() -> None:
    loaded = load_text(SINGLE, readings=lambda name, at: PIN)
    assert loaded.cell is not None, loaded.faults
    found = ask(loaded.cell)
    assert found.figure("rotary_y").value == pytest.approx(-100.0, abs=0.01)
    assert found.figure("rotary_z").value == pytest.approx(55.0, abs=0.01)
    assert [picture.name for picture in found.pictures] == ["lines", "residuals"]
    for picture in found.pictures:
        ET.fromstring(picture.svg)
    assert "times too large" in found.pictures[0].svg


def test_pictures_say_how_much_is_enlarged_and_mark_the_bad_row() -> None:
    rows = list(unit_of().full())
    x, y, z = rows[12].position_mm
    rows[12] = replace(rows[12], position_mm=(x, y + 0.08, z))
    found = ask(cell_of(rows))
    lines, residuals = found.pictures
    assert "times too large" in lines.svg
    assert "from above" in lines.svg
    assert f"line {rows[12].row}" in residuals.svg


def test_rows_of_one_seat_share_its_error_and_so_show_it() -> None:
    """Touches far apart on one face show the tilt error that they share."""
    rows = [row_of(one) for one in unit_of().full()]
    one = cell_of([], tilt_index_u=Amount(2e-4))
    apart = tuple(replace(row, seat=i) for i, row in enumerate(rows))
    poses = [(row.tilt_rad, row.rotary_rad) for row in rows]
    together = tuple(replace(row, seat=poses.index(poses[i])) for i, row in enumerate(rows))
    alone, shared = (
        ask(replace(one, touches=some)).figure("tilt_z").plus_minus for some in (apart, together)
    )
    assert alone is not None
    assert shared is not None
    assert alone > 1.5 * shared
