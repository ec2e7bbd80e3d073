"""Safe limits, planes and maps of tool changes beside random poses inside them."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.files import load_text
from gudgeon.findings import Findings
from gudgeon.findings.gather import Lacking
from tests.clearance.compare import SEEN_MM, Compared
from tests.clearance.random_cells import Case
from tests.clearance.second_opinion import Judge, Thing

Floats = NDArray[np.float64]

WORK = ("table", "tilt", "rotary")


def compare_boxes(case: Case, poses: int = 120) -> Compared:
    """Compare what `travels` and `changes` tell of a case with random poses."""
    loaded = load_text(case.text, models=lambda name, _: case.models[name])
    assert loaded.cell is not None
    findings, found = Findings(loaded.cell), Compared()
    rng, need = np.random.default_rng(case.seed), case.need_mm
    found.counts["cells"] += 1
    _limits(findings, case, found, rng, poses)
    try:
        changing = findings.changing
    except Lacking as lacking:
        found.counts[f"changes lacks {lacking.missing[0].what}"] += 1
        return found
    clear = np.argwhere(changing.together.cells == 0)
    found.counts["change cells clear"] += len(clear)
    found.counts["change cells"] += changing.together.cells.size
    low, high = changing.low, changing.high
    for k in range(poses if len(clear) else 0):
        i, j = clear[int(rng.integers(len(clear)))]
        pose = rng.uniform(low, high)
        tilts, turns = changing.together.tilts, changing.together.turns
        pose[3] = rng.uniform(tilts[i], tilts[i + 1])
        pose[4] = rng.uniform(turns[j], turns[j + 1])
        tool = 1 + k % 2
        for down, chosen in ((0.0, _stays), (rng.choice([0.0, 0.5, 1.0]), _pulled)):
            at = pose - np.array([0.0, 0.0, down * changing.down_mm, 0.0, 0.0])
            _at(case, found, f"change of T{tool}", at, need, tool, chosen)
    return found


def _limits(
    findings: Findings, case: Case, found: Compared, rng: np.random.Generator, poses: int
) -> None:
    try:
        limits = findings.safe_limits
    except Lacking as lacking:
        found.counts[f"travels lacks {lacking.missing[0].what}"] += 1
        return
    if limits.box is None:
        found.counts["no safe limits"] += 1
        return
    found.counts["safe limits"] += 1
    ranges, planes = findings.ranges, ()
    low, high = ranges.low.copy(), ranges.high.copy()
    low[:2], high[:2] = limits.box.low[:2], limits.box.high[:2]
    try:
        planes = findings.planes
    except Lacking:
        found.counts["no planes"] += 1
    ends = np.where(np.isfinite(low), low, -math.pi), np.where(np.isfinite(high), high, math.pi)
    for _ in range(poses):
        pose = rng.uniform(*ends)
        corner = rng.random(5) < 0.6
        pose = np.where(corner, np.where(rng.random(5) < 0.5, *ends), pose)
        pose[3] = rng.uniform(ends[0][3], ends[1][3])
        _at(case, found, "safe limits", pose, case.need_mm, 1, _walls)
        for plane in planes:
            if plane.z_mm is not None:
                at = pose.copy()
                at[2] = plane.z_mm
                tool = int("".join(c for c in plane.hand.name if c.isdigit()) or 1)
                found.counts["poses over planes"] += 1
                _at(case, found, f"plane of {plane.hand.name}", at, case.need_mm, tool, _over)


def _walls(a: Thing, b: Thing) -> bool:
    walls = [one.role == "wall" or one.carrier == "base" for one in (a, b)]
    return sum(walls) == 1 and any(one.carrier in WORK for one in (a, b))


def _over(a: Thing, b: Thing) -> bool:
    return {a.carrier, b.carrier} & {"head"} != set() and not _stands(a) and not _stands(b)


def _stands(one: Thing) -> bool:
    return one.carrier == "base" or one.role == "wall"


def _stays(a: Thing, b: Thing) -> bool:
    return _over(a, b) and "nose" in (a.role, b.role)


def _pulled(a: Thing, b: Thing) -> bool:
    return _over(a, b) and bool({a.role, b.role} & {"cutter", "shank", "holder"})


_JUDGES: dict[tuple[int, int, str], Judge] = {}


def _at(
    case: Case,
    found: Compared,
    what: str,
    pose: Floats,
    need: float,
    tool: int,
    chosen: Callable[[Thing, Thing], bool],
) -> None:
    key = (id(case), tool, chosen.__name__)
    if key not in _JUDGES:
        _JUDGES.clear() if len(_JUDGES) > 20 else None
        pairs = case.reference.pairs(tool, cutting=False, turning=True, drop=lambda _: False)
        pairs = [pair for pair in pairs if chosen(pair[0], pair[2])]
        _JUDGES[key] = Judge(case.reference, pairs)
    judge = _JUDGES[key]
    found.counts["poses"] += 1
    gap, which = judge.gap(pose, need + 1.0)
    if gap < need - SEEN_MM / 10.0:
        names = judge.pairs[which][0].name, judge.pairs[which][2].name
        found.faults.append(f"{what}: {gap:.4f} of {need} between {names} at {pose.tolist()}")
