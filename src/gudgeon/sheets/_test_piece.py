"""Commissioning: the first test piece, cut by cut, and what its figures say."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.piece import Measure, land_corners
from gudgeon.accuracy.piece_choice import Parting
from gudgeon.answer import Missing, Picture
from gudgeon.drawing.piece_net import NetLand, piece_net
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.piece_deviations import Named
from gudgeon.findings.piece_room import PROUD_MM
from gudgeon.findings.procedure import side_name
from gudgeon.findings.test_piece import (
    ACROSS_U_MM,
    HEIGHT_U_MM,
    Figure,
    LandCut,
    PieceFinding,
    Pose,
)
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._said import gap_words, listed, pose
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Cautions, Drawing, Grid, Head, Heading, Step, Steps, Words

__all__ = ["culprit_rows", "test_piece"]

Floats = NDArray[np.float64]

LENGTH_STEP: Final = {False: 0.02, True: 0.001 * 25.4}
"""Error that the table of culprits tells of: 0.02 mm, or a thou [mm]."""

ANGLE_STEP: Final = math.radians(0.02)
SHOWS: Final = 0.2
"""A figure is named beside an error if it shows this share of the most that any figure shows."""

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
        Steps(_measuring()),
        _figures(findings, piece),
        Heading("What the figures say"),
        *_reading(findings, piece),
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
    told: dict[str, list[str]] = {}
    for angles, why in piece.left_out:
        told.setdefault(why, []).append(_pose_text(findings, angles))
    for why, poses in told.items():
        found.append(Words(f"Nothing is cut in {listed(poses)}: {why}.", "text"))
    return found


def _before(findings: Findings, piece: PieceFinding) -> tuple[Step, ...]:
    block, units = piece.block, findings.units
    width, high = _plain(findings, 2.0 * block.half), _plain(findings, block.high)
    raw = _plain(findings, 2.0 * (block.half + PROUD_MM))
    raw_high = _plain(findings, block.high + PROUD_MM)
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
            see=f"Its middle stands within {_plain(findings, 0.3)} {unit} of the rotary line. "
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
        _pose_text(findings, one.angles_rad): tuple(
            _number(findings, float(c)) for c in one.zero_mm
        )
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
    rough = f"{_plain(findings, FINISH_MM)} {unit}"
    steps = [
        Step(
            "piece_rough",
            f"Rough all lands in their poses, {rough} proud. Let the block cool down.",
            see="Between two poses Z stands at its top. The tilt goes back to 0 before you turn."
            if findings.has_tilt
            else "Between two poses Z stands at its top.",
            why="Only this way is proven clear." if piece.proven else "",
        )
    ]
    for number, one in enumerate(piece.poses, start=1):
        lands = listed([str(land.number) for land in one.lands])
        word = "land" if len(one.lands) == 1 else "lands"
        steps.append(
            Step(
                f"piece_pose_{number}",
                f"{_come_to(findings, one)} Finish {word} {lands} in one pass.",
                why="Coming from the other side shows how much is lost when the axis turns back."
                if one.minus
                else "",
            )
        )
    return tuple(steps)


def _come_to(findings: Findings, one: Pose) -> str:
    """Return the order to come to a pose, and from where each axis comes."""
    text = _pose_text(findings, one.angles_rad)
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
        name = _pose_text(findings, one.angles_rad)
        for cut in one.lands:
            rows.append(
                (
                    str(cut.number),
                    name + (", from plus" if one.minus else ""),
                    _side(findings, cut.land.spot.normal),
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
            found.append(f"tip {_number(findings, cut.finish)}")
        elif way.kind == "edge" and k == cut.across:
            at = cut.finish
            tool = next((t for t in piece.tools if f"T{t.number}" == way.tool), None)
            if tool is not None and tool.cutter_diameter is not None:
                at += 0.5 * tool.cutter_diameter.value * math.copysign(1.0, way.across[k])
                found.append(f"tool middle {_number(findings, at)}")
            else:
                found.append(f"surface {_number(findings, at)}")
        elif way.kind == "edge" and k == 2:
            found.append(f"tip {_within(findings, low)}")
        else:
            start, end = _within(findings, low + GAP_MM), _within(findings, high - GAP_MM)
            found.append(f"{start} to {end}")
    return tuple(found)


def _measuring() -> tuple[Step, ...]:
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


def _figures(findings: Findings, piece: PieceFinding) -> Grid:
    unit = findings.units.unit(Kind.LENGTH)
    rows = []
    for one in piece.figures:
        rows.append(
            (
                one.name,
                _what(one),
                _where(findings, one),
                _number(findings, one.expected_mm),
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
        value = _within(findings, float(at[k]))
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


def _reading(findings: Findings, piece: PieceFinding) -> list[Block]:
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    rows = []
    for number, (one, size, shown) in enumerate(culprit_rows(findings, piece), start=1):
        most = float(np.max(np.abs(shown), initial=0.0))
        told = _shown(findings, piece, shown, most)
        text = units.text(one.kind, size, 4 if units.inch and one.kind is Kind.LENGTH else 2)
        rows.append(
            (
                f"{number}",
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
            texts[figure.name] = _signed(findings, float(value))
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
            f"{_side(findings, land.spot.normal)}, cut in {_pose_text(findings, angles)} by the "
            f"tool's {by}"
        )
    if len(ways) == 1:
        return f"the height of a land on {ways[0]}"
    return f"across two lands: {ways[0]}; {ways[1]}"


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
        (np.array(normal), _side(findings, np.array(normal)))
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


def _side(findings: Findings, normal: Floats) -> str:
    """Return a side of the block by where it looks at zero."""
    if normal[2] > 0.5:
        return "top"
    return f"{side_name(findings.platter_axes @ normal)} side"


def _pose_text(findings: Findings, angles: tuple[float, ...]) -> str:
    tilt, turn = angles if len(angles) == 2 else (0.0, angles[0])
    return pose(findings, tilt, turn)


def _number(findings: Findings, mm: float) -> str:
    """Return a length to the shop's last digit, without unit."""
    return findings.units.text(Kind.LENGTH, mm).split()[0]


def _signed(findings: Findings, mm: float) -> str:
    return findings.units.text(Kind.LENGTH, mm, sign=True).split()[0]


def _plain(findings: Findings, mm: float) -> str:
    """Return a length with few digits, without unit."""
    return f"{round(findings.units.shown(Kind.LENGTH, mm), 3) + 0.0:g}"


def _within(findings: Findings, mm: float) -> str:
    return (
        f"{round(findings.units.shown(Kind.LENGTH, mm), 2 if findings.units.inch else 1) + 0.0:g}"
    )
