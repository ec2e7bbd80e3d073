"""Where the unit may stand: flange, placements, limits and heights."""

from __future__ import annotations

from gudgeon.findings.flange import FlangeFindings, FlangeMatch
from gudgeon.findings.lines import LineFindings

__all__ = ["FlangeMatch", "PlaceFindings"]


class PlaceFindings(FlangeFindings, LineFindings):
    """Facts about the place of the unit on the table."""
