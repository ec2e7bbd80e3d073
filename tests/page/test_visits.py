"""Looking at answers: the first visit, the keyboard alone, two people, only reading."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from tests.page.conftest import Begun, Open, copied

if TYPE_CHECKING:
    from tests.faces.web.running import Running

WORDS = {"yes": "Yes", "yes_if": "Yes, if ...", "no": "No", "cannot_tell": "Cannot tell yet"}


def test_the_first_visit_comes_to_an_answer(demo: Running, visit: Open) -> None:
    here = visit(demo)
    page = here.page
    page.wait_for_selector(".questions a")
    listed = page.locator(".questions a").evaluate_all("all => all.map(a => a.dataset.question)")
    asked = demo.get("/api/cell")["questions"]
    assert [word.split("/")[0] for word in listed] == [one["name"] for one in asked]
    # The first question is shown without being asked for.
    here.answered(listed[0])
    page.click('.questions a[data-question="axes"]')
    here.answered("axes")
    told = demo.answer("axes")["answer"]
    here.verdict(told["verdict"])
    assert page.inner_text(".answer .verdict") == WORDS[told["verdict"]]
    assert page.inner_text(".answer .headline") == told["headline"]
    assert page.inner_text(".answer .next p") == told["next_step"]
    assert page.locator(".answer [data-figure]").count() == len(told["figures"])
    assert page.locator(".answer figure .drawing svg").count() == len(told["pictures"])
    assert page.title().startswith("Alder Ford Machining")


def test_every_verdict_of_the_list_is_a_shape_and_a_word(demo: Running, visit: Open) -> None:
    here = visit(demo)
    for question in ("pays", "fits"):
        demo.answer(question)
    shapes = {}
    for question in ("pays", "fits"):
        link = here.page.wait_for_selector(
            f'.questions a[data-question="{question}"][data-state="done"]'
        )
        assert link is not None
        verdict = link.get_attribute("data-verdict") or ""
        assert WORDS[verdict] in link.inner_text()
        mark = link.query_selector("svg.mark")
        assert mark is not None
        shapes[verdict] = mark.inner_html()
    assert len(set(shapes.values())) == len(shapes) == 2


def test_everything_is_reached_and_done_by_keys_alone(begun: Begun, visit: Open) -> None:
    server, cell = begun.server, begun.cell
    here = visit(server)
    page, keys = here.page, here.page.keyboard
    here.answered("pays")
    here.drawn()
    keys.press("Tab")
    assert here.focused() == "To the answer"
    keys.press("Enter")
    assert page.evaluate("document.activeElement.id") == "words"
    # Every stop has a name and can be seen to have the focus, and the last leads out again.
    page.reload()
    here.answered("pays")
    here.drawn()
    stops: list[str] = []
    for _ in range(200):
        keys.press("Tab")
        name = here.focused()
        if not name:
            break
        stops.append(name)
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none", f"{name} does not show that it has the focus"
    else:
        raise AssertionError(f"the keyboard is caught: {stops[-8:]}")
    words = "\n".join(stops)
    for wanted in (
        "Entries",
        "Readings",
        "Width of the list",
        "corner",
        "X minus a step",
        "X in mm",
    ):
        assert wanted in words, f"{wanted} is not reached by keys"
    # Arrow keys go from the question that has the focus; Enter asks it.
    page.focus('.questions a[data-question="fits"]')
    keys.press("ArrowDown")
    assert page.evaluate("document.activeElement.dataset.question") == "holds"
    keys.press("End")
    keys.press("Home")
    keys.press("ArrowDown")
    keys.press("ArrowDown")
    keys.press("ArrowDown")
    keys.press("Enter")
    page.wait_for_selector('.answer[data-question="axes"]')
    # A slider by its arrow keys, and the pose as a number.
    before = here.pose()
    page.focus("#axis-turn")
    keys.press("ArrowRight")
    page.focus('[aria-label="A in deg"]')
    keys.press("Control+a")
    keys.type("20")
    keys.press("Enter")
    page.wait_for_selector('.stage[data-pose*=" 0.3491 "]')
    assert here.pose()[4] > before[4]
    # An entry: opened, typed, written, undone.
    original = cell.read_bytes()
    here.go("entries/money.volume")
    page.wait_for_selector(".entries[data-digest]")
    page.wait_for_selector('[data-path="money.volume"] input:focus')
    keys.type("900")
    keys.press("Enter")
    here.written("money.volume")
    assert b'volume = "900 parts/yr"' in cell.read_bytes()
    page.wait_for_selector(".entries .steps button:not([disabled])")
    page.focus(".entries .steps button")
    keys.press("Enter")
    server.until(lambda: cell.read_bytes() == original)


def test_what_one_person_enters_the_other_sees(begun: Begun, visit: Open) -> None:
    server, cell = begun.server, begun.cell
    one, other = visit(server, "entries/money.volume"), visit(server, "pays")
    other.answered("pays")
    other.verdict("cannot_tell")
    one.page.wait_for_selector('[data-path="money.volume"] input:focus')
    one.enter("money.volume", "900")
    one.written("money.volume")
    other.page.wait_for_selector('.answer .verdict:not([data-verdict="cannot_tell"])')
    # Both type at the same entries: the second sees what the first wrote and loses nothing.
    other.go("entries/money.volume")
    other.page.wait_for_selector('[data-path="money.volume"] input:focus')
    assert other.field("money.volume").input_value() == "900 parts/yr"
    other.field("money.years").fill("4")
    one.enter("money.volume", "950")
    one.written("money.volume")
    server.until(lambda: other.field("money.volume").input_value() == "950 parts/yr")
    assert other.field("money.years").input_value() == "4"
    other.field("money.years").press("Enter")
    other.written("money.years")
    text = cell.read_text(encoding="utf-8")
    assert 'volume = "950 parts/yr"' in text and re.search(r"^years = \"?4\b", text, re.M)


def test_reading_only_offers_nothing_to_write(
    tmp_path: Path, serve: Callable[..., Running], visit: Open
) -> None:
    cell = copied(tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    here = visit(serve(cell, "--port", "0", "--read-only"), "entries/money.volume")
    page = here.page
    page.wait_for_selector(".entries[data-digest]")
    page.wait_for_selector('.top:has-text("Reading only")')
    page.evaluate("document.querySelectorAll('details').forEach(one => (one.open = true))")
    boxes = page.locator(".entries .field input")
    assert boxes.count() > 100
    assert boxes.evaluate_all("all => all.every(one => one.readOnly)")
    assert page.locator(".entries .field select:not([disabled])").count() == 0
    named = page.locator(".entries button:not([disabled])").all_inner_texts()
    assert not [name for name in named if re.match("Add|Take|Undo|Redo|Write", name)]
    here.go("readings")
    page.wait_for_selector(".readings[data-rows]")
    assert page.locator(".readings form").count() == 0
    here.go("axes")
    here.answered("axes")
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before
