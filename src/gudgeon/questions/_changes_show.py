"""Figures, tables and pictures of the question `changes`."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Final

from gudgeon.answer import Cell, Column, Figure, Picture, Table
from gudgeon.drawing.pose_map import pose_map
from gudgeon.findings import Findings
from gudgeon.findings.changing import ChangingFinding, Room
from gudgeon.findings.parking import Way
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._change_ranges import degrees
from gudgeon.questions._shared import figure

__all__ = [
    "change_figures",
    "change_pictures",
    "map_table",
    "pair_table",
    "room_table",
    "way_table",
    "way_words",
]

KINDS: Final = ("clear", "not clear", "cannot tell")
MOST_PAIRS: Final = 60
MOST_REGIONS: Final = 80


def change_figures(
    findings: Findings, found: ChangingFinding, rooms: tuple[Room, ...]
) -> list[Figure]:
    """Return tip, room and the best pose."""
    units = findings.units
    shown = [
        figure(
            units,
            Kind.LENGTH,
            "tip_lowest_z",
            "lowest Z of the longest tool's tip at a change",
            found.tip_mm,
            note=f"with {found.maps[0].hand.name}, pulled down",
        )
    ]
    longest = found.maps[0].hand.name
    for name in ("flat", "upright"):
        worst = min(
            (
                room.room_mm
                for room in rooms
                if room.tool == longest and room.pose == name and room.turn_rad is not None
            ),
            default=None,
        )
        if worst is not None and math.isfinite(worst):
            shown.append(
                figure(
                    units,
                    Kind.LENGTH,
                    f"room_{name}",
                    f"room under {longest}, {'tilt 0' if name == 'flat' else 'tilt 90 or -90'}",
                    worst,
                    limit=found.need_mm,
                    limit_kind="min",
                    note="the least; negative: it would hit",
                )
            )
    if found.park is not None:
        for name, label, angle in (
            ("park_tilt", "best tilt for a change", found.park.tilt_rad),
            ("park_turn", "best turn for a change", found.park.turn_rad),
        ):
            shown.append(figure(units, Kind.ANGLE, name, label, angle, note=found.park.name))
    cells = found.together.cells
    shown.append(
        figure(
            units,
            Kind.SHARE,
            "clear_share",
            "share of all tilts and turns in which every tool may be changed",
            float((cells == 0).mean()),
            note="proven, cell by cell",
        )
    )
    return shown


def room_table(findings: Findings, rooms: tuple[Room, ...]) -> Table:
    """Return the room of each tool in each named pose."""
    units = findings.units
    rows: list[tuple[Cell, ...]] = [
        (
            room.tool,
            room.pose,
            degrees(room.tilt_rad),
            "turning" if room.turn_rad is None else degrees(room.turn_rad),
            None
            if not math.isfinite(room.room_mm)
            else round(units.shown(Kind.LENGTH, room.room_mm), 4 if units.inch else 2) + 0.0,
            "yes" if room.allowed else "no",
        )
        for room in rooms
    ]
    return Table(
        "change_room",
        "Room under the tool while it is changed (proven; negative: it would hit); of two tools "
        "the longer counts",
        (
            Column("tool", "tool"),
            Column("pose", "pose"),
            Column("tilt", "tilt", "deg"),
            Column("turn", "turn", "deg"),
            Column("room", "room", units.unit(Kind.LENGTH)),
            Column("allowed", "change here"),
        ),
        tuple(rows),
    )


def map_table(found: ChangingFinding) -> Table:
    """Return the map for all tools as ranges of tilt and turn."""
    from gudgeon.clearance.envelope import rectangles

    regions = rectangles(found.together)
    rows: list[tuple[Cell, ...]] = [
        (
            degrees(region.tilt_rad[0]),
            degrees(region.tilt_rad[1]),
            degrees(region.turn_rad[0]),
            degrees(region.turn_rad[1]),
            KINDS[int(region.cell)],
        )
        for region in regions[:MOST_REGIONS]
    ]
    more = len(regions) - MOST_REGIONS
    return Table(
        "change_map",
        "Where every tool may be changed for every other"
        + (f" (the first {MOST_REGIONS} of {len(regions)} ranges)" if more > 0 else ""),
        (
            Column("tilt_low", "tilt from", "deg"),
            Column("tilt_high", "to", "deg"),
            Column("turn_low", "turn from", "deg"),
            Column("turn_high", "to", "deg"),
            Column("state", "every position in it"),
        ),
        tuple(rows),
    )


def pair_table(found: ChangingFinding) -> Table | None:
    """Return, for each pair of tools, in how much of the map they may be changed."""
    if len(found.maps) < 2:
        return None
    rows: list[tuple[Cell, ...]] = []
    for one, other in list(combinations(found.maps, 2))[:MOST_PAIRS]:
        cells = one.map.joined(other.map).cells
        share = float((cells == 0).mean())
        state = "every pose" if share == 1.0 else "no whole cell" if share == 0.0 else "part"
        rows.append((one.hand.name, other.hand.name, round(100.0 * share, 1), state))
    return Table(
        "change_pairs",
        "Each tool for each other: share of tilts and turns proven clear",
        (
            Column("one", "tool"),
            Column("other", "for tool"),
            Column("share", "proven clear", "%"),
            Column("state", "where"),
        ),
        tuple(rows),
    )


def way_table(findings: Findings, found: ChangingFinding) -> Table | None:
    """Return the way from each pose that is worked in to the pose for the change."""
    if found.park is None or not found.ways:
        return None
    rows: list[tuple[Cell, ...]] = []
    for way in found.ways:
        rows.append(
            (
                way.pose.name,
                degrees(way.pose.tilt_rad),
                degrees(way.pose.turn_rad),
                way_words(findings, way),
                "proven for every tool"
                if way.gap is None
                else f"not proven: {' and '.join(name for name in way.gap.pair if name)}",
            )
        )
    return Table(
        "change_ways",
        "The way from each pose that is worked in to the pose for the change",
        (
            Column("from", "from"),
            Column("tilt", "tilt", "deg"),
            Column("turn", "turn", "deg"),
            Column("steps", "steps"),
            Column("proven", "proof"),
        ),
        tuple(rows),
    )


def way_words(findings: Findings, way: Way) -> str:
    """Return the steps of a way as an order."""
    if way.steps == ("Z",):
        return "Z to the top; it stands right"
    words = ["Z to the top"]
    for step in way.steps[1:]:
        if step == "X Y" and way.place_mm is not None:
            x, y = (findings.units.text(Kind.LENGTH, value) for value in way.place_mm)
            words.append(f"then to X {x}, Y {y}")
        elif step == "turn" and "tilt" not in way.steps:
            words.append("then turn to the pose")
        else:
            words.append("then the tilt alone" if step == "tilt" else "then the turn alone")
    return ", ".join(words)


def change_pictures(findings: Findings, found: ChangingFinding) -> tuple[Picture, ...]:
    """Return the map, and the closest pose of all in two views."""
    together = found.together
    pictures: tuple[Picture, ...] = ()
    if len(together.tilts) > 2 and float(together.tilts[-1] - together.tilts[0]) > 0.0:
        marks = [(pose.tilt_rad, pose.turn_rad, pose.name) for pose in findings.work_poses]
        if found.park is not None:
            marks = [mark for mark in marks if mark[2] != found.park.name]
            marks.append((found.park.tilt_rad, found.park.turn_rad, "change here"))
        first = float(together.turns[0])
        marks = [
            (tilt, first + (turn - first) % (2.0 * math.pi), words) for tilt, turn, words in marks
        ]
        pictures = (
            Picture(
                "change_map",
                "Tilt to the right, turn up: where every tool may be changed",
                pose_map(
                    "changes-map",
                    together.tilts.tolist(),
                    together.turns.tolist(),
                    together.cells.tolist(),
                    marks[:12],
                ),
            ),
        )
    return pictures
