"""What stands on the sheets, as plain data for the templates: numbered, typeset, measured.

Nothing here knows whether a PDF or a page is made of it, and the templates hold no rule beyond
where things stand.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from gudgeon.answer import Missing
from gudgeon.faces.paper.drawings import Room, on_paper
from gudgeon.faces.wording import clean, typeset
from gudgeon.sheets.shape import (
    Block,
    Box,
    Cautions,
    Drawing,
    Grid,
    Heading,
    Listing,
    Sheet,
    Step,
    Steps,
    Words,
)

__all__ = ["PAPERS", "Paper", "Run", "contents_data", "missing_data", "said", "sheet_data"]

Paper = Literal["a4", "letter"]

PAPERS: Final[dict[str, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height [mm]: ISO 216:2007 and ANSI/ASME Y14.1, from memory."""

MARGINS: Final = {"left": 18.0, "right": 13.0, "top": 19.0, "bottom": 17.0}
"""Millimetres; the left one leaves room for a punch."""

NAME_MOST: Final = 60
"""Signs of the name of a cell that stand at the head of each page."""

STEP_INDENT_MM: Final = 16.0
STEP_PICTURE_MM: Final = 95.0
TALLEST: Final = 0.72  # height of a drawing in heights of the page
PAIRED: Final = 0.42
"""The same where one drawing follows another, so that two stand on a page."""

BLANK_MM: Final = 24.0
BLANK_SHARE: Final = 0.62
"""Of the width of a table at most so much is for columns to fill in."""

_NUMBER: Final = re.compile(r"[-+]?[\d,.]*\d( ?\u00b1 ?[\d.,]+)?")


@dataclass(frozen=True, slots=True)
class Run:
    """What stands on every page of one printing.

    Attributes
    ----------
    cell : str
        Name of the shop or of the cell file.
    date : str
        Such as ``"2030-05-17"``; nothing here reads a clock.
    inch : bool
        Lengths are in inches.
    inputs : tuple of (name, SHA-256)
        All that the sheets rest on.
    paper : "a4" or "letter"
    version : str
        Of the program.
    """

    cell: str
    date: str
    inch: bool
    inputs: tuple[tuple[str, str], ...] = ()
    paper: Paper = "a4"
    version: str = ""

    @property
    def digest(self) -> str:
        """The first twelve digits of one SHA-256 over names and digests of all inputs."""
        lines = "".join(f"{name}\n{digest}\n" for name, digest in sorted(self.inputs))
        return hashlib.sha256(lines.encode("utf-8")).hexdigest()[:12]

    def room(self, *, wide: bool = False) -> Room:
        """Return what the margins leave of a page, of one laid across if `wide`."""
        across, down = PAPERS[self.paper]
        if wide:
            across, down = down, across
        return Room(
            across - MARGINS["left"] - MARGINS["right"], down - MARGINS["top"] - MARGINS["bottom"]
        )

    def data(self) -> dict[str, Any]:
        """Return what the templates print on every page."""
        across, down = PAPERS[self.paper]
        return {
            "cell": said(self.cell),
            "short": shortened(said(self.cell), NAME_MOST),
            "date": said(self.date),
            "units": "lengths in inches" if self.inch else "lengths in millimetres",
            "digest": self.digest,
            "inputs": [{"name": said(name), "digest": digest} for name, digest in self.inputs],
            "paper": {"name": self.paper, "across": across, "down": down},
            "margins": MARGINS,
            "version": said(self.version),
        }


def shortened(words: str, most: int) -> str:
    """Return `words`, cut where they are longer than `most` signs."""
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}\u2026"


def said(words: object) -> str:
    """Return words as they are printed: signs for what ASCII spells out, nothing invisible."""
    return clean(typeset(words))


