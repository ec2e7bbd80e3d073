"""What the tests of cutter radius compensation share: making, sampling and measuring paths."""

from __future__ import annotations

from itertools import pairwise
from math import cos, hypot, pi, sin

import numpy as np
import pytest
from numpy.testing import assert_allclose

from gudgeon.program.cutter import PlaneMove, centre_path
from gudgeon.program.doubts import Code, Halt

NEXT = "square to next"
LEAD = "square to lead"


def lines(*points: tuple[float, float]) -> list[PlaneMove]:
    return [PlaneMove(*one, *two) for one, two in pairwise(points)]


def arc(start: tuple[float, float], centre: tuple[float, float], sweep: float) -> PlaneMove:
    out = complex(*start) - complex(*centre)
    end = complex(*centre) + out * complex(cos(sweep), sin(sweep))
    return PlaneMove(*start, end.real, end.imag, centre, sweep)


def flat(path: list[list[PlaneMove]]) -> list[PlaneMove]:
    return [part for parts in path for part in parts]


def ends(path: list[list[PlaneMove]]) -> np.ndarray:
    return np.array([(part.u1, part.v1) for part in flat(path)])


def assert_ends(path: list[list[PlaneMove]], *points: tuple[float, float]) -> None:
    assert_allclose(ends(path), points, rtol=0, atol=1e-12)


def backwards(moves: list[PlaneMove]) -> list[PlaneMove]:
    return [PlaneMove(m.u1, m.v1, m.u0, m.v0, m.centre, -m.sweep) for m in reversed(moves)]


def halted(moves, side, radius, corner="arc", lead=NEXT, lead_out=True) -> tuple[Code, object]:
    with pytest.raises(Halt) as caught:
        centre_path(moves, side, radius, corner, lead=lead, lead_out=lead_out)
    return caught.value.code, dict(caught.value.detail)["index"]


def sampled(part: PlaneMove, count: int = 33) -> np.ndarray:
    share = np.linspace(0.0, 1.0, count)
    one, two = complex(part.u0, part.v0), complex(part.u1, part.v1)
    if part.centre is None:
        return one + share * (two - one)
    middle = complex(*part.centre)
    reach = abs(one - middle) + share * (abs(two - middle) - abs(one - middle))
    return middle + reach * np.exp(1j * (np.angle(one - middle) + share * part.sweep))


def distances(points: np.ndarray, move: PlaneMove) -> np.ndarray:
    """Exact distance of each point to a line or an arc."""
    one, two = complex(move.u0, move.v0), complex(move.u1, move.v1)
    if move.centre is None:
        way = two - one
        share = np.clip(((points - one) * way.conjugate()).real / abs(way) ** 2, 0.0, 1.0)
        return np.abs(points - one - share * way)
    middle = complex(*move.centre)
    turned = np.angle((points - middle) / (one - middle)) * np.sign(move.sweep) % (2 * pi)
    beside = np.abs(np.abs(points - middle) - abs(one - middle))
    to_ends = np.minimum(np.abs(points - one), np.abs(points - two))
    return np.where(turned <= abs(move.sweep), beside, to_ends)


def assert_whole(path: list[list[PlaneMove]], moves: list[PlaneMove]) -> None:
    """No gap, arcs end where their sweep says, ends as programmed."""
    parts = flat(path)
    for one, two in pairwise(parts):
        assert hypot(two.u0 - one.u1, two.v0 - one.v1) <= 1e-12
    for part in parts:
        assert abs(sampled(part)[-1] - complex(part.u1, part.v1)) < 2e-7
    assert (parts[0].u0, parts[0].v0) == (moves[0].u0, moves[0].v0)
