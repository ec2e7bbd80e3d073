"""What a track holds, added up: poses, ranges, tools, feeds, stops.

The rows are gone through in pieces, so that five million of them need no second copy in memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, nan
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.track import AXES, FeedKind, Flag, Kind, Track

__all__ = [
    "FEEDS",
    "MOVES",
    "Limit",
    "PoseUse",
    "Reach",
    "Summary",
    "ToolUse",
    "row_reach",
    "summarise",
]

Floats = NDArray[np.float64]

FEEDS: Final = (Kind.LINE, Kind.ARC, Kind.PROBE)
MOVES: Final = (Kind.RAPID, *FEEDS)

PIECE: Final = 1 << 17
"""Rows worked on at a time: some 30 MB of working arrays."""

POSES_MOST: Final = 2_000
"""Poses kept apart; a program with more feeds while it turns, or counts rows only."""

LISTED_MOST: Final = 200
"""Stops, tools and offsets that are listed; they are counted in full."""

SAME_RAD: Final = 1e-7
"""Angles nearer than this are one pose: 0.00001 mm at 100 mm."""

STILL_MM: Final = 1e-9
"""A feed move shorter than this cuts nothing: it only turns, or stands."""


@dataclass(slots=True)
class Reach:
    """Lowest and highest value of each axis, with the row that reaches it (-1: none)."""

    low: Floats = field(default_factory=lambda: np.full(AXES, inf))
    high: Floats = field(default_factory=lambda: np.full(AXES, -inf))
    low_row: NDArray[np.int64] = field(default_factory=lambda: np.full(AXES, -1))
    high_row: NDArray[np.int64] = field(default_factory=lambda: np.full(AXES, -1))

    def take(self, low: Floats, high: Floats, rows: NDArray[np.int64]) -> None:
        """Widen by rows with their own lowest and highest values, shape (n, 5); NaN is left out."""
        for axis in range(AXES):
            for values, bound, at, sign in (
                (low[:, axis], self.low, self.low_row, 1.0),
                (high[:, axis], self.high, self.high_row, -1.0),
            ):
                known = np.where(np.isnan(values), inf, sign * values)
                if not len(known):
                    continue
                best = int(np.argmin(known))
                if known[best] < sign * bound[axis]:
                    bound[axis], at[axis] = values[best], rows[best]


@dataclass(slots=True)
class PoseUse:
    """Feed moves in one pose.

    Attributes
    ----------
    tilt_rad, rotary_rad : float
        NaN where not known.
    feeds : int
        Feed moves that move X, Y or Z.
    low, high : ndarray, shape (3,)
        Of the gauge point [mm]; NaN where nothing is known.
    tip_low : float
        Lowest Z of the tip [mm]; NaN where a tool's length is not known.
    longest_mm : float
    first_row : int
    """

    tilt_rad: float
    rotary_rad: float
    feeds: int
    low: Floats
    high: Floats
    tip_low: float
    longest_mm: float
    first_row: int


@dataclass(slots=True)
class ToolUse:
    """A tool that moves: ``None`` is the one in the spindle before any change.

    Attributes
    ----------
    registers : dict of register (``None``: no length in force) to length [mm], NaN unknown
        Of its feed moves.
    """

    tool: int | None
    first_row: int
    feeds: int
    registers: dict[int | None, float]


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit that is left: axis 0 to 4, -1 the lower or +1 the upper end, where first, how far."""

    axis: int
    side: int
    first_row: int
    rows: int
    at: float


