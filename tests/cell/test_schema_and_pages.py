"""What is made from the declarations: the schema, the reference pages, the first cell file."""

from __future__ import annotations

import re
import runpy
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from gudgeon.cell.entry import entries
from gudgeon.cell.faults import as_text
from gudgeon.cell.files import load_text
from gudgeon.cell.first_file import LAYOUT
from gudgeon.cell.model import Cell
from gudgeon.cell.reference import readings_page
from gudgeon.cell.schema import cell_schema
from gudgeon.cell.starter import TRIES, start
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from tests.cell.test_files import CELLS
from tests.quantity.test_text import ACCEPTED

ROOT = Path(__file__).parents[2]
MADE: dict[str, Callable[[], str]] = runpy.run_path(str(ROOT / "docs/make_reference.py"))["FILES"]


@pytest.mark.parametrize("name", MADE)
def test_what_is_stored_is_what_is_made(name: str) -> None:
    """On a difference run  python docs/make_reference.py  and read the diff."""
    assert (ROOT / name).read_text(encoding="utf-8") == MADE[name]()


# --- schema -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def validator() -> Any:
    schema = cell_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("path", CELLS, ids=lambda path: path.stem)
def test_cells_that_can_be_read_validate(path: Path, validator: Any) -> None:
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert [error.message for error in validator.iter_errors(data)] == []


def test_the_schema_refuses_no_quantity_that_the_reader_takes(validator: Any) -> None:
    homes = {
        Kind.LENGTH: ("unit", "face_height"),
        Kind.ANGLE: ("placement", "yaw"),
        Kind.MASS: ("unit", "mass"),
        Kind.TORQUE: ("unit", "rated_tilt_torque"),
        Kind.MONEY: ("money", "investment"),
        Kind.MONEY_PER_HOUR: ("money", "shop_rate"),
        Kind.MONEY_PER_YEAR: ("money", "running_cost"),
        Kind.PER_YEAR: ("money", "volume"),
        Kind.SHARE: ("money", "discount"),
        Kind.TIME: ("money", "saved_per_part"),
        Kind.NUMBER: ("unit", "brake_safety"),
        Kind.TEMPERATURE: ("readings", "temperature"),
    }
    tried = 0
    for text, kind, _, _ in ACCEPTED:
        if kind in homes:
            section, key = homes[kind]
            assert validator.is_valid({section: {key: text}}), text
            tried += 1
    assert tried > 60


@pytest.mark.parametrize(
    "data",
    [
        {"unit": {"face_height": 25}},
        {"unit": {"face_height": "25"}},
        {"unit": {"face_height": "12,5 mm"}},
        {"unit": {"face_hight": "25 mm"}},
        {"unti": {}},
        {"machine": {"travel_x": "762 mm"}},
        {"machine": {"travel_x": ["0 mm"]}},
        {"machine": {"layout": "moving tabel"}},
        {"control": {"tilt_sense": 0}},
        {"fixture": {"bolts": {"friction": 2}}},
        {"stations": {}},
        {"parts": [{"faces": [{"normal": [0, 0]}]}]},
        {"readings": {"compensated": "yes"}},
    ],
    ids=str,
)
def test_the_schema_refuses_what_an_editor_should_mark(data: Any, validator: Any) -> None:
    assert not validator.is_valid(data)


# --- pages --------------------------------------------------------------------------------------


def test_the_page_names_every_entry() -> None:
    page = MADE["docs/cell-file.md"]()

    def search(of: type) -> None:
        for key, entry in entries(of).items():
            if entry.of is not None:
                search(entry.of)
            else:
                assert f"| `{key}` |" in page
                assert entry.doc in page

    search(Cell)


def test_the_example_on_the_readings_page_can_be_read() -> None:
    table = readings_page().split("```\n")[1]
    text = '[readings]\nfile = "r.csv"\nball_diameter = "6 mm"\n'
    text += 'compensated = false\nreading_u = "0.003 mm"\n'
    loaded = load_text(text, readings=lambda name, at: table)
    assert loaded.faults == ()
    assert loaded.cell is not None
    assert len(loaded.cell.touches) == 11


# --- the first cell file ------------------------------------------------------------------------


def asked(*answers: str) -> tuple[str, list[str]]:
    """Return the file and the prompts; what is not answered is left blank."""
    prompts: list[str] = []
    left = list(answers)

    def ask(prompt: str) -> str:
        prompts.append(prompt)
        return left.pop(0) if left else ""

    return start(ask), prompts


def test_everything_blank_gives_a_file_of_examples() -> None:
    text, prompts = asked()
    loaded = load_text(text)
    assert loaded.faults == ()
    assert loaded.cell is not None
    assert loaded.cell.machine.travel_x is None
    assert 10 <= len(prompts) <= 16, "about a dozen"


