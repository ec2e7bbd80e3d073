"""What weighs and where: the unit's own masses, the fixture, the parts in their loading order."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Fixture, Mass, Part, Point, Station, Unit
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.judged import Judged, Read, values_with_spread
from gudgeon.findings.place import PlaceFindings
from gudgeon.quantity.amount import Amount
from gudgeon.strength.gravity import static_moments

__all__ = ["Item", "MassFindings", "Staged"]

Floats = NDArray[np.float64]
Place = Callable[[Read], tuple[float, float, float]]

_WHY_PLACE = "the torque of its weight hangs on how far it stands from the axis lines"
_WHY_MASS = "its weight loads table, platter, drives and bolts"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing, or several alike at one place.

    Attributes
    ----------
    name : str
    mass : Amount
        Of one.
    count : int
    loaded : bool
        True for parts, which come and go.
    in_unit : bool
        Belongs to the unit: counted in ``unit.mass`` and not as load.
    turns : bool
        Turns with the platter (else it only tilts).
    place : callable or None
        Centre of mass in the unit frame at zero [mm]; ``None`` where only weights were asked for.
    """

    name: str
    mass: Amount
    count: int
    loaded: bool
    in_unit: bool
    turns: bool
    place: Place | None


@dataclass(frozen=True, slots=True)
class Staged:
    """A load at each stage, none to all parts on, against one limit.

    Attributes
    ----------
    values, plus_minus : ndarray, shape (parts + 1,)
        By the number of parts on; expanded uncertainty (k = 2).
    limit : float
    margin_plus_minus : ndarray, shape (parts + 1,)
        Expanded uncertainty of limit minus value.
    """

    values: Floats
    plus_minus: Floats
    limit: float
    margin_plus_minus: Floats

    def at(self, stage: int) -> Judged:
        """Return one stage."""
        return Judged(
            float(self.values[stage]),
            float(self.plus_minus[stage]),
            self.limit,
            "max",
            float(self.margin_plus_minus[stage]),
        )

    @property
    def worst_stage(self) -> int:
        """Number of parts on at the greatest value; the fullest of equals."""
        highest = self.values >= self.values.max() * (1.0 - 1e-12)
        return int(np.nonzero(highest)[0][-1])

    @property
    def worst(self) -> Judged:
        """The stage with the greatest value."""
        return self.at(self.worst_stage)

    @property
    def full(self) -> Judged:
        """All parts on."""
        return self.at(len(self.values) - 1)

    @property
    def most_parts(self) -> int | None:
        """Most parts that may go on, in order, with every stage sure to hold; None: not even 0."""
        held = [self.at(stage).state == "holds" for stage in range(len(self.values))]
        return (held.index(False) if False in held else len(held)) - 1 if held[0] else None


