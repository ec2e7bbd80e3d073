"""Which work offsets does each station get?

What it answers
---------------
The zero of every face at every station, in the pose in which that face is cut, as it is entered in
the control: machine X, Y, Z of the spindle's gauge point standing on the zero.  Poses that are not
declared are worked out from the direction of the face, and every other pose within the limits is
listed.  Each offset comes with its uncertainty, a check against the travel, and the events after
which it is stale.

Why it matters
--------------
Probing a zero on every face of every part costs an hour and reads the same two axis lines over and
over.  Counted from the lines, one good touch serves them all; a wrong sign or a forgotten axis
offset is then also wrong everywhere, so the way each zero was counted is shown.

When it can mislead
-------------------
Offsets counted from drawings alone (no touches) are good for setting up, not for a finish cut.  The
fixture is taken to sit square on the platter face and parallel at zero; the part is taken to sit on
its station as drawn.  Travel is checked for the zero, not for the whole cut around it.

Sources
-------
ISO 6983-1 for the words of the zero shift; ISO 841:2001 for letters and signs; JCGM 100:2008, 5.1.2
and 5.2.2 for the uncertainty; two-axis inverse: R. M. Murray, Z. Li, S. S. Sastry, A Mathematical
Introduction to Robotic Manipulation (1994), chapter 3, from memory.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from typing import Final

from gudgeon.answer import Answer, Figure, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.offsets import OffsetsFinding, ZeroFound
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.ties import firm
from gudgeon.questions._offset_tables import (
    letters_of,
    offsets_table,
    picture,
    poses_table,
    reach_table,
    stale_table,
    tools_off,
)
from gudgeon.questions._shared import cannot_tell, figure

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "offsets"
ASKS: Final = "Which work offsets does each station get?"
PLACE: Final = 80

_SIDEWAYS_RAD: Final = math.radians(1.0)
"""A face this far from facing up is cut on its side, which may be meant."""

_DOWN_RAD: Final = math.radians(91.0)
"""Beyond this a face looks down, and no upright spindle can cut it."""

_SOURCES: Final = (
    "ISO 6983-1: words of the zero shift",
    "ISO 841:2001: letters and signs of the axes",
    "JCGM 100:2008, 5.1.2 and 5.2.2: law of propagation of uncertainty",
)


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        found = findings.offsets
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="which work offsets the stations get")
    try:
        reference_mm = findings.length_reference_mm
    except Lacking as lacking:
        so_far = _answer(findings, found, 0.0, "Z as for lengths from the gauge point; ")
        return cannot_tell(NAME, lacking, about="the Z of the work offsets", so_far=so_far)
    return _answer(findings, found, reference_mm, "")


def _answer(findings: Findings, found: OffsetsFinding, reference_mm: float, remark: str) -> Answer:
    zeros = found.zeros
    verdict, headline, next_step, fix = _judge(findings, found)
    tables = [
        offsets_table(findings, found, reference_mm, remark),
        stale_table(findings, found),
    ]
    for table in (poses_table(findings, found), reach_table(findings, found)):
        if table.rows:
            tables.append(table)
    placed = [zero for zero in zeros if zero.point_mm is not None]
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=next_step,
        figures=_figures(findings, found),
        tables=tuple(tables),
        pictures=(picture(findings, found),) if placed else (),
        flips=_flips(findings, placed),
        fix=fix,
        assumed=_assumed(findings, found),
        missing=_would_sharpen(findings, found),
        cautions=_cautions(findings, found),
        sources=_SOURCES,
    )


def _judge(findings: Findings, found: OffsetsFinding) -> tuple[Verdict, str, str, str | None]:
    """Return verdict, headline, next step and fix."""
    units, zeros = findings.units, found.zeros
    count = len(zeros)
    first = zeros[0]
    down = [z for z in zeros if z.off_up_rad is not None and z.off_up_rad > _DOWN_RAD]
    if down:
        which = _names(down)
        return (
            Verdict.NO,
            f"In the declared pose {which} {_verb(down, 'looks', 'look')} away from the spindle, "
            f"{_deg(down[0].off_up_rad or 0.0)} from up.",
            'Ask "axes" and jog both axes before anything else: a sense or a pose has the wrong '
            "sign.",
            _better_pose(findings, down[0]),
        )
    lost = [z for z in zeros if z.angles_rad is None]
    if lost:
        off = lost[0].facing.shortfall_rad if lost[0].facing else 0.0
        why = f"{_deg(off)} short at best" if off > 0.0 else "beyond a limit of the unit"
        return (
            Verdict.NO,
            f"No pose brings {_names(lost)} to the spindle: {why}.",
            "Turn the part at its station, or cut that face in another set-up.",
            "Give the station another turn, so that the face comes up within the limits.",
        )
    beyond = [z for z in zeros if z.beyond]
    if beyond:
        return (
            Verdict.NO,
            f"The pose of {_names(beyond)} lies beyond the limits of the "
            f"{' and '.join(beyond[0].beyond)} axis.",
            "Correct the pose in parts.faces, or the range in [unit].",
            _better_pose(findings, beyond[0]),
        )
    outside = [z for z in zeros if z.outside]
    if outside:
        text, shift = _outside_words(findings, outside)
        return (
            Verdict.NO,
            f"{len(outside)} of {count} zeros {_verb(outside, 'lies', 'lie')} outside the travel: "
            f"{text}.",
            "Move the unit or the stations before entering any offset.",
            shift,
        )
    struck = _beyond_safe(findings, zeros)
    if struck:
        lengths = findings.units.text
        zero, letter, short = max(struck, key=lambda item: firm(item[2]))
        return (
            Verdict.NO,
            f"{len({id(item[0]) for item in struck})} of {count} zeros "
            f"{_verb({id(item[0]) for item in struck}, 'lies', 'lie')} inside the travel, but the "
            f"unit would meet a guard or the column on the way: {zero.face} at station "
            f"{zero.station} {_struck_words(lengths(Kind.LENGTH, short), short, letter)}.",
            'Ask "fits" for the safe X and Y, and move the unit or the stations before entering '
            "any offset.",
            None,
        )
    sure = _worst(found)
    wanted = findings.cell.readings.wanted
    conditions = []
    if not found.measured:
        conditions.append("every zero is touched before a finish cut (the lines are not touched)")
    else:
        conditions += findings.touches_trusted_if
        if sure > findings.wanted_mm:
            said = "wanted" if wanted is not None else "usual"
            conditions.append(
                f"+-{units.text(Kind.LENGTH, sure)} is enough, where "
                f"{units.text(Kind.LENGTH, findings.wanted_mm)} is {said}"
            )
    leaning = findings.error_with_open_angles_mm if found.measured else None
    lean_matters = leaning is not None and wanted is not None and leaning > wanted.value >= sure
    if lean_matters:
        conditions.append("the axis lines lie square to the machine, which no touch shows yet")
    if found.words_short and found.words_declared:
        conditions.append(f"{found.words_short} more offset words are found")
    known = f", known to +-{units.text(Kind.LENGTH, sure)} or better" if found.stated else ""
    checked = _travel_known(findings)
    inside = f", {'all ' if count > 1 else ''}inside the travel" if checked else ""
    offsets = f"{count} work offset{'s' if count > 1 else ''}"
    pose = _pose_words(findings, first.angles_rad or ())
    enter = (
        f"Enter the table of offsets, send the unit to {pose}, and check {first.label} with an "
        "indicator or edge finder before the first cut."
    )
    if conditions:
        step = enter
        fix = None
        if found.measured and (
            lean_matters or sure > findings.wanted_mm or findings.touches_trusted_if
        ):
            fix = 'Take the further reading that "turns" names, and ask again.'
        if not found.measured:
            step = 'Touch the axis lines in the steps that "turns" names, then ask again.'
            fix = "Touch the two axis lines once: it serves every offset in the table."
        return (
            Verdict.YES_IF,
            f"{offsets}{known}{inside}, if {' and '.join(conditions)}.",
            step,
            fix,
        )
    return (
        Verdict.YES,
        f"{offsets} from the touched axis lines{known}{inside}.",
        enter,
        None,
    )


def _figures(findings: Findings, found: OffsetsFinding) -> tuple[Figure, ...]:
    units, zeros = findings.units, found.zeros
    wanted = findings.cell.readings.wanted
    figures = [
        Figure("offsets_count", "Work offsets", float(len(zeros)), note="stations times faces"),
        figure(
            units,
            Kind.LENGTH,
            "worst_uncertainty",
            "Least sure coordinate, +- (k = 2)",
            _worst(found) if found.stated else None,
            limit=wanted.value if wanted else None,
            limit_kind="max" if wanted else None,
            note="axis lines and entries together"
            if found.stated
            else "no entry or reading states an uncertainty",
        ),
        Figure(
            "outside_travel",
            "Zeros outside the travel",
            float(sum(bool(zero.outside) for zero in zeros)) if _travel_known(findings) else None,
            limit=0.0,
            limit_kind="max",
            note="a zero exactly on a limit is inside"
            if _travel_known(findings)
            else "the travel is not given",
        ),
        *_safe_figure(findings, zeros),
        Figure(
            "words_short",
            "Zeros without an offset word",
            float(found.words_short),
            note="" if found.words_declared else "only G54 to G59 are standard",
        ),
    ]
    room = _least_room(findings, zeros)
    if room is not None:
        figures.append(
            figure(
                units,
                Kind.LENGTH,
                "least_room",
                f"Least room between a zero and the end of travel ({room[1]})",
                room[0],
                plus_minus=2.0 * room[2] if room[2] > 0.0 else None,
                limit=0.0,
                limit_kind="min",
                note=room[3],
            )
        )
    return tuple(figures)


def _beyond_safe(
    findings: Findings, zeros: Sequence[ZeroFound]
) -> list[tuple[ZeroFound, str, float]]:
    """Return zeros that the unit's safe travel does not reach, with axis and what is missing."""
    place = findings.declared_place
    found: list[tuple[ZeroFound, str, float]] = []
    if place is None or not findings.walls:
        return found
    for zero in zeros:
        if zero.point_mm is None:
            continue
        for index in (0, 1):
            at = zero.point_mm[index]
            short = place.safe.short(index, at, at)
            if short is not None:
                found.append((zero, "XY"[index], short))
    return found


