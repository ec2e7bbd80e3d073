"""The compiled loop over plain blocks: bytes in, rows out, nothing half done.

Imported only by `gudgeon.program.fast`, and only when a text is long: importing Numba takes longer
than reading a short program.  The loop knows no word: tables made from the dialect say what each
byte and each G number means.  At the first block that it does not fully understand it stops before
that block.
"""

from __future__ import annotations

import hashlib
import inspect
from collections.abc import Callable
from math import pi
from types import ModuleType
from typing import Any, Final

import numba
import numpy as np
from numpy.typing import NDArray

from gudgeon.program import arcs, track, turning, words
from gudgeon.program.arcs import ARC_OK
from gudgeon.program.track import AXES, FeedKind, Flag, Kind
from gudgeon.program.words import CENTRE, FEED, PLACES, RADIUS, line_words

__all__ = [
    "ARCS_FULL",
    "AT_LIMIT",
    "HANDED_OVER",
    "ROWS_FULL",
    "TEXT_OUT",
    "lines_left",
    "plain_blocks",
]

# --- why the loop stopped
TEXT_OUT: Final = 0
HANDED_OVER: Final = 1
AT_LIMIT: Final = 2
ROWS_FULL: Final = 3
ARCS_FULL: Final = 4

# --- motions
RAPID: Final = 0
LINE: Final = 1
CLOCKWISE: Final = 2
COUNTER: Final = 3

# --- places of the numbers handed in and out
POSITION: Final = 0
ZERO: Final = 5
UNIT_MM: Final = 10
LEAST_LENGTH: Final = 11
LEAST_ANGLE: Final = 12
TOLERANCE: Final = 13
LEAST_MM: Final = 14
FEED_SET: Final = 15
FEED_MM: Final = 16

ABSOLUTE: Final = 0
PLANE: Final = 1
RULE: Final = 2
FORCE: Final = 4
SOURCE: Final = 5
NEEDS_POINT: Final = 6
CHARACTERS: Final = 7
MOTION: Final = 8
CAUSE: Final = 9
"""The first of five."""

_DEGREE: Final = pi / 180.0

_TURNING: Final = 0b11000
_AXES: Final = 0b11111
_IJK: Final = 0b111 << CENTRE
_R: Final = 1 << RADIUS
_CIRCLE: Final = _IJK | _R
_F: Final = 1 << FEED

_K_RAPID: Final = int(Kind.RAPID)
_K_LINE: Final = int(Kind.LINE)
_K_ARC: Final = int(Kind.ARC)
_F_NONE: Final = int(FeedKind.NONE)
_F_MM: Final = int(FeedKind.MM_PER_S)
_F_RAD: Final = int(FeedKind.RAD_PER_S)
_EITHER_WAY: Final = int(Flag.EITHER_WAY)


def _mark(*modules: ModuleType) -> int:
    try:
        source = "".join(map(inspect.getsource, modules))
    except OSError:  # installed without its source: then it does not change either
        source = ""
    return int(hashlib.sha256(source.encode()).hexdigest()[:15], 16)


_MARK: Final = _mark(arcs, turning, track, words)
"""Part of the key under which the compiled loop is kept on disk: Numba itself looks at the age of
this file only, not at that of the files whose functions and records the loop takes in."""


def _compiled(function: Callable[..., Any]) -> Any:
    try:
        return numba.njit(function, cache=True)
    except RuntimeError:  # no place on this computer where compiled code can be kept
        return numba.njit(function)


_arc_by_centre: Any = numba.njit(arcs.arc_by_centre)
_arc_by_radius: Any = numba.njit(arcs.arc_by_radius)
_turn_to: Any = numba.njit(turning.turn_to)


