"""The model and the joint tree, read back by a library that had no part in writing them."""

from __future__ import annotations

import io
import json
import math
import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

pytest.importorskip("pydantic", reason="the extra `web` is not installed")

from gudgeon.cell.files import load, load_text
from gudgeon.faces.web import scene as scene_module
from gudgeon.faces.web.scene import gap_view, model, scene_more, scene_view
from gudgeon.findings import Findings
from gudgeon.findings.view import Seen
from gudgeon.quantity.amount import Amount

DEMO = Path(__file__).parents[3] / "demo"


@pytest.fixture(scope="module", params=["alder-ford", "juniper-street"])
def findings(request: pytest.FixtureRequest) -> Findings:
    cell = load(DEMO / f"{request.param}.toml").cell
    assert cell is not None
    return Findings(cell)


def tree_of(glb: bytes) -> dict[str, Any]:
    magic, version, size = struct.unpack_from("<III", glb)
    assert (magic, version, size) == (0x46546C67, 2, len(glb))
    length, kind = struct.unpack_from("<II", glb, 12)
    assert kind == 0x4E4F534A and length % 4 == 0
    found: dict[str, Any] = json.loads(glb[20 : 20 + length])
    return found


def test_the_model_read_back_is_the_view_in_metres(findings: Findings) -> None:
    glb = model(findings)
    loaded = trimesh.load(io.BytesIO(glb), file_type="glb", process=False)
    bodies = findings.view.bodies
    nodes = {node["name"]: node for node in tree_of(glb)["nodes"]}
    for place, body in enumerate(bodies):
        node = nodes[f"body {place}"]
        assert node["extras"] == {"body": body.name, "role": body.role, "link": body.link}
        transform, geometry = loaded.graph.get(f"body {place}")
        assert np.array_equal(transform, np.eye(4))
        mesh = loaded.geometry[geometry]
        assert np.allclose(mesh.triangles, body.triangles_mm / 1000.0, atol=2e-7)


def test_the_scene_names_what_the_model_holds(findings: Findings) -> None:
    view = scene_view(findings, "0" * 64)
    names = {node["name"] for node in tree_of(model(findings))["nodes"]}
    assert {body.mesh for body in view.bodies} == names
    links = {link.name for link in view.tree}
    assert {body.node for body in view.bodies} | {line.node for line in view.lines} <= links
    assert [slider.moves for slider in view.sliders] == ["x", "y", "z", "tilt", "turn"]
    assert view.triangles == view.triangles_full and view.deviation_mm == 0.0


def test_what_takes_proofs_comes_afterwards_and_is_what_is_found(findings: Findings) -> None:
    more = scene_more(findings, "0" * 64)
    assert more.digest == scene_view(findings, "0" * 64).digest
    assert more.safe_box is not None and more.change_map is not None
    grid = more.change_map.cells
    assert (len(grid), len(grid[0])) == (
        len(more.change_map.tilt) - 1,
        len(more.change_map.turn) - 1,
    )
    proven = findings.changing.together
    assert (sum(row.count("clear") for row in grid)) == int((proven.cells == 0).sum())
    places = findings.places.places
    assert [place.xy for place in more.placements] == [[one.x_mm, one.y_mm] for one in places]


def test_what_is_drawn_at_once_asks_for_no_proof(findings: Findings) -> None:
    fresh = Findings(findings.cell)
    scene_view(fresh, "0" * 64)
    model(fresh)
    held = vars(fresh)
    assert held.keys().isdisjoint({"safe_limits", "changing", "places", "changes", "spreads"})
    scene_more(fresh, "0" * 64)
    assert {"safe_limits", "changing", "places"} <= held.keys()


