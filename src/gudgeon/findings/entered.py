"""Bodies that a cell enters one by one: solids and models."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Cell, Mesh, Model, Solid, Station
from gudgeon.findings.bodies import (
    Crowd,
    block,
    grown,
    most,
    prism,
    round_bar,
)
from gudgeon.findings.faces import about_z
from gudgeon.findings.frames import Frame
from gudgeon.findings.gather import Gather
from gudgeon.findings.outlines import convex_parts
from gudgeon.quantity.amount import Amount

if TYPE_CHECKING:
    from gudgeon.clearance.pieces import Solid as Pieces
    from gudgeon.clearance.scene import Body, Carrier

__all__ = [
    "carried_by",
    "fixture_entered",
    "model_bodies",
    "solid_bodies",
    "unit_entered",
]

Floats = NDArray[np.float64]

_DEFAULT_CARRIER: Final = {
    "platter face": "platter",
    "fixture": "platter",
    "part": "platter",
    "gauge point": "head",
}
_WHY: Final = "what is entered by halves cannot be judged"


def carried_by(entered: Solid | Model) -> str | None:
    """Return what carries an entered body, by its own entry or by what it is measured from."""
    return entered.carried_by or _DEFAULT_CARRIER.get(entered.measured_from or "")


def unit_entered(cell: Cell) -> bool:
    """Tell whether the unit's standing body is what is entered, and not its outline."""
    return cell.unit.touching == "bodies"


def fixture_entered(cell: Cell) -> bool:
    """Tell whether fixture and parts are what is entered, and not an outline.

    So it is where the cell says so, and where solids or models are all that there is.
    """
    fixture = cell.fixture
    if fixture.touching is not None:
        return fixture.touching == "bodies"
    if fixture.height is not None and (fixture.half_width or fixture.radius):
        return False
    entered: tuple[Solid | Model, ...] = (*cell.solids, *cell.models)
    return any(carried_by(one) == "platter" for one in entered)


def solid_bodies(
    cell: Cell, frames: dict[str, Frame], gather: Gather, standing_mm: float, has_tilt: bool
) -> list[Body]:
    """Return the bodies of [[solids]].

    Parameters
    ----------
    cell : Cell
    frames : dict
        By the words of ``measured_from``, but for "part".
    gather : Gather
        Gets what is missing; a body that lacks something is not returned.
    standing_mm : float
        How far the unit may stand from where it is told, k = 2 [mm].
    has_tilt : bool
        The unit has a cradle.
    """
    found: list[Body] = []
    for number, solid in enumerate(cell.solids, start=1):
        key, name = f"solids[{number}]", solid.name or f"solid {number}"
        before = len(gather.missing)
        places = _places(cell, solid, key, name, frames, gather)
        shape = _shape_of(solid, key, name, gather)
        if len(gather.missing) > before or shape is None:
            continue
        for frame, station in places:
            body = _body(solid, name, station, has_tilt)
            rounding = _standing(solid, standing_mm)
            pieces = tuple(_pieces(solid, shape, frame, rounding))
            found.append(replace(body, solids=pieces))
    return found


def model_bodies(
    cell: Cell, frames: dict[str, Frame], gather: Gather, standing_mm: float, has_tilt: bool
) -> list[Body]:
    """Return the bodies of [[models]]; what is not closed counts as its convex hull."""
    from gudgeon.clearance.pieces import hull, triangles

    meshes = {mesh.number: mesh for mesh in cell.meshes}
    found: list[Body] = []
    for number, model in enumerate(cell.models, start=1):
        key, name = f"models[{number}]", model.name or model.file or f"model {number}"
        before = len(gather.missing)
        places = _places(cell, model, key, name, frames, gather)
        mesh = gather.need(
            meshes.get(number - 1),
            f"{key}.file",
            f"surface of {name}",
            why=_WHY,
            how="export it from the CAD program as STL and name the file",
        )
        if len(gather.missing) > before:
            continue
        turn = about_z(model.turn.value if model.turn else 0.0)
        at = np.array([item.value for item in model.at]) if model.at else np.zeros(3)
        unsure = _standing(model, standing_mm) + _unsure(model, mesh)
        for frame, station in places:
            own = frame.within(at, turn)
            body = _body(model, name, station, has_tilt)
            if mesh.parts:
                surfaces = []
                for part in mesh.parts:
                    pieces, points = triangles(own.points(part.reshape(-1, 3)))
                    pieces["round"] = unsure
                    surfaces.append((pieces, points))
                found.append(replace(body, solids=tuple(surfaces)))
            if len(mesh.open_points):
                whole = hull(own.points(mesh.open_points), 0, unsure)
                hulled = f"{body.name} (hull)" if mesh.parts else body.name
                found.append(replace(body, name=hulled, solids=(whole,)))
    return found


