"""Is this program free of collision?

What it answers
---------------
Every block of a program is judged over its whole motion, not at its ends: tool, holder and spindle
nose against load, unit, table and guards, and what turns against what stands.  A block is clear
only where the clearance asked is proven, the uncertainty of the axis lines included.  Else it is a
crash, with how deep it goes and where; a danger, closer than was asked; it leaves a travel; or it
cannot be told, with the reason.  Tool changes, the pose in which the program starts and the pose in
which it ends (the next run starts there) are judged too.  All findings are listed, not the first.

Why it matters
--------------
A tilt that is clear at both ends can drive the load into the tool half way, and a corner that
turns reaches further than its flats.  A crash costs a spindle; looking at single poses, by eye or
by program, finds neither.

When it can mislead
-------------------
Only what is entered is judged: chips, clamps left lying, hoses and guards that nobody wrote down
are not there.  Stock is taken as whole: what was cut is free for a rapid only along lines and
columns that the same cutter has fed through in the same pose, and up to what stands above them.  A
rapid across a pocket, or into one that another tool has cut, is told as a crash; so is a shank
below the top of stock that its own flutes have cut.  Where the finished part is not entered, flutes
may go anywhere in the stock on feed moves, spindle turning or not.  A control that rounds corners,
or a length or work offset typed wrong, moves otherwise than the program says.  A gap that is not
proven within the work allowed is told as not known, never as clear.

Sources
-------
Gilbert, Johnson and Keerthi (1988) for the direction in which a gap is shown, from memory; bounds
of motion: second derivative of a turn; ISO 6983-1 and NISTIR 6556 for the motion of a program; the
clearance asked where none is stated: common practice, no source.
"""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Answer, Figure, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.cleared import Judged
from gudgeon.findings.hose_bodies import without_hoses
from gudgeon.program.doubts import Grade
from gudgeon.program.track import Ended
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._clears_blocks import BlockJudged, Judgement, judgement
from gudgeon.questions._clears_pictures import pictures
from gudgeon.questions._clears_tables import tables
from gudgeon.questions._proof_views import tie_words
from gudgeon.questions._shared import as_order, cannot_tell, figure

__all__ = ["ASKS", "NAME", "NEEDS_PROGRAM", "PLACE", "answer"]

NAME: Final = "clears"
ASKS: Final = "Is this program free of collision?"
PLACE: Final = 100
NEEDS_PROGRAM: Final = True
"""Asked only where a program is at hand, unless it is named."""

_MISSING_MOST: Final = 12
_LISTED_MOST: Final = 6

_SOURCES: Final = (
    "Gaps proven by separating planes; distance of convex solids after Gilbert, Johnson and "
    "Keerthi (1988), from memory",
    "Motion of the program: ISO 6983-1, NISTIR 6556 (2000)",
)


def answer(findings: Findings) -> Answer:
    """Judge the programs that were handed in."""
    if not findings.programs:
        return Answer(
            question=NAME,
            verdict=Verdict.CANNOT_TELL,
            headline="Cannot tell yet whether a program is free of collision: no program is named.",
            next_step="Name the program before the cell file: gudgeon ask clears PROGRAM CELL.",
            missing=(
                Missing(
                    "a program",
                    f"{findings.cell.file}: programs",
                    "motion is judged, not poses",
                    "name it in the command, or under [[programs]] with file = ...",
                ),
            ),
        )
    try:
        judged = [judgement(findings, findings.cleared(one)) for one in findings.programs]
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="whether it is free of collision")
    several = len(judged) > 1
    worst = max(judged, key=lambda one: _weight(_verdict(one)))
    verdict = _verdict(worst)
    headline, next_step, fix = _words(worst, verdict, several)
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=next_step,
        figures=_figures(findings, judged, worst),
        tables=tables(judged),
        pictures=pictures(judged, worst),
        flips=_flips(worst, verdict),
        fix=fix,
        assumed=_all(_assumed(one) for one in judged),
        missing=_missing(judged, verdict),
        cautions=_cautions(judged, verdict),
        sources=(*_SOURCES, *worst.cleared.scene.sources),
    )


def _weight(verdict: Verdict) -> int:
    return (Verdict.YES, Verdict.YES_IF, Verdict.CANNOT_TELL, Verdict.NO).index(verdict)


def _verdict(one: Judgement) -> Verdict:
    cleared = one.cleared
    if one.bad:
        return Verdict.NO
    # What is not judged and what the reader did not understand is never taken as clear.
    if one.open or cleared.track.worst is not None or cleared.cancelled:
        return Verdict.CANNOT_TELL
    if cleared.track.ended in (Ended.STOPPED, Ended.CANCELLED):
        return Verdict.CANNOT_TELL
    return Verdict.YES_IF if one.conditional or one.hung else Verdict.YES


