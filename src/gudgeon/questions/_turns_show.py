"""Tables and figures of the question `turns`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Cell, Column, Figure, Table
from gudgeon.centre.fit import Held, LineFit
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.notation import location_errors, short_symbol
from gudgeon.centre.positions import POSITIONS, POSITIONS_SINGLE, across_direction, positions
from gudgeon.centre.readings import Reading
from gudgeon.centre.suspects import Suspect
from gudgeon.findings import Findings
from gudgeon.findings.bad_readings import rows_of
from gudgeon.findings.procedure import TouchOrder, side_name
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units
from gudgeon.quantity.spread import Spread, en_number, propagate
from gudgeon.questions._shared import figure
from gudgeon.questions._turns_names import REASON, freed_by, plain_name

__all__ = [
    "Found",
    "base_length",
    "entries_table",
    "found_of",
    "hand_and_fit",
    "held_table",
    "how_to_touch",
    "line_figures",
    "next_table",
    "notation_table",
    "readings_table",
]

Floats = NDArray[np.float64]
LENGTH: Final = Kind.LENGTH
ANGLE: Final = Kind.ANGLE

UNSQUARE_RAD: Final = 1e-4
"""Angle at which the effect of a held parameter is shown: 0.01 mm over 100 mm."""


def base_length(units: Units) -> float:
    """Return the length over which an angle is shown [mm]: 100 mm or 4 in."""
    return 101.6 if units.inch else 100.0


@dataclass(frozen=True, slots=True)
class Found:
    """Positions by name with their standard uncertainty, in mm and rad."""

    values: dict[str, float]
    u: dict[str, float]
    k95: float = 2.0

    def get(self, name: str) -> tuple[float, float]:
        """Return value and expanded uncertainty (95 %)."""
        return self.values[name], self.k95 * self.u[name]


def found_of(frame: LineFrame, values: Floats, covariance: Floats, k95: float = 2.0) -> Found:
    """Return the positions that the parameters mean."""
    spread: Spread = propagate(lambda v: positions(frame, v), values, covariance)
    names = POSITIONS if len(frame.axes) == 2 else POSITIONS_SINGLE
    return Found(
        dict(zip(names, spread.values.tolist(), strict=True)),
        dict(zip(names, spread.u.tolist(), strict=True)),
        k95,
    )


def shown_positions(frame: LineFrame) -> dict[str, str]:
    """Return which positions are shown, and their labels; a line along X has no X of its own."""
    if len(frame.axes) == 1:
        return {
            "rotary_x": "rotary line at the platter face, machine X",
            "rotary_y": "rotary line at the platter face, machine Y",
            "rotary_z": "height of the rotary line, machine Z",
        }
    across = side_name(across_direction(frame))
    along = np.abs(np.asarray(frame.along))
    names = {}
    if along[0] < 1.0 - 1e-9:
        names["tilt_x"] = "tilt line at the platter, machine X"
    if along[1] < 1.0 - 1e-9:
        names["tilt_y"] = "tilt line at the platter, machine Y"
    return {
        **names,
        "tilt_z": "height of the tilt line, machine Z",
        "platter_x": "rotary line at tilt height, machine X",
        "platter_y": "rotary line at tilt height, machine Y",
        "axis_offset": f"rotary line minus tilt line, along {across[0]} at tilt 0",
        "face_height": "platter face over the tilt line, at tilt 0",
    }


def line_figures(
    units: Units, frame: LineFrame, found: Found, free: tuple[str, ...], source: str
) -> list[Figure]:
    """Return the figures of the lines."""
    figures: list[Figure] = []
    for name, label in shown_positions(frame).items():
        value, spread = found.get(name)
        figures.append(
            figure(
                units,
                LENGTH,
                name,
                label,
                value,
                plus_minus=spread or None,
                note="" if figures else source,
            )
        )
    if len(frame.axes) == 1:
        angles = {
            "rotary_yaw": ("rotary_yaw", "rotary line out of tram, counter-clockwise from above"),
            "rotary_rise": ("rotary_pitch", "rotary line out of level"),
        }
    else:
        across = side_name(across_direction(frame))
        value, spread = found.get("miss")
        figures.append(
            figure(
                units,
                LENGTH,
                "miss",
                "miss of the two lines",
                value,
                plus_minus=spread or None,
                note=f"closest distance; + where the rotary line passes on the {across} side",
            )
        )
        angles = {
            "tilt_yaw": ("tilt_yaw", "tilt line out of tram, counter-clockwise from above"),
            "tilt_rise": ("tilt_pitch", "tilt line out of level, + rising along its direction"),
            "rotary_lean_x": ("rotary_", "rotary line leans towards X+ at tilt 0"),
            "rotary_lean_y": ("rotary_", "rotary line leans towards Y+ at tilt 0"),
        }
    for name, (parameter, label) in angles.items():
        freed = [item for item in free if item == parameter or item.startswith(parameter)]
        if parameter == "rotary_":
            freed = [item for item in free if item in ("rotary_roll", "rotary_pitch")]
        value, spread = found.get(name)
        if not freed or spread == 0.0:
            continue
        base = base_length(units)
        per = units.text(LENGTH, base * math.tan(value), units.decimals(LENGTH) + 1, sign=True)
        note = f"{per} over {units.text(LENGTH, base, 0)}"
        figures.append(figure(units, ANGLE, name, label, value, plus_minus=spread, note=note))
    return figures


def hand_and_fit(units: Units, frame: LineFrame, hand: Found, fit: Found) -> Table:
    """Return both results side by side."""
    unit = units.unit(LENGTH)
    rows = []
    for name, label in shown_positions(frame).items():
        by_hand, hand_spread = hand.get(name)
        by_fit, fit_spread = fit.get(name)
        apart = by_hand - by_fit
        # The two rest on the same touches, so they may differ by less than either's own spread.
        agree = abs(apart) <= max(math.hypot(hand_spread, fit_spread), 1e-6)
        rows.append(
            (
                label,
                units.shown(LENGTH, by_hand),
                units.shown(LENGTH, hand_spread),
                units.shown(LENGTH, by_fit),
                units.shown(LENGTH, fit_spread),
                units.shown(LENGTH, apart) + 0.0,
                "agree" if agree else "by hand the lines count as square, the fit found angles",
            )
        )
    columns = (
        Column("what", "what"),
        Column("hand", "by hand", unit),
        Column("hand_pm", "+-", unit),
        Column("fit", "by fit", unit),
        Column("fit_pm", "+-", unit),
        Column("difference", "hand - fit", unit),
        Column("remark", "remark"),
    )
    return Table("hand_and_fit", "The same touches worked out in two ways", columns, tuple(rows))


def _what(reading: Reading, letters: tuple[str | None, str]) -> str:
    thing = {"face": "platter face"}.get(reading.feature, reading.feature)
    tilt = f"{letters[0]}{math.degrees(reading.tilt_rad):.4g} " if letters[0] else ""
    return f"{thing}, {tilt}{letters[1]}{math.degrees(reading.rotary_rad):.4g}"


def readings_table(findings: Findings, fit: LineFit) -> Table:
    """Return every reading with its residual, the ones set aside too."""
    units = findings.units
    bad = {row: item for item in findings.line_study.suspects for row in rows_of(item)}
    letters = (findings.senses.tilt_letter, findings.senses.rotary_letter)
    names = {touch.row: touch.name for touch in findings.cell.touches}
    rows: list[tuple[str | float | int | bool | None, ...]] = []
    seen: dict[int, int] = {}
    for at, i in enumerate(fit.residual_rows):
        reading = fit.used[i]
        noted = [k for k in range(3) if not math.isnan(reading.position_mm[k])]
        if reading.toward is None:
            seen[i] = seen.get(i, -1) + 1
            counts = "XYZ"[noted[seen[i]]]
        else:
            counts = side_name(np.asarray(reading.toward))
        weighted = float(fit.weighted[at])
        level = fit.residual_kinds[at] == "rad"
        rows.append(
            (
                reading.row,
                names.get(reading.row, ""),
                _what(reading, letters),
                counts,
                None if level else units.shown(LENGTH, float(fit.residuals_mm[at])) + 0.0,
                None if math.isnan(weighted) else weighted + 0.0,
                _remark(units, weighted, bad.get(reading.row)),
            )
        )
    for reading in fit.set_aside:
        way = "" if reading.toward is None else side_name(np.asarray(reading.toward))
        why = "set aside: the tip would slide along the surface, or a coordinate is missing"
        name = names.get(reading.row, "")
        rows.append((reading.row, name, _what(reading, letters), way, None, None, why))
    columns = (
        Column("line", "line"),
        Column("name", "name"),
        Column("what", "what"),
        Column("counts", "moving"),
        Column("residual", "measured - fitted", units.unit(LENGTH)),
        Column("sigma", "in standard uncertainties"),
        Column("remark", "remark"),
    )
    return Table("readings", "Readings against the fit", columns, tuple(rows))


def _remark(units: Units, weighted: float, bad: Suspect | None) -> str:
    if bad is not None and len(rows_of(bad)) > 1:
        return "does not fit the others; see the table of readings that are bad"
    if bad is not None and not math.isnan(bad.reading.angle_rad):
        return "does not fit the others"
    if bad is not None:
        off = units.text(LENGTH, bad.off_mm, sign=True)
        return f"lies {off} off where the others put it"
    return "followed exactly: nothing checks it" if math.isnan(weighted) else ""


def held_table(findings: Findings, held: tuple[Held, ...]) -> Table:
    """Return what was held, why, what would free it and what it could do."""
    units = findings.units
    rows = []
    for item in held:
        if item.name.endswith("_radius"):
            continue
        angle = item.name not in ("bore_x", "bore_y", "pin_x", "pin_y") and "." not in item.name
        by = UNSQUARE_RAD if angle else 0.01
        if item.reason == "entry":
            amount, effect = units.text(LENGTH, 2.0 * item.u), None
            taken = "as entered" + (f", +- {amount}" if item.u > 0.0 else ", exactly")
        else:
            effect = units.shown(LENGTH, findings.effect_of(item.name, by))
            taken = "zero"
        base = base_length(units)
        weak = units.text(LENGTH, 2.0 * item.u * (base if angle else 1.0))
        over = f" over {units.text(LENGTH, base, 0)}" if angle else ""
        reason = REASON.get(item.reason) or f"the readings would fix it only to +- {weak}{over}"
        size = units.text(LENGTH, by * (base if angle else 1.0)) + over
        rows.append(
            (
                plain_name(item.name, findings.has_tilt),
                taken,
                reason,
                freed_by(item.name, findings.has_tilt),
                "" if effect is None else size,
                effect,
            )
        )
    columns = (
        Column("what", "what"),
        Column("at", "taken as"),
        Column("why", "because"),
        Column("freed_by", "touches that would free it"),
        Column("if_off", "if it is off by"),
        Column("effect", "worst part point moves", units.unit(LENGTH)),
    )
    return Table("held", "Taken as nominal, not measured", columns, tuple(rows))


def entries_table(findings: Findings, found: Found) -> Table | None:
    """Return the cell's own entries beside what was touched."""
    cell, units = findings.cell, findings.units
    rows = []
    pairs = (
        ("unit.face_height", cell.unit.face_height, "face_height", 1.0),
        (
            "unit.axis_offset",
            cell.unit.axis_offset,
            "axis_offset",
            float(np.sign(findings.unit_axes[:, 1] @ across_direction(findings.line_study.frame))),
        ),
        ("placement.centre_x", cell.placement.centre_x, "platter_x", 1.0),
        ("placement.centre_y", cell.placement.centre_y, "platter_y", 1.0),
    )
    for key, entry, name, turn in pairs:
        if entry is None or name not in found.values:
            continue
        value, spread = found.get(name)
        apart = value * turn - entry.value
        stated = entry.plus_minus
        agrees = "no +- entered"
        if stated is not None:
            agrees = "yes" if en_number(apart, spread, stated) <= 1.0 else "no"
        rows.append(
            (
                key,
                units.shown(LENGTH, entry.value),
                None if stated is None else units.shown(LENGTH, stated),
                units.shown(LENGTH, value * turn),
                units.shown(LENGTH, spread),
                units.shown(LENGTH, apart) + 0.0,
                agrees,
            )
        )
    if not rows:
        return None
    unit = units.unit(LENGTH)
    columns = (
        Column("entry", "entry"),
        Column("entered", "as entered", unit),
        Column("entered_pm", "+-", unit),
        Column("touched", "as touched", unit),
        Column("pm", "+-", unit),
        Column("difference", "touched - entered", unit),
        Column("agrees", "agrees within both +-"),
    )
    return Table("entries", "Entries of the cell file beside the touches", columns, tuple(rows))


