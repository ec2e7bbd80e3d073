"""The shape of one check of `holds`: what was found, how sure it is, and what would mend it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gudgeon.answer import Missing
from gudgeon.findings.judged import State

__all__ = ["Check", "Mend", "Tried", "degrees"]


@dataclass(frozen=True, slots=True)
class Mend:
    """A plain condition under which a failing check holds.

    Attributes
    ----------
    words : str
        As it continues "Yes, if ...".
    parts : int or None
        Most parts that may be on, where that is the condition.
    keeps_plan : bool
        True if the work can go on as planned under it (tighter bolts, another order).
    """

    words: str
    parts: int | None = None
    keeps_plan: bool = False


@dataclass(frozen=True, slots=True)
class Check:
    """One check as the answer weighs it.

    Attributes
    ----------
    line : str
        What was found, with the number, as it continues a sentence.
    state : "holds", "fails" or "unsure"
    share : float
        Demand over limit.
    mend : Mend or None
    fix : str
        The cheapest change, as an order; empty if nothing is wanted.
    flips : str
        At which value the check would come out the other way.
    doubt : Missing or None
        What would settle it, where the uncertainty spans the limit.
    cut : str
        Name of the cut that a brake was judged against; empty for all other checks.
    """

    line: str
    state: State
    share: float
    flips: str
    mend: Mend | None = None
    fix: str = ""
    doubt: Missing | None = None
    cut: str = ""


@dataclass(frozen=True, slots=True)
class Tried:
    """Everything that could be judged, and what the rest lacks."""

    checks: tuple[Check, ...]
    missing: tuple[Missing, ...]
    conditions: tuple[Mend, ...]
    """Conditions that keep the plan and are needed although no planned stage fails."""


def degrees(angle_rad: float) -> str:
    """Return an angle as it is programmed, such as ``"76.6 deg"``, rounded towards flat."""
    tenths = math.floor(math.degrees(abs(angle_rad)) * 10.0 + 1e-6) / 10.0
    return f"{math.copysign(tenths, angle_rad):g} deg"
