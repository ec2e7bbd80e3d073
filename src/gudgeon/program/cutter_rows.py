"""The rows of a stretch under cutter radius compensation, moved to the path of the cutter's centre.

The rows are first written as programmed.  Where the stretch ends, `CutterPath.settle` replaces
them: what a corner asks for is known only from the move after it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.cutter import NO_LENGTH_MM, PlaneMove, centre_path
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.track import SEGMENT, Flag, Kind, Rows

__all__ = ["CutterPath", "OutOfPlace"]

_MOVES: Final = (Kind.RAPID, Kind.LINE, Kind.ARC, Kind.PROBE)


class OutOfPlace(Exception):  # noqa: N818 - carries the place of a Halt in an earlier row
    """A Halt that belongs to an earlier row."""

    def __init__(self, halt: Halt, line: int, column: int, source: int) -> None:
        super().__init__(halt)
        self.halt = halt
        self.line = line
        self.column = column
        self.source = source


@dataclass(slots=True)
class CutterPath:
    """A stretch under cutter radius compensation.

    Attributes
    ----------
    first : int
        Index of its first row.
    start : tuple of 5 floats
        Position before it [mm, rad].
    axes : (u, v, w)
        Of its plane.
    side : int
    radius_mm : float
    corner, lead : str or None
        See `cutter.centre_path`.
    closing : int
        Row from which the lead-out is looked for; -1 while the radius is in force.
    """

    first: int
    start: tuple[float, ...]
    axes: tuple[int, int, int]
    side: int
    radius_mm: float
    corner: str | None
    lead: str | None
    closing: int = -1

    def settle(self, rows: Rows, *, at_end: bool = False) -> bool:
        """Replace the rows if the stretch has ended, and return whether it has.

        Parameters
        ----------
        at_end : bool
            Nothing more comes: the stretch ends here, set off.

        Raises
        ------
        OutOfPlace
            The path cannot be told; the rows of the stretch are taken away.
        """
        past = rows.count
        if not at_end:
            if self.closing < 0:
                return False
            past = self._past_lead_out(rows)
            if past < 0:
                return False
        self._replace(rows, past, lead_out=self.closing >= 0 and not at_end)
        return True

    def _past_lead_out(self, rows: Rows) -> int:
        u, v, _ = self.axes
        for index in range(self.closing, rows.count):
            before = rows.segments["end"][index - 1] if index > 0 else np.array(self.start)
            if index == self.first:
                before = np.array(self.start)
            end = rows.segments["end"][index]
            if rows.segments["kind"][index] in _MOVES and (
                hypot(end[u] - before[u], end[v] - before[v]) > NO_LENGTH_MM
            ):
                return index + 1
        self.closing = rows.count
        return -1

    def _replace(self, rows: Rows, past: int, *, lead_out: bool) -> None:
        part = rows.segments[self.first : past].copy()
        after = rows.segments[past : rows.count].copy()
        moving = [i for i in range(len(part)) if part["kind"][i] in _MOVES]
        try:
            moves = self._moves(part, moving, rows)
            path = centre_path(
                moves, self.side, self.radius_mm, self.corner, lead=self.lead, lead_out=lead_out
            )
            self._check_rapids(part, moving, path)
        except Halt as halt:
            index = int(dict(halt.detail).get("index", 0))
            row = part[moving[index]] if moving else part[0]
            rows.count = self.first
            raise OutOfPlace(
                halt, int(row["line"]), int(row["column"]), int(row["source"])
            ) from None
        new = self._rows(part, moving, path, rows)
        rows.count = self.first
        rows.make_room(len(new) + len(after), 0)
        end = self.first + len(new)
        rows.segments[self.first : end] = new
        rows.segments[end : end + len(after)] = after
        rows.count = end + len(after)

    def _moves(self, part: NDArray[np.void], moving: list[int], rows: Rows) -> list[PlaneMove]:
        u, v, w = self.axes
        moves: list[PlaneMove] = []
        here = self.start
        for number, index in enumerate(moving):
            end = part["end"][index].tolist()
            centre, sweep = None, 0.0
            if part["kind"][index] == Kind.ARC:
                arc = part["arc"][index]
                if arc < 0:
                    raise Halt(Code.ARC_FROM_UNKNOWN, index=number)
                circle = rows.arcs[arc]
                middle = circle["centre"].tolist()
                centre, sweep = (middle[u], middle[v]), float(circle["sweep"])
                if abs(circle["normal"][w] - 1.0) > 1e-9:
                    raise Halt(Code.CUTTER_WORD, index=number, word="plane")
            moves.append(PlaneMove(here[u], here[v], end[u], end[v], centre, sweep))
            here = end
        return moves

    def _check_rapids(
        self, part: NDArray[np.void], moving: list[int], path: list[list[PlaneMove]]
    ) -> None:
        # A rapid round a corner: some controls put no corner in for rapids.
        for number, (index, parts) in enumerate(zip(moving, path, strict=True)):
            if part["kind"][index] == Kind.RAPID and any(one.corner for one in parts):
                raise Halt(Code.CUTTER_WORD, index=number, word="rapid")

    def _rows(
        self,
        part: NDArray[np.void],
        moving: list[int],
        path: list[list[PlaneMove]],
        rows: Rows,
    ) -> NDArray[np.void]:
        u, v, w = self.axes
        new = np.empty(len(part) - len(moving) + sum(len(parts) for parts in path), dtype=SEGMENT)
        here = np.array(self.start)
        filled = 0
        paths = dict(zip(moving, path, strict=True))
        for index in range(len(part)):
            row = part[index]
            if index not in paths:  # nothing moves: it happens where the cutter stands
                row["end"][:] = here
                new[filled] = row
                filled += 1
                continue
            parts = paths[index]
            lengths = [0.0 if one.corner else _length(one) for one in parts]
            whole = sum(lengths) or 1.0
            begin, goal, gone = here.copy(), row["end"].copy(), 0.0
            for number, one in enumerate(parts):
                gone += lengths[number] / whole
                last = number == len(parts) - 1
                # Axes outside the plane travel on the parts that are no corner.
                end = goal.copy() if last else begin + gone * (goal - begin)
                end[u], end[v] = one.u1, one.v1
                self._set(row, one, end, here, rows, (u, v, w))
                new[filled] = row
                filled += 1
                here = end
        return new

    def _set(
        self,
        row: np.void,
        one: PlaneMove,
        end: NDArray[np.float64],
        here: NDArray[np.float64],
        rows: Rows,
        axes: tuple[int, int, int],
    ) -> None:
        u, v, w = axes
        row["end"] = end
        row["flags"] |= Flag.CUTTER
        row["arc"] = -1
        if one.centre is None:
            if row["kind"] == Kind.ARC:
                row["kind"] = Kind.LINE
            return
        middle = here[:3].copy()
        middle[u], middle[v] = one.centre
        normal = [1.0 if axis == w else 0.0 for axis in range(3)]
        row["kind"] = Kind.ARC
        row["arc"] = rows.add_arc(tuple(middle), tuple(normal), one.sweep)


def _length(move: PlaneMove) -> float:
    if move.centre is None:
        return hypot(move.u1 - move.u0, move.v1 - move.v0)
    return abs(move.sweep) * hypot(move.u0 - move.centre[0], move.v0 - move.centre[1])
