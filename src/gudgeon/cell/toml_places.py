"""Byte places of sections, entries and values in a TOML text, for changing it in place."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from tree_sitter import Node

__all__ = [
    "HEADS", "Block", "Outline", "Pair", "header_path", "items_of", "key_of", "names_of", "outline",
    "root_of", "value_of",
]  # fmt: skip

Path = tuple[str | int, ...]

HEADS: Final = ("table", "table_array_element")
_KEYS: Final = ("bare_key", "quoted_key")


@dataclass(frozen=True, slots=True)
class Pair:
    """One entry.

    Attributes
    ----------
    line, next_line : int
        Bytes where its first line begins and where the line behind its last begins.
    lead : str
        White space in front of it.
    inline : bool
        It shares its lines with others, in a short table.
    """

    line: int
    next_line: int
    lead: str
    inline: bool


@dataclass(slots=True)
class Block:
    """One section with its header.

    Attributes
    ----------
    path : Path
    start : int
        Byte of the header's line, or of the comment that stands directly on it.
    first : int
        Byte of the line behind the header.
    end : int
        Byte behind its last entry or comment; blank lines and the next one's comment are not its.
    pairs : list of (key, Pair)
    """

    path: Path
    start: int
    first: int
    end: int
    pairs: list[tuple[str, Pair]] = field(default_factory=list)


@dataclass(slots=True)
class Outline:
    """Where everything stands.

    Attributes
    ----------
    blocks : list of Block
        In the order of the file.
    pairs : dict
        Every entry by its path.
    values : dict
        First and last byte of every value, lists' items too.
    inline : dict
        First and last byte of short tables ``{ ... }``, and whether something stands in them.
    top_end : int
        Byte where a first section could stand.
    ending : str
        Line end of the file.
    """

    blocks: list[Block]
    pairs: dict[Path, Pair]
    values: dict[Path, tuple[int, int]]
    inline: dict[Path, tuple[int, int, bool]]
    top_end: int
    ending: str

    def block(self, path: Path) -> Block | None:
        """Return the section of that path, if it has a header."""
        return next((block for block in self.blocks if block.path == path), None)


def outline(text: str) -> Outline:
    """Return the places of `text`; lines that are not TOML are left out."""
    data = text.encode("utf-8")
    return _Walk(data).outline(root_of(data))


class _Walk:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.pairs: dict[Path, Pair] = {}
        self.values: dict[Path, tuple[int, int]] = {}
        self.inline: dict[Path, tuple[int, int, bool]] = {}
        self.counts: dict[Path, int] = {}

    def outline(self, root: Node) -> Outline:
        blocks: list[Block] = []
        top: list[tuple[str, Pair]] = []
        heads = [node for node in root.children if node.type in HEADS]
        for node in root.children:
            if node.type == "pair":
                self._pair(node, (), top, inline=False)
        for node in heads:
            path = header_path(node, self.counts)
            line = self._line_of(node.start_byte)
            head_end = next(
                (child.end_byte for child in node.children if child.type in ("]", "]]")),
                node.start_byte,
            )
            block = Block(path, line, self._behind(head_end), 0)
            for child in node.children:
                if child.type == "pair":
                    self._pair(child, path, block.pairs, inline=False)
            blocks.append(block)
        for number, block in enumerate(blocks):
            stop = blocks[number + 1].start if number + 1 < len(blocks) else len(self.data)
            block.end = self._last_own(block.first, stop)
        for number, block in enumerate(blocks):
            floor = blocks[number - 1].end if number else 0
            block.start = max(self._with_comment(block.start), floor)
        if blocks:
            top_end = self._last_own(0, blocks[0].start) if top else blocks[0].start
        else:
            top_end = len(self.data)
        return Outline(
            blocks,
            self.pairs,
            self.values,
            self.inline,
            top_end,
            "\r\n" if self.data.count(b"\r\n") * 2 > self.data.count(b"\n") else "\n",
        )

    # --- lines

    def _line_of(self, at: int) -> int:
        return self.data.rfind(b"\n", 0, at) + 1

    def _behind(self, at: int) -> int:
        found = self.data.find(b"\n", at)
        return len(self.data) if found < 0 else found + 1

    def _last_own(self, first: int, stop: int) -> int:
        """Return the byte behind the last line before `stop` that belongs to what is above.

        Comment lines that stand directly on the next header belong to that header, unless no blank
        line parts them from the entries above.
        """
        lines: list[tuple[int, int]] = []
        at = first
        while at < stop:
            after = min(self._behind(at), stop)
            lines.append((at, after))
            at = after
        while lines and not self.data[slice(*lines[-1])].strip():
            lines.pop()
        kept = list(lines)
        while kept and self.data[slice(*kept[-1])].lstrip().startswith(b"#"):
            kept.pop()
        parted = len(kept) < len(lines) and (not kept or not self.data[slice(*kept[-1])].strip())
        if parted and stop < len(self.data):
            lines = kept
            while lines and not self.data[slice(*lines[-1])].strip():
                lines.pop()
        return lines[-1][1] if lines else first

    def _with_comment(self, line: int) -> int:
        """Return the first line of the comment that stands directly on a header."""
        while line > 0:
            above = self._line_of(line - 1)
            if not self.data[above:line].lstrip().startswith(b"#"):
                break
            line = above
        return line

    # --- nodes

    def _pair(
        self, node: Node, under: Path, into: list[tuple[str, Pair]] | None, *, inline: bool
    ) -> None:
        key, value = key_of(node), value_of(node)
        if key is None or value is None:
            return
        names = names_of(key)
        path = (*under, *names)
        line = self._line_of(node.start_byte)
        before = self.data[line : node.start_byte]
        lead = before.decode("utf-8", "replace") if not before.strip() else ""
        pair = Pair(line, self._behind(node.end_byte), lead, inline)
        self.pairs.setdefault(path, pair)
        if into is not None:
            into.append((names[0], pair))
        self._value(value, path)

    def _value(self, node: Node, path: Path) -> None:
        self.values.setdefault(path, (node.start_byte, node.end_byte))
        if node.type == "array":
            for number, item in enumerate(items_of(node)):
                self._value(item, (*path, number))
        elif node.type == "inline_table":
            inner = [child for child in node.children if child.type == "pair"]
            self.inline[path] = (node.start_byte, node.end_byte, bool(inner))
            for child in inner:
                self._pair(child, path, None, inline=True)


# --- what all readers of places share -------------------------------------------------------------


def root_of(data: bytes) -> Node:
    """Return the root of the tree of a TOML text in UTF-8; lines that are not TOML are errors."""
    import tree_sitter
    import tree_sitter_toml

    language = tree_sitter.Language(tree_sitter_toml.language())
    return tree_sitter.Parser(language).parse(data).root_node


def key_of(node: Node) -> Node | None:
    """Return the key of an entry or of a header."""
    return next((child for child in node.children if child.type in (*_KEYS, "dotted_key")), None)


def value_of(node: Node) -> Node | None:
    """Return the value of an entry; a comment behind it counts as a child of the entry too."""
    return node.children[2] if len(node.children) > 2 else None


def items_of(node: Node) -> list[Node]:
    """Return the values of a list."""
    return [child for child in node.children if child.type not in ("[", "]", ",", "comment")]


def names_of(node: Node) -> list[str]:
    """Return the names of a key; the tree of a dotted one leans to the left, one level a dot."""
    names: list[str] = []
    rest = [node]
    while rest:
        one = rest.pop()
        text = (one.text or b"").decode("utf-8", "replace")
        if one.type == "dotted_key":
            rest.extend(one.children)
        elif one.type == "quoted_key":
            names.append(text[1:-1])
        elif one.type == "bare_key":
            names.append(text)
    return names[::-1]


def header_path(node: Node, counts: dict[Path, int]) -> Path:
    """Return the path of a section; `counts` holds how many of each repeated one came so far."""
    key = key_of(node)
    if key is None:
        return ("",)
    names = names_of(key)
    path: Path = ()
    for depth, name in enumerate(names):
        path = (*path, name)
        if depth == len(names) - 1 and node.type == "table_array_element":
            counts[path] = counts.get(path, 0) + 1
        if path in counts:
            path = (*path, counts[path] - 1)
    return path
