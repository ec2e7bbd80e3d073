"""The reader: values into frozen data, all faults of a file in one run, and their places."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, fields
from pathlib import Path

import pytest

from gudgeon.cell.entry import Shape, entries
from gudgeon.cell.faults import SHOWN_MOST, WIDTH, Fault, Place, as_text, in_order
from gudgeon.cell.files import Loaded, load_text
from gudgeon.cell.model import Cell
from gudgeon.cell.reader import read_cell
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import BASE, Kind


def cell_of(text: str) -> Cell:
    loaded = load_text(text)
    assert loaded.cell is not None, as_text(loaded.faults)
    return loaded.cell


def codes(loaded: Loaded) -> list[str]:
    return [fault.code for fault in loaded.faults]


# --- values -------------------------------------------------------------------------------------


def test_each_shape_becomes_what_the_model_says() -> None:
    cell = cell_of(
        """
[machine]
travel_x = ["-30 in", "0 mm"]
slot_positions = ["-330 mm", "-205 mm"]

[unit]
lugs_needed = 2
brake_safety = 1.5
[unit.flange]
pitch_circle = "150 mm +- 0.2 mm"

[[unit.boxes]]
z = ["-90 mm", "95 mm"]
turns_with = "cradle"

[[parts]]
name = "body"
[[parts.faces]]
name = "top"
zero = ["0 mm", "-20 mm", "1 in"]
normal = [0, -3, 4]
pose = ["90 deg", "-450 deg"]
[[parts.faces]]
normal = "+x"

[control]
tilt_sense = -1
rotary_sense = +1

[readings]
compensated = false

[money]
shop_rate = "75 EUR/h"
volumes = ["1200 parts/yr", "680 parts/yr"]
"""
    )
    assert cell.machine.travel_x == (Amount(-762.0), Amount(0.0))
    assert cell.machine.slot_positions == (Amount(-330.0), Amount(-205.0))
    assert cell.unit.lugs_needed == 2
    assert cell.unit.brake_safety == Amount(1.5)
    assert cell.unit.flange.pitch_circle == Amount(150.0, 0.2)
    assert cell.unit.boxes[0].z == (Amount(-90.0), Amount(95.0))
    top, side = cell.parts[0].faces
    assert top.zero == (Amount(0.0), Amount(-20.0), Amount(25.4))
    assert top.normal == pytest.approx((0.0, -0.6, 0.8))
    assert top.pose is not None
    assert top.pose[1].value == pytest.approx(-2.5 * math.pi)
    assert side.normal == (1.0, 0.0, 0.0)
    assert (cell.control.tilt_sense, cell.control.rotary_sense) == (-1, 1)
    assert cell.readings.compensated is False
    assert cell.currency == "EUR"
    assert [volume.value for volume in cell.money.volumes] == [1200.0, 680.0]


def test_what_is_not_in_the_file_is_none_or_empty() -> None:
    cell = cell_of("[shop]\n")
    assert cell.unit.mass is None
    assert cell.stations == ()
    assert cell.machine.changer.z is None
    assert cell.currency == ""


def test_the_cell_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        cell_of("[shop]\n").shop.name = "x"  # type: ignore[misc]


def test_inline_tables_and_dotted_keys_are_read_alike() -> None:
    one = cell_of('[unit.flange]\npitch_circle = "150 mm"\n')
    two = cell_of('unit = { flange = { pitch_circle = "150 mm" } }\n')
    three = cell_of('[unit]\nflange.pitch_circle = "150 mm"\n')
    assert one == two == three


def test_windows_line_ends_and_a_byte_order_mark_do_not_matter(tmp_path: Path) -> None:
    from gudgeon.cell.files import load

    (tmp_path / "cell.toml").write_bytes(b'\xef\xbb\xbf[unit]\r\nmass = "85 kg"\r\n')
    loaded = load(tmp_path / "cell.toml")
    assert loaded.cell is not None
    assert loaded.cell.unit.mass == Amount(85.0)


def walk(of: type, path: str = "") -> list[tuple[str, str, object]]:
    found: list[tuple[str, str, object]] = []
    for key, entry in entries(of).items():
        if entry.of is not None:
            found += walk(entry.of, f"{path}.{key}")
        else:
            found.append((path, key, entry))
    return found


def example_of(kind: Kind, choices: tuple[str, ...]) -> str:
    if choices:
        return f'"{choices[0]}"' if kind is Kind.TEXT else choices[0]
    plain = {
        Kind.TEXT: '"some words"',
        Kind.INTEGER: "3",
        Kind.NUMBER: "1.0",
        Kind.YES_NO: "true",
        Kind.DIRECTION: '"Z+"',
        Kind.DATE: "2030-03-02",
    }
    if kind in plain:
        return plain[kind]
    return f'"{BASE[kind].examples[0]}"'


def test_every_entry_that_is_declared_can_be_read() -> None:
    """One entry at a time, through the whole contract, so that no kind or shape is left out."""
    seen = 0
    for path, key, entry in walk(Cell):
        from gudgeon.cell.entry import Entry

        assert isinstance(entry, Entry)
        assert entry.kind is not None
        one = example_of(entry.kind, entry.choices)
        count = {Shape.RANGE: 2, Shape.PAIR: 2, Shape.POINT: 3, Shape.LIST: 1}.get(entry.shape)
        value = one if count is None else "[" + ", ".join([one] * count) + "]"
        parts = path.strip(".").split(".")
        lines, at, of = [], "", Cell
        for part in parts:
            at = f"{at}.{part}".strip(".")
            inner = entries(of)[part]
            assert inner.of is not None
            of = inner.of
            lines.append(f"[[{at}]]" if inner.shape is Shape.SECTIONS else f"[{at}]")
        read = read_cell("\n".join([*lines, f"{key} = {value}"]))
        assert read.faults == (), as_text(read.faults)
        holder: object = read.cell
        for part in parts:
            holder = getattr(holder, part)
            if isinstance(holder, tuple):
                holder = holder[0]
        assert getattr(holder, key) not in (None, ()), f"{path}.{key}"
        seen += 1
    assert seen > 150


def test_every_field_of_the_model_is_declared() -> None:
    """A field without a declaration would never be read."""
    extra = {"currency", "touches", "meshes", "file", "days", "made"}
    assert {item.name for item in fields(Cell)} - set(entries(Cell)) == extra


# --- faults -------------------------------------------------------------------------------------


def test_all_faults_of_a_file_come_in_one_run_in_the_order_of_lines() -> None:
    loaded = load_text(
        """
