"""The report: every answer with its drawings in one HTML file that opens offline and prints.

It holds no script and loads nothing.  Text is escaped by the template; drawings are taken in only
after a check that they are plain drawing marks.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment
from markupsafe import Markup

from gudgeon.answer import Answer, Figure, Picture, Table
from gudgeon.faces.gauge import gauge_svg, verdict_svg
from gudgeon.faces.wording import cells, clean, is_number, typeset, worded

__all__ = ["MARK", "DrawingError", "drawing_markup", "write_report"]

MARK: Final = '<meta name="generator" content="Gudgeon report">'
"""Stands near the top of every report; a file without it is not overwritten."""

SVG: Final = "http://www.w3.org/2000/svg"
DRAWN: Final = frozenset(
    {"svg", "title", "desc", "defs", "pattern", "clipPath", "g", "path", "circle", "ellipse"}
    | {"rect", "line", "polyline", "polygon", "text", "tspan"}
)
"""Elements that a drawing may hold; all others are refused."""

ROWS_MOST: Final = 300
"""Rows of a table on the page."""

_LOCAL: Final = re.compile(r"url\(#([A-Za-z0-9_.-]+)\)")


class DrawingError(ValueError):
    """A picture holds more than plain drawing marks."""


@dataclass(frozen=True, slots=True)
class _Page:
    """One answer, ready for the template."""

    id: str
    asks: str
    word: str
    shape: Markup
    answer: Answer
    figures: list[dict[str, Any]]
    pictures: list[dict[str, Any]]
    tables: list[dict[str, Any]]


def write_report(
    answers: Sequence[Answer],
    cell_name: str,
    *,
    asks: Mapping[str, str],
    date: str,
    inputs: Sequence[tuple[str, str]] = (),
    failed: Sequence[str] = (),
    warnings: Sequence[str] = (),
    version: str = "",
) -> str:
    """Return the report as the text of one HTML file; the same input gives the same text.

    Parameters
    ----------
    answers : sequence of Answer
        In the order in which they are shown.
    cell_name : str
        Title of the report.
    asks : mapping
        The plain question by the name of each answer.
    date : str
        Day of the answers, such as ``"2030-05-17"``; a parameter, so that nothing here reads a
        clock.
    inputs : sequence of (name, digest)
        Files that the answers rest on, with their SHA-256.
    failed : sequence of str
        Questions that could not be worked out because of a fault in the program.
    warnings : sequence of str
        What is doubtful in the cell file.
    version : str
        Version of the program.
    """
    folder = files("gudgeon.faces")
    environment = Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, finalize=_printable
    )
    environment.filters["typeset"] = typeset
    template = environment.from_string(folder.joinpath("report.html").read_text("utf-8"))
    return template.render(
        cell_name=cell_name,
        date=date,
        version=version,
        inputs=list(inputs),
        failed=list(failed),
        warnings=list(warnings),
        css=Markup(folder.joinpath("report.css").read_text("utf-8").strip()),
        pages=[_page(answer, asks.get(answer.question, answer.question)) for answer in answers],
    )


def drawing_markup(picture: Picture, prefix: str) -> Markup:
    """Return the drawing as markup for a page, its ids made unique by `prefix`.

    Raises
    ------
    DrawingError
        If it is not well-formed SVG or holds anything but plain drawing marks: a script, a link, a
        reference to the outside, a handler.
    """
    if "<!" in picture.svg or "<?" in picture.svg:
        raise DrawingError(f"picture {picture.name}: declarations are not plain drawing marks")
    try:
        root = ET.fromstring(picture.svg)  # no declarations: nothing can be expanded
    except ET.ParseError as problem:
        raise DrawingError(f"picture {picture.name}: not well-formed: {problem}") from None
    if root.tag != f"{{{SVG}}}svg":
        raise DrawingError(f"picture {picture.name}: not an SVG element")
    for element in root.iter():
        tag = str(element.tag).removeprefix(f"{{{SVG}}}")
        if tag not in DRAWN:
            raise DrawingError(f"picture {picture.name}: <{tag}> is not a drawing mark")
        for key, value in element.attrib.items():
            _check_attribute(picture.name, key, value)
            if key == "id":
                element.set(key, f"{prefix}-{value}")
            elif "url(" in value:
                element.set(key, _LOCAL.sub(rf"url(#{prefix}-\1)", value))
    _give_title(root, picture.title, f"{prefix}-title")
    ET.register_namespace("", SVG)
    return Markup(ET.tostring(root, encoding="unicode"))


def _check_attribute(name: str, key: str, value: str) -> None:
    bare = key.rsplit("}", 1)[-1].lower()
    if bare.startswith("on") or bare in ("href", "src", "style") or "javascript:" in value.lower():
        raise DrawingError(f"picture {name}: the attribute {bare} is not allowed")
    if "url(" in _LOCAL.sub("", value):
        raise DrawingError(f"picture {name}: {bare} refers to the outside")


def _give_title(root: ET.Element, title: str, title_id: str) -> None:
    found = root.find(f"{{{SVG}}}title")
    if found is None:
        found = ET.Element(f"{{{SVG}}}title")
        root.insert(0, found)
    found.text = clean(title)
    found.set("id", title_id)
    root.attrib.pop("aria-label", None)
    root.set("role", "img")
    root.set("aria-labelledby", title_id)


def _page(answer: Answer, asks: str) -> _Page:
    section = re.sub(r"[^a-z0-9]+", "-", answer.question.lower()).strip("-") or "question"
    return _Page(
        id=section,
        asks=asks,
        word=answer.verdict.words,
        shape=Markup(verdict_svg(answer.verdict)),
        answer=answer,
        figures=[
            _figure(figure, f"{section}-figure-{count}")
            for count, figure in enumerate(answer.figures, start=1)
        ],
        pictures=[
            _picture(picture, f"{section}-picture-{count}")
            for count, picture in enumerate(answer.pictures, start=1)
        ],
        tables=[_table(table) for table in answer.tables],
    )


def _figure(figure: Figure, prefix: str) -> dict[str, Any]:
    said = worded(figure)
    svg = gauge_svg(figure)
    words = ", ".join(part for part in (said.value, said.limit) if part)
    picture = Picture(prefix, f"{figure.label}: {words}", svg)
    return {
        "label": figure.label,
        "value": said.value,
        "limit": said.limit,
        "note": figure.note,
        "gauge": drawing_markup(picture, prefix) if svg else "",
    }


def _picture(picture: Picture, prefix: str) -> dict[str, Any]:
    try:
        markup: str = drawing_markup(picture, prefix)
    except DrawingError as problem:
        markup = f"This picture was left out: {problem}"
    return {"title": picture.title, "markup": markup}


def _table(table: Table) -> dict[str, Any]:
    heads, columns = [], []
    title = table.title
    if len(table.rows) > ROWS_MOST:
        title += f" (the first {ROWS_MOST} of {len(table.rows)} rows; gudgeon ask --json has all)"
    for i, column in enumerate(table.columns):
        values = [row[i] for row in table.rows[:ROWS_MOST]]
        columns.append(cells(column, values))
        numbers = bool(values) and all(value is None or is_number(value) for value in values)
        side = "right" if numbers else "words"
        heads.append({"label": column.label, "unit": column.unit, "side": side})
    rows = [list(row) for row in zip(*columns, strict=True)]
    return {"title": title, "heads": heads, "rows": rows}


def _printable(value: Any) -> Any:
    """Clean what the template is about to print; markup of our own passes as it is."""
    return clean(value) if isinstance(value, str) and not isinstance(value, Markup) else value
