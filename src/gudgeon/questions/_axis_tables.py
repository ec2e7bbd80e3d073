"""Tables and sketch of the question "axes"."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Column, Picture, Table
from gudgeon.drawing.plan import Plan
from gudgeon.findings import Findings
from gudgeon.findings.jog_test import seen_for_plus, side_words
from gudgeon.findings.senses import AxisEvidence
from gudgeon.findings.written import Written
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.kinematics.inverse import poses_facing
from gudgeon.kinematics.naming import (
    LETTERS,
    MACHINE_AXES,
    WORK_CARRYING_SENSE,
    axis_of_letter,
    letter_about,
    nearest_side,
    side_brought_to,
    side_direction,
)
from gudgeon.quantity.kinds import Kind

__all__ = [
    "axis_map",
    "jogs_table",
    "old_program",
    "sketch",
    "test_program",
    "turn_words",
    "what_comes_up",
]

Floats = NDArray[np.float64]
Point = tuple[float, float]

_QUARTER: Final = math.pi / 2.0
_UP: Final = (0.0, 0.0, 1.0)


def turn_words(along: str, sense: int) -> str:
    """Return how a turn looks: "clockwise seen from above", from the right or from the front."""
    # From above and from the right one looks at the plus end, from the front at the minus end.
    seen_from = {"X": "the right", "Y": "the front", "Z": "above"}[along]
    counter = (sense > 0) != (along == "Y")
    return f"{'counter-clockwise' if counter else 'clockwise'} seen from {seen_from}"


def axis_map(findings: Findings, evidence: Sequence[AxisEvidence]) -> Table:
    """Return letter, sense and what is seen for each axis."""
    rows = []
    for item in evidence:
        sense = None if item.disagrees else item.sense
        if sense is None:
            seen = "contradiction: see above" if item.disagrees else "not known yet"
        else:
            watched, moved = seen_for_plus(item, sense)
            goes = f"{side_words(watched)} goes to {side_words(moved)}"
            seen = f"{goes}: {turn_words(item.along, sense)}"
        askew = (
            f" ({math.degrees(item.off_axis_rad):.1f} deg off)" if item.off_axis_rad > 1e-9 else ""
        )
        rows.append(
            (
                item.letter,
                item.role,
                item.along + askew,
                sense,
                item.standard_letter,
                WORK_CARRYING_SENSE,
                seen,
            )
        )
    return Table(
        "axis_map",
        "Letters and senses, here and by ISO 841",
        (
            Column("letter", "Letter"),
            Column("role", "Axis"),
            Column("along", "Lies along"),
            Column("sense", "Sense"),
            Column("iso_letter", "ISO letter"),
            Column("iso_sense", "ISO sense"),
            Column("seen", "Seen for a small plus jog"),
        ),
        tuple(rows),
    )


def jogs_table(findings: Findings) -> Table:
    """Return what each jog shows."""
    rows = []
    for seen in findings.jogs_seen:
        jog = seen.jog
        by = None if jog.by is None else round(findings.units.shown(Kind.ANGLE, jog.by.value), 6)
        shows = seen.fault
        if seen.role is not None and seen.sense is not None:
            shows = f"{seen.role} axis, sense {seen.sense:+d}"
        rows.append((seen.index, jog.letter, by, jog.watched, jog.moved, shows))
    return Table(
        "jogs",
        "What the jogs show",
        (
            Column("jog", "Jog"),
            Column("letter", "Letter"),
            Column("by", "By", findings.units.unit(Kind.ANGLE)),
            Column("watched", "Watched"),
            Column("moved", "Moved to"),
            Column("shows", "Shows"),
        ),
        tuple(rows),
    )


def what_comes_up(findings: Findings, evidence: Sequence[AxisEvidence]) -> Table:
    """Return which side of the work comes up, and where the platter faces, at the usual poses."""
    chain = findings.turning_only
    platter = findings.platter_axes[:, 2]
    rows = []
    for angles in _usual_poses(chain):
        up = side_brought_to(chain, angles)
        front = side_brought_to(chain, angles, side_direction("Y-"))
        faces = chain.directions(angles, platter)
        rows.append(
            (_command(evidence, angles), _side_near(up), _side_near(faces), _side_near(front))
        )
    return Table(
        "what_comes_up",
        "What comes up (sides of the work as they stand with all angles at zero)",
        (
            Column("command", "Command"),
            Column("up", "Side that comes up"),
            Column("platter", "Platter faces"),
            Column("front", "Side that comes to the front"),
        ),
        tuple(rows),
    )


def _usual_poses(chain: WorkChain) -> list[tuple[float, ...]]:
    first, last = chain.axes[0], chain.axes[-1]
    turns = [angle for angle in (_QUARTER, -_QUARTER, math.pi) if _within(last, angle)]
    if len(chain.axes) == 1:
        return [(angle,) for angle in turns]
    tilts = list(dict.fromkeys(_clamped(first, angle) for angle in (_QUARTER, -_QUARTER)))
    tilts = [tilt for tilt in tilts if tilt != 0.0]
    poses: list[tuple[float, ...]] = [(tilt, 0.0) for tilt in tilts]
    poses += [(0.0, turn) for turn in turns[:2]]
    if tilts:
        poses += [(tilts[0], turn) for turn in turns]
    return poses


def old_program(findings: Findings, evidence: Sequence[AxisEvidence]) -> Table:
    """Return what a program written for the standard letters and senses does here."""
    chain = findings.turning_only
    index_of = {item.letter: i for i, item in enumerate(evidence)}
    standard = [
        (item.standard_letter, np.asarray(item.direction), "a unit lying like this one")
        for item in evidence
    ]
    if findings.has_tilt:
        level = "Y" if evidence[0].along == "X" else "X"
        letter = letter_about(axis_of_letter(LETTERS[MACHINE_AXES.index(level)]))
        standard.append((letter, axis_of_letter(letter), f"a unit lying along {level}"))
    rows = []
    for letter, direction, unit in standard:
        x, y, z = direction.tolist()
        meant_axis = TurningAxis("meant", AxisLine((0.0, 0.0, 0.0), (x, y, z)), WORK_CARRYING_SENSE)
        for angle in (_QUARTER, -_QUARTER):
            meant = WorkChain((meant_axis,)).matrices([angle])[:3, :3]
            means = _outcome(meant)
            if letter not in index_of:
                here, same = "no such axis: the control stops with an alarm", False
            else:
                angles = [0.0] * len(chain.axes)
                angles[index_of[letter]] = angle
                happens = chain.matrices(angles)[:3, :3]
                same = bool(np.allclose(happens, meant, atol=1e-6))
                here = "the same" if same else _outcome(happens)
                if not _within(chain.axes[index_of[letter]], angle):
                    here += ", but beyond the limit of the axis"
            instead = "" if same else _instead(chain, evidence, meant)
            rows.append((f"{letter}{math.degrees(angle):+g}", unit, means, here, same, instead))
    return Table(
        "old_program",
        "What a program written for ISO 841 letters and senses does here",
        (
            Column("command", "Command"),
            Column("written_for", "Written for"),
            Column("means", "Means there"),
            Column("here", "Happens here"),
            Column("same", "Same"),
            Column("instead", "Write instead"),
        ),
        tuple(rows),
    )


def _outcome(rotation: Floats) -> str:
    """Say what a turn does: which side comes up, or where the right side goes."""
    up = nearest_side(rotation.T @ np.asarray(_UP))[0]
    if up != "Z+":
        return f"{side_words(up)} comes up"
    side = nearest_side(rotation @ side_direction("X+"))[0]
    return f"{side_words('X+')} goes to {side_words(side)}"


def _instead(chain: WorkChain, evidence: Sequence[AxisEvidence], meant: Floats) -> str:
    """Return the command that does here what was meant: exactly, or at least the same side up."""
    for i, axis in enumerate(chain.axes):
        for angle in (_QUARTER, -_QUARTER):
            angles = [0.0] * len(chain.axes)
            angles[i] = angle
            happens = chain.matrices(angles)[:3, :3]
            if np.allclose(happens, meant, atol=1e-6) and _within(axis, angle):
                return _command(evidence, tuple(angles), only=i)
    found = poses_facing(chain, meant.T @ np.asarray(_UP)).poses
    if not found or np.allclose(meant.T @ np.asarray(_UP), _UP):
        return "not possible here: another set-up"
    return _command(evidence, found[0].angles_rad) + " (same side up, turned otherwise in plan)"


def test_program(written: Written) -> Table:
    """Return the program that turns each axis a little and back, or the same by hand."""
    if not written.lines:
        return Table(
            "test_by_hand",
            "Test by hand: each axis a little and back",
            (Column("step", "Step"), Column("do", "Do"), Column("see", "What to see")),
            tuple((k, do, see) for k, (do, see) in enumerate(written.by_hand, start=1)),
        )
    return Table(
        "test_program",
        "Test program: each axis a little and back, with a stop to look",
        (Column("line", "Line"), Column("block", "Block"), Column("watch", "What to see")),
        tuple((k, block, words) for k, (block, words) in enumerate(written.lines, start=1)),
    )


def sketch(findings: Findings, evidence: Sequence[AxisEvidence]) -> Picture:
    """Draw the unit seen from the front, with its letters and the turn of the work for plus.

    Oblique view: X and Z to scale, depth Y at half length under 45 deg.
    """
    diameter = findings.cell.unit.platter_diameter
    radius = diameter.value / 2.0 if diameter else 100.0
    reach = 2.1 * radius
    plan = Plan(
        "axes-sketch", -1.25 * reach, -1.2 * reach, 1.35 * reach, 1.05 * reach,
        inch=findings.units.inch, width_px=560,
    )  # fmt: skip
    upright = findings.platter_axes[:, 2]
    disc = [_flat(p) for p in _ring(np.zeros(3), upright, radius, 0.0, 2.0 * math.pi)]
    plan.path(disc, closed=True, fill="tint")
    plan.path(
        [
            _flat(p - 0.12 * radius * upright)
            for p in _ring(np.zeros(3), upright, radius, 0, math.tau)
        ],
        closed=True,
        style="faint",
    )
    for item in evidence:
        direction = np.asarray(item.direction)
        plan.line(_flat(-0.95 * reach * direction), _flat(0.95 * reach * direction), "axis")
        at = 0.72 * reach * direction
        label = f"{item.letter or '?'}+"
        sense = None if item.disagrees else item.sense
        if sense is not None:
            ring = _ring(at, sense * direction, 0.32 * radius, -0.4 * math.pi, 1.1 * math.pi)
            flat = [_flat(p) for p in ring]
            plan.path(flat[:-1], style="bold")
            plan.arrow(flat[-3], flat[-1], "bold")
        else:
            label = f"{item.letter or '?'} ?"
        beside = _flat(at + 0.30 * reach * direction)
        plan.text((beside[0] + 0.1 * radius, beside[1] + 0.06 * radius), label, anchor="start")
    corner = np.array([-0.9 * reach, 0.0, -1.0 * reach])
    for letter, direction in zip(MACHINE_AXES, np.eye(3), strict=True):
        tip = corner + 0.3 * reach * direction
        plan.arrow(_flat(corner), _flat(tip))
        plan.text(_flat(tip + 0.08 * reach * direction), f"{letter}+", small=True)
    sized = "" if diameter else ", platter drawn 200 mm wide"
    return Picture(
        "sketch",
        "The unit from the front at zero; arrows: how the WORK turns for plus. X and Z to scale, "
        f"Y at half length{sized}",
        plan.svg(),
    )


def _ring(centre: Floats, axis: Floats, radius: float, start: float, end: float) -> list[Floats]:
    """Return points of an arc about `axis`, right-handed, beginning where it shows best."""
    helper = np.array([0.0, 0.0, 1.0]) if abs(axis[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    one = np.cross(np.cross(axis, helper), axis)
    one /= np.linalg.norm(one)
    two = np.cross(axis, one)
    return [
        centre + radius * (math.cos(t) * one + math.sin(t) * two)
        for t in np.linspace(start, end, 49)
    ]


def _flat(point: Floats) -> Point:
    depth = 0.5 * math.sqrt(0.5) * float(point[1])
    return float(point[0]) + depth, float(point[2]) + depth


def _command(
    evidence: Sequence[AxisEvidence], angles: Sequence[float], only: int | None = None
) -> str:
    words = [
        f"{item.letter}{math.degrees(angle):g}"
        for i, (item, angle) in enumerate(zip(evidence, angles, strict=True))
        if only is None or i == only
    ]
    return " ".join(words)


def _side_near(direction: Floats) -> str:
    side, off = nearest_side(direction)
    askew = f", {math.degrees(off):.0f} deg off" if off > math.radians(0.5) else ""
    return side_words(side) + askew


def _within(axis: TurningAxis, angle: float) -> bool:
    return axis.low_rad - 1e-9 <= angle <= axis.high_rad + 1e-9


def _clamped(axis: TurningAxis, angle: float) -> float:
    return min(max(angle, axis.low_rad), axis.high_rad)
