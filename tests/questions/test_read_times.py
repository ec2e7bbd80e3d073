"""How long a program takes, as `read` shows it; one line where it cannot be told."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load
from gudgeon.faces.plain import answer_text
from gudgeon.faces.terminal import main
from gudgeon.faces.wording import plain_data
from gudgeon.findings import Findings
from gudgeon.questions._read import ASKS, read_program
from tests.faces.test_schema import SCHEMA
from tests.findings.test_timed import findings, without
from tests.findings.test_timed_program import CELL, HEAD

DEMO = Path(__file__).parents[2] / "demo"
PROGRAM = "T1 M6\nG0 X100.\nG1 X110. F600.\nM0\nM30\n"


def answered(program: str = PROGRAM, text: str = CELL) -> Answer:
    found = read_program(findings(text), (HEAD + program).encode(), "part.nc")
    data = json.loads(json.dumps(plain_data(found.as_data()), allow_nan=False))
    assert not list(Draft202012Validator(SCHEMA).iter_errors(data))
    assert all(len(row) <= 80 for row in answer_text(found, ASKS).splitlines())
    return found


def figure(answer: Answer, name: str = "run_time"):
    return next(one for one in answer.figures if one.name == name)


def test_time_to_run_with_its_range_and_split() -> None:
    found = answered()
    [table] = [one for one in found.tables if one.name == "times"]

    assert figure(found).value == pytest.approx(4.0 + 0.4 + 1.004, abs=0.006)
    assert figure(found).plus_minus == pytest.approx(0.3, abs=0.006)
    assert figure(found).unit == "s"
    assert {row[0]: row[1] for row in table.rows} == {
        "tool change": 4.0,
        "rapids": 0.4,
        "cutting": 1.0,
    }
    assert sum(row[3] for row in table.rows) == pytest.approx(100.0, abs=0.2)
    assert figure(found, "waits").value == 1.0
    assert [one.name for one in found.tables if one.name == "times_by_tool"]


def test_one_line_names_the_entry_where_speeds_are_not_known() -> None:
    found = answered(text=without("rapid_x", CELL))

    assert figure(found).value is None
    assert "machine.motion.rapid_x" in figure(found).note
    assert not [one for one in found.tables if one.name.startswith("times")]
    assert found.verdict is Verdict.YES  # what it does is understood all the same
    assert "machine.motion.rapid_x" in " ".join(answer_text(found, ASKS).split())


def test_a_lower_bound_says_so_and_asks_for_the_entry() -> None:
    found = answered(text=without("tool_change", CELL))

    assert "at least" in figure(found).note
    assert any("lower bound" in text for text in found.cautions)
    assert any("timing.tool_change" in one.where for one in found.missing)


def test_what_was_taken_for_granted_is_told() -> None:
    found = answered(text=without("acceleration_x", CELL))

    assert any("machine.motion.acceleration_x" in text for text in found.assumed)


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_the_demo_shops_get_a_time(name: str) -> None:
    loaded = load(DEMO / f"{name}.toml")
    assert loaded.cell is not None

    def called(number: int) -> bytes | None:
        file = DEMO / f"O{number}.nc"
        return file.read_bytes() if file.exists() else None

    text = (DEMO / f"{name}.nc").read_bytes()
    found = read_program(Findings(loaded.cell), text, f"{name}.nc", called)

    run = figure(found)
    assert run.value is not None
    assert run.plus_minus is not None
    assert 30.0 < run.value < 600.0
    assert 0.0 < run.plus_minus < 0.15 * run.value
    assert not [text for text in found.cautions if "lower bound" in text]


def test_a_reading_of_the_stopwatch_beside_the_cell_counts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    watch = '[[timing.stopwatch]]\nprogram = "{}.nc"\nseconds = "9 s +- 0.5 s"\n'
    for name in ("long", "other"):
        (tmp_path / f"{name}.nc").write_text(HEAD + PROGRAM, encoding="ascii")
    cell = tmp_path / "cell.toml"
    cell.write_text(CELL + watch.format("long") + watch.format("gone"), encoding="ascii")

    main(["read", str(tmp_path / "long.nc"), str(cell)])
    shown = " ".join(capsys.readouterr().out.split())
    assert "9.00 +- 0.50 s" in shown
    assert "This program was timed" in shown
    assert '"gone.nc" was not handed in' in shown

    main(["read", str(tmp_path / "other.nc"), str(cell)])
    assert "Set right by the stopwatch" in " ".join(capsys.readouterr().out.split())
