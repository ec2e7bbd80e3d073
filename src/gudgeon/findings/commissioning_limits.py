"""How far an angle of the unit may be off: what the work would show and no offset mends.

A work offset places the zero of each face rightly whichever way the lines lean.  What is left is
the turn of the work about that zero: it spoils each dimension by so much a radian, worked out
through the exact pose map with every zero probed in its own pose.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.dimensions import Dimension, dimension_errors
from gudgeon.accuracy.job import Factor, Job, Sizes, sources_of
from gudgeon.accuracy.place import Lines
from gudgeon.findings.gather import Lacking
from gudgeon.findings.gear import platter_radius
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.spread import COMPLEX_STEP

if TYPE_CHECKING:
    from gudgeon.findings import Findings
    from gudgeon.findings.accuracy import DimensionFound

__all__ = ["FACE", "SHARE", "AngleLimit", "angle_limits", "dimension_slopes"]

Floats = NDArray[np.float64]
Numbers = NDArray[Any]

SHARE: Final = 0.25
"""Share of a tolerance that one angle may use (common practice, no source)."""

USUAL_RAD: Final = 1e-4
"""Limit where nothing says what the work bears: 0.01 mm a 100 mm (common practice, no source)."""

WIDEST_RAD: Final = 1e-2
"""A dimension that bears more than this does not feel the angle."""

FACE: Final = ("face_x", "face_y")
"""Lean of the platter face to the rotary line, about the platter's own x and y."""

TURNS: Final = ("tilt", "rotary")

LEAST_MM: Final = 1.0
"""Shorter work than this is not entered."""

_LEANS: Final = {
    True: ("tilt_pitch", "tilt_yaw", "rotary_roll", "rotary_pitch"),
    False: ("rotary_pitch", "rotary_yaw"),
}


@dataclass(frozen=True, slots=True)
class AngleLimit:
    """How far one angle may be off.

    Attributes
    ----------
    rad : float
    words : str
        What it comes from, as it continues "the limit is ...".
    usual : bool
        Neither a dimension nor a wanted accuracy stands behind it.
    """

    rad: float
    words: str
    usual: bool = False


def angle_limits(findings: Findings) -> dict[str, AngleLimit]:
    """Return the limit of each angle: of the lines, of `FACE`, of one positioning of each axis.

    The least of what the drawing's dimensions and the accuracy that is wanted ask; what is usual
    where neither is entered.
    """
    limits = dict.fromkeys(_LEANS[findings.has_tilt], _from_wanted(findings, _part_mm(findings)))
    # What the lines do not show moves the work by its distance from them, too.
    limits |= dict.fromkeys((*FACE, *TURNS), _from_wanted(findings, _reach_mm(findings)))
    least = {name: WIDEST_RAD if one.usual else one.rad for name, one in limits.items()}
    try:
        found = findings.accuracy.dimensions if findings.cell.dimensions else ()
    except Lacking:
        found = ()
    for one in found:
        half = _half_width(one)
        if not math.isfinite(half):
            continue
        for name, slope in dimension_slopes(one.setting.job, one.setting.dimensions[one.number]):
            if SHARE * half < slope * least[name]:
                least[name] = SHARE * half / slope
                limits[name] = AngleLimit(least[name], _words(findings, one, half))
    return limits


def dimension_slopes(job: Job, dimension: Dimension) -> list[tuple[str, float]]:
    """Return by how much each angle spoils a dimension [mm/rad].

    A lean of a line with every zero right, for the work offsets follow the lines; what the lines
    do not show, with the zeros as the job has them.
    """
    count = len(job.values)
    two = len(job.sizes.index_u) == 2
    leans = (2, 3, 6, 7) if two else (2, 3)
    found = _slopes(job, dimension, dict(zip(_LEANS[two], leans, strict=True)), True)
    return found + _slopes(
        job, dimension, dict(zip(FACE, (count, count + 1), strict=True)), job.sizes.probed
    )


