"""A test piece: a block with small lands, each cut in a stated pose, and what each land shows.

Every side of the block is divided into spots.  A land on a spot is cut by the tool's end where its
side looks to the spindle, or by the tool's side where it stands upright and the spot lies at the
rim that looks up.  All lands of a side are flush on the drawing; how far one really stands proud
follows from the exact pose map (`gudgeon.accuracy.errors`), its derivatives are exact (complex
steps).  What is measured are thicknesses between opposite lands, and heights over the platter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.errors import ROOT_3, point_errors
from gudgeon.accuracy.job import Cut, Factor, Job, Sizes, Source, Visit, sources_of
from gudgeon.accuracy.place import Lines, to_machine
from gudgeon.quantity.spread import COMPLEX_STEP

__all__ = [
    "Block",
    "Land",
    "Measure",
    "Slopes",
    "Spot",
    "Stand",
    "Way",
    "land_corners",
    "lands_of",
    "measures_of",
    "slopes_of",
    "ways_of",
]

Floats = NDArray[np.float64]

ALONG: Final = 0.02
"""A side counts as level or upright in a pose if its normal is off by less than this."""

SPAN: Final = 0.3
"""Measuring points of a spot stand this share of its width off its middle, either way."""


@dataclass(frozen=True, slots=True)
class Block:
    """An upright block in the platter frame, the rotary line through its middle.

    Attributes
    ----------
    half : float
        Half its width, both ways [mm].
    low, high : float
        Heights of the lower end of the lands and of the top over the platter face [mm].
    """

    half: float
    low: float
    high: float

    @property
    def pitch(self) -> float:
        """Width of a spot [mm]."""
        return 2.0 * self.half / 3.0

    @property
    def middle(self) -> float:
        """Height over the platter face where the upper row of spots begins [mm]."""
        return 0.5 * (self.low + self.high)

    def spots(self) -> tuple[Spot, ...]:
        """Return every spot of the four upright sides and of the top."""
        found = []
        for axis in (0, 1):
            for sign in (1.0, -1.0):
                found += [self._on_side(axis, sign, c, r) for r in (1, 0) for c in (-1, 0, 1)]
        # The middle of the top holds the screw.
        found += [self._on_top(c, r) for r in (-1, 0, 1) for c in (-1, 0, 1) if c or r]
        return tuple(found)

    def _on_side(self, axis: int, sign: float, column: int, row: int) -> Spot:
        normal, along = np.zeros(3), np.zeros(3)
        normal[axis], along[1 - axis] = sign, 1.0
        heights = (self.middle, self.high) if row else (self.low, self.middle)
        at = normal * self.half + along * column * self.pitch
        at[2] = 0.5 * sum(heights)
        ends = [at - SPAN * self.pitch * along, at + SPAN * self.pitch * along]
        rims = [np.array([0.0, 0.0, 1.0])] if row else []
        rims += [column * along] if column else []
        return Spot("xy"[axis], column, row, normal, np.stack(ends), along, heights, np.array(rims))

    def _on_top(self, column: int, row: int) -> Spot:
        at = np.array([column * self.pitch, row * self.pitch, self.high])
        rims = [np.array(way) for way in ((column, 0.0, 0.0), (0.0, row, 0.0)) if any(way)]
        reach = (row * self.pitch - 0.5 * self.pitch, row * self.pitch + 0.5 * self.pitch)
        up = np.array([0.0, 0.0, 1.0])
        along = np.array([1.0, 0.0, 0.0])
        return Spot("z", column, row, up, at[None, :], along, reach, np.array(rims))


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """A place for one land.

    Attributes
    ----------
    pair : str
        ``"x"``, ``"y"``: one of two opposite sides; ``"z"``: the top.
    column, row : int
        Place on its side: -1, 0, 1 along the other level axis; row 1 is the upper one (top: -1,
        0, 1 along y).  Opposite lands have the same.
    normal : ndarray, shape (3,)
        Outward, platter frame.
    points : ndarray, shape (k, 3)
        Where it is measured [mm].
    along : ndarray, shape (3,)
        Direction in which its columns are counted.
    reach : tuple of 2 floats
        Its ends in the other direction [mm].
    rims : ndarray, shape (r, 3)
        Directions to the rims that it lies at.
    """

    pair: str
    column: int
    row: int
    normal: Floats
    points: Floats
    along: Floats
    reach: tuple[float, float]
    rims: Floats

    @property
    def key(self) -> tuple[str, int, int]:
        """Same for the two spots of a pair."""
        return self.pair, self.column, self.row

    @property
    def middle(self) -> Floats:
        """Middle of the spot [mm]."""
        return np.asarray(np.mean(self.points, axis=0))


@dataclass(frozen=True, slots=True)
class Stand:
    """One stay in a pose.

    Attributes
    ----------
    angles : tuple of float
        Programmed, the carrying axis first [rad].
    minus : tuple of int
        The axes that are brought there turning to minus; the others come turning to plus.
    """

    angles: tuple[float, ...]
    minus: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A way to cut a side.

    Attributes
    ----------
    stand : int
        Which pose.
    kind : str
        ``"plane"``: by the tool's end; ``"edge"``: by its side.
    normal : ndarray, shape (3,)
        Of the side, platter frame.
    up : ndarray, shape (3,)
        What looks to the spindle, platter frame.
    across : ndarray, shape (3,)
        The normal in T in that pose.
    tool : str
    """

    stand: int
    kind: str
    normal: Floats
    up: Floats
    across: Floats
    tool: str


