"""Rows of a judged program gathered into the blocks that a person reads."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.cell.model_control import AXIS_NAMES
from gudgeon.findings import Findings
from gudgeon.findings.cleared import Cleared, Found, Judged
from gudgeon.program.doubts import Doubt, Grade
from gudgeon.program.track import Kind as RowKind
from gudgeon.program.track import Track
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._read_words import Said, said

__all__ = ["BAD", "BlockJudged", "Judgement", "judgement"]

_NAMED: Final = re.compile(rb"\s*/?\s*[Nn]\s*([0-9]{1,9})")
_LENGTHS: Final = frozenset({"start_mm", "end_mm", "radius_mm", "half_mm"})
_QUOTED_MOST: Final = 48
_KINDS: Final[Mapping[int, str]] = {
    RowKind.RAPID: "rapid",
    RowKind.LINE: "feed",
    RowKind.ARC: "arc",
    RowKind.PROBE: "probe",
    RowKind.TOOL_CHANGE: "tool change",
    RowKind.STOP: "end",
}

BAD: Final = (
    Judged.CRASH,
    Judged.DANGER,
    Judged.LIMIT,
    Judged.UNSAFE_END,
    Judged.UNSAFE_START,
)
OPEN: Final = (Judged.NOT_JUDGED, Judged.UNDECIDED)
CONDITIONAL: Final = (Judged.ONLY_STRAIGHT, Judged.ONLY_AS_WRITTEN, Judged.IF_TIED)


@dataclass(frozen=True, slots=True)
class BlockJudged:
    """One block of the program with what was found about it.

    Attributes
    ----------
    name : str
        ``"N30"`` where it has a number, else ``"line 4"``.
    line, source : int
    text : str
    kind : str
        "rapid", "feed", "arc", "probe", "tool change" or "end".
    tool : int or None
    judged : Judged
    margin_mm : float
        NaN where not known.
    exact : bool
    pair : tuple of names
    joint : tuple of 5 floats
    points : tuple of points
    note : str
    row : int
    order : int
        The how manieth block with motion it is, as the program runs; from 1.
    without_flutes_mm : float
    """

    name: str
    line: int
    source: int
    text: str
    kind: str
    tool: int | None
    judged: Judged
    margin_mm: float
    exact: bool
    pair: tuple[str, ...]
    joint: tuple[float, ...]
    points: tuple[tuple[float, float, float], ...]
    note: str
    row: int
    order: int
    without_flutes_mm: float = math.nan

    @property
    def pair_words(self) -> str:
        """The two bodies."""
        return " and ".join(self.pair) if self.pair else "nothing near"


@dataclass(slots=True)
class Judgement:
    """One program in words.

    Attributes
    ----------
    findings : Findings
    cleared : Cleared
    told : list of BlockJudged
        Every block that is not clear, and those of the clear ones whose gap is known.
    blocks_moving, clear_count : int
    tightest : BlockJudged or None
    any_boxed : bool
    orders : ndarray of int, shape (rows,)
        Blocks with motion up to each row.
    hung : list of BlockJudged
        Blocks in which something comes where a hose may hang, whatever else they are.
    """

    findings: Findings
    cleared: Cleared
    told: list[BlockJudged] = field(default_factory=list)
    blocks_moving: int = 0
    clear_count: int = 0
    tightest: BlockJudged | None = None
    any_boxed: bool = False
    orders: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    hung: list[BlockJudged] = field(default_factory=list)

    @property
    def bad(self) -> list[BlockJudged]:
        """Blocks that must not run, in the order of the program."""
        return [block for block in self.told if block.judged in BAD]

    @property
    def open(self) -> list[BlockJudged]:
        """Blocks of which nothing is proven either way."""
        return [block for block in self.told if block.judged in OPEN]

    @property
    def conditional(self) -> list[BlockJudged]:
        """Blocks that are clear under a condition."""
        return [block for block in self.told if block.judged in CONDITIONAL]

    @property
    def depths_told(self) -> int:
        """Crashes whose depth is known."""
        return sum(b.judged is Judged.CRASH and b.margin_mm < 0.0 for b in self.told)

    @property
    def need_text(self) -> str:
        """The clearance asked."""
        return self.length_text(self.cleared.need_mm)

    def length_text(self, value_mm: float) -> str:
        """Return a gap in the shop's units, rounded to the safe side; "not known" for none."""
        if not math.isfinite(value_mm):
            return "not known"
        return self.findings.units.text(Kind.LENGTH, value_mm, limit="max")

    def length(self, value_mm: float) -> float | None:
        """Return a length in the shop's unit; ``None`` where it is not known."""
        if not math.isfinite(value_mm):
            return None
        return round(self.findings.units.shown(Kind.LENGTH, value_mm), 4) + 0.0

    def angle(self, value_rad: float) -> float | None:
        """Return an angle in degrees; ``None`` where it is not known."""
        if not math.isfinite(value_rad):
            return None
        return round(self.findings.units.shown(Kind.ANGLE, value_rad), 3) + 0.0

    def letters(self) -> tuple[str, str]:
        """Return the letters of tilt and rotary; their names where nobody stated letters."""
        by_joint = {joint: letter for letter, joint in self.cleared.control.dialect.axes.items()}
        return by_joint.get(3, "tilt"), by_joint.get(4, "rotary")

    def axis_name(self, axis: int) -> str:
        """Return how an axis is called on this machine."""
        return "XYZ"[axis] if axis < 3 else self.letters()[axis - 3]

    def axis_text(self, axis: int, value: float) -> str:
        """Return a joint position with its unit."""
        return self.findings.units.text(Kind.LENGTH if axis < 3 else Kind.ANGLE, value)

    def pose_text(self, block: BlockJudged) -> str:
        """Return where a block is tightest, machine coordinates."""
        if len(block.joint) != 5:
            return "a place that is not known"
        units = self.findings.units
        digits = 3 if units.inch else 1
        places = [
            f"{'XYZ'[k]} {units.text(Kind.LENGTH, block.joint[k], decimals=digits)}"
            for k in range(3)
        ]
        tilt, rotary = self.letters()
        angles = [f"{rotary} {units.text(Kind.ANGLE, block.joint[4], decimals=1)}"]
        if self.findings.has_tilt:
            angles.insert(0, f"{tilt} {units.text(Kind.ANGLE, block.joint[3], decimals=1)}")
        return "machine " + ", ".join([*places, *angles])

    def doubt_words(self, doubt: Doubt) -> Said:
        """Return words about a doubt of the reader."""
        by_joint = {joint: letter for letter, joint in self.cleared.control.dialect.axes.items()}
        texts = {}
        for name, value in doubt.detail:
            if name in _LENGTHS and isinstance(value, float) and math.isfinite(value):
                texts[name] = self.findings.units.text(Kind.LENGTH, value)
            elif name == "axis" and isinstance(value, int):
                texts[name] = by_joint.get(value, AXIS_NAMES[value])
        return said(doubt, texts)

    def doubt_place(self, doubt: Doubt) -> str:
        """Return the line of a doubt."""
        inside = f" of program {doubt.source}" if doubt.source else ""
        return f"line {doubt.line}{inside}"

    def doubts_missing(self) -> list[Missing]:
        """Return what settles each doubt, the one that decides first."""
        track = self.cleared.track
        grave = [d for d in track.doubts if d.grade is not Grade.NOTE]
        found = []
        for doubt in sorted(grave, key=lambda d: d is not track.worst):
            words = self.doubt_words(doubt)
            place = f"{self.cleared.program.name}, {self.doubt_place(doubt)}"
            where = f"{self.findings.cell.file}: {words.entry}" if words.entry else place
            why = f"nothing is judged from {self.doubt_place(doubt)} on"
            found.append(Missing(words.reason, where, why, words.mend))
        return found

    def start_words(self) -> str:
        """Return from where the program was taken to start."""
        start = self.cleared.track.start
        if not self.findings.has_tilt:
            axes: tuple[int, ...] = (0, 1, 2, 4)
        else:
            axes = (0, 1, 2, 3, 4)
        if any(math.isnan(start[k]) for k in axes):
            return "Where the axes stand before the first block is not known in full."
        places = ", ".join(f"{self.axis_name(k)} {self.axis_text(k, start[k])}" for k in axes)
        tool = self.cleared.control.dialect.tool_at_start
        held = "" if tool is None else f", with T{tool} in the spindle"
        return f"The program starts at machine {places}{held}."

    def next_words(self) -> str:
        """Return what the next run would do, in few words."""
        cleared = self.cleared
        track = cleared.next_track
        if track is None or not cleared.next_run:
            return "nothing else is found"
        words = []
        for row, found in cleared.next_run[:4]:
            segment = track.segments[row]
            name = _name(_text_of(self.cleared, int(segment["source"]), int(segment["line"])))
            words.append(f"{name or 'line ' + str(int(segment['line']))}: {found.judged.value}")
        more = len(cleared.next_run) - 4
        return ", ".join(dict.fromkeys(words)) + (f" and {more} more" if more > 0 else "")


