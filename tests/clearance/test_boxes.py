"""Boxes of joint positions: certified gaps against closed forms and sampled poses."""

from __future__ import annotations

import os
from math import hypot, pi, sqrt

import numpy as np
import pytest

from gudgeon.clearance.pieces import box, cone, hull
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene

SCENES = int(os.environ.get("GUDGEON_CLEARANCE_SCENES", "250")) // 5
STRAIGHT = Lines(np.array([(0, 0, 0, 1, 0, 0, 1), (0, 0, 0, 0, 0, 1, 1)], dtype=np.float64))
PIN = Body("pin", Carrier.HEAD, Role.HOLDER, (cone((0, 0, -100), (0, 0, 0), 5, 5),))


def block(*solids: object, carrier: Carrier = Carrier.ROTARY) -> Body:
    return Body("block", carrier, Role.FIXTURE, solids)  # type: ignore[arg-type]


@pytest.mark.parametrize("tol_mm", [0.5, 0.05, 0.002])
def test_the_highest_corner_of_a_turning_box(tol_mm: float) -> None:
    """At some tilt and turn the farthest corner stands upright over both lines."""
    made = Prover(Scene((block(box((-50, 40), (-80, 70), (-20, 120))),), STRAIGHT), [PIN])
    low, high = (-200, -200, 320, -1.9, -pi), (200, 200, 330, 1.9, pi)
    truth = 220.0 - sqrt(50.0**2 + 80.0**2 + 120.0**2)
    gap = made.box(low, high, 1.0, exact=True, tol_mm=tol_mm)
    assert gap.status is Status.PROVEN
    assert gap.lower_mm <= truth <= gap.upper_mm + 1e-9
    assert gap.upper_mm - gap.lower_mm <= tol_mm + 1e-9


def test_the_farthest_corner_about_the_rotary_alone() -> None:
    made = Prover(Scene((block(box((-30, 30), (-40, 40), (-5, 5))),), STRAIGHT), [PIN])
    low, high = (80, -300, 50, 0, -pi), (80, 300, 50, 0, pi)
    gap = made.box(low, high, 0.0, exact=True, tol_mm=1e-3)
    assert gap.lower_mm <= 25.0 <= gap.upper_mm + 1e-9 <= gap.lower_mm + 2e-3
    # Not as far round as the corner: the nearest of two ends decides.
    low, high = (80, -300, 50, 0, -0.3), (80, 300, 50, 0, 0.3)
    corner = max(hypot(30, 40) * np.cos(np.arctan2(40, 30) - 0.3), 30.0)
    gap = made.box(low, high, 0.0, exact=True, tol_mm=1e-3)
    assert gap.lower_mm <= 75.0 - corner <= gap.upper_mm + 1e-9 <= gap.lower_mm + 2e-3


def test_a_face_that_only_spins_keeps_its_height() -> None:
    """Every turn is the nearest one: 100 between the face and the tip."""
    made = Prover(Scene((block(box((-150, 150), (-150, 150), (-50, 0))),), STRAIGHT), [PIN])
    gap = made.box((-50, -50, 200, 0, -pi), (50, 50, 200, 0, pi), 1.0, exact=True, tol_mm=0.05)
    assert gap.lower_mm <= 100.0 <= gap.upper_mm + 1e-9 <= gap.lower_mm + 0.051


def test_the_limit_of_a_box_is_sharp() -> None:
    made = Prover(Scene((block(box((-50, 50), (-80, 80), (-20, 120))),), STRAIGHT), [PIN])
    low, high = (-200, -200, 300, -1.6, -3.2), (200, 200, 320, 1.6, 3.2)
    truth = 200.0 - sqrt(50.0**2 + 80.0**2 + 120.0**2)
    assert made.box(low, high, truth - 1e-3, tol_mm=1e-4).status is Status.PROVEN
    assert made.box(low, high, truth + 1e-3, tol_mm=1e-4).status is Status.CLOSER


def test_no_box_drawn_at_random_is_called_clearer_than_a_pose_in_it() -> None:
    rng = np.random.default_rng(int(os.environ.get("GUDGEON_CLEARANCE_SEED", "3")))
    for _ in range(SCENES):
        rows = []
        for _axis in range(2):
            way = rng.normal(size=3)
            rows.append((*rng.normal(size=3) * 50, *way / np.linalg.norm(way), rng.choice([-1, 1])))
        parts = [rng.normal(size=(rng.integers(3, 9), 3)) * 35 for _ in range(2)]
        head = hull(rng.normal(size=(6, 3)) * 25, rounding=float(rng.uniform(0, 5)))
        made = Prover(
            Scene((block(*map(hull, parts)),), Lines(np.array(rows, dtype=np.float64))),
            [Body("tool", Carrier.HEAD, Role.HOLDER, (head,))],
        )
        away = rng.normal(size=3)
        away *= rng.uniform(200, 400) / np.linalg.norm(away)
        middle = np.r_[away, rng.normal(size=2)]
        half = np.r_[rng.uniform(0, 40, 3), rng.uniform(0, 2.0, 2)] * rng.choice([0, 1], 5)
        gap = made.box(middle - half, middle + half, 0.0, exact=True, tol_mm=0.5)
        if gap.upper_mm > 0.0:
            assert gap.status is Status.PROVEN
            assert gap.upper_mm - gap.lower_mm <= 0.5 + 1e-9
            there = made.motion(gap.joint, gap.joint, 0.0, exact=True, tol_mm=1e-6)
            assert there.upper_mm == pytest.approx(gap.upper_mm, abs=1e-4)
        for _pose in range(12):
            # Corners and edges of the box as often as places within.
            joint = middle + half * np.clip(rng.uniform(-1.5, 1.5, 5), -1.0, 1.0)
            here = made.motion(joint, joint, 0.0, exact=True, tol_mm=1e-6)
            assert gap.lower_mm <= max(here.upper_mm, 0.0) + 1e-6
