"""Words of a text, and their plain forms: for the list of words and for those who test the sheets.

Regular forms of a word are known with it: plural and possessive -s, -es, -ies; verbs in -s, -d,
-ed, -ied, -ing; comparatives in -r, -er, -ier, -st, -est, -iest; a last consonant may be doubled,
and a last e dropped.  (The rules of the list of easy words of Chall and Dale, from memory.)
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from typing import Final

from gudgeon.sheets.shape import (
    Block,
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

__all__ = ["form_of", "texts_of", "words_of"]

ENDINGS: Final = ("s", "es", "d", "ed", "ing", "r", "er", "st", "est")
WORD: Final = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?")
NOT_WORDS: Final = re.compile(
    r"""
    \[+[\w.]+\]+                       # [drift], [[checks]]
    | \b[\w-]+\.(?:toml|csv|nc|html)\b # files
    | \b[a-z]\w*(?:\[\d+\])?(?:\.\w+)+ # entries of the cell file: unit.face_height
    | \b\w*_\w+                        # names of columns and entries
    | \b\w+=\S*                        # x=...
    | [A-Za-z]*\d[\w./*]*              # numbers with what hangs on them: G54, M12, 8.5
    | \b(?:lbf|N)\*\w+                 # units of torque
    """,
    re.VERBOSE,
)


def words_of(text: str) -> list[str]:
    """Return the words of a text; numbers, file names and entries of a cell file are none."""
    return WORD.findall(NOT_WORDS.sub(" ", text.replace("\u2019", "'")))


def form_of(word: str, known: Collection[str]) -> str | None:
    """Return the word among `known`, all in small letters, of which a word is a plain form."""
    word = word.lower()
    if word in known:
        return word
    if "'" in word:
        return form_of(word.split("'")[0], known)
    for ending in ENDINGS:
        stem = word.removesuffix(ending)
        if stem == word or len(stem) < 2:
            continue
        tried = [stem]
        if ending[0] in "ei":
            tried.append(stem + "e")
            if len(stem) > 2 and stem[-1] == stem[-2]:
                tried.append(stem[:-1])
        if ending[0] == "e" and stem.endswith("i"):
            tried.append(stem[:-1] + "y")
        for one in tried:
            if one in known:
                return one
    return None


def texts_of(sheet: Sheet) -> Iterator[str]:
    """Yield every text that is printed on a sheet, drawings but for their titles left out."""
    yield sheet.title
    yield sheet.lead
    for block in sheet.blocks:
        yield from _block_texts(block)
    for item in sheet.missing:
        yield from (item.what, item.why, item.how_to_get_it)


def _block_texts(block: Block) -> Iterator[str]:
    match block:
        case Heading(text) | Words(text):
            yield text
        case Cautions(texts):
            yield from texts
        case Steps(steps):
            for step in steps:
                yield from _step_texts(step)
        case Grid():
            yield block.title
            yield from (head.label for head in block.heads)
            yield from (text for row in block.rows for text in row)
        case Drawing(picture):
            yield picture.title
        case Listing():
            yield from (block.title, block.start, block.refused, *block.cautions)
            yield from (words for _, words in block.lines)


def _step_texts(step: Step) -> Iterator[str]:
    yield from (step.order, step.see, step.why, step.lack, *step.cautions)
    yield from (box.label for box in step.boxes)
    if step.picture is not None:
        yield step.picture.title
