"""Readings typed in one after the other: the table keeps its form, proposals fit its columns."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

pytest.importorskip("pydantic", reason="the extra `web` is not installed")

from gudgeon.cell.files import load
from gudgeon.cell.journal import ChangedMeanwhile, digest_of
from gudgeon.cell.model import Cell
from gudgeon.cell.readings_grow import RowError
from gudgeon.faces.web.readings import add_reading, readings_view, take_back_reading
from gudgeon.findings import Findings

DEMO = Path(__file__).parents[3] / "demo"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    for name in ("juniper-street.toml", "juniper-street-readings.csv"):
        shutil.copy(DEMO / name, tmp_path / name)
    return tmp_path / "juniper-street.toml"


def cell_of(path: Path) -> Cell:
    loaded = load(path)
    assert loaded.cell is not None, [fault.what for fault in loaded.faults]
    return loaded.cell


def test_a_row_is_added_and_taken_back(shop: Path) -> None:
    table, store = shop.with_name("juniper-street-readings.csv"), shop.parent / "s" / "e.sqlite"
    old = table.read_bytes()
    seen = digest_of(old)
    row = {
        "name": "t12",
        "what": "pin",
        "side": "Y-",
        "tilt_deg": "0",
        "rotary_deg": "90",
        "y_in": "-8,5",
    }
    add_reading(cell_of(shop), shop, store, seen, row)
    assert table.read_text(encoding="utf-8").endswith("t12,pin,Y-,0,90,,-8.5,\n")
    with pytest.raises(ChangedMeanwhile):
        add_reading(cell_of(shop), shop, store, seen, row)
    take_back_reading(cell_of(shop), shop, store, digest_of(table.read_bytes()))
    assert table.read_bytes() == old
    with pytest.raises(RowError, match="no column"):
        add_reading(cell_of(shop), shop, store, seen, {"height": "1"})
    assert table.read_bytes() == old


def test_a_proposed_row_with_its_value_filled_in_is_read_back(shop: Path) -> None:
    table, store = shop.with_name("juniper-street-readings.csv"), shop.parent / "s" / "e.sqlite"
    lines = table.read_text(encoding="utf-8").splitlines()
    table.write_text("\n".join(lines[:2]) + "\n", encoding="utf-8")  # one row: most is lacking
    first = cell_of(shop)
    view = readings_view(Findings(first), shop)
    assert view.next and view.rows == [lines[1].split(",")]
    for number, one in enumerate(view.next[:3]):
        assert set(one.row) <= set(view.columns) and one.why
        row = dict(one.row)
        row |= {axis: row.get(axis, f"-8.{number}") for axis in ("x_in", "y_in", "z_in")}
        add_reading(first, shop, store, digest_of(table.read_bytes()), row)
    # The made-up values contradict each other, but every row is read as the row that was meant.
    assert not [fault for fault in load(shop).faults if fault.code.startswith("K")]
    assert len(readings_view(Findings(first), shop).rows) == 4


def test_the_first_row_makes_the_table(shop: Path) -> None:
    text = shop.read_text(encoding="utf-8").replace('file = "juniper-street-readings.csv"', "")
    shop.write_text(text, encoding="utf-8")
    shop.with_name("juniper-street-readings.csv").unlink()
    view = readings_view(Findings(cell_of(shop)), shop)
    assert view.file is None and view.rows == [] and view.next
    row = dict(view.next[0].row) | {"x_in": "-14.3", "y_in": "-8", "z_in": "-18"}
    add_reading(cell_of(shop), shop, shop.parent / "e.sqlite", view.digest, row)
    cell = cell_of(shop)
    assert cell.readings.file == "juniper-street-readings.csv" and len(cell.touches) == 1
