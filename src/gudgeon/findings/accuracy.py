"""How accurate each dimension of the drawing will be, before any metal is cut."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.budget import Drawn, Outcome, draw_out, estimate
from gudgeon.accuracy.dimensions import Dimension, NotMeasurable
from gudgeon.accuracy.job import Job
from gudgeon.answer import Missing
from gudgeon.cell.model import DrawingDimension, Part
from gudgeon.findings.accuracy_job import (
    Stay,
    cuts_of,
    factors_of,
    home_and_lever,
    lines_function,
    place_of,
    sizes_of,
    visits_of,
)
from gudgeon.findings.faces import FaceWanted, faces_wanted
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.offsets import OffsetFindings
from gudgeon.kinematics.chain import WorkChain
from gudgeon.quantity.amount import Amount
from gudgeon.quantity.ties import firm

__all__ = ["DATUM", "AccuracyFinding", "AccuracyFindings", "DimensionFound", "Setting"]

Floats = NDArray[np.float64]

DATUM: Final = "datum"
SHARE: Final = 0.9973
"""Share of parts in tolerance taken where none is entered: three standard deviations."""

OVER_MM: Final = 100.0
SEED: Final = 20
MOST_DIMENSIONS: Final = 60
"""Dimensions worked out where none is entered and every pair of features would be one."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One part at one station, with the dimensions that count there.

    Attributes
    ----------
    station : str
    job : Job
    dimensions : tuple of Dimension
    entries : tuple of DrawingDimension or None
        The entry of each dimension; ``None`` where none was entered.
    """

    station: str
    job: Job
    dimensions: tuple[Dimension, ...]
    entries: tuple[DrawingDimension | None, ...]


@dataclass(frozen=True, slots=True)
class DimensionFound:
    """A dimension at the station where it comes out worst.

    Attributes
    ----------
    name, part, station, first, second : str
        `second` is ``"datum"`` where it counts from what was there before.
    outcome : Outcome
        Linear.
    drawn : Drawn
        By Monte Carlo.
    entry : DrawingDimension or None
    setting : Setting
    number : int
        Which of the setting's dimensions.
    stations : int
        Stations that were tried.
    """

    name: str
    part: str
    station: str
    first: str
    second: str
    outcome: Outcome
    drawn: Drawn
    entry: DrawingDimension | None
    setting: Setting
    number: int
    stations: int

    @property
    def toleranced(self) -> bool:
        """Whether the drawing gives a tolerance."""
        return not math.isnan(self.outcome.inside)

    @property
    def agree(self) -> bool:
        """Whether linear and Monte Carlo tell the same width."""
        return self.drawn.agrees(self.outcome)

    @property
    def inside(self) -> float:
        """Share in tolerance to believe: that of the draws where the two methods differ."""
        return self.outcome.inside if self.agree else self.drawn.inside

    @property
    def plus_minus(self) -> float:
        """95 % width to believe."""
        return self.outcome.plus_minus if self.agree else self.drawn.plus_minus


@dataclass(frozen=True, slots=True)
class AccuracyFinding:
    """Every dimension, as entered in the file.

    Attributes
    ----------
    dimensions : tuple of DimensionFound
    share : float
        Share of the parts that must be in tolerance.
    entered : bool
        False: the file has no dimensions, and every pair of features was taken.
    usual : tuple of str
        Sizes of causes that were taken as usual.
    left_out : tuple of str
        What could not be worked out, and why, as sentences.
    measured : bool
        The axis lines were touched.
    """

    dimensions: tuple[DimensionFound, ...]
    share: float
    entered: bool
    usual: tuple[str, ...]
    left_out: tuple[str, ...]
    measured: bool


class AccuracyFindings(OffsetFindings):
    """Facts about the accuracy of the part."""

    @cached_property
    def accuracy(self) -> AccuracyFinding:
        """Every dimension at its worst station.

        Raises
        ------
        Lacking
            What the axis lines, stations and faces lack; touches, where the lines come from
            entries that state no uncertainty.
        """
        gather = self.gather()
        try:
            lines = self.axis_lines
        except Lacking as lacking:
            gather.also(lacking)
        wanted = faces_wanted(self.cell, self.has_tilt, gather)
        gather.stop()
        if not lines.measured and not np.any(lines.covariance):
            raise Lacking((_touches(self.cell.file, self.cell.readings.file),))
        settings, left_out = self._settings(wanted)
        found = _worst(settings, self._parts_of(settings))
        if not found:
            raise Lacking((_dimensions(self.cell.file, left_out),))
        _, usual = sizes_of(self.cell, len(lines.chain.axes), self.units)
        share = self.cell.accuracy.share
        return AccuracyFinding(
            dimensions=found,
            share=SHARE if share is None else share.value,
            entered=bool(self.cell.dimensions),
            usual=usual,
            left_out=tuple(dict.fromkeys(left_out)),
            measured=lines.measured,
        )

    def _parts_of(self, settings: list[Setting]) -> dict[str, str]:
        only = self.cell.parts[0].name or "" if len(self.cell.parts) == 1 else ""
        by_station = {
            station.name or str(number): station.part or only
            for number, station in enumerate(self.cell.stations, start=1)
        }
        return {setting.station: by_station.get(setting.station, "") for setting in settings}

    def _settings(self, wanted: list[FaceWanted]) -> tuple[list[Setting], list[str]]:
        lines = self.axis_lines
        lines_of = lines_function(lines.frame, self.platter_axes)
        factors = factors_of(lines, self.line_study.fit)
        sizes, _ = sizes_of(self.cell, len(lines.chain.axes), self.units)
        home, lever = home_and_lever(self.cell, lines_of(lines.values))
        clocking = (self.cell.fixture.clocking or Amount(0.0)).value
        senses = tuple(axis.sense for axis in lines.chain.axes)
        left_out: list[str] = []
        settings: list[Setting] = []
        at_station: dict[str, list[Stay]] = {}
        for one, zero in zip(wanted, self.offsets.zeros, strict=True):
            if zero.angles_rad is None:
                left_out.append(f"Face {one.face} at station {one.station}: no pose brings it up.")
                continue
            at_station.setdefault(one.station, []).append(Stay(one, zero.angles_rad))
        for station, stays in at_station.items():
            part = next(
                (part for part in self.cell.parts if (part.name or "") == stays[0].wanted.part),
                self.cell.parts[0],
            )
            place = place_of(stays[0].wanted, clocking)
            frame = self.platter_axes @ place[1]
            ups = [_up(self.turning_only, stay, frame) for stay in stays]
            cuts = cuts_of(self.cell, part, stays, ups, "the clamping")
            job = Job(
                lines_of,
                lines.values,
                factors,
                visits_of(stays, senses),
                cuts,
                place[0],
                place[1],
                sizes,
                home,
                lever,
            )
            dimensions, entries, why = _dimensions_at(
                self.cell.dimensions, part, station, job, len(self.cell.parts)
            )
            left_out += why
            if dimensions:
                settings.append(Setting(station, job, dimensions, entries))
        return settings, left_out


def _up(turning: WorkChain, stay: Stay, frame: Floats) -> Floats:
    """Return the direction of the part that looks to the spindle, rounded off the digits' end."""
    columns = turning.directions(np.array(stay.angles_rad), frame.T)
    return np.asarray(np.round(columns[:, 2], 12) + 0.0)


