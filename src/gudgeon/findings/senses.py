"""Which way the axes run and turn: from what is declared, or from the jogs that were seen.

Also the chain and the platter frame as the cell's own entries give them, before anything is
touched.  A sense is always stated about the positive machine axis (X, Y or Z) nearest to the line;
without a sense nothing that turns can be answered, so it is asked for and never guessed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gudgeon.cell.model import Jog
from gudgeon.findings.base import FindingsBase
from gudgeon.findings.gather import Gather, Lacking
from gudgeon.kinematics.chain import AxisLine, TurningAxis, WorkChain
from gudgeon.kinematics.naming import (
    along_positive,
    letter_about,
    nearest_side,
    turn_seen,
)

__all__ = ["AxisEvidence", "SeenJog", "SenseFindings", "Senses"]

Floats = NDArray[np.float64]
Role = Literal["tilt", "rotary"]

_WHY_SENSE = "without it every turned face could come out on the wrong side, so it is not guessed"


@dataclass(frozen=True, slots=True)
class SeenJog:
    """What one jog tells.

    Attributes
    ----------
    index : int
        Its place in the file, from 1.
    jog : Jog
        As written.
    turn : tuple of 3 floats or None
        Direction about which the work turned right-handed for a PLUS command; ``None`` if the jog
        cannot be used.
    role : "tilt", "rotary" or None
        The axis that lies along it; ``None`` if neither does.
    sense : int or None
        +1 or -1 about the positive machine axis.
    fault : str
        Why it cannot be used; empty if it can.
    """

    index: int
    jog: Jog
    turn: tuple[float, float, float] | None
    role: Role | None
    sense: int | None
    fault: str


@dataclass(frozen=True, slots=True)
class AxisEvidence:
    """All that is known of one axis, before anybody decides what to believe.

    Attributes
    ----------
    role : "tilt" or "rotary"
    direction : tuple of 3 floats
        Unit direction of the line in T at zero, along its positive machine axis.
    along : str
        The nearest machine axis: "X", "Y" or "Z".
    off_axis_rad : float
        Angle between the line and that machine axis [rad].
    standard_letter : str
        Its letter by ISO 841.
    letter_declared : str or None
    sense_declared : int or None
    jogs : tuple of SeenJog
        Usable jogs that turned this axis.
    """

    role: Role
    direction: tuple[float, float, float]
    along: str
    off_axis_rad: float
    standard_letter: str
    letter_declared: str | None
    sense_declared: int | None
    jogs: tuple[SeenJog, ...]

    @property
    def letters_jogged(self) -> tuple[str, ...]:
        """Letters whose jog turned this axis, each once."""
        return tuple(dict.fromkeys(str(seen.jog.letter) for seen in self.jogs))

    @property
    def senses_jogged(self) -> tuple[int, ...]:
        """Senses that the jogs showed, each once; two mean a contradiction."""
        return tuple(dict.fromkeys(seen.sense for seen in self.jogs if seen.sense is not None))

    @property
    def letter(self) -> str | None:
        """The declared letter, else the one that a jog showed, else ``None``."""
        if self.letter_declared is not None:
            return self.letter_declared
        return self.letters_jogged[0] if self.letters_jogged else None

    @property
    def sense(self) -> int | None:
        """The declared sense, else the one that a jog showed, else ``None``."""
        if self.sense_declared is not None:
            return self.sense_declared
        return self.senses_jogged[0] if self.senses_jogged else None

    @property
    def disagrees(self) -> bool:
        """True if the jogs contradict the declaration or each other."""
        senses = {*self.senses_jogged, self.sense_declared} - {None}
        letters = {*self.letters_jogged, self.letter_declared} - {None}
        return len(senses) > 1 or len(letters) > 1


@dataclass(frozen=True, slots=True)
class Senses:
    """Senses and letters that the other findings build on.

    Attributes
    ----------
    tilt : int or None
        +1 or -1 about the positive machine axis; ``None`` for a unit without tilt.
    rotary : int
    tilt_letter : str or None
        ``None`` for a unit without tilt.
    rotary_letter : str
    from_jogs : bool
        At least one sense rests on a jog alone.
    letters_assumed : bool
        At least one letter was neither declared nor jogged: the usual one was taken.
    """

    tilt: int | None
    rotary: int
    tilt_letter: str | None
    rotary_letter: str
    from_jogs: bool
    letters_assumed: bool


class SenseFindings(FindingsBase):
    """Directions, letters and senses of the axes, and the chain from entries alone."""

    @property
    def has_tilt(self) -> bool:
        """True unless the unit is declared to have one rotary axis only."""
        return self.cell.unit.kind != "rotary only"

    @cached_property
    def tilt_axis_yaw_rad(self) -> float:
        """Yaw of the unit frame: its x lies along the tilt line (single axis: the rotary line).

        Raises
        ------
        Lacking
            If neither ``placement.yaw`` nor ``placement.tilt_along`` is given and no jog of a
            tilting unit shows along which table axis it tilts.
        """
        placement = self.cell.placement
        if placement.yaw is not None:
            return placement.yaw.value
        along = placement.tilt_along or self._along_seen()
        gather = self.gather()
        line = "tilt axis" if self.has_tilt else "rotary axis"
        gather.need(
            along,
            "placement.tilt_along",
            f"machine axis along which the {line} lies",
            why="every pose, letter and offset hangs on it",
            how='look along the unit: write tilt_along = "X" or "Y", or yaw for another direction',
        )
        gather.stop()
        return 0.0 if along == "X" else math.pi / 2.0

    def _along_seen(self) -> str | None:
        """Machine axis of the level turn that a jog showed, if the jogs agree."""
        seen = {
            nearest_side(turn)[0][0]
            for jog in self.cell.control.jogs
            if (turn := _turn_for_plus(jog)[0]) is not None and abs(turn[2]) < 0.5
        }
        return seen.pop() if self.has_tilt and len(seen) == 1 else None

    @cached_property
    def unit_axes(self) -> Floats:
        """Unit frame's x, y, z in T as the columns of a rotation, shape (3, 3)."""
        yaw = self.tilt_axis_yaw_rad
        # Multiples of 90 deg exactly: 6e-17 instead of 0 would turn up as "-0.000".
        quarter = yaw / (math.pi / 2.0)
        if abs(quarter - round(quarter)) < 1e-12:
            cosine, sine = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
        else:
            cosine, sine = math.cos(yaw), math.sin(yaw)
        return np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])

    @cached_property
    def platter_axes(self) -> Floats:
        """Platter frame's x, y, z in T with all angles at zero, as columns, shape (3, 3).

        The machine's own for a tilting unit, whichever way round it stands.  For a single axis
        lying on the table z points out of the platter face (the unit frame's x), x along the unit
        frame's y, y upwards: what one sees who looks at the face, x to the right and y up.
        """
        return np.eye(3) if self.has_tilt else self.unit_axes[:, [1, 2, 0]]

    @cached_property
    def platter_in_unit(self) -> Floats:
        """Platter frame's x, y, z in the unit frame, as columns, shape (3, 3).

        Where nobody knows yet how the unit stands, it is taken as standing along X.
        """
        try:
            return np.asarray(self.unit_axes.T @ self.platter_axes)
        except Lacking:
            return np.eye(3) if self.has_tilt else np.eye(3)[:, [1, 2, 0]]

    @cached_property
    def axis_directions(self) -> dict[str, Floats]:
        """Unit direction of each axis line in T at zero, along its positive machine axis."""
        if not self.has_tilt:
            return {"rotary": along_positive(self.unit_axes[:, 0])}
        return {
            "tilt": along_positive(self.unit_axes[:, 0]),
            "rotary": np.array([0.0, 0.0, 1.0]),
        }

    @cached_property
    def jogs_seen(self) -> tuple[SeenJog, ...]:
        """Every jog of the file with what it tells."""
        directions = self.axis_directions
        return tuple(
            _read_jog(index, jog, directions)
            for index, jog in enumerate(self.cell.control.jogs, start=1)
        )

    @cached_property
    def axis_evidence(self) -> tuple[AxisEvidence, ...]:
        """What is declared and what was seen of each axis, the carrying one first.

        Raises
        ------
        Lacking
            If the direction of the unit on the table is not known.
        """
        control = self.cell.control
        declared = {
            "tilt": (control.tilt_letter, control.tilt_sense),
            "rotary": (control.rotary_letter, control.rotary_sense),
        }
        found = []
        for role, direction in self.axis_directions.items():
            side, off = nearest_side(direction)
            letter, sense = declared[role]
            found.append(
                AxisEvidence(
                    role="tilt" if role == "tilt" else "rotary",
                    direction=_triple(direction),
                    along=side[0],
                    off_axis_rad=off,
                    standard_letter=letter_about(direction),
                    letter_declared=letter,
                    sense_declared=sense,
                    jogs=tuple(seen for seen in self.jogs_seen if seen.role == role),
                )
            )
        return tuple(found)

    @cached_property
    def senses(self) -> Senses:
        """Letter and sense of each axis: declared, or from the jogs where nothing is declared.

        Raises
        ------
        Lacking
            If a sense is neither declared nor seen, or if a jog contradicts the declaration: then
            nobody knows which holds, and what turns cannot be answered.
        """
        gather = self.gather()
        try:
            evidence = {item.role: item for item in self.axis_evidence}
        except Lacking as lacking:
            gather.also(lacking)
            for role in ("tilt", "rotary") if self.has_tilt else ("rotary",):
                if getattr(self.cell.control, f"{role}_sense") is None:
                    self._ask_sense(gather, role)
            gather.stop()
            raise
        for role, item in evidence.items():
            if item.disagrees:
                gather.need(
                    None,
                    f"control.{role}_sense",
                    f"agreement between the jogs and the declared {role} axis",
                    why="jog and declaration contradict each other; offsets would be mirrored",
                    how='ask "axes", which names both ways to settle it',
                )
            elif item.sense is None:
                self._ask_sense(gather, role)
        gather.stop()
        tilt, rotary = evidence.get("tilt"), evidence["rotary"]
        assert rotary.sense is not None  # gathered above
        return Senses(
            tilt=tilt.sense if tilt else None,
            rotary=rotary.sense,
            tilt_letter=(tilt.letter or tilt.standard_letter) if tilt else None,
            rotary_letter=rotary.letter or rotary.standard_letter,
            from_jogs=any(item.sense_declared is None for item in evidence.values()),
            letters_assumed=any(item.letter is None for item in evidence.values()),
        )

    def _ask_sense(self, gather: Gather, role: str) -> None:
        gather.need(
            None,
            f"control.{role}_sense",
            f"sense of the {role} axis",
            why=_WHY_SENSE,
            how=f"jog the {role} axis plus 5 deg with the unit empty, watch a mark on its rim, and "
            "enter letter, by, watched and moved under [[control.jogs]]",
        )

    @cached_property
    def turning_only(self) -> WorkChain:
        """The chain with every line through the origin of T: for directions, never for points."""
        return self._chain(dict.fromkeys(self.axis_directions, (0.0, 0.0, 0.0)))

    @cached_property
    def nominal_chain(self) -> WorkChain:
        """The axis lines where placement and unit entries put them.

        The unit frame's origin lies on the rotary line at the height of the tilt line; the tilt
        line passes it at unit frame y = -axis_offset (see `gudgeon.cell.model`).

        Raises
        ------
        Lacking
            Naming every entry that is missing.
        """
        origin = self.unit_origin_mm
        offset = self.cell.unit.axis_offset
        across = self.unit_axes[:, 1] * (offset.value if offset and self.has_tilt else 0.0)
        return self._chain({"tilt": _triple(origin - across), "rotary": _triple(origin)})

    @cached_property
    def unit_origin_mm(self) -> Floats:
        """Origin of the unit frame in T from the cell's entries, shape (3,) [mm].

        Raises
        ------
        Lacking
            Naming every entry that is missing.
        """
        gather = self.gather()
        machine, unit, placement = self.cell.machine, self.cell.unit, self.cell.placement
        try:
            _ = self.senses
        except Lacking as lacking:
            gather.also(lacking)
        where = "the rotary axis" if self.has_tilt else "the middle of the platter face"
        x = gather.need(
            placement.centre_x,
            "placement.centre_x",
            f"machine X of {where}",
            why="all zeros are counted from it",
            how="indicate the platter bore with both angles at zero and read machine X",
        )
        y = gather.need(
            placement.centre_y,
            "placement.centre_y",
            f"machine Y of {where}",
            why="all zeros are counted from it",
            how="indicate the platter bore with both angles at zero and read machine Y",
        )
        height = gather.need(
            unit.tilt_axis_height,
            "unit.tilt_axis_height",
            "height of the level axis line over the unit's base",
            why="it sets the height about which the work swings",
            how="take it from the unit's data sheet, or measure it",
        )
        gauge = gather.need(
            machine.gauge_to_table,
            "machine.gauge_to_table",
            "height of the spindle's gauge point over the table top at Z 0",
            why="it ties heights over the table to machine Z",
            how="bring the empty spindle's gauge face over the table on a known block and read Z",
        )
        gather.stop()
        riser = placement.riser.value if placement.riser else 0.0
        return np.array([x.value, y.value, -gauge.value + riser + height.value])

    @property
    def placing_assumed(self) -> tuple[str, ...]:
        """What the nominal chain takes for granted, one sentence each."""
        unit, placement = self.cell.unit, self.cell.placement
        told = []
        if unit.kind is None:
            told.append("The unit has a tilt and a rotary axis (unit.kind is not given).")
        if placement.yaw is None and placement.tilt_along is None:
            told.append("The tilt axis lies along the machine axis that the jog showed.")
        if self.has_tilt and unit.axis_offset is None:
            told.append("Tilt line and rotary line meet (unit.axis_offset is not given).")
        if placement.riser is None:
            told.append("The unit stands on the table without a riser plate.")
        if self.has_tilt and unit.tilt_range is None:
            told.append("The tilt may reach any angle (unit.tilt_range is not given).")
        return tuple(told)

    def _chain(self, points: dict[str, tuple[float, float, float]]) -> WorkChain:
        senses = self.senses
        ranges = {"tilt": self.cell.unit.tilt_range, "rotary": self.cell.unit.rotary_range}
        axes = []
        for role, direction in self.axis_directions.items():
            limits = ranges[role]
            sense = senses.tilt if role == "tilt" else senses.rotary
            assert sense is not None  # a tilt line exists only where its sense does
            axes.append(
                TurningAxis(
                    role=role,
                    line=AxisLine(points[role], _triple(direction)),
                    sense=sense,
                    low_rad=limits[0].value if limits else -math.inf,
                    high_rad=limits[1].value if limits else math.inf,
                )
            )
        return WorkChain(tuple(axes))


