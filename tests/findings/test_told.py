"""How far long work is, and its stop: told without a change of any answer."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from gudgeon.answer import Answer
from gudgeon.cell.files import load
from gudgeon.cell.model import Cell
from gudgeon.findings import Findings
from gudgeon.findings.base import Stopped
from gudgeon.questions import find_questions

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture(scope="module")
def cell() -> Cell:
    found = load(DEMO / "juniper-street.toml").cell
    assert found is not None
    return found


def asked(question: str, findings: Findings) -> Answer:
    found: Answer = find_questions()[question].answer(findings)
    return found


def test_parts_lie_in_each_other_and_are_left_as_they_were(cell: Cell) -> None:
    findings, said = Findings(cell), list[float]()
    findings.told = lambda share: said.append(share) is None
    with findings.part(0.2, 0.6):
        findings.going(0.5)
        with findings.part(0.5, 1.0):
            findings.going(1.0)
        with pytest.raises(ValueError), findings.part(0.25, 0.5):
            raise ValueError
        findings.going(1.0)
        other = findings.telling(Findings(cell))
        with other.part(0.5, 1.0):
            other.going(0.5)
    findings.going(1.0)
    assert said == pytest.approx([0.2, 0.4, 0.4, 0.6, 0.3, 0.6, 0.4, 0.5, 1.0])


@pytest.mark.parametrize("question", ["fits", "order"])
def test_the_share_goes_up_and_the_answer_is_the_same(cell: Cell, question: str) -> None:
    findings, said = Findings(cell), [-1.0]
    findings.told = lambda share: said.append(max(share, said[-1])) is None
    told = asked(question, findings)
    assert len(set(said)) > 15 and said[1] < 0.05 and 0.9 < said[-1] <= 1.0
    longest = max(after - before for before, after in pairwise(said[1:]))
    assert longest < 0.4
    assert told == asked(question, Findings(cell))


@pytest.mark.parametrize("question", ["fits", "order"])
@pytest.mark.parametrize("heard", [1, 9, 14, 30])
def test_stopped_anywhere_it_can_be_asked_again(cell: Cell, question: str, heard: int) -> None:
    findings, count = Findings(cell), 0

    def told(share: float) -> bool:
        nonlocal count
        count += 1
        return count < heard

    findings.told = told
    with pytest.raises(Stopped):
        asked(question, findings)
    assert count == heard  # it went no step further
    findings.told = None
    assert asked(question, findings) == asked(question, Findings(cell))
