"""The questions: one file each, found by themselves.

A question module holds ``NAME``, ``ASKS``, ``PLACE`` (its place in the order of the job) and
``answer(findings) -> Answer``.  Files whose names start with an underscore are not questions.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Protocol, cast

if TYPE_CHECKING:
    from gudgeon.answer import Answer
    from gudgeon.findings import Findings

__all__ = ["Listed", "Question", "find_questions", "list_questions"]


@dataclass(frozen=True, slots=True)
class Listed:
    """What a question module says of itself.

    Attributes
    ----------
    name, asks : str
        Word and plain question.
    place : int
        In the order of the job.
    needs_program : bool
        It is about one program.
    uses_program : bool
        It looks at all programs of the cell where there are any.
    """

    name: str
    asks: str
    place: int
    needs_program: bool
    uses_program: bool = False


class Question(Protocol):
    """What a question module offers."""

    NAME: str
    ASKS: str
    PLACE: int

    def answer(self, findings: Findings) -> Answer:
        """Answer the question from the findings."""
        ...


def list_questions() -> list[Listed]:
    """Return what every question module says of itself, in the order of the job.

    The modules are read, not carried out: importing all that they rest on takes a second.
    """
    found = []
    for item in pkgutil.iter_modules(__path__):
        if item.name.startswith("_"):
            continue
        text = files(__name__).joinpath(f"{item.name}.py").read_text("utf-8")
        told: dict[str, Any] = {}
        for node in ast.parse(text).body:
            if isinstance(node, ast.AnnAssign) and isinstance(node.value, ast.Constant):
                told[ast.unparse(node.target)] = node.value.value
        needs = bool(told.get("NEEDS_PROGRAM", False))
        uses = bool(told.get("USES_PROGRAM", False))
        found.append(Listed(told["NAME"], told["ASKS"], told["PLACE"], needs, uses))
    return sorted(found, key=lambda one: one.place)


def find_questions() -> dict[str, Question]:
    """Return every question module by its name, in the order of the job."""
    names = [item.name for item in pkgutil.iter_modules(__path__) if not item.name.startswith("_")]
    modules = [cast(Question, importlib.import_module(f"{__name__}.{name}")) for name in names]
    return {module.NAME: module for module in sorted(modules, key=lambda module: module.PLACE)}
