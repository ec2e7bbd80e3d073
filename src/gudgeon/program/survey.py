"""Words further on that would not be understood either, so that all can be mended in one go."""

from __future__ import annotations

from typing import Final

from gudgeon.program.dialect import Dialect
from gudgeon.program.doubts import Code, Doubt, Halt
from gudgeon.program.sorting import role_of
from gudgeon.program.source import Source

__all__ = ["unread"]

_LINES: Final = 100_000
_KINDS: Final = 40
"""Different words told; more would not be read."""


def unread(source: Source, start: int, dialect: Dialect, told: Halt) -> list[Doubt]:
    """Return the first place of each word that is not known, from a line on.

    Only the words themselves are judged, not what they would do.

    Parameters
    ----------
    source : Source
    start : int
        Index of the first line to look at, from 0.
    dialect : Dialect
    told : Halt
        What ended the reading; it is not told again.
    """
    found: dict[tuple[object, ...], Doubt] = {}
    for index in range(start, min(source.count, start + _LINES)):
        try:
            block, _ = source.block(int(source.starts[index]))
            for word in block.words:
                if word.letter in "GM" and word.worked is None:
                    role_of(dialect, word.letter, word.number, word.column)
                elif word.letter in "EUVW":
                    raise Halt(Code.WORD_UNKNOWN, word.column, word=word.letter)
                elif word.letter in "ABC" and word.letter not in dialect.axes:
                    raise Halt(Code.AXIS_UNKNOWN, word.column, letter=word.letter)
        except Halt as halt:
            known = (halt.code, halt.detail)
            if known not in found and known != (told.code, told.detail):
                found[known] = Doubt(halt.code, index + 1, halt.column, halt.detail, source.number)
                if len(found) >= _KINDS:
                    break
    return list(found.values())