@numba.njit
def _circle(reals, wholes, values, target, given, pointless, motion):  # type: ignore[no-untyped-def]
    """Return whether the block is an arc beyond doubt, and its centre (u, v) and sweep."""
    plane = wholes[PLANE]
    u, v, w = (0, 1, 2) if plane == 0 else ((2, 0, 1) if plane == 1 else (1, 2, 0))
    unit = reals[UNIT_MM]
    clockwise = motion == CLOCKWISE
    if plane < 0 or not given & (1 << u | 1 << v) or given & _TURNING:
        return False, 0.0, 0.0, 0.0
    if given & (1 << (CENTRE + w)) or (given & _R != 0) == (given & _IJK != 0):
        return False, 0.0, 0.0, 0.0
    start_u, start_v = reals[POSITION + u], reals[POSITION + v]
    end_u, end_v = target[u], target[v]
    if given & _R:
        radius = values[RADIUS]
        if pointless & _R:
            radius *= reals[LEAST_LENGTH]
        status, cu, cv, sweep = _arc_by_radius(
            start_u,
            start_v,
            end_u,
            end_v,
            radius * unit,
            clockwise,
            reals[TOLERANCE],
            reals[LEAST_MM],
        )
    else:
        cu, cv = start_u, start_v
        if given & (1 << (CENTRE + u)):
            ahead = values[CENTRE + u]
            if pointless & (1 << (CENTRE + u)):
                ahead *= reals[LEAST_LENGTH]
            cu = start_u + ahead * unit
        if given & (1 << (CENTRE + v)):
            ahead = values[CENTRE + v]
            if pointless & (1 << (CENTRE + v)):
                ahead *= reals[LEAST_LENGTH]
            cv = start_v + ahead * unit
        status, sweep = _arc_by_centre(
            start_u,
            start_v,
            end_u,
            end_v,
            cu,
            cv,
            clockwise,
            reals[TOLERANCE],
            reals[LEAST_MM],
        )
    # A start, end or centre that is not known comes back with a status of its own.
    return status == ARC_OK, cu, cv, sweep


@numba.njit
def _goes(reals, wholes, values, target, given, pointless):  # type: ignore[no-untyped-def]
    """Work out where the axis words lead, into `target`.

    Returns
    -------
    flags (-1: not fully understood), whether X, Y, Z move, whether the turning axes move
    """
    flags = 0
    moves = turns = False
    for axis in range(AXES):
        now = reals[POSITION + axis]
        target[axis] = now
        if not given >> axis & 1:
            continue
        value = values[axis]
        if axis < 3:
            if pointless >> axis & 1:
                value *= reals[LEAST_LENGTH]
            value *= reals[UNIT_MM]
        else:
            if pointless >> axis & 1:
                value *= reals[LEAST_ANGLE]
            value *= _DEGREE
        if wholes[ABSOLUTE]:
            zero = reals[ZERO + axis]
            if axis >= 3:
                value, either_way = _turn_to(wholes[RULE + axis - 3], now - zero, value)
                if either_way:
                    flags |= _EITHER_WAY
            target[axis] = value + zero
        else:
            target[axis] = now + value
        if not np.isfinite(target[axis]):
            return -1, False, False
        if target[axis] != now:
            if axis < 3:
                moves = True
            else:
                turns = True
    return flags, moves, turns


@numba.njit
def _doubt(target, wholes, given):  # type: ignore[no-untyped-def]
    """Return the doubt about the first coordinate that is not known, -1 for none."""
    doubt = -1
    for axis in range(AXES - 1, -1, -1):
        if given >> axis & 1:
            wholes[CAUSE + axis] = -1
        if np.isnan(target[axis]) and wholes[CAUSE + axis] >= 0:
            doubt = wholes[CAUSE + axis]
    return doubt


