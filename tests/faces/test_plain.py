"""The terminal's text: stored prints, 80 columns, pure ASCII, nothing dropped."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.answer import Answer, Column, Figure, Missing, Picture, Table, Verdict
from gudgeon.faces.plain import WIDTH, answer_text, in_short, rule
from tests.faces.samples import ANSWERS, ASKS

GOLDEN = Path(__file__).with_name("golden")


def stored(name: str, text: str) -> str:
    """Return the stored text; with GUDGEON_GOLDEN=write it is written anew."""
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("GUDGEON_GOLDEN") == "write":
        path.write_text(text, encoding="ascii", newline="\n")
    return path.read_text(encoding="ascii")


@pytest.mark.parametrize("answer", ANSWERS, ids=lambda answer: answer.question)
def test_an_answer_prints_as_stored(answer: Answer) -> None:
    text = answer_text(answer, ASKS[answer.question])

    assert text == stored(answer.question, text)


def test_the_summary_prints_as_stored() -> None:
    text = in_short(ANSWERS, ["axes"])

    assert text == stored("in_short", text)


def test_a_wide_table_loses_no_column_and_no_word() -> None:
    fits = next(answer for answer in ANSWERS if answer.question == "fits")
    words = answer_text(fits, ASKS["fits"]).split()
    table = fits.table("placements")

    for column in table.columns:
        assert all(word in words for word in column.label.split())
    for row in table.rows:
        for entry in row:
            if isinstance(entry, str):
                assert all(word in words for word in entry.split())


def test_of_a_very_long_table_the_first_rows_are_printed_and_the_others_counted() -> None:
    fits = next(answer for answer in ANSWERS if answer.question == "fits")
    rows = tuple((f"block{k}",) for k in range(10_000))
    table = Table("blocks", "Blocks", (Column("block", "Block"),), rows)
    text = answer_text(replace(fits, tables=(table,)), ASKS["fits"])
    assert "block59" in text and "block60" not in text
    assert "9940 more rows" in " ".join(text.split()) and "--json" in text


any_text = st.text(max_size=60) | st.sampled_from(
    ["x" * 200, "\x1b[2J" * 9, "a-b " * 40, "\u2028line", ""]
)
some_text = any_text.filter(bool)
numbers = st.none() | st.floats(allow_nan=True, allow_infinity=True) | st.integers(-(10**9), 10**9)
figures = st.builds(
    lambda label, value, unit, spread, limit, kind, note: Figure(
        "f", label, value, unit, spread, limit, kind if limit is not None else None, note
    ),
    some_text,
    numbers,
    st.sampled_from(["mm", "", "EUR", "N*m"]) | any_text,
    st.none() | st.floats(0, 1e9),
    numbers,
    st.sampled_from(["max", "min"]),
    any_text,
)
columns = st.lists(st.tuples(any_text, st.sampled_from(["", "mm", "deg"])), min_size=0, max_size=14)


@st.composite
def tables(draw: st.DrawFn) -> Table:
    heads = tuple(Column(f"c{i}", label, unit) for i, (label, unit) in enumerate(draw(columns)))
    entry = any_text | numbers | st.booleans()
    row = st.tuples(*(entry for _ in heads))
    return Table("t", draw(some_text), heads, tuple(draw(st.lists(row, max_size=4))))


answers = st.builds(
    lambda verdict, headline, step, figure, table, flips, missing, notes: Answer(
        question="turns",
        verdict=verdict,
        headline=headline,
        next_step=step,
        figures=(figure,),
        tables=(table,),
        pictures=(Picture("p", headline, "<svg/>"),),
        flips=flips,
        fix=flips,
        assumed=tuple(notes),
        missing=(missing,),
        cautions=tuple(notes),
        sources=tuple(notes),
    ),
    st.sampled_from(list(Verdict)),
    some_text,
    some_text,
    figures,
    tables(),
    st.none() | any_text,
    st.builds(Missing, any_text, any_text, any_text, any_text),
    st.lists(any_text, max_size=3),
)


@settings(max_examples=150, deadline=None)
@given(answers, any_text)
def test_whatever_is_said_fits_80_columns_of_ascii(answer: Answer, asks: str) -> None:
    text = answer_text(answer, asks) + in_short([answer], [asks])

    for line in text.split("\n"):
        assert len(line) <= WIDTH
        assert all(" " <= char <= "~" for char in line)
        assert line == line.rstrip()


def test_sections_without_content_are_left_out() -> None:
    text = answer_text(Answer("turns", Verdict.YES, "It holds.", "Cut."), "Holds it?")

    assert not re.search("figures|table|missing|caution|assumed|sources|flip|cheapest", text)


def test_the_headline_is_not_said_twice_in_the_summary() -> None:
    said = Answer("pays", Verdict.YES, "Yes, it pays.", "Order.")
    unsaid = Answer("pays", Verdict.YES, "It pays.", "Order.")
    not_said = Answer("turns", Verdict.NO, "Not surely enough.", "Touch again.")
    condition = Answer("axes", Verdict.YES_IF, "A is the tilt.", "Run the test.")

    assert "Yes, it pays." in in_short([said]) and "Yes: Yes" not in in_short([said])
    assert "Yes: It pays." in in_short([unsaid])
    assert "No: Not surely enough." in in_short([not_said])
    assert "Yes, with a condition: A is the tilt." in in_short([condition])


def test_a_rule_is_as_wide_as_the_page() -> None:
    assert len(rule("turns", "YES")) == WIDTH
    assert len(rule("x" * 200, "YES")) == WIDTH


def test_a_brief_print_shows_the_figure_nearest_its_limit() -> None:
    figures = [Figure(f"f{i}", f"figure {i}", 1.0, "mm") for i in range(6)]
    figures.append(Figure("far", "far off", 10.0, "N", None, 100.0, "max"))
    figures.append(Figure("near", "nearest", 80.0, "N*m", None, 100.0, "max"))
    figures.append(Figure("count", "a mere count", 4.0, "", None, 4.0, "min"))
    answer = replace(ANSWERS[0], figures=tuple(figures))
    text = answer_text(answer, "How?", brief=True)
    shown = [
        name for name in ("figure 0", "figure 2", "figure 3", "far off", "nearest") if name in text
    ]

    assert shown == ["figure 0", "figure 2", "nearest"]
    assert "a mere count" not in text
