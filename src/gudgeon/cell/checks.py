"""x."""

from gudgeon.cell.faults import Fault
from gudgeon.cell.reader import ReadCell


def check(read: ReadCell) -> list[Fault]:
    """X."""
    return []
