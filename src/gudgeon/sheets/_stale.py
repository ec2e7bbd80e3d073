"""Which work offsets go stale when something has moved, in a few rows for the machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from gudgeon.findings import Findings
from gudgeon.findings.offsets import OffsetsFinding, ZeroFound

__all__ = ["StaleRow", "stale_rows"]

MOVED: Final = (
    ("unit", ("unit shifted", "unit turned"), "the unit on the table"),
    ("tilt line", ("tilt line",), "the tilt line"),
    ("tilt zero", ("tilt zero",), "the zero of the tilt axis"),
    ("rotary line", ("rotary line",), "the platter in its bearing"),
    ("rotary zero", ("rotary zero",), "the zero of the rotary axis"),
    ("seat", ("fixture seated",), "the fixture on the platter"),
)
"""What may have moved: name as in `drifted`, heads of the events, words."""

MENDS: Final = {
    "unit": "touch the axis lines again",
    "tilt line": "touch the tilt line again",
    "tilt zero": "level the platter with a dial, set its zero",
    "rotary line": "touch the rotary line again",
    "rotary zero": "set the fixture straight with a dial, set its zero",
    "seat": "set the fixture straight with a dial",
}

ALL_FROM: Final = 4
"""More stale offsets than this, and no other, are told as "all"."""


@dataclass(frozen=True, slots=True)
class StaleRow:
    """One thing that may have moved.

    Attributes
    ----------
    name : str
        As `drifted` names it; "station" and "tool" for what it does not know.
    what, stale, then : str
        What has moved; which offsets are stale; what to do then.
    labels : tuple of str
        The stale offsets, one by one.
    """

    name: str
    what: str
    stale: str
    then: str
    labels: tuple[str, ...]


def stale_rows(findings: Findings, found: OffsetsFinding) -> tuple[StaleRow, ...]:
    """Return the events of the offsets, those of one cause together."""
    placed = [zero for zero in found.zeros if zero.point_mm is not None]
    rows = []
    for name, heads, words in MOVED:
        events = [event for event in found.events if event.name.startswith(heads)]
        if events:
            stale = sorted({i for event in events for i in event.stale})
            rows.append(_row(name, words, MENDS[name], stale, placed))
    for event in found.events:
        if event.name.startswith("seat of station"):
            station = event.name.removeprefix("seat of ").removesuffix(", in height")
            then = "measure its seat, enter the station again"
            rows.append(_row("station", f"the seat of {station}", then, list(event.stale), placed))
        elif event.name.startswith("tool length"):
            then = "set the length reference again"
            rows.append(
                _row("tool", "the reference of tool lengths", then, list(event.stale), placed)
            )
    return tuple(rows)


def _row(name: str, what: str, then: str, stale: list[int], placed: list[ZeroFound]) -> StaleRow:
    labels = tuple(placed[i].label for i in stale)
    if not labels:
        return StaleRow(name, what, "none", "nothing to do", labels)
    told = ", ".join(labels)
    if len(labels) == len(placed) > ALL_FROM:
        told = f"all {len(placed)}: {labels[0]} to {labels[-1]}"
    return StaleRow(name, what, told, then, labels)
