"""The desk: every question with its answer, what is being worked on, and who is told of it.

Answers are kept under a digest of all files that they rest on.  The files are looked at several
times a second; an answer whose files have changed is worked out anew, and shown as stale until
then.  Whoever asks is served before what fills in by itself.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import secrets
from collections.abc import AsyncIterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from gudgeon.faces.web import wire
from gudgeon.faces.web.process import Died, Process, Worked
from gudgeon.faces.web.shop import Files, Shop
from gudgeon.faces.web.worker import Refused

__all__ = ["Desk"]

LOOK_EVERY_S: Final = 0.3
EVENTS_MOST: Final = 400
"""Events that wait for one slow page; then it is told to ask for everything anew."""

PROGRAMS_MOST: Final = 50
"""Programs asked about that the cell file does not name."""

STALE_GRACE_S: Final = 0.5
"""How long work on files that have changed may take to stop."""

JUDGED_BY: Final = "clears"
"""The question whose answer a program is played back with."""

Key = tuple[str, str | None]


@dataclass(slots=True)
class _Line:
    """One answer: `turn` is the greater the later it was asked for, `died` counts processes."""

    question: str
    program: str | None
    asks: str
    state: wire.State = "waiting"
    share: float = 0.0
    what: str = ""
    view: wire.AnswerView | None = None
    inputs: str = ""
    turn: int = 0
    stopping: bool = False
    died: int = 0
    uses_program: bool = False

    def rests_on(self, files: Files) -> str:
        """Return the digest of all that this answer rests on."""
        return files.everything if self.uses_program else files.inputs(self.program)


class Desk:
    """Everything that is worked out for one cell.

    Parameters
    ----------
    shop : Shop
    read_only : bool
        Nothing is written into the folder.
    files : Process, optional
        For files, if it was started already.
    """

    def __init__(
        self, shop: Shop, *, read_only: bool = False, files: Process | None = None
    ) -> None:
        self.shop, self.read_only = shop, read_only
        self.run = secrets.token_hex(8)
        self.files = files or Process("files", shop.cell, read_only=read_only)
        self.scene = Process("scene", shop.cell, read_only=read_only, first="scene")
        self.answers = Process("answers", shop.cell, read_only=read_only, gently=True)
        for process in (self.files, self.scene, self.answers):
            process.died = self._died
        self._lines: dict[Key, _Line] = {}
        self._turn = itertools.count(1)
        self._seen: Files | None = None
        self._cell: tuple[str, wire.CellView] | None = None
        self._more: wire.SceneMore | None = None
        self._cell_lock, self._look_lock = asyncio.Lock(), asyncio.Lock()
        self._more_lock = asyncio.Lock()
        self._looked: set[str] = set()
        self._wake = asyncio.Event()
        self._moved = asyncio.Event()  # set, and another one made, when any answer moves on
        self._listeners: set[asyncio.Queue[str | None]] = set()
        self._tasks: list[asyncio.Task[None]] = []
        self._closing = False

    # --- beginning and end ------------------------------------------------------------------------

    async def open(self) -> None:
        """Begin to watch the files and to work."""
        self._seen = await asyncio.to_thread(self.shop.look)
        self._tasks = [asyncio.create_task(self._watch()), asyncio.create_task(self._work())]

    def hang_up(self) -> None:
        """End every stream of events: the server stops."""
        self._closing = True
        for listener in self._listeners:
            with contextlib.suppress(asyncio.QueueFull):
                listener.put_nowait(None)

    async def close(self, seconds: float = 0.8) -> None:
        """Stop all work and end the processes within about `seconds`; what is proven is kept."""
        self.hang_up()
        await asyncio.gather(
            *(process.close(seconds) for process in (self.files, self.scene, self.answers))
        )
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    # --- what is asked ----------------------------------------------------------------------------

    async def cell(self) -> wire.CellView:
        """Return the cell file as it is now."""
        async with self._cell_lock:
            now = (await self._look()).everything
            if self._cell is None or self._cell[0] != now:
                self.scene.start()  # it reads the cell meanwhile: the scene is asked for next
                data = await self.files.call("cell")
                self._cell = (now, wire.CellView.model_validate_json(data))
                self.answers.start()
            return self._cell[1]

    async def lines(self) -> list[wire.AnswerLine]:
        """Return how far every answer is; those never asked for are begun, last of all."""
        for name, program, asks in await self._keys():
            if (name, program) not in self._lines:
                self._lines[name, program] = _Line(name, program, asks, uses_program=_uses(name))
                self._wake.set()
        return [self._line(self._lines[name, program]) for name, program, _ in await self._keys()]

    async def ask(self, question: str, program: str | None) -> wire.AnswerView:
        """Return an answer as far as it is; asking begins the work, before all other."""
        line = await self._find(question, program)
        await self._look()  # what is told as done is done for the files as they are now
        line.turn = next(self._turn)
        return self._view(line)

    async def again(self, question: str, program: str | None) -> wire.Step:
        """Work an answer out anew."""
        line = await self._find(question, program)
        if line.state != "working":
            line.turn, line.died = next(self._turn), 0
            self._set(line, "waiting", "")
        return wire.Step(state=line.state, what=line.what)

    async def stop(self, question: str, program: str | None) -> wire.Step:
        """Stop the work on an answer; what is proven so far is kept."""
        line = await self._find(question, program)
        if line.state == "working":
            line.stopping = True
            self.answers.stop("answer")
            return wire.Step(state="working", what="it stops at the next step")
        if line.state == "waiting":
            self._set(line, "stopped", "stopped before it had begun")
        return wire.Step(state=line.state, what=line.what)

    async def played(self, task: str, program: str) -> bytes:
        """Return what belongs to a program once it is judged: in the same process, none waits.

        Where that was stopped or failed, what is kept so far must do.
        """
        key = (JUDGED_BY, program)
        await self.ask(*key)
        while self._lines[key].state in ("waiting", "working"):
            await self._moved.wait()
        words = {"program": program, "prove": self._lines[key].state == "done"}
        return await self.answers.call(task, words, seconds=None)

    async def scene_more(self) -> bytes:
        """Return what the scene shows once it is worked out.

        By the process for answers, after the one that it works on: they rest on the same proofs,
        and the process for the scene is left to the sliders.
        """
        async with self._more_lock:
            now = (await self._look()).inputs()
            if self._more is None or self._more.digest != now:
                try:
                    data = await self.answers.call("scene_more", seconds=None)
                except Died:  # with what it worked on, perhaps, which somebody stopped
                    data = await self.answers.call("scene_more", seconds=None)
                self._more = wire.SceneMore.model_validate_json(data)
            return self._more.model_dump_json().encode()

    async def events(self) -> AsyncIterator[str]:
        """Yield events as JSON; an empty one now and then, so that a dead connection is seen."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(EVENTS_MOST)
        self._listeners.add(queue)
        try:
            yield self._hello()
            while not self._closing:
                try:
                    event = await asyncio.wait_for(queue.get(), 10.0)
                except TimeoutError:
                    yield ""
                    continue
                if event is None:
                    return
                yield event
        finally:
            self._listeners.discard(queue)

    async def written(self) -> None:
        """Look at the files now: one was changed from here."""
        await self._look()

    # --- files ------------------------------------------------------------------------------------

    def _asked(self) -> set[str]:
        return {program for _, program in self._lines if program is not None}

    async def _look(self) -> Files:
        """Look at the files; what has changed is told, and what rests on it begun anew."""
        async with self._look_lock:
            asked = self._asked()
            files = await asyncio.to_thread(self.shop.look, asked)
            old, self._seen = self._seen, files
            first_time, self._looked = not asked <= self._looked, asked
        if old is None or old.everything == files.everything:
            return files
        changed = files.changed(old)
        known = old.digests.keys() | old.programs.keys()
        if not (first_time and known.isdisjoint(changed)):
            self._tell(kind="cell", digest=files.cell, inputs=files.inputs(), files=changed)
        for line in self._lines.values():
            if line.inputs == line.rests_on(files):
                continue
            line.died = 0
            if line.state == "working":
                self.answers.stop("answer", grace=STALE_GRACE_S)
            elif line.state in ("done", "failed"):
                self._set(line, "waiting", "")
        return files

    async def _watch(self) -> None:
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            try:
                await self._look()
            except Exception as problem:  # a folder that is gone for a moment comes back
                self._tell(kind="fault", what=f"the folder cannot be looked at: {problem}")
                await asyncio.sleep(2.0)

    # --- answers ----------------------------------------------------------------------------------

    async def _keys(self) -> list[tuple[str, str | None, str]]:
        """Return every question, with each program of the cell where it is about programs."""
        cell = await self.cell()
        found: list[tuple[str, str | None, str]] = []
        for question in cell.questions:
            programs: list[str | None] = [None]
            if question.needs_program and cell.programs:
                programs = [program.file for program in cell.programs]
            found += [(question.name, program, question.asks) for program in programs]
        return found

    async def _find(self, question: str, program: str | None) -> _Line:
        line = self._lines.get((question, program))
        if line is not None:
            return line
        cell = await self.cell()
        asked = next((one for one in cell.questions if one.name == question), None)
        if asked is None:
            raise Refused(404, f'"{question}" is not a question', "", "see /api/cell")
        if program is not None:
            if not asked.needs_program:
                raise Refused(404, f'"{question}" is about no program', "", "leave it out")
            named = any(one.file == program for one in cell.programs)
            if not named and self.shop.inside(program) is None:
                raise Refused(
                    404, "there is no such program", program[:200], "put it beside the cell file"
                )
            if not named and len(self._asked()) >= PROGRAMS_MOST:
                raise Refused(503, "too many programs were asked about", "", "start anew")
        line = self._lines[question, program] = _Line(
            question, program, asked.asks, uses_program=_uses(question)
        )
        self._wake.set()
        return line

    async def _work(self) -> None:
        """Work out one answer after the other, the one asked for last first."""
        while True:
            waiting = [line for line in self._lines.values() if line.state == "waiting"]
            if not waiting:
                self._wake.clear()
                await self._wake.wait()
                continue
            await self._answer(max(waiting, key=lambda line: line.turn))

    async def _answer(self, line: _Line) -> None:
        line.stopping, line.share = False, 0.0
        begun = line.rests_on(await self._look())
        self._set(line, "working", "")

        def told(share: float) -> None:
            line.share = share
            self._tell(
                kind="progress",
                question=line.question,
                program=line.program,
                state="working",
                share=share,
            )

        words: dict[str, Any] = {"question": line.question, "program": line.program}
        try:
            data = await self.answers.call("answer", words, told=told, seconds=None)
            view = wire.AnswerView.model_validate_json(data)
        except Refused as refused:
            line.inputs = begun
            mend = f" ({refused.where}): {refused.mend}" if refused.mend else ""
            self._set(line, "failed", f"{refused.what}{mend}")
        except Worked as problem:
            line.inputs = begun
            self._set(
                line,
                "failed",
                f"a fault in Gudgeon itself ({problem}); please report this line together with the "
                "cell file",
            )
        except Died as problem:
            self._after_death(line, begun, str(problem))
        else:
            if view.answer is not None or line.view is None:  # else the one before is shown on
                line.view = view
            line.inputs, line.share, line.died = view.inputs, 1.0, 0
            if not line.stopping and line.inputs != line.rests_on(await self._look()):
                self._set(line, "waiting", "")  # its files changed meanwhile
            else:
                self._set(line, view.state, view.what)

    def _after_death(self, line: _Line, begun: str, what: str) -> None:
        now = "" if self._seen is None else line.rests_on(self._seen)
        if line.stopping:
            line.inputs = begun
            self._set(line, "stopped", "stopped before the end")
        elif begun != now:
            self._set(line, "waiting", "")
        elif line.died < 1:
            line.died += 1
            self._set(line, "waiting", f"{what}; it is begun once more")
        else:
            line.inputs = begun
            self._set(line, "failed", f"{what}, twice; please report it with the cell file")

    def _set(self, line: _Line, state: wire.State, what: str) -> None:
        line.state, line.what = state, what
        if state == "waiting":
            line.share = 0.0
            self._wake.set()
        self._moved.set()
        self._moved = asyncio.Event()
        shown = self._line(line)
        self._tell(
            kind="answer",
            question=line.question,
            program=line.program,
            state=state,
            share=line.share,
            verdict=shown.verdict,
            headline=shown.headline,
            figures=shown.figures if state == "done" else None,
            stale=shown.stale,
            what=what,
        )

    def _stale(self, line: _Line) -> bool:
        if line.view is None or self._seen is None:
            return False
        return line.view.inputs != line.rests_on(self._seen)

    def _line(self, line: _Line) -> wire.AnswerLine:
        found = None if line.view is None else line.view.answer
        return wire.AnswerLine(
            question=line.question,
            program=line.program,
            state=line.state,
            share=line.share,
            verdict=None if found is None else found.verdict,
            headline=None if found is None else found.headline,
            figures=_short(line.view),
            stale=self._stale(line),
            what=line.what,
        )

    def _view(self, line: _Line) -> wire.AnswerView:
        held = line.view or wire.AnswerView(
            question=line.question, program=line.program, asks=line.asks, state=line.state
        )
        now = {
            "state": line.state,
            "share": line.share,
            "what": line.what,
            "stale": self._stale(line),
        }
        return held.model_copy(update=now)

    # --- events -----------------------------------------------------------------------------------

    def _died(self, name: str) -> None:
        self._tell(
            kind="fault", what=f"the process for {name} has ended and is started again when needed"
        )

    def _hello(self) -> str:
        seen = self._seen
        event = wire.Event(
            kind="hello",
            run=self.run,
            digest=None if seen is None else seen.cell,
            inputs=None if seen is None else seen.inputs(),
        )
        return event.model_dump_json(exclude_none=True)

    def _tell(self, **words: Any) -> None:
        if not self._listeners:
            return
        event = wire.Event(**words).model_dump_json(exclude_none=True)
        for listener in self._listeners:
            if listener.full():
                while not listener.empty():
                    listener.get_nowait()
                listener.put_nowait(self._hello())
            listener.put_nowait(event)


def _short(view: wire.AnswerView | None) -> list[wire.FigureLine]:
    """Return the figures of an answer as the list of questions has them."""
    if view is None or view.answer is None:
        return []
    return [
        wire.FigureLine(
            name=figure.name, label=figure.label, value=said.value, limited=bool(said.limit)
        )
        for figure, said in zip(view.answer.figures, view.figures, strict=True)
    ]


@cache
def _uses(question: str) -> bool:
    """Return whether a question looks at all programs of the cell."""
    from gudgeon.questions import list_questions

    return any(one.name == question and one.uses_program for one in list_questions())
