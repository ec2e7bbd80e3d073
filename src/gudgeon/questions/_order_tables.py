"""Tables of the question `order`: sequence, loading map, seconds by cause, what would help."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gudgeon.answer import Cell, Column, Table
from gudgeon.findings import Findings
from gudgeon.findings.jobs import OTHER_FACE, SECOND
from gudgeon.findings.order_mends import Mend
from gudgeon.findings.ordering import OrderFinding, Step
from gudgeon.findings.sheets import seats
from gudgeon.findings.skeleton import Skeleton

__all__ = [
    "cause_table",
    "loading_table",
    "mend_table",
    "seconds_text",
    "sequence_table",
    "skeleton_table",
]


def seconds_text(seconds: float) -> str:
    """Return a time as a person says it: "47 s", "21.4 min", "7.5 h"."""
    if abs(seconds) < 99.5:
        return f"{seconds:.0f} s" if abs(seconds) >= 9.95 else f"{seconds:.1f} s"
    return f"{seconds / 60.0:.1f} min" if abs(seconds) < 5400.0 else f"{seconds / 3600.0:.1f} h"


def sequence_table(findings: Findings, found: OrderFinding) -> Table:
    """Return every cut in its place, with what lies before it."""
    rows: list[tuple[Cell, ...]] = []
    for number, step in enumerate(found.steps, start=1):
        change = step.leg.change_pose
        rows.append(
            (
                number,
                f"T{step.job.tool}",
                step.job.station,
                _face(step),
                findings.pose_words(step.way.angles_rad),
                step.way.word,
                step.job.operation,
                None if change is None else findings.pose_words(change),
                round(step.leg.spent.total, 1),
                None if step.own is None else round(step.own.amount.value, 1),
                round(step.end_s / 60.0, 2),
            )
        )
    rows.append(
        (
            len(rows) + 1,
            None,
            None,
            None,
            findings.pose_words(found.load_pose),
            None,
            "back to where the parts are loaded",
            None,
            round(found.home.spent.total, 1),
            None,
            round(found.round.seconds / 60.0, 2),
        )
    )
    return Table(
        "sequence",
        f"The order of a load; T{found.steps[-1].job.tool} is in the spindle from the load before",
        (
            Column("number", "No."),
            Column("tool", "Tool"),
            Column("station", "Station"),
            Column("face", "Face"),
            Column("pose", "Pose"),
            Column("word", "Offset"),
            Column("operation", "Operation"),
            Column("change", "Tool changed at"),
            Column("before", "Way there", "s"),
            Column("own", "In the cut", "s"),
            Column("running", "Done after", "min"),
        ),
        tuple(rows),
    )


def _face(step: Step) -> str | None:
    """Return the face that is cut, and in which pose where that is not its own."""
    if step.way.kind == OTHER_FACE:
        return f"{step.job.face}, in the pose of {step.way.face}"
    return f"{step.job.face}, second pose" if step.way.kind == SECOND else step.job.face or None


def loading_table(findings: Findings, found: OrderFinding) -> Table:
    """Return which part goes where, and the offsets by which its faces are cut."""
    words: dict[str, dict[str, None]] = {}
    for step in found.steps:
        if step.way.word is not None:
            label = f"{step.way.face} {step.way.word}" if step.way.face else step.way.word
            words.setdefault(step.job.station, {})[label] = None
    rows: list[tuple[Cell, ...]] = [
        (
            seat.serial,
            seat.station,
            seat.side,
            seat.row,
            seat.column,
            (seat.part or None) if seat.serial is not None else "stays empty",
            ", ".join(words.get(seat.station, {})) or None,
        )
        for seat in seats(findings.cell)
    ]
    return Table(
        "loading",
        f"Loading map, both angles zero, loaded at {findings.pose_words(found.load_pose)}: on a "
        "side rows count from the top, on top from the front; columns from the left",
        (
            Column("serial", "Loaded as"),
            Column("station", "Station"),
            Column("side", "Side"),
            Column("row", "Row"),
            Column("column", "Column"),
            Column("part", "Part"),
            Column("words", "Offsets"),
        ),
        tuple(rows),
    )


def cause_table(found: OrderFinding) -> Table:
    """Return the seconds of a load by cause."""
    whole = found.load.value
    rows: list[tuple[Cell, ...]] = [
        (
            name,
            round(time.value, 1),
            None if time.plus_minus is None else round(time.plus_minus, 1),
            round(100.0 * time.value / whole, 1) if whole > 0.0 else None,
        )
        for name, time in found.causes.items()
    ]
    width = found.load.plus_minus
    rows.append(("together", round(whole, 1), None if width is None else round(width, 1), 100.0))
    return Table(
        "causes",
        "What takes the time of a load",
        (
            Column("cause", "Cause"),
            Column("seconds", "Time", "s"),
            Column("plus_minus", "+-", "s"),
            Column("share", "Share", "%"),
        ),
        tuple(rows),
    )


def mend_table(mends: Sequence[Mend], found: OrderFinding) -> Table | None:
    """Return what would make a load shorter; ``None`` where nothing would."""
    if not mends:
        return None
    return Table(
        "mends",
        "What would make a load shorter (each alone, the order sought again)",
        (
            Column("what", "What"),
            Column("saved", "Saved a load", "s"),
            Column("share", "Of the run", "%"),
        ),
        tuple(
            (
                mend.words,
                round(mend.saved_s, 1),
                round(100.0 * mend.saved_s / found.round.seconds, 2)
                if found.round.seconds > 0.0 and math.isfinite(mend.saved_s)
                else None,
            )
            for mend in mends
        ),
    )


def skeleton_table(skeleton: Skeleton) -> Table | None:
    """Return the program of calls, line by line; ``None`` where there is none."""
    if not skeleton.lines:
        return None
    return Table(
        "calls",
        "A program that calls your subprograms in this order (read back, not yet proven clear)",
        (Column("block", "Block"), Column("what", "What it does")),
        tuple(skeleton.lines),
    )