def _struck_words(size: str, short_mm: float, letter: str) -> str:
    return f"by {size} in {letter}" if short_mm > 1e-9 else f"just touches it in {letter}"


def _safe_figure(findings: Findings, zeros: Sequence[ZeroFound]) -> list[Figure]:
    """Return how many zeros lie outside the safe travel, where guards are entered."""
    if findings.declared_place is None or not findings.walls:
        return []
    return [
        Figure(
            "outside_safe_limits",
            "Zeros where the unit would meet a guard, the column or the end of travel",
            float(len({id(zero) for zero, _, _ in _beyond_safe(findings, zeros)})),
            limit=0.0,
            limit_kind="max",
            note='safe X and Y: see "fits"',
        )
    ]


def _flips(findings: Findings, placed: Sequence[ZeroFound]) -> str | None:
    room = _least_room(findings, placed)
    if room is None or room[0] < 0.0:
        return None
    distance = findings.units.text(Kind.LENGTH, room[0])
    return (
        f"The zero of {room[3]} stands {distance} inside the {room[1]} end of travel; with the "
        "unit further that way it cannot be reached."
    )


def _least_room(
    findings: Findings, zeros: Sequence[ZeroFound]
) -> tuple[float, str, float, str] | None:
    """Return room, end of travel, standard uncertainty and zero of the one nearest to an end."""
    machine = findings.cell.machine
    found = []
    for zero in zeros:
        if zero.point_mm is None:
            continue
        for index, travel in enumerate((machine.travel_x, machine.travel_y)):
            if travel is None:
                continue
            at, letter = zero.point_mm[index], "XY"[index]
            name = f"{zero.face} at station {zero.station}"
            found.append((at - travel[0].value, f"{letter}-", zero.u_mm[index], name))
            found.append((travel[1].value - at, f"{letter}+", zero.u_mm[index], name))
    if not found:
        return None
    room, end, u, name = min(found, key=lambda item: firm(item[0]))
    return room + 0.0, end, u, name


