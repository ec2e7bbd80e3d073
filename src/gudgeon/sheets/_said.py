"""Figures, poses and places as the steps of a sheet say them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gudgeon.findings import Findings, Lacking
from gudgeon.quantity.kinds import Kind

__all__ = ["angle", "either_way", "gap_words", "length", "listed", "pose", "short", "sure"]


def length(findings: Findings, base_mm: float, places: int | None = None) -> str:
    """Return a length in the shop's unit."""
    return findings.units.text(Kind.LENGTH, base_mm, places)


def short(findings: Findings, base_mm: float) -> str:
    """Return a size as it is called for, without idle digits: "14 mm", "0.625 in"."""
    units = findings.units
    value = round(units.shown(Kind.LENGTH, base_mm), units.decimals(Kind.LENGTH)) + 0.0
    return f"{value:.7g} {units.unit(Kind.LENGTH)}"


def either_way(findings: Findings, base_mm: float) -> str:
    """Return a limit that holds either way, rounded to the safe side: "0.012 mm"."""
    places = findings.units.decimals(Kind.LENGTH)
    text = findings.units.text(Kind.LENGTH, base_mm, places, limit="max")
    if float(text.split()[0]) == 0.0:  # a finer digit is better than a limit of nothing
        text = findings.units.text(Kind.LENGTH, base_mm, places + 1, limit="max")
    return text


def sure(findings: Findings, value_mm: float, plus_minus_mm: float) -> str:
    """Return a figure with its sign and its +-: "+0.012 +- 0.007 mm"."""
    units = findings.units
    unit = units.unit(Kind.LENGTH)
    value = units.text(Kind.LENGTH, value_mm, sign=True).removesuffix(f" {unit}")
    spread = units.text(Kind.LENGTH, plus_minus_mm, limit="min").removesuffix(f" {unit}")
    return f"{value} +- {spread} {unit}"


def angle(angle_rad: float) -> str:
    """Return degrees with as few digits as say the angle."""
    return f"{round(math.degrees(angle_rad), 3) + 0.0:g}"


def pose(findings: Findings, tilt_rad: float, turn_rad: float) -> str:
    """Return a pose in the control's letters, such as "A90 C0"; in words where none is known."""
    try:
        senses = findings.senses
        tilt, turn = senses.tilt_letter or "tilt ", senses.rotary_letter
    except Lacking:
        control = findings.cell.control
        tilt = control.tilt_letter or "tilt "
        turn = control.rotary_letter or "turn "
    turned = f"{turn}{angle(turn_rad)}"
    return f"{tilt}{angle(tilt_rad)} {turned}" if findings.has_tilt else turned


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]


def gap_words(lacking: Lacking) -> str:
    """Return what a step lacks: the first entry or reading, and how to get it."""
    first = lacking.missing[0]
    how = first.how_to_get_it.rstrip(".")
    return f"Not known yet: {first.what} ({first.where}). {how[:1].upper()}{how[1:]}."