# --- where a body stands ------------------------------------------------------------------------


def _places(
    cell: Cell,
    entered: Solid | Model,
    key: str,
    name: str,
    frames: dict[str, Frame],
    gather: Gather,
) -> list[tuple[Frame, str]]:
    """Return the frames in which a body stands, and the station in each."""
    origin = gather.need(
        entered.measured_from,
        f"{key}.measured_from",
        f"from where {name} is measured",
        why=_WHY,
        how='write measured_from = "machine", "tilt axis", "platter face", "fixture", "part" or '
        '"gauge point"',
    )
    gather.need(
        carried_by(entered) if origin is not None else "",
        f"{key}.carried_by",
        f"what carries {name}",
        why=_WHY,
        how='write carried_by = "table", "cradle", "platter", "head" or "machine"',
    )
    if origin is None:
        return []
    if origin != "part":
        return [(frames[origin], entered.station or "")]
    held = [
        (number, station)
        for number, station in enumerate(cell.stations, start=1)
        if _holds(cell, station, entered)
    ]
    gather.need(
        tuple(held),
        f"{key}.part",
        f"stations that hold {name}",
        why=_WHY,
        how='name the part with part = "..." or the station with station = "..."',
    )
    found = []
    for number, station in held:
        at = gather.need(
            station.at,
            f"stations[{number}].at",
            f"place of station {station.name or number}",
            why="the part stands there",
            how="take x, y, z of the part origin from the fixture's drawing",
        )
        if at is not None:
            turn = about_z(station.turn.value if station.turn else 0.0)
            place = frames["fixture"].within([item.value for item in at], turn)
            found.append((place, station.name or str(number)))
    return found


def _holds(cell: Cell, station: Station, entered: Solid | Model) -> bool:
    if entered.station is not None and station.name != entered.station:
        return False
    part = station.part or (cell.parts[0].name if len(cell.parts) == 1 else None)
    return entered.part is None or entered.part == part


def _body(entered: Solid | Model, name: str, station: str, has_tilt: bool) -> Body:
    from gudgeon.clearance.scene import Body, Role

    full = f"{name} at {station}" if entered.measured_from == "part" and station else name
    role = Role(entered.counts_as or "fixture")
    return Body(full, _carrier(carried_by(entered), has_tilt), role, (), True, station)


def _carrier(word: str | None, has_tilt: bool) -> Carrier:
    from gudgeon.clearance.scene import Carrier

    return {
        "table": Carrier.TABLE,
        "cradle": Carrier.TILT if has_tilt else Carrier.ROTARY,
        "platter": Carrier.ROTARY,
        "head": Carrier.HEAD,
        "machine": Carrier.BASE,
    }[word or "table"]


def _standing(entered: Solid | Model, standing_mm: float) -> float:
    """Return by how much a body on the table grows that is measured from the unit."""
    of_unit = entered.measured_from in ("tilt axis", "platter face", "fixture", "part")
    return standing_mm if of_unit and carried_by(entered) == "table" else 0.0


