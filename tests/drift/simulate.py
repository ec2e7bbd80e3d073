"""Simulated shops for the daily check: noise, weather, gaps, what moved; the truth is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gudgeon.drift.record import Record
from gudgeon.drift.watch import Watch, watch

Floats = NDArray[np.float64]

SETTINGS: dict[str, dict[str, Any]] = {
    "plain": {},
    "noise 1.5 times the stated": {"noise": 1.5},
    "slope twice the plausible": {"slope": 2.0},
    "one ramp of 16 degC": {"ramp": True},
    "3 of 10 temperatures missing": {"gaps": 0.3},
    "seasons, none noted": {"gaps": 1.0},
    "steady shop, none noted": {"gaps": 1.0, "swing": 1.0},
    "uneven days": {"uneven": True},
    "two poses": {"series": 6},
}
"""Settings of the report; seasons of +- 8 degC in all but the steady shop."""


@dataclass(frozen=True)
class Counts:
    """What came out of one setting.

    Attributes
    ----------
    shops : int
    false_alarms : int
        Shops without a change in which anything but "steady" was said within the days.
    declared, in_set, called_trend : int
        Of as many shops with a step: declared at all; its day inside the set; called a drift.
    delays : tuple of int
        Checks after the first one behind the step until it was declared.
    """

    shops: int
    false_alarms: int
    declared: int
    in_set: int
    called_trend: int
    delays: tuple[int, ...]


def shop(
    chance: np.random.Generator,
    *,
    days: int = 40,
    noise: float = 1.0,
    swing: float = 8.0,
    slope: float = 1.0,
    gaps: float = 0.0,
    uneven: bool = False,
    ramp: bool = False,
    series: int = 3,
    step: float = 0.0,
    at: int = 0,
    trend: float = 0.0,
) -> Record:
    """Return one record; `step` and `trend` (by the day) in true standard deviations."""
    u, slope_u = 0.003, np.full(series, 0.008)
    day = np.arange(days, dtype=np.float64)
    if uneven:
        day = np.cumsum(chance.integers(1, 5, days)).astype(np.float64)
    season = np.sin(2.0 * np.pi * (day / chance.uniform(20.0, 200.0) + chance.random()))
    if ramp:
        season = 2.0 * day / day[-1] - 1.0
    warm = 20.0 + swing * season + chance.normal(0.0, 0.1 * swing, days)
    way = chance.normal(size=series)
    way *= noise * u / np.linalg.norm(way)
    value = (
        chance.normal(-300.0, 100.0, series)
        + slope * chance.normal(0.0, 1.0, series) * slope_u * (warm[:, None] - 20.0)
        + chance.normal(0.0, noise * u, (days, series))
        + step * way * (np.arange(days) >= at)[:, None]
        + trend * way * np.clip(day - day[at], 0.0, None)[:, None]
    )
    noted = np.where(chance.random(days) < gaps, np.nan, warm)
    return Record(day, value, np.full((days, series), u), noted, slope_u)


def simulate(setting: str, shops: int, seed: int, *, step: float = 4.0, days: int = 40) -> Counts:
    """Run `shops` records without and as many with a step, and count."""
    kind = SETTINGS[setting]
    chance = np.random.default_rng(seed)
    false = declared = inside = trends = 0
    delays: list[int] = []
    for _ in range(shops):
        quiet = watch(shop(chance, days=days, **kind))
        false += any(morning.said != "steady" for morning in quiet.mornings)
        at = int(chance.integers(days // 4, 3 * days // 4))
        judged = watch(shop(chance, days=days, step=step, at=at, **kind))
        late = [one for one in judged.changes if one.declared >= at]
        if late:
            declared += 1
            inside += any(at in one.rows for one in judged.changes)
            trends += late[0].kind == "trend"
            delays.append(late[0].declared - at)
    return Counts(shops, false, declared, inside, trends, tuple(delays))


def said(judged: Watch) -> list[str]:
    """Return what was said each morning."""
    return [morning.said for morning in judged.mornings]
