"""How hard an operation pushes: as entered, or worked out from what is known of the cut.

Best known first: a force that was entered; the power read off the machine while it cuts; the law of
the specific cutting force, with the constants of the material.  What else is entered is worked out
too and compared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from gudgeon.answer import Missing
from gudgeon.cell.model import Operation, Tool
from gudgeon.findings.cut_estimates import (
    WHOLE_FORCE,
    Chip,
    Estimate,
    Push,
    Way,
    drilled,
    milled,
)
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.show import Units

__all__ = ["CutForces", "Work", "forces_assumed", "forces_of"]

Work = Literal["drills", "mills"]

OVERLOAD: Final = 1.5
"""Spindles bear about this share of their rating for minutes (common practice, no source)."""

PRESSURES_APART: Final = 0.3
"""Two tables of one material differ by less (CF-000, CF-030: 10 and 15 %)."""


@dataclass(frozen=True, slots=True)
class CutForces:
    """Forces of one operation.

    Attributes
    ----------
    work : "drills", "mills" or None
        ``None`` where the entries do not tell.
    way : "power", "law" or None
        How what was not entered was worked out; ``None``: nothing could be.
    thrust, side, twist : Push or None
        Straight down [N]; across the spindle in any direction [N]; torque about the spindle [N m].
    lifts : bool
        The thrust may as well pull upwards.
    estimated : bool
        The force that counts most, a drill's thrust or a cutter's side force, was worked out.
    rests_on : str
        The entries that were used, as they continue "worked out from ...".
    chip : Chip
    depth, power : Amount or None
        What the forces are in proportion to: the depth of cut for the law, the power read.
    cautions : tuple of str
        Entries that contradict each other.
    open : Missing or None
        The one entry that would settle the forces, or narrow them.
    """

    work: Work | None = None
    way: Way | None = None
    thrust: Push | None = None
    side: Push | None = None
    twist: Push | None = None
    lifts: bool = False
    estimated: bool = False
    rests_on: str = "what was entered as a force"
    chip: Chip = field(default_factory=Chip)
    depth: Amount | None = None
    power: Amount | None = None
    cautions: tuple[str, ...] = ()
    open: Missing | None = None


@dataclass(frozen=True, slots=True)
class _Case:
    """One operation with what its tool adds, and what each way still lacks, most telling first."""

    operation: Operation
    key: str
    work: Work | None
    diameter: Amount | None
    lacks_power: list[str]
    lacks_law: list[str]

    @property
    def called(self) -> str:
        return f'"{self.operation.name}"' if self.operation.name else self.key

    def estimates(self) -> list[Estimate]:
        """Return what each way gives that can be gone, best known first."""
        if self.work is None or self.diameter is None:
            return []
        ways: list[Way] = [] if self.lacks_power else ["power"]
        if not self.lacks_law:
            ways.append("law")
        work = drilled if self.work == "drills" else milled
        return [work(self.operation, self.diameter, way) for way in ways]


def forces_of(
    operation: Operation,
    key: str,
    tools: tuple[Tool, ...],
    file: str,
    units: Units,
    rated: Amount | None = None,
) -> CutForces:
    """Return the forces of an operation.

    Parameters
    ----------
    operation : Operation
    key : str
        Its place in the file, such as ``"operations[2]"``.
    tools : tuple of Tool
        Where the diameter of its cutter stands.
    file : str
        Name of the cell file.
    units : Units
        For the sentences.
    rated : Amount, optional
        Rated power of the spindle [W].
    """
    case = _case(operation, key, tools)
    found = case.estimates()
    thrust = Push(operation.thrust) if operation.thrust is not None else None
    side = Push(operation.side_force) if operation.side_force is not None else None
    cautions = _contradictions(case, found, units, rated)
    if not found:
        entered = thrust is not None or side is not None
        return CutForces(
            work=case.work,
            thrust=thrust,
            side=side,
            cautions=cautions,
            open=None if entered else _settles(case, file),
        )
    best = found[0]
    if best.side is not None and operation.side_force is not None:
        best = _in_step(best, best.side, operation.side_force)
    by_law = best.way == "law"
    estimated = thrust is None if case.work == "drills" else side is None
    return CutForces(
        work=case.work,
        way=best.way,
        thrust=thrust or best.thrust,
        side=side or best.side,
        twist=best.twist,
        lifts=thrust is None and case.work == "mills",
        estimated=estimated,
        rests_on=best.rests_on if estimated else "what was entered as a force",
        chip=found[0].chip,
        # How deep a drill goes changes nothing of how hard it pushes.
        depth=operation.depth if estimated and by_law and case.work == "mills" else None,
        power=operation.spindle_power if estimated and not by_law else None,
        cautions=cautions,
        open=_narrows(case, best, file) if estimated else None,
    )


def _in_step(found: Estimate, side: Push, entered: Amount) -> Estimate:
    """Return the other forces of a cutter in step with the side force that was entered."""
    across = side.times * WHOLE_FORCE.value
    return replace(
        found,
        thrust=Push(entered, found.thrust.times / across, found.thrust.factor),
        side=Push(entered),
        twist=Push(entered, found.twist.times / across),
    )


def forces_assumed(forces: dict[str, CutForces]) -> list[str]:
    """Return what worked-out forces take for granted, one sentence each, by operation's name."""

    def names(work: Work, way: Way | None = None) -> str:
        return ", ".join(
            f'"{name}"'
            for name, one in forces.items()
            if one.estimated and one.work == work and way in (None, one.way)
        )

    told = []
    if names("drills", "law"):
        told.append(
            f"Drilling thrust of {names('drills', 'law')} is estimated from the lips of a 118 deg "
            "drill and the specific cutting force, +-50 % for chisel edge and wear (common "
            "practice)."
        )
    if names("drills", "power"):
        told.append(
            f"Drilling thrust of {names('drills', 'power')} is estimated from the spindle load "
            "and the lips of a 118 deg drill, +-40 % for the chisel edge beside the load's own "
            "doubt (common practice)."
        )
    if names("mills", "law"):
        told.append(
            f"Forces of {names('mills', 'law')} are estimated by the law of the specific cutting "
            "force, +-40 % for table, wear and run-out (common practice)."
        )
    if names("mills", "power"):
        told.append(
            f"Forces of {names('mills', 'power')} are estimated from the spindle load: nine tenths "
            "of it reach the cutter, and a reading without a range is good to 20 % (common "
            "practice)."
        )
    if names("mills"):
        told.append(
            "Cutters are taken with straight teeth (a helix smooths the peaks); a cut of up to "
            "half the diameter lies at one side of the cutter; across the teeth push 0.4 +- 0.2 "
            "and along the spindle, either way, 0.4 +- 0.3 of the force round the rim (common "
            "practice)."
        )
    if any(
        one.estimated and one.work == "mills" and one.way == "power" and one.chip.teeth is None
        for one in forces.values()
    ):
        told.append(
            "Where width or teeth are not entered, a cutter's force peaks at 2 +- 1 times its mean "
            "(common practice)."
        )
    return told


