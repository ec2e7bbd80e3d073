"""Bad rows: which, why, and what they would have been."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest

from gudgeon.centre import many
from gudgeon.centre.fit import fit_lines
from gudgeon.centre.mistakes import CHANCES, UNKNOWN, corrections, differ
from gudgeon.centre.readings import Model
from gudgeon.centre.suspects import Suspect, find_suspects
from tests.centre.simulate import Unit, frame
from tests.centre.spoil import KNOWN, hand_set, moved, spoil
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
    for seed in range(8):
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
                with np.errstate(all="ignore"):
                    off = Model(unit.frame, (*rows, bad)).residuals(clean.values)
                off = off[len(clean.residuals_mm) :]
                if np.max(np.abs(off)) > 12.0 * 0.003 or not np.all(np.isfinite(off)):
                    yield unit, (*rows[:row], bad, *rows[row + 1 :]), rows[row], how
                    break


def test_one_bad_row_is_found_and_named() -> None:
    found = named = count = 0
    for unit, rows, good, how in spoilt_sets(KNOWN, range(3)):
        count += 1
        suspects = told(unit, rows)
        found += good.row in {item.reading.row for item in suspects}
        named += right(suspects, good, how)
    assert count > 28
    assert found >= 0.95 * count
    assert named >= 0.9 * count


def test_what_the_catalogue_does_not_hold_is_bad_for_no_known_reason() -> None:
    found = unnamed = count = 0
    for unit, rows, good, how in spoilt_sets(STRANGE, range(3)):
        if how == "digits_dropped":
            continue  # a dropped nought in front or a tenth is a mistake of the catalogue
        count += 1
        suspects = told(unit, rows)
        found += good.row in {item.reading.row for item in suspects}
        unnamed += any(item.reading.row == good.row and not item.reason for item in suspects)
    assert found >= 0.95 * count
    assert unnamed >= 0.9 * count


def test_two_and_three_bad_rows_are_all_found() -> None:
    unit, rows = hand_set(0)
    bad = list(rows)
    chance = np.random.default_rng(1)
    for row, how in ((10, "radius_twice"), (13, "decimal")):
        spoilt = spoil(rows, row, how, chance)
        assert spoilt is not None
        bad[row] = spoilt
    assert {s.reading.row: s.reason for s in told(unit, bad)} == {
        rows[10].row: "radius_twice",
        rows[13].row: "decimal",
    }
    third = next(k for k in (6, 7, 8, 9) if rows[k].feature == "face")
    bad[third] = moved(rows[third], 2, 0.371)
    found = told(unit, bad)
    assert {s.reading.row for s in found} == {rows[k].row for k in (third, 10, 13)}
    assert next(s for s in found if s.reading.row == rows[third].row).reason == ""


def test_the_correction_makes_the_set_clean_again() -> None:
    unit, rows = hand_set(3)
    bad = spoil(rows, 9, "sign", np.random.default_rng(2))
    assert bad is not None
    found = told(unit, (*rows[:9], bad, *rows[10:]))
    assert [s.reason for s in found] == ["sign"]
    assert found[0].margin > 2.0
    assert told(unit, (*rows[:9], *found[0].corrected, *rows[10:])) == ()


def test_a_row_that_cannot_be_so_is_named_though_it_was_set_aside() -> None:
    unit, rows = hand_set(1)
    row = next(k for k, r in enumerate(rows) if r.feature == "face" and r.tilt_rad < -1.5)
    bad = replace(rows[row], tilt_rad=0.0, rotary_rad=rows[row].tilt_rad)
    fit = fit_lines(unit.frame, (*rows[:row], bad, *rows[row + 1 :]))
    assert fit.set_aside == (bad,)
    (found,) = find_suspects(fit)
    assert found.reason == "angles_exchanged"
    assert same(found.corrected[0], rows[row])


def apart(spoilt: set[int]):
    """Return a unit and a set with eight touches of the level face, some of them 0.06 mm high."""
    unit = Unit(frame(), seed=4)
    rows = [unit.face(t, 0, x, y) for t in (90, -90) for x, y in ((60, 0), (-60, 0), (0, 50))]
    rows += [unit.bore(0, c) for c in (0, 90, 180, 270)]
    rows += [unit.face(0, c, 60, 10) for c in (90, 180, 270)]
    many = [unit.face(0, 0, x, 5) for x in (30, -30, -50, 50, 40, -40, -20, 20)]
    high = [moved(r, 2, 0.06) if k in spoilt else r for k, r in enumerate(many)]
    return unit, (*rows, *high), {r.row for k, r in enumerate(many) if k in spoilt}


def test_halves_that_agree_among_themselves_are_told_as_such() -> None:
    unit, rows, high = apart({1, 3, 5, 7})
    (found,) = told(unit, rows)
    assert found.reason == "halves"
    assert found.either
    one, two = ({r.row for r in part} for part in (found.readings, found.against))
    assert high <= one or high <= two
    assert not (high & one and high & two)
    assert found.retake in found.readings
    assert found.corrected == ()


def centres(kind: str, shifted: set[int], days: tuple[str, str] = ("", "")):
    """Return a unit and a set with eight centres of a bore or ball, some of them 0.05 mm in X."""
    unit = Unit(frame(), seed=3)
    rows = [unit.face(t, 0, x, y) for t in (90, -90, 0) for x, y in ((60, 0), (-60, 0), (0, 50))]
    take = unit.bore if kind == "bore" else unit.sphere
    eight = [take(0, c) for c in (0, 90, 180, 270) * 2]
    eight = [moved(r, 0, 0.05) if k in shifted else r for k, r in enumerate(eight)]
    eight = [replace(r, day=days[k > 3]) for k, r in enumerate(eight)]
    return unit, (*rows, *eight), [r.row for r in eight]


@pytest.mark.parametrize("kind", ["bore", "ball"])
@pytest.mark.parametrize("shifted", [{4, 5, 6, 7}, {0, 1, 2, 3}, {0, 2, 5, 7}, {0, 1, 6, 7}])
def test_four_good_and_four_shifted_centres_are_ambiguous(kind: str, shifted: set[int]) -> None:
    unit, rows, of = centres(kind, shifted)
    (found,) = told(unit, rows)
    assert found.reason == "halves"
    assert found.either
    parts = [{of.index(r.row) for r in part} for part in (found.readings, found.against)]
    assert sorted(map(sorted, parts)) == sorted((sorted(shifted), sorted(set(range(8)) - shifted)))
    assert found.retake in found.readings
    # Only rows that follow each other may also have been bumped apart.
    assert bool(found.also) == (shifted in ({4, 5, 6, 7}, {0, 1, 2, 3}))


def test_days_beside_the_rows_speak_for_a_unit_that_moved() -> None:
    unit, rows, of = centres("bore", {4, 5, 6, 7}, ("2026-03-02", "2026-03-03"))
    (found,) = told(unit, rows)
    assert found.reason == "moved"
    assert [r.row for r in found.readings] == of[4:]
    # The other way round the days are those of a table put together, not of a bump.
    unit, rows, _ = centres("bore", {4, 5, 6, 7}, ("2026-03-03", "2026-03-02"))
    assert [s.reason for s in told(unit, rows)] == ["halves"]


def test_more_rows_on_one_side_speak_for_it() -> None:
    unit, rows, of = centres("bore", {5, 6, 7})
    assert all(s.reason != "halves" or not s.either for s in told(unit, rows))
    (found,) = told(unit, rows)
    assert [r.row for r in found.readings] == of[5:]


def test_one_of_two_that_contradict_each_other_is_not_chosen() -> None:
    unit, rows, _ = apart(set())
    # Only two touches say how high the level face stands, and they differ.
    few = [r for r in rows[:10] if r.feature != "face" or r.tilt_rad]
    one, two = unit.face(0, 0, 10, 0), moved(unit.face(0, 0, -10, 0), 2, 0.237)
    found = told(unit, (*few, one, two))
    assert {s.reading.row for s in found} == {one.row, two.row}
    assert all(s.either and s.reason == "" for s in found)


def test_a_whole_group_with_the_radius_left_out_is_one_mistake() -> None:
    unit, rows = hand_set(1)
    level = [k for k, r in enumerate(rows) if r.feature == "face" and r.toward[1] != 0.0]
    assert any(0.1 < abs(rows[k].tilt_rad) < 1.5 for k in level)  # else Z takes all of it up
    bad = list(rows)
    for k in level:
        bad[k] = moved(rows[k], 1, -rows[k].toward[1] * 3.0)
    (found,) = told(unit, bad)
    assert found.reason == "radius_left_out"
    assert {r.row for r in found.readings} == {rows[k].row for k in level}
    assert all(same(r, rows[k]) for r, k in zip(found.corrected, level, strict=True))


@pytest.mark.parametrize("factor", [25.4, 1.0 / 25.4])
@pytest.mark.parametrize("counted", [False, True])
def test_a_column_in_the_wrong_unit_is_one_mistake_and_soon_found(
    factor: float, counted: bool
) -> None:
    """The whole column of Y, or only where Y counts: sixty rows, most of the lines' places lost."""
    unit = Unit(frame(), seed=3)
    rows = list(unit.full())
    poses = ((90, 0), (-90, 90), (0, 180), (45, 270), (-45, 0))
    spots = ((60, 0), (-60, 0), (0, 50), (0, -50), (30, 20))
    rows += [unit.face(*poses[k % 5], *spots[k * 3 % 5]) for k in range(60 - len(rows))]

    def spoilt(r):
        return not counted or (r.toward is not None and r.toward[1] != 0.0)

    bad = [moved(r, 1, (factor - 1.0) * r.position_mm[1]) if spoilt(r) else r for r in rows]
    before = time.process_time()
    found = told(unit, bad)
    assert time.process_time() - before < 10.0  # alone on a core about one; it was 24
    assert found[0].reason == "unit"
    assert [r.row for r in found[0].readings] == [r.row for r in rows if spoilt(r)]
    assert all(
        abs(one.position_mm[1] - row.position_mm[1]) < 1e-6
        for one, row in zip(found[0].corrected, filter(spoilt, rows), strict=True)
    )
    assert len(found) == 1


