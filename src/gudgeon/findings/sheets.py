"""Where each station sits on the fixture, in the order in which the parts are loaded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell, Station
from gudgeon.findings.faces import about_z

__all__ = ["Seat", "seats"]

Floats = NDArray[np.float64]

SAME_MM: Final = 1.0
"""Stations nearer to each other than this in height or across stand in one row or column."""

BESIDE: Final = 0.5
"""Places whose middle lies off the rotary axis by this share of their distance are on one side."""

TOP: Final = "top"


@dataclass(frozen=True, slots=True)
class Seat:
    """A station as one sees it who loads the fixture, both angles zero.

    Attributes
    ----------
    serial : int or None
        Place in the loading order, from 1; ``None`` where no part is loaded.
    station, part : str
    side : str or None
        Direction in which its side of the fixture looks, "X+" to "Y-", or "top"; ``None`` where
        the station's place is not entered.
    row, column : int or None
        On a side: from the top, and from the left as one looks at it.  On top: from the front, and
        from the left.  From 1.
    """

    serial: int | None
    station: str
    part: str
    side: str | None
    row: int | None
    column: int | None


def seats(cell: Cell) -> tuple[Seat, ...]:
    """Return the seat of every station, in the order of the file.

    Stations that are turned alike stand on one side of the fixture, if they lie off the rotary axis
    together; else they stand on top.
    """
    placed = {k: station for k, station in enumerate(cell.stations) if station.at is not None}
    found: dict[int, tuple[str, int, int]] = {}
    turns: dict[int, list[int]] = {}
    for k, station in placed.items():
        turns.setdefault(round(np.degrees(_turn(station))) % 360, []).append(k)
    clocked = about_z(0.0 if cell.fixture.clocking is None else cell.fixture.clocking.value)
    sides: dict[str, list[int]] = {}
    for members in turns.values():
        middles = np.array([_place(placed[k]) for k in members]) @ clocked.T
        sides.setdefault(_side(middles), []).extend(members)
    for side, members in sides.items():
        at = np.array([_place(placed[k]) for k in members]) @ clocked.T
        rows, columns = _grid(side, at)
        found |= {k: (side, r, c) for k, r, c in zip(members, rows, columns, strict=True)}
    only = cell.parts[0].name if len(cell.parts) == 1 else None
    serial = 0
    shown = []
    for k, station in enumerate(cell.stations):
        serial += not station.empty
        looks, row, column = found.get(k, (None, None, None))
        shown.append(
            Seat(
                None if station.empty else serial,
                station.name or str(k + 1),
                station.part or only or "",
                looks,
                row,
                column,
            )
        )
    return tuple(shown)


def _side(at: Floats) -> str:
    """Return the side of the fixture on which places stand that are turned alike [mm]."""
    middle = at[:, :2].mean(axis=0)
    reach = float(np.linalg.norm(at[:, :2], axis=1).max())
    if float(np.linalg.norm(middle)) <= BESIDE * reach:
        return TOP
    k = int(np.argmax(np.abs(middle)))
    return "XY"[k] + ("+" if middle[k] > 0.0 else "-")


def _grid(side: str, at: Floats) -> tuple[list[int], list[int]]:
    """Return row and column of each place on one side, platter frame [mm]."""
    if side == TOP:
        return _ranks(at[:, 1]), _ranks(at[:, 0])
    outward = np.zeros(3)
    outward["XY".index(side[0])] = 1.0 if side[1] == "+" else -1.0
    right = np.cross(-outward, [0.0, 0.0, 1.0])
    return _ranks(-at[:, 2]), _ranks(at @ right)


def _ranks(values: Floats) -> list[int]:
    """Return the place of each value among those that differ, from 1."""
    steps: list[float] = []
    for value in np.sort(values).tolist():
        if not steps or value - steps[-1] > SAME_MM:
            steps.append(value)
    return [sum(value >= step - 1e-9 for step in steps) for value in values.tolist()]


def _place(station: Station) -> Sequence[float]:
    assert station.at is not None
    return [item.value for item in station.at]


def _turn(station: Station) -> float:
    return 0.0 if station.turn is None else station.turn.value
