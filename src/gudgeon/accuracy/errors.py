"""Where a cut really ends up in the part, through the exact pose map.

The control goes where the believed lines put the point; the work stands where the true lines and
the true angles put it.  What is under the tool then, taken back into the part frame, less the
point that was meant, is the error (closed forms for single causes: an axis line off by d shifts
the work by (I - R) d).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.job import Job, Source
from gudgeon.accuracy.place import to_machine, to_platter

__all__ = ["point_errors"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

ROOT_3: Final = math.sqrt(3.0)
TEMPERATURE_SHARE: Final = 1.0 / ROOT_3


def point_errors(
    job: Job, sources: Sequence[Source], draws: Numbers, cuts: Sequence[int], points: Floats
) -> Numbers:
    """Return how far points of cuts end up from where they were meant, part frame [mm].

    Parameters
    ----------
    job : Job
    sources : sequence of Source
        As `sources_of` returns them, or some of them.
    draws : ndarray, shape (..., number of sources)
        Values of the standard variables; real or complex.
    cuts : sequence of int
        Which cut each point belongs to.
    points : ndarray, shape (n, 3)
        Part frame [mm].

    Returns
    -------
    ndarray, shape (..., n, 3)
    """
    size = job.sizes
    at = {(source.cause, source.key): i for i, source in enumerate(sources)}
    lead = draws.shape[:-1]
    nothing = np.zeros(lead, dtype=draws.dtype)

    def z(cause: str, *key: object) -> Numbers:
        index = at.get((cause, key))
        return nothing if index is None else draws[..., index]

    def three(cause: str, *key: object) -> Numbers:
        return np.stack([z(cause, *key, i) for i in range(3)], axis=-1)

    believed = job.lines_of(job.values)
    values = np.zeros((*lead, len(job.values)), dtype=draws.dtype) + job.values
    for number, factor in enumerate(job.factors):
        for i in range(factor.columns.shape[1]):
            index = at.get((factor.cause, (number, i)))
            if index is not None:
                values = values + draws[..., index, None] * factor.columns[:, i]
    true = job.lines_of(values)
    if ("machine warmth", (0,)) in at:
        strain = z("machine warmth", 0) * size.machine_half * TEMPERATURE_SHARE
        true = true.moved(strain[..., None] * size.machine_per_k * job.warm_lever)

    chosen = [job.cuts[i] for i in cuts]
    visits = [job.visits[cut.visit] for cut in chosen]
    nominal = np.array([visit.turns for visit in visits])
    off = np.stack(
        [
            np.stack(
                [
                    size.index_u[axis] * z("index", axis, visit.positionings[axis])
                    + size.lost_half[axis]
                    / ROOT_3
                    * z("lost motion", axis, visit.positionings[axis])
                    for axis in range(nominal.shape[1])
                ],
                axis=-1,
            )
            for visit in visits
        ],
        axis=-2,
    )
    turns = nominal + off
    in_platter = job.at + points @ job.turn.T
    commanded = to_machine(believed, nominal, in_platter)
    aside = _aside(job, z, three, commanded, chosen)
    if size.probed:
        zeros = job.at + np.array([visit.zero for visit in visits]) @ job.turn.T
        aside = aside + to_machine(true, turns, zeros) - to_machine(believed, nominal, zeros)
        aside = aside + size.probing_u * np.stack(
            [three("probing", cut.visit) for cut in chosen], axis=-2
        )
    reached = to_platter(true, turns, commanded + aside)
    if not size.probed:
        reached = reached + size.place_u * three("place")[..., None, :]
    error = (reached - job.at) @ job.turn - points
    error = error + _in_part(job, z, three, chosen, points)
    return np.asarray(error)


def _aside(job: Job, z: Any, three: Any, commanded: Floats, chosen: list[Any]) -> Numbers:
    """Return how far the tool stands from where it was sent, T [mm]."""
    size = job.sizes
    x, y, height = ((commanded - job.home)[:, i] for i in range(3))
    # x, y, z scales; x from y, x from z, y from z.
    scales = three("scale")[..., None, :] * size.scale_u * (commanded - job.home)
    xy, xz, yz = (size.square_u * z("square", i)[..., None] for i in range(3))
    square = np.stack([xy * y + xz * height, yz * height + 0.0 * x, 0.0 * xy * x], axis=-1)
    linear = size.linear_u * np.stack([three("linear", cut.name) for cut in chosen], axis=-2)
    along = np.stack(
        [
            (size.length_u * z("tool length", cut.tool) if cut.kind == "plane" else z("", ""))
            + size.growth_half / ROOT_3 * z("spindle growth", cut.visit)
            for cut in chosen
        ],
        axis=-1,
    )
    # A tool longer than believed cuts deeper.
    return np.asarray(scales + square + linear - along[..., None] * np.array([0.0, 0.0, 1.0]))


def _in_part(job: Job, z: Any, three: Any, chosen: list[Any], points: Floats) -> Numbers:
    """Return what adds in the part frame itself: seat, tool diameter, warmth [mm]."""
    size = job.sizes
    seats = np.stack([three("clamping", cut.clamping) for cut in chosen], axis=-2)
    leans = np.stack(
        [
            np.stack([z("clamping", cut.clamping, 3 + i) for i in range(3)], axis=-1)
            for cut in chosen
        ],
        axis=-2,
    )
    # Two seats, each as sure as the part's place, lean by root 2 over their distance.
    lean = leans * (size.clamping_u * math.sqrt(2.0) / size.clamping_base)
    total = seats * size.clamping_u + _cross(lean, points - np.mean(points, axis=0))
    radii = np.stack(
        [
            0.5 * size.diameter_u * z("tool diameter", cut.tool)
            if cut.kind == "edge"
            else z("", "")
            for cut in chosen
        ],
        axis=-1,
    )
    total = total - radii[..., None] * np.array([cut.normal for cut in chosen])
    strain = (size.machine_per_k - size.part_per_k) * size.warmer - z("part warmth", 0)[
        ..., None, None
    ] * (size.part_per_k * size.part_half * TEMPERATURE_SHARE)
    return np.asarray(total + strain * points)


def _cross(a: Numbers, b: Floats) -> Numbers:
    return np.stack(
        [
            a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1],
            a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2],
            a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0],
        ],
        axis=-1,
    )
