"""Commissioning, fifth part: the fixture comes onto the platter."""

from __future__ import annotations

import math

from gudgeon.answer import Missing
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.flange import FlangeMatch
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._crate import lifted
from gudgeon.sheets._said import angle, gap_words, length
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Box, Drawing, Heading, Step, Steps

__all__ = ["fixture_on"]


def fixture_on(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return how the fixture is put on and bolted."""
    findings = known.findings
    fixture = findings.cell.fixture
    name = fixture.name or "fixture"
    missing: tuple[Missing, ...] = ()
    match, lack = None, ""
    try:
        match = findings.flange_match
    except Lacking as lacking:
        missing, lack = lacking.missing, gap_words(lacking)
    cautions: tuple[str, ...] = ()
    if lifted(fixture.mass):
        cautions = (
            "Only people licensed for lifting gear lift the fixture. Nobody stands under it, and "
            "no hand is between fixture and platter.",
        )
    steps = [
        Step(
            "fixture_clean",
            f"Clean the platter and the foot of the {name}. Take off burrs with an oil stone.",
            see="A clean hand feels no grit and no burr.",
        ),
        Step(
            "fixture_set",
            f"Set the {name} on the platter{_pilot_words(match)}.",
            see=_pilot_sees(findings, match),
            cautions=cautions,
            lack=lack,
        ),
        _clocked(findings, match),
        _bolted(findings, match),
    ]
    picture = next(
        (one for one in known.answer("fits").pictures if one.name == "flange_match"), None
    )
    drawn: tuple[Block, ...] = () if picture is None else (Drawing(picture),)
    return (Heading("The fixture on the platter"), Steps(tuple(steps)), *drawn), missing


def _pilot_words(match: FlangeMatch | None) -> str:
    return " with its pilot" if match is not None and match.pilot is not None else ""


def _pilot_sees(findings: Findings, match: FlangeMatch | None) -> str:
    flat = "It sits flat: no light shows under it, all round."
    if match is None or match.pilot is None or match.pilot.gap_mm is None:
        return flat
    pilot = match.pilot
    assert pilot.gap_mm is not None
    gap = length(findings, abs(pilot.gap_mm))
    words = {
        "fits": f"The pilot has {gap} of play across. ",
        "wide": f"The pilot has {gap} of play: it does not centre. Centre it with a dial. ",
        "tight": f"The boss is {gap} bigger than the bore: it does not go in. Stop here. ",
        "bottoms": "The boss is longer than the bore is deep: the faces do not meet. Stop here. ",
    }
    return words.get(pilot.state, "") + flat


def _clocked(findings: Findings, match: FlangeMatch | None) -> Step:
    clocking = findings.cell.fixture.clocking
    turned = 0.0 if clocking is None else clocking.value
    if clocking is None and match is not None and match.clockings:
        turned = match.clockings[0].middle_rad
    play = ""
    if match is not None and match.play_rad > 0.0:
        play = f" The holes let it turn by {math.degrees(match.play_rad):.2f} deg either way."
    return Step(
        "fixture_clock",
        f"Turn it to {angle(turned)} deg on the platter, counted from X+ towards Y+.",
        see=f"With a dial along a side of the fixture the reading stays the same.{play}",
        boxes=(Box("clocked", "dial over the side", findings.units.unit(Kind.LENGTH)),),
    )


def _bolted(findings: Findings, match: FlangeMatch | None) -> Step:
    bolts = findings.cell.fixture.bolts
    count = bolts.count if match is None else (bolts.count or match.bolts_here)
    many = f"{count} bolts" if count else "the bolts"
    size = f" {bolts.size}" if bolts.size else ""
    if bolts.torque is None:
        return Step(
            "fixture_bolts",
            f"Put in {many}{size}. Tighten them crosswise, in two rounds.",
            lack="Not known yet: their torque (fixture.bolts.torque). Read the unit's manual.",
        )
    units = findings.units
    half = units.text(Kind.TORQUE, 0.5 * bolts.torque.value, 0)
    full = units.text(Kind.TORQUE, bolts.torque.value, 0)
    return Step(
        "fixture_bolts",
        f"Put in {many}{size}. Tighten them crosswise: first to {half}, then to {full}.",
        see=f"The torque wrench clicks at {full} on each bolt.",
        boxes=(Box("fixture_tight", "all tight", form="tick"),),
    )
