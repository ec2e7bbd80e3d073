"""The published JSON Schema of a cell file, made from the declarations.

An editor checks with it while the person types.  It refuses nothing that the reader accepts, and is
looser where a schema cannot know: units, contradictions and names are the reader's business.
"""

from __future__ import annotations

import json
from typing import Any, Final

from gudgeon.cell.entry import Entry, Shape, entries
from gudgeon.cell.model import Cell
from gudgeon.cell.reader import ITEMS_MOST, TEXT_LONGEST
from gudgeon.quantity.kinds import BASE, Kind
from gudgeon.quantity.text import LONGEST

__all__ = ["SCHEMA_NAME", "cell_schema", "schema_text"]

SCHEMA_NAME: Final = "gudgeon.cell/1"

# A digit, something of a unit, and no comma; which unit it is, only the reader knows.
_MARKS: Final = "%'\"\u00b0\u00b5\u03bc\u2032\u2033\u201d\u2019"
_QUANTITY: Final = rf"^(?=[^,]*[0-9])(?=[^,]*[A-Za-z{_MARKS}])[^,]{{2,{LONGEST}}}$"
_COUNTS: Final = {Shape.RANGE: 2, Shape.POINT: 3, Shape.PAIR: 2}


def cell_schema() -> dict[str, Any]:
    """Return the schema (draft 2020-12) as plain data, in the order of the file."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:{SCHEMA_NAME.replace('.', ':').replace('/', ':')}",
        "title": "Gudgeon cell file",
        **_section(Cell, "A mill, a tilting rotary unit, its fixture, control and parts"),
    }


def schema_text() -> str:
    """Return the schema as it is stored and published."""
    return json.dumps(cell_schema(), indent=2, ensure_ascii=True) + "\n"


def _section(of: type, doc: str) -> dict[str, Any]:
    return {
        "description": doc,
        "type": "object",
        "additionalProperties": False,
        "properties": {key: _entry(entry) for key, entry in entries(of).items()},
    }


def _entry(entry: Entry) -> dict[str, Any]:
    if entry.shape is Shape.SECTION:
        assert entry.of is not None
        return _section(entry.of, entry.doc)
    if entry.shape is Shape.SECTIONS:
        assert entry.of is not None
        items = _section(entry.of, entry.doc)
        return {
            "description": entry.doc,
            "type": "array",
            "maxItems": ITEMS_MOST,
            "items": items,
        }
    one = _one(entry)
    if entry.shape is Shape.ONE:
        return {"description": entry.doc, **one}
    count = _COUNTS.get(entry.shape)
    limits = {"maxItems": ITEMS_MOST} if count is None else {"minItems": count, "maxItems": count}
    return {"description": entry.doc, "type": "array", **limits, "items": one}


def _one(entry: Entry) -> dict[str, Any]:
    """Return the schema of a single value."""
    kind = entry.kind
    assert kind is not None
    plain: dict[Kind, dict[str, Any]] = {
        Kind.YES_NO: {"type": "boolean"},
        Kind.DATE: {"type": "string", "format": "date"},
        Kind.DIRECTION: {
            "oneOf": [
                {"type": "string", "pattern": r"^\s*([+-][XYZxyz]|[XYZxyz][+-])\s*$"},
                {
                    "type": "array",
                    "minItems": 3,
                    "maxItems": 3,
                    "items": {"type": "number"},
                },
            ],
            "examples": ["Z+", [0, 0, 1]],
        },
        Kind.NUMBER: {
            "oneOf": [
                {"type": "number", **_limits(entry)},
                {"type": "string", "pattern": r"^[^,]*[0-9][^,]*$", "maxLength": LONGEST},
            ]
        },
    }
    if kind is Kind.TEXT:
        if entry.choices:
            return {"type": "string", "enum": list(entry.choices)}
        return {"type": "string", "minLength": 1, "maxLength": TEXT_LONGEST}
    if kind is Kind.INTEGER:
        if entry.choices:
            return {"type": "integer", "enum": [int(choice) for choice in entry.choices]}
        return {"type": "integer", **_limits(entry)}
    if kind in plain:
        return plain[kind]
    return {"type": "string", "pattern": _QUANTITY, "examples": list(BASE[kind].examples)}


def _limits(entry: Entry) -> dict[str, float]:
    found = {"minimum": entry.low, "exclusiveMinimum": entry.above, "maximum": entry.high}
    return {name: value for name, value in found.items() if value is not None}
