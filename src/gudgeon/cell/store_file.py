"""A file in SQLite that keeps what a person entered: opened for one whole transaction at a time."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Final

__all__ = ["StoreError", "opened"]

WAIT_S: Final = 10.0
"""How long to wait for another writer."""


class StoreError(Exception):
    """The store cannot be used; the text says why, in the words of the shop."""


@contextlib.contextmanager
def opened(
    path: Path, *, write: bool, version: int, tables: str, holds: str
) -> Iterator[sqlite3.Connection]:
    """Open a store for one transaction; what is written is whole or not there at all.

    Parameters
    ----------
    path : Path
        The store; made if it is not there and is written.
    write : bool
        Other writers wait.
    version : int
        Of the tables that are known here; a file of a later one is refused.
    tables : str
        Statement that makes them.
    holds : str
        What is kept, for messages: "morning checks".

    Raises
    ------
    StoreError
        If the file is not such a store, of a later version, or held by another for long.
    """
    name = path.name
    try:
        if write:
            base = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
        else:
            base = sqlite3.connect(
                f"{path.absolute().as_uri()}?mode=ro",
                timeout=WAIT_S,
                isolation_level=None,
                uri=True,
            )
    except sqlite3.Error as problem:
        raise StoreError(f'"{name}" cannot be opened: {problem}') from None
    try:
        base.execute("PRAGMA synchronous = FULL")
        base.execute("BEGIN IMMEDIATE" if write else "BEGIN")
        written = int(base.execute("PRAGMA user_version").fetchone()[0])
        made = int(base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
        if written > version:
            raise StoreError(
                f'"{name}" was written by a later version of this program (tables {written}, '
                f"known here {version})"
            )
        if written == 0 and made == 0:
            if write:
                base.execute(tables)
                base.execute(f"PRAGMA user_version = {version}")
            else:
                raise StoreError(f'"{name}" holds no {holds}')
        elif written < version:
            raise StoreError(f'"{name}" is no store of {holds}')
        yield base
        base.execute("COMMIT")
    except sqlite3.OperationalError as problem:
        held = "locked" in str(problem) or "busy" in str(problem)
        why = "another program holds it" if held else str(problem)
        raise StoreError(f'"{name}" cannot be used: {why}') from None
    except sqlite3.DatabaseError:
        raise StoreError(f'"{name}" is no store of {holds}') from None
    finally:
        if base.in_transaction:
            with contextlib.suppress(sqlite3.Error):
                base.execute("ROLLBACK")
        base.close()
