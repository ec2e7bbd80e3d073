"""The first test piece: which lands to cut in which poses, and what each figure then tells.

The block stands on the bare platter, its middle on the rotary line.  Poses, lands and measures are
chosen for this cell (`gudgeon.accuracy.piece_choice`) among what its travels reach and its bodies
leave clear.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.accuracy.job import Job, Sizes
from gudgeon.accuracy.piece import (
    Block,
    Slopes,
    Stand,
    land_corners,
    lands_of,
    measures_of,
    slopes_of,
    ways_of,
)
from gudgeon.accuracy.piece_choice import (
    Chosen,
    Noise,
    alike,
    choose,
)
from gudgeon.accuracy.place import Lines, to_machine
from gudgeon.cell.model import Tool
from gudgeon.findings.accuracy_job import factors_of, home_and_lever, lines_function, sizes_of
from gudgeon.findings.piece_deviations import deviations_of
from gudgeon.findings.piece_found import Figure, LandCut, PieceFinding, Pose
from gudgeon.findings.piece_room import OVER_RAD, PROUD_MM, PieceRoomFindings, tool_name
from gudgeon.findings.procedure import SLACK

__all__ = ["ACROSS_U_MM", "HEIGHT_U_MM", "PieceFindings"]

Floats = NDArray[np.float64]

MM_PER_INCH: Final = 25.4
QUARTER: Final = math.pi / 2.0
WIDTH_SHARE: Final = 0.4
WIDTH_MM: Final = 80.0
"""Width of the block as a share of the platter's diameter; where that is not entered."""

WIDTH_MOST_MM: Final = 100.0
"""A micrometer of 75 to 100 mm still spans it (common practice, no source)."""

FLUTE_SPARE_MM: Final = 2.0
OVER_PLATTER_MM: Final = 3.0
"""The holder stands so much further over the platter than is asked."""

ACROSS_U_MM: Final = 0.002
HEIGHT_U_MM: Final = 0.005
"""Standard uncertainty of a thickness by micrometer and of a height by height gauge, both as a
careful person takes them (common practice, no source)."""

TOOLS_MOST: Final = 3
"""One that cuts all lands, and others whose lengths are compared with it."""

ENOUGH: Final = 8
MOST: Final = 18
"""Measures that are taken in any case, and at most: what is cut and measured in one day."""


