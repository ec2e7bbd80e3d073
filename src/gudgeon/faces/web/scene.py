"""The scene for the page: a binary glTF model with one node a body, and the joint tree as data.

The page poses the links itself; nothing is asked of the server for a step of a slider.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from gudgeon.faces.web.wire import (
    Body,
    ChangeMap,
    Gap,
    Line,
    Link,
    Placement,
    Range,
    SafeBox,
    SceneMore,
    SceneView,
    Slider,
    ToolView,
)
from gudgeon.findings.gather import Lacking
from gudgeon.findings.view import TRIANGLES_MOST

if TYPE_CHECKING:
    from gudgeon.findings import Findings
    from gudgeon.findings.view import Seen

__all__ = ["TRIANGLES_MOST", "gap_view", "model", "scene_more", "scene_view"]

JSON_CHUNK: Final = 0x4E4F534A  # glTF 2.0, 4.4.3
BINARY_CHUNK: Final = 0x004E4942
MAGIC: Final = 0x46546C67
FLOAT: Final = 5126
ARRAY_BUFFER: Final = 34962


def model(findings: Findings, *, full: bool = False) -> bytes:
    """Return the bodies as binary glTF: metres, Z up, a node each with its link in `extras`.

    Triangles carry no normals: a reader shows them flat, as the standard says (glTF 2.0, 3.7.2.1).

    Parameters
    ----------
    full : bool
        All triangles; else at most `TRIANGLES_MOST` of them, each body its share.
    """
    bodies, _ = _bodies(findings, full)
    return _glb(bodies)


def scene_view(findings: Findings, digest: str) -> SceneView:
    """Return what is drawn at once; what is not known is left out and told in `notes`."""
    view = findings.view
    bodies, moved = _bodies(findings, full=False)
    tree = [
        Link(
            name=joint.name,
            parent=joint.parent,
            axis=list(joint.axis) if joint.moves_with else None,
            origin=list(joint.origin_mm),
            moves_with=joint.moves_with,  # type: ignore[arg-type]
            sense=1 if joint.sense > 0 else -1,
        )
        for joint in view.joints
    ]
    return SceneView(
        digest=digest,
        tree=tree,
        lines=[
            Line(
                name=tube.name,
                node=tube.link,
                point=list(tube.point_mm),
                direction=list(tube.direction),
                u_mm=tube.u_mm,
                u_rad=tube.u_rad,
                magnified=tube.magnified,
            )
            for tube in view.tubes
        ],
        bodies=[
            Body(name=body.name, role=body.role, node=body.link, mesh=f"body {place}")
            for place, body in enumerate(bodies)
        ],
        sliders=[
            Slider(
                moves=slide.moves,  # type: ignore[arg-type]
                letter=slide.letter,
                low=slide.low,
                high=slide.high,
                unit="mm" if slide.moves in "xyz" else "rad",
                endless=slide.endless,
            )
            for slide in view.slides
        ],
        start=list(view.start),
        tools=[
            ToolView(number=tool.number, name=tool.name, length_mm=tool.length_mm, node=tool.link)
            for tool in view.tools
        ],
        notes=list(view.notes),
        triangles=sum(len(body.triangles_mm) for body in bodies),
        triangles_full=sum(len(body.triangles_mm) for body in view.bodies),
        deviation_mm=moved,
    )


def scene_more(findings: Findings, digest: str) -> SceneMore:
    """Return what takes proofs: safe travel, poses for a tool change, places of the unit."""
    return SceneMore(
        digest=digest,
        safe_box=_safe_box(findings),
        change_map=_change_map(findings),
        placements=_placements(findings),
    )


def gap_view(
    findings: Findings,
    pose: Sequence[float],
    tool: int | None,
    stand: Sequence[float] | None = None,
) -> Gap:
    """Return the smallest gap at one pose, or in words why it cannot be told.

    `stand`: x, y [mm] and yaw [rad] where the unit shall stand, if not where it does.
    """
    try:
        asked = findings.asked_mm
        there = None if stand is None else (stand[0], stand[1], stand[2])
        seen = findings.gap_at(tuple(pose), tool, there)
    except Lacking as lacking:
        return Gap(
            gap_mm=None,
            proven=False,
            pair=[],
            points=[],
            asked_mm=findings.asked_mm,
            words=f"{lacking.missing[0].what} is missing",
        )
    if seen is None:
        return Gap(
            gap_mm=None,
            proven=False,
            pair=[],
            points=[],
            asked_mm=asked,
            words="nothing is entered that could touch",
        )
    return Gap(
        gap_mm=seen.gap_mm,
        proven=seen.proven,
        pair=list(seen.pair),
        points=[list(point) for point in seen.points_mm],
        asked_mm=asked,
    )


def _placements(findings: Findings) -> list[Placement]:
    found = []
    for number, stand in enumerate(findings.stands_seen, start=1):
        matrix = stand.matrix.copy()
        matrix[:3, 3] /= 1000.0
        found.append(
            Placement(
                name=f"place {number}",
                xy=[stand.x_mm, stand.y_mm],
                yaw=stand.yaw_rad,
                verdict="yes" if stand.works else "no",
                words=stand.words,
                matrix=[float(value) for value in matrix.reshape(-1)],
            )
        )
    return found


def _safe_box(findings: Findings) -> SafeBox | None:
    box = findings.safe_box_seen
    if box is None:
        return None
    sides: list[Range] = [[float(box.low[k]), float(box.high[k])] for k in range(3)]
    return SafeBox(x=sides[0], y=sides[1], z=sides[2])


def _change_map(findings: Findings) -> ChangeMap | None:
    found = findings.change_map_seen
    if found is None:
        return None
    from gudgeon.clearance.envelope import Cell

    words = {int(Cell.CLEAR): "clear", int(Cell.NOT_CLEAR): "forbidden"}
    return ChangeMap(
        tilt=[float(edge) for edge in found.tilts],
        turn=[float(edge) for edge in found.turns],
        cells=[[words.get(int(cell), "unknown") for cell in row] for row in found.cells],  # type: ignore[misc]
    )


def _bodies(findings: Findings, full: bool) -> tuple[Sequence[Seen], float]:
    """Return the bodies with all or fewer triangles, and how far a corner was moved [mm]."""
    return (findings.view.bodies, 0.0) if full else findings.few_triangles


def _glb(bodies: Sequence[Seen]) -> bytes:
    views: list[dict[str, Any]] = []
    accessors: list[dict[str, Any]] = []
    meshes: list[dict[str, Any]] = []
    nodes: list[dict[str, Any]] = []
    blocks: list[bytes] = []
    size = 0
    for place, body in enumerate(bodies):
        node: dict[str, Any] = {
            "name": f"body {place}",
            "extras": {"body": body.name, "role": body.role, "link": body.link},
        }
        if len(body.triangles_mm):
            corners = (body.triangles_mm.reshape(-1, 3) / 1000.0).astype("<f4")
            block = corners.tobytes()
            views.append(
                {
                    "buffer": 0,
                    "byteOffset": size,
                    "byteLength": len(block),
                    "target": ARRAY_BUFFER,
                }
            )
            accessors.append(
                {
                    "bufferView": len(views) - 1,
                    "componentType": FLOAT,
                    "count": len(corners),
                    "type": "VEC3",
                    "min": [float(value) for value in corners.min(axis=0)],
                    "max": [float(value) for value in corners.max(axis=0)],
                }
            )
            meshes.append({"primitives": [{"attributes": {"POSITION": len(accessors) - 1}}]})
            node["mesh"] = len(meshes) - 1
            blocks.append(block)
            size += len(block)
        nodes.append(node)
    tree: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": "Gudgeon"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(nodes)))}],
        "nodes": nodes,
    }
    if meshes:
        tree |= {
            "meshes": meshes,
            "accessors": accessors,
            "bufferViews": views,
            "buffers": [{"byteLength": size}],
        }
    text = json.dumps(tree, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    chunks = [struct.pack("<II", len(text), JSON_CHUNK), text]
    if size:
        chunks += [struct.pack("<II", size, BINARY_CHUNK), *blocks]
    body_bytes = b"".join(chunks)
    return struct.pack("<III", MAGIC, 2, 12 + len(body_bytes)) + body_bytes
