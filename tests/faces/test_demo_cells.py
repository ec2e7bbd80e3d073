"""Every face on every real answer of the demo cells."""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from lxml import html

from gudgeon.faces.terminal import main
from gudgeon.questions import find_questions
from tests.faces.test_schema import SCHEMA

DEMO = Path(__file__).resolve().parents[2] / "demo"
CELLS = sorted(DEMO.glob("*.toml"))


def test_there_are_demo_cells() -> None:
    assert CELLS


@pytest.mark.parametrize("cell", CELLS, ids=lambda path: path.stem)
def test_all_faces_show_all_answers(
    cell: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["ask", str(cell), "--json"])
    shown = capsys.readouterr()
    data = json.loads(shown.out)
    assert data["failed"] == []
    named = [
        name
        for name, question in find_questions().items()
        if not getattr(question, "NEEDS_PROGRAM", False) or "[[programs]]" in cell.read_text()
    ]
    assert [answer["question"] for answer in data["answers"]] == named
    for answer in data["answers"]:
        assert list(Draft202012Validator(SCHEMA).iter_errors(answer)) == []

    verdicts = {answer["verdict"] for answer in data["answers"]}
    assert code == (1 if "no" in verdicts else 3 if "cannot_tell" in verdicts else 0)

    assert main(["ask", str(cell)]) == code
    for line in capsys.readouterr().out.splitlines():
        assert len(line) <= 80
        assert all(" " <= char <= "~" for char in line)

    to = tmp_path / "report.html"
    assert main(["report", str(cell), "--to", str(to)]) == 0
    text = to.read_text("utf-8")
    page = html.document_fromstring(text)
    assert "This picture was left out" not in text
    assert [name for name, count in Counter(page.xpath("//@id")).items() if count > 1] == []
    assert set(re.findall(r"https?://[^\s\"'<>]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert len(page.xpath("//section[@class='question']")) == len(data["answers"])
