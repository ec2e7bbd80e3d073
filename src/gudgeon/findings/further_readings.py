"""Readings that could be taken: where the tip can get to, with what the shop has.

Each is put where the lines, as far as they are known, say the surface stands.  Left out is what
the axes, the travels or the stylus do not reach, where the approach would slide along the surface,
and what the fixture covers (unless it is taken off, which takes its minutes).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell
from gudgeon.centre.readings import Reading
from gudgeon.findings.gear import Candidate, Gear, Setting, covered_mm, platter_radius, pose_of
from gudgeon.findings.procedure import side_name
from gudgeon.findings.senses import Senses
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = ["candidates"]

Floats = NDArray[np.float64]
_LENGTH: Final = Kind.LENGTH

SQUARELY: Final = 0.5
"""Least cosine between approach and surface of a touch that is asked for."""

APART: Final = 0.8
"""Touches are asked for this far out, as a share of the platter's radius."""

DIAL_MM: Final = 0.4
"""A bore further off the rotary line than this runs off the dial of an indicator."""

MINUTES_POSE: Final = 0.5
"""Turning to another pose and setting the brakes."""

MINUTES_GEAR: Final = {"indicator": 4.0, "level": 3.0, "ball": 5.0}
"""Putting the indicator into the spindle, the level or the ball onto the platter."""

MINUTES_BARE: Final = 15.0
"""Taking the fixture off the platter and putting it back."""

QUARTERS: Final = (0.0, math.pi / 2, math.pi, 3 * math.pi / 2)


def candidates(
    cell: Cell, setting: Setting, gear: Gear, senses: Senses, units: Units
) -> tuple[Candidate, ...]:
    """Return all readings that could be taken, in a fixed order."""
    return tuple(_Yard(cell, setting, gear, senses, units).all())


