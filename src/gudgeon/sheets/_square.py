"""Commissioning, third part: the bare platter under an indicator, and what each pattern means."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.commissioning import dial_u_mm, squaring
from gudgeon.findings.commissioning_found import Dial, DialCheck, Squaring
from gudgeon.findings.commissioning_limits import AngleLimit
from gudgeon.findings.procedure import side_name
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._crate import bolts_tight
from gudgeon.sheets._said import angle, either_way, gap_words, length, pose, short, sure
from gudgeon.sheets._square_picture import platter_picture
from gudgeon.sheets._square_rows import Row, readings_grid
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import (
    Block,
    Box,
    Cautions,
    Drawing,
    Heading,
    Step,
    Steps,
    Words,
)

__all__ = ["LOCK", "square_up"]

LOCK: Final = (
    "Lock the spindle and take its start out of the program while an indicator stands in it."
)

FINE_MM: Final = 0.006
"""Limits under this ask for a finer dial: three of its steps (common practice, no source)."""

MOST_TIMES: Final = 9
"""Nobody reads one figure more often than this."""

SHIM_LEAST_MM: Final = 20.0


def square_up(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return how the unit is made square to the mill."""
    findings = known.findings
    heading = Heading("Square up: the bare platter under the dial")
    try:
        found = squaring(findings)
    except Lacking as lacking:
        step = Step(
            "square_up",
            "Make the tilt line parallel and the platter level with a dial.",
            lack=gap_words(lacking),
        )
        tight = bolts_tight(findings)
        return (heading, Steps((step, tight))), lacking.missing
    blocks: list[Block] = [
        heading,
        Words(_rules(findings, found)),
        Cautions((LOCK,)),
        Steps(_set_up(findings, found)),
        Drawing(platter_picture(findings, found)),
        *_round(findings, found),
    ]
    blocks += _along(findings, found) if findings.has_tilt else _single(findings, found)
    missing: tuple[Missing, ...] = ()
    if found.round_limit.usual:
        missing = (_wanted(findings),)
        blocks.append(
            Words(
                "These limits are common practice only. Enter the accuracy wanted "
                "(readings.wanted), or the dimensions of the drawing, and print this plan again.",
                "lack",
            )
        )
    return tuple(blocks), missing


def _rules(findings: Findings, found: Squaring) -> str:
    plus = "The dial reads plus when its plunger is pushed in."
    if not any(check.expected_mm is not None for check in found.checks):
        return plus
    own = either_way(findings, 2.0 * dial_u_mm(findings.cell))
    return f"{plus} Each +- counts in how surely the lines are known, and {own} for the dial."


def _wanted(findings: Findings) -> Missing:
    return Missing(
        "greatest error that the work can bear",
        f"{findings.cell.file}: readings.wanted",
        "the limits of every dial reading follow from it",
        "take a quarter of the tightest tolerance between faces that are cut in different poses",
    )


def _set_up(findings: Findings, found: Squaring) -> tuple[Step, ...]:
    least = min([found.round_limit_mm, *(one.limit_mm for one in found.checks)])
    if findings.units.inch:
        fine = "0.0001 in" if least >= FINE_MM else "0.00005 in"
    else:
        fine = "0.002 mm" if least >= FINE_MM else "0.001 mm"
    steps = [
        Step(
            "bare",
            "Leave the fixture off. Wipe the face of the platter.",
            see="No grit and no burr is felt.",
        ),
        Step(
            "dial",
            f"Put a dial indicator in the spindle. Use one that shows {fine} or finer.",
            see="Push on its holder with a finger: the dial comes back to the same reading.",
        ),
    ]
    if found.diameter_assumed:
        steps.append(
            Step(
                "platter_size",
                "Measure the diameter of the platter.",
                boxes=(Box("platter_diameter", "diameter", findings.units.unit(Kind.LENGTH)),),
                lack="Not known yet: the diameter of the platter (unit.platter_diameter). "
                f"It is taken as {length(findings, 200.0, 1)}.",
            )
        )
    return tuple(steps)


