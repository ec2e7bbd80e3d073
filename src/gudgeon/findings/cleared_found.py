"""What is found about a program that is judged: each row, and the whole."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.control import ControlFinding
from gudgeon.findings.hoses import HangingFinding
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.scene import SceneFinding
from gudgeon.program.track import Track

__all__ = ["Cleared", "Found", "Judged", "or_inf"]


class Judged(StrEnum):
    """How a row was judged, the worst last."""

    CLEAR = "clear"
    ONLY_STRAIGHT = "clear if rapids are straight"
    ONLY_AS_WRITTEN = "clear one way round only"
    IF_TIED = "clear if the hose is tied"
    NOT_JUDGED = "not judged"
    UNDECIDED = "cannot tell"
    DANGER = "danger"
    LIMIT = "travel limit"
    UNSAFE_START = "unsafe start pose"
    UNSAFE_END = "unsafe end pose"
    CRASH = "crash"

    @property
    def rank(self) -> int:
        """The worse, the larger."""
        return _RANKS[self]


_RANKS: Final = {judged: rank for rank, judged in enumerate(Judged)}


@dataclass(frozen=True, slots=True)
class Found:
    """What was found about a row.

    Attributes
    ----------
    judged : Judged
    margin_mm : float
        Smallest gap where `exact`, else a bound: it is no smaller.  Negative: how deep it overlaps.
        NaN where nothing is known.
    exact : bool
    pair : tuple of two names
        Empty where nothing came near.
    joint : tuple of 5 floats
        Where it is tightest; empty where not known.
    points : tuple of two points
        Nearest points there, T [mm]; empty where not known.
    note : str
    limit : tuple of axis and position, or None
        The axis that leaves its travel, and where it would stand [mm or rad].
    without_flutes_mm : float
        Of a feed move: smallest gap of all but the flutes, which may be in the stock.
    in_cut : bool
        A rapid in what its cutter has fed through: the flutes may be in the stock here too.
    """

    judged: Judged
    margin_mm: float = float("nan")
    exact: bool = False
    pair: tuple[str, ...] = ()
    joint: tuple[float, ...] = ()
    points: tuple[tuple[float, float, float], ...] = ()
    note: str = ""
    limit: tuple[int, float] | None = None
    without_flutes_mm: float = float("nan")
    in_cut: bool = False


@dataclass(slots=True)
class Cleared:
    """A program judged.

    Attributes
    ----------
    program : ProgramText
    control : ControlFinding
    track : Track
    scene : SceneFinding
    need_mm : float
        Clearance asked.
    need_given : bool
    rows : dict of row to Found
        Every row that is not clear, and of the others those whose gap is known.
    judged : ndarray, shape (rows,)
        Rank of each row; -1 where nothing moves.
    motions : int
    proven : int
        Motions proven clear.
    smallest_mm : float
        No clear motion has a smaller gap than this; NaN where none is proven.
    smallest_row : int
    others_mm : float
        In a long program: clear motions whose gap is not known one by one have no smaller one.
    cancelled : bool
    kept : int
        Motions whose proof was found on disk.
    kept_whole : bool
        That of all of them was.
    tools_missing : dict of tool to missing entries
    any_station : bool
    next_run : tuple of (row, Found)
        What the next run does from the end pose of this one, where it is not clear.
    stop_row : int
        First row that hangs on a doubt; -1 for none.
    missing : tuple of Missing
    called : dict of number to text
    hung : dict of row to Found
        Rows that the space which a hose may fill is not proven to keep clear of, whatever else
        was found about them.
    ties : tuple of HangingFinding
        What keeps each of these hoses away.
    """

    program: ProgramText
    control: ControlFinding
    track: Track
    scene: SceneFinding
    need_mm: float
    need_given: bool
    rows: dict[int, Found] = field(default_factory=dict)
    judged: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    motions: int = 0
    proven: int = 0
    smallest_mm: float = float("nan")
    smallest_row: int = -1
    others_mm: float = float("nan")
    cancelled: bool = False
    kept: int = 0
    kept_whole: bool = False
    tools_missing: dict[int, tuple[Missing, ...]] = field(default_factory=dict)
    any_station: bool = False
    next_run: tuple[tuple[int, Found], ...] = ()
    next_track: Track | None = None
    stop_row: int = -1
    missing: list[Missing] = field(default_factory=list)
    called: dict[int, bytes] = field(default_factory=dict)
    hung: dict[int, Found] = field(default_factory=dict)
    ties: tuple[HangingFinding, ...] = ()

    def note(self, row: int, found: Found) -> None:
        """Keep what was found about a row: the worse, then the tighter."""
        known = self.rows.get(row)
        if known is not None:
            worse = found.judged.rank - known.judged.rank
            # Not a number counts as nothing known.
            if worse < 0 or (worse == 0 and not found.margin_mm < or_inf(known.margin_mm)):
                return
        self.rows[row] = found
        self.judged[row] = max(self.judged[row], found.judged.rank)


def or_inf(value: float) -> float:
    """Return a gap to sort by: what is not known comes last."""
    return float("inf") if value != value else value
