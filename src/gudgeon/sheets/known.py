"""What a sheet may draw on: the findings of the cell, and the answers, each asked once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gudgeon.answer import Answer
from gudgeon.findings import Findings
from gudgeon.questions import Question, find_questions
from gudgeon.sheets import find_sheets
from gudgeon.sheets.shape import Sheet

__all__ = ["Known"]


@dataclass(slots=True)
class Known:
    """Findings, and answers to the questions that a sheet asks.

    Attributes
    ----------
    findings : Findings
    answers : dict of str to Answer
        What has been asked already, by the name of the question; filled as sheets ask.
    printed : tuple of str or None
        Names of the sheets that are printed together; ``None``: all of them.
    sheets : dict of str to Sheet
        Those that were worked out already, by name.
    """

    findings: Findings
    answers: dict[str, Answer] = field(default_factory=dict)
    printed: tuple[str, ...] | None = None
    sheets: dict[str, Sheet] = field(default_factory=dict)
    _questions: Mapping[str, Question] = field(default_factory=find_questions)

    def answer(self, name: str) -> Answer:
        """Return the answer to a question; KeyError for a name that is none."""
        if name not in self.answers:
            self.answers[name] = self._questions[name].answer(self.findings)
        return self.answers[name]

    def sheet(self, name: str) -> Sheet:
        """Return a sheet, worked out once; KeyError for a name that is none."""
        if name not in self.sheets:
            self.sheets[name] = find_sheets()[name].sheet(self)
        return self.sheets[name]