def _round(findings: Findings, found: Squaring) -> list[Block]:
    """Return the runs round the platter: the dial still, then the dial over one mark."""
    first = found.stops[0]
    limit = either_way(findings, found.round_limit_mm)
    radius = short(findings, found.radius_mm)
    unit = findings.units.unit(Kind.LENGTH)
    turns = [stop.turn_rad for stop in found.stops[1:]]
    place = Step(
        "round_set",
        f"Go to {pose(findings, 0.0, 0.0)}. Set the dial down on the platter, {radius} from its "
        f"middle on the {first.name} side.",
        see=f"The plunger moves towards {first.toward} and is clear of every hole.",
    )
    still = Step(
        "round",
        "Set the dial to zero. Turn the platter once round.",
        see=f"Every reading stays within {limit} either way of zero.",
        why=f"{_whence(found.round_limit)} The dial stands still, so this shows the platter face "
        "against its own axis.",
        boxes=tuple(
            Box(f"round_{angle(turn)}", f"at {pose(findings, 0.0, turn)}", unit)
            for turn in sorted(turns)
        ),
    )
    mend = Step(
        "round_mend",
        "If it goes up and down once in a turn, clean the seat of the platter and look for burrs.",
        see="Still more: no setting mends it. Show the readings to the maker of the unit.",
    )
    rows = [Row(first, "level", True)]
    rows += [Row(run.end, "level", False, run) for run in found.level]
    level = Step(
        "level",
        f"Go back to {pose(findings, 0.0, 0.0)}. Mark the spot under the dial. Set it to zero.",
        see="Bring mark and dial together to each place of the table. Write down each reading.",
        why="The mark goes along, so the platter face cancels: this shows the axis itself.",
    )
    return [
        Steps((place, still, mend, level)),
        readings_grid(
            findings, found, "level", "Level at four places, the mark under the dial", rows
        ),
    ]


def _along(findings: Findings, found: Squaring) -> list[Block]:
    """Return the runs along the tilt line, what they show and how it is mended."""
    tram = found.check("tram")
    blocks: list[Block] = []
    steps: list[Step] = []
    if tram is None:
        steps.append(
            Step(
                "tram",
                "Make the tilt line parallel to the table by its keys.",
                lack="The tilt range (unit.tilt_range) is too small for a run along the tilt "
                "line. Take more readings of the lines instead.",
            )
        )
    else:
        runs = list((found.check("rise") or tram).runs)
        run_words = Step(
            "runs",
            "Do the runs of the table one by one. Set the dial to zero at the start of each run.",
            see=f"Each run goes {short(findings, runs[0].length_mm)} along "
            f"{_along_letter(found)}"
            + (
                ". Lift the plunger over the holes, and set both ends clear of them."
                if found.over_holes
                else ", clear of holes."
            ),
        )
        rows = []
        for number, run in enumerate(runs, start=1):
            rows += [
                Row(run.start, f"run {number}", True),
                Row(run.end, f"run {number}", False, run),
            ]
        blocks += [
            Steps((run_words,)),
            readings_grid(
                findings, found, "runs", "Runs along the tilt line over the platter face", rows
            ),
        ]
        steps += _tram(findings, found, tram)
    rise = found.check("rise")
    if rise is not None:
        steps += _rise(findings, found, rise, "(run 1 + run 2) / 2 - run 3")
    steps.append(bolts_tight(findings))
    steps.append(
        Step(
            "tram_again",
            "Do the runs again with the bolts tight.",
            see="The figures are still within their limits.",
            why="Bolts pull a unit round as they are tightened.",
            boxes=(Box("tram_tight", "tram, bolts tight", findings.units.unit(Kind.LENGTH)),),
        )
    )
    across, along = found.check("lean_across"), found.check("lean_along")
    assert across is not None and along is not None
    steps.append(_across(findings, found, across))
    steps.append(_own(findings, along))
    for one in found.checks:
        if one.name.startswith("upright"):
            steps += _upright(findings, found, one)
    blocks.append(Steps(tuple(steps)))
    return blocks


