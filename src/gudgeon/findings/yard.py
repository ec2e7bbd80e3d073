"""Where the tip can get to, what must be set up for it, and how it is told."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell
from gudgeon.centre.readings import Reading
from gudgeon.findings.gear import Gear, Setting, covered_mm, on_face, platter_radius, pose_of
from gudgeon.findings.senses import Senses
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = ["Yard"]

Floats = NDArray[np.float64]
_LENGTH: Final = Kind.LENGTH

SQUARELY: Final = 0.5
"""Least cosine between approach and surface of a touch that is asked for."""

APART: Final = 0.8
"""Touches are asked for this far out, as a share of the platter's radius."""

MINUTES_POSE: Final = 0.5
"""Turning to another pose and setting the brakes."""

MINUTES_GEAR: Final = {"indicator": 4.0, "level": 3.0, "ball": 5.0, "pin": 3.0}
"""Putting the indicator into the spindle; the level, the ball or a pin onto the platter."""

MINUTES_BARE: Final = 15.0
"""Taking the fixture off the platter and putting it back."""

QUARTERS: Final = (0.0, math.pi / 2, math.pi, 3 * math.pi / 2)


class Yard:
    """Poses and places of one cell."""

    def __init__(
        self, cell: Cell, setting: Setting, gear: Gear, senses: Senses, units: Units
    ) -> None:
        self.cell, self.setting, self.gear = cell, setting, gear
        self.units = units
        self.tilt_letter, self.turn_letter = senses.tilt_letter, senses.rotary_letter
        self.radius = platter_radius(cell)
        self.covered = 0.0 if gear.bare else covered_mm(cell)
        self.two = len(setting.frame.axes) == 2
        self.along = on_face(setting.frame)
        machine = cell.machine
        self.travels = [
            (-math.inf, math.inf) if item is None else (item[0].value, item[1].value)
            for item in (machine.travel_x, machine.travel_y, machine.travel_z)
        ]

    # Poses and places -------------------------------------------------------------------------

    def tilts(self) -> list[float]:
        """Return upright both ways and level, or as far as the tilt goes; 0 without a tilt."""
        if not self.two:
            return [0.0]
        low, high = self.setting.frame.axes[0].low_rad, self.setting.frame.axes[0].high_rad
        slack = math.radians(0.01)
        found = []
        for want in (math.pi / 2, -math.pi / 2):
            end = min(max(want, low), high)
            if abs(end) > math.radians(5.0):
                found.append(want if abs(end - want) <= slack else end)
        if low - slack <= 0.0 <= high + slack:
            found.append(0.0)
        both = any(t > 0.0 for t in found) and any(t < 0.0 for t in found)
        if not both and found and max(abs(t) for t in found) > 1.0:
            found.append(0.5 * max(found, key=abs))
        return list(dict.fromkeys(found))

    def turns(self) -> list[float]:
        """Return quarter turns, each as the axis reaches it."""
        axis = self.setting.frame.axes[-1]
        found = []
        for turn in QUARTERS:
            for same in (turn, turn - 2.0 * math.pi):
                if axis.low_rad - 1e-9 <= same <= axis.high_rad + 1e-9:
                    found.append(same)
                    break
        return found

    def face(self, tilt: float, turn: float) -> tuple[Floats, Floats, Floats]:
        """Return middle of the face, its normal, and the direction on it square to `along`."""
        pose = pose_of(self.setting, tilt, turn)
        middle = self.setting.chain.points(pose, self.setting.origin_mm)
        normal = self.setting.chain.directions(pose, self.setting.platter[:, 2])
        across = np.cross(normal, self.along)
        return middle, normal, across * (1.0 if across[2] >= -1e-9 else -1.0)

    def spots(self, tilt: float, turn: float) -> list[Floats]:
        """Return places on the face that the stylus reaches, the same at any turn."""
        middle, _, across = self.face(tilt, turn)
        out = APART * self.radius
        rings = [out]
        if self.covered and self.radius - self.covered > 2.0 * self.gear.radius_mm + 4.0:
            rings.append(0.5 * (self.radius + self.covered))
        found = []
        rise = float(across[2])
        for ring in rings:
            for a, b in ((ring, 0.0), (-ring, 0.0), (0.0, ring), (0.0, -ring)):
                rim = math.sqrt(max(self.radius**2 - a**2, 0.0))
                if rise > 0.1 and (rim - b) * rise > self.gear.reach_mm:
                    b = rim - self.gear.reach_mm / rise  # as deep as the stylus goes
                    if b > out - 0.2 * self.radius:
                        continue
                found.append(middle + a * self.along + b * across)
        return found

    def within(self, place: Floats, height: float = 0.0) -> bool:
        """Whether the tip gets to a place: X and Y travel, and Z with the tool's length."""
        for k in range(2):
            low, high = self.travels[k]
            if not low - 1e-9 <= place[k] <= high + 1e-9:
                return False
        return bool(place[2] + height <= self.travels[2][1] + 1e-9)

    def setups(
        self, tilt: float, turn: float | None, place: Floats | None = None, gear: str = ""
    ) -> tuple[tuple[str, float], ...]:
        """Return what must be done before: turning, gear, the fixture off `place`."""
        found = [] if turn is None else [(f"pose {tilt:.4f} {turn:.4f}", MINUTES_POSE)]
        if turn is None:
            found.append((f"tilt {tilt:.4f}", MINUTES_POSE))
        if gear:
            found.append((gear, MINUTES_GEAR[gear]))
        if place is not None and self.covered:
            middle = self.face(tilt, turn or 0.0)[0]
            if float(np.linalg.norm(place - middle)) < self.covered + self.gear.radius_mm:
                found.append(("fixture off", MINUTES_BARE))
        return tuple(found)

    # Words ------------------------------------------------------------------------------------

    def deg(self, angle: float) -> str:
        """Return an angle as it is typed."""
        return f"{round(math.degrees(angle), 1):g}"

    def at(self, place: Floats, axes: tuple[int, ...]) -> str:
        """Return the coordinates of a place that count."""
        digits = 2 if self.units.inch else 1
        shown = ", ".join(
            f"{'XYZ'[k]} {self.units.shown(_LENGTH, place[k]):.{digits}f}" for k in axes
        )
        return f"{shown} {self.units.unit(_LENGTH)}"

    def pose(self, tilt: float, turn: float | None) -> str:
        """Return a pose in the letters of the control."""
        words = [] if turn is None else [f"{self.turn_letter} {self.deg(turn)}"]
        if self.two:
            words.insert(0, f"{self.tilt_letter} {self.deg(tilt)}")
        return " ".join(words)

    def bare(self, setups: tuple[tuple[str, float], ...]) -> str:
        """Return the order to take the fixture off, where that must be."""
        off = any(name == "fixture off" for name, _ in setups)
        return "Take the fixture off the platter. " if off else ""

    # Readings as they are expected --------------------------------------------------------------

    def reading(
        self,
        feature: str,
        toward: Floats | None,
        pose: tuple[float, float],
        place: Floats,
        u: float,
        radius: float = 0.0,
        step: float = 0.0,
    ) -> Reading:
        """Return a reading with its numbers as plain floats."""
        x, y, z = (float(c) for c in place)
        way = None if toward is None else (float(toward[0]), float(toward[1]), float(toward[2]))
        return Reading(0, feature, way, pose[0], pose[1], (x, y, z), radius, u, step=step)

    def approaches(self, normal: Floats, upward: bool) -> list[Floats]:
        """Return the ways along a machine axis that meet a face squarely."""
        found = []
        for k in np.argsort(-np.abs(normal), kind="stable")[: 2 if abs(normal[2]) > 0.1 else 1]:
            if abs(normal[k]) < SQUARELY or (k == 2 and (normal[2] < 0.0 or not upward)):
                continue
            toward = np.zeros(3)
            toward[k] = -np.sign(normal[k])
            found.append(toward)
        return found

    def round_ones(self) -> list[str]:
        """Return the bore and the pin that were read, else the bore.

        Of a platter that stands upright always a pin: no stylus gets into its bore.
        """
        if not self.two:
            return ["pin"]
        return [name for name in ("bore", "pin") if name in self.setting.features] or ["bore"]

    def axis_point(self, name: str, tilt: float, turn: float, height: float) -> Floats:
        """Return a point on the axis of a bore or pin, so far over the platter face."""
        setting = self.setting
        local = setting.origin_mm + setting.platter[:, 2] * height
        local = local + setting.offsets.get(name, 0.0)
        return setting.chain.points(pose_of(setting, tilt, turn), local)

    def height_words(self, height: float) -> str:
        """Return a height over the platter face in words."""
        if height == 0.0:
            return "at the platter face"
        side = "above" if height > 0.0 else "below"
        return f"{self.units.text(_LENGTH, abs(height), 1)} {side} the platter face"
