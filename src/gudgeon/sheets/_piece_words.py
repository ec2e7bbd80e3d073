"""Numbers, sides and poses of the test piece as its sheet says them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gudgeon.findings import Findings
from gudgeon.findings.procedure import side_name
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._said import pose

__all__ = ["number", "plain", "pose_text", "side", "signed", "within"]

Floats = NDArray[np.float64]


def side(findings: Findings, normal: Floats) -> str:
    """Return a side of the block by where it looks at zero."""
    if normal[2] > 0.5:
        return "top"
    return f"{side_name(findings.platter_axes @ normal)} side"


def pose_text(findings: Findings, angles: tuple[float, ...]) -> str:
    tilt, turn = angles if len(angles) == 2 else (0.0, angles[0])
    return pose(findings, tilt, turn)


def number(findings: Findings, mm: float) -> str:
    """Return a length to the shop's last digit, without unit."""
    return findings.units.text(Kind.LENGTH, mm).split()[0]


def signed(findings: Findings, mm: float) -> str:
    return findings.units.text(Kind.LENGTH, mm, sign=True).split()[0]


def plain(findings: Findings, mm: float) -> str:
    """Return a length with few digits, without unit."""
    return f"{round(findings.units.shown(Kind.LENGTH, mm), 3) + 0.0:g}"


def within(findings: Findings, mm: float) -> str:
    return (
        f"{round(findings.units.shown(Kind.LENGTH, mm), 2 if findings.units.inch else 1) + 0.0:g}"
    )
