"""The map of poses: every cell is drawn, told apart without colour."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from gudgeon.drawing.pose_map import pose_map

SVG = "{http://www.w3.org/2000/svg}"


def test_every_cell_with_its_letter_and_fill() -> None:
    svg = pose_map("m", [0.0, 0.5, 1.0], [0.0, 1.0, 2.0], [[0, 1], [2, 1]], [(0.5, 1.0, "here")])
    root = ElementTree.fromstring(svg)
    words = ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]
    assert words.count("n") == 2
    assert words.count("?") == 1
    assert "here" in words
    assert "blank: clear; n, hatched: not clear; ?, grey: cannot tell" in words
    assert svg.count("url(#m-hatch)") == 2


def test_only_kinds_that_occur_are_explained() -> None:
    assert "hatched" not in pose_map("m", [0.0, 1.0], [0.0, 1.0], [[0]])


def test_cells_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="cells are needed"):
        pose_map("m", [0.0, 1.0], [0.0, 1.0], [[0, 0]])
    with pytest.raises(ValueError, match="do not rise"):
        pose_map("m", [1.0, 1.0], [0.0, 1.0], [[0]])
