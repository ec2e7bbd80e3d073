"""Slides of a point and of an edge, against a conservative continuous check of primitive pairs.

That check (additive conservative advancement) says of two primitives on straight ways whether they
come nearer than a least distance.  It never misses it, and it warns in vain only within a share of
how much farther they were at the start.  Angles stand still here.
"""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import pytest

from gudgeon.clearance.pieces import hull, triangles
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene

ipctk: Any = pytest.importorskip("ipctk", reason="ipctk is not installed")

IN_VAIN = 1e-4
PAIRS = 2 * int(os.environ.get("GUDGEON_CLEARANCE_SCENES", "250"))
STRAIGHT = Lines(np.array([(0, 0, 0, 1, 0, 0, 1), (0, 0, 0, 0, 0, 1, 1)], dtype=np.float64))


@pytest.mark.parametrize("kind", ["point and triangle", "edge and edge"])
def test_a_slide_keeps_the_distance_that_is_certified(kind: str) -> None:
    check = ipctk.AdditiveCCD(conservative_rescaling=1.0 - IN_VAIN)
    rng = np.random.default_rng(31)
    judged = 0
    for _ in range(PAIRS):
        start = np.r_[rng.normal(size=3) * 60.0, 0.0, 0.0]
        end = np.r_[rng.normal(size=3) * 60.0, 0.0, 0.0]
        if kind == "point and triangle":
            own, other = np.zeros((1, 3)), rng.normal(size=(3, 3)) * 40.0
            work, judge = triangles(other[None]), check.point_triangle_ccd
        else:
            own, other = rng.normal(size=(2, 3)) * 30.0, rng.normal(size=(2, 3)) * 40.0
            work, judge = hull(other), check.edge_edge_ccd
        scene = Scene((Body("work", Carrier.TABLE, Role.UNIT, (work,), closed=False),), STRAIGHT)
        made = Prover(scene, [Body("head", Carrier.HEAD, Role.HOLDER, (hull(own),))])
        gap = made.motion(start, end, 0.0, exact=True, tol_mm=1e-4)
        before, after = own + start[:3], own + end[:3]

        def comes_nearer(least: float) -> bool:
            return bool(
                judge(*before, *other, *after, *other, min_distance=least)[0]  # noqa: B023
            )

        first = made.motion(start, start, 0.0, exact=True, tol_mm=1e-6).lower_mm
        if gap.lower_mm < 0.1 or first < gap.upper_mm + 0.1:
            continue  # it judges nothing that starts nearer than what is asked
        judged += 1
        assert comes_nearer(gap.upper_mm + 1e-3)
        assert not comes_nearer(gap.lower_mm - 1e-3 - 0.01 * first)
        assert made.motion(start, end, gap.lower_mm - 1e-6).status is Status.PROVEN
    assert judged > PAIRS // 4
