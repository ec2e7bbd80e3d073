"""What the tool says of a program, block by block, beside what sampling sees."""

from __future__ import annotations

import collections
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.files import load_text
from gudgeon.findings import Findings
from gudgeon.findings.cleared_found import Cleared, Found, Judged
from gudgeon.findings.programs import ProgramText
from tests.clearance.random_cells import Block, Case
from tests.clearance.second_opinion import Convex, Judge, Thing, value

Floats = NDArray[np.float64]

CLOSER: tuple[Judged, ...] = (Judged.CRASH, Judged.DANGER)
SEEN_MM = 0.01
SLACK_MM = 0.1
GROWN_MM = 0.15


@dataclass
class Compared:
    """Counts, and every contradiction in words."""

    counts: collections.Counter[str] = field(default_factory=collections.Counter)
    faults: list[str] = field(default_factory=list)
    needless: list[str] = field(default_factory=list)


def judged_by_the_tool(case: Case) -> Cleared:
    loaded = load_text(case.text, models=lambda name, _: case.models[name])
    assert loaded.cell is not None and not loaded.faults, loaded.faults
    findings = Findings(loaded.cell)
    return findings.cleared(ProgramText("part.nc", case.program.encode()))


def compare(case: Case) -> Compared:
    """Compare every block of a case."""
    cleared, found = judged_by_the_tool(case), Compared()
    if cleared.track.doubts:
        found.counts["programs not read"] += 1
        return found
    by_line: dict[int, list[int]] = collections.defaultdict(list)
    for row, segment in enumerate(cleared.track.segments):
        by_line[int(segment["line"])].append(row)
    opinion = _Opinion(case)
    found.counts["cells"] += 1
    for block in case.blocks:
        rows = [row for row in by_line[block.line] if cleared.judged[row] >= 0]
        still = bool(np.all(np.abs(block.end - block.start) < 1e-9)) and block.arc is None
        if not rows:
            if not still:
                found.faults.append(f"line {block.line}: moves and is not judged")
            opinion.went(block)
            continue
        end = np.asarray(cleared.track.segments["end"][by_line[block.line][-1]])
        if not np.allclose(end, block.end, atol=1e-6):
            found.faults.append(f"line {block.line}: ends at {end}, not {block.end}")
            break
        rank = max(int(cleared.judged[row]) for row in rows)
        told = next(kind for kind in Judged if kind.rank == rank)
        rest = [cleared.rows[row] for row in rows if row in cleared.rows]
        one = max(rest, key=lambda f: f.judged.rank) if rest else Found(told)
        if told is Judged.CLEAR:
            known = [f for f in rest if f.exact]
            one = min(known, key=lambda f: f.margin_mm) if known else Found(told)
        _block(case, opinion, block, told, one, found)
        opinion.went(block)
    for judge in opinion.judges.values():
        found.counts["poses"] += judge.poses
    return found


