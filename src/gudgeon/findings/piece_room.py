"""Whether the lands of a test piece are reached, and clear of everything that is entered."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.piece import Block, Land, Stand, land_corners
from gudgeon.accuracy.place import Lines, to_machine
from gudgeon.answer import Missing
from gudgeon.cell.model import Tool
from gudgeon.findings.gather import Lacking
from gudgeon.findings.proofs import ProofFindings
from gudgeon.quantity.kinds import Kind

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Prover

__all__ = ["OVER_RAD", "PROUD_MM", "PieceRoomFindings", "Room", "tool_name"]

Floats = NDArray[np.float64]

OVER_RAD: Final = math.radians(3.0)
"""An axis comes to a pose from so far before it, or from behind it where it is to be reversed."""

PROUD_MM: Final = 1.0
"""The raw block stands so far over its lands."""


def tool_name(tool: Tool) -> str:
    """Return what a tool is called: "T3"."""
    return f"T{tool.number}"


@dataclass(slots=True, eq=False)
class Room:
    """Judges lands one by one, and keeps why some cannot be cut.

    Attributes
    ----------
    block : Block
    stands : sequence of Stand
    lines : Lines
    senses : sequence of int
    tools : mapping of str to Tool
        By their names; lands of others are not judged.
    low, high : ndarray, shape (5,)
        Ends of travel.
    provers : mapping of str to Prover
        By the names of the tools; empty: only reach is judged.
    need_mm : float
    missing : tuple of Missing
        Why nothing is proven; empty where it is.
    """

    block: Block
    stands: Sequence[Stand]
    lines: Lines
    senses: Sequence[int]
    tools: Mapping[str, Tool]
    low: Floats
    high: Floats
    provers: Mapping[str, Prover]
    need_mm: float
    missing: tuple[Missing, ...]
    refused: dict[int, str]
    known: dict[int, bool]
    posed: dict[tuple[int, str], bool]
    used: set[int]

    @property
    def proven(self) -> bool:
        """Whether lands are proven clear, not only reached."""
        return bool(self.provers)

    def told(self) -> dict[int, str]:
        """Return the poses in which no land that was asked for can be cut, and why."""
        return {i: why for i, why in sorted(self.refused.items()) if i not in self.used}

    def clear(self, land: Land) -> bool:
        """Return whether a land is reached, and proven clear where that can be told."""
        key = id(land)
        if key not in self.known:
            self.known[key] = self._clear(land)
            if self.known[key]:
                self.used.add(land.way.stand)
        return self.known[key]

    def _clear(self, land: Land) -> bool:
        tool = self.tools.get(land.way.tool)
        if tool is None or tool.length is None or tool.cutter_diameter is None:
            return True
        number = land.way.stand
        stand = self.stands[number]
        turns = np.multiply(self.senses, stand.angles)
        corners = land_corners(self.block, land.spot)
        tip = to_machine(self.lines, turns[None, :].repeat(len(corners), 0), corners)
        if land.way.kind == "edge":
            tip += 0.5 * tool.cutter_diameter.value * land.way.across
            # Its tip stands as low as the land reaches.
            tip[:, 2] = tip[:, 2].min()
        gauge = tip + np.array([0.0, 0.0, tool.length.value])
        for k, letter in enumerate("XYZ"):
            if gauge[:, k].min() < self.low[k] or gauge[:, k].max() > self.high[k]:
                self.refused.setdefault(number, f"{letter} does not reach all lands")
                return False
        prover = self.provers.get(land.way.tool)
        if prover is None:
            return True
        if not self._pose_clear(number, land.way.tool, prover):
            return False
        # Down at the first corner, then round the land and across it.
        pose = self._joint(stand)
        path = [np.array([*gauge[i], *pose]) for i in (0, 1, 3, 2, 0, 3)]
        above = path[0].copy()
        above[2] = self.high[2]
        for before, after in pairwise([above, *path]):
            gap = prover.motion(before, after, self.need_mm, cutting="*")
            if gap.status != 0:
                self.refused.setdefault(number, f"{gap.pair[0]} and {gap.pair[1]} come too near")
                return False
        return True

    def _joint(self, stand: Stand) -> tuple[float, float]:
        if len(stand.angles) == 1:
            return 0.0, stand.angles[0]
        return stand.angles[0], stand.angles[1]

    def _ways_round(self, tilt: float, over: float) -> list[float]:
        """Return how far past a tilt it may go on the way there, both ways, within its range."""
        if len(self.senses) == 1:
            return []
        return [by for by in (-over, over) if self.low[3] <= tilt + by <= self.high[3]]

    def _pose_clear(self, number: int, tool: str, prover: Prover) -> bool:
        """Return whether the block gets into a pose, and the tool over it, Z at the top.

        Tilt and turn apart, X and Y in the middle of their travel; then X and Y, each as it likes,
        anywhere between there and the block.
        """
        key = number, tool
        if key not in self.posed:
            middle = 0.5 * (self.low[:2] + self.high[:2])
            tilt, turn = self._joint(self.stands[number])
            # Each axis comes from a little before the pose, or from a little behind it.
            over = OVER_RAD
            path = [
                (0.0, 0.0),
                (0.0, turn - over),
                (0.0, turn + over),
                (0.0, turn),
                *((tilt + by, turn) for by in self._ways_round(tilt, over)),
                (tilt, turn),
            ]
            self.posed[key] = True
            top = self.high[2]
            moves = [
                ([*middle, top, *before], [*middle, top, *after])
                for before, after in pairwise(path)
            ]
            over_it = self._over_block(number)
            corners = np.stack([middle, *over_it])
            moves.append(
                (
                    [*corners.min(axis=0), top, tilt, turn],
                    [*corners.max(axis=0), top, tilt, turn],
                )
            )
            for start, end in moves:
                gap = prover.motion(start, end, self.need_mm, dogleg=True)
                if gap.status != 0:
                    self.posed[key] = False
                    self.refused.setdefault(
                        number, f"{gap.pair[0]} and {gap.pair[1]} come too near on the way there"
                    )
                    break
        return self.posed[key]

    def _over_block(self, number: int) -> Floats:
        """Return the ends of X and Y that the tool needs over the block in a pose, shape (2, 2)."""
        turns = np.multiply(self.senses, self.stands[number].angles)
        half, high = self.block.half, self.block.high
        ends = [(a, b, c) for a in (-half, half) for b in (-half, half) for c in (0.0, high)]
        at = to_machine(self.lines, turns[None, :].repeat(len(ends), 0), np.array(ends))[:, :2]
        wide = max((tool.cutter_diameter.value for tool in self.tools.values()
                    if tool.cutter_diameter is not None), default=0.0)  # fmt: skip
        low = np.maximum(at.min(axis=0) - wide, self.low[:2])
        return np.stack([low, np.minimum(at.max(axis=0) + wide, self.high[:2])])


class PieceRoomFindings(ProofFindings):
    """Room for a block on the bare platter."""

    def piece_room(
        self,
        block: Block,
        stands: Sequence[Stand],
        lines: Lines,
        senses: Sequence[int],
        tools: Sequence[Tool],
    ) -> Room:
        """Return the judge of lands; without travels, bodies or a tool it judges what it can."""
        missing: list[Missing] = []
        low, high = np.full(5, -np.inf), np.full(5, np.inf)
        provers: dict[str, Prover] = {}
        try:
            low, high = self.ranges.low, self.ranges.high
        except Lacking as lacking:
            missing += lacking.missing
        if not tools:
            room = self.units.text(Kind.LENGTH, block.pitch, limit="max")
            missing.append(
                Missing(
                    "an end mill that an operation mills with",
                    f"{self.cell.file}: tools",
                    "it cuts the lands of the test piece",
                    f"enter an end mill of {room} or less under [[tools]], and an operation that "
                    "mills with it",
                )
            )
        if not missing:
            try:
                provers = {tool_name(tool): self._piece_prover(block, tool) for tool in tools}
            except Lacking as lacking:
                missing += lacking.missing
        named = {tool_name(tool): tool for tool in tools}
        return Room(
            block, stands, lines, senses, named, low, high, provers, self.asked_mm,
            tuple(missing), {}, {}, {}, set(),
        )  # fmt: skip

    def _piece_prover(self, block: Block, tool: Tool) -> Prover:
        """Return the proofs for the bare cell with the block on the platter and a tool in hand."""
        from gudgeon.clearance.prove import Prover
        from gudgeon.clearance.scene import Body, Carrier, Role
        from gudgeon.findings.bodies import block as box

        scene = self.scene.scene
        bodies = self.tool_bodies(tool.number)
        gone = (Role.FIXTURE, Role.STOCK, Role.PART)
        stays = tuple(body for body in scene.bodies if body.role not in gone)
        frame = self.platter_frame
        half = block.half + PROUD_MM
        top = block.high + PROUD_MM
        solid = box(frame, (-half, half), (-half, half), (0.0, top))
        piece = Body("test piece", Carrier.ROTARY, Role.STOCK, (solid,))
        platter = {
            frozenset(("test piece", body.name))
            for body in stays
            if body.carrier in (Carrier.ROTARY, Carrier.TILT)
        }
        whole = replace(scene, bodies=(*stays, piece), apart=scene.apart | platter)
        return Prover(whole, bodies)