def _dimensions_at(
    entered: tuple[DrawingDimension, ...], part: Part, station: str, job: Job, parts: int
) -> tuple[tuple[Dimension, ...], tuple[DrawingDimension | None, ...], list[str]]:
    place = {cut.name: i for i, cut in enumerate(job.cuts)}
    left_out: list[str] = []
    found: list[Dimension] = []
    entries: list[DrawingDimension | None] = []
    for number, one in enumerate(entered, start=1):
        if one.part is not None and one.part != part.name:
            continue
        if one.stations and station not in one.stations:
            continue
        name = one.name or f"dimension {number}"
        first = place.get(one.feature or "")
        second = None if one.measured_from in (None, DATUM) else place.get(one.measured_from or "")
        if first is None or (second is None and one.measured_from not in (None, DATUM)):
            if one.part is not None or parts == 1:
                lost = one.feature if first is None else one.measured_from
                left_out.append(
                    f"{name}: feature {lost or '(none named)'} is not cut in any pose entered "
                    f"for part {part.name or ''}.".replace(" part .", " this part.")
                )
            continue
        made = _of_entry(one, name, first, second, job)
        reason = _fault(job, made)
        if reason is not None:
            left_out.append(f"{name}: {reason}.")
            continue
        found.append(made)
        entries.append(one)
    if not entered:
        pairs = [(i, j) for i in range(len(job.cuts)) for j in range(i)]
        for i, j in pairs[:MOST_DIMENSIONS]:
            made = _of_pair(i, j, job)
            if _fault(job, made) is None:
                found.append(made)
                entries.append(None)
        if not pairs and job.cuts:
            for i, cut in enumerate(job.cuts):
                found.append(Dimension(f"{cut.name} to datum", "distance", i, None, cut.normal))
                entries.append(None)
    return tuple(found), tuple(entries), left_out


def _fault(job: Job, one: Dimension) -> str | None:
    from gudgeon.accuracy.dimensions import dimension_errors

    try:
        dimension_errors(job, (), (one,))
    except NotMeasurable as fault:
        return str(fault).removeprefix(f"{one.name}: ")
    return None


