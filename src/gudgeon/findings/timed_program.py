"""How long a program takes, split by what takes the time, by tool and by pose."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.answer import Missing
from gudgeon.findings.gather import Lacking
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.timed import TimedFindings
from gudgeon.findings.timed_ground import Duration, Ground, Spread, spread_of
from gudgeon.findings.timed_steps import Steps, Use, steps_of, summed
from gudgeon.findings.timed_stopwatch import Read, Stopwatch, own_reading, set_right
from gudgeon.findings.timed_words import CAUSES, NUMBER, Cause
from gudgeon.program.reader import read
from gudgeon.program.track import Track
from gudgeon.timing.moves import Lever

if TYPE_CHECKING:
    from gudgeon.quantity.amount import Amount

__all__ = ["ProgramTime", "ProgramTimeFindings"]

_TOLD: Final = {
    "spindle_start": "starts of the spindle",
    "spindle_stop": "stops of the spindle",
    "word": "other words",
    "probe_touch": "probing touches",
}
_VERBS: Final = {"clamp": "clamping", "unclamp": "letting go"}

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(slots=True)
class ProgramTime:
    """How long one program takes.

    Attributes
    ----------
    name : str
    uses : tuple of Use
    spread : Spread
        Seconds by use and cause, shape (uses, causes).
    stops, optional_stops : int
        Program stops, which wait for a person and are not counted.
    short : tuple of str
        Why the sum is a lower bound; empty: all is counted.
    missing : tuple of Missing
        Entries that would let the rest be counted.
    assumed : tuple of str
    """

    name: str
    uses: tuple[Use, ...]
    spread: Spread
    stops: int
    optional_stops: int
    short: tuple[str, ...]
    missing: tuple[Missing, ...]
    assumed: tuple[str, ...]

    @property
    def total(self) -> Duration:
        """The whole program, stops left out."""
        found = self.spread.over()
        return Duration(found.value, found.plus_minus, self.assumed)

    @property
    def by_cause(self) -> dict[Cause, Duration]:
        """What takes the time; the parts add up to the whole."""
        where = np.arange(len(CAUSES))
        return {cause: self._of(where[None, :] == i) for i, cause in enumerate(CAUSES)}

    @property
    def by_tool(self) -> dict[int | None, Duration]:
        """Seconds with each tool in the spindle, in the order of the program."""
        tools = dict.fromkeys(use.tool for use in self.uses)
        return {tool: self._of(self._mask(lambda use, t=tool: use.tool == t)) for tool in tools}  # type: ignore[misc]

    def in_the_cut(self, chosen: Callable[[Use], bool]) -> Duration:
        """Return seconds at feed, dwells and rapids between them of the uses that are chosen."""
        working = [Cause.CUTTING, Cause.RAPIDS, Cause.DWELL, Cause.PROBING]
        causes = np.isin(np.arange(len(CAUSES)), [NUMBER[cause] for cause in working])
        return self._of(self._mask(chosen) & causes[None, :])

    def at_feed(self, chosen: Callable[[Use], bool]) -> Duration:
        """Return seconds at feed of the uses that are chosen: what wears a tool."""
        cutting = np.arange(len(CAUSES)) == NUMBER[Cause.CUTTING]
        return self._of(self._mask(chosen) & cutting[None, :])

    def _mask(self, chosen: Callable[[Use], bool]) -> Mask:
        return np.array([chosen(use) for use in self.uses], dtype=np.bool_)[:, None]

    def _of(self, mask: Mask) -> Duration:
        return self.spread.over(np.broadcast_to(mask, self.spread.value.shape))


@dataclass(slots=True)
class _Running:
    """What moves in one program: seconds and full stops by use and cause."""

    steps: Steps
    moving: Spread
    stops: Floats
    told: tuple[str, ...]


class ProgramTimeFindings(TimedFindings):
    """How long the programs of the cell take."""

    @cached_property
    def program_times(self) -> tuple[ProgramTime, ...]:
        """How long each program takes that was handed in; raises `Lacking`."""
        return tuple(
            self.program_time(self._program_track(program), program.name)
            for program in self.programs
        )

    def program_time(self, track: Track, name: str) -> ProgramTime:
        """Return how long a program takes that was read.

        Parameters
        ----------
        track : Track
        name : str
            What its file is called.

        Raises
        ------
        Lacking
            Naming the speeds of the axes that it moves, where they are not entered.
        """
        running = self._running(track)
        steps = running.steps
        counted = Spread(np.zeros_like(running.stops))
        left_out = _add_counted(counted, steps, self._pauses)
        spread, by_watch = self._as_timed(running, counted, name)
        more, missing = self._left_out_told(left_out, steps)
        return ProgramTime(
            name=name,
            uses=tuple(steps.uses),
            spread=spread,
            stops=steps.stops,
            optional_stops=steps.optional_stops,
            short=tuple(steps.short),
            missing=missing,
            assumed=(*running.told, *steps.told, *more, *by_watch),
        )

    @cached_property
    def stopwatch(self) -> Stopwatch | None:
        """What the times taken at the machine say; ``None`` where there is none that can be used.

        Raises
        ------
        Lacking
            Naming the speeds of the axes that a timed program moves.
        """
        from gudgeon.timing.calibrate import Timing, calibrate

        told: list[str] = []
        readings: list[Read] = []
        rows: list[Timing] = []
        by_name = {program.name: program for program in self.programs}
        settle_s = self.motion_rules.settle_s
        for number, one in enumerate(self.cell.timing.stopwatch, start=1):
            program = by_name.get((one.program or "").rpartition("/")[2])
            if one.seconds is None or program is None:
                why = (
                    "no time" if one.seconds is None else f'"{one.program}" was not handed in here'
                )
                told.append(f"Stopwatch reading {number} is not used: {why}.")
                continue
            running = self._running(self._program_track(program))
            counted = Spread(np.zeros_like(running.stops))
            left_out = _add_counted(counted, running.steps, self._pauses)
            if running.steps.short or "tool_change" in left_out:
                told.append(
                    f"Stopwatch reading {number} is not used: not all of {program.name} could be "
                    "counted."
                )
                continue
            whole, other = _both(running.moving, counted).over(), counted.over()
            read_ = Read(program.name, one.seconds, whole.value, whole.plus_minus)
            readings.append(read_)
            stops = float(running.stops.sum())
            moving = float(running.moving.value.sum()) - settle_s * stops
            rows.append(Timing(moving, stops, other.value, one.seconds.value, 0.5 * read_.half_s))
        if not rows:
            return None if not told else Stopwatch(calibrate(()), (), tuple(told))
        fit = calibrate(rows, settle_s)
        worst = max(readings, key=lambda one: abs(one.off_share))
        off = abs(worst.off_share)
        told.append(
            f"{len(readings)} stopwatch reading{'s' * (len(readings) > 1)}: the sums were off by "
            f"{'up to ' * (len(readings) > 1)}{off:.1%} "
            f"({'too long' if worst.off_share > 0.0 else 'too short'})."
        )
        if fit.contradict:
            told.append(
                "The stopwatch readings contradict each other or the entries: time both programs "
                "again, and look at the pauses under [timing]."
            )
        return Stopwatch(fit, tuple(readings), tuple(told))

    # --- how it is worked out -------------------------------------------------------------------

    def _as_timed(
        self, running: _Running, counted: Spread, name: str
    ) -> tuple[Spread, tuple[str, ...]]:
        """Return the whole program, set right by the stopwatch where that makes it surer."""
        plain = _both(running.moving, counted)
        watch = self.stopwatch if self.cell.timing.stopwatch else None
        if watch is None:
            return plain, ()
        own = watch.of(name)
        if own is not None:
            timed = own_reading(running.moving, float(counted.value.sum()), own)
            if timed is None:
                told = "The pauses entered under [timing] are longer than the time taken by itself."
                return plain, (*watch.told, told)
            told = f"This program was timed: {own.taken.value:.1f} s +- {own.half_s:.1f} s."
            return _both(timed, Spread(counted.value)), (*watch.told, told)
        moving, told_by = self.by_stopwatch(running.moving, running.stops)
        return _both(moving, counted), told_by

    def by_stopwatch(self, moving: Spread, stops: Floats) -> tuple[Spread, tuple[str, ...]]:
        """See `TimedFindings.by_stopwatch`; readings that contradict each other set nothing right.

        Where they agree with the sums, what is surer counts.
        """
        try:
            watch = self.stopwatch if self.cell.timing.stopwatch else None
        except Lacking:  # of axes that a timed program moves, and these moves need not
            watch = None
        if watch is None or not watch.readings or watch.fit.contradict:
            return moving, () if watch is None else watch.told
        settle_s = self.motion_rules.settle_s
        right = set_right(moving.value - settle_s * stops, stops, watch.fit)
        if watch.agrees and moving.over().plus_minus <= right.over().plus_minus:
            return moving, watch.told
        told = f"Set right by the stopwatch: what moves takes {watch.fit.scale:.3f} of its sum"
        if watch.fit.per_stop_s > 0.0:
            told += f", and {watch.fit.per_stop_s:.3f} s at each full stop"
        return right, (*watch.told, f"{told}.")

    def _running(self, track: Track) -> _Running:
        """Return the seconds of everything that moves, settling included; raises `Lacking`."""
        over_work = self.cell.timing.mixed_feed == "over the work"
        steps = steps_of(track, self.worked_by_words, self._turned_work if over_work else None)
        own, unsure, told = self.ground(steps.axes, steps.concerns)
        from gudgeon.timing.clock import time_moves  # the compiler, only where it is needed

        label = steps.use * len(CAUSES) + steps.cause
        shape = len(steps.uses), len(CAUSES)
        stood: list[Floats] = []

        def timed(ground: Ground) -> Floats:
            done = time_moves(steps.moves, ground.limits, ground.rules)
            assert done is not None  # nobody stops it
            if not stood:  # the best guess comes first
                stood.append(done.stood.astype(np.float64))
            return summed(label, done.seconds, shape[0] * shape[1]).reshape(shape)

        moving = spread_of(timed, own, unsure)
        stops = summed(label, stood[0], shape[0] * shape[1]).reshape(shape)
        return _Running(steps, moving, stops, told)

    def _program_track(self, program: ProgramText) -> Track:
        dialect = self.control_for(program.text).dialect
        return read(program.text, dialect, called=program.called, progress=program.reading)

    @property
    def _pauses(self) -> dict[str, Amount | None]:
        """Times of what happens without motion, by the names of `timed_steps.Counted`."""
        timing = self.cell.timing
        names = ("tool_change", "spindle_start", "spindle_stop", "word", "probe_touch")
        pauses: dict[str, Amount | None] = {name: getattr(timing, name) for name in names}
        for verb in ("unclamp", "clamp"):
            for words, axes in (("tilt", [3]), ("rotary", [4]), ("tilt rotary", [3, 4])):
                pauses[f"{verb} {words}"] = self.longest_clamp(verb, axes)
        return pauses

    def _left_out_told(
        self, left_out: dict[str, int], steps: Steps
    ) -> tuple[list[str], tuple[Missing, ...]]:
        """Return sentences about what is counted without a time; a change makes the sum short."""
        told: list[str] = []
        missing: list[Missing] = []
        for name, count in left_out.items():
            verb, _, axes = name.partition(" ")
            key = f"timing.{name}"
            if axes:
                key = " and ".join(f"unit.motion.{axis}_{verb}" for axis in axes.split())
            if name != "tool_change":
                what = _TOLD.get(name, f"{_VERBS.get(verb, verb)} the {axes.replace(' ', ' and ')}")
                told.append(
                    f"No time is counted for {what}, {count} in this program ({key} not entered)."
                )
                continue
            changes = f"{count} tool change{'s' * (count > 1)}"
            steps.short.append(f"{changes} count no time ({key} is not entered)")
            missing.append(
                Missing(
                    "time of a tool change",
                    f"{self.cell.file}: {key}",
                    f"{changes} of this program count no time without it",
                    "time one from spindle stopped to free to move, or see the machine's manual",
                )
            )
        return told, tuple(missing)

    def _turned_work(self, lengths_mm: Floats) -> Lever:
        """Return where the work turns, for feeds that count over the work; raises `Lacking`."""
        chain = self.axis_lines.chain
        point, direction = np.zeros((2, 3)), np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
        sense = np.ones(2)
        for axis in chain.axes:
            place = 0 if axis.role == "tilt" else 1
            point[place], direction[place] = axis.line.point_mm, axis.line.direction
            sense[place] = axis.sense
        return Lever(point, direction, sense, lengths_mm)


def _both(one: Spread, other: Spread) -> Spread:
    """Return the sum of two spreads; reasons of one name count together."""
    made = Spread(one.value.copy(), dict(one.shares))
    for name, share in other.shares.items():
        made.shares[name] = made.shares.get(name, 0.0) + share
    made.value = made.value + other.value
    return made


def _add_counted(
    spread: Spread, steps: Steps, amounts: Mapping[str, Amount | None]
) -> dict[str, int]:
    """Add what happens without motion; return how often what has no entry happens."""
    left_out: dict[str, int] = {}
    shape = spread.value.shape
    for one in steps.counted:
        amount = amounts.get(one.name)
        if amount is None:
            left_out[one.name] = left_out.get(one.name, 0) + len(one.uses)
            continue
        often = np.zeros(shape)
        often[:, NUMBER[one.cause]] = np.bincount(one.uses, minlength=shape[0])
        spread.add(one.name, often * amount.value, often * (amount.plus_minus or 0.0))
    dwell = np.zeros(shape)
    dwell[:, NUMBER[Cause.DWELL]] = steps.dwell_s
    spread.add("dwell", dwell, np.zeros(shape))
    return left_out
