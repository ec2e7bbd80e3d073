"""Question fits: which zeros a tool reaches, both ways: no false no, no false yes.

The metric demo shop: blanks 70 x 30 x 80 before the tower, zeros on their outsides, A90.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load_text
from gudgeon.cell.model import Cell
from gudgeon.clearance import prove
from gudgeon.findings import Findings
from gudgeon.findings.place_found import Lost, ProvenPlace
from gudgeon.questions import fits
from gudgeon.questions._fits_proven import _cause

DEMO = Path(__file__).parents[2] / "demo" / "alder-ford.toml"
BLANK = """x = ["-35 mm", "35 mm"]
y = ["-30 mm", "0 mm"]
z = ["-20 mm", "60 mm"]"""


def cell(*changes: tuple[str, str]) -> Cell:
    text = DEMO.read_text(encoding="utf-8").partition("[readings]")[0]
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return loaded.cell


def ask(*changes: tuple[str, str]) -> Answer:
    return fits.answer(Findings(cell(*changes)))


def told(answer: Answer, words: str) -> bool:
    return any(words in text for text in answer.assumed)


def reached(answer: Answer) -> float | None:
    return answer.figure("stations_proven").value


def test_the_shop_as_it_is() -> None:
    answer = ask()
    assert answer.verdict is Verdict.YES_IF
    assert reached(answer) == 4
    assert not told(answer, "These zeros")


@pytest.mark.parametrize(("over", "words"), [(3.0, ""), (8.0, ""), (20.0, "inside the blank")])
def test_a_zero_on_the_finished_face_inside_the_raw_blank_is_reached(
    over: float, words: str
) -> None:
    """Stock to be cut away lies over the zero: the flutes, 12 long, may be in that blank."""
    thick = BLANK.replace('"-30 mm"', f'"-{30.0 + over} mm"')
    answer = ask((BLANK, thick))
    assert reached(answer) == 4
    assert told(answer, "These zeros") is bool(words)
    assert told(answer, words) or not words


def test_flutes_may_not_be_in_the_blank_of_another_station() -> None:
    """Station "right" moved out before "front": its blank stands over that zero."""
    near = (
        'at = ["65 mm", "0 mm", "110 mm"]\nturn = "90 deg"',
        'at = ["0 mm", "-100 mm", "110 mm"]\nturn = "0 deg"',
    )
    answer = ask(near)
    rows = {row[0]: row for row in answer.table("stations_lost").rows}
    assert "blank at right" in str(rows["front"][3])
    assert answer.verdict is Verdict.NO


JAW = ('zero = ["0 mm", "-30 mm", "20 mm"]', 'zero = ["0 mm", "-20 mm", "-25 mm"]')


def test_a_zero_on_the_jaw_of_a_vise_costs_nothing_and_is_told() -> None:
    thin = BLANK.replace('"-30 mm"', '"-20 mm"')
    answer = ask(JAW, (BLANK, thin))
    assert reached(answer) == 4
    assert told(answer, "on or in a body that is no stock: the flutes")


def test_a_zero_deep_in_the_tower_costs_nothing_and_is_told() -> None:
    answer = ask(('zero = ["0 mm", "-30 mm", "20 mm"]', 'zero = ["0 mm", "65 mm", "20 mm"]'))
    assert reached(answer) == 4
    assert told(answer, "tools are not judged against the load there")
    assert "not judged against it there" in answer.figure("stations_proven").note


def test_a_body_beside_the_zero_that_holds_no_zero_still_costs_the_station() -> None:
    """The same zero on the jaw, and a post beside it in the holder's way."""
    post = (
        '[[solids]]\nname = "blank"',
        """[[solids]]
name = "post"
counts_as = "fixture"
measured_from = "part"
x = ["-30 mm", "30 mm"]
y = ["-130 mm", "-20 mm"]
z = ["-10 mm", "-5 mm"]

[[solids]]
name = "blank\"""",
    )
    answer = ask(JAW, post)
    assert reached(answer) == 0
    assert any("post" in str(row[3]) for row in answer.table("stations_lost").rows)


def test_a_proof_that_stays_open_is_no_station_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """No work allowed at all: nothing is proven, nothing is found; that is no "no"."""
    made = cell()
    monkeypatch.setattr(prove, "_BUDGET", 1)
    answer = fits.answer(Findings(made))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "lost" not in answer.headline
    assert any("a proof that station" in item.what for item in answer.missing)
    cells = [str(item) for table in answer.tables for row in table.rows for item in row]
    assert not any(text.startswith((": and", "and ")) for text in [answer.headline, *cells])


@pytest.mark.parametrize("between", [(), ("travel of X",), ("a", "b")])
@pytest.mark.parametrize("reason", ["travel", "turning", "table", "guard", "tool"])
def test_what_costs_a_station_reads_whole_whatever_is_known(
    reason: str, between: tuple[str, ...]
) -> None:
    one = Lost("front", "top", reason, between, 0.5)
    text = _cause(one)
    assert not text.startswith(" ") and ": and" not in text and ":  " not in text
    place = ProvenPlace(0.0, 0.0, 0.0, None, True, (one,), 4)
    assert place.causes[0][0].strip()


# --- hoses ----------------------------------------------------------------------------------------


