"""Daily check card: what to read each morning, what to expect, what to do when it is outside."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from gudgeon.answer import Missing, Picture
from gudgeon.drawing.strip import Strip, strips
from gudgeon.findings import Findings
from gudgeon.findings.morning import MorningCheck
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._dangers import MANUALS, PROBE, swing_words
from gudgeon.sheets._programs import listing
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

__all__ = ["NAME", "PLACE", "TITLE", "day_heads", "pose_of", "reading_order", "sheet"]

NAME: Final = "morning"
TITLE: Final = "Daily check card"
PLACE: Final = 320

MORNINGS: Final = 5
"""Mornings on one card: a week of work."""

PLOTTED: Final = 10
"""Mornings for which a strip has room."""

IN_A_ROW: Final = 7
"""Marks on one side of the middle that are no chance (rule of control charts, from memory)."""


def sheet(known_facts: Known) -> Sheet:
    """Return the daily check card."""
    findings, gaps = known_facts.findings, Gaps()
    checks = findings.morning_checks
    blocks: list[Block] = [Cautions(_cautions(findings))]
    if findings.checks_suggested:
        blocks.append(
            gaps.words(
                "Which checks this shop takes",
                (
                    Missing(
                        "a check to take each morning",
                        f"{findings.cell.file}: checks",
                        "without it nobody sees that something has moved",
                        "fix a ball on the platter, and add a [[checks]] table with its name, "
                        "feature and pose",
                    ),
                ),
            )
        )
        blocks.append(Words("Until then take these, which tell most. Fix a ball on the platter."))
    blocks += [Heading("Each morning"), Steps(_steps(findings, checks))]
    blocks += [Heading("What to expect"), *_expected(findings, checks, gaps)]
    blocks += [Heading("Write it down"), _days(findings, checks)]
    blocks += _plots(findings, checks)
    blocks += _path(findings)
    return Sheet(
        NAME,
        TITLE,
        "Hangs at the machine. Use it each morning before the first part; it takes some minutes.",
        tuple(blocks),
        tuple(gaps.missing),
    )


def _cautions(findings: Findings) -> tuple[str, ...]:
    swings = swing_words(findings)
    return (MANUALS, *([swings] if swings else []), PROBE)


def pose_of(findings: Findings, pose: tuple[float, float] | None) -> str:
    """Return the pose of a check in the control's letters; zero where none is entered."""
    angles = pose or (0.0, 0.0)
    return findings.pose_words(angles if findings.has_tilt else angles[1:])


def reading_order(findings: Findings, check: MorningCheck) -> str:
    """Return how one check is read, as an order."""
    pose = pose_of(findings, check.pose_rad)
    what = {
        "ball": "Read the middle of the ball",
        "bore": "Read the middle of the bore",
        "pin": "Read the middle of the pin",
        "face": "Touch the face",
    }.get(check.feature, "Take the reading")
    named = f' for "{check.name}"' if check.name else ""
    return f"Send Z to the top, then send the unit to {pose}. {what}{named}."


def range_words(findings: Findings, check: MorningCheck) -> str:
    """Return between which numbers the reading of a check must lie; empty where not known."""
    told = []
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    for axis in range(3):
        value, sure = float(check.expected_mm[axis]), float(check.expanded_mm[axis])
        if math.isfinite(value):
            low, high = (
                number_text(units.shown(Kind.LENGTH, end), unit)
                for end in (value - sure, value + sure)
            )
            told.append(f"{'XYZ'[axis]} from {low} to {high}")
    if not told:
        return ""
    rows = findings.warm_rows
    at = f"At {number_text(findings.drift.next_c, 'degC')} degC: " if rows else ""
    return f"{at}{', '.join(told)} {unit}."