class _Yard:
    """Makes the candidates of one cell."""

    def __init__(
        self, cell: Cell, setting: Setting, gear: Gear, senses: Senses, units: Units
    ) -> None:
        self.cell, self.setting, self.gear = cell, setting, gear
        self.units = units
        self.tilt_letter, self.turn_letter = senses.tilt_letter, senses.rotary_letter
        self.radius = platter_radius(cell)
        self.covered = 0.0 if gear.bare else covered_mm(cell)
        self.along = np.asarray(setting.frame.along)
        machine = cell.machine
        self.travels = [
            (-math.inf, math.inf) if item is None else (item[0].value, item[1].value)
            for item in (machine.travel_x, machine.travel_y, machine.travel_z)
        ]

    def all(self) -> Iterator[Candidate]:
        have = self.gear.have
        if "probe" in have or "edge finder" in have:
            yield from self.touches(upward="probe" in have)
        if {"probe", "edge finder", "bore gauge"} & set(have):
            yield from self.centres()
        if "probe" in have:
            yield from self.bore_tilted()
        if "indicator" in have:
            yield from self.sweeps()
        if "ball" in have:
            yield from self.ball_centres()
        if "level" in have:
            yield from self.levels()

    # Poses and places -------------------------------------------------------------------------

    def tilts(self) -> list[float]:
        """Return upright both ways and level, or as far as the tilt goes."""
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
        axis = self.setting.frame.axes[-1]
        found = []
        for turn in QUARTERS:
            for same in (turn, turn - 2.0 * math.pi):
                if axis.low_rad - 1e-9 <= same <= axis.high_rad + 1e-9:
                    found.append(same)
                    break
        return found

    def face(self, tilt: float, turn: float) -> tuple[Floats, Floats, Floats]:
        """Return middle of the face, its normal, and the direction on it square to the tilt."""
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
        return f"{round(math.degrees(angle), 1):g}"

    def at(self, place: Floats, axes: tuple[int, ...]) -> str:
        digits = 2 if self.units.inch else 1
        shown = ", ".join(
            f"{'XYZ'[k]} {self.units.shown(_LENGTH, place[k]):.{digits}f}" for k in axes
        )
        return f"{shown} {self.units.unit(_LENGTH)}"

    def pose(self, tilt: float, turn: float | None) -> str:
        words = [] if turn is None else [f"{self.turn_letter} {self.deg(turn)}"]
        if len(self.setting.frame.axes) == 2:
            words.insert(0, f"{self.tilt_letter} {self.deg(tilt)}")
        return " ".join(words)

    def bare(self, setups: tuple[tuple[str, float], ...]) -> str:
        off = any(name == "fixture off" for name, _ in setups)
        return "Take the fixture off the platter. " if off else ""

    # What can be read -------------------------------------------------------------------------

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

    def touches(self, upward: bool) -> Iterator[Candidate]:
        """Touch the platter face."""
        gear = self.gear
        for tilt in self.tilts():
            for turn in self.turns():
                _, normal, _ = self.face(tilt, turn)
                for toward in self.approaches(normal, upward):
                    for surface in self.spots(tilt, turn):
                        tip = surface + normal * gear.radius_mm
                        if not self.within(tip):
                            continue
                        k = int(np.argmax(np.abs(toward)))
                        others = tuple(j for j in range(3) if j != k)
                        spot, pose = self.at(tip, others), self.pose(tilt, turn)
                        setups = self.setups(tilt, turn, surface)
                        one = self.reading(
                            "face",
                            toward,
                            (tilt, turn),
                            tip,
                            gear.touch_u_mm,
                            gear.radius_mm,
                            gear.step_mm,
                        )
                        yield Candidate(
                            "touch",
                            f"platter face at {pose}, {spot}",
                            f"{self.bare(setups)}Turn to {pose} and touch the platter face moving "
                            f"{side_name(toward)} at {spot}.",
                            (one,),
                            gear.minutes_of("touch", 1),
                            setups,
                        )

    def round_ones(self) -> list[str]:
        return [name for name in ("bore", "pin") if name in self.setting.features] or ["bore"]

    def axis_point(self, name: str, tilt: float, turn: float, height: float) -> Floats:
        """Return a point on the axis of a bore or pin, so far over the platter face."""
        setting = self.setting
        local = setting.origin_mm + setting.platter[:, 2] * height
        local = local + setting.offsets.get(name, 0.0)
        return setting.chain.points(pose_of(setting, tilt, turn), local)

    def height_words(self, height: float) -> str:
        if height == 0.0:
            return "at the platter face"
        side = "above" if height > 0.0 else "below"
        return f"{self.units.text(_LENGTH, abs(height), 1)} {side} the platter face"

    def centres(self) -> Iterator[Candidate]:
        """Measure the centre of the bore or pin, level."""
        if 0.0 not in self.tilts():
            return
        gear = self.gear
        for name in self.round_ones():
            for turn in self.turns():
                for height in (0.0, 20.0 if name == "pin" else -20.0):
                    place = self.axis_point(name, 0.0, turn, height)
                    if not self.within(place):
                        continue
                    where, pose = self.height_words(height), self.pose(0.0, turn)
                    setups = self.setups(0.0, turn, place)
                    one = self.reading(
                        name, None, (0.0, turn), place, gear.touch_u_mm, 0.0, gear.step_mm
                    )
                    yield Candidate(
                        "bore",
                        f"centre of the {name} at {pose}, {where}",
                        f"{self.bare(setups)}Turn to {pose} and measure the centre of the {name} "
                        f"{where}.",
                        (one,),
                        gear.minutes_of("bore", 1),
                        setups,
                    )

    def bore_tilted(self) -> Iterator[Candidate]:
        """Touch the bore above and below with the platter upright."""
        gear, name = self.gear, self.round_ones()[0]
        if name != "bore":
            return
        reach = self.setting.sizes.get(name, 15.0) - gear.radius_mm
        for tilt in self.tilts():
            place = self.axis_point(name, tilt, self.turns()[0], -5.0)
            normal = self.face(tilt, self.turns()[0])[1]
            if abs(normal[2]) > 0.1 or reach <= 0.0 or self.radius > gear.reach_mm:
                continue
            turn = self.turns()[0]
            both = []
            for sign in (1.0, -1.0):
                tip = place + np.array([0.0, 0.0, sign * reach])
                toward = np.array([0.0, 0.0, sign])
                both.append(
                    self.reading(
                        name,
                        toward,
                        (tilt, turn),
                        tip,
                        gear.touch_u_mm,
                        gear.radius_mm,
                        gear.step_mm,
                    )
                )
            if not self.within(place):
                continue
            pose, setups = self.pose(tilt, turn), self.setups(tilt, turn, place)
            yield Candidate(
                "touch",
                f"bore above and below at {pose}",
                f"{self.bare(setups)}Turn to {pose} and touch the bore on its middle moving Z+ and "
                "Z-.",
                tuple(both),
                2.0 * gear.minutes_of("touch", 1),
                setups,
            )

    def sweeps(self) -> Iterator[Candidate]:
        """Read an indicator while the platter turns, or along a line over the platter face."""
        u, turns = self.gear.indicator_u_mm, self.turns()
        minutes = self.gear.minutes_of

        def made(
            what: str, how: str, rows: list[Reading], tilt: float, turn: float | None, place: Floats
        ) -> Candidate:
            setups = self.setups(tilt, turn, place, "indicator")
            return Candidate(
                "sweep",
                what,
                self.bare(setups) + how,
                tuple(rows),
                minutes("sweep", len(rows)),
                setups,
                True,
            )

        letters = f"{self.turn_letter} {', '.join(self.deg(t) for t in turns)}"
        if 0.0 in self.tilts() and len(turns) > 1:
            down = np.array([0.0, 0.0, -1.0])
            for spot in self.spots(0.0, turns[0])[:4:2]:
                if not self.within(spot):
                    continue
                rows = [self.reading("face", down, (0.0, t), spot, u) for t in turns]
                where = self.at(spot, (0, 1))
                yield made(
                    f"indicator on the platter face at {where}, {letters}",
                    f"At {self.tilt_letter} 0 set the indicator on the platter face at {where}, "
                    f"moving Z-; note the dial at {letters} without moving X, Y or Z.",
                    rows,
                    0.0,
                    None,
                    spot,
                )
            for name in self.round_ones():
                size = self.setting.sizes.get(name, 15.0)
                if float(np.linalg.norm(self.setting.offsets.get(name, np.zeros(3)))) > DIAL_MM:
                    continue
                for height in (-2.0, -25.0) if name == "bore" else (5.0, 25.0):
                    place = self.axis_point(name, 0.0, turns[0], height)
                    inside = 1.0 if name == "bore" else -1.0
                    spot = place + size * inside * self.along
                    if not self.within(spot):
                        continue
                    way = inside * _unit_axis(self.along)
                    rows = [self.reading(name, way, (0.0, t), spot, u) for t in turns]
                    where = self.height_words(height)
                    yield made(
                        f"indicator on the {name}, {where}, {letters}",
                        f"At {self.tilt_letter} 0 set the indicator on the wall of the {name} "
                        f"{where}, moving {side_name(way)}; note the dial at {letters} without "
                        "moving X, Y or Z.",
                        rows,
                        0.0,
                        None,
                        spot,
                    )
        for tilt in self.tilts():
            for turn in turns:
                normal = self.face(tilt, turn)[1]
                ways = self.approaches(normal, upward=True)
                spots = [s for s in self.spots(tilt, turn) if self.within(s)]
                middle = self.face(tilt, turn)[0]
                for k in (0, 1):
                    line = [s for s in spots if _lies_along(s - middle, self.along) == (k == 0)]
                    if len(line) < 2 or not ways:
                        continue
                    rows = [self.reading("face", ways[0], (tilt, turn), s, u) for s in line[:2]]
                    ends = " and at ".join(self.at(s, (0, 1, 2)) for s in line[:2])
                    pose = self.pose(tilt, turn)
                    yield made(
                        f"indicator along the platter face at {pose}, {ends}",
                        f"Turn to {pose} and run the indicator over the platter face, moving "
                        f"{side_name(ways[0])}; note the dial at {ends}.",
                        rows,
                        tilt,
                        turn,
                        line[0],
                    )

    def ball_centres(self) -> Iterator[Candidate]:
        """Measure the centre of a ball fixed on the platter."""
        gear, setting = self.gear, self.setting
        new = setting.new_ball
        for name, rest in setting.balls.items():
            for tilt in self.tilts():
                for turn in self.turns():
                    place = setting.chain.points(pose_of(setting, tilt, turn), rest)
                    if not self.within(place):
                        continue
                    pose = self.pose(tilt, turn)
                    setups = self.setups(tilt, turn, None, "ball")
                    step = gear.step_mm
                    yield Candidate(
                        "ball",
                        f"centre of the {name if not new else 'ball'} at {pose}",
                        ("With a ball fixed on the platter turn" if new else "Turn")
                        + f" to {pose} and measure its centre, near {self.at(place, (0, 1, 2))}.",
                        (
                            self.reading(
                                name, None, (tilt, turn), place, gear.touch_u_mm, 0.0, step
                            ),
                        ),
                        gear.minutes_of("ball", 1),
                        setups,
                    )

    def levels(self) -> Iterator[Candidate]:
        """Read a level on the platter in each quarter turn."""
        turns = self.turns()
        if 0.0 not in self.tilts() or len(turns) < 2:
            return
        letters = f"{self.turn_letter} {', '.join(self.deg(t) for t in turns)}"
        nowhere = np.full(3, np.nan)
        for k in (0, 1):
            toward = np.eye(3)[k]
            rows = [
                replace(
                    self.reading("level", toward, (0.0, t), nowhere, self.gear.level_u_rad),
                    angle_rad=0.0,
                )
                for t in turns
            ]
            yield Candidate(
                "level",
                f"level along {'XY'[k]} on the platter, {letters}",
                f"At {self.tilt_letter} 0 lay the level along machine {'XY'[k]} on the platter and "
                f"note it at {letters}; lift it for each turn and lay it down the same way round.",
                tuple(rows),
                self.gear.minutes_of("level", len(rows)),
                self.setups(0.0, None, self.face(0.0, turns[0])[0], "level"),
                True,
            )


def _unit_axis(direction: Floats) -> Floats:
    """Return the positive machine axis nearest to a direction, with its sign."""
    k = int(np.argmax(np.abs(direction)))
    out = np.zeros(3)
    out[k] = np.sign(direction[k])
    return out


def _lies_along(off: Floats, along: Floats) -> bool:
    return abs(float(off @ along)) > 0.7 * float(np.linalg.norm(off))
