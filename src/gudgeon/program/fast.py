"""Plain blocks at millions of lines a second: what the compiled loop needs, and what it did.

The full reader calls `run_plain` between two blocks.  It carries out every block that it fully
understands in the modes in force and comes back at the first other one, which is left untouched;
so a program reads the same with or without it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import isnan
from types import ModuleType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.dialect import GROUPS, Dialect, Meaning, WordKey
from gudgeon.program.state import State
from gudgeon.program.track import AXES, InForce, Rows
from gudgeon.program.turning import RULE_NUMBER

__all__ = ["may_run", "run_plain"]

_MOTIONS: Final = (
    Meaning.RAPID,
    Meaning.LINE,
    Meaning.ARC_CLOCKWISE,
    Meaning.ARC_COUNTER,
)
_MOTION_NUMBER: Final[Mapping[Meaning | None, int]] = {
    meaning: number for number, meaning in enumerate(_MOTIONS)
}
_NO_MOTION: Final = -1
_LEAST_ROOM: Final = 256
_ARCS_AT_ONCE: Final = 1024
_GROW: Final = 4


@cache
def _scan() -> ModuleType:
    # Numba takes longer to import than a short program takes to read.
    from gudgeon.program import scan

    return scan


@dataclass(slots=True)
class _Tables:
    """What bytes and G numbers mean in one dialect, with one set of modes in force."""

    dialect: Dialect
    force: InForce
    bytes_mean: NDArray[np.uint8]
    g_mean: NDArray[np.int8]
    reals: list[float]
    """From `ZERO` on, but for the feed."""
    wholes: list[int]
    """Up to `CHARACTERS`, but for the index of what is in force and the source."""
    ready: bool
    """These modes leave nothing to judge."""


_kept: _Tables | None = None
"""Of the last dialect and modes: a program changes them seldom, hand-overs are many."""


def _in_force(meaning: Meaning, force: InForce) -> bool:
    """Return whether a word says what holds already, so that nothing happens."""
    absolute, plane = force.absolute, force.plane
    return {
        Meaning.PLANE_XY: plane == 0,
        Meaning.PLANE_ZX: plane == 1,
        Meaning.PLANE_YZ: plane == 2,
        Meaning.INCH: force.unit == "in",
        Meaning.METRIC: force.unit == "mm",
        Meaning.ABSOLUTE: absolute is True,
        Meaning.INCREMENTAL: absolute is False,
        Meaning.FEED_MINUTE: force.feed_mode == "minute",
        Meaning.CUTTER_OFF: force.cutter_side == 0,
    }.get(meaning, False)


def _bytes_mean(dialect: Dialect) -> NDArray[np.uint8]:
    scan = _scan()
    means = np.full(256, scan.STRANGE, dtype=np.uint8)
    letters = {"I": 5, "J": 6, "K": 7, "R": scan.RADIUS, "F": scan.FEED}
    letters |= {"N": scan.LABEL, "G": scan.G_WORD}
    for letter, axis in dialect.axes.items():
        # A letter with two meanings is none of the plain ones.
        letters[letter] = scan.STRANGE if letter in letters else axis
    for letter, place in letters.items():
        if len(letter) == 1 and letter.isascii() and letter.isalpha():
            means[ord(letter.upper())] = means[ord(letter.lower())] = place
    for byte, place in {
        " ": scan.BLANK,
        "\t": scan.BLANK,
        "\n": scan.LINE_END,
        "\r": scan.RETURN,
        "(": scan.COMMENT,
    }.items():
        means[ord(byte)] = place
    return means


def _g_mean(words: Mapping[WordKey, object], dialect: Dialect, force: InForce) -> NDArray[np.int8]:
    scan = _scan()
    means = np.zeros(scan.G_NUMBERS, dtype=np.int8)
    groups = {
        meaning: scan.G_GROUPS + number
        for number, meanings in enumerate(GROUPS.values())
        for meaning in meanings
    }
    for (letter, tenths), role in dialect.words.items():
        if letter != "G" or not 0 <= tenths < scan.G_NUMBERS:
            continue
        if role.meaning in _MOTIONS:
            means[tenths] = scan.G_RAPID + _MOTION_NUMBER[role.meaning]
        elif _in_force(role.meaning, force):
            means[tenths] = groups[role.meaning]
    return means


def _tables(state: State, dialect: Dialect) -> _Tables:
    global _kept
    kept, force = _kept, state.force
    if kept is not None and kept.force is force and kept.dialect is dialect:
        return kept
    zero = [state.zero(axis) for axis in range(AXES)]
    ready = (
        force.unit is not None
        and force.absolute is not None
        and force.feed_mode == "minute"
        and force.cutter_side == 0
        and force.cycle is None
        and not force.plane_tilted
        and not force.tool_point
        # Steps need no program zero; a zero that is not known makes every target one.
        and not (force.absolute and any(map(isnan, zero[:3])))
    )
    same_words = kept is not None and kept.dialect is dialect
    inch = force.unit == "in"
    unit_mm = state.unit_mm
    counted = dialect.missing_point == "least"
    least = dialect.least_inch if inch else dialect.least_mm
    tolerance = dialect.arc_tolerance_inch if inch else dialect.arc_tolerance_mm
    _kept = _Tables(
        dialect,
        force,
        kept.bytes_mean if kept is not None and same_words else _bytes_mean(dialect),
        _g_mean(dialect.words, dialect, force),
        [
            *zero,
            unit_mm,
            least if counted else 1.0,
            dialect.least_deg if counted else 1.0,
            tolerance * unit_mm,
            least * unit_mm,
        ],
        [
            bool(force.absolute),
            -1 if force.plane is None else force.plane,
            *(RULE_NUMBER[rule] for rule in dialect.turning),
        ],
        ready,
    )
    return _kept


def may_run(state: State, dialect: Dialect) -> bool:
    """Return whether plain blocks may be carried out with what is in force now.

    The modes that a plain block needs must have been set, program zero must be known, and nothing
    may be in force that changes what a plain block does.  `State.force_index` must be set.
    """
    return (
        state.force_index >= 0
        and not state.step_waits
        and _tables(state, dialect).ready
        and max(state.causes) < 0
    )


def run_plain(
    text: NDArray[np.uint8],
    at: int,
    line: int,
    state: State,
    dialect: Dialect,
    rows: Rows,
    *,
    blocks_limit: int,
    rows_limit: int,
    source: int = 0,
) -> tuple[int, int, int]:
    """Carry out plain blocks up to the first one that is not fully understood.

    Parameters
    ----------
    text : ndarray of uint8
        The whole program; lines end with a line feed.
    at : int
        Offset of the first byte of a line.
    line : int
        Number of that line, from 1.
    state : State
        `may_run` must be true; position, motion, feed and feed_mm are changed.
    dialect : Dialect
    rows : Rows
        Gets a row for each block with axis words.
    blocks_limit : int
        Lines to carry out at most, empty ones counted.
    rows_limit : int
        Rows that `rows` may hold in all.
    source : int
        Written into the rows.

    Returns
    -------
    at, line : int
        Offset and number of the first line that was not carried out; nothing of it was.
    blocks : int
        Lines carried out.
    """
    scan = _scan()
    tables = _tables(state, dialect)
    if text.flags.writeable:  # one kind of array, so that the loop is compiled once
        text = text.view()
        text.flags.writeable = False
    reals = np.array([*state.position, *tables.reals, state.feed, state.feed_mm])
    wholes = np.array(
        [
            *tables.wholes,
            state.force_index,
            source,
            dialect.missing_point is None,
            dialect.limits.line_characters,
            _MOTION_NUMBER.get(state.motion, _NO_MOTION),
            0,
        ],
        dtype=np.int64,
    )
    motion_before = wholes[scan.MOTION]
    blocks = 0
    while True:
        at, line, done, rows.count, rows.arc_count, why = scan.plain_blocks(
            text,
            at,
            line,
            tables.bytes_mean,
            tables.g_mean,
            rows.segments,
            rows.count,
            rows.arcs,
            rows.arc_count,
            reals,
            wholes,
            blocks_limit - blocks,
            rows_limit,
        )
        blocks += done
        if why == scan.ROWS_FULL:
            _more_rows(text, at, rows, rows_limit)
        elif why == scan.ARCS_FULL:
            rows.make_room(0, max(_ARCS_AT_ONCE, rows.arc_count))
        else:
            break
    if blocks:
        *state.position, state.feed, state.feed_mm = reals[_CHANGED].tolist()
        motion = wholes[scan.MOTION]
        if motion != motion_before:
            state.motion = _MOTIONS[motion]
    return at, line, blocks


_CHANGED: Final = [*range(AXES), -2, -1]


def _more_rows(text: NDArray[np.uint8], at: int, rows: Rows, rows_limit: int) -> None:
    """Make room in few steps, the last one of the size needed: growing holds both arrays."""
    left = int(_scan().lines_left(text, at))
    rows.make_room(
        max(_LEAST_ROOM, min(left, (_GROW - 1) * rows.count, rows_limit - rows.count)), 0
    )
