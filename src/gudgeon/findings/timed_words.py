"""What a program does without motion, counted: changes, spindle, clamps, touches, other words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.track import Flag, Kind, Track

__all__ = ["CAUSES", "NUMBER", "ByWord", "Cause", "Counted", "clamped_about_turns", "words_of"]

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

ByWord = frozenset[tuple[str, int]]
"""What words of the program do: ``("clamp", 3)`` clamps the tilt, ``("unclamp", 4)`` frees the
rotary."""

_CLAMPS: Final = {3: Flag.CLAMPS_TILT, 4: Flag.CLAMPS_ROTARY}
_FREES: Final = {3: Flag.FREES_TILT, 4: Flag.FREES_ROTARY}
_AXIS: Final = {3: "tilt", 4: "rotary"}


class Cause(StrEnum):
    """What takes the time."""

    CUTTING = "cutting"
    """Moves at feed."""
    RAPIDS = "rapids"
    INDEXING = "indexing"
    """Rapids in which a turning axis moves."""
    CLAMPING = "clamping"
    TOOL_CHANGE = "tool change"
    """The change, and the ways of the axes to where it is made."""
    SPINDLE = "spindle"
    DWELL = "dwell"
    PROBING = "probing"
    OTHER = "other words"


CAUSES: Final = tuple(Cause)
NUMBER: Final = {cause: i for i, cause in enumerate(CAUSES)}


@dataclass(frozen=True, slots=True)
class Counted:
    """Something without motion that happens so often, at places of the uses.

    Attributes
    ----------
    name : str
        Key of its time in `[timing]` or `[unit.motion]`, such as ``"tool_change"``.
    cause : Cause
    uses : ndarray of int
        Index of the use at each time that it happens.
    """

    name: str
    cause: Cause
    uses: Ints


def words_of(track: Track, use: Ints, by_word: ByWord) -> list[Counted]:
    """Return what happens without motion: changes, spindle, probing touches, other words."""
    rows = track.segments
    kind, flags = rows["kind"], rows["flags"]
    found: dict[tuple[str, Cause], list[int]] = {}
    turning, clamped = 0, {3: -1, 4: -1}
    events = (Kind.TOOL_CHANGE, Kind.SPINDLE, Kind.PROBE, Kind.OTHER)
    for row in np.flatnonzero(np.isin(kind, [int(k) for k in events])).tolist():
        names: list[tuple[str, Cause]] = []
        match int(kind[row]):
            case Kind.TOOL_CHANGE:
                names.append(("tool_change", Cause.TOOL_CHANGE))
            case Kind.PROBE:
                names.append(("probe_touch", Cause.PROBING))
            case Kind.SPINDLE:
                way = track.in_force[int(rows["force"][row])].spindle
                if turning and way != turning:
                    names.append(("spindle_stop", Cause.SPINDLE))
                if way and way != turning:
                    names.append(("spindle_start", Cause.SPINDLE))
                turning = way
            case _:
                word = int(flags[row])
                names += _brakes(word, clamped, by_word)
                # A word that works the brakes takes the time of the brakes.
                if not any(word & int(one) for one in (*_CLAMPS.values(), *_FREES.values())):
                    names.append(("word", Cause.OTHER))
        for name in names:
            found.setdefault(name, []).append(int(use[row]))
    return [Counted(name, cause, np.array(at)) for (name, cause), at in found.items()]


def _brakes(word: int, clamped: dict[int, int], by_word: ByWord) -> list[tuple[str, Cause]]:
    """Return what a word takes that clamps or lets go; both axes at once take the longer time.

    What is clamped already takes no time; at the start nobody knows, so it does.
    """
    names: list[tuple[str, Cause]] = []
    for flags, state, verb in ((_FREES, 0, "unclamp"), (_CLAMPS, 1, "clamp")):
        axes = [a for a in (3, 4) if (verb, a) in by_word and word & int(flags[a])]
        new = [axis for axis in axes if clamped[axis] != state]
        for axis in axes:
            clamped[axis] = state
        if new:
            names.append((_brake_name(verb, new), Cause.CLAMPING))
    return names


def _brake_name(verb: str, axes: Sequence[int]) -> str:
    return f"{verb} " + " ".join(_AXIS[axis] for axis in axes)


def clamped_about_turns(at: Ints, turns: Mask, use: Ints, by_word: ByWord) -> list[Counted]:
    """Return clamps of the axes that no word works: about every unbroken run of their turns."""
    found: list[Counted] = []
    moved = turns[at]
    none = np.zeros((1, 2), dtype=np.bool_)
    begins = moved & ~np.vstack((none, moved[:-1]))
    ends = moved & ~np.vstack((moved[1:], none))
    for verb, events in (("unclamp", begins), ("clamp", ends)):
        events[:, [(verb, axis) in by_word for axis in (3, 4)]] = False
        for axes in ([3], [4], [3, 4]):
            wanted = np.array([3 in axes, 4 in axes])
            rows = np.flatnonzero((events == wanted).all(axis=1))
            if len(rows):
                found.append(Counted(_brake_name(verb, axes), Cause.CLAMPING, use[at[rows]]))
    return found
