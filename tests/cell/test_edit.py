"""Single entries changed in the text: nothing else may change, whatever the file looks like."""

from __future__ import annotations

import copy
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.cell.edit import Change, EditError, changed, declared, path_of
from gudgeon.cell.reader import read_cell

DEMO = Path(__file__).parents[2] / "demo"
ALDER = (DEMO / "alder-ford.toml").read_text(encoding="utf-8")
JUNIPER = (DEMO / "juniper-street.toml").read_text(encoding="utf-8")


def lines_that_differ(old: str, new: str) -> tuple[list[str], list[str]]:
    gone, come = Counter(old.splitlines()), Counter(new.splitlines())
    return sorted((gone - come).elements()), sorted((come - gone).elements())


def comments(text: str) -> Counter[str]:
    return Counter(
        line[line.index("#") :].strip()
        for line in text.splitlines()
        if "#" in line and '"' not in line[line.index("#") :]
    )


def test_a_value_is_replaced_and_its_comment_stays() -> None:
    old = (
        '[unit]\n# measured twice\nface_height  =  "25 mm"   # over the tilt line\nmass = "8 kg"\n'
    )
    new = changed(old, [Change("unit.face_height", "1.5 in +- 0.001 in")])
    assert new == old.replace('"25 mm"', '"1.5 in +- 0.001 in"')


def test_a_new_entry_stands_in_the_order_of_the_declarations() -> None:
    new = changed('[unit]\nname = "u"\nmass = "8 kg"\n', [Change("unit.face_height", "2 mm")])
    assert new == '[unit]\nname = "u"\nface_height = "2 mm"\nmass = "8 kg"\n'


def test_line_ends_and_a_missing_last_one_are_kept() -> None:
    old = '[unit]\r\nmass = "8 kg"\r\n[placement]\r\nyaw = "0 deg"'
    new = changed(old, [Change("unit.name", "u"), Change("placement.riser", "5 mm")])
    assert new == (
        '[unit]\r\nname = "u"\r\nmass = "8 kg"\r\n[placement]\r\nyaw = "0 deg"\r\n'
        'riser = "5 mm"\r\n'
    )


def test_new_sections_stand_beside_their_kin() -> None:
    old = '[unit]\nmass = "8 kg"\n\n[unit.flange]\npitch_circle = "9 mm"\n\n[money]\nyears = 5\n'
    new = changed(old, [Change("unit.motion.tilt_speed", "25 rpm"), Change("shift.hours", "8 h")])
    assert new == (
        '[unit]\nmass = "8 kg"\n\n[unit.flange]\npitch_circle = "9 mm"\n\n'
        '[unit.motion]\ntilt_speed = "25 rpm"\n\n[shift]\nhours = "8 h"\n\n[money]\nyears = 5\n'
    )


def test_an_empty_file_takes_its_first_section() -> None:
    assert changed("", [Change("shop.name", "A")]) == '[shop]\nname = "A"\n'
    assert changed("# ours\n", [Change("shop.name", "A")]) == '# ours\n\n[shop]\nname = "A"\n'


def test_repeated_sections_are_added_filled_and_taken_out() -> None:
    new = changed(ALDER, [Change("tools", ()), Change("tools[4].number", "9")])
    assert lines_that_differ(ALDER, new) == ([], ["", "[[tools]]", "number = 9"])
    assert len(tomllib.loads(new)["tools"]) == 4
    assert tomllib.loads(new)["tools"][3] == {"number": 9}
    assert changed(new, [Change("tools[4]", None)]) == ALDER


def test_a_removed_section_takes_only_the_comment_that_touches_it() -> None:
    old = (
        "# all tools\n\n# the first\n[[tools]]\nnumber = 1\n\n# the second\n[[tools]]\nnumber = 2\n"
    )
    assert changed(old, [Change("tools[1]", None)]) == (
        "# all tools\n\n# the second\n[[tools]]\nnumber = 2\n"
    )
    assert changed(old, [Change("tools[2]", None)]) == (
        "# all tools\n\n# the first\n[[tools]]\nnumber = 1\n\n"
    )


def test_dotted_inline_and_multi_line_forms_are_changed_in_place() -> None:
    old = (
        'shop.name = "A"\n[unit]\nflange = { pitch_circle = "9 mm" }\nmotion = {}\n'
        'lug_rows = [\n  "1 mm",  # left\n  "2 mm",\n]\n'
    )
    new = changed(
        old,
        [
            Change("shop.name", "B"),
            Change("unit.flange.pitch_circle", "8 mm"),
            Change("unit.flange.pilot_depth", "3 mm"),
            Change("unit.motion.tilt_speed", "25 rpm"),
        ],
    )
    assert new == (
        'shop.name = "B"\n[unit]\nflange = { pitch_circle = "8 mm", pilot_depth = "3 mm" }\n'
        'motion = { tilt_speed = "25 rpm" }\nlug_rows = [\n  "1 mm",  # left\n  "2 mm",\n]\n'
    )


