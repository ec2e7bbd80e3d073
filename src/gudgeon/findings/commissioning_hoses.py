"""The poses of a dry run for hoses and cables, in order, with the free length left in each."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from gudgeon.findings.hose_bodies import connector_chain, hose_ends, hose_name

if TYPE_CHECKING:
    from gudgeon.findings import Findings
    from gudgeon.findings.hoses import HoseFinding

__all__ = ["DryPose", "dry_run"]

QUARTER: Final = math.pi / 2.0
SAME_RAD: Final = 1e-6
NEAR_RAD: Final = math.radians(0.5)
"""A pose that stretches a hose most is known this well; the hose hardly feels the rest."""


@dataclass(frozen=True, slots=True)
class DryPose:
    """One pose to stop in and look.

    Attributes
    ----------
    tilt_rad, turn_rad : float
    left_mm : dict of str to float
        Free length that each hose has left there; only of those whose ends are entered.
    worst : tuple of str
        Hoses that are stretched or bent most here, as "stretched most: name".
    """

    tilt_rad: float
    turn_rad: float
    left_mm: dict[str, float]
    worst: tuple[str, ...] = ()


def dry_run(findings: Findings) -> tuple[DryPose, ...]:
    """Return the poses in order: level all round, each end of the tilt all round, and back.

    Raises
    ------
    Lacking
        What the axis lines lack.
    """
    low, high = findings.turn_limits
    turns = _round(float(low[1]), float(high[1]))
    tilts = [0.0]
    if findings.has_tilt:
        # Quarter by quarter: nobody sees what happens on one long way.
        for end in (float(low[0]), float(high[0])):
            tilts += [t for t in (math.copysign(QUARTER, end),) if abs(t) < abs(end) - SAME_RAD]
            tilts += [end] if abs(end) > SAME_RAD else []
    home = 0.0 if low[1] <= 0.0 <= high[1] else turns[0]
    poses = [(0.0, home)] if abs(home - turns[0]) > SAME_RAD else []
    poses += [(0.0, turn) for turn in turns]
    ends = {float(low[0]), float(high[0])}
    before = 0.0
    for tilt in tilts[1:]:
        # There and back again: what is wound up on the way round is unwound.
        turns_now = turns if abs(poses[-1][1] - turns[0]) < SAME_RAD else turns[::-1]
        if before * tilt < 0.0:
            poses.append((0.0, turns_now[0]))
        poses += [(tilt, turn) for turn in (turns_now if tilt in ends else turns_now[:1])]
        before = tilt
    if abs(poses[-1][0]) > SAME_RAD:
        poses.append((0.0, poses[-1][1]))
    if abs(poses[-1][1] - home) > SAME_RAD:
        last = poses[-1][1]
        between = [t for t in turns if min(last, home) < t < max(last, home)]
        poses += [(0.0, turn) for turn in sorted(between, reverse=last > home)]
        poses.append((0.0, home))
    hoses = findings.hoses_stretched
    named = _worst(hoses, findings.has_tilt)
    for pose in named:
        if all(math.dist(pose, other) > NEAR_RAD for other in poses):
            poses += [pose, (0.0, home)]
    return tuple(
        DryPose(*pose, _left(findings, hoses, pose), tuple(_words(named, pose))) for pose in poses
    )


def _round(low: float, high: float) -> list[float]:
    """Return quarter by quarter through the range of the turn."""
    count = max(1, math.ceil((high - low) / QUARTER - 1e-9))
    return [low + (high - low) * k / count for k in range(count + 1)]


def _worst(hoses: tuple[HoseFinding, ...], has_tilt: bool) -> dict[tuple[float, float], list[str]]:
    found: dict[tuple[float, float], list[str]] = {}
    for hose in hoses:
        for at, words in ((hose.longest_at, "stretched"), (hose.shortest_at, "bent")):
            if not at or (words == "bent" and hose.bend_mm is None):
                continue
            tilt = at[0] if has_tilt else 0.0
            turn = at[-1] if len(at) > 1 or not has_tilt else 0.0
            found.setdefault((float(tilt), float(turn)), []).append(f"{hose.name} {words} most")
    return found


def _words(named: dict[tuple[float, float], list[str]], pose: tuple[float, float]) -> list[str]:
    return [
        text for at, texts in named.items() if math.dist(at, pose) <= NEAR_RAD for text in texts
    ]


def _left(
    findings: Findings, hoses: tuple[HoseFinding, ...], pose: tuple[float, float]
) -> dict[str, float]:
    """Return what each hose has left in a pose [mm].

    At a connector that does not turn, or whose ends are not all entered, it is what is left at
    worst.
    """
    chain = findings.axis_lines.chain if hoses else None
    judged = {hose.name: hose for hose in hoses}
    left: dict[str, float] = {}
    for hose in findings.cell.unit.hoses:
        name = hose_name(findings.cell, hose)
        if name not in judged or chain is None:
            continue
        left[name] = judged[name].margin_mm
        ends = hose_ends(hose, findings.unit_frame)
        carrying = connector_chain(chain, hose)
        if ends is None or not carrying.axes:
            continue
        connector, anchor, unsure = ends
        angles = [pose[0] if axis.role == "tilt" else pose[1] for axis in carrying.axes]
        span = float(np.linalg.norm(carrying.points(angles, connector) - anchor))
        left[name] = judged[name].free_mm - span - unsure
    return left
