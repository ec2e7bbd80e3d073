"""Sets of readings taken by hand on simulated units, and rows of them spoilt as people spoil them.

Spoiling goes forwards, on what was typed; it shares nothing with the catalogue that undoes it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from gudgeon.centre.readings import Reading
from tests.centre.simulate import Unit, frame

KNOWN = (
    "radius_left_out",
    "radius_twice",
    "sign",
    "unit",
    "coordinates_exchanged",
    "angles_exchanged",
    "angle_sign",
    "pose_of_neighbour",
    "index_step",
    "digits_swapped",
    "digit",
    "decimal",
)
UNKNOWN = ("chip", "wrong_corner", "fine_feed", "digits_dropped", "another_set")


def hand_set(seed, noise=1.0, index_arcsec=0.0, step=0.001, pins=True):
    """Return a unit and 19 to 29 rows touched by hand on it, rounded to the display's step."""
    chance = np.random.default_rng((7, seed))
    values = np.array([0.4, -0.7, 0, 0, 0.3, -0.5, 0, 0, 24.8])
    values[[0, 1, 4, 5]] += chance.normal(0.0, 0.5, 4)
    values[[2, 3, 6, 7]] = chance.normal(0.0, 2e-4, 4)
    values[8] += chance.normal(0.0, 5.0)
    slopes = tuple(chance.normal(0.0, 1e-4, 2))
    unit = Unit(frame(), values, slopes, tuple(chance.normal(0.0, 0.02, 2)), 0.003, 3.0, (11, seed))
    unit.u *= noise
    turn = math.radians(index_arcsec / 3600.0)
    rows: list[Reading] = []
    seat = 0

    def take(tilt, rotary, *touches):
        nonlocal seat
        off = np.degrees(chance.normal(0.0, turn, 2)) if turn else (0.0, 0.0)
        for touch in touches:
            r = touch(tilt + off[0], rotary + off[1])
            rows.append(
                replace(r, tilt_rad=math.radians(tilt), rotary_rad=math.radians(rotary), seat=seat)
            )
        seat += 1

    def face(x, y):
        return lambda tilt, rotary: unit.face(tilt, rotary, x, y)

    def bore(depth):
        return lambda tilt, rotary: unit.bore(tilt, rotary, depth)

    take(90, 0, face(60, 0), face(-60, 0), face(0, 50))
    take(-90, 0, face(60, 0), face(-60, 0), face(0, 50))
    depths = (0.0, -25.0) if chance.random() < 0.5 else (0.0,)
    for turned in (0, 90, 180, 270):
        here = [face(60, 10), *(bore(d) for d in depths)]
        if turned == 0:
            here += [face(0, -60), face(0, 60)]
        if chance.random() < 0.5:
            here.append(face(-50, -30))
        take(0, turned, *here)
    if len(depths) == 1 or chance.random() < 0.5:
        take(45, 0, face(55, 5), face(-55, 5))
        take(-45, 0, face(55, 5), face(-55, 5))
    out = []
    for k, r in enumerate(rows):
        place = tuple(float(round(c / step) * step) for c in r.position_mm)
        out.append(replace(r, row=k + 2, position_mm=place, u_mm=0.003, step=step))
    return unit, tuple(out)


def counted(r):
    return (0, 1) if r.toward is None else (int(np.argmax(np.abs(r.toward))),)


def moved(r, k, by):
    place = list(r.position_mm)
    place[k] += by
    return replace(r, position_mm=tuple(place))


def spoil(rows, row, how, chance):
    """Return the row spoilt, or `None` where this cannot happen to it."""
    r = rows[row]
    k = int(chance.choice(counted(r)))
    value = r.position_mm[k]
    t = 0.0 if r.toward is None else r.toward[k]
    bad = None
    if how in ("radius_left_out", "radius_twice"):
        if r.toward is None:
            return None
        bad = moved(r, k, (-t if how == "radius_left_out" else t) * r.radius_mm)
    elif how == "sign":
        bad = moved(r, k, -2.0 * value)
    elif how == "unit":
        bad = moved(r, k, value / 25.4 - value)
    elif how == "coordinates_exchanged":
        x, y, z = r.position_mm
        bad = replace(r, position_mm=(y, x, z))
    elif how == "angles_exchanged":
        bad = replace(r, tilt_rad=r.rotary_rad, rotary_rad=r.tilt_rad)
    elif how == "angle_sign":
        which = "tilt_rad" if r.tilt_rad else "rotary_rad"
        bad = replace(r, **{which: -getattr(r, which)})
    elif how == "pose_of_neighbour":
        if row == 0:
            return None
        bad = replace(r, tilt_rad=rows[row - 1].tilt_rad, rotary_rad=rows[row - 1].rotary_rad)
    elif how == "index_step":
        bad = replace(r, rotary_rad=r.rotary_rad + math.radians(chance.choice((90, -90, 180))))
    elif how in ("digits_swapped", "digit", "digits_dropped"):
        digits = list(f"{abs(round(value * 1000)):04d}")
        at = int(chance.integers(0, len(digits) - (how == "digits_swapped")))
        if how == "digits_swapped":
            digits[at], digits[at + 1] = digits[at + 1], digits[at]
        elif how == "digit":
            digits[at] = str(int(chance.choice([d for d in range(10) if str(d) != digits[at]])))
        else:
            digits.pop(at)
        typed = math.copysign(int("".join(digits)) / 1000.0, value)
        bad = moved(r, k, typed - value)
    elif how == "decimal":
        bad = moved(r, k, value * float(chance.choice((10.0, 0.1))) - value)
    elif how == "chip":
        if r.toward is None:
            return None
        bad = moved(r, k, -t * float(chance.uniform(0.05, 0.45)))
    elif how == "wrong_corner":
        bad = moved(r, k, float(chance.choice((-1, 1)) * chance.uniform(2.0, 40.0)))
    elif how == "fine_feed":
        bad = moved(r, k, float(chance.choice((-1, 1)) * chance.uniform(0.05, 2.0)))
    elif how == "another_set":
        bad = replace(
            r,
            position_mm=tuple(
                c + float(s) for c, s in zip(r.position_mm, chance.normal(0, 30, 3), strict=True)
            ),
        )
    assert bad is not None, how
    same = bad.position_mm == r.position_mm and all(
        abs(math.remainder(a - b, math.tau)) < 1e-9
        for a, b in ((bad.tilt_rad, r.tilt_rad), (bad.rotary_rad, r.rotary_rad))
    )
    return None if same else bad