class MassFindings(PlaceFindings):
    """What weighs and where."""

    @cached_property
    def weighed(self) -> tuple[Item, ...]:
        """Everything on the table above the unit's base, without places.

        Raises
        ------
        Lacking
            Naming every mass that is missing.
        """
        return self._items(places=False)

    @cached_property
    def carried(self) -> tuple[Item, ...]:
        """The same with the places of all centres of mass; raises `Lacking`."""
        return self._items(places=True)

    @property
    def part_names(self) -> tuple[str, ...]:
        """Names of the parts in loading order, one for each part."""
        return tuple(item.name for item in self.weighed if item.loaded for _ in range(item.count))

    @property
    def masses_assumed(self) -> tuple[str, ...]:
        """What the loads take for granted, one sentence each."""
        unit, fixture = self.placed_cell.unit, self.cell.fixture
        told = []
        if not unit.masses:
            told.append(
                "Cradle and platter alone are balanced about both axis lines (no unit.masses)."
            )
        if not fixture.masses and not self.cell.stations and not self.cell.parts:
            told.append("The fixture's mass is everything on the platter: no parts are given.")
        empty = [s.name or str(i) for i, s in enumerate(self.cell.stations, start=1) if s.empty]
        if empty and not fixture.masses:
            told.append(f"No part is loaded at: {', '.join(empty)}; no operation cuts there.")
        if self.has_tilt and unit.axis_offset is None:
            told.append("Tilt line and rotary line meet (unit.axis_offset is not given).")
        return tuple(told)

    def sums(self, read: Read) -> tuple[Floats, Floats]:
        """Return the static moments of what stays, shape (4,), and of each part, shape (n, 4).

        In kg mm, see `gudgeon.strength.gravity`; raises `Lacking` through `carried`.
        """
        items = [item for item in self.carried if item.place is not None]
        each = static_moments(
            [read(item.mass) for item in items],
            [item.place(read) for item in items if item.place is not None],
            [item.turns for item in items],
            self.axis_offset(read),
        )
        counts = np.array([item.count for item in items], int)
        loaded = np.array([item.loaded for item in items], bool)
        stays = (counts * ~loaded) @ each
        return np.asarray(stays, np.float64), np.repeat(each[loaded], counts[loaded], axis=0)

    def stage_sums(self, read: Read) -> Floats:
        """Return the static moments with 0, 1, ... all parts on, shape (n + 1, 4) [kg mm]."""
        stays, parts = self.sums(read)
        return np.vstack([stays, stays + np.cumsum(parts, axis=0)])

    def stage_masses(self, read: Read) -> Floats:
        """Return the mass on the platter with 0, 1, ... all parts on, shape (n + 1,) [kg]."""
        stays, parts = 0.0, [0.0]
        for item in self.weighed:
            if item.loaded:
                parts.extend([read(item.mass)] * item.count)
            elif not item.in_unit:
                stays += item.count * read(item.mass)
        return stays + np.cumsum(parts)

    def axis_offset(self, read: Read) -> float:
        """Return rotary line minus tilt line [mm]; nil for a single axis."""
        offset = self.placed_cell.unit.axis_offset
        return read(offset) if offset is not None and self.has_tilt else 0.0

    @cached_property
    def table_load(self) -> Staged:
        """Mass on the table at each stage against what the table may carry [kg]."""
        gather = self.gather()
        limit = gather.need(
            self.cell.machine.table_load,
            "machine.table_load",
            "greatest mass that the table may carry",
            why="unit, fixture and parts all stand on the table",
            how="read the greatest table load in the mill's manual",
        )
        unit = gather.need(
            self.cell.unit.mass,
            "unit.mass",
            "mass of the unit without fixture",
            why="it is most of what the table carries",
            how="read the unit's data sheet, or hang the unit on a crane scale",
        )
        self._also(gather, lambda: self.weighed)
        gather.stop()
        return self._staged(lambda read: read(unit) + self.stage_masses(read), limit)

    @cached_property
    def platter_load_flat(self) -> Staged:
        """Mass on the platter at each stage against the rating lying flat [kg]."""
        return self._platter_load("rated_load_flat", "lying flat", "flat")

    @cached_property
    def platter_load_upright(self) -> Staged:
        """Mass on the platter at each stage against the rating standing upright [kg]."""
        return self._platter_load("rated_load_upright", "standing upright", "upright")

    def _platter_load(self, key: str, how_it_stands: str, word: str) -> Staged:
        gather = self.gather()
        limit: Amount = gather.need(
            getattr(self.cell.unit, key),
            f"unit.{key}",
            f"greatest load on the platter {how_it_stands}",
            why="bearings and worm are rated for it",
            how=f"read the load rating ({word}) in the unit's data sheet",
        )
        self._also(gather, lambda: self.weighed)
        gather.stop()
        return self._staged(self.stage_masses, limit)

    def _staged(self, work: Callable[[Read], Floats], limit: Amount) -> Staged:
        """Judge the stages that `work` returns against a limit."""

        def both(read: Read) -> Floats:
            values = work(read)
            return np.concatenate([values, read(limit) - values])

        values, spreads = values_with_spread(both)
        half = len(values) // 2
        return Staged(values[:half], spreads[:half], limit.value, spreads[half:])

    def _also(self, gather: Gather, finding: Callable[[], object]) -> None:
        try:
            finding()
        except Lacking as lacking:
            gather.also(lacking)

    def _items(self, *, places: bool) -> tuple[Item, ...]:
        gather = self.gather()
        fixture, unit = self.cell.fixture, self.cell.unit
        found = [
            self._listed(gather, mass, f"unit.masses[{i}]", unit, places)
            for i, mass in enumerate(unit.masses, start=1)
        ]
        if fixture.masses:
            found += [
                self._listed(gather, mass, f"fixture.masses[{i}]", fixture, places)
                for i, mass in enumerate(fixture.masses, start=1)
            ]
        else:
            found.append(self._fixture(gather, places))
            found += [
                self._part(gather, station, i, places)
                for i, station in enumerate(self.cell.stations, start=1)
                if not station.empty
            ]
            if self.cell.parts and not self.cell.stations:
                gather.need(
                    None,
                    "stations",
                    "places of the parts on the fixture, in loading order",
                    why="the load is judged part by part as it goes on",
                    how="add a [[stations]] entry with at and turn for each place",
                )
        gather.stop()
        return tuple(found)

    def _fixture(self, gather: Gather, places: bool) -> Item:
        fixture = self.cell.fixture
        mass = gather.need(
            fixture.mass,
            "fixture.mass",
            "mass of the fixture without parts",
            why=_WHY_MASS,
            how="put the fixture on a scale",
        )
        centre: Point | None = None
        if places:
            centre = gather.need(
                fixture.mass_centre,
                "fixture.mass_centre",
                "centre of mass of the fixture, platter frame",
                why=_WHY_PLACE,
                how="read it from the model, or balance the fixture on a rod in two directions",
            )
            self._need_face_height(gather)
        return Item(
            name=fixture.name or "fixture",
            mass=mass,
            count=1,
            loaded=False,
            in_unit=False,
            turns=self.has_tilt,
            place=None if centre is None else self._from_platter(centre),
        )

    def _part(self, gather: Gather, station: Station, number: int, places: bool) -> Item:
        key = f"stations[{number}]"
        name = station.name or f"station {number}"
        part, part_key = self.part_at(gather, station, number)
        mass = gather.need(
            part.mass,
            f"{part_key}.mass",
            f"mass of one blank of {part.name or 'the part'}",
            why=_WHY_MASS,
            how="put one blank on a scale",
        )
        place: Place | None = None
        if places:
            at = gather.need(
                station.at,
                f"{key}.at",
                f"place of the part at {name}, platter frame",
                why=_WHY_PLACE,
                how="measure from the rotary line and the platter face to the part's origin",
            )
            centre = gather.need(
                part.mass_centre,
                f"{part_key}.mass_centre",
                f"centre of mass of {part.name or 'the part'}, part frame",
                why=_WHY_PLACE,
                how="read it from the model, or take the middle of the blank",
            )
            self._need_face_height(gather)
            if at and centre:
                place = self._from_platter(at, station.turn, centre)
        return Item(
            name=name,
            mass=mass,
            count=1,
            loaded=True,
            in_unit=False,
            turns=self.has_tilt,
            place=place,
        )

    def part_at(self, gather: Gather, station: Station, number: int) -> tuple[Part, str]:
        """Return the part that a station holds, and the start of its keys."""
        parts = self.cell.parts
        for i, part in enumerate(parts, start=1):
            if part.name == station.part or (station.part is None and len(parts) == 1):
                return part, f"parts[{i}]"
        gather.need(
            None,
            f"stations[{number}].part",
            f"part that {station.name or f'station {number}'} holds",
            why=_WHY_MASS,
            how="write the name of one of the [[parts]], and add that part if it is not there",
        )
        return Part(mass=Amount(0.0), mass_centre=(Amount(0.0),) * 3), "parts[1]"

    def _listed(
        self, gather: Gather, mass: Mass, key: str, owner: Unit | Fixture, places: bool
    ) -> Item:
        name = mass.name or key
        each = gather.need(
            mass.each,
            f"{key}.each",
            f"mass of {name}",
            why=_WHY_MASS,
            how="put it on a scale, or read the data sheet",
        )
        place: Place | None = None
        if places:
            at = gather.need(
                mass.at,
                f"{key}.at",
                f"centre of mass of {name}",
                why=_WHY_PLACE,
                how="read it from the model, or measure to its middle",
            )
            origin = gather.need(
                mass.measured_from,
                f"{key}.measured_from",
                f"origin from which {name} is measured",
                why="tilt axis and platter face lie at different heights",
                how='write measured_from = "tilt axis" or "platter face"',
            )
            if origin == "platter face":
                self._need_face_height(gather)
            if at is not None:
                place = self.place_of(at, origin)
        return Item(
            name=name,
            mass=each,
            count=1 if mass.count is None else mass.count,
            loaded=bool(mass.loaded),
            in_unit=isinstance(owner, Unit),
            turns=self.has_tilt and mass.turns_with != "cradle",
            place=place,
        )

    def place_of(self, at: Point, origin: str | None) -> Place:
        """Return the place in the unit frame of a point measured from either origin [mm]."""
        if origin == "platter face":
            return self._from_platter(at, clocked=False)

        def place(read: Read) -> tuple[float, float, float]:
            return (read(at[0]), read(at[1]), read(at[2]))

        return place

    def _from_platter(
        self,
        at: Point,
        turn: Amount | None = None,
        then: Point | None = None,
        *,
        clocked: bool = True,
    ) -> Place:
        """Return the place in the unit frame of a point of the fixture, or of a part on it.

        What is `clocked` is given for clocking zero and turns with the fixture's clocking.
        """
        height = self.placed_cell.unit.face_height
        clocking = self.cell.fixture.clocking if clocked else None
        frame = self.platter_in_unit.tolist()

        def place(read: Read) -> tuple[float, float, float]:
            x, y, z = (read(value) for value in at)
            if then is not None:
                dx, dy, dz = (read(value) for value in then)
                angle = read(turn) if turn is not None else 0.0
                x += dx * math.cos(angle) - dy * math.sin(angle)
                y += dx * math.sin(angle) + dy * math.cos(angle)
                z += dz
            if clocking is not None:
                cosine, sine = math.cos(read(clocking)), math.sin(read(clocking))
                x, y = x * cosine - y * sine, x * sine + y * cosine
            u, v, w = (a * x + b * y + c * z for a, b, c in frame)
            if not self.has_tilt:
                return u, v, w
            return u, v, w + (read(height) if height is not None else 0.0)

        return place

    def _need_face_height(self, gather: Gather) -> None:
        if self.has_tilt:
            gather.need(
                self.placed_cell.unit.face_height,
                "unit.face_height",
                "height of the platter face over the tilt axis line",
                why="everything on the platter swings about the tilt line at this height",
                how='take it from the data sheet, or touch it as "turns" tells',
            )
