"""Readings that could be taken: where the tip can get to, with what the shop has.

Each is put where the lines, as far as they are known, say the surface stands.  Left out is what
the axes, the travels or the stylus do not reach, where the approach would slide along the surface,
and what the fixture covers (unless it is taken off, which takes its minutes).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell
from gudgeon.centre.readings import Reading
from gudgeon.findings.gear import Candidate, Gear, Setting, pose_of
from gudgeon.findings.procedure import side_name
from gudgeon.findings.senses import Senses
from gudgeon.findings.yard import Yard
from gudgeon.quantity.show import Units

__all__ = ["candidates"]

Floats = NDArray[np.float64]

PIN_HEIGHTS_MM: Final = (10.0, 40.0)
"""Over the platter face, where a pin in it is touched."""

DIAL_MM: Final = 0.4
"""A bore further off the rotary line than this runs off the dial of an indicator."""


def candidates(
    cell: Cell, setting: Setting, gear: Gear, senses: Senses, units: Units
) -> tuple[Candidate, ...]:
    """Return all readings that could be taken, in a fixed order."""
    return tuple(_Yard(cell, setting, gear, senses, units).all())


class _Yard(Yard):
    """Makes the candidates of one cell."""

    def all(self) -> Iterator[Candidate]:
        have = self.gear.have
        if "probe" in have or "edge finder" in have:
            yield from self.touches(upward="probe" in have)
        if not self.two:
            if "probe" in have or "edge finder" in have:
                yield from self.pin_sides(upward="probe" in have)
        elif {"probe", "edge finder", "bore gauge"} & set(have):
            yield from self.centres()
        if "probe" in have and self.two:
            yield from self.bore_tilted()
        if "indicator" in have:
            yield from self.sweeps()
        if "ball" in have:
            yield from self.ball_centres()
        if "level" in have and self.two:
            yield from self.levels()

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

    def pin_sides(self, upward: bool) -> Iterator[Candidate]:
        """Touch a pin in a platter that stands upright: from both sides, and from above."""
        gear = self.gear
        reach = self.setting.sizes.get("pin", 15.0) + gear.radius_mm
        kept = "pin" in self.setting.features
        across = _unit_axis(self.along)
        both, top = (across, -across), (np.array([0.0, 0.0, -1.0]),)
        for turn in self.turns():
            for height in PIN_HEIGHTS_MM:
                middle = self.axis_point("pin", 0.0, turn, height)
                for ways in (both, top) if upward else (both,):
                    tips = [middle - way * reach for way in ways]
                    if not all(self.within(tip) for tip in tips):
                        continue
                    pose, where = self.pose(0.0, turn), self.height_words(height)
                    setups = self.setups(0.0, turn, middle, "" if kept else "pin")
                    rows = [
                        self.reading(
                            "pin",
                            way,
                            (0.0, turn),
                            tip,
                            gear.touch_u_mm,
                            gear.radius_mm,
                            gear.step_mm,
                        )
                        for way, tip in zip(ways, tips, strict=True)
                    ]
                    named = " and ".join(side_name(way) for way in ways)
                    yield Candidate(
                        "touch",
                        f"pin at {pose}, {where}, moving {named}",
                        self.bare(setups)
                        + (
                            "Turn"
                            if kept
                            else "With a ground pin in the middle of the platter turn"
                        )
                        + f" to {pose} and touch the pin {where} on its middle, moving {named}.",
                        tuple(rows),
                        len(rows) * gear.minutes_of("touch", 1),
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
        lead = f"At {self.tilt_letter} 0 set" if self.two else "Set"
        if 0.0 in self.tilts() and len(turns) > 1:
            into = self.approaches(self.face(0.0, turns[0])[1], upward=True)[0]
            axes = tuple(k for k in range(3) if into[k] == 0.0)
            for spot in self.spots(0.0, turns[0])[:4:2]:
                if not self.within(spot):
                    continue
                rows = [self.reading("face", into, (0.0, t), spot, u) for t in turns]
                where = self.at(spot, axes)
                yield made(
                    f"indicator on the platter face at {where}, {letters}",
                    f"{lead} the indicator on the platter face at {where}, "
                    f"moving {side_name(into)}; note the dial at {letters} without moving X, Y "
                    "or Z.",
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
                        f"{lead} the indicator on the wall of the {name} "
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