@pytest.mark.parametrize("units", ["1", "2"])
def test_the_examples_read_once_the_marks_are_taken_away(units: str) -> None:
    text, _ = asked("Our shop", units)
    assert "#thrust" in text
    loaded = load_text(re.sub(r"(?m)^#(?=[a-z\[])", "", text))
    assert loaded.faults == (), as_text(loaded.faults)
    assert loaded.cell is not None
    assert (loaded.cell.shop.units == "in") == (units == "2")
    assert loaded.cell.operations[0].thrust is not None


def test_answers_stand_in_the_file_as_given() -> None:
    text, _ = asked(
        'Foo\'s "own" shop',
        "2",
        "bridge",
        "-30 to 0 in",
        '["-16 in", "0 in"]',
        "-20 in; 0 in",
        "24 1/2 in +- 0.1 in",
        "1",
        "-30 deg to 110 deg",
        "7 in",
        "y",
        "B",
        "C",
        "18500 USD",
    )
    loaded = load_text(text)
    cell = loaded.cell
    assert loaded.faults == ()
    assert cell is not None
    assert cell.shop.name == 'Foo\'s "own" shop'
    assert cell.shop.units == "in"
    assert cell.machine.layout == "bridge"
    assert cell.machine.travel_x == (Amount(-762.0), Amount(0.0))
    assert cell.machine.travel_y == (Amount(-406.4), Amount(0.0))
    assert cell.machine.travel_z == (Amount(-508.0), Amount(0.0))
    assert cell.machine.gauge_to_table == Amount(622.3, 2.54)
    assert cell.placement.tilt_along == "Y"
    assert (cell.control.tilt_letter, cell.control.rotary_letter) == ("B", "C")
    assert cell.currency == "USD"
    assert "1500 USD/yr" in text, "examples follow the currency"


def test_what_cannot_be_read_is_asked_again_with_the_mend() -> None:
    text, prompts = asked("", "", "", "-762 to 0", "0 mm to -762 mm", "-762 mm to 0 mm")
    assert "no unit" in prompts[4]
    assert "runs backwards" in prompts[5]
    assert "again" in prompts[5]
    assert 'travel_x = ["-762 mm", "0 mm"]' in text


@pytest.mark.parametrize(
    ("slip", "mend"),
    [
        ("-762 to 0", "-762 mm to 0 mm"),
        ("0 in to -30 in", "-30 in to 0 in"),
        ("-762,5 mm to 0 mm", "-762.5 mm to 0 mm"),
    ],
)
def test_the_mend_shown_is_taken_as_it_stands(slip: str, mend: str) -> None:
    _, prompts = asked("", "", "", slip)
    shown = next(line for line in prompts[4].splitlines() if line.startswith("  write  "))
    offered = shown.removeprefix("  write  ").split("  or  ")
    assert offered[0] == mend
    for choice in offered:
        text, _ = asked("", "", "", choice)
        assert "\ntravel_x = " in text, choice


@pytest.mark.parametrize(
    "typed", ['"-762 mm to 0 mm"', 'travel_x = ["-762 mm", "0 mm"]', "-762 mm to 0", "-762; 0 mm"]
)
def test_what_belongs_to_the_file_may_be_typed_too(typed: str) -> None:
    text, _ = asked("", "", "", typed)
    assert 'travel_x = ["-762 mm", "0' in text


def test_a_contradiction_with_an_earlier_answer_is_asked_again() -> None:
    text, prompts = asked("", "", "", "", "", "", "", "1", "", "", "", "A", "A", "C")
    assert any("both have the letter A" in prompt for prompt in prompts)
    assert 'rotary_letter = "C"' in text


def test_a_single_axis_is_not_asked_for_its_tilt() -> None:
    text, prompts = asked("", "", "", "", "", "", "", "rotary only")
    assert not any("tilt" in prompt.lower() for prompt in prompts[8:])
    assert load_text(text).faults == ()


def test_nonsense_does_not_keep_it_asking_for_ever() -> None:
    answers = ["\x07"] * 1000
    text, prompts = asked(*answers)
    assert len(prompts) <= 16 * TRIES
    assert load_text(text).faults == ()


def test_the_end_of_the_input_is_passed_on() -> None:
    def closed(prompt: str) -> str:
        raise EOFError

    with pytest.raises(EOFError):
        start(closed)


def test_prompts_are_plain_and_narrow() -> None:
    _, prompts = asked("x", "2", "nonsense")
    for prompt in prompts:
        assert prompt.isascii()
        assert max(map(len, prompt.splitlines())) <= 80


def test_the_layout_names_only_entries_that_exist() -> None:
    for block in LAYOUT:
        of: type = Cell
        for part in block.section.split("."):
            inner = entries(of)[part].of
            assert inner is not None
            of = inner
        assert {example.key for example in block.examples} <= set(entries(of))