def _case(operation: Operation, key: str, tools: tuple[Tool, ...]) -> _Case:
    """Return whether it drills or mills, how big the tool is, and what each way lacks."""
    work: Work | None = None
    if operation.drill_diameter is not None or operation.feed_per_turn is not None:
        work = "drills"
    elif any(
        entry is not None
        for entry in (operation.depth, operation.width, operation.teeth, operation.feed_per_tooth)
    ):
        work = "mills"
    place = next(
        (
            i
            for i, tool in enumerate(tools, start=1)
            if tool.number is not None and tool.number == operation.tool
        ),
        None,
    )
    diameter = operation.drill_diameter
    if diameter is None and place is not None:
        diameter = tools[place - 1].cutter_diameter
    size = []
    if diameter is None and work == "drills":
        size = [f"{key}.drill_diameter"]
    elif diameter is None:
        named = "tools" if place is None else f"tools[{place}].cutter_diameter"
        size = [f"{key}.tool" if operation.tool is None else named]

    def lacks(*names: str) -> list[str]:
        return [f"{key}.{name}" for name in names if getattr(operation, name) is None]

    pressure = [] if operation.cutting_pressure is not None else lacks("pressure_at_1mm")
    cut = ("feed_per_turn",) if work == "drills" else ("depth", "width", "teeth", "feed_per_tooth")
    return _Case(
        operation=operation,
        key=key,
        work=work,
        diameter=diameter,
        lacks_power=[*lacks("spindle_power", "speed"), *size],
        lacks_law=[*pressure, *lacks(*cut), *size],
    )


# --- contradictions ---------------------------------------------------------------------------


