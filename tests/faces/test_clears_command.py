"""The command with programs among its words: found, kept beside the cell, reported."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from gudgeon.faces.terminal import main

CASE = Path(__file__).parents[1] / "cases" / "program-5"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("cell.toml", "program.nc"):
        shutil.copy(CASE / name, tmp_path / name)
    return tmp_path


def asked(words: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, object]]:
    code = main(["ask", *words, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_program_named_in_the_cell_or_in_the_command(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cell, program = str(folder / "cell.toml"), str(folder / "program.nc")
    code, by_cell = asked(["clears", cell], capsys)
    assert code == 1 and by_cell["verdict"] == "no"
    kept = list((folder / ".gudgeon").glob("clears-*.json"))
    assert len(kept) == 1
    code, by_words = asked(["clears", program, cell], capsys)
    by_cell.pop("cautions"), by_words.pop("cautions")
    assert code == 1 and by_words == by_cell
    assert list((folder / ".gudgeon").glob("clears-*.json")) == kept
    _, fresh = asked(["clears", program, cell, "--fresh"], capsys)
    fresh.pop("cautions")
    assert fresh == by_cell


def test_the_report_shows_the_pose(folder: Path) -> None:
    target = folder / "page.html"
    assert main(["report", "clears", str(folder / "cell.toml"), "--to", str(target)]) == 0
    page = target.read_text(encoding="utf-8")
    assert "Crash, N100" in page and "program.nc" in page


def test_a_program_that_is_not_there(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "program.nc").unlink()
    assert main(["ask", "clears", str(folder / "cell.toml")]) == 2
    assert "program.nc" in capsys.readouterr().err


def test_a_program_for_a_question_that_needs_none(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ask", "axes", str(folder / "program.nc"), str(folder / "cell.toml")]) == 2
    assert "is not used" in capsys.readouterr().err


def test_a_program_without_a_cell(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ask", str(folder / "program.nc")]) == 2
    assert "the cell file is missing" in " ".join(capsys.readouterr().err.split())


def test_a_folder_that_may_not_be_written_keeps_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / ".gudgeon").write_text("a file in its place", encoding="utf-8")
    code, _ = asked(["clears", str(folder / "cell.toml")], capsys)
    assert code == 1