def _steps(findings: Findings, checks: tuple[MorningCheck, ...]) -> tuple[Step, ...]:
    warm = bool(findings.warm_rows)
    steps = [_warm_up(findings)]
    steps.append(
        Step(
            "temperature",
            "Read the thermometer beside the unit. Write the number into the column t.",
            why="A warm shop moves every reading a little. Without the number a small move stays "
            "hidden.",
        )
    )
    steps.append(Step("clean", "Wipe the tip of the probe and what it will touch."))
    for number, check in enumerate(checks, start=1):
        steps.append(
            Step(
                f"check_{number}",
                f"{reading_order(findings, check)} Write X, Y and Z into its row.",
                see=range_words(findings, check),
                lack=""
                if check.source != "none"
                else "The number to expect is not known yet. Four mornings of readings tell it.",
            )
        )
    steps += [
        Step(
            "inside",
            "See that each number lies between the lowest and the highest."
            + (" Count from the row of today's temperature." if warm else ""),
            see="All inside: begin to cut.",
        ),
        Step(
            "outside",
            "If one lies outside: wipe tip and ball, read it again, and write it into a new row.",
            see="Inside now: it was a bad reading. Keep both rows, and begin to cut.",
            why="Of twenty good readings one lies outside by chance.",
        ),
        Step(
            "still_outside",
            "If it is still outside: cut nothing. Take the after-a-bump card.",
            boxes=(Box("told", "told the person in charge", form="tick"),),
        ),
        Step(
            "keep",
            f"Keep each row: enter gudgeon day {findings.cell.file} name=... x=... y=... z=... "
            f"t=..., then gudgeon ask drifted {findings.cell.file}.",
            see="The answer is yes: nothing has moved.",
        ),
        Step(
            "mark",
            "Take the expected number"
            + (" of today's temperature" if warm else "")
            + " from the reading. Mark what is left with a dot on its strip.",
            see="The dot lies between the bold lines.",
        ),
        Step(
            "in_a_row",
            f"If {IN_A_ROW} dots in a row lie on one side of the middle: tell the person in "
            "charge.",
            why="It may creep, even where all of them are inside.",
        ),
    ]
    return tuple(steps)


def _warm_up(findings: Findings) -> Step:
    written = known(lambda: findings.warm_up)
    if written is not None and not written.refused:
        return Step(
            "warm_up",
            "Run the warm-up program as the commissioning plan tells.",
            boxes=(Box("warm_up", "done", form="tick"),),
        )
    return Step(
        "warm_up",
        "Let the machine run warm as its manual tells.",
        boxes=(Box("warm_up", "done", form="tick"),),
        lack="A warm-up program for this cell is not known yet.",
    )


# --- expected ---------------------------------------------------------------------------------


def _expected(findings: Findings, checks: tuple[MorningCheck, ...], gaps: Gaps) -> list[Block]:
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    blocks: list[Block] = []
    if all(check.source == "none" for check in checks):
        blocks.append(
            Words(
                "Nothing can be expected yet. Take the checks on four mornings and keep them: then "
                "print this card again.",
                "lack",
            )
        )
        return blocks
    judged = known(lambda: findings.drift)
    if judged is not None:
        at = number_text(judged.next_c, "degC")
        if judged.watch.untold:
            at = "any temperature"
            blocks.append(Words("No temperature was written down so far, so the limits are wide."))
        else:
            blocks.append(Words(f"The numbers below hold at {at} degC."))
        if judged.outstanding:
            day = judged.day_text(judged.outstanding[-1].last_day)
            blocks.append(
                Words(
                    f"Something moved up to {day} and was not set right. The numbers hold for "
                    "where it stands now."
                )
            )
    rows = []
    for check in checks:
        for axis in range(3):
            value, sure = float(check.expected_mm[axis]), float(check.expanded_mm[axis])
            if not math.isfinite(value):
                continue
            shown = [
                number_text(units.shown(Kind.LENGTH, one), unit)
                for one in (value, sure, value - sure, value + sure)
            ]
            rows.append(
                (check.name or "check", pose_of(findings, check.pose_rad), "XYZ"[axis], *shown)
            )
    heads = (
        Head("check", "check"),
        Head("pose", "pose"),
        Head("axis", "axis"),
        Head("expected", "expected", unit),
        Head("plus_minus", "+-", unit),
        Head("low", "lowest", unit),
        Head("high", "highest", unit),
    )
    blocks.append(Grid("expected", "Numbers to expect", heads, tuple(rows)))
    warm = _warm_grid(findings, checks)
    if warm is not None:
        blocks += [
            Words("In a colder or warmer shop expect these instead."),
            warm,
        ]
    return blocks


