"""Motion of the tool over work that turns: tilted planes and tool-point control."""

from __future__ import annotations

from collections.abc import Mapping

from gudgeon.program import moves
from gudgeon.program.dialect import Meaning, Role
from gudgeon.program.doubts import Code, Halt
from gudgeon.program.moves import AxisWords
from gudgeon.program.run import Given, Run

__all__ = ["arc", "check_plain", "set_words", "straight"]


def set_words(
    run: Run, roles: Mapping[Meaning, tuple[Role, Given]], given: Mapping[str, Given]
) -> None:
    """Put a tilted plane or tool-point control in force or out of it."""
    for meaning in (Meaning.TILTED_PLANE, Meaning.TURN_TO_PLANE, Meaning.TOOL_POINT):
        if meaning in roles:
            raise Halt(Code.NOT_DECLARED, roles[meaning][1].column, what=meaning.value)


def check_plain(run: Run, word: Given) -> None:
    """Refuse what may not stand while the work is turned under the tool."""


def straight(run: Run, motion: Meaning, words: AxisWords, column: int) -> None:
    """Carry out a straight block."""
    moves.straight(run, motion, moves.joint_target(run, words), column)


def arc(run: Run, motion: Meaning, words: AxisWords, centre: dict[str, Given], column: int) -> None:
    """Carry out an arc block."""
    moves.arc(run, motion, words, centre, column)
