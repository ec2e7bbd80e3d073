"""Which parameters the readings fix, and which are held.

Positions (tilt line, rotary line, face height) are freed first, together with what only serves the
readings: radii, shared zeros, balls.  Then come those with a stated uncertainty of their own, then
angles, slopes of the face and the offset of a bore, one after the other in the order of
`FREED_IN_ORDER`, each only if the readings tell it apart from those already free and fix it well
enough to be worth having; last the optional errors without a stated uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.readings import BALL, GLANCING, Model, Reading
from gudgeon.centre.weighing import Known, Weighed

__all__ = [
    "ANGLE_WORTH",
    "DEPENDENT",
    "FREED_IN_ORDER",
    "POSITION_WORTH_MM",
    "Held",
    "entangled",
    "free_positions",
    "is_place",
    "is_position",
    "only_serves",
    "rank",
    "starting_values",
    "usable",
    "worth",
]

Floats = NDArray[np.float64]

FREED_IN_ORDER: Final = (
    "bore_x",
    "bore_y",
    "pin_x",
    "pin_y",
    "rotary_roll",
    "rotary_pitch",
    "rotary_yaw",
    "tilt_yaw",
    "tilt_pitch",
    "slope_x",
    "slope_y",
)
"""The last in this row is the first to be held where the touches do not suffice."""

ANGLE_WORTH: Final = 5e-4
"""An angle is freed if the touches fix it better than this (k = 1) [rad].

