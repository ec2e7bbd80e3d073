"""What does this program do, as this control reads it?

Not a question about the cell alone, so it is not listed with the others: it needs a program.  The
reading itself is done by `gudgeon.program.reader`; here it becomes an answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from gudgeon.answer import Answer, Figure, Missing, Verdict
from gudgeon.cell.model_control import AXIS_NAMES
from gudgeon.findings import Findings
from gudgeon.findings.control import COMPUTED, ControlFinding
from gudgeon.program.dialect import TurningRule
from gudgeon.program.doubts import Doubt, Grade
from gudgeon.program.reader import read
from gudgeon.program.summary import Limit, Summary, summarise
from gudgeon.program.track import Ended
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._read_pictures import POSES_DRAWN, pictures
from gudgeon.questions._read_tables import Shown, tables
from gudgeon.questions._read_times import time_shown
from gudgeon.questions._read_words import Said, said
from gudgeon.questions._shared import as_order, figure

__all__ = ["ASKS", "NAME", "read_program"]

NAME: Final = "read"
ASKS: Final = "What does this program do, as this control reads it?"

_TEXT_MOST: Final = 60
"""Characters of a line that are quoted."""

_MISSING_MOST: Final = 12

_LENGTHS: Final = frozenset({"start_mm", "end_mm", "radius_mm", "half_mm"})

_SOURCES: Final = (
    "ISO 6983-1: words of the format",
    "NISTIR 6556 (2000): meaning of the words, order of execution, cycles",
)

Called = Callable[[int], bytes | None]
Progress = Callable[[float], bool]


def read_program(
    findings: Findings,
    text: bytes,
    name: str,
    called: Called | None = None,
    progress: Progress | None = None,
    names: Mapping[int, str] | None = None,
) -> Answer:
    """Read a program and answer what it does.

    Parameters
    ----------
    findings : Findings
        Of the cell that holds the control.
    text : bytes
        The program.
    name : str
        What its file is called, for the places in the answer.
    called : callable, optional
        Text of another program by its number, ``None`` if there is none.
    progress : callable, optional
        Gets the share that is read; returns False to stop.
    names : mapping of number to str, optional
        Files of the called programs; may be filled while they are asked for.
    """
    asked: dict[int, bytes | None] = {}

    def fetched(number: int) -> bytes | None:
        if number not in asked:
            asked[number] = called(number) if called is not None else None
        return asked[number]

    control = findings.control_for(text)
    track = read(text, control.dialect, called=fetched, progress=progress)
    lengths = {
        tool.number: tool.length.value
        for tool in findings.cell.tools
        if tool.number is not None and tool.length is not None
    }
    summary = summarise(track, lengths, findings.joint_limits)
    shown = Shown(findings, control, track, summary, lambda doubt: _said(findings, control, doubt))
    texts = {0: text, **{n: found for n, found in asked.items() if found is not None}}
    verdict, headline, next_step, fix = _judge(shown, texts)
    times = time_shown(findings, track, name)
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=next_step,
        figures=(*_figures(shown), *times.figures),
        tables=(*tables(shown), *times.tables),
        pictures=pictures(shown),
        fix=fix,
        assumed=(
            *_assumed(shown, {n: (names or {}).get(n, f"O{n}") for n in texts if n}),
            *times.assumed,
        ),
        missing=(*_missing(shown, name, verdict), *times.missing),
        cautions=(*_cautions(shown), *times.cautions),
        sources=_SOURCES,
    )


def _said(findings: Findings, control: ControlFinding, doubt: Doubt) -> Said:
    """Return words about a doubt, lengths in the shop's units and axes by their letters."""
    by_joint = {joint: letter for letter, joint in control.dialect.axes.items()}
    texts = {}
    for name, value in doubt.detail:
        if name in _LENGTHS and isinstance(value, float) and math.isfinite(value):
            texts[name] = findings.units.text(Kind.LENGTH, value)
        elif name == "axis" and isinstance(value, int):
            texts[name] = by_joint.get(value, AXIS_NAMES[value])
    return said(doubt, texts)


