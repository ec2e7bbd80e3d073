"""The space of a hose: every place where it can be, at every angle; closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import nnls

from gudgeon.clearance.hanging import OUTWARD_MM, hanging, sag
from gudgeon.clearance.pieces import Solid
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

TILT = TurningAxis("tilt", AxisLine((10.0, -5.0, 30.0), (1.0, 0.0, 0.0)), -1)
TURN = TurningAxis("rotary", AxisLine((-40.0, 12.0, 0.0), (0.0, 0.0, 1.0)), 1)

Floats = NDArray[np.float64]


def outside(point: Floats, solids: tuple[Solid, ...]) -> float:
    """How far a point stands out of the nearest piece [mm]; negative inside."""
    found = math.inf
    for pieces, corners in solids:
        # The nearest point of a hull, by non-negative least squares with weights of sum one.
        heavy = 1e8
        rows = np.vstack([corners.T - point[:, None], np.full(len(corners), heavy)])
        _, off = nnls(rows, np.array([0.0, 0.0, 0.0, heavy]))
        found = min(found, off - float(pieces["round"][0]))
    return found


def on_hose(rng: np.random.Generator, a: Floats, b: Floats, length: float) -> Floats:
    """Return a point with |p - a| + |p - b| = length."""
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    apart = float(np.linalg.norm(b - a))
    far = (length**2 - apart**2) / (2.0 * (length - float(way @ (b - a))))
    return np.asarray(a + far * way)


def test_sag_is_the_small_half_axis_of_the_ellipsoid() -> None:
    assert sag(500.0, 300.0) == pytest.approx(200.0)
    assert sag(300.0, 300.0) == 0.0
    assert sag(300.0, 400.0) == 0.0


def test_between_two_ends_that_stand_still_it_is_one_rounded_line() -> None:
    solids = hanging(WorkChain(()), (0.0, 0.0, 0.0), (0.0, 0.0, 300.0), (), (), 500.0, 10.0)
    assert len(solids) == 1
    assert float(solids[0][0]["round"][0]) == pytest.approx(210.0 + OUTWARD_MM)
    # The ellipsoid's half axis of 250 along the line is that of the rounded line.
    assert float(solids[0][1][:, 2].max()) + 200.0 == pytest.approx(150.0 + 250.0)


@pytest.mark.parametrize(
    ("axes", "low", "high"),
    [((TILT,), (-1.9,), (1.9,)), ((TILT, TURN), (-1.2, 0.0), (1.2, 2.0 * math.pi))],
)
def test_the_hose_is_within_at_every_angle(
    axes: tuple[TurningAxis, ...], low: tuple[float, ...], high: tuple[float, ...]
) -> None:
    rng = np.random.default_rng(11)
    chain, connector, anchor = (
        WorkChain(axes),
        (80.0, 110.0, 60.0),
        np.array([250.0, -60.0, -300.0]),
    )
    length = 900.0
    solids = hanging(chain, connector, anchor, low, high, length, 0.0)
    for _ in range(150):
        angles = rng.uniform(low, high)
        start = chain.points(angles, connector)
        assert outside(on_hose(rng, start, anchor, length), solids) <= 1e-6


def test_the_bulge_of_the_path_between_two_corners_is_held() -> None:
    """A very long hose: its own reach hardly changes, so that only the bulge holds the far tip."""
    chain, connector, length = WorkChain((TILT,)), (0.0, 300.0, 30.0), 20_000.0
    anchor = np.array([0.0, -5.0, 30.0])  # on the tilt line: the distance is the same everywhere
    solids = hanging(chain, connector, anchor, (0.0,), (1.0,), length, 0.0)
    for angle in np.linspace(0.0, 1.0, 201):
        start = chain.points(np.array([angle]), connector)
        tip = 0.5 * (start + anchor) + 0.5 * length * (start - anchor) / np.linalg.norm(
            start - anchor
        )
        assert outside(tip, solids) <= 1e-2


def test_the_sag_is_that_of_the_nearest_place_of_each_cell() -> None:
    """The connector runs straight away from the anchor: each place has its own sag."""
    chain, connector = WorkChain((TILT,)), (0.0, 295.0, 30.0)
    anchor = np.array([0.0, 295.0, 600.0])
    for low, high in ((-0.13, 0.0), (0.0, 0.13)):
        starts = chain.points(np.linspace(low, high, 41)[:, None], connector)
        apart = np.linalg.norm(starts - anchor, axis=1)
        length = float(apart.max()) + 0.5
        solids = hanging(chain, connector, anchor, (low,), (high,), length, 0.0)
        for start, way in zip(starts, apart, strict=True):
            side = 0.5 * (start + anchor) + np.array([sag(length, float(way)), 0.0, 0.0])
            assert outside(side, solids) <= 1e-6


def test_it_is_not_much_larger_than_it_has_to_be() -> None:
    """The farthest place in a direction, against the ellipsoids of a thousand angles."""
    chain, connector, anchor = (
        WorkChain((TILT,)),
        (0.0, 120.0, 40.0),
        np.array([0.0, 400.0, -200.0]),
    )
    length = 600.0
    solids = hanging(chain, connector, anchor, (-1.5,), (1.5,), length, 0.0)
    up = np.array([0.0, 0.0, 1.0])
    told = max(float((corners @ up).max()) + float(p["round"][0]) for p, corners in solids)
    starts = chain.points(np.linspace(-1.5, 1.5, 1001)[:, None], connector)
    apart = np.linalg.norm(starts - anchor, axis=1)
    along = (starts - anchor) @ up / apart
    half = np.sqrt((length / 2.0 * along) ** 2 + (length**2 - apart**2) / 4.0 * (1.0 - along**2))
    true = float(np.max((starts + anchor) @ up / 2.0 + half))
    assert true <= told <= true + 25.0
