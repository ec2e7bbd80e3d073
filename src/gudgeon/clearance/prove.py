"""Proofs over motions, paths and boxes of joint positions for the bodies of a scene."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.clearance.assembly import Assembly, assemble
from gudgeon.clearance.overlap import deepest
from gudgeon.clearance.scene import Body, Scene

__all__ = ["Gap", "Path", "Prover", "Status"]

Floats = NDArray[np.float64]

_BUDGET: Final = 3_000_000
_CHUNK: Final = 4096
_SHARP_MM: Final = 1e-9
"""Where only enough or not is asked, a gap is known better than this before it stays open."""


class Status(IntEnum):
    """How a proof ended."""

    PROVEN = 0
    """The gap is at least what was asked."""
    CLOSER = 1
    """There is a pose where it is closer (the witness)."""
    UNDECIDED = 2
    """Neither within the work allowed."""


@dataclass(frozen=True, slots=True)
class Gap:
    """What is known of the smallest gap over a motion or a box.

    Attributes
    ----------
    status : Status
    lower_mm : float
        The gap is nowhere smaller, that uncertainty and bulge taken off; minus infinity where
        nothing is proven.
    upper_mm : float
        Gap at the witness, less what the axis lines' uncertainty and a bulge may take of it;
        infinite when no pair came nearer than was asked.
    joint : tuple of 5 floats
        Joint position of the witness [mm, rad].
    pair : tuple of two names
        The nearest bodies at the witness.
    points : two points in T
        Nearest points of the two bodies at the witness [mm].
    """

    status: Status
    lower_mm: float
    upper_mm: float
    joint: tuple[float, ...]
    pair: tuple[str, str]
    points: tuple[tuple[float, float, float], tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Path:
    """What is known of each segment of a path.

    Attributes
    ----------
    status : ndarray of Status, shape (n,)
    lower_mm : ndarray, shape (n,)
        At least the clearance asked where proven in a chunk.
    done : int
        Segments judged; fewer than n when cancelled.
    """

    status: NDArray[np.uint8]
    lower_mm: Floats
    done: int


class Prover:
    """Proofs for one scene with one tool in the spindle.

    Parameters
    ----------
    scene : Scene
    tool : sequence of Body
        Carried by the head.
    """

    def __init__(self, scene: Scene, tool: Sequence[Body] = ()) -> None:
        self.scene = scene
        self._all: Assembly = assemble(scene, tool)
        self._loops: dict[str, Any] = {}

    @property
    def bodies(self) -> tuple[Body, ...]:
        """All bodies, those of the tool last."""
        return self._all.bodies

    def motion(
        self,
        start: ArrayLike,
        end: ArrayLike,
        need_mm: float,
        *,
        cutting: str | None = None,
        exact: bool = False,
        tol_mm: float = 1e-3,
        bulge_mm: float = 0.0,
        dogleg: bool = False,
    ) -> Gap:
        """Prove a motion straight in joint space.

        Parameters
        ----------
        start, end : array_like, shape (5,)
            [mm, mm, mm, rad, rad]
        need_mm : float
            Clearance asked; the axis lines' uncertainty is added where it counts.
        cutting : str or None
            None: nothing may touch (rapids).  A station: the cutter may touch its stock;
            ``"*"``: the stock of any station.
        exact : bool
            Find the smallest gap to within `tol_mm`, however large; else stop when it is known to
            be enough.
        bulge_mm : float
            The motion leaves the straight line by so much at most (a chord of an arc).
        dogleg : bool
            X, Y and Z may each run at their own pace: anywhere between start and end.
        """
        q0, q1 = _joint(start), _joint(end)
        h = np.zeros(3)
        if dogleg:
            h = 0.5 * np.abs(q1[:3] - q0[:3]) * (1.0 + 1e-15)
            q0[:3] = q1[:3] = 0.5 * (q0[:3] + q1[:3])
        found = self._run(
            q0, q1[None], np.array([need_mm + bulge_mm]), np.array([self._all.cut(cutting)]), h,
            exact=exact, tol_mm=tol_mm, chunks=False,
        )  # fmt: skip
        return self._gap(found, q0, q1, bulge_mm)

    def path(
        self,
        start: ArrayLike,
        ends: ArrayLike,
        need_mm: float | Floats,
        *,
        cutting: Sequence[str | None] | None = None,
        progress: Callable[[float], bool] | None = None,
    ) -> Path:
        """Prove many motions, each from the end of the one before; chunks are proven together.

        Parameters
        ----------
        start : array_like, shape (5,)
        ends : array_like, shape (n, 5)
        need_mm : float or array, shape (n,)
        cutting : sequence of station or None, length n
        progress : callable
            Gets the share done; returns False to cancel.
        """
        return self._path(start, ends, need_mm, cutting, progress, chunks=True)

    def _path(
        self,
        start: ArrayLike,
        ends: ArrayLike,
        need_mm: float | Floats,
        cutting: Sequence[str | None] | None = None,
        progress: Callable[[float], bool] | None = None,
        *,
        chunks: bool,
    ) -> Path:
        places = np.ascontiguousarray(np.asarray(ends, dtype=np.float64).reshape(-1, 5))
        count = len(places)
        needs = np.ascontiguousarray(np.broadcast_to(np.asarray(need_mm, float), (count,)))
        cuts = np.zeros(count, dtype=np.int64)
        if cutting is not None:
            numbers = {name: self._all.cut(name) for name in set(cutting)}
            cuts = np.array([numbers[name] for name in cutting], dtype=np.int64)
        status = np.full(count, int(Status.UNDECIDED), dtype=np.uint8)
        lower = np.full(count, -np.inf)
        here, done = _joint(start), 0
        while done < count:
            part = slice(done, min(done + _CHUNK, count))
            found = self._run(
                here, places[part], needs[part], cuts[part], np.zeros(3), exact=False, tol_mm=0.0,
                chunks=chunks,
            )  # fmt: skip
            status[part], lower[part] = found.status, found.lower
            done = part.stop
            here = places[done - 1]
            if progress is not None and not progress(done / count):
                break
        return Path(status, lower, done)

    def box(
        self,
        low: ArrayLike,
        high: ArrayLike,
        need_mm: float,
        *,
        exact: bool = False,
        tol_mm: float = 1e-2,
        cutting: str | None = None,
        work: int = _BUDGET,
    ) -> Gap:
        """Prove every joint position between two corners; undecided after so much `work`."""
        least, most = np.minimum(_joint(low), _joint(high)), np.maximum(_joint(low), _joint(high))
        middle = 0.5 * (least + most)
        first = self.motion(middle, middle, need_mm, cutting=cutting, exact=exact, tol_mm=tol_mm)
        if not np.isfinite(least + most).all() or (
            first.status is Status.CLOSER and (not exact or first.upper_mm <= 0.0)
        ):
            return first
        from gudgeon.clearance.box import ANGLES, BOX_OUT, STACK, gap_box
        from gudgeon.clearance.parted import work_arrays

        every = self._all
        allowed = every.allows[every.cut(cutting)]
        stack = (np.empty(STACK, np.int32), np.empty(STACK, np.int32), np.empty((STACK, 4)))
        arrays = work_arrays()
        lower, best = np.inf, (np.inf, -1, np.zeros(BOX_OUT))
        undecided = False
        for number in range(len(every.roots)):
            unsure = float(every.unsure[number])
            out = np.zeros(BOX_OUT)
            out[1] = best[0] + unsure if exact else np.inf
            ended = gap_box(
                every.pieces, every.points, every.nodes, *every.roots[number],
                every.lines[number], every.masks[number], least, most, allowed,
                np.inf if exact else need_mm + unsure, tol_mm,
                -np.inf if exact else need_mm + unsure, work, *stack, arrays, out,
            )  # fmt: skip
            if out[1] - unsure < best[0]:
                best = (float(out[1] - unsure), number, out)
            if ended == 0:
                # Adding and taking off what is unsure must not cost the last digit.
                enough = not exact and out[0] >= need_mm + unsure
                lower = min(lower, need_mm if enough else float(out[0]) - unsure)
                continue
            lower = -np.inf
            if ended == 1:
                break
            undecided = True
        if best[1] < 0:
            status = Status.PROVEN if lower >= need_mm else Status.UNDECIDED
            return Gap(status, lower, np.inf, tuple(middle.tolist()), ("", ""), _NO_POINTS)
        status = Status.PROVEN if lower >= need_mm else Status.UNDECIDED
        if best[0] < need_mm or best[0] <= 0.0:
            status = Status.CLOSER
        elif undecided:
            status = Status.UNDECIDED
        out = best[2]
        joint = middle.copy()
        # An axis that moves neither body stays within the box.
        joint[3:] = np.clip(out[ANGLES : ANGLES + 2], least[3:], most[3:])
        points = every.in_table_frame(best[1], joint, out)
        joint[:3] += out[12:15]
        return Gap(
            status, lower, best[0], tuple(joint.tolist()), every.names(out[3], out[4]), points
        )

    def overlap_mm(self, joint: ArrayLike) -> tuple[float, tuple[str, str]]:
        """Return how deep bodies overlap in one pose (0: not at all) and the worst pair."""
        return deepest(self._all, _joint(joint))

    # --- inside -----------------------------------------------------------------------------

    def _run(
        self,
        start: Floats,
        ends: Floats,
        needs: Floats,
        cuts: NDArray[np.int64],
        h: Floats,
        *,
        exact: bool,
        tol_mm: float,
        chunks: bool,
    ) -> _Found:
        every = self._all
        count = len(ends)
        status, lower = np.full(count, 2, np.uint8), np.full(count, -np.inf)
        if not len(every.roots):
            still = np.isfinite(ends).all(axis=1) & np.isfinite(start).all()
            status[still], lower[still] = 0, np.inf
            return _Found(status, lower, None)
        from gudgeon.clearance.along import RESULT, STATE, along
        from gudgeon.clearance.parted import work_arrays
        from gudgeon.clearance.sweep import sweep_arrays

        places = np.vstack([start[None], ends])
        finite = np.asarray(np.isfinite(places).all(axis=1), dtype=np.bool_)
        result = np.full(RESULT, np.inf)
        along(
            every.pieces, every.points, every.nodes, every.roots, every.lines, every.masks,
            every.unsure, every.probes, every.allows, start, np.ascontiguousarray(ends), cuts,
            finite[1:] & finite[:-1], needs, needs.copy(), h, exact,
            tol_mm if exact else _SHARP_MM, _BUDGET, chunks,
            np.zeros((len(every.roots), STATE)), np.zeros(2, np.int64), status, lower,
            sweep_arrays(), work_arrays(), result,
        )  # fmt: skip
        return _Found(status, lower, result)

    def _gap(self, found: _Found, q0: Floats, q1: Floats, bulge_mm: float) -> Gap:
        from gudgeon.clearance.along import AT_INSIDE, AT_NET, AT_PAIR

        status, lower = Status(int(found.status[0])), float(found.lower[0]) - bulge_mm
        result, every = found.result, self._all
        if result is None or not np.isfinite(result[AT_PAIR]):
            return Gap(status, lower, np.inf, tuple(q0.tolist()), ("", ""), _NO_POINTS)
        pair = int(result[AT_PAIR])
        upper = float(result[AT_NET]) - bulge_mm
        time = float(result[2]) if np.isfinite(result[2]) else 0.0
        joint = q0 + time * (q1 - q0)
        points = every.in_table_frame(pair, joint, result)
        if result[AT_INSIDE] >= 0.0:
            probe = every.probes[int(result[AT_INSIDE])]
            names = (every.bodies[probe["body"]].name, every.bodies[probe["mesh"]].name)
            return Gap(Status.CLOSER, -np.inf, 0.0, tuple(joint.tolist()), names, points)
        joint[:3] += result[12:15]
        return Gap(
            status, lower, upper, tuple(joint.tolist()), every.names(result[3], result[4]), points
        )


@dataclass(frozen=True, slots=True)
class _Found:
    status: NDArray[np.uint8]
    lower: Floats
    result: Floats | None


_NO_POINTS: Final = ((np.nan,) * 3, (np.nan,) * 3)


def _joint(place: ArrayLike) -> Floats:
    joint = np.array(place, dtype=np.float64)
    if joint.shape != (5,):
        raise ValueError(f"a joint position has 5 entries, this one has shape {joint.shape}")
    return joint