@dataclass(frozen=True, slots=True, eq=False)
class Land:
    """A spot cut in one way."""

    spot: Spot
    way: Way


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """What is measured on a spot: across two opposite lands, or one land's height.

    Attributes
    ----------
    lands : tuple of 1 or 2 Land
    rows : tuple of tuple of int
        For each measuring point, the rows of `Slopes` that add up to it.
    """

    lands: tuple[Land, ...]
    rows: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Slopes:
    """How far each land stands proud at each of its points, by every source.

    Attributes
    ----------
    sources : tuple of Source
        Lengths in mm, angles in rad, one each.
    matrix : ndarray, shape (rows, sources)
    """

    sources: tuple[Source, ...]
    matrix: Floats

    def column(self, cause: str, *key: object) -> int | None:
        """Return the column of a source; ``None`` if no land knows it."""
        for i, source in enumerate(self.sources):
            if source.cause == cause and source.key == key:
                return i
        return None


def ways_of(
    lines: Lines, senses: Sequence[int], stands: Sequence[Stand], tools: Sequence[str]
) -> tuple[Way, ...]:
    """Return how each side of a block can be cut in each pose.

    Parameters
    ----------
    lines : Lines
        As believed.
    senses : sequence of int
    stands : sequence of Stand
    tools : sequence of str
        The first cuts all; the others the top only, by their end, for their lengths.
    """
    sides = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]], dtype=np.float64)
    found = []
    for number, stand in enumerate(stands):
        turns = np.multiply(senses, stand.angles)[None, :].repeat(6, axis=0)
        at = to_machine(lines, turns, np.concatenate([np.zeros((1, 3)), sides]))
        turned = at[1:] - at[0]
        # Columns of a turn are where x, y and z go; its last row is what goes up.
        up = np.round(turned[[0, 2, 4], 2], 2) + 0.0
        for side, way in zip(sides, turned, strict=True):
            if way[2] > 1.0 - ALONG:
                found.append(Way(number, "plane", side, side, way, tools[0]))
                if side[2] > 0.0 and number == 0:
                    found += [Way(number, "plane", side, side, way, tool) for tool in tools[1:]]
            elif abs(way[2]) < ALONG:
                found.append(Way(number, "edge", side, up, way, tools[0]))
    return tuple(found)


