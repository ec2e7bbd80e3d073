"""The path of the tool over work that turns beneath it."""

from __future__ import annotations

from math import ceil, cos, pi, sin, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.timing.compiled import compiled, inner
from gudgeon.timing.moves import Kind, Moves

__all__ = ["over_work"]

_PAUSE: Final = int(Kind.PAUSE)

_STEP: Final = pi / 180.0
"""The path is taken as chords no longer than so much turning."""


@inner
def _back(point, direction, angle, p):  # type: ignore[no-untyped-def]
    """Turn p about a line (Rodrigues' formula)."""
    s, c = sin(angle), 1.0 - cos(angle)
    x, y, z = direction
    u, v, w = p[0] - point[0], p[1] - point[1], p[2] - point[2]
    a, b, d = y * w - z * v, z * u - x * w, x * v - y * u
    p[0] += s * a + c * (y * d - z * b)
    p[1] += s * b + c * (z * a - x * d)
    p[2] += s * d + c * (x * b - y * a)


@compiled
def _lengths(start, end, kind, length, point, direction, sense, found, bound):  # type: ignore[no-untyped-def]
    here = np.zeros(3)
    last = np.zeros(3)
    q0 = np.zeros(5)
    step = np.zeros(5)
    for i in range(len(kind)):
        if kind[i] == _PAUSE:
            continue
        for k in range(5):
            q0[k] = start[k] if i == 0 else end[i - 1, k]
            step[k] = end[i, k] - q0[k]
        if step[3] == 0.0 and step[4] == 0.0:
            continue
        pieces = max(4, ceil(max(abs(step[3]), abs(step[4])) / _STEP))
        linear = sqrt(step[0] ** 2 + step[1] ** 2 + step[2] ** 2)
        h = 1.0 / pieces
        farthest = 0.0
        shortest = np.inf
        for m in range(pieces + 1):
            for k in range(3):
                here[k] = q0[k] + step[k] * m * h
            here[2] -= length[i]
            for axis in range(2):
                # Tilt first: the work is turned by the rotary, then by the tilt.
                x = here[0] - point[axis, 0]
                y = here[1] - point[axis, 1]
                z = here[2] - point[axis, 2]
                farthest = max(farthest, sqrt(x * x + y * y + z * z))
                angle = -sense[axis] * (q0[3 + axis] + step[3 + axis] * m * h)
                _back(point[axis], direction[axis], angle, here)
            if m > 0:
                chord = 0.0
                for k in range(3):
                    chord += (here[k] - last[k]) ** 2
                chord = sqrt(chord)
                found[i] += chord
                shortest = min(shortest, chord)
            for k in range(3):
                last[k] = here[k]
        # |p''| <= 2 w |v| + w^2 r, w the sum of both turns; r holds between the samples too.
        turn = abs(step[3]) + abs(step[4])
        r = farthest + h * (linear + turn * farthest)
        bend = 2.0 * turn * linear + turn * turn * r
        # With p' = m + e, |e| <= bend h/2 over a piece and e of mean 0: |p'| - |m| is at most |e|,
        # and (e along m of mean 0) at most e^2 / 2|m| on average.
        slack = 0.5 * bend * h
        if shortest > 0.0:
            slack = min(slack, slack * slack * h / (2.0 * shortest))
        bound[i] = slack


def over_work(moves: Moves) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the length of the path of the tool's tip over the work, of each move that turns.

    Parameters
    ----------
    moves : Moves
        With a lever.

    Returns
    -------
    length : ndarray, shape (n,)
        [mm]; 0 for moves that do not turn (and where the tip stays on one point of the work).
    bound : ndarray, shape (n,)
        The true length is no less than `length` and no more than `length + bound` [mm].

    Raises
    ------
    ValueError
        Without a lever.

    Notes
    -----
    Sum of chords at steps of one degree or less, arcs of X, Y, Z taken as straight.  The bound
    follows from the second derivative of the path; see the remarks in the loop.
    """
    if moves.lever is None:
        raise ValueError("a feed over the work needs the lever of the moves")
    found = np.zeros(len(moves.kind))
    bound = np.zeros(len(moves.kind))
    lever = moves.lever
    _lengths(
        moves.start, moves.end, moves.kind, lever.length,
        lever.point, lever.direction, lever.sense, found, bound,
    )  # fmt: skip
    return found, bound