class PieceFindings(PieceRoomFindings):
    """The first test piece."""

    @cached_property
    def test_piece(self) -> PieceFinding:
        """The test piece for this cell.

        Raises
        ------
        Lacking
            What the axis lines lack.
        """
        lines = self.axis_lines
        lines_of = lines_function(lines.frame, self.platter_axes)
        believed = lines_of(lines.values)
        axes = lines.chain.axes
        senses = [axis.sense for axis in axes]
        stands = self._piece_stands()
        tools = piece_tools(self.cell.tools, self._piece_cutters())
        block, assumed = self._piece_block(tools)
        # A wider tool would cut into the lands beside its own.
        tools = [tool for tool in tools if _width(tool) <= block.pitch]
        if not tools:
            block, assumed = self._piece_block(tools)
        names = [tool_name(tool) for tool in tools] or ["the end mill"]
        cut = lands_of(block, ways_of(believed, senses, stands, names))
        home, _ = home_and_lever(self.cell, believed)
        job = Job(
            lines_of, lines.values, (), (), (), np.zeros(3), np.eye(3), Sizes(), home, np.zeros(3)
        )
        slopes, rows = slopes_of(job, senses, stands, cut)
        candidates = measures_of(cut, rows)
        sizes, usual = sizes_of(self.cell, len(axes), self.units)
        named = deviations_of(
            slopes, lines.frame, stands, senses, sizes, self.wanted_mm, self._piece_one_side
        )
        noise = Noise(ACROSS_U_MM, HEIGHT_U_MM, sizes.linear_u)
        room = self.piece_room(block, stands, believed, senses, tools)
        deviations = [one.deviation for one in named]
        chosen = choose(
            slopes, candidates, deviations, noise, enough=ENOUGH,
            most=MOST,
            allowed=lambda one: all(room.clear(land) for land in one.lands),
        )  # fmt: skip
        cuts, poses = self._piece_poses(chosen, stands, believed, senses, block)
        source_cov = self._piece_covariance(slopes, sizes, stands)
        figures, spread = _figures(chosen, slopes, source_cov, cuts, lines.k95)
        told = np.sqrt(np.diag(chosen.left))
        return PieceFinding(
            block=block,
            tools=tuple(tools),
            stands=tuple(stands),
            poses=poses,
            figures=figures,
            deviations=tuple(named),
            left=2.0 * told,
            partings=alike(chosen, slopes, candidates, deviations, noise),
            chosen=chosen,
            spread=spread,
            proven=room.proven,
            not_judged=self.scene.left_out if room.proven else (),
            left_out=tuple((stands[i].angles, why) for i, why in room.told().items()),
            missing=room.missing,
            assumed=tuple(assumed),
            usual=_usual_here(usual),
        )

    @property
    def _piece_one_side(self) -> bool:
        return self.cell.accuracy.approach == "one side"

    def _piece_stands(self) -> list[Stand]:
        """Return the poses to choose from; the reversed ones show lost motion."""
        turns = [c for c in (self._piece_turn(k * QUARTER) for k in range(4)) if c is not None]
        if not self.has_tilt:
            found = [Stand((turn,)) for turn in turns]
            if not self._piece_one_side:
                found += [Stand((turn,), (0,)) for turn in turns[1:2]]
            return [self._from_where(one) for one in found]
        span = self.cell.unit.tilt_range
        low, high = (-math.pi, math.pi) if span is None else (end.value for end in span)
        tilts = [0.0]
        tilts += [end for end in (QUARTER, -QUARTER) if low - SLACK <= end <= high + SLACK]
        if len(tilts) == 1:
            # Not upright either way: as far as it goes still turns the sides along the tilt line.
            tilts += [end for end in (high, low) if abs(end) > 1e-9]
        found = [Stand((tilt, turn)) for tilt in tilts for turn in turns]
        if not self._piece_one_side:
            found += [Stand((0.0, turn), (1,)) for turn in turns[1:2]]
            found += [Stand((tilt, turns[0]), (0,)) for tilt in tilts[1:2]]
        return [self._from_where(one) for one in found]

    def _from_where(self, stand: Stand) -> Stand:
        """Return a stand with the axes that cannot come to it turning to plus among the others."""
        if self._piece_one_side:
            return stand
        unit = self.cell.unit
        spans = (unit.tilt_range, unit.rotary_range)[2 - len(stand.angles) :]
        short = {
            axis
            for axis, (angle, span) in enumerate(zip(stand.angles, spans, strict=True))
            if span is not None and angle - OVER_RAD < span[0].value - SLACK
        }
        return Stand(stand.angles, tuple(sorted(short | set(stand.minus))))

    def _piece_turn(self, angle: float) -> float | None:
        span = self.cell.unit.rotary_range
        if span is None:
            return angle
        low, high = (end.value for end in span)
        for whole in (0.0, -2.0 * math.pi, 2.0 * math.pi):
            if low - SLACK <= angle + whole <= high + SLACK:
                return angle + whole
        return None

    def _piece_cutters(self) -> set[int]:
        """Return the tools that an operation uses to push sideways."""
        return {
            one.tool
            for one in self.cell.operations
            if one.tool is not None
            and one.drill_diameter is None
            and one.thrust is None
            and (one.side_force is not None or one.width is not None)
        }

    def _piece_block(self, tools: Sequence[Tool]) -> tuple[Block, list[str]]:
        assumed = []
        platter = self.cell.unit.platter_diameter
        width = WIDTH_MM if platter is None else min(WIDTH_SHARE * platter.value, WIDTH_MOST_MM)
        if platter is None:
            assumed.append(f"The block is {WIDTH_MM:g} mm wide: unit.platter_diameter is missing.")
        row = 0.35 * width
        if tools:
            tool = tools[0]
            flutes = tool.flute_length or tool.stickout
            if flutes is not None:
                room = max(flutes.value - PROUD_MM - self.asked_mm - FLUTE_SPARE_MM, 4.0)
                width = min(width, 3.0 * room)
                row = min(row, room)
        step = 0.25 * MM_PER_INCH if self.units.inch else 5.0
        width = max(math.floor(width / step + 1e-9), 1) * step
        row = max(math.floor(min(row, 0.35 * width) / (0.2 * step) + 1e-9), 1) * 0.2 * step
        # The holder passes over the platter when the lowest lands are cut.
        low = width - 2.0 * row
        if tools and tools[0].holder_diameter is not None:
            over = 0.5 * tools[0].holder_diameter.value + self.asked_mm + OVER_PLATTER_MM
            low = max(low, math.ceil(over / (0.2 * step)) * 0.2 * step)
        return Block(0.5 * width, low, low + 2.0 * row), assumed

    def _piece_poses(
        self,
        chosen: Chosen,
        stands: Sequence[Stand],
        believed: Lines,
        senses: Sequence[int],
        block: Block,
    ) -> tuple[dict[int, LandCut], tuple[Pose, ...]]:
        """Return each land as it is cut, and the poses with their lands in order of cutting."""
        cut = [land for one in chosen.measures for land in one.lands]
        poses: list[Pose] = []
        cuts: dict[int, LandCut] = {}
        for i, stand in enumerate(stands):
            turns = np.multiply(senses, stand.angles)
            zero = to_machine(believed, turns[None, :], np.zeros((1, 3)))[0]
            here = []
            for land in (one for one in cut if one.way.stand == i):
                corners = land_corners(block, land.spot)
                at = to_machine(believed, turns[None, :].repeat(len(corners), 0), corners) - zero
                points = land.spot.points
                seen = to_machine(believed, turns[None, :].repeat(len(points), 0), points) - zero
                low, high = at.min(axis=0), at.max(axis=0)
                across = int(np.argmax(np.abs(land.way.across)))
                finish = float(np.mean(seen[:, across]))
                low[across] = high[across] = finish
                made = LandCut(len(cuts) + 1, land, low, high, finish, across, seen)
                cuts[id(land)] = made
                here.append(made)
            if here:
                roles = [axis.role for axis in self.turning_only.axes]
                back = tuple(roles[axis] for axis in stand.minus)
                poses.append(Pose(stand.angles, back, zero, tuple(here)))
        return cuts, tuple(poses)

    def _piece_covariance(self, slopes: Slopes, sizes: Sizes, stands: Sequence[Stand]) -> Floats:
        """Return the covariance of all sources where everything is as believed."""
        axis_lines = self.axis_lines
        count = len(axis_lines.values)
        cov = np.zeros((len(slopes.sources), len(slopes.sources)))
        places = [slopes.column("lines", 0, i) for i in range(count)]
        columns = [factor.columns for factor in factors_of(axis_lines, self.line_study.fit)]
        whole = np.concatenate(columns, axis=1)
        lined = whole @ whole.T
        for i, a in enumerate(places):
            for j, b in enumerate(places):
                if a is not None and b is not None:
                    cov[a, b] = lined[i, j]
        for i, source in enumerate(slopes.sources):
            if source.cause == "index":
                axis, stand = (int(str(part)) for part in source.key)
                cov[i, i] = sizes.index_u[axis] ** 2
                if axis in stands[stand].minus:
                    cov[i, i] += (2.0 * sizes.lost_half[axis]) ** 2 / 3.0
            elif source.cause == "spindle growth":
                cov[i, i] = sizes.growth_half**2 / 3.0
            elif source.cause == "square":
                cov[i, i] = sizes.square_u**2
            elif source.cause == "tool length":
                cov[i, i] = sizes.length_u**2
            elif source.cause == "tool diameter":
                cov[i, i] = sizes.diameter_u**2
        return cov


