"""Golden answers: what each demo shop and acceptance case is told, word for word, in brief.

``GUDGEON_GOLDEN=write python -m pytest tests/questions/test_golden_answers.py`` stores afresh; read
the difference before it is committed.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gudgeon.cell.files import load
from gudgeon.faces.plain import answer_text
from gudgeon.findings import Findings
from gudgeon.questions import find_questions

HERE = Path(__file__).parent
CELLS = {
    path.stem: path
    for folder in (HERE.parents[1] / "demo", HERE.parent / "cases")
    for path in sorted(folder.glob("*.toml"))
    if not path.name.startswith(("expected-", "own-"))
}


@pytest.mark.parametrize("name", CELLS)
def test_answers_read_as_stored(name: str) -> None:
    loaded = load(CELLS[name])
    assert loaded.cell is not None
    findings = Findings(loaded.cell)
    text = "\n".join(
        answer_text(question.answer(findings), question.ASKS, brief=True)
        for question in find_questions().values()
        # Asked only with a program: see tests/cases/test_program_5.py.
        if not getattr(question, "NEEDS_PROGRAM", False)
    )
    stored = HERE / "golden" / f"{name}.txt"
    if os.environ.get("GUDGEON_GOLDEN") == "write":
        stored.parent.mkdir(exist_ok=True)
        stored.write_text(text, encoding="utf-8", newline="\n")
    assert text == stored.read_text(encoding="utf-8")
