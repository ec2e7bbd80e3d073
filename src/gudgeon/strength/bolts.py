"""Bolts: what the thread carries, what a torque clamps, and when a bolted face slips or parts.

Slip is judged by friction alone: pilots, dowels and keys may help, but nobody has shown that they
fit tightly.  A push along the faces is shared evenly; a twist about the middle adds to it on the
bolt where both point the same way.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

__all__ = [
    "FRICTION_UNKNOWN",
    "NUT_FACTOR_UNKNOWN",
    "WRENCH_SPREAD",
    "Thread",
    "bolt_circle",
    "coarse_pitch",
    "overturning_load",
    "preload",
    "proof_load",
    "proof_stress",
    "slip_capacity",
    "slip_demand",
    "slot_bolt",
    "thread_called",
    "tightening_torque",
    "ultimate_load",
    "worst_push",
]

COARSE_PITCH_MM: Final = {
    # Checked against the stress areas of ISO 898-1 up to M24 (ST-000 to ST-008); M4, M18, M22 and
    # M27 up: ISO 261, from memory.
    4.0: 0.7,
    5.0: 0.8,
    6.0: 1.0,
    8.0: 1.25,
    10.0: 1.5,
    12.0: 1.75,
    14.0: 2.0,
    16.0: 2.0,
    18.0: 2.5,
    20.0: 2.5,
    22.0: 2.5,
    24.0: 3.0,
    27.0: 3.0,
    30.0: 3.5,
    33.0: 3.5,
    36.0: 4.0,
}

UNIFIED_COARSE: Final = {
    # Unified coarse: threads an inch (public thread tables giving the stress areas, read).
    "1/4": (0.25, 20),
    "5/16": (0.3125, 18),
    "3/8": (0.375, 16),
    "7/16": (0.4375, 14),
    "1/2": (0.5, 13),
    "9/16": (0.5625, 12),
    "5/8": (0.625, 11),
    "3/4": (0.75, 10),
    "7/8": (0.875, 9),
    "1": (1.0, 8),
}

SLOT_BOLT_MM: Final = {8: 6, 10: 8, 12: 10, 14: 12, 18: 16, 22: 20, 28: 24}
"""Throat of a T-slot and the bolt made for it (BS 2485, same series as ISO 299; ST-060 on)."""

FRICTION_UNKNOWN: Final = 0.1
"""Friction of a clamped joint where nothing is known (ST-092: common practice, no source)."""

NUT_FACTOR_UNKNOWN: Final = 0.2
"""Nut factor of plain dry steel (common practice, no source)."""

WRENCH_SPREAD: Final = (1.6 - 1.0) / (1.6 + 1.0)
"""Preload of one torque wrench setting: the greatest is about 1.6 times the least, so +-23 %.

Tightening factor usual for torque wrenches (read on a public page on bolting; that page rests on a
guideline that was not opened here).
"""

MM_PER_INCH: Final = 25.4


@dataclass(frozen=True, slots=True)
class Thread:
    """A bolt's thread: nominal diameter and pitch [mm]."""

    diameter_mm: float
    pitch_mm: float

    @property
    def stress_area_mm2(self) -> float:
        """Tensile stress area pi/4 (d - 0.9382 P)^2 [mm2] (ISO 898-1)."""
        return 0.25 * math.pi * (self.diameter_mm - 0.9382 * self.pitch_mm) ** 2

    @property
    def tabled_area_mm2(self) -> float:
        """The same to three figures, as the standard's loads are worked out [mm2]."""
        return float(f"{self.stress_area_mm2:.3g}")


def thread_called(name: str) -> Thread | None:
    """Return the thread with a usual name, such as ``"M12"``, ``"M12x1.25"`` or ``"1/2-13"``.

    ``None`` if the name is not understood or, without a pitch, not in the coarse series.

    Examples
    --------
    >>> thread_called("M12").pitch_mm
    1.75
    >>> round(thread_called("1/2-13").stress_area_mm2 / 25.4**2, 4)
    0.1419
    """
    text = name.strip().replace(" ", "")
    metric = re.fullmatch(r"[Mm](\d+(?:\.\d+)?)(?:[xX](\d+(?:\.\d+)?))?", text)
    if metric:
        diameter = float(metric[1])
        pitch = float(metric[2]) if metric[2] else COARSE_PITCH_MM.get(diameter)
        return Thread(diameter, pitch) if pitch and 0.0 < pitch < 0.5 * diameter else None
    unified = re.fullmatch(r"(\d+(?:/\d+)?)(?:in|\")?(?:-(\d+))?(?:UNC|UNF|unc|unf)?", text)
    if unified and unified[1] in UNIFIED_COARSE:
        inches, coarse = UNIFIED_COARSE[unified[1]]
        if not unified[2] and text.upper().endswith("UNF"):
            return None
        threads = int(unified[2]) if unified[2] else coarse
        return Thread(inches * MM_PER_INCH, MM_PER_INCH / threads) if threads > 3 else None
    return None


def coarse_pitch(diameter_mm: float) -> float | None:
    """Return the coarse pitch of a nominal diameter, metric or unified; ``None`` if unusual."""
    for known, pitch in COARSE_PITCH_MM.items():
        if math.isclose(known, diameter_mm, abs_tol=1e-6):
            return pitch
    for inches, threads in UNIFIED_COARSE.values():
        if math.isclose(inches * MM_PER_INCH, diameter_mm, abs_tol=1e-6):
            return MM_PER_INCH / threads
    return None


def slot_bolt(throat_mm: float) -> int | None:
    """Return the thread (M) made for a T-slot, or for the next narrower usual one."""
    fitting = [bolt for throat, bolt in SLOT_BOLT_MM.items() if throat <= throat_mm + 0.5]
    return max(fitting) if fitting else None


