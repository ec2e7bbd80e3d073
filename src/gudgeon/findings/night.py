"""How long a person may stay away: tool lives over many loads, a shift, a night."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from gudgeon.answer import Missing
from gudgeon.findings.order_mends import OrderMendFindings
from gudgeon.findings.ordering import OrderFinding
from gudgeon.order.wear import End, Load, Range, Run, Shift, Spread, per_shift, ranged, unattended
from gudgeon.quantity.amount import Amount

__all__ = ["NightFinding", "NightFindings", "ToolUse", "Worn"]

SHARE_RUNNING = 0.9
"""Share of a shift in which a machine can run, where none is entered (common practice)."""


@dataclass(frozen=True, slots=True)
class ToolUse:
    """What a load takes of one tool.

    Attributes
    ----------
    number : int
    name : str
    life : Amount or None
        [s]; ``None`` where none is entered: it then ends nothing.
    used_s : float
        In the cut a load [s].
    loads : int or None
        Whole loads that one tool lasts from fresh; ``None`` without a life.
    sisters : tuple of int
    loads_together : int or None
        Whole loads that it lasts with its sisters.
    """

    number: int
    name: str
    life: Amount | None
    used_s: float
    loads: int | None
    sisters: tuple[int, ...]
    loads_together: int | None


@dataclass(frozen=True, slots=True)
class Worn:
    """A tool that does not last one load.

    Attributes
    ----------
    tool : int
    sisters : tuple of int
        Sisters that have to be loaded so that the load is done; empty where all of them do not do.
    before : str
        The first cut that none of them can begin; empty where the sisters do.
    """

    tool: int
    sisters: tuple[int, ...]
    before: str


@dataclass(frozen=True, slots=True)
class NightFinding:
    """Runs without a person.

    Attributes
    ----------
    uses : tuple of ToolUse
        Tools of the load, by their numbers.
    worn : tuple of Worn
        Tools that do not last one load by themselves.
    visit : Range
        From fresh tools until somebody must come: all loads are done, or a tool ends it.
    visit_loads : int
        Loads that are there (1 unless some change themselves).
    shift : Shift or None
        ``None`` where no hours or no loading time are entered.
    hours_s : float or None
        Of the night [s].
    night : Range or None
        ``None`` where no night is entered.
    first : Run
        Load after load from fresh tools until one ends it; `End.NEVER` if none does.
    first_tool : int or None
        The tool that ends it.
    one_more : int or None
        Loads of a night that a further sister of the tool that ends it would add.
    parts : int
        Parts of a load.
    told : tuple of str
    missing : tuple of Missing
    """

    uses: tuple[ToolUse, ...]
    worn: tuple[Worn, ...]
    visit: Range
    visit_loads: int
    shift: Shift | None
    hours_s: float | None
    night: Range | None
    first: Run
    first_tool: int | None
    one_more: int | None
    parts: int
    told: tuple[str, ...]
    missing: tuple[Missing, ...]


class NightFindings(OrderMendFindings):
    """Facts about runs without a person."""

    @cached_property
    def night(self) -> NightFinding | None:
        """Runs without a person; ``None`` where a cut has no time yet; raises `Lacking`."""
        found = self.ordering
        if found.unknown or found.machine.value <= 0.0:
            return None
        return self._night(found)

    def _night(self, found: OrderFinding) -> NightFinding:
        load, tools = _as_load(found)
        lives = [self._lives(tool) for tool in tools]
        spread = self._spread(found, tools)
        shift, night = self.cell.shift, self.cell.shift.night
        count = night.loads or 1
        between = 0.0 if found.loading is None else found.loading.value
        first = unattended(load, lives, change_s=between)
        hours = None if night.hours is None else night.hours.value
        by_night = None
        one_more = None
        if hours is not None:
            by_night = ranged(load, lives, spread, seconds=hours, loads=count)
            ended = by_night.run.family
            if by_night.run.end is End.TOOL and ended is not None:
                more = [[*own, own[-1]] if k == ended else list(own) for k, own in enumerate(lives)]
                longer = unattended(load, more, seconds=hours, loads=count)
                one_more = longer.loads - by_night.run.loads
        return NightFinding(
            uses=tuple(self._use(tool, k, load, lives[k]) for k, tool in enumerate(tools)),
            worn=tuple(self._worn(found, load, tools, lives)),
            visit=ranged(load, lives, spread, loads=count),
            visit_loads=count,
            shift=None
            if shift.hours is None or found.loading is None
            else per_shift(
                found.machine.value,
                found.loading.value,
                shift.hours.value,
                SHARE_RUNNING if shift.share_running is None else shift.share_running.value,
            ),
            hours_s=hours,
            night=by_night,
            first=first,
            first_tool=None if first.family is None else tools[first.family],
            one_more=one_more,
            parts=found.parts,
            told=tuple(self._night_told(tools, found)),
            missing=tuple(self._night_missing(tools)),
        )

    # --- tools ----------------------------------------------------------------------------------

    def _sisters(self, tool: int) -> tuple[int, ...]:
        known = next((one for one in self.cell.tools if one.number == tool), None)
        if known is None:
            return ()
        return tuple(dict.fromkeys(number for number in known.sisters if number != tool))

    def _life(self, tool: int) -> Amount | None:
        return next((one.life for one in self.cell.tools if one.number == tool), None)

    def _lives(self, tool: int) -> list[float]:
        """Return the lives of a tool and its sisters; none where its own is not entered."""
        own = self._life(tool)
        if own is None:
            return []
        lives = [own, *(self._life(sister) or own for sister in self._sisters(tool))]
        return [life.value for life in lives]

    def _use(self, tool: int, family: int, load: Load, lives: Sequence[float]) -> ToolUse:
        mine = load.family == family
        alone = Load(load.cycle_s, load.at_s[mine], load.takes_s[mine], 0 * load.family[mine])
        used = float(load.takes_s[mine].sum())
        limited = bool(lives) and used > 0.0
        return ToolUse(
            number=tool,
            name=next((one.name or "" for one in self.cell.tools if one.number == tool), ""),
            life=self._life(tool),
            used_s=used,
            loads=unattended(alone, [lives[:1]]).loads if limited else None,
            sisters=self._sisters(tool),
            loads_together=unattended(alone, [lives]).loads if limited else None,
        )

    def _worn(
        self, found: OrderFinding, load: Load, tools: Sequence[int], lives: Sequence[list[float]]
    ) -> list[Worn]:
        """Return the tools that do not last one load by themselves."""
        worn = []
        for k, tool in enumerate(tools):
            if not lives[k]:
                continue
            sisters = self._sisters(tool)
            for count in range(1, len(lives[k]) + 1):
                own = [lives[k][:count] if j == k else [] for j in range(len(tools))]
                run = unattended(load, own, loads=1)
                if run.end is not End.TOOL:
                    if count > 1:
                        worn.append(Worn(tool, sisters[: count - 1], ""))
                    break
            else:
                assert run.cut is not None
                worn.append(Worn(tool, (), found.steps[run.cut].job.label))
        return worn

    def _spread(self, found: OrderFinding, tools: Sequence[int]) -> Spread:
        def share(amount: Amount | None) -> float:
            if amount is None or amount.value <= 0.0:
                return 0.0
            return 2.0 * amount.u / amount.value

        return Spread(
            cycle=share(found.machine),
            takes=share(found.causes["cutting"]),
            life=max((share(self._life(tool)) for tool in tools), default=0.0),
        )

    # --- words ----------------------------------------------------------------------------------

    def _night_told(self, tools: Sequence[int], found: OrderFinding) -> list[str]:
        told = ["A run without a person begins with fresh tools."]
        without = [tool for tool in tools if self._life(tool) is None]
        if without:
            names = ", ".join(f"T{tool}" for tool in without)
            told.append(f"{names}: no life is entered (tools.life), so it is taken to last.")
        shared = {sister for tool in tools for sister in self._sisters(tool)} & set(tools)
        if shared:
            names = ", ".join(f"T{tool}" for tool in sorted(shared))
            told.append(f"{names} cuts by itself and as a sister: its life is counted for each.")
        if self.cell.shift.hours is not None and self.cell.shift.share_running is None:
            told.append(
                f"The machine can run in {SHARE_RUNNING:.0%} of a shift (shift.share_running is "
                "not entered; common practice, no source)."
            )
        night = self.cell.shift.night
        if (night.loads or 1) > 1:
            told.append("Loads that change themselves take no time for that.")
        return told

    def _night_missing(self, tools: Sequence[int]) -> list[Missing]:
        file = self.cell.file
        missing = []
        places = {tool.number: k for k, tool in enumerate(self.cell.tools, start=1)}
        for tool in tools:
            if self._life(tool) is None and tool in places:
                missing.append(
                    Missing(
                        f"life of T{tool}",
                        f"{file}: tools[{places[tool]}].life",
                        "it is not known when it has to be changed",
                        "count its time in the cut until it is worn, or take the maker's figure",
                    )
                )
        if self.cell.shift.hours is None:
            missing.append(
                Missing(
                    "hours of a shift",
                    f"{file}: shift.hours",
                    "parts a shift follow from it",
                    "write the hours of a shift, breaks taken off",
                )
            )
        return missing


def _as_load(found: OrderFinding) -> tuple[Load, list[int]]:
    """Return the cuts of a load as wear counts them, and the tool of each family."""
    tools = sorted({step.job.tool for step in found.steps})
    at = [step.start_s for step in found.steps]
    takes = [step.own.cut.value if step.own is not None else 0.0 for step in found.steps]
    family = [tools.index(step.job.tool) for step in found.steps]
    # The last cut may end with the load; rounding must not put its start behind that.
    cycle = max(found.machine.value, max(at, default=0.0))
    return Load(cycle, at, takes, family), tools


def loads_for(seconds: float, cycle_s: float) -> int:
    """Return how many loads run for at least so long."""
    return max(1, math.ceil(seconds / cycle_s - 1e-9))
