"""Readings that do not fit, in words: every reason, what to put instead, who is asked again."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from gudgeon.cell.model import Touch
from gudgeon.centre.mistakes import CHANCES
from gudgeon.centre.readings import Reading
from gudgeon.centre.suspects import Suspect
from gudgeon.findings import bad_readings
from gudgeon.findings.bad_readings import instead, reason_words, rows_of, to_repeat, trusted_if
from gudgeon.quantity.show import Units

MM = Units(inch=False, currency="")
ONE = Reading(7, "face", (0.0, -1.0, 0.0), math.pi / 2, 0.0, (1.0, 2.0, 3.0), 3.0, 0.003)
TWO, THREE = replace(ONE, row=8), replace(ONE, row=9)
WHOLE = ("tilt", "rotary", "shift", "moved")


@pytest.mark.parametrize("reason", [*CHANCES, *WHOLE])
def test_every_reason_has_words(reason: str) -> None:
    assert reason_words(reason) != reason_words("")
    assert bad_readings._AS_IF[reason].startswith(", ")
    told = to_repeat(MM, (Suspect(ONE, 1.0, reason),))[0]
    assert told.endswith(bad_readings._AS_IF[reason])


def test_one_row_says_how_far_it_lies_off() -> None:
    why, how = to_repeat(MM, (Suspect(ONE, -1.25, ""),))
    assert why == "the reading in line 7 lies 1.250 mm off where the others put it"
    assert how == "Touch line 7 of the readings again and put the new value in."
    assert trusted_if(MM, (Suspect(ONE, -1.25, ""),)).endswith("it lies -1.250 mm off")


def test_rows_of_one_seat_go_together_and_either_or_is_said() -> None:
    seat = Suspect(ONE, 0.2, "tilt", (ONE, TWO), off_rad=1e-3)
    assert rows_of(seat) == (7, 8)
    assert to_repeat(MM, (seat,))[0].startswith("the readings in line 7 and 8 do not fit")
    pair = (Suspect(ONE, 0.2, "", either=True), Suspect(TWO, 0.2, "", either=True))
    assert "line 7 or 8" in trusted_if(MM, pair)
    assert to_repeat(MM, pair)[1].startswith("Touch line 7 and 8")


def test_halves_are_ambiguous_and_one_row_decides() -> None:
    half = Suspect(ONE, 0.5, "halves", (ONE, TWO), against=(THREE,), retake=TWO)
    why, how = to_repeat(MM, (half,))
    assert (
        why
        == "lines 7, 8 agree among themselves and so do line 9, but not with each other: ambiguous"
    )
    assert how.startswith("Take line 8 ")
    assert "line 8 is read again" in trusted_if(MM, (half,))


def test_what_to_put_instead_is_told_as_it_was_typed() -> None:
    """The engine's place has the radius in it again; what was typed had it taken off."""
    touch = Touch(7, "", "touch", "face", "Y-", 0.0, 0.0, (1.0, -1.0, 3.0), 3.0, True, 0.003)
    typed = {7: touch}
    letters = ("A", "C")
    moved = replace(ONE, position_mm=(1.0, 5.0, 3.0))
    assert instead(MM, typed, ONE, moved, letters) == "Y 2.000 mm"
    assert instead(MM, {}, ONE, moved, letters) == "Y 5.000 mm"
    turned = replace(ONE, tilt_rad=-math.pi / 2, toward=(0.0, 1.0, 0.0))
    assert instead(MM, typed, ONE, turned, letters) == "A -90, moving Y+"
    assert instead(MM, typed, ONE, replace(ONE, feature="pin"), letters) == "pin"
    assert instead(MM, typed, ONE, ONE, letters) == ""