@pytest.mark.parametrize(
    ("path", "typed", "shown"),
    [
        ("control.tilt_sense", "-1", "-1"),
        ("control.tilt_sense", "+1", "1"),
        ("placement.bolts.nut_factor", ".2", "0.2"),
        ("placement.bolts.nut_factor", "0.2 +- 0.01", '"0.2 +- 0.01"'),
        ("stations[1].empty", "true", "true"),
        ("drift.corrected", ("2030-03-01",), "[2030-03-01]"),
        ("shop.name", 'The "old" shop \\ Öl', '"The \\"old\\" shop \\\\ Öl"'),
        ("parts[1].faces[1].normal", ("0", "0.5", "1e0"), "[0, 0.5, 1e0]"),
    ],
)
def test_values_are_written_as_their_kind_is_read(
    path: str, typed: str | tuple[str, ...], shown: str
) -> None:
    key = path.rsplit(".", 1)[1]
    assert f"{key} = {shown}" in changed(ALDER, [Change(path, typed)])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change("unit.hight", "1 mm"), "not an entry"),
        (Change("unit", "1 mm"), "is a section"),
        (Change("unit[1].mass", "1 kg"), "only repeated sections are counted"),
        (Change("tools[9].number", "1"), "only 3 of these"),
        (Change("tools[0].number", "1"), "counted from 1"),
        (Change("tools", None), "say which one"),
        (Change("tools[9]", None), "only 3 of these"),
        (Change("unit.rated_load", None), "not an entry"),
        (Change("shop.clearance; x", "1 mm"), "is no entry"),
        (Change("placement.yaw", None), "not in the file"),
        (Change("unit.tilt_range", "5 deg"), "one value for each place"),
        (Change("unit.mass", ("5 kg",)), "takes one value"),
    ],
)
def test_what_cannot_be_changed_is_refused_in_words(change: Change, words: str) -> None:
    with pytest.raises(EditError, match=words):
        changed(ALDER, [change])


def test_a_fault_elsewhere_does_not_keep_an_entry_from_being_changed() -> None:
    old = '[unit]\nmass == 5\nname = "u"\n[machine]\nname = "m"\n'
    new = changed(old, [Change("machine.name", "the mill"), Change("unit.name", "v")])
    assert new == '[unit]\nmass == 5\nname = "v"\n[machine]\nname = "the mill"\n'


def test_nothing_is_changed_when_one_of_several_changes_is_refused() -> None:
    with pytest.raises(EditError):
        changed(ALDER, [Change("unit.mass", "5 kg"), Change("unit.hight", "5 mm")])


LENGTHS = (
    "unit.face_height",
    "unit.platter_diameter",
    "machine.nose_diameter",
    "machine.changer.z",
    "placement.bolts.diameter",
    "fixture.flange.pilot_depth",
    "tools[1].length",
    "tools[2].stickout",
    "placement.riser",
)


@st.composite
def edits(draw: st.DrawFn) -> list[Change]:
    found = []
    for _ in range(draw(st.integers(1, 6))):
        if draw(st.booleans()):
            size = draw(st.integers(1, 9999))
            found.append(Change(draw(st.sampled_from(LENGTHS)), f"{size / 8} mm"))
        else:
            words = draw(st.text(st.characters(exclude_categories=["C"]), max_size=12))
            found.append(Change(draw(st.sampled_from(("shop.name", "unit.name"))), words))
    return found


@settings(max_examples=60, deadline=None)
@given(st.sampled_from((ALDER, JUNIPER, ALDER.replace("\n", "\r\n"))), edits())
def test_any_series_of_edits_changes_what_it_names_and_nothing_else(
    text: str, series: list[Change]
) -> None:
    new = changed(text, series)
    wanted = copy.deepcopy(tomllib.loads(text))
    for change in series:
        at = wanted
        *above, last = path_of(change.path)
        for part in above:
            at = at[part] if isinstance(part, int) else at.setdefault(part, {})  # type: ignore[call-overload]
        at[last] = change.typed
    assert tomllib.loads(new) == wanted
    assert comments(new) == comments(text)
    changed_keys = {change.path.rsplit(".", 1)[1] for change in series}
    gone, come = lines_that_differ(text, new)
    own = (*changed_keys, "[", "")
    assert all(line.lstrip().startswith(own) for line in (*gone, *come))
    assert ("\r\n" in new) == ("\r\n" in text)


def test_every_declared_entry_can_be_written_and_is_then_known_to_the_reader() -> None:
    from gudgeon.cell.entry import Shape, entries
    from gudgeon.cell.model import Cell
    from gudgeon.quantity.kinds import BASE, Kind

    def paths(of: type, under: str) -> list[str]:
        found = []
        for key, entry in entries(of).items():
            if entry.shape is Shape.SECTION and entry.of is not None:
                found += paths(entry.of, f"{under}{key}.")
            elif entry.shape is not Shape.SECTIONS:
                found.append(f"{under}{key}")
        return found

    every = paths(Cell, "")
    assert len(every) > 200
    for path in every:
        entry = declared(path_of(path))
        assert entry.kind is not None
        plain = {Kind.YES_NO: "true", Kind.DATE: "2030-01-01", Kind.DIRECTION: "Z+"}
        one = plain.get(entry.kind, "1")
        if entry.choices:
            one = entry.choices[0]
        elif entry.kind in BASE:
            one = BASE[entry.kind].examples[0]
        many = {Shape.ONE: 0, Shape.POINT: 3, Shape.LIST: 1}.get(entry.shape, 2)
        new = changed("", [Change(path, (one,) * many if many else one)])
        told = [fault.code for fault in read_cell(new).faults]
        assert told == [], (path, new, told)
