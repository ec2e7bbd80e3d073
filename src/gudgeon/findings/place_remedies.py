"""What a place of the unit lacks and what wins it back: the answer of the proofs in one piece."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Final, Self

from gudgeon.findings.gather import Lacking
from gudgeon.findings.hose_bodies import HANGS, hose_ends, hose_name
from gudgeon.findings.place_closest import ClosestFindings
from gudgeon.findings.place_found import Change, ProvenFinding, ProvenPlace
from gudgeon.findings.place_ways import WayFindings
from gudgeon.findings.shape import UnitZero
from gudgeon.findings.tool_bodies import NOSE
from gudgeon.placing.conditions import ROUNDING
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

if TYPE_CHECKING:
    from gudgeon.cell.model import Hose
    from gudgeon.findings.place_site import Site

__all__ = ["RemedyFindings"]

_LENGTH: Final = Kind.LENGTH

MOST_LONGER: Final = (8, 16, 32)
"""Steps by which tools are tried longer; 160 mm at the most."""

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
    (
        "These zeros lie inside the blank of their station, deeper than the flutes are long: the "
        "tool is not judged against the blank that is cut away over them",
        ("blank",),
    ),
    (
        "These zeros lie on or in a body that is no stock: the flutes are not judged against it",
        ("on",),
    ),
    (
        "These zeros lie so deep in a body that is no stock that no tool comes there: tools are "
        "not judged against the load there",
        ("in",),
    ),
)
"""What is told of tools that come into outlines, and for which of `Down.excused`."""


class RemedyFindings(ClosestFindings):
    """The place that is judged, whole."""

    @cached_property
    def untied(self) -> Self:
        """The same cell with no hose as a body: where one may hang is not where it hangs."""
        hoses = self.cell.unit.hoses
        if all(hose.length is None for hose in hoses):
            return self
        bare = tuple(replace(hose, length=None) for hose in hoses)
        unit = replace(self.cell.unit, hoses=bare)
        return self.telling(type(self)(replace(self.cell, unit=unit)))

    @cached_property
    def proven(self) -> ProvenFinding | None:
        """The place that is judged, what costs stations there, and what wins them back.

        What a hose may meet, hanging free, costs no station: it stands in `ProvenFinding.hung`.
        """
        if self.untied is self:
            return self._proven_alone()
        found, here = self.untied.proven, self.proven_here
        if found is None or here is None:
            return found
        lost = {one.station for one in found.place.lost}
        scene = self._standing.scene
        told = [text for text in found.assumed if text not in self.untied._standing.scene.assumed]
        return replace(
            found,
            hung=tuple(one for one in here.lost if one.station not in lost),
            changes=tuple(dict.fromkeys([*found.changes, *self._other_hoses(here)])),
            assumed=tuple(dict.fromkeys([*told, *scene.assumed])),
            left_out=scene.left_out,
            missing=scene.missing,
        )

    def _proven_alone(self) -> ProvenFinding | None:
        with self.part(0.0, 0.3):
            here = self.proven_here
        if here is None:
            return None
        with self.part(0.3, 0.6):
            fitted = self.fitted
        with self.part(0.6, 1.0):
            changes = self._changes(here) if here.lost or not here.works else ()
        without = tuple(
            one.box
            for one in fitted
            if one.name == f"without {one.box}" and not one.lost and fitted[0].lost
        )
        closest = self.closest_in(here)
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
                    if site.turn_rad == 0.0 and kind not in ("flutes", "on")
                }
            ),
            closest=closest,
        )

    # --- what wins stations back --------------------------------------------------------------

    def _changes(self, here: ProvenPlace) -> tuple[Change, ...]:
        found = [*self._other_tools(here), *self._other_place(here)]
        found += [*self._longer_tools(here), *self._other_hoses(here)]
        for number, box in enumerate(self.cell.unit.boxes):
            for other in self.cell.unit.alternatives:
                if box.name is not None and other.instead_of == box.name:
                    name = other.name or "the alternative"
                    words = f"fit the {name} in place of the {box.name}"
                    found += self._won(here, "part", words, name, self._with_boxes(number, other))
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
        # Sorting is stable: of those that win as much, what costs least stands first.
        return tuple(sorted(found, key=lambda change: (not change.works, -change.reached)))

    def _won(
        self, here: ProvenPlace, kind: str, words: str, name: str, again: WayFindings
    ) -> list[Change]:
        """Return the change if the same place works with it, or reaches more stations."""
        assert isinstance(again, ClosestFindings)
        chosen = again._judge(here.yaw_rad, (here.x_mm, here.y_mm), None)
        then = again._proven(chosen, (here.x_mm, here.y_mm))
        if not _better(then, here):
            return []
        return [Change(kind, words, then.reached, then.of, name, then.works)]

    # --- tools --------------------------------------------------------------------------------

    def _longer_tools(self, here: ProvenPlace) -> list[Change]:
        """Return how much longer a tool must be where its holder or the nose comes too near."""
        found: list[Change] = []
        for number in dict.fromkeys(one.tool for one in here.lost if one.decided):
            names = {name for one in here.lost if one.tool == number for name in one.between}
            where = next((i for i, t in enumerate(self.cell.tools) if t.number == number), None)
            if number is None or where is None or self.cell.tools[where].steps:
                continue
            if f"T{number} holder" in names:
                found += self._longer(here, where, sticks_out=True)
            elif NOSE in names:
                found += self._longer(here, where, sticks_out=False)
        return found

    def _longer(self, here: ProvenPlace, where: int, *, sticks_out: bool) -> list[Change]:
        """Return the least length more with which one tool wins stations, holder or stickout."""
        tool, step = self.placed_cell.tools[where], self._step
        assert tool.length is not None and tool.stickout is not None

        def tried(steps: int) -> list[Change]:
            assert tool.length is not None and tool.stickout is not None
            more = steps * step
            out = tool.stickout.value + more if sticks_out else tool.stickout.value
            longer = replace(
                tool,
                length=replace(tool.length, value=tool.length.value + more),
                stickout=replace(tool.stickout, value=out),
            )
            tools = list(self.placed_cell.tools)
            tools[where] = longer
            size = self.units.text(_LENGTH, more)
            words = (
                f"let T{tool.number} stick out {size} further"
                if sticks_out
                else f"put T{tool.number} in a holder that is {size} longer"
            )
            again = self._other(replace(self.placed_cell, tools=tuple(tools)))
            return self._won(here, "holder", words, size, again)

        return _least_that_wins(tried, MOST_LONGER)

    # --- hoses --------------------------------------------------------------------------------

    def _other_hoses(self, here: ProvenPlace) -> list[Change]:
        """Return hoses of another length: longer where they do not reach, shorter in the way."""
        found: list[Change] = []
        chosen = self._judge(here.yaw_rad, (here.x_mm, here.y_mm), None)
        short = {
            margin.note: -margin.margin_mm
            for margin in chosen.margins
            if margin.reason == "cable" and not margin.kept
        }
        in_the_way = {name for one in here.lost for name in one.between}
        for number, hose in enumerate(self.cell.unit.hoses):
            name = hose_name(self.cell, hose)
            lacks = short.get(hose.name or "")
            if lacks is not None and hose.free_length is not None and math.isfinite(lacks):
                step = self._step
                more = math.ceil(lacks / step - ROUNDING) * step
                words = f"give the {name} {self.units.text(_LENGTH, more)} more free length"
                longer = replace(
                    hose,
                    free_length=Amount(hose.free_length.value + more),
                    length=Amount(hose.length.value + more) if hose.length else None,
                )
                again = self._with_hose(number, longer)
                found += self._won(here, "hose", words, self.units.text(_LENGTH, more), again)
            if name + HANGS in in_the_way:
                found += self._shorter(here, number, name)
        return found

    @property
    def _step(self) -> float:
        """Lengths of hoses and tools are told in steps of so much [mm]."""
        return 6.35 if self.units.inch else 5.0

    def _with_hose(self, number: int, hose: Hose) -> WayFindings:
        cell = self.placed_cell
        hoses = list(cell.unit.hoses)
        hoses[number] = hose
        return self._other(replace(cell, unit=replace(cell.unit, hoses=tuple(hoses))))

    def _shorter(self, here: ProvenPlace, number: int, name: str) -> list[Change]:
        """Return the longest hose that is out of the way, if a shorter one is."""
        hose = self.cell.unit.hoses[number]
        ends = self._hose_ends(number)
        if hose.length is None or ends is None or hose.turns_with in ("cradle", "platter"):
            return []
        step = self._step

        def tried(length: float) -> list[Change]:
            size = self.units.text(_LENGTH, length)
            less = self.units.text(_LENGTH, hose.length.value - length) if hose.length else ""
            free = hose.free_length
            other = replace(
                hose,
                length=Amount(length),
                free_length=Amount(min(free.value, length)) if free else None,
            )
            words = f"shorten the {name} by {less}, to {size}"
            return self._won(here, "hose", words, size, self._with_hose(number, other))

        low, high = math.ceil(ends / step + ROUNDING), math.ceil(hose.length.value / step)
        best = tried(low * step) if low < high else []
        if not best:
            return []
        goal = best[0].reached
        while high - low > 1:
            middle = (low + high) // 2
            found = tried(middle * step)
            if found and found[0].reached >= goal:
                low, best = middle, found
            else:
                high = middle
        return best

    def _hose_ends(self, number: int) -> float | None:
        """Return how far apart the ends of a hose stand with both angles at zero [mm]."""
        ends = hose_ends(self.cell.unit.hoses[number], self._standing.unit_frame)
        return None if ends is None else math.dist(ends[0].tolist(), ends[1].tolist())

    # --- places and tools ---------------------------------------------------------------------

    def _other_place(self, here: ProvenPlace) -> list[Change]:
        try:
            places = self.proven_places
        except Lacking:
            return []
        best = next((place for place in places if _better(place, here)), None)
        if best is None:
            return []
        x, y = (self.units.text(_LENGTH, value) for value in (best.x_mm, best.y_mm))
        yaw = f"{round(math.degrees(best.yaw_rad), 2) + 0.0:g} deg"
        words = f"put the unit with its platter centre at X {x}, Y {y}, yaw {yaw}"
        return [Change("place", words, best.reached, best.of, f"X {x}, Y {y}", best.works)]

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
        reached = here.reached + len(stations)
        return [Change("tool", words, reached, here.of, f"T{tool}", here.works)]


def _least_that_wins(tried: Callable[[int], list[Change]], trials: tuple[int, ...]) -> list[Change]:
    """Return the least number of steps that wins as much as the first of some trials that wins."""
    low = 0
    for high in trials:
        best = tried(high)
        if best:
            break
        low = high
    else:
        return []
    goal = best[0].reached
    while high - low > 1:
        middle = (low + high) // 2
        found = tried(middle)
        if found and found[0].reached >= goal:
            high, best = middle, found
        else:
            low = middle
    return best


def _better(then: ProvenPlace, now: ProvenPlace) -> bool:
    """Return whether a place wins: it works where it did not, or reaches more."""
    if now.works and not then.works:
        return False
    gains = then.works and not now.works
    return then.reached >= now.reached if gains else then.reached > now.reached


def _places_of(found: list[tuple[UnitZero, Site, str]], kinds: tuple[str, ...]) -> str:
    """Return the zeros of some kinds at the yaw as entered, each once."""
    names = (
        f"station {zero.station}, {zero.face}"
        for zero, site, kind in found
        if site.turn_rad == 0.0 and kind in kinds
    )
    return ", ".join(dict.fromkeys(names))
