"""After-a-bump card: stop, make safe, look, read the checks, tell what moved, start again."""

from __future__ import annotations

from typing import Final

from gudgeon.cell.model import Bolts
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.morning import MorningCheck
from gudgeon.quantity.kinds import Kind
from gudgeon.sheets._dangers import (
    MANUALS,
    PROBE,
    clamped_parts,
    pressure_words,
    swing_words,
)
from gudgeon.sheets._moved import PARTS, moved_text, part_words, when_text
from gudgeon.sheets._stale import stale_rows
from gudgeon.sheets._tables import Gaps, known
from gudgeon.sheets.known import Known
from gudgeon.sheets.morning import day_heads, day_rows, range_words, reading_order
from gudgeon.sheets.shape import (
    Block,
    Box,
    Cautions,
    Grid,
    Head,
    Heading,
    Sheet,
    Step,
    Steps,
    Words,
)

__all__ = ["NAME", "PLACE", "TITLE", "sheet"]

NAME: Final = "bump"
TITLE: Final = "After-a-bump card"
PLACE: Final = 330

ALONG: Final = {
    "unit": "X, Y, Z",
    "rotary line": "X, Y, Z",
    "seat": "X, Y, Z",
    "tilt line": "sideways, up",
    "tilt zero": "turned",
    "rotary zero": "turned",
}
"""The ways in which each part may move, in the order of the findings; both angles zero."""


def sheet(known_facts: Known) -> Sheet:
    """Return the after-a-bump card."""
    findings, gaps = known_facts.findings, Gaps()
    checks = _telling_first(findings)
    blocks: list[Block] = [Cautions(_cautions(findings)), *_known_now(findings)]
    blocks += [Heading("At once"), Steps(_at_once(findings))]
    blocks += [Heading("Make it safe"), Steps(_make_safe(findings))]
    blocks += [Heading("Look, in this order"), Steps(_look(findings))]
    blocks += [Heading("Read the checks"), Steps(_read(findings, checks))]
    blocks.append(
        Grid(
            "days",
            "Write each reading here, as on the daily check card",
            day_heads(findings),
            day_rows(checks, 2),
        )
    )
    blocks += [Heading("What has moved"), *_signs(findings, gaps)]
    blocks += [Heading("Do again"), *_again(findings, gaps)]
    blocks += [Heading("Start again"), Steps(_start())]
    return Sheet(
        NAME,
        TITLE,
        "Hangs at the machine. Use it when something has hit, or when a check stays outside.",
        tuple(blocks),
        tuple(gaps.missing),
    )


def _cautions(findings: Findings) -> tuple[str, ...]:
    told = [MANUALS]
    told += [text for text in (swing_words(findings), pressure_words(findings.cell)) if text]
    return (*told, PROBE)


def _known_now(findings: Findings) -> list[Block]:
    """Return what the checks that were kept say already."""
    judged = known(lambda: findings.drift)
    if judged is None or not judged.outstanding:
        return []
    newest = judged.outstanding[-1]
    return [
        Words(
            f"The checks tell already that something moved, {when_text(judged, newest)}: "
            f"{moved_text(findings, newest)}. It may be {part_words(newest)}."
        )
    ]


def _at_once(findings: Findings) -> tuple[Step, ...]:
    letters = [letter.strip() for letter in findings.pose_letters]
    turning = letters if findings.has_tilt else letters[1:]
    unit = findings.units.unit(Kind.LENGTH)
    return (
        Step(
            "stop",
            "Push the emergency stop. Leave everything as it stands.",
        ),
        Step("hurt", "See if somebody is hurt. If so, get help first."),
        Step(
            "call",
            "Call the person in charge.",
            boxes=(Box("who", "who found it"), Box("date", "date"), Box("time", "time")),
        ),
        Step(
            "screen",
            "Write down what the screen shows before you move anything.",
            why="The place and the block tell what hit what, and how hard.",
            boxes=(
                Box("program", "program"),
                Box("block", "block"),
                Box("tool", "tool"),
                *(Box(f"at_{letter.lower()}", letter, unit) for letter in "XYZ"),
                *(
                    Box(f"at_{letter.lower().replace(' ', '_')}", letter, "deg")
                    for letter in turning
                ),
            ),
        ),
    )


