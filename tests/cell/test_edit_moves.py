"""Repeated sections moved: what belongs to them goes along, every other byte stays."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.cell.edit import Change, EditError, changed
from gudgeon.cell.journal import Journal, digest_of

DEMO = Path(__file__).parents[2] / "demo"
ALDER = (DEMO / "alder-ford.toml").read_text(encoding="utf-8")


@st.composite
def sections(draw: st.DrawFn, number: int) -> str:
    """Return all that belongs to one part, in every way of writing it."""
    lines = ["# its own"] * draw(st.integers(0, 2))
    lines += [draw(st.sampled_from(("[[parts]]", "  [[ parts ]]  # number")))]
    lines += [f'name = "part {number}"' + draw(st.sampled_from(("", "  # named")))]
    if draw(st.booleans()):
        lines += ["", "# within it, above an entry", "mass = '1 kg'"]
    if draw(st.booleans()):
        lines += ["# directly under its entries"]
    for face in range(draw(st.integers(0, 2))):
        lines += [""] * draw(st.integers(0, 1))
        lines += ["[[parts.faces]]", f'name = "{number} {face} # no comment"']
    return "\n".join(lines) + "\n"


GAPS = (
    "\n",
    "\n\n",
    "\n# loose: blank lines on both sides\n\n",
    "\n# loose\n\n# twice\n\n",
    '\n# a tool\n[[tools]]\nname = "in between"\n\n',
    "\n# loose\n\n[money]\nyears = 5\n\n# loose too\n\n",
)


@st.composite
def files(draw: st.DrawFn) -> tuple[list[str], list[str]]:
    """Return what belongs to each part, and what stands before, between and behind them."""
    count = draw(st.integers(2, 5))
    own = [draw(sections(number)) for number in range(count)]
    # A section may be written only once, so its gap comes once at most.
    between = draw(st.lists(st.sampled_from(GAPS[:5]), min_size=count - 1, max_size=count - 1))
    if draw(st.booleans()):
        between[draw(st.integers(0, count - 2))] = GAPS[5]
    before = draw(st.sampled_from(("", "# our shop\n\n", '[shop]\nname = "s"\n\n')))
    behind = draw(st.sampled_from(("", "\n", "\n# at the end\n", "\n[shift]\nhours = '8 h'\n")))
    return own, [before, *between, behind]


def woven(own: list[str], rest: list[str]) -> str:
    return rest[0] + "".join(one + gap for one, gap in zip(own, rest[1:], strict=True))


@settings(max_examples=150, deadline=None)
@given(files(), st.data(), st.booleans(), st.booleans())
def test_a_section_moves_with_all_that_belongs_to_it_and_nothing_else_does(
    file: tuple[list[str], list[str]], data: st.DataObject, bare: bool, returns: bool
) -> None:
    own, rest = file
    place, to = (data.draw(st.integers(0, len(own) - 1)) for _ in range(2))

    def written(own: list[str]) -> str:
        text = woven(own, rest)
        text = text.rstrip("\n") if bare else text
        return text.replace("\n", "\r\n") if returns else text

    old = written(own)
    moved = list(own)
    moved.insert(to, moved.pop(place))
    new = changed(old, [Change(f"parts[{place + 1}]", str(to + 1))])
    assert new == written(moved)
    assert changed(new, [Change(f"parts[{to + 1}]", str(place + 1))]) == old
    # The order as data too, against another reader.
    names = [part["name"] for part in tomllib.loads(old)["parts"]]
    names.insert(to, names.pop(place))
    assert [part["name"] for part in tomllib.loads(new)["parts"]] == names


@settings(max_examples=40, deadline=None)
@given(files(), st.data())
def test_a_section_taken_out_takes_only_what_belongs_to_it(
    file: tuple[list[str], list[str]], data: st.DataObject
) -> None:
    own, rest = file
    place = data.draw(st.integers(0, len(own) - 1))
    new = changed(woven(own, rest), [Change(f"parts[{place + 1}]", None)])
    left = woven([one for at, one in enumerate(own) if at != place] + [""], [*rest])

    def lines(text: str) -> list[str]:
        return sorted(line for line in text.splitlines() if line)

    assert lines(new) == lines(left)


def test_faces_within_a_part_are_moved_too() -> None:
    old = (
        '[[parts]]\nname = "a"\n[[parts.faces]]\nname = "one"\n# of one\n\n'
        '# two\n[[parts.faces]]\nname = "two"\n[[parts]]\nname = "b"\n'
    )
    new = changed(old, [Change("parts[1].faces[2]", "1")])
    assert new == (
        '[[parts]]\nname = "a"\n# two\n[[parts.faces]]\nname = "two"\n\n'
        '[[parts.faces]]\nname = "one"\n# of one\n[[parts]]\nname = "b"\n'
    )


def test_a_list_in_brackets_is_moved_where_no_comment_would_be_torn_off() -> None:
    old = 'stations = [{ name = "a # b" }, { name = "b" }]\n'
    assert changed(old, [Change("stations[2]", "1")]) == (
        'stations = [{ name = "b" }, { name = "a # b" }]\n'
    )
    with pytest.raises(EditError, match="list with comments"):
        changed('stations = [\n  { name = "a" }, # left\n  {},\n]\n', [Change("stations[1]", "2")])


def test_sections_not_written_in_one_piece_stay_where_they_are() -> None:
    old = '[[parts]]\nname = "a"\n[shop]\n[[parts.faces]]\n[[parts]]\nname = "b"\n'
    with pytest.raises(EditError, match="not written in one piece"):
        changed(old, [Change("parts[1]", "2")])


@pytest.mark.parametrize(
    ("path", "to", "words"),
    [
        ("tools[1]", "4", "from 1 to 3"),
        ("tools[1]", "0", "from 1 to 3"),
        ("tools[1]", "up", "from 1 to 3"),
        ("tools[4]", "1", "only 3 of these"),
        ("money", "1", "is a section"),
    ],
)
def test_a_place_that_is_none_is_refused(path: str, to: str, words: str) -> None:
    with pytest.raises(EditError, match=words):
        changed(ALDER, [Change(path, to)])


def test_every_section_of_the_demo_moves_to_every_place_and_back() -> None:
    moves = 0
    for name, members in tomllib.loads(ALDER).items():
        for place in range(1, len(members) + 1 if isinstance(members, list) else 1):
            for to in range(place + 1, len(members) + 1):
                new = changed(ALDER, [Change(f"{name}[{place}]", str(to))])
                assert sorted(new.splitlines()) == sorted(ALDER.splitlines())
                assert changed(new, [Change(f"{name}[{to}]", str(place))]) == ALDER
                moves += new != ALDER
    assert moves > 10


def test_a_move_is_undone_and_made_again(tmp_path: Path) -> None:
    cell = tmp_path / "cell.toml"
    cell.write_bytes(ALDER.encode())
    journal = Journal(cell, tmp_path / "edits.sqlite")
    seen = digest_of(ALDER.encode())
    state = journal.change(seen, lambda text: changed(text, [Change("tools[1]", "3")]), "tools[1]")
    moved = cell.read_bytes()
    assert moved != ALDER.encode()
    state = journal.undo(state.digest)
    assert cell.read_bytes() == ALDER.encode()
    journal.redo(state.digest)
    assert cell.read_bytes() == moved
