"""What all groups of findings share: the cell, the shop's units, and how far long work is."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Self

from gudgeon.cell.model import Cell
from gudgeon.findings.effort import USUAL_EFFORT, Effort
from gudgeon.findings.gather import Gather
from gudgeon.findings.programs import ProgramText
from gudgeon.quantity.show import Units

__all__ = ["FindingsBase", "Stopped"]


class Stopped(Exception):  # noqa: N818 - nothing is wrong
    """Somebody asked the work to stop; what was being worked out is not known, and not held."""


class FindingsBase:
    """Holds the cell and the programs handed in with it; groups of findings derive from it.

    Attributes
    ----------
    told : callable, optional
        Gets the share of an answer that is done, 0 to 1, now and then; returns False to stop.
    """

    def __init__(
        self, cell: Cell, programs: Sequence[ProgramText] = (), effort: Effort = USUAL_EFFORT
    ) -> None:
        self.cell = cell
        self.programs = tuple(programs)
        self.effort = effort
        self.told: Callable[[float], bool] | None = None
        self._told_span = (0.0, 1.0)

    @property
    def units(self) -> Units:
        """Units in which the shop reads answers."""
        return Units(inch=self.cell.shop.units == "in", currency=self.cell.currency)

    def gather(self) -> Gather:
        """Return a fresh collector of missing entries."""
        return Gather(self.cell.file)

    # --- long work ------------------------------------------------------------------------------

    @contextmanager
    def part(self, low: float, high: float) -> Iterator[None]:
        """Let what is worked out inside be told from `low` to `high` of the part that this is."""
        start, end = self._told_span
        self._told_span = (start + low * (end - start), start + high * (end - start))
        try:
            self.going()
            yield
        finally:
            self._told_span = (start, end)

    def going(self, share: float = 0.0) -> None:
        """Tell the share that is done of the part worked on; a step back is not heard of.

        Raises
        ------
        Stopped
            If the work shall stop.
        """
        low, high = self._told_span
        if self.told is not None and not self.told(low + share * (high - low)):
            raise Stopped

    def telling(self, other: Self) -> Self:
        """Return findings of a changed cell, whose work is told as part of what is done here."""

        def told(share: float) -> bool:
            self.going(share)
            return True

        other.told = told
        return other
