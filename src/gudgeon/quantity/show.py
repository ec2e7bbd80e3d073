"""The shop's own units: turns base-unit floats into the numbers and texts that are shown.

Questions use it to fill an answer; nothing below the questions does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from gudgeon.quantity.kinds import Kind

__all__ = ["Units"]

MM_PER_INCH: Final = 25.4  # exact: NIST SP 811 (2008), appendix B
KG_PER_LB: Final = 0.45359237  # exact: NIST SP 811 (2008), appendix B
N_PER_LBF: Final = 4.4482216152605  # exact: NIST SP 811 (2008), appendix B
NM_PER_LBFFT: Final = N_PER_LBF * 0.3048

_DEG: Final = math.pi / 180.0

_METRIC: Final[dict[Kind, tuple[float, str, int]]] = {
    # kind: base units in one shown unit, shown unit, usual decimals
    Kind.LENGTH: (1.0, "mm", 3),
    Kind.ANGLE: (_DEG, "deg", 2),
    Kind.MASS: (1.0, "kg", 1),
    Kind.FORCE: (1.0, "N", 0),
    Kind.TORQUE: (1.0, "N*m", 2),
    Kind.POWER: (1000.0, "kW", 2),
    Kind.SPEED: (1.0 / 0.06, "m/min", 2),
    Kind.SPIN: (2.0 * math.pi / 60.0, "rpm", 1),
    Kind.ACCELERATION: (1000.0, "m/s2", 2),
    Kind.SPIN_UP: (_DEG, "deg/s2", 0),
    Kind.JERK: (1000.0, "m/s3", 1),
    Kind.SPIN_JERK: (_DEG, "deg/s3", 0),
    Kind.TIME: (60.0, "min", 1),
    Kind.STRESS: (1.0, "MPa", 0),
    Kind.SHARE: (0.01, "%", 1),
    Kind.NUMBER: (1.0, "", 2),
}
_INCH: Final[dict[Kind, tuple[float, str, int]]] = {
    **_METRIC,
    Kind.LENGTH: (MM_PER_INCH, "in", 4),
    Kind.MASS: (KG_PER_LB, "lb", 1),
    Kind.FORCE: (N_PER_LBF, "lbf", 0),
    Kind.TORQUE: (NM_PER_LBFFT, "lbf*ft", 2),
    Kind.POWER: (745.69987158227022, "hp", 2),
    Kind.SPEED: (MM_PER_INCH / 60.0, "in/min", 1),
    Kind.ACCELERATION: (MM_PER_INCH, "in/s2", 1),
    Kind.JERK: (MM_PER_INCH, "in/s3", 0),
    Kind.STRESS: (0.00689475729316836, "psi", 0),
}


@dataclass(frozen=True, slots=True)
class Units:
    """How one shop reads numbers.

    Attributes
    ----------
    inch : bool
        True for inches and pounds, false for millimetres and kilograms.
    currency : str
        Such as ``"EUR"``; empty until a sum of money was read.
    """

    inch: bool = False
    currency: str = ""

    def unit(self, kind: Kind) -> str:
        """Return the shown unit of `kind`, such as ``"mm"``."""
        money = self.currency or "money"
        special = {
            Kind.MONEY: money,
            Kind.MONEY_PER_YEAR: f"{money}/yr",
            Kind.MONEY_PER_HOUR: f"{money}/h",
            Kind.PER_YEAR: "parts/yr",
        }
        return special[kind] if kind in special else self._facts(kind)[1]

    def shown(self, kind: Kind, base: float) -> float:
        """Convert a float in the base unit of `kind` to the shown unit."""
        if kind in (Kind.MONEY, Kind.MONEY_PER_YEAR, Kind.MONEY_PER_HOUR, Kind.PER_YEAR):
            return base
        return base / self._facts(kind)[0]

    def decimals(self, kind: Kind) -> int:
        """Return how many decimals are usual for `kind`."""
        if kind in (Kind.MONEY, Kind.MONEY_PER_YEAR, Kind.PER_YEAR):
            return 0
        return 2 if kind is Kind.MONEY_PER_HOUR else self._facts(kind)[2]

    def text(
        self,
        kind: Kind,
        base: float,
        decimals: int | None = None,
        sign: bool = False,
        limit: Literal["max", "min"] | None = None,
    ) -> str:
        """Return number and unit as text, such as ``"12.500 mm"`` or ``"24,900 EUR"``.

        Parameters
        ----------
        base : float
            Value in the base unit of `kind`.
        decimals : int, optional
            Decimals to show instead of the usual.
        sign : bool
            Show a plus sign too.
        limit : "max" or "min", optional
            The most or the least that somebody must keep to: rounded to the safe side.
        """
        places = self.decimals(kind) if decimals is None else decimals
        value = self.shown(kind, base)
        if limit is not None:
            # A billionth is rounding inside the sums, not a reason for one digit less.
            step, slack = 10.0**-places, 1e-9 * max(abs(value), 1.0)
            value = (
                math.floor((value + slack) / step) * step
                if limit == "max"
                else math.ceil((value - slack) / step) * step
            )
        value = round(value, places) + 0.0  # no "-0.000"
        grouped = "," if kind in (Kind.MONEY, Kind.MONEY_PER_YEAR, Kind.PER_YEAR) else ""
        number = f"{value:{'+' if sign else ''}{grouped}.{places}f}"
        unit = self.unit(kind)
        if unit == "%":
            return f"{number} %"
        return f"{number} {unit}".rstrip()

    def _facts(self, kind: Kind) -> tuple[float, str, int]:
        return (_INCH if self.inch else _METRIC)[kind]