def test_a_model_with_too_many_triangles_is_reduced_and_says_by_how_much(
    findings: Findings, monkeypatch: pytest.MonkeyPatch
) -> None:
    ball = trimesh.creation.icosphere(subdivisions=6, radius=80.0)
    many = Seen("casting", "fixture", "rotary", np.asarray(ball.triangles))
    view = replace(findings.view, bodies=(*findings.view.bodies, many))
    crowded = Findings(findings.cell)
    monkeypatch.setitem(crowded.__dict__, "view", view)
    told = scene_view(crowded, "0" * 64)
    assert told.triangles <= scene_module.TRIANGLES_MOST < told.triangles_full
    assert 0.0 < told.deviation_mm < 5.0
    few = trimesh.load(io.BytesIO(model(crowded)), file_type="glb", process=False)
    everything = trimesh.load(io.BytesIO(model(crowded, full=True)), file_type="glb", process=False)
    both = {"few": few, "all": everything}
    count = {
        name: sum(len(mesh.faces) for mesh in loaded.geometry.values())
        for name, loaded in both.items()
    }
    assert count == {"few": told.triangles, "all": told.triangles_full}


def test_the_gap_is_told_with_its_pair_or_in_words(findings: Findings) -> None:
    view = findings.view
    got = gap_view(findings, view.start, view.tools[0].number)
    assert got.gap_mm is not None and got.proven and len(got.pair) == 2 and len(got.points) == 2
    distance = np.linalg.norm(np.subtract(*got.points))
    assert got.gap_mm <= distance + 1e-9  # the lines' uncertainty is taken off
    unknown = gap_view(findings, view.start, 987)
    assert unknown.gap_mm is None and "987" in unknown.words


def gap_mm(
    findings: Findings,
    pose: tuple[float, ...],
    tool: int | None,
    stand: tuple[float, float, float] | None = None,
) -> float:
    seen = findings.gap_at(pose, tool, stand)
    assert seen is not None
    return seen.gap_mm


def test_the_gap_of_a_place_is_that_of_a_cell_whose_unit_stands_there(findings: Findings) -> None:
    # Entries alone: touches were taken where it stands, and would hold the lines there.
    entered = Findings(findings.placed_cell)
    start, tool = entered.view.start, entered.view.tools[0].number
    x, y = (float(value) for value in entered.unit_frame.origin[:2])
    yaw = entered.declared_yaw_rad

    def over(down: float, dx: float = 0.0, dy: float = 0.0) -> tuple[float, ...]:
        return (x + dx, y + dy, start[2] - down, 0.4, 1.1)

    touches = next(down for down in range(60, 400, 3) if gap_mm(entered, over(down), tool) <= 0.0)
    poses = [(*start[:3], 0.9, -2.0), over(touches - 2.0), over(touches), over(touches + 20.0)]
    found = set()
    for stand in ((x, y, yaw), (x + 6.0, y - 45.0, yaw)):
        placement = replace(
            entered.cell.placement, centre_x=Amount(stand[0]), centre_y=Amount(stand[1])
        )
        other = Findings(replace(entered.cell, placement=placement))
        for pose in poses:
            there, told = other.gap_at(pose, tool), entered.gap_at(pose, tool, stand)
            assert there is not None and told is not None
            assert told.gap_mm == pytest.approx(there.gap_mm, abs=2e-3)
            assert (told.proven, told.pair) == (there.proven, there.pair)
            found.add(round(told.gap_mm, 3))
    assert len(found) > 2
    # Turned with the unit about its origin, the spindle sees the same.
    for turn in (math.pi / 2, math.pi, -1.0):
        for dx, dy in ((18.0, -7.0), (-25.0, 12.0)):
            cosine, sine = math.cos(turn), math.sin(turn)
            turned = over(touches - 2.0, dx * cosine - dy * sine, dx * sine + dy * cosine)
            told_mm = gap_mm(entered, turned, tool, (x, y, yaw + turn))
            plain = gap_mm(entered, over(touches - 2.0, dx, dy), tool)
            assert told_mm == pytest.approx(plain, abs=2e-3)


def test_a_cell_hardly_begun_has_a_scene_too() -> None:
    cell = load_text('[shop]\nname = "A"\n').cell
    assert cell is not None
    begun = Findings(cell)
    view = scene_view(begun, "0" * 64)
    more = scene_more(begun, "0" * 64)
    assert view.notes and more.safe_box is None and more.change_map is None
    assert more.placements == []
    assert tree_of(model(begun))["asset"]["version"] == "2.0"
    assert gap_view(begun, (0.0,) * 5, None).words
