"""From text to nested data; a line that is not TOML is told and left out, so that the rest is read.

One bad line must not hide the faults behind it.  So the line is emptied and the text is read again,
up to `ROUNDS` times.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any, Final

from gudgeon.cell.faults import Fault, Place
from gudgeon.cell.places import Source

__all__ = ["read_toml"]

ROUNDS: Final = 40
"""Bad lines looked for; twenty faults are shown at most."""

DEEPEST: Final = 40
"""Levels of sections and lists; a cell file has five."""

_AT: Final = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_PAIR: Final = re.compile(r"""^\s*(?P<key>[A-Za-z0-9_."'-]+)\s*=\s*(?P<value>.*?)\s*$""")
_HEADER: Final = re.compile(r"^\s*\[\[?\s*([^\]]*?)\s*\]\]?")
_YES_NO: Final = {"yes": "true", "no": "false", "true": "true", "false": "false"}
_WORD: Final = re.compile(r"[^\s\[\],\"'#{}=][^\[\],\"'#{}=]*")


def read_toml(file: str, text: str) -> tuple[dict[str, Any], Source, list[Fault]]:
    """Return the data of `text`, the places of its entries, and what could not be read."""
    faults: list[Fault] = []
    lines = text.replace("\r\n", "\n").split("\n")
    original = Source(file, "\n".join(lines))
    for _ in range(ROUNDS):
        try:
            data = tomllib.loads("\n".join(lines))
        except RecursionError:
            faults.append(_too_deep(original))
            return {}, original, faults
        except ValueError as problem:
            fault, emptied = _told(original, lines, str(problem))
            faults.append(fault)
            if not emptied:
                return {}, original, faults
            for number in emptied:
                lines[number] = ""
        else:
            if _depth(data) > DEEPEST:
                faults.append(_too_deep(original))
                return {}, original, faults
            return data, Source(file, "\n".join(original.lines), "\n".join(lines)), faults
    return {}, original, faults


def _depth(data: dict[str, Any]) -> int:
    """Return how deep tables and lists are nested, looking no further than `DEEPEST`."""
    level: list[Any] = [data]
    for depth in range(DEEPEST + 1):
        inner = (item.values() if isinstance(item, dict) else item for item in level)
        level = [item for items in inner for item in items if isinstance(item, (dict, list))]
        if not level:
            return depth
    return DEEPEST + 1


def _told(source: Source, lines: list[str], problem: str) -> tuple[Fault, list[int]]:
    """Return the fault, and the lines (from 0) to leave out."""
    found = _AT.search(problem)
    words = _AT.sub("", problem)
    number = int(found[1]) - 1 if found and found[1] else len(lines) - 1
    column = int(found[2]) - 1 if found and found[2] else None
    if not found:
        return _not_toml(source.whole(), words), []
    bare = _without_quotes(source, number, lines[number])
    if bare is not None:
        return bare, [number]
    first = _opening(lines, number)
    if words.startswith("Unclosed array") or (first is not None and found and not found[1]):
        first = number if first is None else first
        return _unclosed(source.line(first + 1)), list(range(first, max(first + 1, number)))
    if "twice" in words or "overwrite" in words or "Duplicate" in words:
        return _twice(source, lines, number)
    while number > 0 and not lines[number].strip():
        number, column = number - 1, None  # the reader noticed it only after the line
    line = lines[number]
    emptied = [number]
    if line.lstrip().startswith("["):
        # Entries under a broken header would be taken for those of the section before.
        following = range(number + 1, len(lines))
        emptied += list(_until_header(lines, following))
    at = None if column is None else min(column, max(0, len(line.rstrip()) - 1))
    place = source.line(number + 1, at, None if at is None else at + 1)
    return _not_toml(place, words, _mended(line)), emptied


def _until_header(lines: list[str], numbers: range) -> list[int]:
    found = []
    for number in numbers:
        if _HEADER.match(lines[number]):
            break
        found.append(number)
    return found


def _opening(lines: list[str], number: int) -> int | None:
    """Return the line of the entry whose bracket was not closed, if there is one."""
    for earlier in range(min(number, len(lines) - 1), -1, -1):
        line = lines[earlier]
        if "=" in line and line.count("[") > line.count("]"):
            return earlier
    return None


# --- the faults, one function a code ------------------------------------------------------------


def _mended(line: str) -> str | None:
    """Return an entry without its slip: a blank in the key, a colon or no sign, a bare comma."""
    found = re.match(r"\s*([A-Za-z][\w -]*?)\s*(?:[:=]\s*|\s(?=[\"\[\d]))(.+?)\s*$", line)
    if found is None:
        return None
    key, value = re.sub(r"[\s-]+", "_", found[1]), found[2].split("#")[0].strip()
    if re.fullmatch(r'"[^"]*"(\s*[,;]\s*"[^"]*")+', value):
        value = f"[{value.replace(';', ',')}]"  # a list without its brackets
    comma = re.fullmatch(r"([+-]?\d+),(\d+)\s*([A-Za-z*/]*)", value)
    if comma:
        unit = f" {comma[3]}" if comma[3] else ""
        value = f'"{comma[1]}.{comma[2]}{unit}"' if unit else f"{comma[1]}.{comma[2]}"
    mend = f"{key} = {value}"
    try:
        tomllib.loads(mend)
    except ValueError:
        return None
    return mend if mend != line.strip() else None


def _not_toml(place: Place, words: str, mend: str | None = None) -> Fault:
    hints = {
        "Illegal character '\\n'": "close the quotation mark before the end of the line",
        "Invalid value": 'write text and quantities in quotation marks: key = "12.5 mm"',
        "Expected '='": 'write  key = "value"  , one entry a line; put # before a remark',
        "Invalid statement": 'write  key = "value"  , one entry a line; put # before a remark',
        "Expected newline": "put each entry on a line of its own; put # before a remark",
        "Expected ']'": "write the header of a section as  [name]",
        "Unescaped": 'write a backslash twice: "\\\\"',
    }
    do = next((hint for start, hint in hints.items() if words.startswith(start)), None)
    return Fault(
        "C007",
        "error",
        "this line cannot be read",
        (place,),
        "A cell file is TOML: sections in brackets, and entries  key = value  under them.",
        f"write  {mend}" if mend else do or 'write  key = "value"  , or put # before the line',
    )


def _too_deep(source: Source) -> Fault:
    return Fault(
        "C007",
        "error",
        "this file cannot be read: its brackets are nested too deep",
        (source.whole(),),
        "A cell file is TOML: sections in brackets, and entries  key = value  under them.",
        "take the nested brackets out",
    )


def _unclosed(place: Place) -> Fault:
    at = place.text.find("[", place.text.find("="))
    written = place.text.split("#")[0].strip().rstrip(",")
    if written.endswith("]"):
        # The list is closed; semicolons part its items, as a spreadsheet has them.
        mend = written.replace(";", ",")
        return Fault(
            "C007",
            "error",
            "the items of a list are not parted by commas",
            (Place(place.file, place.line, place.text, max(at, 0), max(at, 0) + 1),),
            "A list is written  [first, second] , each item in its own quotation marks.",
            f"write  {mend}" if mend != written else "put a comma between the items",
        )
    return Fault(
        "C007",
        "error",
        "a list is not closed",
        (Place(place.file, place.line, place.text, max(at, 0), max(at, 0) + 1),),
        "Without the closing bracket all entries behind it would be taken as part of the list.",
        f"write  {written}]",
    )


def _without_quotes(source: Source, number: int, line: str) -> Fault | None:
    """C008: a quantity without quotation marks, or with curly ones."""
    found = _PAIR.match(line)
    if found is None:
        return None
    value = found["value"]
    straight = re.sub("[\u201c\u201d\u201e\u2018\u2019]", '"', value)
    quoted = straight.split("#")[0].strip()
    if straight == value:
        if value.count('"') % 2 or value.count("'") % 2 or not _WORD.search(value):
            return None
        if quoted.lower() in _YES_NO:
            at = source.line(number + 1, found.start("value"), found.start("value") + len(quoted))
            return _yes_no(found["key"], quoted, at)
        if '"' not in quoted and re.search("[A-Za-z]", quoted):
            quoted = re.sub(r"(?<=\d),(?=\d)", ".", quoted)  # a decimal comma besides
        quoted = re.sub(
            r'"[^"]*"|' + _WORD.pattern,
            lambda piece: piece[0] if piece[0].startswith('"') else _in_quotes(piece[0]),
            quoted,
        )
    if quoted == value.split("#")[0].strip():
        return None  # the quotation marks are not what is wrong
    mend = f"{found['key']} = {quoted}"
    try:
        tomllib.loads(mend)
    except ValueError:
        return None
    start = found.start("value")
    return Fault(
        "C008",
        "error",
        f"the value of {found['key']} is not in plain quotation marks",
        (source.line(number + 1, start, start + len(value.split("#")[0].rstrip())),),
        "Text and quantities with a unit stand between straight quotation marks.",
        f"write  {mend}",
    )


def _yes_no(key: str, value: str, place: Place) -> Fault:
    """C008: yes and no, which are true and false in a cell file."""
    return Fault(
        "C008",
        "error",
        f"the value of {key} is {value}, which a cell file does not know",
        (place,),
        "Yes and no are written true and false, without quotation marks.",
        f"write  {key} = {_YES_NO[value.lower()]}",
    )


def _in_quotes(word: str) -> str:
    bare = word.strip()
    if re.fullmatch(r"[+-]?\d+(\.\d+)?|true|false", bare):
        return word
    return word.replace(bare, f'"{bare}"', 1)


def _twice(source: Source, lines: list[str], number: int) -> tuple[Fault, list[int]]:
    """C009: a section or a key stands twice."""
    # The reader may notice the second entry only behind its line.
    while number > 0 and not lines[number].strip():
        number -= 1
    header = _HEADER.match(lines[number])
    if header is not None:
        name = header[1]
        emptied = [number, *_until_header(lines, range(number + 1, len(lines)))]
        earlier = next(
            (
                other
                for other in range(number)
                if (found := _HEADER.match(lines[other])) and found[1] == name
            ),
            None,
        )
        what = f"the section [{name}] stands twice"
        do = "join both sections under one header"
    else:
        pair = _PAIR.match(lines[number])
        name = pair["key"] if pair else lines[number].strip()
        emptied = [number]
        earlier = None
        for other in range(number - 1, -1, -1):
            if _HEADER.match(lines[other]):
                break
            found = _PAIR.match(lines[other])
            if found and found["key"] == name:
                earlier = other
                break
        what = f"{name} stands twice in one section"
        do = "take one of the two out"
    places = [source.line(number + 1)]
    if earlier is not None:
        places.insert(0, source.line(earlier + 1))
    why = "It cannot be told which of the two is meant."
    return Fault("C009", "error", what, tuple(places), why, do), emptied
