"""Which sheets are printed, and in which order: the first page, the answers, the sheets."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from gudgeon.answer import Answer
from gudgeon.faces.paper.decisions import decision_data
from gudgeon.faces.paper.matter import Run, contents_data, sheet_data
from gudgeon.questions import Question
from gudgeon.sheets import SheetModule
from gudgeon.sheets.known import Known

__all__ = ["DECISIONS", "Chosen", "Laid", "UnknownSheetError", "choose", "lay_out"]

DECISIONS: Final = "decisions"
"""Stands for the page of every answer."""


class UnknownSheetError(ValueError):
    """No sheet has this name; the text names the nearest."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """Questions and sheets to print, by name, in the order of printing."""

    questions: Mapping[str, Question]
    sheets: Mapping[str, SheetModule]

    def among(self, asked: Mapping[str, Question]) -> Chosen:
        """Return the same without questions that cannot be asked of this cell."""
        kept = {name: one for name, one in self.questions.items() if name in asked}
        return Chosen(kept, self.sheets)


@dataclass(slots=True)
class Laid:
    """Pages as data for the templates, and what a fault of ours kept from them."""

    pages: list[dict[str, Any]] = field(default_factory=list)
    failed: list[tuple[str, Exception]] = field(default_factory=list)


def choose(
    words: Sequence[str],
    questions: Mapping[str, Question],
    sheets: Mapping[str, SheetModule],
) -> Chosen:
    """Return what is meant by `words`; none: everything.

    Raises
    ------
    UnknownSheetError
        A word is neither a sheet nor a question.
    """
    named = set()
    for word in words:
        name = word.lower()
        if name not in sheets and name not in questions and name != DECISIONS:
            known = [DECISIONS, *sheets, *questions]
            near = difflib.get_close_matches(name, known, n=2, cutoff=0.5)
            meant = " or ".join(f'"{one}"' for one in near)
            listed = f"the sheets are: {', '.join([DECISIONS, *sheets])}"
            raise UnknownSheetError(
                f'"{word}" is not a sheet; {f"do you mean {meant}?" if near else listed}'
            )
        named.add(name)
    everything = not named
    return Chosen(
        {
            name: question
            for name, question in questions.items()
            if everything or DECISIONS in named or name in named
        },
        {name: sheet for name, sheet in sheets.items() if everything or name in named},
    )


def lay_out(
    chosen: Chosen,
    known: Known,
    run: Run,
    *,
    notes: Sequence[str] = (),
    told: Callable[[float], object] = lambda share: None,
) -> Laid:
    """Return the pages of all that was chosen, the first page before them where there are several.

    A fault of ours in one sheet does not lose the others.

    Parameters
    ----------
    chosen : Chosen
    known : Known
    run : Run
    notes : sequence of str
        What is doubtful in the cell file; told on the first page.
    told : callable
        Is given the share that is done.
    """
    laid = Laid()
    count = len(chosen.questions) + len(chosen.sheets)
    done = 0
    for name, question in chosen.questions.items():
        try:
            answer: Answer = known.answer(name)
            laid.pages.append(decision_data(answer, question.ASKS, run))
        except Exception as problem:  # whatever it is, the other pages are still wanted
            laid.failed.append((name, problem))
        done += 1
        told(done / count)
    known.printed = tuple(chosen.sheets)
    for name, module in chosen.sheets.items():
        try:
            known.sheets[name] = module.sheet(known)
            laid.pages.append(sheet_data(known.sheets[name], run))
        except Exception as problem:
            laid.failed.append((name, problem))
        done += 1
        told(done / count)
    if len(laid.pages) > 1:
        laid.pages.insert(0, contents_data(run, laid.pages, notes))
    return laid
