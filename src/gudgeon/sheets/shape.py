"""The one shape of everything that is printed for the machine: plain data, no page and no font.

The faces typeset a `Sheet` as PDF or HTML and know nothing of what it says.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from gudgeon.answer import Missing, Picture

__all__ = [
    "Block",
    "Box",
    "Cautions",
    "Drawing",
    "Grid",
    "Head",
    "Heading",
    "Listing",
    "Sheet",
    "Step",
    "Steps",
    "Words",
]


@dataclass(frozen=True, slots=True)
class Heading:
    """A line over the blocks that follow."""

    text: str


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph.

    Attributes
    ----------
    text : str
    role : "text" or "why" or "lack"
        What to know; why it is done; what cannot be stated yet and what settles it.
    """

    text: str
    role: Literal["text", "why", "lack"] = "text"


@dataclass(frozen=True, slots=True)
class Cautions:
    """What can hurt somebody here; stands out in black and white."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Box:
    """A place to write into by hand.

    Attributes
    ----------
    name : str
        Stable name, such as ``"tram_left"``.
    label : str
        What to write, in the shop's words.
    unit : str
        Printed behind the box; empty where none is.
    form : "value" or "tick"
        A figure to write, or a box to tick.
    """

    name: str
    label: str
    unit: str = ""
    form: Literal["value", "tick"] = "value"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, in the order of the job.

    Attributes
    ----------
    name : str
        Stable name, such as ``"tram"``; unique on its sheet.
    order : str
        What to do, as an order; one or two short sentences.
    see : str
        What must be seen or read before the next step; with figures and their limits.
    why : str
        In one sentence, where it is not plain; else empty.
    boxes : tuple of Box
    cautions : tuple of str
        Only those of this step.
    picture : Picture or None
    lack : str
        What cannot be stated yet, and the one reading or entry that settles it.
    """

    name: str
    order: str
    see: str = ""
    why: str = ""
    boxes: tuple[Box, ...] = ()
    cautions: tuple[str, ...] = ()
    picture: Picture | None = None
    lack: str = ""


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps; the face numbers them through the whole sheet."""

    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Head:
    """Head of one column of a `Grid`.

    Attributes
    ----------
    name, label, unit : str
    blank : bool
        It is left empty, to be filled in by hand.
    """

    name: str
    label: str
    unit: str = ""
    blank: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table, with or without columns to fill in; every entry is text as it is printed."""

    name: str
    title: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.heads):
                raise ValueError(f"grid {self.name}: a row has {len(row)} entries")


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing to scale.

    Attributes
    ----------
    picture : Picture
    scale : float or None
        Millimetres on paper for one millimetre of the thing; ``None``: as wide as the page
        allows, the drawing's own scale bar tells.
    """

    picture: Picture
    scale: float | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """A program for the control, or why none is offered.

    Attributes
    ----------
    name, title : str
    lines : tuple of (str, str)
        Text of each block, and what it does; empty where it is refused.
    start : str
        The safe state in which it must be started.
    refused : str
        Why none is offered; empty where one is.
    cautions : tuple of str
    """

    name: str
    title: str
    lines: tuple[tuple[str, str], ...]
    start: str = ""
    refused: str = ""
    cautions: tuple[str, ...] = ()


Block = Heading | Words | Cautions | Steps | Grid | Drawing | Listing


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet, of as many pages as it takes.

    Attributes
    ----------
    name : str
        Stable name, such as ``"commissioning"``.
    title : str
    lead : str
        Who uses it, when, and where it hangs; one sentence.
    blocks : tuple of Block
    missing : tuple of Missing
        What it lacks, the most telling first; empty where all is there.
    wide : bool
        Better on the page laid across.
    """

    name: str
    title: str
    lead: str
    blocks: tuple[Block, ...]
    missing: tuple[Missing, ...] = ()
    wide: bool = False
