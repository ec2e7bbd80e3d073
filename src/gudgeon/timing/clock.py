"""Seconds of moves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.timing.compiled import DEGREES
from gudgeon.timing.corners import corners
from gudgeon.timing.limits import AXES, AxisLimits, MixedFeed, Rules
from gudgeon.timing.measure import measure
from gudgeon.timing.moves import Kind, Moves
from gudgeon.timing.over_work import over_work
from gudgeon.timing.passes import dog_legs, plain_pass, see_so_far
from gudgeon.timing.smooth import see_so_far_smoothly, smooth_pass

__all__ = ["Timed", "time_moves"]

_CHUNK: Final = 500_000
"""Moves measured between two looks at whether to go on."""


@dataclass(frozen=True, slots=True, eq=False)
class Timed:
    """Seconds of moves.

    Attributes
    ----------
    seconds : ndarray, shape (n,)
        Of each move, its settling included; of a pause its own [s].
    settling : ndarray, shape (n,)
        The part of `seconds` that is settling [s].
    speed_end : ndarray, shape (n,)
        Speed along the path after each move, one degree counted as one millimetre [mm/s].
    length : ndarray, shape (n,)
        Of the path of all axes, in the same measure [mm].
    stood : ndarray of bool, shape (n,)
        The axes, having moved, stand still after this move.
    """

    seconds: NDArray[np.float64]
    settling: NDArray[np.float64]
    speed_end: NDArray[np.float64]
    length: NDArray[np.float64]
    stood: NDArray[np.bool_]


def time_moves(
    moves: Moves,
    limits: AxisLimits,
    rules: Rules,
    *,
    cancelled: Callable[[], bool] | None = None,
    told: Callable[[float], None] | None = None,
) -> Timed | None:
    """Return the seconds of each move, from rest before the first to rest after the last.

    Parameters
    ----------
    moves : Moves
    limits : AxisLimits
    rules : Rules
    cancelled : callable, optional
        Asked now and then; True: give up.
    told : callable, optional
        Gets the share done, 0 to 1, in steps.

    Returns
    -------
    Timed or None
        None when cancelled.

    Raises
    ------
    ValueError
        A feed in rad/s for a move that turns nothing, an arc of radius zero (the index is told), or
        a feed over the work without a lever.

    Notes
    -----
    All axes of a feed move arrive together; the limits along it are the least over the axes of
    the limit divided by the axis's part of the direction.  Rapids stop at each corner and do not
    run into feed moves.  A straight rapid is timed like a feed without F; in a dog-leg each axis
    takes its own time and the longest counts.  On an arc v^2/r stays within the acceleration of
    the axes in its plane, and the speed changes with what they have in every direction of it;
    both at once, as controls that limit each by itself.  Corners: see `corners`.  Jerk: see
    `smooth`.  A feed over the work is kept on average over each move.
    """
    count = len(moves.kind)
    shares = (0.4, 0.7, 1.0)

    def goes_on(done: float) -> bool:
        if told is not None:
            told(done)
        return cancelled is None or not cancelled()

    scale = np.ones(AXES)
    scale[3:] = DEGREES
    with np.errstate(divide="ignore"):
        inverse = 1.0 / np.array([limits.speed, limits.acceleration, limits.jerk]) / scale
    arcing = moves.kind == Kind.ARC
    slot = np.zeros(count, dtype=np.int32)
    if arcing.any():
        slot = np.cumsum(arcing, dtype=np.int32) - np.int32(1)
    length = np.empty(count)
    head = np.empty((count, AXES))
    tail = np.empty((int(arcing.sum()), AXES))
    most = np.empty((count, 3))
    if not goes_on(0.0):
        return None
    work = np.empty(0)
    if rules.mixed_feed is MixedFeed.OVER_THE_WORK and _turns_at_feed(moves):
        work = over_work(moves)[0]
    elif rules.mixed_feed is MixedFeed.OVER_THE_WORK:
        work = np.zeros(count)
    arcs = moves.arcs
    for low in range(0, count, _CHUNK):
        high = min(low + _CHUNK, count)
        wrong = measure(
            low, high, moves.start, moves.end, moves.kind, moves.feed, moves.feed_kind, moves.arc,
            slot, arcs.centre, arcs.normal, arcs.sweep, inverse, int(rules.mixed_feed),
            rules.feed_most, work, length, head, tail, most,
        )  # fmt: skip
        if wrong >= 0:
            raise ValueError(
                f"move {wrong} has a feed in rad/s and turns nothing, or is an arc of radius zero"
            )
        if not goes_on(shares[0] * high / count):
            return None
    cap = np.empty(count + 1)
    stood = np.empty(count, dtype=np.bool_)
    corners(
        moves.kind, moves.stop, length, head, tail, slot, most, inverse,
        rules.corner_tolerance_mm, rules.look_ahead, cap, stood,
    )  # fmt: skip
    del head, tail
    if not goes_on(shares[1]):
        return None
    seconds = np.empty(count)
    speed = np.empty(count)
    jerky = bool(np.isfinite(limits.jerk).any())
    if rules.look_ahead and rules.window:
        if jerky:
            room = np.empty((2, count), dtype=np.int64)
            see_so_far_smoothly(length, most, rules.window, cap, room)
        else:
            see_so_far(length, most, rules.window, cap)
    if jerky:
        smooth_pass(
            length, most, cap, np.empty(count + 1), np.empty(count + 1),
            np.empty((2, count + 1), dtype=np.bool_),
            np.empty(count + 1, dtype=np.int64), seconds, speed,
        )  # fmt: skip
    else:
        plain_pass(length, most, cap, seconds, speed)
    if not rules.straight_rapids:
        dog_legs(
            moves.kind, moves.start, moves.end, stood,
            limits.speed, limits.acceleration, limits.jerk, seconds,
        )  # fmt: skip
    settling = np.zeros(count)
    if rules.settle_s:
        settling[stood] = rules.settle_s
        seconds += settling
    pausing = moves.kind == Kind.PAUSE
    seconds[pausing] = moves.feed[pausing]
    if not goes_on(shares[2]):
        return None
    return Timed(seconds, settling, speed, length, stood)


def _turns_at_feed(moves: Moves) -> bool:
    turning = np.vstack([moves.start[3:], moves.end[:, 3:]])
    moved = (np.diff(turning, axis=0) != 0.0).any(axis=1)
    return bool((moved & (moves.kind != Kind.RAPID)).any())
