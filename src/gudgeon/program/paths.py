"""Paths of a track as short polylines for a drawing: thinned, but never by an extreme."""

from __future__ import annotations

from math import ceil, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.summary import MOVES, SAME_RAD
from gudgeon.program.track import Kind, Track

__all__ = ["Paths", "paths_in_pose"]

Floats = NDArray[np.float64]


_CHORD_RAD: Final = pi / 18.0

Paths = tuple[list[Floats], list[Floats]]
"""Feed and rapid polylines, each an array of shape (n, 3) [mm]."""


def paths_in_pose(track: Track, tilt_rad: float, rotary_rad: float, most: int = 3000) -> Paths:
    """Return the moves made in one pose as polylines.

    Parameters
    ----------
    track : Track
    tilt_rad, rotary_rad : float
        NaN: rows where the angle is not known.
    most : int
        Segments returned at most, chords of arcs aside; the longest and those that reach furthest
        are always among them.
    """
    rows = track.segments
    if not len(rows):
        return [], []
    end = rows["end"]
    off = end[:, 3:] - (tilt_rad, rotary_rad)
    off -= 2.0 * pi * np.round(off / (2.0 * pi))
    unknown = np.isnan((tilt_rad, rotary_rad))
    near = ((np.abs(off) <= 10.0 * SAME_RAD) | (unknown & np.isnan(end[:, 3:]))).all(axis=1)
    near &= np.isin(rows["kind"], [int(kind) for kind in MOVES])
    near &= ~np.isnan(end[:, :3]).any(axis=1)
    which = np.flatnonzero(near)
    if not len(which):
        return [], []
    begin = end[np.maximum(which - 1, 0)].copy()
    if which[0] == 0:
        begin[0] = track.start
    turned = np.abs(begin[:, 3:] - end[which, 3:])
    still = ((turned <= 10.0 * SAME_RAD) | (unknown & np.isnan(begin[:, 3:]))).all(axis=1)
    known = ~np.isnan(begin[:, :3]).any(axis=1)
    which, begin = which[still & known], begin[still & known, :3]
    if not len(which):
        return [], []
    keep = _thinned(begin, end[which, :3], most)
    which, begin = which[keep], begin[keep]
    feeds: list[Floats] = []
    rapids: list[Floats] = []
    last: tuple[int, bool] = (-2, False)
    for i, row in enumerate(which.tolist()):
        rapid = int(rows["kind"][row]) == Kind.RAPID
        points = _points(track, row, begin[i])
        group = rapids if rapid else feeds
        if group and last == (row - 1, rapid):
            group[-1] = np.concatenate((group[-1], points[1:]))
        else:
            group.append(points)
        last = (row, rapid)
    return feeds, rapids


def _thinned(begin: Floats, end: Floats, most: int) -> NDArray[np.int64]:
    count = len(begin)
    if count <= most:
        return np.arange(count)
    both = np.concatenate((begin, end))
    extremes = {int(i) % count for i in (*both.argmin(axis=0), *both.argmax(axis=0))}
    length = ((end - begin) ** 2).sum(axis=1)
    longest = np.argpartition(length, count - most // 2)[count - most // 2 :]
    even = np.linspace(0, count - 1, most // 2 - len(extremes)).astype(np.int64)
    return np.unique(np.concatenate((longest, even, np.array(sorted(extremes), dtype=np.int64))))


def _points(track: Track, row: int, begin: Floats) -> Floats:
    segment = track.segments[row]
    stop = np.asarray(segment["end"][:3])
    if int(segment["kind"]) != Kind.ARC or int(segment["arc"]) < 0:
        return np.stack((begin, stop))
    arc = track.arcs[int(segment["arc"])]
    normal, sweep = np.asarray(arc["normal"]), float(arc["sweep"])
    u = begin - np.asarray(arc["centre"])
    u = u - (u @ normal) * normal
    v = np.cross(normal, u)
    share = np.linspace(0.0, 1.0, max(2, min(72, ceil(abs(sweep) / _CHORD_RAD))) + 1)[:, None]
    rise = ((stop - begin) @ normal) * normal
    points = begin - u + u * np.cos(share * sweep) + v * np.sin(share * sweep) + share * rise
    points[-1] = stop
    return np.asarray(points)
