"""What makes which zero stale: each event is acted out on the placed chain, and the zeros move.

Nothing is listed by rule of thumb; an offset counts as stale when its zero moves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.kinematics.chain import AxisLine, WorkChain, turn_about

__all__ = ["STEP_MM", "STEP_RAD", "Event", "Placed", "events_of"]

Floats = NDArray[np.float64]

STEP_MM: Final = 0.01
"""Each shift is acted out by this much: a typical find of a bump (common practice, no source)."""

STEP_RAD: Final = math.radians(0.01)
"""Each turn is acted out by this much."""

_MOVED_MM: Final = 1e-6
"""Less than a nanometre for each step is rounding, not motion."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that may change in the shop.

    Attributes
    ----------
    name : str
        What happened.
    is_turn : bool
        The step was `STEP_RAD`, not `STEP_MM`.
    stale : tuple of int
        Places of the zeros that moved.
    axes : str
        Coordinates that moved in any of them, such as "XZ".
    most_mm : float
        Greatest motion of a zero for the step [mm].
    mend : str
        What to do then.
    """

    name: str
    is_turn: bool
    stale: tuple[int, ...]
    axes: str
    most_mm: float
    mend: str


@dataclass(frozen=True, slots=True)
class Placed:
    """A chain with its platter and the zeros on it.

    Attributes
    ----------
    chain : WorkChain
        In T.
    origin_mm : ndarray, shape (3,)
        Platter frame's origin in T at zero pose [mm].
    frame : ndarray, shape (3, 3)
        Platter frame's axes in T at zero pose, as columns.
    angles_rad : ndarray, shape (n, number of axes)
        Pose of each zero [rad].
    local_mm : ndarray, shape (n, 3)
        Each zero in the platter frame [mm].
    """

    chain: WorkChain
    origin_mm: Floats
    frame: Floats
    angles_rad: Floats
    local_mm: Floats

    def zeros(self) -> Floats:
        """Return where the zeros stand in their poses, shape (n, 3) [mm]."""
        at_zero = self.origin_mm + self.local_mm @ self.frame.T
        return self.chain.points(self.angles_rad, at_zero)

    def rotations(self) -> Floats:
        """Return the rotations from the platter frame to T in the poses, shape (n, 3, 3)."""
        return np.asarray(self.chain.matrices(self.angles_rad)[:, :3, :3] @ self.frame)

    def unit_moved(self, matrix: Floats) -> Placed:
        """Return the whole unit moved by a homogeneous matrix."""
        axes = tuple(replace(axis, line=_line_moved(axis.line, matrix)) for axis in self.chain.axes)
        origin = (matrix @ [*self.origin_mm, 1.0])[:3]
        return replace(
            self, chain=WorkChain(axes), origin_mm=origin, frame=matrix[:3, :3] @ self.frame
        )

    def line_moved(self, index: int, shift: Floats) -> Placed:
        """Return one axis line found elsewhere; the platter's origin goes with its own line."""
        axes = list(self.chain.axes)
        axes[index] = replace(axes[index], line=_line_moved(axes[index].line, _shift(shift)))
        with_platter = index == len(axes) - 1
        origin = self.origin_mm + shift if with_platter else self.origin_mm
        return replace(self, chain=WorkChain(tuple(axes)), origin_mm=origin)

    def angle_moved(self, index: int) -> Placed:
        """Return one axis whose zero has shifted by `STEP_RAD`."""
        angles = self.angles_rad.copy()
        angles[:, index] += STEP_RAD
        return replace(self, angles_rad=angles)

    def seat_moved(self, shift: ArrayLike, which: NDArray[np.bool_] | None = None) -> Placed:
        """Return zeros shifted in the platter frame; only those of `which`, if given."""
        moved = np.asarray(shift, dtype=np.float64)
        all_of_them = np.ones(len(self.local_mm), dtype=bool)
        chosen = all_of_them if which is None else which
        return replace(self, local_mm=self.local_mm + chosen[:, None] * moved)

    def fixture_turned(self) -> Placed:
        """Return the fixture turned on the platter by `STEP_RAD`."""
        turn = turn_about(AxisLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), STEP_RAD)[:3, :3]
        return replace(self, local_mm=self.local_mm @ turn.T)


