"""Share of parts in tolerance: linear and Monte Carlo beside parts simulated one by one.

The parts are cut in a simulation of its own: every part has its own true lines, angles and tool,
turned with another library, and a surface is where the cutting plane of the machine meets the part.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from benchmarks.metrology_told import table
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from tests.accuracy.jobs import UP, X, Y, Z, hole, job, plane, visit

from gudgeon.accuracy.budget import draw_out, estimate
from gudgeon.accuracy.dimensions import Dimension
from gudgeon.accuracy.job import Factor, Job, Sizes

Floats = NDArray[np.float64]

BLOCK = 4
CELLS = 60
PARTS = 20_000
WIDTH = "width between faces cut at tilt 90 and -90"
ACROSS = "width between faces cut at tilt 90, turns 90 and -90"
HOLES = "place of a hole drilled at turn 90 from one at turn 0"
SETTINGS = (WIDTH, ACROSS, HOLES)
ARCSEC = math.pi / 648000.0


def job_of(setting: str, chance: np.random.Generator) -> tuple[Job, Dimension]:
    """Return a job with sizes by chance, and its dimension without a tolerance."""
    half = float(chance.uniform(10.0, 40.0))
    high = float(chance.uniform(20.0, 90.0))
    if setting == WIDTH:
        cuts = (plane("front", (0, -half, high), -Y, 1), plane("back", (0, half, high), Y, 0))
        visits = (visit(UP, 0.0, 0), visit(-UP, 0.0, 1))
        wanted = Dimension("width", "distance", 1, 0, Y)
    elif setting == ACROSS:
        cuts = (plane("side", (half, 0, high), X, 1), plane("far", (-half, 0, high), -X, 0))
        visits = (visit(UP, UP, 0, 0), visit(UP, -UP, 0, 1))
        wanted = Dimension("across", "distance", 1, 0, -X)
    else:
        cuts = (hole("first", (0, half, high), Z, 0), hole("second", (half, 0, high), Z, 1))
        visits = (visit(0.0, 0.0, 0, 0), visit(0.0, UP, 0, 1))
        wanted = Dimension("apart", "position", 1, 0, Z)
    mixed = chance.normal(size=(5, 5)) * 0.4 + np.eye(5)
    u = np.array([*chance.uniform(0.002, 0.01, 4), chance.uniform(1e-5, 8e-5)])
    sizes = Sizes(
        index_u=tuple(float(a) for a in chance.uniform(2.0, 20.0, 2) * ARCSEC),
        lost_half=tuple(float(a) for a in chance.uniform(0.0, 20.0, 2) * ARCSEC),
        linear_u=float(chance.uniform(0.0, 0.003)),
        length_u=float(chance.uniform(0.0, 0.004)),
    )
    return job(cuts, visits, (Factor("lines", u[:, None] * mixed),), sizes), wanted


def simulated(one: Job, setting: str, chance: np.random.Generator, parts: int = PARTS) -> Floats:
    """Cut parts and measure them; return the error of the dimension, shape (parts, 1 or 2)."""
    columns = one.factors[0].columns
    values = chance.normal(size=(parts, columns.shape[1])) @ columns.T
    length = one.sizes.length_u * chance.normal(size=parts)
    stops: dict[tuple[int, int], Floats] = {}
    found = []
    for cut in one.cuts:
        pose = one.visits[cut.visit]
        turns = []
        for axis in (0, 1):
            key = (axis, pose.positionings[axis])
            if key not in stops:
                stops[key] = one.sizes.index_u[axis] * chance.normal(
                    size=parts
                ) + one.sizes.lost_half[axis] * chance.uniform(-1.0, 1.0, parts)
            turns.append(pose.turns[axis] + stops[key])
        sent = _placed(np.zeros((1, 5)), [np.array([a]) for a in pose.turns], cut.point[None, :])
        here = sent + one.sizes.linear_u * chance.normal(size=(parts, 3))
        if setting == HOLES:
            # The spindle stands at x and y; the part is moved below it until they meet.
            part = np.tile(cut.point, (parts, 1))
            for _ in range(4):
                off = here - _placed(values, turns, part)
                off[:, 2] = 0.0
                part = part + _turned_back(values, turns, off) * [1.0, 1.0, 0.0]
            found.append(part - cut.point)
            continue
        # The tool's end is at a height; go from the face along its normal until it is met.
        height = here[:, 2] - length
        low = _placed(values, turns, np.tile(cut.point, (parts, 1)))[:, 2]
        up = _placed(values, turns, np.tile(cut.point + cut.normal, (parts, 1)))[:, 2]
        found.append(((height - low) / (up - low))[:, None])
    if setting == HOLES:
        return np.asarray((found[1] - found[0])[:, :2])
    return np.asarray(found[0] + found[1])


def _placed(values: Floats, turns: list[Floats], points: Floats) -> Floats:
    """Return where part points stand in the machine."""
    tilt_at = np.column_stack([0.0 * values[:, 0], values[:, 0], values[:, 1]])
    rotary_at = np.column_stack([values[:, 2], values[:, 3], 0.0 * values[:, 0]])
    tilt, rotary = _rotations(values, turns)
    at_rotary = rotary.apply(points - rotary_at) + rotary_at
    return np.asarray(tilt.apply(at_rotary - tilt_at) + tilt_at)


def _turned_back(values: Floats, turns: list[Floats], ways: Floats) -> Floats:
    tilt, rotary = _rotations(values, turns)
    return np.asarray((tilt * rotary).inv().apply(ways))


def _rotations(values: Floats, turns: list[Floats]) -> tuple[Rotation, Rotation]:
    lean = values[:, 4]
    axis = np.column_stack([0.0 * lean, -np.sin(lean), np.cos(lean)])
    return (
        Rotation.from_rotvec(turns[0][:, None] * X),
        Rotation.from_rotvec(turns[1][:, None] * axis),
    )


def run(setting: str, cells: int, seed: tuple[int, ...]) -> dict[str, Any]:
    """Return sums over jobs, each with a tolerance of its own."""
    chance = np.random.default_rng(seed)
    total: dict[str, Any] = {
        name: 0.0
        for name in (
            "linear",
            "linear_square",
            "drawn",
            "drawn_square",
            "chance_square",
            "width",
            "linear_agrees",
            "drawn_agrees",
        )
    }
    for _ in range(cells):
        one, wanted = job_of(setting, chance)
        plain = estimate(one, [wanted])[0]
        bound = plain.plus_minus * float(chance.uniform(0.5, 1.3))
        low = -bound * float(chance.uniform(0.5, 1.0))
        toleranced = replace(wanted, low=low, high=bound)
        linear = estimate(one, [toleranced])[0]
        drawn = draw_out(one, [toleranced], seed=int(chance.integers(2**31)))[0]
        error = simulated(one, setting, chance)
        if setting == HOLES:
            real = np.hypot(error[:, 0], error[:, 1])
            share = float(np.mean(real <= bound))
            width = float(np.quantile(real, 0.95))
        else:
            share = float(np.mean((error >= low) & (error <= bound)))
            width = float(np.quantile(np.abs(error), 0.95))
        noise = share * (1.0 - share) / PARTS
        for name, inside, more in (("linear", linear.inside, 0.0), ("drawn", drawn.inside, noise)):
            off = inside - share
            total[name] += off
            total[f"{name}_square"] += off**2
            total[f"{name}_agrees"] += abs(off) <= 0.005 + 3.0 * math.sqrt(noise + more)
        total["chance_square"] += noise
        total["width"] += plain.plus_minus / width
    return total


def tell(totals: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the table."""
    rows = []
    for setting, counts in totals.items():
        of = counts["cells"]
        cells = [setting, str(of)]
        for name in ("linear", "drawn"):
            mean, square = counts[name] / of, counts[f"{name}_square"] / of
            cells += [
                f"{100.0 * mean:+.2f}",
                f"{100.0 * math.sqrt(square):.2f}",
                f"{counts[f'{name}_agrees']:.0f}",
            ]
        cells += [
            f"{100.0 * math.sqrt(counts['chance_square'] / of):.2f}",
            f"{counts['width'] / of:.3f}",
        ]
        rows.append(cells)
    return (
        "## Accuracy of a dimension\n\n"
        f"Jobs with sizes of the causes and a tolerance by chance, {PARTS:,} parts of each cut in "
        "a simulation of its own: lines, index error, lost motion, repeatability of X, Y, Z, tool "
        "length. Difference of the share in tolerance that is told, less that of the simulated "
        "parts, in per cent of the parts: mean, root mean square, and in how many jobs it is no "
        "more than 0.5 and three standard deviations of the simulation. *By chance*: what the root "
        "mean square is for a share that is right. *Width*: the 95 % half width that is told over "
        "that of the simulated parts. Seeds: (4, number of the setting, number of the block), "
        f"blocks of {BLOCK} jobs.\n\n"
        + table(
            [
                "dimension",
                "jobs",
                "linear: mean",
                "RMS",
                "agree",
                "Monte Carlo: mean",
                "RMS",
                "agree",
                "by chance",
                "width",
            ],
            rows,
        )
    )