def _turn_for_plus(jog: Jog) -> tuple[Floats | None, str]:
    """Return the direction of the work's turn for a plus command, or why there is none."""
    absent = [name for name in ("letter", "by", "watched", "moved") if getattr(jog, name) is None]
    if absent:
        return None, f"it lacks {', '.join(absent)}"
    assert jog.by is not None and jog.watched is not None and jog.moved is not None
    if jog.by.value == 0.0:
        return None, "a jog by zero shows nothing"
    try:
        seen = turn_seen(jog.watched, jog.moved)
    except ValueError:
        return None, f"no turn moves a mark on the {jog.watched} side towards {jog.moved}"
    return seen * math.copysign(1.0, jog.by.value), ""


def _read_jog(index: int, jog: Jog, directions: dict[str, Floats]) -> SeenJog:
    turn, fault = _turn_for_plus(jog)
    if turn is None:
        return SeenJog(index, jog, None, None, None, fault)
    side = nearest_side(turn)[0]
    for role, direction in directions.items():
        if nearest_side(direction)[0][0] == side[0]:
            sense = 1 if side[1] == "+" else -1
            named: Role = "tilt" if role == "tilt" else "rotary"
            return SeenJog(index, jog, _triple(turn), named, sense, "")
    lie = " and ".join(
        f"the {role} axis lies along {nearest_side(d)[0][0]}" for role, d in directions.items()
    )
    fault = f"the work turned about {side[0]}, but {lie}"
    return SeenJog(index, jog, _triple(turn), None, None, fault)


def _triple(vector: Floats) -> tuple[float, float, float]:
    x, y, z = (float(value) + 0.0 for value in vector)
    return x, y, z
