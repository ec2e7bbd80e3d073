"""Entries of [test_piece]: what was measured on the first test piece."""

from __future__ import annotations

from dataclasses import dataclass

from gudgeon.cell.entry import entry, sections
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind

__all__ = ["Piece", "PieceSize"]


@dataclass(frozen=True, slots=True)
class PieceSize:
    """[[test_piece.measured]]: one figure of the test piece."""

    figure: str | None = entry(Kind.TEXT, 'its name on the commissioning plan, such as "m3a"')
    size: Amount | None = entry(Kind.LENGTH, "what was measured", above=0.0)


@dataclass(frozen=True, slots=True)
class Piece:
    """[test_piece]: the first test piece, as measured."""

    key: str | None = entry(
        Kind.TEXT, "key printed with the test piece; figures of another piece are not used"
    )
    measured: tuple[PieceSize, ...] = sections(PieceSize, "the figures, one by one")