def _contradictions(
    case: _Case, worked: list[Estimate], units: Units, rated: Amount | None
) -> tuple[str, ...]:
    """Return which entries cannot all be right, and which of them is used."""
    told = []
    operation, name = case.operation, case.called
    for found in worked:
        # The axial share of a cutter is only guessed: it contradicts nothing.
        push = found.thrust if case.work == "drills" else found.side
        entry = "thrust" if case.work == "drills" else "side_force"
        entered = getattr(operation, entry)
        if entered is not None and push is not None and _apart(Push(entered), push):
            told.append(
                f"{name}: {entry} says {units.text(Kind.FORCE, entered.value)}, {found.rests_on} "
                f"give {units.text(Kind.FORCE, push.value)} "
                f"+- {units.text(Kind.FORCE, push.plus_minus or 0.0)}: {entry} is used; check both."
            )
    if len(worked) == 2 and _apart(worked[0].twist, worked[1].twist):
        first, second = worked
        told.append(
            f"{name}: {first.rests_on} give {units.text(Kind.TORQUE, first.twist.value)} at the "
            f"spindle, {second.rests_on} {units.text(Kind.TORQUE, second.twist.value)}: the first "
            "is used; check both."
        )
    width, diameter = operation.width, case.diameter
    if (
        case.work == "mills"
        and width is not None
        and diameter is not None
        and width.value > diameter.value * (1.0 + 1e-6)
    ):
        told.append(
            f"{name}: its width of {units.text(Kind.LENGTH, width.value)} is more than its "
            f"cutter's diameter of {units.text(Kind.LENGTH, diameter.value)}, which is used."
        )
    pressure = operation.cutting_pressure
    for found in worked[-1:]:
        by_law = found.chip.pressure_mpa
        if pressure is None or by_law is None:
            continue
        if abs(by_law - pressure.value) > PRESSURES_APART * pressure.value:
            told.append(
                f"{name}: pressure_at_1mm gives {units.text(Kind.STRESS, by_law)} at its chip, "
                f"cutting_pressure says {units.text(Kind.STRESS, pressure.value)}: the first is "
                "used; check both."
            )
    for found in worked:
        power = found.chip.power_w
        if rated is not None and power is not None and power > OVERLOAD * rated.value:
            told.append(
                f"{name}: {found.rests_on} give {units.text(Kind.POWER, power)} at the cutter, the "
                f"spindle is rated {units.text(Kind.POWER, rated.value)}: it would stall; check "
                "the entries."
            )
    return tuple(told)


def _apart(one: Push, other: Push) -> bool:
    doubt = math.hypot(one.plus_minus or 0.0, other.plus_minus or 0.0)
    return abs(one.value - other.value) > doubt


# --- what is open -----------------------------------------------------------------------------

HOW: Final = {
    "spindle_power": "read the spindle load while it cuts, take off what it reads idling (a meter "
    "in % times the rated power), and enter spindle_power",
    "speed": "read the spindle speed of the cut off the program",
    "pressure_at_1mm": "look it up for the material in a table of specific cutting forces, with "
    "pressure_exponent beside it",
    "depth": "read the depth of cut off the program",
    "width": "read off the program how wide the cutter cuts",
    "teeth": "count the teeth of the cutter",
    "feed_per_tooth": "divide the feed by spindle speed and teeth",
    "feed_per_turn": "divide the feed by the spindle speed",
    "drill_diameter": "read it off the drill's shank",
    "cutter_diameter": "measure the cutter, or take it from its label",
    "tool": "write the number of its tool, with cutter_diameter in [[tools]]",
    "tools": "add a [[tools]] entry of that number with its cutter_diameter",
}


def _settles(case: _Case, file: str) -> Missing:
    """Return the one entry worth getting first: that which completes the nearest way."""
    if case.work is None and not case.lacks_power:
        return Missing(
            f"whether {case.called} drills or mills",
            f"{file}: {case.key}.width",
            "the power read is known, but not which way it pushes",
            "enter width and teeth of a cutter, or drill_diameter of a drill",
        )
    # A reading of the spindle load is the cheapest: it goes before where both lack as much.
    lacks = min(case.lacks_power, case.lacks_law, key=len)
    short = lacks[0].rpartition(".")[2]
    if short == "spindle_power":
        what = f"force of {case.called}, or the spindle load while it cuts"
    else:
        what = f"{short.replace('_', ' ')} of {case.called}, for its force"
    also = [key.rpartition(".")[2] for key in lacks[1:]]
    if case.work is None:
        also.append("width and teeth of a cutter, or drill_diameter of a drill")
    more = f"; then {', '.join(also)}" if also else ""
    return Missing(
        what,
        f"{file}: {lacks[0]}",
        "without a force only its limit can be told, in the table",
        f"{HOW[short]}{more}",
    )


def _narrows(case: _Case, found: Estimate, file: str) -> Missing:
    """Return the entry that would narrow an estimate most."""
    operation = case.operation
    if case.work == "drills":  # the chisel edge hardly turns: the spindle load says little of it
        return Missing(
            f"measured thrust of {case.called}",
            f"{file}: {case.key}.thrust",
            "its estimate is wide: the lips alone are counted",
            "use a thrust table of the drill, or drill on a scale, and enter thrust with +-",
        )
    if found.way == "law":
        return Missing(
            f"spindle load of {case.called} while it cuts",
            f"{file}: {case.key}.spindle_power",
            "a force by a table of the material is a wide estimate",
            HOW["spindle_power"],
        )
    for short in ("width", "teeth"):
        if getattr(operation, short) is None:
            return Missing(
                f"{short} of {case.called}",
                f"{file}: {case.key}.{short}",
                "how far its force peaks over the mean hangs on the arc of the cut",
                HOW[short],
            )
    return Missing(
        f"measured side force of {case.called}",
        f"{file}: {case.key}.side_force",
        "a force by the spindle load is unsure",
        "cut on a force plate, or read the load several times and enter spindle_power with +-",
    )
