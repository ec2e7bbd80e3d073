"""The conditions that a place on the table must keep, from what the cell file states."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from gudgeon.answer import Missing
from gudgeon.cell.model import Box, Hose
from gudgeon.findings.gather import Lacking
from gudgeon.findings.needs import SIDES, NeedFindings
from gudgeon.findings.shape import solid_of
from gudgeon.placing.conditions import ROUNDING, Bound, Condition, Fixed, Keepout, Tether
from gudgeon.placing.limits import Extent, Side, clean_turn

__all__ = ["LeftOut", "RuleFindings"]

AXES: Final = "XY"
_WHY: Final = {
    "travel": "nobody can say whether every zero can be reached",
    "head room": "nobody can say whether tools clear the load and the unit",
    "cable": "nobody can say whether it reaches in this place",
    "table edge": "nobody can say whether the body stands on the table",
    "guard": "nobody can say where the unit meets a guard, the column or the door",
}


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A condition that could not be judged.

    Attributes
    ----------
    reason : str
        The reason word of the condition.
    told : str
        What was left out, as a sentence.
    missing : Missing
        The entry that would let it be judged.
    """

    reason: str
    told: str
    missing: Missing


class RuleFindings(NeedFindings):
    """Conditions by yaw; what cannot be judged is told once for the whole cell."""

    @cached_property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Every condition that lacks an entry, in the order of the job."""
        found: dict[tuple[str, str], LeftOut] = {}
        for item in self._rules(self.declared_yaw_rad)[1]:
            found.setdefault((item.reason, item.missing.where), item)
        return tuple(found.values())

    def rules(self, yaw_rad: float) -> tuple[Condition, ...]:
        """Return the conditions at one yaw, in the order travel, head room, cable, edge, guard."""
        return self._rules(yaw_rad)[0]

    def _rules(self, yaw_rad: float) -> tuple[tuple[Condition, ...], list[LeftOut]]:
        rules: list[Condition] = []
        out: list[LeftOut] = []
        self._travel(yaw_rad, rules, out)
        self._head_room(rules, out)
        self._change(yaw_rad, rules, out)
        self._hoses(yaw_rad, rules, out)
        self._edges(yaw_rad, rules, out)
        self._guards(yaw_rad, rules, out)
        return tuple(rules), out

    def _travel(self, yaw_rad: float, rules: list[Condition], out: list[LeftOut]) -> None:
        machine = self.cell.machine
        for axis, (travel, need) in enumerate(
            zip((machine.travel_x, machine.travel_y), self.needs(yaw_rad), strict=True)
        ):
            letter = AXES[axis]
            if travel is None:
                self._lack(
                    out,
                    "travel",
                    f"machine.travel_{letter.lower()}",
                    f"travel of machine {letter}",
                    f"jog {letter} to both ends with the table empty and read its coordinates",
                )
                continue
            if need is None:
                self._lack_reach(out, letter)
                continue
            low, high = travel[0].value, travel[1].value
            rules.append(
                Bound(
                    "travel",
                    f"lowest {letter} needed ({need.low_note})",
                    axis,
                    1,
                    low - need.low_mm,
                )
            )
            rules.append(
                Bound(
                    "travel",
                    f"highest {letter} needed ({need.high_note})",
                    axis,
                    -1,
                    high - need.high_mm,
                )
            )
        self._travel_z(rules)

    def _travel_z(self, rules: list[Condition]) -> None:
        """Add the Z travel of every zero: some tool (the named ones: each) must reach it."""
        travel = self.cell.machine.travel_z
        try:
            zeros, up = self.zeros_on_unit, self.table_top_mm + self.axis_height_mm
        except Lacking:
            return  # Z is told with the heights
        if travel is None:
            return
        lengths = tuple(tool.length.value for tool in self.cell.tools if tool.length)
        worst: tuple[float, str] | None = None
        for zero in zeros:
            at = up + zero.point_mm[2]
            rooms = [
                min(at + length - travel[0].value, travel[1].value - at - length)
                for length in (zero.tools_mm or lengths or (0.0,))
            ]
            room = min(rooms) if zero.tools_mm else max(rooms)
            if worst is None or room < worst[0]:
                worst = (room, f"Z at station {zero.station}, {zero.face}")
        if worst is not None:
            rules.append(Fixed("travel", worst[1], worst[0]))

    def _head_room(self, rules: list[Condition], out: list[LeftOut]) -> None:
        machine = self.cell.machine
        keep = self.cell.placement.clearance
        tools = [tool.length.value for tool in self.cell.tools if tool.length]
        if machine.travel_z is None:
            self._lack(
                out,
                "head room",
                "machine.travel_z",
                "travel of machine Z",
                "jog Z to both ends and read its coordinates",
            )
        if not tools:
            self._lack(
                out,
                "head room",
                "tools",
                "length of the longest tool",
                "measure the longest tool, gauge point to tip, and enter it in [[tools]]",
            )
        base = None
        try:
            shape, base = self.load_shape, self.table_top_mm + self.axis_height_mm
        except Lacking as lacking:
            self._lack_all(out, "head room", lacking)
            for part in ("axis_height_mm", "table_top_mm"):
                try:
                    getattr(self, part)
                except Lacking as more:
                    self._lack_all(out, "head room", more)
        if machine.travel_z is None or not tools or base is None:
            return
        top = machine.travel_z[1].value
        by_pose: dict[tuple[float, float], list[float]] = {}
        for zero in self._zeros_or_none():
            spot = (round(zero.tilt_rad, 6), round(zero.turn_rad, 6))
            by_pose.setdefault(spot, []).extend(zero.tools_mm)
        rooms: list[tuple[float, str]] = []
        for pose in self.work_poses or self.usual_poses:
            spot = (round(pose.tilt_rad, 6), round(pose.turn_rad, 6))
            length = max(by_pose.get(spot) or tools)
            room = top - length - base - shape.height(pose.tilt_rad, pose.turn_rad)
            rooms.append((room - (keep.value if keep else 0.0), pose.words))
        if not self.work_poses:  # nobody says in which pose is cut: one of them must do
            rooms = [max(rooms)]
        rules += [
            Fixed(
                "head room", f"longest tool over the load, {name}", room, bool(keep and keep.value)
            )
            for room, name in rooms
        ]

    def _change(self, yaw_rad: float, rules: list[Condition], out: list[LeftOut]) -> None:
        """Add the tool change: fixed boxes that stand into the zone of the changer's arm."""
        changer = self.cell.machine.changer
        fixed = [box for box in self.cell.unit.boxes if box.turns_with in (None, "base")]
        try:
            tip, _ = self.change_tip_mm
            base = self.table_top_mm + self.axis_height_mm
        except Lacking as lacking:
            if changer.z is not None or fixed:
                self._lack_all(out, "head room", lacking)
            return
        keep = self.cell.placement.clearance
        room = keep.value if keep else 0.0
        zone = self.change_zone
        for letter, at, half, key in (
            ("X", changer.x, changer.arm_half_width, "arm_half_width"),
            ("Y", changer.y, changer.arm_half_depth, "arm_half_depth"),
        ):
            if at is not None and half is None and zone is None and fixed:
                self._lack(
                    out,
                    "head room",
                    f"machine.changer.{key}",
                    f"how far the changer's arm sweeps beside the spindle line in {letter}",
                    f"measure the arm's sweep from the spindle line in {letter} at a slow change",
                )
        for box in fixed:
            name = box.name or "box"
            solid = solid_of(box)
            if solid is None:
                self._lack(
                    out,
                    "head room",
                    "unit.boxes.z",
                    f"height of {name}",
                    f"measure how high {name} stands over the tilt axis",
                )
                continue
            above = tip - base - solid.top_mm
            if above > room + ROUNDING or (room > 0.0 and above >= room - ROUNDING):
                rules.append(Fixed("head room", f"tool change over {name}", above - room))
            elif zone is not None:  # else the change is made where it is clear: see change_beside
                xs, ys = self._box_plan(box, yaw_rad)
                low = (zone[0][0] - xs[1], zone[1][0] - ys[1])
                high = (zone[0][1] - xs[0], zone[1][1] - ys[0])
                rules.append(Keepout("head room", f"tool change beside {name}", low, high))

    def _hoses(self, yaw_rad: float, rules: list[Condition], out: list[LeftOut]) -> None:
        for hose in self.cell.unit.hoses:
            name = hose.name or "hose"
            if hose.free_length is None:
                self._lack(
                    out,
                    "cable",
                    "unit.hoses.free_length",
                    f"free length of {name}",
                    f"stretch {name} gently between connector and anchor, less its bends",
                )
                continue
            apart = self._apart(hose, yaw_rad)
            height = 0.0
            if hose.connector_z is not None and hose.anchor_z is not None:
                try:
                    base = self.table_top_mm + self.axis_height_mm
                    height = base + hose.connector_z.value - hose.anchor_z.value
                except Lacking as lacking:
                    self._lack_all(out, "cable", lacking)
            if apart == (None, None) and not height:
                self._lack(
                    out,
                    "cable",
                    "unit.hoses.connector_x",
                    f"connector and anchor of {name} in the same direction",
                    f"measure connector and anchor of {name}: connector_x with anchor_x, or "
                    "connector_y with anchor_y",
                )
                continue
            rules.append(Tether("cable", name, apart, height, hose.free_length.value))

    def _edges(self, yaw_rad: float, rules: list[Condition], out: list[LeftOut]) -> None:
        machine, unit, placement = self.cell.machine, self.cell.unit, self.cell.placement
        sides = (unit.body_right, unit.body_left, unit.body_rear, unit.body_front)
        for axis, table in enumerate((machine.table_x, machine.table_y)):
            if table is None:
                letter = AXES[axis]
                self._lack(
                    out,
                    "table edge",
                    f"machine.table_{letter.lower()}",
                    f"ends of the table top in {letter}",
                    f"bring the spindle over both ends of the table and read machine {letter}",
                )
        if machine.table_x is None and machine.table_y is None:
            return
        for side, body in zip(("right", "left", "rear", "front"), sides, strict=True):
            if body is None:
                self._lack(
                    out,
                    "table edge",
                    f"unit.body_{side}",
                    f"how far the body reaches to the {side}",
                    f"measure the body from the platter's centre towards its {side}",
                )
        ends = [math.nan if body is None else body.value for body in sides]
        outline = Extent(*ends).turned(yaw_rad)
        over = placement.overhang.value if placement.overhang else 0.0
        for side, axis, sign in SIDES:
            edge = (machine.table_x, machine.table_y)[axis]
            reach = outline.towards(side)
            if edge is not None and not math.isnan(reach):
                at = edge[1 if sign > 0 else 0].value + sign * (over - reach)
                rules.append(Bound("table edge", f"body, {side} edge", axis, -sign, at))

    def _guards(self, yaw_rad: float, rules: list[Condition], out: list[LeftOut]) -> None:
        extent, unknown = self.unit_extent
        if self.walls and "fixture" in unknown:
            try:
                _ = self.load_shape
            except Lacking as lacking:
                self._lack_all(out, "guard", lacking)
        turned = extent.turned(yaw_rad)
        needs = self.needs(yaw_rad)
        changer = self.cell.machine.changer
        for wall in self.walls:
            reach = turned.towards(wall.side)
            body = self._body_side(wall.side, yaw_rad)
            if f"unit.body_{body}" in unknown:
                self._lack(
                    out,
                    "guard",
                    f"unit.body_{body}",
                    f"how far the body reaches to its {body}",
                    f"measure the body from the platter's centre towards its {body}",
                )
            if math.isinf(reach):
                continue
            limit = wall.limit(reach)
            touching = wall.margin_mm > 0.0
            name = {
                "right": "right guard",
                "left": "left guard",
                "rear": "column behind",
                "front": "door in front",
            }[wall.side]
            if not wall.nearer:
                at = -limit
                rules.append(Bound("guard", name, wall.axis, -wall.sign, at, touching))
                continue
            need = needs[wall.axis]
            if need is not None:
                end = need.low_mm if wall.sign > 0 else need.high_mm
                room = wall.sign * (end - limit)
                rules.append(Fixed("guard", f"{name} over the needed travel", room, touching))
            change = (changer.x, changer.y)[wall.axis]
            if change is not None:
                at = change.value - limit
                rules.append(
                    Bound("guard", f"{name} at a tool change", wall.axis, -wall.sign, at, touching)
                )

    def _apart(self, hose: Hose, yaw_rad: float) -> tuple[float | None, float | None]:
        """Return connector less anchor along X and Y, where both are known at this yaw."""
        cosine, sine = clean_turn(yaw_rad)
        x = None if hose.connector_x is None else hose.connector_x.value
        y = None if hose.connector_y is None else hose.connector_y.value
        found: list[float | None] = []
        for (a, b), anchor in (
            ((cosine, -sine), hose.anchor_x),
            ((sine, cosine), hose.anchor_y),
        ):
            known = (a == 0.0 or x is not None) and (b == 0.0 or y is not None)
            if anchor is None or not known:
                found.append(None)
            else:
                found.append(a * (x or 0.0) + b * (y or 0.0) - anchor.value)
        return found[0], found[1]

    def _box_plan(
        self, box: Box, yaw_rad: float
    ) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return (least x, greatest x), (least y, greatest y) of a box at one yaw."""
        x = (-math.inf, math.inf) if box.x is None else (box.x[0].value, box.x[1].value)
        y = (-math.inf, math.inf) if box.y is None else (box.y[0].value, box.y[1].value)
        turned = Extent(x[1], -x[0], y[1], -y[0]).turned(yaw_rad)
        return (-turned.left, turned.right), (-turned.front, turned.rear)

    @staticmethod
    def _body_side(side: Side, yaw_rad: float) -> str:
        """Return the side of the unit that shows towards a side of the machine."""
        ring: tuple[Side, ...] = ("right", "rear", "left", "front")
        return ring[(ring.index(side) - round(yaw_rad / (math.pi / 2.0))) % 4]

    def _lack_reach(self, out: list[LeftOut], letter: str) -> None:
        try:
            _ = self.zeros_on_unit
        except Lacking as lacking:
            if self.cell.stations:
                self._lack_all(out, "travel", lacking)
                return
        self._lack(
            out,
            "travel",
            f"placement.reach_{letter.lower()}",
            f"{letter} needed either side of the unit",
            f"enter reach_{letter.lower()} under [placement], or [[stations]] and [[parts]]: the "
            "outermost zero plus the tool's approach",
        )

    def _lack(self, out: list[LeftOut], reason: str, key: str, what: str, how: str) -> None:
        missing = Missing(what, f"{self.cell.file}: {key}", _WHY[reason], how)
        out.append(LeftOut(reason, f"Not judged, {reason}: {what} missing.", missing))

    def _lack_all(self, out: list[LeftOut], reason: str, lacking: Lacking) -> None:
        for item in lacking.missing:
            out.append(LeftOut(reason, f"Not judged, {reason}: {item.what} missing.", item))
