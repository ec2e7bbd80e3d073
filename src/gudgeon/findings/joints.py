"""Bolted joints: the fixture on the platter, and the unit on the table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.clamping import Clamping, Joint, SlipCheck, clamping_of, joint_of
from gudgeon.findings.cuts import Cut, CutFindings
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.judged import Read, judge
from gudgeon.findings.masses import Item, Place
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.ties import firm
from gudgeon.strength.bolts import (
    bolt_circle,
    overturning_load,
    slip_capacity,
    slip_demand,
    slot_bolt,
    worst_push,
)
from gudgeon.strength.gravity import GRAVITY, MM_PER_M, standing_at

__all__ = ["JointFindings"]

Floats = NDArray[np.float64]

SLOT_PLAY_MM: Final = 1.5
"""A T-slot's throat is wider than its bolt by 1.6 mm (1/16 in) or more in both usual series.

Metric: BS 2485, same series as ISO 299; inch: from memory, used for a caution only.
"""


class JointFindings(CutFindings):
    """The two bolted joints."""

    @cached_property
    def fixture_joint(self) -> Joint:
        """The fixture on the platter under every cut and under the weight alone.

        The weight is that of everything that turns with the platter, the unit's own masses
        included: a little too much, so on the safe side.

        Raises
        ------
        Lacking
            Naming what is missing for slip; a missing property class only leaves `stretch` open.
        """
        gather = self.gather()
        clamping = clamping_of(gather, self.cell.fixture.bolts, "fixture.bolts")
        count, radius_mm, places = self._fixture_bolts(gather)
        if self.cell.fixture.bolts.size is None:
            # The thread tells the diameter too: ask once.
            wheres = [f"{gather.file}: fixture.bolts.{key}" for key in ("size", "diameter")]
            if {wheres[0]} <= {item.where for item in gather.missing}:
                gather.missing = [m for m in gather.missing if m.where != wheres[1]]
        self._also(gather, lambda: self.weighed)
        gather.stop()
        assert clamping is not None
        # Without operations the brakes ask for them; the weight alone is judged here.
        cuts = [cut for cut in self.operation_cuts_known if cut.pushes]
        checks = tuple(
            self._fixture_check(clamping, count, radius_mm, places, cut) for cut in [*cuts, None]
        )
        return joint_of(clamping, count, checks)

    @cached_property
    def fixture_cuts_lacking(self) -> Gather:
        """Levers that single cuts lack for the twist on the fixture's bolts."""
        gaps = self.gather()
        for cut in self.operation_cuts_known:
            if cut.pushes and cut.place is None and cut.lever is None:
                gaps.need(
                    None,
                    f"operations[{cut.number}].lever",
                    f'distance of "{cut.name}" from the rotary line',
                    why="it twists the fixture on its bolts",
                    how="measure from the rotary line to the cut, or give at and measured_from",
                )
        return gaps

    def _fixture_bolts(self, gather: Gather) -> tuple[int, float, list[tuple[float, float]]]:
        """Return count, radius of the pitch circle and places of the bolts that go in."""
        declared = self.cell.fixture.bolts.count
        flanges = (self.cell.unit.flange, self.cell.fixture.flange)
        circles = [f.pitch_circle.value for f in flanges if f.pitch_circle is not None]
        try:
            match = self.flange_match
        except Lacking as lacking:
            if declared is None:
                gather.also(lacking)
            gather.need(
                circles or None,
                "fixture.flange.pitch_circle",
                "pitch circle of the fixture's bolts",
                why="the bolts hold a twist by their distance from the middle",
                how="measure two opposite holes of the fixture's foot over pins",
            )
            count, radius = declared or 0, (min(circles) / 2.0 if circles else 0.0)
            return count, radius, bolt_circle(count, radius) if count else []
        count = match.bolts_here if declared is None else min(declared, match.bolts_here)
        radius = min(match.pitch_circle_mm, match.fixture_circle_mm) / 2.0
        if count < 1:
            gather.need(
                None,
                "fixture.bolts",
                "bolts that go in",
                why="no hole of the fixture's foot meets a hole of the platter",
                how='ask "fits", which shows how foot and platter go together',
            )
        clocking = match.here or (match.clockings[0] if match.clockings else None)
        if clocking is not None and len(clocking.pairs) == count:
            angles = [match.platter_holes[pair[0]] for pair in clocking.pairs]
            return count, radius, [(radius * math.cos(a), radius * math.sin(a)) for a in angles]
        return count, radius, bolt_circle(count, radius) if count else []

    def _fixture_check(
        self,
        clamping: Clamping,
        count: int,
        radius_mm: float,
        places: list[tuple[float, float]],
        cut: Cut | None,
    ) -> SlipCheck:
        tilts = self._tilts(cut)

        def loads(read: Read, tilt: float) -> tuple[float, float, float]:
            """Return push, twist and direct pull on each bolt; weight and cut together."""
            weight = self._hung_mass(read) * GRAVITY
            thrust, side, turning = cut.loads(read) if cut else (0.0, 0.0, 0.0)
            lever = self._lever(read, cut)
            downhill, level = abs(math.sin(tilt)), abs(math.cos(tilt))
            push = worst_push(side, weight + thrust, tilt)
            twist = (side + thrust * downhill) * lever / MM_PER_M
            twist += self._eccentric_nm(read) * downhill + turning * level
            pull = max(0.0, -math.cos(tilt)) * (weight + thrust) + side * downhill
            if cut and cut.forces.lifts:
                pull = max(pull, level * thrust + side * downhill)
            return push, twist, pull / count

        def demand(read: Read) -> float:
            return max(
                slip_demand(*loads(read, tilt)[:2], count=count, radius_mm=radius_mm)
                for tilt in tilts
            )

        def safety(read: Read) -> float:
            worst = math.inf
            for tilt in tilts:
                push, twist, pull = loads(read, tilt)
                needed = slip_demand(push, twist, count=count, radius_mm=radius_mm)
                held = slip_capacity(clamping.preload(read), read(clamping.friction), pull)
                worst = min(worst, held / needed if needed > 0.0 else math.inf)
            return worst

        needed = demand(_value)
        worst_tilt = max(tilts, key=lambda t: firm(loads(_value, t)[0]))
        push, twist, _ = loads(_value, worst_tilt)

        def pulled(read: Read) -> float:
            return max(
                loads(read, tilt)[2] + (self._overturning(read, cut, tilt, places) or 0.0)
                for tilt in tilts
            )

        known = self._overturning(_value, cut, tilts[0], places) is not None
        return SlipCheck(
            name=cut.name if cut else "weight alone",
            operation=cut.operation if cut else "weight alone",
            push_n=push,
            twist_nm=twist,
            demand_n=needed,
            safety=judge(safety, lambda read: 1.0, "min") if needed > 1e-9 else None,
            pull_n=pulled(_value) if known else None,
            parting=judge(pulled, clamping.preload) if known else None,
        )

    def _tilts(self, cut: Cut | None) -> tuple[float, ...]:
        """Return the tilts of the platter's faces from level at which a joint is judged."""
        if not self.has_tilt:
            return (math.pi / 2.0,)
        if cut is not None:
            return (cut.tilt_rad,)
        span = self.cell.unit.tilt_range
        low, high = (-math.pi, math.pi) if span is None else (span[0].value, span[1].value)
        upright = [q * math.pi / 2.0 for q in range(-8, 9)]
        return tuple(dict.fromkeys([low, high, *(q for q in upright if low <= q <= high)]))

    def _lever(self, read: Read, cut: Cut | None) -> float:
        """Return the distance of a cut from the rotary line [mm]; nil where it is not known."""
        if cut is None:
            return 0.0
        if cut.lever is not None:
            return read(cut.lever)
        if cut.place is None:
            return 0.0
        x, y, z = cut.place(read)
        return math.hypot(x, y) if self.has_tilt else math.hypot(y, z)

    def _hangs(self, item: Item) -> bool:
        """Return whether a mass counts as hanging on the fixture's bolts."""
        return item.turns if self.has_tilt else not item.in_unit

    def _hung_mass(self, read: Read) -> float:
        """Return all that hangs on the fixture's bolts, fully loaded [kg]."""
        return sum(item.count * read(item.mass) for item in self.weighed if self._hangs(item))

    def _hung_moments(self, read: Read) -> Floats:
        """Return static moments at each stage: along the rotary line from the face, and across.

        Shape (parts + 1, 3) [kg mm]; raises `Lacking` through `carried`.
        """
        stays, parts = np.zeros(3), [np.zeros(3)]
        for item in self.carried:
            if item.place is None or not self._hangs(item):
                continue
            one = read(item.mass) * self._from_face(read, item.place)
            if item.loaded:
                parts.extend([one] * item.count)
            else:
                stays = stays + item.count * one
        return stays + np.cumsum(parts, axis=0)

    def _from_face(self, read: Read, place: Place) -> Floats:
        """Return a place as height over the platter face and two distances from the rotary line."""
        x, y, z = place(read)
        if not self.has_tilt:
            return np.array([x, y, z])
        height = self.placed_cell.unit.face_height
        return np.array([z - (read(height) if height is not None else 0.0), x, y])

    def _eccentric_nm(self, read: Read) -> float:
        """Return the greatest torque about an upright rotary line of the planned stages [N m]."""
        try:
            moments = self._hung_moments(read)
        except Lacking:
            return 0.0  # the drive's own check asks for the places
        return float(np.hypot(moments[:, 1], moments[:, 2]).max()) * GRAVITY / MM_PER_M

    def _overturning(
        self, read: Read, cut: Cut | None, tilt: float, places: list[tuple[float, float]]
    ) -> float | None:
        """Return the pull on the worst bolt of the fixture from what tips it [N].

        Moments about the middle of the platter face in the plane of the face, the worst stage.  The
        weight and the cut may tip it the same way, so they add.
        """
        if self.has_tilt and self.placed_cell.unit.face_height is None:
            return None
        if cut is not None and cut.place is None:
            return None
        try:
            moments = self._hung_moments(read)
        except Lacking:
            return None
        sine, cosine = abs(math.sin(tilt)), abs(math.cos(tilt))
        over = float(np.abs(moments[:, 0]).max())
        aside = float(np.hypot(moments[:, 1], moments[:, 2]).max())
        moment = GRAVITY * (over * sine + aside * cosine)
        tipping_nm = 0.0
        if cut is not None and cut.place is not None:
            up, *across = self._from_face(read, cut.place).tolist()
            out = math.hypot(*across)
            thrust, side, turning = cut.loads(read)
            moment += thrust * (abs(up) * sine + out * cosine) + side * math.hypot(up, out)
            # The spindle's torque tips the foot as far as the foot stands upright.
            tipping_nm = turning * sine
        return overturning_load(moment / MM_PER_M + tipping_nm, places)

    # --- the unit on the table ---

    @cached_property
    def table_joint(self) -> Joint:
        """The unit on the table under every cut whose place is known.

        Raises
        ------
        Lacking
            Naming what is missing; without operations nothing pushes and there is no answer.
        """
        gather = self.gather()
        bolts = self.cell.placement.bolts
        clamping = clamping_of(gather, bolts, "placement.bolts")
        count = gather.need(
            bolts.count,
            "placement.bolts.count",
            "bolts that hold the unit on the table",
            why="they share what the cut pushes",
            how="count them",
        )
        spreads = [
            gather.need(
                getattr(bolts, f"spread_{word}"),
                f"placement.bolts.spread_{word}",
                f"distance between the outermost bolts, {word} the tilt axis",
                why="a wide stance holds a tipping or twisting cut better",
                how="measure it on the table",
            )
            for word in ("across", "along")
        ]
        height = gather.need(
            self.cell.unit.tilt_axis_height,
            "unit.tilt_axis_height",
            "height of the level axis line over the unit's base",
            why="a side force tips the unit by its height",
            how="take it from the unit's data sheet, or measure it",
        )
        self._also(gather, lambda: self.carried)
        self._also(gather, lambda: self.cuts)
        gather.stop()
        assert clamping is not None
        pushed = [cut for cut in self.cuts if cut.pushes]
        placed = [cut for cut in pushed if cut.place is not None]
        if not placed:
            first = pushed[0].number if pushed else 1
            gather.need(
                None,
                f"operations[{first}].{'at' if pushed else 'thrust'}",
                "where an operation cuts" if pushed else "force of an operation",
                why="its height tips the unit on the table",
                how="measure from the rotary line and the platter face to the cut, "
                "or enter thrust or side_force",
            )
        gather.stop()
        checks = tuple(self._table_check(clamping, count, spreads, height, cut) for cut in placed)
        slot = self.cell.machine.slot_width
        too_thick = slot is not None and clamping.thread.diameter_mm > slot.value - SLOT_PLAY_MM
        made_for = slot_bolt(slot.value) if slot is not None and too_thick else None
        return joint_of(clamping, count, checks, made_for)

    def _table_check(
        self,
        clamping: Clamping,
        count: int,
        spreads: Sequence[Amount],
        height: Amount,
        cut: Cut,
    ) -> SlipCheck:
        places = _two_rows(count, spreads[0].value, spreads[1].value)
        reach = [math.hypot(*place) for place in places]
        # T r_worst / sum r^2 written as T / (n r), so that the circle's formula serves.
        radius = (
            sum(r * r for r in reach) / (count * max(reach))
            if reach
            else min(spreads[0].value, spreads[1].value) / 2.0
        )
        senses = [(tilt, turn) for tilt in (1, -1) for turn in (1, -1)]

        def loads(read: Read) -> tuple[float, float, float]:
            """Return push, twist [N m] and tipping moment [N m], the worst of all senses."""
            thrust, side, turning = cut.loads(read)
            riser = self.cell.placement.riser
            base = read(height) + (read(riser) if riser is not None else 0.0)
            twist = tip = 0.0
            for tilt, turn in senses:
                assert cut.place is not None
                turned = turn * cut.turn_rad if self.has_tilt else 0.0
                at = standing_at(
                    cut.place(read), tilt * cut.tilt_rad, turned, self.axis_offset(read)
                )
                x, y, z = at.tolist()
                twist = max(twist, side * math.hypot(x, y) / MM_PER_M + turning)
                tip = max(tip, (side * abs(base + z) + thrust * math.hypot(x, y)) / MM_PER_M)
            return side, twist, tip + self._tipping_weight(read, cut)

        def safety(read: Read) -> float:
            push, twist, _ = loads(read)
            needed = slip_demand(push, twist, count=count, radius_mm=radius)
            held = slip_capacity(clamping.preload(read), read(clamping.friction))
            return held / needed if needed > 0.0 else math.inf

        def pulled(read: Read) -> float:
            return overturning_load(loads(read)[2], places) or 0.0

        push, twist, tip = loads(_value)
        needed = slip_demand(push, twist, count=count, radius_mm=radius)
        known = bool(places) and overturning_load(tip, places) is not None
        return SlipCheck(
            name=cut.name,
            operation=cut.operation,
            push_n=push,
            twist_nm=twist,
            demand_n=needed,
            safety=judge(safety, lambda read: 1.0, "min") if needed > 1e-9 else None,
            pull_n=pulled(_value) if known else None,
            parting=judge(pulled, clamping.preload) if known else None,
        )

    def _tipping_weight(self, read: Read, cut: Cut) -> float:
        """Return what the load's weight, swung to one side, adds to the tipping moment [N m]."""
        sums = np.abs(self.stage_sums(read)[-1])
        swing = abs(math.sin(cut.tilt_rad))
        level = sums[0] + math.hypot(sums[1], sums[2])
        return float(level + sums[3] * swing) * GRAVITY / MM_PER_M


def _two_rows(count: int, across_mm: float, along_mm: float) -> list[tuple[float, float]]:
    """Return places of bolts in two equal rows beside the unit; none where there are under four.

    An odd bolt is left out: the safe side.
    """
    each = count // 2
    if each < 2:
        return []
    xs = [along_mm * (i / (each - 1) - 0.5) for i in range(each)]
    return [(x, side * across_mm / 2.0) for side in (1.0, -1.0) for x in xs]


def _value(amount: Amount) -> float:
    return amount.value
