"""How long a program takes, as figures and tables of the answer about it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from gudgeon.answer import Column, Figure, Missing, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.timed_ground import Duration
from gudgeon.findings.timed_program import ProgramTime
from gudgeon.program.track import Track

__all__ = ["TimeShown", "time_shown"]

_ROWS_MOST: Final = 100


@dataclass(frozen=True, slots=True)
class TimeShown:
    """What is shown of the time.

    Attributes
    ----------
    figures : tuple of Figure
    tables : tuple of Table
    missing : tuple of Missing
    assumed, cautions : tuple of str
    """

    figures: tuple[Figure, ...]
    tables: tuple[Table, ...] = ()
    missing: tuple[Missing, ...] = ()
    assumed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def time_shown(findings: Findings, track: Track, name: str) -> TimeShown:
    """Return the time of a program; one line that names the entry where it cannot be told."""
    try:
        time = findings.program_time(track, name)
    except Lacking as lacking:
        where = lacking.missing[0].where.removeprefix(f"{findings.cell.file}: ")
        note = f"cannot be told without {where}"
        return TimeShown((Figure("run_time", "Time to run", None, "s", note=note),))
    total = time.total
    waits = time.stops + time.optional_stops
    figures = [_figure("run_time", "Time to run", total, _note(time))]
    if waits:
        figures.append(
            Figure(
                "waits", "Stops that wait for a person", float(waits), note="their time not counted"
            )
        )
    return TimeShown(
        tuple(figures),
        tuple(table for table in (_by_cause(time), _by_tool(time)) if table.rows),
        time.missing,
        time.assumed,
        tuple(f"The time is a lower bound: {reason}." for reason in time.short),
    )


def _note(time: ProgramTime) -> str:
    if time.short:
        return "at least: not all could be counted"
    by_cause = {cause: part for cause, part in time.by_cause.items() if part.value > 0.0}
    if not by_cause:
        return ""
    most = max(by_cause, key=lambda cause: by_cause[cause].value)
    share = by_cause[most].value / time.total.value
    return f"{share:.0%} of it {most.value}"


def _figure(name: str, label: str, time: Duration, note: str) -> Figure:
    return Figure(
        name,
        label,
        round(time.value, 2),
        "s",
        plus_minus=round(time.plus_minus, 2),
        note=note,
    )


def _by_cause(time: ProgramTime) -> Table:
    whole = time.total.value
    rows = [
        (
            cause.value,
            round(part.value, 2),
            round(part.plus_minus, 2),
            round(100.0 * part.value / whole, 1) if whole > 0.0 else 0.0,
        )
        for cause, part in time.by_cause.items()
        if part.value > 0.0
    ]
    return Table(
        "times",
        "What takes the time",
        (
            Column("cause", "Cause"),
            Column("seconds", "Time", "s"),
            Column("plus_minus", "+-", "s"),
            Column("share", "Share", "%"),
        ),
        tuple(rows),
    )


def _by_tool(time: ProgramTime) -> Table:
    rows: list[tuple[str | float | None, ...]] = []
    for tool, whole in time.by_tool.items():
        feed = time.at_feed(lambda use, t=tool: use.tool == t)  # type: ignore[misc]
        poses = {
            (use.tilt_rad, use.turn_rad)
            for use in time.uses
            if use.tool == tool and not math.isnan(use.tilt_rad)
        }
        rows.append(
            (
                "in the spindle at the start" if tool is None else f"T{tool}",
                len(poses),
                round(whole.value, 2),
                round(whole.plus_minus, 2),
                round(feed.value, 2),
            )
        )
    more = len(rows) - _ROWS_MOST
    title = "Time by tool" if more <= 0 else f"Time by tool (the first {_ROWS_MOST} of {len(rows)})"
    return Table(
        "times_by_tool",
        title,
        (
            Column("tool", "Tool"),
            Column("poses", "Poses"),
            Column("seconds", "Time", "s"),
            Column("plus_minus", "+-", "s"),
            Column("at_feed", "At feed", "s"),
        ),
        tuple(rows[:_ROWS_MOST]),
    )
