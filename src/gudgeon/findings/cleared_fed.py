"""Which rapids stay in what the same cutter has fed through before.

Stock does not grow back: where a cutter has been by feed, in the same pose of the work, it may go
again by rapid, up to what stands above it.  Only places that were fed through exactly count: a
column in which the tool goes up and down, and a straight line that was fed from end to end.  The
shape of one tool says nothing about what another has left, so each tool counts for itself.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import mul
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.track import Flag, Kind, Track

if TYPE_CHECKING:
    from gudgeon.clearance.scene import Body

__all__ = ["Profile", "free_rapids", "profile_of"]

Floats = NDArray[np.float64]

_SAME_MM: Final = 1e-9
_SAME_RAD: Final = 1e-12
_GRID: Final = 1e6
"""Places are looked up in a grid of a millionth; a place missed there only costs the allowance."""

_HELD_MOST: Final = 400
"""Feed moves looked at in one place, the last ones; one forgotten only costs the allowance."""

_Joint: TypeAlias = tuple[float, ...]
_Fed: TypeAlias = tuple[_Joint, _Joint | None]
"""A place that was fed to or from, and the other end of the feed if it was straight in one pose."""


@dataclass(frozen=True, slots=True)
class Profile:
    """What a tool is above its cutter, as far as it matters for going up.

    Attributes
    ----------
    radius_mm : float
        The cutter where it is widest.
    top_mm : float
        Top of the cutter, counted from the gauge point [mm].
    widens : bool
        The cutter is nowhere thinner than lower down: what it leaves, it can go up through.
    free_up_mm : float
        So far up over the cutter nothing of the tool is thinner than the cutter.  What stands
        there was proven free on the feed move, so the cutter may go up so far.
    """

    radius_mm: float
    top_mm: float
    widens: bool
    free_up_mm: float


def profile_of(bodies: Sequence[Body] | None) -> Profile | None:
    """Return the profile of a tool; ``None`` where it has no cutter of round bars."""
    from gudgeon.clearance.pieces import CONE
    from gudgeon.clearance.scene import Role

    cutter: list[tuple[float, float, float, float]] = []
    above: list[tuple[float, float, float, float]] = []
    for body in bodies or ():
        for pieces, points in body.solids:
            for piece in pieces:
                ends = points[int(piece["first"]) : int(piece["first"]) + int(piece["count"])]
                if piece["kind"] != CONE or len(ends) != 2:
                    return None
                bar = (float(ends[0, 2]), float(piece["r0"]), float(ends[1, 2]), float(piece["r1"]))
                bar = bar if bar[0] <= bar[2] else (bar[2], bar[3], bar[0], bar[1])
                (cutter if body.role is Role.CUTTER else above).append(bar)
    if not cutter:
        return None
    cutter.sort()
    radius, top, widens = 0.0, cutter[0][0], True
    for low, low_radius, high, high_radius in cutter:
        widens &= low_radius >= radius - _SAME_MM and high_radius >= low_radius - _SAME_MM
        widens &= low <= top + _SAME_MM
        radius, top = max(radius, low_radius, high_radius), max(top, high)
    reached = top
    for low, low_radius, high, high_radius in sorted(above):
        if low <= reached + _SAME_MM and min(low_radius, high_radius) >= radius - _SAME_MM:
            reached = max(reached, high)
    return Profile(radius, top, widens, reached - top)


def free_rapids(
    track: Track,
    start: Floats,
    profiles: Mapping[int, Profile | None],
    force: NDArray[np.int64],
) -> tuple[NDArray[np.bool_], dict[int, float]]:
    """Tell which rapids of the cutter may be in stock, and which may if what is above is free.

    Parameters
    ----------
    track : Track
    start : ndarray, shape (rows, 5)
        Where each row starts.
    profiles : mapping of tool to Profile
    force : ndarray of int, shape (rows,)
        Index into ``track.in_force``.

    Returns
    -------
    ndarray of bool, shape (rows,)
    dict of row to float
        Rows that are free if the cutter, going up from this Z of the gauge point to the higher
        end of the row, meets no stock that it has not cut.
    """
    segments = track.segments
    count = len(segments)
    free, if_above = np.zeros(count, dtype=bool), dict[int, float]()
    if not count:
        return free, if_above
    end, kind = segments["end"], segments["kind"]
    known = ~(np.isnan(start).any(axis=1) | np.isnan(end).any(axis=1))
    posed = known & (np.abs(end[:, 3:] - start[:, 3:]) <= _SAME_RAD).all(axis=1)
    tools = np.array([-1 if f.tool is None else f.tool for f in track.in_force] or [-1])[force]
    rapids = posed & (kind == Kind.RAPID) & (tools >= 0)
    feeds = known & ((kind == Kind.LINE) | (kind == Kind.ARC)) & (tools >= 0)
    if not rapids.any() or not feeds.any():
        return free, if_above
    at_start, at_end = _places(start, tools), _places(end, tools)
    asked = np.concatenate((at_start[rapids], at_end[rapids]))
    feeds &= np.isin(at_start, asked) | np.isin(at_end, asked)
    of_line = posed & (kind == Kind.LINE) & ((segments["flags"] & int(Flag.CHORD)) == 0)
    fed: dict[tuple[int, int], deque[_Fed]] = {}
    nothing: deque[_Fed] = deque()
    stops = kind == Kind.STOP
    for i in np.flatnonzero(rapids | feeds | stops).tolist():
        if stops[i]:
            fed.clear()  # whoever stands at the machine may turn the work over
            continue
        tool = int(tools[i])
        before, after = (tool, int(at_start[i])), (tool, int(at_end[i]))
        one, other = tuple(start[i].tolist()), tuple(end[i].tolist())
        if feeds[i]:
            straight = bool(of_line[i])
            _held(fed, after).appendleft((other, one if straight else None))
            if straight and before != after:
                _held(fed, before).appendleft((one, other))
            continue
        here, there = fed.get(before, nothing), fed.get(after, nothing)
        if abs(one[0] - other[0]) <= _SAME_MM and abs(one[1] - other[1]) <= _SAME_MM:
            up_from = _column(there, one, other, profiles.get(tool))
            if up_from == math.inf:
                free[i] = True
            elif up_from is not None:
                if_above[i] = up_from
        else:
            free[i] = _along(here, one, other) or _along(there, other, one)
    return free, if_above


def _held(fed: dict[tuple[int, int], deque[_Fed]], key: tuple[int, int]) -> deque[_Fed]:
    found = fed.get(key)
    if found is None:
        found = fed[key] = deque(maxlen=_HELD_MOST)
    return found


def _places(joints: Floats, tools: NDArray[np.int64]) -> NDArray[np.uint64]:
    """Return a number for tool, pose, X and Y; others may share it, and are told apart later."""
    grid = np.nan_to_num(np.rint(joints[:, [0, 1, 3, 4]] * _GRID)).astype(np.int64)
    mixed = tools.astype(np.uint64)
    for column in grid.T:
        mixed = (mixed ^ column.astype(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    return mixed


def _column(fed: deque[_Fed], start: _Joint, end: _Joint, profile: Profile | None) -> float | None:
    """Return the Z up to which a column was fed through; infinite where going up is free.

    ``None`` where it was not fed as deep as the rapid goes, or nothing is known of the tool.
    """
    low, high = min(start[2], end[2]), max(start[2], end[2])
    shaped = profile is not None and profile.widens
    enough = high - (profile.free_up_mm if profile is not None and shaped else _SAME_MM)
    spans: list[tuple[float, float]] = []
    for place, far in fed:
        if not _same(place, end):
            continue
        z, other = place[2], place[2]
        if far is not None and _same_spot(far, end):
            other = far[2]
        if min(z, other) <= low + _SAME_MM and max(z, other) >= enough:
            return math.inf
        spans.append((min(z, other), max(z, other)))
    up_to = max((top for bottom, top in spans if bottom <= low + _SAME_MM), default=None)
    if up_to is None:
        return None
    for bottom, top in sorted(spans):
        if bottom <= up_to + _SAME_MM:
            up_to = max(up_to, top)
    if up_to >= enough:
        return math.inf
    return up_to if shaped else None


def _along(fed: deque[_Fed], here: _Joint, there: _Joint) -> bool:
    """Tell whether a straight line lies in one that was fed from `here`."""
    for place, far in fed:
        if far is None or abs(place[2] - here[2]) > _SAME_MM:
            continue
        if not _same(place, here) or not _same_pose(far, here):
            continue
        way = [far[k] - here[k] for k in range(3)]
        gone = [there[k] - here[k] for k in range(3)]
        share = sum(map(mul, way, gone)) / max(sum(map(mul, way, way)), 1e-300)
        on_it = all(abs(g - share * w) <= _SAME_MM for g, w in zip(gone, way, strict=True))
        if on_it and -1e-12 <= share <= 1.0 + 1e-12:
            return True
    return False


def _same(one: _Joint, other: _Joint) -> bool:
    return _same_spot(one, other) and _same_pose(one, other)


def _same_spot(one: _Joint, other: _Joint) -> bool:
    return abs(one[0] - other[0]) <= _SAME_MM and abs(one[1] - other[1]) <= _SAME_MM


def _same_pose(one: _Joint, other: _Joint) -> bool:
    return abs(one[3] - other[3]) <= _SAME_RAD and abs(one[4] - other[4]) <= _SAME_RAD