def _words(one: Judgement, verdict: Verdict, several: bool) -> tuple[str, str, str | None]:
    """Return headline, next step and fix."""
    cleared = one.cleared
    who = f"{cleared.program.name}: " if several else ""
    if verdict is Verdict.NO:
        first = next((b for b in one.bad if b.judged is Judged.CRASH), one.bad[0])
        rest = [block for block in one.bad if block is not first]
        more = f"; also {_listed(one, rest)}" if rest else ""
        words = _sentence(one, first)
        return (
            f"{who}{words}{more}." if who else f"{words[:1].upper()}{words[1:]}{more}.",
            f"Change {first.name} first, then ask again: later blocks were judged as if the axes "
            "had arrived.",
            _fix(one, first),
        )
    if verdict is Verdict.CANNOT_TELL:
        return _open_words(one, who)
    count = one.blocks_moving
    tight = one.tightest
    apart = "apart from hoses, " if one.hung else ""
    least = (
        f"; tightest in {tight.name}: {one.length_text(tight.margin_mm)}, {tight.pair_words}"
        if tight is not None
        else ""
    )
    proven = (
        f"{apart}all {count} blocks with motion are proven clear by {one.need_text} or more{least}"
    )
    if verdict is Verdict.YES_IF:
        return _if_words(one, who, proven)
    return (
        f"{who}Free of collision: {proven}; no restriction needed.",
        "Set the cell up as it is entered, and run the first part with rapids at their lowest.",
        None,
    )


def _if_words(one: Judgement, who: str, proven: str) -> tuple[str, str, str | None]:
    """Return what is said of a program that is clear under conditions."""
    conditions, entries = [], []
    for kind, condition, entry in (
        (Judged.ONLY_STRAIGHT, "rapids run in a straight line", "control.rapids"),
        (
            Judged.ONLY_AS_WRITTEN,
            "the axes turn the way that is written",
            "control.tilt_turns and control.rotary_turns",
        ),
    ):
        first = next((block for block in one.conditional if block.judged is kind), None)
        if first is not None:
            conditions.append(f"{condition}: else {first.name} is not ({first.note})")
            entries.append(entry)
    if one.hung:
        conditions.append(_hose_words(one))
    orders = []
    if one.hung:
        orders.append("tie up the hoses before the first run")
    if entries:
        orders.append(
            f"try it with the table empty, and state it as {' and '.join(entries)} in the cell file"
        )
    headline = f"{who}Clear, if {'; and if '.join(conditions)}; {proven}."
    return headline, as_order("; then ".join(orders)), None


def _hose_words(one: Judgement) -> str:
    """Return the condition on hoses, with the blocks that hang on it."""
    ties = " and if ".join(tie_words(one.findings, hang) for hang in one.cleared.ties)
    count = len(one.hung)
    named = ", ".join(block.name for block in one.hung[:3])
    more = f" and {count - 3} more" if count > 3 else ""
    return f"{ties}: this counts in {count} block{'s' * (count > 1)}, {named}{more}"


def _open_words(one: Judgement, who: str) -> tuple[str, str, str | None]:
    cleared = one.cleared
    if cleared.cancelled:
        return (
            f"{who}Cannot tell yet: stopped after {cleared.proven} of {cleared.motions} motions; "
            "what is proven so far is kept.",
            "Ask again: the proof goes on where it stopped.",
            None,
        )
    doubt = cleared.track.worst
    if doubt is not None and (not one.open or one.open[0].line >= doubt.line):
        words = one.doubt_words(doubt)
        lead = "the control stops with an alarm" if doubt.grade is Grade.ERROR else "not understood"
        return (
            f"{who}Cannot tell from {one.doubt_place(doubt)} on, {lead}: {words.reason}.",
            as_order(f"{words.mend}, and ask again"),
            None,
        )
    if not one.open:
        return (
            f"{who}Cannot tell: the program was not read to its end.",
            "Ask again and let it be read to its end.",
            None,
        )
    first = one.open[0]
    more = len(one.open) - 1
    also = f", and {more} more block{'s' * (more > 1)}" if more else ""
    proof = f"; {one.clear_count} blocks are proven clear" if one.clear_count else ""
    return (
        f"{who}Cannot tell yet: {first.name} is {first.judged.value} ({first.note}){also}{proof}.",
        "Enter or mend what is listed as missing, the first first, and ask again.",
        None,
    )


