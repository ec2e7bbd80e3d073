"""To be written."""

from __future__ import annotations

from gudgeon.findings.base import FindingsBase

__all__ = ["CashFindings"]


class CashFindings(FindingsBase):
    """To be written."""
