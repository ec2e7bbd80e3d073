"""How often 95 % intervals of the fit hold the truth, over simulated cells in stated settings.

    python -m tests.centre.coverage [cells]

A cell is a drawn pair of lines with its own slopes and bore; its readings are simulated with the
product's chain.  Counted are the worst part point of each cell (in the direction in which it is
worst) and every position.  The slice that the tests run has fewer cells.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from gudgeon.centre.fit import LineFit, fit_lines
from gudgeon.centre.lines import ONE_AXIS, LineFrame
from gudgeon.centre.readings import Reading
from gudgeon.kinematics.chain import AxisLine, TurningAxis
from tests.centre.simulate import Unit, frame

QUARTERS = (0, 90, 180, 270)
POSITIONS = ("tilt_y", "tilt_z", "rotary_x", "rotary_y", "face")
INCH_STEP = 0.0127
"""Half a thousandth of an inch [mm]."""

SQUARE_U = 3e-4
ARCSEC = math.radians(1.0 / 3600.0)


@dataclass(frozen=True)
class Setting:
    """One way of reading a unit.

    `make` returns the readings of a unit; `noise` is the real noise over the stated; `extra` and
    `index_u` go into the fit.
    """

    name: str
    make: Callable[[Unit], list[Reading]]
    noise: float = 1.0
    step: float = 0.0
    index_u: tuple[float, float] = (0.0, 0.0)
    extra: dict[str, float] = field(default_factory=dict)
    one_axis: bool = False


def hand(unit: Unit) -> list[Reading]:
    """Touch by the usual hand procedure: faces at C0, a bore at four turns."""
    spots = ((60, 0), (-60, 0), (0, 50), (0, -50))
    rows = [unit.face(t, 0, x, y) for t in (90, -90, 0) for x, y in spots]
    return [*rows, *(unit.bore(0, c) for c in QUARTERS)]


def hand_and_three(unit: Unit) -> list[Reading]:
    return [*hand(unit), *(unit.face(0, c, 60, 10) for c in QUARTERS[1:])]


def of_balls(unit: Unit) -> list[Reading]:
    return [unit.sphere(t, c) for t in (-90, -45, 0, 45, 90) for c in (0, 120, 240)]


def sweep_and_bore(unit: Unit) -> list[Reading]:
    spots = ((60, 0), (-60, 0), (0, 50), (0, -50))
    rows = [unit.face(t, 0, x, y) for t in (90, -90) for x, y in spots[:3]]
    rows += [unit.face(0, 0, 0, 0)]
    rows += [unit.swept_face(0, c, *s, zero_mm=12.0) for c in (0, 180) for s in spots]
    return [*rows, *(unit.bore(0, c, d) for c in QUARTERS for d in (0.0, -25.0))]


def few(unit: Unit) -> list[Reading]:
    rows = [unit.face(t, 0, x, y) for t in (90, -90) for x, y in ((60, 0), (-60, 0))]
    rows += [unit.face(0, c, 60, 10) for c in (0, 90, 180)]
    rows += [unit.face(0, 0, -60, 0)]
    return [*rows, unit.bore(0, 0), unit.bore(0, 90), unit.bore(0, 180), unit.bore(0, 180, -25.0)]


SETTINGS = (
    Setting("hand", hand, extra={"slope_x": SQUARE_U, "slope_y": SQUARE_U}),
    Setting("hand and three touches", hand_and_three),
    Setting("balls", of_balls),
    Setting("sweep and bore", sweep_and_bore),
    Setting("one axis", hand, one_axis=True),
    Setting("few readings", few),
    Setting("noise 1.5 times the stated", hand_and_three, noise=1.5),
    Setting("index noise", of_balls, index_u=(5.0 * ARCSEC, 5.0 * ARCSEC)),
    Setting("inch display, 0.0005 in", hand_and_three, step=INCH_STEP),
    Setting("hand, untouched slopes held", hand),
)


def drawn(chance: np.random.Generator, setting: Setting) -> Unit:
    """Return a unit drawn by chance; its own noise is off, it comes later."""
    values = chance.normal(0.0, [0.5, 0.5, 5e-4, 5e-4, 0.5, 0.5, 5e-4, 5e-4, 1.0])
    values[8] += float(chance.choice([-30.0, 30.0]))
    held = setting.make is hand and not setting.extra
    slopes = (0.0, 0.0) if held else tuple(chance.normal(0.0, SQUARE_U, 2))
    sense = int(chance.choice([-1, 1]))
    return Unit(frame(sense, -sense), values, slopes, tuple(chance.normal(0.0, 0.02, 2)))


def noisy(
    chance: np.random.Generator, rows: list[Reading], setting: Setting, u: float
) -> list[Reading]:
    found = []
    for row in rows:
        place = np.array(row.position_mm)
        counted = np.ones(3) if row.toward is None else np.abs(row.toward)
        place = place + counted * chance.normal(0.0, setting.noise * u, 3)
        if setting.step:
            place = np.round(place / setting.step) * setting.step
        x, y, z = (float(p) for p in place)
        found.append(replace(row, position_mm=(x, y, z), u_mm=u, step=setting.step))
    return found


def seated(chance: np.random.Generator, setting: Setting, unit: Unit, u: float) -> list[Reading]:
    """Return readings of axes that stop a little off, each positioning by its own error."""
    found: list[Reading] = []
    poses: dict[tuple[float, float], tuple[int, float, float]] = {}
    plain_sphere = unit.sphere

    def off(tilt: float, rotary: float, *args: object, **more: object) -> Reading:
        seat, a, c = poses.setdefault(
            (tilt, rotary), (len(poses), *(float(e) for e in chance.normal(0.0, setting.index_u)))
        )
        reading = plain_sphere(tilt + math.degrees(a), rotary + math.degrees(c), *args, **more)
        return replace(
            reading, tilt_rad=math.radians(tilt), rotary_rad=math.radians(rotary), seat=seat
        )

    unit.sphere = off  # type: ignore[method-assign]
    for local, name in (((60.0, 15.0, 40.0), "ball one"), ((-30.0, 50.0, 20.0), "ball two")):
        found += [
            unit.sphere(t, c, local, name=name) for t in (-90, 0, 45, 90) for c in (0, 120, 240)
        ]
    return noisy(chance, found, setting, u)


def one_axis(chance: np.random.Generator, setting: Setting, u: float):
    """Return fit, truth and slopes of part points for a single axis along the table."""
    along = (1.0, 0.0, 0.0)
    axis = TurningAxis("rotary", AxisLine((0.0, 0.0, 0.0), along), -1)
    f = LineFrame((0.0, 0.0, 0.0), along, (axis,))
    truth = chance.normal(0.0, [0.5, 0.5, 5e-4, 5e-4, 1.0])
    chain = f.chain(truth)
    line = np.asarray(chain.axes[0].line.direction)
    ball = np.array([30.0, 55.0, -10.0])
    rows = []
    for i, c in enumerate(range(0, 360, 45)):
        place = chain.points([math.radians(c)], ball)
        x, y, z = (float(p) for p in place)
        rows.append(Reading(i, "ball one", None, 0.0, math.radians(c), (x, y, z), 0.0, u))
    origin = f.platter_origin(truth)
    for i, (dy, dz) in enumerate(((40, 0), (-40, 0), (0, 40), (0, -40))):
        # The face is square to the line: x on it where it has these y and z.
        x = origin[0] - (line[1] * (dy - origin[1]) + line[2] * (dz - origin[2])) / line[0]
        place = (float(x), float(dy), float(dz))
        rows.append(Reading(20 + i, "face", (-1.0, 0.0, 0.0), 0.0, 0.0, place, 0.0, u))
    return fit_lines(f, tuple(noisy(chance, rows, setting, u))), truth, chain


def part_slopes(f: LineFrame, values: np.ndarray) -> np.ndarray:
    """Return derivatives of part points in quarter poses by the parameters of the lines."""
    points = np.array([[100.0, 0.0, 60.0], [0.0, 100.0, 60.0], [-70.0, -70.0, 0.0]])
    two = len(f.axes) == 2
    tilts = (0.0, math.pi / 2, -math.pi / 2) if two else (0.0,)
    poses = [[a, c] if two else [c] for a in tilts for c in (0.0, math.pi / 2, math.pi)]
    angles, local = np.repeat(poses, len(points), axis=0), np.tile(points, (len(poses), 1))

    def place(v: np.ndarray) -> np.ndarray:
        return f.chain(v).points(angles, f.platter_origin(v) + local)

    # Small steps: nothing that is judged here sees their second order.
    here, steps = place(values), 1e-4 * np.eye(len(values))
    return np.stack([(place(values + step) - here) / 1e-4 for step in steps], axis=-1)


def worst_inside(f: LineFrame, fit: LineFit, truth: np.ndarray) -> bool:
    """Whether the worst part point is where the interval along its worst direction says."""
    count = len(truth)
    slopes, covariance = part_slopes(f, truth), fit.covariance[:count, :count]
    if any(item.name == "face" for item in fit.undetermined):
        # Nobody touched the face: the parts stand where the ball stands, not on the face.
        slopes[..., f.parameters.index("face")] = 0.0
    spread = slopes @ covariance @ np.swapaxes(slopes, 1, 2)
    sizes, ways = np.linalg.eigh(spread)
    worst = int(np.argmax(sizes[:, -1]))
    way = ways[worst][:, -1]
    off = float(way @ slopes[worst] @ (fit.line_values - truth))
    return abs(off) <= fit.k95 * math.sqrt(float(sizes[worst, -1]))


def coverage(setting: Setting, cells: int, seed: int | tuple[int, ...]) -> dict[str, float]:
    """Return the share of intervals that hold the truth: worst part point, then positions."""
    return {name: held / of for name, (held, of) in counted(setting, cells, seed).items()}


def counted(
    setting: Setting, cells: int, seed: int | tuple[int, ...]
) -> dict[str, tuple[int, int]]:
    """Return how many intervals hold the truth, and of how many."""
    chance = np.random.default_rng(seed)
    inside: dict[str, list[bool]] = {}
    for _ in range(cells):
        u = float(chance.uniform(0.002, 0.006))
        if setting.one_axis:
            fit, truth, _ = one_axis(chance, setting, u)
            names: tuple[str, ...] = ONE_AXIS
        else:
            unit = drawn(chance, setting)
            truth, names = unit.values, unit.frame.parameters
            if any(setting.index_u):
                rows = seated(chance, setting, unit, u)
            else:
                rows = noisy(chance, setting.make(unit), setting, u)
            fit = fit_lines(
                unit.frame, tuple(rows), extra=setting.extra, index_u_rad=setting.index_u
            )
        u_all = np.sqrt(np.diag(fit.covariance))
        inside.setdefault("worst part point", []).append(worst_inside(fit.frame, fit, truth))
        for k, name in enumerate(names):
            open_now = {item.name for item in (*fit.held, *fit.undetermined)}
            if name in open_now:
                continue
            off = abs(float(fit.values[k] - truth[k]))
            inside.setdefault(name, []).append(off <= fit.k95 * float(u_all[k]))
    return {name: (sum(found), len(found)) for name, found in inside.items()}


def main() -> None:
    """Print the shares of one setting, or of all."""
    cells = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    chosen = [int(sys.argv[2])] if len(sys.argv) > 2 else range(len(SETTINGS))
    for k in chosen:
        seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1000 + k
        start = time.perf_counter()
        found = coverage(SETTINGS[k], cells, seed)
        took = time.perf_counter() - start
        said = ", ".join(f"{name} {100.0 * share:.1f}" for name, share in found.items())
        print(f"{SETTINGS[k].name} ({cells} cells, seed {seed}, {took:.0f} s): {said}")


if __name__ == "__main__":
    main()
