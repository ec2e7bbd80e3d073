"""Cell files, their readings and models on disk: opened here, and nowhere else.

`load` never raises for something that a user wrote or named; it returns faults.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Final

from gudgeon.cell.checks import check
from gudgeon.cell.day_store import StoreError, store_beside, stored_rows
from gudgeon.cell.days import read_days, read_made
from gudgeon.cell.faults import Fault, Place, in_order
from gudgeon.cell.model import Cell
from gudgeon.cell.model_drift import DayRow
from gudgeon.cell.models_files import (
    LARGEST_MODEL,
    OpenModel,
    model_too_large,
    no_model,
    read_models,
)
from gudgeon.cell.odd_days import day_apart, odd_days
from gudgeon.cell.places import Source
from gudgeon.cell.reader import ReadCell, read_cell
from gudgeon.cell.readings import read_readings

__all__ = ["LARGEST_FILE", "Loaded", "load", "load_text", "write_bytes_safely", "write_text_safely"]

LARGEST_FILE: Final = 1_000_000
"""Bytes of a cell file or a readings file; a full one has a tenth of that."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """A cell file with its readings.

    Attributes
    ----------
    cell : Cell or None
        ``None`` if any fault is an error.
    faults : tuple of Fault
        In the order of the file.
    """

    cell: Cell | None
    faults: tuple[Fault, ...] = ()

    @property
    def errors(self) -> int:
        """Number of faults that are errors."""
        return sum(fault.level == "error" for fault in self.faults)


def load(path: str | Path, *, readings: bool = True, links: bool = True) -> Loaded:
    """Read a cell file and the readings that it names.

    Parameters
    ----------
    path : str or Path
        The cell file.
    readings : bool
        False: tables of readings are left out, whether they are there or not.
    links : bool
        False: a file to which a link leads out of the folder is not read, as others may name it.
    """
    path = Path(path)
    found = _text_of(path, path.name or str(path), None)
    if isinstance(found, Fault):
        return Loaded(None, (found,))

    def open_readings(name: str, at: Place) -> str | Fault:
        if not links and _leads_out(path.parent, name):
            return _not_beside(name, at)
        return _text_of(path.parent / name, name, at)

    def open_model(name: str, at: Place) -> bytes | Fault:
        if not links and _leads_out(path.parent, name):
            return _not_beside(name, at)
        return _bytes_of(path.parent / name, name, at)

    if not readings:
        return load_text(found, path.name, None, open_model)
    loaded = load_text(found, path.name, open_readings, open_model)
    return _with_store(loaded, path)


def _with_store(loaded: Loaded, path: Path) -> Loaded:
    """Add the morning checks that the command ``gudgeon day`` has kept beside the cell file."""
    if loaded.cell is None:
        return loaded
    try:
        kept = stored_rows(store_beside(path))
    except StoreError as problem:
        return Loaded(None, in_order([*loaded.faults, _store_unread(path, problem)]))
    if not kept:
        return loaded
    known = {(row.day, row.time, row.check, row.place_mm) for row in loaded.cell.days}
    more = [r for r in kept if (r.day, r.time, r.check, r.place_mm) not in known]
    days = sorted([*loaded.cell.days, *more], key=lambda row: (row.day, row.time, row.row))
    faults = in_order([*loaded.faults, *_apart(loaded, more, store_beside(path).name)])
    return Loaded(replace(loaded.cell, days=tuple(days)), faults)


def _apart(loaded: Loaded, kept: Sequence[DayRow], store: str) -> list[Fault]:
    """Return the days of table and store that lie far from all others, and were not told yet."""
    assert loaded.cell is not None
    table = loaded.cell.drift.days or ""
    told = {
        place.line
        for fault in loaded.faults
        if fault.code == "K087"
        for place in fault.places
        if place.file == table
    }
    typed = [(row, Place(table, row.row)) for row in loaded.cell.days if row.row not in told]
    ranked = sorted(kept, key=lambda row: row.row)  # as they were entered
    typed += [(row, Place(store, None, note=f"row {row.row}")) for row in ranked]
    typed = [(row, place) for row, place in typed if row.dated]
    odd = odd_days([row.day for row, _ in typed])
    others = [row.day for i, (row, _) in enumerate(typed) if i not in odd]
    places: dict[int, list[Place]] = {}
    for i in odd:
        places.setdefault(typed[i][0].day, []).append(typed[i][1])
    return [day_apart(day, others, tuple(where)) for day, where in places.items()]


def load_text(
    text: str,
    file: str = "cell.toml",
    readings: Callable[[str, Place], str | Fault] | None = None,
    models: OpenModel | None = None,
) -> Loaded:
    """Read the text of a cell file.

    Parameters
    ----------
    text : str
        The cell file.
    file : str
        Its name in messages.
    readings : callable, optional
        Given the name of a readings file and the place where it is named, returns its text or the
        fault.  Without it readings are left out.
    models : callable, optional
        The same for the bytes of a model's file.  Without it the surfaces are left out.
    """
    read = read_cell(text, file)
    cell, faults = read.cell, list(read.faults)
    name = cell.readings.file
    if name is not None and readings is not None:
        at = read.source.value(("readings", "file"))
        table = readings(name, at) if _is_beside(name) else _not_beside(name, at)
        if isinstance(table, Fault):
            faults.append(table)
        else:
            touches, more = read_readings(table, name, cell, read.source)
            # A row lacks only what its section does not give: a wrong value there is told already.
            wrong_lines = [place.text.split("=")[0].strip() for f in faults for place in f.places]
            faults.extend(
                fault
                for fault in more
                if fault.code != "K012" or not any(f"  {key} = " in fault.do for key in wrong_lines)
            )
            cell = replace(cell, touches=touches)
    if readings is not None:
        cell, told_of_days = _day_tables(cell, read.source, readings)
        faults.extend(told_of_days)
    if cell.models and models is not None:

        def beside(name: str, at: Place) -> bytes | Fault:
            return models(name, at) if _is_beside(name) else _not_beside(name, at)

        meshes, told = read_models(cell, read.source, beside)
        faults.extend(told)
        cell = replace(cell, meshes=meshes)
    faults.extend(check(ReadCell(cell, read.source, read.faults, read.broken)))
    wrong = any(fault.level == "error" for fault in faults)
    return Loaded(None if wrong else cell, in_order(faults))


def _day_tables(
    cell: Cell, source: Source, opened: Callable[[str, Place], str | Fault]
) -> tuple[Cell, list[Fault]]:
    """Read the tables that [drift] names."""
    faults: list[Fault] = []

    def text_of(name: str, key: str) -> str | None:
        at = source.value(("drift", key))
        found = opened(name, at) if _is_beside(name) else _not_beside(name, at)
        if isinstance(found, Fault):
            faults.append(found)
            return None
        return found

    if cell.drift.days is not None and (text := text_of(cell.drift.days, "days")) is not None:
        days, told = read_days(text, cell.drift.days, cell.shop.units)
        faults += told
        cell = replace(cell, days=days)
    name = cell.drift.production
    if name is not None and (text := text_of(name, "production")) is not None:
        made, told = read_made(text, name)
        faults += told
        cell = replace(cell, made=made)
    return cell, faults


def write_text_safely(path: str | Path, text: str, *, overwrite: bool = False) -> None:
    """Write a text file whole or not at all; see `write_bytes_safely`."""
    write_bytes_safely(path, text.encode("utf-8"), overwrite=overwrite)


def write_bytes_safely(path: str | Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : str or Path
    content : bytes
    overwrite : bool
        Replace a file that is there.

    Raises
    ------
    FileExistsError
        If the file is there and `overwrite` is false.
    OSError
        If it cannot be written; then nothing has changed.
    """
    path = Path(path)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(0o644)
        if overwrite:
            part.replace(path)
        else:
            _place_new(part, path)
    finally:
        part.unlink(missing_ok=True)


