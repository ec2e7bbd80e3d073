"""Entering: an edit changes the answer, a fault stands in place, nothing typed is lost."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from gudgeon.cell.edit import Change, changed
from tests.page.conftest import Begun, Open, copied

if TYPE_CHECKING:
    from tests.faces.web.running import Running

Serve = Callable[..., "Running"]


def test_the_missing_entry_is_entered_and_the_answer_changes(begun: Begun, visit: Open) -> None:
    original = begun.cell.read_bytes()
    here = visit(begun.server, "pays")
    page = here.page
    here.answered("pays")
    here.verdict("cannot_tell")
    page.click(".answer .missing button >> text=money.volume")
    page.wait_for_selector('[data-path="money.volume"][data-missing="true"] input:focus')
    here.enter("money.volume", "900")
    here.written("money.volume")
    assert begun.cell.read_bytes() == original + b'volume = "900 parts/yr"\n'
    here.go("pays")
    here.verdict("yes")
    # Undone: the file as it was to the byte, and the answer too.
    here.go("entries")
    page.click(".entries .steps >> text=Undo")
    page.wait_for_selector(".entries .steps button:disabled >> text=Undo")
    assert begun.cell.read_bytes() == original
    here.go("pays")
    here.verdict("cannot_tell")


def test_a_missing_section_leads_to_where_one_is_added(begun: Begun, visit: Open) -> None:
    here = visit(begun.server, "axes")
    here.answered("axes")
    here.page.click('.answer .missing button:has-text("control.jogs") >> nth=0')
    here.page.wait_for_selector('[id="part-control.jogs"] > .add:focus')
    here.page.keyboard.press("Enter")
    first = '[id="part-control.jogs[1]"][open] .fields [data-path="control.jogs[1].letter"]'
    here.page.wait_for_selector(f"{first} :is(input, select):focus")
    assert "[[control.jogs]]" in begun.cell.read_text(encoding="utf-8")


def test_a_fault_stands_in_place_while_it_is_typed(begun: Begun, visit: Open) -> None:
    before = begun.cell.read_bytes()
    here = visit(begun.server, "entries/money.volume")
    page = here.page
    page.wait_for_selector('[data-path="money.volume"] input:focus')
    here.enter("money.volume", "900 kg")
    told = page.wait_for_selector('[data-path="money.volume"] .told')
    assert told is not None and "900 kg" in told.inner_text()
    assert here.field("money.volume").get_attribute("aria-invalid") == "true"
    assert "no answer until mended" in page.inner_text(".faults summary")
    here.enter("money.volume", "")
    page.wait_for_selector('[data-path="money.volume"] .told', state="detached")
    page.wait_for_selector(".faults", state="detached")
    assert begun.cell.read_bytes() == before


def test_entries_typed_faster_than_they_are_written_are_all_written(
    begun: Begun, visit: Open
) -> None:
    here = visit(begun.server, "entries/money.volume")
    here.page.wait_for_selector('[data-path="money.volume"] input:focus')
    typed = {"volume": "900", "years": "4", "discount": "5", "seed": "3"}
    for name, text in typed.items():
        here.enter(f"money.{name}", text)
    for name in typed:
        here.written(f"money.{name}")
    begun.server.until(lambda: all(f"\n{name} = " in begun.cell.read_text() for name in typed))


def test_a_file_changed_by_an_editor_is_answered_anew_and_its_fault_shown(
    begun: Begun, visit: Open
) -> None:
    original = begun.cell.read_text(encoding="utf-8")
    here = visit(begun.server, "pays")
    here.verdict("cannot_tell")
    begun.cell.write_text(original + 'volume = "900 parts/yr"\n', encoding="utf-8")
    here.verdict("yes")
    begun.cell.write_text(original + 'volume = "900 kg"\n', encoding="utf-8")
    faults = here.page.wait_for_selector(".faults")
    assert faults is not None
    line = original.count("\n") + 1
    assert f"line {line}" in faults.inner_text()
    begun.cell.write_text(original, encoding="utf-8")
    here.page.wait_for_selector(".faults", state="detached")
    here.verdict("cannot_tell")


def test_a_server_killed_in_the_middle_of_an_edit_loses_nothing(
    half_filled: Path, serve: Serve, visit: Open
) -> None:
    original = half_filled.read_bytes()
    first = serve(half_filled, "--port", "0")
    here = visit(first, "entries/money.volume")
    page = here.page
    page.wait_for_selector('[data-path="money.volume"] input:focus')
    here.enter("money.years", "4")
    here.written("money.years")
    page.wait_for_selector('[data-path="money.years"] input:not([value=""])')
    written = half_filled.read_bytes()
    assert written != original
    here.field("money.volume").fill("900")
    first.process.kill()
    first.process.wait()
    page.wait_for_selector(".page[data-linked=false] [role=alert]")
    here.field("money.volume").press("Enter")
    page.wait_for_selector('.said:has-text("kept in this browser")')
    assert half_filled.read_bytes() == written
    # Started again at the same place, the page goes on by itself, also after it was loaded anew.
    second = serve(half_filled, "--port", str(first.port))
    assert second.port == first.port
    page.wait_for_selector(".page[data-linked=true]")
    page.reload()
    page.wait_for_selector('[data-path="money.volume"][data-waiting="true"]')
    assert here.field("money.volume").input_value() == "900"
    page.click('[data-path="money.volume"] >> text=Write it')
    here.written("money.volume")
    assert b'volume = "900 parts/yr"' in half_filled.read_bytes()
    # What was written before the end can still be undone.
    for _ in range(2):
        page.click(".entries .steps >> text=Undo")
        second.until(lambda: page.is_enabled(".entries .steps >> text=Redo"))
    second.until(lambda: half_filled.read_bytes() == original)


def test_a_part_is_added_and_taken_out(begun: Begun, visit: Open) -> None:
    here = visit(begun.server, "entries")
    page = here.page
    page.wait_for_selector(".entries[data-digest]")
    page.click('.part > summary:has-text("tools")')
    page.click('.part[open]:has(> summary:has-text("tools")) > button:has-text("Add one")')
    page.wait_for_selector('[data-path="tools[1].number"]', state="attached")
    assert begun.cell.read_text(encoding="utf-8").count("[[tools]]") == 1
    here.go("entries/tools[1].number")
    page.wait_for_selector('[data-path="tools[1].number"] input:focus')
    here.enter("tools[1].number", "7")
    here.written("tools[1].number")
    assert "number = 7" in begun.cell.read_text(encoding="utf-8")
    page.click('button:has-text("Take tools 1")')
    page.wait_for_selector('[data-path="tools[1].number"]', state="detached")
    assert "[[tools]]" not in begun.cell.read_text(encoding="utf-8")


def test_readings_are_entered_one_after_the_other(
    tmp_path: Path, serve: Serve, visit: Open
) -> None:
    cell = copied(tmp_path)
    # Without cuts and programs nothing else is worked out for long.
    rest = cell.read_text(encoding="utf-8")
    for name in ("operations", "programs"):
        while f"[[{name}]]" in rest:
            rest = changed(rest, [Change(f"{name}[1]", None)])
    cell.write_text(rest, encoding="utf-8")
    file = tmp_path / "alder-ford-readings.csv"
    lines = file.read_text(encoding="utf-8").splitlines()[:7]  # with few, more are proposed
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    server = serve(cell, "--port", "0")
    here = visit(server, "readings")
    page = here.page
    page.wait_for_selector('.readings[data-rows="6"]')
    page.click(".proposed li:first-child button")
    assert page.locator(".proposed li:first-child").get_attribute("aria-current") == "step"
    cells = {
        label.split("\n")[0].strip(): box
        for label, box in zip(
            page.locator(".cells label").all_inner_texts(),
            page.locator(".cells input").all(),
            strict=True,
        )
    }
    proposed = {name: box.input_value() for name, box in cells.items()}
    assert proposed["what"] and proposed["tilt deg"] and proposed["rotary deg"]
    for name, text in (("x mm", "-379.911"), ("y mm", "-215.031"), ("z mm", "-438.002")):
        cells[name].fill(text)

    # Half typed: neither a page loaded anew nor a dead server loses it.
    def still_typed() -> bool:
        page.wait_for_selector('.readings[data-rows="6"]')
        page.wait_for_selector(".cells .measured input")
        return "-379.911" in [box.input_value() for box in page.locator(".cells input").all()]

    page.reload()
    assert still_typed()
    server.process.kill()
    server.process.wait()
    page.wait_for_selector(".page[data-linked=false] [role=alert]")
    serve(cell, "--port", str(server.port))
    page.wait_for_selector(".page[data-linked=true]")
    assert still_typed()
    page.reload()
    assert still_typed()
    page.click("text=Write this reading")
    page.wait_for_selector('.readings[data-rows="7"]')
    row = file.read_text(encoding="utf-8").splitlines()
    assert row[:7] == lines and len(row) == 8
    assert row[7].endswith("-379.911,-215.031,-438.002") and proposed["what"] in row[7]
    assert page.locator(".cells input").first.input_value() == ""
    page.click("text=Take the last row back")
    page.wait_for_selector('.readings[data-rows="6"]')
    assert file.read_text(encoding="utf-8").splitlines() == lines
