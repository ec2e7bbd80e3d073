"""The questions: one file each, found by themselves.

A question module holds ``NAME``, ``ASKS``, ``PLACE`` (its place in the order of the job) and
``answer(findings) -> Answer``.  Files whose names start with an underscore are not questions.
"""

from __future__ import annotations

import importlib
import pkgutil
from typing import Protocol, cast

from gudgeon.answer import Answer
from gudgeon.findings import Findings

__all__ = ["Question", "find_questions"]


class Question(Protocol):
    """What a question module offers."""

    NAME: str
    ASKS: str
    PLACE: int

    def answer(self, findings: Findings) -> Answer:
        """Answer the question from the findings."""
        ...


def find_questions() -> dict[str, Question]:
    """Return every question module by its name, in the order of the job."""
    names = [item.name for item in pkgutil.iter_modules(__path__) if not item.name.startswith("_")]
    modules = [cast(Question, importlib.import_module(f"{__name__}.{name}")) for name in names]
    return {module.NAME: module for module in sorted(modules, key=lambda module: module.PLACE)}
