"""To be written."""

from __future__ import annotations

from gudgeon.findings.base import FindingsBase

__all__ = ["LoadFindings"]


class LoadFindings(FindingsBase):
    """To be written."""
