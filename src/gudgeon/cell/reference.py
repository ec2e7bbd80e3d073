"""The reference pages of the cell file and of the readings table, made from the declarations."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gudgeon.cell.entry import Entry, Shape, entries
from gudgeon.cell.model import Cell
from gudgeon.cell.reading_columns import COLUMNS
from gudgeon.cell.slips import limit_text
from gudgeon.quantity.kinds import BASE, Kind

__all__ = ["cell_page", "readings_page"]

_FORMS: Final = {
    Shape.RANGE: "two, lower first",
    Shape.POINT: "x, y, z",
    Shape.PAIR: "tilt, turn",
    Shape.LIST: "list",
}

_VALUES: Final = (
    (
        "a quantity",
        "number and unit between quotation marks: ",
        ('"12.5 mm"', '"0.611 in"', '"5/8 in"', '"1 1/2 in"', '"12 deg 30 arcmin"'),
    ),
    (
        "how sure it is",
        "half the width of the 95 % interval behind +-, or both ends: ",
        ('"12.5 mm +- 0.01 mm"', '"21 min +- 10 %"', '"18 min to 24 min"'),
    ),
    ("two limits", "the lower first: ", ('["-762 mm", "0 mm"]',)),
    ("a position", "x, y, z: ", ('["0 mm", "-20 mm", "20 mm"]',)),
    ("a pose", "programmed tilt and turn: ", ('["90 deg", "0 deg"]',)),
    ("a direction", "an axis with its sign, or three numbers: ", ('"Z+"', "[0, 0, 1]")),
    (
        "money",
        "with the three-letter code of the currency, one in a file: ",
        ('"24900 EUR"', '"75 EUR/h"', '"1500 EUR/yr"'),
    ),
    ("plain numbers, yes or no", "without quotation marks: ", ("4", "0.2", "true")),
)

_OPENING: Final = """\
# The cell file

A cell file describes the mill, the unit, the fixture, the control and the parts. It is TOML: text
that any editor opens, with sections in brackets and entries `key = value` below them; `#` begins a
remark. Nothing has to be there except what the question at hand needs; what is missing is named in
the answer. `gudgeon start` writes a first one, `gudgeon check` reads it and names every fault.

## How values are written

{values}
A number without a unit is refused where a unit is needed, and so is a decimal comma. Inches and
millimetres may be mixed; 1 in is 25.4 mm exactly.

## Positions

Positions are machine coordinates unless an entry says otherwise: what the machine displays when the
gauge point of the empty spindle stands there.

* **Unit frame**: origin where the rotary axis line crosses the height of the tilt axis line, x
  along the tilt axis, z up; at yaw 0 its directions are those of the machine. A unit without tilt:
  origin in the middle of the platter face, x along the rotary axis, out of the face.
* **Platter frame**: origin where the rotary axis line pierces the platter face; with both angles
  zero its directions are those of the machine, whichever way round the unit stands. A unit without
  tilt: z out of the platter face, x along the unit frame's y, y up.
"""

_READINGS: Final = """\
# The readings table

A CSV file beside the cell file, named by `file` in `[readings]`. The first row names the columns,
in any order, capitals or not; each further row is one reading. Semicolons or tabs, blank rows,
quoted values and rows that begin with `#` are read as well. Numbers have a decimal point; where
semicolons or tabs part the columns and no number has a point, a comma is taken as one.

`gudgeon template CELL --to readings.csv` writes a table for your cell with a row for each reading
to take; print it, or type into it. A row without a value is one that nobody has read yet: it is
told and left.

Put the unit into the name of a column: `x_mm`, `x_in`, `tilt_deg`, `angle_mm/m`, `T_F`. Without a
unit lengths are taken in the `units` of `[shop]`, angles in degrees and temperatures in degrees
Celsius, and that is told of lengths and angles. The letters of the axes will do for the angles:
`A_deg`, `C_deg`.

## Columns

| column | may also be called | holds |
| --- | --- | --- |
"""

_EXAMPLE: Final = """
Needed are what, the angles, and the coordinate that was read; x and y for a measured centre. What a
row leaves out is taken from `[readings]`: `ball_diameter`, `compensated`, `reading_u`, `level_u`,
`step`.

Rows that follow each other in one pose count as read without moving an axis in between: they share
what the tilt and the platter were off when they came to rest. Keep them in the order in which they
were read. A row that repeats another in every digit is counted once, and told.

