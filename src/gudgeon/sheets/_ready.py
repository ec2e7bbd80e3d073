"""Commissioning, fourth part: lost motion, limits to enter, warm-up, pose for tool changes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.accuracy_job import LOST_MOTION
from gudgeon.findings.commissioning_limits import AngleLimit, angle_limits
from gudgeon.findings.commissioning_places import clear_radius
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._programs import listing
from gudgeon.sheets._said import angle, either_way, gap_words, length, pose, short
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Box, Cautions, Grid, Head, Heading, Step, Steps, Words

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import SafeBox

__all__ = ["limits_to_enter", "lost_motion", "tool_change", "warm_up"]

Floats = NDArray[np.float64]

ARC_SECOND: Final = math.pi / 648000.0
BESIDE_RAD: Final = math.radians(10.0)
"""How far the axis goes before it comes back to the pose (common practice, no source)."""

TIMES: Final = 3


def lost_motion(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return how the lost motion of each turning axis is read."""
    findings = known.findings
    heading = Heading("Lost motion of the turning axes")
    radius = clear_radius(findings.cell)
    limits = angle_limits(findings)
    low, high = findings.turn_limits
    steps: list[Step] = []
    rows: list[tuple[str, ...]] = []
    for role, k in (("tilt", 0), ("rotary", 1)):
        if role == "tilt" and not findings.has_tilt:
            continue
        home = float(np.clip(0.0, low[k] + BESIDE_RAD, high[k] - BESIDE_RAD))
        steps.append(_lost(findings, role, home, radius, limits[role]))
        rows += [(role, str(number), "", "", "") for number in range(1, TIMES + 1)]
    unit = findings.units.unit(Kind.LENGTH)
    grid = Grid(
        "lost_motion",
        "What the dial shows in the same pose",
        (
            Head("axis", "axis"),
            Head("number", "time"),
            Head("from_below", "come from below", unit, blank=True),
            Head("from_above", "come from above", unit, blank=True),
            Head("lost", "difference", unit, blank=True),
        ),
        tuple(rows),
    )
    why = Words(
        "Lost motion is what a turn back swallows. An axis that comes from either side may be off "
        "by half of it.",
        "why",
    )
    return (heading, why, Steps(tuple(steps)), grid), ()


def _lost(findings: Findings, role: str, home: float, radius: float, limit: AngleLimit) -> Step:
    cell, given = findings.cell, findings.cell.accuracy
    tilt, turn = (home, 0.0) if role == "tilt" else (0.0, home)
    at = pose(findings, tilt, turn)
    below = pose(findings, *_beside(role, tilt, turn, -BESIDE_RAD))
    above = pose(findings, *_beside(role, tilt, turn, BESIDE_RAD))
    key = f"{role}_lost_motion"
    entered = getattr(given, key)
    counted = LOST_MOTION if entered is None else entered.value
    most = 2.0 * limit.rad  # half of it is off to either side
    dial = either_way(findings, radius * most)
    over = " That is over the limit." if counted > most * (1.0 + 1e-9) else ""
    if role == "tilt":
        order = (
            f"Set the dial on the platter {short(findings, radius)} across from the tilt line, "
            f"at {at}."
        )
    else:
        order = (
            f"Clamp a parallel on the platter. Set the dial against its side, "
            f"{short(findings, radius)} from the rotary line, at {at}."
        )
    brake = getattr(cell.unit, f"{role}_brake_torque") is not None
    seconds = 0.001 * (25.4 if findings.units.inch else 1.0) / radius / ARC_SECOND
    small = short(findings, 0.0254 if findings.units.inch else 0.001)
    held = (
        " It counts only where a program comes from both sides."
        if given.approach == "one side"
        else ""
    )
    return Step(
        f"{role}_lost",
        order,
        see=f"Come from {below}, then from {above}, {TIMES} times each"
        + (", clamped as in the cut" if brake else "")
        + f". The difference is at most {dial}.",
        why=f"The limit is {limit.words}. {small} here is {seconds:.1f} arcsec. "
        f"{counted / ARC_SECOND:.0f} arcsec are "
        f"{'entered' if entered is not None else 'taken as usual'} (accuracy.{key}), which is "
        f"{length(findings, radius * counted)}.{over} Enter what you find.{held}",
    )


def _beside(role: str, tilt: float, turn: float, by: float) -> tuple[float, float]:
    return (tilt + by, turn) if role == "tilt" else (tilt, turn + by)


