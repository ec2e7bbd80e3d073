"""What is proven so far, kept under a hash of exactly what the proof used."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from gudgeon import __version__
from gudgeon.findings.cleared_found import Found, Judged
from gudgeon.findings.cleared_motion import Motions
from gudgeon.findings.programs import Keep

if TYPE_CHECKING:
    from gudgeon.clearance.scene import Body, Scene

__all__ = ["Kept", "key_of"]

EDITION: Final = 5
"""Raised when the meaning of what is kept changes, or when the engine's proofs do."""


def key_of(
    motions: Motions,
    scene: Scene,
    tools: Mapping[int | None, Sequence[Body] | None],
    need_mm: float,
    rapids: str | None,
    chosen: NDArray[np.bool_],
) -> str:
    """Return a SHA-256 of every motion, body, axis line and clearance that the proof rests on."""
    digest = hashlib.sha256()

    def take(*things: object) -> None:
        for thing in things:
            data = thing.tobytes() if isinstance(thing, np.ndarray) else repr(thing).encode()
            digest.update(len(data).to_bytes(8, "little"))
            digest.update(data)

    take("clears", EDITION, __version__, need_mm, rapids)
    take(motions.start, motions.end, motions.row, motions.bulge_mm, motions.cutting)
    take(motions.stations, motions.tool, motions.force, motions.boxed, motions.other_way)
    take(chosen, motions.own, sorted(motions.if_above.items()))
    take(scene.lines.rows, scene.table_axes, scene.unsure_mm, scene.below_mm)
    take(sorted(sorted(pair) for pair in scene.apart))
    for body in scene.bodies:
        _body(take, body)
    for number in sorted(tools, key=repr):
        take(number)
        for body in tools[number] or ():
            _body(take, body)
    return digest.hexdigest()


def _body(take: Any, body: Body) -> None:
    take(body.name, int(body.carrier), str(body.role), body.closed, body.station)
    for pieces, points in body.solids:
        # Field by field: padding bytes between them are not set.
        take(*(np.ascontiguousarray(pieces[name]) for name in pieces.dtype.names or ()))
        take(np.ascontiguousarray(points))


def _sum_of(key: str, body: Any) -> str:
    """Return what tells a file that was spoilt from one that was written so."""
    text = json.dumps([key, body], allow_nan=False, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _row_of(found: Found) -> list[Any]:
    margin, without = found.margin_mm, found.without_flutes_mm
    return [
        found.judged.value,
        margin if math.isfinite(margin) else None,
        found.exact,
        list(found.pair),
        list(found.joint),
        [list(point) for point in found.points if all(map(math.isfinite, point))],
        found.note,
        without if math.isfinite(without) else None,
        found.in_cut,
    ]


def _found_of(row: Any) -> Found | None:
    """Return a finding that was kept; ``None`` where it is not one."""
    if row is None:
        return None
    try:
        judged, margin, exact, pair, joint, points, note, without, in_cut = row
        return Found(
            Judged(judged),
            float("nan") if margin is None else float(margin),
            bool(exact),
            tuple(pair),
            tuple(joint),
            tuple(tuple(point) for point in points),
            str(note),
            without_flutes_mm=float("nan") if without is None else float(without),
            in_cut=bool(in_cut),
        )
    except (ValueError, TypeError):
        return None


class Kept:
    """What is kept of one proof: motions proven together, and single findings.

    Parameters
    ----------
    place : Keep
    key : str
        From `key_of`.
    count : int
        Motions of the program; what names others is not believed.
    """

    def __init__(self, place: Keep, key: str, count: int) -> None:
        self._place, self._key = place, key
        self._clear: set[int] = set()
        self._single: dict[int, Any] = {}
        self._tight: Any = None
        self._changed = False
        data = place.load(key)
        if data is not None:
            try:
                held = json.loads(data)
                runs, single, tight = held["proven"]
                if held["key"] == key and held["sum"] == _sum_of(key, held["proven"]):
                    if any(not 0 <= low < high <= count for low, high in runs):
                        raise ValueError
                    self._clear = {i for low, high in runs for i in range(low, high)}
                    self._single = {int(i): row for i, row in single.items()}
                    self._tight = tight
            except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
                self._clear, self._single, self._tight = (
                    set(),
                    {},
                    None,
                )  # not ours, or half a file: prove anew

    def count_of(self, which: NDArray[np.int64]) -> int:
        """Return how many of the motions are kept."""
        return sum(i in self._clear or i in self._single for i in which.tolist())

    def has(self, group: NDArray[np.int64]) -> bool:
        """Tell whether every motion of a group is kept."""
        return all(i in self._clear or i in self._single for i in group.tolist())

    def open_ones(self, group: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return those of a group that were judged one by one."""
        return np.array([i for i in group.tolist() if i not in self._clear], dtype=np.int64)

    def proven(self, which: NDArray[np.int64]) -> None:
        """Note motions that were proven together."""
        self._clear.update(which.tolist())
        self._changed = True

    def found(self, i: int) -> Found | None:
        """Return the finding of one motion; ``None`` if it is not kept."""
        return _found_of(self._single.get(i))

    def keep(self, i: int, found: Found) -> None:
        """Note the finding of one motion."""
        self._single[i] = _row_of(found)
        self._changed = True

    @property
    def tight(self) -> tuple[float, dict[int, Found]] | None:
        """Gap that no other motion falls below, and the tightest motions; ``None`` if not kept."""
        if self._tight is None:
            return None
        try:
            others, rows = self._tight
            found = {int(i): _found_of(row) for i, row in rows.items()}
        except (ValueError, TypeError, AttributeError):
            return None
        if not isinstance(others, float) or any(one is None for one in found.values()):
            return None
        return others, {i: one for i, one in found.items() if one is not None}

    def keep_tight(self, others_mm: float, found: Mapping[int, Found]) -> None:
        """Note the tightest motions."""
        self._tight = [float(others_mm), {str(i): _row_of(one) for i, one in found.items()}]
        self._changed = True

    def save(self) -> None:
        """Write what is new."""
        if not self._changed:
            return
        runs: list[list[int]] = []
        for i in sorted(self._clear):
            if runs and runs[-1][1] == i:
                runs[-1][1] = i + 1
            else:
                runs.append([i, i + 1])
        single = {str(i): row for i, row in sorted(self._single.items())}
        body = [runs, single, self._tight]
        data = {"key": self._key, "sum": _sum_of(self._key, body), "proven": body}
        self._place.save(self._key, json.dumps(data, allow_nan=False).encode())
        self._changed = False
