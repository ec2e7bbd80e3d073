"""What the head carries: cutter, shank and holder of a tool, steps one by one, the spindle nose."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gudgeon.cell.model import Tool, ToolStep
from gudgeon.findings.base import FindingsBase
from gudgeon.findings.bodies import T, least, most, round_bar
from gudgeon.findings.gather import Gather
from gudgeon.quantity.amount import Amount

if TYPE_CHECKING:
    from gudgeon.clearance.scene import Body, Role

__all__ = ["NOSE", "ToolBodyFindings"]

NOSE: Final = "spindle nose"
NOSE_LEAST_MM: Final = 300.0
"""The head over the nose counts at least so far up (common practice, no source)."""


SIZES: Final = {
    "length": (
        "length of {}, gauge point to tip",
        "measure it on the presetter, or touch the tip on a block of known height",
    ),
    "cutter_diameter": ("cutter diameter of {}", "measure it over the flutes"),
    "stickout": ("stickout of {}, tip to holder", "measure from the tip to the face of the holder"),
    "holder_diameter": (
        "holder diameter of {}",
        "measure the holder where it is widest, nut included",
    ),
}
"""What a tool without steps is made of: entry, what it is, how to get it."""


def needed(tool: Tool, entry: str, key: str, name: str, gather: Gather) -> Amount:
    """Return a size of a tool; noted in `gather` if it is not entered."""
    what, how = SIZES[entry]
    value: Amount | None = getattr(tool, entry)
    return gather.need(
        value,
        f"{key}.{entry}",
        what.format(name),
        why="what hangs in the spindle cannot be judged without it",
        how=how,
    )


class ToolBodyFindings(FindingsBase):
    """Bodies of the head, counted from the gauge point."""

    def tool_bodies(self, number: int | None) -> tuple[Body, ...]:
        """Return what the head carries with a tool in it, counted from the gauge point.

        Cutter, shank, holder and the spindle's nose; without a number the nose alone.

        Raises
        ------
        Lacking
            If the tool is not in the list, or its sizes are not entered.
        """
        bodies = list(self._nose())
        if number is None:
            return tuple(bodies)
        tool = next((tool for tool in self.cell.tools if tool.number == number), None)
        if tool is None:
            gather = self.gather()
            gather.need(
                None,
                "tools",
                f"tool {number}",
                why="a tool that is not in the list cannot be judged",
                how=f"add it under [[tools]] with number = {number}, length, cutter_diameter, "
                "stickout and holder_diameter",
            )
            gather.stop()
        assert tool is not None
        return (*self._tool_parts(tool), *bodies)

    def _tool_parts(self, tool: Tool) -> list[Body]:
        from gudgeon.clearance.scene import Role

        gather = self.gather()
        key, name = f"tools[{self.cell.tools.index(tool) + 1}]", f"T{tool.number}"
        if tool.steps:
            return self._tool_steps(tool, key, name, gather)
        length, cutter, stickout, holder = (
            needed(tool, entry, key, name, gather) for entry in SIZES
        )
        gather.stop()
        tip = -most(length)
        # The holder's face may stand lower than told where either end is not sure.
        face = min(tip + least(stickout), 0.0)
        flutes = min(tip + least(tool.flute_length), face) if tool.flute_length else face
        flutes = max(flutes, tip)
        shank = tool.shank_diameter or cutter
        # A wider part below may reach higher than told.
        cutter_top, shank_top = flutes, face
        if most(cutter) > most(shank if flutes < face else holder):
            cutter_top = max(flutes, min(most(tool.flute_length or stickout) - least(length), 0.0))
        if flutes < face and most(shank) > most(holder):
            shank_top = max(face, min(most(stickout) - least(length), 0.0))
        parts = (
            (tip, cutter_top, cutter, Role.CUTTER),
            (flutes, shank_top, shank, Role.SHANK),
            (face, 0.0, holder, Role.HOLDER),
        )
        return [
            _bar(f"{name} {role.value}", low, high, most(diameter) / 2.0, role)
            for low, high, diameter, role in parts
            if high > low
        ]

    def _tool_steps(self, tool: Tool, key: str, name: str, gather: Gather) -> list[Body]:
        from gudgeon.clearance.scene import Role

        found = shank_and_steps(tool, key, name, gather)
        if found and not any(reaches for _, reaches in found):
            holder = gather.need(
                tool.holder_diameter,
                f"{key}.holder_diameter",
                f"holder diameter of {name} above its steps",
                why="the steps end below the gauge line",
                how="enter the steps up to the gauge line, or the holder's diameter",
            )
            if holder is not None:
                top = max(
                    float(points[:, 2].max()) for body, _ in found for _, points in body.solids
                )
                bar = _bar(f"{name} holder", top, 0.0, most(holder) / 2.0, Role.HOLDER)
                found.append((bar, True))
        gather.stop()
        return [body for body, _ in found]

    def _nose(self) -> list[Body]:
        from gudgeon.clearance.scene import Body, Carrier, Role

        machine = self.cell.machine
        if machine.nose_diameter is None:
            return []
        radius = most(machine.nose_diameter) / 2.0
        up = NOSE_LEAST_MM + (machine.gauge_to_table.value if machine.gauge_to_table else 0.0)
        solid = round_bar(T, [0.0, 0.0, 0.0], [0.0, 0.0, up], radius, radius)
        return [Body(NOSE, Carrier.HEAD, Role.NOSE, (solid,))]


def shank_and_steps(tool: Tool, key: str, name: str, gather: Gather) -> list[tuple[Body, bool]]:
    """Return the bodies of a tool's steps, each with whether it reaches the gauge line."""
    from gudgeon.clearance.scene import Body, Carrier, Role

    length = needed(tool, "length", key, name, gather)
    found: list[tuple[Body, bool]] = []
    for number, step in enumerate(tool.steps, start=1):
        before = len(gather.missing)
        _need_step(step, f"{key}.steps[{number}]", f"step {number} of {name}", gather)
        if len(gather.missing) > before or length is None:
            continue
        assert step.low and step.high and step.diameter and step.counts_as
        bottom = -most(length) + least(step.low)
        top = min(-least(length) + most(step.high), 0.0)
        if top <= bottom:
            continue
        radius = most(step.diameter) / 2.0
        upper = most(step.high_diameter) / 2.0 if step.high_diameter else radius
        solid = round_bar(T, [0.0, 0.0, bottom], [0.0, 0.0, top], radius, upper)
        label = step.counts_as if len(tool.steps) == 1 else f"{step.counts_as}, step {number}"
        body = Body(f"{name} {label}", Carrier.HEAD, Role(step.counts_as), (solid,))
        found.append((body, top >= -0.5))
    return found


def _need_step(step: ToolStep, key: str, name: str, gather: Gather) -> None:
    for entry, what in (
        ("low", "lower end"),
        ("high", "upper end"),
        ("diameter", "diameter"),
        ("counts_as", "kind (cutter, shank or holder)"),
    ):
        gather.need(
            getattr(step, entry),
            f"{key}.{entry}",
            f"{what} of {name}",
            why="what is entered by halves cannot be judged",
            how=f"enter {entry}; ends are counted upwards from the tip",
        )


def _bar(name: str, low: float, high: float, radius: float, role: Role) -> Body:
    """Return a round bar on the spindle line, counted from the gauge point."""
    from gudgeon.clearance.scene import Body, Carrier

    solid = round_bar(T, [0.0, 0.0, low], [0.0, 0.0, high], radius, radius)
    return Body(name, Carrier.HEAD, role, (solid,))
