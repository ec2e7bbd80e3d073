"""To be written."""

from __future__ import annotations

from gudgeon.findings.base import FindingsBase

__all__ = ["SenseFindings"]


class SenseFindings(FindingsBase):
    """To be written."""
