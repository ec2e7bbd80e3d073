"""From the text of a cell file to a frozen `Cell`, with every fault of the file in one run.

Walks the declarations in `model`; an entry that is faulty is left out (``None``) and told.  Nothing
is raised for what a person wrote.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass, field, replace
from typing import Any, Final, cast

from gudgeon.cell import slips
from gudgeon.cell.entry import Entry, Shape, entries
from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.model import Cell
from gudgeon.cell.places import Path, Source
from gudgeon.cell.syntax import read_toml
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import BASE, Kind

__all__ = ["ITEMS_MOST", "TEXT_LONGEST", "ReadCell", "read_cell"]

ITEMS_MOST: Final = 1000
"""Values in one list and sections of one name; a machine shop has fewer of everything."""

TEXT_LONGEST: Final = 200
"""Characters in a name."""

_COUNTS: Final = {Shape.RANGE: 2, Shape.POINT: 3, Shape.PAIR: 2}
_AXES: Final = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}


@dataclass(frozen=True, slots=True)
class ReadCell:
    """What came of a text.

    Attributes
    ----------
    cell : Cell
        All that could be read; entries with faults are absent.
    source : Source
        Places of the entries.
    faults : tuple of Fault
        In the order found.
    broken : frozenset of str
        First keys of the sections that hold errors; ``"*"`` if lines could not be read at all.
    """

    cell: Cell
    source: Source
    faults: tuple[Fault, ...]
    broken: frozenset[str]


@dataclass(slots=True)
class _Run:
    """One reading of one file."""

    source: Source
    faults: list[Fault] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)
    currency: str = ""
    currency_at: Path = ()
    currency_told: bool = False

    def tell(self, path: Path, fault: Fault) -> None:
        self.faults.append(fault)
        self.broken.add(str(path[0]))


def read_cell(text: str, file: str = "cell.toml") -> ReadCell:
    """Read a cell file.

    Parameters
    ----------
    text : str
        The whole file.
    file : str
        Its name in messages.
    """
    data, source, faults = read_toml(file, text)
    run = _Run(source)
    run.faults.extend(faults)
    if faults:
        run.broken.add("*")
    cell = cast(Cell, _section(run, Cell, data, ()))
    cell = replace(cell, currency=run.currency, file=file)
    return ReadCell(cell, source, tuple(run.faults), frozenset(run.broken))


def _section(run: _Run, of: type, data: dict[str, Any], path: Path) -> Any:
    declared = entries(of)
    for key, value in data.items():
        if key not in declared:
            is_table = isinstance(value, dict) or (
                isinstance(value, list) and bool(value) and isinstance(value[0], dict)
            )
            here = (*path, key)
            at = run.source.key(here if not _is_tables(value) else (*here, 0))
            run.tell(here, slips.unknown_entry(key, path, declared, is_table, at))
    found = {
        key: _entry(run, entry, data[key], (*path, key))
        for key, entry in declared.items()
        if key in data
    }
    return of(**{key: value for key, value in found.items() if value is not None})


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)


def _entry(run: _Run, entry: Entry, value: Any, path: Path) -> Any:
    """Read one entry; ``None`` if it is faulty."""
    key = path[-1]
    keys = ".".join(part for part in path if isinstance(part, str))
    if entry.shape is Shape.SECTION:
        assert entry.of is not None
        if isinstance(value, dict):
            return _section(run, entry.of, value, path)
        found = "repeated sections" if _is_tables(value) else slips.as_written(value)
        at = run.source.key((*path, 0) if _is_tables(value) else path)
        run.tell(path, slips.wrong_shape(path, entry, found, f"[{keys}]", at))
        return None
    if entry.shape is Shape.SECTIONS:
        return _sections(run, entry, value, path)
    assert entry.kind is not None
    if entry.shape is Shape.ONE:
        if isinstance(value, (list, dict)) and entry.kind is not Kind.DIRECTION:
            found = f"{len(value)} values" if isinstance(value, list) else "a section"
            mend = f"{key} = {_example(entry, 0)}"
            run.tell(path, slips.wrong_shape(path, entry, found, mend, run.source.value(path)))
            return None
        return _one(run, entry, value, path)
    return _several(run, entry, value, path)


def _sections(run: _Run, entry: Entry, value: Any, path: Path) -> Any:
    keys = ".".join(part for part in path if isinstance(part, str))
    assert entry.of is not None
    if not isinstance(value, list) or any(not isinstance(item, dict) for item in value):
        found = "a single section" if isinstance(value, dict) else slips.as_written(value)
        at = run.source.key(path)
        run.tell(path, slips.wrong_shape(path, entry, found, f"[[{keys}]]", at))
        return None
    if len(value) > ITEMS_MOST:
        at = run.source.key((*path, ITEMS_MOST))
        run.tell(path, slips.too_many(path, len(value), ITEMS_MOST, at))
        return None
    return tuple(
        _section(run, entry.of, item, (*path, number)) for number, item in enumerate(value)
    )


def _several(run: _Run, entry: Entry, value: Any, path: Path) -> Any:
    """Read a range, a point, a pose or a list."""
    key = path[-1]
    count = _COUNTS.get(entry.shape)
    if not isinstance(value, list) or (count is not None and len(value) != count):
        if isinstance(value, list):
            found = "one value" if len(value) == 1 else f"{len(value)} values"
        else:
            found = "a section" if isinstance(value, dict) else "one value"
        examples = ", ".join(_example(entry, place) for place in range(count or 2))
        if count is None and isinstance(value, str):
            examples = f'"{value}"'
        at = run.source.value(path)
        run.tell(path, slips.wrong_shape(path, entry, found, f"{key} = [{examples}]", at))
        return None
    if len(value) > ITEMS_MOST:
        at = run.source.value(path)
        run.tell(path, slips.too_many(path, len(value), ITEMS_MOST, at))
        return None
    items = [_one(run, entry, item, (*path, place)) for place, item in enumerate(value)]
    if any(item is None for item in items):
        return None
    if entry.shape is Shape.RANGE and items[0].value > items[1].value:
        places = (run.source.value((*path, 0)), run.source.value((*path, 1)))
        run.tell(path, slips.backwards(path, str(value[0]), str(value[1]), places))
        return None
    return tuple(items)


def _example(entry: Entry, place: int) -> str:
    if entry.kind is Kind.TEXT:
        return f'"{entry.choices[0]}"' if entry.choices else '"..."'
    if entry.kind is None or entry.kind not in BASE:
        return "1"
    unit = BASE[entry.kind].examples[0].split(maxsplit=1)[1]
    return f'"... {unit}"'


# --- one value ----------------------------------------------------------------------------------


def _one(run: _Run, entry: Entry, value: Any, path: Path) -> Any:
    kind = entry.kind
    assert kind is not None
    if kind is Kind.TEXT:
        return _text(run, entry, value, path)
    if kind is Kind.DIRECTION:
        return _direction(run, value, path)
    if kind is Kind.YES_NO:
        if isinstance(value, bool):
            return value
        mend = {"yes": "true", "no": "false", "true": "true", "false": "false"}
        _wrong_kind(run, kind, value, path, mend.get(str(value).lower(), "true"))
        return None
    if kind is Kind.DATE:
        if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
            return value
        _wrong_kind(run, kind, value, path, "2030-03-02")
        return None
    if kind is Kind.INTEGER:
        return _integer(run, entry, value, path)
    if kind is Kind.NUMBER and isinstance(value, (int, float)) and not isinstance(value, bool):
        if abs(value) > 1e12 or not math.isfinite(value):
            rule = "a number that can be counted"
            at = run.source.value(path)
            run.tell(path, slips.outside(path, str(value)[:40], rule, at, entry.doc))
            return None
        return _within(run, entry, Amount(float(value)), str(value), path)
    return _quantity(run, entry, kind, value, path)


def _quantity(run: _Run, entry: Entry, kind: Kind, value: Any, path: Path) -> Amount | None:
    from gudgeon.quantity.text import QuantityError, read

    if isinstance(value, (int, float)) and not isinstance(value, bool):
        _no_unit(run, str(value)[:40], kind, path, run.source.value(path))
        return None
    if not isinstance(value, str):
        example = BASE[kind].examples[0] if kind in BASE else "0.15"
        _wrong_kind(run, kind, value, path, f'"{example}"')
        return None
    try:
        written = read(value, kind)
    except QuantityError as problem:
        place = _marked(run.source.value(path), value, problem.span)
        if problem.reason == "no unit":
            _no_unit(run, value.strip(), kind, path, place, problem.fix)
        elif problem.reason == "comma":
            run.tell(path, slips.decimal_comma(path, problem.problem, problem.fix, place))
        else:
            what = problem.problem, problem.fix, problem.reason
            run.tell(path, slips.not_a_quantity(path, *what, place))
        return None
    if written.currency:
        _currency(run, written.currency, path)
    return _within(run, entry, written.amount, f'"{value}"', path)


def _no_unit(
    run: _Run, shown: str, kind: Kind, path: Path, at: Place, fix: str | None = None
) -> None:
    from gudgeon.quantity.text import with_units

    try:
        float(shown)
    except ValueError:  # "12.5 mm +- 0.01": only a part has no unit, and the fix says which
        run.tell(path, slips.bare_number(path, shown, fix or "", at, ""))
        return
    choices = with_units(shown, kind).split(" or ")
    # In a list only the value is written anew, else the whole entry.
    lead = "" if isinstance(path[-1], int) else f"{path[-1]} = "
    mend = "  or  ".join(lead + choice for choice in choices)
    both = " and ".join(choice.strip('"') for choice in choices) if len(choices) > 1 else ""
    run.tell(path, slips.bare_number(path, shown, f"write  {mend}", at, both))


def _marked(place: Place, value: str, span: tuple[int, int] | None) -> Place:
    """Return the place with the mark under a part of a text between quotation marks."""
    if span is None or place.start is None:
        return place
    first = place.start + 1
    if place.text[first : first + len(value)] != value:
        return place  # written with escapes, or over several lines
    return replace(place, start=first + span[0], end=first + span[1])


def _within(run: _Run, entry: Entry, amount: Amount, shown: str, path: Path) -> Amount | None:
    """Return the amount if it lies within the limits of its entry."""
    broken = (
        (entry.above is not None and not amount.value > entry.above)
        or (entry.low is not None and amount.value < entry.low)
        or (entry.high is not None and amount.value > entry.high)
    )
    if not broken:
        return amount
    at = run.source.value(path)
    run.tell(path, slips.outside(path, shown, slips.limits_text(entry), at, entry.doc))
    return None


def _currency(run: _Run, code: str, path: Path) -> None:
    if not run.currency:
        run.currency, run.currency_at = code, path
    elif code != run.currency and not run.currency_told:
        run.currency_told = True  # one fault, however many sums follow
        places = (run.source.value(run.currency_at), run.source.value(path))
        run.tell(path, slips.two_currencies(run.currency, code, places))


def _text(run: _Run, entry: Entry, value: Any, path: Path) -> str | None:
    if not isinstance(value, str):
        shown = slips.as_written(value)
        if entry.choices and shown not in entry.choices:
            at = run.source.value(path)
            run.tell(path, slips.not_a_choice(path, shown, entry.choices, True, at))
            return None
        _wrong_kind(run, Kind.TEXT, value, path, f'"{shown}"')
        return None
    at = run.source.value(path)
    if entry.choices:
        if value in entry.choices:
            return value
        run.tell(path, slips.not_a_choice(path, f'"{value[:40]}"', entry.choices, True, at))
        return None
    if len(value) > TEXT_LONGEST:
        problem = f"has {len(value)} characters; {TEXT_LONGEST} are the most"
        run.tell(path, slips.not_printable(path, problem, at))
        return None
    if not value.strip():
        run.tell(path, slips.not_printable(path, "is empty", at))
        return None
    if not value.isprintable():
        problem = "holds a character that cannot be printed"
        run.tell(path, slips.not_printable(path, problem, at))
        return None
    return value


def _integer(run: _Run, entry: Entry, value: Any, path: Path) -> int | None:
    if not isinstance(value, int) or isinstance(value, bool):
        bare = str(value).strip()
        whole = bare if bare.lstrip("+-").isdecimal() and bare.isascii() else "1"
        if isinstance(value, float) and value.is_integer() and abs(value) < 1e9:
            whole = str(int(value))
        _wrong_kind(run, Kind.INTEGER, value, path, whole[:12])
        return None
    at = run.source.value(path)
    if entry.choices and str(value) not in entry.choices:
        shown = str(value)[:40]
        run.tell(path, slips.not_a_choice(path, shown, entry.choices, False, at))
        return None
    if abs(value) > 1e12:
        shown = f"{str(value)[:12]}..."
        run.tell(path, slips.outside(path, shown, "at most 1e12", at, entry.doc))
        return None
    amount = _within(run, entry, Amount(float(value)), str(value), path)
    return None if amount is None else value


def _direction(run: _Run, value: Any, path: Path) -> tuple[float, float, float] | None:
    """Read "Z+" or three numbers; the result has length 1."""
    shown = slips.as_written(value)[:60]
    if isinstance(value, str):
        text = value.strip().upper()
        if text[:1] in ("+", "-"):
            text = text[1:] + text[0]
        if len(text) == 2 and text[0] in _AXES and text[1] in "+-":
            sign = 1.0 if text[1] == "+" else -1.0
            x, y, z = (sign * part + 0.0 for part in _AXES[text[0]])
            return x, y, z
    elif isinstance(value, list) and len(value) == 3:
        numbers = [
            float(part)
            for part in value
            if isinstance(part, (int, float)) and not isinstance(part, bool) and abs(part) < 1e12
        ]
        length = math.hypot(*numbers)
        if len(numbers) == 3 and length > 1e-9:
            x, y, z = (part / length for part in numbers)
            return x, y, z
    run.tell(path, slips.no_direction(path, shown, run.source.value(path)))
    return None


def _wrong_kind(run: _Run, kind: Kind, value: Any, path: Path, mend: str) -> None:
    shown = slips.as_written(value)[:60]
    lead = "" if isinstance(path[-1], int) else f"{path[-1]} = "
    at = run.source.value(path)
    run.tell(path, slips.not_this_kind(path, shown, kind, lead + mend, at))
