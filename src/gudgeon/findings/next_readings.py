"""Which readings to take next and what they bring; what the readings at hand do not tell."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.fit import Held, LineFit
from gudgeon.centre.freeing import is_place
from gudgeon.centre.plan import Plan, Planner
from gudgeon.centre.rank import fixed_unknowns, unknowns
from gudgeon.centre.readings import Reading
from gudgeon.findings.gather import Lacking
from gudgeon.findings.part_points import K_95, covering, worst_u
from gudgeon.findings.reading_ground import (
    SQUARE_U,
    Ground,
    GroundFindings,
    usual_u,
)

__all__ = ["SQUARE_U", "NextReading", "NextReadingFindings", "OpenPart", "RankTold", "ReadingPlan"]

Floats = NDArray[np.float64]

NEXT_MOST: Final = 6
"""Readings named at most, where there are some already: what is done in one go at the machine."""

FIRST_MOST: Final = 20
"""Readings named at most, where the lines are not determined yet."""

WORTH_TAKING: Final = 0.01
"""A further reading that sharpens the worst part point by less than this share is not named."""

TRIES: Final = ((1.0, True), (0.85, True), (1.0, False), (0.7, False))
"""Plans made until a fit of the readings agrees with them: share of what is wanted, and whether
what is usual counts.  A fit knows nothing of that: it frees what it can, and holds the rest."""

CURE_MOST: Final = 8
"""Readings tried at most to tell apart what the readings at hand leave entangled."""

SMALL_SHARE: Final = 0.05
"""What is held may cost this share of what is wanted, and still count as cured."""

PARTNER: Final = 0.3
"""An angle that follows another by this share cannot be told apart from it."""


@dataclass(frozen=True, slots=True)
class NextReading:
    """One more reading and what it would bring.

    Attributes
    ----------
    what : str
        What to read.
    how : str
        An order.
    before_mm, after_mm : float
        Worst part point at 95 % without and with it, unmeasured angles included at `SQUARE_U`;
        the readings before it in the list are taken as taken.  After the last one it is what a
        fit will give; in between a fit may have to hold an angle and give more.
    minutes : float
        What it takes, turning there and setting up included.
    kind : str
        ``"touch"``, ``"bore"``, ``"sweep"``, ``"ball"`` or ``"level"``.
    readings : tuple of Reading
        The rows that it will give, where the surface is expected.
    """

    what: str
    how: str
    before_mm: float
    after_mm: float
    minutes: float = 0.0
    kind: str = "touch"
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """The readings to take next.

    Attributes
    ----------
    steps : tuple of NextReading
        In the order to take them.
    before_mm, after_mm : float
        Worst part point at 95 % without any and with all of them, unmeasured angles included.
    minutes : float
    reached : bool
        Whether what is wanted is kept then.
    first : bool
        The lines are not determined yet: this is a whole procedure.
    """

    steps: tuple[NextReading, ...]
    before_mm: float
    after_mm: float
    minutes: float
    reached: bool
    first: bool


@dataclass(frozen=True, slots=True)
class OpenPart:
    """A parameter that the readings do not tell.

    Attributes
    ----------
    name : str
        Parameter of the fit.
    reason : str
        As in `gudgeon.centre.fit.Held`.
    only_with : tuple of str
        Parameters from which it cannot be told apart.
    cost_mm : float
        What it costs at the worst part point if it is off by twice `SQUARE_U` (a bore's place: by
        twice `RUNOUT_U_MM`); NaN where the lines are not determined at all.
    per_mrad_mm : float
        The same for each mrad (a bore's place: for each mm).
    """

    name: str
    reason: str
    only_with: tuple[str, ...]
    cost_mm: float
    per_mrad_mm: float


@dataclass(frozen=True, slots=True)
class RankTold:
    """How many of the unknowns the readings fix.

    Attributes
    ----------
    fixed, of : int
        Unknowns fixed, and all: lines, slopes of the face, place of a bore or pin.
    open_parts : tuple of OpenPart
    cost_mm : float
        Worst part point at 95 % with all that is open counted in as usual; NaN where the lines
        are not determined at all.
    cure : tuple of NextReading
        Readings that fix them; empty if none were found.
    cured_mm : float
        Worst part point at 95 % with those; NaN without.
    """

    fixed: int
    of: int
    open_parts: tuple[OpenPart, ...]
    cost_mm: float
    cure: tuple[NextReading, ...]
    cured_mm: float


class NextReadingFindings(GroundFindings):
    """Facts about readings that were not taken yet."""

    @property
    def next_readings(self) -> tuple[NextReading, ...]:
        """Readings that sharpen the worst part point, in the order to take them."""
        plan = self.reading_plan
        return () if plan is None else plan.steps

    @cached_property
    def reading_plan(self) -> ReadingPlan | None:
        """The quickest readings after which the worst part point is as sure as wanted.

        Where that cannot be reached, the few that help most.  ``None`` where the readings at hand
        contradict the cell or each other, or where nothing says where the unit stands.
        """
        study = self.line_study
        if study.fatal or study.at_odds:
            return None
        try:
            ground = self._ground
        except Lacking:
            return None
        fit = study.fit if study.determined else None
        before = self._expected_mm(fit, ground.slopes) if fit is not None else math.nan
        if before <= self.wanted_mm * (1.0 + 1e-9):
            return ReadingPlan((), before, before, 0.0, True, False)
        most = NEXT_MOST if fit is not None else FIRST_MOST
        steps: tuple[NextReading, ...] = ()
        hopeless: set[bool] = set()
        for share, trusting in TRIES:
            if trusting in hopeless:
                continue
            asked = share * self.wanted_mm / K_95
            planner = self._trusting if trusting else self._doubting
            plan = planner.best(most=most, wanted_u=asked)
            if plan.u_last > asked:
                hopeless.add(trusting)  # what is not reached is the same for any smaller share
            found = self._steps(ground, _worth_taking(plan, asked))
            if found and (not steps or found[-1].after_mm < steps[-1].after_mm):
                steps = found
            if found and found[-1].after_mm <= self.wanted_mm * (1.0 + 1e-9):
                break
        if not steps:
            return None
        last, minutes = steps[-1].after_mm, sum(step.minutes for step in steps)
        reached = last <= self.wanted_mm * (1.0 + 1e-9)
        return ReadingPlan(steps, steps[0].before_mm, last, minutes, reached, fit is None)

    @cached_property
    def error_with_open_angles_mm(self) -> float | None:
        """Worst part point (95 %) with the angles that no reading shows counted in [mm].

        They count with `SQUARE_U`.  ``None`` where all angles are measured, or nothing can be told.
        """
        study = self.line_study
        fit = study.fit
        if fit is None or not study.determined or study.fatal:
            return None
        if not any(h.reason != "entry" and h.is_angle for h in fit.held):
            return None
        try:
            return self._expected_mm(fit, self.part_point_error.per_value)
        except Lacking:
            return None

    @cached_property
    def rank_told(self) -> RankTold | None:
        """What the readings at hand do not tell, what that can cost, and what cures it.

        ``None`` where all is told, and without readings.
        """
        study = self.line_study
        fit = study.fit
        if fit is None or study.fatal or study.at_odds:
            return None
        names = unknowns(fit)
        held = [h for h in fit.held if h.name in names]
        lost = [h for h in study.open_positions if h.name in names]
        if not held and not lost:
            return None
        try:
            ground = self._ground
        except Lacking:
            return None
        fixed = fixed_unknowns(fit)
        if lost:
            # No lines at all, so nothing has a cost yet: the cure is the plan itself.
            plan = self.reading_plan
            parts = tuple(OpenPart(h.name, h.reason, (), math.nan, math.nan) for h in lost)
            cure = () if plan is None else plan.steps
            cured = math.nan if plan is None else plan.after_mm
            return RankTold(fixed, len(names), parts, math.nan, cure, cured)
        parts = tuple(self._open_part(fit, h, ground.slopes) for h in held)
        cure, cured = self._cure(ground, fit)
        cost = self._expected_mm(fit, ground.slopes)
        return RankTold(fixed, len(names), parts, cost, cure, cured)

    # What a plan brings -----------------------------------------------------------------------

    @cached_property
    def _trusting(self) -> Planner:
        """Plans with what is usual for all that nobody measured."""
        ground = self._ground
        return Planner(ground.information, ground.slopes, ground.offers)

    @cached_property
    def _doubting(self) -> Planner:
        """Plans without it."""
        ground = self._ground
        return Planner(self._untrusting(ground), ground.slopes, ground.offers)

    @cached_property
    def _fits(self) -> dict[tuple[Reading, ...], LineFit]:
        """Fits of the readings at hand and further ones."""
        return {}

    def _fit_of(self, readings: tuple[Reading, ...]) -> LineFit:
        frame = self._ground.frame
        if readings not in self._fits:
            self._fits[readings] = self._fit(frame, readings, self._known(frame))
        return self._fits[readings]

    def _expected_mm(self, fit: LineFit, slopes: Floats) -> float:
        """Return the worst part point (95 %) of a fit, with what it holds counted in as usual."""
        count = len(fit.frame.parameters)
        covariance = fit.line_covariance.copy()
        for item in fit.held:
            if item.name in fit.parameters and not item.name.endswith("_radius"):
                shift = fit.shift_if(item.name)[:count] * usual_u(item.name)
                covariance += np.outer(shift, shift)
        return covering(fit) * float(np.max(worst_u(slopes, covariance)))

    def _steps(self, ground: Ground, plan: Plan) -> tuple[NextReading, ...]:
        """Return the plan in words, with the figure that a fit will give after each."""
        fit = self.line_study.fit
        # In order, and told, with what is usual: even where the plan was made without it.
        plan = self._trusting.in_order(plan.chosen)
        before = K_95 * plan.u_before
        if fit is not None and self.line_study.determined:
            before = self._expected_mm(fit, ground.slopes)
        taken = list(ground.used)
        row = max((r.row for r in taken), default=1)
        seat = max((r.seat for r in taken), default=-1)
        steps: list[NextReading] = []
        for k, i in enumerate(plan.chosen):
            one = ground.options[i]
            poses = dict.fromkeys((r.tilt_rad, r.rotary_rad) for r in one.readings)
            seats = {pose: seat + n for n, pose in enumerate(poses, start=1)}
            seat += len(poses)
            rows = tuple(
                replace(
                    r,
                    row=row + n,
                    seat=seats[r.tilt_rad, r.rotary_rad],
                    zero=f"next {k + 1}" if one.one_zero else "",
                )
                for n, r in enumerate(one.readings, start=1)
            )
            row += len(rows)
            taken += rows
            steps.append(NextReading(one.what, one.how, 0.0, 0.0, plan.minutes[k], one.kind, rows))
        if not steps:
            return ()
        expected = self._fit_of(tuple(taken))
        last = K_95 * plan.u_last
        if not _no_lines(expected):
            last = self._expected_mm(expected, ground.slopes)
        figures = [
            before,
            *(min(max(covering(expected) * u, last), before) for u in plan.u_after[:-1]),
            last,
        ]
        return tuple(
            replace(step, before_mm=figures[k], after_mm=figures[k + 1])
            for k, step in enumerate(steps)
        )

    def _open_part(self, fit: LineFit, item: Held, slopes: Floats) -> OpenPart:
        count = len(fit.frame.parameters)
        shift = fit.shift_if(item.name)
        partners = tuple(
            name
            for name, by in zip(fit.parameters, shift, strict=True)
            if name in fit.free
            and abs(by) > PARTNER
            and name in unknowns(fit)
            and is_place(name) == is_place(item.name)
        )
        cost = float(np.max(np.linalg.norm(slopes @ shift[:count], axis=1)))
        unit = 1.0 if is_place(item.name) else 1e-3
        return OpenPart(
            item.name, item.reason, partners, 2.0 * usual_u(item.name) * cost, unit * cost
        )

    def _cure(self, ground: Ground, fit: LineFit) -> tuple[tuple[NextReading, ...], float]:
        """Return the fewest readings after which nothing that matters is held any more."""
        plan = self.reading_plan
        if plan is not None and plan.steps and plan.reached:
            rows = tuple(r for step in plan.steps for r in step.readings)
            if self._cured(ground, (*ground.used, *rows)):
                return plan.steps, plan.after_mm
        held = [item.name for item in fit.held if item.name in unknowns(fit)]
        best: tuple[float, tuple[NextReading, ...]] = (math.nan, ())
        # A centre shows two coordinates, a sweep over four turns three differences.
        for most in range(math.ceil(len(held) / 3), CURE_MOST + 1):
            found = self._doubting.best(most=most)
            steps = self._steps(ground, found)
            rows = tuple(r for step in steps for r in step.readings)
            if not steps or not self._cured(ground, (*ground.used, *rows)):
                continue
            if not best[1] or steps[-1].after_mm < best[0]:
                best = (steps[-1].after_mm, steps)
            if best[0] <= self.wanted_mm:
                break
        return best[1], best[0]

    def _cured(self, ground: Ground, readings: tuple[Reading, ...]) -> bool:
        """Whether a fit of these readings holds nothing that costs more than a small share."""
        fit = self._fit_of(readings)
        if _no_lines(fit):
            return False
        names = unknowns(fit)
        costs = [
            self._open_part(fit, item, ground.slopes).cost_mm
            for item in fit.held
            if item.name in names
        ]
        return max(costs, default=0.0) <= SMALL_SHARE * self.wanted_mm


def _worth_taking(plan: Plan, wanted_u: float) -> Plan:
    """Return the plan without readings at its end that hardly help and reach nothing wanted."""
    if plan.u_last <= wanted_u:
        return plan
    figures = (plan.u_before, *plan.u_after)
    count = len(plan.chosen)
    while count > 1 and figures[count] > figures[count - 1] * (1.0 - WORTH_TAKING):
        count -= 1
    return Plan(plan.chosen[:count], plan.u_before, plan.u_after[:count], plan.minutes[:count])


def _no_lines(fit: LineFit) -> bool:
    """Whether a position of the lines or of the face is given by nothing."""
    return bool(fit.undetermined) or any(
        (item.name, item.reason) == ("face", "untouched") for item in fit.held
    )