def _unsure(model: Model, mesh: Mesh) -> float:
    """Return how far a model may be off by what its place does not say for sure [mm]."""
    off = math.hypot(*(item.plus_minus or 0.0 for item in model.at)) if model.at else 0.0
    if model.turn is not None and model.turn.plus_minus:
        reach = max(
            float(np.max(np.hypot(points[..., 0], points[..., 1])))
            for points in (*mesh.parts, mesh.open_points)
            if points.size
        )
        off += reach * model.turn.plus_minus
    return off


# --- shapes -------------------------------------------------------------------------------------


def _shape_of(solid: Solid, key: str, name: str, gather: Gather) -> str | None:
    shape = solid.shape
    if shape is None:
        if solid.x and solid.y and solid.z:
            shape = "box"
        elif solid.start and solid.end:
            shape = "cone" if solid.end_diameter else "cylinder"
        elif solid.outline_x:
            shape = "prism"
    gather.need(
        shape,
        f"{key}.shape",
        f"shape of {name}",
        why=_WHY,
        how='write shape = "box", "cylinder", "cone" or "prism"',
    )
    wanted = {
        "box": ("x", "y", "z"),
        "cylinder": ("start", "end", "diameter"),
        "cone": ("start", "end", "diameter", "end_diameter"),
        "prism": ("outline_x", "outline_y", "z"),
        None: (),
    }[shape]
    for entry in wanted:
        gather.need(
            getattr(solid, entry),
            f"{key}.{entry}",
            f"{entry} of {name}",
            why=_WHY,
            how=f"enter {entry}: a {shape} needs it",
        )
    if shape == "prism" and solid.outline_x and solid.outline_y:
        even = len(solid.outline_x) == len(solid.outline_y) >= 3
        gather.need(
            "even" if even else None,
            f"{key}.outline_y",
            f"an outline of {name} with three corners or more",
            why=_WHY,
            how="give x and y of each corner in the same order, going round",
        )
    if solid.start and solid.end and shape in ("cylinder", "cone"):
        apart = any(a.value != b.value for a, b in zip(solid.start, solid.end, strict=True))
        gather.need(
            "apart" if apart else None,
            f"{key}.end",
            f"an end of {name} away from its start",
            why=_WHY,
            how="give the middles of both ends",
        )
    return shape


def _pieces(solid: Solid, shape: str, frame: Frame, rounding: float) -> list[Pieces]:
    if shape == "box":
        assert solid.x and solid.y and solid.z
        return [block(frame, grown(solid.x), grown(solid.y), grown(solid.z), rounding)]
    if shape == "prism":
        assert solid.z
        corners = (*solid.outline_x, *solid.outline_y)
        unsure = math.sqrt(2.0) * max(item.plus_minus or 0.0 for item in corners)
        plan = [(x.value, y.value) for x, y in zip(solid.outline_x, solid.outline_y, strict=True)]
        bottom, top = grown(solid.z)
        return [prism(frame, part, bottom, top, rounding + unsure) for part in convex_parts(plan)]
    assert solid.start and solid.end and solid.diameter
    ends: list[Amount] = [*solid.start, *solid.end]
    unsure = math.sqrt(3.0) * max(item.plus_minus or 0.0 for item in ends)
    low, high = ([item.value for item in end] for end in (solid.start, solid.end))
    radius = most(solid.diameter) / 2.0
    other = most(solid.end_diameter) / 2.0 if shape == "cone" and solid.end_diameter else radius
    return [round_bar(frame, low, high, radius, other, rounding + unsure)]


def told_of(crowd: Crowd, cell: Cell) -> None:
    """Tell how the entered bodies are taken."""
    for mesh in cell.meshes:
        if mesh.turned:
            model = cell.models[mesh.number]
            crowd.assumed.append(
                f"{model.name or model.file} faces inwards in its file, wholly or in part: it is "
                "taken with its material inside."
            )
        if len(mesh.open_points):
            model = cell.models[mesh.number]
            crowd.assumed.append(
                f"{model.name or model.file} is not closed: its convex hull counts as solid."
            )