def cable(free: float, length: float) -> tuple[tuple[str, str], ...]:
    return (
        ('free_length = "250 mm"\nlength = "260 mm"',
         f'free_length = "{free} mm"\nlength = "{length} mm"'),
    )  # fmt: skip


def test_a_hose_that_could_hang_into_the_way_is_tied_and_costs_no_station() -> None:
    """From the motor at -80, -155, -400 to the table at -20, -60, -600: 229 mm apart."""
    answer = ask(*cable(690.0, 700.0))
    assert reached(answer) == 4
    assert "drive cable is tied" in answer.headline
    (row,) = [row for row in answer.table("changes").rows if row[0] == "hose"]
    length = float(str(row[4]).split()[0])
    # That long it is out of the way, 5 mm more and it is not; at a tool change it still may be.
    way = "tied so that it cannot hang into"
    short = ask(*cable(230.0, length))
    assert way not in short.next_step
    assert "tied so that no more than 261.000 mm of it hangs free" in short.next_step
    assert way in ask(*cable(230.0, length + 5.1)).next_step


def test_a_hose_that_is_too_short_is_lengthened_by_what_it_lacks() -> None:
    findings = Findings(cell(*cable(200.0, 210.0)))
    apart = findings._hose_ends(0)
    assert apart is not None
    answer = fits.answer(findings)
    assert answer.verdict is Verdict.NO
    assert "drive cable" in answer.headline and "too short" in answer.headline
    (row,) = [row for row in answer.table("changes").rows if row[0] == "hose"]
    more = float(str(row[4]).split()[0])
    assert apart - 200.0 <= more < apart - 200.0 + 6.0
    assert ask(*cable(200.0 + more, 210.0 + more)).verdict is Verdict.YES_IF


# --- exact room -----------------------------------------------------------------------------------

WIDE = (
    ('x = ["196 mm", "215 mm"]', 'x = ["213 mm", "215 mm"]'),
    ('x = ["-215 mm", "-196 mm"]', 'x = ["-215 mm", "-213 mm"]'),
    ('z = ["-70 mm", "18 mm"]', 'z = ["-70 mm", "-10 mm"]'),
)
"""The cradle turns with more than 20 mm to spare."""


def test_the_room_of_the_best_places_is_what_may_still_go() -> None:
    """A clearance asked that uses the room up is still kept; a hair more is not."""
    answer = ask()
    spare = float(answer.table("proven_places").rows[0][8] or 0.0)
    asked = 'clearance = "1 mm"'
    kept = ask((asked, f'clearance = "{1.0 + spare - 0.01} mm"'), *WIDE)
    assert kept.figure("tightest").value == pytest.approx(1.0 + spare, abs=2e-3)
    assert reached(kept) == 4
    gone = ask((asked, f'clearance = "{1.0 + spare + 0.01} mm"'), *WIDE)
    assert reached(gone) is not None and reached(gone) < 4  # type: ignore[operator]
    names = [picture.name for picture in answer.pictures]
    assert "tightest-front" in names


# --- tools that are too short ---------------------------------------------------------------------


def inch_shop(*changes: tuple[str, str]) -> Answer:
    text = (DEMO.parent / "juniper-street.toml").read_text(encoding="utf-8")
    text = text.partition("[readings]")[0]
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return fits.answer(Findings(loaded.cell))


def test_a_nose_that_meets_the_plate_is_won_back_by_a_longer_holder() -> None:
    """The plate stands 4.4 in over the axis, the zero 2.7 below it: 7.1 and what is asked."""
    mill = 'length = "7.25 in"'
    answer = inch_shop((mill, 'length = "5.5 in"'))
    assert answer.verdict is Verdict.NO
    (row,) = [row for row in answer.table("changes").rows if row[0] == "holder"]
    assert row[2:] == (4.0, 4.0, "1.7500 in")
    assert answer.fix is not None and answer.fix.startswith("Put T1 in a holder that is 1.75")
    assert inch_shop((mill, 'length = "7.0 in"')).verdict is Verdict.NO


def test_a_holder_that_meets_a_post_is_won_back_by_sticking_out_further() -> None:
    """A post 20 mm beside the zero of a drill, up to 110 mm over the tower's side."""
    post = (
        '[[solids]]\nname = "blank"',
        """[[solids]]
name = "post"
counts_as = "fixture"
measured_from = "part"
x = ["-20 mm", "20 mm"]
y = ["-110 mm", "-20 mm"]
z = ["38 mm", "42 mm"]

[[solids]]
name = "blank\"""",
    )
    only_drill = ('tool = 1\npart = "pump bracket"\nface = "outside"',
                  'tool = 2\npart = "pump bracket"\nface = "outside"')  # fmt: skip
    stickout = ('stickout = "95 mm"', 'stickout = "75 mm"')
    answer = ask(post, only_drill, stickout)
    assert {str(row[3]) for row in answer.table("stations_lost").rows} == {
        f"T2 holder and post at {station}" for station in ("front", "back", "right", "left")
    }
    (row,) = [row for row in answer.table("changes").rows if row[0] == "holder"]
    # Holder 75 over the tip, tip 30 before the tower's side, the post 110: 5 and 1 asked.
    assert "let T2 stick out" in str(row[1])
    assert str(row[4]).startswith("10.0")
