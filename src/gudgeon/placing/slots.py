"""Where the clamping lugs of a unit come to lie over the T-slots of the table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

__all__ = ["QUARTERS", "Seat", "quarter_of", "seats", "seats_at"]

SQUARE: Final = 1e-3
"""A unit within 1 mm in a metre of square counts as square to the slots [rad]."""
SAME_PLACE: Final = 1e-6
"""Places closer than this are one [mm]."""
QUARTERS: Final = tuple(i * math.pi / 2.0 for i in range(4))


@dataclass(frozen=True, slots=True)
class Seat:
    """A place across the slots at which enough rows of lugs lie over slots.

    Attributes
    ----------
    across_mm : float
        Machine coordinate of the unit frame's origin across the slots [mm].
    pairs : tuple of (int, int)
        Number of the slot and of the lug row of each, from 0.
    """

    across_mm: float
    pairs: tuple[tuple[int, int], ...]


def quarter_of(yaw_rad: float) -> int | None:
    """Return 0, 1, 2 or 3 for 0, 90, 180 or 270 deg; ``None`` for a unit askew to the table."""
    quarter = yaw_rad / (math.pi / 2.0)
    off = abs(quarter - round(quarter)) * math.pi / 2.0
    return round(quarter) % 4 if off <= SQUARE else None


def row_places(
    quarter: int, slots_along: str, rows_mm: Sequence[float], columns_mm: Sequence[float]
) -> tuple[float, ...]:
    """Return where the rows parallel to the slots stand, from the origin, across the slots [mm].

    Parameters
    ----------
    quarter : int
        Yaw in quarter turns, counter-clockwise.
    slots_along : "X" or "Y"
    rows_mm : sequence of float
        Rows along the tilt axis: unit frame y of each [mm].
    columns_mm : sequence of float
        Rows across the tilt axis: unit frame x of each [mm].

    Notes
    -----
    Machine X of a point (x, y) of the unit is x, -y, -x, y for the four quarters, machine Y is
    y, x, -y, -x.  Across slots along X machine Y counts, else machine X.
    """
    if slots_along == "X":
        source, sign = ((rows_mm, 1), (columns_mm, 1), (rows_mm, -1), (columns_mm, -1))[quarter]
    else:
        source, sign = ((columns_mm, 1), (rows_mm, -1), (columns_mm, -1), (rows_mm, 1))[quarter]
    return tuple(sign * value for value in source)


def seats_at(
    slots_mm: Sequence[float], rows_mm: Sequence[float], play_mm: float, across_mm: float
) -> tuple[tuple[int, int], ...]:
    """Return which slot lies under which row at one place; each slot and row counts once.

    Parameters
    ----------
    slots_mm : sequence of float
        Middles of the slots, machine coordinate across them [mm].
    rows_mm : sequence of float
        From `row_places` [mm].
    play_mm : float
        How far a row may sit beside the middle of a slot [mm].
    across_mm : float
        Coordinate of the unit's origin across the slots [mm].
    """
    near = sorted(
        (abs(across_mm + row - slot), i, j)
        for i, slot in enumerate(slots_mm)
        for j, row in enumerate(rows_mm)
    )
    pairs: list[tuple[int, int]] = []
    for gap, i, j in near:
        if gap > play_mm + SAME_PLACE:
            break
        if all(i != slot and j != row for slot, row in pairs):
            pairs.append((i, j))
    return tuple(sorted(pairs))


def seats(
    slots_mm: Sequence[float], rows_mm: Sequence[float], needed: int, play_mm: float
) -> tuple[Seat, ...]:
    """Return every place across the slots where at least `needed` rows lie over slots.

    Each pair of a slot and a row puts the origin at slot - row, give or take the play.  Pairs
    within twice the play can be had at once, half way between the outermost of them.
    """
    wishes = sorted(
        (slot - row, i, j) for i, slot in enumerate(slots_mm) for j, row in enumerate(rows_mm)
    )
    found: list[Seat] = []
    for first, (low, _, _) in enumerate(wishes):
        group = [wish for wish in wishes[first:] if wish[0] <= low + 2.0 * play_mm + SAME_PLACE]
        # One row is enough: it sits in the middle of its slot.  More: between the outermost.
        across = low if needed <= 1 else (low + group[-1][0]) / 2.0
        pairs = seats_at(slots_mm, rows_mm, play_mm, across)
        if len(pairs) >= needed and all(
            abs(seat.across_mm - across) > SAME_PLACE and (needed <= 1 or seat.pairs != pairs)
            for seat in found
        ):
            found.append(Seat(across, pairs))
    return tuple(found)