def _place_new(part: Path, path: Path) -> None:
    """Give `part` its name unless a file of that name is there, even one made just now."""
    try:
        path.hardlink_to(part)
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links: look, then rename
        if path.exists():
            raise FileExistsError(path) from None
        part.replace(path)


def _is_beside(name: str) -> bool:
    """Tell whether a named file lies in the folder of the cell file or below."""
    parts = (*PurePosixPath(name).parts, *PureWindowsPath(name).parts)
    absolute = PurePosixPath(name).is_absolute() or bool(PureWindowsPath(name).drive)
    return not absolute and ".." not in parts and not name.startswith("\\")


def _leads_out(folder: Path, name: str) -> bool:
    """Tell whether a name leads out of the folder, through links too."""
    try:
        return not (folder / name).resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        return True


def _text_of(path: Path, name: str, named_at: Place | None) -> str | Fault:
    """Return the text of a file, or why it cannot be read."""
    try:
        if path.is_dir():
            return _folder(name, named_at)
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        return _no_file(name, named_at)
    except (OSError, ValueError) as problem:
        return _not_opened(name, named_at, getattr(problem, "strerror", None) or "not a file name")
    if len(raw) > LARGEST_FILE:
        return _too_large(name, named_at)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        if named_at is not None:
            # Spreadsheets on older systems; a readings table is digits and plain letters anyway.
            return raw.decode("latin-1")
        return _not_utf8(name, raw, problem.start)
    if not text.strip():
        return _empty(name, named_at)
    return text


