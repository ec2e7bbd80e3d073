"""To be written."""

from __future__ import annotations

from gudgeon.findings.base import FindingsBase

__all__ = ["PlaceFindings"]


class PlaceFindings(FindingsBase):
    """To be written."""
