"""Invented loads of a tower on a tilting rotary unit: what is cut where, and what it costs.

A tower of two to four faces carries up to a few dozen stations.  Each part has several sides, each
side is cut in one pose, with some of the tools.  All figures are invented; they are of the size
that a small machine has.
"""

from __future__ import annotations

import numpy as np

from gudgeon.order.problem import Problem

TOOL_CHANGE_S = 4.5
TO_CHANGE_S = 1.2
TILT_RAD_S, TURN_RAD_S = np.deg2rad(90.0), np.deg2rad(150.0)
TILT_CLAMP_S, TURN_CLAMP_S = 0.5, 0.3
RAPID_MM_S, RETRACT_S = 400.0, 0.5


def shop_case(operations: int, seed: int) -> Problem:
    """Return a load of about so many operations (within one part's)."""
    rng = np.random.default_rng(seed)
    sides = int(rng.integers(2, 5))
    tower = int(rng.choice([2, 4]))
    tools = int(rng.integers(8, 21))
    per_part = int(rng.integers(6, 17))
    stations = max(1, round(operations / per_part))
    # What is done on each part: its side, tool, stage (0 datum, 1 rough, 2 finish), seconds.
    side = rng.integers(0, sides, per_part)
    tool = rng.integers(0, tools, per_part)
    stage = np.where(rng.random(per_part) < 0.45, 2, 1)
    stage[0] = 0
    takes = rng.uniform(4.0, 50.0, per_part)
    late = rng.permutation(sides) if rng.random() < 0.5 else np.zeros(sides, dtype=int)
    late[[side[0], int(np.argmin(late))]] = late[[int(np.argmin(late)), side[0]]]  # datum's first
    tilts = rng.choice([0.0, 30.0, 45.0, 90.0, -90.0], sides)
    spins = rng.choice([0.0, 90.0, 180.0, 45.0], sides)
    safe = np.deg2rad([rng.choice([0.0, 90.0]), 0.0])
    # A second way: in another pose, or with another tool, a little slower.
    other = rng.random(per_part) < 0.2
    by_tool = rng.random(per_part) < 0.5
    second_tool = rng.integers(0, tools, per_part)
    slower = rng.uniform(0.0, 3.0, per_part)

    rows: list[tuple[float, float, float, float, int, float]] = []
    group: list[int] = []
    before: list[tuple[int, int]] = []
    for place in range(stations):
        spin = 360.0 / tower * (place % tower)
        x, y = 60.0 * (place // tower % 4), 70.0 * (place // tower // 4)
        first = place * per_part
        for k in range(per_part):
            tilt, turn = float(tilts[side[k]]), float(spins[side[k]]) + spin
            dx, dy = rng.uniform(-20.0, 20.0, 2)
            rows.append((tilt, turn % 360.0, x + dx, y + dy, int(tool[k]), float(takes[k])))
            group.append(first + k)
            if other[k]:
                if by_tool[k]:
                    way = (tilt, turn % 360.0, x + dx, y + dy, int(second_tool[k]))
                else:
                    way = (-tilt, (turn + 180.0) % 360.0, -x - dx, y + dy, int(tool[k]))
                rows.append((*way, float(takes[k] + slower[k])))
                group.append(first + k)
            for j in range(per_part):
                same = side[j] == side[k]
                if (
                    (j == 0 and k > 0)
                    or (same and stage[j] < stage[k])
                    or (j > 0 and late[side[j]] < late[side[k]])
                ):
                    before.append((first + j, first + k))
    tilt_, turn_, x_, y_, tool_, own = (np.array(column) for column in zip(*rows, strict=True))
    tilt_, turn_ = np.deg2rad(tilt_), np.deg2rad(turn_)

    def index(tilt_a, turn_a, tilt_b, turn_b):  # type: ignore[no-untyped-def]
        by_tilt = np.abs(tilt_a - tilt_b)
        by_turn = np.abs(np.angle(np.exp(1j * (turn_a - turn_b))))
        tilting = np.where(by_tilt > 1e-9, by_tilt / TILT_RAD_S + 0.25 + TILT_CLAMP_S, 0.0)
        turning = np.where(by_turn > 1e-9, by_turn / TURN_RAD_S + 0.2 + TURN_CLAMP_S, 0.0)
        return np.maximum(tilting, turning)

    travel = np.hypot(x_[:, None] - x_, y_[:, None] - y_) / RAPID_MM_S + 0.3
    indexed = index(tilt_[:, None], turn_[:, None], tilt_, turn_)
    to_safe = index(tilt_, turn_, *safe)
    with_change = (
        RETRACT_S
        + np.maximum(to_safe, TO_CHANGE_S)[:, None]
        + TOOL_CHANGE_S
        + np.maximum(to_safe, TO_CHANGE_S)[None, :]
    )
    without = np.where(indexed > 0.0, RETRACT_S + np.maximum(indexed, travel), travel)
    between = np.where(tool_[:, None] == tool_, without, with_change)
    start = RETRACT_S + TOOL_CHANGE_S + np.maximum(to_safe, TO_CHANGE_S)
    finish = RETRACT_S + np.maximum(to_safe, TO_CHANGE_S)
    return Problem(between, own, start, finish, group, before)
