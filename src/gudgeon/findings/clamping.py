"""How a bolted joint is tightened, and what that leaves against slip, parting and stretch."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from gudgeon.cell.model import Bolts
from gudgeon.findings.gather import Gather
from gudgeon.findings.judged import Judged, Read, judge, values_with_spread
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.ties import firm
from gudgeon.strength.bolts import (
    FRICTION_UNKNOWN,
    NUT_FACTOR_UNKNOWN,
    WRENCH_SPREAD,
    Thread,
    coarse_pitch,
    preload,
    proof_load,
    slip_capacity,
    thread_called,
    tightening_torque,
)

__all__ = ["Clamping", "Joint", "SlipCheck", "clamping_of", "joint_of"]

_WRENCH: Final = Amount(1.0, WRENCH_SPREAD)
_EXACT: Final = Amount(1.0)


@dataclass(frozen=True, slots=True)
class Clamping:
    """How one bolt of a joint is tightened.

    Attributes
    ----------
    thread : Thread
    torque, nut_factor, friction : Amount
    scatter : Amount
        Factor on the preload: what a torque wrench leaves open, or exactly 1 where the writer of
        the cell stated the doubt of the nut factor.
    proof_n : float or None
        Proof load of one bolt, from its proof stress or its property class [N].
    assumed : tuple of str
    """

    thread: Thread
    torque: Amount
    nut_factor: Amount
    friction: Amount
    scatter: Amount
    proof_n: float | None
    assumed: tuple[str, ...]

    def preload(self, read: Read) -> float:
        """Return the preload of one bolt [N]."""
        force = preload(read(self.torque), read(self.nut_factor), self.thread.diameter_mm)
        return force * read(self.scatter)


@dataclass(frozen=True, slots=True)
class SlipCheck:
    """A joint under one cut, or under the weight alone.

    Attributes
    ----------
    name, operation : str
        Of the cut, with and without its station.
    push_n, twist_nm : float
        Along the faces, and about the middle of the bolts.
    demand_n : float
        At the worst bolt.
    safety : Judged or None
        Capacity over demand, at least 1; ``None`` where nothing pushes.
    pull_n : float or None
        Pull of overturning on the worst bolt; ``None`` where its lever is not known or the bolts
        find no hold against it.
    parting : Judged or None
        That pull and the direct pull against what the bolt clamps at least.
    """

    name: str
    operation: str
    push_n: float
    twist_nm: float
    demand_n: float
    safety: Judged | None
    pull_n: float | None
    parting: Judged | None


@dataclass(frozen=True, slots=True)
class Joint:
    """A bolted joint with everything that was asked of it.

    Attributes
    ----------
    clamping : Clamping
    count : int
    preload, capacity : tuple of (value, expanded uncertainty)
        Of one bolt [N].
    checks : tuple of SlipCheck
    torque_needed_nm : float or None
        Tightening torque at which every check is sure to hold; ``None`` if nothing pushes.
    torque_most_nm : float or None
        Greatest torque at which the bolt is sure to stay within its proof load.
    stretch : Judged or None
        Greatest load of a bolt against its proof load; ``None`` without a property class.
    slot_bolt : int or None
        Thread (M) that the T-slot is made for, where the bolt is bigger than that.
    """

    clamping: Clamping
    count: int
    preload: tuple[float, float]
    capacity: tuple[float, float]
    checks: tuple[SlipCheck, ...]
    torque_needed_nm: float | None
    torque_most_nm: float | None
    stretch: Judged | None
    slot_bolt: int | None = None

    @property
    def least(self) -> SlipCheck | None:
        """The check with the least safety against slip."""
        pushed = [check for check in self.checks if check.safety is not None]
        return min(
            pushed, key=lambda c: firm(c.safety.value) if c.safety else math.inf, default=None
        )

    @property
    def parted(self) -> SlipCheck | None:
        """The check with the greatest pull on a bolt."""
        pulled = [check for check in self.checks if check.parting is not None]
        return max(pulled, key=lambda c: firm(c.parting.value) if c.parting else 0.0, default=None)


def clamping_of(gather: Gather, bolts: Bolts, key: str) -> Clamping | None:
    """Return how the bolts of ``[key]`` are tightened; gathers what is missing."""
    fixture = key.startswith("fixture")
    between = f"between {'fixture and platter' if fixture else 'unit and table'}"
    named = thread_called(bolts.size) if bolts.size else None
    diameter = bolts.diameter.value if bolts.diameter else None
    if diameter is None and named is not None:
        diameter = named.diameter_mm
    pitch = bolts.pitch.value if bolts.pitch else None
    if pitch is None and named is not None and diameter == named.diameter_mm:
        pitch = named.pitch_mm
    if pitch is None and diameter is not None:
        pitch = coarse_pitch(diameter)
    gather.need(
        diameter,
        f"{key}.size",
        f"thread of the bolts {between}",
        why="torque, preload and strength go by the thread",
        how='write its name, such as size = "M12" or "1/2-13"',
    )
    if diameter is not None:
        gather.need(
            pitch,
            f"{key}.pitch",
            f"pitch of the bolts {between}",
            why="the stress area goes by the pitch",
            how="measure it with a thread gauge",
        )
    torque = gather.need(
        bolts.torque,
        f"{key}.torque",
        f"tightening torque of the bolts {between}",
        why="friction holds the joint, and the torque makes the clamping force",
        how="read it off the torque wrench when you tighten them",
    )
    if diameter is None or pitch is None or torque is None:
        return None
    what = "fixture on the platter" if fixture else "unit on the table"
    told = []
    if bolts.nut_factor is None:
        told.append(
            f"Nut factor {NUT_FACTOR_UNKNOWN:g} for the bolts of the {what}: dry steel "
            "(common practice, no source)."
        )
    if bolts.friction is None:
        told.append(
            f"Friction {FRICTION_UNKNOWN:g} between the faces of the {what}: the safe side "
            "where nothing is known (common practice, no source)."
        )
    stated = bolts.nut_factor is not None and bolts.nut_factor.plus_minus is not None
    if not stated:
        told.append(
            f"The preload of a bolt of the {what} lies within +-{WRENCH_SPREAD:.0%}: spread of "
            "a torque wrench; the low side counts for slip, the high side for stretch."
        )
    thread = Thread(diameter, pitch)
    return Clamping(
        thread=thread,
        torque=torque,
        nut_factor=bolts.nut_factor or Amount(NUT_FACTOR_UNKNOWN),
        friction=bolts.friction or Amount(FRICTION_UNKNOWN),
        scatter=_EXACT if stated else _WRENCH,
        proof_n=_proof_n(bolts, thread),
        assumed=tuple(told),
    )


def _proof_n(bolts: Bolts, thread: Thread) -> float | None:
    """Return the proof load of a bolt [N]; the lower one where class and stress are entered."""
    known = [bolts.proof_stress.value * thread.tabled_area_mm2] if bolts.proof_stress else []
    if bolts.strength is not None:
        known.append(proof_load(thread, bolts.strength))
    return min(known, default=None)


def joint_of(
    clamping: Clamping, count: int, checks: tuple[SlipCheck, ...], slot: int | None = None
) -> Joint:
    """Return the joint with its slip, parting and stretch judged."""

    def one(read: Read) -> list[float]:
        force = clamping.preload(read)
        return [force, slip_capacity(force, read(clamping.friction))]

    values, spreads = values_with_spread(one)
    share = float(spreads[0] / values[0])
    pulled = [check.parting for check in checks if check.parting is not None]
    most_pull = max((pull.value + pull.plus_minus for pull in pulled), default=0.0)
    stretch = most = None
    proof = clamping.proof_n
    if proof is not None:
        # The whole pull on top of the preload: a stiff joint lets the bolt feel only a part of it.
        stretch = judge(lambda read: clamping.preload(read) + most_pull, lambda read: proof)
        left = (proof - most_pull) / (1.0 + share)
        most = tightening_torque(
            max(0.0, left), clamping.nut_factor.value, clamping.thread.diameter_mm
        )
    needed = None
    lacks = [
        check.safety.limit / max(check.safety.value - check.safety.margin_plus_minus, 1e-9)
        for check in checks
        if check.safety is not None
    ]
    if pulled:
        lacks.append(most_pull / max(float(values[0] - spreads[0]), 1e-9))
    if lacks:
        # Slip safety and clamping grow in step with the torque.
        needed = clamping.torque.value * max(lacks)
    return Joint(
        clamping=clamping,
        count=count,
        preload=(float(values[0]), float(spreads[0])),
        capacity=(float(values[1]), float(spreads[1])),
        checks=checks,
        torque_needed_nm=needed,
        torque_most_nm=most,
        stretch=stretch,
        slot_bolt=slot,
    )
