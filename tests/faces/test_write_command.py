"""The command `write`: a proven program to a file, and nothing where none is offered."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from gudgeon.cell.files import load
from gudgeon.faces.terminal import main
from gudgeon.faces.write import PROGRAMS
from gudgeon.findings import Findings
from gudgeon.program.reader import read
from gudgeon.program.track import Ended

ROOT = Path(__file__).parents[2]
CASE = ROOT / "tests" / "cases" / "case-1.toml"
HALF = ROOT / "demo" / "half-filled.toml"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Return a copy of acceptance case 1 whose control has comments."""
    for file in CASE.parent.glob("case-1*"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    path = tmp_path / "case-1.toml"
    text = path.read_text("utf-8").replace("[control]\n", '[control]\ncomment = "( )"\n')
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize("name", ["warm-up", "jog-test"])
def test_what_is_written_is_read_to_its_end(
    shop: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    target = shop.with_name("p.nc")
    assert main(["write", name, str(shop), "--to", str(target), "--date", "2026-03-09"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "written:" in told and "start Raise Z" in told
    assert "proof Read back" in told and "caution" in told
    text = target.read_bytes()
    assert b"WRITTEN 2026-03-09, INPUTS " in text
    assert b"(CAUTION: " in text and b"(START: " in text
    cell = load(shop).cell
    assert cell is not None
    track = read(text, Findings(cell).control_for(text).dialect)
    assert track.ended is Ended.BY_WORD


def test_the_same_input_gives_the_same_bytes(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = []
    for _ in range(2):
        assert main(["write", "warm-up", str(shop), "--date", "2026-03-09"]) == 0
        shown.append(capsys.readouterr().out)
    assert shown[0] == shown[1]
    shop.write_text(shop.read_text("utf-8") + "\n", "utf-8")
    assert main(["write", "warm-up", str(shop), "--date", "2026-03-09"]) == 0
    digest = re.compile(r"INPUTS [0-9A-F]{8}")
    other = capsys.readouterr().out
    assert other != shown[0]
    assert digest.sub("", other) == digest.sub("", shown[0])


def test_a_file_that_is_there_is_left_alone(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = shop.with_name("p.nc")
    target.write_text("mine", "utf-8")
    assert main(["write", "warm-up", str(shop), "--to", str(target)]) == 2
    assert "left alone" in capsys.readouterr().err
    assert target.read_text("utf-8") == "mine"
    assert main(["write", "warm-up", str(shop), "--to", str(shop / "no" / "p.nc")]) == 2
    assert "folder" in capsys.readouterr().err


@pytest.mark.parametrize("name", PROGRAMS)
def test_nothing_is_written_where_none_is_offered(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "p.nc"
    assert main(["write", name, str(HALF), "--to", str(target)]) == 1
    told = capsys.readouterr()
    assert told.out == "" and "no program is written" in told.err
    assert "cannot be proven" in told.err
    assert not target.exists()
    assert ("Jog A by +5 deg" in told.err) is (name == "jog-test")


def test_another_name_and_a_bad_date_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["write", "warmup", str(HALF)]) == 2
    assert "warm-up" in capsys.readouterr().err
    assert main(["write", "warm-up", str(HALF), "--date", "9.3.2026"]) == 2
