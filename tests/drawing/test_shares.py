"""Bars of shares: numbered, in order, to scale."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from gudgeon.drawing.shares import Shares


def drawn() -> Shares:
    return (
        Shares("s")
        .row("width", {"lines": 0.6, "tools": 0.3, "seat": 0.1}, "0.04 mm")
        .row("depth", {"tools": 0.75, "seat": 0.25})
    )


def test_causes_are_numbered_by_their_sum() -> None:
    assert drawn().causes == ("tools", "lines", "seat")
    words = ["".join(node.itertext()) for node in ET.fromstring(drawn().svg()).iter() if node.text]
    for number, cause in enumerate(drawn().causes, start=1):
        assert f"{number}  {cause}" in words or f"{number} {cause}" in words


def test_segments_are_as_long_as_their_shares() -> None:
    svg = Shares("s").row("a", {"x": 0.8, "y": 0.2}).svg()
    boxes = re.findall(r'<path d="M([\d.]+) ([\d.]+) L([\d.]+) \2 L\3 ([\d.]+) L\1 \4Z"', svg)
    wide = sorted(
        {round(float(b[2]) - float(b[0]), 1) for b in boxes if float(b[3]) - float(b[1]) == 18.0}
    )
    assert wide[-1] / wide[0] == pytest.approx(4.0, rel=0.01)


def test_nothing_to_share_is_an_empty_bar() -> None:
    assert Shares("s").row("a", {}).svg().startswith("<svg")
    assert Shares("s").svg().startswith("<svg")
