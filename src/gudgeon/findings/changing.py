"""Where a tool may be changed: the proven map of tilt and turn for each tool, and the way there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.bodies import most
from gudgeon.findings.gather import Lacking
from gudgeon.findings.heights import change_stroke
from gudgeon.findings.hoses import HangingFinding, all_ranges, covered
from gudgeon.findings.parking import Park, ParkingFindings, Way
from gudgeon.findings.proofs import CONTACT_MM, SKETCH, WORK, ToolInHand

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import ClearMap, Proof, SafeBox
    from gudgeon.clearance.prove import Gap
    from gudgeon.clearance.scene import Body
    from gudgeon.quantity.amount import Amount

__all__ = ["ChangingFinding", "ChangingFindings", "Room", "ToolMap"]

Floats = NDArray[np.float64]

TILT_CELLS: Final = 24
TURN_CELLS: Final = 12

FAR_MM: Final = 2000.0
"""Heights within which the room over the load is looked for, either way."""

MOST_TIED: Final = 4
"""For the ranges after these the ties are worked out over all at once."""

ROOM_TOL_MM: Final = 0.01


@dataclass(frozen=True, slots=True)
class ToolMap:
    """In which poses one tool may be changed.

    Attributes
    ----------
    hand : ToolInHand
    bodies : tuple of Body
        Tool, nose and arm.
    map : ClearMap
    """

    hand: ToolInHand
    bodies: tuple[Body, ...]
    map: ClearMap


@dataclass(frozen=True, slots=True)
class Room:
    """Height left under a tool that is being changed, in one pose.

    Attributes
    ----------
    tool, pose : str
    tilt_rad : float
    turn_rad : float or None
        ``None``: at every turn.
    room_mm : float
        How much lower the change could be before something touches; negative: how much too low it
        is.  Proven: the room is no smaller.
    allowed : bool
        Whether the clearance asked is proven in this pose.
    """

    tool: str
    pose: str
    tilt_rad: float
    turn_rad: float | None
    room_mm: float
    allowed: bool


@dataclass(frozen=True, slots=True)
class ChangingFinding:
    """In which poses tools may be changed.

    Attributes
    ----------
    maps : tuple of ToolMap
        The longest tool first.
    together : ClearMap
        Where every tool may be changed for every other.
    z_mm, down_mm : float
        Machine Z at the change, and how far a tool is pulled down.
    tip_mm : float
        Lowest machine Z of the longest tool's tip.
    low, high : ndarray, shape (5,)
        Where the spindle may stand at a change.
    need_mm : float
    park : Park or None
        Best pose for the change; ``None`` where every pose is clear, or none.
    ranges : tuple of SafeBox
        Every range of tilt and turn that is proven, that round the best pose first; none where
        there is no best pose.
    beside : tuple of (x, y), or None
        Place of the spindle at which every pose is clear, where the pose counts elsewhere [mm].
    ways : tuple of Way
    assumed : tuple of str
    """

    maps: tuple[ToolMap, ...]
    together: ClearMap
    z_mm: float
    down_mm: float
    tip_mm: float
    low: Floats
    high: Floats
    need_mm: float
    park: Park | None
    ranges: tuple[SafeBox, ...]
    beside: tuple[float, float] | None
    ways: tuple[Way, ...]
    assumed: tuple[str, ...]


class ChangingFindings(ParkingFindings):
    """Facts about tool changes."""

    @property
    def change_need_mm(self) -> float:
        """Clearance asked of a change: head room that must remain, else that of every motion."""
        keep = self.cell.placement.clearance
        return max(self.asked_mm if keep is None else keep.value, CONTACT_MM)

    @cached_property
    def change_box(self) -> tuple[Floats, Floats, float]:
        """Where the spindle may stand at a change, low and high corner, and the pull-down."""
        changer, gather = self.cell.machine.changer, self.gather()
        z, down = change_stroke(changer, gather)
        for part in ("ranges", "scene", "tools_in_hand"):
            try:
                getattr(self, part)
            except Lacking as lacking:
                gather.also(lacking)
        gather.stop()
        low, high = self.ranges.low.copy(), self.ranges.high.copy()
        for k, at in enumerate((changer.x, changer.y)):
            if at is not None:
                low[k] = high[k] = at.value
        low[2] = high[2] = z.value
        return low, high, most(down)

    @cached_property
    def changing(self) -> ChangingFinding:
        """The map of every tool, the best pose and the ways there; raises `Lacking`."""
        low, high, down = self.change_box
        arm = self._arm
        parts = (
            *self._under_the_head,
            [(hand.name, hand.bodies) for hand in self.tools_in_hand],
            low,
            high,
            down,
            [None if half is None else most(half) for half in arm],
            self.change_need_mm,
            self.work_poses,
            self.ranges.low,
            self.ranges.high,
            self.asked_mm,
        )
        return self.kept("changing", parts, self._changing)

    @cached_property
    def change_ties(self) -> tuple[tuple[HangingFinding, ...], ...]:
        """What each hose may meet of tool, nose and arm, for each of the ranges; `Lacking`.

        Hoses are no part of the maps: that one may hang somewhere is no touch, and a tie settles
        it.  One entry, for every pose, where no range is needed.
        """
        from gudgeon.clearance.envelope import all_of

        low, high, down = self.change_box
        heads = [
            (hand.name, (*hand.bodies, *self._arm_bodies(hand, down)), float(low[2]) - down)
            for hand in self.tools_in_hand
        ]

        def hung(poses: tuple[Floats, Floats] | None) -> tuple[HangingFinding, ...]:
            return self.hanging(
                (low, high), lambda scene, chosen: all_of(()), heads, turning=False, poses=poses
            )

        boxes = [(box.low[3:], box.high[3:]) for box in self.changing.ranges]
        if not boxes:
            return (hung(None),)
        found = [hung(poses) for poses in boxes[:MOST_TIED]]
        if rest := boxes[MOST_TIED:]:  # one space that holds them all
            whole = (
                np.min([start for start, _ in rest], axis=0),
                np.max([end for _, end in rest], axis=0),
            )
            found += [hung(whole)] * len(rest)
        return tuple(found)

    @cached_property
    def change_told(self) -> tuple[bool, ...]:
        """Which of the ranges need no more ties than that round the best pose; `Lacking`."""
        ties = self.change_ties
        return tuple(covered(found, ties[0]) for found in ties)

    @cached_property
    def change_hoses(self) -> tuple[HangingFinding, ...]:
        """What each hose may meet in all the ranges of `change_told`; raises `Lacking`."""
        return all_ranges(
            hang
            for told, found in zip(self.change_told, self.change_ties, strict=True)
            for hang in found
            if told
        )

    @cached_property
    def change_rooms(self) -> tuple[Room, ...]:
        """Room of every tool in the poses that are named; raises `Lacking`."""
        low, high, down = self.change_box
        return tuple(
            room
            for hand in self.tools_in_hand
            for room in self.kept(
                "rooms",
                (
                    *self._under_the_head,
                    hand.name,
                    hand.bodies,
                    low,
                    high,
                    down,
                    self.change_need_mm,
                    self._named_poses,
                    [None if half is None else most(half) for half in self._arm],
                ),
                lambda hand=hand: self._rooms(hand),  # type: ignore[misc]
            )
        )

    # --- how it is worked out -------------------------------------------------------------------

    @property
    def _under_the_head(self) -> tuple[object, ...]:
        """What a change can meet: everything on the table, and where it turns."""
        from gudgeon.clearance.scene import Carrier

        scene = self.scene.scene
        on_table = (Carrier.TABLE, Carrier.TILT, Carrier.ROTARY)
        bodies = tuple(body for body in scene.bodies if body.carrier in on_table)
        return bodies, scene.lines, scene.apart, scene.unsure_mm

    @property
    def _arm(self) -> tuple[Amount | None, Amount | None]:
        changer = self.cell.machine.changer
        return changer.arm_half_width, changer.arm_half_depth

    def _changing(self) -> ChangingFinding:
        from gudgeon.clearance.envelope import all_of, clear_map

        low, high, down = self.change_box
        need = self.change_need_mm
        ranges = self.ranges
        tilts = (
            np.linspace(ranges.low[3], ranges.high[3], TILT_CELLS + 1)
            if self.has_tilt
            else np.zeros(2)
        )
        # Without ends the cells lie about 0, 30, 60 ... deg, the turns that shops name.
        back = math.pi / TURN_CELLS if ranges.endless else 0.0
        turns = np.linspace(ranges.low[4] - back, ranges.high[4] - back, TURN_CELLS + 1)
        proofs = {hand.name: self._change_proof(hand, need) for hand in self.tools_in_hand}
        quick = {hand.name: self._change_proof(hand, need, SKETCH) for hand in self.tools_in_hand}
        maps = []
        for number, hand in enumerate(self.tools_in_hand):
            self.going(number / len(self.tools_in_hand))
            found = clear_map(proofs[hand.name], low, high, tilts, turns, quick[hand.name])
            maps.append(ToolMap(hand, (*hand.bodies, *self._arm_bodies(hand, down)), found))
        together = maps[0].map
        for item in maps[1:]:
            together = together.joined(item.map)
        every = all_of(list(proofs.values()))
        soon = all_of(list(quick.values()))
        park = None if together.clear else self._park(every, soon, together, low, high)
        beside = None if together.clear else self._beside(every, low, high)
        ways = () if park is None else self._ways(park)
        longest = self.tools_in_hand[0]
        return ChangingFinding(
            maps=tuple(maps),
            together=together,
            z_mm=float(low[2]),
            down_mm=down,
            tip_mm=float(low[2]) - longest.length_mm - down,
            low=low,
            high=high,
            need_mm=need,
            park=park,
            ranges=() if park is None else self._clear_ranges(soon, together, park, low, high),
            beside=beside,
            ways=ways,
            assumed=self._change_told(),
        )

    def _change_proof(self, hand: ToolInHand, need_mm: float, work: int = WORK) -> Proof:
        """Return the proof of a change of one tool: the tool on its way down, the arm, the nose."""
        from gudgeon.clearance.envelope import all_of
        from gudgeon.clearance.scene import Role

        down = self.change_box[2]
        pulled = tuple(body for body in hand.bodies if body.role is not Role.NOSE)
        stays = tuple(body for body in hand.bodies if body.role is Role.NOSE)
        stays = (*stays, *self._arm_bodies(hand, down))
        with_tool = self.head_proof(pulled, need_mm, work=work, hoses=False)

        def on_the_way(low: Floats, high: Floats) -> Gap:
            lower = low.copy()
            lower[2] -= down
            return with_tool(lower, high)

        proofs: list[Proof] = [on_the_way]
        if stays:
            proofs.append(self.head_proof(stays, need_mm, work=work, hoses=False))
        return all_of(proofs)

    def _arm_bodies(self, hand: ToolInHand, down: float) -> tuple[Body, ...]:
        """Return what arm and tool sweep beside the spindle line; none if not entered.

        A direction in which the sweep is not entered has no end.
        """
        from gudgeon.clearance.pieces import box
        from gudgeon.clearance.scene import Body, Carrier, Role

        halves = self._arm
        if halves[0] is None and halves[1] is None:
            return ()
        x, y = (FAR_MM if half is None else most(half) for half in halves)
        solid = box((-x, x), (-y, y), (-hand.length_mm - down, 0.0))
        return (Body("changer's arm", Carrier.HEAD, Role.HOLDER, (solid,)),)

    def _rooms(self, hand: ToolInHand) -> tuple[Room, ...]:
        from gudgeon.clearance.envelope import lowest_z

        low, high, _ = self.change_box
        touch, asked = (
            self._change_proof(hand, CONTACT_MM),
            self._change_proof(hand, self.change_need_mm),
        )
        rooms = []
        for name, tilt, turn in self._named_poses:
            lo, hi = low.copy(), high.copy()
            lo[3], hi[3] = tilt, tilt
            if turn is None:
                lo[4], hi[4] = self.ranges.low[4], self.ranges.high[4]
            else:
                lo[4] = hi[4] = self._turn_within(turn)
            allowed = asked(lo, hi).status == 0
            z = float(low[2])
            found = lowest_z(touch, lo, hi, z + FAR_MM, z - FAR_MM, ROOM_TOL_MM)
            room = -math.inf if found.z_mm is None else z - found.z_mm
            rooms.append(Room(hand.name, name, tilt, turn, room, allowed))
        return tuple(rooms)

    def _change_told(self) -> tuple[str, ...]:
        changer = self.cell.machine.changer
        told = []
        if changer.x is None or changer.y is None:
            free = " and ".join(
                letter for letter, at in (("X", changer.x), ("Y", changer.y)) if at is None
            )
            told.append(
                f"A tool change may happen anywhere in the travel of {free}: the change does not "
                "move it."
            )
        if changer.arm_half_depth is None and changer.arm_half_width is None:
            told.append(
                "The sweep of the changer's arm is not entered: the tool on its way down and the "
                "nose are judged, the arm beside them is not."
            )
        elif changer.arm_half_depth is None or changer.arm_half_width is None:
            letter = "X" if changer.arm_half_width is None else "Y"
            told.append(f"The changer's arm is taken to sweep any distance along {letter}.")
        short = [tool for tool in self.cell.tools if tool.length is None]
        if short:
            told.append(f"{len(short)} tool(s) without a length are not judged.")
        return tuple(told)
