"""The chart of residuals: one mark a reading, bad ones filled and named, none off the sheet."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.drawing.residuals import Residual, residual_plot

GROUPS = ("face", "bore", "pin", "ball", "level", "other")


def rows(*values: float, bad: int = -1) -> list[Residual]:
    return [Residual(i + 2, value, "face", i == bad) for i, value in enumerate(values)]


def heights(svg: str) -> list[float]:
    return [float(y) for y in re.findall(r'<circle [^>]*cy="([^"]+)" r="4.2"', svg)][:-1]


def test_a_mark_stands_as_high_as_its_residual() -> None:
    zero, one, minus = heights(residual_plot("r", rows(0.0, 1.0, -2.0)))
    assert one < zero < minus
    assert (minus - zero) == pytest.approx(2.0 * (zero - one), abs=0.05)


def test_only_the_bad_one_is_filled_and_named() -> None:
    svg = residual_plot("r", rows(0.1, 2.7, -0.4, bad=1))
    assert "line 3" in svg
    assert "line 2" not in svg
    assert svg.count('r="4.2"') == 4
    assert len(re.findall(r'r="4.2"[^>]*fill="currentColor"', svg)) == 1


def test_what_lies_far_out_stands_at_the_edge_with_its_number() -> None:
    svg = residual_plot("r", rows(0.0, 31.7))
    assert "line 3: 32" in svg
    assert min(heights(svg)) > 30.0


def test_a_residual_that_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError):
        residual_plot("r", rows(0.0, math.nan))


@given(
    st.lists(st.tuples(st.floats(-1e6, 1e6), st.sampled_from(GROUPS), st.booleans()), max_size=70)
)
def test_any_readings_give_a_drawing_that_stays_on_its_sheet(
    drawn: list[tuple[float, str, bool]],
) -> None:
    items = [Residual(i + 2, value, group, bad) for i, (value, group, bad) in enumerate(drawn)]
    svg = residual_plot("r", items)
    ET.fromstring(svg)
    for x in re.findall(r'<circle cx="([^"]+)"', svg):
        assert 0.0 <= float(x) <= 720.0
    assert residual_plot("r", items) == svg
