"""What the checks tell of a move, in the words of the cards."""

from __future__ import annotations

from typing import Final

import numpy as np

from gudgeon.findings import Findings
from gudgeon.findings.drifting import DriftFinding, Moved
from gudgeon.quantity.kinds import Kind

__all__ = ["PARTS", "moved_text", "part_words", "when_text"]

PARTS: Final = {
    "unit": "the unit on the table",
    "tilt line": "the tilt line",
    "tilt zero": "the zero of the tilt axis",
    "rotary line": "the platter in its bearing",
    "rotary zero": "the zero of the rotary axis",
    "seat": "the fixture or the ball on the platter",
}
"""What each cause is called on a card."""


def moved_text(findings: Findings, moved: Moved) -> str:
    """Return the moves that are sure, of the check that moved most: "X +0.020 mm"."""
    size = np.nan_to_num(np.abs(moved.step_mm))
    check = int(np.argmax(np.max(size, axis=1)))
    sure = [
        axis
        for axis in range(3)
        if size[check, axis] > np.nan_to_num(moved.expanded_mm[check, axis], nan=np.inf)
    ] or [int(np.argmax(size[check]))]
    return ", ".join(
        f"{'XYZ'[axis]} "
        + findings.units.text(Kind.LENGTH, float(moved.step_mm[check, axis]), sign=True)
        for axis in sure
    )


def when_text(judged: DriftFinding, moved: Moved) -> str:
    """Return between which mornings it happened."""
    if moved.change.kind == "trend":
        return f"slowly, since about {judged.day_text(judged.days[moved.change.row])}"
    return f"after {judged.day_text(moved.first_day)}, by {judged.day_text(moved.last_day)}"


def part_words(moved: Moved) -> str:
    """Return which parts it may have been."""
    names = [PARTS[one.name] for one in moved.plausible]
    if not moved.causes:
        return "any part: the senses of the axes are not known"
    return " or ".join(names) if names else "more than one part"
