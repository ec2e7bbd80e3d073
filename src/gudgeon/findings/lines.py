"""To be written."""

from __future__ import annotations

from gudgeon.findings.base import FindingsBase

__all__ = ["LineFindings"]


class LineFindings(FindingsBase):
    """To be written."""