def _judge(shown: Shown, texts: dict[int, bytes]) -> tuple[Verdict, str, str, str | None]:
    """Return verdict, headline, next step and fix."""
    track, summary = shown.track, shown.summary
    doubt = track.worst
    if doubt is not None:
        words = shown.words(doubt)
        at = _place(doubt)
        quoted = _quoted(texts, doubt)
        error = doubt.grade is Grade.ERROR
        lead = "The control stops with an alarm at" if error else "Cannot tell yet from"
        fix = f"In {at.split(',')[0]}: {words.mend}."
        return (
            Verdict.NO if error else Verdict.CANNOT_TELL,
            f"{lead} {at}{quoted}: {words.reason}.",
            as_order(f"{words.mend}, and read the program again"),
            fix,
        )
    if track.ended is Ended.CANCELLED:
        return (
            Verdict.CANNOT_TELL,
            f"Cannot tell yet: reading was stopped after line {track.last_line}.",
            "Read the program again to its end.",
            None,
        )
    if summary.limits:
        first = summary.limits[0]
        more = len(summary.limits) - 1
        also = f", and {more} more end{'s' * (more > 1)} of travel" if more else ""
        return (
            Verdict.NO,
            f"{_limit_words(shown, first)}{also}.",
            "Check the work offsets and lengths in the tables below first, then the program.",
            None,
        )
    counts = f"{track.blocks} blocks, {summary.moves} moves"
    poses = len(summary.poses)
    where = f", cutting in {poses} pose{'s' * (poses != 1)}" if poses else ""
    lines = f"line {track.last_line}"
    ended = {
        Ended.BY_WORD: f"it ends at {lines}",
        Ended.AT_PERCENT: f"it ends at the percent sign in {lines}",
        Ended.REPEATS: f"it starts again after {lines}",
    }.get(track.ended, f"its text ends at {lines}")
    return (
        Verdict.YES,
        f"Read whole: {counts}{where}; {ended}.",
        "Compare work offsets and length registers in the tables with those in the control before "
        "the first run.",
        None,
    )


def _place(doubt: Doubt) -> str:
    inside = f" of program {doubt.source}" if doubt.source else ""
    column = f", column {doubt.column}" if doubt.column else ""
    return f"line {doubt.line}{inside}{column}"


