"""Every node of the tree holds what is below it, by its ball and by its box."""

from __future__ import annotations

import numpy as np
import pytest

from gudgeon.clearance.pieces import CONE, box, cone, gather, hull, triangles


@pytest.mark.parametrize("shift", [0.0, 1e6])
def test_nodes_hold_their_pieces(shift: float) -> None:
    rng = np.random.default_rng(7)
    solids = []
    for body in range(6):
        at = rng.normal(size=3) * 100.0 + shift
        solids += [
            hull(at + rng.normal(size=(7, 3)) * 20.0, body, rounding=rng.uniform(0, 4)),
            cone(at, at + rng.normal(size=3) * 30.0, *rng.uniform(0, 15, 2), body, rounding=1.0),
            cone(at, at + np.array([0, 0, 25]), *rng.uniform(0, 15, 2), body),
            cone(at, at + np.array([1e-9, 0, 25]), 12.0, 12.0, body),
            cone(at, at, 9.0, 3.0, body),
            box(at[0] + np.array([0, 9]), at[1] + np.array([0, 8]), at[2] + np.array([0, 7]), body),
            triangles(at + rng.normal(size=(30, 3, 3)) * 15.0, body),
        ]
    every = gather(*solids)
    ways = np.vstack([np.eye(3), -np.eye(3), rng.normal(size=(60, 3))])
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    reach = np.empty((len(every.pieces), len(ways)))
    for i, piece in enumerate(every.pieces):
        own = every.points[piece["first"] : piece["first"] + piece["count"]] - shift
        along = own @ ways.T
        if piece["kind"] == CONE:
            square = np.linalg.norm(np.cross(ways, piece["axis"]), axis=1)
            along += np.array([[piece["r0"]], [piece["r1"]]]) * square
        reach[i] = along.max(axis=0) + piece["round"]

    seen = []

    def below(number: int) -> list[int]:
        node = every.nodes[number]
        if node["piece"] >= 0:
            mine = [int(node["piece"])]
            seen.extend(mine)
        else:
            mine = below(int(node["left"])) + below(int(node["right"]))
        far = reach[mine].max(axis=0)
        middle = (node["centre"] - shift) @ ways.T
        slack = 1e-9 if shift == 0.0 else 1e-8
        assert (far <= middle + node["radius"] + slack).all()
        if node["piece"] < 0:
            assert (far <= middle + np.abs(ways) @ node["half"] + slack).all()
            # The box is the least there is along the axes.
            assert far[:3] == pytest.approx((middle + np.abs(ways) @ node["half"])[:3], abs=1e-5)
        bodies = {int(every.pieces[piece]["body"]) for piece in mine}
        assert node["body"] == (bodies.pop() if len(bodies) == 1 else -1)
        return mine

    below(0)
    assert sorted(seen) == list(range(len(every.pieces)))