@dataclass(slots=True)
class Summary:
    """What `summarise` finds; rows are indices into the segments, -1 for none.

    Attributes
    ----------
    moves, feeds : int
    feed_mm : float
        Length of all feed moves whose ends are known [mm].
    unknown : int
        Moves with an end that is not known.
    longest_mm, longest_row : float, int
    fastest, fastest_row : float, int
        Largest feed of those in mm/s [mm/s].
    reach : Reach
    poses : list of PoseUse
        In the order of the program.
    poses_more : int
        Feed moves in poses beyond the `POSES_MOST` that are kept.
    turning_feeds, turning_row : int
        Feed moves during which a turning axis moves; the first.
    cut_turning, cut_turning_row : int
        Those in which X, Y or Z moves too.
    either_way, either_row : int
        Moves of a turning axis whose way round is not declared; the first.
    tools : list of ToolUse
    offsets : dict of name to first row
    stops : list of int
        Rows; the first `LISTED_MOST`.
    stop_count : int
    changes : int
        Tool changes.
    limits : list of Limit
    """

    moves: int = 0
    feeds: int = 0
    feed_mm: float = 0.0
    unknown: int = 0
    longest_mm: float = 0.0
    longest_row: int = -1
    fastest: float = 0.0
    fastest_row: int = -1
    reach: Reach = field(default_factory=Reach)
    poses: list[PoseUse] = field(default_factory=list)
    poses_more: int = 0
    turning_feeds: int = 0
    turning_row: int = -1
    cut_turning: int = 0
    cut_turning_row: int = -1
    either_way: int = 0
    either_row: int = -1
    tools: list[ToolUse] = field(default_factory=list)
    offsets: dict[str | None, int] = field(default_factory=dict)
    stops: list[int] = field(default_factory=list)
    stop_count: int = 0
    changes: int = 0
    limits: list[Limit] = field(default_factory=list)


def summarise(
    track: Track,
    tool_lengths: Mapping[int, float] | None = None,
    limits: tuple[Floats, Floats] | None = None,
    slack: float = 1e-6,
) -> Summary:
    """Add up a track.

    Parameters
    ----------
    track : Track
    tool_lengths : mapping of tool number to mm
        Gauge point to tip.
    limits : pair of ndarray, shape (5,)
        Lowest and highest position allowed [mm, rad]; NaN where none is given.
    slack : float
        A position this little beyond a limit is on it [mm, rad].
    """
    found = Summary()
    gauge_to_tip = np.array(
        [(tool_lengths or {}).get(-1 if f.tool is None else f.tool, nan) for f in track.in_force]
        or [nan]
    )
    poses: dict[tuple[int, int], PoseUse] = {}
    tools: dict[int | None, ToolUse] = {}
    beyond: dict[tuple[int, int], Limit] = {}
    rows = track.segments
    before = np.asarray(track.start, dtype=np.float64)
    for first in range(0, len(rows), PIECE):
        piece = rows[first : first + PIECE]
        end = piece["end"]
        start = np.concatenate((before[None, :], end[:-1]))
        before = end[-1].copy()
        kind = piece["kind"]
        at = first + np.arange(len(piece))
        moving = np.isin(kind, [int(k) for k in MOVES])
        feeding = np.isin(kind, [int(k) for k in FEEDS])
        low, high, length = row_reach(track, piece, start)
        found.moves += int(moving.sum())
        found.feeds += int(feeding.sum())
        found.unknown += int((moving & np.isnan(end).any(axis=1)).sum())
        found.reach.take(low[moving], high[moving], at[moving])
        _feeds(found, piece, length, feeding, at)
        turns = (np.abs(end[:, 3:] - start[:, 3:]) > SAME_RAD).any(axis=1)
        _turning(found, piece, turns, length, moving, feeding, at)
        cutting = feeding & ~turns & ~(length <= STILL_MM)
        tip = low[:, 2] - gauge_to_tip[np.clip(piece["force"], 0, len(gauge_to_tip) - 1)]
        _poses(found, poses, end, low, high, tip, length, at, cutting)
        _in_force(found, tools, track, piece, moving, feeding, at)
        stops = at[kind == Kind.STOP]
        found.stop_count += len(stops)
        found.stops += stops[: max(0, LISTED_MOST - len(found.stops))].tolist()
        found.changes += int((kind == Kind.TOOL_CHANGE).sum())
        if limits is not None:
            _limits(beyond, limits, slack, low, high, moving, at)
    found.poses = sorted(poses.values(), key=lambda pose: pose.first_row)
    found.tools = sorted(tools.values(), key=lambda use: use.first_row)
    found.limits = sorted(beyond.values(), key=lambda limit: limit.first_row)
    return found


