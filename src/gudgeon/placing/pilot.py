"""How the pilot of a fixture sits in the pilot of a platter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["WIDE_GAP_MM", "PilotFit", "pilot_fit"]

WIDE_GAP_MM: Final = 0.1
"""Locating fits of the usual pilot sizes stay below this; common practice, no source [mm]."""


@dataclass(frozen=True, slots=True)
class PilotFit:
    """What a bore and a boss do to each other.

    Attributes
    ----------
    state : str
        ``"fits"``, ``"wide"`` (goes in, does not centre), ``"tight"`` (boss bigger than bore),
        ``"bottoms"`` (boss longer than the bore is deep: the faces do not meet),
        ``"two bosses"``, ``"two bores"`` (nothing centres; a ring or plug is needed).
    gap_mm : float or None
        Bore less boss, across the diameter [mm]; ``None`` for two of a kind.
    off_centre_mm : float or None
        How far the fixture may sit off the platter's centre: half the gap [mm].
    depth_left_mm : float or None
        Depth of the bore less height of the boss [mm]; ``None`` if one is not known.
    """

    state: str
    gap_mm: float | None = None
    off_centre_mm: float | None = None
    depth_left_mm: float | None = None


def pilot_fit(
    platter: tuple[str, float, float | None], fixture: tuple[str, float, float | None]
) -> PilotFit:
    """Judge two pilots.

    Parameters
    ----------
    platter, fixture : tuple of (kind, diameter, depth)
        Kind ``"bore"`` or ``"boss"``; diameter [mm]; depth of the bore or height of the boss [mm],
        or ``None``.

    Raises
    ------
    ValueError
        If a kind is neither bore nor boss.
    """
    for kind, _, _ in (platter, fixture):
        if kind not in ("bore", "boss"):
            raise ValueError(f"a pilot is a bore or a boss, not {kind!r}")
    if platter[0] == fixture[0]:
        return PilotFit("two bores" if platter[0] == "bore" else "two bosses")
    bore, boss = (platter, fixture) if platter[0] == "bore" else (fixture, platter)
    gap = bore[1] - boss[1]
    left = None if bore[2] is None or boss[2] is None else bore[2] - boss[2]
    if gap < 0.0:
        return PilotFit("tight", gap, None, left)
    if left is not None and left < 0.0:
        return PilotFit("bottoms", gap, gap / 2.0, left)
    return PilotFit("wide" if gap > WIDE_GAP_MM else "fits", gap, gap / 2.0, left)
