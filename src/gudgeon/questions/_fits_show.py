"""Figures and tables of the question `fits`."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Cell, Column, Figure, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.flange import FlangeMatch
from gudgeon.findings.heights import ChangeFinding, ChangeRow, HeightsFinding
from gudgeon.findings.place import Margin, Place
from gudgeon.placing.pilot import WIDE_GAP_MM
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.quantity.ties import firm
from gudgeon.questions._shared import figure

__all__ = [
    "CORE",
    "angle_text",
    "change_figures",
    "change_table",
    "flange_figures",
    "flange_table",
    "height_figures",
    "margin_key",
    "place_figures",
    "place_tables",
    "seat_text",
]

CORE: Final = ("travel", "head room")
"""Without these nobody can say that it fits; the others are left out and told."""

MOST_PLACES: Final = 60
"""A table with more rows is not read; the best come first."""


def angle_text(angle_rad: float) -> str:
    """Return an angle in degrees with at most two decimals, such as "42.59 deg"."""
    return f"{round(math.degrees(angle_rad), 2) + 0.0:g} deg"


def margin_key(margin: Margin) -> str:
    """Return the name under which the uncertainty of a margin is kept."""
    return f"{margin.reason}: {margin.note}"


def seat_text(findings: Findings, place: Place) -> str:
    """Say which lug rows lie over which slots, counted from 1 in the order of the file."""
    if not place.seat:
        return "over no slot"
    pairs = [f"row {row + 1} over slot {slot + 1}" for slot, row in place.seat]
    return ", ".join(pairs)


def place_figures(findings: Findings, place: Place, working: int | None) -> list[Figure]:
    """Return what is known of the chosen place."""
    units, spread = findings.units, findings.spreads
    letter = "y" if _along_x(place) else "x"
    found = [
        figure(
            units,
            Kind.LENGTH,
            f"tilt_{letter}",
            f"tilt axis at machine {letter.upper()}" if findings.has_tilt else "rotary axis",
            place.tilt_mm,
            note="as entered; find it by touching before you cut",
        ),
        figure(units, Kind.LENGTH, "centre_x", "platter centre, machine X", place.x_mm),
        figure(units, Kind.LENGTH, "centre_y", "platter centre, machine Y", place.y_mm),
        figure(units, Kind.ANGLE, "yaw", "turn of the unit on the table", place.yaw_rad),
    ]
    if place.offset_mm is not None:
        found.append(
            figure(
                units,
                Kind.LENGTH,
                "offset",
                "across the slots, from the middle slot",
                place.offset_mm,
            )
        )
    if place.stations[1]:
        found.append(
            Figure(
                "stations_reached",
                "stations within safe travel",
                float(place.stations[0]),
                limit=float(place.stations[1]),
                limit_kind="min",
                note="every zero of the station, approach included, within safe travel",
            )
        )
    if place.tightest is not None:
        found.append(
            figure(
                units,
                Kind.LENGTH,
                "least_margin",
                f"least room: {place.tightest.note}",
                _finite(place.tightest.margin_mm),
                plus_minus=spread.get(margin_key(place.tightest)),
                limit=0.0,
                limit_kind="min",
            )
        )
    rooms = [margin for margin in place.margins if margin.reason == "head room"]
    if rooms:
        least = min(rooms, key=lambda margin: firm(margin.margin_mm))
        found.append(
            figure(
                units,
                Kind.LENGTH,
                "head_room",
                f"head room beyond what is to be kept: {least.note}",
                _finite(least.margin_mm),
                plus_minus=spread.get(margin_key(least)),
                limit=0.0,
                limit_kind="min",
            )
        )
    for name, ends in (("x", place.safe.x), ("y", place.safe.y)):
        if ends is not None:
            for end, value in zip(("min", "max"), ends, strict=True):
                found.append(
                    figure(
                        units,
                        Kind.LENGTH,
                        f"safe_{name}_{end}",
                        f"{'lowest' if end == 'min' else 'highest'} safe machine {name.upper()}",
                        value,
                        plus_minus=spread.get(f"{name}_{end}"),
                        note="guards, column and door that are entered; over all tilts and turns"
                        if not any(item.name.startswith("safe_") for item in found)
                        else "",
                    )
                )
    if working is not None:
        open_ones = any(item.reason in CORE for item in findings.left_out)
        label = "places on the slots that nothing judged so far rules out"
        label = label if open_ones else "places on the slots that work"
        found.append(Figure("working_places", label, float(working)))
    return found


def height_figures(findings: Findings, heights: HeightsFinding) -> list[Figure]:
    """Return the highest points over the table."""
    units, spread = findings.units, findings.spreads
    rows = (
        ("highest_flat", "highest point, platter flat", heights.flat_mm, "flat_mm"),
        ("highest_upright", "highest point, platter upright", heights.upright_mm, "upright_mm"),
        (
            "highest_upright_turning",
            "the same while the platter turns",
            heights.upright_turning_mm,
            "upright_turning_mm",
        ),
        ("highest_on_the_way", "highest point on the way of the tilt", heights.way_mm, "way_mm"),
    )
    found = [
        figure(
            units,
            Kind.LENGTH,
            name,
            f"{label}, over the table",
            value,
            plus_minus=spread.get(key),
        )
        for name, label, value, key in rows
        if value is not None
    ]
    low, high = heights.way_rad
    found.append(
        figure(
            units,
            Kind.ANGLE,
            "peak_tilt",
            "tilt where it is highest on the way",
            heights.peak_tilt_rad,
            note=f"from {angle_text(low)} to {angle_text(high)}",
        )
    )
    if heights.equal_tilt_rad is not None:
        found.append(
            figure(
                units,
                Kind.ANGLE,
                "equal_height_tilt",
                "tilt that is as high as flat again",
                heights.equal_tilt_rad,
                note="between flat and here the load stands higher than at both ends",
            )
        )
    return found


def change_figures(findings: Findings, changes: ChangeFinding) -> list[Figure]:
    """Return what a change of the longest tool leaves over the load."""
    units, spread = findings.units, findings.spreads
    keep = findings.cell.placement.clearance
    found = [
        figure(
            units,
            Kind.LENGTH,
            "tool_change_tip",
            "lowest tip at a tool change, machine Z",
            changes.tip_mm,
            plus_minus=spread.get("tip"),
        )
    ]
    for name, label, pose, turning in (
        ("tool_change_flat", "tool change with the platter flat", "flat", False),
        ("tool_change_upright", "tool change with the platter upright", "upright", False),
        ("tool_change_upright_turning", "the same while the platter turns", "upright", True),
    ):
        room = changes.worst(pose, turning)
        if room is not None:
            key = f"change {pose}{' turning' if turning else ''}"
            found.append(
                figure(
                    units,
                    Kind.LENGTH,
                    name,
                    f"room at a {label}" if "tool" in label else f"room, {label}",
                    room,
                    plus_minus=spread.get(key),
                    limit=keep.value if keep else 0.0,
                    limit_kind="min",
                    note="longest tool, spindle over the load; below the limit: forbidden",
                )
            )
    return found


def flange_figures(findings: Findings, match: FlangeMatch) -> list[Figure]:
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


def place_tables(findings: Findings, place: Place | None) -> list[Table]:
    """Return every seat, and every condition of the chosen place."""
    units = findings.units
    mm = units.unit(Kind.LENGTH)
    found: list[Table] = []
    try:
        ranked = findings.places.places
    except Lacking:
        ranked = ()
    if ranked:
        # A place is not "ok" while a condition that every place must keep could not be judged.
        unjudged = [item.reason for item in findings.left_out if item.reason in CORE]
        passed = "not judged: " + ", ".join(dict.fromkeys(unjudged)) if unjudged else "ok"
        rows = tuple(
            (
                seat_text(findings, item),
                _shown(units, Kind.ANGLE, item.yaw_rad),
                _shown(units, Kind.LENGTH, item.offset_mm),
                _shown(units, Kind.LENGTH, item.x_mm),
                _shown(units, Kind.LENGTH, item.y_mm),
                f"{item.stations[0]} of {item.stations[1]}" if item.stations[1] else None,
                ", ".join(item.reasons) or passed,
                _shown(units, Kind.LENGTH, item.tightest.margin_mm) if item.tightest else None,
                item.tightest.note if item.tightest else None,
            )
            for item in ranked[:MOST_PLACES]
        )
        more = len(ranked) - len(rows)
        title = "Places on the T-slots, the best first"
        found.append(
            Table(
                "placements",
                title + (f" ({more} worse ones left out)" if more else ""),
                (
                    Column("seat", "lugs"),
                    Column("yaw", "yaw", units.unit(Kind.ANGLE)),
                    Column("offset", "from middle slot", mm),
                    Column("centre_x", "centre X", mm),
                    Column("centre_y", "centre Y", mm),
                    Column("stations", "stations"),
                    Column("reasons", "fails"),
                    Column("least_margin", "least room", mm),
                    Column("tightest", "tightest"),
                ),
                rows,
            )
        )
    if place is not None and place.margins:
        spread = findings.spreads
        found.append(
            Table(
                "conditions",
                "Conditions of the place that is judged",
                (
                    Column("reason", "reason"),
                    Column("what", "what"),
                    Column("margin", "room", mm),
                    Column("plus_minus", "+-", mm),
                    Column("kept", "kept"),
                ),
                tuple(
                    (
                        margin.reason,
                        margin.note,
                        _shown(units, Kind.LENGTH, _finite(margin.margin_mm)),
                        _shown(units, Kind.LENGTH, spread.get(margin_key(margin))),
                        "yes" if margin.kept else "no",
                    )
                    for margin in place.margins
                ),
            )
        )
    return found


def change_table(
    findings: Findings, changes: ChangeFinding, allowed: dict[ChangeRow, bool]
) -> Table:
    """Return every tool in every pose; turns that leave the same room share one row."""
    units = findings.units
    rows: dict[tuple[Cell, ...], None] = {}
    for row in changes.rows:
        turn: Cell = "turning" if row.turn_rad is None else angle_text(row.turn_rad)
        rows[
            (
                row.tool,
                _shown(units, Kind.LENGTH, row.length_mm),
                row.pose,
                _shown(units, Kind.ANGLE, row.tilt_rad),
                turn,
                _shown(units, Kind.LENGTH, row.clearance_mm),
                "yes" if allowed[row] else "no",
            )
        ] = None
    return Table(
        "tool_change",
        "Tool changes over the load",
        (
            Column("tool", "tool"),
            Column("length", "length", units.unit(Kind.LENGTH)),
            Column("pose", "pose"),
            Column("tilt", "tilt", units.unit(Kind.ANGLE)),
            Column("turn", "turn"),
            Column("clearance", "room", units.unit(Kind.LENGTH)),
            Column("allowed", "allowed"),
        ),
        tuple(_joined_turns(rows)),
    )


def flange_table(findings: Findings, match: FlangeMatch) -> Table:
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
                _shown(units, Kind.ANGLE, clocking.middle_rad),
                _shown(units, Kind.ANGLE, (clocking.high_rad - clocking.low_rad) / 2.0),
                len(clocking.pairs),
                _holes(match.platter_holes, [pair[0] for pair in clocking.pairs]),
                _holes(match.fixture_holes, [pair[1] for pair in clocking.pairs]),
            )
            for which, clocking in entries
        ),
    )


def _one_of(count: int) -> str:
    return "the only one" if count == 1 else f"one of {count}"


def _joined_turns(rows: dict[tuple[Cell, ...], None]) -> list[tuple[Cell, ...]]:
    """Join rows that differ only in the turn of the platter."""
    joined: dict[tuple[Cell, ...], list[str]] = {}
    for row in rows:
        key = (*row[:4], *row[5:], row[4] == "turning")
        joined.setdefault(key, []).append(str(row[4]))
    return [(*key[:4], ", ".join(turns), *key[4:6]) for key, turns in joined.items()]


def _holes(angles_rad: tuple[float, ...], numbers: list[int]) -> str:
    return ", ".join(f"{round(math.degrees(angles_rad[i]), 2):g}" for i in numbers) or "none"


def _shown(units: Units, kind: Kind, value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(units.shown(kind, value), 6) + 0.0


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _along_x(place: Place) -> bool:
    return abs(math.cos(place.yaw_rad)) >= abs(math.sin(place.yaw_rad))
