"""What the processes beside the server can be asked to do, by name.

A task gets the `Room` (cell, findings, programs), its `Job` (progress, stop) and the words of the
request; it gives back what goes over the wire, or bytes, and raises `Refused` for what a person
asked and cannot have.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final

from gudgeon import __version__
from gudgeon.faces.web import wire
from gudgeon.faces.web.worker import Job, Refused, Room

if TYPE_CHECKING:
    from pydantic import BaseModel

    from gudgeon.answer import Answer

__all__ = ["TASKS"]


def cell(room: Room, job: Job) -> wire.CellView:
    """Return the cell file and what can be asked of it; faults of the file are part of it."""
    from gudgeon.cell.faults import in_order
    from gudgeon.faces.web.forms import fault_view
    from gudgeon.questions import list_questions

    inputs, loaded = room.loaded()
    held, shop = loaded.cell, room.shop
    files = shop.look()
    declared = {} if held is None else {one.file: one.clearance for one in held.programs}
    names = [name for name in declared if name is not None] if held else shop.programs()
    programs = []
    for name in names:
        asked = declared.get(name)
        programs.append(
            wire.ProgramFile(
                file=name,
                clearance=None if asked is None else asked.value,
                there=shop.inside(name) is not None,
            )
        )
    units = None if held is None else held.shop.units
    return wire.CellView(
        file=shop.cell.name,
        name=(held.shop.name if held is not None else None) or shop.cell.name,
        digest=files.cell,
        inputs=inputs,
        units="in" if units == "in" else "mm" if units == "mm" else None,
        read_only=room.read_only,
        questions=[
            wire.QuestionView(name=one.name, asks=one.asks, needs_program=one.needs_program)
            for one in list_questions()
        ],
        programs=programs,
        cells=shop.cells(),
        faults=[fault_view(fault) for fault in in_order(loaded.faults)],
        letters=wire.Letters(
            tilt=None if held is None else held.control.tilt_letter,
            rotary=None if held is None else held.control.rotary_letter,
        ),
        version=__version__,
    )


def answer(room: Room, job: Job, question: str, program: str | None) -> wire.AnswerView:
    """Answer a question, about a program or without one."""
    from gudgeon.questions import find_questions

    asked = find_questions()[question]
    begun, inputs = time.monotonic(), room.shop.inputs(program)
    findings = room.findings
    findings.programs = () if program is None else (room.program(program, job),)
    found = asked.answer(findings)
    view = answer_view(found, asked.ASKS)
    if job.heeded:
        kept = "" if room.read_only else "; what is proven so far is kept"
        view.state, view.what = "stopped", f"stopped before the end{kept}"
    view.program, view.inputs = program, inputs
    view.seconds = round(time.monotonic() - begun, 3)
    return view


def answer_view(found: Answer, asks: str) -> wire.AnswerView:
    """Return an answer as it goes over the wire, with every number in words too."""
    from gudgeon.faces.gauge import gauge_svg
    from gudgeon.faces.wording import cells, is_number, plain_data, worded

    figures, tables = [], []
    for figure in found.figures:
        said = worded(figure)
        figures.append(
            wire.Shown(
                name=figure.name,
                value=said.value,
                limit=said.limit,
                number=said.number,
                bound=said.bound,
                standing=said.standing.value,
                gauge=gauge_svg(figure),
            )
        )
    for table in found.tables:
        columns = [[row[i] for row in table.rows] for i in range(len(table.columns))]
        texts = [
            cells(column, values) for column, values in zip(table.columns, columns, strict=True)
        ]
        right = [
            bool(values) and all(value is None or is_number(value) for value in values)
            for values in columns
        ]
        rows = [list(row) for row in zip(*texts, strict=True)]
        tables.append(wire.ShownTable(name=table.name, right=right, rows=rows))
    return wire.AnswerView(
        question=found.question,
        asks=asks,
        state="done",
        share=1.0,
        answer=wire.AnswerData.model_validate(plain_data(found.as_data())),
        figures=figures,
        tables=tables,
    )


def _later(room: Room, job: Job, **_: Any) -> wire.Step:
    raise Refused(501, "this part of the page is not there yet")


_TO_COME: Final = (
    *("scene", "scene_model", "gap", "track", "spots"),
    *("entries", "edit", "undo", "redo", "readings", "add_reading", "take_back_reading"),
)

TASKS: Final[Mapping[str, Callable[..., BaseModel | bytes]]] = {
    "cell": cell,
    "answer": answer,
    **dict.fromkeys(_TO_COME, _later),
}