def judgement(findings: Findings, cleared: Cleared) -> Judgement:
    """Gather the rows of a judged program into blocks."""
    one = Judgement(findings, cleared)
    track, segments = cleared.track, cleared.track.segments
    count = len(segments)
    judged = cleared.judged
    moving = judged >= 0
    changes = np.flatnonzero(
        (segments["line"][1:] != segments["line"][:-1])
        | (segments["source"][1:] != segments["source"][:-1])
    )
    block = np.zeros(count, dtype=np.int64)
    block[changes + 1] = 1
    # A called program of one line that runs twice is two blocks.
    block[[first for first, _, _ in track.calls if 0 < first < count]] = 1
    block = np.cumsum(block)
    if count:
        worst = np.full(int(block[-1]) + 1, -1, dtype=np.int64)
        np.maximum.at(worst, block, judged)
        one.blocks_moving = int((worst >= 0).sum())
        one.clear_count = int((worst == Judged.CLEAR.rank).sum())
        one.orders = np.cumsum(worst >= 0, dtype=np.int64)[block]
    one.any_boxed = bool(moving.any())
    lines = _Lines(cleared)
    for rows, told in ((cleared.rows, one.told), (cleared.hung, one.hung)):
        per_block: dict[int, tuple[int, Found]] = {}
        for row, found in sorted(rows.items()):
            number = int(block[row])
            known = per_block.get(number)
            if known is None or _worse(found, known[1]):
                per_block[number] = (row, found)
        for _number, (row, found) in sorted(per_block.items()):
            told.append(_block(one, track, row, found, lines))
    exact = [b for b in one.told if b.judged is Judged.CLEAR and b.exact]
    motions = [b for b in exact if b.kind != "tool change"] or exact
    one.tightest = min(motions, key=lambda b: b.margin_mm, default=None)
    return one


