"""A table of readings grows row by row and keeps its own form."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.cell.readings_grow import RowError, head_and_rows, with_row, without_last

DEMO = Path(__file__).parents[2] / "demo"
TABLE = (DEMO / "alder-ford-readings.csv").read_text(encoding="utf-8")


def test_a_row_is_added_by_the_names_of_the_columns() -> None:
    new = with_row(TABLE, {"name": "n1", "what": "bore", "x_mm": "-379.9", "y_mm": "-215"})
    assert new == TABLE + "n1,bore,,,,-379.9,-215,\n"
    assert without_last(new) == TABLE


def test_decimal_commas_line_ends_and_a_missing_last_one_are_kept() -> None:
    old = "\ufeffid;kind;x_mm\r\na;bore;1,25"
    new = with_row(old, {"id": "b; c", "x_mm": "-3,5"})
    assert new == '\ufeffid;kind;x_mm\r\na;bore;1,25\r\n"b; c";;-3,5\r\n'
    assert head_and_rows(new) == (
        ["id", "kind", "x_mm"],
        [["a", "bore", "1,25"], ["b; c", "", "-3,5"]],
    )
    assert without_last(new) == "\ufeffid;kind;x_mm\r\na;bore;1,25\r\n"


def test_a_decimal_comma_becomes_a_point_where_commas_part_the_cells() -> None:
    new = with_row("id,what,x_mm\n", {"id": "1,5a", "x_mm": "-379,9"})
    assert new == 'id,what,x_mm\n"1,5a",,-379.9\n'


def test_remarks_and_cells_over_several_lines_are_kept() -> None:
    old = '# ours\nid,remark\na,"two\nlines"\n# end\n'
    assert without_last(old) == "# ours\nid,remark\n# end\n"
    assert without_last(with_row(old, {"id": "b"})) == old


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        (TABLE, {"x": "1"}, "is no column"),
        (TABLE, {"name": "a\nb"}, "one line"),
        (TABLE, {"name": " "}, "the row is empty"),
        (TABLE, {"name": "# a"}, "taken for a remark"),
        ("", {"name": "a"}, "no first row"),
    ],
)
def test_what_is_no_row_is_refused(text: str, row: dict[str, str], words: str) -> None:
    with pytest.raises(RowError, match=words):
        with_row(text, row)


def test_the_head_is_never_taken_back() -> None:
    with pytest.raises(RowError, match="no row"):
        without_last("id,x_mm\n# none yet\n")


cells = st.text(st.characters(exclude_categories=["C", "Z"]), max_size=8)


@given(
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
    st.lists(st.fixed_dictionaries({"id": cells, "what": cells, "x_mm": cells}), max_size=5),
)
def test_rows_come_back_as_they_were_added(
    separator: str, ending: str, rows: list[dict[str, str]]
) -> None:
    head = separator.join(["id", "what", "x_mm"]) + ending
    text, texts = head, []
    for row in rows:
        try:
            texts.append(text)
            text = with_row(text, row)
        except RowError:
            texts.pop()
    point = re.compile(r"^([+-]?\d+),(\d+)$")
    wanted = [[row["id"], row["what"], row["x_mm"]] for row in rows]
    if separator == ",":
        wanted = [[point.sub(r"\1.\2", cell) for cell in row] for row in wanted]
    kept = [row for row in wanted if any(row) and not row[0].startswith("#")]
    assert head_and_rows(text) == (["id", "what", "x_mm"], kept)
    for old in reversed(texts):
        text = without_last(text)
        assert text == old
