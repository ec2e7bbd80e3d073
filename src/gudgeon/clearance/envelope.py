"""Search with proofs: the largest safe box, the lowest safe Z, the map of clear poses.

Nothing here knows a body.  A `Proof` says of a box of joint positions (X, Y, Z [mm], tilt, rotary
[rad], both corners included) whether every position in it is clear; whatever it cannot prove counts
as not clear, so that each result is proven and errs to the safe side only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gudgeon.clearance.prove import Gap, Status

__all__ = [
    "Cell",
    "ClearMap",
    "LowestZ",
    "Proof",
    "Rectangle",
    "SafeBox",
    "all_of",
    "clear_map",
    "grow",
    "largest_box",
    "lowest_z",
    "rectangles",
]

Floats = NDArray[np.float64]
Proof = Callable[[Floats, Floats], Gap]
"""Low corner and high corner of a box of joint positions, shape (5,) each, to what is known."""

Side = tuple[int, int]
"""A joint, 0 to 4, and the side of the box: -1 low, +1 high."""

Z: Final = 2
TILT: Final = 3
TURN: Final = 4
MOST_STEPS: Final = 60


@dataclass(frozen=True, slots=True)
class SafeBox:
    """A box of joint positions that is proven clear.

    Attributes
    ----------
    low, high : ndarray, shape (5,)
    stops : tuple of (side, Gap)
        What stops each side that does not reach its range: the proof that failed just beyond.
    """

    low: Floats
    high: Floats
    stops: tuple[tuple[Side, Gap], ...]

    def stop(self, joint: int, sign: int) -> Gap | None:
        """Return what stops a side; ``None`` where it reaches its range."""
        return next((gap for side, gap in self.stops if side == (joint, sign)), None)


@dataclass(frozen=True, slots=True)
class LowestZ:
    """How far down it is clear.

    Attributes
    ----------
    z_mm : float or None
        Clear from here up to the top; ``None``: not even at the top.
    stop : Gap or None
        What stops it there; ``None`` where it is clear down to the floor.
    """

    z_mm: float | None
    stop: Gap | None


class Cell(IntEnum):
    """What is known of one cell of a map."""

    CLEAR = 0
    """Every position in it is clear."""
    NOT_CLEAR = 1
    """There is a position in it that is not."""
    CANNOT_TELL = 2


@dataclass(frozen=True, slots=True)
class ClearMap:
    """Cells of tilt and turn.

    Attributes
    ----------
    tilts, turns : ndarray, shape (n + 1,), (m + 1,)
        Edges of the cells [rad].
    cells : ndarray of Cell, shape (n, m)
    worst : Gap or None
        The closest position that was met; ``None`` if all is clear.
    """

    tilts: Floats
    turns: Floats
    cells: NDArray[np.uint8]
    worst: Gap | None

    @property
    def clear(self) -> bool:
        """Whether every cell is proven clear."""
        return bool(np.all(self.cells == Cell.CLEAR))

    def joined(self, other: ClearMap) -> ClearMap:
        """Return the map in which a cell is clear where it is clear in both."""
        if self.cells.shape != other.cells.shape:
            raise ValueError("maps of different cells cannot be joined")
        # A known touch outweighs what cannot be told.
        touch = (self.cells == Cell.NOT_CLEAR) | (other.cells == Cell.NOT_CLEAR)
        cells = np.where(touch, Cell.NOT_CLEAR, np.maximum(self.cells, other.cells))
        return replace(self, cells=cells.astype(np.uint8), worst=_closer(self.worst, other.worst))


@dataclass(frozen=True, slots=True)
class Rectangle:
    """Cells of one kind side by side, as a range of tilt and of turn [rad]."""

    cell: Cell
    tilt_rad: tuple[float, float]
    turn_rad: tuple[float, float]


def all_of(proofs: Sequence[Proof]) -> Proof:
    """Return the proof that every one of several holds; it ends at the first that fails.

    The one that failed last is asked first: neighbouring boxes fail for the same reason.
    """
    order = list(proofs)

    def prove(low: Floats, high: Floats) -> Gap:
        held: Gap | None = None
        for i, proof in enumerate(order):
            gap = proof(low, high)
            if gap.status is not Status.PROVEN:
                order.insert(0, order.pop(i))
                return gap
            if held is None or gap.lower_mm < held.lower_mm:
                held = gap
        return _nothing() if held is None else held

    return prove


def grow(
    prove: Proof,
    low: ArrayLike,
    high: ArrayLike,
    seed_low: ArrayLike,
    seed_high: ArrayLike,
    sides: Sequence[Side],
    tol: Sequence[float],
    *,
    known: bool = False,
) -> SafeBox | Gap:
    """Grow a proven box from a seed, one side after the other, each as far as it goes.

    Parameters
    ----------
    prove : Proof
    low, high : array_like, shape (5,)
        Ranges of the joints: the box never leaves them.
    seed_low, seed_high : array_like, shape (5,)
        Where to begin.
    sides : sequence of (joint, sign)
        In the order in which they grow.
    tol : sequence of 5 floats
        A side ends so near to where the proof fails [mm, rad].
    known : bool
        The seed is proven already: it is not asked about again.

    Returns
    -------
    SafeBox or Gap
        No other box holds this one with more than `tol` on a side; a `Gap` if not even the seed
        is proven.
    """
    lo, hi = np.array(seed_low, dtype=np.float64), np.array(seed_high, dtype=np.float64)
    ends = {-1: np.asarray(low, dtype=np.float64), 1: np.asarray(high, dtype=np.float64)}
    if not known:
        first = prove(lo, hi)
        if first.status is not Status.PROVEN:
            return first
    stops: list[tuple[Side, Gap]] = []
    for joint, sign in sides:
        at = lo if sign < 0 else hi
        start, end = float(at[joint]), float(ends[sign][joint])
        if start == end:
            continue
        # Only what is added has to be proven: the box before is proven already.
        part_lo, part_hi = lo.copy(), hi.copy()
        (part_hi if sign < 0 else part_lo)[joint] = start
        side = part_lo if sign < 0 else part_hi
        side[joint] = end
        gap = prove(part_lo, part_hi)
        if gap.status is Status.PROVEN:
            at[joint] = end
            continue
        good, bad, why = start, end, gap
        while abs(bad - good) > tol[joint]:
            middle = 0.5 * (good + bad)
            (part_hi if sign < 0 else part_lo)[joint] = good
            side[joint] = middle
            gap = prove(part_lo, part_hi)
            if gap.status is Status.PROVEN:
                good = middle
            else:
                bad, why = middle, gap
        at[joint] = good
        stops.append(((joint, sign), why))
    return SafeBox(lo, hi, tuple(stops))


def largest_box(
    prove: Proof,
    low: ArrayLike,
    high: ArrayLike,
    seed_low: ArrayLike,
    seed_high: ArrayLike,
    joints: tuple[int, int],
    tol: Sequence[float],
) -> SafeBox | Gap:
    """Return the larger of the boxes grown along one joint first and along the other first.

    Parameters as for `grow`; `joints` are the two whose sides grow.
    """
    first, second = joints
    orders = (
        ((first, -1), (first, 1), (second, -1), (second, 1)),
        ((second, -1), (second, 1), (first, -1), (first, 1)),
    )
    best: SafeBox | None = None
    for sides in orders:
        found = grow(prove, low, high, seed_low, seed_high, sides, tol)
        if isinstance(found, Gap):
            return found
        if best is None or _area(found, joints) > _area(best, joints):
            best = found
        if not found.stops:
            break  # it fills its ranges
    assert best is not None
    return best


def _area(box: SafeBox, joints: tuple[int, int]) -> float:
    size = box.high - box.low
    return float(size[joints[0]] * size[joints[1]])


def lowest_z(
    prove: Proof,
    low: ArrayLike,
    high: ArrayLike,
    top_mm: float,
    floor_mm: float,
    tol_mm: float = 0.05,
) -> LowestZ:
    """Return the lowest Z down to which a box of the other joints is proven clear.

    Parameters
    ----------
    prove : Proof
    low, high : array_like, shape (5,)
        The box; its Z is not used.
    top_mm, floor_mm : float
        Where to begin, and where to end at the latest.
    tol_mm : float
        The result is within this of where the proof fails.
    """
    lo, hi = np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)

    def at(bottom: float, top: float) -> Gap:
        lo[Z], hi[Z] = bottom, top
        return prove(lo, hi)

    gap = at(top_mm, top_mm)
    if gap.status is not Status.PROVEN:
        return LowestZ(None, gap)
    gap = at(floor_mm, top_mm)
    if gap.status is Status.PROVEN:
        return LowestZ(floor_mm, None)
    good, bad, why = top_mm, floor_mm, gap
    for _ in range(MOST_STEPS):
        if good - bad <= tol_mm:
            break
        middle = 0.5 * (good + bad)
        gap = at(middle, good)
        if gap.status is Status.PROVEN:
            good = middle
        else:
            bad, why = middle, gap
    return LowestZ(good, why)


def clear_map(
    prove: Proof,
    low: ArrayLike,
    high: ArrayLike,
    tilts: ArrayLike,
    turns: ArrayLike,
    quick: Proof | None = None,
) -> ClearMap:
    """Judge every cell of tilt and turn; large clear areas are proven at once.

    Parameters
    ----------
    prove : Proof
    low, high : array_like, shape (5,)
        The box; its tilt and turn are not used.
    tilts, turns : array_like, shape (n + 1,), (m + 1,)
        Edges of the cells, rising [rad].
    quick : Proof or None
        Asked about areas of more than one cell; one that gives up soon saves time, since the cells
        of an area that it leaves open are asked about one by one.
    """
    many = quick or prove
    lo, hi = np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)
    a, c = np.asarray(tilts, dtype=np.float64), np.asarray(turns, dtype=np.float64)
    cells = np.full((len(a) - 1, len(c) - 1), Cell.CANNOT_TELL, dtype=np.uint8)
    worst: Gap | None = None
    waiting = [(0, len(a) - 1, 0, len(c) - 1)]
    while waiting:
        i0, i1, j0, j1 = waiting.pop()
        lo[TILT], hi[TILT], lo[TURN], hi[TURN] = a[i0], a[i1], c[j0], c[j1]
        one = i1 - i0 == 1 and j1 - j0 == 1
        gap = prove(lo, hi) if one else many(lo, hi)
        if gap.status is Status.PROVEN:
            cells[i0:i1, j0:j1] = Cell.CLEAR
            continue
        if gap.status is Status.CLOSER:
            worst = _closer(worst, gap)
        if one:
            cells[i0, j0] = Cell.NOT_CLEAR if gap.status is Status.CLOSER else Cell.CANNOT_TELL
        elif i1 - i0 >= j1 - j0:
            middle = (i0 + i1) // 2
            waiting += [(i0, middle, j0, j1), (middle, i1, j0, j1)]
        else:
            middle = (j0 + j1) // 2
            waiting += [(i0, i1, j0, middle), (i0, i1, middle, j1)]
    return ClearMap(a, c, cells, worst)


def rectangles(found: ClearMap) -> tuple[Rectangle, ...]:
    """Return the cells of a map merged into as few rectangles as a simple sweep finds.

    A rectangle grows along the turn first, so that "at any turn" comes out as one range of tilt.
    """
    cells = found.cells
    n, m = cells.shape
    taken = np.zeros((n, m), dtype=bool)
    out: list[Rectangle] = []
    for i in range(n):
        for j in range(m):
            if taken[i, j]:
                continue
            kind = cells[i, j]
            right = j
            while right < m and cells[i, right] == kind and not taken[i, right]:
                right += 1
            down = i + 1
            while (
                down < n
                and np.all(cells[down, j:right] == kind)
                and not np.any(taken[down, j:right])
                # Rows that go on to either side belong to a wider rectangle.
                and (j == 0 or cells[down, j - 1] != kind or taken[down, j - 1])
                and (right == m or cells[down, right] != kind or taken[down, right])
            ):
                down += 1
            taken[i:down, j:right] = True
            out.append(
                Rectangle(
                    Cell(int(kind)),
                    (float(found.tilts[i]), float(found.tilts[down])),
                    (float(found.turns[j]), float(found.turns[right])),
                )
            )
    return tuple(out)


def _closer(one: Gap | None, other: Gap | None) -> Gap | None:
    if one is None or other is None:
        return one or other
    return one if one.upper_mm <= other.upper_mm else other


def _nothing() -> Gap:
    """Return what is known where there is nothing to prove."""
    origin = (0.0, 0.0, 0.0)
    return Gap(Status.PROVEN, float("inf"), float("inf"), (0.0,) * 5, ("", ""), (origin, origin))
