"""A sheet as plain text, for golden files: every word that is printed, and nothing else."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import assert_never

from gudgeon.sheets.shape import (
    Block,
    Box,
    Cautions,
    Drawing,
    Grid,
    Heading,
    Listing,
    Sheet,
    Step,
    Steps,
    Words,
)

WIDTH = 100


def sheet_text(sheet: Sheet) -> str:
    """Return all words of `sheet`; steps are numbered as on paper, boxes stand as ``[name]``."""
    lines = [f"== {sheet.title} ({sheet.name}){' laid across' if sheet.wide else ''}"]
    lines += folded(sheet.lead)
    count = 0
    for block in sheet.blocks:
        lines.append("")
        if isinstance(block, Steps):
            for step in block.steps:
                count += 1
                lines += step_lines(step, count)
        else:
            lines += block_lines(block)
    if sheet.missing:
        lines += ["", "Missing, the most telling first:"]
        for item in sheet.missing:
            lines += folded(f"{item.what} ({item.where})", "- ")
            lines += folded(item.why, "  why: ")
            lines += folded(item.how_to_get_it, "  get it: ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def block_lines(block: Block) -> Iterator[str]:
    """Yield the lines of a block that is no steps."""
    match block:
        case Heading(text):
            yield f"## {text}"
        case Words(text, role):
            yield from folded(text, "" if role == "text" else f"{role}: ")
        case Cautions(texts):
            for text in texts:
                yield from folded(text, "! ")
        case Grid():
            yield from grid_lines(block)
        case Drawing(picture, scale):
            yield f"drawing {picture.name}: {picture.title}{scale_words(scale)}"
        case Listing():
            yield from listing_lines(block)
        case Steps(steps):
            for count, step in enumerate(steps, start=1):
                yield from step_lines(step, count)
        case _:
            assert_never(block)


def step_lines(step: Step, count: int) -> Iterator[str]:
    """Yield the lines of one step."""
    yield from folded(f"{step.order} ({step.name})", f"{count:>2}. ")
    for text in step.cautions:
        yield from folded(text, "    ! ")
    for role, text in (("see", step.see), ("why", step.why), ("lack", step.lack)):
        if text:
            yield from folded(text, f"    {role}: ")
    for box in step.boxes:
        yield f"    {box_text(box)}"
    if step.picture is not None:
        yield f"    drawing {step.picture.name}: {step.picture.title}"


def box_text(box: Box) -> str:
    """Return a box on one line."""
    mark = "tick" if box.form == "tick" else "____"
    return f"[{box.name}] {box.label} {mark} {box.unit}".rstrip()


def grid_lines(grid: Grid) -> Iterator[str]:
    """Yield a table whose columns are as wide as their widest entry."""
    yield f"table {grid.name}: {grid.title}"
    heads = [
        f"{head.label}{f' [{head.unit}]' if head.unit else ''}{' (blank)' if head.blank else ''}"
        for head in grid.heads
    ]
    names = [head.name for head in grid.heads]
    widths = [
        max(len(text) for text in column) for column in zip(heads, names, *grid.rows, strict=True)
    ]
    yield _row(heads, widths)
    yield _row(names, widths)
    yield _row(["-" * width for width in widths], widths)
    for row in grid.rows:
        yield _row(row, widths)


def listing_lines(listing: Listing) -> Iterator[str]:
    """Yield a program, or why there is none."""
    yield f"program {listing.name}: {listing.title}"
    for text in listing.cautions:
        yield from folded(text, "! ")
    if listing.refused:
        yield from folded(listing.refused, "refused: ")
    if listing.start:
        yield from folded(listing.start, "start: ")
    width = max((len(code) for code, _ in listing.lines), default=0)
    for code, words in listing.lines:
        yield f"  {code:<{width}}  {words}"


def scale_words(scale: float | None) -> str:
    """Return the scale of a drawing in words."""
    if scale is None:
        return ""
    return f" (scale 1:{1.0 / scale:g})" if scale <= 1.0 else f" (scale {scale:g}:1)"


def folded(text: str, first: str = "") -> list[str]:
    """Return `text` in lines, `first` before them and blanks under it."""
    rest = " " * len(first)
    return wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=False,
    ) or [first.rstrip()]


def _row(texts: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(f"{text:<{width}}" for text, width in zip(texts, widths, strict=True))