def _plain_blocks(  # type: ignore[no-untyped-def]
    text,
    at,
    line,
    bytes_mean,
    g_mean,
    segments,
    row,
    circles,
    circle,
    reals,
    wholes,
    most_blocks,
    most_rows,
    mark=_MARK,
):
    """Carry out plain blocks.

    Parameters
    ----------
    text : ndarray of uint8
    at : int
        Offset of a line's first byte.
    line : int
        Its number.
    bytes_mean : ndarray of uint8, shape (256,)
    g_mean : ndarray of int8, shape (G_NUMBERS,)
        By ten times the G number.
    segments, circles : ndarray of SEGMENT, ARC
        Filled up to `row` and `circle`.
    reals, wholes : ndarray of float64, int64
        See the names of their places; changed to what holds after the last block done.
    most_blocks, most_rows : int
        Lines to do at most; rows to fill at most, counted from 0.
    mark : int
        Never passed; see `_MARK`.

    Returns
    -------
    tuple of int
        Offset and number of the first line not done, lines done, rows, circles, why it stopped.
    """
    size = len(text)
    values = np.zeros(PLACES)
    target = np.zeros(AXES)
    room = min(len(segments), most_rows)
    doubtful = False
    for axis in range(AXES):
        doubtful = doubtful or wholes[CAUSE + axis] >= 0
    first = line
    why = TEXT_OUT
    while at < size:
        if line - first >= most_blocks:
            why = AT_LIMIT
            break
        if row >= room:
            why = ROWS_FULL if row < most_rows else AT_LIMIT
            break
        if circle >= len(circles):
            why = ARCS_FULL
            break
        following, given, pointless, word, column = line_words(
            text, at, size, bytes_mean, g_mean, values, wholes[NEEDS_POINT], wholes[CHARACTERS]
        )
        if following < 0:
            why = HANDED_OVER
            break
        motion = wholes[MOTION] if word < 0 else word
        feed, feed_mm = reals[FEED_SET], reals[FEED_MM]
        if given & _F:
            feed, feed_mm = values[FEED], reals[UNIT_MM]
            if not feed > 0.0:
                why = HANDED_OVER
                break
        if given & _AXES:
            flags, moves, turns = _goes(reals, wholes, values, target, given, pointless)
            if flags < 0 or not RAPID <= motion <= COUNTER or (motion != RAPID and not feed > 0.0):
                why = HANDED_OVER
                break
            one = segments[row]
            if motion >= CLOCKWISE:
                is_arc, cu, cv, sweep = _circle(
                    reals, wholes, values, target, given, pointless, motion
                )
                if not is_arc:
                    why = HANDED_OVER
                    break
                plane = wholes[PLANE]
                u, v, w = (0, 1, 2) if plane == 0 else ((2, 0, 1) if plane == 1 else (1, 2, 0))
                round_it = circles[circle]
                round_it.centre[u] = cu
                round_it.centre[v] = cv
                round_it.centre[w] = reals[POSITION + w]
                round_it.normal[u] = 0.0
                round_it.normal[v] = 0.0
                round_it.normal[w] = 1.0
                round_it.sweep = sweep
                one.arc = circle
                circle += 1
                one.kind = _K_ARC
                one.feed = feed * feed_mm / 60.0
                one.feed_kind = _F_MM
            else:
                if given & _CIRCLE:
                    why = HANDED_OVER
                    break
                one.arc = -1
                if motion == RAPID:
                    one.kind = _K_RAPID
                    one.feed = 0.0
                    one.feed_kind = _F_NONE
                else:
                    one.kind = _K_LINE
                    if turns and not moves:
                        one.feed = feed * _DEGREE / 60.0
                        one.feed_kind = _F_RAD
                    else:
                        one.feed = feed * feed_mm / 60.0
                        one.feed_kind = _F_MM
            for axis in range(AXES):
                one.end[axis] = target[axis]
                reals[POSITION + axis] = target[axis]
            one.line = line
            one.column = column
            one.force = wholes[FORCE]
            one.doubt = _doubt(target, wholes, given) if doubtful else -1
            one.source = wholes[SOURCE]
            one.flags = flags
            row += 1
        elif given & _CIRCLE or word >= CLOCKWISE:
            why = HANDED_OVER
            break
        reals[FEED_SET], reals[FEED_MM] = feed, feed_mm
        wholes[MOTION] = motion
        at = following
        line += 1
    return at, line, line - first, row, circle, why


def _lines_left(text: NDArray[np.uint8], at: int) -> int:
    """Return the number of lines from `at` on."""
    lines = 1
    for place in range(at, len(text)):
        if text[place] == 10:
            lines += 1
    return lines


plain_blocks: Final = _compiled(_plain_blocks)
lines_left: Final = _compiled(_lines_left)