def proof_stress(strength: str, diameter_mm: float) -> float:
    """Return the stress that a property class bears without lasting stretch [MPa].

    ISO 898-1: checked against its proof loads (ST-010 to ST-015, ST-030).

    Raises
    ------
    KeyError
        If the class is not 8.8, 10.9 or 12.9.
    """
    if strength == "8.8" and diameter_mm > 16.0:
        return 600.0
    return {"8.8": 580.0, "10.9": 830.0, "12.9": 970.0}[strength]


def proof_load(thread: Thread, strength: str) -> float:
    """Return the load that the bolt bears without lasting stretch [N]."""
    return proof_stress(strength, thread.diameter_mm) * thread.tabled_area_mm2


def ultimate_load(thread: Thread, strength: str) -> float:
    """Return the least breaking load [N] (ISO 898-1, checked: ST-020 to ST-028)."""
    if strength == "8.8" and thread.diameter_mm > 16.0:
        return 830.0 * thread.tabled_area_mm2
    return {"8.8": 800.0, "10.9": 1040.0, "12.9": 1220.0}[strength] * thread.tabled_area_mm2


def preload(torque_nm: float, nut_factor: float, diameter_mm: float) -> float:
    """Return what a tightening torque clamps [N]: F = T / (K d) (ST-031)."""
    return torque_nm * 1000.0 / (nut_factor * diameter_mm)


def tightening_torque(preload_n: float, nut_factor: float, diameter_mm: float) -> float:
    """Return the torque for a preload [N m]: T = K d F (ST-031)."""
    return preload_n * nut_factor * diameter_mm / 1000.0


def slip_capacity(preload_n: float, friction: float, pull_n: float = 0.0) -> float:
    """Return the push along the faces that the friction under one bolt holds [N].

    Parameters
    ----------
    pull_n : float
        What pulls the faces apart, for each bolt [N]; what presses them is not credited.
    """
    return friction * max(0.0, preload_n - max(0.0, pull_n))


def worst_push(side_n: float, down_n: float, tilt_rad: float) -> float:
    """Return the greatest push along the faces from a level force of any direction [N].

    Parameters
    ----------
    side_n : float
        Level force whose direction is not known [N].
    down_n : float
        What pushes straight down: weight and thrust [N].
    tilt_rad : float
        Tilt of the faces from level.

    Notes
    -----
    Along the faces lie ``down |sin|`` downhill, and of the side force its part along the level
    line of the faces and ``|cos|`` times its part downhill.  The length of the sum is greatest at
    ``sin(direction) = D c / (F (1 - c^2))`` or straight downhill, with D = down |sin|, c = |cos|.
    """
    force, sine, cosine = abs(side_n), abs(math.sin(tilt_rad)), abs(math.cos(tilt_rad))
    downhill = abs(down_n) * sine
    if force == 0.0:
        return downhill
    flat = force * sine**2
    turned = min(1.0, downhill * cosine / flat) if flat > 0.0 else 1.0
    level = force * math.sqrt(1.0 - turned**2)
    return math.hypot(level, downhill + force * turned * cosine)


def slip_demand(push_n: float, twist_nm: float, count: int, radius_mm: float) -> float:
    """Return the push along the faces at the worst bolt, direction unknown [N].

    V/n + T/(n r), as if the bolt that carries the twist also met the push head on.

    Raises
    ------
    ValueError
        If there is no bolt, or a twist and no radius.
    """
    if count < 1:
        raise ValueError(f"count must be 1 or more, got {count}")
    if twist_nm and not radius_mm > 0.0:
        raise ValueError("a twist needs bolts on a circle with a radius")
    twist = abs(twist_nm) * 1000.0 / (count * radius_mm) if twist_nm else 0.0
    return abs(push_n) / count + twist


def bolt_circle(count: int, radius_mm: float, first_rad: float = 0.0) -> list[tuple[float, float]]:
    """Return the places of evenly spread bolts, x and y from the middle [mm]."""
    angles = [first_rad + 2.0 * math.pi * i / count for i in range(count)]
    return [(radius_mm * math.cos(a), radius_mm * math.sin(a)) for a in angles]


def overturning_load(
    moment_nm: float, places_mm: ArrayLike, about_rad: float | None = None
) -> float | None:
    """Return the pull of an overturning moment on the worst bolt [N].

    The foot is taken as stiff and the neutral line through the middle of the bolts, so a bolt's
    load grows with its distance from that line (statics, ST-102).

    Parameters
    ----------
    moment_nm : float
    places_mm : array_like, shape (n, 2)
        Places of the bolts [mm].
    about_rad : float, optional
        Direction of the neutral line; left out: the worst of all.

    Returns
    -------
    float or None
        ``None`` if the bolts stand in one line (or point), so that one moment finds no hold.
    """
    places = np.asarray(places_mm, np.float64).reshape(-1, 2)
    places = places - places.mean(axis=0)
    spread = places.T @ places
    size = float(np.trace(spread))
    if about_rad is not None:
        across = places @ np.array([-math.sin(about_rad), math.cos(about_rad)])
        total = float(across @ across)
        if total <= 1e-12 * max(size, 1.0):
            return None
        return float(abs(moment_nm) * 1000.0 * np.abs(across).max() / total)
    if np.linalg.det(spread) <= 1e-12 * max(size, 1.0) ** 2:
        return None
    loads = np.linalg.norm(np.linalg.solve(spread, places.T), axis=0)
    return float(abs(moment_nm) * 1000.0 * loads.max())
