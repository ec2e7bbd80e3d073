"""The command ``gudgeon read``: files, exit codes, called programs, the page, progress."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from gudgeon.faces import programs
from gudgeon.faces.programs import Neighbours, Progress
from gudgeon.faces.terminal import main
from tests.faces.test_schema import SCHEMA

CELL = """
[shop]
name = "Heron Lane"
[control]
missing_point = "one unit"
[[control.offsets]]
word = "G54"
x = "1 mm"
y = "2 mm"
z = "3 mm"
"""
GOOD = "G21 G90 G17 G54 G0 X1 Y1 Z1\nG1 X5 F100\nM30\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "cell.toml").write_text(CELL, encoding="utf-8")
    (tmp_path / "part.nc").write_text(GOOD, encoding="ascii")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("words", [["part.nc", "cell.toml"], ["cell.toml", "part.nc"]])
def test_the_cell_file_may_stand_first_or_last(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["read", *words]) == 0
    out = capsys.readouterr().out
    assert "== read =" in out
    assert "Read whole" in out
    assert "gudgeon read ... --to FILE" in out


@pytest.mark.parametrize(
    ("program", "code"),
    [(GOOD, 0), ("G21 G90 G17 G54 G1 X1\nM30\n", 1), ("G21 G90 G54 G0 X1\nM77\nM30\n", 3)],
)
def test_exit_code_follows_the_verdict(
    program: str, code: int, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "part.nc").write_text(program, encoding="ascii")
    assert main(["read", "part.nc", "cell.toml"]) == code
    assert main(["read", "part.nc", "cell.toml", "--json"]) == code
    assert capsys.readouterr().err == ""


@pytest.mark.usefixtures("folder")
def test_data_is_an_answer(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", "part.nc", "cell.toml", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert list(Draft202012Validator(SCHEMA).iter_errors(data)) == []
    assert data["question"] == "read"


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("lost.nc", 'there is no program "lost.nc"'),
        ("folder", "is a folder"),
        ("empty.nc", "is empty"),
        ("blank.nc", "is empty"),
        ("a\0b.nc", "cannot be opened"),
        ("large.nc", "is larger than"),
    ],
)
def test_a_program_that_cannot_be_had_is_one_plain_line(
    name: str,
    said: str,
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(programs, "LARGEST_PROGRAM", 2_000_000)
    (folder / "folder").mkdir()
    (folder / "empty.nc").write_bytes(b"")
    (folder / "blank.nc").write_bytes(b" \r\n\t\n")
    (folder / "large.nc").write_bytes(b"G0X1\n" * 500_000)
    assert main(["read", name, "cell.toml"]) == 2
    err = " ".join(capsys.readouterr().err.split())
    assert said in err
    assert err.count("gudgeon:") == 1


@pytest.mark.usefixtures("folder")
def test_a_cell_that_cannot_be_read_is_told_as_always(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", "part.nc", "no.toml"]) == 2
    assert "C001" in capsys.readouterr().err


@pytest.mark.usefixtures("folder")
def test_one_file_only_says_what_to_write(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", "part.nc"]) == 2
    assert "write: gudgeon read PROGRAM CELL" in " ".join(capsys.readouterr().err.split())


def test_the_page_holds_drawings_and_the_digests_of_all_files(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "part.nc").write_text(GOOD.replace("G1 X5 F100", "M98 P7"), encoding="ascii")
    (folder / "O0007.nc").write_text("O7\nG1 X5 F100\nM99\n", encoding="ascii")
    assert main(["read", "part.nc", "cell.toml", "--to", "page.html"]) == 0
    page = (folder / "page.html").read_text("utf-8")
    assert "part.nc on Heron Lane" in page
    assert "This picture was left out" not in page
    assert page.count("<svg") > 2
    for name in ("part.nc", "cell.toml", "O0007.nc"):
        assert name in page
    capsys.readouterr()
    assert main(["read", "part.nc", "cell.toml", "--to", "part.nc"]) == 2, "no program is lost"
    assert "is left alone" in " ".join(capsys.readouterr().err.split())
    assert (folder / "part.nc").read_text("ascii").startswith("G21")


# --- called programs -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["O1000.nc", "o01000.nc", "1000.nc", "1000", "O1000.tap"])
def test_called_programs_are_found_by_their_number(name: str, folder: Path) -> None:
    (folder / name).write_text("O1000\nM99\n", encoding="ascii")
    beside = Neighbours(folder / "part.nc")
    assert beside(1000) == b"O1000\nM99\n"
    assert beside.names == {1000: name}
    assert beside(1001) is None


def test_the_same_ending_goes_first_and_other_files_never(folder: Path) -> None:
    for name in ("1000.csv", "O1000.toml", "O1000.tap", "O1000.nc", "1000.nc"):
        (folder / name).write_text(name, encoding="ascii")
    assert Neighbours(folder / "part.nc")(1000) == b"O1000.nc"
    assert Neighbours(folder / "part.tap")(1000) == b"O1000.tap"
    assert Neighbours(folder / "none" / "part.nc")(1000) is None


def test_the_program_itself_is_not_its_own_neighbour(folder: Path) -> None:
    (folder / "O5.nc").write_text("O5\nM99\n", encoding="ascii")
    assert Neighbours(folder / "O5.nc")(5) is None


# --- long programs -------------------------------------------------------------------------------


def test_progress_shows_on_a_terminal_and_nowhere_else(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    silent = Progress()
    assert silent(0.5)
    silent.done()
    assert capsys.readouterr().err == ""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    shown = Progress()
    for share in (0.1, 0.104, 0.5, 2.0):
        assert shown(share)
    shown.done()
    err = capsys.readouterr().err
    assert err.count("reading:") == 3
    assert err.endswith("\r")


@pytest.mark.usefixtures("folder")
def test_an_interrupt_ends_it_cleanly(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("gudgeon.questions._read.read_program", interrupted)
    assert main(["read", "part.nc", "cell.toml"]) == 130
    assert "stopped" in capsys.readouterr().err


def test_a_thousand_lines_take_about_a_second_from_cold(folder: Path) -> None:
    body = "".join(f"G1 X{i % 90}.5 Y{i % 70}.25 F500\n" for i in range(1000))
    (folder / "part.nc").write_text(GOOD.replace("G1 X5 F100\n", body), encoding="ascii")
    words = [sys.executable, "-m", "gudgeon", "read", "part.nc", "cell.toml"]
    begun = time.perf_counter()
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    took = time.perf_counter() - begun
    assert done.returncode == 0, done.stderr
    assert took < 5.0, "usually half a second; room for a busy machine"


def test_a_short_program_loads_no_compiler_and_no_solver(folder: Path) -> None:
    code = (
        "import sys; from gudgeon.faces.terminal import main; "
        "main(['read', 'part.nc', 'cell.toml']); "
        "print([n for n in ('numba', 'scipy.optimize', 'jinja2') if n in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=folder
    )
    assert done.stdout.splitlines()[-1] == "[]"
