"""Which words of a text are easy, how long its sentences are, and what grade it reads at.

Easy words are those of the list behind the readability formula of Chall and Dale (1995), some
3000 words that four of five pupils of the fourth year know, in the edition that the package
`textstat` (MIT) ships; plain forms of an easy word are easy (`gudgeon.sheets._forms`).

The grade follows the formula of 1995: 0.1579 times the hard words in a hundred plus 0.0496 times
the words in a sentence, and 3.6365 more where over five of a hundred are hard (J. S. Chall,
E. Dale: Readability Revisited, 1995, as coded in the same package).
"""

from __future__ import annotations

import functools
import importlib.metadata
import re
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path

from gudgeon.sheets._forms import form_of, words_of

__all__ = ["easy_words", "grade", "hard_words", "sentences_of"]


@functools.cache
def easy_words() -> frozenset[str]:
    """Return the list, read without importing the package."""
    found = importlib.metadata.distribution("textstat").locate_file(
        "textstat/resources/en/easy_words.txt"
    )
    return frozenset(Path(str(found)).read_text(encoding="utf-8").split())


def hard_words(text: str, *more: Collection[str]) -> Iterator[str]:
    """Yield the words of a text that are neither easy nor in one of the further lists."""
    for word in words_of(text):
        if not any(form_of(word, known) for known in (easy_words(), *more)):
            yield word


def sentences_of(text: str) -> list[str]:
    """Return the sentences of a text; a colon or semicolon ends one where a list follows."""
    return [one for one in re.split(r"(?<=[.!?;:])\s+", text.strip()) if words_of(one)]


def grade(texts: Iterable[str], *known: Collection[str]) -> float:
    """Return the grade by the formula of 1995."""
    every, hard, sentences = 0, 0, 0
    for text in texts:
        every += len(words_of(text))
        hard += sum(1 for _ in hard_words(text, *known))
        sentences += len(sentences_of(text))
    if not every or not sentences:
        return 0.0
    percent = 100.0 * hard / every
    return 0.1579 * percent + 0.0496 * every / sentences + (3.6365 if percent > 5.0 else 0.0)
