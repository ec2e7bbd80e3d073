"""Commissioning: the first test piece, cut by cut, and what its figures say."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.piece import land_corners
from gudgeon.answer import Missing, Picture
from gudgeon.drawing.piece_net import NetLand, piece_net
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.piece_found import LandCut, PieceFinding, Pose
from gudgeon.findings.piece_room import PROUD_MM
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._piece_figures import figures_grid, measuring, reading
from gudgeon.sheets._piece_told import entering, told
from gudgeon.sheets._piece_words import number, plain, pose_text, side, within
from gudgeon.sheets._said import gap_words, listed
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Cautions, Drawing, Grid, Head, Heading, Step, Steps, Words

__all__ = ["test_piece"]

Floats = NDArray[np.float64]

FINISH_MM: Final = 0.3
GAP_MM: Final = 1.5
"""Strip between two lands that stays free."""

CHIPS: Final = (
    "Chips fly and the cutter is sharp. Close the door, wear safety glasses, and stop the spindle "
    "before you reach in."
)


def test_piece(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return the test piece: how to cut it, what to measure, what the figures say."""
    findings = known.findings
    heading = Heading("Cut the first test piece")
    try:
        piece = findings.test_piece
    except Lacking as lacking:
        step = Step(
            "test_piece", "Cut a test piece before the first part.", lack=gap_words(lacking)
        )
        return (heading, Steps((step,))), lacking.missing
    blocks: list[Block] = [
        heading,
        Words(
            f"Each small land of this block is cut in a stated pose. {len(piece.figures)} figures "
            "then tell which part of the cell is off, and to which side.",
            "why",
        ),
    ]
    blocks += _not_proven(findings, piece)
    if findings.has_tilt and not any(abs(one.angles_rad[0]) > 1e-9 for one in piece.poses):
        blocks.append(
            Words(
                "The tilt of this unit does not come to 90 deg either way, or nothing can be cut "
                "there. So the piece does not test the tilt line: trust the readings for it."
            )
        )
    blocks += [
        Cautions((CHIPS,)),
        Steps(_before(findings, piece)),
        _net(findings, piece),
        _zeros(findings, piece),
        Steps(_cutting(findings, piece)),
        _lands(findings, piece),
        Heading("Measure the test piece"),
        Steps(measuring()),
        figures_grid(findings, piece),
        Words(entering(piece)),
        *told(findings, piece),
        Heading("What the figures say"),
        *reading(findings, piece),
    ]
    return tuple(blocks), piece.missing


# pytest takes names that begin with test_ for tests.
test_piece.__test__ = False  # type: ignore[attr-defined]


def _not_proven(findings: Findings, piece: PieceFinding) -> list[Block]:
    found: list[Block] = []
    if not piece.proven and piece.missing:
        first = piece.missing[0]
        found.append(
            Words(
                "No tool path of this piece is proven clear. First find out: "
                f"{first.what} ({first.where}). Until then try each pose with the spindle stopped "
                "and a hand on the stop.",
                "lack",
            )
        )
    if piece.not_judged:
        found.append(Words("The tool paths are proven clear, but not of all bodies.", "lack"))
        found += [Words(text, "lack") for text in piece.not_judged]
    told: dict[str, list[str]] = {}
    for angles, why in piece.left_out:
        told.setdefault(why, []).append(pose_text(findings, angles))
    for why, poses in told.items():
        found.append(Words(f"Nothing is cut in {listed(poses)}: {why}.", "text"))
    return found


def _before(findings: Findings, piece: PieceFinding) -> tuple[Step, ...]:
    block, units = piece.block, findings.units
    width, high = within(findings, 2.0 * block.half), within(findings, block.high)
    raw = within(findings, 2.0 * (block.half + PROUD_MM))
    raw_high = within(findings, block.high + PROUD_MM)
    unit = units.unit(Kind.LENGTH)
    tools = listed([f"T{tool.number} ({tool.name})" if tool.name else f"T{tool.number}"
                    for tool in piece.tools])  # fmt: skip
    steps = [
        Step(
            "piece_block",
            f"Saw a block of the same metal as your parts. Mill it to {raw} by {raw} {unit}, "
            f"{raw_high} {unit} high.",
            see=f"The finished lands make it {width} by {width} {unit}, {high} {unit} high.",
        ),
        Step(
            "piece_fix",
            "Leave the platter bare, without the fixture. Screw the block to its middle, with one "
            "screw down through the block.",
            see=f"Its middle stands within {plain(findings, 0.3)} {unit} of the rotary line. "
            "The head of the screw lies below the top.",
            why="The zeros below count from the middle of the platter face.",
        ),
    ]
    if tools:
        steps.append(Step("piece_tool", f"Set the length of {tools} again and enter it."))
    else:
        steps.append(
            Step(
                "piece_tool",
                "Take one sharp end mill for all lands. Set its length again and enter it.",
            )
        )
    steps.append(
        Step(
            "piece_zeros",
            "Enter the zeros of the table below as work offsets, one for each pose.",
            why="They follow from the axis lines as they are known today; that is what is tested.",
        )
    )
    return tuple(steps)


