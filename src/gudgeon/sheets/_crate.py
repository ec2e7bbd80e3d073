"""Commissioning, first part: what it weighs, and how it comes to stand on the table."""

from __future__ import annotations

import re
from typing import Final

from gudgeon.answer import Missing
from gudgeon.cell.model import Bolts
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.place_judged import Margin, Place
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._dangers import MANUALS, PRESSURE, pressure_words
from gudgeon.sheets._said import gap_words, length, listed, short
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import (
    Block,
    Box,
    Cautions,
    Drawing,
    Grid,
    Head,
    Heading,
    Step,
    Steps,
)

__all__ = ["BY_HAND_KG", "before", "lifted", "on_the_table"]

BY_HAND_KG: Final = 25.0
"""More is not lifted by one person without gear (common practice, no source; local rules count)."""

DRIVES: Final = (
    "Only people licensed for it connect or open drives and motors. Switch off and lock the main "
    "switch first."
)


def before(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return what is to be known and done before anything is lifted."""
    findings = known.findings
    cautions = [MANUALS, DRIVES]
    pressure = pressure_words(findings.cell)
    if pressure:
        cautions.append(pressure)
    grid, missing = _weights(findings)
    people = Step(
        "people",
        "Call the people who are licensed for what this cell has.",
        see=f"Needed here: {listed(_licences(findings))}.",
        boxes=(Box("people_named", "names"),),
    )
    manuals = Step(
        "manuals",
        "Read the manuals of mill and unit before you begin.",
        see="You know the lifting points, the brakes and every stop button.",
        boxes=(Box("manuals_read", "read", form="tick"),),
    )
    total = _total(findings)
    blocks: list[Block] = [
        Heading("Before you begin"),
        Cautions(tuple(cautions)),
        Steps((manuals, people)),
        grid,
        Steps((total, *_lifts(findings))),
    ]
    return tuple(blocks), missing


def lifted(mass: Amount | None) -> bool:
    """Tell whether something needs lifting gear: too heavy for one person, or nobody knows."""
    return mass is None or mass.value + (mass.plus_minus or 0.0) > BY_HAND_KG


def _licences(findings: Findings) -> list[str]:
    found = ["electric drives"]
    if lifted(findings.cell.unit.mass) or lifted(findings.cell.fixture.mass):
        found.insert(0, "lifting gear")
    names = [hose.name or "" for hose in findings.cell.unit.hoses]
    names += [box.name or "" for box in findings.cell.unit.boxes]
    names += [solid.name or "" for solid in findings.cell.solids]
    if any(re.search(PRESSURE, name) for name in names):
        found.append("lines under pressure")
    return found


def _weights(findings: Findings) -> tuple[Grid, tuple[Missing, ...]]:
    """Return what is lifted at once, piece by piece."""
    cell, units = findings.cell, findings.units
    unit = units.unit(Kind.MASS)
    rows: list[tuple[str, ...]] = []
    gather = findings.gather()
    things: list[tuple[str, str, Amount | None, str]] = [
        (cell.unit.name or "the unit", "unit.mass", cell.unit.mass, "the unit without fixture"),
        (
            cell.fixture.name or "the fixture",
            "fixture.mass",
            cell.fixture.mass,
            "the fixture without parts",
        ),
    ]
    things += [
        (part.name or f"part {number}", f"parts[{number}].mass", part.mass, "one blank")
        for number, part in enumerate(cell.parts, start=1)
    ]
    for name, key, mass, what in things:
        if key.startswith("parts"):
            if mass is None:
                continue
        else:
            gather.need(
                mass,
                key,
                f"mass of {what}",
                why="it decides how it is lifted",
                how="read the data sheet, or hang it on a crane scale",
            )
        rows.append(
            (
                name,
                "-" if mass is None else _number(findings, mass.value),
                "-" if mass is None or not mass.plus_minus else _number(findings, mass.plus_minus),
                "lifting gear" if lifted(mass) else "by hand",
            )
        )
    return (
        Grid(
            "lifts",
            "What is lifted at once",
            (
                Head("what", "what"),
                Head("mass", "mass", unit),
                Head("plus_minus", "+-", unit),
                Head("how", "how"),
            ),
            tuple(rows),
        ),
        tuple(gather.missing),
    )


def _total(findings: Findings) -> Step:
    order = "Compare all that will stand on the table with what the table may carry."
    try:
        load = findings.table_load.full
    except Lacking as lacking:
        return Step("table_load", order, lack=gap_words(lacking))
    units = findings.units
    value, most = units.text(Kind.MASS, load.value), units.text(Kind.MASS, load.limit)
    spread = f" +- {units.text(Kind.MASS, load.plus_minus)}" if load.plus_minus else ""
    words = {
        "holds": f"{units.text(Kind.MASS, load.margin, limit='max')} are left.",
        "fails": "That is too much: do not go on. Take load off, or ask the maker of the mill.",
        "unsure": "The +- does not let us tell: weigh the unit, then go on.",
    }
    return Step(
        "table_load",
        order,
        see=f"Loaded: {value}{spread}. The table may carry {most}. {words[load.state]}",
    )


def _lifts(findings: Findings) -> tuple[Step, ...]:
    cell, units = findings.cell, findings.units
    mass = cell.unit.mass
    if not lifted(mass):
        assert mass is not None
        return (
            Step(
                "carry",
                "Carry the unit to the table.",
                see=f"It weighs {units.text(Kind.MASS, mass.value)}.",
            ),
        )
    if mass is None:
        rated = "Rate the lifting gear for the mass in the unit's data sheet."
        lack = "Not known yet: mass of the unit (unit.mass). Hang it on a crane scale."
    else:
        most = units.text(Kind.MASS, mass.value + (mass.plus_minus or 0.0), limit="min")
        rated, lack = f"Use lifting gear that is rated for {most} or more.", ""
    return (
        Step(
            "rig",
            f"Hang the unit by the lifting points of its manual. {rated}",
            see="It hangs level, and its hoses and cables hang free.",
            cautions=(
                "Only people licensed for lifting gear lift the unit. Nobody stands under it, and "
                "no hand is between unit and table.",
            ),
            lack=lack,
        ),
    )


def on_the_table(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return how the unit comes to stand in its place."""
    findings = known.findings
    place = findings.chosen_place
    missing: tuple[Missing, ...] = ()
    lack = ""
    if place is None:
        try:
            _ = findings.places
        except Lacking as lacking:
            missing, lack = lacking.missing, gap_words(lacking)
        else:
            lack = 'No place of the unit fits the slots. Ask "fits" what to change.'
    steps = [
        Step(
            "clean",
            "Clean the table top and the foot of the unit. Take off burrs with an oil stone.",
            see="A clean hand feels no grit and no burr.",
        ),
        _keys(findings, place),
        _set_down(findings, place, lack),
        *_room(findings, place),
        _bolts_snug(findings.cell.placement.bolts),
    ]
    blocks: list[Block] = [Heading("On the table"), Steps(tuple(steps))]
    picture = next((one for one in known.answer("fits").pictures if one.name == "table_plan"), None)
    if picture is not None:
        blocks.append(Drawing(picture))
    return tuple(blocks), missing


def _keys(findings: Findings, place: Place | None) -> Step:
    machine = findings.cell.machine
    slots = _slots(place)
    into = f" for {listed(slots)}" if slots else ""
    if machine.slot_width is None:
        return Step(
            "keys",
            f"Fit keys to the foot of the unit{into}.",
            see="They slide in the slot without play.",
            lack="Not known yet: width of the slots (machine.slot_width). Measure a slot.",
        )
    wide = short(findings, machine.slot_width.value)
    return Step(
        "keys",
        f"Fit keys {wide} wide to the foot of the unit{into}.",
        see="They slide in the slot without play.",
        why="Keys only set it nearly; the dial sets it right.",
    )


def _slots(place: Place | None) -> list[str]:
    return [] if place is None else [f"slot {slot + 1}" for slot, _ in sorted(place.seat)]


def _set_down(findings: Findings, place: Place | None, lack: str) -> Step:
    machine = findings.cell.machine
    if place is None:
        return Step("set_down", "Set the unit down on the table over its slots.", lack=lack)
    slots = _slots(place)
    over = f" Set its lugs over {listed(slots)}." if slots else ""
    seen = []
    ruled = (
        (machine.table_x, place.x_mm, "left end of the table", "the middle of the platter"),
        (machine.table_y, place.y_mm, "front edge of the table", "the middle of the platter"),
    )
    for table, at, edge, to in ruled:
        if table is not None:
            seen.append(f"From the {edge} to {to}: {length(findings, at - table[0].value, 1)}.")
    x, y = length(findings, place.x_mm), length(findings, place.y_mm)
    seen.append(f"Its place is X {x}, Y {y} in machine coordinates.")
    riser = findings.cell.placement.riser
    plate = f" Lay the plate of {short(findings, riser.value)} under it first." if riser else ""
    declared = findings.declared_centre is not None
    return Step(
        "set_down",
        f"Set the unit down on the table, turned as drawn.{plate}{over}",
        see=" ".join(seen),
        why="" if declared else "No place is entered: this is the best place found on the slots.",
    )


def _bolts_snug(bolts: Bolts) -> Step:
    lacking = [
        f"{what} (placement.bolts.{key})"
        for key, what in (("size", "size"), ("count", "number"))
        if getattr(bolts, key) is None
    ]
    many = f"{bolts.count} bolts" if bolts.count else "the bolts"
    size = f" {bolts.size}" if bolts.size else ""
    return Step(
        "bolts_snug",
        f"Put in {many}{size} with T-nuts and washers. Tighten them with little force, crosswise.",
        see="The unit does not rock, and a soft hammer still moves it.",
        lack=f"Not known yet: {listed(lacking)} of the bolts on the table." if lacking else "",
    )


def bolts_tight(findings: Findings) -> Step:
    """Return the step that tightens the bolts on the table."""
    torque = findings.cell.placement.bolts.torque
    if torque is None:
        return Step(
            "bolts_tight",
            "Tighten the bolts on the table crosswise, in two rounds.",
            lack="Not known yet: their torque (placement.bolts.torque). Read the unit's manual.",
        )
    units = findings.units
    half = units.text(Kind.TORQUE, 0.5 * torque.value, 0)
    full = units.text(Kind.TORQUE, torque.value, 0)
    return Step(
        "bolts_tight",
        f"Tighten the bolts on the table crosswise: first to {half}, then to {full}.",
        see=f"The torque wrench clicks at {full} on each bolt.",
        boxes=(Box("bolts_tight", "all tight", form="tick"),),
    )


def _room(findings: Findings, place: Place | None) -> tuple[Step, ...]:
    """Return the room round the unit that a rule can check, and the least of what it cannot."""
    if place is None:
        return ()
    edges = [one for one in place.margins if one.reason == "table edge"]
    steps = []
    if edges:
        told = [f"{_side(one)}: {_room_words(findings, one)}" for one in edges]
        over = findings.cell.placement.overhang
        allowed = (
            f" It may stand over the edge by {short(findings, over.value)}."
            if over is not None and over.value > 0.0
            else ""
        )
        steps.append(
            Step(
                "edges",
                "Measure from the body of the unit to each edge of the table.",
                see=f"{'; '.join(told)}.{allowed}",
                boxes=tuple(
                    Box(f"edge_{_side(one)}", _side(one), findings.units.unit(Kind.LENGTH))
                    for one in edges
                ),
            )
        )
    guards = [one for one in place.margins if one.reason == "guard"]
    travel = [one for one in place.margins if one.reason == "travel"]
    told = []
    if guards:
        least = min(guards, key=lambda one: one.margin_mm)
        told.append(f"The least room is {_room_words(findings, least)}: {least.note}.")
    if travel:
        least = min(travel, key=lambda one: one.margin_mm)
        approach = findings.cell.placement.approach
        counted = (
            ""
            if approach is None
            else f", with {short(findings, approach.value)} for the tool past each zero"
        )
        told.append(
            f"The least travel left is {_room_words(findings, least)}: {least.note}{counted}."
        )
    if told:
        steps.append(
            Step(
                "ends",
                "Raise Z to its top. Jog X and Y slowly to their ends, and watch guards and doors.",
                see=" ".join(told),
            )
        )
    return tuple(steps)


def _side(one: Margin) -> str:
    """Return which edge of the table it is: "body, right edge" gives "right"."""
    return one.note.removesuffix(" edge").split()[-1]


def _room_words(findings: Findings, one: Margin) -> str:
    room = length(findings, abs(one.margin_mm), 2 if findings.units.inch else 1)
    return room if one.margin_mm >= 0.0 else f"{room} too little"


def _number(findings: Findings, mass_kg: float) -> str:
    return f"{findings.units.shown(Kind.MASS, mass_kg):.1f}"
