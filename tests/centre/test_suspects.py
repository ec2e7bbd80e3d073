"""Bad rows: which, why, and what they would have been."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gudgeon.centre.fit import fit_lines
from gudgeon.centre.mistakes import CHANCES, UNKNOWN, corrections, differ
from gudgeon.centre.readings import Model
from gudgeon.centre.suspects import Suspect, find_suspects
from tests.centre.spoil import KNOWN, hand_set, spoil
from tests.centre.spoil import UNKNOWN as STRANGE

ARCSEC = math.radians(1.0 / 3600.0)


def told(unit, rows, **more) -> tuple[Suspect, ...]:
    return find_suspects(fit_lines(unit.frame, tuple(rows), **more))


def same(one, other) -> bool:
    """Whether two readings are the same to 2 um and an arc second, the coordinates that count."""
    turn = max(
        abs(math.remainder(a - b, math.tau))
        for a, b in ((one.tilt_rad, other.tilt_rad), (one.rotary_rad, other.rotary_rad))
    )
    return turn < ARCSEC and bool(
        np.allclose(one.position_mm, other.position_mm, rtol=0.0, atol=0.002, equal_nan=True)
    )


def test_shares_of_mistakes_are_shares_of_one_whole() -> None:
    assert sum(CHANCES.values()) == pytest.approx(1.0)
    assert 0.0 < UNKNOWN < 1.0


@pytest.mark.parametrize("how", KNOWN)
def test_what_was_spoilt_forwards_is_among_what_the_catalogue_undoes(how: str) -> None:
    chance = np.random.default_rng(3)
    tried = 0
    for seed in range(4):
        _, rows = hand_set(seed)
        for row in range(1, len(rows)):
            bad = spoil(rows, row, how, chance)
            if bad is None:
                continue
            tried += 1
            near = tuple(rows[k] for k in (row - 1, row + 1) if k < len(rows))
            undone = corrections(bad, near, {r.feature for r in rows}, False)
            assert any(
                item.reason == how and not differ(item.readings[0], rows[row]) for item in undone
            ) or any(same(item.readings[0], rows[row]) for item in undone), (seed, row, bad)
    assert tried > 10


@pytest.mark.parametrize(
    ("noise", "arcsec", "step"),
    [(1.0, 0.0, 0.001), (1.5, 0.0, 0.001), (1.0, 6.0, 0.001), (1.0, 0.0, 0.0127)],
)
def test_clean_sets_have_no_suspects(noise: float, arcsec: float, step: float) -> None:
    for seed in range(12):
        unit, rows = hand_set(seed, noise, arcsec, step)
        index = (arcsec * ARCSEC, arcsec * ARCSEC)
        assert told(unit, rows, index_u_rad=index) == ()


def right(found: tuple[Suspect, ...], good, how: str) -> bool:
    """Whether just one row is called bad, its reason or its correction being the true one."""
    if len(found) != 1 or found[0].reading.row != good.row or found[0].either or found[0].also:
        return False
    return found[0].reason == how or any(same(r, good) for r in found[0].corrected)


def spoilt_sets(kinds: tuple[str, ...], seeds: range):
    """Yield sets with one row spoilt by more than twelve standard uncertainties."""
    for seed in seeds:
        unit, rows = hand_set(seed)
        chance = np.random.default_rng((5, seed))
        clean = fit_lines(unit.frame, rows)
        for how in kinds:
            for _ in range(20):
                row = int(chance.integers(len(rows)))
                bad = spoil(rows, row, how, chance)
                if bad is None:
                    continue
                model = Model(unit.frame, (*rows, bad))
                off = model.residuals(clean.values)[len(clean.residuals_mm) :]
                if np.max(np.abs(off)) > 12.0 * 0.003 or not np.all(np.isfinite(off)):
                    yield unit, (*rows[:row], bad, *rows[row + 1 :]), rows[row], how
                    break


@pytest.mark.filterwarnings("ignore:divide by zero", "ignore:invalid value")
def test_one_bad_row_is_found_and_named() -> None:
    found = named = count = 0
    for unit, rows, good, how in spoilt_sets(KNOWN, range(5)):
        count += 1
        suspects = told(unit, rows)
        found += good.row in {item.reading.row for item in suspects}
        named += right(suspects, good, how)
    assert count > 50
    assert found >= 0.95 * count
    assert named >= 0.9 * count


def test_what_the_catalogue_does_not_hold_is_bad_for_no_known_reason() -> None:
    found = unnamed = count = 0
    for unit, rows, good, how in spoilt_sets(STRANGE, range(6)):
        if how == "digits_dropped":
            continue  # a dropped nought in front or a tenth is a mistake of the catalogue
        count += 1
        suspects = told(unit, rows)
        found += good.row in {item.reading.row for item in suspects}
        unnamed += any(item.reading.row == good.row and not item.reason for item in suspects)
    assert found >= 0.95 * count
    assert unnamed >= 0.9 * count
