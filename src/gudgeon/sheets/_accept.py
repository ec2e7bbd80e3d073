"""Commissioning: what to accept before production begins, with boxes to sign."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from gudgeon.answer import Answer, Figure, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.first_part import FirstSize, first_part
from gudgeon.findings.piece_measured import piece_measured
from gudgeon.quantity.kinds import Kind
from gudgeon.questions import find_questions
from gudgeon.sheets._said import listed
from gudgeon.sheets._tables import number_text
from gudgeon.sheets.known import Known
from gudgeon.sheets.shape import Block, Box, Grid, Head, Heading, Step, Steps, Words

__all__ = ["accept"]

ASKED: Final = (
    ("axes", "letters and signs of the axes"),
    ("holds", "strong enough, loaded as planned"),
    ("travels", "safe travel"),
    ("changes", "places for a tool change"),
    ("turns", "axis lines"),
    ("offsets", "work offsets"),
    ("accurate", "accuracy of the part"),
)
"""Questions whose answers are accepted, in the order of the plan."""

_Lack = Callable[[str, tuple[Missing, ...]], None]

LABELS: Final = {
    "contradictions": "jogs that speak against the signs entered",
    "tilt_torque": "greatest torque of the load about the tilt line, at any step of loading",
    "tilt_share": "the same as a share of what the tilt drive is good for",
    "tilt_torque_full": "torque about the tilt line, fully loaded",
    "tilt_torque_any_order": "the same, in any order of loading",
    "rotary_torque": "greatest torque of the load about the rotary line, tilted",
    "rotary_torque_any_order": "the same, in any order of loading",
    "brake_at_rest": "torque of the load alone on the tilt brake",
    "platter_load_upright": "load on the platter, tilted to 90 deg",
    "worst_uncertainty": "least sure coordinate, plus or minus",
}
"""Shorter words for some figures, by their names."""

FORCES: Final = frozenset({"N", "lbf"})
"""Units whose figures are shown without decimals."""

SIGN: Final = (
    Head("seen", "seen", blank=True),
    Head("date", "date", blank=True),
    Head("initials", "signed", blank=True),
)


def accept(known: Known) -> tuple[tuple[Block, ...], tuple[Missing, ...]]:
    """Return what has to be accepted, and what cannot be yet."""
    findings = known.findings
    missing: dict[str, Missing] = {}
    lacks: list[Block] = []
    verdicts: list[tuple[str, ...]] = []
    figures: list[tuple[str, ...]] = []

    def lack(what: str, items: tuple[Missing, ...]) -> None:
        first = items[0]  # the others are told with the answer itself
        missing.setdefault(first.where, first)
        lacks.append(
            Words(
                f"Cannot accept yet: {what}. First find out: {first.what} ({first.where}).", "lack"
            )
        )

    for name, words in ASKED:
        answer = known.answer(name)
        if answer.verdict is Verdict.CANNOT_TELL:
            lack(words, answer.missing)
            continue
        if answer.verdict is Verdict.NO:
            lacks.append(_refused(name, answer))
        verdicts.append((words, answer.verdict.words.removesuffix(" ..."), _do(answer), "", "", ""))
        figures += [_row(words, one) for one in answer.figures if one.limit is not None]
    moved = known.answer("drifted")
    if moved.verdict is Verdict.NO:
        lacks.append(_refused("drifted", moved))
    verdicts += _programs(known, lacks)
    verdicts.append(_piece(findings, lack, lacks))
    verdicts += _checks(findings, lack)
    blocks: list[Block] = [
        Heading("What to accept before you make parts"),
        Words("No part is made for a customer before every line is signed.", "why"),
        *lacks,
        _verdict_grid(verdicts),
    ]
    if figures:
        blocks.append(_figure_grid(figures))
    blocks += _first_part(findings, lack)
    blocks.append(Steps((_signed(lacks),)))
    return tuple(blocks), tuple(missing.values())


def _refused(name: str, answer: Answer) -> Words:
    """Return that the answer to a question is not Yes, and what to do."""
    asks = find_questions()[name].ASKS
    verdict = answer.verdict.words
    return Words(
        f"Do not accept yet. {asks} The answer is {verdict}: see its page. {answer.next_step}",
        "lack",
    )


def _do(answer: Answer) -> str:
    """Return what the answer asks to be done or kept."""
    if answer.verdict is Verdict.YES:
        return "Nothing more to do."
    return answer.next_step


def _verdict_grid(rows: list[tuple[str, ...]]) -> Grid:
    heads = (Head("what", "what"), Head("answer", "answer"), Head("keep", "keep to this"), *SIGN)
    return Grid("accept_answers", "Answers for this cell", heads, tuple(rows))


def _row(words: str, one: Figure) -> tuple[str, ...]:
    value = "-" if one.value is None else _number(one.value, one.unit)
    sure = "-" if one.plus_minus is None else _number(one.plus_minus, one.unit)
    if sure != "-" and float(sure) == 0.0:
        sure = "-"
    assert one.limit is not None
    bound = "at most" if one.limit_kind == "max" else "at least"
    limit = f"{bound} {_number(one.limit, one.unit)}"
    return (
        words,
        LABELS.get(one.name, one.label),
        value,
        sure,
        limit,
        one.unit or "-",
        _kept(one),
        "",
    )


def _number(value: float, unit: str) -> str:
    """Return a number; of shares more digits, for they are judged near 100 %."""
    if unit == "%":
        return f"{round(value, 2) + 0.0:g}"
    return f"{value:.0f}" if unit in FORCES else number_text(value, unit)


def _kept(one: Figure) -> str:
    """Return whether a figure keeps its limit, its +- counted in."""
    if one.value is None or one.limit is None:
        return "-"
    over = one.value - one.limit if one.limit_kind == "max" else one.limit - one.value
    sure = one.plus_minus or 0.0
    slack = 1e-9 * max(abs(one.limit), 1.0)
    if over > sure + slack:
        return "not yet"
    return "yes" if over <= -sure + slack else "not sure"


def _figure_grid(rows: list[tuple[str, ...]]) -> Grid:
    heads = (
        Head("about", "about"),
        Head("figure", "figure"),
        Head("value", "worked out"),
        Head("plus_minus", "+-"),
        Head("limit", "limit"),
        Head("unit", "unit"),
        Head("kept", "kept"),
        SIGN[0],
    )
    return Grid("accept_figures", "Every figure that has a limit", heads, tuple(rows))


def _programs(known: Known, lacks: list[Block]) -> list[tuple[str, ...]]:
    """Return a line for each program: judged where it was handed in, else to be asked."""
    findings = known.findings
    rows: list[tuple[str, ...]] = []
    if findings.programs:
        answer = known.answer("clears")
        names = ", ".join(one.name for one in findings.programs)
        if answer.verdict not in (Verdict.YES, Verdict.YES_IF):
            lacks.append(_refused("clears", answer))
        verdict = answer.verdict.words.removesuffix(" ...")
        return [(f"program {names}", verdict, _do(answer), "", "", "")]
    for program in findings.cell.programs:
        if program.file:
            order = f'Ask "clears" for {program.file}: its answer must be Yes.'
            rows.append((f"program {program.file}", "-", order, "", "", ""))
    return rows


def _piece(findings: Findings, lack: _Lack, lacks: list[Block]) -> tuple[str, ...]:
    """Return the line of the test piece; what its figures tell where they are entered."""
    answer = "-"
    try:
        _ = findings.test_piece
        measured = piece_measured(findings)
    except Lacking as lacking:
        lack("the test piece", lacking.missing)
        measured = None
    if measured is not None and measured.good:
        answer = "Yes"
    elif measured is not None and measured.outside:
        answer = "No"
        names = listed([figure.name for figure in measured.outside])
        lacks.append(
            Words(
                f"Do not accept yet: the test piece. Outside their limits: {names}. See above what "
                "they say.",
                "lack",
            )
        )
    return ("test piece", answer, "All figures are within their limits.", "", "", "")


def _checks(findings: Findings, lack: _Lack) -> list[tuple[str, ...]]:
    """Return a line for each check of the morning."""
    if findings.checks_suggested:
        lack(
            "the daily check",
            (
                Missing(
                    "a check to take each morning",
                    f"{findings.cell.file}: checks",
                    "without it nobody sees that something has moved",
                    "fix a ball on the platter, and add a [[checks]] table with its name, feature "
                    "and pose",
                ),
            ),
        )
        return []
    return [
        (
            f"check {one.name}",
            "-",
            "Read it as on the daily check card, on two mornings. It keeps its limits."
            if one.source != "none"
            else "Read it on the first morning, and write it down: later mornings count from it.",
            "",
            "",
            "",
        )
        for one in findings.morning_checks
    ]


def _first_part(findings: Findings, lack: _Lack) -> list[Block]:
    """Return the first good part: each toleranced dimension, and how far it may be off."""
    blocks: list[Block] = [Heading("The first good part")]
    try:
        sizes = first_part(findings)
    except Lacking as lacking:
        first = lacking.missing[0]
        what = f"Its sizes cannot be told yet. First find out: {first.what} ({first.where})."
        return [*blocks, Words(what, "lack")]
    if not sizes:
        lack(
            "the first part",
            (
                Missing(
                    "dimensions of the drawing with their tolerances",
                    f"{findings.cell.file}: dimensions",
                    "without them nobody knows what a good part is",
                    "enter each under [[dimensions]] with feature, measured_from and tolerance",
                ),
            ),
        )
        return [
            *blocks,
            Words("No dimension of the drawing is entered. Measure what the drawing asks for."),
        ]
    heads = (
        Head("size", "dimension"),
        Head("part", "part"),
        Head("station", "station"),
        Head("nominal", "drawing"),
        Head("tolerance", "may be off by"),
        Head("first", "first part may be off by"),
        Head("measured", "measured", blank=True),
        *SIGN[1:],
    )
    rows = tuple(_size_row(findings, one) for one in sizes)
    blocks += [
        Steps(
            (
                Step(
                    "first_part",
                    "Cut one part at the station named in each line. Measure it, and write it "
                    "down.",
                    see="Each dimension is off by no more than the first part may be.",
                    why="Parts come out different by chance. The first leaves room for later ones.",
                ),
            )
        ),
        Grid("accept_first_part", "The first part, dimension by dimension", heads, rows),
    ]
    short = [one.found.name for one in sizes if not one.possible]
    for name in short:
        blocks.append(
            Words(
                f"One part cannot show that {name} is right: parts come out too different for "
                "that. Look for the cure on the page on accuracy before you begin.",
                "lack",
            )
        )
    return blocks


def _size_row(findings: Findings, one: FirstSize) -> tuple[str, ...]:
    dimension, entry = one.found.outcome.dimension, one.found.entry
    kind = Kind.ANGLE if dimension.kind == "angle" else Kind.LENGTH
    nominal = "-"
    if entry is not None and entry.nominal is not None:
        nominal = findings.units.text(kind, entry.nominal.value)
    first = _range(findings, kind, one.low, one.high, dimension.directions == 2)
    return (
        one.found.name,
        one.found.part or "-",
        one.found.station,
        nominal,
        _range(findings, kind, dimension.low, dimension.high, dimension.directions == 2),
        first if one.possible else "no room",
        "",
        "",
        "",
    )


def _range(findings: Findings, kind: Kind, low: float, high: float, round_: bool) -> str:
    """Return a range of errors; rounded so that nobody may go further."""
    units = findings.units
    places = 4 if kind is Kind.ANGLE else None
    top = units.text(kind, high, places, sign=True, limit="max") if math.isfinite(high) else ""
    if round_:
        return f"within {top.removeprefix('+')} all round"
    bottom = units.text(kind, low, places, sign=True, limit="min") if math.isfinite(low) else ""
    if top.lstrip("+") == bottom.lstrip("-") and bottom.startswith("-"):
        return f"+-{top.lstrip('+')}"
    if not bottom:
        return f"up to {top}"
    if not top:
        return f"no less than {bottom}"
    return f"{bottom.split()[0]} to {top}"


def _signed(lacks: list[Block]) -> Step:
    """Return the last step of the plan."""
    return Step(
        "accepted",
        "Sign here when every line above is signed."
        if not lacks
        else "Do not make parts yet: some lines cannot be accepted. Settle them, and print this "
        "plan again.",
        boxes=(
            Box("accepted_date", "date"),
            Box("accepted_by", "accepted by"),
        )
        if not lacks
        else (),
    )
