"""End to end against a second opinion: random cells, programs and limits beside plain sampling.

The second opinion shares no code with the tool (see `second_opinion`).  A few cells run always;
``GUDGEON_SECOND_OPINION="100:160"`` takes those of the seeds 100 to 159.
"""

from __future__ import annotations

import math
import os

import numpy as np
import pytest

pytest.importorskip("fcl", reason="the second opinion measures with python-fcl")

from tests.clearance.compare import compare
from tests.clearance.compare_boxes import compare_boxes
from tests.clearance.random_cells import Maker
from tests.clearance.second_opinion import Judge, Reference


def seeds(usual: tuple[int, ...]) -> list[int]:
    asked = os.environ.get("GUDGEON_SECOND_OPINION")
    if not asked:
        return list(usual)
    first, last = asked.split(":")
    return list(range(int(first), int(last)))


@pytest.mark.parametrize("seed", seeds((4, 45, 131, 451)))
def test_programs_as_sampling_sees_them(seed: int) -> None:
    case = Maker(seed).case(9)
    if case is None:
        pytest.skip("something touches where the program starts")
    found = compare(case)
    assert found.faults == []
    assert found.needless == []
    assert found.counts["programs not read"] or found.counts["blocks"] > 0


@pytest.mark.parametrize("seed", seeds((5, 11, 18)))
def test_limits_planes_and_changes_as_sampling_sees_them(seed: int) -> None:
    case = Maker(seed).case(1)
    if case is None:
        pytest.skip("something touches where the program starts")
    assert compare_boxes(case, 60).faults == []


def test_the_second_opinion_knows_closed_forms() -> None:
    """A square load of 40 mm and the cutter beside it; its corner when it turns (hand values)."""
    case = Maker(4).case(1)
    assert case is not None
    text = case.text.replace(
        case.text[case.text.index("[fixture]") : case.text.index("[[tools]]")],
        '[fixture]\nshape = "square"\nhalf_width = "40 mm"\nheight = "100 mm"\n',
    )
    reference = Reference(text, {})
    judge = Judge(
        reference,
        [
            pair
            for pair in reference.pairs(1, cutting=False, turning=True, drop=lambda _: False)
            if {pair[0].name, pair[2].name} == {"load", "T1 cutter 0"}
        ],
    )
    tool = reference.tools[1][0].parts[0]
    length, radius = -float(tool.corners[:, 2].min()), float(tool.corners[:, 0].max())
    x, y, z = reference.platter.points([0.0, 0.0, 50.0 + length]).tolist()
    for turn, half in ((0.0, 40.0), (45.0, 40.0 * math.sqrt(2.0)), (90.0, 40.0)):
        pose = np.array([x + 100.0, y, z, 0.0, math.radians(turn)])
        assert judge.gap(pose)[0] == pytest.approx(100.0 - radius - half, abs=0.02)
    # Wholly inside is no gap at all.
    assert judge.gap(np.array([x, y, z, 0.0, 0.0]))[0] == 0.0


@pytest.mark.parametrize(
    ("seed", "lines", "old", "new"),
    [
        (18, 3, "tilt_sense = -1", "tilt_sense = 1"),
        (18, 8, "rotary_sense = 1", "rotary_sense = -1"),
        (45, 8, 'riser = "25.000 mm"', 'riser = "24.500 mm"'),
    ],
)
def test_two_cells_that_differ_contradict_each_other(
    seed: int, lines: int, old: str, new: str
) -> None:
    """A comparison that could not fail would show nothing."""
    case = Maker(seed).case(lines)
    assert case is not None
    assert case.text.count(old) == 1
    case.reference = Reference(case.text.replace(old, new), {})
    assert compare(case).faults
