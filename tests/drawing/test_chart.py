"""Charts: round ticks, values at their true place, labels at the lines."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.drawing.chart import Bars, Chart

SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> dict[str, tuple[float, float]]:
    spans = ET.fromstring(svg).iter(SVG + "tspan")
    return {s.text or "": (float(s.get("x", "nan")), float(s.get("y", "nan"))) for s in spans}


def polylines(svg: str) -> list[np.ndarray]:
    paths = [p.get("d", "") for p in ET.fromstring(svg).iter(SVG + "path")]
    return [np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", d), dtype=float) for d in paths]


def test_a_curve_passes_the_ticks_of_its_values() -> None:
    """The curve y = 2 x through (0, 0) and (10, 20) stands at the ticks 0 and 10, 0 and 20."""
    svg = Chart("c", "x", "y").curve([0, 10], [0, 20], "double").svg()
    curve = next(
        p for p in polylines(svg) if len(p) == 2 and np.all(np.abs(np.diff(p, axis=0)) > 9)
    )
    places = texts(svg)

    assert curve[1, 0] == pytest.approx(places["10"][0], abs=0.05)
    assert places["20"][1] - curve[1, 1] == pytest.approx(0.34 * 11.0, abs=0.05)
    assert curve[0, 1] > curve[1, 1]


def test_a_level_far_off_is_still_shown() -> None:
    svg = Chart("c", "x", "y").curve([0, 1], [1, 2], "load").level(100, "rated").svg()

    assert "rated" in texts(svg)
    assert "100" in texts(svg)


def test_a_gap_breaks_the_curve() -> None:
    whole = Chart("c", "x", "y").curve([0, 1, 2, 3, 4], [0, 1, 2, 1, 0], "").svg()
    broken = Chart("c", "x", "y").curve([0, 1, 2, 3, 4], [0, 1, math.nan, 1, 0], "").svg()

    assert whole.count('stroke-width="2.4"') == 1
    assert broken.count('stroke-width="2.4"') == 2


def test_nothing_to_draw_says_so() -> None:
    assert "nothing to draw yet" in Chart("c", "x", "y").curve([], [], "none").svg()


def test_angles_are_ticked_in_shares_of_a_right_angle() -> None:
    svg = Chart("c", "tilt [deg]", "torque").curve([-110, 30], [0, 1], "t").svg()

    assert {"-90", "-60", "-30", "0", "30"} <= set(texts(svg))


def test_columns_of_unequal_length_are_refused() -> None:
    with pytest.raises(ValueError, match="columns of"):
        Chart("c", "x", "y").curve([1, 2], [1], "a")
    with pytest.raises(ValueError, match="columns of"):
        Chart("c", "x", "y").band([1, 2], [1, 2], [1], "a")


def test_a_band_lies_between_its_edges() -> None:
    svg = Chart("c", "x", "y").band([0, 1], [1, 1], [3, 3], "range").curve([0, 1], [0, 4], "").svg()
    area = next(p for p in polylines(svg) if len(p) == 4)
    unit = (texts(svg)["0"][1], texts(svg)["4"][1])

    assert np.ptp(area[:, 1]) > 0
    assert unit[1] < area[:, 1].min() < area[:, 1].max() < unit[0]


def test_curve_labels_stand_at_their_ends_and_apart() -> None:
    chart = Chart("c", "x", "y")
    for label in ("full", "half", "empty"):
        chart.curve([0, 1], [0, 1], label, "thin")
    places = [texts(chart.svg())[label] for label in ("full", "half", "empty")]

    assert len({x for x, _ in places}) == 1
    heights = sorted(y for _, y in places)
    assert min(np.diff(heights)) >= 11.0


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.floats(-1e9, 1e9) | st.just(math.nan) | st.just(math.inf), max_size=12),
    st.floats(-1e6, 1e6),
    st.text(max_size=60),
)
def test_any_values_give_a_readable_chart(ys: list[float], level: float, label: str) -> None:
    svg = Chart("c", label, label).curve(range(len(ys)), ys, label).level(level, label).svg()
    bars = Bars("b", label)
    for y in ys:
        bars.row(label, y, level, 0.0)

    for text in (svg, bars.upright(level, label).svg()):
        root = ET.fromstring(text)
        assert "nan" not in text.lower().replace(label.lower(), "") or "nan" in label.lower()
        assert float(root.get("width", "0")) == 720


@settings(deadline=None)
@given(st.floats(-1e7, 1e7), st.floats(1e-6, 1e7))
def test_ticks_are_evenly_spaced_and_distinct(low: float, span: float) -> None:
    svg = Bars("b", "value").row("r", low, low + span).svg()
    words = [w for w in texts(svg) if re.fullmatch(r"-?[\d,]+(\.\d+)?", w)]
    values = sorted(float(w.replace(",", "")) for w in words)

    assert 2 <= len(values) <= 14
    steps = np.diff(values)
    assert steps.max() - steps.min() <= 1e-6 * max(1.0, np.abs(values).max()) + 0.02 * steps.max()


def test_a_bar_spans_low_to_high_in_either_order() -> None:
    one = Bars("b", "EUR").row("rate", -100, 300, 50).svg()
    other = Bars("b", "EUR").row("rate", 300, -100, 50).svg()
    places = texts(one)
    box = next(p for p in polylines(one) if len(p) == 4)

    assert one == other
    assert box[:, 0].min() == pytest.approx(places["-100"][0], abs=0.05)
    assert box[:, 0].max() == pytest.approx(places["300"][0], abs=0.05)


def test_the_words_of_a_mark_stand_where_they_cover_no_curve() -> None:
    """A rising curve leaves room below and to the right, a falling one above."""
    for ys, sign in (([0.0, 10.0], 1.0), ([10.0, 0.0], -1.0)):
        svg = Chart("c", "x", "y").curve([0, 10], ys, "").mark(3, np.interp(3, [0, 10], ys), "here")
        drawn = svg.svg()
        ring = next(ET.fromstring(drawn).iter(SVG + "circle"))
        assert sign * (texts(drawn)["here"][1] - float(ring.get("cy", "nan"))) > 0.0
