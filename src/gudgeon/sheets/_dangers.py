"""What can hurt somebody in this very cell: told only where the hazard is there."""

from __future__ import annotations

import re
from typing import Final

from gudgeon.cell.model import Cell
from gudgeon.findings import Findings
from gudgeon.findings.loads import NO_TORQUE_NM
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._tables import known

__all__ = ["CLAMPS", "MANUALS", "PROBE", "clamped_parts", "pressure_words", "swing_words"]

MANUALS: Final = (
    "This sheet does not take the place of the manuals of mill and unit, or of the rules of your "
    "shop. Where they ask for more, do as they say."
)

CLAMPS: Final = "Keep your fingers out of the clamps and vises while you tighten them."

PROBE: Final = (
    "Lock the spindle while a probe or dial stands in it. A probe that turns breaks and hurts."
)

PRESSURE: Final = re.compile(r"hydraul|pneum|pressure|\bair\b|\boil\b", re.IGNORECASE)
"""Names of hoses, boxes and solids that tell of pressure."""


def swing_words(findings: Findings) -> str | None:
    """Return the caution of a load that turns by itself; ``None`` where nothing pulls.

    A load that is known to be balanced does not swing; of one whose weights are not known it is
    not known.
    """
    cell = findings.cell
    carried = bool(
        cell.stations
        or cell.unit.masses
        or cell.fixture.masses
        or cell.fixture.name
        or cell.fixture.mass
    )
    if not carried:
        return None
    stages = known(lambda: findings.level_torque)
    part = "cradle" if findings.has_tilt else "platter"
    if stages is None:
        return (
            f"If a brake or drive lets go, the load may swing by itself. Block the {part} before "
            "you reach in."
        )
    most = max(stages.any_order_nm, float(stages.torque.values.max()))
    if most <= NO_TORQUE_NM:
        return None
    torque = findings.units.text(Kind.TORQUE, most, 1)
    return (
        f"If a brake or drive lets go, the load swings by itself with up to {torque}. Block the "
        f"{part} before you reach in."
    )


def pressure_words(cell: Cell) -> str | None:
    """Return the caution of lines under pressure; ``None`` where none is entered."""
    named = [*(hose.name for hose in cell.unit.hoses), *(box.name for box in cell.unit.boxes)]
    named += [solid.name for solid in cell.solids]
    lines = [name for name in named if name and PRESSURE.search(name)]
    if not lines:
        return None
    return (
        f"Under pressure here: {', '.join(dict.fromkeys(lines))}. Let the pressure off before you "
        "open a joint; only people licensed for it work on these lines."
    )


def clamped_parts(cell: Cell) -> bool:
    """Tell whether a person clamps parts here."""
    return any(not station.empty for station in cell.stations)
