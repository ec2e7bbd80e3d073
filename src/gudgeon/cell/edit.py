"""Single entries of a cell file's text changed; every other byte stays as the person wrote it.

The text is parsed for places only; what is put in is written as it was typed.  After each change
the new text is read again and compared with the same change made to the data: if anything else
differs the change is refused, so that no edit can touch what it was not asked to touch.

What belongs to a repeated section, and so goes with it when it is moved or taken out: its lines
from its header to its last entry, sections inside it included; comments between these; comment
lines that stand directly on its header, or directly under its last entry.  A comment that blank
lines part from the entries above and from the header below belongs to neither and stays where it
is, and so do the blank lines between sections.
"""

from __future__ import annotations

import copy
import datetime
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from gudgeon.cell.entry import Entry, Shape, entries
from gudgeon.cell.model import Cell
from gudgeon.cell.syntax import read_toml
from gudgeon.cell.toml_places import Block, Outline, outline
from gudgeon.quantity.kinds import Kind

__all__ = ["Change", "EditError", "Typed", "changed", "declared", "path_of", "written_path"]

Path = tuple[str | int, ...]
Typed = str | Sequence[str]
"""What was typed: one text, or one for each value of a list."""

_PATH: Final = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)(?:\[(\d+)\])?")
_INTEGER: Final = re.compile(r"[+-]?\d+")
_COMMENTED: Final = re.compile(rb"^(?:[^\"'#\n]|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*')*#", re.MULTILINE)
"""A line with a comment; a number sign within quotation marks is none."""

_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


class EditError(ValueError):
    """A change that cannot be made; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a cell file.

    Attributes
    ----------
    path : str
        Such as ``"unit.face_height"``, ``"stations[2].at"`` (counted from 1), or ``"tools[3]"``
        for a whole repeated section.
    typed : str, sequence of str, or None
        The new value as typed; ``None`` takes the entry or section out.  For repeated sections
        such as ``"tools"`` an empty sequence adds one behind the last; for one of them, such as
        ``"tools[3]"``, the place where it shall stand, counted from 1: ``"1"``.
    """

    path: str
    typed: Typed | None


def path_of(written: str) -> Path:
    """Return the keys and places (from 0) of a path such as ``"stations[2].at"``.

    Raises
    ------
    EditError
        If it is no such path.
    """
    path: list[str | int] = []
    for part in written.split("."):
        found = _PATH.fullmatch(part)
        if found is None:
            raise EditError(f'"{written[:80]}" is no entry; write for example  unit.face_height')
        path.append(found[1])
        if found[2] is not None:
            if int(found[2]) < 1:
                raise EditError(f'"{written[:80]}": sections are counted from 1')
            path.append(int(found[2]) - 1)
    return tuple(path)


def declared(path: Path) -> Entry:
    """Return the declaration of an entry or section.

    Raises
    ------
    EditError
        If no such entry is declared.
    """
    of: type = Cell
    found: Entry | None = None
    for part in path:
        if isinstance(part, int):
            if found is None or found.shape is not Shape.SECTIONS:
                raise EditError(f'"{written_path(path)}": only repeated sections are counted')
            continue
        known = entries(of)
        if part not in known:
            raise EditError(f'"{written_path(path)}": "{part}" is not an entry of a cell file')
        found = known[part]
        if found.of is not None:
            of = found.of
    assert found is not None
    return found


def changed(text: str, changes: Sequence[Change]) -> str:
    """Return the text with all changes made, in their order.

    Raises
    ------
    EditError
        If one cannot be made; nothing is changed then.
    """
    for change in changes:
        text = _changed(text, change)
    return text


def _changed(text: str, change: Change) -> str:
    path = path_of(change.path)
    entry = declared(path)
    data, _, _ = read_toml("cell", text)
    wanted = copy.deepcopy(data)
    seen = outline(text)
    whole = entry.shape in (Shape.SECTION, Shape.SECTIONS)
    if change.typed is None:
        if whole and entry.shape is Shape.SECTIONS and not isinstance(path[-1], int):
            raise EditError(f'"{change.path}": say which one, for example  {change.path}[1]')
        _take_out(wanted, path, change.path)
        new = _without(text, seen, path)
    elif whole:
        if entry.shape is Shape.SECTION:
            raise EditError(f'"{change.path}" is a section: change its entries one by one')
        if isinstance(path[-1], int):
            to = _place_wanted(wanted, path, change)
            new = _with_moved(text, seen, path, to)
        else:
            _add_item(wanted, path, change.path)
            new = _with_block(text, seen, (*path, _count(seen, path)), of_many=True)
    else:
        literal = _literal(entry, change.typed, change.path)
        _put(wanted, path, _value_of(literal), change.path)
        new = _with_value(text, seen, path, literal)
    got, _, _ = read_toml("cell", new)
    if got != wanted:
        raise EditError(
            f'"{change.path}" cannot be changed here without touching something else; '
            "change it in the file by hand"
        )
    return new


