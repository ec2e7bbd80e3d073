"""What each part of the question `fits` adds to the answer: place, flange, heights, cautions."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from gudgeon.answer import Figure, Missing, Picture, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.place import USUAL_PLAY_MM
from gudgeon.findings.place_judged import Margin, Place
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._fits_pictures import side_picture, table_picture
from gudgeon.questions._fits_show import (
    CORE,
    height_figures,
    margin_key,
    place_figures,
    place_tables,
    seat_text,
)
from gudgeon.questions._proof_views import angle_text

__all__ = [
    "Says",
    "caution",
    "judge_heights",
    "judge_place",
    "listed",
    "unique",
]


@dataclass
class Says:
    """What the parts of the answer add up to."""

    broken: list[str] = field(default_factory=list)
    conditions: list[str] = field(default_factory=list)
    open: list[Missing] = field(default_factory=list)
    wanted: list[Missing] = field(default_factory=list)
    mends: list[str] = field(default_factory=list)
    flips: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)


def judge_place(findings: Findings, says: Says) -> Place | None:
    """Judge the declared place, or the best seat, and tell the rest."""
    try:
        found = findings.places
    except Lacking as lacking:
        says.wanted += lacking.missing
        working = None
    else:
        working = len(found.working)
        says.assumed += found.assumed
    place = findings.chosen_place
    if place is None:
        declared = findings.cell.placement.centre_x
        if working is None:
            says.open += says.wanted
        elif says.assumed:  # yaws that could not be judged
            says.open.append(
                Missing(
                    what="rows of lugs that run along the slots",
                    where=f"{findings.cell.file}: unit.lug_columns",
                    why="no yaw that is asked for could be judged",
                    how_to_get_it="measure the rows of lugs across the tilt axis and enter "
                    "lug_columns, or ask for other yaws",
                )
            )
        elif declared is None:
            says.broken.append("no row of lugs comes over a slot")
            says.mends.append("make a riser plate with holes for the lugs and bolts for the slots")
        return None
    says.figures += place_figures(findings, place, working)
    says.tables += place_tables(findings, place)
    picture = table_picture(findings, place)
    if picture is not None:
        says.pictures.append(picture)
    _tell_assumed(findings, says, place)
    for item in findings.left_out:
        core = item.reason in CORE
        (says.open if core else says.wanted).append(item.missing)
        says.assumed.append(item.told)
    for margin in place.margins:
        _judge_margin(findings, says, margin)
    if not place.works:
        _mend_place(findings, says, place)
    elif place.tightest is not None:
        says.flips.append(_flip(findings, place.tightest))
    hidden = findings.faces_not_shown
    if hidden:
        says.conditions.append(
            f"{listed(hidden)} {'is' if len(hidden) == 1 else 'are'} cut elsewhere: no tilt and "
            "turn within the limits brings it to the spindle"
        )
    return place


def _judge_margin(findings: Findings, says: Says, margin: Margin) -> None:
    """Add a broken condition, or one that the uncertainty of the entries leaves open."""
    doubt = findings.spreads.get(margin_key(margin), 0.0)
    units = findings.units
    if doubt and abs(margin.margin_mm) < doubt:
        key = findings.heaviest_doubt(margin_key(margin)) or "the entries that it rests on"
        says.open.append(
            Missing(
                what=f"a better value of {key}",
                where=f"{findings.cell.file}: {key}",
                why=f"{margin.note}: the room of {units.text(Kind.LENGTH, margin.margin_mm)} is "
                f"known to +-{units.text(Kind.LENGTH, doubt)} only",
                how_to_get_it=f"measure {key} again, and enter it with its own +-",
            )
        )
    elif not margin.kept:
        says.broken.append(_broken(findings, margin))


def _broken(findings: Findings, margin: Margin) -> str:
    """Say what is wrong and by how much."""
    if not math.isfinite(margin.margin_mm):
        return f"{margin.note}: not possible"
    short = findings.units.text(Kind.LENGTH, abs(margin.margin_mm))
    words = {
        "slots": f"the lugs miss the slots by {short}",
        "travel": f"the travel is {short} short: {margin.note}",
        "head room": f"head room is {short} short: {margin.note}",
        "cable": f"{margin.note} is {short} too short",
        "table edge": f"the body stands {short} too far over the table ({margin.note})",
        "guard": f"the {margin.note} is {short} too near",
    }
    return words[margin.reason]


def _mend_place(findings: Findings, says: Says, place: Place) -> None:
    """Name the nearest place that works; else the least that would have to change here."""
    try:
        working = findings.places.working
    except Lacking:
        working = ()
    units = findings.units
    if working:

        def far(other: Place) -> tuple[float, float]:
            turn = abs(math.remainder(other.yaw_rad - place.yaw_rad, 2.0 * math.pi))
            return round(turn, 6), math.hypot(other.x_mm - place.x_mm, other.y_mm - place.y_mm)

        best = min(working, key=far)
        says.mends.append(
            f"stand the unit with its platter centre at X {units.text(Kind.LENGTH, best.x_mm)}, "
            f"Y {units.text(Kind.LENGTH, best.y_mm)}, yaw {angle_text(best.yaw_rad)}: "
            f"{seat_text(findings, best)}"
        )
        return
    # Nothing works: the place with the fewest reasons and the least shortage is the cheapest.
    candidates = [place]
    with contextlib.suppress(Lacking):
        candidates += findings.places.places
    best = min(
        candidates,
        key=lambda item: (
            len(item.reasons),
            -min((m.margin_mm for m in item.margins if not m.kept), default=0.0),
        ),
    )
    mends = [_mend(findings, margin) for margin in best.margins if not margin.kept]
    at = (
        ""
        if best is place
        else f" with the platter centre at X {units.text(Kind.LENGTH, best.x_mm)}, "
        f"Y {units.text(Kind.LENGTH, best.y_mm)}"
    )
    says.mends.append(f"no place on the slots works as it is; nearest to it{at}: " + listed(mends))


def _mend(findings: Findings, margin: Margin) -> str:
    if not math.isfinite(margin.margin_mm):
        return f"another way for {margin.note}"
    size = findings.units.text(Kind.LENGTH, abs(margin.margin_mm))
    words = {
        "slots": f"a riser plate that carries the lugs {size} over to the slots",
        "travel": f"bring the outermost zero {size} nearer to the tilt axis ({margin.note})",
        "head room": f"gain {size} with a shorter tool or a lower load ({margin.note})",
        "cable": f"a {margin.note} with {size} more free length",
        "table edge": f"allow {size} more overhang, or a riser plate under it",
        "guard": f"move or cut back the {margin.note} by {size}",
    }
    return words[margin.reason]


def _flip(findings: Findings, margin: Margin) -> str:
    if abs(margin.margin_mm) < 1e-6:
        return f"It stops fitting with the least bit less room for this: {margin.note}."
    size = findings.units.text(Kind.LENGTH, abs(margin.margin_mm))
    return f"It stops fitting once {size} less room is left than now for this: {margin.note}."


def judge_heights(findings: Findings, says: Says) -> bool:
    """Judge the way of the tilt; returns whether the heights are known."""
    try:
        heights = findings.heights
    except Lacking as lacking:
        says.wanted += lacking.missing
        return False
    says.figures += height_figures(findings, heights)
    says.assumed += findings.load_shape.assumed
    picture = side_picture(findings)
    if picture is not None:
        says.pictures.append(picture)
    _judge_way(findings, says)
    return True


def _judge_way(findings: Findings, says: Says) -> None:
    """Tell where the tilt passes higher than the longest tool at the top of Z allows."""
    travel = findings.cell.machine.travel_z
    try:
        base = findings.table_top_mm
    except Lacking:
        return
    lengths = [tool.length.value for tool in findings.cell.tools if tool.length]
    if travel is None or not lengths:
        return
    keep = findings.cell.placement.clearance
    room = travel[1].value - base - findings.heights.way_mm - (keep.value if keep else 0.0)
    if room <= max(lengths):
        size = findings.units.text(Kind.LENGTH, max(room, 0.0), 1, limit="max")
        says.conditions.append(
            f"the spindle stands beside the load while it tilts, unless the tool in it is shorter "
            f"than {size}"
        )


def _tell_assumed(findings: Findings, says: Says, place: Place) -> None:
    machine, placement = findings.cell.machine, findings.cell.placement
    if machine.layout is None:
        says.assumed.append("The table makes X and Y (machine.layout is not given).")
    if findings.declared_place is None:
        says.assumed.append("No place is entered: the best seat on the slots is judged.")
    elif findings.declared_centre is not None and findings.declared_centre[1]:
        says.assumed.append("The unit stands where its axis lines were touched.")
    if placement.yaw is None and placement.tilt_along is None:
        says.assumed.append(f"The unit stands with yaw {angle_text(place.yaw_rad)}.")
    if placement.approach is None and (placement.reach_x is None or placement.reach_y is None):
        says.assumed.append("No approach is added to the zeros (placement.approach is not given).")
    if placement.clearance is None:
        says.assumed.append("Head room only has to be above nought (placement.clearance).")
    if placement.riser is None:
        says.assumed.append("The unit stands on the table without a riser plate.")
    if findings.cell.unit.lug_play is None and machine.slot_positions:
        play = findings.units.text(Kind.LENGTH, USUAL_PLAY_MM)
        says.assumed.append(
            "Places are those with a row of lugs over the middle of a slot; a declared or touched "
            f"one may be {play} beside it (unit.lug_play is not given)."
        )
    if not findings.walls:
        says.assumed.append("No guard, column or door is entered: none is judged.")
    if not findings.cell.unit.hoses:
        says.assumed.append("No hose or cable is entered: none is judged.")
    static = [wall.side for wall in findings.walls if not wall.nearer]
    if static:
        says.assumed.append(
            f"The {listed(static)} guard does not come nearer with the axis; its distance is "
            "taken with that axis at 0."
        )


def caution(findings: Findings, says: Says, place: Place | None) -> None:
    """Add cautions that apply to what has to be done next."""
    mass = findings.cell.unit.mass
    if place is not None:
        weight = f" of {findings.units.text(Kind.MASS, mass.value)}" if mass else ""
        says.cautions.append(
            f"Lifting: the unit{weight} goes on with lifting gear rated for it, by the lifting "
            "points of its manual; nobody stands under it."
        )
        says.cautions.append(
            "First motion: load off, rapid at its lowest, hand on the stop; raise Z fully, then "
            "turn the unit, and watch hoses and guards over the whole tilt. The machine's manual "
            "and local rules come first."
        )


def listed(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]


def unique(missing: list[Missing]) -> list[Missing]:
    """Keep the first of entries that name the same place, the most telling first."""
    first: dict[str, Missing] = {}
    for item in missing:
        first.setdefault(item.where, item)
    return list(first.values())
