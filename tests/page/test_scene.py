"""The scene in the browser: posed by its sliders, a program played, its tight spots jumped to."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest

from tests.page.conftest import Open

if TYPE_CHECKING:
    from tests.faces.web.running import Running


def test_a_slider_poses_the_cell_and_the_gap_is_that_of_the_program(
    demo: Running, visit: Open
) -> None:
    here = visit(demo, "pays")
    page = here.page
    here.drawn()
    scene = demo.get("/api/scene")
    letters = [slider["letter"] for slider in scene["sliders"]]
    assert page.locator(".axis-row label").all_inner_texts() == letters == ["X", "Y", "Z", "A", "C"]
    assert here.pose() == pytest.approx(scene["start"], abs=1e-3)
    page.fill('[aria-label="A in deg"]', "90")
    page.press('[aria-label="A in deg"]', "Enter")
    page.wait_for_selector(f'.stage[data-pose*=" {math.pi / 2:.4f} "]')
    page.wait_for_selector('.gap[data-current="true"]')
    values = here.pose()
    asked = demo.post("/api/gap", {"pose": [*values[:3], math.pi / 2, values[4]], "tool": 1}).json()
    shown = float(page.get_attribute(".gap", "data-gap") or "nan")
    assert shown == pytest.approx(asked["gap_mm"], abs=2e-3)
    assert " to ".join(asked["pair"]) in page.inner_text(".gap p")
    # Dragged: the pose follows, and stays within the axis.
    box = page.locator("#axis-x").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.75 * box["width"], box["y"] + box["height"] / 2, steps=6)
    page.mouse.up()
    page.wait_for_selector('.gap[data-current="true"]')
    low, high = scene["sliders"][0]["low"], scene["sliders"][0]["high"]
    assert here.pose()[0] == pytest.approx(low + 0.75 * (high - low), abs=0.03 * (high - low))
    page.fill('[aria-label="X in mm"]', "99999")
    page.press('[aria-label="X in mm"]', "Enter")
    page.wait_for_selector(f'.stage[data-pose^="{high:.4f} "]')
    assert page.input_value('[aria-label="X in mm"]') == f"{high:.2f}"


def test_the_picture_changes_with_the_pose(demo: Running, visit: Open) -> None:
    here = visit(demo, "pays")
    page = here.page
    here.drawn()
    page.wait_for_selector('.gap[data-current="true"]')
    canvas = page.locator(".stage canvas")
    before = canvas.screenshot()
    drawn = int(page.get_attribute(".stage", "data-drawn") or 0)
    page.click('button[aria-label="A plus a step"]')
    page.wait_for_selector('.stage[data-pose*=" 0.0873 "]')
    page.wait_for_selector(f'.stage:not([data-drawn="{drawn}"])')
    assert canvas.screenshot() != before


def test_a_program_is_played_and_its_tight_spots_are_jumped_to(demo: Running, visit: Open) -> None:
    here = visit(demo, "pays")
    page = here.page
    here.drawn()
    page.click("text=Play alder-ford.nc")
    page.wait_for_selector('.player[data-program="alder-ford.nc"]')
    start = here.pose()
    page.select_option(".player select", "16")
    page.click(".player [data-playing=false]")
    page.wait_for_selector(".player [data-playing=true]")
    page.wait_for_selector('.player:not([data-time^="0."])')
    page.click(".player [data-playing=true]")
    assert float(page.get_attribute(".player", "data-time") or 0) >= 1.0
    assert here.pose() != start
    spots = demo.get("/api/track/alder-ford.nc/spots")
    page.wait_for_selector(".spots button")
    assert page.locator(".spots button").count() == len(spots) > 0
    # The tightest: the scene goes there, with the tool that is in the spindle, and so does the gap.
    place = min(range(len(spots)), key=lambda one: spots[one]["gap_mm"])
    spot = spots[place]
    page.locator(".spots button").nth(place).click()
    page.wait_for_selector(f'.player[data-time="{spot["t"]:.2f}"]')
    page.wait_for_selector('.gap[data-current="true"]')
    shown = float(page.get_attribute(".gap", "data-gap") or "nan")
    assert shown == pytest.approx(spot["gap_mm"], abs=0.05)
    assert f"line {spot['line']}" in page.inner_text(".player .line")
    assert page.locator(".player .marks path").count() == len(spots)


def test_the_view_turns_by_mouse_and_by_keys(demo: Running, visit: Open) -> None:
    here = visit(demo, "pays")
    page = here.page
    here.drawn()
    page.wait_for_selector('.gap[data-current="true"]')
    canvas = page.locator(".stage canvas")
    labels = page.locator(".axis-words")
    first = labels.inner_html()

    def drawn_anew(move: Callable[[], None]) -> None:
        before = page.get_attribute(".stage", "data-drawn")
        move()
        page.wait_for_selector(f'.stage:not([data-drawn="{before}"])')

    canvas.focus()
    drawn_anew(lambda: page.keyboard.press("ArrowLeft"))
    second = labels.inner_html()
    assert second != first
    box = canvas.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 60, box["y"] + 60)
    page.mouse.down()
    drawn_anew(lambda: page.mouse.move(box["x"] + 160, box["y"] + 90, steps=4))
    page.mouse.up()
    third = labels.inner_html()
    assert third != second
    drawn_anew(lambda: page.click(".looks >> text=above"))
    assert labels.inner_html() != third


def test_places_of_the_unit_are_stepped_through_and_back(demo: Running, visit: Open) -> None:
    here = visit(demo, "pays")
    page = here.page
    here.drawn()  # the model does not wait for what takes proofs
    page.wait_for_selector(".places")
    assert page.locator("[data-rest]").count() == 0
    # Down on the motor where the unit stands, and clear of it where it is turned.
    for letter, value in (("X", "-180"), ("Z", "-250")):
        page.fill(f'[aria-label^="{letter} in"]', value)
        page.press(f'[aria-label^="{letter} in"]', "Enter")
    page.wait_for_selector('.stage[data-pose*=" -250.0000 "]')
    page.wait_for_selector('.gap[data-current="true"]')
    gaps = [float(page.get_attribute(".gap", "data-gap") or "nan")]
    all_of_them = demo.get("/api/scene/more")["placements"]
    canvas = page.locator(".stage canvas")
    page.wait_for_timeout(400)  # drawn finely once nothing moves
    stands = canvas.screenshot()
    assert "Where the unit stands" in page.inner_text(".places")
    for place, found in enumerate(all_of_them):
        page.click('[aria-label="The next place"]')
        page.wait_for_selector(f'.places[data-stand="{place}"]')
        words = page.inner_text(".places")
        assert f"Place {place + 1} of {len(all_of_them)}" in words and found["words"] in words
        page.wait_for_selector('.gap[data-current="true"]')
        stand = [*found["xy"], found["yaw"]]
        there = demo.post("/api/gap", {"pose": here.pose(), "tool": 1, "stand": stand}).json()
        gaps.append(float(page.get_attribute(".gap", "data-gap") or "nan"))
        assert gaps[-1] == pytest.approx(there["gap_mm"], abs=2e-3)
    page.wait_for_timeout(400)
    assert canvas.screenshot() != stands
    page.click('[aria-label="The next place"]')
    page.wait_for_selector('.places[data-stand="-1"]')
    page.click('[aria-label="The place before"]')
    page.wait_for_selector(f'.places[data-stand="{len(all_of_them) - 1}"]')
    page.click('[aria-label="The next place"]')
    page.wait_for_selector('.places[data-stand="-1"]')
    page.wait_for_selector('.gap[data-current="true"]')
    assert float(page.get_attribute(".gap", "data-gap") or "nan") == gaps[0]
    assert len(set(gaps)) > 1  # not the same wherever it is shown
    page.wait_for_timeout(400)
    assert canvas.screenshot() == stands
