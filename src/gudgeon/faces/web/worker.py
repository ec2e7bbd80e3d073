"""What runs in the processes beside the server: they hold the cell's findings and do the work.

One process for answers, one for the scene, one for files: a slider never waits for a proof, nor an
edit for a drawing.  Each reads the cell anew when a file has changed.  Results go back as bytes of
JSON (or of a model), so that the server need not understand them.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gudgeon.faces.web.shop import Shop

if TYPE_CHECKING:
    from pydantic import BaseModel

    from gudgeon.cell.files import Loaded
    from gudgeon.cell.model import Cell
    from gudgeon.findings import Findings
    from gudgeon.findings.programs import Keep, ProgramText

__all__ = ["Job", "Refused", "Room", "run"]

REMEMBERED_MOST: Final = 8
"""Proofs that are remembered where none may be written."""

SAID_EVERY_S: Final = 0.15
READING_PART: Final = 0.1
"""Part of the bar that reading a program takes; its proof takes the rest."""


class Refused(Exception):  # noqa: N818 - what a person asked cannot be done
    """A request that cannot be carried out, in the words of a reply.

    Attributes
    ----------
    status : int
        As HTTP counts them.
    what, where, mend : str
    now : str or None
        Digest of the cell file, where it has changed meanwhile.
    """

    def __init__(
        self, status: int, what: str, where: str = "", mend: str = "", now: str | None = None
    ) -> None:
        super().__init__(status, what, where, mend, now)
        self.status, self.what, self.where, self.mend, self.now = status, what, where, mend, now


class Job:
    """One piece of work: tells how far it is and whether it shall stop.

    Attributes
    ----------
    stopped : bool
        Somebody asked it to stop.
    heeded : bool
        It was told so, and has left something undone.
    """

    def __init__(self, say: Callable[[float], None]) -> None:
        self._say, self._last, self._share = say, 0.0, -1.0
        self.stopped = self.heeded = False

    def told(self, low: float, high: float) -> Callable[[float], bool]:
        """Return what a long step calls with its share; it fills the bar from `low` to `high`."""

        def step(share: float) -> bool:
            now = time.monotonic()
            reached = low + (high - low) * min(max(share, 0.0), 1.0)
            if reached > self._share and now - self._last > SAID_EVERY_S:
                self._last, self._share = now, reached
                self._say(reached)
            self.heeded |= self.stopped
            return not self.stopped

        return step


@dataclass(frozen=True, slots=True)
class _Unwritten:
    """Where nothing may be written: what was kept is read, what is new is only remembered."""

    place: Keep
    new: dict[str, bytes] = field(default_factory=dict)

    def load(self, key: str) -> bytes | None:
        return self.new.get(key) or self.place.load(key)

    def save(self, key: str, data: bytes) -> None:
        self.new.pop(key, None)
        self.new[key] = data
        while len(self.new) > REMEMBERED_MOST:
            self.new.pop(next(iter(self.new)))


class Room:
    """One cell as a process holds it.

    Parameters
    ----------
    shop : Shop
    read_only : bool
        Nothing is written, not even what was proven.
    """

    def __init__(self, shop: Shop, *, read_only: bool = False) -> None:
        self.shop, self.read_only = shop, read_only
        self._held: tuple[str, Loaded, Findings | None] | None = None
        self._with_programs: tuple[str, Findings] | None = None

    @property
    def path(self) -> Path:
        """The cell file."""
        return self.shop.cell

    def loaded(self) -> tuple[str, Loaded]:
        """Return the digest of all inputs and the cell as they are now.

        The digest is taken before and after: what it names is what was read.
        """
        from gudgeon.cell.files import load

        digest = self.shop.inputs(None)
        for _ in range(5):
            if self._held is not None and self._held[0] == digest:
                break
            read = load(self.path, links=False)
            after = self.shop.inputs(None)
            if after == digest:
                self._held = (digest, read, None)
                break
            digest = after
        else:
            self._held = (digest, read, None)
        return self._held[0], self._held[1]

    @property
    def cell(self) -> Cell:
        """The cell; raises `Refused` while its file has faults."""
        _, read = self.loaded()
        if read.cell is None:
            first = next(fault for fault in read.faults if fault.level == "error")
            place = first.places[0] if first.places else None
            line = "" if place is None or place.line is None else f", line {place.line}"
            raise Refused(
                422,
                f"the cell file has faults; the first: {first.what}",
                "" if place is None else f"{place.file}{line}",
                first.do,
            )
        return read.cell

    @property
    def findings(self) -> Findings:
        """The findings of the cell as it is now; raises `Refused` while its file has faults."""
        from gudgeon.findings import Findings

        cell = self.cell
        assert self._held is not None
        digest, read, findings = self._held
        if findings is None:
            findings = Findings(cell)
            self._held = (digest, read, findings)
        return findings

    def with_programs(self, everything: str, job: Job) -> Findings:
        """Return findings that look at every program of the cell that can be read.

        Parameters
        ----------
        everything : str
            Digest of all files, under which they are held.
        job : Job
        """
        from gudgeon.findings import Findings

        if self._with_programs is None or self._with_programs[0] != everything:
            programs = []
            for one in self.cell.programs:
                try:
                    programs.append(self.program(one.file or "", job))
                except Refused:
                    continue  # told where that program itself is asked about
            self._with_programs = everything, Findings(self.cell, programs)
        return self._with_programs[1]

    @cached_property
    def keep(self) -> Keep:
        """Where proofs are kept, as ``gudgeon ask`` keeps them."""
        from gudgeon.faces.programs import Folder

        folder = Folder(self.shop.folder / ".gudgeon")
        return _Unwritten(folder) if self.read_only else folder

    def program(self, name: str, job: Job, *, prove: bool = True) -> ProgramText:
        """Return a program of the shop's folder, with what tells its progress and stops it.

        Without `prove` only what is kept of its proof is used.  Raises `Refused` if there is none.
        """
        from gudgeon.faces.programs import BadProgramError, Neighbours, load_program
        from gudgeon.findings.programs import ProgramText

        path = self.shop.inside(name)
        if path is None:
            raise Refused(404, f'there is no program "{name}"', name, "put it beside the cell file")
        try:
            text = load_program(path)
        except BadProgramError as problem:
            raise Refused(422, str(problem), name) from None
        declared = next((one for one in self.cell.programs if one.file == name), None)
        beside = Neighbours(path)
        asked = None if declared is None else declared.clearance
        return ProgramText(
            name,
            text,
            called=beside,
            names=beside.names,
            reading=job.told(0.0, READING_PART),
            proving=job.told(READING_PART, 1.0) if prove else lambda _: False,
            keep=self.keep,
            clearance_mm=None if asked is None else asked.value,
        )


class _Mailbox:
    """The worker's end of the pipe: requests one after the other, stops at once."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe, self._lock = pipe, threading.Lock()
        self._waiting: list[tuple[int, str, dict[str, Any]]] = []
        self._more = threading.Condition()
        self._job: tuple[int, Job] | None = None
        self._stopped: set[int] = set()
        threading.Thread(target=self._listen, daemon=True).start()

    def send(self, *message: object) -> None:
        """Send to the server; without one there is nothing left to do."""
        try:
            with self._lock:
                self._pipe.send(message)
        except (OSError, ValueError):
            os._exit(0)

    def next(self) -> tuple[int, str, dict[str, Any], Job]:
        """Wait for the next request."""
        with self._more:
            while not self._waiting:
                self._more.wait()
            number, name, words = self._waiting.pop(0)
            job = Job(lambda share: self.send(number, "share", share))
            job.stopped = number in self._stopped
            self._job = (number, job)
        return number, name, words, job

    def _listen(self) -> None:
        try:
            while True:
                message = self._pipe.recv()
                with self._more:
                    if message[0] == "stop":
                        self._stopped.add(message[1])
                        if self._job is not None and self._job[0] == message[1]:
                            self._job[1].stopped = True
                    else:
                        self._waiting.append(message[1:])
                        self._more.notify()
        except (EOFError, OSError):
            os._exit(0)  # the server has gone