def land_corners(block: Block, spot: Spot) -> Floats:
    """Return the four corners of a spot, platter frame [mm], shape (4, 3).

    Two at each end of its column, in the order of `Spot.reach`.
    """
    half = 0.5 * block.pitch * spot.along
    axis = int(np.argmax(np.abs(np.cross(spot.normal, spot.along))))
    found = []
    for side in (-1.0, 1.0):
        for end in spot.reach:
            corner = spot.middle + side * half
            corner[axis] = end
            found.append(corner)
    return np.array(found)


def lands_of(block: Block, found: Sequence[Way]) -> list[Land]:
    """Return every land that can be cut: level, or upright at a rim that looks up."""
    result = []
    for spot in block.spots():
        for way in found:
            if float(way.normal @ spot.normal) < 0.5:
                continue
            if way.kind == "edge" and not (
                len(spot.rims) and np.max(spot.rims @ way.up) > 1.0 - ALONG
            ):
                continue
            result.append(Land(spot, way))
    return result


def slopes_of(
    job: Job, senses: Sequence[int], stands: Sequence[Stand], cut: Sequence[Land]
) -> tuple[Slopes, list[list[int]]]:
    """Return how far lands stand proud by every source, and the rows of each land's points.

    Parameters
    ----------
    job : Job
        Lines and home; the rest is replaced.
    senses : sequence of int
    stands : sequence of Stand
    cut : sequence of Land
    """
    used: dict[int, int] = {}
    cuts: list[Cut] = []
    for land in cut:
        if id(land.way) not in used:
            used[id(land.way)] = len(cuts)
            cuts.append(
                Cut(
                    str(len(cuts)),
                    land.way.kind,
                    land.spot.middle,
                    land.way.normal,
                    land.way.stand,
                    land.way.tool,
                )
            )
    axes = len(senses)
    visits = tuple(
        Visit(
            tuple(float(s * a) for s, a in zip(senses, stand.angles, strict=True)),
            (i,) * axes,
            np.zeros(3),
        )
        for i, stand in enumerate(stands)
    )
    unit = Sizes(
        index_u=(1.0,) * axes,
        lost_half=(0.0,) * axes,
        square_u=1.0,
        length_u=1.0,
        diameter_u=1.0,
        growth_half=ROOT_3,
    )
    whole = replace(
        job,
        factors=(Factor("lines", np.eye(len(job.values))),),
        visits=visits,
        cuts=tuple(cuts),
        at=np.zeros(3),
        turn=np.eye(3),
        sizes=unit,
        warm_lever=np.zeros(3),
    )
    sources = sources_of(whole)
    rows: list[list[int]] = []
    numbers: list[int] = []
    points: list[Floats] = []
    normals: list[Floats] = []
    for land in cut:
        rows.append(list(range(len(points), len(points) + len(land.spot.points))))
        for point in land.spot.points:
            points.append(point)
            numbers.append(used[id(land.way)])
            normals.append(land.way.normal)
    steps = 1j * COMPLEX_STEP * np.eye(len(sources))
    errors = point_errors(whole, sources, steps, numbers, np.array(points)).imag / COMPLEX_STEP
    matrix = np.einsum("snk,nk->ns", errors, np.array(normals))
    return Slopes(sources, matrix), rows


def measures_of(cut: Sequence[Land], rows: Sequence[Sequence[int]]) -> list[Measure]:
    """Return everything that can be measured: heights of the top, thicknesses across."""
    found = []
    by_key: dict[tuple[str, int, int], list[int]] = {}
    for i, land in enumerate(cut):
        by_key.setdefault(land.spot.key, []).append(i)
    for key, numbers in by_key.items():
        if key[0] == "z":
            found += [Measure((cut[i],), tuple((row,) for row in rows[i])) for i in numbers]
            continue
        for i in numbers:
            for j in numbers:
                # The side with the positive normal first.
                if cut[i].spot.normal.sum() > 0.0 > cut[j].spot.normal.sum():
                    both = tuple(zip(rows[i], rows[j], strict=True))
                    found.append(Measure((cut[i], cut[j]), both))
    return found
