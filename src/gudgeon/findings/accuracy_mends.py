"""What would make a dimension more accurate, cheapest first, each worked out again."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.budget import Outcome, after_first_part, estimate, rescaled
from gudgeon.accuracy.job import Cut, Job
from gudgeon.accuracy.place import to_platter
from gudgeon.findings.accuracy import AccuracyFinding, AccuracyFindings, DimensionFound
from gudgeon.quantity.kinds import Kind
from gudgeon.quantity.ties import firm

__all__ = ["EFFORTS", "Mend", "MendFindings"]

Floats = NDArray[np.float64]

EFFORTS: Final = ("free", "minutes", "money", "ask")
"""From cheapest to dearest; common practice, no source."""

SETTER_U_MM: Final = 0.002
"""Tool setter or a touched block, k = 1; common practice, no source."""

WARM_HALF_K: Final = 0.5
"""Temperature that is kept once machine and part were let come to rest; common practice."""

WARM_GROWTH: Final = 0.25
"""Share of the spindle's growth that is left after half an hour of running; common practice."""

SEAT: Final = 1.0 / 3.0
"""Share of the seat error left with ground rests and a stop; common practice, no source."""

WORTH: Final = 0.02
"""A mend that narrows the dimension by less than this share is not named."""

SQUARE_ON: Final = 0.02
"""Normals this near to square (cosine) to the spindle can be cut by the tool's side."""


@dataclass(frozen=True, slots=True)
class Mend:
    """One change and what it brings.

    Attributes
    ----------
    effort : str
        One of `EFFORTS`.
    order : str
        What to do, as a sentence.
    condition : str
        The same as it continues "if ...".
    before, after : float
        Width (95 %) of the dimension that it is for [mm or rad].
    inside_before, inside_after : float
        Share in tolerance; NaN without a tolerance.
    cures : bool
        With it every dimension keeps the wanted share.
    """

    effort: str
    order: str
    condition: str
    before: float
    after: float
    inside_before: float
    inside_after: float
    cures: bool


class MendFindings(AccuracyFindings):
    """Facts about what would help."""

    def accuracy_mends(
        self, found: AccuracyFinding, target: DimensionFound, lines_factor: float | None = None
    ) -> tuple[Mend, ...]:
        """Return changes that narrow the target, the cheapest that cures everything first.

        Parameters
        ----------
        found : AccuracyFinding
        target : DimensionFound
            The dimension that shall be better.
        lines_factor : float, optional
            Share of the line error that is left after the next best readings.
        """
        sizes = target.setting.job.sizes
        mends: list[Mend] = []

        def add(effort: str, order: str, condition: str, change: _Change) -> None:
            after = change(target)
            before = target.outcome.plus_minus
            if after is None or after.plus_minus > before * (1.0 - WORTH):
                return
            everyone = [change(one) or one.outcome for one in found.dimensions]
            cures = all(
                math.isnan(one.inside) or one.inside >= found.share - 1e-12 for one in everyone
            )
            mends.append(
                Mend(
                    effort,
                    order,
                    condition,
                    before,
                    after.plus_minus,
                    target.outcome.inside,
                    after.inside,
                    cures,
                )
            )

        def scale(factors: Mapping[str, float]) -> _Change:
            return lambda one: rescaled(one.outcome, factors)

        if any(sizes.lost_half):
            add(
                "free",
                "Come to every pose from the same side: go past it by a degree and back in the "
                "program, and do the same when the lines are touched.",
                "every pose is come to from the same side",
                scale({"lost motion": 0.0}),
            )
        by_side = _one_pose(target)
        if by_side is not None:
            job, words = by_side
            both = f"{target.first} and {target.second}"
            add(
                "free",
                f"Cut {words}, so that no turn lies between the two.",
                f"{both} are cut{words.removeprefix(both)}",
                lambda one: _again(one, target, job),
            )
        if lines_factor is not None and lines_factor < 1.0:
            kept = {"lines": lines_factor, "open angles": lines_factor}
            add(
                "minutes",
                'Take the next readings that "turns" names, and work the lines out again.',
                'the next readings that "turns" names are taken first',
                scale(kept),
            )
        add(
            "minutes",
            "Measure the first part and correct the offsets and tools by what it shows.",
            "the first part is measured and the offsets are corrected by it",
            lambda one: after_first_part(one.outcome, sizes.probing_u),
        )
        if not sizes.probed:
            cache: dict[int, tuple[Outcome, ...]] = {}
            add(
                "minutes",
                "Probe the zero of each face in its own pose instead of counting it from the "
                "lines.",
                "the zero of each face is probed in its own pose",
                lambda one: _probed(one, cache),
            )
        if sizes.length_u > SETTER_U_MM or sizes.diameter_u > SETTER_U_MM:
            setter = self.units.text(Kind.LENGTH, SETTER_U_MM, 5 if self.units.inch else 3)
            add(
                "minutes",
                f"Set tool lengths and diameters again, good to {setter} (k = 1).",
                f"tool lengths and diameters are set to {setter}",
                scale(
                    {
                        "tool length": _ratio(SETTER_U_MM, sizes.length_u),
                        "tool diameter": _ratio(SETTER_U_MM, sizes.diameter_u),
                    }
                ),
            )
        add(
            "minutes",
            "Warm the machine up for half an hour as in the job, touch the lines then, and let "
            "the parts lie beside the machine overnight.",
            "machine and parts are at one even temperature",
            scale(
                {
                    "spindle growth": WARM_GROWTH,
                    "machine warmth": _ratio(WARM_HALF_K, sizes.machine_half),
                    "part warmth": _ratio(WARM_HALF_K, sizes.part_half),
                }
            ),
        )
        add(
            "money",
            "Seat the part on ground rests with a stop, and clamp it with the same torque.",
            "the part sits on ground rests with a stop",
            scale({"clamping": SEAT}),
        )
        return tuple(
            sorted(mends, key=lambda one: (not one.cures, EFFORTS.index(one.effort), one.after))
        )


