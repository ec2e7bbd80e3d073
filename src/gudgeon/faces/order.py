"""The command `order`: seek the order of a load for longer, and write the program of calls."""

from __future__ import annotations

import math
import signal
import sys
import time
from pathlib import Path
from types import FrameType, TracebackType
from typing import Any, Final

from gudgeon.findings.effort import USUAL_EFFORT, Effort

__all__ = ["ProgramRefusedError", "Until", "effort_for", "program_to_write"]

BOUND_SHARE: Final = 0.4
"""Share of the time that goes into the bound."""


class ProgramRefusedError(Exception):
    """No program of calls can be offered; the text says why."""


class Until:
    """Says to go on until a time is over or Ctrl+C was pressed once; shows how far it is.

    Parameters
    ----------
    seconds : float
    """

    def __init__(self, seconds: float) -> None:
        self._end = time.monotonic() + seconds
        self._whole = seconds
        self._shows = sys.stderr.isatty()
        self._last = -1
        self._before: Any = None
        self.stopped = False

    def __enter__(self) -> Until:
        self._before = signal.signal(signal.SIGINT, self._stop)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        signal.signal(signal.SIGINT, self._before)
        if self._shows and self._last >= 0:
            print("\r" + " " * 60 + "\r", end="", file=sys.stderr, flush=True)

    def __call__(self) -> bool:
        """Return whether to go on."""
        left = self._end - time.monotonic()
        percent = min(100, int(100.0 * (1.0 - left / self._whole)))
        if self._shows and percent != self._last:
            self._last = percent
            words = f"\rseeking: {percent} % (Ctrl+C stops and answers)"
            print(words, end="", file=sys.stderr, flush=True)
        return left > 0.0 and not self.stopped

    def _stop(self, number: int, frame: FrameType | None) -> None:
        if self.stopped:  # the second time it is meant
            raise KeyboardInterrupt
        self.stopped = True


def effort_for(minutes: float | None, until: Until | None) -> Effort:
    """Return how long the order is sought: as usual, or for so many minutes.

    Raises
    ------
    ValueError
        If the minutes are not above zero.
    """
    if minutes is None or until is None:
        return USUAL_EFFORT
    if not (math.isfinite(minutes) and minutes > 0.0):
        raise ValueError(f"{minutes:g} minutes is no time to seek for")
    return Effort(
        rounds=USUAL_EFFORT.rounds,
        bound=60.0 * minutes * BOUND_SHARE,
        keep_going=until,
        bound_going=lambda: not until.stopped,
    )


def seeking_seconds(minutes: float) -> float:
    """Return what of so many minutes goes into the search, before the bound [s]."""
    return 60.0 * minutes * (1.0 - BOUND_SHARE)


def program_to_write(findings: Any, target: Path) -> str:
    """Return the program of calls as text for a file.

    Raises
    ------
    ProgramRefusedError
        If there is none, or the file is there already.
    """
    from gudgeon.findings import Lacking

    if target.exists():
        raise ProgramRefusedError(f"{target.name} exists already and is left alone")
    try:
        jobs = findings.jobs
        if jobs.ring or jobs.unreached:
            raise ProgramRefusedError("no order is possible, so no program is written")
        skeleton = findings.skeleton
    except Lacking as lacking:
        first = lacking.missing[0]
        raise ProgramRefusedError(
            f"no program is written: {first.what} is missing ({first.where})"
        ) from None
    if not skeleton.lines:
        raise ProgramRefusedError(f"no program is written: {skeleton.refused}")
    text: str = skeleton.text
    return text
