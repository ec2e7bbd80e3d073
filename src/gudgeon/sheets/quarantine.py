"""Quarantine list: parts made since the last good morning, what is suspect on them, what to do."""

from __future__ import annotations

from typing import Final

import numpy as np

from gudgeon.answer import Missing
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.drifted_parts import MEASURE_FROM, DimensionShift, FaceShift
from gudgeon.findings.drifting import DriftFinding, Moved
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.ties import firm
from gudgeon.sheets._dangers import MANUALS
from gudgeon.sheets._moved import PARTS, moved_text, part_words, when_text
from gudgeon.sheets._tables import Gaps, number_text
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import (
    Block,
    Box,
    Cautions,
    Grid,
    Head,
    Heading,
    Sheet,
    Step,
    Steps,
    Words,
)

__all__ = ["NAME", "PLACE", "TITLE", "sheet"]

NAME: Final = "quarantine"
TITLE: Final = "Quarantine list"
PLACE: Final = 340

EMPTY_ROWS: Final = 4
"""Rows to write into where what was made is not entered."""


def sheet(known_facts: Known) -> Sheet:
    """Return the quarantine list; it says so where no part need be kept apart."""
    findings, gaps = known_facts.findings, Gaps()
    blocks: list[Block] = [Cautions((MANUALS,))]
    try:
        judged = findings.drift
    except Lacking as lacking:
        blocks.append(gaps.words("If something has moved", lacking.missing))
        blocks += [Heading("If something has moved all the same"), _by_hand(), *_after()]
    else:
        if judged.outstanding:
            blocks += _suspect(findings, judged, gaps)
        else:
            blocks += _none(findings, judged)
    return Sheet(
        NAME,
        TITLE,
        "Hangs where finished parts stand. Use it after a bump, or when the checks tell of a move.",
        tuple(blocks),
        tuple(gaps.missing),
    )


def _none(findings: Findings, judged: DriftFinding) -> list[Block]:
    """Return that no part is suspect, or that it cannot be told yet."""
    doubtful = judged.watch.doubtful
    if doubtful is not None:
        day = judged.day_text(judged.days[doubtful])
        return [
            Words(
                f"The reading of {day} lies off, and one reading does not tell. Take it again "
                "first. Until then put the parts made since the morning before aside.",
                "lack",
            ),
            _by_hand(),
            *_after(),
        ]
    if judged.blinded:
        day = judged.day_text(judged.days[judged.blinded[-1].row])
        return [
            Words(
                f"The readings are off since about {day}. It may be a move or a warmer "
                "shop. Write the temperature down with each check: that tells.",
                "lack",
            ),
            _by_hand(),
            *_after(),
        ]
    since = judged.days[0]
    if judged.past:
        since = max(moved.put_right or 0 for moved in judged.past)
    until = judged.day_text(judged.days[-1])
    blocks: list[Block] = [
        Words(
            "The list is empty: no part need be put aside. Nothing has moved since "
            f"{judged.day_text(since)}, up to the check of {until}."
        )
    ]
    if judged.visible_mm is not None:
        size = findings.units.text(Kind.LENGTH, judged.visible_mm)
        blocks.append(
            Words(f"A move of less than {size} may stay hidden for more than three mornings.")
        )
    blocks.append(Words("Print this list again after a bump."))
    return blocks


def _suspect(findings: Findings, judged: DriftFinding, gaps: Gaps) -> list[Block]:
    newest, oldest = judged.outstanding[-1], judged.outstanding[0]
    blocks: list[Block] = [
        Words(
            f"Something moved {when_text(judged, newest)}: {moved_text(findings, newest)}. It may "
            f"be {part_words(newest)}."
        ),
        Words(
            f"Suspect is each part made from {judged.day_text(oldest.suspects.first_day)} on, the "
            "morning of the last good check counted in."
        ),
        *_earlier(len(judged.outstanding) - 1),
        Heading("Put these aside"),
    ]
    blocks.append(_batches(judged, oldest, gaps, findings))
    blocks.append(Heading("What to measure on each"))
    blocks += _what_to_measure(findings, newest)
    blocks += _after()
    return blocks


def _earlier(count: int) -> list[Block]:
    """Return a word on moves before the newest that nobody put right."""
    if not count:
        return []
    moves = "move was" if count == 1 else "moves were"
    return [
        Words(
            f"{count} earlier {moves} not put right. The sizes below are those of the newest "
            "alone: measure all faces."
        )
    ]


def _batches(judged: DriftFinding, moved: Moved, gaps: Gaps, findings: Findings) -> Block:
    rows = tuple(
        (judged.day_text(day), first, last, "", "", "", "")
        for day, first, last in moved.suspects.rows
    )
    if not rows:
        gaps.words(
            "Which parts were made",
            (
                Missing(
                    "what was made on which day",
                    f"{findings.cell.file}: drift.production",
                    "the suspect part numbers follow from it",
                    "write a table with date, first and last number, and name it there",
                ),
            ),
        )
        return _by_hand()
    return Grid("suspects", "Made since then", _batch_heads(), rows)


