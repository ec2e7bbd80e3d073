"""Bad rows: found, named, told as unknown; false alarms on clean sets.

Sets of 19 to 29 rows touched by hand and what spoils them are those of the tests; spoiling shares
nothing with the catalogue that undoes it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from benchmarks.metrology_told import share, table, within
from tests.centre import spoil
from tests.centre.simulate import Unit, frame

from gudgeon.centre.fit import fit_lines
from gudgeon.centre.readings import Model, Reading
from gudgeon.centre.suspects import Suspect, find_suspects

BLOCK = 10
CELLS = 500
CLEAN = {
    "clean": {},
    "clean, noise 1.5 times the stated": {"noise": 1.5},
    "clean, index error 6 arc seconds": {"index_arcsec": 6.0},
    "clean, display 0.0005 in": {"step": 0.0127},
}
"""Settings of `tests.centre.spoil.hand_set`."""

SPOILT = {
    "one mistake of the catalogue": (spoil.KNOWN, 1),
    "one that the catalogue does not hold": (
        # A dropped digit often is a decimal place or a lacking digit of the catalogue.
        tuple(how for how in spoil.UNKNOWN if how != "digits_dropped"),
        1,
    ),
    "two mistakes of the catalogue": (spoil.KNOWN, 2),
    "three mistakes of the catalogue": (spoil.KNOWN, 3),
}
SEAT = "one positioning off by 0.02 to 0.3 deg"
MOVED = "unit moved half way, by 0.05 to 0.3 mm"
TWIN = "two rows that contradict each other, nothing to decide"
SETTINGS = (*SPOILT, *CLEAN, SEAT, MOVED, TWIN)

CLEARLY = 12.0
"""Standard uncertainties by which a spoilt row is off at least."""

U_MM = 0.003
ARCSEC = math.radians(1.0 / 3600.0)


def run(setting: str, cells: int, seed: tuple[int, ...]) -> dict[str, Any]:
    """Return counts of one block."""
    total: dict[str, int] = {}
    for cell in range(cells):
        for name, value in _one(setting, (*seed, cell)).items():
            total[name] = total.get(name, 0) + int(value)
    return total


def _one(setting: str, seed: tuple[int, ...]) -> dict[str, bool]:
    chance = np.random.default_rng(seed)
    number = int(np.random.default_rng((9, *seed)).integers(2**31))
    if setting in CLEAN:
        more = CLEAN[setting]
        unit, rows = spoil.hand_set(number, **more)
        turn = more.get("index_arcsec", 0.0) * ARCSEC
        return {"alarm": bool(_told(unit, rows, index_u_rad=(turn, turn)))}
    if setting in SPOILT:
        return _spoilt(*SPOILT[setting], number, chance)
    if setting == SEAT:
        return _seat(number, chance)
    return _moved(number, chance) if setting == MOVED else _twin(number, chance)


def _told(unit: Unit, rows: Sequence[Reading], **more: Any) -> tuple[Suspect, ...]:
    return find_suspects(fit_lines(unit.frame, tuple(rows), **more))


def _blamed(found: Sequence[Suspect]) -> set[int]:
    return {r.row for item in found for r in item.readings or (item.reading,)}


def _off(unit: Unit, clean: Any, rows: Sequence[Reading], bad: Reading) -> float:
    """Return by how many standard uncertainties a row is off."""
    residuals = Model(unit.frame, (*rows, bad)).residuals(clean.values)[len(clean.residuals_mm) :]
    return float(np.max(np.abs(residuals))) / U_MM if np.all(np.isfinite(residuals)) else math.inf


def _spoilt(
    kinds: Sequence[str], many: int, number: int, chance: np.random.Generator
) -> dict[str, bool]:
    unit, rows = spoil.hand_set(number)
    clean = fit_lines(unit.frame, rows)
    now, was = list(rows), {}
    while len(was) < many:
        how, row = str(chance.choice(kinds)), int(chance.integers(len(rows)))
        bad = None if rows[row].row in was else spoil.spoil(rows, row, how, chance)
        if bad is not None and _off(unit, clean, rows, bad) > CLEARLY:
            now[row] = bad
            was[rows[row].row] = rows[row], how
    found = _told(unit, now)
    blamed = _blamed(found)
    sure = _blamed([item for item in found if not item.either])
    named = all(
        any(
            item.reading.row == row and not item.either and not item.also and _is(item, *truth)
            for item in found
        )
        for row, truth in was.items()
    )
    told = [item for item in found if item.reading.row in was]
    return {
        "found": set(was) <= blamed,
        "alone": blamed == set(was),
        "named": named and blamed == set(was),
        "unknown": bool(told) and all(not item.reason for item in told),
        "offered": bool(told)
        and all(not item.reason or bool(item.also) or item.either for item in told),
        "wronged": bool(sure - set(was)),
    }


def _is(item: Suspect, good: Reading, how: str) -> bool:
    return item.reason == how or any(_same(r, good) for r in item.corrected)


def _same(one: Reading, other: Reading) -> bool:
    turns = [
        abs(math.remainder(a - b, math.tau))
        for a, b in ((one.tilt_rad, other.tilt_rad), (one.rotary_rad, other.rotary_rad))
    ]
    return max(turns) < ARCSEC and bool(
        np.allclose(one.position_mm, other.position_mm, rtol=0.0, atol=0.002, equal_nan=True)
    )


def _seat(number: int, chance: np.random.Generator) -> dict[str, bool]:
    """Take the rows of one positioning again, with an axis that stopped wrong."""
    unit, rows = spoil.hand_set(number)
    unit.chance = None
    seats = [s for s in {r.seat for r in rows} if sum(r.seat == s for r in rows) > 1]
    while True:
        seat, tilt = int(chance.choice(seats)), bool(chance.random() < 0.5)
        turn = math.radians(float(chance.choice((-1, 1)) * chance.uniform(0.02, 0.3)))
        clean = fit_lines(unit.frame, rows)
        model = Model(unit.frame, rows)
        # To first order: what the residuals move by is what the readings would have moved by.
        moved = model.residuals(clean.values, (turn, 0.0) if tilt else (0.0, turn))
        by = model.residuals(clean.values) - moved
        at: dict[int, list[float]] = {}
        for row, off in zip(model.residual_rows, by, strict=True):
            at.setdefault(row, []).append(float(off))
        mine = [i for i, r in enumerate(rows) if r.seat == seat]
        if max(abs(off) for i in mine for off in at[i]) > CLEARLY * U_MM:
            break
    now = [_pushed(r, at[i]) if i in mine else r for i, r in enumerate(rows)]
    found = _told(unit, now)
    want = "tilt" if tilt else "rotary"
    of_seat = {rows[i].row for i in mine}
    moving = {rows[i].row for i in mine if max(map(abs, at[i])) > CLEARLY * U_MM}
    sure = _blamed([item for item in found if not item.either])
    return {
        "found": bool(found) and moving <= _blamed(found),
        "named": any(item.reason == want for item in found),
        "wronged": bool(sure - of_seat),
    }


def _pushed(reading: Reading, by: Sequence[float]) -> Reading:
    place = np.array(reading.position_mm)
    if reading.toward is None:
        place[: len(by)] += by
    else:
        place += np.abs(reading.toward) * by[0]
    x, y, z = (float(c) for c in place)
    return replace(reading, position_mm=(x, y, z))


def _moved(number: int, chance: np.random.Generator) -> dict[str, bool]:
    """Move the unit while it is read: the rows before agree, and those after it."""
    unit, rows = spoil.hand_set(number)
    first = int(chance.integers(len(rows) // 3, 2 * len(rows) // 3))
    way = chance.normal(size=3)
    way *= chance.uniform(0.05, 0.3) / np.linalg.norm(way)
    now = [
        r if i < first else replace(r, position_mm=tuple(float(c) for c in r.position_mm + way))
        for i, r in enumerate(rows)
    ]
    found = _told(unit, now)
    return {
        "found": bool(found),
        "named": any(item.reason in ("moved", "halves", "shift") for item in found),
        "wronged": any(
            not item.either and not item.reason and item.reading.row < rows[first].row
            for item in found
        ),
    }


def _twin(number: int, chance: np.random.Generator) -> dict[str, bool]:
    """Take the least that fixes the lines and one touch twice, one of the two wrong."""
    unit = Unit(frame(), u=U_MM, seed=number)
    unit.values[[2, 3, 6, 7]] = 0.0
    unit.slopes = (0.0, 0.0)
    unit = Unit(frame(), unit.values, (0.0, 0.0), (0.012, -0.008), U_MM, seed=number)
    rows = [unit.face(t, 0, 30, 0) for t in (90, -90, 0)]
    rows += [unit.bore(0, 0), unit.bore(0, 180)]
    row = int(chance.integers(3))
    again = unit.face((90, -90, 0)[row], 0, 30, 0)
    bad = _pushed(again, [float(chance.choice((-1, 1)) * chance.uniform(0.05, 0.45))])
    now = [*rows, bad]
    found = _told(unit, now)
    return {
        "found": {rows[row].row, bad.row} <= _blamed(found),
        "named": bool(found)
        and all(item.either or item.reason in ("halves", "moved") for item in found),
        "wronged": any(
            not item.either and item.reason not in ("halves", "moved") for item in found
        ),
    }


def tell(totals: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the tables."""
    clean = []
    spoilt = []
    for setting, counts in totals.items():
        of = counts["cells"]
        if setting in CLEAN:
            hits = counts["alarm"]
            clean.append([setting, f"{of:,}", share(hits, of), within(hits, of, 0.0, 0.01)])
            continue
        strange = setting == list(SPOILT)[1]
        named = counts["unknown"] if strange else counts["named"]
        single = setting in list(SPOILT)[:2]
        spoilt.append(
            [
                setting,
                f"{of:,}",
                share(counts["found"], of),
                within(counts["found"], of, 0.95) if single else "",
                share(named, of),
                within(named, of, 0.9) if setting == next(iter(SPOILT)) else "",
                share(counts["wronged"], of),
            ]
        )
    parts = [
        "## Bad rows\n",
        "Sets of 19 to 29 rows touched by hand (stated noise 0.003 mm, display 0.001 mm). A spoilt "
        f"row is off by more than {CLEARLY:.0f} standard uncertainties. *Named right*: just the "
        "bad rows are called bad, each with its true reason or its true reading, without an "
        'alternative; for mistakes that the catalogue does not hold: "bad, reason unknown" and '
        "nothing else; for a positioning: the axis that stopped wrong; for a unit that moved: that "
        "rows agree in two groups or that the unit moved; for two rows that contradict each other: "
        "told as one or the other. *Good row accused*: a good row is called bad without an "
        "alternative (where the unit moved: a row from before). Per cent, with the 95 % interval. "
        "Seeds: (1, number of the setting, number of the block, number of the set), blocks of "
        f"{BLOCK} sets.\n",
    ]
    if spoilt:
        parts.append(
            table(
                [
                    "spoilt sets",
                    "sets",
                    "found",
                    "goal 95",
                    "named right",
                    "goal 90",
                    "good row accused",
                ],
                spoilt,
            )
            + "\n"
        )
    if clean:
        parts.append(table(["clean sets", "sets", "false alarms", "goal 1 at most"], clean))
    return "\n".join(parts)
