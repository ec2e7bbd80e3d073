"""Where on the table and which way round does it go?

What it answers
---------------
Which places on the T-slots let the unit stand, be clamped and be reached: every slot under every
row of lugs, in every yaw, judged for travel, head room, hoses, table edge and guards.  Whether the
fixture's flange goes on the platter, with how many bolts and at which clocking, and what drilling
it again would leave.  How high the load comes while it tilts, where X and Y are safe, and in which
pose a tool may be changed.

Why it matters
--------------
A unit of this size has a handful of places on the table and often one that works: the motor, the
cable and the outermost part decide, not the bolts.  Finding that out with the unit on the crane
costs a day; finding it out at the first tool change costs a spindle.

When it can mislead
-------------------
Bodies are boxes and cylinders with the sizes entered: a fitting that sticks out and was not entered
is not seen.  Only what is entered is judged; every check left out is told.  A station counts as
reached by proof when the unit comes to the pose of its faces without meeting itself, the table or a
guard, and a tool comes all the way down; a program may go another way, which "clears" judges.  A
zero inside an outline, its blank or a body is judged without that, and told.  A hose may hang
anywhere its length lets it: where that is in the way, tying it is a condition.  A proof that stays
open is told as open, it costs no station.  Safe X and Y keep the unit off guards and column, they
do not keep the tool off the work.  Heights count the load, not the part of a tool that reaches
below it.  Tool changes are judged by the proofs of "changes" wherever they can be made; else with
the spindle over the load, the safe side, unless the changer has its own place clear of it.

Sources
-------
Geometry worked out exactly: rims and corners turned about the tilt line, intervals of place and
clocking; no sampling.  Frames and signs: ISO 841:2001.  Uncertainty of entries: JCGM 100:2008,
5.1.2.  Least bolts, pilot gap, room at a tool change with the spindle over the load: common
practice, no source.
"""

from __future__ import annotations

import math
import re
from typing import Final

from gudgeon.answer import Answer, Verdict
from gudgeon.findings import Findings
from gudgeon.findings.flange import FlangeMatch
from gudgeon.findings.place_judged import Place
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._fits_changes import judge_changes
from gudgeon.questions._fits_flange import judge_flange
from gudgeon.questions._fits_judge import (
    Says,
    caution,
    judge_heights,
    judge_place,
    listed,
    unique,
)
from gudgeon.questions._fits_proven import SOURCE, judge_proofs
from gudgeon.questions._fits_show import seat_text
from gudgeon.questions._shared import as_order

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "fits"
ASKS: Final = "Where on the table and which way round does it go?"
PLACE: Final = 20

SOURCES: Final = (
    "exact plane geometry of turned rims and corners, intervals of place and clocking",
    "ISO 841:2001 for frames and signs",
    "JCGM 100:2008, 5.1.2 for the uncertainty of margins",
    "least bolts, pilot gap, spindle over the load at a change: common practice, no source",
)


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    says = Says()
    with findings.part(0.0, 0.25):
        place = judge_place(findings, says)
        match = judge_flange(findings, says)
    with findings.part(0.25, 0.6):
        if judge_heights(findings, says):
            judge_changes(findings, says)
    with findings.part(0.6, 1.0):
        proven = judge_proofs(findings, says, place)
    caution(findings, says, place)
    wanted = tuple(unique([*says.open, *says.wanted]))
    verdict = (
        Verdict.NO
        if says.broken
        else Verdict.CANNOT_TELL
        if says.open
        else Verdict.YES_IF
        if says.conditions
        else Verdict.YES
    )
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=_headline(findings, verdict, says, place, match),
        next_step=_next_step(verdict, says, place),
        figures=tuple(says.figures),
        tables=tuple(says.tables),
        pictures=tuple(says.pictures),
        flips=" ".join(says.flips) or None,
        fix=as_order(says.mends[0]) if says.mends else None,
        assumed=_told_once(says.assumed),
        missing=wanted,
        cautions=tuple(says.cautions),
        sources=(*SOURCES, SOURCE) if proven else SOURCES,
    )


def _told_once(assumed: list[str]) -> tuple[str, ...]:
    """Return each assumption once; what several missing entries leave unjudged in one line."""
    reasons = [text.partition(":")[0] for text in assumed if text.startswith("Not judged, ")]
    told: dict[str, None] = {}
    for text in assumed:
        reason = text.partition(":")[0]
        several = reasons.count(reason) > 1
        told[f"{reason}: entries are missing." if several else text] = None
    return tuple(told)


def _headline(
    findings: Findings,
    verdict: Verdict,
    says: Says,
    place: Place | None,
    match: FlangeMatch | None,
) -> str:
    units = findings.units
    where = ""
    if place is not None:
        letter, at = _tilt_place(findings, place)
        where = (
            f"the {'tilt' if findings.has_tilt else 'rotary'} axis at {letter} "
            f"{units.text(Kind.LENGTH, at)}"
        )
    bolts = ""
    if match is not None:
        bolts = f"{match.bolts_here} of {match.bolts_possible} flange bolts go in"
    if verdict is Verdict.NO:
        more = len(says.broken) - 1
        also = f"; {more} more reason{'s' if more > 1 else ''} below" if more else ""
        seat = f" ({seat_text(findings, place)})" if place is not None else ""
        start = f"It does not fit with {where}{seat}" if place is not None else "It does not fit"
        return f"{start}: {says.broken[0]}{also}."
    if verdict is Verdict.CANNOT_TELL:
        first, more = says.open[0], len(unique([*says.open, *says.wanted])) - 1
        also = f" and {more} more" if more else ""
        known = f" So far: {bolts}." if bolts else ""
        return f"Cannot tell yet where it goes: {first.what}{also} missing.{known}"
    tight = ""
    if place is not None and place.tightest is not None:
        room = units.text(Kind.LENGTH, place.tightest.margin_mm, 3 if units.inch else 1)
        tight = f"; least room is {room}, at {place.tightest.note}"
    stations = ""
    if place is not None and place.stations[1]:
        reached, of = place.stations
        stations = f", {'all' if reached == of else reached} {of} stations reached"
    bolts = f", {bolts}" if bolts else ""
    text = f"with {where}{stations}{bolts}" if where else bolts.removeprefix(", ")
    if verdict is Verdict.YES_IF:
        # The figures behind a condition stand in the order below; here it is said in short.
        keep = listed(
            [re.sub(r" \([^()]*(?:\([^()]*\)[^()]*)*\)$", "", c) for c in says.conditions[:2]]
        )
        more = len(says.conditions) - 2
        also = f" ({more} more below)" if more > 0 else ""
        return f"It fits, if {keep}{also}{': ' if text else ''}{text}."
    return f"It fits {text}{tight}." if text else f"It fits{tight}."


def _next_step(verdict: Verdict, says: Says, place: Place | None) -> str:
    if verdict is Verdict.NO:
        return as_order(says.mends[0]) if says.mends else "Mend what is named, and ask again."
    if verdict is Verdict.CANNOT_TELL:
        return as_order(says.open[0].how_to_get_it)
    keep = ""
    if says.conditions:
        keep = " Keep to this: " + "; ".join(says.conditions) + "."
    if place is None:
        return "Bolt the fixture on." + keep
    return "Bolt the unit down in this place, then touch it to find its axis lines." + keep


def _tilt_place(findings: Findings, place: Place) -> tuple[str, float]:
    along_x = abs(math.cos(place.yaw_rad)) >= abs(math.sin(place.yaw_rad))
    return ("Y" if along_x else "X"), place.tilt_mm
