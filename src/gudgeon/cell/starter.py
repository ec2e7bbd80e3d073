"""A first cell file from a few questions, in the order of the job.

Pure: what is asked goes through a function that is handed in, and what comes out is the text of
the file.  What was left blank stands in the file as an example behind ``#``, so that the file shows
what is still to be measured.
"""

from __future__ import annotations

import difflib
import json
import re
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from gudgeon.cell.entry import Entry, Shape, entries
from gudgeon.cell.files import load_text
from gudgeon.cell.first_file import LAYOUT, Example
from gudgeon.cell.model import Cell
from gudgeon.quantity.kinds import Kind

__all__ = ["TRIES", "start"]

TRIES: Final = 10
"""Times one thing is asked before it is left blank; ends the asking if nobody listens."""


@dataclass(frozen=True, slots=True)
class _Asked:
    """One question: the entry that it fills and how it is put."""

    section: str
    key: str
    words: str
    unless_single: bool = False


_ASKED: Final = (
    _Asked("shop", "name", "What is the shop or this cell called?"),
    _Asked("shop", "units", "In which units do you read answers?"),
    _Asked("machine", "layout", "What moves on the mill?"),
    _Asked("machine", "travel_x", "Lowest and highest X that the machine displays?"),
    _Asked("machine", "travel_y", "Lowest and highest Y?"),
    _Asked("machine", "travel_z", "Lowest and highest Z?"),
    _Asked(
        "machine",
        "gauge_to_table",
        "Height of the empty spindle's gauge point over the table top, Z displaying 0?",
    ),
    _Asked("unit", "kind", "Which kind of unit is it?"),
    _Asked("unit", "tilt_range", "Lowest and highest tilt?", unless_single=True),
    _Asked("unit", "tilt_axis_height", "Height of the tilt axis over the unit's base?"),
    _Asked("placement", "tilt_along", "Along which machine axis does the tilt axis lie?"),
    _Asked("control", "tilt_letter", "Letter of the tilt axis on the control?", unless_single=True),
    _Asked("control", "rotary_letter", "Letter of the rotary axis?"),
    _Asked("money", "investment", "What does all of it cost, bought and mounted?"),
)

_CHOICE_WORDS: Final = {
    "mm": "millimetres",
    "in": "inches",
    "moving table": "the table in X and Y",
    "moving column": "the column in X and Y",
    "bridge": "the table in X, the head in Y",
    "tilt and rotary": "two axes: it tilts and turns",
    "rotary only": "one axis, lying along the table",
}


@dataclass(slots=True)
class _Sheet:
    """What is known so far: TOML text of each value by section and key."""

    values: dict[tuple[str, str], str] = field(default_factory=dict)

    @property
    def inch(self) -> bool:
        return self.values.get(("shop", "units")) == '"in"'

    @property
    def single(self) -> bool:
        return self.values.get(("unit", "kind")) == '"rotary only"'

    def text(self) -> str:
        """Return the values alone, for the reader."""
        sections: dict[str, list[str]] = {}
        for (section, key), value in self.values.items():
            sections.setdefault(section, []).append(f"{key} = {value}")
        return "\n".join(f"[{name}]\n" + "\n".join(lines) for name, lines in sections.items())


def start(ask: Callable[[str], str]) -> str:
    """Ask for the most needed entries and return the text of a first cell file.

    Parameters
    ----------
    ask : callable
        Shows its argument and returns what the person typed, without the line feed.  May raise
        ``EOFError``, which is passed on.

    Returns
    -------
    str
        Reads back without an error.  Entries not given stand as examples behind ``#``.
    """
    sheet = _Sheet()
    lead = "Leave blank what you do not know; it can be added to the file later.\n\n"
    for asked in _ASKED:
        if asked.unless_single and sheet.single:
            continue
        words = asked.words
        if sheet.single and asked.key == "tilt_axis_height":
            words = "Height of the rotary axis over the unit's base?"
        if sheet.single and asked.key == "tilt_along":
            words = "Along which machine axis does the rotary axis lie?"
        _ask_one(ask, sheet, asked, lead + words)
        lead = "\n"
    return _written(sheet)


def _ask_one(ask: Callable[[str], str], sheet: _Sheet, asked: _Asked, words: str) -> None:
    entry = _entry_of(asked.section, asked.key)
    hint = _hint(asked, entry, sheet.inch)
    prompt = f"{words}\n{hint}> "
    for _ in range(TRIES):
        typed = _bare(ask(prompt), asked.key)
        if not typed:
            return
        place = (asked.section, asked.key)
        sheet.values[place] = _as_toml(entry, typed)
        problem = _problem(sheet, asked, entry, typed)
        if problem is None:
            return
        del sheet.values[place]
        prompt = f"{problem}\n{hint}again, or leave blank> "


def _bare(typed: str, key: str) -> str:
    """Return what was typed without what belongs to the file: key, quotation marks."""
    typed = re.sub(rf"^\s*{key}\s*=\s*", "", typed).strip()
    return typed.strip("\"'\u201c\u201d\u201e").strip()


