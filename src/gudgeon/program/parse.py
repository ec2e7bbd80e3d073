"""One line of a program taken apart into words, assignments and what steers the flow.

Plain blocks (letters with numbers, perhaps a comment) go through one compiled pattern; every other
line is read with care.  Both work in a time that grows with the length of the line only.

Source: NISTIR 6556, 3.3: blanks and case mean nothing, words stand in any order, a comment may not
hold another.  What steers the flow (IF, WHILE, GOTO), block skip levels and the semicolon: from
memory (common practice).
"""

from __future__ import annotations

import re
from typing import Final

from gudgeon.program.blocks import Assignment, Block, Control, Word
from gudgeon.program.dialect import Dialect
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.expressions import (
    GAP,
    Cursor,
    Expression,
    read_expression,
    read_number,
    read_value,
)
from gudgeon.program.operations import FUNCTIONS

__all__ = ["parse_block"]

# Possessive throughout: the patterns never go back over what they have matched.
_NUMBER: Final = r"[+-]?+(?:[0-9]{1,15}+(?:\.[0-9]{0,15}+)?+|\.[0-9]{1,15}+)"
_PLAIN: Final = re.compile(
    r"[ \t]*+(?:N([0-9]{1,9}+)[ \t]*+)?+"
    rf"((?:[A-MO-Z][ \t]*+{_NUMBER}[ \t]*+)*+)"
    r"(?:\([^()\x00]*+\)[ \t]*+)?+"
)
_PLAIN_WORD: Final = re.compile(r"([A-Z])[ \t]*+([+-]?+[0-9.]++)")
_KEYWORD: Final = re.compile(r"IF(?=[\[#])|(?:WHILE|GOTO|DO|END)(?![A-Z])")
_BLANK: Final = " \t"
_MOST_LETTERS_OF_A_SLIP: Final = 2
"""A longer run of letters is the name of something unknown, not a word without its number."""


def parse_block(line: bytes, dialect: Dialect) -> Block:
    """Take a line apart.

    Parameters
    ----------
    line : bytes
        Without its line end; carriage returns at its end are left off.
    dialect : Dialect
        Its rules for expressions, semicolons and limits; which letters are known is not asked.

    Returns
    -------
    Block
        The value of an assignment's target is the number of the variable that is set.

    Raises
    ------
    Halt
        The line cannot be read; the column counts bytes from 1.
    """
    limit = dialect.limits.line_characters
    if len(line) > limit:
        raise Halt(Code.LINE_TOO_LONG, characters=len(line), limit=limit)
    # Capitals while these are bytes: only A to Z change, and each stays one character.
    text = line.upper().decode("latin-1")
    found = _PLAIN.fullmatch(text)
    if found is None:
        return _with_care(text.rstrip("\r"), dialect)
    words = [
        Word(word[1], word.start() + 1, float(number := word[2]), "." in number)
        for word in _PLAIN_WORD.finditer(text, *found.span(2))
    ]
    if found[1] is None:
        return Block(words)
    return Block(words, int(found[1]), text.index("N") + 1)


def _with_care(text: str, dialect: Dialect) -> Block:
    stripped = text.lstrip(_BLANK)
    start = len(text) - len(stripped)
    if stripped.startswith("%"):
        return _percent(text, start, dialect)
    return _Reading(_cleaned(text, 0, dialect), dialect).block()


def _percent(text: str, start: int, dialect: Dialect) -> Block:
    cursor = _cleaned(text, start + 1, dialect)
    if cursor.next():
        raise Halt(Code.CHARACTER, start + 1, found="%")
    return Block(percent=True)


def _cleaned(text: str, start: int, dialect: Dialect) -> Cursor:
    """Leave out blanks and comments from `start` on; check every other character."""
    zero = text.find("\0")
    if zero >= 0:
        raise Halt(Code.NOT_TEXT, zero + 1, byte=0)
    kept: list[str] = []
    columns: list[int] = []
    at = start
    while at < len(text):
        character = text[at]
        if character == "(":
            kept.append(GAP)
            columns.append(at + 1)
            at = _past_comment(text, at)
            continue
        if character == ";":
            if not dialect.semicolon_comment and _says_something(text, at + 1):
                raise Halt(Code.SEMICOLON, at + 1)
            break
        if character not in _BLANK:
            if not " " < character < "\x7f":
                raise Halt(Code.NOT_TEXT, at + 1, byte=ord(character))
            kept.append(character)
            columns.append(at + 1)
        at += 1
    columns.append(len(text) + 1)
    return Cursor("".join(kept), columns)


def _past_comment(text: str, start: int) -> int:
    end, inner = text.find(")", start), text.find("(", start + 1)
    if inner >= 0 and (end < 0 or inner < end):
        raise Halt(Code.COMMENT_NESTED, inner + 1)
    if end < 0:
        raise Halt(Code.COMMENT_OPEN, start + 1)
    return end + 1


def _says_something(text: str, start: int) -> bool:
    """Tell whether what follows a semicolon would be more than comments as a block."""
    at = start
    while at < len(text):
        if text[at] == "(":
            try:
                at = _past_comment(text, at)
            except Halt:
                return True
        elif text[at] in _BLANK:
            at += 1
        else:
            return True
    return False


