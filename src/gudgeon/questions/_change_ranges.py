"""Words about where a tool may be changed: the proven ranges of tilt and turn, and their table."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from gudgeon.answer import Cell, Column, Table
from gudgeon.findings import Findings
from gudgeon.findings.changing import ChangingFinding, Room
from gudgeon.findings.parking import Park
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._proof_views import pair_text, tie_words

if TYPE_CHECKING:
    from gudgeon.clearance.envelope import SafeBox

__all__ = [
    "degrees",
    "no_pose_words",
    "park_range",
    "place_words",
    "range_table",
    "range_words",
    "shorter",
]

DIGIT_DEG: Final = 0.1
"""Ends of a range of poses are told to this digit, inwards."""

MOST_TOLD: Final = 4
"""Ranges in one sentence; the others stand in the table."""

ANY_TURN: Final = "any turn"


def degrees(angle_rad: float) -> float:
    """Return degrees with two decimals."""
    return round(math.degrees(angle_rad), 2) + 0.0


def park_range(findings: Findings, park: Park) -> tuple[str, str]:
    """Return the ranges of tilt and of turn round the best pose, as text, rounded inwards."""
    found = _texts(findings, park.stops, (park.tilt_rad, park.turn_rad))
    assert found is not None
    return found


def range_words(findings: Findings, found: ChangingFinding) -> str:
    """Return where the unit has to stand at a change: "A 64.7 to 100 or A -100 to 0 deg, any turn".

    Ranges that share poses with one told before, and those in which the hoses need more ties than
    round the best pose, are left to the table.
    """
    told: list[tuple[str, str]] = []
    boxes: list[SafeBox] = []
    more = 0
    for number, texts in _shown(findings, found):
        box = found.ranges[number]
        if not findings.change_told[number]:
            continue
        if any(_overlap(findings, box, other) for other in boxes):
            continue
        if len(told) == MOST_TOLD:
            more += 1
            continue
        boxes.append(box)
        told.append(texts)
    senses = findings.senses
    a, c = senses.tilt_letter or "", senses.rotary_letter
    turns = [turn if turn == ANY_TURN else f"{c} {turn}" for _, turn in told]
    also = f" ({more} more in the table of ranges)" if more else ""
    if not findings.has_tilt:
        return _or(turns) + ("" if turns == [ANY_TURN] else " deg") + also
    tilts = [f"{a} {tilt}" for tilt, _ in told]
    if len(set(turns)) == 1:
        turn = turns[0] if turns[0] == ANY_TURN else f"{turns[0]} deg"
        return f"{_or(tilts)} deg, {turn}{also}"
    by_tilt: dict[str, list[str]] = {}
    for tilt, turn in zip(tilts, turns, strict=True):
        by_tilt.setdefault(tilt, []).append(turn)
    parts = [
        f"{tilt} deg with {_or(some)}" + ("" if some == [ANY_TURN] else " deg")
        for tilt, some in by_tilt.items()
    ]
    return ", or ".join(parts) + also


def place_words(findings: Findings, place_mm: tuple[float, float]) -> str:
    """Return a place of the spindle."""
    x, y = (findings.units.text(Kind.LENGTH, value) for value in place_mm)
    return f"X {x}, Y {y}"


def no_pose_words(found: ChangingFinding) -> str:
    """Return that tools cannot be changed over the table, and what comes too near."""
    many = "every tool" if len(found.maps) > 1 else found.maps[0].hand.name
    pair = "the tool and the load"
    if found.together.worst is not None:
        pair = pair_text(found.together.worst) or pair
    return f"no pose is clear for changing {many}: {pair} come too near"


def shorter(
    findings: Findings, found: ChangingFinding, rooms: tuple[Room, ...]
) -> tuple[str, float] | None:
    """Return by how much shorter the longest tool could be changed in its worst pose, too.

    The length, rounded to the safe side, and the tilt [deg]; ``None`` if every pose is allowed.
    """
    longest = found.maps[0].hand.name
    short = [room for room in rooms if room.tool == longest and not room.allowed]
    if not short:
        return None
    worst = min(short, key=lambda room: room.room_mm)
    if not math.isfinite(worst.room_mm):
        return None
    less = findings.units.text(Kind.LENGTH, found.need_mm - worst.room_mm, 2, limit="min")
    return less, degrees(worst.tilt_rad)


def range_table(findings: Findings, found: ChangingFinding) -> Table | None:
    """Return every proven range, its ends rounded inwards; ``None`` where there is none."""
    rows: list[tuple[Cell, ...]] = []
    for number, _ in _shown(findings, found):
        box = found.ranges[number]
        hung = [hang for hang in findings.change_ties[number] if hang.meets]
        tilt, turn = (_ends(float(box.low[k]), float(box.high[k])) for k in (3, 4))
        every = findings.every_turn(box)
        rows.append(
            (
                *(tilt or (None, None)),
                *(("any", "any") if every else turn or (None, None)),
                "round the best pose" if number == 0 else "another",
                " and ".join(tie_words(findings, hang) for hang in hung) or "free",
            )
        )
    if not rows:
        return None
    return Table(
        "ranges",
        "Ranges of tilt and turn in which every tool may be changed for every other, proven",
        (
            Column("tilt_low", "tilt from", "deg"),
            Column("tilt_high", "to", "deg"),
            Column("turn_low", "turn from", "deg"),
            Column("turn_high", "to", "deg"),
            Column("which", "range"),
            Column("hoses", "hoses"),
        ),
        tuple(rows),
    )


def _shown(findings: Findings, found: ChangingFinding) -> list[tuple[int, tuple[str, str]]]:
    """Return the numbers and the words of the ranges that are wide enough to be told."""
    park = found.park
    shown = []
    for number, box in enumerate(found.ranges):
        pose = (park.tilt_rad, park.turn_rad) if park is not None and number == 0 else None
        texts = _texts(findings, box, pose)
        if texts is not None:
            shown.append((number, texts))
    return shown


def _texts(
    findings: Findings, box: SafeBox, pose: tuple[float, float] | None
) -> tuple[str, str] | None:
    """Return tilt and turn of a range; ``None`` for one without a pose that is too narrow."""
    tilt_at, turn_at = pose or (None, None)
    tilt = _range(float(box.low[3]), float(box.high[3]), tilt_at) if findings.has_tilt else "0"
    if findings.every_turn(box):
        turn: str | None = ANY_TURN
    else:
        turn = _range(float(box.low[4]), float(box.high[4]), turn_at)
    return None if tilt is None or turn is None else (tilt, turn)


def _range(low: float, high: float, pose: float | None) -> str | None:
    ends = _ends(low, high)
    if pose is None:
        return None if ends is None else f"{ends[0]:g} to {ends[1]:g}"
    at = math.degrees(pose)
    if ends is None or not ends[0] - 1e-6 <= at <= ends[1] + 1e-6:
        return f"{round(at, 2) + 0.0:g}"
    return f"{ends[0]:g} to {ends[1]:g}"


def _ends(low: float, high: float) -> tuple[float, float] | None:
    """Return the ends in degrees, rounded inwards; ``None`` where hardly anything is left."""
    a = round(math.ceil(math.degrees(low) / DIGIT_DEG - 1e-6) * DIGIT_DEG, 1) + 0.0
    b = round(math.floor(math.degrees(high) / DIGIT_DEG + 1e-6) * DIGIT_DEG, 1) + 0.0
    return None if b - a < 2.0 * DIGIT_DEG - 1e-9 else (a, b)


def _overlap(findings: Findings, one: SafeBox, other: SafeBox) -> bool:
    """Return whether two ranges share more than an edge."""
    if min(one.high[3], other.high[3]) <= max(one.low[3], other.low[3]) and findings.has_tilt:
        return False
    whole = 2.0 * math.pi
    return any(
        min(one.high[4] + shift, other.high[4]) > max(one.low[4] + shift, other.low[4])
        for shift in ([k * whole for k in (-2, -1, 0, 1, 2)] if findings.ranges.endless else [0.0])
    )


def _or(words: list[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " or " + words[-1]