def _make_safe(findings: Findings) -> tuple[Step, ...]:
    steps = []
    part = "cradle" if findings.has_tilt else "platter"
    if swing_words(findings):
        steps.append(
            Step(
                "block",
                f"Block the {part} so that it cannot swing.",
                see=f"The block touches the {part} on the side to which the load pulls.",
                boxes=(Box("blocked", "blocked", form="tick"),),
            )
        )
    if pressure_words(findings.cell):
        steps.append(
            Step(
                "pressure",
                "Have the pressure let off by a person licensed for it.",
                see="The gauge shows nought.",
                boxes=(Box("no_pressure", "pressure off", form="tick"),),
            )
        )
    steps.append(
        Step(
            "free",
            "Move the tool free: Z up alone, in small slow steps. Do not turn the unit.",
            see="Nothing hangs on the tool, and nothing drags.",
        )
    )
    return tuple(steps)


def _look(findings: Findings) -> tuple[Step, ...]:
    cell = findings.cell
    steps = [
        Step(
            "tool",
            "Take the tool out. Look at cutter, holder and spindle for new marks.",
            see="No mark. With one: put the tool aside and tell the person in charge.",
            boxes=(Box("tool_sound", "no mark", form="tick"),),
        )
    ]
    if clamped_parts(cell):
        steps.append(
            Step(
                "parts",
                "Pull at each part by hand, one station after the other.",
                see="No part moves, and no clamp is open.",
                boxes=(Box("parts_tight", "all tight", form="tick"),),
            )
        )
    steps.append(_bolt_step(findings, "fixture", "the fixture", cell.fixture.bolts))
    steps.append(_bolt_step(findings, "unit", "the unit", cell.placement.bolts))
    hoses = [hose.name or f"hose {k}" for k, hose in enumerate(cell.unit.hoses, start=1)]
    if hoses:
        steps.append(
            Step(
                "hoses",
                f"Look along each hose and cable, end to end: {', '.join(hoses)}.",
                see="No cut, no sharp bend, and no pull at either end.",
                boxes=(Box("hoses_sound", "all sound", form="tick"),),
            )
        )
    return tuple(steps)


def _bolt_step(findings: Findings, name: str, what: str, bolts: Bolts) -> Step:
    count = f"each of the {bolts.count} bolts" if bolts.count else "each bolt"
    box = (Box(f"{name}_bolts", "none turned", form="tick"),)
    if bolts.torque is None:
        return Step(
            f"{name}_bolts",
            f"Pull {count} of {what} with a wrench and little force.",
            see="No bolt turns.",
            boxes=box,
            lack=f"The torque for these bolts is not known. Enter torque under [{_table(name)}].",
        )
    torque = findings.units.text(Kind.TORQUE, bolts.torque.value, 0)
    return Step(
        f"{name}_bolts",
        f"Set the torque wrench to {torque}. Pull {count} of {what} once.",
        see="No bolt turns before the wrench clicks. One that turns tells what has moved.",
        boxes=box,
    )


def _table(name: str) -> str:
    return "fixture.bolts" if name == "fixture" else "placement.bolts"


# --- the checks -------------------------------------------------------------------------------


def _telling_first(findings: Findings) -> tuple[MorningCheck, ...]:
    """Return the checks, those in the most telling poses first."""
    poses = known(lambda: findings.telling_poses) or ()

    def place(check: MorningCheck) -> int:
        pose = check.pose_rad or (0.0, 0.0)
        near = [
            k
            for k, one in enumerate(poses)
            if all(abs(a - b) < 1e-6 for a, b in zip(one, pose, strict=True))
        ]
        return near[0] if near else len(poses)

    return tuple(sorted(findings.morning_checks, key=place))


def _read(findings: Findings, checks: tuple[MorningCheck, ...]) -> tuple[Step, ...]:
    steps = [
        Step(
            "probe",
            "Look at the probe first: no bent tip, no loose screw. Read its own ring or ball if "
            "there is one.",
            why="A loose tip looks like a moved unit.",
        )
    ]
    for number, check in enumerate(checks, start=1):
        steps.append(
            Step(
                f"check_{number}",
                reading_order(findings, check),
                see=range_words(findings, check),
                lack=""
                if check.source != "none"
                else "The number to expect is not known yet. Compare with older readings.",
            )
        )
    steps.append(
        Step(
            "judge",
            "If all lie inside, read all of them once more.",
            see="Inside twice: nothing moved that the checks can feel. Go on at the last heading.",
        )
    )
    return tuple(steps)


