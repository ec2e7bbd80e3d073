"""The table of `holds` on cutting forces that were worked out from the entries of an operation."""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Column, Table
from gudgeon.findings import Findings
from gudgeon.findings.cut_estimates import Push
from gudgeon.findings.cut_forces import CutForces
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = ["force_table"]

ALWAYS: Final = 7
"""So many columns, up to the torque of the spindle, are always there."""


def force_table(findings: Findings) -> Table | None:
    """Return forces, chip and power of each operation; ``None`` if nothing was worked out."""
    units = findings.units
    worked = {
        cut.number: (cut.operation, cut.forces)
        for cut in findings.operation_cuts_known
        if cut.forces.way is not None
    }
    if not worked:
        return None
    force, torque = units.unit(Kind.FORCE), units.unit(Kind.TORQUE)
    length = units.unit(Kind.LENGTH)
    columns = (
        Column("operation", "operation"),
        Column("rests_on", "rests on"),
        Column("thrust", "along the spindle", force),
        Column("thrust_pm", "+-", force),
        Column("side_force", "across it", force),
        Column("side_force_pm", "+-", force),
        Column("twist", "torque of the spindle", torque),
        Column("power", "power at the cutter", units.unit(Kind.POWER)),
        Column("chip_mean", "mean chip", length),
        Column("chip_most", "thickest chip", length),
        Column("pressure", "specific cutting force", units.unit(Kind.STRESS)),
        Column("teeth", "teeth in the cut"),
    )
    rows = [_row(units, name, forces) for name, forces in worked.values()]
    # Chips are known of some ways only.
    kept = [k for k in range(len(columns)) if k < ALWAYS or any(row[k] is not None for row in rows)]
    return Table(
        "forces",
        "Cutting forces as worked out",
        tuple(columns[k] for k in kept),
        tuple(tuple(row[k] for k in kept) for row in rows),
    )


def _row(units: Units, name: str, forces: CutForces) -> tuple[str | float | None, ...]:
    chip = forces.chip

    def shown(kind: Kind, value: float | None) -> float | None:
        return None if value is None else units.shown(kind, value)

    def both(push: Push | None) -> tuple[float | None, float | None]:
        if push is None:
            return None, None
        return shown(Kind.FORCE, push.value), shown(Kind.FORCE, push.plus_minus)

    return (
        name,
        forces.rests_on,
        *both(forces.thrust),
        *both(forces.side),
        shown(Kind.TORQUE, forces.twist.value if forces.twist else None),
        shown(Kind.POWER, chip.power_w),
        shown(Kind.LENGTH, chip.mean_mm),
        shown(Kind.LENGTH, chip.most_mm),
        shown(Kind.STRESS, chip.pressure_mpa),
        None if chip.teeth is None else float(chip.teeth),
    )
