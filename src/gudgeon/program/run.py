"""What a reading run holds: state, rows, doubts, variables; and the values of words."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan, pi
from typing import Final

from gudgeon.program.blocks import Word
from gudgeon.program.cutter_rows import CutterPath
from gudgeon.program.dialect import Dialect, Meaning, ToolPointWord, Variable
from gudgeon.program.doubts import Code, Doubt, Halt
from gudgeon.program.frames import PlaneFrame
from gudgeon.program.state import State
from gudgeon.program.track import AXES, FeedKind, InForce, Kind, Rows
from gudgeon.program.variables import Variables

__all__ = ["DEGREE", "Given", "Run", "Sticky", "whole"]

DEGREE: Final = pi / 180.0
_DOUBTS_KEPT: Final = 1_000
_FORCES_KEPT: Final = 200_000
"""A loop that sets a new speed or shift each time must not fill the memory."""
_NO_CAUSE: Final = -1


@dataclass(slots=True)
class Given:
    """One word of a block with its value worked out.

    Attributes
    ----------
    letter : str
    value : float
        NaN when not known.
    column : int
    has_point : bool
    cause : int
        Index of the doubt that made the value unknown, or -1.
    """

    letter: str
    value: float
    column: int
    has_point: bool
    cause: int = _NO_CAUSE

    @property
    def text(self) -> str:
        """The word as a person would write it."""
        return f"{self.letter}{self.value:.15g}"


@dataclass(slots=True)
class Sticky:
    """Words of a cycle that stay for the holes after it (NISTIR 6556, 3.5.16)."""

    r: Given | None = None
    z: Given | None = None
    q: Given | None = None
    p: Given | None = None
    i: Given | None = None
    j: Given | None = None
    k: Given | None = None
    modes: tuple[object, object] = (None, None)
    """Unit and distance mode in which R and Z were written."""
    stands: tuple[object, ...] = ()
    """Plane, tilted plane and tool-point control at the first hole."""


def whole(word: Given, low: int, high: int) -> int:
    """Return a word's value as a whole number within limits.

    Raises
    ------
    Halt
        It is not known, not whole, or outside.
    """
    if isnan(word.value):
        raise Halt(Code.UNKNOWN_BRANCH, word.column, word=word.letter)
    if word.value != int(word.value) or not low <= word.value <= high:
        raise Halt(Code.NOT_WHOLE, word.column, word=word.text)
    return int(word.value)


class Run:
    """Everything that one reading carries along.

    Attributes
    ----------
    dialect : Dialect
    state : State
    rows : Rows
    doubts : list of Doubt
    in_force : list of InForce
    variables : Variables
    line : int
        Of the block in hand, from 1.
    source : int
        Number of the text in hand, see `Doubt.source`.
    column : int
        Column that rows of the block in hand get.
    offsets : dict of name to Joint
        Registers as they stand now (a program can write them).
    lengths, radii : dict of register to mm
    """

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        self.rows = Rows()
        self.doubts: list[Doubt] = []
        self._doubt_index: dict[tuple[object, ...], int] = {}
        self.in_force: list[InForce] = []
        self._force_index: dict[InForce, int] = {}
        self.line = 0
        self.source = 0
        self.column = 0
        self.state = State(position=list(dialect.start), force=InForce(tool=dialect.tool_at_start))
        self.offsets = {name: tuple(values) for name, values in dialect.offsets.items()}
        self.lengths = dict(dialect.lengths)
        self.radii = dict(dialect.radii)
        self.feed_cause = _NO_CAUSE  # of a feed that was set to something not known
        self.length_minus = False  # the length in force is taken away (G44)
        self.shift_local = False  # the shift in force is a local one (G52)
        self.length_waiting = 0.0  # change of length that the next step of Z may take along
        self.motion_before_cycle: Meaning | None = None
        self.first_level = nan  # of the drilling axis where the cycle in force began [mm]
        self.cycle_begins = False
        self.sticky = Sticky()
        self.plane: PlaneFrame | None = None  # tilted plane, or the frame of tool-point control
        self.tool_point: ToolPointWord | None = None
        self.plane_cause = _NO_CAUSE
        self.cutter: CutterPath | None = None
        self.taken: dict[Meaning | None, set[str]] = {}  # letters that plain blocks may have
        self.to_first_level = True
        self.shift_kept: tuple[float, ...] = (0.0,) * AXES  # what "shift back" brings back
        self.variables = Variables(dialect, self._variable_doubt, self._system_variable)

    # --- doubts -----------------------------------------------------------------------------

    def doubt(self, code: Code, column: int = 0, **detail: str | float) -> int:
        """Note something that is not known and return its index; the same cause is noted once."""
        items = tuple(detail.items())
        place = (self.line, column) if not items else ()
        known = (code, items, place)
        index = self._doubt_index.get(known)
        if index is None:
            if len(self.doubts) >= _DOUBTS_KEPT:
                raise Halt(Code.TOO_MUCH, column, limit=_DOUBTS_KEPT)
            index = len(self.doubts)
            self.doubts.append(Doubt(code, self.line, column, items, self.source))
            self._doubt_index[known] = index
        return index

    def _variable_doubt(self, code: Code, column: int, detail: dict[str, float]) -> int:
        return self.doubt(code, column, **detail)

    # --- values -----------------------------------------------------------------------------

    def value(self, word: Word) -> tuple[float | None, int]:
        """Return a word's number and, where it is not known, the doubt that made it so."""
        if word.worked is None:
            return word.number, _NO_CAUSE
        self.variables.cause = _NO_CAUSE
        found = word.worked.value(self.variables)
        cause = _NO_CAUSE if found is None or found == found else self.variables.cause
        return found, cause

    def scaled(self, word: Given, axis: int = 0) -> float:
        """Return a length in mm or, for turning axes (3, 4), an angle in rad.

        Raises
        ------
        Halt
            The decimal point is missing and no rule declared, or no unit is in force.
        """
        value = word.value
        if axis >= 3:
            if not word.has_point:
                value = self._pointed(word, self.dialect.least_deg)
            return value * DEGREE
        unit = self.state.force.unit
        if unit is None:
            raise Halt(Code.UNIT_UNSET, word.column)
        if unit == "mm":
            if not word.has_point:
                value = self._pointed(word, self.dialect.least_mm)
            return value
        if not word.has_point:
            value = self._pointed(word, self.dialect.least_inch)
        return value * 25.4

    def _pointed(self, word: Given, least: float) -> float:
        value = word.value
        if value == 0.0 or value != value or self.dialect.missing_point == "unit":
            return value
        if self.dialect.missing_point is None:
            raise Halt(Code.POINT_MISSING, word.column, word=word.text)
        return value * least

    def seconds(self, word: Given) -> float:
        """Return a dwell [s]; NaN, with a note, when its unit is not declared."""
        if word.value < 0.0:
            raise Halt(Code.DWELL_NEGATIVE, word.column)
        if word.letter != "P":  # X and U of a dwell: seconds on all that take them (from memory)
            if not word.has_point and word.value and self.dialect.missing_point != "unit":
                self.doubt(Code.DWELL_UNIT, word.column, word=word.letter)
                return nan
            return word.value
        if self.dialect.dwell_p is None and word.value:
            self.doubt(Code.DWELL_UNIT, word.column, word=word.letter)
            return nan
        return word.value / 1000.0 if self.dialect.dwell_p == "ms" else word.value

    def _system_variable(self, number: int) -> float | None:
        described = self.dialect.variables.get(number)
        return None if described is None else self._described(described)

    def _described(self, variable: Variable) -> float:
        if variable.what == "value":
            return variable.value
        axis = variable.axis
        if variable.what == "offset":
            value = self.offsets.get(variable.offset, (nan,) * AXES)[axis]
            if isnan(value):
                word = variable.offset
                self.variables.cause = self.doubt(Code.OFFSET_UNKNOWN, word=word, axis=axis)
        else:
            value = self.state.position[axis]
            if variable.what == "work position":
                value -= self.state.zero(axis)
            if isnan(value):
                cause = self.state.causes[axis]
                if cause < 0:
                    cause = self.doubt(Code.POSITION_UNKNOWN, axis=axis)
                self.variables.cause = cause
        return value / DEGREE if axis >= 3 else value / self.state.unit_mm

    # --- rows -------------------------------------------------------------------------------

    def force_index(self) -> int:
        """Return the index of what is in force, keeping it if it is new."""
        state = self.state
        if state.force_index < 0 or not self.in_force:
            index = self._force_index.get(state.force)
            if index is None:
                index = len(self.in_force)
                if index >= _FORCES_KEPT:
                    raise Halt(Code.TOO_MUCH, self.column, limit=_FORCES_KEPT)
                self.in_force.append(state.force)
                self._force_index[state.force] = index
            state.force_index = index
        return state.force_index

    def emit(
        self,
        kind: Kind,
        *,
        feed: float = 0.0,
        feed_kind: FeedKind = FeedKind.NONE,
        arc: int = -1,
        flags: int = 0,
        cause: int = _NO_CAUSE,
    ) -> None:
        """Add a row that ends at the state's position.

        Raises
        ------
        Halt
            There is more motion than the limit.
        """
        if self.rows.count >= self.dialect.limits.rows:
            raise Halt(Code.TOO_MUCH, self.column, limit=self.dialect.limits.rows)
        state = self.state
        if cause < 0:
            for axis in range(AXES):
                if state.position[axis] != state.position[axis] and state.causes[axis] >= 0:
                    cause = state.causes[axis]
                    break
        self.rows.add(
            (
                tuple(state.position),
                feed,
                self.line,
                self.column,
                self.force_index(),
                arc,
                cause,
                self.source,
                kind,
                feed_kind,
                flags,
            )
        )

    def rapid_to(self, target: list[float], flags: int = 0) -> None:
        """Move there at rapid."""
        self.state.position = target
        self.emit(Kind.RAPID, flags=flags)

    def event(self, kind: Kind, *, flags: int = 0, seconds: float | None = None) -> None:
        """Add a row without motion."""
        if seconds is None:
            self.emit(kind, flags=flags)
        else:
            self.emit(kind, feed=seconds, feed_kind=FeedKind.SECONDS, flags=flags)

    def feed(self, column: int, *, turning_only: bool) -> tuple[float, FeedKind]:
        """Return feed and its kind for a feed move.

        Raises
        ------
        Halt
            No feed was set.
        """
        state, mode = self.state, self.state.force.feed_mode
        value = state.feed
        if value <= 0.0 or (value != value and self.feed_cause < 0):
            raise Halt(Code.FEED_MISSING, column)
        if mode == "inverse":
            return value / 60.0, FeedKind.PER_S
        if mode == "turn":
            return value * state.feed_mm, FeedKind.MM_PER_TURN
        if turning_only:
            return value * DEGREE / 60.0, FeedKind.RAD_PER_S
        return value * state.feed_mm / 60.0, FeedKind.MM_PER_S
