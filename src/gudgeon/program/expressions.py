"""Expressions of a program: read from text into steps, worked out on a stack.

Neither reading nor working out calls itself, so that neither deep nor long expressions of a
hostile program reach a limit of ours; brackets are counted against the limit of the dialect.

Order (NISTIR 6556, 3.3.2.3): functions and brackets, ``**``, ``* / MOD``, ``+ -``; then, from
memory, comparisons and last AND, OR, XOR.  NISTIR 6556 has AND, OR, XOR as loose as ``+ -``: where
they stand beside other operators without brackets the reader halts.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Final

from gudgeon.program.blocks import Scope
from gudgeon.program.dialect import Dialect
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.operations import (
    BINARY,
    FUNCTIONS,
    Binary,
    Function,
    atan_of_two,
    round_in_word,
    variable_number,
)

__all__ = ["GAP", "Cursor", "Expression", "read_expression", "read_number", "read_value"]

GAP: Final = "\0"
"""Stands where a comment stood: nothing may reach across it."""

_NUMBER: Final = re.compile(r"[0-9]++(?:\.[0-9]*+)?+|\.[0-9]++")
_LETTERS: Final = re.compile(r"[A-Z]*+")


class _Do(IntEnum):
    PUSH = 0
    READ = 1
    MINUS = 2
    ONE = 3
    TWO = 4
    SAME = 5


@dataclass(frozen=True, slots=True)
class _Step:
    do: _Do
    column: int
    number: float = 0.0
    one: Function | None = None
    two: Binary | None = None


@dataclass(slots=True)
class Cursor:
    """A line without blanks and comments, in capitals, and how far it has been read.

    Attributes
    ----------
    text : str
        With a `GAP` where a comment stood.
    columns : list of int
        Of each character in the line as written, and one more for the end of the line.
    at : int
    """

    text: str
    columns: list[int]
    at: int = 0

    @property
    def column(self) -> int:
        """Column of the next character."""
        return self.columns[self.at]

    def next(self) -> str:
        """Return the next character, past gaps; empty at the end."""
        text = self.text
        while self.at < len(text) and text[self.at] == GAP:
            self.at += 1
        return text[self.at] if self.at < len(text) else ""

    def take(self, expected: str) -> bool:
        """Step over `expected` if it comes next."""
        if self.next() and self.text.startswith(expected, self.at):
            self.at += len(expected)
            return True
        return False

    def letters(self) -> str:
        """Return the run of letters that comes next."""
        self.next()
        found = _LETTERS.match(self.text, self.at)
        return found[0] if found else ""

    def function(self) -> str:
        """Return the letters that come next where a bracket follows them; else nothing."""
        name = self.letters()
        return name if name and self.text.startswith("[", self.at + len(name)) else ""

    def halt(self, expected: str) -> Halt:
        """Return the halt for an expression that does not go on as it must."""
        found = self.next()
        return Halt(Code.EXPRESSION, self.column, found=found or "end", expected=expected)


def read_number(cursor: Cursor, word: str) -> str:
    """Read an unsigned number and return its digits as written.

    Raises
    ------
    Halt
        NUMBER: there is none, it is larger than any number here, or digits or a second point
        follow, as in ``1.2.3``.
    """
    cursor.next()
    column = cursor.column
    found = _NUMBER.match(cursor.text, cursor.at)
    if found is None or math.isinf(float(found[0])):
        raise Halt(Code.NUMBER, column, word=word)
    cursor.at = found.end()
    after = cursor.next()
    if after.isdigit() or after == ".":
        raise Halt(Code.NUMBER, column, word=word)
    return found[0]


@dataclass(frozen=True, slots=True)
class Expression:
    """What has to be worked out, as steps on a stack; a `Value`.

    Attributes
    ----------
    steps : tuple
    rules : Dialect
    """

    steps: tuple[_Step, ...]
    rules: Dialect = field(repr=False)

    def value(self, scope: Scope) -> float | None:
        """Work it out: None for an empty variable by itself, NaN when not known.

        An empty variable counts as 0 in arithmetic; EQ and NE tell it from every number, also from
        0 (common practice, from memory).

        Raises
        ------
        Halt
            It cannot be worked out, or no declared rule says how the control does it.
        """
        stack: list[float | None] = []
        for step in self.steps:
            match step.do:
                case _Do.PUSH:
                    stack.append(step.number)
                case _Do.READ:
                    stack.append(_read(stack.pop(), scope, step.column))
                case _Do.MINUS:
                    operand = stack.pop()
                    stack.append(None if operand is None else -operand)
                case _Do.ONE:
                    assert step.one is not None
                    stack.append(step.one(_counted(stack.pop()), self.rules, step.column))
                case _:
                    assert step.two is not None
                    right, left = stack.pop(), stack.pop()
                    if step.do is _Do.SAME and (left is None or right is None):
                        stack.append(_same_empty(left, right, step.number))
                        continue
                    stack.append(step.two(_counted(left), _counted(right), self.rules, step.column))
        return stack.pop()


def _read(number: float | None, scope: Scope, column: int) -> float | None:
    if number is None:
        # Variable of an empty number: not even the empty variable is meant for sure.
        raise Halt(Code.VARIABLE_NUMBER, column, number="empty")
    if math.isnan(number):
        return number
    value = scope.variable(variable_number(number, column), column)
    if value is not None and math.isinf(value):
        raise Halt(Code.DOMAIN, column, what="overflow")
    return value


def _counted(number: float | None) -> float:
    return 0.0 if number is None else number


def _same_empty(left: float | None, right: float | None, when_same: float) -> float:
    other = right if left is None else left
    if other is not None and math.isnan(other):
        return other
    return when_same if other is None else 1.0 - when_same


@dataclass(slots=True)
class _Level:
    """One level of brackets while it is read.

    Attributes
    ----------
    base : int
        Operators and prefixes waiting below belong to the levels outside.
    function : str
        Name of the function that the bracket belongs to.
    logic : str
        AND, OR or XOR met in this level.
    others : bool
        Another operator met in this level.
    compared : bool
        A comparison met in this level.
    pairs : int
        1 while the first of two numbers of ATAN is read, 2 for the second.
    """

    base: int
    function: str = ""
    logic: str = ""
    others: bool = False
    compared: bool = False
    pairs: int = 1


@dataclass(slots=True)
class _Waiting:
    """An operator, sign, ``#`` or function whose operand is still being read."""

    binds: int
    step: _Step


