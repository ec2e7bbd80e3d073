"""Names in a cell file: given twice, or used without being given."""

from __future__ import annotations

import difflib
from collections.abc import Hashable, Iterator, Sequence

from gudgeon.cell.faults import Fault
from gudgeon.cell.model import Cell
from gudgeon.cell.places import Path, Source

__all__ = ["double_names", "unknown_names"]


def double_names(cell: Cell, source: Source) -> Iterator[Fault]:
    """Yield C022 for every name or number that two sections share."""
    lists: list[tuple[str, str, Path, Sequence[Hashable]]] = [
        ("station", "name", ("stations",), [station.name for station in cell.stations]),
        ("part", "name", ("parts",), [part.name for part in cell.parts]),
        ("tool", "number", ("tools",), [tool.number for tool in cell.tools]),
        ("operation", "name", ("operations",), [cut.name for cut in cell.operations]),
        ("solid", "name", ("solids",), [solid.name for solid in cell.solids]),
        ("model", "name", ("models",), [model.name for model in cell.models]),
        ("dimension", "name", ("dimensions",), [one.name for one in cell.dimensions]),
        ("check", "name", ("checks",), [check.name for check in cell.checks]),
    ]
    lists += [
        ("face", "name", ("parts", number, "faces"), [face.name for face in part.faces])
        for number, part in enumerate(cell.parts)
    ]
    lists += [
        ("feature", "name", ("parts", number, "features"), [one.name for one in part.features])
        for number, part in enumerate(cell.parts)
    ]
    for what, key, path, names in lists:
        first: dict[Hashable, int] = {}
        for number, name in enumerate(names):
            if name is None:
                continue
            if name not in first:
                first[name] = number
                continue
            shown = f'"{name}"' if isinstance(name, str) else str(name)
            yield Fault(
                "C022",
                "error",
                f"two {what}s have the {key} {shown}",
                (source.value((*path, first[name], key)), source.value((*path, number, key))),
                f"It cannot be told which {what} is meant where the {key} is used.",
                f"give each {what} its own {key}",
            )


def unknown_names(cell: Cell, source: Source, broken: frozenset[str]) -> Iterator[Fault]:
    """Yield C026 for every name that is used but not given.

    A cell that has no parts (or tools) at all is still being written; nothing is said then.

    Parameters
    ----------
    broken : frozenset of str
        Sections with faults of their own; names that may stand in them are not looked up.
    """
    parts = {part.name: part for part in cell.parts if part.name is not None}
    numbers = [str(tool.number) for tool in cell.tools if tool.number is not None]
    parts_known = bool(cell.parts) and "parts" not in broken
    tools_known = bool(cell.tools) and "tools" not in broken

    def faces_of(part: str | None) -> list[str]:
        chosen = [parts[part]] if part in parts else cell.parts
        return [face.name for one in chosen for face in one.faces if face.name is not None]

    for number, station in enumerate(cell.stations):
        path: Path = ("stations", number)
        if parts_known and station.part is not None and station.part not in parts:
            yield _unknown(source, (*path, "part"), "part", station.part, list(parts))
        elif parts_known and (known := faces_of(station.part)):
            for place, face in enumerate(station.faces):
                if face not in known:
                    yield _unknown(source, (*path, "faces", place), "face", face, known)
    stations = [station.name for station in cell.stations if station.name is not None]
    stations_known = bool(cell.stations) and "stations" not in broken
    bodies: list[tuple[Path, str | None, str | None]] = [
        (("fixture", "windows", n), window.station, None)
        for n, window in enumerate(cell.fixture.windows)
    ]
    bodies += [(("solids", n), body.station, body.part) for n, body in enumerate(cell.solids)]
    bodies += [(("models", n), body.station, body.part) for n, body in enumerate(cell.models)]
    for path, station_name, part_name in bodies:
        if stations_known and station_name not in (None, *stations):
            at = (*path, "station")
            yield _unknown(source, at, "station", str(station_name), stations)
        if parts_known and part_name not in (None, *parts):
            yield _unknown(source, (*path, "part"), "part", str(part_name), list(parts))
    boxes = [box.name for box in cell.unit.boxes if box.name is not None]
    for number, other in enumerate(cell.unit.alternatives):
        if "unit" not in broken and other.instead_of not in (None, *boxes):
            path = ("unit", "alternatives", number, "instead_of")
            yield _unknown(source, path, "box", str(other.instead_of), boxes)
    for number, cut in enumerate(cell.operations):
        path = ("operations", number)
        if tools_known and cut.tool is not None and str(cut.tool) not in numbers:
            yield _unknown(source, (*path, "tool"), "tool", str(cut.tool), numbers)
        if parts_known and cut.part is not None and cut.part not in parts:
            yield _unknown(source, (*path, "part"), "part", cut.part, list(parts))
            continue
        known = faces_of(cut.part) if parts_known else []
        if known and cut.face is not None and cut.face not in known:
            yield _unknown(source, (*path, "face"), "face", cut.face, known)
        for place, face in enumerate(cut.other_poses):
            if known and face not in known:
                yield _unknown(source, (*path, "other_poses", place), "face", face, known)
        for place, name in enumerate(cut.stations):
            if stations_known and name not in stations:
                yield _unknown(source, (*path, "stations", place), "station", name, stations)
    yield from _unknown_in_times(cell, source, broken, numbers if tools_known else [])
    yield from _unknown_features(cell, source, broken, numbers if tools_known else [], stations)