def _problem(sheet: _Sheet, asked: _Asked, entry: Entry, typed: str) -> str | None:
    """Return what the reader has against the sheet and what to type instead, in a few lines."""
    loaded = load_text(sheet.text())
    wrong = [fault for fault in loaded.faults if fault.level == "error"]
    if not wrong:
        return None
    what = wrong[0].what.removeprefix(f"{asked.key} in [{asked.section}]").lstrip(": ")
    if what[:1].isalpha() and what != wrong[0].what:
        what = f"this {what}"
    do = wrong[0].do.replace(f"{asked.key} = ", "")
    if entry.shape is Shape.RANGE:
        do = _both_ends(entry, typed, sheet.inch)
        what = "two values are wanted, the lowest and the highest" if not _ends(typed) else what
    lines = [*textwrap.wrap(what, 76), *textwrap.wrap(do, 76)]
    return "\n".join(f"  {line}" for line in lines)


def _both_ends(entry: Entry, typed: str, inch: bool) -> str:
    """Return how to type two ends again, in one line; empty if only the person can say."""
    ends = _ends(typed)
    numbers = [re.match(r"[+-]?\d+(?:[.,]\d+)?", end) for end in ends or ()]
    if len(numbers) != 2 or None in numbers:
        return ""
    shown = [found[0].replace(",", ".") for found in numbers if found]
    if float(shown[0]) > float(shown[1]):
        shown.reverse()
    unit = "deg" if entry.kind is Kind.ANGLE else "in" if inch else "mm"
    other = "" if entry.kind is Kind.ANGLE else "mm" if inch else "in"
    said = [name for name in (unit, other) if name and re.search(rf"\b{name}\b", typed)]
    names = said or [name for name in (unit, other) if name]
    mends = [f"{shown[0]} {name} to {shown[1]} {name}" for name in names]
    return f"write  {'  or  '.join(mends)}"


def _entry_of(section: str, key: str) -> Entry:
    of: type = Cell
    for name in section.split("."):
        inner = entries(of)[name].of
        assert inner is not None
        of = inner
    return entries(of)[key]


def _hint(asked: _Asked, entry: Entry, inch: bool) -> str:
    if entry.choices:
        lines = [
            f"  {number}  {choice}"
            + (f"  ({_CHOICE_WORDS[choice]})" if choice in _CHOICE_WORDS else "")
            for number, choice in enumerate(entry.choices, 1)
        ]
        return "\n".join(lines) + "\n"
    if entry.kind is Kind.TEXT or entry.kind is None:
        return ""
    example = next(
        example
        for block in LAYOUT
        if block.section == asked.section
        for example in block.examples
        if example.key == asked.key
    )
    value = example.inch if inch and example.inch else example.metric
    return f"  such as  {value.strip('[]').replace(', ', ' to ').replace(chr(34), '')}\n"


def _as_toml(entry: Entry, typed: str) -> str:
    """Return what was typed as a TOML value; whether it can be read, the reader says."""
    if entry.choices:
        if typed.isdecimal() and typed.isascii() and 0 < int(typed[:4]) <= len(entry.choices):
            return _quoted(entry.choices[int(typed[:4]) - 1])
        lowered = {choice.lower(): choice for choice in entry.choices}
        near = difflib.get_close_matches(typed.lower(), lowered, n=1, cutoff=0.8)
        return _quoted(lowered[near[0]] if near else typed)
    if entry.shape is Shape.RANGE:
        ends = _ends(typed)
        if ends:
            return f"[{_quoted(ends[0])}, {_quoted(ends[1])}]"
    return _quoted(typed)


def _ends(typed: str) -> tuple[str, str] | None:
    """Split "-762 mm to 0 mm" into its ends; one unit is meant for both."""
    pieces = re.split(r"\s+to\s+|\s*[,;]\s+|\s*;\s*", typed.strip("[]"))
    ends = [piece.strip(" \"'") for piece in pieces]
    if len(ends) != 2:
        return None
    for one, other in ((0, 1), (1, 0)):
        unit = re.search(r"[A-Za-z]+$", ends[other])
        if unit and re.fullmatch(r"[+-]?[\d./]+", ends[one]):
            ends[one] = f"{ends[one]} {unit[0]}"
    return ends[0], ends[1]


def _quoted(text: str) -> str:
    # JSON and TOML quote alike, but for the one control character that JSON leaves bare.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


# --- the file -----------------------------------------------------------------------------------


def _written(sheet: _Sheet) -> str:
    lines = [
        "# A cell file: the mill, the unit, the fixture and the parts, in the order of the job.",
        "# Lines with # in front of an entry are examples: put your own value, and take # away.",
        '# Every quantity has its unit; how sure it is may stand behind +-: "12.5 mm +- 0.01 mm".',
        "# Check the file with  gudgeon check , ask with  gudgeon ask .",
    ]
    for block in LAYOUT:
        lines.append("")
        lines += [f"# {remark}" for remark in block.remarks]
        given = [(block.section, example.key) in sheet.values for example in block.examples]
        # Repeated sections are examples as a whole; others may stand empty.
        lines.append(block.header if not block.repeated or any(given) else f"#{block.header}")
        lines += [_line(sheet, block.section, example) for example in block.examples]
    return "\n".join(lines) + "\n"


def _line(sheet: _Sheet, section: str, example: Example) -> str:
    known = sheet.values.get((section, example.key))
    if known is not None:
        return f"{example.key} = {known}"
    value = example.inch if sheet.inch and example.inch else example.metric
    currency = re.search(r"[A-Z]{3}", sheet.values.get(("money", "investment"), ""))
    if currency:
        value = value.replace("EUR", currency[0])
    entry = f"#{example.key} = {value}"
    return f"{entry.ljust(44)} # {example.remark}" if example.remark else entry
