"""The form shows the file's own text, whole, and each fault at its entry."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("pydantic", reason="the extra `web` is not installed")

from gudgeon.cell.entry import Shape, entries
from gudgeon.cell.files import load_text
from gudgeon.cell.journal import ChangedMeanwhile, Journal, digest_of
from gudgeon.cell.model import Cell
from gudgeon.faces.web.forms import UNITS, edited, form_of
from gudgeon.faces.web.wire import Change, Entry, Form, Section
from gudgeon.quantity.kinds import BASE, Kind
from gudgeon.quantity.text import read_amount

DEMO = Path(__file__).parents[3] / "demo"
ALDER = (DEMO / "alder-ford.toml").read_text(encoding="utf-8")


def made(text: str) -> Form:
    return form_of(text, "cell.toml", "0" * 64, load_text(text).faults)


def entry(form: Form, path: str) -> Entry:
    def inside(sections: list[Section]) -> list[Entry]:
        return [e for s in sections for e in (*s.entries, *inside(s.sections)) if e.path == path]

    (found,) = inside(form.sections)
    return found


def test_values_are_shown_as_they_are_written() -> None:
    form = made(ALDER)
    height = entry(form, "unit.face_height")
    assert (height.text, height.unit, height.shape) == ("25 mm +- 0.2 mm", "mm", "one")
    assert height.line == ALDER.splitlines().index('face_height = "25 mm +- 0.2 mm"') + 1
    assert entry(form, "stations[2].at").text == ["0 mm", "65 mm", "110 mm"]
    assert entry(form, "control.tilt_sense").text == "-1"
    assert entry(form, "unit.lugs_needed").text == "2"
    assert entry(form, "placement.riser").text is None
    assert entry(form, "placement.bolts.nut_factor").limits == "above 0 and at most 1"


def test_every_entry_and_section_of_the_declarations_is_in_the_form() -> None:
    form = made("")

    def expected(of: type, under: str) -> set[str]:
        found = set()
        for key, one in entries(of).items():
            if one.of is not None:
                found.add(f"{under}{key}")
                if one.shape is Shape.SECTION:
                    found |= expected(one.of, f"{under}{key}.")
            else:
                found.add(f"{under}{key}")
        return found

    def got(sections: list[Section]) -> set[str]:
        return {
            path
            for section in sections
            for path in (
                section.path,
                *(one.path for one in section.entries),
                *got(section.sections),
            )
        }

    assert got(form.sections) == expected(Cell, "")
    assert not any(section.there for section in form.sections)


def test_a_fault_stands_at_its_entry() -> None:
    text = '[unit]\nname = "u"\nmass = "8 mm"  # weighed\n\n[unit.flange]\nholes = ["1"]\n'
    form = made(text)
    (mass,) = entry(form, "unit.mass").faults
    assert (mass.line, mass.text[mass.column : mass.column_end]) == (3, '"8 mm"')
    assert mass.mend and mass.what
    assert entry(form, "unit.flange.holes").faults
    assert not entry(form, "unit.name").faults
    assert len(form.faults) >= 2


def test_repeated_sections_are_counted_in_every_form_of_writing() -> None:
    form = made('stations = [{ name = "a" }, { name = "b" }]\n[[tools]]\n[[tools]]\nnumber = 2\n')
    by_path = {section.path: section for section in form.sections}
    assert [one.path for one in by_path["tools"].sections] == ["tools[1]", "tools[2]"]
    assert [one.path for one in by_path["stations"].sections] == ["stations[1]", "stations[2]"]
    assert entry(form, "stations[2].name").text == "b"


def test_units_that_are_offered_can_be_read_and_each_kind_offers_some() -> None:
    for kind, units in UNITS.items():
        for unit in units:
            assert read_amount(f"1 {unit}", kind).value > -300.0
    money = {Kind.MONEY, Kind.MONEY_PER_YEAR, Kind.MONEY_PER_HOUR}
    assert set(BASE) - set(UNITS) == money


def test_changes_from_the_form_are_written_and_refused_where_the_file_is_another(
    tmp_path: Path,
) -> None:
    path = tmp_path / "cell.toml"
    path.write_text(ALDER, encoding="utf-8")
    journal = Journal(path, tmp_path / ".gudgeon" / "edits.sqlite")
    seen = digest_of(path.read_bytes())
    edited(journal, seen, [Change(path="unit.mass", text="87 kg"), Change(path="tools", text=[])])
    assert path.read_text() == ALDER.replace('"86 kg"', '"87 kg"').replace(
        "\n\n[[operations]]", "\n\n[[tools]]\n\n[[operations]]", 1
    )
    with pytest.raises(ChangedMeanwhile):
        edited(journal, seen, [Change(path="unit.mass", text="88 kg")])
    assert journal.state().undo == "unit.mass, tools"