def written_path(path: Path) -> str:
    """Return a path as `path_of` reads it."""
    words = ""
    for part in path:
        words += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if words else part
    return words


# --- values ---------------------------------------------------------------------------------------


def _literal(entry: Entry, typed: Typed, path: str) -> str:
    """Return what is written behind the equals sign."""
    several = entry.shape is not Shape.ONE
    if several != (not isinstance(typed, str)):
        if entry.kind is Kind.DIRECTION and not isinstance(typed, str):
            return "[" + ", ".join(_plain(item, path) for item in typed) + "]"
        wanted = "one value for each place" if several else "one value"
        raise EditError(f'"{path}" takes {wanted}')
    if isinstance(typed, str):
        return _one(entry, typed, path)
    return "[" + ", ".join(_one(entry, item, path) for item in typed) + "]"


def _one(entry: Entry, typed: str, path: str) -> str:
    typed = typed.strip() if entry.kind is not Kind.TEXT else typed
    if entry.kind is Kind.YES_NO and typed in ("true", "false"):
        return typed
    if entry.kind is Kind.INTEGER and _INTEGER.fullmatch(typed):
        return str(int(typed))
    if entry.kind is Kind.NUMBER and _NUMBER.fullmatch(typed):
        return _plain(typed, path)
    if entry.kind is Kind.DATE:
        try:
            return datetime.date.fromisoformat(typed).isoformat()
        except ValueError:
            pass  # the reader says what is wrong with it
    # What JSON writes for printable text is a basic string of TOML too.
    return json.dumps(typed, ensure_ascii=False).replace("\x7f", "\\u007f")


def _plain(typed: str, path: str) -> str:
    typed = typed.strip()
    if not _NUMBER.fullmatch(typed):
        raise EditError(f'"{path}": "{typed[:40]}" is not a number')
    sign = typed[0] if typed[0] in "+-" else ""
    body = typed.removeprefix(sign).lower()
    whole, point, rest = body.partition(".")
    rest, e, power = (rest if point else whole).partition("e")
    whole = whole if point else rest
    rest = rest if point else ""
    whole = whole.lstrip("0") or "0"
    return f"{sign}{whole}{'.' + (rest or '0') if point else ''}{e}{power}"


def _value_of(literal: str) -> Any:
    data, _, faults = read_toml("cell", f"value = {literal}")
    assert not faults, literal
    return data["value"]


# --- the same change on the data ------------------------------------------------------------------


def _inside(data: Any, path: Path, written: str, make: bool) -> Any:
    """Return the table that holds the last key of `path`."""
    at = data
    for part in path[:-1]:
        if isinstance(part, int):
            if not isinstance(at, list) or part >= len(at):
                count = len(at) if isinstance(at, list) else 0
                raise EditError(f'"{written}": there are only {count} of these')
            at = at[part]
        elif part in at:
            at = at[part]
        elif make:
            at[part] = {}
            at = at[part]
        else:
            raise EditError(f'"{written}" is not in the file')
    return at


def _put(data: Any, path: Path, value: Any, written: str) -> None:
    table = _inside(data, path, written, make=True)
    if not isinstance(table, dict):
        raise EditError(f'"{written}": the section is not written as a section')
    table[path[-1]] = value


def _add_item(data: Any, path: Path, written: str) -> None:
    table = _inside(data, path, written, make=True)
    if not isinstance(table.setdefault(path[-1], []), list):
        raise EditError(f'"{written}" is not written as repeated sections')
    table[path[-1]].append({})


def _take_out(data: Any, path: Path, written: str) -> None:
    table = _inside(data, path, written, make=False)
    last = path[-1]
    if isinstance(last, int):
        if not isinstance(table, list) or last >= len(table):
            count = len(table) if isinstance(table, list) else 0
            raise EditError(f'"{written}": there are only {count} of these')
        del table[last]
        if not table:
            above = _inside(data, path[:-1], written, make=False)
            del above[path[-2]]
        return
    if not isinstance(table, dict) or last not in table:
        raise EditError(f'"{written}" is not in the file')
    del table[last]


