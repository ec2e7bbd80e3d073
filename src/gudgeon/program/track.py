"""The motion that a program asks for: one row a segment, kept in flat arrays.

A million segments must fit into the memory of a shop PC, and the clearance engine runs over them
in compiled loops; therefore rows are NumPy records and what many rows share (tool, offset, modes)
is kept once, as an `InForce` that rows point to.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from enum import IntEnum, IntFlag
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.dialect import AXES
from gudgeon.program.doubts import Doubt, Grade

__all__ = ["ARC", "AXES", "SEGMENT", "Ended", "FeedKind", "Flag", "InForce", "Kind", "Track"]


class Kind(IntEnum):
    """What a row is."""

    RAPID = 0
    LINE = 1
    ARC = 2
    DWELL = 3
    TOOL_CHANGE = 4
    OFFSET_CHANGE = 5
    """Work offset, length offset, shift or a register written; nothing moves."""
    SPINDLE = 6
    STOP = 7
    """Program stop, optional stop (see flags) or end."""
    PROBE = 8
    """A feed move that ends at a touch not later than its end."""
    OTHER = 9
    """A declared word without motion (coolant, clamps; see flags); one row a block."""


class FeedKind(IntEnum):
    """What the `feed` of a row means."""

    NONE = 0
    MM_PER_S = 1
    RAD_PER_S = 2
    """Only turning axes move (NISTIR 6556, 2.1.2.5 B and C)."""
    PER_S = 3
    """Inverse time: the move takes 1/feed seconds."""
    MM_PER_TURN = 4
    SECONDS = 5
    """A dwell."""


class Flag(IntFlag):
    """More about a row; several may hold."""

    EITHER_WAY = 1
    """A turning axis may reach its end either way round: the rule is not declared."""
    IN_CYCLE = 2
    CUTTER = 4
    """The path is that of the cutter's centre, offset from the programmed one."""
    OPTIONAL = 8
    END = 16
    CHORD = 32
    """One of several short lines that stand for a curved motion of the joints."""
    SPINDLE_STOPPED = 64
    """The spindle stands still during this move of a cycle."""
    TO_REFERENCE = 128
    CLAMPS_TILT = 256
    """Of a word without motion: it clamps the tilt axis."""
    CLAMPS_ROTARY = 512
    FREES_TILT = 1024
    FREES_ROTARY = 2048


SEGMENT: Final = np.dtype(
    [
        ("end", np.float64, (AXES,)),  # joint position after the row [mm, mm, mm, rad, rad]
        ("feed", np.float64),
        ("line", np.int32),
        ("column", np.int32),
        ("force", np.int32),  # index into Track.in_force
        ("arc", np.int32),  # index into Track.arcs, -1 for none
        ("doubt", np.int32),  # index into Track.doubts of the first doubt about this row, or -1
        ("source", np.int32),  # 0 the program itself, else the number of the called program
        ("kind", np.uint8),
        ("feed_kind", np.uint8),
        ("flags", np.uint16),
    ],
    align=True,
)
"""One segment. It starts where the row before it ends (the first: at `Track.start`)."""

ARC: Final = np.dtype(
    [
        ("centre", np.float64, (3,)),  # machine X Y Z of the gauge point [mm]
        ("normal", np.float64, (3,)),  # unit; the sweep is right-handed about it
        ("sweep", np.float64),  # signed [rad]; a full circle is 2 pi
    ]
)
"""The circle of an arc row; motion along the normal (a helix) goes evenly with the sweep."""


class InForce(NamedTuple):
    """What stays in force over many rows.  ``None``: the program never set it.

    Attributes
    ----------
    tool : int or None
        In the spindle.
    next_tool : int or None
        Called up, not yet changed.
    length_register : int or None
        Number of the length register; ``None`` when no length is in force.
    length_mm : float
        Length offset in force, added to Z; NaN when not known.
    offset : str or None
        Name of the work offset, such as ``"G54"``.
    offset_values : tuple of 5 floats
        Its values [mm, mm, mm, rad, rad]; NaN when not known.
    shift : tuple of 5 floats
        Further shift (G92) [mm, mm, mm, rad, rad].
    unit : str or None
        ``"mm"`` or ``"in"``.
    absolute : bool or None
    plane : int or None
        0 XY, 1 ZX, 2 YZ.
    feed_mode : str
        ``"minute"``, ``"turn"`` or ``"inverse"``.
    spindle : int
        +1 clockwise seen from the spindle, -1 the other way, 0 stopped.
    speed_per_s : float or None
        Spindle speed [1/s].
    cutter_side : int
        0 off, +1 cutter left of the path, -1 right.
    cutter_radius_mm : float
    cycle : str or None
        Meaning of the cycle in force.
    plane_tilted : bool
        A tilted plane is in force.
    tool_point : bool
        Tool-point control is in force.
    exact_stop : bool
        The axes stop at the end of every feed move (NISTIR 6556, 3.5.14).
    """

    tool: int | None = None
    next_tool: int | None = None
    length_register: int | None = None
    length_mm: float = 0.0
    offset: str | None = None
    offset_values: tuple[float, ...] = (np.nan,) * AXES
    shift: tuple[float, ...] = (0.0,) * AXES
    unit: str | None = None
    absolute: bool | None = None
    plane: int | None = None
    feed_mode: str = "minute"
    spindle: int = 0
    speed_per_s: float | None = None
    cutter_side: int = 0
    cutter_radius_mm: float = 0.0
    cycle: str | None = None
    plane_tilted: bool = False
    tool_point: bool = False
    exact_stop: bool = False


