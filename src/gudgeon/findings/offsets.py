"""To be written."""

from __future__ import annotations

from gudgeon.findings.base import FindingsBase

__all__ = ["OffsetFindings"]


class OffsetFindings(FindingsBase):
    """To be written."""
