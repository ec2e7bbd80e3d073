"""What all groups of findings share: the cell and the shop's units."""

from __future__ import annotations

from collections.abc import Sequence

from gudgeon.cell.model import Cell
from gudgeon.findings.effort import USUAL_EFFORT, Effort
from gudgeon.findings.gather import Gather
from gudgeon.findings.programs import ProgramText
from gudgeon.quantity.show import Units

__all__ = ["FindingsBase"]


class FindingsBase:
    """Holds the cell and the programs handed in with it; groups of findings derive from it."""

    def __init__(
        self, cell: Cell, programs: Sequence[ProgramText] = (), effort: Effort = USUAL_EFFORT
    ) -> None:
        self.cell = cell
        self.programs = tuple(programs)
        self.effort = effort

    @property
    def units(self) -> Units:
        """Units in which the shop reads answers."""
        return Units(inch=self.cell.shop.units == "in", currency=self.cell.currency)

    def gather(self) -> Gather:
        """Return a fresh collector of missing entries."""
        return Gather(self.cell.file)
