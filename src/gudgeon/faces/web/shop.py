"""The folder of the cell file: which files belong to the cell, whether they have changed.

Light on purpose: the server looks several times a second and never reads a cell itself.
"""

from __future__ import annotations

import hashlib
import re
import time
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, Final

__all__ = ["Files", "Shop"]

NAME_MOST: Final = 200
"""Characters of a file's name."""

FRESH_NS: Final = 2_000_000_000
"""A file changed so lately may change again within one tick of its clock: its bytes decide."""

LOOKED_AT_MOST: Final = 2_000
"""Files of the folder that are looked at for numbered programs."""

_FILE: Final = re.compile(r"[^\n\r\t]{1,180}\.[A-Za-z0-9]{1,8}")
_NUMBERED: Final = re.compile(r"[Oo]?[0-9]{1,9}(\.[A-Za-z0-9]{1,5})?")


@dataclass(frozen=True, slots=True)
class Files:
    """The files of a cell at one moment.

    Attributes
    ----------
    cell : str
        SHA-256 of the cell file; empty while there is none.
    digests : dict of str to str
        SHA-256 by name of every file that answers rest on, programs left out; empty if it is not
        there.
    programs : dict of str to str
        The same for the programs that the cell names, and for those that may be called by number.
    """

    cell: str
    digests: dict[str, str]
    programs: dict[str, str]

    def inputs(self, program: str | None = None) -> str:
        """Return a digest of all that an answer rests on, about a program or without one."""
        if program is None:
            return _digest_of(self.digests.items())
        # Beside the program itself only what it can call by number matters.
        folder = program.rpartition("/")[0]
        used = [
            (name, digest)
            for name, digest in self.programs.items()
            if name == program
            or (name.rpartition("/")[0] == folder and _NUMBERED.fullmatch(name.rpartition("/")[2]))
        ]
        return _digest_of([*self.digests.items(), ("program", program), *used])

    @property
    def everything(self) -> str:
        """Digest of all files."""
        return _digest_of([*self.digests.items(), ("", ""), *self.programs.items()])

    def changed(self, since: Files) -> list[str]:
        """Return the names of files that differ from those `since`."""
        now, old = self.digests | self.programs, since.digests | since.programs
        return sorted(name for name in now.keys() | old.keys() if now.get(name) != old.get(name))


class Shop:
    """One cell file and the folder in which it lies.

    Parameters
    ----------
    cell : Path
        The cell file; it need not be readable.
    """

    def __init__(self, cell: Path) -> None:
        self.folder = cell.absolute().parent.resolve()
        self.cell = self.folder / cell.name
        self._kept: dict[Path, tuple[tuple[int, int, int], str]] = {}
        self._named: tuple[str, set[str], set[str]] = ("", set(), set())

    def inside(self, name: str) -> Path | None:
        """Return the file of that name in the folder or below; ``None`` for all else.

        A name that is absolute, climbs, holds a backslash or control characters, or leads outside
        through a link is none of the shop's, whether there is such a file or not.
        """
        if not name or len(name) > NAME_MOST or not name.isprintable():
            return None
        if "\\" in name or ":" in name or PureWindowsPath(name).is_reserved():
            return None
        parts = name.split("/")
        if PurePosixPath(name).is_absolute() or any(
            part in ("", ".", "..") or part.startswith(".") for part in parts
        ):
            return None
        path = self.folder / name
        try:
            real = path.resolve(strict=True)
            if not real.is_relative_to(self.folder) or not real.is_file():
                return None
        except (OSError, ValueError, RuntimeError):
            return None
        return path

    def cells(self) -> list[str]:
        """Return the names of the cell files in the folder."""
        try:
            found = [one.name for one in self.folder.glob("*.toml") if self.inside(one.name)]
        except OSError:
            found = []
        return sorted({*found, self.cell.name})

    def programs(self) -> list[str]:
        """Return the programs that the cell file names, in its order."""
        self._read_names()
        return sorted(self._named[2])

    def look(self, asked: Iterable[str] = ()) -> Files:
        """Return the digests of all files as they are now; programs that are `asked` about too."""
        self._read_names()
        _, tables, programs = self._named
        programs = programs.union(asked)
        store = f"{self.cell.stem}.days.sqlite"
        beside = {self.cell.name, store, f"{store}-wal"}
        digests = {name: self._digest(self.folder / name) for name in sorted(beside)}
        digests |= {name: self._of(name) for name in sorted(tables - beside)}
        held = {name: self._of(name) for name in sorted(programs | self._numbered(programs))}
        return Files(digests[self.cell.name], digests, held)

    def inputs(self, program: str | None) -> str:
        """Return `Files.inputs` as they are now."""
        return self.look(() if program is None else (program,)).inputs(program)

    # --- names and digests ------------------------------------------------------------------------

    def _of(self, name: str) -> str:
        path = self.inside(name)
        return "" if path is None else self._digest(path)

    def _digest(self, path: Path) -> str:
        """Return the SHA-256 of a file, of its bytes only where its marks have changed."""
        try:
            state = path.stat()
            marks = (state.st_mtime_ns, state.st_size, state.st_ino)
            known = self._kept.get(path)
            fresh = abs(time.time_ns() - state.st_mtime_ns) < FRESH_NS
            if known is not None and known[0] == marks and not fresh:
                return known[1]
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except (OSError, ValueError):
            self._kept.pop(path, None)
            return ""
        self._kept[path] = (marks, digest)
        return digest

    def _read_names(self) -> None:
        """Find the names of files in the cell file; one that is not TOML keeps the old ones."""
        digest = self._digest(self.cell)
        if digest == self._named[0]:
            return
        try:
            data = tomllib.loads(self.cell.read_bytes().decode("utf-8-sig"))
        except (OSError, ValueError, RecursionError):
            self._named = (digest, *self._named[1:])
            return
        listed = data.get("programs")
        programs = {
            one["file"]
            for one in (listed if isinstance(listed, list) else [])
            if isinstance(one, dict) and isinstance(one.get("file"), str)
        }
        tables = {text for text in _texts(data) if _FILE.fullmatch(text)} - programs
        self._named = (digest, tables, programs)

    def _numbered(self, programs: set[str]) -> set[str]:
        """Return the files beside programs that they could call by number."""
        found = set()
        for folder in {name.rpartition("/")[0] for name in programs}:
            try:
                for count, path in enumerate((self.folder / folder).iterdir()):
                    if count >= LOOKED_AT_MOST:
                        break
                    if _NUMBERED.fullmatch(path.name):
                        found.add(f"{folder}/{path.name}" if folder else path.name)
            except (OSError, ValueError):
                continue
        return found


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from _texts(value)
    elif isinstance(data, list):
        for value in data:
            yield from _texts(value)


def _digest_of(pairs: Iterable[tuple[str, str]]) -> str:
    digest = hashlib.sha256()
    for name, value in pairs:
        digest.update(f"{len(name)}:{name}={value};".encode("utf-8", "surrogatepass"))
    return digest.hexdigest()
