"""Days that lie far from all others: slips found, and honest records left in peace."""

from __future__ import annotations

from datetime import date
from itertools import accumulate
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from gudgeon.cell.day_store import add_rows, store_beside
from gudgeon.cell.days import read_days, read_made
from gudgeon.cell.files import load
from gudgeon.cell.model_drift import DayRow
from gudgeon.cell.odd_days import odd_days
from gudgeon.faces.day import keep

START = date(2026, 3, 2).toordinal()
MORNINGS = [START + i for i in range(20)]


@given(st.lists(st.integers(0, 60), min_size=1, max_size=40), st.booleans())
def test_a_record_without_long_pauses_is_left_in_peace(gaps: list[int], newest: bool) -> None:
    days = [START + day for day in accumulate(gaps)]
    assert odd_days(days[::-1] if newest else days) == ()


@given(st.integers(0, 19), st.sampled_from([-36, -1, 1, 10, 36]), st.booleans())
def test_a_slip_of_the_year_is_found_wherever_it_stands(at: int, years: int, newest: bool) -> None:
    days = list(MORNINGS)
    days[at] = date(2026 + years, 3, 2).toordinal() + at
    if newest:
        days.reverse()
        at = 19 - at
    assert odd_days(days) == (at,)


def test_a_slip_of_the_month_shows_between_its_neighbours() -> None:
    days = list(MORNINGS)
    days[7] = date(2026, 8, 9).toordinal()
    assert odd_days(days) == (7,)
    # Last in the record it may as well be the first day after a holiday.
    assert odd_days([*MORNINGS, date(2026, 8, 9).toordinal()]) == ()


def test_all_rows_of_a_day_typed_wrongly_are_found() -> None:
    days = [day for day in MORNINGS for _ in range(2)]
    days[10] = days[11] = START + 36 * 365
    assert odd_days(days) == (10, 11)


def test_two_seasons_are_no_slip() -> None:
    again = [day + 400 for day in MORNINGS]
    assert odd_days([*MORNINGS, *again]) == ()
    assert odd_days([*MORNINGS[:3], *again]) == ()
    # Two rows a year apart: nothing says which of them is wrong.
    assert odd_days([START, START + 400]) == ()
    assert odd_days([]) == ()


def rows(days: list[int]) -> list[DayRow]:
    return [
        DayRow(0, day, True, "", "", (1.0 + i / 1000.0, 2.0, 3.0), None, None)
        for i, day in enumerate(days)
    ]


def shop(folder: Path, days: list[int] | None = None) -> Path:
    path = folder / "cell.toml"
    text = '[shop]\nunits = "mm"\n'
    if days is not None:
        text += '[drift]\ndays = "days.csv"\n'
        lines = [f"{date.fromordinal(day).isoformat()},{i},2,3" for i, day in enumerate(days)]
        (folder / "days.csv").write_text("\n".join(["date,x,y,z", *lines]))
    path.write_text(text)
    return path


def test_the_store_is_judged_too_and_with_the_table(tmp_path: Path) -> None:
    path = shop(tmp_path)
    add_rows(store_beside(path), rows([*MORNINGS, START + 36 * 365]), "")
    (fault,) = load(path).faults
    assert fault.code == "K087"
    assert fault.level == "warning"
    assert "2062-" in fault.what
    assert fault.places[0].note == "row 21"
    # One row in the table, alone there; beside those of the store it is told.
    (tmp_path / "both").mkdir()
    path = shop(tmp_path / "both", [START + 36 * 365])
    assert load(path).faults == ()
    add_rows(store_beside(path), rows(MORNINGS), "")
    (fault,) = load(path).faults
    assert (fault.places[0].file, fault.places[0].line) == ("days.csv", 2)


def test_what_the_table_tells_is_not_told_again_beside_the_store(tmp_path: Path) -> None:
    path = shop(tmp_path, [*MORNINGS, START + 36 * 365])
    add_rows(store_beside(path), rows(MORNINGS), "")
    assert [fault.code for fault in load(path).faults] == ["K087"]


def test_the_command_says_so_as_the_row_is_kept(tmp_path: Path) -> None:
    path = shop(tmp_path)
    add_rows(store_beside(path), rows(MORNINGS), "")
    cell = load(path).cell
    assert cell is not None
    told = keep(cell, path, ["x=1", "y=2", "z=3", "day=2062-03-25"], None)
    assert "kept:" in told
    assert "the day 2062-03-25 lies 36.0 years after" in told
    assert "--correct 21" in told
    cell = load(path).cell
    assert cell is not None
    right = keep(cell, path, ["day=2026-03-25"], 21)
    assert "years" not in right
    assert load(path).faults == ()


def test_a_table_that_is_kept_at_once_tells_it_too(tmp_path: Path) -> None:
    path = shop(tmp_path)
    cell = load(path).cell
    assert cell is not None
    table = tmp_path / "more.csv"
    days = [*MORNINGS, START + 36 * 365]
    lines = [f"{date.fromordinal(day).isoformat()},{i},2,3" for i, day in enumerate(days)]
    table.write_text("\n".join(["date,x,y,z", *lines]))
    assert "35.9 years" in keep(cell, path, [str(table)], None)


def test_days_of_production_and_day_numbers() -> None:
    made = "date,first,last\n" + "".join(
        f"{date.fromordinal(day).isoformat()},{i},{i}\n" for i, day in enumerate(MORNINGS)
    )
    assert read_made(made, "made.csv")[1] == []
    assert [f.code for f in read_made(made + "2062-03-30,99,99\n", "made.csv")[1]] == ["K087"]
    # Plain day numbers say nothing about years.
    numbers = "day,x_mm\n1,1\n2,1.1\n3,1.2\n900,1.3\n"
    assert read_days(numbers, "d.csv", "mm")[1] == []
