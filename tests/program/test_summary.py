"""Sums over a track: closed forms on small tracks, and the same by brute force on drawn ones."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gudgeon.program import summary as module
from gudgeon.program.paths import paths_in_pose
from gudgeon.program.summary import Reach, row_reach, summarise
from gudgeon.program.track import SEGMENT, FeedKind, Flag, InForce, Kind, Rows, Track

START = (0.0, 0.0, 100.0, 0.0, 0.0)


def track(
    rows: Sequence[dict[str, Any]],
    arcs: Sequence[tuple[Any, Any, float]] = (),
    forces: Sequence[InForce] = (InForce(),),
    start: tuple[float, ...] = START,
) -> Track:
    segments = np.zeros(len(rows), dtype=SEGMENT)
    segments["arc"] = segments["doubt"] = -1
    for i, row in enumerate(rows):
        segments[i]["line"] = i + 1
        for name, value in row.items():
            segments[i][name] = value
    kept = Rows()
    for arc in arcs:
        kept.add_arc(*arc)
    return Track(segments, kept.arcs[: kept.arc_count], list(forces), start)


def line(*end: float, kind: Kind = Kind.LINE, **more: Any) -> dict[str, Any]:
    return {"end": (*end, *START[len(end) :]), "kind": kind, **more}


def test_feeds_are_added_up_and_rapids_are_not() -> None:
    found = summarise(
        track(
            [
                line(0, 0, 0, kind=Kind.RAPID),
                line(3, 4, 0, feed=10.0, feed_kind=FeedKind.MM_PER_S),
                line(3, 4, 12, feed=20.0, feed_kind=FeedKind.PER_S),
            ]
        )
    )
    assert (found.moves, found.feeds, found.feed_mm) == (3, 2, 17.0)
    assert (found.longest_mm, found.longest_row) == (12.0, 2)
    assert (found.fastest, found.fastest_row) == (10.0, 1), "inverse time is no speed"


def test_half_circle_reaches_its_top_and_a_helix_has_its_length() -> None:
    # From (10, 0) counter-clockwise about the origin to (-10, 0), rising by 30.
    half = track(
        [
            line(10, 0, 0, kind=Kind.RAPID),
            line(-10, 0, 30, kind=Kind.ARC, arc=0),
        ],
        [((0, 0, 0), (0, 0, 1), math.pi)],
    )
    found = summarise(half)
    assert found.reach.high[1] == pytest.approx(10.0)
    assert found.reach.low[1] == 0.0
    assert (found.reach.low[0], found.reach.high[0]) == pytest.approx((-10.0, 10.0))
    assert found.feed_mm == pytest.approx(math.hypot(10.0 * math.pi, 30.0))
    assert int(found.reach.high_row[1]) == 1


def test_clockwise_the_same_ends_reach_the_other_side() -> None:
    found = summarise(
        track(
            [line(10, 0, 0, kind=Kind.RAPID), line(-10, 0, 0, kind=Kind.ARC, arc=0)],
            [((0, 0, 0), (0, 0, 1), -math.pi)],
        )
    )
    assert found.reach.low[1] == pytest.approx(-10.0)
    assert found.reach.high[1] == 0.0


@settings(deadline=None, max_examples=60)
@given(
    centre=st.tuples(*[st.floats(-50, 50)] * 3),
    radius=st.floats(0.1, 80),
    begin=st.floats(-7, 7),
    sweep=st.floats(-2 * math.pi, 2 * math.pi),
    rise=st.floats(-20, 20),
    plane=st.integers(0, 2),
)
def test_arc_reach_is_that_of_many_points(
    centre: tuple[float, ...],
    radius: float,
    begin: float,
    sweep: float,
    rise: float,
    plane: int,
) -> None:
    u, v, w = ((0, 1, 2), (2, 0, 1), (1, 2, 0))[plane]
    share = np.linspace(0, 1, 20_001)
    points = np.empty((len(share), 3))
    points[:, u] = centre[u] + radius * np.cos(begin + share * sweep)
    points[:, v] = centre[v] + radius * np.sin(begin + share * sweep)
    points[:, w] = centre[w] + rise * share
    normal = np.eye(3)[w]
    made = track(
        [{"end": (*points[-1], 0, 0), "kind": Kind.ARC, "arc": 0}],
        [(centre, tuple(normal), sweep)],
        start=(*points[0], 0.0, 0.0),
    )
    low, high, length = row_reach(made, made.segments, np.array([made.start]))
    coarse = 1e-6 * radius + 1e-9
    assert np.all(low[0, :3] <= points.min(axis=0) + 1e-9)
    assert np.all(high[0, :3] >= points.max(axis=0) - 1e-9)
    assert low[0, :3] == pytest.approx(points.min(axis=0), abs=coarse)
    assert high[0, :3] == pytest.approx(points.max(axis=0), abs=coarse)
    assert length[0] == pytest.approx(math.hypot(radius * sweep, rise), rel=1e-9, abs=1e-9)


def test_poses_whole_turns_apart_are_one_and_turning_cuts_are_in_none() -> None:
    full = 2.0 * math.pi
    made = track(
        [
            line(0, 0, 0, 0, 0, kind=Kind.RAPID),
            line(1, 0, 0, 0, 0),
            line(1, 0, 0, 0, full, kind=Kind.RAPID),
            line(2, 0, -5, 0, full),
            line(3, 0, 0, 0.5, full),
            line(3, 0, 0, 0.7, full),
            line(3, 1, 0, 0.7, full),
        ]
    )
    found = summarise(made)
    assert [(pose.tilt_rad, pose.feeds) for pose in found.poses] == [(0.0, 2), (0.7, 1)]
    assert found.poses[0].low.tolist() == [0.0, 0.0, -5.0]
    assert (found.turning_feeds, found.turning_row) == (2, 4)
    assert (found.cut_turning, found.cut_turning_row) == (1, 4)


def test_the_tip_hangs_by_the_tool_and_an_unknown_tool_hides_it() -> None:
    forces = [InForce(tool=1, length_register=1, length_mm=50.0), InForce(tool=2)]
    rows = [line(0, 0, 0, force=0), line(1, 0, -3, force=0)]
    assert summarise(track(rows, forces=forces), {1: 50.0}).poses[0].tip_low == -53.0
    rows.append(line(2, 0, -3, force=1))
    found = summarise(track(rows, forces=forces), {1: 50.0})
    assert math.isnan(found.poses[0].tip_low)
    assert [(use.tool, use.feeds, use.registers) for use in found.tools] == [
        (1, 2, {1: 50.0}),
        (2, 1, {None: 0.0}),
    ]


def test_a_limit_is_left_only_beyond_it_and_the_first_row_is_told() -> None:
    low, high = np.full(5, np.nan), np.full(5, np.nan)
    low[0], high[0] = -10.0, 10.0
    rows = [line(10, 0, 0), line(-10, 0, 0), line(10.5, 0, 0), line(-12, 0, 0), line(-11, 0, 0)]
    (upper, lower) = summarise(track(rows), limits=(low, high)).limits
    assert (upper.side, upper.first_row, upper.rows, upper.at) == (1, 2, 2, 10.5)
    assert (lower.side, lower.first_row, lower.rows, lower.at) == (-1, 3, 2, -12.0)
    assert summarise(track(rows[:2]), limits=(low, high)).limits == []


def test_an_arc_that_bulges_over_a_limit_leaves_it() -> None:
    high = np.full(5, np.nan)
    high[1] = 9.0
    made = track(
        [line(10, 0, 0, kind=Kind.RAPID), line(-10, 0, 0, kind=Kind.ARC, arc=0)],
        [((0, 0, 0), (0, 0, 1), math.pi)],
    )
    (limit,) = summarise(made, limits=(np.full(5, np.nan), high)).limits
    assert (limit.axis, limit.first_row) == (1, 1)
    assert limit.at == pytest.approx(10.0)


def test_unknown_places_spread_nowhere() -> None:
    nan = math.nan
    made = track([line(1, 2, nan), line(4, 6, nan)], start=(nan,) * 5)
    made.segments["end"][:, 3:] = nan
    found = summarise(made)
    assert found.unknown == 2
    assert found.feed_mm == 0.0
    assert found.reach.low_row.tolist() == [0, 0, -1, -1, -1]
    assert len(found.poses) == 1
    assert math.isnan(found.poses[0].tilt_rad)


def test_stops_changes_and_either_way_are_counted() -> None:
    rows = [
        line(0, 0, 0, kind=Kind.TOOL_CHANGE),
        line(0, 0, 0, 0, 3.0, kind=Kind.RAPID, flags=int(Flag.EITHER_WAY)),
        line(0, 0, 0, 0, 3.0, kind=Kind.STOP),
        line(0, 0, 0, 0, 3.0, kind=Kind.STOP, flags=int(Flag.END)),
    ]
    found = summarise(track(rows))
    assert (found.changes, found.stops, found.stop_count) == (1, [2, 3], 2)
    assert (found.either_way, found.either_row) == (1, 1)


def test_nothing_read_gives_nothing() -> None:
    found = summarise(track([], forces=()))
    assert (found.moves, found.poses, found.limits) == (0, [], [])


@settings(deadline=None, max_examples=40)
@given(
    ends=st.lists(
        st.tuples(*[st.integers(-9, 9)] * 3, st.integers(0, 2), st.integers(0, 1)),
        min_size=1,
        max_size=60,
    ),
    piece=st.integers(1, 9),
)
def test_pieces_of_any_size_give_the_same(ends: list[tuple[int, ...]], piece: int) -> None:
    rows = [
        line(x, y, z, t / 2, 0, kind=Kind.RAPID if rapid else Kind.LINE)
        for x, y, z, t, rapid in ends
    ]
    made = track(rows)
    whole = summarise(made)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "PIECE", piece)
        parts = summarise(made)
    assert parts.feed_mm == pytest.approx(whole.feed_mm)
    assert parts.reach.low.tolist() == whole.reach.low.tolist()
    assert parts.reach.high_row.tolist() == whole.reach.high_row.tolist()
    assert [(p.tilt_rad, p.feeds, p.first_row, p.low.tolist()) for p in parts.poses] == [
        (p.tilt_rad, p.feeds, p.first_row, p.low.tolist()) for p in whole.poses
    ]
    assert (parts.cut_turning, parts.cut_turning_row) == (whole.cut_turning, whole.cut_turning_row)


def test_a_million_rows_take_little_time() -> None:
    count = 1_000_000
    segments = np.zeros(count, dtype=SEGMENT)
    segments["arc"] = -1
    segments["kind"] = Kind.LINE
    segments["end"][:, 0] = np.arange(count) % 1000
    segments["end"][:, 4] = np.arange(count) * 1e-3
    made = Track(segments, Rows().arcs[:0], [InForce()], START)
    begun = time.perf_counter()
    found = summarise(made)
    assert time.perf_counter() - begun < 5.0
    assert found.cut_turning == count - 1


# --- paths for the drawing -----------------------------------------------------------------------


def test_paths_join_feeds_and_part_from_rapids() -> None:
    made = track(
        [
            line(0, 0, 0, kind=Kind.RAPID),
            line(1, 0, 0),
            line(1, 1, 0),
            line(5, 5, 5, kind=Kind.RAPID),
            line(6, 5, 5),
        ]
    )
    feeds, rapids = paths_in_pose(made, 0.0, 2.0 * math.pi)
    assert [path.tolist() for path in feeds] == [
        [[0, 0, 0], [1, 0, 0], [1, 1, 0]],
        [[5, 5, 5], [6, 5, 5]],
    ]
    assert len(rapids) == 2


def test_a_drawn_full_circle_goes_round() -> None:
    made = track(
        [line(10, 0, 0, kind=Kind.RAPID), line(10, 0, 0, kind=Kind.ARC, arc=0)],
        [((0, 0, 0), (0, 0, 1), 2 * math.pi)],
    )
    ((path,), _) = paths_in_pose(made, 0.0, 0.0)
    assert path.min(axis=0) == pytest.approx([-10, -10, 0], abs=0.1)
    assert np.hypot(path[:, 0], path[:, 1]) == pytest.approx(10.0)


def test_thinning_keeps_extremes_and_the_bound() -> None:
    count = 50_000
    segments = np.zeros(count, dtype=SEGMENT)
    segments["arc"] = -1
    segments["kind"] = Kind.LINE
    angle = np.linspace(0, 200, count)
    segments["end"][:, 0] = 50 * np.cos(angle)
    segments["end"][:, 1] = 50 * np.sin(angle)
    segments["end"][:, 2] = -1.0
    segments["end"][31_415, :3] = (50.01, 0, -7.5)
    made = Track(segments, Rows().arcs[:0], [InForce()], (50.0, 0.0, -1.0, 0.0, 0.0))
    feeds, _ = paths_in_pose(made, 0.0, 0.0, most=400)
    points = np.concatenate(feeds)
    assert sum(len(path) - 1 for path in feeds) <= 410
    assert points[:, 2].min() == -7.5
    assert points[:, 0].max() == 50.01
    assert points.min(axis=0)[:2] == pytest.approx(segments["end"].min(axis=0)[:2])


def test_reach_leaves_out_what_is_not_known() -> None:
    reach = Reach()
    reach.take(np.full((3, 5), np.nan), np.full((3, 5), np.nan), np.arange(3))
    assert reach.low_row.tolist() == [-1] * 5


def test_a_leaning_helix_is_reached_on_the_safe_side() -> None:
    normal = np.array([1.0, 0.0, 1.0]) / math.sqrt(2.0)
    u = np.array([0.0, 10.0, 0.0])
    v = np.cross(normal, u)
    share = np.linspace(0, 1, 5001)[:, None]
    turned = u * np.cos(share * 6.0) + v * np.sin(share * 6.0) - 8.0 * share * normal
    made = track(
        [{"end": (*turned[-1], 0, 0), "kind": Kind.ARC, "arc": 0}],
        [((0, 0, 0), tuple(normal), 6.0)],
        start=(*turned[0], 0.0, 0.0),
    )
    low, high, _ = row_reach(made, made.segments, np.array([made.start]))
    assert np.all(low[0, :3] <= turned.min(axis=0) + 1e-9)
    assert np.all(high[0, :3] >= turned.max(axis=0) - 1e-9)


def test_a_rapid_under_the_register_before_says_nothing_of_the_tool() -> None:
    forces = [
        InForce(tool=2, length_register=1, length_mm=50.0),
        InForce(tool=2, length_register=2, length_mm=60.0),
    ]
    rows = [line(1, 0, 0, kind=Kind.RAPID, force=0), line(2, 0, 0, force=1)]
    (use,) = summarise(track(rows, forces=forces)).tools
    assert use.registers == {2: 60.0}


def test_the_worst_of_a_limit_is_found_in_whatever_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "PIECE", 1)
    high = np.full(5, np.nan)
    high[0] = 10.0
    rows = [line(11, 0, 0), line(15, 0, 0), line(12, 0, 0)]
    (limit,) = summarise(track(rows), limits=(np.full(5, np.nan), high)).limits
    assert (limit.at, limit.first_row) == (15.0, 0)


def test_a_pose_nobody_stated_is_drawn_all_the_same() -> None:
    nan = math.nan
    made = track([line(0, 0, 0, nan, 0), line(1, 0, 0, nan, 0), line(2, 0, 0, 1.0, 0)])
    made.segments["end"][:2, 3] = nan
    feeds, _ = paths_in_pose(made, nan, 0.0)
    assert [path.tolist() for path in feeds] == [[[0, 0, 0], [1, 0, 0]]]
