"""How deep bodies overlap at worst on a motion that crashes: a figure for the eye, not a proof."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.program.dialect import AXES

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Prover

__all__ = ["worst_overlap"]

Floats = NDArray[np.float64]

TOUCHES_LOOKED: Final = 201
DEPTHS_LOOKED: Final = 9


def worst_overlap(
    prover: Prover, start: Floats, end: Floats, seen: tuple[float, ...]
) -> tuple[float, tuple[float, ...], tuple[str, str]]:
    """Return how deep bodies overlap at worst on a motion that crashes: depth, joint, pair.

    By close samples and a search about the deepest: no less than this.
    """

    def at(share: float) -> Floats:
        return start + share * (end - start)

    def depth(share: float) -> float:
        return prover.overlap_mm(at(share))[0]

    # Where bodies touch at all is told by the engine in no time; the depth takes its time.
    shares = np.linspace(0.0, 1.0, TOUCHES_LOOKED)
    touching = [s for s in shares.tolist() if _touches(prover, at(s))]
    if not touching:
        touching = [_share_of(start, end, seen)]
    step = 1.0 / (TOUCHES_LOOKED - 1)
    tried = np.linspace(touching[0], touching[-1], min(len(touching), DEPTHS_LOOKED)).tolist()
    depths = [depth(s) for s in tried]
    best = int(np.argmax(depths))
    low = tried[best - 1] if best > 0 else max(0.0, tried[0] - step)
    high = tried[best + 1] if best < len(tried) - 1 else min(1.0, tried[-1] + step)
    found, where = depths[best], tried[best]
    ratio = 0.5 * (5.0**0.5 - 1.0)
    one, two = high - ratio * (high - low), low + ratio * (high - low)
    d_one, d_two = depth(one), depth(two)
    for _ in range(9):
        for d, s in ((d_one, one), (d_two, two)):
            if d > found:
                found, where = d, s
        if d_one >= d_two:
            high, two, d_two = two, one, d_one
            one = high - ratio * (high - low)
            d_one = depth(one)
        else:
            low, one, d_one = one, two, d_two
            two = low + ratio * (high - low)
            d_two = depth(two)
    joint = tuple(float(v) for v in at(where))
    if found <= 0.0 and len(seen) == AXES:
        found, joint = prover.overlap_mm(seen)[0], seen
    return found, joint, prover.overlap_mm(joint)[1]


def _touches(prover: Prover, joint: Floats) -> bool:
    return prover.motion(joint, joint, 0.0).upper_mm <= 0.0


def _share_of(start: Floats, end: Floats, joint: tuple[float, ...]) -> float:
    span = end - start
    length = float(span @ span)
    if len(joint) != AXES or length <= 0.0:
        return 0.0
    return min(1.0, max(0.0, float((np.asarray(joint) - start) @ span) / length))
