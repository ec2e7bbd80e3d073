"""Places on the table judged by proofs: which stations are reached, and what costs the others."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.gather import Lacking
from gudgeon.findings.place_found import Lost, ProvenPlace
from gudgeon.findings.place_judged import Place
from gudgeon.findings.place_ways import Way, WayFindings
from gudgeon.findings.shape import UnitZero
from gudgeon.placing.conditions import ROUNDING
from gudgeon.placing.slots import quarter_of
from gudgeon.quantity.amount import Amount

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap
    from gudgeon.clearance.scene import Body, Scene
    from gudgeon.findings.place_site import Site

__all__ = ["ProvenPlaceFindings"]

Floats = NDArray[np.float64]

OFFSETS: Final = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Shares of the room along the slots at which the unit is tried besides its own place there."""

MOST_PLACES: Final = 400


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
    def proven_places(self) -> tuple[ProvenPlace, ...]:
        """Every seat on the slots at several offsets along them, ranked; raises `Lacking`.

        Working places first; then by stations reached; then by how near the middle of the room
        along the slots they stand.
        """
        if not self.zeros_on_unit:
            return ()
        tried = [
            (place, at, beside)
            for place in self.places.places
            for at, beside in self._offsets(place)
        ][:MOST_PLACES]
        found: list[tuple[ProvenPlace, float]] = []
        for number, (place, at, beside) in enumerate(tried):
            self.going(number / len(tried))
            found.append((self._proven(place, at), beside))
        found.sort(key=lambda item: (not item[0].works, -item[0].reached, item[1], item[0].yaw_rad))
        return tuple(place for place, _ in found)

    @property
    def scene_of_unit(self) -> Scene:
        """The unit alone where it stands, for pictures."""
        return self._standing.own_scene

    @property
    def scene_of_all(self) -> Scene:
        """All bodies but the tool, the unit where it is judged, for pictures."""
        return self._standing.scene.scene

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
        return self.telling(type(self)(replace(cell, placement=placement)))

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
        lost: dict[str, Lost] = {}
        stations = dict.fromkeys(zero.station for zero in self.zeros_on_unit)
        for zero in self.zeros_on_unit:
            if zero.station in lost:
                continue
            self.going()  # thousands of proofs may be ahead: a stop is heard here
            way = self._way_of(zero)
            if way is not None and not way.proven:
                touch = way.contact_tilt_rad
                tilt = way.worst_tilt_rad if touch is None else touch
                lost[zero.station] = Lost(
                    zero.station, zero.face, "turning", named(way.pair), tilt, way.decided,
                    way.worst,
                )  # fmt: skip
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

        cut_at = self._top_over(site, zero, at)
        met = site.table(at, pose)
        if met is not None:
            return _met(zero, "table", site.displayed(met, at, cut_at))
        asked = [number for number in zero.tools if number in self._tools]
        several = list(asked or self._tools)
        why: Lost | None = None
        good = 0
        for tool in several:
            found = self._tool_lost(site, zero, at, tool)
            if found is None:
                good += 1
                if not asked:
                    break
            else:
                # What could not be told goes before what is too close: that tool may reach it.
                why = found if why is None or (why.decided and not found.decided) else why
                if asked:
                    return found
        if several and not good:
            return why
        if not several:
            return self._walls_lost(site, at, zero, None)
        return None

    def _tool_lost(
        self, site: Site, zero: UnitZero, at: tuple[float, float], tool: int
    ) -> Lost | None:
        """Return why one tool does not reach a zero; ``None`` if it does."""
        pose = (zero.tilt_rad, zero.turn_rad)
        cut_at = self._top_over(site, zero, at)
        top, low, tip = self._depths(zero, tool, float(cut_at[2]))
        travel = self.cell.machine.travel_z
        if travel is not None and not (
            travel[0].value - ROUNDING <= low <= travel[1].value + ROUNDING
        ):
            return Lost(zero.station, zero.face, "travel", (f"travel of Z with T{tool}",), None)
        down = site.down(tool, zero.station, site.spot(zero.point_mm), pose, top, low, tip)
        if down.excused:
            self._excused.append((zero, site, down.excused))
        if down.gap is not None:
            return _met(zero, "tool", site.displayed(down.gap, at), tool)
        met = site.reaches(tool, np.array([*cut_at[:2], top]), np.array([*cut_at[:2], low]))
        if met is not None:
            return _met(zero, "tool", met, tool)
        return self._walls_lost(site, at, zero, tool)

    def _walls_lost(
        self,
        site: Site,
        at: tuple[float, float],
        zero: UnitZero,
        tool: int | None,
    ) -> Lost | None:
        """Find a place of the spindle from which the unit may turn into the pose.

        Over the zero itself, else at a corner of the travel; guards, column and door must be clear
        there, and the tool at the top of Z.
        """
        first: Lost | None = None
        pose, cut_at = (zero.tilt_rad, zero.turn_rad), self._top_over(site, zero, at)
        for turn_at in self._parks(cut_at):
            met = site.walls(at, pose, turn_at, cut_at)
            if met is not None:
                found = _met(zero, "guard", site.displayed(met, at, turn_at))
            elif tool is None or site.over(tool, turn_at, cut_at, at, pose):
                return None
            else:
                high = (f"T{tool} at the top of Z", "the load")
                found = Lost(zero.station, zero.face, "tool", high, None, tool=tool)
            first = found if first is None or (first.decided and not found.decided) else first
        return first

    def _way_of(self, zero: UnitZero) -> Way | None:
        """Return the way of the unit to the pose of a zero."""
        known = {
            (round(way.tilt_rad, 6), round(way.turn_rad, 6)): way for way in self._standing.own_ways
        }
        return known.get((round(zero.tilt_rad, 6), round(zero.turn_rad, 6)))

    def _top_over(self, site: Site, zero: UnitZero, at: tuple[float, float]) -> Floats:
        """Return the place of the spindle over a zero, at the top of Z."""
        spot, travel = site.spot(zero.point_mm), self.cell.machine.travel_z
        return np.array(
            [at[0] + spot[0], at[1] + spot[1], travel[1].value if travel is not None else 0.0]
        )

    def _depths(self, zero: UnitZero, tool: int, top: float) -> tuple[float, float, float]:
        """Return Z where a tool starts down to a zero, Z there, and the height of its tip there."""
        entered = next(item for item in self.cell.tools if item.number == tool)
        assert entered.length is not None
        tip = self.table_top_mm + self.axis_height_mm + zero.point_mm[2]
        low = tip + entered.length.value
        return max(top, low), low, tip

    def _parks(self, cut_at: Floats) -> Iterator[Floats]:
        yield cut_at
        machine = self.cell.machine
        if machine.travel_x is None or machine.travel_y is None:
            return
        for x in machine.travel_x:
            for y in machine.travel_y:
                yield np.array([x.value, y.value, cut_at[2]])


def named(pair: tuple[str, str]) -> tuple[str, ...]:
    """Return the names of a pair that are known: a gap that stays open has none."""
    return tuple(name for name in pair if name)


def _met(zero: UnitZero, reason: str, gap: Gap, tool: int | None = None) -> Lost:
    """Return what a failed proof costs; where it stayed open there is no pose that is too close."""
    from gudgeon.clearance.prove import Status

    decided = gap.status is Status.CLOSER
    tilt = gap.joint[3]
    return Lost(zero.station, zero.face, reason, named(gap.pair), tilt, decided, gap, tool)
