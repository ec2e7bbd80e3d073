"""A warm-up path through the safe travel, in the control's words, read back and proven.

The path is written in rapids with machine coordinates: nothing of it hangs on work offsets, feeds
or the spindle, and the rapid override sets its speed.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Final

from gudgeon.findings.gather import Lacking
from gudgeon.findings.written import TILT, TURN, Block, Written, X, Y
from gudgeon.findings.written_proof import NotOfferedError, Start, WrittenFindings

__all__ = ["WarmUpFindings"]

STEP_RAD: Final = math.radians(120.0)
"""A turn is made in steps of no more: a control that takes the shorter way keeps its direction."""


class WarmUpFindings(WrittenFindings):
    """The warm-up path."""

    @cached_property
    def warm_up(self) -> Written:
        """A path from corner to corner of the safe limits and through tilt and turn."""
        program = Written("warm-up", "Warm-up through the safe travel")
        try:
            start = self.free_start
            program = Written(
                program.name,
                program.title,
                cautions=self.usual_cautions,
            )
            return self.offered(program, self._warm_up_blocks(start), start)
        except (Lacking, NotOfferedError) as problem:
            return self.cannot_be_proven(program, problem)

    def _warm_up_blocks(self, start: Start) -> list[Block]:
        words = self.control_words
        x0, x1 = float(start.low[X]), float(start.high[X])
        y0, y1 = float(start.low[Y]), float(start.high[Y])
        blocks = self.first_blocks(start)
        for x, y, told in (
            (x0, y0, "corner X low, Y low"),
            (x1, y0, "corner X high, Y low"),
            (x1, y1, "corner X high, Y high"),
            (x0, y1, "corner X low, Y high"),
            (x0, y0, "back to the first corner"),
            (0.5 * (x0 + x1), 0.5 * (y0 + y1), "middle of the safe travel"),
        ):
            blocks.append(words.to_machine({X: x, Y: y}, told))
        if self.has_tilt:
            low, high = float(start.low[TILT]), float(start.high[TILT])
            blocks += self._swept(
                TILT,
                (
                    (low, "tilt to its low end"),
                    (high, "tilt to its high end"),
                    (min(max(0.0, low), high), "tilt back"),
                ),
            )
        low, high = self._turn_ends(start)
        blocks += self._swept(
            TURN,
            (
                (low, "turn to where it begins"),
                (high, "turn all round" if self.ranges.endless else "turn to its high end"),
                (low, "turn back"),
            ),
        )
        return [*blocks, words.end()]

    def _turn_ends(self, start: Start) -> tuple[float, float]:
        """Return where the turn goes from and to: once round where it may, from 0 if it can."""
        turns = self.cell.unit.rotary_range
        low, high = float(start.low[TURN]), float(start.high[TURN])
        if turns is not None and self.ranges.endless and high - low >= 2.0 * math.pi - 1e-9:
            # The range that is entered holds a whole turn, though maybe not that from 0 on.
            low = min(max(0.0, turns[0].value), turns[1].value - 2.0 * math.pi)
            high = low + 2.0 * math.pi
        return low, high

    def _swept(self, joint: int, ends: tuple[tuple[float, str], ...]) -> list[Block]:
        words = self.control_words
        blocks = [
            Block(word, "let go", brakes=does)
            for word, does in words.clamp_words((joint,), "frees")
        ]
        at: float | None = None
        for end, told in ends:
            for step in _steps(at, end):
                blocks.append(words.to_machine({joint: step}, told))
            at = end
        blocks += [
            Block(word, "clamp", brakes=does)
            for word, does in words.clamp_words((joint,), "clamps")
        ]
        return blocks


def _steps(start: float | None, end: float) -> list[float]:
    """Return angles from one to another in steps that a control goes the way that is meant."""
    if start is None:
        return [end]
    count = max(1, math.ceil(abs(end - start) / STEP_RAD - 1e-9))
    return [start + (end - start) * (k + 1) / count for k in range(count)]