def piece_tools(tools: Sequence[Tool], milling: set[int]) -> list[Tool]:
    """Return the tools of the test piece: the smallest milling cutter first.

    Only tools that an operation uses to mill count, for nothing else tells a cutter from a drill;
    without any, none.
    """
    found = [tool for tool in tools if tool.number in milling and tool.cutter_diameter is not None]
    return sorted(found, key=_width)[:TOOLS_MOST]


def _width(tool: Tool) -> float:
    return tool.cutter_diameter.value if tool.cutter_diameter is not None else math.inf


def _figures(
    chosen: Chosen, slopes: Slopes, source_cov: Floats, cuts: dict[int, LandCut], k95: float
) -> tuple[tuple[Figure, ...], Floats]:
    rows = [slopes.matrix[list(row)].sum(axis=0) for one in chosen.measures for row in one.rows]
    matrix = np.array(rows).reshape(len(rows), slopes.matrix.shape[1])
    spread = matrix @ source_cov @ matrix.T + chosen.noise if rows else np.zeros((0, 0))
    found: list[Figure] = []
    for number, one in enumerate(chosen.measures, start=1):
        for k in range(len(one.rows)):
            i = len(found)
            point = one.lands[0].spot.points[k]
            expected = sum(
                float(land.spot.points[k] @ land.spot.normal) + cuts[id(land)].proud_mm(k)
                for land in one.lands
            )
            found.append(
                Figure(
                    f"m{number}{'ab'[k] if len(one.rows) > 1 else ''}",
                    tuple(cuts[id(land)].number for land in one.lands),
                    point,
                    one.lands[0].spot.normal,
                    expected,
                    k95 * math.sqrt(float(spread[i, i])),
                    chosen.table[i],
                )
            )
    return tuple(found), spread


def _usual_here(usual: Sequence[str]) -> tuple[str, ...]:
    """Return those sizes that count here: nothing is clamped as a part, and nothing warms up."""
    wanted = ("index", "lost", "repeatability", "tool length", "cutter", "spindle", "square")
    return tuple(text for text in usual if any(word in text for word in wanted))