def _place_wanted(data: Any, path: Path, change: Change) -> int:
    """Move one of a list in `data`; return its new place, from 0."""
    *_, place = path
    members = _inside(data, path, change.path, make=False)
    assert isinstance(place, int)
    if not isinstance(members, list) or place >= len(members):
        count = len(members) if isinstance(members, list) else 0
        raise EditError(f'"{change.path}": there are only {count} of these')
    if not isinstance(change.typed, str):
        raise EditError(f'"{change.path}": a new one is added with  {written_path(path[:-1])}')
    typed = change.typed.strip()
    if not re.fullmatch(r"[1-9][0-9]{0,5}", typed) or int(typed) > len(members):
        raise EditError(
            f'"{change.path}" can stand at a place from 1 to {len(members)}, not at "{typed[:40]}"'
        )
    members.insert(int(typed) - 1, members.pop(place))
    return int(typed) - 1


# --- the text -------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Cut:
    """Bytes to replace."""

    data: bytes
    pieces: list[tuple[int, int, bytes]] = field(default_factory=list)

    def text(self) -> str:
        out = self.data
        for start, end, new in sorted(self.pieces, reverse=True):
            out = out[:start] + new + out[end:]
        return out.decode("utf-8")


def _with_value(text: str, seen: Outline, path: Path, literal: str) -> str:
    cut = _Cut(text.encode("utf-8"))
    there = seen.values.get(path)
    if there is not None:
        cut.pieces.append((*there, literal.encode()))
        return cut.text()
    key = str(path[-1])
    inline = seen.inline.get(path[:-1])
    if inline is not None:
        start, end, filled = inline
        body = cut.data[start : end - 1].rstrip()
        glue = ", " if filled else " "
        new = f"{glue}{key} = {literal} ".encode()
        cut.pieces.append((start + len(body), end - 1, new))
        return cut.text()
    block = seen.block(path[:-1])
    if block is None:
        if len(path) > 1 and isinstance(path[-2], int):
            raise EditError(f'"{written_path(path)}": there is no such section yet; add it first')
        text = _with_block(text, seen, path[:-1], of_many=False)
        return _with_value(text, outline(text), path, literal)
    at, lead = _place_in(block, path, seen)
    line = f"{lead}{key} = {literal}{seen.ending}"
    if at > 0 and not cut.data[:at].endswith(b"\n"):
        line = seen.ending + line
    cut.pieces.append((at, at, line.encode()))
    return cut.text()


def _place_in(block: Block, path: Path, seen: Outline) -> tuple[int, str]:
    """Return where a new entry goes in its section: behind those declared before it."""
    order = list(_entries_of(path[:-1]))
    rank = {name: place for place, name in enumerate(order)}
    own = rank.get(str(path[-1]), len(order))
    at, lead = block.first, ""
    for name, pair in block.pairs:
        if rank.get(name, -1) < own:
            at, lead = pair.next_line, pair.lead
    return at, lead


def _entries_of(path: Path) -> dict[str, Entry]:
    if not path:
        return entries(Cell)
    of = declared(path).of
    assert of is not None
    return entries(of)


def _with_block(text: str, seen: Outline, path: Path, *, of_many: bool) -> str:
    """Return the text with a new, empty section in its place in the order of the file."""
    for place, part in enumerate(path[:-1]):
        if isinstance(part, int) and seen.block(path[: place + 1]) is None:
            raise EditError(f'"{written_path(path)}": there is no such section yet; add it first')
    names = ".".join(str(part) for part in path if isinstance(part, str))
    head = f"[[{names}]]" if of_many else f"[{names}]"
    at = _place_of(seen, path)
    data = text.encode("utf-8")
    before, end = data[:at], seen.ending
    glue = "" if not before.strip() else end if before.endswith(b"\n") else end + end
    if before.endswith((b"\n\n", b"\r\n\r\n")):
        glue = ""
    after = end if data[at:].strip() and not data[at:].startswith((b"\n", b"\r\n")) else ""
    new = f"{glue}{head}{end}{after}".encode()
    return (before + new + data[at:]).decode("utf-8")


def _count(seen: Outline, path: Path) -> int:
    return sum(block.path[:-1] == path for block in seen.blocks if len(block.path) == len(path) + 1)


