"""What the processes beside the server can be asked to do, by name.

A task gets the `Room` (cell, findings, programs), its `Job` (progress, stop) and the words of the
request; it gives back what goes over the wire, or bytes, and raises `Refused` for what a person
asked and cannot have.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from gudgeon import __version__
from gudgeon.faces.web import wire
from gudgeon.faces.web.worker import READING_PART, Job, Refused, Room

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic import BaseModel

    from gudgeon.answer import Answer
    from gudgeon.cell.journal import Journal
    from gudgeon.findings import Findings

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
    from gudgeon.findings.base import Stopped
    from gudgeon.questions import find_questions

    asked = find_questions()[question]
    begun = time.monotonic()
    low = 0.0
    if getattr(asked, "USES_PROGRAM", False):
        inputs = room.shop.look().everything
        findings, low = room.with_programs(inputs, job), READING_PART
    else:
        inputs = room.shop.inputs(program)
        findings = room.findings
        findings.programs = () if program is None else (room.program(program, job),)
    if not getattr(asked, "NEEDS_PROGRAM", False):  # whose proofs tell how far they are
        findings.told = job.told(low, 1.0)
    try:
        view = answer_view(asked.answer(findings), asked.ASKS)
    except Stopped:
        view = wire.AnswerView(question=question, asks=asked.ASKS, state="stopped")
        view.what = "stopped before the end"
    finally:
        findings.told = None
    if job.heeded and view.answer is not None:
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


# --- the scene ----------------------------------------------------------------------------------


def scene(room: Room, job: Job) -> wire.SceneView:
    """Return what the scene shows at once beside its model."""
    from gudgeon.faces.web.scene import scene_view

    findings = room.findings
    return scene_view(findings, room.loaded()[0])


def scene_more(room: Room, job: Job) -> wire.SceneMore:
    """Return what the scene shows once it is worked out."""
    from gudgeon.faces.web.scene import scene_more

    findings = room.findings
    return scene_more(findings, room.loaded()[0])


def scene_model(room: Room, job: Job, full: bool) -> bytes:
    """Return the bodies as binary glTF."""
    from gudgeon.faces.web.scene import model

    return model(room.findings, full=full)


def gap(
    room: Room, job: Job, pose: Sequence[float], tool: int | None, stand: Sequence[float] | None
) -> wire.Gap:
    """Return the smallest gap at one pose."""
    from gudgeon.faces.web.scene import gap_view

    return gap_view(room.findings, pose, tool, stand)


# --- entering -----------------------------------------------------------------------------------


def entries(room: Room, job: Job) -> wire.Form:
    """Return the cell file as a form."""
    from gudgeon.faces.web.forms import form_of

    journal = _journal(room)
    with _told(room):
        text, digest = journal.read()
        state = journal.state()
    faults = room.loaded()[1].faults
    return form_of(
        text,
        room.path.name,
        digest,
        faults,
        can_undo=state.undo is not None,
        can_redo=state.redo is not None,
    )


def edit(room: Room, job: Job, asked: wire.Edit) -> wire.Edited:
    """Make changes in the cell file."""
    from gudgeon.faces.web.forms import edited

    with _told(room):
        edited(_journal(room), asked.digest, asked.changes)
    return _edited(room)


def undo(room: Room, job: Job, digest: str) -> wire.Edited:
    """Take the last change back."""
    with _told(room):
        _journal(room).undo(digest)
    return _edited(room)


def redo(room: Room, job: Job, digest: str) -> wire.Edited:
    """Make the change again that was taken back."""
    with _told(room):
        _journal(room).redo(digest)
    return _edited(room)


def _journal(room: Room) -> Journal:
    from gudgeon.cell.journal import Journal

    return Journal(room.path, _store(room))


def _store(room: Room) -> Path:
    return room.shop.folder / ".gudgeon" / "edits.sqlite"


def _edited(room: Room) -> wire.Edited:
    from gudgeon.faces.web.forms import fault_view

    with _told(room):
        state = _journal(room).state()
    return wire.Edited(
        digest=state.digest,
        faults=[fault_view(fault) for fault in room.loaded()[1].faults],
        can_undo=state.undo is not None,
        can_redo=state.redo is not None,
    )


@contextmanager
def _told(room: Room) -> Iterator[None]:
    """Tell what cannot be done in the words of a reply."""
    from gudgeon.cell.edit import EditError
    from gudgeon.cell.journal import ChangedMeanwhile, NothingToDo
    from gudgeon.cell.readings_grow import RowError
    from gudgeon.cell.store_file import StoreError

    name = room.path.name
    try:
        yield
    except ChangedMeanwhile as changed:
        mend = "look at what has changed, then make the change again"
        raise Refused(409, str(changed), name, mend, changed.now) from None
    except (EditError, NothingToDo, RowError, StoreError) as problem:
        raise Refused(422, str(problem), name) from None
    except UnicodeDecodeError:
        raise Refused(
            422, "the cell file is not plain text in UTF-8", name, "save it as UTF-8 in the editor"
        ) from None
    except OSError as problem:
        reason = (problem.strerror or str(problem)).lower()
        mend = "check the rights of the file and the room on the disk"
        raise Refused(
            422, f"the cell file cannot be read or written: {reason}", name, mend
        ) from None


def readings(room: Room, job: Job) -> wire.ReadingsView:
    """Return the table of readings, and what to read next."""
    from gudgeon.faces.web.forms import fault_view
    from gudgeon.faces.web.readings import readings_view

    with _told(room):
        view = readings_view(_without_bad_rows(room), room.path)
    view.faults = [
        fault_view(fault)
        for fault in room.loaded()[1].faults
        if any(place.file == view.file for place in fault.places)
    ]
    return view


def _without_bad_rows(room: Room) -> Findings:
    """Return the findings; without the table of readings where that makes the cell unreadable.

    A row that contradicts the others must be seen and taken back, whatever it breaks.
    """
    from gudgeon.cell.files import load
    from gudgeon.findings import Findings

    _, read = room.loaded()
    rest = load(room.path, readings=False, links=False) if read.cell is None else read
    if rest.cell is None:
        return room.findings  # which tells why there are none
    name = rest.cell.readings.file
    if name is not None and room.shop.inside(name) is None:
        raise Refused(
            422,
            "the table of readings is not in the folder of the cell file",
            name[:200],
            "name one that lies beside the cell file, or take the entry readings.file out",
        )
    return room.findings if read.cell is not None else Findings(rest.cell)


def add_reading(room: Room, job: Job, digest: str, row: Mapping[str, str]) -> wire.ReadingsView:
    """Add a row to the table of readings."""
    from gudgeon.faces.web import readings as table

    with _told(room):
        table.add_reading(_without_bad_rows(room).cell, room.path, _store(room), digest, row)
    return readings(room, job)


def take_back_reading(room: Room, job: Job, digest: str) -> wire.ReadingsView:
    """Take the last row of the table of readings out."""
    from gudgeon.faces.web import readings as table

    with _told(room):
        table.take_back_reading(_without_bad_rows(room).cell, room.path, _store(room), digest)
    return readings(room, job)


@contextmanager
def _known() -> Iterator[None]:
    """Tell what is missing in the words of a reply."""
    from gudgeon.findings import Lacking

    try:
        yield
    except Lacking as lacking:
        first = lacking.missing[0]
        raise Refused(422, f"{first.what} is missing", first.where, first.how_to_get_it) from None


def track(room: Room, job: Job, program: str, prove: bool) -> bytes:
    """Return a program as a course over time; without `prove` with the gaps that are kept."""
    from gudgeon.faces.web.playback import track_bytes

    with _known():
        return track_bytes(room.findings, room.program(program, job, prove=prove))


def spots(room: Room, job: Job, program: str, prove: bool) -> wire.Spots:
    """Return the tight spots of a program; without `prove` those that are kept."""
    from gudgeon.faces.web.playback import spots_of

    with _known():
        return wire.Spots(spots_of(room.findings, room.program(program, job, prove=prove)))


TASKS: Final[Mapping[str, Callable[..., BaseModel | bytes]]] = {
    "cell": cell,
    "answer": answer,
    "scene": scene,
    "scene_more": scene_more,
    "scene_model": scene_model,
    "gap": gap,
    "track": track,
    "spots": spots,
    "entries": entries,
    "edit": edit,
    "undo": undo,
    "redo": redo,
    "readings": readings,
    "add_reading": add_reading,
    "take_back_reading": take_back_reading,
}
