"""Topic 14, rows from HR-010 on: hand rules of placing, checked through the product."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from gudgeon.cell.files import load_text
from gudgeon.findings import Findings
from gudgeon.placing.flange import best_clockings
from gudgeon.placing.limits import Extent, Wall, safe_range
from gudgeon.placing.pilot import pilot_fit
from gudgeon.placing.swept import Solid
from gudgeon.questions import fits
from tests.outside import rows

ROWS = rows("14-hand-rules")

ELSEWHERE = {
    **{
        f"HR-{n:03d}": "checked with the hand method, tests/centre/test_hand.py"
        for n in range(1, 10)
    },
    "HR-012": "a habit: the room to keep is the shop's own entry (machine.margin_x, margin_y)",
    "HR-014": "a price from memory: prices are the shop's own entries, never put in",
    "HR-015": "a price from memory: prices are the shop's own entries, never put in",
    "HR-016": "a price from memory: a rival's price is the shop's own entry",
    "HR-022": "a tram reading is taken up by the axis lines, not by placing",
    "HR-023": "a warm-up habit: nothing is computed from it",
    "HR-024": "both ways of zeroing belong to the question offsets",
}

INCH = 25.4

HEAD_ROOM = """
[machine]
gauge_to_table = "20 in"
travel_z = ["-20 in", "0 in"]
[unit]
tilt_range = ["0 deg", "0 deg"]
tilt_axis_height = "5 in"
face_height = "0 in"
[placement]
tilt_along = "X"
centre_x = "0 in"
centre_y = "0 in"
clearance = "1 in"
[fixture]
radius = "3 in"
height = "4.5 in"
[[tools]]
number = 1
length = "6 in"
"""


def head_room() -> float:
    loaded = load_text(HEAD_ROOM)
    assert loaded.cell is not None, loaded.faults
    place = Findings(loaded.cell).declared_place
    assert place is not None
    (margin,) = [item for item in place.margins if item.reason == "head room"]
    return margin.margin_mm / INCH


def sides(row: str) -> int:
    """Count the zeros of stations with faces on top and around, as the travel check sees them."""
    given = ROWS[row]["inputs"]
    text = '[unit]\nface_height = "0 mm"\n[placement]\ntilt_along = "X"\n'
    text += '[control]\ntilt_sense = -1\nrotary_sense = -1\n[[parts]]\nname = "p"\n'
    for number, normal in zip(range(given["faces"]), ("Z+", "Y-", "X+", "X-"), strict=False):
        text += f'[[parts.faces]]\nname = "{number}"\nzero = ["0 mm", "0 mm", "1 mm"]\n'
        text += f'normal = "{normal}"\n'
    for number in range(given["parts"]):
        text += f'[[stations]]\nname = "{number}"\nat = ["{number} mm", "0 mm", "0 mm"]\n'
    loaded = load_text(text)
    assert loaded.cell is not None, loaded.faults
    return len(Findings(loaded.cell).zeros_on_unit)


def shortened() -> list[float]:
    """Return the travel left by a unit that would touch walls at its ends, room kept."""
    travel = float(ROWS["HR-013"]["inputs"]["travel"])
    extent = Extent(0.0, 0.0, 0.0, 0.0)
    right, left = Wall("right", travel / 2.0, 1.5, True), Wall("left", travel / 2.0, 1.5, True)
    found = []
    for walls in ((right, left), (right,)):
        low, high = safe_range((0.0, travel), travel / 2.0, walls, extent)
        found.append(high - low)
    return found


def swing() -> float:
    """Return the swing of a square whose centre stands off along its diagonal."""
    given = ROWS["HR-020"]["inputs"]
    half, shift = given["side"] / 2.0, given["offset"] / math.sqrt(2.0)
    corners = tuple((x + shift, y + shift) for x in (-half, half) for y in (-half, half))
    return Solid("part", "platter", 0.0, 1.0, None, corners).swing_mm


def bolts_of_a_six_hole_flange() -> int:
    holes = [math.radians(60.0 * i) for i in range(6)]
    return best_clockings(holes, holes, 0.01).bolts


def pilot_bore() -> float:
    """Return the bore of the row if a boss just below it fits and one just above does not."""
    bore = float(ROWS["HR-010"]["expected"]) * INCH
    assert pilot_fit(("bore", bore, None), ("boss", bore - 0.02, None)).state == "fits"
    assert pilot_fit(("bore", bore, None), ("boss", bore + 0.02, None)).state == "tight"
    return bore / INCH


CHECKED: dict[str, Callable[[], Any]] = {
    "HR-010": pilot_bore,
    "HR-011": bolts_of_a_six_hole_flange,
    "HR-013": shortened,
    "HR-017": lambda: sides("HR-017"),
    "HR-018": lambda: sides("HR-018"),
    "HR-020": swing,
    "HR-021": head_room,
}


@pytest.mark.parametrize("row", sorted(CHECKED))
def test_product_agrees_with_the_row(row: str) -> None:
    want = ROWS[row]
    assert CHECKED[row]() == pytest.approx(want["expected"], abs=max(want["tolerance"], 1e-9))


def test_raise_z_before_the_unit_turns() -> None:
    """HR-019: first raise Z fully, then turn; never turn at depth."""
    loaded = load_text(HEAD_ROOM)
    assert loaded.cell is not None
    (caution,) = [c for c in fits.answer(Findings(loaded.cell)).cautions if "First motion" in c]
    assert caution.index("raise Z fully") < caution.index("then turn the unit")


def test_every_row_is_checked_or_listed_with_its_reason() -> None:
    covered = [*CHECKED, "HR-019", *ELSEWHERE]
    assert sorted(covered) == sorted(ROWS)
    assert all(ELSEWHERE.values())