def _place_of(seen: Outline, path: Path) -> int:
    """Return the byte where a new section goes.

    Behind the last one in the file that is declared before it, among its nearest kin.
    """
    mine = _rank(path)
    before = [block for block in seen.blocks if _rank(block.path) <= mine]
    for shared in range(len(path) - 1, 0, -1):
        kin = [block for block in before if block.path[:shared] == path[:shared]]
        if kin:
            return kin[-1].end
    return before[-1].end if before else seen.top_end


def _rank(path: Path) -> tuple[int, ...]:
    """Return the place of a section in the order of the declarations, outermost first."""
    ranks: list[int] = []
    of: type | None = Cell
    for part in path:
        if isinstance(part, int):
            ranks.append(part)
            continue
        known = entries(of) if of is not None else {}
        names = list(known)
        ranks.append(names.index(part) if part in known else len(names))
        of = known[part].of if part in known else None
        if part in known and known[part].shape is Shape.SECTION:
            ranks.append(0)
    return tuple(ranks)


def _with_moved(text: str, seen: Outline, path: Path, to: int) -> str:
    """Return the text with one repeated section at another place among its kind.

    What belongs to each changes places; what stands between them stays.
    """
    data = text.encode("utf-8")
    place = path[-1]
    assert isinstance(place, int)
    low, high = sorted((place, to))
    spans = [_whole(data, seen, (*path[:-1], one)) for one in range(low, high + 1)]
    pieces = [data[start:end] for start, end in spans]
    pieces.insert(to - low, pieces.pop(place - low))
    if spans[-1][1] == len(data) and not data.endswith(b"\n") and low != high:
        # The file's last line has no end: the line that comes to stand last gives its own.
        at = pieces.index(data[slice(*spans[-1])])
        body = pieces[-1].rstrip(b"\r\n")
        pieces[at] += pieces[-1][len(body) :]
        pieces[-1] = body
    cut = _Cut(data)
    cut.pieces += [(*span, piece) for span, piece in zip(spans, pieces, strict=True)]
    return cut.text()


def _whole(data: bytes, seen: Outline, path: Path) -> tuple[int, int]:
    """Return the first and last byte of all that belongs to one repeated section."""
    written = written_path(path)
    own = [at for at, one in enumerate(seen.blocks) if one.path[: len(path)] == path]
    if own:
        if own[-1] - own[0] + 1 != len(own) or seen.blocks[own[0]].path != path:
            raise EditError(
                f'"{written}" is not written in one piece; move its parts together in the file'
            )
        return seen.blocks[own[0]].start, _own_end(data, seen.blocks[own[-1]])
    there = seen.values.get(path)
    within = seen.values.get(path[:-1])
    if there is None or within is None:
        raise EditError(f'"{written}" is not written as a section; move it by hand')
    if _COMMENTED.search(data[slice(*within)]):
        raise EditError(f'"{written}" stands in a list with comments; move it by hand')
    return there


def _own_end(data: bytes, block: Block) -> int:
    """Return the byte behind a section's last entry and the comments directly under it."""
    entries_end = max((pair.next_line for _, pair in block.pairs), default=block.first)
    end = at = entries_end
    while at < block.end:
        found = data.find(b"\n", at, block.end)
        after = block.end if found < 0 else found + 1
        if not data[at:after].strip():
            break
        end = at = after
    return end


def _without(text: str, seen: Outline, path: Path) -> str:
    cut = _Cut(text.encode("utf-8"))
    own = [block for block in seen.blocks if block.path[: len(path)] == path]
    if isinstance(path[-1], int) or own:
        if not own:
            raise EditError(
                f'"{written_path(path)}" is not written as a section; take it out by hand'
            )
        for block in own:
            end = _own_end(cut.data, block)
            if block.start == 0 or cut.data[: block.start].endswith((b"\n\n", b"\r\n\r\n")):
                while cut.data[end : end + 2] == b"\r\n" or cut.data[end : end + 1] == b"\n":
                    end += 2 if cut.data[end : end + 2] == b"\r\n" else 1
            cut.pieces.append((block.start, end, b""))
        return cut.text()
    pair = seen.pairs.get(path)
    if pair is None:
        raise EditError(f'"{written_path(path)}" is not in the file')
    if pair.inline:
        raise EditError(f'"{written_path(path)}" stands in a short table; take it out by hand')
    cut.pieces.append((pair.line, pair.next_line, b""))
    return cut.text()
