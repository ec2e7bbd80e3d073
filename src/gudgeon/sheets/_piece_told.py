"""Commissioning: what the figures that were entered tell of the cell."""

from __future__ import annotations

from gudgeon.findings import Findings
from gudgeon.findings.piece_deviations import Named
from gudgeon.findings.piece_found import PieceFinding
from gudgeon.findings.piece_measured import PieceMeasured, piece_key, piece_measured
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._said import listed
from gudgeon.sheets.shape import Block, Grid, Head, Heading, Words

__all__ = ["entering", "told"]


def entering(piece: PieceFinding) -> str:
    """Return how the figures are entered."""
    return (
        f'To have them worked out: enter key = "{piece_key(piece)}" under [test_piece]. Enter each '
        "figure and its size under [[test_piece.measured]]. Then print this plan again."
    )


def told(findings: Findings, piece: PieceFinding) -> list[Block]:
    """Return what the entered figures tell; nothing where none is entered."""
    found = piece_measured(findings)
    if found is None:
        return []
    blocks: list[Block] = [Heading("What your figures say")]
    if found.other_piece:
        blocks.append(
            Words(
                "The sizes in the cell file belong to another test piece, for the key is not that "
                "of this one. They are not used.",
                "lack",
            )
        )
        return blocks
    if found.unknown:
        blocks.append(
            Words(f"Not used, for this piece has no such figure: {listed(found.unknown)}.", "lack")
        )
    if found.count < len(piece.figures):
        blocks.append(
            Words(
                f"{found.count} of {len(piece.figures)} figures are entered. Enter the others too.",
                "lack",
            )
        )
    if not found.outside:
        if found.count:
            blocks.append(Words("Every figure that is entered keeps its limit."))
        return blocks
    return blocks + _off(findings, found)


def _off(findings: Findings, found: PieceMeasured) -> list[Block]:
    names = listed([figure.name for figure in found.outside])
    blocks: list[Block] = [Words(f"Outside their limits: {names}.")]
    if len(found.single) == 1:
        one, size = found.single[0]
        blocks.append(Words(f"One error alone explains all figures: {_size(findings, one, size)}."))
    elif found.single:
        blocks.append(Words("Each of these errors alone explains all figures:"))
        blocks += [Words(f"{_size(findings, one, size)}.") for one, size in found.single]
    else:
        blocks.append(
            Words(
                "No single error explains these figures. Measure them once more before you mend "
                "anything."
            )
        )
    if found.several:
        unit = findings.units.unit(Kind.LENGTH)
        rows = []
        for one, value, sure in found.several:
            places = 3 if one.kind is Kind.ANGLE else None
            by = findings.units.text(one.kind, abs(value), places)
            rows.append(
                (
                    one.words if value > 0.0 else one.other,
                    by,
                    findings.units.text(one.kind, sure, places, limit="min"),
                )
            )
        blocks.append(
            Grid(
                "piece_estimates",
                f"All errors worked out at once from the figures in {unit}",
                (Head("error", "this is so"), Head("by", "by"), Head("sure", "+-")),
                tuple(rows),
            )
        )
    return blocks


def _size(findings: Findings, one: Named, size: float) -> str:
    places = 3 if one.kind is Kind.ANGLE else None
    words = one.words if size > 0.0 else one.other
    return f"{words} by {findings.units.text(one.kind, abs(size), places)}"
