"""The test piece on paper: what is printed is what comes out, and the drawing is to scale."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from gudgeon.drawing.piece_net import unfolded
from gudgeon.findings import Findings
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._piece_figures import culprit_rows
from gudgeon.sheets._test_piece import test_piece as piece_blocks
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Cautions, Drawing, Grid, Steps, Words
from tests.accuracy.cutting import Cutting

CELLS = ("alder-ford", "juniper-street")


def grid(blocks: tuple[Block, ...], name: str) -> list[dict[str, str]]:
    for block in blocks:
        if isinstance(block, Grid) and block.name == name:
            heads = [head.name for head in block.heads]
            return [dict(zip(heads, row, strict=True)) for row in block.rows]
    raise KeyError(name)


@pytest.mark.parametrize("cell", CELLS)
def test_a_block_cut_by_the_printed_numbers_has_the_expected_sizes(
    cell: str, known: Callable[[str], Known]
) -> None:
    """Zeros and sizes are taken from the paper alone, as text, and cut on the believed lines."""
    facts = known(cell)
    findings = facts.findings
    blocks, _ = piece_blocks(facts)
    scale = 25.4 if findings.units.inch else 1.0
    digit = scale * (1e-4 if findings.units.inch else 1e-3)
    zeros = {
        row["pose"]: np.array([float(row[k]) * scale for k in "xyz"])
        for row in grid(blocks, "piece_zeros")
    }
    piece = findings.test_piece
    lands = {one.number: (pose, one) for pose in piece.poses for one in pose.lands}
    lines = findings.axis_lines
    unit = Cutting(lines.frame, findings.platter_axes, lines.values, np.zeros(9))
    origin, axes = lines.platter_origin_of(lines.values), unit.platter(lines.values)
    proud: dict[tuple[int, int], float] = {}
    for row in grid(blocks, "piece_lands"):
        pose, one = lands[int(row["land"])]
        zero = zeros[row["pose"].split(",")[0]]
        for k, letter in enumerate("xyz"):
            text = row[letter]
            if row["by"] == "end" and letter == "z":
                axis, at = k, float(text.removeprefix("tip ")) * scale
            elif text.startswith("tool middle"):
                axis, at = k, float(text.removeprefix("tool middle ")) * scale
                tool = piece.tools[0].cutter_diameter
                assert tool is not None
                # The surface is half a cutter nearer to the block, whose middle is at zero.
                at -= np.sign(at) * 0.5 * tool.value
        surface = zero[axis] + at
        normal = one.land.spot.normal
        for k, point in enumerate(one.land.spot.points):
            there = np.array([point, point + normal]) @ axes.T + origin
            x0, x1 = lines.chain.points(np.array(pose.angles_rad), there)[:, axis]
            proud[one.number, k] = point @ normal + (surface - x0) / (x1 - x0)
    for row, figure in zip(grid(blocks, "piece_figures"), piece.figures, strict=True):
        k = "ab".find(row["figure"][-1]) if row["figure"][-1] in "ab" else 0
        numbers = [int(n) for n in re.findall(r"\d+", row["lands"])]
        assert tuple(numbers) == figure.lands
        cut = sum(proud[number, k] for number in numbers)
        assert float(row["expected"]) * scale == pytest.approx(cut, abs=3.0 * digit)
        assert 0.0 < float(row["limit"]) * scale <= figure.limit_mm


@pytest.mark.parametrize("cell", CELLS)
def test_what_each_error_shows_is_printed_with_its_sign(
    cell: str, known: Callable[[str], Known]
) -> None:
    facts = known(cell)
    findings = facts.findings
    piece = findings.test_piece
    blocks, _ = piece_blocks(facts)
    rows = grid(blocks, "piece_culprits")
    scale = 25.4 if findings.units.inch else 1.0
    names = [figure.name for figure in piece.figures]
    told = culprit_rows(findings, piece)
    assert len(told) == len(rows)
    for row, (one, size, shown) in zip(rows, told, strict=True):
        assert row["error"].lower().startswith(one.words.lower())
        step = findings.units.shown(one.kind, size)
        assert float(re.findall(r"by ([\d.]+) (?:mm|in|deg)$", row["error"])[0]) == pytest.approx(
            step, rel=1e-9
        )
        if one.deviation.name in findings.axis_lines.parameters:
            lines = findings.axis_lines
            off = np.zeros(9)
            off[lines.parameters.index(one.deviation.name)] = size
            if one.deviation.name == "tilt_z":
                off[-1] = size
            unit = Cutting(lines.frame, findings.platter_axes, lines.values, off)
            real = []
            for figure in piece.figures:
                k = "ab".find(figure.name[-1]) if figure.name[-1] in "ab" else 0
                total = 0.0
                for pose in piece.poses:
                    for land in pose.lands:
                        if land.number in figure.lands:
                            stand = piece.stands[land.land.way.stand]
                            point = land.land.spot.points[k]
                            total += unit.proud(land.land, point, stand, np.zeros(2), (0.0, 0.0))
                real.append(total)
            # Beyond first order 0.02 deg brings a few 1e-5 mm.
            assert shown == pytest.approx(np.array(real), abs=1e-4)
        printed = dict(re.findall(r"(m\d+[ab]?) ([+-][\d.]+)", row["shows"]))
        for name, value in zip(names, shown, strict=True):
            text = printed.get(name) or printed.get(name.rstrip("ab"))
            if text is not None:
                assert float(text) * scale == pytest.approx(value, abs=0.6e-3 * scale**0.5)
            else:
                assert abs(value) <= 0.2 * np.max(np.abs(shown)) + 1e-9
    assert all(one.kind in (Kind.LENGTH, Kind.ANGLE) for one, _, _ in told)


@pytest.mark.parametrize("cell", CELLS)
def test_lands_are_drawn_where_they_are(cell: str, known: Callable[[str], Known]) -> None:
    """Every rectangle of the drawing, measured in its own coordinates against the block."""
    facts = known(cell)
    piece = facts.findings.test_piece
    blocks, _ = piece_blocks(facts)
    svg = next(block for block in blocks if isinstance(block, Drawing)).picture.svg
    paths = [
        np.array(re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", text), dtype=np.float64)
        for text in re.findall(r'd="(M[^"]*Z)"', svg)
    ]
    boxes = [(path.min(axis=0), path.max(axis=0)) for path in paths if len(path) == 4]
    half, high = piece.block.half, piece.block.high
    # The top is the one square that the four sides share; its middle is the middle of the net.
    wide = max(hi[0] for lo, hi in boxes[:7]) - min(lo[0] for lo, hi in boxes[:7])
    scale = wide / (2.0 * (half + high))
    lands = [one for pose in piece.poses for one in pose.lands]
    sides = [box for box in boxes if abs(box[1][0] - box[0][0] - 2 * half * scale) < 0.05]
    top = next(box for box in sides if abs(box[1][1] - box[0][1] - 2 * half * scale) < 0.05)
    middle = 0.5 * (top[0] + top[1])
    found = 0
    for one in lands:
        spot = one.land.spot
        at = np.array(unfolded(spot.normal, high, half, spot.middle)) * [scale, -scale] + middle
        hits = [
            (lo, hi)
            for lo, hi in boxes
            if np.all(np.abs(0.5 * (lo + hi) - at) < 0.1)
            and np.max(hi - lo) < 0.9 * 2.0 * half * scale
        ]
        assert hits
        size = sorted((hits[0][1] - hits[0][0]) / scale)
        wanted = sorted((piece.block.pitch, spot.reach[1] - spot.reach[0]))
        assert size == pytest.approx(wanted, abs=0.1)
        found += 1
    assert found == len(lands)


def test_unfolding_keeps_neighbours_together() -> None:
    """A point on an edge of the top lies at one place, whichever side it is counted to."""
    up = np.array([0.0, 0.0, 1.0])
    for normal, point in (
        ((1.0, 0, 0), (30.0, 12.0, 70.0)),
        ((-1.0, 0, 0), (-30.0, 12.0, 70.0)),
        ((0, 1.0, 0), (5.0, 30.0, 70.0)),
        ((0, -1.0, 0), (5.0, -30.0, 70.0)),
    ):
        side = unfolded(np.array(normal), 70.0, 30.0, np.array(point))
        assert side == pytest.approx(unfolded(up, 70.0, 30.0, np.array(point)))


def test_what_is_not_proven_says_so(known: Callable[[str], Known]) -> None:
    facts = known("alder-ford")
    cell = facts.findings.cell
    blocks, missing = piece_blocks(facts)
    said = [one.text for one in blocks if isinstance(one, Words) and one.role == "lack"]
    assert not said
    assert not missing
    assert any(isinstance(one, Cautions) for one in blocks)
    bare = Known(Findings(replace(cell, tools=(), operations=())))
    blocks, missing = piece_blocks(bare)
    said = [one.text for one in blocks if isinstance(one, Words) and one.role == "lack"]
    assert any("proven clear" in text for text in said)
    assert any(item.where.endswith(": tools") for item in missing)
    steps = [step for one in blocks if isinstance(one, Steps) for step in one.steps]
    assert not any("Only this way is proven" in step.why for step in steps)


def test_bodies_that_no_proof_knows_are_told(known: Callable[[str], Known]) -> None:
    cell = known("alder-ford").findings.cell
    kept = tuple(solid for solid in cell.solids if solid.counts_as != "unit")
    findings = Findings(replace(cell, solids=kept))
    assert findings.test_piece.proven
    assert findings.test_piece.not_judged == findings.scene.left_out
    assert findings.scene.left_out
    blocks, _ = piece_blocks(Known(findings))
    said = [one.text for one in blocks if isinstance(one, Words) and one.role == "lack"]
    assert set(findings.scene.left_out) <= set(said)


def test_half_filled_says_what_it_lacks(known: Callable[[str], Known]) -> None:
    blocks, missing = piece_blocks(known("half-filled"))
    steps = [step for one in blocks if isinstance(one, Steps) for step in one.steps]
    assert missing
    assert all(step.lack for step in steps)
    # Nothing is cut, so nobody is warned of chips.
    assert not any(isinstance(one, Cautions) for one in blocks)
