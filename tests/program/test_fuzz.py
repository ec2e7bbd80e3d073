"""Whatever the bytes and whatever the control: a track comes out, alike by both readers."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gudgeon.program.doubts import Code
from gudgeon.program.reader import read
from tests.program import soup

SOME = settings(max_examples=300)


@SOME
@given(st.binary(max_size=300), st.randoms(use_true_random=False))
@example(b"G0\x00", random.Random(0))
@example(b"\xff\xfeG\x000\x00", random.Random(0))
def test_bytes(text: bytes, chance: random.Random) -> None:
    soup.read_both_ways(text, soup.any_dialect(chance.randrange))


@SOME
@given(st.text(alphabet="GMXYZNFIJRPLOAC0123456789.-+#[]=()/% \n", max_size=200), st.randoms())
def test_letters_and_digits(text: str, chance: random.Random) -> None:
    soup.read_both_ways((soup.BEGIN + text).encode(), soup.any_dialect(chance.randrange))


@SOME
@given(st.randoms(use_true_random=False))
def test_tokens_and_blocks(chance: random.Random) -> None:
    dialect = soup.any_dialect(chance.randrange)
    soup.read_both_ways(soup.any_text(chance.randrange), dialect)


@SOME
@given(st.sampled_from(soup.SAMPLES), st.randoms(use_true_random=False))
def test_spoiled_samples(sample: bytes, chance: random.Random) -> None:
    dialect = soup.any_dialect(chance.randrange)
    soup.read_both_ways(soup.mutated(chance.randrange, sample), dialect)


def test_the_soup_reaches_nearly_every_doubt() -> None:
    """A fuzz that stops at the first block checks nothing; the same programs on every run."""
    met: Counter[Code] = Counter()
    blocks = 0
    for seed in range(3_000):
        chance = random.Random(seed)
        dialect = soup.any_dialect(chance.randrange)
        track = read(soup.any_text(chance.randrange), dialect, quick=False)
        met.update(doubt.code for doubt in track.doubts)
        blocks += track.blocks
    assert blocks > 3_000 * 4
    assert len(met) > 0.7 * len(Code)
    assert max(met.values()) < 0.3 * met.total()


@pytest.mark.parametrize("text", soup.SAMPLES)
def test_a_broken_promise_is_seen(text: bytes) -> None:
    """The checks themselves: a row spoiled by hand is refused."""
    dialect = soup.samples.MACHINE
    track = read(text, dialect)
    soup.check_track(track, text, dialect)
    for field, value in (("line", 10_000), ("force", 99), ("arc", 99), ("feed", float("inf"))):
        spoiled = read(text, dialect)
        spoiled.segments[field][-1] = value
        with pytest.raises(AssertionError):
            soup.check_track(spoiled, text, dialect)
    spoiled = read(text, dialect)
    spoiled.segments["end"][0][0] = float("nan")
    spoiled.segments["doubt"][0] = -1
    with pytest.raises(AssertionError):
        soup.check_track(spoiled, text, dialect)
