"""Places on the table judged by proofs: which stations are reached, and what costs the others."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.gather import Lacking
from gudgeon.findings.place import Place
from gudgeon.findings.place_ways import Fitted, WayFindings
from gudgeon.findings.shape import UnitZero
from gudgeon.placing.conditions import ROUNDING
from gudgeon.placing.slots import quarter_of
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap
    from gudgeon.clearance.scene import Body, Scene
    from gudgeon.findings.place_site import Site

__all__ = ["Change", "Lost", "ProvenFinding", "ProvenPlace", "ProvenPlaceFindings"]

Floats = NDArray[np.float64]

_LENGTH: Final = Kind.LENGTH

OFFSETS: Final = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Shares of the room along the slots at which the unit is tried besides its own place there."""

_EXCUSED: Final = (
    (
        "These zeros lie inside the outline of the load: the flutes are not judged against it",
        ("flutes",),
    ),
    (
        "These zeros lie so deep inside the outline of the load that the holder comes into it: "
        "tools are not judged against it there; enter [[fixture.windows]] or [[solids]]",
        ("tool", "both"),
    ),
    (
        "Tools come into the outline of the unit's body, of whose inside nothing is entered: not "
        "judged there; enter its parts under [[unit.boxes]]",
        ("body", "both"),
    ),
)
"""What is told of tools that come into outlines, and for which of `Down.excused`."""

MOST_PLACES: Final = 400


@dataclass(frozen=True, slots=True)
class Lost:
    """A station that is not reached.

    Attributes
    ----------
    station, face : str
    reason : str
        "travel", "turning", "table", "guard", "tool".
    between : tuple of str
        The bodies that come too near; empty for travel.
    tilt_rad : float or None
        Tilt at which they do.
    """

    station: str
    face: str
    reason: str
    between: tuple[str, ...]
    tilt_rad: float | None


@dataclass(frozen=True, slots=True)
class ProvenPlace:
    """One place of the unit.

    Attributes
    ----------
    yaw_rad, x_mm, y_mm : float
    offset_mm : float or None
        As in `gudgeon.findings.place.Place`.
    works : bool
        Whether the plain conditions of place are kept (slots, travel, hoses, table edge ...).
    lost : tuple of Lost
        The first reason for each station.
    of : int
        Stations in all.
    """

    yaw_rad: float
    x_mm: float
    y_mm: float
    offset_mm: float | None
    works: bool
    lost: tuple[Lost, ...]
    of: int

    @property
    def reached(self) -> int:
        """Stations all of whose faces are reached."""
        return self.of - len(self.lost)

    @property
    def causes(self) -> tuple[tuple[str, int], ...]:
        """What costs how many stations, the worst first."""
        named = (" and ".join(one.between) or one.reason for one in self.lost)
        return tuple(Counter(named).most_common())


@dataclass(frozen=True, slots=True)
class Change:
    """A change that wins stations back.

    Attributes
    ----------
    kind : str
        "part", "place", "riser", "tool".
    words : str
        What to do, as an order.
    reached, of : int
        Stations reached then.
    name : str
        What is fitted, or the thickness.
    """

    kind: str
    words: str
    reached: int
    of: int
    name: str


@dataclass(frozen=True, slots=True)
class ProvenFinding:
    """The place that is judged, by proofs.

    Attributes
    ----------
    place : ProvenPlace
    fitted : tuple of Fitted
    changes : tuple of Change
        What wins stations back, the cheapest of those that win most first.
    without : tuple of str
        Parts without which nothing is lost.
    assumed, left_out : tuple of str
    missing : tuple of Missing
    tools : tuple of int
        Tools that were judged.
    inside : int
        Stations whose tools come into an outline, inside which they are not judged.
    """

    place: ProvenPlace
    fitted: tuple[Fitted, ...]
    changes: tuple[Change, ...]
    without: tuple[str, ...]
    assumed: tuple[str, ...]
    left_out: tuple[str, ...]
    missing: tuple[Missing, ...]
    tools: tuple[int, ...]
    inside: int


