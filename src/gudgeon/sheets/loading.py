"""Loading map: where each part goes, which way round, in which order, and what may be loaded."""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Picture
from gudgeon.drawing.fixture_side import Edge, Mark, fixture_side
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.fixture_sides import FixtureSide, SeenStation
from gudgeon.findings.loads import TorqueStages
from gudgeon.findings.sheets import TOP, Seat, seats
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._dangers import (
    CLAMPS,
    MANUALS,
    clamped_parts,
    pressure_words,
    swing_words,
)
from gudgeon.sheets._tables import Gaps, known, number_text
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import (
    Block,
    Box,
    Cautions,
    Drawing,
    Grid,
    Head,
    Heading,
    Sheet,
    Step,
    Steps,
    Words,
)

__all__ = ["NAME", "PLACE", "TITLE", "sheet"]

NAME: Final = "loading"
TITLE: Final = "Loading map"
PLACE: Final = 310

OUT: Final = {
    "right": (1, 0),
    "left": (-1, 0),
    "up": (0, 1),
    "down": (0, -1),
    "to the back": (0, 1),
    "to the front": (0, -1),
    "away from the platter": (0, 1),
    "to the platter": (0, -1),
}
"""Where a face looks on the drawing, by the words of the findings."""

PAPER_MM: Final = (170.0, 105.0)
"""Room for one drawing: two under each other on A4 and on Letter."""


def sheet(known_facts: Known) -> Sheet:
    """Return the loading map."""
    findings, gaps = known_facts.findings, Gaps()
    blocks: list[Block] = [Cautions(_cautions(findings))]
    try:
        sides = findings.fixture_sides
    except Lacking as lacking:
        sides = ()
        blocks.append(gaps.words("Where each part goes", lacking.missing))
    blocks += [Heading("Before you load"), Steps(_before(findings))]
    if sides:
        blocks += [Heading("Load in this order"), *_order(known_facts, sides, gaps)]
        blocks.append(Heading("The sides as you see them"))
        blocks += [_picture(findings, side) for side in sides]
    return Sheet(
        NAME,
        TITLE,
        "Hangs where the parts are loaded. Use it for each load.",
        tuple(blocks),
        tuple(gaps.missing),
    )


def _cautions(findings: Findings) -> tuple[str, ...]:
    cell = findings.cell
    told = [MANUALS]
    told += [text for text in (swing_words(findings), pressure_words(cell)) if text]
    if clamped_parts(cell):
        told.append(CLAMPS)
    return tuple(told)


def _load_pose(findings: Findings) -> str:
    """Return the pose in which parts are loaded, in the control's letters."""
    pose = findings.cell.shift.load_pose
    angles = (0.0, 0.0) if pose is None else (pose[0].value, pose[1].value)
    return findings.pose_words(angles if findings.has_tilt else angles[1:])


def _before(findings: Findings) -> tuple[Step, ...]:
    return (
        Step(
            "stop",
            "Stop the spindle and wait until it stands still.",
        ),
        Step(
            "pose",
            f"Send Z to the top, then send the unit to {_load_pose(findings)}.",
            see="The screen shows this pose, and the brakes hold.",
        ),
        Step(
            "clean",
            "Wipe each seat clean. Feel with a finger that no chip is left.",
            why="A chip under a part lifts it, and each face comes out wrong.",
        ),
    )


# --- the order --------------------------------------------------------------------------------


def _order(known_facts: Known, sides: tuple[FixtureSide, ...], gaps: Gaps) -> list[Block]:
    findings = known_facts.findings
    seen = {one.seat.station: (side, one) for side in sides for one in side.stations}
    steps: list[Step] = []
    for seat in seats(findings.cell):
        if seat.serial is None:
            continue
        side, station = seen.get(seat.station, (None, None))
        steps.append(_part_step(findings, seat, side, station))
    blocks: list[Block] = [Steps(tuple(steps))]
    empty = [seat.station for seat in seats(findings.cell) if seat.serial is None]
    if empty:
        blocks.append(Words(f"No part goes into: {', '.join(empty)}."))
    blocks += _rule(findings, gaps)
    blocks.append(Words("Take the parts out the other way round: the last one first."))
    return blocks


def _part_step(
    findings: Findings, seat: Seat, side: FixtureSide | None, station: SeenStation | None
) -> Step:
    part = seat.part or "the part"
    order = f"Put part {seat.serial}, {part}, into station {seat.station}."
    see = []
    if side is not None:
        see.append(_where(findings, seat, side))
    if side is not None and side.front_rad is not None:
        turn = findings.pose_words((side.front_rad,))
        to = "to the front" if findings.has_tilt else "up"
        see.append(f"With {turn} this side looks {to}.")
    if station is not None and station.faces:
        ways = "; ".join(f"{face.name} looks {face.way}" for face in station.faces)
        see.append(f"Its faces: {ways}.")
    return Step(
        f"load_{seat.serial}",
        order,
        see=" ".join(see),
        boxes=(
            Box(f"part_number_{seat.serial}", "part number"),
            Box(f"tight_{seat.serial}", _tight(findings), form="tick"),
        ),
    )


