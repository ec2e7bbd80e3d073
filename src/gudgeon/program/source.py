"""The text of a program: its lines, block numbers, loops and the programs within it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.blocks import Block
from gudgeon.program.dialect import Dialect
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.parse import parse_block

__all__ = ["Source"]

_KEPT_BLOCKS: Final = 20_000
"""Blocks kept taken apart, for loops; then the memory is cleared and filled anew."""

_LABEL: Final = re.compile(rb"[Nn]((?:[ \t]*[0-9])+)")
_PROGRAM: Final = re.compile(rb"[ \t]*(?:[Nn][ \t]*[0-9]+[ \t]*)?[Oo]((?:[ \t]*[0-9])+)")
_DO_OR_END: Final = re.compile(rb"(DO|END)[ \t]*([0-9]+)", re.IGNORECASE)
_O: Final = re.compile(rb"[Oo]")
_N: Final = re.compile(rb"[Nn][ \t]*[0-9]")
_DO: Final = re.compile(rb"DO|END", re.IGNORECASE)
_COMMENT: Final = re.compile(rb"\([^)\n]*\)?")
_BLANK: Final = re.compile(rb"[ \t\r]+")


class Source:
    """One text with one or more programs.

    Parameters
    ----------
    text : bytes
    dialect : Dialect
    number : int
        0 for the text that was asked for, else the number it was called by.
    """

    def __init__(self, text: bytes, dialect: Dialect, number: int = 0) -> None:
        if text.startswith(b"\xef\xbb\xbf"):  # a mark that some editors put before the text
            text = b"   " + text[3:]
        if b"\n" not in text and b"\r" in text:
            text = text.replace(b"\r", b"\n")
        self.text: Final = text
        self.number: Final = number
        self._dialect = dialect
        self._kept: dict[int, Block] = {}

    @cached_property
    def codes(self) -> NDArray[np.uint8]:
        """The text as an array, not copied."""
        return np.frombuffer(self.text, dtype=np.uint8)

    @cached_property
    def starts(self) -> NDArray[np.int64]:
        """Offset of each line's first byte; one more for the end of the text."""
        ends = np.flatnonzero(self.codes == 10) + 1
        if not len(ends) or ends[-1] != len(self.text):
            ends = np.append(ends, len(self.text) + 1)
        return np.concatenate(([0], ends)).astype(np.int64)

    @property
    def count(self) -> int:
        """Number of lines."""
        return len(self.starts) - 1

    def line(self, index: int) -> bytes:
        """Return the text of a line, counted from 0, without its end."""
        return self.text[self.starts[index] : self.starts[index + 1] - 1]

    def line_at(self, offset: int) -> int:
        """Return the line, from 0, that begins at or holds an offset."""
        return int(np.searchsorted(self.starts, offset, side="right")) - 1

    def block(self, index: int) -> Block:
        """Return a line taken apart.

        Raises
        ------
        Halt
            It cannot be taken apart.
        """
        found = self._kept.get(index)
        if found is None:
            # The length is judged before the line is copied.
            length = int(self.starts[index + 1] - self.starts[index])
            if length > self._dialect.limits.line_characters + 2:
                raise Halt(
                    Code.LINE_TOO_LONG,
                    characters=length,
                    limit=self._dialect.limits.line_characters,
                )
            found = parse_block(self.line(index), self._dialect)
            if len(self._kept) >= _KEPT_BLOCKS:
                self._kept.clear()
            self._kept[index] = found
        return found

    def _without_comments(self, needle: re.Pattern[bytes]) -> Iterator[tuple[int, bytes]]:
        # Only lines that hold the needle are looked at, each once.
        past = 0
        for match in needle.finditer(self.text):
            if match.start() >= past:
                index = self.line_at(match.start())
                past = int(self.starts[index + 1])
                if past - self.starts[index] <= self._dialect.limits.line_characters + 2:
                    yield index, _COMMENT.sub(b"", self.line(index))

    @cached_property
    def programs(self) -> dict[int, list[int]]:
        """Lines, from 0, at which a program number stands, by the number."""
        found: dict[int, list[int]] = {}
        for index, text in self._without_comments(_O):
            match = _PROGRAM.match(text)
            if match and len(match[1]) < 20:
                found.setdefault(int(_BLANK.sub(b"", match[1])), []).append(index)
        return found

    @cached_property
    def _program_lines(self) -> list[int]:
        return sorted(index for lines in self.programs.values() for index in lines)

    def reach(self, index: int) -> tuple[int, int]:
        """Return first and past-the-last line of the program that holds a line."""
        first, past = 0, self.count
        for line in self._program_lines:
            if line <= index:
                first = line
            else:
                past = line
                break
        return first, past

    @cached_property
    def _labels(self) -> dict[int, list[int]]:
        found: dict[int, list[int]] = {}
        for index, text in self._without_comments(_N):
            for match in _LABEL.finditer(text):
                # "SIN 30" is no block number: the letter before tells.
                before = text[: match.start()].rstrip(b" \t")[-1:]
                if before.isalpha() or len(match[1]) > 20:
                    continue
                found.setdefault(int(_BLANK.sub(b"", match[1])), []).append(index)
        return found

    def label(self, number: int, index: int, column: int) -> int:
        """Return the line, from 0, with a block number, in the program that holds `index`.

        Raises
        ------
        Halt
            There is none, or more than one.
        """
        first, past = self.reach(index)
        lines = [line for line in self._labels.get(number, ()) if first <= line < past]
        if not lines:
            raise Halt(Code.LABEL_MISSING, column, number=number)
        if len(lines) > 1:
            raise Halt(Code.LABEL_TWICE, column, number=number)
        return lines[0]

    @cached_property
    def loops(self) -> dict[int, int]:
        """Line of each END by the line of its DO, both from 0; those that match only."""
        found: dict[int, int] = {}
        waiting: list[tuple[int, int]] = []
        for index, text in self._without_comments(_DO):
            for match in _DO_OR_END.finditer(text):
                number = int(match[2]) if len(match[2]) < 10 else -1
                if match[1].upper() == b"DO":
                    waiting.append((number, index))
                elif waiting and waiting[-1][0] == number:
                    found[waiting.pop()[1]] = index
                else:  # crossed or without its partner: told when it is reached
                    waiting = [one for one in waiting if one[0] != number]
        return found