def notation_table(findings: Findings, frame: LineFrame, found: Found, free: set[str]) -> Table:
    """Return the location errors in the notation of ISO 230-7."""
    units, senses = findings.units, findings.senses
    tilt, rotary = senses.tilt_letter or "A", senses.rotary_letter
    rows: list[tuple[Cell, ...]] = []

    def place(symbol: str, name: str) -> None:
        value, spread = found.get(name)
        rows.append(
            (
                symbol,
                f"place of axis {symbol[-1]} in {symbol[1]}",
                units.shown(LENGTH, value),
                units.shown(LENGTH, spread),
                None,
                None,
                "machine coordinate",
                short_symbol(symbol),
            )
        )

    def angle(symbol: str, value: float, spread: float, freed: bool) -> None:
        rows.append(
            (
                symbol,
                f"turn of axis {symbol[-1]} about {'XYZ'['ABC'.index(symbol[1])]}",
                None,
                None,
                units.shown(ANGLE, value) + 0.0 if freed else None,
                units.shown(ANGLE, spread) if freed else None,
                "from its nominal direction" if freed else "not measured, taken as zero",
                short_symbol(symbol),
            )
        )

    along_x = abs(frame.along[0]) >= abs(frame.along[1])
    across_of, height_of, rise_of, yaw_of = location_errors("X" if along_x else "Y", tilt)
    place(across_of, "tilt_y" if along_x else "tilt_x")
    place(height_of, "tilt_z")
    rise, rise_pm = found.get("tilt_rise")
    yaw, yaw_pm = found.get("tilt_yaw")
    # A line along X that rises has turned about -Y; one along Y, about +X.
    angle(rise_of, -rise if along_x else rise, rise_pm, "tilt_pitch" in free)
    angle(yaw_of, yaw, yaw_pm, "tilt_yaw" in free)
    place_x, place_y, lean_of_y, lean_of_x = location_errors("Z", rotary)
    place(place_x, "platter_x")
    place(place_y, "platter_y")
    lean_x, lean_x_pm = found.get("rotary_lean_x")
    lean_y, lean_y_pm = found.get("rotary_lean_y")
    leans = bool({"rotary_roll", "rotary_pitch"} & free)
    angle(lean_of_y, -lean_y, lean_y_pm, leans and lean_y_pm > 0.0)
    angle(lean_of_x, lean_x, lean_x_pm, leans and lean_x_pm > 0.0)
    offset, offset_pm = found.get("axis_offset")
    across = side_name(across_direction(frame))
    pair = (f"E{across[0]}0{rotary}", f"E{across[0]}0{tilt}")
    rows.append(
        (
            " - ".join(pair),
            f"axis {rotary} beside axis {tilt}, signed: + where {rotary} lies towards {across}",
            units.shown(LENGTH, offset) + 0.0,
            units.shown(LENGTH, offset_pm),
            None,
            None,
            f"axis {tilt}",
            " - ".join(short_symbol(one) for one in pair),
        )
    )
    columns = (
        Column("symbol", "symbol"),
        Column("meaning", "meaning"),
        Column("place", "place", units.unit(LENGTH)),
        Column("place_pm", "+-", units.unit(LENGTH)),
        Column("turn", "turn", units.unit(ANGLE)),
        Column("turn_pm", "+-", units.unit(ANGLE)),
        Column("from", "counted from"),
        Column("older", "older writing"),
    )
    title = "Location errors in the notation of ISO 230-7 (meaning of the letters from memory)"
    return Table("iso_230_7", title, columns, tuple(rows))