def _warm_grid(findings: Findings, checks: tuple[MorningCheck, ...]) -> Grid | None:
    """Return what to expect at other temperatures."""
    rows = findings.warm_rows
    if not rows:
        return None
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    series = [
        (k, axis)
        for k in range(len(checks))
        for axis in range(3)
        if any(math.isfinite(row.expected_mm[k, axis]) for row in rows)
    ]
    heads = (
        Head("warm", "at", "degC"),
        *(
            Head(f"{'xyz'[axis]}_{k + 1}", f"{'XYZ'[axis]} of {checks[k].name or 'it'}", unit)
            for k, axis in series
        ),
        Head("plus_minus", "+-, at most", unit),
    )
    told = tuple(
        (
            number_text(row.warm_c, "degC"),
            *(
                number_text(units.shown(Kind.LENGTH, float(row.expected_mm[k, axis])), unit)
                for k, axis in series
            ),
            number_text(units.shown(Kind.LENGTH, float(np.nanmax(row.expanded_mm))), unit),
        )
        for row in rows
    )
    return Grid("warmth", "What the temperature of the shop does to it", heads, told)


# --- to write into ----------------------------------------------------------------------------


def day_heads(findings: Findings) -> tuple[Head, ...]:
    """Return the columns that `gudgeon day` reads back, by their names in the table of days."""
    unit = findings.units.unit(Kind.LENGTH)
    return (
        Head("date", "date", blank=True),
        Head("time", "time", blank=True),
        Head("check", "check"),
        *(Head(f"{letter}_{unit}", letter.upper(), unit, blank=True) for letter in "xyz"),
        Head("t", "t", "degC", blank=True),
        Head("who", "who", blank=True),
        Head("remark", "note", blank=True),
    )


def day_rows(checks: tuple[MorningCheck, ...], mornings: int) -> tuple[tuple[str, ...], ...]:
    """Return rows to fill in, every check once a morning."""
    return tuple(
        ("", "", check.name, "", "", "", "", "", "") for _ in range(mornings) for check in checks
    )


def _days(findings: Findings, checks: tuple[MorningCheck, ...]) -> Grid:
    return Grid(
        "days",
        "One row for each reading; write a second reading into a new row",
        day_heads(findings),
        (*day_rows(checks, MORNINGS), *day_rows(checks[:1], 1)),
    )


def _path(findings: Findings) -> list[Block]:
    """Return the program over the checks, or why there is none; nothing where no check is."""
    if findings.checks_suggested:
        return []
    written = known(lambda: findings.check_path)
    if written is None:
        return []
    return [
        Heading("The way over the checks"),
        Words("Run this program to come to each check. It stops there, and you read by hand."),
        listing(written),
    ]


def _plots(findings: Findings, checks: tuple[MorningCheck, ...]) -> list[Block]:
    """Return a strip for each coordinate whose limits are known."""
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    drawings: list[Block] = []
    for number, check in enumerate(checks, start=1):
        rows = []
        for axis in range(3):
            value, sure = float(check.expected_mm[axis]), float(check.expanded_mm[axis])
            if not (math.isfinite(value) and sure > 0.0):
                continue
            off = [one for one in check.off_mm[:, axis].tolist() if not np.isnan(one)]
            limit = units.shown(Kind.LENGTH, sure)
            rows.append(
                Strip(
                    f"{'XYZ'[axis]} of {check.name or 'the check'}, off the expected number",
                    -limit,
                    0.0,
                    limit,
                    unit,
                    units.decimals(Kind.LENGTH),
                    tuple(units.shown(Kind.LENGTH, one) for one in off),
                )
            )
        if rows:
            name = f"strip-{number}"
            title = f"{check.name or 'The check'}: a dot for each morning"
            drawings.append(Drawing(Picture(name, title, strips(name, rows, PLOTTED))))
    if drawings:
        drawings.insert(0, Heading("Mark it on the strips"))
    return drawings
