"""Surfaces drawn in CAD: STL, OBJ, 3MF and GLB files beside the cell file, read with trimesh.

What is not sure is taken to the safe side and told: an open surface counts as its convex hull, a
surface that is inside out is turned, a void within a closed surface counts as solid.

A GLB file is in metres with +Y up (Khronos glTF 2.0, section 3.4, coordinate system and units); its
points are turned so that z is up: x stays, y becomes z, z becomes -y.  A 3MF file names its unit
and has z up; STL and OBJ say neither, and count as z up.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model import Cell, Mesh, Model
from gudgeon.cell.places import Source

__all__ = [
    "LARGEST_MODEL",
    "TRIANGLES_MOST",
    "OpenModel",
    "model_too_large",
    "no_model",
    "read_models",
]

Floats = NDArray[np.float64]
OpenModel = Callable[[str, Place], bytes | Fault]

LARGEST_MODEL: Final = 120_000_000
"""Bytes of a model's file, also when unpacked; 500,000 triangles in STL have 25 MB."""

TRIANGLES_MOST: Final = 500_000

SMALLEST_MM: Final = 16.0
LARGEST_MM: Final = 2500.0
"""Longest side of what is bolted into a mill of this kind; beyond it the unit is doubted."""

KINDS: Final = ("stl", "obj", "3mf", "glb")
SCALES: Final = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
_IN_FILE: Final = {
    "micron": 1e-3,
    "microns": 1e-3,
    "millimeter": 1.0,
    "millimeters": 1.0,
    "centimeter": 10.0,
    "centimeters": 10.0,
    "inch": 25.4,
    "inches": 25.4,
    "foot": 304.8,
    "feet": 304.8,
    "meter": 1000.0,
    "meters": 1000.0,
}
"""Units that a file names itself, as trimesh spells them; in mm."""


@dataclass(frozen=True, slots=True)
class _Surface:
    """Connected closed parts, corners of the hull of what is open, and the unit in the file."""

    parts: tuple[Floats, ...]
    open_points: Floats
    open_parts: int
    own_mm: float | None
    turned: bool


def read_models(
    cell: Cell, source: Source, open_model: OpenModel
) -> tuple[tuple[Mesh, ...], list[Fault]]:
    """Read the file of every model of a cell.

    Parameters
    ----------
    cell : Cell
    source : Source
        For the places of faults.
    open_model : callable
        Given the name of a file and the place where it is named, returns its bytes or the fault.
    """
    meshes: list[Mesh] = []
    faults: list[Fault] = []
    known: dict[str, bytes | Fault] = {}
    surfaces: dict[str, _Surface | str] = {}
    for number, model in enumerate(cell.models):
        if model.file is None:
            continue
        at = source.value(("models", number, "file"))
        if model.file not in known:
            known[model.file] = open_model(model.file, at)
        raw = known[model.file]
        if isinstance(raw, Fault):
            faults.append(raw)
            continue
        if model.file not in surfaces:
            surfaces[model.file] = _surface(model.file, raw)
        surface = surfaces[model.file]
        if isinstance(surface, str):
            faults.append(_not_read(model.file, at, surface))
            continue
        scale = SCALES[model.unit] if model.unit else surface.own_mm
        if scale is None:
            faults.append(_no_unit(model, surface, at))
            continue
        faults += _doubts(model, surface, scale, source, number, at)
        upright = _upright(model, scale)
        meshes.append(
            Mesh(
                number=number,
                parts=tuple(part @ upright.T for part in surface.parts),
                open_points=surface.open_points @ upright.T,
                digest=hashlib.sha256(raw).hexdigest(),
                turned=surface.turned,
            )
        )
    return tuple(meshes), faults


def _upright(model: Model, scale: float) -> Floats:
    """Return the matrix that takes points of a file to mm with z up."""
    assert model.file is not None
    up = model.up or ("Y" if model.file.lower().endswith(".glb") else "Z")
    turn = (
        np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]) if up == "Y" else np.eye(3)
    )
    return np.asarray(scale * turn)


