"""Invented loads of a tower on a tilting rotary unit: what is cut where, and what it costs.

A tower of two or four faces carries up to a few dozen stations, each with one of one to four kinds
of parts (or one part at its first, second and third clamping).  A part has several sides; each side
is cut in one pose with some of the tools, a few of which serve nearly every part.  What comes first
is told within each part: its datum before all, rough before finish on a side, and in half of the
kinds side before side.  One operation in five has a second way: in another pose, or with another
tool.  All figures are invented; they are of the size that a small machine has.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.order.problem import Problem

TOOL_CHANGE_S: Final = 4.5
TO_CHANGE_S: Final = 1.2
TILT_RAD_S: Final = np.deg2rad(90.0)
TURN_RAD_S: Final = np.deg2rad(150.0)
TILT_CLAMP_S, TURN_CLAMP_S = 0.5, 0.3
RAPID_MM_S, RETRACT_S = 400.0, 0.5


@dataclass(frozen=True)
class Kind:
    """Operations of one kind of part; arrays of shape (k,), angles in degrees."""

    tilt: NDArray[np.float64]
    turn: NDArray[np.float64]
    tool: NDArray[np.int64]
    takes_s: NDArray[np.float64]
    second_tool: NDArray[np.int64]
    """-1: no second tool."""
    turned: NDArray[np.bool_]
    """Whether it can also be cut with the tilt the other way."""
    slower_s: NDArray[np.float64]
    first: list[tuple[int, int]]


def kind(rng: np.random.Generator, tools: int) -> Kind:
    """Draw a kind of part with 5 to 16 operations."""
    count, sides = int(rng.integers(5, 17)), int(rng.integers(2, 5))
    # Some tools serve nearly everything: one in k of the k-th most used.
    share = 1.0 / np.arange(1, tools + 1)
    side = rng.integers(0, sides, count)
    stage = np.where(rng.random(count) < 0.45, 2, 1)
    stage[0] = 0
    late = rng.permutation(sides) if rng.random() < 0.5 else np.zeros(sides, dtype=np.int64)
    least = int(np.argmin(late))
    late[[side[0], least]] = late[[least, side[0]]]  # the datum's side comes first
    first = [
        (j, k)
        for j in range(count)
        for k in range(count)
        if (j == 0 and k > 0)
        or (side[j] == side[k] and stage[j] < stage[k])
        or (j > 0 and late[side[j]] < late[side[k]])
    ]
    other, by_tool = rng.random(count) < 0.2, rng.random(count) < 0.5
    second = rng.integers(0, tools, count)
    return Kind(
        tilt=rng.choice([0.0, 30.0, 45.0, 90.0, -90.0], sides)[side],
        turn=rng.choice([0.0, 45.0, 90.0, 180.0], sides)[side],
        tool=rng.choice(tools, count, p=share / share.sum()),
        takes_s=rng.uniform(4.0, 50.0, count),
        second_tool=np.where(other & by_tool, second, -1),
        turned=other & ~by_tool,
        slower_s=rng.uniform(0.0, 3.0, count),
        first=first,
    )


def shop_case(operations: int, seed: int) -> Problem:
    """Return a load of about so many operations (within one part's)."""
    rng = np.random.default_rng(seed)
    tower, tools = int(rng.choice([2, 4])), int(rng.integers(8, 21))
    kinds = [kind(rng, tools) for _ in range(int(rng.integers(1, 5)))]
    safe = np.deg2rad([rng.choice([0.0, 90.0]), 0.0])
    rows: list[tuple[float, float, float, float, int, float]] = []
    group: list[int] = []
    before: list[tuple[int, int]] = []
    place = begin = 0
    while begin == 0 or begin + len(kinds[place % len(kinds)].tool) / 2 <= operations:
        part = kinds[place % len(kinds)]
        spin = 360.0 / tower * (place % tower)
        x, y = 60.0 * (place // tower % 4), 70.0 * (place // tower // 4)
        for k in range(len(part.tool)):
            tilt, turn = float(part.tilt[k]), (float(part.turn[k]) + spin) % 360.0
            at = x + rng.uniform(-20.0, 20.0), y + rng.uniform(-20.0, 20.0)
            takes, tool = float(part.takes_s[k]), int(part.tool[k])
            rows.append((tilt, turn, *at, tool, takes))
            group.append(begin + k)
            slow = takes + float(part.slower_s[k])
            if part.turned[k]:
                rows.append((-tilt, (turn + 180.0) % 360.0, -at[0], at[1], tool, slow))
                group.append(begin + k)
            elif part.second_tool[k] >= 0:
                rows.append((tilt, turn, *at, int(part.second_tool[k]), slow))
                group.append(begin + k)
        before += [(begin + a, begin + b) for a, b in part.first]
        begin += len(part.tool)
        place += 1
    tilts, turns, xs, ys, tool_of, own = (np.array(column) for column in zip(*rows, strict=True))
    tilts, turns = np.deg2rad(tilts), np.deg2rad(turns)

    travel = np.hypot(xs[:, None] - xs, ys[:, None] - ys) / RAPID_MM_S + 0.3
    indexed = index_s(tilts[:, None], turns[:, None], tilts, turns)
    to_safe = np.maximum(index_s(tilts, turns, *safe), TO_CHANGE_S)
    with_change = RETRACT_S + to_safe[:, None] + TOOL_CHANGE_S + to_safe
    without = np.where(indexed > 0.0, RETRACT_S + np.maximum(indexed, travel), travel)
    between = np.where(tool_of[:, None] == tool_of, without, with_change)
    start, finish = RETRACT_S + TOOL_CHANGE_S + to_safe, RETRACT_S + to_safe
    return Problem(between, own, start, finish, group, before)


def index_s(tilt_a, turn_a, tilt_b, turn_b):  # type: ignore[no-untyped-def]
    """Return seconds of an index: both axes at once, the clamps with each [s]."""
    by_tilt = np.abs(tilt_a - tilt_b)
    by_turn = np.abs(np.angle(np.exp(1j * (turn_a - turn_b))))
    tilting = np.where(by_tilt > 1e-9, by_tilt / TILT_RAD_S + 0.25 + TILT_CLAMP_S, 0.0)
    turning = np.where(by_turn > 1e-9, by_turn / TURN_RAD_S + 0.2 + TURN_CLAMP_S, 0.0)
    return np.maximum(tilting, turning)
