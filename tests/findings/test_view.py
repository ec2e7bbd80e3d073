"""What a scene shows stands where the engine has it, and its gap is the engine's."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from gudgeon.cell.files import load, load_text
from gudgeon.cell.model import Cell
from gudgeon.clearance.pieces import box, cone, hull
from gudgeon.clearance.prove import Prover
from gudgeon.clearance.scene import Body, Carrier, Role
from gudgeon.findings import Findings
from gudgeon.findings.surfaces import body_triangles, reduced
from gudgeon.findings.view import MOVES, CellView
from gudgeon.kinematics.bodies import Body as Link
from gudgeon.kinematics.bodies import MachineTree

Floats = NDArray[np.float64]
DEMO = Path(__file__).parents[2] / "demo"


def cell_of(name: str) -> Cell:
    cell = load(DEMO / f"{name}.toml").cell
    assert cell is not None
    return cell


@pytest.fixture(scope="module", params=["alder-ford", "juniper-street"])
def findings(request: pytest.FixtureRequest) -> Findings:
    return Findings(cell_of(request.param))


def placed(view: CellView, link: str, points: Floats, pose: tuple[float, ...]) -> Floats:
    """Pose points of a link as a page does it: from the joints alone."""
    by_name = {joint.name: joint for joint in view.joints}
    at: str | None = link
    while at is not None:
        joint = by_name[at]
        if joint.moves_with is not None:
            value = pose[MOVES.index(joint.moves_with)] * joint.sense
            axis, origin = np.asarray(joint.axis), np.asarray(joint.origin_mm)
            if joint.moves_with in ("tilt", "turn"):
                points = origin + Rotation.from_rotvec(axis * value).apply(points - origin)
            else:
                points = points + axis * value
        at = joint.parent
    return points


@pytest.mark.parametrize("layout", ["moving table", "moving column", "bridge"])
def test_joints_pose_every_link_as_the_machine_does(findings: Findings, layout: str) -> None:
    machine = replace(findings.cell.machine, layout=layout)
    own = Findings(replace(findings.cell, machine=machine))
    view, tree = own.view, MachineTree(layout, own.axis_lines.chain)
    chance = np.random.default_rng(3)
    for _ in range(25):
        pose = (*chance.uniform(-300, 300, 3), *chance.uniform(-3, 3, 2))
        points = chance.uniform(-200, 200, (4, 3))
        for link in Link:
            wanted = tree.on_the_floor(link, points, pose[:3], pose[3:])
            got = placed(view, link.value, points, pose)
            assert np.allclose(got, wanted, atol=1e-9)


def test_every_body_of_the_proofs_is_shown_or_told(findings: Findings) -> None:
    view = findings.view
    shown = {body.name for body in view.bodies}
    told = " ".join(view.notes)
    for body in findings.scene.scene.bodies:
        assert body.name in shown or body.name in told
    assert {tool.number for tool in view.tools} == {t.number for t in findings.cell.tools}
    for tool in view.tools:
        lowest = min(
            float(body.triangles_mm[..., 2].min()) for body in view.bodies if body.link == tool.link
        )
        assert lowest == pytest.approx(-tool.length_mm, abs=1e-9)
    assert all(np.isfinite(body.triangles_mm).all() for body in view.bodies)
    links = {joint.name for joint in view.joints}
    assert {body.link for body in view.bodies} <= links
    assert [slide.moves for slide in view.slides] == list(MOVES)


def test_the_gap_is_that_of_the_engine_and_never_told_larger(findings: Findings) -> None:
    view, chance = findings.view, np.random.default_rng(5)
    scene = findings.scene.scene
    unit = {b.name for b in scene.bodies if b.role is Role.UNIT}
    apart = scene.apart | {frozenset((a, b)) for a in unit for b in unit if a != b}
    bodies = tuple(b for b in scene.bodies if b.role is not Role.HOSE)
    solid = replace(scene, bodies=bodies, apart=apart)
    touching = 0
    for _ in range(40):
        pose = tuple(float(chance.uniform(slide.low, slide.high)) for slide in view.slides)
        tool = view.tools[int(chance.integers(len(view.tools)))].number
        seen = findings.gap_at(pose, tool)
        assert seen is not None and tool is not None
        exact = Prover(solid, findings.tool_bodies(tool)).motion(pose, pose, math.inf, exact=True)
        assert seen.gap_mm <= exact.upper_mm + 1e-9
        assert seen.proven == (exact.lower_mm > 0.0)
        if seen.proven:
            assert seen.gap_mm == pytest.approx(exact.upper_mm, abs=2e-3)
        else:
            touching += 1
            assert seen.gap_mm <= 0.0
    assert 0 < touching < 40


def test_a_cell_that_is_hardly_begun_shows_what_it_has_and_tells_the_rest() -> None:
    cell = load_text('[machine]\ntravel_x = ["0 mm", "500 mm"]\n').cell
    assert cell is not None
    view = Findings(cell).view
    assert view.notes and "missing" in view.notes[0]
    assert [slide.moves for slide in view.slides][:1] == ["x"]
    assert view.joints[0].name == "base"


def test_tubes_are_as_wide_as_the_lines_are_unsure(findings: Findings) -> None:
    lines = findings.axis_lines
    chance = np.random.default_rng(7)
    draws = chance.multivariate_normal(lines.values, lines.covariance, size=4000)
    for tube in findings.view.tubes:
        point, off, tilt = np.asarray(tube.point_mm), [], []
        for values in draws:
            chain = lines.chain_of(values)
            line = next(axis.line for axis in chain.axes if axis.role == tube.name)
            direction = np.asarray(line.direction) / np.linalg.norm(line.direction)
            arm = point - np.asarray(line.point_mm)
            off.append(arm - direction * (arm @ direction))
            tilt.append(direction)
        across = np.cov(np.array(off).T)
        angle = np.cov(np.array(tilt).T)
        k = lines.k95
        assert tube.u_mm == pytest.approx(k * math.sqrt(np.linalg.eigvalsh(across)[-1]), rel=0.05)
        assert tube.u_rad == pytest.approx(
            k * math.sqrt(np.linalg.eigvalsh(angle)[-1]), rel=0.05, abs=1e-12
        )
        assert tube.u_mm * tube.magnified <= 6.0 + 1e-9


def volume(triangles: Floats) -> float:
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def body(*solids: object) -> Body:
    return Body("b", Carrier.TABLE, Role.UNIT, tuple(solids))  # type: ignore[arg-type]


def test_surfaces_are_closed_and_face_outwards() -> None:
    assert volume(body_triangles(body(box((0, 2), (0, 3), (0, 4))))) == pytest.approx(24.0)
    bar = volume(body_triangles(body(cone((0, 0, -5), (0, 0, 0), 3.0, 3.0))))
    assert bar == pytest.approx(math.pi * 9 * 5, rel=0.006)
    tip = volume(body_triangles(body(cone((1, 0, 0), (1, 6, 0), 0.0, 2.0))))
    assert tip == pytest.approx(math.pi * 4 * 6 / 3, rel=0.006)
    chance = np.random.default_rng(2)
    cloud = chance.normal(size=(40, 3))
    assert volume(body_triangles(body(hull(cloud)))) == pytest.approx(ConvexHull(cloud).volume)
    assert len(body_triangles(body(hull([[0, 0, 0], [1, 0, 0]])))) == 0
    flat = body_triangles(body(hull([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])))
    assert len(flat) == 4 and volume(flat) == pytest.approx(0.0)


def test_fewer_triangles_stay_near_the_surface() -> None:
    t, p = np.meshgrid(np.linspace(0, 2 * math.pi, 121), np.linspace(0, math.pi, 61))
    at = np.stack([np.sin(p) * np.cos(t), np.sin(p) * np.sin(t), np.cos(p)], axis=-1)
    a, b, c, d = at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]
    ball = 50.0 * np.concatenate(
        [np.stack([a, b, c], 2).reshape(-1, 3, 3), np.stack([a, c, d], 2).reshape(-1, 3, 3)]
    )
    few, moved = reduced(ball, 3000)
    assert len(few) <= 3000 < len(ball)
    assert moved < 6.0  # a ball of 50 mm in 3,000 triangles has sides of 5 mm
    assert abs(np.linalg.norm(few.reshape(-1, 3), axis=1) - 50.0).max() <= moved + 1e-9
    assert abs(volume(few)) == pytest.approx(abs(volume(ball)), rel=0.06)
    same, none = reduced(ball[:10], 3000)
    assert none == 0.0 and np.array_equal(same, ball[:10])


def test_places_take_the_unit_to_where_they_say(findings: Findings) -> None:
    origin, yaw = findings.unit_frame.origin, findings.declared_yaw_rad
    stands = findings.stands_seen
    assert stands and stands[0].works
    for stand, place in zip(stands, findings.places.places, strict=False):
        at = stand.matrix @ [*origin, 1.0]
        assert np.allclose(at[:2], [place.x_mm, place.y_mm]) and at[2] == origin[2]
        along = stand.matrix[:3, :3] @ [math.cos(yaw), math.sin(yaw), 0.0]
        assert np.allclose(along[:2], [math.cos(place.yaw_rad), math.sin(place.yaw_rad)])
        assert stand.works == place.works and stand.words
    unit = {body.name for body in findings.view.bodies if body.link == "unit"}
    assert unit and not unit & {b.name for b in findings.view.bodies if b.role == "table"}
