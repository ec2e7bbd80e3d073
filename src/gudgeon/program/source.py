"""The text of a program: its lines, block numbers, loops and the programs within it."""

from __future__ import annotations

import re
from array import array
from collections import deque
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

_KEPT_CHARACTERS: Final = 200_000
"""Of blocks kept taken apart, for loops; then the memory is cleared and filled anew."""

_MOST_DIGITS: Final = 18
_MOST_OPEN: Final = 100
"""Loops within loops that are followed; reading stops far earlier."""

_AT_ONCE: Final = 1 << 18

_LABEL: Final = re.compile(rb"[Nn]((?:[ \t]*[0-9])+)")
_PROGRAM: Final = re.compile(rb"[ \t]*(?:[Nn][ \t]*[0-9]+[ \t]*)?[Oo]((?:[ \t]*[0-9])+)")
_DO_OR_END: Final = re.compile(rb"(DO|END)[ \t]*([0-9]+)", re.IGNORECASE)
_O: Final = re.compile(rb"[Oo]")
_N: Final = re.compile(rb"[Nn][ \t]*[0-9]")
_DO: Final = re.compile(rb"DO|END", re.IGNORECASE)
_COMMENT: Final = re.compile(rb"\([^)\n]*\)?")
_BLANK: Final = re.compile(rb"[ \t\r]+")


