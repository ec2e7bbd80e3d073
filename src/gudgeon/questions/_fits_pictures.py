"""Drawings of the question `fits`: the table from above, the tilt from the side, the flanges."""

from __future__ import annotations

import math
from typing import Final

from gudgeon.answer import Picture
from gudgeon.drawing.plan import Plan
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.flange import FlangeMatch
from gudgeon.findings.place_judged import Place
from gudgeon.placing.limits import clean_turn

__all__ = ["flange_picture", "side_picture", "table_picture"]

ROOM: Final = 0.06


def table_picture(findings: Findings, place: Place) -> Picture | None:
    """Return the table from above with slots, unit, load, travel and what is needed of it."""
    machine, unit = findings.cell.machine, findings.cell.unit
    centre = (place.x_mm, place.y_mm)
    xs, ys = [centre[0]], [centre[1]]
    for values, ends in ((xs, machine.travel_x), (ys, machine.travel_y)):
        values += [end.value for end in ends or ()]
    for values, ends in ((xs, machine.table_x), (ys, machine.table_y)):
        values += [end.value for end in ends or ()]
    body = _turned(_body(findings), place)
    swing = _swing(findings)
    for x, y in body:
        xs.append(x)
        ys.append(y)
    if swing:
        xs += [centre[0] - swing, centre[0] + swing]
        ys += [centre[1] - swing, centre[1] + swing]
    if max(xs) - min(xs) < 1.0 or max(ys) - min(ys) < 1.0:
        return None
    edge = ROOM * max(max(xs) - min(xs), max(ys) - min(ys))
    left, right, bottom, top = min(xs) - edge, max(xs) + edge, min(ys) - edge, max(ys) + edge
    plan = Plan("fits-table", left, bottom, right, top, inch=findings.units.inch)
    if machine.table_x is not None and machine.table_y is not None:
        plan.rectangle(
            machine.table_x[0].value,
            machine.table_y[0].value,
            machine.table_x[1].value,
            machine.table_y[1].value,
            style="bold",
            fill="paper",
        )
        plan.text(
            (machine.table_x[0].value, machine.table_y[1].value - edge / 3.0),
            " table",
            anchor="start",
            small=True,
        )
    if body:
        plan.path(body, closed=True, fill="tint")
    _slots(plan, findings, (left, right), (bottom, top))
    for box in unit.boxes:
        if box.x is not None and box.y is not None and box.turns_with in (None, "base"):
            corners = [(a.value, b.value) for a in box.x for b in box.y]
            corners[2], corners[3] = corners[3], corners[2]
            at = _turned(corners, place)
            plan.path(at, closed=True, style="thin", fill="hatch")
            plan.text(_middle(at), box.name or "box", small=True)
    if swing:
        plan.circle(centre, swing, style="hidden")
        plan.text((centre[0], centre[1] - swing * 0.55), "load, all turns", small=True)
    cosine, sine = clean_turn(place.yaw_rad)
    reach = max((math.hypot(x - centre[0], y - centre[1]) for x, y in body), default=swing or edge)
    line = (centre[0] - sine * findings.tilt_y_mm, centre[1] + cosine * findings.tilt_y_mm)
    plan.line(
        (line[0] - cosine * reach, line[1] - sine * reach),
        (line[0] + cosine * reach, line[1] + sine * reach),
        style="axis",
    )
    plan.cross(centre)
    if not body and not swing:
        plan.text(centre, " platter centre", anchor="start", small=True)
    for row in unit.lug_rows:
        start, end = _turned([(x, row.value) for x in (-0.97 * reach, 0.97 * reach)], place)
        plan.line(start, end, style="faint")
    if unit.lug_rows and unit.lug_columns:
        for point in _turned(
            [(x.value, y.value) for x in unit.lug_columns for y in unit.lug_rows], place
        ):
            plan.circle(point, edge / 8.0, fill="solid")
    if machine.travel_x is not None and machine.travel_y is not None:
        (x_low, x_high), (y_low, y_high) = machine.travel_x, machine.travel_y
        plan.rectangle(x_low.value, y_low.value, x_high.value, y_high.value, style="hidden")
        words = "travel of the spindle "
        plan.text((x_high.value, y_low.value + edge / 3.0), words, anchor="end", small=True)
    need_x, need_y = findings.needs(place.yaw_rad)
    if need_x is not None and need_y is not None:
        plan.rectangle(
            centre[0] + need_x.low_mm,
            centre[1] + need_y.low_mm,
            centre[0] + need_x.high_mm,
            centre[1] + need_y.high_mm,
            style="thin",
        )
        plan.text(
            (centre[0] + need_x.low_mm, centre[1] + need_y.high_mm - edge / 4.0),
            " spindle needed here",
            anchor="start",
            small=True,
        )
    _hoses(plan, findings, place)
    return Picture("table_plan", "The table from above: machine X to the right, Y up", plan.svg())


