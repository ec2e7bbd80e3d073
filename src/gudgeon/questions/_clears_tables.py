"""Tables of the answer about a program's clearance."""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Column, Table
from gudgeon.findings.cleared import Judged
from gudgeon.findings.cleared_found import or_inf
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._clears_blocks import BlockJudged, Judgement

__all__ = ["ROWS_MOST", "tables"]

ROWS_MOST: Final = 5000
"""Blocks of one table: first those that are not clear, then the tightest."""

AT_A_GLANCE: Final = 40
"""From so many blocks on, those that count most stand in a table of their own."""

WORST_MOST: Final = 12

Entry = str | float | int | None


def tables(judged: list[Judgement]) -> tuple[Table, ...]:
    """Return every table that has rows."""
    made = (_worst(judged), _blocks(judged), _left(judged), _hung(judged), _next(judged))
    return tuple(table for table in made if table.rows)


def _worst(judged: list[Judgement]) -> Table:
    """Return what counts most of many blocks: the worst first, then the tightest."""
    many = sum(len(one.told) for one in judged) > AT_A_GLANCE
    rows: list[tuple[Entry, ...]] = []
    told = [(one, block) for one in judged for block in one.told] if many else []
    told.sort(key=lambda pair: (-pair[1].judged.rank, or_inf(pair[1].margin_mm), pair[1].row))
    for one, block in told[:WORST_MOST]:
        name = block.name if len(judged) == 1 else f"{one.cleared.program.name}: {block.name}"
        pair = " / ".join(block.pair) or None
        rows.append((name, block.kind, block.judged.value, one.length(block.margin_mm), pair))
    length = judged[0].findings.units.unit(Kind.LENGTH)
    return Table(
        "worst",
        f"Blocks that count most, of {len(told)}",
        (
            Column("block", "Block"),
            Column("motion", "Motion"),
            Column("verdict", "Verdict"),
            Column("margin", "Gap (negative: depth)", length),
            Column("pair", "Nearest bodies"),
        ),
        tuple(rows),
    )


def _blocks(judged: list[Judgement]) -> Table:
    one = judged[0]
    several = len(judged) > 1
    tilt, rotary = one.letters()
    length, angle = one.findings.units.unit(Kind.LENGTH), one.findings.units.unit(Kind.ANGLE)
    rows: list[tuple[Entry, ...]] = []
    total = 0
    for each in judged:
        chosen = _chosen(each)
        total += len(each.told)
        for block in chosen:
            row = _row(each, block)
            rows.append((each.cleared.program.name, *row) if several else row)
    columns: tuple[Column, ...] = (
        Column("block", "Block"),
        Column("line", "Line"),
        Column("motion", "Motion"),
        Column("tool", "Tool"),
        Column("verdict", "Verdict"),
        Column("margin", "Gap (negative: depth)", length),
        Column("at_least", "Gap is"),
        Column("without_flutes", "Gap without the flutes", length),
        Column("pair", "Nearest bodies"),
        Column("x", "X", length),
        Column("y", "Y", length),
        Column("z", "Z", length),
        Column("tilt", tilt, angle),
        Column("rotary", rotary, angle),
        Column("note", "Note"),
    )
    if several:
        columns = (Column("program", "Program"), *columns)
    title = "Blocks judged, machine coordinates where it is tightest"
    if len(rows) < total:
        title += f" (the {len(rows)} that count most of {total})"
    return Table("blocks", title, columns, tuple(rows))


def _chosen(one: Judgement) -> list[BlockJudged]:
    if len(one.told) <= ROWS_MOST:
        return one.told
    bad = [block for block in one.told if block.judged is not Judged.CLEAR][:ROWS_MOST]
    rest = sorted(
        (block for block in one.told if block.judged is Judged.CLEAR),
        key=lambda block: block.margin_mm,
    )
    return sorted([*bad, *rest[: ROWS_MOST - len(bad)]], key=lambda block: block.row)


def _row(one: Judgement, block: BlockJudged) -> tuple[Entry, ...]:
    joint = block.joint if len(block.joint) == 5 else (float("nan"),) * 5
    known = block.margin_mm == block.margin_mm
    return (
        block.name,
        block.line,
        block.kind,
        None if block.tool is None else f"T{block.tool}",
        block.judged.value,
        one.length(block.margin_mm),
        ("exact" if block.exact else "at least") if known else None,
        one.length(block.without_flutes_mm),
        " / ".join(block.pair) or None,
        *(one.length(value) for value in joint[:3]),
        *(one.angle(value) for value in joint[3:]),
        block.note or None,
    )


def _left(judged: list[Judgement]) -> Table:
    """Return what leaves a travel, and by how much."""
    rows: list[tuple[Entry, ...]] = []
    for one in judged:
        low, high = one.findings.joint_limits
        for block in one.told:
            found = one.cleared.rows[block.row]
            if found.limit is None:
                continue
            axis, at = found.limit
            bound = float(high[axis] if at > high[axis] else low[axis])
            shown = one.length if axis < 3 else one.angle
            unit = one.findings.units.unit(Kind.LENGTH if axis < 3 else Kind.ANGLE)
            rows.append((block.name, one.axis_name(axis), shown(at), shown(bound), unit))
    return Table(
        "beyond_travel",
        "Ends of travel that are left",
        (
            Column("block", "Block"),
            Column("axis", "Axis"),
            Column("at", "Would stand at"),
            Column("end", "End of travel"),
            Column("unit", "Unit"),
        ),
        tuple(rows),
    )


def _hung(judged: list[Judgement]) -> Table:
    """Return the blocks in which something comes where a hose may hang."""
    rows: list[tuple[Entry, ...]] = []
    total = sum(len(one.hung) for one in judged)
    for one in judged:
        for block in one.hung[: ROWS_MOST - len(rows)]:
            name = block.name if len(judged) == 1 else f"{one.cleared.program.name}: {block.name}"
            pair = " / ".join(block.pair) or None
            rows.append((name, block.line, block.kind, pair, block.note or None))
    more = f" (the first {len(rows)} of {total})" if len(rows) < total else ""
    return Table(
        "hoses",
        f"Blocks that come where a hose may hang, unless it is tied{more}",
        (
            Column("block", "Block"),
            Column("line", "Line"),
            Column("motion", "Motion"),
            Column("pair", "Bodies"),
            Column("note", "Note"),
        ),
        tuple(rows),
    )


def _next(judged: list[Judgement]) -> Table:
    """Return what the next run finds when it starts where this one ends."""
    rows: list[tuple[Entry, ...]] = []
    for one in judged:
        track = one.cleared.next_track
        if track is None:
            continue
        for row, found in one.cleared.next_run[:100]:
            rows.append(
                (
                    int(track.segments[row]["line"]),
                    found.judged.value,
                    one.length(found.margin_mm),
                    " / ".join(found.pair) or None,
                )
            )
    length = judged[0].findings.units.unit(Kind.LENGTH)
    return Table(
        "next_run",
        "Started again from the pose in which it ends",
        (
            Column("line", "Line"),
            Column("verdict", "Verdict"),
            Column("margin", "Gap (negative: depth)", length),
            Column("pair", "Nearest bodies"),
        ),
        tuple(rows),
    )
