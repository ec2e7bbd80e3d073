"""What is found about places of the unit on the table without proofs: plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from gudgeon.placing.conditions import ROUNDING, Intervals
from gudgeon.quantity.ties import firm

__all__ = ["REASONS", "Margin", "Place", "PlacesFinding", "Safe"]

REASONS: Final = ("slots", "travel", "head room", "cable", "table edge", "guard")
"""Reason words in the order in which they are reported."""


@dataclass(frozen=True, slots=True)
class Margin:
    """One condition at one place.

    Attributes
    ----------
    reason, note : str
        Stable word, and what is judged.
    margin_mm : float
        Room left; negative where it is broken [mm].
    kept : bool
        Whether the condition is kept there.
    """

    reason: str
    note: str
    margin_mm: float
    kept: bool


@dataclass(frozen=True, slots=True)
class Safe:
    """Travel in which the unit meets no guard [mm]; lowest > highest if nothing is left.

    Attributes
    ----------
    x, y : tuple of (lowest, highest), or None
        ``None`` where the machine's travel is not known.
    contact : tuple of two pairs of bools
        For X and Y: whether the lowest and the highest end is contact with a guard, which is a
        danger: that end itself is not safe.
    """

    x: tuple[float, float] | None
    y: tuple[float, float] | None
    contact: tuple[tuple[bool, bool], tuple[bool, bool]] = ((False, False), (False, False))

    def short(self, axis: int, low_mm: float, high_mm: float) -> float | None:
        """Return by how much a range of X (0) or Y (1) leaves what is safe [mm].

        ``None`` where it does not; 0 where it only reaches an end that is contact.
        """
        ends = (self.x, self.y)[axis]
        if ends is None:
            return None
        beyond = [
            (gap, touching)
            for gap, touching in zip(
                (ends[0] - low_mm, high_mm - ends[1]), self.contact[axis], strict=True
            )
            if gap > ROUNDING or (touching and gap >= -ROUNDING)
        ]
        return max((max(gap, 0.0) for gap, _ in beyond), default=None)


@dataclass(frozen=True, slots=True)
class Place:
    """One place of the unit on the table, judged.

    Attributes
    ----------
    yaw_rad : float
    x_mm, y_mm : float
        Machine coordinates of the unit frame's origin [mm].
    tilt_mm : float
        Machine coordinate of the tilt line across it (Y if it lies along X) [mm].
    offset_mm : float or None
        Coordinate across the slots of the tilt line (of the rotary line, if the tilt line lies
        across the slots) less that of the middle slot [mm].
    seat : tuple of (int, int)
        Slot and lug row of each row that lies over a slot, from 0.
    room : tuple of (low, high)
        Where the unit may stand along the slots [mm].
    margins : tuple of Margin
        Every condition, in the order of `REASONS`.
    safe : Safe
    stations : tuple of (int, int)
        Stations all of whose zeros are within reach, and stations in all.
    """

    yaw_rad: float
    x_mm: float
    y_mm: float
    tilt_mm: float
    offset_mm: float | None
    seat: tuple[tuple[int, int], ...]
    room: Intervals
    margins: tuple[Margin, ...]
    safe: Safe
    stations: tuple[int, int]

    @property
    def reasons(self) -> tuple[str, ...]:
        """Reason words of the broken conditions, each once; empty where the place works."""
        broken = {margin.reason for margin in self.margins if not margin.kept}
        return tuple(reason for reason in REASONS if reason in broken)

    @property
    def works(self) -> bool:
        """Whether every condition that could be judged is kept."""
        return not self.reasons

    @property
    def tightest(self) -> Margin | None:
        """The condition with the least room (seating over the slots has none to spare)."""
        counted = [margin for margin in self.margins if margin.reason != "slots" or not margin.kept]
        return min(counted, key=lambda margin: firm(margin.margin_mm), default=None)


@dataclass(frozen=True, slots=True)
class PlacesFinding:
    """Every seat on the T-slots, ranked, the best first.

    Attributes
    ----------
    places : tuple of Place
        Working ones first; then by stations reached, then by least margin.
    middle_slot_mm : float
        Coordinate of the slot that offsets are counted from.
    assumed : tuple of str
    """

    places: tuple[Place, ...]
    middle_slot_mm: float
    assumed: tuple[str, ...]

    @property
    def working(self) -> tuple[Place, ...]:
        """Places where every condition that could be judged is kept."""
        return tuple(place for place in self.places if place.works)
