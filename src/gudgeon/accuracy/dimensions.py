"""Dimensions between cuts: their errors as functions of the standard variables.

A dimension of one direction (distance, squareness, angle) has a signed error; one of two
directions (position of a hole, parallelism) has two, and its tolerance is a circle.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.errors import point_errors
from gudgeon.accuracy.job import Job, Source

__all__ = ["LEAST_ACROSS", "Dimension", "NotMeasurable", "dimension_errors"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

LEAST_ACROSS: Final = 0.2
"""A surface counts along a direction only if its normal has this share along it."""


class NotMeasurable(ValueError):  # noqa: N818 - the drawing is at fault, not the sum
    """A dimension makes no sense for its features; the text says why."""


@dataclass(frozen=True, slots=True)
class Dimension:
    """A dimension of the drawing.

    Attributes
    ----------
    name : str
    kind : str
        ``"distance"``, ``"position"``, ``"square"``, ``"parallel"`` or ``"angle"``.
    first : int
        Index of the cut that is measured.
    second : int or None
        Index of the cut it is measured from; ``None``: the datum, which was there before.
    along : ndarray, shape (3,)
        Distance: direction in which it is measured, from the second towards the first.
        Position: direction of the axis.  Else: outward normal of the second, part frame.
    over : float
        Length over which squareness and parallelism count [mm].
    low, high : float
        Tolerated error [mm; rad for angles]; for two directions only `high` counts, the radius
        of the circle.
    """

    name: str
    kind: str
    first: int
    second: int | None
    along: Floats
    over: float = 1.0
    low: float = -math.inf
    high: float = math.inf

    @property
    def directions(self) -> int:
        """How many errors it has."""
        return 2 if self.kind in ("position", "parallel") else 1


def dimension_errors(
    job: Job, sources: Sequence[Source], dimensions: Sequence[Dimension]
) -> Callable[[Numbers], Numbers]:
    """Return the function from standard variables to the errors of all dimensions.

    Returns
    -------
    callable
        Shape (..., number of sources) to (..., number of errors), the dimensions in order, each
        with as many errors as it has directions.

    Raises
    ------
    NotMeasurable
        If a surface lies along the direction in which it should be measured, or an angle is asked
        between parallel surfaces.
    """
    cuts: list[int] = []
    points: list[Floats] = []

    def place(cut: int, point: Floats) -> int:
        cuts.append(cut)
        points.append(point)
        return len(cuts) - 1

    terms: list[list[tuple[int, Floats]]] = []
    for one in dimensions:
        build = _leaning if one.kind in ("square", "parallel", "angle") else _placed
        terms += build(job, one, place)
    weights = np.zeros((len(terms), len(cuts), 3))
    for row, parts in enumerate(terms):
        for index, weight in parts:
            weights[row, index] += weight
    stacked = np.array(points).reshape(-1, 3)

    def errors(draws: Numbers) -> Numbers:
        found = point_errors(job, sources, np.asarray(draws), cuts, stacked)
        return np.asarray(np.tensordot(found, weights, axes=([-2, -1], [1, 2])))

    return errors


def _placed(
    job: Job, one: Dimension, place: Callable[[int, Floats], int]
) -> list[list[tuple[int, Floats]]]:
    if one.kind == "position":
        u, v = _across(one.along)
        ways = [u, v]
    else:
        ways = [one.along / float(np.linalg.norm(one.along))]
    found = []
    for way in ways:
        first, second = _feet(job, one, way)
        parts = [(place(one.first, first), _counts(job, one, one.first, way))]
        if one.second is not None:
            parts.append((place(one.second, second), -_counts(job, one, one.second, way)))
        found.append(parts)
    return found


def _feet(job: Job, one: Dimension, way: Floats) -> tuple[Floats, Floats]:
    """Return where both features are measured: a surface right across from the other feature.

    A lean of the whole part then changes no distance in it.
    """
    a = job.cuts[one.first]
    if one.second is None:
        return a.point, a.point
    b = job.cuts[one.second]
    for here, there, swap in ((b, a, False), (a, b, True)):
        across = float(here.normal @ way)
        if here.kind == "hole" or abs(across) < LEAST_ACROSS:
            continue
        gap = float((there.point - here.point) @ here.normal)
        foot = there.point - way * (gap / across)
        return (foot, b.point) if swap else (a.point, foot)
    return a.point, b.point


def _counts(job: Job, one: Dimension, cut: int, way: Floats) -> Floats:
    """Return the weight of a point's error: a surface counts only along its normal."""
    feature = job.cuts[cut]
    if feature.kind == "hole":
        if one.kind == "distance" and abs(float(feature.normal @ way)) > 1.0 - 1e-6:
            raise NotMeasurable(
                f"{feature.name} is a hole that runs along the direction of the distance"
            )
        return way
    share = float(feature.normal @ way)
    if abs(share) < LEAST_ACROSS:
        if one.kind == "position":
            return np.zeros(3)  # a surface as datum holds only the direction across it
        raise NotMeasurable(f"{feature.name} lies along the direction of the distance")
    return np.asarray(feature.normal / share)


def _leaning(
    job: Job, one: Dimension, place: Callable[[int, Floats], int]
) -> list[list[tuple[int, Floats]]]:
    """Return lean of the first surface against the second, over a length (angle: over 1 rad).

    A surface with normal n leans towards t by the rise n . (e(p + L t) - e(p)) over L.
    """
    normal = job.cuts[one.first].normal
    other = one.along / float(np.linalg.norm(one.along))
    in_line = float(normal @ other)
    length = one.over
    # The rise over L is taken from points L apart, so `over` only scales an angle.
    scale = 1.0 if one.kind != "angle" else 1.0 / length
    parallel = one.kind == "parallel"
    if parallel and abs(in_line) < 0.9:
        raise NotMeasurable(f"{one.name}: the two are not parallel on the drawing")
    if one.kind == "square" and abs(in_line) > 0.1:
        raise NotMeasurable(f"{one.name}: the two are not square on the drawing")
    if not parallel and abs(in_line) > 1.0 - 1e-6:
        raise NotMeasurable(f"{one.name}: the two are parallel and make no angle")
    pairs: list[list[tuple[int, Floats, Floats, float]]]
    if parallel:
        sign = math.copysign(1.0, in_line)
        pairs = [
            [(one.first, normal, t, 1.0)]
            + ([] if one.second is None else [(one.second, other, t, -sign)])
            for t in _across(normal)
        ]
    else:
        across = math.sqrt(1.0 - in_line**2)
        pairs = [[(one.first, normal, (other - in_line * normal) / across, 1.0)]]
        if one.second is not None:
            pairs[0].append((one.second, other, (normal - in_line * other) / across, 1.0))
    found = []
    for pair in pairs:
        parts: list[tuple[int, Floats]] = []
        for cut, way, toward, sign in pair:
            point = job.cuts[cut].point
            parts.append((place(cut, point + 0.5 * length * toward), scale * sign * way))
            parts.append((place(cut, point - 0.5 * length * toward), -scale * sign * way))
        found.append(parts)
    return found


def _across(direction: Floats) -> tuple[Floats, Floats]:
    """Return two directions square to one and to each other, as near to x, y, z as may be."""
    d = direction / float(np.linalg.norm(direction))
    start = np.eye(3)[int(np.argmin(np.abs(d)))]
    u = start - d * float(d @ start)
    u = u / float(np.linalg.norm(u))
    return u, np.cross(d, u)
