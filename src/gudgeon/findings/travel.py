"""Which travel is safe for all tilts and turns: limits of X and Y, planes of Z."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.bodies import ENDLESS_MM, block, least, most
from gudgeon.findings.gather import Lacking
from gudgeon.findings.hoses import HangingFinding, HoseFindings
from gudgeon.findings.proofs import CONTACT_MM, WORK, ToolInHand, between

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import Proof, SafeBox
    from gudgeon.clearance.prove import Gap
    from gudgeon.clearance.scene import Body, Scene

__all__ = ["PlaneFinding", "TravelFinding", "TravelFindings"]

Floats = NDArray[np.float64]

LIMIT_TOL: Final = (0.005, 0.005, 0.05, math.radians(0.02), math.radians(0.02))
"""A side of a safe box ends so near to where the proof fails [mm, rad]."""

PLANE_DIGIT_MM: Final = 0.01
"""Planes are told to this digit, upwards."""


@dataclass(frozen=True, slots=True)
class TravelFinding:
    """Limits in which the unit with its load meets nothing of the machine.

    Attributes
    ----------
    box : SafeBox or None
        ``None``: no place of the table is clear for all tilts and turns.
    failed : Gap or None
        What was met where there is no box.
    itself : SafeBox or Gap
        Tilts and turns in which nothing that turns meets the unit's own standing parts.
    walls : tuple of str
        Names of guards, column and door that were judged.
    """

    box: SafeBox | None
    failed: Gap | None
    itself: SafeBox | Gap
    walls: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlaneFinding:
    """How far down a tool may stand while X, Y, tilt and turn go anywhere within the safe limits.

    Attributes
    ----------
    hand : ToolInHand
    z_mm : float or None
        Lowest safe machine Z; ``None``: not even at the top of Z.
    stop : Gap or None
        What stops it below; ``None`` where Z is free to its lower end.
    poses : SafeBox or None
        Where there is no plane for all poses: tilts and turns in which X and Y are free at the top.
    """

    hand: ToolInHand
    z_mm: float | None
    stop: Gap | None
    poses: SafeBox | None


class TravelFindings(HoseFindings):
    """Facts about safe travel."""

    @cached_property
    def safe_limits(self) -> TravelFinding:
        """Largest limits of X and Y for all tilts, turns and heights; raises `Lacking`."""
        from gudgeon.clearance.envelope import SafeBox

        scene, ranges = self.limits_scene, self.ranges
        walls = tuple(body.name for body in scene.bodies if _is_wall(body))

        def work() -> TravelFinding:
            proof = self._wall_proof(scene)
            box: SafeBox | Gap | None = None
            failed: Gap | None = None
            for seed in self._seeds():
                box = self._xy_box(proof, seed)
                if isinstance(box, SafeBox):
                    break
                failed = box if failed is None else failed
            if not isinstance(box, SafeBox):
                return TravelFinding(None, failed, self._itself(scene), walls)
            return TravelFinding(self._written_inside(box), None, self._itself(scene), walls)

        parts = (scene, ranges.low, ranges.high, self.asked_mm, *self._seeds())
        return self.kept("safe limits", parts, work)

    @cached_property
    def planes(self) -> tuple[PlaneFinding, ...]:
        """Lowest safe Z of every tool over the safe limits, longest tool first; `Lacking`."""
        gather = self.gather()
        for part in ("safe_limits", "tools_in_hand"):
            try:
                getattr(self, part)
            except Lacking as lacking:
                gather.also(lacking)
        gather.stop()
        box = self.safe_limits.box
        scene = self.scene.scene
        low, high = self.ranges.low.copy(), self.ranges.high.copy()
        if box is not None:
            low[:2], high[:2] = box.low[:2], box.high[:2]
        return tuple(
            self.kept(
                "plane",
                (scene, hand.bodies, low, high, self.asked_mm, hand.name),
                lambda hand=hand: self._plane(scene, hand, low, high),  # type: ignore[misc]
            )
            for hand in self.tools_in_hand
        )

    @cached_property
    def hoses_hanging(self) -> tuple[HangingFinding, ...]:
        """What each hose may meet within the safe limits, every tool over its plane; `Lacking`."""
        box = self.safe_limits.box
        if box is None:
            return ()
        low, high = self.ranges.low.copy(), self.ranges.high.copy()
        low[:2], high[:2] = box.low[:2], box.high[:2]
        try:
            planes = self.planes
        except Lacking:
            planes = ()
        top = float(high[2])
        heads = [
            (plane.hand.name, plane.hand.bodies, top if plane.z_mm is None else plane.z_mm)
            for plane in planes
        ]
        return self.hanging((low, high), self._wall_proof, heads)

    def head_proof(
        self,
        hand_bodies: Iterable[Body],
        need_mm: float,
        *,
        work: int = WORK,
        hoses: bool = True,
    ) -> Proof:
        """Return the proof that a tool in the spindle clears table, unit, load and hoses."""
        from gudgeon.clearance.scene import Carrier, Role

        tool = tuple(hand_bodies)
        scene = between(
            self.scene.scene,
            lambda body: body.carrier is Carrier.HEAD and body.role is not Role.GUARD,
            lambda body: (
                body.carrier in (Carrier.TABLE, Carrier.TILT, Carrier.ROTARY)
                and (hoses or body.role is not Role.HOSE)
            ),
            tool,
        )
        return self.proof(scene, tool, need_mm, work=work)

    # --- how it is worked out -------------------------------------------------------------------

    def _plane(self, scene: Scene, hand: ToolInHand, low: Floats, high: Floats) -> PlaneFinding:
        from gudgeon.clearance.envelope import SafeBox, grow, lowest_z

        proof = self.head_proof(hand.bodies, self.asked_mm, hoses=False)
        top = float(self.ranges.high[2])
        found = lowest_z(proof, low, high, top, float(self.ranges.low[2]), 0.05)
        poses = None
        if found.z_mm is None:
            lo, hi = low.copy(), high.copy()
            lo[2] = hi[2] = top
            for seed in self._pose_seeds():
                s_lo, s_hi = lo.copy(), hi.copy()
                s_lo[3:], s_hi[3:] = seed, seed
                sides = ((4, -1), (4, 1), (3, -1), (3, 1))
                grown = grow(proof, lo, hi, s_lo, s_hi, sides, LIMIT_TOL)
                if isinstance(grown, SafeBox) and (
                    poses is None or np.prod(grown.high[3:] - grown.low[3:]) > _area(poses)
                ):
                    poses = grown
        z = found.z_mm
        if z is not None and found.stop is not None:
            z = min(math.ceil(z / PLANE_DIGIT_MM) * PLANE_DIGIT_MM, top)
        return PlaneFinding(hand, z, found.stop, poses)

    def _wall_proof(self, scene: Scene, chosen: Callable[[Body], bool] | None = None) -> Proof:
        """Return the proof that what stands and turns on the table clears guards and doors.

        A margin that is entered stands in the guard's body; else the asked clearance is kept.
        Hoses are judged by themselves: those bodies that are `chosen`, if any are.
        """
        from gudgeon.clearance.envelope import all_of
        from gudgeon.clearance.scene import Carrier, Role

        margins = {_WALLS[wall.side] for wall in self.walls if wall.margin_mm > 0.0}

        def moves(body: Body) -> bool:
            if chosen is not None:
                return chosen(body)
            on_table = (Carrier.TABLE, Carrier.TILT, Carrier.ROTARY)
            return body.carrier in on_table and body.role is not Role.HOSE

        proofs = []
        for with_margin, need in ((True, CONTACT_MM), (False, max(self.asked_mm, CONTACT_MM))):

            def stands(body: Body, with_margin: bool = with_margin) -> bool:
                return _is_wall(body) and (_side_name(body.name) in margins) is with_margin

            if any(stands(body) for body in scene.bodies):
                proofs.append(self.proof(between(scene, stands, moves, ()), (), need))
        return all_of(proofs)

    def _itself(self, scene: Scene) -> SafeBox | Gap:
        """Return the tilts and turns in which what turns clears the unit's standing parts."""
        from gudgeon.clearance.envelope import SafeBox, grow
        from gudgeon.clearance.scene import Carrier, Role

        turning = (Carrier.TILT, Carrier.ROTARY)
        part = between(
            self.scene.scene,
            lambda body: body.carrier in turning,
            lambda body: body.carrier in (Carrier.TABLE, *turning) and body.role is not Role.HOSE,
            (),
        )
        proof = self.proof(part, (), max(self.asked_mm, CONTACT_MM))
        low, high = self.ranges.low.copy(), self.ranges.high.copy()
        low[:3] = high[:3] = 0.0
        best: SafeBox | Gap | None = None
        for seed in self._pose_seeds():
            s_lo, s_hi = low.copy(), high.copy()
            s_lo[3:], s_hi[3:] = seed, seed
            for sides in (
                ((4, -1), (4, 1), (3, -1), (3, 1)),
                ((3, -1), (3, 1), (4, -1), (4, 1)),
            ):
                found = grow(proof, low, high, s_lo, s_hi, sides, LIMIT_TOL)
                if isinstance(found, SafeBox) and not found.stops:
                    return found
                if best is None or (
                    isinstance(found, SafeBox)
                    and (not isinstance(best, SafeBox) or _area(found) > _area(best))
                ):
                    best = found
        assert best is not None
        return best

    def _xy_box(self, proof: Proof, seed: tuple[float, float]) -> SafeBox | Gap:
        from gudgeon.clearance.envelope import largest_box

        low, high = self.ranges.low, self.ranges.high
        s_low, s_high = low.copy(), high.copy()
        s_low[:2] = s_high[:2] = seed
        return largest_box(proof, low, high, s_low, s_high, (0, 1), LIMIT_TOL)

    def _written_inside(self, box: SafeBox) -> SafeBox:
        """Return the box with the ends that a guard sets at the last digit written, inwards."""
        from dataclasses import replace

        digit = 25.4e-4 if self.cell.shop.units == "in" else 1e-3
        low, high = box.low.copy(), box.high.copy()
        for joint in (0, 1):
            if box.stop(joint, -1) is not None:
                low[joint] = math.ceil(low[joint] / digit - 1e-9) * digit
            if box.stop(joint, 1) is not None:
                high[joint] = math.floor(high[joint] / digit + 1e-9) * digit
            if low[joint] > high[joint]:  # a box of one point
                low[joint], high[joint] = box.low[joint], box.high[joint]
        return replace(box, low=low, high=high)

    def _seeds(self) -> tuple[tuple[float, float], ...]:
        """Return places to begin from: over the work, else anywhere on a coarse grid."""
        low, high = self.ranges.low, self.ranges.high
        x, y, _ = self.axis_lines.chain.axes[-1].line.point_mm
        first = (float(np.clip(x, low[0], high[0])), float(np.clip(y, low[1], high[1])))
        grid = [
            (float(a), float(b))
            for a in np.linspace(low[0], high[0], 5)
            for b in np.linspace(low[1], high[1], 5)
        ]
        return (first, *sorted(grid, key=lambda p: math.hypot(p[0] - first[0], p[1] - first[1])))

    def _pose_seeds(self) -> tuple[tuple[float, float], ...]:
        """Return poses to begin from: those that are worked in, flat, and the ends of the tilt."""
        low, high = self.ranges.low, self.ranges.high
        wanted = [(pose.tilt_rad, pose.turn_rad) for pose in self.work_poses if self.has_tilt]
        wanted += [(0.0, 0.0), (float(low[3]), 0.0), (float(high[3]), 0.0)]
        found: dict[tuple[float, float], None] = {}
        for tilt, turn in wanted:
            if self.ranges.endless:
                turn %= 2.0 * math.pi
            found[
                (float(np.clip(tilt, low[3], high[3])), float(np.clip(turn, low[4], high[4])))
            ] = None
        return tuple(found)

    @cached_property
    def limits_scene(self) -> Scene:
        """Return the scene with what is known of the unit's sides, for the guards alone.

        A body of which only some sides are entered is no body for a tool, but the sides that are
        known meet a guard all the same.
        """
        from dataclasses import replace

        from gudgeon.clearance.scene import Body, Carrier, Role

        scene, unit = self.scene.scene, self.cell.unit
        names = {body.name for body in scene.bodies}
        bodies = list(scene.bodies)
        sides = (unit.body_left, unit.body_right, unit.body_front, unit.body_rear)
        tall = (-ENDLESS_MM, ENDLESS_MM)

        def end(amount: object, sign: float) -> float:
            return 0.0 if amount is None else sign * most(amount)  # type: ignore[arg-type]

        if "unit body" not in names and any(side is not None for side in sides):
            x = (end(unit.body_left, -1.0), end(unit.body_right, 1.0))
            y = (end(unit.body_front, -1.0), end(unit.body_rear, 1.0))
            solid = block(self.unit_frame, x, y, tall, self.unit_unsure_mm)
            bodies.append(Body("unit body", Carrier.TABLE, Role.UNIT, (solid,)))
        for number, box in enumerate(unit.boxes, start=1):
            name = box.name or f"box {number} of the unit"
            if box.turns_with not in (None, "base") or name in names or not (box.x or box.y):
                continue
            x, y = (
                (0.0, 0.0) if pair is None else (least(pair[0]), most(pair[1]))
                for pair in (box.x, box.y)
            )
            solid = block(self.unit_frame, x, y, tall, self.unit_unsure_mm)
            bodies.append(Body(name, Carrier.TABLE, Role.UNIT, (solid,)))
        return replace(scene, bodies=(*bodies, *self._where_declared(bodies)))

    def _where_declared(self, bodies: Iterable[Body]) -> list[Body]:
        """Return what stands on the table once more where the cell file declares it.

        The touches find the platter's centre, hundredths off where the unit was put; its sides
        were measured from the one or from the other, so both places count.
        """
        from dataclasses import replace

        from gudgeon.clearance.scene import Carrier, Role

        placement = self.cell.placement
        if placement.centre_x is None or placement.centre_y is None:
            return []
        shift = np.array([placement.centre_x.value, placement.centre_y.value, 0.0])
        shift[:2] -= self.unit_frame.origin[:2]
        if float(np.hypot(*shift[:2])) <= 1e-9:
            return []
        return [
            replace(
                body,
                name=f"{body.name}, as declared",
                solids=tuple((_sharp(pieces), points + shift) for pieces, points in body.solids),
            )
            for body in bodies
            if body.carrier is Carrier.TABLE and body.role is Role.UNIT
        ]


_WALLS: Final = {
    "right": "right guard",
    "left": "left guard",
    "rear": "column behind",
    "front": "door in front",
}


def _sharp(pieces: NDArray[np.void]) -> NDArray[np.void]:
    """Return pieces without the rounding that stands for what the touches leave open."""
    sharp = pieces.copy()
    sharp["round"] = 0.0
    return sharp


def _is_wall(body: Body) -> bool:
    from gudgeon.clearance.scene import Carrier, Role

    return body.carrier is Carrier.BASE or body.role is Role.GUARD


def _side_name(name: str) -> str:
    return name.removesuffix(" with its margin")


def _area(box: SafeBox) -> float:
    size = box.high[3:] - box.low[3:]
    return float(size[0] * size[1])
