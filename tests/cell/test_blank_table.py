"""A table of readings to be taken: read back as it was named, filled in wholly or in part."""

from __future__ import annotations

import csv
import io
import math

import pytest

from gudgeon.cell.blank_table import RowToRead, blank_cells, blank_table
from gudgeon.cell.files import load_text
from gudgeon.cell.model import Cell

ROWS = (
    RowToRead("touch", "face", "Y-", math.pi / 2, 0.0, near_mm=(150.0, math.nan, -404.25)),
    RowToRead("sweep", "face", "Z-", 0.0, math.pi, "sweep 1"),
    RowToRead("sweep", "face", "Z-", 0.0, 1.5 * math.pi, "sweep 1"),
    RowToRead("bore", "bore", "", 0.0, math.radians(33.125)),
    RowToRead("ball", "ball 1", "", -math.pi / 4, 0.0),
    RowToRead("level", "level", "X+", 0.0, math.pi / 2),
)
HEAD = (
    '[control]\ntilt_letter = "A"\nrotary_letter = "C"\n[readings]\nfile = "r.csv"\n'
    'ball_diameter = "6 mm"\ncompensated = false\nreading_u = "3 um"\nlevel_u = "4 arcsec"\n'
)


def cell_of(units: str, table: str = "", more: str = "") -> tuple[Cell, list[str]]:
    text = f'[shop]\nunits = "{units}"\n{more}{HEAD}'
    loaded = load_text(text, readings=lambda name, at: table) if table else load_text(text)
    assert loaded.cell is not None, loaded.faults
    return loaded.cell, [fault.code for fault in loaded.faults]


def filled(table: str, rows: range) -> str:
    """Type a value into every blank of some rows, as a person would."""
    head, *body = csv.reader(io.StringIO(table))
    blanks = [i for i, name in enumerate(head) if name[:2] in ("x_", "y_", "z_", "di", "an")]
    for row in rows:
        for place in blanks:
            body[row][place] = f"{row + 1}.{place}"
    out = io.StringIO()
    csv.writer(out).writerows([head, *body])
    return out.getvalue()


@pytest.mark.parametrize("units", ["mm", "in"])
def test_filled_in_it_is_read_as_it_was_named(units: str) -> None:
    cell, _ = cell_of(units)
    table = blank_table(ROWS, cell)
    read, codes = cell_of(units, filled(table, range(len(ROWS))))
    assert codes == []
    size = 25.4 if units == "in" else 1.0
    for row, touch in zip(ROWS, read.touches, strict=True):
        assert (touch.kind, touch.feature, touch.toward) == (row.kind, row.feature, row.toward)
        assert touch.tilt_rad == pytest.approx(row.tilt_rad, abs=1e-10)
        assert touch.rotary_rad == pytest.approx(row.rotary_rad, abs=1e-10)
        assert touch.zero == row.zero
    assert read.touches[0].position_mm[1] == pytest.approx(1.7 * size)
    assert read.touches[1].dial_mm == pytest.approx(2.9 * size)
    assert read.touches[5].angle_rad == pytest.approx(6.11e-3)


def test_half_filled_it_is_read_as_far_as_it_goes() -> None:
    cell, _ = cell_of("mm")
    read, codes = cell_of("mm", filled(blank_table(ROWS, cell), range(3)))
    assert codes == ["K029"]
    assert [touch.kind for touch in read.touches] == ["touch", "sweep", "sweep"]


def test_columns_only_where_a_row_needs_them() -> None:
    cell, _ = cell_of("mm")
    names = [name for name, _ in blank_cells(ROWS[:1], cell)[0]]
    assert "dial_mm" not in names
    assert "angle_mm/m" not in names
    assert blank_cells(ROWS[:1], cell)[1][0][-1] == "near X 150.0 Z -404.2"
    single, _ = cell_of("in", more='[unit]\nkind = "rotary only"\n')
    assert "A_deg" not in [name for name, _ in blank_cells(ROWS[:1], single)[0]]
