"""The first thing of ``gudgeon show``: the cell is read beside, while the server gets ready."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from gudgeon.faces.web.process import Process

__all__ = ["show"]


def show(
    cell: Path,
    *,
    port: int | None,
    lan: bool,
    read_only: bool,
    browser: bool,
    say: Callable[[str], None],
) -> int:
    """Show a cell as `gudgeon.faces.web.server.serve` does; `port` is the usual one if left out."""
    files = Process("files", cell, read_only=read_only)
    files.start()
    try:
        from gudgeon.faces.web.server import PORT, serve

        return serve(
            cell,
            files,
            port=PORT if port is None else port,
            lan=lan,
            read_only=read_only,
            browser=browser,
            say=say,
        )
    finally:
        files.kill()
