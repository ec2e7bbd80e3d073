"""Faults of a readings table: one small function a code."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import replace

from gudgeon.cell.faults import Fault, Place

__all__ = [
    "cells_too_many",
    "column_twice",
    "comma",
    "entry_missing",
    "face_centre",
    "minutes_and_seconds",
    "no_angle",
    "no_column",
    "no_coordinate",
    "no_date",
    "no_rows",
    "no_side",
    "no_temperature",
    "no_unit_anywhere",
    "not_a_number",
    "not_positive",
    "not_read_yet",
    "outside_travel",
    "row_twice",
    "side_contradicts",
    "together",
    "too_many_rows",
    "unit_taken",
    "unknown_column",
    "unknown_direction",
    "unknown_feature",
    "wrong_unit",
]


def _error(code: str, what: str, places: Place | tuple[Place, ...], why: str, do: str) -> Fault:
    return Fault(code, "error", what, places if isinstance(places, tuple) else (places,), why, do)


def _warning(code: str, what: str, places: Place | tuple[Place, ...], why: str, do: str) -> Fault:
    return Fault(code, "warning", what, places if isinstance(places, tuple) else (places,), why, do)


def no_rows(at: Place) -> Fault:
    """K002: nothing to read."""
    return _error(
        "K002",
        "the readings table has no rows",
        at,
        "The first row names the columns, each further row is one reading.",
        "add the readings, or take  file = ...  out of [readings]",
    )


def together(faults: Sequence[Fault]) -> list[Fault]:
    """Tell one slip that runs through the table once, with the lines on which it stands."""
    groups: dict[tuple[str, str, str], list[Fault]] = {}
    for fault in faults:
        # A word that is wrong is its own slip; a decimal comma is the same one in every column.
        own = "" if fault.code in ("K010", "K015", "K016", "K017", "K025") else fault.what
        note = fault.places[0].note if fault.code != "K015" else ""
        groups.setdefault((fault.code, own, note), []).append(fault)
    told = []
    for first, *more in groups.values():
        lines = sorted({fault.places[0].line or 0 for fault in more})
        if lines:
            also = _lines(lines)
            first = replace(first, what=f"{first.what}; the same on {also}")
        told.append(first)
    return told


def _lines(numbers: Sequence[int]) -> str:
    """Return "line 3", "lines 3 to 22" or "lines 3, 7, 9 and 4 more"."""
    if len(numbers) == 1:
        return f"line {numbers[0]}"
    if numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"lines {numbers[0]} to {numbers[-1]}"
    shown = [str(number) for number in numbers[:5]]
    if len(numbers) > len(shown):
        return f"lines {', '.join(shown)} and {len(numbers) - len(shown)} more"
    return f"lines {', '.join(shown[:-1])} and {shown[-1]}"


def unknown_column(
    words: str, known: Sequence[str], at: Place, endings: Sequence[tuple[str, str]] = ()
) -> Fault:
    """K003: a column that is not used; `endings` are the unit that each known name should have."""
    near = difflib.get_close_matches(words.lower().split("_")[0], known, n=1, cutoff=0.7)
    near = [name + dict(endings).get(name, "") for name in near]
    return _warning(
        "K003",
        f'the column "{words}" is not known and not used',
        at,
        "A column with another name than expected would be lost without a word.",
        f'name it "{near[0]}" if that is meant, or "remark" if it may be left out'
        if near
        else 'name it "remark" if it may be left out',
    )


def no_column(wanted: str, what: str, at: Place) -> Fault:
    """K004: a column that every table needs."""
    return _error(
        "K004",
        f"the readings table has no column for the {what}",
        at,
        "No reading can be used without it.",
        f"add {wanted} to the first row, with its values below",
    )


def not_a_number(text: str, column: str, at: Place) -> Fault:
    """K005: a value that cannot be read."""
    return _error(
        "K005",
        f'"{text}" is not a number that {column} can hold',
        at,
        "Numbers of a readings table stand without a unit; the first row says which unit.",
        "write a number such as -101.976, or leave the place blank",
    )


def unknown_feature(text: str, known: Sequence[str], at: Place) -> Fault:
    """K006: not one of the words allowed."""
    near = difflib.get_close_matches(text.lower(), known, n=1, cutoff=0.5)
    return _error(
        "K006",
        f'"{text}" is not known here' if text else "this place is blank",
        at,
        f"Allowed are {', '.join(known)}.",
        f"write {near[0]}" if near else f"write {' or '.join(known)}",
    )


def unknown_direction(text: str, at: Place) -> Fault:
    """K007: not a direction."""
    return _error(
        "K007",
        f'"{text}" is not a machine direction',
        at,
        "A direction is an axis with its sign: X+, X-, Y+, Y-, Z+ or Z-.",
        "write the side on which the tip stood, such as Z+ for a touch from above",
    )


def unit_taken(columns: Sequence[str], units: str, at: Place) -> Fault:
    """K008: units taken from [shop]."""
    return _warning(
        "K008",
        f"{', '.join(columns)} {'has' if len(columns) == 1 else 'have'} no unit in the first row",
        at,
        f"Lengths are taken in {units}, as [shop] units says, and angles in deg.",
        "put the unit in the name of the column, such as x_mm and tilt_deg",
    )


def row_twice(places: tuple[Place, ...]) -> Fault:
    """K009: one reading typed twice."""
    return _warning(
        "K009",
        "the same reading stands twice; it is counted once",
        places,
        "Two readings alike in every digit are most likely one, and would make it count double.",
        "take one of the two rows out, or enter the second reading with the digits it had",
    )


def no_coordinate(axis: str, at: Place) -> Fault:
    """K010: the coordinate that counts is blank."""
    return _error(
        "K010",
        f"the {axis} of this reading is blank",
        at,
        "It is the coordinate that was read."
        if len(axis) == 1
        else "It is what was read, and nothing stands in its place.",
        f"enter the {'displayed ' if len(axis) == 1 else ''}{axis}, or take the row out",
    )


def entry_missing(entry: str, at: Place, section: Place) -> Fault:
    """K012: something that neither row nor cell file says."""
    what = {
        "ball_diameter": ("the radius of the tip", 'ball_diameter = "6 mm"'),
        "compensated": ("whether the radius of the tip is taken off", "compensated = false"),
        "reading_u": ("how sure a reading is", 'reading_u = "0.003 mm"'),
        "level_u": ("how sure a reading of the level is", 'level_u = "0.02 mm/m"'),
    }
    why = {
        "ball_diameter": "Left out, the face height would be wrong by the radius.",
        "compensated": "Taken wrongly, the face height would be off by the whole radius.",
        "reading_u": "Without it no uncertainty can be told, and no reading can be judged.",
        "level_u": "Without it the level cannot be weighed against the other readings.",
    }
    words, line = what[entry]
    return _error(
        "K012",
        f"neither the readings nor [readings] say {words}",
        (at, section),
        why[entry],
        f"add to [readings]  {line}  "
        + ("or true" if entry == "compensated" else "with your own value"),
    )


def cells_too_many(at: Place) -> Fault:
    """K013: more values than columns."""
    return _error(
        "K013",
        "this row has more values than the first row has names",
        at,
        "It cannot be told which value belongs to which column.",
        "write one value for each column, and a point instead of a decimal comma",
    )


def side_contradicts(side: str, toward: str, at: Place) -> Fault:
    """K014: side and direction of approach do not go together."""
    return _error(
        "K014",
        f'the side "{side}" and the approach "{toward}" contradict each other',
        at,
        "A tip that stands on the Z+ side moves towards Z- into the surface.",
        "enter one of the two, or both opposite to each other",
    )


def comma(text: str, at: Place) -> Fault:
    """K015: a decimal comma."""
    return _error(
        "K015",
        f'"{text}" has a decimal comma',
        at,
        "Between commas, or beside numbers with a point, 12,500 could be read in two ways.",
        f"write {text.replace(',', '.', 1)} , or export the table with decimal points",
    )


def no_angle(column: str, at: Place) -> Fault:
    """K016: a pose that is blank."""
    return _error(
        "K016",
        f"{column} of this reading is blank",
        at,
        "The same touch at another angle means another axis line.",
        "enter the displayed angle, 0 if it stood at zero",
    )


def no_side(at: Place) -> Fault:
    """K017: from where it was touched is not said."""
    return _error(
        "K017",
        "it is not said from which side this was touched",
        at,
        "The radius of the tip is added or taken off depending on the side.",
        "enter under side where the tip stood, such as Z+; for a measured centre of a bore or pin "
        "enter both x and y",
    )


def no_unit_anywhere(columns: Sequence[str], at: Place) -> Fault:
    """K018: neither the table nor the shop says the unit."""
    return _error(
        "K018",
        f"{', '.join(columns)} {'has' if len(columns) == 1 else 'have'} no unit",
        at,
        "Neither the first row nor [shop] units says whether millimetres or inches are meant.",
        'put the unit in the name, such as x_mm or x_in, or write  units = "mm"  in [shop]',
    )


def wrong_unit(words: str, wanted: Sequence[str], at: Place) -> Fault:
    """K019: an angle in mm, and the like."""
    return _error(
        "K019",
        f'"{words}" has a unit that does not fit',
        at,
        f"It can be in {' or '.join(wanted)}." if wanted else "It holds words, not a length.",
        "mend the name of the column",
    )


def column_twice(words: str, at: Place) -> Fault:
    """K020: two columns for one thing."""
    return _error(
        "K020",
        f'the column "{words}" stands twice, perhaps under two names',
        at,
        "It cannot be told which of the two is meant.",
        'take one of the two out, or name it "remark"',
    )


def not_positive(text: str, at: Place) -> Fault:
    """K022: a radius or uncertainty that cannot be."""
    return _error(
        "K022",
        f'"{text}" cannot be',
        at,
        "A radius is zero or more; an uncertainty is more than zero, or the reading would count "
        "without end.",
        "enter what was measured, or leave the place blank to use [readings]",
    )


def face_centre(at: Place) -> Fault:
    """K023: the centre of a flat."""
    return _error(
        "K023",
        "a platter face has no centre to be measured",
        at,
        "Only a bore or a pin has a centre.",
        "write bore centre or pin centre, or kind touch with the side that was touched",
    )


def outside_travel(axis: str, shown: str, low: str, high: str, at: Place, section: Place) -> Fault:
    """K025: a place where the machine cannot have stood."""
    return _warning(
        "K025",
        f"{axis} {shown} lies outside the travel",
        (at, section),
        f"The machine goes from {low} to {high} in {axis}. Readings in the wrong unit, or of "
        "another machine, give axis lines that are nowhere near.",
        "mend the unit in the name of the column (x_mm, x_in), the reading, or "
        f"travel_{axis.lower()}",
    )


def too_many_rows(at: Place, most: int) -> Fault:
    """K024: more rows than a day has minutes."""
    return _error(
        "K024",
        f"the readings table has more than {most} rows",
        at,
        "More are not read, so that a slip cannot stop the computer.",
        "keep the readings of one set-up in one file",
    )


def minutes_and_seconds(text: str, degrees: str, at: Place) -> Fault:
    """K026: an angle in degrees, minutes and seconds."""
    return _error(
        "K026",
        f'"{text}" is in minutes and seconds of arc',
        at,
        "A table of readings holds one number in each place, angles in degrees with decimals.",
        f"write {degrees}",
    )


def no_date(text: str, at: Place) -> Fault:
    """K027: a day that cannot be told, or can be told in two ways."""
    return _error(
        "K027",
        f'"{text}" is not a date with the year first',
        at,
        "03/04/2026 is a day in March in some shops and in April in others.",
        "write the year, the month and the day, such as 2026-04-03",
    )


def no_temperature(text: str, at: Place) -> Fault:
    """K028: a temperature at which nobody measures."""
    return _error(
        "K028",
        f"a temperature of {text} cannot be",
        at,
        "Without a unit in the first row degrees Celsius are meant.",
        "mend it, or name the column T_F if it is in Fahrenheit",
    )


def not_read_yet(lines: Sequence[int], rows: int, at: Place) -> Fault:
    """K029: rows of a printed table that are not filled in."""
    count = "nothing" if len(lines) == rows else _lines(sorted(lines))
    return _warning(
        "K029",
        "no reading is filled in yet"
        if len(lines) == rows
        else f"{count} of the readings {'is' if len(lines) == 1 else 'are'} not filled in yet",
        at,
        "Rows that name a reading and hold no value are left for later.",
        "take these readings and type them in, or leave them as they are",
    )
