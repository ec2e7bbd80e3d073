"""The page on a tablet, enlarged, dark: nothing hidden, nothing too small, nothing hard to read."""

from __future__ import annotations

import importlib.resources
import json
from typing import TYPE_CHECKING, Any

import pytest

from tests.page.browsing import DESK, TABLET, Visit
from tests.page.conftest import Open

if TYPE_CHECKING:
    from tests.faces.web.running import Running

# Targets of 44 px; links in a sentence and what stands for a larger label are let off.
SMALL = """() => [
    ...document.querySelectorAll("button, select, input, summary, nav a"),
].filter((one) => {
    const target = one.closest("label.tick") ?? one;
    const box = target.getBoundingClientRect();
    return box.width > 0 && (box.height < 43.5 || box.width < 43.5);
}).map((one) => one.outerHTML.slice(0, 120))"""

OVER = """() => document.documentElement.scrollWidth - document.documentElement.clientWidth"""

CUT = """() => [...document.querySelectorAll("#words :is(h2, h3, p, li, label), nav .asks")]
    .filter((one) => {
        const box = one.getBoundingClientRect();
        if (box.width === 0) return false;
        if (one.closest(".scroll, .sheet")) return false;
        const inline = getComputedStyle(one).display === "inline";
        return box.right > innerWidth + 1 || !inline && one.scrollWidth > one.clientWidth + 1;
    }).map((one) => one.innerText.slice(0, 80))"""


def shown(here: Visit, where: str) -> None:
    here.go(where)
    if where == "entries":
        here.page.wait_for_selector(".entries[data-digest]")
    elif where == "readings":
        here.page.wait_for_selector(".readings[data-rows]")
    else:
        here.answered(where.split("/")[0])


def opened(here: Visit) -> None:
    here.page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")


def test_a_tablet_shows_words_and_scene_in_turn_with_large_targets(
    demo: Running, visit: Open
) -> None:
    here = visit(demo, "pays", size=TABLET, has_touch=True)
    page = here.page
    for where in ("pays", "entries", "readings"):
        shown(here, where)
        opened(here)
        assert page.evaluate(SMALL) == [], where
        assert page.evaluate(OVER) <= 0, where
        assert page.evaluate(CUT) == [], where
    assert page.is_hidden("#scene")
    page.tap(".sides >> text=Scene")
    here.drawn()
    assert page.is_hidden("#words")
    box = page.locator(".stage canvas").bounding_box()
    assert box is not None and box["width"] > 0.6 * TABLET[0] and box["height"] >= 300
    assert page.evaluate(SMALL) == []
    # A finger on the scene turns it, and does not scroll the page.
    page.tap('button[aria-label="X plus a step"]')
    page.tap(".sides >> text=Words")
    assert page.is_visible("#words")


@pytest.mark.parametrize("size", [DESK, TABLET], ids=["desk", "tablet"])
def test_at_twice_the_size_everything_is_still_there(
    size: tuple[int, int], demo: Running, visit: Open
) -> None:
    half = (size[0] // 2, size[1] // 2)
    here = visit(demo, "pays", size=half, device_scale_factor=2)
    page = here.page
    for where in ("pays", "entries", "readings"):
        shown(here, where)
        assert page.evaluate(OVER) <= 0, where
        opened(here)
        assert page.evaluate(CUT) == [], where
        last = page.locator("#words :is(p, li, td, button, input)").last
        last.scroll_into_view_if_needed()
        assert last.is_visible()
    page.click(".sides >> text=Scene")
    here.drawn()
    plus = page.locator('button[aria-label="C plus a step"]')
    before = here.pose()
    plus.click()
    page.wait_for_selector('.stage[data-pose$=" 0.0873"]')
    assert here.pose()[4] > before[4]


def axe() -> str:
    pytest.importorskip("axe_playwright_python", reason="axe-core comes with it")
    found = importlib.resources.files("axe_playwright_python") / "axe.min.js"
    return found.read_text(encoding="utf-8")


def told(found: Any) -> str:
    return json.dumps(
        [
            {
                "rule": one["id"],
                "at": [[node["html"][:160], node["failureSummary"]] for node in one["nodes"][:5]],
            }
            for one in found["violations"]
        ],
        indent=1,
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [DESK, TABLET], ids=["desk", "tablet"])
def test_axe_finds_nothing(scheme: str, size: tuple[int, int], demo: Running, visit: Open) -> None:
    rules = axe()
    here = visit(demo, "fits", size=size, color_scheme=scheme)
    page = here.page
    page.wait_for_selector(".stage[data-drawn]", state="attached")
    page.evaluate(rules)
    for where in ("fits", "entries", "readings", "scene"):
        if where == "scene":
            if size == DESK:
                continue
            page.click(".sides >> text=Scene")
        else:
            shown(here, where)
        opened(here)
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert found["passes"], "axe looked at nothing"
        assert found["violations"] == [], f"{where}: {told(found)}"


def test_axe_finds_what_is_wrong(demo: Running, visit: Open) -> None:
    here = visit(demo, "pays")
    here.answered("pays")
    here.page.evaluate("document.querySelector('.ways button').textContent = ''")
    here.page.evaluate(axe())
    found = here.page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert "button-name" in {one["id"] for one in found["violations"]}


def test_dark_is_dark_and_can_be_chosen(demo: Running, visit: Open) -> None:
    here = visit(demo, "pays", color_scheme="dark")
    page = here.page
    paper = "getComputedStyle(document.body).backgroundColor"
    here.answered("pays")
    here.drawn()
    dark = page.evaluate(paper)
    page.click("text=Light: as set")
    light = page.evaluate(paper)
    assert sum(map(int, dark[4:-1].split(","))) < 150 < 600 < sum(map(int, light[4:-1].split(",")))
    # What was chosen is kept.
    page.reload()
    here.answered("pays")
    assert page.evaluate(paper) == light
    # Drawings of answers change with it: ink on paper, never ink on ink.
    page.click("text=Light: light")
    ink = page.evaluate("getComputedStyle(document.querySelector('.drawing svg')).color")
    assert sum(map(int, ink[4:-1].split(","))) > 600
