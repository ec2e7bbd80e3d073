"""Bodies from models: where they stand, units, which way is up, what is open or inside out."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from gudgeon.cell.files import load
from gudgeon.clearance.prove import Prover, Status
from gudgeon.clearance.scene import Carrier, Role
from gudgeon.findings import Findings
from gudgeon.findings.bodies import bounds_of
from tests.findings.test_scene import BASE, TOOL, findings, named

MODEL = """
[[models]]
name = "clamp"
file = "clamp.stl"
unit = "{unit}"
measured_from = "platter face"
at = ["10 mm", "20 mm", "5 mm"]
turn = "90 deg"
"""


def with_model(
    folder: Path,
    mesh: trimesh.Trimesh,
    unit: str = "mm",
    name: str = "",
    more: tuple[str, str] = ("", ""),
) -> Findings:
    file = name or "clamp.stl"
    data = mesh.export(file_type=file.rpartition(".")[2])
    (folder / file).write_bytes(data.encode() if isinstance(data, str) else data)
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1) + MODEL.format(unit=unit)
    text = text.replace('unit = ""\n', "").replace(*more)
    (folder / "cell.toml").write_text(text.replace("clamp.stl", file))
    cell = load(folder / "cell.toml").cell
    assert cell is not None
    return Findings(cell)


def lying() -> trimesh.Trimesh:
    mesh = trimesh.creation.box((60.0, 40.0, 20.0))
    mesh.apply_translation((30.0, 20.0, 10.0))
    return mesh


WHERE = [[-430.0, -180.0, -365.0], [-390.0, -120.0, -345.0]]
"""Turned by 90 deg x goes to y and y to -x, then moved to 10, 20, 5 over the face at -370."""


@pytest.mark.parametrize("name", ["clamp.stl", "clamp.obj", "clamp.3mf"])
def test_models_stand_where_they_are_put(tmp_path: Path, name: str) -> None:
    body = named(with_model(tmp_path, lying(), name=name).scene.scene.bodies, "clamp")
    assert (body.carrier, body.role, body.closed) == (Carrier.ROTARY, Role.FIXTURE, True)
    np.testing.assert_allclose(bounds_of(body), WHERE, atol=1e-4)


def lying_down_in_metres() -> trimesh.Trimesh:
    """Return what a CAD program writes for it: +Y up (Khronos glTF 2.0), metres."""
    mesh = lying()
    mesh.vertices = mesh.vertices[:, [0, 2, 1]] * [1e-3, 1e-3, -1e-3]
    return mesh


@pytest.mark.parametrize("unit", ["m", ""])
def test_a_glb_is_in_metres_with_y_up(tmp_path: Path, unit: str) -> None:
    made = with_model(tmp_path, lying_down_in_metres(), unit, name="clamp.glb")
    body = named(made.scene.scene.bodies, "clamp")
    np.testing.assert_allclose(bounds_of(body), WHERE, atol=1e-3)
    assert signed(body.solids[0][1]) == pytest.approx(60.0 * 40.0 * 20.0, rel=1e-4)
    assert not any("inwards" in told for told in made.scene.assumed)


def test_the_axis_that_points_up_can_be_entered(tmp_path: Path) -> None:
    up = 'turn = "90 deg"\nup = "Z"'
    made = with_model(tmp_path, lying(), name="clamp.glb", more=('turn = "90 deg"', up))
    np.testing.assert_allclose(bounds_of(named(made.scene.scene.bodies, "clamp")), WHERE, atol=1e-3)
    mesh = lying_down_in_metres()
    mesh.apply_scale(1000.0)
    made = with_model(tmp_path, mesh, more=('turn = "90 deg"', up.replace("Z", "Y")))
    np.testing.assert_allclose(bounds_of(named(made.scene.scene.bodies, "clamp")), WHERE, atol=1e-3)


@pytest.mark.parametrize(
    ("unit", "size"), [("inch", 25.4), ("millimeter", 1.0), ("meter", 1000.0), ("micron", 1e-3)]
)
def test_a_3mf_says_its_unit(tmp_path: Path, unit: str, size: float) -> None:
    mesh = lying()
    mesh.apply_scale(1.0 / size)
    data = mesh.export(file_type="3mf")
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        files = {name: packed.read(name) for name in packed.namelist()}
    with zipfile.ZipFile(tmp_path / "clamp.3mf", "w") as packed:
        for name, content in files.items():
            packed.writestr(name, content.replace(b'unit="millimeter"', f'unit="{unit}"'.encode()))
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1) + MODEL
    text = text.replace("clamp.stl", "clamp.3mf").replace('unit = "{unit}"\n', "")
    (tmp_path / "cell.toml").write_text(text)
    cell = load(tmp_path / "cell.toml").cell
    assert cell is not None
    body = named(Findings(cell).scene.scene.bodies, "clamp")
    np.testing.assert_allclose(bounds_of(body), WHERE, atol=2e-3)


@pytest.mark.parametrize("mm", [300.0, 60.0])
def test_a_model_in_inches_read_as_millimetres_is_doubted(tmp_path: Path, mm: float) -> None:
    (tmp_path / "clamp.stl").write_bytes(
        trimesh.creation.box((mm / 25.4, 1.0, 1.0)).export(file_type="stl")
    )
    text = BASE.format(place='tilt_along = "X"', tilt=1, rotary=1) + MODEL.format(unit="mm")
    (tmp_path / "cell.toml").write_text(text)
    (fault,) = [one for one in load(tmp_path / "cell.toml").faults if one.code == "C068"]
    assert 'unit = "' in fault.do or "known length" in fault.do


def test_models_in_inches_are_as_large(tmp_path: Path) -> None:
    mesh = lying()
    mesh.apply_scale(1.0 / 25.4)
    body = named(with_model(tmp_path, mesh, "in").scene.scene.bodies, "clamp")
    np.testing.assert_allclose(bounds_of(body), WHERE, atol=1e-4)


def test_an_open_surface_counts_as_its_hull(tmp_path: Path) -> None:
    mesh = lying()
    mesh.update_faces(np.arange(len(mesh.faces)) != 3)
    made = with_model(tmp_path, mesh)
    body = named(made.scene.scene.bodies, "clamp")
    assert len(body.solids) == 1
    assert body.solids[0][0]["count"][0] == 8
    np.testing.assert_allclose(bounds_of(body), WHERE, atol=1e-4)
    assert any("not closed" in told for told in made.scene.assumed)


def signed(points: Any) -> float:
    corners = points.reshape(-1, 3, 3)
    return float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))) / 6.0


@pytest.mark.parametrize("how", ["all", "one", "one of two bodies"])
def test_what_is_inside_out_is_turned(tmp_path: Path, how: str) -> None:
    mesh = lying()
    if how == "all":
        mesh.faces = mesh.faces[:, ::-1]
    elif how == "one":
        faces = mesh.faces.copy()
        faces[5] = faces[5, ::-1]
        mesh = trimesh.Trimesh(mesh.vertices, faces, process=False)
    else:
        other = mesh.copy()
        other.apply_translation((200.0, 0.0, 0.0))
        other.faces = other.faces[:, ::-1]
        mesh = trimesh.util.concatenate([mesh, other])
    made = with_model(tmp_path, mesh)
    assert any("inwards" in told for told in made.scene.assumed)
    body = named(made.scene.scene.bodies, "clamp")
    assert len(body.solids) == (2 if how == "one of two bodies" else 1)
    for _, points in body.solids:
        assert signed(points) == pytest.approx(60.0 * 40.0 * 20.0, rel=1e-5)


def test_a_tool_buried_in_a_model_is_seen(tmp_path: Path) -> None:
    """A distance of surfaces alone would say 8 mm here."""
    mesh = trimesh.creation.box((200.0, 200.0, 400.0))
    mesh.apply_translation((0.0, 0.0, 200.0))
    mesh.faces = mesh.faces[:, ::-1]
    made = with_model(tmp_path, mesh)
    text = TOOL.replace("120 mm +- 0.2 mm", "120 mm")
    cutter, *_ = findings(text).tool_bodies(7)
    at = [-400.0, -200.0, -100.0, 0.0, 0.0]
    prover = Prover(made.scene.scene, [cutter])
    assert prover.motion(at, at, 0.5).status is not Status.PROVEN


def test_degenerate_triangles_do_no_harm(tmp_path: Path) -> None:
    mesh = lying()
    faces = np.vstack([mesh.faces, [[0, 0, 1], [2, 2, 2]]])
    mesh = trimesh.Trimesh(mesh.vertices, faces, process=False)
    body = named(with_model(tmp_path, mesh).scene.scene.bodies, "clamp")
    assert body.closed
    np.testing.assert_allclose(bounds_of(body), WHERE, atol=1e-4)


def test_a_part_model_stands_at_every_station_that_holds_the_part(tmp_path: Path) -> None:
    (tmp_path / "part.stl").write_bytes(lying().export(file_type="stl"))
    text = (
        BASE.format(place='tilt_along = "X"', tilt=1, rotary=1)
        + """
[[stations]]
name = "front"
part = "bracket"
at = ["0 mm", "-80 mm", "50 mm"]
[[stations]]
name = "back"
part = "bracket"
at = ["0 mm", "80 mm", "50 mm"]
turn = "180 deg"
[[stations]]
name = "side"
part = "lid"
at = ["80 mm", "0 mm", "50 mm"]
[[parts]]
name = "bracket"
[[parts]]
name = "lid"
[[models]]
name = "bracket"
file = "part.stl"
unit = "mm"
counts_as = "part"
measured_from = "part"
part = "bracket"
"""
    )
    (tmp_path / "cell.toml").write_text(text)
    cell = load(tmp_path / "cell.toml").cell
    assert cell is not None
    bodies = [body for body in Findings(cell).scene.scene.bodies if body.role is Role.PART]
    assert [(body.name, body.station) for body in bodies] == [
        ("bracket at front", "front"),
        ("bracket at back", "back"),
    ]
    np.testing.assert_allclose(
        bounds_of(bodies[0]), [[-400, -280, -320], [-340, -240, -300]], atol=1e-4
    )
    np.testing.assert_allclose(
        bounds_of(bodies[1]), [[-460, -160, -320], [-400, -120, -300]], atol=1e-4
    )
