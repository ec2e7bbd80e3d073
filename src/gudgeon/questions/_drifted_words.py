"""Words of the question "has anything moved": days, shifts, what moved."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.drifting import DriftFinding, Moved
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = ["PARTS", "about_warmth", "moved_by", "pose_text", "when", "which_part"]

Floats = NDArray[np.float64]

PARTS: Final = {
    "unit": "the whole unit on the table, or the machine's zero",
    "rotary line": "the platter with its bearing, in the cradle",
    "seat": "the ball or fixture on the platter",
    "tilt line": "the tilt line",
    "tilt zero": "the zero of the tilt axis",
    "rotary zero": "the zero of the rotary axis",
}
"""What each cause is called."""


def moved_by(units: Units, moved: Moved) -> str:
    """Return the shift that says most, such as ``"X +0.021 mm, Z -0.004 mm"``."""
    size = np.nan_to_num(np.abs(moved.step_mm))
    check = int(np.argmax(np.max(size, axis=1)))
    told = []
    for axis in range(3):
        by, sure = moved.step_mm[check, axis], moved.expanded_mm[check, axis]
        if not np.isnan(by) and abs(by) > sure:
            told.append(f"{'XYZ'[axis]} {units.text(Kind.LENGTH, float(by), sign=True)}")
    if not told:
        axis = int(np.argmax(size[check]))
        by = float(np.nan_to_num(moved.step_mm[check, axis]))
        told = [f"{'XYZ'[axis]} {units.text(Kind.LENGTH, by, sign=True)}"]
    return ", ".join(told)


def when(found: DriftFinding, moved: Moved) -> str:
    """Return between which checks it happened."""
    first, last = found.day_text(moved.first_day), found.day_text(moved.last_day)
    if moved.change.kind == "trend":
        return f"since about {found.day_text(found.days[moved.change.row])}"
    return f"between the checks of {first} and {last}"


def which_part(moved: Moved) -> str:
    """Return what moved as far as the checks can tell."""
    names = [PARTS[one.name] for one in moved.plausible]
    if not moved.causes:
        return "which part cannot be told without the senses of the axes"
    if not names:
        return "no single part explains it: more than one has moved"
    if len(names) == 1:
        return names[0]
    return "one of these, which the checks cannot tell apart: " + "; ".join(names)


def about_warmth(units: Units, moved: Moved) -> str:
    """Return what temperature alone would have done across the change."""
    if np.isnan(moved.warm_by_c):
        return (
            "The temperature was not noted around that day: what it did is only guessed, and the "
            "figures are that much less sure."
        )
    most = float(np.nanmax(np.abs(moved.warm_mm)))
    return (
        f"Temperature changed by {moved.warm_by_c:+.1f} degC across it and explains no more than "
        f"{units.text(Kind.LENGTH, most)}."
    )


def pose_text(found: DriftFinding, check: int) -> str:
    """Return the pose of a check."""
    tilt, turn = np.degrees(found.poses_rad[check])
    return f"tilt {tilt:g}, turn {turn:g} deg"
