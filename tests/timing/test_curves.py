"""Arcs and lines that run into each other, with and without limited jerk."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from gudgeon.timing import profile
from gudgeon.timing.limits import Rules
from gudgeon.timing.moves import Arcs, FeedKind, Kind, Moves
from tests.timing.made import circle, feeds, limits, timed, total

JERKS = [np.inf, 50000.0]


def slot(length: float, radius: float, feed: float, pieces: int = 1) -> Moves:
    """Once round a slot: two lines and two half circles, each arc in so many pieces."""
    points, kinds, arcs, centres = [], [], [], []
    for side in (1.0, -1.0):
        points.append((side * length, -side * radius))
        kinds.append(Kind.FEED)
        arcs.append(-1)
        for piece in range(1, pieces + 1):
            angle = math.pi * (piece / pieces - 0.5)
            points.append(
                (side * (length + radius * math.cos(angle)), side * radius * math.sin(angle))
            )
            kinds.append(Kind.ARC)
            arcs.append(len(centres))
            centres.append((side * length, 0.0, 0.0))
    end = np.zeros((len(points), 5))
    end[:, :2] = points
    start = np.zeros(5)
    start[:2] = -length, -radius
    count = np.ones(len(points))
    return Moves(
        start,
        end,
        np.array(kinds, np.uint8),
        feed * count,
        np.full(len(points), FeedKind.MM_PER_S, np.uint8),
        arc=np.array(arcs, np.int32),
        arcs=Arcs(
            np.array(centres),
            np.tile([0.0, 0.0, 1.0], (len(centres), 1)),
            np.full(len(centres), math.pi / pieces),
        ),
    )


@pytest.mark.parametrize("jerk", JERKS)
def test_tangents_are_passed_at_full_feed(jerk: float) -> None:
    moves = slot(20.0, 8.0, 60.0)
    way = 80.0 + 16.0 * math.pi
    found = timed(moves, Rules(), limits(j=jerk))
    assert_allclose(found.seconds.sum(), profile.rest_to_rest_s(way, 60.0, 2500.0, jerk))
    assert_allclose(found.speed_end[:-1], 60.0)
    assert_allclose(found.length.sum(), way)


@pytest.mark.parametrize("jerk", JERKS)
@pytest.mark.parametrize("feed", [40.0, 400.0])
def test_an_arc_in_pieces_is_the_arc(jerk: float, feed: float) -> None:
    axes = limits(j=jerk)
    whole = timed(slot(20.0, 3.0, feed), Rules(), axes)
    parts = timed(slot(20.0, 3.0, feed, 5), Rules(), axes)
    assert_allclose(parts.seconds.sum(), whole.seconds.sum(), rtol=1e-9)
    # No faster around than the pull towards the centre allows, and up to that in between.
    assert max(whole.speed_end) <= math.sqrt(2500.0 * 3.0) * (1 + 1e-9)
    if feed == 400.0:
        assert_allclose(whole.speed_end[[0, 1, 2]], math.sqrt(2500.0 * 3.0))


@pytest.mark.parametrize("jerk", [5000.0, 50000.0, 1e6])
@pytest.mark.parametrize("chord", [0.1, 0.5])
@pytest.mark.parametrize("radius", [1.0, 5.0, 20.0])
def test_chorded_circles_with_limited_jerk(radius: float, chord: float, jerk: float) -> None:
    points = circle(radius, chord)
    for feed in (20.0, 60.0, 250.0):
        top = min(feed, math.sqrt(2500.0 * radius))
        told = profile.rest_to_rest_s(6.0 * math.pi * radius, top, 2500.0, jerk)
        found = total(feeds(points, feed, start=(radius, 0.0)), Rules(), limits(j=jerk))
        assert 0.95 < found / told < 1.05


def test_a_chorded_slot_takes_as_long_as_one_of_arcs() -> None:
    """CAM writes arcs as chords: the same slot both ways, corners at its ends included."""
    angles = np.linspace(-0.5, 0.5, 33)[1:] * math.pi
    half = np.column_stack([20.0 + 4.0 * np.cos(angles), 4.0 * np.sin(angles)])
    points = np.vstack([[20.0, -4.0], half, [-20.0, 4.0], -half])
    for feed in (20.0, 300.0):
        chords = total(feeds(points, feed, start=(-20.0, -4.0)))
        assert_allclose(chords, total(slot(20.0, 4.0, feed)), rtol=0.05)


def test_noise_of_the_last_digit_does_not_slow_a_surface_much() -> None:
    """Ends rounded to 0.001 mm, as written in programs, on a circle of chords of 0.3 mm."""
    points = circle(10.0, 0.3)
    feed = 60.0
    clean = total(feeds(points, feed, start=(10.0, 0.0)))
    rounded = total(feeds(np.round(points, 3), feed, start=(10.0, 0.0)))
    assert_allclose(rounded, clean, rtol=0.01)


def test_a_zigzag_is_held_back_by_its_curvature() -> None:
    """Sides of 0.1 mm that turn by 0.1 rad to and fro: the tolerance alone would let it fly."""
    angle = 0.05 * (-1.0) ** np.arange(200)
    steps = 0.1 * np.column_stack([np.cos(angle), np.sin(angle)])
    found = timed(feeds(np.cumsum(steps, axis=0), 400.0))
    kappa = 2.0 * math.sin(0.1) / (0.2 * math.cos(0.05))
    along = found.speed_end[100] ** 2 * kappa
    # The axes give a little more than 2500 in no direction of the plane of two moves.
    assert along <= 2500.0 * (1 + 1e-9)
    assert along >= 0.99 * 2500.0