def _surface(name: str, raw: bytes) -> _Surface | str:
    """Return the surface in a file, or why there is none."""
    kind = name.rpartition(".")[2].lower()
    if kind not in KINDS:
        return "it is none of STL, OBJ, 3MF and GLB"
    if kind == "3mf" and _unpacked(raw) > LARGEST_MODEL:
        return f"it is larger than {LARGEST_MODEL // 1_000_000} MB when unpacked"
    import trimesh

    try:
        loaded: Any = trimesh.load(io.BytesIO(raw), file_type=kind, process=False)
        own = _IN_FILE.get(str(loaded.units or ""), None) if kind in ("3mf", "glb") else None
        geometry = loaded.to_mesh() if isinstance(loaded, trimesh.Scene) else loaded
        corners = np.asarray(geometry.triangles, dtype=np.float64).reshape(-1, 3, 3)
    except Exception as problem:  # a reader of hostile files may fail in any way
        return f"its contents do not read as {kind.upper()} ({type(problem).__name__})"
    if not len(corners):
        return "there is no surface in it"
    if len(corners) > TRIANGLES_MOST:
        return f"it has {len(corners):,} triangles, {TRIANGLES_MOST:,} are the most"
    if not np.all(np.isfinite(corners)):
        return "a coordinate in it is no number"
    parts, open_points, open_parts, turned = _parted(corners)
    return _Surface(parts, open_points, open_parts, own, turned)


def _unpacked(raw: bytes) -> int:
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            return sum(item.file_size for item in packed.infolist())
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        return 0  # trimesh says what is wrong with it


def _parted(corners: Floats) -> tuple[tuple[Floats, ...], Floats, int, bool]:
    """Return closed connected parts facing outwards, the hull of all others, and their number.

    Last whether any triangle had to be turned round.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    points, index = np.unique(
        # Corners of one vertex that differ by rounding are one; -0.0 is 0.0.
        _joined(corners.reshape(-1, 3)) + 0.0,
        axis=0,
        return_inverse=True,
    )
    faces = index.reshape(-1, 3)
    flat = (
        (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 0] == faces[:, 2])
    )
    links = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]]])
    graph = coo_matrix((np.ones(len(links), bool), (links[:, 0], links[:, 1])), (len(points),) * 2)
    count, label = connected_components(graph, directed=False)
    owner = label[faces[:, 0]]
    order = np.argsort(owner, kind="stable")
    bounds = np.searchsorted(owner[order], np.arange(count + 1))
    closed: list[Floats] = []
    rest: list[Floats] = []
    any_turned = False
    for low, high in pairwise(bounds.tolist()):
        mine = order[low:high]
        if not len(mine):
            continue
        whole = mine[~flat[mine]]
        turned = _inside_out(points, faces[whole])
        if turned is None:
            rest.append(corners[mine].reshape(-1, 3))
        else:
            any_turned |= bool(np.any(turned))
            outwards = np.where(turned[:, None, None], corners[whole][:, ::-1], corners[whole])
            # Degenerate triangles lie on edges of the others; they are kept as they are.
            closed.append(np.concatenate([outwards, corners[mine[flat[mine]]]]))
    hull = _hull(np.concatenate(rest)) if rest else np.zeros((0, 3))
    return tuple(closed), hull, len(rest), any_turned


def _joined(points: Floats) -> Floats:
    """Return points rounded to a millionth of the whole: single precision is not finer."""
    size = float(np.max(np.abs(points))) or 1.0
    step = 2.0 ** np.floor(np.log2(size * 2e-6))
    return np.asarray(np.round(points / step) * step)


def _inside_out(points: Floats, faces: NDArray[np.int64]) -> NDArray[np.bool_] | None:
    """Return which triangles of a closed part face inwards; ``None`` if it is not closed."""
    if len(faces) < 4:
        return None
    if not _each_edge_twice(_edges(faces)):
        return None
    turned = np.zeros(len(faces), dtype=bool)
    if not _both_ways(_edges(faces)):
        import trimesh

        mesh: Any = trimesh.Trimesh(points, faces, process=False)
        mend: Any = trimesh.repair.fix_winding
        mend(mesh)
        mended = np.asarray(mesh.faces)
        if mended.shape != faces.shape or not _both_ways(_edges(mended)):
            return None
        turned = ~np.any([np.all(np.roll(mended, k, axis=1) == faces, axis=1) for k in range(3)], 0)
        faces = mended
    arms = points[faces] - points[faces].reshape(-1, 3).mean(axis=0)
    volume = np.einsum("ij,ij->", arms[:, 0], np.cross(arms[:, 1], arms[:, 2]))
    return ~turned if volume < 0.0 else turned


def _edges(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])


def _each_edge_twice(directed: NDArray[np.int64]) -> bool:
    """Tell whether every edge belongs to two triangles (more: an even number)."""
    _, count = np.unique(np.sort(directed, axis=1), axis=0, return_counts=True)
    return bool(np.all(count % 2 == 0))


def _both_ways(directed: NDArray[np.int64]) -> bool:
    """Tell whether every edge is gone along as often as against: all sides face one way."""
    ends, number = np.unique(np.sort(directed, axis=1), axis=0, return_inverse=True)
    way = np.where(directed[:, 0] < directed[:, 1], 1, -1)
    return not np.any(np.bincount(number.reshape(-1), weights=way, minlength=len(ends)))


def _hull(points: Floats) -> Floats:
    """Return the corners of the convex hull; of a flat one those of its upright box."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except (QhullError, ValueError):
        low, high = points.min(axis=0), points.max(axis=0)
        x, y, z = zip(low, high, strict=True)
        return np.array([(a, b, c) for a in x for b in y for c in z])


