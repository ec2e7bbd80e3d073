"""Small pieces that every question uses to fill an `Answer`."""

from __future__ import annotations

from typing import Literal

from gudgeon.answer import Answer, Figure, Verdict
from gudgeon.findings import Lacking
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = ["as_order", "cannot_tell", "figure"]


def figure(
    units: Units,
    kind: Kind,
    name: str,
    label: str,
    base: float | None,
    *,
    plus_minus: float | None = None,
    limit: float | None = None,
    limit_kind: Literal["max", "min"] | None = None,
    note: str = "",
) -> Figure:
    """Return a `Figure` in the shop's units from floats in the base unit of `kind`."""

    def shown(value: float | None) -> float | None:
        return None if value is None else units.shown(kind, value)

    return Figure(
        name=name,
        label=label,
        value=shown(base),
        unit=units.unit(kind),
        plus_minus=shown(plus_minus),
        limit=shown(limit),
        limit_kind=limit_kind,
        note=note,
    )


def as_order(words: str) -> str:
    """Return words as a sentence: a capital in front, a full stop behind."""
    sentence = words[:1].upper() + words[1:]
    return sentence if sentence.endswith((".", "!", "?")) else sentence + "."


def cannot_tell(
    question: str, lacking: Lacking, *, about: str, so_far: Answer | None = None
) -> Answer:
    """Return the answer for missing entries, naming the most telling one.

    Parameters
    ----------
    question : str
        ``NAME`` of the question.
    about : str
        What cannot be told, as it continues "Cannot tell yet ...": "whether it holds".
    so_far : Answer, optional
        What is known already; its figures, tables and pictures are kept.
    """
    first = lacking.missing[0]
    more = len(lacking.missing) - 1
    also = f" and {more} more" if more else ""
    return Answer(
        question=question,
        verdict=Verdict.CANNOT_TELL,
        headline=f"Cannot tell yet {about}: {first.what}{also} missing.",
        next_step=as_order(first.how_to_get_it),
        figures=so_far.figures if so_far else (),
        tables=so_far.tables if so_far else (),
        pictures=so_far.pictures if so_far else (),
        assumed=so_far.assumed if so_far else (),
        missing=lacking.missing,
        cautions=so_far.cautions if so_far else (),
        sources=so_far.sources if so_far else (),
    )