def row_reach(
    track: Track, piece: NDArray[np.void], start: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return lowest and highest position on each row, shape (n, 5), and its length in X Y Z [mm].

    An arc reaches beyond its ends where its sweep passes the circle's own extremes
    (c + u cos t + v sin t has them at t = atan2(v, u) and half a turn on); the rise of a helix is
    added whole to a lying circle, which is exact, and to a leaning one on the safe side.
    """
    end = piece["end"]
    # From a place that is not known, the known end still counts.
    low, high = np.fmin(start, end), np.fmax(start, end)
    length = np.sqrt(((end[:, :3] - start[:, :3]) ** 2).sum(axis=1))
    which = np.flatnonzero((piece["arc"] >= 0) & (piece["kind"] == Kind.ARC))
    if not len(which):
        return low, high, length
    arcs = track.arcs[piece["arc"][which]]
    normal, sweep = arcs["normal"], arcs["sweep"]
    span = end[which, :3] - start[which, :3]
    rise = (span * normal).sum(axis=1)[:, None] * normal
    u = start[which, :3] - arcs["centre"]
    u = u - (u * normal).sum(axis=1)[:, None] * normal
    v = np.cross(normal, u)
    # The centre in the plane of the start, whatever height the stored one has.
    middle = start[which, :3] - u
    stop = u * np.cos(sweep)[:, None] + v * np.sin(sweep)[:, None]
    arc_low, arc_high = np.minimum(u, stop), np.maximum(u, stop)
    radius = np.hypot(u, v)
    way = np.where(sweep < 0.0, -1.0, 1.0)[:, None]
    for half in (0.0, np.pi):
        passed = np.mod(way * (np.arctan2(v, u) + half), 2.0 * np.pi) <= np.abs(sweep)[:, None]
        if half == 0.0:
            arc_high = np.where(passed, radius, arc_high)
        else:
            arc_low = np.where(passed, -radius, arc_low)
    low[which, :3] = np.minimum(low[which, :3], middle + arc_low + np.minimum(rise, 0.0))
    high[which, :3] = np.maximum(high[which, :3], middle + arc_high + np.maximum(rise, 0.0))
    around = np.sqrt((u**2).sum(axis=1)) * np.abs(sweep)
    length[which] = np.hypot(around, np.sqrt((rise**2).sum(axis=1)))
    return low, high, length


def _feeds(
    found: Summary,
    piece: NDArray[np.void],
    length: Floats,
    feeding: NDArray[np.bool_],
    at: NDArray[np.int64],
) -> None:
    if not feeding.any():
        return
    lengths = np.where(feeding & ~np.isnan(length), length, 0.0)
    found.feed_mm += float(lengths.sum())
    best = int(np.argmax(lengths))
    if lengths[best] > found.longest_mm:
        found.longest_mm, found.longest_row = float(lengths[best]), int(at[best])
    counted = feeding & (piece["feed_kind"] == FeedKind.MM_PER_S) & ~np.isnan(piece["feed"])
    feeds = np.where(counted, piece["feed"], 0.0)
    best = int(np.argmax(feeds))
    if feeds[best] > found.fastest:
        found.fastest, found.fastest_row = float(feeds[best]), int(at[best])


def _turning(
    found: Summary,
    piece: NDArray[np.void],
    turns: NDArray[np.bool_],
    length: Floats,
    moving: NDArray[np.bool_],
    feeding: NDArray[np.bool_],
    at: NDArray[np.int64],
) -> None:
    either = moving & ((piece["flags"] & int(Flag.EITHER_WAY)) != 0)
    both = feeding & turns & (length > STILL_MM)
    for name, row, mask in (
        ("turning_feeds", "turning_row", feeding & turns),
        ("cut_turning", "cut_turning_row", both),
        ("either_way", "either_row", either),
    ):
        count = int(mask.sum())
        if count and getattr(found, name) == 0:
            setattr(found, row, int(at[np.argmax(mask)]))
        setattr(found, name, getattr(found, name) + count)


def _poses(
    found: Summary,
    poses: dict[tuple[int, int], PoseUse],
    end: Floats,
    low: Floats,
    high: Floats,
    tip: Floats,
    length: Floats,
    at: NDArray[np.int64],
    cutting: NDArray[np.bool_],
) -> None:
    which = np.flatnonzero(cutting)
    if not len(which):
        return
    # One pose whole turns apart: the work stands the same.
    turn = np.mod(end[which, 3:] + 5.0 * SAME_RAD, 2.0 * np.pi)
    keys = np.floor(np.nan_to_num(turn, nan=-1.0) / SAME_RAD / 10.0).astype(np.int64)
    order = np.lexsort((which, keys[:, 1], keys[:, 0]))
    keys, which = keys[order], which[order]
    starts = np.flatnonzero(np.concatenate(([True], (keys[1:] != keys[:-1]).any(axis=1))))
    lows = np.fmin.reduceat(low[which, :3], starts)
    highs = np.fmax.reduceat(high[which, :3], starts)
    tips = np.minimum.reduceat(tip[which], starts)  # NaN stays: one unknown tool hides the lowest
    longest = np.fmax.reduceat(length[which], starts)
    counts = np.diff(np.append(starts, len(which)))
    for i in np.argsort(which[starts]).tolist():
        row = int(which[starts[i]])
        name = (int(keys[starts[i], 0]), int(keys[starts[i], 1]))
        pose = poses.get(name)
        if pose is None:
            if len(poses) >= POSES_MOST:
                found.poses_more += int(counts[i])
                continue
            poses[name] = PoseUse(
                float(end[row, 3]),
                float(end[row, 4]),
                int(counts[i]),
                lows[i].copy(),
                highs[i].copy(),
                float(tips[i]),
                float(longest[i]),
                int(at[row]),
            )
            continue
        pose.feeds += int(counts[i])
        pose.low, pose.high = np.fmin(pose.low, lows[i]), np.fmax(pose.high, highs[i])
        pose.tip_low = float(np.minimum(pose.tip_low, tips[i]))
        pose.longest_mm = float(np.fmax(pose.longest_mm, longest[i]))


def _in_force(
    found: Summary,
    tools: dict[int | None, ToolUse],
    track: Track,
    piece: NDArray[np.void],
    moving: NDArray[np.bool_],
    feeding: NDArray[np.bool_],
    at: NDArray[np.int64],
) -> None:
    forces, firsts = np.unique(piece["force"][moving], return_index=True)
    rows = at[moving]
    feeds = np.bincount(np.maximum(piece["force"][feeding], 0), minlength=len(track.in_force) or 1)
    for index, first in sorted(
        zip(forces.tolist(), firsts.tolist(), strict=True), key=lambda p: p[1]
    ):
        if not 0 <= index < len(track.in_force):
            continue
        force, row = track.in_force[index], int(rows[first])
        use = tools.get(force.tool)
        if use is None:
            use = tools[force.tool] = ToolUse(force.tool, row, 0, {})
        use.feeds += int(feeds[index])
        # Only feeds tell which register a tool cuts with: rapids may still have the one before.
        if feeds[index] and len(use.registers) < LISTED_MOST:
            use.registers[force.length_register] = force.length_mm
        if len(found.offsets) < LISTED_MOST:
            found.offsets.setdefault(force.offset, row)


def _limits(
    beyond: dict[tuple[int, int], Limit],
    limits: tuple[Floats, Floats],
    slack: float,
    low: Floats,
    high: Floats,
    moving: NDArray[np.bool_],
    at: NDArray[np.int64],
) -> None:
    for axis in range(AXES):
        for side, values, bound in ((-1, low, limits[0]), (1, high, limits[1])):
            out = moving & (side * (values[:, axis] - bound[axis]) > slack)
            if not out.any():
                continue
            worst = float((side * values[out, axis]).max() * side)
            known = beyond.get((axis, side))
            row, rows = int(at[np.argmax(out)]), int(out.sum())
            if known is not None:
                row, rows = known.first_row, known.rows + rows
                worst = side * max(side * worst, side * known.at)
            beyond[axis, side] = Limit(axis, side, row, rows, worst)
