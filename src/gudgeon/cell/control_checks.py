"""Faults among the entries of the control that no single entry shows: one small function a code."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterator, Sequence
from typing import Any

from gudgeon.cell.faults import Fault
from gudgeon.cell.model import Cell
from gudgeon.cell.model_control import NUMBERED, Control
from gudgeon.cell.places import Path, Source
from gudgeon.program.dialect import WordKey, key

__all__ = ["counted_offset", "entry_twice", "incomplete", "offset_unnamed", "word_unreadable"]

_COUNTED = re.compile(r"\s*(\S+?)\s*([A-Za-z])\s*(\d{1,6})\s*")

_WORDS = (
    *("rapid_word", "stop_word", "end_word", "absolute_word"),
    *("metric_word", "inch_word", "machine_word"),
)

_NEEDED: dict[str, tuple[str, ...]] = {
    "words": ("word", "means"),
    "offsets": ("word",),
    "offset_families": ("word", "letter", "count"),
    "lengths": ("register", "length"),
    "radii": ("register", "radius"),
    "writes": ("l", "target"),
    "references": ("number",),
    "variables": ("number", "means"),
    "tilted_planes": ("word", "order", "about"),
    "tool_points": ("word", "frame"),
}
"""What each repeated section cannot do without."""

_OWN_KEY = {
    "words": "word",
    "offsets": "word",
    "offset_families": "word",
    "lengths": "register",
    "radii": "register",
    "writes": "l",
    "references": "number",
    "variables": "number",
    "tilted_planes": "word",
    "tool_points": "word",
}
"""What may stand in one of the repeated sections only."""

_EXAMPLES: dict[str, str] = {
    "word": '"M88"',
    "means": '"no motion"',
    "letter": '"P"',
    "count": "48",
    "register": "1",
    "length": '"120 mm"',
    "radius": '"6 mm"',
    "l": "2",
    "target": '"offset"',
    "number": "1",
    "order": '"ZXZ"',
    "about": '"turned axes"',
    "frame": '"angles zero"',
    "axis": '"Z"',
    "value": "0",
    "family": '"G54.1"',
}

_WITH = {
    "work position": ("axis",),
    "machine position": ("axis",),
    "offset": ("word", "axis"),
    "value": ("value",),
}
"""What a system variable needs besides, by its meaning."""


def counted_offset(text: str) -> tuple[WordKey, str, int] | None:
    """Take "G54.1 P7" apart into word, letter and number; ``None`` if it is written otherwise."""
    found = _COUNTED.fullmatch(text)
    if found is None:
        return None
    try:
        return key(found[1]), found[2].upper(), int(found[3])
    except ValueError:
        return None


def _single(text: str) -> WordKey | None:
    try:
        return key(text.strip())
    except ValueError:
        return None


def word_unreadable(cell: Cell, source: Source) -> Iterator[Fault]:
    """C060: text that is no word of a program."""
    control = cell.control
    written: list[tuple[Path, str | None]] = [
        (("control", name), getattr(control, name)) for name in _WORDS
    ]
    written += [(("control", "at_start", i), word) for i, word in enumerate(control.at_start)]
    for section in ("words", "offset_families", "tilted_planes", "tool_points"):
        for i, item in enumerate(getattr(control, section)):
            for name in ("word", "off_word", "turn_word"):
                written.append((("control", section, i, name), getattr(item, name, None)))
    written += [
        (("control", "writes", i, "family"), item.family) for i, item in enumerate(control.writes)
    ]
    written += [
        (("control", section, i, "word"), item.word)
        for section in ("offsets", "variables")
        for i, item in enumerate(getattr(control, section))
        if item.word is not None and counted_offset(item.word) is None
    ]
    for path, text in written:
        if text is None or _single(text) is not None:
            continue
        counts = path[1] in ("offsets", "variables")
        yield Fault(
            "C060",
            "error",
            f'"{text[:40]}" is no word of a program',
            (source.value(path),),
            "A word is one letter and a number with at most one decimal"
            + (", for counted offsets with a second letter and its number." if counts else "."),
            "write it like  " + ('"G54"  or  "G54.1 P7"' if counts else '"G54"  or  "G54.1"'),
        )


def entry_twice(cell: Cell, source: Source) -> Iterator[Fault]:
    """C061: the same word, register or number described twice."""
    for section, name in _OWN_KEY.items():
        first: dict[Hashable, int] = {}
        for i, item in enumerate(getattr(cell.control, section)):
            value = getattr(item, name)
            if value is None:
                continue
            same: Hashable = value
            if isinstance(value, str):
                same = counted_offset(value) or _single(value) or value
            if same not in first:
                first[same] = i
                continue
            shown = f'"{value}"' if isinstance(value, str) else str(value)
            yield Fault(
                "C061",
                "error",
                f"[[control.{section}]] describes {name} {shown} twice",
                tuple(source.value(("control", section, n, name)) for n in (first[same], i)),
                "It cannot be told which of the two holds.",
                "take one of the two out",
            )


def offset_unnamed(cell: Cell, source: Source) -> Iterator[Fault]:
    """C062: values of a work offset that no word of this control calls up."""
    control = cell.control
    singles, counted = _offset_words(control)
    for i, item in enumerate(control.offsets):
        if item.word is None:
            continue
        parts = counted_offset(item.word)
        single = _single(item.word)
        if single is not None and single not in singles:
            listed = ", ".join(_shown(word) for word in sorted(singles))
            why = f"The work offsets of this control are {listed}."
            do = "mend the word, or add it to offset_words or [[control.words]]"
        elif parts is not None and (parts[0], parts[1]) not in counted:
            why = f"No family of offsets counts {_shown(parts[0])} with {parts[1]}."
            do = (
                f'add  [[control.offset_families]]  with  word = "{_shown(parts[0])}" , '
                f'letter = "{parts[1]}"  and  count'
            )
        elif parts is not None and not 1 <= parts[2] <= counted[parts[0], parts[1]]:
            most = counted[parts[0], parts[1]]
            why = f"{_shown(parts[0])} counts from {parts[1]}1 to {parts[1]}{most}."
            do = "mend the number, or the count of the family"
        else:
            continue
        yield Fault(
            "C062",
            "error",
            f'no word calls up the work offset "{item.word}"',
            (source.value(("control", "offsets", i, "word")),),
            why,
            do,
        )


def _offset_words(control: Control) -> tuple[set[WordKey], dict[tuple[WordKey, str], int]]:
    """Return single words of offsets, and the count of each family by word and letter."""
    listed = control.offset_words or ("G54", "G55", "G56", "G57", "G58", "G59")
    singles = {word for text in listed if (word := _single(text)) is not None}
    singles |= {
        word
        for item in control.words
        if item.means == "work offset" and item.word and (word := _single(item.word)) is not None
    }
    counted: dict[tuple[WordKey, str], int] = {}
    for text in listed:
        parts = counted_offset(text)
        if parts is not None:
            counted[parts[0], parts[1]] = max(parts[2], counted.get((parts[0], parts[1]), 0))
    for family in control.offset_families:
        word = _single(family.word or "")
        if word is not None and family.letter is not None and family.count is not None:
            counted[word, family.letter] = family.count
    return singles, counted


def incomplete(cell: Cell, source: Source) -> Iterator[Fault]:
    """C063: a section that lacks what gives it a meaning."""
    for section, names in _NEEDED.items():
        for i, item in enumerate(getattr(cell.control, section)):
            lacking = [name for name in (*names, *_further(item)) if getattr(item, name) is None]
            if lacking:
                name = lacking[0]
                yield Fault(
                    "C063",
                    "error",
                    f"[[control.{section}]] no. {i + 1} has no {name}",
                    (source.key(("control", section, i)),),
                    "Without it the section says nothing.",
                    f"add  {name} = {_EXAMPLES[name]}  as it is on this control, or take the "
                    "section out",
                )
    for i, plane in enumerate(cell.control.tilted_planes):
        for name, letters in (("origin", plane.origin), ("angles", plane.angles)):
            if letters and len(set(letters)) != 3:
                usual = '["X", "Y", "Z"]' if name == "origin" else '["I", "J", "K"]'
                yield Fault(
                    "C063",
                    "error",
                    f"{name} in [[control.tilted_planes]] no. {i + 1} are not three letters",
                    (source.value(("control", "tilted_planes", i, name)),),
                    "Each of the three values has its own letter in the block.",
                    f"write three different letters, such as  {name} = {usual}",
                )


def _further(item: Any) -> Sequence[str]:
    """Return what a section needs besides, by what stands in it."""
    if getattr(item, "means", None) in NUMBERED:
        return ("number",)
    if getattr(item, "target", None) == "family":
        return ("family",)
    return _WITH.get(getattr(item, "means", None) or "", ())


def _shown(word: WordKey) -> str:
    letter, tenths = word
    return f"{letter}{tenths // 10}" + (f".{tenths % 10}" if tenths % 10 else "")