class ProvenPlaceFindings(WayFindings):
    """Facts about places by proofs."""

    @cached_property
    def proven_here(self) -> ProvenPlace | None:
        """The place that is judged, by proofs; ``None`` without a place or without stations.

        Raises
        ------
        Lacking
            What the scene or the zeros lack.
        """
        chosen = self.chosen_place
        if chosen is None or not self.zeros_on_unit:
            return None
        return self._proven(chosen, (chosen.x_mm, chosen.y_mm))

    @cached_property
    def proven(self) -> ProvenFinding | None:
        """The place that is judged, what costs stations there, and what wins them back."""
        here = self.proven_here
        if here is None:
            return None
        fitted = self.fitted
        changes = self._changes(here, fitted) if here.lost else ()
        without = tuple(
            one.box
            for one in fitted
            if one.name == f"without {one.box}" and not one.lost and fitted[0].lost
        )
        found = self._standing.scene
        told = [*self.asked_told, *found.assumed, *self._tools_told]
        for words, kinds in _EXCUSED:
            where = _places_of(self._excused, kinds)
            if where:
                told.append(f"{words} ({where}).")
        return ProvenFinding(
            place=here,
            fitted=fitted,
            changes=changes,
            without=without,
            assumed=tuple(dict.fromkeys(told)),
            left_out=found.left_out,
            missing=found.missing,
            tools=tuple(self._tools),
            inside=len(
                {
                    zero.station
                    for zero, site, kind in self._excused
                    if site.turn_rad == 0.0 and kind != "flutes"
                }
            ),
        )

    @cached_property
    def proven_places(self) -> tuple[ProvenPlace, ...]:
        """Every seat on the slots at several offsets along them, ranked; raises `Lacking`.

        Working places first; then by stations reached; then by how near the middle of the room
        along the slots they stand.
        """
        if not self.zeros_on_unit:
            return ()
        found: list[tuple[ProvenPlace, float]] = []
        for place in self.places.places:
            for at, beside in self._offsets(place):
                if len(found) < MOST_PLACES:
                    found.append((self._proven(place, at), beside))
        found.sort(key=lambda item: (not item[0].works, -item[0].reached, item[1], item[0].yaw_rad))
        return tuple(place for place, _ in found)

    @property
    def scene_of_unit(self) -> Scene:
        """The unit alone where it stands, for pictures."""
        return self._standing.own_scene

    def _offsets(self, place: Place) -> Iterator[tuple[tuple[float, float], float]]:
        """Yield where a seat may stand along the slots, and how far from its own place there."""
        own = (place.x_mm, place.y_mm)
        yield own, 0.0
        slide = 0 if self.cell.machine.slots_along != "Y" else 1
        for low, high in place.room:
            if not (math.isfinite(low) and math.isfinite(high)):
                continue
            for share in OFFSETS:
                at = low + share * (high - low)
                if abs(at - own[slide]) > ROUNDING:
                    yield ((at, own[1]) if slide == 0 else (own[0], at)), abs(at - own[slide])

    # --- what everything is judged with -------------------------------------------------------

    @cached_property
    def _standing(self) -> ProvenPlaceFindings:
        """Findings of the cell with the unit standing somewhere, so that there is a scene."""
        if self.declared_centre is not None:
            return self
        chosen, cell = self.chosen_place, self.placed_cell
        if chosen is None:
            return self
        placement = replace(
            cell.placement, centre_x=Amount(chosen.x_mm), centre_y=Amount(chosen.y_mm)
        )
        return type(self)(replace(cell, placement=placement))

    @cached_property
    def _tools(self) -> dict[int, tuple[Body, ...]]:
        """Bodies of every tool whose sizes are entered, by number."""
        found = {}
        for tool in self.cell.tools:
            if tool.number is not None:
                try:
                    found[tool.number] = self.tool_bodies(tool.number)
                except Lacking:
                    continue
        return found

    @property
    def _tools_told(self) -> tuple[str, ...]:
        left = [
            f"T{tool.number}" if tool.number is not None else tool.name or "a tool"
            for tool in self.cell.tools
            if tool.number not in self._tools
        ]
        if not self.cell.tools:
            return ("No tool is entered: stations are judged without the tool's own room.",)
        return (
            (f"Not judged on its way to a station: {', '.join(left)}; its sizes are not entered.",)
            if left
            else ()
        )

    @cached_property
    def _sites(self) -> dict[float, Site]:
        return {}

    @cached_property
    def _excused(self) -> list[tuple[UnitZero, Site, str]]:
        return []

    def _site(self, yaw_rad: float) -> Site:
        from gudgeon.findings.place_site import Site

        turn = yaw_rad - self._standing.declared_yaw_rad
        quarter = quarter_of(turn)
        turn = turn if quarter is None else (quarter % 4) * math.pi / 2.0
        key = round(turn, 9)
        if key not in self._sites:
            standing = self._standing
            centre = standing.declared_centre
            assert centre is not None
            self._sites[key] = Site(
                standing.scene.scene,
                standing.own_scene,
                centre[0],
                turn,
                self._tools,
                self.asked_mm or ROUNDING,
            )
        return self._sites[key]

    # --- one place ----------------------------------------------------------------------------

    def _proven(self, place: Place, at: tuple[float, float]) -> ProvenPlace:
        site = self._site(place.yaw_rad)
        ways = {
            (round(way.tilt_rad, 6), round(way.turn_rad, 6)): way for way in self._standing.own_ways
        }
        lost: dict[str, Lost] = {}
        stations = dict.fromkeys(zero.station for zero in self.zeros_on_unit)
        for zero in self.zeros_on_unit:
            if zero.station in lost:
                continue
            pose = (zero.tilt_rad, zero.turn_rad)
            way = ways.get((round(pose[0], 6), round(pose[1], 6)))
            if way is not None and not way.proven:
                touch = way.contact_tilt_rad
                tilt = way.worst_tilt_rad if touch is None else touch
                lost[zero.station] = Lost(zero.station, zero.face, "turning", way.pair, tilt)
                continue
            why = self._lost(site, zero, at)
            if why is not None:
                lost[zero.station] = why
        return ProvenPlace(
            yaw_rad=place.yaw_rad,
            x_mm=at[0],
            y_mm=at[1],
            offset_mm=place.offset_mm,
            works=place.works,
            lost=tuple(lost.values()),
            of=len(stations),
        )

    def _lost(self, site: Site, zero: UnitZero, at: tuple[float, float]) -> Lost | None:
        """Return why a zero is not reached in a place; ``None`` if it is."""
        pose = (zero.tilt_rad, zero.turn_rad)
        spot = site.spot(zero.point_mm)
        x, y = at[0] + spot[0], at[1] + spot[1]
        approach = self.cell.placement.approach
        room = approach.value if approach else 0.0
        machine = self.cell.machine
        for letter, value, travel in (("X", x, machine.travel_x), ("Y", y, machine.travel_y)):
            if travel is not None and not (
                travel[0].value - ROUNDING <= value - room
                and value + room <= travel[1].value + ROUNDING
            ):
                return Lost(zero.station, zero.face, "travel", (f"travel of {letter}",), None)

        def lost(reason: str, gap: Gap) -> Lost:
            return Lost(zero.station, zero.face, reason, gap.pair, gap.joint[3])

        met = site.table(at, pose)
        if met is not None:
            return lost("table", met)
        travel_z = machine.travel_z
        top = travel_z[1].value if travel_z is not None else 0.0
        cut_at = np.array([x, y, top])
        named = [number for number in zero.tools if number in self._tools]
        several = list(named or self._tools)
        why: Lost | None = None
        good = 0
        for tool in several:
            found = self._tool_lost(site, zero, at, tool, cut_at, lost)
            if found is None:
                good += 1
                if not named:
                    break
            else:
                why = why or found
                if named:
                    return found
        if several and not good:
            return why
        if not several:
            return self._walls_lost(site, at, zero, cut_at, lost, None)
        return None

    def _tool_lost(
        self,
        site: Site,
        zero: UnitZero,
        at: tuple[float, float],
        tool: int,
        cut_at: Floats,
        lost: Callable[[str, Gap], Lost],
    ) -> Lost | None:
        """Return why one tool does not reach a zero; ``None`` if it does."""
        pose = (zero.tilt_rad, zero.turn_rad)
        entered = next(item for item in self.cell.tools if item.number == tool)
        assert entered.length is not None
        low = self.table_top_mm + self.axis_height_mm + zero.point_mm[2] + entered.length.value
        travel = self.cell.machine.travel_z
        if travel is not None and not (
            travel[0].value - ROUNDING <= low <= travel[1].value + ROUNDING
        ):
            return Lost(zero.station, zero.face, "travel", (f"travel of Z with T{tool}",), None)
        top = max(float(cut_at[2]), low)
        tip = low - entered.length.value
        down = site.down(tool, site.spot(zero.point_mm), pose, top, low, tip)
        if down.excused:
            self._excused.append((zero, site, down.excused))
        if down.gap is not None:
            return lost("tool", down.gap)
        met = site.reaches(tool, np.array([*cut_at[:2], top]), np.array([*cut_at[:2], low]))
        if met is not None:
            return lost("tool", met)
        return self._walls_lost(site, at, zero, cut_at, lost, tool)

    def _walls_lost(
        self,
        site: Site,
        at: tuple[float, float],
        of: UnitZero,
        cut_at: Floats,
        lost: Callable[[str, Gap], Lost],
        tool: int | None,
    ) -> Lost | None:
        """Find a place of the spindle from which the unit may turn into the pose.

        Over the zero itself, else at a corner of the travel; guards, column and door must be clear
        there, and the tool at the top of Z.
        """
        first: Lost | None = None
        pose, zero = (of.tilt_rad, of.turn_rad), (of.station, of.face)
        for turn_at in self._parks(cut_at):
            met = site.walls(at, pose, turn_at, cut_at)
            if met is not None:
                first = first or lost("guard", met)
                continue
            if tool is None or site.over(tool, turn_at, cut_at, at, pose):
                return None
            first = first or Lost(*zero, "tool", (f"T{tool} at the top of Z", "the load"), None)
        return first

    def _parks(self, cut_at: Floats) -> Iterator[Floats]:
        yield cut_at
        machine = self.cell.machine
        if machine.travel_x is None or machine.travel_y is None:
            return
        for x in machine.travel_x:
            for y in machine.travel_y:
                yield np.array([x.value, y.value, cut_at[2]])

    # --- what wins stations back --------------------------------------------------------------

    def _changes(self, here: ProvenPlace, fitted: tuple[Fitted, ...]) -> tuple[Change, ...]:
        found: list[Change] = []
        for number, box in enumerate(self.cell.unit.boxes):
            for other in self.cell.unit.alternatives:
                if box.name is not None and other.instead_of == box.name:
                    name = other.name or "the alternative"
                    words = f"fit the {name} in place of the {box.name}"
                    found += self._won(here, "part", words, name, self._with_boxes(number, other))
        found += self._other_place(here)
        for plate in self.cell.placement.risers:
            cell = self.placed_cell
            now = cell.placement.riser
            if now is not None and abs(now.value - plate.value) < ROUNDING:
                continue
            placement = replace(cell.placement, riser=plate)
            size = self.units.text(_LENGTH, plate.value)
            again = self._other(replace(cell, placement=placement))
            words = f"put the riser plate of {size} under the unit"
            found += self._won(here, "riser", words, size, again)
        found += self._other_tools(here)
        # Sorting is stable: of those that win as much, the cheapest stands first.
        return tuple(sorted(found, key=lambda change: -change.reached))

    def _won(
        self, here: ProvenPlace, kind: str, words: str, name: str, again: WayFindings
    ) -> list[Change]:
        """Return the change if the same place reaches more stations with it."""
        assert isinstance(again, ProvenPlaceFindings)
        chosen = again._judge(here.yaw_rad, (here.x_mm, here.y_mm), None)
        then = again._proven(chosen, (here.x_mm, here.y_mm))
        if then.reached <= here.reached or not (chosen.works or not here.works):
            return []
        return [Change(kind, words, then.reached, then.of, name)]

    def _other_place(self, here: ProvenPlace) -> list[Change]:
        try:
            places = self.proven_places
        except Lacking:
            return []
        best = next((place for place in places if place.works or not here.works), None)
        if best is None or best.reached <= here.reached:
            return []
        x, y = (self.units.text(_LENGTH, value) for value in (best.x_mm, best.y_mm))
        yaw = f"{round(math.degrees(best.yaw_rad), 2) + 0.0:g} deg"
        words = f"put the unit with its platter centre at X {x}, Y {y}, yaw {yaw}"
        return [Change("place", words, best.reached, best.of, f"X {x}, Y {y}")]

    def _other_tools(self, here: ProvenPlace) -> list[Change]:
        """Return tools that reach what the named ones do not."""
        site = self._site(here.yaw_rad)
        at = (here.x_mm, here.y_mm)
        won: dict[int, set[str]] = {}
        for one in here.lost:
            if one.reason != "tool" and "Z with" not in " ".join(one.between):
                continue
            faces = [zero for zero in self.zeros_on_unit if zero.station == one.station]
            for tool in self._tools:
                free = [replace(zero, tools=(tool,)) for zero in faces]
                if all(self._lost(site, zero, at) is None for zero in free):
                    won.setdefault(tool, set()).add(one.station)
        if not won:
            return []
        tool, stations = max(won.items(), key=lambda item: len(item[1]))
        words = f"use T{tool} at station{'s' * (len(stations) > 1)} {', '.join(sorted(stations))}"
        return [Change("tool", words, here.reached + len(stations), here.of, f"T{tool}")]


def _places_of(found: list[tuple[UnitZero, Site, str]], kinds: tuple[str, ...]) -> str:
    """Return the zeros of some kinds at the yaw as entered, each once."""
    names = (
        f"station {zero.station}, {zero.face}"
        for zero, site, kind in found
        if site.turn_rad == 0.0 and kind in kinds
    )
    return ", ".join(dict.fromkeys(names))