def side_picture(findings: Findings) -> Picture | None:
    """Return the load seen along the tilt axis over the table, with nose and longest tool."""
    try:
        shape, axis = findings.load_shape, findings.axis_height_mm
        heights = findings.heights
    except Lacking:
        return None
    unit = findings.cell.unit
    section = shape.section(0.0)
    tilts = sorted({0.0, *(pose.tilt_rad for pose in findings.work_poses)})
    if len(tilts) == 1 and shape.has_tilt:
        tilts += [tilt for tilt in (math.pi / 2.0,) if shape.reaches(tilt)]
    size = max(
        [math.hypot(y, z) for y, z in shape.section(None).points_mm] + [shape.round_mm, axis / 2.0]
    )
    front = -(unit.body_front.value if unit.body_front else size)
    rear = unit.body_rear.value if unit.body_rear else size
    tops = [heights.any_mm]
    gauge, tip, low_tip = None, None, None
    try:
        table = findings.table_top_mm
        travel_z = findings.cell.machine.travel_z
        if travel_z is not None:
            gauge = travel_z[1].value - table
            tops.append(gauge)
        low_tip = findings.change_tip_mm[0] - table
        tip = None if gauge is None else gauge - findings.change_tip_mm[1]
    except Lacking:
        pass
    left, right = min(front, -size) * 1.15, max(rear, size) * 1.15
    high = max(tops)
    words_mm = 0.32 * high  # words to the right of the lines that they name
    extents = (left, -0.06 * high, right + words_mm, 1.12 * high)
    plan = Plan("fits-side", *extents, inch=findings.units.inch)
    plan.line((left, 0.0), (right, 0.0), style="bold")
    plan.text((left, -0.03 * high), " table top", anchor="start", small=True)
    plan.rectangle(front, 0.0, rear, axis, style="faint", fill="tint")
    plan.text((front, 0.03 * high), " unit, up to the tilt axis", anchor="start", small=True)
    centre = (shape.tilt_y_mm, axis)
    largest = max(shape.solids, key=lambda solid: solid.swing_mm, default=None)
    for tilt in tilts:
        work = shape.work_tilts(tilt)[0]
        cosine, sine = math.cos(work), math.sin(work)
        for solid in shape.solids:
            # A square on a single axis comes as its long edges: drawn as one outline.
            points = [
                point
                for one in shape.solids
                if one is solid
                or (not shape.has_tilt and (one.name, one.bottom_mm) == (solid.name, one.top_mm))
                for point in one.section(0.0, shape.tilt_y_mm).points_mm
            ]
            ys = [y for y, _ in points]
            zs = [z for _, z in points]
            hub_y, hub_z = sum(ys) / len(ys), sum(zs) / len(zs)
            ring = sorted(set(points), key=lambda p: math.atan2(p[1] - hub_z, p[0] - hub_y))
            plan.path(
                [
                    (centre[0] + y * cosine - z * sine, centre[1] + y * sine + z * cosine)
                    for y, z in ring
                ],
                closed=True,
                style="thin" if tilt == 0.0 else "hidden",
            )
            if solid is not largest:
                continue
            # Beside the middle where it is tilted: the axis has its own words there.
            aside = math.copysign(0.3 * (max(ys) - min(ys)), sine) if tilt != 0.0 else 0.0
            middle = (min(ys) + max(ys)) / 2.0 + aside, (min(zs) + max(zs)) / 2.0
            plan.text(
                (
                    centre[0] + middle[0] * cosine - middle[1] * sine,
                    centre[1] + middle[0] * sine + middle[1] * cosine,
                ),
                f"tilt {round(math.degrees(tilt), 1):g} deg",
                small=True,
            )
    if shape.round_mm:
        plan.circle(centre, shape.round_mm)
    swept = math.hypot(*max(section.points_mm, key=lambda point: math.hypot(*point)))
    low, up = shape.work_range(shape.low_rad, shape.high_rad)
    for y, z in section.points_mm:
        if math.hypot(y, z) > swept - 1e-6 and swept > 0.0:
            start = math.atan2(z, y)
            plan.arc(centre, swept, start + low, start + up, style="faint")
    plan.cross(centre)
    plan.text((centre[0], centre[1] - 0.03 * high), "tilt axis", small=True)
    nose = findings.cell.machine.nose_diameter
    side = right - (nose.value / 2.0 if nose else 0.04 * (right - left)) - 0.02 * (right - left)
    if low_tip is not None:
        plan.line((left, low_tip), (right, low_tip), style="hidden")
        plan.text((right, low_tip), " lowest tip, tool change", anchor="start", small=True)
    if gauge is not None:
        half = nose.value / 2.0 if nose else 0.04 * (right - left)
        plan.rectangle(side - half, gauge, side + half, 1.12 * high, fill="hatch")
        plan.text((side + half, gauge + 0.03 * high), " nose, top of Z", anchor="start", small=True)
    if gauge is not None and tip is not None:
        plan.line((side, gauge), (side, tip), style="bold")
        plan.text((side, (gauge + tip) / 2.0), " longest tool", anchor="start", small=True)
    return Picture(
        "tilt_side",
        "Seen along the tilt axis: front to the left, rear to the right; faint: the swept rim",
        plan.svg(),
    )


