"""Commissioning: the readings that find the two axis lines, with boxes to write them in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gudgeon.answer import Missing
from gudgeon.cell.blank_table import RowToRead, blank_cells
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.expected_readings import Expected, expected_readings
from gudgeon.findings.procedure import touch_orders
from gudgeon.findings.rows_to_read import proposed_rows
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._dangers import PROBE
from gudgeon.sheets._said import gap_words, pose
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Cautions, Grid, Head, Heading, Step, Steps, Words

__all__ = ["centre_readings"]

BRAKES: Final = (
    "Set the brakes before you touch. Keep hands and hoses away from cradle and platter while "
    "anything turns."
)
BRAKE: Final = (
    "Set the brake before you touch. Keep hands and hoses away from the platter while it turns."
)

WIDE: Final = (
    "Is a reading further off than its limit? Then stop, and read it once more. Is it still off? "
    "Then look at the pose, the tip and the zero of the machine before you go on."
)


def centre_readings(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return the readings to take and the table to write them in; and what they lack."""
    findings = known.findings
    heading = Heading("Touch the platter: where do the two axis lines run?")
    if not findings.has_tilt:
        heading = Heading("Touch the platter: where does the rotary line run?")
    try:
        rows, steps, done = _wanted(findings)
    except Lacking as lacking:
        step = Step(
            "centre_readings", "Touch the platter for the axis lines.", lack=gap_words(lacking)
        )
        return (heading, Steps((step,))), lacking.missing
    blocks: list[Block] = [heading]
    if done:
        blocks.append(
            Words(
                "The readings at hand tell the lines as surely as this work wants. Take these few "
                "once more as a check, and after every bump."
            )
        )
    blocks += [
        Words("The work offsets of all tilted faces hang on these lines.", "why"),
        Cautions((PROBE, BRAKES if findings.has_tilt else BRAKE)),
        Steps(steps),
        *_grids(findings, rows),
        Words(
            "Write down what the control shows, with the tool length taken off. Write X, Y and "
            "Z of each touch, for they tell where the tip stood. Leave a row blank that was not "
            "read."
        ),
        Words(WIDE),
        Words(_typing(findings)),
    ]
    return tuple(blocks), ()


def _wanted(findings: Findings) -> tuple[list[RowToRead], tuple[Step, ...], bool]:
    """Return rows, steps, and whether they are only a check; raises `Lacking`."""
    proposed = proposed_rows(findings)
    if proposed:
        orders: dict[str, list[int]] = {}
        for number, proposal in enumerate(proposed.values(), start=1):
            orders.setdefault(proposal.how, []).append(number)
        return list(proposed), _steps(orders), False
    study = findings.line_study
    rows: dict[RowToRead, None] = {}
    orders = {}
    for order in touch_orders(study.frame, findings.senses, findings.cell.unit.tilt_range):
        for row in order.rows:
            rows.setdefault(row)
            orders.setdefault(order.how, []).append(list(rows).index(row) + 1)
    return list(rows), _steps(orders), True


def _steps(orders: dict[str, list[int]]) -> tuple[Step, ...]:
    return tuple(
        Step(f"touch_{number}", _sentences(how), see=_written(rows))
        for number, (how, rows) in enumerate(orders.items(), start=1)
    )


def _sentences(order: str) -> str:
    """Return an order as short sentences, each with a capital."""
    parts = [part.strip() for part in order.replace(", or use ", "; or use ").split("; ")]
    return ". ".join(part[:1].upper() + part[1:].removesuffix(".") for part in parts if part) + "."


def _written(rows: Sequence[int]) -> str:
    if len(rows) == 1:
        return f"Write it in row {rows[0]}."
    if rows[-1] - rows[0] == len(rows) - 1:
        return f"Write it in rows {rows[0]} to {rows[-1]}."
    return f"Write it in rows {', '.join(str(row) for row in rows)}."


def _grids(findings: Findings, rows: list[RowToRead]) -> tuple[Grid, Grid]:
    """Return what each row should show, and the table with the very columns that are read back."""
    heads, cells = blank_cells(rows, findings.cell)
    names = [name for name, _ in heads]
    remark = names.index("remark")
    unit = findings.units.unit(Kind.LENGTH)
    told, boxes = [], []
    for row, line, expected in zip(rows, cells, expected_readings(findings, rows), strict=True):
        told.append(
            (
                line[0],
                pose(findings, row.tilt_rad, row.rotary_rad),
                line[names.index("what")],
                row.toward or "-",
                line[remark].removeprefix("near ") or "-",
                ", ".join(_told(findings, one) for one in expected) or "-",
            )
        )
        boxes.append((*line[:remark], "", *line[remark + 1 :]))
    expect = Grid(
        "expected_readings",
        "Where to touch, and what each row should show",
        (
            Head("id", "row"),
            Head("pose", "pose"),
            Head("what", "touch"),
            Head("toward", "moving"),
            Head("near", "near", unit),
            Head("expect", "expect, and its limit either way", unit),
        ),
        tuple(told),
    )
    # The remark too is for the pen.
    blanks = tuple(Head(name, name, blank=blank or name == "remark") for name, blank in heads)
    return expect, Grid("readings", "Readings to take", blanks, tuple(boxes))


def _told(findings: Findings, one: Expected) -> str:
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    value = units.text(Kind.LENGTH, one.value_mm).removesuffix(f" {unit}")
    sure = units.text(Kind.LENGTH, one.plus_minus_mm, limit="min").removesuffix(f" {unit}")
    return f"{one.letter} {value} +- {sure}"


def _typing(findings: Findings) -> str:
    file = findings.cell.readings.file
    if file:
        into = f"Copy the rows into {file}, under the same heads."
    else:
        into = (
            "Copy the rows into a table with the same heads, and name it in the cell file: "
            "readings.file."
        )
    return f'{into} Then ask "turns" where the lines run, and how surely.'