def _sentence(one: Judgement, block: BlockJudged) -> str:
    """Return one finding as a sentence without a full stop."""
    at = f" at {one.pose_text(block)}" if block.joint else ""
    match block.judged:
        case Judged.CRASH:
            deep = (
                f", {one.length_text(-block.margin_mm)} deep at worst"
                if block.margin_mm < 0
                else ""
            )
            return f"{block.name} crashes{at}: {block.pair_words}{deep}"
        case Judged.DANGER:
            near = (
                "touches"
                if block.margin_mm <= 0.0
                else f"comes as near as {one.length_text(block.margin_mm)}"
            )
            return f"{block.name} {near}{at}: {block.pair_words}; {one.need_text} is asked"
        case Judged.LIMIT:
            return f"{block.name} leaves its travel: {block.note}"
        case Judged.UNSAFE_END:
            return (
                f"{block.name} ends in an unsafe pose{at}: {block.note}"
                f" ({block.pair_words}, {one.length_text(block.margin_mm)})"
                if block.margin_mm == block.margin_mm
                else f"{block.name} ends in an unsafe pose{at}: {block.note}"
            )
        case _:
            return f"{block.name}: {block.judged.value}{at}, {block.pair_words}"


def _listed(one: Judgement, blocks: list[BlockJudged]) -> str:
    """Return further findings in few words: each block, or of many the first of each kind."""

    def words(block: BlockJudged) -> str:
        known = block.margin_mm == block.margin_mm and block.judged is not Judged.LIMIT
        gap = f" ({one.length_text(block.margin_mm)})" if known else ""
        return f"{block.name} {block.judged.value}{gap}"

    if len(blocks) <= _LISTED_MOST:
        return ", ".join(words(block) for block in blocks)
    told = []
    for kind in dict.fromkeys(block.judged for block in blocks):
        of_kind = [block for block in blocks if block.judged is kind]
        more = f" and {len(of_kind) - 1} more" if len(of_kind) > 1 else ""
        told.append(f"{words(of_kind[0])}{more}")
    return ", ".join(told)


def _fix(one: Judgement, block: BlockJudged) -> str | None:
    """Return the cheapest change that comes to mind for a crash of a rapid."""
    if block.judged is Judged.CRASH and block.kind == "rapid":
        return f"Raise Z before {block.name}, or part its move into one after the other."
    return None


def _flips(one: Judgement, verdict: Verdict) -> str | None:
    tight = one.tightest
    if verdict is not Verdict.YES or tight is None:
        return None
    return (
        f"Asking for more than {one.length_text(tight.margin_mm)} of clearance would make "
        f"{tight.name} a danger."
    )


def _figures(findings: Findings, judged: list[Judgement], worst: Judgement) -> tuple[Figure, ...]:
    units = findings.units
    cleared = worst.cleared
    tight = min(
        (one for one in judged if one.tightest is not None),
        key=lambda one: one.cleared.smallest_mm,
        default=None,
    )
    depths = [(-b.margin_mm, b) for one in judged for b in one.bad if b.judged is Judged.CRASH]
    depths = [(depth, block) for depth, block in depths if depth == depth]
    deepest = max(depths, key=lambda item: item[0], default=None)
    kinds = {
        "crashes": ("Blocks that crash", Judged.CRASH),
        "dangers": ("Blocks closer than asked", Judged.DANGER),
        "beyond_travel": ("Blocks beyond a travel", Judged.LIMIT),
        "unsafe_ends": ("Unsafe end poses", Judged.UNSAFE_END),
        "unsafe_starts": ("Unsafe start poses", Judged.UNSAFE_START),
    }
    figures = [
        Figure("blocks", "Blocks with motion", float(sum(one.blocks_moving for one in judged))),
        Figure(
            "clear_blocks", "Blocks proven clear", float(sum(one.clear_count for one in judged))
        ),
        Figure("motions", "Motions judged", float(sum(one.cleared.motions for one in judged))),
        figure(
            units,
            Kind.LENGTH,
            "smallest_margin",
            "Smallest gap of what is clear",
            tight.cleared.smallest_mm if tight is not None else None,
            limit=cleared.need_mm,
            limit_kind="min",
            note=f"{tight.tightest.name}, {tight.tightest.pair_words}"
            if tight is not None and tight.tightest is not None
            else "nothing is proven clear, or nothing comes near",
        ),
        figure(units, Kind.LENGTH, "clearance_asked", "Clearance asked", cleared.need_mm),
    ]
    figures += [
        Figure(
            name,
            label,
            float(sum(b.judged is kind for one in judged for b in one.bad)),
            limit=0.0,
            limit_kind="max",
        )
        for name, (label, kind) in kinds.items()
    ]
    stopped = any(one.cleared.track.ended in (Ended.STOPPED, Ended.CANCELLED) for one in judged)
    beyond = "and all beyond the place where reading stopped, not counted" if stopped else ""
    count = float(sum(len(one.open) for one in judged))
    figures.append(Figure("open_blocks", "Blocks not judged", count, note=beyond))
    hung = sum(len(one.hung) for one in judged)
    if hung:
        label = "Blocks that come where a hose may hang"
        figures.append(Figure("hose_blocks", label, float(hung)))
    if deepest is not None:
        figures.append(
            figure(
                units,
                Kind.LENGTH,
                "worst_overlap",
                "Deepest overlap of a crash",
                deepest[0],
                limit=0.0,
                limit_kind="max",
                note=deepest[1].name,
            )
        )
    return tuple(figures)


