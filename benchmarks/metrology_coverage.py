"""How often 95 % intervals of the fit hold the truth; the cells are those of the tests."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchmarks.metrology_told import share, table, within
from tests.centre import coverage

BLOCK = 50
CELLS = 2000
SETTINGS = tuple(setting.name for setting in coverage.SETTINGS)
LOW, HIGH = 0.93, 0.97
ORDER = ("kept", "kept, not surely", "**missed**, not surely", "**missed**")


def run(setting: str, cells: int, seed: tuple[int, ...]) -> dict[str, Any]:
    """Return for each interval how often it held the truth, and of how many."""
    found = coverage.counted(coverage.SETTINGS[SETTINGS.index(setting)], cells, seed)
    return {name: list(pair) for name, pair in found.items()}


def tell(totals: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the table."""
    rows = []
    for setting, counts in totals.items():
        hits, of = counts["worst part point"]
        shares = {
            name: pair
            for name, pair in counts.items()
            if name in (*coverage.POSITIONS, "rotary_z") and pair[1]
        }
        low = min(shares, key=lambda name: shares[name][0] / shares[name][1])
        high = max(shares, key=lambda name: shares[name][0] / shares[name][1])
        goals = [within(*pair, LOW, HIGH) for pair in shares.values()]
        rows.append(
            [
                setting,
                f"{counts['cells']:,}",
                share(hits, of),
                within(hits, of, LOW, HIGH),
                f"{low} {share(*shares[low])}",
                f"{high} {share(*shares[high])}",
                max(goals, key=ORDER.index),
            ]
        )
    return (
        "## 95 % intervals of the fit\n\n"
        "Share of simulated cells whose true value lies in the interval that the fit tells, per "
        "cent, with the 95 % interval of that share. Goal: 93 to 97. Each cell has its own lines, "
        "slopes, bore and stated noise (0.002 to 0.006 mm); the worst part point is judged along "
        "its worst direction. Of the positions the lowest and the highest are shown. Seeds: (0, "
        f"number of the setting, number of the block), blocks of {BLOCK} cells.\n\n"
        + table(
            ["setting", "cells", "worst part point", "goal", "lowest position", "highest", "goal"],
            rows,
        )
    )
