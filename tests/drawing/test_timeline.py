"""Bars over time: to scale, told apart by fill, legible ticks."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from gudgeon.drawing.timeline import Timeline


def words_of(svg: str) -> list[str]:
    return [node.text for node in ET.fromstring(svg).iter() if node.text and node.text.strip()]


def widths(svg: str) -> list[float]:
    boxes = re.findall(r'<path d="M([\d.]+) ([\d.]+) L([\d.]+) \2 L\3 ([\d.]+) L\1 \4Z"', svg)
    return [float(b[2]) - float(b[0]) for b in boxes if float(b[3]) - float(b[1]) == 20.0]


def test_bars_are_as_long_as_their_times() -> None:
    line = Timeline("t").bar("T1", 0.0, 30.0).bar("T2", 30.0, 90.0)
    short, long = widths(line.svg())
    assert long / short == pytest.approx(2.0, rel=2e-3)


def test_rows_stand_in_the_order_in_which_they_came() -> None:
    words = words_of(Timeline("t").row("T3").bar("T1", 0, 1).bar("T3", 1, 2).svg())
    assert words.index("T3") < words.index("T1")


@pytest.mark.parametrize(
    ("end", "unit", "ticks"),
    [(9.0, "s", ["0", "5"]), (300.0, "s", ["0", "30"]), (4000.0, "min", ["0", "10", "20"])],
)
def test_the_axis_counts_as_a_person_does(end: float, unit: str, ticks: list[str]) -> None:
    words = words_of(Timeline("t").bar("T1", 0.0, end).svg())
    assert f"time, {unit}" in words
    assert set(ticks) <= set(words)
    assert len([word for word in words if re.fullmatch(r"[\d.]+", word)]) <= 12


def test_a_bar_too_short_to_see_is_drawn_all_the_same() -> None:
    svg = Timeline("t").bar("T1", 0.0, 36000.0).bar("T1", 36000.0, 36000.5).svg()
    assert min(widths(svg)) >= 0.5


def test_words_are_written_where_they_fit() -> None:
    svg = Timeline("t").bar("T1", 0.0, 100.0, words="7").bar("T1", 100.0, 100.1, words="8").svg()
    assert "7" in words_of(svg)
    assert "8" not in words_of(svg)


def test_kinds_are_explained() -> None:
    svg = Timeline("t").bar("a", 0, 1, fill="hatch").kind("hatch", "tool change").svg()
    assert "tool change" in words_of(svg)


def test_nothing_to_draw_is_an_empty_axis() -> None:
    assert Timeline("t").svg().startswith("<svg")


@pytest.mark.parametrize(("start", "end"), [(2.0, 1.0), (0.0, float("nan"))])
def test_a_time_that_cannot_be_is_refused(start: float, end: float) -> None:
    with pytest.raises(ValueError, match="a bar from"):
        Timeline("t").bar("a", start, end)
