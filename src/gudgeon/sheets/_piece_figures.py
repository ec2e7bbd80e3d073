"""Commissioning: what to measure on the test piece, and what its figures say."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.piece import Measure
from gudgeon.accuracy.piece_choice import Parting
from gudgeon.findings import Findings
from gudgeon.findings.piece_deviations import Named
from gudgeon.findings.piece_found import Figure, PieceFinding
from gudgeon.findings.test_piece import ACROSS_U_MM, HEIGHT_U_MM
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._piece_words import number, pose_text, side, signed, within
from gudgeon.sheets._said import listed
from gudgeon.sheets.shape import Block, Grid, Head, Step, Words

__all__ = ["culprit_rows", "figures_grid", "measuring", "reading"]

Floats = NDArray[np.float64]

LENGTH_STEP: Final = {False: 0.02, True: 0.001 * 25.4}
"""Error that the table of culprits tells of: 0.02 mm, or a thou [mm]."""

ANGLE_STEP: Final = math.radians(0.02)
SHOWS: Final = 0.2
"""A figure is named beside an error if it shows this share of the most that any figure shows."""


def measuring() -> tuple[Step, ...]:
    return (
        Step(
            "piece_off",
            "Measure the heights of the top first, with a height gauge that stands on the platter.",
            see="The block is still screwed down.",
        ),
        Step(
            "piece_across",
            "Then take the block off. Take off the burrs. Let it get as warm as the micrometer.",
            see="Measure across two lands at the crosses of the drawing, with a micrometer.",
        ),
    )


def figures_grid(findings: Findings, piece: PieceFinding) -> Grid:
    unit = findings.units.unit(Kind.LENGTH)
    rows = []
    for one in piece.figures:
        rows.append(
            (
                one.name,
                _what(one),
                _where(findings, one),
                number(findings, one.expected_mm),
                findings.units.text(Kind.LENGTH, one.limit_mm, limit="max").split()[0],
                "",
                "",
            )
        )
    heads = (
        Head("figure", "figure"),
        Head("lands", "lands"),
        Head("where", "at the cross (up: over the platter)", unit),
        Head("expected", "expect", unit),
        Head("limit", "limit, plus or minus", unit),
        Head("measured", "measured", unit, blank=True),
        Head("off", "measured less expected", unit, blank=True),
    )
    return Grid(
        "piece_figures",
        "What to measure; a figure outside its limit tells that something is off",
        heads,
        tuple(rows),
    )


def _what(one: Figure) -> str:
    if len(one.lands) == 1:
        return f"height of {one.lands[0]}"
    return f"across {one.lands[0]} and {one.lands[1]}"


def _where(findings: Findings, one: Figure) -> str:
    """Return the place of a measuring point, platter frame as the machine sees it at zero."""
    axes = findings.platter_axes
    at = axes @ one.point_mm
    skip = {int(np.argmax(np.abs(axes @ normal))) for normal in _normals(one)}
    up = int(np.argmax(np.abs(axes[:, 2])))
    told = []
    for k in range(3):
        if k in skip:
            continue
        value = within(findings, float(at[k]))
        told.append(f"{value} up" if k == up else f"{'XYZ'[k]} {value}")
    return ", ".join(told)


def _normals(one: Figure) -> list[Floats]:
    if len(one.lands) == 1:
        return [np.array([0.0, 0.0, 1.0])]
    return [one.normal]


def culprit_rows(findings: Findings, piece: PieceFinding) -> list[tuple[Named, float, Floats]]:
    """Return each error that is told, the size it is told for, and what every figure shows."""
    step = LENGTH_STEP[findings.units.inch]
    found = []
    for i, one in enumerate(piece.deviations):
        if one.deviation.told:
            size = step if one.kind is Kind.LENGTH else ANGLE_STEP
            shown = np.array([figure.row[i] for figure in piece.figures]) * size
            found.append((one, size, shown))
    return found


def reading(findings: Findings, piece: PieceFinding) -> list[Block]:
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    rows = []
    for row, (one, size, shown) in enumerate(culprit_rows(findings, piece), start=1):
        most = float(np.max(np.abs(shown), initial=0.0))
        told = _shown(findings, piece, shown, most)
        text = units.text(one.kind, size, 4 if units.inch and one.kind is Kind.LENGTH else 2)
        rows.append(
            (
                str(row),
                f"{one.words[:1].upper()}{one.words[1:]} by {text}",
                ", ".join(told) if most > 1e-7 else "nothing",
                _cure(one),
            )
        )
    grid = Grid(
        "piece_culprits",
        f"What each of these shows (measured less expected, {unit}); the other way round all signs "
        "turn over",
        (
            Head("number", "no."),
            Head("error", "if this is so"),
            Head("shows", "these figures show"),
            Head("mend", "then"),
        ),
        tuple(rows),
    )
    blocks: list[Block] = [
        Words(
            "Are all figures within their limits? Then the lines, the angles and the tool are as "
            "good as they were believed to be."
        ),
        Words(
            "Is a figure outside? Measure it once more. Then look in the table for the row whose "
            "figures and signs fit. Mend that, work the zeros out again, and cut the piece again."
        ),
        grid,
    ]
    blocks += [Words(_parting(findings, piece, one), "text") for one in piece.partings]
    across, height = (units.text(Kind.LENGTH, 2.0 * u) for u in (ACROSS_U_MM, HEIGHT_U_MM))
    blocks.append(
        Words(
            "Where nothing is wrong, a figure keeps its limit 95 times in 100. The limits count "
            f"in how surely the lines are known, a micrometer good to {across} and a height gauge "
            f"good to {height}."
        )
    )
    if piece.usual:
        blocks.append(
            Words(
                "Where the cell file does not say how well axes and tools repeat, it is taken as "
                "usual (common practice only)."
            )
        )
    blocks += [Words(text, "text") for text in piece.assumed]
    return blocks


def _shown(findings: Findings, piece: PieceFinding, shown: Floats, most: float) -> list[str]:
    """Return what the figures show, both points of a pair of lands as one where they agree."""
    texts: dict[str, str] = {}
    for figure, value in zip(piece.figures, shown, strict=True):
        if abs(value) > SHOWS * most:
            texts[figure.name] = signed(findings, float(value))
    found = []
    for name, text in texts.items():
        stem, other = name.rstrip("ab"), texts.get(f"{name.rstrip('ab')}b")
        if name.endswith("a") and text == other:
            found.append(f"{stem} {text}")
        elif not (name.endswith("b") and texts.get(f"{stem}a") == text):
            found.append(f"{name} {text}")
    return found


def _cure(one: Named) -> str:
    name = one.deviation.name
    if "index" in name:
        return "check this angle against the control's table of the axis"
    if "lost motion" in name:
        return "measure the lost motion; come to poses from one side"
    if "length" in name or "diameter" in name:
        return "measure the tool again"
    if name.endswith(("pitch", "yaw", "roll")):
        return "tram and level again, then touch the lines again"
    return "touch the lines again"


def _parting(findings: Findings, piece: PieceFinding, one: Parting) -> str:
    told = [item.deviation.name for item in piece.deviations if item.deviation.told]
    rows = [str(told.index(name) + 1) for name in one.names]
    if len(rows) == 1:
        said = f"Row {rows[0]} is hard to see on this piece."
    else:
        said = f"Rows {listed(rows)} look alike on this piece."
    if one.extra is None:
        return f"{said} No other land on it would tell."
    return f"{said} To tell, measure also {_extra(findings, piece, one.extra)}."


def _extra(findings: Findings, piece: PieceFinding, measure: Measure) -> str:
    ways = []
    for land in measure.lands:
        angles = piece.stands[land.way.stand].angles
        by = "end" if land.way.kind == "plane" else "side"
        ways.append(
            f"{side(findings, land.spot.normal)}, cut in {pose_text(findings, angles)} by the "
            f"tool's {by}"
        )
    if len(ways) == 1:
        return f"the height of a land on {ways[0]}"
    return f"across two lands: {ways[0]}; {ways[1]}"
