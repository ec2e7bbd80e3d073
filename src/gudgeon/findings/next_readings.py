"""Which readings to take next and what they bring; what the readings at hand do not tell."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.centre.errors import OPTIONAL
from gudgeon.centre.fit import Held, LineFit
from gudgeon.centre.lines import LineFrame
from gudgeon.centre.plan import Offer, Plan, best_readings, in_order, whitened
from gudgeon.centre.readings import SLOPES, Model, Reading
from gudgeon.centre.solve import complex_derivatives
from gudgeon.findings.further_readings import Candidate, Setting, candidates, gear_of
from gudgeon.findings.gather import Lacking
from gudgeon.findings.lines import AxisLinesFinding
from gudgeon.findings.part_points import K_95, PartPointFindings, covering, worst_u

__all__ = ["SQUARE_U", "NextReading", "NextReadingFindings", "OpenPart", "RankTold", "ReadingPlan"]

Floats = NDArray[np.float64]

SQUARE_U: Final = 3e-4
"""Standard uncertainty put on an angle that nobody measured [rad].

About one minute of arc, so two of them at 95 %; common practice, no source.
"""

RUNOUT_U_MM: Final = 0.05
"""The same for how far a bore runs off centre; common practice, no source."""

PLACE_U_MM: Final = 1.0
"""The same for a place that nobody touched: held a steel rule to it; common practice, no source."""

BALL_U_MM: Final = 5.0
"""The same for where a ball stands on the platter."""

ZERO_U_MM: Final = 10.0
"""The same for the zero of an indicator."""

WIDE_U: Final = 1.0
"""So much says nothing."""

NEXT_MOST: Final = 6
"""Readings named at most, where there are some already: what is done in one go at the machine."""

FIRST_MOST: Final = 20
"""Readings named at most, where the lines are not determined yet."""

WORTH_TAKING: Final = 0.01
"""A further reading that sharpens the worst part point by less than this share is not named."""

TRIES: Final = ((1.0, True), (0.85, True), (1.0, False), (0.7, False))
"""Plans made until a fit of the readings agrees with them: share of what is wanted, and whether
what is usual counts.  A fit knows nothing of that: it frees what it can, and holds the rest."""

UNTRUSTED: Final = 1e-4
"""Share of the weight of what is usual that is left where it does not count."""

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


@dataclass(frozen=True, slots=True)
class _Ground:
    """What a plan starts from: where the lines are believed, and what is known of them.

    Attributes
    ----------
    frame : LineFrame
    used : tuple of Reading
    parameters : tuple of str
        Of the model of all readings, those that could be taken included.
    information : ndarray, shape (p, p)
        With what is usual for all that is not known.
    entries : ndarray, shape (p, p)
        The part of it that comes from entries about the lines.
    slopes : ndarray, shape (m, 3, q)
        Of the part points by the parameters of the lines.
    options : tuple of Candidate
    offers : tuple of Offer
    """

    frame: LineFrame
    used: tuple[Reading, ...]
    parameters: tuple[str, ...]
    information: Floats
    entries: Floats
    slopes: Floats
    options: tuple[Candidate, ...]
    offers: tuple[Offer, ...]


class NextReadingFindings(PartPointFindings):
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
        contradict the cell, for a single axis, or where nothing says where the unit stands.
        """
        study = self.line_study
        if len(study.frame.axes) == 1 or study.fatal:
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
        for share, trusting in TRIES:
            asked = share * self.wanted_mm / K_95
            information = ground.information if trusting else self._untrusting(ground)
            plan = best_readings(
                information, ground.slopes, ground.offers, most=most, wanted_u=asked
            )
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
        if fit is None or not study.determined or len(study.frame.axes) == 1 or study.fatal:
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

        ``None`` where all is told, without readings, and for a single axis.
        """
        study = self.line_study
        fit = study.fit
        if fit is None or len(study.frame.axes) == 1 or study.fatal or study.at_odds:
            return None
        names = _unknowns(fit)
        held = [h for h in fit.held if h.name in names]
        lost = [h for h in study.open_positions if h.name in names]
        if not held and not lost:
            return None
        try:
            ground = self._ground
        except Lacking:
            return None
        fixed = len(names) - len({h.name for h in (*held, *lost)})
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

    # What a plan starts from ------------------------------------------------------------------

    @cached_property
    def _ground(self) -> _Ground:
        study = self.line_study
        fit = study.fit
        frame, values = self._believed()
        used = fit.used if fit is not None else ()
        lines = AxisLinesFinding(frame, values, np.zeros((len(values),) * 2), False, math.inf)
        slopes = self._point_slopes(lines)[0]
        found = {} if fit is None else dict(zip(fit.parameters, fit.values, strict=True))
        setting = self._setting(frame, values, used, found)
        gear = gear_of(self.cell, used, setting)
        options = candidates(self.cell, setting, gear, self.senses, self.units)
        further = tuple(r for one in options for r in one.readings)
        model = Model(frame, (*used, *further), () if fit is None else fit.optional)
        full = np.zeros(len(model.parameters))
        full[: len(values)] = values
        turned, crossing = _rotary_frame(frame, values)
        for i, name in enumerate(model.parameters[len(values) :], start=len(values)):
            feature, _, part = name.rpartition("_")
            if name in found:
                full[i] = found[name]
            elif part == "radius":
                full[i] = setting.sizes.get(feature, 15.0)
            elif feature in setting.balls:
                full[i] = (turned.T @ (setting.balls[feature] - crossing))["xyz".index(part)]
        return self._weighed(model, full, used, options, slopes)

    def _believed(self) -> tuple[LineFrame, Floats]:
        """Return the lines as fitted, else as entered, else as far as the readings go."""
        study = self.line_study
        fit = study.fit
        if fit is not None and all(item.reason == "weak" for item in study.open_positions):
            return fit.frame, fit.line_values
        try:
            lines = self._nominal_lines()
        except Lacking:
            if fit is None:
                raise
            return fit.frame, fit.line_values
        return lines.frame, lines.values

    def _setting(
        self, frame: LineFrame, values: Floats, used: tuple[Reading, ...], found: dict[str, float]
    ) -> Setting:
        origin, platter = frame.platter_origin(values), self._platter_on(values)
        turned, crossing = _rotary_frame(frame, values)
        pin = self.cell.readings.pin_diameter
        sizes = {} if pin is None else {"bore": pin.value / 2.0, "pin": pin.value / 2.0}
        balls: dict[str, Floats] = {}
        offsets: dict[str, Floats] = {}
        for name in dict.fromkeys(r.feature for r in used):
            if name.startswith("ball "):
                local = np.array([found[f"{name}_{c}"] for c in "xyz"])
                balls[name] = crossing + turned @ local
            elif name in ("bore", "pin"):
                offsets[name] = turned @ np.array([found[f"{name}_x"], found[f"{name}_y"], 0.0])
                sizes.setdefault(name, found[f"{name}_radius"])
        new = not balls
        if new:
            balls["ball 1"] = (
                origin + platter @ np.array([*NEW_BALL_MM, 0.0]) + platter[:, 2] * 40.0
            )
        return Setting(
            frame, frame.chain(values), origin, platter, tuple(offsets), sizes, offsets, balls, new
        )

    def _weighed(
        self,
        model: Model,
        full: Floats,
        used: tuple[Reading, ...],
        options: tuple[Candidate, ...],
        slopes: Floats,
    ) -> _Ground:
        """Return what is known now, and what each option would add."""
        fit = self.line_study.fit
        rows = complex_derivatives(model.residuals, full) / model.u_mm[:, None]
        index = model.index_slopes(full) * np.array(self.index_u_rad) / model.u_mm[:, None]
        of = np.array(model.residual_rows, dtype=np.intp)
        mine = of < len(used)
        known = whitened(rows[mine], _by_seat(index[mine], [used[i] for i in of[mine]]))
        information = known.T @ known
        entries = np.zeros_like(information)
        if fit is not None:
            # The readings scatter as the fit found; what was known from elsewhere does not.
            information = information / fit.scale**2
            from_elsewhere = np.zeros((len(fit.known_slopes), len(model.parameters)))
            columns = [model.parameters.index(name) for name in fit.parameters]
            from_elsewhere[:, columns] = fit.known_slopes
            information = information + from_elsewhere.T @ from_elsewhere
            wider = [name in fit.optional for name in model.parameters]
            from_elsewhere = from_elsewhere[~np.any(from_elsewhere[:, wider] != 0.0, axis=1)]
            entries = from_elsewhere.T @ from_elsewhere
        open_ones = set(model.parameters)
        if fit is not None:
            open_ones -= set(fit.free) - {item.name for item in self.line_study.open_positions}
        usual = [1.0 / _usual(name) ** 2 if name in open_ones else 0.0 for name in model.parameters]
        information = information + np.diag(np.array(usual) + 1e-9)
        options = _as_predicted(model, full, len(used), options)
        offers = []
        at = len(used)
        for one in options:
            here = (of >= at) & (of < at + len(one.readings))
            at += len(one.readings)
            # Read in one go: one positioning for each pose.
            poses = {(r.tilt_rad, r.rotary_rad): i for i, r in enumerate(one.readings)}
            seats = [replace(r, seat=poses[r.tilt_rad, r.rotary_rad]) for r in one.readings]
            first = at - len(one.readings)
            zero = 1.0 / model.u_mm[here][:, None] if one.one_zero else None
            shared = _by_seat(index[here], [seats[i - first] for i in of[here]])
            offers.append(Offer(whitened(rows[here], shared, zero), one.minutes, one.setups))
        return _Ground(
            model.frame,
            used,
            model.parameters,
            information,
            entries,
            slopes,
            options,
            tuple(offers),
        )

    # What a plan brings -----------------------------------------------------------------------

    def _expected_mm(self, fit: LineFit, slopes: Floats) -> float:
        """Return the worst part point (95 %) of a fit, with what it holds counted in as usual."""
        count = len(fit.frame.parameters)
        covariance = fit.line_covariance.copy()
        for item in fit.held:
            if item.name in fit.parameters and not item.name.endswith("_radius"):
                shift = fit.shift_if(item.name)[:count] * _usual(item.name)
                covariance += np.outer(shift, shift)
        return covering(fit) * float(np.max(worst_u(slopes, covariance)))

    def _steps(self, ground: _Ground, plan: Plan) -> tuple[NextReading, ...]:
        """Return the plan in words, with the figure that a fit will give after each."""
        fit = self.line_study.fit
        # In order, and told, with what is usual: even where the plan was made without it.
        plan = in_order(ground.information, ground.slopes, ground.offers, plan.chosen)
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
        expected = self._fit(ground.frame, tuple(taken), self._known(ground.frame))
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
            and name in _unknowns(fit)
            and _is_angle(name) == _is_angle(item.name)
        )
        cost = float(np.max(np.linalg.norm(slopes @ shift[:count], axis=1)))
        unit = 1e-3 if _is_angle(item.name) else 1.0
        return OpenPart(
            item.name, item.reason, partners, 2.0 * _usual(item.name) * cost, unit * cost
        )

    def _cure(self, ground: _Ground, fit: LineFit) -> tuple[tuple[NextReading, ...], float]:
        """Return the fewest readings after which nothing that matters is held any more."""
        plan = self.reading_plan
        if plan is not None and plan.steps and plan.reached:
            rows = tuple(r for step in plan.steps for r in step.readings)
            if self._cured(ground, (*ground.used, *rows)):
                return plan.steps, plan.after_mm
        wide = self._untrusting(ground)
        held = [item.name for item in fit.held if item.name in _unknowns(fit)]
        best: tuple[float, tuple[NextReading, ...]] = (math.nan, ())
        # A centre shows two coordinates, a sweep over four turns three differences.
        for most in range(math.ceil(len(held) / 3), CURE_MOST + 1):
            found = best_readings(wide, ground.slopes, ground.offers, most=most)
            steps = self._steps(ground, found)
            rows = tuple(r for step in steps for r in step.readings)
            if not steps or not self._cured(ground, (*ground.used, *rows)):
                continue
            if not best[1] or steps[-1].after_mm < best[0]:
                best = (steps[-1].after_mm, steps)
            if best[0] <= self.wanted_mm:
                break
        return best[1], best[0]

    def _untrusting(self, ground: _Ground) -> Floats:
        """Return what is known without what is usual for angles and for where a bore stands.

        Without the entries too: a fit drops them where readings take their place.
        """
        wide = ground.information - ground.entries
        fit = self.line_study.fit
        free = () if fit is None else fit.free
        for i, name in enumerate(ground.parameters):
            if name not in free and (_is_angle(name) or name in ROUND_PLACES):
                wide[i, i] -= (1.0 - UNTRUSTED) / _usual(name) ** 2
            elif name in ground.frame.parameters and not _is_angle(name):
                wide[i, i] += UNTRUSTED / PLACE_U_MM**2
        return wide

    def _cured(self, ground: _Ground, readings: tuple[Reading, ...]) -> bool:
        """Whether a fit of these readings holds nothing that costs more than a small share."""
        fit = self._fit(ground.frame, readings, self._known(ground.frame))
        if _no_lines(fit):
            return False
        names = _unknowns(fit)
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


ROUND_PLACES: Final = ("bore_x", "bore_y", "pin_x", "pin_y")
"""Where a bore or pin stands on the platter."""

NEW_BALL_MM: Final = (70.0, 0.0)
"""Where a ball would be put on the platter."""


def _no_lines(fit: LineFit) -> bool:
    """Whether a position of the lines or of the face is given by nothing."""
    return bool(fit.undetermined) or any(
        (item.name, item.reason) == ("face", "untouched") for item in fit.held
    )


def _unknowns(fit: LineFit) -> tuple[str, ...]:
    """Return the parameters that count: lines, slopes of the face, place of a bore or pin."""
    return tuple(
        name
        for name in fit.parameters
        if name in fit.frame.parameters or name in SLOPES or name in ROUND_PLACES
    )


def _is_angle(name: str) -> bool:
    return Held(name, "").is_angle and name not in (
        "tilt_y",
        "tilt_z",
        "rotary_x",
        "rotary_y",
        "rotary_z",
        "face",
    )


def _usual(name: str) -> float:
    """Return the standard uncertainty that is usual for what nobody measured [mm or rad]."""
    if name.startswith("ball "):
        return BALL_U_MM
    if name.startswith("zero_"):
        return ZERO_U_MM
    if name in OPTIONAL:
        return WIDE_U  # what is known of it stands in the fit's own rows
    if _is_angle(name):
        return SQUARE_U
    if name in ROUND_PLACES:
        return RUNOUT_U_MM
    return PLACE_U_MM


def _rotary_frame(frame: LineFrame, values: Floats) -> tuple[Floats, Floats]:
    """Return axes (columns) and origin of the frame of the rotary line, both angles zero, in T."""
    roll, pitch = values[6], values[7]
    x = np.array([np.cos(pitch), np.sin(roll) * np.sin(pitch), -np.cos(roll) * np.sin(pitch)])
    y = np.array([0.0, np.cos(roll), np.sin(roll)])
    turned = frame.basis @ np.column_stack([x, y, np.cross(x, y)])
    return turned, frame.to_table([values[4], values[5], 0.0])


def _by_seat(index: Floats, readings: list[Reading]) -> Floats:
    """Return the effect of each positioning on the residuals, shape (n, 2 x positionings)."""
    seats: dict[int, int] = {}
    of = []
    for i, reading in enumerate(readings):
        key = reading.seat if reading.seat >= 0 else -2 - i
        of.append(seats.setdefault(key, len(seats)))
    out = np.zeros((len(readings), 2 * len(seats)))
    for i, k in enumerate(of):
        out[i, 2 * k : 2 * k + 2] = index[i]
    return out


def _as_predicted(
    model: Model, full: Floats, first: int, options: tuple[Candidate, ...]
) -> tuple[Candidate, ...]:
    """Return the options with readings as the lines believed predict them, slopes and all.

    They were thought up at the nominal surface; left there, they would contradict the readings at
    hand, and a fit of both would take that for noise.
    """
    off: dict[int, list[float]] = {}
    for i, residual in zip(model.residual_rows, model.residuals(full), strict=True):
        off.setdefault(i, []).append(float(residual))
    out = []
    at = first
    for one in options:
        rows = [_shifted(r, off[at + n]) for n, r in enumerate(one.readings)]
        at += len(rows)
        out.append(replace(one, readings=tuple(rows)))
    return tuple(out)


def _shifted(reading: Reading, off: list[float]) -> Reading:
    """Return a reading less its residuals."""
    if reading.feature == "level":
        return replace(reading, angle_rad=reading.angle_rad - off[0])
    place = np.array(reading.position_mm)
    if reading.toward is None:
        place[: len(off)] -= off
    else:
        place -= np.abs(reading.toward) * off[0]
    x, y, z = (float(c) for c in place)
    return replace(reading, position_mm=(x, y, z))
