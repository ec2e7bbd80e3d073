"""Every sheet can be read by a second-year apprentice: easy words, trade words, short sentences.

A word is allowed if it is easy (see `easy_words`), a head word of the list of words that is printed
with the sheets, a name that this shop gives in its cell, a unit, or a letter of the machine.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator

import pytest

from gudgeon.cell.model import Cell
from gudgeon.sheets import find_sheets
from gudgeon.sheets._forms import form_of, texts_of, words_of
from gudgeon.sheets.known import Known
from gudgeon.sheets.words import WORDS
from tests.sheets.conftest import CELLS
from tests.sheets.easy_words import easy_words, grade, hard_words, sentences_of

NAMES = {"name", "first", "last", "file", "word", "offset_words", "faces"}
"""Entries that hold a name or a word of this shop's own."""

LETTERS = frozenset("xyzabcuvwtgmfnpdhrs")
"""Of axes, words of a program and columns."""

UNITS = frozenset({"mm", "in", "kg", "lb", "lbf", "min", "rpm", "deg", "degc"})

IRREGULAR = frozenset({"drawn", "proven", "themselves", "worn"})
"""Forms of easy words that no rule makes."""

MOST_WORDS = 25
"""In a sentence."""

MOST_GRADE = 6.9
"""Though trade words count as hard here; 6.9 is the end of what the formula's table gives to the
eighth year of school (from memory)."""


def names_of(cell: Cell) -> frozenset[str]:
    """Return the words of all names that this shop gives, in small letters."""
    return frozenset(word.lower() for text in _names(cell) for word in words_of(text))


def _names(value: object) -> Iterator[str]:
    if isinstance(value, tuple):
        for one in value:
            yield from _names(one)
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            inner = getattr(value, field.name)
            if isinstance(inner, str) and field.name in NAMES:
                yield inner
            elif isinstance(inner, tuple) and field.name in NAMES:
                yield from (one for one in inner if isinstance(one, str))
            yield from _names(inner)


SHEETS = find_sheets()
EVERY = [(cell, name) for cell in CELLS for name in SHEETS]


@pytest.mark.parametrize(("cell", "name"), EVERY, ids=str)
def test_every_word_is_easy_or_explained(
    cell: str, name: str, known: Callable[[str], Known]
) -> None:
    facts = known(cell)
    own = names_of(facts.findings.cell)
    unknown = {
        word.lower(): text
        for text in texts_of(SHEETS[name].sheet(facts))
        for word in hard_words(text, WORDS, own, LETTERS, UNITS, IRREGULAR)
    }
    assert unknown == {}


@pytest.mark.parametrize(("cell", "name"), EVERY, ids=str)
def test_sentences_are_short(cell: str, name: str, known: Callable[[str], Known]) -> None:
    long = [
        sentence
        for text in texts_of(SHEETS[name].sheet(known(cell)))
        for sentence in sentences_of(text)
        if len(words_of(sentence)) > MOST_WORDS
    ]
    assert long == []


@pytest.mark.parametrize(("cell", "name"), EVERY, ids=str)
def test_the_grade_is_low(
    cell: str, name: str, known: Callable[[str], Known], record_property: Callable[..., None]
) -> None:
    facts = known(cell)
    own = names_of(facts.findings.cell)
    found = grade(texts_of(SHEETS[name].sheet(facts)), own, LETTERS, UNITS, IRREGULAR)
    record_property("grade", round(found, 2))
    assert found <= MOST_GRADE


def test_the_list_of_words_is_explained_in_easy_words() -> None:
    unknown = {
        word: text
        for text in WORDS.values()
        for word in hard_words(text, WORDS, LETTERS, IRREGULAR)
        if form_of(word, WORDS) is None
    }
    assert unknown == {}
    # No word is explained by itself.
    circular = {
        head
        for head, text in WORDS.items()
        if head in {form_of(word, WORDS) for word in words_of(text)}
    }
    assert circular == set()
    assert list(WORDS) == sorted(WORDS)


def test_no_head_word_is_an_easy_word_in_disguise() -> None:
    """The list holds trade words; easy words that mean something else here are named."""
    easy = {head for head in WORDS if head in easy_words()}
    assert easy <= {
        "clear", "column", "cradle", "drift", "feed", "head", "holder", "mill", "platter", "prove",
        "reach", "reading", "scale", "sense", "station", "tower",
    }  # fmt: skip


@pytest.mark.parametrize("cell", CELLS)
def test_the_list_holds_the_words_of_the_printed_sheets_only(
    cell: str, known: Callable[[str], Known]
) -> None:
    facts = known(cell)
    alone = Known(facts.findings, facts.answers, printed=("loading", "words"))
    table = next(block for block in SHEETS["words"].sheet(alone).blocks if hasattr(block, "rows"))
    told = {row[0] for row in table.rows}
    on_sheet = {
        form_of(word, WORDS)
        for text in texts_of(SHEETS["loading"].sheet(facts))
        for word in words_of(text)
    } - {None}
    assert on_sheet <= told
    # The rest explains a word that is told.
    rest = told - on_sheet
    explaining = {form_of(word, WORDS) for head in told for word in words_of(WORDS[head])}
    assert rest <= explaining
    assert "quarantine" not in told


def test_a_hard_word_is_found_and_a_plain_form_is_not() -> None:
    assert list(hard_words("Rotate the concentricity of the biggest boxes, tried twice.")) == [
        "Rotate",
        "concentricity",
    ]
    assert sentences_of("One. Two: three; four! A5 -3.1?") == ["One.", "Two:", "three;", "four!"]
    assert grade(["The cat sat."]) == pytest.approx(0.0496 * 3.0)
    assert grade(["The concentricity sat."]) == pytest.approx(
        0.1579 * 100 / 3 + 0.0496 * 3 + 3.6365
    )
