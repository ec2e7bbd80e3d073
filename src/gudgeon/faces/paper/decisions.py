"""One page for each answer: what one decides by; the full tables stay in the report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from gudgeon.answer import Answer, Figure, Picture
from gudgeon.faces.gauge import gauge_svg, verdict_svg
from gudgeon.faces.paper.drawings import Room, drawn, on_paper
from gudgeon.faces.paper.matter import Run, missing_data, said
from gudgeon.faces.plain import deciding
from gudgeon.faces.wording import Standing, worded

__all__ = ["decision_data"]

FIGURES_MOST: Final = 9
MISSING_MOST: Final = 5


def decision_data(answer: Answer, asks: str, run: Run) -> dict[str, Any]:
    """Return the page of one answer.

    Figures stand in the order in which they may be left out, the last first, so that the page can
    be kept to one; ``place`` is their place in the answer.  Cautions are never left out.
    """
    ranked = _ranked(answer.figures)[:FIGURES_MOST]
    name = answer.question
    shape = Picture(f"{name}-shape", answer.verdict.words, verdict_svg(answer.verdict))
    return {
        "kind": "decision",
        "name": name,
        "title": said(asks),
        "lead": said(answer.headline),
        "wide": False,
        "word": answer.verdict.words,
        "shape": drawn(shape, f"{name}-shape")[0],
        "headline": said(answer.headline),
        "next_step": said(answer.next_step),
        "flips": said(answer.flips or ""),
        "fix": said(answer.fix or ""),
        "cautions": [said(text) for text in answer.cautions],
        "figures": [
            _figure(figure, answer.figures.index(figure), f"{name}-figure-{i}")
            for i, figure in enumerate(ranked, start=1)
        ],
        "must": sum(_is_telling(figure) for figure in ranked),
        "figures_all": len(answer.figures),
        "missing": missing_data(answer.missing[:MISSING_MOST]),
        "missing_all": len(answer.missing),
        "drawing": _picture(answer.pictures, run, f"{name}-picture"),
        "tables": len(answer.tables),
        "pictures": len(answer.pictures),
    }


def _ranked(figures: Sequence[Figure]) -> list[Figure]:
    """Return the figures, those that are not kept first, then what decides, then the others."""
    first = deciding(figures)
    told = [figure for figure in first if _is_telling(figure)]
    told += [figure for figure in first if figure not in told]
    return told + [figure for figure in figures if figure not in told]


def _is_telling(figure: Figure) -> bool:
    return worded(figure).standing in (Standing.BROKEN, Standing.UNSURE)


def _figure(figure: Figure, place: int, prefix: str) -> dict[str, Any]:
    words = worded(figure)
    # A count of nought that must be nought needs no scale.
    gauge = "" if figure.value == figure.limit == 0.0 else gauge_svg(figure)
    return {
        "place": place,
        "label": said(figure.label),
        "value": said(words.value),
        "limit": said(words.limit),
        "gauge": drawn(Picture(prefix, figure.label, gauge), prefix)[0] if gauge else "",
    }


def _picture(pictures: Sequence[Picture], run: Run, prefix: str) -> dict[str, Any] | None:
    """Return the picture that the answer shows first: questions put the most telling there."""
    if not pictures:
        return None
    room = run.room()
    return on_paper(pictures[0], Room(room.wide, 0.5 * room.high), None, prefix)