def _slopes(
    job: Job, dimension: Dimension, rows: dict[str, int], probed: bool
) -> list[tuple[str, float]]:
    """Return the slopes by some parameters; with those of the face, by the positionings, too."""
    count = len(job.values)
    names = tuple(rows)
    columns = np.zeros((count + 2, len(names)))
    for k, name in enumerate(names):
        columns[rows[name], k] = 1.0
    two = len(job.sizes.index_u) == 2
    turns = (1.0,) * len(job.sizes.index_u) if names == FACE else (0.0,) * len(job.sizes.index_u)
    asked = replace(
        job,
        lines_of=_with_face(job.lines_of, count),
        values=np.append(job.values, [0.0, 0.0]),
        factors=(Factor("lines", columns),),
        sizes=Sizes(index_u=turns, lost_half=(0.0,) * len(turns), probed=probed),
        warm_lever=np.zeros(3),
    )
    sources = sources_of(asked)
    errors = dimension_errors(asked, sources, (dimension,))(
        1j * COMPLEX_STEP * np.eye(len(sources))
    )
    slopes = np.linalg.norm(np.imag(errors) / COMPLEX_STEP, axis=-1)
    found = []
    for source, slope in zip(sources, slopes.tolist(), strict=True):
        if source.cause == "lines":
            found.append((names[int(str(source.key[1]))], slope))
        elif source.cause == "index":
            found.append((TURNS[int(str(source.key[0])) + (0 if two else 1)], slope))
    return found


def _with_face(lines_of: Callable[[Numbers], Lines], count: int) -> Callable[[Numbers], Lines]:
    """Return the lines for parameters of which the last two lean the platter face."""

    def leaning(values: Numbers) -> Lines:
        lines = lines_of(values[..., :count])
        about = values[..., count:]
        x, y, z = (lines.axes[..., :, k] for k in range(3))
        a, b = about[..., 0, None], about[..., 1, None]
        # First order in the lean: the slope at no lean is exact.
        return replace(lines, axes=np.stack([x - b * z, y + a * z, z + b * x - a * y], axis=-1))

    return leaning


def _half_width(one: DimensionFound) -> float:
    dimension = one.setting.dimensions[one.number]
    if dimension.directions == 2:
        return dimension.high
    return 0.5 * (dimension.high - dimension.low)


def _words(findings: Findings, one: DimensionFound, half: float) -> str:
    kind = Kind.ANGLE if one.setting.dimensions[one.number].kind == "angle" else Kind.LENGTH
    return f"a quarter of the tolerance +-{findings.units.text(kind, half)} of {one.name}"


def _from_wanted(findings: Findings, lever: float) -> AngleLimit:
    units, wanted = findings.units, findings.cell.readings.wanted
    if wanted is None:
        per = "0.0004 in over 4 in" if units.inch else "0.01 mm over 100 mm"
        return AngleLimit(USUAL_RAD, f"{per}: common practice, no source", True)
    return AngleLimit(
        SHARE * wanted.value / lever,
        f"a quarter of the accuracy wanted, {units.text(Kind.LENGTH, wanted.value)}, over "
        f"{units.text(Kind.LENGTH, lever, 1 if units.inch else 0)}",
    )


def _part_mm(findings: Findings) -> float:
    """Return how long the work is: what is entered of the parts, else fixture, else platter."""
    longest = 0.0
    for part in findings.cell.parts:
        places = [face.zero for face in part.faces] + [one.at for one in part.features]
        points = [[c.value for c in at] for at in places if at is not None]
        for point in points:
            longest = max([longest, *(math.dist(point, other) for other in points)])
    fixture = findings.cell.fixture
    if longest >= LEAST_MM:
        return longest
    half = fixture.half_width or fixture.radius
    return platter_radius(findings.cell) if half is None else half.value


def _reach_mm(findings: Findings) -> float:
    """Return how far the work reaches from the middle of the platter."""
    own = _part_mm(findings)
    at = [station.at for station in findings.cell.stations if station.at is not None]
    if not at:
        return own
    return own + max(math.hypot(*(c.value for c in place)) for place in at)
