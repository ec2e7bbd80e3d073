"""Which X and Y the machine may reach before the unit meets a guard, the column or the door.

A wall is measured from the spindle line.  Where the table makes the axis, the wall keeps its
distance from the spindle while the unit comes nearer: the unit's end stands at `end` in the table
frame and meets a wall W to the right when end - X = W, so X must stay at or above end + margin - W.
Where the head makes the axis and the wall stands on the base, the wall stays put in the table frame
and no travel changes the gap.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from gudgeon.kinematics.bodies import LAYOUTS

__all__ = ["Extent", "Side", "Wall", "clean_turn", "comes_nearer", "contact_ends", "safe_range"]

ROUNDING: Final = 1e-9
"""As in `gudgeon.placing.conditions`: closer than this is the same place [mm]."""

Side = Literal["right", "left", "rear", "front"]


def comes_nearer(layout: str, side: Side) -> bool:
    """Return whether moving the axis brings unit and wall together.

    Guards and doors stand on the base, so they do where the table makes the axis.  The column
    behind a moving column carries the head: it comes with it.

    Raises
    ------
    ValueError
        If the layout is not one of those of `gudgeon.kinematics.bodies`.
    """
    if layout not in LAYOUTS:
        raise ValueError(f"layout must be one of {', '.join(LAYOUTS)}, got {layout!r}")
    axis = "X" if side in ("right", "left") else "Y"
    return axis in LAYOUTS[layout] or (layout == "moving column" and side == "rear")


@dataclass(frozen=True, slots=True)
class Extent:
    """How far a body reaches from the unit frame's origin along the machine axes [mm]."""

    right: float
    left: float
    rear: float
    front: float

    def towards(self, side: Side) -> float:
        """Return the reach towards one side [mm]."""
        return {"right": self.right, "left": self.left, "rear": self.rear, "front": self.front}[
            side
        ]

    def turned(self, yaw_rad: float) -> Extent:
        """Return the extent of the same box turned about Z; exact for multiples of 90 deg.

        A side that reaches to infinity (not known where it ends) stays so wherever it shows.
        """
        cosine, sine = clean_turn(yaw_rad)

        def toward(dx: float, dy: float) -> float:
            # Support of a box: the machine direction as seen from the unit frame.
            ux, uy = dx * cosine + dy * sine, -dx * sine + dy * cosine
            return _times(ux, self.right, self.left) + _times(uy, self.rear, self.front)

        return Extent(toward(1, 0), toward(-1, 0), toward(0, 1), toward(0, -1))


@dataclass(frozen=True, slots=True)
class Wall:
    """A guard, column or door beside the spindle line.

    Attributes
    ----------
    side : str
        "right" (X+), "left" (X-), "rear" (Y+) or "front" (Y-) of the spindle line.
    distance_mm : float
        From the spindle line; where `nearer` is false, from the place of the spindle line with the
        machine axis at 0 [mm].
    margin_mm : float
        Room to keep [mm].
    nearer : bool
        See `comes_nearer`.
    """

    side: Side
    distance_mm: float
    margin_mm: float
    nearer: bool

    @property
    def axis(self) -> int:
        """Machine axis, 0 for X and 1 for Y."""
        return 0 if self.side in ("right", "left") else 1

    @property
    def sign(self) -> int:
        """+1 if it stands towards plus."""
        return 1 if self.side in ("right", "rear") else -1

    def limit(self, reach_mm: float) -> float:
        """Return the machine coordinate at which the room is just kept, unit at the origin [mm].

        The axis must stay at or above it for a wall towards plus, at or below it otherwise; add
        the unit's own coordinate.
        """
        return self.sign * (reach_mm + self.margin_mm - self.distance_mm)


def safe_range(
    travel_mm: tuple[float, float], centre_mm: float, walls: tuple[Wall, ...], extent: Extent
) -> tuple[float, float]:
    """Return the travel of one axis in which the unit keeps its room to the walls [mm].

    Parameters
    ----------
    travel_mm : tuple of (lowest, highest)
        Travel of the machine [mm].
    centre_mm : float
        Coordinate of the unit's origin [mm].
    walls : tuple of Wall
        Walls of this axis only; those that no travel brings nearer are left out.
    extent : Extent
        Reach of the unit along the machine axes [mm].

    Returns
    -------
    tuple of (lowest, highest)
        Clipped to the travel; lowest > highest if nothing is left.
    """
    low, high = travel_mm
    for wall in walls:
        if wall.nearer:
            at = centre_mm + wall.limit(extent.towards(wall.side))
            if wall.sign > 0:
                low = max(low, at)
            else:
                high = min(high, at)
    return low, high


def contact_ends(
    range_mm: tuple[float, float], centre_mm: float, walls: tuple[Wall, ...], extent: Extent
) -> tuple[bool, bool]:
    """Return which ends of a safe range are contact with a wall that has no margin.

    Contact is a danger, not room: such an end itself is not safe.  An end of the machine's travel,
    and one that a margin sets, is.

    Parameters
    ----------
    range_mm : tuple of (lowest, highest)
        What `safe_range` returned for the same arguments [mm].
    centre_mm, walls, extent
        As for `safe_range`.
    """
    low, high = False, False
    for wall in walls:
        if wall.nearer and wall.margin_mm <= 0.0:
            at = centre_mm + wall.limit(extent.towards(wall.side))
            if wall.sign > 0:
                low = low or at >= range_mm[0] - ROUNDING
            else:
                high = high or at <= range_mm[1] + ROUNDING
    return low, high


def clean_turn(yaw_rad: float) -> tuple[float, float]:
    """Return cosine and sine, exact for multiples of 90 deg."""
    quarter = yaw_rad / (math.pi / 2.0)
    if abs(quarter - round(quarter)) < 1e-9:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    return math.cos(yaw_rad), math.sin(yaw_rad)


def _times(share: float, plus: float, minus: float) -> float:
    """Return the support of an interval [-minus, plus] in a direction; 0 x infinity is 0."""
    if share == 0.0:
        return 0.0
    return share * plus if share > 0.0 else -share * minus
