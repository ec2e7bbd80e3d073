"""Set-up sheet: how everything stands, tools, work offsets, poses, what goes stale."""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Answer, Figure, Missing, Verdict
from gudgeon.cell.model import Bolts
from gudgeon.findings import Findings, Lacking
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._dangers import MANUALS, pressure_words, swing_words
from gudgeon.sheets._stale import stale_rows
from gudgeon.sheets._tables import Gaps, amount_text, as_grid, known, number_text
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import (
    Block,
    Cautions,
    Grid,
    Head,
    Heading,
    Sheet,
    Words,
)

__all__ = ["NAME", "PLACE", "TITLE", "sheet"]

NAME: Final = "setup"
TITLE: Final = "Set-up sheet"
PLACE: Final = 300

SEEN: Final = Head("seen", "seen", blank=True)

LINES: Final = (
    ("tilt_x", "tilt line, machine X"),
    ("tilt_y", "tilt line, machine Y"),
    ("tilt_z", "tilt line, machine Z"),
    ("platter_x", "rotary line, machine X"),
    ("platter_y", "rotary line, machine Y"),
    ("rotary_x", "rotary line, machine X"),
    ("rotary_y", "rotary line, machine Y"),
    ("rotary_z", "rotary line, machine Z"),
    ("axis_offset", "from the tilt line to the rotary line"),
    ("face_height", "platter face over the tilt line"),
)
"""Figures of the answer about the axis lines that belong on this sheet."""

FIRST_RUN: Final = (
    "Run each new work offset first with the tool high over the part. Use slow rapid, keep a hand "
    "on the stop, and read on the screen how far it has to go."
)


def sheet(known_facts: Known) -> Sheet:
    """Return the set-up sheet."""
    findings, gaps = known_facts.findings, Gaps()
    blocks: list[Block] = [
        Cautions(_cautions(findings)),
        Heading("How it stands"),
        *_standing(known_facts, gaps),
        Heading("Tools"),
        *_tools(findings, gaps),
        Heading("Work offsets"),
        *_offsets(known_facts, gaps),
        Heading("When something has moved"),
        *_stale(findings),
        Heading("Safe height and tool change"),
        *_heights(known_facts, gaps),
    ]
    return Sheet(
        NAME,
        TITLE,
        "Hangs at the machine. Use it when unit or fixture go back on, and before the first part "
        "of a job.",
        tuple(blocks),
        tuple(gaps.missing),
    )


def _cautions(findings: Findings) -> tuple[str, ...]:
    told = [MANUALS]
    told += [text for text in (swing_words(findings), pressure_words(findings.cell)) if text]
    if known(lambda: findings.offsets) is not None:
        told.append(FIRST_RUN)
    return tuple(told)


def _figure_row(figure: Figure, label: str) -> tuple[str, ...]:
    sure = "-" if figure.plus_minus is None else number_text(figure.plus_minus, figure.unit)
    assert figure.value is not None
    return (label, number_text(figure.value, figure.unit), sure, figure.unit, "")


def _standing(known_facts: Known, gaps: Gaps) -> list[Block]:
    """Return where machine, unit and fixture stand, with a place to tick each."""
    findings = known_facts.findings
    cell, units = findings.cell, findings.units
    rows: list[tuple[str, ...]] = []

    def named(label: str, name: str | None) -> None:
        if name:
            rows.append((label, name, "", "", ""))

    def entered(label: str, kind: Kind, amount: Amount | None) -> None:
        value, sure = amount_text(findings, kind, amount)
        if value:
            rows.append((label, value, sure, units.unit(kind), ""))

    named("mill", cell.machine.name)
    named("unit", cell.unit.name)
    named("fixture", cell.fixture.name)
    if findings.has_tilt and cell.placement.tilt_along:
        named("tilt axis lies along", cell.placement.tilt_along)
    entered("middle of the unit, machine X", Kind.LENGTH, cell.placement.centre_x)
    entered("middle of the unit, machine Y", Kind.LENGTH, cell.placement.centre_y)
    entered("unit turned on the table by", Kind.ANGLE, cell.placement.yaw)
    entered("plate under the unit", Kind.LENGTH, cell.placement.riser)
    named("bolts of the unit", _bolts(findings, cell.placement.bolts))
    entered("fixture turned on the platter by", Kind.ANGLE, cell.fixture.clocking)
    named("bolts of the fixture", _bolts(findings, cell.fixture.bolts))
    answer = known_facts.answer("turns")
    figures = {one.name: one for one in answer.figures if one.value is not None}
    rows += [_figure_row(figures[name], label) for name, label in LINES if name in figures]
    blocks: list[Block] = []
    if rows:
        heads = (
            Head("what", "what"),
            Head("set", "as set"),
            Head("plus_minus", "+-"),
            Head("unit", "in"),
            SEEN,
        )
        blocks.append(Grid("standing", "Check each line and tick it", heads, tuple(rows)))
    else:
        blocks.append(
            gaps.words(
                "Where the unit stands",
                (
                    Missing(
                        "place of the unit on the table",
                        f"{cell.file}: placement.centre_x",
                        "everything counts from there",
                        "measure the middle of the platter in machine X and Y",
                    ),
                ),
            )
        )
    if answer.missing and not any(name in figures for name, _ in LINES):
        blocks.append(gaps.words("The axis lines", answer.missing))
    return blocks


def _bolts(findings: Findings, bolts: Bolts) -> str:
    """Return a joint in short: how many, which thread, how tight."""
    told = f"{bolts.count} x {bolts.size}" if bolts.count and bolts.size else bolts.size or ""
    if bolts.torque is not None:
        told += f", {findings.units.text(Kind.TORQUE, bolts.torque.value, 0)}"
    return told.removeprefix(", ")


