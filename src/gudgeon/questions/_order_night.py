"""What the question `order` shows of runs without a person: visits, shifts, nights, tools."""

from __future__ import annotations

import math

from gudgeon.answer import Cell, Column, Figure, Table
from gudgeon.findings.night import NightFinding, loads_for
from gudgeon.order.wear import End, Range
from gudgeon.questions._order_tables import seconds_text

__all__ = ["night_conditions", "night_figures", "night_fix", "tool_table", "visit_flip"]

HOUR_S = 3600.0


def night_figures(found: NightFinding) -> tuple[Figure, ...]:
    """Return visits, parts a shift and a night, and the tool that ends the run."""
    visit = found.visit
    low, high = visit.seconds
    shown = [
        Figure(
            "visit",
            "time until a person must come",
            _minutes(visit.run.seconds),
            "min",
            None if not math.isfinite(high) else round(max(high - low, 0.0) / 120.0, 4),
            note=_ended(found, visit)
            + (
                f" ({found.visit_loads} loads that change themselves)"
                if found.visit_loads > 1
                else ""
            ),
        )
    ]
    if found.shift is not None:
        shown.append(
            Figure(
                "parts_per_shift",
                "parts a shift",
                float(found.shift.loads * found.parts),
                "",
                note=f"{found.shift.loads} whole loads; {found.shift.mean_loads * found.parts:.1f} "
                "parts in the long run",
            )
        )
    if found.night is not None and found.hours_s is not None:
        least, most = found.night.loads
        shown.append(
            Figure(
                "parts_per_night",
                "parts a night without a person",
                float(found.night.run.loads * found.parts),
                "",
                None if least == most else 0.5 * (most - least) * found.parts,
                note=f"{seconds_text(found.hours_s)}; {_ended(found, found.night)}",
            )
        )
    first = found.first
    known = first.end is End.TOOL and found.first_tool is not None
    shown.append(
        Figure(
            "first_tool",
            f"T{found.first_tool} is the first tool worn, in a run on and on, after"
            if known
            else "first tool worn in a run on and on",
            round(first.seconds / HOUR_S, 3) if known else None,
            "h",
            note=f"in load {first.loads + 1}, loading counted" if known else "no life ends it",
        )
    )
    return tuple(shown)


def _minutes(seconds: float) -> float | None:
    return round(seconds / 60.0, 4) if math.isfinite(seconds) else None


def _ended(found: NightFinding, run: Range) -> str:
    """Return what ends a run, in words; all that may end it where the ranges leave that open."""
    words = []
    for end, family in run.ends:
        if end is End.TOOL and family is not None:
            words.append(f"T{found.uses[family].number} is worn")
        elif end is End.TIME:
            words.append("the night is over")
        elif end is End.LOADS:
            words.append("all loads are done")
    return "ends when " + " or ".join(dict.fromkeys(words)) if words else ""


def tool_table(found: NightFinding) -> Table:
    """Return the tools of a load with what they last."""
    rows: list[tuple[Cell, ...]] = [
        (
            f"T{use.number}",
            use.name or None,
            None if use.life is None else round(use.life.value / 60.0, 1),
            round(use.used_s / 60.0, 2),
            use.loads,
            None if use.loads is None else use.loads * found.parts,
            ", ".join(f"T{sister}" for sister in use.sisters) or None,
            use.loads_together if use.sisters else None,
        )
        for use in found.uses
    ]
    return Table(
        "tools",
        "Tools to load, fresh, and what they last",
        (
            Column("tool", "Tool"),
            Column("name", "Name"),
            Column("life", "Life", "min"),
            Column("used", "Used a load", "min"),
            Column("loads", "Loads"),
            Column("parts", "Parts"),
            Column("sisters", "Sisters"),
            Column("together", "Loads with them"),
        ),
        tuple(rows),
    )


def night_conditions(found: NightFinding) -> list[str]:
    """Return what has to be kept for the tools to last a load."""
    told = []
    for worn in found.worn:
        if worn.sisters:
            names = " and ".join(f"T{sister}" for sister in worn.sisters)
            told.append(
                f"T{worn.tool}'s sister{'s' * (len(worn.sisters) > 1)} {names} "
                f"{'are' if len(worn.sisters) > 1 else 'is'} loaded"
            )
        else:
            told.append(f'T{worn.tool} is changed for a fresh one before "{worn.before}"')
    return told


def visit_flip(found: NightFinding) -> str | None:
    """Return when visits come to be an hour apart, or no longer are."""
    run = found.visit.run
    if not math.isfinite(run.seconds) or run.end is End.TOOL:
        return None
    each = run.seconds / max(run.loads, 1)
    if run.seconds >= HOUR_S:
        return (
            None
            if found.visit_loads > 1
            else (f"Visits come under an hour if a load runs {seconds_text(each - HOUR_S)} less.")
        )
    count = loads_for(HOUR_S, each)
    if found.first.end is End.TOOL and found.first.loads < count:
        return (
            f"T{found.first_tool} is worn in load {found.first.loads + 1}: visits an hour apart "
            "would need a sister of it."
        )
    return (
        f"Visits an hour apart need {count} times the work in a load, or as many loads that change "
        "themselves."
    )


def night_fix(found: NightFinding) -> str | None:
    """Return what a further sister of the tool that ends the night would add."""
    night = found.night
    if night is None or not found.one_more or night.run.family is None:
        return None
    tool = found.uses[night.run.family].number
    return f"A further sister of T{tool} adds {found.one_more * found.parts} parts a night."
