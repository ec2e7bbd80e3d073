"""Where the two axis lines run: from the touches where there are any, else from the entries."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.answer import Missing
from gudgeon.centre.fit import POSITION_WORTH_MM
from gudgeon.centre.hand import NEEDED
from gudgeon.centre.lines import LineFrame
from gudgeon.findings.bad_readings import to_repeat, trusted_if
from gudgeon.findings.gather import Lacking
from gudgeon.findings.procedure import touch_orders
from gudgeon.findings.touching import LineStudy, TouchFindings
from gudgeon.kinematics.chain import WorkChain
from gudgeon.quantity.amount import Amount

__all__ = ["AxisLinesFinding", "LineFindings"]

Floats = NDArray[np.float64]


ENTERED_K: Final = 2.0
"""Coverage factor of what was entered with +-, and of the closed forms."""


@dataclass(frozen=True, slots=True)
class AxisLinesFinding:
    """The axis lines as the work offsets use them.

    Attributes
    ----------
    frame : LineFrame
        Frame in which the parameters stand; see `gudgeon.centre.lines`.
    values : ndarray, shape (p,)
        Parameters in the order of `parameters` [mm, rad].
    covariance : ndarray, shape (p, p)
        Standard (k = 1) covariance; rows of parameters that nobody measured are zero.
    measured : bool
        False: the lines come from the cell's own entries.
    dof : float
        Effective degrees of freedom behind the covariance; infinite where the noise was stated.
    k95 : float
        Coverage factor: so many standard uncertainties hold the truth 95 times in 100.
    """

    frame: LineFrame
    values: Floats
    covariance: Floats
    measured: bool
    dof: float
    k95: float = ENTERED_K

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of `values` in order."""
        return self.frame.parameters

    @property
    def chain(self) -> WorkChain:
        """The chain with its lines placed."""
        return self.frame.chain(self.values)

    def chain_of(self, values: ArrayLike) -> WorkChain:
        """Return the chain for other values of the parameters."""
        return self.frame.chain(values)

    def platter_origin_of(self, values: ArrayLike) -> Floats:
        """Return where the rotary line pierces the platter face at zero pose, in T [mm]."""
        return self.frame.platter_origin(values)

    @property
    def face_height_mm(self) -> float:
        """Platter face over the tilt line at the rotary line, signed [mm]."""
        return self.frame.face_height(self.values)


