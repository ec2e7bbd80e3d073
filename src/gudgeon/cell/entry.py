"""How an entry of the cell file is declared: kind, shape, limits and its one-line explanation.

The declarations in `model` are the single source for the reader, the fault messages, the JSON
Schema, the reference page and the first file that ``gudgeon start`` writes.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from enum import Enum
from typing import Any, Final

from gudgeon.quantity.kinds import Kind

__all__ = ["KEY", "Entry", "Shape", "entries", "entry", "section", "sections"]

KEY: Final = "gudgeon"
"""Key of the `Entry` in the metadata of a dataclass field."""


class Shape(Enum):
    """How many values stand in an entry."""

    ONE = "one"
    RANGE = "range"  # ["low", "high"], low first
    POINT = "point"  # ["x", "y", "z"]
    PAIR = "pair"  # two values in a stated order, such as a pose
    LIST = "list"  # any number of values
    SECTION = "section"  # a table of entries
    SECTIONS = "sections"  # any number of tables


@dataclass(frozen=True, slots=True)
class Entry:
    """What is known of one entry before a file is read.

    Attributes
    ----------
    kind : Kind or None
        ``None`` for sections.
    shape : Shape
        How many values.
    doc : str
        What it is, in the words of the shop, without a full stop.
    choices : tuple of str
        The only texts (or whole numbers, written as text) allowed; empty if free.
    low, high : float or None
        Least and greatest value allowed, in the base unit, ends included.
    above : float or None
        The value must be greater than this.
    of : type or None
        The dataclass of a section.
    """

    kind: Kind | None
    shape: Shape
    doc: str
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    above: float | None = None
    of: type | None = None


def entry(kind: Kind, doc: str, shape: Shape = Shape.ONE, **limits: Any) -> Any:
    """Declare an entry; absent entries are ``None`` (``()`` for lists)."""
    default: Any = () if shape is Shape.LIST else None
    return field(default=default, metadata={KEY: Entry(kind, shape, doc, **limits)})


def section(of: type, doc: str) -> Any:
    """Declare a table such as ``[machine]``; an absent one has all its entries absent."""
    return field(default_factory=of, metadata={KEY: Entry(None, Shape.SECTION, doc, of=of)})


def sections(of: type, doc: str) -> Any:
    """Declare repeated tables such as ``[[stations]]``."""
    return field(default=(), metadata={KEY: Entry(None, Shape.SECTIONS, doc, of=of)})


def entries(of: type) -> dict[str, Entry]:
    """Return the declared entries of a section by key, in file order."""
    return {item.name: item.metadata[KEY] for item in fields(of) if KEY in item.metadata}
