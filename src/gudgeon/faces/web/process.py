"""One worker process as the server sees it: calls that can be awaited, told of, stopped."""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, Final

from gudgeon.faces.web.worker import Refused, run

__all__ = ["Died", "Process", "Worked"]

WAITING_MOST: Final = 32
"""Calls that wait for one process; more are refused."""

GRACE_S: Final = 2.5
"""How long a piece of work may take to heed a stop; then its process is ended."""


class Died(Exception):  # noqa: N818 - told to the person as it is
    """The process ended before it had answered; the next call starts another."""


class Worked(Exception):  # noqa: N818 - a fault of ours, told as it is
    """The work failed because of a fault in Gudgeon itself; the text names it."""


@dataclass(slots=True)
class _Call:
    task: str
    future: asyncio.Future[bytes]
    told: Callable[[float], None] | None = None
    stopped: bool = False
    timer: asyncio.TimerHandle | None = field(default=None)


class Process:
    """A process that carries out one task after the other; started when it is first needed.

    Parameters
    ----------
    name : str
        Shown by the system.
    cell : Path
    read_only : bool
    gently : bool
        Others go first.
    first : str, optional
        Task that is carried out before any is asked, so that it is quick when it is.

    Attributes
    ----------
    died : callable
        Told the name when the process has ended without being asked to.
    """

    def __init__(
        self,
        name: str,
        cell: Path,
        *,
        read_only: bool,
        gently: bool = False,
        first: str | None = None,
    ) -> None:
        self._words = (str(cell), read_only, gently, first)
        self.name = name
        self.died: Callable[[str], None] | None = None
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._calls: dict[int, _Call] = {}
        self._number = 0
        self._heard = self._ended = False

    def start(self) -> None:
        """Start the process now, so that the first call need not wait for it."""
        if self._process is not None or self._ended:
            return
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(
            target=run, args=(theirs, *self._words), name=f"gudgeon {self.name}", daemon=True
        )
        process.start()
        theirs.close()
        self._process, self._pipe, self._heard = process, ours, False

    def _listen(self, loop: asyncio.AbstractEventLoop) -> None:
        """Begin to hand on what the process says."""
        pipe, process = self._pipe, self._process
        assert pipe is not None and process is not None
        self._heard = True

        def hear() -> None:
            with contextlib.suppress(EOFError, OSError):
                while True:
                    message = pipe.recv()
                    loop.call_soon_threadsafe(self._hear, message)
            pipe.close()
            process.join(1.0)
            with contextlib.suppress(RuntimeError):  # the loop has ended
                loop.call_soon_threadsafe(self._gone, process)

        threading.Thread(target=hear, name=f"hears {self.name}", daemon=True).start()

    async def call(
        self,
        task: str,
        words: dict[str, Any] | None = None,
        *,
        told: Callable[[float], None] | None = None,
        seconds: float | None = 60.0,
    ) -> bytes:
        """Carry out one task and return what it gives back.

        Raises
        ------
        Refused
            It cannot be done, or too many wait, or it took longer than `seconds`.
        Died
            The process ended.
        Worked
            A fault in Gudgeon itself.
        """
        if self._ended:
            raise Died("the server is stopping")
        if len(self._calls) >= WAITING_MOST:
            raise Refused(503, "too much is waiting to be worked out", mend="wait a moment")
        loop = asyncio.get_running_loop()
        self.start()
        if not self._heard:
            self._listen(loop)
        process = self._process
        assert self._pipe is not None
        self._number += 1
        number = self._number
        call = self._calls[number] = _Call(task, loop.create_future(), told)
        try:
            self._pipe.send(("do", number, task, words or {}))
            async with asyncio.timeout(seconds):
                return await call.future
        except TimeoutError:
            self.kill()  # one that hangs would keep all others waiting
            raise Refused(503, "this took too long and was stopped", mend="ask again") from None
        except (OSError, ValueError):  # it has ended, and nobody has heard of it yet
            self._gone(process)
            raise Died("the process that works on it has ended") from None
        finally:
            self._calls.pop(number, None)
            if call.timer is not None:
                call.timer.cancel()

    def stop(self, task: str | None = None, *, grace: float = GRACE_S) -> None:
        """Stop what works on `task`, or on any; a process that does not heed it is ended."""
        loop = asyncio.get_running_loop()
        for number, call in self._calls.items():
            if call.stopped or task not in (None, call.task):
                continue
            call.stopped = True
            call.timer = loop.call_later(grace, self.kill)
            if self._pipe is not None:
                with contextlib.suppress(OSError, ValueError):
                    self._pipe.send(("stop", number))

    def kill(self) -> None:
        """End the process at once; whatever waits for it is told so."""
        process = self._process
        if process is not None:
            process.kill()
            self._gone(process)

    async def close(self, seconds: float) -> None:
        """Stop what is worked on and end the process within about `seconds`."""
        self._ended = True
        process = self._process
        if process is None:
            return
        self.stop(grace=seconds)
        end = asyncio.get_running_loop().time() + seconds
        while self._calls and asyncio.get_running_loop().time() < end:
            await asyncio.sleep(0.02)
        process.kill()
        await asyncio.get_running_loop().run_in_executor(None, process.join, 0.5)

    # --- what the process says, in the server's own thread ----------------------------------------

    def _hear(self, message: tuple[Any, ...]) -> None:
        number, kind, what = message
        call = self._calls.get(number)
        if call is None or call.future.done():
            return
        if kind == "share":
            if call.told is not None:
                call.told(what)
        elif kind == "done":
            call.future.set_result(what)
        elif kind == "refused":
            call.future.set_exception(what)
        else:
            call.future.set_exception(Worked(what))

    def _gone(self, process: BaseProcess | None) -> None:
        if process is not self._process:
            return
        self._process = self._pipe = None
        asked = any(call.stopped for call in self._calls.values())
        for call in self._calls.values():
            if not call.future.done():
                call.future.set_exception(Died("the process that works on it has ended"))
        if not self._ended and not asked and self.died is not None:
            self.died(self.name)