[machine]
gauge_to_table = 620
slot_width = "12,5 mm"
layout = moving table
[unit]
tilt_range = ["110 deg", "-30 deg"]
mas = "85 kg"
[control]
tilt_letter = "A"
rotary_letter = "A"
"""
    )
    assert codes(loaded) == ["C011", "C012", "C008", "C013", "C004", "C051"]
    lines = [fault.places[0].line for fault in loaded.faults]
    assert lines == [3, 4, 5, 7, 8, 10]
    assert loaded.cell is None


def test_a_fault_that_follows_from_another_is_left_out() -> None:
    """The name of the tool and of the part cannot be read; their users are not at fault."""
    loaded = load_text(
        """
[[tools]]
number = "twelve"
[[parts]]
name = 7
[[stations]]
part = "body"
[[operations]]
tool = 12
part = "body"
"""
    )
    assert codes(loaded) == ["C018", "C018"]


def test_a_name_on_a_line_that_cannot_be_read_is_not_missed() -> None:
    text = (
        '[[parts]]\nname = "body"\n[[parts]]\nname = flange plate\n[[stations]]\npart = "flange"\n'
    )
    assert codes(load_text(text)) == ["C008"]


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ('platter_diameter = "0 mm"', ["C015"]),
        ('platter_diameter = "0.001 mm"', []),
        ("brake_safety = 1", []),
        ("brake_safety = 0.999", ["C015"]),
        ('lug_play = "0 mm"', []),
        ('lug_play = "-0.001 mm"', ["C015"]),
    ],
)
def test_limits_are_kept_to_the_letter(entry: str, told: list[str]) -> None:
    assert codes(load_text(f"[unit]\n{entry}\n")) == told


def test_at_most_twenty_are_shown_errors_first_and_the_rest_counted() -> None:
    warnings = '[control]\ntilt_letter = "B"\n[placement]\ntilt_along = "X"\n[unit]\n'
    keys = "".join(f"no_{number} = 1\n" for number in range(25))
    loaded = load_text(warnings + keys)
    text = as_text(loaded.faults)

    assert len(loaded.faults) == 26
    assert text.count("error C004") == SHOWN_MOST
    assert "warning" not in text
    assert text.endswith("6 more faults are not shown; mend these first, then check again.\n")


def test_one_currency_fault_however_many_sums() -> None:
    loaded = load_text(
        '[money]\ninvestment = "1 EUR"\nrunning_cost = "1 USD/yr"\nresale = "1 USD"\n'
    )
    assert codes(loaded) == ["C021"]


def test_a_warning_keeps_the_cell() -> None:
    loaded = load_text('[placement]\ntilt_along = "Y"\n[control]\ntilt_letter = "A"\n')
    assert codes(loaded) == ["C052"]
    assert loaded.cell is not None


@pytest.mark.parametrize(
    ("along", "letter", "kind", "told"),
    [
        ("X", "A", "tilt and rotary", []),
        ("Y", "B", "tilt and rotary", []),
        ("Y", "A", "tilt and rotary", ["C052"]),
        ("X", "B", "tilt and rotary", ["C052"]),
    ],
)
def test_letters_by_iso_841(along: str, letter: str, kind: str, told: list[str]) -> None:
    """A turns about X, B about Y, C about Z (ISO 841; check rows of topic 01)."""
    text = f'[unit]\nkind = "{kind}"\n[placement]\ntilt_along = "{along}"\n'
    text += f'[control]\ntilt_letter = "{letter}"\nrotary_letter = "C"\n'
    assert codes(load_text(text)) == told


@pytest.mark.parametrize(
    ("yaw", "letter", "told"),
    [("0", "A", []), ("180", "A", []), ("-90", "B", []), ("270", "A", ["C052"]), ("45", "A", [])],
)
def test_letters_follow_the_yaw(yaw: str, letter: str, told: list[str]) -> None:
    text = f'[placement]\nyaw = "{yaw} deg"\n[control]\ntilt_letter = "{letter}"\n'
    assert codes(load_text(text)) == told


def test_a_single_axis_lies_along_the_table() -> None:
    text = '[unit]\nkind = "rotary only"\n[placement]\ntilt_along = "X"\n[control]\n'
    assert codes(load_text(text + 'rotary_letter = "A"\n')) == []
    assert codes(load_text(text + 'rotary_letter = "C"\n')) == ["C052"]


@pytest.mark.parametrize(
    ("along", "yaw", "told"),
    [
        ("X", "0 deg", []),
        ("X", "180 deg", []),
        ("X", "2 deg", []),
        ("X", "-30 deg", []),
        ("X", "90 deg", ["C053"]),
        ("Y", "0 deg", ["C053"]),
        ("Y", "-90 deg", []),
        ("Y", "270 deg", []),
    ],
)
def test_tilt_along_against_yaw(along: str, yaw: str, told: list[str]) -> None:
    text = f'[placement]\ntilt_along = "{along}"\nyaw = "{yaw}"\n'
    assert codes(load_text(text)) == told


def test_exactly_on_a_limit_is_inside() -> None:
    text = """
