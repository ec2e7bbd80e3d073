"""What proofs find about places of the unit on the table: plain data."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gudgeon.answer import Missing
from gudgeon.findings.place_ways import Fitted

if TYPE_CHECKING:
    from gudgeon.clearance.prove import Gap

__all__ = ["Change", "Closest", "Lost", "ProvenFinding", "ProvenPlace"]


@dataclass(frozen=True, slots=True)
class Lost:
    """A station that is not reached.

    Attributes
    ----------
    station, face : str
    reason : str
        "travel", "turning", "table", "guard", "tool".
    between : tuple of str
        The bodies that come too near, or what runs out; empty where it is not known.
    tilt_rad : float or None
        Tilt at which they do.
    decided : bool
        False where neither a proof nor a pose that is too close was found within the work allowed.
    gap : Gap or None
        The pose, the machine's joints as displayed.
    tool : int or None
        In the spindle there.
    """

    station: str
    face: str
    reason: str
    between: tuple[str, ...]
    tilt_rad: float | None
    decided: bool = True
    gap: Gap | None = None
    tool: int | None = None


@dataclass(frozen=True, slots=True)
class ProvenPlace:
    """One place of the unit.

    Attributes
    ----------
    yaw_rad, x_mm, y_mm : float
    offset_mm : float or None
        As in `gudgeon.findings.place.Place`.
    works : bool
        Whether the plain conditions of place are kept (slots, travel, hoses, table edge ...).
    lost : tuple of Lost
        The first reason for each station.
    of : int
        Stations in all.
    """

    yaw_rad: float
    x_mm: float
    y_mm: float
    offset_mm: float | None
    works: bool
    lost: tuple[Lost, ...]
    of: int

    @property
    def reached(self) -> int:
        """Stations all of whose faces are reached."""
        return self.of - len(self.lost)

    @property
    def causes(self) -> tuple[tuple[str, int], ...]:
        """What costs how many stations, the worst first."""
        named = (" and ".join(one.between) or one.reason for one in self.lost)
        return tuple(Counter(named).most_common())


@dataclass(frozen=True, slots=True)
class Closest:
    """Where unit, tools and machine are tightest in a place, to a thousandth of a millimetre.

    Attributes
    ----------
    spare_mm : float
        Proven gap less what is asked: what may still go wrong [mm].
    gap : Gap
        The machine's joints as displayed.
    station, face : str
    reason : str
        As of `Lost`.
    tool : int or None
    """

    spare_mm: float
    gap: Gap
    station: str
    face: str
    reason: str
    tool: int | None


@dataclass(frozen=True, slots=True)
class Change:
    """A change that wins stations back, or makes the place work.

    Attributes
    ----------
    kind : str
        "tool", "place", "holder", "hose", "part", "riser": what is at hand first, what has to be
        made last.
    words : str
        What to do, as an order.
    reached, of : int
        Stations reached then.
    name : str
        What is fitted, the thickness or the length.
    works : bool
        Whether the plain conditions of place are kept then.
    """

    kind: str
    words: str
    reached: int
    of: int
    name: str
    works: bool = True


@dataclass(frozen=True, slots=True)
class ProvenFinding:
    """The place that is judged, by proofs.

    Attributes
    ----------
    place : ProvenPlace
    fitted : tuple of Fitted
    changes : tuple of Change
        What wins stations back, the cheapest of those that win most first.
    without : tuple of str
        Parts without which nothing is lost.
    assumed, left_out : tuple of str
    missing : tuple of Missing
    tools : tuple of int
        Tools that were judged.
    inside : int
        Stations whose tools come into an outline, inside which they are not judged.
    closest : Closest or None
        Where it is tightest of all that is reached; ``None``: nothing can meet.
    hung : tuple of Lost
        Stations that are reached only if a hose is kept from hanging where it could.
    """

    place: ProvenPlace
    fitted: tuple[Fitted, ...]
    changes: tuple[Change, ...]
    without: tuple[str, ...]
    assumed: tuple[str, ...]
    left_out: tuple[str, ...]
    missing: tuple[Missing, ...]
    tools: tuple[int, ...]
    inside: int
    closest: Closest | None
    hung: tuple[Lost, ...] = ()