class _Places:
    """Lines by a number that stands in them, in 12 bytes each.

    Parameters
    ----------
    numbers, lines : array
        Lines in rising order.
    """

    def __init__(self, numbers: array[int], lines: array[int]) -> None:
        values = np.array(numbers, dtype=np.int64)
        order = np.argsort(values, kind="stable")
        self._numbers = values[order]
        self.all_lines = np.array(lines, dtype=np.int32)
        self._lines = self.all_lines[order]

    def within(self, number: int, first: int, past: int) -> list[int]:
        """Return the first lines with a number from `first` on and before `past`; two at most."""
        low, high = _below(self._numbers, number), _up_to(self._numbers, number)
        low += _below(self._lines[low:high], first)
        return [int(line) for line in self._lines[low : min(low + 2, high)] if line < past]


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
        self._kept: dict[bytes, Block] = {}
        self._kept_characters = 0

    @cached_property
    def codes(self) -> NDArray[np.uint8]:
        """The text as an array, not copied."""
        return np.frombuffer(self.text, dtype=np.uint8)

    @cached_property
    def starts(self) -> NDArray[np.signedinteger]:
        """Offset of each line's first byte; one more for the end of the text."""
        # In pieces, so that a hostile text of line ends takes no more than four bytes for each.
        count = self.text.count(b"\n")
        last = 0 if self.text.endswith(b"\n") else 1
        found: NDArray[np.signedinteger] = np.zeros(1 + count + last, dtype=np.int32)
        if len(self.text) > 2**31 - 2:
            found = found.astype(np.int64)
        at = 1
        for begin in range(0, len(self.text), _AT_ONCE):
            ends = np.flatnonzero(self.codes[begin : begin + _AT_ONCE] == 10)
            found[at : at + len(ends)] = ends + (begin + 1)
            at += len(ends)
        if last:
            found[-1] = len(self.text) + 1
        return found

    @property
    def count(self) -> int:
        """Number of lines."""
        return len(self.starts) - 1

    def line(self, index: int) -> bytes:
        """Return the text of a line, counted from 0, without its end."""
        return self.text[self.starts[index] : self.starts[index + 1] - 1]

    def line_at(self, offset: int) -> int:
        """Return the line, from 0, that begins at or holds an offset."""
        return _up_to(self.starts, offset) - 1

    def block(self, offset: int) -> tuple[Block, int]:
        """Return the line that begins at an offset, taken apart, and where the next one begins.

        Raises
        ------
        Halt
            It cannot be taken apart.
        """
        end = self.text.find(b"\n", offset)
        if end < 0:
            end = len(self.text)
        # The length is judged before the line is copied.
        limit = self._dialect.limits.line_characters
        if end - offset > limit + 1:
            raise Halt(Code.LINE_TOO_LONG, characters=end - offset, limit=limit)
        # Kept by its text: loops come back to a line, and programs write the same one again.
        line = self.text[offset:end]
        found = self._kept.get(line)
        if found is None:
            found = parse_block(line, self._dialect)
            self._kept_characters += len(line)
            if self._kept_characters > _KEPT_CHARACTERS:
                self._kept.clear()
                self._kept_characters = len(line)
            self._kept[line] = found
        return found, end + 1

    def _without_comments(self, needle: re.Pattern[bytes]) -> Iterator[tuple[int, bytes]]:
        # Only lines that hold the needle are looked at, each once.
        past = 0
        while match := needle.search(self.text, past):
            index = self.line_at(match.start())
            past = int(self.starts[index + 1])
            if past - self.starts[index] <= self._dialect.limits.line_characters + 2:
                yield index, _COMMENT.sub(b"", self.line(index))

    @cached_property
    def _programs(self) -> _Places:
        numbers, lines = array("q"), array("i")
        for index, text in self._without_comments(_O):
            match = _PROGRAM.match(text)
            digits = _BLANK.sub(b"", match[1]) if match else b""
            if match and len(digits) <= _MOST_DIGITS:
                numbers.append(int(digits))
                lines.append(index)
        return _Places(numbers, lines)

    def program(self, number: int) -> list[int]:
        """Return the lines, from 0, at which a program number stands; two at most."""
        return self._programs.within(number, 0, self.count)

    def reach(self, index: int) -> tuple[int, int]:
        """Return first and past-the-last line of the program that holds a line."""
        lines = self._programs.all_lines
        after = _up_to(lines, index)
        first = int(lines[after - 1]) if after else 0
        return first, int(lines[after]) if after < len(lines) else self.count

    @cached_property
    def _labels(self) -> _Places:
        numbers, lines = array("q"), array("i")
        for index, text in self._without_comments(_N):
            for match in _LABEL.finditer(text):
                # "SIN 30" is no block number: the letter before tells.
                before = text[max(0, match.start() - 1) : match.start()]
                if before in (b" ", b"\t"):
                    before = text[: match.start()].rstrip(b" \t")[-1:]
                digits = _BLANK.sub(b"", match[1])
                if not before.isalpha() and len(digits) <= _MOST_DIGITS:
                    numbers.append(int(digits))
                    lines.append(index)
        return _Places(numbers, lines)

    def label(self, number: int, index: int, column: int) -> int:
        """Return the line, from 0, with a block number, in the program that holds `index`.

        Raises
        ------
        Halt
            There is none, or more than one.
        """
        first, past = self.reach(index)
        lines = self._labels.within(number, first, past) if number < 10**_MOST_DIGITS else []
        if not lines:
            raise Halt(Code.LABEL_MISSING, column, number=number)
        if len(lines) > 1:
            raise Halt(Code.LABEL_TWICE, column, number=number)
        return lines[0]

    @cached_property
    def _loops(self) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Lines of each DO and of its END, from 0, of the loops that match, in order of the DO.

        Two loops are apart, or one holds the other.
        """
        found = array("i")
        waiting: deque[tuple[int, int]] = deque(maxlen=_MOST_OPEN)
        past = -1
        for index, text in self._without_comments(_DO):
            if index >= past:  # a loop does not reach into another program
                waiting.clear()
                past = self.reach(index)[1]
            for match in _DO_OR_END.finditer(text):
                number = int(match[2]) if len(match[2]) < 10 else -1
                if match[1].upper() == b"DO":
                    waiting.append((number, index))
                elif waiting and waiting[-1][0] == number:
                    found.extend((waiting.pop()[1], index))
                elif any(one == number for one, _ in waiting):
                    # Crossed: told when it is reached.
                    kept = [one for one in waiting if one[0] != number]
                    waiting = deque(kept, maxlen=_MOST_OPEN)
        loops = np.array(found, dtype=np.int32).reshape(-1, 2)
        loops = loops[np.argsort(loops[:, 0], kind="stable")]
        return loops[:, 0].copy(), loops[:, 1].copy()

    def end_of_loop(self, start: int) -> int | None:
        """Return the line of the END that matches the DO in a line; None if there is none."""
        starts, ends = self._loops
        at = _below(starts, start)
        return int(ends[at]) if at < len(starts) and starts[at] == start else None

    @cached_property
    def _outer_loops(self) -> NDArray[np.int32]:
        """Index of the loop around each loop, or -1."""
        starts, ends = self._loops
        outer = np.full(len(starts), -1, dtype=np.int32)
        around: list[int] = []
        for index, start in enumerate(starts):
            while around and ends[around[-1]] < start:
                around.pop()
            if around:
                outer[index] = around[-1]
            around.append(index)
        return outer

    def loop_around(self, line: int) -> int | None:
        """Return the line of the DO of the innermost loop that a jump to a line would enter."""
        starts, ends = self._loops
        at = _below(starts, line) - 1
        while at >= 0 and ends[at] < line:
            at = int(self._outer_loops[at])
        return int(starts[at]) if at >= 0 else None


def _below(rising: NDArray[np.signedinteger], value: int) -> int:
    """Return how many numbers are smaller; in a few steps, however many there are."""
    # A number of another kind than the array's would have the whole array converted.
    return int(np.searchsorted(rising, rising.dtype.type(value)))


def _up_to(rising: NDArray[np.signedinteger], value: int) -> int:
    """Return how many numbers are not larger."""
    return int(np.searchsorted(rising, rising.dtype.type(value), side="right"))
