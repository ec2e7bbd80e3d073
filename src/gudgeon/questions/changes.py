"""Where may a tool be changed, and where may the program end?

What it answers
---------------
For every listed tool, and for each tool in exchange for each other, the proven map of tilt and turn
in which a change is clear: the tool on its way down, the sweep of the changer's arm and the spindle
nose against table, unit and load, wherever the change leaves X and Y.  The best pose for a change,
the proven way there from the poses that are worked in, and the pose in which a program should end,
because the next one begins with a change.

Why it matters
--------------
A tool change is a rapid move that nobody programmed.  With a tower upright the arm comes down into
the work the first time the longest tool is called in the wrong pose; with the rule below at the end
of each program it never does.

When it can mislead
-------------------
Only tools with a length are judged.  A cell of the map counts as not clear if any pose in it is
not; the ranges that are told end within a tenth of a degree of where their proof does, and outside
them a pose may still be clear.  Where the arm's sweep is not entered, the tool and the nose alone
are judged, and that is said.

Sources
-------
Certified gaps over boxes of joint positions (see the page on clearance); nothing is sampled.  The
longer of the tools coming and going counts; the spindle may stand anywhere along an axis that the
change does not move: common practice, no source.
"""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Answer, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.changing import ChangingFinding, Room
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._change_ranges import (
    degrees,
    no_pose_words,
    park_range,
    place_words,
    range_table,
    range_words,
    shorter,
)
from gudgeon.questions._changes_show import (
    change_figures,
    change_pictures,
    map_table,
    pair_table,
    room_table,
    way_table,
)
from gudgeon.questions._proof_views import pose_views, tie_words
from gudgeon.questions._shared import as_order, cannot_tell

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "changes"
ASKS: Final = "Where may a tool be changed, and where may the program end?"
PLACE: Final = 65

SOURCES: Final = (
    "certified gaps over boxes of joint positions: supporting planes and interval bounds of "
    "turning; no sampling",
    "the longer of two tools counts, the spindle anywhere the change does not move it: common "
    "practice, no source",
)


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        found, rooms = findings.changing, findings.change_rooms
        hoses = [hang for hang in findings.change_hoses if hang.meets]
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="where a tool may be changed")
    verdict, headline, next_step, fix = _judged(findings, found)
    if hoses and verdict in (Verdict.YES, Verdict.YES_IF):
        ties = " and ".join(tie_words(findings, hang) for hang in hoses)
        if verdict is Verdict.YES:
            headline = f"Tools may be changed in every tilt and turn, if {ties}."
        else:
            headline = f"{headline.removesuffix('.')}, and if {ties}."
        verdict, next_step = Verdict.YES_IF, f"Tie up the hoses; then: {next_step}"
    tables = (
        range_table(findings, found),
        room_table(findings, rooms),
        map_table(found),
        pair_table(found),
        way_table(findings, found),
    )
    worst = found.together.worst
    tool = next(
        (item.bodies for item in found.maps if worst is not None and item.map.worst is worst),
        found.maps[0].bodies,
    )
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=next_step,
        figures=tuple(change_figures(findings, found, rooms)),
        tables=tuple(table for table in tables if table is not None),
        pictures=(
            *change_pictures(findings, found),
            *pose_views(findings, "worst", "Where a change would hit", worst, tool),
        ),
        flips=_flips(findings, found, rooms),
        fix=fix,
        assumed=_assumed(findings, found),
        missing=_missing(findings, found, verdict),
        cautions=_cautions(found),
        sources=(*SOURCES, *findings.scene.sources),
    )