def run(
    pipe: Connection, cell: str, read_only: bool, gently: bool, first: str | None = None
) -> None:
    """Carry out requests until the server goes; the first function of the process.

    Parameters
    ----------
    pipe : Connection
        Messages in: ``("do", number, task, words)`` and ``("stop", number)``; out: the number with
        ``"share"``, ``"done"``, ``"refused"`` or ``"failed"`` and what belongs to it.
    cell : str
        The cell file.
    read_only : bool
        Nothing is written.
    gently : bool
        Others go first on a busy computer.
    first : str, optional
        Task that will be asked first; it is done once before, and what it finds is held.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's
    if gently and hasattr(os, "nice"):
        with contextlib.suppress(OSError):
            os.nice(2)
    mailbox = _Mailbox(pipe)
    from gudgeon.faces.web.tasks import TASKS

    room = Room(Shop(Path(cell)), read_only=read_only)
    with contextlib.suppress(Exception):  # what is wrong is told to who asks
        room.loaded()  # before anything is asked
        if gently:
            from gudgeon.questions import find_questions

            find_questions()
        if first is not None:
            TASKS[first](room, Job(lambda _: None))
    while True:
        number, name, words, job = mailbox.next()
        try:
            result: BaseModel | bytes = TASKS[name](room, job, **words)
            mailbox.send(number, "done", _as_bytes(result))
        except Refused as refused:
            mailbox.send(number, "refused", refused)
        except Exception as problem:  # a fault of ours in one request is none of the next
            mailbox.send(number, "failed", f"{type(problem).__name__}: {problem}"[:500])


def _as_bytes(result: BaseModel | bytes) -> bytes:
    return result if isinstance(result, bytes) else result.model_dump_json(by_alias=True).encode()
