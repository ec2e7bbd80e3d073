"""Findings: every fact of one cell, worked out once, lazily, by one engine each.

This is the only place where the cell and the engines meet.  A property either returns a finding or
raises `Lacking` with what is still missing; questions turn that into "cannot tell yet".  The work
itself stands in the modules beside this one, one per subject.
"""

from __future__ import annotations

from collections.abc import Sequence

from gudgeon.cell.model import Cell
from gudgeon.findings.accuracy_mends import MendFindings
from gudgeon.findings.cash import CashFindings
from gudgeon.findings.check_path import CheckPathFindings
from gudgeon.findings.cleared import ClearedFindings
from gudgeon.findings.control import ControlFindings
from gudgeon.findings.drifted_parts import DriftedPartFindings
from gudgeon.findings.effort import USUAL_EFFORT, Effort
from gudgeon.findings.fixture_sides import FixtureSideFindings
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.findings.jog_test import JogTestFindings
from gudgeon.findings.lines import LineFindings
from gudgeon.findings.loads import LoadFindings
from gudgeon.findings.moved_signs import MovedSignFindings
from gudgeon.findings.next_readings import NextReadingFindings
from gudgeon.findings.part_points import PartPointFindings
from gudgeon.findings.place import PlaceFindings
from gudgeon.findings.place_remedies import RemedyFindings
from gudgeon.findings.played import PlayedFindings
from gudgeon.findings.programs import ProgramText
from gudgeon.findings.scene import SceneFindings
from gudgeon.findings.senses import SenseFindings
from gudgeon.findings.skeleton import SkeletonFindings
from gudgeon.findings.test_piece import PieceFindings
from gudgeon.findings.view import ViewFindings
from gudgeon.findings.warm_up import WarmUpFindings

__all__ = ["Findings", "Gather", "Lacking"]


class Findings(
    MendFindings,
    SkeletonFindings,
    PlayedFindings,
    ViewFindings,
    PieceFindings,
    CheckPathFindings,
    WarmUpFindings,
    JogTestFindings,
    ClearedFindings,
    RemedyFindings,
    SceneFindings,
    CashFindings,
    LoadFindings,
    PlaceFindings,
    NextReadingFindings,
    DriftedPartFindings,
    MovedSignFindings,
    FixtureSideFindings,
    PartPointFindings,
    ControlFindings,
    LineFindings,
    SenseFindings,
):
    """Facts of `cell`; each is a cached property of one of the bases.

    Parameters
    ----------
    cell : Cell
    programs : sequence of ProgramText
        Programs that were handed in with it.
    effort : Effort
        How long an order is sought.
    """

    def __init__(
        self, cell: Cell, programs: Sequence[ProgramText] = (), effort: Effort = USUAL_EFFORT
    ) -> None:
        super().__init__(cell, programs, effort)
