"""Which words of a text are easy, which are trade words of the glossary, and how long it reads.

Easy words are those of the list behind the readability formula of Chall and Dale (1995), some
3000 words that four of five pupils of the fourth year know, in the edition that the package
`textstat` (MIT) ships.  Regular inflections of an easy word are easy, by the rules that the list
came with: plural and possessive -s, -es, -ies; verbs in -s, -d, -ed, -ied, -ing; comparatives in
-r, -er, -ier, -st, -est, -iest; a last consonant may be doubled, and a last e dropped (rules from
memory; adverbs in -ly count as hard, as there).

The grade follows the formula of 1995: 0.1579 times the hard words in a hundred plus 0.0496 times
the words in a sentence, and 3.6365 more where over five of a hundred are hard (J. S. Chall,
E. Dale: Readability Revisited, 1995, as coded in the same package).
"""

from __future__ import annotations

import functools
import importlib.metadata
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

ENDINGS: Final = ("s", "es", "d", "ed", "ing", "r", "er", "st", "est")
WORD: Final = re.compile(r"[^\W\d_]+(?:['\u2019][^\W\d_]+)?")
NOT_WORDS: Final = re.compile(
    r"""
    \[+[\w.]+\]+                       # [drift], [[checks]]
    | \b[\w-]+\.(?:toml|csv|nc|html)\b # files
    | \b[a-z]\w*(?:\[\d+\])?(?:\.\w+)+ # entries of the cell file: unit.face_height
    | \b\w*_\w+                        # column and entry names
    | \b\w+=\S*                        # x=..., at = [...
    | [A-Za-z]*\d[\w./*]*              # numbers with what hangs on them: G54, M12, 8.5
    | \b(?:lbf|N)\*\w+                 # units of torque
    """,
    re.VERBOSE,
)


@functools.cache
def easy_words() -> frozenset[str]:
    """Return the list, read without importing the package."""
    found = importlib.metadata.distribution("textstat").locate_file(
        "textstat/resources/en/easy_words.txt"
    )
    return frozenset(Path(str(found)).read_text(encoding="utf-8").split())


def words_of(text: str) -> list[str]:
    """Return the words of a text; numbers, file names and entries of the cell are none."""
    return WORD.findall(NOT_WORDS.sub(" ", text.replace("\u2019", "'")))


def is_form_of(word: str, known: frozenset[str]) -> bool:
    """Tell whether a word is in the list or a plain inflection of one that is."""
    word = word.lower()
    if word in known:
        return True
    if "'" in word:
        return is_form_of(word.split("'")[0], known)
    for ending in ENDINGS:
        if not word.endswith(ending) or len(word) - len(ending) < 2:
            continue
        stem = word.removesuffix(ending)
        if stem in known:
            return True
        if ending[0] in "ei" and stem + "e" in known:
            return True
        if ending[0] in "ei" and len(stem) > 2 and stem[-1] == stem[-2] and stem[:-1] in known:
            return True
        if stem.endswith("i") and ending[0] in "e" and stem[:-1] + "y" in known:
            return True
    return False


def hard_words(text: str, *more: frozenset[str]) -> Iterator[str]:
    """Yield the words of a text that are neither easy nor in one of the further lists."""
    for word in words_of(text):
        if not any(is_form_of(word, known) for known in (easy_words(), *more)):
            yield word


def sentences_of(text: str) -> list[str]:
    """Return the sentences of a text; a colon, a semicolon ends one where a list follows."""
    return [one for one in re.split(r"(?<=[.!?;:])\s+", text.strip()) if words_of(one)]


def grade(texts: Iterable[str], *known: frozenset[str]) -> float:
    """Return the grade by the formula of 1995."""
    every, hard, sentences = 0, 0, 0
    for text in texts:
        words = words_of(text)
        every += len(words)
        hard += sum(1 for _ in hard_words(text, *known))
        sentences += len(sentences_of(text))
    if not every or not sentences:
        return 0.0
    percent = 100.0 * hard / every
    return 0.1579 * percent + 0.0496 * every / sentences + (3.6365 if percent > 5.0 else 0.0)
