"""Commissioning plan: ordered steps from the crate to the first good part, for this cell."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from gudgeon.answer import Missing
from gudgeon.sheets._accept import accept
from gudgeon.sheets._centre_readings import centre_readings
from gudgeon.sheets._crate import before, on_the_table
from gudgeon.sheets._first_motion import hoses, jog_test
from gudgeon.sheets._fixture_on import fixture_on
from gudgeon.sheets._ready import limits_to_enter, lost_motion, tool_change, warm_up
from gudgeon.sheets._square import square_up
from gudgeon.sheets._test_piece import test_piece
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Sheet

__all__ = ["NAME", "PLACE", "TITLE", "sheet"]

NAME: Final = "commissioning"
TITLE: Final = "Commissioning plan"
PLACE: Final = 200

Part = Callable[[Known], tuple[tuple[Block, ...], tuple[Missing, ...]]]

PARTS: Final[tuple[Part, ...]] = (
    before,
    on_the_table,
    # Nothing is tilted far before letters, signs and hoses are seen to be right.
    jog_test,
    hoses,
    square_up,
    lost_motion,
    limits_to_enter,
    warm_up,
    tool_change,
    centre_readings,
    test_piece,
    fixture_on,
    accept,
)
"""What is done, in the order in which it is safe."""


def sheet(known: Known) -> Sheet:
    """Return the plan; what the cell lacks is said at the step that needs it."""
    blocks: list[Block] = []
    missing: dict[str, Missing] = {}
    for part in PARTS:
        found, lacking = part(known)
        blocks += found
        for item in lacking:
            missing.setdefault(item.where, item)
    return Sheet(
        name=NAME,
        title=TITLE,
        lead="For the people who set up the unit, from the crate to the first good part. It hangs "
        "at the mill until every box is filled.",
        blocks=tuple(blocks),
        missing=tuple(missing.values()),
    )