def how_to_touch(orders: tuple[TouchOrder, ...]) -> Table:
    """Return the whole procedure."""
    columns = (
        Column("step", "step"),
        Column("touch", "touch"),
        Column("how", "how"),
        Column("gives", "what it gives"),
    )
    rows = tuple((i, item.what, item.how, item.gives) for i, item in enumerate(orders, start=1))
    return Table("how_to_touch", "How to find both lines by touching", columns, rows)


def next_table(findings: Findings) -> Table | None:
    """Return the readings that would sharpen the answer most."""
    units = findings.units
    if not findings.next_readings:
        return None
    columns = (
        Column("step", "step"),
        Column("touch", "reading"),
        Column("how", "how"),
        Column("minutes", "minutes"),
        Column("now", "worst part point before", units.unit(LENGTH)),
        Column("then", "after", units.unit(LENGTH)),
    )
    rows = tuple(
        (
            i,
            item.what,
            item.how,
            round(item.minutes, 1),
            None if math.isnan(item.before_mm) else units.shown(LENGTH, item.before_mm),
            None if math.isnan(item.after_mm) else units.shown(LENGTH, item.after_mm),
        )
        for i, item in enumerate(findings.next_readings, start=1)
    )
    plan = findings.reading_plan
    minutes = "" if plan is None else f", {plan.minutes:.0f} minutes in all"
    title = (
        f"Take these next, in this order{minutes} (unmeasured angles counted at +- two minutes of "
        "arc)"
    )
    return Table("next_readings", title, columns, rows)
