"""Sheets as one HTML file that opens offline and prints; no script, nothing loaded."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment
from markupsafe import Markup

from gudgeon.faces.paper.matter import Run

__all__ = ["MARK", "write_page"]

MARK: Final = '<meta name="generator" content="Gudgeon sheets">'
"""Stands near the top of every file; one without it is not overwritten."""


def write_page(sheets: Sequence[dict[str, Any]], run: Run) -> str:
    """Return the sheets as the text of one HTML file; the same input gives the same text.

    Parameters
    ----------
    sheets : sequence of dict
        From `matter` and `decisions`, in the order of printing.
    run : Run
    """
    folder = files("gudgeon.faces.paper")
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.filters["drawn"] = Markup  # only of what `drawings` has checked
    environment.filters["css"] = _css_string
    template = environment.from_string(folder.joinpath("paper.html").read_text("utf-8"))
    return template.render(
        d=run.data(),
        sheets=list(sheets),
        fonts=_fonts(),
        css=Markup(folder.joinpath("paper.css").read_text("utf-8").strip()),
    )


def _fonts() -> list[dict[str, str]]:
    """Return the fonts of the sheets, each written into the file itself."""
    found = []
    folder = files("gudgeon.faces.paper").joinpath("fonts")
    for one in sorted(folder.iterdir(), key=lambda one: one.name):
        if one.name.endswith(".ttf"):
            family, _, weight = one.name.removesuffix(".ttf").rpartition("-")
            content = base64.b64encode(one.read_bytes()).decode("ascii")
            family = family.replace("-", " ").title()
            found.append({"family": family, "weight": weight, "content": content})
    return found


def _css_string(words: str) -> Markup:
    """Return `words` as a string of a style sheet: every sign that could end it is written out."""
    safe = "".join(
        char if char.isalnum() or char in " .,:-+()" else f"\\{ord(char):06x}" for char in words
    )
    return Markup(f'"{safe}"')