def _worse(found: Found, other: Found) -> bool:
    if found.judged.rank != other.judged.rank:
        return found.judged.rank > other.judged.rank
    if math.isnan(found.margin_mm):
        return False
    return math.isnan(other.margin_mm) or found.margin_mm < other.margin_mm


def _block(one: Judgement, track: Track, row: int, found: Found, lines: _Lines) -> BlockJudged:
    segment = track.segments[row]
    line, source = int(segment["line"]), int(segment["source"])
    text = lines.text(source, line)
    note = found.note
    if found.judged is Judged.LIMIT:
        note = _limit_note(one, found)
    force = int(segment["force"])
    name = _name(text) or f"line {line}"
    if source:
        name += f" of {one.cleared.program.names.get(source, f'O{source}')}"
    caller, of = track.called_from(row)
    if caller:
        inside = f" of O{of}" if of and of != source else ""
        name += f" (called from line {caller}{inside})"
    return BlockJudged(
        name=name,
        line=line,
        source=source,
        text=text[:_QUOTED_MOST].decode("utf-8", "replace").strip(),
        kind=_KINDS.get(int(segment["kind"]), "other"),
        tool=track.in_force[force].tool if 0 <= force < len(track.in_force) else None,
        judged=found.judged,
        margin_mm=found.margin_mm,
        exact=found.exact,
        pair=found.pair,
        joint=found.joint,
        points=found.points,
        note=note,
        row=row,
        order=int(one.orders[row]),
        without_flutes_mm=found.without_flutes_mm,
    )


def _limit_note(one: Judgement, found: Found) -> str:
    if found.limit is None:
        return found.note
    axis, at = found.limit
    low, high = one.findings.joint_limits
    end = high[axis] if at > high[axis] else low[axis]
    which = "upper" if at > high[axis] else "lower"
    return (
        f"{one.axis_name(axis)} would stand at {one.axis_text(axis, at)}, "
        f"{one.axis_text(axis, float(end))} is the {which} end"
    )


class _Lines:
    """Lines of the program and of those that it calls, found from the front."""

    def __init__(self, cleared: Cleared) -> None:
        self._cleared = cleared
        self._starts: dict[int, np.ndarray] = {}

    def text(self, source: int, line: int) -> bytes:
        cleared = self._cleared
        text = cleared.called.get(source, b"") if source else cleared.program.text
        if source not in self._starts:
            codes = np.frombuffer(text, dtype=np.uint8)
            mark = 10 if b"\n" in text else 13
            self._starts[source] = np.concatenate(([-1], np.flatnonzero(codes == mark)))
        starts = self._starts[source]
        if not 1 <= line <= len(starts):
            return b""
        first = int(starts[line - 1]) + 1
        last = int(starts[line]) if line < len(starts) else len(text)
        return text[first : min(last, first + 200)].strip()


def _text_of(cleared: Cleared, source: int, line: int) -> bytes:
    return _Lines(cleared).text(source, line)


def _name(text: bytes) -> str:
    match = _NAMED.match(text)
    return f"N{int(match[1])}" if match else ""