[machine]
gauge_to_table = "620 mm"
travel_x = ["-762 mm", "0 mm"]
travel_z = ["-508 mm", "0 mm"]
table_y = ["-420 mm", "0 mm"]
slots_along = "X"
slot_positions = ["-420 mm", "0 mm"]
[machine.changer]
z = "0 mm"
[unit]
body_height = "620 mm"
tilt_range = ["-90 deg", "90 deg"]
[placement]
centre_x = "-30 in"
[[parts]]
name = "body"
[[parts.faces]]
pose = ["90 deg", "0 deg"]
[[tools]]
length = "90 mm"
stickout = "90 mm"
[money]
investment = "24900 EUR"
time_per_part_now = "60 min"
time_per_part = "39 min"
saved_per_part = "21 min"
[[money.items]]
price = "24900 EUR"
"""
    assert codes(load_text(text)) == []


def test_slots_are_judged_across_their_direction() -> None:
    ends = 'table_x = ["-800 mm", "0 mm"]\ntable_y = ["-400 mm", "0 mm"]\n'
    slots = 'slot_positions = ["-600 mm"]\n'
    assert codes(load_text(f'[machine]\nslots_along = "X"\n{ends}{slots}')) == ["C043"]
    assert codes(load_text(f'[machine]\nslots_along = "Y"\n{ends}{slots}')) == []


def test_the_daylight_is_that_at_the_top_of_z() -> None:
    """620 mm over the table at Z 0; the top of Z at -100 leaves 520 mm."""
    text = '[machine]\ngauge_to_table = "620 mm"\ntravel_z = ["-508 mm", "-100 mm"]\n[unit]\n'
    assert codes(load_text(text + 'body_height = "520 mm"\n')) == []
    assert codes(load_text(text + 'body_height = "521 mm"\n')) == ["C041"]
    both = 'body_height = "521 mm"\ntilt_axis_height = "180 mm"\n'
    assert codes(load_text(text + both)) == ["C041"], "the higher of the two counts"
    riser = '[placement]\nriser = "10 mm"\n'
    assert codes(load_text(text + 'tilt_axis_height = "511 mm"\n' + riser)) == ["C041"]


def test_a_stated_spread_covers_a_difference_of_times() -> None:
    text = '[money]\ntime_per_part_now = "60 min"\ntime_per_part = "40 min{}"\n'
    text += 'saved_per_part = "25 min"\n'
    assert codes(load_text(text.format(""))) == ["C046"]
    assert codes(load_text(text.format(" +- 6 min"))) == []


def test_references_wait_until_something_is_listed() -> None:
    growing = '[[operations]]\ntool = 3\npart = "body"\nface = "top"\n[[stations]]\npart = "body"\n'
    assert codes(load_text(growing)) == []
    assert codes(load_text(growing + "[[tools]]\nnumber = 1\n")) == ["C026"]
    assert codes(load_text(growing + '[[parts]]\nname = "body"\n')) == []


# --- places and printing ------------------------------------------------------------------------


def test_places_count_characters_not_bytes() -> None:
    line = 'unit = { name = "\u00d6\u00d6", mass = 3 }'
    (fault,) = load_text(f"# \u00fc\n{line}\n").faults
    assert fault.places[0].line == 2
    assert fault.places[0].text == line
    assert fault.places[0].start == line.index("3")
    assert fault.places[0].end == line.index("3") + 1


def test_repeated_sections_within_repeated_sections_are_told_apart() -> None:
    text = """
