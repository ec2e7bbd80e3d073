"""In which order to cut, and how long does a load take?

What it answers
---------------
The order of all cuts of a load that takes least time: operations at every station that is loaded,
in the poses in which each may be cut, with what must come first kept.  What the load takes, split
by cause; how far the order may be from the best; how long a person may stay away, what a shift and
a night make, and which tool ends the run.  A sequence, a loading map, a list of tools, and a
program that calls your own subprograms in that order.  `gudgeon order CELL --minutes 5` seeks for
longer (Ctrl+C stops and answers), and with `--to FILE` writes that program.

Why it matters
--------------
Cutting takes the same time in every order; what lies between the cuts does not.  A load of four
parts with three tools on two faces has 12 cuts and half a thousand million orders, and the one that
seems natural, tool by tool in the order of the file, may change and index more than it has to.

When it can mislead
-------------------
An order is only as good as what is entered about what comes first: a rule that is missing is not
kept.  Times of cuts that are entered, or come from programs, are taken to be the same in every
order; chips, warm-up and measuring in between are not counted unless they are in a program.  What
lies between two cuts is counted one after the other; a program that does it at once is faster.  The
search may miss the best order of a large load; where that matters, look at the bound.  Tool life is
yours: it is counted as entered, and a tool that breaks has none.

Sources
-------
Times from speeds, accelerations and jerk of the axes: closed forms of motion with limited jerk.
Sequential ordering with what must come first: problem of the published set of test cases (TSPLIB);
own search.  A bound by integer programming where the library is installed (extra "bound"); else an
own bound.  Usual accelerations and ramps put in where none is entered: common practice, no source.
"""

from __future__ import annotations

from typing import Final

from gudgeon.answer import Answer, Figure, Table, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.jobs import OTHER_FACE, SECOND, JobsFinding
from gudgeon.findings.night import NightFinding
from gudgeon.findings.order_mends import Mend, Turn
from gudgeon.findings.ordering import OrderFinding
from gudgeon.findings.skeleton import Skeleton
from gudgeon.quantity.kinds import Kind
from gudgeon.questions._order_night import (
    night_conditions,
    night_figures,
    night_fix,
    tool_table,
    visit_flip,
)
from gudgeon.questions._order_pictures import order_pictures
from gudgeon.questions._order_tables import (
    cause_table,
    loading_table,
    mend_table,
    seconds_text,
    sequence_table,
    skeleton_table,
)
from gudgeon.questions._shared import as_order, cannot_tell, figure

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "order"
ASKS: Final = "In which order to cut, and how long does a load take?"
PLACE: Final = 90
USES_PROGRAM: Final = True

SOURCES: Final = (
    "times of moves: closed forms of motion with limited acceleration and jerk",
    "the shortest order under precedence: own search; the bound by integer programming where the "
    "library is installed",
    "what is off for one reason adds up, different reasons as the root of the sum of squares: "
    "JCGM 100:2008, 5.1 and 5.2",
)

NAMED_MOST: Final = 3

LEAST_CHANGE_S: Final = 0.5
"""No tool change is shorter than this: an order that would win below it never will."""


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        jobs = findings.jobs
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="in which order to cut")
    refused = _impossible(findings, jobs)
    if refused is not None:
        return refused
    try:
        with findings.part(0.0, 0.6):
            found = findings.ordering
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="in which order to cut")
    skeleton = findings.skeleton
    with findings.part(0.6, 0.8):
        mends, night = findings.order_mends, findings.night
    with findings.part(0.8, 1.0):
        flips = _flips(findings, found, night)
    tables = (
        sequence_table(findings, found),
        loading_table(findings, found),
        None if night is None else tool_table(night),
        cause_table(found),
        mend_table(mends, found),
        skeleton_table(skeleton),
    )
    conditions = _conditions(findings, found)
    if night is not None:
        conditions += night_conditions(night)
    verdict, headline, next_step = _judged(found, conditions, skeleton)
    shown = _figures(findings, found)
    missing = {item.where: item for item in found.missing}
    missing |= {} if night is None else {item.where: item for item in night.missing}
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=next_step,
        figures=(*shown[:2], *(() if night is None else night_figures(night)), *shown[2:]),
        tables=tuple(table for table in tables if table is not None),
        pictures=order_pictures(findings, found),
        flips=flips,
        fix=_fix(mends, night),
        assumed=_assumed(found, night),
        missing=tuple(missing.values()),
        cautions=_cautions(findings, found, skeleton),
        sources=SOURCES,
    )


# --- no order at all --------------------------------------------------------------------------


