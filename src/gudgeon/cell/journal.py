"""Every change of a cell file that this program makes: kept before it is written, and undone.

A text is kept first and the file is then replaced whole; whatever stops the program in between
leaves the old file or the new one, and the journal knows which by their hashes.  A file that was
changed by other means is never overwritten.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gudgeon.cell.files import LARGEST_FILE, write_text_safely
from gudgeon.cell.store_file import StoreError, opened

__all__ = ["ChangedMeanwhile", "Journal", "NothingToDo", "State", "digest_of"]

VERSION: Final = 1
KEPT_MOST: Final = 500
"""Changes that are kept; older ones can no longer be undone."""

_TABLES: Final = """
CREATE TABLE steps (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    file TEXT NOT NULL,
    before TEXT NOT NULL,
    after TEXT NOT NULL,
    old BLOB NOT NULL,
    new BLOB NOT NULL,
    words TEXT NOT NULL
)
"""


class ChangedMeanwhile(Exception):  # noqa: N818 - it is not an error of this program
    """The file is not the one that the change was made for.

    Attributes
    ----------
    now : str
        Hash of the file as it is.
    """

    def __init__(self, now: str) -> None:
        super().__init__("the file was changed by other means meanwhile; nothing was written")
        self.now = now


class NothingToDo(Exception):  # noqa: N818 - the person asked for one step too many
    """There is no change to undo, or none to make again."""


@dataclass(frozen=True, slots=True)
class State:
    """A file and what can be done with it.

    Attributes
    ----------
    digest : str
        SHA-256 of its bytes.
    undo, redo : str or None
        In words, the change that would be taken back, or made again; ``None``: there is none.
    """

    digest: str
    undo: str | None
    redo: str | None


def digest_of(data: bytes) -> str:
    """Return the SHA-256 by which a file is known."""
    return hashlib.sha256(data).hexdigest()


class Journal:
    """The changes of one text file.

    Parameters
    ----------
    path : Path
        The file.
    store : Path
        Where the changes are kept; made when the first is.
    """

    def __init__(self, path: Path, store: Path) -> None:
        self.path = path
        self.store = store

    def read(self) -> tuple[str, str]:
        """Return the text as it is now, and its hash; raises `OSError` or `UnicodeDecodeError`."""
        data = self.path.read_bytes()
        return data.decode("utf-8"), digest_of(data)

    def state(self) -> State:
        """Return the file's hash and what can be undone or made again."""
        now = digest_of(self.path.read_bytes())
        undo, redo = self._beside(now)
        return State(now, undo[1] if undo else None, redo[1] if redo else None)

    def change(self, seen: str, edit: Callable[[str], str], words: str) -> State:
        """Change the file.

        Parameters
        ----------
        seen : str
            Hash of the file that the change is meant for.
        edit : callable
            From the old text to the new one; what it raises goes through and nothing is written.
        words : str
            What is changed, in words.

        Raises
        ------
        ChangedMeanwhile
            If the file is not the one seen.
        OSError, StoreError
            If it cannot be kept or written; the file is then as before.
        """
        text, now = self.read()
        if now != seen:
            raise ChangedMeanwhile(now)
        new = edit(text)
        if new == text:
            return self.state()
        if len(new.encode()) > LARGEST_FILE:
            raise StoreError(f'"{self.path.name}" would be larger than {LARGEST_FILE} bytes')
        self._keep(now, text, new, words)
        return self._write(now, new)

    def undo(self, seen: str) -> State:
        """Take the last change back; raises as `change`, or `NothingToDo`."""
        return self._step(seen, back=True)

    def redo(self, seen: str) -> State:
        """Make the change again that was taken back; raises as `undo`."""
        return self._step(seen, back=False)

    # --- inside

    def _step(self, seen: str, *, back: bool) -> State:
        now = digest_of(self.path.read_bytes())
        if now != seen:
            raise ChangedMeanwhile(now)
        found = self._beside(now)[0 if back else 1]
        if found is None:
            raise NothingToDo("there is nothing to undo" if back else "there is nothing to redo")
        return self._write(now, found[2])

    def _beside(self, now: str) -> tuple[tuple[int, str, str] | None, tuple[int, str, str] | None]:
        """Return number, words and text of the step back and of the step on from `now`."""
        if not self.store.exists():
            return None, None
        # Where it may be written it is opened so: a writer that was killed left work to roll back.
        write = os.access(self.store, os.W_OK)
        with self._opened(write=write) as base:
            # The same text may have stood in the file more than once: the latest chain counts.
            back = base.execute(
                "SELECT number, words, old FROM steps WHERE file = ? AND after = ?"
                " ORDER BY number DESC LIMIT 1",
                (self.path.name, now),
            ).fetchone()
            on = base.execute(
                "SELECT number, words, new FROM steps WHERE file = ? AND before = ?"
                " AND number > ? ORDER BY number LIMIT 1",
                (self.path.name, now, back[0] if back else 0),
            ).fetchone()
        return (
            None if back is None else (back[0], back[1], zlib.decompress(back[2]).decode()),
            None if on is None else (on[0], on[1], zlib.decompress(on[2]).decode()),
        )

    def _keep(self, now: str, old: str, new: str, words: str) -> None:
        """Keep a change; changes that were taken back before it are forgotten."""
        self.store.parent.mkdir(exist_ok=True)
        back, on = self._beside(now)
        after = digest_of(new.encode())
        with self._opened(write=True) as base:
            name = self.path.name
            if on is not None:
                base.execute("DELETE FROM steps WHERE file = ? AND number >= ?", (name, on[0]))
            elif back is None:
                # The file was changed by other means: older changes lead nowhere.
                base.execute("DELETE FROM steps WHERE file = ?", (name,))
            base.execute(
                "INSERT INTO steps (file, before, after, old, new, words)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                (
                    name,
                    now,
                    after,
                    zlib.compress(old.encode()),
                    zlib.compress(new.encode()),
                    words[:200],
                ),
            )
            base.execute(
                "DELETE FROM steps WHERE file = ? AND number <="
                " (SELECT max(number) FROM steps WHERE file = ?) - ?",
                (name, name, KEPT_MOST),
            )

    def _opened(self, *, write: bool) -> contextlib.AbstractContextManager[sqlite3.Connection]:
        return opened(self.store, write=write, version=VERSION, tables=_TABLES, holds="changes")

    def _write(self, seen: str, new: str) -> State:
        # Once more just before writing: another program may have written since it was read.
        now = digest_of(self.path.read_bytes())
        if now != seen:
            raise ChangedMeanwhile(now)
        write_text_safely(self.path, new, overwrite=True)
        return self.state()
