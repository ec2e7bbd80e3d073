"""Morning by morning: has it moved, is it drifting, or was it one bad reading?

Each morning the evidence for a step at each earlier row since the last known change is added up
(Shiryaev-Roberts sum).  Without a step the sum less the number of rows is a martingale, so it
reaches a limit within n rows with a chance of n / limit at most (Doob's inequality; both from
memory).  By that proof `ALARM` holds the chance to 13 % within 40 days, all temperatures noted.
The 5 % that are promised hold by simulation: see `ALARM`.  What is told then (step, trend, one bad
reading) is weighed by the same evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.drift.evidence import Estimate, Evidence
from gudgeon.drift.record import Record

__all__ = ["ALARM", "FALSE_RATE", "WATCHED_DAYS", "Change", "Morning", "Watch", "watch"]

Floats = NDArray[np.float64]

WATCHED_DAYS: Final = 40.0
"""Days over which the rate of false alarms is held."""

FALSE_RATE: Final = 0.05
"""Share of shops where nothing moves and that may get an alarm within `WATCHED_DAYS`."""

ALARM: Final = 300.0
"""Sum of the evidence that makes an alarm.

Set by simulation with the shops of tests/drift/simulate.py.  Share in which the sum reached 300
without a change (seed 77, 300 shops of each setting, 40 days): plain 0, noise 1.5 times the stated
1.0, slope twice the plausible 0, ramp of 16 degC 0.7, uneven days 1.0, two poses 0.7 %; 3 of 10
temperatures missing 2.4 % of 166; none noted 0 of 200 (seed 5); 120 days 2.0 % of 200 (seed 16;
a limit of 250 reached 5.0 %).  Steps of 4 standard deviations declared by the end of the record:
97 to 99 % at a limit of 250, 98 % (plain) and 93.5 % (two poses) of 200 at 320 (seed 78); by the
tenth check behind it 81 to 93 %.
"""

GUESSED_COST: Final = 4.0
"""Evidence is divided by 1 + this times the share of temperatures that were not noted.