def _outside_words(findings: Findings, outside: list[ZeroFound]) -> tuple[str, str | None]:
    """Return where the worst zero lies, and the least move of the unit that mends all."""
    machine, units = findings.cell.machine, findings.units
    if all(set(zero.outside) == {"Z"} for zero in outside):
        return (
            f"{_names(outside)} above the top of Z",
            "Lower the stations, or take away the riser.",
        )
    room = _least_room(findings, outside)
    assert room is not None  # an X or Y outside means that travel is given
    text = f"{room[3]} by {units.text(Kind.LENGTH, -room[0])} at {room[1]}"
    moves = []
    for index, travel in enumerate((machine.travel_x, machine.travel_y)):
        at = [zero.point_mm[index] for zero in findings.offsets.zeros if zero.point_mm]
        if travel is None:
            continue
        least, most = travel[0].value - min(at), travel[1].value - max(at)
        if least > most:
            return text, "Bring the outermost stations closer together: no place serves them all."
        move = min(max(0.0, least), most)
        if move != 0.0:
            moves.append(f"{units.text(Kind.LENGTH, move, sign=True)} in {'XY'[index]}")
    if not moves:
        return text, None
    return text, f"Move the unit by {' and '.join(moves)}: then every zero is inside."


def _pose_words(findings: Findings, angles_rad: tuple[float, ...]) -> str:
    """Return a pose as it is programmed, such as "A90 C0"; a unit without tilt has one angle."""
    letters = letters_of(findings)[-len(angles_rad) :] if angles_rad else ()
    return " ".join(
        f"{letter}{math.degrees(angle) + 0.0:g}"
        for letter, angle in zip(letters, angles_rad, strict=True)
    )