def _impossible(findings: Findings, jobs: JobsFinding) -> Answer | None:
    """Return the answer where no order can be; ``None`` where one can."""
    if jobs.ring:
        ring = " before ".join(f'"{label}"' for label in (*jobs.ring, jobs.ring[0]))
        operations = sorted({label.rpartition(" at ")[0] for label in jobs.ring})
        return Answer(
            question=NAME,
            verdict=Verdict.NO,
            headline=f"No order is possible: {ring}.",
            next_step="Look at  after  and  stage  of "
            + " and ".join(f'"{name}"' for name in operations)
            + ", and take out what need not be.",
            fix="One of these rules taken out.",
            assumed=jobs.told,
            sources=SOURCES,
        )
    if jobs.unreached:
        label, why = jobs.unreached[0]
        more = len(jobs.unreached) - 1
        rows = tuple((name, reason) for name, reason in jobs.unreached)
        return Answer(
            question=NAME,
            verdict=Verdict.NO,
            headline=f'Not all can be cut: "{label}"'
            + (f" and {more} more" if more else "")
            + f": {why}.",
            next_step="Turn the part in its station, choose another face in  other_poses,  or cut "
            "it in another set-up.",
            tables=(unreached_table(rows),),
            fix="A station in which the face comes up within the range of the unit.",
            assumed=jobs.told,
            sources=SOURCES,
        )
    return None


def unreached_table(rows: tuple[tuple[str, str], ...]) -> Table:
    """Return what can be cut in no pose."""
    from gudgeon.answer import Column

    return Table(
        "unreached",
        "What can be cut in no pose",
        (Column("what", "Cut"), Column("why", "Why")),
        rows,
    )


# --- verdict ------------------------------------------------------------------------------------


def _judged(
    found: OrderFinding, conditions: list[str], skeleton: Skeleton
) -> tuple[Verdict, str, str]:
    parts = f"{found.parts} part{'s' * (found.parts != 1)}"
    if found.unknown:
        first = found.missing[0]
        more = len(found.unknown) - 1
        return (
            Verdict.CANNOT_TELL,
            f"Cannot tell yet how long a load takes: the {first.what}"
            + (f" and of {more} more" if more else "")
            + f" is missing; what lies between the cuts takes {seconds_text(_between(found))} in "
            "this order.",
            as_order(first.how_to_get_it),
        )
    time = seconds_text(found.load.value)
    each = seconds_text(found.load.value / found.parts)
    without = "" if found.loading is not None else " without loading"
    takes = f"A load of {parts} takes {time}{without}, {each} a part"
    low = found.round.low_s
    if found.round.proven:
        sure = "; no order is shorter"
    elif low is not None and low > 0.0:
        sure = f"; no order is shorter by more than {_gap(found):.1f} %"
    else:
        sure = ""
    run = "Load as the map shows and cut in this order"
    if skeleton.lines:
        run += "; the program of calls does that: run it once block by block, without parts"
    if conditions:
        return (
            Verdict.YES_IF,
            f"{takes}, if {' and if '.join(conditions)}{sure}.",
            f"{run}; keep the condition.",
        )
    return Verdict.YES, f"{takes}{sure}.", as_order(run)


def _conditions(findings: Findings, found: OrderFinding) -> list[str]:
    """Return what has to be kept for the order to hold."""
    told = []
    poses = dict.fromkeys(
        findings.pose_words(leg.change_pose) for leg in found.legs if leg.change_pose is not None
    )
    if poses and found.restricted:
        named = list(poses)[:NAMED_MOST]
        more = f" and {len(poses) - NAMED_MOST} more poses" if len(poses) > NAMED_MOST else ""
        told.append(f"tools are changed at {', '.join(named)}{more}")
    elif poses and not found.changes_known:
        told.append("tools may be changed where the unit stands")
    return told


def _between(found: OrderFinding) -> float:
    return sum(leg.spent.total for leg in found.legs)


def _gap(found: OrderFinding) -> float:
    """Return by how many per cent of the run an order could be shorter at most."""
    low = found.round.low_s
    if low is None or found.round.seconds <= 0.0:
        return 0.0
    return 100.0 * (found.round.seconds - low) / found.round.seconds


# --- figures ------------------------------------------------------------------------------------


def _figures(findings: Findings, found: OrderFinding) -> tuple[Figure, ...]:
    units = findings.units
    known = not found.unknown
    without = "" if found.loading is not None else "loading left out: its time is not entered"
    shown = [
        figure(
            units,
            Kind.TIME,
            "load_time",
            "a load, from one to the next",
            found.load.value if known else None,
            plus_minus=found.load.plus_minus if known else None,
            note=without if known else "not all cuts have a time",
        ),
        figure(
            units,
            Kind.TIME,
            "part_time",
            "a part",
            found.load.value / found.parts if known else None,
            plus_minus=None
            if found.load.plus_minus is None or not known
            else found.load.plus_minus / found.parts,
            note=f"{found.parts} of a load" + (f"; {without}" if without else ""),
        ),
        figure(
            units,
            Kind.TIME,
            "run_time",
            "the run of a load, without loading",
            found.machine.value if known else None,
            plus_minus=found.machine.plus_minus if known else None,
        ),
        _seconds("between", "between the cuts", _between(found), note="all but cutting"),
    ]
    for name, time in found.causes.items():
        if name == "cutting" and not known:
            continue
        shown.append(
            _seconds(
                name.replace(" ", "_"),
                f"{name} of a load",
                time.value,
                None if time.plus_minus is None else time.plus_minus,
            )
        )
    low = found.round.low_s
    shown.append(
        Figure(
            "bound",
            "no order is shorter than",
            None if low is None else round(low / 60.0, 4),
            "min",
            note="none was sought"
            if low is None
            else "proven: this order is the shortest"
            if found.round.proven
            else f"this order is within {_gap(found):.1f} % of it"
            + ("" if known else "; known cutting times counted"),
        )
    )
    saved = found.saved_s
    shown.append(
        _seconds(
            "saved",
            "saved a load against the order of the file",
            saved,
            note="the order of the file breaks a rule of what comes first"
            if saved is None
            else "operations one after the other, each at all its stations",
        )
    )
    shown.append(Figure("changes", "number of tool changes of a load", float(found.changes)))
    return tuple(shown)


