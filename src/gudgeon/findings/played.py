"""A program as a course of joint positions over time, for showing it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings.cleared_found import Cleared
from gudgeon.findings.cleared_motion import motions_of
from gudgeon.findings.gather import Lacking
from gudgeon.findings.timed_program import ProgramTimeFindings
from gudgeon.findings.timed_steps import filled, steps_of
from gudgeon.program.track import Track

__all__ = ["Played", "PlayedFindings", "time_at"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PACE_MM_S: Final = 100.0
"""Where no speeds are entered the course is shown as if everything went at this pace; told."""

RADIUS_MM: Final = 150.0
"""A turn counts as the way of a point so far out, where the pace is the same for all."""


@dataclass(frozen=True, slots=True)
class Played:
    """The course of a program.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        When each position is reached; the first is the start.
    joints : ndarray, shape (n, 5)
        [mm, mm, mm, rad, rad]
    row : ndarray of int, shape (n,)
        Row of the track that ends there; -1 for the start.
    gap_mm : ndarray, shape (n,)
        Gap proven or found on the way there; NaN where it is not known one by one.
    tool : ndarray of int, shape (n,)
        Number of the tool in the spindle; -1 where not known.
    timed : bool
        False: no speeds are entered, and the times are those of an even pace.
    """

    time_s: Floats
    joints: Floats
    row: Ints
    gap_mm: Floats
    tool: Ints
    timed: bool


class PlayedFindings(ProgramTimeFindings):
    """Programs as courses over time."""

    def played(self, done: Cleared) -> Played:
        """Return the course of a judged program.

        Parameters
        ----------
        done : Cleared
            The program, read and judged.
        """
        track = done.track
        motions = motions_of(track, done.control.dialect, {}, {})
        # An axis whose place is not known is shown standing, as its time counts it.
        places, _ = filled(track)
        way = ~motions.other_way
        row = motions.row[way]
        start = np.where(np.isfinite(motions.start[way]), motions.start[way], places[row])
        end = np.where(np.isfinite(motions.end[way]), motions.end[way], places[row + 1])
        # Parts come in the order of the program but for arcs, which stand at their own row.
        order = np.argsort(row, kind="stable")
        start, end, row = start[order], end[order], row[order]
        moved = np.abs(end - start)
        length = np.linalg.norm(moved[:, :3], axis=1) + RADIUS_MM * moved[:, 3:].sum(axis=1)
        seconds, timed = self._row_seconds(track)
        if timed:
            whole = np.bincount(row, length, minlength=len(track.segments))[row]
            count = np.bincount(row, minlength=len(track.segments))[row]
            share = np.where(whole > 0.0, length / np.where(whole > 0.0, whole, 1.0), 1.0 / count)
            taken = seconds[row] * share
        else:
            taken = length / PACE_MM_S
        gaps = np.full(len(track.segments), np.nan)
        for place, found in done.rows.items():
            gaps[place] = found.margin_mm
        force = np.clip(track.segments["force"].astype(np.int64), 0, len(track.in_force) - 1)
        tools = np.array([-1 if f.tool is None else f.tool for f in track.in_force] or [-1])
        first = start[:1] if len(start) else np.zeros((0, 5))
        return Played(
            time_s=np.concatenate([np.zeros(len(first)), np.cumsum(taken)]),
            joints=np.concatenate([first, end]),
            row=np.concatenate([np.full(len(first), -1), row]),
            gap_mm=np.concatenate([np.full(len(first), np.nan), gaps[row]]),
            tool=np.concatenate([tools[force[row[:1]]], tools[force[row]]]).astype(np.int64),
            timed=timed,
        )

    def _row_seconds(self, track: Track) -> tuple[Floats, bool]:
        """Return the seconds of each row of a track, and whether they are known."""
        from gudgeon.timing.clock import time_moves

        seconds = np.zeros(len(track.segments))
        try:
            steps = steps_of(track, self.worked_by_words, None)
            own, _, _ = self.ground(steps.axes, steps.concerns)
        except Lacking:
            return seconds, False
        done = time_moves(steps.moves, own.limits, own.rules)
        assert done is not None  # nobody stops it
        np.add.at(seconds, steps.row, done.seconds)
        return seconds, True


def time_at(course: Played, row: int, joint: tuple[float, ...]) -> float:
    """Return when a row of the track comes nearest to a position of the joints [s].

    Without a position, or where the row does not move: when it ends.
    """
    places = np.flatnonzero(course.row == row)
    if not len(places):
        before = np.flatnonzero(course.row < row)
        return float(course.time_s[before[-1]]) if len(before) else 0.0
    if len(joint) != 5:
        return float(course.time_s[places[-1]])
    scale = np.array([1.0, 1.0, 1.0, RADIUS_MM, RADIUS_MM])
    want = np.asarray(joint, dtype=np.float64)
    best = (np.inf, float(course.time_s[places[-1]]))
    for place in places:
        if place == 0:
            continue
        a, b = course.joints[place - 1] * scale, course.joints[place] * scale
        step = b - a
        size = float(step @ step)
        share = 0.0 if size == 0.0 else float(np.clip((want * scale - a) @ step / size, 0.0, 1.0))
        off = float(np.linalg.norm(a + share * step - want * scale))
        if off < best[0] - 1e-9:
            begun, ended = course.time_s[place - 1], course.time_s[place]
            best = (off, float(begun + share * (ended - begun)))
    return best[1]