def _batch_heads() -> tuple[Head, ...]:
    return (
        Head("day", "day"),
        Head("first", "first"),
        Head("last", "last"),
        Head("counted", "how many found", blank=True),
        Head("kept", "good", blank=True),
        Head("rework", "cut again", blank=True),
        Head("scrap", "thrown out", blank=True),
    )


def _by_hand() -> Grid:
    """Return an empty list to be filled in."""
    heads = tuple(Head(head.name, head.label, blank=True) for head in _batch_heads())
    return Grid(
        "suspects",
        "Write in what was made since the last good morning",
        heads,
        (("",) * len(heads),) * EMPTY_ROWS,
    )


def _what_to_measure(findings: Findings, moved: Moved) -> list[Block]:
    """Return suspect dimensions and faces, for the part that most likely moved."""
    best = next((one for one in moved.plausible if np.all(np.isfinite(one.u))), None)
    if best is None:
        return [
            Words(
                "Which part moved is not sure, so measure every face that a turn of the unit "
                "reaches.",
                "lack",
            )
        ]
    try:
        faces = findings.face_shifts(best.name, best.values)
    except Lacking as lacking:
        return [
            Words(
                f"How far the faces are off cannot be told yet: {lacking.missing[0].what}.", "lack"
            )
        ]
    blocks: list[Block] = [Words(f"Told for a move of {PARTS[best.name]}.")]
    dimensions = findings.dimension_shifts(faces)
    if dimensions:
        blocks += _dimensions(findings, dimensions)
    blocks.append(_faces(findings, faces))
    return blocks


def _dimensions(findings: Findings, shifts: tuple[DimensionShift, ...]) -> list[Block]:
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    by_size: dict[tuple[str, str, str, str], list[str]] = {}
    hardly: dict[str, None] = {}
    for one in sorted(shifts, key=lambda one: -firm(one.share or 0.0)):
        if one.share is not None and one.share < MEASURE_FROM:
            hardly[one.name] = None
            continue
        share = "-" if one.share is None else number_text(min(100.0 * one.share, 1e6), "%")
        does = "out" if one.share is not None and one.share >= 1.0 else "measure it"
        off = number_text(units.shown(Kind.LENGTH, one.by_mm), unit)
        by_size.setdefault((one.name, off, share, does), []).append(one.station)
    blocks: list[Block] = []
    if by_size:
        heads = (
            Head("dimension", "size on the drawing"),
            Head("stations", "stations"),
            Head("off", "comes out off by", unit),
            Head("share", "of what is allowed", "%"),
            Head("does", "so"),
            Head("measured", "measured", unit, blank=True),
            Head("who", "who", blank=True),
        )
        rows = tuple(
            (name, ", ".join(stations), off, share, does, "", "")
            for (name, off, share, does), stations in by_size.items()
        )
        blocks.append(Grid("dimensions", "Suspect sizes, the worst first", heads, rows))
    plain = [name for name in hardly if all(name != key[0] for key in by_size)]
    if plain:
        blocks.append(
            Words("Hardly touched, by less than 10 % of what is allowed: " + ", ".join(plain) + ".")
        )
    return blocks


def _faces(findings: Findings, shifts: tuple[FaceShift, ...]) -> Grid:
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    by_shift: dict[tuple[str, ...], list[str]] = {}
    for one in shifts:
        shown = [number_text(units.shown(Kind.LENGTH, value), unit) for value in one.by_mm]
        depth = "-"
        if one.depth_mm is not None:
            depth = number_text(units.shown(Kind.LENGTH, one.depth_mm), unit)
        by_shift.setdefault((one.face, *shown, depth), []).append(one.station)
    heads = (
        Head("face", "face"),
        Head("stations", "stations"),
        *(Head(axis, f"off by, part {axis}", unit) for axis in "xyz"),
        Head("depth", "too high (+) or too deep (-)", unit),
    )
    rows = tuple((key[0], ", ".join(stations), *key[1:]) for key, stations in by_shift.items())
    return Grid("faces", "How far off each face was cut", heads, rows)


def _after() -> list[Block]:
    return [
        Heading("What to do"),
        Steps(
            (
                Step("aside", "Put each of these parts aside. Tie a red tag to each box of parts."),
                Step(
                    "newest",
                    "Measure the newest part first, then the oldest.",
                    see="The oldest is good: go back from the newest until a good one is found.",
                    why="The day of the move is not always sure.",
                ),
                Step(
                    "decide",
                    "Have the person in charge decide for each: good, cut again, or thrown out.",
                    boxes=(
                        Box("decided_by", "name"),
                        Box("decided_date", "date"),
                        Box("customer_told", "customer told where parts are gone", form="tick"),
                    ),
                ),
            )
        ),
    ]