# --- what moved -------------------------------------------------------------------------------


def _signs(findings: Findings, gaps: Gaps) -> list[Block]:
    """Return the table that tells the parts apart."""
    try:
        signs = findings.moved_signs
    except Lacking as lacking:
        return [gaps.words("What has moved", lacking.missing)]
    places = {check.name: k for k, check in enumerate(findings.morning_checks)}
    checks = _telling_first(findings)
    heads = (
        Head("part", "if this has moved"),
        Head("along", "along"),
        *(
            Head(f"check_{k}", f"{check.name or 'the check'} moves along")
            for k, check in enumerate(checks, start=1)
        ),
    )
    rows = []
    for sign in signs:
        shown = []
        for check in checks:
            ways = sign.shows[places[check.name]]
            shown.append("stays" if set(ways) == {"stays"} else ", ".join(ways))
        rows.append((PARTS[sign.name], ALONG[sign.name], *shown))
    blocks: list[Block] = [
        Words(
            "Take the number to expect from each reading. What is left is the move. Find the row "
            "that fits the moves of all checks: that part has moved."
        ),
        Grid("signs", "What each part does to the checks", heads, tuple(rows)),
        Words(
            'The first move in a row goes with the first way under "along", and so on. A minus '
            "before a letter means the other way."
        ),
    ]
    alike = _alike(findings)
    if alike:
        blocks.append(Words(f"These look alike to the checks, so look at all of them: {alike}."))
    return blocks


def _alike(findings: Findings) -> str:
    """Return parts whose moves show alike in every check."""
    seen: dict[tuple[tuple[str, ...], ...], list[str]] = {}
    for sign in findings.moved_signs:
        seen.setdefault(sign.shows, []).append(PARTS[sign.name])
    return "; ".join(" and ".join(names) for names in seen.values() if len(names) > 1)


# --- afterwards -------------------------------------------------------------------------------


def _again(findings: Findings, gaps: Gaps) -> list[Block]:
    blocks: list[Block] = []
    found = known(lambda: findings.offsets)
    if found is None:
        blocks.append(
            Words("Which offsets go stale is told here once the work offsets are known.", "lack")
        )
    else:
        rows = tuple(
            (row.what, row.then, row.stale)
            for row in stale_rows(findings, found)
            if row.name != "tool"
        )
        heads = (
            Head("part", "if this has moved"),
            Head("do", "do this"),
            Head("stale", "then enter these offsets again"),
        )
        blocks.append(Grid("again", "What to do again", heads, rows))
    blocks.append(
        Steps(
            (
                Step(
                    "keep",
                    f"Keep each row of readings with gudgeon day {findings.cell.file}. Then ask "
                    f"gudgeon ask drifted {findings.cell.file}.",
                    see="It tells what moved, when, and which parts are suspect.",
                ),
                Step(
                    "apart",
                    "Put the parts made since the last good morning aside. Take the quarantine "
                    "list.",
                ),
                Step(
                    "dry",
                    "Run the program once with the tool high over the part, slow rapid, a hand on "
                    "the stop.",
                    see="Each move goes where you expect it.",
                    boxes=(Box("dry_run", "done", form="tick"),),
                ),
                Step(
                    "first_part",
                    "Cut one part and measure it, face by face.",
                    boxes=(Box("first_part", "part number"),),
                ),
                Step(
                    "corrected",
                    "Write the day under corrected in [drift] of the cell file.",
                    why="The checks are judged again from that day on.",
                ),
            )
        )
    )
    return blocks


def _start() -> tuple[Step, ...]:
    return (
        Step(
            "released",
            "Start again only when the person whom your shop names for it has signed here.",
            boxes=(
                Box("released_by", "name"),
                Box("released_date", "date"),
                Box("released_time", "time"),
            ),
        ),
    )