def _tight(findings: Findings) -> str:
    """Return what the box for the clamp says."""
    torque = findings.cell.fixture.clamp_torque
    if torque is None:
        return "clamped tight"
    return f"clamped with {findings.units.text(Kind.TORQUE, torque.value, 0)}"


def _where(findings: Findings, seat: Seat, side: FixtureSide) -> str:
    """Return where a station is, as a sentence."""
    many = len(side.stations) > 1
    column = f"number {seat.column} from the left"
    if side.name == TOP and findings.has_tilt:
        return f"It is on top, row {seat.row} from the front, {column}."
    # Rows count from the platter's free end: on top that is the lowest on the paper.
    low = "the bottom" if side.name == TOP else "the top" if findings.has_tilt else "the free end"
    place = f", row {seat.row} from {low}, {column}" if many else ""
    return f"It is on the side that looks to {side.looks} while the unit is at zero{place}."


def _rule(findings: Findings, gaps: Gaps) -> list[Block]:
    """Return what the weight says about the order, stage by stage."""
    try:
        stages = findings.level_torque
    except Lacking as lacking:
        return [gaps.words("How far the load pulls to one side", lacking.missing)]
    rotary = known(lambda: findings.rotary_torque) if findings.has_tilt else None
    return [
        _stages_grid(findings, stages, rotary),
        *(Words(text) for text in _rule_words(findings, stages, rotary)),
    ]


def _stages_grid(findings: Findings, stages: TorqueStages, rotary: TorqueStages | None) -> Grid:
    units = findings.units
    unit = units.unit(Kind.TORQUE)
    names = ("none", *findings.part_names)
    rows = []
    for stage, name in enumerate(names):
        row = [
            str(stage),
            name,
            number_text(units.shown(Kind.TORQUE, float(stages.torque.values[stage])), unit),
        ]
        if rotary is not None:
            row.append(
                number_text(units.shown(Kind.TORQUE, float(rotary.torque.values[stage])), unit)
            )
        rows.append(tuple(row))
    level = "about the tilt axis" if findings.has_tilt else "about the rotary axis"
    heads = [Head("parts", "parts on"), Head("last", "last put in"), Head("torque", level, unit)]
    limits = ["", "limit", number_text(units.shown(Kind.TORQUE, stages.torque.limit), unit)]
    if rotary is not None:
        heads.append(Head("rotary_torque", "about the rotary axis", unit))
        limits.append(number_text(units.shown(Kind.TORQUE, rotary.torque.limit), unit))
    return Grid(
        "stages",
        "How hard the load pulls to one side, part by part, in its worst pose",
        tuple(heads),
        (*rows, tuple(limits)),
    )


def _rule_words(findings: Findings, stages: TorqueStages, rotary: TorqueStages | None) -> list[str]:
    planned = len(stages.torque.values) - 1
    both = [stages, *([rotary] if rotary is not None else [])]
    most = [one.torque.most_parts for one in both]
    told = []
    if any(count is None for count in most):
        told.append(
            "Even with no part on, the load pulls harder than the drive may bear. Do not tilt it. "
            "Ask first."
        )
    elif min(count for count in most if count is not None) < planned:
        count = min(count for count in most if count is not None)
        told.append(
            f"In this order no more than {count} of {planned} parts may be on in every pose. Ask "
            "before you load more."
        )
    elif all(one.any_order_holds for one in both):
        told.append(
            "Any order is safe for the drives. Keep to this one all the same, so that each part "
            "number stands in its own box."
        )
    else:
        told.append(
            "Keep to this order. In another one the load may pull harder than a drive may bear."
        )
    better = findings.better_order
    if better is not None and not all(one.any_order_holds for one in both):
        told.append(f"This order would pull less: {', '.join(better[0])}.")
    return told


# --- the drawings -----------------------------------------------------------------------------


def _picture(findings: Findings, side: FixtureSide) -> Drawing:
    inch = findings.cell.shop.units == "in"
    on_top = side.name == TOP and findings.has_tilt
    facing = "up" if on_top else "to you"
    marks = [
        Mark(
            one.at_mm,
            _label(one.seat),
            one.seat.station,
            tuple(
                Edge(face.name, face.zero_mm, OUT[face.way])
                for face in one.faces
                if face.zero_mm is not None and face.way in OUT and face.way != facing
            ),
            ", ".join(f"{face.name} faces you" for face in one.faces if face.way == facing),
        )
        for one in side.stations
    ]
    sign = {"+": "-plus", "-": "-minus"}.get(side.name[-1], side.name[-1])
    name = f"side-{side.name[:-1]}{sign}"
    title = (
        "From above, Y+ up on the paper"
        if on_top
        else f"The side that looks to {side.looks} while the unit is at zero"
    )
    svg, scale = fixture_side(name, side.bodies, side.axes, marks, PAPER_MM, inch=inch)
    return Drawing(Picture(name, title, svg), scale)


def _label(seat: Seat) -> str:
    """Return place in the order and name of a station, once where they are the same."""
    if seat.serial is None:
        return f"{seat.station}: stays empty"
    number = str(seat.serial)
    return number if number == seat.station else f"{number}: {seat.station}"