def flange_picture(findings: Findings, match: FlangeMatch) -> Picture:
    """Return both sets of holes at the clocking that is judged, bolts that go in filled."""
    clocking = match.here or (match.clockings[0] if match.clockings else None)
    turn = 0.0 if clocking is None else clocking.middle_rad
    radii = match.pitch_circle_mm / 2.0, match.fixture_circle_mm / 2.0
    size = 1.25 * max(radii) + match.hole_mm
    plan = Plan("fits-flange", -size, -size, size, size, inch=findings.units.inch)
    for radius in dict.fromkeys(radii):
        plan.circle((0.0, 0.0), radius, style="axis")
    pilot = findings.cell.unit.flange.pilot_diameter
    if pilot is not None:
        plan.circle((0.0, 0.0), pilot.value / 2.0)
        plan.text((0.0, 0.0), "pilot", small=True)
    else:
        plan.cross((0.0, 0.0))
    goes_in = {platter for platter, _ in clocking.pairs} if clocking else set()
    for angle in match.fixture_holes:
        plan.circle(_polar(radii[1], angle + turn), match.hole_mm / 2.0)
    for i, angle in enumerate(match.platter_holes):
        at = _polar(radii[0], angle)
        plan.circle(
            at,
            match.bolt_mm / 2.0,
            style="thin" if i in goes_in else "hidden",
            fill="solid" if i in goes_in else None,
        )
        plan.text(
            _polar(radii[0] + 1.4 * match.hole_mm, angle),
            f"{round(math.degrees(angle), 1):g}",
            small=True,
        )
    title = (
        f"Fixture turned by {round(math.degrees(turn), 2):g} deg on the platter: open circles are "
        "the fixture's holes, filled ones bolts that go in, dashed ones platter holes without"
    )
    return Picture("flange_match", title, plan.svg())


def _slots(
    plan: Plan, findings: Findings, xs: tuple[float, float], ys: tuple[float, float]
) -> None:
    machine = findings.cell.machine
    half = machine.slot_width.value / 2.0 if machine.slot_width else 0.0
    table = machine.table_x if machine.slots_along == "X" else machine.table_y
    ends = xs if machine.slots_along == "X" else ys
    if table is not None:
        ends = (table[0].value, table[1].value)
    for number, slot in enumerate(machine.slot_positions, start=1):
        for side in {-half, half}:
            at = slot.value + side
            if machine.slots_along == "Y":
                plan.line((at, ends[0]), (at, ends[1]))
            else:
                plan.line((ends[0], at), (ends[1], at))
        lift = half + 0.02 * (ys[1] - ys[0])
        label = (
            (slot.value, ends[0] + lift)
            if machine.slots_along == "Y"
            else (ends[0], slot.value + lift)
        )
        plan.text(label, f" slot {number}", anchor="start", small=True)


def _hoses(plan: Plan, findings: Findings, place: Place) -> None:
    for hose in findings.cell.unit.hoses:
        ends = (hose.connector_x, hose.connector_y, hose.anchor_x, hose.anchor_y)
        x, y, anchor_x, anchor_y = ends
        if x is None or y is None or anchor_x is None or anchor_y is None:
            continue
        start = _turned([(x.value, y.value)], place)[0]
        anchor = (anchor_x.value, anchor_y.value)
        plan.line(start, anchor, style="bold")
        plan.text(anchor, hose.name or "hose", small=True)


def _body(findings: Findings) -> list[tuple[float, float]]:
    """Return the corners of the body in the unit frame; sides not entered end at the load."""
    unit = findings.cell.unit
    sides = (unit.body_left, unit.body_right, unit.body_front, unit.body_rear)
    if all(side is None for side in sides):
        return []
    spare = _swing(findings)
    left, right, front, rear = (spare if side is None else side.value for side in sides)
    return [(-left, -front), (right, -front), (right, rear), (-left, rear)]


def _swing(findings: Findings) -> float:
    try:
        return max(solid.swing_mm for solid in findings.load_shape.solids)
    except Lacking:
        return 0.0


def _turned(points: list[tuple[float, float]], place: Place) -> list[tuple[float, float]]:
    cosine, sine = clean_turn(place.yaw_rad)
    return [
        (place.x_mm + x * cosine - y * sine, place.y_mm + x * sine + y * cosine) for x, y in points
    ]


def _middle(points: list[tuple[float, float]]) -> tuple[float, float]:
    return (
        sum(x for x, _ in points) / len(points),
        sum(y for _, y in points) / len(points),
    )


def _polar(radius: float, angle: float) -> tuple[float, float]:
    return radius * math.cos(angle), radius * math.sin(angle)