def events_of(placed: Placed, stations: list[str], lengths_from_work: bool) -> tuple[Event, ...]:
    """Act out every event and return which zeros each makes stale.

    Parameters
    ----------
    placed : Placed
    stations : list of str
        Station of each zero.
    lengths_from_work : bool
        Tool lengths are touched off at the work; then their reference counts in every Z.
    """
    before = placed.zeros()
    found: list[Event] = []

    def act(name: str, after: Placed, mend: str, is_turn: bool = False) -> None:
        motion = np.abs(after.zeros() - before)
        moved = motion > _MOVED_MM
        by_axis = [bool(moved[:, i].any()) for i in range(3)]
        found.append(
            Event(
                name=name,
                is_turn=is_turn,
                stale=tuple(int(i) for i in np.flatnonzero(moved.any(axis=1))),
                axes="".join(a for a, hit in zip("XYZ", by_axis, strict=True) if hit),
                most_mm=float(np.linalg.norm(after.zeros() - before, axis=1).max()),
                mend=mend,
            )
        )

    axes = placed.chain.axes
    roles = [axis.role for axis in axes]
    again = "touch the axis lines again"
    for letter, direction in zip("XYZ", np.eye(3), strict=True):
        act(f"unit shifted in {letter}", placed.unit_moved(_shift(STEP_MM * direction)), again)
    x, y, z = placed.origin_mm.tolist()
    about = AxisLine((x, y, z), (0.0, 0.0, 1.0))
    act("unit turned on the table", placed.unit_moved(turn_about(about, STEP_RAD)), again, True)
    if "tilt" in roles:
        tilt = np.asarray(axes[0].line.direction)
        level = np.cross([0.0, 0.0, 1.0], tilt)
        level /= np.linalg.norm(level)
        act(
            "tilt line elsewhere, sideways",
            placed.line_moved(0, STEP_MM * level),
            "count these again with the new line",
        )
        act(
            "tilt line elsewhere, in height",
            placed.line_moved(0, STEP_MM * np.cross(tilt, level)),
            "count these again with the new line",
        )
        act("tilt zero set again", placed.angle_moved(0), "indicate the platter level", True)
    last = len(axes) - 1
    across = placed.frame[:, 0], placed.frame[:, 1]
    for name, direction in zip(("platter x", "platter y"), across, strict=True):
        act(
            f"rotary line and fixture elsewhere, {name}",
            placed.line_moved(last, STEP_MM * direction),
            "count these again with the new line",
        )
    act("rotary zero set again", placed.angle_moved(last), "indicate the fixture parallel", True)
    for name, shift in (
        ("fixture seated again, platter x", [STEP_MM, 0.0, 0.0]),
        ("fixture seated again, platter y", [0.0, STEP_MM, 0.0]),
        ("fixture seated again, in height", [0.0, 0.0, STEP_MM]),
    ):
        act(name, placed.seat_moved(shift), "indicate the fixture, enter the stations again")
    act("fixture seated again, turned", placed.fixture_turned(), "indicate it parallel", True)
    for station in dict.fromkeys(stations):
        which = np.array([name == station for name in stations])
        act(
            f"seat of station {station}, in height",
            placed.seat_moved([0.0, 0.0, STEP_MM], which),
            "measure the seat and enter the station again",
        )
    found.append(
        Event(
            name="tool length reference changed",
            is_turn=False,
            stale=tuple(range(len(stations))) if lengths_from_work else (),
            axes="Z" if lengths_from_work else "",
            most_mm=STEP_MM if lengths_from_work else 0.0,
            mend="enter control.length_reference again"
            if lengths_from_work
            else "none: lengths count from the gauge point",
        )
    )
    return tuple(found)


def _shift(by: Floats) -> Floats:
    matrix = np.eye(4)
    matrix[:3, 3] = by
    return matrix


def _line_moved(line: AxisLine, matrix: Floats) -> AxisLine:
    px, py, pz = (matrix @ [*line.point_mm, 1.0])[:3].tolist()
    dx, dy, dz = (matrix[:3, :3] @ np.asarray(line.direction)).tolist()
    return AxisLine((px, py, pz), (dx, dy, dz))
