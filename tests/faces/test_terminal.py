"""The command: words, exit codes, faults, and one failing question beside good ones."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from gudgeon import __version__
from gudgeon.answer import Answer
from gudgeon.faces import terminal
from gudgeon.faces.report import MARK
from gudgeon.faces.terminal import main
from tests.faces.samples import ASKS, FITS, HOLDS, PAYS, TURNS
from tests.faces.test_schema import SCHEMA


def question(answer: Answer) -> SimpleNamespace:
    name = answer.question
    return SimpleNamespace(
        NAME=name, ASKS=ASKS[name], PLACE=1, answer=lambda findings: answer, __doc__=ASKS[name]
    )


@pytest.fixture
def known(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Put four constructed questions in place of the real ones."""
    found = {answer.question: question(answer) for answer in (PAYS, FITS, HOLDS, TURNS)}
    monkeypatch.setattr("gudgeon.questions.find_questions", lambda: found)
    return found


@pytest.fixture
def cell(tmp_path: Path) -> str:
    path = tmp_path / "cell.toml"
    path.write_text('[shop]\nname = "Heron Lane"\nunits = "mm"\n', encoding="utf-8")
    return str(path)


@pytest.mark.usefixtures("known")
@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["pays"], 0),
        (["holds"], 0),
        (["fits"], 1),
        (["turns"], 3),
        (["pays", "turns"], 3),
        (["turns", "fits", "pays"], 1),
        ([], 1),
        (["PAYS"], 0),
    ],
)
def test_exit_code_follows_the_answers(
    words: list[str], code: int, cell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ask", *words, cell]) == code
    assert main(["ask", "--json", *words, cell]) == code
    assert capsys.readouterr().err == ""


@pytest.mark.usefixtures("known")
def test_all_questions_are_asked_if_none_is_named(
    cell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["ask", cell])
    out = capsys.readouterr().out

    assert [out.index(f"== {name} ") for name in ("pays", "fits", "holds", "turns")] == sorted(
        out.index(f"== {name} ") for name in ("pays", "fits", "holds", "turns")
    )
    assert "== in short " in out


@pytest.mark.usefixtures("known")
def test_one_question_gives_one_object_and_several_a_list(
    cell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    check = Draft202012Validator(SCHEMA)
    main(["ask", "turns", cell, "--json"])
    one = json.loads(capsys.readouterr().out)
    main(["ask", "pays", "turns", cell, "--json"])
    two = json.loads(capsys.readouterr().out)

    assert list(check.iter_errors(one)) == []
    assert one["question"] == "turns"
    assert two["schema"] == "gudgeon.answers/1"
    assert [answer["question"] for answer in two["answers"]] == ["pays", "turns"]
    assert two["failed"] == [] and two["warnings"] == []
    assert all(list(check.iter_errors(answer)) == [] for answer in two["answers"])


@pytest.mark.usefixtures("known")
def test_a_question_named_twice_is_answered_once(
    cell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["ask", "turns", "turns", cell, "--json"])

    assert json.loads(capsys.readouterr().out)["question"] == "turns"


@pytest.mark.usefixtures("known")
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["ask", "trns", "{cell}"], 'do you mean "turns"?'),
        (["ask", "zzz", "{cell}"], "the questions are: pays, fits, holds, turns"),
        (["ask", "\x1b[2J", "{cell}"], "is not a question"),
        (["ask", "turns"], "the cell file is missing"),
        (["ask", "pays", "turns"], "the cell file is missing"),
        (["ask", "{cell}", "{cell}"], "the cell file comes last"),
        (["ask", "other.toml", "{cell}"], "the cell file comes last"),
        (["report", "trns", "{cell}"], 'do you mean "turns"?'),
        (["report", "{cell}", "--to", "{cell}"], "is left alone"),
        (["report", "{cell}", "--to", "{folder}"], "is a folder"),
        (["report", "{cell}", "--to", "{folder}/no/such.html"], "there is no folder"),
        (["start", "{cell}"], "exists already"),
        (["start", "{folder}/no/cell.toml"], "there is no folder"),
        (["questions", "trns"], 'do you mean "turns"?'),
    ],
)
def test_slips_on_the_command_line_are_named_with_the_way_out(
    words: list[str], said: str, cell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = Path(cell).read_bytes()
    words = [word.format(cell=cell, folder=Path(cell).parent) for word in words]

    assert main(words) == 2
    shown = capsys.readouterr()
    assert said in " ".join(shown.err.split())
    assert shown.out == ""
    assert all(" " <= char <= "~" or char == "\n" for char in shown.err)
    assert Path(cell).read_bytes() == before


@pytest.mark.usefixtures("known")
def test_the_cell_file_may_stand_before_the_questions(
    cell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ask", cell, "turns", "--json"]) == main(["ask", "turns", cell, "--json"])
    first, second = capsys.readouterr().out.split("}\n{")

    assert json.loads(first + "}") == json.loads("{" + second)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["asks"], 'do you mean "ask"?'),
        (["cell.toml"], "write: gudgeon ask cell.toml"),
        (["zzz"], "write one of: ask, read, check, start"),
        (["ask"], "write: gudgeon ask [QUESTION ...] [PROGRAM ...] CELL"),
        (["check"], "write: gudgeon check CELL"),
        (["schema"], "write: gudgeon schema {cell,answer,page}"),
        (["schema", "cells"], 'do you mean "cell"?'),
        (["--no"], "--no is not known"),
    ],
)
def test_unknown_words_end_with_code_2(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_no_word_at_all_shows_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    out = capsys.readouterr().out
    assert all(word in out for word in ("ask", "check", "start", "report", "schema", "questions"))


@pytest.mark.usefixtures("known")
@pytest.mark.parametrize("command", [["ask"], ["check"], ["report", "--to", "{to}"]])
@pytest.mark.parametrize("text", ["not = [toml", "[shop]\nnmae = 'x'\n", None])
def test_a_faulty_cell_file_ends_with_code_2_and_its_faults(
    command: list[str], text: str | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "cell.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    to = tmp_path / "report.html"

    assert main([*(word.format(to=to) for word in command), str(path)]) == 2
    shown = capsys.readouterr()
    assert "error C" in shown.err and "where" in shown.err
    assert shown.out == ""
    assert not to.exists()


@pytest.mark.usefixtures("known")
def test_faults_are_data_too_where_data_is_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "cell.toml"
    path.write_text("[shop]\nnmae = 'x'\n", encoding="utf-8")

    assert main(["ask", "turns", str(path), "--json"]) == 2
    shown = capsys.readouterr()
    data = json.loads(shown.out)
    assert data["schema"] == "gudgeon.faults/1"
    assert data["faults"][0]["level"] == "error"
    assert "error C" in shown.err


def test_one_failing_question_does_not_lose_the_others(
    known: dict[str, Any],
    cell: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.delenv("GUDGEON_TRACE", raising=False)
    known["fits"].answer = lambda findings: 1 / 0

    assert main(["ask", cell]) == 2
    shown = capsys.readouterr()
    assert "== pays " in shown.out and "== turns " in shown.out
    assert "not worked out" in shown.out
    assert '"fits" was not worked out' in shown.err and "ZeroDivisionError" in shown.err
    assert "Traceback" not in shown.err

    assert main(["ask", "fits", cell, "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["failed"] == ["fits"]

    monkeypatch.setenv("GUDGEON_TRACE", "1")
    assert main(["ask", "fits", cell]) == 2
    assert "Traceback" in capsys.readouterr().err


def test_a_fault_of_ours_anywhere_is_one_plain_line(
    cell: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken() -> None:
        raise RuntimeError("no questions found")

    monkeypatch.delenv("GUDGEON_TRACE", raising=False)
    monkeypatch.setattr("gudgeon.questions.find_questions", broken)

    assert main(["ask", cell]) == 2
    shown = capsys.readouterr()
    assert "a fault in Gudgeon itself (RuntimeError: no questions found)" in " ".join(
        shown.err.split()
    )
    assert "Traceback" not in shown.err


@pytest.mark.usefixtures("known")
def test_a_report_is_written_and_only_a_report_is_overwritten(
    cell: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "out.html"
    assert main(["report", cell, "--to", str(to)]) == 0  # the verdicts are in the report
    first = to.read_text("utf-8")
    assert main(["report", "turns", cell, "--to", str(to)]) == 0
    second = to.read_text("utf-8")
    to.write_text("my notes", encoding="utf-8")
    assert main(["report", cell, "--to", str(to)]) == 2

    assert "Heron Lane" in first and ASKS["pays"] in first
    assert ASKS["pays"] not in second and ASKS["turns"] in second
    assert to.read_text("utf-8") == "my notes"
    assert "written:" in capsys.readouterr().out


@pytest.mark.usefixtures("known")
def test_the_cell_file_is_never_overwritten_whatever_stands_in_it(cell: str) -> None:
    text = f"# {MARK}\n" + Path(cell).read_text("utf-8")
    Path(cell).write_text(text, encoding="utf-8")

    assert main(["report", cell, "--to", cell]) == 2
    assert Path(cell).read_text("utf-8") == text


@pytest.mark.usefixtures("known")
def test_questions_are_listed_in_the_order_of_the_job(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["questions"]) == 0
    lines = capsys.readouterr().out.splitlines()

    assert [line.split()[0] for line in lines] == ["pays", "fits", "holds", "turns"]
    assert main(["questions", "turns"]) == 0
    assert ASKS["turns"] in capsys.readouterr().out


def test_the_answer_schema_is_printed_as_published(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "answer"]) == 0
    assert json.loads(capsys.readouterr().out) == SCHEMA


def test_start_writes_a_file_that_can_be_checked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("gudgeon.cell.starter")
    monkeypatch.setattr(terminal, "_prompt", lambda words: "")
    path = tmp_path / "new.toml"

    assert main(["start", str(path)]) == 0
    assert main(["check", str(path)]) == 0
    assert "ready to ask" in capsys.readouterr().out


def test_start_that_ends_early_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("gudgeon.cell.starter")

    def ended(words: str) -> str:
        raise EOFError

    monkeypatch.setattr(terminal, "_prompt", ended)
    assert main(["start", str(tmp_path / "new.toml")]) == 2
    assert list(tmp_path.iterdir()) == []
    assert "nothing was written" in capsys.readouterr().err


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "gudgeon.faces.terminal", *words],
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_version_is_there_at_once() -> None:
    """Start-up goal 0.3 s; a slow shared computer is given twice that."""
    best = float("inf")
    for _ in range(3):
        begun = time.perf_counter()
        done = run("--version")
        best = min(best, time.perf_counter() - begun)

    assert done.stdout == f"gudgeon {__version__}\n"
    assert best < 0.6


def test_starting_up_loads_nothing_heavy() -> None:
    code = (
        "import sys; from gudgeon.faces.terminal import main; main(['--version']); "
        "heavy = {'numpy', 'scipy', 'pint', 'jinja2', 'tree_sitter'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.splitlines()[-1] == "[]"


def test_a_reader_that_stops_early_is_no_fault() -> None:
    done = subprocess.run(
        f'"{sys.executable}" -m gudgeon.faces.terminal schema answer | true',
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )

    assert "Traceback" not in done.stderr and "Error" not in done.stderr
