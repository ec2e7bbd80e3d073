"""What is wrong in a file that a person wrote: plain data, and the one printer for all of it."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Final, Literal

__all__ = ["SHOWN_MOST", "WIDTH", "Fault", "Place", "as_data", "as_text", "in_order", "plain"]

WIDTH: Final = 80
"""Columns of a printed fault."""

SHOWN_MOST: Final = 20
"""Faults shown in one run; more than that nobody mends in one go."""

_INDENT: Final = " " * 9


@dataclass(frozen=True, slots=True)
class Place:
    """Where a fault stands.

    Attributes
    ----------
    file : str
        Name as shown.
    line : int or None
        Line, counted from 1; ``None`` for a whole file.
    text : str
        The line itself, as written.
    start, end : int or None
        The wrong characters, counted from 0; ``None`` marks nothing.
    note : str
        What to add behind the line number, such as ``"column u"``.
    """

    file: str
    line: int | None = None
    text: str = ""
    start: int | None = None
    end: int | None = None
    note: str = ""

    def narrowed(self, start: int, end: int) -> Place:
        """Return the place with the mark under a part of what was marked."""
        if self.start is None:
            return self
        return replace(self, start=self.start + start, end=self.start + end)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, with the way out.

    Attributes
    ----------
    code : str
        Lasting code: ``C`` for the cell file, ``K`` for readings.  Codes are never used again.
    level : "error" or "warning"
        Error: no answer can be given.  Warning: an answer is given and this may make it wrong.
    what : str
        What is wrong; makes sense alone.
    places : tuple of Place
        Where; a second place that takes part has its own entry.
    why : str
        What would go wrong at the machine, or which rule is broken.
    do : str
        The exact text to write, or the measurement to take.
    """

    code: str
    level: Literal["error", "warning"]
    what: str
    places: tuple[Place, ...]
    why: str
    do: str


def in_order(faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """Return the faults as they are told: file by file, line by line, each said once."""
    files = list(dict.fromkeys(place.file for fault in faults for place in fault.places))

    def key(fault: Fault) -> tuple[int, int, int, str]:
        if not fault.places:
            return (-1, 0, 0, fault.code)
        first = fault.places[0]
        return (files.index(first.file), first.line or 0, first.start or 0, fault.code)

    # The cell file is told before its readings, whatever was found first.
    files.sort(key=lambda name: not name.endswith(".toml"))
    return tuple(sorted(dict.fromkeys(faults), key=key))


def as_text(faults: Sequence[Fault]) -> str:
    """Return all faults as plain ASCII text of at most `WIDTH` columns, ending in a line feed.

    At most `SHOWN_MOST` are shown, errors before warnings if there are more; the rest is counted.
    """
    ordered = in_order(faults)
    shown = ordered
    if len(ordered) > SHOWN_MOST:
        keep = set(sorted(ordered, key=lambda fault: fault.level != "error")[:SHOWN_MOST])
        shown = tuple(fault for fault in ordered if fault in keep)
    blocks = [_block(fault) for fault in shown]
    if len(ordered) > len(shown):
        more = len(ordered) - len(shown)
        faults_are = "fault is" if more == 1 else "faults are"
        blocks.append(f"{more} more {faults_are} not shown; mend these first, then check again.\n")
    return "\n".join(blocks)


def as_data(faults: Sequence[Fault]) -> list[dict[str, Any]]:
    """Return all faults as plain data, ready for JSON."""
    return [asdict(fault) for fault in in_order(faults)]


def plain(text: str) -> str:
    """Return `text` in printable ASCII; all else is shown as an escape, a backslash and digits."""
    return "".join(_plain_character(character) for character in text)


def _plain_character(character: str) -> str:
    if character == "\t":
        return " "
    if " " <= character <= "~":
        return character
    return character.encode("unicode_escape").decode("ascii")


def _block(fault: Fault) -> str:
    lines = _wrapped(f"{fault.level} {fault.code}: ", fault.what, "  ")
    if len(fault.places) == 1:
        lines += _one_place(fault.places[0])
    else:
        lines += _several_places(fault.places)
    lines += _wrapped("  why    ", fault.why, _INDENT)
    lines += _wrapped("  do     ", fault.do, _INDENT)
    return "\n".join(lines) + "\n"


def _wrapped(first: str, words: str, indent: str) -> list[str]:
    lines: list[str] = []
    for number, paragraph in enumerate(words.split("\n")):
        lines += textwrap.wrap(
            plain(paragraph),
            WIDTH,
            initial_indent=indent if number else first,
            subsequent_indent=indent,
            break_on_hyphens=False,
        ) or [indent.rstrip() if number else first.rstrip()]
    return lines


def _head(place: Place) -> str:
    words = plain(place.file)
    if place.line is not None:
        words += f", line {place.line}"
    return words + (f", {plain(place.note)}" if place.note else "")


def _one_place(place: Place) -> list[str]:
    lines = [f"  where  {_head(place)}"]
    if place.line is not None and place.text.strip():
        lead = f"{_INDENT}{place.line} | "
        text, start, end = _excerpt(place, WIDTH - len(lead))
        lines.append((lead + text).rstrip())
        if start is not None and end is not None:
            lines.append(" " * (len(lead) + start) + "^" * max(1, end - start))
    return lines


def _several_places(places: tuple[Place, ...]) -> list[str]:
    heads = [_head(place) for place in places]
    widest = max((len(head) for head in heads), default=0)
    digits = max(len(str(place.line or "")) for place in places) if places else 0
    lines = []
    for number, (place, head) in enumerate(zip(places, heads, strict=True)):
        lead = ("  where  " if number == 0 else _INDENT) + head
        if place.line is None or not place.text.strip():
            lines.append(lead)
            continue
        lead = f"{lead.ljust(9 + widest)}   {place.line:>{digits}} | "
        text, _, _ = _excerpt(place, max(24, WIDTH - len(lead)))
        lines.append((lead + text).rstrip())
    return lines


def _excerpt(place: Place, width: int) -> tuple[str, int | None, int | None]:
    """Return the line in ASCII, cut to `width` around the mark, and the mark in it."""
    shown = [_plain_character(character) for character in place.text.rstrip()]
    skipped = 0
    while skipped < len(shown) and shown[skipped] == " ":
        skipped += 1
    ends = [0]
    for piece in shown:
        ends.append(ends[-1] + len(piece))
    text = "".join(shown)
    start = end = None
    if place.start is not None:
        start = ends[min(place.start, len(shown))]
        end = max(ends[min(place.end or 0, len(shown))], start + 1)
    left = ends[skipped] if start is None else min(ends[skipped], start)
    if len(text) - left > width:
        if start is not None and start - left > width // 2:
            left = start - width // 3
        text = (text[left : left + width - 3] + "...") if len(text) - left > width else text[left:]
    else:
        text = text[left:]
    if start is None or end is None:
        return text, None, None
    return text, start - left, min(end - left, max(len(text), start - left + 1))
