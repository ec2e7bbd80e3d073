"""A program taken apart for timing: moves with what they count as, and what happens between them.

Rows without motion (tool changes, spindle, clamps, other words) make the axes stand; their times
are entries of the cell.  What could not be read or timed is told: the sum is then a lower bound.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.timed_words import (
    NUMBER,
    ByWord,
    Cause,
    Counted,
    clamped_about_turns,
    words_of,
)
from gudgeon.program.doubts import Code
from gudgeon.program.track import AXES, Ended, FeedKind, Flag, Kind, Track
from gudgeon.timing import moves as engine

__all__ = ["Steps", "Use", "steps_of", "summed"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

POSES_MOST: Final = 2_000
"""Tools in poses that are kept apart; what comes after them counts as cut while turning."""

SAME_RAD: Final = 1e-7
SAME_MM: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Use:
    """A tool in one pose under one work offset.

    Attributes
    ----------
    tool : int or None
        ``None``: the one in the spindle before any change.
    offset : str or None
        Name of the work offset in force.
    tilt_rad, turn_rad : float
        NaN: while an axis turns at feed, or where it is not known.  Turns are told from 0 to a
        whole turn.
    """

    tool: int | None
    offset: str | None
    tilt_rad: float
    turn_rad: float


@dataclass(slots=True)
class Steps:
    """A track taken apart for timing.

    Attributes
    ----------
    moves : gudgeon.timing.moves.Moves
        All that moves; what cannot be timed is left out.
    row : ndarray of int, shape (moves,)
        Row of the track of each move.
    cause, use : ndarray of int, shape (moves,)
        Index into `CAUSES` and into `uses`.
    uses : list of Use
    counted : list of Counted
    dwell_s : ndarray, shape (uses,)
        Seconds of the dwells.
    axes : frozenset of int
        Axes that move.
    concerns : frozenset of str
        Rules that matter; see `TimedFindings.ground`.
    stops, optional_stops : int
    short : list of str
        Why the sum is a lower bound.
    told : list of str
        What was taken for granted.
    """

    moves: engine.Moves
    row: Ints
    cause: Ints
    use: Ints
    uses: list[Use]
    counted: list[Counted]
    dwell_s: Floats
    axes: frozenset[int]
    concerns: frozenset[str]
    stops: int = 0
    optional_stops: int = 0
    short: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


def steps_of(
    track: Track, by_word: ByWord, lever: Callable[[Floats], engine.Lever] | None
) -> Steps:
    """Take a track apart.

    Parameters
    ----------
    track : Track
    by_word : frozenset of verb and axis
        What words of the program clamp and let go; the rest is let go before every unbroken run of
        its turns and clamped after it.
    lever : callable, optional
        Makes the lever of a feed over the work from the tool lengths of the moves [mm].
    """
    rows = track.segments
    short: list[str] = []
    told: list[str] = []
    start, end, known = _positions(track, short, told)
    kind, flags = rows["kind"], rows["flags"]
    way = end - start
    turns = np.abs(way[:, 3:]) > SAME_RAD
    shifts = np.abs(way[:, :3]).max(axis=1, initial=0.0) > SAME_MM
    going = np.isin(kind, [int(k) for k in (Kind.RAPID, Kind.LINE, Kind.ARC, Kind.PROBE)])
    circle = (kind == Kind.ARC) & (rows["arc"] >= 0) & known
    moving = going & (turns.any(axis=1) | shifts | circle)
    uses, use = _uses(track, end, turns, going & (kind != Kind.RAPID))
    at = np.flatnonzero(moving)

    feed, feed_kind = _feeds(track, at, turns, shifts, short)
    own_kind = np.where(kind[at] == Kind.RAPID, engine.Kind.RAPID, engine.Kind.FEED)
    own_kind[circle[at]] = engine.Kind.ARC
    arcs, arc = _arcs(track, at, circle)
    lengths = np.array([force.length_mm for force in track.in_force] or [0.0])
    force = np.clip(rows["force"].astype(np.int64), 0, max(len(track.in_force) - 1, 0))
    mixed = (own_kind != engine.Kind.RAPID) & turns[at].any(axis=1) & shifts[at]
    mixed &= feed_kind == engine.FeedKind.MM_PER_S
    over_work = lever is not None and bool(mixed.any())
    moves = engine.Moves(
        start=start[at[0]] if len(at) else np.zeros(AXES),
        end=end[at],
        kind=own_kind.astype(np.uint8),
        feed=feed,
        feed_kind=feed_kind.astype(np.uint8),
        arc=arc,
        stop=_stops(track, at, moving),
        arcs=arcs,
        lever=lever(np.nan_to_num(lengths[force[at]])) if lever and over_work else None,
    )
    steps = Steps(
        moves=moves,
        row=at.astype(np.int64),
        cause=_causes(track, at, way, turns),
        use=use[at],
        uses=uses,
        counted=[*words_of(track, use, by_word), *clamped_about_turns(at, turns, use, by_word)],
        dwell_s=_dwells(track, use, len(uses), short),
        axes=frozenset(np.flatnonzero((np.abs(way[at]) > SAME_MM).any(axis=0)).tolist())
        | (frozenset((0, 1, 2)) if circle.any() else frozenset()),
        concerns=_concerns(own_kind, way[at], mixed),
        short=short,
        told=told,
    )
    halts = kind == Kind.STOP
    waits = halts & ((flags & int(Flag.END)) == 0)
    steps.optional_stops = int((waits & ((flags & int(Flag.OPTIONAL)) != 0)).sum())
    steps.stops = int(waits.sum()) - steps.optional_stops
    either = int((moving & ((flags & int(Flag.EITHER_WAY)) != 0)).sum())
    if either:
        told.append(
            f"{either} turn{'s' * (either > 1)} may go either way round: timed as written "
            "(control.tilt_turns, control.rotary_turns)."
        )
    _not_whole(track, short)
    return steps


def _positions(track: Track, short: list[str], told: list[str]) -> tuple[Floats, Floats, Mask]:
    """Return start and end of every row with unknown places filled, and which rows were known.

    An axis whose place is not known counts as standing, so that no time is made up.
    """
    rows = track.segments
    places, known = filled(track)
    going = np.isin(rows["kind"], [int(k) for k in (Kind.RAPID, Kind.LINE, Kind.ARC, Kind.PROBE)])
    lost = going & ~known
    probes = np.flatnonzero(rows["kind"] == Kind.PROBE)
    if len(probes):
        told.append(
            "A probing move counts to its programmed end, where the next one starts; the touch may "
            "come sooner."
        )
        by_touch = np.array([one.code is Code.POSITION_UNKNOWN for one in track.doubts] or [False])
        doubt = rows["doubt"][probes[0] :]
        lost[probes[0] :] &= (doubt < 0) | ~by_touch[np.maximum(doubt, 0)]
    if lost.any():
        count, line = int(lost.sum()), int(rows["line"][np.argmax(lost)])
        short.append(
            f"In {count} move{'s' * (count > 1)} an axis whose place is not known counts as "
            f"standing, first in line {line}"
        )
    return places[:-1], places[1:], known


def filled(track: Track) -> tuple[Floats, Mask]:
    """Return the start and the end of every row, and of which rows both were known.

    Returns
    -------
    places : ndarray, shape (rows + 1, 5)
        An axis whose place is not known stands where it was last known; before it is known,
        where it first is [mm, rad].
    known : ndarray of bool, shape (rows,)
    """
    given = np.vstack((np.asarray(track.start, dtype=np.float64), track.segments["end"]))
    places = given.copy()
    for axis in range(AXES):
        bad = np.isnan(given[:, axis])
        if not bad.any():
            continue
        last = np.maximum.accumulate(np.where(bad, -1, np.arange(len(given))))
        first = int(np.argmax(~bad)) if not bad.all() else -1
        places[:, axis] = np.where(
            last >= 0, given[last, axis], given[first, axis] if first >= 0 else 0.0
        )
    known = ~np.isnan(given[1:]).any(axis=1) & ~np.isnan(given[:-1]).any(axis=1)
    return places, known


def _uses(track: Track, end: Floats, turns: Mask, feeds: Mask) -> tuple[list[Use], Ints]:
    """Return the uses in the order of the program and the use of every row."""
    rows = track.segments
    if not len(rows):
        return [Use(None, None, np.nan, np.nan)], np.empty(0, dtype=np.int64)
    groups: dict[tuple[int | None, str | None], int] = {}
    names = [groups.setdefault((f.tool, f.offset), len(groups)) for f in track.in_force] or [0]
    force = np.clip(rows["force"].astype(np.int64), 0, len(names) - 1)
    while_turning = turns.any(axis=1) & feeds
    # One pose whole turns apart: the work stands the same.
    pose = np.round(np.mod(end[:, 3:] + 0.5 * SAME_RAD, 2.0 * np.pi) / SAME_RAD).astype(np.int64)
    unknown = np.isnan(rows["end"][:, 3:]).any(axis=1) | while_turning
    pose[unknown] = -1
    keys = np.column_stack((np.array(names)[force], pose))
    found, first, back = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    back = back.reshape(-1)
    if len(found) > POSES_MOST:
        keys[np.isin(back, np.argsort(first)[POSES_MOST:]), 1:] = -1
        found, first, back = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        back = back.reshape(-1)
    order = np.argsort(first)
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    by_group = list(groups) or [(None, None)]
    uses = []
    for i in order.tolist():
        tool, offset = by_group[int(found[i, 0])]
        row = int(first[i])
        if found[i, 1] < 0:
            uses.append(Use(tool, offset, np.nan, np.nan))
            continue
        turn = float(found[i, 2]) * SAME_RAD % (2.0 * np.pi)
        turn = float(end[row, 4]) if abs(end[row, 4] - turn) < 2.0 * SAME_RAD else turn
        uses.append(Use(tool, offset, float(end[row, 3]), turn))
    return uses, place[back]


def _feeds(
    track: Track, at: Ints, turns: Mask, shifts: Mask, short: list[str]
) -> tuple[Floats, Ints]:
    """Return feed and its kind of every move; without one it counts as fast as the axes go."""
    rows = track.segments[at]
    feed = rows["feed"].astype(np.float64)
    kinds = rows["feed_kind"].astype(np.int64)
    rapid = rows["kind"] == Kind.RAPID
    a_turn = kinds == FeedKind.MM_PER_TURN
    if a_turn.any():
        speeds = np.array(
            [np.nan if f.speed_per_s is None else f.speed_per_s for f in track.in_force] or [np.nan]
        )
        feed[a_turn] *= speeds[np.clip(rows["force"][a_turn], 0, len(speeds) - 1)]
        kinds[a_turn] = FeedKind.MM_PER_S
        # A feed a turn of an axis that only turns has no length to count.
        feed[a_turn & ~shifts[at]] = np.nan
    lost = ~rapid & ~(np.isfinite(feed) & (feed > 0.0))
    if lost.any():
        count, line = int(lost.sum()), int(rows["line"][np.argmax(lost)])
        short.append(
            f"{count} feed move{'s' * (count > 1)} without a known feed count as fast as the axes "
            f"go, first in line {line}"
        )
    # A feed in mm of a move that only turns, such as one that goes nowhere in X, Y and Z any more.
    feed[lost] = np.inf
    kinds[lost] = FeedKind.MM_PER_S
    only_turns = ~rapid & turns[at].any(axis=1) & ~shifts[at]
    kinds[only_turns & lost] = FeedKind.RAD_PER_S
    feed[rapid], kinds[rapid] = 0.0, FeedKind.NONE
    return feed, kinds


def _arcs(track: Track, at: Ints, circle: Mask) -> tuple[engine.Arcs, NDArray[np.int32]]:
    arc = np.where(circle[at], track.segments["arc"][at], -1).astype(np.int32)
    arcs = track.arcs
    return engine.Arcs(arcs["centre"], arcs["normal"], arcs["sweep"]), arc


def _stops(track: Track, at: Ints, moving: Mask) -> Mask:
    """Return after which moves the axes stand: before what is no motion, and at an exact stop."""
    rows = track.segments
    still = np.isin(
        rows["kind"],
        [
            int(k)
            for k in (Kind.DWELL, Kind.TOOL_CHANGE, Kind.SPINDLE, Kind.STOP, Kind.OTHER, Kind.PROBE)
        ],
    )
    if not len(at):
        return np.empty(0, dtype=np.bool_)
    # Standing rows up to each row: more of them at the next move than at this one.
    sums = np.concatenate(([0], np.cumsum(still)))
    after = np.append(at[1:], len(rows) - 1)
    stop = sums[after + 1] - sums[at + 1] > 0
    stop |= rows["kind"][at] == Kind.PROBE
    exact = np.array([force.exact_stop for force in track.in_force] or [False])
    force = np.clip(rows["force"][at], 0, len(exact) - 1)
    stop |= exact[force] & (rows["kind"][at] != Kind.RAPID)
    stop[-1] = True
    return np.asarray(stop)


def _causes(track: Track, at: Ints, way: Floats, turns: Mask) -> Ints:
    rows = track.segments
    kind = rows["kind"][at]
    cause = np.full(len(at), NUMBER[Cause.CUTTING])
    cause[kind == Kind.PROBE] = NUMBER[Cause.PROBING]
    rapid = kind == Kind.RAPID
    cause[rapid] = NUMBER[Cause.RAPIDS]
    cause[rapid & turns[at].any(axis=1)] = NUMBER[Cause.INDEXING]
    # Ways that a change makes by itself stand before it, of the same block.
    for change in np.flatnonzero(rows["kind"] == Kind.TOOL_CHANGE).tolist():
        row = change - 1
        while (
            row >= 0
            and rows["line"][row] == rows["line"][change]
            and rows["source"][row] == rows["source"][change]
            and (
                rows["kind"][row] == Kind.SPINDLE
                or (rows["kind"][row] == Kind.RAPID and rows["flags"][row] & int(Flag.TO_REFERENCE))
            )
        ):
            place = int(np.searchsorted(at, row))
            if place < len(at) and at[place] == row:
                cause[place] = NUMBER[Cause.TOOL_CHANGE]
            row -= 1
    return cause


def _dwells(track: Track, use: Ints, count: int, short: list[str]) -> Floats:
    rows = track.segments
    at = np.flatnonzero(rows["kind"] == Kind.DWELL)
    seconds = rows["feed"][at]
    lost = np.isnan(seconds)
    if lost.any():
        short.append(
            f"{int(lost.sum())} dwells of a unit that is not known are not counted, first in line "
            f"{int(rows['line'][at[np.argmax(lost)]])}"
        )
    return summed(use[at], np.nan_to_num(seconds), count)


def summed(places: Ints, values: Floats, count: int) -> Floats:
    """Return the sum of the values at each of so many places."""
    return np.asarray(np.bincount(places, weights=values, minlength=count), dtype=np.float64)


def _concerns(kind: Ints, way: Floats, mixed: Mask) -> frozenset[str]:
    found = set()
    several = (np.abs(way) > SAME_MM).sum(axis=1) > 1
    if (several & (kind == engine.Kind.RAPID)).any():
        found.add("rapids")
    if (kind != engine.Kind.RAPID).sum() > 1:
        found.add("corners")
    if mixed.any():
        found.add("mixed feed")
    return frozenset(found)


def _not_whole(track: Track, short: list[str]) -> None:
    doubt = track.worst
    if track.ended is Ended.CANCELLED:
        short.append(f"Reading was stopped after line {track.last_line}")
    elif track.ended is Ended.STOPPED:
        line = doubt.line if doubt is not None else track.last_line
        short.append(f"The program is understood up to line {line} only")
