"""What answers that rest on proofs share: words about a pair, the closest pose in two views."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from gudgeon.answer import Picture
from gudgeon.findings import Findings
from gudgeon.findings.hoses import HangingFinding
from gudgeon.quantity.kinds import Kind

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap
    from gudgeon.clearance.scene import Body

__all__ = ["angle_text", "pair_text", "pose_views", "tie_words"]

TOUCHES_MM: Final = 0.01
"""A gap that nobody would draw; a limit ends there where a margin stands in the bodies."""


def angle_text(angle_rad: float) -> str:
    """Return an angle in degrees with at most two decimals."""
    return f"{round(math.degrees(angle_rad), 2) + 0.0:g} deg"


def pair_text(gap: Gap | None) -> str:
    """Return the two bodies that come nearest; empty where none is known."""
    return " and ".join(name for name in gap.pair if name) if gap is not None else ""


def tie_words(findings: Findings, hang: HangingFinding) -> str:
    """Return the condition on a hose that may reach something."""
    what = ", ".join(list(dict.fromkeys(what for what, _ in hang.meets))[:3])
    if hang.tie_mm is None:
        return (
            f"{hang.name} is guided off {what}: hanging free it may reach there, and no tie alone "
            "is proven to keep it away"
        )
    tie = findings.units.text(Kind.LENGTH, hang.tie_mm, limit="max")
    return (
        f"{hang.name} is tied so that no more than {tie} of it hangs free between connector and "
        f"anchor (else it may reach {what})"
    )


def pose_views(
    findings: Findings, name: str, title: str, gap: Gap | None, tool: tuple[Body, ...] = ()
) -> tuple[Picture, ...]:
    """Return the closest pose of a proof in two views; empty where there is none."""
    if gap is None or not math.isfinite(gap.upper_mm):
        return ()
    from gudgeon.drawing.pose_view import pose_pictures

    words = findings.units.text(Kind.LENGTH, max(gap.upper_mm, 0.0))
    return pose_pictures(
        name,
        title,
        findings.limits_scene,
        tool,
        gap.joint,
        gap.pair,
        gap.points,
        words if gap.upper_mm > TOUCHES_MM else "touches",
        inch=findings.units.inch,
    )
