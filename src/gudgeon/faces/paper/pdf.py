"""Sheets as a PDF: the template is fixed, what is said goes in as data."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from importlib.resources import as_file, files
from typing import Any, Final

from gudgeon.faces.paper.matter import Run

__all__ = ["MARK", "is_there", "write_pdf"]

MARK: Final = "Gudgeon sheets"
"""Stands among the document's key words; a PDF without it is not overwritten."""


def is_there() -> bool:
    """Return whether what typesets is installed."""
    from importlib.util import find_spec

    return find_spec("typst") is not None


def write_pdf(sheets: Sequence[dict[str, Any]], run: Run) -> bytes:
    """Return the sheets as the bytes of one PDF; the same input gives the same bytes.

    Parameters
    ----------
    sheets : sequence of dict
        From `matter` and `decisions`, in the order of printing.
    run : Run
    """
    import typst

    data = {**run.data(), "mark": MARK, "sheets": list(sheets)}
    text = json.dumps(data, ensure_ascii=False)
    own = text.isascii() or set(text) <= _covered()
    folder = files("gudgeon.faces.paper")
    with as_file(folder.joinpath("fonts")) as fonts:
        parts: Any = {  # several files at once, which its types do not tell
            "main.typ": folder.joinpath("paper.typ").read_bytes(),
            "data.json": text.encode("utf-8", "replace"),
        }
        compiler = typst.Compiler(
            parts,
            font_paths=[str(fonts)],
            ignore_system_fonts=own,
        )
        made = compiler.compile(format="pdf")
    assert isinstance(made, bytes)
    return made


@cache
def _covered() -> frozenset[str]:
    """Return the signs that the fonts of the sheets hold; for others the system is asked."""
    text = files("gudgeon.faces.paper").joinpath("fonts/covered.txt").read_text("utf-8")
    return frozenset(text) | {"\n"}
