"""Shares with their own 95 % interval, and tables, as Markdown."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

NORMAL_95 = 1.959964


def wilson(hits: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (Wilson's score interval; from memory)."""
    if of == 0:
        return 0.0, 1.0
    z2 = NORMAL_95**2
    middle = (hits + 0.5 * z2) / (of + z2)
    half = NORMAL_95 / (of + z2) * math.sqrt(hits * (of - hits) / of + 0.25 * z2)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def share(hits: int, of: int) -> str:
    """Return a share in per cent with its interval."""
    if of == 0:
        return "none counted"
    low, high = wilson(hits, of)
    return f"{100.0 * hits / of:.1f} ({100.0 * low:.1f} to {100.0 * high:.1f})"


def goal(kept: bool, hits: int, of: int, low: float = 0.0, high: float = 1.0) -> str:
    """Return whether a goal is kept; told to be unsure where the interval reaches beyond it."""
    least, most = wilson(hits, of)
    if kept:
        sure = (low <= 0.0 or least >= low) and (high >= 1.0 or most <= high)
        return "kept" if sure else "kept, not surely"
    return "**missed**" if most < low or least > high else "**missed**, not surely"


def within(hits: int, of: int, low: float = 0.0, high: float = 1.0) -> str:
    """Return whether a share lies between two limits."""
    return goal(of > 0 and low <= hits / of <= high, hits, of, low, high)


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(lines)
