"""What the fixture's flange on the platter adds to the question `fits`."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Column, Figure, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.flange import FlangeMatch
from gudgeon.placing.pilot import WIDE_GAP_MM
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._fits_judge import Says
from gudgeon.questions._fits_pictures import flange_picture
from gudgeon.questions._fits_show import shown
from gudgeon.questions._proof_views import angle_text
from gudgeon.questions._shared import figure

__all__ = ["judge_flange"]

LEAST_BOLTS: Final = 3
"""Fewer bolts than holes may do from here on; common practice, no source."""


def judge_flange(findings: Findings, says: Says) -> FlangeMatch | None:
    """Judge bolts, clocking and pilot."""
    try:
        match = findings.flange_match
    except Lacking as lacking:
        if findings.flange_described:
            says.open += lacking.missing
            says.assumed.append("Not judged, flange: entries are missing.")
        else:
            says.wanted += lacking.missing[:1]
            says.assumed.append("Not judged, flange: neither its holes nor its pilot are entered.")
            says.conditions.append(
                "the fixture's foot goes on the platter (its holes are not entered)"
            )
        return None
    says.assumed += match.assumed
    says.figures += _flange_figures(findings, match)
    says.tables.append(_flange_table(findings, match))
    says.pictures.append(flange_picture(findings, match))
    units = findings.units
    here, best, of = match.bolts_here, match.bolts_matching, match.bolts_possible
    clock = f"clock the fixture to {_clockings(match)} for {best} bolts"
    if here < min(LEAST_BOLTS, of):
        says.broken.append(f"only {here} of {of} bolts of the flange go in")
        if best >= min(LEAST_BOLTS, of):
            says.mends.append(clock)
    elif here < best:
        says.conditions.append(f"{here} of {of} bolts are enough, which `holds` must agree to")
        says.mends.append(clock)
    elif here < of:
        says.conditions.append(f"{here} of {of} bolts are enough, which `holds` must agree to")
    if match.here is None and best >= min(LEAST_BOLTS, of) and not _at_zero(match):
        says.conditions.append(
            f"the fixture is clocked to {_clockings(match)} on the platter; stations turn with it "
            "(enter fixture.clocking)"
        )
    if here < of:
        _mend_holes(findings, says, match)
    pilot = match.pilot
    if pilot is None:
        if match.pilots != (False, False):
            says.conditions.append(
                "the fixture is centred with an indicator: only one side has a pilot"
            )
    elif pilot.state == "tight" and pilot.gap_mm is not None:
        says.broken.append(
            f"the pilot boss is {units.text(Kind.LENGTH, -pilot.gap_mm)} bigger than its bore"
        )
        says.mends.append("turn the boss down to the bore, less a small clearance")
    elif pilot.state == "bottoms" and pilot.depth_left_mm is not None:
        deep = units.text(Kind.LENGTH, -pilot.depth_left_mm)
        says.broken.append(f"the pilot boss is {deep} longer than its bore is deep")
        says.mends.append(f"face the boss back by more than {deep}")
    elif pilot.state == "two bosses":
        says.broken.append("both pilots are bosses: the faces cannot meet")
        says.mends.append("face one boss off, or make a ring that centres both")
    elif pilot.state == "two bores":
        says.conditions.append("a plug centres the two pilot bores")
    elif pilot.state == "wide" and pilot.off_centre_mm is not None:
        off = units.text(Kind.LENGTH, pilot.off_centre_mm)
        says.conditions.append(
            f"the fixture is centred with an indicator: the pilot leaves it {off} off centre"
        )
    return match


def _mend_holes(findings: Findings, says: Says, match: FlangeMatch) -> None:
    """Say whether drilling again helps, and what else would."""
    units = findings.units
    if match.redrill is not None and match.redrill_possible:
        web = units.text(Kind.LENGTH, match.redrill.web_mm)
        says.mends.append(
            f"drill the {len(match.redrill.new_holes_rad)} missing holes into the fixture at "
            f"{_degrees(match.redrill.new_holes_rad)}: {web} of material stays between holes"
        )
        return
    if match.redrill is not None:
        web = units.text(Kind.LENGTH, match.redrill.web_mm)
        says.flips.append(
            f"Drilling the missing holes where they are now would leave {web} between holes: "
            "not possible."
        )
    fresh = match.redrill_fresh
    if fresh is not None and match.fresh_possible:
        web = units.text(Kind.LENGTH, fresh.web_mm)
        says.mends.append(
            f"drill a whole new set of {len(fresh.new_holes_rad)} holes into the fixture at "
            f"{_degrees(fresh.new_holes_rad)}: {web} of material stays between holes; the fixture "
            f"is clocked to {angle_text(fresh.clocking_rad)} then"
        )
    else:
        says.mends.append("make an adapter plate with both sets of holes")


def _flange_figures(findings: Findings, match: FlangeMatch) -> list[Figure]:
    """Return how fixture and platter go together."""
    units = findings.units
    found = [
        Figure(
            "flange_bolts_matching",
            "bolts that go in",
            float(match.bolts_matching),
            note=f"of {match.bolts_possible}, at the best clocking",
        ),
        figure(
            units,
            Kind.ANGLE,
            "flange_angle_play",
            "play of the holes at the pitch circle, either way",
            match.play_rad if match.play_rad >= 0.0 else 0.0,
            note="" if match.play_rad >= 0.0 else "no bolt goes in at any clocking",
        ),
    ]
    if match.here is not None:
        found.append(
            Figure(
                "flange_bolts_here",
                f"bolts at the clocking of {angle_text(match.here.middle_rad)}",
                float(match.bolts_here),
            )
        )
    if match.clockings:
        found.append(
            figure(
                units,
                Kind.ANGLE,
                "flange_clocking",
                "clocking of the fixture on the platter",
                match.clockings[0].middle_rad,
                plus_minus=None,
                note=f"{_one_of(len(match.clockings))}; the fixture repeats every "
                f"{angle_text(match.repeat_rad)}",
            )
        )
    if match.redrill is not None:
        found += [
            figure(
                units,
                Kind.LENGTH,
                "redrill_centres",
                "missing holes drilled: distance to the next hole, centre to centre",
                match.redrill.centres_mm,
            ),
            figure(
                units,
                Kind.LENGTH,
                "redrill_web",
                "material left between those holes",
                match.redrill.web_mm,
                limit=match.min_web_mm or 0.0,
                limit_kind="min",
                note="negative: the holes run into each other",
            ),
        ]
    if match.redrill_fresh is not None:
        fresh = match.redrill_fresh
        found.append(
            figure(
                units,
                Kind.LENGTH,
                "redrill_fresh_web",
                f"whole new set of holes at a clocking of {angle_text(fresh.clocking_rad)}: "
                "material left",
                fresh.web_mm,
                limit=match.min_web_mm or 0.0,
                limit_kind="min",
            )
        )
    if match.pilot is not None and match.pilot.gap_mm is not None:
        found.append(
            figure(
                units,
                Kind.LENGTH,
                "pilot_gap",
                "pilot: bore less boss, across the diameter",
                match.pilot.gap_mm,
                limit=WIDE_GAP_MM,
                limit_kind="max",
                note="wider does not centre (common practice, no source); negative: does not go in",
            )
        )
        if match.pilot.depth_left_mm is not None:
            found.append(
                figure(
                    units,
                    Kind.LENGTH,
                    "pilot_depth_left",
                    "depth of the bore less height of the boss",
                    match.pilot.depth_left_mm,
                    limit=0.0,
                    limit_kind="min",
                )
            )
    return found


def _flange_table(findings: Findings, match: FlangeMatch) -> Table:
    """Return every clocking with the most bolts, and the declared one."""
    units = findings.units
    entries = [("best", clocking) for clocking in match.clockings]
    if match.here is not None:
        entries.append(("declared", match.here))
    return Table(
        "flange",
        "Which bolts go in",
        (
            Column("which", "clocking"),
            Column("clocking", "fixture turned", units.unit(Kind.ANGLE)),
            Column("either_way", "either way", units.unit(Kind.ANGLE)),
            Column("bolts", "bolts"),
            Column("platter_holes", "platter holes (deg)"),
            Column("fixture_holes", "fixture holes (deg)"),
        ),
        tuple(
            (
                which,
                shown(units, Kind.ANGLE, clocking.middle_rad),
                shown(units, Kind.ANGLE, (clocking.high_rad - clocking.low_rad) / 2.0),
                len(clocking.pairs),
                _holes(match.platter_holes, [pair[0] for pair in clocking.pairs]),
                _holes(match.fixture_holes, [pair[1] for pair in clocking.pairs]),
            )
            for which, clocking in entries
        ),
    )


def _one_of(count: int) -> str:
    return "the only one" if count == 1 else f"one of {count}"


def _holes(angles_rad: tuple[float, ...], numbers: list[int]) -> str:
    return ", ".join(f"{round(math.degrees(angles_rad[i]), 2):g}" for i in numbers) or "none"


def _clockings(match: FlangeMatch) -> str:
    words = [angle_text(clocking.middle_rad) for clocking in match.clockings]
    return " or ".join(words[:4]) if words else "no angle"


def _at_zero(match: FlangeMatch) -> bool:
    """Return whether a best range of clockings holds zero (a repeat of the fixture counts)."""
    return any(
        abs(math.remainder(clocking.middle_rad, match.repeat_rad))
        <= (clocking.high_rad - clocking.low_rad) / 2.0 + 1e-9
        for clocking in match.clockings
    )


def _degrees(angles_rad: tuple[float, ...]) -> str:
    shown = sorted(round(math.degrees(angle), 2) % 360.0 for angle in angles_rad)
    return ", ".join(f"{angle:g}" for angle in shown) + " deg"