A guessed temperature is shared by all series, which are weighed as independent.  Set by simulation:
without it 5.0 % (45 of 100 missing, 120 shops, seed 91) and 10.8 % (60 of 100, seed 92) had an
alarm for nothing; at the 800 to 1000 that it amounts to, 1.7 and about 3 %.
"""

SET_CONTENT: Final = 0.97
"""Probability that the set of days is filled up to; a little more than the 95 % that is told."""

ANY_SIZE: Final = (4.0, 15.0, 60.0, 240.0)
"""Sizes of a change where its kind is weighed, in stated uncertainties."""

STEP_ODDS: Final = 9.0
"""A step is so many times more usual than a trend (common practice, no source)."""

MOST_CHANGES: Final = 12
"""Changes kept apart; a record with more is not that of a check."""

FLEETING: Final = 0.8
"""Probability from which one reading counts as bad, not as moved."""


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """Something that happened.

    Attributes
    ----------
    kind : str
        ``"step"`` or ``"trend"``.
    row : int
        First row after it, the most probable one.
    rows : tuple of int
        First rows after it that together hold 95 % of the probability, in order.
    declared : int
        Row at which it was declared.
    step_probability : float
        Of a step against a trend.
    size, size_u : ndarray, shape (d,)
        Step [mm], or trend by the day [mm/d]; standard uncertainty with the day unsure.
    """

    kind: str
    row: int
    rows: tuple[int, ...]
    declared: int
    step_probability: float
    size: Floats
    size_u: Floats


@dataclass(frozen=True, slots=True)
class Morning:
    """What was said when one row had been read.

    Attributes
    ----------
    row : int
    said : str
        ``"steady"``, ``"again"`` (take it again), ``"moved"``, ``"drifting"`` or ``"bad"`` (the
        row before was a bad reading).
    evidence : float
        Sum of the evidence; `ALARM` makes an alarm.
    """

    row: int
    said: str
    evidence: float


@dataclass(frozen=True, slots=True, eq=False)
class Watch:
    """The whole record as it is judged after its last row.

    Attributes
    ----------
    mornings : tuple of Morning
    changes : tuple of Change
        In order, those at known corrections left out.
    bad : tuple of int
        Rows set aside as bad readings.
    doubtful : int or None
        The last row, if it must be taken again before anything is said.
    estimate : Estimate
        With all changes.
    columns : ndarray, shape (number of columns, number of kept rows)
        What the changes of the estimate look like, known corrections first.
    visible_u : ndarray, shape (d,)
        Standard uncertainty of a step before the last three rows, had there been one [mm].
    kept : tuple of int
        Rows behind the estimate.
    untold : bool
        Too many temperatures are missing: what they did is part of the noise of each series.
    next_expected, next_u : ndarray, shape (d,)
        Expected one day after the last row if its temperature is not known, and its standard
        uncertainty without that of the reading [mm].
    """

    mornings: tuple[Morning, ...]
    changes: tuple[Change, ...]
    bad: tuple[int, ...]
    doubtful: int | None
    estimate: Estimate
    columns: Floats
    visible_u: Floats
    kept: tuple[int, ...]
    untold: bool
    next_expected: Floats
    next_u: Floats


@dataclass(slots=True)
class _Known:
    """A change as it is believed at the moment."""

    kind: str
    row: int
    declared: int


def watch(record: Record, corrected: tuple[int, ...] = (), *, alarm: float = ALARM) -> Watch:
    """Judge a record row by row, as it would have been judged each morning.

    Parameters
    ----------
    record : Record
    corrected : tuple of int
        Rows at which the shop itself has set something anew: known changes.
    alarm : float
        Sum of the evidence that makes an alarm.
    """
    state = _State(record, tuple(row for row in corrected if 0 < row < len(record)), alarm)
    for row in range(len(record)):
        state.take(row)
    return state.told()


class _State:
    def __init__(self, record: Record, corrected: tuple[int, ...], alarm: float) -> None:
        self.record = record
        self.corrected = corrected
        self.alarm = alarm
        self.known: list[_Known] = []
        self.bad: list[int] = []
        self.pending: int | None = None
        self.mornings: list[Morning] = []

    # One morning ---------------------------------------------------------------------------

    def take(self, row: int) -> None:
        """Judge the record up to and with `row`."""
        said, total = self._look(row)
        if self.pending is not None and self.pending < row:
            if self._was_bad(self.pending, row):
                self.bad.append(self.pending)
                said, total = self._look(row)
                said = "bad" if said == "steady" else said
            self.pending = None
        if said == "alarm":
            said = self._alarm(row)
        self.mornings.append(Morning(row, said, total))

    def _look(self, row: int) -> tuple[str, float]:
        self._settle(row)
        kept, candidates = self._kept(row), self._candidates(row)
        if not candidates:
            return "steady", 0.0
        evidence = Evidence(self.record.rows(kept), self._columns(kept))
        logs = evidence.log_ratios(_steps(kept, candidates))
        total = float(np.sum(np.exp(np.minimum(logs, 600.0))))
        missing = float(np.mean(np.isnan(self.record.temperature[kept])))
        total /= 1.0 + GUESSED_COST * missing
        return ("alarm" if total >= self.alarm else "steady"), total

    def _alarm(self, row: int) -> str:
        kept, candidates = self._kept(row), self._candidates(row)
        evidence = Evidence(self.record.rows(kept), self._columns(kept))
        logs = evidence.log_ratios(_steps(kept, candidates))
        share = _shares(logs)
        newest = [i for i, at in enumerate(candidates) if at == row]
        if newest and share[newest[0]] > 0.5:
            self.pending = row
            return "again"
        if len(self.known) >= MOST_CHANGES:
            return "moved"
        at = candidates[int(np.argmax(share))]
        self.known.append(_Known("step", at, row))
        self._one_trend(row)
        self._settle(row)
        return "drifting" if self.known[-1].kind == "trend" else "moved"

    def _was_bad(self, suspect: int, row: int) -> bool:
        """Tell a bad reading from a step, now that a further row is there."""
        kept, candidates = self._kept(row), self._candidates(row)
        evidence = Evidence(self.record.rows(kept), self._columns(kept))
        alone = (kept == suspect).astype(np.float64)[:, None]
        one = float(evidence.log_ratios(alone, ANY_SIZE)[0])
        steps = [at for at in candidates if at <= suspect + 1]
        stays = evidence.log_ratios(_steps(kept, tuple(steps)), ANY_SIZE)
        together = float(np.logaddexp.reduce(stays)) if len(stays) else -np.inf
        return bool(1.0 / (1.0 + np.exp(min(max(together, 0.0) - one, 600.0))) > FLEETING)

    # Which changes, and where ----------------------------------------------------------------

    def _kept(self, row: int) -> NDArray[np.intp]:
        return np.array([i for i in range(row + 1) if i not in self.bad], dtype=np.intp)

    def _first(self, row: int) -> int:
        """Return the first row since the last known change."""
        starts = [0, *(r for r in self.corrected if r <= row), *(one.row for one in self.known)]
        return max(starts)

    def _candidates(self, row: int) -> tuple[int, ...]:
        first = self._first(row)
        inside = [int(i) for i in self._kept(row) if i >= first]
        return tuple(inside[1:])

    def _columns(self, kept: NDArray[np.intp], without: int | None = None) -> tuple[Floats, ...]:
        last = int(kept[-1]) if len(kept) else 0
        columns = [(kept >= row).astype(np.float64) for row in self.corrected if row <= last]
        for i, one in enumerate(self.known):
            if i != without and one.row <= last:
                columns.append(self._shape(one, kept))
        return tuple(columns)

    def _shape(self, one: _Known, kept: NDArray[np.intp]) -> Floats:
        if one.kind == "step":
            return (kept >= one.row).astype(np.float64)
        return self._ramps(kept, (one.row,))[:, 0] * self._span(one.row, int(kept[-1]))

    def _span(self, start: int, last: int) -> float:
        """Return the days from just before row `start` to row `last`."""
        return max(float(self.record.day[last] - self.record.day[max(start - 1, 0)]), 1.0)

    def _ramps(self, kept: NDArray[np.intp], starts: tuple[int, ...]) -> Floats:
        """Return trends that begin before rows `starts`, of size 1 at the last row."""
        day = self.record.day
        columns = []
        for start in starts:
            since = np.clip(day[kept] - day[max(start - 1, 0)], 0.0, None)
            # A correction ends what went before it.
            until = [r for r in self.corrected if r > start]
            if until:
                since = np.where(kept >= until[0], 0.0, since)
            columns.append(since / self._span(start, int(kept[-1])))
        return np.column_stack(columns) if columns else np.zeros((len(kept), 0))

    def _settle(self, row: int) -> None:
        """Place the newest change anew, and weigh step against trend, with the rows so far."""
        if not self.known or self.known[-1].declared > row:
            return
        kept = self._kept(row)
        index = len(self.known) - 1
        steps, ramps, candidates = self._weighed(kept, index)
        newest = self.known[index]
        if not candidates:
            return
        is_trend = np.logaddexp.reduce(ramps) > np.logaddexp.reduce(steps)
        logs = ramps if is_trend else steps
        newest.kind = "trend" if is_trend else "step"
        newest.row = candidates[int(np.argmax(logs))]

    def _weighed(
        self, kept: NDArray[np.intp], index: int
    ) -> tuple[Floats, Floats, tuple[int, ...]]:
        """Return the evidence for known change `index` as a step and as a trend at each row."""
        others = [one for i, one in enumerate(self.known) if i != index]
        breaks = [r for r in self.corrected if r <= self.known[index].declared]
        before = [one.row for one in others if one.row <= self.known[index].row]
        after = [one.row for one in others if one.row > self.known[index].row]
        first, last = max([0, *before, *breaks]), min([int(kept[-1]) + 1, *after])
        stop = [r for r in self.corrected if r > self.known[index].declared]
        last = min([last, *stop])
        inside = [int(i) for i in kept if first <= i < last]
        candidates = tuple(inside[1:])
        evidence = Evidence(self.record.rows(kept), self._columns(kept, without=index))
        steps = evidence.log_ratios(_steps(kept, candidates), ANY_SIZE) + np.log(STEP_ODDS)
        ramps = evidence.log_ratios(self._ramps(kept, candidates), ANY_SIZE)
        return steps, ramps, candidates

    def _one_trend(self, row: int) -> None:
        """Put one trend in the place of the last two changes if that explains as much."""
        if len(self.known) < 2:
            return
        kept = self._kept(row)
        two = list(self.known)
        earlier, later = two[-2], two[-1]
        rest = two[:-2]
        if any(earlier.row < r <= later.row for r in self.corrected):
            return
        self.known = rest
        plain = Evidence(self.record.rows(kept), self._columns(kept))
        inside = tuple(i for i in self._candidates(row) if i <= later.row)
        trend = plain.log_ratios(self._ramps(kept, inside), ANY_SIZE)
        first = plain.log_ratios(self._shape(earlier, kept)[:, None], ANY_SIZE)
        self.known = [*rest, earlier]
        more = Evidence(self.record.rows(kept), self._columns(kept))
        second = more.log_ratios(self._shape(later, kept)[:, None], ANY_SIZE)
        if len(inside) and float(np.max(trend)) > float(first[0] + second[0]):
            at = inside[int(np.argmax(trend))]
            self.known = [*rest, _Known("trend", at, earlier.declared)]
        else:
            self.known = two

    # The end ---------------------------------------------------------------------------------

    def told(self) -> Watch:
        """Return the record as it is judged now."""
        record = self.record
        kept = self._kept(len(record) - 1)
        if self.pending is not None:
            kept = kept[kept != self.pending]
        changes = []
        self.known.sort(key=lambda one: one.row)
        for index, one in enumerate(self.known):
            changes.append(self._change(index, one, kept))
        columns = self._columns(kept)
        evidence = Evidence(record.rows(kept), columns)
        last_three = (np.arange(len(kept)) >= len(kept) - 3).astype(np.float64)
        now = np.array([column[-1] for column in columns])
        ahead, ahead_u = evidence.ahead(now, float(record.day[-1]) + 1.0)
        return Watch(
            tuple(self.mornings),
            tuple(changes),
            tuple(sorted(self.bad)),
            self.pending,
            evidence.estimate(),
            np.array(columns).reshape(len(columns), len(kept)),
            evidence.change_u(last_three),
            tuple(int(i) for i in kept),
            evidence.untold,
            ahead,
            ahead_u,
        )

    def _change(self, index: int, one: _Known, kept: NDArray[np.intp]) -> Change:
        steps, ramps, candidates = self._weighed(kept, index)
        both = np.logaddexp.reduce(np.concatenate([steps, ramps]))
        probability = float(np.exp(np.logaddexp.reduce(steps) - both))
        logs = steps if one.kind == "step" else ramps
        share = _shares(logs)
        order = np.argsort(-share, kind="stable")
        enough = int(np.searchsorted(np.cumsum(share[order]), SET_CONTENT)) + 1
        rows = sorted(candidates[i] for i in order[:enough])
        # Size with the row unsure: mean of the fits, and their spread added.
        place = len([r for r in self.corrected if r <= int(kept[-1])]) + index
        sizes, spreads, weights = [], [], []
        for i in order[:enough]:
            moved = replace(one, row=candidates[i])
            columns = list(self._columns(kept))
            columns[place] = self._shape(moved, kept)
            fit = Evidence(self.record.rows(kept), tuple(columns)).estimate()
            sizes.append(fit.change[place])
            spreads.append(fit.change_u[place])
            weights.append(share[i])
        part = np.array(weights)[:, None] / np.sum(weights)
        size = np.sum(part * np.array(sizes), axis=0)
        variance = np.sum(part * (np.array(spreads) ** 2 + (np.array(sizes) - size) ** 2), axis=0)
        return Change(
            one.kind,
            one.row,
            tuple(rows),
            one.declared,
            probability,
            size,
            np.sqrt(variance),
        )


def _steps(kept: NDArray[np.intp], rows: tuple[int, ...]) -> Floats:
    return (kept[:, None] >= np.array(rows, dtype=np.intp)[None, :]).astype(np.float64)


def _shares(logs: Floats) -> Floats:
    top = np.exp(logs - np.max(logs))
    return np.asarray(top / np.sum(top))