def _of_entry(
    one: DrawingDimension, name: str, first: int, second: int | None, job: Job
) -> Dimension:
    kind = one.kind or "distance"
    cut = job.cuts[first]
    other = None if second is None else job.cuts[second]
    along: Floats
    if kind in ("square", "parallel", "angle") and other is not None:
        along = other.normal
    elif one.along is not None:
        along = np.asarray(one.along, dtype=np.float64)
    elif kind == "position" or cut.kind != "hole" or other is None:
        along = cut.normal
        if kind == "square" and other is None:
            along = np.roll(cut.normal, 1)
    elif other.kind != "hole":
        along = other.normal
    else:
        along = cut.point - other.point
        along = along - cut.normal * float(cut.normal @ along)
        if not np.any(np.abs(along) > 1e-9):
            along = np.roll(cut.normal, 1)
    if kind == "distance":
        along = _from_second(along, cut.point, None if other is None else other.point)
    low, high = _tolerated(one, kind)
    over = OVER_MM if one.over is None else one.over.value
    return Dimension(name, kind, first, second, along, over, low, high)


def _from_second(along: Floats, first: Floats, second: Floats | None) -> Floats:
    """Return the direction so that a positive error makes the distance longer."""
    if second is None:
        return along if float(along @ first) >= 0.0 else -along
    return along if float(along @ (first - second)) >= 0.0 else -along


def _tolerated(one: DrawingDimension, kind: str) -> tuple[float, float]:
    if kind == "angle":
        bound = math.inf if one.tolerance_angle is None else one.tolerance_angle.value
        return -bound, bound
    if kind == "distance" and one.limits is not None:
        return one.limits[0].value, one.limits[1].value
    if one.tolerance is None:
        return -math.inf, math.inf
    value = one.tolerance.value
    if kind == "position":
        value = 0.5 * value  # the zone's diameter
    return -value, value


def _of_pair(first: int, second: int, job: Job) -> Dimension:
    """Return how two features that no dimension links stand to each other."""
    a, b = job.cuts[first], job.cuts[second]
    name = f"{b.name} to {a.name}"
    share = float(a.normal @ b.normal)
    if "hole" in (a.kind, b.kind):
        return Dimension(name, "position", first, second, a.normal)
    if abs(share) > 0.9:
        along = _from_second(a.normal, a.point, b.point)
        return Dimension(name, "distance", first, second, along)
    kind = "square" if abs(share) < 0.1 else "angle"
    return Dimension(name, kind, first, second, b.normal, OVER_MM)


def _worst(settings: list[Setting], parts: dict[str, str]) -> tuple[DimensionFound, ...]:
    """Return each dimension at its worst station, with the draws of that station."""
    outcomes = [estimate(setting.job, setting.dimensions) for setting in settings]
    tried: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for s, setting in enumerate(settings):
        for d, one in enumerate(setting.dimensions):
            tried.setdefault((parts[setting.station], one.name), []).append((s, d))

    def badness(at: tuple[int, int]) -> tuple[float, float]:
        outcome = outcomes[at[0]][at[1]]
        inside = 1.0 if math.isnan(outcome.inside) else outcome.inside
        return firm(-inside), firm(outcome.plus_minus)

    chosen = {key: max(places, key=badness) for key, places in tried.items()}
    drawn: dict[tuple[int, int], Drawn] = {}
    for s in sorted({s for s, _ in chosen.values()}):
        numbers = sorted(d for t, d in chosen.values() if t == s)
        wanted = [settings[s].dimensions[d] for d in numbers]
        for d, one_drawn in zip(numbers, draw_out(settings[s].job, wanted, seed=SEED), strict=True):
            drawn[s, d] = one_drawn
    found = []
    for key, (s, d) in chosen.items():
        setting = settings[s]
        one = setting.dimensions[d]
        cuts = setting.job.cuts
        found.append(
            DimensionFound(
                name=one.name,
                part=key[0],
                station=setting.station,
                first=cuts[one.first].name,
                second=DATUM if one.second is None else cuts[one.second].name,
                outcome=outcomes[s][d],
                drawn=drawn[s, d],
                entry=setting.entries[d],
                setting=setting,
                number=d,
                stations=len(tried[key]),
            )
        )
    return tuple(found)


def _touches(file: str, readings: str | None) -> Missing:
    return Missing(
        "touches of the axis lines",
        readings or f"{file}: readings.file",
        "the lines come from entries that state no uncertainty, so that no error can be counted "
        "from them",
        'ask "turns" for the order of touching and put the readings into a table',
    )


def _dimensions(file: str, left_out: list[str]) -> Missing:
    gather = Gather(file)
    gather.need(
        None,
        "dimensions",
        "a dimension between features that are cut in a known pose",
        why=left_out[0] if left_out else "nothing links two faces yet",
        how="add [[parts.features]] with name and face, and [[dimensions]] with feature, "
        "measured_from and tolerance",
    )
    return gather.missing[0]
