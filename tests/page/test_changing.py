"""A change shows what it changes, never writes over what it has not shown, and moves sections."""

from __future__ import annotations

from typing import Any

from tests.page.conftest import Begun, Open
from tests.page.test_sizes import axe, told

ANSWERED = '.questions:has(a):not(:has(a:not([data-state="done"])))'

TOOLS = """
# All tools, with a blank line on both sides: this stays on top.

# the mill
[[tools]]
number = 1
name = "end mill"
# sharpened in May

# drills from here

[[tools]]
name = "drill"  # the short one
number = 2
[[tools]]
number = 3
"""


def answers(begun: Begun) -> dict[str, Any]:
    return {one["question"]: one for one in begun.server.get("/api/answers")}


def test_a_change_shows_verdict_and_figure_before_and_after(begun: Begun, visit: Open) -> None:
    here = visit(begun.server, "entries/money.volume")
    page = here.page
    page.wait_for_selector('[data-path="money.volume"] input:focus')
    page.wait_for_selector(ANSWERED)
    assert page.locator(".outcome").count() == 0
    before = answers(begun)
    here.enter("money.volume", "900")
    page.wait_for_selector('.outcome[data-open="0"]')
    first = answers(begun)
    turned = {name for name in before if before[name]["verdict"] != first[name]["verdict"]}
    assert turned == {"pays"}
    said = page.inner_text('.outcome [data-moved="pays"][data-turned="true"]')
    assert "Cannot tell yet" in said and "Yes" in said
    assert page.locator('.outcome [data-turned="true"]').count() == 1
    assert first["fits"]["headline"] == before["fits"]["headline"]
    assert "Where on the table" in page.inner_text(".outcome .note:has-text('As before')")
    # The verdict stays: the figure that has moved is told, as the answers tell it.
    here.enter("money.volume", "950")
    page.wait_for_selector('.outcome[data-open="0"] [data-moved="pays"][data-turned="false"]')
    second = answers(begun)
    said = page.inner_text('.outcome [data-moved="pays"]')
    old, new = first["pays"]["figures"][0], second["pays"]["figures"][0]
    assert old["value"] != new["value"] and old["limited"]
    for words in ("Yes as before", old["label"], old["value"], new["value"]):
        assert words in said
    # Nothing changes: said so. Readable for all, reached by keys.
    here.go("entries/fixture.name")
    page.wait_for_selector('[data-path="fixture.name"] input:focus')
    here.enter("fixture.name", "block with two vises")
    page.wait_for_selector('.outcome:has-text("fixture.name")[data-open="0"]')
    assert "Nothing changed" in page.inner_text(".outcome")
    page.focus(".outcome")
    assert page.evaluate("document.activeElement.className") == "outcome"
    page.evaluate(axe())
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert found["violations"] == [], told(found)
    # A fault: no answer, so nothing to compare until it is mended.
    here.go("entries/money.volume")
    page.wait_for_selector('[data-path="money.volume"] input:focus')
    here.enter("money.volume", "950 kg")
    page.wait_for_selector('.outcome:has-text("once it is mended")')
    here.enter("money.volume", "950 parts/yr")
    page.wait_for_selector('.outcome[data-open="0"]:has-text("Nothing changed")')
    page.click("text=Put this away")
    page.wait_for_selector(".outcome", state="detached")


def test_what_an_editor_changed_meanwhile_is_shown_beside_what_was_typed(
    begun: Begun, visit: Open
) -> None:
    text = begun.cell.read_text(encoding="utf-8")
    here = visit(begun.server, "entries/money.investment")
    page = here.page
    page.wait_for_selector('[data-path="money.investment"] input:focus')
    both = '[data-path="money.investment"] .both'

    def by_editor(amount: str) -> None:
        begun.cell.write_text(text.replace('"14500 EUR"', f'"{amount} EUR"'), encoding="utf-8")

    here.field("money.investment").fill("15000 EUR")
    by_editor("16000")
    page.wait_for_selector(both)
    assert page.inner_text(f"{both} .theirs") == "16000 EUR"
    assert page.inner_text(f"{both} .mine") == "15000 EUR"
    # Leaving the box does not write over what was only just shown, and what was typed stays.
    here.field("money.investment").press("Enter")
    here.enter("money.saved_per_part", "9 min")
    here.written("money.saved_per_part")
    assert page.inner_text(f"{both} .mine") == "15000 EUR"
    text = text.replace('"8 min"', '"9 min"')
    assert '"16000 EUR"' in begun.cell.read_text(encoding="utf-8")
    # Also after the page was loaded anew.
    page.reload()
    page.wait_for_selector(both)
    page.click(f"{both} >> text=Take the file's")
    page.wait_for_selector(both, state="detached")
    assert here.field("money.investment").input_value() == "16000 EUR"
    here.field("money.investment").fill("15000 EUR")
    by_editor("17000")
    page.wait_for_selector(f'{both} .theirs:has-text("17000 EUR")')
    page.click(f"{both} >> text=Keep mine")
    here.written("money.investment")
    assert begun.cell.read_text(encoding="utf-8") == text.replace('"14500', '"15000')