class _Opinion:
    """The reference with what has been fed so far in the column under the spindle."""

    def __init__(self, case: Case) -> None:
        self.case, self.rng = case, np.random.default_rng(case.seed)
        self.judges: dict[tuple[object, ...], Judge] = {}
        self.fed: list[Block] = []

    def judge(self, tool: int, *, cutting: bool, turning: bool, nose: bool = True) -> Judge:
        key = (tool, cutting, turning, nose)
        if key not in self.judges:
            drop: Callable[[Thing], bool] = lambda t: False if nose else t.role in ("nose", "wall")  # noqa: E731
            pairs = self.case.reference.pairs(tool, cutting=cutting, turning=turning, drop=drop)
            self.judges[key] = Judge(self.case.reference, pairs)
        return self.judges[key]

    def went(self, block: Block) -> None:
        if block.kind in ("feed", "arc"):
            self.fed.append(block)

    def was_cut(self, block: Block) -> bool:
        """Tell whether all stock that the flutes go through was cut by them before.

        By points in the cutter at close poses: each that lies in stock must have lain in the same
        cutter, a little larger, at some pose of a feed move before.
        """
        reference, rng = self.case.reference, self.rng
        parts = [p for t in reference.tools[block.tool] if t.role == "cutter" for p in t.parts]
        stock = [p for t in reference.things if t.role == "stock" for p in t.parts]
        points = []
        for part in parts:
            low, high = part.corners.min(axis=0), part.corners.max(axis=0)
            tried = rng.uniform(low, high, (600, 3))
            points.append(tried[_inside([part], tried, -GROWN_MM)])
        cutter = np.concatenate(
            [*points, *(p.corners + 0.02 * (p.middle - p.corners) for p in parts)]
        )
        open_: list[Floats] = []
        for t in np.linspace(0.0, 1.0, 40).tolist():
            turn, shift, at = self._rotary(block.at(t))
            work = (cutter + at - shift) @ turn
            open_.append(work[_inside(stock, work, -GROWN_MM)])
        left = np.concatenate(open_)
        for fed in reversed(self.fed):
            if fed.tool != block.tool:
                continue
            for t in np.linspace(0.0, 1.0, 400).tolist():
                if not len(left):
                    return True
                turn, shift, at = self._rotary(fed.at(t))
                left = left[~_inside(parts, left @ turn.T + shift - at, GROWN_MM)]
        return not len(left)

    def _rotary(self, joint: Floats) -> tuple[Floats, Floats, Floats]:
        turn, shift = self.case.reference.stand(joint)["rotary"]
        return turn, shift, joint[:3]

    def paths(self, block: Block) -> list[Callable[[float], Floats]]:
        moved = np.abs(block.end - block.start) > 1e-9
        if not (self.case.alone and block.kind == "rapid" and moved.sum() > 1):
            return [block.at]
        found: list[Callable[[float], Floats]] = []
        for _ in range(8):
            speed = 10.0 ** self.rng.uniform(-1.5, 1.5, 5)
            speed /= speed.min()

            def path(t: float, speed: Floats = speed) -> Floats:
                return block.start + np.minimum(1.0, t * speed) * (block.end - block.start)

            found.append(path)
        return found

    def count(self, block: Block) -> int:
        by = np.abs(block.end - block.start)
        far = float(by[:3].max()) / 6.0 + float(by[3:].max()) / math.radians(3.0)
        if block.arc is not None:
            u = block.start[:3] - block.arc[0]
            far += abs(block.arc[2]) * float(np.linalg.norm(u)) / 6.0
        return int(np.clip(far, 6, 70))


def _inside(parts: list[Convex], points: Floats, grown: float) -> NDArray[np.bool_]:
    """Tell which points lie in any of some convex solids, grown or shrunk."""
    found = np.zeros(len(points), dtype=bool)
    for part in parts:
        found |= ((points @ part.normals.T + part.offsets) <= grown).all(axis=1)
    return found


