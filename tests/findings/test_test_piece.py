"""The test piece of a cell: every single error is named, none of the limits is idle."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.accuracy.piece import Stand
from gudgeon.cell.model import Cell
from gudgeon.cell.model_bodies import Solid
from gudgeon.findings import Findings, Lacking
from gudgeon.findings.piece_found import PieceFinding
from gudgeon.kinematics.chain import turn_about
from gudgeon.quantity.amount import Amount
from tests.accuracy.cutting import Cutting
from tests.sheets.conftest import known_of


def demo(name: str) -> Findings:
    return known_of(name).findings


def apart(piece: PieceFinding) -> list[int]:
    """Return the deviations that the piece says it tells apart from all others."""
    mixed = {name for one in piece.partings for name in one.names}
    return [
        i
        for i, one in enumerate(piece.deviations)
        if one.deviation.told and one.deviation.name not in mixed
    ]


def cut_on(findings: Findings, piece: PieceFinding, number: int, size: float) -> np.ndarray:
    """Return the figures less nominal of a unit that is off by one deviation."""
    lines = findings.axis_lines
    name = piece.deviations[number].deviation.name
    off = np.zeros(len(lines.values))
    names = lines.parameters
    if name in names:
        off[names.index(name)] = size
    if name == "tilt_z":
        off[names.index("face")] = size
    unit = Cutting(lines.frame, findings.platter_axes, lines.values, off)
    roles = [axis.role for axis in lines.chain.axes]
    words = name.split()
    proud = {}
    for pose in piece.poses:
        turned = np.zeros(len(roles))
        if words[1:2] == ["index"]:
            axis = roles.index(words[0])
            if abs(math.degrees(pose.angles_rad[axis]) - float(words[2])) < 1e-6:
                turned[axis] = size
        if words[1:] == ["lost", "motion"] and words[0] in pose.minus:
            turned[roles.index(words[0])] = size
        for one in pose.lands:
            mine = words[0] == one.land.way.tool
            tool = (
                size if mine and words[1] == "length" else 0.0,
                size if mine and words[1] == "diameter" else 0.0,
            )
            for k, point in enumerate(one.land.spot.points):
                stand = Stand(pose.angles_rad)
                proud[one.number, k] = unit.proud(one.land, point, stand, turned, tool)
    return np.array(
        [sum(proud[n, "ab".find(f.name[-1]) if f.name[-1] in "ab" else 0] for n in f.lands)
         for f in piece.figures]
    )  # fmt: skip


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_each_single_error_is_named_and_sized(name: str) -> None:
    findings = demo(name)
    piece = findings.test_piece
    assert len(apart(piece)) >= 12
    for number in apart(piece):
        one = piece.deviations[number].deviation
        for size in (3.0 * one.prior, -3.0 * one.prior):
            figures = cut_on(findings, piece, number, size)
            chi, found, told = piece.culprits(figures)[0]
            assert found.deviation.name == one.name
            assert told == pytest.approx(size, rel=0.02)
            # Small against what the error itself brought.
            assert chi < 0.02 * piece.culprits(figures)[-1][0]


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_table_is_what_comes_out_to_first_order(name: str) -> None:
    findings = demo(name)
    piece = findings.test_piece
    for number in range(len(piece.deviations)):
        one = piece.deviations[number]
        if not one.deviation.told:
            continue
        size = 1e-6 if one.kind.name == "ANGLE" else 1e-4
        figures = cut_on(findings, piece, number, size)
        told = np.array([figure.row[number] for figure in piece.figures]) * size
        assert figures == pytest.approx(told, rel=1e-6, abs=3e-10)


@pytest.mark.parametrize("name", ["alder-ford", "juniper-street"])
def test_flat_lands_on_leaning_lines_come_out_as_expected(name: str) -> None:
    """Each land is one plane in the machine; where all is as believed, figures are as printed."""
    findings = demo(name)
    piece = findings.test_piece
    lines = findings.axis_lines
    unit = Cutting(lines.frame, findings.platter_axes, lines.values, np.zeros(9))
    origin, axes = lines.platter_origin_of(lines.values), unit.platter(lines.values)
    size = {}
    for pose in piece.poses:
        for one in pose.lands:
            surface = pose.zero_mm[one.across] + one.finish
            for k, point in enumerate(one.land.spot.points):
                normal = one.land.spot.normal
                there = np.array([point, point + normal]) @ axes.T + origin
                x0, x1 = lines.chain.points(np.array(pose.angles_rad), there)[:, one.across]
                size[one.number, k] = point @ normal + (surface - x0) / (x1 - x0)
    leans = 0.0
    for figure in piece.figures:
        k = "ab".find(figure.name[-1]) if figure.name[-1] in "ab" else 0
        cut = sum(size[number, k] for number in figure.lands)
        assert figure.expected_mm == pytest.approx(cut, abs=1e-9)
        leans = max(leans, abs(figure.expected_mm - round(figure.expected_mm, 1)))
    assert leans > 1e-4 or name == "juniper-street"  # whose lines are not known to lean


def test_a_tilt_that_ends_upright_comes_there_from_the_other_side() -> None:
    """At the very end of its range the tilt cannot come turning to plus, and that is said."""
    cell = varied(demo("alder-ford").cell, "X", 1, 1, -90.0, 90.0)
    piece = Findings(cell).test_piece
    for pose in piece.poses:
        if pose.angles_rad[0] < -1.0:
            assert "tilt" in pose.minus


def varied(cell: Cell, along: str, tilt: int, rotary: int, low: float, high: float) -> Cell:
    """Return a demo cell that stands another way, without its touches."""
    return replace(
        cell,
        touches=(),
        checks=(),
        solids=(),
        control=replace(cell.control, tilt_sense=tilt, rotary_sense=rotary, jogs=()),
        placement=replace(cell.placement, tilt_along=along),
        unit=replace(
            cell.unit,
            tilt_range=(Amount(math.radians(low)), Amount(math.radians(high))),
        ),
    )


@settings(max_examples=4, deadline=None)
@given(
    st.sampled_from(["alder-ford", "juniper-street"]),
    st.sampled_from("XY"),
    st.sampled_from([1, -1]),
    st.sampled_from([1, -1]),
    st.sampled_from([(-95.0, 95.0), (-30.0, 110.0), (-110.0, 30.0)]),
    st.integers(0, 1000),
)
def test_culprits_are_right_whichever_way_the_unit_stands(
    name: str, along: str, tilt: int, rotary: int, span: tuple[float, float], pick: int
) -> None:
    findings = Findings(varied(demo(name).cell, along, tilt, rotary, *span))
    piece = findings.test_piece
    numbers = apart(piece)
    assert len(numbers) >= 8
    for number in {numbers[pick % len(numbers)], numbers[(pick * 7 + 3) % len(numbers)]}:
        one = piece.deviations[number].deviation
        figures = cut_on(findings, piece, number, 3.0 * one.prior)
        assert piece.culprits(figures)[0][1].deviation.name == one.name


@pytest.mark.parametrize(("along", "sense"), [("X", 1), ("X", -1), ("Y", 1), ("Y", -1)])
def test_a_single_rotary_axis_has_its_piece_too(along: str, sense: int) -> None:
    cell = varied(demo("alder-ford").cell, along, 1, sense, -90.0, 90.0)
    single = replace(
        cell, stations=(), unit=replace(cell.unit, kind="rotary only", rotary_range=None)
    )
    findings = Findings(single)
    piece = findings.test_piece
    numbers = apart(piece)
    names = {piece.deviations[number].deviation.name for number in numbers}
    assert {"rotary_y", "rotary_pitch", "rotary_yaw", "face", "rotary index 180"} <= names
    for number in numbers:
        one = piece.deviations[number].deviation
        figures = cut_on(findings, piece, number, 3.0 * one.prior)
        assert piece.culprits(figures)[0][1].deviation.name == one.name


def test_what_is_not_told_apart_really_is_not() -> None:
    """A longer tool and a unit that stands higher give the same figures, and the piece says so."""
    findings = demo("alder-ford")
    piece = findings.test_piece
    names = [one.deviation.name for one in piece.deviations]
    both = next(one.names for one in piece.partings if "tilt_z" in one.names)
    assert set(both) == {"tilt_z", "T3 length"}
    higher = cut_on(findings, piece, names.index("tilt_z"), 0.1)
    longer = cut_on(findings, piece, names.index("T3 length"), 0.1)
    # But for what the lines lean, a few in 10,000 of it.
    assert np.max(np.abs(higher)) > 0.1
    assert np.max(np.abs(higher - longer)) < 1e-4


def test_limits_hold_what_is_believed() -> None:
    """Drawn from what is believed, 95 figures in 100 keep their limit."""
    for name in ("alder-ford", "juniper-street"):
        piece = demo(name).test_piece
        chance = np.random.default_rng(8)
        draws = chance.multivariate_normal(np.zeros(len(piece.figures)), piece.spread, 4000)
        limits = np.array([figure.limit_mm for figure in piece.figures])
        inside = np.mean(np.abs(draws) <= limits, axis=0)
        assert np.all(inside > 0.945)
        assert np.all(inside < 0.985)


def test_lands_do_not_share_a_spot_and_are_numbered_in_order() -> None:
    piece = demo("juniper-street").test_piece
    lands = [one for pose in piece.poses for one in pose.lands]
    assert [one.number for one in lands] == list(range(1, len(lands) + 1))
    spots = [(one.land.spot.key, tuple(one.land.spot.normal)) for one in lands]
    assert len(set(spots)) == len(spots)


def test_a_body_in_the_way_keeps_lands_away() -> None:
    """A post beside the platter takes lands out; to those that are left the tool keeps off it.

    The distance is measured here apart from the proofs: points of the tool against the box.
    """
    base = demo("alder-ford").cell
    ends = ((-60.0, 60.0), (60.0, 75.0), (-20.0, 300.0))
    x, y, z = ((Amount(low), Amount(high)) for low, high in ends)
    post = Solid(
        name="post",
        counts_as="unit",
        carried_by="cradle",
        measured_from="tilt axis",
        x=x,
        y=y,
        z=z,
    )
    findings = Findings(replace(base, solids=(*base.solids, post)))
    near = nearest(findings, findings.test_piece, np.array(ends))
    assert findings.test_piece.proven
    assert near > 1.0 - 0.2
    # Lands of the piece without the post would have come too near to it.
    plain = demo("alder-ford")
    assert nearest(plain, plain.test_piece, np.array(ends)) < 0.0


def nearest(findings: Findings, piece: PieceFinding, ends: np.ndarray) -> float:
    """Return how near the tool comes to a box on the cradle [mm]; negative: inside."""
    tool = piece.tools[0]
    sizes = (tool.length, tool.cutter_diameter, tool.stickout, tool.holder_diameter)
    length, cutter, stickout, holder = (one.value for one in sizes if one is not None)
    rings = [(h, cutter / 2.0) for h in np.linspace(0.0, stickout, 25)]
    rings += [(h, holder / 2.0) for h in np.linspace(stickout, length, 30)]
    rings += [(h, 55.0) for h in np.linspace(length, length + 250.0, 30)]
    round_ = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    shape = np.array([(r * math.cos(a), r * math.sin(a), h) for h, r in rings for a in round_])
    tilt = findings.axis_lines.chain.axes[0]
    frame = findings.unit_frame
    worst = math.inf
    for pose in piece.poses:
        back = turn_about(tilt.line, -tilt.sense * pose.angles_rad[0])
        for one in pose.lands:
            at = pose.zero_mm + 0.5 * (one.low_mm + one.high_mm)
            if one.land.way.kind == "edge":
                at[one.across] += 0.5 * cutter * np.sign(one.land.way.across[one.across])
                at[2] = pose.zero_mm[2] + one.low_mm[2]
            points = (at + shape) @ back[:3, :3].T + back[:3, 3]
            local = (points - frame.origin) @ frame.axes
            off = np.maximum(ends[:, 0] - local, local - ends[:, 1])
            outside = np.linalg.norm(np.maximum(off, 0.0), axis=1)
            gap = np.where(outside > 0.0, outside, off.max(axis=1))
            worst = min(worst, float(gap.min()))
    return worst


def test_estimates_hold_the_truth_and_name_no_error_where_there_is_none() -> None:
    """Several errors at once, with the noise of cutting and measuring; U holds 95 in 100."""
    piece = demo("alder-ford").test_piece
    chance = np.random.default_rng(4)
    told = [one for one in piece.deviations if one.deviation.told]
    prior = np.array([one.deviation.prior for one in piece.deviations])
    inside = np.zeros(len(told))
    rounds = 400
    for _ in range(rounds):
        true = chance.normal(size=len(prior)) * prior
        noise = chance.multivariate_normal(np.zeros(len(piece.figures)), piece.chosen.noise)
        figures = piece.chosen.table @ true + noise
        figures[chance.integers(len(figures))] = math.nan
        found = piece.estimated(figures)
        truth = [t for t, one in zip(true, piece.deviations, strict=True) if one.deviation.told]
        inside += [abs(v - t) <= u for (_, v, u), t in zip(found, truth, strict=True)]
    assert np.all(inside / rounds > 0.92)
    nothing = piece.estimated(np.zeros(len(piece.figures)))
    assert all(abs(value) < 1e-12 for _, value, _ in nothing)


def test_a_second_cutter_is_compared_with_the_first() -> None:
    """Its land is judged with its own length, and a wrong length of it alone is seen."""
    base = demo("alder-ford").cell
    other = replace(
        base.tools[2], number=4, length=Amount(150.0), cutter_diameter=Amount(16.0), name="end mill"
    )
    cuts = (*base.operations, replace(base.operations[2], name="again", tool=4))
    findings = Findings(replace(base, tools=(*base.tools, other), operations=cuts))
    piece = findings.test_piece
    assert [tool.number for tool in piece.tools] == [3, 4]
    lands = [one.land for pose in piece.poses for one in pose.lands]
    assert {land.way.tool for land in lands} == {"T3", "T4"}
    assert all(land.spot.pair == "z" for land in lands if land.way.tool == "T4")
    number = next(i for i, one in enumerate(piece.deviations) if one.deviation.name == "T4 length")
    figures = cut_on(findings, piece, number, 0.1)
    assert piece.culprits(figures)[0][1].deviation.name == "T4 length"
    # A tool that cannot come down to the block is not asked for lands.
    long = replace(other, length=Amount(600.0))
    without = Findings(replace(base, tools=(*base.tools, long), operations=cuts)).test_piece
    assert all(one.land.way.tool == "T3" for pose in without.poses for one in pose.lands)


def test_a_cutter_wider_than_a_land_is_not_taken() -> None:
    base = demo("alder-ford").cell
    wide = tuple(
        replace(tool, cutter_diameter=Amount(40.0)) if tool.number == 3 else tool
        for tool in base.tools
    )
    piece = Findings(replace(base, tools=wide)).test_piece
    assert piece.tools == ()
    assert not piece.proven
    assert any("21." in item.how_to_get_it or "mm or less" in item.how_to_get_it
               for item in piece.missing)  # fmt: skip


def test_half_filled_cell_says_what_it_lacks() -> None:
    with pytest.raises(Lacking) as lacking:
        _ = demo("half-filled").test_piece
    assert lacking.value.missing
