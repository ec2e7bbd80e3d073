"""The cell again and again, each time with one uncertain entry at one end of its range."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any, Final

from gudgeon.cell.model import Cell
from gudgeon.quantity.amount import Amount

__all__ = ["moved_entries"]

WEIGH_ONLY: Final = ("masses", "bolts", "flange")
"""Parts of the cell that no length of the place depends on."""


def moved_entries(cell: Cell) -> Iterator[tuple[str, Cell, Cell]]:
    """Yield each uncertain entry's key with the cell at its lower and at its upper end."""
    for name in ("machine", "unit", "placement", "fixture", "tools"):
        for key, lower, higher in _ends(getattr(cell, name), name):
            yield key, replace(cell, **{name: lower}), replace(cell, **{name: higher})


def _ends(value: Any, key: str) -> Iterator[tuple[str, Any, Any]]:
    """Yield a part of the cell with each of its uncertain entries at both ends."""
    if isinstance(value, Amount):
        if value.plus_minus:
            yield (
                key,
                Amount(value.value - value.plus_minus),
                Amount(value.value + value.plus_minus),
            )
    elif isinstance(value, tuple):
        for i, item in enumerate(value):
            before, after = value[:i], value[i + 1 :]
            for name, low, high in _ends(item, key):
                yield name, (*before, low, *after), (*before, high, *after)
    elif is_dataclass(value) and not isinstance(value, type):
        for item in fields(value):
            if item.name in WEIGH_ONLY:
                continue
            for name, low, high in _ends(getattr(value, item.name), f"{key}.{item.name}"):
                lower: Any = replace(value, **{item.name: low})
                yield name, lower, replace(value, **{item.name: high})