def _seconds(
    name: str,
    label: str,
    value: float | None,
    plus_minus: float | None = None,
    note: str = "",
) -> Figure:
    return Figure(
        name,
        label,
        None if value is None else round(value, 3) + 0.0,
        "s",
        None if plus_minus is None else round(plus_minus, 3),
        note=note,
    )


# --- the rest -----------------------------------------------------------------------------------


def _flips(findings: Findings, found: OrderFinding, night: NightFinding | None) -> str | None:
    told = []
    change, index = findings.order_turn, findings.index_turn
    if change is not None and change.value >= LEAST_CHANGE_S:
        side = "under" if change.below else "over"
        told.append(
            f"With {side} {change.value:.1f} s a tool change another order wins, with "
            f"{_many_changes(change)} instead of {found.changes}."
        )
    if index is not None and index.value > 0.0:
        side = "over" if index.below else "under"
        told.append(
            f"If the unit turned at {side} {100.0 / index.value:.0f} % of its speed another order "
            f"would win, with {_many_changes(index)}."
        )
    if night is not None:
        told.append(visit_flip(night) or "")
    return " ".join(text for text in told if text) or None


def _many_changes(turn: Turn) -> str:
    return f"{turn.changes} tool change{'s' * (turn.changes != 1)}"


def _fix(mends: tuple[Mend, ...], night: NightFinding | None) -> str | None:
    told = []
    if mends:
        told.append(as_order(f"{mends[0].words}: {seconds_text(mends[0].saved_s)} less a load"))
    if night is not None:
        told.append(night_fix(night) or "")
    return " ".join(text for text in told if text) or None


def _assumed(found: OrderFinding, night: NightFinding | None) -> tuple[str, ...]:
    told = [*found.told, *(() if night is None else night.told)]
    if found.jobs.empty:
        told.insert(0, f"Nothing is cut at {', '.join(found.jobs.empty)}: no part is loaded there.")
    return tuple(told)


def _cautions(findings: Findings, found: OrderFinding, skeleton: Skeleton) -> tuple[str, ...]:
    told = []
    far = [step for step in found.steps if step.way.kind in (OTHER_FACE, SECOND)]
    if far:
        names = list(dict.fromkeys(f'"{step.job.operation}"' for step in far))[:NAMED_MOST]
        told.append(
            f"{', '.join(names)}: cut in another pose than that of its own face; its program has "
            "to be one for that pose."
        )
    unplaced = [step for step in far if step.way.word is None]
    if unplaced:
        told.append("A second pose needs a work offset of its own: none is kept for it yet.")
    outside = {
        zero.label: " and ".join(zero.outside)
        for zero in (findings.offsets.zeros if any(step.way.face for step in found.steps) else ())
        if zero.outside and any(step.way.word == zero.word for step in found.steps)
    }
    for label, axes in list(outside.items())[:NAMED_MOST]:
        told.append(f'Travel of {axes} does not reach the zero of {label} (see "offsets").')
    if skeleton.lines:
        told.append(
            "The program of calls holds no feeds, coolant, lengths or approach: they have to stand "
            "in the subprograms, and each has to work from Z at the top."
        )
        if skeleton.no_speed:
            silent = ", ".join(f'"{name}"' for name in skeleton.no_speed[:NAMED_MOST])
            rest = len(skeleton.no_speed) - NAMED_MOST
            told.append(
                f"It starts no spindle for {silent}{f' and {rest} more' if rest > 0 else ''}: no "
                "speed is entered (operations.speed), so it has to stand in the subprogram."
            )
        if not skeleton.clamps:
            told.append(
                "It writes no words for the clamps: none are declared ([[control.words]] brakes)."
            )
        told.append('Ask "clears" with the whole program before it runs.')
    elif all(findings.cell.operations[step.job.number].call is None for step in found.steps):
        pass  # nobody asked for a program
    else:
        told.append(f"No program of calls is offered: {skeleton.refused}.")
    return tuple(told)
