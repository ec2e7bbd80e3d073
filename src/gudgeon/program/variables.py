"""Variables of a program: local, common and those of the control, with the cause of the unknown."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from gudgeon.program.dialect import Dialect
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.operations import variable_number

__all__ = ["COMMON", "SYSTEM", "Variables"]

COMMON: Final = 100
"""First common variable: they keep their values from one program to the next (from memory)."""
SYSTEM: Final = 1000
"""First variable of the control itself (from memory)."""

_NUMBERS_IN_DOUBT: Final = 10_000
"""A loop over variable numbers must not fill the memory with doubts."""

Note = Callable[[Code, int, dict[str, float]], int]
"""Takes down a doubt (code, column, detail) and returns its index."""


class Variables:
    """What the variables hold; a `Scope`.

    An empty variable is None, one that is not known is NaN.  Locals and commons that hold NaN
    remember the doubt that made them unknown.

    Parameters
    ----------
    dialect : Dialect
    doubt : callable
        Takes down a doubt and returns its index; asked once for each variable.
    system : callable
        Value of a variable of the control; None when it is not described.  If it is described
        but not known (NaN), `system` may set `cause` itself.

    Attributes
    ----------
    cause : int
        Index of the doubt behind the last unknown that was read; the reader sets it to -1.
    """

    def __init__(
        self, dialect: Dialect, doubt: Note, system: Callable[[int], float | None]
    ) -> None:
        self.cause = -1
        self._dialect = dialect
        self._doubt = doubt
        self._system = system
        self._frames: list[dict[int, float | None]] = [{}]
        self._frame_causes: list[dict[int, int]] = [{}]
        self._common: dict[int, float | None] = {}
        self._common_causes: dict[int, int] = {}
        self._noted: dict[int, int] = {}
        self._last_noted = -1

    def variable(self, number: int, column: int) -> float | None:
        """Return the value: None when empty, NaN when not known (then `cause` says why).

        Raises
        ------
        Halt
            VARIABLE_NUMBER: there is no such variable.
        """
        if number == 0:
            return None
        values, causes = self._place(number, column)
        if values is None:
            value = self._system(number)
            return self._unknown(Code.SYSTEM_VARIABLE, number, column) if value is None else value
        if number >= COMMON and number not in values:
            return self._unknown(Code.COMMON_VARIABLE, number, column)
        value = values.get(number)
        if value is not None and math.isnan(value) and causes.get(number, -1) >= 0:
            self.cause = causes[number]
        return value

    def assign(
        self, number: float | None, value: float | None, column: int, cause: int | None = None
    ) -> None:
        """Set a variable; `number` as worked out from the target of an assignment.

        Parameters
        ----------
        number : float or None
        value : float or None
            None empties the variable.
        column : int
        cause : int or None
            Index of the doubt behind a NaN; None takes `self.cause`.

        Raises
        ------
        Halt
            VARIABLE_NUMBER: there is no such variable, or it cannot be set.  SYSTEM_WRITE: it is
            the control's.  UNKNOWN_BRANCH: not known which; any variable may have changed.
        """
        if number is None:
            raise Halt(Code.VARIABLE_NUMBER, column, number="empty")
        if math.isnan(number):
            raise Halt(Code.UNKNOWN_BRANCH, column, word="#")
        whole = variable_number(number, column)
        values, causes = self._place(whole, column)
        if values is None:
            raise Halt(Code.SYSTEM_WRITE, column, number=whole)
        values[whole] = value
        if value is not None and math.isnan(value):
            causes[whole] = self.cause if cause is None else cause

    def push(
        self, arguments: Mapping[int, float | None], causes: Mapping[int, int] | None = None
    ) -> None:
        """Begin a macro call: its locals are empty but for the arguments.

        Parameters
        ----------
        arguments : mapping of local number to value
        causes : mapping of local number to int, optional
            Doubts behind arguments that are NaN.

        Raises
        ------
        Halt
            TOO_DEEP: more calls within calls than the limit.  VARIABLE_NUMBER: no local.
        """
        limit = self._dialect.limits.depth
        if len(self._frames) > limit:
            raise Halt(Code.TOO_DEEP, limit=limit)
        for number in arguments:
            if not 1 <= number <= self._dialect.local_count:
                raise Halt(Code.VARIABLE_NUMBER, number=number)
        self._frames.append(dict(arguments))
        self._frame_causes.append(dict(causes or {}))

    def pop(self) -> None:
        """End a macro call: the caller's locals are back.

        Raises
        ------
        Halt
            RETURN_NOWHERE: there was no call.
        """
        if len(self._frames) == 1:
            raise Halt(Code.RETURN_NOWHERE)
        self._frames.pop()
        self._frame_causes.pop()

    def _place(
        self, number: int, column: int
    ) -> tuple[dict[int, float | None] | None, dict[int, int]]:
        if 1 <= number <= self._dialect.local_count:
            return self._frames[-1], self._frame_causes[-1]
        if COMMON <= number < SYSTEM:
            return self._common, self._common_causes
        if number >= SYSTEM:
            return None, {}
        raise Halt(Code.VARIABLE_NUMBER, column, number=number)

    def _unknown(self, code: Code, number: int, column: int) -> float:
        if number not in self._noted:
            if len(self._noted) < _NUMBERS_IN_DOUBT:
                self._noted[number] = self._doubt(code, column, {"number": number})
                self._last_noted = self._noted[number]
            else:
                self.cause = self._last_noted
                return math.nan
        self.cause = self._noted[number]
        return math.nan
