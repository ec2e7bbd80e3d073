"""What tool changes add to the question `fits`: the proven ranges, else what the heights say."""

from __future__ import annotations

import math

from gudgeon.findings import Findings, Lacking
from gudgeon.findings.changing import ChangingFinding, Room
from gudgeon.findings.heights import ChangeFinding, ChangeRow
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.ties import firm
from gudgeon.questions._change_ranges import (
    no_pose_words,
    place_words,
    range_table,
    range_words,
    shorter,
)
from gudgeon.questions._fits_judge import Says, listed
from gudgeon.questions._fits_show import change_figures, change_table
from gudgeon.questions._proof_views import angle_text, tie_words

__all__ = ["judge_changes"]

Proven = tuple[ChangingFinding, tuple[Room, ...]]


def judge_changes(findings: Findings, says: Says) -> None:
    """Judge tool changes: by the proofs of the question `changes` wherever they can be made."""
    try:
        changes = findings.changes
    except Lacking as lacking:
        says.wanted += lacking.missing
        says.assumed.append("Not judged, tool change: entries are missing.")
        what = lacking.missing[0].what
        says.conditions.append(
            f"the first tool change is proven clear by hand: {what} is not entered"
        )
        return
    proven = _proven(findings)
    says.figures += change_figures(findings, changes, proven=proven is not None)
    allowed = {row: findings.change_allowed(row) for row in changes.rows}
    if proven is not None:
        by_pose = {_key(room): room.allowed for room in proven[1]}
        allowed = {row: by_pose.get(_key(row), was) for row, was in allowed.items()}
    says.tables.append(change_table(findings, changes, allowed))
    if proven is not None:
        _judge_proven(findings, says, changes, proven)
        return
    _judge_beside(findings, says)
    if findings.change_clear_of_load:
        says.assumed.append(
            "The changer's place keeps clear of the load over all tilts and turns: tool changes "
            "need no restriction."
        )
        return
    says.assumed += changes.assumed
    _judge_heights(findings, says, changes)


def _proven(findings: Findings) -> Proven | None:
    """Return what is proven of tool changes where the unit stands; ``None`` if nothing can be.

    Nothing proven and nothing refuted says no more than the heights do.
    """
    if findings.declared_place is None:
        return None
    try:
        found, rooms = findings.changing, findings.change_rooms
    except Lacking:
        return None
    open_ = found.park is None and found.beside is None and not found.together.clear
    if open_ and not (found.together.cells == 1).any():
        return None
    return found, rooms


def _key(one: Room | ChangeRow) -> tuple[str, float, float | None]:
    turn = one.turn_rad
    return (
        one.tool,
        round(one.tilt_rad, 6) + 0.0,
        None if turn is None else round(turn % (2.0 * math.pi), 6) + 0.0,
    )


def _judge_proven(findings: Findings, says: Says, changes: ChangeFinding, proven: Proven) -> None:
    """Add where tools may be changed, as the question `changes` tells it."""
    found, rooms = proven
    if findings.cell.placement.clearance is None:
        says.assumed += findings.asked_told
    says.assumed += found.assumed
    ties = [tie_words(findings, hang) for hang in findings.change_hoses if hang.meets]
    if found.together.clear:
        says.assumed.append("Tool changes need no restriction: proven for every tilt and turn.")
    elif found.park is not None:
        says.conditions.append(f"tools are changed with the unit at {range_words(findings, found)}")
        table = range_table(findings, found)
        if table is not None:
            says.tables.append(table)
        turning = [row.clearance_mm for row in changes.rows if row.turn_rad is None]
        if min(turning, default=math.inf) <= 0.0 and not findings.every_turn(found.ranges[0]):
            says.flips.append("Turning the platter during a tool change would take the room.")
    elif found.beside is not None:
        place = place_words(findings, found.beside)
        says.conditions.append(f"tools are changed with the spindle at {place}")
    else:
        says.broken.append(no_pose_words(found))
        ties = []
    says.conditions += ties
    if found.together.clear:
        return
    if found.park is not None and found.beside is not None:
        place = place_words(findings, found.beside)
        says.mends.append(
            f"change tools with the spindle at {place}: every tilt and turn is clear there"
        )
    less = shorter(findings, found, rooms)
    if less is not None:
        says.mends.append(
            f"use a {found.maps[0].hand.name} shorter by {less[0]}: then it may be changed at tilt "
            f"{less[1]:g} deg too"
        )


def _judge_beside(findings: Findings, says: Says) -> None:
    """Add the boxes beside which a tool has to be changed."""
    if findings.chosen_place is None:
        return
    for name, depth in findings.change_beside:
        size = findings.units.text(Kind.LENGTH, depth)
        says.conditions.append(
            f"tools are changed clear of {name}: the longest would be pulled {size} into it"
        )


def _judge_heights(findings: Findings, says: Says, changes: ChangeFinding) -> None:
    """Add the poses in which the longest tool must not be changed."""
    units = findings.units
    longest = [row for row in changes.rows if row.length_mm == changes.longest_mm]
    still = [row for row in longest if row.turn_rad is not None]
    good = [row for row in still if findings.change_allowed(row)]
    bad = [row for row in still if not findings.change_allowed(row)]
    turning = [row for row in longest if row.turn_rad is None]
    if bad:
        worst = min(bad, key=lambda row: firm(row.clearance_mm))
        places = 2 if units.inch else 1
        room = units.text(Kind.LENGTH, worst.clearance_mm, places)
        doubt = findings.change_doubt(worst)
        if round(units.shown(Kind.LENGTH, doubt), places) > 0.0:
            room += f" +-{units.text(Kind.LENGTH, doubt, places)}"
        if good:
            clear = min(good, key=lambda row: firm(row.clearance_mm))
            mixed = {round(row.tilt_rad, 6) for row in bad}
            poses = listed(list(dict.fromkeys(_allowed_words(row, mixed) for row in good)))
            says.conditions.append(
                f"tools are changed with the platter {poses} only "
                f"({units.text(Kind.LENGTH, clear.clearance_mm, places)} clear; "
                f"{_allowed_words(worst, {round(row.tilt_rad, 6) for row in good})} {room})"
            )
        else:
            best = units.text(Kind.LENGTH, max(row.clearance_mm for row in bad), places)
            says.broken.append(
                f"no pose leaves room for a tool change ({best} at best over the load)"
            )
        keep = findings.cell.placement.clearance
        limit = changes.longest_mm + worst.clearance_mm - doubt - (keep.value if keep else 0.0)
        if limit > 0.0:
            shortest = units.text(Kind.LENGTH, limit, 1, limit="max")
            mend = (
                f"keep every tool shorter than {shortest}: then tools may be changed in every pose"
            )
            says.mends.append(mend)
    worst_turning = min((row.clearance_mm for row in turning), default=math.inf)
    if worst_turning <= 0.0 and any(row.pose == "upright" for row in good):
        says.flips.append(
            "Turning the platter during a tool change would take the room: "
            f"{units.text(Kind.LENGTH, worst_turning, 2 if units.inch else 1)} left."
        )


def _pose_words(pose: str, tilt_rad: float) -> str:
    if pose == "flat":
        return f"flat (tilt {angle_text(tilt_rad)})"
    return f"at tilt {angle_text(tilt_rad)}"


def _allowed_words(row: ChangeRow, mixed: set[float]) -> str:
    """Return the pose of a row; with its turn where the same tilt is judged otherwise too."""
    words = _pose_words(row.pose, row.tilt_rad)
    if row.turn_rad is None or round(row.tilt_rad, 6) not in mixed:
        return words
    return f"{words} and turn {angle_text(row.turn_rad)}"
