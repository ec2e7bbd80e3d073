"""Where the unit may stand: every seat on the T-slots judged, the declared place, safe travel."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property
from typing import Final

from gudgeon.cell.model import Cell
from gudgeon.findings.flange import FlangeFindings
from gudgeon.findings.gather import Lacking
from gudgeon.findings.heights import ChangeRow
from gudgeon.findings.moved import moved_entries
from gudgeon.findings.place_judged import REASONS, Margin, Place, PlacesFinding, Safe
from gudgeon.findings.rules import RuleFindings
from gudgeon.placing.conditions import (
    EVERYWHERE,
    ROUNDING,
    Condition,
    Fixed,
    along,
    holds,
)
from gudgeon.placing.limits import clean_turn, contact_ends, safe_range
from gudgeon.placing.slots import QUARTERS, quarter_of, row_places, seats, seats_at
from gudgeon.quantity.amount import Amount

__all__ = ["USUAL_PLAY_MM", "PlaceFindings"]


class PlaceFindings(FlangeFindings, RuleFindings):
    """Facts about the place of the unit on the table."""

    @property
    def middle_slot_mm(self) -> float | None:
        """Middle of the slot that offsets are counted from: the middle one by count."""
        slots = sorted(item.value for item in self.cell.machine.slot_positions)
        return slots[(len(slots) - 1) // 2] if slots else None

    @cached_property
    def declared_centre(self) -> tuple[tuple[float, float], bool] | None:
        """Declared place of the origin and whether it was measured; ``None`` if there is none."""
        placement = self.cell.placement
        if placement.centre_x is not None and placement.centre_y is not None:
            return (placement.centre_x.value, placement.centre_y.value), False
        try:
            lines = self.axis_lines
        except Lacking:
            return None
        if not lines.measured:
            return None
        x, y, _ = lines.chain.axes[-1].line.point_mm
        return (x, y), True

    @cached_property
    def declared_place(self) -> Place | None:
        """The declared place, judged; ``None`` if the file names none."""
        centre = self.declared_centre
        if centre is None:
            return None
        return self._judge(self.declared_yaw_rad, centre[0], None)

    @cached_property
    def places(self) -> PlacesFinding:
        """Every seat of the lugs on the slots at every yaw, ranked; raises `Lacking`."""
        machine, unit, placement = self.cell.machine, self.cell.unit, self.cell.placement
        gather = self.gather()
        why = "the places that are possible follow from it"
        gather.need(
            machine.slots_along,
            "machine.slots_along",
            "direction of the T-slots",
            why=why,
            how='look at the table: write slots_along = "X" or "Y"',
        )
        gather.need(
            machine.slot_positions,
            "machine.slot_positions",
            "places of the T-slots",
            why=why,
            how="indicate the middle of each T-slot and read the machine coordinate across it",
        )
        gather.need(
            unit.lug_rows or unit.lug_columns,
            "unit.lug_rows",
            "rows of clamping lugs on the unit",
            why=why,
            how="measure each row of lugs from the platter's centre, towards the rear positive",
        )
        gather.stop()
        assert machine.slots_along is not None
        slots = [item.value for item in machine.slot_positions]
        rows = [item.value for item in unit.lug_rows]
        columns = [item.value for item in unit.lug_columns]
        play = unit.lug_play.value if unit.lug_play else 0.0
        needed = unit.lugs_needed or 1
        across = 1 if machine.slots_along == "X" else 0
        wished = self._wished(1 - across)
        told: list[str] = []
        found: list[Place] = []
        asked = [item.value for item in placement.yaws] or list(QUARTERS)
        for yaw in asked:
            quarter = quarter_of(yaw)
            if quarter is None:
                told.append(
                    f"Yaw {math.degrees(yaw):g} deg is not square to the slots: not judged."
                )
                continue
            lugs = row_places(quarter, machine.slots_along, rows, columns)
            if not lugs:
                key = "lug_columns" if rows else "lug_rows"
                told.append(f"Yaw {90 * quarter} deg is not judged: unit.{key} is not given.")
                continue
            turned = quarter * math.pi / 2.0
            rules = self.rules(turned)
            for seat in seats(slots, lugs, needed, play):
                start = (0.0, seat.across_mm) if across == 1 else (seat.across_mm, 0.0)
                at, room = along(rules, 1 - across, start, wished)
                if wished is None and room == EVERYWHERE:
                    at = self._middle_of_travel(1 - across)
                place = (at, seat.across_mm) if across == 1 else (seat.across_mm, at)
                found.append(self._judge(turned, place, rules))
        middle = self.middle_slot_mm
        assert middle is not None
        return PlacesFinding(tuple(sorted(found, key=_rank)), middle, tuple(dict.fromkeys(told)))

    @cached_property
    def chosen_place(self) -> Place | None:
        """The declared place; without one the best seat; ``None`` if there is neither."""
        if self.declared_place is not None:
            return self.declared_place
        try:
            places = self.places.places
        except Lacking:
            return None
        return places[0] if places else None

    @property
    def change_clear_of_load(self) -> bool:
        """Whether the load, over all tilts and turns, stays out of the changer's arm zone.

        True only where the change has a place of its own in X or Y and the zone is entered.
        """
        place, zone = self.chosen_place, self.change_zone
        if place is None or zone is None:
            return False
        try:
            extent = self.load_extent.turned(place.yaw_rad)
        except Lacking:
            return False
        ends = (
            (place.x_mm - extent.left, place.x_mm + extent.right),
            (place.y_mm - extent.front, place.y_mm + extent.rear),
        )
        return any(
            high <= low_zone or low >= high_zone
            for (low, high), (low_zone, high_zone) in zip(ends, zone, strict=True)
        )

    def change_allowed(self, row: ChangeRow) -> bool:
        """Return whether a tool may be changed in the pose of a row."""
        keep = self.cell.placement.clearance
        room = keep.value if keep else 0.0
        if self.change_clear_of_load:
            return True
        sure = row.clearance_mm - self.change_doubt(row)
        # Contact is no room: a rounded zero must not pass for a clearance.
        return sure >= room - ROUNDING if room > 0.0 else sure > ROUNDING

    def change_doubt(self, row: ChangeRow) -> float:
        """Return the expanded uncertainty (k = 2) of the clearance of a row [mm]."""
        return self.spreads.get(_change_name(self.changes.rows.index(row)), 0.0)

    @cached_property
    def spreads(self) -> dict[str, float]:
        """Expanded uncertainty (k = 2) of heights, tool changes, limits and margins, by name.

        Every entry with a stated uncertainty is moved to both ends of it, one at a time, and the
        half differences are added in squares (JCGM 100:2008, 5.1.2 with differences for the
        derivatives).  Names are those of `_numbers`.
        """
        cell = self.placed_cell
        base = _numbers(self)
        squares = dict.fromkeys(base, 0.0)
        moved = list(moved_entries(cell))
        for number, (_, lower, higher) in enumerate(moved):
            self.going(number / len(moved))
            ends = (_numbers(self._again(lower)), _numbers(self._again(higher)))
            for name in base:
                if name in ends[0] and name in ends[1]:
                    squares[name] += ((ends[1][name] - ends[0][name]) / 2.0) ** 2
        return {name: math.sqrt(square) for name, square in squares.items() if square > NO_SPREAD}

    def heaviest_doubt(self, name: str) -> str | None:
        """Return the entry whose uncertainty moves a number most, such as "unit.face_height"."""
        worst: tuple[float, str] | None = None
        for key, lower, higher in moved_entries(self.placed_cell):
            ends = (_numbers(self._again(lower)), _numbers(self._again(higher)))
            if name in ends[0] and name in ends[1]:
                effect = abs(ends[1][name] - ends[0][name])
                if effect > 0.0 and (worst is None or effect > worst[0]):
                    worst = (effect, key)
        return None if worst is None else worst[1]

    def safe_travel(self, yaw_rad: float, place: tuple[float, float]) -> Safe:
        """Return the travel in which the unit at a place keeps its room to all guards."""
        machine = self.cell.machine
        extent = self.unit_extent[0].turned(yaw_rad)
        known = tuple(wall for wall in self.walls if math.isfinite(extent.towards(wall.side)))
        ranges: list[tuple[float, float] | None] = []
        contact = [(False, False), (False, False)]
        for axis, travel in enumerate((machine.travel_x, machine.travel_y)):
            if travel is None:
                ranges.append(None)
                continue
            walls = tuple(wall for wall in known if wall.axis == axis)
            ends = (travel[0].value, travel[1].value)
            found = safe_range(ends, place[axis], walls, extent)
            ranges.append(found)
            contact[axis] = contact_ends(found, place[axis], walls, extent)
        return Safe(ranges[0], ranges[1], (contact[0], contact[1]))

    def _judge(
        self, yaw_rad: float, place: tuple[float, float], rules: tuple[Condition, ...] | None
    ) -> Place:
        machine = self.cell.machine
        conditions = list(self.rules(yaw_rad) if rules is None else rules)
        seating, seat = self._seating(yaw_rad, place)
        conditions = [*seating, *conditions]
        margins = [
            Margin(item.reason, item.note, item.margin(place) + 0.0, holds(item, place))
            for item in conditions
        ]
        margins.sort(key=lambda margin: REASONS.index(margin.reason))
        cosine, sine = clean_turn(yaw_rad)
        # The tilt line passes unit frame y = -axis_offset.  A seat is named by what the unit is
        # made to: hundredths that the touches find would only blur which slot is meant.
        made = self.cell.unit.axis_offset
        tilt_y = -made.value if made is not None and self.has_tilt else 0.0
        line = (place[0] - sine * tilt_y, place[1] + cosine * tilt_y)
        along_x = abs(cosine) >= abs(sine)
        offset = None
        middle = self.middle_slot_mm
        if middle is not None and machine.slots_along is not None:
            across = 1 if machine.slots_along == "X" else 0
            parallel = along_x == (machine.slots_along == "X")
            offset = (line if parallel else place)[across] - middle
        slide = 0 if machine.slots_along != "Y" else 1
        _, room = along(conditions, slide, place, None)
        safe = self.safe_travel(yaw_rad, place)
        return Place(
            yaw_rad=yaw_rad,
            x_mm=place[0],
            y_mm=place[1],
            tilt_mm=line[1] if along_x else line[0],
            offset_mm=offset,
            seat=seat,
            room=room,
            margins=tuple(margins),
            safe=safe,
            stations=self._stations(yaw_rad, place, safe),
        )

    def _seating(
        self, yaw_rad: float, place: tuple[float, float]
    ) -> tuple[list[Condition], tuple[tuple[int, int], ...]]:
        """Return the condition of lugs over slots at one place, and which lie there."""
        machine, unit = self.cell.machine, self.cell.unit
        slots = [item.value for item in machine.slot_positions]
        quarter = quarter_of(yaw_rad)
        if not slots or machine.slots_along is None or quarter is None:
            return [], ()
        rows = row_places(
            quarter,
            machine.slots_along,
            [item.value for item in unit.lug_rows],
            [item.value for item in unit.lug_columns],
        )
        if not rows:
            return [], ()
        across = place[1 if machine.slots_along == "X" else 0]
        play = unit.lug_play.value if unit.lug_play else USUAL_PLAY_MM
        needed = unit.lugs_needed or 1
        gaps = sorted(min(abs(across + row - slot) for slot in slots) for row in rows)
        note = f"{needed} row{'s' * (needed > 1)} of lugs over the slots"
        room = -math.inf if len(gaps) < needed else play - gaps[needed - 1]
        seat = seats_at(slots, rows, play, across)
        if len(seat) < needed <= len(gaps) and room >= 0.0:
            room = -play  # two rows over one slot: the same slot cannot take both
        if -SEAT_ROUNDING <= room < 0.0:
            room = 0.0
        return [Fixed("slots", note, room)], seat

    def _stations(self, yaw_rad: float, place: tuple[float, float], safe: Safe) -> tuple[int, int]:
        """Return how many stations have all zeros, approach included, within safe travel."""
        placement = self.cell.placement
        room = placement.approach.value if placement.approach else 0.0
        cosine, sine = clean_turn(yaw_rad - self.declared_yaw_rad)
        reached: dict[str, bool] = {}
        for zero in self._zeros_or_none():
            x, y, _ = zero.point_mm
            at = (
                place[0] + x * cosine - y * sine,
                place[1] + x * sine + y * cosine,
            )
            good = all(
                safe.short(axis, value - room, value + room) is None
                for axis, value in enumerate(at)
            )
            reached[zero.station] = reached.get(zero.station, True) and good
        if not reached and not self.faces_not_shown:
            return 0, 0  # not known
        return sum(reached.values()), max(len(reached), len(self.cell.stations))

    def _wished(self, axis: int) -> float | None:
        """Return the declared coordinate along the slots."""
        placement = self.cell.placement
        amount = (placement.centre_x, placement.centre_y)[axis]
        if amount is not None:
            return amount.value
        declared = self.declared_centre
        return None if declared is None else declared[0][axis]

    def _middle_of_travel(self, axis: int) -> float:
        """Return where the unit is drawn if nothing tells its place along the slots."""
        machine = self.cell.machine
        travel = (machine.travel_x, machine.travel_y)[axis]
        return 0.0 if travel is None else (travel[0].value + travel[1].value) / 2.0

    def _again(self, cell: Cell) -> PlaceFindings:
        """Return findings of a changed cell with the place that is judged here."""
        again = type(self)(cell)
        chosen = self.chosen_place
        if chosen is not None and self.declared_place is None:
            placement = replace(
                cell.placement,
                centre_x=Amount(chosen.x_mm),
                centre_y=Amount(chosen.y_mm),
                yaw=Amount(chosen.yaw_rad),
            )
            again = type(self)(replace(cell, placement=placement))
        return again


NO_SPREAD: Final = 1e-12
"""Squares below this are rounding: an uncertainty of a nanometre [mm^2]."""
USUAL_PLAY_MM: Final = 0.8
"""Half of what a T-slot is wider than its bolt: a unit that was read on the machine may stand so
far beside the middle of its slots (BS 2485; see `gudgeon.findings.joints`)."""
SEAT_ROUNDING: Final = 1e-6
"""As in `gudgeon.placing.slots`: places closer than this are one [mm]."""


def _rank(place: Place) -> tuple[bool, int, float, float]:
    """Order places: working ones, most stations, most room, least yaw."""
    tightest = place.tightest
    least = 0.0 if tightest is None else tightest.margin_mm
    return (not place.works, -place.stations[0], -round(least, 6), place.yaw_rad)


def _numbers(findings: PlaceFindings) -> dict[str, float]:
    """Return every number of a cell's place that an uncertainty may move, by name [mm]."""
    found: dict[str, float] = {}
    try:
        heights = findings.heights
    except Lacking:
        pass
    else:
        for name in ("flat_mm", "upright_mm", "upright_turning_mm", "way_mm", "any_mm"):
            value = getattr(heights, name)
            if value is not None:
                found[name] = value
    try:
        changes = findings.changes
    except Lacking:
        pass
    else:
        found["tip"] = changes.tip_mm
        for number, row in enumerate(changes.rows):
            found[_change_name(number)] = row.clearance_mm
        for name, turning in (("flat", False), ("upright", False), ("upright", True)):
            room = changes.worst(name, turning)
            if room is not None:
                found[f"change {name}{' turning' if turning else ''}"] = room
    place = findings.chosen_place
    if place is not None:
        for letter, ends in (("x", place.safe.x), ("y", place.safe.y)):
            if ends is not None:
                found[f"{letter}_min"], found[f"{letter}_max"] = ends
        for margin in place.margins:
            if math.isfinite(margin.margin_mm):
                found[f"{margin.reason}: {margin.note}"] = margin.margin_mm
    return found


def _change_name(number: int) -> str:
    """Return the name of a row of tool changes among the numbers of `_numbers`."""
    return f"change {number}"
