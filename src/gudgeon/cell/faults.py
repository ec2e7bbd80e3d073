"""What is wrong in a file that a person wrote: plain data, and the one printer for all of it."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import accumulate
from typing import Any, Final, Literal

__all__ = ["SHOWN_MOST", "WIDTH", "Fault", "Place", "as_data", "as_text", "in_order", "plain"]

WIDTH: Final = 80
"""Columns of a printed fault."""

SHOWN_MOST: Final = 20
"""Faults shown in one run; more than that nobody mends in one go."""

_INDENT: Final = " " * 9
_NAME_MOST: Final = 36  # characters of a file's name
_BESIDE_LEAST: Final = 30  # characters of a line beside its place; else it stands below


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
    first = fault.places[0] if fault.places else None
    if first and all(
        (place.file, place.line) == (first.file, first.line) for place in fault.places
    ):
        lines += _one_line(fault.places)
    else:
        lines += _several_lines(fault.places)
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
    if len(words) > _NAME_MOST:
        words = f"...{words[3 - _NAME_MOST :]}"
    if place.line is not None:
        words += f", line {place.line}"
    return words + (f", {plain(place.note)[:24]}" if place.note else "")


def _one_line(places: tuple[Place, ...]) -> list[str]:
    """Show one line of a file, with a mark under each wrong part."""
    first = places[0]
    lines = [f"  where  {_head(first)}"]
    if first.line is None or not first.text.strip():
        return lines
    lead = f"{_INDENT}{first.line} | "
    spans = [
        (place.start, place.start + 1 if place.end is None else place.end)
        for place in places
        if place.start is not None
    ]
    text, marks = _excerpt(first.text, spans, WIDTH - len(lead))
    lines.append((lead + text).rstrip())
    if marks.strip():
        lines.append(" " * len(lead) + marks)
    return lines


def _several_lines(places: tuple[Place, ...]) -> list[str]:
    """Show each place on a line of its own, without marks."""
    heads = [_head(place) for place in places]
    widest = max(map(len, heads), default=0)
    digits = max((len(str(place.line or "")) for place in places), default=0)
    lines = []
    for number, (place, head) in enumerate(zip(places, heads, strict=True)):
        lead = ("  where  " if number == 0 else _INDENT) + head
        if place.line is None or not place.text.strip():
            lines.append(lead)
            continue
        beside = f"{lead.ljust(9 + widest)}   {place.line:>{digits}} | "
        if WIDTH - len(beside) < _BESIDE_LEAST:
            lines.append(lead)
            beside = f"{_INDENT}{place.line:>{digits}} | "
        spans = [] if place.start is None else [(place.start, place.end or place.start + 1)]
        text, _ = _excerpt(place.text, spans, WIDTH - len(beside))
        lines.append((beside + text).rstrip())
    return lines


def _excerpt(line: str, spans: list[tuple[int, int]], width: int) -> tuple[str, str]:
    """Return the line in ASCII, cut to `width` around the first mark, and the marks under it."""
    shown = [_plain_character(character) for character in line.rstrip()]
    at = [0, *accumulate(len(piece) for piece in shown)]
    text = "".join(shown)
    under = [" "] * (len(text) + 1)
    for start, end in spans:
        first, last = at[min(start, len(shown))], at[min(end, len(shown))]
        under[first : max(last, first + 1)] = "^" * max(last - first, 1)
    marks = "".join(under)
    cut = len(text) - len(text.lstrip())
    text, marks = text[cut:], marks[cut:]
    if len(text) <= width:
        return text, marks.rstrip()
    first = max(0, marks.find("^"))
    # The mark, and if it can be the whole of it, with some of what stands before.
    left = 0 if first < width // 2 else min(first - width // 3, len(text) - width + 6)
    right = left + width
    piece, under_piece = text[left:right], marks[left:right]
    if left > 0:
        piece = "..." + piece[3:]
    if right < len(text):
        piece = piece[:-3] + "..."
    return piece, under_piece.rstrip()
