"""How high and how far a load reaches while it tilts and turns.

Frame: the unit frame (x along the tilt line, z up, origin on the rotary line at the height of the
tilt line).  The tilt line passes the point y = `tilt_y_mm` of that frame.  Angles are WORK angles,
right-handed about x: a programmed tilt times its sense.  A point (y, z) about the tilt line stands
at y cos t - z sin t, z cos t + y sin t, so its height is r cos(t - a): every extreme over a range
of tilt has a closed form, and only the corners of a solid count.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["DOWN", "FRONT", "REAR", "UP", "Extreme", "Section", "Solid", "joined"]

Floats = NDArray[np.float64]

REAR: Final = 0.0
UP: Final = math.pi / 2.0
FRONT: Final = math.pi
DOWN: Final = -math.pi / 2.0
"""Directions in the y-z plane, as angles from unit frame y towards z [rad]."""

TURN: Final = 2.0 * math.pi
ON_RANGE: Final = 1e-12
"""An angle this close to the end of a range belongs to it [rad]."""


@dataclass(frozen=True, slots=True)
class Extreme:
    """The furthest that something reaches over a range of tilt, and where.

    Attributes
    ----------
    reach_mm : float
        Distance from the tilt line in the asked direction [mm].
    tilt_rad : float
        Work angle at which it does; the one nearest to zero if there are several [rad].
    """

    reach_mm: float
    tilt_rad: float


@dataclass(frozen=True, slots=True)
class Section:
    """Outline of a load seen along the tilt line, at tilt zero and one turn of the platter.

    Attributes
    ----------
    points_mm : tuple of (float, float)
        Corners, y and z from the tilt line [mm].
    round_mm : float
        Everything within this distance of the points belongs to it too [mm].
    """

    points_mm: tuple[tuple[float, float], ...]
    round_mm: float = 0.0

    def __post_init__(self) -> None:
        if not self.points_mm:
            raise ValueError("a section needs at least one point")

    def reach(self, toward_rad: float, tilt_rad: float) -> float:
        """Return how far it reaches from the tilt line in one direction at one tilt [mm]."""
        size, angle = self._polar()
        return float(np.max(size * np.cos(angle + tilt_rad - toward_rad))) + self.round_mm

    def height(self, tilt_rad: float) -> float:
        """Return the height of its highest point over the tilt line at one tilt [mm]."""
        return self.reach(UP, tilt_rad)

    def furthest(self, toward_rad: float, low_rad: float, high_rad: float) -> Extreme:
        """Return the furthest reach in one direction over a range of tilt, exactly.

        Raises
        ------
        ValueError
            If the range is not finite or runs backwards.
        """
        _check_range(low_rad, high_rad)
        size, angle = self._polar()
        best = Extreme(-math.inf, 0.0)
        for r, a in zip(size.tolist(), angle.tolist(), strict=True):
            # r cos(a + t - toward): greatest where t = toward - a, if that tilt is in the range.
            tilts = [low_rad, high_rad, *_in_range(toward_rad - a, low_rad, high_rad)]
            if low_rad <= 0.0 <= high_rad:
                tilts.append(0.0)
            for tilt in tilts:
                reach = r * math.cos(a + tilt - toward_rad)
                closer = abs(tilt) < abs(best.tilt_rad)
                if reach > best.reach_mm + 1e-9 or (reach > best.reach_mm - 1e-9 and closer):
                    best = Extreme(max(reach, best.reach_mm), tilt)
        return Extreme(best.reach_mm + self.round_mm, best.tilt_rad)

    def highest(self, low_rad: float, high_rad: float) -> Extreme:
        """Return the highest that any point comes over a range of tilt."""
        return self.furthest(UP, low_rad, high_rad)

    def lowest_top(self, low_rad: float, high_rad: float) -> Extreme:
        """Return the tilt at which the highest point stands lowest, over a range of tilt.

        The height is the upper envelope of cosines; its least value stands at an end of the range,
        where two of them cross, or at the bottom of one.
        """
        _check_range(low_rad, high_rad)
        size, angle = self._polar()
        # r cos(a + t - 90 deg) = p cos t + q sin t with p = z and q = y of the corner.
        p, q = size * np.sin(angle), size * np.cos(angle)
        tilts = [low_rad, high_rad]
        for i in range(len(size)):
            tilts += _in_range(math.pi + UP - float(angle[i]), low_rad, high_rad)
            for j in range(i):
                across, up = float(q[i] - q[j]), float(p[i] - p[j])
                if across or up:
                    cross = math.atan2(-up, across)
                    tilts += _in_range(cross, low_rad, high_rad)
                    tilts += _in_range(cross + math.pi, low_rad, high_rad)
        tops = [(round(self.height(tilt), 9), abs(tilt), tilt) for tilt in tilts]
        _, _, tilt = min(tops)
        return Extreme(self.height(tilt), tilt)

    def equal_height(self, start_rad: float, end_rad: float) -> float | None:
        """Return the tilt on the way to `end_rad` where the height at `start_rad` comes back.

        On the way there it is higher than at the start.  ``None`` if it never is, or if it does
        not come down again before the end.
        """
        aim = self.height(start_rad) - self.round_mm
        size, angle = self._polar()
        low, high = min(start_rad, end_rad), max(start_rad, end_rad)
        crossings: set[float] = set()
        for r, a in zip(size.tolist(), angle.tolist(), strict=True):
            if r > 0.0 and abs(aim) <= r * (1.0 + 1e-15):
                half = math.acos(max(-1.0, min(1.0, aim / r)))
                for tilt in (UP - a + half, UP - a - half):
                    crossings.update(_in_range(tilt, low, high))
        way = 1.0 if end_rad >= start_rad else -1.0
        stops = sorted(crossings, key=lambda tilt: way * tilt)
        stops = [tilt for tilt in stops if way * (tilt - start_rad) > 1e-9]
        before = start_rad
        for tilt in stops:
            if abs(self.height(tilt) - self.round_mm - aim) < 1e-7:
                if self.height((before + tilt) / 2.0) - self.round_mm > aim + 1e-9:
                    return tilt
                before = tilt
        return None

    def _polar(self) -> tuple[Floats, Floats]:
        points = np.asarray(self.points_mm, dtype=np.float64)
        return np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])


@dataclass(frozen=True, slots=True)
class Solid:
    """An upright body on the unit at tilt zero: an outline in plan between two heights.

    Attributes
    ----------
    name : str
        What it is, in the shop's words.
    carrier : "base", "cradle" or "platter"
        What carries it.
    bottom_mm, top_mm : float
        Heights in the unit frame [mm].
    radius_mm : float or None
        Round about the rotary line [mm]; else `corners_mm` count.
    corners_mm : tuple of (float, float)
        Corners in plan, unit frame x and y with the platter at zero [mm].
    """

    name: str
    carrier: Literal["base", "cradle", "platter"]
    bottom_mm: float
    top_mm: float
    radius_mm: float | None = None
    corners_mm: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if self.radius_mm is None and not self.corners_mm:
            raise ValueError(f"{self.name}: give a radius or corners")

    @property
    def swing_mm(self) -> float:
        """Distance of its outermost point from the rotary line [mm]."""
        if self.radius_mm is not None:
            return self.radius_mm
        return max(math.hypot(x, y) for x, y in self.corners_mm)

    def plan(self, turn_rad: float | None) -> tuple[float, float, float, float]:
        """Return its extent in plan: least and greatest x, least and greatest y [mm].

        Parameters
        ----------
        turn_rad : float or None
            Work angle of the platter, counter-clockwise from above; ``None``: over all turns.
        """
        if self.radius_mm is not None or (turn_rad is None and self.carrier == "platter"):
            swing = self.swing_mm
            return -swing, swing, -swing, swing
        turn = turn_rad if turn_rad is not None and self.carrier == "platter" else 0.0
        cosine, sine = math.cos(turn), math.sin(turn)
        xs = [x * cosine - y * sine for x, y in self.corners_mm]
        ys = [x * sine + y * cosine for x, y in self.corners_mm]
        return min(xs), max(xs), min(ys), max(ys)

    def section(self, turn_rad: float | None, tilt_y_mm: float) -> Section:
        """Return its outline seen along the tilt line, about that line.

        Parameters
        ----------
        turn_rad : float or None
            As for `plan`.
        tilt_y_mm : float
            Unit frame y of the tilt line [mm].
        """
        _, _, front, rear = self.plan(turn_rad)
        return Section(
            tuple((y - tilt_y_mm, z) for y in (front, rear) for z in {self.bottom_mm, self.top_mm})
        )


def joined(sections: Iterable[Section]) -> Section:
    """Return one section that holds several.

    Raises
    ------
    ValueError
        If there are none, or they are rounded differently.
    """
    parts: Sequence[Section] = tuple(sections)
    if not parts or len({part.round_mm for part in parts}) != 1:
        raise ValueError("only sections of one rounding can be joined, and at least one")
    return Section(tuple(point for part in parts for point in part.points_mm), parts[0].round_mm)


def _check_range(low_rad: float, high_rad: float) -> None:
    if not (math.isfinite(low_rad) and math.isfinite(high_rad) and low_rad <= high_rad):
        raise ValueError(f"a range of tilt needs finite ends, low first: {low_rad}, {high_rad}")


def _in_range(tilt_rad: float, low_rad: float, high_rad: float) -> list[float]:
    """Return every angle in the range that is `tilt_rad` but for whole turns."""
    first = math.ceil((low_rad - ON_RANGE - tilt_rad) / TURN)
    last = math.floor((high_rad + ON_RANGE - tilt_rad) / TURN)
    return [
        min(max(tilt_rad + TURN * whole, low_rad), high_rad) for whole in range(first, last + 1)
    ]
