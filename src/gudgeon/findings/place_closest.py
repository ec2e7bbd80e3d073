"""Where it is tightest in a place of the unit: gaps to a thousandth, not only enough or not."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from gudgeon.findings.place_found import Closest, ProvenPlace
from gudgeon.findings.place_proven import ProvenPlaceFindings
from gudgeon.findings.shape import UnitZero
from gudgeon.placing.conditions import ROUNDING

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap
    from gudgeon.findings.place_site import Site

__all__ = ["ClosestFindings"]


class ClosestFindings(ProvenPlaceFindings):
    """Exact gaps of places that were proven."""

    def closest_in(self, place: ProvenPlace) -> Closest | None:
        """Return where it is tightest in a place, over all stations that are reached there.

        The unit against table, guards and every tool that is judged, on its way to each zero (for
        the unit against itself see `own_ways`: that is the same everywhere).  What was left out of
        a proof is left out here too.  ``None``: nothing can meet.
        """
        gone = {one.station for one in place.lost}
        need = self.asked_mm or ROUNDING
        best: Closest | None = None
        for zero in self.zeros_on_unit:
            if zero.station in gone:
                continue
            for reason, gap, tool in self._gaps(zero, place):
                if not math.isfinite(gap.upper_mm):
                    continue
                asked = (
                    0.0 if reason == "guard" and "with its margin" in " ".join(gap.pair) else need
                )
                spare = gap.lower_mm - asked
                if best is None or spare < best.spare_mm:
                    best = Closest(spare, gap, zero.station, zero.face, reason, tool)
        return best

    def _gaps(self, zero: UnitZero, place: ProvenPlace) -> Iterator[tuple[str, Gap, int | None]]:
        site, at = self._site(place.yaw_rad), (place.x_mm, place.y_mm)
        pose = (zero.tilt_rad, zero.turn_rad)
        cut_at = self._top_over(site, zero, at)
        tools = self._reaching(site, zero, at)
        spot = site.spot(zero.point_mm)
        for tool in tools:
            top, low, tip = self._depths(zero, tool, float(cut_at[2]))
            gap = site.least_down(tool, zero.station, spot, pose, top, low, tip)
            if gap is not None:
                yield "tool", site.displayed(gap, at), tool
            start, end = np.array([*cut_at[:2], top]), np.array([*cut_at[:2], low])
            gap = site.least_reach(tool, start, end)
            if gap is not None:
                yield "guard", gap, tool
        for turn_at in self._parks(cut_at):
            if site.walls(at, pose, turn_at, cut_at) is None and all(
                site.over(tool, turn_at, cut_at, at, pose) for tool in tools
            ):
                table, guard = site.least_machine(at, pose, turn_at, cut_at)
                if table is not None:
                    yield "table", site.displayed(table, at, turn_at), None
                if guard is not None:
                    yield "guard", site.displayed(guard, at, turn_at), None
                for tool in tools:
                    gap = site.least_over(tool, turn_at, cut_at, at, pose)
                    if gap is not None:
                        yield "tool", site.displayed(gap, at), tool
                return

    def _reaching(self, site: Site, zero: UnitZero, at: tuple[float, float]) -> list[int]:
        """Return the tools by which a zero is reached: all that are named, else the first."""
        named = [number for number in zero.tools if number in self._tools]
        if named:
            return named
        for tool in self._tools:
            if self._tool_lost(site, zero, at, tool) is None:
                return [tool]
        return []