def _zeros(findings: Findings, piece: PieceFinding) -> Grid:
    """Return where the middle of the platter face stands in each pose."""
    unit = findings.units.unit(Kind.LENGTH)
    rows = {
        pose_text(findings, one.angles_rad): tuple(number(findings, float(c)) for c in one.zero_mm)
        for one in piece.poses
    }
    heads = (
        Head("pose", "pose"),
        *(Head(k.lower(), f"machine {k}", unit) for k in "XYZ"),
        Head("entered", "entered", blank=True),
    )
    return Grid(
        "piece_zeros",
        "Zero of the test piece in each pose: the middle of the platter face",
        heads,
        tuple((name, *values, "") for name, values in rows.items()),
    )


def _cutting(findings: Findings, piece: PieceFinding) -> tuple[Step, ...]:
    unit = findings.units.unit(Kind.LENGTH)
    rough = f"{plain(findings, FINISH_MM)} {unit}"
    steps = [
        Step(
            "piece_rough",
            f"Rough all lands in their poses, {rough} proud. Let the block cool down.",
            see="Between two lands Z goes to its top. Between two poses X and Y go to the middle "
            "of their travel too"
            + (", and the tilt goes back to 0 before you turn. " if findings.has_tilt else ". ")
            + "Stay within the numbers of the table.",
            why="Only this way is proven clear." if piece.proven else "",
        )
    ]
    for count, one in enumerate(piece.poses, start=1):
        lands = listed([str(land.number) for land in one.lands])
        word = "land" if len(one.lands) == 1 else "lands"
        steps.append(
            Step(
                f"piece_pose_{count}",
                f"{_come_to(findings, one)} Finish {word} {lands} in one pass.",
                why="Coming from the other side shows how much is lost when the axis turns back."
                if one.minus
                else "",
            )
        )
    return tuple(steps)


def _come_to(findings: Findings, one: Pose) -> str:
    """Return the order to come to a pose, and from where each axis comes."""
    text = pose_text(findings, one.angles_rad)
    if findings.cell.accuracy.approach == "one side":
        return f"Turn to {text}."
    if not one.minus:
        return f"Turn to {text}, the last few degrees turning to plus."
    try:
        senses = findings.senses
        tilt, turn = senses.tilt_letter or "tilt", senses.rotary_letter
    except Lacking:
        tilt, turn = "tilt", "turn"
    letters = [tilt if role == "tilt" else turn for role in one.minus]
    return f"Turn to {text}, the last few degrees of {listed(letters)} turning to minus."


def _lands(findings: Findings, piece: PieceFinding) -> Grid:
    unit = findings.units.unit(Kind.LENGTH)
    rows = []
    for one in piece.poses:
        name = pose_text(findings, one.angles_rad)
        for cut in one.lands:
            rows.append(
                (
                    str(cut.number),
                    name + (", from plus" if one.minus else ""),
                    side(findings, cut.land.spot.normal),
                    "end" if cut.land.way.kind == "plane" else "side",
                    *_ranges(findings, piece, cut),
                    "",
                )
            )
    heads = (
        Head("land", "land"),
        Head("pose", "pose"),
        Head("side", "side of the block"),
        Head("by", "cut by the tool's"),
        Head("x", "X from the zero", unit),
        Head("y", "Y from the zero", unit),
        Head("z", "Z from the zero", unit),
        Head("done", "done", blank=True),
    )
    return Grid(
        "piece_lands",
        "The lands, in the order of finishing; leave a strip free between two of them",
        heads,
        tuple(rows),
    )


def _ranges(findings: Findings, piece: PieceFinding, cut: LandCut) -> tuple[str, ...]:
    """Return where the land lies along X, Y, Z in its pose, the finished size among them."""
    way = cut.land.way
    found = []
    for k in range(3):
        low, high = float(cut.low_mm[k]), float(cut.high_mm[k])
        if way.kind == "plane" and k == 2:
            found.append(f"tip {number(findings, cut.finish)}")
        elif way.kind == "edge" and k == cut.across:
            at = cut.finish
            tool = next((t for t in piece.tools if f"T{t.number}" == way.tool), None)
            if tool is not None and tool.cutter_diameter is not None:
                at += 0.5 * tool.cutter_diameter.value * math.copysign(1.0, way.across[k])
                found.append(f"tool middle {number(findings, at)}")
            else:
                found.append(f"surface {number(findings, at)}")
        elif way.kind == "edge" and k == 2:
            found.append(f"tip {within(findings, low)}")
        else:
            start, end = within(findings, low + GAP_MM), within(findings, high - GAP_MM)
            found.append(f"{start} to {end}")
    return tuple(found)


def _net(findings: Findings, piece: PieceFinding) -> Drawing:
    block = piece.block
    lands = []
    for one in piece.poses:
        for cut in one.lands:
            spot = cut.land.spot
            corners = land_corners(block, spot)[[0, 3]]
            lands.append(
                NetLand(
                    str(cut.number),
                    spot.normal,
                    corners,
                    spot.points,
                    cut.land.way.kind == "edge",
                )
            )
    sides = [
        (np.array(normal), side(findings, np.array(normal)))
        for normal in ((1.0, 0, 0), (-1.0, 0, 0), (0, 1.0, 0), (0, -1.0, 0), (0, 0, 1.0))
    ]
    svg = piece_net("Test piece", block.half, block.high, lands, sides, inch=findings.units.inch)
    return Drawing(
        Picture(
            "test_piece",
            "The test piece unfolded, top in the middle. Gray: cut by the tool's end; white: by "
            "its side. Crosses: measure here",
            svg,
        )
    )
