"""A number with the uncertainty that its writer stated."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Amount"]


@dataclass(frozen=True, slots=True)
class Amount:
    """A value in the base unit of its kind, and what was written behind ``+-``.

    Attributes
    ----------
    value : float
        In the base unit of its kind: mm, rad, kg, N, N m, W, s, mm/s, rad/s, MPa, degC, or the
        shop's money; a fraction for per cent.
    plus_minus : float or None
        Half width of the 95 % interval (k = 2) in the same unit; ``None`` if none was written.
    """

    value: float
    plus_minus: float | None = None

    @property
    def u(self) -> float:
        """Standard uncertainty (k = 1); zero where none was stated (JCGM 100:2008, 2.3.5)."""
        return 0.0 if self.plus_minus is None else self.plus_minus / 2.0