def limits_to_enter(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return the limits that the control gets, in machine coordinates."""
    findings = known.findings
    from gudgeon.clearance.envelope import SafeBox

    heading = Heading("Limits to enter in the control")
    try:
        limits, ranges = findings.safe_limits, findings.ranges
    except Lacking as lacking:
        step = Step(
            "limits",
            "Enter the limits of travel in the control.",
            lack=gap_words(lacking),
        )
        return (heading, Steps((step,))), lacking.missing
    box = limits.box
    if box is None:
        words = known.answer("travels").headline
        return (heading, Words(f"No limits help: {words}", "lack")), ()
    rows = []
    free = True
    for joint, letter in enumerate("XY"):
        row, whole = _row(findings, box, joint, letter, ranges.low, ranges.high)
        rows.append(row)
        free = free and whole
    turning = limits.itself
    if isinstance(turning, SafeBox) and findings.has_tilt:
        row, whole = _row(findings, turning, 3, "tilt", ranges.low, ranges.high)
        rows.append(row)
        free = free and whole
    grid = Grid(
        "limits",
        "Machine coordinates",
        (
            Head("axis", "axis"),
            Head("low", "lowest"),
            Head("high", "highest"),
            Head("own", "ends of the axis itself"),
            Head("do", "do"),
            Head("entered", "entered", blank=True),
        ),
        tuple(rows),
    )
    if free:
        order = "Leave the limits of the control as they are: no restriction is needed."
    else:
        order = "Enter the limits of the table in the control, as its manual says."
    steps = [
        Step(
            "limits",
            order,
            see=""
            if free
            else "Jog to each limit at low speed: the control stops there by itself.",
            why="Within them the unit with its load meets nothing of the mill in any pose.",
            boxes=(Box("limits_right", "limits right", form="tick"),),
        ),
        *_planes(findings),
    ]
    return (heading, grid, Steps(tuple(steps))), ()


def _row(
    findings: Findings,
    box: SafeBox,
    joint: int,
    name: str,
    low: Floats,
    high: Floats,
) -> tuple[tuple[str, ...], bool]:
    """Return one line of the limits, and whether the axis keeps its whole way."""
    units = findings.units

    def shown(value: float, side: str) -> str:
        if joint >= 3:
            return f"{angle(value)} deg"
        return units.text(Kind.LENGTH, value, limit="min" if side == "low" else "max")

    ends = float(box.low[joint]), float(box.high[joint])
    own = float(low[joint]), float(high[joint])
    slack = 1e-3 if joint < 3 else 1e-4
    whole = abs(ends[0] - own[0]) <= slack and abs(ends[1] - own[1]) <= slack
    letter = name
    if joint == 3:
        letter = findings.senses.tilt_letter or name
    entered = joint != 3 or findings.cell.unit.tilt_range is not None
    return (
        (
            letter,
            shown(ends[0], "low"),
            shown(ends[1], "high"),
            f"{shown(own[0], 'low')} to {shown(own[1], 'high')}" if entered else "-",
            "leave as it is" if whole else "enter",
            "",
        ),
        whole,
    )


def _planes(findings: Findings) -> list[Step]:
    """Return how high a tool must stand before it crosses the work."""
    try:
        planes = findings.planes
    except Lacking as lacking:
        return [
            Step(
                "cross_z",
                "Cross the work only with Z at the top.",
                lack=gap_words(lacking),
            )
        ]
    known = [plane for plane in planes if plane.z_mm is not None]
    never = [plane.hand.name for plane in planes if plane.z_mm is None]
    steps = []
    if known:
        worst = max(known, key=lambda plane: plane.z_mm or 0.0)
        z = findings.units.text(Kind.LENGTH, worst.z_mm or 0.0, limit="min")
        steps.append(
            Step(
                "cross_z",
                f"Write this on the mill: cross the work at machine Z {z} or above.",
                see=f"It holds for every pose and every listed tool; {worst.hand.name} needs it.",
            )
        )
    if never:
        steps.append(
            Step(
                "never_cross",
                f"Never cross the work with {' or '.join(never)} in every pose: too long.",
                see='Ask "travels" for the poses that are free.',
            )
        )
    return steps


def warm_up(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return the warm-up: how long, and the program."""
    findings = known.findings
    heading = Heading("Warm-up")
    try:
        written = findings.warm_up
    except Lacking as lacking:
        step = Step(
            "warm_up", "Warm up mill and unit before the first reading.", lack=gap_words(lacking)
        )
        return (heading, Steps((step,))), lacking.missing
    growth = "An axis line drifts while bearings and drives grow warm."
    if written.refused:
        step = Step(
            "warm_up",
            "Move all axes by hand for 20 to 30 minutes before the first reading.",
            see="The housing of each drive no longer grows warmer to the hand.",
            why=f"{growth} The minutes are common practice, no source.",
        )
        refused = Words(f"No warm-up program is offered: {written.refused}.", "lack")
        return (heading, Steps((step,)), refused), ()
    step = Step(
        "warm_up",
        "Run the program below over and over for 20 to 30 minutes.",
        see="No alarm, no new noise, and no hose pulls.",
        why=f"{growth} The minutes are common practice, no source.",
        boxes=(Box("warm_up_minutes", "minutes run", "min"),),
    )
    return (heading, Steps((step,)), listing(written)), ()


def tool_change(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return where tools are changed."""
    answer = known.answer("changes")
    heading = Heading("Pose for tool changes")
    if answer.verdict is Verdict.CANNOT_TELL:
        step = Step(
            "tool_change",
            "Change tools by hand only, the unit in plain sight.",
            lack=f"{answer.headline} {answer.next_step}",
        )
        return (heading, Steps((step,))), answer.missing
    steps = [
        Step(
            "tool_change",
            answer.next_step,
            see=answer.headline,
            boxes=(Box("tool_change_noted", "noted on the mill", form="tick"),),
        )
    ]
    if answer.verdict is not Verdict.NO:
        there = " in this pose" if answer.verdict is Verdict.YES_IF else ""
        steps.append(
            Step(
                "tool_change_try",
                f"Change the longest tool once{there}. Go block by block, rapid at its lowest.",
                see="Tool, arm and spindle stay clear of the unit.",
            )
        )
    cautions = (Cautions(answer.cautions),) if answer.cautions else ()
    return (heading, *cautions, Steps(tuple(steps))), ()
