"""Commissioning, second part: the first small turns, and the dry run for hoses and cables."""

from __future__ import annotations

import math

from gudgeon.answer import Missing
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.commissioning_hoses import DryPose, dry_run
from gudgeon.findings.hose_bodies import hose_name
from gudgeon.findings.jog_test import seen_for_plus, side_words
from gudgeon.findings.senses import AxisEvidence
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._dangers import swing_words
from gudgeon.sheets._programs import listing, steps_by_hand
from gudgeon.sheets._said import angle, gap_words, length, listed, pose
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Box, Cautions, Grid, Head, Heading, Step, Steps, Words

__all__ = ["hoses", "jog_test"]

KEEP_CLEAR = (
    "First motion: nobody reaches into the swing of the unit. One person at the control keeps a "
    "hand on the stop."
)


def jog_test(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return the first small turn of each axis, and what must be seen."""
    findings = known.findings
    written = findings.jog_test
    missing: tuple[Missing, ...] = ()
    cautions = [KEEP_CLEAR]
    swing = swing_words(findings)
    if swing:
        cautions.append(swing)
    blocks: list[Block] = [
        Heading("First motion: letters and signs"),
        Words(
            "A wrong sign turns every face the wrong way: see it before anything else moves.",
            "why",
        ),
        Cautions(tuple(cautions)),
    ]
    try:
        evidence = findings.axis_evidence
    except Lacking as lacking:
        blocks.append(
            Steps((Step("jog", "Jog each axis a little and back.", lack=gap_words(lacking)),))
        )
        return tuple(blocks), lacking.missing
    answer = known.answer("axes")
    unsettled = [item for item in evidence if item.sense is None or item.disagrees]
    if unsettled:
        missing = answer.missing
    if written.lines:
        blocks.append(Steps(_by_program(findings)))
        blocks.append(listing(written))
    else:
        blocks.append(Steps(steps_by_hand(written) or _plain_jogs(findings)))
        if written.refused:
            blocks.append(Words(f"No program for this is offered: {written.refused}.", "lack"))
    blocks.append(_seen(findings, evidence))
    ask = 'If it is not as written, stop here. Enter what was seen, and ask "axes" what is wrong.'
    blocks.append(
        Steps(
            (
                Step(
                    "jogs_right",
                    "Compare what was seen with the table.",
                    see="Each mark went as the table says." if not unsettled else "",
                    why=ask,
                    boxes=(Box("jogs_right", "letters and signs right", form="tick"),),
                    lack=""
                    if not unsettled
                    else f"Not known yet: the sign of {listed(_names(unsettled))}. Enter the row "
                    "of the table under [[control.jogs]], then print this plan again.",
                ),
            )
        )
    )
    return tuple(blocks), missing


def _by_program(findings: Findings) -> tuple[Step, ...]:
    return (
        Step(
            "swing_clear",
            "Take the work out. Clear the whole swing of the unit.",
            see="Nothing stands in it, and the spindle is empty.",
        ),
        Step(
            "marks",
            "Put a mark on each side that the table below names.",
            see="Both marks are in plain sight." if findings.has_tilt else "It is in plain sight.",
        ),
        Step(
            "run_jog_test",
            "Run the program below block by block. Set rapid to its lowest.",
            see="At each stop the mark stands where the block says. If not, press reset.",
        ),
    )


def _plain_jogs(findings: Findings) -> tuple[Step, ...]:
    """Return the jogs in words where neither a program nor steps for this cell are known."""
    axes = ("tilt", "rotary axis") if findings.has_tilt else ("rotary axis",)
    return tuple(
        Step(
            f"jog_{name.split()[0]}",
            f"Jog the {name} by +5 deg, and back, at the lowest speed.",
            see="Write down to which side the mark goes.",
        )
        for name in axes
    )


def _names(evidence: list[AxisEvidence]) -> list[str]:
    return [f"the {'tilt' if item.role == 'tilt' else 'rotary axis'}" for item in evidence]


def _seen(findings: Findings, evidence: tuple[AxisEvidence, ...]) -> Grid:
    """Return the jogs with the names under which they are entered."""
    unit = findings.units.unit(Kind.ANGLE)
    rows = []
    for item in evidence:
        watched = "Z+" if item.along != "Z" else "X+"
        expected = "write down"
        limits = (
            findings.cell.unit.tilt_range
            if item.role == "tilt"
            else findings.cell.unit.rotary_range
        )
        up = limits is None or limits[1].value >= math.radians(5.0)
        if item.sense is not None and not item.disagrees:
            watched, moved = seen_for_plus(item, item.sense if up else -item.sense)
            expected = side_words(moved)
        rows.append((item.letter or "", "+5" if up else "-5", side_words(watched), expected, ""))
    return Grid(
        "jogs",
        "What each jog must show, unit at zero, seen from the front of the mill",
        (
            Head("letter", "letter"),
            Head("by", "by", unit),
            Head("watched", "mark on side"),
            Head("expected", "must go to"),
            Head("moved", "went to", blank=True),
        ),
        tuple(rows),
    )


def hoses(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return the dry run for hoses and cables, where there are any."""
    findings = known.findings
    every = findings.cell.unit.hoses
    heading = Heading("Dry run for hoses and cables")
    if not every:
        return (
            heading,
            Words(
                "No hose or cable is entered. If the unit has one, enter it under [[unit.hoses]] "
                "and print this plan again.",
                "lack",
            ),
        ), ()
    names = [hose_name(findings.cell, hose) for hose in every]
    try:
        poses = dry_run(findings)
        judged = findings.hoses_stretched
    except Lacking as lacking:
        step = Step(
            "dry_run",
            f"Jog to both ends of the tilt and all round. Watch {listed(names)}.",
            lack=gap_words(lacking),
        )
        return (heading, Steps((step,))), lacking.missing
    steps = [
        Step(
            "dry_run",
            f"Jog slowly from pose to pose of the table. Watch {listed(names)} all the way.",
            see="Nothing pulls tight, kinks, rubs or hangs into the swing.",
            why="Stop at once if it does. Guide it another way, then begin again.",
            boxes=(Box("hoses_free", "free in every pose", form="tick"),),
            cautions=(
                "Fingers stay away from hoses while the unit turns. A second person watches the "
                "far side.",
            ),
        )
    ]
    steps += [
        Step(
            f"hose_{number}",
            f"Look at the {found.name} where it is stretched most.",
            see=_left_words(findings, found.margin_mm)
            + (
                f" It is stretched most at {_at(findings, found.longest_at)}."
                if found.longest_at
                else " It is stretched the same in every pose."
            ),
        )
        for number, found in enumerate(judged, start=1)
    ]
    steps += _pinches(findings)
    left_out = [Words(text, "lack") for text in findings.hoses_left_out]
    return (heading, Steps(tuple(steps)), _poses(findings, poses), *left_out), ()


def _at(findings: Findings, angles: tuple[float, ...]) -> str:
    tilt = angles[0] if findings.has_tilt else 0.0
    turn = angles[-1] if len(angles) > 1 or not findings.has_tilt else 0.0
    return pose(findings, float(tilt), float(turn))


def _left_words(findings: Findings, left_mm: float) -> str:
    if left_mm <= 0.0:
        return f"It is too short by {length(findings, -left_mm, 1)}: do not turn the unit there."
    return f"At least {length(findings, left_mm, 1)} of its free length are left."


def _pinches(findings: Findings) -> list[Step]:
    """Return a step for each hose that could hang into what moves."""
    try:
        hanging = findings.hoses_hanging
    except Lacking:
        return []
    found = []
    for number, hang in enumerate(hanging, start=1):
        if not hang.meets:
            continue
        what = listed(list(dict.fromkeys(what for what, _ in hang.meets))[:3])
        if hang.tie_mm is None:
            order = f"Guide the {hang.name} away from {what}, and fix it there."
        else:
            free = findings.units.text(Kind.LENGTH, hang.tie_mm, limit="max")
            order = f"Tie up the {hang.name}: leave no more than {free} free between its ends."
        found.append(
            Step(f"tie_{number}", order, see=f"It cannot reach {what}.", why="Here it may pinch.")
        )
    return found


def _poses(findings: Findings, poses: tuple[DryPose, ...]) -> Grid:
    senses = findings.senses
    unit = findings.units.unit(Kind.LENGTH)
    names = list(dict.fromkeys(name for one in poses for name in one.left_mm))
    heads = [Head("pose", "pose")]
    if findings.has_tilt:
        heads.append(Head("tilt", senses.tilt_letter or "tilt", "deg"))
    heads.append(Head("turn", senses.rotary_letter, "deg"))
    heads += [Head(f"left_{k}", f"{name}: left", unit) for k, name in enumerate(names, start=1)]
    watched = any(one.worst for one in poses)
    heads += [Head("watch", "watch")] if watched else []
    rows = []
    for number, one in enumerate(poses, start=1):
        row = [str(number)]
        if findings.has_tilt:
            row.append(angle(one.tilt_rad))
        row.append(angle(one.turn_rad))
        digits = 2 if findings.units.inch else 0
        row += [
            f"{findings.units.shown(Kind.LENGTH, one.left_mm[name]):.{digits}f}" for name in names
        ]
        row += [listed(one.worst)] if watched else []
        rows.append(tuple(row))
    return Grid("dry_run", "Poses in order", tuple(heads), tuple(rows))
