"""Question fits: which zeros a tool reaches, both ways: no false no, no false yes.

The metric demo shop: blanks 70 x 30 x 80 before the tower, zeros on their outsides, A90.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gudgeon.answer import Answer, Verdict
from gudgeon.cell.files import load_text
from gudgeon.clearance import prove
from gudgeon.findings import Findings
from gudgeon.questions import fits
from gudgeon.questions._fits_proven import _cause

DEMO = Path(__file__).parents[2] / "demo" / "alder-ford.toml"
BLANK = """x = ["-35 mm", "35 mm"]
y = ["-30 mm", "0 mm"]
z = ["-20 mm", "60 mm"]"""
