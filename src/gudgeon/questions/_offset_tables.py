"""Tables and picture of the question "offsets"."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Column, Picture, Table
from gudgeon.drawing.plan import Plan
from gudgeon.findings import Findings
from gudgeon.findings.offsets import OffsetsFinding, ZeroFound
from gudgeon.findings.stale import STEP_MM, STEP_RAD
from gudgeon.kinematics.chain import WorkChain
from gudgeon.quantity.kinds import Kind

__all__ = [
    "letters_of",
    "offsets_table",
    "picture",
    "poses_table",
    "reach_table",
    "stale_table",
    "tools_off",
]

LEAST_PLAN_MM: Final = 150.0  # width that is drawn at least


def offsets_table(
    findings: Findings, found: OffsetsFinding, reference_mm: float, remark: str
) -> Table:
    units = findings.units
    length, angle = units.unit(Kind.LENGTH), units.unit(Kind.ANGLE)
    letters = letters_of(findings)

    def shown(value: float) -> float:
        return round(units.shown(Kind.LENGTH, value), 6) + 0.0

    rows = []
    for zero in found.zeros:
        tilt, turn = _pose_cells(findings, zero.angles_rad)
        place: tuple[float | None, ...] = (None, None, None)
        if zero.point_mm is not None:
            x, y, z = zero.point_mm
            place = (shown(x), shown(y), shown(z - reference_mm))
        sure = shown(2.0 * max(zero.u_mm)) if max(zero.u_mm) > 0.0 else None
        rows.append((zero.word, zero.station, zero.face, tilt, turn, *place, sure))
    counted = "lengths touched off: Z less the length reference" if reference_mm else remark
    title = "Work offsets: " + (counted.rstrip("; ") + "; " if counted else "") + "tool length 0"
    return Table(
        "offsets",
        title,
        (
            Column("word", "Word"),
            Column("station", "Station"),
            Column("face", "Face"),
            Column("tilt", letters[0] or "Tilt", angle),
            Column("turn", letters[1] or "Turn", angle),
            Column("x", "X", length),
            Column("y", "Y", length),
            Column("z", "Z", length),
            Column("plus_minus", "+-", length),
        ),
        tuple(rows),
    )


def poses_table(findings: Findings, found: OffsetsFinding) -> Table:
    """Every pose that brings a face up, one row for each different face and pose."""
    angle = findings.units.unit(Kind.ANGLE)
    letters = letters_of(findings)
    at: dict[tuple[str, str, str, str, str, str], list[str]] = {}
    for zero in found.zeros:
        if zero.facing is None:
            continue
        choices = [(pose, "") for pose in zero.facing.poses]
        choices += [(pose, "beyond a limit") for pose in zero.facing.outside]
        for pose, note in choices:
            chosen = zero.angles_rad is not None and all(
                free or abs(mine - its) < 1e-4
                for mine, its, free in zip(zero.angles_rad, pose.angles_rad, pose.free, strict=True)
            )
            texts = [
                "any" if free else f"{round(math.degrees(a), 3) + 0.0:.10g}"
                for a, free in zip(pose.angles_rad, pose.free, strict=True)
            ]
            tilt, turn = texts if len(texts) == 2 else ("", texts[0])
            key = (zero.part, zero.face, tilt, turn, "yes" if chosen else "no", note)
            at.setdefault(key, []).append(zero.station)
    return Table(
        "poses",
        "Every pose that brings the face to the spindle",
        (
            Column("part", "Part"),
            Column("face", "Face"),
            Column("stations", "Stations"),
            Column("tilt", letters[0] or "Tilt", angle),
            Column("turn", letters[1] or "Turn", angle),
            Column("used", "Used"),
            Column("note", "Note"),
        ),
        tuple(
            (part, face, " ".join(dict.fromkeys(stations)), tilt, turn, chosen, note)
            for (part, face, tilt, turn, chosen, note), stations in at.items()
        ),
    )


def stale_table(findings: Findings, found: OffsetsFinding) -> Table:
    units = findings.units
    placed = [zero for zero in found.zeros if zero.point_mm is not None]
    rows = []
    for event in found.events:
        step = (
            units.text(Kind.ANGLE, STEP_RAD) if event.is_turn else units.text(Kind.LENGTH, STEP_MM)
        )
        most = round(units.shown(Kind.LENGTH, event.most_mm), 6) + 0.0
        labels = _which([placed[i] for i in event.stale], placed, letters_of(findings)[0])
        mend = event.mend if event.stale else "nothing"
        rows.append((event.name, step, labels, event.axes or "-", most, mend))
    return Table(
        "goes_stale",
        "Which offsets go stale when something moves (each acted out by the step)",
        (
            Column("event", "What happens"),
            Column("step", "Step"),
            Column("stale", "Stale offsets"),
            Column("axes", "In"),
            Column("most", "Most", units.unit(Kind.LENGTH)),
            Column("mend", "Then"),
        ),
        tuple(rows),
    )


def reach_table(findings: Findings, found: OffsetsFinding) -> Table:
    """Return whether the travel reaches each zero, and which tool lengths can stand on it."""
    units, travel = findings.units, findings.cell.machine.travel_z
    length = units.unit(Kind.LENGTH)
    rows = []
    for zero in found.zeros:
        span: tuple[float | None, float | None] = (None, None)
        tools = ""
        if zero.point_mm is not None and travel is not None:
            least = max(travel[0].value - zero.point_mm[2], 0.0)
            most = travel[1].value - zero.point_mm[2]
            span = (
                round(units.shown(Kind.LENGTH, least), 6),
                round(units.shown(Kind.LENGTH, most), 6),
            )
            short, long = tools_off(findings, least, most)
            cannot = [f"T{n} too short" for n in short] + [f"T{n} too long" for n in long]
            tools = ", ".join(cannot) or ("none" if findings.cell.tools else "no tools listed")
        rows.append((zero.label, _travel_word(zero), *span, tools))
    return Table(
        "reach",
        "Reach: travel, and tool lengths (gauge point to tip) that can stand on the zero",
        (
            Column("word", "Offset"),
            Column("travel", "Travel"),
            Column("least", "Tool at least", length),
            Column("most", "Tool at most", length),
            Column("tools", "Tools that cannot"),
        ),
        tuple(rows),
    )


def tools_off(
    findings: Findings, least: float, most: float
) -> tuple[list[int | str], list[int | str]]:
    short: list[int | str] = []
    long: list[int | str] = []
    for tool in findings.cell.tools:
        if tool.length is None:
            continue
        name = tool.number if tool.number is not None else tool.name or "?"
        if tool.length.value < least - 1e-9:
            short.append(name)
        elif tool.length.value > most + 1e-9:
            long.append(name)
    return short, long


def picture(findings: Findings, found: OffsetsFinding) -> Picture:
    """Plan of the zeros over table and travel; each zero drawn where it stands in its own pose."""
    machine = findings.cell.machine
    placed = [zero for zero in found.zeros if zero.point_mm is not None]
    xs = [zero.point_mm[0] for zero in placed if zero.point_mm]
    ys = [zero.point_mm[1] for zero in placed if zero.point_mm]
    for axis in findings.axis_lines.chain.axes:
        if abs(axis.line.direction[2]) > 0.5:  # the rotary line, a point in plan
            xs.append(axis.line.point_mm[0])
            ys.append(axis.line.point_mm[1])
    # The zeros fill the sheet; of table and travel the edges are drawn that lie near them.
    room = 0.08 * max(max(xs) - min(xs), max(ys) - min(ys), 100.0)
    spare = max(2.5 * room, LEAST_PLAN_MM / 2.0 - (max(xs) - min(xs)) / 2.0)
    xs = [min(xs) - spare, max(xs) + spare]
    ys = [min(ys) - 2.5 * room, max(ys) + 3.5 * room]
    plan = Plan("offsets-plan", xs[0], ys[0], xs[1], ys[1], inch=findings.units.inch)
    if machine.table_x and machine.table_y:
        (left, right), (low, high) = machine.table_x, machine.table_y
        plan.rectangle(left.value, low.value, right.value, high.value, fill="paper")
        edges = (left.value, low.value, right.value, high.value)
        _name_edge(plan, "table edge", edges, (xs, ys), 0.3 * room)
    if machine.travel_x and machine.travel_y:
        (left, right), (low, high) = machine.travel_x, machine.travel_y
        plan.rectangle(left.value, low.value, right.value, high.value, style="hidden")
        edges = (left.value, low.value, right.value, high.value)
        _name_edge(plan, "end of travel", edges, (xs, ys), -0.3 * room)
    _draw_lines(plan, findings.axis_lines.chain, (min(xs), max(xs)), (min(ys), max(ys)))
    named = [
        (at, " ".join(labels[:2]) + (f" +{len(labels) - 2}" if len(labels) > 2 else ""))
        for at, labels in _together(placed, 0.013 * (xs[1] - xs[0]))
    ]
    turn = min((90.0, 0.0), key=lambda turn: _crowded(named, turn, xs[1] - xs[0]))
    for at, words in named:
        plan.text(at, f" {words}", anchor="start", small=True, turn_deg=turn, lead=True)
    for zero in placed:
        if zero.point_mm is not None:
            plan.cross((zero.point_mm[0], zero.point_mm[1]))
    return Picture(
        "plan",
        "Zeros from above, each in the pose in which its face is cut; axis lines dash-dotted",
        plan.svg(),
    )


def _name_edge(
    plan: Plan,
    words: str,
    edges: tuple[float, float, float, float],
    sheet: tuple[list[float], list[float]],
    off: float,
) -> None:
    """Write beside the first edge that runs through the sheet what it is."""
    (x_low, x_high), (y_low, y_high) = sheet
    left, low, right, high = edges
    pad = abs(off)
    for x in (left, right):
        if x_low < x < x_high:
            y = min(max(low, y_low), y_high) + 2.0 * abs(off)
            plan.text((x, y), f" {words}", anchor="start", small=True)
            return
    for y in (high, low):
        if y_low - pad < y < y_high + pad:
            x = min(max(left, x_low), x_high)
            plan.text((x, y - off), f" {words}", anchor="start", small=True)
            return


def _crowded(named: list[tuple[tuple[float, float], str]], turn_deg: float, wide_mm: float) -> int:
    """Count the zeros and words that the words of another zero would be written over."""
    letter = 0.011 * wide_mm  # about the width of a small letter on the sheet
    boxes = []
    for (x, y), words in named:
        long, high = (len(words) + 2) * letter, 1.2 * letter
        box = (x, y - high, x + long, y + high)
        boxes.append(box if turn_deg == 0.0 else (x - high, y, x + high, y + long))
    return sum(
        one is not other
        and one[0] < other[2]
        and other[0] < one[2]
        and one[1] < other[3]
        and other[1] < one[3]
        for one in boxes
        for other in boxes
    )


def _together(
    placed: list[ZeroFound], near_mm: float
) -> list[tuple[tuple[float, float], list[str]]]:
    """Gather zeros whose words would be written over each other in plan."""
    groups: list[tuple[tuple[float, float], list[str]]] = []
    for zero in placed:
        if zero.point_mm is None:
            continue
        x, y, _ = zero.point_mm
        for (gx, gy), labels in groups:
            if math.hypot(x - gx, y - gy) <= near_mm:
                labels.append(zero.label)
                break
        else:
            groups.append(((x, y), [zero.label]))
    return groups


def _draw_lines(
    plan: Plan, chain: WorkChain, xs: tuple[float, float], ys: tuple[float, float]
) -> None:
    reach = math.hypot(xs[1] - xs[0], ys[1] - ys[0])
    for axis in chain.axes:
        (px, py, _), (dx, dy, _) = axis.line.point_mm, axis.line.direction
        if math.hypot(dx, dy) < 0.5:  # upright: a point in plan
            plan.circle((px, py), 0.012 * reach, style="axis")
            continue
        plan.line((px - reach * dx, py - reach * dy), (px + reach * dx, py + reach * dy), "axis")


def _travel_word(zero: ZeroFound) -> str:
    if zero.point_mm is None:
        return "no pose"
    if zero.beyond:
        return f"{' and '.join(zero.beyond)} beyond its limit"
    return f"{' '.join(zero.outside)} outside" if zero.outside else "inside"


def letters_of(findings: Findings) -> tuple[str, str]:
    senses = findings.senses
    return senses.tilt_letter or "", senses.rotary_letter


def _pose_cells(
    findings: Findings, angles: tuple[float, ...] | None
) -> tuple[float | None, float | None]:
    if angles is None:
        return None, None
    shown = [round(findings.units.shown(Kind.ANGLE, angle), 6) + 0.0 for angle in angles]
    return (shown[0], shown[1]) if len(shown) == 2 else (None, shown[0])


def _which(stale: list[ZeroFound], every: list[ZeroFound], tilt_letter: str) -> str:
    """Name the stale offsets, by their tilts where that says it all."""
    if not stale:
        return "none"
    if len(stale) == len(every) > 1:
        return f"all {len(every)}"
    if tilt_letter:
        tilts = {_tilt_deg(zero) for zero in stale}
        if len(stale) > 3 and sum(_tilt_deg(zero) in tilts for zero in every) == len(stale):
            return f"{len(stale)} at " + " ".join(f"{tilt_letter}{t:g}" for t in sorted(tilts))
    return " ".join(zero.label for zero in stale)


def _tilt_deg(zero: ZeroFound) -> float:
    return round(math.degrees(zero.angles_rad[0]), 3) + 0.0 if zero.angles_rad else math.nan
