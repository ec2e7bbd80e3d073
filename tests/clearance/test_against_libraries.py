"""Proofs against two libraries of collisions, each by sampling `distance` along drawn motions.

Both return a positive distance for a shape wholly inside a mesh; points inside the hull of a body
are told by its planes.  Neither is asked about motions: sampling proves nothing, but a certified
bound above any sample is wrong.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from gudgeon.clearance.pieces import cone, hull, triangles
from gudgeon.clearance.prove import Prover
from gudgeon.clearance.scene import Body, Carrier, Lines, Role, Scene
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

Floats = NDArray[np.float64]
Pose = tuple[Floats, Floats]
Distance = Callable[[int, Pose, int, Pose], float]

SCENES = int(os.environ.get("GUDGEON_CLEARANCE_SCENES", "250")) // 2
SEED = int(os.environ.get("GUDGEON_CLEARANCE_SEED", "21"))
MOTIONS, SAMPLES = 8, 9
HEIGHT, RADIUS, BALL = 60.0, 12.0, 15.0
STILL = np.eye(3)


def surface(points: Floats) -> tuple[Floats, Floats]:
    """Return the triangles of a hull, outward, and its planes."""
    made = ConvexHull(points)
    corners = points[made.simplices]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    turned = (across * made.equations[:, :3]).sum(axis=1) < 0.0
    corners[turned] = corners[turned][:, ::-1]
    return corners, made.equations


def fcl_distance(surfaces: list[Floats]) -> Distance:
    fcl = pytest.importorskip("fcl", reason="python-fcl is not installed")
    meshes = []
    for corners in surfaces:
        mesh = fcl.BVHModel()
        mesh.beginModel(len(corners), 3 * len(corners))
        mesh.addSubModel(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))
        mesh.endModel()
        meshes.append(mesh)
    shapes = [fcl.Cylinder(RADIUS, HEIGHT), fcl.Sphere(BALL)]

    def found(body: int, there: Pose, shape: int, here: Pose) -> float:
        one = fcl.CollisionObject(meshes[body], fcl.Transform(*there))
        other = fcl.CollisionObject(shapes[shape], fcl.Transform(*here))
        return float(fcl.distance(one, other, fcl.DistanceRequest(), fcl.DistanceResult()))

    return found


def coal_distance(surfaces: list[Floats]) -> Distance:
    coal: Any = pytest.importorskip("coal", reason="coal is not installed")
    meshes = []
    for corners in surfaces:
        mesh = coal.BVHModelOBBRSS()
        mesh.beginModel(len(corners), 3 * len(corners))
        for a, b, c in corners:
            mesh.addTriangle(a, b, c)
        mesh.endModel()
        meshes.append(mesh)
    shapes = [coal.Cylinder(RADIUS, HEIGHT), coal.Sphere(BALL)]

    def found(body: int, there: Pose, shape: int, here: Pose) -> float:
        request, result = coal.DistanceRequest(), coal.DistanceResult()
        return float(
            coal.distance(
                meshes[body], coal.Transform3s(*there), shapes[shape], coal.Transform3s(*here),
                request, result,
            )
        )  # fmt: skip

    return found


def drawn_lines(rng: np.random.Generator) -> WorkChain:
    axes = []
    for role in ("tilt", "rotary"):
        way = rng.normal(size=3)
        line = AxisLine(
            tuple((rng.normal(size=3) * 40).tolist()), tuple((way / np.linalg.norm(way)).tolist())
        )
        axes.append(TurningAxis(role, line, int(rng.choice([-1, 1]))))
    return WorkChain(tuple(axes))


@pytest.mark.parametrize("library", [fcl_distance, coal_distance], ids=["fcl", "coal"])
def test_no_sample_comes_below_a_certified_bound(
    library: Callable[[list[Floats]], Distance],
) -> None:
    rng = np.random.default_rng(SEED)
    inside = near = 0
    for _ in range(SCENES):
        chain = drawn_lines(rng)
        made = [surface(rng.normal(size=(9, 3)) * 40 + rng.normal(size=3) * 40) for _ in range(2)]
        # The first body is on the tilt, the second on the rotary.
        bodies = tuple(
            Body(name, carrier, Role.FIXTURE, (triangles(corners),))
            for name, carrier, (corners, _) in zip(
                ("cradle", "load"), (Carrier.TILT, Carrier.ROTARY), made, strict=True
            )
        )
        rows = [(*a.line.point_mm, *a.line.direction, a.sense) for a in chain.axes]
        scene = Scene(
            bodies, Lines(np.array(rows)), apart=frozenset({frozenset({"cradle", "load"})})
        )
        shank = Body(
            "shank", Carrier.HEAD, Role.SHANK, (cone((0, 0, 0), (0, 0, HEIGHT), RADIUS, RADIUS),)
        )
        ball = Body("ball", Carrier.HEAD, Role.HOLDER, (hull([(0, 0, 80)], rounding=BALL),))
        prover = Prover(scene, [shank, ball])
        middles = np.array([(0, 0, 0.5 * HEIGHT), (0, 0, 80.0)])
        distance = library([corners for corners, _ in made])
        away = rng.normal(size=3)
        away *= rng.uniform(0, 260) / np.linalg.norm(away)

        def sample(
            joint: Floats,
            chain: WorkChain = chain,
            made: list[tuple[Floats, Floats]] = made,
            distance: Distance = distance,
            middles: Floats = middles,
        ) -> float:
            least = np.inf
            for body in range(2):
                angles = np.array([joint[3], joint[4] if body else 0.0])
                pose = chain.matrices(angles)
                if not body:
                    pose = WorkChain(chain.axes[:1]).matrices(joint[3:4])
                turn, shift = pose[:3, :3], pose[:3, 3]
                for shape in range(2):
                    here = middles[shape] + joint[:3]
                    own = turn.T @ (here - shift)
                    if (made[body][1] @ np.r_[own, 1.0] <= 0.0).all():
                        return 0.0
                    least = min(least, distance(body, (turn, shift), shape, (STILL, here)))
            return max(least, 0.0)

        for _motion in range(MOTIONS):
            start = np.r_[away + rng.normal(size=3) * 30, rng.normal(size=2)]
            end = start + np.r_[rng.normal(size=3) * 50, rng.normal(size=2)]
            gap = prover.motion(start, end, 0.0, exact=True, tol_mm=1e-2)
            poses = [start + share * (end - start) for share in np.linspace(0.0, 1.0, SAMPLES)]
            sampled = min(map(sample, poses))
            inside += sampled == 0.0
            near += sampled < 5.0
            assert gap.lower_mm <= sampled + 1e-4
            if gap.upper_mm > 0.0:
                # The witness is real: there, it is as near as that.
                # (Another face may be nearer there, by less than the tolerance.)
                there = sample(np.array(gap.joint))
                assert gap.lower_mm - 1e-4 <= there <= gap.upper_mm + 2e-3
            else:
                assert sample(np.array(gap.joint)) <= 1e-3
            half = prover.motion(start, end, 0.5 * sampled)
            if sampled > 0.1 and gap.lower_mm > 0.5 * sampled:
                assert half.status == 0
    assert inside > 0 or SCENES < 20
    assert near > inside or SCENES < 20