def _tools(findings: Findings, gaps: Gaps) -> list[Block]:
    cell, unit = findings.cell, findings.units.unit(Kind.LENGTH)
    if not cell.tools:
        return [
            gaps.words(
                "The tools",
                (
                    Missing(
                        "tools with their lengths",
                        f"{cell.file}: tools",
                        "how low the spindle comes hangs on them",
                        "add a [[tools]] table for each, with number and length",
                    ),
                ),
            )
        ]
    from_work = cell.control.lengths_from == "work"
    told = (
        "Tool lengths are set on the work here. Set them again after every change of a tool."
        if from_work
        else "Tool lengths count from the gauge point of the spindle to the tip."
    )
    rows = []
    for number, tool in enumerate(cell.tools, start=1):
        rows.append(
            (
                f"T{tool.number if tool.number is not None else number}",
                tool.name or "-",
                *(
                    amount_text(findings, Kind.LENGTH, one)[0] or "-"
                    for one in (tool.length, tool.cutter_diameter, tool.stickout)
                ),
                "",
            )
        )
    heads = (
        Head("tool", "tool"),
        Head("name", "what it is"),
        Head("length", "length", unit),
        Head("cutter", "cutter across", unit),
        Head("stickout", "stick-out", unit),
        Head("length_read", "length read", unit, blank=True),
    )
    return [Words(told), Grid("tools", "Tools in the changer", heads, tuple(rows))]


def _offsets(known_facts: Known, gaps: Gaps) -> list[Block]:
    findings = known_facts.findings
    answer = known_facts.answer("offsets")
    tables = {table.name: table for table in answer.tables}
    if "offsets" not in tables:
        return [gaps.words("The work offsets", answer.missing)]
    table = tables["offsets"]
    letters = findings.pose_letters
    heads = [
        ("word", "offset"),
        ("station", "station"),
        ("face", "face"),
        *([("tilt", letters[0].strip())] if findings.has_tilt else []),
        ("turn", letters[1].strip()),
        ("x", "X"),
        ("y", "Y"),
        ("z", "Z"),
        ("plus_minus", "+-"),
    ]
    blocks: list[Block] = [
        Words(
            "Enter each number as it stands here. Then read it once more on the screen and tick "
            "the row. The last number tells how sure the row is."
        ),
        as_grid(
            table,
            "Work offsets, one for each face",
            heads,
            (Head("entered", "entered", blank=True),),
        ),
    ]
    if "poses" in tables:
        used = tables["poses"]
        place = [column.name for column in used.columns].index("used")
        chosen = type(used)(
            used.name,
            used.title,
            used.columns,
            tuple(row for row in used.rows if row[place] == "yes"),
        )
        blocks.append(
            as_grid(
                chosen,
                "The pose in which each face is cut",
                [
                    ("part", "part"),
                    ("face", "face"),
                    ("stations", "stations"),
                    *([("tilt", letters[0].strip())] if findings.has_tilt else []),
                    ("turn", letters[1].strip()),
                ],
            )
        )
    return blocks


def _stale(findings: Findings) -> list[Block]:
    found = known(lambda: findings.offsets)
    if found is None:
        return [Words("Which offsets go stale is told here once the work offsets are known.")]
    heads = (
        Head("moved", "if this has moved"),
        Head("stale", "these offsets are stale"),
        Head("then", "do this, then enter them again"),
    )
    rows = tuple((row.what, row.stale, row.then) for row in stale_rows(findings, found))
    return [Grid("stale", "Which offsets go stale when something moves", heads, rows)]


def _heights(known_facts: Known, gaps: Gaps) -> list[Block]:
    findings = known_facts.findings
    units = findings.units
    blocks: list[Block] = []
    planes = known(lambda: findings.planes)
    if planes is None:
        answer = known_facts.answer("travels")
        blocks.append(gaps.words("The safe height", answer.missing))
    else:
        rows = []
        for plane in planes:
            height = (
                "never over the work"
                if plane.z_mm is None
                else units.text(Kind.LENGTH, plane.z_mm, limit="min")
            )
            rows.append((plane.hand.name, height))
        heads = (Head("tool", "tool"), Head("height", "cross the work at this machine Z or above"))
        blocks.append(Grid("heights", "Safe height for each tool", heads, tuple(rows)))
    blocks += _change(findings, known_facts.answer("changes"), gaps)
    return blocks


def _change(findings: Findings, answer: Answer, gaps: Gaps) -> list[Block]:
    """Return the rule of tool changes."""
    try:
        found = findings.changing
    except Lacking:
        return [gaps.words("Where a tool may be changed", answer.missing)]
    if answer.verdict is Verdict.YES:
        return [Words("Tools may be changed in every pose. No rule is needed.")]
    if found.park is not None:
        angles = (found.park.tilt_rad, found.park.turn_rad)
        pose = findings.pose_words(angles if findings.has_tilt else angles[1:])
        return [
            Words(
                "Before each tool change, and at the end of each program: first send Z to the top, "
                f"then turn the unit to {pose}."
            )
        ]
    if found.beside is not None:
        x, y = (units_text(findings, value) for value in found.beside)
        return [
            Words(
                "Before each tool change, and at the end of each program: first send Z to the top, "
                f"then send X to {x} and Y to {y}."
            )
        ]
    return [Words("No pose is known to be safe for a tool change. Ask before you call a tool.")]


def units_text(findings: Findings, value_mm: float) -> str:
    """Return a machine coordinate with its unit."""
    return findings.units.text(Kind.LENGTH, value_mm)
