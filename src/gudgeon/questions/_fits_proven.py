"""What the proofs of clearance add to the question `fits`: stations reached, what costs them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from gudgeon.answer import Column, Figure, Missing, Picture, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.hose_bodies import HANGS
from gudgeon.findings.place_found import Change, Closest, Lost, ProvenFinding, ProvenPlace
from gudgeon.findings.place_judged import Place
from gudgeon.findings.place_ways import Fitted, Way
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._fits_judge import Says, listed
from gudgeon.questions._proof_views import angle_text, pair_text
from gudgeon.questions._shared import figure

__all__ = ["SOURCE", "judge_proofs"]

SOURCE: Final = (
    "certified lower bound of every gap over the whole motion, axis lines' uncertainty included; "
    "depth of an overlap sampled, for the figure alone"
)

MOST_ROWS: Final = 20
EXACT_ROWS: Final = 3
"""Places, the best first, of which the least room is worked out exactly."""

REASONS: Final = {
    "travel": "out of travel",
    "turning": "unit turning",
    "table": "load over the table",
    "guard": "guards, column, door",
    "tool": "tool on its way",
}


def judge_proofs(findings: Findings, says: Says, place: Place | None) -> bool:
    """Add which stations are reached by proof, what costs the others, and what wins them back.

    Returns whether anything was proven.
    """
    if place is None:
        return False
    try:
        if not findings.zeros_on_unit:
            return False
    except Lacking:
        return False  # told with the place
    try:
        with findings.part(0.0, 0.5):
            found = findings.proven
    except Lacking as lacking:
        says.wanted += lacking.missing
        what = lacking.missing[0].what
        says.assumed.append(f"Clearance is not proven for this place: {what} missing.")
        return False
    if found is None:
        return False
    _tell_assumed(says, found)
    alone = findings.untied
    says.figures += _figures(alone, found)
    with findings.part(0.5, 1.0):
        says.tables += _tables(alone, found)
    says.pictures += _pictures(alone, found)
    _tell_hung(says, found)
    here = found.place
    told = {margin.reason for margin in place.margins if not margin.kept}
    lost = [one for one in here.lost if not (one.reason == "travel" and "travel" in told)]
    if lost:
        _tell_lost(findings, says, found, lost)
    return True


def _tell_assumed(says: Says, found: ProvenFinding) -> None:
    for text in (*found.assumed, *found.left_out):
        if text not in says.assumed:
            says.assumed.append(text)


def _tell_lost(findings: Findings, says: Says, found: ProvenFinding, lost: list[Lost]) -> None:
    here = found.place
    certain = [one for one in lost if one.decided]
    if certain:
        words, _ = replace(here, lost=tuple(certain)).causes[0]
        first = next(one for one in certain if (" and ".join(one.between) or one.reason) == words)
        says.broken.append(
            f"{len(certain)} of {here.of} stations {'is' if len(certain) == 1 else 'are'} lost "
            f"({_cause(first)})"
        )
    for one in lost:
        if not one.decided:
            says.open.append(_undecided(findings, one))
    mends = [f"{change.words}: {_counted(change)}" for change in found.changes]
    says.mends[:0] = mends
    for name in found.without:
        says.flips.append(f"Without the {name} nothing is lost.")


def _tell_hung(says: Says, found: ProvenFinding) -> None:
    """Make it a condition that a hose is tied where it could hang into the way."""
    met: dict[tuple[str, str], None] = {}
    for one in found.hung:
        hoses = [name for name in one.between if name.endswith(HANGS)]
        others = [name for name in one.between if not name.endswith(HANGS)]
        if hoses:
            met[hoses[0].removesuffix(HANGS), others[0] if others else "another hose"] = None
    for hose in dict.fromkeys(hose for hose, _ in met):
        others = [other for name, other in met if name == hose]
        says.conditions.append(f"the {hose} is tied so that it cannot hang into {listed(others)}")
    if met:
        says.mends += [
            f"{change.words}: then it needs no tie on the way to a station"
            for change in found.changes
            if change.kind == "hose"
        ]


def _cause(one: Lost) -> str:
    """Return why a station is lost, in words that stand by themselves whatever is known."""
    what = REASONS[one.reason]
    at = ""
    if one.reason == "turning" and one.tilt_rad is not None:
        at = f" from tilt {angle_text(one.tilt_rad)} on"
    if not one.between:
        return f"{what}{at}"
    if len(one.between) == 1:
        return f"{what}: {one.between[0]} {'is left' if one.reason == 'travel' else 'is met'}{at}"
    return f"{what}: {' and '.join(one.between)} come too near to each other{at}"


def _undecided(findings: Findings, one: Lost) -> Missing:
    """Return what to get where a proof ended neither way: that is no station lost."""
    between = f" between {' and '.join(one.between)}" if one.between else ""
    return Missing(
        what=f"a proof that station {one.station}, {one.face} is reached",
        where=f"{findings.cell.file}: solids",
        why=f"{REASONS[one.reason]}: the gap{between} stays open within the work allowed",
        how_to_get_it="enter the bodies of that station in fewer and simpler pieces, or watch that "
        "motion by hand with the rapids at their lowest",
    )


def _counted(change: Change) -> str:
    if change.reached == change.of:
        return f"all {change.of} stations are reached then"
    return f"{change.reached} of {change.of} stations are reached then"


def _pictures(findings: Findings, found: ProvenFinding) -> tuple[Picture, ...]:
    """Return the tightest poses: of the unit in itself, and of all with tools and guards."""
    from gudgeon.drawing.pose_view import pose_pictures

    units = findings.units
    shown: list[Picture] = []
    ways = [way for way in found.fitted[0].ways if math.isfinite(way.way_mm)]
    worst = min(ways, key=lambda way: way.way_mm, default=None)
    if worst is not None and worst.worst is not None:
        size = units.text(Kind.LENGTH, abs(worst.way_mm))
        shown += pose_pictures(
            "own_gap",
            f"The unit at tilt {angle_text(worst.worst_tilt_rad)}: {' and '.join(worst.pair)}",
            findings.scene_of_unit,
            (),
            worst.worst.joint,
            worst.pair,
            worst.worst.points,
            size if worst.way_mm > 0.0 else f"{size} into each other",
            inch=units.inch,
        )
    near = found.closest
    lost = next((one for one in found.place.lost if one.gap is not None and one.decided), None)
    if lost is not None and lost.reason != "turning":
        where, gap, tool = f"Lost: station {lost.station}, {lost.face}", lost.gap, lost.tool
    elif near is not None:
        where, gap, tool = f"Tightest: station {near.station}, {near.face}", near.gap, near.tool
    else:
        return tuple(shown)
    assert gap is not None
    between = pair_text(gap)
    left = max(gap.upper_mm, 0.0)
    shown += pose_pictures(
        "tightest",
        f"{where}; {between}",
        findings.scene_of_all,
        findings.tool_bodies(tool) if tool is not None else (),
        gap.joint,
        gap.pair,
        gap.points,
        units.text(Kind.LENGTH, left) if left > 0.0 else "touches",
        inch=units.inch,
    )
    return tuple(shown)


def _figures(findings: Findings, found: ProvenFinding) -> list[Figure]:
    here, units = found.place, findings.units
    with_tools = "tools on their way, " if found.tools else ""
    note = f"{with_tools}unit turning in itself, table, guards"
    note += "; lost ones: see the table" if here.lost else ""
    if found.inside:
        note += (
            f"; at {found.inside} of them the zero lies so deep in an outline or body that the "
            "tool comes into it, and is not judged against it there"
        )
    shown = [
        Figure(
            "stations_proven",
            "stations reached, proven",
            float(here.reached),
            limit=float(here.of),
            limit_kind="min",
            note=note,
        )
    ]
    gaps = [way.way_mm for way in found.fitted[0].ways if math.isfinite(way.way_mm)]
    if gaps:
        worst = min(found.fitted[0].ways, key=lambda way: way.way_mm)
        shown.append(
            figure(
                units,
                Kind.LENGTH,
                "own_gap",
                "smallest gap between parts of the unit on its way to the faces",
                worst.way_mm,
                limit=findings.asked_mm,
                limit_kind="min",
                note=f"{' and '.join(worst.pair)} at tilt {angle_text(worst.worst_tilt_rad)}; "
                "negative: they overlap",
            )
        )
    if found.closest is not None:
        near = found.closest
        asked = near.gap.lower_mm - near.spare_mm
        shown.append(
            figure(
                units,
                Kind.LENGTH,
                "tightest",
                "smallest gap to tools, table and guards on the way to the zeros",
                near.gap.lower_mm,
                limit=asked,
                limit_kind="min",
                note=_where(near) + ("; beyond the margin that is entered" if asked == 0.0 else ""),
            )
        )
    return shown


def _where(near: Closest) -> str:
    with_tool = f", T{near.tool}" if near.tool is not None else ""
    where = f"station {near.station}, {near.face}{with_tool}"
    return f"{pair_text(near.gap)} ({REASONS[near.reason]}; {where})"


def _tables(findings: Findings, found: ProvenFinding) -> list[Table]:
    units, shown = findings.units, []
    mm, deg = units.unit(Kind.LENGTH), units.unit(Kind.ANGLE)
    if found.place.lost:
        rows = tuple(
            (
                one.station,
                one.face,
                REASONS[one.reason] + ("" if one.decided else ", not decided"),
                " and ".join(one.between),
                None if one.tilt_rad is None else units.shown(Kind.ANGLE, one.tilt_rad),
            )
            for one in found.place.lost
        )
        columns = (
            Column("station", "station"),
            Column("face", "face"),
            Column("reason", "why"),
            Column("between", "between"),
            Column("tilt", "at tilt", deg),
        )
        shown.append(Table("stations_lost", "Stations that are lost here", columns, rows))
    ways = [row for one in found.fitted for row in _way_rows(findings, one)]
    if ways:
        shown.append(
            Table(
                "ways",
                "The unit turning to its faces, with what could be fitted otherwise",
                (
                    Column("fitted", "fitted"),
                    Column("tilt", "to tilt", deg),
                    Column("gap_end", "gap there", mm),
                    Column("gap_way", "smallest on the way", mm),
                    Column("worst_tilt", "at tilt", deg),
                    Column("first_contact", "first contact", deg),
                    Column("between", "between"),
                    Column("lost", "stations lost"),
                    Column("of", "of"),
                ),
                tuple(ways),
            )
        )
    if found.changes:
        shown.append(
            Table(
                "changes",
                "What wins stations back, the best first, and of those what costs least",
                (
                    Column("kind", "kind"),
                    Column("what", "what"),
                    Column("reached", "stations reached"),
                    Column("of", "of"),
                    Column("name", "name"),
                ),
                tuple(
                    (one.kind, one.words, float(one.reached), float(one.of), one.name)
                    for one in found.changes
                ),
            )
        )
    try:
        places = findings.proven_places
    except Lacking:
        places = ()
    if places:
        shown.append(_places(findings, places))
    return shown


def _way_rows(findings: Findings, one: Fitted) -> list[tuple[str | float | None, ...]]:
    """Return the worst way to each tilt, where there is a gap to speak of."""
    units = findings.units
    by_tilt: dict[float, Way] = {}
    for way in one.ways:
        if math.isfinite(way.way_mm):
            key = round(way.tilt_rad, 6)
            known = by_tilt.get(key)
            by_tilt[key] = way if known is None or way.way_mm < known.way_mm else known
    return [
        (
            one.name,
            units.shown(Kind.ANGLE, way.tilt_rad),
            units.shown(Kind.LENGTH, way.end_mm),
            units.shown(Kind.LENGTH, way.way_mm),
            units.shown(Kind.ANGLE, way.worst_tilt_rad),
            None if way.contact_tilt_rad is None else units.shown(Kind.ANGLE, way.contact_tilt_rad),
            " and ".join(way.pair),
            float(len(one.lost)),
            float(one.of),
        )
        for way in by_tilt.values()
    ]


def _places(findings: Findings, places: tuple[ProvenPlace, ...]) -> Table:
    units = findings.units
    mm = units.unit(Kind.LENGTH)
    more = len(places) - MOST_ROWS
    return Table(
        "proven_places",
        "Places by proof, the best first"
        + (f" ({more} of {len(places)} left out)" if more > 0 else ""),
        (
            Column("yaw", "yaw", units.unit(Kind.ANGLE)),
            Column("offset", "from middle slot", mm),
            Column("centre_x", "centre X", mm),
            Column("centre_y", "centre Y", mm),
            Column("stations", "stations reached"),
            Column("of", "of"),
            Column("place", "place"),
            Column("costs", "what costs most"),
            Column("spare", "room to spare", mm),
            Column("tightest", "tightest"),
        ),
        tuple(
            (
                units.shown(Kind.ANGLE, one.yaw_rad),
                None if one.offset_mm is None else units.shown(Kind.LENGTH, one.offset_mm),
                units.shown(Kind.LENGTH, one.x_mm),
                units.shown(Kind.LENGTH, one.y_mm),
                float(one.reached),
                float(one.of),
                "ok" if one.works else "fails",
                "; ".join(f"{words}: {count}" for words, count in one.causes[:2]) or None,
                *_room(findings, one, number),
            )
            for number, one in enumerate(places[:MOST_ROWS])
        ),
    )


def _room(findings: Findings, one: ProvenPlace, number: int) -> tuple[float | None, str | None]:
    """Return what is left beyond the clearance asked in one of the best places, and where."""
    near = findings.closest_in(one) if number < EXACT_ROWS else None
    if near is None:
        return None, None
    return findings.units.shown(Kind.LENGTH, near.spare_mm), pair_text(near.gap)
