"""An answer as plain text: 80 columns of ASCII, the same on a screen, in a pipe and in a mail.

The name of each section stands in a gutter on the left, what it says on the right.  Nothing is
left out for want of room: words wrap, and a table that is too wide is printed in several blocks,
each with its first column.  Only of a very long table the first rows are printed and the others
counted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from textwrap import TextWrapper
from typing import Final

from gudgeon.answer import Answer, Figure, Missing, Table, Verdict
from gudgeon.faces.wording import Standing, ascii_text, cells, finite, is_number, worded

__all__ = ["WIDTH", "answer_text", "deciding", "in_short", "rule", "wrapped"]

WIDTH: Final = 80
GUTTER: Final = 12
ROOM: Final = WIDTH - GUTTER
GAP: Final = 2  # blanks between two columns
LITTLE: Final = 6
WIDEST: Final = (ROOM - GAP) // 2  # two columns always fit beside each other
NARROWEST: Final = 10  # a column of words is not squeezed below this
ROWS_MOST: Final = 60
"""Rows of a table that are printed; --json has them all."""
BRIEF_FIGURES: Final = 4
BRIEF_MISSING: Final = 3
SHOUT: Final[dict[Verdict, str]] = {
    Verdict.YES: "YES",
    Verdict.YES_IF: "YES, IF ...",
    Verdict.NO: "NO",
    Verdict.CANNOT_TELL: "CANNOT TELL YET",
}
SUMMED: Final[dict[Verdict, str]] = {
    Verdict.YES: "yes",
    Verdict.YES_IF: "yes",
    Verdict.NO: "no",
    Verdict.CANNOT_TELL: "cannot tell",
}
"""A headline that begins so says the verdict itself."""


def answer_text(
    answer: Answer, asks: str, *, brief: bool = False, drawn_by: str = "gudgeon report"
) -> str:
    """Return the answer as text that ends in a line break.

    Parameters
    ----------
    answer : Answer
        What is shown.
    asks : str
        The plain question, as its module words it.
    brief : bool
        Show what one acts on only; what is left out is counted, with the way to see it.  Cautions
        are never left out.
    drawn_by : str
        Command that shows the pictures.
    """
    lines = [rule(answer.question, SHOUT[answer.verdict]), *_section("", [asks]), ""]
    lines += [*_section("answer", [answer.headline]), ""]
    lines += [*_section("do now", [answer.next_step]), ""]
    figures = deciding(answer.figures) if brief else answer.figures
    if figures:
        lines += _gutter("figures", [row for f in figures for row in _figure(f, brief=brief)])
        lines.append("")
    for name, words in (("would flip", answer.flips), ("cheapest", answer.fix)):
        if words:
            lines += [*_section(name, [words]), ""]
    if not brief:
        for table in answer.tables:
            lines += [*_table(table), ""]
        if answer.pictures:
            titles = "; ".join(ascii_text(picture.title) for picture in answer.pictures)
            lines += [*_section("pictures", [f"{titles} (shown by: {drawn_by})"]), ""]
    missing = answer.missing[:BRIEF_MISSING] if brief else answer.missing
    if missing:
        lines += [*_gutter("missing", _missing_rows(missing)), ""]
    if answer.cautions:
        lines += [*_section("caution", answer.cautions, "! "), ""]
    if brief:
        left = _left_out(answer, len(figures), len(missing))
        if left:
            words = f"{left}: gudgeon ask {answer.question} CELL, or gudgeon report CELL"
            lines += [*_section("more", [words]), ""]
    else:
        for name, group in (("assumed", answer.assumed), ("sources", answer.sources)):
            if group:
                lines += [*_section(name, group, "- "), ""]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def deciding(figures: Sequence[Figure]) -> list[Figure]:
    """Return the first figures, the one nearest its limit, and those whose limit is not kept."""
    nearest = max(figures, key=_share_used, default=None)
    if nearest is None or _share_used(nearest) <= 0.0 or nearest in figures[:BRIEF_FIGURES]:
        first = list(figures[:BRIEF_FIGURES])
    else:
        first = [*figures[: BRIEF_FIGURES - 1], nearest]
    return [
        figure
        for figure in figures
        if any(figure is one for one in first)
        or worded(figure).standing in (Standing.UNSURE, Standing.BROKEN)
    ]


def _share_used(figure: Figure) -> float:
    """Return how much of its limit a figure with a unit uses up, 0 where that says nothing."""
    value, limit = finite(figure.value), finite(figure.limit)
    if value is None or limit is None or not figure.unit or min(value, limit) <= 0.0:
        return 0.0
    return value / limit if figure.limit_kind == "max" else limit / value


def _missing_rows(missing: Sequence[Missing]) -> list[str]:
    rows: list[str] = []
    for count, item in enumerate(missing, start=1):
        mark = f"{count}. "
        rows += wrapped(f"{item.what} ({item.where})", ROOM, mark)
        rows += wrapped(f"why: {item.why}", ROOM, " " * len(mark))
        rows += wrapped(f"get it: {item.how_to_get_it}", ROOM, " " * len(mark))
    return rows


def _left_out(answer: Answer, figures: int, missing: int) -> str:
    """Return how much a brief print leaves out, in words."""
    counts = (
        (len(answer.figures) - figures, "further figure"),
        (len(answer.tables), "table"),
        (len(answer.pictures), "picture"),
        (len(answer.missing) - missing, "further missing entry"),
        (len(answer.assumed), "thing taken for granted"),
        (len(answer.sources), "source"),
    )
    plural = {
        "further missing entry": "further missing entries",
        "thing taken for granted": "things taken for granted",
    }
    words = [
        f"{count} {name if count == 1 else plural.get(name, name + 's')}"
        for count, name in counts
        if count
    ]
    return ", ".join(words)


def in_short(answers: Sequence[Answer], failed: Sequence[str] = ()) -> str:
    """Return one line or so for each answer, for the end of a long print."""
    lines = [rule("in short", "")]
    for answer in answers:
        word = SUMMED[answer.verdict]
        said = re.match(rf"{word}\b", answer.headline, re.IGNORECASE)
        words = answer.headline if said else f"{answer.verdict.words}: {answer.headline}"
        if answer.verdict is Verdict.YES_IF and not said:
            words = f"Yes, with a condition: {answer.headline}"
        lines += _gutter(answer.question, wrapped(words, ROOM))
    for name in failed:
        lines += _gutter(name, wrapped("not worked out, because of a fault in Gudgeon", ROOM))
    return "\n".join(line.rstrip() for line in [*lines, "=" * WIDTH]) + "\n"


def rule(left: str, right: str) -> str:
    """Return a line across with words set into it."""
    start = f"== {ascii_text(left)} " if left else ""
    end = f" {ascii_text(right)} ==" if right else ""
    return (start + "=" * max(0, WIDTH - len(start) - len(end)) + end)[:WIDTH]


def wrapped(words: object, width: int, first: str = "") -> list[str]:
    """Break `words` to `width`; `first` stands before them, its room stays free below."""
    text = ascii_text(words)
    return TextWrapper(
        width=width,
        initial_indent=first,
        subsequent_indent=" " * len(first),
        break_on_hyphens=False,
    ).wrap(text) or [first.rstrip()]


def _gutter(name: str, rows: Iterable[str]) -> list[str]:
    """Set `name` in the gutter beside the first of `rows`."""
    label = ascii_text(name)
    lines = wrapped(label, WIDTH, " ") if len(label) > GUTTER - 2 else []
    rows = list(rows)
    if not lines and rows:
        lines = [f" {label}".ljust(GUTTER) + rows.pop(0)]
    return lines + [" " * GUTTER + row for row in rows]


def _section(name: str, words: Iterable[str], mark: str = "") -> list[str]:
    return _gutter(name, [row for text in words for row in wrapped(text, ROOM, mark)])


def _figure(figure: Figure, *, brief: bool = False) -> list[str]:
    said = worded(figure)
    value = ascii_text(said.value)
    label = wrapped(figure.label, ROOM)
    room = ROOM - len(label[-1]) - len(value)
    if room >= 5:
        rows = [*label[:-1], f"{label[-1]} {'.' * (room - 2)} {value}"]
    else:
        rows = [*label, *(row.rjust(ROOM) for row in wrapped(value, ROOM - 4))]
    for words in (said.limit,) if brief else (said.limit, figure.note):
        if words:
            rows += wrapped(words, ROOM, "  ")
    return rows


def _table(table: Table) -> list[str]:
    """Return a table beside the gutter, or across the whole width if it is too wide for that."""
    heads = [
        ascii_text(f"{column.label} [{column.unit}]" if column.unit else column.label)
        for column in table.columns
    ]
    columns = [
        [ascii_text(text) for text in cells(column, [row[i] for row in table.rows])]
        for i, column in enumerate(table.columns)
    ]
    right = [
        bool(table.rows) and all(row[i] is None or is_number(row[i]) for row in table.rows)
        for i in range(len(columns))
    ]
    title = _gutter("table", wrapped(table.title, ROOM))
    more = len(table.rows) - ROWS_MOST
    if more > 0:
        shown = replace(table, rows=table.rows[:ROWS_MOST])
        words = f"({more} more rows of this table: ask again with --json for all of them)"
        return [*_table(shown), *_gutter("", ["", *wrapped(words, ROOM)])]
    if not columns:
        return title
    if not table.rows:
        words = f"(no rows; columns: {', '.join(heads)})"
        return [*title, *_gutter("", wrapped(words, ROOM))]
    least = [
        _least(head, texts, is_right)
        for head, texts, is_right in zip(heads, columns, right, strict=True)
    ]
    wished = [
        max(low, _folded(head), *(len(text) for text in texts))
        for low, head, texts in zip(least, heads, columns, strict=True)
    ]
    indent, room = GUTTER, ROOM
    if sum(wished) + GAP * (len(wished) - 1) > room:
        indent, room = 1, WIDTH - 1
    lines = title
    gap = GAP
    if sum(least) + GAP * (len(least) - 1) > room >= sum(least) + len(least) - 1:
        gap = 1  # rather close columns than a table in two pieces
    for count, block in enumerate(_blocks(least, room, gap)):
        widths = _widths([wished[i] for i in block], [least[i] for i in block], room, gap)
        rows = ["", "(the same rows, further columns)"] if count else [""]
        marks = [right[i] for i in block]
        rows += _cells_in_line([heads[i] for i in block], widths, marks, gap, bottom=True)
        rows.append((" " * gap).join("-" * width for width in widths))
        for index in range(len(table.rows)):
            rows += _cells_in_line([columns[i][index] for i in block], widths, marks, gap)
        lines += [" " * indent + row for row in rows]
    return lines


def _least(head: str, texts: list[str], is_right: bool) -> int:
    """Return the width below which a column cannot be read: numbers whole, words wrapped."""
    longest_word = max((len(word) for word in head.split()), default=1)
    if is_right:
        return min(WIDEST, max([longest_word, *(len(text) for text in texts)]))
    longest = max((len(word) for text in texts for word in text.split()), default=1)
    needed = max(longest_word, min(longest, 24), 1)
    return min(WIDEST, max(needed, min(NARROWEST, max((len(t) for t in texts), default=1))))


def _folded(head: str) -> int:
    """Return the width at which a head stands in two lines, if it has two words."""
    return next(w for w in range(1, len(head) + 2) if len(wrapped(head, w)) <= 2)


def _blocks(least: list[int], room: int, gap: int) -> list[list[int]]:
    """Share the columns out over blocks that fit; the first column leads each block."""
    blocks = [[0]]
    used = least[0]
    for i in range(1, len(least)):
        if used + gap + least[i] > room and len(blocks[-1]) > 1:
            blocks.append([0])
            used = least[0]
        blocks[-1].append(i)
        used += gap + least[i]
    return blocks


def _widths(wished: list[int], least: list[int], room: int, gap: int) -> list[int]:
    """Give each column its least width, then share out what is left.

    Columns that lack only little get it first; after them whichever is squeezed the most.
    """
    widths = list(least)
    spare = room - sum(widths) - gap * (len(widths) - 1)
    for i in sorted(range(len(widths)), key=lambda i: wished[i] - least[i]):
        if 0 < wished[i] - least[i] <= min(LITTLE, spare):
            spare -= wished[i] - least[i]
            widths[i] = wished[i]
    while spare > 0:
        i = max(range(len(widths)), key=lambda i: wished[i] / widths[i])
        if wished[i] <= widths[i]:
            break
        widths[i] += 1
        spare -= 1
    return widths


def _cells_in_line(
    texts: list[str], widths: list[int], right: list[bool], gap: int, *, bottom: bool = False
) -> list[str]:
    """Set texts side by side, each wrapped in its column."""
    pieces = [wrapped(text, width) for text, width in zip(texts, widths, strict=True)]
    high = max(len(piece) for piece in pieces)
    lines = []
    for level in range(high):
        line = []
        for piece, width, is_right in zip(pieces, widths, right, strict=True):
            index = level - (high - len(piece)) if bottom else level
            text = piece[index] if 0 <= index < len(piece) else ""
            line.append(text.rjust(width) if is_right else text.ljust(width))
        lines.append((" " * gap).join(line).rstrip())
    return lines
