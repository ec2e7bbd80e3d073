"""Strips to plot on: limits and lines share one scale, and mistakes are refused."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gudgeon.drawing.strip import LINES, Strip, scale_step, strips

SVG = "{http://www.w3.org/2000/svg}"


def strokes(svg: str, width: str) -> list[tuple[float, float, float, float]]:
    found = []
    for path in ET.fromstring(svg).iter(f"{SVG}path"):
        numbers = [float(one) for one in re.findall(r"-?[\d.]+", path.get("d", ""))]
        if path.get("stroke-width") == width and len(numbers) == 4:
            found.append((numbers[0], numbers[1], numbers[2], numbers[3]))
    return found


@given(st.floats(1e-4, 1e3), st.floats(0.1, 10.0))
def test_limits_lie_where_the_scale_says(limit: float, skew: float) -> None:
    svg = strips("s", [Strip("X", -limit, 0.0, skew * limit, "mm", 3)], 5)
    bold = sorted(y for _, y, _, other in strokes(svg, "2.4") if y == other)
    ((_, middle, _, _),) = strokes(svg, "1")
    assert len(bold) == 2
    assert (middle - bold[0]) / (bold[1] - middle) == pytest.approx(skew, rel=0.02, abs=0.02)


@given(st.floats(1e-6, 1e6))
def test_the_step_is_round_and_not_too_fine(span: float) -> None:
    step = scale_step(span)
    digit = float(f"{step:e}".split("e")[0])
    assert round(digit, 9) in (1.0, 2.0, 5.0)
    assert span / step <= LINES * (1.0 + 1e-6)
    assert span / step > LINES / 2.6


def test_readings_before_are_dots_and_those_off_the_strip_are_left_out() -> None:
    row = Strip("X", -1.0, 0.0, 1.0, "mm", 3, (0.5, 9.0, -0.5))
    root = ET.fromstring(strips("s", [row], 4))
    dots = [(float(c.get("cx", "")), float(c.get("cy", ""))) for c in root.iter(f"{SVG}circle")]
    assert len(dots) == 2
    assert dots[0][0] < dots[1][0]
    assert dots[0][1] < dots[1][1]  # y points down


@pytest.mark.parametrize("limits", [(0.0, 0.0, 1.0), (-1.0, 1.0, 1.0), (1.0, 0.0, -1.0)])
def test_limits_must_enclose_the_middle(limits: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="strip X"):
        strips("s", [Strip("X", *limits, "mm", 3)], 5)
