"""Random lines, chains and points for the properties."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import strategies as st

from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain

coordinate = st.floats(-1000.0, 1000.0)
points = st.tuples(coordinate, coordinate, coordinate).map(np.array)
units = (
    st.tuples(*[st.floats(-1.0, 1.0)] * 3)
    .map(np.array)
    .filter(lambda v: np.linalg.norm(v) > 0.1)
    .map(lambda v: v / np.linalg.norm(v))
)
angles = st.floats(-2.0 * math.pi, 2.0 * math.pi)
senses = st.sampled_from([1, -1])


def triple(vector: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in vector)
    return x, y, z


@st.composite
def chains(draw: st.DrawFn, *, apart_sine: float = 0.2) -> WorkChain:
    """Two axes anywhere; their directions enclose an angle with at least this sine."""
    a = draw(units)
    b = draw(units.filter(lambda v: np.linalg.norm(np.cross(a, v)) > apart_sine))
    return WorkChain(
        (
            TurningAxis("tilt", AxisLine(triple(draw(points)), triple(a)), draw(senses)),
            TurningAxis("rotary", AxisLine(triple(draw(points)), triple(b)), draw(senses)),
        )
    )