def sheet_data(sheet: Sheet, run: Run) -> dict[str, Any]:
    """Return a sheet as data; its steps are numbered from the first block to the last."""
    room = run.room(wide=sheet.wide)
    count = 0
    blocks = []
    for at, block in enumerate(sheet.blocks, start=1):
        prefix = f"{sheet.name}-{at}"
        if isinstance(block, Steps):
            blocks.append(
                {
                    "kind": "steps",
                    "steps": [
                        _step(step, count + i, room, f"{prefix}-{i}")
                        for i, step in enumerate(block.steps, start=1)
                    ],
                }
            )
            count += len(block.steps)
        else:
            beside = sheet.blocks[max(0, at - 2) : at + 1]
            several = sum(isinstance(one, Drawing) for one in beside) > 1
            blocks.append(_block(block, room, prefix, PAIRED if several else TALLEST))
    return {
        "kind": "sheet",
        "name": sheet.name,
        "title": said(sheet.title),
        "lead": said(sheet.lead),
        "wide": sheet.wide,
        "blocks": blocks,
        "missing": missing_data(sheet.missing),
    }


def contents_data(
    run: Run, sheets: Sequence[dict[str, Any]], notes: Sequence[str]
) -> dict[str, Any]:
    """Return the first page: what was printed, from which files, and how to read it."""
    return {
        "kind": "contents",
        "name": "contents",
        "title": "These sheets",
        "lead": "What was printed, from what, and how to read it.",
        "wide": False,
        "listed": [
            {"title": one["title"], "lead": one["lead"], "word": one.get("word", "")}
            for one in sheets
        ],
        "notes": [said(note) for note in notes],
        "version": said(run.version),
    }


def missing_data(missing: Sequence[Missing]) -> list[dict[str, str]]:
    """Return what is missing, in its order."""
    return [
        {
            "what": said(one.what),
            "where": said(one.where),
            "why": said(one.why),
            "how": said(one.how_to_get_it),
        }
        for one in missing
    ]


def _block(block: Block, room: Room, prefix: str, tallest: float) -> dict[str, Any]:
    match block:
        case Heading(text):
            return {"kind": "heading", "text": said(text)}
        case Words(text, role):
            return {"kind": "words", "role": role, "text": said(text)}
        case Cautions(texts):
            return {"kind": "cautions", "texts": [said(text) for text in texts]}
        case Grid():
            return _grid(block, room)
        case Drawing(picture, scale):
            held = Room(room.wide, tallest * room.high)
            return {"kind": "drawing", **on_paper(picture, held, scale, prefix)}
        case Listing():
            return _listing(block)
        case Steps():
            raise TypeError("steps are numbered by their sheet")


def _step(step: Step, number: int, room: Room, prefix: str) -> dict[str, Any]:
    inner = Room(room.wide - STEP_INDENT_MM, min(STEP_PICTURE_MM, TALLEST * room.high))
    return {
        "number": number,
        "name": step.name,
        "order": said(step.order),
        "see": said(step.see),
        "why": said(step.why),
        "lack": said(step.lack),
        "cautions": [said(text) for text in step.cautions],
        "boxes": [_box(box) for box in step.boxes],
        "drawing": None if step.picture is None else on_paper(step.picture, inner, None, prefix),
    }


def _box(box: Box) -> dict[str, str]:
    return {"name": box.name, "label": said(box.label), "unit": said(box.unit), "form": box.form}


def _grid(grid: Grid, room: Room) -> dict[str, Any]:
    blanks = sum(head.blank for head in grid.heads)
    blank_mm = min(BLANK_MM, BLANK_SHARE * room.wide / max(1, blanks))
    return {
        "kind": "grid",
        "name": grid.name,
        "title": said(grid.title),
        "blank_mm": round(blank_mm, 3),
        "heads": [
            {
                "label": said(head.label),
                "unit": said(head.unit),
                "blank": head.blank,
                "right": _is_numbers([row[i] for row in grid.rows]),
            }
            for i, head in enumerate(grid.heads)
        ],
        "rows": [[said(text) for text in row] for row in grid.rows],
    }


def _is_numbers(texts: Sequence[str]) -> bool:
    filled = [said(text) for text in texts if text not in ("", "-")]
    return bool(filled) and all(_NUMBER.fullmatch(text) for text in filled)


def _listing(listing: Listing) -> dict[str, Any]:
    return {
        "kind": "listing",
        "name": listing.name,
        "title": said(listing.title),
        "start": said(listing.start),
        "refused": said(listing.refused),
        "cautions": [said(text) for text in listing.cautions],
        # Blocks are what is typed into the control: not a sign of them is changed.
        "lines": [{"code": clean(code), "words": said(words)} for code, words in listing.lines],
    }
