"""Tables of days and the store beside the cell file."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.cell import day_store as store
from gudgeon.cell import store_file
from gudgeon.cell.days import day_of, read_days, read_made
from gudgeon.cell.model import DayRow


def row(day: int = 739000, x: float = 1.0, name: str = "ball", dated: bool = True) -> DayRow:
    return DayRow(0, day, dated, "07:05", name, (x, 2.0, None), 20.5, None, "AB", "")


def test_a_table_is_read_in_the_order_of_its_days() -> None:
    text = "\ufeffDate;check;x [mm];Y_in;t_c;u\n2026-03-04;b;1.5;2;20.5;0.003\n2026/3/2;b;;1;;\n"
    rows, faults = read_days(text, "days.csv", "mm")
    assert faults == []
    assert [one.row for one in rows] == [3, 2]
    assert rows[0].place_mm == (None, 25.4, None)
    assert rows[1].place_mm == (1.5, 50.8, None)
    assert (rows[0].temperature_c, rows[1].temperature_c) == (None, 20.5)
    assert rows[1].u_mm == 0.003
    assert rows[1].day - rows[0].day == 2


HEADED = "date,check,x_mm,y_mm\n2026-03-02,b,1.5,2\n2026-03-03,b,1.6,2\n"


@pytest.mark.parametrize(
    "text",
    [
        "# checks of the small mill; ball, new one\n" + HEADED,
        "\n # one\n# two, with; other\tmarks\n\n" + HEADED,
        "\ufeff# from a spreadsheet\r\n" + HEADED.replace("\n", "\r\n"),
        "# then semicolons, not these\n" + HEADED.replace(",", ";"),
        "sep=;\n" + HEADED.replace(",", ";"),
        HEADED.replace("2026-03-03", "# the probe was changed, see the book\n2026-03-03"),
    ],
)
def test_a_remark_before_the_head_or_between_rows_takes_no_part(text: str) -> None:
    plain, none = read_days(HEADED, "days.csv", None)
    rows, faults = read_days(text, "days.csv", None)
    assert (faults, none) == ([], [])
    assert [replace(one, row=0) for one in rows] == [replace(one, row=0) for one in plain]
    # Lines are those of the file, so that a fault points where it stands.
    lines = text.lstrip("\ufeff").splitlines()
    assert [lines[one.row - 1][:10] for one in rows] == ["2026-03-02", "2026-03-03"]


def test_what_was_made_may_begin_with_a_remark_too() -> None:
    rows, faults = read_made("# night shift, line; two\ndate,first\n2026-03-02,A1\n", "made.csv")
    assert faults == []
    assert [(one.row, one.first) for one in rows] == [(3, "A1")]


def test_day_numbers_do_but_not_among_dates() -> None:
    rows, faults = read_days("day,x,y,z,t,u\n1,1,2,3,20,0.003\n2,1,2,3.1,20,0.003\n", "f", "mm")
    assert [one.day for one in rows] == [1, 2]
    assert not faults
    assert not rows[0].dated
    _, mixed = read_days("day,x\n1,1\n2026-03-02,1\n", "f", "mm")
    assert [fault.code for fault in mixed] == ["K084"]


def test_no_number_is_ever_guessed() -> None:
    for bad in ("x", "1,5", "nan", "inf", "1e99", "--1"):
        rows, faults = read_days(f'date;x\n2026-03-02;"{bad}"\n', "f", "mm")
        assert rows == ()
        assert [fault.code for fault in faults] == ["K084"]


@given(st.text(max_size=200))
def test_any_text_ends_in_rows_or_faults(text: str) -> None:
    rows, faults = read_days(text, "f", None)
    assert rows or faults
    made, told = read_made(text, "f")
    assert made or told


def test_dates_that_are_none() -> None:
    assert day_of("2026-02-30") is None
    assert day_of("02.03.2026") is None
    assert day_of("2026-03-02 07:05") == (739677, True)


def test_what_was_made() -> None:
    rows, faults = read_made("date,serial\n2026-03-03,A7\n2026-03-02,A1\n", "made.csv")
    assert not faults
    assert [(one.first, one.last) for one in rows] == [("A1", "A1"), ("A7", "A7")]


# --- the store ----------------------------------------------------------------------------------


def test_rows_come_back_whole_and_doubles_are_told(tmp_path: Path) -> None:
    path = tmp_path / "cell.days.sqlite"
    added, double = store.add_rows(path, [row(), row(x=1.5), row()], "hash")
    assert [one.row for one in added] == [1, 2]
    assert [one.row for one in double] == [1]
    (first, second) = store.stored(path)
    assert first.row == added[0]
    assert first.cell == "hash"
    assert second.row.place_mm == (1.5, 2.0, None)


def test_a_corrected_row_stays_and_is_marked(tmp_path: Path) -> None:
    path = tmp_path / "cell.days.sqlite"
    store.add_rows(path, [row()], "h")
    new = store.correct_row(path, 1, row(x=9.0), "h")
    assert [one.corrected_by for one in store.stored(path)] == [2, None]
    assert store.stored_rows(path) == (new,)
    with pytest.raises(store.StoreError, match="corrected already, by row 2"):
        store.correct_row(path, 1, row(x=8.0), "h")
    with pytest.raises(store.StoreError, match="no row 7"):
        store.correct_row(path, 7, row(), "h")
    assert len(store.stored(path)) == 2
    # What was corrected away may come again: it is no double of a row that counts.
    added, double = store.add_rows(path, [row()], "h")
    assert (len(added), double) == (1, ())


def test_a_batch_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "cell.days.sqlite"
    store.add_rows(path, [row()], "h")
    with pytest.raises(store.StoreError, match="day number"):
        store.add_rows(path, [row(x=3.0), row(day=4, dated=False)], "h")
    assert len(store.stored(path)) == 1


def test_many_writers_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "cell.days.sqlite"

    def write(which: int) -> None:
        for i in range(8):
            store.add_rows(path, [row(x=100.0 * which + i)], "h")

    threads = [threading.Thread(target=write, args=(i,)) for i in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(store.stored(path)) == 32


def test_who_looks_for_doubles_lets_nobody_write_until_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two at once would both find no double, or stop each other: one has to wait from the start."""
    path = tmp_path / "cell.days.sqlite"
    store.add_rows(path, [row()], "h")
    plain = store._insert
    tried = []

    def between(base: sqlite3.Connection, new: DayRow, cell: str) -> int:
        # Looked for already, not yet written.
        with contextlib.closing(sqlite3.connect(path, timeout=0.0, isolation_level=None)) as other:
            try:
                other.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as problem:
                tried.append(str(problem))
        return plain(base, new, cell)

    monkeypatch.setattr(store, "_insert", between)
    store.add_rows(path, [row(x=2.0)], "h")
    store.correct_row(path, 1, row(x=3.0), "h")
    assert tried == ["database is locked"] * 2
    assert [one.corrected_by for one in store.stored(path)] == [3, None, None]


def test_a_held_store_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "cell.days.sqlite"
    store.add_rows(path, [row()], "h")
    monkeypatch.setattr(store_file, "WAIT_S", 0.05)
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(store.StoreError, match="another program holds it"):
            store.add_rows(path, [row(x=2.0)], "h")
    assert len(store.stored(path)) == 1


def test_files_that_are_no_store(tmp_path: Path) -> None:
    path = tmp_path / "cell.days.sqlite"
    path.write_bytes(b"no database at all, but long enough to look like one" * 20)
    with pytest.raises(store.StoreError, match="no store of morning checks"):
        store.stored(path)
    path.unlink()
    with contextlib.closing(sqlite3.connect(path)) as base:
        base.execute("CREATE TABLE other (x)")
    with pytest.raises(store.StoreError, match="no store"):
        store.add_rows(path, [row()], "h")
    with contextlib.closing(sqlite3.connect(path)) as base:
        base.execute(f"PRAGMA user_version = {store.VERSION + 1}")
    with pytest.raises(store.StoreError, match="later version"):
        store.stored(path)
    assert store.stored(tmp_path / "not there.sqlite") == ()