class Ended(IntEnum):
    """How reading ended."""

    BY_WORD = 0
    """At an end word (M2, M30)."""
    AT_PERCENT = 1
    """At the closing percent sign."""
    TEXT_OUT = 2
    """The text ran out."""
    STOPPED = 3
    """At a doubt that does not let the reader go on."""
    REPEATS = 4
    """A return in the main program: it starts again."""
    CANCELLED = 5


@dataclass(slots=True)
class Track:
    """All that was read.

    Attributes
    ----------
    segments : ndarray of SEGMENT
    arcs : ndarray of ARC
    in_force : list of InForce
    start : tuple of 5 floats
        Joint position before the first row; NaN where not known.
    doubts : list of Doubt
        In the order met; also notes.
    ended : Ended
    last_line : int
        The last line that was read, from 1.
    blocks : int
        Blocks carried out, repeats counted.
    unread : list of Doubt
        Words further on, past a stop, that would not be understood either.
    calls : list of (row, line, source)
        From this row on the motion was called from that line; line 0: back in the main program.
    """

    segments: NDArray[np.void]
    arcs: NDArray[np.void]
    in_force: list[InForce]
    start: tuple[float, ...]
    doubts: list[Doubt] = field(default_factory=list)
    ended: Ended = Ended.TEXT_OUT
    last_line: int = 0
    blocks: int = 0
    unread: list[Doubt] = field(default_factory=list)
    calls: list[tuple[int, int, int]] = field(default_factory=list)

    def called_from(self, row: int) -> tuple[int, int]:
        """Return line and source from which the subprogram of a row was called; line 0: none."""
        at = bisect_right(self.calls, row, key=lambda call: call[0]) - 1
        return self.calls[at][1:] if at >= 0 else (0, 0)

    @property
    def worst(self) -> Doubt | None:
        """The first error, else the first thing not known, else None."""
        real = [doubt for doubt in self.doubts if doubt.grade is not Grade.NOTE]
        return max(real, key=lambda doubt: doubt.grade, default=None)


class Rows:
    """Grows the arrays of a track; the compiled reader writes into the same arrays.

    Attributes
    ----------
    segments, arcs : ndarray
        With room to spare; only the first `count` and `arc_count` rows are filled.
    """

    def __init__(self, room: int = 1024) -> None:
        self.segments = np.empty(room, dtype=SEGMENT)
        self.arcs = np.empty(64, dtype=ARC)
        self.count = 0
        self.arc_count = 0

    def make_room(self, rows: int, arcs: int) -> None:
        """Have room for so many more rows and arcs."""
        if self.count + rows > len(self.segments):
            self.segments = _larger(self.segments, self.count, self.count + rows)
        if self.arc_count + arcs > len(self.arcs):
            self.arcs = _larger(self.arcs, self.arc_count, self.arc_count + arcs)

    def add(self, row: tuple[object, ...]) -> None:
        """Add one segment; `row` in the order of SEGMENT."""
        if self.count == len(self.segments):
            self.make_room(1, 0)
        self.segments[self.count] = row
        self.count += 1

    def add_arc(self, centre: tuple[float, ...], normal: tuple[float, ...], sweep: float) -> int:
        """Add one circle and return its index."""
        if self.arc_count == len(self.arcs):
            self.make_room(0, 1)
        self.arcs[self.arc_count] = (centre, normal, sweep)
        self.arc_count += 1
        return self.arc_count - 1


def _larger(array: NDArray[np.void], filled: int, least: int) -> NDArray[np.void]:
    # Half as much again: growing costs little and at most a third stands empty.
    larger = np.empty(max(least, filled + filled // 2), dtype=array.dtype)
    larger[:filled] = array[:filled]
    return larger