def _block(
    case: Case, opinion: _Opinion, block: Block, told: Judged, one: Found, found: Compared
) -> None:
    counts, need = found.counts, case.need_mm
    counts["blocks"] += 1
    counts[f"told {told.value}"] += 1
    where = f"line {block.line} ({block.text}): {told.value}"
    count = opinion.count(block)
    # Closer than this is looked for; what is farther than the clearance asked decides nothing.
    cutting = block.cuts
    judge = opinion.judge(block.tool, cutting=cutting, turning=True)
    paths = opinion.paths(block)
    tries = [judge.along(path, count, 400.0) for path in paths]
    seen, pair, pose = min(tries, key=lambda t: t[0])
    upwards = block.kind in ("rapid", "change")
    if upwards and told is Judged.CLEAR and seen < need and len(paths) == 1:
        # Clear all the same where the flutes have been by feed.
        free = opinion.judge(block.tool, cutting=True, turning=True)
        again = free.along(block.at, count, 400.0)
        if again[0] > seen and opinion.was_cut(block):
            counts["rapids in what was cut"] += 1
            cutting, judge, (seen, pair, pose) = True, free, again
    if block.kind == "change":
        if np.array_equal(block.start, block.end):
            seen = math.inf  # where it stood before was told with the block before
        seen = min(seen, _pulled_down(case, opinion, block))
    if told is Judged.CLEAR:
        if seen < need - 1e-6:
            found.faults.append(f"{where}: sampled {seen:.4f} at {pose} {_names(judge, pair)}")
        if one.exact and block.kind != "change":
            _margin(opinion, block, one, found, where, cutting=cutting)
        return
    if told in CLOSER and one.joint and block.kind != "change":
        at = np.array(one.joint)
        really, which = judge.gap(at)
        if block.kind == "rapid" and really < max(one.margin_mm, 0.0) - SEEN_MM:
            really, which = opinion.judge(block.tool, cutting=True, turning=True).gap(at)
        low = max(one.margin_mm, 0.0) if one.margin_mm == one.margin_mm else 0.0
        sag = judge.sag(which)
        counts["witnesses"] += 1
        if not low - SEEN_MM <= really <= low + SEEN_MM + sag:
            found.faults.append(
                f"{where}: witness told {one.margin_mm:.4f} {one.pair}, seen {really:.4f} "
                f"{_names(judge, which)}"
            )
    if told is Judged.LIMIT or told in (Judged.UNSAFE_START, Judged.UNSAFE_END):
        return
    if len(tries) > 1 and one.joint:
        # Each axis in its own time: the witness has been looked at, and lies on the way.
        way = np.sort([block.start, block.end], axis=0)
        at = np.array(one.joint)
        if np.any(at < way[0] - 1e-6) or np.any(at > way[1] + 1e-6):
            found.faults.append(f"{where}: the witness at {at} is not on the way")
        return
    # The arm's sweep is no body of the second opinion.
    arm = "sweep of the arm is not known" in one.note or "arm of the changer" in one.pair
    if seen > need + SLACK_MM and not arm:
        kind = f"{block.kind}{', each axis alone' if len(tries) > 1 else ''}"
        counts[f"needless: {kind}: {told.value}"] += 1
        found.needless.append(
            f"{where}: sampled {seen:.3f}; told {one.margin_mm:.4f} {one.pair} {one.note}"
        )


def _margin(
    opinion: _Opinion, block: Block, one: Found, found: Compared, where: str, *, cutting: bool
) -> None:
    turning = bool(np.any(np.abs(block.end - block.start)[3:] > 1e-12))
    judge = opinion.judge(block.tool, cutting=cutting, turning=turning)
    paths = opinion.paths(block)
    tries = [judge.along(path, opinion.count(block), 2000.0) for path in paths]
    seen, pair, pose = min(tries, key=lambda t: t[0])
    found.counts["margins"] += 1
    if block.kind == "rapid" and one.margin_mm > seen + 2e-3:
        # In the column that was fed before, the flutes do not count.
        judge = opinion.judge(block.tool, cutting=True, turning=turning)
        tries = [judge.along(path, opinion.count(block), 2000.0) for path in paths]
        seen, pair, pose = min(tries, key=lambda t: t[0])
        found.counts["margins without flutes"] += 1
    if one.margin_mm > seen + 2e-3:
        found.faults.append(
            f"{where}: margin told {one.margin_mm:.4f} {one.pair}, sampled {seen:.4f} "
            f"{_names(judge, pair)} at {pose}"
        )
    if one.margin_mm < seen - 0.05 and not turning:
        # A turn by a rounding error is a turn.
        judge = opinion.judge(block.tool, cutting=cutting, turning=True)
        seen, pair, pose = judge.along(block.at, opinion.count(block), 2000.0)
    low = seen - 0.05 - judge.sag(pair)
    if len(paths) == 1 and one.margin_mm < low and one.margin_mm < 1900.0:
        found.faults.append(
            f"{where}: margin told {one.margin_mm:.4f} {one.pair}, but sampled {seen:.4f} "
            f"{_names(judge, pair)}"
        )


def _pulled_down(case: Case, opinion: _Opinion, block: Block) -> float:
    down = value(case.reference.cell["machine"]["changer"]["pull_down"])
    best = math.inf
    for tool in (block.tool, block.new_tool):
        assert tool is not None
        judge = opinion.judge(tool, cutting=False, turning=False, nose=False)
        low = block.end - np.array([0.0, 0.0, down, 0.0, 0.0])
        path = replace(block, start=block.end, end=low, arc=None)
        best = min(best, judge.along(path.at, 20, 400.0)[0])
    return best


def _names(judge: Judge, which: int) -> tuple[str, ...]:
    return () if which < 0 else (judge.pairs[which][0].name, judge.pairs[which][2].name)