def _tram(findings: Findings, found: Squaring, tram: DialCheck) -> list[Step]:
    sums = "run 1 - run 2" if found.one_way else "(run 1 - run 2) / 2"
    together = (
        " The unit tilts one way only: the figure holds tram and rise of the tilt line together."
        if found.one_way
        else ""
    )
    return [
        Step(
            "tram",
            f"Work out the tram: {sums}.",
            see=_expect(findings, tram),
            why=_whence(tram.limit) + " No offset mends it: it turns the work itself." + together,
            boxes=(Box("tram", "tram", findings.units.unit(Kind.LENGTH)),),
        ),
        _knock(found, tram, "tram_mend"),
    ]


def _again(found: Squaring) -> str:
    return "Do the runs again" if found.check("tram") else "Read the four places again"


def _knock(found: Squaring, check: DialCheck, name: str) -> Step:
    end = np.asarray(found.frame.along)
    # Counter-clockwise from above the end of the line goes towards z x line.
    counter = np.cross([0.0, 0.0, 1.0], end) * math.copysign(1.0, check.mm_per_rad)
    return Step(
        name,
        f"If it is out of limit, knock the {side_name(end)} end of the unit with a soft hammer: "
        f"plus towards {side_name(-counter)}, minus towards {side_name(counter)}.",
        see=f"{_again(found)} until it is within its limit.",
    )


def _rise(findings: Findings, found: Squaring, rise: DialCheck, sums: str) -> list[Step]:
    end = np.asarray(found.frame.along)
    low = end * math.copysign(1.0, rise.mm_per_rad)  # pitch plus: the plus end stands low
    factor = _shim_factor(findings, found, rise)
    return [
        Step(
            "rise",
            f"Work out the rise of the line: {sums}.",
            see=_expect(findings, rise),
            why=_whence(rise.limit) + " No offset mends it.",
            boxes=(Box("rise", "rise", findings.units.unit(Kind.LENGTH)),),
        ),
        Step(
            "rise_mend",
            f"If it is out of limit, put shims under the foot: plus under the {side_name(low)} "
            f"end, minus under the {side_name(-low)} end.",
            see=factor,
        ),
    ]


def _shim_factor(findings: Findings, found: Squaring, rise: DialCheck) -> str:
    """Return how thick the shim is, from the distance of the lugs along the line."""
    columns = [one.value for one in findings.cell.unit.lug_columns]
    base = max(columns) - min(columns) if columns else 0.0
    if base < SHIM_LEAST_MM:
        return f"{_again(found)} until it is within its limit."
    return f"Shim the lugs by {base / abs(rise.mm_per_rad):.1f} times the figure. {_again(found)}."


def _across(findings: Findings, found: Squaring, across: DialCheck) -> Step:
    step = 2.54e-3 if findings.units.inch else 0.01
    turn = -step / across.mm_per_tilt
    letter = findings.senses.tilt_letter
    return Step(
        "lean_across",
        f"Work out the lean across: dial at {across.runs[0].end.name} less dial at "
        f"{across.runs[0].start.name}, from the table of levels.",
        see=_expect(findings, across),
        why=_whence(across.limit)
        + f" It is the zero of the tilt: for each {length(findings, step)} plus, level is at "
        f"{letter}{math.degrees(turn):+.4f}. Set the zero of the tilt there as its manual says.",
        boxes=(Box("lean_across", "lean across", findings.units.unit(Kind.LENGTH)),),
    )


def _own(findings: Findings, along: DialCheck) -> Step:
    return Step(
        "lean_along",
        f"Work out the lean along: dial at {along.runs[0].end.name} less dial at "
        f"{along.runs[0].start.name}.",
        see=_expect(findings, along),
        why=_whence(along.limit)
        + " What is left with the rise in its limit is the unit's own: show it to its maker.",
        boxes=(Box("lean_along", "lean along", findings.units.unit(Kind.LENGTH)),),
    )


