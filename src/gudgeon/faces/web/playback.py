"""A program played back: its course as rows of small floats, its tight spots as a list."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from gudgeon.faces.web.wire import Spot
from gudgeon.findings.played import time_at
from gudgeon.questions._clears_blocks import BAD, CONDITIONAL, OPEN, BlockJudged, judgement

if TYPE_CHECKING:
    from gudgeon.findings import Findings
    from gudgeon.findings.programs import ProgramText

__all__ = ["COLUMNS", "ROWS_MOST", "spots_of", "track_bytes"]

COLUMNS: Final = 9
"""Time [s], X, Y, Z [mm], tilt, turn [rad], gap [mm], line, tool; NaN: not known."""

ROWS_MOST: Final = 400_000
"""Positions that are sent; of a longer course every so manieth."""

TIGHTEST: Final = 8
"""So many of the clear blocks are told as tight, those whose gap is least."""


def track_bytes(findings: Findings, program: ProgramText) -> bytes:
    """Return the course as little-endian floats of four bytes, `COLUMNS` a position."""
    done = findings.cleared(program)
    course, segments = findings.played(done), done.track.segments
    rows = np.full((len(course.time_s), COLUMNS), np.nan)
    rows[:, 0] = course.time_s
    rows[:, 1:6] = course.joints
    rows[:, 6] = course.gap_mm
    if len(rows):
        rows[:, 7] = segments["line"][np.maximum(course.row, 0)]
    rows[:, 8] = course.tool
    if len(rows) > ROWS_MOST:
        kept = np.linspace(0, len(rows) - 1, ROWS_MOST).round().astype(np.int64)
        rows = rows[kept]
    return rows.astype("<f4").tobytes()


def spots_of(findings: Findings, program: ProgramText) -> list[Spot]:
    """Return the blocks that are not clear and the tightest of the clear, in order of time."""
    done = findings.cleared(program)
    course, one = findings.played(done), judgement(findings, done)
    clear = [block for block in one.told if block.judged not in (*BAD, *OPEN, *CONDITIONAL)]
    tight = sorted((b for b in clear if math.isfinite(b.margin_mm)), key=lambda b: b.margin_mm)
    chosen = [*one.bad, *one.open, *one.conditional, *tight[:TIGHTEST]]
    spots = []
    for block in chosen:
        bad, unsure = block.judged in BAD, block.judged in OPEN
        spots.append(
            Spot(
                t=time_at(course, block.row, block.joint),
                line=block.line,
                file=program.name,
                words=_words(one.length_text(block.margin_mm), block),
                gap_mm=block.margin_mm if math.isfinite(block.margin_mm) else None,
                grade="danger" if bad else "unknown" if unsure else "tight",
            )
        )
    return sorted(spots, key=lambda spot: (spot.t, spot.line))


def _words(gap: str, block: BlockJudged) -> str:
    told = [block.name, block.judged.value]
    if block.pair:
        told.append(block.pair_words)
    if math.isfinite(block.margin_mm):
        told.append(f"gap {gap}" if block.margin_mm >= 0.0 else f"overlap {gap.lstrip('-')}")
    if block.note:
        told.append(block.note)
    return ", ".join(told)