* **sweep**: an indicator in the spindle. `side` says where its plunger stands, x, y, z where the
  machine stood, `dial` what it showed. Its zero is not known, and is found with the rest; rows that
  share it have one name under `zero`, or follow each other.
* **ball**: the centre of a ball fixed on the platter, from the control's cycle or four touches. Of
  x, y and z counts what is filled in.
* **level**: a level laid on the platter face. `side` is where it stands higher when it shows more.

## Example

The platter face touched with the tilt at 90, -90 and 0 deg; a pin touched on four sides, then again
with the platter turned half round.

```
id,what,tilt_deg,rotary_deg,side,x_mm,y_mm,z_mm
1,platter face,90,0,Y+,-400.000,-96.110,-420.000
2,platter face,-90,0,Y-,-400.000,-153.890,-420.000
3,platter face,0,0,Z+,-400.000,-125.000,-391.030
4,pin,0,0,X+,-329.050,,
5,pin,0,0,X-,-351.050,,
6,pin,0,0,Y+,,-113.930,
7,pin,0,0,Y-,,-135.930,
8,pin,0,180,X+,-449.030,,
9,pin,0,180,X-,-471.030,,
10,pin,0,180,Y+,,-114.050,
11,pin,0,180,Y-,,-136.050,
```
"""


_ENDINGS: Final = {"length": "_mm", "angle": "_deg", "tilt": "_mm/m", "temperature": "_C"}
"""Unit shown behind the name of a column."""


def cell_page() -> str:
    """Return the page on the cell file as Markdown."""
    rows = "".join(
        f"| {what} | {how}{', '.join(f'`{example}`' for example in examples)} |\n"
        for what, how, examples in _VALUES
    )
    opening = _OPENING.replace("{values}\n", "| what | write |\n| --- | --- |\n" + rows + "\n")
    return opening + "".join(_sections(Cell, "", repeated=False))


def readings_page() -> str:
    """Return the page on the readings table as Markdown."""
    rows = []
    for column in COLUMNS:
        first, *others = column.headers
        unit = _ENDINGS.get(column.measure, "")
        also = ", ".join(f"`{other}{unit}`" for other in others)
        rows.append(f"| `{first}{unit}` | {also} | {column.doc} |\n")
    return _READINGS + "".join(rows) + _EXAMPLE


def _sections(of: type, path: str, *, repeated: bool) -> Iterator[str]:
    declared = entries(of)
    own = {key: entry for key, entry in declared.items() if entry.of is None}
    if path:
        header = f"[[{path}]]" if repeated else f"[{path}]"
        doc = (of.__doc__ or "").strip()
        first, _, rest = doc.partition("\n")
        words = first.split(": ", 1)[-1]
        yield f"\n## `{header}`\n\n{words[0].upper()}{words[1:]}\n"
        if rest.strip():
            yield "\n" + " ".join(rest.split()) + "\n"
    if own:
        yield "\n| entry | value | what it is |\n| --- | --- | --- |\n"
        for key, entry in own.items():
            yield f"| `{key}` | {_value(entry)} | {entry.doc}{_limits(entry)} |\n"
    for key, entry in declared.items():
        if entry.of is not None:
            below = f"{path}.{key}" if path else key
            yield from _sections(entry.of, below, repeated=entry.shape is Shape.SECTIONS)


def _value(entry: Entry) -> str:
    assert entry.kind is not None
    if entry.choices:
        mark = '"' if entry.kind is Kind.TEXT else ""
        several = ", one or more in a list" if entry.shape is Shape.LIST else ""
        return " or ".join(f"`{mark}{choice}{mark}`" for choice in entry.choices) + several
    example = f' such as `"{BASE[entry.kind].examples[0]}"`' if entry.kind in BASE else ""
    if entry.shape is Shape.ONE:
        return f"{entry.kind.value}{example}"
    return f"{entry.kind.value}, {_FORMS[entry.shape]}"


def _limits(entry: Entry) -> str:
    assert entry.kind is not None
    rules = []
    if entry.above is not None:
        rules.append(f"above {limit_text(entry.kind, entry.above)}")
    if entry.low is not None:
        rules.append(f"{limit_text(entry.kind, entry.low)} or more")
    if entry.high is not None:
        rules.append(f"at most {limit_text(entry.kind, entry.high)}")
    return f"; {', '.join(rules)}" if rules else ""
