"""One block (line) of a program, taken apart: words with columns, and what steers the flow."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

__all__ = ["Assignment", "Block", "Control", "Scope", "Value", "Word"]


class Scope(Protocol):
    """What an expression is worked out in."""

    def variable(self, number: int, column: int) -> float | None:
        """Return the value of a variable: None when empty, NaN when not known.

        Raises
        ------
        Halt
            There is no such variable.
        """
        ...


class Value(Protocol):
    """A value in a block that has to be worked out: a variable or an expression."""

    def value(self, scope: Scope) -> float | None:
        """Return the number; None when it is an empty variable, NaN when not known.

        Raises
        ------
        Halt
            It cannot be worked out (division by zero and the like).
        """
        ...


@dataclass(slots=True)
class Word:
    """A letter with its value.

    Attributes
    ----------
    letter : str
        Upper case.
    column : int
        Of the letter, from 1, in the line as written.
    number : float
        The value when it is written as a number; NaN when `worked` has to be asked.
    has_point : bool
        The number was written with a decimal point.
    worked : Value or None
        A variable or expression in place of the number.
    """

    letter: str
    column: int
    number: float
    has_point: bool = False
    worked: Value | None = None


@dataclass(slots=True)
class Assignment:
    """``#target = value``."""

    target: Value
    value: Value
    column: int


@dataclass(slots=True)
class Control:
    """A word that steers the flow.

    Attributes
    ----------
    kind : str
        ``"goto"``, ``"if goto"``, ``"if then"``, ``"while"``, ``"do"`` (without WHILE), ``"end"``.
    condition : Value or None
    target : Value or None
        Block number of a goto.
    loop : int
        Number of DO and END.
    """

    kind: str
    column: int
    condition: Value | None = None
    target: Value | None = None
    loop: int = 0


@dataclass(slots=True)
class Block:
    """A line taken apart.

    Attributes
    ----------
    words : list of Word
        Without N; a program number comes as a word with letter O.
    label : int or None
        Block number (N).
    skip : int or None
        Level of a block skip (a slash alone is 1).
    assignments : list of Assignment
    control : Control or None
    percent : bool
        The line is a percent sign.
    sorted : object or None
        What `sorting` made of it, kept when it is the same every time.
    checked : set
        Motions with which its words have been checked.
    """

    words: list[Word] = field(default_factory=list)
    label: int | None = None
    label_column: int = 0
    skip: int | None = None
    skip_column: int = 0
    assignments: list[Assignment] = field(default_factory=list)
    control: Control | None = None
    percent: bool = False
    sorted: object | None = None
    checked: set[object] = field(default_factory=set)
