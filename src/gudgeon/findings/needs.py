"""What the place must allow for: extents, walls, needed travel, the changer's zone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from gudgeon.findings.gather import Lacking
from gudgeon.findings.heights import HeightFindings
from gudgeon.findings.shape import UnitZero, WorkPose, solid_of
from gudgeon.placing.limits import Extent, Side, Wall, clean_turn, comes_nearer
from gudgeon.placing.swept import FRONT, REAR

__all__ = ["SIDES", "Need", "NeedFindings"]

SIDES: Final[tuple[tuple[Side, int, int], ...]] = (
    ("right", 0, 1),
    ("left", 0, -1),
    ("rear", 1, 1),
    ("front", 1, -1),
)
"""Sides of the spindle line or of the unit, with machine axis and sign."""


@dataclass(frozen=True, slots=True)
class Need:
    """Travel that is needed from the unit's origin along one machine axis [mm].

    Attributes
    ----------
    low_mm, high_mm : float
        Ends from the origin, approach included.
    low_note, high_note : str
        What sets each end.
    """

    low_mm: float
    high_mm: float
    low_note: str
    high_note: str


class NeedFindings(HeightFindings):
    """Facts about extents and needs, which rules of place are made of."""

    @cached_property
    def walls(self) -> tuple[Wall, ...]:
        """Guards, column and door that are entered."""
        machine = self.cell.machine
        layout = machine.layout or "moving table"
        entered = {
            "right": (machine.guard_right, machine.margin_x),
            "left": (machine.guard_left, machine.margin_x),
            "rear": (machine.column_behind, machine.margin_y),
            "front": (machine.door_front, machine.margin_y),
        }
        return tuple(
            Wall(side, at.value, room.value if room else 0.0, comes_nearer(layout, side))
            for side, _, _ in SIDES
            for at, room in (entered[side],)
            if at is not None
        )

    @cached_property
    def load_extent(self) -> Extent:
        """How far the load reaches from the origin over all tilts and turns; raises `Lacking`."""
        shape = self.load_shape
        low, high = shape.work_range(shape.low_rad, shape.high_rad)
        section = shape.section(None)
        left, right = shape.plan_x
        return Extent(
            right=right,
            left=-left,
            rear=shape.tilt_y_mm + section.furthest(REAR, low, high).reach_mm,
            front=-shape.tilt_y_mm + section.furthest(FRONT, low, high).reach_mm,
        )

    @cached_property
    def unit_extent(self) -> tuple[Extent, tuple[str, ...]]:
        """How far body, boxes and swept load reach from the origin, unit frame; what is unknown.

        A side about which nothing is known reaches minus infinity: it never meets a wall.
        """
        unit = self.cell.unit
        reach = dict.fromkeys(("right", "left", "rear", "front"), -math.inf)
        unknown: list[str] = []
        bodies = {
            "right": unit.body_right,
            "left": unit.body_left,
            "rear": unit.body_rear,
            "front": unit.body_front,
        }
        for side, body in bodies.items():
            if body is None:
                unknown.append(f"unit.body_{side}")
            else:
                reach[side] = body.value
        for box in unit.boxes:
            for side, ends, index, sign in (
                ("right", box.x, 1, 1),
                ("left", box.x, 0, -1),
                ("rear", box.y, 1, 1),
                ("front", box.y, 0, -1),
            ):
                if ends is not None:
                    reach[side] = max(reach[side], sign * ends[index].value)
        try:
            load = self.load_extent
        except Lacking:
            unknown.append("fixture")
        else:
            for side, _, _ in SIDES:
                reach[side] = max(reach[side], load.towards(side))
        extent = Extent(reach["right"], reach["left"], reach["rear"], reach["front"])
        return extent, tuple(unknown)

    def needs(self, yaw_rad: float) -> tuple[Need | None, Need | None]:
        """Return the travel needed in X and in Y at one yaw; ``None`` where nothing tells."""
        placement = self.cell.placement
        delta = yaw_rad - self.declared_yaw_rad
        cosine, sine = clean_turn(delta)
        approach = placement.approach.value if placement.approach else 0.0
        from_zeros: list[Need | None] = [None, None]
        try:
            zeros = self.zeros_on_unit
        except Lacking:
            zeros = ()
        if zeros:
            for axis in range(2):
                places = []
                for zero in zeros:
                    x, y, _ = zero.point_mm
                    at = (x * cosine - y * sine, x * sine + y * cosine)[axis]
                    places.append((at, f"station {zero.station}, {zero.face}"))
                low, high = min(places), max(places)
                from_zeros[axis] = Need(low[0] - approach, high[0] + approach, low[1], high[1])
        stated = (placement.reach_x, placement.reach_y)
        turned: list[Need | None] = list(from_zeros)
        for axis in range(2):
            # The stated reach belongs to the unit as declared: it turns with it.
            parts = (abs((cosine, sine)[axis]), abs((sine, cosine)[axis]))
            used = [(part, reach) for part, reach in zip(parts, stated, strict=True) if part > 1e-9]
            if used and all(reach is not None for _, reach in used):
                size = sum(part * reach.value for part, reach in used if reach is not None)
                turned[axis] = Need(-size, size, "stated reach", "stated reach")
        return turned[0], turned[1]

    @property
    def change_zone(self) -> tuple[tuple[float, float], tuple[float, float]] | None:
        """Zone of the changer's arm in X and in Y, machine coordinates; ``None``: anywhere.

        A direction in which the change does not move the machine, or in which the arm's sweep is
        not entered, has no ends.
        """
        changer = self.cell.machine.changer
        sides = []
        for at, half in (
            (changer.x, changer.arm_half_width),
            (changer.y, changer.arm_half_depth),
        ):
            if at is None or half is None:
                sides.append((-math.inf, math.inf))
            else:
                sides.append((at.value - half.value, at.value + half.value))
        if all(math.isinf(low) for low, _ in sides):
            return None
        return sides[0], sides[1]

    @cached_property
    def change_beside(self) -> tuple[tuple[str, float], ...]:
        """Fixed boxes into which the longest tool would be pulled, where the change moves nothing.

        Name and depth [mm]; the change must then be made beside them.
        """
        try:
            tip, base = self.change_tip_mm[0], self.table_top_mm + self.axis_height_mm
        except Lacking:
            return ()
        changer = self.cell.machine.changer
        if changer.x is not None or changer.y is not None:
            return ()
        keep = self.cell.placement.clearance
        solids = (solid_of(box) for box in self.cell.unit.boxes if box.turns_with in (None, "base"))
        deep = (
            (solid.name, base + solid.top_mm + (keep.value if keep else 0.0) - tip)
            for solid in solids
            if solid is not None
        )
        return tuple((name, depth) for name, depth in deep if depth >= 0.0)

    @property
    def usual_poses(self) -> tuple[WorkPose, ...]:
        """Poses that are judged where the file names none: flat and upright, as far as reached."""
        try:
            shape = self.load_shape
        except Lacking:
            return ()
        if not shape.has_tilt:
            return (WorkPose("any turn", 0.0, 0.0),)
        named = (("flat", 0.0), ("upright", math.pi / 2.0), ("upright", -math.pi / 2.0))
        found = tuple(WorkPose(name, tilt, 0.0) for name, tilt in named if shape.reaches(tilt))
        return found or (WorkPose("lowest tilt", shape.low_rad, 0.0),)

    def _zeros_or_none(self) -> tuple[UnitZero, ...]:
        try:
            return self.zeros_on_unit
        except Lacking:
            return ()
