"""A track as straight motions of the joints: arcs as chords, both ways round, what may be cut.

Every motion here is straight in joint space; `bulge_mm` says how far the true path may leave it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.cleared_fed import Profile, free_rapids
from gudgeon.program.dialect import Dialect
from gudgeon.program.summary import MOVES
from gudgeon.program.track import AXES, Flag, Kind, Track

__all__ = ["ANY_STATION", "Motions", "motions_of"]

Floats = NDArray[np.float64]

ANY_STATION: Final = "*"

CHORD_BULGE_MM: Final = 0.005
"""Chords of an arc leave it by no more than this: small against any clearance asked."""

CHORDS_MOST: Final = 20_000

_SAME_MM: Final = 1e-9
_SAME_RAD: Final = 1e-12


@dataclass(slots=True)
class Motions:
    """Straight motions of the joints in the order of the program.

    Attributes
    ----------
    start, end : ndarray, shape (n, 5)
        [mm, mm, mm, rad, rad]; NaN where not known.
    row : ndarray of int, shape (n,)
        Row of the track.
    bulge_mm : ndarray, shape (n,)
    cutting : ndarray of int, shape (n,)
        Index into `stations`; -1 where nothing may be touched.
    own : ndarray of int, shape (n,)
        Index into `stations` of what is cut under the offset in force.
    if_above : dict of row to float
        Rapids that stay in what their cutter has fed through, if it meets no other stock on the
        way up from this Z of the gauge point.
    stations : list of str
    tool : list of int or None
        By index in `force`.
    force : ndarray of int, shape (n,)
    boxed : ndarray of bool, shape (n,)
        A rapid of several axes, which some controls do not make in a straight line.
    other_way : ndarray of bool, shape (n,)
        The other way round of a turn whose way is not declared; not part of the chain.
    any_station : bool
        Somewhere the station that is cut is not known, and any was allowed.
    """

    start: Floats
    end: Floats
    row: NDArray[np.int64]
    bulge_mm: Floats
    cutting: NDArray[np.int64]
    own: NDArray[np.int64]
    if_above: dict[int, float]
    stations: list[str]
    tool: list[int | None]
    force: NDArray[np.int64]
    boxed: NDArray[np.bool_]
    other_way: NDArray[np.bool_]
    any_station: bool

    def __len__(self) -> int:
        return len(self.row)

    def station(self, at: int) -> str | None:
        """Return what may be cut in a motion."""
        index = int(self.cutting[at])
        return None if index < 0 else self.stations[index]


def motions_of(
    track: Track,
    dialect: Dialect,
    stations: Mapping[str, str],
    profiles: Mapping[int, Profile | None],
) -> Motions:
    """Return the motions of a track.

    Parameters
    ----------
    track : Track
    dialect : Dialect
        For the chord of tool-point control.
    stations : mapping of work offset to station
        What is cut under an offset; any station where it is not listed.
    profiles : mapping of tool to Profile
        For rapids in what the cutter has fed through.
    """
    segments = track.segments
    count = len(segments)
    before = np.asarray(track.start, dtype=np.float64)[None, :]
    start = np.concatenate((before, segments["end"][:-1])) if count else np.empty((0, AXES))
    end = segments["end"]
    kind = segments["kind"]
    moving = np.isin(kind, [int(k) for k in MOVES])
    rapid = kind == Kind.RAPID
    names = sorted({*stations.values(), ANY_STATION})
    by_force = np.array(
        [names.index(stations.get(f.offset or "", ANY_STATION)) for f in track.in_force] or [-1],
        dtype=np.int64,
    )
    force = np.clip(segments["force"].astype(np.int64), 0, max(len(track.in_force) - 1, 0))
    free, if_above = free_rapids(track, start, profiles, force)
    cuts = moving & (~rapid | free)
    cutting = np.where(cuts, by_force[force], -1)
    known = moving & ~np.isnan(end).any(axis=1) & ~np.isnan(start).any(axis=1)
    moved = np.abs(end - start) > np.array([_SAME_MM] * 3 + [_SAME_RAD] * 2)
    boxed = rapid & known & (moved.sum(axis=1) > 1)
    bulge = np.zeros(count)
    chords = (segments["flags"] & int(Flag.CHORD)) != 0
    if chords.any():
        bulge[chords] = max((word.chord_mm for word in dialect.tool_points.values()), default=0.01)

    parts: list[tuple[Floats, Floats, NDArray[np.int64], Floats, bool]] = []
    plain_from = 0
    flags = segments["flags"]
    special = moving & (((kind == Kind.ARC) & known) | ((flags & int(Flag.EITHER_WAY)) != 0))
    for i in [*np.flatnonzero(special).tolist(), count]:
        rows = plain_from + np.flatnonzero(moving[plain_from:i])
        if len(rows):
            parts.append((start[rows], end[rows], rows, bulge[rows], False))
        plain_from = i + 1
        if i == count:
            break
        if kind[i] == Kind.ARC and known[i]:
            points, sagitta = _chords(track, i, start[i], end[i])
            rows = np.full(len(points) - 1, i)
            parts.append(
                (points[:-1], points[1:], rows, np.full(len(rows), sagitta + bulge[i]), False)
            )
        else:
            parts.append((start[i : i + 1], end[i : i + 1], np.array([i]), bulge[i : i + 1], False))
        if flags[i] & int(Flag.EITHER_WAY):
            for other in _other_ways(start[i], end[i]):
                if kind[i] == Kind.ARC and known[i]:
                    turned = points.copy()
                    share = np.linspace(0.0, 1.0, len(points))[:, None]
                    turned[:, 3:] = start[i, 3:] + share * (other[3:] - start[i, 3:])
                    parts.append((turned[:-1], turned[1:], rows, np.full(len(rows), sagitta), True))
                    continue
                parts.append(
                    (start[i : i + 1], other[None, :], np.array([i]), bulge[i : i + 1], True)
                )
    if parts:
        row = np.concatenate([part[2] for part in parts]).astype(np.int64)
        found = (
            np.concatenate([part[0] for part in parts]),
            np.concatenate([part[1] for part in parts]),
            np.concatenate([part[3] for part in parts]),
            np.concatenate([np.full(len(part[2]), part[4]) for part in parts]),
        )
    else:
        row = np.empty(0, dtype=np.int64)
        found = (np.empty((0, AXES)), np.empty((0, AXES)), np.empty(0), np.empty(0, dtype=bool))
    return Motions(
        start=found[0],
        end=found[1],
        row=row,
        bulge_mm=found[2],
        cutting=cutting[row],
        own=by_force[force[row]],
        if_above=if_above,
        stations=names,
        tool=[f.tool for f in track.in_force] or [None],
        force=force[row],
        boxed=boxed[row],
        other_way=found[3].astype(bool),
        any_station=bool((cutting[row] == names.index(ANY_STATION)).any()),
    )


def _chords(track: Track, i: int, start: Floats, end: Floats) -> tuple[Floats, float]:
    """Return points on an arc and how far its chords leave it.

    A chord of the angle w on the radius r leaves the circle by r (1 - cos(w/2)).
    """
    arc = track.arcs[int(track.segments[i]["arc"])]
    normal, sweep = np.asarray(arc["normal"]), float(arc["sweep"])
    u = start[:3] - arc["centre"]
    u = u - (u @ normal) * normal
    radius = float(np.sqrt(u @ u))
    turn = 2.0 * math.acos(max(-1.0, 1.0 - CHORD_BULGE_MM / radius)) if radius > 1e-9 else math.pi
    count = max(1, min(CHORDS_MOST, math.ceil(abs(sweep) / max(turn, 1e-9))))
    share = np.linspace(0.0, 1.0, count + 1)[:, None]
    v = np.cross(normal, u)
    angle = sweep * share
    rise = ((end[:3] - start[:3]) @ normal) * normal
    points = np.empty((count + 1, AXES))
    points[:, :3] = start[:3] - u + u * np.cos(angle) + v * np.sin(angle) + rise * share
    points[:, 3:] = start[3:] + (end[3:] - start[3:]) * share
    # The end as programmed may lie a little off the circle: the arc goes to it all the same.
    off = end[:3] - points[-1, :3]
    points[:, :3] += off * share
    sagitta = radius * (1.0 - math.cos(0.5 * abs(sweep) / count))
    return points, sagitta + float(np.sqrt(off @ off))


def _other_ways(start: Floats, end: Floats) -> list[Floats]:
    """Return the ends that stand for the other way round of each turn."""
    ways = [end]
    for axis in (3, 4):
        by = end[axis] - start[axis]
        if not abs(by) > _SAME_RAD:
            continue
        for one in list(ways):
            other = one.copy()
            other[axis] -= math.copysign(2.0 * math.pi, by)
            ways.append(other)
    return ways[1:]