def _unknown_in_times(
    cell: Cell, source: Source, broken: frozenset[str], tools: list[str]
) -> Iterator[Fault]:
    """Yield C026 for names of operations, sister tools and timed programs."""
    cuts = [cut.name for cut in cell.operations if cut.name is not None]
    for number, cut in enumerate(cell.operations):
        for place, name in enumerate(cut.after):
            if "operations" not in broken and name not in cuts:
                path: Path = ("operations", number, "after", place)
                yield _unknown(source, path, "operation", name, cuts)
    for number, tool in enumerate(cell.tools):
        for place, sister in enumerate(tool.sisters):
            if tools and str(sister) not in tools:
                path = ("tools", number, "sisters", place)
                yield _unknown(source, path, "tool", str(sister), tools)
    files = [program.file for program in cell.programs if program.file is not None]
    for number, reading in enumerate(cell.timing.stopwatch):
        if files and "programs" not in broken and reading.program not in (None, *files):
            path = ("timing", "stopwatch", number, "program")
            yield _unknown(source, path, "program", str(reading.program), files)


def _unknown_features(
    cell: Cell, source: Source, broken: frozenset[str], tools: list[str], stations: list[str]
) -> Iterator[Fault]:
    """Yield C026 for names that features and dimensions use."""
    if "parts" in broken:
        return
    for number, part in enumerate(cell.parts):
        faces = [face.name for face in part.faces if face.name is not None]
        for place, feature in enumerate(part.features):
            path: Path = ("parts", number, "features", place)
            if faces and feature.face not in (None, *faces):
                yield _unknown(source, (*path, "face"), "face", str(feature.face), faces)
            if tools and feature.tool is not None and str(feature.tool) not in tools:
                yield _unknown(source, (*path, "tool"), "tool", str(feature.tool), tools)
    parts = [part.name for part in cell.parts if part.name is not None]
    for number, one in enumerate(cell.dimensions):
        path = ("dimensions", number)
        if parts and one.part not in (None, *parts):
            yield _unknown(source, (*path, "part"), "part", str(one.part), parts)
            continue
        known = [
            feature.name
            for part in cell.parts
            if one.part in (None, part.name)
            for feature in part.features
            if feature.name is not None
        ]
        for key, name in (("feature", one.feature), ("measured_from", one.measured_from)):
            if known and name not in (None, "datum", *known):
                yield _unknown(source, (*path, key), "feature", str(name), known)
        for place, name in enumerate(one.stations):
            if stations and "stations" not in broken and name not in stations:
                at: Path = (*path, "stations", place)
                yield _unknown(source, at, "station", name, stations)


def _unknown(source: Source, path: Path, what: str, name: str, known: list[str]) -> Fault:
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    mark = "" if what == "tool" else '"'
    listed = ", ".join(f"{mark}{other}{mark}" for other in known[:8]) or "none"
    section = {
        "part": "[[parts]]",
        "tool": "[[tools]]",
        "face": "[[parts.faces]]",
        "box": "[[unit.boxes]]",
        "station": "[[stations]]",
        "feature": "[[parts.features]]",
        "operation": "[[operations]]",
        "program": "[[programs]]",
    }[what]
    do = f"write {mark}{near[0]}{mark}, or " if near and what != "tool" else ""
    return Fault(
        "C026",
        "error",
        f"there is no {what} {mark}{name}{mark}",
        (source.value(path),),
        f"The {what}{'es' if what == 'box' else 's'} of this cell are {listed}.",
        f"{do}add the {what} under {section}",
    )