def _assumed(one: Judgement) -> tuple[str, ...]:
    cleared = one.cleared
    told = list(cleared.control.assumed)
    if not cleared.need_given:
        told.append(f"Clearance asked: {one.need_text} ([shop] clearance is not given).")
    rapids = one.findings.cell.control.rapids
    if rapids is None and not one.conditional and bool(one.any_boxed):
        told.append("Rapids are clear in a straight line and with each axis in its own time.")
    if cleared.any_station and any(b.role == "stock" for b in cleared.scene.scene.bodies):
        told.append("On feed moves flutes may cut the stock of any station.")
    told += cleared.scene.assumed
    if cleared.scene.scene is not without_hoses(cleared.scene.scene):
        told.append(
            "Hoses are judged by the clearance asked, wherever they may hang; gaps that are told "
            "are those of other bodies."
        )
    told += cleared.scene.left_out
    told.append(one.start_words())
    return tuple(told)


def _all(groups: object) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for group in groups:  # type: ignore[attr-defined]
        found.update(dict.fromkeys(group))
    return tuple(found)


def _missing(judged: list[Judgement], verdict: Verdict) -> tuple[Missing, ...]:
    found: dict[tuple[str, str], Missing] = {}

    def add(missing: Missing) -> None:
        found.setdefault((missing.what, missing.where), missing)

    for one in judged:
        cleared, file = one.cleared, one.findings.cell.file
        for missing in one.doubts_missing():
            add(missing)
        for entries in cleared.tools_missing.values():
            for missing in entries:
                add(missing)
        if any("stand is not known" in block.note for block in one.open):
            add(
                Missing(
                    "where the axes stand before the first block",
                    f"{file}: control.start",
                    "a move from an unknown place cannot be judged",
                    "read the five positions that the control shows when a program is started",
                )
            )
        if any(block.note == "the tool is not known" for block in one.open):
            add(
                Missing(
                    "the tool in the spindle when the program starts",
                    f"{file}: control.tool_at_start",
                    "what hangs in the spindle is judged",
                    "read the number of the tool in the spindle from the control",
                )
            )
        for missing in cleared.missing:
            add(missing)
        for block in one.conditional:
            if block.judged is Judged.IF_TIED:
                continue  # a tie is made, not entered
            if block.judged is Judged.ONLY_STRAIGHT:
                add(
                    Missing(
                        "how a rapid of several axes runs",
                        f"{file}: control.rapids",
                        f"{block.name} is clear only in a straight line",
                        "rapid two axes by very different ways with the table empty, and watch "
                        "whether they arrive together",
                    )
                )
            else:
                add(
                    Missing(
                        "which way round a turning axis goes to an angle",
                        f"{file}: control.rotary_turns",
                        f"{block.name} is clear one way round only",
                        "turn by hand-typed blocks from 350 to 10 deg with the unit empty, and "
                        "watch",
                    )
                )
        for missing in cleared.scene.missing:
            add(missing)
    if verdict is Verdict.CANNOT_TELL and not found:
        one = judged[0]
        left = one.open[0] if one.open else None
        add(
            Missing(
                f"a proof of {left.name}" if left else "the rest of the program",
                one.cleared.program.name,
                left.note if left else "it was not judged to its end",
                "leave a little more room there" if left else "ask again and let it run",
            )
        )
    return tuple(found.values())[:_MISSING_MOST]


def _cautions(judged: list[Judgement], verdict: Verdict) -> tuple[str, ...]:
    told: list[str] = []
    if verdict in (Verdict.YES, Verdict.YES_IF):
        told.append(
            "First run: rapid override at its lowest, single block, a hand on feed hold; the "
            "machine's manual goes before this answer."
        )
    for one in judged:
        if one.hung and _verdict(one) is not Verdict.YES_IF:
            told.append(f"{one.cleared.program.name}: clear of hoses only if {_hose_words(one)}.")
        first = Judged.CRASH
        if sum(block.judged is first for block in one.bad) > one.depths_told:
            told.append("How deep is told for the first crashes only.")
        if one.cleared.next_run:
            told.append(
                f"{one.cleared.program.name}: started again from the pose in which it ends, "
                f"{one.next_words()}."
            )
        if one.cleared.kept_whole:
            told.append("The proof was kept from before: nothing that it rests on has changed.")
        elif one.cleared.kept:
            told.append(
                f"{one.cleared.kept} of {one.cleared.motions} motions were proven before and kept: "
                "nothing that their proof rests on has changed."
            )
    return tuple(dict.fromkeys(told))