def _better_pose(findings: Findings, zero: ZeroFound) -> str | None:
    if zero.facing is None or not zero.facing.poses:
        return None
    best = zero.facing.poses[0]
    words = _pose_words(findings, best.angles_rad)
    return f"For {zero.face} at station {zero.station} write the pose {words}."


def _assumed(findings: Findings, found: OffsetsFinding) -> tuple[str, ...]:
    told = list(found.assumed)
    leaning = findings.error_with_open_angles_mm if found.measured else None
    if leaning is not None:
        told.append(
            "Angles of the axis lines that no touch shows are taken as zero; usual squareness "
            f"leaves +-{findings.units.text(Kind.LENGTH, leaning)} open at the worst part point "
            '("turns" names the touches that settle it).'
        )
    machine = findings.cell.machine
    absent = [
        letter
        for letter, travel in zip(
            "XYZ", (machine.travel_x, machine.travel_y, machine.travel_z), strict=True
        )
        if travel is None
    ]
    if absent:
        told.append(f"Travel in {', '.join(absent)} is not given, so it was not checked.")
    if findings.cell.control.lengths_from == "work":
        told.append(
            "Lengths are touched off: each tool's stored length holds the machine Z of the "
            "reference surface, so the offset's Z is the zero's Z less control.length_reference."
        )
    return tuple(told)


def _would_sharpen(findings: Findings, found: OffsetsFinding) -> tuple[Missing, ...]:
    file, missing = findings.cell.file, []
    if not found.measured:
        missing.append(
            Missing(
                "touches of the axis lines",
                f"{file}: readings.file",
                "until the lines are touched the offsets are only as good as the drawings",
                'ask "turns", which names the first touch',
            )
        )
    if found.words_short:
        missing.append(
            Missing(
                f"{found.words_short} more words of work offsets",
                f"{file}: control.offset_words",
                "words beyond G59 differ from control to control",
                "list them in order from the control's programming manual",
            )
        )
    return tuple(missing)


def _cautions(findings: Findings, found: OffsetsFinding) -> tuple[str, ...]:
    said = [
        "Run each new offset first with the tool well above the part, at low rapid, hand on the "
        "stop, and check what the control shows as distance to go.",
    ]
    if not found.measured:
        said.append("The axis lines are not touched: do not finish a part from these offsets.")
    sideways = [
        zero
        for zero in found.zeros
        if zero.off_up_rad is not None and _SIDEWAYS_RAD < zero.off_up_rad <= _DOWN_RAD
    ]
    if sideways:
        said.append(
            f"{_names(sideways)} {_verb(sideways, 'does', 'do')} not face the spindle in the "
            f"declared pose ({_deg(sideways[0].off_up_rad or 0.0)} off): right only if that face "
            "is cut with the side of the tool."
        )
    travel = findings.cell.machine.travel_z
    if travel is not None:
        late = sorted(
            {
                str(name)
                for zero in found.zeros
                if zero.point_mm is not None
                for name in tools_off(findings, 0.0, travel[1].value - zero.point_mm[2])[1]
            }
        )
        if late:
            said.append(
                f"Tool {', '.join(late)} is too long to stand on every zero below the top of Z: "
                "see the table of reach."
            )
    near = _least_room(findings, found.zeros)
    if near is not None and 0.0 <= near[0] < 2.0 * near[2]:
        said.append(
            f"{near[3]} lies nearer to the end of {near[1]} travel than it is known: jog there "
            "before trusting it."
        )
    return tuple(said)


def _worst(found: OffsetsFinding) -> float:
    return max((2.0 * max(zero.u_mm) for zero in found.zeros), default=0.0)


def _travel_known(findings: Findings) -> bool:
    machine = findings.cell.machine
    return machine.travel_x is not None and machine.travel_y is not None


def _names(zeros: Sequence[ZeroFound]) -> str:
    """Name up to three zeros by face and station."""
    named = [f"{zero.face} at station {zero.station}" for zero in zeros[:3]]
    more = f" and {len(zeros) - 3} more" if len(zeros) > 3 else ""
    return ", ".join(named) + more


def _verb(things: Collection[object], one: str, several: str) -> str:
    return one if len(things) == 1 else several


def _deg(angle_rad: float) -> str:
    degrees = math.degrees(angle_rad)
    return f"{degrees:.3f} deg" if degrees < 1.0 else f"{degrees:.1f} deg"
