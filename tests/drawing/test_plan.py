"""A plan keeps true proportions, carries a scale bar and stays plain SVG whatever is written."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.drawing.plan import Plan
from gudgeon.drawing.svg import LARGE_PX, digits, number, text_width, wrap

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '</text><script>alert("x")</script>\x1b[2J\x00 & "quoted" \ud800 \u202e'


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def marks(svg: str, tag: str) -> list[ET.Element]:
    return list(parsed(svg).iter(SVG + tag))


def points(path: ET.Element) -> np.ndarray:
    return np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", path.get("d", "")), dtype=float)


def view_box(svg: str) -> list[float]:
    return [float(part) for part in parsed(svg).get("viewBox", "").split()]


def circle_px(plan: Plan) -> tuple[float, float, float]:
    found = marks(plan.svg(), "circle")[-1]
    return tuple(float(found.get(key, "nan")) for key in ("cx", "cy", "r"))  # type: ignore[return-value]


def test_one_scale_serves_both_directions() -> None:
    plan = Plan("p", 0, 0, 1000, 300).path([(0, 0), (100, 0), (100, 100)])
    corner = points(marks(plan.svg(), "path")[0])

    assert corner[1, 0] - corner[0, 0] == pytest.approx(corner[1, 1] - corner[2, 1], abs=0.02)


def test_x_runs_right_and_y_runs_up() -> None:
    origin = circle_px(Plan("p", 0, 0, 100, 100).circle((0, 0), 1))
    right = circle_px(Plan("p", 0, 0, 100, 100).circle((50, 0), 1))
    above = circle_px(Plan("p", 0, 0, 100, 100).circle((0, 50), 1))

    assert right[0] > origin[0] and right[1] == origin[1]
    assert above[1] < origin[1] and above[0] == origin[0]


@pytest.mark.parametrize(("inch", "unit_mm", "word"), [(False, 1.0, "mm"), (True, 25.4, "in")])
@pytest.mark.parametrize("width", [3.0, 47.0, 920.0, 20_000.0])
def test_the_scale_bar_is_as_long_as_it_says(
    inch: bool, unit_mm: float, word: str, width: float
) -> None:
    """The bar is measured against a circle of known radius in the same picture."""
    plan = Plan("p", 0, 0, width, 0.5 * width, inch=inch)
    px_per_mm = circle_px(plan.circle((0, 0), 0.1 * width))[2] / (0.1 * width)
    svg = plan.svg()
    said = re.search(rf"scale bar ([\d.,]+) {word}", svg)
    assert said is not None
    length = float(said[1].replace(",", "")) * unit_mm
    bar = [p for p in marks(svg, "path") if "Z" in p.get("d", "")]
    ends = np.vstack([points(p) for p in bar])[:, 0]

    assert np.ptp(ends) / px_per_mm == pytest.approx(length, rel=0.01)
    assert 0.08 * width <= length <= 0.5 * width
    assert re.fullmatch(r"[125]0*|0\.0*[125]", said[1].replace(",", ""))


def test_a_tall_drawing_still_fits_on_a_sheet() -> None:
    _, _, wide, high = view_box(Plan("tall", 0, 0, 10, 1000).svg())

    assert high <= 1.25 * wide


def test_an_arc_runs_counter_clockwise_from_start_to_end() -> None:
    arc = points(marks(Plan("p", -2, -2, 2, 2).arc((0, 0), 1, 0, math.pi / 2).svg(), "path")[0])
    centre = np.array(circle_px(Plan("p", -2, -2, 2, 2).circle((0, 0), 1))[:2])
    radius = circle_px(Plan("p", -2, -2, 2, 2).circle((0, 0), 1))[2]

    assert arc[0] - centre == pytest.approx([radius, 0], abs=0.02)
    assert arc[-1] - centre == pytest.approx([0, -radius], abs=0.02)
    assert np.linalg.norm(arc - centre, axis=1) == pytest.approx(radius, abs=0.02)


def test_a_dimension_stands_on_the_left_of_its_way_for_a_positive_offset() -> None:
    plan = Plan("p", 0, 0, 100, 100)
    base = circle_px(Plan("p", 0, 0, 100, 100).circle((0, 50), 1))[1]
    plan.dimension((0, 50), (100, 50), "100 mm", offset_px=20)
    long = [points(p) for p in marks(plan.svg(), "path")]
    line = next(p for p in long if len(p) == 2 and np.ptp(p[:, 1]) == 0 and np.ptp(p[:, 0]) > 300)

    assert line[0, 1] == pytest.approx(base - 20, abs=0.02)


@pytest.mark.parametrize(("p", "q"), [((0, 0), (0, 90)), ((0, 90), (0, 0)), ((90, 0), (0, 0))])
def test_a_dimension_reads_from_below_or_from_the_right(
    p: tuple[float, float], q: tuple[float, float]
) -> None:
    svg = Plan("p", 0, 0, 100, 100).dimension(p, q, "90").svg()
    turned = re.search(r'rotate\((-?[\d.]+) [^)]*\)"[^>]*><tspan[^>]*>90<', svg)
    turn = float(turned[1]) if turned else 0.0

    assert -90.0 <= turn < 90.0


def test_hostile_words_are_text_and_nothing_else() -> None:
    plan = Plan(HOSTILE, 0, 0, 100, 100).text((50, 50), HOSTILE)
    plan.dimension((0, 0), (100, 0), HOSTILE).rectangle(0, 0, 9, 9, fill="hatch")
    svg = plan.svg()

    assert {element.tag.removeprefix(SVG) for element in parsed(svg).iter()} <= {
        "svg", "title", "defs", "pattern", "clipPath", "rect", "g", "path", "text", "tspan",
    }  # fmt: skip
    assert "\x1b" not in svg and "\x00" not in svg and "\u202e" not in svg
    assert "<script>" not in svg


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-50, 150), st.floats(-50, 150), st.text(max_size=80)), max_size=8),
    st.sampled_from([0, 90, -45]),
    st.sampled_from(["start", "middle", "end"]),
)
def test_labels_stay_on_the_sheet(
    labels: list[tuple[float, float, str]], turn: int, anchor: str
) -> None:
    plan = Plan("p", 0, 0, 100, 60)
    for x, y, words in labels:
        plan.text((x, y), words, turn_deg=turn, anchor=anchor)
    svg = plan.svg()
    left, top, wide, high = view_box(svg)

    assert left >= -0.01 and wide <= 720.01  # never shrunk sideways for a label
    for span in marks(svg, "tspan"):
        assert left <= float(span.get("x", "nan")) <= left + wide
        if not turn:
            assert top <= float(span.get("y", "nan")) <= top + high
            assert text_width(span.text or "", LARGE_PX) <= wide


def test_labels_at_one_place_do_not_cover_each_other() -> None:
    plan = Plan("p", 0, 0, 100, 100)
    for word in ("one", "two", "three", "four"):
        plan.text((50, 50), word)
    heights = sorted(
        float(span.get("y", "nan"))
        for span in marks(plan.svg(), "tspan")
        if span.text in ("one", "two", "three", "four")
    )

    assert all(b - a >= LARGE_PX for a, b in itertools.pairwise(heights))


def test_turned_labels_at_one_place_stand_side_by_side() -> None:
    plan = Plan("p", 0, 0, 100, 100)
    for word in ("one", "two", "three"):
        plan.text((50, 50), word, turn_deg=90)
    found = {span.text: span for span in marks(plan.svg(), "tspan")}
    places = sorted(float(found[word].get("x", "nan")) for word in ("one", "two", "three"))

    assert all(b - a >= LARGE_PX for a, b in itertools.pairwise(places))


def test_ids_carry_the_name_of_the_drawing() -> None:
    one = Plan("One plan", 0, 0, 1, 1).rectangle(0, 0, 1, 1, fill="hatch").svg()
    two = Plan("Other plan", 0, 0, 1, 1).rectangle(0, 0, 1, 1, fill="hatch").svg()
    ids = [set(re.findall(r' id="([^"]+)"', svg)) for svg in (one, two)]

    assert ids[0] and not ids[0] & ids[1]
    assert set(re.findall(r"url\(#([^)]+)\)", one)) <= ids[0]


def test_the_same_marks_give_the_same_bytes() -> None:
    def draw() -> str:
        return Plan("p", 0, 0, 9, 9).circle((1, 2), 3, fill="tint").text((1, 1), "a").svg()

    assert draw() == draw()
    plan = Plan("p", 0, 0, 9, 9)
    assert plan.svg() == plan.svg()  # asking twice draws nothing twice


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_numbers_that_are_not_finite_are_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        Plan("p", 0, 0, wrong, 1)
    with pytest.raises(ValueError, match="finite"):
        Plan("p", 0, 0, 1, 1).line((0, 0), (wrong, 1))
    with pytest.raises(ValueError, match="finite"):
        Plan("p", 0, 0, 1, 1).circle((0, 0), wrong)


@pytest.mark.parametrize("extents", [(0, 0, 0, 1), (0, 0, 1, 0), (1, 0, 0, 1)])
def test_empty_extents_are_refused(extents: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="empty"):
        Plan("p", *extents)


def test_unknown_styles_fills_and_anchors_are_refused() -> None:
    plan = Plan("p", 0, 0, 1, 1)
    with pytest.raises(ValueError, match="line style"):
        plan.line((0, 0), (1, 1), "wavy")
    with pytest.raises(ValueError, match="fill"):
        plan.circle((0, 0), 1, fill="red")
    with pytest.raises(ValueError, match="anchor"):
        plan.text((0, 0), "a", anchor="centre")


def test_everything_can_be_drawn_from_arrays() -> None:
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
    plan = Plan("p", 0, 0, 1, 1).path(corners, closed=True).line(corners[0], corners[1])
    plan.circle(corners[2], np.float64(0.1)).cross(corners[0]).arrow(corners[0], corners[2])

    assert len(marks(plan.svg(), "path")) >= 6


def test_what_lies_outside_is_cut_at_the_frame() -> None:
    svg = Plan("p", 0, 0, 100, 100).line((-5000, 50), (5000, 50)).svg()
    frame = marks(svg, "clipPath")[0][0]
    _, _, wide, _ = view_box(svg)

    assert float(frame.get("width", "nan")) <= wide
    assert 'clip-path="url(#p-frame)"' in svg


def test_numbers_are_short_and_never_in_powers() -> None:
    assert number(1.0) == "1"
    assert number(-0.0001) == "0"
    assert number(123456789.127) == "123456789.13"
    assert digits(0.0) == "0"
    assert digits(1234567.0) == "1,234,567"
    assert digits(0.000123456) == "0.000123"
    assert digits(61.3400001) == "61.34"
    assert digits(math.inf) == "no number"


@given(st.text(max_size=120), st.floats(20, 300))
def test_wrapped_lines_keep_every_word(words: str, most: float) -> None:
    lines = wrap(words, 11.0, most)

    assert all(text_width(line, 11.0) <= most or len(line) == 1 for line in lines)
    assert "".join(lines).replace(" ", "") == "".join(wrap(words, 11.0, 1e9)).replace(" ", "")


def test_words_that_had_to_move_keep_a_line_to_their_place() -> None:
    led, plain = (Plan("p", 0, 0, 100, 100) for _ in range(2))
    for word in ("one", "two"):
        led.text((50, 50), word, lead=True)
        plain.text((50, 50), word)

    assert len(marks(led.svg(), "path")) == len(marks(plain.svg(), "path")) + 1


@pytest.mark.parametrize(("turn", "along"), [(0, (1, 0)), (90, (0, -1))])
def test_a_blank_keeps_words_off_the_point_that_they_begin_at(
    turn: float, along: tuple[float, float]
) -> None:
    at = []
    for words in ("word", " word"):
        plan = Plan("p", 0, 0, 100, 100).text((50, 50), words, anchor="start", turn_deg=turn)
        span = next(s for s in marks(plan.svg(), "tspan") if s.text == "word")
        at.append((float(span.get("x", "nan")), float(span.get("y", "nan"))))
    shift = np.array(at[1]) - np.array(at[0])

    assert shift @ np.array(along) == pytest.approx(5.0, abs=0.05)