# --- the faults ---------------------------------------------------------------------------------


def no_model(name: str, at: Place) -> Fault:
    """C064: no such file."""
    return Fault(
        "C064",
        "error",
        f'there is no file "{name}" beside the cell file',
        (at,),
        "What it shows could not be judged, so a touch would be missed.",
        "check the name, or take the [[models]] out",
    )


def model_too_large(name: str, at: Place) -> Fault:
    """C065: more bytes than any model needs."""
    return Fault(
        "C065",
        "error",
        f'"{name}" is larger than {LARGEST_MODEL // 1_000_000} MB',
        (at,),
        "So fine a surface proves nothing more and takes long to read.",
        "export it again with a coarser deviation, such as 0.1 mm",
    )


def _not_read(name: str, at: Place, reason: str) -> Fault:
    """C066: nothing to be had from the file."""
    return Fault(
        "C066",
        "error",
        f'"{name}" cannot be used: {reason}',
        (at,),
        "What it shows could not be judged, so a touch would be missed.",
        "export it again as STL from the CAD program, with a deviation of 0.1 mm",
    )


def _no_unit(model: Model, surface: _Surface, at: Place) -> Fault:
    """C067: numbers without a unit."""
    size = _size(surface)
    likely = "mm" if size >= SMALLEST_MM * 2.0 else "in"
    return Fault(
        "C067",
        "error",
        f'"{model.file}" does not say in which unit it is drawn',
        (at,),
        f"Its longest side is {_plain_size(size)}; in inches instead of millimetres it would be "
        "25.4 times as large.",
        f'write  unit = "{likely}"  below it, after a look at one known length',
    )


def _doubts(
    model: Model, surface: _Surface, scale: float, source: Source, number: int, at: Place
) -> list[Fault]:
    """Return warnings: a size that is absurd (C068), a surface that is open (C069)."""
    found = []
    size = _size(surface) * scale
    if not SMALLEST_MM <= size <= LARGEST_MM:
        others = [
            unit
            for unit, other in SCALES.items()
            if SMALLEST_MM * 2.0 <= size / scale * other <= LARGEST_MM / 2.0
        ]
        do = "look at one known length in the CAD program"
        if others:
            do = f'write  unit = "{others[0]}"  if it is drawn so; else {do}'
        found.append(
            Fault(
                "C068",
                "warning",
                f'"{model.file}" is {_plain_size(size)} mm long',
                (source.value(("models", number, "unit")), at) if model.unit else (at,),
                "Nothing that is bolted into a mill has such a size. In the wrong unit it would "
                "stand in the way of everything, or of nothing.",
                do,
            )
        )
    if surface.open_parts:
        parts = "1 part" if surface.open_parts == 1 else f"{surface.open_parts} parts"
        found.append(
            Fault(
                "C069",
                "warning",
                f'the surface in "{model.file}" is not closed',
                (at,),
                f"What is inside and what outside cannot be told for {parts} of it. Everything "
                "between its points counts as solid (its convex hull): pockets in it are lost.",
                "export it as a closed solid, or enter it as boxes under [[solids]]",
            )
        )
    return found


def _size(surface: _Surface) -> float:
    points = np.concatenate([part.reshape(-1, 3) for part in surface.parts] + [surface.open_points])
    return float(np.max(np.ptp(points, axis=0)))


def _plain_size(size: float) -> str:
    return f"{size:,.0f}" if size >= 100.0 else f"{size:.3g}"
