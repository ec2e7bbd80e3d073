"""A pose in two views: to scale, the gap in true length, labels on the sheet; read from the SVG."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from numpy.typing import NDArray

from gudgeon.answer import Picture
from gudgeon.clearance.pieces import box, cone
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene
from gudgeon.drawing.pose_view import clipped, pose_pictures
from gudgeon.drawing.svg import text_width

SVG = "{http://www.w3.org/2000/svg}"
Floats = NDArray[np.float64]


def lines() -> Lines:
    rows = np.zeros((2, 7))
    rows[0] = [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 1.0]
    rows[1] = [0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0]
    return Lines(rows)


def drawn(gap: float, name: str = "vise", *, inch: bool = False) -> tuple[Picture, ...]:
    """Return a holder of radius 20 beside a block of 60 x 80 x 50, so far apart along X."""
    block = Body(name, Carrier.TABLE, Role.FIXTURE, (box((0, 60), (-40, 40), (0, 50)),))
    wall = Body(
        "guard", Carrier.BASE, Role.GUARD, (box((400, 9000), (-9000, 9000), (-9000, 9000)),)
    )
    holder = Body("T1 holder", Carrier.HEAD, Role.HOLDER, (cone((0, 0, -80), (0, 0, 0), 20, 20),))
    text = f"{gap / 25.4:.4f} in" if inch else f"{gap:.3f} mm"
    return pose_pictures(
        "p", "Tight", Scene((block, wall), lines()), (holder,), [80.0 + gap, 0, 90, 0, 0],
        ("T1 holder", name), [(60.0 + gap, 0, 30), (60, 0, 30)], text, inch=inch,
    )  # fmt: skip


def paths(picture: Picture, width: str) -> list[Floats]:
    """Return the corners of every path of a stroke width [px]."""
    root = ElementTree.fromstring(picture.svg)
    found = []
    for path in root.iter(f"{SVG}path"):
        if path.get("stroke-width") == width:
            numbers = [float(word) for word in re.findall(r"-?[0-9.]+", path.get("d", ""))]
            found.append(np.array(numbers).reshape(-1, 2))
    return found


def words(picture: Picture) -> list[str]:
    root = ElementTree.fromstring(picture.svg)
    return ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]


def scale(picture: Picture, mm_per_unit: float = 1.0) -> float:
    """Return px per mm by the scale bar: two boxes and the words after them."""
    (told,) = [text for text in words(picture) if text.startswith("scale bar")]
    length = float(told.split()[2]) * mm_per_unit
    bars = [path for path in paths(picture, "1.1") if len(path) == 4 and np.ptp(path[:, 1]) == 5.0]
    assert len(bars) == 2
    ends = np.concatenate(bars)
    return float(np.ptp(ends[:, 0])) / length


@pytest.mark.parametrize("gap", [70.0, 90.0, 250.0])
def test_bodies_and_gap_are_to_the_scale_of_the_bar(gap: float) -> None:
    front, above = drawn(gap)
    for picture, size in ((front, (60.0, 50.0)), (above, (60.0, 80.0))):
        px = scale(picture)
        (block,) = [path for path in paths(picture, "2.4") if len(path) == 4 and path[0, 0] < 380.0
                    and np.ptp(path[:, 0]) == pytest.approx(60.0 * px, abs=0.05)]  # fmt: skip
        assert np.ptp(block, axis=0) == pytest.approx(np.array(size) * px, abs=0.05)
        long = [path for path in paths(picture, "1.1") if len(path) == 2 and np.ptp(path) > 1.0]
        lengths = [float(np.hypot(*(path[1] - path[0]))) for path in long]
        assert any(length == pytest.approx(gap * px, abs=0.05) for length in lengths)
        assert f"{gap:.3f} mm" in words(picture)


def test_in_inches_the_bar_is_so_too() -> None:
    front, _ = drawn(76.2, inch=True)
    px = scale(front, 25.4)
    assert any(
        np.ptp(path[:, 0]) == pytest.approx(60.0 * px, abs=0.05) for path in paths(front, "2.4")
    )
    assert "3.0000 in" in words(front)


def test_a_short_gap_is_told_aside_with_a_line_to_it() -> None:
    front, _ = drawn(1.0)
    px = scale(front)
    root = ElementTree.fromstring(front.svg)
    at = next(t for t in root.iter(f"{SVG}tspan") if (t.text or "").strip() == "1.000 mm")
    holder = max(paths(front, "2.4"), key=lambda path: float(path[:, 0].max()))
    middle = holder[:, 0].min() - 0.5 * px
    assert float(at.get("x", "0")) > middle + 20.0
    leads = [path for path in paths(front, "1.1") if len(path) == 2]
    assert any(abs(path[0, 0] - middle) < 0.5 and np.ptp(path[:, 0]) > 20.0 for path in leads)


def test_a_gap_that_is_shortened_says_so() -> None:
    """Along all three axes: no view shows it in true length."""
    block = Body("vise", Carrier.TABLE, Role.FIXTURE, (box((0, 60), (-40, 40), (0, 50)),))
    pin = Body("pin", Carrier.HEAD, Role.HOLDER, (box((0, 20), (0, 20), (0, 20)),))
    ends = [(100.0, 80.0, 90.0), (60.0, 40.0, 50.0)]
    pictures = pose_pictures(
        "p", "t", Scene((block,), lines()), (pin,), [100, 80, 90, 0, 0], ("pin", "vise"), ends,
        "69.282 mm",
    )  # fmt: skip
    assert [picture.name for picture in pictures] == ["p-front", "p-right"]
    for picture in pictures:
        assert any("not in true length" in text for text in words(picture))
    touching = pose_pictures(
        "p", "t", Scene((block,), lines()), (pin,), [60, 0, 10, 0, 0], ("pin", "vise"),
        [(60, 10, 20), (60, 14, 20)], "touches",
    )  # fmt: skip
    assert all("touches" in words(picture) for picture in touching)


@pytest.mark.parametrize(
    "name", ["v", "a vise with a name that is as long as names in shops become"]
)
@pytest.mark.parametrize("gap", [0.0, 1.0, 30.0, 400.0])
def test_every_label_lies_on_the_sheet(gap: float, name: str) -> None:
    for picture in drawn(gap, name):
        root = ElementTree.fromstring(picture.svg)
        left, top, wide, high = (float(word) for word in root.get("viewBox", "").split())
        for text in root.iter(f"{SVG}text"):
            size = float(text.get("font-size", "0"))
            for span in text.iter(f"{SVG}tspan"):
                x, y = float(span.get("x", "nan")), float(span.get("y", "nan"))
                length = text_width(span.text or "", size)
                start = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.get("text-anchor", "start")]
                if text.get("transform"):
                    continue
                assert left - 0.1 <= x - start * length
                assert x + (1.0 - start) * length <= left + wide + 0.1
                assert top <= y <= top + high


def test_a_pose_that_is_not_known_is_not_drawn() -> None:
    assert (
        pose_pictures("p", "t", Scene((), lines()), (), [np.nan] * 5, ("", ""), [(0, 0, 0)] * 2, "")
        == ()
    )


def test_clipping_keeps_what_is_inside_and_nothing_far_off() -> None:
    window = np.array([[0.0, 0.0], [10.0, 10.0]])
    square = np.array([[2.0, 2.0], [4.0, 2.0], [4.0, 4.0], [2.0, 4.0]])
    np.testing.assert_allclose(np.sort(clipped(square, window), axis=0), np.sort(square, axis=0))
    endless = np.array([[5.0, -1e6], [1e6, -1e6], [1e6, 1e6], [5.0, 1e6]])
    cut = clipped(endless, window)
    assert cut.min() >= -3.0
    assert cut.max() <= 13.0
    assert cut[:, 0].min() == 5.0
    assert not len(clipped(square + 100.0, window))