_Change = Callable[[DimensionFound], Outcome | None]


def _ratio(new: float, old: float) -> float:
    return min(1.0, new / old) if old > 0.0 else 1.0


def _probed(one: DimensionFound, cache: dict[int, tuple[Outcome, ...]]) -> Outcome:
    """Return the dimension with zeros probed in each pose."""
    key = id(one.setting)
    if key not in cache:
        job = one.setting.job
        job = replace(job, sizes=replace(job.sizes, probed=True))
        cache[key] = estimate(job, one.setting.dimensions)
    return cache[key][one.number]


def _again(one: DimensionFound, target: DimensionFound, job: Job) -> Outcome | None:
    """Return the target in another job; the others as they were."""
    if one is not target:
        return None
    return estimate(job, (target.setting.dimensions[target.number],))[0]


def _one_pose(target: DimensionFound) -> tuple[Job, str] | None:
    """Return the job with both features cut in one pose that is there already, and in words.

    A surface square to the spindle is cut by the tool's end, one along it by its side.
    """
    one = target.setting.dimensions[target.number]
    if one.second is None:
        return None
    job = target.setting.job
    cuts = (job.cuts[one.first], job.cuts[one.second])
    if cuts[0].visit == cuts[1].visit or cuts[0].clamping != cuts[1].clamping:
        return None
    best: tuple[float, Job, str] | None = None
    seen: set[tuple[int, ...]] = set()
    for at in job.cuts:
        visit = job.visits[at.visit]
        if visit.positionings in seen:
            continue
        seen.add(visit.positionings)
        up = _up(job, at.visit)
        made = [_in_pose(cut, up, at.visit) for cut in cuts]
        if made[0] is None or made[1] is None:
            continue
        changed = list(job.cuts)
        changed[one.first] = made[0]
        flat = "hole" not in (made[0].kind, made[1].kind)
        changed[one.second] = replace(made[1], tool=made[0].tool) if flat else made[1]
        other = replace(job, cuts=tuple(changed))
        width = estimate(other, (one,))[0].plus_minus
        words = f"{cuts[0].name} and {cuts[1].name} " + "with one tool " * flat
        words += f"in the pose of {at.name}"
        if best is None or firm(width) < firm(best[0]):
            best = (width, other, words)
    return None if best is None else best[1:]


def _up(job: Job, visit: int) -> Floats:
    """Return the direction of the part that looks to the spindle in a visit."""
    ends = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    turns = np.array([job.visits[visit].turns] * 2)
    low, high = to_platter(job.lines_of(job.values), turns, ends) @ job.turn
    return np.asarray(high - low)


def _in_pose(cut: Cut, up: Floats, visit: int) -> Cut | None:
    share = float(cut.normal @ up)
    if cut.kind == "hole":
        return replace(cut, visit=visit) if share > 1.0 - SQUARE_ON else None
    if share > 1.0 - SQUARE_ON:
        return replace(cut, kind="plane", visit=visit)
    if abs(share) < SQUARE_ON:
        return replace(cut, kind="edge", visit=visit)
    return None
