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

from gudgeon.program.dialect import GROUPS, Dialect, Meaning
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
_NOT_SET: Final = -1
_ARCS_AT_ONCE: Final = 1024
_ROWS_AT_ONCE: Final = 1_000_000


@cache
def _scan() -> ModuleType:
    # Numba takes longer to import than a short program takes to read.
    from gudgeon.program import scan

    return scan


@dataclass(slots=True)
class _Words:
    """What bytes and G numbers mean in a dialect."""

    dialect: Dialect
    bytes_mean: NDArray[np.uint8]
    g_mean: dict[tuple[object, ...], NDArray[np.int8]]
    """By the modes in force: a word that says what holds already does nothing."""


@dataclass(slots=True)
class _Tables:
    """What the compiled loop needs to know of one dialect with one set of things in force."""

    words: _Words
    force: InForce
    g_mean: NDArray[np.int8]
    reals: list[float]
    """Those from `ZERO` on that do not change from block to block."""
    wholes: list[int]
    """Those before `FORCE`."""
    ready: bool
    """What is in force leaves nothing to judge."""


_kept: _Tables | None = None
"""The last: a program changes what is in force seldom, and hands over often."""


def _words_of(dialect: Dialect) -> _Words:
    from gudgeon.program import words

    means = np.full(256, words.STRANGE, dtype=np.uint8)
    letters = {"I": words.CENTRE, "J": words.CENTRE + 1, "K": words.CENTRE + 2}
    letters |= {"R": words.RADIUS, "F": words.FEED, "N": words.LABEL, "G": words.G_WORD}
    for letter, axis in dialect.axes.items():
        # A letter with two meanings is none of the plain ones.
        letters[letter] = words.STRANGE if letter in letters else axis
    for letter, place in letters.items():
        if len(letter) == 1 and "A" <= letter <= "Z":
            means[ord(letter)] = means[ord(letter.lower())] = place
    for byte, place in {
        " ": words.BLANK,
        "\t": words.BLANK,
        "\n": words.LINE_END,
        "\r": words.RETURN,
        "(": words.COMMENT,
    }.items():
        means[ord(byte)] = place
    return _Words(dialect, means, {})


def _modes(force: InForce) -> tuple[object, ...]:
    feeds = force.feed_mode, force.exact_stop
    return force.plane, force.unit, force.absolute, *feeds, force.cutter_side


def _g_mean(dialect: Dialect, force: InForce) -> NDArray[np.int8]:
    from gudgeon.program import words

    means = np.zeros(words.G_NUMBERS, dtype=np.int8)
    idle = {
        Meaning.PLANE_XY: force.plane == 0,
        Meaning.PLANE_ZX: force.plane == 1,
        Meaning.PLANE_YZ: force.plane == 2,
        Meaning.INCH: force.unit == "in",
        Meaning.METRIC: force.unit == "mm",
        Meaning.ABSOLUTE: force.absolute is True,
        Meaning.INCREMENTAL: force.absolute is False,
        Meaning.FEED_MINUTE: force.feed_mode == "minute",
        Meaning.CUTTER_OFF: force.cutter_side == 0,
        Meaning.EXACT_STOP: force.exact_stop,
        Meaning.PATH_MODE: not force.exact_stop,
    }
    groups = {
        meaning: words.G_GROUPS + number
        for number, meanings in enumerate(GROUPS.values())
        for meaning in meanings
    }
    for (letter, tenths), role in dialect.words.items():
        if letter != "G" or not 0 <= tenths < words.G_NUMBERS:
            continue
        if role.meaning in _MOTIONS:
            means[tenths] = words.G_RAPID + _MOTION_NUMBER[role.meaning]
        elif idle.get(role.meaning, False):
            means[tenths] = groups[role.meaning]
    return means


def _tables(state: State, dialect: Dialect) -> _Tables:
    global _kept
    kept, force = _kept, state.force
    if kept is not None and kept.force is force and kept.words.dialect is dialect:
        return kept
    words = kept.words if kept is not None and kept.words.dialect is dialect else _words_of(dialect)
    g_mean = words.g_mean.get(_modes(force))
    if g_mean is None:
        g_mean = words.g_mean[_modes(force)] = _g_mean(dialect, force)
    zero = [state.zero(axis) for axis in range(AXES)]
    inch, unit_mm = force.unit == "in", state.unit_mm
    least = dialect.least_inch if inch else dialect.least_mm
    tolerance = dialect.arc_tolerance_inch if inch else dialect.arc_tolerance_mm
    counted = dialect.missing_point == "least"
    _kept = kept = _Tables(
        words,
        force,
        g_mean,
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
            _NOT_SET if force.plane is None else force.plane,
            *(RULE_NUMBER[rule] for rule in dialect.turning),
        ],
        force.unit is not None
        and force.absolute is not None
        and force.feed_mode == "minute"
        and force.cutter_side == 0
        and force.cycle is None
        and not force.plane_tilted
        and not force.tool_point
        # Steps need no program zero.
        and not (force.absolute and any(map(isnan, zero[:3]))),
    )
    return kept


def may_run(state: State, dialect: Dialect) -> bool:
    """Return whether plain blocks may be carried out with what is in force now.

    The modes that a plain block needs must have been set, program zero must be known, and nothing
    may be in force that changes what a plain block does.
    """
    return not state.step_waits and _tables(state, dialect).ready


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
        `may_run` must be true and `force_index` set; position, causes, motion, feed and feed_mm
        are changed.
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
            _MOTION_NUMBER.get(state.motion, _NOT_SET),
            *state.causes,
        ],
        dtype=np.int64,
    )
    blocks = 0
    while True:
        at, line, done, rows.count, rows.arc_count, why = scan.plain_blocks(
            text,
            at,
            line,
            tables.words.bytes_mean,
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
        after = reals.tolist()
        state.position = after[:AXES]
        state.feed, state.feed_mm = after[scan.FEED_SET], after[scan.FEED_MM]
        motion, *state.causes = wholes[scan.MOTION :].tolist()
        if motion != _NOT_SET:
            state.motion = _MOTIONS[motion]
    return at, line, blocks


def _more_rows(text: NDArray[np.uint8], at: int, rows: Rows, rows_limit: int) -> None:
    """Make room in few steps, the last one of the size needed: growing holds both arrays."""
    left = int(_scan().lines_left(text, at))
    rows.make_room(min(left, max(3 * rows.count, _ROWS_AT_ONCE), rows_limit - rows.count), 0)
