"""Hoses over all tilts and turns: how far they are stretched, whether they kink, what they meet."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Hose
from gudgeon.findings.bodies import least, most
from gudgeon.findings.hose_bodies import connector_chain, hose_name, hose_space
from gudgeon.findings.proofs import CONTACT_MM, ProofFindings, between

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import Proof
    from gudgeon.clearance.prove import Gap
    from gudgeon.clearance.scene import Body, Scene

__all__ = [
    "HangingFinding",
    "HoseFinding",
    "HoseFindings",
    "all_ranges",
    "bend_needs",
    "covered",
    "longest_bent",
    "tied_mm",
]

Floats = NDArray[np.float64]

TIE_MM: Final = 1.0
"""A tie is told to this digit, shorter."""


def bend_needs(length_mm: float | None, bend_mm: float) -> float:
    """Return the least distance between the ends of a hose that is nowhere bent more than it may.

    A curve of length L with a radius of at least b everywhere spans no less than the arc of that
    radius, ``2 b sin(L / 2 b)``, while L is at most ``pi b`` (Schur's theorem, from memory); a
    longer one, or one of unknown length, is taken as a U: ``2 b``.
    """
    if length_mm is None:
        return 2.0 * bend_mm
    return 2.0 * bend_mm * math.sin(min(length_mm / (2.0 * bend_mm), 0.5 * math.pi))


def longest_bent(apart_mm: float, bend_mm: float) -> float:
    """Return the greatest length of a hose whose ends come so near and that does not kink [mm].

    The inverse of `bend_needs`; infinite where a U has room.
    """
    if apart_mm >= 2.0 * bend_mm:
        return math.inf
    return 2.0 * bend_mm * math.asin(max(apart_mm, 0.0) / (2.0 * bend_mm))


@dataclass(frozen=True, slots=True)
class HoseFinding:
    """How far a hose is stretched and bent over all tilts and turns.

    Attributes
    ----------
    name : str
    free_mm : float
        Greatest distance that it may span, its uncertainty taken off.
    longest_mm, shortest_mm : float
        Proven bounds of the distance from connector to anchor.
    longest_at, shortest_at : tuple of floats
        Tilt and turn where it is stretched and bent most [rad]; empty where the connector does not
        turn.
    bend_mm : float or None
        Distance that its least bend needs, where that is entered.
    length_mm : float or None
        Its whole length, where that is entered.
    shorter_mm : tuple of (least, most), or None
        Lengths that neither tear nor kink; ``None`` where there is none, or none is looked for.
    """

    name: str
    free_mm: float
    longest_mm: float
    shortest_mm: float
    longest_at: tuple[float, ...]
    bend_mm: float | None
    shortest_at: tuple[float, ...] = ()
    length_mm: float | None = None
    shorter_mm: tuple[float, float] | None = None

    @property
    def margin_mm(self) -> float:
        """What is left of its free length [mm]; negative: it tears."""
        return self.free_mm - self.longest_mm

    @property
    def bend_margin_mm(self) -> float | None:
        """By how much its ends stay farther apart than its bend needs; negative: it kinks."""
        return None if self.bend_mm is None else self.shortest_mm - self.bend_mm

    @property
    def kinks(self) -> bool:
        """Whether its ends come nearer than its least bend needs."""
        return self.bend_mm is not None and self.shortest_mm < self.bend_mm


@dataclass(frozen=True, slots=True)
class HangingFinding:
    """What a hose may meet, hanging anywhere that its length lets it reach.

    Attributes
    ----------
    name : str
    meets : tuple of (str, Gap or None)
        What it is not proven to keep clear of, with the proof that failed where that is one of
        motion; none: it hangs free.
    tie_mm : float or None
        Where it meets something: with no more than this of it free between connector and anchor
        it is proven clear; ``None``: not even when taut.
    """

    name: str
    meets: tuple[tuple[str, Gap | None], ...]
    tie_mm: float | None


@dataclass(frozen=True, slots=True)
class _Asked:
    """Where the joints go, what a hose is judged against, and which tilts and turns count."""

    limits: tuple[Floats, Floats]
    walls: Callable[[Scene, Callable[[Body], bool]], Proof]
    tools: tuple[tuple[str, tuple[Body, ...], float], ...]
    turning: bool
    poses: tuple[Floats, Floats]


class HoseFindings(ProofFindings):
    """Facts about hoses and cables."""

    @cached_property
    def hoses_stretched(self) -> tuple[HoseFinding, ...]:
        """Every hose with a free length over all tilts and turns; raises `Lacking`."""
        return tuple(
            found for hose in self.cell.unit.hoses if (found := self._stretched(hose)) is not None
        )

    @property
    def hoses_left_out(self) -> tuple[str, ...]:
        """Hoses that cannot be judged, as sentences."""
        judged = {found.name for found in self.hoses_stretched}
        return tuple(
            f"{name} is not judged: its free length, or connector and anchor in the same "
            "direction, are not entered."
            for name in (hose_name(self.cell, hose) for hose in self.cell.unit.hoses)
            if name not in judged
        )

    def hanging(
        self,
        limits: tuple[Floats, Floats],
        walls: Callable[[Scene, Callable[[Body], bool]], Proof],
        heads: Iterable[tuple[str, tuple[Body, ...], float]],
        *,
        turning: bool = True,
        poses: tuple[Floats, Floats] | None = None,
    ) -> tuple[HangingFinding, ...]:
        """Return what each hose whose length is entered may meet.

        Parameters
        ----------
        limits : tuple of (low, high), shape (5,) each
            Where the joints go.
        walls : callable
            Given a scene and which of its bodies to judge, the proof against guards and doors.
        heads : iterable of (tool, bodies, lowest Z)
            Tools, and how low each goes.
        turning : bool
            A hose that stands still is judged against what turns, too.
        poses : tuple of (low, high), shape (2,) each, or None
            Tilts and turns that count [rad]; all where left out.
        """
        low, high = limits
        tools = tuple(heads)
        asked = _Asked(limits, walls, tools, turning, poses or self.turn_limits)
        found = []
        for hose in self.cell.unit.hoses:
            name = hose_name(self.cell, hose)
            body = self._space(hose, name, asked)
            if body is None or hose.length is None:
                continue
            longest = next(
                (one.longest_mm for one in self.hoses_stretched if one.name == name), math.inf
            )
            parts = (self.scene.scene, body, low, high, tools, self.asked_mm, longest, turning)

            def work(hose: Hose = hose, name: str = name, longest: float = longest) -> object:
                return self._hanging(hose, name, longest, asked)

            kept = self.kept("hanging", parts, work)
            assert isinstance(kept, HangingFinding)
            found.append(kept)
        return tuple(found)

    # --- how it is worked out -------------------------------------------------------------------

    def _space(
        self, hose: Hose, name: str, asked: _Asked, length_mm: float | None = None
    ) -> Body | None:
        return hose_space(
            hose,
            name,
            self.unit_frame,
            self.axis_lines.chain,
            asked.poses,
            self.hose_unsure_mm(hose),
            length_mm,
        )

    def _hanging(
        self,
        hose: Hose,
        name: str,
        longest: float,
        asked: _Asked,
    ) -> HangingFinding:
        assert hose.length is not None
        full = most(hose.length)
        meets = self._met(hose, name, full, asked)
        tie = None
        if meets:
            tie = tied_mm(full, longest, lambda length: bool(self._met(hose, name, length, asked)))
        return HangingFinding(name, meets, tie)

    def _met(
        self,
        hose: Hose,
        name: str,
        length: float,
        asked: _Asked,
    ) -> tuple[tuple[str, Gap], ...]:
        """Return what a hose of a length is not proven to keep clear of."""
        from gudgeon.clearance.scene import Carrier, Role

        body = self._space(hose, name, asked, length)
        assert body is not None
        whole = self.scene.scene
        others = tuple(one for one in whole.bodies if one.name != body.name)
        scene = replace(whole, bodies=(*others, body))
        low, high = asked.limits
        # The space stands still with the table and holds all tilts and turns.
        still_low, still_high = low.copy(), high.copy()
        still_low[3:] = still_high[3:] = 0.0
        found: list[tuple[str, Gap]] = []
        gap = asked.walls(scene, lambda one: one.name == body.name)(still_low, still_high)
        if gap.status != 0:
            found.append((_other(gap, body.name, "the machine's guards"), gap))
        need = max(self.asked_mm, CONTACT_MM)
        if asked.turning and (hose.turns_with or "base") == "base":
            part = between(
                scene,
                lambda one: one.name == body.name,
                lambda one: one.carrier in (Carrier.TILT, Carrier.ROTARY),
                (),
            )
            turning_low, turning_high = low.copy(), high.copy()
            turning_low[:3] = turning_high[:3] = 0.0
            gap = self.proof(part, (), need)(turning_low, turning_high)
            if gap.status != 0:
                found.append((_other(gap, body.name, "what turns"), gap))
        for tool, hand, z in asked.tools:
            part = between(
                scene,
                lambda one: one.name == body.name,
                lambda one: one.carrier is Carrier.HEAD and one.role is not Role.GUARD,
                hand,
            )
            over_low = still_low.copy()
            over_low[2] = z
            gap = self.proof(part, hand, need)(over_low, still_high)
            if gap.status != 0:
                found.append((_other(gap, body.name, tool), gap))
        return tuple(found)

    def _stretched(self, hose: Hose) -> HoseFinding | None:
        from gudgeon.clearance.tether import span

        spans = hose.free_length or hose.length
        if spans is None:
            return None
        connector = (hose.connector_x, hose.connector_y, hose.connector_z)
        anchor = (hose.anchor_x, hose.anchor_y, hose.anchor_z)
        axes = self.unit_axes
        carrier = hose.turns_with or "base"
        # A direction counts where anchor and every part of the connector along it are known.
        counts = [
            anchor[k] is not None
            and all(
                connector[j] is not None for j in range(3) if carrier != "base" or axes[k, j] != 0.0
            )
            for k in range(3)
        ]
        if not any(counts):
            return None
        local = [0.0 if item is None else item.value for item in connector]
        point = self.unit_frame.points(local)
        fixed = [0.0 if item is None else item.value for item in anchor]
        chain = connector_chain(self.axis_lines.chain, hose)
        low, high = self.turn_limits
        rows = [0 if axis.role == "tilt" else 1 for axis in chain.axes]
        found = span(chain, point, fixed, low[rows], high[rows], counts=counts)
        unsure = math.sqrt(
            sum(
                (item.plus_minus or 0.0) ** 2
                for k in range(3)
                if counts[k]
                for item in (connector[k], anchor[k])
                if item is not None
            )
        )
        shortest = max(found.least_mm - unsure, 0.0) if all(counts) else found.least_mm
        longest = found.most_mm + unsure
        length = None if hose.length is None else most(hose.length)
        bend = None if hose.min_bend is None else most(hose.min_bend)
        needs = None if bend is None else bend_needs(length, bend)
        shorter = None
        if bend is not None and needs is not None and shortest < needs:
            ends = longest, longest_bent(shortest, bend)
            shorter = ends if ends[0] < ends[1] else None
        return HoseFinding(
            name=hose_name(self.cell, hose),
            free_mm=least(spans),
            longest_mm=longest,
            shortest_mm=shortest,
            longest_at=found.most_at,
            bend_mm=needs,
            shortest_at=found.least_at,
            length_mm=length,
            shorter_mm=shorter,
        )


def all_ranges(found: Iterable[HangingFinding]) -> tuple[HangingFinding, ...]:
    """Return what each hose meets in any of several ranges of poses, and the tie that suits all."""
    by_name: dict[str, list[HangingFinding]] = {}
    for one in found:
        by_name.setdefault(one.name, []).append(one)
    joined = []
    for name, every in by_name.items():
        meets: dict[str, Gap | None] = {}
        for one in every:
            for what, gap in one.meets:
                meets.setdefault(what, gap)
        ties = [one.tie_mm for one in every if one.meets]
        known = [tie for tie in ties if tie is not None]
        tie = min(known) if known and len(known) == len(ties) else None
        joined.append(HangingFinding(name, tuple(meets.items()), tie))
    return tuple(joined)


def covered(found: Iterable[HangingFinding], by: Iterable[HangingFinding]) -> bool:
    """Return whether ties that suit `by` suit `found`, too: the same hoses in other poses."""
    ties = {one.name: one for one in by}
    for one in found:
        if not one.meets:
            continue
        tied = ties.get(one.name)
        if tied is None or not tied.meets:
            return False
        if tied.tie_mm is None:  # guided off by hand, from what is named
            if not {what for what, _ in one.meets} <= {what for what, _ in tied.meets}:
                return False
        elif one.tie_mm is None or one.tie_mm < tied.tie_mm:
            return False
    return True


def tied_mm(full: float, longest: float, meets: Callable[[float], bool]) -> float | None:
    """Return the greatest length, at most, that a tie may leave free [mm]; ``None`` if none helps.

    Parameters
    ----------
    full : float
        Length of the hose, which meets something.
    longest : float
        Greatest distance between its ends: no tie leaves less than that.
    meets : callable
        Given a length, whether a hose of that length is not proven to keep clear.
    """
    good, bad = math.ceil(longest / TIE_MM) * TIE_MM if longest < full else full, full
    if good >= bad or meets(good):
        return None
    while bad - good > TIE_MM:
        middle = 0.5 * (good + bad)
        if meets(middle):
            bad = middle
        else:
            good = middle
    return math.floor(good / TIE_MM + 1e-9) * TIE_MM


def _other(gap: Gap, name: str, else_: str) -> str:
    """Return what a hose meets in a proof that failed."""
    other = next((one for one in gap.pair if one and one != name), else_)
    return other.removesuffix(" with its margin")