def _quoted(texts: dict[int, bytes], doubt: Doubt) -> str:
    """Return the line of a doubt between quotation marks; the part around its column if long."""
    text = texts.get(doubt.source, b"")
    mark = b"\n" if b"\n" in text else b"\r"
    start = 0
    for _ in range(doubt.line - 1):
        start = text.find(mark, start) + 1
        if start == 0:
            return ""
    stop = text.find(mark, start)
    line = text[start : len(text) if stop < 0 else stop]
    first = max(0, doubt.column - 1 - _TEXT_MOST // 2) if len(line) > _TEXT_MOST else 0
    piece = line[first : first + _TEXT_MOST].decode("utf-8", "replace").strip()
    if not piece:
        return ""
    before = "..." if first else ""
    behind = "..." if first + _TEXT_MOST < len(line) else ""
    return f', "{before}{piece}{behind}"'


def _limit_words(shown: Shown, limit: Limit) -> str:
    low, high = shown.findings.joint_limits
    bound = float((low if limit.side < 0 else high)[limit.axis])
    name = shown.axis_name(limit.axis)
    return (
        f"{name} leaves its travel in {shown.line_words(limit.first_row)}: "
        f"{shown.axis_text(limit.axis, limit.at)} at worst, "
        f"{shown.axis_text(limit.axis, bound)} is the {'lower' if limit.side < 0 else 'upper'} end"
    )


def _figures(shown: Shown) -> tuple[Figure, ...]:
    units, summary, track = shown.findings.units, shown.summary, shown.track
    per_minute = units.shown(Kind.LENGTH, summary.fastest * 60.0)
    called = [int(n) for n in np.unique(track.segments["source"]) if n]
    figures = [
        Figure("blocks", "Blocks carried out", float(track.blocks), note="repeats counted"),
        Figure("moves", "Moves", float(summary.moves)),
        Figure("feed_moves", "Feed moves", float(summary.feeds)),
        figure(units, Kind.LENGTH, "feed_path", "Length of the feed path", summary.feed_mm),
        figure(
            units,
            Kind.LENGTH,
            "longest_feed",
            "Longest feed move",
            summary.longest_mm if summary.longest_row >= 0 else None,
            note=_in_line(shown, summary.longest_row),
        ),
        Figure(
            "largest_feed",
            "Largest feed",
            round(per_minute, 6) if summary.fastest_row >= 0 else None,
            f"{units.unit(Kind.LENGTH)}/min",
            note=_in_line(shown, summary.fastest_row) or "no feed a minute",
        ),
        Figure("poses", "Poses in which it cuts", float(len(summary.poses) + summary.poses_more)),
        Figure(
            "turning_feeds",
            "Feed moves that cut while an axis turns",
            float(summary.cut_turning),
            note=_first(shown, summary.cut_turning_row),
        ),
        Figure("tool_changes", "Tool changes", float(summary.changes)),
        Figure("stops", "Stops", float(summary.stop_count), note="the end counted"),
        Figure("calls", "Other programs called", float(len(called)), note=_numbers(called)),
        Figure(
            "either_way",
            "Turns that may go either way round",
            float(summary.either_way),
            note=_first(shown, summary.either_row),
        ),
    ]
    if summary.unknown:
        figures.append(
            Figure("unknown_moves", "Moves whose end is not known", float(summary.unknown))
        )
    known = [value for ends in shown.findings.joint_limits for value in ends.tolist()]
    if any(not math.isnan(value) for value in known):
        figures.append(
            Figure(
                "beyond_travel",
                "Moves beyond an end of travel",
                float(sum(limit.rows for limit in summary.limits)),
                limit=0.0,
                limit_kind="max",
                note=_first(shown, summary.limits[0].first_row if summary.limits else -1),
            )
        )
    return tuple(figures)


def _in_line(shown: Shown, row: int) -> str:
    return shown.line_words(row) if row >= 0 else ""


def _first(shown: Shown, row: int) -> str:
    return f"first in {shown.line_words(row)}" if row >= 0 else ""


def _numbers(called: list[int]) -> str:
    more = f" and {len(called) - 8} more" if len(called) > 8 else ""
    return ", ".join(f"O{number}" for number in called[:8]) + more


def _missing(shown: Shown, name: str, verdict: Verdict) -> tuple[Missing, ...]:
    """Return what settles each doubt, the one that decides first."""
    file, track = shown.findings.cell.file, shown.track
    worst = track.worst
    doubts = [worst] if worst is not None and worst.grade is Grade.CANNOT_TELL else []
    doubts += [
        doubt
        for doubt in (*track.doubts, *track.unread)
        if doubt is not worst and doubt.grade is not Grade.ERROR
    ]
    found: dict[tuple[str, str], Missing] = {}
    for doubt in doubts:
        words = shown.words(doubt)
        where = f"{file}: {words.entry}" if words.entry else f"{name}, {_place(doubt)}"
        note = doubt.grade is Grade.NOTE
        why = (
            f"the time in {_place(doubt)} hangs on it"
            if note
            else f"what the program does from {_place(doubt)} on hangs on it"
        )
        found.setdefault((words.reason, where), Missing(words.reason, where, why, words.mend))
        if len(found) == _MISSING_MOST:
            break
    missing = list(found.values())
    turns = [
        key
        for key, rule in zip(
            ("tilt_turns", "rotary_turns"), shown.control.dialect.turning, strict=True
        )
        if rule is TurningRule.UNKNOWN
    ]
    if shown.summary.either_way and turns:
        missing.append(
            Missing(
                "which way round a turning axis goes to an angle",
                f"{file}: control.{turns[0]}",
                "hoses and fixtures see another motion the other way round",
                "turn by hand-typed blocks from 350 to 10 deg with the unit empty, and watch",
            )
        )
    if shown.summary.unknown and track.worst is None:
        missing.append(
            Missing(
                "where the axes stand before the first block",
                f"{file}: control.start",
                f"{shown.summary.unknown} moves have an axis whose place is not known",
                "read the five positions that the control shows when a program is started",
            )
        )
    if verdict is Verdict.CANNOT_TELL and not missing:
        missing.append(
            Missing("the rest of the program", name, "it was not read", "read it to its end")
        )
    return tuple(missing)


def _assumed(shown: Shown, called: Mapping[int, str]) -> tuple[str, ...]:
    told = list(shown.control.assumed)
    if called:
        files = ", ".join(f"O{n} is {called[n]}" for n in sorted(called)[:8])
        more = f" and {len(called) - 8} more" if len(called) > 8 else ""
        told.append(f"Called programs are files beside the program: {files}{more}.")
    changer = shown.findings.cell.machine.changer
    if shown.summary.changes and changer.x is changer.y is changer.z is None:
        told.append(
            "A tool change leaves the axes where they stand ([machine.changer] is not given)."
        )
    if shown.control.dialect.block_skip is not None:
        on = "on" if shown.control.dialect.block_skip else "off"
        told.append(f"The switch for blocks with a slash is {on}.")
    drawable = len(shown.summary.poses)
    if drawable > POSES_DRAWN:
        told.append(f"Drawn are the {POSES_DRAWN} of {drawable} poses with the most feed moves.")
    return tuple(told)


def _cautions(shown: Shown) -> tuple[str, ...]:
    summary, control = shown.summary, shown.control
    told = [
        "Reading tells where the axes go, not whether anything is in their way.",
    ]
    computed = _computed_used(control, summary)
    if computed:
        told.append(
            f"{', '.join(computed[:6])}: values worked out from the axis lines, not read from the "
            "control; compare them before the first run."
        )
    for limit in summary.limits if shown.track.worst is not None else summary.limits[1:]:
        told.append(f"{_limit_words(shown, limit)}.")
    if summary.either_way:
        told.append(
            f"{summary.either_way} turn{'s' * (summary.either_way > 1)} may go either way round, "
            f"first in {shown.line_words(summary.either_row)}."
        )
    other = [
        use
        for use in summary.tools
        if use.tool is not None and any(n not in (None, use.tool) for n in use.registers)
    ]
    if other:
        registers = [n for n in other[0].registers if n not in (None, other[0].tool)]
        told.append(
            f"T{other[0].tool} cuts with length register {registers[0]}, not with that of its "
            "number."
        )
    if shown.track.ended is Ended.TEXT_OUT and shown.track.worst is None:
        told.append("The text runs out without an end of program.")
    return tuple(told)


def _computed_used(control: ControlFinding, summary: Summary) -> list[str]:
    return [
        name
        for name in summary.offsets
        if name is not None and control.offsets_from.get(name) == COMPUTED
    ]
