"""What the weight does to drives and brakes, and what the brakes leave for each operation."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.findings.cuts import Cut
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.joints import JointFindings
from gudgeon.findings.judged import Judged, Read, judge, values_with_spread
from gudgeon.findings.masses import Staged
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.ties import firm
from gudgeon.strength.brake import brake_demand, force_limit
from gudgeon.strength.gravity import (
    MM_PER_M,
    any_order_rotary_torque,
    any_order_tilt_torque,
    standing_at,
    tilt_torque,
    tilts_within,
    worst_rotary_torque,
    worst_tilt_torque,
)
from gudgeon.strength.gravity import rotary_torque as torque_about_rotary

__all__ = ["NO_TORQUE_NM", "BrakeCheck", "LoadFindings", "TorqueStages"]

Floats = NDArray[np.float64]
Range = tuple[float, float]
Role = Literal["tilt", "rotary"]

NO_TORQUE_NM: Final = 1e-6
"""A torque below this is rounding of a balanced load: no drive or brake is asked to hold it."""


@dataclass(frozen=True, slots=True)
class TorqueStages:
    """Torque of the weight about one axis line at each loading stage.

    Attributes
    ----------
    role : "tilt" or "rotary"
    torque : Staged
        Worst over all poses [N m]; the limit is the drive's rating.
    tilt_rad : tuple of float
        Programmed tilt of the worst pose at each stage.
    within_rad : tuple of (low, high) or None
        Programmed tilts around flat within which the stage is sure to stay inside the rating;
        ``None``: not even flat.
    any_order_nm : float
        Worst of every choice of loaded parts, in whatever order they go on.
    """

    role: Role
    torque: Staged
    tilt_rad: tuple[float, ...]
    within_rad: tuple[Range | None, ...]
    any_order_nm: float

    @property
    def any_order_holds(self) -> bool:
        """True if no order of loading can exceed the rating."""
        doubt = float(self.torque.margin_plus_minus.max())
        return self.any_order_nm + doubt <= self.torque.limit * (1.0 + 1e-9)


@dataclass(frozen=True, slots=True)
class BrakeCheck:
    """One operation against one brake.

    Attributes
    ----------
    role : "tilt" or "rotary"
        Axis whose brake holds.
    cut : Cut
    gravity_nm, lever_mm : float
        Torque of the weight in that pose (worst stage), and the lever of the thrust.
    demand : Judged or None
        Torque that the brake must hold against brake / safety; ``None`` without any force.
    thrust_limit_n : float or None
        Greatest thrust there beside the side force; ``None``: no limit from the brake.
    """

    role: Role
    cut: Cut
    gravity_nm: float
    lever_mm: float
    demand: Judged | None
    thrust_limit_n: float | None

    @property
    def thrust_sure_n(self) -> float | None:
        """The thrust limit less what brake, load and levers leave unsure (k = 2) [N].

        A thrust that is kept under it, whatever was planned, is sure to be held.
        """
        if self.thrust_limit_n is None or self.demand is None:
            return self.thrust_limit_n
        thrust = self.cut.thrust
        own = 0.0 if thrust is None else (thrust.plus_minus or 0.0) * self.lever_mm / MM_PER_M
        rest = math.sqrt(max(0.0, self.demand.margin_plus_minus**2 - own**2))
        return max(0.0, self.thrust_limit_n - rest * MM_PER_M / self.lever_mm)


class LoadFindings(JointFindings):
    """Weight against drives, cuts against brakes."""

    # --- the axis that lies level: the tilt line, or the rotary line of a single axis ---

    @property
    def level_role(self) -> Role:
        """Which axis lies level: "tilt", or "rotary" for a unit with one axis."""
        return "tilt" if self.has_tilt else "rotary"

    @cached_property
    def level_span_rad(self) -> Range:
        """Programmed range of the level axis; a full turn where none is given."""
        unit = self.cell.unit
        span = unit.tilt_range if self.has_tilt else unit.rotary_range
        return (-math.pi, math.pi) if span is None else (span[0].value, span[1].value)

    @cached_property
    def level_senses(self) -> tuple[int, ...]:
        """Senses of the level axis about the unit frame's x; both where it is not known."""
        return self._senses_of(self.level_role)

    @cached_property
    def turn_senses(self) -> tuple[int, ...]:
        """Senses of the rotary axis of a tilting unit about z; both where it is not known."""
        return self._senses_of("rotary")

    def _senses_of(self, role: Role) -> tuple[int, ...]:
        try:
            found = {item.role: item for item in self.axis_evidence}[role]
        except Lacking:
            return (1, -1)
        if found.sense is None or found.disagrees:
            return (1, -1)
        if role == "rotary" and self.has_tilt:
            return (found.sense,)
        # Senses are about the positive machine axis; at yaw 180 deg the unit frame looks back.
        along = 1 if float(np.dot(found.direction, self.unit_axes[:, 0])) > 0.0 else -1
        return (found.sense * along,)

    @property
    def loads_assumed(self) -> tuple[str, ...]:
        """What the torques take for granted, one sentence each."""
        told = list(self.masses_assumed)
        if self.has_tilt and self.cell.unit.tilt_range is None:
            told.append("The tilt may stand at any angle (unit.tilt_range is not given).")
        if len(self.level_senses) > 1:
            told.append(f"The sense of the {self.level_role} axis is not known: both were judged.")
        told.append(
            "The level axis line is truly level, and the axis lines are where the data say."
        )
        return tuple(told)

    def _poses(self) -> Iterator[tuple[int, Range, Range | None]]:
        """Yield sense, range of tilt and range of turn, right-handed in the unit frame."""
        low, high = self.level_span_rad
        turns = self.cell.unit.rotary_range if self.has_tilt else None
        for sense in self.level_senses:
            span = (low, high) if sense > 0 else (-high, -low)
            if turns is None:
                yield sense, span, None
                continue
            for turn in self.turn_senses:
                ends = sorted((turn * turns[0].value, turn * turns[1].value))
                yield sense, span, (ends[0], ends[1])

    # --- drives ---

    @cached_property
    def level_torque(self) -> TorqueStages:
        """Torque of the weight about the level axis at each stage; raises `Lacking`."""
        role = self.level_role
        rating = self._rating(f"rated_{role}_torque", f"unbalance torque of the {role} drive")

        def torques(read: Read) -> Floats:
            sums = self.stage_sums(read)
            worst = [worst_tilt_torque(sums, *pose[1:]).torque_nm for pose in self._poses()]
            return np.asarray(np.max(worst, axis=0))

        staged = self._staged(torques, rating)
        sums = self.stage_sums(_value)
        stays, parts = self.sums(_value)
        found = [
            (sense, worst_tilt_torque(sums, span, turn)) for sense, span, turn in self._poses()
        ]
        tilts = []
        for stage in range(len(sums)):
            sense, worst = max(found, key=lambda item: firm(item[1].torque_nm[stage]))
            tilts.append(sense * float(worst.tilt_rad[stage]))
        return TorqueStages(
            role=role,
            torque=staged,
            tilt_rad=tuple(tilts),
            within_rad=tuple(
                self._around_flat(one, staged.limit - float(doubt))
                for one, doubt in zip(sums, staged.margin_plus_minus, strict=True)
            ),
            any_order_nm=max(
                any_order_tilt_torque(stays, parts, span, turn) for _, span, turn in self._poses()
            ),
        )

    @cached_property
    def rotary_torque(self) -> TorqueStages:
        """Torque about the tilted rotary line at each stage, for a unit with two axes.

        Raises
        ------
        Lacking
            Also where no rating is given, unless the load is balanced about the rotary line.
        """
        sums = self.stage_sums(_value)
        stays, parts = self.sums(_value)
        poses = list(self._poses())
        any_order = max(any_order_rotary_torque(stays, parts, span, t) for _, span, t in poses)

        def torques(read: Read) -> Floats:
            loads = self.stage_sums(read)
            worst = [worst_rotary_torque(loads, *pose[1:]) for pose in poses]
            return np.asarray(np.max(worst, axis=0))

        rating = self.cell.unit.rated_rotary_torque
        if rating is None:
            values, spreads = values_with_spread(torques)
            if max(any_order, float((values + spreads).max())) > NO_TORQUE_NM:
                self._rating("rated_rotary_torque", "unbalance torque of the rotary drive")
            rating = Amount(NO_TORQUE_NM)
        staged = self._staged(torques, rating)
        low, high = self.level_span_rad
        upright = max(low, min(high, math.pi / 2.0))
        return TorqueStages(
            role="rotary",
            torque=staged,
            tilt_rad=(upright,) * len(sums),
            within_rad=tuple(
                self._rotary_around_flat(float(worst), staged.limit - float(doubt))
                for worst, doubt in zip(staged.values, staged.margin_plus_minus, strict=True)
            ),
            any_order_nm=any_order,
        )

    def torque_curve(self, stage: int, tilts_rad: ArrayLike) -> Floats:
        """Return the torque about the level axis at programmed tilts, at its worst turn [N m]."""
        sums = self.stage_sums(_value)[stage]
        tilts = np.asarray(tilts_rad, np.float64)
        return np.asarray(
            np.max([tilt_torque(sums, sense * tilts) for sense in self.level_senses], axis=0)
        )

    @cached_property
    def better_order(self) -> tuple[tuple[str, ...], float] | None:
        """An order of loading with a smaller worst share of both ratings, and that share.

        Found part by part (always the one that leaves the least); ``None`` if it is no better than
        the planned one, or if a rating is missing.
        """
        try:
            ratings = [self.level_torque.torque.limit]
            if self.has_tilt:
                ratings.append(self.rotary_torque.torque.limit)
        except Lacking:
            return None
        stays, parts = self.sums(_value)
        poses = list(self._poses())

        def share(sums: Floats) -> Floats:
            worst = [worst_tilt_torque(sums, s, t).torque_nm / ratings[0] for _, s, t in poses]
            if len(ratings) > 1 and ratings[1] > 0.0:
                worst += [worst_rotary_torque(sums, s, t) / ratings[1] for _, s, t in poses]
            return np.asarray(np.max(worst, axis=0))

        planned = float(share(self.stage_sums(_value)).max())
        left, order, now = list(range(len(parts))), list[int](), stays
        reached = float(share(stays[None]).max())
        while left:
            shares = share(now + parts[left])
            best = int(np.argmin([firm(one) for one in shares]))
            reached = max(reached, float(shares[best]))
            order.append(left.pop(best))
            now = now + parts[order[-1]]
        if reached >= planned * (1.0 - 1e-6):
            return None
        return tuple(self.part_names[i] for i in order), reached

    def _rating(self, key: str, what: str) -> Amount:
        gather = self.gather()
        rating: Amount = gather.need(
            getattr(self.cell.unit, key),
            f"unit.{key}",
            f"greatest {what}",
            why="an overloaded drive loses its place or wears out early",
            how="read the greatest unbalance (or table) torque in the unit's data sheet",
        )
        self._also(gather, lambda: self.carried)
        gather.stop()
        return rating

    def _around_flat(self, sums: Floats, torque_nm: float) -> Range | None:
        """Return the programmed tilts around flat that stay within a torque, whatever the sense."""
        low, high = self.level_span_rad
        flat = min(max(0.0, low), high)
        ends = [low, high]
        for sense, span, turn in self._poses():
            stretches = tilts_within(sums, torque_nm, span, turn) if torque_nm > 0.0 else ()
            held = [s for s in stretches if s[0] - 1e-9 <= sense * flat <= s[1] + 1e-9]
            if not held:
                return None
            a, b = sorted((sense * held[0][0], sense * held[0][1]))
            ends = [max(ends[0], a), min(ends[1], b)]
        return ends[0], ends[1]

    def _rotary_around_flat(self, worst_nm: float, torque_nm: float) -> Range | None:
        low, high = self.level_span_rad
        if worst_nm <= max(torque_nm, NO_TORQUE_NM):
            return low, high
        upright = math.pi / 2.0 + math.pi * math.ceil((low - math.pi / 2.0) / math.pi)
        ends = max(abs(math.sin(low)), abs(math.sin(high)))
        steepest = 1.0 if upright <= high else ends
        reach = math.asin(max(0.0, torque_nm) * steepest / worst_nm)
        return (max(low, -reach), min(high, reach)) if low <= reach and high >= -reach else None

    # --- brakes ---

    @cached_property
    def brake_checks(self) -> tuple[tuple[BrakeCheck, ...], Gather]:
        """Every operation against every brake that it pushes on, and what single ones lack.

        Raises
        ------
        Lacking
            If there are no operations, or no brake torque, or the load is not known.
        """
        gather = self.gather()
        role = self.level_role
        brake = self._brake(gather, role)
        safety = self._brake_safety(gather)
        self._also(gather, lambda: self.carried)
        self._also(gather, lambda: self.cuts)
        gather.stop()
        gaps = self.gather()
        gaps.also(Lacking(tuple(self.cuts_lacking.missing)))
        checks: list[BrakeCheck] = []
        for cut in self.cuts:
            if cut.place is None and not (cut.lever and not self.has_tilt):
                if cut.pushes:
                    gaps.need(
                        None,
                        f"operations[{cut.number}].at",
                        f'where "{cut.name}" cuts, with both angles zero',
                        why="its lever about the axis line decides what the brake must hold",
                        how="measure from the rotary line and the platter face to the cut",
                    )
                continue
            checks.append(self._check(role, cut, brake, safety))
        if self.has_tilt:
            checks += self._rotary_checks(safety, gaps)
        return tuple(checks), gaps

    def _rotary_checks(self, safety: Amount, gaps: Gather) -> list[BrakeCheck]:
        checks: list[BrakeCheck] = []
        for cut in self.cuts:
            if not cut.pushes or (cut.place is None and cut.lever is None):
                continue
            brake = self.cell.unit.rotary_brake_torque
            if self._torques(_value, "rotary", cut)[0] <= NO_TORQUE_NM:
                continue
            if brake is None:
                self._brake(gaps, "rotary")
                break
            checks.append(self._check("rotary", cut, brake, safety))
        return checks

    def _brake(self, gather: Gather, role: Role) -> Amount:
        brake: Amount = gather.need(
            getattr(self.cell.unit, f"{role}_brake_torque"),
            f"unit.{role}_brake_torque",
            f"holding torque of the {role} brake or clamp",
            why="it holds the work against the cut",
            how="read the clamping torque in the unit's data sheet",
        )
        return brake

    def _brake_safety(self, gather: Gather) -> Amount:
        return gather.need(
            self.cell.unit.brake_safety,
            "unit.brake_safety",
            "safety factor on the brakes",
            why="cuts knock: no brake should be used up to its last newton metre",
            how="write brake_safety = 1.5 (common practice), or what the data sheet asks",
        )

    def _check(self, role: Role, cut: Cut, brake: Amount, safety: Amount) -> BrakeCheck:
        _, gravity, lever, side_nm = self._torques(_value, role, cut)
        demand = None
        if cut.pushes:
            demand = judge(
                lambda read: self._torques(read, role, cut)[0],
                lambda read: read(brake) / read(safety),
            )
        return BrakeCheck(
            role=role,
            cut=cut,
            gravity_nm=gravity,
            lever_mm=lever,
            demand=demand,
            thrust_limit_n=force_limit(brake.value, safety.value, gravity, lever, side_nm),
        )

    def _torques(self, read: Read, role: Role, cut: Cut) -> tuple[float, float, float, float]:
        """Return demand, share of the weight, lever of the thrust, share of side force and twist.

        The worst of both senses where a sense is not known; [N m] and [mm].
        """
        return max(
            self._torques_in(read, role, cut, sense * cut.tilt_rad, turn * cut.turn_rad)
            for sense in self.level_senses
            for turn in (self.turn_senses if self.has_tilt else (0,))
        )

    def _torques_in(
        self, read: Read, role: Role, cut: Cut, tilt: float, turn: float
    ) -> tuple[float, float, float, float]:
        sums = self.stage_sums(read)
        thrust, side, twist = cut.loads(read)
        level = role == self.level_role
        weigh: Callable[..., Floats] = tilt_torque if level else torque_about_rotary
        gravity = float(weigh(sums, tilt, turn).max())
        if cut.place is not None:
            x, y, z = standing_at(cut.place(read), tilt, turn, self.axis_offset(read)).tolist()
        if cut.lever is not None and role == "rotary":
            lever = read(cut.lever) * (1.0 if level else abs(math.sin(tilt)))
            side_lever = read(cut.lever)
        elif level:
            lever, side_lever = abs(y), abs(z)
        else:
            # A level force of any direction about the rotary line tilted by `tilt`; along the
            # platter's own y the cut stands `across` from that line.
            lever = abs(x * math.sin(tilt))
            px, py, _ = cut.place(read) if cut.place else (0.0, 0.0, 0.0)
            across = px * math.sin(turn) + py * math.cos(turn)
            side_lever = math.hypot(x * math.cos(tilt), across)
        side_nm = brake_demand(0.0, (side, side_lever))
        if not level:
            # The spindle stands upright: the level line feels none of its torque, the rotary line
            # as much as it stands upright itself.
            side_nm += twist * abs(math.cos(tilt))
        return brake_demand(gravity, (thrust, lever)) + side_nm, gravity, lever, side_nm

    def thrust_curve(self, check: BrakeCheck, tilts_rad: ArrayLike) -> Floats:
        """Return the thrust limit of a cut's place at programmed tilts [N]; NaN: no limit."""
        brake, safety = self._brake(self.gather(), check.role), self.cell.unit.brake_safety
        assert brake is not None and safety is not None  # a check exists
        limits = []
        for tilt in np.asarray(tilts_rad, np.float64).tolist():
            cut = replace(check.cut, tilt_rad=tilt)
            _, gravity, lever, side_nm = self._torques(_value, check.role, cut)
            limit = force_limit(brake.value, safety.value, gravity, lever, side_nm)
            limits.append(math.nan if limit is None else limit)
        return np.array(limits)

    @cached_property
    def brake_at_rest(self) -> Judged:
        """The weight alone against the level axis' brake with its safety, at its worst [N m]."""
        gather = self.gather()
        brake = self._brake(gather, self.level_role)
        safety = self._brake_safety(gather)
        self._also(gather, lambda: self.carried)
        gather.stop()

        def worst(read: Read) -> float:
            sums = self.stage_sums(read)
            return max(
                float(worst_tilt_torque(sums, span, turn).torque_nm.max())
                for _, span, turn in self._poses()
            )

        return judge(worst, lambda read: read(brake) / read(safety))


def _value(amount: Amount) -> float:
    return amount.value
