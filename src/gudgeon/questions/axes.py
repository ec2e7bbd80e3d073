"""Which letter and sign is each axis?

What it answers
---------------
Which letter of the control turns which axis of the unit, and which way the work turns for a plus
command: from what the cell declares, from one small jog of each axis that was watched, and whether
the two agree.  It says what comes up at the usual poses, what an old program would do here, and
gives a short test program that shows all of it on the machine: proven clear whichever way each axis
turns.  Where it cannot be proven the same is told as steps by hand.

Why it matters
--------------
A wrong letter or sign is not a small error.  The part faces the other way, the tool comes down
where the program thinks there is air, and everything counted from the axis lines is mirrored.

When it can mislead
-------------------
By ISO 841 plus is the motion of the TOOL as seen from the work, so a table that carries the work
turns the other way; who watches the table and expects plus to look right-handed reads every sign
backwards.  A declared sense that nobody has watched is only as good as the paper it came from.  A
parameter changed in the control turns the sign without a word in this file.

Sources
-------
ISO 841:2001 (coordinate system and motion nomenclature); T. R. Kramer et al., NISTIR 6556, The NIST
RS274NGC Interpreter Version 3 (2000), 2.1.1.2 and 2.1.2.2; ISO 6983-1 for the words of the test
program; how to jog and watch: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from gudgeon.answer import Answer, Figure, Missing, Verdict
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.senses import AxisEvidence
from gudgeon.kinematics.naming import WORK_CARRYING_SENSE
from gudgeon.questions._axis_tables import (
    axis_map,
    jogs_table,
    old_program,
    sketch,
    test_program,
    turn_words,
    what_comes_up,
)
from gudgeon.questions._shared import cannot_tell

__all__ = ["ASKS", "NAME", "PLACE", "answer"]

NAME: Final = "axes"
ASKS: Final = "Which letter and sign is each axis?"
PLACE: Final = 40

_OFF_AXIS_RAD: Final = 0.02
"""Beyond about 1 deg from a machine axis no standard letter fits exactly."""

_SOURCES: Final = (
    "ISO 841:2001: letters and positive motion",
    "NISTIR 6556 (2000), 2.1.1.2 and 2.1.2.2: rotary letters, work-carrying motion",
    "ISO 6983-1 and NISTIR 6556: words of the test program where the cell gives none",
    "Jogging and watching a mark: common practice, no source",
)

_FIRST_MOTION: Final = (
    "First motion: unit empty, hoses and cables free, head and tools clear of the whole swing, "
    "rapid override at its lowest, one hand on the stop.",
    "Nobody reaches into the swing; release clamps and brakes only as the unit's and the machine's "
    "manuals say.",
)
_PARAMETERS: Final = (
    "Parameters of axes and drives belong to the machine's and the unit's manuals and to somebody "
    "licensed for it; save them before changing one."
)


@dataclass(frozen=True, slots=True)
class _Clash:
    """Where a jog and the declaration, or two jogs, contradict each other."""

    what: str
    both_ways: str


def answer(findings: Findings) -> Answer:
    """Answer the question from the findings."""
    try:
        evidence = findings.axis_evidence
    except Lacking as lacking:
        return cannot_tell(NAME, lacking, about="which letter and sign each axis has")
    tables = [axis_map(findings, evidence)]
    if findings.jogs_seen:
        tables.append(jogs_table(findings))
    cautions = list(_FIRST_MOTION)
    assumed = _assumed(findings, evidence)

    clashes = _clashes(findings, evidence)
    if clashes:
        return Answer(
            question=NAME,
            verdict=Verdict.NO,
            headline=f"No. {clashes[0].what}",
            next_step=f"Jog that axis once more to be sure; then {clashes[0].both_ways}",
            figures=_figures(findings, evidence, clashes),
            tables=tuple(tables),
            pictures=(sketch(findings, evidence),),
            flips="If the jog was seen or written down wrongly, the declaration holds.",
            fix=" ".join(f"{clash.what} Mend: {clash.both_ways}" for clash in clashes),
            assumed=assumed,
            cautions=(*cautions, _PARAMETERS),
            sources=_SOURCES,
        )
    missing = _missing(findings, evidence)
    unusable = _unusable(findings)
    if missing:
        missing += unusable
        so_far = Answer(
            question=NAME,
            verdict=Verdict.CANNOT_TELL,
            headline="-",
            next_step="-",
            figures=_figures(findings, evidence, clashes),
            tables=tuple(tables),
            pictures=(sketch(findings, evidence),),
            assumed=assumed,
            missing=missing,
            cautions=tuple(cautions),
            sources=_SOURCES,
        )
        return cannot_tell(
            NAME,
            Lacking(missing),
            about="which letter and sign each axis has",
            so_far=so_far,
        )

    jog_test = findings.jog_test
    if jog_test.refused:
        assumed = (*assumed, f"No test program is offered: {jog_test.refused}.")
    tables += [
        what_comes_up(findings, evidence),
        old_program(findings, evidence),
        test_program(jog_test),
    ]
    odd = _off_standard(evidence)
    seen = [item for item in evidence if item.jogs]
    said = "; ".join(_plain(item) for item in evidence)
    if odd:
        verdict = Verdict.YES_IF
        short = "; ".join(_plain(item, short=True) for item in evidence)
        headline = f"{short}. Right if CAM, post and old programs know: {' and '.join(odd)}."
        fix = (
            "Tell the CAM and its post the letters and senses of the table above, and mark old "
            "programs; changing the axis direction in the control is the other way, and then "
            "every sense in this file changes too."
        )
    else:
        verdict, fix = Verdict.YES, None
        headline = f"{said}, all as ISO 841 has it."
    run = "Run the test program" if jog_test.lines else "Do the test by hand"
    if len(seen) < len(evidence):
        unseen = " and ".join(str(item.letter) for item in evidence if not item.jogs)
        next_step = (
            f"{run} with the unit empty and watch {unseen}: nobody has yet seen the declared sense "
            "on the machine."
        )
    else:
        next_step = f"{run} once with the unit empty, then ask where the axes turn."
    return Answer(
        question=NAME,
        verdict=verdict,
        headline=headline,
        next_step=next_step,
        figures=_figures(findings, evidence, clashes),
        tables=tuple(tables),
        pictures=(sketch(findings, evidence),),
        flips="A mark that moves the other way in the test turns this answer into a no.",
        fix=fix,
        assumed=assumed,
        missing=unusable,
        cautions=(*cautions, *((_PARAMETERS,) if odd else ())),
        sources=_SOURCES,
    )


def _plain(item: AxisEvidence, *, short: bool = False) -> str:
    assert item.sense is not None
    if short:
        return f"{item.letter} is the {item.role}, plus {turn_words(item.along, item.sense)}"
    name = "tilt" if item.role == "tilt" else "rotary axis"
    return (
        f"{item.letter} is the {name} along {item.along}: plus turns the work "
        f"{turn_words(item.along, item.sense)}"
    )


def _clashes(findings: Findings, evidence: tuple[AxisEvidence, ...]) -> list[_Clash]:
    """Return every contradiction, wrong letters before wrong senses."""
    letters, senses = [], []
    for item in evidence:
        jogged = item.letters_jogged
        declared = item.letter_declared
        if declared is not None:
            wrong = [letter for letter in jogged if letter != declared]
            if wrong:
                letters.append(
                    _Clash(
                        f"{wrong[0]} turned the {item.role} axis along {item.along}, but "
                        f"control.{item.role}_letter says {declared}.",
                        f'either write {item.role}_letter = "{wrong[0]}", or assign the letter '
                        f"{declared} to that drive in the control's axis parameters and jog again.",
                    )
                )
        elif len(jogged) > 1:
            letters.append(
                _Clash(
                    f"The jogs say that {' and '.join(jogged)} both turn the {item.role} axis.",
                    "correct the entry under [[control.jogs]] that was written down wrongly, or "
                    "find out whether one drive answers to two letters.",
                )
            )
        shown = item.senses_jogged
        if len(shown) > 1:
            senses.append(
                _Clash(
                    f"Two jogs of {item.letter} show opposite senses.",
                    "jog it once more and correct the entry under [[control.jogs]] that is wrong.",
                )
            )
        elif shown and item.sense_declared is not None and shown[0] != item.sense_declared:
            senses.append(
                _Clash(
                    f"The jog of {item.letter} shows sense {shown[0]:+d}, but "
                    f"control.{item.role}_sense says {item.sense_declared:+d}.",
                    f"either write {item.role}_sense = {shown[0]}, or turn round the axis "
                    f"direction of {item.letter} in the control's parameters and jog again.",
                )
            )
    declared_letters = [item.letter_declared for item in evidence if item.letter_declared]
    if len(set(declared_letters)) < len(declared_letters):
        letters.append(
            _Clash(
                f"Both axes are declared as {declared_letters[0]}.",
                "correct control.tilt_letter or control.rotary_letter.",
            )
        )
    for seen in findings.jogs_seen:
        if seen.turn is not None and seen.role is None:
            letters.append(
                _Clash(
                    f"Jog {seen.index} ({seen.jog.letter}) contradicts the placement: "
                    f"{seen.fault}.",
                    "either correct placement.tilt_along (or yaw), or correct what was watched "
                    "and moved in that jog.",
                )
            )
    return letters + senses


def _missing(findings: Findings, evidence: tuple[AxisEvidence, ...]) -> tuple[Missing, ...]:
    """Return which jogs are still to be done, with exact words."""
    file, missing = findings.cell.file, []
    for item in evidence:
        if item.sense is not None and item.letter is not None:
            continue
        letter = (
            item.letter or f"the letter of the {item.role} axis (usually {item.standard_letter})"
        )
        mark, example = _mark_to_watch(findings, item)
        what = "sense" if item.letter else "letter and sense" if item.sense is None else "letter"
        missing.append(
            Missing(
                f"the jog that shows the {what} of the {item.role} axis",
                f"{file}: control.jogs ({item.role} axis)",
                "a wrong sign turns every face the wrong way, so it is seen, not guessed",
                f"with the unit empty and at zero, everything clear, lowest rapid and a hand on "
                f"the stop, jog {letter} by plus 5 deg; watch a mark {mark}, and enter under "
                f'[[control.jogs]]: letter, by = "5 deg", watched = "{example}", moved = the '
                "machine direction into which the mark went",
            )
        )
    return tuple(missing)


def _unusable(findings: Findings) -> tuple[Missing, ...]:
    """Return the jogs that tell nothing as they are written."""
    file, missing = findings.cell.file, []
    for seen in findings.jogs_seen:
        if seen.turn is None:
            missing.append(
                Missing(
                    f"a usable jog {seen.index}",
                    f"{file}: control.jogs[{seen.index}]",
                    f"as written it tells nothing: {seen.fault}",
                    "write letter, by, watched and moved as seen, or take the entry out",
                )
            )
    return tuple(missing)


def _mark_to_watch(findings: Findings, item: AxisEvidence) -> tuple[str, str]:
    """Return where to put the mark, and how that side is written."""
    if item.role == "tilt" or not findings.has_tilt:
        return "on top of the platter (side Z+ of the axis)", "Z+"
    return "on the right rim of the platter (side X+ of the axis)", "X+"


def _off_standard(evidence: tuple[AxisEvidence, ...]) -> list[str]:
    """Return what differs from ISO 841, as conditions to know."""
    odd = []
    for item in evidence:
        if item.letter != item.standard_letter:
            odd.append(
                f"the {item.role} axis along {item.along} is {item.letter}, not "
                f"{item.standard_letter}"
            )
        if item.sense != WORK_CARRYING_SENSE:
            odd.append(
                f"plus {item.letter} turns the work with the right-hand rule (sense +1), against "
                "ISO 841"
            )
        if item.off_axis_rad > _OFF_AXIS_RAD:
            odd.append(f"the {item.role} axis lies askew to {item.along}")
    return odd


def _figures(
    findings: Findings, evidence: tuple[AxisEvidence, ...], clashes: list[_Clash]
) -> tuple[Figure, ...]:
    figures = []
    for item in evidence:
        origin = "declared and seen" if item.sense_declared and item.jogs else "seen in a jog"
        if not item.jogs:
            origin = "declared, not seen" if item.sense_declared else "neither declared nor seen"
        sense = None if item.disagrees or item.sense is None else float(item.sense)
        figures.append(
            Figure(
                f"{item.role}_sense",
                f"Sense of the {item.role} axis ({item.letter or 'letter unknown'}) about "
                f"{item.along}+",
                sense,
                note=f"{origin}; ISO 841 has {WORK_CARRYING_SENSE} where the axis carries the work",
            )
        )
    figures.append(
        Figure(
            "contradictions",
            "Contradictions between jogs and declaration",
            float(len(clashes)),
            limit=0.0,
            limit_kind="max",
        )
    )
    usable = sum(seen.role is not None for seen in findings.jogs_seen)
    figures.append(Figure("jogs_used", "Jogs that could be used", float(usable)))
    return tuple(figures)


def _assumed(findings: Findings, evidence: tuple[AxisEvidence, ...]) -> tuple[str, ...]:
    told = [text for text in findings.placing_assumed if "unit.kind" in text or "jog" in text]
    if any(item.jogs for item in evidence):
        told.append(
            "Jogs were watched standing in front of the machine, X+ to the right, Y+ away, Z+ up, "
            "with the unit at tilt zero."
        )
    for item in evidence:
        if not item.jogs and item.sense is not None:
            told.append(f"The sense of {item.letter} is as declared; nobody reported a jog of it.")
    return tuple(told)