_PREFIX: Final = 9
_SIGN: Final = 8
_COMPARISONS: Final = frozenset({"EQ", "NE", "GT", "GE", "LT", "LE"})
_LOGIC: Final = frozenset({"AND", "OR", "XOR"})
_OPERATORS: Final = tuple(sorted(BINARY, key=len, reverse=True))


@dataclass(slots=True)
class _Reading:
    cursor: Cursor
    rules: Dialect
    in_word: bool
    single: bool
    steps: list[_Step] = field(default_factory=list)
    waiting: list[_Waiting] = field(default_factory=list)
    levels: list[_Level] = field(default_factory=lambda: [_Level(0)])

    def open(self, function: str = "", pairs: int = 1) -> None:
        limit = self.rules.limits.brackets
        if len(self.levels) > limit:
            raise Halt(Code.TOO_DEEP, self.cursor.columns[self.cursor.at - 1], limit=limit)
        self.levels.append(_Level(len(self.waiting), function, pairs=pairs))

    def operand(self) -> bool:
        """Read up to the end of a number (True) or just past an opening bracket (False)."""
        cursor = self.cursor
        sign = cursor.next()
        if sign in ("+", "-"):
            if sign == "-":
                self.waiting.append(_Waiting(_SIGN, _Step(_Do.MINUS, cursor.column)))
            cursor.at += 1
        hashes = 0
        while cursor.next() == "#":
            hashes += 1
            if hashes > self.rules.limits.brackets:
                raise Halt(Code.TOO_DEEP, cursor.column, limit=self.rules.limits.brackets)
            self.waiting.append(_Waiting(_PREFIX, _Step(_Do.READ, cursor.column)))
            cursor.at += 1
        found, column = cursor.next(), cursor.column
        if found == "[":
            cursor.at += 1
            self.open()
            return False
        if found.isalpha():
            self.named(column)
            return False
        if found.isdigit() or found == ".":
            number = float(read_number(cursor, "#" if hashes else ""))
            self.steps.append(_Step(_Do.PUSH, column, number))
            return True
        raise cursor.halt("value")

    def named(self, column: int) -> None:
        name = self.cursor.function()
        if name not in FUNCTIONS:
            if not name:
                raise self.cursor.halt("value")
            raise Halt(Code.FUNCTION_UNKNOWN, column, name=name)
        self.cursor.at += len(name) + 1
        one = round_in_word if name == "ROUND" and self.in_word else FUNCTIONS[name]
        self.waiting.append(_Waiting(_PREFIX, _Step(_Do.ONE, column, one=one)))
        self.open(name)

    def settle(self, binds: int) -> None:
        """Work out what waits in this level and binds at least so tightly."""
        base = self.levels[-1].base
        while len(self.waiting) > base and self.waiting[-1].binds >= binds:
            self.steps.append(self.waiting.pop().step)

    def close(self) -> bool:
        """Step over a closing bracket; False where a second bracket of ATAN opens."""
        cursor = self.cursor
        self.settle(0)
        level = self.levels.pop()
        cursor.at += 1
        if level.function != "ATAN":
            return True
        column = self.waiting[-1].step.column
        if level.pairs == 2:
            self.waiting[-1] = _Waiting(_PREFIX, _Step(_Do.TWO, column, two=atan_of_two))
        elif cursor.take("/"):
            if not cursor.take("["):
                # Two numbers without brackets, or an angle divided: both have been seen.
                raise Halt(Code.OPERATION_RULE, column, name="ATAN")
            self.open("ATAN", pairs=2)
            return False
        return True

    def signed(self) -> bool:
        """Work out what stands right before an operand; True if that is a minus sign."""
        base, minus = self.levels[-1].base, False
        while len(self.waiting) > base and self.waiting[-1].binds >= _SIGN:
            step = self.waiting.pop().step
            minus = minus or step.do is _Do.MINUS
            self.steps.append(step)
        return minus

    def operator(self, name: str, signed: bool) -> None:
        level, column = self.levels[-1], self.cursor.column
        if name in _LOGIC:
            if level.others or level.logic not in ("", name):
                raise Halt(Code.MIXED_LOGIC, column)
            level.logic = name
        elif level.logic:
            raise Halt(Code.MIXED_LOGIC, column)
        else:
            level.others = True
        if name in _COMPARISONS:
            if level.compared:
                raise Halt(Code.EXPRESSION, column, found=name, expected="]")
            level.compared = True
        if name == "**" and signed:
            # -2**2 is 4 where the sign belongs to the number (NISTIR 6556), elsewhere -4.
            raise Halt(Code.OPERATION_RULE, column, name=name)
        binds, two = BINARY[name]
        self.settle(binds)
        # The number of EQ and NE is their answer for two empty variables.
        do = _Do.SAME if name in ("EQ", "NE") else _Do.TWO
        step = _Step(do, column, number=float(name == "EQ"), two=two)
        self.waiting.append(_Waiting(binds, step))
        self.cursor.at += len(name)

    def after(self) -> bool:
        """Go on after an operand: True when another one must follow, False at the end."""
        cursor = self.cursor
        while True:
            signed = self.signed()
            level, found = self.levels[-1], cursor.next()
            inside = len(self.levels) > 1
            if inside and found == "]":
                if not self.close():
                    return True
                continue
            if inside and found == "," and level.function == "ATAN" and level.pairs == 1:
                self.settle(0)
                self.levels[-1] = _Level(level.base, "ATAN", pairs=2)
                cursor.at += 1
                return True
            name = next((o for o in _OPERATORS if cursor.text.startswith(o, cursor.at)), "")
            if not inside and (self.single or cursor.function()[1:] in FUNCTIONS):
                name = ""  # "GEXP[1]" after a value: the word G, not the operator GE
            if not name:
                if inside:
                    raise cursor.halt("]")
                return False
            self.operator(name, signed)
            return True

    def all(self) -> Expression:
        more = True
        while more:
            while not self.operand():
                pass
            more = self.after()
        self.settle(0)
        return Expression(tuple(self.steps), self.rules)


def read_value(cursor: Cursor, rules: Dialect, *, in_word: bool = False) -> Expression:
    """Read one value: a number, a variable, a function or brackets, with or without a sign.

    Parameters
    ----------
    cursor : Cursor
        Left just past the value.
    rules : Dialect
    in_word : bool
        It is the value of a word, where ROUND has a rule of its own.

    Raises
    ------
    Halt
        EXPRESSION, NUMBER, FUNCTION_UNKNOWN, TOO_DEEP, MIXED_LOGIC or OPERATION_RULE.
    """
    return _Reading(cursor, rules, in_word, single=True).all()


def read_expression(cursor: Cursor, rules: Dialect) -> Expression:
    """Read an expression without brackets around it, as in ``#1=#1+1``, as far as it goes.

    Raises
    ------
    Halt
        As for `read_value`.
    """
    return _Reading(cursor, rules, in_word=False, single=False).all()
