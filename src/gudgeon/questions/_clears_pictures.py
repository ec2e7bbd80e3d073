"""Pictures of the answer about a program's clearance: the margin along it, the tightest pose."""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Picture
from gudgeon.drawing.chart import Chart
from gudgeon.findings import Lacking
from gudgeon.findings.cleared import Judged
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._clears_blocks import BAD, BlockJudged, Judgement

__all__ = ["pictures"]

CHART_MOST: Final = 2000
MARKED_BAD: Final = 6
MARKED_CLEAR: Final = 3
APART_SHARE: Final = 0.05
CAP_NEEDS: Final = 15.0
"""Gaps beyond so many times the clearance asked are drawn at that height."""


def pictures(judged: list[Judgement], worst: Judgement) -> tuple[Picture, ...]:
    """Return the pictures that there is something to draw for."""
    made = [_chart(one, k if len(judged) > 1 else 0) for k, one in enumerate(judged, start=1)]
    return (*_pose(worst), *(picture for picture in made if picture is not None))


def _pose(one: Judgement) -> tuple[Picture, ...]:
    """Return the pose that decides, in two views."""
    block = pose_drawn(one)
    if block is None or len(block.pair) != 2 or len(block.points) != 2:
        return ()
    from gudgeon.drawing.pose_view import pose_pictures

    try:
        tool = one.findings.tool_bodies(block.tool)
    except Lacking:
        return ()
    what = {Judged.CRASH: "Crash", Judged.DANGER: "Too close"}.get(block.judged, "Tightest pose")
    crash = block.judged is Judged.CRASH
    text = (
        f"{one.length_text(-block.margin_mm)} deep" if crash else one.length_text(block.margin_mm)
    )
    return pose_pictures(
        "pose",
        f"{what}, {block.name}: {block.pair_words}",
        one.cleared.scene.scene,
        tool,
        block.joint,
        (block.pair[0], block.pair[1]),
        block.points,
        text,
        inch=one.findings.units.inch,
    )


def _chart(one: Judgement, number: int) -> Picture | None:
    """Return the smallest gap of each block along the program."""
    units = one.findings.units
    blocks = [b for b in one.told if b.margin_mm == b.margin_mm][:CHART_MOST]
    if len(blocks) < 2:
        return None
    unit = units.unit(Kind.LENGTH)
    chart = Chart("clearance", "block with motion, as the program runs", f"smallest gap [{unit}]")
    others = one.cleared.others_mm
    if len(blocks) < one.clear_count and others == others:
        # Each block that is known leaves the level that no other falls below.
        top = others
        xs, ys = [1.0], [top]
        for block in blocks:
            xs += [block.order - 0.5, float(block.order), block.order + 0.5]
            ys += [top, block.margin_mm, top]
        xs, ys = [*xs, float(one.blocks_moving)], [*ys, top]
        label = "gap; where level: no smaller"
    else:
        xs, ys = [float(block.order) for block in blocks], [block.margin_mm for block in blocks]
        label = "gap"
    # Clear of everything by far says nothing here, and would press what is near flat.
    cap = max(CAP_NEEDS * one.cleared.need_mm, abs(min(ys)))
    shown = [units.shown(Kind.LENGTH, min(y, cap)) for y in ys]
    chart.curve(xs, shown, label, style="bold")
    chart.level(units.shown(Kind.LENGTH, one.cleared.need_mm), f"asked: {one.need_text}")
    for block in _marked(one, blocks):
        gap = min(block.margin_mm, cap)
        chart.mark(float(block.order), units.shown(Kind.LENGTH, gap), block.name)
    name = f"margin_{number}" if number else "margin"
    title = f"Smallest gap along {one.cleared.program.name}; below zero: overlap"
    if max(ys) > cap:
        title += f"; larger gaps are drawn at {one.length_text(cap)}"
    return Picture(name, title, chart.svg())


def _marked(one: Judgement, blocks: list[BlockJudged]) -> list[BlockJudged]:
    """Return the blocks that are named in the chart: the worst, or the tightest of what is clear.

    Names beside each other cannot be read: of neighbours the worse is named.
    """
    bad = [block for block in blocks if block.judged in BAD]
    ordered = sorted(bad or blocks, key=lambda block: block.margin_mm)
    apart = max(1.0, one.blocks_moving * APART_SHARE)
    chosen: list[BlockJudged] = []
    for block in ordered:
        if all(abs(block.order - other.order) >= apart for other in chosen):
            chosen.append(block)
        if len(chosen) == (MARKED_BAD if bad else MARKED_CLEAR):
            break
    return chosen


def pose_drawn(one: Judgement) -> BlockJudged | None:
    """Return the block whose pose is worth a drawing: the first crash, else the tightest."""
    with_points = [b for b in one.told if b.points and b.joint]
    for kind in (Judged.CRASH, Judged.DANGER):
        for block in with_points:
            if block.judged is kind:
                return block
    return min(
        (b for b in with_points if b.margin_mm == b.margin_mm),
        key=lambda b: b.margin_mm,
        default=None,
    )
