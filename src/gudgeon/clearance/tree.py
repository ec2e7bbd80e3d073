"""The bounding tree over pieces, grown in a compiled loop."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

from gudgeon.clearance.compiled import compiled

__all__ = ["grow"]


@numba.njit
def _longest(nodes, at, low, high, order, middles, radii, lows, highs):  # type: ignore[no-untyped-def]
    """Give node `at` ball and box around pieces order[low:high]; return the box's longest side."""
    least, most = np.full(3, np.inf), np.full(3, -np.inf)
    for i in range(low, high):
        for k in range(3):
            least[k] = min(least[k], lows[order[i], k])
            most[k] = max(most[k], highs[order[i], k])
    x, y, z = 0.5 * (least[0] + most[0]), 0.5 * (least[1] + most[1]), 0.5 * (least[2] + most[2])
    radius = 0.0
    for i in range(low, high):
        m = middles[order[i]]
        away = np.sqrt((m[0] - x) ** 2 + (m[1] - y) ** 2 + (m[2] - z) ** 2)
        radius = max(radius, away + radii[order[i]])
    node = nodes[at]
    node.centre[0], node.centre[1], node.centre[2] = x, y, z
    slop = 1e-15 * (abs(x) + abs(y) + abs(z))
    corner = 0.0
    for k in range(3):
        node.half[k] = max(most[k] - node.centre[k], node.centre[k] - least[k]) + slop
        corner += node.half[k] ** 2
    node.radius = min(radius, np.sqrt(corner)) * (1.0 + 1e-12) + 8.0 * slop
    longest = 0
    for k in range(1, 3):
        if most[k] - least[k] > most[longest] - least[longest]:
            longest = k
    return longest


def _grow(nodes, middles, radii, least, most, body):  # type: ignore[no-untyped-def]
    count = len(radii)
    bodies = 0
    for i in range(count):
        bodies = max(bodies, body[i] + 1)
    share, own = np.zeros((bodies, 3)), np.zeros(bodies)
    for i in range(count):
        own[body[i]] += 1.0
        for k in range(3):
            share[body[i], k] += middles[i, k]
    order = np.argsort(body, kind="mergesort")
    stack = np.empty((128, 3), dtype=np.int64)
    top = 0
    stack[0, 0], stack[0, 1], stack[0, 2] = 0, count, 0
    used = 1
    while top >= 0:
        low, high, at = stack[top, 0], stack[top, 1], stack[top, 2]
        top -= 1
        k = _longest(nodes, at, low, high, order, middles, radii, least, most)
        node = nodes[at]
        node.piece = node.left = node.right = -1
        one = True
        for i in range(low, high):
            if body[order[i]] != body[order[low]]:
                one = False
        node.body = body[order[low]] if one else -1
        if high - low == 1:
            piece = order[low]
            node.piece = piece
            node.radius = radii[piece]
            for m in range(3):
                node.centre[m] = middles[piece, m]
            continue
        half = (low + high) // 2
        part = order[low:high].copy()
        if one:
            order[low:high] = part[np.argsort(middles[part, k])]
        else:
            # Whole bodies to either side: sort by the middle of the body, ties by its number.
            part = part[np.argsort(body[part], kind="mergesort")]
            key = np.empty(high - low)
            for i in range(high - low):
                key[i] = share[body[part[i]], k] / own[body[part[i]]]
            part = part[np.argsort(key, kind="mergesort")]
            order[low:high] = part
            best = -1
            for i in range(low + 1, high):
                if body[order[i]] != body[order[i - 1]] and (
                    best < 0 or abs(i - half) < abs(best - half)
                ):
                    best = i
            half = best
        node.left, node.right = used, used + 1
        used += 2
        # The smaller half on top keeps the stack as short as the tree is deep.
        first = 0 if high - half > half - low else 1
        for turn in range(2):
            top += 1
            if (turn == 0) == (first == 0):
                stack[top, 0], stack[top, 1], stack[top, 2] = half, high, node.right
            else:
                stack[top, 0], stack[top, 1], stack[top, 2] = low, half, node.left


grow: Any = compiled(_grow)
"""Fill `nodes` over pieces given by balls (middles, radii), boxes (least, most) and bodies."""
