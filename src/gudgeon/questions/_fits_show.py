"""Figures and tables of the question `fits`."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Cell, Column, Figure, Table
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.heights import ChangeFinding, ChangeRow, HeightsFinding
from gudgeon.findings.place_judged import Margin, Place
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.quantity.ties import firm
from gudgeon.questions._proof_views import angle_text
from gudgeon.questions._shared import figure

__all__ = [
    "CORE",
    "change_figures",
    "change_table",
    "height_figures",
    "margin_key",
    "place_figures",
    "place_tables",
    "seat_text",
    "shown",
]

CORE: Final = ("travel", "head room")
"""Without these nobody can say that it fits; the others are left out and told."""

MOST_PLACES: Final = 60
"""A table with more rows is not read; the best come first."""


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


def change_figures(
    findings: Findings, changes: ChangeFinding, *, proven: bool = False
) -> list[Figure]:
    """Return what a change of the longest tool leaves over the load, by the heights alone."""
    over = "longest tool, spindle over the load; "
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
                    note=over + ("the proof decides" if proven else "below the limit: forbidden"),
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
                shown(units, Kind.ANGLE, item.yaw_rad),
                shown(units, Kind.LENGTH, item.offset_mm),
                shown(units, Kind.LENGTH, item.x_mm),
                shown(units, Kind.LENGTH, item.y_mm),
                f"{item.stations[0]} of {item.stations[1]}" if item.stations[1] else None,
                ", ".join(item.reasons) or passed,
                shown(units, Kind.LENGTH, item.tightest.margin_mm) if item.tightest else None,
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
                        shown(units, Kind.LENGTH, _finite(margin.margin_mm)),
                        shown(units, Kind.LENGTH, spread.get(margin_key(margin))),
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
                shown(units, Kind.LENGTH, row.length_mm),
                row.pose,
                shown(units, Kind.ANGLE, row.tilt_rad),
                turn,
                shown(units, Kind.LENGTH, row.clearance_mm),
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


def _joined_turns(rows: dict[tuple[Cell, ...], None]) -> list[tuple[Cell, ...]]:
    """Join rows that differ only in the turn of the platter."""
    joined: dict[tuple[Cell, ...], list[str]] = {}
    for row in rows:
        key = (*row[:4], *row[5:], row[4] == "turning")
        joined.setdefault(key, []).append(str(row[4]))
    return [(*key[:4], ", ".join(turns), *key[4:6]) for key, turns in joined.items()]


def shown(units: Units, kind: Kind, value: float | None) -> float | None:
    """Return a value in the shop's units for a table; ``None`` where there is none."""
    if value is None or not math.isfinite(value):
        return None
    return round(units.shown(kind, value), 6) + 0.0


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _along_x(place: Place) -> bool:
    return abs(math.cos(place.yaw_rad)) >= abs(math.sin(place.yaw_rad))
