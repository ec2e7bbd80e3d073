"""Line and column of every key and value of a cell file, looked up only when a fault is told."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from gudgeon.cell.faults import Place
from gudgeon.cell.toml_places import (
    HEADS,
    header_path,
    items_of,
    key_of,
    names_of,
    root_of,
    value_of,
)

if TYPE_CHECKING:
    from tree_sitter import Node

__all__ = ["Path", "Source"]

Path = tuple[str | int, ...]
"""Keys and places in lists, such as ``("stations", 0, "at", 2)``."""

Span = tuple[int, int, int]  # line from 0, first and last column in characters


class Source:
    """The text of a cell file, with the place of each entry.

    Parameters
    ----------
    file : str
        Name shown in messages.
    text : str
        What the person wrote.
    legible : str, optional
        The same text with unreadable lines emptied, line for line; places are taken from it.
    """

    def __init__(self, file: str, text: str, legible: str | None = None) -> None:
        self.file = file
        self.lines = text.splitlines()
        self._legible = text if legible is None else legible

    def line(self, number: int, start: int | None = None, end: int | None = None) -> Place:
        """Return the place of line `number`, counted from 1."""
        text = self.lines[number - 1] if 0 < number <= len(self.lines) else ""
        return Place(self.file, number, text, start, end)

    def whole(self) -> Place:
        """Return the file itself as a place."""
        return Place(self.file)

    def key(self, path: Path) -> Place:
        """Return the place of the key of `path`; for a section, of its header."""
        return self._found(self._spans[0], path)

    def value(self, path: Path) -> Place:
        """Return the place of the value of `path`; for a section, of its header."""
        found = self._spans[1].get(path)
        return self.key(path) if found is None else self._place(found)

    def _found(self, spans: dict[Path, Span], path: Path) -> Place:
        # A section can be given by the headers of its sub-sections only; go up until one is found.
        while path:
            if path in spans:
                return self._place(spans[path])
            path = path[:-1]
        return self.whole()

    def _place(self, span: Span) -> Place:
        line, start, end = span
        return self.line(line + 1, start, end)

    @cached_property
    def _spans(self) -> tuple[dict[Path, Span], dict[Path, Span]]:
        """Spans of keys and of values by path."""
        keys: dict[Path, Span] = {}
        values: dict[Path, Span] = {}
        counts: dict[Path, int] = {}
        lines = [line.encode("utf-8") for line in self._legible.split("\n")]

        def span(node: Node) -> Span:
            row, first = node.start_point
            last_row, last = node.end_point
            line = lines[row] if row < len(lines) else b""
            end = last if last_row == row else len(line)
            # The parser counts bytes; people count characters.
            return (
                row,
                len(line[:first].decode("utf-8", "replace")),
                len(line[:end].decode("utf-8", "replace")),
            )

        def read_pair(node: Node, under: Path) -> None:
            key, value = key_of(node), value_of(node)
            if key is None or value is None:
                return
            path = (*under, *names_of(key))
            keys.setdefault(path, span(key))
            read_value(value, path)

        def read_value(node: Node, path: Path) -> None:
            values.setdefault(path, span(node))
            if node.type == "array":
                for number, item in enumerate(items_of(node)):
                    read_value(item, (*path, number))
            elif node.type == "inline_table":
                for child in node.children:
                    if child.type == "pair":
                        read_pair(child, path)

        def read_header(node: Node) -> Path:
            path, key = header_path(node, counts), key_of(node)
            if key is not None:
                if node.type == "table_array_element":
                    keys.setdefault(path[:-1], span(key))
                keys.setdefault(path, span(key))
            return path

        for node in root_of(self._legible.encode("utf-8")).children:
            if node.type == "pair":
                read_pair(node, ())
            elif node.type in HEADS:
                under = read_header(node)
                for child in node.children:
                    if child.type == "pair":
                        read_pair(child, under)
        return keys, values
