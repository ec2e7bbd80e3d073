"""Which way round a turning axis goes to the angle that a block writes.

Plain numbers in and out: the compiled reader and the full one run the very same text.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import copysign, floor, isnan, pi
from typing import Final

from gudgeon.program.dialect import TurningRule

__all__ = ["RULE_NUMBER", "turn_to"]

AS_WRITTEN: Final = 0
SHORTEST: Final = 1
POSITIVE: Final = 2
BY_SIGN: Final = 3
UNKNOWN: Final = 4

RULE_NUMBER: Final[Mapping[TurningRule, int]] = {
    TurningRule.AS_WRITTEN: AS_WRITTEN,
    TurningRule.SHORTEST: SHORTEST,
    TurningRule.POSITIVE: POSITIVE,
    TurningRule.BY_SIGN: BY_SIGN,
    TurningRule.UNKNOWN: UNKNOWN,
}
"""The number by which `turn_to` knows a rule."""

TURN: Final = 2.0 * pi

SAME: Final = 1e-9
"""Angles nearer than this are one [rad]: far below any display, far above rounding."""

FARTHEST: Final = 1e6
"""Beyond so many radians between two angles a double no longer holds `SAME`."""


def turn_to(rule: int, now: float, wanted: float) -> tuple[float, bool]:
    """Return where an absolute word takes a turning axis.

    Parameters
    ----------
    rule : int
        One of `RULE_NUMBER`.
    now : float
        Angle before the block, unwrapped [rad]; NaN when not known.
    wanted : float
        Angle written [rad].  Both are counted from the program zero: ``BY_SIGN`` asks for the sign
        that was written, and an offset would hide it.  Add the offset to the target.

    Returns
    -------
    target : float
        Unwrapped angle at the end [rad].
    either_way : bool
        The axis may go the other way round or elsewhere: exactly half a turn by the shortest way,
        a rule that is not declared and would matter, or a start that is not known.

    Notes
    -----
    The rules are common practice, no source.  A sign on zero counts (``C-0``).
    """
    if rule == AS_WRITTEN or isnan(wanted):
        return wanted, False
    size = abs(wanted)
    if not (abs(now - wanted) < FARTHEST and abs(now - size) < FARTHEST):
        return wanted, True

    # The turn of the wanted angle that lies nearest, and from there the first one each way.
    nearest = wanted + TURN * floor((now - wanted) / TURN + 0.5)
    there = abs(nearest - now) <= SAME
    half = abs(abs(nearest - now) - pi) <= SAME
    forward = nearest if nearest > now else nearest + TURN
    if there:
        nearest = forward = now
    elif half:
        nearest = forward

    signed = size + TURN * floor((now - size) / TURN + 0.5)
    if abs(signed - now) <= SAME:
        signed = now
    elif copysign(1.0, wanted) > 0.0:
        if signed < now:
            signed += TURN
    elif signed > now:
        signed -= TURN

    if rule == SHORTEST:
        return nearest, half
    if rule == POSITIVE:
        return forward, False
    if rule == BY_SIGN:
        return signed, False
    same = (
        not half
        and abs(nearest - wanted) <= SAME
        and abs(forward - wanted) <= SAME
        and abs(signed - wanted) <= SAME
    )
    return wanted, not (same or abs(now - wanted) <= SAME)