class LineFindings(TouchFindings):
    """Facts about the two axis lines."""

    @cached_property
    def axis_lines(self) -> AxisLinesFinding:
        """The lines that other questions use: fitted, else by hand, else from the entries.

        Raises
        ------
        Lacking
            Naming what is missing; also where the touches contradict a sense, because lines that
            may be mirrored must not be used.
        """
        study = self.line_study
        if study.fatal:
            first = study.fatal[0]
            raise Lacking(
                (
                    Missing(
                        "touches and senses that agree",
                        first.where,
                        first.text,
                        first.mend,
                    ),
                )
            )
        if study.readings:
            measured = self._measured_lines(study)
            if measured is not None:
                return measured
            if study.at_odds:
                raise Lacking((self.touches_to_repeat(study),))
        try:
            return self._nominal_lines()
        except Lacking as lacking:
            touches = self.touches_lacking(study)
            raise Lacking((*touches, *lacking.missing)) from lacking

    def _measured_lines(self, study: LineStudy) -> AxisLinesFinding | None:
        fit, hand = study.fit, study.hand
        if fit is not None and study.determined:
            lines = fit.line_values, fit.line_covariance
            k95 = max(ENTERED_K, fit.k95)  # never less than what is entered with +-
            return AxisLinesFinding(study.frame, *lines, True, fit.dof_effective, k95)
        if hand is not None and hand.complete:
            # What the fit knows of the readings' scatter holds for the closed forms too.
            covariance = hand.covariance * (fit.widening**2 if fit and study.at_odds else 1.0)
            if not _too_wide(covariance):
                return AxisLinesFinding(study.frame, hand.values, covariance, True, math.inf)
        return None

    @property
    def touches_trusted_if(self) -> tuple[str, ...]:
        """Conditions that the touches themselves put on the lines, as they continue "if ..."."""
        study = self.line_study
        fit, found = study.fit, []
        held = [] if fit is None else [item.name for item in fit.held]
        off_centre = [name for name in held if name in ("bore_x", "bore_y", "pin_x", "pin_y")]
        if off_centre:
            found.append(
                f"the {off_centre[0].split('_')[0]} runs true to the platter, which no touch at "
                "half a turn shows yet"
            )
        if study.suspects:
            found.append(trusted_if(self.units, study.suspects))
        return tuple(found)

    def touches_to_repeat(self, study: LineStudy) -> Missing:
        """Return what is needed where the touches contradict each other by far."""
        where = self.cell.readings.file or f"{self.cell.file}: readings.file"
        if study.suspects:
            why, how = to_repeat(self.units, study.suspects)
            return Missing("touches that agree", where, why, how)
        return Missing(
            "touches that agree",
            where,
            "the readings contradict each other, and no single one of them explains it",
            "Check that nothing was bumped or re-zeroed in between, then touch them all again.",
        )

    def touches_lacking(self, study: LineStudy) -> tuple[Missing, ...]:
        """Return the touches that would still be needed for both lines, most telling first."""
        if not self.has_tilt:
            wanted: tuple[str, ...] = ("",)
        else:
            wanted = NEEDED if study.hand is None else study.hand.lacking
        where = self.cell.readings.file or f"{self.cell.file}: readings.file"
        return tuple(
            Missing(
                f"touch of {item.what}",
                where,
                item.gives,
                item.how,
            )
            for item in touch_orders(study.frame, self.senses, self.cell.unit.tilt_range)
            if item.needed in wanted
        )

    def _nominal_lines(self) -> AxisLinesFinding:
        """Return the lines from the cell's entries, with the uncertainty that they state."""
        unit, placement = self.cell.unit, self.cell.placement
        gather = self.gather()
        chain = None
        try:
            chain = self.nominal_chain
        except Lacking as lacking:
            gather.also(lacking)
        two_axes = unit.kind != "rotary only"
        height = unit.face_height
        if two_axes:
            gather.need(
                unit.face_height,
                "unit.face_height",
                "height of the platter face over the tilt axis",
                why="it turns with the work: every zero of a tilted face moves with it",
                how='take it from the data sheet, or touch it as "turns" tells',
            )
        gather.stop()
        assert chain is not None
        frame, values = LineFrame.of_chain(chain)
        if not two_axes:
            side = float(np.sign(self.unit_axes[:, 0] @ np.asarray(frame.along)))
            frame = replace(frame, face_side=side)

        # Sources of uncertainty: centre x, centre y, height, axis offset, face height.
        def u(amount: Amount | None) -> float:
            return amount.u if amount is not None else 0.0

        heights = (self.cell.machine.gauge_to_table, unit.tilt_axis_height, placement.riser)
        sources = np.array(
            [
                u(placement.centre_x),
                u(placement.centre_y),
                float(np.sqrt(sum(u(item) ** 2 for item in heights))),
                u(unit.axis_offset),
                u(height),
            ]
        )
        along, across = frame.basis[:2, 0], frame.basis[:2, 1]
        effect = np.zeros((len(values), 5))
        if two_axes:
            assert height is not None
            values[8] = height.value
            effect[0, 0:2] = across
            effect[0, 3] = -1.0  # the centre is that of the rotary line
            effect[1, 2] = 1.0
            effect[4, 0:2] = along
            effect[5, 0:2] = across
            effect[8, 4] = 1.0
            effect[8, 2] = 1.0  # the crossing height z = 0 of the frame stays, the line rises
        else:
            effect[0, 0:2] = across
            effect[1, 2] = 1.0
            effect[4, 0:2] = along
        covariance = (effect * sources**2) @ effect.T
        return AxisLinesFinding(frame, values, covariance, measured=False, dof=float("inf"))


def _too_wide(covariance: Floats) -> bool:
    return bool(np.max(np.diag(covariance)) > POSITION_WORTH_MM**2)
