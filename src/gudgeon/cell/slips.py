"""Faults of single entries: one small function a code, each returning a `Fault`.

The functions only say what is wrong; `reader` finds it.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Final

from gudgeon.cell.entry import Entry, Shape, entries
from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model import Cell
from gudgeon.quantity.kinds import BASE, Kind

__all__ = [
    "as_written",
    "backwards",
    "bare_number",
    "decimal_comma",
    "limit_text",
    "limits_text",
    "name_of",
    "no_direction",
    "not_a_choice",
    "not_a_quantity",
    "not_printable",
    "not_this_kind",
    "outside",
    "too_many",
    "two_currencies",
    "unknown_entry",
    "wrong_shape",
]

Path = tuple[str | int, ...]

_ANGLE_SIGNS: Final = {Kind.ANGLE: (57.29577951308232, "deg")}


def name_of(path: Path) -> str:
    """Return how an entry is called in messages: ``travel_x in [machine]``."""
    keys = [str(part) for part in path if isinstance(part, str)]
    if len(keys) == 1:
        return f"[{keys[0]}]"
    numbers = [part for part in path[:-1] if isinstance(part, int)]
    section = ".".join(keys[:-1])
    if not numbers or isinstance(path[-1], int):
        numbers = [
            part for place, part in enumerate(path) if isinstance(part, int) and place < _last(path)
        ]
    if numbers:
        return f"{keys[-1]} in [[{section}]] no. {numbers[-1] + 1}"
    return f"{keys[-1]} in [{section}]"


def _last(path: Path) -> int:
    """Return the place of the last key in a path."""
    return max(place for place, part in enumerate(path) if isinstance(part, str))


def as_written(value: object) -> str:
    """Return a value as it stands in the file, as far as that can be told."""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(as_written(item) for item in value[:4]) + "]"
    if isinstance(value, dict):
        return "a section"
    return str(value)


def limit_text(kind: Kind, base: float) -> str:
    """Return a limit of an entry in words, such as ``"0 mm"``."""
    if kind is Kind.SHARE:
        return f"{base * 100:g} %"
    if kind in _ANGLE_SIGNS:
        factor, unit = _ANGLE_SIGNS[kind]
        return f"{base * factor:g} {unit}"
    if kind in (Kind.NUMBER, Kind.INTEGER) or "money" in BASE[kind].base or kind is Kind.PER_YEAR:
        return f"{base:g}"
    return f"{base:g} {BASE[kind].shown}"


def limits_text(entry: Entry) -> str:
    """Return the limits of an entry in words, such as ``"above 0 mm and at most 9 mm"``."""
    assert entry.kind is not None
    rules = []
    if entry.above is not None:
        rules.append(f"above {limit_text(entry.kind, entry.above)}")
    if entry.low is not None:
        rules.append(f"{limit_text(entry.kind, entry.low)} or more")
    if entry.high is not None:
        rules.append(f"at most {limit_text(entry.kind, entry.high)}")
    return " and ".join(rules)


def unknown_entry(
    key: str, section: Path, known: Iterable[str], is_table: bool, at: Place
) -> Fault:
    """C004: a key that no cell file has."""
    known = list(known)
    near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
    homes = _homes(key)
    where = ".".join(str(part) for part in section if isinstance(part, str))
    if near:
        path = f"{where}.{near[0]}" if where else near[0]
        do = f"write  [{path}]" if is_table else f"write  {near[0]} = ..."
    elif homes:
        do = f"move it to {' or '.join(homes)}"
    else:
        listed = ", ".join(known)
        do = f"take it out, or put # before it; known here: {listed}"
    return Fault(
        "C004",
        "error",
        f'"{key}" is not an entry of {f"[{where}]" if where else "a cell file"}',
        (at,),
        "Entries with unknown names would be ignored without a word, so they are refused.",
        do,
    )


def _homes(key: str) -> list[str]:
    """Return the sections that do have `key`."""
    found: list[str] = []

    def search(of: type, path: str) -> None:
        for name, entry in entries(of).items():
            if entry.of is not None:
                search(entry.of, f"{path}.{name}" if path else name)
            elif name == key and path:
                found.append(f"[{path}]")

    search(Cell, "")
    return found[:3]


def bare_number(path: Path, shown: str, mend: str, at: Place, unit_words: str) -> Fault:
    """C011: a number without a unit."""
    return Fault(
        "C011",
        "error",
        f"{name_of(path)} has no unit",
        (at,),
        f"{unit_words} are both possible here."
        if " and " in unit_words
        else f"{shown} alone does not say what it counts.",
        mend,
    )


def decimal_comma(path: Path, problem: str, fix: str, at: Place) -> Fault:
    """C012: a decimal comma, or commas between thousands."""
    return Fault(
        "C012",
        "error",
        f"{name_of(path)}: {problem}",
        (at,),
        "A comma parts list items in this file; 12,500 could be read in two ways.",
        fix,
    )


def backwards(path: Path, low: str, high: str, places: tuple[Place, ...]) -> Fault:
    """C013: limits in the wrong order."""
    key = next(part for part in reversed(path) if isinstance(part, str))
    return Fault(
        "C013",
        "error",
        f"{name_of(path)} runs backwards",
        places,
        f'The first value is the lower end; "{low}" is above "{high}".',
        f'write  {key} = ["{high}", "{low}"]',
    )


def not_a_quantity(path: Path, problem: str, fix: str, reason: str, at: Place) -> Fault:
    """C010 and C014: text that is no quantity, or one of another kind."""
    if reason == "dimension":
        return Fault(
            "C014",
            "error",
            f"{name_of(path)}: {problem}",
            (at,),
            "A value with the unit of something else is a slip; nothing is converted by guess.",
            fix,
        )
    return Fault(
        "C010",
        "error",
        f"{name_of(path)}: {problem}",
        (at,),
        "A quantity is a number with its unit, and if wanted its spread behind +-.",
        fix,
    )


def _begun(doc: str) -> str:
    return doc[0].upper() + doc[1:]


def outside(path: Path, shown: str, rule: str, at: Place, doc: str) -> Fault:
    """C015: a value outside what is possible."""
    return Fault(
        "C015",
        "error",
        f"{name_of(path)} is {shown}, which cannot be",
        (at,),
        f"{_begun(doc)}: it must be {rule}.",
        f"write a value that is {rule}, or take the entry out until it is known",
    )


def not_a_choice(
    path: Path, shown: str, choices: tuple[str, ...], quoted: bool, at: Place
) -> Fault:
    """C016: not one of the words allowed."""
    bare = shown.strip('"')
    near = difflib.get_close_matches(bare.lower(), [c.lower() for c in choices], n=1, cutoff=0.5)
    key = next(part for part in reversed(path) if isinstance(part, str))
    mark = '"' if quoted else ""
    nearest = next((c for c in choices if near and c.lower() == near[0]), None)
    listed = " or ".join(f"{mark}{choice}{mark}" for choice in choices)
    # In a list only the value is written anew, else the whole entry.
    lead = "" if isinstance(path[-1], int) else f"{key} = "
    return Fault(
        "C016",
        "error",
        f"{name_of(path)} cannot be {shown}",
        (at,),
        f"Allowed are {listed}.",
        f"write  {lead}{mark}{nearest}{mark}" if nearest else f"write  {lead}{listed}",
    )


_FORMS: Final = {
    Shape.ONE: "one value",
    Shape.RANGE: "two values, the lower first",
    Shape.POINT: "three values: x, y and z",
    Shape.PAIR: "two values: tilt and turn",
    Shape.LIST: "a list of values",
    Shape.SECTION: "a section",
    Shape.SECTIONS: "repeated sections",
}


def wrong_shape(path: Path, entry: Entry, found: str, mend: str, at: Place) -> Fault:
    """C017: one value where a list is wanted, or the other way round."""
    return Fault(
        "C017",
        "error",
        f"{name_of(path)} holds {found}",
        (at,),
        f"{_begun(entry.doc)}: {_FORMS[entry.shape]}.",
        f"write  {mend}",
    )


def not_this_kind(path: Path, shown: str, kind: Kind, mend: str, at: Place) -> Fault:
    """C018: a number where text is wanted, and so on."""
    article = "" if kind in (Kind.YES_NO, Kind.TEXT) else "a "
    return Fault(
        "C018",
        "error",
        f"{name_of(path)} is {shown}; {article}{kind.value} is wanted",
        (at,),
        "Text stands between quotation marks; plain numbers, true and false stand without.",
        f"write  {mend}",
    )


def not_printable(path: Path, problem: str, at: Place) -> Fault:
    """C019: a name that no screen or printer can show."""
    return Fault(
        "C019",
        "error",
        f"{name_of(path)} {problem}",
        (at,),
        "Names are shown on screens, paper and in programs.",
        "write a short name in letters, digits and ordinary signs",
    )


def no_direction(path: Path, shown: str, at: Place) -> Fault:
    """C020: a direction that is none."""
    key = next(part for part in reversed(path) if isinstance(part, str))
    return Fault(
        "C020",
        "error",
        f"{name_of(path)}: {shown} is not a direction",
        (at,),
        "A direction is an axis with its sign, or three numbers that are not all zero.",
        f'write  {key} = "Z+"  or  {key} = [0, 0, 1]',
    )


def two_currencies(first: str, second: str, places: tuple[Place, ...]) -> Fault:
    """C021: sums of money in more than one currency."""
    return Fault(
        "C021",
        "error",
        f"sums of money stand in {first} and in {second}",
        places,
        "No rate of exchange is known here, and it changes daily.",
        f"write all sums in {first}, or all in {second}",
    )


def too_many(path: Path, count: int, most: int, at: Place) -> Fault:
    """C023: more of something than any cell has."""
    return Fault(
        "C023",
        "error",
        f"{name_of(path)} holds {count} entries",
        (at,),
        f"At most {most} are read, so that a slip cannot stop the computer.",
        "split the cell into several files",
    )