[[parts]]
name = "a"
[[parts.faces]]
name = "one"
[[parts]]
name = "b"
[[parts.faces]]
name = "one"
[[parts.faces]]
pose = ["0 deg", 9]
"""
    (fault,) = load_text(text).faults
    assert fault.places[0].line == 11
    assert fault.places[0].text[fault.places[0].start : fault.places[0].end] == "9"


def test_a_value_over_several_lines_is_found() -> None:
    text = '[machine]\nslot_positions = [\n  "-330 mm",  # rear\n  -205,\n]\n'
    (fault,) = load_text(text).faults
    assert fault.places[0].line == 4


def test_inline_sections_have_places() -> None:
    (fault,) = load_text('tools = [{ number = 1 }, { number = 2, lenght = "3 mm" }]\n').faults
    assert fault.code == "C004"
    assert fault.places[0].text[fault.places[0].start : fault.places[0].end] == "lenght"


def test_hostile_names_stay_on_one_line_of_plain_ascii() -> None:
    evil = "\\u001b[31m\u202eevil\u0301" + "x" * 300
    loaded = load_text(f'[unit]\n"{evil}" = 1\nmass = "\\u001b[2J"\n', file="\x1b[2J" * 30)
    text = as_text(loaded.faults)
    assert text.isascii()
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= WIDTH


def test_the_cell_file_is_told_before_its_readings() -> None:
    one = Fault("K005", "error", "w", (Place("a.csv", 1, "x"),), "y.", "d")
    two = Fault("C011", "error", "w", (Place("z.toml", 9, "x"),), "y.", "d")
    assert in_order([one, two, one]) == (two, one)


def test_a_comment_behind_a_value_is_not_taken_for_the_value() -> None:
    (place,) = read_cell('[unit]\nmass = "8 mm"   # weighed\n').faults[0].places
    assert place.text[slice(place.start, place.end)] == '"8 mm"'