def test_a_group_larger_than_what_is_looked_at_is_one_mistake(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of a long table only the worst rows are looked at one by one, groups of all of them."""
    monkeypatch.setattr(many, "MANY", 12)
    unit = Unit(frame(), seed=3)
    rows = list(unit.full())
    bad = [moved(r, 1, 24.4 * r.position_mm[1]) for r in rows]
    (found,) = told(unit, bad)
    assert found.reason == "unit"
    assert [r.row for r in found.readings] == [r.row for r in rows]
    assert told(unit, rows) == ()


def test_a_unit_that_moved_between_two_rows_is_told_with_the_rows_on_both_sides() -> None:
    unit, rows = hand_set(0)
    cut = next(k for k, r in enumerate(rows) if r.seat == 4)
    bad = [moved(moved(r, 0, 0.3), 2, -0.2) if k >= cut else r for k, r in enumerate(rows)]
    found = [s for s in told(unit, bad) if s.reason == "moved"]
    assert found
    assert {r.row for r in found[0].readings} == {r.row for r in rows[cut:]}
    assert {r.row for r in found[0].against} == {r.row for r in rows[:cut]}


def test_what_nothing_checks_is_never_called_bad() -> None:
    unit, _, _ = apart(set())
    rows = [unit.face(t, 0, 0, 0) for t in (90, -90, 0)] + [unit.bore(0, c) for c in (0, 180)]
    rows[0] = moved(rows[0], 1, 5.0)
    assert told(unit, rows) == ()


def test_digits_are_those_of_the_shop() -> None:
    unit, rows = hand_set(2)
    k = next(k for k, r in enumerate(rows) if r.feature == "face" and r.toward[2] != 0.0)
    inches = round(rows[k].position_mm[2] / 25.4, 4)
    other = float(f"{inches:.4f}".replace(f"{abs(inches):.4f}"[3], "7", 1))
    if other == inches:
        other = inches - 0.3
    bad = moved(rows[k], 2, (other - inches) * 25.4)
    fit = fit_lines(unit.frame, (*rows[:k], bad, *rows[k + 1 :]))
    inch, mm = find_suspects(fit, inch=True), find_suspects(fit)
    assert [s.reason for s in inch] == ["digit"]
    assert [s.reason for s in mm] != ["digit"]