def test_a_change_refused_because_the_file_is_another_is_shown_with_the_files_text(
    begun: Begun, visit: Open
) -> None:
    text = begun.cell.read_text(encoding="utf-8")
    here = visit(begun.server, "entries/money.investment")
    page = here.page
    page.wait_for_selector('[data-path="money.investment"] input:focus')
    by_editor = text.replace('"60 EUR/h"', '"61 EUR/h"').replace('"14500', '"16000')
    statuses = []

    def meanwhile(route: Any) -> None:
        begun.cell.write_text(by_editor, encoding="utf-8")
        route.continue_()

    page.on("response", lambda one: statuses.append(one.status) if "/edit" in one.url else None)
    page.route("**/api/edit", meanwhile, times=1)
    here.enter("money.investment", "15000 EUR")
    both = '[data-path="money.investment"] .both'
    page.wait_for_selector(f'{both} .theirs:has-text("16000 EUR")')
    assert statuses == [409]
    assert page.inner_text(f"{both} .mine") == "15000 EUR"
    assert begun.cell.read_text(encoding="utf-8") == by_editor
    page.focus(f"{both} >> text=Keep mine")
    page.keyboard.press("Enter")
    here.written("money.investment")
    assert begun.cell.read_text(encoding="utf-8") == by_editor.replace('"16000', '"15000')


def test_what_was_typed_in_a_section_that_is_gone_is_kept_until_let_go(
    begun: Begun, visit: Open
) -> None:
    text = begun.cell.read_text(encoding="utf-8")
    begun.cell.write_text(text + TOOLS, encoding="utf-8")
    here = visit(begun.server, "entries/tools[3].name")
    page = here.page
    page.wait_for_selector('[data-path="tools[3].name"] input:focus')
    here.field("tools[3].name").fill("the long drill")
    begun.cell.write_text(text, encoding="utf-8")
    page.wait_for_selector('.entries [role=alert]:has-text("the long drill")')
    page.click("text=Let tools[3].name go")
    page.wait_for_selector('.entries [role=alert]:has-text("the long drill")', state="detached")


def test_a_section_is_moved_with_its_comments_and_what_is_typed_in_it(
    begun: Begun, visit: Open
) -> None:
    text = begun.cell.read_text(encoding="utf-8") + TOOLS
    begun.cell.write_text(text, encoding="utf-8")
    here = visit(begun.server, "entries/tools[1].length")
    page = here.page
    page.wait_for_selector('[data-path="tools[1].length"] input:focus')
    here.field("tools[1].length").fill("70")
    text = text.replace('name = "end mill"\n', 'name = "end mill"\nlength = "60 mm"\n')
    original = text.encode()
    begun.cell.write_bytes(original)
    page.wait_for_selector('[data-path="tools[1].length"][data-conflict="true"]')
    page.focus('button:has-text("Move tools 1 (end mill) down")')
    page.keyboard.press("Enter")
    page.wait_for_selector('[data-path="tools[2].length"][data-conflict="true"]')
    assert page.locator('[data-path="tools[1].length"][data-waiting="true"]').count() == 0
    assert here.field("tools[2].length").input_value() == "70"
    moved = begun.cell.read_text(encoding="utf-8")
    mill = '# the mill\n[[tools]]\nnumber = 1\nname = "end mill"\nlength = "60 mm"\n'
    mill += "# sharpened in May\n"
    drill = '[[tools]]\nname = "drill"  # the short one\nnumber = 2\n'
    assert moved.encode() == original.replace(
        f"{mill}\n# drills from here\n\n{drill}".encode(),
        f"{drill}\n# drills from here\n\n{mill}".encode(),
    )
    assert moved.encode() != original
    # The keyboard goes on with the section that was moved; the last one cannot go further down.
    page.wait_for_selector('button:focus:has-text("Move tools 2 (end mill) down")')
    page.keyboard.press("Enter")
    page.wait_for_selector('button:focus:has-text("Move tools 3 (end mill) up")')
    page.click('[data-path="tools[3].length"] >> text=Keep mine')
    here.written("tools[3].length")
    assert 'length = "70 mm"' in begun.cell.read_text(encoding="utf-8").rpartition("[[tools]]")[2]
    for _ in range(3):
        seen = page.get_attribute(".entries", "data-digest")
        page.click(".entries .steps >> text=Undo")
        page.wait_for_selector(f'.entries:not([data-digest="{seen}"])')
    assert begun.cell.read_bytes() == original