def _bytes_of(path: Path, name: str, named_at: Place) -> bytes | Fault:
    """Return the bytes of a model's file, or why it cannot be read."""
    try:
        if path.is_dir():
            return _folder(name, named_at)
        with path.open("rb") as file:
            raw = file.read(LARGEST_MODEL + 1)
    except FileNotFoundError:
        return no_model(name, named_at)
    except (OSError, ValueError) as problem:
        return _not_opened(name, named_at, getattr(problem, "strerror", None) or "not a file name")
    return model_too_large(name, named_at) if len(raw) > LARGEST_MODEL else raw


# --- the faults, one function a code ------------------------------------------------------------


def _at(name: str, named_at: Place | None) -> tuple[Place, ...]:
    return (Place(name),) if named_at is None else (named_at,)


def _no_file(name: str, named_at: Place | None) -> Fault:
    """C001 and K001: no such file."""
    return Fault(
        "C001" if named_at is None else "K001",
        "error",
        f'there is no file "{name}"' + ("" if named_at is None else " beside the cell file"),
        _at(name, named_at),
        "Without it nothing can be answered."
        if named_at is None
        else "The readings are looked for in the folder of the cell file.",
        "check the name, or make a first cell file with  gudgeon start"
        if named_at is None
        else 'check the name, or put # before  file = "..."  until there are readings',
    )


def _folder(name: str, named_at: Place | None) -> Fault:
    """C002: a folder instead of a file."""
    return Fault(
        "C002",
        "error",
        f'"{name}" is a folder, not a file',
        _at(name, named_at),
        "A cell file is one text file.",
        "name the file in the folder, such as  cell.toml",
    )


def _not_opened(name: str, named_at: Place | None, reason: str) -> Fault:
    """C024: the system does not let it be read."""
    return Fault(
        "C024",
        "error",
        f'"{name}" cannot be opened: {reason.lower()}',
        _at(name, named_at),
        "The computer refuses to read it.",
        "check the name and the rights of the file",
    )


def _too_large(name: str, named_at: Place | None) -> Fault:
    """C003: more than any cell file."""
    return Fault(
        "C003",
        "error",
        f'"{name}" is larger than {LARGEST_FILE // 1000} kB',
        _at(name, named_at),
        "A cell file has a few kilobytes, so this is most likely another file.",
        "check the name; split long readings into several cells",
    )


def _not_utf8(name: str, raw: bytes, start: int) -> Fault:
    """C005: another encoding."""
    before = raw[:start]
    line = before.count(b"\n") + 1
    text = raw.split(b"\n")[line - 1].decode("latin-1").rstrip("\r")
    column = start - (before.rfind(b"\n") + 1)
    return Fault(
        "C005",
        "error",
        f'"{name}" is not plain text in UTF-8',
        (Place(name, line, text, column, column + 1),),
        "Signs beyond plain ASCII, such as the degree sign, could be taken for others.",
        "save the file as UTF-8 in the editor, or write deg and +- instead of signs",
    )


def _empty(name: str, named_at: Place | None) -> Fault:
    """C006: nothing in it."""
    return Fault(
        "C006",
        "error",
        f'"{name}" is empty',
        _at(name, named_at),
        "There is nothing to answer from.",
        "make a first cell file with  gudgeon start"
        if named_at is None
        else 'fill it, or put # before  file = "..."  until there are readings',
    )


def _not_beside(name: str, at: Place) -> Fault:
    """C025: a file of the cell somewhere else on the computer."""
    return Fault(
        "C025",
        "error",
        f'"{name}" does not lie beside the cell file',
        (at,),
        "A cell and its files are kept and copied together; other places are not read.",
        f'copy it beside the cell file and write  file = "{PureWindowsPath(name).name}"',
    )


def _store_unread(path: Path, problem: StoreError) -> Fault:
    """K086: the store of morning checks cannot be read."""
    return Fault(
        "K086",
        "error",
        str(problem),
        (Place(store_beside(path).name),),
        "Whether anything has moved is judged from every check that was kept.",
        "use the version of this program that wrote it, or move the file away and begin anew",
    )
