"""Program files on disk: the one that was named, and those that it calls, from the same folder."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Final

__all__ = [
    "LARGEST_PROGRAM",
    "BadProgramError",
    "Folder",
    "Neighbours",
    "Progress",
    "load_program",
]

LARGEST_PROGRAM: Final = 500_000_000
"""Bytes; the memory of a shop computer holds its motion too."""

KEPT_MOST: Final = 50
"""Proofs kept beside a cell file."""

_NUMBERED: Final = re.compile(r"[Oo]?([0-9]{1,9})(\.[A-Za-z0-9]{1,5})?")
_NO_PROGRAMS: Final = (".toml", ".csv", ".html", ".json", ".pdf", ".png", ".stl", ".svg", ".zip")


class BadProgramError(ValueError):
    """A program file that cannot be read; the text says what to do."""


def load_program(path: Path) -> bytes:
    """Return the bytes of a program file.

    Raises
    ------
    BadProgramError
        There is no such file, or it cannot be a program.
    """
    try:
        if path.is_dir():
            raise BadProgramError(f"{path.name or path} is a folder; name the program in it")
        with path.open("rb") as file:
            text = file.read(LARGEST_PROGRAM + 1)
    except FileNotFoundError:
        raise BadProgramError(f'there is no program "{path}"; check the name') from None
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or str(problem)
        raise BadProgramError(f'"{path}" cannot be opened: {reason.lower()}') from None
    if len(text) > LARGEST_PROGRAM:
        raise BadProgramError(f'"{path}" is larger than {LARGEST_PROGRAM // 1_000_000} MB')
    if not text.strip():
        raise BadProgramError(f'"{path}" is empty')
    return text


class Neighbours:
    """Programs beside a program, by their number: O1000.nc, 1000.nc, 1000 and the like.

    Attributes
    ----------
    names : dict of number to str
        Files that were asked for and found.
    """

    def __init__(self, program: Path) -> None:
        self._program = program
        self._files: dict[int, list[Path]] | None = None
        self.names: dict[int, str] = {}

    def __call__(self, number: int) -> bytes | None:
        """Return the text of program `number`; ``None`` if there is none or it cannot be read."""
        for path in self._listed().get(number, ()):
            try:
                text = load_program(path)
            except BadProgramError:
                continue
            self.names[number] = path.name
            return text
        return None

    def _listed(self) -> dict[int, list[Path]]:
        if self._files is None:
            self._files = {}
            suffix = self._program.suffix.lower()
            try:
                beside = sorted(self._program.parent.iterdir())
            except OSError:
                beside = []
            for path in beside:
                match = _NUMBERED.fullmatch(path.name)
                if match is None or path.suffix.lower() in _NO_PROGRAMS or path == self._program:
                    continue
                self._files.setdefault(int(match[1]), []).append(path)
            for paths in self._files.values():
                # The same ending as the program first, then a name with O.
                paths.sort(
                    key=lambda path: (
                        path.suffix.lower() != suffix,
                        path.name[:1] not in "Oo",
                        path.name,
                    )
                )
        return self._files


class Folder:
    """Proofs kept in a folder beside the cell file, one file a proof.

    Parameters
    ----------
    folder : Path
        Made when the first proof is kept; a folder that cannot be written keeps nothing.
    fresh : bool
        Keep, but find nothing: prove anew.
    """

    def __init__(self, folder: Path, *, fresh: bool = False) -> None:
        self._folder, self._fresh = folder, fresh

    def load(self, key: str) -> bytes | None:
        """Return what was kept under `key`; ``None`` if nothing was."""
        path = self._folder / f"clears-{key[:32]}.json"
        if self._fresh:
            return None
        try:
            if path.stat().st_size > LARGEST_PROGRAM:
                return None
            return path.read_bytes()
        except OSError:
            return None

    def save(self, key: str, data: bytes) -> None:
        """Keep `data` under `key`, whole or not at all; the oldest beyond `KEPT_MOST` go."""
        from gudgeon.cell.files import write_text_safely

        try:
            self._folder.mkdir(exist_ok=True)
            path = self._folder / f"clears-{key[:32]}.json"
            write_text_safely(path, data.decode("ascii"), overwrite=True)
            held = sorted(self._folder.glob("clears-*.json"), key=lambda one: one.stat().st_mtime)
            for old in held[:-KEPT_MOST]:
                old.unlink(missing_ok=True)
        except OSError:
            return  # a folder that may not be written to: the next run proves anew


class Progress:
    """Shows on a terminal how far a long step is; silent elsewhere and for short programs.

    Parameters
    ----------
    doing : str
        What is done: "reading", "proving".
    """

    def __init__(self, doing: str = "reading") -> None:
        self._doing = doing
        self._shows = sys.stderr.isatty()
        self._last = -1

    def __call__(self, share: float) -> bool:
        """Show a share between 0 and 1; returns True: go on."""
        percent = int(100.0 * min(max(share, 0.0), 1.0))
        if self._shows and percent != self._last:
            self._last = percent
            print(f"\r{self._doing}: {percent} %", end="", file=sys.stderr, flush=True)
        return True

    def done(self) -> None:
        """Take the line away."""
        if self._shows and self._last >= 0:
            print("\r" + " " * 20 + "\r", end="", file=sys.stderr, flush=True)
            self._last = -1
