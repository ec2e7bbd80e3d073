"""The sheets that hang at the machine: one file each, found by themselves.

A sheet module holds ``NAME``, ``TITLE``, ``PLACE`` (its place in the order of printing) and
``sheet(known) -> Sheet``.  Files whose names start with an underscore, `shape` and `known` are not
sheets.
"""

from __future__ import annotations

import importlib
import pkgutil
from typing import TYPE_CHECKING, Final, Protocol, cast

if TYPE_CHECKING:
    from gudgeon.sheets.known import Known
    from gudgeon.sheets.shape import Sheet

__all__ = ["SheetModule", "find_sheets"]

NOT_SHEETS: Final = frozenset({"shape", "known"})


class SheetModule(Protocol):
    """What a sheet module offers."""

    NAME: str
    TITLE: str
    PLACE: int

    def sheet(self, known: Known) -> Sheet:
        """Return the sheet; it never raises for what the cell lacks."""
        ...


def find_sheets() -> dict[str, SheetModule]:
    """Return every sheet module by its name, in the order of printing."""
    names = [item.name for item in pkgutil.iter_modules(__path__)]
    modules = [
        cast("SheetModule", importlib.import_module(f"{__name__}.{name}"))
        for name in names
        if not name.startswith("_") and name not in NOT_SHEETS
    ]
    return {one.NAME: one for one in sorted(modules, key=lambda one: one.PLACE)}