class _Reading:
    def __init__(self, cursor: Cursor, dialect: Dialect) -> None:
        self.cursor = cursor
        self.dialect = dialect
        self.built = Block()

    def block(self) -> Block:
        cursor, built = self.cursor, self.built
        while first := cursor.next():
            column = cursor.column
            if built.control is not None and first != "N":
                raise cursor.halt("end")
            if first.isalpha():
                keyword = _KEYWORD.match(cursor.text, cursor.at)
                if keyword is not None:
                    self.control(keyword[0], column)
                else:
                    cursor.at += 1
                    self.label(column) if first == "N" else self.word(first, column)
            elif first == "#":
                self.assignment()
            elif first == "/" and built.skip is None and not (built.words or built.assignments):
                cursor.at += 1
                self.skip(column)
            else:
                raise Halt(Code.CHARACTER, column, found=first)
        return built

    def label(self, column: int) -> None:
        if self.built.label is not None:
            raise Halt(Code.WORD_TWICE, column, word="N")
        self.built.label, self.built.label_column = self.whole("N", column), column

    def skip(self, column: int) -> None:
        level = self.whole("/", column) if self.cursor.next().isdigit() else 1
        if not 1 <= level <= 9:
            raise Halt(Code.NOT_WHOLE, column, word=f"/{level}")
        self.built.skip, self.built.skip_column = level, column

    def whole(self, word: str, column: int) -> int:
        """Read a whole number without a sign."""
        if self.cursor.next() in ("-", "+"):
            raise Halt(Code.NOT_WHOLE, column, word=word + self.cursor.next())
        digits = read_number(self.cursor, word)
        number = float(digits)
        if not number.is_integer():
            raise Halt(Code.NOT_WHOLE, column, word=word + digits)
        return int(number)

    def word(self, letter: str, column: int) -> None:
        cursor = self.cursor
        first = cursor.next()
        plain = cursor.at + (first in ("+", "-"))
        after = cursor.text[plain : plain + 1]
        if after.isdigit() or after == ".":
            # Its sign is part of the number: minus zero stays so.
            cursor.at = plain
            digits = read_number(cursor, letter)
            number = float(digits)
            self.built.words.append(
                Word(letter, column, -number if first == "-" else number, "." in digits)
            )
            return
        if first.isalpha() and cursor.function() not in FUNCTIONS:
            self.no_value(letter, column)
        if first not in ("+", "-", "#", "[") and not first.isalpha():
            raise Halt(Code.NUMBER, column, word=letter)
        worked = read_value(cursor, self.dialect, in_word=True)
        self.built.words.append(Word(letter, column, float("nan"), worked=worked))

    def no_value(self, letter: str, column: int) -> None:
        """Halt at a letter that is followed by letters."""
        run = letter + self.cursor.letters()
        if len(run) > _MOST_LETTERS_OF_A_SLIP:
            raise Halt(Code.FUNCTION_UNKNOWN, column, name=run)
        raise Halt(Code.NUMBER, column, word=letter)

    def assignment(self) -> Assignment:
        cursor = self.cursor
        column = cursor.column
        cursor.at += 1
        if cursor.next() == "<":
            raise Halt(Code.CHARACTER, cursor.column, found="<")
        if not (cursor.next().isdigit() or cursor.next() in ("#", "[", ".")):
            raise cursor.halt("value")
        target = read_value(cursor, self.dialect)
        if not cursor.take("="):
            raise cursor.halt("=")
        made = Assignment(target, self.worked_out(), column)
        self.built.assignments.append(made)
        return made

    def worked_out(self) -> Expression:
        if self.cursor.next() == "":
            raise self.cursor.halt("value")
        return read_expression(self.cursor, self.dialect)

    def control(self, keyword: str, column: int) -> None:
        cursor, built = self.cursor, self.built
        if built.assignments:
            raise Halt(Code.ASSIGNMENT_IN_MOTION, built.assignments[0].column)
        if built.words:
            raise Halt(Code.EXPRESSION, column, found=keyword, expected="alone")
        cursor.at += len(keyword)
        if keyword == "GOTO":
            built.control = Control("goto", column, target=self.goto_target())
        elif keyword in ("DO", "END"):
            kind = "do" if keyword == "DO" else "end"
            built.control = Control(kind, column, loop=self.whole(keyword, column))
        else:
            if cursor.next() != "[":
                raise cursor.halt("[")
            condition = read_value(cursor, self.dialect)
            if keyword == "WHILE":
                if not cursor.take("DO"):
                    raise cursor.halt("DO")
                loop = self.whole("DO", column)
                built.control = Control("while", column, condition, loop=loop)
            elif cursor.take("GOTO"):
                built.control = Control("if goto", column, condition, self.goto_target())
            elif cursor.take("THEN"):
                if cursor.next() != "#":
                    raise cursor.halt("#")
                self.assignment()
                built.control = Control("if then", column, condition)
            else:
                raise cursor.halt("GOTO")

    def goto_target(self) -> Expression:
        if not self.cursor.next():
            raise Halt(Code.NUMBER, self.cursor.column, word="GOTO")
        return read_value(self.cursor, self.dialect)