About 100 arcsec, more than the squareness error to expect of a unit in use (common practice, no
source): a wider answer would only blur the positions.
"""

POSITION_WORTH_MM: Final = 0.5
"""A position less sure than this (k = 1) counts as not determined: a steel rule does better."""

DEPENDENT: Final = 1e-7
"""A column of derivatives whose part square to the others is below this share is not separable."""

FACING_MM: Final = 20.0
"""Radius at which the walls are taken to stand where only a sweep, with its own zero, knows it."""


@dataclass(frozen=True, slots=True)
class Held:
    """A parameter that the touches did not fix.

    Attributes
    ----------
    name : str
    reason : str
        ``"untouched"`` (no reading depends on it), ``"entangled"`` (readings depend on it only
        together with others), ``"weak"`` (they would fix it only to `u`), ``"entry"`` (taken from
        elsewhere).
    u : float
        Standard uncertainty that the touches would give; NaN if none.
    """

    name: str
    reason: str
    u: float = math.nan

    @property
    def is_angle(self) -> bool:
        """Whether it is a lean of a line or a slope of the face, not a place or a radius."""
        return not is_place(self.name)


def is_position(name: str) -> bool:
    """Whether a parameter is freed first: a place of the lines, or what serves the readings."""
    return name in ("tilt_y", "tilt_z", "rotary_x", "rotary_y", "rotary_z", "face") or (
        only_serves(name)
    )


def only_serves(name: str) -> bool:
    """Whether nobody misses a parameter: a radius, a shared zero, the place of a ball."""
    return name.endswith("_radius") or name.startswith(("zero_", BALL))


def is_place(name: str) -> bool:
    """Whether a parameter is a length, not an angle or a ratio."""
    return is_position(name) or name in ("bore_x", "bore_y", "pin_x", "pin_y")


def usable(model: Model) -> tuple[tuple[Reading, ...], tuple[Reading, ...]]:
    """Part the readings into those that meet the surface squarely enough, and others."""
    normals = model.normals(model.start())
    upright = model.upright_directions(model.start())
    keep: list[Reading] = []
    aside: list[Reading] = []
    for i, reading in enumerate(model.readings):
        place = np.asarray(reading.position_mm)
        toward = np.asarray(reading.toward or (0.0, 0.0, 0.0))
        if reading.feature == "face":
            good = (
                reading.toward is not None
                and abs(float(normals[i] @ toward)) >= GLANCING
                and not np.any(np.isnan(place) & (np.abs(normals[i]) > 1e-6))
            )
        elif reading.feature == "level":
            good = (
                reading.toward is not None
                and abs(reading.toward[2]) < 1e-6
                and math.isfinite(reading.angle_rad)
                and abs(float(normals[i][2])) >= GLANCING
            )
        elif reading.feature.startswith(BALL):
            good = reading.toward is None and not bool(np.all(np.isnan(place)))
        elif reading.feature not in model.features:
            good = False
        elif reading.toward is None:
            good = not np.any(np.isnan(place[:2])) and abs(float(upright[i][2])) >= GLANCING
        else:
            k = int(np.argmax(np.abs(toward)))
            slides = abs(float(upright[i] @ toward)) > 1.0 - GLANCING
            good = not math.isnan(place[k]) and not slides
        (keep if good else aside).append(reading)
    return tuple(keep), tuple(aside)


def starting_values(model: Model, known: Mapping[str, Known]) -> Floats:
    """Return parameters near the solution: the middle of what was touched."""
    values = model.start()
    at = {name: i for i, name in enumerate(model.parameters)}
    single = {}
    for item in known.values():
        if len(item.weights) == 1:
            ((name, factor),) = item.weights.items()
            single[name] = item.value / factor
    two = len(model.frame.axes) == 2
    for feature in model.features:
        here = [r for r in model.readings if r.feature == feature]
        places = np.array([r.position_mm for r in here]) - model.frame.origin_mm
        middle = np.array(
            [np.mean(c[~np.isnan(c)]) if not np.all(np.isnan(c)) else 0.0 for c in places.T]
        )
        local = model.frame.basis.T @ middle
        if two:
            values[at["rotary_x"]], values[at["rotary_y"]] = local[0], local[1]
        radius = f"{feature}_radius"
        spread = [float(np.ptp(c[~np.isnan(c)])) for c in places.T if not np.all(np.isnan(c))]
        swept = all(r.zero or r.toward is None for r in here)
        least = FACING_MM if swept else 1.0
        values[at[radius]] = single.get(radius, max(0.5 * max(spread, default=0.0), least))
        _start_zeros(model, values, at, feature, middle)
    for ball in model.balls:
        # Where the ball should sit on the platter is linear in its own coordinates.
        columns = [at[f"{ball}_{part}"] for part in "xyz"]
        rows = [k for k, i in enumerate(model.residual_rows) if model.readings[i].feature == ball]
        slopes = model.derivatives(values, columns)[rows]
        off = np.asarray(model.residuals(values), dtype=np.float64)[rows]
        values[columns] -= np.linalg.lstsq(slopes, off, rcond=None)[0]
    return values


def _start_zeros(
    model: Model, values: Floats, at: Mapping[str, int], feature: str, middle: Floats
) -> None:
    """Put the shared zeros of a bore or pin where the wall stands at its radius."""
    outside = 1.0 if feature == "pin" else -1.0
    reach: dict[str, list[float]] = {}
    for reading in model.readings:
        if reading.feature != feature or not reading.zero or reading.toward is None:
            continue
        toward = np.asarray(reading.toward)
        off = np.nan_to_num(np.asarray(reading.position_mm) - model.frame.origin_mm - middle)
        radius = values[at[f"{feature}_radius"]] + outside * reading.radius_mm
        reach.setdefault(reading.zero, []).append(float(-outside * radius - off @ toward))
    for name, found in reach.items():
        values[at[f"zero_{name}"]] = float(np.mean(found))


def free_positions(
    weighed: Weighed, start: Floats, known: Mapping[str, Known]
) -> tuple[list[str], list[Held], list[Held], dict[str, Known]]:
    """Decide which positions the readings fix, which an entry must give, and which nobody gives.

    Returns
    -------
    tuple
        Names to free, entries used, positions not determined, and the entries as rows.  A position
        may be free though not determined: its value then only makes room for the others'.
    """
    slopes = weighed.slopes(start)
    must = [name for name in weighed.model.parameters if is_position(name)]
    free = sorted(must, key=only_serves)
    held: list[Held] = []
    observed: dict[str, Known] = {}
    for entry, item in known.items():
        if not any(name in weighed.at for name in item.weights):
            continue
        before = weighed.columns(slopes, free, observed)
        after = weighed.columns(slopes, free, {**observed, entry: item})
        if rank(after) > rank(before):
            observed[entry] = item
            held.append(Held(entry, "entry", item.u))
    columns = weighed.columns(slopes, free, observed)
    untouched = {
        name for name, c in zip(free, columns.T, strict=True) if not np.any(np.abs(c) > 0.0)
    }
    undetermined = [
        Held(name, "untouched" if name in untouched else "entangled")
        for name in entangled(columns, free)
        # A radius that no side touch needs, or a zero, is nobody's loss.
        if not only_serves(name)
    ]
    open_names = {item.name for item in undetermined}
    free = [name for name in free if name not in open_names and not only_serves(name)]
    # What serves the readings, and what is entangled, is kept as far as it can be told apart, lest
    # it bend the lines.
    for name in sorted((n for n in must if n not in free), key=only_serves, reverse=True):
        trial = [*free, name]
        if rank(weighed.columns(slopes, trial, observed)) == len(trial):
            free = trial
    return free, held, undetermined, observed


def _scaled(rows: Floats) -> Floats:
    sizes = np.linalg.norm(rows, axis=0)
    return np.asarray(rows / np.where(sizes > 0.0, sizes, 1.0))


def rank(rows: Floats) -> int:
    """Return how many columns are independent."""
    if min(rows.shape) == 0:
        return 0
    sizes = np.linalg.svd(_scaled(rows), compute_uv=False)
    return int(np.sum(sizes > DEPENDENT * max(float(sizes[0]), 1.0)))


def entangled(rows: Floats, names: list[str]) -> list[str]:
    """Return the names that take part in what the rows leave open (null space)."""
    if not names:
        return []
    _, _, vt = np.linalg.svd(_scaled(rows), full_matrices=True)
    open_part = vt[rank(rows) :]
    return [name for name, c in zip(names, open_part.T, strict=True) if np.any(np.abs(c) > 1e-6)]


def worth(weighed: Weighed, slopes: Floats, free: list[str], name: str) -> Held | None:
    """Return why a parameter is held, or ``None`` if it is worth freeing.

    Parameters
    ----------
    weighed : Weighed
    slopes : ndarray, shape (n, p)
        Weighted derivatives of the readings.
    free : list of str
        Free already.
    name : str
    """
    rows = weighed.columns(slopes, [*free, name])
    column, others = rows[:, -1], rows[:, :-1]
    size = float(np.linalg.norm(column))
    if not np.any(slopes[:, weighed.at[name]]):
        return Held(name, "untouched")
    if others.shape[1]:
        sizes = np.linalg.norm(others, axis=0)
        basis, _ = np.linalg.qr(others / np.where(sizes > 0.0, sizes, 1.0))
        column = column - basis @ (basis.T @ column)
        column = column - basis @ (basis.T @ column)
    square = float(np.linalg.norm(column))
    if square <= DEPENDENT * size or rows.shape[1] > rows.shape[0]:
        return Held(name, "entangled")
    u = 1.0 / square
    limit = POSITION_WORTH_MM if is_place(name) else ANGLE_WORTH
    return None if u <= limit else Held(name, "weak", u)
