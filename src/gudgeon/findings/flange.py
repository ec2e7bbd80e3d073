"""Whether the fixture's foot and the platter go together: holes, play, pilot, drilling again."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from gudgeon.cell.model import Flange
from gudgeon.findings.base import FindingsBase
from gudgeon.placing.flange import (
    Clocking,
    Redrill,
    best_clockings,
    bolts_at,
    pair_half_angle,
    redrill_all,
    redrill_missing,
)
from gudgeon.placing.pilot import PilotFit, pilot_fit
from gudgeon.strength.bolts import thread_called

__all__ = ["FlangeFindings", "FlangeMatch"]


@dataclass(frozen=True, slots=True)
class FlangeMatch:
    """Which bolts join fixture and platter.

    Attributes
    ----------
    bolts_matching : int
        The most bolts that go in at once, over all clockings.
    bolts_here : int
        Bolts that go in at the declared ``fixture.clocking``; the same as `bolts_matching` where
        none is declared.  What the strength of the joint rests on.
    platter_holes, fixture_holes : tuple of float
        Angles of the holes [rad].
    pitch_circle_mm, fixture_circle_mm : float
        Pitch circle diameters of platter and fixture [mm].
    bolt_mm, hole_mm : float
        Bolt and clearance hole diameter [mm].
    play_mm, play_rad : float
        How far two hole centres may be apart, and the same as an angle at the pitch circle;
        negative if the bolt does not enter its hole.
    repeat_rad : float
        The fixture's own repeat; clockings are counted modulo this [rad].
    clockings : tuple of Clocking
        Where `bolts_matching` bolts go in.
    here : Clocking or None
        At the declared clocking.
    redrill : Redrill or None
        Adding the missing holes at a matching clocking (the one that leaves most material); `None`
        if no hole is missing or no bolt goes in anyway.
    redrill_fresh : Redrill or None
        A whole new set of holes at the clocking that leaves most material.
    min_web_mm : float or None
        Least material wanted between two holes [mm].
    pilot : PilotFit or None
        ``None`` where a side has no pilot.
    pilots : tuple of 2 bools
        Whether platter and fixture have one.
    assumed : tuple of str
        What was taken for granted.
    """

    bolts_matching: int
    bolts_here: int
    platter_holes: tuple[float, ...]
    fixture_holes: tuple[float, ...]
    pitch_circle_mm: float
    fixture_circle_mm: float
    bolt_mm: float
    hole_mm: float
    play_mm: float
    play_rad: float
    repeat_rad: float
    clockings: tuple[Clocking, ...]
    here: Clocking | None
    redrill: Redrill | None
    redrill_fresh: Redrill | None
    min_web_mm: float | None
    pilot: PilotFit | None
    pilots: tuple[bool, bool]
    assumed: tuple[str, ...]

    @property
    def bolts_possible(self) -> int:
        """Bolts of a flange that matches in every hole."""
        return min(len(self.platter_holes), len(self.fixture_holes))

    @property
    def redrill_possible(self) -> bool | None:
        """Whether adding the missing holes leaves the wanted material; `None` if nothing to add."""
        if self.redrill is None:
            return None
        return self.redrill.web_mm >= (self.min_web_mm or 0.0) and self.redrill.web_mm > 0.0

    @property
    def fresh_possible(self) -> bool | None:
        """Whether a whole new set of holes leaves the wanted material."""
        if self.redrill_fresh is None:
            return None
        return self.redrill_fresh.web_mm >= (self.min_web_mm or 0.0) and (
            self.redrill_fresh.web_mm > 0.0
        )


class FlangeFindings(FindingsBase):
    """Facts about the joint between fixture and platter."""

    @property
    def flange_described(self) -> bool:
        """Whether the cell file says anything about the holes or pilots of the two flanges."""
        empty = Flange()
        return self.cell.unit.flange != empty or self.cell.fixture.flange != empty

    @cached_property
    def flange_match(self) -> FlangeMatch:
        """Holes, play and pilot of fixture against platter; raises `Lacking`."""
        platter, fixture = self.cell.unit.flange, self.cell.fixture.flange
        bolts = self.cell.fixture.bolts
        gather = self.gather()
        why = "without it nobody can say which bolts go in"
        gather.need(
            platter.holes,
            "unit.flange.holes",
            "angles of the platter's holes",
            why=why,
            how="read the angles of the platter's holes from its data sheet, or measure the "
            "distances between neighbouring holes",
        )
        gather.need(
            fixture.holes,
            "fixture.flange.holes",
            "angles of the holes in the fixture's foot",
            why=why,
            how="take the angles of the holes in the fixture's foot from its drawing, or lay it "
            "on the platter and mark them",
        )
        platter_circle = gather.need(
            platter.pitch_circle,
            "unit.flange.pitch_circle",
            "pitch circle of the platter's holes",
            why=why,
            how="measure two opposite holes of the platter over pins, or read the data sheet",
        )
        fixture_circle = gather.need(
            fixture.pitch_circle,
            "fixture.flange.pitch_circle",
            "pitch circle of the fixture's holes",
            why=why,
            how="measure two opposite holes of the fixture's foot over pins",
        )
        named = thread_called(bolts.size) if bolts.size else None
        bolt = named.diameter_mm if named else None
        if bolts.diameter is not None:
            bolt = bolts.diameter.value
        gather.need(
            bolt,
            "fixture.bolts.diameter",
            "diameter of the bolts between fixture and platter",
            why="the play of a bolt in its hole decides which holes match",
            how="measure the bolt with a calliper, or enter fixture.bolts.size",
        )
        clearance_holes = [
            side.hole_diameter.value for side in (fixture, platter) if side.hole_diameter
        ]
        gather.need(
            clearance_holes or None,
            "fixture.flange.hole_diameter",
            "diameter of the clearance holes",
            why="the play of a bolt in its hole decides which holes match",
            how="measure the clearance holes of the fixture's foot with a calliper",
        )
        gather.stop()
        assert bolt is not None

        platter_holes = tuple(item.value for item in platter.holes)
        fixture_holes = tuple(item.value for item in fixture.holes)
        radii = (platter_circle.value / 2.0, fixture_circle.value / 2.0)
        slack = [(hole - bolt) / 2.0 for hole in clearance_holes]
        play = -1.0 if min(slack) < 0.0 else sum(slack)
        half = pair_half_angle(*radii, play)
        match = best_clockings(platter_holes, fixture_holes, half)
        hole_mm = clearance_holes[0]

        here, bolts_here = None, match.bolts
        if self.cell.fixture.clocking is not None:
            turn = self.cell.fixture.clocking.value
            pairs = bolts_at(platter_holes, fixture_holes, half, turn)
            here, bolts_here = Clocking(turn, turn, pairs), len(pairs)

        redrill = fresh = None
        if match.bolts < min(len(platter_holes), len(fixture_holes)):
            added = [
                redrill_missing(platter_holes, fixture_holes, clocking, radii, hole_mm)
                for clocking in match.clockings
            ]
            redrill = max(added, key=lambda item: round(item.web_mm, 6), default=None)
            fresh = redrill_all(platter_holes, fixture_holes, radii, hole_mm)
        web = self.cell.fixture.min_web
        return FlangeMatch(
            bolts_matching=match.bolts,
            bolts_here=bolts_here,
            platter_holes=platter_holes,
            fixture_holes=fixture_holes,
            pitch_circle_mm=platter_circle.value,
            fixture_circle_mm=fixture_circle.value,
            bolt_mm=bolt,
            hole_mm=hole_mm,
            play_mm=play if play >= 0.0 else min(slack),
            play_rad=half,
            repeat_rad=match.repeat_rad,
            clockings=match.clockings,
            here=here,
            redrill=redrill,
            redrill_fresh=fresh,
            min_web_mm=None if web is None else web.value,
            pilot=_pilot(platter, fixture),
            pilots=(platter.pilot_diameter is not None, fixture.pilot_diameter is not None),
            assumed=_assumed(platter, fixture),
        )


def _pilot(platter: Flange, fixture: Flange) -> PilotFit | None:
    sides: list[tuple[str, float, float | None]] = []
    for side, usual in ((platter, "bore"), (fixture, "boss")):
        if side.pilot_diameter is None:
            return None
        depth = None if side.pilot_depth is None else side.pilot_depth.value
        sides.append((side.pilot_kind or usual, side.pilot_diameter.value, depth))
    return pilot_fit(sides[0], sides[1])


def _assumed(platter: Flange, fixture: Flange) -> tuple[str, ...]:
    told = ["Both pitch circles share one centre: the pilot, or careful setting, centres them."]
    if platter.hole_diameter is None:
        told.append("The platter's holes are threads or fit the bolt without play.")
    elif fixture.hole_diameter is None:
        told.append("The fixture's holes are threads or fit the bolt without play.")
    for side, where, usual in (
        (platter, "platter", "bore"),
        (fixture, "fixture", "boss"),
    ):
        if side.pilot_diameter is not None and side.pilot_kind is None:
            told.append(f"The pilot of the {where} is a {usual}.")
    return tuple(told)