def _judged(findings: Findings, found: ChangingFinding) -> tuple[Verdict, str, str, str | None]:
    many = "every tool" if len(found.maps) > 1 else found.maps[0].hand.name
    if found.together.clear:
        return (
            Verdict.YES,
            f"No restriction needed: {many} may be changed in every tilt and turn, and a program "
            "may end in any of them.",
            "Change tools where it suits the work.",
            None,
        )
    beside = None
    if found.beside is not None:
        place = place_words(findings, found.beside)
        beside = f"With the spindle at {place} every tilt and turn is clear."
    if found.park is not None:
        letter = _letters(findings)
        _, turn = park_range(findings, found.park)
        pose = (
            f"{letter[0]}{degrees(found.park.tilt_rad):g} {letter[1]}"
            f"{degrees(found.park.turn_rad):g}"
        )
        return (
            Verdict.YES_IF,
            f"Tools may be changed, if the unit stands at {range_words(findings, found)}.",
            as_order(
                f"before each tool change and at the end of the program take Z to the top, then "
                f"turn to {pose}" + ("" if turn == "any turn" else f"; keep {letter[1]} still")
            ),
            beside,
        )
    if beside is not None and found.beside is not None:
        place = place_words(findings, found.beside)
        return (
            Verdict.YES_IF,
            f"Tools may be changed, if the spindle stands at {place}.",
            f"Before each tool change and at the end of the program go to {place} with Z at "
            "the top.",
            None,
        )
    if not (found.together.cells == 1).any():
        return (
            Verdict.CANNOT_TELL,
            "Cannot tell yet where a tool may be changed: no pose could be proven, none refuted.",
            "Enter what stands on the table in simpler bodies, and ask again.",
            None,
        )
    return (
        Verdict.NO,
        as_order(no_pose_words(found)),
        "Change tools with the unit off the table, or use a shorter tool.",
        f"A shorter tool than {found.maps[0].hand.name}, or a lower fixture.",
    )


def _letters(findings: Findings) -> tuple[str, str]:
    senses = findings.senses
    return senses.tilt_letter or "", senses.rotary_letter


def _flips(findings: Findings, found: ChangingFinding, rooms: tuple[Room, ...]) -> str | None:
    """Return which change of length would change the verdict."""
    units, longest = findings.units, found.maps[0].hand.name
    own = [room for room in rooms if room.tool == longest]
    less = shorter(findings, found, rooms)
    if less is not None:
        return f"{longest} shorter by {less[0]} could be changed at tilt {less[1]:g} deg too."
    if own and found.together.clear:
        least = min(own, key=lambda room: room.room_mm)
        spare = units.text(Kind.LENGTH, least.room_mm - found.need_mm, 2, limit="max")
        return f"A tool longer than {longest} by {spare} would need a restriction."
    return None


def _assumed(findings: Findings, found: ChangingFinding) -> tuple[str, ...]:
    told = [*findings.ranges.assumed]
    if findings.cell.placement.clearance is None:
        told += findings.asked_told
    told += [*found.assumed, *findings.scene.assumed]
    told += [text for text in findings.scene.left_out if "guard" not in text.lower()]
    told.append("Guards, column and door are left out: a change meets them with or without unit.")
    told += [
        f"{item.hand.name} is taken as a thick round bar: {item.hand.guessed.what} is not entered."
        for item in found.maps
        if item.hand.guessed is not None
    ]
    return tuple(dict.fromkeys(told))


def _missing(findings: Findings, found: ChangingFinding, verdict: Verdict) -> tuple[Missing, ...]:
    file = findings.cell.file
    wanted: list[Missing] = []
    if verdict is Verdict.CANNOT_TELL:
        wanted.append(
            Missing(
                "simpler bodies on the table",
                f"{file}: unit.boxes",
                "no pose could be proven with the work allowed",
                "enter boxes and cylinders instead of detailed models",
            )
        )
    changer = findings.cell.machine.changer
    if changer.arm_half_depth is None and changer.arm_half_width is None:
        wanted.append(
            Missing(
                "sweep of the changer's arm",
                f"{file}: machine.changer.arm_half_depth",
                "the arm beside the tool is not judged without it",
                "measure how far the arm with its widest tool swings either side of the spindle "
                "line, along Y and X",
            )
        )
    wanted += [item.hand.guessed for item in found.maps if item.hand.guessed is not None]
    wanted += [item for item in findings.scene.missing if "guard" not in item.where]
    first: dict[str, Missing] = {}
    for item in wanted:
        first.setdefault(item.where, item)
    return tuple(first.values())


def _cautions(found: ChangingFinding) -> tuple[str, ...]:
    told = []
    park = found.park
    if park is not None and (
        park.stops.stop(4, -1) is not None or park.stops.stop(4, 1) is not None
    ):
        told.append("Do not let the platter turn while a tool is changed.")
    blocked = [way.pose.name for way in found.ways if way.gap is not None]
    if blocked:
        told.append(
            f"From {', '.join(blocked)} turning over the work is not proven for every tool: move X "
            "and Y clear of the work first."
        )
    return tuple(told)