def _upright(findings: Findings, found: Squaring, one: DialCheck) -> tuple[Step, Step]:
    run = one.runs[0]
    at = found.at(run.start)
    where = "at the height of the tilt line" if at is None else f"at {_place(findings, run, at)}"
    step = 2.54e-3 if findings.units.inch else 0.01
    off = math.degrees(step / abs(one.mm_per_rad))
    name = f"upright_{'plus' if one.name.endswith('+') else 'minus'}"
    now = ""
    if one.expected_mm is not None and one.plus_minus_mm is not None:
        now = (
            " As the readings of the lines have it, it still shows "
            f"{sure(findings, one.expected_mm, one.plus_minus_mm)}."
        )
    return (
        Step(
            f"{name}_set",
            f"Go to {pose(findings, run.start.tilt_rad, 0.0)}. Set the dial on the platter "
            f"{where}. Set it to zero.",
            see=f"The plunger moves towards {run.start.toward}.",
        ),
        Step(
            name,
            f"Go up by {short(findings, run.length_mm)}.",
            see="With the zero of the tilt right, expect zero. The limit is "
            f"{either_way(findings, one.limit_mm)} either way.{_repeat(findings, one)}{now}",
            why=f"{_whence(one.limit)} {length(findings, step)} here is {off:.4f} deg that the "
            "tilt goes wrong on its way from zero.",
            boxes=(Box(name, "dial at the top", findings.units.unit(Kind.LENGTH)),),
        ),
    )


def _single(findings: Findings, found: Squaring) -> list[Block]:
    """Return what the level table shows of a unit with one rotary axis lying on the table."""
    tram, rise = found.check("lean_along"), found.check("lean_across")
    assert tram is not None and rise is not None
    unit = findings.units.unit(Kind.LENGTH)
    steps = [
        Step(
            "tram",
            f"Work out the tram: dial at {tram.runs[0].end.name} less dial at "
            f"{tram.runs[0].start.name}.",
            see=_expect(findings, tram),
            why=_whence(tram.limit) + " No offset mends it: it turns the work itself.",
            boxes=(Box("tram", "tram", unit),),
        ),
        _knock(found, tram, "tram_mend"),
        *_rise(
            findings,
            found,
            rise,
            f"dial at {rise.runs[0].end.name} less dial at {rise.runs[0].start.name}",
        ),
        bolts_tight(findings),
        Step(
            "tram_again",
            "Read the four places again with the bolts tight.",
            see="The figures are still within their limits.",
            why="Bolts pull a unit round as they are tightened.",
            boxes=(Box("tram_tight", "tram, bolts tight", unit),),
        ),
    ]
    return [Steps(tuple(steps))]


def _expect(findings: Findings, check: DialCheck) -> str:
    limit = either_way(findings, check.limit_mm)
    kept = f"The limit is {limit} either way.{_repeat(findings, check)}"
    if check.expected_mm is None or check.plus_minus_mm is None:
        return f"Expect zero. {kept}"
    told = (
        f"By the readings of the lines it must show "
        f"{sure(findings, check.expected_mm, check.plus_minus_mm)}. {kept}"
    )
    if abs(check.expected_mm) - check.plus_minus_mm > check.limit_mm:
        return told + " So it is out of limit: mend it."
    if abs(check.expected_mm) + check.plus_minus_mm > check.limit_mm:
        return told + " So it may be out of limit."
    return told


def _repeat(findings: Findings, check: DialCheck) -> str:
    """Return how often a figure is read where one reading of the dial is not good enough."""
    own = 2.0 * dial_u_mm(findings.cell) * math.sqrt(sum(2.0 * w**2 for w in check.weights))
    if own <= check.limit_mm:
        return ""
    times = min(math.ceil((own / check.limit_mm) ** 2 - 1e-9), MOST_TIMES)
    return (
        f" One reading is good to {either_way(findings, own)} only: read {times} times and take "
        "the mean."
    )


def _whence(limit: AngleLimit) -> str:
    return f"The limit is {limit.words}."


def _along_letter(found: Squaring) -> str:
    return side_name(np.asarray(found.frame.along))[0]


def _place(findings: Findings, run: Dial, at: NDArray[np.float64]) -> str:
    into = "XYZ".index(run.start.toward[0])
    digits = 2 if findings.units.inch else 1
    return " ".join(
        f"{'XYZ'[k]}{findings.units.shown(Kind.LENGTH, float(at[k])):.{digits}f}"
        for k in range(3)
        if k != into
    )
